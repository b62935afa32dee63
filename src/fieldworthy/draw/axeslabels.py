"""Puts names beside what they name, where they meet no line and no other name."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldworthy.draw.axesframe import Frame
from fieldworthy.draw.axesmarks import Bars, Limit, Span
from fieldworthy.draw.lettering import shortened, width
from fieldworthy.draw.style import Array
from fieldworthy.draw.svg import SMALL, Anchor, Box, Ink, Letters, Sheet

_LINE = 15.0  # between the base lines of names below each other [px]
_STEP = 6.0  # how finely a line is looked at [px]
Place = tuple[float, float, Anchor]


def end_labels(sheet: Sheet, where: Frame, lines: Sequence[tuple[Array, str, str]]) -> None:
    """Write the name of each line at its right end, pushed apart where they would meet.

    Parameters
    ----------
    sheet : Sheet
        The sheet [-].
    where : Frame
        The chart's frame [-].
    lines : sequence of tuple
        Points on the sheet [px], name and colour [-].
    """
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
    """Push places apart, each as little as may be, in their order.

    Parameters
    ----------
    wanted : sequence of float
        Where each would best be, rising [px].
    gap : float
        Between neighbours [px].
    between : tuple of float
        Lowest and highest place [px]; kept as long as all fit in between.

    Returns
    -------
    list of float
        Where each goes [px].
    """
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
    """Set a text at the best of several places.

    Parameters
    ----------
    sheet : Sheet
        The sheet [-].
    text : str
        What it says [-].
    letters : Letters
        How it is set, the anchor aside [-].
    places : sequence of tuple
        x, y of the base line [px] and anchor, the one liked best first.
    curves : sequence of ndarray of shape (k, 2)
        What it should keep clear of [px].

    Returns
    -------
    bool
        Whether there was a place that meets no other text [-].
    """
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
    """Write the name of a straight line on it, or of a stretch in it.

    Parameters
    ----------
    sheet : Sheet
        The sheet [-].
    where : Frame
        The chart's frame [-].
    mark : Limit or Span
        What is named [SI].
    colour : str
        Of the text [-].
    curves : sequence of ndarray of shape (k, 2)
        What it should keep clear of [px].
    """
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
    """Write the name of a single point beside it.

    Parameters
    ----------
    sheet : Sheet
        The sheet [-].
    where : Frame
        The chart's frame [-].
    at : tuple of float
        The point [px].
    name : tuple of str
        Text and colour [-].
    curves : sequence of ndarray of shape (k, 2)
        What it should keep clear of [px].
    """
    if not np.isfinite(at).all():
        return
    text = shortened(name[0], SMALL, 0.6 * where.outer.w)
    letters = Letters(name[1], SMALL, halo=sheet.style.theme.paper)
    place(sheet, text, letters, [p for p in around(at) if _held(letters, p, text, where.outer)], curves)


def _held(letters: Letters, at: Place, text: str, outer: Box) -> bool:
    return _set(letters, at[2]).box(at[0], at[1], text).within(outer)


def around(at: tuple[float, float]) -> list[Place]:
    """List places for a text around a point, near ones first.

    Parameters
    ----------
    at : tuple of float
        The point [px].

    Returns
    -------
    list of tuple
        x, y of the base line [px] and anchor.
    """
    (x, y) = at
    found: list[Place] = []
    for far in (0.0, 8.0, 18.0, 32.0, 48.0):
        aside: list[tuple[float, Anchor]] = [(x + 9.0 + far, "start"), (x - 9.0 - far, "end")]
        found += [(a, b, anchor) for a, anchor in aside for b in (y - 5.0 - far, y + 4.0, y + 14.0 + far)]
        found += [(x, y - 9.0 - far, "middle"), (x, y + 18.0 + far, "middle")]
    return found
