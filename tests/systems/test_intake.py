"""Intake findings against hand-computed stages, and what a wrong file is told."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from scipy.optimize import brentq

from edge import run
from fieldworthy.cli.app import main
from fieldworthy.drawing.style import PRINT, Style
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.files import BadInput
from fieldworthy.robot.loading import load_robot
from fieldworthy.robot.starter import Answers, Meets, starter_robot, starter_season
from fieldworthy.systems.intake.hooked import over, passed, tightened, worn_chains
from robots import nominal

SEASON = """\
fieldworthy: season 1
season: Test
limits: {}
field: {size: [3.6 m, 3.6 m]}
objects:
  ball: {mass: 100 g, size: [100 mm, 90 mm, 80 mm]}
periods: {autonomous: 20 s, driven: 100 s}
"""
ROBOT = """\
fieldworthy: robot 1
robot: Test
season: season.yaml
drive:
  motor: our motor
  motors: 2
  wheels:
    left: {position: [0 mm, 100 mm], wheel: "rubber wheel, 4 in"}
    right: {position: [0 mm, -100 mm], wheel: "rubber wheel, 4 in"}
battery: "lithium pack, 12.8 V class, 1.1 Ah"
catalogue:
  motors:
    our motor:
      free_speed: 600 rpm
      stall_torque: 0.8 N*m
      free_current: 0.1 A
      stall_current: 3.4 A
      rated_voltage: 12 V
      counted_power: 11 W
      mass: 150 g
mechanisms:
  intake:
    kind: intake
    object: ball
    throughput: 5 Hz
    stages:
      front:
        motor: our motor
        gearing: [{driver: 40, driven: 20, efficiency: 0.9}]
        rollers: {diameter: 60 mm, squeeze: 6 mm, press: 8 N, friction: 0.7, guide_friction: 0.2, flexing: 0.1,
                  width: 85 mm}
        to_next: 90 mm
      rear:
        motor: our motor
        chain: {size: 06B, teeth: [15, 15], centre: 100 mm, links: 38, tensioner_travel: 20 mm, wear: 1 %,
                efficiency: 0.95}
        rollers: {diameter: 60 mm, squeeze: 6 mm, press: 8 N, friction: 0.7, guide_friction: 0.2, flexing: 0.1}
    hold: {stage: rear, period: 10 ms, latency: 12 ms, deceleration: 30 m/s^2, room: 80 mm, below: 180 mm,
           handover: 60 mm, spacing: 180 mm}
"""
HOOKED = """\
      rear:
        motor: our motor
        gearing: [{driver: 20, driven: 60, efficiency: 1}]
        hooks:
          chain: {size: 06B, teeth: [12, 12], centre: 300 mm, efficiency: 1}
          links_between: 24
          height: 30 mm
          thickness: 10 mm
          load: 2 N
          entry_time: 50 ms
          shaft_height: 560 mm
"""


def written(tmp_path, robot=ROBOT):
    (tmp_path / "season.yaml").write_text(SEASON)
    file = tmp_path / "robot.yaml"
    file.write_text(robot)
    return file


def checked(tmp_path, robot=ROBOT, samples=0):
    report = evaluate(load_robot(written(tmp_path, robot)), samples)
    return {f.id: f for f in (*report.findings, *report.facts)}


def hooked(robot=ROBOT):
    return robot[: robot.index("      rear:")] + HOOKED


RADIUS = 30.0
# R sin(a) / a with cos(a) = 1 - d / R: the arc that goes in leaves along its chord
ARC = math.acos(1 - 6 / RADIUS)
ROLLING = RADIUS * math.sin(ARC) / ARC
DRAG, GRIP = 0.3 * 8.0, 0.7 * 8.0
TURNS = 600 * 2 * math.pi / 60


def speed_by_hand(ratio, efficiency):
    """Surface speed in mm/s: the motor's straight line under the drag."""
    torque = DRAG * ROLLING / 1000 / (ratio * efficiency)
    return TURNS * (1 - torque / 0.8) * ROLLING / ratio


FRONT, REAR = speed_by_hand(0.5, 0.9), speed_by_hand(1.0, 0.95)


