"""Entry sheets for the page: a section of a measurements file as a form, and what typing makes of the file."""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from typing import Annotated, Any, Literal, TypeAlias, Union, get_args, get_origin

from fieldworthy.engine.finding import DisplayUnits
from fieldworthy.engine.system import hues_of
from fieldworthy.files import Document, read_document, schema_of
from fieldworthy.files.declare import Of, Ref, hints, mark_of
from fieldworthy.files.document import BadInput, KeyPath, Problem, dotted, plain_scalar
from fieldworthy.files.reading import models_at
from fieldworthy.files.splicing import spliced
from fieldworthy.files.writing import GONE
from fieldworthy.measure.files import measured_on
from fieldworthy.measure.model import FRAME_KINDS, HUE_KINDS, LOG_KINDS, Measurements
from fieldworthy.measure.sheets import sheets
from fieldworthy.robot import Loaded
from fieldworthy.web.judging import Source, Units, in_units, robot_of
from fieldworthy.web.readings import Readings, heads

Sort = Literal["quantity", "number", "whole", "choice", "truth", "date", "text"]
Texts: TypeAlias = Mapping[str, str]
"""What was typed, by the dotted path of the blank."""
_READINGS = 3  # boxes for a list of numbers that is still empty
_ROW = {
    "level": "Weighing", "raised": "Weighing, one end raised", "blocks": "Wheel on a block", "pushes": "Push",
    "turns": "Turn", "clockwise": "Square with right turns", "counter_clockwise": "Square with left turns",
    "runs": "Run", "readings": "Reading", "logs": "Log", "sprints": "Sprint", "coasts": "Coast", "drags": "Drag",
    "times": "Time", "forward": "Angle", "back": "Angle", "left": "Angle", "right": "Angle",
}  # fmt: skip
"""What one row of a list is called, by the list's key."""
_INCH = ("in", "inch", '"', "ft", "lb", "oz", "lbf", "psi", "in/s", "ft/s")
_SPARED = {"default", "factory", "assume"}  # what a declaration has that a file may leave out
_MOST = 60  # rows of one list that a form shows


@dataclass(frozen=True, slots=True)
class Blank:
    """One value to fill in.

    Attributes
    ----------
    path : Where it stands in the measurements file
    label, about : What it is called, and one sentence
    sort : What may stand there
    value : As the file says it, without `unit`; empty where it says nothing
    unit : Written behind a bare number
    bounds : In words; empty where there are none
    signed : Whether it may be less than 0
    choices : What can be chosen
    default : What is taken where nothing is said
    minor : Whether it is asked last: how near a tool reads
    """

    path: KeyPath
    label: str
    about: str
    sort: Sort
    value: str = ""
    unit: str = ""
    bounds: str = ""
    signed: bool = True
    choices: tuple[str, ...] = ()
    default: str = ""
    minor: bool = False

    @property
    def key(self) -> str:
        """The path as people read it."""
        return dotted(self.path)


@dataclass(frozen=True, slots=True)
class Group:
    """Several blanks that belong together.

    Attributes
    ----------
    path : Where it stands in the measurements file
    label, about : What it is called, and one sentence
    items : What is in it
    kind : A list can grow
    there : Whether the file has it
    """

    path: KeyPath
    label: str
    about: str
    items: tuple[Blank | Group, ...]
    kind: Literal["mapping", "list"] = "mapping"
    there: bool = False

    @property
    def key(self) -> str:
        """The path as people read it."""
        return dotted(self.path)


@dataclass(frozen=True, slots=True)
class Known:
    """What the form knows besides the declaration.

    Attributes
    ----------
    names : Names of the robot file by dotted place, such as ``air.tanks``
    units : Unit to write each kind of quantity in
    labels : Label and unit by a sheet's key, such as ``scales.level[].readings.<>``
    keys : Keys of mappings whose names the declaration leaves open, by the same kind of key
    choices : What can be chosen where any text may stand, by the same kind of key
    more : Rows to add to a list, by its dotted path
    """

    names: Mapping[str, tuple[str, ...]]
    units: Mapping[str, str]
    labels: Mapping[str, tuple[str, str]]
    keys: Mapping[str, tuple[str, ...]]
    choices: Mapping[str, tuple[str, ...]]
    more: Mapping[str, int]


