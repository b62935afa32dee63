"""How figures look: colours of paper and screen, units, the width that there is, and how wide texts are."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, TypeVar

import numpy as np
import numpy.typing as npt

from fieldworthy.units import KINDS, affine, digits, labelled, percent, unit_label

Units = Literal["metric", "inch"]
Number = TypeVar("Number", float, npt.NDArray[np.float64])

# the page's own font first; the typesetter of the documents knows no generic family and takes the last one
FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif, 'Libertinus Serif'"


@dataclass(frozen=True, slots=True)
class Theme:
    """Colours of one surface, as ``#rrggbb``.

    Attributes
    ----------
    name : Of the theme
    paper : What everything is drawn on
    ink, quiet : Text, and text of less weight; both at least 4.5 to 1 on the paper
    edge : Outlines that carry meaning; at least 3 to 1 on the paper
    grid : Grid lines, which only guide the eye
    block : Filling of a thing seen from outside
    good, caution, bad : Holds, take care, short; at least 4.5 to 1 on the paper, never without a word or mark
        beside them
    series : Of lines and their labels, told apart by colour-blind readers too; at least 4.5 to 1 on the paper
    """

    name: str
    paper: str
    ink: str
    quiet: str
    edge: str
    grid: str
    block: str
    good: str
    caution: str
    bad: str
    series: tuple[str, ...]


_ON_LIGHT = ("#0a54f7", "#ad463f", "#0f6e6b", "#6c2982", "#6a4b00", "#2f3a46")
_ON_DARK = ("#7c93ff", "#ff955d", "#3dd7b4", "#e6b8ea", "#ebea6f", "#dfe7ec")

PRINT = Theme("print", "#ffffff", "#15191d", "#4d5760", "#5d6871", "#d9dee2", "#e9edf0",
              "#0b705e", "#895e00", "#8f1330", _ON_LIGHT)  # fmt: skip
LIGHT = Theme("light", "#fbfcfa", "#15191d", "#4d5760", "#5d6871", "#dce1e0", "#e7ecea",
              "#0b705e", "#895e00", "#8f1330", _ON_LIGHT)  # fmt: skip
DARK = Theme("dark", "#161b20", "#eef1f3", "#a9b4bd", "#8b97a1", "#303942", "#28313a",
             "#5fcab5", "#f0b74a", "#ff718e", _ON_DARK)  # fmt: skip
THEMES: dict[str, Theme] = {theme.name: theme for theme in (PRINT, LIGHT, DARK)}
"""Every theme by name."""

_READABLE = 4.5  # contrast of small text on its ground, level AA (WCAG 2.2, 1.4.3)


def _light(colour: str) -> float:
    """Relative luminance of ``#rrggbb`` (WCAG 2.2, definition)."""
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def legible(colour: str, paper: str) -> str:
    """Bring a colour just so near to black or white that small text in it can be read on the paper."""
    ground = _light(paper)
    to = 0 if ground > 0.18 else 255
    for share in range(0, 101, 5):
        parts = [round(int(colour[i : i + 2], 16) * (100 - share) / 100 + to * share / 100) for i in (1, 3, 5)]
        found = "#{:02x}{:02x}{:02x}".format(*parts)
        low, high = sorted((_light(found), ground))
        if (high + 0.05) / (low + 0.05) >= _READABLE:
            return found
    return found


DASHES: tuple[str | None, ...] = (None, "7 4", "2 3", "10 3 2 3", "4 2", "1 4")
"""Strokes of successive lines, so that they are told apart without colour."""

_OWN = {"distance": ("length", "m", "in")}  # a way across the field, longer than a part
_PLAIN = {"share": ("%", 100.0), "count": ("", 1.0)}  # kinds of figures that no file has


