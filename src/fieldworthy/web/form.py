"""A robot's or season's things as forms, made from their declarations and from the file as it stands.

The file need not be without mistakes: what reads wrong is shown as it stands, with what was expected at its own box.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal, TypeAlias, get_args, get_origin

from pydantic_core import PydanticCustomError

from fieldworthy.files import BadInput, Document, Of, Quantity, Ref, read_document
from fieldworthy.files.declare import Within, hints, mark_of
from fieldworthy.files.document import KeyPath, Problem, dotted, head_of_file
from fieldworthy.files.reading import declaration_of
from fieldworthy.robot.loading import builtin, builtin_names, load_season
from fieldworthy.robot.model.machine import keys_from_side
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.robot.shelf import still_typical
from fieldworthy.robot.things import COLLECTIONS, SINGLES, Collection, Opened, head_of, mistakes, opened
from fieldworthy.units import show
from fieldworthy.web.folder import is_season
from fieldworthy.web.judging import Source

Sort = Literal["quantity", "whole number", "number", "truth", "choice", "text", "list"]


@dataclass(frozen=True, slots=True)
class Field:
    """One value of a file.

    Attributes
    ----------
    path : Its key path; one of the season begins with ``season``
    key : The path as people read it
    label : What it is called
    sort : What may stand there
    value : As the file says it; the default where it says nothing
    stated : Whether the file says it
    needed : Whether the file must say it
    about : One sentence
    kind : Of a quantity, or of those in a list
    tolerance, basis : Of a quantity, as the file says them, or the defaults
    own_tolerance : Whether the file says the tolerance
    choices : What can be chosen
    file : The name of the file that holds it
    fixed : Whether it cannot be changed here
    exact : Whether a quantity has no tolerance, as a rule of the season has none
    typical : Whether it stands as it came from the shelf
    trouble : What is wrong with it; empty where nothing is
    """

    path: KeyPath
    key: str
    label: str
    sort: Sort
    value: str
    stated: bool = True
    needed: bool = False
    about: str = ""
    kind: str = ""
    tolerance: str = ""
    basis: str = ""
    own_tolerance: bool = False
    choices: tuple[str, ...] = ()
    file: str = ""
    fixed: bool = False
    exact: bool = False
    typical: bool = False
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Head:
    """The heading of values that belong together inside a thing.

    Attributes
    ----------
    path, key : Where they stand
    label, about : What they are
    adds : What one more of them is called; empty where none can be added
    gone : Whether they can be taken away
    named : Whether they are one of several, with a name that can be changed
    listed : Whether entries have places in a list and no names
    others : What could stand there in its place, or be added, by name; empty where there is one kind only
    depth : How deep inside the thing
    declared : What they are declared as, where that is one thing
    trouble : What is wrong with them as a whole
    """

    path: KeyPath
    key: str
    label: str
    about: str = ""
    adds: str = ""
    gone: bool = False
    named: bool = False
    listed: bool = False
    others: tuple[str, ...] = ()
    depth: int = 0
    declared: type | None = None
    trouble: str = ""


Row: TypeAlias = Field | Head


@dataclass(frozen=True, slots=True)
class Made:
    """One kind of thing that a robot is made of.

    Attributes
    ----------
    key : Names it on the page
    path : Where it stands
    group : Under which heading of the list
    label, one : What people call all of them, and one
    names : Those that there are; empty for what there is only one of
    wrong : Those in which something is to be mended, by name
    typical : How many numbers are still as they came from the shelf
    """

    key: str
    path: KeyPath
    group: str
    label: str
    one: str = ""
    names: tuple[str, ...] = ()
    wrong: tuple[str, ...] = ()
    typical: int = 0


_ROOT = ("robot", "about", "team", "battery", "hours_left", "season", "parts_list")
_LISTED = 60  # files beside a robot's that are looked at
_SEASON = ("season", "about", "altitude", "temperature")


@lru_cache(maxsize=24)
def files_of(source: Source) -> Opened:
    """Read the files of a source as far as they can be read; a season's own file has no robot beside it."""
    texts = dict(source.texts)
    if is_of_season(source):
        document = read_document(source.file, texts[source.file])
        return Opened(Document(source.file, {}), document if isinstance(document.data, dict) else None, texts)
    return opened(source.file, texts)