def test_speed_grip_and_torque_by_hand(tmp_path):
    found = checked(tmp_path)
    # textbook statics and the motor's straight line, worked above; 1e-6 is rounding
    assert found["intake.speed.intake.front"].value == pytest.approx(FRONT / 1000, rel=1e-6)
    assert found["intake.speed.intake.rear"].value == pytest.approx(REAR / 1000, rel=1e-6)
    assert "1200 rpm empty" in found["intake.speed.intake.front"].because
    assert "600 rpm empty" in found["intake.speed.intake.rear"].because
    grip = found["intake.grip.intake.front"]
    assert (grip.value, grip.limit) == (pytest.approx(GRIP), pytest.approx(DRAG))
    stall = found["intake.stall.intake.front"]
    assert stall.value == pytest.approx(DRAG * ROLLING / 1000 / 0.45, rel=1e-6)
    # no limit on current: the whole stall torque
    assert stall.limit == pytest.approx(0.8, rel=1e-9)


def test_a_slipping_roller_and_a_stalled_motor_are_short(tmp_path):
    slips = checked(
        tmp_path, ROBOT.replace("friction: 0.7, guide_friction: 0.2", "friction: 0.25, guide_friction: 0.2")
    )
    assert slips["intake.grip.intake.front"].verdict == "short"
    assert slips["intake.speed.intake.front"].value == 0.0
    stalls = checked(tmp_path, ROBOT.replace("press: 8 N", "press: 300 N"))
    assert stalls["intake.stall.intake.front"].verdict == "short"
    assert stalls["intake.throughput.intake"].verdict == "short"
    assert all(v.value is None or math.isfinite(v.value) for v in stalls.values())


def test_handover_and_throughput(tmp_path):
    found = checked(tmp_path)
    # 100 mm long over 90 mm: both hold the last 10; the next runs at half the speed, so pieces pile up
    meeting = found["intake.meeting.intake.front"]
    assert meeting.value == pytest.approx(REAR / FRONT, rel=1e-6)
    assert "pile up" in meeting.because
    assert f"{100 * FRONT / REAR:.0f} mm apart" in meeting.because
    # coasting at 0.2 g: the reach past its own length
    reach = 100 + FRONT**2 / (2 * 0.2 * 9806.65)
    assert found["intake.handover.intake.front"].limit == pytest.approx(reach, rel=1e-6)
    # the slowest stage alone limits: continuity
    assert found["intake.throughput.intake"].value == pytest.approx(REAR / 100, rel=1e-6)
    assert found["intake.throughput.intake"].verdict == "holds"
    assert checked(tmp_path, ROBOT.replace("5 Hz", "20 Hz"))["intake.throughput.intake"].verdict == "short"
    apart = checked(tmp_path, ROBOT.replace("driver: 40, driven: 20", "driver: 20, driven: 40"))
    assert "pulls pieces apart" in apart["intake.meeting.intake.front"].because


def test_a_fast_first_stage_against_the_word_of_the_trade(tmp_path):
    # Common practice, no source: at 1,200 rpm before 600 rpm, 11 W each, it picks up no more than about as well as an
    # even one. Own kinematics: a piece at rest is drawn in with grip less drag until it runs with the surface
    def draws(v, a=(GRIP - DRAG) / 0.1):
        return 0.1 / v + v / (2 * a) if v * v < 2 * a * 0.1 else math.sqrt(2 * 0.1 / a)

    even = speed_by_hand(1.0, 0.9) / 1000
    rate = min(1 / draws(FRONT / 1000), REAR / 100)
    rate_even = min(1 / draws(even), REAR / 100, even / 0.1)
    fact = checked(tmp_path)["intake.fast_first.intake"]
    assert fact.value == pytest.approx(rate / rate_even, rel=1e-6)
    # a tenth is what "about as well" is taken to mean; here the computing finds a little more than that
    more = rate / rate_even - 1
    assert more == pytest.approx(0.109, abs=0.002)
    assert "the computing says 11 % more" in fact.because
    # a heavy grip on a light ball, before a slow stage: there the hand-over is what limits it
    slow = ROBOT.replace(
        "chain: {size: 06B, teeth: [15, 15]",
        "gearing: [{driver: 20, driven: 60}]\n        chain: {size: 06B, teeth: [15, 15]",
    )
    slow = slow.replace("driver: 40, driven: 20", "driver: 20, driven: 30")
    fact = checked(tmp_path, slow)["intake.fast_first.intake"]
    assert "the hand-over: the row passes no more" in fact.because
    row, even = speed_by_hand(3.0, 0.95 * 0.95) / 1000, speed_by_hand(3.0, 0.9) / 1000
    rate = min(1 / draws(speed_by_hand(1.5, 0.9) / 1000), row / 0.1)
    assert fact.value == pytest.approx(rate / min(1 / draws(even), row / 0.1, even / 0.1), rel=1e-6)
    assert fact.value == pytest.approx(1.0, abs=0.1)
    assert "the computing agrees" in fact.because
    assert "intake.fast_first.intake" not in checked(
        tmp_path, ROBOT.replace("driver: 40, driven: 20", "driver: 20, driven: 20")
    )


