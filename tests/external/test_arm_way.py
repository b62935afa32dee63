"""An arm along its whole way, past half a turn: against MuJoCo's bodies, turned step by step."""

from __future__ import annotations

import mujoco
import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from fieldworthy.physics.arms.motorarm import gap_between, swept_heights
from fieldworthy.systems.arm.check import best_raise, driven
from fieldworthy.systems.arm.figure import arm_curves
from fieldworthy.systems.arm.mechanics import meetings, way_of
from robots import GONE, GRAVITY, changed, check, fact, find, load, nominal

PIVOT = (0.02, 0.30)
ROBOT = {
    "parts": {
        "box": {"mass": "5 kg", "position": ["0 m", "0 m", "0.1 m"], "size": ["0.3 m", "0.3 m", "0.1 m"]},
        "post": {"mass": "0.2 kg", "position": ["0.16 m", "0 m", "0.26 m"], "size": ["0.02 m", "0.02 m", "0.12 m"]},
        "mast": {"mass": "0.2 kg", "position": ["0.05 m", "0.1 m", "0.4 m"], "size": ["0.02 m", "0.02 m", "0.3 m"]},
        "beam": {"mass": "0.3 kg", "position": ["-0.08 m", "0 m", "0.31 m"], "size": ["0.2 m", "0.03 m", "0.02 m"],
                 "rides": "arm"},
        "hook": {"mass": "0.1 kg", "position": ["-0.17 m", "0 m", "0.29 m"], "size": ["0.02 m", "0.05 m", "0.06 m"],
                 "rides": "arm"},
    },
    "mechanisms": {
        "arm": {
            "kind": "motor arm", "motors": [{"motor": "test motor"}], "rides": "arm", "side": "behind",
            "pivot": ["0.02 m", "0.30 m"], "stages": [{"driver": 12, "driven": 60}], "swing": "235 deg",
            "carries": {"cup": {"object": "cup", "position": ["-0.2 m", "0.35 m"]}}, "clear_of": ["post", "mast"],
            "target": {"point": ["-0.2 m", "0.3 m"], "structure": "shelf"},
        }
    },
}  # fmt: skip
SEASON = {
    "objects": {"cup": {"mass": "0.1 kg", "size": ["0.06 m", "0.06 m", "0.04 m"]}},
    "structures": {"shelf": {"height": "0.5 m"}},
    "limits": {"extended_size": ["0.6 m", "0.5 m", "0.6 m"]},
}
# the same by hand, about the pivot: half sizes, and the middle as it is placed
ARM = {"beam": ((0.1, 0.015, 0.01), (-0.08, 0.0, 0.31)), "hook": ((0.01, 0.025, 0.03), (-0.17, 0.0, 0.29)),
       "cup": ((0.03, 0.03, 0.02), (-0.2, 0.0, 0.35))}  # fmt: skip
STILL = {"post": ((0.01, 0.01, 0.06), (0.16, 0.0, 0.26)), "mast": ((0.01, 0.01, 0.15), (0.05, 0.1, 0.4))}


def engine() -> tuple[mujoco.MjModel, mujoco.MjData]:
    """The arm on a hinge, and the parts that stand in its way; the engine's y axis is that of the robot."""

    def box(name, half, at):
        size, pos = (" ".join(str(v) for v in three) for three in (half, at))
        return f'<geom name="{name}" type="box" size="{size}" pos="{pos}" mass="0.1"/>'

    turned = "".join(box(n, half, (at[0] - PIVOT[0], at[1], at[2] - PIVOT[1])) for n, (half, at) in ARM.items())
    still = "".join(box(n, half, at) for n, (half, at) in STILL.items())
    model = mujoco.MjModel.from_xml_string(
        f'<mujoco><compiler angle="radian"/><option gravity="0 0 -{GRAVITY}"/><worldbody>{still}'
        f'<body name="arm" pos="{PIVOT[0]} 0 {PIVOT[1]}"><joint name="j" type="hinge" axis="0 1 0"/>{turned}</body>'
        "</worldbody></mujoco>"
    )
    return model, mujoco.MjData(model)


