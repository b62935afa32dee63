"""What to do next: practice and measurement by hand, plans that end early, and what fits into the hours."""

from __future__ import annotations

import json
import math

import pytest
from jsonschema import Draft202012Validator

from edge import run as command
from fieldworthy.decide.compare import compare
from fieldworthy.decide.work import Job, in_order, job, work_of
from fieldworthy.engine.evaluate import evaluate
from ringing import MANY, POINTS, SEASON, bot
from robots import EXAMPLES, GONE, changed, example, load

RUNS = 4000


@pytest.fixture
def put(tmp_path):
    """Writes a robot with the season into a folder of its own and reads it."""

    def write(robot, season=SEASON):
        folder = tmp_path / robot["robot"]
        folder.mkdir(exist_ok=True)
        return load(folder, robot, season)

    return write


def unpractised(name, rounds):
    """A robot whose action belongs to a mechanism that is not built, and was never tried: any chance is as likely."""
    return changed(bot(name, rounds, 0.5, action="swing"), {"actions": {"swing": {"practice": GONE}}})


def test_practice_is_worth_what_the_two_action_case_says_by_hand(put):
    """Three sure rings of 5 points against six swings of 5 points with a chance p of which nothing is known.

    Both earn 15 on average. Knowing p, the mean of max(15, 30 p) is 15 / 2 + (30 - 7.5) / 2 = 18.75: worth 3.75. After
    ten tries 0 to 10 successes are equally likely and the mean of p is (k + 1) / 12: from k = 6 on the swings are
    better, with 17.5, 20, 22.5, 25 and 27.5 points: (6 x 15 + 112.5) / 11 - 15 = 3.41 points.
    """
    one = put(
        changed(
            bot("one", 3, 0.9),
            {"actions": {"ring": {"practice": GONE}}, "mechanisms": {"ringer": {"build_time": "0 h"}}},
        )
    )
    work = compare([one, put(unpractised("two", 6))], RUNS).work
    known = {(a.key, a.tries): a for a in work.answers}
    perfect, ten = known["actions.swing.practice", None], known["actions.swing.practice", 10]
    assert perfect.points == pytest.approx(3.75, abs=3 * perfect.error)
    assert ten.points == pytest.approx(3.409, abs=3 * ten.error)
    assert perfect.error < 0.3
    assert ten.points < known["actions.swing.practice", 40].points < perfect.points
    assert known["everything", None].points == pytest.approx(3.75, abs=0.3)
    # two hours to build it; then a try takes its second and a minute to set up again
    assert ten.minutes == pytest.approx(120 + 10 * 61 / 60)
    practise = next(j for j in work.jobs if j.kind == "practise")
    assert practise.what.startswith("Build 'ringer', then try 'swing' ")
    tries = int(practise.what.split()[-5])
    assert practise.points == known["actions.swing.practice", tries].points
    assert practise.rate == pytest.approx(practise.points / (2 + tries * 61 / 3600))
    assert practise.day == pytest.approx(8 * practise.points)
    assert "Most of that hangs on how often 'swing' works" in work.told


@pytest.mark.parametrize("more", [{}, {"horn": {"kind": "plain", "can": ["blow"], "build_time": "1 h"}}])
def test_a_robot_is_not_built_twice_in_the_list_of_work(put, more):
    """Seven swings earn 17.5 on average against 15: 2.5 points for two hours, or for three with the horn.

    To build the ringer and try first is worth more an hour, (3 / 7) 15 + (4 / 7) 25 - 17.5 = 3.2 at most for 2.2 h.
    That builds all of the robot, and nothing more is to be built, only where there is no horn.
    """
    one = put(
        changed(
            bot("one", 3, 0.9),
            {"actions": {"ring": {"practice": GONE}}, "mechanisms": {"ringer": {"build_time": "0 h"}}},
        )
    )
    two = put(changed(unpractised("two", 7), {"mechanisms": more}))
    jobs = {j.kind: j for j in compare([one, two], RUNS).work.jobs}
    assert jobs["practise"].what.startswith("Build 'ringer', then try 'swing' ")
    assert jobs["practise"].builds == (() if more else ("two",))
    assert ("build" in jobs) == bool(more)
    if more:
        assert jobs["build"].builds == ("two",)
        assert jobs["build"].hours == pytest.approx(3.0)


def test_what_is_settled_needs_no_finding_out(put):
    work = compare([put(bot("one", 3, 0.9)), put(bot("two", 6, 0.9))], 1000).work
    assert not [j for j in work.jobs if j.kind in ("practise", "measure")]
    assert (
        work.told
        == "No practice and no measurement would change whether one or two is better: what is known settles it."
    )


