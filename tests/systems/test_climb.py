"""Climb findings of whole robot files against statics and edited files, and what a wrong file is told."""

from __future__ import annotations

import dataclasses
import math
import re

import mujoco
import numpy as np
import pytest

from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases, evaluate
from fieldworthy.files import BadInput, instantiate
from fieldworthy.robot import load_robot
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.starter import Answers, Meets, starter_robot, starter_season
from fieldworthy.systems.climb import check as climb
from fieldworthy.systems.climb.mechanics import hung, lowest
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


def test_free_hang_puts_the_centre_of_gravity_below_the_hook(tmp_path):
    """A two-force body: atan2 of the level and upward distances, hooks drawn down by twice the stroke."""
    report = check(tmp_path, changed(rest=None), SEASON)
    expected = math.degrees(math.atan2(CG[0] + 0.10, 0.6 - TRAVEL - CG[1]))
    found = find(report, "climb.attitude.hooks")
    assert found.value == pytest.approx(expected, rel=1e-6)
    assert found.verdict == "short"  # 17.5 degrees, and 12 are allowed


def test_rest_force_by_moments_about_the_bar(tmp_path):
    """Level to 0.1 degree here: N |z_rest| = W x_cg (Meriam, equilibrium); pull that lifts it off: x_cg over depth."""
    report = check(tmp_path, changed(most_nose_down=None), SEASON)
    tilt = math.radians(fact(report, "climb.attitude.hooks").value)
    c, s = math.cos(tilt), math.sin(tilt)
    depth = 0.6 - TRAVEL
    arm = (CG[0] + 0.10) * c + (CG[1] - depth) * s
    drop = -(-(-0.18 + 0.10) * s + (0.05 - depth) * c)
    assert fact(report, "climb.hook.hooks").value == pytest.approx(MASS * GRAVITY * arm / drop, rel=1e-9)
    assert find(report, "climb.rest.hooks").value == pytest.approx(arm / (depth - CG[1]), rel=1e-3)


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
    assert (
        "the robot's rear end leaves the floor first"
        in fact(check(tmp_path, ROBOT, SEASON), "climb.lift_off.hooks").because
    )
    front = changed(hook=["0.12 m", "0.6 m"], rest=None)
    assert (
        "the robot's front end leaves the floor first"
        in fact(check(tmp_path, front, SEASON), "climb.lift_off.hooks").because
    )


def test_lowest_point_is_the_lowest_corner_of_the_turned_parts(tmp_path):
    report = check(tmp_path, changed(rest=None), SEASON)
    tilt = math.atan2(CG[0] + 0.10, 0.6 - TRAVEL - CG[1])
    corners = [(x - -0.10, z - (0.6 - TRAVEL)) for x in (0.02 - 0.18, 0.02 + 0.18) for z in (0.02, 0.22)]
    lowest = 0.59 + min(-x * math.sin(tilt) + z * math.cos(tilt) for x, z in corners)
    # the wheels are no parts: rims of 35 mm about middles 35 mm above the floor they stood on
    middles = [(x - -0.10, 0.035 - (0.6 - TRAVEL)) for x in (0.14, -0.12)]
    rims = 0.59 + min(-x * math.sin(tilt) + z * math.cos(tilt) for x, z in middles) - 0.035
    assert rims < lowest
    assert find(report, "climb.clearance.hooks").value == pytest.approx(rims, rel=1e-6)


def potential_path(hook, travel, bar, cg, contact, rest):
    """Attitudes while the hooks are drawn down, each the lowest the centre of gravity can reach from the last one.

    Grid over attitudes to a hundredth of a degree: hooked on the bar, the standing contact not below the floor and the
    rest not through its face. No forces, no moments: the least potential energy alone.
    """
    angles = np.radians(np.arange(-45.0, 45.0, 0.01))
    c, s = np.cos(angles), np.sin(angles)
    at, path = int(np.argmin(np.abs(angles))), []
    for drawn in np.linspace(hook[1] - bar, travel, 400):
        z = hook[1] - drawn
        height = (cg[1] - z) * c - (cg[0] - hook[0]) * s
        stands = bar + (contact[1] - z) * c - (contact[0] - hook[0]) * s >= -1e-5
        free = stands if rest is None else stands & ((rest[0] - hook[0]) * c + (rest[1] - z) * s >= rest[2] - 1e-5)
        if not free[at]:  # drawn into the floor or the face: turn to the nearest place that is free
            at = min(np.flatnonzero(free), key=lambda i: abs(i - at))
        while True:
            near = [i for i in (at - 1, at + 1) if 0 <= i < angles.size and free[i] and height[i] < height[at]]
            if not near:
                break
            at = min(near, key=lambda i: height[i])
        path.append(angles[at])
    return np.array(path)


