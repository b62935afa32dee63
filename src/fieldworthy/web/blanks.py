"""A section of a measurements file as a form: its blanks, from its declaration, and what typing in them changes."""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal, TypeAlias, Union, get_args, get_origin

from fieldworthy.files.declare import Of, Ref, hints, mark_of
from fieldworthy.files.document import KeyPath, dotted, plain_scalar
from fieldworthy.files.writing import GONE

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
