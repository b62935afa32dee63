"""What lengths mean: a picture of a kind of thing, not to scale, with a line for each length and what it is called.

A sketch is described once beside what it shows: outlines in pixels of a sheet as wide as a phone, and by the name of a
declared value from where to where that is measured. Names and numbers are put in when it is drawn.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from fieldworthy.drawing.style import Style, Theme, wrapped
from fieldworthy.drawing.svg import Figure, Ink, Letters, Sheet

Point: TypeAlias = tuple[float, float]
Look: TypeAlias = Literal["body", "thing", "line", "dashed", "floor", "move"]
"""A block of the robot, a thing of the field, a stroke, a stroke that is not there yet, the floor, a motion."""
Side: TypeAlias = Literal["above", "below", "left", "right"]

WIDE = 340.0
"""Of every sketch [px]: the page of a phone holds it."""
_LETTERS = 12.0
_LINE = 14.0  # from one line of a label to the next
_GAP = 6.0  # from a line to what is written beside it
_HEAD = 6.0  # of an arrow
_FOOT = 18.0  # below everything, for what says from where it is seen
_ROOM = 118.0  # for one line of a label


@dataclass(frozen=True, slots=True)
class Shape:
    """An outline, or a disc round its one point.

    Attributes
    ----------
    points : Corners, to the right and down [px]
    look : How it is drawn
    radius : Of a disc [px]; 0 for an outline
    name : What stands in it or beside it
    """

    points: tuple[Point, ...]
    look: Look = "body"
    radius: float = 0.0
    name: str = ""


@dataclass(frozen=True, slots=True)
class Span:
    """A length: from where to where it is measured, or the one point that it places.

    Attributes
    ----------
    key : The declared value; ``size[0]`` is the first of several
    start, end : Between which it is measured [px]; the same for a place that is pointed at
    side : Where its name stands
    name : What it is called where the declaration does not say, as of one of several
    """

    key: str
    start: Point
    end: Point
    side: Side
    name: str = ""


@dataclass(frozen=True, slots=True)
class Sketch:
    """A kind of thing with its lengths.

    Attributes
    ----------
    view : From where it is seen
    height : Of the sheet [px]
    shapes, spans : What is drawn, and what is measured
    """

    view: str
    height: float
    shapes: tuple[Shape, ...]
    spans: tuple[Span, ...]


def block(x: float, y: float, wide: float, high: float, look: Look = "body", name: str = "") -> Shape:
    """Outline a rectangle by its upper left corner."""
    return Shape(((x, y), (x + wide, y), (x + wide, y + high), (x, y + high)), look, name=name)


def disc(x: float, y: float, radius: float, look: Look = "body", name: str = "") -> Shape:
    """Outline a circle by its middle."""
    return Shape(((x, y),), look, radius, name)


def line(*points: Point, look: Look = "line", name: str = "") -> Shape:
    """Draw from point to point."""
    return Shape(points, look, name=name)


def floor(y: float, left: float = 14.0, right: float = WIDE - 14.0) -> Shape:
    """Draw the floor."""
    return Shape(((left, y), (right, y)), "floor")


def sketch(data: Sketch, told: Mapping[str, tuple[str, str]], style: Style) -> Figure:
    """Draw what lengths mean; `told` has by key what one is called and what it is now, empty where nothing is known."""
    data = _lowered(data, told)
    sheet = Sheet(Style(style.theme, style.units, WIDE, style.own), data.height + _FOOT)
    for shape in data.shapes:
        _shape(sheet, shape)
    for i, span in enumerate(data.spans):
        _span(sheet, span, _words(span, told), style.theme.series[i % 4])
    sheet.text(WIDE - 6.0, data.height + _FOOT - 6.0, data.view, Letters(style.theme.quiet, 11.0, "end"))
    names = [_words(span, told)[0] for span in data.spans]
    title, alt = "What the lengths mean", f"{data.view}: {', '.join(names)}."
    return Figure(title, alt, sheet.document(title, alt))


def _words(span: Span, told: Mapping[str, tuple[str, str]]) -> tuple[str, str]:
    """What a length is called, and what it is now."""
    name, value = told.get(span.key, ("", ""))
    return span.name or name or span.key, value


def _lines(words: tuple[str, str]) -> list[str]:
    return [*wrapped(words[0], _LETTERS, _ROOM), *([words[1]] if words[1] else [])]


def _lowered(data: Sketch, told: Mapping[str, tuple[str, str]]) -> Sketch:
    """Move everything down by what the names above it need."""
    tops = [
        (s.start[1] + s.end[1]) / 2.0 - _GAP - _LINE * len(_lines(_words(s, told))) if s.side == "above" else 4.0
        for s in data.spans
    ]
    by = max(0.0, 4.0 - min(tops, default=4.0))
    shapes = tuple(replace(s, points=tuple((x, y + by) for x, y in s.points)) for s in data.shapes)
    spans = tuple(replace(s, start=(s.start[0], s.start[1] + by), end=(s.end[0], s.end[1] + by)) for s in data.spans)
    return Sketch(data.view, data.height + by, shapes, spans)


def _shape(sheet: Sheet, shape: Shape) -> None:
    theme = sheet.style.theme
    if shape.look == "move":
        sheet.arrow(shape.points[0], shape.points[-1], Ink(stroke=theme.quiet, width=1.5))
    elif shape.radius:
        sheet.circle(shape.points[0], shape.radius, _ink(shape.look, theme))
    else:
        sheet.path(shape.points, _ink(shape.look, theme), closed=shape.look in ("body", "thing"))
    if shape.look == "floor":
        (left, y), (right, _) = shape.points
        for step in range(int((right - left) / 10.0)):
            at = left + 10.0 * step
            sheet.line((at, y + 5.0), (at + 5.0, y), Ink(stroke=theme.grid))
    if shape.name:
        x = sum(p[0] for p in shape.points) / len(shape.points)
        y = sum(p[1] for p in shape.points) / len(shape.points)
        sheet.text(x, y + 4.0, shape.name, Letters(theme.quiet, 11.0, "middle"))


def _ink(look: Look, theme: Theme) -> Ink:
    if look == "body":
        return Ink(stroke=theme.edge, fill=theme.block, width=1.4)
    if look == "thing":
        return Ink(stroke=theme.edge, fill=theme.paper, width=1.4, dash="5 3")
    if look == "dashed":
        return Ink(stroke=theme.edge, width=1.2, dash="4 3")
    return Ink(stroke=theme.edge, width=1.6)


def _span(sheet: Sheet, span: Span, words: tuple[str, str], colour: str) -> None:
    ink = Ink(stroke=colour, width=1.5)
    (ax, ay), (bx, by) = span.start, span.end
    middle = ((ax + bx) / 2.0, (ay + by) / 2.0)
    far = ((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5
    if far == 0.0:
        sheet.circle(span.start, 3.5, Ink(fill=colour))
    else:
        for start, end in ((middle, span.end), (middle, span.start)):
            sheet.arrow(start, end, ink, min(_HEAD, far / 2.0))
        across = (-(by - ay) / far * 5.0, (bx - ax) / far * 5.0)
        for x, y in (span.start, span.end):
            sheet.line((x - across[0], y - across[1]), (x + across[0], y + across[1]), ink)
    _label(sheet, span.side, middle, words, colour)


def _label(sheet: Sheet, side: Side, at: Point, words: tuple[str, str], colour: str) -> None:
    """Write what a length is called, and below it what it is now."""
    lines = _lines(words)
    high = _LINE * len(lines)
    x, y = at
    anchor: Literal["start", "middle", "end"] = "middle"
    if side == "above":
        top = y - _GAP - high
    elif side == "below":
        top = y + _GAP
    else:
        top = y - high / 2.0
        anchor, x = ("start", x + _GAP + 2.0) if side == "right" else ("end", x - _GAP - 2.0)
    for i, text in enumerate(lines):
        letters = Letters(colour, _LETTERS, anchor, bold=i > 0 and text == words[1], halo=sheet.style.theme.paper)
        sheet.text(x, top + _LINE * (i + 1) - 3.0, text, letters)
