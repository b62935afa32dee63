"""Climb findings of whole robot files against MuJoCo, statics and edited files, and what a wrong file is told."""

from __future__ import annotations

import math

import mujoco
import numpy as np
import pytest

from fieldworthy.checks import climb
from fieldworthy.checks.sampling import Cases
from fieldworthy.checks.subject import Subject
from fieldworthy.robot.model import Robot
from fieldworthy.schema import BadInput, realise
from robots import GRAVITY, check, example, fact, find, load, nominal

CLIMBER = {
    "kind": "climber",
    "pose": "up",
    "structure": "bar",
    "hook": ["-0.10 m", "0.6 m"],
    "lift": {"cylinder": "pull", "ratio": 2, "working": "back"},
    "rest": {"position": ["-0.18 m", "0.05 m"], "ahead": "-0.08 m", "face": "behind"},
    "most_nose_down": "12 deg",
}
CYLINDER = {"cylinder": "test cylinder", "count": 2, "tank": "tank", "valve": "test valve", "pull_load": "150 N"}
ROBOT = {
    "poses": {"up": {"use": "climb"}},
    "air": {"tanks": {"tank": {"tank": "test tank"}}, "cylinders": {"pull": CYLINDER}},
    "mechanisms": {"hooks": CLIMBER},
}
SEASON = {"structures": {"bar": {"height": "0.59 m", "diameter": "40 mm"}}}
MASS, CG = 7.0, (0.02, 0.12)  # kg and m, of the small robot
TRAVEL = 0.1  # m: 50 mm of stroke, twice


def changed(**keys):
    return {**ROBOT, "mechanisms": {"hooks": {k: v for k, v in {**CLIMBER, **keys}.items() if v is not None}}}


def hung_in_mujoco(subject, at):
    """Attitude [rad] and force on the rest [N] of the file's own parts on a damped hinge, a ball on a plate as rest."""
    parts = subject.robot.parts
    moves = subject.robot.poses[at.spec.pose].moves
    travel = climb.travel_of(subject, at.spec)
    geoms = []
    for part in parts.values():
        x, y, z = (float(c) for c in part.position)
        move = moves.get(part.rides)
        if move is not None and move.shift is not None:
            x, y, z = (a + float(b) for a, b in zip((x, y, z), move.shift, strict=True))
        z -= float(travel) if part.rides == at.spec.rides else 0.0
        half = " ".join(f"{float(s) / 2:.9g}" for s in part.size)
        place = f"{x - float(at.hook[0]):.9g} {y:.9g} {z - float(at.hook[1]):.9g}"
        geoms.append(
            f'<geom type="box" size="{half}" pos="{place}" mass="{float(part.mass) * part.count:.9g}" '
            'contype="0" conaffinity="0"/>'
        )
    rest = at.spec.rest
    ball = f"{float(rest.position[0]) - float(at.hook[0]):.9g} 0 {float(rest.position[1]) - float(at.hook[1]):.9g}"
    radius = 0.002
    model = mujoco.MjModel.from_xml_string(f"""
    <mujoco><option gravity="0 0 -{GRAVITY}" timestep="0.0005" cone="elliptic"/>
    <worldbody>
      <geom type="box" size="0.05 1 1" pos="{float(rest.ahead) - 0.05 - radius:.9g} 0 0" friction="0" solref="0.004 1"/>
      <body><joint name="hook" type="hinge" axis="0 1 0" damping="4"/>
        {"".join(geoms)}
        <geom type="sphere" size="{radius}" pos="{ball}" mass="1e-6" friction="0" condim="1" solref="0.004 1"/>
      </body></worldbody></mujoco>""")
    data = mujoco.MjData(model)
    data.qpos[0] = float(climb.attitude_of(at))
    for _ in range(16000):
        mujoco.mj_step(model, data)
    pressed = sum(_force(model, data, i) for i in range(data.ncon))
    return float(data.qpos[0]), pressed


def _force(model, data, contact):
    found = np.zeros(6)
    mujoco.mj_contactForce(model, data, contact, found)
    return found[0]


@pytest.mark.parametrize("name", ["mk1", "mk2"])
def test_example_hangs_as_in_mujoco(name):
    """Rest pressed on: attitude within 0.1 degree (soft contact), force within 2 %."""
    subject = nominal(example(name))
    at = climb.hanging(subject, "hooks", subject.robot.mechanisms["hooks"])
    attitude, force = hung_in_mujoco(subject, at)
    hung = climb._hung(at, at.hook)
    assert float(hung.attitude) == pytest.approx(attitude, abs=math.radians(0.1))
    assert float(hung.rest_force) == pytest.approx(force, rel=0.02)