def corners(model, data, name):
    """Where the eight corners of a box are now."""
    geom = model.geom(name).id
    signs = np.array(np.meshgrid(*[[-1, 1]] * 3)).reshape(3, -1).T
    return data.geom_xpos[geom] + (signs * model.geom_size[geom]) @ data.geom_xmat[geom].reshape(3, 3).T


def test_the_extremes_of_the_way_are_those_of_bodies_turned_step_by_step(tmp_path):
    context = nominal(load(tmp_path, ROBOT, SEASON))
    way = way_of(context, context.robot.mechanisms["arm"])
    model, data = engine()
    boxes, own = [], []
    for angle in np.radians(np.arange(0.0, 235.01, 0.25)):  # a step hides at most r (1 - cos 0.125 deg), 1 micrometre
        data.qpos[0] = angle  # turning about +y lifts what lies behind
        mujoco.mj_forward(model, data)
        points = np.concatenate([corners(model, data, name) for name in ARM])
        parts = points[: -len(corners(model, data, "cup"))]  # the cup is the last of them
        for found, at in ((boxes, points), (own, parts)):
            found.append([at[:, 2].min(), at[:, 2].max(), at[:, 0].max(), at[:, 0].min()])
    (low, high, ahead, behind), (_, own_high, own_ahead, own_behind) = (
        [pick(column) for pick, column in zip((min, max, max, min), zip(*found, strict=True), strict=True)]
        for found in (boxes, own)
    )
    assert [float(way.low), float(way.high)] == pytest.approx([low, high], abs=5e-6)
    assert [float(way.out), float(way.back)] == pytest.approx([PIVOT[0] - behind, ahead - PIVOT[0]], abs=5e-6)
    report = check(tmp_path, ROBOT, SEASON)
    assert find(report, "arm.lowest.arm").value == pytest.approx(low, abs=1e-5)
    # a size is the robot's own, without the cup; the rest of the robot reaches from -0.15 m to 0.17 m
    assert find(report, "arm.highest.arm").value == pytest.approx(own_high, abs=1e-5)
    length = max(own_ahead, 0.17) - min(own_behind, -0.15)
    assert find(report, "arm.longest.arm").value == pytest.approx(length, abs=1e-5)
    assert length < max(ahead, 0.17) - min(behind, -0.15) - 0.01  # the cup reaches farther
    assert "without what it carries" in find(report, "arm.longest.arm").because


def test_what_it_meets_is_what_bodies_meet(tmp_path):
    """The least gap of MuJoCo's own convex distance, over the same angles; the mast stands beside the way."""
    context = nominal(load(tmp_path, ROBOT, SEASON))
    found = {m.other: m for m in meetings(context, context.robot.mechanisms["arm"], ("post", "mast"))}
    model, data = engine()
    least = dict.fromkeys(STILL, (9.0, 0.0))
    for angle in np.radians(np.arange(0.0, 235.01, 1.0)):
        data.qpos[0] = angle
        mujoco.mj_forward(model, data)
        for name in STILL:
            for part in ("beam", "hook"):
                gap = mujoco.mj_geomDistance(model, data, model.geom(part).id, model.geom(name).id, 1.0, None)
                least[name] = min(least[name], (gap, angle))
    assert least["post"][0] < 0.0
    assert float(found["post"].gap) < 0.0
    assert float(found["mast"].gap) == pytest.approx(0.065, abs=1e-9)  # 0.1 - 0.01 - 0.025 m, side by side
    assert least["mast"][0] == pytest.approx(0.065, abs=1e-4)
    report = check(tmp_path, ROBOT, SEASON)
    assert find(report, "arm.clear.arm.post").verdict == "short"
    assert "strikes 'post'" in find(report, "arm.clear.arm.post").because
    assert find(report, "arm.clear.arm.mast").verdict == "holds"
    assert "'post' at" in fact(report, "arm.meets.arm").because


