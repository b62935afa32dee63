"""Tank balance against hand-worked recurrences, CoolProp's real air, and energy balances solved by scipy."""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from scipy.optimize import brentq

from fieldworthy.physics.gas import tank, tankplan
from fieldworthy.physics.gas.air import P_ATM, R_AIR
from fieldworthy.physics.gas.cylinder import Cylinder
from reference import case, cases

PSI = 6894.757293168361  # lbf/in2, exact by definition
ISO_CYLINDER = Cylinder(0.010, 0.004, 0.05)


@pytest.mark.parametrize("given", cases("air-strokes"), ids=lambda c: c["id"])
def test_unregulated_strokes_worked_by_hand(given):
    g = given["given"]
    dead = g["dead_ml_per_side"] * 1e-6
    c = Cylinder(g["bore_mm"] * 1e-3, g["rod_mm"] * 1e-3, g["stroke_mm"] * 1e-3, dead, dead)
    draws = [tank.extend_draw(c), tank.retract_draw(c)]
    start, V, n = g["p_gauge_psi"] * PSI + P_ATM, g["tank_ml"] * 1e-6, g["double_strokes"]
    end = given["expect"]["p_end_gauge_psi"]
    assert (tank.pressures_after(start, V, draws * n)[-1] - P_ATM) / PSI == pytest.approx(end, rel=1e-6)
    closed = tankplan.pressure_after_cycles(start, V, draws, n)
    assert (closed - P_ATM) / PSI == pytest.approx(end, rel=1e-6)
    # and back: with exactly that pressure needed by the last draw, this charge and this tank are what is needed
    last = tank.retract_draw(c, p_need=end * PSI + P_ATM)
    every = [*draws * (n - 1), draws[0], last]
    assert tankplan.charge_needed(V, every) == pytest.approx(start, rel=1e-6)
    assert tankplan.volume_needed(start, every) == pytest.approx(V, rel=1e-5)


def test_air_07_regulated_slow_and_fast():
    # ideal values: closed form; real ones: CoolProp, P(rho, T) and P(rho, s)
    expected = case("AIR-07")["expected"]
    start, p_set = 100 * PSI + P_ATM, 60 * PSI + P_ATM
    draws = [tank.extend_draw(ISO_CYLINDER, p_set), tank.retract_draw(ISO_CYLINDER, p_set)] * 10
    slow = (tank.pressures_after(start, 200e-6, draws)[-1] - P_ATM) / PSI
    fast = (tank.fast_pressures_after(start, 200e-6, draws)[-1] - P_ATM) / PSI
    assert slow == pytest.approx(expected["p_isothermal_ideal"]["value"], rel=1e-4)
    assert slow == pytest.approx(expected["p_isothermal_real"]["value"], rel=0.003)
    assert fast == pytest.approx(expected["p_adiabatic_ideal_g1.4"]["value"], rel=1e-4)
    assert fast == pytest.approx(expected["p_adiabatic_real"]["value"], rel=0.005)


def test_fast_equalising_against_real_air():
    # CoolProp: the air left keeps its entropy, the chamber's is at room temperature; scipy's root for the balance
    T, V, p0 = 293.15, 200e-6, 8e5
    s = PropsSI("S", "P", p0, "T", T, "Air")
    chamber = ISO_CYLINDER.swept_extend * 4
    m0 = PropsSI("D", "P", p0, "T", T, "Air") * V

    def miss(p):
        left = PropsSI("D", "P", p, "S", s, "Air") * V
        return left + PropsSI("D", "P", p, "T", T, "Air") * chamber - m0

    real = brentq(miss, 2e5, p0)
    warm = tank.after_fast_draw(p0, p0, V, 0.0, chamber, P_ATM, np.inf)
    assert tank.fast_pressure(warm, p0) == pytest.approx(real, rel=0.004)


def test_fast_draw_below_the_setting_equalises():
    # scipy's root of the same balance, over tanks that hold the setting before but not after the draw
    p_set, V, chamber, dead = 4e5, 1e-4, 1.5e-5, 2e-6
    for p0 in (3.0e5, 4.1e5, 4.6e5, 5.0e5):

        def left(p, p0=p0):
            return p0 * (p / p0) ** (1 / 1.4) * V + p * chamber - P_ATM * dead - p0 * V

        p_equal = brentq(left, 1e5, p0)
        used = min(p_equal, p_set) * chamber - P_ATM * dead
        expected = (p0 * V - used) / V
        assert tank.after_fast_draw(p0, p0, V, dead, chamber, P_ATM, p_set) == pytest.approx(expected, rel=1e-9)


