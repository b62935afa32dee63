"""Roller stages: surface speed of a compressed roller, slip, and the motor's speed under the squeeze.

A stage is one roller (or belt) that presses an object against a guide. The motor comes in as the two
numbers of its line, free speed and stall torque. Rollers and belts are pinch points: keep fingers out
while the robot is enabled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage of an intake.

    Attributes
    ----------
    ratio : Real
        Turns of the motor for one turn of the roller, through gears, chain and belt together [-].
    efficiency, radius : Real
        Share of the motor's work that reaches the roller [-]; radius of the free roller [m].
    squeeze : Real
        Depth to which the object presses the roller in [m].
    normal_force : Real
        Force with which roller and object press on each other [N].
    friction : Real
        Friction coefficient between roller and object [-].
    drag : Real
        Force along the path that holds the object back, from `drag` or `rolling` [N].
    share : Real
        Speed of the object over that of the surface: 1 where it slides along its guide, 1/2 where it rolls [-].
    takes : Real
        Largest force of the roller that the object turns into motion; past it one that rolls spins in place [N].

    Raises
    ------
    ValueError
        If a number is out of its range, or the squeeze reaches the shaft; the message names it.
    """

    ratio: Real
    efficiency: Real
    radius: Real
    squeeze: Real
    normal_force: Real
    friction: Real
    drag: Real
    share: Real = 1.0
    takes: Real = np.inf

    def __post_init__(self) -> None:
        require.positive(ratio=self.ratio, efficiency=self.efficiency, radius=self.radius)
        require.fraction(efficiency=self.efficiency)
        require.not_negative(
            squeeze=self.squeeze, normal_force=self.normal_force, friction=self.friction, drag=self.drag
        )
        _check_squeeze(self.radius, self.squeeze)

    @property
    def grip(self) -> Real:
        """Largest force with which it carries an object: its friction, or what a rolling one takes [N]."""
        return np.minimum(self.friction * self.normal_force, self.takes)


def _check_squeeze(radius: Real, squeeze: Real) -> None:
    if not np.all(np.asarray(squeeze) < radius):
        msg = f"squeeze must be smaller than the roller's radius, got {squeeze!r} on {radius!r}"
        raise ValueError(msg)


def rolling_radius(radius: Real, squeeze: Real) -> Real:
    """Effective radius of a squeezed soft roller: surface speed over angular speed.

    Parameters
    ----------
    radius, squeeze : Real
        Radius of the free roller; depth to which it is pressed in, zero or more and less than the radius [m].

    Returns
    -------
    Real
        Effective rolling radius, between the squeezed and the free radius [m].

    Raises
    ------
    ValueError
        If the radius is not positive, the squeeze is negative, or it reaches the shaft.

    Notes
    -----
    The outer skin keeps its length while the core gives way, as with a tyre: the arc 2 R a that enters the
    flat leaves along the chord 2 R sin(a), cos(a) = 1 - d / R, so R_e = R sin(a) / a, close to R - d / 3.
    It fits foam rollers, flaps and banded wheels. A solid rubber cover cannot shrink and bulges instead:
    its skin runs somewhat faster than the free radius says, so there take a squeeze of zero. Good while d
    < R / 4.

    References
    ----------
    tyre-radius: effective rolling radius of a tyre, R - d / 3 (from memory).
    """
    require.positive(radius=radius)
    require.not_negative(squeeze=squeeze)
    _check_squeeze(radius, squeeze)
    half_angle = np.arccos(1.0 - squeeze / radius)
    return radius * np.sinc(half_angle / np.pi)


def drag(normal_force: Real, guide_friction: Real, rolling_resistance: Real = 0.0, weight_along: Real = 0.0) -> Real:
    """Force that holds back an object squeezed between a roller and a fixed guide.

    Parameters
    ----------
    normal_force : Real
        Force with which the roller presses the object on the guide [N].
    guide_friction : Real
        Friction coefficient between object and guide [-].
    rolling_resistance : Real, optional
        Loss in the roller's own flexing, as a share of the normal force [-].
    weight_along : Real, optional
        Part of the object's weight along the path, positive where it climbs [N].

    Returns
    -------
    Real
        Force along the path, not below zero: an object that would slide by itself asks for nothing [N].

    Raises
    ------
    ValueError
        If a force or coefficient is negative.

    Notes
    -----
    (mu_guide + c) N + W sin(slope), Coulomb friction.

    References
    ----------
    practice: Coulomb friction, textbook statics.
    """
    require.not_negative(
        normal_force=normal_force, guide_friction=guide_friction, rolling_resistance=rolling_resistance
    )
    return np.maximum((guide_friction + rolling_resistance) * normal_force + weight_along, 0.0)


