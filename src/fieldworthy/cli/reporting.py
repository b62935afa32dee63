"""Writes documents: the inspection sheet, the pit card and the notebook."""

from __future__ import annotations

import datetime
import re
import sys
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path

import typer
from rich.console import Console
from rich.text import Text

from fieldworthy.checks import evaluate
from fieldworthy.checks.finding import Report
from fieldworthy.checks.showing import Shown
from fieldworthy.checks.subject import Subject
from fieldworthy.decide.compare import compare
from fieldworthy.decide.fixfirst import fix_first
from fieldworthy.decide.matrix import CRITERIA, EVEN, matrix
from fieldworthy.decide.remedy import remedies
from fieldworthy.match import scores, summed, tallied, timeline, whistles
from fieldworthy.measure.faultlog import load_faults, risks
from fieldworthy.report import card as cards
from fieldworthy.report.blocks import Paper, Section, Size
from fieldworthy.report.changelog import changelog
from fieldworthy.report.choice import Decision, choice
from fieldworthy.report.figures import style_of
from fieldworthy.report.inspection import Inspection, as_paper, inspection
from fieldworthy.report.notebook import Content, Played, notebook
from fieldworthy.report.page import as_html
from fieldworthy.report.typeset import as_pdf
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.schema.problems import nearest
from fieldworthy.schema.writing import write_atomically

_SAMPLES = 1000
_FAULT_RUNS = 500  # matches for each fault: enough to rank them
_SIGN = {"short": ("✗ short   ", "bold red"), "unknown": ("? unknown ", "yellow"), "holds": ("✓ holds   ", "green")}


def run_inspect(file: Path, out: Path | None, date: str) -> bool:
    """Hold the season's limits against a robot.

    Parameters
    ----------
    file : Path
        The robot file [-].
    out : Path or None
        PDF or HTML to write; printed where None [-].
    date : str
        Year, month and day; empty for none [-].

    Returns
    -------
    bool
        Whether a limit is not kept [-].

    Raises
    ------
    typer.BadParameter
        When the date or the ending of `out` is not known.
    BadInput
        When the robot file is wrong, or the file cannot be written.
    """
    refuse(out, date)
    loaded = load_robot(file)
    sheet = inspection(evaluate(loaded, _SAMPLES), loaded.nominal, loaded.nominal_season)
    if out is None:
        _print_sheet(Console(highlight=False, markup=False, soft_wrap=True), sheet)
    else:
        write(as_paper(sheet, date, size_of(loaded)), out)
    return any(item.verdict == "short" for item in sheet.items)


def _print_sheet(console: Console, sheet: Inspection) -> None:
    console.print(Text(f"Inspection: {sheet.robot} in {sheet.season}", style="bold"))
    for item in sheet.items:
        sign, style = _SIGN[item.verdict]
        subject = f", {item.subject}" if item.subject else ""
        spread = f" ({item.span})" if item.span else ""
        numbers = f"{item.found}{spread} of {item.allowed}; holds: {item.chance}; measured: ________"
        console.print(Text.assemble((sign, style), f"{item.rule}{subject}: {numbers}"))
    if sheet.unlimited:
        console.print(f"The season file sets no limit for: {', '.join(sheet.unlimited)}.")
    console.print(Text("\nTo be looked at and measured by hand", style="bold"))
    for line in sheet.by_hand:
        console.print(f"[ ] {line}")
    console.print(Text("\nCautions", style="bold"))
    for line in sheet.cautions:
        console.print(f"! {line}")


def run_card(file: Path, out: Path, date: str, log: Path | None = None) -> None:
    """Write the pit card of a robot.

    Parameters
    ----------
    file : Path
        The robot file [-].
    out : Path
        PDF or HTML to write [-].
    date : str
        Year, month and day; empty for none [-].
    log : Path or None
        The fault log, whose faults are checked first [-].

    Raises
    ------
    typer.BadParameter
        When the date or the ending of `out` is not known.
    BadInput
        When the robot file is wrong, or the file cannot be written.
    """
    refuse(out, date)
    loaded = load_robot(file)
    faults = () if log is None else _faults(loaded, log)
    asked = cards.Asked(date, faults, size_of(loaded))
    paper = cards.card(loaded, evaluate(loaded, _SAMPLES), asked)
    write(paper if is_page(out) else cards.fitted(paper), out)


def _faults(loaded: Loaded, log: Path) -> tuple[str, ...]:
    """What failed before and is not mended: the fault that costs most points first, where a plan tells."""
    read = load_faults(log, loaded)
    if loaded.nominal.plan is None:
        return tuple(cards.fault(risk) for risk in risks(read) if risk.times)
    ranked = fix_first(loaded, read, _FAULT_RUNS).fixes
    return tuple(cards.fault(fix.risk, fix.points) for fix in ranked if fix.risk.times)


@dataclass(frozen=True, slots=True)
class Options:
    """What a notebook shall hold.

    Attributes
    ----------
    date, job : str
        What the person put on the cover; empty for none.
    runs, seed : int
        Matches of the forecast, and what fixes all draws.
    mend : bool
        Whether to look for remedies.
    since : Path or None
        An older revision of the robot file.
    against : tuple of Path
        Variants to compare it with.
    weights : str
        How the team weighs the criteria of the comparison.
    """

    date: str = ""
    job: str = ""
    runs: int = 2000
    seed: int = 0
    mend: bool = False
    since: Path | None = None
    against: tuple[Path, ...] = ()
    weights: str = ""


