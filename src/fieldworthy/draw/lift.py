"""A lift or motor arm at a place of its stroke, beside the force that it needs along the whole of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from fieldworthy.checks.curves.lift import Carried, Cylinder, LiftCurves
from fieldworthy.draw.axes import Chart, paint
from fieldworthy.draw.axeslabels import Place, around, place
from fieldworthy.draw.axesmarks import Limit, Line, Mark, Spot
from fieldworthy.draw.axesscale import Axis
from fieldworthy.draw.figure import Figure
from fieldworthy.draw.lettering import shortened
from fieldworthy.draw.robotview import View, block_ink, fitted, floor_line, near, paint_blocks, reach, scale_bar
from fieldworthy.draw.style import Array, Style
from fieldworthy.draw.svg import NORMAL, SMALL, Box, Ink, Letters, Sheet

_HEAD, _FOOT = 40.0, 40.0  # px: above and below the drawing
_HIGHEST = 1.5  # of the drive's force; a curve beyond it is cut
_PIN = 4.5  # px
_LOWEST, _NO_LEVER = -1.0, 10.0


def lift(data: LiftCurves, style: Style) -> Figure:
    """Draw a linkage at a place of its stroke, and the share of force that it needs both ways.

    Parameters
    ----------
    data : LiftCurves
        The arm [SI].
    style : Style
        How it is to look [-].

    Returns
    -------
    Figure
        Drawing and chart side by side; below each other on a phone [-].
    """
    beside = style.width >= 700.0
    wide = 0.5 * style.width if beside else style.width
    tall = float(np.clip(0.86 * wide, 260.0, 400.0))
    chart_box = Box(wide, 0.0, style.width - wide, _HEAD + tall + _FOOT) if beside else None
    below = Box(0.0, _HEAD + tall + _FOOT + 8.0, style.width, 300.0)
    sheet = Sheet(style, chart_box.bottom if chart_box else below.bottom)
    _drawing(sheet, Box(12.0, _HEAD, wide - 24.0, tall), data)
    what = _chart(data, style)
    box = chart_box or below
    sheet.text(box.x + 10.0, box.y + 20.0, what.title, Letters(style.theme.ink, NORMAL, bold=True))
    paint(sheet, Box(box.x, box.y + 26.0, box.w, box.h - 26.0), what)
    title = f"'{data.name}' {round(100.0 * data.share)}% up"
    return Figure(title, alt := _alt(data, style), sheet.document(title, alt), _columns(data, style))


def _points(data: LiftCurves) -> Iterable[Array]:
    """All that the drawing must hold at any place of the stroke, so that it stands still while the arm moves."""
    yield from (block.side for block in data.frame)
    yield data.pivot[None]
    if data.cylinder is not None:
        yield data.cylinder.fixed[None]
    yield np.array([[data.pivot[0], 0.0]])
    far = max((float(np.hypot(*(block.side - data.pivot).T).max()) for block in data.arm), default=0.0)
    lowest = min((float(block.side[:, 1].min()) for block in data.frame), default=0.0)
    outward = 1.0 if data.ahead else -1.0
    swept = data.pivot + far * np.array([[outward, 0.0], [0.0, 1.0], [0.6 * outward, 0.8]])
    yield np.maximum(swept, [-np.inf, lowest])
    for load in data.loads:
        yield load.path - np.array(load.size) / 2.0
        yield load.path + np.array(load.size) / 2.0
    if data.target is not None:
        yield data.target.path


def _drawing(sheet: Sheet, box: Box, data: LiftCurves) -> None:
    theme, style = sheet.style.theme, sheet.style
    low, high = reach(_points(data))
    low[1] = min(low[1], 0.0)
    view = fitted(box, low, high)
    heading = f"{data.name}: {round(100.0 * data.share)}% of its way, raised {_degrees(data.raised, style)}"
    sheet.text(box.x, 20.0, shortened(heading, NORMAL, box.w, bold=True), Letters(theme.ink, NORMAL, bold=True))
    floor_line(sheet, box.x, box.right, view.y)
    paint_blocks(sheet, view, [(block, block.side) for block in data.frame], faint=True)
    named = _structure(sheet, view, box, data)
    for block in data.arm:
        sheet.path(view(block.side).tolist(), block_ink(block, 0, style), closed=True)
    for load in data.loads:
        named.append(_load(sheet, view, load))
    if data.cylinder is not None:
        named += _cylinder(sheet, view, data.cylinder)
    pivot = view.one(*data.pivot)
    sheet.circle(pivot, _PIN + 2.0, Ink(theme.ink, theme.paper, 2.4))
    sheet.circle(pivot, 1.6, Ink(fill=theme.ink))
    named.append((pivot, "pivot", theme.ink))
    marks = [_ring(at) for at, _, _ in named]
    if data.cylinder is not None:
        marks.append(view(np.stack([data.cylinder.fixed, data.cylinder.arm])))
    for at, text, colour in named:
        letters = Letters(colour, SMALL, halo=theme.paper)
        place(sheet, text, letters, _held(letters, around(at), text, box), marks)
    scale_bar(sheet, view, box.x, box.bottom + 34.0)


def _degrees(angle: float, style: Style) -> str:
    return f"{round(float(style.value(angle, 'angle')))}{style.unit('angle')}".replace("-", "−")


def _ring(at: tuple[float, float]) -> Array:
    """Points around a mark, which no name may cover."""
    turn = np.linspace(0.0, 2.0 * np.pi, 13)
    return np.stack([at[0] + 7.0 * np.cos(turn), at[1] + 7.0 * np.sin(turn)], axis=1)


def _held(letters: Letters, places: Sequence[Place], text: str, box: Box) -> list[Place]:
    return [p for p in places if replace(letters, anchor=p[2]).box(p[0], p[1], text).within(box)]


Named = tuple[tuple[float, float], str, str]


def _structure(sheet: Sheet, view: View, box: Box, data: LiftCurves) -> list[Named]:
    """The height that the arm's point must come over, and the way of that point."""
    if data.target is None:
        return []
    theme = sheet.style.theme
    level = view.one(0.0, data.height)[1]
    over = data.target.at[1] >= data.height
    colour = theme.good if over else theme.bad
    sheet.line((box.x, level), (box.right, level), Ink(theme.caution, width=1.6, dash="6 3"))
    text = f"{data.structure}, {near(data.height, sheet.style)} up"
    letters = Letters(theme.caution, SMALL, halo=theme.paper)
    tries: list[Place] = [(box.x + 2.0, level - 5.0, "start"), (box.right - 2.0, level - 5.0, "end")]
    place(sheet, text, letters, tries, [view(block.side) for block in data.arm])
    sheet.path(view(data.target.path).tolist(), Ink(theme.caution, width=1.2, dash="2 3"))
    at = view.one(*data.target.at)
    sheet.path([(at[0] - 6.0, at[1]), (at[0], at[1] - 6.0), (at[0] + 6.0, at[1]), (at[0], at[1] + 6.0)],
               Ink(theme.paper, colour, 1.2), closed=True)  # fmt: skip
    return [(at, f"{near(float(data.target.at[1]), sheet.style)} up", colour)]


