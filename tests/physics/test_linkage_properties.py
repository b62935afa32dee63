"""Laws that every arm, slider-crank and four-bar obeys, over drawn geometries."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldworthy.physics.arms import linkage
from stroke import elastic_energy, margin

lengths = st.floats(0.02, 0.5)
turns = st.floats(-np.pi, np.pi)


@st.composite
def rockers(draw):
    """An arm whose cylinder spans its pins over the whole stroke."""
    base, radius = draw(lengths), draw(lengths)
    near, far = abs(base - radius), base + radius
    closed = near + draw(st.floats(0.05, 0.9)) * (far - near)
    stroke = draw(st.floats(0.05, 0.95)) * min(far - closed, 0.999 * closed)
    return linkage.Rocker(base, radius, closed, stroke, draw(turns), draw(turns), draw(st.sampled_from([1.0, -1.0])))


@given(rockers(), st.floats(1.0, 200.0))
@settings(max_examples=150, deadline=None)
def test_virtual_work_at_every_point(rocker, force):
    """Torque times dangle is force times dstroke: the lever against the complex-step derivative of the pins'
    distance.

    The complex step has no cancellation, so 1e-9 is the program's own rounding near a dead point.
    """
    poses = linkage.sweep(rocker)
    step = 1e-30
    pin = rocker.radius * np.array([np.cos(poses.included + 1j * step), np.sin(poses.included + 1j * step)])
    apart = np.sqrt((pin[0] - rocker.base) ** 2 + pin[1] ** 2)
    torque = linkage.Balance(poses, linkage.Drive(force), np.zeros(())).available_out
    assert torque == pytest.approx(force * apart.imag / step, rel=1e-9, abs=1e-9 * force * rocker.radius)


@given(rockers())
@settings(max_examples=100, deadline=None)
def test_angle_and_length_go_round(rocker):
    poses = linkage.sweep(rocker, 9)
    assert linkage.cylinder_length(rocker, poses.angle) == pytest.approx(poses.length, rel=1e-9)
    turned = linkage.arm_angle(rocker, poses.included)
    assert np.exp(1j * turned) == pytest.approx(np.exp(1j * poses.angle), abs=1e-9)
    again = linkage.pose(rocker, linkage.cylinder_length(rocker, turned) - rocker.closed)
    # Near a dead point an angle is the root of a length's rounding: 1e-16 becomes 1e-8.
    assert np.exp(1j * again.angle) == pytest.approx(np.exp(1j * poses.angle), abs=1e-7)


@given(rockers(), st.floats(0.1, 50.0), st.floats(0.02, 0.5))
@settings(max_examples=60, deadline=None)
def test_work_along_the_stroke_is_energy(rocker, weight, reach):
    """The weights' work between the ends is the fall in height, the bands' the fall of stored energy."""
    loads = (linkage.Weight(weight, reach, 0.4),)
    bands = (linkage.Elastic(0.2, 1.1, 0.15, -0.3, 0.1, 80.0, 2.0),)
    poses = linkage.sweep(rocker, 4001)
    angle = np.unwrap(poses.angle)
    work = np.trapezoid(linkage.passive_torque(poses, loads, bands), angle)
    height = weight * reach * np.sin(angle + 0.4)
    store = elastic_energy(bands, poses.cos_arm, poses.sin_arm)
    fall = height[0] - height[-1] + store[0] - store[-1]
    # 4,000 steps of a smooth torque with one kink where the band goes slack.
    assert work == pytest.approx(fall, rel=1e-4, abs=1e-4 * (weight * reach + store.max()))


@given(st.lists(rockers(), min_size=2, max_size=5))
@settings(max_examples=40, deadline=None)
def test_batch_equals_case_by_case(arms):
    fields = ("base", "radius", "closed", "stroke", "base_angle", "pin_angle", "branch")
    many = linkage.Rocker(*(np.array([getattr(a, f) for a in arms]) for f in fields))
    drive = linkage.Drive(50.0, 40.0, 0.8, 0.05)
    loads, bands = (linkage.Weight(4.0, 0.2, 0.1),), (linkage.Elastic(0.2, 1.1, 0.15, -0.3, 0.1, 80.0),)

    def margins(arm):
        poses = linkage.sweep(arm)
        found = linkage.Balance(poses, drive, linkage.passive_torque(poses, loads, bands))
        return np.stack([margin(found.use_out), margin(found.use_in), linkage.swing(arm)])

    whole = margins(many)
    assert arms
    for k, arm in enumerate(arms):
        assert whole[:, k] == pytest.approx(margins(arm), rel=1e-9)


def test_dead_points_and_what_is_left_of_the_stroke():
    # By hand: pins 0.10 and 0.04 m out can be 0.06 to 0.14 m apart; 0.10 to 0.15 m loses 10 mm at the end.
    made = linkage.Rocker(0.10, 0.04, 0.10, 0.05)
    folded, straight = linkage.dead_points(made)
    assert (folded, straight) == pytest.approx((-0.04, 0.01), abs=1e-12)
    assert linkage.usable_stroke(made) == pytest.approx((0.0, 0.04), abs=1e-12)
    end = linkage.sweep(made, 2)
    assert end.included[1] == pytest.approx(np.pi, abs=1e-7)
    assert end.moment_arm[1] == pytest.approx(0.0, abs=1e-9)
    use = linkage.Balance(end, linkage.Drive(50.0, 40.0), np.full(2, -1.0)).use_out
    assert margin(use) == pytest.approx(-1.0, abs=1e-6)
    assert np.isinf(linkage.reflected_mass(0.1, 0.0))
    assert linkage.reflected_mass(0.1, 0.05) == pytest.approx(40.0, rel=1e-12)


@pytest.mark.parametrize(
    ("values", "name"),
    [
        ((0.0, 0.06, 0.15, 0.05), "base"),
        ((0.2, -0.06, 0.15, 0.05), "radius"),
        ((0.2, 0.06, 0.05, 0.05), "closed"),
        ((0.2, 0.06, 0.15, 0.0), "stroke"),
        ((0.2, 0.06, 0.08, 0.05), "never as far apart"),
        ((0.2, 0.06, 0.30, 0.05), "never as far apart"),
        ((np.inf, 0.06, 0.30, 0.05), "base"),
    ],
)
def test_impossible_arms_are_refused_alone_and_masked_in_a_batch(values, name):
    with pytest.raises(ValueError, match=name):
        linkage.Rocker(*values)
    good = (0.2, 0.06, 0.152, 0.05)
    finite = [v if np.isfinite(v) else -1.0 for v in values]
    both = linkage.Rocker(*(np.array(pair) for pair in zip(good, finite, strict=True)))
    assert linkage.reachable(both).tolist() == [True, False]
    poses = linkage.sweep(both)
    for array in (poses.length, poses.moment_arm, poses.cos_arm, poses.sin_arm, poses.included):
        assert np.isfinite(array).all()
    assert linkage.swing(both)[0] == pytest.approx(linkage.swing(linkage.Rocker(*good)), rel=1e-12)


def test_other_refusals():
    with pytest.raises(ValueError, match="branch"):
        linkage.Rocker(0.2, 0.06, 0.152, 0.05, branch=0.0)
    with pytest.raises(ValueError, match="stiffness"):
        linkage.Elastic(0.1, 0.0, 0.1, 0.0, 0.1, -5.0)
    with pytest.raises(ValueError, match="efficiency"):
        linkage.Drive(50.0, efficiency=1.2)
    with pytest.raises(ValueError, match="push"):
        linkage.Drive(-50.0)


def test_over_centre_rest_by_hand():
    # An arm that swings from 20 degrees behind the upright to 30 ahead of it: its weight holds it on both stops.
    rocker = linkage.Rocker(0.12, 0.06, 0.09, 0.05, branch=-1.0)
    swung = linkage.swing(rocker)
    start = linkage.sweep(rocker, 2).angle[0]
    rocker = linkage.Rocker(0.12, 0.06, 0.09, 0.05, np.radians(110) - start, branch=-1.0)
    poses = linkage.sweep(rocker)
    assert np.degrees(poses.angle[[0, -1]]) == pytest.approx([110, 110 - np.degrees(swung)], rel=1e-9)
    passive = linkage.passive_torque(poses, (linkage.Weight(10.0, 0.2),))
    first, last = linkage.rest_torque(rocker, passive)
    # Weight moments by hand: 10 N x 0.2 m x cos; both stops are beyond the upright, one each side.
    assert first == pytest.approx(2.0 * -np.cos(np.radians(110)), rel=1e-9)
    assert last == pytest.approx(2.0 * np.cos(np.radians(110) - swung), rel=1e-9)
    assert linkage.rest_torque(rocker, passive, 0.3)[0] == pytest.approx(first + 0.3, rel=1e-12)


def test_loads_may_vary_where_the_arm_does_not():
    rocker = linkage.Rocker(0.2, 0.06, 0.152, 0.05)
    weight = np.array([1.0, 5.0, 9.0])
    poses = linkage.sweep(rocker, axes=1)
    passive = linkage.passive_torque(poses, (linkage.Weight(weight, 0.3),))
    assert passive.shape == (linkage.STROKE_POINTS, 3)
    assert passive[:, 1] == pytest.approx(5.0 * passive[:, 0], rel=1e-12)
