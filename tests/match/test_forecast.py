"""The forecast: exact expectations by enumeration, what ends an action, seeds and cores, sums that stay small."""

from __future__ import annotations

import itertools
import subprocess
import sys

import numpy as np
import pytest
from scipy import stats

from fieldworthy.files import BadInput
from fieldworthy.match import blocks, forecast, play_runs, played, setup, with_chance
from fieldworthy.match.state import REASONS
from fieldworthy.match.timeline import match_clock
from robots import GONE, changed, load, nominal

TASKS = {"goal": {"points": 3, "object": "ball", "autonomous_bonus": 2}, "hang": {"points": 20, "per": "once"}}
SEASON = {"tasks": TASKS}
ACTIONS = {
    "take": {"time": "1 s", "takes": 1, "practice": {"successes": 5, "attempts": 10}},
    "put": {"time": "1 s", "task": "goal", "practice": {"successes": 7, "attempts": 10}},
    "climb": {"time": "3 s", "task": "hang", "practice": {"successes": 2, "attempts": 10}},
}


def step(action, at):
    return {"action": action, "at": at}


ROUND = [step("take", "b"), step("put", "a")]
PLAN = {
    "start": "a",
    "autonomous": ROUND,
    "driven": [{"times": 2, "repeat": ROUND}],
    "finish": {"steps": [step("climb", "c")], "reserve": "20 s"},
}


def loaded(folder, robot=None, season=None):
    return load(folder, changed({"actions": ACTIONS, "plan": PLAN}, robot or {}), changed(SEASON, season or {}))


def match_of(folder, robot=None, season=None, part="whole"):
    return setup(nominal(loaded(folder, robot, season)), part)


def reasons(match, **options):
    return [(e.action, e.reason) for e in played(match, **options).events]


# a plan's birth and death, enumerated

CHANCES = {"take": 0.6, "put": 0.7, "climb": 0.25}


def enumerated(chances):
    """Every way a match of `PLAN` can go, with its probability and points, by the rules as the file states them."""
    tries = ["take", "put"] * 3 + ["climb"]
    found = []
    for won in itertools.product((True, False), repeat=len(tries)):
        probability = np.prod([chances[a] if w else 1 - chances[a] for a, w in zip(tries, won, strict=True)])
        held, points = 0, 0.0
        for i, (action, worked) in enumerate(zip(tries, won, strict=True)):
            if action == "take":
                held += worked
            elif action == "put":
                points += (held > 0 and worked) * (5.0 if i < 2 else 3.0)
                held = max(held - 1, 0)
            else:
                points += 20.0 * worked
        found.append((probability, points))
    return np.array(found).T


def test_points_are_what_enumeration_gives(tmp_path, evidence):
    match = match_of(tmp_path)
    for action, chance in CHANCES.items():
        match = with_chance(match, action, chance)
    probability, points = enumerated(CHANCES)
    assert probability.sum() == pytest.approx(1.0)
    mean = probability @ points
    sd = np.sqrt(probability @ (points - mean) ** 2)
    runs = play_runs(match, 40_000, seed=3)
    ways = np.unique(points)
    evidence(
        "match",
        "Chance of each number of points",
        "every way the match can go, enumerated",
        "seven actions with chances of 0.25 to 0.7; 40,000 matches",
        "share",
        [(runs.points == value).mean() for value in ways],
        [probability[points == value].sum() for value in ways],
    )
    # sampling error: 4 standard errors either way
    assert runs.points.mean() == pytest.approx(mean, abs=4 * sd / 200)
    assert runs.points.std() == pytest.approx(sd, rel=0.03)
    for value in np.unique(points):
        share = probability[points == value].sum()
        assert (runs.points == value).mean() == pytest.approx(share, abs=4 * np.sqrt(share / 40_000))


def test_practice_counts_give_the_posterior_of_the_chance(tmp_path):
    # two tries of one action in a run share its chance: both succeed with E[p^2] of Beta(3, 9)
    plan = {"plan": {"autonomous": [], "driven": [step("climb", "c"), step("climb", "c")], "finish": GONE}}
    runs = play_runs(match_of(tmp_path, plan, {"tasks": {"hang": {"per": "each"}}}), 40_000, seed=5)
    belief = stats.beta(3, 9)
    both, none = belief.moment(2), 1 - 2 * belief.mean() + belief.moment(2)
    for value, share in ((40, both), (0, none), (20, 1 - both - none)):
        assert (runs.points == value).mean() == pytest.approx(share, abs=4 * np.sqrt(share / 40_000))


