"""A pneumatic cylinder: its forces, its chambers as they fill and vent, and a stroke over time.

The extend side is the full piston face, the retract side the ring around the rod. Dead volume is what must be filled
before the piston moves and is lost with every exhaust: end clearance, ports, fittings and the tubing from the valve.

Caution: a cylinder moves without warning as soon as it is fed. Keep hands out of the pinch points, and
empty the tank before working on the mechanism.

A chamber has one rate [1/s]: what its element could pass when choked over what it holds. In the choked
range the pressure rises linearly or falls exponentially. In the subsonic range the quarter ellipse of the
flow turns into an angle, and the time is an elementary integral of that angle. All pressures are absolute,
the air keeps its temperature (small chambers exchange heat quickly) except where a function says adiabatic.

Caution: venting air is loud and throws dirt; wear eye protection and point exhausts away from people.

When the valve switches, the driving chamber fills and the other one vents until their forces overcome the
load: the lag. Then the piston moves, its speed set by how fast air can flow in and out and by the mass it
carries. A tank that is not large beside the cylinder gives less and less pressure on the way.

The lag comes from the closed forms of filling and venting. The motion is a quasi-steady march over a few positions:
in each step both chambers' mass balances are solved implicitly (a quadratic each on the flow ellipse) together with
the momentum of the moving mass, so that neither a tiny chamber nor a tiny mass calls for small steps.

Caution: fast cylinders hit their end stops and anything in between. Keep hands clear, and restrict the
exhaust rather than the supply where a stroke should be gentle.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import above, at_least
from fieldworthy.physics.gas.air import P_ATM, R_AIR, RHO_ANR, T_ANR, Element


@dataclass(frozen=True, slots=True, eq=False)
class Cylinder:
    """Geometry of a cylinder.

    Parameters
    ----------
    bore, rod, stroke : Bore diameter [m]; rod diameter, less than the bore [m]; stroke [m]
    dead_extend, dead_retract : Dead volume of the extend side with its tubing [m3]; dead volume of the retract side
        with its tubing [m3]
    double_acting : Air drives both ways; otherwise a spring brings the rod back and its side is open to the atmosphere
    spring : Spring force that pulls the rod in: at the retracted end [N] and its rise with extension [N/m]

    Raises
    ------
    ValueError : If a size is not positive, the rod is not thinner than the bore, or a volume or spring is negative

    References
    ----------
    beater: cylinders, geometry.
    """

    bore: Real
    rod: Real
    stroke: Real
    dead_extend: Real = 0.0
    dead_retract: Real = 0.0
    double_acting: bool = True
    spring: tuple[Real, Real] = (0.0, 0.0)

    def __post_init__(self) -> None:
        for name in ("bore", "stroke"):
            if not above(0.0, getattr(self, name)):
                raise ValueError(f"{name} must be above zero, got {getattr(self, name)}")
        if not (at_least(0.0, self.rod) and above(0.0, self.bore - self.rod)):
            raise ValueError(f"rod must be from 0 to below the bore {self.bore}, got {self.rod}")
        for name, value in (("dead_extend", self.dead_extend), ("dead_retract", self.dead_retract)):
            if not at_least(0.0, value):
                raise ValueError(f"{name} must not be negative, got {value}")
        if not at_least(0.0, *self.spring):
            raise ValueError(f"spring force and rate must not be negative, got {self.spring}")

    @property
    def piston_area(self) -> Real:
        """Area of the extend side [m2]."""
        return 0.25 * np.pi * np.square(self.bore)

    @property
    def ring_area(self) -> Real:
        """Area of the retract side, the piston less the rod [m2]."""
        return 0.25 * np.pi * (np.square(self.bore) - np.square(self.rod))

    @property
    def swept_extend(self) -> Real:
        """Volume swept on the extend side [m3]."""
        return self.piston_area * self.stroke

    @property
    def swept_retract(self) -> Real:
        """Volume swept on the retract side [m3]."""
        return self.ring_area * self.stroke

    def spring_force(self, extension: Real) -> Real:
        """Force of the spring that pulls the rod in.

        Parameters
        ----------
        extension : Travel from the retracted end [m]

        Returns
        -------
        Force [N].

        References
        ----------
        practice: linear spring.
        """
        return self.spring[0] + self.spring[1] * extension


def push_force(
    cylinder: Cylinder,
    p_abs: Real,
    p_back_abs: Real = P_ATM,
    friction: Real = 0.0,
    extension: Real = 0.0,
    p_atm: Real = P_ATM,
) -> Real:
    """Force with which the rod pushes out.

    ``F = p A1 - p_back A2 - p_atm (A1 - A2) - spring - friction``.

    Parameters
    ----------
    cylinder : The cylinder
    p_abs, p_back_abs : Absolute pressure on the extend side [Pa]; absolute pressure left on the rod's side [Pa]
    friction : Seal friction, which takes from the force; common practice, no source: 5 % to 15 % of it [N]
    extension, p_atm : Travel from the retracted end, for the spring [m]; pressure of the atmosphere on the rod's
        cross-section [Pa]

    Returns
    -------
    Force, negative where it does not push at all [N].

    References
    ----------
    beater: cylinder force, free body of the piston.
    """
    A1, A2 = cylinder.piston_area, cylinder.ring_area
    gas = (p_abs - p_atm) * A1 - (p_back_abs - p_atm) * A2
    return gas - cylinder.spring_force(extension) - friction


def pull_force(
    cylinder: Cylinder,
    p_abs: Real,
    p_back_abs: Real = P_ATM,
    friction: Real = 0.0,
    extension: Real = 0.0,
    p_atm: Real = P_ATM,
) -> Real:
    """Force with which the rod pulls in.

    ``F = p A2 - p_back A1 + p_atm (A1 - A2) + spring - friction``.

    Parameters
    ----------
    cylinder : The cylinder
    p_abs, p_back_abs : Absolute pressure on the rod's side [Pa]; absolute pressure left on the extend side [Pa]
    friction, extension : Seal friction, which takes from the force [N]; travel from the retracted end, for the spring
        [m]
    p_atm : Pressure of the atmosphere on the rod's cross-section [Pa]

    Returns
    -------
    Force, negative where it does not pull at all [N].

    References
    ----------
    beater: cylinder force, free body of the piston.
    """
    A1, A2 = cylinder.piston_area, cylinder.ring_area
    gas = (p_abs - p_atm) * A2 - (p_back_abs - p_atm) * A1
    return gas + cylinder.spring_force(extension) - friction


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)


def chamber_rate(C: Real, V: Real, T: Real = T_ANR) -> Real:
    """Rate at which an element can change the pressure in a chamber.

    Parameters
    ----------
    C, V, T : Sonic conductance [m3/(s Pa)]; chamber volume, above zero [m3]; absolute temperature of the air [K]

    Returns
    -------
    Choked mass flow over the mass at the same pressure [1/s].

    References
    ----------
    iso6358: ISO 6358-1:2013, choked flow, with the ideal-gas equation of state.
    """
    return C * (RHO_ANR * R_AIR) * np.sqrt(T_ANR * T) / V


def half_tangent(p_ratio: Real, b: Real) -> Real:
    """Half-angle tangent of a pressure ratio on the flow ellipse, the coordinate in which time is elementary.

    Parameters
    ----------
    p_ratio, b : Pressure behind over pressure in front [-]; critical pressure ratio, below 1 [-]

    Returns
    -------
    0 when choked, 1 at equal pressures [-].

    References
    ----------
    iso6358: ISO 6358-1:2013, subsonic flow; substitution derived here.
    """
    u = (np.clip(p_ratio, b, 1.0) - b) / (1.0 - b)
    return u / (1.0 + np.sqrt(1.0 - u * u))


def _tanh_over(y: Real) -> Real:
    # Pade approximant of tanh(sqrt(y)) / sqrt(y), which for y < 0 is tan(sqrt(-y)) / sqrt(-y): one formula
    # for both, at a fraction of the cost of the library's functions. Within 1e-7 from y = -0.7 to 1 (b
    # above 0.2), 2e-6 up to 2.1 (b of 0.1) and 2e-4 up to 7 (b of 0.01)
    return (945.0 + y * (105.0 + y)) / (945.0 + y * (420.0 + 15.0 * y))


def fill_angle(half: Real, turn: Real) -> tuple[Real, Real]:
    """Sine and cosine of the flow angle after it has turned on from a start.

    Parameters
    ----------
    half, turn : Half-angle tangent at the start [-]; angle turned, not negative [rad]

    Returns
    -------
    tuple of Real
        Sine and cosine, at most a right angle [-].

    References
    ----------
    iso6358: ISO 6358-1:2013, subsonic flow; substitution derived here.
    """
    t = np.minimum(0.5 * turn, 0.25 * np.pi)
    t = t * _tanh_over(-t * t)
    t = np.minimum((half + t) / (1.0 - half * t + 1e-12), 1.0)
    scale = 1.0 / (1.0 + t * t)
    return 2.0 * t * scale, (1.0 - t * t) * scale


def vent_half_tangent(half: Real, turn: Real, b: Real) -> Real:
    """Half-angle tangent on the flow ellipse after some time of subsonic venting.

    Parameters
    ----------
    half, turn : Half-angle tangent at the start [-]; time of subsonic venting times rate, over ``1 - b`` [-]
    b : Critical pressure ratio [-]

    Returns
    -------
    Half-angle tangent, 1 at equal pressures [-].

    References
    ----------
    iso6358: ISO 6358-1:2013, subsonic flow; substitution derived here.
    """
    # equal pressures are reached at a turn below this bound for every b; past it the tangent would wrap
    # around
    turn = 0.5 * np.minimum(turn, 1.3 + 0.4 / b)
    w = turn * _tanh_over((1.0 - 2.0 * b) * (turn * turn))
    below = np.maximum(1.0 - w * (b * half + 1.0 - b), 1e-12)
    return np.minimum((half + w * ((1.0 - b) * half + b)) / below, 1.0)


# denser at the start, where the piston still gathers speed; plain floats, so that they widen no array
_GRID = tuple(float(s) for s in np.linspace(0.0, 1.0, 6) ** 1.5)
_LEAST_DEAD = 1e-7
"""Ports and end clearance of a cylinder without any tubing [m3] (from memory)."""
_NEWTON_LAG = 2
_NEWTON_FIRST = 2


@dataclass(frozen=True, slots=True, eq=False)
class Stroke:
    """One stroke as its chambers and its load see it.

    Parameters
    ----------
    drive_area, vent_area : Piston area on the side that fills [m2]; piston area on the side that vents [m2]
    drive_dead, vent_dead : Dead volume on the side that fills, above zero [m3]; dead volume on the side that vents,
        above zero [m3]
    length, mass : Stroke [m]; mass that moves with the rod, lever arms reduced to it, above zero [kg]
    load : Force against the motion with friction at the start [N], and its rise along the stroke [N/m]

    Raises
    ------
    ValueError : If an area, a volume, the length or the mass is not above zero

    References
    ----------
    beater: pneumatic drives, equation of motion.
    """

    drive_area: Real
    vent_area: Real
    drive_dead: Real
    vent_dead: Real
    length: Real
    mass: Real
    load: tuple[Real, Real] = (0.0, 0.0)

    def __post_init__(self) -> None:
        for name in ("drive_area", "vent_area", "drive_dead", "vent_dead", "length", "mass"):
            if not above(0.0, getattr(self, name)):
                raise ValueError(f"{name} must be above zero, got {getattr(self, name)}")


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """A tank that gives its air to a stroke, and whose pressure falls as it does.

    Parameters
    ----------
    p_tank_abs : Absolute pressure in the tank when the valve switches, at least the atmosphere's [Pa]
    volume : Of the tank, or its share for each of several cylinders that move at once; infinite for a constant pressure
        [m3]
    p_set : Absolute pressure of its regulator, infinite without one [Pa]

    Raises
    ------
    ValueError : If one of them is not above zero

    References
    ----------
    cengel: chapter 5, mass balance.
    """

    p_tank_abs: Real
    volume: Real = np.inf
    p_set: Real = np.inf

    def __post_init__(self) -> None:
        for name in ("p_tank_abs", "volume", "p_set"):
            if not above(0.0, getattr(self, name)):
                raise ValueError(f"{name} must be above zero, got {getattr(self, name)}")


class Actuation(NamedTuple):
    """Times of a stroke: until the piston starts, and until it arrives, both from the switching [s]."""

    lag: Array
    time: Array


def extend_stroke(cylinder: Cylinder, mass: Real, load: Real = 0.0, rise: Real = 0.0) -> Stroke:
    """Stroke that pushes the rod out, against the spring if there is one.

    Parameters
    ----------
    cylinder : The cylinder; a dead volume below 0.1 mL counts as 0.1 mL, as much as its ports alone have
    mass : Mass that moves with the rod [kg]
    load : Force against the motion with friction, without the spring, at the start [N]
    rise : Rise of that force along the stroke [N/m]

    Returns
    -------
    The stroke; areas [m2], volumes [m3], forces [N].

    References
    ----------
    beater: pneumatic drives, equation of motion.
    """
    c = cylinder
    force = (load + c.spring[0], rise + c.spring[1])
    return Stroke(c.piston_area, c.ring_area, *_dead(c.dead_extend, c.dead_retract), c.stroke, mass, force)


def retract_stroke(cylinder: Cylinder, mass: Real, load: Real = 0.0, rise: Real = 0.0) -> Stroke:
    """Stroke that pulls the rod in, helped by the spring if there is one.

    A spring alone retracts a single-acting cylinder: the driving side then breathes from the atmosphere.

    Parameters
    ----------
    cylinder : The cylinder; a dead volume below 0.1 mL counts as 0.1 mL, as much as its ports alone have
    mass : Mass that moves with the rod [kg]
    load : Force against the motion with friction, without the spring, at the start [N]
    rise : Rise of that force along the stroke [N/m]

    Returns
    -------
    The stroke; areas [m2], volumes [m3], forces [N].

    References
    ----------
    beater: pneumatic drives, equation of motion.
    """
    c = cylinder
    force = (load - c.spring_force(c.stroke), rise + c.spring[1])
    return Stroke(c.ring_area, c.piston_area, *_dead(c.dead_retract, c.dead_extend), c.stroke, mass, force)


def _dead(drive: Real, vent: Real) -> tuple[Real, Real]:
    return np.maximum(drive, _LEAST_DEAD), np.maximum(vent, _LEAST_DEAD)


def part_way(stroke: Stroke, travel: Real) -> Stroke:
    """The first part of a stroke, for the time at which the piston passes a place.

    Parameters
    ----------
    stroke : The whole stroke
    travel : How far the piston has moved, above zero and at most the stroke [m]

    Returns
    -------
    A stroke of that length; the volume ahead of the piston beyond it counts as dead, so that the air is the same [m2],
    [m3], [N].

    References
    ----------
    beater: pneumatic drives, equation of motion.
    """
    rest = np.maximum(stroke.length - travel, 0.0)
    return replace(stroke, length=travel, vent_dead=stroke.vent_dead + stroke.vent_area * rest)


class _Case(NamedTuple):
    """A stroke in pressures relative to supply (driving side) and atmosphere (venting side)."""

    drive: tuple[Real, Real]  # dead volume, and what the stroke adds to it
    vent: tuple[Real, Real]  # volume at the start, and what the stroke takes from it
    length: Real
    mass: Real
    push: Real  # force of the supply pressure on the driving side
    back: Real  # force of the atmospheric pressure on the venting side
    against: tuple[Real, Real]  # load with the atmosphere on the rod, and its rise over the stroke
    flow: tuple[Real, Real]  # choked flow in and out, in volume at the pressure in front [m3/s]
    b: tuple[Real, Real]
    start: tuple[Real, Real]
    tank: tuple[Real, Real]  # its pressure with no air in the chamber, and its fall by the chamber's air [-, 1/m3]

    def supply(self, air: Real) -> Real:
        """Supply pressure with that much air in the driving chamber, relative to the one at the start."""
        return np.minimum(1.0, self.tank[0] - self.tank[1] * air)


def _single(x: Real) -> Array:
    # single precision: a third of the time, and its 1e-6 is nothing beside the 5 % of the method
    single: Array = np.asarray(x, dtype=np.float32)
    return single


def _case(
    stroke: Stroke, elements: tuple[Element, Element], source: Source, pressures: tuple[Real, Real], T: Real
) -> tuple[_Case, npt.NDArray[np.bool_]]:
    # relative quantities, and which cases can move at all; the others are computed without load, so that
    # every number stays finite
    supply, exhaust = elements
    p_vent, p_atm = (_single(p) for p in pressures)
    p_tank, fall = _single(source.p_tank_abs), _single(1.0 / np.asarray(source.volume))
    p_supply = np.minimum(p_tank, _single(source.p_set))
    area1, area2, length = _single(stroke.drive_area), _single(stroke.vent_area), _single(stroke.length)
    back, push, rod = area2 * p_atm, area1 * p_supply, (area1 - area2) * p_atm
    sweep1, sweep2 = area1 * length, area2 * length
    load, rise = _single(stroke.load[0]), _single(stroke.load[1]) * length
    dead = _single(stroke.drive_dead)
    start = np.minimum(p_atm / p_supply, 1.0)
    full = p_tank / p_supply + fall * start * dead
    end = np.minimum(1.0, full / (1.0 + fall * (dead + sweep1)))  # chamber and tank level out
    spare = np.minimum(push - load, end * push - load - rise) - back - rod
    moves = np.asarray(spare > 1e-4 * push)
    unit = _single(chamber_rate(1.0, 1.0, T))
    case = _Case(
        drive=(dead, sweep1),
        vent=(_single(stroke.vent_dead) + sweep2, sweep2),
        length=length,
        mass=_single(stroke.mass),
        push=push,
        back=back,
        against=(np.where(moves, load + rod, -back), np.where(moves, rise, 0.0 * rise)),
        flow=(_single(supply.C) * unit, _single(exhaust.C) * unit),
        b=(_single(supply.b), np.maximum(_single(exhaust.b), 1e-3)),
        start=(start, np.maximum(p_vent / p_atm, 1.0)),
        tank=(full, fall),
    )
    return case, moves


def _lag(case: _Case) -> tuple[Real, Real, Real]:
    # time until the forces balance, and both relative pressures then: Newton on a rising, concave force
    (b1, b2), (r0, q0), (against, _) = case.b, case.start, case.against
    e1, e2 = 1.0 - b1, 1.0 - b2
    rate1, rate2 = case.flow[0] / case.drive[0], case.flow[1] / case.vent[0]
    half1, half2 = half_tangent(r0, b1), half_tangent(1.0 / q0, b2)
    choked1, choked2 = np.maximum(b1 - r0, 0.0), np.log(np.maximum(q0 * b2, 1.0))
    # the least time that venting alone would take, and filling alone: never above the answer
    venting = np.log(np.maximum(q0 * case.back / (case.push - against), 1.0)) / rate2
    filling = ((case.back + against) / case.push - r0) / rate1
    time = np.maximum(venting, np.maximum(filling, 0.0))
    for _ in range(_NEWTON_LAG):
        filled, vented = rate1 * time, rate2 * time
        sine, psi1 = fill_angle(half1, np.maximum(filled - choked1, 0.0) / e1)
        r = np.minimum(r0 + filled, b1 + e1 * sine)
        t = vent_half_tangent(half2, np.maximum(vented - choked2, 0.0) / e2, b2)
        scale = 1.0 / (1.0 + t * t)
        # at the end of the choked range q is 1 / b and t is 0, so that the product holds in both ranges
        q = np.exp(np.maximum(choked2 - vented, 0.0)) / (b2 + (2.0 * e2) * t * scale)
        fall = rate2 * q * (1.0 - t * t) * scale
        rise = rate1 * psi1
        miss = against + q * case.back - r * case.push
        step = miss / (rise * case.push + fall * case.back + 1e-12)
        step = np.maximum(step, -time)
        time, r, q = time + step, r + rise * step, q - fall * step
    return time, r, q


def _filling(g: Real, Q: Real, b: Real, e: Real) -> tuple[Real, Real]:
    # r = g + Q psi(r): pressure after an implicit step of filling, and its slope by Q
    d = g - b
    den = e * e + Q * Q
    u = np.maximum((e * d + Q * np.sqrt(np.abs(den - d * d))) / den, 0.0)
    r = np.minimum(g + Q, b + e * u)
    psi = (r - g) / Q
    # nothing flows where both sides are alike, and then more of a way to flow changes nothing
    return r, psi * psi / np.maximum(psi + Q * u / e, 1e-300)


def _venting(g: Real, Q: Real, b: Real, i: Real) -> tuple[Real, Real]:
    # q = g - Q q psi(1 / q): pressure after an implicit step of venting, and its slope by Q
    h = 1.0 - b * g
    i = np.multiply(i, h > -Q)  # 1 / (1 - b)**2, and 0 while choked, where the same formula then gives g / (1 + Q)
    QQi = Q * Q * i
    B = g + b * QQi
    q = (g * g + QQi) / (B + Q * np.sqrt(g * g + i * ((Q - h) * (Q + h))))
    flow = (g - q) / Q
    return q, -flow * flow / (flow + Q * (q + (b * i) * (1.0 - b * q)))


def _travel(case: _Case, r: Real, q: Real) -> Real:
    # time of the motion: the unknown of each step is w, the inverse of its duration
    (b1, b2), (C1, C2), mass = case.b, case.flow, case.mass
    e1, i2 = 1.0 - b1, 1.0 / ((1.0 - b2) * (1.0 - b2))
    air1, air2, given = r * case.drive[0], q * case.vent[0], case.supply(r * case.drive[0])
    step = _GRID[1] * case.length
    slack = case.push - case.back - case.against[0]
    flows = _GRID[1] * (0.3 * case.drive[1] / C1 + case.vent[1] / C2)
    w = 1.0 / (np.sqrt(2.0 * mass * step / slack) + flows)
    time: Real = 0.0 * w
    speed: Real = 0.0 * w
    for k in range(1, len(_GRID)):
        s, width = _GRID[k], _GRID[k] - _GRID[k - 1]
        step = width * case.length
        V1, V2 = 1.0 / (case.drive[0] + s * case.drive[1]), 1.0 / (case.vent[0] - s * case.vent[1])
        # the tank's pressure halfway through the step; a chamber is filled from it as from one of its own
        given = case.supply(air1 + (0.5 * width) * case.drive[1] * given)
        # a step too far, where the load cannot be moved anyway, may leave less than nothing
        g1, g2 = np.clip(air1 * V1 / given, 0.0, 1.0), np.maximum(air2 * V2, 1.0)
        flow1, flow2 = C1 * V1, C2 * V2
        against = case.against[0] + s * case.against[1]
        least = 0.5 * speed / step + 1e-3
        inertia, momentum = (4.0 * mass) * step, (2.0 * mass) * speed
        for _ in range(_NEWTON_FIRST if k == 1 else 1):
            Q1, Q2 = flow1 / w, flow2 / w
            r, dr = _filling(g1, Q1, b1, e1)
            q, dq = _venting(g2, Q2, b2, i2)
            r, dr, dq = r * given, dr * given * Q1, dq * Q2
            slope = dq * case.back - dr * case.push
            force = r * case.push - q * case.back - against
            B = momentum + slope / w
            root = np.sqrt(np.maximum(B * B + (2.0 * inertia) * (force - slope), 0.0))
            new = np.maximum((B + root) / inertia, least)
            change = w / new - 1.0
            w = new
        air1, air2 = (r + dr * change) / V1, (q + dq * change) / V2
        time = time + 1.0 / w
        speed = np.maximum((2.0 * step) * w - speed, 0.0)
        if k + 1 < len(_GRID):
            w = (0.5 * (step * w + speed) / (_GRID[k + 1] - s)) / case.length + 1e-3
    return time


def actuation(
    stroke: Stroke,
    supply: Element,
    exhaust: Element,
    source: Source | Real,
    p_vent_abs: Real,
    p_atm: Real = P_ATM,
    T: Real = T_ANR,
) -> Actuation:
    """Lag and total time of one stroke.

    Parameters
    ----------
    stroke : The stroke
    supply : Everything between tank or regulator and the chamber, combined [m3/(s Pa)]
    exhaust : Everything between the other chamber and the atmosphere, combined [m3/(s Pa)]
    source : The tank that feeds it; a number for a supply of constant absolute pressure, at least the atmosphere's [Pa]
    p_vent_abs : Absolute pressure in the venting chamber when the valve switches [Pa]
    p_atm, T : Pressure of the atmosphere, above zero [Pa]; absolute temperature of the air, above zero [K]

    Returns
    -------
    Lag and total time [s]; both infinite where the force does not hold the load at both ends of the stroke, with what
    the tank then has left.

    Notes
    -----
    Isothermal chambers and tank, the driving chamber exhausted before. Held against the full equations (both
    pressures, position, speed) for cylinders of 10-20 mm bore, 25-75 mm stroke, C of 0.05-0.8 dm3/(s bar), b of
    0.2-0.6 and 0.05-2 kg. With a load of 0-60 % of the force the total time is off by -1 % in the median and within 7
    % in 96 % of cases; with 60-98 % of the force, -2 % and from -6 % to +1 %; with a load that drives the motion, 0 %
    and from -6 % to +15 %; from a tank of 20-200 mL that empties on the way, 0 % and within 6 %. The lag is within
    0.5 % of the total. The worst single cases are off by up to 36 %: a chamber that is already empty vents through a
    tight exhaust, so that the moving mass runs up against it and bounces. The conductances are seldom known better
    than 10 % (common practice, no source).

    References
    ----------
    iso6358: ISO 6358-1:2013, flow-rate equations.
    beater: pneumatic drives, equation of motion and chamber pressures.
    """
    feed = source if isinstance(source, Source) else Source(source)
    case, moves = _case(stroke, (supply, exhaust), feed, (p_vent_abs, p_atm), T)
    lag, r, q = _lag(case)
    time = lag + _travel(case, r, q)
    double = (np.asarray(t, dtype=np.float64) for t in (lag, time))
    return Actuation(*(np.where(moves, t, np.inf) for t in double))
