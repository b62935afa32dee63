"""Stages in a row against objects moved step by step, and the trade's word on a fast first roller."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fieldworthy.physics.contact import handover, rolling

LENGTH = 0.09


def pile_rate(speeds, nips, length=LENGTH, time=8.0, step=5e-4):
    """Rate at which a crowded row lets objects out: moved step by step, never through one another."""
    noses, marks = [0.0], []
    for k in range(int(time / step)):
        kept = []
        for before in noses:
            stage = int(np.searchsorted(nips, before, side="right"))
            after = before + speeds[stage] * step
            kept.append(min(after, kept[-1] - length) if kept else after)
        if kept[-1] >= length:
            kept.append(kept[-1] - length)
        if kept[0] > nips[-1] + 0.5:
            kept.pop(0)
            marks.append(k * step)
        noses = kept
    return (len(marks) - 2) / (marks[-1] - marks[1])


@pytest.mark.parametrize("speeds", [(2.0, 1.0), (1.0, 2.0), (1.2, 1.2), (1.5, 0.8, 2.0)])
def test_throughput_of_a_crowded_row(speeds, evidence):
    nips = tuple(0.15 * (i + 1) for i in range(len(speeds) - 1))
    found = pile_rate(speeds, nips)
    # 1 %: times of exit are known to one step of 0.5 ms
    ours = float(handover.throughput(np.array(speeds), LENGTH))
    evidence(
        "intake",
        "Pieces a second that a row of stages passes on",
        "pieces moved step by step, never through one another",
        "two and three stages, 0.8 to 2 m/s, slower and faster behind one another",
        "1/s",
        ours,
        found,
    )
    assert ours == pytest.approx(found, rel=0.01)
    assert handover.limiting_stage(np.array(speeds)) == speeds.index(min(speeds))


def test_feed_spacing_is_where_objects_just_do_not_touch():
    # Two objects moved through a fast and a slow stage: their smallest clearance, by interpolation of
    # their paths
    speeds, nip = (2.0, 0.7), 0.4
    for factor, touches in ((0.99, True), (1.01, False)):
        spacing = factor * handover.feed_spacing(np.array(speeds), LENGTH)
        t = np.linspace(0.0, 2.0, 200_001)

        def nose(delay, t=t):
            run = (t - delay) * speeds[0]
            return np.where(run < nip, run, nip + (run - nip) * speeds[1] / speeds[0])

        clearance = nose(0.0) - nose(spacing / speeds[0]) - LENGTH
        assert (clearance.min() < 0.0) == touches


def test_rubbing_against_a_stepped_hand_over():
    # The object held by both nips moves with the stronger grip: the weaker surface's slide, summed over
    # time steps
    for grips in ((16.0, 10.0), (10.0, 16.0)):
        v1, v2, both = 1.4, 0.7, 0.03
        carried = v1 if grips[0] >= grips[1] else v2
        other = v2 if grips[0] >= grips[1] else v1
        step, moved, slid = 1e-6, 0.0, 0.0
        while moved < both:
            moved += carried * step
            slid += abs(other - carried) * step
        force, slide = handover.rubbing(both, (v1, v2), grips)
        assert slide == pytest.approx(slid, rel=1e-4)
        assert force == pytest.approx(-10.0, rel=1e-12)  # the weaker grip, and a push since the next is slower
    assert handover.rubbing(0.03, (1.0, 1.0), (5.0, 6.0))[0] == 0.0
    assert handover.rubbing(-0.01, (1.0, 2.0), (5.0, 6.0)) == (0.0, 0.0)


@pytest.mark.parametrize(("speed", "force"), [(0.5, 8.0), (1.5, 8.0), (4.0, 3.0)])
def test_swallow_time_against_integration(speed, force):
    # scipy's solve_ivp with events: pushed until it runs with the surface or is in, then carried if it is
    # not in
    def motion(t, y):
        return [y[1], force / 0.12]

    def inside(t, y):
        return y[0] - LENGTH

    def in_step(t, y):
        return y[1] - speed

    inside.terminal = in_step.terminal = True
    found = solve_ivp(motion, (0.0, 5.0), [0.0, 0.0], events=[inside, in_step], rtol=1e-10, atol=1e-12)
    rest = (LENGTH - found.y[0, -1]) / found.y[1, -1]
    want = found.t[-1] + rest
    assert handover.swallow_time(LENGTH, speed, force, 0.12) == pytest.approx(want, rel=1e-8)


def intake(rpm):
    """Surface speed under load and drawing force of a stage on an 11 W motor geared to so many rpm."""
    free = rpm * np.pi / 30.0
    stall = 4.0 * 11.0 / free  # peak power of a straight line is a quarter of free speed times stall torque
    stage = rolling.Stage(1.0, 0.9, 0.0254, 0.004, 20.0, 0.8, rolling.drag(20.0, 0.2))
    torque = rolling.load_torque(stage)
    speed = rolling.object_speed(stage, rolling.motor_speed(free, stall, [torque]))
    pull = min(16.0, stall / torque * 4.0) - 4.0
    return float(speed), float(pull)


def test_a_fast_first_roller_picks_up_about_as_well_as_an_even_pair():
    # Common practice, no source: 1,200 rpm before 600 rpm, 11 W each, picks up no more than about as well
    # as an even pair. Moved step by step, a crowded row of each says the same: the hand-over to the slower
    # stage limits.
    fast, pull_fast = intake(1200.0)
    slow, pull_slow = intake(600.0)
    uneven_row, even_row = np.array([fast, slow]), np.array([slow, slow])
    uneven = handover.pickup_rate(
        handover.swallow_time(LENGTH, fast, pull_fast, 0.1), handover.throughput(uneven_row, LENGTH)
    )
    even = handover.pickup_rate(
        handover.swallow_time(LENGTH, slow, pull_slow, 0.1), handover.throughput(even_row, LENGTH)
    )
    stepped = pile_rate((fast, slow), (0.12,)) / pile_rate((slow, slow), (0.12,))
    assert stepped == pytest.approx(1.0, abs=0.02)
    # "about as well": within a fifth either way; the even pair loses only the time in which its roller
    # draws an object up to speed, since its objects come nose to tail
    assert uneven / even == pytest.approx(stepped, abs=0.2)
    assert handover.limiting_stage(uneven_row) == 1
    # Not the word of the trade but its reason: with both stages at 1,200 rpm the same two motors would
    # pass on more
    assert handover.throughput(np.array([fast, fast]), LENGTH) / handover.throughput(
        uneven_row, LENGTH
    ) == pytest.approx(pile_rate((fast, fast), (0.12,)) / pile_rate((fast, slow), (0.12,)), rel=0.02)


def test_batch_equals_case_by_case():
    speeds = np.array([[2.0, 1.0, 0.5], [1.0, 1.5, 0.0]])
    length = np.array([0.05, 0.09, 0.12])
    rate, spacing = handover.throughput(speeds, length, 0.01), handover.feed_spacing(speeds, length, 0.01)
    for i in range(3):
        assert rate[i] == handover.throughput(speeds[:, i], float(length[i]), 0.01)
        assert spacing[i] == handover.feed_spacing(speeds[:, i], float(length[i]), 0.01)
    assert rate[2] == 0.0
    assert spacing[2] == np.inf


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: handover.throughput(np.array([1.0, -1.0]), 0.1), "speeds"),
        (lambda: handover.throughput(np.array([]), 0.1), "speeds"),
        (lambda: handover.throughput(np.array([1.0]), 0.0), "length"),
        (lambda: handover.feed_spacing(np.array([1.0]), 0.1, -0.1), "gap"),
        (lambda: handover.overlap(0.1, 0.0), "distance"),
        (lambda: handover.rubbing(0.1, (0.0, 1.0), (1.0, 1.0)), "this_speed"),
        (lambda: handover.swallow_time(0.1, 1.0, 1.0, 0.0), "mass"),
        (lambda: handover.pickup_rate(0.0, 1.0), "swallow_time"),
    ],
)
def test_bad_input_is_named(call, named):
    with pytest.raises(ValueError, match=named):
        call()


def test_an_object_that_is_not_drawn_in_takes_for_ever():
    times = handover.swallow_time(0.1, np.array([1.0, 0.0, 1.0]), np.array([5.0, 5.0, -1.0]), 0.1)
    assert np.isfinite(times).tolist() == [True, False, False]
    assert handover.pickup_rate(times, 2.0).tolist()[1:] == [0.0, 0.0]
