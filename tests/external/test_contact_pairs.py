"""Verdicts that speak of one thing agree over a few hundred random cases, and turn only the way physics turns them.

Reference: each other, counting, and the signs of Coulomb friction; turning and pushing are in test_grabber_turning.py,
ejector and errors in test_sorting_decision.py.
"""

import numpy as np

from fieldworthy.physics.contact import clamp, handover, rolling

RNG = np.random.default_rng(17)
N = 400


def test_a_row_with_hooks_passes_no_more_than_its_hooks():
    speeds = RNG.uniform(0.2, 2.0, (3, N))
    spacing = handover.hook_spacing(0.00635, RNG.integers(12, 40, N))
    length = RNG.uniform(0.05, 0.1, N)
    lengths = np.stack([length, np.maximum(spacing, length), length])
    rate = handover.throughput(speeds, lengths)
    passing = handover.passing_frequency(speeds[1], np.maximum(spacing, length))
    assert np.all(rate <= passing * (1 + 1e-12))
    limits = handover.limiting_stage(speeds, lengths) == 1
    assert 0 < limits.sum() < N
    np.testing.assert_allclose(rate[limits], passing[limits], rtol=1e-12)
    # fed as far apart as it says, and no closer, the pieces of the last stage are just as far apart as they must be
    apart = handover.feed_spacing(speeds, lengths) / speeds[0]
    np.testing.assert_allclose((speeds * apart / lengths).min(axis=0), 1.0, rtol=1e-12)


def test_a_clamp_slips_at_the_pressure_at_which_it_holds_no_more():
    per, spring = RNG.uniform(1e-5, 1e-3, N), RNG.uniform(-20.0, 40.0, N)
    gain, seat = RNG.uniform(0.1, 4.0, N), RNG.uniform(0.0, 0.6, N)
    pull, weight = RNG.uniform(1.0, 120.0, N), RNG.uniform(0.0, 10.0, N)
    slips = clamp.slip_pressure(pull, per, spring, gain, seat, weight)
    for share in (0.999, 1.001):
        down = clamp.jaw_force(share * slips, per, spring)
        holds = clamp.holding_force(down, gain, seat, weight) >= pull
        assert np.all(holds[slips > 0.0] == (share > 1.0))
    # more pressure, more friction: never less held, and never a higher pressure needed
    pressures = np.linspace(0.0, 7e5, 30)[:, None]
    assert np.all(np.diff(clamp.holding_force(clamp.jaw_force(pressures, per, spring), gain, seat), axis=0) >= 0.0)
    assert np.all(clamp.slip_pressure(pull, per, spring, gain, 1.2 * seat, weight) <= slips)
    assert np.all(clamp.slip_pressure(pull, per, spring, 1.2 * gain, seat, weight) <= slips)


def test_more_press_and_friction_never_drop_a_ball():
    press, mu, guide = RNG.uniform(0.5, 20.0, N), RNG.uniform(0.1, 1.2, N), RNG.uniform(0.06, 0.6, N)
    weight, loss = RNG.uniform(0.0, 1.0, N), RNG.uniform(0.0, 0.1, N)

    def carried(press, mu, guide):
        """Whether the roller moves the ball on."""
        drag = rolling.drag(press, guide, loss, weight)
        stage = rolling.rolling(rolling.Stage(1.0, 1.0, 0.03, 0.004, press, mu, drag), guide, loss, weight)
        return rolling.object_speed(stage, 10.0) > 0.0

    plain = carried(press, mu, guide)
    assert 0 < plain.sum() < N
    for more in (carried(1.3 * press, mu, guide), carried(press, 1.3 * mu, guide), carried(press, mu, 1.3 * guide)):
        assert np.all(more[plain])


def test_a_higher_seam_or_a_lighter_press_never_keeps_a_wheel_down_longer():
    radius, step, give = RNG.uniform(0.02, 0.05, N), RNG.uniform(0.0, 0.02, N), RNG.uniform(0.0, 1e-3, N)
    down, mass = RNG.uniform(1.0, 20.0, N), RNG.uniform(0.05, 0.4, N)
    stays = rolling.contact_speed(radius, step, down, mass, give)
    assert np.all(rolling.contact_speed(radius, 1.1 * step + 1e-5, down, mass, give) <= stays)
    assert np.all(rolling.contact_speed(radius, step, 1.1 * down, mass, give) >= stays)
    assert np.all(rolling.contact_speed(radius, step, down, mass, give + 1e-4) >= stays)
    flies = rolling.flight_length(radius, step, down, mass, 1.5, give) > 0.0
    np.testing.assert_array_equal(flies, stays < 1.5)
