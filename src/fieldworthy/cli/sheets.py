"""Prints or writes the sheet of a measuring procedure."""

from __future__ import annotations

import sys
from pathlib import Path

from fieldworthy.files import BadInput, Problem
from fieldworthy.files.problems import nearest
from fieldworthy.files.writing import write_atomically
from fieldworthy.measure.sheets import as_html, as_text, sheet, sheets

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
