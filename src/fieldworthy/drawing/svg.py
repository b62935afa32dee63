"""Plain SVG: elements with presentation attributes, a sheet that remembers its texts, the finished figure."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape as _escape
from itertools import zip_longest
from typing import Any, Literal

import numpy as np

from fieldworthy.drawing.style import FONT, Style, shortened, width

Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]
_CONTROL = re.compile(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0 has no such characters
_PLAIN = re.compile(r"[ !#-%(-;=?-~]*")  # nothing to escape: printable ASCII without markup
SMALL, NORMAL, LARGE = 11.0, 12.5, 14.0
"""Sizes of texts [px]; nothing is set smaller."""
_ASCENT, _DESCENT = 0.95, 0.28  # of the size; the tallest of the usual fonts


def escape(text: str) -> str:
    """Make a text fit for XML."""
    if _PLAIN.fullmatch(text):
        return text
    return _escape(_CONTROL.sub("�", text)).replace("&#x27;", "&apos;")


def number(value: float) -> str:
    """Write a coordinate, to a hundredth of a pixel."""
    if not math.isfinite(value):
        raise ValueError(f"a coordinate must be finite, got {value}")
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def node(name: str, *inside: str, **attributes: str | float | None) -> str:
    """Write one element."""
    given = {key.rstrip("_").replace("_", "-"): value for key, value in attributes.items() if value is not None}
    written = "".join(
        f' {key}="{escape(value) if isinstance(value, str) else number(float(value))}"' for key, value in given.items()
    )
    return f"<{name}{written}>{''.join(inside)}</{name}>" if inside else f"<{name}{written}/>"


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on the sheet [px].

    Attributes
    ----------
    x, y : Upper left corner [px]
    w, h : Size [px]
    """

    x: float
    y: float
    w: float
    h: float

    @property
    def right(self) -> float:
        """Right edge [px]."""
        return self.x + self.w

    @property
    def bottom(self) -> float:
        """Lower edge [px]."""
        return self.y + self.h

    def meets(self, other: Box, gap: float = 0.0) -> bool:
        """Say whether two rectangles come nearer than a gap."""
        return (
            self.x < other.right + gap
            and other.x < self.right + gap
            and self.y < other.bottom + gap
            and other.y < self.bottom + gap
        )

    def within(self, other: Box) -> bool:
        """Say whether this lies inside another."""
        return self.x >= other.x and self.right <= other.right and self.y >= other.y and self.bottom <= other.bottom


@dataclass(frozen=True, slots=True)
class Ink:
    """How a shape is drawn.

    Attributes
    ----------
    stroke, fill : Colours, or ``none``
    width : Of the stroke [px]
    dash : Dash pattern [px]
    opacity : Of the filling
    """

    stroke: str = "none"
    fill: str = "none"
    width: float = 1.0
    dash: str | None = None
    opacity: float = 1.0

    def attributes(self) -> dict[str, str | float | None]:
        """List the presentation attributes."""
        stroked = self.stroke != "none"
        return {
            "fill": self.fill,
            "fill_opacity": self.opacity if self.fill != "none" and self.opacity < 1.0 else None,
            "stroke": self.stroke if stroked else None,
            "stroke_width": self.width if stroked else None,
            "stroke_dasharray": self.dash if stroked else None,
        }


@dataclass(frozen=True, slots=True)
class Letters:
    """How a text is set.

    Attributes
    ----------
    colour : Of the text
    size : Of the font [px]
    anchor : ``start``, ``middle`` or ``end`` of the text stands at its point
    bold : Whether it is set bold
    halo : Colour laid around the letters, so that it is read on top of lines
    """

    colour: str
    size: float = NORMAL
    anchor: Anchor = "start"
    bold: bool = False
    halo: str | None = None

    def box(self, x: float, y: float, text: str) -> Box:
        """Estimate the room that a text takes."""
        wide = width(text, self.size, self.bold)
        left = x - {"start": 0.0, "middle": wide / 2.0, "end": wide}[self.anchor]
        return Box(left, y - _ASCENT * self.size, wide, (_ASCENT + _DESCENT) * self.size)


