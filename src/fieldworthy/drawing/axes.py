"""Charts: one pair of axes, rows of bars with words above them, and charts below each other over one axis.

A chart is described (`Chart`) and then drawn (`chart`, or `panels` for several below each other, or `paint` into a
part of a larger sheet).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.frame import (
    Axis,
    Band,
    Bars,
    Frame,
    Limit,
    Line,
    Mark,
    Points,
    Span,
    Tone,
    colour_of,
    frame,
    head_rows,
    legend_rows,
)
from fieldworthy.drawing.painting import draw_spot, end_labels, limit_label, paint_marks
from fieldworthy.drawing.style import Style, width, wrapped
from fieldworthy.drawing.svg import LARGE, NORMAL, SMALL, Box, Figure, Ink, Letters, Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """What one chart shows.

    Attributes
    ----------
    title, alt : In a few words, and in one sentence with the numbers that matter
    x, y : Its axes
    marks : What is drawn, later ones on top
    columns : The numbers behind it, headings with units; those of the named lines, points and bars where empty
    height : Of the drawing [px]; chosen where None
    """

    title: str
    alt: str
    x: Axis
    y: Axis
    marks: Sequence[Mark]
    columns: dict[str, Sequence[Any]] = field(default_factory=dict)
    height: float | None = None


def chart(what: Chart, style: Style, above: Callable[[Sheet, Frame], None] | None = None) -> Figure:
    """Draw a chart, and what is to lie above it."""
    high = what.height or _height(what, style)
    sheet = Sheet(style, high)
    where = paint(sheet, sheet.area, what)
    if above is not None:
        above(sheet, where)
    return Figure(what.title, what.alt, sheet.document(what.title, what.alt), columns_of(what, style))


def panels(title: str, alt: str, charts: Sequence[Chart], style: Style) -> Figure:
    """Draw several charts below each other, each under its title."""
    heights = [what.height or _height(what, style, 0.72) for what in charts]
    head, gap = 26.0, 10.0
    sheet = Sheet(style, sum(heights) + head * len(charts) + gap * (len(charts) - 1))
    boxes = [Box(0.0, 0.0, style.width, high) for high in heights]
    trials = [paint(Sheet(style, box.h), box, what) for box, what in zip(boxes, charts, strict=True)]
    top, left = 0.0, max((where.plot.x for where in trials), default=0.0)
    columns: dict[str, Sequence[Any]] = {}
    for what, high in zip(charts, heights, strict=True):
        sheet.text(10.0, top + 18.0, what.title, Letters(style.theme.ink, LARGE, bold=True))
        paint(sheet, Box(0.0, top + head, style.width, high), what, left)
        columns |= _told_apart(columns_of(what, style), columns, what.title)
        top += head + high + gap
    return Figure(title, alt, sheet.document(title, alt), columns)


def _told_apart(new: dict[str, Sequence[Any]], old: dict[str, Sequence[Any]], title: str) -> dict[str, Sequence[Any]]:
    """Put the chart's title before a heading that another chart has with other numbers."""
    clash = {key for key in new if key in old and list(old[key]) != list(new[key])}
    return {f"{title}: {key}" if key in clash else key: column for key, column in new.items()}


def paint(sheet: Sheet, box: Box, what: Chart, left: float = 0.0) -> Frame:
    """Draw a chart into a part of a sheet."""
    where = frame(sheet, box, (what.x, what.y), _extents(what), what.marks, left)
    paint_marks(sheet, where, what.marks)
    return where


def _height(what: Chart, style: Style, share: float = 1.0) -> float:
    around = legend_rows(what.marks, style) * 20.0 + head_rows(what.y, what.marks) * 18.0
    if what.y.names:  # a line each for bars that lie
        return 28.0 * len(what.y.names) + 56.0 + around
    return share * float(np.clip(0.54 * style.width, 250.0, 420.0)) + around


