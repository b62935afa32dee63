"""Convex outlines in plan: support, caliper width, flats and corners.

A polygon's vertices run counter-clockwise with the shape ``(k, 2, *cases)``; a circle is kept as its radius,
exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import SMALL, refuse, refuse_unsized

LEVEL = 1e-12
"""A side whose normal has a smaller component than this stands upright; rounding is below it, a part's is
above."""


@dataclass(frozen=True, slots=True)
class Polygon:
    """A convex polygon.

    Parameters
    ----------
    vertices : Array
        Corners counter-clockwise, shape ``(k, 2, *cases)`` [m].

    Raises
    ------
    ValueError
        If there are fewer than three corners, or a single polygon is not convex and counter-clockwise.
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
    radius : Real
        Its radius [m].

    Raises
    ------
    ValueError
        If a scalar radius is not positive.
    """

    radius: Real

    def __post_init__(self) -> None:
        refuse_unsized(radius=self.radius)


Outline: TypeAlias = Polygon | Circle
"""Any convex outline."""


def is_convex(vertices: Array) -> npt.NDArray[np.bool_]:
    """Tell where corners go once round a convex polygon, counter-clockwise.

    Parameters
    ----------
    vertices : Array
        Corners, shape ``(k, 2, *cases)`` [m].

    Returns
    -------
    ndarray of bool
        True where every turn is to the left and they add to one turn; straight corners pass [-].

    Notes
    -----
    A star also turns left everywhere, but more than once round.
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
    length : Real
        Size along x [m].
    width : Real
        Size along y [m].

    Returns
    -------
    Polygon
        Four corners [m].
    """
    refuse_unsized(length=length, width=width)
    x, y = np.broadcast_arrays(0.5 * np.asarray(length), 0.5 * np.asarray(width))
    return Polygon(np.array([[x, y], [-x, y], [-x, -y], [x, -y]]))


def regular_polygon(sides: int, across_flats: Real) -> Polygon:
    """Return a regular polygon about the origin with a flat towards -x.

    Parameters
    ----------
    sides : int
        Number of sides, at least 3 [-].
    across_flats : Real
        Twice the distance from the centre to a flat [m]; from flat to flat where the number is even.

    Returns
    -------
    Polygon
        Its corners [m].

    Raises
    ------
    ValueError
        If there are fewer than three sides or a scalar size is not positive.
    """
    refuse(sides >= 3, lambda: f"sides must be at least 3, got {sides!r}")
    refuse_unsized(across_flats=across_flats)
    angle = np.pi + (2.0 * np.arange(sides) + 1.0) * np.pi / sides
    unit = np.stack([np.cos(angle), np.sin(angle)], axis=1) / np.cos(np.pi / sides)
    return Polygon(np.multiply.outer(unit, 0.5 * np.asarray(across_flats)))


def support(outline: Outline, angle: Real) -> Array:
    """Return how far the outline reaches in a direction.

    Parameters
    ----------
    outline : Polygon or Circle
        The outline [-].
    angle : Real
        Direction from x towards y [rad].

    Returns
    -------
    Array
        Greatest distance from the origin along it [m].

    Notes
    -----
    h(angle) = max over corners of x cos(angle) + y sin(angle).
    """
    if isinstance(outline, Circle):
        return np.broadcast_to(outline.radius, np.broadcast_shapes(np.shape(outline.radius), np.shape(angle)))
    return np.asarray(_along(outline.vertices, np.cos(angle), np.sin(angle)).max(axis=0))


def _along(vertices: Array, c: Array, s: Array) -> Array:
    """Return each corner's place along a direction, making room for its cases."""
    room = max(np.ndim(c), vertices.ndim - 2)
    v = vertices.reshape(vertices.shape[:2] + (1,) * (room + 2 - vertices.ndim) + vertices.shape[2:])
    return np.asarray(v[:, 0] * c + v[:, 1] * s)


def normals(polygon: Polygon) -> Array:
    """Return the outward direction of each side, side i running from corner i to the next.

    Parameters
    ----------
    polygon : Polygon
        The outline [-].

    Returns
    -------
    Array
        Directions, shape ``(k, *cases)`` [rad].
    """
    side = np.roll(polygon.vertices, -1, axis=0) - polygon.vertices
    return np.arctan2(-side[:, 0], side[:, 1])


def flat_lengths(polygon: Polygon) -> Array:
    """Return the length of each side.

    Parameters
    ----------
    polygon : Polygon
        The outline [-].

    Returns
    -------
    Array
        Lengths, shape ``(k, *cases)`` [m].
    """
    side = np.roll(polygon.vertices, -1, axis=0) - polygon.vertices
    return np.hypot(side[:, 0], side[:, 1])


def corner_angles(polygon: Polygon) -> Array:
    """Return the interior angle at each corner.

    Parameters
    ----------
    polygon : Polygon
        The outline [-].

    Returns
    -------
    Array
        Angles, shape ``(k, *cases)`` [rad].
    """
    out = normals(polygon)
    turn = np.mod(out - np.roll(out, 1, axis=0) + np.pi, 2.0 * np.pi) - np.pi
    return np.asarray(np.pi - turn)


def greatest_width(outline: Outline) -> Array:
    """Return the widest caliper width, the diameter.

    Parameters
    ----------
    outline : Polygon or Circle
        The outline [-].

    Returns
    -------
    Array
        Width [m].

    Notes
    -----
    The greatest distance between two corners.
    """
    if isinstance(outline, Circle):
        return 2.0 * np.asarray(outline.radius)
    v = outline.vertices
    return np.asarray(np.max([np.hypot(*np.moveaxis(v - c, 1, 0)).max(axis=0) for c in v], axis=0))


def front(outline: Outline, yaw: Real, across: Array) -> Array:
    """Return how far the outline's near face lies along x on lines parallel to x.

    Parameters
    ----------
    outline : Polygon or Circle
        The outline, about its own origin [-].
    yaw : Real
        Its turn from x towards y [rad].
    across : Array
        Places of the lines along y from that origin, lines leading, cases trailing [m].

    Returns
    -------
    Array
        x of the face towards -x [m], infinite where the line misses the outline.

    Notes
    -----
    The face is the greatest of the lines through the sides that look towards -x, within the outline's extent
    in y.
    """
    if isinstance(outline, Circle):
        inside = np.square(outline.radius) - across * across
        return np.where(inside >= 0.0, -np.sqrt(np.maximum(inside, 0.0)), np.inf)
    room = max(np.ndim(yaw), across.ndim - 1, outline.vertices.ndim - 2)
    across = across.reshape(across.shape[:1] + (1,) * (room + 1 - across.ndim) + across.shape[1:])
    turn = np.reshape(yaw, (1,) * (room - np.ndim(yaw)) + np.shape(yaw))
    c, s = np.cos(turn), np.sin(turn)
    x, y = _along(outline.vertices, c, -s), _along(outline.vertices, s, c)
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
    outline : Polygon or Circle
        The outline [-].
    yaw : Real
        Its turn from x towards y [rad].

    Returns
    -------
    Array
        Least x [m].
    """
    return -support(outline, np.pi - np.asarray(yaw))