def test_free_hang_puts_the_centre_of_gravity_below_the_hook(tmp_path):
    """A two-force body: atan2 of the level and upward distances, hooks drawn down by twice the stroke."""
    report = check(tmp_path, changed(rest=None), SEASON)
    expected = math.degrees(math.atan2(CG[0] + 0.10, 0.6 - TRAVEL - CG[1]))
    found = find(report, "climb.attitude.hooks")
    assert found.value in (pytest.approx(expected, rel=1e-6), pytest.approx(math.radians(expected), rel=1e-6))
    assert found.verdict == "short"  # 17.5 degrees, and 12 are allowed


def test_rest_force_by_moments_about_the_bar(tmp_path):
    """Level to 0.1 degree here: N |z_rest| = W x_cg (Meriam, equilibrium); pull that lifts it off: x_cg over depth."""
    subject = nominal(load(tmp_path, ROBOT, SEASON))
    at = climb.hanging(subject, "hooks", subject.robot.mechanisms["hooks"])
    hung = climb._hung(at, at.hook)
    tilt = float(hung.attitude)
    c, s = math.cos(tilt), math.sin(tilt)
    depth = 0.6 - TRAVEL
    arm = (CG[0] + 0.10) * c + (CG[1] - depth) * s
    drop = -(-(-0.18 + 0.10) * s + (0.05 - depth) * c)
    assert float(hung.rest_force) == pytest.approx(MASS * GRAVITY * arm / drop, rel=1e-9)
    assert find(check(tmp_path, ROBOT, SEASON), "climb.rest.hooks").verdict == "holds"


def test_lift_against_hand_force(tmp_path):
    """Two cylinders, 16 mm bore and 6 mm rod, drawn back at the charge (the plan never uses them); lever of two."""
    report = check(tmp_path, {**ROBOT, "air": {**ROBOT["air"], "supply": {"charge": "500 kPa"}}}, SEASON)
    ring = math.pi / 4 * (0.016**2 - 0.006**2)
    force = 2 * 0.9 * 500e3 * ring * 0.9 / 2
    found = find(report, "climb.lift.hooks")
    assert found.value == pytest.approx(force, rel=1e-9)
    # the far wheels carry nothing more once it hangs: then the hooks carry the whole weight
    assert found.limit == pytest.approx(MASS * GRAVITY, rel=1e-6)
    assert found.verdict == "holds"


def test_lift_is_short_where_the_tank_is_low(tmp_path):
    report = check(tmp_path, {**ROBOT, "air": {**ROBOT["air"], "supply": {"charge": "200 kPa"}}}, SEASON)
    assert find(report, "climb.lift.hooks").verdict == "short"


def test_motor_lift_by_virtual_work(tmp_path):
    """Stall torque times ratio over drum radius; the battery's sag and the current limit by Ohm's law."""
    lift = {"drum_radius": "15 mm", "travel": "0.1 m", "stages": [{"driver": 12, "driven": 60, "efficiency": 0.9}],
            "efficiency": 0.8}  # fmt: skip
    use = [{"motor": "test motor", "count": 2}]
    found = find(check(tmp_path, changed(lift=lift, motors=use), SEASON), "climb.lift.hooks")
    limited = min(2.5, 12.8 / (12 / 3.6 + 2 * 0.12))  # the current limit, or what winding and battery let through
    torque = 0.7 / (3.6 - 0.13) * (limited - 0.13)
    assert found.value == pytest.approx(2 * torque * 5 * 0.9 * 0.8 / 0.015, rel=0.01)


def test_the_end_on_the_hook_s_side_leaves_the_floor_first(tmp_path):
    """Moments about the other contact: a hook behind the centre of gravity lifts the rear first."""
    assert "Its rear end leaves the floor first" in fact(check(tmp_path, ROBOT, SEASON), "climb.lift_off.hooks").because
    front = changed(hook=["0.12 m", "0.6 m"], rest=None)
    assert (
        "Its front end leaves the floor first" in fact(check(tmp_path, front, SEASON), "climb.lift_off.hooks").because
    )


