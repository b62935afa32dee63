"""Laws of roller stages, hand-overs and hooked chains that hold for any numbers."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldworthy.physics.contact import handover, rolling

speeds = st.lists(st.floats(0.05, 4.0), min_size=1, max_size=5)
lengths = st.floats(0.02, 0.3)


@given(st.floats(0.005, 0.05), st.floats(0.0, 0.9))
def test_rolling_radius_lies_between_squeezed_and_free(radius, share):
    found = rolling.rolling_radius(radius, share * radius)
    assert radius * (1.0 - share) <= found * (1 + 1e-12)
    assert found <= radius * (1 + 1e-12)
    # Never less than R - d / 2, nor more than R - d / 3 within half a per cent: the ends of the arc and
    # its start
    assert radius - 0.5 * share * radius <= found * (1 + 1e-9)
    assert found <= radius - share * radius / 3.0 + 0.005 * radius


@given(speeds, lengths, st.floats(0.0, 0.1))
def test_feed_spacing_times_throughput_is_the_first_speed(row, length, gap):
    v = np.array(row)
    spacing, rate = handover.feed_spacing(v, length, gap), handover.throughput(v, length, gap)
    assert spacing * rate == pytest.approx(v[0], rel=1e-12)
    # Fed that close, the objects stay an object and a gap apart in every stage, and touch that in the slowest


@given(speeds, lengths)
def test_order_of_stages_does_not_change_the_throughput(row, length):
    v = np.array(row)
    assert handover.throughput(v[::-1], length) == handover.throughput(v, length)
    assert v[handover.limiting_stage(v)] == v.min()


@given(lengths, st.floats(0.1, 4.0), st.floats(0.5, 30.0), st.floats(0.02, 0.5))
def test_swallowing_takes_between_coasting_through_and_pure_acceleration(length, speed, force, mass):
    time = handover.swallow_time(length, speed, force, mass)
    pure = np.sqrt(2.0 * length * mass / force)
    assert max(length / speed, pure) <= time * (1 + 1e-12)
    assert time <= (length / speed + pure) * (1 + 1e-12)


@given(st.floats(0.01, 0.5), st.tuples(*[st.floats(0.1, 3.0)] * 2), st.tuples(*[st.floats(0.0, 30.0)] * 2))
def test_a_pull_apart_and_a_pile_up_mirror(both, pair, grips):
    force, slide = handover.rubbing(both, pair, grips)
    back, slide_back = handover.rubbing(both, pair[::-1], grips[::-1])
    assert back == -force
    if grips[0] != grips[1]:
        assert slide_back == pytest.approx(slide, rel=1e-12)


@given(st.floats(0.02, 0.3), st.floats(0.0, 0.05), st.floats(0.01, 0.2), st.floats(0.0, 0.1))
def test_window_shrinks_with_everything_that_fills_it(spacing, hook, extent, travel):
    free = handover.window(spacing, hook, extent, travel)
    assert 0.0 <= handover.random_chance(free, spacing) <= 1.0
    assert free == pytest.approx(max(spacing - (hook + extent + travel), 0.0), abs=1e-12)


@given(st.floats(0.02, 0.6), st.floats(0.01, 0.1), st.floats(0.2, 1.0))
def test_the_stack_that_clears_fits_and_one_more_does_not(room, height, share):
    nested = share * height
    n = handover.pieces_cleared(room, height, nested)
    if n > 0:
        assert handover.stack_height(n, height, nested) <= room + 1e-9
    assert handover.stack_height(n + 1, height, nested) > room - 1e-9
