"""The motor line against worked problems and scipy, and the compiled core against the plain one."""

import numba
import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from fieldworthy.physics.motors import battery, motion, motor, thermal
from reference import case, cases

RPM = 2.0 * np.pi / 60.0


def of_constants(K, R, I0, V):
    """The data sheet of a motor whose two constants agree."""
    return motor.MotorLine((V - I0 * R) / K, K * (V / R - I0), I0, V / R, V)


def expect(answer, entry):
    tol = entry["tol"]
    value = entry["value"]
    assert answer == pytest.approx(value, rel=tol.get("rel", 0.0), abs=tol.get("abs", 0.0))


def test_mot_01_operating_point_cold_and_hot():
    # strength C: a textbook's statement, answers evaluated from V = E + I R by hand of others
    c = case("MOT-01")
    V, T, R, n0 = (c["inputs"][k] for k in ("V", "T_Nm", "R_ohm", "n0_rpm"))
    for state, flux, ohms in (("cold", 1.0, 1.0), ("hot", 0.95, 1.25)):
        K = flux * V / (n0 * RPM)
        line = of_constants(K, R * ohms, 0.0, V)
        current = motor.torque_current(T, line.torque_constant, line.free_current)
        speed = brentq(lambda w, m=line: motor.motor_torque(m, w, V) - T, 0.0, line.free_speed)
        expect(current, c["expected"][f"I_{state}"])
        expect(line.voltage_constant * speed, c["expected"][f"E_{state}"])
        expect(speed / RPM, c["expected"][f"n_{state}"])
        expect(T * speed, c["expected"][f"P_out_{state}"])
        expect(T * speed / (V * current), c["expected"][f"eff_{state}"])


def test_mot_02_current_from_a_generator_test():
    # strength A: a worked solution that was read; 12 V and 1 ohm are arbitrary and must not matter
    c = case("MOT-02")
    K = c["inputs"]["E_V"] / (c["inputs"]["n_rpm"] * RPM)
    line = of_constants(K, 1.0, 0.0, 12.0)
    expect(line.voltage_constant, c["expected"]["K"])
    expect(motor.torque_current(c["inputs"]["T_Nm"], line.torque_constant, 0.0), c["expected"]["I"])


def test_mot_04_best_efficiency_and_peak_power():
    # strength B: the optimum was found numerically with scipy as well
    c, e = case("MOT-04")["inputs"], case("MOT-04")["expected"]
    line = of_constants(c["K_Nm_per_A"], c["R_ohm"], c["I0_A"], c["V"])
    best = motor.best_efficiency(line, c["V"])
    expect(line.stall_current, e["I_stall"])
    expect(line.free_speed / RPM, e["n0"])
    expect(line.stall_torque * 1e3, e["T_stall_shaft"])
    expect(best.efficiency, e["eff_max_numeric"])
    expect(best.current, e["I_at_eff_max_numeric"])
    expect(motor.peak_power(line, c["V"]).power, e["P_shaft_peak"])
    assert motor.motor_torque(line, best.speed, c["V"]) == pytest.approx(best.torque, rel=1e-12)


@pytest.mark.parametrize("c", cases("motor-peak"), ids=lambda c: c["id"])
def test_peak_power_of_a_line(c):
    line = motor.MotorLine(c["given"]["free_rpm"] * RPM, c["given"]["stall_Nm"], 0.0, 2.0, 12.0)
    peak = motor.peak_power(line, 12.0)
    assert peak.power == pytest.approx(c["expect"]["peak_power_W"], rel=c["rel_tol"])
    assert peak.speed / RPM == pytest.approx(c["expect"]["at_rpm"], rel=c["rel_tol"])


@pytest.mark.parametrize(
    ("limit", "cap"), [(np.inf, np.inf), (2.5, np.inf), (1.2, np.inf), (np.inf, 6.0), (2.5, 9.0), (0.9, 5.0)]
)
@pytest.mark.parametrize("voltage", [9.0, 12.0, 13.0])
def test_peak_power_under_a_controller(limit, cap, voltage):
    # scipy's search over the bounded curve; 1e-6: the search's own tolerance on a smooth or flat top
    line = motor.MotorLine(62.8, 0.7, 0.13, 3.6, 12.0)
    held = motor.Controller(limit, cap)

    def power(w):
        return motor.motor_torque(line, w, voltage, held) * w

    found = minimize_scalar(lambda w: -power(w), bounds=(0.0, 70.0), method="bounded", options={"xatol": 1e-9})
    peak = motor.peak_power(line, voltage, held)
    assert peak.power == pytest.approx(-found.fun, rel=1e-6)
    assert power(peak.speed) == pytest.approx(peak.power, rel=1e-9)
    # the lowest such speed: a little slower gives a little less
    assert power(peak.speed * 0.99) < peak.power * (1.0 - 1e-5)


