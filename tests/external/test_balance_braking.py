"""Braking over the leading wheels against MuJoCo with Coulomb friction at each contact, and what holds for any robot.

`overturning` says how MuJoCo is set up; none of the project's formulas enters it.
"""

import numpy as np
import pytest

from fieldworthy.physics.statics.tipping import (
    Brakes,
    Overturn,
    impact_tip_speed,
    over_need,
    over_speed,
    roller_impact_tip_speed,
    roller_stage,
    swing,
    tip_acceleration,
)
from overturning import Robot

G = 9.80665
MASS, LENGTH = 7.0, 0.36


def robot(lead, height, grip, trail=0.16, **more):
    """A box as tall as 1.2 times its centre of gravity's height."""
    inertia = MASS * (LENGTH**2 + (1.2 * height) ** 2) / 12.0
    return Robot(MASS, inertia, lead, trail, height, grip, **more)


def ours(r: Robot) -> float:
    body = Overturn(r.mass, r.inertia, r.lead, r.height)
    need = over_need(body, r.radius, *(r.roller or (0.0, 0.0)))
    brakes = Brakes(r.grip, np.inf if r.brake is None else r.brake, r.rotating, r.radius)
    return float(over_speed(swing(body, brakes, need)))


OVER = (
    "balance",
    "Speed from which braking carries a robot over its leading wheels or rollers",
    "MuJoCo, a rigid-body engine",
    "centre of gravity 0.15 to 0.30 m high, 0.08 to 0.18 m behind the axle, grip 0.5 to 1.3, with and without rollers",
    "m/s",
)
# lead is the distance to the axle that it goes over: the front one braking forward, the rear one backward
PAIRS = [
    (0.08, 0.18, 0.60), (0.10, 0.18, 0.70), (0.08, 0.22, 0.60), (0.10, 0.22, 0.80), (0.13, 0.22, 0.80),
    (0.08, 0.26, 0.50), (0.11, 0.26, 0.60), (0.15, 0.26, 0.75), (0.10, 0.30, 0.60), (0.15, 0.30, 0.60),
    (0.18, 0.30, 0.75), (0.12, 0.15, 1.00), (0.15, 0.22, 0.95), (0.14, 0.18, 1.00),
]  # fmt: skip


@pytest.mark.parametrize(
    ("lead", "height", "grip"),
    [*PAIRS[::5], *(pytest.param(*p, marks=pytest.mark.long) for p in PAIRS if p not in PAIRS[::5])],
)
def test_locked_wheels_carry_it_over_from_the_speed_that_mujoco_finds(lead, height, grip, evidence):
    """Grip alone limits: 2 % of model and contacts' give, 1.6 cm/s of bisection. Before: 19 to 59 % too high."""
    r = robot(lead, height, grip)
    found, seen = ours(r), r.tip_speed()
    evidence(*OVER, found, seen)
    assert found == pytest.approx(seen, rel=0.02, abs=0.016)


@pytest.mark.long
@pytest.mark.parametrize(
    ("lead", "height", "times", "rotating"),
    [(0.15, 0.23, 1.3, 0.3), (0.13, 0.26, 1.3, 0.15), (0.10, 0.22, 1.25, 0.2), (0.10, 0.28, 1.5, 0.2),
     (0.08, 0.18, 1.5, 0.3), (0.12, 0.18, 1.3, 0.2)],
)  # fmt: skip
def test_a_torque_on_rolling_wheels_carries_it_over_from_the_speed_that_mujoco_finds(
    lead, height, times, rotating, evidence
):
    """The motors limit, grip is to spare; 4 %: the spin of the wheels, left out, is 1 to 3 % of it."""
    r = robot(lead, height, 1.3, brake=times * MASS * G * lead / height, rotating=rotating)
    found, seen = ours(r), r.tip_speed()
    evidence(*OVER, found, seen)
    assert found == pytest.approx(seen, rel=0.04, abs=0.016)


@pytest.mark.long
@pytest.mark.parametrize(
    ("out", "clearance"),
    [(0.02, 0.004), (0.03, 0.004), (0.05, 0.004), (0.02, 0.012), (0.04, 0.012), (0.06, 0.012), (0.05, 0.02),
     (0.06, 0.02), (0.08, 0.02)],
)  # fmt: skip
def test_a_roller_takes_the_load_when_its_clearance_closes(out, clearance, evidence):
    """A roller without friction; 5 %: the blow of a stiff contact is not one of an instant."""
    r = robot(0.10, 0.25, 1.0, trail=0.2, roller=(out, clearance))
    found, seen = ours(r), r.tip_speed()
    evidence(*OVER, found, seen)
    assert found == pytest.approx(seen, rel=0.05)


@pytest.mark.long
def test_wheels_moved_out_towards_a_roller_that_stays_can_make_it_worse():
    """The roller ends the braking once it carries: MuJoCo too finds 1.2 m/s, and 0.7 m/s with the wheels near it."""
    near = Robot(4.93, 0.0534, 0.0857, 0.2, 0.2446, 0.95, 0.0426, 43.0, 0.33, (0.0067, 0.0016))
    apart = Robot(4.93, 0.0534, 0.0757, 0.2, 0.2446, 0.95, 0.0426, 43.0, 0.33, (0.0167, 0.0016))
    for r in (near, apart):
        assert ours(r) == pytest.approx(r.tip_speed(), rel=0.05)
    assert ours(apart) > 1.5 * ours(near)


