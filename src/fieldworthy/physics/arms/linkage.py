"""A cylinder-driven arm: where its rocker goes, and the torques on its pivot.

The two pins and the pivot are a triangle, so the cylinder's length gives the included angle by the law of
cosines. Planes are seen with x forward and z up, angles from x towards z (raising is positive).

Cases trail and stroke points lead: a pose of ``points`` stroke points over a batch of n cases has the shape
``(points, n)``. An impossible scalar raises ValueError; in a batch ``reachable`` is the mask, and an
impossible case keeps the nearest pose that exists, so that nothing here is ever not a number.

Keep fingers out: every linkage is a pinch point, and a raised arm stores energy.

Torques are about the pivot, positive where they raise the arm (x towards z). Stroke points lead, cases trail.
What a cylinder can push and pull is given as plain numbers [N], at each point if it varies with the stroke.

Bands, springs and raised arms store energy: let it out before anyone reaches in, and keep clear of the swing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import SMALL, TINY, ratio, refuse, refuse_unsized

STROKE_POINTS = 33
"""Points along a stroke, ends included: fine enough for a least margin within 1 % where no dead point is near."""


@dataclass(frozen=True, slots=True)
class Rocker:
    """An arm on a pivot, swung by a cylinder between a fixed pin and a pin on the arm.

    In a batch nothing is refused: ask `reachable`.

    Parameters
    ----------
    base, radius : Distance from pivot to the cylinder's fixed pin [m]; distance from pivot to the arm's pin [m]
    closed : Pin to pin length of the retracted cylinder [m]; more than the stroke, which has to fit inside it
    stroke, base_angle : Stroke of the cylinder [m]; direction from pivot to the fixed pin [rad]
    pin_angle : Angle on the arm from its own axis to its pin [rad]
    branch : +1 where the arm's pin lies ahead (x towards z) of the fixed pin and extending raises the arm, -1 where it
        lies behind and extending lowers it [-]

    Raises
    ------
    ValueError : If a scalar length is not positive, the closed length does not exceed the stroke, or the pins are
        nowhere along the stroke a distance apart that the cylinder can span

    References
    ----------
    uicker: position analysis by the law of cosines.
    """

    base: Real
    radius: Real
    closed: Real
    stroke: Real
    base_angle: Real = 0.0
    pin_angle: Real = 0.0
    branch: Real = 1.0

    def __post_init__(self) -> None:
        refuse_unsized(base=self.base, radius=self.radius, closed=self.closed, stroke=self.stroke)
        refuse(
            np.asarray(self.closed) > self.stroke,
            lambda: f"closed {self.closed!r} m must exceed stroke {self.stroke!r} m: the rod must fit in the barrel",
        )
        refuse(
            _spans(self),
            lambda: (
                f"base {self.base!r} m and radius {self.radius!r} m: the pins are never as far apart as the "
                f"cylinder is long ({self.closed!r} m closed, {self.stroke!r} m stroke)"
            ),
        )
        refuse(np.abs(self.branch) == 1.0, lambda: f"branch must be 1 or -1, got {self.branch!r}")


@dataclass(frozen=True, slots=True)
class Pose:
    """Poses of a rocker: stroke points lead, cases trail.

    Parameters
    ----------
    rocker : The arm and its cylinder [-]
    length : The cylinder's length between its pins [m]
    moment_arm : Lever of the cylinder's force about the pivot, dL/dangle, zero at a dead point [m]
    cos_arm, sin_arm : Cosine of the arm's angle [-]; sine of the arm's angle [-]
    """

    rocker: Rocker
    length: Array
    moment_arm: Array
    cos_arm: Array
    sin_arm: Array

    @property
    def extension(self) -> Array:
        """How far the cylinder is out [m]."""
        return np.asarray(self.length - self.rocker.closed)

    @property
    def angle(self) -> Array:
        """The arm's angle from x towards z, -pi to pi [rad]."""
        return np.arctan2(self.sin_arm, self.cos_arm)

    @property
    def included(self) -> Array:
        """Angle at the pivot between the two pins, 0 to pi [rad]."""
        base, radius = np.asarray(self.rocker.base), np.asarray(self.rocker.radius)
        square = self.length**2
        return np.asarray(np.arctan2(2.0 * self.moment_arm * self.length, base**2 + radius**2 - square))