@lru_cache(maxsize=24)
def mistakes_of(source: Source) -> tuple[Problem, ...]:
    """What is wrong with the files of a source."""
    if not is_of_season(source):
        return mistakes(source.file, dict(source.texts))
    try:
        load_season(source.file, dict(source.texts)[source.file])
    except BadInput as error:
        return error.problems
    return ()


def is_of_season(source: Source) -> bool:
    """Whether the source is a season's own file."""
    return is_season(dict(source.texts).get(source.file, ""))


def made_of(source: Source) -> tuple[Made, ...]:
    """List what a robot is made of, as people would."""
    files = files_of(source)
    keys = [_season_key(files, p) for p in mistakes_of(source)]
    found = []
    for group in dict.fromkeys(c.group for c in COLLECTIONS):
        for one in SINGLES:
            if one.group == group:
                skip = _skipped(one.path)
                wrong = any(_under(k, one.path) and not any(k[: len(s)] == s for s in skip) for k in keys)
                found.append(Made(dotted(one.path), one.path, group, one.label, wrong=(one.label,) if wrong else ()))
        found += [_kind(files, keys, c) for c in COLLECTIONS if c.group == group]
    return tuple(found)


def _kind(files: Opened, keys: list[KeyPath], c: Collection) -> Made:
    names = tuple(files.names(c))
    wrong = tuple(n for n in names if any(k[: len(c.path) + 1] == (*c.path, n) for k in keys))
    typical = sum(1 for n in names for _ in still_typical(files.data((*c.path, n))))
    return Made(dotted(c.path), c.path, c.group, c.many, c.one, names, wrong, typical)


def _season_key(files: Opened, problem: Problem) -> KeyPath:
    """The key of a problem as the form writes it."""
    in_season = files.season is not None and problem.file.name == files.season.file.name
    return ("season", *problem.key) if in_season else problem.key


def _under(key: KeyPath, path: KeyPath) -> bool:
    if path == ("robot",):
        return key[:1] in [(name,) for name in _ROOT]
    return key[1:2] in [(name,) for name in _SEASON] if path == ("season",) else key[: len(path)] == path


def _skipped(path: KeyPath) -> tuple[KeyPath, ...]:
    """What stands below a thing of which there is one, and is a kind of thing itself."""
    return tuple(c.path for c in COLLECTIONS if c.path[: len(path)] == path and c.path != path)


def rows_of(source: Source, path: KeyPath) -> tuple[Row, ...]:
    """Turn one thing into a form."""
    files = files_of(source)
    problems: dict[KeyPath, str] = {}
    for p in mistakes_of(source):
        hint = f" Did you mean {p.suggestion!r}?" if p.suggestion else ""
        problems.setdefault(_season_key(files, p), f"{p.expected}.{hint}")
    walk = _Walk(files, problems, _skipped(path))
    if path == ("robot",):
        return tuple(row for name in _ROOT for row in walk.named(Robot, files.document.data, (), name))
    if path == ("season",):
        data = files.season.data if files.season else {}
        return tuple(row for name in _SEASON for row in walk.named(Season, data, path, name))
    note, here = _place(files, path)
    return tuple(walk.below(note, here, path, 0))


def _place(files: Opened, path: KeyPath) -> tuple[Any, Any]:
    """How what stands at a path is declared, and the data there."""
    in_season = path[0] == "season"
    note: Any = Season if in_season else Robot
    here: Any = (files.season.data if files.season else {}) if in_season else files.document.data
    for key in path[1:] if in_season else path:
        note = _inner(note, here, key)
        inside = isinstance(here, list) and isinstance(key, int) and key < len(here)
        here = here.get(str(key)) if isinstance(here, dict) else here[key] if inside else None
    if here is None and path[0] == "catalogue" and len(path) == 3:  # of the generic catalogue
        here = builtin()[str(path[1])].get(str(path[2]))
    return note, here


def blanks_of(source: Source, path: KeyPath, kind: str = "") -> tuple[Field, ...]:
    """Ask what a new entry or section needs, and nothing else; of which kind it is to be, where there are several."""
    files = files_of(source)
    note, _ = _place(files, path)
    return tuple(r for r in _blank(files, note, path, kind) if isinstance(r, Field) and r.needed)


