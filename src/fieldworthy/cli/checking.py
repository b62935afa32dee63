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
from fieldworthy.engine.finding import VERDICTS, Cause, Fact, Finding, Report, Verdict, as_data, check_named, name_of
from fieldworthy.engine.system import systems
from fieldworthy.robot import Loaded
from fieldworthy.units import chance_text, counted, digits, labelled

if TYPE_CHECKING:
    from fieldworthy.decide.remedy import Breakage, FoundRemedies, LookedFor, Remedy
    from fieldworthy.decide.together import Together
    from fieldworthy.match.toll import Toll
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
        looked = _looked_for(loaded, report) if options.mend else None
        print_json(as_data(report) | ({} if looked is None else _as_remedies(report, looked)))
        return bool(report.short)
    console = plain_console()
    if options.every or options.mend or options.only:
        told = narrowed(report, options.only) if options.only else report
        looked = _looked_for(loaded, report, told.failing) if options.mend else None
        if looked is not None and not options.only:
            print_together(console, report, looked)
        mendings = () if looked is None else looked.found
        print_report(console, told, _words(loaded, report), every=options.every, mendings=mendings)
    else:
        # what a remedy earns is asked with --remedies: matches take as long to play as all the rest
        looked = _looked_for(loaded, report, [cause.lead for cause in report.causes], 1, points=False)
        print_causes(console, report, looked)
    return bool(report.short)


_INDENT = "    "
_SOME = 0.01  # chance from which it is told of what is short
_POINT = 0.5  # points a match from which they are told
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


def print_causes(console: Console, report: Report, looked: LookedFor) -> None:
    """Print what to act on, on one screen: causes with a remedy each, what is close, what is not judged."""
    width = min(console.width, 100) if console.is_terminal else COLUMNS
    causes, counts = report.causes, {v: len(report.of(v)) for v in VERDICTS}
    console.print(Text(f"{report.robot} in {report.season}: {counted(len(report.findings), 'check')}", style="bold"))
    short = f"{counts['short']} short, from {counted(len(causes), 'cause')}" if causes else "none short"
    heading = wrapped(f"{short}; {', '.join(_counts(report, counts))}", width)
    robot, mendings = looked.evaluator.loaded, looked.found
    tolls = _tolls(robot, report)
    if summary := " ".join([*_points(tolls), *_work(report, looked, tolls)]):
        heading += wrapped(summary, width)
    console.print("\n".join(heading) + "\n")
    told = [_cause(n, c, (tolls[n - 1], _answer(c, mendings)), width) for n, c in enumerate(causes, 1)]
    file = robot.document.file
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


def _tolls(robot: Loaded, report: Report) -> list[Toll]:
    """What each cause costs in a match."""
    if not report.causes:
        return []
    from fieldworthy.match.toll import toll_of  # noqa: PLC0415  a robot with nothing short needs no match

    return [toll_of(robot, cause, report.findings) for cause in report.causes]


def _points(tolls: Sequence[Toll]) -> list[str]:
    """What the forecast takes off for each cause, the dearest first."""
    from fieldworthy.decide.together import causes_named  # noqa: PLC0415  as above

    worth = {i: one.points for i, one in enumerate(tolls, 1)}
    dear = sorted((i for i in worth if worth[i] >= _POINT), key=lambda i: -worth[i])
    open_ = [i for i in worth if i not in dear and tolls[i - 1].sentences]
    silent = [i for i in worth if i not in dear and i not in open_]
    told = [f"up to {counted(f'{worth[i]:.0f}', 'point')} a match for cause {i}" for i in dear]
    told += [f"none for {causes_named(open_)} as things stand"] if open_ else []
    told += [f"none for {causes_named(silent)}, whose harm it does not play"] if silent else []
    if not told:
        return []
    *begin, end = told if dear else [told[0].replace("none", "no points", 1), *told[1:]]
    return [f"The forecast takes off {', '.join(begin)}{' and ' if begin else ''}{end}."]