def _spans(rocker: Rocker) -> npt.NDArray[np.bool_]:
    """Tell where the triangle closes somewhere along the stroke."""
    near, far = np.abs(np.subtract(rocker.base, rocker.radius)), np.add(rocker.base, rocker.radius)
    return np.asarray((rocker.closed <= far) & (np.add(rocker.closed, rocker.stroke) >= near))


def reachable(rocker: Rocker) -> npt.NDArray[np.bool_]:
    """Tell which cases are a mechanism at all.

    A stroke that is cut short by a dead point is still reachable: see `usable_stroke` and `dead_points`.

    Parameters
    ----------
    rocker : The arm and its cylinder [-]

    Returns
    -------
    ndarray of bool
        True where every length is positive, the closed length exceeds the stroke, and the pins are within the
        cylinder's span at some point of the stroke [-]. Where false, every other function gives the nearest pose.
    """
    sized = np.minimum(np.minimum(rocker.base, rocker.radius), rocker.stroke) > 0.0
    return np.asarray(sized & (np.asarray(rocker.closed) > rocker.stroke) & _spans(rocker))


def usable_stroke(rocker: Rocker) -> tuple[Array, Array]:
    """Return the extensions between which the pins let the cylinder move.

    abs(base - radius) <= length <= base + radius. Both ends are equal where the pins are out of span.

    Parameters
    ----------
    rocker : The arm and its cylinder [-]

    Returns
    -------
    tuple of Array
        Least and greatest extension [m]: the whole stroke, unless a dead point stops it first.
    """
    near = np.abs(np.subtract(rocker.base, rocker.radius)) - rocker.closed
    far = np.add(rocker.base, rocker.radius) - rocker.closed
    low = np.clip(near, 0.0, rocker.stroke)
    return np.asarray(low), np.asarray(np.clip(far, low, rocker.stroke))


def dead_points(rocker: Rocker) -> tuple[Array, Array]:
    """Return how far inside the stroke the dead points lie, where the cylinder has no lever at all.

    The moment arm vanishes where base, radius and cylinder lie on one line. The arm's angles there are
    ``arm_angle(rocker, 0.0)`` and ``arm_angle(rocker, numpy.pi)``.

    Parameters
    ----------
    rocker : The arm and its cylinder [-]

    Returns
    -------
    tuple of Array
        Stroke lost beyond the folded dead point (pins on the same side of the pivot, included angle 0) and
        beyond the straight one (pivot between the pins, included angle pi) [m]; positive is inside the
        stroke, negative is the clearance that is left.
    """
    folded = np.abs(np.subtract(rocker.base, rocker.radius)) - rocker.closed
    straight = np.add(rocker.closed, rocker.stroke) - np.add(rocker.base, rocker.radius)
    return np.asarray(folded), np.asarray(straight)


def arm_angle(rocker: Rocker, included: Real) -> Array:
    """Return the arm's angle from the included angle at the pivot.

    Parameters
    ----------
    rocker : The arm and its cylinder [-]
    included : Angle at the pivot between the two pins, 0 to pi [rad]

    Returns
    -------
    The arm's angle from x towards z, not wrapped [rad].
    """
    return np.asarray(rocker.base_angle - np.asarray(rocker.pin_angle) + rocker.branch * np.asarray(included))


def cylinder_length(rocker: Rocker, angle: Real) -> Array:
    """Return the pin to pin length at an angle of the arm.

    L^2 = (base - radius)^2 + 4 base radius sin^2(included / 2), the law of cosines without its cancellation.

    Parameters
    ----------
    rocker : The arm and its cylinder [-]
    angle : The arm's angle from x towards z [rad]

    Returns
    -------
    Length between the pins [m], whether or not the cylinder can be so long.
    """
    included = np.asarray(angle) + rocker.pin_angle - rocker.base_angle
    across = 4.0 * np.asarray(rocker.base) * rocker.radius * np.sin(0.5 * included) ** 2
    return np.asarray(np.sqrt(np.subtract(rocker.base, rocker.radius) ** 2 + across))


