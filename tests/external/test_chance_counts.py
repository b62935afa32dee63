"""Chance: counts, intervals and draws against printed values, scipy.stats and the textbook cases."""

import itertools

import numpy as np
import pytest
from scipy import stats

from fieldworthy.physics.chance import chance, draws
from reference import case, cases


@pytest.mark.parametrize("ref", cases("chance-"), ids=lambda ref: ref["id"])
def test_counts_give_the_reference_intervals(ref):
    given, want, tol = ref["given"], ref["expect"], ref["rel_tol"]
    belief = chance.posterior(given["successes"], given["attempts"])
    assert belief.mean == pytest.approx(want["beta_mean"], rel=tol)
    assert belief.interval() == pytest.approx((want["beta_low"], want["beta_high"]), rel=tol)
    found = chance.wilson_interval(given["successes"], given["attempts"])
    assert found == pytest.approx((want["wilson_low"], want["wilson_high"]), rel=tol, abs=1e-12)


def test_posterior_of_a_textbook_example():
    # REL-01, strength A: Bayesian Data Analysis, section 2.4; eight digits read on a page that works it on a grid.
    ref = case("REL-01")
    given, want = ref["inputs"], ref["expected"]
    belief = chance.posterior(given["successes"], given["n"])
    low, high = belief.interval()
    found = {"mean": belief.mean, "q025": low, "q975": high, "sd": belief.sd}
    found["P(theta<0.485)"] = belief.chance_below(0.485)
    for name, value in found.items():
        tol = want[name]["tol"]
        assert value == pytest.approx(want[name]["value"], abs=tol.get("abs", 0.0), rel=tol.get("rel", 0.0)), name


def test_wilson_interval_of_another_program():
    # REL-02, strength A: values of R, as tabulated in the tests of two libraries.
    want = case("REL-02")["expected"]
    assert case("REL-02")["inputs"]["k/n"]
    for name in case("REL-02")["inputs"]["k/n"]:
        k, n = map(int, name.split("/"))
        low, high = chance.wilson_interval(k, n, 0.95)
        assert low == pytest.approx(want[f"{name}_low"]["value"], abs=1e-6), name
        assert high == pytest.approx(want[f"{name}_high"]["value"], abs=1e-6), name


def test_prediction_from_practice():
    # REL-04, strength B: scipy's beta-binomial and the rule of succession.
    want = {key: each["value"] for key, each in case("REL-04")["expected"].items()}
    belief = chance.posterior(18, 20)
    mean, sd = belief.predicted_moments(10)
    assert mean == pytest.approx(want["mean"], rel=1e-9)
    assert sd**2 == pytest.approx(want["var"], rel=1e-8)
    assert belief.predict(10, 10) == pytest.approx(want["P(10 of 10)"], rel=1e-8)
    assert belief.predict_at_least(8, 10) == pytest.approx(want["P(>=8)"], rel=1e-8)
    assert belief.predict(1, 1) == pytest.approx(want["P(next success)"], rel=1e-9)


def test_prediction_and_binomial_against_scipy_over_all_counts():
    k = np.arange(13)
    belief = chance.posterior(np.array([[0.0], [3.0], [7.0]]), 7.0, prior=(0.5, 2.0))
    expected = stats.betabinom.pmf(k, 12, np.array([[0.5], [3.5], [7.5]]), np.array([[9.0], [6.0], [2.0]]))
    np.testing.assert_allclose(belief.predict(k, 12), expected, rtol=1e-11)
    for rate in (0.0, 0.03, 0.5, 1.0):
        np.testing.assert_allclose(chance.binomial(k, 12, rate), stats.binom.pmf(k, 12, rate), rtol=1e-11, atol=1e-15)


