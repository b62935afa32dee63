"""Weighing on wheels: how a raised end pitches the robot, and the tilt at which it balances over its wheels.

Angles are positive nose up. Wheels are round and stand under their axles however the robot is pitched.

Caution: a robot on blocks or tilted by hand can fall. Motors off, two people, hands clear of pinch points.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require


def pitch_of_lift(base: Real, lift: Real, rise: Real = 0.0) -> Array:
    """Pitch of a robot whose front wheels stand higher than its rear wheels.

    Parameters
    ----------
    base : Real
        Distance between front and rear axle, level [m].
    lift : Real
        How much higher the front wheels stand; negative where the rear wheels are raised [m].
    rise : Real
        How much higher the front axle lies than the rear one while the robot is level, for unlike wheels [m].

    Returns
    -------
    Array
        Pitch, nose up [rad].

    Raises
    ------
    ValueError
        If the base is not positive, or the lift is more than the robot is long.

    Notes
    -----
    ``base sin(a) + rise cos(a) = lift + rise``, solved exactly. For like wheels ``sin(a) = lift / base``.

    References
    ----------
    meriam_statics: geometry.
    """
    require.positive(base=base)
    length = np.hypot(base, rise)
    share = (np.asarray(lift) + rise) / length
    if not np.all(np.abs(share) < 1.0):
        msg = f"lift must be less than the distance between the axles, got {lift} and {base} m"
        raise ValueError(msg)
    return np.asarray(np.arcsin(share) - np.arctan2(rise, base))


def plumb_place(x: Real, z: Real, pitch: Real) -> Array:
    """Where a plumb line through a point of the pitched robot meets the floor, along the robot's way.

    Parameters
    ----------
    x, z : Real
        The point on the level robot, forward and up [m].
    pitch : Real
        Nose up [rad].

    Returns
    -------
    Array
        Place along the floor, from the plumb line through the robot's own origin [m].

    Notes
    -----
    ``x cos(a) - z sin(a)``; the loads of the wheels balance the weight in these places.

    References
    ----------
    meriam_statics: equilibrium of moments.
    """
    return np.asarray(x * np.cos(pitch) - z * np.sin(pitch))


def balance_tilt(reach: Real, height: Real, radius: Real = 0.0) -> Array:
    """Tilt at which a robot balances over the wheels of one side.

    Parameters
    ----------
    reach : Real
        From the centre of gravity out to the axle, or to the edge it tilts over, level [m].
    height : Real
        Height of the centre of gravity above the floor, level [m].
    radius : Real
        Of the wheels, where it rolls over them: it balances over their axle; 0 for an edge that stays where it
        is [m].

    Returns
    -------
    Array
        Tilt from level [rad].

    Raises
    ------
    ValueError
        If the centre of gravity is not above the axle or edge.

    Notes
    -----
    ``tan(a) = reach / (height - radius)``.

    References
    ----------
    meriam_statics: equilibrium over a pivot.
    """
    above = np.asarray(height) - radius
    if not np.all(above > 0.0):
        msg = f"height must be above what it tilts over, got {height} and {radius} m"
        raise ValueError(msg)
    return np.asarray(np.arctan2(reach, above))


def wheel_loads(places: Array, weight: Real, x: Real, y: Real, preload: Array) -> Array:
    """Load on each wheel of a standing robot, for a preload that only its stiffness decides.

    Parameters
    ----------
    places : Array
        Where each wheel touches the floor, shape ``(*cases, k, 2)`` [m].
    weight : Real
        What the wheels carry together, shape ``cases`` [kg or N].
    x, y : Real
        Where its centre presses on the floor, shape ``cases`` [m].
    preload : Array
        Shape ``(*cases, k)``; the part of it that changes neither sum nor moments is laid on top [as weight].

    Returns
    -------
    Array
        Load on each wheel, shape ``(*cases, k)`` [as weight].

    Raises
    ------
    numpy.linalg.LinAlgError
        If the wheels stand in one line.

    Notes
    -----
    Sum and two moments give three equations. Three wheels share the weight as they must; of four or more the smallest
    loads that balance it are taken, plus the preload of a twisted frame or of an uneven floor.

    References
    ----------
    meriam_statics: equilibrium of a body on supports.
    """
    rows = np.ones((*places.shape[:-2], 3, places.shape[-2]))
    rows[..., 1:, :] = np.swapaxes(places, -1, -2)
    wanted = -rows @ preload[..., None]
    for i, part in enumerate((weight, weight * x, weight * y)):
        wanted[..., i, 0] += part
    turned = np.swapaxes(rows, -1, -2)
    return np.asarray(preload + (turned @ np.linalg.solve(rows @ turned, wanted))[..., 0])
