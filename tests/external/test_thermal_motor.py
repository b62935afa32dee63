"""Winding and case temperatures against scipy's integration, its matrix exponential and the reference case."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.linalg import expm
from scipy.optimize import brentq

from fieldworthy.physics.motors import thermal
from reference import case

PATH = thermal.HeatPath(25.0, 90.0, 3.0, 7.0)
COIL = thermal.Winding(3.3)
AIR = 296.0


def rates(path, coil, current):
    """The same two balances of heat, written for scipy."""

    def f(t, y):
        i = current(t) if callable(current) else current
        flow = (y[0] - y[1]) / path.winding_to_case
        loss = i**2 * coil.resistance * (1.0 + coil.growth * (y[0] - coil.reference))
        return (loss - flow) / path.winding_capacity, (flow - (y[1] - AIR) / path.case_to_air) / path.case_capacity

    return f


@pytest.mark.parametrize("current", [0.0, 0.6, 1.5, 2.5, 4.5])
@pytest.mark.parametrize("duration", [0.05, 5.0, 105.0, 900.0])
def test_a_step_against_integration(current, duration):
    # 4.5 A runs away: the growing resistance outruns the cooling
    start = thermal.Temperatures(330.0, 312.0)
    end = solve_ivp(rates(PATH, COIL, current), (0, duration), (330.0, 312.0), rtol=1e-10, atol=1e-9, method="DOP853")
    found = thermal.after(PATH, COIL, start, AIR, current, duration)
    assert (found.winding, found.case) == pytest.approx(tuple(end.y[:, -1]), rel=1e-8)


@pytest.mark.parametrize(
    "entries",
    [
        (0.01, 0.5, 0.1, 0.03),
        (0.0, 30.0, 4.0, 2.0),
        (0.2, 0.3, 0.1, 0.05),
        (0.0, 0.0, 0.0, 0.0),
        (0.0, 0.0, 0.0, 0.4),
        (1.0, 0.4, 0.2, 0.01),
        (0.0, 1e-7, 1e-8, 1e-8),
        (0.02, 0.1, 0.4, 0.1),
    ],
)
def test_the_written_out_exponential_against_scipys(entries):
    # scipy's expm of the matrix bordered by the heating; the near-singular ones with it
    self_heating, to_case, from_winding, to_air = entries
    A = np.array([[self_heating - to_case, to_case, 3.0], [from_winding, -from_winding - to_air, 0.0], [0, 0, 0]])
    want = (expm(A) @ (20.0, 8.0, 1.0))[:2]
    found = thermal.two_node_step(20.0, 8.0, 3.0, *entries)
    assert np.array(found) == pytest.approx(want, rel=1e-9)


def test_mot_05_one_node_with_growing_resistance():
    # strength B: scipy's solve_ivp. One node: the case is tied to the air, 1e-6 K/W and a tiny capacity
    c, e = case("MOT-05")["inputs"], case("MOT-05")["expected"]
    path = thermal.HeatPath(c["Cth_J_per_K"], 1e-3, c["Rth_K_per_W"], 1e-6)
    air = c["T_amb_C"] + 273.15
    coil = thermal.Winding(c["R25_ohm"], 298.15, c["alpha_1_per_K"])
    cold = thermal.Temperatures(air, air)
    hot = thermal.after(path, coil, cold, air, c["I_A"], c["t_s"])
    flat = thermal.after(path, thermal.Winding(c["R25_ohm"], 298.15, 0.0), cold, air, c["I_A"], c["t_s"])
    ends = thermal.steady(path, coil, air, c["I_A"])
    assert hot.winding - 273.15 == pytest.approx(e["T_600_RofT"]["value"], abs=1e-4)
    assert flat.winding - 273.15 == pytest.approx(e["T_600_constR"]["value"], abs=1e-4)
    assert ends.winding - 273.15 == pytest.approx(e["T_ss_RofT"]["value"], abs=1e-4)
    # the rise over one time constant, e["tau_eff_RofT"], is 1 - 1/e of the whole
    at_tau = thermal.after(path, coil, cold, air, c["I_A"], e["tau_eff_RofT"]["value"])
    assert (at_tau.winding - air) / (ends.winding - air) == pytest.approx(e["frac_at_tau"]["value"], rel=1e-5)


@pytest.mark.parametrize("current", [0.0, 0.8, 1.6])
def test_steady_state_is_where_integration_ends(current):
    end = solve_ivp(rates(PATH, COIL, current), (0, 4e4), (AIR, AIR), rtol=1e-10, atol=1e-9, method="LSODA")
    found = thermal.steady(PATH, COIL, AIR, current)
    assert (found.winding, found.case) == pytest.approx(tuple(end.y[:, -1]), rel=1e-7)


def test_runaway_starts_where_the_eigenvalue_turns_positive():
    # numpy's eigenvalues of the two balances on both sides of the current at which steady() turns infinite
    def growth(current):
        loss = current**2 * COIL.resistance * COIL.growth
        A = [[(loss - 1 / 3.0) / 25.0, 1 / 75.0], [1 / 270.0, -(1 / 3.0 + 1 / 7.0) / 90.0]]
        return np.linalg.eigvals(np.array(A)).real.max()

    edge = brentq(growth, 0.5, 6.0, xtol=1e-12)
    below, above = (thermal.steady(PATH, COIL, AIR, edge * s).winding for s in (1 - 1e-6, 1 + 1e-6))
    assert 1e7 < below < 1e9
    assert np.isinf(above)


def test_phases_of_a_match_against_integration():
    phases = [(15.0, 1.4), (10.0, 0.2), (40.0, 2.2), (5.0, 0.0), (35.0, 1.8)]
    y = np.array([AIR, AIR])
    peak, marks = AIR, []
    for duration, current in phases:
        run = solve_ivp(rates(PATH, COIL, current), (0, duration), y, rtol=1e-10, atol=1e-9, max_step=0.1)
        y, peak = run.y[:, -1], max(peak, run.y[0].max())
        marks.append(y[0])
    found = thermal.over_phases(PATH, COIL, thermal.Temperatures(AIR, AIR), AIR, phases)
    assert found.winding == pytest.approx(np.array(marks), rel=1e-8)
    assert found.end.case == pytest.approx(y[1], rel=1e-8)
    # the winding warms or cools all through each phase, so that its peak is at an end of one
    assert found.hottest == pytest.approx(peak, rel=1e-8)


def test_derating_against_integration_with_the_same_steps():
    # scipy's integrator with the limit cut the moment a threshold is passed. With 400 sub-steps of 0.25 s the cut
    # comes up to one late, during which the winding gains at most 0.35 K: 0.3 K at the end of a controlled run
    guard = thermal.Derating(2.5, (328.15, 333.15, 338.15), (0.5, 0.25, 0.125))
    f = rates(PATH, COIL, 0.0)

    def held(t, y):
        share = 0.125 if y[0] >= 338.15 else 0.25 if y[0] >= 333.15 else 0.5 if y[0] >= 328.15 else 1.0
        return rates(PATH, COIL, min(2.2, 2.5 * share))(t, y)

    assert f(0.0, (AIR, AIR)) == pytest.approx((0.0, 0.0), abs=1e-12)
    run = solve_ivp(held, (0, 100.0), (AIR, AIR), rtol=1e-6, atol=1e-6, max_step=0.02)
    found = thermal.over_phases(PATH, COIL, thermal.Temperatures(AIR, AIR), AIR, [(100.0, 2.2)], guard, steps=400)
    assert found.end.winding == pytest.approx(run.y[0, -1], abs=0.3)
    assert found.end.case == pytest.approx(run.y[1, -1], abs=0.3)
    passed = run.y[0].max()
    assert found.least_share == (0.125 if passed >= 338.15 else 0.25 if passed >= 333.15 else 0.5)


@pytest.mark.parametrize(
    ("winding", "hull", "target"),
    [(390.0, 320.0, 330.0), (340.0, 340.0, 300.0), (310.0, 350.0, 320.0), (310.0, 350.0, 312.0), (380.0, 300.0, 379.0)],
)
def test_cool_down_against_the_last_crossing_of_an_integration(winding, hull, target):
    # the third starts below its target and is warmed past it by the case
    run = solve_ivp(
        rates(PATH, COIL, 0.0), (0, 9000), (winding, hull), rtol=1e-10, atol=1e-9, max_step=5.0, dense_output=True
    )
    times = np.linspace(0.0, 9000.0, 200_001)
    last = times[np.flatnonzero(run.sol(times)[0] > target)[-1]]
    t = brentq(lambda t: run.sol(t)[0] - target, last, last + 0.1)
    found = thermal.cool_down_time(PATH, thermal.Temperatures(winding, hull), AIR, target)
    assert found == pytest.approx(t, rel=1e-6, abs=1e-4)


def test_cool_down_at_the_ends_of_its_range():
    assert thermal.cool_down_time(PATH, thermal.Temperatures(310.0, 305.0), AIR, 320.0) == 0.0
    assert thermal.cool_down_time(PATH, thermal.Temperatures(310.0, 312.0), AIR, 320.0) == 0.0
    assert np.isinf(thermal.cool_down_time(PATH, thermal.Temperatures(310.0, 305.0), AIR, AIR))


@pytest.mark.parametrize("thresholds", [(), (2000.0,)])
@pytest.mark.parametrize("current", [40.0, -40.0])
def test_a_limit_holds_without_thresholds_and_for_either_sign(thresholds, current):
    # a controller that is asked for 40 A and allows 10 A: scipy's integration of a current of 10 A; the loss goes with
    # its square, so that its sign changes nothing
    run = solve_ivp(rates(PATH, COIL, 10.0), (0, 5.0), (AIR, AIR), rtol=1e-10, atol=1e-9, method="DOP853")
    guard = thermal.Derating(10.0, thresholds, (0.5,) * len(thresholds))
    found = thermal.over_phases(PATH, COIL, thermal.Temperatures(AIR, AIR), AIR, [(5.0, current)], guard)
    assert found.end.winding == pytest.approx(run.y[0, -1], rel=1e-8)
    assert found.least_share == 1.0


@pytest.mark.parametrize(
    ("winding", "hull", "target"), [(340.0, 286.0, 320.0), (330.0, 270.0, 297.0), (300.0, 200.0, 296.5)]
)
def test_cool_down_with_a_case_colder_than_the_air(winding, hull, target):
    # a motor carried in from the cold and stalled: the winding falls towards the colder case, then both warm up to
    # the air, which is below the target; scipy's integration and its crossing
    run = solve_ivp(
        rates(PATH, COIL, 0.0), (0, 900), (winding, hull), rtol=1e-11, atol=1e-10, max_step=0.5, dense_output=True
    )
    t = brentq(lambda t: run.sol(t)[0] - target, 0.0, run.t[np.argmin(run.y[0])], xtol=1e-12)
    found = thermal.cool_down_time(PATH, thermal.Temperatures(winding, hull), AIR, target)
    assert found == pytest.approx(t, rel=1e-6, abs=1e-6)


def test_no_winding_stays_below_a_target_colder_than_the_air():
    # it ends at the air's temperature, wherever it starts
    for winding, hull in ((310.0, 305.0), (AIR, AIR), (280.0, 270.0), (310.0, 200.0)):
        assert np.isinf(thermal.cool_down_time(PATH, thermal.Temperatures(winding, hull), AIR, AIR - 4.0))
