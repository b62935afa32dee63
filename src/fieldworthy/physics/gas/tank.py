"""Tanks: filling, drawing, leaking, and which cylinder belongs on which tank.

Air tanks: the pressure after each actuation, the leak, how many actuations last, and what tank is needed.

One draw fills a chamber that has been exhausted to the atmosphere. Before it, the chamber holds its dead volume of
air at atmospheric pressure; after it, dead and swept volume at the fill pressure. With a regulator that is the set
pressure as long as the tank stays above it, else tank and chamber equalise; without one they always equalise.

Two bounds frame a real tank. Slow use is isothermal (upper bound). In fast use the air that stays behind cools as it
expands and the pressure falls further (lower bound), to creep up again as it warms. In both, the air in the small
chamber is taken to be at room temperature, so a well insulated chamber would draw a little more.

All pressures are absolute. The functions ``after_draw``, ``after_fast_draw``, ``fast_pressure``, ``fill_pressure``
and ``after_leak`` are plain arithmetic: they broadcast over arrays and compile unchanged on scalars.

Caution: a tank holds its energy after the robot is switched off. Empty it before any work, and stay below
the rated pressure of the weakest part of the circuit.

What a tank is good for: actuations until a mechanism falls short, and the tank or charge that is needed.

A cycle of draws is repeated. With a regulator holding, each cycle takes the same air (the pressure falls linearly);
without one, or below its setting, each leaves the same share (it falls geometrically). Both are one affine map, so
the answers are closed forms between the few moments at which a regulator loses its setting.

Caution: a charge pressure found here is a wish, not a licence. The rated pressure of the weakest part and
the event's limit come first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import above, at_least
from fieldworthy.physics.gas.air import GAMMA, P_ATM


@dataclass(frozen=True, slots=True, eq=False)
class Draw:
    """One actuation as the tank sees it.

    Parameters
    ----------
    V_before : Chamber volume before, at atmospheric pressure: the dead volume [m3]
    V_after, p_set : Chamber volume after, dead and swept [m3]; absolute pressure of the regulator, infinite without one
        [Pa]
    p_need : Absolute pressure that the mechanism needs at the end of the stroke, at least the atmosphere's [Pa]

    Raises
    ------
    ValueError : If the volumes are not ``0 <= V_before < V_after``, or a pressure is not above zero

    References
    ----------
    cengel: chapter 5, mass balance.
    """

    V_before: Real
    V_after: Real
    p_set: Real = np.inf
    p_need: Real = P_ATM

    def __post_init__(self) -> None:
        if not (at_least(0.0, self.V_before) and above(0.0, self.V_after - self.V_before)):
            raise ValueError(f"volumes must be 0 <= V_before < V_after, got {self.V_before}, {self.V_after}")
        for name, p in (("p_set", self.p_set), ("p_need", self.p_need)):
            if not above(0.0, p):
                raise ValueError(f"{name} is an absolute pressure and must be above zero, got {p}")


def after_draw(p_tank: Real, V_tank: Real, V_before: Real, V_after: Real, p_atm: Real, p_set: Real) -> Real:
    """Tank pressure after one slow draw; compiles unchanged on scalars.

    ``p' = p - (p_fill V_after - p_atm V_before) / V_tank`` with ``p_fill`` the lower of the set pressure
    and the pressure ``(p V_tank + p_atm V_before) / (V_tank + V_after)`` of the equalised volumes.

    Parameters
    ----------
    p_tank, V_tank : Absolute pressure in the tank before [Pa]; tank volume, above zero [m3]
    V_before, V_after : Chamber volume before, at atmospheric pressure [m3]; chamber volume after [m3]
    p_atm, p_set : Pressure of the atmosphere [Pa]; absolute pressure of the regulator, infinite without one [Pa]

    Returns
    -------
    Absolute pressure after; a stroke that runs out of air stops short at that of the atmosphere [Pa].

    References
    ----------
    cengel: chapter 5, mass balance, with the ideal-gas equation of state at constant temperature.
    """
    p_equal = (p_tank * V_tank + p_atm * V_before) / (V_tank + V_after)
    p_fill = np.minimum(p_set, p_equal)
    p_after = p_tank - (p_fill * V_after - p_atm * V_before) / V_tank
    return np.maximum(p_after, np.minimum(p_tank, p_atm))


def fill_pressure(p_after: Real, p_set: Real) -> Real:
    """Pressure reached in the chamber by a draw; compiles unchanged on scalars.

    Parameters
    ----------
    p_after : Absolute pressure in the tank after the draw [Pa]
    p_set : Absolute pressure of the regulator, infinite without one [Pa]

    Returns
    -------
    Absolute pressure in the chamber [Pa].

    References
    ----------
    practice: a regulator passes the tank's pressure on once that is below its setting.
    """
    return np.minimum(p_after, p_set)


def fast_pressure(p_warm: Real, p_rest: Real) -> Real:
    """Momentary pressure in a tank that has been drawn from fast; compiles unchanged on scalars.

    Parameters
    ----------
    p_warm : Absolute pressure that the air left will have once it is warm again, a measure of its mass [Pa]
    p_rest : Absolute pressure when the tank was last at rest and warm, above zero [Pa]

    Returns
    -------
    Absolute pressure at this moment, the adiabatic bound [Pa].

    References
    ----------
    cengel: chapter 7, isentropic process of an ideal gas.
    """
    return p_rest * (p_warm / p_rest) ** GAMMA


def after_leak(p_tank: Real, time: Real, time_constant: Real, p_atm: Real) -> Real:
    """Tank pressure after a leak; compiles unchanged on scalars.

    First-order decay of the gauge pressure, fitted to a measured decay. A leak through a hole chokes and
    falls a little faster at first and slower later; over a match the difference is small.

    Parameters
    ----------
    p_tank, time : Absolute pressure before [Pa]; time that passes [s]
    time_constant : Time in which the gauge pressure falls to 37 %, above zero, infinite when tight [s]
    p_atm : Pressure of the atmosphere [Pa]

    Returns
    -------
    Absolute pressure after [Pa].

    References
    ----------
    practice: first-order leak.
    """
    return p_atm + (p_tank - p_atm) * np.exp(-time / time_constant)


@dataclass(frozen=True, slots=True)
class Demand:
    """One draw of the plan, as every layout must serve it.

    Parameters
    ----------
    user : Which cylinder draws [-]
    wait : Time since the draw before [s]
    V_before, V_after : Chamber volume before, at atmospheric pressure, and after [m3]
    p_need : Absolute pressure that the mechanism needs [Pa]
    """

    user: int
    wait: Real
    V_before: Real
    V_after: Real
    p_need: Real


@dataclass(frozen=True, slots=True)
class Circuit:
    """One tank, or several that are joined.

    Parameters
    ----------
    volume, p_charge : Volume [m3]; absolute pressure at the start [Pa]
    p_set, leak : Absolute pressure of its regulator, infinite without one [Pa]; time constant of its leak [s]
    """

    volume: Real
    p_charge: Real
    p_set: Real
    leak: Real


def all_layouts(users: int, circuits: int, most: int = 60_000) -> npt.NDArray[np.int64]:
    """List every way to put cylinders on circuits.

    Parameters
    ----------
    users, circuits, most : Number of cylinders [-]; number of circuits [-]; refuse to list more than this [-]

    Returns
    -------
    ndarray of int
        Circuit of each cylinder, shape ``(layouts, users)`` [-].

    Raises
    ------
    ValueError : When there are more layouts than `most`
    """
    if circuits**users > most:
        raise ValueError(f"{circuits} circuits and {users} cylinders make more than {most} layouts")
    return np.array(list(product(range(circuits), repeat=users)), dtype=np.int64).reshape(-1, users)


def worst_margins(
    layouts: npt.NDArray[np.int64], demands: Sequence[Demand], circuits: Sequence[Circuit], p_atm: Real
) -> Array:
    """Play the plan's draws through every layout at once and keep the worst margin of each.

    Isothermal mass balance, one draw after the other; see `after_draw`.

    Parameters
    ----------
    layouts : As `all_layouts` gives it, shape ``(layouts, users)`` [-]
    demands : In order of time
    circuits : The tanks
    p_atm : Absolute pressure of the atmosphere [Pa]

    Returns
    -------
    ndarray
        Least ``(p_filled - p_need) / (p_need - p_atm)`` over all draws, in gauge terms, shape ``(layouts,)`` [-].

    References
    ----------
    cengel: chapter 5, mass balance.
    """
    volume, charge, p_set, leak = (
        np.array([[float(getattr(circuit, name))] for circuit in circuits])
        for name in ("volume", "p_charge", "p_set", "leak")
    )
    pressure = np.repeat(charge, len(layouts), axis=1)
    worst = np.full(len(layouts), np.inf)
    behind = layouts == np.arange(len(circuits))[:, None, None]
    for demand in demands:
        rested = after_leak(pressure, demand.wait, leak, p_atm)
        after = np.asarray(after_draw(rested, volume, demand.V_before, demand.V_after, p_atm, p_set))
        here = behind[:, :, demand.user]
        pressure = np.where(here, after, rested)
        margin = (fill_pressure(after, p_set) - demand.p_need) / np.maximum(demand.p_need - p_atm, 1.0)
        worst = np.minimum(worst, np.where(here, margin, np.inf).min(axis=0))
    return worst


class _Cycle(NamedTuple):
    """Affine map of the pressure at a cycle's start: ``decay * p + offset``, and where it stops holding."""

    log_decay: Array
    offset: Array
    holds_above: Array
    rows: tuple[tuple[Array, Array], ...]