def test_a_plan_that_ends_early_says_so_and_what_fits_in(put):
    """Ten rings of a second in a hundred seconds leave 90, in which ninety more earn 5 points at 0.6 each."""
    work = work_of(put(bot("one", 10, 0.6)), 1000)
    assert (work.spare.ends, work.spare.of) == (pytest.approx(30.0), 120.0)
    assert work.spare.fits == ("ring",)
    error = POINTS * math.sqrt(90 * 0.6 * 0.4 / 1000) + 90 * POINTS * math.sqrt(0.24 / MANY) / math.sqrt(200)
    assert work.spare.gain.points == pytest.approx(90 * POINTS * 0.6, abs=4 * error)
    assert work.spare.sentence.startswith(
        "The plan ends at 30 s of 120 s and leaves 90 s unused; 'ring', repeated in that time, brings 2"
    )
    plan = next(j for j in work.jobs if j.kind == "plan")
    assert plan.what == "Repeat 'ring' until the finish"
    assert plan.hours == 0
    assert work.jobs[0] is plan


def test_a_plan_that_fills_the_match_leaves_nothing(put):
    assert work_of(put(bot("one", 200, 0.6)), 200).spare is None


def test_spare_time_in_which_nothing_counts_any_more(put):
    season = {
        "tasks": {
            "bell": {"points": POINTS, "needs": ["ring"], "per": "each", "most": 1},
            "drum": SEASON["tasks"]["drum"],
        }
    }
    sure = changed(
        bot("one", 10, 0.9), {"actions": {"ring": {"practice": GONE}}, "mechanisms": {"ringer": {"build_time": "0 h"}}}
    )
    work = work_of(put(sure, season), 200)
    assert work.spare.sentence.endswith("none of its steps, repeated in that time, brings more points.")


def test_building_a_mechanism_gains_what_its_actions_earn(put):
    work = work_of(put(bot("one", 6, 0.6)), 2000)
    build = next(j for j in work.jobs if j.kind == "build")
    error = POINTS * math.sqrt(6 * 0.24 / 2000)
    assert build.points == pytest.approx(6 * POINTS * 0.6, abs=4 * error)
    assert build.hours == pytest.approx(2.0)
    assert build.rate == pytest.approx(build.points / 2.0)
    assert build.fits  # 2 of 5 h
    skill = work.skills[0] if work.skills else None
    assert skill is None or skill.points == pytest.approx(0.1 * 6 * POINTS, abs=3 * skill.error)


def test_work_stands_in_the_order_of_points_an_hour_and_fits_the_hours():
    jobs = [job("build", "a", 10.0, 8.0), job("practise", "b", 2.0, 0.5), job("plan", "c", 1.0, 0.0),
            job("build", "d", 4.0, 4.0), job("mend", "e", 30.0, None), job("measure", "f", 0.5, 1.0)]  # fmt: skip
    found = in_order(jobs, 9.0)
    # points an hour: b 4, a 1.25, d 1, f 0.5; after b and a, 0.5 h are left
    assert [j.what for j in found] == ["c", "b", "a", "d", "f", "e"]
    assert [j.fits for j in found] == [True, True, True, False, False, None]
    assert all(isinstance(j, Job) and j.fits is None for j in in_order(jobs, None))
    assert in_order([job("build", "nothing", 0.0, 1.0)], 9.0) == ()


def test_what_stops_an_action_is_named_with_what_it_costs():
    """The example's climb lacks air: worth 20 points at the (11 + 1) / (16 + 2) of its practice counts."""
    work = work_of(example("mk1"), 1000)
    stop = work.blocked[0]
    assert (stop.action, stop.reason) == ("climb", "air")
    assert stop.share > 0.99
    assert stop.gain.points == pytest.approx(20 * 12 / 18, abs=1.5)
    assert stop.sentence.startswith(
        "'climb' lacks air in over 99 % of its tries; nothing that the file leaves open turns that."
    )
    assert "Give 'climb' the air that it lacks (by then tank 'left' is below what 'hooks' needs)" in stop.sentence


def test_what_stops_an_action_without_air_is_named_too(tmp_path):
    """A winch that is asked for all its motors' torque and more: no tank and no cylinder has to do with it."""
    robot = {
        "mechanisms": {"winch": {"kind": "plain", "motors": [{"motor": "test motor"}]}},
        "actions": {"pull": {"time": "2 s", "motors": {"winch": "100 %"}, "task": "bell"}},
        "plan": {"start": "a", "driven": [{"action": "pull", "at": "a"}]},
    }
    season = {"tasks": {"bell": {"points": 5}}}
    [found] = work_of(load(tmp_path, robot, season), 200, 0).blocked
    assert (found.action, found.reason) == ("pull", "load")
    assert "its motors" in found.sentence
    assert "tank" not in found.sentence


