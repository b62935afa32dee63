"""The numbers behind figures are those that check, match and compare print, or follow by hand from the file."""

from __future__ import annotations

import math

import numpy as np
import pytest

from drawn import NAMES, compared, played
from fieldworthy.decide import figure as draw_compare
from fieldworthy.drawing import PRINT, Style
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.engine.figure import margins_of
from fieldworthy.match import figure as draw_match
from fieldworthy.match import figure as draw_score
from fieldworthy.match import match_clock, timeline
from fieldworthy.robot import load_robot
from fieldworthy.systems.air import figure as draw_air
from fieldworthy.systems.air.figure import air_curves
from fieldworthy.systems.intake.figure import intake_curves
from fieldworthy.systems.sorter import figure as draw_hues
from fieldworthy.systems.sorter.figure import sorter_curves
from fieldworthy.systems.tracking import figure as draw_path
from fieldworthy.systems.tracking.figure import path_curves
from fieldworthy.units import affine
from fieldworthy.vehicle.supply import air_along_plan, best_layout
from robots import example, example_copy, fact, find, load, nominal, on_tanks

METRIC = Style(PRINT, "metric", 640.0)


def si(found, kind: str) -> float:
    """A finding's or fact's value in SI."""
    unit = affine(found.unit, kind)
    return unit.scale * found.value + unit.offset


def report(name: str):
    """What a check of an example says, nominal numbers alone."""
    return evaluate(example(name), samples=0)


# --- air -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_levels_and_margins_are_those_of_the_findings(name):
    said, curves = report(name), air_curves(nominal(example(name)))
    assert curves.tanks
    for tank in curves.tanks:
        for level in tank.levels:
            finding = find(said, f"air.pressure.{level.cylinder}")
            assert level.lowest == pytest.approx(si(finding, "pressure"))
            assert level.need == pytest.approx(finding.limit * affine(finding.unit, "pressure").scale)
            assert level.margin == pytest.approx(finding.margin, abs=1e-9)
            assert (level.short is not None) == (finding.verdict == "short")
        left = fact(said, f"air.tank.{tank.name}")
        assert tank.gauge[tank.time <= tank.strokes[-1].time][-1] == pytest.approx(si(left, "pressure"))


def test_the_figure_of_the_tanks_lists_them_in_the_persons_unit():
    curves = air_curves(nominal(example("mk1")))
    columns = draw_air.pressures(curves, METRIC).columns
    inch = draw_air.pressures(curves, Style(PRINT, "inch", 640.0)).columns
    # 1 psi is 6.894757 kPa (NIST SP 811)
    assert columns["left: gauge pressure [kPa]"][0] == pytest.approx(690.0)
    assert inch["left: gauge pressure [psi]"][0] == pytest.approx(690 / 6.894757293, rel=1e-6)


def test_one_stroke_shares_the_air_by_boyles_law(tmp_path):
    plan = {"start": "a", "driven": [{"action": "push", "at": "b"}]}
    robot = {
        "air": {
            "supply": {"charge": "500 kPa", "tube_bore": "2.5 mm"},
            "tanks": {"only": {"tank": "test tank", "leak_half_time": "1000000 min"}},
            "cylinders": {"arm": {"cylinder": "spring cylinder", "tank": "only", "valve": "test valve", "tube": "0 mm",
                                  "dead_volume": "1 mL", "push_load": "30 N"}},
        },
        "actions": {"push": {"time": "1 s", "strokes": {"arm": 1}}},
        "plan": plan,
    }  # fmt: skip
    curves = air_curves(nominal(load(tmp_path, robot)))
    (tank,) = curves.tanks
    # isothermal: (600 + 1.325) kPa in 200 mL and the air of 1 mL at rest spread over 201 mL and the swept volume
    swept = math.pi / 4 * 12.0**2 * 40.0 / 1000.0
    p_atm = 101.325
    after = ((500.0 + p_atm) * 200.0 + p_atm * 1.0) / (201.0 + swept) - p_atm
    assert tank.strokes[0].filled / 1000.0 == pytest.approx(after, rel=1e-5)
    assert tank.cylinders == ("arm",)
    # spring 6 N and load 30 N on 113.1 mm2 at 90 % efficiency
    assert tank.levels[0].need == pytest.approx(36.0 / (0.9 * math.pi / 4 * 0.012**2))


