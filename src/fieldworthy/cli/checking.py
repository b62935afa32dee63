"""Prints what a check found, for a person or as JSON."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from rich.console import Console
from rich.progress import Progress
from rich.text import Text

from fieldworthy.checks import evaluate
from fieldworthy.checks.finding import Fact, Finding, Report
from fieldworthy.checks.output import as_data
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.units import digits

_SIGN = {
    "short": ("✗ short  ", "bold red"),
    "unknown": ("? unknown", "yellow"),
    "holds": ("✓ holds  ", "green"),
}


def run_check(file: Path, samples: int, seed: int, *, as_json: bool, every: bool) -> bool:
    """Check one robot and print what was found.

    Parameters
    ----------
    file : Path
        The robot file [-].
    samples, seed : int
        How the chances are sampled [-].
    as_json : bool
        Print JSON [-].
    every : bool
        Print inputs, sources, facts and assumptions too [-].

    Returns
    -------
    bool
        Whether something is short [-].
    """
    loaded = load_robot(file)
    report = _evaluated(loaded, samples, seed)
    if as_json:
        sys.stdout.write(json.dumps(as_data(report), indent=2, ensure_ascii=False, allow_nan=False) + "\n")
    else:
        print_report(Console(highlight=False, soft_wrap=False), report, every=every)
    return bool(report.short)


def _evaluated(loaded: Loaded, samples: int, seed: int) -> Report:
    if samples <= 10_000 or not sys.stderr.isatty():
        return evaluate(loaded, samples, seed)
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Sampling the tolerances", total=samples)
        return evaluate(loaded, samples, seed, lambda done: bar.update(task, completed=done))


def print_report(console: Console, report: Report, *, every: bool) -> None:
    """Print a report for a person.

    Parameters
    ----------
    console : Console
        Where to [-].
    report : Report
        What was found [-].
    every : bool
        Inputs, sources, facts and assumptions too [-].
    """
    console.print(Text(f"{report.robot} in {report.season}", style="bold"))
    counts = {v: sum(f.verdict == v for f in report.findings) for v in ("short", "unknown", "holds")}
    console.print(f"{counts['short']} short, {counts['unknown']} unknown, {counts['holds']} hold\n")
    for finding in report.findings:
        _print_finding(console, finding, every=every)
    if report.facts:
        console.print(Text("\nComputed, not judged", style="bold"))
        for fact in report.facts:
            _print_fact(console, fact, every=every)
    _print_assumptions(console, report, every=every)
    console.print(Text("\nCautions", style="bold"))
    for caution in report.cautions:
        console.print(f"! {caution}")


def _print_finding(console: Console, finding: Finding, *, every: bool) -> None:
    sign, style = _SIGN[finding.verdict]
    console.print(Text.assemble((sign, style), " ", finding.because))
    detail = [finding.id]
    if finding.margin is not None:
        detail.append(f"margin {digits(finding.margin, 2)}")
    if finding.chance is not None:
        detail.append(f"holds in {share(finding.chance)} of cases")
    if finding.missing:
        detail.append("missing: " + ", ".join(finding.missing))
    if finding.sharpen and finding.verdict != "holds":
        detail.append(f"measure first: {finding.sharpen}")
    console.print(Text("           " + " · ".join(detail), style="dim"))
    if every:
        _print_rest(console, finding)


def _print_fact(console: Console, fact: Fact, *, every: bool) -> None:
    span = ""
    if fact.spread is not None and fact.spread[0] != fact.spread[1]:
        span = f" (95 % of cases: {digits(fact.spread[0])} to {digits(fact.spread[1])})"
    console.print(f"= {fact.because}{span}")
    if every:
        _print_rest(console, fact)


def _print_rest(console: Console, item: Finding | Fact) -> None:
    if item.inputs:
        more = f" and {len(item.inputs) - 8} more" if len(item.inputs) > 8 else ""
        console.print(Text("           rests on: " + ", ".join(item.inputs[:8]) + more, style="dim"))
    if item.sources:
        console.print(Text("           sources: " + ", ".join(item.sources), style="dim"))


def _print_assumptions(console: Console, report: Report, *, every: bool) -> None:
    if not report.assumptions:
        return
    console.print(Text(f"\n{len(report.assumptions)} defaults stand in for what the file does not say", style="bold"))
    if not every:
        console.print("(--all lists them)")
        return
    for item in report.assumptions:
        console.print(f"~ {item.key}: {item.value} ({item.why})")


def share(chance: float) -> str:
    """Write a chance as a percentage that never claims certainty it lacks.

    Parameters
    ----------
    chance : float
        From 0 to 1 [-].

    Returns
    -------
    str
        For example ``97 %`` or ``over 99 %`` [-].
    """
    if chance in (0.0, 1.0):
        return "none" if chance == 0.0 else "all"
    if chance > 0.99:
        return "over 99 %"
    return "under 1 %" if chance < 0.01 else f"{100 * chance:.0f} %"
