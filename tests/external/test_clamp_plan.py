"""Outlines and the clamp's plan against SciPy's hull and linear programming."""

import mujoco
import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.spatial import ConvexHull

from fieldworthy.physics.contact import clamp
from fieldworthy.physics.statics import support

RNG = np.random.default_rng(3)


def _random_polygon(points):
    cloud = RNG.normal(size=(points, 2)) * [0.1, 0.07]
    return cloud[ConvexHull(cloud).vertices]


POLYGONS = [_random_polygon(n) for n in (4, 8, 20, 60)]


@pytest.mark.parametrize("vertices", POLYGONS)
def test_support_by_linear_programming(vertices):
    hull = ConvexHull(vertices)
    made = support.Polygon(vertices)
    for angle in np.linspace(-3.0, 3.0, 9):
        u = np.array([np.cos(angle), np.sin(angle)])
        far = linprog(-u, hull.equations[:, :2], -hull.equations[:, 2], bounds=(None, None)).fun
        assert support.support(made, angle) == pytest.approx(-far, rel=1e-7, abs=1e-9)


@pytest.mark.parametrize("vertices", POLYGONS)
def test_least_and_greatest_width_by_brute_force(vertices):
    made = support.Polygon(vertices)
    turn = np.linspace(0, np.pi, 20001)
    u = np.stack([np.cos(turn), np.sin(turn)])
    widths = np.ptp(vertices @ u, axis=0)
    # A step of 1.6e-4 rad misses a kinked least by at most that times the diameter, a smooth greatest by far less.
    assert support.greatest_width(made) == pytest.approx(widths.max(), rel=1e-7)
    assert support.flat_lengths(made).sum() == pytest.approx(ConvexHull(vertices).area, rel=1e-12)
    # Angles of a polygon of k corners add to (k - 2) half turns (Euclid).
    assert support.corner_angles(made).sum() == pytest.approx((len(vertices) - 2) * np.pi, rel=1e-12)


def test_regular_polygons_and_rectangles():
    hexagon = support.regular_polygon(6, 0.3)
    # Euclid: a hexagon of width s across flats has sides s / sqrt(3) and is 2 s / sqrt(3) across corners.
    assert support.flat_lengths(hexagon) == pytest.approx(np.full(6, 0.3 / np.sqrt(3)), rel=1e-12)
    assert support.greatest_width(hexagon) == pytest.approx(0.6 / np.sqrt(3), rel=1e-12)
    assert np.degrees(support.corner_angles(hexagon)) == pytest.approx(np.full(6, 120.0), rel=1e-12)
    box = support.rectangle(0.3, 0.4)
    assert support.greatest_width(box) == pytest.approx(0.5, rel=1e-12)
    # A circle is of constant width.
    assert support.greatest_width(support.Circle(0.1)) == pytest.approx(0.2, rel=1e-12)


def test_stars_dents_and_clockwise_corners_are_not_convex():
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]])
    turn = 2 * np.pi * np.arange(5) * 2 / 5
    star = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    dent = np.array([[0, 0], [1, 0], [0.4, 0.4], [0, 1.0]])
    assert support.is_convex(square)
    for bad in (square[::-1], star, dent):
        assert not support.is_convex(bad)
        with pytest.raises(ValueError, match="convex"):
            support.Polygon(bad)
    both = np.stack([square, dent], axis=-1)
    assert support.is_convex(both).tolist() == [True, False]


def _engagement_by_programming(seat, vertices, yaw, sideways):
    """Backs the robot up to the hull with linear programmes over points of the object, nothing of ours."""
    turn = np.array([[np.cos(yaw), -np.sin(yaw)], [np.sin(yaw), np.cos(yaw)]])
    placed = vertices @ turn.T + [0.0, sideways]
    sides = ConvexHull(placed).equations

    def nearest_on(y):
        found = linprog([1, 0], sides[:, :2], -sides[:, 2], [[0, 1]], [y], bounds=(None, None))
        return found.fun if found.status == 0 else np.inf

    stops = [nearest_on(s * seat.stop_gap / 2) for s in (-1, 1)]
    wall = -seat.throat - placed[:, 0].min()
    touch = max(-min(stops), wall)
    # one stop alone turns the object away, see test_one_stop_alone_turns_the_object_away
    if np.isinf(touch) or (wall <= -min(stops) and np.isinf(max(stops))):
        return -np.inf
    return seat.jaw_reach - max(nearest_on(s * seat.jaw_width / 2) for s in (-1, 1)) - touch


SEATS = [
    clamp.Seat(0.08, 0.0, 0.03, 0.04, 0.01),
    clamp.Seat(0.08, 0.02, 0.03, 0.04, 0.01),
    clamp.Seat(0.05, np.inf, 0.02, 0.10, 0.01),
]


@pytest.mark.parametrize("seat", SEATS)
@pytest.mark.parametrize("vertices", [*POLYGONS, support.regular_polygon(6, 0.25).vertices])
def test_engagement_by_linear_programming(seat, vertices):
    for yaw in np.linspace(-3.0, 3.0, 5):
        for sideways in (-0.06, 0.0, 0.02):
            found = _engagement_by_programming(seat, vertices, yaw, sideways)
            ours = clamp.engagement(seat, support.Polygon(vertices), yaw, sideways)
            assert ours == pytest.approx(found, abs=1e-8)


