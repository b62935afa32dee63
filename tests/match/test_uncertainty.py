"""Variance components of a forecast, held to simulated teams whose truth is known."""

from __future__ import annotations

import time

import numpy as np
import pytest
from scipy import stats

from fieldworthy.match.components import (
    believed,
    components,
    grouped,
    middle_95,
    share_better,
    shares,
    sized,
    sizes,
    true_means,
)


def simulated(rng, draws, each, between, within, mean=50.0):
    truth = mean + between * rng.standard_normal(draws)
    return truth, truth[:, None] + within * rng.standard_normal((draws, each))


def test_components_are_those_of_the_one_way_analysis_of_variance():
    # Searle, Casella and McCulloch, Variance Components (1992), ch. 3, from memory; mean squares by scipy
    rng = np.random.default_rng(1)
    _, table = simulated(rng, 300, 4, 6.0, 10.0)
    found = components(table)
    within = float(np.mean(table.var(axis=1, ddof=1)))
    ratio = float(stats.f_oneway(*table).statistic)
    assert found.within**2 == pytest.approx(within, rel=1e-12)
    assert found.between**2 == pytest.approx((ratio - 1.0) * within / 4, rel=0.02)  # 2 of 300 degrees of freedom
    assert found.mean == pytest.approx(table.mean(), rel=1e-12)


def test_luck_alone_is_not_taken_for_ignorance():
    rng = np.random.default_rng(2)
    widths = [components(simulated(rng, 400, 5, 0.0, 15.0)[1]).between for _ in range(40)]
    assert np.median(widths) < 2.5  # the scatter of the draws' means alone would be 15 / sqrt(5) = 6.7


def test_intervals_hold_the_truth_of_95_in_100_teams():
    """Teams whose true mean is drawn from the stated belief: their intervals hold it as often as they say."""
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(2000):
        between, within = rng.uniform(2.0, 8.0), rng.uniform(5.0, 20.0)
        _, table = simulated(rng, 400, 5, between, within)
        low, high = components(table).interval
        held += low <= 50.0 + between * rng.standard_normal() <= high
    assert 0.94 <= held / 2000 <= 0.96


def test_more_matches_know_the_spread_better_and_do_not_shrink_it():
    rng = np.random.default_rng(4)
    few, many = (components(simulated(rng, draws, 5, 5.0, 15.0)[1]) for draws in (400, 20_000))
    assert few.between == pytest.approx(5.0, rel=0.25)
    assert many.between == pytest.approx(5.0, rel=0.04)
    assert many.error < few.error / 5


def test_true_means_have_the_variance_between_draws():
    rng = np.random.default_rng(5)
    truth, table = simulated(rng, 5000, 5, 5.0, 15.0)
    found = true_means(table)
    assert found.std() == pytest.approx(5.0, rel=0.06)
    assert np.corrcoef(truth, found)[0, 1] > 0.5


def test_the_doubt_is_traced_to_what_it_comes_from():
    rng = np.random.default_rng(6)
    one, two, other = rng.standard_normal((3, 1000))
    truth = 50.0 + 4.0 * one - 3.0 * two
    table = truth[:, None] + 12.0 * rng.standard_normal((1000, 5))
    found = shares(table, [("one", one), ("two", two), ("other", other)])
    assert [s.key for s in found] == ["one", "two"]
    assert [s.share for s in found] == pytest.approx([16 / 25, 9 / 25], abs=0.12)
    assert [s.slope for s in found] == pytest.approx([4.0, -3.0], abs=0.6)


@pytest.mark.parametrize("runs", [0, 1, 4, 5, 7])
def test_too_few_matches_tell_nothing(runs):
    assert components(grouped(np.arange(float(runs)))) is None


def test_matches_that_fill_no_draw_are_left_out():
    assert grouped(np.arange(12.0), 5).tolist() == [[0, 1, 2, 3, 4], [5, 6, 7, 8, 9]]


def test_the_errors_of_the_components_are_those_that_repetition_shows():
    """Many tables from one truth: the components scatter about it as far as each table says of itself."""
    rng = np.random.default_rng(8)
    found = [components(simulated(rng, 400, 5, 5.0, 15.0)[1]) for _ in range(200)]
    for name, truth in (("between", 5.0), ("within", 15.0)):
        values = np.array([getattr(c, name) for c in found])
        said = np.mean([getattr(c, f"{name}_error") for c in found])
        assert values.mean() == pytest.approx(truth, rel=0.02)
        assert said == pytest.approx(values.std(ddof=1), rel=0.2)  # 200 tables know a deviation to 5 %


def test_draws_and_matches_reach_the_accuracy_that_was_asked_for():
    rng = np.random.default_rng(9)
    pilot = components(simulated(rng, 2000, 5, 5.0, 15.0)[1])
    draws, each = sizes(pilot, 0.3)
    assert each == 3  # 15 / 5, at a draw that costs as much as a match (Cochran's rule, by hand)
    assert draws == pytest.approx((25 + 225 / 3) / 0.09, rel=0.1)
    means = [simulated(rng, draws, each, 5.0, 15.0)[1].mean() for _ in range(300)]
    assert np.std(means) == pytest.approx(0.3, rel=0.15)
    for other in (1, 2, 5, 10, 20):  # no other number of matches each is cheaper
        assert (25 + 225 / other) * (1 + other) >= (25 + 225 / 3) * (1 + 3) - 1e-9