def test_times_spread_as_the_file_says(tmp_path):
    # a climb of 3 +- 1 s that has 4 s to the whistle: done in time with the lognormal's probability
    plan = {"plan": {"start": "c", "autonomous": [], "driven": [step("climb", "c")], "finish": GONE}}
    robot = changed(plan, {"actions": {"climb": {"spread": "1 s"}}})
    match = with_chance(match_of(tmp_path, robot, {"periods": {"driven": "4 s"}}), "climb", 1.0)
    runs = play_runs(match, 40_000)
    sd = np.sqrt(np.log1p(1 / 9))
    share = stats.lognorm(sd, scale=3 * np.exp(-(sd**2) / 2)).cdf(4.0)
    assert (runs.points > 0).mean() == pytest.approx(share, abs=4 * np.sqrt(share * (1 - share) / 40_000))
    late = runs.ended[:, 0, REASONS.index("time")]
    assert late.mean() == pytest.approx(1 - share, abs=4 * np.sqrt(share * (1 - share) / 40_000))


# what ends an action, each provoked

AIR = {
    "air": {
        "supply": {"charge": "600 kPa"},
        "tanks": {"left": {"tank": "test tank", "leak_half_time": "1000 min"}},
        "cylinders": {"arm": {"cylinder": "test cylinder", "tank": "left", "valve": "test valve", "needs": "300 kPa"}},
    },
    "actions": {"put": {"strokes": {"arm": 4}}},
}
DRIVEN = {"plan": {"autonomous": [], "driven": [{"times": 5, "repeat": ROUND}], "finish": GONE}}


def test_air_runs_out_where_the_mass_balance_says(tmp_path):
    match = match_of(tmp_path, changed(AIR, DRIVEN))
    puts = [e for e in played(match).events if e.action == "put"]
    # by hand: every stroke equalises tank and chamber, of 200 mL, bore 16 and rod 6 mm, stroke 50 mm, 400 mm of 2.5 mm
    # tube and 0.4 mL dead on each side; a hair of leak
    dead = np.pi / 4 * 0.0025**2 * 0.4 + 0.4e-6
    swept = (np.pi / 4 * 0.016**2 * 0.05, np.pi / 4 * (0.016**2 - 0.006**2) * 0.05)
    p_atm, p, expected = 101325.0, 701325.0, []
    for _ in puts:
        enough = True
        for way in swept * 4:
            p = max((p * 200e-6 + p_atm * dead) / (200e-6 + dead + way), p_atm)  # a stroke without air stops short
            enough = enough and p - p_atm >= 300e3
        expected.append(("done" if enough else "air", p - p_atm))
    assert [e.reason for e in puts] == [reason for reason, _ in expected]
    assert {"done", "air"} == {e.reason for e in puts}
    assert [e.pressure["left"] for e in puts] == pytest.approx([gauge for _, gauge in expected], rel=5e-3)


def test_a_hot_mechanism_fails_for_heat_and_a_weak_one_for_its_load(tmp_path):
    mechanism = {"mechanisms": {"arm": {"kind": "plain", "motors": [{"motor": "test motor"}]}}}
    use = changed(changed(mechanism, DRIVEN), {"actions": {"put": {"motors": {"arm": 0.6}}}})
    # 60 % of stall torque takes 0.13 + 0.6 (3.6 - 0.13) = 2.21 A: allowed at 2.5 A, not at half of it
    assert {r for a, r in reasons(match_of(tmp_path, use)) if a == "put"} == {"done"}
    hot = {"catalogue": {"motors": {"test motor": {"derating": [{"above": "19 degC", "factor": 0.5}]}}}}
    assert {r for a, r in reasons(match_of(tmp_path, changed(use, hot))) if a == "put"} == {"heat"}
    weak = {"catalogue": {"motors": {"test motor": {"current_limit": "2.2 A"}}}}
    assert {r for a, r in reasons(match_of(tmp_path, changed(use, weak))) if a == "put"} == {"load"}


