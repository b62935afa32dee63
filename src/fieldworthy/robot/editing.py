"""Changes values in the files of a robot, each in the file that it came from, every other byte as it was."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Protocol, TypeAlias

from fieldworthy.files import BadFile, BadInput, Problem, schema_of
from fieldworthy.files.document import Document, KeyPath, nearest, plain_scalar, read_document, shorten
from fieldworthy.files.reading import models_at
from fieldworthy.files.splicing import spliced
from fieldworthy.files.writing import GONE, fingerprint, is_dated_copy, is_list, is_plain, written
from fieldworthy.robot.loading import Loaded, builtin, builtin_names, load_robot, load_season
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.robot.partslist import delimiter_of, head_of

_BESIDE = ("tolerance", "basis", "date")  # what a mass may have beside its value, a column each
_AXES = {"position": ("x", "y", "z"), "size": ("length", "width", "height")}
_IN_A_SHEET = "this part comes from a spreadsheet: change it there, or save the sheet as CSV and name that file"
_LINE_END = re.compile(r"\r\n|\n|\r")
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)) *(\D.*)?")


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a table.

    Attributes
    ----------
    start, end : Where it begins and ends in the text, quotes and spaces included
    text : What it says, as the csv module reads it
    """

    start: int
    end: int
    text: str


__all__ = ["GONE", "edited", "fingerprint", "is_dated_copy", "parts_edited", "written"]
Texts: TypeAlias = dict[Path, str]
"""New texts by the file that they are of."""


class Files(Protocol):
    """The files of a robot, whether or not they are without mistakes."""

    @property
    def document(self) -> Document:
        """The robot file's data, with the parts of its parts list."""

    @property
    def texts(self) -> Mapping[Path, str]:
        """The text of every file that was read, by its path."""


def cells_of(text: str, delimiter: str) -> list[list[Cell]]:
    """Find where every cell of a table stands."""
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
    """Change parts of a parts list."""
    table = _Table(file, text)
    for path, value in changes.items():
        name = str(path[0])
        if len(path) == 1 and value is GONE:
            table.drop(name)
            continue
        table.add(name)
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
        self._added: list[str] = []
        self._puts: dict[tuple[int, int], str] = {}
        self._dropped: set[int] = set()

    def _row(self, part: str) -> int:
        if part in self._added:
            return len(self._rows) + self._added.index(part)
        at = self._names.index("part")
        return next(i for i, row in enumerate(self._rows) if i and at < len(row) and row[at].text.strip() == part)

    def add(self, part: str) -> None:
        """Give a part a row at the end, where it has none."""
        at = self._names.index("part")
        if part not in self._added and not any(
            at < len(row) and row[at].text.strip() == part for row in self._rows[1:]
        ):
            self._added.append(part)
            self.put(part, "part", part)

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
        return text + "".join(self._fresh_row(i, text) for i in range(len(self._added)))

    def _fresh_row(self, place: int, text: str) -> str:
        """The line of a part that was added, in the columns that there are."""
        found = _LINE_END.search(self._text)
        line_end = found.group() if found else "\n"
        wanted = {p: value for (row, p), value in self._puts.items() if row == len(self._rows) + place}
        cells = [self._quoted(wanted.get(p, "")) for p in range(len(self._heads) + len(self._new))]
        before = "" if place or text.endswith(("\n", "\r")) else line_end
        return before + self._delimiter.join(cells) + line_end

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


def changed_texts(files: Files, changes: Mapping[KeyPath, object]) -> Texts:
    """Change values of a robot and give the new text of each file concerned, whatever that makes of the robot."""
    found = {file: _new_text(files, file, own) for file, own in _by_file(files, changes).items()}
    return {file: text for file, text in found.items() if text != files.texts[file]}


def part_renamed(files: Files, file: Path, part: str, name: str) -> str:
    """Rename a part of a parts list."""
    if file not in files.texts:
        raise BadInput([files.document.problem(("parts", part), _IN_A_SHEET)])
    table = _Table(file, files.texts[file])
    table.put(part, "part", name)
    return table.written()


def edited(loaded: Loaded, changes: Mapping[KeyPath, object]) -> Texts:
    """Change values of a robot and give the new text of each file concerned; nothing is written."""
    texts = changed_texts(loaded, changes)
    if texts:
        load_robot(loaded.document.file, None, {**loaded.texts, **texts})
    return texts


def season_file(loaded: Files) -> Path:
    """Name the season file of a robot."""
    return loaded.document.file.parent / str(loaded.document.data["season"])


