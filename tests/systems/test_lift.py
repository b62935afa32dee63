"""Lifts, motor arms and guides of whole robot files against MuJoCo, plane geometry and statics, and wrong files."""

from __future__ import annotations

import math
import re

import mujoco
import numpy as np
import pytest
from scipy.optimize import brentq

from fieldworthy.cli.app import main
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases, evaluate
from fieldworthy.files import BadInput, instantiate
from fieldworthy.robot import load_robot
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.arm import check as motorarm
from fieldworthy.systems.guide import check as slide
from fieldworthy.systems.lift import check as lift
from fieldworthy.systems.lift import check as lifts
from fieldworthy.systems.lift import check as liftsize
from robots import GRAVITY, check, example, example_copy, fact, find, load, nominal
from stroke import elastic_energy

ARM = {"mass": "0.6 kg", "position": ["0.1 m", "0 m", "0.3 m"], "size": ["0.2 m", "0.2 m", "0.02 m"], "rides": "arm"}
LIFT = {
    "kind": "lift",
    "rides": "arm",
    "side": "ahead",
    "pivot": ["0 m", "0.3 m"],
    "fixed_pin": ["0.07 m", "0.16 m"],
    "arm_pin": ["0.06 m", "0.27 m"],
    "cylinder": "lift",
    "swing": "40 deg",
    "carries": {"ball": {"object": "ball", "position": ["0.15 m", "0.33 m"]}},
}
ROBOT = {
    "parts": {"arm": ARM},
    "air": {
        "tanks": {"tank": {"tank": "test tank", "charge": "650 kPa", "regulator": "400 kPa"}},
        "cylinders": {
            "lift": {"cylinder": "test cylinder", "tank": "tank", "valve": "test valve", "push_load": "20 N"}
        },
    },
    "mechanisms": {"lift": LIFT},
}
CLOSED, STROKE, BORE = 0.120, 0.050, 0.016  # m, of the test cylinder
BASE, RADIUS = math.hypot(0.07, 0.14), math.hypot(0.06, 0.03)  # m, from pivot to the pins


def changed(**keys):
    return {**ROBOT, "mechanisms": {"lift": {**LIFT, **keys}}}


def lifted_of(folder, robot=None):
    context = nominal(load(folder, robot or ROBOT))
    return lift.lifted(context, "lift", context.robot.mechanisms["lift"])


def included(length, base=BASE, radius=RADIUS):
    """Law of cosines."""
    return math.acos((base**2 + radius**2 - length**2) / (2 * base * radius))


def test_swing_by_the_law_of_cosines(tmp_path):
    found = find(check(tmp_path, ROBOT), "lift.swing.lift")
    own = math.atan2(-0.03, 0.06) - math.atan2(-0.14, 0.07)  # between the pins, as the arm's parts are placed
    raised = included(CLOSED + STROKE) - max(included(CLOSED), own)
    assert found.value == pytest.approx(math.degrees(raised), rel=1e-9)


def test_torque_of_arm_and_ball_against_mujoco(tmp_path):
    """Gravity torque on a hinge, by inverse dynamics, at every point of the stroke."""
    at = lifted_of(tmp_path)
    model = mujoco.MjModel.from_xml_string(f"""
    <mujoco><option gravity="0 0 -{GRAVITY}"/><worldbody><body pos="0 0 0.3">
      <joint type="hinge" axis="0 -1 0"/>
      <geom type="box" size="0.1 0.1 0.01" pos="0.1 0 0" mass="0.6"/>
      <geom type="sphere" size="0.01" pos="0.15 0 0.03" mass="0.4"/>
    </body></worldbody></mujoco>""")
    data = mujoco.MjData(model)
    assert np.size(at.along.angle) > 10
    for i, angle in enumerate(np.ravel(at.along.angle)):
        data.qpos[0] = angle - float(at.arm.axis)
        mujoco.mj_inverse(model, data)
        assert float(np.ravel(at.balance.passive[i])[0]) == pytest.approx(-data.qfrc_inverse[0], rel=1e-9, abs=1e-9)