def test_a_cylinder_put_on_another_tank_is_the_robot_whose_file_says_so(tmp_path):
    rest = "      valve: small 5/2 solenoid valve\n      tube: 500 mm"
    file = example_copy(tmp_path, (f"      tank: left\n{rest}", f"      tank: right\n{rest}"))
    written = air_curves(nominal(load_robot(file)))
    dragged = air_curves(on_tanks(nominal(example("mk1")), {"hooks": "right"}))
    assert dragged.layout == written.layout
    assert dragged.layout["hooks"] == "right"
    for one, other in zip(dragged.tanks, written.tanks, strict=True):
        assert one.gauge == pytest.approx(other.gauge)
        assert one.worst == other.worst


def test_the_worst_margin_of_a_layout_is_that_of_the_search_over_layouts():
    subject = nominal(example("mk1"))
    best = best_layout(subject, air_along_plan(subject))
    assert air_curves(subject).worst == pytest.approx(best.now)
    assert air_curves(on_tanks(subject, best.tanks)).worst == pytest.approx(best.margin)


# --- sorter --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_sorters_numbers_are_those_of_the_findings(name):
    said, curves = report(name), sorter_curves(nominal(example(name)))["sorter"]
    assert curves.ejecting.error == pytest.approx(find(said, "sort.error.sorter").value, rel=1e-9)
    assert curves.ejecting.margin == pytest.approx(find(said, "sort.eject.sorter").value, rel=1e-9)
    assert curves.facing.clear == pytest.approx(find(said, "sort.background.sorter").value, rel=1e-9)
    assert curves.facing.best == pytest.approx(math.radians(fact(said, "sort.best_background.sorter").value))
    assert curves.facing.most >= curves.facing.clear_at.max() - 1e-9


@pytest.mark.parametrize("distance", [120.0, 155.0, 170.0])
def test_the_error_at_another_place_is_that_of_the_robot_built_so(tmp_path, distance):
    file = example_copy(tmp_path, ("distance: 200 mm", f"distance: {distance} mm"))
    built = find(evaluate(load_robot(file), samples=0), "sort.error.sorter").value
    moved = sorter_curves(nominal(example("mk1")))["sorter"].ejecting
    assert np.interp(distance / 1000.0, moved.distances, moved.errors) == pytest.approx(built, abs=2e-3)


@pytest.mark.parametrize("hue", [0.0, 100.0, 300.0])
def test_a_background_of_another_hue_is_that_of_the_robot_built_so(tmp_path, hue):
    file = example_copy(tmp_path, ("background: {hue: {value: 56 deg", f"background: {{hue: {{value: {hue} deg"))
    built = find(evaluate(load_robot(file), samples=0), "sort.background.sorter").value
    facing = sorter_curves(nominal(example("mk1")))["sorter"].facing
    assert np.interp(math.radians(hue), facing.hue, facing.clear_at) == pytest.approx(built, abs=0.02)


def test_densities_are_densities_and_arcs_a_whole_turn():
    curves = sorter_curves(nominal(example("mk1")))["sorter"]
    for cls in curves.classes:
        assert np.trapezoid(cls.density, curves.hue) == pytest.approx(1.0, abs=1e-3)
        assert np.degrees(cls.mean) == pytest.approx({"copper": 22.0, "indigo": 246.0}[cls.name], abs=0.5)
    arcs = [arc for cls in curves.classes for arc in cls.arcs]
    assert sum(width for _, width in arcs) == pytest.approx(2.0 * math.pi)
    columns = draw_hues.hue_circle(curves, METRIC).columns
    assert columns["threshold [°]"] == pytest.approx([math.degrees(start) for start, _ in arcs])
    assert columns["arc of class"] == [cls.name for cls in curves.classes]


# --- intake --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_holds_numbers_are_those_of_the_finding(name):
    said, curves = report(name), intake_curves(nominal(example(name)))["intake"]
    if name == "mk2":  # one motor turns both of its stages, so its file asks for no hold
        assert curves.hold is None
        assert not [f for f in said.findings if f.id.startswith("intake.hold")]
        return
    finding = find(said, "intake.hold_speed.intake")
    assert curves.hold.speed == pytest.approx(finding.value)
    assert curves.hold.limit == pytest.approx(finding.limit)
    gap = si(fact(said, "intake.hold_rest.intake"), "length")
    assert curves.hold.gap[0] <= gap <= curves.hold.gap[1]
    assert (curves.hold.held == 1.0) == (finding.verdict == "holds")