@pytest.mark.parametrize(("x", "rests"), [(-0.10, True), (-0.10, False), (-0.04, False), (0.08, False)])
def test_the_way_up_is_that_of_least_potential_energy(tmp_path, x, rests):
    keys = {"hook": [f"{x} m", "0.6 m"], "most_nose_down": None} | ({} if rests else {"rest": None})
    said = fact(check(tmp_path, changed(**keys), SEASON), "climb.lift_off.hooks")
    contact = (0.14, 0.0) if x < CG[0] else (-0.12, 0.0)
    path = potential_path((x, 0.6), TRAVEL, 0.59, CG, contact, (-0.18, 0.05, -0.08) if rests else None)
    steepest = path[np.argmax(np.abs(path))]
    found = re.search(r"turns up to ([\d.]+)° nose (up|down); drawn up, it hangs (?:([\d.]+)°|level)", said.because)
    if found is None:
        assert "It hangs level." in said.because
        assert math.degrees(abs(steepest)) < 0.06
        return
    assert float(found[1]) == pytest.approx(abs(math.degrees(steepest)), abs=0.06)  # three digits, 0.01 degree of grid
    assert float(found[3] or 0.0) == pytest.approx(abs(math.degrees(path[-1])), abs=0.06)
    assert abs(said.value) <= float(found[1]) + 0.05


def test_a_latch_holds_without_air_and_a_leak_lets_go(tmp_path):
    """Gauge pressure halves in the leak's half time (first-order decay), and so does the force."""
    assert find(check(tmp_path, changed(latch=True), SEASON), "climb.hold.hooks").verdict == "holds"
    air = {**ROBOT["air"], "tanks": {"tank": {"tank": "test tank", "leak_half_time": "60 s"}}}
    report = check(tmp_path, {**changed(hold="60 s"), "air": air}, SEASON)
    assert find(report, "climb.hold.hooks").value == pytest.approx(find(report, "climb.lift.hooks").value / 2, rel=1e-9)


def shares(tmp_path, keys=None):
    """The rest's finding and the sentence on the hook's side."""
    report = check(tmp_path, changed(**(keys or {})), SEASON)
    return find(report, "climb.rest.hooks"), fact(report, "climb.hook.hooks").because


def hooked(x, ahead=-0.08, rest=None, face="behind"):
    """Hook at x, its rest 80 mm behind it (or where said), the face so far from the bar."""
    position = [f"{x - 0.08 if rest is None else rest} m", "0.05 m"]
    return {
        "hook": [f"{x} m", "0.6 m"],
        "rest": {"position": position, "ahead": f"{ahead} m", "face": face},
        "most_nose_down": None,
    }


def test_hooks_on_the_side_away_from_the_centre_of_gravity_hold_the_attitude(tmp_path):
    """Common practice, no source; computed: level here, so N = W (x_cg - x_hook) / depth, and 0 on the other side."""
    report = check(tmp_path, changed(), SEASON)
    because = fact(report, "climb.hook.hooks").because
    force = MASS * GRAVITY * 0.12 / 0.45  # the rest hangs straight below its place on the face: level
    assert fact(report, "climb.hook.hooks").value == pytest.approx(force, rel=1e-9)
    assert f"with {force:.1f} N on its rest" in because
    swings = math.degrees(math.atan2(0.12, 0.5 - CG[1]))
    assert f"swings free at {swings:.1f}° nose up with nothing on its rest" in because
    assert "as the trade says." in because
    assert "ahead of x = 0.02 m" in because  # level: right above the centre of gravity


def test_hooks_on_the_side_of_the_centre_of_gravity_swing_as_the_trade_says(tmp_path):
    rest, because = shares(tmp_path, hooked(0.14))
    assert rest.verdict == "short"
    assert "the hook is 0.12 m past" in rest.because
    assert "Hooked 0.12 m ahead of its centre of gravity, the robot on climber 'hooks' swings free" in because
    assert "as the trade says." in because