def _blank(files: Opened, note: Any, path: KeyPath, kind: str) -> tuple[Row, ...]:
    """Turn what does not stand in the file yet into a form; an entry that has a name is asked for it."""
    walk = _Walk(files, {}, ())
    first: list[Row] = []
    if (entry := _entry_note(note)) is not None:
        note, keys = entry
        if keys is not None:
            choices = walk.choices(keys) if isinstance(keys, Ref) else ()
            sort: Sort = "choice" if choices else "text"
            first = [Field((*path, ""), dotted((*path, "name")), "name", sort, "", needed=True, choices=choices)]
    chosen = kinds_of(note).get(kind, _plainest(note))
    if dataclasses.is_dataclass(chosen):
        return (*first, *walk.below(chosen, {}, (*path, "new"), 0))
    at = (*path, "value")
    return (*first, *walk.value(note, None, at, _said(at, {}, needed=True)))


def _entry_note(note: Any) -> tuple[Any, Any] | None:
    """What an entry of a mapping or a list is declared as, and what its keys are; None for a section."""
    for option in _options(note):
        if get_origin(option) is dict:
            keys, item = get_args(option)
            return item, mark_of(keys) or str
        if get_origin(option) is tuple and get_args(option)[-1] is Ellipsis:
            return get_args(option)[0], None
    return None


def seasons_beside(file: Path) -> tuple[str, ...]:
    """The season files in the folder of a robot, by name."""
    folder = file.parent
    found = (p for p in sorted(folder.glob("*.y*ml"))[:_LISTED] if p != file) if folder.is_dir() else ()
    return tuple(p.name for p in found if is_season(head_of_file(p, 2000)))


def declared_at(source: Source, path: KeyPath) -> type | None:
    """What a thing is declared as; None for the robot and the season themselves."""
    return None if path in (("robot",), ("season",)) else _declared(*_place(files_of(source), path))


def declared_next(source: Source, path: KeyPath, kind: str = "") -> type | None:
    """What one more entry at a place is declared as, or a section of a kind."""
    note, _ = _place(files_of(source), path)
    entry = _entry_note(note)
    inner = note if entry is None else entry[0]
    return kinds_of(inner).get(kind) or _declared(inner, {})


def _declared(note: Any, here: Any) -> type | None:
    found = declaration_of(here if isinstance(here, dict) else {}, note) or _plainest(note)
    return found if isinstance(found, type) and dataclasses.is_dataclass(found) else None


def kinds_of(note: Any) -> dict[str, type]:
    """What may stand at a place, by what people call it, where there are several kinds."""
    found = [o for o in _options(note) if isinstance(o, type) and dataclasses.is_dataclass(o)]
    names = [re.sub(r"(?<=[a-z])(?=[A-Z])", " ", o.__name__).lower() for o in found]
    return dict(zip(names, found, strict=True)) if len(found) > 1 else {}


def _plainest(note: Any) -> Any:
    """A declaration itself; the first of several."""
    return next((o for o in _options(note) if dataclasses.is_dataclass(o)), note)


@dataclass(frozen=True, slots=True)
class _Said:
    """What a declaration says of a value: its name, one of several in it, a sentence, and whether it is needed."""

    label: str
    one: str = ""
    about: str = ""
    needed: bool = False


def _said(path: KeyPath, meta: Mapping[str, Any], about: str = "", *, needed: bool = False) -> _Said:
    label = str(meta.get("label") or str(path[-1]).replace("_", " "))
    return _Said(label, str(meta.get("one") or label.removesuffix("s")), about, needed)


def _options(note: Any) -> tuple[Any, ...]:
    args = get_args(note)
    if get_origin(note) in (dict, tuple, Literal) or mark_of(note) is not None or not args:
        return (note,)
    inner = [a for a in args if a is not type(None)]
    return tuple(o for a in inner for o in _options(a)) if inner != [note] else (note,)


def _inner(note: Any, here: Any, key: str | int) -> Any:
    """What stands below a key is declared as."""
    for option in _options(note):
        if get_origin(option) is dict:
            return get_args(option)[1]
        if get_origin(option) is tuple and isinstance(key, int):
            args = get_args(option)
            return args[0] if args[-1] is Ellipsis else args[min(key, len(args) - 1)]
    declared = declaration_of(here if isinstance(here, dict) else {}, note) or _plainest(note)
    return hints(declared).get(str(key), Any) if dataclasses.is_dataclass(declared) else Any


