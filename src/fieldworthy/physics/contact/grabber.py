"""An arm with a hook that reaches down to a lip, and what it takes to slide, tip or right an object.

Side view: x from the robot towards the object, z up, heights from the floor. The robot may tip before the
object does; stay clear of both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import TINY, ratio, refuse, refuse_unsized


def hook_tip(pivot_height: Real, length: Real, angle: Real) -> tuple[Array, Array]:
    """Return where the hook is.

    Parameters
    ----------
    pivot_height, length : Height of the arm's pivot; from pivot to the hook's tip [m]
    angle : Angle of that line from x upwards, negative below the pivot [rad]

    Returns
    -------
    tuple of Array
        Reach ahead of the pivot, and height above the floor [m].
    """
    return np.asarray(length * np.cos(angle)), np.asarray(pivot_height + length * np.sin(angle))


def hook_depth(lip_top: Real, tip_height: Real, lip_depth: Real) -> Array:
    """Return how far the hook reaches down behind a lip.

    Parameters
    ----------
    lip_top, tip_height, lip_depth : Height of the lip's upper edge; height of the hook's tip; free depth behind the lip
        [m]

    Returns
    -------
    Overlap, at most the free depth; negative where the tip passes above the lip [m].
    """
    return np.minimum(np.subtract(lip_top, tip_height), lip_depth)


@dataclass(frozen=True, slots=True)
class Standing:
    """An object or a robot that stands on the floor, seen from the side.

    Parameters
    ----------
    weight, cg_height : Its weight [N]; height of its centre of gravity [m]
    half_base : From below that centre to the edge it would tip over, in the direction of the push [m]
    friction : Coefficient of friction on the floor [-]

    Raises
    ------
    ValueError : If a scalar weight, height or base is not positive, or the friction is negative
    """

    weight: Real
    cg_height: Real
    half_base: Real
    friction: Real

    def __post_init__(self) -> None:
        refuse_unsized(weight=self.weight, cg_height=self.cg_height, half_base=self.half_base)
        refuse(np.asarray(self.friction) >= 0.0, lambda: f"friction must not be negative, got {self.friction!r}")


def force_to_tip(body: Standing, height: Real, elevation: Real = 0.0, ahead: Real = 0.0) -> Array:
    """Return the force that starts to tip a body.

    Moments about the edge: F (h cos(e) + (b - a) sin(e)) = W b.

    Parameters
    ----------
    body : The body, kept from sliding
    height, elevation : Height of the push or pull [m]; its direction above the horizontal [rad]
    ahead : How far in front of the centre of gravity, in the push's direction, it acts [m]

    Returns
    -------
    Force [N], infinite where it cannot tip the body over that edge.

    References
    ----------
    meriam_statics: dry friction, slip or tip.
    """
    lever = np.asarray(height) * np.cos(elevation) + (np.asarray(body.half_base) - ahead) * np.sin(elevation)
    return ratio(np.asarray(body.weight) * body.half_base, lever)


def force_to_slide(body: Standing, elevation: Real = 0.0) -> Array:
    """Return the force that starts to slide a body.

    F cos(e) = mu (W - F sin(e)).

    Parameters
    ----------
    body : The body
    elevation : Direction of the force above the horizontal [rad]

    Returns
    -------
    Force [N], infinite where pressing it down only holds it.

    References
    ----------
    meriam_statics: dry friction.
    """
    mu = np.asarray(body.friction)
    return ratio(mu * body.weight, np.cos(elevation) + mu * np.sin(elevation))


def moment_to_tip(body: Standing) -> Array:
    """Return the moment about its edge that starts to tip a body.

    Parameters
    ----------
    body : The body

    Returns
    -------
    Moment, weight times half base [N m]; it falls to zero at the balance point.
    """
    return np.asarray(np.asarray(body.weight) * body.half_base)


def moment_to_right(body: Standing) -> Array:
    """Return the moment about its edge that starts to set a body upright that lies on its side.

    Parameters
    ----------
    body : The body, described as it stands

    Returns
    -------
    Moment, weight times the height that its centre of gravity has when it stands [N m].
    """
    return np.asarray(np.asarray(body.weight) * body.cg_height)


def tip_angle(body: Standing) -> Array:
    """Return the tilt from standing at which a body is balanced on its edge.

    Parameters
    ----------
    body : The body

    Returns
    -------
    Tilt [rad]; to right it from its side takes the complement.
    """
    return np.arctan2(body.half_base, body.cg_height)


_ANGLES = 25


@dataclass(frozen=True, slots=True)
class Way:
    """A body on its way over an edge, from where it stands to its balance point.

    Parameters
    ----------
    rise : How far the point of the force has risen, angles on the leading axis [m]
    ahead : How far that point has moved in the push's direction [m]
    lever, weight_lever : Of a unit force forward and of one upward about the edge [m]; and of the weight [m]
    """

    rise: Array
    ahead: Array
    lever: tuple[Array, Array]
    weight_lever: Array


def way_over(body: Standing, height: Real, ahead: Real = 0.0) -> Way:
    """Follow a body as it turns over its edge.

    Parameters
    ----------
    body : The body
    height : Height of the point at which it is pushed or pulled, as it stands [m]
    ahead : How far that point is in front of the centre of gravity, in the push's direction [m]

    Returns
    -------
    At 25 angles up to the balance point, where the weight has no lever any more [-].

    References
    ----------
    plane-geometry: rotation about the edge.
    """
    shape = np.broadcast_shapes(*(np.shape(v) for v in (body.cg_height, body.half_base, height, ahead)))
    share = np.linspace(0.0, 1.0, _ANGLES).reshape((-1,) + (1,) * len(shape))
    angle = share * tip_angle(body)
    sin, cos = np.sin(angle), np.cos(angle)
    x, z = np.asarray(ahead) - body.half_base, np.asarray(height)
    across, up = x * cos + z * sin, z * cos - x * sin
    weight = np.maximum(body.half_base * cos - body.cg_height * sin, 0.0)
    return Way(np.asarray(up - z), np.asarray(across - x), (np.asarray(up), np.asarray(-across)), np.asarray(weight))


def force_over_way(body: Standing, way: Way, elevation: Real = 0.0) -> Array:
    """Return the largest force that it takes on the way to the balance point.

    Parameters
    ----------
    body : The body
    way : Its way, from `way_over`
    elevation : Direction of the force above the horizontal, angles on the leading axis where it turns along [rad]

    Returns
    -------
    Force [N], infinite where at some angle it has no lever any more.

    References
    ----------
    meriam_statics: equilibrium about the edge, at every angle.
    """
    lever = way.lever[0] * np.cos(elevation) + way.lever[1] * np.sin(elevation)
    forces = ratio(np.asarray(body.weight) * way.weight_lever, lever)
    forces = np.where(way.weight_lever > TINY, forces, 0.0)
    return np.asarray(np.max(forces, axis=0))


@dataclass(frozen=True, slots=True)
class Given:
    """The greatest force of a robot at its hook, and what limits it.

    Parameters
    ----------
    force, by_drive, by_grip : The force; what its arm or drive gives; what its wheels grip [N]
    by_tipping : What tips the robot itself [N]
    """

    force: Array
    by_drive: Array
    by_grip: Array
    by_tipping: Array


def available_force(robot: Standing, drive: Real, height: Real, elevation: Real = 0.0, ahead: Real = 0.0) -> Given:
    """Return the greatest force that a robot can put on an object at its hook.

    The object pushes back with the same force; the robot slides or tips under it as any body does. An object
    that is lifted pulls the hook down: a negative elevation.

    Parameters
    ----------
    robot : The robot, its base measured to the edge that the reaction would tip it over
    drive, height : Force that the arm or the drive could give at the hook [N]; height of the hook [m]
    elevation : Direction of the reaction on the robot above the horizontal, seen in its own sense [rad]
    ahead : How far in front of the robot's centre of gravity, in the reaction's direction, the hook is [m]

    Returns
    -------
    The least of drive, grip and tipping, with all three [N].
    """
    tip, grip = force_to_tip(robot, height, elevation, ahead), force_to_slide(robot, elevation)
    given = np.asarray(drive, dtype=float)
    return Given(np.minimum(np.minimum(given, grip), tip), given, grip, tip)
