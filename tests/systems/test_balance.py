"""Balance of whole robot files against statics, MuJoCo and edited files."""

from __future__ import annotations

import math

import mujoco
import numpy as np
import pytest

from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.robot import load_robot
from fieldworthy.systems.balance.gentle import options
from fieldworthy.vehicle import state
from overturning import Robot
from robots import EXAMPLES, GONE, GRAVITY, changed, check, example, example_copy, fact, find, load, nominal

WHEELS = {"forward": 0.14, "back": -0.12, "left": 0.15, "right": -0.15}  # m, of the small robot
BOX = {"x": 0.02, "y": 0.01, "z": 0.12}
TIPPY = {"parts": {"box": {"position": ["0.02 m", "0.01 m", "0.2 m"]}}}
"""At this height hard braking lifts wheels."""


def distance(side: str, x: float, y: float) -> float:
    """From a floor point out to the wheels' line on one side."""
    return abs(WHEELS[side] - (x if side in ("forward", "back") else y))


def test_a_part_below_the_floor_is_told_in_the_pose_where_it_is_deepest(tmp_path):
    """By hand: the middle less half of the height, and in the pose by so much lower as it moves."""
    skid = {
        "mass": "0.1 kg",
        "position": ["0 m", "0 m", "0.04 m"],
        "size": ["0.1 m", "0.1 m", "0.03 m"],
        "rides": "skid",
    }
    sill = {"mass": "0.1 kg", "position": ["0 m", "0 m", "-2 mm"], "size": ["0.1 m", "0.1 m", "0.004 m"]}
    deep = {"use": "stand", "moves": {"skid": {"shift": ["0 m", "0 m", "-55 mm"]}}}
    report = check(tmp_path, {"parts": {"skid": skid, "sill": sill}, "poses": {"deep": deep}})
    told, near = (find(report, "balance.floor", f"part {name}") for name in ("skid", "sill"))
    assert (told.value, told.limit, told.verdict) == (
        pytest.approx(0.04 - 0.015 - 0.055),
        pytest.approx(-0.005),
        "short",
    )
    assert "In pose 'deep' part 'skid' reaches 0.03 m below the floor" in told.because
    assert (near.value, near.verdict) == (pytest.approx(-0.004), "holds")


def test_what_stands_on_the_floor_or_hangs_is_not_below_it(tmp_path):
    skid = {"mass": "0.1 kg", "position": ["0 m", "0 m", "15 mm"], "size": ["0.1 m", "0.1 m", "30 mm"], "rides": "skid"}
    hung = {"use": "climb", "moves": {"skid": {"shift": ["0 m", "0 m", "-55 mm"]}}}
    report = check(tmp_path, {"parts": {"skid": skid}, "poses": {"hung": hung}})
    assert not [f for f in report.findings if f.id == "balance.floor"]


def test_a_robot_whose_weight_is_behind_its_wheels_does_not_stand_by_itself(tmp_path):
    """By hand: the rear contacts are at x = -0.12 m, so with its weight at x = -0.15 m it falls, 30 mm past them."""
    report = check(tmp_path, {"parts": {"box": {"position": ["-0.15 m", "0.01 m", "0.12 m"]}}})
    ways = [f"balance.tip.{side}" for side in WHEELS]
    ways += [f"balance.{what}.{side}" for what in ("over", "stop") for side in ("forward", "back")]
    for identifier in (*ways, "balance.tilt"):
        found = find(report, identifier)
        assert found.verdict == "short", identifier
        assert "does not stand by itself: its weight comes down 0.03 m outside" in found.because
    assert find(report, "balance.tip.left").value == pytest.approx(-GRAVITY * 0.03 / 0.12, rel=1e-9)
    push = fact(report, "balance.push")
    assert (push.value, "does not stand by itself" in push.because) == (0.0, True)


@pytest.mark.parametrize("side", list(WHEELS))
def test_wheels_lift_at_g_times_reach_over_height(tmp_path, side):
    found = find(check(tmp_path), f"balance.tip.{side}")
    assert found.value == pytest.approx(GRAVITY * distance(side, BOX["x"], BOX["y"]) / BOX["z"], rel=1e-9)


