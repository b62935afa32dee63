"""Draws the marks of a chart, areas first and texts last."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from fieldworthy.draw.axesframe import Frame, colour_of, turns
from fieldworthy.draw.axeslabels import end_labels, limit_label, spot_label
from fieldworthy.draw.axesmarks import Band, Bars, Limit, Line, Mark, Points, Span, Spot
from fieldworthy.draw.style import Array
from fieldworthy.draw.svg import SMALL, Box, Ink, Letters, Sheet

_ORDER: tuple[type[Any], ...] = (Span, Band, Bars, Limit, Line, Points, Spot)


def paint_marks(sheet: Sheet, where: Frame, marks: Sequence[Mark]) -> None:
    """Draw all marks of a chart.

    Parameters
    ----------
    sheet : Sheet
        The sheet [-].
    where : Frame
        The chart's frame on it [-].
    marks : sequence of Mark
        What is drawn [SI].
    """
    numbered = sorted(zip(marks, turns(marks), strict=True), key=lambda pair: _ORDER.index(type(pair[0])))
    for mark, turn in numbered:
        _PAINT[type(mark)](sheet, where, mark, turn)
    curves = [trail for mark, _ in numbered for trail in _trails(where, mark)]
    if where.direct:
        ends = [(mark, turn) for mark, turn in numbered if isinstance(mark, Line) and mark.name]
        end_labels(sheet, where, [(_points(where, m), m.name, colour_of(m.tone, t, sheet.style)[0]) for m, t in ends])
    for mark, turn in numbered:
        if not isinstance(mark, Limit | Span | Spot) or not mark.name:
            continue
        colour = colour_of(mark.tone, turn, sheet.style)[0]
        if isinstance(mark, Spot):
            spot_label(sheet, where, (float(where.x(mark.x)), float(where.y(mark.y))), (mark.name, colour), curves)
        else:
            limit_label(sheet, where, mark, colour, curves)


def _pairs(where: Frame, x: Any, y: Any) -> Array:
    """Points on the sheet, shape (k, 2)."""
    return np.stack([where.x(np.asarray(x, dtype=float)), where.y(np.asarray(y, dtype=float))], axis=-1)


def _points(where: Frame, mark: Line) -> Array:
    pairs = _pairs(where, mark.x, mark.y)
    if not mark.step or len(pairs) < 2:
        return pairs
    corners = np.stack([pairs[1:, 0], pairs[:-1, 1]], axis=-1)
    out = np.empty((2 * len(pairs) - 1, 2))
    out[0::2], out[1::2] = pairs, corners
    return out


def _trails(where: Frame, mark: Mark) -> list[Array]:
    """What labels should keep clear of."""
    if isinstance(mark, Line):
        return [_points(where, mark)]
    if isinstance(mark, Limit) and mark.side == "y":
        return [np.array([(where.plot.x, float(where.y(mark.at))), (where.plot.right, float(where.y(mark.at)))])]
    if isinstance(mark, Limit):
        return [np.array([(float(where.x(mark.at)), where.plot.y), (float(where.x(mark.at)), where.plot.bottom)])]
    if isinstance(mark, Points):
        return [np.repeat(_pairs(where, mark.x, mark.y), 2, axis=0)]
    return []


def _line(sheet: Sheet, where: Frame, mark: Line, turn: int) -> None:
    colour, dash = colour_of(mark.tone, turn, sheet.style)
    own = dash if mark.dash is None else mark.dash or None
    sheet.path(_inside(_points(where, mark), where.plot).tolist(), Ink(colour, width=mark.width, dash=own))


def _inside(points: Array, plot: Box) -> Array:
    """Keep a line between the axes, where an axis ends before what is shown."""
    x = np.clip(points[:, 0], plot.x, plot.right)
    return np.stack([x, np.clip(points[:, 1], plot.y, plot.bottom)], axis=-1)


def _band(sheet: Sheet, where: Frame, mark: Band, turn: int) -> None:
    colour, _ = colour_of(mark.tone, turn, sheet.style)
    low, high = _pairs(where, mark.x, mark.low), _pairs(where, mark.x, mark.high)
    good = np.isfinite(low).all(axis=-1) & np.isfinite(high).all(axis=-1)
    around = np.concatenate([low[good], high[good][::-1]])
    if len(around):
        sheet.path(_inside(around, where.plot).tolist(), Ink(fill=colour, opacity=0.22), closed=True)


def _bars(sheet: Sheet, where: Frame, mark: Bars, turn: int) -> None:
    theme = sheet.style.theme
    at, value = np.asarray(mark.at, dtype=float), np.asarray(mark.value, dtype=float)
    along, across = (where.x, where.y) if mark.lying else (where.y, where.x)
    for i, (place, far) in enumerate(zip(at.tolist(), value.tolist(), strict=True)):
        tone = mark.tone if isinstance(mark.tone, int | str) or mark.tone is None else mark.tone[i]
        colour, _ = colour_of(tone, turn, sheet.style)
        sides = [float(across(place - mark.width / 2.0)), float(across(place + mark.width / 2.0))]
        ends = [float(along(mark.base)), float(along(far if np.isfinite(far) else mark.base))]
        (x1, x2), (y1, y2) = (ends, sides) if mark.lying else (sides, ends)
        box = Box(min(x1, x2), min(y1, y2), abs(x2 - x1), abs(y2 - y1))
        sheet.rect(box, Ink(fill=colour, opacity=0.85), 1.5)
        if mark.labels and mark.labels_at is not None:
            middle = box.y + box.h / 2.0 + 0.35 * SMALL
            sheet.text(
                float(along(mark.labels_at)), middle, mark.labels[i], Letters(theme.ink, SMALL, halo=theme.paper)
            )
        elif mark.labels:
            _bar_label(sheet, where, box, mark.labels[i], (mark.lying, ends[1] < ends[0]))


def _bar_label(sheet: Sheet, where: Frame, box: Box, text: str, way: tuple[bool, bool]) -> None:
    """At the bar's end; inside it where there is no room beyond."""
    theme, (lying, back) = sheet.style.theme, way
    if not lying:
        y = box.y - 4.0 if back else box.bottom + SMALL + 2.0
        sheet.text(box.x + box.w / 2.0, y, text, Letters(theme.ink, SMALL, "middle"))
        return
    y = box.y + box.h / 2.0 + 0.35 * SMALL
    x = box.x - 5.0 if back else box.right + 5.0
    beyond = Letters(theme.ink, SMALL, "end" if back else "start")
    room = beyond.box(x, y, text)
    if room.right <= where.outer.right - 2.0 and room.x >= where.outer.x + 2.0:
        sheet.text(x, y, text, beyond)
    else:
        x = box.x + 5.0 if back else box.right - 5.0
        sheet.text(x, y, text, Letters(theme.ink, SMALL, "start" if back else "end", halo=theme.paper))