_FIXED_FILES = (".xlsx", ".xlsm")


@dataclass(frozen=True, slots=True)
class _Walk:
    """Goes through a declaration and a file's data side by side."""

    files: Opened
    problems: Mapping[KeyPath, str]
    skip: tuple[KeyPath, ...]

    def below(self, note: Any, here: Any, path: KeyPath, depth: int) -> Iterator[Row]:
        """Every value of one thing."""
        data = here if isinstance(here, dict) else {}
        declared = note if isinstance(note, type) else declaration_of(data, note) or _plainest(note)
        if not dataclasses.is_dataclass(declared):
            yield from self.value(note, here, path, _said(path, {}), depth)
            return
        found = [row for f in dataclasses.fields(declared) for row in self.named(declared, data, path, f.name, depth)]
        heads = [row.path for row in found if isinstance(row, Head)]
        deep = [any(row.path[: len(head)] == head for head in heads) for row in found]
        yield from (row for row, inside in zip(found, deep, strict=True) if not inside)
        yield from (row for row, inside in zip(found, deep, strict=True) if inside)

    def named(self, declared: Any, data: Any, path: KeyPath, name: str, depth: int = 0) -> Iterator[Row]:
        """One field of a declaration."""
        field = next(f for f in dataclasses.fields(declared) if f.name == name)
        at = (*path, name)
        if at in self.skip or name == "fieldworthy":
            return
        meta = field.metadata
        about = str(meta.get("about") or meta.get("why") or "")
        needed = not {"assume", "default", "factory"} & set(meta)
        value, stated = data.get(name), name in data
        if not stated and "assume" in meta:
            value = meta["assume"]
        elif not stated and meta.get("default") not in (None, ()):
            value = meta["default"]
        elif value is None and "factory" in meta:
            value = {}
        rows = self.value(hints(declared)[name], value, at, _said(at, meta, about, needed=needed), depth)
        yield from (r if stated or isinstance(r, Head) else dataclasses.replace(r, stated=False) for r in rows)

    def value(self, note: Any, value: Any, path: KeyPath, said: _Said, depth: int = 0) -> Iterator[Row]:
        """One value, or all that are inside it."""
        options = _options(note)
        if any(dataclasses.is_dataclass(o) for o in options):
            yield from self._section(note, value, path, said, depth)
        elif (entry := _entry_note(note)) is not None and not self._is_list(note):
            yield from self._entries(entry, value, path, said, depth)
        elif any(get_origin(o) is tuple and get_args(o)[-1] is not Ellipsis for o in options) and isinstance(
            value, list
        ):
            args = next(get_args(o) for o in options if get_origin(o) is tuple)
            for i, (inner, item) in enumerate(zip(args, value, strict=False)):
                of_place = isinstance(m := mark_of(inner), Of) and m.kind == "length"
                axis = axis_of(str(path[-1]), said.about, len(args), i) if of_place else ("first", "second")[i % 2]
                about = said.about if i == 0 else ""
                one = dataclasses.replace(said, label=f"{said.label}, {axis}", about=about)
                yield self._field(inner, item, (*path, i), one)
        else:
            yield self._field(note, value, path, said)

    @staticmethod
    def _is_list(note: Any) -> bool:
        """Whether it is a list of plain values, which stand in one box."""
        option = next((o for o in _options(note) if get_origin(o) is tuple), None)
        return option is not None and not any(dataclasses.is_dataclass(o) for o in _options(get_args(option)[0]))

    def _section(self, note: Any, value: Any, path: KeyPath, said: _Said, depth: int) -> Iterator[Row]:
        label, about, needed = said.label, said.about, said.needed
        there = path in self.files.document.marks or path[0] == "season"
        told = self.problems.get(path, "")
        kinds = kinds_of(note)
        if value is None and not needed:
            yield Head(path, dotted(path), label, about, adds=label, others=tuple(kinds), depth=depth, trouble=told)
            return
        kind = _declared(note, value)
        others = tuple(name for name, other in kinds.items() if other is not kind)
        gone = there and not needed
        head = Head(path, dotted(path), label, about, gone=gone, depth=depth, declared=kind, trouble=told)
        yield dataclasses.replace(head, others=others)
        yield from self.below(note, value, path, depth + 1)

    def _entries(self, entry: tuple[Any, Any], value: Any, path: KeyPath, said: _Said, depth: int) -> Iterator[Row]:
        note, keys = entry
        one, told = said.one, self.problems.get(path, "")
        head = Head(path, dotted(path), said.label, said.about, adds=one, depth=depth, trouble=told)
        yield dataclasses.replace(head, listed=keys is None, others=tuple(kinds_of(note)))
        pairs: Iterable[tuple[Any, Any]] = ()
        if isinstance(value, dict):
            pairs = value.items()
        elif isinstance(value, list | tuple):
            pairs = enumerate(value)
        for key, item in pairs:
            at = (*path, key)
            title = f"{one} {key + 1}" if isinstance(key, int) else str(key)
            if any(dataclasses.is_dataclass(o) for o in _options(note)):
                told = self.problems.get(at, "")
                kind = _declared(note, item)
                head = Head(at, dotted(at), title, gone=True, depth=depth + 1, declared=kind, trouble=told)
                yield dataclasses.replace(head, named=keys is str)
                yield from self.below(note, item, at, depth + 2)
            else:
                yield self._field(note, item, at, _Said(title))

    def _field(self, note: Any, value: Any, path: KeyPath, said: _Said) -> Field:
        file = self._file(path)
        shared: dict[str, Any] = {
            "about": said.about, "needed": said.needed, "file": file, "trouble": self._trouble(path),
            "fixed": file.endswith(_FIXED_FILES) or path[-1] == "kind",
        }  # fmt: skip
        of = next((m for o in _options(note) if isinstance(m := mark_of(o), Of)), None)
        if of is not None:
            return self._quantity(of, value, path, said.label, shared)
        sort, choices = self._sort(note, path)
        text = _written(value)
        if sort == "choice" and value is not None and text not in choices:
            choices = (text, *choices)
        kind = self._kind_of_list(note) if sort == "list" else ""
        return Field(path, dotted(path), said.label, sort, text, choices=choices, kind=kind, **shared)

    def _sort(self, note: Any, path: KeyPath) -> tuple[Sort, tuple[str, ...]]:
        """What may stand at a field that is no quantity, and what can be chosen there."""
        inner = next((m for o in _options(note) if isinstance(m := mark_of(o), Within)), None)
        if inner is not None and (names := self._entries_near(inner, path)):
            return "choice", names
        if path == ("season",) and (seasons := seasons_beside(self.files.document.file)):
            return "choice", seasons
        words = tuple(str(w) for o in _options(note) if get_origin(o) is Literal for w in get_args(o))
        ref = next((m for o in _options(note) if isinstance(m := mark_of(o), Ref)), None)
        several = any(get_origin(o) is tuple for o in _options(note))
        if (words or ref is not None) and not several:
            return "choice", words or self.choices(ref)
        plain = [get_args(o)[0] if get_args(o) and get_origin(o) not in (tuple, dict) else o for o in _options(note)]
        sorts: dict[Any, Sort] = {bool: "truth", int: "whole number", float: "number"}
        if several:
            return "list", ()
        found: Sort = next((sorts[p] for p in plain if p in sorts), "text")
        truth: tuple[str, ...] = ("yes", "no") if found == "truth" else ()
        return found, truth

    def _entries_near(self, mark: Within, path: KeyPath) -> tuple[str, ...]:
        """The entries that a name may mean: of the nearest thing around it that has them, or of a mechanism."""
        if mark.through:
            there = self.files.data(("mechanisms", str(self.files.data((*path[:-1], mark.through))), mark.to))
            return tuple(there) if isinstance(there, dict) else ()
        around = (self.files.data((*path[:end], mark.to)) for end in range(len(path) - 1, 0, -1))
        return next((tuple(str(k) for k in there) for there in around if isinstance(there, dict)), ())

    @staticmethod
    def _kind_of_list(note: Any) -> str:
        inner = [a for o in _options(note) if get_origin(o) is tuple for a in get_args(o)]
        return next((m.kind for a in inner if isinstance(m := mark_of(a), Of)), "")

    def choices(self, ref: Ref | None) -> tuple[str, ...]:
        """The names that a reference can be."""
        found: list[str] = []
        for target in ref.to if ref is not None else ():
            keys: KeyPath = ("season", "field", "places") if target == "season.places" else tuple(target.split("."))
            there = self.files.data(keys)
            found += list(there) if isinstance(there, dict) else []
            found += builtin_names(str(keys[1])) if keys[0] == "catalogue" else []
        return tuple(dict.fromkeys(found))

    def _file(self, path: KeyPath) -> str:
        if path[0] == "season" and len(path) > 1 and self.files.season is not None:
            return self.files.season.file.name
        table = self.files.document.files.get(path[:2])
        return (table or self.files.document.file).name

    def _trouble(self, path: KeyPath) -> str:
        deeper = [path, *((*path, part) for part in ("value", "tolerance", "basis", "date"))]
        return next((self.problems[p] for p in deeper if p in self.problems), "")

    def _quantity(self, of: Of, value: Any, path: KeyPath, label: str, shared: dict[str, Any]) -> Field:
        parts = value if isinstance(value, dict) else {"value": value}
        text = _written(parts.get("value"))
        read: Quantity | None = None
        if value is not None:
            try:
                read = of.read(value)
            except PydanticCustomError as error:
                said = str((error.context or {}).get("expected", error))
                shared = {**shared, "trouble": shared["trouble"] or f"expected {said}."}
        own = parts.get("tolerance")
        step = "temperature step" if of.kind == "temperature" else of.kind
        default = ""
        shared["exact"] = of.fixed
        if read is not None and read.tolerance:
            default = show(read.tolerance, step, "K" if of.kind == "temperature" else read.unit, 2)
        return Field(
            path, dotted(path), label, "quantity", text, kind=of.kind, own_tolerance=own is not None,
            tolerance=_written(own) if own is not None else default, basis=read.basis if read else "",
            typical=bool(list(still_typical(value))), **shared,
        )  # fmt: skip


