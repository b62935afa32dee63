"""Sensitivity of the points against closed forms, forecasts of edited files, and keys that cannot matter."""

from __future__ import annotations

import json

import pytest
from jsonschema import Draft202012Validator
from scipy.stats import beta

from edge import run as command
from fieldworthy.decide.sensitivity import sensitivity
from fieldworthy.match import forecast
from robots import EXAMPLES, example, load

POINTS, ROUNDS = 5.0, 6
SEASON = {"tasks": {"bell": {"points": POINTS}}}


def bot(successes, attempts, time="1 s", **driven):
    """A robot that tries one action over and over where it stands."""
    counts = {"successes": successes, "attempts": attempts}
    return {
        "actions": {"ring": {"time": time, "task": "bell", "practice": counts}},
        "plan": {"start": "a", "driven": [{**driven, "repeat": [{"action": "ring", "at": "a"}]}]},
    }


def test_practice_moves_the_points_by_the_ends_of_its_beta_posterior(tmp_path):
    """Points times tries times the width of the 95 % interval: binomial mean by hand, Beta quantiles by SciPy."""
    found = sensitivity(load(tmp_path, bot(12, 20, times=ROUNDS), SEASON), runs=20_000)
    low, high = beta.ppf((0.025, 0.975), 13, 9)
    assert [f.key for f in found] == ["actions.ring.practice"]
    assert found[0].basis == "practice"
    assert found[0].points == pytest.approx(POINTS * ROUNDS * (high - low), rel=0.02)
    assert found[0].interval[0] < POINTS * ROUNDS * (high - low) < found[0].interval[1]
    assert (found[0].low, found[0].high) == (f"{100 * low:.0f} %", f"{100 * high:.0f} %")
    assert "12 of 20" in found[0].advice


def test_a_time_moves_the_points_where_it_decides_how_many_tries_fit(tmp_path):
    """100 s hold ten tries of 10 s, eleven of 9 s and nine of 11 s, by counting; the action nearly always works."""
    slow = {"value": "10 s", "tolerance": "1.2 s"}
    found = sensitivity(load(tmp_path, bot(1000, 1000, slow, until="100 s"), SEASON), runs=500)
    times = next(f for f in found if f.key == "actions.ring.time")
    # 8.8 s: eleven fit into 100 s; 11.2 s: eight, the ninth would end at 100.8 s
    assert times.points == pytest.approx(POINTS * (8 - 11), abs=0.3)
    assert times.basis == "estimate"
    assert times.advice == "measure it"


def test_an_edited_file_gives_what_the_sensitivity_says(tmp_path):
    """Both ends of an input written into the file and forecast again with the same luck."""
    slow = {"value": "10 s", "tolerance": "1.2 s"}
    found = sensitivity(load(tmp_path, bot(12, 20, slow, until="100 s"), SEASON), runs=2000)
    times = next(f for f in found if f.key == "actions.ring.time")
    means = []
    for value in ("8.8 s", "11.2 s"):
        fixed = {"value": value, "tolerance": "0 s"}
        edited = load(tmp_path, bot(12, 20, fixed, until="100 s"), SEASON)
        means.append(forecast(edited, 2000, tolerances=False).mean)
    assert times.points == pytest.approx(means[1] - means[0], abs=1e-9)


def test_an_accuracy_chooses_the_draws_and_is_reached(tmp_path):
    """Points times tries times the width of the 95 % interval lies within three standard errors of what is told."""
    robot = load(tmp_path, bot(12, 20, times=ROUNDS), SEASON)
    low, high = beta.ppf((0.025, 0.975), 13, 9)
    loose, close = (sensitivity(robot, accuracy=accuracy)[0] for accuracy in (0.8, 0.2))
    for told, accuracy in ((loose, 0.8), (close, 0.2)):
        # how far the pilot knows the spread: about a tenth
        assert told.error < 1.2 * accuracy
        assert abs(told.points - POINTS * ROUNDS * (high - low)) < 3.0 * told.error
    assert close.error < loose.error


@pytest.mark.long
def test_what_cannot_matter_is_not_named():
    """On the example: five inputs at most, the largest first, none of the colours or the tracking."""
    found = sensitivity(example(), runs=300)
    assert len(found) == 5
    assert sorted((abs(f.points) for f in found), reverse=True) == [abs(f.points) for f in found]
    assert not any("sorter" in f.key or "tracking" in f.key for f in found)


def test_without_anything_to_move_there_is_nothing_to_say(tmp_path):
    robot = bot(1, 1, times=1)
    del robot["actions"]["ring"]["practice"]
    robot["actions"]["ring"]["time"] = {"value": "1 s", "tolerance": "0 s"}
    assert sensitivity(load(tmp_path, robot, SEASON), runs=50) == ()


@pytest.mark.long
def test_the_same_seed_gives_the_same_answer():
    assert sensitivity(example("mk2"), runs=100, seed=4) == sensitivity(example("mk2"), runs=100, seed=4)


def test_progress_is_told_to_the_end(tmp_path):
    told = []
    sensitivity(
        load(tmp_path, bot(3, 4, times=2), SEASON), runs=10, progress=lambda done, total: told.append((done, total))
    )
    assert told[-1][0] == told[-1][1] == len(told)


@pytest.mark.long
def test_the_command_prints_it_and_its_json_follows_the_schema():
    ended = command("match", EXAMPLES / "mk2.yaml", "--runs", 100, "--sensitivity", "--json")
    schema = json.loads(command("schema", "match").out)
    data = json.loads(ended.out)
    assert list(Draft202012Validator(schema).iter_errors(data)) == []
    assert len(data["sensitivity"]) == 5
    text = command("match", EXAMPLES / "mk2.yaml", "--runs", 100, "--sensitivity").out
    assert "What moves the points of a match most" in text
    assert data["sensitivity"][0]["what"] in text
    plain = json.loads(command("match", EXAMPLES / "mk2.yaml", "--runs", 100, "--json").out)
    assert "sensitivity" not in plain
