"""Reads a table of readings: any delimiter, decimal point or comma, and every doubtful row named.

A table is read whole or refused. Rows that cannot be used are left out and said to be, each by its line in the file.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array
from fieldworthy.files import BadInput, Document, Problem
from fieldworthy.files.document import KeyPath, nearest, read_text, shorten
from fieldworthy.measure.model import Column
from fieldworthy.units import KINDS, UnitError, affine, digits, often

Places = npt.NDArray[np.int64]
_GAP = 5.0  # times the usual step between two rows
_STUCK = 15  # rows with exactly the same value
_BACKWARDS = 0.1  # of all steps; more, and the rows are no run in time
_ANGLES, _LENGTHS, _TIMES = ("angle", "angular speed"), ("length", "speed"), ("time", "frequency", "angular speed")
_MISTAKES: tuple[tuple[float, str, tuple[str, ...]], ...] = (
    (57.29577951308232, "degrees read as radians (57.3 times too large)", _ANGLES),
    (1.0 / 57.29577951308232, "radians read as degrees (57.3 times too small)", _ANGLES),
    (25.4, "millimetres read as inches (25.4 times too large)", _LENGTHS),
    (1.0 / 25.4, "inches read as millimetres (25.4 times too small)", _LENGTHS),
    (1.0 / 0.0254, "inches read as metres (39.4 times too large)", _LENGTHS),
    (0.0254, "metres read as inches (39.4 times too small)", _LENGTHS),
    (60.0, "turns a minute read as turns a second, or seconds read as minutes (60 times too large)", _TIMES),
    (1.0 / 60.0, "turns a second read as turns a minute, or minutes read as seconds (60 times too small)", _TIMES),
    (6894.757, "pascal read as psi (6895 times too large)", ("pressure",)),
    (1.0 / 6894.757, "psi read as pascal (6895 times too small)", ("pressure",)),
    (100.0, "hundredths read as whole ones (100 times too large)", ("length", "speed", "ratio")),
    (0.01, "whole ones read as hundredths (100 times too small)", ("length", "speed", "ratio")),
    (1000.0, "thousandths read as whole ones (1000 times too large)", ()),
    (1e-3, "whole ones read as thousandths (1000 times too small)", ()),
    (1e6, "millionths read as whole ones", ()),
    (1e-6, "whole ones read as millionths", ()),
)
"""Factors by which a column is off when its unit is wrong, what was done, and for which kinds; () for every kind."""


class Expected(Protocol):
    """What is known of a column beforehand: the part of ``table.Wanted`` that is looked at here."""

    @property
    def kind(self) -> str:
        """Kind of quantity."""

    @property
    def low(self) -> float:
        """Its largest size is at least this [SI]."""

    @property
    def high(self) -> float:
        """Its largest size is at most this [SI]."""

    @property
    def rises(self) -> bool:
        """Whether it is a time."""

    @property
    def moves(self) -> bool:
        """Whether it cannot stand still while others move."""


@dataclass(frozen=True, slots=True)
class Remark:
    """Something odd in a table, and what was done about it.

    Attributes
    ----------
    line : Line of the file, from 1
    text : One sentence without its full stop
    """

    line: int
    text: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.text}"


def gone_over(
    file: Path, numbers: Mapping[str, Array], lines: Places, wanted: Mapping[str, Expected]
) -> tuple[Places, list[Remark]]:
    """Find the rows of a table that can be used."""
    problems = [
        Problem(file, int(lines[0]), 1, (name,), said)
        for name, want in wanted.items()
        if name in numbers and (said := _size(numbers[name], want))
    ]
    if problems:
        raise BadInput(problems)
    keep = np.arange(lines.size, dtype=np.int64)
    remarks: list[Remark] = []
    for name in (n for n, want in wanted.items() if want.rises and n in numbers):
        keep, odd = _in_order(file, name, numbers[name], lines)
        remarks += odd
    wild, more = _beyond(numbers, wanted, lines)
    keep, remarks = keep[~wild[keep]], [*remarks, *more]
    moving = {name: values[keep] for name, values in numbers.items() if not wanted[name].rises}
    stuck = np.zeros(keep.size, dtype=bool)
    for name, values in moving.items():
        if wanted[name].moves:
            for begin, end in _stuck(name, moving):
                if end - begin > 0.9 * values.size:
                    shown = f"expected readings that move; {name} stands still over {end - begin} rows"
                    raise BadInput([Problem(file, int(lines[keep[begin]]), 1, (name,), f"{shown}: a loose plug?")])
                stuck[begin:end] = True
                last = int(lines[keep[end - 1]])
                remarks.append(
                    Remark(int(lines[keep[begin]]), f"{name} does not move down to line {last}, others do; left out")
                )
    return keep[~stuck], remarks


_NO_READING = 10.0  # times the largest size that a column may have: a slip of a key, and no fit can weigh it


def _beyond(
    numbers: Mapping[str, Array], wanted: Mapping[str, Expected], lines: Places
) -> tuple[npt.NDArray[np.bool_], list[Remark]]:
    """Single rows with a number that no sensor of the kind can give."""
    wild = np.zeros(lines.size, dtype=bool)
    remarks = []
    for name, values in numbers.items():
        want = wanted[name]
        if want.rises:
            continue
        most = _NO_READING * want.high
        here = np.abs(values) > most
        remarks += [
            Remark(int(line), f"{name} is beyond {digits(most)} {KINDS[want.kind].si}; left out")
            for line in lines[here & ~wild][:3]
        ]
        wild |= here
    return wild, remarks


def _size(values: Array, want: Expected) -> str:
    """What is wrong with a column's largest size, and which slip of units would explain it."""
    largest = float(np.quantile(np.abs(values), 0.98)) if values.size else 0.0
    if want.low <= largest <= want.high or (largest == 0.0 and want.low == 0.0):
        return ""
    unit = KINDS[want.kind].si
    told = (
        f"expected a largest size of {digits(want.low)} to {digits(want.high)} {unit}, found {digits(largest)} {unit}"
    )
    slips = [
        slip
        for factor, slip, kinds in _MISTAKES
        if want.low <= largest / factor <= want.high and (not kinds or want.kind in kinds)
    ]
    if slips:
        return f"{told}: {', or '.join(slips[:3])}? Mend the column's 'unit'"
    return told


