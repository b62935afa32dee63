"""Colour sorting findings against scipy, drawn readings and hand kinematics, and what a wrong file is told."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import binom, norm

from edge import run
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases, evaluate
from fieldworthy.files import BadInput, instantiate
from fieldworthy.robot.loading import load_robot
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.intake import check as intake
from fieldworthy.systems.sorter import check
from fieldworthy.systems.sorter.figure import sorter_curves

SEASON = """\
fieldworthy: season 1
season: Test
limits: {}
field: {size: [3.6 m, 3.6 m]}
objects:
  ball: {mass: 100 g, size: [100 mm, 100 mm, 100 mm]}
periods: {autonomous: 20 s, driven: 100 s}
"""
ROBOT = """\
fieldworthy: robot 1
robot: Test
season: season.yaml
drive:
  motor: "smart motor, 11 W class, 600 rpm"
  motors: 2
  wheels:
    left: {position: [0 mm, 100 mm], wheel: "rubber wheel, 4 in"}
    right: {position: [0 mm, -100 mm], wheel: "rubber wheel, 4 in"}
battery: "lithium pack, 12.8 V class, 1.1 Ah"
mechanisms:
  intake:
    kind: intake
    object: ball
    throughput: 4 Hz
    stages:
      only:
        motor: "smart motor, 11 W class, 200 rpm"
        rollers: {diameter: 60 mm, squeeze: 4 mm, press: 5 N, friction: 0.7}
  sorter:
    kind: sorter
    intake: intake
    stage: only
    sensor: {period: 20 ms, latency: 10 ms, spot: 10 mm, correlation: 0}
    classes:
      copper: {hue: 20 deg, spread: 30 deg, share: 0.6}
      indigo: {hue: 110 deg, spread: 20 deg, share: 0.4}
    unwanted: indigo
    readings: 3
    background: {hue: 240 deg, spread: 6 deg}
    ejector: {time: 40 ms, distance: 110 mm, scatter: 12 ms}
    allowed_error: 8 %
"""


def written(tmp_path, robot=ROBOT):
    (tmp_path / "season.yaml").write_text(SEASON)
    file = tmp_path / "robot.yaml"
    file.write_text(robot)
    return file


def checked(tmp_path, robot=ROBOT, samples=0):
    report = evaluate(load_robot(written(tmp_path, robot)), samples)
    return {f.id: f for f in (*report.findings, *report.facts)}


def bounds():
    """Both thresholds in degrees, where the weighted normals are equal: scipy's brentq on either arc."""

    def lead(x):
        return 0.6 * norm.pdf(x, 20, 30) - 0.4 * norm.pdf(x, 110, 20)

    def back(x):
        return 0.6 * norm.pdf(x, 380, 30) - 0.4 * norm.pdf(x, 110, 20)

    return brentq(lead, 20, 110), brentq(back, 200, 300)


def single_errors():
    """One reading's error of each class, by integrating its density over the other's arc and its windings."""
    low, high = bounds()

    def outside(mean, sd, a, b):
        return sum(quad(norm.pdf, a + turn, b + turn, args=(mean, sd))[0] for turn in (-720, -360, 0, 360, 720))

    return outside(20, 30, low, high), outside(110, 20, high, low + 360)


def test_thresholds_and_votes(tmp_path):
    found = checked(tmp_path)["sort.vote.sorter"]
    low, high = bounds()
    assert f"indigo from {low:.3g}° to {high:.3g}°" in found.because
    # three independent readings: two or more wrong, scipy's binomial distribution
    voted = [binom.sf(1, 3, p) for p in single_errors()]
    assert found.value == pytest.approx(0.6 * voted[0] + 0.4 * voted[1], rel=1e-5)
    # drawn readings of 300,000 objects each: within four standard errors
    rng = np.random.default_rng(7)
    wrong = []
    for mean, sd, own in ((20, 30, False), (110, 20, True)):
        readings = rng.normal(mean, sd, (3, 300_000)) % 360
        taken = (readings > low) & (readings < high)
        wrong.append(np.mean((taken.sum(axis=0) >= 2) != own))
    assert found.value == pytest.approx(0.6 * wrong[0] + 0.4 * wrong[1], abs=4 * math.sqrt(0.03 / 300_000))


def test_readings_at_the_real_speed(tmp_path):
    found = checked(tmp_path)
    speed = found["intake.speed.intake.only"].value
    # counting: 90 mm of window over the way between two readings
    assert found["sort.readings.sorter"].value == pytest.approx(0.09 / (speed * 0.02), rel=1e-9)
    assert found["sort.readings.sorter"].verdict == "holds"
    slow = checked(tmp_path, ROBOT.replace("period: 20 ms", "period: 80 ms"))
    assert slow["sort.readings.sorter"].verdict == "short"
    # with a single reading left there is no vote
    assert slow["sort.vote.sorter"].value == pytest.approx(np.dot((0.6, 0.4), single_errors()), rel=1e-5)


