"""A robot's or season's file as a form: every value with its unit, tolerance and basis, grouped as the file is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal, get_args, get_origin

from fieldworthy.decide.change import written
from fieldworthy.files import Document, Of, Quantity
from fieldworthy.files.declare import Spec
from fieldworthy.files.instantiation import references
from fieldworthy.files.problems import KeyPath, dotted
from fieldworthy.robot import Loaded
from fieldworthy.robot.editing import season_file
from fieldworthy.robot.loading import known_names, load_season
from fieldworthy.robot.model.robot import Robot
from fieldworthy.units import KINDS, show, to_unit
from fieldworthy.web.judging import Source, robot_of

Sort = Literal["quantity", "whole number", "truth", "choice", "text"]
_ROBOT_SECTIONS = (
    "robot", "drive", "battery", "parts", "weighed", "contacts", "rollers", "ballast", "balance", "poses", "air",
    "motors", "mechanisms", "tracking", "actions", "plan", "hours_left", "catalogue",
)  # fmt: skip
_SPLIT = ("mechanisms", "catalogue", "air", "objects")  # sections whose entries are sections of their own


@dataclass(frozen=True, slots=True)
class Field:
    """One value of a file.

    Attributes
    ----------
    path : Its key path; one of the season begins with ``season``
    key : The path as people read it
    section, group : Where it stands in the form
    label : The last keys of its path
    sort : What may stand there
    value : As the file says it; the default where it says nothing
    stated : Whether the file says it
    about : One sentence
    kind : Of a quantity
    tolerance, basis : Of a quantity, as the file says them, or the defaults
    own_tolerance : Whether the file says the tolerance
    choices : What can be chosen
    file : The name of the file that holds it
    fixed : Whether it cannot be changed here
    generic : Whether it is of a class that comes with the program
    """

    path: KeyPath
    key: str
    section: str
    group: str
    label: str
    sort: Sort
    value: str
    stated: bool = True
    about: str = ""
    kind: str = ""
    tolerance: str = ""
    basis: str = ""
    own_tolerance: bool = False
    choices: tuple[str, ...] = ()
    file: str = ""
    fixed: bool = False
    generic: bool = False


def form_of(source: Source) -> tuple[Field, ...]:
    """Turn a robot into a form."""
    loaded = robot_of(source)
    robot = _Walk(loaded.document, _choices(loaded), ())
    found = list(robot.fields(loaded.robot, ()))
    season = season_file(loaded)
    document, _ = load_season(season, loaded.texts.get(season))
    found += _Walk(document, {}, ("season",)).fields(loaded.season, ())
    order = {name: i for i, name in enumerate(_ROBOT_SECTIONS)}
    return tuple(sorted(found, key=lambda f: order.get(str(f.path[0]), 99)))


def season_form(source: Source) -> tuple[Field, ...]:
    """Turn a season into a form."""
    document, spec = load_season(source.file, dict(source.texts).get(source.file))
    return tuple(_Walk(document, {}, ()).fields(spec, ()))


def _choices(loaded: Loaded) -> dict[KeyPath, tuple[str, ...]]:
    """What can be chosen where a name of something else stands."""
    data = loaded.document.data
    return {
        path: tuple(name for target in targets for name in known_names(data, loaded.season, target))
        for path, targets, _ in references(data, Robot)
    }


@dataclass(frozen=True, slots=True)
class _Walk:
    """Goes through a specification and its file side by side."""

    document: Document
    choices: dict[KeyPath, tuple[str, ...]]
    head: KeyPath

    def fields(self, spec: Any, path: KeyPath) -> Iterator[Field]:
        """Every value below one place."""
        if isinstance(spec, Spec):
            for name, info in type(spec).model_fields.items():
                if path or name not in ("fieldworthy", "season", "parts_list", "about"):
                    yield from self._under(getattr(spec, name), (*path, name), info)
        elif isinstance(spec, dict):
            for name, item in spec.items():
                yield from self._under(item, (*path, name), None)
        elif isinstance(spec, tuple):
            for i, item in enumerate(spec):
                yield from self._under(item, (*path, i), None)

    def _under(self, value: Any, path: KeyPath, info: Any) -> Iterator[Field]:
        about = str(getattr(info, "description", "") or "").partition(" (assumed")[0]
        if isinstance(value, Quantity):
            yield self._quantity(value, path, about)
        elif isinstance(value, Spec | dict | tuple):
            yield from self.fields(value, path)
        elif value is None:
            mark = _mark(getattr(info, "annotation", None), getattr(info, "metadata", ()))
            if mark is not None:
                yield self._made(path, "quantity", "", about=about, kind=mark.kind)
        else:
            yield self._plain(value, path, about, info)

    def _stated(self, path: KeyPath) -> bool:
        return path in self.document.marks or path[:-1] in self.document.files

    def _raw(self, path: KeyPath) -> Any:
        here = self.document.data
        for key in path:
            try:
                here = here[key]
            except (KeyError, IndexError, TypeError):
                return None
        return here

    def _quantity(self, quantity: Quantity, path: KeyPath, about: str) -> Field:
        raw = self._raw(path)
        parts = raw if isinstance(raw, dict) else {"value": raw}
        unit = quantity.unit
        value = parts.get("value")
        shown = (
            str(value)
            if isinstance(value, str | int | float)
            else written(to_unit(quantity.si, quantity.kind, unit), unit)
        )
        own = parts.get("tolerance")
        step = "temperature step" if quantity.kind == "temperature" else quantity.kind
        step_unit = "K" if quantity.kind == "temperature" else unit
        default = show(quantity.tolerance, step, step_unit, 2) if quantity.tolerance else "none"
        return self._made(
            path, "quantity", shown, about=about, kind=quantity.kind,
            tolerance=str(own) if own is not None else default, basis=quantity.basis, own_tolerance=own is not None,
        )  # fmt: skip

    def _plain(self, value: Any, path: KeyPath, about: str, info: Any) -> Field:
        words = _words(getattr(info, "annotation", None))
        if isinstance(value, bool):
            return self._made(path, "truth", "yes" if value else "no", about=about, choices=("yes", "no"))
        if isinstance(value, int):
            return self._made(path, "whole number", str(value), about=about)
        choices = words or self.choices.get(path, ())
        sort: Sort = "choice" if choices else "text"
        return self._made(path, sort, str(value), about=about, choices=choices, fixed=path[-1] == "kind")

    def _made(self, path: KeyPath, sort: Sort, value: str, **rest: Any) -> Field:
        generic = path[0] == "catalogue" and path not in self.document.marks and path[:3] not in self.document.marks
        section, group, label = _place(self.head or (), path)
        file = next(
            (f for i in range(len(path), 0, -1) if (f := self.document.files.get(path[:i]))), self.document.file
        )
        rest["fixed"] = rest.get("fixed", False) or file.suffix == ".xlsx"
        whole = (*self.head, *path)
        return Field(
            whole, dotted(whole), section, group, label, sort, value,
            stated=self._stated(path) and not generic, file=file.name, generic=generic, **rest,
        )  # fmt: skip


def _place(head: KeyPath, path: KeyPath) -> tuple[str, str, str]:
    """Section, group and label of a value."""
    first = str(path[0])
    if head:
        return "season", first, dotted(path[1:]) or first
    if len(path) == 1:
        return ("robot", "", first) if first in ("robot", "battery", "hours_left") else (first, "", first)
    split = first in _SPLIT and len(path) > 2
    section = f"{first}.{path[1]}" if split else first
    rest = path[2:] if split else path[1:]
    if len(rest) == 1:
        return section, "", str(rest[0])
    # the name of a thing heads its values; what is deeper is told in their labels
    return section, str(rest[0]) if not isinstance(rest[0], int) else dotted(rest[:1]), dotted(rest[1:])


def _mark(annotation: Any, metadata: Any) -> Of | None:
    for item in metadata or ():
        if isinstance(item, Of):
            return item
    for inner in get_args(annotation):
        if isinstance(inner, Of):
            return inner
        found = _mark(inner, ())
        if found is not None:
            return found
    return None


def _words(annotation: Any) -> tuple[str, ...]:
    """The words that a field takes, where it takes only certain ones."""
    if get_origin(annotation) is Literal:
        return tuple(str(word) for word in get_args(annotation))
    found = [word for inner in get_args(annotation) for word in _words(inner)]
    return tuple(found)


def example(kind: str) -> str:
    """Show how a quantity of a kind is written."""
    return KINDS[kind].example
