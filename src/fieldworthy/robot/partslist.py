"""Reads a parts list: a CSV file of masses, places and sizes, kept beside the robot file."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from typing import Any

from fieldworthy.schema import BadInput, Document, Problem
from fieldworthy.schema.document import read_text
from fieldworthy.schema.problems import nearest

COLUMNS = ("part", "mass", "x", "y", "z", "length", "width", "height", "rides", "count", "basis", "tolerance")
_NEEDED = COLUMNS[:8]
_HEAD = re.compile(r"\s*([^\[\]]+?)\s*(?:\[([^\[\]]+)\])?\s*")


def read_parts_list(document: Document) -> None:
    """Add the parts of a robot's parts list to its data.

    Parameters
    ----------
    document : Document
        The robot file; its key ``parts_list`` names the CSV file. Changed in place: ``parts`` grows, and the
        places of its keys point into the CSV file [-].

    Raises
    ------
    BadInput
        With every problem found, by row and column.

    Notes
    -----
    The first row holds the names of `COLUMNS`; a unit may stand behind a name in brackets (``mass [g]``), or in
    every cell (``420 g``).
    """
    name = document.data.get("parts_list")
    if not isinstance(name, str):
        return
    file = document.file.parent / name
    if Path(name).is_absolute() or ".." in Path(name).parts:
        raise BadInput([document.problem(("parts_list",), "expected a file beside this one")])
    rows = _rows(file)
    own = document.data.get("parts")
    parts: dict[str, Any] = dict(own) if isinstance(own, dict) else {}
    problems = []
    for number, row in rows:
        part = row.get("part", ("", 1))[0]
        if not part or part in parts:
            what = "expected the part's name" if not part else f"expected each part only once; {part!r} stands twice"
            problems.append(Problem(file, number, 1, ("part",), what))
            continue
        parts[part] = _entry(row)
        _place(document, file, part, number, row)
    if problems:
        raise BadInput(problems)
    document.data["parts"] = parts


Row = dict[str, tuple[str, int]]


def _rows(file: Path) -> list[tuple[int, Row]]:
    text = read_text(file)
    delimiter = ";" if text.partition("\n")[0].count(";") > text.partition("\n")[0].count(",") else ","
    try:
        lines = list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise BadInput([Problem(file, 1, 1, (), f"expected a table: {error}")]) from error
    if not lines or not any(lines[0]):
        raise BadInput([Problem(file, 1, 1, (), f"expected a first row with {', '.join(_NEEDED)}")])
    heads = [_head(file, i, cell) for i, cell in enumerate(lines[0], 1)]
    lacking = [c for c in _NEEDED if c not in {name for name, _ in heads}]
    if lacking:
        raise BadInput([Problem(file, 1, 1, (), f"expected the columns {', '.join(lacking)} too")])
    return [(n, _cells(line, heads)) for n, line in enumerate(lines[1:], 2) if any(c.strip() for c in line)]


def _head(file: Path, column: int, cell: str) -> tuple[str, str]:
    match = _HEAD.fullmatch(cell)
    name = match.group(1).lower() if match else ""
    if name not in COLUMNS:
        message = f"unknown column {cell.strip()!r}; expected one of {', '.join(COLUMNS)}"
        raise BadInput([Problem(file, 1, column, (), message, nearest(name, COLUMNS))])
    return name, (match.group(2) or "") if match else ""


def _cells(line: list[str], heads: list[tuple[str, str]]) -> Row:
    row: Row = {}
    for column, (cell, (name, unit)) in enumerate(zip(line, heads, strict=False), 1):
        text = cell.strip()
        row[name] = (f"{text} {unit}" if text and unit else text, column)
    return row


def _entry(row: Row) -> dict[str, Any]:
    cell = {name: text for name, (text, _) in row.items() if text}
    mass: dict[str, Any] = {"value": cell.get("mass", "")}
    mass |= {key: cell[key] for key in ("basis", "tolerance") if key in cell}
    entry: dict[str, Any] = {
        "mass": mass,
        "position": [cell.get(c, "") for c in ("x", "y", "z")],
        "size": [cell.get(c, "") for c in ("length", "width", "height")],
    }
    if "rides" in cell:
        entry["rides"] = cell["rides"]
    if "count" in cell:
        entry["count"] = int(cell["count"]) if cell["count"].isdigit() else cell["count"]
    return entry


def _place(document: Document, file: Path, part: str, number: int, row: Row) -> None:
    """Let problems of this part point into the CSV file."""
    path = ("parts", part)
    document.files[path] = file
    document.marks[path] = (number, 1)
    for name, keys in {
        "mass": ("mass",), "x": ("position", 0), "y": ("position", 1), "z": ("position", 2), "length": ("size", 0),
        "width": ("size", 1), "height": ("size", 2), "rides": ("rides",), "count": ("count",),
    }.items():  # fmt: skip
        if name in row:
            document.marks[(*path, *keys)] = (number, row[name][1])
