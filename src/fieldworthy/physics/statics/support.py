"""What stands on the floor: convex outlines in plan, the support polygon, and the loads of the wheels.

A polygon's vertices run counter-clockwise with the shape ``(k, 2, *cases)``; a circle is kept as its radius, exactly.

The support polygon of a robot's floor contacts, how far the load is from its edges, and the wheel loads.

Contacts have the shape ``(k, 2, *cases)`` (x forward, y left), points and directions ``(2, *cases)``; cases
last. The polygon is kept as half-planes, one for every ordered pair of contacts, so that it vectorises over
cases even where the hull's order changes from case to case.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import SMALL, refuse, refuse_unsized
from fieldworthy.physics.statics.rigidbody import lift

LEVEL = 1e-12
"""A side whose normal has a smaller component than this stands upright; rounding is below it, a part's is
above."""


@dataclass(frozen=True, slots=True)
class Polygon:
    """A convex polygon.

    Parameters
    ----------
    vertices : Corners counter-clockwise, shape ``(k, 2, *cases)`` [m]

    Raises
    ------
    ValueError : If there are fewer than three corners, or a single polygon is not convex and counter-clockwise
    """

    vertices: Array

    def __post_init__(self) -> None:
        shape = np.shape(self.vertices)
        if len(shape) < 2 or shape[0] < 3 or shape[1] != 2:
            msg = f"vertices must have the shape (k, 2, *cases) with k at least 3, got {shape}"
            raise ValueError(msg)
        refuse(is_convex(self.vertices), "vertices must go round a convex outline counter-clockwise")


@dataclass(frozen=True, slots=True)
class Circle:
    """A round outline.

    Parameters
    ----------
    radius : Its radius [m]

    Raises
    ------
    ValueError : If a scalar radius is not positive
    """

    radius: Real

    def __post_init__(self) -> None:
        refuse_unsized(radius=self.radius)


Outline: TypeAlias = Polygon | Circle
"""Any convex outline."""


def is_convex(vertices: Array) -> npt.NDArray[np.bool_]:
    """Tell where corners go once round a convex polygon, counter-clockwise.

    A star also turns left everywhere, but more than once round.

    Parameters
    ----------
    vertices : Corners, shape ``(k, 2, *cases)`` [m]

    Returns
    -------
    ndarray of bool
        True where every turn is to the left and they add to one turn; straight corners pass [-].
    """
    side = np.roll(vertices, -1, axis=0) - vertices
    before = np.roll(side, 1, axis=0)
    cross = before[:, 0] * side[:, 1] - before[:, 1] * side[:, 0]
    dot = before[:, 0] * side[:, 0] + before[:, 1] * side[:, 1]
    size = np.abs(cross) + np.abs(dot)
    turns = np.arctan2(np.where(cross < -1e-9 * size, -np.inf, np.maximum(cross, 0.0)), dot)
    whole = np.abs(turns.sum(axis=0) - 2.0 * np.pi) < 1e-6
    return np.asarray(whole & (cross >= -1e-9 * size).all(axis=0) & (size > 0.0).all(axis=0))


def rectangle(length: Real, width: Real) -> Polygon:
    """Return a rectangle about the origin.

    Parameters
    ----------
    length, width : Size along x [m]; size along y [m]

    Returns
    -------
    Four corners [m].
    """
    refuse_unsized(length=length, width=width)
    x, y = np.broadcast_arrays(0.5 * np.asarray(length), 0.5 * np.asarray(width))
    return Polygon(np.array([[x, y], [-x, y], [-x, -y], [x, -y]]))


def regular_polygon(sides: int, across_flats: Real) -> Polygon:
    """Return a regular polygon about the origin with a flat towards -x.

    Parameters
    ----------
    sides : Number of sides, at least 3 [-]
    across_flats : Twice the distance from the centre to a flat [m]; from flat to flat where the number is even

    Returns
    -------
    Its corners [m].

    Raises
    ------
    ValueError : If there are fewer than three sides or a scalar size is not positive
    """
    refuse(sides >= 3, lambda: f"sides must be at least 3, got {sides!r}")
    refuse_unsized(across_flats=across_flats)
    angle = np.pi + (2.0 * np.arange(sides) + 1.0) * np.pi / sides
    unit = np.stack([np.cos(angle), np.sin(angle)], axis=1) / np.cos(np.pi / sides)
    return Polygon(np.multiply.outer(unit, 0.5 * np.asarray(across_flats)))


def support(outline: Outline, angle: Real) -> Array:
    """Return how far the outline reaches in a direction.

    h(angle) = max over corners of x cos(angle) + y sin(angle).

    Parameters
    ----------
    outline : The outline [-]
    angle : Direction from x towards y [rad]

    Returns
    -------
    Greatest distance from the origin along it [m].
    """
    if isinstance(outline, Circle):
        return np.broadcast_to(outline.radius, np.broadcast_shapes(np.shape(outline.radius), np.shape(angle)))
    return np.asarray(_projected(outline.vertices, np.cos(angle), np.sin(angle)).max(axis=0))


def _projected(vertices: Array, c: Array, s: Array) -> Array:
    """Return each corner's place along a direction, making room for its cases."""
    room = max(np.ndim(c), vertices.ndim - 2)
    v = vertices.reshape(vertices.shape[:2] + (1,) * (room + 2 - vertices.ndim) + vertices.shape[2:])
    return np.asarray(v[:, 0] * c + v[:, 1] * s)


