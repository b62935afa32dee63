"""Whether the interval of a mean is honest from few matches: true means drawn from a known distribution."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from fieldworthy.match.components import EACH, components

LUCK, DOUBT, MIDDLE = 15.0, 5.8, 62.0
"""Standard deviations about as the example has them, in points, and its mean."""


def table_of(rng, draws):
    """Points of matches, draws by matches, of robots whose true means are normal."""
    means = MIDDLE + DOUBT * rng.standard_normal(draws)
    return means[:, None] + LUCK * rng.standard_normal((draws, EACH))


@pytest.mark.long
@pytest.mark.parametrize("draws", [10, 20, 40, 60, 100, 200, 400])
def test_an_interval_of_any_number_of_draws_holds_another_robot(draws):
    """How often it holds one more robot's true mean is the normal distribution between its ends, by SciPy."""
    rng, inside, ends, told = np.random.default_rng(draws), [], [], []
    for _ in range(150):
        known = components(table_of(rng, draws))
        inside.append(float(np.diff(norm.cdf(known.interval, MIDDLE, DOUBT))[0]))
        ends.append(known.interval)
        told.append(known.ends_to)
    # luck of few draws hides what is not known: then an interval may be too wide, never too narrow
    assert 0.93 <= np.mean(inside) <= 0.96 + 0.4 / draws
    if draws >= 40:  # what is told of its ends is how far they scatter
        assert np.mean(told) == pytest.approx(1.96 * np.std(ends, axis=0).mean(), rel=0.25)