rng = np.random.default_rng(20)
N = 500
HEIGHT = rng.uniform(0.08, 0.35, N)
REACH = HEIGHT * rng.uniform(0.2, 1.2, N)
GRIP = rng.uniform(0.5, 1.3, N)
RADIUS = rng.uniform(0.02, 0.055, N)
WEIGHTS = rng.uniform(4.0, 10.0, N)
INERTIA = WEIGHTS * (rng.uniform(0.25, 0.45, N) ** 2 + (rng.uniform(0.6, 1.6, N) * HEIGHT) ** 2) / 12.0
FORCE = np.where(rng.random(N) < 0.5, np.inf, WEIGHTS * G * rng.uniform(0.3, 1.2, N))
ROTATING = rng.uniform(0.0, 1.0, N)
OUT, CLEARANCE = rng.uniform(0.0, 0.2, N), rng.uniform(0.001, 0.025, N)
TOPS = np.array([0.8, 1.2, 1.8, 2.4])[:, None]


def over(reach=REACH, height=HEIGHT, out=OUT, clearance=CLEARANCE, grip=GRIP):
    body = Overturn(WEIGHTS, INERTIA, reach, height)
    return over_speed(swing(body, Brakes(grip, FORCE, ROTATING, RADIUS), over_need(body, RADIUS, out, clearance)))


def stop(reach=REACH, height=HEIGHT, out=OUT, clearance=CLEARANCE):
    return roller_impact_tip_speed(roller_stage(Overturn(WEIGHTS, INERTIA, reach, height), out, clearance))


def test_a_dead_stop_is_never_safer_than_braking():
    """500 random plausible robots, with and without rollers: no brake is harder than a dead stop."""
    for out in (OUT, 0.0 * OUT):
        assert np.count_nonzero(np.isfinite(over(out=out))) > 200
        assert np.all(over(out=out) >= stop(out=out))


@pytest.mark.parametrize("speed", [over, stop])
def test_what_steadies_a_robot_never_lowers_its_speed(speed):
    bare = speed(out=0.0 * OUT)
    assert np.all(speed() >= bare * (1.0 - 1e-9))
    for more in (0.002, 0.01, 0.05):
        assert np.all(speed(out=OUT + more) >= speed() * (1.0 - 1e-9))
        assert np.all(speed(reach=REACH + more, out=0.0 * OUT) >= bare * (1.0 - 2e-3))
    assert np.all(speed(height=0.95 * HEIGHT, out=0.0 * OUT) >= bare * (1.0 - 2e-3))


@pytest.mark.parametrize("speed", [over, stop])
def test_what_steadies_a_robot_with_rollers_never_turns_its_verdict(speed):
    holds = speed() >= TOPS
    for changed in (speed(height=0.95 * HEIGHT), speed(clearance=0.8 * CLEARANCE)):
        assert not np.any(holds & (changed < TOPS))


@pytest.mark.long
def test_the_limit_is_continuous_in_place_and_clearance():
    """A finer sweep has smaller steps; where a roller just stands out of the wheel's rim, steep as a square root."""

    def largest_step(i, points):
        body = Overturn(WEIGHTS[i], INERTIA[i], REACH[i], HEIGHT[i])
        brakes = Brakes(GRIP[i], FORCE[i], ROTATING[i], RADIUS[i])
        sweeps = (np.linspace(0.0, 0.2, points), CLEARANCE[i]), (OUT[i], np.linspace(0.0005, 0.03, points))
        found = [over_speed(swing(body, brakes, over_need(body, RADIUS[i], *sweep))) for sweep in sweeps]
        return max(np.max(np.abs(np.diff(speeds))) for speeds in found)

    goes_over = np.flatnonzero(np.isfinite(over()))[:20]
    assert goes_over.size == 20
    for i in goes_over:
        coarse, fine = largest_step(i, 2001), largest_step(i, 32001)
        assert fine < 0.3 * coarse + 1e-4
        assert fine < 0.1


def test_it_lifts_where_the_wheels_lift_and_not_before():
    asked = np.minimum(GRIP * G, FORCE / (WEIGHTS + ROTATING))
    np.testing.assert_array_equal(np.isfinite(over()), asked > tip_acceleration(REACH, HEIGHT))


def test_edges_of_the_range():
    past = Overturn(6.0, 0.1, np.array([-0.02, 0.0]), 0.2)
    np.testing.assert_array_equal(over_speed(swing(past, Brakes(0.8), over_need(past))), 0.0)
    np.testing.assert_array_equal(impact_tip_speed(past), 0.0)
    one = Overturn(6.0, 0.1, 0.1, 0.2)
    assert over_speed(swing(one, Brakes(0.0), over_need(one))) == np.inf
    assert over_need(one) == pytest.approx(6.0 * G * (np.hypot(0.1, 0.2) - 0.2))
    # a skid of no radius that is stopped by far more than grip: a dead stop
    hard = over_speed(swing(one, Brakes(50.0, np.inf), over_need(one)))
    assert hard >= impact_tip_speed(one)
