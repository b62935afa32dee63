"""Value of information, held to a case worked by hand, to closed forms and to nested Monte Carlo."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from fieldworthy.physics.chance.chance import Beta
from fieldworthy.physics.chance.information import (
    after_tries,
    equally_likely,
    information_value,
    value_of_knowing,
    value_of_tries,
)

UNIFORM = Beta(1.0, 1.0)


def two_acts(rates):
    """Act one earns 5 points for sure, act two 10 points with a chance of which nothing is known."""
    return np.stack([np.full_like(rates, 5.0), 10.0 * rates], axis=-1)


def test_two_acts_worked_by_hand():
    """Knowing p: the mean of max(5, 10 p) is 5 / 2 + (10 - 2.5) / 2 = 6.25, so knowing it is worth 1.25 points.

    One try: after a success, chance 1/2, the mean of p is 2/3, and act two earns 6.67; after a failure act one is taken
    for 5. Worth (6.67 + 5) / 2 - 5 = 5/6. Two tries: 0, 1, 2 successes are equally likely, the means of p are 1/4, 1/2,
    3/4: (5 + 5 + 7.5) / 3 - 5 = 5/6. Three: means 1/5, 2/5, 3/5, 4/5, a quarter each: (5 + 5 + 6 + 8) / 4 - 5 = 1.
    """
    rates = equally_likely(UNIFORM)
    means = two_acts(rates)
    assert information_value(means) == pytest.approx(1.25, abs=1e-5)
    for tries, worth in ((0, 0.0), (1, 5 / 6), (2, 5 / 6), (3, 1.0)):
        assert after_tries(means, rates, tries) == pytest.approx(worth, abs=1e-5)
    assert after_tries(means, rates, 2000) == pytest.approx(1.25, rel=0.002)


def test_the_hand_worked_case_from_noisy_draws():
    rng = np.random.default_rng(1)
    drawn = rng.beta(1.0, 1.0, 2000)
    benefits = two_acts(drawn) + rng.normal(0.0, 4.0, (2000, 2))
    knowing, trying = value_of_knowing(benefits, drawn[:, None]), value_of_tries(benefits, drawn, UNIFORM, 3)
    assert knowing.value == pytest.approx(1.25, abs=3 * knowing.error)
    assert 0.0 < knowing.error < 0.15
    assert trying.value == pytest.approx(1.0, abs=3 * trying.error)


def test_a_normal_difference_has_its_closed_form():
    # unit normal loss integral, Raiffa and Schlaifer 1961, ch. 5 (from memory); the densities by SciPy
    rng = np.random.default_rng(2)
    mean, part, rest = -1.0, 2.0, 3.0
    x = rng.standard_normal(4000)
    gap = mean + part * x + rest * rng.standard_normal(4000)
    benefits = np.stack([np.zeros(4000), gap], axis=1)
    z = mean / part
    exact = part * float(stats.norm.pdf(z)) + mean * float(stats.norm.cdf(z))
    found = value_of_knowing(benefits, x[:, None])
    assert found.value == pytest.approx(exact, abs=3 * found.error + 0.02)


def curved(x, y, w):
    """Three acts whose benefits bend in two inputs and depend on their product."""
    return np.stack([2.0 * np.sin(1.5 * x) + y, 1.0 + 0.8 * x * y, 0.6 * x**2 - 0.5 + w], axis=-1)


def nested(rng, known, outer=4000, inner=200):
    """Nested Monte Carlo: the mean benefit of each act in an inner loop for each answer of an outer one."""
    x, y = rng.standard_normal((2, outer, 1)) * np.ones((outer, inner))
    others = rng.standard_normal((3, outer, inner))
    inside = curved(x if "x" in known else others[0], y if "y" in known else others[1], others[2]).mean(axis=1)
    return float(inside.max(axis=1).mean() - inside.mean(axis=0).max())


@pytest.mark.parametrize("known", ["x", "y", "xy"])
def test_the_regression_estimator_agrees_with_nested_monte_carlo(known, evidence):
    rng = np.random.default_rng(3)
    exact = nested(rng, known)
    # of 4,000 draws the least of the three is known to 18 % (one standard deviation) and of 20,000 to 8 %
    x, y, w = rng.standard_normal((3, 20_000))
    benefits = curved(x, y, w) + rng.normal(0.0, 2.0, (20_000, 3))
    inputs = np.stack([{"x": x, "y": y}[name] for name in known], axis=1)
    found = value_of_knowing(benefits, inputs)
    evidence(
        "compare",
        "What finding something out is worth for the decision",
        "nested Monte Carlo, 4,000 times 200",
        "three acts, benefits that bend in two inputs and depend on their product",
        "points",
        found.value,
        exact,
    )
    # what bends in both inputs at once is not in the regression: 5 % of it
    assert found.value == pytest.approx(exact, abs=3 * found.error + 0.05 * exact)
    assert found.error < 0.025
    # the nested loops themselves, by the closed integral over a fine grid
    assert exact == pytest.approx(integrated(known), rel=0.08)


def integrated(known):
    """The same by integration: the mean over what is known of the best act's mean, less that of the best act."""
    grid = np.linspace(-6.0, 6.0, 601)
    weight = stats.norm.pdf(grid) / stats.norm.pdf(grid).sum()
    x, y = np.meshgrid(grid, grid, indexing="ij")
    sine, square, flat = 2.0 * np.sin(1.5 * x), 0.6 * x**2 - 0.5, np.zeros_like(x)
    means = {
        "x": (sine, flat + 1.0, square),
        "y": (y, flat + 1.0, flat + 0.1),
        "xy": (sine + y, 1.0 + 0.8 * x * y, square),
    }
    return float(weight @ np.max(means[known], axis=0) @ weight) - 1.0


