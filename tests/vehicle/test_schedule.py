"""The plan written out, against timetables worked out by hand with a robot that drives 1 m/s."""

from __future__ import annotations

import math

import pytest

from fieldworthy.files import BadInput
from fieldworthy.vehicle import state
from fieldworthy.vehicle.schedule import least_turn, way_between, written_out
from fieldworthy.vehicle.supply import air_along_plan
from robots import check, find, load, nominal

ACTIONS = {"grab": {"time": "2 s"}, "drop": {"time": "1 s"}, "climb": {"time": "5 s", "pose": "high"}}
POSES = {"high": {"use": "drive"}}


def at_a_metre_a_second(pose, distance, turn):
    """Travel time of an imagined robot; in the pose 'high' it is half as fast."""
    return distance * (2 if pose == "high" else 1) + turn


def timetable(folder, plan, periods=None, travel=at_a_metre_a_second):
    season = {"periods": periods or {}}
    loaded = load(folder, {"actions": ACTIONS, "poses": POSES, "plan": {"start": "a"} | plan}, season)
    return written_out(loaded.nominal, loaded.nominal_season, travel).beats


def step(action, at):
    return {"action": action, "at": at}


def test_ways_turns_and_times_follow_one_another(tmp_path):
    # a (0, 0), b (1.2, 0), c (1.2, 0.9): to b straight on, then a quarter turn to c
    beats = timetable(tmp_path, {"driven": [step("grab", "b"), step("drop", "c"), step("drop", "c")]})
    assert [(b.action, b.place, b.came_from) for b in beats] == [
        ("grab", "b", "a"),
        ("drop", "c", "b"),
        ("drop", "c", "c"),
    ]
    assert [b.distance for b in beats] == pytest.approx([1.2, 0.9, 0.0])
    assert [b.turn for b in beats] == pytest.approx([0.0, math.pi / 2, 0.0])
    # 20 s of autonomous pass first; then 1.2 + 2, then pi/2 + 0.9 + 1, then 1
    assert [b.begins for b in beats] == pytest.approx([21.2, 23.2 + math.pi / 2 + 0.9, 25.1 + math.pi / 2])
    assert [b.ends for b in beats] == pytest.approx([23.2, 25.1 + math.pi / 2, 26.1 + math.pi / 2])
    assert all(b.period == "driven" for b in beats)


def test_a_pose_travels_at_its_own_pace(tmp_path):
    (beat,) = timetable(tmp_path, {"driven": [step("climb", "b")]})
    assert (beat.leaves, beat.begins, beat.ends) == pytest.approx((20, 22.4, 27.4))


def test_repeat_by_times(tmp_path):
    rounds = {"repeat": [step("grab", "b"), step("drop", "a")], "times": 3}
    beats = timetable(tmp_path, {"driven": [rounds, step("drop", "a")]})
    assert [b.action for b in beats] == ["grab", "drop"] * 3 + ["drop"]
    # every way is straight there and straight back, backwards, so nothing turns
    assert beats[-1].ends == pytest.approx(20 + 3 * (1.2 + 2 + 1.2 + 1) + 1)


BIN = {"tasks": {"bin": {"points": 1, "per": "each", "object": "ball"}}}


@pytest.mark.parametrize(("supply", "grabs", "drops"), [(3, 3, 4), (0, 0, 1), (None, 9, 10)])
def test_a_driver_skips_what_finds_nothing_to_take_or_to_score(tmp_path, supply, grabs, drops):
    """By hand: one ball is on board and each grab takes one, so a season's three are scored with four drops."""
    ball = {"size": ["60 mm", "60 mm", "50 mm"], "mass": "0.1 kg"} | ({} if supply is None else {"supply": supply})
    carried = {"first": {"object": "ball", "count": 1, "position": ["0 m", "0 m", "0.1 m"]}}
    robot = {
        "actions": {
            "grab": {"time": "2 s", "takes": 1, "strokes": {"main": 1}},
            "drop": {"time": "1 s", "task": "bin"},
        },
        "air": {
            "tanks": {"one": {"tank": "test tank"}},
            "cylinders": {"main": {"cylinder": "test cylinder", "tank": "one", "valve": "test valve"}},
        },
        "poses": {"begin": {"use": "start", "carries": carried}},
        "plan": {"start": "a", "driven": [step("drop", "a"), {"repeat": [step("grab", "a"), step("drop", "a")],
                                                            "times": 9}, step("drop", "a")]},
    }  # fmt: skip
    loaded = load(tmp_path, robot, BIN | {"objects": {"ball": ball}})
    beats = written_out(loaded.nominal, loaded.nominal_season, at_a_metre_a_second).beats
    done = [b.action for b in beats]
    assert (done.count("grab"), done.count("drop")) == (grabs, drops)
    assert beats[-1].ends == pytest.approx(20.0 + 2.0 * grabs + drops)
    # the tank gives air for those grabs alone, out and back
    assert len(air_along_plan(nominal(loaded)).draws) == 2 * grabs


def test_repeat_until_begins_no_round_after_that_time_of_its_period(tmp_path):
    rounds = {"repeat": [step("grab", "b"), step("drop", "a")], "until": "12 s"}
    beats = timetable(tmp_path, {"driven": [rounds, step("drop", "a")]})
    # rounds begin at 0, 5.4 and 10.8 s of the driven period; the next would begin at 16.2 s
    assert [b.action for b in beats] == ["grab", "drop"] * 3 + ["drop"]
    assert beats[4].leaves == pytest.approx(20 + 10.8)
    both = timetable(tmp_path, {"driven": [rounds | {"times": 2}]})
    assert len(both) == 4