def swinging(**more):
    """A tray on one cylinder that is used by two actions, each once, for 5 points each."""
    use = {"time": "2 s", "strokes": {"main": 1}}
    return changed({
        "air": {
            "supply": {"charge": "650 kPa"},
            "tanks": {"one": {"tank": "test tank"}},
            "cylinders": {"main": {"cylinder": "test cylinder", "tank": "one", "valve": "test valve"}},
        },
        "actions": {"tip": use | {"task": "bell"}, "drop": use | {"task": "gong"}},
        "plan": {"start": "a", "driven": [{"action": "tip", "at": "a"}, {"action": "drop", "at": "a"}]},
    }, more), {"tasks": {"bell": {"points": 5}, "gong": {"points": 5}}}  # fmt: skip


def test_what_would_lift_one_action_is_not_counted_for_another_on_the_same_cylinder(tmp_path):
    """By hand: without air neither scores; air for one of them brings its 5 points, not the other's."""
    starved = {"air": {"supply": {"charge": "50 kPa"}, "cylinders": {"main": {"push_load": "60 N"}}}}
    stops = work_of(load(tmp_path, *swinging(**starved)), 200, 0).blocked
    assert {(s.action, s.reason, s.gain.points) for s in stops} == {("tip", "air", 5.0), ("drop", "air", 5.0)}


def dead(folder, *, rod=55):
    """A lift that is dead with its pins 150.3 + 50.2 = 200.6 mm apart (Pythagoras); they reach 150 mm and a stroke."""
    arm = {"mass": "0.3 kg", "position": ["0.09 m", "0 m", "0.38 m"], "size": ["0.2 m", "0.2 m", "0.02 m"]}
    tray = {
        "kind": "lift", "rides": "arm", "side": "ahead", "pivot": ["-40 mm", "380 mm"], "brackets": "30 mm",
        "fixed_pin": ["-30 mm", "230 mm"], "arm_pin": ["10 mm", "375 mm"], "cylinder": "main", "swing": "60 deg",
    }  # fmt: skip
    rods = {"test cylinder": {"stroke": f"{rod} mm", "closed_length": "120 mm"}}
    robot, season = swinging(
        catalogue={"cylinders": rods}, parts={"arm": arm | {"rides": "arm"}}, mechanisms={"tray": tray}
    )
    return load(folder, robot, season)


@pytest.mark.parametrize("rod", [49.5, 50.2, 60])
def test_a_dead_point_is_told_as_geometry_and_never_as_a_lack_of_air(tmp_path, rod):
    """The rod ends 1.1 or 0.4 mm before the dead point, or 9.4 mm behind it: some, half or all robots meet it."""
    report = evaluate(dead(tmp_path, rod=rod), samples=200)
    found = {finding.id: finding for finding in report.findings}
    meets = found["lift.dead_point.tray"]
    assert meets.value == pytest.approx(200.57e-3 - (150e-3 + rod * 1e-3), abs=2e-4)
    assert meets.verdict == ("short" if rod == 60 else "close")
    air = [text.because for text in (*report.findings, *report.facts) if text.id.startswith("air.")]
    assert not [text for text in air if "cannot go out and back even once" in text or "No size of tank" in text]
    if rod < 50.57:
        assert found["air.pressure.main"].verdict == "holds"
    else:
        assert found["air.pressure"].verdict == "unknown"
        assert "that is its geometry, and no more air mends it" in found["air.pressure"].because


def test_no_air_is_asked_for_where_no_pressure_moves_the_mechanism(tmp_path):
    stops = work_of(dead(tmp_path), 200, 0).blocked
    assert {(s.action, s.reason) for s in stops} == {("tip", "unable"), ("drop", "unable")}
    # in a few robots that the tolerances allow the rod ends before the dead point: there nothing is lost
    assert min(s.share for s in stops) > 0.8
    assert [s.gain.points for s in stops] == pytest.approx([5.0 * s.share for s in stops], rel=1e-9)
    assert all("by lift.dead_point.tray" in s.sentence and "air" not in s.sentence for s in stops)


@pytest.mark.long
def test_the_command_prints_the_work_and_its_json_fits_the_schema():
    shown = command("match", str(EXAMPLES / "mk1.yaml"), "--runs", "400", "--sensitivity").out
    assert "What to do in the 14 h left, by points gained an hour" in shown
    assert "The plan ends at 72 s of 120 s and leaves 48 s unused" in shown
    before, _, after = shown.partition("What moves the points of a match most, one at a time")
    assert "'climb' lacks air" in after
    assert "climb" in before
    data = json.loads(command("match", str(EXAMPLES / "mk1.yaml"), "--runs", "400", "--json").out)
    schema = json.loads(command("schema", "match").out)
    Draft202012Validator(schema).validate(data)
    assert data["work"]["left"] == pytest.approx(14.0)