def rolling(stage: Stage, guide_friction: Real, resistance: Real, weight_along: Real = 0.0) -> Stage:
    """Let a ball roll between a roller and a fixed guide, or slide where the guide is too slippery for that.

    Parameters
    ----------
    stage : Stage
        The stage as it carries an object that slides.
    guide_friction : Real
        Friction coefficient between object and guide [-].
    resistance : Real
        Loss in the roller's flexing, as a share of the normal force [-].
    weight_along : Real, optional
        Part of the object's weight along the path, positive where it climbs [N].

    Returns
    -------
    Stage
        The same with the drag, the share of the surface's speed and the force it takes of a ball [-].

    Raises
    ------
    ValueError
        If a coefficient is negative.

    Notes
    -----
    A ball that rolls on both has its centre half as fast as the roller's surface. Roller F and guide G move it,
    F + G = W sin(slope), and turn it against the couple of the flexing, F - G = c N. So F = (W sin(slope) + c N) / 2,
    and no more than F <= mu_guide N + c N: past that the guide slips under it and it spins in place. Where even
    pushing back the guide gives less than (c N - W sin(slope)) / 2, the couple keeps it from turning: it slides.

    References
    ----------
    meriam_statics: dry friction and rolling resistance.
    """
    require.not_negative(guide_friction=guide_friction, resistance=resistance)
    guide, couple = guide_friction * stage.normal_force, resistance * stage.normal_force
    slides = np.asarray(guide < 0.5 * (couple - weight_along))
    drag = np.where(slides, stage.drag, np.maximum(0.5 * (couple + weight_along), 0.0))[()]
    return replace(
        stage, drag=drag, share=np.where(slides, 1.0, 0.5)[()], takes=np.where(slides, np.inf, guide + couple)[()]
    )


def held_length(radius: Real, squeeze: Real, length: Real) -> Real:
    """Way over which a roller holds a ball on its way past.

    Parameters
    ----------
    radius, squeeze, length : Real
        Radius of the free roller; depth to which the ball presses it in at the most; diameter of the ball [m].

    Returns
    -------
    Real
        Way of the ball from first to last touch, at most its length [m].

    Raises
    ------
    ValueError
        If a radius or length is not positive, or the squeeze is negative.

    Notes
    -----
    The chord on which both centres are within R + r: 2 sqrt((R + r)^2 - (R + r - d)^2). A block's flat side is held
    over its whole length.

    References
    ----------
    plane-geometry: derived beside the formula.
    """
    require.positive(radius=radius, length=length)
    require.not_negative(squeeze=squeeze)
    both = radius + 0.5 * np.asarray(length)
    return np.minimum(2.0 * np.sqrt(both**2 - (both - squeeze) ** 2), length)


def load_torque(stage: Stage) -> Real:
    """Torque that the squeeze asks of the motor.

    Parameters
    ----------
    stage : Stage
        The stage.

    Returns
    -------
    Real
        Torque at the motor; with a slipping roller that of the slip [N m].

    Notes
    -----
    min(drag, mu N) R_e / (ratio efficiency); the arm is the effective radius since force times surface
    speed is power.

    References
    ----------
    practice: power balance of a roller.
    """
    force = np.minimum(stage.drag, stage.grip)
    return force * _arm(stage)


def held_torque(stage: Stage) -> Real:
    """Torque to keep a roller turning while it slips on an object that is held fast.

    Parameters
    ----------
    stage : Stage
        The stage.

    Returns
    -------
    Real
        Torque at the motor; where it exceeds the stall torque the motor stands still and heats [N m].

    Notes
    -----
    mu N R_e / (ratio efficiency): what a slower neighbour or a jam does to a stage.

    References
    ----------
    practice: power balance of a roller.
    """
    return stage.friction * stage.normal_force * _arm(stage)


def _arm(stage: Stage) -> Real:
    return rolling_radius(stage.radius, stage.squeeze) / (stage.ratio * stage.efficiency)


def _total(torques: Sequence[Real]) -> Array:
    total = np.zeros(())
    for torque in torques:
        require.not_negative(torques=torque)
        total = total + torque
    return total


def motor_speed(free_speed: Real, stall_torque: Real, torques: Sequence[Real]) -> Real:
    """Speed of one motor that drives one stage or several, on its straight torque-speed line.

    Parameters
    ----------
    free_speed : Real
        Speed of the motor without load [rad/s].
    stall_torque : Real
        Torque at standstill; with a limit on current, the torque at that limit [N m].
    torques : Sequence[Real]
        Torque that each stage asks of the motor, from `load_torque` [N m].

    Returns
    -------
    Real
        Speed, 0 where the stages together stall it [rad/s].

    Raises
    ------
    ValueError
        If the free speed or stall torque is not positive, or a torque is negative.

    Notes
    -----
    w = w0 (1 - sum(T) / T_stall).

    References
    ----------
    hughes: Electric Motors and Drives, ch. 3 (from memory): linear line of a permanent-magnet motor.
    """
    require.positive(free_speed=free_speed, stall_torque=stall_torque)
    return free_speed * np.maximum(1.0 - _total(torques) / stall_torque, 0.0)


def surface_speed(stage: Stage, motor_speed: Real) -> Real:
    """Speed of a stage's squeezed surface.

    Parameters
    ----------
    stage : Stage
        The stage.
    motor_speed : Real
        Speed of its motor, free or under load [rad/s].

    Returns
    -------
    Real
        Speed along the path [m/s].

    Notes
    -----
    v = w R_e / ratio.

    References
    ----------
    tyre-radius: effective rolling radius of a tyre (from memory).
    """
    return motor_speed * rolling_radius(stage.radius, stage.squeeze) / stage.ratio


def object_speed(stage: Stage, motor_speed: Real) -> Real:
    """Steady speed of an object in a stage: its share of the surface's where the roller grips, 0 where it slips.

    Parameters
    ----------
    stage : Stage
        The stage.
    motor_speed : Real
        Speed of its motor under load [rad/s].

    Returns
    -------
    Real
        Speed along the path [m/s].

    Notes
    -----
    Coulomb friction has no steady state in between: an object whose drag exceeds the grip comes to rest.

    References
    ----------
    practice: Coulomb friction, textbook statics.
    """
    return np.where(stage.drag <= stage.grip, stage.share * surface_speed(stage, motor_speed), 0.0)[()]
