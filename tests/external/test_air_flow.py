"""ISO 6358 flow against its equations, an ideal nozzle of CoolProp's real air, and rows of elements solved anew."""

import numpy as np
import pytest
from scipy.optimize import brentq

from fieldworthy.physics.gas import air
from reference import case, cases

DM3 = 1e-8  # 1 dm3/(s bar) in m3/(s Pa)


@pytest.mark.parametrize("given", cases("iso6358-flow"), ids=lambda c: c["id"])
def test_mass_flow_of_the_standard(given):
    # ISO 6358-1 evaluated by hand, formula from memory
    g = given["given"]
    m = air.mass_flow(g["p1_abs_bar"] * 1e5, g["p2_abs_bar"] * 1e5, g["C_dm3_per_s_bar"] * DM3, g["b"], g["T_K"])
    assert m * 1e3 == pytest.approx(given["expect"]["mass_flow_g_per_s"], rel=given["rel_tol"])


@pytest.mark.parametrize("ratio", ["0.2", "0.3", "0.5", "0.8", "0.95"])
def test_flow_01_choked_and_subsonic(ratio):
    expected = case("FLOW-01")["expected"][f"mdot_r={ratio}"]
    m = air.mass_flow(7e5, 7e5 * float(ratio), 0.5 * DM3, 0.3, 293.15)
    assert m * 1e3 == pytest.approx(expected["value"], rel=1e-5)


def test_flow_stops_at_equal_pressures_and_does_not_turn_back():
    m = air.mass_flow(np.array([2e5, 2e5]), np.array([2e5, 3e5]), 1e-8, 0.3, 293.15)
    assert m == pytest.approx([0.0, 0.0], abs=1e-15)


def exact_row(elements, p1, p2):
    """Mass flow of a row, each pressure between found by bisection with scipy."""

    def end(m):
        p = p1
        for e in elements:
            full = air.mass_flow(p, 0.0, e.C, e.b, 293.15)
            if m > full:
                return -1.0
            p = p * (e.b + (1 - e.b) * np.sqrt(1 - (m / full) ** 2)) if m < full else p * e.b
        return p - p2

    top = air.mass_flow(p1, 0.0, elements[0].C, elements[0].b, 293.15)
    top *= 1 - 1e-12
    return top if end(top) > 0 else brentq(end, 0.0, top, xtol=1e-15)  # the first element may limit alone


def test_elements_in_series_against_the_row_solved_anew():
    rng = np.random.default_rng(4)
    off = []
    for _ in range(80):
        row = [air.Element(rng.uniform(0.1, 0.8) * DM3, rng.uniform(0.15, 0.5)) for _ in range(3)]
        both = air.in_series(*row)
        for ratio in (0.1, 0.5, 0.8, 0.97):
            m = exact_row(row, 7e5, 7e5 * ratio)
            off.append(air.mass_flow(7e5, 7e5 * ratio, both.C, both.b, 293.15) / m - 1.0)
    off = np.array(off).reshape(-1, 4)
    # elements like those of one line: within the docstring's bounds
    assert 0.005 < np.max(np.abs(off[:, 0])) < 0.012
    assert 0.012 < np.max(np.abs(off)) < 0.02
    assert np.max(np.abs(off[:, 3])) < 0.002


@pytest.mark.long
def test_bounds_of_rows_hold_for_many_of_them():
    rng = np.random.default_rng(11)
    off = []
    for _ in range(3000):
        row = [air.Element(rng.uniform(0.05, 1.0) * DM3, rng.uniform(0.1, 0.6)) for _ in range(3)]
        both = air.in_series(*row)
        for ratio in (0.05, 0.3, 0.5, 0.7, 0.9):
            m = exact_row(row, 7e5, 7e5 * ratio)
            off.append(air.mass_flow(7e5, 7e5 * ratio, both.C, both.b, 293.15) / m - 1.0)
    off = np.abs(np.array(off).reshape(-1, 5))
    # the docstring's bounds, and not far inside them
    assert 0.014 < np.max(off[:, 0]) < 0.018
    assert 0.02 < np.max(off) < 0.027


@pytest.mark.parametrize(("bore", "length"), [(2.5e-3, 0.5), (2.5e-3, 1.0), (4e-3, 1.0), (4e-3, 2.0)])
def test_tube_against_fanno_flow(bore, length):
    # adiabatic pipe flow with the Blasius friction factor (textbook; viscosity 1.82e-5 Pa s), choked at the end and
    # entered through a nozzle; the empirical fit and Blasius differ by up to 15 %
    def friction_length(M):
        return (1 - M**2) / (1.4 * M**2) + 6 / 7 * np.log(1.2 * M**2 / (1 + 0.2 * M**2))

    def flux(M, p0):
        return p0 * M * np.sqrt(1.4 / (287.05 * 293.15)) * (1 + 0.2 * M * M) ** -3

    def miss(M, p0=7e5):
        f = 0.3164 * (flux(M, p0) * bore / 1.82e-5) ** -0.25
        return f * length / bore - friction_length(M)

    M = brentq(miss, 1e-3, 0.999)
    C = flux(M, 7e5) * np.pi / 4 * bore**2 / (1.185 * 7e5)
    assert pytest.approx(C, rel=0.15) == air.tube(bore, length).C
    assert 0.1 < air.tube(bore, length).b < 0.55


@pytest.mark.parametrize(("C", "b"), [(0.0, 0.3), (1e-8, 1.0), (1e-8, -0.1), (float("nan"), 0.3)])
def test_impossible_elements_are_refused(C, b):
    with pytest.raises(ValueError, match="must be"):
        air.Element(C, b)


def test_a_connection_needs_an_element():
    with pytest.raises(ValueError, match="at least one"):
        air.in_series()
