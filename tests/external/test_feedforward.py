"""The voltage of a drive, held against the motor's line itself: Hughes, Electric Motors and Drives, ch. 3."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldworthy.physics.motors.motor import MotorLine, feedforward

LINE = MotorLine(free_speed=62.8, stall_torque=0.7, free_current=0.1, stall_current=3.6, rated_voltage=12.0)


def test_worked_by_hand():
    # one motor of 1 N m and 100 rad/s at 10 V on a 0.1 m wheel: 10 m/s free, 10 N stalled
    line = MotorLine(100.0, 1.0, 0.0, 1.0, 10.0)
    found = feedforward(line, 1.0, 0.1, 1.0, (2.0, 1.0))
    assert found.per_speed == pytest.approx(1.0)  # 10 V for 10 m/s
    assert found.start == pytest.approx(1.0)  # 1 N of the 10 N that 10 V give
    assert found.per_acceleration == pytest.approx(2.0)  # 2 N for each m/s2


@given(
    st.floats(0.0, 1.5), st.floats(0.0, 5.0), st.floats(0.005, 0.05), st.floats(0.5, 1.0), st.floats(1.0, 20.0),
    st.integers(1, 8),
)  # fmt: skip
def test_the_line_at_that_voltage_gives_just_the_force_needed(speed, acceleration, travel, efficiency, mass, motors):
    resistance = 3.0
    found = feedforward(LINE, motors, travel, efficiency, (mass, resistance))
    voltage = found.start + found.per_speed * speed + found.per_acceleration * acceleration
    # the circuit: V = Ke w + R I, T = Kt (I - I0), with I0 taken as the friction that the free speed shows
    stall = LINE.stall_torque * voltage / LINE.rated_voltage
    torque = stall - LINE.stall_torque * (speed / travel) / LINE.free_speed
    force = motors * efficiency * torque / travel
    assert force == pytest.approx(mass * acceleration + resistance, rel=1e-9)


def test_cases_broadcast_and_nonsense_is_refused():
    found = feedforward(LINE, np.array([2.0, 4.0]), 0.03, 0.9, (8.0, 2.0))
    assert np.shape(found.start) == (2,)
    assert found.start[0] == pytest.approx(2 * found.start[1])
    with pytest.raises(ValueError, match="travel"):
        feedforward(LINE, 1.0, 0.0, 0.9, (8.0, 2.0))
    with pytest.raises(ValueError, match="resistance"):
        feedforward(LINE, 1.0, 0.03, 0.9, (8.0, -2.0))
