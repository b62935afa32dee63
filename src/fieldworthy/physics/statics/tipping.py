"""When a robot tips over an edge: held acceleration, slope, turning, push, sudden stop, anti-tip rollers.

Everything is seen across one tipping edge: ``reach`` is the level distance from the centre of gravity to the
edge, ``height`` that of the centre of gravity above it. A robot that tips can hurt people and itself; the
limits are those of a rigid robot on a rigid floor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics.statics.support import STANDARD_GRAVITY


def _ratio(top: Real, bottom: Real) -> Array:
    """Divide by what is not negative; where that is 0, infinite with the sign of the top, and 0 for 0."""
    positive = np.asarray(bottom) > 0.0
    endless = np.where(np.asarray(top) == 0.0, 0.0, np.copysign(np.inf, top))
    return np.asarray(np.where(positive, top / np.where(positive, bottom, 1.0), endless))


def tip_acceleration(reach: Real, height: Real, g: Real = STANDARD_GRAVITY) -> Array:
    """Acceleration held for long at which the robot begins to tip.

    Parameters
    ----------
    reach : Real
        Level distance from the centre of gravity to the tipping edge [m].
    height : Real
        Height of the centre of gravity above the edge [m].
    g : Real
        Gravity [m/s2].

    Returns
    -------
    Array
        Acceleration away from the edge, so braking for the front edge [m/s2]; negative where the robot falls
        over that edge at rest; without height infinite, with the sign of the reach.

    Notes
    -----
    a = g d / h.

    References
    ----------
    vukobratovic2004: the load point reaches the edge.
    """
    return _ratio(np.multiply(g, reach), height)


def tip_angle(reach: Real, height: Real) -> Array:
    """Find the static tip angle: the slope on which the robot begins to tip over its downhill edge.

    Parameters
    ----------
    reach : Real
        Level distance from the centre of gravity to the tipping edge [m].
    height : Real
        Height of the centre of gravity above the edge [m].

    Returns
    -------
    Array
        Angle [rad]; negative where the robot falls over that edge on the level.

    Notes
    -----
    atan(d / h).

    References
    ----------
    meriam_statics: impending tip.
    """
    return np.asarray(np.arctan2(reach, height))


def push_to_tip(weight: Real, reach: Real, push_height: Real) -> Array:
    """Level push at which a standing robot tips over the edge away from the push.

    Parameters
    ----------
    weight : Real
        Weight [N].
    reach : Real
        Level distance from the centre of gravity to the tipping edge [m].
    push_height : Real
        Height at which the push acts [m].

    Returns
    -------
    Array
        Force [N]; negative where it falls over at rest; for a push at the floor infinite, with that sign. The
        robot slides first where the friction force is smaller.

    Notes
    -----
    P = W d / y.

    References
    ----------
    meriam_statics: slip or tip of a pushed block.
    """
    return _ratio(np.multiply(weight, reach), push_height)


@dataclass(frozen=True, slots=True)
class Overturn:
    """A robot seen across one tipping edge.

    Parameters
    ----------
    mass : Real
        Mass [kg].
    inertia : Real
        Moment of inertia about the axis through the centre of gravity parallel to the edge [kg m2].
    reach : Real
        Level distance from the centre of gravity to the edge [m].
    height : Real
        Height of the centre of gravity above the edge [m].

    References
    ----------
    housner1963: rocking block.
    """

    mass: Real
    inertia: Real
    reach: Real
    height: Real

    @property
    def radius(self) -> Array:
        """Distance from the edge to the centre of gravity [m]."""
        return np.hypot(self.reach, self.height)

    @property
    def edge_inertia(self) -> Array:
        """Moment of inertia about the edge [kg m2]."""
        return np.asarray(self.inertia + self.mass * self.radius**2)

    @property
    def rise(self) -> Array:
        """How far the centre of gravity must rise to go over the edge [m]; 0 past the edge."""
        return np.asarray(np.where(np.asarray(self.reach) > 0.0, self.radius - self.height, 0.0))


def impact_tip_speed(body: Overturn, step: Real = 0.0, g: Real = STANDARD_GRAVITY) -> Array:
    """Speed at which a robot that stops dead against a step goes over it.

    Parameters
    ----------
    body : Overturn
        The robot across its leading edge [kg, kg m2, m].
    step : Real
        Height of the step that the edge strikes [m]; 0 for a tile seam.
    g : Real
        Gravity [m/s2].

    Returns
    -------
    Array
        Least speed that carries it over [m/s]; infinite where the step is as high as the centre of gravity.

    Notes
    -----
    Angular momentum about the edge is kept in the blow: omega = m v (h - s) / I_edge; it goes over when
    I_edge omega^2 / 2 reaches m g (r - (h - s)). A blow without rebound; real wheels and frames give, which
    eases it.

    References
    ----------
    housner1963: overturning by an impulse.
    messuri1985: energy stability margin.
    """
    over = Overturn(body.mass, body.inertia, body.reach, np.subtract(body.height, step))
    energy = 2.0 * over.edge_inertia * body.mass * g * over.rise
    return _ratio(np.sqrt(energy), body.mass * np.maximum(over.height, 0.0))