def pattern(path: KeyPath, open_at: Iterable[int] = ()) -> str:
    """Write a key path as a sheet writes it."""
    text, named = "", set(open_at)
    for i, key in enumerate(path):
        word = "<>" if i in named else str(key)
        text += "[]" if isinstance(key, int) else f".{word}" if text else word
    return text


@dataclass(frozen=True, slots=True)
class _Here:
    """One place of the file while the form is made: its path, and which of its keys are names of the team's own."""

    path: KeyPath
    named: tuple[int, ...] = ()

    def at(self, key: str | int, *, own: bool = False) -> _Here:
        """The place below."""
        return _Here((*self.path, key), (*self.named, len(self.path)) if own else self.named)

    @property
    def pattern(self) -> str:
        """As a sheet writes it."""
        return pattern(self.path, self.named)


def form_of(declared: type, data: Any, path: KeyPath, known: Known, own: tuple[int, ...] = ()) -> Group:
    """Turn one section into a form."""
    return Group(path, "", "", tuple(_fields(declared, data, _Here(path, own), known)), "mapping", data is not None)


def _fields(declared: type, data: Any, here: _Here, known: Known) -> Iterator[Blank | Group]:
    notes = hints(declared)
    for field in dataclasses.fields(declared):
        inner = data.get(field.name) if isinstance(data, dict) else None
        meta = field.metadata
        about = str(meta.get("about", ""))
        made = _made(_bare(notes[field.name]), inner, here.at(field.name), known, about)
        if isinstance(made, Group) and made.kind == "list" and not made.items and not meta.keys() & _SPARED:
            made = _list(get_args(notes[field.name])[0], inner, here.at(field.name), known, about, needed=True)
        if isinstance(made, Blank) and "assume" in meta:
            made = replace(made, about=str(meta["why"]), default=str(meta["assume"]), minor=True)
        elif isinstance(made, Blank) and made.sort in ("choice", "truth") and meta.get("default") is not None:
            default = meta["default"]
            made = replace(made, default=("yes" if default else "no") if isinstance(default, bool) else str(default))
        yield made


def _bare(annotation: Any) -> Any:
    """An annotation without its 'or None'."""
    if get_origin(annotation) in (Union, types.UnionType):
        return next(a for a in get_args(annotation) if a is not type(None))
    return annotation


def _made(note: Any, data: Any, here: _Here, known: Known, about: str) -> Blank | Group:
    """The blank or group for one annotation."""
    origin = get_origin(note)
    if dataclasses.is_dataclass(note) and isinstance(note, type):
        items = tuple(_fields(note, data, here, known))
        return Group(here.path, _label(here, known)[0], about, items, "mapping", data is not None)
    if origin is tuple:
        return _list(get_args(note)[0], data, here, known, about)
    if origin is dict:
        return _mapping(note, data, here, known, about)
    return _blank(note, data, here, known, about)


def _list(note: Any, data: Any, here: _Here, known: Known, about: str, *, needed: bool = False) -> Group:
    have = list(data) if isinstance(data, list) else []
    mark = mark_of(note)
    plain = isinstance(mark, Of) and mark.kind != "ratio"
    small = plain or not any(get_origin(inner) in (tuple, dict) for inner in _notes(note))
    least = 0 if have or not (plain or needed) else _READINGS if small else 1
    rows = min(max(len(have), least) + known.more.get(dotted(here.path), 0), _MOST)
    items = [_made(note, have[i] if i < len(have) else None, here.at(i), known, "") for i in range(rows)]
    return Group(here.path, _words(str(here.path[-1])), about, tuple(items), "list", isinstance(data, list))


def _notes(note: Any) -> Iterable[Any]:
    """The annotations of a declaration's fields; none for a plain value."""
    return hints(note).values() if dataclasses.is_dataclass(note) and isinstance(note, type) else ()


