"""A piece that flies off the end of a conveyor which is stopped or reversed under it.

It slides on while the conveyor slows harder than friction and slope would slow the piece, and leaves the end along the
conveyor. Air drag is left out: over a few decimetres it takes less than a percent from anything but paper. A piece that
flies hits: keep faces away from where it leaves.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics.statics.support import STANDARD_GRAVITY

_UPRIGHT = 1e-9  # cosine; steeper than that a piece goes straight up


def slide_slowing(angle: Real, friction: Real) -> Array:
    """Return the deceleration of a piece that slides on up a conveyor which has stopped.

    Parameters
    ----------
    angle : How steeply the conveyor climbs [rad]
    friction : Coefficient of friction of piece on conveyor [-]

    Returns
    -------
    g (sin a + mu cos a) [m/s2]: a conveyor that slows less than this keeps the piece on it.

    References
    ----------
    meriam_statics: dry friction.
    """
    return np.asarray(STANDARD_GRAVITY * (np.sin(angle) + np.asarray(friction) * np.cos(angle)))


def flight_height(speed: Real, angle: Real, ahead: Real) -> Array:
    """Return how high a thrown piece is over where it left, at a distance ahead.

    z = x tan a - g x^2 / (2 v^2 cos^2 a), without air.

    Parameters
    ----------
    speed, angle : With which it leaves [m/s], and how steeply upwards [rad]
    ahead : Level distance from where it left [m]

    Returns
    -------
    Height [m]; minus infinity where it never gets there.

    References
    ----------
    meriam_dynamics: motion of a projectile.
    """
    cosine = np.maximum(np.cos(angle), _UPRIGHT)
    level = np.asarray(speed) * cosine
    x = np.asarray(ahead)
    moves = level > _UPRIGHT
    fall = 0.5 * STANDARD_GRAVITY * np.square(x / np.where(moves, level, 1.0))
    return np.where(moves | (x == 0.0), x * np.sin(angle) / cosine - np.where(x == 0.0, 0.0, fall), -np.inf)


def least_throw(angle: Real, ahead: Real, up: Real) -> Array:
    """Return the least speed with which a thrown piece passes over a point.

    v^2 = g x^2 / (2 cos^2 a (x tan a - z)).

    Parameters
    ----------
    angle : How steeply upwards it leaves [rad]
    ahead, up : Level distance of the point from where the piece leaves, above zero; its height over that, negative
        below [m]

    Returns
    -------
    Speed [m/s]; infinite where the point lies on or above the line along which it leaves.

    References
    ----------
    meriam_dynamics: motion of a projectile.
    """
    cosine = np.maximum(np.cos(angle), _UPRIGHT)
    x = np.asarray(ahead)
    under = x * np.sin(angle) / cosine - np.asarray(up)
    reached = under > 0.0
    square = 0.5 * STANDARD_GRAVITY * np.square(x / cosine) / np.where(reached, under, 1.0)
    return np.where(reached, np.sqrt(square), np.inf)


def run_out(speed: Real, least: Real, slowing: Real) -> Array:
    """Return how far before the end a conveyor may stop with the piece still leaving fast enough.

    Parameters
    ----------
    speed, least : Of the piece as the conveyor stops; with which it must leave [m/s]
    slowing : Deceleration of the piece while it slides on, as `slide_slowing` [m/s2]

    Returns
    -------
    Distance (v^2 - v_min^2) / (2 a) [m]; 0 where it is too slow from the beginning.

    References
    ----------
    meriam_dynamics: motion with constant acceleration.
    """
    spare = np.square(np.asarray(speed)) - np.square(np.minimum(least, 1e6))
    return np.asarray(np.maximum(spare, 0.0) / (2.0 * np.maximum(slowing, 1e-9)))