def test_one_motor_for_both_stages(tmp_path):
    # one motor that turns both carries both loads: by hand, each stage's drag at its own ratio
    shared = re.sub(r"      rear:\n        motor: our motor", "      rear:\n        shares: front", ROBOT)
    loaded = load_robot(written(tmp_path, shared))
    assert [use.count for use in loaded.nominal.mechanisms["intake"].motors] == [1]
    found = checked(tmp_path, shared)
    torque = DRAG * ROLLING / 1000 * (1 / 0.45 + 1 / 0.95)
    assert found["intake.stall.intake.rear"].value == pytest.approx(torque, rel=1e-6)
    assert found["intake.speed.intake.rear"].value == pytest.approx(
        TURNS * (1 - torque / 0.8) * ROLLING / 1000, rel=1e-6
    )


def taut(pitch, a, b, centre):
    """Links of a taut chain round two sprockets of the same size: two runs and half a turn on each."""
    assert a == b
    return 2 * centre / pitch + a


def test_chain_in_whole_links(tmp_path):
    found = checked(tmp_path)
    # ISO 606: 06B has a pitch of 9.525 mm; equal sprockets, so length is two runs and the teeth once round
    links = taut(9.525, 15, 15, 100)
    assert found["intake.chain_links.intake.rear"].limit == pytest.approx(links, rel=1e-9)
    assert found["intake.chain_links.intake.rear"].verdict == "holds"
    assert found["intake.chain_built.intake.rear"].value == pytest.approx((38 - 15) / 2 * 9.525, rel=1e-6)
    loose = 9.525 * (38 * 1.01 - links)
    # the slack run over an idler at its middle is two sides of a triangle: solved by scipy's brentq
    travel = brentq(lambda h: 2 * math.hypot(50, h) - 100 - loose, 0, 100)
    assert found["intake.chain_tension.intake.rear"].value == pytest.approx(travel, rel=1e-6)
    radius = 9.525 / 2 / math.sin(math.pi / 15)
    assert found["intake.chain_centre.intake.rear"].limit == pytest.approx(2 * radius, rel=1e-9)
    short = checked(tmp_path, ROBOT.replace("links: 38", "links: 34"))["intake.chain_links.intake.rear"]
    assert short.verdict == "short"
    assert f"{(34 - 15) / 2 * 9.525:.1f} mm" in short.because
    # left out: the even number above 35.997 is 36
    assert "with 36" in checked(tmp_path, ROBOT.replace("links: 38, ", ""))["intake.chain_built.intake.rear"].because
    close = checked(tmp_path, ROBOT.replace("centre: 100 mm", "centre: 40 mm"))["intake.chain_centre.intake.rear"]
    assert close.verdict == "short"


TUBED = "tubing: {stiffness: 0.3 N/mm, strands: 2, stretch: 60 mm}, wear: 1 %,"


def test_a_chain_that_tubing_tightens_by_hand(tmp_path, evidence):
    found = checked(tmp_path, ROBOT.replace("wear: 1 %,", TUBED))
    loose = 9.525 * (38 * 1.01 - taut(9.525, 15, 15, 100))
    travel = brentq(lambda h: 2 * math.hypot(50, h) - 100 - loose, 0, 100)
    # two strands of 0.3 N/mm, let off from 60 mm by what the idler travels
    force = 0.6 * (60 - travel)
    held = force / 2 * math.hypot(50, travel) / travel  # two sides of a triangle carry it
    kept = found["intake.chain_tubing.intake.rear"]
    assert (kept.value, kept.limit) == pytest.approx((60, travel), rel=1e-6)
    jump = found["intake.chain_jump.intake.rear"]
    tried = "38 links with 1 % of wear round 15 teeth, two strands of 0.3 N/mm"
    evidence("intake", "Travel at which elastic tubing takes up a worn chain", "triangle solved for its height, by "
             "SciPy", tried, "mm", kept.limit, travel)  # fmt: skip
    evidence("intake", "Tension of a worn chain's slack run that elastic tubing holds", "triangle solved for its "
             "height, by SciPy, and equilibrium of the idler", tried, "N", jump.value, held)  # fmt: skip
    assert jump.value == pytest.approx(held, rel=1e-6)
    # 0.8 N*m at standstill on 15 teeth of 9.525 mm; seven whole teeth lie under the chain, so that it falls six times
    pull = 0.8 / (0.009525 / 2 / math.sin(math.pi / 15))
    falls = (math.sin(math.radians(27)) / math.sin(math.radians(27 + 24))) ** 6
    assert jump.limit == pytest.approx(pull * falls / (1 - falls), rel=1e-6)
    assert found["intake.chain_braked.intake.rear"].value == pytest.approx(held, rel=1e-6)


