"""What a tank is good for: actuations until a mechanism falls short, and the tank or charge that is needed.

A cycle of draws is repeated. With a regulator holding, each cycle takes the same air (the pressure falls
linearly); without one, or below its setting, each leaves the same share (it falls geometrically). Both are
one affine map, so the answers are closed forms between the few moments at which a regulator loses its
setting.

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
from fieldworthy.physics.gas.air import P_ATM
from fieldworthy.physics.gas.tank import Draw, after_draw, after_leak, fill_pressure


@dataclass(frozen=True, slots=True)
class Demand:
    """One draw of the plan, as every layout must serve it.

    Parameters
    ----------
    user : int
        Which cylinder draws [-].
    wait : Real
        Time since the draw before [s].
    V_before, V_after : Real
        Chamber volume before, at atmospheric pressure, and after [m3].
    p_need : Real
        Absolute pressure that the mechanism needs [Pa].
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
    volume : Real
        Volume [m3].
    p_charge : Real
        Absolute pressure at the start [Pa].
    p_set : Real
        Absolute pressure of its regulator, infinite without one [Pa].
    leak : Real
        Time constant of its leak [s].
    """

    volume: Real
    p_charge: Real
    p_set: Real
    leak: Real


def all_layouts(users: int, circuits: int, most: int = 60_000) -> npt.NDArray[np.int64]:
    """List every way to put cylinders on circuits.

    Parameters
    ----------
    users : int
        Number of cylinders [-].
    circuits : int
        Number of circuits [-].
    most : int
        Refuse to list more than this [-].

    Returns
    -------
    ndarray of int
        Circuit of each cylinder, shape ``(layouts, users)`` [-].

    Raises
    ------
    ValueError
        When there are more layouts than `most`.
    """
    if circuits**users > most:
        raise ValueError(f"{circuits} circuits and {users} cylinders make more than {most} layouts")
    return np.array(list(product(range(circuits), repeat=users)), dtype=np.int64).reshape(-1, users)


def worst_margins(
    layouts: npt.NDArray[np.int64], demands: Sequence[Demand], circuits: Sequence[Circuit], p_atm: Real
) -> Array:
    """Play the plan's draws through every layout at once and keep the worst margin of each.

    Parameters
    ----------
    layouts : ndarray of int
        As `all_layouts` gives it, shape ``(layouts, users)`` [-].
    demands : sequence of Demand
        In order of time.
    circuits : sequence of Circuit
        The tanks.
    p_atm : Real
        Absolute pressure of the atmosphere [Pa].

    Returns
    -------
    ndarray
        Least ``(p_filled - p_need) / (p_need - p_atm)`` over all draws, in gauge terms, shape ``(layouts,)`` [-].

    Notes
    -----
    Isothermal mass balance, one draw after the other; see `fieldworthy.physics.tank.after_draw`.

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

    Parameters
    ----------
    p_tank : Real
        Absolute pressure at the start [Pa].
    V_tank : Real
        Tank volume [m3].
    draws : Sequence of Draw
        The draws of one cycle in order.
    p_atm : Real
        Pressure of the atmosphere [Pa].

    Returns
    -------
    Array
        Count per draw, first axis as the cycle, cases behind; infinite if the need is below any reach [-].

    Raises
    ------
    ValueError
        If there is no draw, or volume or pressure is not above zero.

    Notes
    -----
    A need above the regulator's setting is never met: 0.

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
    p_tank : Real
        Absolute pressure at the start [Pa].
    V_tank : Real
        Tank volume [m3].
    draws : Sequence of Draw
        The draws of one cycle in order.
    p_atm : Real
        Pressure of the atmosphere [Pa].

    Returns
    -------
    Array
        Number of draws [-].

    Raises
    ------
    ValueError
        If there is no draw, or volume or pressure is not above zero.

    References
    ----------
    cengel: chapter 5, mass balance; affine recurrence derived here.
    """
    counts = actuations_until_short(p_tank, V_tank, draws, p_atm)
    place = np.arange(len(draws), dtype=np.float64).reshape(-1, *[1] * (counts.ndim - 1))
    first: Array = np.min(counts * len(draws) + place, axis=0)
    return first


def _needed(u: Real, draws: Sequence[Draw], p_atm: Real) -> tuple[Array, Array]:
    # backwards through the draws: pressure needed before them and its slope, by u = 1 / tank volume
    need, slope = np.zeros(()), np.zeros(())
    for d in reversed(draws):
        slope = np.where(need > d.p_need, slope, 0.0)
        need = np.maximum(need, d.p_need)
        air = np.minimum(need, d.p_set) * d.V_after - p_atm * d.V_before
        slope = slope * np.where(need < d.p_set, 1.0 + u * d.V_after, 1.0) + air
        need = need + u * air
    return need, slope


def _beyond_setting(draws: Sequence[Draw]) -> npt.NDArray[np.bool_]:
    # a regulator never gives more than its setting
    beyond = np.broadcast_arrays(*(np.greater(d.p_need, d.p_set) for d in draws))
    return np.asarray(np.any(np.stack(beyond), axis=0))


def volume_needed(p_charge: Real, draws: Sequence[Draw], p_atm: Real = P_ATM) -> Real:
    """Tank volume with which every draw of a sequence just reaches what it needs, slow use.

    Parameters
    ----------
    p_charge : Real
        Absolute charge pressure, above zero [Pa].
    draws : Sequence of Draw
        All draws in order, each as often as it is made.
    p_atm : Real
        Pressure of the atmosphere [Pa].

    Returns
    -------
    Real
        Tank volume, infinite where no tank is enough [m3].

    Raises
    ------
    ValueError
        If there is no draw, or the pressure is not above zero.

    Notes
    -----
    Newton steps on the logarithm of the charge needed, which rises with ``1 / V``, kept in a closing bracket.

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
    for _ in range(24):
        need, slope = _needed(u, draws, p_atm)
        low, high = np.where(need <= target, u, low), np.where(need >= target, u, high)
        newton = u + need * np.log(target / need) / slope
        u = np.where((newton >= low) & (newton <= high), newton, 0.5 * (low + high))
    return np.where(possible, 1.0 / u, np.inf)[()]