def test_data_that_contradict_each_other_are_told():
    # 10 N m and 2 A at 12 V and 100 rad/s: 250 W of peak shaft power from 24 W at stall is impossible
    line = motor.MotorLine(100.0, 10.0, 0.0, 2.0, 12.0)
    assert motor.constants_disagree(line) == pytest.approx(10.0 / 2.0 / (12.0 / 100.0) - 1.0, rel=1e-12)
    assert motor.constants_disagree(of_constants(0.1, 2.0, 0.2, 12.0)) == pytest.approx(0.0, abs=1e-12)


def test_sag_against_kirchhoff_solved_by_root_finding():
    # each motor a lossless chopper behind a bound; scipy finds the voltage at which what the battery gives is
    # what the motors take
    line = motor.MotorLine(62.8, 0.7, 0.13, 3.6, 12.0)
    K, Ke, R, I0 = line.torque_constant, line.voltage_constant, line.resistance, line.free_current
    source = battery.Battery(12.6, 0.12)
    for limit, cap in ((np.inf, np.inf), (2.5, 11.0), (1.4, 6.0), (np.inf, 9.0)):
        held = motor.Controller(limit, cap)
        for speed in (0.0, 5.0, 20.0, 35.0, 55.0, 61.0):

            def taken(V, w=speed, lim=limit, cap=cap):
                most = min(lim, cap / (K * w) + I0 if w else np.inf)
                current = min((V - Ke * w) / R, most)
                return 6.0 * current * (current * R + Ke * w) / V

            V = brentq(lambda V, f=taken: 12.6 - 0.12 * f(V) - V, 7.0, 14.0, xtol=1e-13)
            point = battery.operating_point(line, held, source, 6, speed)
            assert point.voltage == pytest.approx(V, rel=1e-11)
            assert point.battery_current == pytest.approx(taken(V), rel=1e-9, abs=1e-9)


def test_sag_of_unlike_groups_against_root_finding():
    one = motor.MotorLine(62.8, 0.7, 0.13, 3.6, 12.0)
    two = motor.MotorLine(20.9, 1.0, 0.08, 1.9, 12.0)
    source = battery.Battery(12.4, 0.15)
    for fast, slow in ((0.0, 0.0), (30.0, 2.0), (10.0, 18.0), (60.0, 20.0)):
        groups = [
            battery.MotorGroup(one, motor.Controller(2.5, 11.0), 6, fast),
            battery.MotorGroup(two, motor.Controller(1.3, 5.5), 2, slow),
            battery.MotorGroup(two, motor.Controller(), 1, 5.0),
        ]

        def short(V, groups=groups):
            drawn = 0.0
            for g in groups:
                m, w = g.line, g.speed
                cap = g.controller.power_cap
                most = min(g.controller.current_limit, cap / (m.torque_constant * w) + m.free_current if w else 1e9)
                current = min((V - m.voltage_constant * w) / m.resistance, most)
                drawn += g.motors * current * (current * m.resistance + m.voltage_constant * w) / V
            return 12.4 - 0.15 * drawn - V

        assert battery.shared_voltage(source, groups) == pytest.approx(brentq(short, 6.0, 13.0), rel=1e-10)


CORE = [
    (motor.current_bound, (30.0, 0.2, 0.13, 2.5, 11.0)),
    (motor.current_bound, (0.0, 0.2, 0.13, np.inf, np.inf)),
    (motor.motor_current, (30.0, 12.0, 0.18, 3.3, 2.5)),
    (motor.motor_current, (90.0, 12.0, 0.18, 3.3, 0.5)),
    (motor.shaft_torque, (1.4, 0.2, 0.13)),
    (motor.torque_current, (0.3, 0.2, 0.13)),
    (battery.terminal_voltage, (5.0, 12.5, 0.6, 0.18, 3.3, 2.5)),
    (battery.terminal_voltage, (50.0, 12.5, 0.6, 0.18, 3.3, np.inf)),
    (motion.drive_force, (1.1, 50.0, 20.0, 40.0, 30.0)),
    (motion.drive_force, (0.0, 50.0, 20.0, np.inf, np.inf)),
    (motion.acceleration, (30.0, 2.0, 6.0, 0.4, 5.0)),
    (thermal.two_node_step, (20.0, 8.0, 3.0, 0.02, 0.5, 0.1, 0.03)),
    (thermal.two_node_step, (20.0, 8.0, 3.0, 0.0, 0.0, 0.0, 0.0)),
    (thermal.derating_factor, (331.0, (328.15, 333.15), (0.5, 0.25))),
]


@pytest.mark.parametrize(("function", "numbers"), CORE, ids=lambda v: getattr(v, "__name__", ""))
def test_core_compiles_unchanged_to_the_same_numbers(function, numbers):
    # numba's compiled code on scalars, numpy on a batch; 1e-13: order of operations and libm's exp
    compiled = numba.njit(function)(*numbers)
    plain = function(*[n if isinstance(n, tuple) else np.array([n, n]) for n in numbers])
    assert np.ndim(compiled[0] if isinstance(compiled, tuple) else compiled) == 0
    assert np.asarray(plain)[..., 0] == pytest.approx(np.asarray(compiled), rel=1e-13)
    assert np.asarray(plain)[..., 1] == pytest.approx(np.asarray(compiled), rel=1e-13)
