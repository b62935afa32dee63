"""Reads a measurements file with the tables that it names, and readings by hand with their scatter."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import DisplayUnits
from fieldworthy.files import BadInput, Document, Problem, Quantity, instantiate, read_document
from fieldworthy.files.declare import Real, Spec, is_day
from fieldworthy.files.document import KeyPath, faults_of, nearest, shorten
from fieldworthy.files.reading import checked, references
from fieldworthy.measure.fitting import PER_95, TRUST, Belief, Solution, Weighed
from fieldworthy.measure.model import Measurements
from fieldworthy.measure.result import Fitted, Moved, Unidentified
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.robot.partslist import beside, lacking_beside
from fieldworthy.units import show
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import whole

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
    alone : True where the readings alone count, without what the robot file believes
    """

    document: Document
    spec: Spec
    robot: Loaded
    alone: bool = False

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


def load_measurements(file: Path | str, robot: Path | Loaded | None = None, *, alone: bool = False) -> Measured:
    """Read a measurements file and the robot file that it names; a robot that is at hand already is not read again."""
    document = read_document(Path(file))
    beside_it, lacking = _robot_file(document, robot.document.file if isinstance(robot, Loaded) else robot)
    if beside_it is None:
        return _measured(document, None, lacking)
    found = _measured(document, robot if isinstance(robot, Loaded) else load_robot(beside_it), lacking)
    return dataclasses.replace(found, alone=alone)


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


_ROUGH = 2.0  # times the stated error; more scatter than that is worth a sentence


def deviation(measured: Measured, key: KeyPath) -> float:
    """Give the standard deviation of a quantity of the robot file."""
    found = measured.quantities.get(key)
    return 0.0 if found is None else found.tolerance / PER_95


def priors(measured: Measured, beliefs: Iterable[Belief], day: str) -> list[Belief]:
    """Choose what may count beside readings of a day: what somebody has said, and did not read off these readings.

    Notes
    -----
    A default is nobody's belief. A value with the basis ``measured`` counts only where it bears another date: written
    from these very readings it would count twice.
    """

    def stands(belief: Belief) -> bool:
        if belief.key[:1] == ("weighed",):
            return True  # what the parts add up to, whatever was weighed before
        found = measured.quantities.get(belief.key)
        return (
            found is not None
            and not found.assumed
            and (found.basis != "measured" or bool(day and found.date and found.date != day))
        )

    return [] if measured.alone else [belief for belief in beliefs if stands(belief)]


@dataclass(frozen=True, slots=True)
class ListedBody:
    """What the parts list adds up to, in one pose, with nothing on board.

    Attributes
    ----------
    mass, mass_tolerance : Mass and half width of its 95 % interval, by the parts' tolerances [kg]
    centre, centre_tolerance : Centre of gravity and its half widths [m]
    """

    mass: float
    mass_tolerance: float
    centre: Array
    centre_tolerance: Array


def listed_body(measured: Measured, pose: str | None) -> ListedBody | None:
    """Add up the parts list.

    Notes
    -----
    Tolerances add as independent ones do, of first order: a part pulls by its mass and by its distance from the centre.
    """
    robot = measured.robot.nominal
    if not robot.parts:
        return None
    moves = robot.poses[pose].moves if pose is not None else {}
    body = whole(state.listed_groups(Context(robot, measured.robot.nominal_season)), moves)
    mass, centre = float(body.mass), np.asarray(body.cg, dtype=np.float64).reshape(3)
    names = list(robot.parts)
    weights = np.array([float(robot.parts[n].mass) * robot.parts[n].count for n in names])
    places = np.array([[float(c) for c in robot.parts[n].position] for n in names])
    off_mass = np.array([_tolerance(measured, ("parts", n, "mass")) * robot.parts[n].count for n in names])
    off_place = np.array([[_tolerance(measured, ("parts", n, "position", i)) for i in range(3)] for n in names])
    pull = (weights[:, None] * off_place) ** 2 + ((places - centre) * off_mass[:, None]) ** 2
    return ListedBody(mass, float(np.linalg.norm(off_mass)), centre, np.sqrt(pull.sum(axis=0)) / mass)


def _tolerance(measured: Measured, key: KeyPath) -> float:
    return PER_95 * deviation(measured, key)


def robot_units(measured: Measured) -> dict[str, str]:
    """Choose the units to show numbers of the whole robot in."""
    unit = dict(DisplayUnits.of(measured.robot.quantities).units)
    return unit | {"mass": "lb" if unit["mass"] in ("lb", "lbs", "oz") else "kg"}


def weighing_entries(
    pose: str | None, listed: ListedBody | None, unit: dict[str, str]
) -> tuple[tuple[KeyPath, str], ...]:
    """Entries of the robot file that belong to a weighing: its pose, and what the parts add up to that day."""
    found: list[tuple[KeyPath, str]] = [] if pose is None else [(("weighed", "pose"), pose)]
    if listed is not None:
        found.append((("weighed", "listed", "mass"), show(listed.mass, "mass", unit["mass"], 6)))
        for axis, place in zip("xyz", listed.centre.tolist(), strict=True):
            found.append((("weighed", "listed", axis), show(place, "length", unit["length"], 6)))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Asked:
    """One parameter of a fit, and how it is told.

    Attributes
    ----------
    parameter : Its name in the fit, and in sentences
    key : Where it stands in the robot file
    kind : Kind of quantity
    reading : Which reading would tell it, where these do not: one sentence without its full stop
    spread_key : Key of its standard deviation in the robot file, where it has one
    implied : What the robot file implies where it has no such key [SI]
    unit : The unit to show it in; the robot file's where empty
    """

    parameter: str
    key: KeyPath
    kind: str
    reading: str
    spread_key: KeyPath = ()
    implied: tuple[float, float] | None = None
    unit: str = ""


def told(found: Weighed, asked: Sequence[Asked]) -> tuple[tuple[Fitted, ...], tuple[Unidentified, ...]]:
    """Sort what was asked into what the fit tells and what it cannot."""
    fitted, blind = [], []
    for ask in asked:
        why = found.why_not(ask.parameter)
        if found.alone.unexplained:
            why = "no value of it leads to what was read, so readings and file contradict each other"
        if why is not None:
            blind.append(Unidentified(ask.parameter, ask.key, why, ask.reading))
            continue
        value, half = found.together.value(ask.parameter), found.together.half_width(ask.parameter)
        fitted.append(
            Fitted(
                ask.parameter, ask.key, ask.kind, value, half, ask.spread_key, ask.implied, ask.unit,
                moved=moved(found, ask.parameter),
            )
        )  # fmt: skip
    return tuple(fitted), tuple(blind)


def moved(found: Weighed, parameter: str) -> Moved | None:
    """Say what the file's belief of a parameter counted for."""
    belief = found.used.get(parameter)
    if belief is None:
        return None
    half = PER_95 * belief.deviation
    if found.alone.why_not(parameter) is not None:
        return Moved(belief.value, half, None, None)
    return Moved(belief.value, half, found.alone.value(parameter), found.alone.half_width(parameter))


def scatter_note(solution: Solution, error: float, kind: str, unit: str) -> tuple[str, ...]:
    """Say that readings scatter more than they were stated to."""
    left = solution.dof - TRUST  # what the stated error counts for is not a reading
    if left < 2 or not solution.scatter > _ROUGH:
        return ()
    stated, real = show(error, kind, unit), show(error * solution.scatter, kind, unit, 2)
    said = f"The readings scatter as if each were good to {real} only, not to {stated}: look for one that is written "
    return (f"{said}wrong, or state the error as it is. The intervals allow for it.",)
