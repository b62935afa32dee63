"""Writes documents: the inspection sheet, the pit card and the notebook."""

from __future__ import annotations

import datetime
import re
import sys
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Literal

import typer
from rich.console import Console
from rich.text import Text

from fieldworthy.cli.output import VERDICT_SIGNS, plain_console
from fieldworthy.decide.matrix import CRITERIA
from fieldworthy.files.kinds import is_day
from fieldworthy.files.problems import nearest
from fieldworthy.files.writing import write_atomically
from fieldworthy.measure.faultlog import load_faults
from fieldworthy.report.blocks import Paper
from fieldworthy.report.inspection import Inspection, as_paper
from fieldworthy.report.making import Wanted, make_card, make_inspection, make_judges, make_notebook, size_of
from fieldworthy.report.page import as_html
from fieldworthy.report.typeset import as_pdf
from fieldworthy.robot import load_robot

Reader = Literal["team", "judges"]
"""For whom a report is written: all the reasoning, or what judges ask for."""


def run_inspect(file: Path, out: Path | None, date: str) -> bool:
    """Hold the season's limits against a robot."""
    refuse(out, date)
    loaded = load_robot(file)
    sheet = make_inspection(loaded)
    if out is None:
        _print_sheet(plain_console(), sheet)
    else:
        write(as_paper(sheet, date or today(), size_of(loaded)), out)
    return any(item.verdict == "short" for item in sheet.items)


def _print_sheet(console: Console, sheet: Inspection) -> None:
    console.print(Text(f"Inspection: {sheet.robot} in {sheet.season}", style="bold"))
    console.print(sheet.answer)
    for item in sheet.items:
        sign, style = VERDICT_SIGNS[item.verdict]
        subject = f", {item.subject}" if item.subject else ""
        spread = f" ({item.span})" if item.span else ""
        blank = f"________ {item.unit}".rstrip()
        numbers = f"{item.found}{spread} of {item.allowed}; holds in {item.chance}; measured: {blank}"
        console.print(Text.assemble((sign, style), f"{item.rule}{subject}: {numbers}"))
    console.print(Text("\nTo be looked at and measured by hand", style="bold"))
    for line in sheet.by_hand:
        console.print(f"[ ] {line}")
    console.print(Text("\nCautions", style="bold"))
    for line in sheet.cautions:
        console.print(f"! {line}")


def run_card(file: Path, out: Path, date: str, log: Path | None = None) -> None:
    """Write the pit card of a robot."""
    refuse(out, date)
    loaded = load_robot(file)
    write(make_card(loaded, date or today(), None if log is None else load_faults(log, loaded)), out)


def run_report(
    file: Path, out: Path, wanted: Wanted, since: Path | None, against: Sequence[Path], reader: Reader = "team"
) -> None:
    """Write the notebook of a robot, or its judges' pages."""
    refuse(out, wanted.date)
    loaded = load_robot(file)
    older = None if since is None else load_robot(since)
    variants = tuple(load_robot(variant) for variant in against)
    with busy("Checking the robot, playing its matches, drawing"):
        make = make_judges if reader == "judges" else make_notebook
        paper = make(loaded, replace(wanted, since=older, against=variants))
    write(paper, out)


def busy(words: str) -> AbstractContextManager[object]:
    """Show that work goes on, on a terminal alone."""
    return Console(stderr=True).status(words) if sys.stderr.isatty() else nullcontext()


def weights_of(text: str) -> tuple[tuple[str, float], ...]:
    """Read the team's weights."""
    if not text.strip():
        return ()
    found = {}
    for part in text.split(","):
        name, _, number = (piece.strip() for piece in part.partition("="))
        if name not in CRITERIA:
            near = nearest(name, CRITERIA)
            hint = f"; did you mean {near!r}?" if near else ""
            said = f"expected one of {', '.join(CRITERIA)}, found {name[:40]!r}{hint}"
            raise typer.BadParameter(said, param_hint="'--weights'")
        if name in found:
            raise typer.BadParameter(f"expected {name!r} once", param_hint="'--weights'")
        if not re.fullmatch(r"[0-9]{1,6}(\.[0-9]{1,6})?", number):
            raise typer.BadParameter(f"expected a number for {name!r}, such as {name}=2", param_hint="'--weights'")
        found[name] = float(number)
    if not any(found.values()):
        raise typer.BadParameter("expected at least one weight above 0", param_hint="'--weights'")
    return tuple(found.items())


def today() -> str:
    """The day on which a sheet is made: one without a date is taken for another's."""
    return datetime.date.today().isoformat()


def refuse(out: Path | None, date: str) -> None:
    """Refuse options before anything is computed."""
    if out is not None and out.suffix.lower() not in (".pdf", ".html", ".htm"):
        raise typer.BadParameter("expected a file that ends in .pdf or .html", param_hint="'--out'")
    if date and not is_day(date):
        raise typer.BadParameter(f"expected a date such as 2026-11-25, found {date[:20]!r}", param_hint="'--date'")


def is_page(out: Path) -> bool:
    """Tell a page for a browser from a PDF."""
    return out.suffix.lower() != ".pdf"


def write(paper: Paper, out: Path) -> None:
    """Write a document and say so."""
    write_atomically(out, as_html(paper) if is_page(out) else as_pdf(paper))
    sys.stdout.write(f"wrote {out}\n")