def _mapping(note: Any, data: Any, here: _Here, known: Known, about: str) -> Group:
    have = data if isinstance(data, dict) else {}
    mark, inner = mark_of(get_args(note)[0]), get_args(note)[1]
    names = [n for to in mark.to for n in known.names.get(to, ())] if isinstance(mark, Ref) else []
    names = list(dict.fromkeys([*names, *known.keys.get(here.pattern, ()), *map(str, have)]))
    items = tuple(_made(_bare(inner), have.get(n), here.at(n, own=True), known, "") for n in names)
    return Group(here.path, _label(here, known)[0], about, items, "mapping", isinstance(data, dict))


def _blank(note: Any, data: Any, here: _Here, known: Known, about: str) -> Blank:
    label, unit = _label(here, known)
    mark = mark_of(note)
    raw = data.get("value") if isinstance(data, dict) else data
    text = "" if raw is None else ("yes" if raw else "no") if isinstance(raw, bool) else str(raw)
    if isinstance(mark, Of):
        return _quantity(mark, text, Blank(here.path, label, about, "quantity", unit=unit), known)
    if isinstance(mark, Ref):
        names = tuple(n for to in mark.to for n in known.names.get(to, ()))
        return Blank(here.path, label, about, "choice", text, choices=names)
    if get_origin(note) is Literal:
        return Blank(here.path, label, about, "choice", text, choices=tuple(map(str, get_args(note))))
    base = get_args(note)[0] if get_origin(note) is Annotated else note
    if base is bool:
        return Blank(here.path, label, about, "truth", text, choices=("yes", "no"))
    if base in (int, float):
        return Blank(here.path, label, about, "whole" if base is int else "number", text, signed=base is float)
    sort: Sort = "date" if here.path[-1] == "date" else "choice" if here.pattern in known.choices else "text"
    return Blank(here.path, label, about, sort, text, choices=known.choices.get(here.pattern, ()))


def _quantity(mark: Of, text: str, blank: Blank, known: Known) -> Blank:
    """A quantity with its unit beside: the one that stands there, or the one that the person measures in."""
    number, _, unit = text.partition(" ")
    if not unit or unit[0].isdigit() or not isinstance(plain_scalar(number), int | float):  # such as 1 1/2 in
        own = known.units.get(mark.kind, "1")
        same = (own in _INCH) == (blank.unit in _INCH)
        number, unit = text, blank.unit if blank.unit and same else own
    bounds = mark.bounds(unit)
    return replace(
        blank, value=number, unit="" if unit == "1" else unit, bounds="" if bounds == "a number" else bounds,
        signed=mark.low < 0.0,
    )  # fmt: skip


def _label(here: _Here, known: Known) -> tuple[str, str]:
    """What a place is called, and the unit that its sheet asks for."""
    last = here.path[-1]
    label, unit = known.labels.get(here.pattern, ("", ""))
    if isinstance(last, int):
        word = _ROW.get(str(here.path[-2])) or _words(str(here.path[-2]))
        return f"{word} {last + 1}", unit
    if len(here.path) - 1 in here.named:
        return str(last), unit
    label = label or _words(last)
    return label[:1].upper() + label[1:], unit


def _words(key: str) -> str:
    text = key.replace("_", " ")
    return text[:1].upper() + text[1:]


def blanks(group: Group) -> Iterator[Blank]:
    """List every blank of a form."""
    for item in group.items:
        if isinstance(item, Blank):
            yield item
        else:
            yield from blanks(item)


def changes(group: Group, texts: Texts) -> tuple[dict[KeyPath, object], dict[KeyPath, KeyPath]]:
    """Say what typing has changed."""
    moved: dict[KeyPath, KeyPath] = {}
    if not group.there:
        fresh = _fresh(group, texts, group.path, moved)
        return ({} if fresh is None else {group.path: fresh}), moved
    return dict(_changes(group, texts, moved)), moved