def test_a_drive_that_is_cut_back_too_far_stands_still_and_waits(tmp_path):
    hot = {"catalogue": {"motors": {"test motor": {"derating": [{"above": "19 degC", "factor": 0.06}]}}}}
    events = played(match_of(tmp_path, changed(hot, DRIVEN))).events
    assert events[0].reason == "heat"
    assert events[0].ends - events[0].leaves == 5.0  # the pause before the next action
    assert events[-1].ends <= 120.0


def test_a_battery_that_is_empty_ends_the_match(tmp_path):
    small = {"catalogue": {"batteries": {"test battery": {"capacity": "0.002 A*h"}}}}
    events = played(match_of(tmp_path, changed(small, DRIVEN))).events
    assert [e.reason for e in events][-1] == "battery"
    assert events[-2].charge >= 0.002 * 3600 > events[-3].charge


def test_time_runs_out_in_each_period_as_it_should(tmp_path):
    # the driver goes to the finish in time; what the whistle cuts off is not done
    plan = {"plan": {"autonomous": [{"times": 50, "repeat": ROUND}], "driven": [{"times": 50, "repeat": ROUND}]}}
    match = match_of(tmp_path, plan)
    events = played(match).events
    early = [e for e in events if e.period == "autonomous"]
    assert early[-1].reason == "time"
    assert early[-1].ends <= 20.0
    driven = [e for e in events if e.period == "driven"]
    assert driven[0].leaves == 20.0
    assert driven[-1].reason == "time"
    assert all(e.ends <= 100.0 for e in driven)
    assert events[-1].action == "climb"
    assert events[-1].reason == "done"
    assert events[-1].leaves <= 100.0


def test_objects_must_be_on_board_and_a_driver_does_not_carry_nothing(tmp_path):
    match = with_chance(match_of(tmp_path, DRIVEN), "take", 0.0)
    events = played(match, run=0).events
    assert {e.reason for e in events if e.action == "take"} == {"luck"}
    puts = [e for e in events if e.action == "put"]
    assert {(e.reason, e.ends - e.leaves) for e in puts} == {("objects", 0.0)}
    # a program drives there all the same
    program = with_chance(match_of(tmp_path, {"plan": {"driven": []}}), "take", 0.0)
    assert [e.ends > e.leaves for e in played(program, run=0).events if e.action == "put"] == [True]


def test_the_supply_of_a_season_and_its_most_are_kept(tmp_path):
    short = match_of(tmp_path, DRIVEN, {"objects": {"ball": {"supply": 2}}})
    assert played(short).points == 2 * 3
    assert [r for a, r in reasons(short) if a == "take"] == ["done"] * 2 + [
        "objects"
    ]  # a round of nothing ends the list
    full = match_of(tmp_path, DRIVEN, {"tasks": {"goal": {"most": 3}}})
    assert played(full).points == 3 * 3
    assert [r for a, r in reasons(full) if a == "put"] == ["done"] * 3 + ["full"] * 2


def test_what_is_on_board_at_the_start_counts(tmp_path):
    ball = {"object": "ball", "position": ["0 m", "0 m", "0.2 m"]}
    robot = {"poses": {"start": {"use": "start", "carries": {"ball": ball}}}}
    plan = {"plan": {"autonomous": [step("put", "b"), step("take", "a")], "driven": [], "finish": GONE}}
    assert played(match_of(tmp_path, changed(robot, plan))).points == 5


def test_a_list_that_can_do_nothing_ends(tmp_path):
    endless = {"plan": {"autonomous": [], "driven": [{"until": "90 s", "repeat": [step("put", "a")]}, *ROUND]}}
    match = match_of(tmp_path, endless)
    assert reasons(match)[0] == ("put", "objects")
    assert len(reasons(match)) == 4


@pytest.mark.parametrize("time", ["0 s", "0.01 s"])
def test_a_list_whose_actions_take_no_time_goes_on_while_there_is_something_to_do(tmp_path, time):
    """By hand: of seven balls each is taken and put once, for 3 points; a round without a ball is the last."""
    quick = {name: {"time": time} for name in ("take", "put")}
    here = {"until": "90 s", "repeat": [step("take", "a"), step("put", "a")]}
    robot = {"actions": quick, "plan": {"autonomous": [], "driven": [here], "finish": GONE}}
    found = played(match_of(tmp_path, robot, {"objects": {"ball": {"supply": 7}}}))
    assert found.points == 7 * 3
    assert [e.reason for e in found.events] == ["done"] * 14 + ["objects"] * 2


