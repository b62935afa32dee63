"""Changes cells of a parts list and leaves every other byte as it was."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldworthy.robot.partslist import delimiter_of, head_of
from fieldworthy.schema import BadInput, Problem
from fieldworthy.schema.changes import GONE, is_plain
from fieldworthy.schema.problems import KeyPath
from fieldworthy.schema.rendering import is_list

_BESIDE = ("tolerance", "basis", "date")  # what a mass may have beside its value, a column each
_AXES = {"position": ("x", "y", "z"), "size": ("length", "width", "height")}
_LINE_END = re.compile(r"\r\n|\n|\r")
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)) *(\D.*)?")


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a table.

    Attributes
    ----------
    start, end : int
        Where it begins and ends in the text, quotes and spaces included.
    text : str
        What it says, as the csv module reads it.
    """

    start: int
    end: int
    text: str


def cells_of(text: str, delimiter: str) -> list[list[Cell]]:
    """Find where every cell of a table stands.

    Parameters
    ----------
    text : str
        A table that the csv module reads without complaint [-].
    delimiter : str
        What parts its cells [-].

    Returns
    -------
    list of list of Cell
        By row, empty rows left out [-].
    """
    part = re.escape(delimiter)
    cell = re.compile(rf'"((?:[^"]|"")*)"|([^\r\n{part}]*)')
    rows: list[list[Cell]] = [[]]
    at = 0
    while True:
        found = cell.match(text, at)
        assert found is not None  # it matches nothing too
        inside = found.group(1)
        rows[-1].append(Cell(at, found.end(), found.group(2) if inside is None else inside.replace('""', '"')))
        at = found.end()
        line_end = _LINE_END.match(text, at)
        if at >= len(text):
            break
        at = line_end.end() if line_end else at + len(delimiter)
        if line_end:
            rows.append([])
    return [row for row in rows if any(c.text.strip() for c in row)]


def parts_edited(file: Path, text: str, changes: Mapping[KeyPath, object]) -> str:
    """Change parts of a parts list.

    Parameters
    ----------
    file : Path
        The table, as it shall be named in messages [-].
    text : str
        Its text [-].
    changes : mapping of tuple to object
        New value by key path below ``parts``: the part's name, then ``mass``, ``position``, ``size``, ``rides`` or
        ``count`` and what stands below them; `GONE` for a part takes its row away [-].

    Returns
    -------
    str
        The new text; a column that is lacking is added at the end [-].

    Raises
    ------
    BadInput
        For a key that a parts list has no column for.
    """
    table = _Table(file, text)
    for path, value in changes.items():
        name = str(path[0])
        if len(path) == 1 and value is GONE:
            table.drop(name)
            continue
        for column, cell in _columns(file, path, value):
            table.put(name, column, cell)
    return table.written()


def _columns(file: Path, path: KeyPath, value: Any) -> list[tuple[str, str]]:
    """Which cells a change writes, and what."""
    keys = tuple(path[1:])
    if not keys and isinstance(value, Mapping):
        return [pair for key, inner in value.items() for pair in _columns(file, (*path, key), inner)]
    if keys == ("mass",) and isinstance(value, Mapping):
        rest = [(key, _shown(value.get(key))) for key in _BESIDE]
        return [("mass", _shown(value.get("value"))), *rest, *_strange(file, path, set(value) - {"value", *_BESIDE})]
    if len(keys) == 1 and keys[0] in _AXES and is_list(value) and len(value) == 3:
        return [(axis, _shown(v)) for axis, v in zip(_AXES[str(keys[0])], value, strict=True)]
    if len(keys) == 2 and keys[0] in _AXES and keys[1] in (0, 1, 2) and is_plain(value):
        return [(_AXES[str(keys[0])][int(keys[1])], _shown(value))]
    column = {"mass": "mass", "rides": "rides", "count": "count"}.get(str(keys[0])) if len(keys) == 1 else None
    if keys[:1] == ("mass",) and len(keys) == 2:
        column = {"value": "mass"}.get(str(keys[1]), str(keys[1]) if keys[1] in _BESIDE else None)
    if column is None or not (is_plain(value) or value is GONE):
        _strange(file, path, {""})
    return [(str(column), _shown(value))]