def _written(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        between = "; " if any(isinstance(v, list | tuple) for v in value) else ", "
        return between.join(_written(v.get("value") if isinstance(v, dict) else v) for v in value)
    return str(value)


_AXES = {"size": ("length", "width", "height")}


def axis_of(name: str, about: str, count: int, place: int) -> str:
    """Name a value of a place or a size by its axis."""
    if "length, width, height" in about or name.endswith("size"):
        return ("length", "width", "height")[place] if count == 3 else ("length", "width")[place]
    if count == 3:
        return ("forward", "left", "up")[place]
    ground = "y left" in about or "floor" in about or not about
    return ("forward", "left" if ground else "up")[place] if count == 2 else str(place + 1)


def _axis_at(path: KeyPath, at: int) -> str:
    """Which axis a number of a place or a size is; empty where it is none of these."""
    key, place = str(path[at - 1]), int(path[at])
    if key.endswith("size") and place < 3:
        return ("length", "width", "height")[place]
    if path[0] == "mechanisms" and key in keys_from_side() and place < 2:
        return ("forward", "up")[place]
    spatial = key == "position" or (path[0] == "poses" and key in ("pivot", "shift"))
    return ("forward", "left", "up")[place] if spatial and place < 3 else ""


def words_of(path: KeyPath) -> str:
    """Name a place of the file as people do: the thing first, then what is inside it."""
    words = [_axis_at(path, at) or f"{key + 1}." if isinstance(key, int) else key.replace("_", " ")
             for at, key in enumerate(path)]  # fmt: skip
    head = head_of(path)
    if head is None or path[0] == "season":
        return " ".join(words)
    at = len(head.path)
    kind = words[at - 1].removesuffix("s")
    return f"{kind} '{words[at]}'" + (f", {' '.join(words[at + 1 :])}" if words[at + 1 :] else "")


def words_of_key(key: str) -> str:
    """Name a place that is given as a finding gives it."""
    parts = re.findall(r'"[^"]*"|\[\d+\]|[^.\[\]]+', key)
    return words_of(tuple(int(k[1:-1]) if k.startswith("[") else k.strip('"') for k in parts))
