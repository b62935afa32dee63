"""The robot to scale in one pose, from the side and from above."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.frame import tick_step
from fieldworthy.drawing.painting import Callout, callouts, column_width, numbered, numbered_height
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import NORMAL, SMALL, Box, Figure, Ink, Letters, Sheet, node
from fieldworthy.vehicle.views import Block, BodyCurves, TipLimit, Wheel

CHASSIS = "chassis"
_SPREAD = 0.62  # a block that fills more of both directions of a view is a box around scattered things
_MANY = 7  # groups that get a colour of their own


@dataclass(frozen=True, slots=True)
class View:
    """The map of one view, from metres to the sheet; up on the sheet is the second coordinate.

    Attributes
    ----------
    x, y : Where the origin lies [px]
    scale : Of the drawing [px/m]
    """

    x: float
    y: float
    scale: float

    def __call__(self, points: Array) -> Array:
        """Place points of shape (k, 2) on the sheet [px]."""
        return np.stack([self.x + points[:, 0] * self.scale, self.y - points[:, 1] * self.scale], axis=1)

    def one(self, x: float, y: float) -> tuple[float, float]:
        """Place one point."""
        return self.x + float(x) * self.scale, self.y - float(y) * self.scale


def fitted(box: Box, low: Array, high: Array, most: float = np.inf) -> View:
    """Fit a view into a rectangle, in the middle of its width and on its lower edge."""
    size = np.maximum(high - low, 1e-3)
    scale = float(min(box.w / size[0], box.h / size[1], most))
    left = box.x + (box.w - size[0] * scale) / 2.0
    return View(left - float(low[0]) * scale, box.bottom + float(low[1]) * scale, scale)


def reach(points: Iterable[Array]) -> tuple[Array, Array]:
    """Find the ends of many points."""
    whole = np.concatenate([np.reshape(p, (-1, 2)) for p in points])
    return whole.min(axis=0), whole.max(axis=0)


def tones(blocks: Sequence[Block]) -> dict[str, int]:
    """Give every group but the chassis a colour of the series."""
    groups = dict.fromkeys(block.rides for block in blocks if block.rides != CHASSIS)
    return {group: i % _MANY for i, group in enumerate(groups)}


def block_ink(block: Block, number: int | None, style: Style, faint: bool = False) -> Ink:
    """Choose how a block is drawn."""
    theme = style.theme
    if faint:
        return Ink(theme.grid, theme.block, 1.0, opacity=0.5)
    if number is None:
        return Ink(theme.edge, theme.block, 1.0, opacity=0.75)
    colour = theme.series[number % len(theme.series)]
    return Ink(colour, colour, 1.6 if block.object else 1.3, opacity=0.34 if block.object else 0.2)


def paint_blocks(sheet: Sheet, view: View, blocks: Sequence[tuple[Block, Array]], faint: bool = False) -> None:
    """Draw blocks, large ones first, so that none is hidden; boxes around scattered things as dashed lines."""
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
    """Pick the blocks that are boxes around scattered things, such as screws."""
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
    """List the corners of a rectangle of the plan."""
    (x1, y1), (x2, y2) = top
    return np.array([[x1, y1], [x2, y1], [x2, y2], [x1, y2]])


def gravity_mark(sheet: Sheet, at: tuple[float, float], radius: float = 8.0) -> None:
    """Draw the mark of a centre of gravity: a quartered circle."""
    theme, (x, y), r = sheet.style.theme, at, radius
    sheet.circle(at, r, Ink(theme.ink, theme.paper, 1.6))
    for sign in (1.0, -1.0):
        arc = [(x + sign * r * np.cos(a), y - sign * r * np.sin(a)) for a in np.linspace(0.0, np.pi / 2.0, 9)]
        sheet.path([at, *((float(a), float(b)) for a, b in arc)], Ink(fill=theme.ink), closed=True)


def spread_mark(sheet: Sheet, view: View, low: Array, high: Array) -> None:
    """Draw the oval that holds 95 % of the samples."""
    x, y = view.one(*(low + high) / 2.0)
    half = (high - low) / 2.0 * view.scale
    ink = Ink(sheet.style.theme.bad, width=1.6, dash="3 2")
    sheet.add(node("ellipse", cx=x, cy=y, rx=max(float(half[0]), 1.5), ry=max(float(half[1]), 1.5), **ink.attributes()))


def near(si: float, style: Style) -> str:
    """Write a length as well as a tape shows it: to the millimetre or a tenth of an inch."""
    places = 1 if style.units == "inch" else 0
    return f"{round(float(style.value(si, 'length')), places) + 0.0:.{places}f} {style.unit('length')}"


def scale_length(view: View, style: Style, most: float = 120.0) -> float:
    """Choose the length of a scale bar: 1, 2 or 5 times a power of ten of the person's unit."""
    unit = 1.0 / float(style.value(1.0, "length"))
    shown = most / view.scale / unit
    step = tick_step(shown, 1)
    while step > shown * (1.0 + 1e-9):  # the step is the next one up
        step = tick_step(step * 0.4, 1)
    return step * unit


