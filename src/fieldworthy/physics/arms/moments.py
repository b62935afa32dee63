"""Torque balance of an arm along its swing: drive, weights, elastic assist, friction, both ways.

Torques are about the pivot, positive where they raise the arm (x towards z). Stroke points lead, cases trail.
What a cylinder can push and pull is given as plain numbers [N], at each point if it varies with the stroke.

Bands, springs and raised arms store energy: let it out before anyone reaches in, and keep clear of the swing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import SMALL, TINY, ratio, refuse
from fieldworthy.physics.arms.linkage import Pose, Rocker


def _refuse_negative(name: str, value: Real) -> None:
    """Refuse a scalar below zero."""
    refuse(np.asarray(value) >= 0.0, lambda: f"{name} must not be negative, got {value!r}")


@dataclass(frozen=True, slots=True)
class Weight:
    """A weight carried by the arm.

    Parameters
    ----------
    force : Real
        Its weight, mass times gravity [N].
    radius : Real
        Distance of its centre of gravity from the pivot [m].
    angle : Real
        Angle on the arm from the arm's axis to that centre [rad].
    """

    force: Real
    radius: Real
    angle: Real = 0.0


@dataclass(frozen=True, slots=True)
class Elastic:
    """Springs, bands or tubing stretched between a fixed pin and a pin on the arm.

    Parameters
    ----------
    fixed_radius : Real
        Distance from pivot to the fixed pin [m].
    fixed_angle : Real
        Direction from pivot to the fixed pin [rad].
    arm_radius : Real
        Distance from pivot to the pin on the arm [m].
    arm_angle : Real
        Angle on the arm from its axis to that pin [rad].
    free_length : Real
        Length between pins at which one strand just goes slack [m].
    stiffness : Real
        Force of one strand per metre of stretch, taken as linear [N/m].
    count : Real
        Strands side by side [-].

    Raises
    ------
    ValueError
        If a scalar free length, stiffness or count is negative.

    Notes
    -----
    Real latex is softer in the middle of its stretch than at the start and loses some force on the way back,
    so a measured force at the working length is better than a catalogue's stiffness. Stretched elastics whip
    when they break: eye protection.
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
    weights : iterable of Weight
        What the arm carries, itself included [-].
    cos_arm, sin_arm : Real
        Cosine and sine of the arm's angle [-].

    Returns
    -------
    Array
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

    Parameters
    ----------
    band : Elastic
        Pins and strands [-].
    cos_arm, sin_arm : Real
        Cosine and sine of the arm's angle [-].

    Returns
    -------
    tuple of Array
        Length D [m], and D dD/dangle [m2].

    Notes
    -----
    Law of cosines with the angle between the two radii.
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

    Parameters
    ----------
    band : Elastic
        Pins [m, rad] and strands.

    Returns
    -------
    tuple of Array
        Both angles [rad], not wrapped; where it never goes slack, those at which it is shortest or longest.

    Notes
    -----
    Law of cosines: cos(angle between the radii) = (f^2 + a^2 - L0^2) / (2 f a).
    """
    f, a = np.asarray(band.fixed_radius), np.asarray(band.arm_radius)
    cosine = (f * f + a * a - np.square(band.free_length)) / np.maximum(2.0 * f * a, TINY)
    apart, middle = np.arccos(np.clip(cosine, -1.0, 1.0)), np.asarray(band.fixed_angle) - band.arm_angle
    return np.asarray(middle - apart), np.asarray(middle + apart)


def elastic_torque(bands: Iterable[Elastic], cos_arm: Real, sin_arm: Real) -> Array:
    """Return the torque of the elastics on the arm.

    Parameters
    ----------
    bands : iterable of Elastic
        Springs, bands and tubing [-].
    cos_arm, sin_arm : Real
        Cosine and sine of the arm's angle [-].

    Returns
    -------
    Array
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
    at : Pose
        Poses along the stroke [-].
    weights : iterable of Weight
        What the arm carries, itself included [-].
    bands : iterable of Elastic
        Elastic assist [-].

    Returns
    -------
    Array
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
    push : Real
        Force extending, at the cylinder's pressure, friction of its seals not yet taken off [N].
    pull : Real
        Force retracting, likewise; zero for a single-acting cylinder without a spring [N].
    efficiency : Real
        Share of that force which reaches the pin in motion, 0 to 1 [-].
    friction_torque : Real
        Friction of the pivot, against either motion [N m].

    Raises
    ------
    ValueError
        If a scalar force or friction is negative, or the efficiency is outside 0 to 1.

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

    Parameters
    ----------
    pose : Pose
        Poses along the stroke, from ``linkage.sweep`` [-].
    drive : Drive
        Forces and friction [-].
    passive : Array
        Torque of weights and elastics at those poses, positive raising [N m].

    Notes
    -----
    By virtual work the cylinder's torque is force times dL/dangle; extending raises the arm on branch +1.
    Torques below are in the direction of motion.

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

    Parameters
    ----------
    rocker : Rocker
        The arm and its cylinder [-].
    passive : Array
        Torque of weights and elastics along the stroke, positive raising [N m].
    friction_torque : Real
        Friction of the pivot that may be counted on to hold [N m].

    Returns
    -------
    tuple of Array
        Torque onto the retracted and the extended stop [N m]; where negative the arm drifts off when air is
        let out.

    Notes
    -----
    A hold by friction alone shakes loose; count on it only where the geometry alone already holds.
    """
    along = rocker.branch * np.asarray(passive)
    return np.asarray(friction_torque - along[0]), np.asarray(friction_torque + along[-1])


def reflected_mass(inertia: Real, moment_arm: Real) -> Array:
    """Return the mass that the cylinder's rod feels.

    Parameters
    ----------
    inertia : Real
        Moment of inertia of arm and load about the pivot [kg m2].
    moment_arm : Real
        Lever of the cylinder, dL/dangle [m].

    Returns
    -------
    Array
        Mass at the rod [kg]; infinite at a dead point.

    Notes
    -----
    Equal kinetic energy: m = I / arm^2. The change of lever along the stroke is not in it.
    """
    return ratio(inertia, np.square(moment_arm))
