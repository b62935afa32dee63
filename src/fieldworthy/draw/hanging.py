"""The robot on its bar: as it leaves the floor, and as it hangs, with the forces that hold it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from fieldworthy.checks.curves.hanging import Attitude, HangingCurves, Push
from fieldworthy.draw.axeslabels import Place, around, place
from fieldworthy.draw.figure import Figure
from fieldworthy.draw.lettering import shortened
from fieldworthy.draw.robotview import (
    View,
    fitted,
    floor_line,
    gravity_mark,
    near,
    paint_blocks,
    reach,
    scale_bar,
)
from fieldworthy.draw.style import Array, Style
from fieldworthy.draw.svg import NORMAL, SMALL, Box, Ink, Letters, Sheet

_HEAD, _FOOT = 84.0, 62.0  # px: above a view and below it
_TALLEST = 430.0
_ARROW = 74.0  # px: of a force as large as the weight
_MARGIN = 0.07  # m around everything


def hanging(data: HangingCurves, style: Style) -> Figure:
    """Draw a robot on its bar, leaving the floor and hanging.

    Parameters
    ----------
    data : HangingCurves
        Attitudes and forces [SI].
    style : Style
        How it is to look [-].

    Returns
    -------
    Figure
        Two views at one scale, side by side; below each other on a phone [-].
    """
    moments = (data.leaving, data.hanging)
    low, high = reach(point for moment in moments for point in _points(data, moment))
    low, high = low - _MARGIN, high + _MARGIN
    low[1] = min(low[1] + _MARGIN, 0.0)
    across = 1 if style.width < 560.0 else 2
    wide = style.width / across - 24.0
    scale = float(min(wide / (high[0] - low[0]), _TALLEST / (high[1] - low[1])))
    tall = (high[1] - low[1]) * scale
    sheet = Sheet(style, (_HEAD + tall + _FOOT) * (2 / across) + 30.0)
    for i, moment in enumerate(moments):
        top = _HEAD + (i * (tall + _FOOT + _HEAD) if across == 1 else 0.0)
        left = 12.0 + (i * style.width / 2.0 if across == 2 else 0.0)
        box = Box(left, top, wide, tall)
        _moment(sheet, fitted(box, low, high, scale), box, data, moment)
    scale_bar(sheet, View(0.0, 0.0, scale), 14.0, sheet.height - 12.0)
    title = f"On the {data.structure} with '{data.name}'"
    return Figure(title, alt := _alt(data, style), sheet.document(title, alt), _columns(data, style))


def _points(data: HangingCurves, moment: Attitude) -> Iterable[Array]:
    yield from moment.blocks
    yield np.array([[0.0, moment.pushes[0].at[1] + 0.5 * (data.diameter or 0.03)], [0.0, 0.0], moment.cg])
    if data.wall is not None and moment is data.hanging:
        yield np.array([[data.wall, 0.0]])


def _way(attitude: float, style: Style) -> str:
    turned = float(style.value(abs(attitude), "angle"))
    return f"{turned:.{0 if turned >= 9.95 else 1}f}° nose {'down' if attitude >= 0.0 else 'up'}"


def _moment(sheet: Sheet, view: View, box: Box, data: HangingCurves, moment: Attitude) -> None:
    theme, style = sheet.style.theme, sheet.style
    last = moment is data.hanging
    heading = "Hanging" if last else "As it leaves the floor"
    sheet.text(box.x, box.y - 64.0, f"{heading}: {_way(moment.attitude, style)}",
               Letters(theme.ink, NORMAL, bold=True))  # fmt: skip
    floor_line(sheet, box.x, box.right, view.y)
    if data.wall is not None and last:
        _wall(sheet, view, data)
    _bar(sheet, view, data, moment)
    blocks = [(replace(p, tank=False), corners) for p, corners in zip(data.parts, moment.blocks, strict=True)]
    paint_blocks(sheet, view, blocks)
    for rim in moment.wheels:
        sheet.circle(view.one(*rim), 0.5 * data.wheel * view.scale, Ink(theme.edge, theme.paper, 2.0, opacity=0.6))
    _forces(sheet, view, box, data, moment)
    if last:
        _lowest(sheet, view, box, data)
    for i, (text, tone) in enumerate(_words(data, moment, style)):
        short = shortened(text, SMALL, box.w)
        sheet.text(box.x, box.bottom + 24.0 + 15.0 * i, short, Letters(getattr(theme, tone), SMALL))


def _bar(sheet: Sheet, view: View, data: HangingCurves, moment: Attitude) -> None:
    """The bar, its top where the hooks take it."""
    theme, radius = sheet.style.theme, 0.5 * (data.diameter or 0.03)
    at = view.one(0.0, float(moment.pushes[0].at[1]) - radius)
    sheet.circle(at, radius * view.scale, Ink(theme.ink, theme.caution, 1.6, opacity=0.35))


def _wall(sheet: Sheet, view: View, data: HangingCurves) -> None:
    """The upright face that the rest leans on, hatched on the far side."""
    theme, wall = sheet.style.theme, data.wall or 0.0
    x, _ = view.one(wall, 0.0)
    top, side = view.one(0.0, data.bar)[1], -1.0 if data.face == "behind" else 1.0
    for y in np.arange(top + 8.0, view.y, 12.0).tolist():
        sheet.line((x, y), (x + 6.0 * side, y - 5.0), Ink(theme.edge, width=0.8))
    sheet.line((x, top), (x, view.y), Ink(theme.edge, width=2.0))


def _forces(sheet: Sheet, view: View, box: Box, data: HangingCurves, moment: Attitude) -> None:
    theme, style = sheet.style.theme, sheet.style
    cg = view.one(*moment.cg)
    weight = style.show(data.weight, "force")
    down = (cg[0], cg[1] + _ARROW)
    named: list[tuple[tuple[float, float], str, str]] = [(down, f"weight {weight}", theme.ink)]
    trails = [np.array([cg, down])]
    sheet.arrow(cg, down, Ink(theme.ink, width=2.4), 10.0)
    for push in moment.pushes:
        start, end = _arrow(view, data.weight, push)
        sheet.arrow(start, end, Ink(theme.good, width=2.6), 10.0)
        trails.append(np.array([start, end]))
        tail = end if push.name == "hooks" else start
        named.append((tail, f"{push.name} {style.show(push.size, 'force')}", theme.good))
    gravity_mark(sheet, cg)
    outer = Box(box.x, box.y - 54.0, box.w, box.h + 54.0)
    for at, text, colour in named:
        letters = Letters(colour, SMALL, bold=True, halo=theme.paper)
        place(sheet, text, letters, _held(letters, around(at), text, outer), trails)


def _arrow(view: View, weight: float, push: Push) -> tuple[tuple[float, float], tuple[float, float]]:
    """Start and end of a force's arrow: it pulls away from the hooks, and presses on the rest."""
    along = np.array([push.force[0], -push.force[1]]) / weight * _ARROW
    at = np.array(view.one(*push.at))
    start, end = (at, at + along) if push.name == "hooks" else (at - along, at)
    return (float(start[0]), float(start[1])), (float(end[0]), float(end[1]))


