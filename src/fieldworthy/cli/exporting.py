"""Writes a robot's constants and its parts list; takes in a parts list that another program wrote."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import typer

from fieldworthy.cli.reporting import today
from fieldworthy.files.problems import nearest
from fieldworthy.files.writing import spare, write_atomically
from fieldworthy.report.export import WRITERS, export_of
from fieldworthy.report.partstable import as_sheet, as_table
from fieldworthy.report.urdf import as_urdf
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.robot.partslist import beside
from fieldworthy.robot.partstables import flow_in

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


def run_parts(file: Path, out: Path | None, table: Path | None, columns: Sequence[str]) -> None:
    """Write the parts of a robot, with what flows in from another table where one is given."""
    if out is not None and out.suffix.lower() not in (".csv", ".xlsx"):
        raise typer.BadParameter("expected a file that ends in .csv or .xlsx", param_hint="'--out'")
    if columns and table is None:
        raise typer.BadParameter("expected --from with it: the table whose heads these are", param_hint="'--columns'")
    loaded = load_robot(file)
    parts: Mapping[str, Any] = loaded.robot.parts  # type: ignore[attr-defined]
    if table is not None:
        inflow = flow_in(loaded, table, _mapped(columns))
        parts = inflow.parts
        loaded = replace(loaded, robot=loaded.robot.model_copy(update={"parts": dict(parts)}))
        to = sys.stderr if out is None else sys.stdout
        to.write("".join(f"{line}\n" for line in inflow.changes) or "nothing changes\n")
    if out is None:
        sys.stdout.write(as_table(loaded, parts))
        return
    if not _own_list(loaded, out):
        spare(out, loaded.texts if table is None else (*loaded.texts, table))
    listed = _listed(loaded, parts, out)
    write_atomically(out, as_sheet(loaded, listed) if out.suffix.lower() == ".xlsx" else as_table(loaded, listed))
    sys.stdout.write(f"wrote {len(listed)} parts to {out}\n{_hint(loaded, out)}")


def _mapped(columns: Sequence[str]) -> dict[str, str]:
    found = {}
    for text in columns:
        ours, equals, theirs = text.partition("=")
        if not equals or not theirs.strip():
            raise typer.BadParameter(f'expected "mass=Mass (g)", found {text[:40]!r}', param_hint="'--columns'")
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