def _extents(what: Chart) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """All numbers that either axis must hold."""
    found: dict[str, list[Any]] = {"x": [], "y": []}
    for mark in what.marks:
        for side, numbers in _reaches(mark):
            found[side].append(np.ravel(np.asarray(numbers, dtype=float)))
    for side, axis in (("x", what.x), ("y", what.y)):
        if axis.names:
            found[side].append(np.array([-0.5, len(axis.names) - 0.5]))
    _padded(found, what.marks)
    together = [np.concatenate(found[side]) if found[side] else np.empty(0) for side in ("x", "y")]
    return together[0], together[1]


def _padded(found: dict[str, list[Any]], marks: Sequence[Mark]) -> None:
    """Leave room between single points and the ends of the axes."""
    for side in ("x", "y") if any(isinstance(mark, Points) for mark in marks) else ():
        numbers = np.concatenate(found[side])
        numbers = numbers[np.isfinite(numbers)]
        if numbers.size:
            spare = 0.03 * float(np.ptp(numbers))
            found[side].append(np.array([numbers.min() - spare, numbers.max() + spare]))


def _reaches(mark: Mark) -> list[tuple[str, Any]]:
    if isinstance(mark, Limit):
        return [(mark.side, [mark.at])]
    if isinstance(mark, Span):
        return [(mark.side, [mark.low, mark.high])]
    if isinstance(mark, Band):
        return [("x", mark.x), ("y", mark.low), ("y", mark.high)]
    if isinstance(mark, Bars):
        along, across = ("x", "y") if mark.lying else ("y", "x")
        at, half = np.asarray(mark.at, dtype=float), mark.width / 2.0
        return [(along, mark.value), (along, [mark.base]), (across, at - half), (across, at + half)]
    if isinstance(mark, Points):
        return [*_with_error("x", mark.x, mark.x_error), *_with_error("y", mark.y, mark.y_error)]
    return [("x", mark.x), ("y", mark.y)]


def _with_error(side: str, numbers: Any, error: Any) -> list[tuple[str, Any]]:
    if error is None:
        return [(side, numbers)]
    at, half = np.asarray(numbers, dtype=float), np.asarray(error, dtype=float)
    below, above = (half[0], half[1]) if half.ndim == 2 else (half, half)
    return [(side, at - below), (side, at + above)]


def columns_of(what: Chart, style: Style) -> dict[str, Sequence[Any]]:
    """List the numbers behind a chart, in the person's units."""
    if what.columns:
        return dict(what.columns)
    found: dict[str, Sequence[Any]] = {}
    for mark in what.marks:
        if not isinstance(mark, Line | Band | Points | Bars):
            continue
        name = mark.name or what.y.label
        for label, axis, numbers in _columns(mark, name, what):
            key, column = style.header(label, axis.kind), _shown(numbers, axis, style)
            if key in found and list(found[key]) != column:
                key = f"{name}: {key}"
            found[key] = column
    return found


def _columns(mark: Line | Band | Points | Bars, name: str, what: Chart) -> list[tuple[str, Axis, Any]]:
    if isinstance(mark, Band):
        return [
            (what.x.label, what.x, mark.x),
            (f"{name}, low", what.y, mark.low),
            (f"{name}, high", what.y, mark.high),
        ]
    if isinstance(mark, Bars):
        places, values = (what.y, what.x) if mark.lying else (what.x, what.y)
        return [(places.label or "Name", places, mark.at), (mark.name or values.label, values, mark.value)]
    return [(what.x.label, what.x, mark.x), (name, what.y, mark.y)]


def _shown(numbers: Any, axis: Axis, style: Style) -> list[Any]:
    values = np.ravel(np.asarray(numbers, dtype=float))
    if axis.names:
        return [axis.names[int(value)] for value in values]
    return [float(value) for value in style.value(values, axis.kind)]


