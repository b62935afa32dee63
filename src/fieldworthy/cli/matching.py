"""Prints what matches tell: a forecast, a comparison of variants, which fault to mend first."""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from fieldworthy.api import Robot, compare, load
from fieldworthy.api.forecast import played
from fieldworthy.cli.checking import share
from fieldworthy.cli.output import COLUMNS, plain_console, print_json, print_line, print_lines, progress_bar, wrapped
from fieldworthy.decide.compare import Comparison, size_to_compare
from fieldworthy.decide.faults import FixFirst, fix_first, size_of_faults
from fieldworthy.decide.recommend import Ability, ChangedFinding, Hours, UsedLimit, by_rule
from fieldworthy.decide.sensitivity import Influence, sensitivity
from fieldworthy.decide.work import Blocked, Work, work_data, work_of
from fieldworthy.engine.finding import DisplayUnits, as_data
from fieldworthy.files.document import dotted, nearest
from fieldworthy.files.writing import spare, write_atomically
from fieldworthy.match import ENDINGS, PARTS, Forecast, Part, Timeline
from fieldworthy.match.components import EACH, Size
from fieldworthy.match.early import told_early
from fieldworthy.match.forecast import size_for
from fieldworthy.match.timeline import Event, as_csv, folded
from fieldworthy.measure.practice import load_faults
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.robot.words import phrase
from fieldworthy.units import chance_text, counted, digits, labelled, percent, unit_label

_VAGUE = 0.15  # of an interval, from which it is told how well its ends are known
_PLAYING = "Playing matches (the first time here it compiles for about 15 s)"


@dataclass(frozen=True, slots=True)
class MatchOptions:
    """What is asked of a forecast.

    Attributes
    ----------
    runs, seed : How many matches are played, and what fixes them
    part : Which part of the match
    sensitivity : Whether to find the inputs that move the points most
    accuracy : Standard error of the mean to reach, in place of a number of runs
    seconds : Time in which to reach it
    """

    runs: int
    seed: int
    part: str
    sensitivity: bool = False
    accuracy: float | None = None
    seconds: float | None = None


def run_match(file: Path, options: MatchOptions, *, as_json: bool, table: Path | None) -> bool:
    """Forecast one robot's match and print it."""
    chosen = _part(options.part)
    robot = load(file)
    loaded = robot.loaded
    if table is not None:
        spare(table, loaded.texts)
    size = None
    if options.accuracy is not None:
        size = size_for(loaded, options.accuracy, options.seconds, options.seed, chosen)
    runs, each = (options.runs, EACH) if size is None else (size.draws * size.each, size.each)
    found = _played(robot, (runs, options.seed), chosen, each)
    influences = _influences(loaded, (runs, options), chosen) if options.sensitivity and not found.interrupted else None
    work = None if found.interrupted else work_of(loaded, min(runs, options.runs), options.seed, chosen)
    if table is not None:
        write_atomically(table, as_csv(found.timeline, DisplayUnits.of(loaded.quantities).units))
    if as_json:
        more: dict[str, Any] = (
            {} if influences is None else {"sensitivity": [dataclasses.asdict(i) for i in influences]}
        )
        more |= {} if work is None else {"work": work_data(work)}
        print_json(as_data(found) | more)
    else:
        console = plain_console()
        if size is not None and options.accuracy is not None:
            _print_size(console, size, options.accuracy)
        print_forecast(console, found, loaded)
        if influences is not None:
            _print_influences(console, influences, () if work is None else work.blocked)
        if work is not None:
            print_work(console, work)
    if found.interrupted:
        sys.stderr.write(f"interrupted after {found.runs} of {found.asked} runs\n")
    return not found.interrupted


def _influences(loaded: Loaded, asked: tuple[int, MatchOptions], part: Part) -> tuple[Influence, ...]:
    runs, options = asked
    with progress_bar("Moving each input") as tell:
        return sensitivity(loaded, runs, options.seed, part, tell, options.accuracy, options.seconds)


def _print_influences(console: Console, influences: tuple[Influence, ...], stops: tuple[Blocked, ...]) -> None:
    console.print(Text("\nWhat moves the points of a match most, one at a time", style="bold"))
    for stop in stops:
        print_line(console, "", stop.sentence)
    if not influences:
        console.print("No input moves them within what is believed of it.")
    for i in influences:
        low, high = (f"{end:.1f}" for end in i.interval)
        print_line(
            console,
            f"{i.points:+5.1f}  ",
            f"{i.what}, from {i.low} to {i.high} ({i.basis}): {low} to {high} points, the mean computed to "
            f"± {1.96 * i.error:.1f}; {i.advice}.",
        )


