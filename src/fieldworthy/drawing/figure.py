"""A finished figure: its drawing, what it shows in words, and the numbers behind it."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import zip_longest
from typing import Any

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
    return f"{number:.6g}" if math.isfinite(number) else ""
