"""Fill and vent times in closed form against scipy's solve_ivp and published blow-down cases."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fieldworthy.physics.gas import chamber
from fieldworthy.physics.gas.flow import flow_function, orifice
from reference import case, cases

PSI, P_ATM = 6894.757293168361, 101325.0


@pytest.mark.parametrize("given", cases("blowdown"), ids=lambda c: c["id"])
def test_isothermal_vessel(given):
    g = given["given"]
    rate = chamber.chamber_rate(g["C_dm3_per_s_bar"] * 1e-8, g["volume_ml"] * 1e-6, g["T_K"])
    t = chamber.vent_time(g["p_gauge_psi"] * PSI + P_ATM, g["p_end_abs_Pa"], P_ATM, rate, g["b"])
    assert t == pytest.approx(given["expect"]["time_s"], rel=given["rel_tol"])


def test_blow_01_tank_through_one_square_millimetre():
    # closed forms and solve_ivp of the ideal nozzle; the standard's ellipse differs from it below the critical point
    expected = case("BLOW-01")["expected"]
    hole = orifice(1e-6)
    rate = chamber.chamber_rate(hole.C, 200e-6, 293.15)
    p0, p1, p2 = 100 * PSI + P_ATM, P_ATM / hole.b, 10 * PSI + P_ATM
    assert (p1 - P_ATM) / PSI == pytest.approx(expected["p_unchoke_gauge"]["value"], rel=1e-4)
    for name, end, tol in (("t_choked", p1, 1e-4), ("t_to_10psig", p2, 1e-3)):
        slow = chamber.vent_time(p0, end, P_ATM, rate, hole.b)
        fast = chamber.fast_vent_time(p0, end, P_ATM, rate, hole.b)
        assert slow == pytest.approx(expected[f"{name}_isothermal"]["value"], rel=tol)
        assert fast == pytest.approx(expected[f"{name}_adiabatic"]["value"], rel=tol)


def test_blow_02_free_expansion_of_a_large_tank():
    # inputs of Bird, Stewart and Lightfoot; answers computed; R of 28.97 g/mol is 287.0
    expected = case("BLOW-02")["expected"]
    hole = orifice(0.1 * 0.3048**2)
    rate = chamber.chamber_rate(hole.C, 10 * 0.3048**3, 300.0)
    assert 1.0 / hole.b == pytest.approx(expected["p_tank_unchoke"]["value"], rel=0.002)
    t = chamber.fast_vent_time(100 * P_ATM, P_ATM / hole.b, P_ATM, rate, hole.b)
    assert t == pytest.approx(expected["t_unchoke"]["value"], rel=0.003)


@pytest.mark.parametrize("b", [0.05, 0.2, 0.35, 0.5, 0.65])
def test_closed_forms_against_the_equations(b):
    # solve_ivp of p' = rate p_s psi, -rate p psi and -1.4 rate p (p/p0)**(1/7) psi; 2e-5 covers the approximant at
    # b = 0.05 (1e-5), elsewhere the agreement is near 1e-7
    rng = np.random.default_rng(int(b * 100))
    for _ in range(8):
        ps, rate = rng.uniform(2e5, 9e5), rng.uniform(1.0, 100.0)
        end = rng.uniform(0.1, 2.5) / rate

        def rhs(_, p, ps=ps, rate=rate):
            return [
                rate * ps * flow_function(p[0] / ps, b),
                -rate * p[1] * flow_function(P_ATM / p[1], b),
                -1.4 * rate * p[2] * (p[2] / ps) ** (1 / 7) * flow_function(P_ATM / p[2], b),
            ]

        y = solve_ivp(rhs, (0, end), [P_ATM, ps, ps], rtol=1e-10, atol=1e-3, method="LSODA").y[:, -1]
        assert chamber.filled_pressure(P_ATM, ps, end, rate, b) == pytest.approx(y[0], rel=2e-5)
        assert chamber.vented_pressure(ps, P_ATM, end, rate, b) == pytest.approx(y[1], rel=2e-5)
        if y[0] < 0.999 * ps:
            assert chamber.fill_time(P_ATM, y[0], ps, rate, b) == pytest.approx(end, rel=1e-5)
        if y[1] > 1.001 * P_ATM:
            assert chamber.vent_time(ps, y[1], P_ATM, rate, b) == pytest.approx(end, rel=1e-5)
        if y[2] > 1.001 * P_ATM:
            assert chamber.fast_vent_time(ps, y[2], P_ATM, rate, b) == pytest.approx(end, rel=1e-5)


def test_ends_of_the_range():
    # what no time reaches is infinite, what is there already takes none, and long venting ends at the atmosphere
    assert chamber.fill_time(1e5, 6e5, 5e5, 10.0, 0.3) == np.inf
    assert chamber.fill_time(3e5, 2e5, 5e5, 10.0, 0.3) == pytest.approx(0.0, abs=1e-12)
    assert chamber.vent_time(5e5, 0.9e5, 1e5, 10.0, 0.3) == np.inf
    assert chamber.fast_vent_time(5e5, 0.9e5, 1e5, 10.0, 0.3) == np.inf
    assert chamber.vent_time(2e5, 3e5, 1e5, 10.0, 0.3) == pytest.approx(0.0, abs=1e-12)
    b = np.array([0.0, 0.1, 0.5, 0.7, 0.9])
    assert chamber.vented_pressure(5e5, 1e5, 100.0, 10.0, b)[1:] == pytest.approx([1e5] * 4, rel=1e-9)
    assert chamber.filled_pressure(1e5, 5e5, 100.0, 10.0, b) == pytest.approx([5e5] * 5, rel=1e-9)
