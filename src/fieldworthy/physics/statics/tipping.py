"""When a robot tips over an edge: held acceleration, slope, turning, push, sudden stop, anti-tip rollers.

Everything is seen across one tipping edge: ``reach`` is the level distance from the centre of gravity to the
edge, ``height`` that of the centre of gravity above it. A robot that tips can hurt people and itself; the
limits are those of a rigid robot on a rigid floor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fieldworthy.physics._types import Array, Real
from fieldworthy.physics.statics._elliptic import carlson_rf, jacobi_cd
from fieldworthy.physics.statics.support import STANDARD_GRAVITY


def _ratio(top: Real, bottom: Real) -> Array:
    """Divide non-negative numbers, where nothing below means no limit."""
    positive = np.asarray(bottom) > 0.0
    return np.asarray(np.where(positive, top / np.where(positive, bottom, 1.0), np.inf))


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
        over that edge at rest, infinite without height.

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


def slope_gravity(slope: Real, heading: Real = 0.0, g: Real = STANDARD_GRAVITY) -> Array:
    """Gravity in the axes of a robot that stands on a slope.

    Parameters
    ----------
    slope : Real
        Angle of the slope [rad], below pi/2.
    heading : Real
        Direction that points downhill, from x (forward) towards y (left) [rad].
    g : Real
        Gravity [m/s2].

    Returns
    -------
    Array
        Gravity [m/s2], shape ``(3, *cases)``.

    Notes
    -----
    g (sin s cos q, sin s sin q, -cos s).

    References
    ----------
    iso8855: axes.
    """
    along = np.multiply(g, np.sin(slope))
    parts = (along * np.cos(heading), along * np.sin(heading), -np.multiply(g, np.cos(slope)))
    return np.stack(np.broadcast_arrays(*parts))


def turning_acceleration(speed: Real, yaw_rate: Real) -> Array:
    """Lateral acceleration of a robot that turns while it drives.

    Parameters
    ----------
    speed : Real
        Forward speed [m/s].
    yaw_rate : Real
        Yaw rate, positive to the left [rad/s].

    Returns
    -------
    Array
        Acceleration to the left [m/s2]; the robot leans the other way.

    Notes
    -----
    a_y = v omega, or v^2 / r with omega = v / r. With the forward acceleration it makes the vector that
    `support.load_point` takes.

    References
    ----------
    iso8855: lateral acceleration in steady turning.
    """
    return np.asarray(np.multiply(speed, yaw_rate))


def turning_tip_speed(radius: Real, reach: Real, height: Real, g: Real = STANDARD_GRAVITY) -> Array:
    """Speed at which a robot tips outwards in a turn of a given radius.

    Parameters
    ----------
    radius : Real
        Radius of the turn [m].
    reach : Real
        Level distance from the centre of gravity to the outer edge [m].
    height : Real
        Height of the centre of gravity [m].
    g : Real
        Gravity [m/s2].

    Returns
    -------
    Array
        Speed [m/s]; 0 where the robot falls over that edge at rest.

    Notes
    -----
    v^2 / r = g d / h. It only comes to that if the wheels grip: friction above d / h.

    References
    ----------
    meriam_dynamics: curvilinear motion; impending tip.
    """
    return np.sqrt(np.maximum(tip_acceleration(reach, height, g), 0.0) * radius)


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
        Force [N]; infinite for a push at the floor. The robot slides first where the friction force is
        smaller.

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


@dataclass(frozen=True, slots=True)
class _Braked:
    """The tilted pendulum of a robot that brakes harder than its tip limit."""

    tips: npt.NDArray[np.bool_]
    balance: Array
    lean: Array
    rate: Array
    minor: Array


def _braked(body: Overturn, braking: Real, g: Real) -> _Braked:
    balance = np.arctan2(body.reach, body.height)
    apparent = np.arctan2(braking, g)
    tips = apparent > balance
    lean = np.where(tips, apparent - balance, 0.5)
    rate = np.sqrt(body.mass * np.hypot(g, braking) * body.radius / body.edge_inertia)
    return _Braked(tips, balance, lean, rate, np.sin(0.5 * lean) ** 2)


def braking_work_ratio(body: Overturn, braking: Real, duration: Real, g: Real = STANDARD_GRAVITY) -> Array:
    """How much of the energy needed to go over has been taken up when the brakes have stopped the robot.

    Parameters
    ----------
    body : Overturn
        The robot across its leading edge [kg, kg m2, m].
    braking : Real
        Constant deceleration of the wheels' contact [m/s2], not negative.
    duration : Real
        How long it lasts: speed / deceleration [s].
    g : Real
        Gravity [m/s2].

    Returns
    -------
    Array
        Work of the inertia force over the energy needed [-]: 0 where it does not lift, below 1 it falls back,
        from 1 on it goes over; infinite where the robot stands past its edge.

    Notes
    -----
    With phi the angle of the centre of gravity behind the edge's vertical, I phi'' = m r G sin(phi - phi_a),
    G^2 = g^2 + a^2, tan phi_a = a/g: a pendulum, solved exactly by cos((phi_a - phi)/2) = k cd(w t, k). The
    work is m a r (sin phi_0 - sin phi), the need m g r (1 - cos phi_0). Followed until the robot lies on its
    front.

    References
    ----------
    dlmf: Jacobi functions.
    housner1963: overturning by a pulse of constant acceleration.
    """
    b = _braked(body, braking, g)
    half = np.arccos(np.clip(np.sqrt(1.0 - b.minor) * jacobi_cd(b.rate * duration, b.minor), 0.0, 1.0))
    fallen = b.balance + b.lean - 2.0 * half
    work = braking * (np.sin(b.balance) - np.sin(np.maximum(fallen, -0.5 * np.pi)))
    ratio = _ratio(np.maximum(work, 0.0), g * (1.0 - np.cos(b.balance)))
    return np.where(b.balance <= 0.0, np.inf, np.where(b.tips, ratio, 0.0))


def braking_lift_angle(body: Overturn, work_ratio: Real) -> Array:
    """How far a braked robot lifts before it falls back.

    Parameters
    ----------
    body : Overturn
        The robot across its leading edge [kg, kg m2, m].
    work_ratio : Real
        Share of the energy needed to go over, from `braking_work_ratio` [-].

    Returns
    -------
    Array
        Greatest tilt [rad]; the angle of balance itself where it goes over, 0 where it does not lift.

    Notes
    -----
    cos phi = cos phi_0 + q (1 - cos phi_0).

    References
    ----------
    messuri1985: energy stability margin.
    """
    balance = np.maximum(np.arctan2(body.reach, body.height), 0.0)
    kept = np.cos(balance) + np.clip(work_ratio, 0.0, 1.0) * (1.0 - np.cos(balance))
    return np.asarray(balance - np.arccos(np.clip(kept, -1.0, 1.0)))


def braking_tip_speed(body: Overturn, braking: Real, g: Real = STANDARD_GRAVITY) -> Array:
    """Speed from which braking to rest at a constant rate carries the robot over its front edge.

    Parameters
    ----------
    body : Overturn
        The robot across its leading edge [kg, kg m2, m].
    braking : Real
        Constant deceleration of the wheels' contact [m/s2], not negative.
    g : Real
        Gravity [m/s2].

    Returns
    -------
    Array
        Least speed that carries it over [m/s]; infinite up to the tip limit g d / h, where it never lifts; 0
        where it stands past its edge.

    Notes
    -----
    The time at which `braking_work_ratio` is 1, by inverting cd with Carlson's integral; exact for a rigid
    robot. Tends to `impact_tip_speed` for very hard braking. A low, wide
    robot may need less speed under longer braking, because it rises into the pull. Backwards or sideways take
    the overturn across that edge.

    References
    ----------
    dlmf: Carlson's R_F.
    housner1963: overturning by a pulse of constant acceleration.
    """
    b = _braked(body, braking, g)
    a = np.where(b.tips, np.maximum(braking, 1e-300), 1.0)
    sine = np.sin(b.balance) - (g / a) * (1.0 - np.cos(b.balance))
    passed = np.arcsin(np.clip(np.where(b.tips, sine, 0.0), -1.0, 1.0))
    swung = np.maximum(np.sin(0.5 * (b.balance + b.lean - passed)) ** 2, b.minor)
    major = 1.0 - b.minor
    sn = np.sqrt((swung - b.minor) / (major * swung))
    time = sn * carlson_rf(b.minor * (1.0 - swung) / (major * swung), b.minor / swung, 1.0) / b.rate
    return np.where(b.balance <= 0.0, 0.0, np.where(b.tips, a * time, np.inf))


def shift_needed(reach: Real, height: Real, acceleration: Real, g: Real = STANDARD_GRAVITY) -> Array:
    """How far the centre of gravity must move away from an edge to stand an acceleration.

    Parameters
    ----------
    reach : Real
        Level distance from the centre of gravity to the edge [m].
    height : Real
        Height of the centre of gravity [m].
    acceleration : Real
        Acceleration away from the edge that must not tip it [m/s2].
    g : Real
        Gravity [m/s2].

    Returns
    -------
    Array
        Level shift away from the edge [m]; negative is what there is to spare.

    Notes
    -----
    a h / g - d.

    References
    ----------
    vukobratovic2004: the load point stays inside.
    """
    return np.asarray(np.multiply(acceleration, height) / g - reach)


def height_allowed(reach: Real, acceleration: Real, g: Real = STANDARD_GRAVITY) -> Array:
    """Greatest height of the centre of gravity that stands an acceleration.

    Parameters
    ----------
    reach : Real
        Level distance from the centre of gravity to the edge [m].
    acceleration : Real
        Acceleration away from the edge that must not tip it [m/s2], not negative.
    g : Real
        Gravity [m/s2].

    Returns
    -------
    Array
        Height [m]; infinite without acceleration, 0 where the robot stands past its edge.

    Notes
    -----
    h = g d / a.

    References
    ----------
    vukobratovic2004: the load point stays inside.
    """
    return _ratio(np.maximum(np.multiply(g, reach), 0.0), acceleration)
