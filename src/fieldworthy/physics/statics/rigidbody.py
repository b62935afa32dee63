"""Mass, centre and inertia of a body of cuboids, and what weighing it on its wheels tells.

Arrays carry structure first and cases last: masses ``(k, *cases)``, positions and sizes ``(k, 3, *cases)``,
a vector ``(3, *cases)``, a tensor ``(3, 3, *cases)``. ``cases`` may be empty, ``(n,)`` or ``(poses, n)``.
Axes follow ISO 8855: x forward, y left, z up.

Angles are positive nose up. Wheels are round and stand under their axles however the robot is pitched.

Caution: a robot on blocks or tilted by hand can fall. Motors off, two people, hands clear of pinch points.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require


@dataclass(frozen=True, slots=True)
class RigidBody:
    """A rigid body: what a group of parts weighs, where it balances and how it resists turning.

    Parameters
    ----------
    mass, cg : Mass [kg], shape ``cases``; centre of gravity [m], shape ``(3, *cases)``
    inertia : Inertia tensor about the centre of gravity [kg m2], shape ``(3, 3, *cases)``; products of inertia with
        their minus sign, so that the matrix is the tensor

    References
    ----------
    meriam_dynamics: appendix on mass moments of inertia.
    iso8855: axes.
    """

    mass: Array
    cg: Array
    inertia: Array


def lift(values: npt.ArrayLike, lead: int, trailing: int) -> Array:
    """Insert axes of length one after the structure axes, so that cases line up at the end.

    Cases broadcast from the right, as in numpy.

    Parameters
    ----------
    values : Numbers with ``lead`` axes of structure and any axes of cases [any unit]
    lead, trailing : Axes of structure [-]; axes of cases wanted [-]

    Returns
    -------
    The same numbers with ``lead + trailing`` axes [any unit].

    Raises
    ------
    ValueError : Fewer axes than the structure has

    References
    ----------
    iso8855: axes.
    """
    array = np.asarray(values, dtype=np.float64)
    missing = trailing - (array.ndim - lead)
    if array.ndim < lead:
        raise ValueError(f"expected at least {lead} axes, got shape {array.shape}")
    return array.reshape(array.shape[:lead] + (1,) * missing + array.shape[lead:]) if missing > 0 else array


def _tensor(xx: Array, yy: Array, zz: Array, products: tuple[Array, Array, Array]) -> Array:
    """Stack six components to a symmetric tensor; products are its xy, xz and yz entries."""
    xy, xz, yz = products
    shape = np.broadcast_shapes(*(np.shape(a) for a in (xx, yy, zz, xy, xz, yz)))
    out = np.empty((3, 3, *shape))
    out[0, 0], out[1, 1], out[2, 2] = xx, yy, zz
    out[0, 1] = out[1, 0] = xy
    out[0, 2] = out[2, 0] = xz
    out[1, 2] = out[2, 1] = yz
    return out


def assemble(mass: npt.ArrayLike, position: npt.ArrayLike, size: npt.ArrayLike) -> RigidBody:
    """Assemble homogeneous cuboids, edges along the axes, to one body.

    I_xx = sum m (b_y^2 + b_z^2)/12 + m (y^2 + z^2), I_xy = -sum m x y, then moved from the origin to the
    centre of gravity. Exact for cuboids; a real part is lumpier, so give an odd part as several cuboids.

    Parameters
    ----------
    mass, position : Mass of each part [kg], shape ``(k, *cases)``; centre of each part [m], shape ``(k, 3, *cases)``
    size : Edges of each part [m], shape ``(k, 3, *cases)``; zeros make a point mass

    Returns
    -------
    Mass [kg], centre of gravity [m] and inertia about it [kg m2].

    Raises
    ------
    ValueError : A negative mass or edge, no mass at all, or a shape that is not ``(k, 3, ...)``

    References
    ----------
    meriam_dynamics: rectangular parallelepiped; parallel-axis theorem.
    """
    trailing = max(np.ndim(mass) - 1, np.ndim(position) - 2, np.ndim(size) - 2)
    m, r, b = lift(mass, 1, trailing), lift(position, 2, trailing), lift(size, 2, trailing)
    if r.shape[1] != 3 or b.shape[1] != 3:
        raise ValueError("position and size need the shape (parts, 3, cases)")
    if np.any(m < 0.0) or np.any(b < 0.0):
        raise ValueError("a part has a negative mass or a negative size")
    total = m.sum(axis=0)
    if np.any(total <= 0.0):
        raise ValueError("the parts have no mass")
    mr = m[:, None] * r
    cg = mr.sum(axis=0) / total
    second = np.einsum("kc...,kc...->c...", mr, r) + np.einsum("k...,kc...,kc...->c...", m, b, b) / 12.0
    xy, xz, yz = (np.einsum("k...,k...->...", mr[:, i], r[:, j]) for i, j in ((0, 1), (0, 2), (1, 2)))
    about_origin = _tensor(second[1] + second[2], second[0] + second[2], second[0] + second[1], (-xy, -xz, -yz))
    return RigidBody(total, cg, about_origin - point_inertia(total, cg))


def point_inertia(mass: Real, offset: npt.ArrayLike) -> Array:
    """Inertia tensor of a point mass: the term that the parallel-axis theorem adds.

    m (|d|^2 E - d d^T).

    Parameters
    ----------
    mass : Mass [kg], shape ``cases``
    offset : From the reference point to the mass [m], shape ``(3, *cases)``

    Returns
    -------
    Inertia tensor [kg m2], shape ``(3, 3, *cases)``.

    References
    ----------
    meriam_dynamics: parallel-axis theorem.
    """
    x, y, z = np.asarray(offset, dtype=np.float64)
    mx, my, mz = mass * x, mass * y, mass * z
    xx, yy, zz = mx * x, my * y, mz * z
    return _tensor(yy + zz, xx + zz, xx + yy, (-mx * y, -mx * z, -my * z))


def inertia_about(body: RigidBody, point: npt.ArrayLike) -> Array:
    """Inertia tensor of a body about any point.

    I_P = I_CG + m (|d|^2 E - d d^T).

    Parameters
    ----------
    body : The body [kg, m, kg m2]
    point : The point [m], shape ``(3, *cases)``

    Returns
    -------
    Inertia tensor [kg m2], shape ``(3, 3, *cases)``.

    References
    ----------
    meriam_dynamics: parallel-axis theorem.
    """
    trailing = max(body.cg.ndim - 1, np.ndim(point) - 1)
    moved = point_inertia(body.mass, lift(body.cg, 1, trailing) - lift(point, 1, trailing))
    return lift(body.inertia, 2, trailing) + moved


def combine(bodies: Sequence[RigidBody]) -> RigidBody:
    """Join bodies rigidly to one.

    Masses add, first moments add, and each inertia is moved to the common centre of gravity first. So a pose
    is cheap: each group of parts is assembled once, then moved, then combined.

    Parameters
    ----------
    bodies : One or more bodies in the same axes [kg, m, kg m2]

    Returns
    -------
    The whole [kg, m, kg m2].

    Raises
    ------
    ValueError : No body at all

    References
    ----------
    meriam_dynamics: parallel-axis theorem.
    """
    if not bodies:
        raise ValueError("there is no body to combine")
    trailing = max(b.cg.ndim - 1 for b in bodies)
    mass = np.asarray(sum(b.mass for b in bodies), dtype=np.float64)
    cg = sum(b.mass * lift(b.cg, 1, trailing) for b in bodies) / mass
    return RigidBody(mass, cg, np.asarray(sum(inertia_about(b, cg) for b in bodies)))


def translate(body: RigidBody, shift: npt.ArrayLike) -> RigidBody:
    """Move a body without turning it, as a lift does.

    The inertia about the centre of gravity does not change.

    Parameters
    ----------
    body : The body [kg, m, kg m2]
    shift : Displacement [m], shape ``(3, *cases)``

    Returns
    -------
    The body in its new place [kg, m, kg m2].

    References
    ----------
    meriam_dynamics: parallel-axis theorem.
    """
    trailing = max(body.cg.ndim, np.ndim(shift)) - 1
    return RigidBody(body.mass, lift(body.cg, 1, trailing) + lift(shift, 1, trailing), body.inertia)


def rotate_y(body: RigidBody, angle: Real, pivot: npt.ArrayLike) -> RigidBody:
    """Turn a body about a crosswise axis, as an arm turns on its pivot.

    x' = x cos + z sin, z' = -x sin + z cos from the pivot; the tensor becomes R I R^T.

    Parameters
    ----------
    body : The body [kg, m, kg m2]
    angle : Angle about +y [rad], shape ``cases``; positive carries the front down
    pivot : A point of the axis [m], shape ``(3, *cases)``

    Returns
    -------
    The turned body [kg, m, kg m2].

    References
    ----------
    iso8855: positive pitch about +y.
    """
    trailing = max(body.cg.ndim - 1, np.ndim(angle), np.ndim(pivot) - 1)
    c, s = np.cos(angle), np.sin(angle)
    about = lift(pivot, 1, trailing)
    x, y, z = lift(body.cg, 1, trailing) - about
    cg = np.stack(np.broadcast_arrays(x * c + z * s, y, z * c - x * s)) + about
    inertia = lift(body.inertia, 2, trailing)
    xx, yy, zz = inertia[0, 0], inertia[1, 1], inertia[2, 2]
    xy, xz, yz = inertia[0, 1], inertia[0, 2], inertia[1, 2]
    turned = _tensor(
        c * c * xx + 2.0 * c * s * xz + s * s * zz,
        yy,
        s * s * xx - 2.0 * c * s * xz + c * c * zz,
        (c * xy + s * yz, c * s * (zz - xx) + (c * c - s * s) * xz, c * yz - s * xy),
    )
    return RigidBody(body.mass, cg, turned)


def axis_inertia(inertia: Array, axis: npt.ArrayLike) -> Array:
    """Moment of inertia about an axis through the tensor's reference point.

    e^T I e.

    Parameters
    ----------
    inertia : Inertia tensor [kg m2], shape ``(3, 3, *cases)``
    axis : Unit vector along the axis [-], shape ``(3, *cases)``

    Returns
    -------
    Moment of inertia [kg m2], shape ``cases``.

    References
    ----------
    meriam_dynamics: moment of inertia about an arbitrary axis.
    """
    trailing = max(inertia.ndim - 2, np.ndim(axis) - 1)
    e = lift(axis, 1, trailing)
    return np.asarray(np.einsum("a...,ab...,b...->...", e, lift(inertia, 2, trailing), e))


def pitch_of_lift(base: Real, lift: Real, rise: Real = 0.0) -> Array:
    """Pitch of a robot whose front wheels stand higher than its rear wheels.

    ``base sin(a) + rise cos(a) = lift + rise``, solved exactly. For like wheels ``sin(a) = lift / base``.

    Parameters
    ----------
    base : Distance between front and rear axle, level [m]
    lift : How much higher the front wheels stand; negative where the rear wheels are raised [m]
    rise : How much higher the front axle lies than the rear one while the robot is level, for unlike wheels [m]

    Returns
    -------
    Pitch, nose up [rad].

    Raises
    ------
    ValueError : If the base is not positive, or the lift is more than the robot is long

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

    ``x cos(a) - z sin(a)``; the loads of the wheels balance the weight in these places.

    Parameters
    ----------
    x, z : The point on the level robot, forward and up [m]
    pitch : Nose up [rad]

    Returns
    -------
    Place along the floor, from the plumb line through the robot's own origin [m].

    References
    ----------
    meriam_statics: equilibrium of moments.
    """
    return np.asarray(x * np.cos(pitch) - z * np.sin(pitch))


def balance_tilt(reach: Real, height: Real, radius: Real = 0.0) -> Array:
    """Tilt at which a robot balances over the wheels of one side.

    ``tan(a) = reach / (height - radius)``.

    Parameters
    ----------
    reach : From the centre of gravity out to the axle, or to the edge it tilts over, level [m]
    height : Height of the centre of gravity above the floor, level [m]
    radius : Of the wheels, where it rolls over them: it balances over their axle; 0 for an edge that stays where it is
        [m]

    Returns
    -------
    Tilt from level [rad].

    Raises
    ------
    ValueError : If the centre of gravity is not above the axle or edge

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

    Sum and two moments give three equations. Three wheels share the weight as they must; of four or more the smallest
    loads that balance it are taken, plus the preload of a twisted frame or of an uneven floor.

    Parameters
    ----------
    places : Where each wheel touches the floor, shape ``(*cases, k, 2)`` [m]
    weight : What the wheels carry together, shape ``cases`` [kg or N]
    x, y : Where its centre presses on the floor, shape ``cases`` [m]
    preload : Shape ``(*cases, k)``; the part of it that changes neither sum nor moments is laid on top [as weight]

    Returns
    -------
    Load on each wheel, shape ``(*cases, k)`` [as weight].

    Raises
    ------
    numpy.linalg.LinAlgError : If the wheels stand in one line

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
