"""Writes documents: the inspection sheet, the pit card and the notebook."""

from __future__ import annotations

import datetime
import sys
from pathlib import Path

import typer
from rich.console import Console
from rich.text import Text

from fieldworthy.checks import evaluate
from fieldworthy.checks.showing import Shown
from fieldworthy.report import card as cards
from fieldworthy.report.blocks import Paper, Size
from fieldworthy.report.inspection import Inspection, as_paper, inspection
from fieldworthy.report.page import as_html
from fieldworthy.report.typeset import as_pdf
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.schema.writing import write_atomically

_SAMPLES = 1000
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


def run_card(file: Path, out: Path, date: str) -> None:
    """Write the pit card of a robot.

    Parameters
    ----------
    file : Path
        The robot file [-].
    out : Path
        PDF or HTML to write [-].
    date : str
        Year, month and day; empty for none [-].

    Raises
    ------
    typer.BadParameter
        When the date or the ending of `out` is not known.
    BadInput
        When the robot file is wrong, or the file cannot be written.
    """
    refuse(out, date)
    loaded = load_robot(file)
    asked = cards.Asked(date=date, size=size_of(loaded))
    paper = cards.card(loaded, evaluate(loaded, _SAMPLES), asked)
    write(paper if is_page(out) else cards.fitted(paper), out)


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
