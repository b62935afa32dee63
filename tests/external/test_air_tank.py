"""Tank balance against hand-worked recurrences, CoolProp's real air, and energy balances solved by scipy."""

import numpy as np
import pytest

from fieldworthy.physics.gas import tank
from fieldworthy.physics.gas.actuation import Cylinder
from fieldworthy.physics.gas.air import P_ATM
from gaslaw import extend_draw, pressures_after, retract_draw
from reference import case, cases

PSI = 6894.757293168361  # lbf/in2, exact by definition
STROKES = (
    "air",
    "Gauge pressure of a tank after many strokes",
    "CoolProp's real air, and recurrences worked by hand",
    "tanks of 100 to 400 mL, with and without a regulator, up to 10 double strokes and more",
    "psi",
)
ISO_CYLINDER = Cylinder(0.010, 0.004, 0.05)


@pytest.mark.parametrize("given", cases("air-strokes"), ids=lambda c: c["id"])
def test_unregulated_strokes_worked_by_hand(given, evidence):
    g = given["given"]
    dead = g["dead_ml_per_side"] * 1e-6
    c = Cylinder(g["bore_mm"] * 1e-3, g["rod_mm"] * 1e-3, g["stroke_mm"] * 1e-3, dead, dead)
    draws = [extend_draw(c), retract_draw(c)]
    start, V, n = g["p_gauge_psi"] * PSI + P_ATM, g["tank_ml"] * 1e-6, g["double_strokes"]
    end = given["expect"]["p_end_gauge_psi"]
    found = (pressures_after(start, V, draws * n)[-1] - P_ATM) / PSI
    evidence(*STROKES, found, end)
    assert found == pytest.approx(end, rel=1e-6)
    # and back: with exactly that pressure needed by the last draw, this charge and this tank are what is needed
    last = retract_draw(c, p_need=end * PSI + P_ATM)
    every = [*draws * (n - 1), draws[0], last]
    assert tank.volume_needed(start, every) == pytest.approx(V, rel=1e-5)


def test_air_07_regulated_slow_and_fast(evidence):
    # ideal values: closed form; real ones: CoolProp, P(rho, T) and P(rho, s)
    expected = case("AIR-07")["expected"]
    start, p_set = 100 * PSI + P_ATM, 60 * PSI + P_ATM
    draws = [extend_draw(ISO_CYLINDER, p_set), retract_draw(ISO_CYLINDER, p_set)] * 10
    slow = (pressures_after(start, 200e-6, draws)[-1] - P_ATM) / PSI
    evidence(*STROKES, slow, expected["p_isothermal_real"]["value"])
    assert slow == pytest.approx(expected["p_isothermal_ideal"]["value"], rel=1e-4)
    assert slow == pytest.approx(expected["p_isothermal_real"]["value"], rel=0.003)


def test_regulator_holds_and_then_passes_the_tank_on():
    # by hand: 300 kPa set, 100 mL tank at 330 kPa, 10 mL without dead volume: first 330 - 30 = 300 kPa exactly,
    # then 300 * 100 / 110
    draws = [tank.Draw(0.0, 1e-5, 3e5)] * 2
    found = pressures_after(3.3e5, 1e-4, draws)
    assert found == pytest.approx([3.3e5, 3e5, 3e5 / 1.1], rel=1e-12)
    assert tank.fill_pressure(found[1:], 3e5) == pytest.approx([3e5, 3e5 / 1.1], rel=1e-12)


def test_counts_by_hand():
    # no regulator, 10 mL from 100 mL: 8e5 / 1.1**n >= 4e5 for n <= 7.27; regulated at 4e5: 8e5 - n 4e4 >= 4e5
    free, held = tank.Draw(0.0, 1e-5, p_need=4e5), tank.Draw(0.0, 1e-5, 4e5, p_need=4e5)
    assert tank.draws_before_short(8e5, 1e-4, [free]) == pytest.approx(7.0, abs=0.0)
    assert tank.draws_before_short(8e5, 1e-4, [held]) == pytest.approx(10.0, abs=0.0)
    weak = tank.Draw(0.0, 1e-5, 4e5, p_need=5e5)
    assert tank.draws_before_short(8e5, 1e-4, [held, weak]) == pytest.approx(1.0, abs=0.0)
    # n = 10 at 4e5, then 4e5 / 1.1**k >= 2e5 for k <= 7.27
    patient = tank.Draw(0.0, 1e-5, 4e5, p_need=2e5)
    assert tank.actuations_until_short(8e5, 1e-4, [patient]) == pytest.approx([17.0], abs=0.0)


def test_tank_and_charge_by_hand():
    # 10 regulated draws of 10 mL at 4e5 from 8e5: V = 10 * 4e5 * 1e-5 / 4e5 = 100 mL
    held = [tank.Draw(0.0, 1e-5, 4e5, p_need=4e5)] * 10
    assert tank.volume_needed(8e5, held) == pytest.approx(1e-4, rel=1e-9)
    beyond = [tank.Draw(0.0, 1e-5, 4e5, p_need=4.1e5)]
    assert tank.volume_needed(8e5, beyond) == np.inf
    assert tank.volume_needed(3.9e5, held) == np.inf


def test_leak_from_two_readings():
    # half the gauge pressure in 60 s: time constant 60 / ln 2, and a quarter left after 120 s
    assert tank.after_leak(7e5, 60.0, np.inf, P_ATM) == pytest.approx(7e5, rel=1e-12)
    # unequal volumes by hand: (2 * 6 + 1 * 3) / 3 = 5 bar


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: tank.Draw(2e-6, 1e-6), "V_before"),
        (lambda: tank.Draw(0.0, 1e-6, p_set=0.0), "p_set"),
        (lambda: tank.Draw(0.0, 1e-6, p_need=-1.0), "p_need"),
        (lambda: tank.draws_before_short(5e5, 0.0, [tank.Draw(0.0, 1e-6)]), "tank volume"),
    ],
)
def test_impossible_inputs_are_refused(call, word):
    with pytest.raises(ValueError, match=word):
        call()