def test_a_staged_hold_followed_step_by_step_rests_where_the_curves_say():
    """Followed in steps of 20 microseconds: two noses, one clock, each stage braked a latency after a reading."""
    loaded = example("mk1")
    curves = intake_curves(nominal(loaded))["intake"]
    spec, view = loaded.nominal.mechanisms["intake"].hold, curves.hold
    lower, upper = (stage.speed for stage in curves.stages)
    spacing = max(lower / 4.0, curves.length)  # at the throughput of 4 Hz that the file wants
    for share in (0.0, 0.3, 0.6, 0.95):
        first, second = _followed((lower, upper), spec, curves.length, spacing, share)
        for at, ends in ((first, view.first_rest), (second, view.second_rest)):
            assert ends[0] - 1e-3 <= view.sensor + at <= ends[1] + 1e-3


def _followed(speeds, spec, length, spacing, share):
    """Noses at rest from the upper sensor, `share` of a period between the first nose there and the reading."""
    lower, upper = speeds
    step, period = 2e-5, spec.period
    first, second = -spec.handover, -spec.handover - spacing
    now, arrived, brake = 0.0, None, [math.inf, math.inf]
    speed = [upper, lower]
    tick = spec.handover / upper + share * period
    while max(speed) > 0.0 and now < 3.0:
        if first >= 0.0 and arrived is None:
            arrived = now
        if now >= tick:
            if brake[0] == math.inf and 0.0 <= first <= length:
                brake[0] = now + spec.latency
            if brake[0] < math.inf and brake[1] == math.inf and -spec.below <= second <= -spec.below + length:
                brake[1] = now + spec.latency
            tick += period
        for i in (0, 1):
            if now >= brake[i]:
                speed[i] = max(speed[i] - 0.5 * spec.deceleration * step, 0.0)  # a ball rolls: half the surface's
        first, second, now = first + speed[0] * step, second + speed[1] * step, now + step
    return first, second


def test_a_piece_takes_its_way_over_its_speed():
    curves = intake_curves(nominal(example("mk2")))["intake"]
    front, rear = curves.stages
    # grips 105 mm apart; of a ball of 100 mm a roller of 60 mm holds the chord on which the centres are within 80 mm
    held = sum(math.sqrt(0.08**2 - (0.08 - squeeze) ** 2) for squeeze in (0.008, 0.006))
    # then it rolls on by itself up a bend from 20 to 60 degrees, at 5/7 of gravity along the slope
    slope = (math.cos(math.radians(20)) - math.cos(math.radians(60))) / math.radians(40)
    left = math.sqrt(front.speed**2 - 2 * 5 / 7 * 9.80665 * slope * (0.105 - held))
    coasts = (0.105 - held) / (0.5 * (front.speed + left))
    by_hand = held / front.speed + coasts + 0.100 / rear.speed
    assert np.ptp(curves.traces[0].time) == pytest.approx(by_hand, rel=0.02)
    waits = [b.time[0] - a.time[0] for a, b in zip(curves.traces, curves.traces[1:], strict=False)]
    assert waits == pytest.approx([0.25, 0.25])  # 4 Hz are wanted


# --- path ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_waypoints_are_those_of_the_finding(name):
    said, curves = report(name), path_curves(nominal(example(name)))
    finding = find(said, "tracking.position")
    assert curves.worst.oval.reach == pytest.approx(si(finding, "length"))
    assert curves.wanted == pytest.approx(0.07)
    assert f"waypoint {curves.worst.place}" == finding.subject
    assert curves.worst.dominating in finding.because
    for waypoint in curves.waypoints:
        assert waypoint.oval.major == pytest.approx(si(fact(said, f"tracking.ellipse.{waypoint.number}"), "length"))
        assert sum(waypoint.shares.values()) == pytest.approx(1.0)
        assert list(waypoint.shares.values()) == sorted(waypoint.shares.values(), reverse=True)
    columns = draw_path.route_plan(curves, METRIC).columns
    assert max(columns["within, 95 % of runs [mm]"]) == pytest.approx(1000.0 * si(finding, "length"))


def test_relocation_narrows_the_ellipse_where_it_is_and_after():
    said, curves = report("mk2"), path_curves(nominal(example("mk2")))
    before, *rest = curves.waypoints
    assert before.oval == before.alone
    assert all(w.oval.reach < w.alone.reach for w in rest)
    assert curves.worst.alone.reach == pytest.approx(si(fact(said, "tracking.relocation"), "length"))
    assert [w.place for w in curves.waypoints if w.relocates] == ["copper bay"]


# --- match ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_timeline_tells_every_event(name):
    subject = nominal(example(name))
    found = timeline(subject)
    columns = draw_match.timeline(draw_match.Course(found, match_clock(subject)), METRIC).columns
    assert sum(columns["points"]) == pytest.approx(found.points)
    assert columns["begins [s]"] == [event.begins for event in found.events]
    assert columns["tank left [kPa]"] == pytest.approx([event.pressure["left"] / 1000.0 for event in found.events])
    assert columns["winding [°C]"] == pytest.approx([event.hottest - 273.15 for event in found.events])


