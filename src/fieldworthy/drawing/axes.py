"""Charts: axes in the person's units, with what `axesmarks` lists drawn between them.

A chart is described (`Chart`) and then drawn (`chart`, or `panels` for several below each other, or `paint` into a
part of a larger sheet).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fieldworthy.drawing.figure import Figure
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
    frame,
    head_rows,
    legend_rows,
)
from fieldworthy.drawing.painting import paint_marks
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import LARGE, Box, Letters, Sheet


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


def chart(what: Chart, style: Style) -> Figure:
    """Draw a chart."""
    high = what.height or _height(what, style)
    sheet = Sheet(style, high)
    paint(sheet, sheet.area, what)
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
