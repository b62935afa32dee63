"""A motor's temperatures: winding and case as two lumps, the copper's growing resistance, and derating.

Temperatures are absolute [K] unless they are called rises [K above the air around].

Caution: a motor's case burns skin well below the temperatures its winding stands; let it cool before touching.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import positive

COPPER = 0.00393
"""Growth of copper's resistance per kelvin, referred to 20 C [1/K]; IEC 60028, from memory."""
T_COPPER = 293.15
"""Temperature to which that growth is referred [K]."""


@dataclass(frozen=True, slots=True)
class HeatPath:
    """A motor as two lumps of heat.

    Parameters
    ----------
    winding_capacity, case_capacity, winding_to_case : Heat capacity of the winding [J/K]; heat capacity of the case
        [J/K]; thermal resistance between them [K/W]
    case_to_air : Thermal resistance from case to air [K/W]

    Raises
    ------
    ValueError : If one is not positive

    References
    ----------
    incropera: lumped capacitance.
    """

    winding_capacity: Real
    case_capacity: Real
    winding_to_case: Real
    case_to_air: Real

    def __post_init__(self) -> None:
        for name in ("winding_capacity", "case_capacity", "winding_to_case", "case_to_air"):
            positive(**{name: getattr(self, name)})


@dataclass(frozen=True, slots=True)
class Winding:
    """The electrical side of the heat.

    Parameters
    ----------
    resistance, reference : Winding resistance at the reference temperature [ohm]; that temperature [K]
    growth : Growth of the resistance per kelvin, referred to the reference [1/K]
    """

    resistance: Real
    reference: Real = T_COPPER
    growth: Real = COPPER

    def __post_init__(self) -> None:
        positive(resistance=self.resistance, reference=self.reference)


@dataclass(frozen=True, slots=True)
class Temperatures:
    """Temperatures of a motor.

    Parameters
    ----------
    winding, case : Of the winding [K]; of the case [K]
    """

    winding: Real
    case: Real


def two_node_step(
    winding: Real,
    case: Real,
    heating: Real,
    self_heating: Real,
    to_case: Real,
    from_winding: Real,
    to_air: Real,
) -> tuple[Real, Real]:
    """Return the rises of winding and case after a step of constant current; also compiles on scalars.

    Exact for any step: the exponential of the 2x2 matrix, written with its two real eigenvalues. Copper's growing
    resistance is linear in temperature and so part of the matrix. Growth of a runaway is cut at exp(200).

    Parameters
    ----------
    winding, case : Rise of the winding over the air [K]; rise of the case over the air [K]
    heating : Loss with the winding as warm as the air, times step over winding capacity [K]
    self_heating : Growth of that loss per kelvin of rise, times step over winding capacity [-]
    to_case : Conductance winding to case, times step over winding capacity, not negative [-]
    from_winding : The same conductance, times step over case capacity, not negative [-]
    to_air : Conductance case to air, times step over case capacity, not negative [-]

    Returns
    -------
    tuple of Real
        Rises of winding and case after the step [K].

    References
    ----------
    incropera: lumped capacitance.
    """
    p, d = to_case - self_heating, from_winding + to_air
    mean, diff = -0.5 * (p + d), 0.5 * (d - p)
    half = np.sqrt(diff * diff + to_case * from_winding)
    half = np.maximum(half, 1e-12)
    # the smaller eigenvalue from the product of both, which a stiff case would lose in the difference
    big = mean + np.copysign(half, mean)
    small = (to_case * to_air - self_heating * d) / big
    slow, fast = np.minimum(np.maximum(big, small), 200.0), np.minimum(np.minimum(big, small), 200.0)
    exp_slow, exp_fast = np.exp(slow), np.exp(fast)
    # (exp(l) - 1) / l; the shift keeps a zero eigenvalue finite and moves the quotient by less than 1e-12
    slow_0 = slow + 1e-12 * (np.abs(slow) < 1e-12)
    slow_0 = slow_0 + 1e-12 * (slow_0 == 0.0)
    fast_0 = fast + 1e-12 * (np.abs(fast) < 1e-12)
    fast_0 = fast_0 + 1e-12 * (fast_0 == 0.0)
    phi_slow, phi_fast = np.expm1(slow_0) / slow_0, np.expm1(fast_0) / fast_0
    spread = -exp_slow * np.expm1(-2.0 * half) / (2.0 * half)
    middle = 0.5 * (exp_slow + exp_fast)
    phi_spread, phi_middle = (phi_slow - phi_fast) / (2.0 * half), 0.5 * (phi_slow + phi_fast)
    new_winding = (middle + spread * diff) * winding + spread * to_case * case
    new_case = spread * from_winding * winding + (middle - spread * diff) * case
    new_winding = new_winding + (phi_middle + phi_spread * diff) * heating
    return new_winding, new_case + phi_spread * from_winding * heating


