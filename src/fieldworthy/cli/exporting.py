"""Writes a robot's constants for its own program."""

from __future__ import annotations

import sys
from pathlib import Path

import typer

from fieldworthy.files.problems import nearest
from fieldworthy.files.writing import spare, write_atomically
from fieldworthy.report.export import WRITERS, export_of
from fieldworthy.report.urdf import as_urdf
from fieldworthy.robot import load_robot

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
    text = as_urdf(loaded) if to == "urdf" else WRITERS[to](export_of(loaded))
    if out is None:
        sys.stdout.write(text)
        return
    write_atomically(out, text)
    sys.stdout.write(f"wrote {out}\n")