def _regime(p: Array, V_tank: Real, draws: Sequence[Draw], p_atm: Real) -> _Cycle:
    # which draws are regulated in the cycle that starts at p, and the affine map that goes with it
    log_decay, offset = np.zeros_like(p), np.zeros_like(p)
    holds_above = np.zeros_like(p)
    rows = []
    now: Real = p
    for d in draws:
        now = after_draw(now, V_tank, d.V_before, d.V_after, p_atm, d.p_set)
        regulated = np.isfinite(d.p_set) & (now >= d.p_set)
        p_set = np.where(regulated, d.p_set, 0.0)
        credit = p_atm * d.V_before / V_tank
        shrink = np.where(regulated, 1.0, V_tank / (V_tank + d.V_after))
        log_decay = log_decay - np.where(regulated, 0.0, np.log1p(d.V_after / V_tank))
        offset = (offset + credit - p_set * d.V_after / V_tank) * shrink
        needed = (p_set - offset) / np.exp(log_decay)
        holds_above = np.where(regulated, np.maximum(holds_above, needed), holds_above)
        rows.append((log_decay, offset))
    return _Cycle(log_decay, offset, holds_above, tuple(rows))


def _cycles_at_or_above(p: Array, cycle: _Cycle, bound: Array) -> Array:
    # how many of p, f(p), f(f(p)), ... are at or above the bound; a hair's width is given for rounding
    bound = bound * (1.0 - 1e-12)
    geometric = cycle.log_decay < 0.0
    gap = np.where(geometric, -np.expm1(cycle.log_decay), 1.0)
    rest = np.where(geometric, cycle.offset / gap, 0.0)
    never = geometric & (bound <= rest)
    inside = (p >= bound) & ~never
    ratio = np.where(inside & geometric, (bound - rest) / np.where(inside, p - rest, 1.0), 1.0)
    by_share = np.log(ratio) / np.where(geometric, cycle.log_decay, -1.0)
    step = np.where(geometric, 1.0, -cycle.offset)
    by_step = np.where(inside, p - bound, 0.0) / step
    count = np.floor(np.where(geometric, by_share, by_step)) + 1.0
    return np.where(inside, count, np.where(never & (p >= bound), np.inf, 0.0))