def derating_factor(temperature: Real, thresholds: Sequence[Real], factors: Sequence[Real]) -> Real:
    """Return the share of the current limit that a controller leaves at a temperature; also compiles.

    Parameters
    ----------
    temperature : Temperature that the controller watches [K]
    thresholds, factors : Temperatures from which a step holds [K]; share of the limit that each step leaves [-]

    Returns
    -------
    The least share of the steps that hold, 1 below all of them [-].
    """
    share = 1.0 + 0.0 * temperature
    for threshold, factor in zip(thresholds, factors):  # noqa: B905 (the compiler knows no strict)
        share = np.minimum(share, 1.0 - (1.0 - factor) * (temperature >= threshold))
    return share


def after(path: HeatPath, coil: Winding, start: Temperatures, air: Real, current: Real, duration: Real) -> Temperatures:
    """Return the temperatures after a time at constant current.

    Loss ``I ** 2 R (1 + alpha (T - T_ref))``; iron and bearing losses are left out. Resistance does not fall
    below zero for windings above 39 K.

    Parameters
    ----------
    path : Heat capacities and resistances [-]
    coil : The winding's resistance [-]
    start : Temperatures before [-]
    air, current, duration : Temperature of the air around [K]; effective winding current [A]; how long [s]

    Returns
    -------
    Temperatures after [-].

    References
    ----------
    iec60028: resistance of copper.
    """
    per_winding = duration / path.winding_capacity
    per_case = duration / path.case_capacity
    loss = np.square(current) * coil.resistance
    winding, case = two_node_step(
        start.winding - air,
        start.case - air,
        loss * (1.0 + coil.growth * (air - coil.reference)) * per_winding,
        loss * coil.growth * per_winding,
        per_winding / path.winding_to_case,
        per_case / path.winding_to_case,
        per_case / path.case_to_air,
    )
    return Temperatures(winding + air, case + air)


@dataclass(frozen=True, slots=True)
class Derating:
    """The controller's protection: steps that cut its current limit.

    Parameters
    ----------
    current_limit : Limit of a cool motor [A]
    thresholds, factors : Winding temperatures from which each step holds [K]; share of the limit that each leaves [-]
    """

    current_limit: Real = np.inf
    thresholds: tuple[Real, ...] = ()
    factors: tuple[Real, ...] = ()

    def __post_init__(self) -> None:
        if len(self.thresholds) != len(self.factors):
            raise ValueError("thresholds and factors must be as many")


@dataclass(frozen=True, slots=True)
class HeatRun:
    """A motor's temperatures along a run of phases.

    Parameters
    ----------
    end : Temperatures after the last phase [-]
    hottest : Highest winding temperature at the ends of the sub-steps, the start included [K]
    least_share : Least share of the current limit that was left [-]
    winding : Winding temperature at the end of each phase, phases leading [K]
    """

    end: Temperatures
    hottest: Array
    least_share: Array
    winding: Array


def over_phases(
    path: HeatPath,
    coil: Winding,
    start: Temperatures,
    air: Real,
    phases: Sequence[tuple[Real, Real]],
    derating: Derating | None = None,
    steps: int = 8,
) -> HeatRun:
    """Return the temperatures along phases of known duration and current, the derating followed.

    Each sub-step is exact; without derating one per phase would do for the end, more find the peak. The limit holds
    the current of either sign, at any temperature.

    Parameters
    ----------
    path : Heat capacities and resistances [-]
    coil : The winding's resistance [-]
    start : Temperatures before [-]
    air : Temperature of the air around [K]
    phases : Duration [s] and effective current [A] of each phase
    derating : The controller's protection [-]; none by default
    steps : Sub-steps per phase, in each of which the derating stands still [-]

    Returns
    -------
    Temperatures and derating [-].
    """
    guard = derating or Derating()
    coolest: Real = np.inf
    for threshold in guard.thresholds:
        coolest = np.minimum(coolest, threshold)
    now = start
    hottest, least = np.asarray(start.winding, dtype=float), np.asarray(1.0)
    marks = []
    for duration, current in phases:
        for _ in range(steps):
            allowed = np.minimum(np.abs(current), guard.current_limit)
            if np.any(now.winding >= coolest):
                share = derating_factor(now.winding, guard.thresholds, guard.factors)
                # without a limit there is nothing to cut, and infinity times a share of 0 would be no number
                cut = np.where(np.isfinite(guard.current_limit), guard.current_limit, 0.0) * share
                allowed = np.where(np.isfinite(guard.current_limit), np.minimum(allowed, cut), allowed)
                least = np.minimum(least, share)
            now = after(path, coil, now, air, allowed, duration / steps)
            hottest = np.maximum(hottest, now.winding)
        marks.append(np.asarray(now.winding, dtype=float))
    winding = np.stack(np.broadcast_arrays(*marks)) if marks else np.empty((0,))
    return HeatRun(now, hottest, least, winding)


