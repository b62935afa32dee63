"""The square-path test of odometry: what the end points of squares driven both ways tell about wheels and track.

A robot drives a square by its own odometry, clockwise and counter-clockwise, several times each. The error of an end
point is where it stands minus where its odometry says it stands; x is along the first side, y to its left.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require


class SquareErrors(NamedTuple):
    """Mean end-point errors of the squares driven both ways.

    Parameters
    ----------
    x_cw, y_cw, x_ccw, y_ccw : Real
        Errors of the clockwise squares, and of the counter-clockwise squares [m].
    """

    x_cw: Real
    y_cw: Real
    x_ccw: Real
    y_ccw: Real


class SystematicErrors(NamedTuple):
    """What is wrong with the odometry of two parallel wheels.

    Parameters
    ----------
    alpha, beta : Array
        Error of each turn through a right angle, and of heading gathered on each straight side [rad].
    track_ratio, diameter_ratio : Array
        True track over nominal track; right wheel's true diameter over the left one's [-].
    """

    alpha: Array
    beta: Array
    track_ratio: Array
    diameter_ratio: Array


def systematic_errors(errors: SquareErrors, side: Real, track: Real) -> SystematicErrors:
    """Wheel and track errors from the end points of squares.

    Parameters
    ----------
    errors : SquareErrors
        Mean end-point errors [m].
    side, track : Real
        Side of the square; nominal track [m].

    Returns
    -------
    SystematicErrors
        Error angles [rad], ratio of tracks and ratio of wheel diameters [-].

    Raises
    ------
    ValueError
        If side or track is not positive, an error is not finite, or the curve found is tighter than half the track.

    Notes
    -----
    alpha = -(x_cw + x_ccw)/(4 L) and the same from (y_cw - y_ccw); beta = -(x_cw - x_ccw)/(4 L) and the same from
    (y_cw + y_ccw): each is found twice, and the mean is taken. The curve's radius is (L/2)/sin(beta/2), so that
    D_R/D_L = (R + b/2)/(R - b/2), and b_true/b = 90/(90 - alpha) in degrees. To first order in the error angles;
    at 2 degrees good to a few percent of them. Written from memory, checked against a simulated drive.

    References
    ----------
    borenstein1996: type A and type B errors, horizontal and vertical superposition.
    """
    require.positive(side=side, track=track)
    if not all(np.all(np.isfinite(each)) for each in errors):
        msg = f"errors must be finite, got {errors}"
        raise ValueError(msg)
    x_cw, y_cw, x_ccw, y_ccw = (np.asarray(each, dtype=np.float64) for each in errors)
    around = -4.0 * np.asarray(side)
    alpha = 0.5 * ((x_cw + x_ccw) + (y_cw - y_ccw)) / around
    beta = 0.5 * ((x_cw - x_ccw) + (y_cw + y_ccw)) / around
    lean = np.asarray(track) * np.sin(0.5 * beta) / side
    if not np.all(np.abs(lean) < 1.0):
        msg = f"errors must mean a curve wider than the track, got beta = {beta!r} rad"
        raise ValueError(msg)
    return SystematicErrors(alpha, beta, 0.5 * np.pi / (0.5 * np.pi - alpha), (1.0 + lean) / (1.0 - lean))


def worst_offset(errors: SquareErrors) -> Array:
    """Larger of the two mean end-point errors, the test's one figure for systematic error.

    Parameters
    ----------
    errors : SquareErrors
        Mean end-point errors [m].

    Returns
    -------
    Array
        The distance [m].

    References
    ----------
    borenstein1996: E_max,syst.
    """
    return np.asarray(np.maximum(np.hypot(errors.x_cw, errors.y_cw), np.hypot(errors.x_ccw, errors.y_ccw)))