def test_lowest_point_is_the_lowest_corner_of_the_turned_parts(tmp_path):
    report = check(tmp_path, changed(rest=None), SEASON)
    tilt = math.atan2(CG[0] + 0.10, 0.6 - TRAVEL - CG[1])
    corners = [(x - -0.10, z - (0.6 - TRAVEL)) for x in (0.02 - 0.18, 0.02 + 0.18) for z in (0.02, 0.22)]
    lowest = 0.59 + min(-x * math.sin(tilt) + z * math.cos(tilt) for x, z in corners)
    assert find(report, "climb.clearance.hooks").value == pytest.approx(lowest, rel=1e-6)


def test_a_latch_holds_without_air_and_a_leak_lets_go(tmp_path):
    """Gauge pressure halves in the leak's half time (first-order decay), and so does the force."""
    assert find(check(tmp_path, changed(latch=True), SEASON), "climb.hold.hooks").verdict == "holds"
    air = {**ROBOT["air"], "tanks": {"tank": {"tank": "test tank", "leak_half_time": "60 s"}}}
    report = check(tmp_path, {**changed(hold="60 s"), "air": air}, SEASON)
    assert find(report, "climb.hold.hooks").value == pytest.approx(find(report, "climb.lift.hooks").value / 2, rel=1e-9)


def test_hooks_on_the_side_away_from_the_centre_of_gravity_hold_the_attitude(tmp_path):
    """Common practice, no source; computed by statics: the mirrored hook hangs farther off with a looser rest."""
    for name in ("mk1", "mk2"):
        subject = nominal(example(name))
        at = climb.hanging(subject, "hooks", subject.robot.mechanisms["hooks"])
        mirrored = np.array([2 * at.cg[0] - at.hook[0], at.hook[1]])
        own, other = climb._hung(at, at.hook), climb._hung(at, mirrored)
        assert abs(own.attitude) < math.radians(2) < math.radians(20) < abs(other.attitude)
        assert own.rest_force > other.rest_force
    assert "as the trade says" in fact(check(tmp_path, ROBOT, SEASON), "climb.hook.hooks").because


def test_a_climb_without_a_rest_swings(tmp_path):
    because = fact(check(tmp_path, changed(rest=None), SEASON), "climb.hook.hooks").because
    assert "no rest" in because
    assert "swings" in because


@pytest.mark.parametrize(
    ("keys", "key", "expected"),
    [
        ({"hook": ["0 m", "-0.1 m"]}, "mechanisms.hooks.hook[1]", "a hook above the floor"),
        ({"pose": "nowhere"}, "mechanisms.hooks.pose", "expected a name from poses"),
        ({"structure": "beam"}, "mechanisms.hooks.structure", "bar"),
        ({"lift": {"cylinder": "pul", "working": "back"}}, "mechanisms.hooks.lift.cylinder", "did you mean 'pull'"),
        ({"rest": {**CLIMBER["rest"], "position": ["0 m", "0.7 m"]}}, "mechanisms.hooks.rest", "below the hook"),
        ({"most_nose_down": None, "most_nose_up": "5 deg"}, "mechanisms.hooks.most_nose_up", "most_nose_down"),
        ({"lift": {"cylinder": "pull", "working": "back", "ratio": 40}}, "mechanisms.hooks.lift.ratio", "expected less"),
        ({"rides": "nothing"}, "mechanisms.hooks.rides", "a group that a part rides"),
    ],
)  # fmt: skip
def test_a_bad_climber_is_told_where(tmp_path, keys, key, expected):
    with pytest.raises(BadInput) as error:
        load(tmp_path, changed(**keys), SEASON)
    assert key in str(error.value)
    assert expected in str(error.value)


def test_a_batch_gives_what_each_case_gives():
    loaded = example("mk1")
    cases = Cases(5, 0, 4, [])
    base = nominal(loaded)
    batch = Subject(realise(loaded.robot, Robot, cases.draw), loaded.nominal_season, base)
    whole = [o.value for o in climb.check(batch)]
    for i in range(cases.size):

        def draw(path, quantity, i=i):
            drawn = cases.draw(path, quantity)
            return drawn if np.ndim(drawn) == 0 else float(drawn[i])

        alone = Subject(realise(loaded.robot, Robot, draw), loaded.nominal_season, base)
        for found, value in zip(climb.check(alone), whole, strict=True):
            assert float(found.value) == pytest.approx(float(np.broadcast_to(value, (cases.size,))[i]), rel=1e-9)
