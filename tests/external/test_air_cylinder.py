"""Cylinder force and air against worked examples, reference cases and CoolProp's real air."""

import numpy as np
import pytest

from fieldworthy.physics.gas import actuation, air
from gaslaw import absolute
from reference import case, cases

PSI = 6894.757293168361  # lbf/in2, exact by definition


@pytest.mark.parametrize("given", cases("cylinder-force"), ids=lambda c: c["id"])
def test_force_is_pressure_times_area(given):
    g = given["given"]
    c = actuation.Cylinder(g["bore_mm"] * 1e-3, g["rod_mm"] * 1e-3, 0.05)
    p = absolute(g["p_gauge_psi"] * PSI)
    assert actuation.push_force(c, p) == pytest.approx(given["expect"]["push_N"], rel=1e-9)
    assert actuation.pull_force(c, p) == pytest.approx(given["expect"]["pull_N"], rel=1e-9)


def test_cyl_01_worked_example():
    # a worked example that was read: 100 mm bore, 10 mm rod, 1 bar: 785 N out, 778 N in
    c = actuation.Cylinder(0.1, 0.01, 0.1)
    assert actuation.push_force(c, absolute(1e5)) == pytest.approx(785.0, abs=1.0)
    assert actuation.pull_force(c, absolute(1e5)) == pytest.approx(778.0, abs=1.0)


def test_cyl_02_and_04_areas_and_back_pressure():
    areas, back = case("CYL-02")["expected"], case("CYL-04")["expected"]
    c = actuation.Cylinder(0.010, 0.004, 0.05)
    assert c.piston_area * 1e6 == pytest.approx(areas["A_piston"]["value"], rel=1e-9)
    assert c.ring_area * 1e6 == pytest.approx(areas["A_annulus"]["value"], rel=1e-9)
    p, q = absolute(100 * PSI), absolute(30 * PSI)
    assert actuation.push_force(c, p, q) == pytest.approx(back["F_net_extend"]["value"], rel=1e-9)
    assert actuation.pull_force(c, p, q) == pytest.approx(back["F_net_retract"]["value"], rel=1e-9)


def test_free_body_of_the_piston_at_any_atmosphere():
    # free body: both faces, the rod's cross-section under the atmosphere, spring and friction, summed by hand
    c = actuation.Cylinder(0.016, 0.005, 0.05, double_acting=False, spring=(4.0, 120.0))
    A1, A2 = np.pi * 0.008**2, np.pi * (0.008**2 - 0.0025**2)
    by_hand = 5e5 * A1 - 1.4e5 * A2 - 9e4 * np.pi * 0.0025**2 - (4.0 + 120.0 * 0.02) - 3.0
    assert actuation.push_force(c, 5e5, 1.4e5, 3.0, 0.02, 9e4) == pytest.approx(by_hand, rel=1e-12)
    by_hand = 5e5 * A2 - 1.4e5 * A1 + 9e4 * np.pi * 0.0025**2 + (4.0 + 120.0 * 0.02) - 3.0
    assert actuation.pull_force(c, 5e5, 1.4e5, 3.0, 0.02, 9e4) == pytest.approx(by_hand, rel=1e-12)


def test_air_05_free_air_and_mass_of_a_double_stroke():
    # volume formula read in a public guide; mass by CoolProp, the ideal gas within 0.3 %
    expected = case("AIR-05")["expected"]
    c = actuation.Cylinder(0.010, 0.004, 0.05)
    assert c.swept_extend * 1e6 == pytest.approx(expected["V_extend"]["value"], rel=1e-9)
    assert c.swept_retract * 1e6 == pytest.approx(expected["V_retract"]["value"], rel=1e-9)
    p = absolute(100 * PSI)
    free = air.free_air(p, c.swept_extend + c.swept_retract, p_ref=air.P_ATM)
    assert free * 1e6 == pytest.approx(expected["V_free"]["value"], rel=1e-4)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"bore": 0.0}, "bore"),
        ({"stroke": -0.01}, "stroke"),
        ({"rod": 0.02}, "rod"),
        ({"dead_extend": -1e-6}, "dead_extend"),
        ({"spring": (1.0, -1.0)}, "spring"),
        ({"bore": np.array([0.016, np.nan])}, "bore"),
    ],
)
def test_impossible_cylinders_are_refused(change, word):
    with pytest.raises(ValueError, match=word):
        actuation.Cylinder(**({"bore": 0.016, "rod": 0.005, "stroke": 0.05} | change))
