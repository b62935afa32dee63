"""Prints what was measured, writes it into the robot file and plots it; prints the sheets to measure by."""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from rich.console import Console
from rich.text import Text

from fieldworthy.api import Fit, Robot, fit, load
from fieldworthy.cli.checking import share
from fieldworthy.cli.output import PATIENCE, VERDICT_SIGNS, plain_console, print_json, print_line, progress_bar
from fieldworthy.drawing import Figure
from fieldworthy.engine.finding import DisplayUnits, as_data
from fieldworthy.files import BadInput, Problem
from fieldworthy.files.document import KeyPath, nearest
from fieldworthy.files.writing import write_atomically
from fieldworthy.measure import Measured
from fieldworthy.measure.figure import plots
from fieldworthy.measure.fit import FitReport, Touched, changes, matters
from fieldworthy.measure.prediction import Combined, combined, unit_of
from fieldworthy.measure.result import Comparison, Fitted, Procedure, with_interval
from fieldworthy.measure.sheets import as_html, as_text, sheet, sheets
from fieldworthy.robot import Loaded
from fieldworthy.robot.editing import edited, fingerprint, written
from fieldworthy.units import counted, digits, labelled

_STANDING_SIGNS = {
    "agrees": ("✓ agrees  ", "green"),
    "sharper": ("✓ sharper ", "green"),
    "unlikely": ("✗ unlikely", "bold red"),
    "unstated": ("+ new     ", "cyan"),
    "differs": ("+ newer   ", "cyan"),
}
_INDENT = "  "
_TINY = 1e-6  # of a value that no unit shows: to move below it is to stay at nothing
_MANY = 3  # numbers that cannot be told, from which one line tells of all


@dataclass(frozen=True, slots=True)
class FitOptions:
    """What the person asked for.

    Attributes
    ----------
    as_json, every, write : Print JSON; show facts too; write the measured values into the robot file
    samples, seed : How the chances are sampled
    plots : Folder for residual plots
    alone : Leave out what the robot file believes
    """

    as_json: bool = False
    every: bool = False
    write: bool = False
    samples: int = 1000
    seed: int = 0
    plots: Path | None = None
    alone: bool = False


def run_fit(robot: Path, file: Path, options: FitOptions) -> None:
    """Fit a measurements file and print what it says."""
    prints = {path: fingerprint(path) for path in (robot,)} if options.write else {}
    found = _fitted(load(robot), file, options)
    measured, report = found.measured, found.data
    # written before anything is printed: a reader that leaves early (| head) must not keep the values from the file
    done = _written(measured, report, prints) if options.write and not report.refused else ""
    _tell(measured, report, options)
    if options.plots is not None:
        sys.stderr.write(f"{len(write_plots(options.plots, measured.robot, report))} plots in {options.plots}\n")
    if options.write and report.refused:
        raise BadInput([Problem(measured.document.file, 1, 1, (), f"nothing was written: {report.refused[0]}")])
    sys.stderr.write(done)


def _tell(measured: Measured, report: FitReport, options: FitOptions) -> None:
    """Print what was fitted."""
    if options.as_json:
        print_json(as_data(report))
        return
    print_fit(plain_console(), measured, report, every=options.every)
    if report.comparisons and not options.write:
        name = measured.robot.document.file.name
        sys.stdout.write(f"\nNothing was written; --write puts these values into {name}.\n")


def _fitted(robot: Robot, file: Path, options: FitOptions) -> Fit:
    with progress_bar("Fitting what was measured", 1.0, PATIENCE) as tell:
        return fit(robot, file, options.samples, options.seed, tell, readings_alone=options.alone)


def _written(measured: Measured, report: FitReport, prints: dict[Path, str]) -> str:
    """Write the measured values, the old file kept under its date; gives the sentence that says so."""
    today = date.today()
    texts = edited(measured.robot, changes(measured, report.procedures, today))
    copies = written(texts, copy_dated=today, expect=prints)
    names = ", ".join(path.name for path in texts) or "nothing: the robot file says all this already"
    kept = f"; the old text is kept as {', '.join(path.name for path in copies)}" if copies else ""
    return f"written: {names}{kept}\n"


