"""Reads a parts list: a table of masses, places and sizes, CSV or spreadsheet, kept beside the robot file."""

from __future__ import annotations

import csv
import io
import math
import re
import warnings
import zipfile
from collections.abc import Container, Iterable, Mapping, Sequence
from decimal import Decimal
from pathlib import Path, PureWindowsPath
from typing import Any

from fieldworthy.files import BadInput, Document, Problem
from fieldworthy.files.document import KeyPath, led_to, nearest, read_bytes, read_text, shorten

Line = tuple[int, list[str]]
"""Number of a row in its file, from 1, and its cells as text."""
Cell = str | float | int | None

SHEETS = (".xlsx", ".xlsm")
"""Spreadsheets that are read; `.xlsx` is also written."""
_ROWS, _COLUMNS = 5000, 100
_ENTRIES, _UNPACKED = 500, 30_000_000  # files in a spreadsheet, and bytes of all of them
_NO_SHEET = "expected a spreadsheet (.xlsx): save it once more from the program it came from"


def sheet_lines(file: Path) -> list[Line]:
    """Read the first sheet of a spreadsheet.

    Notes
    -----
    Formulas are not reckoned: what the spreadsheet's own program last stored as their result is taken.
    """
    raw = read_bytes(file)
    _refuse_bombs(file, raw)
    return _unpacked(file, raw)


def csv_lines(file: Path, text: str, delimiter: str) -> list[Line]:
    """Take the text of a CSV file apart."""
    reader = csv.reader(io.StringIO(text, newline=None), delimiter=delimiter, strict=True)
    lines: list[Line] = []
    start = 1
    try:
        for line in reader:
            lines.append((start, line))
            start = reader.line_num + 1
    except csv.Error as error:
        unclosed = "a quote is not closed" if "unexpected end" in str(error) else str(error)
        raise BadInput([Problem(file, start, 1, (), f"expected a table of cells: {unclosed}")]) from error
    return lines


def _unpacked(file: Path, raw: bytes) -> list[Line]:
    from openpyxl import load_workbook  # noqa: PLC0415  only where a spreadsheet is read

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # styles and extensions that it does not know do not matter here
        try:
            book = load_workbook(io.BytesIO(raw), read_only=True, data_only=True, keep_links=False)
            rows = book.worksheets[0].iter_rows(max_row=_ROWS + 1, values_only=True)
            return [(number, _row(file, number, row)) for number, row in enumerate(rows, 1)]
        except BadInput:
            raise
        except Exception as error:  # whatever a broken file makes the library raise
            raise BadInput([Problem(file, 1, 1, (), _NO_SHEET)]) from error


def _refuse_bombs(file: Path, raw: bytes) -> None:
    """A spreadsheet is a packed folder: refuse one that unpacks to far more than a parts list, or defines entities."""
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as packed:
            infos = packed.infolist()
            if len(infos) > _ENTRIES or sum(info.file_size for info in infos) > _UNPACKED:
                raise BadInput([Problem(file, 1, 1, (), "expected a parts list; this spreadsheet unpacks to far more")])
            for info in infos:
                # a reader stops at the size that the folder states, so the sum above bounds what is read
                if info.filename.endswith((".xml", ".rels")) and b"<!DOCTYPE" in packed.read(info):
                    raise BadInput([Problem(file, 1, 1, (), _NO_SHEET)])
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, EOFError, ValueError) as error:
        raise BadInput([Problem(file, 1, 1, (), _NO_SHEET)]) from error
    except Exception as error:
        if isinstance(error, BadInput):
            raise
        raise BadInput([Problem(file, 1, 1, (), _NO_SHEET)]) from error  # a broken stream: zlib, lzma


def _row(file: Path, number: int, row: Sequence[Any]) -> list[str]:
    if number > _ROWS:
        raise BadInput([Problem(file, number, 1, (), f"expected at most {_ROWS} rows; delete what stands below")])
    if any(value is not None for value in row[_COLUMNS:]):
        raise BadInput([Problem(file, number, _COLUMNS + 1, (), f"expected at most {_COLUMNS} columns")])
    return [_text(value) for value in row[:_COLUMNS]]


def _text(value: Any) -> str:
    """A cell as a person reads it: numbers without a power of ten, so that a column's unit fits behind them."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        if not math.isfinite(value):
            return str(value)
        number = Decimal(repr(value))
        return f"{number.normalize():f}" if abs(number.adjusted()) < 40 else str(value)
    return str(value)


def csv_text(rows: Iterable[Sequence[Cell]]) -> str:
    """Write rows as CSV."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for row in rows:
        writer.writerow([_inert(cell) if isinstance(cell, str) else _bare(cell) for cell in row])
    return out.getvalue()


def _inert(text: str) -> str:
    return f"'{text}" if text.lstrip()[:1] in tuple("=+-@") else text


def _bare(cell: float | None) -> str:
    return "" if cell is None else _text(cell)


