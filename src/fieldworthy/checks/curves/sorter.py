"""A colour sorter: its classes on the hue circle, what its sensor should face, and when its ejector must act.

How errors change with the sensor's place or its background is found by running the checks over a batch of candidates.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fieldworthy.checks import sorter as checks
from fieldworthy.checks.backgrounds import backgrounds
from fieldworthy.checks.finding import Array, Outcome
from fieldworthy.checks.showing import first
from fieldworthy.checks.sorter import Palette, palette_of, passing_of, throw_of
from fieldworthy.checks.subject import Subject
from fieldworthy.physics import hue, sorting
from fieldworthy.robot.model import Sorter
from fieldworthy.robot.model.sorter import Background, Ejector

_STEPS = 181  # hues and places that are tried
_NEAREST, _FARTHEST = 0.2, 2.0  # of the ejector's distance


@dataclass(frozen=True, slots=True)
class HueClass:
    """One class of objects on the hue circle.

    Attributes
    ----------
    name : str
        Of the class.
    mean, sd : float
        Of the hue that the sensor reports [rad].
    share : float
        Of all objects [-].
    start, width : float
        The arc that decides for it, from its threshold on towards growing hue [rad].
    density : ndarray of shape (k,)
        Of its readings over `SorterCurves.hue` [1/rad].
    """

    name: str
    mean: float
    sd: float
    share: float
    start: float
    width: float
    density: Array


@dataclass(frozen=True, slots=True)
class Facing:
    """What the sensor faces while no object is before it.

    Attributes
    ----------
    at : float
        Its hue [rad].
    clear, wanted : float
        Standard deviations by which the class that stands out least does so, and how many are wanted [-].
    best, most : float
        The best hue [rad], and what it gives [-].
    hue, clear_at : ndarray of shape (k,)
        The same for backgrounds of any hue [rad, -].
    """

    at: float
    clear: float
    wanted: float
    best: float
    most: float
    hue: Array
    clear_at: Array


@dataclass(frozen=True, slots=True)
class Ejecting:
    """When the ejector must be in place, from the moment an object's nose meets the sensor; and the errors.

    Attributes
    ----------
    decided, ready : float
        When the sorter has decided, and when the ejector is in place at the earliest [s].
    opens, closes : float
        When the object before has left the ejector, and when this one reaches it [s].
    aim, margin : float
        Moment to aim at, and time to spare; negative is too late [s].
    scatter : float
        Standard deviation of the moment [s].
    distance : float
        From the sensor to the ejector [m].
    error : float
        Share of all objects that are sorted wrongly [-].
    allowed : float or None
        Share that may be [-].
    distances, errors : ndarray of shape (k,)
        The same error for other places of the sensor [m, -].
    """

    decided: float
    ready: float
    opens: float
    closes: float
    aim: float
    margin: float
    scatter: float
    distance: float
    error: float
    allowed: float | None
    distances: Array
    errors: Array


@dataclass(frozen=True, slots=True)
class SorterCurves:
    """One sorter.

    Attributes
    ----------
    name : str
        Of the mechanism.
    unwanted : str
        The class that is thrown out.
    coloured : bool
        Whether its hues are those of the hexagonal circle, red at 0.
    hue : ndarray of shape (k,)
        Once round the circle [rad].
    classes : tuple of HueClass
        In the file's order.
    facing : Facing or None
        None where the file gives no background.
    ejecting : Ejecting or None
        None without an ejector, or where nothing passes the sensor.
    """

    name: str
    unwanted: str
    coloured: bool
    hue: Array
    classes: tuple[HueClass, ...]
    facing: Facing | None
    ejecting: Ejecting | None


def sorter_curves(subject: Subject) -> dict[str, SorterCurves]:
    """Show every colour sorter of a robot.

    Parameters
    ----------
    subject : Subject
        Robot and season, nominal [SI].

    Returns
    -------
    dict of str to SorterCurves
        By mechanism [SI].
    """
    subject = subject.nominal
    found = {name: spec for name, spec in subject.robot.mechanisms.items() if isinstance(spec, Sorter)}
    return {name: _curves(subject, name, spec) for name, spec in found.items()}


def _curves(subject: Subject, name: str, spec: Sorter) -> SorterCurves:
    palette, around = palette_of(spec), np.linspace(0.0, hue.TURN, _STEPS)
    facing = None if spec.background is None else _facing(name, spec, spec.background, palette)
    ejecting = None if spec.ejector is None else _ejecting(subject, name, spec, spec.ejector)
    return SorterCurves(
        name, spec.unwanted, spec.circle == "hexagonal", around, _classes(palette, around), facing, ejecting
    )


def _classes(palette: Palette, around: Array) -> tuple[HueClass, ...]:
    arcs = sorting.sectors(palette.means, palette.sds, palette.shares)
    return tuple(
        HueClass(
            name,
            float(palette.means[i]),
            float(palette.sds[i]),
            float(palette.shares[i]),
            float(arcs.start[i]),
            float(arcs.width[i]),
            np.asarray(hue.wrapped_normal(around, palette.means[i], palette.sds[i])),
        )
        for i, name in enumerate(palette.names)
    )


def _one(outcomes: Iterable[Outcome], identifier: str) -> Outcome:
    return next(outcome for outcome in outcomes if outcome.id == identifier)


def _cases(value: object, size: int) -> Array:
    return np.broadcast_to(np.asarray(value, dtype=float), (size,))


def _facing(name: str, spec: Sorter, behind: Background, palette: Palette) -> Facing:
    tried = np.concatenate([[float(behind.hue)], np.linspace(0.0, hue.TURN, _STEPS)])
    candidates = dataclasses.replace(spec, background=dataclasses.replace(behind, hue=tried))
    said = list(backgrounds(name, candidates, palette.means[:, None], palette.sds[:, None]))
    own = list(backgrounds(name, spec, palette.means, palette.sds))
    clear, best = _one(own, f"sort.background.{name}"), _one(own, f"sort.best_background.{name}")
    swept = _cases(_one(said, f"sort.background.{name}").value, tried.size)
    return Facing(
        first(hue.wrap(behind.hue)),
        first(clear.value),
        float(behind.clear),
        first(best.value),
        first(clear.because.numbers["most"][0]),
        tried[1:],
        swept[1:],
    )


def _ejecting(subject: Subject, name: str, spec: Sorter, ejector: Ejector) -> Ejecting | None:
    passing = passing_of(subject, spec)
    throw = None if passing is None else throw_of(subject, spec, passing)
    if throw is None:
        return None
    far, window = first(ejector.distance), throw.window
    tried = np.concatenate([[far], far * np.linspace(_NEAREST, _FARTHEST, _STEPS)])
    errors = _cases(_one(_moved(subject, name, spec, ejector, tried), f"sort.error.{name}").value, tried.size)
    return Ejecting(
        first(throw.decided),
        first(window.ready),
        max(first(window.opens), 0.0),
        first(window.closes),
        first(window.aim),
        first(window.margin),
        first(ejector.scatter),
        far,
        float(errors[0]),
        None if spec.allowed_error is None else first(spec.allowed_error),
        tried[1:],
        errors[1:],
    )


def _moved(subject: Subject, name: str, spec: Sorter, ejector: Ejector, distance: Array) -> Iterable[Outcome]:
    """What the check says of sensors at other distances from the ejector, all in one batch."""
    moved = dataclasses.replace(spec, ejector=dataclasses.replace(ejector, distance=distance))
    robot = dataclasses.replace(subject.robot, mechanisms={**subject.robot.mechanisms, name: moved})
    return checks.check(Subject(robot, subject.season, subject))
