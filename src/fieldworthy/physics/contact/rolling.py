"""What rolls on something soft: rollers of an intake and their motor, and wheels over the seams of a floor.

A stage is one roller (or belt) that presses an object against a guide. The motor comes in as the two numbers of its
line, free speed and stall torque. Rollers and belts are pinch points: keep fingers out while the robot is enabled.

What the size of the wheel does, by these models: force to get over a step falls as 1/sqrt(radius), out of a gap as
1/radius; reading error at a step as 1/sqrt(radius); sinking in as radius^(-1/3). So 2.75 in wheels do better than
2.0 in ones by 11 to 38 percent (common practice, no source, makes more of it). Nothing here makes a small wheel
wobble: the sideways swing of a tilted wheel grows with its radius.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.motors.motor import Controller, MotorLine, limit_torque


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage of an intake.

    Attributes
    ----------
    ratio : Turns of the motor for one turn of the roller, through gears, chain and belt together [-]
    efficiency, radius : Share of the motor's work that reaches the roller [-]; radius of the free roller [m]
    squeeze : Depth to which the object presses the roller in [m]
    normal_force : Force with which roller and object press on each other [N]
    friction : Friction coefficient between roller and object [-]
    drag : Force along the path that holds the object back, from `drag` or `rolling` [N]
    share : Speed of the object over that of the surface: 1 where it slides along its guide, 1/2 where it rolls [-]
    takes : Largest force of the roller that the object turns into motion; past it one that rolls spins in place [N]

    Raises
    ------
    ValueError : If a number is out of its range, or the squeeze reaches the shaft; the message names it
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

    The outer skin keeps its length while the core gives way, as with a tyre: the arc 2 R a that enters the flat
    leaves along the chord 2 R sin(a), cos(a) = 1 - d / R, so R_e = R sin(a) / a, close to R - d / 3. It fits foam
    rollers, flaps and banded wheels. A solid rubber cover cannot shrink and bulges instead: its skin runs somewhat
    faster than the free radius says, so there take a squeeze of zero. Good while d < R / 4.

    Parameters
    ----------
    radius, squeeze : Radius of the free roller; depth to which it is pressed in, zero or more and less than the radius
        [m]

    Returns
    -------
    Effective rolling radius, between the squeezed and the free radius [m].

    Raises
    ------
    ValueError : If the radius is not positive, the squeeze is negative, or it reaches the shaft

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

    (mu_guide + c) N + W sin(slope), Coulomb friction.

    Parameters
    ----------
    normal_force : Force with which the roller presses the object on the guide [N]
    guide_friction : Friction coefficient between object and guide [-]
    rolling_resistance : Loss in the roller's own flexing, as a share of the normal force [-]
    weight_along : Part of the object's weight along the path, positive where it climbs [N]

    Returns
    -------
    Force along the path, not below zero: an object that would slide by itself asks for nothing [N].

    Raises
    ------
    ValueError : If a force or coefficient is negative

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

    A ball that rolls on both has its centre half as fast as the roller's surface. Roller F and guide G move it,
    F + G = W sin(slope), and turn it against the couple of the flexing, F - G = c N. So F = (W sin(slope) + c N) / 2,
    and no more than F <= mu_guide N + c N: past that the guide slips under it and it spins in place. Where even
    pushing back the guide gives less than (c N - W sin(slope)) / 2, the couple keeps it from turning: it slides.

    Parameters
    ----------
    stage : The stage as it carries an object that slides
    guide_friction : Friction coefficient between object and guide [-]
    resistance : Loss in the roller's flexing, as a share of the normal force [-]
    weight_along : Part of the object's weight along the path, positive where it climbs [N]

    Returns
    -------
    The same with the drag, the share of the surface's speed and the force it takes of a ball [-].

    Raises
    ------
    ValueError : If a coefficient is negative

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

    The chord on which both centres are within R + r: 2 sqrt((R + r)^2 - (R + r - d)^2). A block's flat side is held
    over its whole length.

    Parameters
    ----------
    radius, squeeze, length : Radius of the free roller; depth to which the ball presses it in at the most; diameter of
        the ball [m]

    Returns
    -------
    Way of the ball from first to last touch, at most its length [m].

    Raises
    ------
    ValueError : If a radius or length is not positive, or the squeeze is negative

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

    min(drag, mu N) R_e / (ratio efficiency); the arm is the effective radius since force times surface
    speed is power.

    Parameters
    ----------
    stage : The stage

    Returns
    -------
    Torque at the motor; with a slipping roller that of the slip [N m].

    References
    ----------
    practice: power balance of a roller.
    """
    force = np.minimum(stage.drag, stage.grip)
    return force * _arm(stage)