def test_virtual_work_at_every_point(tmp_path):
    """Torque times angle equals force times stroke: dL/dangle by a complex step, exact to rounding."""
    at = lifted_of(tmp_path)
    base, radius = float(at.rocker.base), float(at.rocker.radius)

    def length(angle):
        return np.sqrt(base**2 + radius**2 - 2 * base * radius * np.cos(angle))

    step = 1e-30
    assert np.size(at.along.included) > 10
    for inc, lever in zip(np.ravel(at.along.included), np.ravel(at.along.moment_arm), strict=True):
        assert lever == pytest.approx(length(inc + 1j * step).imag / step, rel=1e-9)


def test_force_at_the_worst_point_by_hand(tmp_path):
    """Moments about the pivot at each pose: weight times level distance plus friction, over push times lever."""
    report = check(tmp_path, ROBOT)
    base_angle = math.atan2(-0.14, 0.07)
    own = math.atan2(-0.03, 0.06)
    radius, base = RADIUS, BASE
    push = 0.9 * 400e3 * math.pi / 4 * BORE**2
    worst = 0.0
    for extension in np.linspace(0, STROKE, 17):
        size = CLOSED + extension
        turn = base_angle + included(size) - own
        lever = base * radius * math.sin(included(size)) / size
        weights = [(0.6, 0.1, 0.0), (0.4, 0.15, 0.03)]
        level = sum(m * GRAVITY * (x * math.cos(turn) - z * math.sin(turn)) for m, x, z in weights)
        worst = max(worst, (level + 0.05) / (push * lever))
    assert find(report, "lift.force_up.lift").value == pytest.approx(worst, rel=1e-6)


def test_a_dead_point_inside_the_stroke_is_told_with_its_angle(tmp_path):
    """Pins so near that the stroke reaches the straight line: base plus radius is shorter than the cylinder is out."""
    near = changed(fixed_pin=["0.02 m", "0.2 m"], arm_pin=["0.055 m", "0.3 m"])
    found = find(check(tmp_path, near), "lift.dead_point.lift")
    beyond = CLOSED + STROKE - (math.hypot(0.02, 0.1) + 0.055)
    assert found.verdict == "short"
    assert found.value == pytest.approx(-beyond, rel=1e-9)  # in metres, as all lengths of this file
    straight = math.degrees(math.atan2(-0.1, 0.02) + math.pi)
    assert f"with the arm at {straight:.0f}°" in found.because


def test_no_force_at_a_dead_point_is_not_averaged_over(tmp_path):
    """Pins farther apart along one line than the cylinder is short: it begins folded, and the load is against it."""
    folded = changed(fixed_pin=["0.18 m", "0.2 m"], arm_pin=["0.07 m", "0.3 m"])
    report = check(tmp_path, folded)
    apart, line = math.hypot(0.18, 0.1) - 0.07, math.degrees(math.atan2(-0.1, 0.18))
    assert find(report, "lift.dead_point.lift").value == pytest.approx(CLOSED - apart, rel=1e-9)
    force = find(report, "lift.force_up.lift")
    assert (force.value, force.verdict) == (None, "short")
    assert f"has no force at all {-line:.1f}° below where it lies" in force.because
    assert "does not get up" in fact(report, "lift.time.lift").because


def test_bands_help_as_much_as_their_energy_says(tmp_path):
    """Work of the bands' torque over the swing equals the energy that they lose."""
    pins = {"fixed": ["0.02 m", "0.45 m"], "arm": ["0.12 m", "0.3 m"]}
    bands = {"assist": {**pins, "free_length": "60 mm", "stiffness": "200 N/m", "count": 2}}
    plain, helped = lifted_of(tmp_path), lifted_of(tmp_path, changed(bands=bands))
    assert (
        find(check(tmp_path, changed(bands=bands)), "lift.force_up.lift").value
        < find(check(tmp_path, ROBOT), "lift.force_up.lift").value
    )
    angles = np.ravel(helped.along.angle)
    torque = np.ravel(helped.balance.passive - plain.balance.passive)
    work = np.trapezoid(torque, angles)
    energy = [
        float(np.ravel(elastic_energy(helped.arm.bands, math.cos(a), math.sin(a)))[0]) for a in (angles[0], angles[-1])
    ]
    assert work == pytest.approx(energy[0] - energy[1], rel=5e-3)  # 17 straight pieces of a curve