def _advance(p: Array, cycle: _Cycle, count: Array, p_atm: Real) -> Array:
    geometric = cycle.log_decay < 0.0
    gap = np.where(geometric, -np.expm1(cycle.log_decay), 1.0)
    rest = np.where(geometric, cycle.offset / gap, 0.0)
    finite = np.where(np.isfinite(count), count, 0.0)
    share = rest + (p - rest) * np.exp(np.where(np.isfinite(count), finite * cycle.log_decay, -np.inf))
    after = np.where(geometric, share, p + finite * cycle.offset)
    return np.maximum(after, np.minimum(p, p_atm))


def _start(p_tank: Real, V_tank: Real, draws: Sequence[Draw], p_atm: Real) -> tuple[Array, tuple[Draw, ...]]:
    # checks the edge once, brings the start to the shape of the cases and lifts settings to the atmosphere
    if not draws:
        raise ValueError("a cycle needs at least one draw")
    if not (np.all(np.greater(V_tank, 0.0)) and np.all(np.greater(p_tank, 0.0))):
        raise ValueError(f"tank volume and pressure must be above zero, got {V_tank} m3, {p_tank} Pa")
    fields = [f for d in draws for f in (d.V_before, d.V_after, d.p_set, d.p_need)]
    shape = np.broadcast_shapes(*(np.shape(f) for f in (p_tank, V_tank, p_atm, *fields)))
    lifted = tuple(Draw(d.V_before, d.V_after, np.maximum(d.p_set, p_atm), np.maximum(d.p_need, p_atm)) for d in draws)
    return np.array(np.broadcast_to(p_tank, shape), dtype=np.float64), lifted