def test_eject_window_and_error_end_to_end(tmp_path):
    found = checked(tmp_path)
    speed = found["intake.speed.intake.only"].value
    # hand kinematics at constant speed: nose at the ejector, less spot, three periods, latency and actuator
    ready = 0.01 / speed + 3 * 0.02 + 0.01 + 0.04
    opens, closes = (0.11 + 0.1 - speed / 4) / speed, 0.11 / speed
    aim = max(ready, (opens + closes) / 2)  # the middle of the window, or as early as it can
    # the file speaks of ms
    assert found["sort.eject.sorter"].value == pytest.approx(1000 * min(closes - aim, aim - opens), rel=1e-6)
    in_time = norm.cdf((closes - aim) / 0.012) - norm.cdf((opens - aim) / 0.012)
    assert found["sort.eject.sorter"].verdict == ("holds" if in_time >= 0.95 else "short")
    false_alarm, missed = (binom.sf(1, 3, p) for p in single_errors())
    error = 0.6 * false_alarm * in_time + 0.4 * (1 - (1 - missed) * in_time)
    assert found["sort.error.sorter"].value == pytest.approx(error, rel=1e-4)
    assert found["sort.error.sorter"].verdict == ("holds" if error <= 0.08 else "short")
    late = checked(tmp_path, ROBOT.replace("time: 40 ms", "time: 400 ms"))
    assert late["sort.eject.sorter"].verdict == "short"
    # every indigo piece stays, none is thrown out
    assert late["sort.error.sorter"].value == pytest.approx(0.4, rel=1e-9)


def test_an_ejector_on_a_cylinder_takes_its_stroke_time(tmp_path):
    air = """\
air:
  tanks: {one: {tank: "tank, 200 mL"}}
  cylinders:
    gate: {cylinder: "cylinder, 10 mm bore, 25 mm stroke", tank: one, valve: small 5/2 solenoid valve, push_load: 20 N}
"""
    # read so late that it cannot aim at the middle of the window: then the stroke counts
    read = ROBOT.replace("latency: 10 ms", "latency: 90 ms")
    found = checked(tmp_path, read.replace("time: 40 ms", "cylinder: gate") + air)
    speed, stroke = found["intake.speed.intake.only"].value, found["air.time.gate"]
    ready = 0.11 / speed - found["sort.eject.sorter"].value / 1000
    # the same stroke as the air findings give, where going out is the slower way
    assert " out " in stroke.because
    assert ready - 0.01 / speed - 0.15 == pytest.approx(stroke.value / 1000, rel=1e-6)


def test_raw_readings_make_a_class(tmp_path):
    # circular mean and deviation by complex numbers, across 0 degrees (Directional Statistics, from memory)
    readings = [350, 5, 12, 358, 20, 3, 340, 15]
    z = np.exp(1j * np.radians(readings)).mean()
    mean, sd = np.degrees(np.angle(z)) % 360, np.degrees(math.sqrt(-2 * math.log(abs(z))))
    listed = ", ".join(f"{r} deg" for r in readings)
    raw = checked(tmp_path, ROBOT.replace("hue: 20 deg, spread: 30 deg", f"samples: [{listed}]"))
    same = checked(
        tmp_path, ROBOT.replace("hue: 20 deg, spread: 30 deg", f"hue: {float(mean)!r} deg, spread: {float(sd)!r} deg")
    )
    assert raw["sort.vote.sorter"].value == pytest.approx(same["sort.vote.sorter"].value, rel=1e-9)


def test_background_and_what_beats_it(tmp_path):
    found = checked(tmp_path)
    # step over the root mean square of both spreads (Detection Theory, from memory); exhaustive search over the circle
    grid = np.arange(0, 360, 0.01)

    def clear(at):
        steps = [abs((at - m + 180) % 360 - 180) / math.sqrt((s**2 + 36) / 2) for m, s in ((20, 30), (110, 20))]
        return np.minimum(*steps)

    assert found["sort.background.sorter"].value == pytest.approx(clear(240.0), rel=1e-6)
    best = grid[np.argmax(clear(grid))]
    assert found["sort.best_background.sorter"].value == pytest.approx(best, abs=0.02)
    poor = checked(tmp_path, ROBOT.replace("background: {hue: 240 deg", "background: {hue: 60 deg"))
    assert poor["sort.background.sorter"].verdict == "short"