def _load(sheet: Sheet, view: View, load: Carried) -> Named:
    theme = sheet.style.theme
    colour = theme.series[1]
    sheet.path(view(load.path).tolist(), Ink(colour, width=1.4, dash="2 3"))
    at = view.one(*load.at)
    ink = Ink(colour, colour, 1.6, opacity=0.3)
    if load.round:
        sheet.circle(at, 0.5 * load.size[0] * view.scale, ink)
    else:
        wide, tall = (view.scale * size for size in load.size)
        sheet.rect(Box(at[0] - wide / 2.0, at[1] - tall / 2.0, wide, tall), ink)
    return at, load.name, colour


def _cylinder(sheet: Sheet, view: View, cylinder: Cylinder) -> list[Named]:
    """Barrel and rod between the two pins, in their true proportion."""
    theme = sheet.style.theme
    fixed, arm = np.array(view.one(*cylinder.fixed)), np.array(view.one(*cylinder.arm))
    length = max(cylinder.closed + cylinder.out, 1e-6)
    barrel = fixed + (arm - fixed) * min(max(cylinder.closed - 0.02, 0.0) / length, 1.0)
    sheet.line(fixed.tolist(), arm.tolist(), Ink(theme.ink, width=2.6))
    sheet.line(fixed.tolist(), barrel.tolist(), Ink(theme.ink, width=11.0))
    sheet.line(fixed.tolist(), barrel.tolist(), Ink(theme.series[2], width=8.0))
    for pin in (fixed, arm):
        sheet.circle(pin.tolist(), _PIN, Ink(theme.ink, theme.paper, 1.8))
    out = f"{near(cylinder.out, sheet.style)} of {near(cylinder.stroke, sheet.style)} out"
    middle = (fixed + barrel) / 2.0
    return [((float(middle[0]), float(middle[1])), out, theme.series[2])]