def pose(rocker: Rocker, extension: Real) -> Pose:
    """Return the arm's pose at an extension of the cylinder.

    cos(included) = (b^2 + r^2 - L^2) / (2 b r); the sine comes from the triangle's area (Heron), which stays
    exact near dead points; moment arm dL/dangle = b r sin(included) / L.

    Parameters
    ----------
    rocker : The arm and its cylinder [-]
    extension : How far the cylinder is out [m]; held within `usable_stroke`

    Returns
    -------
    Angles as sines and cosines [-], length and moment arm [m].

    References
    ----------
    uicker: position analysis by the law of cosines; the moment arm by virtual work.
    """
    low, high = usable_stroke(rocker)
    return _pose(rocker, np.clip(extension, low, high))


def sweep(rocker: Rocker, points: int = STROKE_POINTS, axes: int = 0) -> Pose:
    """Return poses evenly along the usable stroke, first retracted, last extended.

    Parameters
    ----------
    rocker : The arm and its cylinder [-]
    points : Number of points, at least 2 [-]
    axes : Axes of cases to leave room for when the rocker is the same in all cases but its loads are not [-]

    Returns
    -------
    Arrays of shape ``(points, *cases)``, units as in `Pose` [-].
    """
    low, high = usable_stroke(rocker)
    room = max(axes, low.ndim, np.ndim(rocker.base_angle), np.ndim(rocker.pin_angle), np.ndim(rocker.branch))
    along = np.linspace(0.0, 1.0, points).reshape((points,) + (1,) * room)
    return _pose(rocker, low + along * (high - low))


def _pose(rocker: Rocker, extension: Array) -> Pose:
    """Solve the triangle."""
    b, r = np.asarray(rocker.base), np.asarray(rocker.radius)
    twice = np.maximum(2.0 * b * r, TINY)
    length = np.asarray(extension + rocker.closed)
    square = length * length
    area = np.sqrt(np.maximum(((b + r) ** 2 - square) * (square - (b - r) ** 2), 0.0))
    cosine = np.clip((b * b + r * r - square) / twice, -1.0, 1.0)
    lever = 0.5 * area / np.maximum(length, TINY)
    turn = np.asarray(rocker.base_angle) - rocker.pin_angle
    c, s = np.cos(turn), np.sin(turn)
    ahead = rocker.branch / twice
    return Pose(rocker, length, lever, cosine * c - area * (ahead * s), area * (ahead * c) + cosine * s)


def swing(rocker: Rocker) -> Array:
    """Return the angle through which the usable stroke swings the arm.

    Parameters
    ----------
    rocker : The arm and its cylinder [-]

    Returns
    -------
    Swing between the ends of the usable stroke [rad].
    """
    ends = sweep(rocker, 2).included
    return np.asarray(ends[1] - ends[0])


def _refuse_negative(name: str, value: Real) -> None:
    """Refuse a scalar below zero."""
    refuse(np.asarray(value) >= 0.0, lambda: f"{name} must not be negative, got {value!r}")


@dataclass(frozen=True, slots=True)
class Weight:
    """A weight carried by the arm.

    Parameters
    ----------
    force, radius : Its weight, mass times gravity [N]; distance of its centre of gravity from the pivot [m]
    angle : Angle on the arm from the arm's axis to that centre [rad]
    """

    force: Real
    radius: Real
    angle: Real = 0.0


@dataclass(frozen=True, slots=True)
class Elastic:
    """Springs, bands or tubing stretched between a fixed pin and a pin on the arm.

    Real latex is softer in the middle of its stretch than at the start and loses some force on the way back,
    so a measured force at the working length is better than a catalogue's stiffness. Stretched elastics whip
    when they break: eye protection.

    Parameters
    ----------
    fixed_radius, fixed_angle : Distance from pivot to the fixed pin [m]; direction from pivot to the fixed pin [rad]
    arm_radius, arm_angle : Distance from pivot to the pin on the arm [m]; angle on the arm from its axis to that pin
        [rad]
    free_length : Length between pins at which one strand just goes slack [m]
    stiffness, count : Force of one strand per metre of stretch, taken as linear [N/m]; strands side by side [-]

    Raises
    ------
    ValueError : If a scalar free length, stiffness or count is negative
    """

    fixed_radius: Real
    fixed_angle: Real
    arm_radius: Real
    arm_angle: Real
    free_length: Real
    stiffness: Real
    count: Real = 1.0

    def __post_init__(self) -> None:
        for name in ("free_length", "stiffness", "count"):
            value = getattr(self, name)
            _refuse_negative(name, value)