def belted():
    """The robot with a toothed belt in place of its drive chain: 5 mm pitch, 24 to 24 teeth, 100 mm apart."""
    tubing = "tubing: {stiffness: 0.3 N/mm, strands: 2, stretch: 60 mm}"
    start = ROBOT.index("        chain: {")
    old = ROBOT[start : ROBOT.index("}", start) + 1]
    new = "        belt: {size: 5M, teeth: [24, 24], centre: 100 mm, around: 65, tensioner_travel: 20 mm, "
    return ROBOT.replace(old, f"{new}{tubing}, wear: 1 %}}")


def test_a_belt_that_tubing_tightens_by_hand(tmp_path):
    found = checked(tmp_path, belted())
    # equal pulleys: two runs of 20 teeth and 24 once round; pitch diameter z p / pi
    assert found["intake.chain_links.intake.rear"].limit == pytest.approx(64, rel=1e-9)
    assert found["intake.chain_built.intake.rear"].value == pytest.approx((65 - 24) / 2 * 5, rel=1e-9)
    radius = 24 * 5 / math.pi / 2
    assert found["intake.chain_centre.intake.rear"].limit == pytest.approx(2 * radius, rel=1e-9)
    loose = 5 * (65 * 1.01 - 64)
    travel = brentq(lambda h: 2 * math.hypot(50, h) - 100 - loose, 0, 100)
    held = 0.6 * (60 - travel) / 2 * math.hypot(50, travel) / travel
    assert found["intake.chain_tension.intake.rear"].value == pytest.approx(travel, rel=1e-6)
    assert found["intake.chain_tubing.intake.rear"].limit == pytest.approx(travel, rel=1e-6)
    jump = found["intake.chain_jump.intake.rear"]
    assert jump.value == pytest.approx(held, rel=1e-6)
    # pulls of 8 to 1 in the two runs (common practice, no source): 0.8 N*m at standstill, a seventh of its pull
    assert jump.limit == pytest.approx(0.8 / (radius / 1e3) / 7, rel=1e-6)
    assert "jump teeth" in jump.because
    assert "pulleys" in found["intake.chain_centre.intake.rear"].because
    assert "12 lie in the belt" in found["intake.chain_built.intake.rear"].because
    weak = checked(tmp_path, belted().replace("stretch: 60 mm", "stretch: 15 mm"))["intake.chain_jump.intake.rear"]
    assert weak.verdict == "short"
    assert "larger pulleys help" in weak.because


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("around: 65", "around: 39", "at least 40"),
        ("centre: 100 mm, around: 65", "centre: 30 mm", "at least 38.2 mm"),
        (
            "        belt:",
            "        chain: {size: 04C, teeth: [12, 12], centre: 90 mm}\n        belt:",
            "'chain' or 'belt'",
        ),
        ("size: 5M", "size: 06B", "5M"),
    ],
)
def test_a_belt_that_cannot_be(tmp_path, old, new, said):
    text = belted().replace(old, new)
    with pytest.raises(BadInput) as told:
        load_robot(written(tmp_path, text))
    assert said in str(told.value)


@pytest.mark.parametrize(
    ("old", "new", "finding", "said"),
    [
        ("stretch: 60 mm", "stretch: 30 mm", "chain_tubing", "Stretch it more"),
        ("stretch: 60 mm", "stretch: 30 mm", "chain_jump", "with 0 N"),
        ("links: 38", "links: 36", "chain_tubing", "goes slack after 60 mm"),
        ("centre: 100 mm, links: 38", "centre: 106 mm, links: 36", "chain_jump", "no slack that its idler"),
        ("strands: 2", "strands: 200", "chain_braked", "does not push its idler out"),
    ],
)
def test_what_tubing_on_a_chain_says(tmp_path, old, new, finding, said):
    found = checked(tmp_path, ROBOT.replace("wear: 1 %,", TUBED).replace(old, new))
    assert said in found[f"intake.{finding}.intake.rear"].because