def test_static_tilt_is_the_angle_of_the_nearest_edge(tmp_path):
    found = find(check(tmp_path), "balance.tilt")
    least = min(math.atan2(distance(s, BOX["x"], BOX["y"]), BOX["z"]) for s in WHEELS)
    assert found.value == pytest.approx(math.degrees(least), rel=1e-9)
    assert found.limit == pytest.approx(12)


def test_a_push_tips_it_where_its_moment_is_that_of_the_weight(tmp_path):
    # a pushed block, by hand: P h = W d at the nearest edge, with the box of 7 kg and what else the file weighs
    report = check(tmp_path)
    weight = GRAVITY * state.body(nominal(load(tmp_path)), "driving").mass
    nearest = min(distance(s, BOX["x"], BOX["y"]) for s in WHEELS)
    assert fact(report, "balance.push").value == pytest.approx(weight * nearest / BOX["z"], rel=1e-9)


def test_what_is_asked_is_grip_lengthwise_and_side_grip_sideways(tmp_path):
    report = check(tmp_path)
    # all wheels alike and driven: braking by grip alone, whatever each of them carries
    assert find(report, "balance.tip.forward").limit == pytest.approx(0.8 * GRAVITY, rel=1e-9)
    assert find(report, "balance.tip.left").limit == pytest.approx(0.3 * GRAVITY, rel=1e-9)


def test_a_load_on_top_moves_the_limit_as_the_common_centre_does(tmp_path):
    poses = {"driving": {"carries": {"b": {"object": "ball", "count": 3, "position": ["0.1 m", "0 m", "0.5 m"]}}}}
    report = check(tmp_path, {"poses": poses})
    mass = 7 + 3 * 0.4
    x, z = (7 * BOX["x"] + 1.2 * 0.1) / mass, (7 * BOX["z"] + 1.2 * 0.5) / mass
    assert find(report, "balance.tip.forward").value == pytest.approx(GRAVITY * (0.14 - x) / z, rel=1e-9)
    assert fact(report, "balance.centre_height").value == pytest.approx(z if z < 1 else 0, rel=1e-9)


def test_the_worst_pose_is_the_one_that_is_judged(tmp_path):
    high = {z: {"b": {"object": "ball", "position": ["0 m", "0 m", z]}} for z in ("0.8 m", "1.8 m")}
    poses = {"tall": {"use": "drive", "carries": high["0.8 m"]}, "stand": {"use": "stand", "carries": high["1.8 m"]}}
    report = check(tmp_path, {"poses": poses})
    assert find(report, "balance.tip.back").subject == "pose tall"  # one that only stands is not asked to brake
    assert find(report, "balance.tilt").subject == "pose stand"


def test_a_load_in_tow_enters_the_moments_about_the_wheels(tmp_path):
    tow = {"drag": "6 N", "down": "4 N", "position": ["-0.25 m", "0 m", "0.1 m"]}
    report = check(tmp_path, {"poses": {"driving": {"tow": tow}}})
    weight = 7 * GRAVITY
    # moments about the front wheels' contact when the rear wheels just carry nothing; the pull back at the hitch
    # and the weight hold the rear down, the inertia of the robot at its centre of gravity lifts it
    hold = weight * (0.14 - BOX["x"]) + 4 * (0.14 + 0.25) + 6 * 0.1
    assert find(report, "balance.tip.forward").value == pytest.approx(hold / (7 * BOX["z"]), rel=1e-9)
    # and about the rear wheels' contact: pull and hitch load lift the front
    hold = weight * (BOX["x"] + 0.12) - 4 * (0.25 - 0.12) - 6 * 0.1
    assert find(report, "balance.tip.back").value == pytest.approx(hold / (7 * BOX["z"]), rel=1e-9)


def about_edge(side: str, height: float) -> tuple[float, float, float]:
    """Reach, inertia about the tipping edge and mass of the small robot's box (length 0.36, height 0.2 m)."""
    reach = distance(side, BOX["x"], BOX["y"])
    own = 7 * (0.36**2 + 0.2**2) / 12
    return reach, own + 7 * (reach**2 + height**2), 7.0