@pytest.mark.long
def test_the_error_that_is_said_of_a_small_worth_is_its_scatter():
    """400 to 4,000 draws, as a decision has them, know a small worth to a sixth and worse, and must say so."""
    found = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        x, y, w = rng.standard_normal((3, 4000))
        found.append(value_of_knowing(curved(x, y, w) + rng.normal(0.0, 2.0, (4000, 3)), y[:, None]))
    values, errors = np.array([[one.value, one.error] for one in found]).T
    assert values.mean() == pytest.approx(integrated("y"), abs=3.0 * values.std() / len(found) ** 0.5 + 0.05 * 0.083)
    assert errors.mean() == pytest.approx(values.std(), rel=0.3)


def test_what_does_not_bear_on_the_choice_is_worth_nothing():
    rng = np.random.default_rng(4)
    x, y = rng.standard_normal((2, 1000))
    benefits = np.stack([10.0 + 3.0 * x, 5.0 + 3.0 * x], axis=1) + rng.normal(0.0, 1.0, (1000, 2))
    for inputs in (x, y):
        assert value_of_knowing(benefits, inputs[:, None]).value < 1e-6
    close = np.stack([y, y + rng.normal(0.0, 1.0, 1000)], axis=1)
    assert (
        value_of_knowing(close, x[:, None]).value < 0.06
    )  # the noise of choosing alone would be 0.4 / sqrt(1000) each


@pytest.mark.parametrize("draws", [1, 5, 29])
def test_too_few_draws_value_nothing(draws):
    rng = np.random.default_rng(5)
    assert value_of_knowing(rng.standard_normal((draws, 2)) + 1.0, rng.standard_normal((draws, 1))).value == 0.0


def test_an_input_that_does_not_vary_and_one_act_alone_are_worth_nothing():
    rng = np.random.default_rng(6)
    assert value_of_knowing(rng.standard_normal((100, 2)), np.ones((100, 1))).value == 0.0
    assert value_of_knowing(rng.standard_normal((100, 1)), rng.standard_normal((100, 1))).value == 0.0
    assert not math.isnan(value_of_knowing(rng.standard_normal((100, 2)), rng.integers(0, 2, (100, 1)) * 1.0).value)