def test_the_mirrored_robot_says_the_same(tmp_path):
    """A face ahead of a robot whose hook is ahead of its centre of gravity."""
    rest, because = shares(tmp_path, hooked(0.14, ahead=0.08, rest=0.22, face="ahead"))
    assert rest.verdict == "holds"
    assert rest.value == pytest.approx(0.12 / (0.5 - CG[1]), rel=1e-9)
    assert "Hooked 0.12 m ahead of its centre of gravity, the robot on climber 'hooks' hangs level" in because
    assert "behind x = 0.02 m" in because


def tilt(rest_x, ahead):
    """Attitude at which a rest so far from the hook touches, by the triangle: depth 0.45 m, nose down positive."""
    return math.asin(-ahead / math.hypot(rest_x, 0.45)) - math.atan2(-rest_x, 0.45)


def test_where_the_trade_s_rule_fails_it_is_said_by_how_much(tmp_path):
    """A face so far back that the robot swings nose down before it touches: hooked 10 mm behind is not enough.

    The rest lets go where the centre of gravity is under the bar: x = x_cg - (z_hook - z_cg) tan(attitude).
    """
    at = tilt(-0.08, -0.14)
    place = CG[0] - (0.5 - CG[1]) * math.tan(at)
    rest, because = shares(tmp_path, hooked(0.01, ahead=-0.14))
    assert at > 0.0
    assert place < 0.01
    assert rest.verdict == "short"
    assert f"the hook is {0.01 - place:.3g} m past" in rest.because
    assert f"fails here: the hook is {0.01 - place:.3g} m past" in because


def test_both_sides_may_hold_and_it_is_said(tmp_path):
    """A face so near that it tilts the robot nose up: its centre of gravity stays behind the bar's far side too."""
    _, because = shares(tmp_path, hooked(0.01, ahead=-0.02))
    place = CG[0] - (0.5 - CG[1]) * math.tan(tilt(-0.08, -0.02))
    assert f"the other one does too, with {place - 0.03:.3g} m to spare" in because


def test_a_face_out_of_reach_is_said(tmp_path):
    rest, because = shares(tmp_path, hooked(-0.10, ahead=-0.9))
    assert rest.verdict == "short"
    assert "does not reach" in rest.because
    assert "fails here, for the rest does not reach its face" in because


def test_a_climb_without_a_rest_swings(tmp_path):
    """Friction circle (Meriam, journal bearings): r sin(atan mu) over the distance from hook to centre of gravity."""
    because = fact(check(tmp_path, changed(rest=None), SEASON), "climb.hook.hooks").because
    swing = math.degrees(math.asin(0.02 * math.sin(math.atan(0.3)) / math.hypot(0.12, 0.38)))
    assert "hangs 17.5° nose down, as far ahead of it 17.5° nose up" in because
    assert f"within {swing:.3g}°" in because
    plain = {"structures": {"bar": {"height": "0.59 m"}}}
    assert "Friction" not in fact(check(tmp_path, changed(rest=None), plain), "climb.hook.hooks").because


def test_nose_up_has_a_limit_of_its_own(tmp_path):
    keys = {"hook": ["0.14 m", "0.6 m"], "rest": None, "most_nose_down": "5 deg", "most_nose_up": "20 deg"}
    found = find(check(tmp_path, changed(**keys), SEASON), "climb.attitude.hooks")
    angle = math.degrees(math.atan2(0.12, 0.38))
    assert (found.value, found.limit) == (pytest.approx(angle, rel=1e-9), pytest.approx(20.0, rel=1e-9))
    assert found.verdict == "holds"
    alike = find(check(tmp_path, changed(**{**keys, "most_nose_up": None}), SEASON), "climb.attitude.hooks")
    assert alike.limit == pytest.approx(5.0, rel=1e-9)
    assert alike.verdict == "short"


def test_hooks_drawn_down_too_little_leave_it_on_the_floor(tmp_path):
    """Wheels at 0 mm, the hook at 600 mm, the bar at 570 mm, drawn 1 mm: 570 - 599; the box alone is at 20 mm."""
    found = find(
        check(tmp_path, changed(lift={"cylinder": "pull", "ratio": 0.02, "working": "back"}), {
            "structures": {"bar": {"height": "0.57 m", "diameter": "40 mm"}}}), "climb.clearance.hooks")  # fmt: skip
    assert found.verdict == "short"
    assert found.value == pytest.approx(-0.029, abs=2e-4)  # m; the rest does not tilt it by more than 0.03 degrees
    assert "does not get off the floor" in found.because


