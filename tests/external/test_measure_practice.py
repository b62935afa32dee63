"""Practice: chances, means and spreads against scipy.stats."""

import numpy as np
import pytest
from scipy import stats

from fitted import measurements, only

ACTIONS = {"actions": {"score": {"time": "2 s"}}}


@pytest.mark.parametrize(("successes", "attempts"), [(0, 1), (3, 3), (7, 20), (29, 30), (400, 1000)])
def test_a_chance_is_the_beta_of_its_counts(tmp_path, successes, attempts):
    section = {"successes": successes, "attempts": attempts}
    chance = only(measurements(tmp_path, {"practice": {"score": section}}, ACTIONS)).get("chance of 'score'")
    belief = stats.beta(successes + 1, attempts - successes + 1)  # uniform prior: Gelman et al., section 2.4
    low, high = belief.interval(0.95)
    assert chance.value == pytest.approx(belief.mean(), rel=1e-12)
    assert chance.half_width == pytest.approx(max(high - belief.mean(), belief.mean() - low), rel=1e-9)


def test_a_mean_time_has_students_interval_and_a_spread_chi_squares(tmp_path):
    times = np.random.default_rng(3).normal(3.0, 0.4, 11).round(3)
    section = {"times": [f"{t} s" for t in times]}
    found = only(measurements(tmp_path, {"practice": {"score": section}}, ACTIONS))
    mean, spread = found.get("time of 'score'"), found.get("spread of the time of 'score'")
    low, high = stats.t.interval(0.95, 10, times.mean(), stats.sem(times))
    assert (mean.value - mean.half_width, mean.value + mean.half_width) == pytest.approx((low, high), rel=1e-9)
    assert spread.value == pytest.approx(times.std(ddof=1), rel=1e-9)
    h = spread.half_width / spread.value
    assert stats.chi2.cdf(10 / (1 - h) ** 2, 10) - stats.chi2.cdf(10 / (1 + h) ** 2, 10) == pytest.approx(
        0.95, abs=1e-9
    )