def _in_order(file: Path, name: str, times: Array, lines: Places) -> tuple[Places, list[Remark]]:
    """Rows in the order of time, each time once, with remarks on what was put right and on gaps."""
    back = np.flatnonzero(np.diff(times) < 0) + 1
    if back.size > max(1, _BACKWARDS * times.size):
        said = f"expected {name} to rise from row to row; it falls {often(int(back.size))}: several runs in one file?"
        raise BadInput([Problem(file, int(lines[back[0]]), 1, (name,), said)])
    remarks = [Remark(int(lines[i]), f"{name} runs back here; rows put in order") for i in back]
    order = np.argsort(times, kind="stable").astype(np.int64)
    step = np.diff(times[order])
    twice = np.flatnonzero(step <= 0) + 1
    remarks += [Remark(int(lines[order[i]]), f"the same {name} as an earlier row; left out") for i in twice]
    keep = np.delete(order, twice)
    remarks += _gaps(times[keep], lines[keep])
    return keep, remarks


_DAY = 86400.0  # s


def _gaps(times: Array, lines: Places) -> Iterator[Remark]:
    step = np.diff(times)
    usual = float(np.median(step)) if step.size else 0.0
    for i in np.flatnonzero(step > _GAP * usual) + 1 if step.size >= 4 else ():
        gap = float(step[i - 1])
        long = f"{digits(gap)} s" if gap < _DAY else "more than a day"
        yield Remark(int(lines[i]), f"{long} missing before it, {digits(usual)} s are usual")


def _stuck(name: str, columns: Mapping[str, Array]) -> Iterator[tuple[int, int]]:
    """Runs of rows over which one column keeps exactly its value while another moves by a good part of its range."""
    values = columns[name]
    if values.size < _STUCK or len(columns) < 2:
        return
    ends = np.flatnonzero(np.diff(values) != 0) + 1
    begins, ends = np.concatenate(([0], ends)), np.concatenate((ends, [values.size]))
    for begin, end in zip(begins.tolist(), ends.tolist(), strict=True):
        if end - begin >= _STUCK and any(
            np.ptp(other[begin:end]) > 0.2 * np.ptp(other) > 0 for n, other in columns.items() if n != name
        ):
            yield begin, end