def test_what_does_not_fit_its_period_is_left_out_with_all_that_follows(tmp_path):
    plan = {"autonomous": [step("grab", "b"), step("climb", "c"), step("drop", "c")], "driven": [step("drop", "b")]}
    beats = timetable(tmp_path, plan, {"autonomous": "8 s"})
    # grab ends at 3.2 s; a quarter turn, 1.8 s there and 5 s of climbing would end at 11.6 s
    assert [(b.action, b.period) for b in beats] == [("grab", "autonomous"), ("drop", "driven")]
    # the robot has not moved on, nor has time passed beyond the period's start
    assert (beats[1].came_from, beats[1].leaves) == ("b", 8.0)
    assert beats[1].distance == 0


def test_an_action_that_ends_right_on_time_still_counts(tmp_path):
    beats = timetable(tmp_path, {"autonomous": [step("grab", "b")]}, {"autonomous": "3.2 s"})
    assert len(beats) == 1
    assert timetable(tmp_path, {"autonomous": [step("grab", "b")]}, {"autonomous": "3.19 s"}) == ()


def test_the_reserve_ends_the_driven_period_early(tmp_path):
    rounds = {"repeat": [step("grab", "b"), step("drop", "a")], "times": 50}
    finish = {"steps": [step("climb", "c")], "reserve": "14 s"}
    beats = timetable(tmp_path, {"driven": [rounds], "finish": finish})
    driven = [b for b in beats if b.period == "driven"]
    # rounds of 5.4 s from 20 s on; 15 of them end at 101 s, and a grab (3.2 s) more at 104.2 s; 106 s is the last
    assert driven[-1].action == "grab"
    assert driven[-1].ends == pytest.approx(20 + 15 * 5.4 + 3.2)
    (last,) = [b for b in beats if b.period == "finish"]
    assert last.leaves == driven[-1].ends <= 120 - 14
    without = timetable(tmp_path, {"driven": [rounds]})
    assert len(without) > len(driven)


def test_a_finish_that_does_not_fit_is_left_out(tmp_path):
    finish = {"steps": [step("climb", "c"), step("climb", "a")], "reserve": "3 s"}
    rounds = {"repeat": [step("grab", "b"), step("drop", "a")], "times": 50}
    beats = timetable(tmp_path, {"driven": [rounds], "finish": finish})
    assert [b for b in beats if b.period == "finish"] == []


def test_a_robot_that_never_arrives_does_nothing_where_it_must_go(tmp_path):
    beats = timetable(tmp_path, {"driven": [step("drop", "a"), step("grab", "b"), step("drop", "b")]},
                      travel=lambda *_: math.inf)  # fmt: skip
    assert [(b.action, b.place) for b in beats] == [("drop", "a")]


def test_a_round_that_takes_no_time_ends_all_the_same(tmp_path):
    actions = {"nothing": {"time": "0 s"}}
    rounds = {"repeat": [step("nothing", "a")], "until": "5 s"}
    loaded = load(tmp_path, {"actions": actions, "plan": {"start": "a", "driven": [rounds]}})
    beats = written_out(loaded.nominal, loaded.nominal_season, at_a_metre_a_second).beats
    assert 1 <= len(beats) <= 1000
    assert beats[-1].ends == 20


def test_without_a_plan_nothing_is_scheduled_and_pressures_are_unknown(tmp_path):
    assert state.schedule(nominal(load(tmp_path))) == ()


@pytest.mark.parametrize(("before", "after", "turn"), [(0, 0.4, 0.4), (0, 3.0, math.pi - 3.0), (-3, 3, 2 * math.pi - 6),
                                                       (0, math.pi, 0), (1, 1 + math.pi / 2, math.pi / 2)])  # fmt: skip
def test_the_second_way_may_be_driven_backwards(before, after, turn):
    assert least_turn(before, after) == pytest.approx(turn, abs=1e-12)


def test_ways_are_straight_lines(tmp_path):
    season = load(tmp_path).nominal_season
    assert way_between(season, "a", "c") == pytest.approx((1.5, math.atan2(0.9, 1.2)))


def test_the_robot_s_own_travel_times_fill_the_plan(tmp_path):
    """With the drive's own times the heat finding and the sprint agree on what a way takes."""
    robot = {"actions": ACTIONS, "poses": POSES, "plan": {"start": "a", "driven": [step("grab", "b")]},
             "drive": {"targets": {"sprint_distance": "1.2 m", "sprint_time": "9 s"}}}  # fmt: skip
    (beat,) = state.schedule(nominal(load(tmp_path, robot)))
    assert beat.begins - beat.leaves == pytest.approx(find(check(tmp_path, robot), "drive.sprint").value, rel=1e-12)


def test_a_repeat_without_an_end_is_refused_at_its_place(tmp_path):
    with pytest.raises(BadInput) as caught:
        timetable(tmp_path, {"driven": [{"repeat": [step("grab", "b")]}]})
    (problem,) = caught.value.problems
    assert problem.key == ("plan", "driven", 0, "repeat")
    assert "'times' or 'until'" in problem.expected