def test_a_dead_stop_goes_over_from_the_speed_whose_spin_climbs_the_edge(tmp_path):
    found = find(check(tmp_path, TIPPY), "balance.stop.forward")
    reach, inertia, mass = about_edge("forward", 0.2)
    # angular momentum about the stopped edge is kept, then energy: Housner 1963
    climb = mass * GRAVITY * (math.hypot(reach, 0.2) - 0.2)
    assert found.value == pytest.approx(math.sqrt(2 * climb * inertia) / (mass * 0.2), rel=1e-9)


@pytest.mark.parametrize(("side", "lead", "trail"), [("forward", 0.12, 0.14), ("back", 0.14, 0.12)])
def test_braking_carries_the_box_over_from_the_speed_that_mujoco_finds(tmp_path, side, lead, trail):
    """Locked wheels that slide: motors of 4 times 0.478 N m times 48/36 over 0.9 hold 81 N at the rims, grip 55 N."""
    found = find(check(tmp_path, TIPPY), f"balance.over.{side}")
    box = Robot(7.0, 7 * (0.36**2 + 0.2**2) / 12, lead, trail, 0.2, 0.8)
    assert lead / 0.2 < 0.8  # it does lift
    assert found.value == pytest.approx(box.tip_speed(), rel=0.03)  # 1.6 cm/s of bisection


def test_without_lift_no_speed_carries_it_over(tmp_path):
    found = find(check(tmp_path), "balance.over.forward")
    assert (found.value, found.verdict) == (None, "holds")
    assert "no braking tips the robot over" in found.because


def slippery(height: float, grip: float = 0.5) -> dict:
    """The small robot with its weight higher, on wheels that grip less."""
    box = {"box": {"position": ["0.02 m", "0.01 m", f"{height} m"]}}
    return {"parts": box, "catalogue": {"wheels": {"test wheel": {"grip": grip}}}}


@pytest.mark.parametrize("height", [0.2, 0.22])
def test_the_margin_of_a_robot_that_nothing_tips_is_how_much_harder_it_might_brake(tmp_path, height):
    """MuJoCo, from top speed with more and more grip: no margin of 10 for one that a little more grip carries over."""
    found = find(check(tmp_path, slippery(height)), "balance.over.forward")
    assert found.value is None  # as it is nothing carries it over

    def over(grip: float) -> bool:
        box = Robot(7.0, 7 * (0.36**2 + 0.2**2) / 12, 0.12, 0.14, height, grip)
        return box.goes_over(box.model(), found.limit)

    low, high = 0.5, 1.0
    assert over(high)
    assert not over(low)
    for _ in range(6):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if over(middle) else (middle, high)
    # motors that brake harder by the same share hold the wheels locked as these do
    assert 1.0 + found.margin == pytest.approx(0.5 * (low + high) / 0.5, rel=0.05)


def test_margin_and_chance_of_going_over_do_not_contradict_each_other(tmp_path):
    """What tips in a good part of the cases is near its limit, however fast the nominal one may go."""
    unsure = 0
    for grip in (0.5, 0.6, 0.65):
        found = find(evaluate(load(tmp_path, slippery(0.2, grip)), samples=400), "balance.over.forward")
        assert found.chance >= 0.95 or found.margin < 0.5, (grip, found.chance, found.margin)
        unsure += found.chance < 0.95
    assert unsure


ROLLERS = {
    "rollers": {n: {"position": ["0.24 m", f"{y} m"], "clearance": "5 mm"} for n, y in (("l", 0.1), ("r", -0.1))}
}


def test_rollers_do_not_stop_the_wheels_from_lifting_but_stop_it_from_going_over(tmp_path):
    bare, rolled = check(tmp_path, TIPPY), check(tmp_path, changed(TIPPY, ROLLERS))
    for report in (bare, rolled):
        lift = find(report, "balance.tip.forward")
        assert lift.value == pytest.approx(GRAVITY * 0.12 / 0.2, rel=1e-9)
    caught, top = find(rolled, "balance.over.forward"), find(bare, "balance.over.forward").limit
    assert caught.value > 1.5 * find(bare, "balance.over.forward").value
    assert caught.verdict == "holds"
    box = Robot(7.0, 7 * (0.36**2 + 0.2**2) / 12, 0.12, 0.14, 0.2, 0.8, roller=(0.1, 0.005))
    assert not box.goes_over(box.model(), top)
    # and on the side without rollers nothing changes
    assert find(rolled, "balance.stop.back").value == pytest.approx(find(bare, "balance.stop.back").value, rel=1e-12)