def _changes(group: Group, texts: Texts, moved: dict[KeyPath, KeyPath]) -> Iterator[tuple[KeyPath, object]]:
    free = next((i for i, item in enumerate(group.items) if not _there(item)), len(group.items))
    for item in group.items:
        path = item.path
        if group.kind == "list" and not _there(item):
            path = (*group.path, free)
        if isinstance(item, Blank):
            now = _now(item, texts)
            if now != item.value:
                yield path, _value(item, now)
        elif item.there and _is_empty(item, texts):
            yield path, GONE
            continue
        elif item.there:
            yield from _changes(item, texts, moved)
            continue
        else:
            fresh = _fresh(item, texts, path, moved)
            if fresh is None:
                continue
            yield path, fresh
        if path != item.path:
            moved[path] = item.path
        if group.kind == "list" and not _there(item) and not _is_empty(item, texts):
            free += 1


def _there(item: Blank | Group) -> bool:
    return item.value != "" if isinstance(item, Blank) else item.there


def _now(blank: Blank, texts: Texts) -> str:
    return texts.get(blank.key, blank.value).strip()


def _is_empty(item: Blank | Group, texts: Texts) -> bool:
    if isinstance(item, Blank):
        return not _now(item, texts)
    return all(_is_empty(inner, texts) for inner in item.items)


def _fresh(item: Blank | Group, texts: Texts, path: KeyPath, moved: dict[KeyPath, KeyPath]) -> Any:
    """What is to stand where nothing stood; None where nothing was typed."""
    if isinstance(item, Blank):
        now = _now(item, texts)
        return _value(item, now) if now else None
    if item.kind == "mapping":
        made = {i.path[-1]: _fresh(i, texts, (*path, i.path[-1]), moved) for i in item.items}
        return {str(key): value for key, value in made.items() if value is not None} or None
    rows: list[Any] = []
    for inner in item.items:
        place = (*path, len(rows))
        row = _fresh(inner, texts, place, moved)
        if row is not None:
            rows.append(row)
            if place != inner.path:
                moved[place] = inner.path
    return rows or None


def _value(blank: Blank, text: str) -> object:
    """What a file holds for what was typed."""
    if not text:
        return GONE
    number = plain_scalar(text)
    is_number = isinstance(number, int | float) and not isinstance(number, bool)
    if blank.sort == "quantity":
        return f"{text} {blank.unit}" if is_number and blank.unit else number if is_number else text
    if blank.sort in ("whole", "number"):
        return number if is_number else text
    if blank.sort == "truth":
        return text == "yes"
    return text


Pairs = tuple[tuple[str, str], ...]
"""Texts by key, frozen."""
NEW = "+"
"""Begins the entry of a procedure that the file does not have yet: the cylinder that it is proposed for."""
_BY_CYLINDER = ("cycles", "frames")  # entries bear a name of the team's own, and say which cylinder it is
_PLACES = (
    "poses", "drive.wheels", "contacts", "catalogue.wheels", "tracking.wheels", "air.tanks", "air.cylinders",
    "mechanisms", "actions",
)  # fmt: skip
_COLUMNS = {"drive": LOG_KINDS, "frames.<>": FRAME_KINDS, "samples.<>": {"class": "", **HUE_KINDS}}
_FILES = {"drive": "drive.logs[].file", "frames.<>": "frames.<>.file", "samples.<>": "samples.<>.file"}


@dataclass(frozen=True, slots=True)
class Row:
    """One procedure, or one entry of a procedure that can be done several times.

    Attributes
    ----------
    part : Its section, with the entry behind a colon: ``leaks:left``
    section, entry : Both alone
    there : Whether the file has readings of it
    date : When it was measured, as the file says
    """

    part: str
    section: str
    entry: str
    there: bool
    date: str


@dataclass(frozen=True, slots=True)
class Form:
    """A procedure's form.

    Attributes
    ----------
    group : Its blanks
    preset : What stands in blanks of a procedure that the file does not have yet
    tables : Whether it takes tables
    """

    group: Group
    preset: Pairs
    tables: bool

    @property
    def said(self) -> dict[str, str]:
        """What the file says, by key; blanks that are empty there left out."""
        return {blank.key: blank.value for blank in blanks(self.group) if blank.value}


