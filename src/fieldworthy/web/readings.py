"""The measurements file of a robot, and the tables that it names: found, looked at, and never overwritten unseen."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from pathlib import Path

from fieldworthy.files.document import BadInput, Problem, head_of_file, read_text, shorten, text_of
from fieldworthy.files.writing import fingerprint, flow_text, is_dated_copy, written
from fieldworthy.measure import drivelog, frames, samples
from fieldworthy.measure.model import Column
from fieldworthy.measure.table import DELIMITERS, Source, Table, Wanted, read_table
from fieldworthy.robot.partslist import beside
from fieldworthy.units import counted
from fieldworthy.web.folder import Folder
from fieldworthy.web.judging import Units

_HEAD = 4000  # characters in which the file says what it is
_MOST = 400  # files that are looked at
_FORM = re.compile(r"^fieldworthy:[ \t]*['\"]?measurements\b", re.MULTILINE)
_ROBOT = re.compile(r"^robot:[ \t]*(.+?)[ \t]*$", re.MULTILINE)
_TABLE = re.compile(r"\bfile:[ \t]*['\"]?([^'\",}#\r\n]{1,120}\.csv)\b", re.IGNORECASE)
_STEPS = 50  # entries that can be taken back


@dataclass(frozen=True, slots=True)
class Readings:
    """A measurements file as it stands, with the tables that it names.

    Attributes
    ----------
    file : The measurements file
    text : Its text
    tables : Name and fingerprint of each table, so that results are not kept beyond a change of theirs
    """

    file: Path
    text: str
    tables: tuple[tuple[str, str], ...] = ()

    @classmethod
    def read(cls, file: Path) -> Readings:
        """Read a measurements file."""
        text = read_text(file)
        names = sorted({found.strip() for found in _TABLE.findall(text)})[:100]
        tables = ((name, path) for name in names if (path := beside(file, name)) is not None)
        return cls(file, text, tuple((name, fingerprint(path)) for name, path in tables))

    def put(self, text: str) -> None:
        """Write a new text over the one that was read, and over no other."""
        written({self.file: text}, copy_dated=None, expect={self.file: fingerprint(self.text)})


@dataclass(slots=True)
class Memory:
    """What one browser tab has typed and not put into the file, and what it has put there.

    Attributes
    ----------
    file : Name of the measurements file that was chosen, where there are several
    typed : Typed text by procedure and key
    more : Rows added to lists, by procedure and key
    base : What the file said when the form was opened, by procedure and key
    units : In which units that was typed, by procedure
    past : Entries made, the newest last: file, text before, text after
    """

    file: str = ""
    typed: dict[str, dict[str, str]] = field(default_factory=dict)
    more: dict[str, dict[str, int]] = field(default_factory=dict)
    base: dict[str, dict[str, str]] = field(default_factory=dict)
    units: dict[str, Units] = field(default_factory=dict)
    past: list[tuple[Path, str, str]] = field(default_factory=list)

    def forget(self, part: str) -> None:
        """Forget what was typed for one procedure."""
        for kept in (self.typed, self.more, self.base, self.units):
            kept.pop(part, None)

    def keep(self, file: Path, before: str, after: str) -> None:
        """Note an entry, so that it can be taken back."""
        self.past.append((file, before, after))
        del self.past[:-_STEPS]


def belonging(folder: Folder, robot: Path) -> tuple[str, ...]:
    """Find the measurements files that name a robot and stand beside it."""
    try:
        near = sorted(p for p in robot.parent.iterdir() if p.suffix.lower() in (".yaml", ".yml"))[:_MOST]
    except OSError:
        return ()
    plain = (p for p in near if not p.name.startswith(".") and not is_dated_copy(p))
    return tuple(folder.name(p) for p in plain if _names(folder, p) == robot.name)


def _names(folder: Folder, file: Path) -> str:
    """The robot that a measurements file names; empty for any other file."""
    try:
        head = head_of_file(folder.path(folder.name(file)), _HEAD)
    except BadInput:
        return ""
    robot = _ROBOT.search(head) if _FORM.search(head) else None
    return robot[1].split(" #")[0].strip("'\" ") if robot else ""


def begin(robot: Path, called: str, day: date) -> Path:
    """Begin a measurements file beside a robot."""
    stems = [f"{robot.stem}_measurements", *(f"{robot.stem}_measurements_{i}" for i in range(2, _MOST))]
    file = next(f for stem in stems if not (f := robot.with_name(f"{stem}.yaml")).exists())
    shown = " ".join(called.split())[:80]
    text = (
        f"# What was measured on {shown}; begun on {day.isoformat()}. One section for each procedure: the page fills\n"
        f"# them in, and so does any editor. To fit it: fieldworthy fit {robot.name} {file.name}\n"
        f"fieldworthy: measurements 1\nrobot: {flow_text(robot.name)}\n"
    )
    written({file: text}, copy_dated=None, expect={file: ""})
    return file


def place(target: Path, text: str, day: date) -> tuple[str, ...]:
    """Write a table beside a measurements file; one of that name is kept as a dated copy."""
    copies = written({target: text}, copy_dated=day, expect={target: fingerprint(target)})
    return tuple(copy.name for copy in copies)


WANTED: dict[str, Mapping[str, Wanted]] = {
    "drive": drivelog.WANTED,
    "frames": frames.WANTED,
    "samples": samples.WANTED,
}
"""What each procedure that takes a table wants of its columns."""
_ALSO = {
    "time": ("t", "timestamp", "seconds", "clock", "frame time"),
    "position": ("pos", "distance", "travel", "x", "s", "rod"),
    "speed": ("velocity", "vel"),
    "current": ("amps", "i"),
    "voltage": ("volts", "battery"),
    "angle": ("theta", "arm"),
    "class": ("object", "colour", "color", "label", "kind"),
    "hue": ("h", "hue angle"),
    "saturation": ("sat",),
    "brightness": ("value", "v", "bright"),
}
"""What else programs call a column, in lower case."""
_BESIDES = {"drive": ("position", "speed", "current", "voltage"), "frames": ("position", "angle"), "samples": ("hue",)}
_LINES = 40  # in which the names of the columns stand
_SAID = 12  # remarks that are listed


@dataclass(frozen=True, slots=True)
class Arrived:
    """A table that can be used.

    Attributes
    ----------
    columns : Quantity, and the column that holds it
    rows : That can be used
    told : Sentences: what it holds, and what was odd in which row
    """

    columns: tuple[tuple[str, str], ...]
    rows: int
    told: tuple[str, ...]


def head_of(text: str) -> tuple[str, ...]:
    """Find the names of a table's columns."""
    lines = text.splitlines()[:_LINES]
    best: tuple[str, ...] = ()
    for delimiter in DELIMITERS:
        for line, below in pairwise([*lines, ""]):
            names, cells = _cut(line, delimiter), _cut(below, delimiter)
            words = [n for n in names if n and not _is_number(n)]
            if len(words) == len(names) == len(cells) > max(1, len(best)) and any(map(_is_number, cells)):
                best = tuple(names)
    return best