def weight_torque(weights: Iterable[Weight], cos_arm: Real, sin_arm: Real) -> Array:
    """Return the torque of the weights on the arm.

    Parameters
    ----------
    weights : What the arm carries, itself included [-]
    cos_arm, sin_arm : Cosine and sine of the arm's angle [-]

    Returns
    -------
    Torque, positive raising [N m].

    Notes
    -----
    -W r cos(angle + offset); one sine and cosine a case, none a point.
    """
    along: Real = 0.0
    across: Real = 0.0
    for w in weights:
        moment = np.asarray(w.force) * w.radius
        along = along + moment * np.cos(w.angle)
        across = across + moment * np.sin(w.angle)
    return np.asarray(across * np.asarray(sin_arm) - along * np.asarray(cos_arm))


def elastic_length(band: Elastic, cos_arm: Real, sin_arm: Real) -> tuple[Array, Array]:
    """Return the distance between a band's pins and half the rate of its square.

    Law of cosines with the angle between the two radii.

    Parameters
    ----------
    band : Pins and strands [-]
    cos_arm, sin_arm : Cosine and sine of the arm's angle [-]

    Returns
    -------
    tuple of Array
        Length D [m], and D dD/dangle [m2].
    """
    product = np.asarray(band.fixed_radius) * band.arm_radius
    apart = np.asarray(band.arm_angle) - band.fixed_angle
    c, s = product * np.cos(apart), product * np.sin(apart)
    across = s * np.asarray(cos_arm) + c * np.asarray(sin_arm)
    along = c * np.asarray(cos_arm) - s * np.asarray(sin_arm)
    square = np.square(band.fixed_radius) + np.square(band.arm_radius) - 2.0 * along
    return np.sqrt(np.maximum(square, 0.0)), across


def slack_angles(band: Elastic) -> tuple[Array, Array]:
    """Return the arm's angles at which a band just goes slack: there its torque has a kink.

    Law of cosines: cos(angle between the radii) = (f^2 + a^2 - L0^2) / (2 f a).

    Parameters
    ----------
    band : Pins [m, rad] and strands

    Returns
    -------
    tuple of Array
        Both angles [rad], not wrapped; where it never goes slack, those at which it is shortest or longest.
    """
    f, a = np.asarray(band.fixed_radius), np.asarray(band.arm_radius)
    cosine = (f * f + a * a - np.square(band.free_length)) / np.maximum(2.0 * f * a, TINY)
    apart, middle = np.arccos(np.clip(cosine, -1.0, 1.0)), np.asarray(band.fixed_angle) - band.arm_angle
    return np.asarray(middle - apart), np.asarray(middle + apart)


def elastic_torque(bands: Iterable[Elastic], cos_arm: Real, sin_arm: Real) -> Array:
    """Return the torque of the elastics on the arm.

    Parameters
    ----------
    bands : Springs, bands and tubing [-]
    cos_arm, sin_arm : Cosine and sine of the arm's angle [-]

    Returns
    -------
    Torque, positive raising [N m]; zero where slack.

    Notes
    -----
    -count k (D - L0) dD/dangle for D > L0.
    """
    total = np.zeros(np.broadcast_shapes(np.shape(cos_arm), np.shape(sin_arm)))
    for band in bands:
        length, rate = elastic_length(band, cos_arm, sin_arm)
        slack = np.minimum(np.asarray(band.free_length) / np.maximum(length, TINY) - 1.0, 0.0)
        total = total + (np.asarray(band.count) * band.stiffness) * (rate * slack)
    return total


def passive_torque(at: Pose, weights: Iterable[Weight] = (), bands: Iterable[Elastic] = ()) -> Array:
    """Return the torque that the arm feels without its drive.

    Parameters
    ----------
    at : Poses along the stroke [-]
    weights : What the arm carries, itself included [-]
    bands : Elastic assist [-]

    Returns
    -------
    Torque, positive raising [N m].
    """
    total = weight_torque(weights, at.cos_arm, at.sin_arm)
    bands = tuple(bands)
    return total + elastic_torque(bands, at.cos_arm, at.sin_arm) if bands else total