def print_fit(console: Console, measured: Measured, report: FitReport, *, every: bool) -> None:
    """Print a fit for a person."""
    console.print(Text(f"{report.robot}, measured", style="bold"))
    units = {item.key: unit_of(measured, item) for item in combined(report.procedures)}
    _print_predictions(console, report, every=every)
    for procedure in report.procedures:
        _print_procedure(console, measured, procedure, units, every=every)
    if not report.procedures:
        console.print("The measurements file holds no readings yet.")
    _print_comparisons(console, report.comparisons, every=every)
    _print_touched(console, report, every=every)
    console.print(Text("\nCautions", style="bold"))
    for caution in report.cautions:
        print_line(console, "! ", caution)


def _print_predictions(console: Console, report: FitReport, *, every: bool) -> None:
    """Readings beside what the file predicts of them, before anything is fitted: what disagrees first."""
    found = [one for procedure in report.procedures for one in procedure.predictions]
    if not found:
        return
    odd = [one for one in found if not one.agrees]
    console.print(Text("\nReadings against the robot file, before anything is fitted", style="bold"))
    for one in sorted(odd, key=lambda one: -abs(one.deviations)):
        print_line(console, "✗ ", one.sentence, head_style="bold red")
    agree = [one for one in found if one.agrees]
    for one in agree if every else ():
        print_line(console, "✓ ", one.sentence, head_style="green")
    if agree and not every:
        groups = "1 group of readings agrees" if len(agree) == 1 else f"{len(agree)} groups of readings agree"
        console.print(f"({groups} with what the file predicts; --all lists them)")


def _print_procedure(
    console: Console, measured: Measured, procedure: Procedure, units: dict[KeyPath, str], *, every: bool
) -> None:
    day = f", {procedure.date}" if procedure.date else ""
    console.print(Text(f"\n{procedure.title}{day}", style="bold"))
    for item in procedure.fitted:
        unit = units.get(item.key) or _unit(measured, item)
        print_line(console, "= ", f"{item.name}: {with_interval(item.value, item.half_width, item.kind, unit)}")
    for both in procedure.combinations:
        print_line(console, "≈ ", f"{both.sentence}.", head_style="yellow")
        print_line(console, "  → ", f"to tell them apart: {both.reading}", head_style="cyan")
    _print_unidentified(console, procedure, every=every)
    for note in procedure.notes:
        print_line(console, _INDENT, note)
    if every and procedure.sources:
        print_line(console, _INDENT, "sources: " + ", ".join(procedure.sources), "dim")


def _print_unidentified(console: Console, procedure: Procedure, *, every: bool) -> None:
    """What cannot be told: one by one, or in one line where the readings are few."""
    named = {name for both in procedure.combinations for name in both.members}
    blind = [one for one in procedure.unidentified if every or one.name not in named]
    if every or (len(blind) < _MANY and not named):
        for one in blind:
            print_line(console, "? ", f"{one.name}: cannot be told; {one.why}", head_style="yellow")
            print_line(console, "  → ", f"{one.reading}", head_style="cyan")
        return
    if named:
        if blind:
            numbers = "1 other number" if len(blind) == 1 else f"{len(blind)} other numbers"
            console.print(f"  ({numbers} of the file cannot be told and stay as they are; --all lists them)")
        return
    names = f"{', '.join(one.name for one in blind[:-1])} and {blind[-1].name}"
    print_line(console, "? ", f"These readings alone do not tell {names}: the file's values stay.", head_style="yellow")
    print_line(
        console, "  → ", f"the next reading to take: {blind[0].reading} (--all lists one for each)", head_style="cyan"
    )


def _unit(measured: Measured, item: Fitted) -> str:
    return unit_of(measured, Combined(item.key, (item,), ("",), item.value, item.half_width, False))


def _print_comparisons(console: Console, comparisons: Sequence[Comparison], *, every: bool) -> None:
    if not comparisons:
        return
    console.print(Text("\nAgainst the robot file", style="bold"))
    shown = [item for item in comparisons if every or item.standing != "agrees"]
    for item in shown:
        sign, style = _STANDING_SIGNS[item.standing]
        print_line(console, f"{sign} ", item.sentence, head_style=style)
        print_line(console, " " * (len(sign) + 1), item.key, "dim")
    if len(comparisons) > len(shown):
        console.print(
            f"({len(comparisons) - len(shown)} values of the file agree with what was measured; --all lists them)"
        )


