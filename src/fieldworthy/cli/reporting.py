"""Writes files: documents, a robot's constants, its parts list, and a first robot file from a few answers."""

from __future__ import annotations

import datetime
import re
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, TypeVar, get_args

import typer
from rich.console import Console
from rich.text import Text

from fieldworthy.cli.output import VERDICT_SIGNS, plain_console
from fieldworthy.decide.matrix import criteria
from fieldworthy.decide.search import Found
from fieldworthy.decide.search.result import read_found
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.engine.system import shelf
from fieldworthy.files import BadInput, Problem
from fieldworthy.files.declare import is_day
from fieldworthy.files.document import KeyPath, nearest
from fieldworthy.files.writing import spare, write_atomically, written
from fieldworthy.measure.practice import load_faults
from fieldworthy.report.blocks import Paper
from fieldworthy.report.card import Inspection, as_paper
from fieldworthy.report.export import WRITERS, as_sheet, as_table, as_urdf, export_of
from fieldworthy.report.making import (
    Wanted,
    badged,
    make_card,
    make_inspection,
    make_judges,
    make_notebook,
    size_of,
)
from fieldworthy.report.typeset import as_html, as_pdf
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.robot.meshes import MESHES
from fieldworthy.robot.partslist import beside
from fieldworthy.robot.partstables import flow_in, flow_in_mesh
from fieldworthy.robot.shelf import completed
from fieldworthy.robot.starter import AnswerError, Meets, gather, gather_further, meets, starter_robot, starter_season

FORMS = (*WRITERS, "urdf")
"""What constants can be written as."""


def run_export(file: Path, to: str, out: Path | None) -> None:
    """Write the constants of a robot."""
    if to not in FORMS:
        near = nearest(to, FORMS)
        hint = f"; did you mean {near!r}?" if near else ""
        raise typer.BadParameter(f"expected one of {', '.join(FORMS)}{hint}", param_hint="'--to'")
    loaded = load_robot(file)
    if out is not None:
        spare(out, loaded.texts)
    text = as_urdf(loaded) if to == "urdf" else WRITERS[to](export_of(loaded, today()))
    if out is None:
        sys.stdout.write(text)
        return
    write_atomically(out, text)
    sys.stdout.write(f"wrote {out}\n")


def run_parts(file: Path, out: Path | None, table: Path | None, columns: Sequence[str], mesh: Sequence[str]) -> None:
    """Write the parts of a robot, with what flows in from another table where one is given."""
    if out is not None and out.suffix.lower() not in (".csv", ".xlsx"):
        raise typer.BadParameter("expected a file that ends in .csv or .xlsx", param_hint="'--out'")
    is_mesh = table is not None and table.suffix.lower() in MESHES
    if columns and (table is None or is_mesh):
        raise typer.BadParameter("expected --from with it: the table whose heads these are", param_hint="'--columns'")
    if mesh and not is_mesh:
        raise typer.BadParameter("expected --from with it: the mesh of which this is said", param_hint="'--mesh'")
    loaded = load_robot(file)
    parts: Mapping[str, Any] = loaded.robot.parts  # type: ignore[attr-defined]
    if table is not None:
        inflow, told = (
            flow_in_mesh(loaded, table, _mapped(mesh, "material=aluminium"))
            if is_mesh
            else (flow_in(loaded, table, _mapped(columns, "mass=Mass (g)")), ())
        )
        parts = inflow.parts
        loaded = replace(loaded, robot=loaded.robot.model_copy(update={"parts": dict(parts)}))
        to = sys.stderr if out is None else sys.stdout
        to.write("".join(f"{line}\n" for line in (*told, *inflow.changes)) or "nothing changes\n")
    if out is None:
        sys.stdout.write(as_table(loaded, parts))
        return
    if not _own_list(loaded, out):
        spare(out, loaded.texts if table is None else (*loaded.texts, table))
    listed = _listed(loaded, parts, out)
    write_atomically(out, as_sheet(loaded, listed) if out.suffix.lower() == ".xlsx" else as_table(loaded, listed))
    sys.stdout.write(f"wrote {len(listed)} parts to {out}\n{_hint(loaded, out)}")