def test_the_figure_of_a_chain_follows_its_wear(tmp_path):
    loaded = load_robot(written(tmp_path, ROBOT.replace("wear: 1 %,", TUBED)))
    (worn,) = worn_chains(nominal(loaded))
    jump = checked(tmp_path, ROBOT.replace("wear: 1 %,", TUBED))["intake.chain_jump.intake.rear"]
    assert np.interp(worn.full, worn.wear, worn.tension) == pytest.approx(jump.value, rel=1e-3)
    # a longer chain lets the tubing off, and stands steeper on the idler
    assert np.all(np.diff(worn.tension) < 0)
    assert "climbs the teeth" in tightened(worn, Style(PRINT)).alt


def test_hooks_window_and_clearance(tmp_path):
    found = checked(tmp_path, hooked())
    # by hand: 24 links of 9.525 mm between hooks; a turn of the 12-tooth sprocket draws in 12 links
    spacing, radius = 24 * 9.525, 9.525 / 2 / math.sin(math.pi / 12)
    drawn = 12 * 9.525 / (2 * math.pi)
    torque = 2.0 * drawn / 1000 / 3
    speed = TURNS * (1 - torque / 0.8) / 3 * drawn
    chance = (spacing - 10 - 100 - speed * 0.05) / spacing
    window = found["intake.hooks_window.intake.rear"]
    assert window.value == pytest.approx(chance, rel=1e-6)
    assert found["intake.hooks_rate.intake.rear"].value == pytest.approx(speed / spacing, rel=1e-6)
    # six pieces of 80 mm (common practice, no source: five or six) under tips that sweep over the chord of a link
    tip = radius * math.cos(math.pi / 12) + 30
    clear = found["intake.hooks_clearance.intake.rear"]
    assert clear.value == pytest.approx(560 - tip - 5, rel=1e-6)
    assert clear.limit == pytest.approx(6 * 80, rel=1e-9)
    assert clear.verdict == "holds"
    lower = checked(tmp_path, hooked().replace("560 mm", "520 mm"))["intake.hooks_clearance.intake.rear"]
    assert lower.verdict == "short"
    heap = hooked().replace("560 mm", "560 mm\n          hopper: [200 mm, 300 mm]\n          carried: 5")
    # pieces of 100 by 90 mm on 200 by 300 mm: six lie flat on the floor, but thrown at random not all six do, so half
    # of another layer is counted
    assert checked(tmp_path, heap)["intake.hooks_clearance.intake.rear"].limit == pytest.approx(80, rel=1e-6)
    six = heap.replace("carried: 5", "carried: 6")
    assert checked(tmp_path, six)["intake.hooks_clearance.intake.rear"].limit == pytest.approx(120, rel=1e-6)
    narrow = heap.replace("[200 mm, 300 mm]", "[100 mm, 90 mm]")
    assert checked(tmp_path, narrow)["intake.hooks_clearance.intake.rear"].limit == pytest.approx(5 * 80, rel=1e-6)
    blind = checked(tmp_path, hooked().replace("          shaft_height: 560 mm\n", ""))["intake.hooks_clearance"]
    assert blind.verdict == "unknown"
    assert blind.missing == ("mechanisms.intake.stages.rear.hooks.shaft_height",)


def stepped(speeds, phase, step=2e-6):
    """Places of rest in m, by time stepping of a plain controller that polls two sensors."""
    v, x = list(speeds), [-0.06, -0.06 - 0.18]
    t, arrived, read, slow, saw = 0.0, None, None, [np.inf, np.inf], False
    while (v[0] > 0 or v[1] > 0) and t < 2:
        t += step
        x = [x[0] + v[0] * step, x[1] + v[1] * step]
        v = [max(a - 30 * step, 0) if t > s else a for a, s in zip(v, slow, strict=True)]
        if arrived is None and x[0] >= 0:
            arrived, read = t, t + phase * 0.01
        if read is not None and t >= read:
            read += 0.01
            if not saw and x[0] - 0.1 <= 0 <= x[0]:
                saw, slow[0] = True, t + 0.012
            if saw and slow[1] == np.inf and x[1] - 0.1 <= -0.18 <= x[1]:
                slow[1] = t + 0.012
    return x[0], x[1]


