"""Rows below each other, each with its words above a bar, an interval or a mark: names are never cut short for room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from fieldworthy.drawing.frame import Axis, Frame, Limit, Span, Tone, colour_of, frame
from fieldworthy.drawing.lettering import width, wrapped
from fieldworthy.drawing.painting import draw_spot, limit_label, paint_marks
from fieldworthy.drawing.svg import NORMAL, SMALL, Box, Ink, Letters, Sheet

Shape = Literal["dot", "ring", "square", "cross", "diamond", "triangle"]
_LINE, _BAR, _GAP = 15.0, 12.0, 11.0  # of a text, of a bar, and between rows [px]
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
    return 12.0 + 18.0 * lines if row.heading else _LINE * lines + _BAR + _GAP


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
    # lines lie under the words, their own names find what room is left
    paint_marks(sheet, where, [replace(mark, name="") if isinstance(mark, Limit) else mark for mark in marks])
    y = where.plot.y
    for row in rows:
        _row(sheet, where, y, row)
        y += _tall(row, wide)
    for mark in marks:
        if isinstance(mark, Limit) and mark.name:
            colour = colour_of(mark.tone, 0, sheet.style)[0]
            limit_label(sheet, where, mark, colour, [])
    return where


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
