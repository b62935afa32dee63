"""What the procedures with hand readings share: the robot as listed, tolerances of its file, and how a fit is told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.finding import DisplayUnits
from fieldworthy.engine.system import Context
from fieldworthy.files.document import KeyPath
from fieldworthy.measure.files import Measured
from fieldworthy.measure.fitting import PER_95, Solution
from fieldworthy.measure.result import Fitted, Unidentified
from fieldworthy.units import show
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import whole

_ROUGH = 2.0  # times the stated error; more scatter than that is worth a sentence


def deviation(measured: Measured, key: KeyPath) -> float:
    """Give the standard deviation of a quantity of the robot file."""
    found = measured.quantities.get(key)
    return 0.0 if found is None else found.tolerance / PER_95


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


def told(solution: Solution, asked: Sequence[Asked]) -> tuple[tuple[Fitted, ...], tuple[Unidentified, ...]]:
    """Sort what was asked into what the fit tells and what it cannot."""
    fitted, blind = [], []
    for ask in asked:
        why = solution.why_not(ask.parameter)
        if solution.unexplained:
            why = "no value of it leads to what was read, so readings and file contradict each other"
        if why is not None:
            blind.append(Unidentified(ask.parameter, ask.key, why, ask.reading))
            continue
        value, half = solution.value(ask.parameter), solution.half_width(ask.parameter)
        fitted.append(Fitted(ask.parameter, ask.key, ask.kind, value, half, ask.spread_key, ask.implied, ask.unit))
    return tuple(fitted), tuple(blind)


def scatter_note(solution: Solution, error: float, kind: str, unit: str) -> tuple[str, ...]:
    """Say that readings scatter more than they were stated to."""
    left = solution.dof - 10.0  # what the stated error counts for is not a reading
    if left < 2 or not solution.scatter > _ROUGH:
        return ()
    stated, real = show(error, kind, unit), show(error * solution.scatter, kind, unit, 2)
    said = f"The readings scatter as if each were good to {real} only, not to {stated}: look for one that is written "
    return (f"{said}wrong, or state the error as it is. The intervals allow for it.",)
