"""Practice: counts to chances, times to mean and spread, held to truths that only the test knows."""

from __future__ import annotations

import numpy as np
import pytest

from fieldworthy.files import BadInput
from fitted import LEAST, MOST, SEEDS, covers, measurements, only, rms, told, untold

ACTIONS = {"actions": {"score": {"time": "2 s"}}}


def practised(folder, **section):
    return only(measurements(folder, {"practice": {"score": section}}, ACTIONS))


@pytest.mark.long
def test_mean_and_spread_hold_the_truth_as_often_as_they_say_and_beat_one_time(tmp_path):
    mean, spread, first = 2.4, 0.35, []

    def fit(seed):
        times = np.random.default_rng(seed).normal(mean, spread, 15)
        first.append(times[0] - mean)
        return practised(tmp_path, times=[f"{t:.6f} s" for t in times])

    found = covers(fit, {"time of 'score'": mean, "spread of the time of 'score'": spread})
    for share, _ in found.values():
        assert LEAST <= share <= MOST
    # the mean of 15 is off by 1 / sqrt(15) = 0.26 of one reading
    assert 0.2 < rms(found["time of 'score'"][1]) / rms(first) < 0.33


@pytest.mark.long
def test_chances_hold_the_true_rate_as_often_as_they_say(tmp_path):
    inside, errors, naive = [], [], []
    for seed in SEEDS:
        rng = np.random.default_rng(seed)
        rate = rng.uniform()
        tries = rng.uniform(size=24) < rate
        chance = practised(tmp_path, successes=int(tries.sum()), attempts=24).get("chance of 'score'")
        inside.append(abs(chance.value - rate) <= chance.half_width)
        errors.append(chance.value - rate)
        naive.append(float(tries[0]) - rate)
    assert LEAST <= np.mean(inside) <= 0.995  # a file holds one half width, so the nearer end gives some away
    assert rms(errors) < 0.3 * rms(naive)


def test_counts_go_into_the_keys_that_the_forecast_reads(tmp_path):
    found = practised(tmp_path, successes=7, attempts=9)
    keys = {item.key: (item.value, item.kind) for item in found.fitted if item.key}
    practice = ("actions", "score", "practice")
    assert keys == {(*practice, "successes"): (7.0, "count"), (*practice, "attempts"): (9.0, "count")}


@pytest.mark.parametrize(
    ("times", "cannot"),
    [
        (["2 s"], {"time of 'score'", "spread of the time of 'score'"}),
        (["2 s", "2 s", "2 s"], {"time of 'score'", "spread of the time of 'score'"}),
        (["2 s", "2.5 s"], {"time of 'score'", "spread of the time of 'score'"}),
        (["2 s", "2.1 s", "2.2 s", "1.9 s"], {"spread of the time of 'score'"}),
    ],
)
def test_too_few_times_tell_nothing(tmp_path, times, cannot):
    found = practised(tmp_path, times=times)
    assert untold(found) == cannot
    assert all(item.why and "time eight tries" in item.reading for item in found.unidentified)


def test_a_time_far_from_the_others_is_named(tmp_path):
    found = practised(tmp_path, times=["2 s", "2.1 s", "2.2 s", "9.8 s", "1.9 s", "2.3 s", "2 s"])
    assert [n for n in found.notes if "Try 4" in n and "9.8 s" in n]
    assert "time of 'score'" in told(found)


@pytest.mark.parametrize(
    ("section", "key", "word"),
    [
        ({"successes": 5}, ("practice", "score"), "attempts"),
        ({"successes": 5, "attempts": 4}, ("practice", "score", "successes"), "at most"),
        ({}, ("practice", "score"), "times"),
        ({"times": ["2 m"]}, ("practice", "score", "times", 0), "time"),
        ({"times": ["0 s"]}, ("practice", "score", "times", 0), "more than 0"),
    ],
)
def test_mistakes_are_named_at_their_place(tmp_path, section, key, word):
    with pytest.raises(BadInput) as caught:
        practised(tmp_path, **section)
    assert [p.key for p in caught.value.problems] == [key]
    assert word in caught.value.problems[0].expected


def test_an_action_that_the_robot_does_not_have_is_named(tmp_path):
    with pytest.raises(BadInput, match="score"):
        only(measurements(tmp_path, {"practice": {"scoer": {"times": ["1 s"]}}}, ACTIONS))