@dataclass(frozen=True, slots=True)
class Style:
    """How one figure is to look.

    Attributes
    ----------
    theme : Colours
    units : ``metric`` or ``inch``
    width : Of the whole figure [px]; from 340 for a phone to 900
    own : Kinds of quantity with a unit of their own, as the robot's file writes them
    """

    theme: Theme = LIGHT
    units: Units = "metric"
    width: float = 640.0
    own: tuple[tuple[str, str], ...] = ()

    @property
    def narrow(self) -> bool:
        """Whether there is only a phone's width."""
        return self.width < 480.0

    def unit(self, kind: str) -> str:
        """Choose the unit of a kind."""
        return _PLAIN[kind][0] if kind in _PLAIN else unit_label(self._unit(kind))

    def _unit(self, kind: str) -> str:
        for name, unit in self.own:
            if name == kind:
                return unit
        if kind in _OWN:
            return _OWN[kind][2 if self.units == "inch" else 1]
        return KINDS[kind].inch if self.units == "inch" else KINDS[kind].metric

    def value(self, si: Number, kind: str) -> Number:
        """Convert SI numbers to the person's unit."""
        if kind in _PLAIN:
            return si * _PLAIN[kind][1]
        unit = self._unit(kind)
        if unit == "1":
            return si
        map_ = affine(unit, _OWN[kind][0] if kind in _OWN else kind)
        return (si - map_.offset) / map_.scale

    def show(self, si: float, kind: str, significant: int = 3) -> str:
        """Write one SI number in the person's unit."""
        if kind == "share":
            return percent(float(si))
        return labelled(digits(self.value(float(si), kind), significant), self._unit(kind) if kind != "count" else "1")

    def header(self, label: str, kind: str) -> str:
        """Head an axis or a column with its unit."""
        unit = self.unit(kind)
        return f"{label} [{unit}]" if unit else label


# advance widths of DejaVu Sans in thousandths of its size, the widest of the fonts that browsers fall back on
_WIDTHS = {
    **dict.fromkeys("ijlI|!'", 300), **dict.fromkeys(" .,:;/\\", 340), **dict.fromkeys("ft()[]-", 400),
    **dict.fromkeys("rs\"*°", 510), **dict.fromkeys("cvxyzk_", 592), **dict.fromkeys("abdeghnopqu0123456789?$", 640),
    **dict.fromkeys("wCGHNOQTUDABEFKLPRSVXYZJ", 790), **dict.fromkeys("m+<>=~^#&×−±→", 980),
    **dict.fromkeys("WM%@…", 1010),
}  # fmt: skip
_OTHER, _WIDE = 700, 1050
_CAPITALS = {"J": 300, "E": 640, "F": 580, "L": 560, "S": 640, "P": 610, "T": 620, "Z": 690}
_WIDTHS |= _CAPITALS
BOLD = 1.12
"""How much wider a bold text is."""


@lru_cache(maxsize=4096)
def width(text: str, size: float, bold: bool = False) -> float:
    """Estimate how wide a text is set, erring to the wide side."""
    total = sum(_advance(letter) for letter in text)
    return total / 1000.0 * size * (BOLD if bold else 1.0)


def _advance(letter: str) -> int:
    known = _WIDTHS.get(letter)
    if known is not None:
        return known
    if unicodedata.combining(letter) or unicodedata.category(letter) in ("Cf", "Mn"):
        return 0
    return _WIDE if unicodedata.east_asian_width(letter) in ("W", "F") else _OTHER


def shortened(text: str, size: float, most: float, bold: bool = False) -> str:
    """Shorten a text to a width, with an ellipsis where it was cut."""
    if width(text, size, bold) <= most:
        return text
    kept = text
    while kept and width(kept + "…", size, bold) > most:
        kept = kept[:-1]
    return kept.rstrip() + "…" if kept else ""


def wrapped(text: str, size: float, most: float) -> list[str]:
    """Break a text into lines of a width."""
    lines: list[str] = []
    for word in text.split():
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and width(joined, size) <= most:
            lines[-1] = joined
        else:
            lines.append(shortened(word, size, most))
    return lines
