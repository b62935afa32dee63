"""What must hold for any climb, checked over drawn cases."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldworthy.physics.statics.hanging import (
    Wall,
    critical_hook_x,
    free_attitude,
    hang,
    lift_off,
    lift_ramp,
    lowest_point,
    rest_attitude,
    turned,
)

seeds = st.integers(0, 2**32 - 1)


def _robots(seed, n=20):
    rng = np.random.default_rng(seed)
    hook = np.stack((rng.uniform(-0.2, 0.2, n), rng.uniform(0.3, 0.5, n)))
    cg = np.stack((rng.uniform(-0.1, 0.1, n), rng.uniform(0.1, 0.25, n)))
    rest = np.stack((rng.uniform(-0.2, 0.2, n), rng.uniform(0.0, 0.15, n)))
    return hook, cg, rest, Wall(rng.uniform(-0.15, 0.15, n), rng.choice([-1.0, 1.0], n))


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_forces_and_moments_balance_however_it_hangs(seed):
    """Moments about the centre of gravity, from the forces on hook and rest, vanish."""
    hook, cg, rest, wall = _robots(seed)
    found = hang(50.0, hook, cg, rest, wall)
    at_hook, at_rest = turned(hook, cg, found.attitude), turned(rest, cg, found.attitude)
    level = wall.side * found.rest_force
    moment = at_rest[1] * level + at_hook[1] * -level - at_hook[0] * 50.0
    np.testing.assert_allclose(moment, 0.0, atol=1e-8)
    np.testing.assert_array_equal(np.sign(found.rest_force), np.sign(np.maximum(found.holds, 0.0)))
    resting = found.rest_force > 0.0
    np.testing.assert_allclose(turned(rest, hook, found.attitude)[0][resting], wall.ahead[resting], atol=1e-9)


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_the_critical_hook_parts_holding_from_swinging(seed):
    """At the critical place the centre of gravity hangs under the bar; to either side the rest force has a sign."""
    rng = np.random.default_rng(seed)
    attitude, hook_z, cg = rng.uniform(-0.5, 0.5), 0.4, np.array([rng.uniform(-0.1, 0.1), 0.15])
    x = float(critical_hook_x(hook_z, cg, attitude))
    assert free_attitude((x, hook_z), cg) == pytest.approx(attitude, abs=1e-12)
    rest = np.array([x, 0.05])
    for offset in (-0.02, 0.02):
        hook = (x + offset, hook_z)
        for side in (1.0, -1.0):
            wall = Wall(turned(rest, hook, attitude)[0], side)
            assert rest_attitude(hook, rest, wall) == pytest.approx(attitude, abs=1e-9)
            force = float(hang(50.0, hook, cg, rest, wall).rest_force)
            assert (force > 0.0) == (offset * side < 0.0)


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_the_ramp_ends_with_the_weight_and_hangs_lower_than_it_stood(seed):
    hook, cg, _, _ = _robots(seed)
    ahead = hook[0] > cg[0]
    contact = np.stack((np.where(ahead, -0.25, 0.25), np.zeros(20)))
    ramp = lift_ramp(50.0, hook, cg, contact, steps=129)
    first = lift_off(50.0, hook[0], cg[0], 0.25, -0.25)
    np.testing.assert_allclose(ramp.force[0], np.minimum(first.front_force, first.rear_force), rtol=1e-9)
    np.testing.assert_allclose(ramp.force[-1], 50.0, rtol=1e-12)
    # a robot whose centre of gravity passes its last contact falls over it instead: no quasi-static climb
    stands = turned(cg, contact, ramp.attitude[-1])[0] * np.where(ahead, 1.0, -1.0) > 0.02
    # work done by the hook is the rise of the centre of gravity: the trapezoid rule, 1 %
    work = np.trapezoid(ramp.force, ramp.rise, axis=0)
    gain = 50.0 * (turned(cg, contact, ramp.attitude[-1])[1] - cg[1])
    np.testing.assert_allclose(work[stands], gain[stands], rtol=0.01, atol=0.001)


@given(seeds)
@settings(max_examples=30, deadline=None)
def test_a_batch_is_its_cases_one_by_one(seed):
    hook, cg, rest, wall = _robots(seed, 6)
    found = hang(50.0, hook, cg, rest, wall)
    corners = np.array([[0.2, 0.0], [-0.2, 0.0], [0.2, 0.3]])
    low = lowest_point(corners[..., None], hook, found.attitude, 1.0)
    for i in range(6):
        one = hang(50.0, hook[:, i], cg[:, i], rest[:, i], Wall(wall.ahead[i], wall.side[i]))
        assert one.attitude == pytest.approx(found.attitude[i], abs=1e-12)
        assert one.rest_force == pytest.approx(found.rest_force[i], abs=1e-12)
        assert lowest_point(corners, hook[:, i], one.attitude, 1.0) == pytest.approx(low[i], abs=1e-12)