def _print_touched(console: Console, report: FitReport, *, every: bool) -> None:
    for why in report.refused:
        print_line(console, "\n✗ ", f"The measured values cannot be laid into the robot file: {why}", head_style="red")
    findings = [t for t in report.touched if t.verdict_after or t.verdict_before]
    facts = [t for t in report.touched if not (t.verdict_after or t.verdict_before)]
    if not report.touched:
        if report.comparisons and not report.refused:
            console.print("\nNo check changes with the measured values.")
        return
    shown = findings if every else [t for t in findings if matters(t)]
    console.print(Text("\nChecks again, with the measured values", style="bold"))
    for item in shown:
        _print_finding(console, item)
    if len(findings) > len(shown):
        console.print(
            f"({counted(len(findings) - len(shown), 'finding changes', 'findings change')} by less than a "
            f"hundredth; --all lists them)"
        )
    if facts and not every:
        console.print(
            f"({counted(len(facts), 'number')} that nothing limits change{'s' * (len(facts) == 1)} too; "
            f"--all lists them)"
        )
    for item in facts if every else ():
        print_line(console, "= ", f"{item.because} (by the file: {_value(item.before, item.unit)})")


def _print_finding(console: Console, item: Touched) -> None:
    turned = item.verdict_before != item.verdict_after
    verdicts = f"{item.verdict_before} → {item.verdict_after}" if turned else item.verdict_after
    sign, style = VERDICT_SIGNS.get(item.verdict_after, VERDICT_SIGNS["unknown"])
    print_line(console, f"{sign[0]} {verdicts}: ", item.because, head_style=style)
    before, after = (_value(value, item.unit) for value in (item.before, item.after))
    tiny = max(abs(item.before or 0.0), abs(item.after or 0.0)) < _TINY
    moved = item.id if before == after or tiny else f"{item.id} · {before} → {after}"
    if item.chance_before is not None and item.chance_after is not None:
        moved += f" · chance {share(item.chance_before, '')} → {share(item.chance_after, '')}"
    print_line(console, _INDENT, moved, "dim")


def _value(value: float | None, unit: str) -> str:
    if value is None:
        return "unknown"
    return labelled(digits(value), unit)


def write_plots(folder: Path, loaded: Loaded, report: FitReport) -> tuple[Path, ...]:
    """Write the plots of a fit, named by what they show."""
    style = DisplayUnits.of(loaded.quantities).style()
    figures: dict[str, Figure] = {}
    for name, figure in plots(report.procedures, style).items():
        figures[_free(re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_") or "readings", figures)] = figure
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        expected = f"expected a folder to write plots into ({error.strerror or error})"
        raise BadInput([Problem(folder, 1, 1, (), expected)]) from error
    for name, figure in figures.items():
        write_atomically(folder / f"{name}.svg", figure.svg)
    return tuple(folder / f"{name}.svg" for name in figures)


def _free(stem: str, taken: dict[str, Figure]) -> str:
    """A name that no other plot bears."""
    names = [stem, *(f"{stem}_{i}" for i in range(2, len(taken) + 3))]
    return next(name for name in names if name not in taken)


_FORMS = (".html", ".htm", ".md", ".txt")


def run_sheet(name: str | None, out: Path | None) -> None:
    """Print a sheet, write it to a file, or list them all."""
    if name is None:
        for known in sheets().values():
            sys.stdout.write(f"{known.name:10} {known.title}: {known.gives}\n")
        return
    one = sheet(name)
    if out is None:
        sys.stdout.write(as_text(one, markdown=False))
        return
    ending = out.suffix.lower()
    if ending not in _FORMS:
        expected = f"expected a file that ends with {', '.join(_FORMS)}"
        raise BadInput([Problem(out, 1, 1, (), expected, nearest(ending, _FORMS))])
    write_atomically(out, as_html(one) if ending.startswith(".htm") else as_text(one, markdown=ending == ".md"))
    sys.stdout.write(f"wrote {out}\n")