def test_a_roller_farther_out_shows_its_effect_step_by_step(tmp_path):
    """And a dead stop is never called safer than braking."""
    braked = []
    for x in (0.14, 0.17, 0.19, 0.21, 0.24):
        rollers = {n: {"position": [f"{x} m", f"{y} m"], "clearance": "8 mm"} for n, y in (("l", 0.1), ("r", -0.1))}
        report = check(tmp_path, changed(TIPPY, {"rollers": rollers}))
        braked.append(find(report, "balance.over.forward").value)
        assert find(report, "balance.stop.forward").value <= braked[-1]
    assert braked == sorted(braked)
    assert braked[0] < braked[2] < braked[3] < braked[4] < 8.0


def test_the_nearest_edge_may_be_diagonal(tmp_path):
    """Three wheels: the slanted sides of the triangle are nearer than what lies straight ahead or across."""
    wheels = {"left rear": GONE, "right rear": GONE,
              "tail": {"position": ["-0.12 m", "0 m"], "wheel": "test wheel"}}  # fmt: skip
    report = check(tmp_path, {"drive": {"wheels": wheels}, "parts": {"box": {"position": ["0 m", "0.01 m", "0.12 m"]}}})
    # the line from (-0.12, 0) to (0.14, 0.15), and how far the centre of gravity is from it
    distance = abs(0.26 * (0.01 - 0.0) - 0.15 * (0.0 + 0.12)) / math.hypot(0.26, 0.15)
    tilt = find(report, "balance.tilt")
    assert tilt.value == pytest.approx(math.degrees(math.atan2(distance, 0.12)), rel=1e-9)
    assert "back-left" in tilt.because or "left" in tilt.because
    limit = fact(report, "balance.limit")
    assert limit.value == pytest.approx(GRAVITY * distance / 0.12, rel=1e-9)


@pytest.mark.long
def test_tilt_and_limit_agree_for_any_robot(tmp_path):
    """200 random robots on three to five contacts: tan of the tilt is the weakest limit over g."""
    rng = np.random.default_rng(4)
    for _ in range(200):
        wheels = {f"wheel {i}": {"position": [f"{x:.4f} m", f"{y:.4f} m"], "wheel": "test wheel"}
                  for i, (x, y) in enumerate(rng.uniform(-0.2, 0.2, (int(rng.integers(3, 6)), 2)))}  # fmt: skip
        old = dict.fromkeys(("left front", "left rear", "right front", "right rear"), GONE)
        position = [f"{c:.4f} m" for c in (*rng.uniform(-0.1, 0.1, 2), rng.uniform(0.05, 0.3))]
        report = check(tmp_path, {"drive": {"wheels": old | wheels}, "parts": {"box": {"position": position}}})
        tilt, limit = find(report, "balance.tilt").value, fact(report, "balance.limit").value
        assert math.tan(math.radians(tilt)) == pytest.approx(limit / GRAVITY, rel=1e-9)
        sides = [find(report, f"balance.tip.{side}").value for side in WHEELS]
        assert tilt < 0 or limit <= min(s for s in sides if s is not None) + 1e-9
        for side in ("forward", "back"):
            over, stop = (find(report, f"balance.{kind}.{side}") for kind in ("over", "stop"))
            assert (over.value if over.value is not None else math.inf) >= stop.value * (1.0 - 1e-9)