def _cut(line: str, delimiter: str) -> list[str]:
    try:
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        return []
    return [c.strip() for c in cells if delimiter != " " or c.strip()]


def _is_number(cell: str) -> bool:
    try:
        float(cell.replace(",", "."))
    except ValueError:
        return False
    return True


def _bare(name: str) -> str:
    for opening in "[(":
        if opening in name:
            name = name.partition(opening)[0]
    return name.strip()


def heads(folder: Path, named: Iterable[str], files: Sequence[str]) -> tuple[str, ...]:
    """List the columns of the tables that a form names."""
    found: dict[str, None] = {}
    for name in named:
        path = beside(folder / "measurements.yaml", name) if name in files else None
        try:
            found |= dict.fromkeys(head_of(read_text(path)) if path else ())
        except BadInput:
            continue  # told when it is fitted
    return tuple(found)


def guessed(section: str, head: Sequence[str]) -> dict[str, str]:
    """Recognise the columns of a table by their names."""
    plain = {" ".join(_bare(name).lower().replace("_", " ").split()): name for name in head}
    found: dict[str, str] = {}
    for quantity in WANTED[section]:
        words = (quantity, *_ALSO[quantity])
        exact = next((plain[w] for w in words if w in plain), None)
        part = next((name for low, name in plain.items() if quantity in low.split()), None)
        column = exact or part
        if column is not None and column not in found.values():
            found[quantity] = column
    if section == "frames" and "angle" in found and "position" in found:
        del found["position"]
    return found


def looked_at(section: str, name: str, content: bytes, columns: tuple[tuple[str, str, str], ...]) -> Arrived:
    """Look at every row of a table that has come; nothing is written where it stays."""
    file = Path(name)
    text = text_of(file, content)
    own = {quantity: Column(column=column, unit=unit) for quantity, column, unit in columns}
    own = own or _recognised(section, file, text)
    table = read_table(Source(file, own), WANTED[section], text)
    told = (_summary(table, own), *_remarks(table))
    return Arrived(tuple((quantity, c.column) for quantity, c in own.items()), int(table.lines.size), told)


def _recognised(section: str, file: Path, text: str) -> dict[str, Column]:
    head = head_of(text)
    found = guessed(section, head)
    besides = _BESIDES[section]
    first = next(q for q, w in WANTED[section].items() if w.needed)
    if first not in found or not any(name in found for name in besides):
        seen = ", ".join(head) or next((line.strip() for line in text.splitlines() if line.strip()), "")
        expected = f"expected a row that names the columns: {first}, and {' or '.join(besides)} (found {shorten(seen)})"
        more = "; what they are called in your file can be chosen under 'Columns' first"
        raise BadInput([Problem(file, 1, 1, (), expected + more)])
    return {quantity: Column(column=column, unit="") for quantity, column in found.items()}


def _summary(table: Table, columns: Mapping[str, Column]) -> str:
    named = ", ".join(f"{quantity} from '{c.column}'" for quantity, c in columns.items())
    span = ""
    if "time" in table.numbers and table.lines.size > 1:
        times = table.numbers["time"]
        span = f" over {float(times[-1] - times[0]):.3g} s"
    return f"{counted(int(table.lines.size), 'row')} can be used{span}: {named}."


def _remarks(table: Table) -> list[str]:
    told = [f"Line {r.line}: {r.text}." for r in table.remarks[:_SAID]]
    more = len(table.remarks) - _SAID
    return [*told, f"… and {more} more rows of the kind."] if more > 0 else told