def test_the_way_down_is_judged_with_its_load_taken_off(tmp_path):
    """Bands that the load balances hold the empty arm up: moments about the pivot along the stroke, by hand."""
    pins = {"fixed": ["0.02 m", "0.45 m"], "arm": ["0.12 m", "0.3 m"]}
    bands = {"assist": {**pins, "free_length": "60 mm", "stiffness": "300 N/m", "count": 1}}
    carries = {"ball": {**LIFT["carries"]["ball"], "count": 4}}
    robot = changed(bands=bands, carries=carries)
    base_angle, own = math.atan2(-0.14, 0.07), math.atan2(-0.03, 0.06)
    pull = 0.9 * 400e3 * math.pi / 4 * (BORE**2 - 0.006**2)
    shares = {"loaded": [], "empty": []}
    for extension in np.linspace(0, STROKE, 17):
        size = CLOSED + extension
        turn = base_angle + included(size) - own
        lever = BASE * RADIUS * math.sin(included(size)) / size
        eye = 0.12 * math.cos(turn), 0.12 * math.sin(turn)
        band = math.hypot(0.02 - eye[0], 0.15 - eye[1])
        raises = 300 * max(band - 0.06, 0) * (eye[0] * (0.15 - eye[1]) - eye[1] * (0.02 - eye[0])) / band
        for state, balls in (("loaded", 4), ("empty", 0)):
            weights = [(0.6, 0.1, 0.0), (0.4 * balls, 0.15, 0.03)]
            lowers = sum(m * GRAVITY * (x * math.cos(turn) - z * math.sin(turn)) for m, x, z in weights)
            shares[state].append((raises - lowers + 0.05) / (pull * lever))
    assert max(shares["loaded"]) < 0.5 * max(shares["empty"])
    report = check(tmp_path, robot)
    down = find(report, "lift.force_down.lift")
    assert down.value == pytest.approx(max(shares["empty"]), rel=1e-6)
    assert "empty, needs" in down.because
    assert "loaded, needs" in find(report, "lift.force_up.lift").because


def test_the_kink_where_a_band_goes_slack_is_not_stepped_over(tmp_path):
    """Against the same sum at 20,001 points of the stroke, by hand."""
    pins = {"fixed": ["0.02 m", "0.45 m"], "arm": ["0.12 m", "0.3 m"]}
    bands = {"assist": {**pins, "free_length": "145 mm", "stiffness": "600 N/m", "count": 2}}
    base_angle, own = math.atan2(-0.14, 0.07), math.atan2(-0.03, 0.06)
    push = 0.9 * 400e3 * math.pi / 4 * BORE**2
    worst = []
    for points in (17, 20001):
        most = 0.0
        for extension in np.linspace(0, STROKE, points):
            size = CLOSED + extension
            turn = base_angle + included(size) - own
            lever = BASE * RADIUS * math.sin(included(size)) / size
            eye = 0.12 * math.cos(turn), 0.12 * math.sin(turn)
            band = math.hypot(0.02 - eye[0], 0.15 - eye[1])
            raises = 1200 * max(band - 0.145, 0) * (eye[0] * (0.15 - eye[1]) - eye[1] * (0.02 - eye[0])) / band
            weights = [(0.6, 0.1, 0.0), (0.4, 0.15, 0.03)]
            lowers = sum(m * GRAVITY * (x * math.cos(turn) - z * math.sin(turn)) for m, x, z in weights)
            most = max(most, (lowers - raises + 0.05) / (push * lever))
        worst.append(most)
    assert worst[1] > 1.002 * worst[0]  # the kink lies between two of the 17 points
    found = find(check(tmp_path, changed(bands=bands)), "lift.force_up.lift")
    assert found.value == pytest.approx(worst[1], rel=1e-4)


def test_low_air_does_not_raise_it(tmp_path):
    air = {**ROBOT["air"], "tanks": {"tank": {"tank": "test tank", "charge": "30 kPa"}}}
    assert find(check(tmp_path, {**ROBOT, "air": air}), "lift.force_up.lift").verdict == "short"


def test_sizing_names_the_strokes_that_cannot_reach():
    """Common practice, no source: swinging a piece up to a raised target needs the 75 mm stroke."""
    size = fact(evaluate(example("mk1"), 0), "lift.size.tray")
    assert size.because.startswith("A 75 mm stroke with 10 mm bore does")
    assert "25 and 50 mm strokes cannot reach" in size.because
    assert "free air a cycle" in size.because