def test_each_case_is_judged_in_its_own_worst_pose(tmp_path):
    """Two poses as good as level: where a draw makes the other one the worse, it is that one that counts.

    Each is alone below its limit in about half of the draws, so both together hold in about a quarter.
    """

    def exact(*values):
        return [{"value": v, "tolerance": 0} for v in values]

    objects = {n: {"mass": {"value": "0.4 kg", "tolerance": "0.2 kg"}, "size": ["0.1 m", "0.1 m", "0.1 m"]}
               for n in ("red", "blue")}  # fmt: skip
    on_top = exact("0 m", "0 m", "0.6 m")
    poses = {"driving": GONE} | {n: {"carries": {"b": {"object": n, "position": on_top}}} for n in objects}
    box = {"mass": {"value": "7 kg", "tolerance": 0}, "position": exact("0.02 m", "0.01 m", "0.12 m")}
    wheels = {"left front": ("0.14 m", "0.15 m"), "left rear": ("-0.12 m", "0.15 m"),
              "right front": ("0.14 m", "-0.15 m"), "right rear": ("-0.12 m", "-0.15 m")}  # fmt: skip
    places = {n: {"position": exact(*place)} for n, place in wheels.items()}
    robot = {"parts": {"box": box}, "drive": {"wheels": places}, "poses": poses}
    tilt = find(check(tmp_path, robot, {"objects": objects}), "balance.tilt").value
    robot |= {"balance": {"least_tilt": f"{tilt} deg"}}
    both = find(evaluate(load(tmp_path, robot, {"objects": objects}), samples=2000), "balance.tilt")
    assert both.chance == pytest.approx(0.25, abs=0.04)


def test_a_dead_stop_over_rollers_keeps_what_their_blow_leaves(tmp_path):
    found = find(check(tmp_path, changed(TIPPY, ROLLERS)), "balance.stop.forward")
    reach, inertia, mass = about_edge("forward", 0.2)
    own = 7 * (0.36**2 + 0.2**2) / 12
    tilt = math.atan2(0.005, 0.1)
    cg = np.array([-reach * math.cos(tilt) + 0.2 * math.sin(tilt), 0.2 * math.cos(tilt) + reach * math.sin(tilt)])
    roller = np.array([math.hypot(0.1, 0.005), 0.0])
    second = cg - roller
    about = own + mass * second @ second
    kept = (own + mass * cg @ second) / about  # angular momentum about the roller, Housner 1963
    after = 2 * mass * GRAVITY * (math.hypot(*second) - second[1]) / about
    before = after / kept**2 + 2 * mass * GRAVITY * (cg[1] - 0.2) / inertia
    assert found.value == pytest.approx(math.sqrt(before) * inertia / (mass * 0.2), rel=1e-9)


NOSE_HEAVY = {"parts": {"box": {"position": ["0.05 m", "0.01 m", "0.16 m"]}}, "drive": {"motors": 8}}
"""Lifts its rear wheels when it brakes; strong enough to brake as hard as it grips with ballast too."""


@pytest.mark.parametrize("z", ["0.15 m", "0.16 m", "0.17 m"])
def test_the_ballast_that_is_named_just_keeps_the_wheels_down(tmp_path, z):
    """Put into the file as a part, the ballast leaves the worst direction exactly at its limit."""
    places = {
        "rear": {"position": ["-0.2 m", "0 m", "0.03 m"], "most": "5 kg"},
        "low middle": {"position": ["0 m", "0 m", "0.02 m"], "most": "5 kg"},
    }
    robot = changed(NOSE_HEAVY, {"parts": {"box": {"position": ["0.05 m", "0.01 m", z]}}, "ballast": places})
    named = fact(check(tmp_path, robot), "balance.ballast")
    place = next(p for p in places if f"'{p}'" in named.because)
    part = {"mass": f"{named.value!r} {named.unit}", "position": places[place]["position"], "size": ["1 mm"] * 3}
    heavier = check(tmp_path, changed(robot, {"parts": {"ballast": part}}))
    margins = [find(heavier, f"balance.tip.{side}").margin for side in WHEELS]
    assert min(margins) == pytest.approx(0, abs=1e-9)
    lighter = check(
        tmp_path, changed(robot, {"parts": {"ballast": part | {"mass": f"{0.98 * named.value!r} {named.unit}"}}})
    )
    assert min(find(lighter, f"balance.tip.{side}").margin for side in WHEELS) < -1e-4


def test_each_place_takes_no_more_than_its_own_limit(tmp_path):
    places = {"rear": {"position": ["-0.2 m", "0 m", "0.03 m"], "most": "0.1 kg"},
              "nearer": {"position": ["-0.14 m", "0 m", "0.03 m"], "most": "9 kg"}}  # fmt: skip
    named = fact(check(tmp_path, changed(NOSE_HEAVY, {"ballast": places})), "balance.ballast")
    assert "'nearer'" in named.because
    # moment about the front wheels' lifting line: 7 kg are short of it, the ballast's own slack makes up for it
    short, slack = 0.8 * 0.16 - 0.09, 0.14 + 0.14 - 0.8 * 0.03
    assert named.value == pytest.approx(7 * short / slack, rel=1e-9)


