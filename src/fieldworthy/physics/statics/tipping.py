"""Tipping: the limit at an edge, sudden stops, anti-tip rollers and ballast.

Everything is seen across one tipping edge: ``reach`` is the level distance from the centre of gravity to the
edge, ``height`` that of the centre of gravity above it. A robot that tips can hurt people and itself; the
limits are those of a rigid robot on a rigid floor.

Seen across one tipping edge, as in `tipping`. The force at the floor is what grip and motors give, so the load
on the wheels and the way in which the contact slows follow from the motion and are not prescribed.

Everything is said in slacks: the distance from a load point to a tipping edge (`support.edge_slack`), for the
robot and for the ballast alone, along a leading axis of demands (edges, accelerations, poses).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics.statics.support import STANDARD_GRAVITY


def _ratio(top: Real, bottom: Real) -> Array:
    """Divide by what is not negative; where that is 0, infinite with the sign of the top, and 0 for 0."""
    positive = np.asarray(bottom) > 0.0
    endless = np.where(np.asarray(top) == 0.0, 0.0, np.copysign(np.inf, top))
    return np.asarray(np.where(positive, top / np.where(positive, bottom, 1.0), endless))


def tip_acceleration(reach: Real, height: Real, g: Real = STANDARD_GRAVITY) -> Array:
    """Acceleration held for long at which the robot begins to tip.

    a = g d / h.

    Parameters
    ----------
    reach : Level distance from the centre of gravity to the tipping edge [m]
    height, g : Height of the centre of gravity above the edge [m]; gravity [m/s2]

    Returns
    -------
    Acceleration away from the edge, so braking for the front edge [m/s2]; negative where the robot falls over that edge
    at rest; without height infinite, with the sign of the reach.

    References
    ----------
    vukobratovic2004: the load point reaches the edge.
    """
    return _ratio(np.multiply(g, reach), height)


def tip_angle(reach: Real, height: Real) -> Array:
    """Find the static tip angle: the slope on which the robot begins to tip over its downhill edge.

    atan(d / h).

    Parameters
    ----------
    reach : Level distance from the centre of gravity to the tipping edge [m]
    height : Height of the centre of gravity above the edge [m]

    Returns
    -------
    Angle [rad]; negative where the robot falls over that edge on the level.

    References
    ----------
    meriam_statics: impending tip.
    """
    return np.asarray(np.arctan2(reach, height))


def push_to_tip(weight: Real, reach: Real, push_height: Real) -> Array:
    """Level push at which a standing robot tips over the edge away from the push.

    P = W d / y.

    Parameters
    ----------
    weight, reach : Weight [N]; level distance from the centre of gravity to the tipping edge [m]
    push_height : Height at which the push acts [m]

    Returns
    -------
    Force [N]; negative where it falls over at rest; for a push at the floor infinite, with that sign. The robot slides
    first where the friction force is smaller.

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
    mass, inertia : Mass [kg]; moment of inertia about the axis through the centre of gravity parallel to the edge [kg
        m2]
    reach, height : Level distance from the centre of gravity to the edge [m]; height of the centre of gravity above the
        edge [m]

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

    Angular momentum about the edge is kept in the blow: omega = m v (h - s) / I_edge; it goes over when I_edge
    omega^2 / 2 reaches m g (r - (h - s)). A blow without rebound; real wheels and frames give, which eases it.

    Parameters
    ----------
    body : The robot across its leading edge [kg, kg m2, m]
    step : Height of the step that the edge strikes [m]; 0 for a tile seam
    g : Gravity [m/s2]

    Returns
    -------
    Least speed that carries it over [m/s]; infinite where the step is as high as the centre of gravity.

    References
    ----------
    housner1963: overturning by an impulse.
    messuri1985: energy stability margin.
    """
    over = Overturn(body.mass, body.inertia, body.reach, np.subtract(body.height, step))
    energy = 2.0 * over.edge_inertia * body.mass * g * over.rise
    return _ratio(np.sqrt(energy), body.mass * np.maximum(over.height, 0.0))


@dataclass(frozen=True, slots=True)
class RollerStage:
    """The robot at the moment its anti-tip roller meets the floor.

    Parameters
    ----------
    first : The robot across the wheels' edge, level [kg, kg m2, m]
    second : The robot across the roller's edge, tilted [kg, kg m2, m]
    angle : Tilt at which the roller meets the floor [rad]
    speed_kept : Share of the angular velocity that is left after the roller's blow [-]

    References
    ----------
    housner1963: change of the rocking edge.
    """

    first: Overturn
    second: Overturn
    angle: Array
    speed_kept: Array


def roller_stage(body: Overturn, overhang: Real, clearance: Real) -> RollerStage:
    """Find where the tipping edge goes when an anti-tip roller comes down.

    The roller meets the floor at tan(theta) = c / L, sqrt(L^2 + c^2) from the wheels' contact; the centre of
    gravity has then moved to -d cos + h sin, h cos + d sin from that contact. Contacts are points, so the
    roll of locked wheels is left out. Angular momentum about the roller is kept in its blow, without rebound:
    omega_2 / omega_1 = (I + m r_1 . r_2) / (I + m r_2^2).

    Parameters
    ----------
    body : The robot across the wheels' edge [kg, kg m2, m]
    overhang : Level distance from the wheels' edge out to the roller [m]; at 0 or less the roller never helps
    clearance : Height of the roller above the floor when the robot stands level [m], not negative

    Returns
    -------
    Both stages [kg, kg m2, m, rad, -].

    References
    ----------
    housner1963: change of the rocking edge.
    """
    out = np.maximum(overhang, 0.0)
    angle = np.arctan2(clearance, np.maximum(out, 1e-300))
    angle = np.where(out > 0.0, angle, 0.0)
    c, s = np.cos(angle), np.sin(angle)
    behind, height = body.reach * c - body.height * s, body.height * c + body.reach * s
    gap = np.where(out > 0.0, np.hypot(out, clearance), 0.0)
    second = Overturn(body.mass, body.inertia, behind + gap, height)
    between = body.mass * (second.reach * behind + height * height)
    return RollerStage(body, second, angle, (body.inertia + between) / second.edge_inertia)


def roller_impact_tip_speed(stage: RollerStage, g: Real = STANDARD_GRAVITY) -> Array:
    """Speed at which a robot that stops dead goes over its rollers.

    Backwards through the motion: the energy needed from the roller's edge, divided by what its blow leaves,
    plus the rise up to the blow; at least the wheels' own energy where balance comes before the blow.

    Parameters
    ----------
    stage : Both stages [kg, kg m2, m, rad, -]
    g : Gravity [m/s2]

    Returns
    -------
    Least speed that carries it over [m/s]; infinite without height.

    References
    ----------
    housner1963: overturning by an impulse; change of the rocking edge.
    messuri1985: energy stability margin.
    """
    one, two = stage.first, stage.second
    weight2 = 2.0 * one.mass * g
    after = weight2 * two.rise / two.edge_inertia
    raised = weight2 * (two.height - one.height) / one.edge_inertia
    kept = np.maximum(stage.speed_kept, 1e-12)
    through = np.where(two.rise > 0.0, after / kept**2, 0.0) + raised
    spin2 = np.maximum(through, weight2 * one.rise / one.edge_inertia)
    momentum = one.mass * np.maximum(one.height, 0.0)
    moving = momentum > 0.0
    return np.where(moving, np.sqrt(spin2) * one.edge_inertia / np.where(moving, momentum, 1.0), np.inf)


_STEPS = 16
_MOST = 5.0
"""Deceleration that no wheel gives, in g: where the contact jams, it is what is left."""


@dataclass(frozen=True, slots=True)
class Brakes:
    """What slows a robot down at its leading wheels.

    Parameters
    ----------
    grip : Coefficient of friction of the wheels that carry it once it tips [-]
    force : Most that the motors and the resistance give at the rims [N]; infinite where grip alone limits
    rotating_mass : Inertia of wheels, gears and rotors at the rim [kg]
    radius : Of the leading wheels, about whose axle it turns [m]; 0 for a skid

    References
    ----------
    meriam_dynamics: plane motion of a rigid body.
    """

    grip: Real
    force: Real = np.inf
    rotating_mass: Real = 0.0
    radius: Real = 0.0


@dataclass(frozen=True, slots=True)
class Swing:
    """The first swing of a braked robot, from level on.

    Parameters
    ----------
    speed : Speed from which it comes to rest just there [m/s], shape ``(steps, *cases)``; infinite where it never lifts
    energy : What the swing has taken up by then: turning and height [J]
    need : Energy from which it goes over [J], shape ``cases``

    References
    ----------
    meriam_dynamics: plane motion of a rigid body.
    """

    speed: Array
    energy: Array
    need: Array


def over_need(body: Overturn, radius: Real = 0.0, overhang: Real = 0.0, clearance: Real = 0.0,
              g: Real = STANDARD_GRAVITY) -> Array:  # fmt: skip
    """Find what it takes to go over, with an anti-tip roller that takes the load when its clearance closes.

    Parameters
    ----------
    body : The robot across its leading edge [kg, kg m2, m]
    radius : Of the leading wheels [m]
    overhang : Level distance from the wheels' edge out to the roller [m]; at 0 or less there is none
    clearance, g : Height of the roller above the floor when the robot stands level [m], not negative; gravity [m/s2]

    Returns
    -------
    Energy of the swing, turning and height together [J]; 0 where it stands past its edge.

    Notes
    -----
    The body turns about the axle, the wheel's contact stays below it: m g (r + R - h) without rollers. The roller
    rolls freely and its blow is upright: with d_1 and d_2 the level distances of the centre of gravity behind
    wheel and roller, the turning that is left is (I + m d_1 d_2) / (I + m d_2^2), and from there
    (I + m d_2^2) omega^2 / 2 must reach m g (r_2 - z). Continuous in overhang and clearance: a roller that comes
    down late asks for no more than the wheels' own edge.

    References
    ----------
    housner1963: change of the rocking edge.
    messuri1985: energy stability margin.
    """
    up = np.subtract(body.height, radius)
    arm, balance = np.hypot(body.reach, up), np.arctan2(body.reach, up)
    own = np.where(np.asarray(body.reach) > 0.0, body.mass * g * (radius + arm - body.height), 0.0)
    out, below = np.maximum(overhang, 1e-12), np.subtract(radius, clearance)
    span = np.hypot(out, below)  # from the axle to the roller's lowest point: shorter than the wheel, it stays up
    angle = np.arcsin(np.minimum(radius / span, 1.0)) - np.arctan2(below, out)
    behind, height = arm * np.sin(balance - angle), radius + arm * np.cos(balance - angle)
    far = np.maximum(behind + out * np.cos(angle) - below * np.sin(angle), 0.0)
    turned, edge = body.inertia + body.mass * behind * far, body.inertia + body.mass * far * far
    # over the roller until its vertical, or until the wheel's rim is down again, where the roller hardly stands out
    back = np.arctan2(far, height)
    turn = np.minimum(2.0 * np.arccos(np.minimum(radius / span, 1.0)), back)
    rise = np.hypot(far, height) * np.cos(back - turn) - height
    spin = 2.0 * body.mass * g * rise * edge / np.maximum(turned, 1e-9) ** 2
    about = body.inertia + body.mass * (behind**2 + height**2)
    caught = 0.5 * about * spin + body.mass * g * (height - body.height)
    rolls = (np.asarray(overhang) > 0.0) & (span > radius) & (far > 0.0) & (height > 0.0) & (own > 0.0)
    return np.where(rolls, np.maximum(caught, own), own)


def swing(body: Overturn, brakes: Brakes, need: Real, g: Real = STANDARD_GRAVITY) -> Swing:
    """Follow a braked robot as it turns on its leading wheels.

    Parameters
    ----------
    body : The robot across its leading edge [kg, kg m2, m]
    brakes : What slows it [-, N, kg, m]
    need, g : Energy from which it goes over, of `over_need` [J]; gravity [m/s2]

    Returns
    -------
    Speed and energy along the swing [m/s, J].

    Notes
    -----
    With psi the angle of the centre of gravity behind the axle's vertical, z its height and N the load:
    I phi'' = F z - N R sin psi, N = m (g + R phi'' sin psi - R phi'^2 cos psi), F the lesser of mu N and what
    the brakes' force leaves after slowing the rotating mass. No force depends on the speed, so one run gives
    the swing for every speed: it ends where the contact comes to rest, v = r phi'. From there it rolls on the
    locked wheels' rims, and keeps its energy. Followed up to balance, by midpoint steps in the square root of
    the tilt; the spin of the wheels and their hop are left out.

    References
    ----------
    meriam_dynamics: plane motion of a rigid body; Coulomb friction.
    """
    inputs = (body.mass, body.inertia, body.reach, body.height, brakes.grip, brakes.force, brakes.rotating_mass,
              brakes.radius, need)  # fmt: skip
    wide = np.broadcast_arrays(*(np.asarray(x, dtype=np.float64) for x in inputs))
    shape = wide[0].shape
    flat = [x.reshape(-1) for x in wide]
    reach, height, whole = flat[2], flat[3], flat[8]
    lifts = (reach > 0.0) & (_hardest(flat, g) * height > g * reach)
    speed = np.where(reach > 0.0, np.inf, 0.0) + np.zeros((_STEPS + 1, 1))
    energy = np.zeros_like(speed)
    if lifts.any():
        some = slice(None) if lifts.all() else lifts
        speed[:, some], energy[:, some] = _followed([x[some] for x in flat], g)
    wide_shape = (_STEPS + 1, *shape)
    return Swing(speed.reshape(wide_shape), energy.reshape(wide_shape), whole.reshape(shape))


def _hardest(flat: list[Array], g: Real) -> Array:
    """Deceleration before it lifts."""
    mass, _, _, _, grip, force, rotating = flat[:7]
    return np.asarray(np.minimum(grip * g, force / (mass + rotating)))


def _followed(flat: list[Array], g: Real) -> tuple[Array, Array]:
    """Speed and energy at each step, for robots that lift."""
    mass, inertia, reach, height, grip, force, rotating, radius, _ = flat
    up = height - radius
    arm, own = np.hypot(reach, up), inertia / mass
    s = np.linspace(0.0, 1.0, 2 * _STEPS + 1)[:, None]
    end = np.arctan2(reach, up)
    psi = end * (1.0 - s * s)
    side, top = arm * np.sin(psi), arm * np.cos(psi)
    z = radius + top
    # the acceleration phi'' is the lesser of two straight lines in phi'^2
    lean = grip * z - side
    still = own + side * side - grip * z * side
    by_grip = lean / np.where(still > 0.0, still, 1.0)
    jams = (still <= 0.0) & (lean > 0.0)
    # wheels that slip from the start are soon locked: what turns with them need not be slowed any more
    turning = np.where(grip * g < force / (mass + rotating), 0.0, rotating)
    share, pull = turning / (mass + turning), np.minimum(force / (mass + turning), _MOST * g)
    slow = 1.0 / (own + share * top * z + side * side)
    base, slope = (z * pull - g * side) * slow, side * (top - share * z) * slow

    def turn(i: int, u: Array) -> Array:
        """Angular acceleration at a node."""
        gripped = np.where(jams[i], np.inf, by_grip[i] * np.maximum(g - top[i] * u, 0.0))
        return np.asarray(np.minimum(gripped, base[i] + slope[i] * u))

    step = 1.0 / _STEPS
    spin, alpha = np.zeros((2, _STEPS + 1, mass.size))
    alpha[0] = turn(0, spin[0])
    for i in range(_STEPS):
        at = 2 * i
        half = spin[i] + 2.0 * alpha[i] * end * (s[at + 1] ** 2 - s[at] ** 2)
        middle = turn(at + 1, half)
        spin[i + 1] = spin[i] + 2.0 * middle * end * (s[at + 2] ** 2 - s[at] ** 2)
        alpha[i + 1] = turn(at + 2, spin[i + 1])
    side, top, z, knots = side[::2], top[::2], z[::2], s[::2]
    load = np.maximum(g + side * alpha - top * spin, 0.0)
    slowing = (own * alpha + load * side) / z + top * alpha + side * spin
    rate = np.sqrt(np.maximum(spin, 0.0))
    begin = np.sqrt(2.0 * np.maximum(alpha[0], 1e-12) * end)
    per_step = slowing * 2.0 * end * knots / np.maximum(rate, 1e-12)
    per_step[0] = slowing[0] * 2.0 * end / np.maximum(begin, 1e-12)
    lost = np.zeros_like(spin)
    np.cumsum(0.5 * step * (per_step[1:] + per_step[:-1]), axis=0, out=lost[1:])
    energy = mass * (0.5 * (own + side**2 + z**2) * spin + g * (z - height))
    return lost + radius * rate, np.maximum(energy, 0.0)


def over_speed(swung: Swing) -> Array:
    """Speed from which braking to rest carries the robot over.

    Where the energy reaches the need; between the nodes the speed is taken as straight in the square root of the
    energy, and beyond balance as proportional to it. A swing that meets the rollers sooner is caught, but goes on
    bouncing between wheels and rollers while the brakes pull: it is followed as if the wheels alone carried it, to
    the safe side and without a step in the roller's place.

    Parameters
    ----------
    swung : Its first swing [m/s, J]

    Returns
    -------
    Least speed that carries it over [m/s]; infinite where it never lifts, 0 where it stands past its edge.

    References
    ----------
    messuri1985: energy stability margin.
    """
    steps = len(swung.speed)
    reached = swung.energy >= swung.need * (1.0 - 1e-9)
    at = np.where(reached.any(axis=0), np.argmax(reached, axis=0), steps - 1)
    (e1, v1), (e2, v2) = (_node(swung, i) for i in (np.maximum(at - 1, 0), at))
    low, high = np.sqrt(e1), np.sqrt(e2)
    lifts = np.isfinite(v2) & (high > low)
    part = (np.sqrt(swung.need) - low) / np.where(lifts, high - low, 1.0)
    within = np.where(lifts, v1, 0.0) + part * np.where(lifts, v2 - np.where(lifts, v1, 0.0), 0.0)
    beyond = np.where(lifts, v2, 0.0) * np.sqrt(swung.need / np.where(lifts, e2, 1.0))
    found = np.where(lifts, np.where(reached.any(axis=0), within, beyond), np.inf)
    return np.asarray(np.where(swung.speed[-1] == 0.0, 0.0, found))


def _node(swung: Swing, i: npt.NDArray[np.intp]) -> tuple[Array, Array]:
    row = np.expand_dims(i, 0)
    return np.take_along_axis(swung.energy, row, axis=0)[0], np.take_along_axis(swung.speed, row, axis=0)[0]


def least_ballast(mass: Real, slack: Array, ballast_slack: Array, target: Real = 0.0) -> Array:
    """Least ballast at one place that brings every demand to its target.

    From (M s + m s_b) / (M + m) >= t: a demand that is short asks m >= M (t - s) / (s_b - t) if the ballast
    stands better than the target, else it cannot be met; a demand that is met allows m <= M (s - t) / (t -
    s_b) if the ballast stands worse than the target. Infinite where the most that is asked exceeds the least
    that is allowed. Infinite slacks (pairs that are no edge) ask nothing.

    Parameters
    ----------
    mass : Mass of the robot without ballast [kg], shape ``cases``
    slack : Slack of the robot for each demand [m], shape ``(e, *cases)``
    ballast_slack : Slack of the ballast alone for each demand [m], shape ``(e, *cases)``
    target : Slack wanted [m], shape ``cases`` or ``(e, *cases)``

    Returns
    -------
    Mass [kg], shape ``cases``; 0 where nothing is needed, infinite where no mass at this place does it.

    References
    ----------
    meriam_statics: centre of mass of composite bodies.
    """
    edge = np.isfinite(slack)
    short = np.where(edge, target - np.where(edge, slack, 0.0), -1.0)
    gain = np.where(edge, np.where(edge, ballast_slack, 0.0) - target, 1.0)
    turning = np.where(gain != 0.0, short / np.where(gain != 0.0, gain, 1.0), np.inf)
    asks = np.where(short <= 0.0, 0.0, np.where(gain > 0.0, turning, np.inf)).max(axis=0)
    allows = np.where((short <= 0.0) & (gain < 0.0), turning, np.inf).min(axis=0)
    possible = (asks <= allows) & np.isfinite(asks)
    return np.where(possible, mass * np.where(possible, asks, 0.0), np.inf)


@dataclass(frozen=True, slots=True)
class BallastChoice:
    """Where the ballast goes and how much of it.

    Parameters
    ----------
    place : Index of the best candidate [-], shape ``cases``; 0 where none does it
    mass : Ballast there [kg], shape ``cases``; infinite where no candidate does it within the limit
    each : Least ballast at every candidate [kg], shape ``(q, *cases)``
    pace_lost : Share of the acceleration that the added mass costs at the same drive force [-], shape ``cases``

    References
    ----------
    meriam_statics: centre of mass of composite bodies.
    """

    place: npt.NDArray[np.int_]
    mass: Array
    each: Array
    pace_lost: Array


def best_ballast(
    mass: Real, slack: Array, ballast_slack: Array, target: Real = 0.0, limit: Real = np.inf
) -> BallastChoice:
    """Choose the place that needs the least ballast.

    More mass slows the robot, m / (M + m) of its acceleration, so the place that needs least is best; the
    first of equals wins.

    Parameters
    ----------
    mass : Mass of the robot without ballast [kg], shape ``cases``
    slack : Slack of the robot for each demand [m], shape ``(e, *cases)``
    ballast_slack : Slack of a ballast at each candidate place for each demand [m], shape ``(q, e, *cases)``
    target : Slack wanted [m], shape ``cases`` or ``(e, *cases)``
    limit : Most ballast that the size or weight limit still allows [kg]

    Returns
    -------
    The best place, its mass and what it costs [-, kg].

    Raises
    ------
    ValueError : No candidate place

    References
    ----------
    meriam_statics: centre of mass of composite bodies.
    """
    if len(ballast_slack) == 0:
        raise ValueError("there is no candidate place for ballast")
    each = np.stack([least_ballast(mass, slack, place, target) for place in ballast_slack])
    each = np.where(each <= limit, each, np.inf)
    least = each.min(axis=0)
    known = np.isfinite(least)
    finite = np.where(known, least, 0.0)
    lost = np.where(known, finite / (mass + finite), 1.0)
    return BallastChoice(np.asarray(each.argmin(axis=0)), least, each, lost)