def _strange(file: Path, path: KeyPath, keys: set[Any]) -> list[tuple[str, str]]:
    if keys:
        what = (
            f"a parts list has no column for this: describe the part {str(path[0])!r} in the robot file, under 'parts'"
        )
        raise BadInput([Problem(file, 1, 1, ("parts", *path, *(k for k in keys if k)), what)])
    return []


def _shown(value: object) -> str:
    return "" if value is None or value is GONE else str(value)


class _Table:
    """A parts list whose cells are replaced one by one."""

    def __init__(self, file: Path, text: str) -> None:
        self._file, self._text = file, text
        self._delimiter = delimiter_of(text)
        self._rows = cells_of(text, self._delimiter)
        self._heads = [head_of(cell.text) for cell in self._rows[0]]
        while not self._heads[-1][0]:
            self._heads.pop()
        self._names = [name for name, _ in self._heads]
        self._new: list[str] = []
        self._puts: dict[tuple[int, int], str] = {}
        self._dropped: set[int] = set()

    def _row(self, part: str) -> int:
        at = self._names.index("part")
        return next(i for i, row in enumerate(self._rows) if i and at < len(row) and row[at].text.strip() == part)

    def drop(self, part: str) -> None:
        """Take a part's row away."""
        self._dropped.add(self._row(part))

    def put(self, part: str, column: str, value: str) -> None:
        """Write one cell of a part's row."""
        if column not in (*self._names, *self._new):
            if not value:
                return
            self._new.append(column)
        place = (*self._names, *self._new).index(column)
        unit = self._heads[place][1] if place < len(self._heads) else ""
        found = _NUMBER.fullmatch(value)
        if unit and found and found.group(2) == unit:
            value = found.group(1)
        self._puts[self._row(part), place] = value

    def written(self) -> str:
        """The text with every cell replaced."""
        splices = [s for i in range(len(self._rows)) for s in self._row_splices(i)]
        text = self._text
        for start, end, new in reversed(splices):
            text = text[:start] + new + text[end:]
        return text

    def _row_splices(self, i: int) -> list[tuple[int, int, str]]:
        row = self._rows[i]
        if i in self._dropped:
            found = _LINE_END.search(self._text, row[-1].end)
            start, end = row[0].start, found.end() if found else len(self._text)
            return [(start if found else len(self._text[:start].rstrip("\r\n")), end, "")]
        width = len(self._heads)
        wanted = {place: value for (r, place), value in self._puts.items() if r == i}
        wanted |= {width + k: name for k, name in enumerate(self._new)} if i == 0 else {}
        splices = [(*self._inside(row[p]), self._cell(row[p], v)) for p, v in sorted(wanted.items()) if p < len(row)]
        behind = {p: v for p, v in wanted.items() if p >= len(row)}
        if behind:
            cells = [self._quoted(behind.get(p, "")) for p in range(len(row), max(behind) + 1)]
            splices.append((row[-1].end, row[-1].end, self._delimiter + self._delimiter.join(cells)))
        return splices

    def _inside(self, cell: Cell) -> tuple[int, int]:
        """Where a cell's text stands without the spaces that a person aligned it with."""
        raw = self._text[cell.start : cell.end]
        left = len(raw) - len(raw.lstrip(" ")) if raw.strip() else len(raw)
        return cell.start + left, cell.end - (len(raw) - len(raw.rstrip(" "))) * bool(raw.strip())

    def _cell(self, cell: Cell, value: str) -> str:
        start, end = self._inside(cell)
        return self._quoted(value, in_quotes=self._text[start:end].startswith('"'))

    def _quoted(self, value: str, *, in_quotes: bool = False) -> str:
        bare = not any(c in value for c in (self._delimiter, '"', "\r", "\n")) and value.strip() == value
        return value if bare and not in_quotes else '"' + value.replace('"', '""') + '"'