def _cut(share: Array) -> Array:
    """A share of force, cut where it grows beyond all bounds; none where a load helps at a dead point."""
    bounded = np.clip(np.where(np.isposinf(share), _HIGHEST, share), None, _HIGHEST)
    return np.where(bounded < -_NO_LEVER, np.nan, np.maximum(bounded, _LOWEST))


def _chart(data: LiftCurves, style: Style) -> Chart:
    up, down = _cut(data.up), _cut(data.down)
    now = _cut(np.array(data.now))
    motors = data.drive == "motors"
    whose, can = ("its motors'", "all they can") if motors else ("its cylinder's", "all it can")
    least = float(np.nanmin([*up, *down, 0.0]))
    most = float(np.nanmax([*up, *down, 1.0]))
    marks: list[Mark] = [
        Limit(at=1.0, name=can),
        Line(x=data.along, y=up, name="going up", tone=0),
        Line(x=data.along, y=down, name="going down", tone=1),
        Limit(at=data.share, side="x", name=f"now {_share(data.now[0])} up, {_share(data.now[1])} down",
              tone="ink", dash="2 3"),
        Spot(x=data.share, y=float(now[0]), tone=0),
        Spot(x=data.share, y=float(now[1]), tone=1, shape="square"),
    ]  # fmt: skip
    if least < -0.02:
        marks.append(Limit(at=0.0, name="below 0 its load helps", tone="quiet", dash=None))
    marks += [
        Limit(at=point.share, side="x", name=f"dead point at {style.show(point.raised, 'angle', 2)}")
        for point in data.dead
    ]
    return Chart(
        title=f"Share of {whose} force that it needs",
        alt="",
        x=Axis("Way up", "share", low=0.0, high=1.0),
        y=Axis("Force needed", "share", low=None if least < 0.0 else 0.0, high=max(1.1, 1.02 * most)),
        marks=marks,
    )


def _share(value: float) -> str:
    if not np.isfinite(value) or abs(value) > _NO_LEVER:
        return "no lever"
    return f"{round(100.0 * value)}%".replace("-", "−")


def _alt(data: LiftCurves, style: Style) -> str:
    worst = [float(way.max()) for way in (data.up, data.down)]
    told = " and ".join(
        f"{_share(max(value, 0.0))} of its {data.drive}'s force {way}"
        for value, way in zip(worst, ("up", "down"), strict=True)
    )
    dead = "".join(f" It meets a dead point {style.show(p.raised, 'angle', 2)} up." for p in data.dead)
    return (
        f"'{data.name}' {round(100.0 * data.share)}% up, raised {_degrees(data.raised, style)}; "
        f"at the worst point of its way it needs {told}.{dead}"
    )


def _columns(data: LiftCurves, style: Style) -> dict[str, Sequence[Any]]:
    columns: dict[str, Sequence[Any]] = {
        "Way up [%]": (100.0 * data.along).tolist(),
        style.header("Raised", "angle"): style.value(data.angles, "angle").tolist(),
        "Force needed up [%]": (100.0 * data.up).tolist(),
        "Force needed down [%]": (100.0 * data.down).tolist(),
    }
    for load in (*data.loads, *([] if data.target is None else [data.target])):
        columns[style.header(f"{load.name} forward", "length")] = style.value(load.path[:, 0], "length").tolist()
        columns[style.header(f"{load.name} up", "length")] = style.value(load.path[:, 1], "length").tolist()
    return columns