def test_a_bound_of_time_is_kept_and_what_it_reaches_is_told():
    """Draws of 5 matches each, by a play that takes a known time a match: as many as the time that is left suffices."""
    rng = np.random.default_rng(11)
    free = sized(lambda runs: simulated(rng, runs // 5, 5, 5.0, 15.0)[1], 0.5, each=5)
    assert free.each == 5
    assert free.draws == pytest.approx((25 + 225 / 5) / 0.25, rel=0.2)
    assert free.reached <= 0.5

    def slow(runs):
        """A hundred microseconds a match."""
        begun = time.perf_counter()
        while time.perf_counter() - begun < 1e-4 * runs:
            pass
        return simulated(rng, runs // 5, 5, 5.0, 15.0)[1]

    bound = sized(slow, 0.01, 0.5, each=5)
    assert bound.draws * bound.each * 1e-4 < 0.5
    assert bound.reached > 0.01
    assert bound.reached == pytest.approx(((25 + 225 / 5) / bound.draws) ** 0.5, rel=0.3)


def test_luck_alone_asks_for_many_matches_of_few_draws():
    rng = np.random.default_rng(10)
    assert sizes(components(simulated(rng, 400, 5, 0.0, 15.0)[1]), 1.0)[1] >= 8


DRAWN = {
    "normal": lambda rng, n: rng.normal(1.5, 1.0, n),
    "heavy tails": lambda rng, n: 3.0 + rng.standard_t(2, n),
    "mixed": lambda rng, n: np.where(rng.random(n) < 0.03, -5.0, 14.0) + rng.normal(0.0, 1.0, n),
    "ties": lambda rng, n: np.round(rng.normal(1.0, 0.6, n)),
}


@pytest.mark.parametrize("kind", DRAWN)
def test_interval_and_chance_never_contradict_each_other(kind):
    """An interval of 95 % with its lower end above nothing leaves 2.5 % at most below, and the other way about."""
    rng, met = np.random.default_rng(12), set()
    for draws in (2, 5, 20, 38, 39, 60, 400):
        for _ in range(60):
            found = DRAWN[kind](rng, draws)
            for sign in (1.0, -1.0):
                (low, high), chance = middle_95(sign * found), share_better(sign * found)
                if low != 0.0:
                    assert (low > 0.0) == (chance > 0.975), (draws, found)
                if high != 0.0:
                    assert (high < 0.0) == (chance < 0.025), (draws, found)
                met.add(low > 0.0)
    assert met == {True, False}


@pytest.mark.parametrize("kind", ["normal", "heavy tails", "mixed"])
@pytest.mark.parametrize("draws", [60, 400])
def test_the_chance_is_the_share_of_the_truth_above_nothing(kind, draws):
    """On average over many samples; the shares themselves by scipy, of the mixture by hand."""
    rng = np.random.default_rng(13)
    mixture = 0.97 * stats.norm.sf(-14.0) + 0.03 * stats.norm.sf(5.0)
    truth = {"normal": stats.norm.sf(-1.5), "heavy tails": stats.t.sf(-3.0, 2), "mixed": mixture}[kind]
    found = [share_better(DRAWN[kind](rng, draws)) for _ in range(2000)]
    assert np.mean(found) == pytest.approx(truth, abs=1.0 / (draws + 1))


def test_of_a_handful_of_draws_the_interval_is_students():
    """Another draw lies within t (1 + 1 / n)^0.5 deviations: 95 % of the time, counted, and the chance by scipy's t."""
    rng, held = np.random.default_rng(14), 0
    for _ in range(2000):
        found = rng.normal(1.0, 2.0, 6)
        low, high = middle_95(found)
        held += low <= rng.normal(1.0, 2.0) <= high
    assert 0.935 <= held / 2000 <= 0.965
    scale = found.std(ddof=1) * (7 / 6) ** 0.5
    assert share_better(found) == pytest.approx(stats.t.sf(-found.mean() / scale, 5), abs=1e-12)


def test_standard_deviation_interval_and_chance_come_of_one_distribution():
    """Normal truth, so all three tell each other: interval = mean +- 1.96 deviations, chance = normal share."""
    rng = np.random.default_rng(15)
    _, table = simulated(rng, 20_000, 5, 5.0, 15.0, mean=6.0)
    known = components(table)
    assert known.interval == pytest.approx(
        [known.mean - 1.96 * known.between, known.mean + 1.96 * known.between], abs=0.3
    )
    assert share_better(believed(table)) == pytest.approx(stats.norm.sf(-known.mean / known.between), abs=0.01)


def test_few_draws_widen_the_interval_by_what_they_leave_open():
    """Truth without ignorance: what is left is the error of the mean, luck over the matches played (by hand)."""
    rng = np.random.default_rng(16)
    _, table = simulated(rng, 60, 5, 0.0, 15.0)
    wide = np.diff(middle_95(believed(table)))[0]
    assert wide >= 2 * 1.96 * 15.0 / 300**0.5 * 0.8
