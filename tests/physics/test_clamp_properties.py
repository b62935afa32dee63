"""Laws of the clamp's window and of outlines, over drawn shapes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldworthy.physics.contact import clamp
from fieldworthy.physics.statics import support

gaps = st.floats(0.02, 0.12)


@st.composite
def seats(draw):
    return clamp.Seat(draw(gaps), draw(st.floats(0.0, 0.05)), draw(st.floats(0.01, 0.06)), draw(gaps), 0.005)


@given(seats(), st.integers(3, 9), st.booleans())
@settings(max_examples=40, deadline=None)
def test_symmetric_objects_have_symmetric_windows(seat, sides, corner):
    base = support.regular_polygon(sides, 0.25)
    yaw = clamp.corner_yaw(base, 0) if corner else clamp.flat_yaw(base, 0)
    for window in (
        clamp.yaw_window(seat, base, yaw, np.pi / sides),
        clamp.sideways_window(seat, base, yaw, 0.15),
    ):
        assert window.above == pytest.approx(window.below, abs=2e-7)


@given(seats(), st.floats(1.0, 2.0), st.integers(3, 9))
@settings(max_examples=40, deadline=None)
def test_window_grows_with_the_jaws_opening(seat, times, sides):
    base = support.regular_polygon(sides, 0.25)
    wider = clamp.Seat(seat.stop_gap, seat.throat, seat.jaw_reach * times, seat.jaw_width, seat.hook)
    yaw = clamp.flat_yaw(base, 0)
    less, more = (clamp.yaw_window(s, base, yaw, np.pi / sides).above for s in (seat, wider))
    assert more >= less - 2e-7
    less, more = (clamp.sideways_window(s, base, yaw, 0.12).above for s in (seat, wider))
    assert more >= less - 2e-7
    # What opens the jaw by so much deepens the rim under it by just that.
    deeper = clamp.engagement(wider, base, 0.1, 0.01) - clamp.engagement(seat, base, 0.1, 0.01)
    assert deeper == pytest.approx(wider.jaw_reach - seat.jaw_reach, abs=1e-12)


@given(seats(), st.integers(3, 9), st.floats(-0.5, 0.5), st.floats(-0.03, 0.03))
@settings(max_examples=60, deadline=None)
def test_mirror_image(seat, sides, yaw, sideways):
    base = support.regular_polygon(sides, 0.25)
    left, right = clamp.engagement(seat, base, yaw, sideways), clamp.engagement(seat, base, -yaw, -sideways)
    assert left == pytest.approx(right, abs=1e-9)


@given(st.lists(seats(), min_size=2, max_size=4), st.floats(0.2, 0.3))
@settings(max_examples=20, deadline=None)
def test_batch_equals_case_by_case(singles, size):
    names = ("stop_gap", "throat", "jaw_reach", "jaw_width", "hook")
    many = clamp.Seat(*(np.array([getattr(s, n) for s in singles]) for n in names))
    sizes = size + 0.01 * np.arange(len(singles))
    bases = support.regular_polygon(6, sizes)
    whole = clamp.yaw_window(many, bases, clamp.flat_yaw(bases, 0), np.pi / 6)
    aside = clamp.sideways_window(many, bases, clamp.corner_yaw(bases, 2), 0.15)
    deep = clamp.engagement(many, support.Circle(sizes), 0.0, 0.01)
    assert singles
    for k, seat in enumerate(singles):
        base = support.regular_polygon(6, sizes[k])
        one = clamp.yaw_window(seat, base, clamp.flat_yaw(base, 0), np.pi / 6)
        assert (whole.below[k], whole.above[k]) == pytest.approx((float(one.below), float(one.above)), abs=2e-7)
        one = clamp.sideways_window(seat, base, clamp.corner_yaw(base, 2), 0.15)
        assert (aside.below[k], aside.above[k]) == pytest.approx((float(one.below), float(one.above)), abs=2e-7)
        assert deep[k] == pytest.approx(clamp.engagement(seat, support.Circle(sizes[k]), 0.0, 0.01), rel=1e-12)


@given(st.integers(3, 12), st.floats(0.05, 0.5), st.floats(-np.pi, np.pi))
@settings(max_examples=60, deadline=None)
def test_seats_of_a_regular_polygon(sides, size, turn):
    base = support.regular_polygon(sides, size)
    flats = np.array([clamp.flat_yaw(base, k) for k in range(sides)])
    corners = np.array([clamp.corner_yaw(base, k) for k in range(sides)])
    # on a flat the nearest face is the apothem away, on a corner the circumradius, and each is a seat of its own, an
    # even share of the turn from the next (Euclid)
    apothem, circumradius = size / 2, size / 2 / np.cos(np.pi / sides)
    assert [support.support(base, np.pi - yaw) for yaw in flats] == pytest.approx([apothem] * sides, rel=1e-9)
    assert [support.support(base, np.pi - yaw) for yaw in corners] == pytest.approx([circumradius] * sides, rel=1e-9)
    for seats_ in (flats, corners):
        apart = np.diff(np.sort(np.mod(seats_ - seats_[0] + 1e-6, 2.0 * np.pi)))
        assert apart == pytest.approx(np.full(sides - 1, 2.0 * np.pi / sides), abs=1e-8)


def test_caught_and_missed():
    seat, base = clamp.Seat(0.08, 0.0, 0.03, 0.04, 0.01), support.rectangle(0.3, 0.3)
    # Square on, the rim is 30 mm under the jaw; 0.2 m aside the jaw comes down beside it.
    assert clamp.engagement(seat, base, 0.0, 0.0) == pytest.approx(0.03, abs=1e-12)
    assert clamp.engagement(seat, base, 0.0, 0.2) == -np.inf
    nothing = clamp.Seat(0.8, np.inf, 0.03, 0.04, 0.01)
    assert clamp.engagement(nothing, base, 0.0, 0.0) == -np.inf
    unhooked = clamp.Seat(0.08, 0.0, 0.005, 0.04, 0.01)
    assert clamp.yaw_window(unhooked, base, 0.0, 0.5).above == 0.0


@pytest.mark.parametrize(
    ("values", "name"),
    [((0.0, 0, 0.03, 0.04, 0), "stop_gap"), ((0.08, -1, 0.03, 0.04, 0), "throat"), ((0.08, 0, 0.03, 0.04, -1), "hook")],
)
def test_refusals(values, name):
    with pytest.raises(ValueError, match=name):
        clamp.Seat(*values)


def test_other_refusals():
    with pytest.raises(ValueError, match="open"):
        clamp.Heights(0.02, 0.03, 0.03, 0.01)
    with pytest.raises(ValueError, match="rim_top"):
        clamp.Heights(0.05, 0.03, 0.0, 0.01)
    with pytest.raises(ValueError, match="radius"):
        support.Circle(0.0)
    with pytest.raises(ValueError, match="sides"):
        support.regular_polygon(2, 0.1)
    with pytest.raises(ValueError, match="vertices"):
        support.Polygon(np.zeros((2, 2)))