def run_report(file: Path, out: Path, options: Options) -> None:
    """Write the notebook of a robot.

    Parameters
    ----------
    file : Path
        The robot file [-].
    out : Path
        PDF or HTML to write [-].
    options : Options
        What it shall hold [-].

    Raises
    ------
    typer.BadParameter
        When an option is wrong.
    BadInput
        When a robot file is wrong, or the file cannot be written.
    """
    refuse(out, options.date)
    weights_of(options.weights)
    loaded = load_robot(file)
    with busy("Checking the robot, playing its matches, drawing"):
        report = evaluate(loaded, _SAMPLES, options.seed)
        mendings = remedies(loaded, report) if options.mend else ()
        played = _played(loaded, options) if loaded.nominal.plan is not None else None
        more = [*_since(loaded, report, options), *_decided(loaded, options)]
        content = Content(loaded, report, options.job, options.date, played, mendings, more, size_of(loaded))
        paper = notebook(content)
    write(paper, out)


def busy(words: str) -> AbstractContextManager[object]:
    """Show that work goes on, on a terminal alone.

    Parameters
    ----------
    words : str
        What is being done [-].

    Returns
    -------
    context manager
        Around the work [-].
    """
    return Console(stderr=True).status(words) if sys.stderr.isatty() else nullcontext()


def _played(loaded: Loaded, options: Options) -> Played:
    base = Subject(loaded.nominal, loaded.nominal_season)
    tally = tallied(loaded, options.runs, options.seed)
    found = summed(loaded, tally, timeline(base), (options.runs, options.seed))
    return Played(found, scores(tally, found), whistles(base))


def _since(loaded: Loaded, report: Report, options: Options) -> list[Section]:
    if options.since is None:
        return []
    older = load_robot(options.since)
    return [changelog((older, evaluate(older, _SAMPLES, options.seed)), (loaded, report))]


def _decided(loaded: Loaded, options: Options) -> list[Section]:
    if not options.against:
        return []
    variants = tuple(load_robot(file) for file in options.against)
    if len(variants) == 1:
        variants = (loaded, *variants)
    reports = tuple(evaluate(v, _SAMPLES, options.seed) for v in variants)
    found = compare(variants, options.runs, options.seed)
    decision = Decision(variants, reports, found, matrix(found, reports, weights_of(options.weights)))
    return choice(decision, style_of(loaded))


def weights_of(text: str) -> dict[str, float]:
    """Read the team's weights.

    Parameters
    ----------
    text : str
        Such as ``points=3,hours=1``; empty for all the same [-].

    Returns
    -------
    dict of str to float
        Weight by criterion [-].

    Raises
    ------
    typer.BadParameter
        When a criterion is unknown or a weight is no number of zero or more.
    """
    if not text.strip():
        return dict(EVEN)
    found = {}
    for part in text.split(","):
        name, _, number = (piece.strip() for piece in part.partition("="))
        if name not in CRITERIA:
            near = nearest(name, CRITERIA)
            hint = f"; did you mean {near!r}?" if near else ""
            said = f"expected one of {', '.join(CRITERIA)}, found {name[:40]!r}{hint}"
            raise typer.BadParameter(said, param_hint="'--weights'")
        if not re.fullmatch(r"[0-9]{1,6}(\.[0-9]{1,6})?", number):
            raise typer.BadParameter(f"expected a number for {name!r}, such as {name}=2", param_hint="'--weights'")
        found[name] = float(number)
    if not any(found.values()):
        raise typer.BadParameter("expected at least one weight above 0", param_hint="'--weights'")
    return found


def refuse(out: Path | None, date: str) -> None:
    """Refuse options before anything is computed.

    Parameters
    ----------
    out : Path or None
        A file to write [-].
    date : str
        Year, month and day; empty for none [-].

    Raises
    ------
    typer.BadParameter
        When the date is none, or the file neither PDF nor HTML.
    """
    if out is not None and out.suffix.lower() not in (".pdf", ".html", ".htm"):
        raise typer.BadParameter("expected a file that ends in .pdf or .html", param_hint="'--out'")
    if date:
        try:
            datetime.date.fromisoformat(date)
        except ValueError as error:
            raise typer.BadParameter(f"expected a date such as 2026-11-25, found {date[:20]!r}",
                                     param_hint="'--date'") from error  # fmt: skip


def is_page(out: Path) -> bool:
    """Tell a page for a browser from a PDF.

    Parameters
    ----------
    out : Path
        The file to write [-].

    Returns
    -------
    bool
        True for HTML [-].
    """
    return out.suffix.lower() != ".pdf"


def size_of(loaded: Loaded) -> Size:
    """Choose the paper that the team has: Letter where it measures in inches.

    Parameters
    ----------
    loaded : Loaded
        The robot with its season [-].

    Returns
    -------
    str
        Size of the page [-].
    """
    return "a4" if Shown.of(loaded.quantities).units["length"] in ("mm", "cm", "m") else "us-letter"


def write(paper: Paper, out: Path) -> None:
    """Write a document and say so.

    Parameters
    ----------
    paper : Paper
        The document [-].
    out : Path
        PDF or HTML [-].

    Raises
    ------
    BadInput
        When the file cannot be written.
    """
    write_atomically(out, as_html(paper) if is_page(out) else as_pdf(paper))
    sys.stdout.write(f"wrote {out}\n")
