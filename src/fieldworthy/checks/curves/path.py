"""The route over the field, how well the robot knows its place along it, and why it does not know it better."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from fieldworthy.checks.finding import Array
from fieldworthy.checks.showing import first
from fieldworthy.checks.subject import Subject
from fieldworthy.checks.tracking import SAID, Route, reach_95, route, tracked
from fieldworthy.physics.covariance import ellipse

Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Oval:
    """A region in which the robot is in 95 % of runs.

    Attributes
    ----------
    major, minor : float
        Half axes [m].
    angle : float
        Direction of the longer one, from x towards y [rad].
    reach : float
        Distance within which it is at the worst side, expected error included [m].
    """

    major: float
    minor: float
    angle: float
    reach: float


@dataclass(frozen=True, slots=True)
class Waypoint:
    """One place of the autonomous path.

    Attributes
    ----------
    number : int
        From 1, in the order of the path.
    place : str
        Its name.
    at : tuple of float
        x and y [m].
    oval : Oval
        Where the robot really is, about where it thinks it is.
    alone : Oval or None
        The same without finding its place anew; None where the robot does not relocate.
    turned : float
        95 % of runs have a heading within this [rad].
    shares : dict of str to float
        Part of each source in the variance of the position, the largest first; they add up to 1 [-].
    relocates : bool
        Whether it finds its place anew here.
    """

    number: int
    place: str
    at: Place
    oval: Oval
    alone: Oval | None
    turned: float
    shares: dict[str, float]
    relocates: bool

    @property
    def dominating(self) -> str | None:
        """The source with the largest part, in words; None where nothing is uncertain."""
        return next(iter(self.shares), None)


@dataclass(frozen=True, slots=True)
class Leg:
    """A straight way that the plan drives.

    Attributes
    ----------
    start, end : str
        Places.
    times : int
        How often it is driven this way round.
    period : str
        ``autonomous``, ``driven`` or ``finish``.
    """

    start: str
    end: str
    times: int
    period: str


@dataclass(frozen=True, slots=True)
class PathCurves:
    """The field with what is driven on it.

    Attributes
    ----------
    size : tuple of float
        Length along x and width along y [m]; the middle is at 0, 0.
    places : dict of str to tuple of float
        x and y of every place [m].
    start : str
        Where the robot starts.
    legs : tuple of Leg
        In the order in which they are first driven.
    waypoints : tuple of Waypoint
        Of the autonomous path; empty without tracking, or where it drives nowhere by itself.
    wanted : float or None
        Distance within which it must know its place [m].
    """

    size: Place
    places: dict[str, Place]
    start: str
    legs: tuple[Leg, ...]
    waypoints: tuple[Waypoint, ...]
    wanted: float | None

    @property
    def worst(self) -> Waypoint | None:
        """The waypoint where it knows its place least."""
        return max(self.waypoints, key=lambda w: w.oval.reach, default=None)


def path_curves(subject: Subject) -> PathCurves | None:
    """Lay the plan out on the field, with the error at every place of the autonomous path.

    Parameters
    ----------
    subject : Subject
        Robot and season, nominal [SI].

    Returns
    -------
    PathCurves or None
        None without a plan [SI].
    """
    subject = subject.nominal
    plan, field = subject.robot.plan, subject.season.field
    if plan is None:
        return None
    places = {name: (first(x), first(y)) for name, (x, y) in field.places.items()}
    tracking = subject.robot.tracking
    way = route(subject) if tracking is not None else None
    found = () if way is None else tuple(_waypoints(subject, way, places))
    size = (first(field.size[0]), first(field.size[1]))
    wanted = None if tracking is None else first(tracking.wanted)
    return PathCurves(size, places, plan.start, _legs(subject), found, wanted)


def _legs(subject: Subject) -> tuple[Leg, ...]:
    driven = Counter((b.came_from, b.place, b.period) for b in subject.schedule if b.distance > 0.0)
    return tuple(Leg(a, b, times, period) for (a, b, period), times in driven.items())


def _waypoints(subject: Subject, way: Route, places: dict[str, Place]) -> list[Waypoint]:
    spec = subject.robot.tracking
    assert spec is not None, "asked for with tracking only"
    found = tracked(subject, way)
    fixed = {item.at for item in spec.relocations}
    alone = tracked(subject, way, relocate=False) if fixed & set(way.names) else None
    heading = np.sqrt(np.maximum(found.total[:, 5], 0.0))
    ovals = _ovals(found.total, reach_95(found)[0])
    without = [None] * len(ovals) if alone is None else _ovals(alone.total, reach_95(alone)[0])
    parts = np.maximum(found.position_variance(), 0.0)
    return [
        Waypoint(
            i + 1,
            name,
            places[name],
            ovals[i],
            without[i],
            float(1.96 * heading[i]),
            _shares(found.sources, parts[:, i]),
            name in fixed,
        )
        for i, name in enumerate(way.names)
    ]


def _ovals(total: Array, reach: Array) -> list[Oval]:
    shape = ellipse(total)
    return [
        Oval(float(a), float(b), float(angle), float(r))
        for a, b, angle, r in zip(shape.major, shape.minor, shape.angle, reach, strict=True)
    ]


def _shares(sources: tuple[str, ...], variances: Array) -> dict[str, float]:
    whole = float(variances.sum())
    order = np.argsort(-variances, kind="stable")
    return {SAID[sources[i]]: float(variances[i]) / whole for i in order if variances[i] > 0.0}
