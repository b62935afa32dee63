"""A tracking wheel on a floor of foam tiles: steps and gaps at the seams, sinking in, losing contact.

What the size of the wheel does, by these models: force to get over a step falls as 1/sqrt(radius), out of a gap as
1/radius; reading error at a step as 1/sqrt(radius); sinking in as radius^(-1/3). So 2.75 in wheels do better than
2.0 in ones by 11 to 38 percent (common practice, no source, makes more of it). Nothing here makes a small wheel
wobble: the sideways swing of a tilted wheel grows with its radius.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require


def _contact_angle(radius: Real, step: Real) -> Array:
    """Angle from the vertical of the line from the corner to the axle, a right angle for a step too high [rad]."""
    require.positive(radius=radius)
    require.not_negative(step=step)
    return np.arccos(np.clip(1.0 - np.asarray(step, dtype=np.float64) / radius, 0.0, 1.0))


def step_force(radius: Real, step: Real, load: Real) -> Array:
    """Horizontal force at the axle that starts a rigid wheel over a square step.

    Parameters
    ----------
    radius, step : Real
        Wheel radius; height of the step [m].
    load : Real
        Force down at the axle: weight and suspension [N].

    Returns
    -------
    Array
        The force [N]; infinite where the step is as high as the radius.

    Raises
    ------
    ValueError
        If the radius is not positive, or step or load is negative.

    Notes
    -----
    Moment about the corner: F (R - s) = W sqrt(R^2 - (R - s)^2). It is largest at the start and falls to zero at the
    top.

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
    depth, half_length, peak_pressure : Array
        How far it sinks in; half the length of the contact [m]; pressure in the middle of the contact [Pa].
    strain : Array
        Depth over thickness of the foam [-].
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
    modulus : Real
        Compressive modulus [Pa]; measure it: load on a block over its area, over its share of compression.
    thickness, loss : Real
        Thickness [m]; share of the work of pressing it in that it does not give back [-].

    Raises
    ------
    ValueError
        If modulus or thickness is not positive, or the loss is outside 0 to 1.
    """

    modulus: Real
    thickness: Real
    loss: Real = 0.0

    def __post_init__(self) -> None:
        require.positive(modulus=self.modulus, thickness=self.thickness)
        require.fraction(loss=self.loss)


def sinkage(radius: Real, width: Real, load: Real, foam: Foam) -> Sinkage:
    """How far a rigid wheel sinks into foam.

    Parameters
    ----------
    radius, width, load : Real
        Wheel radius, and width of its tread [m]; force down [N].
    foam : Foam
        The floor.

    Returns
    -------
    Sinkage
        Depth [m], half length of contact [m], pressure [Pa] and strain [-].

    Raises
    ------
    ValueError
        If radius or width is not positive or the load negative.

    Notes
    -----
    Elastic foundation (Winkler): independent springs of modulus/thickness, so the pressure is E/h (d - x^2/(2 R)),
    the half length a = (3 W R h / (2 E b))^(1/3) and the depth a^2/(2 R). Good while the wheel is wide against the
    foam's thickness, the depth small against the radius and the strain below about 0.2; foam is stiffer beyond, and
    edges of a narrow tread carry more than this says.

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
    radius, step, down_force : Real
        Wheel radius; height of the step [m]; force down on the wheel, its weight included [N].
    mass : Real
        Mass that moves up and down with the wheel [kg].
    give : Real
        How far a floor that gives way follows the wheel up: the depth to which it stands in it, from `sinkage`, times
        1 - loss of the foam, since by energy the rest of the work is not given back; 0 for a hard floor [m].

    Returns
    -------
    Array
        The speed [m/s]; infinite where there is no step, 0 where it is as high as the radius.

    Raises
    ------
    ValueError
        If the radius or the mass is not positive, or step, down-force or give is negative.

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

    Parameters
    ----------
    radius, step : Real
        Wheel radius; height of the step [m].
    down_force : Real
        Force down on the wheel, its weight included [N], above zero.
    mass, speed : Real
        Mass that moves up and down with the wheel [kg]; speed of the robot [m/s].
    give : Real
        How far the floor follows the wheel up, as in `contact_speed` [m].

    Returns
    -------
    Array
        The travel [m], 0 below the speed of contact; infinite where the step is as high as the radius and the robot
        moves. It bounds the travel missed: a spinning wheel goes on turning for a while.

    Raises
    ------
    ValueError
        If radius, down-force or mass is not positive, or step or speed is negative.

    Notes
    -----
    The edge throws the axle upward at v tan(angle), and it falls with g = down_force/mass. It meets the corner's
    circle again after 2 (v tan(angle) - sqrt(g R cos(angle) - v^2))/g if that is before the edge, else it comes
    down on the upper tile. No rebound, and a constant down-force; a floor that
    gives way is counted in whether it flies at all, not in how far.
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