def _by_file(loaded: Files, changes: Mapping[KeyPath, object]) -> dict[Path, dict[KeyPath, object]]:
    """Which change belongs into which file, with its key path there."""
    found: dict[Path, dict[KeyPath, object]] = {}
    for path, value in changes.items():
        if path[0] == "season" and len(path) > 1:
            found.setdefault(season_file(loaded), {})[path[1:]] = value
        elif (table := _table_for(loaded, path, value)) is not None:
            found.setdefault(table, {})[path[1:]] = value
        elif path[:2] in loaded.document.files:
            found.setdefault(loaded.document.files[path[:2]], {})[path[1:]] = value
        else:
            found.setdefault(loaded.document.file, {})[path] = value
    return found


def _table_for(loaded: Files, path: KeyPath, value: object) -> Path | None:
    """The table that a new part goes into: the robot's parts list, where that is a text and has columns for it."""
    if path[0] != "parts" or len(path) != 2 or path in loaded.document.files:
        return None
    tables = [file for path, file in loaded.document.files.items() if len(path) == 2 and file in loaded.texts]
    plain = isinstance(value, Mapping) and not set(value) - {"mass", "position", "size", "rides", "count"}
    return tables[0] if tables and plain and "parts_list" in loaded.document.data else None


def _new_text(loaded: Files, file: Path, changes: Mapping[KeyPath, object]) -> str:
    if file not in loaded.texts:
        raise BadInput([loaded.document.problem(("parts", *next(iter(changes))), _IN_A_SHEET)])
    text = loaded.texts[file]
    if file in loaded.document.files.values():
        return parts_edited(file, text, changes)
    declared = Robot if file == loaded.document.file else Season
    document = read_document(file, text)
    if declared is Robot:
        text, document = _with_own_classes(document, text, changes)
    _refuse_unknown_names(document, declared, changes)
    typed = {path: _typed(document, declared, path, value) for path, value in changes.items()}
    return spliced(file, text, typed, partial(_order, document, declared))


def _typed(document: Document, declared: type, path: KeyPath, value: object) -> object:
    """What a person typed into a form: ``0.45`` is a number, save where the file wants a text."""
    if isinstance(value, Mapping):
        return {key: _typed(document, declared, (*path, key), inner) for key, inner in value.items()}
    number = plain_scalar(value) if isinstance(value, str) else None
    if not isinstance(number, int | float) or isinstance(number, bool):
        return value
    models = models_at(schema_of(declared), document.data, path[:-1])
    wanted = [m.model_fields[str(path[-1])].annotation for m in models if str(path[-1]) in m.model_fields]
    return value if any(each in (str, str | None) for each in wanted) else number


def _order(document: Document, declared: type, path: KeyPath) -> list[str]:
    """The keys of a mapping in the order of their declaration; none for a mapping of names."""
    return list(dict.fromkeys(n for m in models_at(schema_of(declared), document.data, path) for n in m.model_fields))


def _refuse_unknown_names(document: Document, declared: type, changes: Mapping[KeyPath, object]) -> None:
    """A change of one number of a tank that is not there is a slip of the pen, not a new tank."""
    schema = schema_of(declared)
    for path in changes:
        here: Any = document.data
        for i, key in enumerate(path[:-1]):
            known = list(here) if isinstance(here, dict) else []
            here = here.get(str(key)) if isinstance(here, dict) else _item(here, key)
            if here is None and isinstance(key, str) and not models_at(schema, document.data, path[:i]):
                known += builtin_names(str(path[1])) if path[0] == "catalogue" and i == 2 else []
                listed = "; ".join(known[:10]) + ("; …" if len(known) > 10 else "") or "none are declared"
                expected = f"expected one of {listed} (found {shorten(key)})"
                raise BadInput([document.problem(path[: i + 1], expected, nearest(key, known))])


def _item(here: Any, key: str | int) -> Any:
    return here[key] if isinstance(here, list) and isinstance(key, int) and 0 <= key < len(here) else None


def _with_own_classes(document: Document, text: str, changes: Mapping[KeyPath, object]) -> tuple[str, Document]:
    """Write out the generic classes of which a number is to change, as the team's own."""
    own = document.data.get("catalogue")
    entries: dict[KeyPath, object] = {}
    for path in changes:
        if path[0] != "catalogue" or len(path) <= 3 or str(path[2]) not in builtin_names(str(path[1])):
            continue
        section, name = str(path[1]), str(path[2])
        classes = own.get(section) if isinstance(own, dict) else None
        if not isinstance(classes, dict) or name not in classes:
            entries["catalogue", section, name] = builtin()[section][name]
    if not entries:
        return text, document
    text = spliced(document.file, text, entries, partial(_order, document, Robot))
    return text, read_document(document.file, text)