@dataclass
class Sheet:
    """What is being drawn: elements in order, and the rectangles of the texts among them.

    Attributes
    ----------
    style : How it is to look
    height : Of the sheet [px]; may be set until the document is written
    texts : Where texts stand [px]
    """

    style: Style
    height: float
    texts: list[Box] = field(default_factory=list)
    _nodes: list[str] = field(default_factory=list)

    @property
    def area(self) -> Box:
        """The whole sheet [px]."""
        return Box(0.0, 0.0, self.style.width, self.height)

    def add(self, *nodes: str) -> None:
        """Add elements on top."""
        self._nodes.extend(nodes)

    def path(self, points: Iterable[Sequence[float]], ink: Ink, closed: bool = False) -> None:
        """Draw straight lines from point to point, broken where a point is not finite."""
        parts, pen = [], "M"
        for x, y in points:
            if not (math.isfinite(x) and math.isfinite(y)):
                pen = "M"
                continue
            parts.append(f"{pen}{number(x)} {number(y)}")
            pen = "L"
        if parts:
            joined = "".join(parts) + ("Z" if closed else "")
            self.add(node("path", d=joined, stroke_linejoin="round", **ink.attributes()))

    def line(self, start: Sequence[float], end: Sequence[float], ink: Ink) -> None:
        """Draw one straight line."""
        self.path([start, end], ink)

    def rect(self, box: Box, ink: Ink, round_: float = 0.0) -> None:
        """Draw a rectangle."""
        size = {"x": box.x, "y": box.y, "width": max(box.w, 0.0), "height": max(box.h, 0.0)}
        self.add(node("rect", rx=round_ or None, **size, **ink.attributes()))

    def circle(self, centre: Sequence[float], radius: float, ink: Ink) -> None:
        """Draw a circle."""
        self.add(node("circle", cx=float(centre[0]), cy=float(centre[1]), r=radius, **ink.attributes()))

    def arrow(self, start: Sequence[float], end: Sequence[float], ink: Ink, head: float = 8.0) -> None:
        """Draw an arrow with a filled head."""
        a, b = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
        far = float(np.hypot(*(b - a)))
        if far < 1e-6:
            return
        along = (b - a) / far
        head = min(head, far)
        base, across = b - along * head, np.array([-along[1], along[0]]) * head * 0.42
        self.line(a.tolist(), base.tolist(), ink)
        self.path([b.tolist(), (base + across).tolist(), (base - across).tolist()], Ink(fill=ink.stroke), closed=True)

    def text(self, x: float, y: float, text: str, letters: Letters) -> Box:
        """Set one line of text, shortened where it would leave the sheet."""
        room = {"start": self.style.width - x, "end": x, "middle": 2.0 * min(x, self.style.width - x)}[letters.anchor]
        text = shortened(text, letters.size, max(room, 0.0), letters.bold)
        box = letters.box(x, y, text)
        if not text:
            return box
        bold = "bold" if letters.bold else None
        anchor = None if letters.anchor == "start" else letters.anchor
        look: dict[str, str | float | None] = {"fill": letters.colour, "text_anchor": anchor, "font_weight": bold}
        if letters.halo is not None:  # about the letters alone: a box behind them would cut grid and lines
            look |= {"stroke": letters.halo, "stroke_width": 3.0, "stroke_linejoin": "round", "paint_order": "stroke"}
        self.add(node("text", escape(text), x=x, y=y, font_size=letters.size, **look))
        self.texts.append(box)
        return box

    def free(self, box: Box, gap: float = 1.0) -> bool:
        """Say whether a rectangle lies on the sheet and meets no text."""
        return box.within(self.area) and not any(box.meets(other, gap) for other in self.texts)

    def document(self, title: str, alt: str) -> str:
        """Write the whole document."""
        wide, high = self.style.width, self.height
        paper = node("rect", x=0.0, y=0.0, width=wide, height=high, fill=self.style.theme.paper)
        words = (node("title", escape(title)), node("desc", escape(alt)))
        return node(
            "svg", *words, paper, *self._nodes, xmlns="http://www.w3.org/2000/svg", role="img",
            viewBox=f"0 0 {number(wide)} {number(high)}", width=wide, height=high, font_family=FONT,
        )  # fmt: skip


_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # a spreadsheet would reckon with a text that begins so


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure.

    Attributes
    ----------
    title : What it shows, in a few words
    alt : One sentence for who cannot see it, with the numbers that matter
    svg : The drawing, a whole SVG document without scripts, style sheets or outside references
    columns : The numbers behind it by heading, with the unit in the heading; columns may differ in length
    """

    title: str
    alt: str
    svg: str
    columns: dict[str, Sequence[Any]] = field(default_factory=dict)

    def _repr_svg_(self) -> str:
        """What a notebook shows."""
        return self.svg

    def csv(self) -> str:
        """Write the numbers behind the figure."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow([_cell(heading) for heading in self.columns])
        for row in zip_longest(*self.columns.values(), fillvalue=""):
            writer.writerow([_cell(value) for value in row])
        return out.getvalue()


def _cell(value: Any) -> str:
    if isinstance(value, str):
        return "'" + value if value.startswith(_FORMULA) else value
    number = float(value)
    if not math.isfinite(number):
        return ""
    return f"{number:.0f}" if number.is_integer() and abs(number) < 1e9 else f"{float(f'{number:.4g}'):.10g}"