@pytest.mark.parametrize(("stroke", "verdict"), [("25", None), ("50", "short"), ("75", "holds")])
def test_sizing_agrees_with_the_file_edited_to_each_stroke(tmp_path, stroke, verdict):
    file = example_copy(
        tmp_path, ('"cylinder, 10 mm bore, 75 mm stroke"', f'"cylinder, 10 mm bore, {stroke} mm stroke"')
    )
    if verdict is None:
        with pytest.raises(BadInput, match="pins that the cylinder can span"):
            load_robot(file)
    else:
        assert find(evaluate(load_robot(file), 0), "lift.swing.tray").verdict == verdict


def test_reaching_over_a_structure(tmp_path):
    season = {"structures": {"wall": {"height": "0.36 m"}}}
    robot = changed(target={"point": ["0.2 m", "0.3 m"], "structure": "wall"})
    found = find(check(tmp_path, robot, season), "lift.target.lift")
    base_angle, own = math.atan2(-0.14, 0.07), math.atan2(-0.03, 0.06)
    height = 0.3 + 0.2 * math.sin(base_angle + included(CLOSED + STROKE) - own)
    assert found.value == pytest.approx(height, rel=1e-9)
    assert found.limit == pytest.approx(0.36, rel=1e-12)


MOTOR_ARM = {
    "kind": "motor arm", "motors": [{"motor": "test motor"}], "rides": "arm", "side": "ahead",
    "pivot": ["0 m", "0.3 m"],
    "stages": [{"driver": 12, "driven": 84, "efficiency": 0.9}], "swing": "90 deg",
    "carries": {"ball": {"object": "ball", "position": ["0.15 m", "0.3 m"]}}, "time_limit": "2 s",
}  # fmt: skip


def test_motor_arm_by_hand(tmp_path):
    """Level is worst: weights times distances and friction over stall torque; current limit and Ohm's law."""
    report = check(tmp_path, {"parts": {"arm": ARM}, "mechanisms": {"arm": MOTOR_ARM}})
    level = GRAVITY * (0.6 * 0.1 + 0.4 * 0.15)
    current = min(2.5, 12.8 / (12 / 3.6 + 0.12))
    stall = 0.7 / (3.6 - 0.13) * (current - 0.13)
    assert find(report, "arm.torque.arm").value == pytest.approx((level + 0.05) / (stall * 7 * 0.9), rel=1e-3)
    hold = find(report, "arm.holding.arm")
    assert hold.value == pytest.approx(level / (7 * stall), rel=1e-3)
    assert "support it" in hold.because


def test_a_weak_motor_stalls(tmp_path):
    weak = {**MOTOR_ARM, "stages": [], "carries": {}}
    report = check(tmp_path, {"parts": {"arm": {**ARM, "mass": "3 kg"}}, "mechanisms": {"arm": weak}})
    assert find(report, "arm.torque.arm").verdict == "short"
    assert find(report, "arm.time.arm").verdict == "short"


GUIDE = {
    "kind": "guide",
    "length": "60 mm",
    "load": "20 N",
    "load_offset": "0 mm",
    "drive_offset": "40 mm",
    "friction": 0.3,
}


def test_guide_binds_by_the_statics_of_two_pads(tmp_path):
    """2 mu e / L; the force that moves the load is F / (1 - that) for a load on the axis."""
    report = check(tmp_path, {"mechanisms": {"slide": GUIDE}})
    ratio = 2 * 0.3 * 0.04 / 0.06
    assert find(report, "guide.binding.slide").value == pytest.approx(ratio, rel=1e-9)
    assert fact(report, "guide.force.slide").value == pytest.approx(20 / (1 - ratio), rel=1e-9)
    far = check(tmp_path, {"mechanisms": {"slide": {**GUIDE, "drive_offset": "110 mm"}}})
    assert find(far, "guide.binding.slide").verdict == "short"
    assert "locks" in fact(far, "guide.force.slide").because


