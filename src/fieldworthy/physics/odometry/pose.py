"""Poses in the plane: composing them, moving on an arc, and a path made of such moves.

A pose is (x, y, heading) in a fixed frame of the field; a motion (ahead, left, turn) is seen from the robot.
Axes as in ISO 8855: x forward, y left, heading counter-clockwise from above.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require

Pose: TypeAlias = tuple[Real, Real, Real]
"""x [m], y [m] and heading [rad]."""


def chord(turn: Real) -> Array:
    """Mean direction of a motion that turns evenly, as a complex number.

    Parameters
    ----------
    turn : Real
        Angle turned from start to end of the motion [rad].

    Returns
    -------
    Array
        Integral of exp(i turn s) over s from 0 to 1 [-], complex: 1 for a straight motion.

    Notes
    -----
    exp(i turn/2) sin(turn/2)/(turn/2), without a case of its own at zero.
    """
    half = 0.5 * np.asarray(turn, dtype=np.float64)
    mean: Array = np.exp(1j * half) * np.sinc(half / np.pi)
    return mean


def wrap(angle: Real) -> Array:
    """Angle brought into half a turn either way.

    Parameters
    ----------
    angle : Real
        Angle [rad].

    Returns
    -------
    Array
        The same direction, from -pi up to below pi [rad].
    """
    return np.asarray((np.asarray(angle) + np.pi) % (2.0 * np.pi) - np.pi)


@dataclass(frozen=True, slots=True)
class Path:
    """A start and a row of motions of constant curvature: straights, turns in place, arcs.

    Parameters
    ----------
    start : Pose
        Pose at the start [m, m, rad].
    ahead, left, turn : Array
        What each motion does, seen from the robot [m, m, rad]; shape (motions,) or (motions, cases).
    time : Array
        How long each motion takes, rests included [s]; same shape.
    marks : tuple[int, ...]
        After which motions a waypoint is reported [-], counted from 0.

    Raises
    ------
    ValueError
        If shapes differ, a number is not finite, a time is negative, a motion turns more than a full turn or
        a mark is no motion.
    """

    start: Pose
    ahead: Array
    left: Array
    turn: Array
    time: Array
    marks: tuple[int, ...]

    def __post_init__(self) -> None:
        shapes = {np.shape(part) for part in (self.ahead, self.left, self.turn, self.time)}
        if len(shapes) != 1 or not 1 <= len(next(iter(shapes))) <= 2:
            msg = f"ahead, left, turn and time must have one shape (motions,) or (motions, cases), got {shapes}"
            raise ValueError(msg)
        for name, part in (("start", self.start), ("ahead", self.ahead), ("left", self.left)):
            if not all(np.all(np.isfinite(p)) for p in part):
                msg = f"{name} must be finite"
                raise ValueError(msg)
        require.not_negative(time=self.time)
        if not np.all(np.abs(self.turn) <= 2.0 * np.pi + 1e-9):
            msg = "turn of one motion must be at most a full turn; split it"
            raise ValueError(msg)
        if not self.marks or any(not 0 <= mark < len(self.ahead) for mark in self.marks):
            msg = f"marks must name motions from 0 to {len(self.ahead) - 1}, got {self.marks}"
            raise ValueError(msg)
        if any(b <= a for a, b in zip(self.marks, self.marks[1:], strict=False)):
            msg = f"marks must rise, got {self.marks}"
            raise ValueError(msg)


def path_through(points: Array, heading: Real, speed: Real, turn_rate: Real) -> Path:
    """Path that turns in place toward each point and drives straight to it.

    Parameters
    ----------
    points : Array
        The start and the waypoints, shape (points, 2) or (points, 2, cases) [m].
    heading, speed, turn_rate : Real
        Heading at the start [rad]; mean speed on the straights [m/s]; mean rate of the turns [rad/s].

    Returns
    -------
    Path
        Two motions a leg, a waypoint reported at the end of each straight [-].

    Raises
    ------
    ValueError
        If there are fewer than two points, or speed or turn rate is not positive.

    Notes
    -----
    Each turn goes the short way round. A leg of no length keeps the heading.
    """
    require.positive(speed=speed, turn_rate=turn_rate)
    way = np.asarray(points, dtype=np.float64)
    if way.ndim not in (2, 3) or way.shape[0] < 2 or way.shape[1] != 2:
        msg = f"points must have shape (2 or more, 2) or (2 or more, 2, cases), got {way.shape}"
        raise ValueError(msg)
    if way.ndim == 2 and max(np.ndim(heading), np.ndim(speed), np.ndim(turn_rate)):
        way = way[:, :, None]
    legs = np.diff(way, axis=0)
    length = np.hypot(legs[:, 0], legs[:, 1])
    now, turns = np.broadcast_to(np.asarray(heading, dtype=np.float64), length.shape[1:]), []
    for (dx, dy), far in zip(legs, length, strict=True):
        turns.append(np.where(far > 0.0, wrap(np.arctan2(dy, dx) - now), 0.0))
        now = now + turns[-1]
    turn = _alternate(np.array(turns), 0.0 * length)
    ahead = _alternate(0.0 * length, length)
    time = np.abs(turn) / turn_rate + ahead / speed
    ahead, turn, time = np.broadcast_arrays(ahead, turn, time)
    marks = tuple(range(1, 2 * len(length), 2))
    return Path((way[0, 0], way[0, 1], heading), ahead, np.zeros_like(ahead), turn, time, marks)


def _alternate(odd: Array, even: Array) -> Array:
    """Lay two rows of motions into one another."""
    return np.stack([odd, even], axis=1).reshape(-1, *even.shape[1:])


def joints(path: Path) -> tuple[Array, Array, Array]:
    """Poses at the start and after each motion.

    Parameters
    ----------
    path : Path
        The path.

    Returns
    -------
    tuple[Array, Array, Array]
        x [m], y [m] and heading [rad], each of shape (motions + 1,) or (motions + 1, cases).
    """
    x, y, heading = (np.asarray(part, dtype=np.float64) for part in path.start)
    shape = np.broadcast_shapes(x.shape, y.shape, heading.shape, path.turn.shape[1:])
    way = np.empty((len(path.turn) + 1, *shape), dtype=np.complex128)
    angle = np.empty(way.shape)
    way[0], angle[0] = x + 1j * y, heading
    angle[1:] = heading + np.cumsum(path.turn, axis=0)
    way[1:] = way[0] + np.cumsum(np.exp(1j * angle[:-1]) * chord(path.turn) * (path.ahead + 1j * path.left), axis=0)
    return way.real, way.imag, angle