def _held(letters: Letters, places: Sequence[Place], text: str, outer: Box) -> list[Place]:
    return [p for p in places if replace(letters, anchor=p[2]).box(p[0], p[1], text).within(outer)]


def _lowest(sheet: Sheet, view: View, box: Box, data: HangingCurves) -> None:
    """A level line at the lowest point, measured from the floor, and the clearance that is wanted."""
    theme, height = sheet.style.theme, data.hanging.lowest
    good = height >= data.clearance
    colour = theme.good if good else theme.bad
    y = view.one(0.0, max(height, 0.0))[1]
    x = box.right - 10.0
    sheet.line((box.x, y), (box.right, y), Ink(colour, width=1.4, dash="6 3"))
    if view.y - y > 16.0:
        for a, b in ((view.y - 1.0, y), (y, view.y - 1.0)):
            sheet.arrow((x, (a + b) / 2.0), (x, b), Ink(colour, width=1.4), 6.0)
    if data.clearance > 0.0:
        level = view.one(0.0, data.clearance)[1]
        sheet.line((box.x, level), (box.right, level), Ink(theme.caution, width=1.2, dash="2 3"))
    text = f"{near(height, sheet.style)} clear"
    letters = Letters(colour, SMALL, "end", bold=True, halo=theme.paper)
    tries: list[Place] = [(x - 6.0, y - 5.0, "end"), (box.x + 2.0, y - 5.0, "start"), (x - 6.0, y + 14.0, "end")]
    place(sheet, text, letters, tries, [])


def _words(data: HangingCurves, moment: Attitude, style: Style) -> list[tuple[str, str]]:
    """What a reader should see in the view, in lines that fit half a page, and their colours."""
    if moment is data.leaving:
        able = (
            ("its lift pulls hard enough", "good") if data.rises else ("its lift pulls too little to get here", "bad")
        )
        return [able, ("it swings until its centre of gravity is below the bar", "quiet")]
    wanted = (f"{near(data.clearance, style)} clear are wanted below it", "quiet")
    if data.wall is None:
        return [("it hangs free and swings", "caution"), wanted]
    if data.resting:
        return [("its rest stays pressed on the face", "good"), wanted]
    return [("its rest lifts off the face and it swings", "bad"), wanted]


def _alt(data: HangingCurves, style: Style) -> str:
    rest = [push for push in data.hanging.pushes if push.name == "rest"]
    leans = f", its rest pressed on with {style.show(rest[0].size, 'force')}" if rest else ", swinging free"
    able = "" if data.rises else "; its lift does not pull hard enough to get there"
    return (
        f"The robot on the {data.structure}: it leaves the floor {_way(data.leaving.attitude, style)} and hangs "
        f"{_way(data.hanging.attitude, style)}{leans}, its lowest point {near(data.hanging.lowest, style)} above the "
        f"floor{able}. Nobody stands or reaches beneath it."
    )


def _columns(data: HangingCurves, style: Style) -> dict[str, Sequence[Any]]:
    moments = (data.leaving, data.hanging)
    rows = [(moment, push) for moment in moments for push in moment.pushes]
    return {
        "Moment": [moment.name for moment in moments],
        style.header("Nose down", "angle"): [style.value(moment.attitude, "angle") for moment in moments],
        style.header("Lowest point", "length"): [style.value(moment.lowest, "length") for moment in moments],
        "Force at": [f"{push.name}, {moment.name}" for moment, push in rows],
        style.header("Forward", "force"): [style.value(float(push.force[0]), "force") for _, push in rows],
        style.header("Up", "force"): [style.value(float(push.force[1]), "force") for _, push in rows],
    }