def held_torque(stage: Stage) -> Real:
    """Torque to keep a roller turning while it slips on an object that is held fast.

    mu N R_e / (ratio efficiency): what a slower neighbour or a jam does to a stage.

    Parameters
    ----------
    stage : The stage

    Returns
    -------
    Torque at the motor; where it exceeds the stall torque the motor stands still and heats [N m].

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

    w = w0 (1 - sum(T) / T_stall).

    Parameters
    ----------
    free_speed : Speed of the motor without load [rad/s]
    stall_torque : Torque at standstill; with a limit on current, the torque at that limit [N m]
    torques : Torque that each stage asks of the motor, from `load_torque` [N m]

    Returns
    -------
    Speed, 0 where the stages together stall it [rad/s].

    Raises
    ------
    ValueError : If the free speed or stall torque is not positive, or a torque is negative

    References
    ----------
    hughes: Electric Motors and Drives, ch. 3 (from memory): linear line of a permanent-magnet motor.
    """
    require.positive(free_speed=free_speed, stall_torque=stall_torque)
    return free_speed * np.maximum(1.0 - _total(torques) / stall_torque, 0.0)


def surface_speed(stage: Stage, motor_speed: Real) -> Real:
    """Speed of a stage's squeezed surface.

    v = w R_e / ratio.

    Parameters
    ----------
    stage : The stage
    motor_speed : Speed of its motor, free or under load [rad/s]

    Returns
    -------
    Speed along the path [m/s].

    References
    ----------
    tyre-radius: effective rolling radius of a tyre (from memory).
    """
    return motor_speed * rolling_radius(stage.radius, stage.squeeze) / stage.ratio


def object_speed(stage: Stage, motor_speed: Real) -> Real:
    """Steady speed of an object in a stage: its share of the surface's where the roller grips, 0 where it slips.

    Coulomb friction has no steady state in between: an object whose drag exceeds the grip comes to rest.

    Parameters
    ----------
    stage : The stage
    motor_speed : Speed of its motor under load [rad/s]

    Returns
    -------
    Speed along the path [m/s].

    References
    ----------
    practice: Coulomb friction, textbook statics.
    """
    return np.where(stage.drag <= stage.grip, stage.share * surface_speed(stage, motor_speed), 0.0)[()]


def loaded_speed(line: MotorLine, controller: Controller, torque: Real) -> Array:
    """Return the steady speed of a motor under a load torque.

    ``min(w0 (1 - T / T_stall), P_cap / T)``.

    Parameters
    ----------
    line : The motor at rated voltage [-]
    controller : Its bounds [-]
    torque : Load on one motor's shaft, zero or more [N m]

    Returns
    -------
    Speed, 0 where the current limit does not carry the load [rad/s].

    References
    ----------
    hughes: ch. 3.
    """
    load = np.asarray(torque, dtype=float)
    free = motor_speed(line.free_speed, line.stall_torque, (load,))
    capped = controller.power_cap / np.maximum(load, 1e-9)
    return np.where(load < limit_torque(line, controller), np.minimum(free, capped), 0.0)


