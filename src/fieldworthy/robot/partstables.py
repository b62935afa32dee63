"""Takes parts from a table that another program wrote: other heads, units in heads, decimal commas."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldworthy.files import BadInput, Document, Problem
from fieldworthy.files.declare import Spec
from fieldworthy.files.document import nearest, read_bytes, shorten
from fieldworthy.files.reading import validate
from fieldworthy.robot.loading import Loaded
from fieldworthy.robot.meshes import LARGEST, cells_of, read_mesh, reading_of, solids, told_of
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.partslist import COLUMNS, NOTE, SHEETS, Line, Row, csv_lines, lay_over, sheet_lines

HEADS: dict[str, tuple[str, ...]] = {
    "part": ("part", "part name", "name", "component", "part number", "item", "bauteil", "benennung", "piece", "pieza"),
    "mass": ("mass", "weight", "mass each", "unit mass", "masse", "gewicht", "poids", "masa", "peso"),
    "x": ("x", "cg x", "com x", "center of mass x", "centre of mass x", "center of gravity x", "position x", "xg"),
    "y": ("y", "cg y", "com y", "center of mass y", "centre of mass y", "center of gravity y", "position y", "yg"),
    "z": ("z", "cg z", "com z", "center of mass z", "centre of mass z", "center of gravity z", "position z", "zg"),
    "length": ("length", "size x", "bounding box x", "box x", "dx"),
    "width": ("width", "size y", "bounding box y", "box y", "dy"),
    "height": ("height", "size z", "bounding box z", "box z", "dz"),
    "rides": ("rides", "group", "assembly", "subassembly"),
    "count": ("count", "quantity", "qty", "number", "menge", "anzahl", "quantite", "cantidad"),
    "basis": ("basis",),
    "tolerance": ("tolerance",),
}
"""Heads that are understood without being told, for each column of a parts list; the first that fits is taken."""
_UNIT = re.compile(r"(.*?)\s*(?:[(\[]\s*([^()\[\]]{1,20}?)\s*[)\]]|,\s*([a-zA-Z]{1,3}))?\s*")
_NUMBER = re.compile(
    r"""([+-]?)\s*
        ((?:\d{1,3}(?:[.,' ]\d{3})+|\d+)?(?:[.,]\d*)?(?:[eE][+-]?\d{1,3})?)   # 1.234,5 or 1,234.5 or .5e-3
        \s*([^\d\s].*)?""",
    re.VERBOSE,
)
_WORDS = ("part", "rides", "basis", "date")
_LONGEST = 60  # characters of a number with its unit
_TOP = 30  # rows in which the heads are looked for
_ODD = re.compile(r"[^A-Za-z0-9 .,_+'/()-]+")


@dataclass(frozen=True, slots=True)
class Source:
    """Where a column comes from.

    Attributes
    ----------
    at : Place of the cell in its row, from 0
    unit : Of bare numbers; empty where the cells state it
    turned : Whether the sign is turned round, for an axis that points the other way
    """

    at: int
    unit: str = ""
    turned: bool = False


@dataclass(frozen=True, slots=True)
class Inflow:
    """What came in from a foreign table.

    Attributes
    ----------
    parts : All parts of the robot, with what came in
    changes : One line for each part that is new or says something else now
    """

    parts: dict[str, Spec]
    changes: tuple[str, ...]


def flow_in(loaded: Loaded, table: Path, columns: Mapping[str, str]) -> Inflow:
    """Lay a foreign table over the parts of a robot."""
    lines = _lines(table)
    top, sources = _sources(table, lines, columns)
    comma = _decimal_comma(table, lines[top + 1 :], sources)
    rows = []
    for number, cells in lines[top + 1 :]:
        row = {column: (_cell(cells, source, column, comma), source.at + 1) for column, source in sources.items()}
        if any(text for text, _ in row.values()) and not (cells and cells[0].startswith(NOTE)):
            rows.append((number, row))
    return _laid(loaded, table, rows, sources["part"].at + 1)


def flow_in_mesh(loaded: Loaded, file: Path, how: Mapping[str, str]) -> tuple[Inflow, tuple[str, ...]]:
    """Lay the bodies of a mesh over the parts of a robot; what came in, and one line for each body."""
    reading, inch = reading_of(file, how), _is_inch(loaded)
    found = solids(read_mesh(file, read_bytes(file, LARGEST)), reading)
    parts: Mapping[str, Any] = loaded.robot.parts  # type: ignore[attr-defined]
    rows = []
    for number, solid in enumerate(found, 1):
        name, cells = known_name(solid.name, parts), cells_of(solid, inch=inch)
        if reading.mass <= 0.0 and name in parts and parts[name].mass.basis == "measured":
            del cells["mass"]  # what was weighed is better known than what a drawing gives
        rows.append((number, {column: (text, 1) for column, text in ({"part": name} | cells).items()}))
    return _laid(loaded, file, rows, 1), tuple(told_of(s, inch=inch) for s in found)


def _is_inch(loaded: Loaded) -> bool:
    return any(q.unit in ("in", "inch", "ft") for _, q in loaded.quantities[:40] if q.kind == "length")


def _laid(loaded: Loaded, table: Path, rows: Sequence[tuple[int, Row]], column: int) -> Inflow:
    """Lay rows over the parts of a robot; names stand in a column."""
    document = Document(table, dict(loaded.document.data))
    own = document.data.get("parts") or {}
    before: dict[str, Spec] = loaded.robot.parts  # type: ignore[attr-defined]
    document.data["parts"] = parts = dict(own)
    seen: dict[str, int] = {}
    for number, row in rows:
        name = known_name(row.get("part", ("", 1))[0], parts)
        if name in seen:
            expected = f"expected each part only once; {shorten(name)} stands in row {seen[name]} too"
            document.problems.append(Problem(table, number, column, ("part",), expected))
            continue
        seen[name] = number
        lay_over(document, table, number, row | {"part": (name, column)})
    spec: Any = validate(document, Robot)
    return Inflow(spec.parts, tuple(_changes(before, spec.parts)))


def _lines(table: Path) -> list[Line]:
    if table.suffix.lower() in SHEETS:
        return sheet_lines(table)
    text = _decoded(table)
    head = "\n".join(text.splitlines()[:_TOP])
    return csv_lines(table, text, max(";\t,|", key=head.count))


def _decoded(table: Path) -> str:
    """Other programs write UTF-8, UTF-16 with a mark, or the code page of old Windows."""
    raw = read_bytes(table)
    for encoding in ("utf-16",) if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252"):
        try:
            return raw.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise BadInput([Problem(table, 1, 1, (), "expected a text table: save it as CSV in UTF-8")])


def _plain(head: str) -> str:
    """A head without its unit, small, with single spaces."""
    match = _UNIT.fullmatch(head[:80])
    stem = match.group(1) if match else head
    return re.sub(r"[\s_.:-]+", " ", stem).strip().lower()


def _unit(head: str) -> str:
    match = _UNIT.fullmatch(head[:80])
    return (match.group(2) or match.group(3) or "") if match else ""


def _sources(table: Path, lines: Sequence[Line], columns: Mapping[str, str]) -> tuple[int, dict[str, Source]]:
    """The row of heads and where each column comes from: told, or the first head that is understood."""
    best, found = 0, dict[str, Source]()
    for row, (_, cells) in enumerate(lines[:_TOP]):
        guessed = _guessed(cells) | _told(cells, columns)
        if len(guessed) > len(found):
            best, found = row, guessed
    problems = []
    heads = [c.strip() for c in lines[best][1]] if lines else []
    line = lines[best][0] if lines else 1
    for column, head in columns.items():
        if column not in COLUMNS:
            expected = f"unknown column {shorten(column)}; expected one of {', '.join(COLUMNS)}"
            problems.append(Problem(table, line, 1, (), expected, nearest(column, COLUMNS)))
        elif column not in _told(lines[best][1] if lines else [], {column: head}):
            expected = f"expected a head {shorten(head)} for {column!r} in one of the first {_TOP} rows"
            problems.append(Problem(table, line, 1, (), expected, nearest(head, [h for h in heads if h])))
    if not problems and ("part" not in found or len(found) < 2):
        expected = "expected a row of heads with the part's name and its mass; say which is which with --columns"
        problems.append(Problem(table, line, 1, (), expected))
    if problems:
        raise BadInput(problems)
    return best, found


def _guessed(cells: Sequence[str]) -> dict[str, Source]:
    plain = [_plain(cell) for cell in cells]
    found = {}
    for column, heads in HEADS.items():
        head = next((h for h in heads if h in plain), None)
        if head is not None:
            at = plain.index(head)
            found[column] = Source(at, _unit(cells[at]))
    return found


def _told(cells: Sequence[str], columns: Mapping[str, str]) -> dict[str, Source]:
    heads = [cell.strip().lower() for cell in cells]
    found = {}
    for column, head in columns.items():
        wanted = head.strip().lower()
        for text, turned in ((wanted, False), (wanted.removeprefix("-").strip(), wanted.startswith("-"))):
            if text and text in heads:
                at = heads.index(text)
                found[column] = Source(at, _unit(cells[at]), turned)
                break
    return found


def _decimal_comma(table: Path, lines: Sequence[Line], sources: Mapping[str, Source]) -> bool:
    """Whether a comma is the decimal mark, by the numbers of the whole table; refused where it cannot be told."""
    places = [s.at for column, s in sources.items() if column not in (*_WORDS, "count")]
    texts = [(n, at, cells[at].strip()) for n, cells in lines for at in places if at < len(cells)]
    commas = [found for found in texts if "," in found[2]]
    if not commas or any("." in text[text.rindex(",") :] for *_, text in commas):
        return False
    if any(re.search(r",(?!\d{3}(?!\d))\d|\..*,|^[+-]?0?,", text) for *_, text in commas):
        return True
    if any("." in text for *_, text in texts):
        return False
    number, at, text = commas[0]
    expected = f"{shorten(text)} may be thousands or a decimal comma: write one more decimal place, or a point"
    raise BadInput([Problem(table, number, at + 1, (), expected)])


def _cell(cells: Sequence[str], source: Source, column: str, comma: bool) -> str:
    """A cell as a robot file would write it: a point as decimal mark, and the unit of the head behind it."""
    text = cells[source.at].strip() if source.at < len(cells) else ""
    if column in _WORDS or not text:
        return text
    match = _NUMBER.fullmatch(text.replace("\u2212", "-").replace("\u00a0", " "))
    if match is None or len(text) > _LONGEST or not any(c.isdigit() for c in match.group(2)):
        return text
    sign, number, unit = match.group(1), match.group(2), (match.group(3) or "").strip() or source.unit
    number = re.sub("[. ']" if comma else "[, ']", "", number).replace(",", ".")
    if column == "count":
        return sign + re.sub(r"\.0*$", "", number)
    negative = (sign == "-") != source.turned
    return f"{'-' if negative else ''}{number} {unit}".strip()


def known_name(name: str, parts: Mapping[str, Any]) -> str:
    """A name as the robot file writes it, or one that it could write."""
    plain = _ODD.sub("-", name).strip(" -.,_+'/()")[:60].rstrip()
    lower = {known.lower(): known for known in parts}
    return lower.get(name.lower()) or lower.get(plain.lower()) or plain


def _changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    from fieldworthy.units import show  # noqa: PLC0415

    found = []
    for name, part in after.items():
        mass = show(part.mass.si, "mass", part.mass.unit)
        if name not in before:
            found.append(f"{name}: new, {part.count} of {mass}")
        elif before[name] != part:
            old = before[name].mass
            was = f"{show(old.si, 'mass', old.unit)} ({old.basis})"
            found.append(f"{name}: mass {was} -> {mass} ({part.mass.basis})" if old != part.mass else f"{name}: moved")
    return found
