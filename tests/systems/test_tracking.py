"""Tracking findings against simulated odometry, statics and hand geometry, and what a wrong file is told."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import chi2

from drifting import simulate
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases, evaluate
from fieldworthy.files import BadInput, instantiate
from fieldworthy.physics.odometry.covariance import Placement
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.tracking import check as tracking
from robots import check, example, fact, find, load, nominal

WHEELS = {
    "ahead": {"direction": "forward", "diameter": "70 mm", "offset": "20 mm", "counts": 4096, "down_force": "10 N"},
    "across": {"direction": "sideways", "diameter": "70 mm", "offset": "-60 mm", "counts": 4096, "down_force": "10 N"},
}
ROBOT = {
    "tracking": {"wanted": "80 mm", "wheels": WHEELS, "gyro": {"drift": "1 deg/min"}},
    "actions": {"wait": {"time": "1 s"}},
    "plan": {"start": "a", "autonomous": [{"action": "wait", "at": "b"}, {"action": "wait", "at": "c"}]},
}


@pytest.mark.parametrize("name", ["mk1", "mk2", "otter"])
def test_closed_form_agrees_with_simulated_odometry_of_the_file(name):
    """Monte Carlo of the full nonlinear odometry, fixed seed; bounds: chi-square of a sample variance at 1e-4."""
    context = nominal(example(name))
    way = tracking.route(context)
    spec = context.robot.tracking
    runs = 4000
    start = Placement(x_sd=spec.start_error, y_sd=spec.start_error, heading_sd=spec.start_heading_error)
    drift = simulate(tracking.tracking_setup(context, way.speed), way.path, runs, seed=7, placement=start)
    alone = tracking.tracked(context, way, relocate=False)
    low, high = chi2.ppf((1e-4, 1 - 1e-4), runs - 1) / (runs - 1)
    assert way.names
    for i in range(len(way.names)):
        for of_runs, closed in (
            (drift.x[i], alone.total[i, 0]),
            (drift.y[i], alone.total[i, 2]),
            (drift.heading[i], alone.total[i, 5]),
        ):
            # first order against nonlinear, and whole counts, part by a few percent
            assert 0.94 * low < np.var(of_runs, ddof=1) / closed < 1.06 * high


def test_position_is_the_long_half_axis_of_the_ellipse_with_the_bias(tmp_path):
    """Eigenvalues by numpy, chi-square quantile with two degrees of freedom by scipy."""
    loaded = load(tmp_path, ROBOT)
    context = nominal(loaded)
    way = tracking.route(context)
    budget = tracking.tracked(context, way)
    reach, major, minor = tracking.reach_95(budget)
    scale = chi2.ppf(0.95, 2)
    for i in range(len(way.names)):
        xx, xy, yy = budget.total[i, :3]
        small, large = np.linalg.eigvalsh([[xx, xy], [xy, yy]])
        assert major[i] == pytest.approx(math.sqrt(scale * large), rel=1e-9)
        assert minor[i] == pytest.approx(math.sqrt(scale * small), rel=1e-6)
        assert reach[i] == pytest.approx(major[i] + np.hypot(*budget.mean[i, :2]), rel=1e-12)
    worst = find(evaluate(loaded, 0), "tracking.position")
    assert worst.value == pytest.approx(max(reach) * 1000, rel=1e-9) or worst.value == pytest.approx(
        max(reach), rel=1e-9
    )


def test_way_follows_the_places_of_the_plan(tmp_path):
    """Places at (0, 0), (1.2, 0), (1.2, 0.9): plane geometry."""
    way = tracking.route(nominal(load(tmp_path, ROBOT)))
    assert way.names == ("b", "c")
    assert np.abs(way.path.ahead).sum() == pytest.approx(1.2 + 0.9, rel=1e-12)
    assert np.abs(way.path.turn).sum() == pytest.approx(math.pi / 2, rel=1e-12)


def test_the_gyro_drifts_for_as_long_as_the_robot_is_under_way(tmp_path):
    """By hand: a drift of 1 deg/min turns the heading by 1/60 deg a second, and only seconds before arrival count."""

    def turned(**waits):
        """Degrees that the drift alone turns the heading at each waypoint."""
        plan = [{"action": name, "at": place} for name, place in (("first", "b"), ("first", "b"), ("last", "c"))]
        actions = {name: {"time": f"{waits[name]} s"} for name in ("first", "last")}
        context = nominal(load(tmp_path, ROBOT | {"actions": actions, "plan": {"start": "a", "autonomous": plan}}))
        found = tracking.tracked(context, tracking.route(context))
        return np.degrees(np.sqrt(found.parts[found.sources.index("gyro drift"), :, 5]))

    short, long, late = turned(first=0.5, last=0.5), turned(first=3.5, last=0.5), turned(first=0.5, last=3.5)
    assert short[0] > 0.0
    assert long - short == pytest.approx([0.0, 2 * 3.0 / 60.0], abs=1e-9)
    assert late == pytest.approx(short, abs=1e-12)


def test_a_place_taken_from_a_wall_is_as_exact_as_the_wall_and_fused_it_is_better(tmp_path):
    """Textbook: taken, the wall's own sd is what is left; fused, precisions add up (1/s^2 = 1/a^2 + 1/b^2)."""
    wall = {"at": "b", "wall": "0 deg", "error": "9 mm"}
    spec = ROBOT["tracking"] | {"start_error": "12 mm"}

    def ahead(**more):
        """Standard deviation along the wall's normal at b, and whether drive error is behind it."""
        loaded = load(tmp_path, ROBOT | {"tracking": spec | more})
        context = nominal(loaded)
        return math.sqrt(tracking.tracked(context, tracking.route(context)).total[0, 0])

    alone = ahead()
    assert alone > 0.012
    assert ahead(relocations=[wall]) == pytest.approx(0.009, rel=1e-12)
    assert ahead(relocations=[wall | {"use": "taken"}]) == pytest.approx(0.009, rel=1e-12)
    fused = (alone**-2 + 0.009**-2) ** -0.5
    assert ahead(relocations=[wall | {"use": "fused"}]) == pytest.approx(fused, rel=1e-9)


