"""Coast-downs against the textbook relation M_e dv/dt = -F, integrated by scipy and by hand."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fieldworthy.physics.motors.driving import coast, coast_deceleration, motor_drag
from fieldworthy.physics.motors.motion import Load, Powertrain, Wheels
from fieldworthy.physics.motors.motor import Battery, Controller, GearStage, MotorLine

# 6 motors of 0.7 N m and 3.6 A at standstill, 0.13 A without load; 4:3 in lossy gears; wheels of 70 mm
LINE = MotorLine(62.8, 0.7, 0.13, 3.6, 12.0)
TRAIN = Powertrain(LINE, Controller(), Battery(12.0), 6.0, Wheels(GearStage(4.0 / 3.0, 0.9), 0.035))


def test_motor_drag_by_hand():
    # Kt I0 = 0.7 / 3.47 * 0.13 = 0.026225 N m; six of them, times 4/3, over 0.9 and 0.035 m: 6.660 N
    assert motor_drag(TRAIN) == pytest.approx(6.660, abs=1e-3)


def test_deceleration_by_hand():
    # (6.660 N + 2 N) over 8 kg + 1 kg of rotating parts: 0.9622 m/s2
    assert coast_deceleration(TRAIN, Load(8.0, 1.0, 2.0)) == pytest.approx(8.660 / 9.0, abs=1e-4)


def test_the_way_to_standstill_takes_the_whole_energy():
    # 1/2 M v^2 = F x: Meriam, Dynamics, work and energy
    slowing = coast_deceleration(TRAIN, Load(8.0, 1.0, 2.0))
    way = coast(1.8, slowing, 100.0).distance
    assert 8.660 * way == pytest.approx(0.5 * 9.0 * 1.8**2, rel=1e-3)


def test_speed_and_distance_against_an_integrator():
    def equations(_, y):
        return [y[1], -8.660 / 9.0 if y[1] > 0.0 else 0.0]

    times = np.linspace(0.0, 1.8, 40)
    found = solve_ivp(equations, (0.0, 1.8), [0.0, 1.8], t_eval=times, rtol=1e-10, atol=1e-12, max_step=0.01)
    ours = coast(1.8, 8.660 / 9.0, times)
    assert ours.distance == pytest.approx(found.y[0], abs=1e-8)
    assert ours.speed == pytest.approx(found.y[1], abs=1e-8)


def test_before_it_is_let_go_it_runs_on_and_once_it_stands_it_stays():
    before, late = coast(1.5, 1.0, -0.2), coast(1.5, 1.0, np.array([1.5, 9.0]))
    assert (float(before.speed), float(before.distance)) == pytest.approx((1.5, -0.3))
    assert late.speed == pytest.approx([0.0, 0.0])
    assert late.distance == pytest.approx([1.125, 1.125])


def test_without_drag_it_runs_on_at_its_speed_and_nothing_drives_it():
    # Newton's first law
    free = coast(1.5, 0.0, np.array([0.0, 2.0, 9.0]))
    assert free.speed == pytest.approx([1.5, 1.5, 1.5])
    assert free.distance == pytest.approx([0.0, 3.0, 13.5])
    with pytest.raises(ValueError, match="deceleration"):
        coast(1.5, -0.5, 2.0)
