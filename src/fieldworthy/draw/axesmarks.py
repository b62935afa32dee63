"""What a chart can show: lines, bands, points, bars, limits, spans and single spots, all in SI."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy.typing as npt

Numbers: TypeAlias = Sequence[float] | npt.ArrayLike
Tone: TypeAlias = int | str | None
Side = Literal["x", "y"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line through points, broken where a number is not finite.

    Attributes
    ----------
    x, y : sequence of float
        Its points [SI].
    name : str
        Labels it; an empty one leaves it without label.
    tone : int, str or None
        A colour and dash of the series by number, a colour of the theme by name (``"bad"``), or the next in turn.
    step : bool
        Whether it keeps each value until the next point.
    width : float
        Of the stroke [px].
    dash : str or None
        A dash pattern instead of the series' own; ``""`` for none.
    """

    x: Numbers
    y: Numbers
    name: str = ""
    tone: Tone = None
    step: bool = False
    width: float = 2.0
    dash: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """An area between two lines, for a spread.

    Attributes
    ----------
    x, low, high : sequence of float
        Its edges [SI].
    name : str
        Labels it in the legend; an empty one leaves it without label.
    tone : int, str or None
        As for `Line`; give it the number of the line that it belongs to.
    """

    x: Numbers
    low: Numbers
    high: Numbers
    name: str = ""
    tone: Tone = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Points:
    """Single points, with bars for their uncertainty.

    Attributes
    ----------
    x, y : sequence of float
        Where they are [SI].
    x_error, y_error : sequence of float or None
        Half of the interval, or two rows: below and above [SI].
    name : str
        Labels them.
    tone : int, str or None
        As for `Line`.
    size : float
        Of the marks [px].
    """

    x: Numbers
    y: Numbers
    x_error: Numbers | None = None
    y_error: Numbers | None = None
    name: str = ""
    tone: Tone = None
    size: float = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Bars:
    """Bars from a base, upright or lying.

    Attributes
    ----------
    at : sequence of float
        Middle of each, or its place among the axis' names [SI].
    value : sequence of float
        Where each ends [SI].
    base : float
        Where they begin [SI].
    width : float
        Across each bar, on its axis [SI].
    lying : bool
        Whether they lie, so that `at` is on the y axis; best for names.
    name : str
        Labels them in the legend.
    tone : int, str, None or sequence of these
        As for `Line`, for all or for each.
    labels : sequence of str
        Written at each bar's end.
    labels_at : float or None
        Where the labels of lying bars begin instead, in a column of their own [SI].
    """

    at: Numbers
    value: Numbers
    base: float = 0.0
    width: float = 0.7
    lying: bool = False
    name: str = ""
    tone: Tone | Sequence[int | str] = None
    labels: Sequence[str] = ()
    labels_at: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A straight line right across, with its name on it.

    Attributes
    ----------
    at : float
        Where [SI].
    side : str
        ``y`` for a level line at a value of y, ``x`` for an upright one.
    name : str
        Written on it.
    tone : int, str or None
        ``"bad"`` for a limit, ``"ink"`` for where something is now, ``"quiet"`` for a mere reference.
    dash : str or None
        Dash pattern; None for a full line.
    """

    at: float
    side: Side = "y"
    name: str = ""
    tone: Tone = "bad"
    dash: str | None = "6 3"


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of one axis, shaded right across.

    Attributes
    ----------
    low, high : float
        Its ends [SI].
    side : str
        The axis that it is a stretch of.
    name : str
        Written in it.
    tone : int, str or None
        As for `Line`.
    """

    low: float
    high: float
    side: Side = "x"
    name: str = ""
    tone: Tone = "quiet"


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One point with a text beside it.

    Attributes
    ----------
    x, y : float
        Where [SI].
    name : str
        Beside it.
    tone : int, str or None
        As for `Line`.
    shape : str
        ``dot``, ``ring``, ``square``, ``cross`` or ``diamond``.
    """

    x: float
    y: float
    name: str = ""
    tone: Tone = "ink"
    shape: Literal["dot", "ring", "square", "cross", "diamond"] = "dot"


Mark: TypeAlias = Line | Band | Points | Bars | Limit | Span | Spot