Shape = Literal["dot", "ring", "square", "cross", "diamond", "triangle"]
_LINE, _BAR, _ROW_GAP = 15.0, 12.0, 11.0  # of a text, of a bar, and between rows [px]
_EDGE = 12.0  # [px]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row.

    Attributes
    ----------
    label : Above it; broken into lines that fit
    note : At the right end of the label's first line: the number in words
    bar : From where to where a bar goes [SI]
    interval : Ends of an interval [SI]
    at : Where its mark is [SI]
    shape : Of the mark
    tone : As for a mark of a chart
    hollow : Whether the bar is an outline only
    heading : Whether it is a heading without a bar
    """

    label: str
    note: str = ""
    bar: tuple[float, float] | None = None
    interval: tuple[float, float] | None = None
    at: float | None = None
    shape: Shape = "dot"
    tone: Tone = 0
    hollow: bool = False
    heading: bool = False


def rows_height(rows: Sequence[Row], axis: Axis, wide: float) -> float:
    """Say how high rows and their axis are."""
    return sum(_tall(row, wide) for row in rows) + 10.0 + 24.0 + (18.0 if axis.label else 0.0)


def _tall(row: Row, wide: float) -> float:
    lines = len(_lines(row, wide))
    return 12.0 + 18.0 * lines if row.heading else _LINE * lines + _BAR + _ROW_GAP


def _lines(row: Row, wide: float) -> list[str]:
    """The label in lines, the first of which leaves room for the note."""
    size = NORMAL if row.heading else SMALL
    room = wide - 2.0 * _EDGE
    first = room - (width(row.note, SMALL, bold=True) + 14.0 if row.note else 0.0)
    whole = wrapped(row.label, size, max(first, 0.4 * room))
    if len(whole) < 2:
        return whole or [""]
    rest = row.label[len(whole[0]) :].strip() if row.label.startswith(whole[0]) else " ".join(whole[1:])
    return [whole[0], *wrapped(rest, size, room)]


def draw_rows(sheet: Sheet, top: float, rows: Sequence[Row], axis: Axis, marks: Sequence[Limit | Span] = ()) -> Frame:
    """Draw rows over one axis."""
    wide = sheet.style.width
    box = Box(0.0, top, wide, rows_height(rows, axis, wide))
    extent = np.array([axis.low or 0.0, axis.high or 1.0])
    where = frame(sheet, box, (axis, Axis("", names=("",))), (extent, np.zeros(1)), ())
    # upright lines stop at the words that they would cross; their own names find what room is left
    paint_marks(sheet, where, [mark for mark in marks if not isinstance(mark, Limit)])
    y = where.plot.y
    for row in rows:
        for mark in marks:
            if isinstance(mark, Limit):
                _passed(sheet, where, (y, y + _tall(row, wide)), row, mark)
        _row(sheet, where, y, row)
        y += _tall(row, wide)
    for mark in marks:
        if isinstance(mark, Limit) and mark.name:
            colour = colour_of(mark.tone, 0, sheet.style)[0]
            limit_label(sheet, where, mark, colour, [])
    return where


def _passed(sheet: Sheet, where: Frame, ends: tuple[float, float], row: Row, mark: Limit) -> None:
    """An upright line where it passes a row: below the words where it would cross them."""
    x, wide, lines = float(where.x(mark.at)), sheet.style.width, _lines(row, sheet.style.width)
    size = NORMAL if row.heading else SMALL
    right = _EDGE + max(width(line, size, bold=row.heading) for line in lines) + 4.0
    left = wide - _EDGE - width(row.note, SMALL, bold=True) - 4.0 if row.note else wide
    top = ends[0] + (18.0 if row.heading else _LINE) * len(lines) + 1.0 if x < right or x > left else ends[0]
    colour = colour_of(mark.tone, 0, sheet.style)[0]
    if top < ends[1] and where.plot.x - 1.0 <= x <= where.plot.right + 1.0:
        sheet.line((x, top), (x, ends[1]), Ink(colour, width=1.6, dash=mark.dash))


def _row(sheet: Sheet, where: Frame, top: float, row: Row) -> None:
    theme, wide = sheet.style.theme, sheet.style.width
    lines = _lines(row, wide)
    step, size = (18.0, NORMAL) if row.heading else (_LINE, SMALL)
    base = top + (20.0 if row.heading else 11.0)
    for i, line in enumerate(lines):
        sheet.text(_EDGE, base + step * i, line, Letters(theme.ink, size, bold=row.heading, halo=theme.paper))
    if row.note:
        sheet.text(wide - _EDGE, base, row.note, Letters(theme.ink, SMALL, "end", bold=True, halo=theme.paper))
    if row.heading:
        return
    middle = top + _LINE * len(lines) + _BAR / 2.0 + 1.0
    colour = colour_of(row.tone, 0, sheet.style)[0]
    if row.bar is not None:
        a, b = sorted(_held(where, at) for at in row.bar)
        box = Box(a, middle - _BAR / 2.0, max(b - a, 1.0), _BAR)
        sheet.rect(box, Ink(colour, theme.paper if row.hollow else colour, 1.4), 1.5)
    if row.interval is not None:
        _interval(sheet, where, middle, row.interval, theme.ink if row.bar is not None else colour)
    if row.at is not None:
        _mark(sheet, where, middle, row, colour)


def _held(where: Frame, at: float) -> float:
    """On the sheet, kept between the ends of the axis [px]."""
    if np.isnan(at):
        return where.plot.x
    low, high = sorted((where.x.low, where.x.high))
    shown = float(np.clip(where.x.style.value(float(at), where.x.kind), low, high))
    return float(where.x.shown(shown))


def _interval(sheet: Sheet, where: Frame, y: float, ends: tuple[float, float], colour: str) -> None:
    a, b = sorted(_held(where, at) for at in ends)
    sheet.line((a, y), (b, y), Ink(colour, width=1.6))
    for at in (a, b):
        sheet.line((at, y - 4.0), (at, y + 4.0), Ink(colour, width=1.6))


def _mark(sheet: Sheet, where: Frame, y: float, row: Row, colour: str) -> None:
    """The row's mark; an arrow at the end of the axis where it lies beyond."""
    at = row.at or 0.0
    x, shown = _held(where, at), where.x.style.value(float(at), where.x.kind)
    if shown > where.x.high * (1.0 + 1e-9) + 1e-12:
        sheet.arrow((x - 16.0, y), (x, y), Ink(colour, width=2.2), 9.0)
        x -= 22.0
    elif shown < where.x.low - abs(where.x.low) * 1e-9 - 1e-12:
        sheet.arrow((x + 16.0, y), (x, y), Ink(colour, width=2.2), 9.0)
        x += 22.0
    draw_spot(sheet, (x, y), row.shape, colour)


