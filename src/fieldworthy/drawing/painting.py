"""Draws the marks of a chart, areas first and texts last, and the names beside a drawing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.frame import Band, Bars, Frame, Limit, Line, Mark, Points, Span, Spot, colour_of, turns
from fieldworthy.drawing.style import Style, shortened, width
from fieldworthy.drawing.svg import SMALL, Anchor, Box, Ink, Letters, Sheet

_LINE = 15.0  # between the base lines of names below each other [px]
_STEP = 6.0  # how finely a line is looked at [px]
Place = tuple[float, float, Anchor]


def end_labels(sheet: Sheet, where: Frame, lines: Sequence[tuple[Array, str, str]]) -> None:
    """Write the name of each line at its right end, pushed apart where they would meet."""
    ends = [(points[np.isfinite(points).all(axis=-1)], name, colour) for points, name, colour in lines]
    ends = sorted((e for e in ends if len(e[0])), key=lambda e: float(e[0][-1, 1]))
    plot = where.plot
    wanted = [float(np.clip(points[-1, 1], plot.y, plot.bottom)) for points, _, _ in ends]
    x = plot.right + 14.0
    for (points, name, colour), was, at in zip(ends, wanted, spread(wanted, _LINE, (plot.y, plot.bottom)), strict=True):
        last = float(points[-1, 0])
        if last < plot.right - 3.0 or abs(at - was) > 3.0:
            sheet.path([(min(last + 3.0, plot.right), was), (x - 3.0, at)], Ink(colour, width=0.8))
        room = where.outer.right - x - 2.0
        sheet.text(x, at + 0.35 * SMALL, shortened(name, SMALL, room), Letters(colour, SMALL))


def spread(wanted: Sequence[float], gap: float, between: tuple[float, float]) -> list[float]:
    """Push places apart, each as little as may be, in their order."""
    # blocks of neighbours that touch move as one to the mean of what they want
    blocks: list[tuple[float, int]] = []
    for want in wanted:
        blocks.append((want, 1))
        while len(blocks) > 1 and _first(blocks[-1], gap) - _last(blocks[-2], gap) < gap:
            (a, m), (b, n) = blocks[-2:]
            blocks[-2:] = [((a * m + b * n) / (m + n), m + n)]
    places = [_first(block, gap) + gap * i for block in blocks for i in range(block[1])]
    return _kept(places, gap, between)


def _first(block: tuple[float, int], gap: float) -> float:
    return block[0] - gap * (block[1] - 1) / 2.0


def _last(block: tuple[float, int], gap: float) -> float:
    return block[0] + gap * (block[1] - 1) / 2.0


def _kept(places: list[float], gap: float, between: tuple[float, float]) -> list[float]:
    low, high = between
    for i, place in enumerate(places):
        places[i] = max(place, low + gap * i)
    for i in reversed(range(len(places))):
        places[i] = min(places[i], high - gap * (len(places) - 1 - i))
    return places


def _fine(points: Array) -> Array:
    """Points along a line, so near to each other that none steps over a text."""
    points = points[np.isfinite(points).all(axis=-1)]
    if len(points) < 2:
        return points
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.arange(0.0, far[-1] + _STEP, _STEP)
    return np.stack([np.interp(at, far, points[:, 0]), np.interp(at, far, points[:, 1])], axis=-1)


def _in(box: Box, points: Array) -> Array:
    x, y = points[:, 0], points[:, 1]
    return np.asarray((x > box.x) & (x < box.right) & (y > box.y) & (y < box.bottom))


def place(sheet: Sheet, text: str, letters: Letters, places: Sequence[Place], curves: Sequence[Array]) -> bool:
    """Set a text at the best of several places."""
    fine = [_fine(points) for points in curves]
    best: tuple[int, int, Place] | None = None
    for rank, (x, y, anchor) in enumerate(places):
        box = _set(letters, anchor).box(x, y, text)
        if not sheet.free(box, 2.0):
            continue
        found = (sum(int(_in(box, points).sum()) for points in fine), rank, (x, y, anchor))
        best = found if best is None or found[:2] < best[:2] else best
        if found[0] == 0:
            break
    if best is None:
        return False
    x, y, anchor = best[2]
    sheet.text(x, y, text, _set(letters, anchor))
    return True


def _set(letters: Letters, anchor: Anchor) -> Letters:
    return Letters(letters.colour, letters.size, anchor, letters.bold, letters.halo)


def limit_label(sheet: Sheet, where: Frame, mark: Limit | Span, colour: str, curves: Sequence[Array]) -> None:
    """Write the name of a straight line on it, or of a stretch in it."""
    plot = where.plot
    text = shortened(mark.name, SMALL, 0.8 * plot.w)
    if isinstance(mark, Span):
        place(sheet, text, Letters(colour, SMALL), _in_span(where, mark, width(text, SMALL)), curves)
        return
    letters = Letters(colour, SMALL, halo=sheet.style.theme.paper)
    if mark.side == "y":
        y = float(where.y(mark.at))
        tries = [(x, y + dy, anchor) for dy in (-4.5, 0.95 * SMALL + 3.0) for x, anchor in _along(plot)]
    elif any(isinstance(other, Bars) and other.lying for other in where.marks):
        tries = _on_top(plot, float(where.x(mark.at)), width(text, SMALL))
    else:
        tries = _beside(plot, float(where.x(mark.at)), width(text, SMALL))
    place(sheet, text, letters, tries, curves)


def _in_span(where: Frame, mark: Span, wide: float) -> list[Place]:
    """In the middle of a stretch, from the top down or from the right."""
    plot, scale = where.plot, where.x if mark.side == "x" else where.y
    middle = (float(scale(mark.low)) + float(scale(mark.high))) / 2.0
    if mark.side == "y":
        return [(x, middle + 0.35 * SMALL, anchor) for x, anchor in _along(plot)]
    x = float(np.clip(middle, plot.x + wide / 2.0, plot.right - wide / 2.0))
    return [(x, float(y), "middle") for y in np.arange(plot.y + 14.0, plot.bottom - 3.0, _LINE)]


def _along(plot: Box) -> list[tuple[float, Anchor]]:
    middle: list[tuple[float, Anchor]] = [
        (plot.x + share * plot.w, "middle") for share in (0.5, 0.35, 0.65, 0.25, 0.75)
    ]
    return [(plot.right - 4.0, "end"), (plot.x + 4.0, "start"), *middle]


def _on_top(plot: Box, x: float, wide: float) -> list[Place]:
    """Above an upright line, so that no bar is covered."""
    middle = float(np.clip(x, plot.x + wide / 2.0, plot.right - wide / 2.0))
    return [(middle, plot.y - 5.0, "middle"), (x + 4.0, plot.y - 5.0, "start"), (x - 4.0, plot.y - 5.0, "end")]


def _beside(plot: Box, x: float, wide: float) -> list[Place]:
    """Right or left of an upright line, from the top down."""
    sides: list[tuple[float, Anchor]] = []
    if x + 6.0 + wide <= plot.right:
        sides.append((x + 6.0, "start"))
    if x - 6.0 - wide >= plot.x:
        sides.append((x - 6.0, "end"))
    if not sides:
        sides = [(float(np.clip(x, plot.x + wide / 2.0, plot.right - wide / 2.0)), "middle")]
    rows = np.arange(plot.y + 12.0, plot.bottom - 3.0, _LINE)
    return [(at, float(y), anchor) for y in rows for at, anchor in sides]


def spot_label(
    sheet: Sheet, where: Frame, at: tuple[float, float], name: tuple[str, str], curves: Sequence[Array]
) -> None:
    """Write the name of a single point beside it."""
    if not np.isfinite(at).all():
        return
    text = shortened(name[0], SMALL, 0.6 * where.outer.w)
    letters = Letters(name[1], SMALL, halo=sheet.style.theme.paper)
    place(sheet, text, letters, [p for p in around(at) if _held(letters, p, text, where.outer)], curves)


def _held(letters: Letters, at: Place, text: str, outer: Box) -> bool:
    return _set(letters, at[2]).box(at[0], at[1], text).within(outer)


def around(at: tuple[float, float]) -> list[Place]:
    """List places for a text around a point, near ones first."""
    (x, y) = at
    found: list[Place] = []
    for far in (0.0, 8.0, 18.0, 32.0, 48.0):
        aside: list[tuple[float, Anchor]] = [(x + 9.0 + far, "start"), (x - 9.0 - far, "end")]
        found += [(a, b, anchor) for a, anchor in aside for b in (y - 5.0 - far, y + 4.0, y + 14.0 + far)]
        found += [(x, y - 9.0 - far, "middle"), (x, y + 18.0 + far, "middle")]
    return found


_ORDER: tuple[type[Any], ...] = (Span, Band, Bars, Limit, Line, Points, Spot)


def paint_marks(sheet: Sheet, where: Frame, marks: Sequence[Mark], also: Sequence[Array] = ()) -> None:
    """Draw all marks of a chart; names keep clear of them, and of lines that are drawn already."""
    numbered = sorted(zip(marks, turns(marks), strict=True), key=lambda pair: _ORDER.index(type(pair[0])))
    for mark, turn in numbered:
        _PAINT[type(mark)](sheet, where, mark, turn)
    curves = [*also, *(trail for mark, _ in numbered for trail in _trails(where, mark))]
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
        inside = Letters(theme.ink, SMALL, "start" if back else "end")
        room = inside.box(x, y, text)
        sheet.rect(Box(room.x - 2.0, room.y, room.w + 4.0, room.h), Ink(fill=theme.paper, opacity=0.82), 2.0)
        sheet.text(x, y, text, inside)


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
    """Draw a single mark."""
    (x, y), paper, r = at, sheet.style.theme.paper, 5.0
    if shape == "cross":
        for dy in (-r, r):
            sheet.line((x - r, y - dy), (x + r, y + dy), Ink(colour, width=2.2))
    elif shape == "square":
        sheet.rect(Box(x - r, y - r, 2.0 * r, 2.0 * r), Ink(paper, colour, 1.2))
    elif shape == "triangle":
        sheet.path([(x - r, y + 0.8 * r), (x, y - r), (x + r, y + 0.8 * r)], Ink(paper, colour, 1.2), closed=True)
    elif shape == "diamond":
        sheet.path([(x - r, y), (x, y - r), (x + r, y), (x, y + r)], Ink(paper, colour, 1.2), closed=True)
    else:
        filled = shape == "dot"
        sheet.circle(at, r, Ink(paper if filled else colour, colour if filled else paper, 1.2 if filled else 2.0))


_PAINT: dict[type[Any], Callable[[Sheet, Frame, Any, int], None]] = {
    Line: _line, Band: _band, Bars: _bars, Limit: _limit, Span: _span, Points: _dots, Spot: _spot,
}  # fmt: skip


LINE = 16.0
"""Between names below each other [px]."""
_BADGE = 8.0  # radius of a number's circle [px]


@dataclass(frozen=True, slots=True)
class Callout:
    """One thing that a drawing names.

    Attributes
    ----------
    text : Its name
    at : A point of it on the sheet [px]
    colour : Of its name
    half : How far to either side of that point it reaches [px]; the line ends near the column's side
    second : More about it, below the name
    """

    text: str
    at: tuple[float, float]
    colour: str
    half: float = 0.0
    second: str = ""


def column_width(style: Style) -> float:
    """Choose the width of the columns beside a drawing."""
    return 0.0 if style.width < 560.0 else float(np.clip(0.25 * style.width, 140.0, 205.0))


def callouts(sheet: Sheet, drawing: Box, items: Sequence[Callout]) -> None:
    """Write names in the columns beside a drawing; those that find no room are left out, last ones first."""
    room = max(int(drawing.h / LINE), 1)
    sides: dict[bool, list[Callout]] = {False: [], True: []}
    middle = drawing.x + drawing.w / 2.0
    for item in items:
        rows = [item, *_seconds(item, drawing.x - 22.0)]
        right = item.at[0] >= middle
        free = {side: len(column) + len(rows) <= room for side, column in sides.items()}
        if free[right] or free[not right]:
            sides[right if free[right] else not right] += rows
    for right, column in sides.items():
        _column(sheet, drawing, column, right)


def _seconds(item: Callout, most: float) -> list[Callout]:
    """The second line of a name, in as many rows as it needs, without a line to what it names."""
    whole = [item.second] if width(item.second, SMALL) <= most else item.second.split(", ")
    return [Callout("", item.at, item.colour, second=shortened(line, SMALL, most)) for line in whole if line]


def _column(sheet: Sheet, drawing: Box, items: Sequence[Callout], right: bool) -> None:
    items = sorted(items, key=lambda item: item.at[1])
    places = spread([item.at[1] for item in items], LINE, (drawing.y + 6.0, drawing.bottom - 4.0))
    edge = drawing.right + 16.0 if right else drawing.x - 16.0
    most = (sheet.style.width - edge if right else edge) - 6.0
    theme = sheet.style.theme
    for item, y in zip(items, places, strict=True):
        letters = Letters(item.colour, SMALL, "start" if right else "end")
        if not item.text:
            sheet.text(edge, y + 0.35 * SMALL, item.second, letters)
            continue
        inward = max(item.half - 7.0, 0.0)
        at = (item.at[0] + (inward if right else -inward), item.at[1])
        x = edge - 4.0 if right else edge + 4.0
        knee = drawing.right + 4.0 if right else drawing.x - 4.0
        sheet.path([at, (knee, y), (x, y)], Ink(theme.edge, width=0.8))
        sheet.circle(at, 2.2, Ink(theme.paper, theme.ink, 0.8))
        sheet.text(edge, y + 0.35 * SMALL, shortened(item.text, SMALL, most), letters)


def numbered_height(count: int, style: Style) -> float:
    """Find the height of a list of numbered names."""
    return 0.0 if column_width(style) else LINE * 1.1 * count + 6.0


def numbered(sheet: Sheet, top: float, items: Sequence[Callout], area: Box) -> None:
    """Number things in a drawing, and list their names below it."""
    theme = sheet.style.theme
    taken: list[tuple[float, float]] = [item.at for item in items if item.second]  # marks of their own stand there
    for i, item in enumerate(items):
        x, y = _clear(item.at, taken, area)
        taken.append((x, y))
        if np.hypot(x - item.at[0], y - item.at[1]) > 3.0:
            sheet.line(item.at, (x, y), Ink(theme.edge, width=0.8))
        _badge(sheet, (x, y), i + 1, item.colour)
        base = top + LINE * 1.1 * (i + 0.7)
        _badge(sheet, (18.0, base - 0.35 * SMALL), i + 1, item.colour)
        whole = f"{item.text} {item.second}" if item.second else item.text
        text = shortened(whole, SMALL, sheet.style.width - 42.0)
        sheet.text(32.0, base, text, Letters(theme.ink, SMALL))


def _badge(sheet: Sheet, at: tuple[float, float], number: int, colour: str) -> None:
    paper = sheet.style.theme.paper
    sheet.circle(at, _BADGE, Ink(colour, paper, 1.2))
    sheet.text(at[0], at[1] + 0.36 * SMALL, str(number), Letters(colour, SMALL, "middle"))


def _clear(at: tuple[float, float], taken: Sequence[tuple[float, float]], area: Box) -> tuple[float, float]:
    """The nearest place to a point at which no other number stands."""
    best = at
    for far in (0.0, 18.0, 30.0, 44.0, 60.0):
        for angle in np.linspace(0.0, 2.0 * np.pi, 1 if far == 0.0 else 12, endpoint=False):
            x = float(np.clip(at[0] + far * np.cos(angle), area.x + _BADGE, area.right - _BADGE))
            y = float(np.clip(at[1] + far * np.sin(angle), area.y + _BADGE, area.bottom - _BADGE))
            if all(np.hypot(x - a, y - b) > 2.0 * _BADGE + 1.5 for a, b in taken):
                return x, y
    return best
