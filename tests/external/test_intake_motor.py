"""A motor under the load of intake stages, against its own line solved by scipy, and plain statics."""

import numpy as np
import pytest
from scipy.optimize import brentq

from fieldworthy.physics.contact import rolling
from fieldworthy.physics.motors.motor import Controller, MotorLine
from motorline import motor_torque

LINE = MotorLine(62.83, 0.7, 0.13, 3.6, 12.0)


@pytest.mark.parametrize("torque", [0.02, 0.15, 0.3, 0.45])
@pytest.mark.parametrize("held", [Controller(), Controller(2.5, 11.0), Controller(2.5, 6.0)])
def test_loaded_speed_is_where_motor_and_load_meet(torque, held):
    # the motor's torque under its controller falls with speed; scipy's brentq finds where it equals the load
    want = brentq(lambda w: float(motor_torque(LINE, w, 12.0, held)) - torque, 0.0, 62.82)
    assert rolling.loaded_speed(LINE, held, torque) == pytest.approx(want, rel=1e-6)


def test_a_load_past_the_current_limit_stands_still():
    # at 2.5 A of 3.6 A: (2.5 - 0.13) / (3.6 - 0.13) of the stall torque, the straight line by hand
    most = 0.7 * (2.5 - 0.13) / (3.6 - 0.13)
    speeds = rolling.loaded_speed(LINE, Controller(2.5), np.array([0.999 * most, 1.001 * most]))
    assert speeds[0] == pytest.approx(62.83 * (1 - 0.999 * most / 0.7), rel=1e-9)
    assert speeds[1] == 0.0


def test_rim_force_balances_power():
    stage = rolling.Stage(0.5, 0.9, 0.03, 0.004, 8.0, 0.7, 2.0)
    w, torque = 50.0, 0.3
    # power at the shaft times the efficiency is force times surface speed
    want = torque * w * 0.9 / rolling.surface_speed(stage, w)
    assert rolling.rim_force(stage, torque) == pytest.approx(want, rel=1e-12)