DELIMITERS = (",", ";", "\t", "|", " ")
_HEADS = 40  # lines in which the names of the columns must stand
_WIDEST = 200  # columns
_NUMBER = re.compile(r"[+-]?(\d{1,15}(\.\d{0,25})?|\.\d{1,25})([eE][+-]?\d{1,2})?")  # programs write 17 digits
_COMMA = re.compile(r"[+-]?\d{0,15},\d{1,25}([eE][+-]?\d{1,2})?")
_UNIT = re.compile(r"(.*?)\s*[\[(]\s*([^\[\]()]+?)\s*[\])]\s*")
_EMPTY = ("", "-", "--", "na", "n/a", "nan", "null", "none", "#n/a")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a procedure wants of one column.

    Attributes
    ----------
    kind : Kind of quantity of `fieldworthy.units.KINDS`; empty for a column of words
    low, high : The column's largest size lies between these where its unit is right [SI]
    rises : True for a time: rows are put in its order, and no two have the same
    moves : True for what cannot keep exactly the same value over many rows while other columns move
    needed : False where a table without this column can be used too
    """

    kind: str
    low: float = 0.0
    high: float = float("inf")
    rises: bool = False
    moves: bool = True
    needed: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """A table of readings in SI.

    Attributes
    ----------
    numbers : By quantity [SI]
    words : By quantity, for columns of words
    lines : Line of the file that each row stood in, from 1
    remarks : What was odd, and what was done about it
    """

    numbers: dict[str, Array]
    words: dict[str, tuple[str, ...]]
    lines: npt.NDArray[np.int64]
    remarks: tuple[Remark, ...]


@dataclass(frozen=True, slots=True)
class Source:
    """A table and how its columns are named.

    Attributes
    ----------
    file : The CSV file
    columns : Which column holds which quantity
    document : The measurements file that names the columns, for messages
    at : Where in it the mapping of columns stands
    """

    file: Path
    columns: Mapping[str, Column]
    document: Document | None = None
    at: KeyPath = ()

    def bad(self, line: int, expected: str, suggestion: str | None = None) -> Problem:
        """Describe something wrong in the table."""
        return Problem(self.file, line, 1, (), expected, suggestion)

    def misnamed(self, quantity: str, key: str, expected: str, suggestion: str | None = None) -> Problem:
        """Describe something wrong with how a column is named in the measurements file."""
        if self.document is None:
            return Problem(self.file, 1, 1, (quantity, key), expected, suggestion)
        return self.document.problem((*self.at, quantity, key), expected, suggestion)


def read_table(source: Source, wanted: Mapping[str, Wanted], text: str | None = None) -> Table:
    """Read a table of readings.

    Notes
    -----
    The delimiter is the one under which the named columns are found. A row counts only where every column that was
    asked for holds a number; a time may not come twice, and rows out of order are put in order.
    """
    text = read_text(source.file) if text is None else text
    used = {name: want for name, want in wanted.items() if name in source.columns}
    lacking = [name for name, want in wanted.items() if want.needed and name not in used]
    if lacking:
        raise BadInput([source.misnamed(name, "column", "this column is needed, and nothing names it")
                        for name in lacking])  # fmt: skip
    head, rows = _cells(source, text)
    places = _places(source, head, used)
    scales = {name: _unit(source, head[places[name]], name, want) for name, want in used.items() if want.kind}
    _refuse_longer(source, rows, len(head))
    raw = _Raw(places, {name: want.kind != "" for name, want in used.items()})
    lines, columns, remarks = raw.read(source, rows)
    numbers = {name: scale * columns[name] + offset for name, (scale, offset) in scales.items()}
    words = {name: columns[name] for name in used if name not in scales}
    keep, more = gone_over(source.file, numbers, lines, used)
    return Table(
        {name: values[keep] for name, values in numbers.items()},
        {name: tuple(values[i] for i in keep) for name, values in words.items()},
        lines[keep],
        (*remarks, *more),
    )


Row = tuple[int, list[str]]


def _cells(source: Source, text: str) -> tuple[list[str], list[Row]]:
    """The names of the columns and the rows below them, cut at the delimiter under which the names are found."""
    named = {_plain(column.column) for column in source.columns.values()}
    best: tuple[int, int, str] = (0, 0, "")
    top = text.splitlines()[:_HEADS]
    for delimiter in DELIMITERS:
        for number, line in enumerate(top):
            cells = _split(line, delimiter)
            found = len(named & {name for cell in cells for name in (_plain(cell), _plain(_unit_off(cell)[0]))})
            if found > best[0] or (found == best[0] and found and number < best[1]):
                best = (found, number, delimiter)
    if not best[0]:
        raise BadInput([_no_names(source, top)])
    reader = csv.reader(io.StringIO(text, newline=None), delimiter=best[2], skipinitialspace=True)
    rows, start = [], 1
    try:
        for cells in reader:
            rows.append((start, _trimmed(cells) if best[2] == " " else [c.strip() for c in cells]))
            start = reader.line_num + 1
    except csv.Error as error:
        raise BadInput([source.bad(start, f"expected a table of cells: {error}")]) from error
    at = next((i for i, (line, _) in enumerate(rows) if line == best[1] + 1), None)
    if at is None:
        raise BadInput([source.bad(best[1] + 1, "expected the names of the columns on a line of their own")])
    return rows[at][1], [(line, cells) for line, cells in rows[at + 1 :] if any(cells) and cells[0][:1] != "#"]


def _split(line: str, delimiter: str) -> list[str]:
    try:
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        return []
    return _trimmed(cells) if delimiter == " " else [cell.strip() for cell in cells]


def _trimmed(cells: Iterable[str]) -> list[str]:
    return [cell for cell in (c.strip() for c in cells) if cell]


def _plain(name: str) -> str:
    return " ".join(name.lower().split())


def _unit_off(head: str) -> tuple[str, str]:
    """A column's name and the unit in brackets behind it."""
    match = _UNIT.fullmatch(head[:200])
    return (match[1], match[2]) if match else (head, "")