def normals(polygon: Polygon) -> Array:
    """Return the outward direction of each side, side i running from corner i to the next.

    Parameters
    ----------
    polygon : The outline [-]

    Returns
    -------
    Directions, shape ``(k, *cases)`` [rad].
    """
    side = np.roll(polygon.vertices, -1, axis=0) - polygon.vertices
    return np.arctan2(-side[:, 0], side[:, 1])


def flat_lengths(polygon: Polygon) -> Array:
    """Return the length of each side.

    Parameters
    ----------
    polygon : The outline [-]

    Returns
    -------
    Lengths, shape ``(k, *cases)`` [m].
    """
    side = np.roll(polygon.vertices, -1, axis=0) - polygon.vertices
    return np.hypot(side[:, 0], side[:, 1])


def corner_angles(polygon: Polygon) -> Array:
    """Return the interior angle at each corner.

    Parameters
    ----------
    polygon : The outline [-]

    Returns
    -------
    Angles, shape ``(k, *cases)`` [rad].
    """
    out = normals(polygon)
    turn = np.mod(out - np.roll(out, 1, axis=0) + np.pi, 2.0 * np.pi) - np.pi
    return np.asarray(np.pi - turn)


def greatest_width(outline: Outline) -> Array:
    """Return the widest caliper width, the diameter.

    The greatest distance between two corners.

    Parameters
    ----------
    outline : The outline [-]

    Returns
    -------
    Width [m].
    """
    if isinstance(outline, Circle):
        return 2.0 * np.asarray(outline.radius)
    v = outline.vertices
    return np.asarray(np.max([np.hypot(*np.moveaxis(v - c, 1, 0)).max(axis=0) for c in v], axis=0))


def front(outline: Outline, yaw: Real, across: Array) -> Array:
    """Return how far the outline's near face lies along x on lines parallel to x.

    The face is the greatest of the lines through the sides that look towards -x, within the outline's extent in y.

    Parameters
    ----------
    outline : The outline, about its own origin [-]
    yaw : Its turn from x towards y [rad]
    across : Places of the lines along y from that origin, lines leading, cases trailing [m]

    Returns
    -------
    x of the face towards -x [m], infinite where the line misses the outline.
    """
    if isinstance(outline, Circle):
        inside = np.square(outline.radius) - across * across
        return np.where(inside >= 0.0, -np.sqrt(np.maximum(inside, 0.0)), np.inf)
    room = max(np.ndim(yaw), across.ndim - 1, outline.vertices.ndim - 2)
    across = across.reshape(across.shape[:1] + (1,) * (room + 1 - across.ndim) + across.shape[1:])
    turn = np.reshape(yaw, (1,) * (room - np.ndim(yaw)) + np.shape(yaw))
    c, s = np.cos(turn), np.sin(turn)
    x, y = _projected(outline.vertices, c, -s), _projected(outline.vertices, s, c)
    dx, dy = np.roll(x, -1, axis=0) - x, np.roll(y, -1, axis=0) - y
    facing = dy < -LEVEL * (np.abs(dx) + np.abs(dy))
    slope = np.where(facing, dx / np.where(facing, dy, 1.0), 0.0)
    start = np.where(facing, x - slope * y, -np.inf)
    face = start[0] + slope[0] * across
    for begin, rise in zip(start[1:], slope[1:], strict=True):
        face = np.maximum(face, begin + rise * across)
    slack = SMALL + 1e-12 * (y.max(axis=0) - y.min(axis=0))
    return np.where((across >= y.min(axis=0) - slack) & (across <= y.max(axis=0) + slack), face, np.inf)