def actuations_until_short(p_tank: Real, V_tank: Real, draws: Sequence[Draw], p_atm: Real = P_ATM) -> Array:
    """How often each draw of a repeated cycle reaches the pressure it needs, slow use.

    A need above the regulator's setting is never met: 0.

    Parameters
    ----------
    p_tank, V_tank : Absolute pressure at the start [Pa]; tank volume [m3]
    draws : The draws of one cycle in order
    p_atm : Pressure of the atmosphere [Pa]

    Returns
    -------
    Count per draw, first axis as the cycle, cases behind; infinite if the need is below any reach [-].

    Raises
    ------
    ValueError : If there is no draw, or volume or pressure is not above zero

    References
    ----------
    cengel: chapter 5, mass balance; affine recurrence derived here.
    """
    p, draws = _start(p_tank, V_tank, draws, p_atm)
    total = np.zeros((len(draws), *p.shape))
    for _ in range(len(draws) + 1):
        cycle = _regime(p, V_tank, draws, p_atm)
        count = np.maximum(_cycles_at_or_above(p, cycle, cycle.holds_above), 1.0)
        for j, (d, (log_decay, offset)) in enumerate(zip(draws, cycle.rows, strict=True)):
            bound = (d.p_need - offset) / np.exp(log_decay)
            met = np.minimum(_cycles_at_or_above(p, cycle, bound), count)
            total[j] += np.where(np.less_equal(d.p_need, d.p_set), met, 0.0)
        p = _advance(p, cycle, count, p_atm)
    return total


def draws_before_short(p_tank: Real, V_tank: Real, draws: Sequence[Draw], p_atm: Real = P_ATM) -> Array:
    """How many draws of a repeated cycle succeed before the first that does not, slow use.

    Parameters
    ----------
    p_tank, V_tank : Absolute pressure at the start [Pa]; tank volume [m3]
    draws : The draws of one cycle in order
    p_atm : Pressure of the atmosphere [Pa]

    Returns
    -------
    Number of draws [-].

    Raises
    ------
    ValueError : If there is no draw, or volume or pressure is not above zero

    References
    ----------
    cengel: chapter 5, mass balance; affine recurrence derived here.
    """
    counts = actuations_until_short(p_tank, V_tank, draws, p_atm)
    place = np.arange(len(draws), dtype=np.float64).reshape(-1, *[1] * (counts.ndim - 1))
    first: Array = np.min(counts * len(draws) + place, axis=0)
    return first


_BEYOND = 1e250  # Pa; a thousand strokes from a tank far too small would need more than numbers hold


def _needed(u: Real, draws: Sequence[Draw], p_atm: Real) -> tuple[Array, Array]:
    # backwards through the draws: pressure needed before them and its slope, by u = 1 / tank volume
    need, slope = np.zeros(()), np.zeros(())
    for d in reversed(draws):
        slope = np.where(need > d.p_need, slope, 0.0)
        need = np.maximum(need, d.p_need)
        air = np.minimum(need, d.p_set) * d.V_after - p_atm * d.V_before
        slope = np.minimum(slope * np.where(need < d.p_set, 1.0 + u * d.V_after, 1.0) + air, _BEYOND)
        need = np.minimum(need + u * air, _BEYOND)
    return need, slope


def _beyond_setting(draws: Sequence[Draw]) -> npt.NDArray[np.bool_]:
    # a regulator never gives more than its setting
    beyond = np.broadcast_arrays(*(np.greater(d.p_need, d.p_set) for d in draws))
    return np.asarray(np.any(np.stack(beyond), axis=0))


def volume_needed(p_charge: Real, draws: Sequence[Draw], p_atm: Real = P_ATM) -> Real:
    """Tank volume with which every draw of a sequence just reaches what it needs, slow use.

    Newton steps on the logarithm of the charge needed, which rises with ``1 / V``, kept in a closing bracket.

    Parameters
    ----------
    p_charge : Absolute charge pressure, above zero [Pa]
    draws : All draws in order, each as often as it is made
    p_atm : Pressure of the atmosphere [Pa]

    Returns
    -------
    Tank volume, infinite where no tank is enough [m3].

    Raises
    ------
    ValueError : If there is no draw, or the pressure is not above zero

    References
    ----------
    cengel: chapter 5, mass balance, solved backwards.
    """
    _, draws = _start(p_charge, 1.0, draws, p_atm)
    floor, slope = _needed(0.0, draws, p_atm)
    possible = np.greater(p_charge, floor) & np.logical_not(_beyond_setting(draws))
    target = np.where(possible, p_charge, 2.0 * floor)
    low, high = np.zeros_like(target), (target - floor) / slope
    u = 0.5 * high
    for _ in range(100):  # 10 do, unless a thousand strokes before the hardest one make the bracket a million wide
        need, slope = _needed(u, draws, p_atm)
        low, high = np.where(need <= target, u, low), np.where(need >= target, u, high)
        newton = u + need * np.log(target / need) / slope
        there = np.abs(newton - u) <= 1e-14 * u  # such a case stays where it is, whatever the others of its batch need
        if there.all():
            break
        good = (newton >= low) & (newton <= high) & (need < _BEYOND)
        u = np.where(there, u, np.where(good, newton, 0.5 * (low + high)))
    return np.where(possible, 1.0 / u, np.inf)[()]