def test_a_sensor_worse_than_the_odometry_makes_the_place_worse_where_it_is_taken(tmp_path):
    wall = {"at": "c", "wall": "90 deg", "error": "60 mm"}
    plain = find(check(tmp_path, ROBOT), "tracking.position").value
    worse = check(tmp_path, ROBOT | {"tracking": ROBOT["tracking"] | {"relocations": [wall]}})
    fused = check(tmp_path, ROBOT | {"tracking": ROBOT["tracking"] | {"relocations": [wall | {"use": "fused"}]}})
    assert find(worse, "tracking.position").value > plain >= find(fused, "tracking.position").value
    assert "fuse the two" in fact(worse, "tracking.relocation").because
    assert "fuse" not in fact(fused, "tracking.relocation").because


def test_sources_add_up_and_the_largest_is_named(tmp_path):
    """Variances of independent sources add up."""
    report = check(tmp_path, ROBOT | {"tracking": ROBOT["tracking"] | {"gyro": {"scale_error": 0.2}}})
    facts = {f.id: f for f in report.facts if f.id.startswith("tracking.source")}
    assert max(facts.values(), key=lambda f: f.value).id == "tracking.source.gyro scale"
    assert "the gyro's scale" in find(report, "tracking.position").because


def test_relocation_helps_and_says_by_how_much(tmp_path):
    wall = [{"at": "c", "wall": "90 deg", "error": "2 mm", "heading_error": "0.3 deg"}]
    plain = find(check(tmp_path, ROBOT), "tracking.position")
    report = check(tmp_path, {**ROBOT, "tracking": {**ROBOT["tracking"], "relocations": wall}})
    assert find(report, "tracking.position").value < plain.value
    without = fact(report, "tracking.relocation")
    assert "Without finding its place anew" in without.because


