"""Turning on the spot with skid steering: scrub of the wheels, turn rate and time to turn.

The wheels of the two sides run at equal and opposite speeds. A wheel ahead of or behind the pivot is dragged
sideways; rollers on its rim let it go, plain rims resist with the grip.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import not_negative, positive
from fieldworthy.physics.motors.motion import DriveLine, Load, move, top_speed


def scrub_moment(x: Array, load: Array, side_grip: Array) -> Array:
    """Return the largest moment with which wheels resist a turn on the spot.

    Parameters
    ----------
    x : Array
        Position of each wheel along the robot, wheels leading [m].
    load : Array
        Normal load of each [N].
    side_grip : Array
        Coefficient of friction sideways of each, near zero for wheels with rollers [-].

    Returns
    -------
    Array
        Moment about the pivot [N m].

    Notes
    -----
    ``M = min over c of sum mu N |x - c|``: the pivot settles where sideways friction takes the least power,
    which is at one of the wheels, since the sum is piecewise linear in c. Wheels are taken as points.

    References
    ----------
    wong_skid: moment of turning resistance.
    """
    where = np.asarray(x, dtype=float)
    pull = np.asarray(load, dtype=float) * side_grip
    moments = [(pull * np.abs(where - where[i])).sum(axis=0) for i in range(where.shape[0])]
    least: Array = np.minimum.reduce(moments)
    return least


@dataclass(frozen=True, slots=True)
class YawLoad:
    """What a drive has to turn.

    Parameters
    ----------
    inertia : Real
        Moment of inertia of the robot about the vertical [kg m2].
    half_track : Real
        Half the distance between the wheels of the two sides [m].
    scrub : Real
        Scrub moment of the wheels, as ``scrub_moment`` gives it [N m].
    grip_force : Real
        Grip along the rolling direction of all driven wheels together [N].
    resistance : Real
        Rolling resistance and bearing friction at the rims [N].
    rotating_mass : Real
        Inertia of wheels, gears and rotors at the rim [kg].
    """

    inertia: Real
    half_track: Real
    scrub: Real
    grip_force: Real
    resistance: Real = 0.0
    rotating_mass: Real = 0.0

    def __post_init__(self) -> None:
        positive(inertia=self.inertia, half_track=self.half_track, grip_force=self.grip_force)
        not_negative(scrub=self.scrub, resistance=self.resistance, rotating_mass=self.rotating_mass)

    @property
    def scrub_share(self) -> Array:
        """Scrub moment over the moment of full grip [-]."""
        return np.asarray(self.scrub / (self.grip_force * self.half_track))

    @property
    def rim_lever(self) -> Array:
        """Rim speed per turn rate, the half track widened by slip [m]."""
        return np.asarray(self.half_track * (1.0 + np.square(self.scrub_share)))


def as_straight(drive: DriveLine, yaw: YawLoad, use: Real) -> Load:
    """Return the straight load whose rim speed and force are those of the turn.

    Parameters
    ----------
    drive : DriveLine
        The drive [-].
    yaw : YawLoad
        What it turns [-].
    use : Real
        Share of the braking that drivers use [-].

    Returns
    -------
    Load
        Mass, resistance and deceleration at the rims [-]; its distance is the angle times ``yaw.rim_lever``.

    References
    ----------
    wong_skid: skid steering.
    """
    share, lever = yaw.scrub_share, yaw.rim_lever
    mass = yaw.inertia / (yaw.half_track * lever)
    scrub = yaw.scrub / yaw.half_track / np.sqrt(1.0 + share * share)
    resistance = yaw.resistance + scrub
    braking = np.minimum(drive.brake_force, yaw.grip_force)
    side = np.sqrt(np.maximum(1.0 - np.square(braking / yaw.grip_force), 0.0))
    by_motors = drive.brake_force + yaw.resistance + yaw.scrub / yaw.half_track * side
    by_grip = yaw.grip_force + yaw.resistance
    return Load(
        mass=mass,
        rotating_mass=yaw.rotating_mass,
        resistance=resistance,
        grip_acceleration=(yaw.grip_force - resistance) / mass,
        deceleration=use * np.minimum(by_motors / (mass + yaw.rotating_mass), by_grip / mass),
    )


def turn_rate(drive: DriveLine, yaw: YawLoad) -> Array:
    """Return the steady turn rate on the spot at full command.

    Parameters
    ----------
    drive : DriveLine
        The drive [-].
    yaw : YawLoad
        What it turns [-].

    Returns
    -------
    Array
        Turn rate [rad/s]; 0 where the motors or the grip do not overcome the scrub.

    Notes
    -----
    Friction acts against the slip, whose rolling part is ``s = u - b r`` and whose sideways part ``x r``. For
    wheels at equal distances the moments balance at ``s b = x ** 2 r``, so the rims run at ``b + x ** 2 / b``
    times the turn rate and feel ``mu N x / sqrt(x ** 2 + b ** 2)``. With ``x / b`` read as the scrub moment
    over the moment of full grip, the same holds approximately for mixed wheels and unequal grips.

    References
    ----------
    wong_skid: skid steering; the closed form for point contacts is derived here.
    """
    return np.asarray(top_speed(drive, as_straight(drive, yaw, 1.0)) / yaw.rim_lever)


def force_across(push: Real, yaw: YawLoad, side: Real, reach: Real) -> tuple[Array, Array]:
    """Return the sideways force with which a robot that begins to turn pushes ahead of itself.

    Parameters
    ----------
    push : Real
        Force of the motors at the rims, standing still [N].
    yaw : YawLoad
        What it turns [-].
    side : Real
        Grip sideways of all wheels together [N].
    reach : Real
        Distance ahead of the wheels' middle at which it pushes, more than zero [m].

    Returns
    -------
    tuple[Array, Array]
        The force that the motors allow, and the one that the wheels' grip allows [N].

    Notes
    -----
    Friction acts against the slip, one patch for both directions: wheels that push with F of their grip G have
    sqrt(1 - (F/G)^2) of their sideways grip left, so the moment is F b - S sqrt(1 - (F/G)^2), above zero exactly where
    `turn` ends. The pushed thing moves the pivot forward to the front wheels, at S / P for two rows of wheels with
    P of grip sideways: the motors allow that moment over reach - S / P. Sideways the wheels hold P sqrt(1 - (F/G)^2);
    with the F that is best the grip allows P G b / sqrt((G b)^2 + (P reach)^2).

    References
    ----------
    wong_skid: skid steering; the closed form for point contacts is derived here.
    """
    not_negative(push=push, side=side)
    positive(reach=reach)
    grip, arm = np.asarray(yaw.grip_force), yaw.half_track
    used = np.clip((np.asarray(push) - yaw.resistance) / grip, 0.0, 1.0)
    moment = np.maximum(used * grip * arm - yaw.scrub * np.sqrt(1.0 - used**2), 0.0)
    pivot = yaw.scrub / np.maximum(side, 1e-9)
    by_motors = moment / np.maximum(reach - pivot, 1e-6)
    return np.asarray(by_motors), np.asarray(side * grip * arm / np.hypot(grip * arm, side * np.asarray(reach)))


@dataclass(frozen=True, slots=True)
class Turn:
    """A turn on the spot.

    Parameters
    ----------
    time : Array
        From rest to rest [s].
    peak_rate : Array
        Largest turn rate on the way [rad/s].
    """

    time: Array
    peak_rate: Array


def turn(drive: DriveLine, yaw: YawLoad, angle: Real = 0.5 * np.pi, use: Real = 1.0) -> Turn:
    """Return the quickest turn on the spot by an angle, from rest to rest.

    Parameters
    ----------
    drive : DriveLine
        The drive [-].
    yaw : YawLoad
        What it turns [-].
    angle : Real
        Angle to turn, not negative [rad].
    use : Real
        Share of the braking that drivers use [-].

    Returns
    -------
    Turn
        Time and peak rate [-]; infinite time where it cannot turn.

    Notes
    -----
    The turn is a straight move of the rims: mass ``I / (b b')``, distance ``angle b'``, with the half track
    ``b`` and the rim lever ``b'``; resistance that of the steady turn. While it speeds up the real scrub is
    somewhat less, so the time errs to the long side.

    References
    ----------
    wong_skid: skid steering.
    """
    moved = move(drive, as_straight(drive, yaw, use), np.asarray(angle) * yaw.rim_lever)
    return Turn(moved.time, moved.peak_speed / yaw.rim_lever)
