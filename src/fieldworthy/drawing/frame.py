"""The frame of a chart: room for labels, grid, ticks, names of the axes and, only where needed, a legend."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array
from fieldworthy.drawing.style import DASHES, Style, shortened, width
from fieldworthy.drawing.svg import NORMAL, SMALL, Box, Ink, Letters, Sheet

Numbers: TypeAlias = Sequence[float] | npt.ArrayLike
Tone: TypeAlias = int | str | None
Side = Literal["x", "y"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line through points, broken where a number is not finite.

    Attributes
    ----------
    x, y : Its points [SI]
    name : Labels it; an empty one leaves it without label
    tone : A colour and dash of the series by number, a colour of the theme by name (``"bad"``), or the next in turn
    step : Whether it keeps each value until the next point
    width : Of the stroke [px]
    dash : A dash pattern instead of the series' own; ``""`` for none
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
    x, low, high : Its edges [SI]
    name : Labels it in the legend; an empty one leaves it without label
    tone : As for `Line`; give it the number of the line that it belongs to
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
    x, y : Where they are [SI]
    x_error, y_error : Half of the interval, or two rows: below and above [SI]
    name : Labels them
    tone : As for `Line`
    size : Of the marks [px]
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
    at : Middle of each, or its place among the axis' names [SI]
    value : Where each ends [SI]
    base : Where they begin [SI]
    width : Across each bar, on its axis [SI]
    lying : Whether they lie, so that `at` is on the y axis; best for names
    name : Labels them in the legend
    tone : As for `Line`, for all or for each
    labels : Written at each bar's end
    labels_at : Where the labels of lying bars begin instead, in a column of their own [SI]
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
    at : Where [SI]
    side : ``y`` for a level line at a value of y, ``x`` for an upright one
    name : Written on it
    tone : ``"bad"`` for a limit, ``"ink"`` for where something is now, ``"quiet"`` for a mere reference
    dash : Dash pattern; None for a full line
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
    low, high : Its ends [SI]
    side : The axis that it is a stretch of
    name : Written in it
    tone : As for `Line`
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
    x, y : Where [SI]
    name : Beside it
    tone : As for `Line`
    shape : ``dot``, ``ring``, ``square``, ``cross`` or ``diamond``
    """

    x: float
    y: float
    name: str = ""
    tone: Tone = "ink"
    shape: Literal["dot", "ring", "square", "cross", "diamond", "triangle"] = "dot"


Mark: TypeAlias = Line | Band | Points | Bars | Limit | Span | Spot


_STEPS = (1.0, 2.0, 5.0, 10.0)
_ANGLES = (1.0, 5.0, 10.0, 15.0, 30.0, 45.0, 90.0, 180.0)


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis of a chart.

    Attributes
    ----------
    label : What it shows, without unit
    kind : A key of `fieldworthy.units.KINDS`, ``share`` or ``count``
    low, high : Its ends [SI]; found from what is shown where None
    names : Names at 0, 1, 2, … in place of numbers
    zero : Whether 0 is shown in any case
    """

    label: str
    kind: str = "count"
    low: float | None = None
    high: float | None = None
    names: tuple[str, ...] = ()
    zero: bool = False


def tick_step(span: float, most: int, angle: bool = False) -> float:
    """Choose the step between ticks."""
    rough = span / max(most, 1)
    if angle and rough > 2.0 and span <= 720.0:
        return next((step for step in _ANGLES if step >= rough * (1.0 - 1e-9)), 180.0)
    power = 10.0 ** math.floor(math.log10(rough))
    return next(step for step in _STEPS if step * power >= rough * (1.0 - 1e-9)) * power


def ticks(low: float, high: float, step: float) -> Array:
    """List the ticks between two ends."""
    first, last = math.ceil(low / step - 1e-6), math.floor(high / step + 1e-6)
    return np.arange(first, last + 1, dtype=float) * step


def tick_texts(values: Array, step: float) -> list[str]:
    """Write the numbers beside ticks, all with as many places as the step has."""
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    return [f"{value + 0.0:.{places}f}".replace("-", "−") for value in np.round(values, places)]


@dataclass(frozen=True, slots=True)
class Scale:
    """The straight map of one axis, from SI to the sheet.

    Attributes
    ----------
    style, kind : For the person's unit
    low, high : Ends in the person's unit
    start, end : The same ends on the sheet [px]
    """

    style: Style
    kind: str
    low: float
    high: float
    start: float
    end: float

    def shown(self, value: float | Array) -> Array:
        """Place numbers in the person's unit."""
        share = (np.asarray(value, dtype=float) - self.low) / (self.high - self.low)
        return np.asarray(self.start + share * (self.end - self.start))

    def __call__(self, si: float | Array) -> Array:
        """Place SI numbers on the sheet [px]."""
        return self.shown(self.style.value(np.asarray(si, dtype=float), self.kind))