HEAD = 26.0
"""Height of a pane's title [px]."""
_GAP = 22.0  # of names in the margin, from the plot and from the edge [px]


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A level line right across a pane, named in the margin.

    Attributes
    ----------
    at : Where it crosses the y axis [SI]
    name : What it is
    tone : As for a mark
    dash : Dash pattern; None for a full line
    """

    at: float
    name: str
    tone: Tone = "quiet"
    dash: str | None = "6 3"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pane:
    """One of several charts over the same axis.

    Attributes
    ----------
    title : Above it; none where empty
    y : Its own axis
    marks : What is drawn
    levels : Level lines, named in the margin
    named : Lines whose names stand in the margin, beside their right ends
    holds : What the y axis must hold, where it does not give both ends [SI]
    height : Without the title [px]
    aside : What stands in the margin, above the names
    last : Whether the shared axis is named below it
    """

    title: str
    y: Axis
    marks: Sequence[Mark]
    levels: Sequence[Level] = ()
    named: Sequence[Line] = ()
    holds: Sequence[float] = ()
    height: float = 190.0
    aside: str = ""
    last: bool = True

    @property
    def tall(self) -> float:
        """Height with the title [px]."""
        return self.height + (HEAD if self.title else 0.0)


def margin_of(panes: Sequence[Pane], style: Style) -> float:
    """Find the width that the names at the right need."""
    names = [level.name for pane in panes for level in pane.levels]
    names += [line.name for pane in panes for line in pane.named]
    if not names:
        return 0.0
    widths = [width(name, SMALL) for name in (*names, *(pane.aside for pane in panes))]
    return min(max(widths) + _GAP, 0.34 * style.width)


def stack(sheet: Sheet, top: float, panes: Sequence[Pane], x: Axis) -> list[Frame]:
    """Draw charts below each other with their plots in line."""
    room = margin_of(panes, sheet.style)
    left = max((_trial(sheet.style, pane, x, room) for pane in panes), default=0.0)
    frames = []
    for pane in panes:
        if pane.title:
            sheet.text(12.0, top + 18.0, pane.title, Letters(sheet.style.theme.ink, LARGE, bold=True))
            top += HEAD
        frames.append(_pane(sheet, top, pane, x, (left, room)))
        top += pane.height
    return frames


def _trial(style: Style, pane: Pane, x: Axis, room: float) -> float:
    """How far right the plot of a pane begins if nothing pushes it [px]."""
    return _framed(Sheet(style, pane.height), 0.0, pane, x, (0.0, room)).plot.x


def _framed(sheet: Sheet, top: float, pane: Pane, x: Axis, sides: tuple[float, float]) -> Frame:
    push, room = sides
    box = Box(push, top, sheet.style.width - room - push, pane.height)
    given = [end for end in (pane.y.low, pane.y.high) if end is not None]
    extents = (np.array([x.low or 0.0, x.high or 1.0]), np.array([*pane.holds, *given], dtype=float))
    own = x if pane.last else dataclasses.replace(x, label="")
    return frame(sheet, box, (own, pane.y), extents, pane.marks)


def _pane(sheet: Sheet, top: float, pane: Pane, x: Axis, sides: tuple[float, float]) -> Frame:
    left, room = sides
    push = left - _trial(sheet.style, pane, x, room)
    where = _framed(sheet, top, pane, x, (push, room))
    lines = [line for i, level in enumerate(pane.levels) if (line := _level(sheet, where, level, i)) is not None]
    lines += [_named(sheet, where, line) for line in pane.named]
    if lines and pane.aside:
        sheet.text(where.plot.right + 14.0, where.plot.y - 12.0, pane.aside, Letters(sheet.style.theme.quiet, SMALL))
    paint_marks(sheet, where, pane.marks, [ends for ends, _, _ in lines])
    end_labels(sheet, dataclasses.replace(where, outer=sheet.area), lines)
    return where


def _level(sheet: Sheet, where: Frame, level: Level, turn: int) -> tuple[Array, str, str] | None:
    """Draw a level; its ends, name and colour."""
    y, plot = float(where.y(level.at)), where.plot
    if not plot.y - 1.0 <= y <= plot.bottom + 1.0:
        return None
    colour = colour_of(level.tone, turn, sheet.style)[0]
    sheet.line((plot.x, y), (plot.right, y), Ink(colour, width=1.5, dash=level.dash))
    return np.array([(plot.x, y), (plot.right, y)]), level.name, colour


def _named(sheet: Sheet, where: Frame, line: Line) -> tuple[Array, str, str]:
    """Draw a line, dotted on to the margin where it ends before; its end, name and colour."""
    paint_marks(sheet, where, [dataclasses.replace(line, name="")])
    colour = colour_of(line.tone, 0, sheet.style)[0]
    x, y = float(where.x(np.asarray(line.x, float)[-1])), float(where.y(np.asarray(line.y, float)[-1]))
    if x < where.plot.right - 3.0:
        sheet.line((x, y), (where.plot.right, y), Ink(colour, dash="1 4"))
    return np.array([(where.plot.right, y)]), line.name, colour


def pane_height(style: Style, marks: Sequence[Mark] = ()) -> float:
    """Choose the height of a pane."""
    return float(np.clip(0.34 * style.width, 190.0, 270.0)) + 20.0 * legend_rows(marks, style)
