"""The random numbers: Philox against numpy's, and the distributions made from it against SciPy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from fieldworthy.match.travel import beta, gamma, lognormal, normal, philox, uniform

U = np.uint64


def words(*counter):
    return [U(word) for word in philox(tuple(U(c) for c in counter), U(99))]


@pytest.mark.parametrize("counter", [(1, 0, 0, 0), (5, 2**63, 17, 3), (2**64 - 1, 2**64 - 1, 2**64 - 1, 7)])
@pytest.mark.parametrize("seed", [0, 1, 2**64 - 1])
def test_philox_is_numpys(counter, seed):
    # numpy's generator counts up before it scrambles
    whole = sum(word << (64 * i) for i, word in enumerate(counter)) - 1
    reference = np.random.Philox(counter=whole, key=seed).random_raw(4)
    found = philox(tuple(U(c) for c in counter), U(seed))
    assert [int(word) for word in found] == [int(word) for word in reference]


def test_uniform_numbers_stay_inside_and_are_even():
    assert 0.0 < uniform(U(0)) < 1e-15
    assert 1.0 - 1e-15 < uniform(U(2**64 - 1)) < 1.0
    drawn = [uniform(word) for run in range(2500) for word in words(run, 1, 2, 3)]
    assert stats.kstest(drawn, "uniform").pvalue > 1e-3


def test_normal_numbers():
    drawn = [normal(*words(run, 4, 0, 0)[:2]) for run in range(10_000)]
    assert stats.kstest(drawn, "norm").pvalue > 1e-3


@pytest.mark.parametrize("shape", [1.0, 2.5, 30.0])
def test_gamma_numbers(shape):
    drawn = [gamma(shape, U(5), U(run), U(8), U(1)) for run in range(10_000)]
    assert stats.kstest(drawn, stats.gamma(shape).cdf).pvalue > 1e-3


@pytest.mark.parametrize(("a", "b"), [(1.0, 1.0), (12.0, 6.0), (35.0, 7.0)])
def test_beta_numbers(a, b):
    drawn = [beta(a, b, U(5), U(run), U(8)) for run in range(10_000)]
    assert stats.kstest(drawn, stats.beta(a, b).cdf).pvalue > 1e-3


def test_a_lognormal_time_has_the_mean_and_deviation_asked_for():
    z = np.linspace(-8, 8, 40_001)
    weights = stats.norm.pdf(z) * (z[1] - z[0])
    times = np.array([lognormal(2.2, 0.6, value) for value in z])
    mean = weights @ times
    assert mean == pytest.approx(2.2, rel=1e-6)
    assert np.sqrt(weights @ (times - mean) ** 2) == pytest.approx(0.6, rel=1e-5)
    sd = np.sqrt(np.log1p((0.6 / 2.2) ** 2))
    reference = stats.lognorm(sd, scale=2.2 * np.exp(-(sd**2) / 2))
    assert [lognormal(2.2, 0.6, v) for v in (-2, 0, 1.5)] == pytest.approx(reference.ppf(stats.norm.cdf([-2, 0, 1.5])))
    assert lognormal(2.2, 0.0, 3.0) == 2.2
    assert lognormal(0.0, 0.6, 3.0) == 0.0
