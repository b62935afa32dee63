"""From the person's numbers to the sheet: ticks on steps of 1, 2 and 5, and the straight map of an axis."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldworthy.draw.style import Array, Style

_STEPS = (1.0, 2.0, 5.0, 10.0)
_ANGLES = (1.0, 5.0, 10.0, 15.0, 30.0, 45.0, 90.0, 180.0)


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis of a chart.

    Attributes
    ----------
    label : str
        What it shows, without unit.
    kind : str
        A key of `fieldworthy.units.KINDS`, ``share`` or ``count``.
    low, high : float or None
        Its ends [SI]; found from what is shown where None.
    names : tuple of str
        Names at 0, 1, 2, … in place of numbers.
    zero : bool
        Whether 0 is shown in any case.
    """

    label: str
    kind: str = "count"
    low: float | None = None
    high: float | None = None
    names: tuple[str, ...] = ()
    zero: bool = False


def tick_step(span: float, most: int, angle: bool = False) -> float:
    """Choose the step between ticks.

    Parameters
    ----------
    span : float
        From one end to the other, above 0 [any unit].
    most : int
        Ticks that there is room for, 2 or more [-].
    angle : bool
        Whether it is an angle in degrees, stepped by parts of a circle where it is wide [-].

    Returns
    -------
    float
        1, 2 or 5 times a power of ten; for wide angles 5, 10, 15, 30, 45, 90 or 180 [the same unit].
    """
    rough = span / max(most, 1)
    if angle and rough > 2.0 and span <= 720.0:
        return next((step for step in _ANGLES if step >= rough * (1.0 - 1e-9)), 180.0)
    power = 10.0 ** math.floor(math.log10(rough))
    return next(step for step in _STEPS if step * power >= rough * (1.0 - 1e-9)) * power


def ticks(low: float, high: float, step: float) -> Array:
    """List the ticks between two ends.

    Parameters
    ----------
    low, high : float
        The ends [any unit].
    step : float
        Between ticks [the same unit].

    Returns
    -------
    ndarray of shape (k,)
        Multiples of the step within the ends [the same unit].
    """
    first, last = math.ceil(low / step - 1e-6), math.floor(high / step + 1e-6)
    return np.arange(first, last + 1, dtype=float) * step


def tick_texts(values: Array, step: float) -> list[str]:
    """Write the numbers beside ticks, all with as many places as the step has.

    Parameters
    ----------
    values : ndarray of shape (k,)
        Ticks [any unit].
    step : float
        Between them [the same unit].

    Returns
    -------
    list of str
        One each [-].
    """
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    return [f"{value + 0.0:.{places}f}".replace("-", "−") for value in np.round(values, places)]


@dataclass(frozen=True, slots=True)
class Scale:
    """The straight map of one axis, from SI to the sheet.

    Attributes
    ----------
    style, kind : Style, str
        For the person's unit.
    low, high : float
        Ends in the person's unit [-].
    start, end : float
        The same ends on the sheet [px].
    """

    style: Style
    kind: str
    low: float
    high: float
    start: float
    end: float

    def shown(self, value: float | Array) -> Array:
        """Place numbers in the person's unit.

        Parameters
        ----------
        value : float or ndarray
            In the person's unit [-].

        Returns
        -------
        ndarray
            On the sheet [px].
        """
        share = (np.asarray(value, dtype=float) - self.low) / (self.high - self.low)
        return np.asarray(self.start + share * (self.end - self.start))

    def __call__(self, si: float | Array) -> Array:
        """Place SI numbers on the sheet [px]."""
        return self.shown(self.style.value(np.asarray(si, dtype=float), self.kind))


def ends(axis: Axis, values: Array, style: Style, most: int) -> tuple[float, float, float]:
    """Find the ends of an axis and the step between its ticks.

    Parameters
    ----------
    axis : Axis
        The axis; an end that it gives is kept [SI].
    values : ndarray of shape (k,)
        What is shown; numbers that are not finite do not count [SI].
    style : Style
        For the person's unit [-].
    most : int
        Ticks that there is room for [-].

    Returns
    -------
    tuple of float
        Low, high and step in the person's unit [-].
    """
    finite = values[np.isfinite(values)]
    if axis.zero:
        finite = np.append(finite, 0.0)
    given = [end for end in (axis.low, axis.high) if end is not None]
    finite = finite if finite.size else np.asarray(given or [0.0, 1.0], dtype=float)
    bottom = float(finite.min()) if axis.low is None else axis.low
    top = float(finite.max()) if axis.high is None else axis.high
    low, high = float(style.value(bottom, axis.kind)), float(style.value(top, axis.kind))
    if high - low <= 1e-9 * max(abs(low), abs(high), 1e-3):
        spare = 0.5 * abs(high) if abs(high) > 1e-9 else 0.5
        low, high = low - (spare if axis.low is None else 0.0), high + spare
    step = tick_step(high - low, most, axis.kind == "angle")
    if axis.low is None:
        low = math.floor(low / step + 1e-6) * step
    if axis.high is None:
        high = math.ceil(high / step - 1e-6) * step
    return low, high, step