def test_points_of_a_sequence_against_enumeration():
    # REL-05, strength B: all 16 outcomes enumerated, again here.
    ref = case("REL-05")
    p, points = np.array(ref["inputs"]["p"]), np.array(ref["inputs"]["points"], dtype=float)
    moments = np.zeros((2, 2))
    for outcome in itertools.product([0, 1], repeat=4):
        weight = np.prod(np.where(outcome, p, 1.0 - p))
        stopped, free = np.dot(np.cumprod(outcome), points), np.dot(outcome, points)
        moments += weight * np.array([[stopped, stopped**2], [free, free**2]])
    for row, stops in zip(moments, (True, False), strict=True):
        mean, sd = chance.sequence_points(p, points, stops)
        assert mean == pytest.approx(row[0], rel=1e-12)
        assert sd == pytest.approx(np.sqrt(row[1] - row[0] ** 2), rel=1e-10)
    want = ref["expected"]
    assert chance.sequence_points(p, points, True)[0] == pytest.approx(want["E_stop"]["value"], rel=1e-9)
    assert chance.sequence_points(p, points, True)[1] == pytest.approx(want["sd_stop"]["value"], rel=1e-9)
    assert chance.sequence_points(p, points, False)[0] == pytest.approx(want["E_independent"]["value"], rel=1e-9)


U = np.linspace(0.001, 0.999, 41)


@pytest.mark.parametrize(
    ("mean", "sd", "low", "high"),
    [(3.0, 1.0, 0.0, np.inf), (0.1, 1.0, 0.0, np.inf), (-6.0, 1.0, 0.0, 2.0), (5.0, 2.0, 4.0, 5.5)],
)
def test_truncated_normal_against_scipy(mean, sd, low, high):
    expected = stats.truncnorm.ppf(U, (low - mean) / sd, (high - mean) / sd, loc=mean, scale=sd)
    np.testing.assert_allclose(draws.truncated_normal(U, mean, sd, low, high), expected, rtol=1e-8)


def test_lognormal_has_the_mean_and_deviation_asked_for():
    # scipy.stats.lognorm with the log parameters solved from its own mean and deviation.
    s = np.sqrt(np.log1p((0.6 / 2.5) ** 2))
    frozen = stats.lognorm(s, scale=2.5 / np.sqrt(1.0 + (0.6 / 2.5) ** 2))
    assert (frozen.mean(), frozen.std()) == pytest.approx((2.5, 0.6), rel=1e-12)
    np.testing.assert_allclose(draws.lognormal(U, 2.5, 0.6), frozen.ppf(U), rtol=1e-12)


def test_normal_quantile_and_mean_interval_against_scipy():
    np.testing.assert_allclose(chance.normal_quantile(U), stats.norm.ppf(U), rtol=1e-12, atol=1e-15)
    x = np.random.default_rng(5).gamma(2.0, size=(3, 17))
    mean, low, high = chance.mean_interval(x, 0.9)
    expected = stats.ttest_1samp(x, 0.0, axis=1).confidence_interval(0.9)
    np.testing.assert_allclose(mean, x.mean(axis=1), rtol=1e-13)
    np.testing.assert_allclose([low, high], [expected.low, expected.high], rtol=1e-10)


def test_quantile_interval_against_scipy_and_its_coverage():
    x = np.random.default_rng(6).standard_normal(60)
    for p in (0.1, 0.5, 0.9):
        expected = stats.quantile_test(x, p=p).confidence_interval(0.95)
        _, low, high = chance.quantile_interval(x, p, 0.95)
        assert (low, high) == pytest.approx((expected.low, expected.high), rel=1e-12)
    many = np.random.default_rng(7).standard_normal((4000, 60))
    _, low, high = chance.quantile_interval(many, 0.9, 0.9)
    truth = stats.norm.ppf(0.9)
    covered = np.sum((low <= truth) & (truth <= high))
    # Exact coverage of these order statistics from the binomial; five standard deviations of 4,000 trials.
    r, s = (np.searchsorted(np.sort(many[0]), end) for end in (low[0], high[0]))
    exact = stats.binom.cdf(s, 60, 0.9) - stats.binom.cdf(r, 60, 0.9)
    assert 0.9 <= exact < 0.98
    assert abs(covered - 4000 * exact) < 5.0 * np.sqrt(4000 * exact * (1 - exact))


def test_too_few_samples_leave_the_interval_open():
    assert chance.quantile_interval(np.array([1.0, 2.0, 3.0]), 0.5, 0.95)[1:] == (-np.inf, np.inf)