def nearest(outline: Outline, yaw: Real) -> Array:
    """Return how far the outline reaches towards -x.

    Parameters
    ----------
    outline : The outline [-]
    yaw : Its turn from x towards y [rad]

    Returns
    -------
    Least x [m].
    """
    return -support(outline, np.pi - np.asarray(yaw))


STANDARD_GRAVITY = 9.80665
"""Standard gravity [m/s2] (cgpm1901)."""

DIRECTIONS: dict[str, float] = {
    "forward": 0.0,
    "forward-left": np.pi / 4,
    "left": np.pi / 2,
    "back-left": 3 * np.pi / 4,
    "back": np.pi,
    "back-right": -3 * np.pi / 4,
    "right": -np.pi / 2,
    "forward-right": -np.pi / 4,
}
"""Eight directions of the floor plane as angles from x towards y [rad]."""

_TINY = 1e-9
"""Contacts nearer than this [m] are one; a point this near to a line is on it."""


@dataclass(frozen=True, slots=True)
class Support:
    """A support polygon as half-planes ``normal . p <= offset``.

    Parameters
    ----------
    pairs : The two contacts of each half-plane's edge [-], shape ``(e, 2)``
    normal : Outward unit normals [-], shape ``(e, 2, *cases)``
    offset : Distance of each edge from the origin along its normal [m], shape ``(e, *cases)``; infinite in the cases
        where the pair is no edge of the hull

    References
    ----------
    mcghee1968: support polygon.
    """

    pairs: npt.NDArray[np.int_]
    normal: Array
    offset: Array


def support_polygon(contacts: npt.ArrayLike) -> Support:
    """Find the edges of the support polygon in every case.

    A pair of contacts is an edge where all contacts lie on one side of its line: max_k (n . p_k) = n . p_i.
    Both orders of a pair are tried; two contacts, or contacts in a line, give a polygon without width.
    Contacts within a nanometre count as one.

    Parameters
    ----------
    contacts : Floor contacts that carry load [m], shape ``(k, 2, *cases)``; two or more

    Returns
    -------
    The edges that occur in at least one case [-, m].

    Raises
    ------
    ValueError : Fewer than two contacts, or all of them in one place

    References
    ----------
    mcghee1968: support polygon.
    """
    p = np.asarray(contacts, dtype=np.float64)
    if p.ndim < 2 or p.shape[0] < 2 or p.shape[1] != 2:
        raise ValueError(f"contacts need the shape (2 or more, 2, cases), got {p.shape}")
    pairs = np.array(list(combinations(range(p.shape[0]), 2)))
    span = p[pairs[:, 1]] - p[pairs[:, 0]]
    length = np.sqrt(span[:, 0] * span[:, 0] + span[:, 1] * span[:, 1])
    if np.any(length.max(axis=0) <= _TINY):
        raise ValueError("the floor contacts are all in one place")
    apart = length > _TINY
    scale = apart / np.maximum(length, _TINY)
    x, y = span[:, 1] * scale, -span[:, 0] * scale
    own = x * p[pairs[:, 0], 0] + y * p[pairs[:, 0], 1]
    high, low = _extent(p, x, y, own)
    right, left = apart & (high - own <= _TINY), apart & (own - low <= _TINY)
    cases = tuple(range(1, right.ndim))
    is_right, is_left = right.any(axis=cases), left.any(axis=cases)
    outward = [np.concatenate((a[is_right], -a[is_left])) for a in (x, y)]
    offset = np.concatenate((own[is_right], -own[is_left]))
    edge = np.concatenate((right[is_right], left[is_left]))
    order = np.concatenate((pairs[is_right], pairs[is_left][:, ::-1]))
    return Support(order, np.stack(outward, axis=1), np.where(edge, offset, np.inf))


def _extent(contacts: Array, x: Array, y: Array, own: Array) -> tuple[Array, Array]:
    """Greatest and least projection of all contacts on each normal, begun at the pair's own."""
    high, low = own.copy(), own.copy()
    for contact in contacts:
        along = x * contact[0]
        along += y * contact[1]
        np.maximum(high, along, out=high)
        np.minimum(low, along, out=low)
    return high, low