@pytest.mark.parametrize("seat", SEATS)
def test_circle_is_the_limit_of_polygons(seat):
    # A polygon of 2,000 sides lies within r (1 - cos(pi / n)) = 1.2e-6 r of its circle, seen along a slope of 1.
    many, disc = support.regular_polygon(2000, 0.25), support.Circle(0.125)
    for sideways in (-0.03, 0.0, 0.04):
        ours = clamp.engagement(seat, disc, 0.3, sideways)
        assert ours == pytest.approx(clamp.engagement(seat, many, 0.3, sideways), abs=5e-7)


@pytest.mark.long
def test_window_ends_by_brute_force():
    """Walk outward in small steps with the linear programmes' engagement; the window must end where they first fail."""
    seat, base = clamp.Seat(0.08, 0.02, 0.03, 0.04, 0.01), support.regular_polygon(6, 0.25)
    step = np.radians(0.25)
    for yaw in (clamp.flat_yaw(base, 0), clamp.corner_yaw(base, 1)):
        window = clamp.yaw_window(seat, base, yaw, np.radians(30))
        turn = np.arange(0, np.radians(30), step)
        held = [_engagement_by_programming(seat, base.vertices, yaw + t, 0.0) >= seat.hook for t in turn]
        assert held[0]
        first = turn[held.index(False)] if False in held else np.radians(30)
        assert first - step <= window.above <= first + 1e-6
        shift = np.arange(0, 0.12, 0.001)
        held = [_engagement_by_programming(seat, base.vertices, yaw, s) >= seat.hook for s in shift]
        first = shift[held.index(False)]
        assert first - 0.001 <= clamp.sideways_window(seat, base, yaw, 0.125).above <= first + 1e-6


def test_flat_window_in_closed_form():
    # While stop and jaw's end are on one flat, the face is a line: tan(yaw) (gap + jaw) / 2 = reach - hook.
    seat, base = clamp.Seat(0.06, 0.05, 0.02, 0.04, 0.01), support.rectangle(0.4, 0.4)
    window = clamp.yaw_window(seat, base, clamp.flat_yaw(base, 0), np.radians(45))
    assert window.above == pytest.approx(np.arctan(0.01 / 0.05), abs=2e-7)


def test_practice_clamp_strokes():
    """Common practice, no source: 25 mm strokes are usual; 50 mm ones buy lift and a gap for a loose piece.

    With a lever of gain 2 the jaw's tip travels 50 or 100 mm. Over a rim 30 mm high that takes 15 mm to close, the
    25 mm stroke leaves 35 mm of lift and the 50 mm one 85 mm: our geometry agrees with the practice. It disagrees in
    one thing: a 25 mm stroke with a gain of 4 gives the same travel, at half the force.
    """
    made = clamp.Heights(np.array([0.045, 0.095, 0.095]), -0.005, 0.030, 0.008)
    travel = np.array([2.0, 2.0, 4.0]) * np.array([0.025, 0.050, 0.025])
    # By hand: travel less (open - rim).
    assert clamp.lift_height(made, travel) == pytest.approx([0.035, 0.035, 0.035], abs=1e-12)
    same_opening = clamp.Heights(0.045, -0.005, 0.030, 0.008)
    assert clamp.lift_height(same_opening, travel) == pytest.approx([0.035, 0.085, 0.085], abs=1e-12)
    # A loose piece of 60 mm that yields by a tenth needs 54 mm: trapped below 45 mm, free below 95 mm.
    gap = clamp.release_clearance(made.open, 0.0, 0.060, 0.1)
    assert gap == pytest.approx([-0.009, 0.041, 0.041], abs=1e-12)
    assert clamp.entry_clearance(made) == pytest.approx([0.015, 0.065, 0.065], abs=1e-12)
    assert clamp.bite(same_opening) == pytest.approx(0.035, abs=1e-12)
    assert clamp.hook_drop(same_opening, 0.012) == pytest.approx(0.008, abs=1e-12)
    high = clamp.Heights(0.09, 0.034, 0.030, 0.008)
    assert clamp.hook_drop(high, 0.012) == pytest.approx(0.004, abs=1e-12)


def _pushed(shift):
    """Turn of a box, 420 mm along the two stops 160 mm apart, that MuJoCo pushes 30 mm [rad]."""
    posts = "".join(
        f'<geom type="cylinder" size="0.005 0.05" pos="-0.005 {y} 0.05" friction="0.3 0 0"/>' for y in (-0.08, 0.08)
    )
    model = mujoco.MjModel.from_xml_string(f"""
<mujoco><option timestep="0.001" cone="elliptic" impratio="10" integrator="implicitfast"/>
<default><geom solref="0.004 1"/></default>
<worldbody><geom type="plane" size="2 2 0.1" friction="0.45 0 0"/>
<body name="stops" mocap="true">{posts}</body>
<body pos="0.131 {shift} 0.075"><freejoint/>
<geom type="box" size="0.13 0.21 0.07" mass="1.1" friction="0.45 0 0"/></body></worldbody></mujoco>""")
    data = mujoco.MjData(model)
    for i in range(600):
        data.mocap_pos[0] = [max(i - 300, 0) * 1e-4, 0.0, 0.0]
        mujoco.mj_step(model, data)
    w, z = data.qpos[3], data.qpos[6]
    return abs(2.0 * np.arctan2(z, w))


def test_one_stop_alone_turns_the_object_away():
    box, seat = support.rectangle(0.26, 0.42), clamp.Seat(0.16, np.inf, 0.034, 0.11, 0.01)
    window = clamp.sideways_window(seat, box, 0.0, 0.21)
    # both stops have the side before them up to 210 - 80 mm; pushed there with its centre between them it stays
    assert window.above == pytest.approx(0.13, abs=1e-4)
    assert _pushed(0.06) < np.radians(0.5)
    assert _pushed(0.15) > np.radians(2.0)
