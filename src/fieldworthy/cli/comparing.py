"""Prints a comparison of variants, for a person or as JSON."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path

import typer
from rich.console import Console
from rich.progress import Progress
from rich.text import Text

from fieldworthy.api import Robot, compare, load
from fieldworthy.cli.checking import share
from fieldworthy.cli.lines import print_line as _line
from fieldworthy.decide.compare import Comparison
from fieldworthy.decide.features import Ability, Hours
from fieldworthy.decide.flip import Flip
from fieldworthy.engine.output import as_data
from fieldworthy.units import digits


def run_compare(files: Sequence[Path], runs: int, seed: int, *, as_json: bool) -> bool:
    """Compare robots and print what differs."""
    if len(files) < 2:
        raise typer.BadParameter("expected two robot files or more", param_hint="'ROBOTS...'")
    found = _compared([load(file) for file in files], runs, seed)
    if as_json:
        sys.stdout.write(json.dumps(as_data(found), indent=2, ensure_ascii=False, allow_nan=False) + "\n")
    else:
        print_comparison(Console(highlight=False, markup=False, soft_wrap=True), found)
    done = found.difference[0].runs
    if done < runs:
        sys.stderr.write(f"interrupted after {done} of {runs} runs\n")
    return done >= runs


def _compared(variants: list[Robot], runs: int, seed: int) -> Comparison:
    if not sys.stderr.isatty():
        return compare(*variants, runs=runs, seed=seed).data
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Playing matches (the first time here it compiles for half a minute)", total=runs)
        found = compare(*variants, runs=runs, seed=seed, progress=lambda done: bar.update(task, completed=done))
        return found.data


def print_comparison(console: Console, found: Comparison) -> None:
    """Print a comparison for a person."""
    _head(console, "Recommendation")
    _line(console, "", found.recommendation)
    for one in found.contradictions:
        _line(console, "? ", one.sentence)
    for gap, span, chance in zip(found.difference, found.interval, found.chance, strict=True):
        console.print(Text(f"\n{gap.variant} against {gap.first}", style="bold"))
        console.print(
            f"{gap.difference:+.1f} points a match ({gap.points:.1f} against {gap.first_points:.1f}); 95 % interval "
            f"{span.low:+.1f} to {span.high:+.1f} over what is not known"
        )
        console.print(
            f"Chance that it is truly better: {share(chance.mean, '')}; it scores more in "
            f"{100 * chance.match:.0f} % of the matches, the same in {100 * chance.equal:.0f} %"
        )
        for gain in (g for g in found.gains if g.variant == gap.variant):
            because = f": {gain.because}" if gain.because else ""
            console.print(f"{gain.points:+6.1f}  {gain.task}{because}")
    for flip in found.flip:
        console.print(_flip(flip))
    _head(console, "Tasks of the season")
    for ability in found.can_do:
        console.print(_ability(ability))
    if found.findings_changed:
        _head(console, "Findings that change")
    for c in found.findings_changed:
        console.print(f"{c.variant}: {c.id}, {c.first or 'absent'} → {c.then or 'absent'}. {c.because}")
    if found.limits_used:
        _head(console, "Used of what is allowed")
    for used in found.limits_used:
        amount = "unknown" if used.used is None else digits(used.used)
        allowed = "" if used.allowed is None else f" of {digits(used.allowed)} {'' if used.unit == '1' else used.unit}"
        console.print(f"{used.variant}: {used.id.removeprefix('limits.')} ({used.subject}) {amount}{allowed}".rstrip())
    _head(console, "Hours of work")
    for hours in found.hours:
        console.print(_hours(hours))


def _head(console: Console, text: str) -> None:
    console.print(Text(f"\n{text}", style="bold"))


def _flip(flip: Flip) -> str:
    if flip.action is None:
        return f"{flip.variant} does every action of its plan as the first does; no success chance tells them apart."
    if flip.chance is None:
        return f"Whatever the success chance of '{flip.action}' with {flip.variant}, the answer stays the same."
    known = "" if flip.practised is None else f"; practice says {100 * flip.practised:.0f} %"
    return (
        f"The answer turns where '{flip.action}' with {flip.variant} succeeds in {100 * flip.chance:.1f} % of the "
        f"tries{known}."
    )


def _ability(ability: Ability) -> str:
    if ability.can:
        by = f" ({', '.join(ability.by)})" if ability.by else ""
        return f"{ability.variant}: can {ability.task}{by}{'' if ability.planned else ', not in its plan'}"
    note = "; its plan counts on it all the same" if ability.planned else ""
    return f"{ability.variant}: cannot {ability.task}: no mechanism can {', '.join(ability.lacks)}{note}"


def _hours(hours: Hours) -> str:
    left = "the file does not say how many are left" if hours.left is None else f"{hours.left:.1f} h left"
    spread = f" ± {hours.tolerance:.1f}" if hours.tolerance else ""
    enough = {"yes": ", enough", "perhaps": ", perhaps enough", "no": ", not enough", None: ""}[hours.enough]
    return f"{hours.variant}: {hours.needed:.1f}{spread} h to do, {left}{enough}"
