"""Gauge over time at rest: how fast a tank's circuit leaks."""

from __future__ import annotations

import math

import numpy as np

from fieldworthy.engine.display import Shown
from fieldworthy.engine.finding import Array
from fieldworthy.measure.files import Measured
from fieldworthy.measure.fitting import PER_95, Parameter, Solution, solve
from fieldworthy.measure.handwork import scatter_note
from fieldworthy.measure.model import Leak
from fieldworthy.measure.result import Fitted, Procedure, Residuals, Unidentified
from fieldworthy.units import show

_FULL, _RATE = "gauge at the first look", "leak rate"
_UNSURE = 0.5  # of the rate: a rate known less well than that gives no half time with an end


def fit_leak(section: Leak, measured: Measured, name: str) -> Procedure:
    """Find the time in which the gauge pressure halves at rest.

    Notes
    -----
    ``p = p0 2^(-r t)`` of the gauge pressure, fitted for the rate r, in which the readings are nearly linear; the half
    time is 1/r.
    """
    time = np.array([float(r.time) for r in section.readings])
    gauge = np.array([float(r.pressure) for r in section.readings])
    span, error = float(np.ptp(time)), float(section.error) / PER_95

    def predicted(values: Array) -> Array:
        """Gauge at the times of the readings [Pa]."""
        return np.asarray(values[0] * np.exp2(-values[1] * (time - time.min())))

    def residual(values: Array) -> Array:
        """Readings less model, in standard deviations."""
        return (gauge - predicted(values)) / error

    start = max(float(gauge[np.argmin(time)]), error)
    solution = solve(residual, [
        Parameter(_FULL, start, 0.5 * start),
        Parameter(_RATE, _guess(time, gauge), 3.0 / span, low=0.0),
    ])  # fmt: skip
    fitted, blind, notes = _told(solution, measured, name, span)
    both = tuple(gauge.tolist()), tuple(predicted(solution.values).tolist())
    plot = Residuals(f"Gauge of tank '{name}'", "time", "time", tuple(time.tolist()), "pressure", *both)
    unit = Shown.of(measured.robot.quantities).units["pressure"]
    notes += scatter_note(solution, float(section.error), "pressure", unit)
    return Procedure(f"leaks.{name}", f"Leak of tank '{name}'", section.date, fitted, blind, (plot,), notes,
                     ("practice",))  # fmt: skip


def _guess(time: Array, gauge: Array) -> float:
    first, last = int(np.argmin(time)), int(np.argmax(time))
    fall = max(float(gauge[first]), 1.0) / max(float(gauge[last]), 1.0)
    return max(math.log2(max(fall, 1.0)), 1e-3) / float(np.ptp(time))


def _told(
    solution: Solution, measured: Measured, name: str, span: float
) -> tuple[tuple[Fitted, ...], tuple[Unidentified, ...], tuple[str, ...]]:
    label, key = f"half time of the leak of tank '{name}'", ("air", "tanks", name, "leak_half_time")
    rate, half = solution.value(_RATE), solution.half_width(_RATE)
    if half <= _UNSURE * rate:
        value, width = solution.derived(lambda v: 1.0 / max(float(v[1]), 1e-12))
        return (Fitted(label, key, "time", value, width),), (), ()
    unit = measured.quantities[key].unit if key in measured.quantities else "min"
    least = 1.0 / max(rate + half, 1e-12)
    again = max(4.0 * span, 0.2 * least)
    reading = f"wait longer, {show(again, 'time', 'min', 2)} or more between the first look and the last"
    why = "the gauge has fallen by no more than its own reading error explains"
    note = f"Tank '{name}' is tight as far as these readings tell: its pressure halves in no less than "
    return (), (Unidentified(label, key, why, reading),), (f"{note}{show(least, 'time', unit)}.",)
