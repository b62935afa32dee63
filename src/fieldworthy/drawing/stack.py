"""Charts below each other over one axis: their edges in line, levels named in the margin at the right."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.frame import Axis, Frame, Line, Mark, Tone, colour_of, frame, legend_rows
from fieldworthy.drawing.lettering import width
from fieldworthy.drawing.painting import end_labels, paint_marks
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import LARGE, SMALL, Box, Ink, Letters, Sheet

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
    paint_marks(sheet, where, pane.marks)
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