def test_the_word_on_yellow(tmp_path):
    # Common practice, no source: face the sensor at yellow when sorting red from blue. On the hexagon yellow leaves 60
    # degrees to red and green 120 to both; by hand with the root mean square of the two spreads
    found = checked(tmp_path)["sort.yellow.sorter"]
    assert found.value == pytest.approx(2.0, rel=1e-6)
    sd = math.sqrt((30**2 + 20**2) / 2)
    scale = math.sqrt((sd**2 + 36) / 2)
    for number in (120 / scale, 60 / scale, math.sqrt(4 * (sd**2 + 36) - sd**2)):
        assert f"{number:.3g}" in found.because
    # CIELAB hues of the sRGB primaries (from memory, D65): red 40.0, yellow 102.9, blue 306.3; the white differs here
    lab = checked(tmp_path, ROBOT.replace("    unwanted:", "    circle: cielab\n    unwanted:"))["sort.yellow.sorter"]
    assert lab.value == pytest.approx((306.3 - 40.0) / 2 / (102.9 - 40.0), rel=0.05)


def test_edges_before_yellow_and_before_green(tmp_path):
    # before yellow a blue piece turns through red while it moves in; before green it never does
    hexed = ROBOT.replace("hue: 20 deg, spread: 30 deg", "hue: 0 deg, spread: 8 deg, saturation: 1, brightness: 0.5")
    hexed = hexed.replace("hue: 110 deg, spread: 20 deg", "hue: 240 deg, spread: 8 deg, saturation: 1, brightness: 0.5")
    yellow = hexed.replace("hue: 240 deg, spread: 6 deg", "hue: 40 deg, spread: 6 deg, saturation: 1, brightness: 0.5")
    green = hexed.replace("hue: 240 deg, spread: 6 deg", "hue: 120 deg, spread: 6 deg, saturation: 1, brightness: 0.5")
    assert checked(tmp_path, green)["sort.edges.sorter"].value == 0.0
    # own mixture: red 1 - c, green (1 - c) 40/60, blue c; nearest of the three in hue, equal spreads but for the last
    covers = (np.arange(16) + 0.5) / 16
    share = 0
    for c in covers:
        r, g, b = 1 - c, (1 - c) * 2 / 3, c
        top, low = max(r, g, b), min(r, g, b)
        six = (g - b) / (top - low) % 6 if top == r else 4 + (r - g) / (top - low)
        steps = {m: abs((six * 60 - m + 180) % 360 - 180) for m in (0, 40, 240)}
        share += min(steps, key=steps.get) == 0
    assert checked(tmp_path, yellow)["sort.edges.sorter"].value == pytest.approx(share / 16, abs=1 / 16 + 1e-9)
    assert share > 0


def test_unknown_without_ejector_and_fact_without_a_limit(tmp_path):
    bare = re.sub(r"    ejector:.*\n", "", ROBOT)
    found = checked(tmp_path, bare)["sort.error"]
    assert (found.verdict, found.missing) == ("unknown", ("mechanisms.sorter.ejector",))
    free = checked(tmp_path, re.sub(r"    allowed_error:.*\n", "", ROBOT))["sort.error.sorter"]
    assert not hasattr(free, "verdict")
    still = checked(tmp_path, ROBOT.replace("friction: 0.7}", "friction: 0.1}"))["sort.error"]
    assert still.verdict == "unknown"


def test_nudges_equal_edits(tmp_path):
    # what one number moves, read off the batch, is what editing the file moves: here the latency, one for one
    read = ROBOT.replace("latency: 10 ms", "latency: 90 ms")
    found = checked(tmp_path, read)["sort.eject.sorter"]
    assert "mechanisms.sorter.sensor.latency" in found.inputs
    assert "mechanisms.sorter.background.hue" not in found.inputs
    later = checked(tmp_path, ROBOT.replace("latency: 10 ms", "latency: 95 ms"))["sort.eject.sorter"]
    assert found.value - later.value == pytest.approx(5, rel=1e-9)


def test_samples_stay_finite(tmp_path):
    wild = ROBOT.replace("hue: 20 deg", "hue: {value: 2 deg, tolerance: 30 deg}").replace(
        "spread: 20 deg", "spread: {value: 20 deg, tolerance: 25 deg}"
    )
    found = checked(tmp_path, wild.replace("correlation: 0", "correlation: 0.2"), 400)
    assert all(f.spread is None or all(map(math.isfinite, f.spread)) for f in found.values())
    assert 0 <= found["sort.error.sorter"].value <= 1