def test_seam_speed_against_textbook_statics(tmp_path):
    """On stiff tiles it flies off when the axle's circle needs more than the down-force: v^2/(R cos^3) = F/m."""
    seam = find(check(tmp_path, ROBOT, {"field": {"foam_modulus": "100000 kPa"}}), "tracking.seam.ahead")
    radius, step = 0.035, 0.002
    cos = (radius - step) / radius
    assert seam.value == pytest.approx(math.sqrt(10 / 0.12 * radius * cos**3), rel=0.01)
    # tiles that give way follow it up
    assert find(check(tmp_path, ROBOT), "tracking.seam.ahead").value > 1.1 * seam.value


@pytest.mark.parametrize(
    ("step", "verdict", "said"),
    [
        ("0 mm", "holds", "crosses level seams"),
        ("0.001 mm", "holds", "stays down"),
        ("30 mm", "short", "leaves the floor"),
        ("36 mm", "short", "does not get over"),
    ],
)
def test_any_seam_has_a_verdict(tmp_path, step, verdict, said):
    report = check(tmp_path, ROBOT, {"field": {"seam_step": step}})
    seam = find(report, "tracking.seam.ahead")
    assert (seam.verdict, said in seam.because) == (verdict, True)
    told = fact(report, "tracking.dig.ahead").because
    assert "inf" not in told
    assert "nan" not in told


def test_small_wheels_are_pushed_back_harder_than_the_trade_s_large_ones(tmp_path):
    """Common practice, no source: 2.0 in wheels dig in where 2.75 in ones do not. Textbook statics of a square step."""
    dig = fact(check(tmp_path, ROBOT), "tracking.dig.ahead")
    force = {d: math.sqrt(r**2 - (r - 0.002) ** 2) / (r - 0.002) for d, r in ((2.0, 0.0254), (2.75, 0.034925))}
    assert f"2.0 in: {100 * force[2.0]:.0f} %" in dig.because
    assert f"2.75 in: {100 * force[2.75]:.0f} %" in dig.because
    assert f"{100 * (force[2.0] / force[2.75] - 1):.0f} % harder" in dig.because


def test_examples_differ_as_they_should():
    """mk1: small wheels, no relocation; mk2: large ones and a wall. Only mk2 knows its place well enough."""
    assert find(evaluate(example("mk1"), 0), "tracking.position").verdict == "short"
    assert find(evaluate(example("mk2"), 0), "tracking.position").verdict == "holds"


def test_no_autonomous_way_is_unknown(tmp_path):
    report = check(tmp_path, {k: v for k, v in ROBOT.items() if k != "plan"})
    position = find(report, "tracking.position")
    assert position.verdict == "unknown"
    assert position.missing == ("plan.autonomous",)


def test_without_tracking_nothing_is_said(tmp_path):
    report = check(tmp_path, {k: v for k, v in ROBOT.items() if k != "tracking"})
    assert not [f for f in (*report.findings, *report.facts) if f.id.startswith("tracking")]


@pytest.mark.parametrize(
    ("change", "key", "expected"),
    [
        ({"wheels": {"across": WHEELS["across"]}}, "tracking.wheels", "direction: forward"),
        ({"gyro": None}, "tracking.wheels", "a gyro, or two forward wheels"),
        (
            {"wheels": {"ahead": {**WHEELS["ahead"], "counts": 0}}},
            "tracking.wheels.ahead.counts",
            "at least 1",
        ),
        (
            {"wheels": {"ahead": {**WHEELS["ahead"], "diameter": "0 mm"}}},
            "tracking.wheels.ahead.diameter",
            "more than 0",
        ),
        ({"relocations": [{"at": "nowhere", "wall": "0 deg"}]}, "tracking.relocations[0].at", "season.places"),
    ],
)
def test_bad_tracking_is_told_where(tmp_path, change, key, expected):
    with pytest.raises(BadInput) as error:
        load(tmp_path, {**ROBOT, "tracking": {"wanted": "80 mm", "wheels": WHEELS, "gyro": {}, **change}})
    told = str(error.value)
    assert key in told
    assert expected in told
    assert "robot.yaml:" in told


