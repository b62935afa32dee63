"""Prints what a check found, for a person or as JSON."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import typer
from rich.console import Console
from rich.text import Text

from fieldworthy.api import Robot, load
from fieldworthy.cli.output import PATIENCE, VERDICT_SIGNS, plain_console, print_json, print_line, progress_bar
from fieldworthy.decide.remedy import FoundRemedies, Remedy, remedies, remedies_data
from fieldworthy.engine.finding import VERDICTS, Cause, Fact, Finding, Report
from fieldworthy.engine.output import as_data
from fieldworthy.robot import Loaded
from fieldworthy.units import chance_text, digits


@dataclass(frozen=True, slots=True)
class CheckOptions:
    """What of a check a person wants to see."""

    samples: int = 1000
    seed: int = 0
    every: bool = False
    mend: bool = False
    only: str = ""


def run_check(file: Path, options: CheckOptions, *, as_json: bool) -> bool:
    """Check one robot and print what was found."""
    robot = load(file)
    loaded, report = robot.loaded, _checked(robot, options.samples, options.seed)
    if as_json:
        mendings = _mended(loaded, report) if options.mend else None
        data = as_data(report) | ({} if mendings is None else {"remedies": remedies_data(mendings)})
        print_json(data)
        return bool(report.short)
    console = plain_console()
    if options.every or options.mend or options.only:
        told = narrowed(report, options.only) if options.only else report
        print_report(console, told, every=options.every, mendings=_mended(loaded, told) if options.mend else ())
    else:
        print_causes(console, report, _mended(loaded, _leads(report)), file)
    return bool(report.short)


def _leads(report: Report) -> Report:
    """The report with the leads of its causes alone: what a remedy is wanted for."""
    return dataclasses.replace(report, findings=tuple(cause.lead for cause in report.causes))


_INDENT = "    "


def print_causes(console: Console, report: Report, mendings: Sequence[FoundRemedies], file: Path) -> None:
    """Print what to act on, on one screen: causes with a remedy each, what is close, what is not judged."""
    mended = {(m.id, m.subject): m for m in mendings}
    causes, counts = report.causes, {v: len(report.of(v)) for v in VERDICTS}
    console.print(Text(f"{report.robot} in {report.season}: {len(report.findings)} checks", style="bold"))
    short = f"{counts['short']} short, from {len(causes)} cause{'s' * (len(causes) != 1)}" if causes else "none short"
    console.print(f"{short}; {counts['close']} close, {counts['unknown']} not judged, {counts['holds']} hold\n")
    for number, cause in enumerate(causes, 1):
        _print_cause(console, number, cause, mended.get((cause.lead.id, cause.lead.subject)))
    _print_others(console, report)
    if report.assumptions:
        console.print(f"~ {len(report.assumptions)} defaults stand in for what the file does not say.")
    name = quoted(file)
    asked = f"fieldworthy check {name} --only {_word(report)} | --all | --remedies"
    print_line(console, "> ", f"Next: {asked}; fieldworthy match {name}")
    more = f" --all lists {len(report.cautions) - 1} more cautions." if len(report.cautions) > 1 else ""
    print_line(console, "! ", report.cautions[0] + more)


def quoted(file: Path) -> str:
    """A path as a person types it."""
    text = str(file)
    return f'"{text}"' if " " in text else text


def _word(report: Report) -> str:
    """A first word of ids to ask more about: that of the first cause, or of the worst finding."""
    leads = [cause.lead for cause in report.causes] or list(report.findings)
    return leads[0].id.partition(".")[0] if leads else "drive"


def _print_cause(console: Console, number: int, cause: Cause, mending: FoundRemedies | None) -> None:
    lead = cause.lead
    print_line(console, f"✗ {number} ", lead.because, head_style="bold red")
    detail = [lead.id]
    if cause.twins:
        detail.append(f"the same of {', '.join(t.id for t in cause.twins)}")
    if lead.chance is not None:
        detail.append(f"holds in {share(lead.chance)}")
    if cause.consequences:
        detail.append("with it: " + ", ".join(f.id for f in cause.consequences))
    print_line(console, _INDENT, " · ".join(detail), "dim")
    if mending is None or not mending.remedies:
        print_line(console, f"{_INDENT}→ ", mending.answer if mending is not None else "No remedy was looked for.")
    else:
        print_line(console, f"{_INDENT}→ ", _told(mending.remedies[0], brief=True), head_style="cyan")


def _print_others(console: Console, report: Report) -> None:
    """What is close with its chance, and what is not judged with what is missing."""
    close = [f"{f.id} ({share(f.chance or 0.0, '')})" for f in report.of("close")]
    if close:
        print_line(
            console, "≈ ", f"Close, the tolerances decide: {', '.join(dict.fromkeys(close))}.", head_style="yellow"
        )
    unknown = report.of("unknown")
    if unknown:
        wanting = list(dict.fromkeys(key for f in unknown for key in f.missing))
        more = f" and {len(wanting) - 6} more" if len(wanting) > 6 else ""
        ids = ", ".join(dict.fromkeys(f.id for f in unknown))
        text = f"Not judged: {ids}; the file does not say {', '.join(wanting[:6])}{more}."
        print_line(console, "? ", text, head_style="cyan")


def _mended(loaded: Loaded, report: Report) -> tuple[FoundRemedies, ...]:
    with progress_bar("Looking for remedies", 1.0, PATIENCE) as tell:
        return remedies(loaded, report, progress=tell)


def _checked(robot: Robot, samples: int, seed: int) -> Report:
    if samples <= 10_000:
        return robot.check(samples, seed).data
    with progress_bar("Sampling the tolerances", samples) as tell:
        return robot.check(samples, seed, tell).data


def print_report(console: Console, report: Report, *, every: bool, mendings: Sequence[FoundRemedies] = ()) -> None:
    """Print a report for a person."""
    mended = {(m.id, m.subject): m for m in mendings}
    console.print(Text(f"{report.robot} in {report.season}", style="bold"))
    counts = {v: len(report.of(v)) for v in VERDICTS}
    told = f"{counts['short']} short, {counts['close']} close, {counts['unknown']} unknown, {counts['holds']} hold"
    console.print(f"{told}\n")
    for finding in report.findings:
        _print_finding(console, finding, every=every)
        if (finding.id, finding.subject) in mended:
            _print_mending(console, mended[finding.id, finding.subject])
    _print_facts(console, report, every=every)
    _print_assumptions(console, report, every=every)
    console.print(Text("\nCautions", style="bold"))
    for caution in report.cautions:
        print_line(console, "! ", caution)


def _print_finding(console: Console, finding: Finding, *, every: bool) -> None:
    sign, style = VERDICT_SIGNS[finding.verdict]
    print_line(console, sign, finding.because, head_style=style)
    detail = [finding.id]
    if finding.margin is not None:
        detail.append(f"margin {digits(finding.margin, 2)}")
    if finding.chance is not None:
        detail.append(f"holds in {share(finding.chance)}")
    if finding.missing:
        detail.append("missing: " + ", ".join(finding.missing))
    if finding.sharpen and finding.verdict == "close":
        detail.append(f"measure first: {finding.sharpen}")
    print_line(console, " " * len(sign), " · ".join(detail), "dim")
    if every:
        _print_rest(console, finding)


def _print_mending(console: Console, mending: FoundRemedies) -> None:
    head = " " * len(VERDICT_SIGNS["short"][0])
    if not mending.remedies:
        print_line(console, f"{head}→ ", mending.answer, head_style="cyan")
    for remedy in mending.remedies:
        print_line(console, f"{head}→ ", _told(remedy), head_style="cyan")


def _told(remedy: Remedy, *, brief: bool = False) -> str:
    """A remedy in one line, with what it breaks."""
    if not remedy.breaks:
        return f"{remedy.sentence}."
    if brief:
        return f"{remedy.sentence}; it breaks {', '.join(dict.fromkeys(b.id for b in remedy.breaks))}."
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
        print_line(console, "= ", fact.because + span)
        _print_rest(console, fact)


def _print_rest(console: Console, item: Finding | Fact) -> None:
    head = " " * len(VERDICT_SIGNS["holds"][0]) if isinstance(item, Finding) else "  "
    if item.inputs:
        more = f" and {len(item.inputs) - 8} more" if len(item.inputs) > 8 else ""
        print_line(console, head, "rests on: " + ", ".join(item.inputs[:8]) + more, "dim")
    if item.sources:
        print_line(console, head, "sources: " + ", ".join(item.sources), "dim")


def _print_assumptions(console: Console, report: Report, *, every: bool) -> None:
    if not report.assumptions:
        return
    console.print(Text(f"\n{len(report.assumptions)} defaults stand in for what the file does not say", style="bold"))
    if not every:
        console.print("(--all lists them)")
        return
    for item in report.assumptions:
        print_line(console, "~ ", f"{item.key}: {item.value} ({item.why})")


def share(chance: float, of: str = " of robots") -> str:
    """Write a chance over the tolerances as a percentage that never claims certainty it lacks."""
    return chance_text(chance) + of


def narrowed(report: Report, only: str) -> Report:
    """Keep what is about one thing: the begin of an id, or the name of a mechanism, pose or part."""
    word = only.casefold()

    def about(item: Finding | Fact) -> bool:
        """Whether an id begins with the word or names the thing."""
        identifier = item.id.casefold()
        return identifier.startswith(word) or word in identifier.split(".") or word in item.subject.casefold()

    findings, facts = (tuple(i for i in items if about(i)) for items in (report.findings, report.facts))
    if not findings and not facts:
        families = ", ".join(dict.fromkeys(f.id.partition(".")[0] for f in report.findings))
        expected = f"expected the begin of an id, such as {families}, or the name of a mechanism"
        raise typer.BadParameter(expected, param_hint="'--only'")
    return dataclasses.replace(report, findings=findings, facts=facts)  # type: ignore[arg-type]