def ends(axis: Axis, values: Array, style: Style, most: int) -> tuple[float, float, float]:
    """Find the ends of an axis and the step between its ticks."""
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


_ROW, _HEAD = 20.0, 18.0  # a legend's, and those between legend and plot [px]
_SAMPLE = 26.0  # the stroke beside a legend's text [px]


@dataclass(frozen=True, slots=True)
class Frame:
    """Where a chart's numbers lie on the sheet.

    Attributes
    ----------
    plot : Between the axes [px]
    outer : With all labels [px]
    x, y : From SI to the sheet
    direct : Whether lines are labelled at their right ends; else by a legend above
    marks : All that is drawn in it
    """

    plot: Box
    outer: Box
    x: Scale
    y: Scale
    direct: bool
    marks: Sequence[Mark]


def labelled(marks: Sequence[Mark]) -> list[Line | Band | Points | Bars]:
    """Pick the marks whose names must be told apart."""
    return [mark for mark in marks if isinstance(mark, Line | Band | Points | Bars) and mark.name]


def directly(marks: Sequence[Mark], style: Style) -> bool:
    """Say whether names fit beside the right ends of the lines."""
    names = labelled(marks)
    lines = all(isinstance(mark, Line) for mark in names)
    room = 0.3 * style.width
    return bool(names) and lines and style.width >= 520.0 and all(width(m.name, SMALL) <= room for m in names)


def legend_rows(marks: Sequence[Mark], style: Style) -> int:
    """Count the rows that a legend takes."""
    return 0 if directly(marks, style) else len(_rows(marks, style.width - 24.0))


def _rows(marks: Sequence[Mark], room: float) -> list[list[tuple[int, str, float]]]:
    """Which labelled mark stands in which row, its text and its place in the row."""
    rows: list[list[tuple[int, str, float]]] = []
    at = room
    for i, mark in enumerate(labelled(marks)):
        text = shortened(mark.name, SMALL, room - _SAMPLE - 6.0)
        takes = _SAMPLE + 6.0 + width(text, SMALL)
        if not rows or at + takes > room:
            rows.append([])
            at = 0.0
        rows[-1].append((i, text, at))
        at += takes + 16.0
    return rows


def head_rows(y: Axis, marks: Sequence[Mark]) -> int:
    """Count the rows of text between legend and plot."""
    return bool(y.label) + bool(y.names and any(isinstance(m, Limit) and m.side == "x" and m.name for m in marks))


def colour_of(tone: Tone, turn: int, style: Style) -> tuple[str, str | None]:
    """Choose colour and dash of a mark."""
    if isinstance(tone, str):
        return (tone, None) if tone.startswith("#") else (str(getattr(style.theme, tone)), None)
    number = turn if tone is None else tone
    return style.theme.series[number % len(style.theme.series)], DASHES[number % len(DASHES)]


def turns(marks: Sequence[Mark]) -> list[int]:
    """Number the marks that give no tone, in turn."""
    found, turn = [], 0
    for mark in marks:
        found.append(turn)
        turn += isinstance(mark, Line | Band | Points | Bars) and mark.tone is None
    return found


def frame(
    sheet: Sheet,
    box: Box,
    axes: tuple[Axis, Axis],
    extents: tuple[Array, Array],
    marks: Sequence[Mark],
    left: float = 0.0,
) -> Frame:
    """Draw the frame of a chart."""
    style, (x, y) = sheet.style, axes
    direct = directly(marks, style) and box.w >= 520.0
    rows = [] if direct else _rows(marks, box.w - 24.0)
    top = box.y + 10.0 + _ROW * len(rows) + (4.0 if rows else 0.0) + _HEAD * head_rows(y, marks)
    bottom = box.bottom - 24.0 - (18.0 if x.label else 0.0)
    y_low, y_high, y_step = ends(y, extents[1], style, max(2, int((bottom - top) / 42.0)))
    y_ticks = ticks(y_low, y_high, y_step)
    texts = list(y.names) if y.names else tick_texts(y_ticks, y_step)
    own = box.x + 14.0 + min(max((width(text, SMALL) for text in texts), default=0.0), 0.34 * box.w)
    left = max(own, left)
    names = max((width(mark.name, SMALL) for mark in labelled(marks)), default=0.0) if direct else 0.0
    right = box.right - (names + 22.0 if direct else 16.0)
    x_low, x_high, x_step = ends(x, extents[0], style, max(2, int((right - left) / _tick_room(x, extents[0], style))))
    if x.names or y.names:  # half a place beyond the first and the last name
        x_low, x_high = (-0.5, len(x.names) - 0.5) if x.names else (x_low, x_high)
        y_low, y_high = (len(y.names) - 0.5, -0.5) if y.names else (y_low, y_high)
    plot = Box(left, top, right - left, bottom - top)
    where = Frame(plot, box, Scale(style, x.kind, x_low, x_high, left, right),
                  Scale(style, y.kind, y_low, y_high, bottom, top), direct, marks)  # fmt: skip
    _grid_y(sheet, where, y, texts, np.arange(len(texts), dtype=float) if y.names else y_ticks)
    _grid_x(sheet, where, x, x_step)
    _titles(sheet, where, axes)
    _legend(sheet, box, rows, marks)
    return where


