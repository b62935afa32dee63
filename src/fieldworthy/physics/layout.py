"""Which cylinder belongs on which tank: every partition, judged by its worst mechanism.

Caution: compressed air. A layout that leaves more pressure also leaves more energy in the tanks at the end; release
it before work.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

from fieldworthy.physics._types import Array, Real
from fieldworthy.physics.tank import after_draw, after_leak, fill_pressure


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
