"""Objects one behind another through stages in a row: spacing, pile-up, and what limits the throughput.

Arrays of speeds carry the stages on the leading axis and the cases on the trailing ones. What holds: the
nose of every object changes speed at the same place, whichever roller wins the tug, so times between noses
stay and distances change in the ratio of the speeds.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.physics import _require as require
from fieldworthy.physics._types import Array, Real


def _slowest(speeds: Array) -> Array:
    require.not_negative(speeds=speeds)
    if np.ndim(speeds) < 1 or len(speeds) < 1:
        msg = "speeds must hold at least one stage on its leading axis"
        raise ValueError(msg)
    slowest: Array = np.min(speeds, axis=0)
    return slowest


def throughput(speeds: Array, length: Real, gap: Real = 0.0) -> Real:
    """Largest number of objects per second that a row of stages passes on without a pile-up.

    Parameters
    ----------
    speeds : Array
        Speed of the object in each stage, stages on the leading axis [m/s].
    length : Real
        Length of an object along the path [m].
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
    return _slowest(speeds) / (length + gap)


def limiting_stage(speeds: Array) -> Array:
    """Index of the stage that limits the throughput.

    Parameters
    ----------
    speeds : Array
        Speed of the object in each stage, stages on the leading axis [m/s].

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
    _slowest(speeds)
    index: Array = np.argmin(speeds, axis=0)
    return index


def feed_spacing(speeds: Array, length: Real, gap: Real = 0.0) -> Real:
    """Smallest distance, nose to nose in the first stage, at which objects never touch further on.

    Parameters
    ----------
    speeds : Array
        Speed of the object in each stage, stages on the leading axis [m/s].
    length : Real
        Length of an object along the path [m].
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
    (L + gap) v_1 / min(v).

    References
    ----------
    continuity: conservation of the number of objects on a one-dimensional path.
    """
    slowest = _slowest(speeds)
    require.positive(length=length)
    require.not_negative(gap=gap)
    stretch: Array = np.divide(
        speeds[0], slowest, out=np.full(np.shape(slowest), np.inf), where=np.asarray(slowest > 0.0)
    )
    return (length + gap) * stretch


def spacing_after(spacing: Real, speed: Real, next_speed: Real) -> Real:
    """Distance between two objects, nose to nose, once both are in the next stage.

    Parameters
    ----------
    spacing : Real
        Distance nose to nose in this stage [m].
    speed, next_speed : Real
        Speed of the objects in this stage and in the next [m/s].

    Returns
    -------
    Real
        Distance; where it falls below an object's length they pile up [m].

    Raises
    ------
    ValueError
        If the spacing or speed is not positive, or the next speed is negative.

    Notes
    -----
    s v_2 / v_1.

    References
    ----------
    continuity: conservation of the number of objects on a one-dimensional path.
    """
    require.positive(spacing=spacing, speed=speed)
    require.not_negative(next_speed=next_speed)
    return spacing * next_speed / speed


def overlap(length: Real, distance: Real) -> Real:
    """Length of path over which two neighbouring stages hold the same object.

    Parameters
    ----------
    length : Real
        Length of an object along the path [m].
    distance : Real
        Distance between the two nips [m].

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


def coast_margin(gap: Real, speed: Real, deceleration: Real) -> Real:
    """Margin with which an object coasts over a stretch that neither stage holds.

    Parameters
    ----------
    gap : Real
        Length of the stretch, minus `overlap`; negative counts as none [m].
    speed : Real
        Speed with which the object leaves the stage behind it [m/s].
    deceleration : Real
        Friction and slope on the way, as a deceleration [m/s^2].

    Returns
    -------
    Real
        1 - gap / reach: 1 without a gap, 0 where it just arrives; minus infinity from rest [-].

    Raises
    ------
    ValueError
        If the speed is negative or the deceleration is not positive.

    Notes
    -----
    Reach v^2 / (2 a).

    References
    ----------
    practice: uniformly decelerated motion.
    """
    require.not_negative(speed=speed)
    require.positive(deceleration=deceleration)
    needed = np.maximum(gap, 0.0)
    reach = np.asarray(speed) ** 2 / (2.0 * np.asarray(deceleration))
    shape = np.broadcast_shapes(np.shape(needed), np.shape(reach))
    ratio = np.broadcast_to(np.where(needed > 0.0, np.inf, 0.0), shape).copy()
    share: Array = np.divide(needed, reach, out=ratio, where=reach > 0.0)
    return 1.0 - share


def swallow_time(length: Real, speed: Real, force: Real, mass: Real) -> Real:
    """Time from first touch until a stage has drawn in a whole object that lay still.

    Parameters
    ----------
    length : Real
        Length of the object along the path [m].
    speed : Real
        Speed of the object once it runs with the surface [m/s].
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