def steady(path: HeatPath, coil: Winding, air: Real, current: Real) -> Temperatures:
    """Return the temperatures that a constant current ends at.

    Parameters
    ----------
    path : Heat capacities and resistances [-]
    coil : The winding's resistance [-]
    air, current : Temperature of the air around [K]; effective winding current [A]

    Returns
    -------
    Temperatures at rest [-]; infinite where the growing resistance outruns the cooling.

    References
    ----------
    incropera: thermal resistances in series.
    """
    loss = np.square(np.asarray(current, dtype=float)) * coil.resistance
    in_series = np.asarray(path.winding_to_case + path.case_to_air)
    left = 1.0 - loss * coil.growth * in_series
    runs_away = left <= 0.0
    base = loss * (1.0 + coil.growth * (air - coil.reference))
    power = np.where(runs_away, np.inf, base / np.where(runs_away, 1.0, left))
    return Temperatures(air + power * in_series, air + power * path.case_to_air)


def cool_down_time(path: HeatPath, start: Temperatures, air: Real, target: Real) -> Array:
    """Return how long an idle motor takes until its winding stays below a temperature.

    The winding's rise is ``A exp(-a t) + B exp(-b t)`` with ``a < b``. Newton's steps on its logarithm from where
    the slow part alone meets the target run one way, from either sign of B. Where a case colder than the air makes
    ``A`` negative, the winding falls through the target once, at ``B exp(-b t) = goal - A exp(-a t)``; the logarithm
    of that is concave and falls, so that Newton's steps run one way too.

    Parameters
    ----------
    path : Heat capacities and resistances [-]
    start : Temperatures when it stops, of either node below the air or above it [-]
    air, target : Temperature of the air around [K]; winding temperature to fall below [K]

    Returns
    -------
    Time [s]; 0 where it never passes the target, infinite where the air it ends at is not below that.
    """
    g = 1.0 / np.asarray(path.winding_to_case, dtype=float)
    p, back = g / path.winding_capacity, g / path.case_capacity
    d = back + 1.0 / (path.case_to_air * np.asarray(path.case_capacity))
    half = np.sqrt(0.25 * np.square(d - p) + p * back)
    fast = 0.5 * (p + d) + half
    slow = p * (d - back) / fast
    w, c = np.asarray(start.winding - air, dtype=float), np.asarray(start.case - air, dtype=float)
    aim = np.asarray(target - air, dtype=float)
    reachable = aim > 0.0
    goal = np.where(reachable, aim, 1.0)
    # from the rise and its slope at the start
    A = ((fast - p) * w + p * c) / (fast - slow)
    B = w - A
    lasting, dips, dip = A > 0.0, A < 0.0, -A
    A = np.where(lasting, A, goal)
    peak_time = np.log(np.maximum(-B * fast, 1e-300) / (A * slow)) / (fast - slow)
    peak_time = np.where(B < 0.0, np.maximum(peak_time, 0.0), 0.0)
    highest = A * np.exp(-slow * peak_time) + B * np.exp(-fast * peak_time)
    t = np.maximum(np.log(A / goal) / slow, peak_time)
    for _ in range(10):
        one, two = A * np.exp(-slow * t), B * np.exp(-fast * t)
        rise = np.maximum(one + two, 1e-300)
        fall = np.maximum(slow * one + fast * two, 1e-300) / rise
        t = np.maximum(t + np.log(rise / goal) / np.maximum(fall, 0.1 * slow), 0.0)
    t = np.where(lasting & (highest > goal), t, 0.0)
    # the air's own temperature is a target that only a colder case can bring the winding below, or none at all
    t = np.where(reachable, t, np.where((aim < 0.0) | (w > 0.0) | (c > 0.0), np.inf, 0.0))
    return np.asarray(np.where(dips & (aim >= 0.0), _dip(w, dip, (slow, fast), np.maximum(aim, 0.0)), t))


def _dip(w: Array, pull: Array, rates: tuple[Array, Array], goal: Array) -> Array:
    """Return when a rise ``(w + pull) exp(-fast t) - pull exp(-slow t)`` falls through what it is to stay below."""
    slow, fast = rates
    over = w > goal
    start, pull = np.where(over, w, 2.0 * (goal + 1.0)), np.where(pull > 0.0, pull, 1.0)
    t = np.zeros_like(start)
    for _ in range(12):
        left = pull * np.exp(-slow * t)
        miss = np.log((start + pull) / (goal + left)) - fast * t
        t = np.maximum(t + miss / (fast - slow * left / (goal + left)), 0.0)
    return np.where(over, t, 0.0)