def test_a_guide_that_moves_only_within_bounds_says_so(tmp_path):
    """Drive 110 mm and load 90 mm out, pads 60 mm apart, friction 0.3, by hand.

    Couple M = 0.11 P - 1.8 N m, friction 2 x 0.3 abs(M) / 0.06 = 10 abs(M): it slides where P >= 20 N + 10 abs(M), so
    (1 - 1.1) P >= 20 - 18, which no P above 0 does. Load 190 mm out: (1 - 1.1) P >= 20 - 38 up to 180 N, and
    (1 + 1.1) P >= 20 + 38 from 27.6 N on.
    """
    near = {**GUIDE, "drive_offset": "110 mm", "load_offset": "90 mm"}
    assert "No force moves" in fact(check(tmp_path, {"mechanisms": {"slide": near}}), "guide.force.slide").because
    far = {**near, "load_offset": "190 mm"}
    report = check(tmp_path, {"mechanisms": {"slide": far}})
    moves = fact(report, "guide.force.slide")
    assert moves.value == pytest.approx(58 / 2.1, rel=1e-9)
    assert "locks when it is pushed with more than 180 N" in moves.because
    binds = find(report, "guide.binding.slide")
    assert binds.verdict == "short"
    assert "locks when it is pushed with more than 180 N" in binds.because
    driven = check(tmp_path, {"air": ROBOT["air"], "mechanisms": {"slide": {**far, "cylinder": "lift"}}})
    assert find(driven, "guide.force.slide").verdict == "holds"  # 72 N, between 27.6 N and 180 N
    strong = {**ROBOT["air"], "tanks": {"tank": {"tank": "test tank", "charge": "1000 kPa"}}}  # 181 N
    locked = check(tmp_path, {"air": strong, "mechanisms": {"slide": {**far, "cylinder": "lift"}}})
    found = find(locked, "guide.force.slide")
    assert found.verdict == "short"
    assert "needs 27.6 N to move its load of 20 N, and locks when it is pushed with more than 180 N" in found.because


@pytest.mark.parametrize(("offset", "comes"), [("90 mm", True), ("110 mm", False)])
def test_a_guide_left_to_its_load(tmp_path, offset, comes):
    """Two pads 60 mm apart at friction 0.3 lock for a force beyond 100 mm, L / 2 mu: force and moment by hand."""
    found = fact(check(tmp_path, {"mechanisms": {"slide": {**GUIDE, "load_offset": offset}}}), "guide.return.slide")
    pads = float(offset.split()[0]) / 60  # contact force of each pad per newton of load
    assert found.value == pytest.approx(2 * 0.3 * pads, rel=1e-9)
    assert ("comes back" in found.because) is comes is (2 * 0.3 * pads < 1)


def test_guide_with_a_cylinder_is_judged_by_its_air(tmp_path):
    robot = {"air": ROBOT["air"], "mechanisms": {"slide": {**GUIDE, "cylinder": "lift"}}}
    found = find(check(tmp_path, robot), "guide.force.slide")
    assert found.value == pytest.approx(0.9 * 400e3 * math.pi / 4 * BORE**2, rel=1e-9)


@pytest.mark.parametrize(
    ("keys", "key", "expected"),
    [
        ({"fixed_pin": ["0.5 m", "0.1 m"]}, "mechanisms.lift.fixed_pin", "pins that the cylinder can span"),
        ({"arm_pin": ["0 m", "0.3 m"]}, "mechanisms.lift.arm_pin", "away from the pivot"),
        ({"brackets": "-80 mm"}, "mechanisms.lift.brackets", "more than the stroke"),
        ({"rides": "nothing"}, "mechanisms.lift.rides", "a group that a part rides"),
        ({"cylinder": "left"}, "mechanisms.lift.cylinder", "air.cylinders"),
        ({"swing": "0 deg"}, "mechanisms.lift.swing", "more than 0"),
    ],
)
def test_a_bad_lift_is_told_where(tmp_path, keys, key, expected):
    with pytest.raises(BadInput) as error:
        load(tmp_path, changed(**keys))
    assert key in str(error.value)
    assert expected in str(error.value)


def test_two_lifts_on_one_cylinder_are_refused(tmp_path):
    with pytest.raises(BadInput, match="a cylinder of its own"):
        load(tmp_path, {**ROBOT, "mechanisms": {"lift": LIFT, "other": LIFT}})


