"""Prints what a check found, for a person or as JSON."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.progress import Progress
from rich.text import Text

from fieldworthy.cli.lines import print_line as _line
from fieldworthy.decide.output import as_data as remedy_data
from fieldworthy.decide.remedy import Mending, Remedy, remedies
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.engine.finding import Fact, Finding, Report
from fieldworthy.engine.output import as_data
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.units import digits

_PATIENCE = 1.0  # s without a sign of life
_SIGN = {
    "short": ("✗ short   ", "bold red"),
    "unknown": ("? unknown ", "yellow"),
    "holds": ("✓ holds   ", "green"),
}


def run_check(file: Path, samples: int, seed: int, *, as_json: bool, every: bool, mend: bool = False) -> bool:
    """Check one robot and print what was found."""
    loaded = load_robot(file)
    report = _evaluated(loaded, samples, seed)
    mendings = _mended(loaded, report) if mend else None
    if as_json:
        data = as_data(report) | ({} if mendings is None else {"remedies": remedy_data(mendings)})
        sys.stdout.write(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n")
    else:
        console = Console(highlight=False, markup=False, soft_wrap=True)
        print_report(console, report, every=every, mendings=mendings or ())
    return bool(report.short)


def _mended(loaded: Loaded, report: Report) -> tuple[Mending, ...]:
    """Look for remedies; on a terminal a bar appears once that has taken a second."""
    if not sys.stderr.isatty():
        return remedies(loaded, report)
    began = time.monotonic()
    bar = Progress(console=Console(stderr=True), transient=True)
    task = bar.add_task("Looking for remedies", total=1.0)

    def tell(share: float) -> None:
        """Move the bar on; show it once there is something to wait for."""
        bar.update(task, completed=share)
        if time.monotonic() - began > _PATIENCE:
            bar.start()

    try:
        return remedies(loaded, report, progress=tell)
    finally:
        bar.stop()


def _evaluated(loaded: Loaded, samples: int, seed: int) -> Report:
    if samples <= 10_000 or not sys.stderr.isatty():
        return evaluate(loaded, samples, seed)
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Sampling the tolerances", total=samples)
        return evaluate(loaded, samples, seed, lambda done: bar.update(task, completed=done))


def print_report(console: Console, report: Report, *, every: bool, mendings: Sequence[Mending] = ()) -> None:
    """Print a report for a person."""
    mended = {(m.id, m.subject): m for m in mendings}
    console.print(Text(f"{report.robot} in {report.season}", style="bold"))
    counts = {v: sum(f.verdict == v for f in report.findings) for v in ("short", "unknown", "holds")}
    console.print(f"{counts['short']} short, {counts['unknown']} unknown, {counts['holds']} hold\n")
    for finding in report.findings:
        _print_finding(console, finding, every=every)
        if (finding.id, finding.subject) in mended:
            _print_mending(console, mended[finding.id, finding.subject])
    _print_facts(console, report, every=every)
    _print_assumptions(console, report, every=every)
    console.print(Text("\nCautions", style="bold"))
    for caution in report.cautions:
        _line(console, "! ", caution)


def _print_finding(console: Console, finding: Finding, *, every: bool) -> None:
    sign, style = _SIGN[finding.verdict]
    settled = finding.verdict == "holds" and finding.chance == 1.0
    _line(console, sign, finding.because, head_style=style)
    if settled and not every:
        return
    detail = [finding.id]
    if finding.margin is not None:
        detail.append(f"margin {digits(finding.margin, 2)}")
    if finding.chance is not None:
        detail.append(f"holds in {share(finding.chance)}")
    if finding.missing:
        detail.append("missing: " + ", ".join(finding.missing))
    if finding.sharpen and finding.verdict != "holds":
        detail.append(f"measure first: {finding.sharpen}")
    _line(console, " " * len(sign), " · ".join(detail), "dim")
    if every:
        _print_rest(console, finding)


def _print_mending(console: Console, mending: Mending) -> None:
    head = " " * len(_SIGN["short"][0])
    if not mending.remedies:
        _line(console, f"{head}→ ", mending.answer, head_style="cyan")
    for remedy in mending.remedies:
        _line(console, f"{head}→ ", _told(remedy), head_style="cyan")


def _told(remedy: Remedy) -> str:
    """A remedy in one line, with what it breaks."""
    if not remedy.breaks:
        return f"{remedy.sentence}."
    first, *more = remedy.breaks
    also = f" And {len(more)} more: {', '.join(b.id for b in more)}." if more else ""
    return f"{remedy.sentence}; breaks {first.id}: {first.because}{also}"


def _print_facts(console: Console, report: Report, *, every: bool) -> None:
    if not report.facts:
        return
    console.print(Text(f"\n{len(report.facts)} numbers computed that nothing limits", style="bold"))
    if not every:
        console.print("(--all lists them, and what every finding rests on)")
        return
    for fact in report.facts:
        span = ""
        if fact.spread is not None and digits(fact.spread[0]) != digits(fact.spread[1]):
            span = f" (95 % of cases: {digits(fact.spread[0])} to {digits(fact.spread[1])})"
        _line(console, "= ", fact.because + span)
        _print_rest(console, fact)


def _print_rest(console: Console, item: Finding | Fact) -> None:
    head = " " * len(_SIGN["holds"][0]) if isinstance(item, Finding) else "  "
    if item.inputs:
        more = f" and {len(item.inputs) - 8} more" if len(item.inputs) > 8 else ""
        _line(console, head, "rests on: " + ", ".join(item.inputs[:8]) + more, "dim")
    if item.sources:
        _line(console, head, "sources: " + ", ".join(item.sources), "dim")


def _print_assumptions(console: Console, report: Report, *, every: bool) -> None:
    if not report.assumptions:
        return
    console.print(Text(f"\n{len(report.assumptions)} defaults stand in for what the file does not say", style="bold"))
    if not every:
        console.print("(--all lists them)")
        return
    for item in report.assumptions:
        _line(console, "~ ", f"{item.key}: {item.value} ({item.why})")


def share(chance: float) -> str:
    """Write a chance as a percentage that never claims certainty it lacks."""
    if chance in (0.0, 1.0):
        return "no case" if chance == 0.0 else "all cases"
    if chance > 0.99:
        return "over 99 % of cases"
    return "under 1 % of cases" if chance < 0.01 else f"{100 * chance:.0f} % of cases"
