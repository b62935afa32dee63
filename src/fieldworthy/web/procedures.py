"""Entry sheets for the page: what has been measured, a procedure's form, and what typing makes of the file."""

from __future__ import annotations

import types
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from typing import Any, Union, get_args, get_origin

from fieldworthy.engine.finding import DisplayUnits
from fieldworthy.files import Document, read_document, schema_of
from fieldworthy.files.declare import hints
from fieldworthy.files.document import BadInput, KeyPath, Problem
from fieldworthy.files.reading import models_at
from fieldworthy.files.splicing import spliced
from fieldworthy.measure.files import measured_on
from fieldworthy.measure.model import FRAME_KINDS, HUE_KINDS, LOG_KINDS, Measurements
from fieldworthy.measure.sheets import sheets
from fieldworthy.robot import Loaded
from fieldworthy.systems.sorter.model import Sorter
from fieldworthy.web.blanks import Blank, Group, Known, blanks, changes, form_of
from fieldworthy.web.judging import Source, Units, in_units, robot_of
from fieldworthy.web.readings import Readings, heads

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
        names = tuple(n for n, m in robot.nominal.mechanisms.items() if isinstance(m, Sorter))
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
