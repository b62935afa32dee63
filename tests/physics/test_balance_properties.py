"""What must hold for any robot: properties of balance, checked over drawn cases."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldworthy.physics.statics.rigidbody import assemble, combine, inertia_about, rotate_y, translate
from fieldworthy.physics.statics.support import DIRECTIONS, edge_slack, hull_order, reach, support_polygon, wheel_loads
from fieldworthy.physics.statics.tipping import (
    Overturn,
    best_ballast,
    impact_tip_speed,
    least_ballast,
    tip_acceleration,
    tip_angle,
)
from standing import load_point, principal_moments, stability_margin

seeds = st.integers(0, 2**32 - 1)
ANGLES = list(DIRECTIONS.values())


def _parts(seed, *cases, parts=6):
    rng = np.random.default_rng(seed)
    return (
        rng.uniform(0.01, 2.0, (parts, *cases)),
        rng.uniform(-0.3, 0.3, (parts, 3, *cases)),
        rng.uniform(0.0, 0.3, (parts, 3, *cases)),
    )


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_inertia_is_positive_and_keeps_the_triangle_inequality(seed):
    smallest, middle, largest = principal_moments(assemble(*_parts(seed, 5)).inertia)
    np.testing.assert_array_equal(np.sign(smallest), 1.0)
    np.testing.assert_array_equal(np.sign(smallest + middle - largest), 1.0)


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_parallel_axes_and_splitting_are_consistent(seed):
    """Assembling at once, or in two groups joined later, and about any point: one tensor."""
    mass, position, size = _parts(seed, 4)
    whole = assemble(mass, position, size)
    joined = combine([assemble(mass[:2], position[:2], size[:2]), assemble(mass[2:], position[2:], size[2:])])
    np.testing.assert_allclose(joined.cg, whole.cg, atol=1e-13)
    np.testing.assert_allclose(joined.inertia, whole.inertia, atol=1e-12)
    away = np.array([1.0, -2.0, 0.5])
    moved = translate(whole, away)
    np.testing.assert_allclose(
        inertia_about(whole, -away), sum(inertia_about(p, -away) for p in _each(mass, position, size)), atol=1e-11
    )
    np.testing.assert_allclose(
        inertia_about(moved, away[:, None]), inertia_about(whole, np.zeros(3)), rtol=0, atol=1e-11
    )


def _each(mass, position, size):
    return [assemble(mass[i : i + 1], position[i : i + 1], size[i : i + 1]) for i in range(len(mass))]


@given(seeds, st.floats(-4.0, 4.0))
@settings(max_examples=40, deadline=None)
def test_turning_there_and_back_changes_nothing_and_keeps_principal_moments(seed, angle):
    body, pivot = assemble(*_parts(seed, 3)), np.array([0.1, 0.0, 0.2])
    turned = rotate_y(body, angle, pivot)
    np.testing.assert_allclose(principal_moments(turned.inertia), principal_moments(body.inertia), rtol=1e-9)
    back = rotate_y(turned, -angle, pivot)
    np.testing.assert_allclose(back.cg, body.cg, atol=1e-12)
    np.testing.assert_allclose(back.inertia, body.inertia, atol=1e-12)


@given(seeds)
@settings(max_examples=25, deadline=None)
def test_a_batch_is_its_cases_one_by_one(seed):
    mass, position, size = _parts(seed, 7)
    rng = np.random.default_rng(seed)
    contacts = rng.uniform(-0.4, 0.4, (5, 2, 7))
    body, polygon = assemble(mass, position, size), support_polygon(contacts)
    point = load_point(body.cg, rng.uniform(-3.0, 3.0, (2, 7)))
    far, loads = reach(polygon, point, ANGLES), wheel_loads(body.mass * 9.81, contacts, point)
    for i in range(7):
        one = assemble(mass[:, i], position[:, :, i], size[:, :, i])
        np.testing.assert_allclose(one.inertia, body.inertia[..., i], rtol=1e-12, atol=1e-14)
        alone = support_polygon(contacts[..., i])
        np.testing.assert_allclose(reach(alone, point[:, i], ANGLES), far[:, i], rtol=1e-9, atol=1e-12)
        single = wheel_loads(one.mass * 9.81, contacts[..., i], point[:, i])
        np.testing.assert_allclose(single, loads[:, i], rtol=1e-6, atol=1e-6)


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_the_hull_does_not_depend_on_the_order_of_contacts(seed):
    rng = np.random.default_rng(seed)
    contacts, inside = rng.uniform(-0.4, 0.4, (7, 2)), rng.uniform(-0.2, 0.2, 2)
    order = rng.permutation(7)
    first, second = hull_order(contacts), order[hull_order(contacts[order])]
    np.testing.assert_array_equal(first, second)
    one, two = support_polygon(contacts), support_polygon(contacts[order])
    np.testing.assert_allclose(reach(one, inside, ANGLES), reach(two, inside, ANGLES), rtol=1e-12)
    # a contact added inside changes nothing
    more = support_polygon(np.vstack((contacts, contacts.mean(axis=0))))
    np.testing.assert_allclose(stability_margin(more, inside), stability_margin(one, inside), rtol=1e-12)


@given(st.floats(0.01, 0.3), st.floats(0.05, 0.5), st.floats(0.01, 0.5))
@settings(max_examples=60, deadline=None)
def test_margins_fall_with_height_and_grow_with_reach(distance, height, inertia):
    step = np.array([1.0, 1.1, 1.2])
    lower = Overturn(6.0, inertia, distance, height * step)
    wider = Overturn(6.0, inertia, distance * step, height)
    for limit in (tip_acceleration, tip_angle):
        np.testing.assert_array_equal(np.sign(np.diff(limit(distance, height * step))), -1.0)
        np.testing.assert_array_equal(np.sign(np.diff(limit(distance * step, height))), 1.0)
    np.testing.assert_array_equal(np.sign(np.diff(impact_tip_speed(lower))), -1.0)
    np.testing.assert_array_equal(np.sign(np.diff(impact_tip_speed(wider))), 1.0)


@given(seeds)
@settings(max_examples=60, deadline=None)
def test_the_least_ballast_brings_the_margin_just_to_its_target(seed):
    """The closed form, put back into the balance of masses: at that mass the target, below it short."""
    rng = np.random.default_rng(seed)
    mass, target = 5.0, 0.04
    contacts = np.array([[0.15, 0.15], [0.15, -0.15], [-0.15, 0.15], [-0.15, -0.15]])
    polygon = support_polygon(contacts)
    braking = np.array([-3.0, 0.0])
    cg = np.array([rng.uniform(0.02, 0.12), 0.0, 0.15])
    place = np.array([rng.uniform(-0.15, -0.05), 0.0, 0.03])
    slack = edge_slack(polygon, load_point(cg, braking))
    own = edge_slack(polygon, load_point(place, braking))
    least = float(least_ballast(mass, slack, own, target))

    def margin(ballast):
        common = (mass * cg + ballast * place) / (mass + ballast)
        return float(stability_margin(polygon, load_point(common, braking)))

    if least == 0.0:
        assert margin(0.0) == pytest.approx(max(margin(0.0), target), abs=1e-12)
    elif np.isfinite(least):
        assert margin(least) == pytest.approx(target, abs=1e-9)
        assert np.sign(target - margin(0.98 * least)) == 1.0
    else:  # no mass does: try many
        tried = np.array([margin(m) for m in np.geomspace(0.001, 1000.0, 200)])
        np.testing.assert_array_equal(np.sign(target - tried), 1.0)


def test_the_best_place_is_found_by_trying_all():
    """Against a plain search in steps of a gram."""
    rng = np.random.default_rng(5)
    polygon = support_polygon([[0.15, 0.15], [0.15, -0.15], [-0.15, 0.15], [-0.15, -0.15]])
    braking, mass, target = np.array([-4.0, 0.0]), 5.0, 0.03
    cg = np.array([0.08, 0.01, 0.18])
    places = np.column_stack((rng.uniform(-0.15, 0.15, 6), rng.uniform(-0.15, 0.15, 6), rng.uniform(0.02, 0.3, 6)))
    slack = edge_slack(polygon, load_point(cg, braking))
    own = np.stack([edge_slack(polygon, load_point(p, braking)) for p in places])
    choice = best_ballast(mass, slack, own, target)
    grams = np.arange(0.0, 5.0, 0.001)
    needed = []
    for place in places:
        common = (mass * cg[:, None] + grams * place[:, None]) / (mass + grams)
        good = stability_margin(polygon, load_point(common, braking[:, None])) >= target
        needed.append(grams[good.argmax()] if good.any() else np.inf)
    assert np.isfinite(min(needed))
    assert choice.place == np.argmin(needed)
    assert choice.mass == pytest.approx(min(needed), abs=0.001)
    assert choice.pace_lost == pytest.approx(min(needed) / (mass + min(needed)), abs=0.001)
    none = best_ballast(mass, slack, own, target, limit=0.5 * float(choice.mass))
    assert none.mass == np.inf
    assert none.pace_lost == 1.0
    with pytest.raises(ValueError, match="no candidate"):
        best_ballast(mass, slack, own[:0], target)