def hull_order(contacts: npt.ArrayLike) -> npt.NDArray[np.int_]:
    """Corners of the convex hull of one set of contacts, counter-clockwise seen from above.

    Monotone chain; points inside an edge are left out. For drawing and for naming edges; the limits use
    `support_polygon`.

    Parameters
    ----------
    contacts : Contacts [m], shape ``(k, 2)``

    Returns
    -------
    ndarray of int
        Indices of the corners [-], starting at the rearmost (rightmost of these).

    Raises
    ------
    ValueError : A shape other than ``(k, 2)``

    References
    ----------
    andrew1979: monotone chain.
    """
    p = np.asarray(contacts, dtype=np.float64)
    if p.ndim != 2 or p.shape[1] != 2:
        raise ValueError(f"contacts need the shape (k, 2), got {p.shape}")
    order = [int(i) for i in np.lexsort((p[:, 1], p[:, 0]))]

    def chain(indices: list[int]) -> list[int]:
        out: list[int] = []
        for i in indices:
            while len(out) > 1 and _turn(p[out[-2]], p[out[-1]], p[i]) <= _TINY**2:
                out.pop()
            out.append(i)
        return out[:-1]

    return np.array(chain(order) + chain(order[::-1]) or order[:1], dtype=np.int_)


def _turn(a: Array, b: Array, c: Array) -> float:
    """Twice the area of a triangle, positive counter-clockwise."""
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


def edge_slack(support: Support, point: npt.ArrayLike) -> Array:
    """Distance from a point to each edge of the support polygon.

    offset - n . p.

    Parameters
    ----------
    support : The polygon [-, m]
    point : Load point or the centre of gravity's projection [m], shape ``(2, *cases)``

    Returns
    -------
    Distance inside each edge's line [m], shape ``(e, *cases)``; negative outside, infinite where the pair is no edge in
    that case.

    References
    ----------
    mcghee1968: static stability margin.
    """
    trailing = max(support.offset.ndim - 1, np.ndim(point) - 1)
    n, p = lift(support.normal, 2, trailing), lift(point, 1, trailing)
    return np.asarray(lift(support.offset, 1, trailing) - (n[:, 0] * p[0] + n[:, 1] * p[1]))


def reach(support: Support, point: npt.ArrayLike, direction: npt.ArrayLike) -> Array:
    """How far the load point may move in a direction before the robot tips.

    The least of slack / (n . u) over the edges that the direction u meets from inside. Edges parallel to u
    (to 1e-9) never stop it; a polygon without width does not stop motion along its line. All diagonals are
    covered: the exact edge decides, not a rectangle.

    Parameters
    ----------
    support : The polygon [-, m]
    point : Load point or the centre of gravity's projection [m], shape ``(2, *cases)``
    direction : Angles from x (forward) towards y (left) [rad], shape ``(d,)``

    Returns
    -------
    Distance along each direction to the polygon's edge [m], shape ``(d, *cases)``; negative where the point is already
    past that edge.

    References
    ----------
    mcghee1968: static stability margin, taken along a direction.
    """
    slack = edge_slack(support, point)
    n = lift(support.normal, 2, slack.ndim - 1)
    return np.stack([_along(slack, n, float(angle)) for angle in np.atleast_1d(np.asarray(direction))])


def _along(slack: Array, normal: Array, angle: float) -> Array:
    """Distance to the polygon's edge along one direction."""
    toward = normal[:, 0] * np.cos(angle) + normal[:, 1] * np.sin(angle)
    meets = toward > _TINY
    rows = meets.any(axis=tuple(range(1, meets.ndim)))
    meets = meets[rows]
    far = slack[rows] / np.where(meets, toward[rows], 1.0)
    return np.asarray((far if meets.all() else np.where(meets, far, np.inf)).min(axis=0, initial=np.inf))