@pytest.mark.parametrize("angle", [0.0, 25.0, 90.0, 140.0, 250.0])
def test_gaps_between_boxes_are_those_of_mujoco(angle):
    """Side towards corner is exact; corner towards corner is never told as more than it is."""
    half, at = np.array([0.1, 0.02]), np.radians(angle)
    turn = np.array([[np.cos(at), -np.sin(at)], [np.sin(at), np.cos(at)]])
    box = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half @ turn.T
    for middle in ((0.3, 0.0), (0.0, 0.25), (0.22, 0.2), (-0.3, -0.1)):
        still = np.array([np.array(middle) - 0.05, np.array(middle) + 0.05])
        model = mujoco.MjModel.from_xml_string(
            f'<mujoco><compiler angle="radian"/><worldbody><geom type="box" size="0.1 1 0.02" euler="0 {-at} 0"/>'
            f'<geom type="box" size="0.05 1 0.05" pos="{middle[0]} 0 {middle[1]}"/></worldbody></mujoco>'
        )
        data = mujoco.MjData(model)
        mujoco.mj_forward(model, data)
        true = mujoco.mj_geomDistance(model, data, 0, 1, 1.0, None)
        gap = float(gap_between(box, still))
        assert gap <= true + 1e-6
        if angle in (0.0, 90.0) and middle[0] * middle[1] == 0.0:
            assert gap == pytest.approx(true, abs=1e-6)


def test_torque_at_each_angle_is_that_of_the_engine(tmp_path):
    """Weights alone, loaded: what the hinge must hold at each angle, from where MuJoCo puts each middle."""
    context = nominal(load(tmp_path, ROBOT, SEASON))
    at = driven(context, "arm", context.robot.mechanisms["arm"])
    model, data = engine()
    masses = {"beam": 0.3, "hook": 0.1, "cup": 0.1}
    assert len(at.angles) > 20
    for angle, passive in zip(at.angles, at.passive, strict=True):
        data.qpos[0] = angle
        mujoco.mj_forward(model, data)
        # moment of each box's weight about the hinge's +y axis, which raises what lies behind: x times m g
        moment = sum(m * GRAVITY * (data.geom_xpos[model.geom(n).id][0] - PIVOT[0]) for n, m in masses.items())
        assert float(passive) == pytest.approx(moment, abs=1e-6)


def test_a_point_counts_where_it_is_highest(tmp_path):
    """Its point is 0.22 m from the pivot, level behind it: highest a quarter turn up, though the way goes on."""
    context = nominal(load(tmp_path, ROBOT, SEASON))
    assert float(best_raise(context.robot.mechanisms["arm"])) == pytest.approx(np.pi / 2)
    found = find(check(tmp_path, ROBOT, SEASON), "lift.target.arm")
    assert found.value == pytest.approx(0.52, abs=1e-9)
    assert arm_curves(context, 1.0)["arm"].raised == pytest.approx(np.radians(235.0))


def test_once_round_reaches_every_height():
    """A whole turn: r above and below its pivot, wherever it starts; from any start by hand."""
    low, high = swept_heights(0.4, np.linspace(-3.0, 3.0, 7), 2 * np.pi)
    assert low == pytest.approx(np.full(7, -0.4))
    assert high == pytest.approx(np.full(7, 0.4))
    # an eighth of a turn up from level ends at r / sqrt 2
    assert [float(v) for v in swept_heights(1.0, 0.0, np.pi / 4)] == pytest.approx([0.0, 2**-0.5])


@pytest.mark.parametrize(("allowed", "verdict"), [("0.55 m", "holds"), ("0.25 m", "short")])
def test_one_limit_has_one_verdict_whoever_looks_at_it(tmp_path, allowed, verdict):
    """An arm of 0.2 m that is turned up from level, by hand: longest as it lies, whatever it carries."""
    arm = {
        "mass": "0.2 kg",
        "position": ["0.15 m", "0 m", "0.3 m"],
        "size": ["0.2 m", "0.02 m", "0.02 m"],
        "rides": "arm",
    }
    box = {"position": ["0 m", "0 m", "0.1 m"], "size": ["0.3 m", "0.3 m", "0.1 m"]}
    cup = {"object": "cup", "position": ["0.5 m", "0.3 m"]}
    swung = {"side": "ahead", "pivot": ["0.05 m", "0.3 m"], "swing": "80 deg", "carries": {"cup": cup}}
    mechanism = changed(ROBOT["mechanisms"]["arm"], {**swung, "clear_of": GONE, "target": GONE})
    held = {"carries": {"cup": {"object": "cup", "position": ["0.5 m", "0 m", "0.3 m"], "rides": "arm"}}}
    robot = {"parts": {"box": box, "arm": arm}, "mechanisms": {"arm": mechanism}, "poses": {"driving": held}}
    report = check(tmp_path, robot, {**SEASON, "limits": {"extended_size": [allowed, "0.5 m", "0.9 m"]}})
    # the box reaches to -0.15 m; the arm's end, 0.2 m from the pivot, to 0.25 m, its corner on the way a little farther
    hand = {"limits.extended_size.length": 0.15 + 0.25, "arm.longest.arm": 0.15 + 0.05 + np.hypot(0.2, 0.01)}
    for found, length in ((find(report, identifier), length) for identifier, length in hand.items()):
        assert (found.value, found.verdict) == (pytest.approx(length, rel=1e-9), verdict)
        assert "without what it carries" in found.because