def test_the_hooks_group_comes_down_with_the_hooks(tmp_path):
    """A heavy group that rides the hooks hangs lower once they are drawn down, and so does its centre of gravity."""
    arms = {
        "mass": "2 kg",
        "position": ["0.02 m", "0 m", "0.1 m"],
        "size": ["0.02 m", "0.1 m", "0.1 m"],
        "rides": "arms",
    }
    robot = {**changed(rest=None, rides="arms", most_nose_down=None), "parts": {"arms": arms}}
    report = check(tmp_path, robot, SEASON)
    z = (7 * 0.12 + 2 * (0.1 - TRAVEL)) / 9
    angle = math.atan2(0.12, 0.5 - z)
    assert fact(report, "climb.attitude.hooks").value == pytest.approx(math.degrees(angle), rel=1e-9)
    corner = -(0.03 + 0.10) * math.sin(angle) + (0.05 - TRAVEL - 0.5) * math.cos(angle)  # below the wheels
    assert find(report, "climb.clearance.hooks").value == pytest.approx(0.59 + corner, rel=1e-9)


def test_wheels_in_one_line_across_still_give_findings(tmp_path):
    wheels = {f"{s} {e}": {"position": ["0 m", f"{y} m"]} for s, y in (("left", 0.15), ("right", -0.15)) for e in
              ("front", "rear")}  # fmt: skip
    report = check(tmp_path, {**changed(), "drive": {"wheels": wheels}}, SEASON)
    assert find(report, "climb.attitude.hooks").verdict == "holds"


def test_motors_hold_nothing_without_battery(tmp_path):
    lift = {"drum_radius": "15 mm", "travel": "0.1 m"}
    keys = {"lift": lift, "motors": [{"motor": "test motor"}]}
    found = find(check(tmp_path, changed(**keys), SEASON), "climb.hold.hooks")
    assert (found.verdict, found.value) == ("short", 0.0)
    assert "motors" in found.because
    assert find(check(tmp_path, changed(**keys, latch=True), SEASON), "climb.hold.hooks").verdict == "holds"


def test_too_little_air_says_how_far_it_comes(tmp_path):
    """Moments about the front wheels: the rear leaves at W (0.14 - 0.02) / (0.14 + 0.10)."""
    start = MASS * GRAVITY * 0.12 / 0.24
    lifts = 2 * 0.9 * math.pi / 4 * (0.016**2 - 0.006**2) * 0.9 / 2  # newtons per pascal
    for force, said in ((1.2 * start, "One end comes up"), (0.8 * start, "Not even one end comes up")):
        air = {**ROBOT["air"], "supply": {"charge": f"{force / lifts} Pa"}}
        report = check(tmp_path, {**ROBOT, "air": air}, SEASON)
        found = find(report, "climb.lift.hooks")
        assert found.value == pytest.approx(force, rel=1e-9)
        assert said in found.because
    assert f"first, at {start:.1f} N" in fact(report, "climb.lift_off.hooks").because


def test_without_parts_it_is_unknown(tmp_path):
    report = check(tmp_path, {**changed(), "parts": {"box": ...}}, SEASON)
    assert find(report, "climb.attitude.hooks").missing == ("parts",)


