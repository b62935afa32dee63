"""A robot that turns and pushes against sliding patches moved in time by scipy; a body followed over its edge."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fieldworthy.physics.contact import grabber
from fieldworthy.physics.motors import driving, motion

DRIVE = motion.DriveLine(60.0, 30.0, 55.0, 40.0, 55.0)


def goes_on(force, push, x, b, mu, reach, weight=60.0):
    """Whether the hook still moves forward against a force, wheels rolling with `push` at the rims in all.

    Four patches that push along with a quarter each and have what is left of the friction circle across.
    """
    mass, inertia, each = weight / 9.81, 0.1, mu * weight / 4
    across = np.sqrt(max(each**2 - (push / 4) ** 2, 0.0))

    def rates(t, y):
        slips = y[0] + np.array([x, x, -x, -x]) * y[1]
        side = -across * np.tanh(slips / 5e-5)
        moment = push * b - force * reach + (side * [x, x, -x, -x]).sum()
        return (side.sum() - force) / mass, moment / inertia

    run = solve_ivp(rates, (0.0, 0.3), (0.0, 0.0), method="LSODA", rtol=1e-6, atol=1e-9)
    return run.y[0, -1] + reach * run.y[1, -1] > 2e-3


def most(push, x, b, mu, reach):
    """Largest such force by bisection, with the best push up to the one given."""
    best = 0.0
    for part in np.linspace(0.2, 1.0, 17):
        low, high = best, 60.0
        if not goes_on(best + 0.05, part * push, x, b, mu, reach):
            continue
        for _ in range(12):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if goes_on(middle, part * push, x, b, mu, reach) else (low, middle)
        best = max(best, low)
    return best


@pytest.mark.parametrize(
    ("push", "x", "mu"), [(20.0, 0.06, 0.8), (35.0, 0.1, 0.8), (48.0, 0.1, 0.8), (30.0, 0.12, 0.5)]
)
@pytest.mark.parametrize("reach", [0.2, 0.3])
def test_force_across_against_patches_in_time(push, x, mu, reach):
    # 3 % or 0.3 N: the layer in which the patches' friction builds up, and the steps of the push
    b, weight = 0.14, 60.0
    yaw = driving.YawLoad(0.1, b, mu * weight * x, mu * weight)
    found = min(float(f) for f in driving.force_across(push, yaw, mu * weight, reach))
    assert found == pytest.approx(most(min(push, mu * weight), x, b, mu, reach), rel=0.03, abs=0.3)


def test_what_turns_by_itself_pushes_too():
    # a few hundred plausible robots: a turn that ends and a push above nothing are one verdict
    rng = np.random.default_rng(5)
    n = 400
    x, b, mu, weight = (
        rng.uniform(0.0, 0.2, n),
        rng.uniform(0.1, 0.2, n),
        rng.uniform(0.4, 1.1, n),
        rng.uniform(30, 90, n),
    )
    stall = rng.uniform(10.0, 80.0, n)
    drive = motion.DriveLine(stall, 30.0, 0.9 * stall, 40.0, 55.0)
    yaw = driving.YawLoad(0.08, b, mu * weight * x, mu * weight, resistance=1.0)
    turns = np.isfinite(driving.turn(drive, yaw).time)
    pushes = np.minimum(*driving.force_across(0.9 * stall, yaw, mu * weight, 0.25)) > 0.0
    assert turns.any()
    assert (~turns).any()
    np.testing.assert_array_equal(turns, pushes)
    # more force of the motors never pushes less
    forces = [np.minimum(*driving.force_across(k * stall, yaw, mu * weight, 0.25)) for k in (0.5, 0.7, 0.9, 1.2)]
    assert np.all(np.diff(forces, axis=0) >= -1e-9)


@pytest.mark.parametrize("elevation", [0.0, 0.6, 1.2])
@pytest.mark.parametrize("ahead", [-0.06, 0.0, 0.09])
def test_a_body_followed_over_its_edge(elevation, ahead):
    """Moments about the edge with points turned as complex numbers, up to where the weight is above the edge."""
    body = grabber.Standing(15.0, 0.1, 0.06, 0.5)
    found = grabber.force_over_way(body, grabber.way_over(body, 0.16, ahead), elevation)
    forces, force = [], np.exp(1j * elevation)
    for angle in np.linspace(0.0, np.arctan2(0.06, 0.1), 200)[:-1]:
        turned = np.exp(-1j * angle)
        lip, middle = (ahead - 0.06 + 0.16j) * turned, (-0.06 + 0.1j) * turned
        lever = -(lip.conjugate() * force).imag
        forces.append(-15.0 * middle.real / lever if lever > 0.0 else np.inf)
    assert found == pytest.approx(max(forces), rel=0.01)
    assert found >= grabber.force_to_tip(body, 0.16, elevation, ahead) - 1e-9
