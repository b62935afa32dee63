"""Hue estimates and their intervals against scipy.stats: circular statistics, chi-square, the bootstrap."""

import numpy as np
import pytest
from scipy import stats

from fieldworthy.physics.chance.chance import hue_estimate, spread_half_width


def draw(seed, count, mean=0.3, spread=0.35):
    return np.mod(np.random.default_rng(seed).normal(mean, spread, count), 2.0 * np.pi)


@pytest.mark.parametrize("seed", range(8))
def test_the_mean_is_that_of_scipy(seed):
    hues = draw(seed, 9)
    assert hue_estimate(hues).mean == pytest.approx(stats.circmean(hues), abs=1e-12)


@pytest.mark.parametrize("seed", range(8))
def test_the_spread_is_scipys_but_for_the_share_of_few_readings(seed):
    hues = draw(seed, 4000)
    assert hue_estimate(hues).spread == pytest.approx(stats.circstd(hues), rel=1e-3)
    few = hues[:10]
    # R^2 of n readings is 1 / n too large where they point every way: (n R^2 - 1) / (n - 1) has no such share
    length = 1.0 - stats.circvar(few)
    assert hue_estimate(few).spread == pytest.approx(np.sqrt(-np.log((10.0 * length**2 - 1.0) / 9.0)), rel=1e-12)


def test_few_readings_do_not_understate_the_spread_as_the_plain_formula_does():
    ours = [hue_estimate(draw(seed, 5)).spread ** 2 for seed in range(400)]
    plain = [stats.circstd(draw(seed, 5)) ** 2 for seed in range(400)]
    assert np.mean(ours) == pytest.approx(0.35**2, rel=0.08)
    assert np.mean(plain) < 0.88 * 0.35**2


@pytest.mark.parametrize("seed", range(4))
def test_the_interval_of_the_mean_is_near_the_bootstraps(seed):
    hues = draw(seed, 60, 2.0)
    found = stats.bootstrap(
        (hues,), stats.circmean, n_resamples=4000, method="percentile", rng=np.random.default_rng(1)
    )
    half = 0.5 * (found.confidence_interval.high - found.confidence_interval.low)
    assert hue_estimate(hues).mean_half_width == pytest.approx(half, rel=0.12)


@pytest.mark.parametrize("seed", range(4))
def test_close_hues_are_as_plain_numbers(seed):
    hues = draw(seed, 8, 2.0, 0.02)
    found = hue_estimate(hues)
    low, high = stats.t.interval(0.95, 7, hues.mean(), stats.sem(hues))
    assert found.mean_half_width == pytest.approx(0.5 * (high - low), rel=2e-3)
    assert found.spread == pytest.approx(hues.std(ddof=1), rel=2e-3)


@pytest.mark.parametrize("count", [2, 3, 5, 8, 20, 100])
@pytest.mark.parametrize("confidence", [0.68, 0.95])
def test_the_interval_of_a_spread_holds_chi_squares_share(count, confidence):
    h = spread_half_width(count, confidence)
    free = count - 1
    # sd (1 - h) < sigma < sd (1 + h), written for (n - 1) sd^2 / sigma^2
    least = free / (1.0 + h) ** 2
    most = free / (1.0 - h) ** 2 if h < 1.0 else np.inf
    assert stats.chi2.cdf(most, free) - stats.chi2.cdf(least, free) == pytest.approx(confidence, abs=1e-9)
