"""Reads a measurements file with the robot that it was measured on."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

from fieldworthy.files import BadInput, Document, Problem, Quantity, instantiate, read_document
from fieldworthy.files.declare import Real, Spec, is_day
from fieldworthy.files.document import KeyPath, faults_of, nearest, shorten
from fieldworthy.files.reading import checked, references
from fieldworthy.measure.model import Measurements
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.robot.partslist import beside, lacking_beside

T = TypeVar("T")


def laid_over(thing: T, values: Mapping[KeyPath, Real]) -> T:
    """Lay numbers over a realised declaration."""
    for path, value in values.items():
        thing = _with(thing, path, value)
    return thing


def _with(thing: Any, path: KeyPath, value: Any) -> Any:
    if not path:
        return value
    key, rest = path[0], path[1:]
    if isinstance(thing, dict):
        return thing | {key: _with(thing[key], rest, value)}
    if isinstance(thing, tuple):
        place = int(key)
        return (*thing[:place], _with(thing[place], rest, value), *thing[place + 1 :])
    if not dataclasses.is_dataclass(thing) or isinstance(thing, type) or not hasattr(thing, str(key)):
        raise KeyError(path)
    spec: Any = thing
    return dataclasses.replace(spec, **{str(key): _with(getattr(thing, str(key)), rest, value)})


def number_at(thing: Any, path: KeyPath) -> float:
    """Take one number of a realised declaration."""
    here: Any = thing
    for key in path:
        here = getattr(here, str(key)) if dataclasses.is_dataclass(here) else here[key]
    return float(here)


@dataclass(frozen=True)
class Measured:
    """A measurements file with the robot that it was measured on.

    Attributes
    ----------
    document : The file's data and places
    spec : Its validated specification
    robot : The robot, with its season
    """

    document: Document
    spec: Spec
    robot: Loaded

    @cached_property
    def readings(self) -> Measurements:
        """The readings in SI."""
        return instantiate(self.spec, Measurements)

    @property
    def folder(self) -> Path:
        """Where the file stands, and its tables beside it."""
        return self.document.file.parent

    @cached_property
    def quantities(self) -> dict[KeyPath, Quantity]:
        """Every quantity of the robot file, by key path."""
        return {path: q for path, q in self.robot.quantities if path[0] != "season"}

    def table(self, name: str, key: KeyPath) -> Path:
        """Find a table beside the measurements file."""
        found = beside(self.document.file, name)
        if found is None:
            raise BadInput([lacking_beside(self.document, key, name, "CSV file", self.folder.glob("*.csv"))])
        return found


def load_measurements(file: Path | str, robot: Path | Loaded | None = None) -> Measured:
    """Read a measurements file and the robot file that it names; a robot that is at hand already is not read again."""
    document = read_document(Path(file))
    beside_it, lacking = _robot_file(document, robot.document.file if isinstance(robot, Loaded) else robot)
    if beside_it is None:
        return _measured(document, None, lacking)
    return _measured(document, robot if isinstance(robot, Loaded) else load_robot(beside_it), lacking)


def measured_on(document: Document, robot: Loaded) -> Measured:
    """Read measurements for a robot that is at hand, for example not saved yet."""
    return _measured(document, robot, [])


def _measured(document: Document, loaded: Loaded | None, problems: list[Problem]) -> Measured:
    spec, wrong = checked(document, Measurements)
    problems = [*wrong, *problems]
    if loaded is not None:
        problems += _unknown_names(document, loaded)
    if spec is not None:
        readings = instantiate(spec, Measurements)
        problems += [document.problem(key, expected) for key, expected in faults_of(readings)]
        problems += _undated(document, readings)
    if spec is None or loaded is None or problems:
        raise BadInput(problems)
    return Measured(document, spec, loaded)


def _undated(document: Document, readings: Measurements) -> Iterator[Problem]:
    """Dates that are none."""
    for field in dataclasses.fields(readings):
        given = getattr(readings, field.name)
        entries = given.items() if isinstance(given, dict) else [("", given)]
        for name, entry in entries:
            day = getattr(entry, "date", "")
            if day and not is_day(day):
                key = (field.name, name, "date") if name else (field.name, "date")
                expected = f"expected a date such as 2026-11-25: year, month, day (found {shorten(day)})"
                yield document.problem(key, expected)


def _robot_file(document: Document, named: Path | None) -> tuple[Path | None, list[Problem]]:
    """The robot file beside the measurements, or what is wrong with its name."""
    name = document.data.get("robot")
    if not isinstance(name, str):
        return named, []  # the schema has said that it must be a text
    found = beside(document.file, name)
    if found is None:
        known = (p for p in document.file.parent.glob("*.y*ml") if p.name != document.file.name)
        return named, [lacking_beside(document, ("robot",), name, "robot file", known)]
    if named is not None and not _same(named, found):
        expected = f"these readings were taken on {name}, not on {named.name}: name the same robot file in both places"
        return None, [document.problem(("robot",), expected)]
    return named or found, []


def _same(named: Path, found: Path) -> bool:
    """Whether both are one file; what cannot be reached is for its reader to refuse."""
    try:
        return named.samefile(found)
    except (OSError, ValueError):
        return True


def _unknown_names(document: Document, robot: Loaded) -> Iterator[Problem]:
    """Names that the robot file does not bear."""
    for path, targets, name in references(document.data, Measurements):
        known = [key for target in targets for key in _names(robot.document.data, target)]
        if name not in known:
            listed = "; ".join(known[:10]) + ("; …" if len(known) > 10 else "") or "none are declared"
            expected = f"expected a name from the robot's {' or '.join(targets)}: {listed} (found {shorten(name)})"
            yield document.problem(path, expected, nearest(name, known))


def _names(data: Any, target: str) -> list[str]:
    for key in target.split("."):
        data = data.get(key) if isinstance(data, dict) else None
    return [str(key) for key in data] if isinstance(data, dict) else []