def sheet_bytes(sheets: Mapping[str, Iterable[Sequence[Cell]]]) -> bytes:
    """Write rows as a spreadsheet."""
    from openpyxl import Workbook  # noqa: PLC0415  only where a spreadsheet is written
    from openpyxl.cell import WriteOnlyCell  # noqa: PLC0415
    from openpyxl.styles import Font  # noqa: PLC0415

    book = Workbook(write_only=True)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        sheet.freeze_panes = "B2"
        sheet.column_dimensions["A"].width = 34
        for number, row in enumerate(rows):
            cells = []
            for value in row:
                cell = WriteOnlyCell(sheet, value=value)
                if isinstance(value, str):
                    cell.data_type = "s"  # else a text that begins with = becomes a formula
                if number == 0:
                    cell.font = Font(bold=True)
                cells.append(cell)
            sheet.append(cells)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


COLUMNS = ("part", "mass", "x", "y", "z", "length", "width", "height", "rides", "count", "basis", "tolerance", "date")
NOTE = "# "
"""How the first cell of a row begins that is a note, such as a total."""
_NEEDED = COLUMNS[:8]
_HEAD = re.compile(r"([^\[\]]+?)\s*(?:\[([^\[\]]+)\])?")
_BARE = re.compile(r"[+-]?[0-9][0-9., /]*|[+-]?\.[0-9]+")  # a number that takes its unit from the column's head
_WHOLE = re.compile(r"-?[0-9]{1,9}")
_WIDEST = 60  # characters of a column's name


def beside(file: Path, name: str, texts: Container[Path] = ()) -> Path | None:
    """Find a file by its name beside another one, on the disk or among texts that are to be written there."""
    windows = PureWindowsPath(name)  # reads both kinds of slash, and drives
    if windows.is_absolute() or windows.drive or windows.root or ".." in windows.parts or "\0" in name:
        return None
    found = file.parent / name
    return found if found in texts or not _why_not(file, name) else None


def _why_not(by: Path, name: str) -> str:
    """Why a file cannot be one that another names; empty where it can."""
    try:
        found = led_to(by.parent / name)
        # a person who types a link knows it; who reads another team's file does not
        if not found.is_relative_to(by.parent.resolve()):
            return "a link that leads out of its folder"
        if found.is_file():
            return ""
        return "a directory" if found.is_dir() else "a device or a pipe" if found.exists() else "none"
    except BadInput:
        return "a link that leads out of its folder"
    except (OSError, RuntimeError, ValueError):  # a name longer than names can be, links that lead in a ring
        return "none"


def lacking_beside(document: Document, key: KeyPath, name: str, kind: str, known: Iterable[Path]) -> Problem:
    """Say what is wrong with the name of a file that should stand beside the one that names it."""
    why = "none" if PureWindowsPath(name).anchor or ".." in name else _why_not(document.file, name)
    expected = f"expected the name of a {kind} beside this one"
    if why in ("", "none"):
        names = sorted(path.name for path in known)
        return document.problem(key, f"{expected} (found {shorten(name)})", nearest(name, names))
    return document.problem(key, f"{expected} (found {why} called {shorten(name)})")


def read_parts_list(document: Document, texts: dict[Path, str] | None = None) -> None:
    """Add the parts of a robot's parts list to its data.

    Notes
    -----
    The first row holds the names of `COLUMNS`; a unit may stand behind a name in brackets (``mass [g]``), or in
    every cell (``420 g``). A row whose first cell begins with ``# `` is a note and is passed over.
    """
    name = document.data.get("parts_list")
    if not isinstance(name, str):
        return
    file = beside(document.file, name)
    if file is None:
        beside_it = document.file.parent.iterdir() if document.file.parent.is_dir() else ()
        tables = (p for p in beside_it if p.suffix.lower() in (".csv", *SHEETS))
        document.problems.append(lacking_beside(document, ("parts_list",), name, "CSV file or spreadsheet", tables))
        return
    texts = {} if texts is None else texts
    if file.suffix.lower() in SHEETS:
        rows = _rows(file, sheet_lines(file))
    else:
        if file not in texts:
            texts[file] = read_text(file)
        rows = _rows(file, csv_lines(file, texts[file], delimiter_of(texts[file])))
    own = document.data.get("parts")
    parts: dict[str, Any] = dict(own) if isinstance(own, dict) else {}
    for number, row in rows:
        part, column = row.get("part", ("", 1))
        if not part or part in parts:
            twice = f"expected each part only once; {shorten(part)} stands twice, here and above or in the robot file"
            what = twice if part else "expected the part's name"
            document.problems.append(Problem(file, number, column, ("part",), what))
            continue
        parts[part] = _entry(row)
        _place(document, file, part, number, row)
    document.data["parts"] = parts


Row = dict[str, tuple[str, int]]


def delimiter_of(text: str) -> str:
    """Find what parts the cells of a table."""
    top = text.partition("\n")[0]
    return max(",;\t", key=top.count)