def _tick_room(axis: Axis, values: Array, style: Style) -> float:
    """Width that a number below the axis needs, with its gap [px]."""
    low, high, step = ends(axis, values, style, 5)
    texts = tick_texts(ticks(low, high, step), step)
    return max(48.0, max((width(text, SMALL) for text in texts), default=0.0) + 22.0)


def _grid_y(sheet: Sheet, where: Frame, axis: Axis, texts: list[str], values: Array) -> None:
    theme, plot = sheet.style.theme, where.plot
    for text, at in zip(texts, where.y.shown(values).tolist(), strict=True):
        if not axis.names:
            sheet.line((plot.x, at), (plot.right, at), Ink(theme.grid))
        short = shortened(text, SMALL, plot.x - where.outer.x - 12.0)
        sheet.text(plot.x - 7.0, at + 0.35 * SMALL, short, Letters(theme.quiet, SMALL, "end"))
    zero = float(where.y.shown(0.0))
    if not axis.names and plot.y - 0.5 <= zero <= plot.bottom + 0.5:
        sheet.line((plot.x, zero), (plot.right, zero), Ink(theme.edge))


def _grid_x(sheet: Sheet, where: Frame, axis: Axis, step: float) -> None:
    theme, plot = sheet.style.theme, where.plot
    values = np.arange(len(axis.names), dtype=float) if axis.names else ticks(where.x.low, where.x.high, step)
    places = where.x.shown(values).tolist()
    room = plot.w / max(len(axis.names), 1) - 6.0
    texts = [shortened(n, SMALL, room) for n in axis.names] if axis.names else tick_texts(values, step)
    for text, at in zip(texts, places, strict=True):
        if not axis.names:
            sheet.line((at, plot.y), (at, plot.bottom), Ink(theme.grid))
        half = width(text, SMALL) / 2.0
        middle = float(np.clip(at, where.outer.x + half + 2.0, where.outer.right - half - 2.0))
        letters = Letters(theme.quiet, SMALL, "middle")
        if sheet.free(letters.box(middle, plot.bottom + 19.0, text), 1.0):
            sheet.text(middle, plot.bottom + 19.0, text, letters)
    sheet.line((plot.x, plot.bottom), (plot.right, plot.bottom), Ink(theme.edge))


def _titles(sheet: Sheet, where: Frame, axes: tuple[Axis, Axis]) -> None:
    style, plot, (x, y) = sheet.style, where.plot, axes
    if y.label:
        room = where.outer.w - 20.0
        text = shortened(style.header(y.label, y.kind), NORMAL, room)
        base = plot.y - 11.0 - _HEAD * (head_rows(y, where.marks) - 1)
        sheet.text(where.outer.x + 10.0, base, text, Letters(style.theme.ink, NORMAL))
    if x.label:
        text = shortened(style.header(x.label, x.kind), NORMAL, where.outer.w - 20.0)
        sheet.text(plot.right, plot.bottom + 36.0, text, Letters(style.theme.ink, NORMAL, "end"))


def _legend(sheet: Sheet, box: Box, rows: list[list[tuple[int, str, float]]], marks: Sequence[Mark]) -> None:
    named = labelled(marks)
    numbered = dict(zip(map(id, marks), turns(marks), strict=True))
    for row, entries in enumerate(rows):
        y = box.y + 8.0 + _ROW * row + 0.5 * _ROW
        for i, text, at in entries:
            x = box.x + 12.0 + at
            _sample(sheet, (x, y), named[i], numbered[id(named[i])])
            sheet.text(x + _SAMPLE + 5.0, y + 0.35 * SMALL, text, Letters(sheet.style.theme.ink, SMALL))


def _sample(sheet: Sheet, at: tuple[float, float], mark: Line | Band | Points | Bars, turn: int) -> None:
    """The stroke, area or mark beside a legend's text."""
    tone = mark.tone if isinstance(mark.tone, int | str) or mark.tone is None else mark.tone[0]
    colour, dash = colour_of(tone, turn, sheet.style)
    x, y = at
    if isinstance(mark, Line):
        own = dash if mark.dash is None else mark.dash or None
        sheet.line((x, y), (x + _SAMPLE, y), Ink(colour, width=mark.width, dash=own))
    elif isinstance(mark, Points):
        sheet.circle((x + _SAMPLE / 2.0, y), mark.size, Ink(fill=colour))
    else:
        sheet.rect(Box(x, y - 6.0, _SAMPLE, 12.0), Ink(fill=colour, opacity=0.22 if isinstance(mark, Band) else 0.85))
