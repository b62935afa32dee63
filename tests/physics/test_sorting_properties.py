"""Laws of sorting by hue that hold for any numbers."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fieldworthy.physics.colour import colour, sorting
from fieldworthy.physics.contact import timing

TURN = 2.0 * np.pi
angles = st.floats(0.0, 6.28)
shares = st.floats(0.001, 0.499)
spreads = st.floats(0.02, 0.5)


@given(st.lists(angles, min_size=3, max_size=20), st.floats(-20.0, 20.0))
def test_turning_the_circle_turns_the_mean_and_keeps_the_deviation(samples, turn):
    x = np.array(samples)
    moved = colour.wrap(x + turn)
    length = colour.resultant(x)[1]
    assert colour.resultant(moved)[1] == pytest.approx(length, abs=1e-9)
    if length > 0.01:
        assert colour.distance(colour.circmean(moved), colour.wrap(colour.circmean(x) + turn)) == pytest.approx(
            0.0, abs=1e-7
        )
        assert colour.circstd(moved) == pytest.approx(colour.circstd(x), abs=1e-6)


@given(angles, angles, st.floats(-20.0, 20.0))
def test_distance_is_that_of_the_shorter_way(a, b, turn):
    d = colour.distance(a, b)
    assert d == pytest.approx(min(abs(a - b), TURN - abs(a - b)), abs=1e-12)
    assert colour.distance(colour.wrap(a + turn), colour.wrap(b + turn)) == pytest.approx(d, abs=1e-9)
    assert colour.wrap(b + colour.difference(a, b)) == pytest.approx(colour.wrap(a), abs=1e-9) or d == pytest.approx(
        0, abs=1e-9
    )


@given(
    st.lists(angles, min_size=2, max_size=4, unique_by=lambda h: round(h, 1)), st.lists(spreads, min_size=4, max_size=4)
)
def test_arcs_close_the_circle_and_err_no_more_than_halves(means, sds):
    m, s = np.array(means), np.array(sds[: len(means)])
    arcs = sorting.sectors(m, s)
    assert arcs.width.sum() == pytest.approx(TURN, rel=1e-9)
    assert (arcs.width >= 0.0).all()
    # against thresholds half way between the means
    order = np.argsort(m)
    gaps = np.mod(np.roll(m[order], -1) - m[order], TURN)
    before = np.roll(gaps, 1) / 2
    halves = sorting.Sectors(colour.wrap(m[order] - before), before + gaps / 2, np.arange(len(m)), len(m))
    plain = sorting.misclassification(m[order], s[order], halves).mean()
    assert sorting.misclassification(m, s, arcs).mean() <= plain + 1e-9
    # every hue belongs to exactly one arc
    grid = np.linspace(0.0, TURN, 77, endpoint=False)
    inside = colour.wrap(grid - arcs.start[:, None]) < arcs.width[:, None]
    # (but for one that rounding puts on both sides of a threshold, or on neither)
    assert (inside.sum(axis=0) != 1).sum() <= 2


@given(angles, st.floats(0.3, 2.5), spreads)
def test_alike_classes_part_in_the_middle(mean, apart, sd):
    m = np.array([mean, colour.wrap(mean + apart)])
    arcs = sorting.sectors(m, np.array([sd, sd]))
    ((start, width),) = arcs.of(0)
    assert colour.distance(colour.wrap(start + width), colour.wrap(mean + apart / 2)) == pytest.approx(0, abs=1e-7)
    threshold, _ = sorting.equal_error_threshold(m[0], sd, m[1], sd)
    assert colour.distance(threshold, colour.wrap(mean + apart / 2)) == pytest.approx(0.0, abs=1e-7)


@given(angles, angles, st.floats(0.0, 6.28), st.floats(0.02, 2.0))
def test_an_arc_and_the_rest_hold_everything(start, mean, width, sd):
    inside = colour.arc_probability(start, width, mean, sd)
    outside = colour.arc_probability(colour.wrap(start + width), TURN - width, mean, sd)
    assert inside + outside == pytest.approx(1.0, abs=1e-8)


@given(shares, st.integers(1, 12))
def test_more_readings_err_less_where_one_errs_less_than_half(error, half):
    odd = 2 * half - 1
    fewer, more = sorting.majority_error(error, odd), sorting.majority_error(error, odd + 2)
    assert more < fewer
    assert sorting.majority_error(error, odd + 1) == pytest.approx(fewer, rel=1e-12)
    # And on the other side of a half the votes mirror: wrong and right change names
    assert sorting.majority_error(1.0 - error, odd) == pytest.approx(1.0 - fewer, rel=1e-9)


@given(shares, st.integers(1, 6), st.floats(0.01, 0.98))
def test_correlated_votes_lie_between_one_reading_and_independent_ones(error, half, correlation):
    count = 2 * half - 1
    together = sorting.majority_error(error, count, correlation)
    independent = sorting.majority_error(error, count)
    assert independent - 1e-3 <= together <= error + 1e-3


@given(st.floats(0.05, 0.4), st.floats(0.02, 0.1), st.floats(0.01, 0.2), st.floats(0.2, 2.0), st.floats(0.0, 0.1))
def test_a_slower_path_never_shortens_the_eject_window(distance, length, gap, speed, decision):
    slow = timing.eject_window(distance, length, length + gap, 0.9 * speed, decision, 0.02)
    fast = timing.eject_window(distance, length, length + gap, speed, decision, 0.02)
    assert slow.margin >= fast.margin - 1e-12
    assert slow.closes - slow.opens == pytest.approx(gap / (0.9 * speed), rel=1e-6)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_outcomes_add_up(unwanted, missed, false_alarm, ejected):
    o = timing.outcome(unwanted, missed, false_alarm, ejected)
    parts = np.array([o.kept_right, o.kept_wrong, o.thrown_right, o.thrown_wrong])
    assert parts.sum() == pytest.approx(1.0, abs=1e-12)
    assert ((parts >= -1e-12) & (parts <= 1.0 + 1e-12)).all()
    assert o.kept_wrong + o.thrown_right == pytest.approx(unwanted, abs=1e-12)


@given(st.lists(angles, min_size=1, max_size=4), st.lists(spreads, min_size=4, max_size=4), angles, spreads)
def test_no_hue_beats_the_best_one(means, sds, other, own):
    m, s = np.array(means), np.array(sds[: len(means)])
    best, clear = sorting.best_hue(m, s, own)
    assert sorting.detectability(other, own, m, s) <= clear * (1 + 1e-9)
    assert sorting.detectability(best, own, m, s) == pytest.approx(clear, rel=1e-6, abs=1e-9)


@given(st.tuples(*[st.floats(0.0, 1.0)] * 3), st.floats(0.1, 10.0))
def test_brightness_does_not_change_hue_or_saturation(rgb, gain):
    x = np.array(rgb)
    assume(x.max() - x.min() > 1e-3)
    (h, s, v), (h2, s2, v2) = colour.from_rgb(x), colour.from_rgb(gain * x)
    assert colour.distance(h, h2) == pytest.approx(0.0, abs=1e-9)
    assert s2 == pytest.approx(s, abs=1e-9)
    assert v2 == pytest.approx(gain * v, rel=1e-12)
    assert colour.noise(gain * x, gain * 0.01) == pytest.approx(colour.noise(x, 0.01), rel=1e-9)


def test_batch_equals_case_by_case():
    means, sds = np.radians([[358.0, 5.0, 300.0], [228.0, 90.0, 310.0]]), np.radians([[4.0, 9.0, 3.0], [6.0, 9.0, 5.0]])
    priors = np.array([0.7, 0.3])
    arcs = sorting.sectors(means, sds, priors)
    errors = sorting.misclassification(means, sds, arcs)
    votes = sorting.majority_error(errors[0], np.array([1, 3, 4]), np.array([0.0, 0.3, 0.9]))
    decided = arcs.decide(np.array([0.0, 1.5, 5.3]))
    for i in range(3):
        one = sorting.sectors(means[:, i], sds[:, i], priors)
        own = arcs.width[:, i] > 0.0
        assert arcs.start[own, i] == pytest.approx(one.start[one.width > 0.0], rel=1e-12)
        alone = sorting.misclassification(means[:, i], sds[:, i], one)
        assert alone == pytest.approx(errors[:, i], rel=1e-12)
        vote = sorting.majority_error(float(errors[0, i]), (1, 3, 4)[i], (0.0, 0.3, 0.9)[i])
        assert vote == pytest.approx(votes[i], rel=1e-12)
        assert one.decide((0.0, 1.5, 5.3)[i]) == decided[i]