def scale_bar(sheet: Sheet, view: View, x: float, y: float) -> None:
    """Draw a scale bar with its length above it."""
    length = scale_length(view, sheet.style)
    far, theme = x + length * view.scale, sheet.style.theme
    ink = Ink(theme.ink, width=1.6)
    sheet.line((x, y), (far, y), ink)
    for end in (x, far):
        sheet.line((end, y - 4.0), (end, y + 4.0), ink)
    sheet.text(x, y - 8.0, sheet.style.show(length, "length"), Letters(theme.ink, SMALL))


def floor_line(sheet: Sheet, x1: float, x2: float, y: float) -> None:
    """Draw the floor, hatched below."""
    theme = sheet.style.theme
    for x in np.arange(x1 + 6.0, x2, 12.0).tolist():
        sheet.line((x, y), (x - 5.0, y + 6.0), Ink(theme.grid))
    sheet.line((x1, y), (x2, y), Ink(theme.edge, width=1.4))


_WHEEL_WIDTH = 0.022  # m; a file does not say how wide wheels are
_ROLLER = 0.012  # m; radius with which rollers are drawn
_HEAD, _FOOT, _GAP = 32.0, 46.0, 22.0  # px: above a view, below it, between views
_TALLEST = 430.0  # px
_MOST = 9  # parts named in a view


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where the two views lie on the sheet."""

    side: View
    top: View
    side_box: Box
    top_box: Box
    lists: tuple[float, float]
    height: float


def robot(data: BodyCurves, style: Style, *, above: bool = True) -> Figure:
    """Draw a robot to scale, from its right side and, where asked for, from above."""
    named = _named(data)
    counts = (len(named[0]) + 1, len(named[1]) + 2)
    where = _layout(data, style, counts)
    sheet = Sheet(style, where.height if above else where.lists[0] + numbered_height(counts[0], style))
    _side(sheet, where, data, named[0])
    if above:
        _top(sheet, where, data, named[1])
    title = f"{data.robot}: {data.pose}"
    return Figure(title, alt := _alt(data, style), sheet.document(title, alt), _columns(data, style))


def _layout(data: BodyCurves, style: Style, counts: tuple[int, int]) -> _Layout:
    low, high = reach(_side_points(data))
    below, above = reach(_top_points(data))
    below[0] = low[0] = min(low[0], below[0])
    above[0] = high[0] = max(high[0], above[0])
    edge = column_width(style) + 16.0
    wide = style.width - 2.0 * max(edge, 14.0)
    scale = float(min(wide / (high[0] - low[0]), _TALLEST / (high[1] - low[1])))
    tall, deep = (high[1] - low[1]) * scale, (above[1] - below[1]) * scale
    side = Box((style.width - wide) / 2.0, _HEAD, wide, tall)
    lists = [numbered_height(count, style) for count in counts]
    head = side.bottom + _FOOT + lists[0] + _GAP + _HEAD + 16.0
    top = Box(side.x, head, wide, deep)
    return _Layout(
        fitted(side, low, high, scale), fitted(top, below, above, scale), side, top,
        (side.bottom + _FOOT, top.bottom + 20.0), top.bottom + 26.0 + lists[1] + 34.0,
    )  # fmt: skip


def _side_points(data: BodyCurves) -> Iterable[Array]:
    yield from (block.side for block in data.blocks)
    yield np.array([[w.x, 0.0] for w in data.wheels])
    yield np.array([[w.x + d, w.diameter] for w in data.wheels for d in (-w.diameter / 2.0, w.diameter / 2.0)])
    yield np.array([[data.cg[0], data.cg[2]]])


def _top_points(data: BodyCurves) -> Iterable[Array]:
    yield from (block.top for block in data.blocks)
    yield np.array([[w.x, w.y] for w in (*data.wheels, *data.rollers)])
    yield data.polygon


def _side(sheet: Sheet, where: _Layout, data: BodyCurves, names: Sequence[tuple[str, Block]]) -> None:
    theme, view, box = sheet.style.theme, where.side, where.side_box
    _heading(sheet, box, "From the right")
    floor_line(sheet, box.x, box.right, view.y)
    paint_blocks(sheet, view, [(block, block.side) for block in data.blocks])
    for wheel in data.wheels:
        radius = wheel.diameter / 2.0
        if radius:
            sheet.circle(view.one(wheel.x, radius), radius * view.scale, Ink(theme.edge, theme.paper, 2.0, opacity=0.6))
            sheet.circle(view.one(wheel.x, radius), 2.0, Ink(fill=theme.edge))
    for roller in data.rollers:
        at = view.one(roller.x, roller.clearance + _ROLLER)
        sheet.circle(at, _ROLLER * view.scale, Ink(theme.caution, theme.paper, 1.6))
    cg = view.one(data.cg[0], data.cg[2])
    _tip_lines(sheet, view, data)
    gravity_mark(sheet, cg)
    if data.spread is not None:
        spread_mark(sheet, view, data.spread[[0, 2], 0], data.spread[[0, 2], 1])
    _towing(sheet, view, data)
    _tip_texts(sheet, where, data)
    items = [
        Callout("centre of gravity", cg, theme.ink, second=_centre_text(data, sheet.style, (0, 2))),
        *_items(sheet, view, (names, tones(data.blocks)), True),
    ]
    _name(sheet, box, items, where.lists[0])


def _heading(sheet: Sheet, box: Box, text: str) -> None:
    """The view's name, and which way is forward."""
    theme = sheet.style.theme
    y = box.y - 12.0
    if text != "From the right":
        y -= 16.0
    sheet.text(10.0, y, text, Letters(theme.ink, NORMAL, bold=True))
    right = sheet.style.width - 12.0
    sheet.text(right - 34.0, y, "front", Letters(theme.quiet, SMALL, "end"))
    sheet.arrow((right - 28.0, y - 4.0), (right, y - 4.0), Ink(theme.quiet, width=1.6))