def wheel_loads(weight: Real, contacts: npt.ArrayLike, point: npt.ArrayLike, support: Support | None = None) -> Array:
    """Load on each floor contact of a rigid robot on equal springs that push but do not pull.

    Parameters
    ----------
    weight : Weight, or the force towards the floor [N], shape ``cases``
    contacts, point : Floor contacts [m], shape ``(k, 2, *cases)``; load point [m], shape ``(2, *cases)``
    support : The support polygon of the same contacts [-, m], where it is already known

    Returns
    -------
    Normal force on each contact [N], shape ``(k, *cases)``; never negative.

    Raises
    ------
    ValueError : Contacts that are not ``(k, 2, ...)``

    Notes
    -----
    On three contacts statics alone decides. On more it does not: this is the solution for equal stiffness and
    a flat floor, N_i = max(0, a + b x_i + c y_i), which is also the one with the least sum of squares; a bent
    frame or a high tile can move half the load of one diagonal to the other. Solved by pivoting on the set of
    contacts that carry: all wrong ones at once, after six rounds one at a time, only where the set still
    changes. A point outside the support polygon is drawn back towards the contacts' middle, to the edge: then
    the robot tips, and the edge carries all.

    References
    ----------
    meriam_statics: equilibrium; equal springs for the indeterminate part.
    """
    trailing = max(np.ndim(weight), np.ndim(contacts) - 2, np.ndim(point) - 1)
    p = lift(contacts, 2, trailing)
    if p.shape[1] != 2:
        raise ValueError(f"contacts need the shape (k, 2, cases), got {p.shape}")
    middle = p.mean(axis=0)
    around, arm = p - middle, lift(point, 1, trailing) - middle
    share = _plane_loads(np.ones((len(p),) + (1,) * trailing, dtype=np.bool_), around, arm)
    lifted = (share < 0.0).any(axis=0)
    if lifted.any():
        each = np.broadcast_to(around, around.shape[:2] + lifted.shape)
        inward = _into_polygon(support or support_polygon(p), middle, arm)
        arm = np.broadcast_to(arm * inward, (2, *lifted.shape))
        # as a rule a batch lifts altogether, and picking all of it would be a copy for nothing
        some = slice(None) if lifted.ndim == 1 and lifted.all() else lifted
        share[:, some] = _unilateral(each[..., some], arm[:, some], share[:, some] > 0.0)
    return np.asarray(share * weight)


def _into_polygon(support: Support, middle: Array, arm: Array) -> Array:
    """Return the factor that draws a point back into the polygon, towards a middle inside it."""
    trailing = max(arm.ndim, middle.ndim) - 1
    n, offset = lift(support.normal, 2, trailing), lift(support.offset, 1, trailing)
    offset = offset - (n[:, 0] * middle[0] + n[:, 1] * middle[1])
    outward = n[:, 0] * arm[0] + n[:, 1] * arm[1]
    beyond = outward > np.maximum(offset, 0.0)
    return np.asarray(np.where(beyond, offset / np.where(beyond, outward, 1.0), 1.0).min(axis=0).clip(0.0, 1.0))


def _unilateral(contacts: Array, arm: Array, on: npt.NDArray[np.bool_]) -> Array:
    """Shares of the load on springs that only push; contacts (k, 2, n) and arm (2, n) from the middle.

    `on` is a guess of the contacts that carry.
    """
    share = np.empty((len(contacts), arm.shape[1]))
    todo, spots, at = np.arange(arm.shape[1]), contacts, arm
    for turn in range(40):
        press = _plane_loads(on, spots, at)
        share[:, todo] = np.where(on, np.maximum(press, 0.0), 0.0)
        wrong = (press > -1e-12) != on
        changed = wrong.any(axis=0)
        if not changed.any():
            break
        if not changed.all():
            todo, on, wrong = todo[changed], on[:, changed], wrong[:, changed]
            spots, at = contacts[..., todo], arm[:, todo]
        if turn > 5:  # exchanging all at once can go in a circle; the first wrong one alone cannot
            wrong &= np.cumsum(wrong, axis=0) == 1
        on = on ^ wrong
    return np.asarray(share / share.sum(axis=0))


def _plane_loads(on: npt.NDArray[np.bool_], contacts: Array, arm: Array) -> Array:
    """Solve a + b x_i + c y_i over the carrying contacts for load 1 at the arm, by Cramer's rule.

    A trace of ridge (1e-11 of full scale) settles the tilt that contacts in a line leave open.
    """
    x, y = contacts[:, 0], contacts[:, 1]
    xo, yo, count = on * x, on * y, np.maximum(on.sum(axis=0), 1).astype(np.float64)
    sx, sy = xo.sum(axis=0) / count, yo.sum(axis=0) / count
    ridge = 1e-11 * (x * x + y * y).max(axis=0)
    xx = (xo * x).sum(axis=0) - count * sx * sx + ridge
    yy = (yo * y).sum(axis=0) - count * sy * sy + ridge
    xy = (xo * y).sum(axis=0) - count * sx * sy
    du, dv, det = arm[0] - sx, arm[1] - sy, xx * yy - xy * xy
    b, c = (du * yy - dv * xy) / det, (dv * xx - du * xy) / det
    return np.asarray((1.0 / count - b * sx - c * sy) + b * x + c * y)