@pytest.mark.parametrize(("name", "checks"), [("mk1", lifts), ("mk2", motorarm), ("guide", slide)])
def test_a_batch_gives_what_each_case_gives(tmp_path, name, checks):
    loaded = load(tmp_path, {"mechanisms": {"slide": GUIDE}}) if name == "guide" else example(name)
    cases = Cases(5, 0, 4, [])
    base = nominal(loaded)
    whole = list(checks.check(Context(instantiate(loaded.robot, Robot, cases.draw), loaded.nominal_season, base)))
    assert whole
    assert cases.size == 5
    for i in range(cases.size):

        def draw(path, quantity, i=i):
            drawn = cases.draw(path, quantity)
            return drawn if np.ndim(drawn) == 0 else float(drawn[i])

        alone = checks.check(Context(instantiate(loaded.robot, Robot, draw), loaded.nominal_season, base))
        for one, many in zip(alone, whole, strict=True):
            value = np.broadcast_to(np.ravel(many.value) if np.size(many.value) > 1 else many.value, (cases.size,))[i]
            assert float(np.ravel(one.value)[0]) == pytest.approx(float(value), rel=1e-6)


@pytest.mark.long
@pytest.mark.parametrize(("name", "checks"), [("mk1", lifts), ("mk2", motorarm)])
def test_any_one_quantity_may_vary_alone(name, checks):
    """Of a file whose other numbers are exact, two cases give what each gives alone."""
    loaded = example(name)
    base = nominal(loaded)
    words = ("tray", "arm", "supply", "10 mm bore, 75 mm stroke", "100 rpm", "batteries", "valves")
    named = [(p, q) for p, q in loaded.quantities if any(w in map(str, p) or w in str(p[-2:-1]) for w in words)]
    paths = [(p, q) for p, q in named if q.tolerance > 0 and p[0] != "season"]
    assert len(paths) > 40

    def found(only, move):
        def draw(path, quantity):
            return move(quantity) if path == only else quantity.si

        robot = instantiate(loaded.robot, Robot, draw)
        return list(checks.check(Context(robot, loaded.nominal_season, base)))

    usual = found(None, None)
    for path, quantity in paths:
        step = 0.2 * quantity.tolerance
        if not quantity.low <= quantity.si + step <= quantity.high:
            step = -step
        both = found(path, lambda q, step=step: np.array([q.si, q.si + step]))
        for row, alone in enumerate((usual, found(path, lambda q, step=step: q.si + step))):
            for one, many in zip(alone, both, strict=True):
                value = np.broadcast_to(many.value, (2,))[row]
                assert value == pytest.approx(float(one.value), rel=1e-9, abs=1e-12), (path, one.id)


def test_wide_tolerances_give_no_nan(tmp_path):
    """Samples that just cannot reach are physical: no NaN, no exception."""
    wide = changed(fixed_pin=[{"value": "0.07 m", "tolerance": "60 mm"}, {"value": "0.16 m", "tolerance": "60 mm"}])
    report = evaluate(load(tmp_path, wide), samples=2000)
    mine = [f for f in report.findings if f.id.startswith("lift.")]
    assert len(mine) == 5
    assert all(math.isfinite(f.margin) and 0.0 <= f.chance <= 1.0 for f in mine)
    # some of those samples cannot reach and some can: neither all nor none
    assert 0.02 < find(report, "lift.swing.lift").chance < 0.98


def test_a_wrong_lift_ends_the_command_with_line_and_key(tmp_path, capsys):
    file = example_copy(tmp_path, ("    fixed_pin: [115 mm, 229 mm]", "    fixed_pin: [115 mm, 29 mm]"))
    line = next(i for i, text in enumerate(file.read_text("utf-8").splitlines(), 1) if "fixed_pin: [115" in text)
    with pytest.raises(SystemExit) as ended:
        main(["check", str(file)])
    assert ended.value.code == 2
    said = " ".join(capsys.readouterr().err.split())
    assert f":{line}" in said
    assert "mechanisms.tray.fixed_pin" in said
    assert "expected pins that the cylinder can span: it is 146 to 221 mm long" in said


