"""Prints what a check found, for a person or as JSON."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer
from rich.console import Console
from rich.text import Text

from fieldworthy.api import Robot, load
from fieldworthy.cli.output import (
    COLUMNS,
    PATIENCE,
    VERDICT_SIGNS,
    plain_console,
    print_json,
    print_line,
    print_lines,
    progress_bar,
    wrapped,
)
from fieldworthy.engine.finding import VERDICTS, Cause, Fact, Finding, Report, Verdict, as_data
from fieldworthy.engine.system import systems
from fieldworthy.robot import Loaded
from fieldworthy.units import chance_text, counted, digits, labelled

if TYPE_CHECKING:
    from fieldworthy.decide.remedy import FoundRemedies, Remedy
    from fieldworthy.report.formulas import Words


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
        data = as_data(report) | ({} if mendings is None else _as_remedies(mendings))
        print_json(data)
        return bool(report.short)
    console = plain_console()
    if options.every or options.mend or options.only:
        told = narrowed(report, options.only) if options.only else report
        mendings = _mended(loaded, report, told.failing) if options.mend else ()
        print_report(console, told, _words(loaded, report), every=options.every, mendings=mendings)
    else:
        # what a remedy earns is asked with --remedies: matches take as long to play as all the rest
        mendings = _mended(loaded, report, [cause.lead for cause in report.causes], 1, points=False)
        print_causes(console, report, mendings, file)
    return bool(report.short)


_INDENT = "    "
_ALIKE = 0.02  # chances that are no farther apart are one doubt
_PAGE = 40
"""Lines of a screen: what is longer is not read before a match."""


@dataclass(frozen=True, slots=True)
class _Block:
    """Some lines of the first page, and how they begin."""

    head: str
    lines: list[str]
    style: str = ""
    head_style: str = ""


def print_causes(console: Console, report: Report, mendings: Sequence[FoundRemedies], file: Path) -> None:
    """Print what to act on, on one screen: causes with a remedy each, what is close, what is not judged."""
    width = min(console.width, 100) if console.is_terminal else COLUMNS
    mended = {(m.id, m.subject): m for m in mendings}
    causes, counts = report.causes, {v: len(report.of(v)) for v in VERDICTS}
    console.print(Text(f"{report.robot} in {report.season}: {counted(len(report.findings), 'check')}", style="bold"))
    short = f"{counts['short']} short, from {counted(len(causes), 'cause')}" if causes else "none short"
    heading = wrapped(f"{'; '.join([short, ', '.join(_counts(report, counts))])}", width)
    console.print("\n".join(heading) + "\n")
    told = [_cause(n, c, mended.get((c.lead.id, c.lead.subject)), width) for n, c in enumerate(causes, 1)]
    rest = [*_others(report, width), *_ending(report, file, width)]
    room = _PAGE - 2 - len(heading) - sum(len(block.lines) for block in rest)
    shown = 0
    for blocks in told:
        used = sum(len(block.lines) for block in blocks)
        last = shown == len(told) - 1
        if shown and used > room - (not last):  # a line is kept for how many more there are
            break
        room -= used
        shown += 1
        _print_blocks(console, blocks)
    if shown < len(told):
        console.print(f"✗ and {len(told) - shown} more: --all lists them", style="bold red")
        room = 0
    _print_blocks(console, [*_others(report, width, room), *_ending(report, file, width)])


def _counts(report: Report, counts: Mapping[Verdict, int]) -> list[str]:
    """How many checks are close, and of those likelier to fail, how many are not judged where any is, how many hold."""
    failing = sum(_likelier_to_fail(f) for f in report.of("close"))
    likelier = f" ({failing} likelier to fail than to work)" if failing else ""
    unknown = [f"{counts['unknown']} not judged"] if counts["unknown"] else []
    return [f"{counts['close']} close{likelier}", *unknown, f"{counts['holds']} hold"]


def _likelier_to_fail(finding: Finding) -> bool:
    return (finding.chance or 0.0) < 0.5


def _print_blocks(console: Console, blocks: Sequence[_Block]) -> None:
    for block in blocks:
        print_lines(console, block.head, block.lines, block.style, block.head_style)


def quoted(file: Path) -> str:
    """A path as a person types it."""
    text = str(file)
    return f'"{text}"' if " " in text else text


def _word(report: Report) -> str:
    """A first word of ids to ask more about: that of the first cause, or of the worst finding."""
    leads = [cause.lead for cause in report.causes] or list(report.findings)
    return leads[0].id.partition(".")[0] if leads else next(iter(systems()[0].families))


def _cause(number: int, cause: Cause, mending: FoundRemedies | None, width: int) -> list[_Block]:
    """A cause: its sentence, what follows from it, and one remedy."""
    lead, inner = cause.lead, width - len(_INDENT)
    head = f"✗ {number} ".ljust(len(_INDENT))
    behind = [lead.id] if lead.chance is None else [f"{lead.id}, chance {chance_text(lead.chance)}"]
    if cause.twins:
        behind.append(f"the same: {', '.join(t.id for t in cause.twins)}")
    if cause.consequences:
        many = len(cause.consequences)
        behind.append(f"{many} more follow{'s' * (many == 1)}: {', '.join(f.id for f in cause.consequences)}")
    if mending is None or not mending.remedies:
        answer = mending.answer if mending is not None else "No remedy was looked for."
    else:
        answer = _told(mending.remedies[0], brief=True)
    return [
        _Block(head, wrapped(lead.because, inner), "", "bold red"),
        _Block(_INDENT, wrapped("; ".join(behind), inner), "dim"),
        _Block(f"{_INDENT}→ ", wrapped(answer, inner - 2), "", "cyan"),
    ]


def _close(report: Report, width: int, room: int) -> list[_Block]:
    """What is close with its chance: the least likely in a sentence while there is room, the others by their ids."""
    left = _together(sorted(report.of("close"), key=lambda f: f.chance or 0.0))
    blocks: list[_Block] = []
    while left:
        lead, *more = left[0]
        doubt = " but likelier to fail" if _likelier_to_fail(lead) else ""
        said = f"Close{doubt}, {chance_text(lead.chance or 0.0)} that it works. {lead.because} ({lead.id}"
        same = [f.subject for f in more if f.id == lead.id]
        behind = [f.id for f in more if f.id != lead.id]
        said += f"; the same of {', '.join(same)}" if same else ""
        said += f"; with it {', '.join(behind)})" if behind else ")"
        lines = wrapped(said, width - 2)
        if len(lines) > room:
            break
        room -= len(lines)
        blocks.append(_Block("≈ ", lines, "", "yellow"))
        left = left[1:]
    if left:
        listed = dict.fromkeys(f"{f.id} {chance_text(f.chance or 0.0)}" for group in left for f in group)
        text = f"Close, with the chance that it works: {', '.join(listed)}."
        blocks.append(_Block("≈ ", wrapped(text, width - 2), "", "yellow"))
    return blocks


def _together(found: Sequence[Finding]) -> list[list[Finding]]:
    """Findings with those that say the same of another thing, or that follow from them and are as likely."""
    groups: list[list[Finding]] = []
    for one in sorted(found, key=lambda f: any(other.id in f.follows for other in found)):
        behind = (g for g in groups if one.id == g[0].id or g[0].id in one.follows)
        alike = (g for g in behind if abs((g[0].chance or 0.0) - (one.chance or 0.0)) <= _ALIKE)
        group = next(alike, None)
        if group is None:
            groups.append([one])
        else:
            group.append(one)
    return sorted(groups, key=lambda g: g[0].chance or 0.0)


def _others(report: Report, width: int, room: int = 0) -> list[_Block]:
    """What is close, what is not judged with what is missing, and the defaults in use."""
    blocks = _close(report, width, room)
    hindered: dict[str, list[str]] = {}
    for one in report.of("unknown"):
        if not one.missing:
            hindered.setdefault(one.because, []).append(one.id)
    for because, waits in hindered.items():
        text = f"Not judged: {', '.join(dict.fromkeys(waits))}. {because}"
        blocks.append(_Block("? ", wrapped(text, width - 2), "", "cyan"))
    unknown = [f for f in report.of("unknown") if f.missing]
    if unknown:
        wanting = list(dict.fromkeys(_wanting(key) for f in unknown for key in f.missing))
        more = f" and {len(wanting) - 6} more" if len(wanting) > 6 else ""
        ids = list(dict.fromkeys(f.id for f in unknown))
        rest = f" and {len(ids) - 6} more" if len(ids) > 6 else ""
        text = f"Not judged: {', '.join(ids[:6])}{rest}, for the file does not say {', '.join(wanting[:6])}{more}."
        blocks.append(_Block("? ", wrapped(text, width - 2), "", "cyan"))
    if report.assumptions:
        many = len(report.assumptions)
        text = f"{many} default{'s' * (many != 1)} stand{'s' * (many == 1)} in for what the file does not say."
        blocks.append(_Block("~ ", wrapped(f"{text} --all lists them.", width - 2)))
    return blocks


def _wanting(key: str) -> str:
    """What is missing: of a mechanism called plain how it works, else the key."""
    kind = re.fullmatch(r"mechanisms\.(.+)\.kind", key)
    return f"how '{kind[1]}' works (kind: plain)" if kind else key


def _ending(report: Report, file: Path, width: int) -> list[_Block]:
    """What to ask next, and one caution."""
    name = quoted(file)
    asked = f"Next: fieldworthy check {name} --only {_word(report)}, or --all, or --remedies;"
    more = f" --all lists {counted(len(report.cautions) - 1, 'more caution')}." if len(report.cautions) > 1 else ""
    return [
        _Block("> ", wrapped(asked, width - 2)),
        _Block("  ", wrapped(f"fieldworthy match {name}", width - 2)),
        _Block("! ", wrapped(report.cautions[0] + more, width - 2)),
    ]


def _mended(
    loaded: Loaded, report: Report, wanted: Sequence[Finding] | None = None, most: int = 4, *, points: bool = True
) -> tuple[FoundRemedies, ...]:
    from fieldworthy.decide.remedy import remedies  # noqa: PLC0415  --all asks for none

    with progress_bar("Looking for remedies", 1.0, PATIENCE) as tell:
        return remedies(loaded, report, most, tell, wanted, points=points)


def _as_remedies(mendings: Sequence[FoundRemedies]) -> dict[str, Any]:
    from fieldworthy.decide.remedy import remedies_data  # noqa: PLC0415

    return {"remedies": remedies_data(mendings)}


def _checked(robot: Robot, samples: int, seed: int) -> Report:
    if samples <= 10_000:
        return robot.check(samples, seed).data
    with progress_bar("Sampling the tolerances", samples) as tell:
        return robot.check(samples, seed, tell).data


def _words(loaded: Loaded, report: Report) -> Words:
    from fieldworthy.report.formulas import Words  # noqa: PLC0415  the plain check needs none

    return Words(loaded, report)


def print_report(
    console: Console, report: Report, words: Words, *, every: bool, mendings: Sequence[FoundRemedies] = ()
) -> None:
    """Print a report for a person."""
    mended = {(m.id, m.subject): m for m in mendings}
    console.print(Text(f"{report.robot} in {report.season}", style="bold"))
    counts = {v: len(report.of(v)) for v in VERDICTS}
    told = f"{counts['short']} short, {counts['close']} close, {counts['unknown']} not judged, {counts['holds']} hold"
    console.print(f"{told}\n")
    for finding in report.findings:
        _print_finding(console, finding, words, every=every)
        if (finding.id, finding.subject) in mended:
            _print_mending(console, mended[finding.id, finding.subject])
    _print_facts(console, report, words, every=every)
    _print_assumptions(console, report, words, every=every)
    console.print(Text("\nCautions", style="bold"))
    for caution in report.cautions:
        print_line(console, "! ", caution)


def _print_finding(console: Console, finding: Finding, words: Words, *, every: bool) -> None:
    sign, style = VERDICT_SIGNS[finding.verdict]
    print_line(console, sign, finding.because, head_style=style)
    detail = [finding.id]
    if finding.margin is not None:
        detail.append(f"margin {digits(finding.margin, 2)}")
    if finding.chance is not None:
        detail.append(f"chance {chance_text(finding.chance)}")
    if finding.missing:
        detail.append("missing: " + ", ".join(finding.missing))
    if finding.sharpen and finding.verdict == "close":
        detail.append(f"measure first: {words.key(finding.sharpen)}")
    if finding.verdict == "short" and finding.chance == 0.0:
        detail.append("no measurement turns it: something has to change (--remedies)")
    print_line(console, " " * len(sign), " · ".join(detail), "dim")
    if every:
        _print_rest(console, finding, words)


def _print_mending(console: Console, mending: FoundRemedies) -> None:
    head = " " * len(VERDICT_SIGNS["short"][0])
    if not mending.remedies:
        print_line(console, f"{head}→ ", mending.answer, head_style="cyan")
    for remedy in mending.remedies:
        print_line(console, f"{head}→ ", _told(remedy), head_style="cyan")


def _told(remedy: Remedy, *, brief: bool = False) -> str:
    """A remedy in one line, with what it breaks."""
    key = "" if brief else f"; in the file: {', '.join(edit.key for edit in remedy.edits)}"
    what = f"{remedy.sentence} ({remedy.cost}{key})"
    if not remedy.breaks:
        return f"{what}."
    if brief:
        return f"{what}; it breaks {', '.join(dict.fromkeys(b.id for b in remedy.breaks))}."
    first, *more = remedy.breaks
    also = f" And {len(more)} more: {', '.join(b.id for b in more)}." if more else ""
    return f"{what}; it breaks {first.id}: {first.because}{also}"


def _print_facts(console: Console, report: Report, words: Words, *, every: bool) -> None:
    if not report.facts:
        return
    console.print(Text(f"\n{counted(len(report.facts), 'number')} computed that nothing limits", style="bold"))
    if not every:
        console.print("(--all lists them, and what every finding rests on)")
        return
    for fact in report.facts:
        span = ""
        if fact.spread is not None and digits(fact.spread[0]) != digits(fact.spread[1]):
            low, high = digits(fact.spread[0]), labelled(digits(fact.spread[1]), fact.unit)
            span = f" (95 % of cases: {low} to {high})"
        print_line(console, "= ", fact.because + span)
        _print_rest(console, fact, words)


def _print_rest(console: Console, item: Finding | Fact, words: Words) -> None:
    head = " " * len(VERDICT_SIGNS["holds"][0]) if isinstance(item, Finding) else "  "
    if item.inputs:
        more = f" and {len(item.inputs) - 8} more" if len(item.inputs) > 8 else ""
        print_line(console, head, "rests on: " + "; ".join(words.key(key) for key in item.inputs[:8]) + more, "dim")
    if item.sources:
        print_line(console, head, "sources: " + ", ".join(item.sources), "dim")


def _print_assumptions(console: Console, report: Report, words: Words, *, every: bool) -> None:
    if not report.assumptions:
        return
    console.print(
        Text(
            f"\n{counted(len(report.assumptions), 'default stands', 'defaults stand')} in for what the file "
            f"does not say",
            style="bold",
        )
    )
    if not every:
        console.print("(--all lists them)")
        return
    for item in report.assumptions:
        name = words.key(item.key)
        print_line(console, "~ ", f"{name[0].upper()}{name[1:]}: {item.value} ({item.why}); in the file: {item.key}")


def share(chance: float, of: str = " of robots") -> str:
    """Write a chance over the tolerances as a percentage that never claims certainty it lacks."""
    return chance_text(chance) + of


def narrowed(report: Report, only: str) -> Report:
    """Keep what is about one thing: the beginning of an id, or the name of a mechanism, pose or part."""
    word = only.casefold()

    def about(item: Finding | Fact) -> bool:
        """Whether an id begins with the word or names the thing."""
        identifier = item.id.casefold()
        return identifier.startswith(word) or word in identifier.split(".") or word in item.subject.casefold()

    findings, facts = (tuple(i for i in items if about(i)) for items in (report.findings, report.facts))
    if not findings and not facts:
        families = ", ".join(dict.fromkeys(f.id.partition(".")[0] for f in report.findings))
        expected = f"expected the beginning of an id, such as {families}, or the name of a mechanism"
        raise typer.BadParameter(expected, param_hint="'--only'")
    return dataclasses.replace(report, findings=findings, facts=facts)  # type: ignore[arg-type]