def _edges(data: BodyCurves) -> tuple[float, float]:
    """Where the tipping edges lie, front and rear [m]."""
    ahead, back = (limit.reach for limit in data.limits[:2])
    return float(data.point[0] + ahead), float(data.point[0] - back)


def _tip_lines(sheet: Sheet, view: View, data: BodyCurves) -> None:
    theme = sheet.style.theme
    high = (float(data.point[0]), data.height)
    front, rear = _edges(data)
    for x in (front, rear):
        sheet.line(view.one(*high), view.one(x, 0.0), Ink(theme.good, width=1.6, dash="6 3"))
        sheet.path([view.one(x, 0.0), *_foot(view.one(x, 0.0))], Ink(fill=theme.good), closed=True)
    sheet.line(view.one(*high), view.one(high[0], 0.0), Ink(theme.ink, width=1.0, dash="2 3"))


def _foot(at: tuple[float, float]) -> list[tuple[float, float]]:
    return [(at[0] - 5.0, at[1] + 8.0), (at[0] + 5.0, at[1] + 8.0)]


def _tip_texts(sheet: Sheet, where: _Layout, data: BodyCurves) -> None:
    theme, style = sheet.style.theme, sheet.style
    y = where.side.y + 24.0
    ahead, back = data.limits[0], data.limits[1]
    for limit, x, anchor in ((back, style.width / 2.0 - 10.0, "end"), (ahead, style.width / 2.0 + 10.0, "start")):
        letters = Letters(theme.good, SMALL, "end" if anchor == "end" else "start")
        for i, text in enumerate(_limit_lines(limit, style)):
            sheet.text(x, y + 14.0 * i, text, letters)


def _limit_lines(limit: TipLimit, style: Style) -> list[str]:
    """A limit in words; in two lines where there is a phone's width."""
    if limit.reach < 0.0:
        return [f"{limit.side}: falls over"]
    text = f"{limit.side}: tips at {style.show(limit.tilt, 'angle', 2)}"
    hard = f"or {style.show(limit.acceleration, 'acceleration', 2)}"
    return [text, hard] if style.narrow else [f"{text} {hard}"]