def rim_force(stage: Stage, torque: Real) -> Real:
    """Return the force that a motor torque makes at a stage's surface.

    ``T ratio efficiency / R_e``.

    Parameters
    ----------
    stage : The stage [-]
    torque : Torque of its motors together [N m]

    Returns
    -------
    Force along the path [N].

    References
    ----------
    practice: power balance of a roller.
    """
    return torque * stage.ratio * stage.efficiency / rolling_radius(stage.radius, stage.squeeze)


def _contact_angle(radius: Real, step: Real) -> Array:
    """Angle from the vertical of the line from the corner to the axle, a right angle for a step too high [rad]."""
    require.positive(radius=radius)
    require.not_negative(step=step)
    return np.arccos(np.clip(1.0 - np.asarray(step, dtype=np.float64) / radius, 0.0, 1.0))


def step_force(radius: Real, step: Real, load: Real) -> Array:
    """Horizontal force at the axle that starts a rigid wheel over a square step.

    Moment about the corner: F (R - s) = W sqrt(R^2 - (R - s)^2). It is largest at the start and falls to zero at the
    top.

    Parameters
    ----------
    radius, step, load : Wheel radius; height of the step [m]; force down at the axle: weight and suspension [N]

    Returns
    -------
    The force [N]; infinite where the step is as high as the radius.

    Raises
    ------
    ValueError : If the radius is not positive, or step or load is negative

    References
    ----------
    meriam_statics: equilibrium of a wheel at a step.
    """
    require.not_negative(load=load)
    rise = np.asarray(radius - np.asarray(step, dtype=np.float64))
    over = (_contact_angle(radius, step) < 0.5 * np.pi) & (rise > 0.0)
    run = np.sqrt(np.maximum(np.square(radius) - rise**2, 0.0))
    return np.where(over, load * run / np.where(over, rise, 1.0), np.inf)


class Sinkage(NamedTuple):
    """How a wheel stands in a soft floor.

    Parameters
    ----------
    depth, half_length, peak_pressure : How far it sinks in; half the length of the contact [m]; pressure in the middle
        of the contact [Pa]
    strain : Depth over thickness of the foam [-]
    """

    depth: Array
    half_length: Array
    peak_pressure: Array
    strain: Array


@dataclass(frozen=True, slots=True)
class Foam:
    """A layer of foam on a hard floor.

    Parameters
    ----------
    modulus : Compressive modulus [Pa]; measure it: load on a block over its area, over its share of compression
    thickness, loss : Thickness [m]; share of the work of pressing it in that it does not give back [-]

    Raises
    ------
    ValueError : If modulus or thickness is not positive, or the loss is outside 0 to 1
    """

    modulus: Real
    thickness: Real
    loss: Real = 0.0

    def __post_init__(self) -> None:
        require.positive(modulus=self.modulus, thickness=self.thickness)
        require.fraction(loss=self.loss)


def sinkage(radius: Real, width: Real, load: Real, foam: Foam) -> Sinkage:
    """How far a rigid wheel sinks into foam.

    Elastic foundation (Winkler): independent springs of modulus/thickness, so the pressure is E/h (d - x^2/(2 R)),
    the half length a = (3 W R h / (2 E b))^(1/3) and the depth a^2/(2 R). Good while the wheel is wide against the
    foam's thickness, the depth small against the radius and the strain below about 0.2; foam is stiffer beyond, and
    edges of a narrow tread carry more than this says.

    Parameters
    ----------
    radius, width, load : Wheel radius, and width of its tread [m]; force down [N]
    foam : The floor

    Returns
    -------
    Depth [m], half length of contact [m], pressure [Pa] and strain [-].

    Raises
    ------
    ValueError : If radius or width is not positive or the load negative

    References
    ----------
    johnson1985: section 4.3.
    """
    require.positive(radius=radius, width=width)
    require.not_negative(load=load)
    stiff = np.asarray(foam.modulus, dtype=np.float64) / foam.thickness
    half = np.cbrt(1.5 * np.asarray(load) * radius / (stiff * width))
    depth = half**2 / (2.0 * np.asarray(radius))
    return Sinkage(depth, half, stiff * depth, depth / foam.thickness)