def test_bounds_hold_a_tank_that_exchanges_some_heat():
    # an energy balance with finite heat exchange, integrated here in small steps, lies between both bounds
    V, chamber, T0, p0, p_set = 200e-6, 2e-5, 293.15, 8e5, 3e5
    mass, T = p0 * V / (R_AIR * T0), T0
    cv, steps = R_AIR / 0.4, 400
    used = p_set * chamber / (R_AIR * T0)
    for _ in range(12):
        for _ in range(steps):
            dm = used / steps
            heat = 0.5 * (T0 - T) * 0.1 / steps  # 0.5 W/K over 0.1 s a draw
            energy = mass * cv * T - dm * (cv + R_AIR) * T + heat
            mass -= dm
            T = energy / (mass * cv)
    p = mass * R_AIR * T / V
    draws = [tank.Draw(0.0, chamber, p_set)] * 12
    slow = tank.pressures_after(p0, V, draws)[-1]
    fast = tank.fast_pressures_after(p0, V, draws)[-1]
    assert fast + 0.02 * (slow - fast) < p < slow - 0.02 * (slow - fast)


def test_regulator_holds_and_then_passes_the_tank_on():
    # by hand: 300 kPa set, 100 mL tank at 330 kPa, 10 mL without dead volume: first 330 - 30 = 300 kPa exactly,
    # then 300 * 100 / 110
    draws = [tank.Draw(0.0, 1e-5, 3e5)] * 2
    found = tank.pressures_after(3.3e5, 1e-4, draws)
    assert found == pytest.approx([3.3e5, 3e5, 3e5 / 1.1], rel=1e-12)
    assert tank.fill_pressure(found[1:], 3e5) == pytest.approx([3e5, 3e5 / 1.1], rel=1e-12)


def test_counts_by_hand():
    # no regulator, 10 mL from 100 mL: 8e5 / 1.1**n >= 4e5 for n <= 7.27; regulated at 4e5: 8e5 - n 4e4 >= 4e5
    free, held = tank.Draw(0.0, 1e-5, p_need=4e5), tank.Draw(0.0, 1e-5, 4e5, p_need=4e5)
    assert tankplan.draws_before_short(8e5, 1e-4, [free]) == pytest.approx(7.0, abs=0.0)
    assert tankplan.draws_before_short(8e5, 1e-4, [held]) == pytest.approx(10.0, abs=0.0)
    weak = tank.Draw(0.0, 1e-5, 4e5, p_need=5e5)
    assert tankplan.draws_before_short(8e5, 1e-4, [held, weak]) == pytest.approx(1.0, abs=0.0)
    # n = 10 at 4e5, then 4e5 / 1.1**k >= 2e5 for k <= 7.27
    patient = tank.Draw(0.0, 1e-5, 4e5, p_need=2e5)
    assert tankplan.actuations_until_short(8e5, 1e-4, [patient]) == pytest.approx([17.0], abs=0.0)


def test_tank_and_charge_by_hand():
    # 10 regulated draws of 10 mL at 4e5 from 8e5: V = 10 * 4e5 * 1e-5 / 4e5 = 100 mL
    held = [tank.Draw(0.0, 1e-5, 4e5, p_need=4e5)] * 10
    assert tankplan.volume_needed(8e5, held) == pytest.approx(1e-4, rel=1e-9)
    assert tankplan.charge_needed(1e-4, held) == pytest.approx(8e5, rel=1e-12)
    beyond = [tank.Draw(0.0, 1e-5, 4e5, p_need=4.1e5)]
    assert tankplan.volume_needed(8e5, beyond) == np.inf
    assert tankplan.charge_needed(1e-4, beyond) == np.inf
    assert tankplan.volume_needed(3.9e5, held) == np.inf


def test_leak_from_two_readings():
    # half the gauge pressure in 60 s: time constant 60 / ln 2, and a quarter left after 120 s
    tau = tank.leak_time_constant(6e5, 3e5, 60.0)
    assert tau == pytest.approx(86.5617, rel=1e-5)
    assert tank.after_leak(6e5 + P_ATM, 120.0, tau, P_ATM) == pytest.approx(1.5e5 + P_ATM, rel=1e-9)
    assert tank.leak_time_constant(6e5, 6e5, 60.0) == np.inf
    assert tank.after_leak(7e5, 60.0, np.inf, P_ATM) == pytest.approx(7e5, rel=1e-12)
    # unequal volumes by hand: (2 * 6 + 1 * 3) / 3 = 5 bar
    assert tank.joined_pressure(6e5, 2e-4, 3e5, 1e-4) == pytest.approx(5e5, rel=1e-12)


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: tank.Draw(2e-6, 1e-6), "V_before"),
        (lambda: tank.Draw(0.0, 1e-6, p_set=0.0), "p_set"),
        (lambda: tank.Draw(0.0, 1e-6, p_need=-1.0), "p_need"),
        (lambda: tank.retract_draw(Cylinder(0.01, 0.004, 0.05, double_acting=False)), "spring"),
        (lambda: tank.leak_time_constant(1e5, 2e5, 1.0), "cannot raise"),
        (lambda: tank.leak_time_constant(1e5, 0.0, 1.0), "second reading"),
        (lambda: tankplan.charge_needed(1e-4, []), "at least one draw"),
        (lambda: tankplan.draws_before_short(5e5, 0.0, [tank.Draw(0.0, 1e-6)]), "tank volume"),
    ],
)
def test_impossible_inputs_are_refused(call, word):
    with pytest.raises(ValueError, match=word):
        call()