def _towing(sheet: Sheet, view: View, data: BodyCurves) -> None:
    if data.tow is None:
        return
    theme, (x, _, z) = sheet.style.theme, data.tow.position
    at = view.one(x, z)
    force = sheet.style.show(data.tow.drag, "force", 2)
    sheet.arrow(at, (at[0] - 48.0, at[1]), Ink(theme.bad, width=2.4))
    if data.tow.down > 0.0:
        sheet.arrow(at, (at[0], at[1] + 30.0), Ink(theme.bad, width=2.4))
    sheet.circle(at, 3.0, Ink(fill=theme.bad))
    sheet.text(at[0] - 6.0, at[1] - 8.0, f"tow {force}", Letters(theme.bad, SMALL, "end", halo=theme.paper))


def _top(sheet: Sheet, where: _Layout, data: BodyCurves, names: Sequence[tuple[str, Block]]) -> None:
    theme, view, box = sheet.style.theme, where.top, where.top_box
    _heading(sheet, box, "From above")
    paint_blocks(sheet, view, [(block, plan(block.top)) for block in data.blocks])
    sheet.path(view(data.polygon).tolist(), Ink(theme.good, theme.good, 2.0, opacity=0.1), closed=True)
    for wheel in data.wheels:
        _wheel_above(sheet, view, wheel)
    for roller in data.rollers:
        sheet.circle(view.one(roller.x, roller.y), 5.0, Ink(theme.caution, theme.paper, 2.0))
    cg = view.one(data.cg[0], data.cg[1])
    gravity_mark(sheet, cg)
    if data.spread is not None:
        spread_mark(sheet, view, data.spread[:2, 0], data.spread[:2, 1])
    left, right = data.limits[2], data.limits[3]
    for limit, y in ((left, box.y - 8.0), (right, box.bottom + 16.0)):
        text = ", ".join(_limit_lines(limit, sheet.style)).replace(", or", " or")
        sheet.text(sheet.style.width / 2.0, y, text, Letters(theme.good, SMALL, "middle"))
    corner = data.polygon[np.argmin(data.polygon.sum(axis=1))]
    items = [
        Callout("centre of gravity", cg, theme.ink, second=_centre_text(data, sheet.style, (0, 1))),
        Callout("stands on this area", view.one(*corner), theme.good),
    ]
    items += [Callout(f"roller {r.name}", view.one(r.x, r.y), theme.caution) for r in data.rollers[:2]]
    _name(sheet, box, [*items, *_items(sheet, view, (names, tones(data.blocks)), False)][: _MOST + 2], where.lists[1])
    scale_bar(sheet, view, 12.0, where.height - 14.0)
    if scattered_in([(block, plan(block.top)) for block in data.blocks]):
        note = "dashed: a box around scattered parts"
        sheet.text(sheet.style.width - 12.0, where.height - 10.0, note, Letters(theme.quiet, SMALL, "end"))


def _wheel_above(sheet: Sheet, view: View, wheel: Wheel) -> None:
    theme = sheet.style.theme
    if not wheel.diameter:
        sheet.circle(view.one(wheel.x, wheel.y), 4.0, Ink(theme.paper, theme.good, 1.2))
        return
    x, y = view.one(wheel.x - wheel.diameter / 2.0, wheel.y + _WHEEL_WIDTH / 2.0)
    box = Box(x, y, wheel.diameter * view.scale, _WHEEL_WIDTH * view.scale)
    sheet.rect(box, Ink(theme.edge, theme.paper, 1.6, opacity=0.7), 3.0)


def _name(sheet: Sheet, box: Box, items: Sequence[Callout], top: float) -> None:
    if column_width(sheet.style):
        callouts(sheet, box, items)
    else:
        numbered(sheet, top, items, box)


def _items(
    sheet: Sheet, view: View, named: tuple[Sequence[tuple[str, Block]], dict[str, int]], side: bool
) -> list[Callout]:
    """Names in the colours of their groups."""
    theme, (names, numbers) = sheet.style.theme, named
    found = []
    for text, block in names:
        corners = block.side if side else plan(block.top)
        number = numbers.get(block.rides)
        colour = theme.quiet if number is None else theme.series[number % len(theme.series)]
        level = float(np.ptp(corners[:2, 1])) < 1e-9  # a block that is turned is named at its middle
        half = view.scale * float(np.ptp(corners[:, 0])) / 2.0 if level else 0.0
        found.append(Callout(text, view.one(*corners.mean(axis=0)), colour, half))
    return found