def _limit(sheet: Sheet, where: Frame, mark: Limit, turn: int) -> None:
    colour, _ = colour_of(mark.tone, turn, sheet.style)
    plot, ink = where.plot, Ink(colour, width=1.6, dash=mark.dash)
    if mark.side == "y":
        at = float(where.y(mark.at))
        if plot.y - 1.0 <= at <= plot.bottom + 1.0:
            sheet.line((plot.x, at), (plot.right, at), ink)
    else:
        at = float(where.x(mark.at))
        if plot.x - 1.0 <= at <= plot.right + 1.0:
            sheet.line((at, plot.y), (at, plot.bottom), ink)


def _span(sheet: Sheet, where: Frame, mark: Span, turn: int) -> None:
    colour, _ = colour_of(mark.tone, turn, sheet.style)
    plot, scale = where.plot, where.x if mark.side == "x" else where.y
    a, b = sorted((float(scale(mark.low)), float(scale(mark.high))))
    if mark.side == "x":
        a, b = max(a, plot.x), min(b, plot.right)
        box = Box(a, plot.y, b - a, plot.h)
    else:
        a, b = max(a, plot.y), min(b, plot.bottom)
        box = Box(plot.x, a, plot.w, b - a)
    sheet.rect(box, Ink(fill=colour, opacity=0.14))


def _dots(sheet: Sheet, where: Frame, mark: Points, turn: int) -> None:
    colour, _ = colour_of(mark.tone, turn, sheet.style)
    pairs = _pairs(where, mark.x, mark.y)
    for error, side in ((mark.x_error, 0), (mark.y_error, 1)):
        if error is not None:
            _whiskers(sheet, where, mark, (side, np.asarray(error, dtype=float)), colour)
    for point in pairs[np.isfinite(pairs).all(axis=-1)].tolist():
        sheet.circle(point, mark.size, Ink(sheet.style.theme.paper, colour, 1.0))


def _whiskers(sheet: Sheet, where: Frame, mark: Points, error: tuple[int, Array], colour: str) -> None:
    side, half = error
    below, above = (half[0], half[1]) if half.ndim == 2 else (half, half)
    middle = [np.asarray(mark.x, dtype=float), np.asarray(mark.y, dtype=float)]
    low, high = list(middle), list(middle)
    low[side], high[side] = middle[side] - below, middle[side] + above
    first, last = _inside(_pairs(where, *low), where.plot), _inside(_pairs(where, *high), where.plot)
    cap = np.array([0.0, 4.0]) if side == 0 else np.array([4.0, 0.0])
    for a, b in zip(first, last, strict=True):
        for start, end in ((a, b), (a - cap, a + cap), (b - cap, b + cap)):
            sheet.line(start.tolist(), end.tolist(), Ink(colour, width=1.4))


def _spot(sheet: Sheet, where: Frame, mark: Spot, turn: int) -> None:
    colour, _ = colour_of(mark.tone, turn, sheet.style)
    x, y = float(where.x(mark.x)), float(where.y(mark.y))
    if np.isfinite([x, y]).all():
        draw_spot(sheet, (x, y), mark.shape, colour)


def draw_spot(sheet: Sheet, at: tuple[float, float], shape: str, colour: str) -> None:
    """Draw a single mark.

    Parameters
    ----------
    sheet : Sheet
        The sheet [-].
    at : tuple of float
        Where [px].
    shape : str
        ``dot``, ``ring``, ``square``, ``cross`` or ``diamond`` [-].
    colour : str
        Of the mark [-].
    """
    (x, y), paper, r = at, sheet.style.theme.paper, 5.0
    if shape == "cross":
        for dy in (-r, r):
            sheet.line((x - r, y - dy), (x + r, y + dy), Ink(colour, width=2.2))
    elif shape == "square":
        sheet.rect(Box(x - r, y - r, 2.0 * r, 2.0 * r), Ink(paper, colour, 1.2))
    elif shape == "diamond":
        sheet.path([(x - r, y), (x, y - r), (x + r, y), (x, y + r)], Ink(paper, colour, 1.2), closed=True)
    else:
        filled = shape == "dot"
        sheet.circle(at, r, Ink(paper if filled else colour, colour if filled else paper, 1.2 if filled else 2.0))


_PAINT: dict[type[Any], Callable[[Sheet, Frame, Any, int], None]] = {
    Line: _line, Band: _band, Bars: _bars, Limit: _limit, Span: _span, Points: _dots, Spot: _spot,
}  # fmt: skip