def _work(report: Report, looked: LookedFor, tolls: Sequence[Toll]) -> list[str]:
    """The hours of all remedies against those that are left, which of them fit, and what these do together."""
    each = {r.edits: max(r.hours, 0.5) for c in report.causes if (r := _first_remedy(c, looked.found)) is not None}
    if not each:
        return []
    from fieldworthy.decide.together import causes_named, hours_for, together  # noqa: PLC0415  as above

    needed, time = sum(each.values()), hours_for(looked)
    begin = "The remedy takes" if len(each) == 1 else "All remedies take"
    said = f"{begin} about {digits(needed, 2)} h"
    if time.left is None:
        said = f"{said}; the file does not say how many hours are left."
    else:
        built = f" and the building {digits(time.needed, 2)} h" if time.needed else ""
        only = "" if needed + time.needed <= time.left else "only "
        said = f"{said}{built}; {only}{digits(time.left, 2)} h are left."
    found = together(looked, report, [toll.points for toll in tolls], thorough=False)
    if found is None:
        return [said]
    out = [i for i, why in found.out if why != "none"]
    if out:
        fit = causes_named(sorted(one.cause for one in found.made))
        that = "That" if len(found.made) == 1 else "Those"
        said += f" {that} of {fit} fit{'s' * (len(found.made) == 1)} ({digits(found.hours, 2)} h)."
    return [said, found.effect] if len(found.made) > 1 or found.unmended else [said]


def _first_remedy(cause: Cause, mendings: Sequence[FoundRemedies]) -> Remedy | None:
    """The remedy that is told of a cause."""
    found = (m.remedies for m in mendings if (m.id, m.subject) == (cause.lead.id, cause.lead.subject))
    return next((remedies[0] for remedies in found if remedies), None)


def _answer(cause: Cause, mendings: Sequence[FoundRemedies]) -> str:
    """That remedy in words, or why there is none."""
    remedy = _first_remedy(cause, mendings)
    if remedy is not None:
        return _told(remedy, brief=True)
    lead = cause.lead
    return next(
        (m.answer for m in mendings if (m.id, m.subject) == (lead.id, lead.subject)), "No remedy was looked for."
    )


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


def _cause(number: int, cause: Cause, found: tuple[Toll, str], width: int) -> list[_Block]:
    """A cause: its sentence, what follows from it and what that costs, and one remedy."""
    lead, inner = cause.lead, width - len(_INDENT)
    toll, answer = found
    behind = []
    if cause.twins:
        behind.append(f"The same goes for {', '.join(t.subject for t in cause.twins)}.")
    if many := len(cause.consequences):
        behind.append(f"Because of it {counted(many, 'more check')} {'is' if many == 1 else 'are'} short.")
    if (lead.chance or 0.0) >= _SOME:
        behind.append(f"The chance that it works is {chance_text(lead.chance or 0.0)}.")
    behind += toll.sentences
    told = " ".join([lead.because, *behind])
    return [
        _Block(f"✗ {number} ".ljust(len(_INDENT)), wrapped(told, inner), "", "bold red"),
        _Block(f"{_INDENT}→ ", wrapped(answer, inner - 2), "", "cyan"),
    ]


def _close(report: Report, width: int, room: int) -> list[_Block]:
    """What is close with its chance: the least likely in sentences while there is room, the others by name."""
    groups = _together(sorted(report.of("close"), key=lambda f: f.chance or 0.0))
    listed = _listed(groups, width, alone=True)
    room += sum(len(block.lines) for block in listed)
    for told in range(len(groups), 0, -1):
        sentences = [_Block("≈ ", wrapped(_doubt(group), width - 2), "", "yellow") for group in groups[:told]]
        blocks = [*sentences, *_listed(groups[told:], width, alone=False)]
        if sum(len(block.lines) for block in blocks) <= room:
            return blocks
    return listed


def _doubt(group: Sequence[Finding]) -> str:
    """What is close, in a sentence, with those that are as likely."""
    lead, *more = group
    doubt = " but likelier to fail" if _likelier_to_fail(lead) else ""
    said = f"Close{doubt}, {chance_text(lead.chance or 0.0)} that it works: {lead.because}"
    return f"{said} As likely: {', '.join(map(_titled, more))}." if more else said