def test_two_poses_of_unlike_mass_each_count_with_their_own(tmp_path):
    """The heavier pose is the one without need: its mass must not be charged to the lighter one."""
    low = {"object": "ball", "count": 8, "position": ["-0.02 m", "0 m", "0.02 m"]}
    robot = changed(NOSE_HEAVY, {
        "poses": {"laden": {"use": "drive", "carries": {"b": low}}},
        "ballast": {"rear": {"position": ["-0.2 m", "0 m", "0.03 m"], "most": "5 kg"}},
    })  # fmt: skip
    both = fact(check(tmp_path, robot), "balance.ballast").value
    alone = fact(check(tmp_path, changed(robot, {"poses": {"laden": GONE}})), "balance.ballast").value
    assert both == pytest.approx(alone, rel=1e-9)
    assert both > 0


def test_no_ballast_where_none_is_needed(tmp_path):
    robot = {"ballast": {"rear": {"position": ["-0.1 m", "0 m", "0.03 m"]}}}
    report = check(tmp_path, robot)
    assert fact(report, "balance.ballast").value == 0
    assert all(find(report, f"balance.tip.{side}").margin > 0 for side in WHEELS)


def scene(name: str, pose_name: str) -> mujoco.MjModel:
    """The example's parts as boxes of a MuJoCo body, groups moved as the pose says."""
    loaded = example(name)
    robot, season = loaded.nominal, loaded.nominal_season
    pose = robot.poses[pose_name]
    things = [(p.mass * p.count, p.position, p.size, p.rides) for p in robot.parts.values()]
    things += [(season.objects[c.object].mass * c.count, c.position, season.objects[c.object].size, c.rides)
               for c in pose.carries.values()]  # fmt: skip
    geoms = []
    for mass, position, size, rides in things:
        move = pose.moves.get(rides)
        point, turn = np.array(position, dtype=float), 0.0
        if move is not None:
            turn = float(move.turn)
            pivot = np.array(move.pivot or (0, 0, 0), dtype=float)
            matrix = np.array([[math.cos(turn), 0, math.sin(turn)], [0, 1, 0], [-math.sin(turn), 0, math.cos(turn)]])
            point = pivot + matrix @ (point - pivot) + np.array(move.shift or (0, 0, 0), dtype=float)
        half = " ".join(repr(float(s) / 2) for s in size)
        place = " ".join(repr(float(c)) for c in point)
        geoms.append(f'<geom type="box" size="{half}" pos="{place}" mass="{mass!r}" euler="0 {turn!r} 0"/>')
    return mujoco.MjModel.from_xml_string(
        f'<mujoco><compiler angle="radian"/><worldbody><body><freejoint/>{"".join(geoms)}</body></worldbody></mujoco>'
    )


@pytest.mark.parametrize(
    ("name", "pose"), [("mk1", "stowed"), ("mk1", "tipping"), ("mk1", "hooks up"), ("mk2", "arm up")]
)
def test_mass_centre_and_inertia_of_the_examples_equal_mujoco(name, pose):
    model, body = scene(name, pose), state.body(nominal(example(name)), pose)
    matrix = np.zeros(9)
    mujoco.mju_quat2Mat(matrix, model.body_iquat[1])
    axes = matrix.reshape(3, 3)
    assert float(body.mass) == pytest.approx(model.body_mass[1], rel=1e-9)
    assert np.asarray(body.cg) == pytest.approx(model.body_ipos[1], abs=1e-9)
    assert np.asarray(body.inertia) == pytest.approx(axes @ np.diag(model.body_inertia[1]) @ axes.T, abs=1e-9)


def test_mk1_noses_over_with_pods_on_the_tray_and_says_why():
    found = find(evaluate(example(), samples=1000), "balance.tip.forward")
    assert found.verdict == "short"
    assert found.subject == "pose loaded"
    assert found.chance < 0.1
    causes = " ".join(found.inputs)
    for key in ("tray walls", "season.objects.pod.mass", ".grip", "drive.wheels.left front.position[0]"):
        assert key in causes
    assert not any(key.startswith(("air.", "actions.", "battery")) for key in found.inputs)