def test_pins_that_contradict_the_parts_are_told(tmp_path):
    """Twenty millimetres of bracket too much: the arm cannot lie where its parts are placed."""
    long = check(tmp_path, changed(brackets="30 mm"))
    found = find(long, "lift.placed.lift")
    own = math.atan2(-0.03, 0.06) - math.atan2(-0.14, 0.07)
    off = included(CLOSED + 0.03) - own
    assert found.verdict == "short"
    assert found.value == pytest.approx(math.degrees(abs(off)), rel=1e-9)


def product_of(lengths, incs, loads):
    return [(size, inc, load) for size, inc in zip(lengths, incs, strict=True) for load in loads]


def band_torque(band, turn):
    """Pull times lever, by the cross product of the arm's pin and the direction to the fixed one."""
    fixed = float(band.fixed_radius) * np.exp(1j * float(band.fixed_angle))
    pin = float(band.arm_radius) * np.exp(1j * (turn + float(band.arm_angle)))
    along = fixed - pin
    pull = float(band.count) * float(band.stiffness) * max(abs(along) - float(band.free_length), 0.0)
    return pull * (np.conj(pin) * along).imag / abs(along)


def by_hand_size(at, supply):
    """Every usual cylinder tried with the law of cosines and moments, from where the arm lies; least air wins."""
    best = None
    base, radius = float(at.rocker.base), float(at.rocker.radius)
    closed, own = float(at.rocker.closed), float(at.rocker.stroke)
    for stroke in (0.025, 0.050, 0.075):  # common practice, no source, as are the bores
        short = closed if stroke <= own else closed - own + stroke
        if short + stroke <= abs(base - radius) or short >= base + radius:
            continue
        lengths = np.linspace(max(short, abs(base - radius)), min(short + stroke, base + radius), 17)
        incs = [included(size, base, radius) for size in lengths]
        for bore, rod in ((0.010, 0.004), (0.016, 0.005), (0.020, 0.008)):
            areas = math.pi / 4 * bore**2, math.pi / 4 * (bore**2 - rod**2)
            shares = []
            # with its load and without: a band that carries the load holds the empty arm up
            for size, inc, carried in product_of(lengths, incs, (at.arm.weights, at.arm.weights[:1])):
                lever = base * radius * math.sin(inc) / size
                turn = float(at.rocker.base_angle) + inc
                weight = sum(float(w.force) * float(w.radius) * math.cos(turn + float(w.angle)) for w in carried)
                weight -= sum(band_torque(band, turn) for band in at.arm.bands)
                shares += [
                    (weight + 0.05) / (0.9 * supply * areas[0] * lever),
                    (0.05 - weight) / (0.9 * supply * areas[1] * lever),
                ]
            margin = 1 / max(shares) - 1
            air = (areas[0] + areas[1]) * stroke * (supply + 101325) / 100e3
            if incs[-1] - incs[0] >= float(at.spec.swing) and margin >= 0 and (best is None or air < best[2]):
                best = (stroke, bore, air, margin)
    return best


@pytest.mark.parametrize(("swing", "load"), [("15 deg", 1), ("25 deg", 1), ("40 deg", 1), ("40 deg", 4)])
def test_sizing_against_trying_each_by_hand(tmp_path, swing, load):
    carries = {"ball": {**LIFT["carries"]["ball"], "count": load}}
    robot = changed(swing=swing, carries=carries)
    at = lifted_of(tmp_path, robot)
    stroke, bore, air, margin = by_hand_size(at, 400e3)
    found = fact(check(tmp_path, robot), "lift.size.lift")
    assert found.value == pytest.approx(margin, rel=1e-6)
    assert f"{stroke:g} m stroke with {bore:g} m bore does" in found.because
    assert liftsize.try_all(nominal(load_robot(tmp_path / "robot.yaml")), at).air.min() <= air * (1 + 1e-4)


BANDED = {
    "fixed": ["0.02 m", "0.45 m"],
    "arm": ["0.12 m", "0.3 m"],
    "free_length": "60 mm",
    "stiffness": "300 N/m",
}


def test_sizing_counts_the_empty_arm_that_its_bands_hold_up(tmp_path):
    carries = {"ball": {**LIFT["carries"]["ball"], "count": 4}}
    robot = changed(swing="25 deg", carries=carries, bands={"assist": BANDED})
    at = lifted_of(tmp_path, robot)
    stroke, bore, _, margin = by_hand_size(at, 400e3)
    found = fact(check(tmp_path, robot), "lift.size.lift")
    assert found.value == pytest.approx(margin, rel=1e-6)
    assert f"{stroke:g} m stroke with {bore:g} m bore does" in found.because