def head_of(cell: str) -> tuple[str, str]:
    """Read the head of a column."""
    match = _HEAD.fullmatch(cell.strip()[:_WIDEST])
    return (match.group(1).lower(), match.group(2) or "") if match else ("", "")


def _rows(file: Path, lines: list[Line]) -> list[tuple[int, Row]]:
    """The table's rows, each with its line in the file; a cell keeps its column, counted in cells."""
    if not lines or not any(c.strip() for c in lines[0][1]):
        raise BadInput([Problem(file, 1, 1, (), f"expected a first row with {', '.join(_NEEDED)}")])
    heads = _heads(file, lines[0][1])
    filled = [(n, line) for n, line in lines[1:] if any(c.strip() for c in line) and not line[0].startswith(NOTE)]
    _refuse_longer(file, filled, len(heads))
    return [(n, _cells(line, heads)) for n, line in filled]


def _refuse_longer(file: Path, lines: list[Line], columns: int) -> None:
    """A row with more cells than columns is one in which a comma stands for a decimal point, or a stray one."""
    what = (
        f"expected at most {columns} cells, one for each column; a decimal comma? "
        "write a point, or part the cells with ';' and still write a point"
    )
    longer = [n for n, line in lines if any(cell.strip() for cell in line[columns:])]
    if longer:
        raise BadInput([Problem(file, n, columns + 1, (), what) for n in longer])


def _heads(file: Path, cells: list[str]) -> list[tuple[str, str]]:
    """Name and unit of every column."""
    heads: list[tuple[str, str]] = []
    problems = []
    while not cells[-1].strip():  # spreadsheets like to add empty columns; the first cell is never one
        cells = cells[:-1]
    for column, cell in enumerate(cells, 1):
        name, unit = head_of(cell)
        if name not in COLUMNS:
            message = f"unknown column {shorten(cell.strip())}; expected one of {', '.join(COLUMNS)}"
            problems.append(Problem(file, 1, column, (), message, nearest(name, COLUMNS)))
        elif name in (known for known, _ in heads):
            problems.append(Problem(file, 1, column, (), f"expected each column only once; {name!r} stands twice"))
        heads.append((name, unit))
    lacking = [c for c in _NEEDED if c not in {name for name, _ in heads}]
    if lacking:
        problems.append(Problem(file, 1, 1, (), f"expected the columns {', '.join(lacking)} too"))
    if problems:
        raise BadInput(problems)
    return heads


def _cells(line: list[str], heads: list[tuple[str, str]]) -> Row:
    row: Row = {}
    for column, (cell, (name, unit)) in enumerate(zip(line, heads, strict=False), 1):
        text = cell.strip()
        row[name] = (f"{text} {unit}" if unit and _BARE.fullmatch(text) else text, column)
    return row


def _entry(row: Row) -> dict[str, Any]:
    cell = {name: text for name, (text, _) in row.items() if text}
    mass: dict[str, Any] = {"value": cell.get("mass", "")}
    mass |= {key: cell[key] for key in ("basis", "tolerance", "date") if key in cell}
    entry: dict[str, Any] = {
        "mass": mass,
        "position": [cell.get(c, "") for c in ("x", "y", "z")],
        "size": [cell.get(c, "") for c in ("length", "width", "height")],
    }
    if "rides" in cell:
        entry["rides"] = cell["rides"]
    if "count" in cell:
        entry["count"] = int(cell["count"]) if _WHOLE.fullmatch(cell["count"]) else cell["count"]
    return entry


def lay_over(document: Document, file: Path, number: int, row: Row) -> None:
    """Lay what a row says over the part of that name, or add the part."""
    parts, new = document.data["parts"], _entry(row)
    name = row["part"][0]
    own = parts.get(name)
    if isinstance(own, dict):
        if not new["mass"]["value"]:
            new["mass"] = own.get("mass", {"value": ""})
        for key in ("position", "size"):
            said_before = own.get(key)
            before = said_before if isinstance(said_before, list) else ["", "", ""]
            new[key] = [said or was for said, was in zip(new[key], before, strict=False)]
        new = own | new
    parts[name] = new
    _place(document, file, name, number, row)


def _place(document: Document, file: Path, part: str, number: int, row: Row) -> None:
    """Let problems of this part point into the table."""
    path = ("parts", part)
    document.files[path] = file
    document.marks[path] = (number, row["part"][1])
    for name, keys in {
        "mass": ("mass",), "x": ("position", 0), "y": ("position", 1), "z": ("position", 2), "length": ("size", 0),
        "width": ("size", 1), "height": ("size", 2), "rides": ("rides",), "count": ("count",),
        "basis": ("mass", "basis"), "tolerance": ("mass", "tolerance"), "date": ("mass", "date"),
    }.items():  # fmt: skip
        if name in row:
            document.marks[(*path, *keys)] = (number, row[name][1])