def _mapped(said: Sequence[str], example: str) -> dict[str, str]:
    found = {}
    for text in said:
        ours, equals, theirs = text.partition("=")
        if not equals or not theirs.strip():
            hint = "'--mesh'" if example.startswith("material") else "'--columns'"
            raise typer.BadParameter(f'expected "{example}", found {text[:40]!r}', param_hint=hint)
        found[ours.strip().lower()] = theirs.strip()
    return found


def _listed(loaded: Loaded, parts: Mapping[str, Any], out: Path) -> dict[str, Any]:
    """Those to write: where the robot's own parts list is written over, what its file describes itself stays there."""
    if not _own_list(loaded, out):
        return dict(parts)
    here = {path[1] for path in loaded.document.files if len(path) == 2 and path[0] == "parts"}
    described = {name for name in _raw_parts(loaded) if name not in here}
    changed = [name for name in described if _was(loaded, name) != parts[name]]
    if changed:
        sys.stdout.write(f"described in {loaded.document.file}, change it there: {', '.join(sorted(changed))}\n")
    return {name: part for name, part in parts.items() if name not in described}


def _raw_parts(loaded: Loaded) -> dict[str, Any]:
    found: dict[str, Any] = loaded.document.data.get("parts") or {}
    return found


def _was(loaded: Loaded, name: str) -> Any:
    return load_robot(loaded.document.file).robot.parts[name]  # type: ignore[attr-defined]


def _own_list(loaded: Loaded, out: Path) -> bool:
    named = loaded.robot.parts_list  # type: ignore[attr-defined]
    own = beside(loaded.document.file, named) if named else None
    return own is not None and own.resolve() == out.resolve()


def _hint(loaded: Loaded, out: Path) -> str:
    if _own_list(loaded, out):
        return ""
    name = loaded.document.file.name
    return f"to use it, put it beside {name}, write 'parts_list: {out.name}' there and take out its parts\n"


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
        write(badged(as_paper(sheet, date or today(), size_of(loaded)), loaded), out)
    return any(item.verdict == "short" for item in sheet.items)


def _print_sheet(console: Console, sheet: Inspection) -> None:
    console.print(Text(f"Inspection: {sheet.robot} in {sheet.season}", style="bold"))
    console.print(sheet.answer)
    for item in sheet.items:
        sign, style = VERDICT_SIGNS[item.verdict]
        subject = f", {item.subject}" if item.subject else ""
        spread = f" ({item.span})" if item.span else ""
        blank = f"________ {item.unit}".rstrip()
        numbers = f"{item.found}{spread} of {item.allowed}; chance {item.chance}; measured: {blank}"
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
        paper = make(loaded, replace(wanted, date=wanted.date or today(), since=older, against=variants))
    write(paper, out)


def found_in(file: Path | None, robot: Path) -> Found | None:
    """Read what a search of a robot found."""
    if file is None:
        return None
    result, name = read_found(file), load_robot(robot).nominal.robot
    if result.robot != name:
        raise BadInput([Problem(file, 1, 1, (), f"expected a search of {name!r}; this one is of {result.robot!r}")])
    return result


def busy(words: str) -> AbstractContextManager[object]:
    """Show that work goes on, on a terminal alone."""
    return Console(stderr=True).status(words) if sys.stderr.isatty() else nullcontext()


def reader_of(text: str) -> Reader:
    """For whom a report is written."""
    if text in ("team", "judges"):
        return "judges" if text == "judges" else "team"
    near = nearest(text, get_args(Reader))
    hint = f"; did you mean {near!r}?" if near else ""
    raise typer.BadParameter(f"expected team or judges, found {text[:40]!r}{hint}", param_hint="'--for'")


def weights_of(text: str) -> tuple[tuple[str, float], ...]:
    """Read the team's weights."""
    if not text.strip():
        return ()
    found = {}
    for part in text.split(","):
        name, _, number = (piece.strip() for piece in part.partition("="))
        if name not in criteria():
            near = nearest(name, criteria())
            hint = f"; did you mean {near!r}?" if near else ""
            said = f"expected one of {', '.join(criteria())}, found {name[:40]!r}{hint}"
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