def test_periods_are_those_of_the_season_and_the_reserve_that_of_the_plan():
    subject = nominal(example("mk1"))
    whole = match_clock(subject)
    assert [(p.name, p.begins, p.ends) for p in whole.periods] == [("autonomous", 0.0, 20.0), ("driven", 20.0, 120.0)]
    assert whole.reserve == pytest.approx(120.0 - 14.0)
    assert [(p.name, p.begins, p.ends) for p in match_clock(subject, "solo").periods] == [("solo", 0.0, 60.0)]
    assert match_clock(subject, "solo").reserve == pytest.approx(60.0 - 14.0)
    assert match_clock(subject, "autonomous").end == 20.0
    assert match_clock(subject, "autonomous").reserve is None
    assert [(p.name, p.begins, p.ends) for p in match_clock(subject, "driven").periods] == [("driven", 0.0, 100.0)]


@pytest.mark.parametrize("name", NAMES)
def test_the_histogram_holds_all_matches_and_the_forecasts_mean(name):
    forecast, found = played(name)
    columns = draw_score.distribution((found,), METRIC).columns
    shares = columns[f"{found.name}: share of matches [%]"]
    assert sum(shares) == pytest.approx(100.0)
    assert columns[f"{found.name}: mean points"] == [forecast.mean]
    assert found.points @ found.runs / found.runs.sum() == pytest.approx(forecast.mean)
    assert found.runs.sum() == forecast.runs == 200
    low, high = columns["points from"], columns["points below"]
    middles = (np.array(low) + np.array(high)) / 2.0
    assert middles @ np.array(shares) / 100.0 == pytest.approx(forecast.mean, abs=high[0] - low[0])
    inside = sum(n for p, n in zip(found.points, found.runs, strict=True) if found.band[0] <= p <= found.band[1])
    assert inside >= 0.9 * 200


def test_limits_are_those_of_the_forecast():
    forecast, _ = played("mk1")
    columns = draw_score.limits(forecast, METRIC).columns
    assert columns["share of matches [%]"] == [100.0 * limit.share for limit in forecast.limits]


# --- compare -------------------------------------------------------------------------------------------------------


def test_differences_are_those_of_the_comparison():
    found = compared()
    columns = draw_compare.differences(found, METRIC).columns
    assert columns["difference"] == [found.difference[0].difference]
    assert columns["difference, low"] == [found.interval[0].low]
    assert columns["points"][0] - columns["points of the first"][0] == pytest.approx(columns["difference"][0])


def test_the_flip_curve_crosses_zero_where_the_flip_is():
    (flip,) = compared().flip
    chances, gaps = (np.array(part) for part in zip(*flip.curve, strict=True))
    assert (gaps[0], gaps[-1]) == (flip.at_never, flip.at_always)
    assert chances == pytest.approx(np.linspace(0.0, 1.0, len(chances)))
    assert len(chances) >= 5
    assert np.all(np.diff(gaps) > 0.0)  # the more often it succeeds, the more points
    assert np.interp(0.0, gaps, chances) == pytest.approx(flip.chance, abs=0.02)


def test_criteria_list_every_limit_and_restate_units():
    found = compared()
    figure = draw_compare.criteria(found, METRIC)
    assert figure.columns["used"] == [used.used for used in found.limits_used]
    assert "8.52 kg of 9 kg" in figure.svg
    # 8.522 kg in pounds of 0.45359237 kg
    assert "18.8 lb of 19.8 lb" in draw_compare.criteria(found, Style(PRINT, "inch", 640.0)).svg


# --- margins -------------------------------------------------------------------------------------------------------


def test_margins_stand_on_one_scale_with_their_samples():
    said = evaluate(example("mk1"), samples=400)
    rows = margins_of(said)
    assert [row.margin for row in rows] == [f.margin for f in said.findings]
    for row, finding in zip(rows, said.findings, strict=True):
        if row.spread is None or finding.limit in (None, 0.0):
            continue
        low, high = row.spread
        assert low <= high
        # a chance of more than 97.5 % means that at most 2.5 % of the samples are short, and the other way round
        assert (low >= -1e-9) == (finding.chance >= 0.975) or finding.chance == pytest.approx(0.975, abs=0.01)
    mass = next(row for row in rows if row.id == "limits.mass")
    finding = find(said, "limits.mass")
    assert mass.spread == pytest.approx(tuple((9000.0 - end) / 9000.0 for end in reversed(finding.spread)))
