"""Names beside a drawing: in columns with thin lines to what they name, or as numbers with a list on a phone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.drawing.lettering import shortened, width
from fieldworthy.drawing.painting import spread
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import SMALL, Box, Ink, Letters, Sheet

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
