"""Skid steering against planar contact patches solved with scipy."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, minimize_scalar

from fieldworthy.physics.motors import driving, motion

DRIVE = motion.DriveLine(60.0, 30.0, 55.0, 40.0, 55.0)


def patches(u, r, x, b, mu, weight):
    """Drive force at the rims and moment on the robot: four points of isotropic Coulomb friction that slide."""
    long, side = u - b * r, x * r
    slip = np.hypot(long, side)
    # a thin layer in which friction builds up keeps the contact defined at rest
    friction = mu * weight * np.minimum(slip / 1e-4, 1.0)
    slip = max(slip, 1e-12)
    return friction * long / slip, friction * (long * b - side * x) / slip


def rim_force(u):
    return float(motion.drive_force(u, DRIVE.stall_force, DRIVE.slope, DRIVE.force_limit, DRIVE.power_limit))


@pytest.mark.parametrize("x", [0.02, 0.06, 0.11])
@pytest.mark.parametrize("mu", [0.5, 0.9])
def test_steady_turn_rate_against_sliding_patches(x, mu):
    # rim speed and turn rate at which motors, friction forces and moments balance; 1e-6: the layer at rest
    b, weight = 0.14, 6.0 * 9.81

    def rate(u):
        # no net moment
        return brentq(lambda r: patches(u, r, x, b, mu, weight)[1], 0.0, u / b)

    u = brentq(lambda u: rim_force(u) - patches(u, rate(u), x, b, mu, weight)[0], 0.1, 2.0)
    scrub = driving.scrub_moment(np.array([x, x, -x, -x]), np.full(4, weight / 4), np.full(4, mu))
    yaw = driving.YawLoad(0.08, b, scrub, mu * weight)
    assert driving.turn_rate(DRIVE, yaw) == pytest.approx(rate(u), rel=1e-6)


@pytest.mark.parametrize(("x", "off"), [(0.0, 5e-3), (0.03, 0.03), (0.07, 0.06), (0.1, 0.08)])
def test_quarter_turn_against_patches_integrated_in_time(x, off, evidence):
    # the turn of the sliding patches, full command then full braking. The model takes the scrub of the steady turn
    # all the way up, so the more the wheels scrub the further it is off; without scrub only the layer is left
    b, mu, weight, inertia, rotating = 0.14, 0.9, 6.0 * 9.81, 0.08, 0.5
    scrub = driving.scrub_moment(np.array([x, x, -x, -x]), np.full(4, weight / 4), np.full(4, mu))
    yaw = driving.YawLoad(inertia, b, scrub, mu * weight, rotating_mass=rotating)
    found = driving.turn(DRIVE, yaw)

    def rates(sense):
        def f(t, y):
            force, moment = patches(y[2], y[1], x, b, mu, weight)
            drive = rim_force(y[2]) if sense > 0 else -DRIVE.brake_force
            return y[1], moment / inertia, (drive - force) / rotating

        return f

    def still(t, y):
        return y[1]

    still.terminal, still.direction = True, -1

    def turned(until):
        up = solve_ivp(rates(1), (0, until), (0, 0, 0), method="LSODA", rtol=1e-7, atol=1e-9)
        down = solve_ivp(rates(-1), (0, 2), up.y[:, -1], events=still, method="LSODA", rtol=1e-7, atol=1e-9)
        return down.y_events[0][0][0] - np.pi / 2, until + down.t_events[0][0]

    switch = brentq(lambda t: turned(t)[0], 0.02, 1.0, xtol=1e-7)
    simulated = turned(switch)[1]
    evidence(
        "drive",
        "Time of a quarter turn on the spot, the wheels scrubbing",
        "sliding contact patches in scipy's solve_ivp",
        "wheels 0 to 0.1 m ahead of and behind the turning centre, grip 0.9",
        "s",
        found.time,
        simulated,
    )
    assert found.time == pytest.approx(simulated, rel=off)


def test_scrub_moment_is_the_least_over_pivots():
    # scipy's search over the pivot, wheels of unlike loads and grips
    x, load, grip = np.array([0.12, 0.02, -0.11]), np.array([20.0, 25.0, 14.0]), np.array([0.9, 0.8, 0.06])
    found = minimize_scalar(lambda c: (load * grip * np.abs(x - c)).sum(), bounds=(-0.2, 0.2), method="bounded")
    assert driving.scrub_moment(x, load, grip) == pytest.approx(found.fun, rel=1e-4)


def test_without_scrub_the_turn_is_a_bare_inertia_under_constant_moment():
    # bang-bang: t = 2 sqrt(angle I / M), a constant force far below free speed; 1e-6: the slope left in
    drive = motion.DriveLine(1e6, 1e-3, 10.0, np.inf, 10.0)
    yaw = driving.YawLoad(0.1, 0.15, 0.0, 50.0)
    found = driving.turn(drive, yaw, np.pi)
    assert found.time == pytest.approx(2.0 * np.sqrt(np.pi * 0.1 / (10.0 * 0.15)), rel=1e-6)
    assert found.peak_rate == pytest.approx(np.sqrt(np.pi * 10.0 * 0.15 / 0.1), rel=1e-6)


def test_a_drive_too_weak_for_its_scrub_does_not_turn():
    yaw = driving.YawLoad(0.1, 0.1, 5.0, 60.0)
    # half-slope friction: it holds 5 / 0.1 / sqrt(1 + (5/6)^2) = 38.4 N
    for force, turns in ((38.0, False), (39.0, True)):
        drive = motion.DriveLine(1e3, 1.0, force, np.inf, force)
        assert bool(driving.turn_rate(drive, yaw) > 0.0) is turns
        assert bool(np.isfinite(driving.turn(drive, yaw).time)) is turns
