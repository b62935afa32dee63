"""What the floor lets the wheels do: axle loads under acceleration, grip of driven wheels, pushing.

Accelerating forward loads the rear axle, braking the front one. The lengths count from the centre of gravity:
``front`` forward to the front axle, ``rear`` backward to the rear axle; both positive.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from fieldworthy.physics._require import not_negative, positive
from fieldworthy.physics._types import Array, Real
from fieldworthy.physics.statics.support import STANDARD_GRAVITY

Driven = Literal["all", "front", "rear"]
"""Which axles the motors turn."""


@dataclass(frozen=True, slots=True)
class Chassis:
    """Mass and where it sits between the axles.

    Parameters
    ----------
    mass : Real
        Mass of the robot [kg].
    front : Real
        Length from centre of gravity to the front axle [m].
    rear : Real
        Length from centre of gravity to the rear axle [m].
    height : Real
        Height of the centre of gravity above the floor [m].
    grip : Real
        Coefficient of friction along the wheels' rolling direction [-].
    driven : str
        Driven axles, "all", "front" or "rear" [-].
    gravity : Real
        Acceleration of gravity [m/s2].

    Raises
    ------
    ValueError
        If a quantity is not positive (height, grip: negative).
    """

    mass: Real
    front: Real
    rear: Real
    height: Real
    grip: Real
    driven: Driven = "all"
    gravity: Real = STANDARD_GRAVITY

    def __post_init__(self) -> None:
        positive(mass=self.mass, front=self.front, rear=self.rear, gravity=self.gravity)
        not_negative(height=self.height, grip=self.grip)
        if self.driven not in ("all", "front", "rear"):
            raise ValueError(f"driven must be 'all', 'front' or 'rear', got {self.driven!r}")

    @property
    def wheelbase(self) -> Real:
        """Distance between the axles [m]."""
        return self.front + self.rear

    @property
    def weight(self) -> Real:
        """Weight [N]."""
        return self.mass * self.gravity


@dataclass(frozen=True, slots=True)
class AxleLoads:
    """Normal forces of the floor.

    Parameters
    ----------
    front : Real
        On the front axle [N].
    rear : Real
        On the rear axle [N].
    """

    front: Real
    rear: Real


def axle_loads(chassis: Chassis, acceleration: Real = 0.0) -> AxleLoads:
    """Return the axle loads at a forward acceleration.

    Parameters
    ----------
    chassis : Chassis
        The robot [-].
    acceleration : Real
        Forward acceleration, negative while braking [m/s2].

    Returns
    -------
    AxleLoads
        Front and rear, both wheels of an axle together [-]; an axle that lifts carries nothing.

    Notes
    -----
    ``N_front = m (g rear - a h) / L``: braking loads the front.

    References
    ----------
    gillespie: chapter 1, dynamic axle loads.
    """
    m, L = chassis.mass, chassis.wheelbase
    rear = m * (chassis.gravity * chassis.front + acceleration * chassis.height) / L
    rear = np.minimum(np.maximum(rear, 0.0), chassis.weight)
    return AxleLoads(chassis.weight - rear, rear)


def _grip_limit(chassis: Chassis, height: Real, sense: float, resistance: Real = 0.0) -> Array:
    """Return the largest force of the driven wheels, forward (+1) or backward (-1), that acts against a height."""
    static = axle_loads(chassis)
    lever = chassis.grip * height / chassis.wheelbase
    if chassis.driven == "front":
        static_load, gain = static.front, -sense
    elif chassis.driven == "rear":
        static_load, gain = static.rear, sense
    else:
        return np.asarray(chassis.grip * chassis.weight, dtype=float)
    still = chassis.grip * np.asarray(static_load)
    own = np.maximum(still - gain * sense * lever * resistance, 0.0)
    # a gain of load that feeds on itself ends when the other axle lifts; from rest it begins once grip beats resistance
    runs = gain * lever >= 1.0
    settled = np.where(runs, np.where(still > resistance, np.inf, 0.0), own / np.where(runs, 1.0, 1.0 - gain * lever))
    return np.asarray(np.minimum(settled, chassis.grip * chassis.weight))


def grip_acceleration(chassis: Chassis, resistance: Real = 0.0) -> Array:
    """Return the largest forward acceleration that the grip of the driven wheels and the front wheels' load allow.

    Parameters
    ----------
    chassis : Chassis
        The robot [-].
    resistance : Real
        Rolling resistance [N].

    Returns
    -------
    Array
        Acceleration [m/s2]; negative where the grip does not even overcome the resistance.

    Notes
    -----
    Front-wheel drive: ``a = mu g rear / (L + mu h)``; rear: ``a = mu g front / (L - mu h)``; all: ``mu g``;
    never more than ``g rear / h``, where the front wheels lift. From ``mu h = L`` on rear-wheel drive gains load
    faster than it uses it: it lifts its front wheels once it starts, which takes ``mu m g front / L`` above the
    resistance. Resistance acts at the floor and is taken off.
    All-wheel drive is taken with each side's wheels geared together, so that the loaded ones pull more.

    References
    ----------
    gillespie: chapter 2, traction-limited acceleration.
    """
    by_grip = (_grip_limit(chassis, chassis.height, 1.0, resistance) - resistance) / chassis.mass
    return np.asarray(np.minimum(by_grip, chassis.gravity * chassis.rear / np.maximum(chassis.height, 1e-9)))


def grip_deceleration(chassis: Chassis, resistance: Real = 0.0, all_braked: bool = False) -> Array:
    """Return the largest deceleration that grip and the rear wheels' load allow.

    Parameters
    ----------
    chassis : Chassis
        The robot [-].
    resistance : Real
        Rolling resistance, which helps [N].
    all_braked : bool
        Whether every wheel brakes and not the driven ones alone [-].

    Returns
    -------
    Array
        Deceleration [m/s2].

    Notes
    -----
    Braking loads the front: front-braked ``mu g rear / (L - mu h)``, rear-braked ``mu g front / (L + mu h)``,
    never more than ``g front / h``, where the rear wheels lift.

    References
    ----------
    gillespie: chapter 3, braking.
    """
    force = (
        chassis.grip * np.asarray(chassis.weight)
        if all_braked
        else _grip_limit(chassis, chassis.height, -1.0, resistance)
    )
    by_grip = (force + resistance) / chassis.mass
    return np.asarray(np.minimum(by_grip, chassis.gravity * chassis.front / np.maximum(chassis.height, 1e-9)))


@dataclass(frozen=True, slots=True)
class Push:
    """A push against a wall.

    Parameters
    ----------
    force : Array
        Force on the wall [N].
    grip_force : Array
        Most that the wheels' grip carries [N].
    motor_force : Array
        What the stalled motors give at the wheels [N].
    slip_margin : Array
        Motor force over grip force less 1 [-]; positive: the wheels slip before the motors stall.
    """

    force: Array
    grip_force: Array
    motor_force: Array
    slip_margin: Array


def push(chassis: Chassis, motor_force: Real, contact_height: Real = 0.0) -> Push:
    """Return how hard the robot pushes a wall, and whether its wheels slip before its motors stall.

    Parameters
    ----------
    chassis : Chassis
        The robot [-].
    motor_force : Real
        Force of the stalled motors at the wheels, losses off [N].
    contact_height : Real
        Height at which it pushes [m].

    Returns
    -------
    Push
        Forces and margin [-].

    Notes
    -----
    The wall's push back at the contact height loads the rear and lightens the front, as an acceleration
    does; a push above ``front``-axle-lifting force tips the robot back, which bounds it too. Motors that stall
    heat within seconds: slipping first protects them (common practice, no source).

    References
    ----------
    meriam_statics: slip or tip.
    """
    grip = _grip_limit(chassis, contact_height, 1.0)
    grip = np.minimum(grip, chassis.weight * chassis.rear / np.maximum(contact_height, 1e-9))
    motor = np.maximum(np.asarray(motor_force, dtype=float), 0.0)
    margin = motor / np.maximum(grip, 1e-9) - 1.0
    return Push(np.minimum(motor, grip), np.asarray(grip), motor, margin)
