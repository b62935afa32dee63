"""Numbers as documents write them: three digits, a unit, and how far off they may be."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence

from fieldworthy.engine.finding import Fact, Finding, Report
from fieldworthy.units import chance_text, digits, labelled

LONGEST = 60
"""Characters of a name: C tells apart only the first 63 (C11, 5.2.4.1)."""
_ODD = re.compile(r"[^a-z0-9]+")


def slug(text: str) -> str:
    """Write a text with small letters, digits and underscores."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    return _ODD.sub("_", plain.lower()).strip("_")


def unit_words(unit: str) -> str:
    """Write a unit as part of a name."""
    text = unit.replace('"', "in").replace("%", "percent").replace("°", "deg").replace("^0.5", "_root")
    return "" if unit == "1" else slug(text.replace("^", "").replace("/", "_per_"))


def names_of(wanted: Iterable[tuple[Sequence[str], str]]) -> list[str]:
    """Make names of words and a unit, each only once."""
    taken: set[str] = set()
    found = []
    for words, unit in wanted:
        end = unit_words(unit)
        stem = "_".join(s for s in map(slug, words) if s)
        stem = stem if stem[:1].isalpha() else f"n_{stem}".rstrip("_")
        name = _free(stem, f"_{end}" if end else "", taken)
        taken.add(name)
        found.append(name)
    return found


def _free(stem: str, end: str, taken: set[str]) -> str:
    name, number = stem[: LONGEST - len(end)].rstrip("_") + end, 1
    while name in taken:
        number += 1
        tail = f"_{number}{end}"
        name = stem[: LONGEST - len(tail)].rstrip("_") + tail
    return name


def items_of(report: Report) -> list[Finding | Fact]:
    """List findings and facts together."""
    return [*report.findings, *report.facts]


def with_unit(value: float | None, unit: str) -> str:
    """Write a number with its unit."""
    if value is None:
        return "–"
    return labelled(digits(value), unit)


def span(item: Finding | Fact) -> str:
    """Write where 95 % of the cases lie."""
    if item.spread is None or digits(item.spread[0]) == digits(item.spread[1]):
        return ""
    return f"{digits(item.spread[0])} to {digits(item.spread[1])}"


def chance(share: float | None) -> str:
    """Write a chance that never claims certainty it lacks."""
    if share is None:
        return "–"
    return chance_text(share)