def test_staged_hold_against_time_steps(tmp_path):
    calm = ROBOT.replace("driver: 40, driven: 20, efficiency: 0.9", "driver: 20, driven: 30, efficiency: 0.9")
    found = checked(tmp_path, calm)
    speeds = np.array([REAR, speed_by_hand(1.5, 0.9)]) / 1000
    one, two = stepped(speeds, 0.5)
    # 0.05 mm: several steps of 2 microseconds at 1.5 m/s
    assert found["intake.hold_rest.intake"].value == pytest.approx((one - two - 0.1) * 1000, abs=0.05)
    speed = found["intake.hold_speed.intake"]
    limit = speed.limit / speeds[0]
    works = [
        all(
            one <= 0.08 and two <= -0.06 and one - two >= 0.1
            for one, two in (stepped(speeds * limit * f, p, 2e-5) for p in np.linspace(0.01, 0.99, 9))
        )
        for f in (0.99, 1.07)
    ]
    # up to 7 % early: the closed form takes the worst of both phases at once, on the safe side by a sample period
    assert works == [True, False]


def test_a_staged_hold_at_full_speed_is_short(tmp_path):
    # the file's own 2.9 m/s in front: a second piece comes 3 m/s x (10 + 12 ms) + 3^2 / 60 = 0.2 m past its sensor
    found = checked(tmp_path)
    assert found["intake.hold_speed.intake"].verdict == "short"
    sensors = checked(tmp_path, ROBOT.replace("below: 180 mm", "below: 90 mm"))["intake.hold_sensors.intake"]
    assert (sensors.verdict, sensors.value, sensors.limit) == ("short", pytest.approx(90), pytest.approx(100))


def test_throughput_not_wanted_is_unknown(tmp_path):
    found = checked(tmp_path, ROBOT.replace("    throughput: 5 Hz\n", ""))["intake.throughput"]
    assert (found.verdict, found.missing) == ("unknown", ("mechanisms.intake.throughput",))


def test_width_is_across_the_path(tmp_path):
    width = checked(tmp_path)["intake.width.intake.front"]
    assert (width.verdict, width.limit) == ("short", pytest.approx(90))
    assert checked(tmp_path, ROBOT.replace("throughput", "along: width\n    throughput"))[
        "intake.width.intake.front"
    ].limit == (pytest.approx(100))


def test_inputs_are_found_and_edits_move_them(tmp_path):
    found = checked(tmp_path)["intake.speed.intake.rear"]
    assert "mechanisms.intake.stages.rear.rollers.diameter" in found.inputs
    assert not any(key.startswith("mechanisms.intake.stages.front") for key in found.inputs)
    thicker = checked(tmp_path, ROBOT.replace("        rollers: {diameter: 60 mm", "        rollers: {diameter: 66 mm"))
    assert thicker["intake.speed.intake.rear"].value > found.value


def test_batch_of_samples_stays_finite_and_repeats(tmp_path):
    near = ROBOT.replace("squeeze: 6 mm", "squeeze: {value: 28 mm, tolerance: 8 mm}").replace(
        "press: 8 N", "press: {value: 40 N, tolerance: 30 N}"
    )
    report = checked(tmp_path, near, 400)
    assert all(f.spread is None or all(map(math.isfinite, f.spread)) for f in report.values())
    again = checked(tmp_path, near, 400)
    assert {k: v.value for k, v in report.items()} == {k: v.value for k, v in again.items()}


BAD = [
    ("centre: 100 mm", "centre: 0 mm", "rear.chain.centre", "more than 0 mm"),
    ("links: 38", "links: 20", "rear.chain.links", "cannot close"),
    # two pitch radii 9.525 / (2 sin(180 deg / z)): 45.8 mm for 15 and 15 teeth, 265.5 mm for 15 and 160
    ("centre: 100 mm, links: 38", "centre: 30 mm", "rear.chain.centre", "at least 45.8 mm: sprockets of 15 and 15"),
    ("[15, 15], centre: 100 mm, links: 38", "[15, 160], centre: 100 mm", "rear.chain.centre", "at least 265 mm"),
    ("teeth: [15, 15]", "teeth: [2, 15]", "rear.chain.teeth[0]", "at least 5"),
    ("size: 06B", "size: 06X", "rear.chain.size", "06B"),
    ("period: 10 ms", "period: 0 ms", "hold.period", "more than 0 ms"),
    ("stage: rear, period", "stage: reer, period", "hold.stage", "a stage after the first: rear"),
    ("      rear:\n        motor: our motor", "      rear:\n        shares: rear", "rear.shares", "with itself"),
    (
        "      rear:\n        motor: our motor",
        "      rear:\n        shares: raer",
        "rear.shares",
        "a stage of this intake",
    ),
    ("      rear:\n        motor: our motor", "      rear:", "rear.motor", "either 'motor' or 'shares'"),
    ("        to_next: 90 mm\n", "", "stages.front", "'to_next'"),
    ("squeeze: 6 mm", "squeeze: 31 mm", "rollers.squeeze", "half the diameter"),
    ("below: 180 mm", "below: 50 mm", "hold.below", "at least 'handover'"),
    ("object: ball", "object: bal", "intake.object", "did you mean 'ball'"),
]


