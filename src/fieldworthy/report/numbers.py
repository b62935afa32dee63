"""Numbers as documents write them: three digits, a unit, and how far off they may be."""

from __future__ import annotations

from fieldworthy.engine.finding import Fact, Finding, Report
from fieldworthy.units import digits, unit_label


def items_of(report: Report) -> list[Finding | Fact]:
    """List findings and facts together."""
    return [*report.findings, *report.facts]


def with_unit(value: float | None, unit: str) -> str:
    """Write a number with its unit."""
    if value is None:
        return "–"
    label = "" if unit == "1" else unit_label(unit)
    return f"{digits(value)}{'' if label in ('°', '%', '') else ' '}{label}"


def span(item: Finding | Fact) -> str:
    """Write where 95 % of the cases lie."""
    if item.spread is None or digits(item.spread[0]) == digits(item.spread[1]):
        return ""
    return f"{digits(item.spread[0])} to {digits(item.spread[1])}"


def chance(share: float | None) -> str:
    """Write a chance that never claims certainty it lacks."""
    if share is None:
        return "–"
    if share in (0.0, 1.0):
        return "never" if share == 0.0 else "always"
    if not 0.01 <= share <= 0.99:
        return "over 99 %" if share > 0.5 else "under 1 %"
    return f"{100 * share:.0f} %"