@dataclass(frozen=True, slots=True)
class Typed:
    """What a person has typed into a procedure's form.

    Attributes
    ----------
    part : The procedure
    texts : By key
    more : Rows added to lists, by key
    units : In which bare numbers are typed
    """

    part: str
    texts: Pairs = ()
    more: tuple[tuple[str, int], ...] = ()
    units: Units = "file"


@dataclass(frozen=True, slots=True)
class Entered:
    """What typing makes of the file.

    Attributes
    ----------
    text : The new text; empty where the person must choose first
    clash : Blanks that the file says differently by now: label, what it said, what it says
    """

    text: str
    clash: tuple[tuple[str, str, str], ...] = ()


def path_of(part: str) -> KeyPath:
    """Find where a procedure stands in the file."""
    section, _, entry = part.partition(":")
    return (section, entry.removeprefix(NEW)) if entry else (section,)


def rows(source: Source, readings: Readings) -> tuple[Row, ...]:
    """List every procedure that can be done on a robot, with its state."""
    data = read_document(readings.file, readings.text).data
    robot = robot_of(source)
    found: list[Row] = []
    for section in sheets():
        given = data.get(section)
        if not _many(section):
            found.append(Row(section, section, "", given is not None, _date(given)))
            continue
        have = given if isinstance(given, dict) else {}
        found += [Row(f"{section}:{n}", section, str(n), True, _date(e)) for n, e in have.items()]
        found += [
            Row(f"{section}:{n}", section, n.removeprefix(NEW), False, "") for n in _lacking(robot, section, have)
        ]
    return tuple(found)


def _date(given: Any) -> str:
    return str(given.get("date") or "") if isinstance(given, dict) else ""


def _many(section: str) -> bool:
    return get_origin(hints(Measurements)[section]) is dict


def _lacking(robot: Loaded, section: str, have: Mapping[str, Any]) -> list[str]:
    """Names of the robot file for which the measurements have no entry yet."""
    if section in _BY_CYLINDER:
        done = {str(e.get("cylinder")) for e in have.values() if isinstance(e, dict)}
        return [f"{NEW}{name}" for name in _named(robot, "air.cylinders") if name not in done and name not in have]
    if section == "samples":
        names = tuple(n for n, m in robot.nominal.mechanisms.items() if hues_of(m) is not None)
    else:
        names = _named(robot, "air.tanks" if section == "leaks" else "actions")
    return [name for name in names if name not in have]


def _named(robot: Loaded, place: str) -> tuple[str, ...]:
    data = robot.document.data
    for key in place.split("."):
        data = data.get(key) if isinstance(data, dict) else None
    return tuple(str(key) for key in data) if isinstance(data, dict) else ()


def form(source: Source, readings: Readings, typed: Typed, day: date) -> Form:
    """Make a procedure's form."""
    path = path_of(typed.part)
    section = str(path[0])
    if section not in sheets() or _many(section) != (len(path) > 1):
        raise BadInput([Problem(readings.file, 1, 1, path, f"expected one of {', '.join(sheets())}")])
    given: Any = read_document(readings.file, readings.text).data
    for key in path:
        given = given.get(key) if isinstance(given, dict) else None
    own = (1,) if len(path) > 1 else ()
    group = form_of(_declared(section), given, path, _known(source, readings, typed, given), own)
    preset = {} if group.there else {f"{_head(path)}.date": day.isoformat()}
    if not group.there and section in _BY_CYLINDER:
        preset[f"{_head(path)}.cylinder"] = str(path[1])
    known = {blank.key for blank in blanks(group)}
    return Form(group, tuple((k, v) for k, v in preset.items() if k in known), _place(path) in _FILES)


def _head(path: KeyPath) -> str:
    return Blank(path, "", "", "text").key


def _place(path: KeyPath) -> str:
    return str(path[0]) if len(path) == 1 else f"{path[0]}.<>"