@pytest.mark.parametrize(("old", "new", "key", "said"), BAD)
def test_bad_input_names_line_and_key(tmp_path, old, new, key, said):
    ended = run("check", written(tmp_path, ROBOT.replace(old, new, 1)))
    assert ended.code == 2
    assert re.search(r"robot\.yaml:\d+:\d+: ", ended.err), ended.err
    assert key in ended.err
    assert said in ended.err


def test_a_ring_of_shared_motors(tmp_path, capsys):
    ring = ROBOT.replace("      front:\n        motor: our motor", "      front:\n        shares: rear")
    ring = ring.replace("      rear:\n        motor: our motor", "      rear:\n        shares: front")
    file = written(tmp_path, ring)
    with pytest.raises(SystemExit) as stop:
        main(["check", str(file)])
    err = capsys.readouterr().err
    assert stop.value.code == 2
    assert "front -> rear -> front is a ring" in err
    line = ring.split("\n").index("        shares: rear") + 1
    assert f"robot.yaml:{line}:" in err


@pytest.mark.parametrize("tanks", [0, 1])
@pytest.mark.parametrize("inch", [False, True])
def test_the_starter_s_intake_is_accepted_once_uncommented(tmp_path, tanks, inch):
    answers = Answers(
        "Ours", "season.yaml", inch, "smart motor, 11 W class, 200 rpm", 4, 4, tanks, (1, 1), 0.1, 6.0, (0.4, 0.4, 0.3)
    )
    text = starter_robot(answers, Meets(("start", "goal"), ("ball",), ("ball in goal",)))
    begin = text.index("in front of every line below")
    begin = text.index("\n", begin) + 1
    end = text.index("\n\n", begin)
    whole = text[:begin] + re.sub(r"(?m)^#", "", text[begin:end]) + text[end:]
    (tmp_path / "season.yaml").write_text(starter_season(inch))
    file = tmp_path / "robot.yaml"
    file.write_text(whole)
    found = {f.id: f for f in evaluate(load_robot(file), 0).findings}
    assert found["intake.throughput.intake"].verdict == "holds"
    assert found["sort.error.sorter"].verdict in ("holds", "short")


BALLS = SEASON.replace("size: [100 mm, 90 mm, 80 mm]", "size: [100 mm, 100 mm, 100 mm], shape: ball")


def balls(tmp_path, robot=ROBOT):
    """What is said of balls in place of blocks."""
    path = written(tmp_path, robot)
    (path.parent / "season.yaml").write_text(BALLS, encoding="utf-8")
    report = evaluate(load_robot(path), 0)
    return {f.id: f for f in (*report.findings, *report.facts)}


def test_balls_roll_at_half_the_surface_speed_on_a_fixed_guide(tmp_path):
    """Rolling without slip on both, textbook kinematics: the centre is half as fast as the surface."""
    found, blocks = balls(tmp_path), checked(tmp_path)
    across = 2 * 30 * math.sin(math.acos(0.8)) / math.acos(0.8) / 1000  # m; the squeezed roller's rolling diameter
    # roller and flexing by hand: the couple of 0.1 times 8 N is borne by roller and guide alike
    speed = TURNS * (1 - 0.5 * 0.1 * 8 * across / 2 / 0.95 / 0.8) * across / 2
    assert found["intake.speed.intake.rear"].value == pytest.approx(0.5 * speed, rel=1e-6)
    assert "half as fast" in found["intake.speed.intake.rear"].because
    assert found["intake.throughput.intake"].value == pytest.approx(0.5 * speed / 0.1, rel=1e-6)
    assert found["intake.grip.intake.rear"].limit == pytest.approx(0.5 * 0.1 * 8, rel=1e-6)
    assert found["intake.hold_speed.intake"].value == pytest.approx(0.5 * speed, rel=1e-6)
    assert blocks["intake.speed.intake.rear"].value > 1.8 * found["intake.speed.intake.rear"].value
    # between rollers on both sides it moves as fast as they do
    driven = balls(tmp_path, ROBOT.replace("flexing: 0.1", "flexing: 0.1, against: rollers"))
    assert driven["intake.speed.intake.rear"].value == pytest.approx(speed, rel=0.1)
    assert driven["intake.speed.intake.rear"].value > 1.9 * found["intake.speed.intake.rear"].value
    # a guide that all but does not rub lets it slide
    slides = balls(tmp_path, ROBOT.replace("guide_friction: 0.2", "guide_friction: 0.01"))
    assert "slides" in slides["intake.speed.intake.rear"].because
    assert slides["intake.speed.intake.rear"].value > 1.9 * found["intake.speed.intake.rear"].value


