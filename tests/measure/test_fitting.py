"""The fitting core: coverage, what cannot be told, bounds, derived quantities, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import t

from fieldworthy.measure.fitting import Parameter, solve, stepped

X = np.linspace(0.0, 1.0, 12)
LINE = [Parameter("height", 0.0, 9.0), Parameter("slope", 0.0, 9.0)]


def line(seed: int, *, known: bool, robust: bool, spoiled: bool = False):
    rng = np.random.default_rng(seed)
    y = 1.5 + 2.0 * X + 0.1 * rng.standard_normal(X.size)
    if spoiled:
        y[rng.integers(X.size)] += 1.5
    return solve(lambda p: (y - p[0] - p[1] * X) / (0.1 if known else 1.0), LINE, known=known, robust=robust)


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("robust", [True, False])
def test_intervals_cover_in_about_95_of_100(known, robust):
    fits = [line(seed, known=known, robust=robust) for seed in range(200)]
    hits = np.mean([abs(f.value("slope") - 2.0) <= f.half_width("slope") for f in fits])
    assert 0.90 <= hits <= 0.99


def test_intervals_still_cover_when_one_reading_in_twelve_is_wild():
    fits = [line(seed, known=True, robust=True, spoiled=True) for seed in range(100)]
    assert np.mean([abs(f.value("slope") - 2.0) <= f.half_width("slope") for f in fits]) >= 0.90
    assert np.mean([f.half_width("slope") for f in fits]) < 0.4


def test_two_that_only_add_up_cannot_be_told_apart():
    found = solve(lambda p: (3.0 - p[0] - p[1]) * np.ones(5) / 0.1, LINE)
    assert found.why_not("height") == "only a combination of height and slope can be told"
    total, half = found.derived(lambda p: float(p[0] + p[1]))
    assert total == pytest.approx(3.0)
    assert half < 0.2


def test_a_third_parameter_is_told_though_two_are_not():
    found = solve(
        lambda p: np.concatenate(((3.0 - p[0] - p[1]) * np.ones(5), (2.0 - p[2]) * np.ones(3))) / 0.1,
        [*LINE, Parameter("offset", 0.0, 9.0)],
    )
    assert found.why_not("offset") is None
    assert found.half_width("offset") == pytest.approx(1.96 * 0.1 / np.sqrt(3.0), rel=0.3)
    assert found.why_not("slope") is not None


def test_as_many_readings_as_unknowns_tell_no_spread_unless_it_is_known():
    points = [Parameter("height", 0.0, 9.0), Parameter("slope", 0.0, 9.0)]
    y = np.array([1.0, 2.0])
    unknown = solve(lambda p: y - p[0] - p[1] * np.array([0.0, 1.0]), points, known=False, robust=False)
    assert "as many unknowns as readings" in (unknown.why_not("slope") or "")
    known = solve(lambda p: (y - p[0] - p[1] * np.array([0.0, 1.0])) / 0.1, points)
    assert known.value("slope") == pytest.approx(1.0)
    assert known.why_not("slope") is None


def test_an_answer_at_its_bound_is_said_to_stand_there():
    found = solve(lambda p: (np.full(4, -1.0) - p[0]) / 0.1, [Parameter("leak", 1.0, 5.0, low=0.0)])
    assert found.at_bound == ("leak",)
    assert "at the end of what is possible" in (found.why_not("leak") or "")


def test_derived_quantities_carry_the_correlation():
    """For a line through points about x = 1/2, the height there is known better than at either end."""
    found = line(0, known=True, robust=False)
    _, middle = found.derived(lambda p: float(p[0] + 0.5 * p[1]))
    assert middle == pytest.approx(t.ppf(0.975, found.dof) * 0.1 / np.sqrt(12.0), rel=0.25)
    assert middle < 0.6 * found.half_width("height")


def test_what_is_given_beforehand_counts_as_one_reading():
    readings = 5.0 * np.ones(4)
    found = solve(lambda p: (readings - p[0]) / 0.2, [Parameter("length", 4.0, 9.0, given=0.1)], robust=False)
    # four readings of 0.2 weigh as much as one of 0.1
    assert found.value("length") == pytest.approx(4.5, abs=1e-6)


def test_refuses_what_makes_no_sense():
    with pytest.raises(ValueError, match="no reading"):
        solve(lambda p: np.zeros(0), LINE)
    with pytest.raises(ValueError, match="given beforehand"):
        solve(lambda p: p, [Parameter("a", 0.0, 1.0, given=1.0)], known=False)
    with pytest.raises(ValueError, match="positive span"):
        Parameter("a", 0.0, 0.0)
    with pytest.raises(ValueError, match="within the bounds"):
        Parameter("a", -1.0, 1.0, low=0.0)


def test_parameters_that_share_no_reading_are_stepped_together_and_found_alike():
    """Straight lines with one slope in common and an intercept each, held to numpy's own least squares."""
    rng = np.random.default_rng(3)
    lines, points = 40, 4
    x = rng.uniform(0.0, 1.0, (lines, points))
    y = 2.0 * x + rng.normal(0.0, 1.0, (lines, 1)) + rng.normal(0.0, 0.1, x.shape)
    sets = []

    def residual(values):
        sets.append(values.size // (lines + 1))
        return ((y - values[..., :1, None] * x - values[..., 1:, None]) / 0.1).reshape(*values.shape[:-1], -1)

    parameters = [Parameter("slope", 1.0, 10.0), *(Parameter(f"intercept {i}", 0.0, 10.0) for i in range(lines))]
    moves = np.hstack((np.ones((lines * points, 1), bool), np.repeat(np.eye(lines, dtype=bool), points, axis=0)))
    values = np.linspace(-1.0, 1.0, lines + 1)
    alone = stepped(residual, parameters)(values)
    assert max(sets) == 2 * (lines + 1)
    sets.clear()
    together = stepped(residual, parameters, moves)(values)
    assert sets == [4]
    assert np.allclose(together, alone, atol=1e-6)
    found = solve(residual, parameters, robust=False, slopes=stepped(residual, parameters, moves))
    design = np.hstack((x.reshape(-1, 1), np.repeat(np.eye(lines), points, axis=0)))
    wanted = np.linalg.lstsq(design, y.reshape(-1), rcond=None)[0]
    assert np.allclose(found.values, wanted, atol=1e-6)