T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Options:
    """The options of the command as typed; None where the person did not give one."""

    name: str | None = None
    season: str | None = None
    units: str | None = None
    motor: str | None = None
    motors: int | None = None
    wheels: int | None = None
    wheel_size: str | None = None
    gearing: str | None = None
    mass: str | None = None
    length: str | None = None
    width: str | None = None
    height: str | None = None
    tanks: int | None = None
    cg_height: str | None = None
    has: str | None = None
    most_mass: str | None = None
    most_size: str | None = None


def run_new(file: Path, options: Options, *, force: bool) -> None:
    """Write a first robot file, and a season file beside it where there is none yet."""
    if file.exists() and not force:
        raise _refused("FILE", f"{file} exists already; --force writes over it")
    offered = {typical.name: typical for typical in shelf() if typical.into == ("mechanisms",)}
    try:
        asker = _Asker(options, ask=_person())
        answers = gather(asker, file)
        further = gather_further(asker, tuple(offered), answers.size[2])
    except AnswerError as error:
        raise _refused(f"--{error.question}", error.message) from error
    season = file.parent / answers.season
    write_season = not season.exists()
    texts = {file: starter_robot(answers, Meets() if write_season else meets(season))}
    if write_season:
        texts[season] = starter_season(answers.inch)
    if further.limits and not write_season:
        raise _refused("--most-mass", f"{season.name} is there already: write its limits into it")
    wanted: dict[KeyPath, object] = {("season", "limits", key): said for key, said in further.limits.items()}
    if further.centre:
        wanted[("weighed", "z")] = {"value": further.centre, "basis": "measured"}
    texts = completed(file, texts, [offered[name] for name in further.has], wanted)
    written(texts, copy_dated=None, expect={each: "" for each in texts if each != file or not force})
    named = f"{file} and {season}" if write_season else str(file)
    typer.echo(f"Wrote {named}.")
    _say_missing(load_robot(file))
    typer.echo(f"Next: fieldworthy check {file}")


def _say_missing(loaded: Loaded) -> None:
    """List what a first file leaves out or only supposes, what the verdicts need most first."""
    mechanisms = loaded.document.data.get("mechanisms") or {}
    told = [f"mechanisms.{name}: its numbers are those of an invented team" for name, entry in mechanisms.items()
            if entry.get("kind") != "plain"]  # fmt: skip
    weighed = loaded.nominal.weighed
    if weighed is None or weighed.z is None:
        told.append("weighed.z: how high the centre of gravity is; until then the parts' boxes say it")
    told.append("parts: what each weighs and where it is; 'everything else' is one block yet")
    unknown = evaluate(loaded, samples=0).of("unknown")
    unsaid = dict.fromkeys(key for finding in unknown for key in finding.missing if key not in ("plan", "actions"))
    told += [f"{key}: something is not judged without it" for key in unsaid]
    told.append("plan, actions: what your match looks like; those in the file are examples")
    typer.echo("What is missing or only supposed, the weightiest first:")
    for line in told:
        typer.echo(f"  - {line}")


def _person() -> bool:
    """Whether there is a person to ask: both ends are a terminal."""
    return sys.stdin is not None and sys.stdin.isatty() and sys.stdout.isatty()


def _refused(option: str, message: str) -> typer.BadParameter:
    return typer.BadParameter(message, param_hint=f"'{option}'")


class _Asker:
    """Takes an answer from an option, from the person, or from the default, in this order."""

    def __init__(self, options: Options, *, ask: bool) -> None:
        self._options = options
        self._ask = ask

    def __call__(self, question: str, default: str, words: str, read: Callable[[str], T]) -> T:
        given: Any = getattr(self._options, question.replace("-", "_"))

        def checked(text: str) -> T:
            """Read an answer; a bad one is refused under its option's name."""
            try:
                return read(str(text).strip())
            except ValueError as error:
                raise _refused(f"--{question}", str(error)) from error

        if given is not None or not self._ask:
            return checked(default if given is None else given)
        answer: T = typer.prompt(words, default=default, show_default=bool(default), value_proc=checked)
        return answer