def test_a_slippery_guide_lets_a_ball_spin_on_a_slope(tmp_path):
    steep = ROBOT.replace(
        "guide_friction: 0.2, flexing: 0.1}", "guide_friction: 0.02, flexing: 0.01}\n        climb: 60 deg"
    )
    grip = balls(tmp_path, steep)["intake.grip.intake.rear"]
    # W sin 60 + c N over two is asked of the roller, (mu + c) N is all that the ball takes of it
    assert grip.value == pytest.approx(0.03 * 8, rel=1e-6)
    assert grip.limit == pytest.approx(0.5 * (0.1 * 9.80665 * math.sin(math.radians(60)) + 0.08), rel=1e-6)
    assert "spins in place" in grip.because


def test_a_hooked_chain_passes_one_piece_a_hook(tmp_path):
    found = checked(tmp_path, hooked())
    rate, passed = found["intake.hooks_rate.intake.rear"], found["intake.throughput.intake"]
    assert passed.value == pytest.approx(rate.value, rel=1e-12)
    assert "one on each hook" in passed.because


def test_a_hold_whose_stages_share_a_motor_cannot_work(tmp_path):
    shared = re.sub(r"      rear:\n        motor: our motor\n", "      rear:\n        shares: front\n", ROBOT)
    slow = shared.replace("free_speed: 600 rpm", "free_speed: 60 rpm").replace("0.8 N*m", "8 N*m")
    for robot in (shared, slow):
        hold = checked(tmp_path, robot)["intake.hold_speed.intake"]
        assert hold.verdict == "short"
        assert "cannot run on" in hold.because


@pytest.mark.parametrize(
    ("crate", "depth", "layers"), [("[300 mm, 200 mm, 150 mm]", 100, 1), ("[210 mm, 200 mm, 150 mm]", 120, 2)]
)
def test_hooks_pass_over_a_heap_in_the_object_that_is_carried(tmp_path, crate, depth, layers):
    """By hand: five blocks of 100 by 90 by 80 mm, six or four side by side on the crate's floor, 30 mm up with it."""
    held = f"          held_in: {{object: crate, depth: {depth} mm, lift: 30 mm}}\n          carried: 5\n"
    held = f"          shaft_height: 560 mm\n{held}"
    text = hooked().replace("          shaft_height: 560 mm\n", held)
    file = written(tmp_path, text)
    season = SEASON.replace("objects:\n", f"objects:\n  crate: {{mass: 1 kg, size: {crate}}}\n")
    (tmp_path / "season.yaml").write_text(season)
    found = {f.id: f for f in evaluate(load_robot(file), 0).findings}["intake.hooks_clearance.intake.rear"]
    # a 06B chain on 12 teeth: hooks 30 mm high over the chord of a link
    tip = 9.525 / (2.0 * math.sin(math.pi / 12)) * math.cos(math.pi / 12) + 30.0
    assert found.value == pytest.approx(560.0 - tip - 5.0 - (30.0 + 150.0 - depth), rel=1e-6)
    assert found.limit == pytest.approx(80.0 * layers, rel=1e-6)
    assert f"in the crate, {30 + 150 - depth} mm up" in found.because
    (seen,) = passed(nominal(load_robot(file)))
    assert 1e3 * seen.spare == pytest.approx(found.value - found.limit, rel=1e-6)
    # 150 mm of crate, carried 30 mm up, and the pieces between its walls
    assert (seen.bottom, seen.walls, seen.base) == pytest.approx((0.03, 0.18, 0.18 - 0.001 * depth), rel=1e-9)
    said = over(seen, Style(PRINT)).alt
    assert f"5 of ball, {80 * layers} mm high" in said
    assert f"in the crate, {180 - depth} mm up" in said