def test_a_batch_gives_what_each_case_gives(tmp_path):
    """Samples of a batch, evaluated one by one as robots of their own; pressed lightly, the wheels fly at seams."""
    light = {name: {**wheel, "down_force": "1 N"} for name, wheel in WHEELS.items()}
    loaded = load(tmp_path, {**ROBOT, "tracking": {**ROBOT["tracking"], "wheels": light}})
    cases = Cases(3, 0, 5, [])
    batch = Context(instantiate(loaded.robot, Robot, cases.draw), loaded.nominal_season, nominal(loaded))
    way = tracking.route(batch)
    reach = tracking.reach_95(tracking.tracked(batch, way))[0]
    assert cases.size == 6
    for i in range(cases.size):

        def draw(path, quantity, i=i):
            drawn = cases.draw(path, quantity)
            return drawn if np.ndim(drawn) == 0 else float(drawn[i])

        one = instantiate(loaded.robot, Robot, draw)
        alone = Context(one, loaded.nominal_season, nominal(loaded))
        assert np.allclose(tracking.reach_95(tracking.tracked(alone, way))[0], reach[:, i], rtol=1e-12)


def test_inputs_are_those_of_tracking(tmp_path):
    inputs = find(check(tmp_path, ROBOT), "tracking.position").inputs
    assert "tracking.gyro.drift" in inputs
    assert not any(key.startswith(("air", "battery")) for key in inputs)


def test_a_wheel_that_tilts_in_its_play(tmp_path):
    """The middle of pressure of a tilted tread on springs, by quadrature, and a line across two holes by hand."""
    play, span, radius, width = 0.4e-3, 18e-3, 0.03, 12e-3
    angle = math.atan(play / span)
    wheels = {n: dict(w) for n, w in WHEELS.items()}
    name = next(iter(wheels))
    wheels[name] |= {"diameter": "60 mm", "width": "12 mm", "play": "0.4 mm", "bearing_span": "18 mm", "scrub": 0.7}
    robot = {**ROBOT, "tracking": {**ROBOT["tracking"], "wheels": wheels}}
    context = nominal(load(tmp_path, robot))
    wheel = context.robot.tracking.wheels[name]
    field = context.season.field
    # depth of an elastic foundation: a = (3 W R h / (2 E b))^(1/3), d = a^2 / (2 R); Johnson, section 4.3
    half = (3 * float(wheel.down_force) * radius * float(field.foam_thickness)
            / (2 * float(field.foam_modulus) * width)) ** (1 / 3)  # fmt: skip
    depth = half**2 / (2 * radius)
    weight = quad(lambda y: depth - y * angle, -width / 2, width / 2)[0]
    back = -quad(lambda y: y * (depth - y * angle), -width / 2, width / 2)[0] / weight
    tilt = tracking.tilt_of(context, wheel)
    assert float(tilt.angle) == pytest.approx(angle)
    assert float(tilt.swing) == pytest.approx(abs(radius * math.sin(angle) - back), rel=1e-6)
    found = fact(check(tmp_path, robot), f"tracking.tilt.{name}")
    assert found.value == pytest.approx(math.degrees(angle)) or found.value == pytest.approx(angle)
    # 0.7 times 30 mm is more than half of 12 mm: it swings; a tread of 50 mm keeps it upright
    wheels[name] |= {"width": "50 mm"}
    broad = nominal(load(tmp_path, {**ROBOT, "tracking": {**ROBOT["tracking"], "wheels": wheels}}))
    assert float(tracking.tilt_of(broad, broad.robot.tracking.wheels[name]).swing) == 0.0


def test_play_makes_tracking_worse(tmp_path):
    """Direction and offset are known less well with play, so the position is never better."""
    reach = []
    for play in ("0 mm", "0.3 mm", "1 mm"):
        wheels = {n: {**w, "play": play} for n, w in WHEELS.items()}
        report = check(tmp_path, {**ROBOT, "tracking": {**ROBOT["tracking"], "wheels": wheels}})
        reach.append(find(report, "tracking.position").value)
    assert reach == sorted(reach)
    assert reach[2] > 1.05 * reach[0]
