"""Chance: counts, intervals and draws against printed values, scipy.stats and the textbook cases."""

import numpy as np
import pytest
from scipy import stats

from fieldworthy.physics.chance import chance
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
    successes = np.arange(11.0)
    each = belief.predict(successes, 10)
    mean = (successes * each).sum()
    assert mean == pytest.approx(want["mean"], rel=1e-9)
    assert ((successes - mean) ** 2 * each).sum() == pytest.approx(want["var"], rel=1e-8)
    assert belief.predict(10, 10) == pytest.approx(want["P(10 of 10)"], rel=1e-8)
    assert each[8:].sum() == pytest.approx(want["P(>=8)"], rel=1e-8)
    assert belief.predict(1, 1) == pytest.approx(want["P(next success)"], rel=1e-9)


U = np.linspace(0.001, 0.999, 41)


def test_lognormal_has_the_mean_and_deviation_asked_for():
    # scipy.stats.lognorm with the log parameters solved from its own mean and deviation.
    s = np.sqrt(np.log1p((0.6 / 2.5) ** 2))
    frozen = stats.lognorm(s, scale=2.5 / np.sqrt(1.0 + (0.6 / 2.5) ** 2))
    assert (frozen.mean(), frozen.std()) == pytest.approx((2.5, 0.6), rel=1e-12)


def test_normal_quantile_and_mean_interval_against_scipy():
    np.testing.assert_allclose(chance.normal_quantile(U), stats.norm.ppf(U), rtol=1e-12, atol=1e-15)
    x = np.random.default_rng(5).gamma(2.0, size=(3, 17))
    mean, low, high = chance.mean_interval(x, 0.9)
    expected = stats.ttest_1samp(x, 0.0, axis=1).confidence_interval(0.9)
    np.testing.assert_allclose(mean, x.mean(axis=1), rtol=1e-13)
    np.testing.assert_allclose([low, high], [expected.low, expected.high], rtol=1e-10)
