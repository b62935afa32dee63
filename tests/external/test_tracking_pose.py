"""Poses and odometry steps against integrated equations of motion."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from drifting import move, sample, wheel_and_gyro
from fieldworthy.physics.odometry import odometry
from reference import case


def driven(rates, time, start=(0.0, 0.0, 0.0)):
    """Pose after body rates (ahead, left, turn) as functions of time, integrated by scipy."""

    def slope(t, state):
        v, u, w = rates(t)
        c, s = np.cos(state[2]), np.sin(state[2])
        return [v * c - u * s, v * s + u * c, w]

    return solve_ivp(slope, (0.0, time), start, method="DOP853", rtol=1e-12, atol=1e-13).y[:, -1]


def test_one_arc_by_plane_geometry():
    # ODO-02, strength C (geometry); paired with the integrated motions of the other tests.
    ref = case("ODO-02")
    angle = np.radians(ref["inputs"]["angle_deg"])
    x, y, _ = move((0.0, 0.0, 0.0), ref["inputs"]["radius_m"] * angle, 0.0, angle)
    want = {key: each["value"] for key, each in ref["expected"].items()}
    assert (x, y, np.hypot(x, y)) == pytest.approx((want["x"], want["y"], want["chord"]), rel=1e-9)


@pytest.mark.parametrize("turn", [0.0, 1e-9, 1e-4, -0.7, 2.9, -6.1])
def test_even_motion_is_exact(turn):
    start = (0.3, -0.4, 0.9)
    expected = driven(lambda t: (0.8, -0.35, turn), 1.0, start)
    np.testing.assert_allclose(move(start, 0.8, -0.35, turn), expected, atol=1e-11)


def tracked(step):
    """ODO-01: forward wheel, sideways wheel and gyro read every `step` seconds; final pose by our update."""
    given = case("ODO-01")["inputs"]
    offsets = (given["forward_wheel_lateral_offset_m"], given["lateral_wheel_longitudinal_offset_m"])
    t = np.arange(round(given["T_s"] / step) + 1) * step
    v = 0.6 * t + 0.3 / 1.1 * (1.0 - np.cos(1.1 * t))
    u = 0.1 / 2.3 * (1.0 - np.cos(2.3 * t))
    w = 1.2 / 0.7 * np.sin(0.7 * t) + 0.2 * t
    forward, sideways = v - w * offsets[0], u + w * offsets[1]
    now = (0.0, 0.0, 0.0)
    for reading in np.diff([forward, sideways, w], axis=1).T:
        now = move(now, *wheel_and_gyro(*reading, offsets), reading[2])
    return np.array(now), forward[-1], sideways[-1]


def test_wheel_and_gyro_follow_the_integrated_drive():
    # ODO-01, strength B: scipy's integration; also integrated here, with the same rates.
    want = {key: each["value"] for key, each in case("ODO-01")["expected"].items()}
    truth = driven(lambda t: (0.6 + 0.3 * np.sin(1.1 * t), 0.1 * np.sin(2.3 * t), 1.2 * np.cos(0.7 * t) + 0.2), 6.0)
    np.testing.assert_allclose(truth, [want["x"], want["y"], want["theta"]], atol=1e-9)
    errors = []
    for step in (0.02, 0.01, 0.005):
        now, forward, sideways = tracked(step)
        assert now[2] == pytest.approx(want["theta"], abs=1e-8)
        assert (forward, sideways) == pytest.approx((want["wheel_fwd_travel"], want["wheel_lat_travel"]), abs=1e-8)
        errors.append(np.hypot(*(now - truth)[:2]))
    assert errors[1] == pytest.approx(want["arc_error_dt10ms"], rel=0.05)
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    np.testing.assert_allclose(orders, want["arc_order"], atol=0.1)


def test_path_through_points_passes_them_and_takes_its_time():
    points = np.array([[0.2, 0.1], [1.0, 0.1], [1.0, 0.1], [0.4, 0.9], [-0.3, -0.5]])
    path = odometry.path_through(points, 0.5, speed=0.8, turn_rate=2.0)
    x, y, heading = odometry.joints(path)
    np.testing.assert_allclose(np.array([x, y])[:, [m + 1 for m in path.marks]].T, points[1:], atol=1e-12)
    legs = np.diff(points, axis=0)
    long = np.hypot(*legs.T) > 0.0
    aims = np.arctan2(legs[:, 1], legs[:, 0])[long]
    np.testing.assert_allclose(np.exp(1j * heading[2::2][long]), np.exp(1j * aims), atol=1e-12)
    assert np.all(np.abs(path.turn) <= np.pi)
    total = np.hypot(*legs.T).sum() / 0.8 + np.abs(path.turn).sum() / 2.0
    assert path.time.sum() == pytest.approx(total, rel=1e-12)


def test_samples_lie_on_the_integrated_path():
    path = odometry.Path(
        (0.1, 0.2, -0.3), np.array([0.5, 0.4]), np.array([0.0, 0.2]), np.array([0.0, 2.0]), np.ones(2), (1,)
    )
    found = np.array(sample(path, 4))
    for k in range(1, 5):
        middle = driven(lambda t: (0.5, 0.0, 0.0), k / 4, (0.1, 0.2, -0.3))
        np.testing.assert_allclose(found[:, k], middle, atol=1e-11)
        end = driven(lambda t: (0.4, 0.2, 2.0), k / 4, found[:, 4])
        np.testing.assert_allclose(found[:, 4 + k], end, atol=1e-11)