def print_work(console: Console, work: Work) -> None:
    """Print what to do with the hours left."""
    if work.spare is not None:
        print_line(console, "\n", work.spare.sentence)
    left = "" if work.left is None else f" in the {work.left:g} h left"
    _head(console, f"What to do{left}, by points gained an hour")
    for place, one in enumerate(work.jobs, 1):
        print_line(console, f"{place:2}. ", one.sentence)
    for skill in work.skills:
        print_line(console, " -  ", skill.sentence)
    if work.left is None and any(one.hours for one in work.jobs):
        console.print("The file does not say how many hours are left ('hours_left'), so what fits in is not known.")
    print_line(console, "", work.told)


def _part(name: str) -> Part:
    for part in PARTS:
        if part == name:
            return part
    near = nearest(name, PARTS)
    hint = f"; did you mean {near!r}?" if near else ""
    raise typer.BadParameter(f"expected one of {', '.join(PARTS)}{hint}", param_hint="'--part'")


def _played(robot: Robot, asked: tuple[int, int], part: Part, each: int) -> Forecast:
    with progress_bar(_PLAYING, asked[0]) as tell:
        if tell is None:
            return played(robot.loaded, asked, part, None, each).data
        with told_early(robot.loaded.document.file, part, asked[1], lambda said: tell(0, asked[0], said)):
            return played(robot.loaded, asked, part, tell, each).data


def _print_size(console: Console, size: Size, accuracy: float, what: str = "mean") -> None:
    """Say how many matches were chosen, and whether they reach what was asked for."""
    said = (
        f"{counted(size.draws, 'draw')} of what is not known, {counted(size.each, 'match')} each, chosen "
        f"for a standard error of the {what}"
    )
    reached = "" if size.reached <= 1.02 * accuracy else f"; the time suffices for ± {digits(size.reached)}"
    console.print(f"{said} of ± {digits(accuracy)} points{reached}.\n")


def print_forecast(console: Console, found: Forecast, loaded: Loaded) -> None:
    """Print a forecast for a person."""
    part = "" if found.part == "whole" else f", {found.part} only"
    console.print(Text(f"{found.robot} in {found.season}{part}", style="bold"))
    console.print("\nOne match as planned, every try taking its mean time:\n")
    _print_timeline(console, found.timeline, DisplayUnits.of(loaded.quantities))
    print_line(console, "\n", found.timeline.sentence)
    if found.runs:
        _print_spread(console, found, loaded)
    bare = [a.action for a in found.actions if not a.practised and a.action not in found.unbuilt]
    if bare:
        console.print(f"\nWithout practice counts, taken to work every time: {', '.join(bare)}")


def _print_timeline(console: Console, timeline: Timeline, shown: DisplayUnits) -> None:
    """Print one row an action, in 80 columns where it can be done; why something failed stands below its row."""
    tanks = list(timeline.events[0].pressure) if timeline.events else []
    told = folded(timeline.events)
    width = console.width if console.is_terminal else COLUMNS
    for left_out in ((), ("from",), ("from", "place")):
        lines = _rows([row.event for row in told], tanks, shown, left_out)
        if max(map(len, lines)) <= width:
            break
    console.print(lines[0], style="bold")
    for line, row in zip(lines[1:], told, strict=True):
        console.print(line)
        if said := ENDINGS[row.event.reason].event:
            console.print(f"        ↳ {said}", style="yellow")
        if row.more:
            again = "this row" if row.rows == 1 else f"these {row.rows} rows"
            console.print(f"        … and {again} {row.more} times more, until {row.until:.1f} s", style="yellow")
    if not timeline.events:
        return
    last = timeline.events[-1]
    air = "A tank's pressure is that after the action. " if tanks else ""
    left = percent(max(1.0 - last.charge / timeline.capacity, 0.0))
    hot = shown.number(last.hottest, "temperature")
    end = f"At the end the hottest motor ({last.hottest_motor}) has {hot} and the battery {left} left."
    print_lines(console, "", wrapped(air + end, width))


