"""Support polygon and wheel loads against scipy and textbook cases."""

import numpy as np
import pytest
from scipy.optimize import nnls
from scipy.spatial import ConvexHull

from fieldworthy.physics.statics.support import edge_slack, hull_order, reach, support_polygon, wheel_loads
from reference import case
from standing import load_point, stability_margin


@pytest.mark.parametrize("seed", range(5))
def test_hull_and_edges_agree_with_scipy(seed):
    rng = np.random.default_rng(seed)
    points = rng.uniform(-0.3, 0.3, (8, 2))
    hull = ConvexHull(points)  # Qhull; in the plane its vertices are counter-clockwise
    ours = list(hull_order(points))
    start = ours.index(hull.vertices[0])
    assert ours[start:] + ours[:start] == list(hull.vertices)
    found = support_polygon(points)
    assert {frozenset(map(int, p)) for p in found.pairs} == {frozenset(map(int, s)) for s in hull.simplices}
    inside = points.mean(axis=0)
    distance = -(hull.equations[:, :2] @ inside + hull.equations[:, 2])
    np.testing.assert_allclose(np.sort(edge_slack(found, inside)), np.sort(distance), atol=1e-12)
    assert stability_margin(found, inside) == pytest.approx(distance.min(), abs=1e-12)


def test_edges_in_a_batch_are_those_of_each_case():
    """The hull's order changes from case to case; Qhull decides each."""
    rng = np.random.default_rng(11)
    contacts = rng.uniform(-0.3, 0.3, (6, 2, 40))
    points = contacts.mean(axis=0)
    margins = stability_margin(support_polygon(contacts), points)
    for i in range(40):
        equations = ConvexHull(contacts[:, :, i]).equations
        expected = -(equations[:, :2] @ points[:, i] + equations[:, 2]).max()
        assert margins[i] == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("angle", np.linspace(-np.pi, np.pi, 9))
def test_reach_ends_on_the_hull_of_scipy(angle):
    rng = np.random.default_rng(3)
    points = rng.uniform(-0.3, 0.3, (7, 2))
    inside = points.mean(axis=0)
    far = float(reach(support_polygon(points), inside, angle)[0])
    end = inside + far * np.array([np.cos(angle), np.sin(angle)])
    equations = ConvexHull(points).equations
    assert (equations[:, :2] @ end + equations[:, 2]).max() == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("contacts", [3, 4, 5, 6, 8])
def test_loads_are_the_least_norm_solution_that_only_pushes(contacts):
    """SciPy's non-negative least squares, equilibrium weighted by 1e4 over the norm: good to about 1e-5."""
    rng = np.random.default_rng(contacts)
    p = rng.uniform(-0.2, 0.2, (contacts, 2, 60))
    point = np.einsum("kn,kcn->cn", rng.dirichlet(np.full(contacts, 0.5), 60).T, p)
    loads = wheel_loads(1.0, p, point)
    np.testing.assert_allclose(loads.sum(axis=0), 1.0, rtol=1e-9)
    np.testing.assert_allclose(np.einsum("kn,kcn->cn", loads, p), point, atol=1e-8)
    for i in range(60):
        rows = np.vstack((np.ones(contacts), p[:, 0, i] / 0.2, p[:, 1, i] / 0.2)) * 1e4
        right = np.concatenate((np.array([1.0, *point[:, i] / 0.2]) * 1e4, np.zeros(contacts)))
        expected, _ = nnls(np.vstack((rows, np.eye(contacts))), right, maxiter=1000)
        # slivers of triangles make the weighted problem ill-conditioned, hence not tighter
        np.testing.assert_allclose(loads[:, i], expected, atol=2e-3)


def test_loads_meet_the_conditions_of_optimality_in_many_draws():
    """Karush, Kuhn, Tucker (Boyd, Vandenberghe, Convex Optimization, from memory): one tilted plane over the contacts.

    Contacts that carry lie on it, those that do not lie below it or on the floor: 20,000 draws, so that the
    rare sets that a plain exchange circles in are among them.
    """
    rng = np.random.default_rng(1)
    p = rng.uniform(-0.2, 0.2, (5, 2, 20000))
    point = np.einsum("kn,kcn->cn", rng.dirichlet(np.full(5, 0.5), 20000).T, p)
    loads = wheel_loads(1.0, p, point)
    np.testing.assert_allclose(np.einsum("kn,kcn->cn", loads, p), point, rtol=0, atol=1e-7)
    carry = loads > 1e-9
    solid = carry.sum(axis=0) >= 3  # with fewer the plane is not unique
    ones = np.ones((5, 20000))
    rows = np.moveaxis(np.stack((ones, p[:, 0] / 0.2, p[:, 1] / 0.2)) * carry, 0, -1).swapaxes(0, 1)
    plane = np.einsum("nck,kn->nc", np.linalg.pinv(rows[solid], rcond=1e-9), (loads * carry)[:, solid])
    height = plane[:, 0] + (p[:, 0, solid] * plane[:, 1] + p[:, 1, solid] * plane[:, 2]) / 0.2
    np.testing.assert_allclose(np.maximum(height, 0.0), loads[:, solid], rtol=0, atol=1e-5)


def test_locked_wheel_stop_of_a_car():
    """VEH-13, Halliday, Resnick, Walker ch. 12: data read, answers 2.0e3 and 3.5e3 N per wheel from memory."""
    c = case("VEH-13")
    i, e = c["inputs"], c["expected"]
    front, rear = i["cg_behind_front_axle_m"], i["cg_behind_front_axle_m"] - i["L_m"]
    contacts = np.array([[front, 0.7], [front, -0.7], [rear, 0.7], [rear, -0.7]])
    braking = i["mu_k"] * i["g"]
    point = load_point([0.0, 0.0, i["h_m"]], [-braking, 0.0], [0.0, 0.0, -i["g"]])
    loads = wheel_loads(i["W_N"], contacts, point)
    np.testing.assert_allclose(loads[:2], e["N_front_each"]["value"], rtol=1e-6)
    np.testing.assert_allclose(loads[2:], e["N_rear_each"]["value"], rtol=1e-6)
    np.testing.assert_allclose(loads[:2] * i["mu_k"], e["F_front_each"]["value"], rtol=1e-6)
    assert loads[0] == pytest.approx(3.5e3, rel=0.02)  # the book's two digits
    assert loads[2] == pytest.approx(2.0e3, rel=0.02)


def test_a_point_outside_puts_all_load_on_the_edge():
    square = np.array([[0.1, 0.1], [0.1, -0.1], [-0.1, 0.1], [-0.1, -0.1]])
    np.testing.assert_allclose(wheel_loads(60.0, square, [0.3, 0.0]), [30.0, 30.0, 0.0, 0.0], atol=1e-6)
    np.testing.assert_allclose(wheel_loads(60.0, square, [0.3, 0.3]), [60.0, 0.0, 0.0, 0.0], atol=1e-6)


@pytest.mark.parametrize("contacts", [[[0.0, 0.0]], [[0.1, 0.1], [0.1, 0.1]], [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0]]])
def test_contacts_that_support_nothing_are_refused(contacts):
    with pytest.raises(ValueError, match=r"shape|one place"):
        support_polygon(contacts)


def test_wrong_shapes_are_refused():
    with pytest.raises(ValueError, match="shape"):
        hull_order([[0.0, 0.0, 0.0]])
    with pytest.raises(ValueError, match="shape"):
        wheel_loads(1.0, [[0.0, 0.0, 0.0]], [0.0, 0.0])
