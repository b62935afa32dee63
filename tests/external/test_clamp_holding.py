"""Holding forces against equilibrium by linear programming, toggles against virtual work by SciPy."""

import numpy as np
import pytest
from scipy.optimize import brentq, linprog

from fieldworthy.physics.contact import clamp


def _largest_pull(down, face, mu, seat_mu, weight):
    """The largest pull on a rim that friction cones and a jaw held down with a given force can still balance.

    Unknowns: pull, the face's normal and rub, the seat's normal and rub. The face's normal stands at ``face`` above
    the pull's line; the jaw carries it with at most its down-force, and presses the rim with the rest from above.
    """
    c, s = np.cos(face), np.sin(face)
    # Rows: the rim along the pull, the rim upright, with the jaw's flat top taking normal n and rub t.
    # x = [F, R, f, n, t, N, T]
    along = [1, -c, -s, 0, -1, 0, -1]
    upright = [0, -s, c, -1, 0, 1, 0]
    jaw = [0, s, -c, 1, 0, 0, 0]
    cones = (
        [[0, -mu, k, 0, 0, 0, 0] for k in (1, -1)]
        + [[0, 0, 0, -mu, k, 0, 0] for k in (1, -1)]
        + [[0, 0, 0, 0, 0, -seat_mu, k] for k in (1, -1)]
    )
    free = (None, None)
    bounds = [(0, None), (0, None), free, (0, None), free, (0, None), free]
    found = linprog([-1, 0, 0, 0, 0, 0, 0], cones, np.zeros(6), [along, upright, jaw], [0, weight, down], bounds)
    return np.inf if found.status == 3 else -found.fun


@pytest.mark.parametrize("degrees", [5, 20, 35, 60, 90])
@pytest.mark.parametrize(("mu", "seat_mu", "weight"), [(0.2, 0.3, 0.0), (0.5, 0.4, 8.0), (0.0, 0.0, 0.0)])
def test_holding_force_by_linear_programming(degrees, mu, seat_mu, weight, evidence):
    gain = clamp.hook_gain(np.radians(degrees), mu)
    ours = clamp.holding_force(40.0, gain, seat_mu, weight)
    found = _largest_pull(40.0, np.radians(degrees), mu, seat_mu, weight)
    evidence(
        "clamp",
        "Largest pull that a jaw on a rim resists",
        "equilibrium with friction cones by linear programming",
        "faces of 5 to 90 degrees, friction 0 to 0.5, 40 N on the jaw",
        "N",
        ours,
        found,
    )
    assert ours == pytest.approx(found, rel=1e-7, abs=1e-9)


def test_pressure_at_which_it_slips_by_root_finding():
    gain, mu, weight, per, spring, pull = clamp.hook_gain(0.9, 0.3), 0.25, 6.0, 1.2e-4, 5.0, 60.0

    def spare(p):
        force = clamp.jaw_force(p, per, spring)
        return _largest_pull(float(force), 0.9, 0.3, mu, weight) - pull

    found = brentq(spare, 0.0, 8e5, xtol=1e-4)
    assert clamp.slip_pressure(pull, per, spring, gain, mu, weight) == pytest.approx(found, rel=1e-6)


def test_limits_of_the_slip_pressure():
    assert clamp.slip_pressure(10.0, 1e-4, 100.0, 1.0, 0.3) == 0.0
    assert clamp.slip_pressure(10.0, 0.0, 0.0, 1.0, 0.3) == np.inf
    assert clamp.slip_pressure(10.0, 1e-4, 0.0, 0.0, 0.0) > 1e200
    assert clamp.slip_pressure(10.0, 1e-4, 0.0, np.inf, 0.3) == 0.0
    assert clamp.holding_force(0.0, np.inf, 0.3, 10.0) == pytest.approx(3.0, rel=1e-12)


def test_half_pressure_holds_half():
    # A straight line through the origin where neither spring nor weight helps.
    gain, full = clamp.hook_gain(np.pi / 2, 0.6), clamp.jaw_force(6e5, 1e-4)
    held = clamp.holding_force(clamp.jaw_force(3e5, 1e-4), gain, 0.2)
    assert held == pytest.approx(0.5 * clamp.holding_force(full, gain, 0.2), rel=1e-12)
    # A flat jaw holds by friction above and below only: Coulomb.
    assert clamp.holding_force(full, gain, 0.2) == pytest.approx(60.0 * 0.8, rel=1e-12)


@pytest.mark.parametrize(("link", "other"), [(0.05, 0.05), (0.04, 0.07)])
@pytest.mark.parametrize("knee", [0.002, 0.01, 0.02])
def test_toggle_by_virtual_work(link, other, knee):
    # The outer pins' distance as a function of the knee's height, differentiated numerically: F dh = Q dx.
    span = lambda h: np.sqrt(link**2 - h**2) + np.sqrt(other**2 - h**2)  # noqa: E731
    step = 1e-6
    force = -(span(knee + step) - span(knee - step)) / (2 * step)
    # The central difference is good to step^2 / link^2, some 1e-9.
    assert clamp.over_centre_release(100.0, knee, link, other) == pytest.approx(100 * force, rel=1e-6)
    assert clamp.over_centre_release(100.0, -knee, link, other, 7.0) == pytest.approx(7 - 100 * force, rel=1e-6)


def test_refusals():
    with pytest.raises(ValueError, match="face_angle"):
        clamp.hook_gain(2.0, 0.3)
    with pytest.raises(ValueError, match="friction"):
        clamp.hook_gain(0.5, -0.3)


@pytest.mark.parametrize(("link", "other", "past"), [(0.05, 0.05, 0.002), (0.04, 0.07, 0.004)])
def test_peak_through_the_centre_by_exact_geometry(link, other, past):
    # The pins' exact distance, a linear spring from first touch, and the greatest force over a fine walk of the knee.
    preload, stiffness = 120.0, 4e5
    knee = np.linspace(0.0, 0.3 * min(link, other), 20001)
    shorter = lambda h: link + other - np.sqrt(link**2 - h**2) - np.sqrt(other**2 - h**2)  # noqa: E731
    squeeze = np.maximum(preload / stiffness + shorter(past) - shorter(knee), 0.0)
    rise = knee / np.sqrt(link**2 - knee**2) + knee / np.sqrt(other**2 - knee**2)
    found = (stiffness * squeeze * rise).max()
    assert squeeze[-1] == 0.0
    # The function takes small angles: the first touch is at up to 0.14 of a link, so its square is 2 % at most.
    assert clamp.over_centre_peak(preload, stiffness, past, link, other) == pytest.approx(found, rel=0.02)