@pytest.mark.parametrize(("stiffness", "balls"), [(400, 2), (600, 4)])
def test_an_arm_that_its_bands_stop_on_the_way_down_is_said_to_stay_there(tmp_path, stiffness, balls):
    """Its weight and its band by hand, and where they balance, by scipy: not only at both ends of the stroke."""
    pins = {"fixed": ["-0.02 m", "0.42 m"], "arm": ["0.12 m", "0.3 m"], "free_length": "90 mm"}
    carries = {"ball": {**LIFT["carries"]["ball"], "count": balls}}
    robot = changed(swing="40 deg", carries=carries, bands={"assist": {**pins, "stiffness": f"{stiffness} N/m"}})
    at = lifted_of(tmp_path, robot)

    def raises(turned, load):
        turn = float(at.arm.axis) + turned
        weight = sum(float(w.force) * float(w.radius) * math.cos(turn + float(w.angle)) for w in load)
        return band_torque(at.arm.bands[0], turn) - weight

    told = fact(check(tmp_path, robot), "lift.rest.lift").because
    low, high = float(at.turned(at.low)), float(at.turned(at.high))
    ends = raises(low, at.arm.weights), raises(high, at.arm.weights)
    assert ends[0] > 0.0 > ends[1]
    angle = math.degrees(brentq(lambda turned: raises(turned, at.arm.weights), low, high))
    said = re.search(r"comes down to (-?[\d.]+)(?:°| deg| rad)", told)
    assert said, told
    assert float(said.group(1)) == pytest.approx(angle, rel=0.02)


def test_sizing_says_when_none_does(tmp_path):
    far = fact(check(tmp_path, changed(swing="170 deg")), "lift.size.lift")
    assert "as far as wanted with its pins where they are" in far.because
    heavy = changed(carries={"ball": {**LIFT["carries"]["ball"], "count": 200}})
    weak = fact(check(tmp_path, heavy), "lift.size.lift")
    assert "those that reach are too weak" in weak.because
    assert (far.value, weak.value) == (-1.0, -1.0)


def test_more_load_never_helps_and_more_air_never_harms(tmp_path):
    def share(count, charge):
        air = {**ROBOT["air"], "tanks": {"tank": {"tank": "test tank", "charge": charge}}}
        carries = {"ball": {**LIFT["carries"]["ball"], "count": count}}
        report = check(tmp_path, {**changed(carries=carries), "air": air})
        return find(report, "lift.force_up.lift").value, fact(report, "lift.time.lift").value

    light, heavy, fed = share(1, "400 kPa"), share(6, "400 kPa"), share(6, "600 kPa")
    assert light[0] < heavy[0] > fed[0]
    assert light[1] < heavy[1] > fed[1]


def test_balanced_bands_halve_what_holding_takes(tmp_path):
    """A band whose torque, found from its length by a root finder's stiffness, carries half of the level arm."""
    level = GRAVITY * (0.6 * 0.1 + 0.4 * 0.15)
    pins = {"fixed": ["0 m", "0.42 m"], "arm": ["0.09 m", "0.3 m"], "free_length": "0.1 m"}
    size, lever = math.hypot(0.09, 0.12), 0.09 * 0.12 / math.hypot(0.09, 0.12)
    stiffness = brentq(lambda k: k * (size - 0.1) * lever - level / 2, 1, 1000)
    robot = {**MOTOR_ARM, "swing": "1 deg", "bands": {"assist": {**pins, "stiffness": f"{stiffness:.12g} N/m"}}}
    report = check(tmp_path, {"parts": {"arm": ARM}, "mechanisms": {"arm": robot}})
    current = min(2.5, 12.8 / (12 / 3.6 + 0.12))
    stall = 0.7 / (3.6 - 0.13) * (current - 0.13)
    hold = find(report, "arm.holding.arm").value
    # within a degree the arm's and the band's torque hardly change; empty, the band holds against 0.6 kg alone
    left = max(level / 2, abs(GRAVITY * 0.6 * 0.1 - level / 2))
    assert hold == pytest.approx(left / (7 * stall), rel=0.02)