@dataclass(frozen=True, slots=True)
class Drive:
    """What the cylinder gives and what friction takes.

    Parameters
    ----------
    push : Force extending, at the cylinder's pressure, friction of its seals not yet taken off [N]
    pull : Force retracting, likewise; zero for a single-acting cylinder without a spring [N]
    efficiency : Share of that force which reaches the pin in motion, 0 to 1 [-]
    friction_torque : Friction of the pivot, against either motion [N m]

    Raises
    ------
    ValueError : If a scalar force or friction is negative, or the efficiency is outside 0 to 1

    References
    ----------
    practice: seals take 5 to 20 % of a small cylinder's force (common practice, no source).
    """

    push: Real
    pull: Real = 0.0
    efficiency: Real = 1.0
    friction_torque: Real = 0.0

    def __post_init__(self) -> None:
        for name in ("push", "pull", "friction_torque"):
            value = getattr(self, name)
            _refuse_negative(name, value)
        e = np.asarray(self.efficiency)
        refuse((e >= 0.0) & (e <= 1.0), lambda: f"efficiency must lie from 0 to 1, got {self.efficiency!r}")


@dataclass(frozen=True, slots=True)
class Balance:
    """The cylinder weighed against everything else along the stroke, both ways.

    By virtual work the cylinder's torque is force times dL/dangle; extending raises the arm on branch +1.
    Torques below are in the direction of motion.

    Parameters
    ----------
    pose : Poses along the stroke, from ``linkage.sweep`` [-]
    drive : Forces and friction [-]
    passive : Torque of weights and elastics at those poses, positive raising [N m]

    References
    ----------
    meriam_statics: virtual work.
    """

    pose: Pose
    drive: Drive
    passive: Array

    @property
    def available_out(self) -> Array:
        """Torque of the cylinder extending [N m]."""
        return np.asarray(self.pose.moment_arm * (np.asarray(self.drive.push) * self.drive.efficiency))

    @property
    def available_in(self) -> Array:
        """Torque of the cylinder retracting [N m]."""
        return np.asarray(self.pose.moment_arm * (np.asarray(self.drive.pull) * self.drive.efficiency))

    @property
    def demand_out(self) -> Array:
        """Torque asked of it to extend, negative where the load helps [N m]."""
        return np.asarray(self.drive.friction_torque - self.pose.rocker.branch * self.passive)

    @property
    def demand_in(self) -> Array:
        """Torque asked of it to retract, negative where the load helps [N m]."""
        return np.asarray(self.drive.friction_torque + self.pose.rocker.branch * self.passive)

    @property
    def use_out(self) -> Array:
        """Share of the extending force in use at each point, negative where the load helps [-]."""
        return np.asarray(self.demand_out / np.maximum(self.available_out, SMALL))

    @property
    def use_in(self) -> Array:
        """Share of the retracting force in use at each point, negative where the load helps [-]."""
        return np.asarray(self.demand_in / np.maximum(self.available_in, SMALL))


def rest_torque(rocker: Rocker, passive: Array, friction_torque: Real = 0.0) -> tuple[Array, Array]:
    """Return how hard the arm rests on its end stops with no air: an over-centre hold where positive.

    A hold by friction alone shakes loose; count on it only where the geometry alone already holds.

    Parameters
    ----------
    rocker : The arm and its cylinder [-]
    passive : Torque of weights and elastics along the stroke, positive raising [N m]
    friction_torque : Friction of the pivot that may be counted on to hold [N m]

    Returns
    -------
    tuple of Array
        Torque onto the retracted and the extended stop [N m]; where negative the arm drifts off when air is let out.
    """
    along = rocker.branch * np.asarray(passive)
    return np.asarray(friction_torque - along[0]), np.asarray(friction_torque + along[-1])


def reflected_mass(inertia: Real, moment_arm: Real) -> Array:
    """Return the mass that the cylinder's rod feels.

    Equal kinetic energy: m = I / arm^2. The change of lever along the stroke is not in it.

    Parameters
    ----------
    inertia, moment_arm : Moment of inertia of arm and load about the pivot [kg m2]; lever of the cylinder, dL/dangle
        [m]

    Returns
    -------
    Mass at the rod [kg]; infinite at a dead point.
    """
    return ratio(inertia, np.square(moment_arm))
