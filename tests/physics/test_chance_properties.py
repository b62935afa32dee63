"""Chance: laws that hold for every count, and input that is refused by name."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldworthy.physics.chance import chance

counts = st.tuples(st.integers(0, 400), st.integers(0, 400)).map(sorted)


@given(counts)
def test_failures_mirror_successes(pair):
    k, n = pair
    low, high = chance.wilson_interval(k, n)
    other_low, other_high = chance.wilson_interval(n - k, n)
    assert (low, high) == pytest.approx((1.0 - other_high, 1.0 - other_low), abs=1e-12)
    belief, mirrored = chance.posterior(k, n), chance.posterior(n - k, n)
    assert belief.mean == pytest.approx(1.0 - mirrored.mean, abs=1e-12)
    assert belief.quantile(0.3) == pytest.approx(1.0 - mirrored.quantile(0.7), abs=1e-9)


@given(counts, st.floats(0.01, 0.99))
def test_quantile_and_chance_below_are_inverse(pair, p):
    belief = chance.posterior(*pair)
    assert belief.chance_below(belief.quantile(p)) == pytest.approx(p, abs=1e-9)


@given(counts, st.integers(0, 60))
def test_predictions_add_up_to_one_and_to_the_mean(pair, m):
    belief, k = chance.posterior(*pair), np.arange(m + 1.0)
    predicted = belief.predict(k, m)
    assert predicted.sum() == pytest.approx(1.0, abs=1e-9)
    # the mean of the beta-binomial distribution is that of the belief, times the tries
    assert (k * predicted).sum() == pytest.approx(m * belief.mean, abs=1e-8)


def test_batch_equals_case_by_case():
    k, n = np.array([0.0, 3.0, 9.0, 9.0]), np.array([0.0, 4.0, 9.0, 30.0])
    low, high = chance.wilson_interval(k, n)
    ends = chance.posterior(k, n).interval(0.8)
    for i in range(4):
        assert (low[i], high[i]) == chance.wilson_interval(k[i], n[i])
        assert (ends[0][i], ends[1][i]) == chance.posterior(k[i], n[i]).interval(0.8)
    assert (low[0], high[0]) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: chance.posterior(3, 2), "successes"),
        (lambda: chance.posterior(-1, 2), "successes"),
        (lambda: chance.posterior(1, 2, prior=(0.0, 1.0)), "prior_a"),
        (lambda: chance.Beta(1.0, -1.0), "b must"),
        (lambda: chance.wilson_interval(1, 2, 1.0), "confidence"),
        (lambda: chance.normal_quantile(0.0), "p must"),
        (lambda: chance.mean_interval(np.array([1.0])), "samples"),
    ],
)
def test_bad_input_is_refused_by_name(call, named):
    with pytest.raises(ValueError, match=named):
        call()