def _listed(groups: Sequence[Sequence[Finding]], width: int, *, alone: bool) -> list[_Block]:
    """What is close by name."""
    if not groups:
        return []
    named = dict.fromkeys(f"{_titled(f)} {chance_text(f.chance or 0.0)}" for group in groups for f in group)
    head = "Close, with the chance that each works" if alone else "Close too, chance to work"
    return [_Block("≈ ", wrapped(f"{head}: {', '.join(named)}.", width - 2), "", "yellow")]


def _titled(finding: Finding) -> str:
    """What a finding is about, within a sentence."""
    name = name_of(finding)
    return f"'{name[:1].lower()}{name[1:]}'"


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
            hindered.setdefault(one.because, []).append(_titled(one))
    for because, waits in hindered.items():
        text = f"Not judged: {', '.join(dict.fromkeys(waits))}. {because}"
        blocks.append(_Block("? ", wrapped(text, width - 2), "", "cyan"))
    unknown = [f for f in report.of("unknown") if f.missing]
    if unknown:
        wanting = list(dict.fromkeys(_wanting(key) for f in unknown for key in f.missing))
        more = f" and {len(wanting) - 6} more" if len(wanting) > 6 else ""
        names = list(dict.fromkeys(map(_titled, unknown)))
        rest = f" and {len(names) - 6} more" if len(names) > 6 else ""
        text = f"Not judged: {', '.join(names[:6])}{rest}. The file does not say {', '.join(wanting[:6])}{more}."
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
    asked = f"Next: add --only {_word(report)}, --all or --remedies to see more; or play: fieldworthy match {name}"
    more = f" --all lists {counted(len(report.cautions) - 1, 'more caution')}." if len(report.cautions) > 1 else ""
    return [
        _Block("> ", wrapped(asked, width - 2)),
        _Block("! ", wrapped(report.cautions[0] + more, width - 2)),
    ]


def _looked_for(
    loaded: Loaded, report: Report, wanted: Sequence[Finding] | None = None, most: int = 4, *, points: bool = True
) -> LookedFor:
    from fieldworthy.decide.remedy import looked_for  # noqa: PLC0415  --all asks for none

    with progress_bar("Looking for remedies", 1.0, PATIENCE) as tell:
        return looked_for(loaded, report, most, tell, wanted, points=points)


def _made_at_once(report: Report, looked: LookedFor) -> Together | None:
    """What the remedies do that fit into the hours, tried with what does better where they do not go together."""
    from fieldworthy.decide.together import together  # noqa: PLC0415  as above

    tolls = _tolls(looked.evaluator.loaded, report)
    return together(looked, report, [toll.points for toll in tolls])


def _as_remedies(report: Report, looked: LookedFor) -> dict[str, Any]:
    from fieldworthy.decide.together import all_remedies_data  # noqa: PLC0415  as above

    return {"remedies": all_remedies_data(looked.found, _made_at_once(report, looked))}


def print_together(console: Console, report: Report, looked: LookedFor) -> None:
    """Print what the remedies do that fit into the hours, made at once."""
    found = _made_at_once(report, looked)
    if found is None:
        return
    console.print(Text("What to mend in the hours left, all at once", style="bold"))
    for line in found.sentences(report.causes):
        print_line(console, *line)
    console.print()


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
        _print_finding(console, finding, words, every=every, mended=bool(mended))
        if (finding.id, finding.subject) in mended:
            _print_mending(console, mended[finding.id, finding.subject])
    _print_facts(console, report, words, every=every)
    _print_assumptions(console, report, words, every=every)
    console.print(Text("\nCautions", style="bold"))
    for caution in report.cautions:
        print_line(console, "! ", caution)


def _print_finding(console: Console, finding: Finding, words: Words, *, every: bool, mended: bool) -> None:
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
        detail.append("no measurement turns it: something has to change" + ("" if mended else " (--remedies)"))
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
        return f"{what}. But it breaks {', '.join(dict.fromkeys(_broken(b) for b in remedy.breaks))}."
    first, *more = remedy.breaks
    also = f" It also breaks {', '.join(dict.fromkeys(_broken(b) for b in more))}." if more else ""
    return f"{what}. But it breaks {_broken(first)}: {first.because}{also}"


def _broken(breakage: Breakage) -> str:
    return check_named(breakage.id, breakage.subject)


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