def _rows(events: Sequence[Event], tanks: list[str], shown: DisplayUnits, left_out: Sequence[str]) -> list[str]:
    """The head and the rows of a timeline as text."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    texts = ("action", "place")
    heads = [head for head in ("from", "to", *texts, "points", *tanks) if head not in left_out]
    unit = unit_label(shown.units["pressure"])
    for head in heads:
        table.add_column(
            f"{head} [{unit}]" if head in tanks else head, justify="left" if head in texts else "right", no_wrap=True
        )
    for event in events:
        cells = {"from": f"{event.begins:.1f} s", "to": f"{event.ends:.1f} s", "action": event.action}
        cells |= {"place": event.place, "points": f"{event.points:g}" if event.points else ""}
        cells |= {t: digits(shown.plain(event.pressure[t], "pressure") or 0.0) for t in tanks}
        table.add_row(*(cells[head] for head in heads))
    wide = Console(width=400, highlight=False, markup=False, color_system=None)
    with wide.capture() as caught:
        wide.print(table)
    return [line.rstrip() for line in caught.get().splitlines()]


def _because(found: Forecast, loaded: Loaded) -> str:
    """What the doubt about the mean comes from."""
    if not found.because:
        return ""
    first, *more = found.because
    paths = {dotted(path): path for path, _ in loaded.quantities}

    def words(key: str) -> str:
        """A key in words: practice counts by their action."""
        if key in paths:
            return phrase(loaded.robot, loaded.season, paths[key])
        return f"how often '{key.removeprefix('actions.').removesuffix('.practice')}' works"

    also = "".join(f", {100 * s.share:.0f} % from {words(s.key)}" for s in more)
    return f" Of that doubt {100 * first.share:.0f} % comes from {words(first.key)}{also}."


def _print_spread(console: Console, found: Forecast, loaded: Loaded) -> None:
    each = found.known.each if found.known is not None else EACH
    draws = -(-found.runs // each)
    heading = (
        f"\n{counted(found.runs, 'match')}: {counted(draws, 'robot')} within what is not known, "
        f"{counted(each, 'match')} with each (seed {found.seed})"
    )
    console.print(Text(heading, style="bold"))
    if found.mean is not None:
        early = f", {found.autonomous:.1f} of them in the autonomous period" if found.part == "whole" else ""
        exact = "" if found.known is None else f" (computed to ± {1.96 * found.known.error:.1f})"
        print_line(console, "", f"{found.mean:.1f} points are to be expected{exact}{early}.")
    if found.known is not None:
        low, high = found.known.interval
        ends = found.known.ends_to
        few = f" So few matches know these ends to ± {ends:.0f} only." if ends > _VAGUE * (high - low) else ""
        said = (
            f"The robot's true mean lies between {round(low)} and {round(high)} (95 %); no number of matches computed"
        )
        print_line(console, "", f"{said} narrows that.{few}{_because(found, loaded)}")
        known = found.known
        print_line(
            console,
            "",
            f"Luck alone spreads single matches by {known.within:.1f} ± {1.96 * known.within_error:.1f} points "
            f"(standard "
            f"deviation); what is not known spreads their mean by {known.between:.1f} ± "
            f"{1.96 * known.between_error:.1f}.",
        )
    (part, points), *more = found.quantiles.items()
    listed = "".join(f", {some} at most {most:g}" for some, most in more)
    print_line(console, "", f"Of the matches, {part} end with at most {counted(points, 'point')}{listed}.")
    for one in found.contradictions:
        print_line(console, "? ", one.sentence)
    for loss in found.losses:
        print_line(console, "~ ", loss.sentence)
    if found.unbuilt:
        print_line(
            console,
            "? ",
            f"Not built and never practised, so any chance is taken as likely: {', '.join(found.unbuilt)}.",
        )
    for step in found.finish:
        print_line(console, "", f"The finish, '{step.action}' at '{step.place}', is done in "
                                f"{share(step.chance, ' of the matches')}.")  # fmt: skip
    if found.limits:
        console.print(Text("\nWhat limited the matches, and in how many of them", style="bold"))
    for limit in found.limits:
        print_line(
            console,
            f"{chance_text(limit.share):>9}  ",
            f"{ENDINGS[limit.reason].cause} ({limit.mean:.2f} times a match, most often '{limit.worst}')",
        )


@dataclass(frozen=True, slots=True)
class Playing:
    """How many matches a person wants played.

    Attributes
    ----------
    runs, seed : Number, and what fixes them
    accuracy : Standard error to reach instead, in points; None for the number
    seconds : Time in which to reach it
    """

    runs: int
    seed: int
    accuracy: float | None = None
    seconds: float | None = None


def run_compare(files: Sequence[Path], asked: Playing, *, as_json: bool) -> bool:
    """Compare robots and print what differs."""
    if len(files) < 2:
        raise typer.BadParameter("expected two robot files or more", param_hint="'ROBOTS...'")
    variants, size, runs = [load(file) for file in files], None, asked.runs
    if asked.accuracy is not None:
        size = size_to_compare([v.loaded for v in variants], asked.accuracy, asked.seconds, asked.seed)
        runs = size.draws * size.each
    found = _compared(variants, runs, asked.seed)
    if as_json:
        print_json(as_data(found))
    else:
        console = plain_console()
        if size is not None and asked.accuracy is not None:
            _print_size(console, size, asked.accuracy, "difference")
        print_comparison(console, found)
    done = found.difference[0].runs
    if done < runs:
        sys.stderr.write(f"interrupted after {done} of {runs} runs\n")
    return done >= runs


def _compared(variants: list[Robot], runs: int, seed: int) -> Comparison:
    with progress_bar(_PLAYING, runs) as tell:
        return compare(*variants, runs=runs, seed=seed, progress=tell).data


def _print_recommendation(console: Console, found: Comparison) -> None:
    """The choice, then one thought a line: what it rests on, and what would turn it."""
    choice, *grounds = found.thoughts
    print_line(console, "", choice)
    for ground in grounds:
        print_line(console, "  ", ground)


def print_comparison(console: Console, found: Comparison) -> None:
    """Print a comparison for a person."""
    _head(console, "Recommendation")
    _print_recommendation(console, found)
    for one in (c for c in found.contradictions if c.sentence not in found.recommendation):
        print_line(console, "? ", one.sentence)
    out = {entry.variant for entry in found.entry if entry.breaks}
    for gap, span, chance in zip(found.difference, found.interval, found.chance, strict=True):
        barred = " (if it could be entered)" if gap.variant in out else ""
        console.print(Text(f"\n{gap.variant} against {gap.first}{barred}", style="bold"))
        if chance.equal == 1.0:
            console.print(f"Both score the same in every match, {gap.points:.1f} points on average.")
            continue
        print_line(
            console,
            "",
            f"{gap.difference:+.1f} points a match ({gap.points:.1f} against {gap.first_points:.1f}; computed to ± "
            f"{1.96 * span.error:.1f}); 95 % interval {span.low:+.1f} to {span.high:+.1f} over what is not known.",
        )
        if span.between is not None and span.between_error is not None and span.within_error is not None:
            print_line(
                console,
                "",
                f"What is not known spreads the true difference by {span.between:.1f} ± {1.96 * span.between_error:.1f}"
                f" points; luck spreads that of single matches by {span.within:.1f} ± {1.96 * span.within_error:.1f} "
                "(standard deviations).",
            )
        print_line(
            console,
            "",
            f"The chance that it is truly better is {share(chance.mean, '')}; it scores more in "
            f"{100 * chance.match:.0f} % of the matches, the same in {100 * chance.equal:.0f} %.",
        )
        for gain in (g for g in found.gains if g.variant == gap.variant):
            because = f": {gain.because}" if gain.because else ""
            print_line(console, f"{gain.points:+6.1f}  ", f"{gain.task}{because}")
    for flip in (flip for flip in found.flip if flip.variant not in out):
        print_line(console, "", flip.sentence)
    if found.work is not None:
        print_work(console, found.work)
    _print_tasks(console, found.can_do)
    _print_changes(console, found.findings_changed)
    _print_used(console, found.limits_used)
    _head(console, "Hours of building, remedies not counted")
    for hours in found.hours:
        console.print(_hours(hours))


def _head(console: Console, text: str) -> None:
    console.print(Text(f"\n{text}", style="bold"))


def _print_tasks(console: Console, can_do: Sequence[Ability]) -> None:
    """The tasks that every variant can do in one line, the others one by one."""
    if not can_do:
        return
    _head(console, "Tasks of the season")
    plain = {a.task: True for a in can_do}
    for ability in can_do:
        plain[ability.task] &= ability.can and ability.planned
    if common := [f"'{task}'" for task, all_do in plain.items() if all_do]:
        print_line(console, "", f"Every variant can do these tasks, and its plan does: {', '.join(common)}.")
    for ability in (a for a in can_do if not plain[a.task]):
        print_line(console, "", _ability(ability))


def _print_changes(console: Console, changed: Sequence[ChangedFinding]) -> None:
    """What is short with one variant and not with the other as sentences, the rest by name."""
    if not changed:
        return
    _head(console, "Findings that change")
    told = [c for c in changed if "short" in (c.first, c.then)]
    for c in told:
        print_line(console, "", f"{c.variant}, {_turned(c)}: {c.because}")
    near = [c for c in changed if c not in told and {c.first or "holds", c.then or "holds"} != {"holds"}]
    for variant in dict.fromkeys(c.variant for c in near):
        turned: dict[str, list[str]] = {}
        for c in (c for c in near if c.variant == variant):
            turned.setdefault(_turned(c), []).append(f"'{c.check}'")
        for how, checks in turned.items():
            print_line(console, "", f"{variant}, {how}: {', '.join(dict.fromkeys(checks))}.")
    if rest := len(changed) - len(told) - len(near):
        verbs = ("holds", "does") if rest == 1 else ("hold", "do")
        said = "({} more {} with one variant and {} not apply to the other; --json lists {})"
        print_line(console, "", said.format(rest, *verbs, "it" if rest == 1 else "them"))


def _turned(changed: ChangedFinding) -> str:
    """From which verdict to which."""
    return f"{changed.first or 'does not apply'} → {changed.then or 'does not apply'}"


def _print_used(console: Console, used: Sequence[UsedLimit]) -> None:
    """A limit a row, a variant a column."""
    if not used:
        return
    _head(console, "Used of what is allowed")
    variants = tuple(dict.fromkeys(u.variant for u in used))
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("")
    for head in (*variants, "allowed"):
        table.add_column(Text(head), justify="right")
    for words, same in by_rule(used).items():
        by = {u.variant: u for u in same}
        amounts = ("" if v not in by else "unknown" if (a := by[v].used) is None else digits(a) for v in variants)
        one = same[0]
        allowed = "" if one.allowed is None else labelled(digits(one.allowed), one.unit)
        table.add_row(Text(words), *map(Text, amounts), Text(allowed))
    console.print(table)


def _ability(ability: Ability) -> str:
    if ability.can:
        by = f" ({', '.join(ability.by)})" if ability.by else ""
        return f"{ability.variant} can do '{ability.task}'{by}{'' if ability.planned else ', but its plan does not'}"
    note = "; its plan counts on it all the same" if ability.planned else ""
    return f"{ability.variant} cannot do '{ability.task}': no mechanism can {', '.join(ability.lacks)}{note}"


def _hours(hours: Hours) -> str:
    left = "the file does not say how many are left" if hours.left is None else f"{hours.left:.1f} h left"
    spread = f" ± {hours.tolerance:.1f}" if hours.tolerance else ""
    enough = {"yes": ", enough", "perhaps": ", perhaps enough", "no": ", not enough", None: ""}[hours.enough]
    return f"{hours.variant}: {hours.needed:.1f}{spread} h to do, {left}{enough}."


def run_faults(robot: Path, log: Path, asked: Playing, *, as_json: bool) -> None:
    """Rank the faults of a log and print them."""
    loaded = load_robot(robot)
    faults, size = load_faults(log, loaded), None
    if asked.accuracy is not None:
        size = size_of_faults(loaded, faults, asked.accuracy, asked.seconds, asked.seed)
        found = fix_first(loaded, faults, size.draws * size.each, asked.seed, size.draws)
    else:
        found = fix_first(loaded, faults, asked.runs, asked.seed)
    if as_json:
        print_json(as_data(found))
        return
    console = plain_console()
    if size is not None and asked.accuracy is not None:
        _print_size(console, size, asked.accuracy, "cost of a fault")
    print_fixes(console, found)


def print_fixes(console: Console, found: FixFirst) -> None:
    """Print a ranking for a person."""
    console.print(Text(f"{found.robot}: fix first", style="bold"))
    console.print(
        f"{found.points:.1f} points a match are to be expected with these faults ({counted(found.runs, 'match')}); "
        "'match' does not know of them.\n"
    )
    if not found.fixes:
        console.print("The log holds no fault.")
        return
    for place, fix in enumerate(found.fixes, 1):
        print_line(console, f"{place:2}. ", fix.because)
        risk = fix.risk
        if fix.points is not None and risk.interval is not None and fix.interval is not None:
            low, high = (100 * end for end in risk.interval)
            said = f"Its true rate is {low:.0f} to {high:.0f} % of uses (95 %)"
            if any(fix.interval):
                said += (
                    f"; its cost is {fix.interval[0]:.1f} to {fix.interval[1]:.1f} points (95 %, over what is not "
                    f"known; computed to ± {1.96 * (fix.error or 0.0):.1f})"
                )
            print_line(console, "    ", f"{said}.", "dim")
    print_line(console, "\n", found.note)
