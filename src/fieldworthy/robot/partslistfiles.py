"""Tables of cells in files: CSV and spreadsheets, read within bounds and written so that no cell is ever reckoned."""

from __future__ import annotations

import csv
import io
import math
import warnings
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from fieldworthy.schema import BadInput, Problem
from fieldworthy.schema.document import read_bytes

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

    Parameters
    ----------
    file : Path
        The file [-].

    Returns
    -------
    list of tuple
        Number and cells of every row; empty rows too, as they stand [-].

    Raises
    ------
    BadInput
        When it cannot be read, is no spreadsheet, or is larger than a parts list can be.

    Notes
    -----
    Formulas are not reckoned: what the spreadsheet's own program last stored as their result is taken.
    """
    raw = read_bytes(file)
    _refuse_bombs(file, raw)
    return _unpacked(file, raw)


def csv_lines(file: Path, text: str, delimiter: str) -> list[Line]:
    """Take the text of a CSV file apart.

    Parameters
    ----------
    file : Path
        The file, as it shall be named in messages [-].
    text : str
        Its text [-].
    delimiter : str
        What parts the cells [-].

    Returns
    -------
    list of tuple
        Number of the line on which each row begins, and its cells [-].

    Raises
    ------
    BadInput
        When a quote is not closed or a cell is longer than any honest one.
    """
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
    """Write rows as CSV.

    Parameters
    ----------
    rows : iterable of sequences
        Texts, numbers and None for an empty cell [-].

    Returns
    -------
    str
        Cells parted by commas; a text that a spreadsheet would reckon has an apostrophe before it [-].
    """
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
    """Write rows as a spreadsheet.

    Parameters
    ----------
    sheets : mapping of str to iterable of sequences
        Rows of texts, numbers and None, by the sheet's name [-].

    Returns
    -------
    bytes
        An ``.xlsx`` file; a text stays a text, also one that begins with ``=`` [-].
    """
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