def _named(data: BodyCurves) -> tuple[list[tuple[str, Block]], list[tuple[str, Block]]]:
    """Which parts are named in which view: loads and what moves at the side, the rest where it is seen best."""
    skip = scattered_in([(b, b.side) for b in data.blocks]) & scattered_in([(b, plan(b.top)) for b in data.blocks])
    own = [b for i, b in enumerate(data.blocks) if i not in skip]
    first = [b for b in own if _moves(b)]
    rest = sorted((b for b in own if not _moves(b)), key=lambda b: -b.mass)
    side = _merged([*sorted(first, key=lambda b: (not b.object, -b.mass)), *rest])[:_MOST]
    told = {block.name for _, block in side}
    tanks = [b for b in rest if b.tank and b.name not in told]
    other = [b for b in rest if not b.tank and b.name not in told]
    return side, [(_text(b), b) for b in (*tanks, *other)][:_MOST]


def _moves(block: Block) -> bool:
    return bool(block.object) or block.rides != CHASSIS


def _text(block: Block) -> str:
    return f"{block.name}: {block.object}" if block.object else block.name


def _merged(blocks: Sequence[Block]) -> list[tuple[str, Block]]:
    """Name left and right ones that lie behind each other in the side view once."""
    found: dict[tuple[str, bytes], list[Block]] = {}
    for block in blocks:
        words = block.name.split(" ", 1)
        plain = words[1] if len(words) == 2 and words[0].lower() in ("left", "right") else block.name
        found.setdefault((plain, np.round(block.side, 3).tobytes()), []).append(block)
    return [
        (_text(same[0]) if len(same) == 1 else f"{plain} ({len(same)})", same[0]) for (plain, _), same in found.items()
    ]


_WAYS = (("ahead", "back"), ("left", "right"), ("up", "down"))


def _centre_text(data: BodyCurves, style: Style, axes: tuple[int, int]) -> str:
    return ", ".join(_placed(data, style, i) for i in axes)


def _placed(data: BodyCurves, style: Style, axis: int) -> str:
    """One coordinate in words, with half of the span of 95 % of the samples where there are some."""
    value = float(data.cg[axis])
    way = _WAYS[axis][0 if value >= 0.0 else 1]
    if data.spread is None:
        return f"{near(abs(value), style)} {way}"
    bare = near(abs(value), style).rsplit(" ", 1)[0]
    return f"{bare} ± {style.show(float(np.ptp(data.spread[axis])) / 2.0, 'length', 1)} {way}"


def _alt(data: BodyCurves, style: Style) -> str:
    x, y, z = (f"{near(abs(float(c)), style)} {way[float(c) < 0.0]}" for c, way in zip(data.cg, _WAYS, strict=True))
    weakest = min(data.limits, key=lambda limit: limit.acceleration)
    return (
        f"{data.robot} in pose '{data.pose}', to scale from the right and from above: it weighs "
        f"{style.show(data.mass, 'mass')}, its centre of gravity is {x}, {y} and {z}, and it tips "
        f"{weakest.side} first, at {style.show(weakest.acceleration, 'acceleration', 2)} or a tilt of "
        f"{style.show(weakest.tilt, 'angle', 2)}."
    )


def _columns(data: BodyCurves, style: Style) -> dict[str, Sequence[Any]]:
    def shown(values: Iterable[float], kind: str) -> list[float]:
        """Numbers in the person's unit."""
        return [float(style.value(float(value), kind)) for value in values]

    blocks = data.blocks
    columns: dict[str, Sequence[Any]] = {
        "Part": [b.name for b in blocks],
        "Rides": [b.rides for b in blocks],
        style.header("Mass", "mass"): shown((b.mass for b in blocks), "mass"),
    }
    edges = {
        "Rear end": [b.side[:, 0].min() for b in blocks],
        "Front end": [b.side[:, 0].max() for b in blocks],
        "Right end": [b.top[0, 1] for b in blocks],
        "Left end": [b.top[1, 1] for b in blocks],
        "Lower end": [b.side[:, 1].min() for b in blocks],
        "Upper end": [b.side[:, 1].max() for b in blocks],
    }
    columns |= {style.header(name, "length"): shown(values, "length") for name, values in edges.items()}
    columns |= {
        "Whole robot": ["x forward", "y left", "z up"],
        style.header("Centre of gravity", "length"): shown(data.cg, "length"),
        "Tips": [limit.side for limit in data.limits],
        style.header("at", "acceleration"): shown((t.acceleration for t in data.limits), "acceleration"),
        style.header("or at a tilt of", "angle"): shown((t.tilt for t in data.limits), "angle"),
    }
    return columns