BAND = {
    "fixed": ["0.02 m", "0.42 m"],
    "arm": ["-0.08 m", "0.30 m"],
    "free_length": "90 mm",
    "stiffness": "60 N/m",
    "count": 2,
}


def banded_torque(angle: float, *, loaded: bool) -> float:
    """By hand, raising positive: levers of beam, hook and two cups on the level, and the band's pull across its radius.

    The arm lies behind its pivot, so outward is -x; the band's pins stand 0.12 m above the pivot and 0.1 m out on it.
    """
    pieces = [(0.3, (0.1, 0.01)), (0.1, (0.19, -0.01)), (0.2 if loaded else 0.0, (0.22, 0.05))]
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    weights = -sum(mass * GRAVITY * (turn @ at)[0] for mass, at in pieces)
    pin, fixed = turn @ (0.1, 0.0), np.array([0.0, 0.12])
    length = float(np.hypot(*(fixed - pin)))
    pull = 2 * 60.0 * max(length - 0.09, 0.0) * (fixed - pin) / length
    return float(weights + pin[0] * pull[1] - pin[1] * pull[0])


def greatest(swing: float, sign: float) -> float:
    """SciPy's bounded minimizer between every two of 181 angles and those where the band goes slack."""
    between = np.arccos((0.12**2 + 0.1**2 - 0.09**2) / (2 * 0.12 * 0.1))
    cuts = [*np.linspace(0.0, swing, 181), *(a for a in (np.pi / 2 - between, np.pi / 2 + between) if a < swing)]
    best = []
    for loaded in (True, False):
        values = [sign * banded_torque(a, loaded=loaded) for a in sorted(cuts)]
        at = int(np.argmax(values))
        low, high = sorted(cuts)[max(at - 1, 0)], sorted(cuts)[min(at + 1, len(cuts) - 1)]
        found = minimize_scalar(lambda a, loaded=loaded: -sign * banded_torque(a, loaded=loaded), bounds=(low, high),
                                method="bounded", options={"xatol": 1e-10})  # fmt: skip
        best.append(max(values[at], -found.fun))
    return max(best)


def test_a_banded_arm_is_worst_where_a_minimizer_finds_it_however_far_it_swings(tmp_path):
    """A longer way includes the shorter one, so the share that holding takes never falls."""
    shares, arm = [], ROBOT["mechanisms"]["arm"]
    load_two = {"cup": {"object": "cup", "count": 2, "position": ["-0.2 m", "0.35 m"]}}
    for degrees in (30, 48, 96, 120, 132, 264):
        changes = {"swing": f"{degrees} deg", "bands": {"rubber": BAND}, "carries": load_two}
        robot = {**ROBOT, "mechanisms": {"arm": {**arm, **changes}}}
        context = nominal(load(tmp_path, robot, SEASON))
        at = driven(context, "arm", context.robot.mechanisms["arm"])
        wanted = [greatest(np.radians(degrees), sign) for sign in (-1.0, 1.0)]
        assert [float(at.falling[0]), float(at.rising[0])] == pytest.approx(wanted, rel=1e-6)
        shares.append(max(wanted) / float(at.drive.reduction * at.drive.stall_torque))
    assert shares == sorted(shares)
    # of the last robot, as it is told
    assert find(check(tmp_path, robot, SEASON), "arm.holding.arm").value == pytest.approx(shares[-1], rel=1e-6)
