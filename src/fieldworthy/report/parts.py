"""Pieces that several documents share: findings as rows, inputs with their basis, and what follows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from fieldworthy.decide.remedy import Mending
from fieldworthy.engine.finding import Fact, Finding
from fieldworthy.files import Quantity
from fieldworthy.report.blocks import Cell, Mark, Points, Table
from fieldworthy.report.numbers import chance
from fieldworthy.units import show

Quantities = Mapping[str, Quantity]
"""Quantities of the files by their dotted key."""


def findings_table(findings: Sequence[Finding], most: int) -> list[Table | Points]:
    """Put findings into a table, the worst first."""
    doubtful = [f for f in findings if f.verdict != "holds" or (f.chance or 0.0) < 1.0]
    shown = [f for f in findings if f in doubtful or len(doubtful) + findings.index(f) < most]
    rows: list[list[Cell]] = [[Mark(f.verdict, f.verdict), f.because, chance(f.chance)] for f in shown]
    blocks: list[Table | Points] = [Table(("Verdict", "Result", "Holds in"), rows, (1.05, 6.3, 1.0), (2,))]
    left = len(findings) - len(shown)
    if left:
        blocks.append(Points([f"{left} more hold in every sampled case."]))
    return blocks


def inputs_of(items: Iterable[Finding | Fact], known: Quantities, most: int) -> list[str]:
    """Choose the inputs that matter most to several findings."""
    weight: dict[str, float] = {}
    for item in items:
        for place, key in enumerate(item.inputs):
            if key in known:
                weight[key] = weight.get(key, 0.0) + 1.0 / (1 + place)
    return sorted(weight, key=lambda k: -weight[k])[:most]


def inputs_table(keys: Sequence[str], known: Quantities) -> Table:
    """Put inputs into a table with what they rest on."""
    rows: list[list[Cell]] = []
    for key in keys:
        q = known[key]
        value = show(q.si, q.kind, q.unit)
        step = "temperature step" if q.kind == "temperature" else q.kind
        off = show(q.tolerance, step, "K" if q.kind == "temperature" else q.unit, 2) if q.tolerance else ""
        basis = "assumed" if q.assumed else q.basis if q.tolerance else "stated as exact"
        rows.append([Mark(key, "key"), value, f"± {off}" if off else "", basis])
    return Table(("Input", "Value", "Tolerance", "Rests on"), rows, (4.6, 1.2, 1.2, 1.6), (1, 2), small=True)


def what_follows(findings: Sequence[Finding], mendings: Mapping[tuple[str, str], Mending]) -> list[str]:
    """Say what a team can do about what was found."""
    lines = [_mended(f, mendings.get((f.id, f.subject))) for f in findings if f.fails]
    for finding in (f for f in findings if f.verdict == "unknown"):
        lines.append(f"{finding.id}: give {', '.join(finding.missing)} in the file, then it can be judged.")
    doubtful = [f for f in findings if f.verdict == "close"]
    if doubtful:
        listed = ", ".join(f"{f.id} ({chance(f.chance)})" for f in doubtful)
        keys = dict.fromkeys(f.sharpen for f in doubtful if f.sharpen)
        measure = f" Measure first: {', '.join(keys)}." if keys else ""
        lines.append(f"Not sure enough: {listed}.{measure}")
    return lines or ["Nothing here is short or in doubt: spend the time elsewhere."]


def _mended(finding: Finding, mending: Mending | None) -> str:
    if mending is not None and mending.remedies:
        return f"{finding.id}: {'; or '.join(r.sentence for r in mending.remedies[:2])}."
    if mending is not None:
        return f"{finding.id}: {mending.answer}"
    return f"{finding.id} is short: mend it before the event.{_first(finding)}"


def _first(finding: Finding) -> str:
    return f" Measure first: {finding.sharpen}." if finding.sharpen else ""
