"""The normal distribution against the C library's erfc, scipy and the standard library."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from scipy import special, stats

from fieldworthy.physics.chance import normal
from fieldworthy.physics.colour import sorting

WIDE = np.concatenate([np.linspace(-6.0, 26.0, 64_001), [0.0, 0.46875, -0.46875, 4.0, -4.0, 1e-300]])


def test_erfc_keeps_its_digits_from_one_end_to_the_other():
    assert normal.erfc(WIDE) == pytest.approx(np.array([math.erfc(x) for x in WIDE.tolist()]), rel=3e-15, abs=0.0)
    assert normal.erfc(np.array([-np.inf, np.inf])).tolist() == [2.0, 0.0]
    assert float(normal.erfc(0.0)) == 1.0


def test_below_is_the_distribution_function():
    z = np.linspace(-37.0, 9.0, 20_001)
    # scipy does not split its exponent, which costs it digits far out
    assert normal.cdf(z) == pytest.approx(special.ndtr(z), rel=1e-13, abs=0.0)


def test_quantile_matches_two_libraries():
    p = np.concatenate([np.logspace(-300, -0.31, 5001), 1.0 - np.logspace(-15, -0.31, 5001), [0.075, 0.925]])
    assert normal.ppf(p) == pytest.approx(special.ndtri(p), rel=2e-14, abs=1e-16)
    assert normal.ppf(p) == pytest.approx([NormalDist().inv_cdf(x) for x in p.tolist()], rel=2e-14, abs=1e-16)
    assert normal.ppf(np.array([0.0, 0.5, 1.0])).tolist() == [-np.inf, 0.0, np.inf]


@pytest.mark.parametrize("readings", [1, 3, 9, 31, 95, 97, 301])
def test_a_vote_of_independent_readings_is_a_binomial_tail(readings):
    error = np.array([0.0, 1e-12, 1e-3, 0.2, 0.5, 0.7, 1.0])
    tail = stats.binom.sf(readings // 2, readings, error)
    assert sorting.majority_error(error, float(readings)) == pytest.approx(tail, rel=1e-11, abs=1e-300)


def test_votes_of_unlike_length_in_one_batch_are_those_alone():
    count = np.array([1.0, 3.0, 8.0, 20.0])
    batch = sorting.majority_error(0.2, count)
    assert batch == pytest.approx([float(sorting.majority_error(0.2, k)) for k in count.tolist()], rel=1e-15)
