"""Shows numbers in the units that the robot file uses."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Real
from fieldworthy.drawing.style import LIGHT, Style, Theme
from fieldworthy.engine.finding import Message, Outcome
from fieldworthy.files import Quantity
from fieldworthy.files.problems import KeyPath
from fieldworthy.units import KINDS, digits, percent, show, to_unit


def first(value: Real) -> float:
    """Take the nominal case of a batch."""
    array = np.asarray(value)
    return float(array) if array.ndim == 0 else float(array[0])


_INCH = ("in", "inch", '"', "ft")


@dataclass(frozen=True, slots=True)
class DisplayUnits:
    """Which unit each kind of quantity is shown in.

    Attributes
    ----------
    units : Unit by kind
    """

    units: dict[str, str]

    @classmethod
    def of(cls, entries: Iterable[tuple[KeyPath, Quantity]]) -> DisplayUnits:
        """Choose the units that a robot's file uses most."""
        counts: dict[str, Counter[str]] = {}
        for path, quantity in entries:
            if path[0] not in ("catalogue", "season") and not quantity.assumed and quantity.unit != "1":
                counts.setdefault(quantity.kind, Counter())[quantity.unit] += 1
        chosen = {kind: c.most_common(1)[0][0] for kind, c in counts.items() if kind != "ratio"}
        inch = chosen.get("length", "mm") in _INCH
        rest = {name: (kind.inch if inch else kind.metric) for name, kind in KINDS.items()}
        return cls(rest | chosen)

    def style(self, theme: Theme = LIGHT, width: float = 640.0) -> Style:
        """Choose how figures look, in these units."""
        inch = self.units["length"] in _INCH
        return Style(theme, "inch" if inch else "metric", width, tuple(self.units.items()))

    def number(self, si: Real, kind: str, significant: int = 3) -> str:
        """Write the nominal case of a number."""
        value = first(si)
        if kind == "share":
            return percent(value)
        if kind == "count":
            return digits(value, significant)
        return show(value, kind, self.units[kind], significant)

    def plain(self, si: float, kind: str) -> float | None:
        """Convert a number for a table or a file."""
        return to_unit(si, kind, self.units[kind]) if math.isfinite(si) else None

    def sentence(self, outcome: Outcome, *, short: bool = False) -> str:
        """Fill a sentence with the nominal numbers."""
        message: Message = outcome.because
        text = message.short if short and message.short else message.holds
        shown = {name: self.number(*number) for name, number in message.numbers.items()}
        said = text.format_map({**message.words, **shown, **self._told_apart(outcome, shown)})
        return said[:1].upper() + said[1:]

    def _told_apart(self, outcome: Outcome, shown: dict[str, str]) -> dict[str, str]:
        """The value and its limit with more digits, where three of them hide which is the greater."""
        if outcome.limit is None or first(outcome.value) == first(outcome.limit):
            return {}
        numbers, ends = outcome.because.numbers, (first(outcome.value), first(outcome.limit))
        names = [[n for n in shown if n in numbers and first(numbers[n][0]) == end] for end in ends]
        if not all(names):
            return {}
        (one, *_), (two, *_) = names
        for significant in range(3, 7):
            texts = {n: self.number(*numbers[n], significant) for n in (*names[0], *names[1])}
            if texts[one] != texts[two]:
                return texts
        return {}