def test_a_list_is_repeated_until_its_time(tmp_path):
    until = {"plan": {"autonomous": [], "driven": [{"until": "30 s", "repeat": ROUND}], "finish": GONE}}
    events = played(match_of(tmp_path, until)).events
    begins = [e.leaves for e in events if e.action == "take"]
    assert all(t < 50.0 for t in begins)  # 20 s of autonomous before
    assert events[-1].ends >= 50.0


# parts, seeds, cores, blocks


@pytest.mark.parametrize(
    ("part", "actions", "begins"),
    [("whole", 7, 0.0), ("autonomous", 2, 0.0), ("driven", 5, 0.0), ("solo", 5, 0.0)],
)
def test_parts_of_a_match(tmp_path, part, actions, begins):
    match = match_of(tmp_path, season={"periods": {"solo": "60 s"}}, part=part)
    events = played(match).events
    assert len(events) == actions
    assert events[0].leaves == begins
    assert all(e.ends <= {"autonomous": 20, "solo": 60, "driven": 100, "whole": 120}[part] for e in events)


SOLO = {"start": "b", "steps": [{"action": "take", "at": "c"}, {"times": 2, "repeat": ROUND}],
        "finish": {"steps": [{"action": "take", "at": "a"}], "reserve": "15 s"}}  # fmt: skip


def test_a_solo_run_of_its_own(tmp_path):
    """The same steps written as the driven period of another file play alike; the match itself does not change."""
    times = {"periods": {"solo": "60 s"}}
    own = match_of(tmp_path, {"plan": {"solo": SOLO}}, times, part="solo")
    events = played(own).events
    assert [e.action for e in events][:2] == ["take", ROUND[0]["action"]]
    assert (events[0].place, events[-1].place) == ("c", "a")
    same = {"plan": {"start": "b", "autonomous": [], "driven": SOLO["steps"], "finish": SOLO["finish"]}}
    assert events == played(match_of(tmp_path, same, times, part="solo")).events
    assert match_clock(nominal(loaded(tmp_path, {"plan": {"solo": SOLO}}, times)), "solo").reserve == 45.0
    for part in ("whole", "driven"):
        usual = played(match_of(tmp_path, {}, times, part=part)).events
        assert usual == played(match_of(tmp_path, {"plan": {"solo": SOLO}}, times, part=part)).events


@pytest.mark.parametrize(
    ("solo", "season", "said"),
    [
        (SOLO, {}, r"plan\.solo: expected none"),
        (SOLO | {"steps": []}, {"periods": {"solo": "60 s"}}, r"plan\.solo\.steps: expected at least one step"),
        (SOLO, {"periods": {"solo": "10 s"}}, r"plan\.solo\.finish\.reserve: expected at most the 10 s"),
        (SOLO | {"start": "moon"}, {"periods": {"solo": "60 s"}}, r"plan\.solo\.start"),
    ],
)
def test_a_solo_run_that_cannot_be_is_refused(tmp_path, solo, season, said):
    with pytest.raises(BadInput, match=said):
        loaded(tmp_path, {"plan": {"solo": solo}}, season)


@pytest.mark.parametrize(
    ("robot", "part", "key"),
    [
        ({"plan": GONE}, "whole", "plan"),
        ({}, "solo", "season"),
        ({"plan": {"autonomous": []}}, "autonomous", "plan.autonomous"),
        ({"parts": GONE}, "whole", "parts"),
    ],
)
def test_what_cannot_be_played_is_said_with_its_key(tmp_path, robot, part, key):
    with pytest.raises(BadInput) as raised:
        forecast(loaded(tmp_path, robot), 10, part=part)
    assert f": {key}" in str(raised.value)