BAD = [
    ("period: 20 ms", "period: 0 ms", "sensor.period", "more than 0 ms"),
    ("hue: 110 deg", "hue: 400 deg", "classes.indigo.hue", "a hue on the circle"),
    ("hue: 110 deg", "hue: -5 deg", "classes.indigo.hue", "a hue on the circle"),
    ("background: {hue: 240 deg", "background: {hue: 500 deg", "background.hue", "a hue on the circle"),
    ("hue: 110 deg, spread: 20 deg", "samples: []", "classes.indigo.samples", "three readings or more"),
    (
        "hue: 110 deg, spread: 20 deg",
        "samples: [10 deg, 20 deg, 370 deg]",
        "classes.indigo.samples[2]",
        "on the circle",
    ),
    ("hue: 110 deg, spread: 20 deg", "hue: 110 deg", "classes.indigo", "'hue' and 'spread', or 'samples'"),
    ("spread: 20 deg", "spread: 0 deg", "classes.indigo.spread", "more than 0 deg"),
    ("share: 0.4", "share: 0.7", "sorter.classes", "add up to 1"),
    ("unwanted: indigo", "unwanted: indgo", "sorter.unwanted", "copper; indigo"),
    ("stage: only", "stage: onyl", "sorter.stage", "a stage of 'intake': only"),
    ("intake: intake", "intake: intak", "sorter.intake", "did you mean 'intake'"),
    ("intake: intake", "intake: sorter", "sorter.intake", "kind: intake"),
    ("time: 40 ms, ", "", "sorter.ejector", "either 'cylinder' or 'time'"),
]


@pytest.mark.parametrize(("old", "new", "key", "said"), BAD)
def test_bad_input_names_line_and_key(tmp_path, old, new, key, said):
    ended = run("check", written(tmp_path, ROBOT.replace(old, new, 1)))
    assert ended.code == 2
    assert re.search(r"robot\.yaml:\d+:\d+: ", ended.err), ended.err
    assert key in ended.err
    assert said in ended.err


def test_batch_equals_cases_one_by_one(tmp_path):
    # every nudged row of one batch against that case by itself, plain numbers all through
    loaded = load_robot(written(tmp_path, ROBOT.replace("correlation: 0", "correlation: 0.2")))
    paths = [path for path, _ in loaded.quantities if path[0] == "mechanisms"]
    cases = Cases(0, 0, 0, paths)
    nominal = Context(loaded.nominal, loaded.nominal_season)
    whole = Context(instantiate(loaded.robot, Robot, cases.draw), loaded.nominal_season, nominal)
    batch = [*intake.check(whole), *check.check(whole)]
    for row in range(cases.size):

        def alone(path, quantity, row=row):
            value = np.asarray(cases.draw(path, quantity))
            return float(value if value.ndim == 0 else value[row])

        one = Context(instantiate(loaded.robot, Robot, alone), loaded.nominal_season)
        for many, single in zip(batch, [*intake.check(one), *check.check(one)], strict=True):
            value = np.broadcast_to(many.value, (cases.size,))[row]
            assert float(np.asarray(single.value)) == pytest.approx(value, rel=1e-12, abs=1e-15), many.id
    assert cases.size > 30


def test_readings_that_vary_alone_give_what_each_case_gives(tmp_path):
    """Two classes and two cases: classes and cases must not be taken for one another."""
    loaded = load_robot(written(tmp_path))
    votes = []
    for shared in ((0.1,), (0.6,), (0.1, 0.6)):

        def draw(path, quantity, shared=shared):
            varied = path[-2:] == ("sensor", "correlation")
            return (np.array(shared) if len(shared) > 1 else shared[0]) if varied else quantity.si

        base = Context(loaded.nominal, loaded.nominal_season)
        context = Context(instantiate(loaded.robot, Robot, draw), loaded.nominal_season, base)
        votes.append(next(o for o in check.check(context) if o.id == "sort.vote.sorter").value)
    assert votes[0] != votes[1]
    assert np.allclose(votes[2], votes[:2], rtol=1e-12)


def test_each_class_is_drawn_in_its_colour_and_a_file_may_name_it(tmp_path):
    """Hue 20 deg and 110 deg of full saturation are an orange and a green: hexagonal cone, worked by hand."""
    (tmp_path / "season.yaml").write_text(SEASON, "utf-8")
    file = tmp_path / "robot.yaml"
    named = ROBOT.replace("hue: 110 deg, spread", 'colour: "#3a2f8f", hue: 110 deg, spread')

    def colours(text):
        file.write_text(text, "utf-8")
        found = sorter_curves(Context(load_robot(file).nominal, load_robot(file).nominal_season))["sorter"]
        return [tuple(int(cls.colour[i : i + 2], 16) for i in (1, 3, 5)) for cls in found.classes]

    (red, green, blue), other = colours(ROBOT)
    assert red > 200
    assert red > green > blue
    assert (green - blue) / (red - blue) == pytest.approx(20.0 / 60.0, abs=0.01)
    assert other[1] == max(other)
    assert colours(named)[1] == (0x3A, 0x2F, 0x8F)
    file.write_text(named.replace("#3a2f8f", "blue"), "utf-8")
    with pytest.raises(BadInput, match="six digits"):
        load_robot(file)