@pytest.mark.parametrize(
    ("keys", "key", "expected"),
    [
        ({"hook": ["0 m", "-0.1 m"]}, "mechanisms.hooks.hook[1]", "a hook above the floor"),
        ({"pose": "nowhere"}, "mechanisms.hooks.pose", "expected a name from poses"),
        ({"structure": "beam"}, "mechanisms.hooks.structure", "bar"),
        ({"lift": {"cylinder": "pul", "working": "back"}}, "mechanisms.hooks.lift.cylinder", "did you mean 'pull'"),
        ({"rest": {**CLIMBER["rest"], "position": ["0 m", "0.7 m"]}}, "mechanisms.hooks.rest", "below the hook"),
        ({"most_nose_down": None, "most_nose_up": "5 deg"}, "mechanisms.hooks.most_nose_up", "most_nose_down"),
        ({"lift": {"cylinder": "pull", "working": "back", "ratio": 40}}, "hooks.lift.ratio", "expected less"),
        ({"lift": {"drum_radius": "9 mm", "travel": "0.1 m"}}, "mechanisms.hooks.motors", "one class of motors"),
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
    batch = Context(instantiate(loaded.robot, Robot, cases.draw), loaded.nominal_season, base)
    whole = [o.value for o in climb.check(batch)]
    assert whole
    assert cases.size == 5
    for i in range(cases.size):

        def draw(path, quantity, i=i):
            drawn = cases.draw(path, quantity)
            return drawn if np.ndim(drawn) == 0 else float(drawn[i])

        alone = Context(instantiate(loaded.robot, Robot, draw), loaded.nominal_season, base)
        for found, value in zip(climb.check(alone), whole, strict=True):
            assert float(found.value) == pytest.approx(float(np.broadcast_to(value, (cases.size,))[i]), rel=1e-9)


@pytest.mark.parametrize("tanks", [0, 1])
@pytest.mark.parametrize("inch", [False, True])
def test_the_starter_s_climber_is_accepted_once_uncommented(tmp_path, tanks, inch):
    motor = "smart motor, 11 W class, 200 rpm"
    answers = Answers("Ours", "season.yaml", inch, motor, 4, 4, tanks, (1, 1), 0.1, 6.0, (0.4, 0.4, 0.3))
    text = starter_robot(answers, Meets()).replace("#  hooked:", "  hooked:").replace("#mechanisms:", "mechanisms:")
    begin = text.index("#  climber:")
    end = text.index("\n\n", begin)
    whole = text[:begin] + re.sub(r"(?m)^#", "", text[begin:end]) + text[end:]
    (tmp_path / "season.yaml").write_text(starter_season(inch).replace("#structures:", "structures:"), encoding="utf-8")
    (tmp_path / "robot.yaml").write_text(whole, encoding="utf-8")
    report = evaluate(load_robot(tmp_path / "robot.yaml"), 0)
    for wanted in ("lift", "reach", "attitude", "rest", "clearance"):
        assert find(report, f"climb.{wanted}.climber").verdict == "holds"
    assert find(report, "climb.hold.climber").verdict == "short"  # it says that there is no latch


def test_the_lowest_corner_is_found_among_all_parts_in_every_case():
    """By turning each corner of each part, whatever the attitude, over samples of the example's tolerances."""
    loaded = example("mk1")
    cases = Cases(11, 0, 40, [])
    robot = instantiate(loaded.robot, Robot, cases.draw)
    batch = Context(robot, loaded.nominal_season, nominal(loaded))
    at = hung(batch, "hooks", robot.mechanisms["hooks"])
    for rest in (robot.mechanisms["hooks"].rest, None):
        found = dataclasses.replace(at, spec=dataclasses.replace(at.spec, rest=rest))
        c, s = np.cos(found.attitude()), np.sin(found.attitude())
        low = np.full(cases.size, np.inf)
        radii = {n: robot.catalogue.wheels[w.wheel].diameter / 2 for n, w in robot.drive.wheels.items()}
        for n, wheel in robot.drive.wheels.items():
            x, z = wheel.position[0] - at.hook[0], radii[n] - at.hook[1]
            low = np.minimum(low, z * c - x * s - radii[n])
        for roller in robot.rollers.values():
            x, z = roller.position[0] - at.hook[0], roller.clearance - at.hook[1]
            low = np.minimum(low, z * c - x * s)
        for part in robot.parts.values():
            up = 0.15 - 0.05 * at.spec.lift.ratio if part.rides == "hooks" else 0.0
            for i, j in ((-1, -1), (-1, 1), (1, -1), (1, 1)):
                x = part.position[0] + i * part.size[0] / 2 - at.hook[0]
                z = part.position[2] + up + j * part.size[2] / 2 - at.hook[1]
                low = np.minimum(low, z * c - x * s)
        np.testing.assert_allclose(lowest(batch, found), 0.56 + low, atol=1e-9)


def test_wide_tolerances_give_numbers_in_every_case(tmp_path):
    """A hook and a face that are hardly known: some samples do not reach, some hang upside down."""
    wide = {
        "hook": [{"value": "-0.10 m", "tolerance": "0.3 m"}, {"value": "0.6 m", "tolerance": "0.5 m"}],
        "rest": {"position": [{"value": "-0.18 m", "tolerance": "0.3 m"}, "0.05 m"], "face": "behind",
                 "ahead": {"value": "-0.08 m", "tolerance": "0.5 m"}},
        "hook_friction": {"value": 0.3, "tolerance": 1},
    }  # fmt: skip
    for keys in (wide, {**wide, "rest": None}):
        report = evaluate(load(tmp_path, changed(**keys), SEASON), samples=2000)
        for found in (*report.findings, *report.facts):
            if found.id.startswith("climb.") and found.spread is not None:
                assert all(map(math.isfinite, found.spread)), found.id
    assert 0.0 < find(report, "climb.clearance.hooks").chance < 1.0


def wound_up(hook, cg, bar, travel):
    """MuJoCo: a robot on its two slippery contacts draws its hook down under a rope from 5 m above, which only pulls.

    How near its centre of gravity comes to being over the rear contact before that leaves the floor [m]; negative
    where it swings over backwards, until the rope catches it again or it lies on its back.
    """
    s = 0.001
    balls = "".join(f'<geom type="sphere" size="{s}" mass="0" pos="{x} 0 {s}"/>' for x in (0.14, -0.12))
    model = mujoco.MjModel.from_xml_string(f"""<mujoco><option timestep="0.001" gravity="0 0 -{GRAVITY}"/>
      <default><geom solref="0.004 1" solimp="0.995 0.9999 0.0001" friction="0 0 0" condim="1"/></default>
      <worldbody><geom type="plane" size="5 5 1"/><site name="bar" pos="{hook[0]} 0 {bar + 5.0}"/>
        <body><joint type="slide" axis="1 0 0" damping="2"/><joint type="slide" axis="0 0 1"/>
          <joint type="hinge" axis="0 1 0" damping="0.5"/>
          <geom type="box" size="0.15 0.15 0.1" mass="{MASS}" pos="{cg[0]} 0 {cg[1]}" contype="0" conaffinity="0"/>
          {balls}
          <body pos="{hook[0]} 0 {hook[1]}" gravcomp="1"><joint name="draw" type="slide" axis="0 0 1" damping="400"/>
            <geom type="sphere" size="0.01" mass="0.05" contype="0" conaffinity="0"/><site name="hook"/></body>
        </body></worldbody>
      <tendon><spatial limited="true" range="0 5" solreflimit="0.004 1" solimplimit="0.995 0.9999 0.0001">
        <site site="hook"/><site site="bar"/></spatial></tendon>
      <actuator><position joint="draw" kp="40000"/></actuator></mujoco>""")
    data, near, pitch, rear = mujoco.MjData(model), math.inf, 0.0, 0.0
    while data.time < travel / 0.01 and abs(pitch) < 1.4 and (rear < 3e-3 or pitch > -0.1):
        data.ctrl[0] = -0.01 * data.time
        mujoco.mj_step(model, data)
        pitch = data.qpos[2]
        rear = data.qpos[1] + 0.12 * math.sin(pitch)  # height of the rear contact
        near = min(near, (cg[0] + 0.12) * math.cos(pitch) + cg[1] * math.sin(pitch))
    return near


@pytest.mark.long
@pytest.mark.parametrize("ahead", [0.05, 0.10, 0.14, 0.18, 0.24, 0.30])
def test_hooks_far_ahead_tip_it_over_its_rear_end_as_mujoco_has_it(tmp_path, ahead, evidence):
    """A centre of gravity 200 mm up; hooks 400 mm up, drawn down slowly under a rope that can go slack."""
    cg, hook = (0.02, 0.20), (ahead, 0.40)
    high = {"box": {"mass": "7 kg", "position": ["0.02 m", "0.01 m", "0.20 m"], "size": ["0.36 m", "0.34 m", "0.2 m"]}}
    lift = {"drum_radius": "15 mm", "travel": "0.19 m", "stages": [{"driver": 12, "driven": 60}]}
    keys = changed(hook=[f"{hook[0]} m", f"{hook[1]} m"], rest=None, lift=lift, motors=[{"motor": "test motor"}])
    report = check(
        tmp_path, {**keys, "parts": high}, {"structures": {"bar": {"height": "0.39 m", "diameter": "40 mm"}}}
    )
    found, near = find(report, "climb.tip.hooks"), wound_up(hook, cg, 0.39, 0.19)
    stays = near > 0.0
    assert (found.value > 0.0) == stays
    assert ("tips the robot over its rear end" in found.because) == (not stays)
    assert ("it falls over its rear end" in fact(report, "climb.lift_off.hooks").because) == (not stays)
    if stays:
        evidence("climb", "Level distance of the centre of gravity from the rear wheels on the way up",
                 "MuJoCo: a robot that draws its hook down under a rope", "hooks 30 mm and more ahead of it", "m",
                 found.value, near)  # fmt: skip
        assert found.value == pytest.approx(near, abs=5e-3)  # it swings a little as the rear wheels leave