@pytest.mark.long
def test_the_same_seed_gives_the_same_numbers_on_one_core_and_two():
    script = (
        "import sys; sys.path.insert(0, 'tests'); from robots import example; from fieldworthy.match import forecast;"
        "f = forecast(example(), 300, 7); print(repr((f.mean, f.deviation, f.quantiles, f.limits, f.actions)))"
    )
    from pathlib import Path

    root = Path(__file__).parents[2]
    printed = set()
    for cores in ("1", "2"):
        ended = subprocess.run(
            [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=root,
            env={"NUMBA_NUM_THREADS": cores, "PATH": "/usr/bin:/bin"},
        )  # fmt: skip
        printed.add(ended.stdout)
    assert len(printed) == 1


def test_another_seed_gives_other_numbers_and_a_longer_run_repeats_the_shorter(tmp_path):
    match = match_of(tmp_path)
    one, two, more = play_runs(match, 500), play_runs(match, 500, seed=1), play_runs(match, 700)
    assert not np.array_equal(one.points, two.points)
    assert np.array_equal(one.points, more.points[:500])
    assert np.array_equal(play_runs(match, 200, begin=300).points, one.points[300:])


def test_a_forecast_is_the_sum_of_its_blocks(tmp_path):
    robot = loaded(tmp_path)
    points = np.concatenate([block.points for block in blocks(robot, 5000, 2)])
    told = []
    found = forecast(robot, 5000, 2, progress=told.append)
    assert points.size == found.runs == told[-1] == 5000
    assert found.mean == pytest.approx(points.mean(), rel=1e-12)
    assert found.deviation == pytest.approx(points.std(ddof=1), rel=1e-9)
    # variance components by hand, as scipy and numpy have them: between draws and within
    table = np.concatenate([b.points.reshape(-1, b.each) for b in blocks(robot, 5000, 2)])
    within = np.mean(table.var(axis=1, ddof=1))
    assert found.known.within == pytest.approx(within**0.5, rel=1e-5)
    between = stats.tvar(table.mean(axis=1)) - within / table.shape[1]
    assert found.known.between**2 == pytest.approx(between, rel=0.02)
    assert found.known.error == pytest.approx(stats.sem(table.mean(axis=1)), rel=1e-4)
    assert found.interval == found.known.interval
    assert found.interval[1] - found.interval[0] == pytest.approx(2 * 1.96 * found.known.between, rel=0.15)
    for share, value in found.quantiles.items():
        q = float(share.removesuffix(" %")) / 100
        assert value == np.quantile(points, q, method="inverted_cdf")
    climbed = found.finish[0]
    assert climbed.interval[0] < climbed.chance < climbed.interval[1]
    wilson = stats.binomtest(round(climbed.chance * 5000), 5000).proportion_ci(0.95, "wilson")
    assert climbed.interval == pytest.approx((wilson.low, wilson.high), rel=1e-6)


def test_tolerances_move_the_robot_of_each_run(tmp_path):
    # without motors on mechanisms the charge follows from the ways alone, of which a plan has few
    fixed = next(blocks(loaded(tmp_path), 200, tolerances=False))
    moved = next(blocks(loaded(tmp_path), 200))
    # each draw of the robot plays some matches in a row
    assert len(set(fixed.charge)) < len(set(moved.charge))
    assert len(set(moved.charge)) >= 200 // moved.each
    assert moved.charge.mean() == pytest.approx(fixed.charge.mean(), rel=0.1)


def test_an_interruption_keeps_the_runs_done(tmp_path):
    def stop(done):
        raise KeyboardInterrupt

    found = forecast(loaded(tmp_path), 10_000, progress=stop)
    assert found.interrupted
    assert found.runs == 8190  # one block, in whole draws
    assert found.mean is not None


def test_one_run_has_no_interval_and_a_fixed_plan_no_spread(tmp_path):
    one = forecast(loaded(tmp_path), 1)
    assert one.interval is None
    assert one.deviation is None
    assert set(one.quantiles.values()) == {one.mean}


@pytest.mark.long
def test_memory_stays_flat(tmp_path):
    import tracemalloc

    robot = loaded(tmp_path)
    forecast(robot, 4096, tolerances=False)
    peaks = []
    for runs in (8_192, 81_920):
        tracemalloc.start()
        forecast(robot, runs, tolerances=False)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    # what each match leaves behind is its points and a few counts; a timeline a match would be thousands of bytes
    assert (peaks[1] - peaks[0]) / (81_920 - 8_192) < 64


@pytest.mark.parametrize(("holds", "points"), [(1, 25.0), (2, 28.0), (9, 31.0)])
def test_what_a_structure_has_no_room_for_counts_no_more(tmp_path, holds, points):
    """By hand: the first goal in the autonomous period 3 + 2, each further one 3, the climb 20."""
    goal = {**TASKS["goal"], "structure": "bin"}
    season = {"structures": {"bin": {"height": "0.3 m", "holds": holds}}, "tasks": {"goal": goal}}
    assert played(match_of(tmp_path, season=season)).points == points