def _declared(section: str) -> type:
    note = hints(Measurements)[section]
    if get_origin(note) in (Union, types.UnionType):
        note = next(a for a in get_args(note) if a is not type(None))
    found: type = get_args(note)[1] if get_origin(note) is dict else note
    return found


def _known(source: Source, readings: Readings, typed: Typed, given: Any) -> Known:
    robot, path = robot_of(source), path_of(typed.part)
    at, section = _place(path), str(path[0])
    units = DisplayUnits.of(in_units(source, typed.units).quantities).units
    labels: dict[str, tuple[str, str]] = {}
    for table in sheets()[section].tables:
        for blank in table.columns:
            key = ".".join("<>" if step.startswith("<") else step for step in blank.key.split("."))
            labels.setdefault(key, (blank.label, blank.unit))
            labels.setdefault(f"{key}[]", ("", labels[key][1]))
    keys, choices = {}, {}
    if at in _FILES:
        files = sorted(p.name for p in readings.file.parent.glob("*.csv"))[:200]
        texts = dict(typed.texts)
        named = [v for k, v in texts.items() if k.endswith(".file") and v] + _files_of(given)
        keys[f"{at}.columns"] = tuple(_COLUMNS[at])
        choices = {_FILES[at]: tuple(files), f"{at}.columns.<>.column": heads(readings.file.parent, named, files)}
    if section == "samples":
        sorter: Any = robot.nominal.mechanisms.get(str(path[1]))
        keys[f"{at}.classes"] = (*getattr(sorter, "classes", ()), "background")
    names = {place: _named(robot, place) for place in _PLACES}
    return Known(names, units, labels, keys, choices, dict(typed.more))


def _files_of(given: Any) -> list[str]:
    if isinstance(given, dict):
        own = [str(given["file"])] if "file" in given else []
        return own + [name for inner in given.values() for name in _files_of(inner)]
    return [name for inner in given for name in _files_of(inner)] if isinstance(given, list) else []


def entered(source: Source, readings: Readings, typed: Typed, base: Pairs | None) -> Entered:
    """Put what was typed into the text of the measurements file; nothing is written."""
    made = form(source, readings, typed, date.min)
    clash = () if base is None else _clash(made, dict(base))
    if clash:
        return Entered("", clash)
    found, moved = changes(made.group, dict(typed.texts))
    if not found:
        raise BadInput(
            [Problem(readings.file, 1, 1, (), "expected a reading in one blank or more: nothing is new here")]
        )
    document = read_document(readings.file, readings.text)
    text = spliced(readings.file, readings.text, found, partial(_order, document))
    after = read_document(readings.file, text)
    wrong = _problems(source, after)
    known = {(p.key, p.expected) for p in _problems(source, document)} if wrong else set()
    path = path_of(typed.part)
    own = [p for p in wrong if p.key[: len(path)] == path or (p.key, p.expected) not in known]
    if own:
        raise BadInput([replace(p, key=_in_form(p.key, moved)) for p in own])
    return Entered(text)


def _clash(made: Form, base: Mapping[str, str]) -> tuple[tuple[str, str, str], ...]:
    said = made.said
    keys = [key for key in dict.fromkeys((*base, *said)) if base.get(key, "") != said.get(key, "")]
    return tuple((key, base.get(key, ""), said.get(key, "")) for key in keys)


def _problems(source: Source, document: Document) -> tuple[Problem, ...]:
    try:
        measured_on(document, robot_of(source))
    except BadInput as error:
        return error.problems
    return ()


def _in_form(key: KeyPath, moved: Mapping[KeyPath, KeyPath]) -> KeyPath:
    """Where a key of the file stands in the form, in which rows may have been left empty."""
    for end in range(len(key), 0, -1):
        if key[:end] in moved:
            return (*moved[key[:end]], *key[end:])
    return key


def _order(document: Document, path: KeyPath) -> list[str]:
    """The keys of a mapping in the order of their declaration; none for a mapping of names."""
    models = models_at(schema_of(Measurements), document.data, path)
    return list(dict.fromkeys(name for model in models for name in model.model_fields))
