"""Objects one behind another through stages in a row: spacing, pile-up, and what limits the throughput.

Arrays of speeds carry the stages on the leading axis and the cases on the trailing ones. What holds: the
nose of every object changes speed at the same place, whichever roller wins the tug, so times between noses
stay and distances change in the ratio of the speeds.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.statics.support import STANDARD_GRAVITY

_STEPS = 32


def _checked(speeds: Array) -> Array:
    require.not_negative(speeds=speeds)
    if np.ndim(speeds) < 1 or len(speeds) < 1:
        msg = "speeds must hold at least one stage on its leading axis"
        raise ValueError(msg)
    return speeds


def alongside(speed: Real, next_speed: Real, length: Real, next_length: Real) -> tuple[Array, Array]:
    """Put speeds and lengths of two neighbouring stages on a leading axis of their own.

    Parameters
    ----------
    speed, next_speed, length, next_length : Real
        Of the objects in this stage and in the next [m/s]; least distance nose to nose in each [m].

    Returns
    -------
    tuple[Array, Array]
        Speeds [m/s], and distances [m].
    """
    a, b, c, d = np.broadcast_arrays(speed, next_speed, length, next_length)
    return np.stack([a, b]), np.stack([c, d])


def throughput(speeds: Array, length: Real, gap: Real = 0.0) -> Real:
    """Largest number of objects per second that a row of stages passes on without a pile-up.

    Parameters
    ----------
    speeds : Array
        Speed of the object in each stage, stages on the leading axis [m/s].
    length : Real
        Length of an object along the path, or the least distance nose to nose of each stage, as where hooks carry
        them, stages leading [m].
    gap : Real, optional
        Space that must stay between two objects, in the slowest stage [m].

    Returns
    -------
    Real
        Rate, 0 where a stage stands still [1/s].

    Raises
    ------
    ValueError
        If a speed is negative, the length is not positive, or the gap is negative.

    Notes
    -----
    min(v) / (L + gap): the slowest stage alone limits, wherever it stands in the row. A faster neighbour
    before it piles up at the hand-over, one after it only spreads the objects out.

    References
    ----------
    continuity: conservation of the number of objects on a one-dimensional path.
    """
    require.positive(length=length)
    require.not_negative(gap=gap)
    rate: Array = np.min(_checked(speeds) / (length + np.asarray(gap)), axis=0)
    return rate


def limiting_stage(speeds: Array, length: Real = 1.0) -> Array:
    """Index of the stage that limits the throughput.

    Parameters
    ----------
    speeds : Array
        Speed of the object in each stage, stages on the leading axis [m/s].
    length : Real, optional
        Least distance nose to nose, as in `throughput`; alike in all stages if not given [m].

    Returns
    -------
    Array
        Index from 0; the first of equals [-].

    Raises
    ------
    ValueError
        If a speed is negative or there is no stage.

    References
    ----------
    continuity: conservation of the number of objects on a one-dimensional path.
    """
    index: Array = np.argmin(_checked(speeds) / np.asarray(length), axis=0)
    return index


def feed_spacing(speeds: Array, length: Real, gap: Real = 0.0) -> Real:
    """Smallest distance, nose to nose in the first stage, at which objects never touch further on.

    Parameters
    ----------
    speeds : Array
        Speed of the object in each stage, stages on the leading axis [m/s].
    length : Real
        Length of an object along the path, or the least distance of each stage as in `throughput` [m].
    gap : Real, optional
        Space that must stay between two objects, in the slowest stage [m].

    Returns
    -------
    Real
        Spacing, infinite where a stage stands still [m].

    Raises
    ------
    ValueError
        If a speed is negative, the length is not positive, or the gap is negative.

    Notes
    -----
    v_1 / min(v / (L + gap)).

    References
    ----------
    continuity: conservation of the number of objects on a one-dimensional path.
    """
    rate = np.asarray(throughput(speeds, length, gap))
    spacing: Array = np.divide(speeds[0], rate, out=np.full(np.shape(rate), np.inf), where=rate > 0.0)
    return spacing


def overlap(length: Real, distance: Real) -> Real:
    """Length of path over which two neighbouring stages hold the same object.

    Parameters
    ----------
    length, distance : Real
        Length of an object along the path; distance between the two nips [m].

    Returns
    -------
    Real
        Overlap; negative is a stretch over which neither holds it [m].

    Raises
    ------
    ValueError
        If the length or distance is not positive.

    Notes
    -----
    L - D.

    References
    ----------
    plane-geometry: derived beside the formula.
    """
    require.positive(length=length, distance=distance)
    return length - distance


def rubbing(overlap: Real, speeds: tuple[Real, Real], grips: tuple[Real, Real]) -> tuple[Real, Real]:
    """Force and sliding distance at the roller that loses the tug while two stages hold one object.

    Parameters
    ----------
    overlap : Real
        Length over which both hold it, from `overlap` [m].
    speeds : tuple[Real, Real]
        Surface speed of this stage and the next [m/s].
    grips : tuple[Real, Real]
        Grip (friction coefficient times normal force) of this stage and the next [N].

    Returns
    -------
    tuple[Real, Real]
        Force in the object, positive a pull and negative a push [N]; sliding distance at the weaker roller
        [m].

    Raises
    ------
    ValueError
        If a speed is not positive or a grip is negative.

    Notes
    -----
    The weaker grip slips: force min(mu N), pulling where the next stage is the faster; it slides
    overlap |v_weak - v_strong| / v_strong. Equal speeds slide nowhere and carry no force.

    References
    ----------
    practice: Coulomb friction, textbook statics.
    """
    require.positive(this_speed=speeds[0], next_speed=speeds[1])
    require.not_negative(this_grip=grips[0], next_grip=grips[1])
    first, second = np.asarray(speeds[0]), np.asarray(speeds[1])
    strong = np.where(np.asarray(grips[0]) >= grips[1], first, second)
    force = np.sign(second - first) * np.minimum(*grips)
    both = np.maximum(overlap, 0.0)
    return np.where(both > 0.0, force, 0.0)[()], both * np.abs(second - first) / strong


def coast_reach(speed: Real, gap: Real, slopes: tuple[Real, Real], friction: Real, turning: Real = 0.0) -> Real:
    """How far an object coasts along a path that bends evenly from one slope to another.

    Parameters
    ----------
    speed : Real
        Speed with which it leaves the stage behind it [m/s].
    gap : Real
        Length over which the path bends; 0 or less counts as none [m].
    slopes : tuple[Real, Real]
        Slope where it leaves, and where the gap ends and from there on, upwards positive [rad].
    friction : Real
        Friction coefficient of an object that slides on the guide; 0 for one that rolls [-].
    turning : Real, optional
        Energy of its turning as a share of that of its motion, 2/5 for a ball that rolls [-].

    Returns
    -------
    Real
        Way to where it comes to rest; very long where it runs on by itself [m].

    Raises
    ------
    ValueError
        If the speed, friction or turning is negative.

    Notes
    -----
    It rests where the work g integral of (sin + mu cos) ds reaches (1 + turning) v^2 / 2. What bending adds to the
    push on the guide is left out. Along the gap in 32 steps, straight between.

    References
    ----------
    practice: work and energy, textbook dynamics.
    """
    require.not_negative(speed=speed, friction=friction, turning=turning)
    s = np.linspace(0.0, 1.0, _STEPS + 1)
    first, last, rub, way, energy = np.broadcast_arrays(
        *slopes, friction, np.maximum(gap, 0.0), 0.5 * (1.0 + np.asarray(turning)) * np.asarray(speed) ** 2
    )
    slope = first[..., None] + (last - first)[..., None] * s
    asks = STANDARD_GRAVITY * (np.sin(slope) + rub[..., None] * np.cos(slope))
    pieces = 0.5 * (asks[..., 1:] + asks[..., :-1]) * (way / _STEPS)[..., None]
    done = np.concatenate([np.zeros((*way.shape, 1)), np.cumsum(pieces, axis=-1)], axis=-1)
    stops = done[..., 1:] > energy[..., None]
    i = np.argmax(stops, axis=-1)[..., None]
    before, step = (np.take_along_axis(x, i, -1)[..., 0] for x in (done, pieces))
    part = (energy - before) / np.where(stops.any(axis=-1), step, 1.0)
    inside = (i[..., 0] + part) * way / _STEPS
    beyond = way + (energy - done[..., -1]) / np.maximum(asks[..., -1], 1e-3)
    reach: Real = np.where(stops.any(axis=-1), inside, beyond)[()]
    return reach


def swallow_time(length: Real, speed: Real, force: Real, mass: Real) -> Real:
    """Time from first touch until a stage has drawn in a whole object that lay still.

    Parameters
    ----------
    length, speed : Real
        Length of the object along the path [m]; speed of the object once it runs with the surface [m/s].
    force : Real
        Force that is left to accelerate it: the smaller of grip and motor force, less the drag [N].
    mass : Real
        Mass of the object [kg].

    Returns
    -------
    Real
        Time, infinite where speed or force is zero or less [s].

    Raises
    ------
    ValueError
        If the length or mass is not positive.

    Notes
    -----
    Even acceleration a = F / m up to v: L / v + v / (2 a), or sqrt(2 L / a) where the object is short. The
    faster a roller turns, the longer it slips first: past v = sqrt(2 a L) more speed draws nothing in sooner.

    References
    ----------
    practice: uniformly accelerated motion.
    """
    require.positive(length=length, mass=mass)
    works = (np.asarray(speed) > 0.0) & (np.asarray(force) > 0.0)
    v = np.where(works, speed, 1.0)
    a = np.where(works, force, 1.0) / mass
    reached = v**2 < 2.0 * a * length
    time = np.where(reached, length / v + v / (2.0 * a), np.sqrt(2.0 * length / a))
    return np.where(works, time, np.inf)[()]


def pickup_rate(swallow_time: Real, throughput: Real) -> Real:
    """Objects per second that an intake takes in from a heap that offers the next one at once.

    Parameters
    ----------
    swallow_time : Real
        Time that the first stage takes for one object, from `swallow_time` [s].
    throughput : Real
        What the row of stages passes on, from `throughput` [1/s].

    Returns
    -------
    Real
        Rate [1/s].

    Raises
    ------
    ValueError
        If the swallow time is not positive or the throughput is negative.

    Notes
    -----
    min(1 / t, throughput).

    References
    ----------
    continuity: conservation of the number of objects on a one-dimensional path.
    """
    if not np.all(np.asarray(swallow_time) > 0.0):
        msg = f"swallow_time must be positive, got {swallow_time!r}"
        raise ValueError(msg)
    require.not_negative(throughput=throughput)
    return np.minimum(1.0 / np.asarray(swallow_time), throughput)
