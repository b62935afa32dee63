"""The motor line against worked problems and scipy, and the compiled core against the plain one."""

import numba
import numpy as np
import pytest
from scipy.optimize import brentq

from fieldworthy.physics.motors import motion, motor, thermal
from motorline import motor_torque
from reference import case

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
        speed = brentq(lambda w, m=line: motor_torque(m, w, V) - T, 0.0, line.free_speed)
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


def test_sag_against_kirchhoff_solved_by_root_finding():
    # each motor a lossless chopper behind a bound; scipy finds the voltage at which what the battery gives is
    # what the motors take
    line = motor.MotorLine(62.8, 0.7, 0.13, 3.6, 12.0)
    K, Ke, R, I0 = line.torque_constant, line.voltage_constant, line.resistance, line.free_current
    source = motor.Battery(12.6, 0.12)
    for limit, cap in ((np.inf, np.inf), (2.5, 11.0), (1.4, 6.0), (np.inf, 9.0)):
        held = motor.Controller(limit, cap)
        for speed in (0.0, 5.0, 20.0, 35.0, 55.0, 61.0):

            def taken(V, w=speed, lim=limit, cap=cap):
                most = min(lim, cap / (K * w) + I0 if w else np.inf)
                current = min((V - Ke * w) / R, most)
                return 6.0 * current * (current * R + Ke * w) / V

            V = brentq(lambda V, f=taken: 12.6 - 0.12 * f(V) - V, 7.0, 14.0, xtol=1e-13)
            point = motor.operating_point(line, held, source, 6, speed)
            assert point.voltage == pytest.approx(V, rel=1e-11)
            assert point.battery_current == pytest.approx(taken(V), rel=1e-9, abs=1e-9)


CORE = [
    (motor.current_bound, (30.0, 0.2, 0.13, 2.5, 11.0)),
    (motor.current_bound, (0.0, 0.2, 0.13, np.inf, np.inf)),
    (motor.motor_current, (30.0, 12.0, 0.18, 3.3, 2.5)),
    (motor.motor_current, (90.0, 12.0, 0.18, 3.3, 0.5)),
    (motor.shaft_torque, (1.4, 0.2, 0.13)),
    (motor.torque_current, (0.3, 0.2, 0.13)),
    (motor.terminal_voltage, (5.0, 12.5, 0.6, 0.18, 3.3, 2.5)),
    (motor.terminal_voltage, (50.0, 12.5, 0.6, 0.18, 3.3, np.inf)),
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