def _no_names(source: Source, top: Sequence[str]) -> Problem:
    listed = ", ".join(shorten(c.column) for c in source.columns.values())
    first = next((line for line in top if line.strip()), "")
    return source.bad(1, f"expected a row with the names of the columns: {listed} (found {shorten(first.strip())})")


def _places(source: Source, head: Sequence[str], used: Mapping[str, Wanted]) -> dict[str, int]:
    """Where each quantity's column stands."""
    whole = [_plain(cell) for cell in head[:_WIDEST]]
    bare = [_plain(_unit_off(cell)[0]) for cell in head[:_WIDEST]]
    places, problems = {}, []
    for name in used:
        asked = _plain(source.columns[name].column)
        found = [i for i, cell in enumerate(whole) if cell == asked] or [i for i, c in enumerate(bare) if c == asked]
        if len(found) == 1:
            places[name] = found[0]
        else:
            what = "no column" if not found else f"{len(found)} columns"
            expected = f"expected the name of one column of {source.file.name} ({what} of this name)"
            problems.append(source.misnamed(name, "column", expected, None if found else nearest(asked, head)))
    if problems:
        raise BadInput(problems)
    return places


def _refuse_longer(source: Source, rows: Sequence[Row], columns: int) -> None:
    """A table most of whose rows have more cells than its head: a comma is decimal mark and delimiter at once."""
    longer = [line for line, cells in rows if any(cells[columns:])]
    if len(longer) > 0.1 * len(rows):
        expected = f"expected at most {columns} cells, one for each column; a decimal comma between commas? Save the "
        raise BadInput([source.bad(longer[0], f"{expected}table with ';' between the cells, or with decimal points")])


def _unit(source: Source, head: str, name: str, want: Wanted) -> tuple[float, float]:
    """Scale and offset that turn a column into SI."""
    written = source.columns[name].unit or _unit_off(head)[1]
    if not written or written == "1":
        return 1.0, 0.0
    try:
        found = affine(written, want.kind)
    except UnitError as error:
        problem = source.misnamed(
            name, "unit", f"expected {error.expected} (found {shorten(written)})", error.suggestion
        )
        raise BadInput([problem]) from error
    return found.scale, found.offset


@dataclass(frozen=True, slots=True)
class _Raw:
    """Turns rows of cells into columns."""

    places: dict[str, int]
    is_number: dict[str, bool]

    def read(self, source: Source, rows: Sequence[Row]) -> tuple[npt.NDArray[np.int64], dict[str, Array], list[Remark]]:
        comma = self._comma(rows)
        lines, columns, remarks = [], {name: [] for name in self.places}, []  # type: ignore[var-annotated]
        for line, cells in rows:
            values, odd = self._row(cells, comma)
            if odd:
                remarks.append(Remark(line, odd))
                continue
            lines.append(line)
            for name, value in values.items():
                columns[name].append(value)
        self._refuse(source, len(rows), remarks)
        arrays = {
            name: np.array(values) if self.is_number[name] else np.array(values, dtype=object)
            for name, values in columns.items()
        }
        return np.array(lines, dtype=np.int64), arrays, remarks

    def _comma(self, rows: Sequence[Row]) -> bool:
        """Whether a comma is the decimal mark: cells with one are numbers then, and no cell has a point."""
        numbers = [cells[i] for _, cells in rows[:2000] for name, i in self.places.items()
                   if self.is_number[name] and i < len(cells)]  # fmt: skip
        return any(_COMMA.fullmatch(cell) for cell in numbers) and not any(re.search(r"\d\.\d", c) for c in numbers)

    def _row(self, cells: Sequence[str], comma: bool) -> tuple[dict[str, float | str], str]:
        values: dict[str, float | str] = {}
        for name, i in self.places.items():
            cell = cells[i] if i < len(cells) else ""
            if not self.is_number[name]:
                values[name] = cell
                if not cell:
                    return {}, f"no {name}; left out"
                continue
            if cell.lower() in _EMPTY:
                return {}, f"no {name}; left out"
            text = cell.replace(",", ".") if comma and _COMMA.fullmatch(cell) else cell
            if not _NUMBER.fullmatch(text):
                return {}, f"expected a number for {name}, found {shorten(cell)}; left out"
            values[name] = float(text)
        return values, ""

    def _refuse(self, source: Source, rows: int, remarks: Sequence[Remark]) -> None:
        if rows - len(remarks) >= max(2, 0.5 * rows):
            return
        if rows < 2:
            raise BadInput([source.bad(1, "expected two rows of readings or more below the names of the columns")])
        raise BadInput([source.bad(r.line, r.text.removesuffix("; left out")) for r in remarks])
