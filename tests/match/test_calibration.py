"""Whether the intervals of a forecast hold the truth as often as they say: simulated teams whose truth is known."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from fieldworthy.engine.evaluate import Cases
from fieldworthy.match import play_runs
from fieldworthy.match.components import EACH, components, grouped
from fieldworthy.match.forecast import drawn_setup, tallied
from robots import load

RING, BEAT, UNTIL, BEATS = 5.0, 3.0, 40.0, 4
TIME, TOLERANCE = 4.0, 1.0
ROBOT = {
    "actions": {
        "ring": {
            "time": {"value": f"{TIME} s", "tolerance": f"{TOLERANCE} s"},
            "task": "bell",
            "practice": {"successes": 1, "attempts": 2},
        },
        "beat": {"time": {"value": "1 s", "tolerance": "0 s"}, "task": "drum",
                 "practice": {"successes": 1, "attempts": 2}},
    },
    "plan": {
        "start": "a",
        "driven": [
            {"until": f"{UNTIL} s", "repeat": [{"action": "ring", "at": "a"}]},
            {"times": BEATS, "repeat": [{"action": "beat", "at": "a"}]},
        ],
    },
}  # fmt: skip
SEASON = {"tasks": {"bell": {"points": RING}, "drum": {"points": BEAT}}}


def with_counts(loaded, counts):
    """The same robot after other practice."""
    actions = {
        name: action.model_copy(
            update={
                "practice": action.practice.model_copy(
                    update={"successes": counts[name][0], "attempts": counts[name][1]}
                )
            }
        )
        for name, action in loaded.robot.actions.items()
    }
    return dataclasses.replace(loaded, robot=loaded.robot.model_copy(update={"actions": actions}))


def true_mean(rng, counts):
    """Mean points of a robot whose chances and time are drawn from what the team's file says of them, by hand.

    A chance after k of n tries is Beta(k + 1, n - k + 1), the time normal with the tolerance as its 95 %; a round
    begins while less than 40 s are gone, so there are 40 / time of them, rounded up.
    """
    ring, beat = (rng.beta(k + 1, n - k + 1) for k, n in (counts["ring"], counts["beat"]))
    time = TIME + TOLERANCE / 1.959963984540054 * rng.standard_normal()
    return RING * ring * math.ceil(UNTIL / time) + BEAT * beat * BEATS


def counted(rng):
    """What a team has practised: 4 to 40 tries of each action, of which it did some."""
    tries = [int(n) for n in rng.integers(4, 41, 2)]
    return {
        name: (int(rng.binomial(n, rng.uniform(0.2, 0.95))), n) for name, n in zip(("ring", "beat"), tries, strict=True)
    }


def held(folder, teams, truths, seed):
    """Share of the truths of simulated teams, a number of each, that the interval of the team's forecast holds."""
    rng, loaded = np.random.default_rng(seed), load(folder, ROBOT, SEASON)
    inside = 0
    for team in range(teams):
        counts = counted(rng)
        tally = tallied(with_counts(loaded, counts), 2000, seed=team)
        low, high = components(np.concatenate(tally.draws).astype(float)).interval
        inside += sum(low <= true_mean(rng, counts) <= high for _ in range(truths))
    return inside / (teams * truths)


def test_intervals_of_forecasts_hold_the_truth(tmp_path):
    # 400 draws know the ends of one interval to 1 % of the truths inside, forty to 0.3 %, and more for luck
    assert held(tmp_path, 40, 200, seed=1) == pytest.approx(0.95, abs=0.012)


@pytest.mark.long
def test_intervals_of_2000_forecasts_hold_the_truth_of_95_in_100(tmp_path):
    """Forecasts of 1,000 matches; every twenty teams, of other practice and luck, share draws of the time."""
    rng, loaded, inside = np.random.default_rng(2), load(tmp_path, ROBOT, SEASON), 0
    for shared in range(100):
        match = drawn_setup(loaded, Cases(shared, 0, 1000 // EACH, []))
        for team in range(20):
            counts = counted(rng)
            table = match.structure.chance.copy()
            for name, (successes, attempts) in counts.items():
                table[match.actions.index(name)] = successes + 1, attempts - successes + 1, -1.0
            mine = dataclasses.replace(match, structure=match.structure._replace(chance=table))
            points = play_runs(mine, 1000, begin=1000 * team, seed=shared, each=EACH).points
            low, high = components(grouped(points)).interval
            inside += low <= true_mean(rng, counts) <= high
    assert 0.94 <= inside / 2000 <= 0.96