_INDEX = re.compile(r"\[(\d+)\]|(\d+)(?=[.\[]|$)")
_QUOTED = re.compile(r'"(.*?)"(?=[.\[]|$)')
_WORD = re.compile(r"[^.\[]+")
_LISTED = 10


def key_paths(loaded: Loaded, texts: Iterable[str]) -> dict[str, KeyPath]:
    """Find which keys texts mean; every one that means none is a problem of the file."""
    found: dict[str, KeyPath] = {}
    problems: list[Problem] = []
    for text in texts:
        try:
            found[text] = key_path(loaded, text)
        except BadFile as error:
            problems += error.problems
    if problems:
        raise BadFile(problems)
    return found


def key_path(loaded: Loaded, text: str) -> KeyPath:
    """Find which key a text means; a name that holds a point needs no quotes where the file knows it."""
    of_season = text.strip().startswith("season.")
    schema, data = (Season, _season(loaded)) if of_season else (Robot, loaded.document.data)
    head: KeyPath = ("season",) if of_season else ()
    path: KeyPath = ()
    here, rest = data, text.strip().removeprefix("season.") if of_season else text.strip()
    if not rest:
        raise BadFile([loaded.document.problem((), "expected a key, such as drive.motors (found nothing)")])
    while rest:
        key, rest = _next(rest, here)
        _refuse_unknown(loaded, (head, path), (schema, data, here), key)
        path += (key,)
        here = _inside(here, key)
    return head + path


def _season(loaded: Loaded) -> Any:
    file = season_file(loaded)
    return load_season(file, loaded.texts.get(file))[0].data


def _next(rest: str, here: Any) -> tuple[str | int, str]:
    """The first key of a text, and what follows it."""
    if isinstance(here, list) and (index := _INDEX.match(rest)):
        return int(index[1] or index[2]), rest[index.end() :].removeprefix(".")
    if quoted := _QUOTED.match(rest):
        return quoted[1], rest[quoted.end() :].removeprefix(".")
    known = sorted((str(key) for key in here), key=len, reverse=True) if isinstance(here, Mapping) else []
    for key in known:
        if rest == key or (rest.startswith(key) and rest[len(key)] in ".["):
            return key, rest[len(key) :].removeprefix(".")
    word = _WORD.match(rest)
    if word is None:
        index = _INDEX.match(rest)
        return (int(index[1]), rest[index.end() :].removeprefix(".")) if index else (rest, "")
    return word[0].strip(), rest[word.end() :].removeprefix(".")


def _inside(here: Any, key: str | int) -> Any:
    if isinstance(here, list) and isinstance(key, int):
        return here[key] if key < len(here) else None
    return here.get(key) if isinstance(here, Mapping) else None


def _refuse_unknown(loaded: Loaded, path: tuple[KeyPath, KeyPath], at: tuple[type, Any, Any], key: str | int) -> None:
    """A key that neither stands in the file nor could stand there."""
    (head, above), (declared, data, here) = path, at
    if here is None:
        return  # a section that the file does not have yet: what it needs is said when the change is laid in
    if isinstance(here, list):
        if isinstance(key, int) and key < len(here):
            return
        expected = f"expected a place in a list of {len(here)}, counted from 0 (found {shorten(key)})"
        raise BadFile([loaded.document.problem((*head, *above, key), expected)])
    known = [str(name) for name in here] if isinstance(here, Mapping) else []
    fields = [name for model in models_at(schema_of(declared), data, above) for name in model.model_fields]
    number = not fields and (not isinstance(here, Mapping) or "value" in here)
    quantity = ["value", "tolerance", "basis", "date"] if number else []
    classes = builtin_names(str(above[1])) if above[:1] == ("catalogue",) and len(above) == 2 else []
    names = list(dict.fromkeys([*known, *fields, *quantity, *classes, *(["season"] if not above and not head else [])]))
    if key in names:
        return
    listed = "; ".join(names[:_LISTED]) + ("; …" if len(names) > _LISTED else "") or "none are declared"
    problem = f"expected one of {listed} (found {shorten(key)})"
    raise BadFile([loaded.document.problem((*head, *above, key), problem, nearest(str(key), names))])