def contact_speed(radius: Real, step: Real, down_force: Real, mass: Real, give: Real = 0.0) -> Array:
    """Highest speed at which a sprung wheel stays on the edge of a step.

    Parameters
    ----------
    radius, step, down_force : Wheel radius; height of the step [m]; force down on the wheel, its weight included [N]
    mass : Mass that moves up and down with the wheel [kg]
    give : How far a floor that gives way follows the wheel up: the depth to which it stands in it, from `sinkage`,
        times 1 - loss of the foam, since by energy the rest of the work is not given back; 0 for a hard floor [m]

    Returns
    -------
    The speed [m/s]; infinite where there is no step, 0 where it is as high as the radius.

    Raises
    ------
    ValueError : If the radius or the mass is not positive, or step, down-force or give is negative

    Notes
    -----
    On a hard floor the axle goes round the corner on a circle at constant horizontal speed v; it falls off fastest at
    the start, where that takes v^2/(R cos^3 angle). A floor that gives way follows the wheel up by a depth d, on
    which its push does half the work of the down-force: the upward speed v tan(angle) must exceed that of the hard
    floor by g d, g = down_force/mass, so v^2 = g (R cos^3 angle + d/tan^2 angle). No rebound: a floor that throws
    the wheel back lets go of it sooner.
    """
    require.not_negative(down_force=down_force, give=give)
    require.positive(mass=mass)
    angle = _contact_angle(radius, step)
    cos = np.maximum(np.cos(angle), 0.0)
    climbs = (angle > 0.0) & (cos > 1e-9)
    rise = np.square(np.tan(np.where(climbs, angle, 1.0)))
    room = radius * cos**3 + np.where(climbs, np.asarray(give) / rise, 0.0)
    return np.asarray(np.where(angle > 0.0, np.sqrt(np.asarray(down_force) / mass * room), np.inf))


def flight_length(radius: Real, step: Real, down_force: Real, mass: Real, speed: Real, give: Real = 0.0) -> Array:
    """Travel over which a sprung wheel is off the floor after it meets a step up.

    The edge throws the axle upward at v tan(angle), and it falls with g = down_force/mass. It meets the corner's
    circle again after 2 (v tan(angle) - sqrt(g R cos(angle) - v^2))/g if that is before the edge, else it comes
    down on the upper tile. No rebound, and a constant down-force; a floor that
    gives way is counted in whether it flies at all, not in how far.

    Parameters
    ----------
    radius, step, down_force : Wheel radius; height of the step [m]; force down on the wheel, its weight included [N],
        above zero
    mass, speed : Mass that moves up and down with the wheel [kg]; speed of the robot [m/s]
    give : How far the floor follows the wheel up, as in `contact_speed` [m]

    Returns
    -------
    The travel [m], 0 below the speed of contact; infinite where the step is as high as the radius and the robot moves.
    It bounds the travel missed: a spinning wheel goes on turning for a while.

    Raises
    ------
    ValueError : If radius, down-force or mass is not positive, or step or speed is negative
    """
    require.positive(down_force=down_force, mass=mass)
    require.not_negative(speed=speed)
    angle, v = _contact_angle(radius, step), np.asarray(speed, dtype=np.float64)
    cos = np.maximum(np.cos(angle), 0.0)
    flies = v > contact_speed(radius, step, down_force, mass, give)
    over = flies & (cos > 1e-9)
    tilt = np.where(over, angle, 0.0)
    up, fall = v * np.tan(tilt), np.asarray(down_force, dtype=np.float64) / mass
    room = fall * radius * np.cos(tilt) - v**2
    on_circle = 2.0 * (up - np.sqrt(np.maximum(room, 0.0))) / fall
    before_edge = (room > 0.0) & (v * on_circle < radius * np.sin(tilt))
    on_tile = (up + np.sqrt(np.maximum(up**2 - 2.0 * fall * step, 0.0))) / fall
    return np.where(over, v * np.where(before_edge, on_circle, on_tile), np.where(flies, np.inf, 0.0))
