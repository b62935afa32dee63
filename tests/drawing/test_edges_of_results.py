"""What there is to draw of robots that lack a mechanism, and of results at their edges."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from drawn import INFLUENCES, READINGS, STYLES, compared, played, sound
from fieldworthy.decide import figure as draw_compare
from fieldworthy.engine import figure as draw_margins
from fieldworthy.engine.figure import Margin, margins_of
from fieldworthy.engine.finding import Finding, Report
from fieldworthy.match import Event, MatchClock, Scores, Timeline, scores
from fieldworthy.match import figure as draw_match
from fieldworthy.match import figure as draw_score
from fieldworthy.match.forecast import Forecast, Tally
from fieldworthy.match.setup import setup
from fieldworthy.match.timeline import Period
from fieldworthy.measure import figure as draw_residuals
from fieldworthy.measure.result import Residuals
from fieldworthy.robot import load_robot
from fieldworthy.systems.air import figure as draw_air
from fieldworthy.systems.air.figure import AirCurves, TankCurve, air_curves
from fieldworthy.systems.intake import figure as draw_intake
from fieldworthy.systems.intake import side as draw_side
from fieldworthy.systems.intake.figure import intake_curves
from fieldworthy.systems.sorter import figure as draw_hues
from fieldworthy.systems.sorter.figure import sorter_curves
from fieldworthy.systems.tracking import figure as draw_path
from fieldworthy.systems.tracking.figure import Leg, PathCurves, path_curves
from robots import example, example_copy, load, nominal

PLAN = {"start": "a", "driven": [{"action": "push", "at": "b"}]}
ACTIONS = {"push": {"time": "1 s", "strokes": {"arm": 2}}}
ARM = {"cylinder": "test cylinder", "tank": "only", "valve": "test valve", "push_load": "30 N"}
TANK = {"tank": "test tank"}


def drawn(draw, data) -> None:
    """Draw in every style and hold to what every figure must be."""
    for style in STYLES:
        figure = draw(data, style)
        assert figure is not None
        sound(figure, style)


# --- robots --------------------------------------------------------------------------------------------------------


def test_a_robot_without_air_intake_sorter_or_plan_has_none_of_their_figures(tmp_path):
    subject = nominal(load(tmp_path))
    assert air_curves(subject) is None
    assert path_curves(subject) is None
    assert intake_curves(subject) == {}
    assert sorter_curves(subject) == {}


def test_a_plan_without_tracking_gives_a_route_without_errors(tmp_path):
    curves = path_curves(nominal(load(tmp_path, {"plan": PLAN, "actions": {"push": {"time": "1 s"}}})))
    assert curves.waypoints == ()
    assert [(leg.start, leg.end, leg.period) for leg in curves.legs] == [("a", "b", "driven")]
    assert curves.worst is None
    drawn(draw_path.route_plan, curves)
    assert draw_path.sources(curves, STYLES[0]) is None


def test_one_tank_and_one_cylinder(tmp_path):
    air = {"tanks": {"only": TANK}, "cylinders": {"arm": ARM}}
    curves = air_curves(nominal(load(tmp_path, {"air": air, "plan": PLAN, "actions": ACTIONS})))
    assert curves.layout == {"arm": "only"}
    assert len(curves.tanks[0].strokes) == 4
    drawn(draw_air.pressures, curves)
    drawn(draw_air.pressures_by_stroke, curves)


def test_twenty_cylinders_on_one_tank_all_have_their_names(tmp_path):
    cylinders = {f"arm {i}": ARM | {"push_load": f"{10 + i} N"} for i in range(20)}
    robot = {"air": {"tanks": {"only": TANK}, "cylinders": cylinders}, "plan": PLAN,
             "actions": {"push": {"time": "1 s", "strokes": dict.fromkeys(cylinders, 1)}}}  # fmt: skip
    curves = air_curves(nominal(load(tmp_path, robot)))
    drawn(draw_air.pressures, curves)
    assert all(f">arm {i} " in draw_air.pressures(curves, STYLES[0]).svg for i in range(20))


def test_a_cylinder_whose_need_is_unknown_has_no_level(tmp_path):
    bare = {key: value for key, value in ARM.items() if key != "push_load"}
    air = {"tanks": {"only": TANK}, "cylinders": {"arm": bare, "idle": ARM}}
    curves = air_curves(nominal(load(tmp_path, {"air": air, "plan": PLAN, "actions": ACTIONS})))
    arm, idle = curves.tanks[0].levels
    assert (arm.need, arm.margin, arm.short) == (None, None, None)
    assert (idle.lowest, idle.margin) == (None, None)
    assert idle.need > 0.0
    assert curves.worst is None
    drawn(draw_air.pressures, curves)


def test_cylinders_that_no_action_moves_give_no_figure(tmp_path):
    air = {"tanks": {"only": TANK}, "cylinders": {"arm": ARM}}
    still = {"push": {"time": "1 s"}}
    assert air_curves(nominal(load(tmp_path, {"air": air, "plan": PLAN, "actions": still}))) is None


def test_a_regulator_bounds_what_a_stroke_gets_and_a_leak_bends_the_line(tmp_path):
    air = {
        "supply": {"charge": "700 kPa"},
        "tanks": {"only": TANK | {"regulator": "250 kPa", "leak_half_time": "0.05 min"}},
        "cylinders": {"arm": ARM},
    }
    curves = air_curves(nominal(load(tmp_path, {"air": air, "plan": PLAN, "actions": ACTIONS})))
    (tank,) = curves.tanks
    assert tank.setting == pytest.approx(250e3)
    assert all(stroke.filled <= 250e3 + 1.0 for stroke in tank.strokes)
    # gauge pressure halves in 3 s: by the definition of a half time
    assert np.interp(3.0, tank.time, tank.gauge) < np.interp(0.0, tank.time, tank.gauge)
    before = tank.strokes[0].time
    wait = tank.gauge[tank.time < before][-1] / tank.charge
    assert wait == pytest.approx(2.0 ** (-tank.time[tank.time < before][-1] / 3.0), rel=1e-6)
    drawn(draw_air.pressures, curves)


def test_an_empty_tank_is_drawn():
    flat = np.array([0.0, 120.0])
    tank = TankCurve("spare", flat, flat * 0.0, flat * 0.0, 0.0, None, (), ())
    drawn(draw_air.pressures, AirCurves((tank,), 20.0, 120.0))
    drawn(draw_air.pressures_by_stroke, AirCurves((tank,), 0.0, 120.0))


def test_an_intake_that_stalls_is_left_out(tmp_path):
    file = example_copy(tmp_path, ("press: 6 N", "press: 600 N"))
    assert intake_curves(nominal(load_robot(file))) == {}


def test_pieces_that_come_too_close_pile_up(tmp_path):
    # 12 a second at 1.67 m/s come 139 mm apart: more than their length, less than the 194 mm that the check asks for
    file = example_copy(tmp_path, ("throughput: 4 Hz", "throughput: 12 Hz"))
    curves = intake_curves(nominal(load_robot(file)))["intake"]
    assert curves.gaps[0] > 0.0 > curves.gaps[1]
    assert len(curves.piles) == 2
    for pile, before, after in zip(curves.piles, curves.traces, curves.traces[1:], strict=False):
        # the nose of the second is then just a length behind that of the first
        ahead = np.interp(pile.time, before.time, before.place) - pile.place
        assert ahead == pytest.approx(curves.length, abs=1e-6)
        assert np.interp(pile.time, after.time, after.place) == pytest.approx(pile.place)
    drawn(draw_intake.through, curves)
    assert "catches up" in draw_intake.through(curves, STYLES[0]).alt


def test_a_piece_that_rests_between_stages_and_an_intake_without_hold():
    curves = intake_curves(nominal(example("mk1")))["intake"]
    stuck = dataclasses.replace(curves, rest=0.103, hold=None, ball=False)
    drawn(draw_intake.through, stuck)
    assert draw_intake.hold(stuck, STYLES[0]) is None
    drawn(draw_side.frame, draw_side.Moment(stuck, 0.05, holding=True))


def test_one_stage_alone_and_a_hooked_one():
    curves = intake_curves(nominal(example("mk1")))["intake"]
    hooked = dataclasses.replace(curves.stages[0], hooked=True, climb=-0.3)
    alone = dataclasses.replace(curves, stages=(hooked,), meetings=(), hold=None)
    drawn(draw_intake.through, alone)
    drawn(draw_side.frame, draw_side.Moment(alone, 0.02))


def test_a_sorter_of_one_class_without_background_or_ejector():
    curves = sorter_curves(nominal(example("mk1")))["sorter"]
    bare = dataclasses.replace(curves, classes=curves.classes[:1], facing=None, ejecting=None, coloured=False)
    drawn(draw_hues.hue_circle, bare)
    for draw in (draw_hues.background, draw_hues.sensor_place, draw_hues.eject_window):
        assert draw(bare, STYLES[0]) is None


def test_an_ejector_that_is_too_late_says_by_how_much():
    curves = sorter_curves(nominal(example("mk1")))["sorter"]
    late = dataclasses.replace(curves.ejecting, margin=-0.02, ready=0.147, opens=0.03, error=0.5)
    drawn(draw_hues.eject_window, dataclasses.replace(curves, ejecting=late))
    drawn(draw_hues.sensor_place, dataclasses.replace(curves, ejecting=dataclasses.replace(late, allowed=None)))
    assert "0.02 s too late" in draw_hues.eject_window(dataclasses.replace(curves, ejecting=late), STYLES[0]).alt


# --- results -------------------------------------------------------------------------------------------------------


def test_a_path_of_no_length_and_places_off_the_field():
    spot = {"a": (0.0, 0.0), "b": (0.0, 0.0), "far": (9.0, -9.0)}
    legs = (Leg("a", "b", 1, "autonomous"), Leg("b", "far", 2, "driven"))
    drawn(draw_path.route_plan, PathCurves((3.6, 1.2), spot, "a", legs, (), None))
    drawn(draw_path.route_plan, PathCurves((1.2, 3.6), {}, "a", (), (), 0.05))


def test_many_waypoints_show_those_where_it_knows_its_place_least():
    curves = path_curves(nominal(example("mk2")))
    many = tuple(dataclasses.replace(w, number=i + 1) for i, w in enumerate(curves.waypoints * 6))
    drawn(draw_path.route_plan, dataclasses.replace(curves, waypoints=many))
    drawn(draw_path.sources, dataclasses.replace(curves, waypoints=many))
    exact = tuple(
        dataclasses.replace(w, shares={}, oval=dataclasses.replace(w.oval, major=0.0, minor=0.0, reach=0.0), alone=None)
        for w in curves.waypoints
    )
    drawn(draw_path.route_plan, dataclasses.replace(curves, waypoints=exact, wanted=None))
    assert draw_path.sources(dataclasses.replace(curves, waypoints=exact), STYLES[0]) is None


def _event(reason: str, begins: float, **more) -> Event:
    base = Event(
        begins - 1.0, begins, begins + 2.0, "driven", "push", "b", 0.0, 0.0, reason, {}, "drive", 300.0, 10.0, 12.0
    )
    return dataclasses.replace(base, **more)


def test_matches_without_events_without_tanks_and_with_many_failures():
    times = MatchClock((Period("driven", 0.0, 100.0),), None)
    drawn(draw_match.timeline, draw_match.Course(Timeline((), 0.0, 3960.0), times))
    reasons = ["luck", "time", "air", "heat", "objects", "battery", "load", "full", "done"]
    events = tuple(_event(reason, 10.0 * i + 1.0, place=f"b{i}") for i, reason in enumerate(reasons))
    found = Timeline(events, 0.0, 3960.0)
    drawn(draw_match.timeline, draw_match.Course(found, times))
    figure = draw_match.timeline(draw_match.Course(found, times), STYLES[1])
    assert "7 fail, the first 'push' at 1 s: the try fails" in figure.alt
    assert "and 2 more that fail" in figure.svg


def test_scores_that_are_all_equal_and_variants_of_one_name():
    same = Scores("Same", np.array([12.0]), np.array([50.0]), 12.0, None, (12.0, 12.0))
    drawn(draw_score.distribution, (same,))
    columns = draw_score.distribution((same, same), STYLES[0]).columns
    assert "Same (1): mean points" in columns
    assert max(columns["Same (2): share of matches [%]"]) == 100.0
    broken = Scores("Halves", np.array([-1.5, 0.0, 2.25]), np.ones(3), 0.25, (0.0, 0.5), (-1.5, 2.25))
    drawn(draw_score.distribution, (broken, same))
    with pytest.raises(ValueError, match="one robot at least"):
        draw_score.distribution((), STYLES[0])


def test_no_match_played_gives_no_scores_and_nothing_that_limits():
    forecast, _ = played("mk1")
    none = dataclasses.replace(forecast, runs=0, mean=None, limits=(), quantiles={})
    assert isinstance(none, Forecast)
    assert scores(Tally(setup(nominal(example("mk1")))), none) is None
    drawn(draw_score.limits, none)
    drawn(draw_score.limits, dataclasses.replace(forecast, limits=()))


def test_a_flip_without_an_action_and_one_that_never_turns():
    (flip,) = compared().flip
    assert draw_compare.flip(dataclasses.replace(flip, action=None, curve=()), STYLES[0]) is None
    never = dataclasses.replace(flip, chance=None, practised=None, curve=((0.0, 3.0), (1.0, 9.0)))
    drawn(draw_compare.flip, never)
    assert "no chance makes both score the same" in draw_compare.flip(never, STYLES[0]).alt
    drawn(draw_compare.flip, dataclasses.replace(never, curve=((0.0, 0.0), (1.0, 0.0))))


def test_comparisons_with_nothing_known_with_equals_and_with_too_much():
    found = compared()
    even = dataclasses.replace(found.difference[0], difference=0.0)
    flat = dataclasses.replace(found.interval[0], low=0.0, high=0.0)
    drawn(draw_compare.differences, dataclasses.replace(found, difference=(even,), interval=(flat,)))
    hours = tuple(dataclasses.replace(h, left=None) for h in found.hours)
    unknown = tuple(dataclasses.replace(u, used=None, share=None) for u in found.limits_used)
    drawn(draw_compare.criteria, dataclasses.replace(found, hours=hours, limits_used=unknown))
    late = tuple(dataclasses.replace(h, needed=99.0, left=0.0, enough="no") for h in found.hours)
    over = (dataclasses.replace(found.limits_used[0], share=1.7), *found.limits_used[1:])
    drawn(draw_compare.criteria, dataclasses.replace(found, hours=late, limits_used=over))
    assert "1 of" in draw_compare.criteria(dataclasses.replace(found, limits_used=over), STYLES[0]).alt


def test_nothing_that_moves_the_points():
    drawn(draw_compare.sensitivity, ())
    drawn(draw_compare.sensitivity, INFLUENCES[1:])


def _finding(**more) -> Finding:
    base = Finding("a.b", "c", 1.0, 2.0, "m", "at least", -0.5, 0.1, (0.9, 1.1), "short", "Short.", (), {}, None, ())
    return dataclasses.replace(base, **more)


def test_margins_that_are_unknown_clipped_unsampled_or_at_a_limit_of_zero():
    findings = (
        _finding(),
        _finding(value=None, margin=-10.0),
        _finding(verdict="unknown", value=None, limit=None, margin=None, spread=None, chance=None),
        _finding(spread=None),
        _finding(value=0.2, limit=0.0, margin=0.5, spread=(0.1, 0.3), verdict="holds"),
        _finding(value=0.0, limit=0.0, margin=0.0, spread=(-0.1, 0.1)),
        _finding(value=3.0, limit=2.0, margin=-0.5, need="at most", spread=(2.0, 5.0)),
    )
    rows = margins_of(Report("r", "s", findings, (), (), 10, 0, ()))
    # by hand: gap to the limit over the size that a margin of 1 stands for
    wanted = [(-0.55, -0.45), None, None, None, (0.25, 0.75), None, (-1.5, 0.0)]
    for row, spread in zip(rows, wanted, strict=True):
        assert row.spread == (None if spread is None else pytest.approx(spread))
    drawn(draw_margins.margins, rows)
    drawn(draw_margins.margins, ())
    drawn(draw_margins.margins, (Margin("x", "y", "holds", 10.0, None, 1.0, ""),))


def test_residuals_of_none_of_one_and_of_equal_readings():
    none = Residuals("None", "time", "time", (), "mass", (), ())
    one = Residuals("One", "time", "time", (3.0,), "mass", (1.0,), (1.0,))
    zero = Residuals("Zero", "reading", "", (0.0, 0.0), "force", (0.0, 0.0), (0.0, 0.0))
    many = Residuals("Many", "reading", "", (0.0,) * 60, "angle", (0.1,) * 60, (0.2,) * 60)
    for data in (none, one, zero, many):
        for draw in (draw_residuals.agreement, draw_residuals.residuals):
            figure = draw(data, STYLES[0])
            assert figure.alt.endswith(".")
            if data is not none:
                drawn(draw, data)


def test_a_difference_of_temperatures_is_not_moved_by_the_ice_point():
    columns = draw_residuals.residuals(READINGS[2], STYLES[0]).columns
    assert columns["left over [K]"] == pytest.approx([-1.0, 0.5])
    assert columns["measured [°C]"] == pytest.approx([293.0 - 273.15, 301.0 - 273.15])


def test_the_hue_of_a_class_is_shown_in_degrees():
    curves = sorter_curves(nominal(example("mk1")))["sorter"]
    assert draw_hues.hue_circle(curves, STYLES[0]).columns["mean [°]"][0] == pytest.approx(
        math.degrees(curves.classes[0].mean)
    )
