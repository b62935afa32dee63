"""The fitting core against certified least squares and against scipy's own, and what it says it cannot tell."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import curve_fit

from fieldworthy.measure.fitting import Parameter, solve

STRD = json.loads((Path(__file__).parents[1] / "cases" / "nist_strd.json").read_text("utf-8"))["datasets"]
MODELS = {
    "Norris": lambda b, x: b[0] + b[1] * x,
    "Longley": lambda b, x: b[0] + b[1:] @ x,
    "Misra1a": lambda b, x: b[0] * (1.0 - np.exp(-b[1] * x)),
    "Roszman1": lambda b, x: b[0] - b[1] * x - np.arctan(b[2] / (x - b[3])) / np.pi,
    "Eckerle4": lambda b, x: b[0] / b[1] * np.exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
    "MGH09": lambda b, x: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    "Thurber": lambda b, x: (
        (b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3) / (1.0 + b[4] * x + b[5] * x**2 + b[6] * x**3)
    ),
}
RUNS = [(d, start) for d in STRD for start in (d["starts"] or [[0.0] * len(d["estimate"])])]


def fitted(data, start, **how):
    x, y = np.array(data["x"], dtype=float), np.array(data["y"], dtype=float)
    model = MODELS[data["name"]]
    spans = [abs(b) for b in data["estimate"]]
    parameters = [Parameter(f"b{i}", s, spans[i]) for i, s in enumerate(start)]
    return solve(lambda b: y - model(b, x), parameters, **how)


@pytest.mark.parametrize(("data", "start"), RUNS, ids=[f"{d['name']}-{i}" for i, (d, _) in enumerate(RUNS)])
def test_certified_values_standard_deviations_and_residuals(data, start, evidence):
    """NIST StRD, linear and nonlinear, from both of its starting points: 6 digits of value, 5 of deviation."""
    found = fitted(data, start, known=False, robust=False)
    evidence(
        "measure",
        "Fitted values and their standard deviations, over the certified ones",
        "NIST StRD, certified to 11 digits",
        "seven data sets, linear and nonlinear, from both starting points",
        "",
        np.concatenate([found.values, np.sqrt(np.diag(found.covariance))]),
        [*data["estimate"], *data["standard_deviation"]],
    )
    # a coefficient of Longley is a sixth of its own deviation: its digits are counted in that
    near = 1e-6 * np.maximum(np.abs(data["estimate"]), data["standard_deviation"])
    assert np.all(np.abs(found.values - data["estimate"]) <= near)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(data["standard_deviation"], rel=1e-5)
    assert found.residuals @ found.residuals == pytest.approx(data["residual_sum_of_squares"], rel=1e-9)
    assert found.dof == len(data["y"]) - len(data["estimate"])


def test_half_width_is_that_of_students_t():
    """12 degrees of freedom: 2.179 in every table of Student's t at 97.5 %."""
    misra = next(d for d in STRD if d["name"] == "Misra1a")
    found = fitted(misra, misra["starts"][1], known=False, robust=False)
    assert found.half_width("b0") / misra["standard_deviation"][0] == pytest.approx(2.179, abs=5e-4)


def test_known_errors_and_a_given_parameter_against_curve_fit():
    """scipy.optimize.curve_fit with absolute_sigma; what is given beforehand is one more reading there."""
    rng = np.random.default_rng(4)
    x = np.linspace(0.0, 2.0, 400)
    y = 3.0 * np.exp(-0.8 * x) + rng.normal(0.0, 0.05, x.size)
    found = solve(
        lambda b: (y - b[0] * np.exp(-b[1] * x)) / 0.05,
        [Parameter("size", 1.0, 5.0, given=0.5), Parameter("rate", 1.0, 5.0)],
        robust=False,
    )

    def with_given(x, size, rate):
        return np.append(size * np.exp(-rate * x[:-1]), size)

    sigma = np.append(np.full(x.size, 0.05), 0.5)
    values, covariance = curve_fit(
        with_given, np.append(x, 0.0), np.append(y, 1.0), [1.0, 1.0], sigma, absolute_sigma=True
    )
    assert found.values == pytest.approx(values, rel=1e-6)
    # ours weighs the stated error with the scatter, which of 400 readings lies within 3.5 % of it (one in twenty)
    assert found.covariance == pytest.approx(covariance, rel=0.12)


def test_robust_covariance_is_near_the_plain_one_for_normal_readings():
    """Huber's theory: at this bend a normal sample loses less than a tenth of its efficiency, and gains none."""
    rng = np.random.default_rng(5)
    x = np.linspace(0.0, 1.0, 2000)
    y = 1.0 + 2.0 * x + rng.standard_normal(x.size)
    line = [Parameter("a", 0.0, 9.0), Parameter("b", 0.0, 9.0)]
    plain, robust = (solve(lambda p: y - p[0] - p[1] * x, line, robust=r) for r in (False, True))
    ratio = robust.half_width("b") / plain.half_width("b")
    assert 0.99 < ratio < 1.05


def test_wild_readings_hardly_move_a_robust_fit():
    rng = np.random.default_rng(6)
    x = np.linspace(0.0, 1.0, 40)
    y = 1.0 + 2.0 * x + 0.1 * rng.standard_normal(x.size)
    y[[2, 37]] += (-4.0, 7.0)
    line = [Parameter("a", 0.0, 9.0), Parameter("b", 0.0, 9.0)]
    plain, robust = (solve(lambda p: (y - p[0] - p[1] * x) / 0.1, line, robust=r) for r in (False, True))
    assert abs(robust.value("b") - 2.0) < 0.2 < abs(plain.value("b") - 2.0)
    assert abs(robust.value("b") - 2.0) < robust.half_width("b") < 0.5
