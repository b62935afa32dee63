"""Drawings to scale: the map from metres to the sheet, blocks, the mark of a centre of gravity, a scale bar."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.checks.curves.body import Block
from fieldworthy.draw.axesscale import tick_step
from fieldworthy.draw.style import Array, Style
from fieldworthy.draw.svg import SMALL, Box, Ink, Letters, Sheet, node

CHASSIS = "chassis"
_SPREAD = 0.62  # a block that fills more of both directions of a view is a box around scattered things
_MANY = 7  # groups that get a colour of their own


@dataclass(frozen=True, slots=True)
class View:
    """The map of one view, from metres to the sheet; up on the sheet is the second coordinate.

    Attributes
    ----------
    x, y : float
        Where the origin lies [px].
    scale : float
        Of the drawing [px/m].
    """

    x: float
    y: float
    scale: float

    def __call__(self, points: Array) -> Array:
        """Place points of shape (k, 2) on the sheet [px]."""
        return np.stack([self.x + points[:, 0] * self.scale, self.y - points[:, 1] * self.scale], axis=1)

    def one(self, x: float, y: float) -> tuple[float, float]:
        """Place one point.

        Parameters
        ----------
        x, y : float
            In the view [m].

        Returns
        -------
        tuple of float
            On the sheet [px].
        """
        return self.x + float(x) * self.scale, self.y - float(y) * self.scale


def fitted(box: Box, low: Array, high: Array, most: float = np.inf) -> View:
    """Fit a view into a rectangle, in the middle of its width and on its lower edge.

    Parameters
    ----------
    box : Box
        The rectangle [px].
    low, high : ndarray of shape (2,)
        What the view must hold [m].
    most : float
        Largest scale [px/m].

    Returns
    -------
    View
        The map [-].
    """
    size = np.maximum(high - low, 1e-3)
    scale = float(min(box.w / size[0], box.h / size[1], most))
    left = box.x + (box.w - size[0] * scale) / 2.0
    return View(left - float(low[0]) * scale, box.bottom + float(low[1]) * scale, scale)


def reach(points: Iterable[Array]) -> tuple[Array, Array]:
    """Find the ends of many points.

    Parameters
    ----------
    points : iterable of ndarray of shape (k, 2)
        All that a view must hold [m].

    Returns
    -------
    tuple of ndarray of shape (2,)
        Lowest and highest [m].
    """
    whole = np.concatenate([np.reshape(p, (-1, 2)) for p in points])
    return whole.min(axis=0), whole.max(axis=0)


def tones(blocks: Sequence[Block]) -> dict[str, int]:
    """Give every group but the chassis a colour of the series.

    Parameters
    ----------
    blocks : sequence of Block
        All blocks [-].

    Returns
    -------
    dict
        Number in the series by group [-].
    """
    groups = dict.fromkeys(block.rides for block in blocks if block.rides != CHASSIS)
    return {group: i % _MANY for i, group in enumerate(groups)}


def block_ink(block: Block, number: int | None, style: Style, faint: bool = False) -> Ink:
    """Choose how a block is drawn.

    Parameters
    ----------
    block : Block
        The block [-].
    number : int or None
        Its group's colour; None for the chassis [-].
    style : Style
        For the theme [-].
    faint : bool
        Whether it is only there for orientation [-].

    Returns
    -------
    Ink
        Stroke and filling [-].
    """
    theme = style.theme
    if faint:
        return Ink(theme.grid, theme.block, 1.0, opacity=0.5)
    if number is None:
        return Ink(theme.edge, theme.block, 1.0, opacity=0.75)
    colour = theme.series[number % len(theme.series)]
    return Ink(colour, colour, 1.6 if block.object else 1.3, opacity=0.34 if block.object else 0.2)


def paint_blocks(sheet: Sheet, view: View, blocks: Sequence[tuple[Block, Array]], faint: bool = False) -> None:
    """Draw blocks, large ones first, so that none is hidden; boxes around scattered things as dashed lines.

    Parameters
    ----------
    sheet : Sheet
        The sheet [-].
    view : View
        Where [-].
    blocks : sequence of tuple
        Each block with its corners in this view, shape (4, 2) [m].
    faint : bool
        Whether they are only there for orientation [-].
    """
    colours = tones([block for block, _ in blocks])
    scattered = scattered_in(blocks)
    for i in sorted(range(len(blocks)), key=lambda i: (bool(blocks[i][0].object), -_area(blocks[i][1]))):
        block, corners = blocks[i]
        ink = block_ink(block, colours.get(block.rides), sheet.style, faint)
        if i in scattered:
            ink = Ink(ink.stroke, width=0.8, dash="3 3")
        if block.round:
            radius = 0.5 * view.scale * float(np.hypot(*(corners[1] - corners[0])))
            sheet.circle(view.one(*corners.mean(axis=0)), radius, ink)
        elif block.tank:
            _tank(sheet, view, corners, ink)
        else:
            sheet.path(view(corners).tolist(), ink, closed=True)


def _tank(sheet: Sheet, view: View, corners: Array, ink: Ink) -> None:
    """A tank lies along an axis in most robots: a rectangle with round ends; turned, a plain block."""
    low, high = view(corners).min(axis=0), view(corners).max(axis=0)
    upright = np.isclose(np.ptp(corners[:2, 0]) * np.ptp(corners[:2, 1]), 0.0, atol=1e-9)
    if upright:
        wide, tall = high - low
        sheet.rect(Box(float(low[0]), float(low[1]), float(wide), float(tall)), ink, min(wide, tall) * 0.45)
    else:
        sheet.path(view(corners).tolist(), ink, closed=True)


def scattered_in(blocks: Sequence[tuple[Block, Array]]) -> set[int]:
    """Pick the blocks that are boxes around scattered things, such as screws.

    Parameters
    ----------
    blocks : sequence of tuple
        Each block with its corners in this view [m].

    Returns
    -------
    set of int
        Their places [-].
    """
    if not blocks:
        return set()
    low, high = reach(corners for _, corners in blocks)
    size = np.maximum(high - low, 1e-6)
    wide = [np.ptp(corners, axis=0) / size for _, corners in blocks]
    large = [float(w[0]) > _SPREAD and float(w[0] * w[1]) > 0.3 * _SPREAD**2 for w in wide]
    return {i for i, (block, _) in enumerate(blocks) if large[i] and not block.object and len(blocks) > 3}


def _area(corners: Array) -> float:
    (x1, y1), (x2, y2), (x3, y3), _ = corners.tolist()
    return float(abs((x2 - x1) * (y3 - y2) - (y2 - y1) * (x3 - x2)))  # of a rectangle, however it is turned


def plan(top: Array) -> Array:
    """List the corners of a rectangle of the plan.

    Parameters
    ----------
    top : ndarray of shape (2, 2)
        Lowest and highest x and y [m].

    Returns
    -------
    ndarray of shape (4, 2)
        Corners in order [m].
    """
    (x1, y1), (x2, y2) = top
    return np.array([[x1, y1], [x2, y1], [x2, y2], [x1, y2]])


def gravity_mark(sheet: Sheet, at: tuple[float, float], radius: float = 8.0) -> None:
    """Draw the mark of a centre of gravity: a quartered circle.

    Parameters
    ----------
    sheet : Sheet
        The sheet [-].
    at : tuple of float
        Where [px].
    radius : float
        Of the circle [px].
    """
    theme, (x, y), r = sheet.style.theme, at, radius
    sheet.circle(at, r, Ink(theme.ink, theme.paper, 1.6))
    for sign in (1.0, -1.0):
        arc = [(x + sign * r * np.cos(a), y - sign * r * np.sin(a)) for a in np.linspace(0.0, np.pi / 2.0, 9)]
        sheet.path([at, *((float(a), float(b)) for a, b in arc)], Ink(fill=theme.ink), closed=True)


def spread_mark(sheet: Sheet, view: View, low: Array, high: Array) -> None:
    """Draw the oval that holds 95 % of the samples.

    Parameters
    ----------
    sheet : Sheet
        The sheet [-].
    view : View
        Where [-].
    low, high : ndarray of shape (2,)
        Ends in this view [m].
    """
    x, y = view.one(*(low + high) / 2.0)
    half = (high - low) / 2.0 * view.scale
    ink = Ink(sheet.style.theme.bad, width=1.6, dash="3 2")
    sheet.add(node("ellipse", cx=x, cy=y, rx=max(float(half[0]), 1.5), ry=max(float(half[1]), 1.5), **ink.attributes()))


def near(si: float, style: Style) -> str:
    """Write a length as well as a tape shows it: to the millimetre or a tenth of an inch.

    Parameters
    ----------
    si : float
        The length [m].
    style : Style
        For the unit [-].

    Returns
    -------
    str
        For example ``149 mm`` or ``5.9 in`` [-].
    """
    places = 1 if style.units == "inch" else 0
    return f"{round(float(style.value(si, 'length')), places) + 0.0:.{places}f} {style.unit('length')}"


def scale_length(view: View, style: Style, most: float = 120.0) -> float:
    """Choose the length of a scale bar: 1, 2 or 5 times a power of ten of the person's unit.

    Parameters
    ----------
    view : View
        For the scale [-].
    style : Style
        For the unit [-].
    most : float
        Longest bar [px].

    Returns
    -------
    float
        Its length [m].
    """
    unit = 1.0 / float(style.value(1.0, "length"))
    shown = most / view.scale / unit
    step = tick_step(shown, 1)
    while step > shown * (1.0 + 1e-9):  # the step is the next one up
        step = tick_step(step * 0.4, 1)
    return step * unit


def scale_bar(sheet: Sheet, view: View, x: float, y: float) -> None:
    """Draw a scale bar with its length above it.

    Parameters
    ----------
    sheet : Sheet
        The sheet [-].
    view : View
        For the scale [-].
    x, y : float
        Its left end [px].
    """
    length = scale_length(view, sheet.style)
    far, theme = x + length * view.scale, sheet.style.theme
    ink = Ink(theme.ink, width=1.6)
    sheet.line((x, y), (far, y), ink)
    for end in (x, far):
        sheet.line((end, y - 4.0), (end, y + 4.0), ink)
    sheet.text(x, y - 8.0, sheet.style.show(length, "length"), Letters(theme.ink, SMALL))


def floor_line(sheet: Sheet, x1: float, x2: float, y: float) -> None:
    """Draw the floor, hatched below.

    Parameters
    ----------
    sheet : Sheet
        The sheet [-].
    x1, x2 : float
        Its ends [px].
    y : float
        Its height on the sheet [px].
    """
    theme = sheet.style.theme
    for x in np.arange(x1 + 6.0, x2, 12.0).tolist():
        sheet.line((x, y), (x - 5.0, y + 6.0), Ink(theme.grid))
    sheet.line((x1, y), (x2, y), Ink(theme.edge, width=1.4))