def test_mk1_would_stand_with_its_front_wheels_farther_forward(tmp_path):
    rows = [("left front", "155"), ("right front", "-155")]
    edits = [(f"{n}: {{position: [130 mm, {y} mm]", f"{n}: {{position: [170 mm, {y} mm]") for n, y in rows]
    report = evaluate(load_robot(example_copy(tmp_path, *edits)), samples=0)
    assert find(report, "balance.tip.forward").verdict == "holds"


def test_without_parts_or_floor_balance_is_unknown(tmp_path):
    found = find(check(tmp_path, {"parts": GONE}), "balance.tip")
    assert (found.verdict, found.missing) == ("unknown", ("parts",))
    found = find(check(tmp_path, {"poses": {"driving": {"use": "climb"}}}), "balance.tip")
    assert (found.verdict, found.missing) == ("unknown", ("poses",))


def test_a_robot_past_its_edge_does_not_stand(tmp_path):
    report = check(tmp_path, {"parts": {"box": {"position": ["0.2 m", "0 m", "0.12 m"]}}})
    tilt, lift = find(report, "balance.tilt"), find(report, "balance.tip.forward")
    assert (tilt.verdict, lift.verdict) == ("short", "short")
    assert tilt.value == pytest.approx(math.degrees(math.atan2(0.14 - 0.2, 0.12)), rel=1e-9)
    assert find(report, "balance.over.forward").value == 0


def test_examples_are_where_they_are_said_to_be():
    assert {p.name for p in EXAMPLES.glob("*.yaml")} >= {"mk1.yaml", "mk2.yaml", "glasshouse.yaml"}


def test_mk1_and_the_small_robot_are_read_whole(tmp_path):
    assert len(load(tmp_path).nominal.parts) == 1
    assert len(example().nominal.parts) == len((EXAMPLES / "mk1_parts.csv").read_text("utf-8").splitlines()) - 1


def test_limits_all_round_against_hand_geometry(tmp_path):
    """Rectangle of wheels about a known centre of gravity: g times distance over height, along each direction."""
    report = check(tmp_path)
    limit = fact(report, "balance.limit")
    body = state.body(nominal(load(tmp_path)), "driving")
    x, y, z = (float(c) for c in body.cg)
    ways = {0: 0.14 - x, 90: 0.15 - y, 180: x + 0.12, 270: y + 0.15}
    for degrees in (45, 135, 225, 315):
        u, v = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        ways[degrees] = min((ways[0] if u > 0 else ways[180]) / abs(u), (ways[90] if v > 0 else ways[270]) / abs(v))
    assert limit.value == pytest.approx(min(GRAVITY * way / z for way in ways.values()), rel=1e-6)


def test_gentler_driving_is_held_to_nine_tenths_of_what_keeps_the_wheels_down(tmp_path):
    """Tall, it lifts its rear wheels from g 0.12 / 0.2 on; all wheels grip alike, so it brakes with g 0.8 at most.

    The limit is nine tenths of the one over the other, in steps of 5 %: written into the file, the wheels stay down.
    """
    loaded = load(tmp_path, TIPPY)
    context = Context(loaded.nominal, loaded.nominal_season)
    limit, brakes = GRAVITY * (0.14 - 0.02) / 0.2, float(state.performance(context, "driving").forward.stop)
    assert limit < brakes <= GRAVITY * 0.8 * (1 + 1e-9)
    option = next(options(context))
    braking = math.floor(0.9 * limit / brakes * 20) / 20
    assert float(option.sets["drive", "braking"]) == pytest.approx(braking)
    assert option.what.startswith(f"Limit braking to {100 * braking:.0f} %")
    gentle = changed(TIPPY, {"drive": {key: float(value) for (_, key), value in option.sets.items()}})
    before, after = (find(check(tmp_path, robot), "balance.tip.forward") for robot in (TIPPY, gentle))
    assert before.fails
    assert not after.fails
    assert after.limit <= 0.9 * limit * (1 + 1e-9)
