"""Tilted until it balances: the height of the centre of gravity from angles, one side or more."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.engine.finding import Array
from fieldworthy.files import BadInput
from fieldworthy.measure.files import Measured
from fieldworthy.measure.fitting import PER_95, Parameter, solve
from fieldworthy.measure.handwork import (
    Asked,
    deviation,
    listed_body,
    robot_units,
    scatter_note,
    told,
    weighing_entries,
)
from fieldworthy.measure.model import Tilt
from fieldworthy.measure.result import Procedure, Residuals
from fieldworthy.measure.scales import FORWARD, HEIGHT, LEFT, contacts, fit_scales
from fieldworthy.physics.statics.weighing import balance_tilt

SIDES = ("forward", "back", "left", "right")
_LEAST = 1e-3  # m: a centre of gravity lies at least that far above what it tilts over


@dataclass(frozen=True, slots=True)
class _Edge:
    """What the robot tilts over on one side, and the angles read there."""

    side: str
    place: float
    known: float
    radius: float
    angles: Array

    @property
    def axis(self) -> str:
        return FORWARD if self.side in ("forward", "back") else LEFT

    @property
    def sign(self) -> float:
        return 1.0 if self.side in ("forward", "left") else -1.0

    @property
    def pivot(self) -> str:
        return f"edge that it tilts over, {self.side}"


def fit_tilt(section: Tilt, measured: Measured, name: str = "") -> Procedure:
    """Find the centre of gravity from the tilts at which the robot balances.

    Notes
    -----
    ``tan(a) = reach / height`` above the axle (by hand, over round wheels) or above the floor (on a board, wheels
    braked). One angle tells reach over height alone: the other comes from the scales where they were read, or from a
    tilt to the opposite side.
    """
    del name
    edges = list(_edges(section, measured))
    if not edges:
        raise BadInput([measured.document.problem(("tilt", "angles"), "expected one angle or more")])
    parameters = _tilt_parameters(section, measured, edges)
    places = {p.name: i for i, p in enumerate(parameters)}
    error = float(section.error) / PER_95

    def predicted(values: Array) -> list[Array]:
        return [_tilts(edge, values, places) for edge in edges]

    solution = solve(
        lambda values: np.concatenate([(e.angles - p) / error for e, p in zip(edges, predicted(values), strict=True)]),
        parameters,
    )
    fitted, blind = told(solution, list(_asked_of_tilt(section, measured, parameters)))
    return Procedure(
        "tilt", "Tilt until it balances", section.date, fitted, blind, _tilt_residuals(edges, predicted(solution.values)),
        (*_rollers(measured), *scatter_note(solution, float(section.error), "angle", "deg")), ("meriam_statics",),
        weighing_entries(section.pose, listed_body(measured, section.pose), robot_units(measured)),
    )  # fmt: skip


def _edges(section: Tilt, measured: Measured) -> Iterator[_Edge]:
    wheels = list(contacts(measured).values())
    for side in SIDES:
        angles = np.array([float(a) for a in getattr(section.angles, side)])
        if not angles.size:
            continue
        along = side in ("forward", "back")
        sign = 1.0 if side in ("forward", "left") else -1.0
        wheel = max(wheels, key=lambda w: sign * (w.x if along else w.y))
        place = wheel.x if along else wheel.y + sign * float(section.edge)
        rolls = along and section.how == "by hand"
        known = deviation(measured, (*wheel.key, 0 if along else 1))
        yield _Edge(side, place, known, wheel.radius if rolls else 0.0, angles)


def _rollers(measured: Measured) -> tuple[str, ...]:
    if not measured.robot.nominal.rollers:
        return ()
    return ("This robot has anti-tip rollers: tilts tell its height only with the rollers taken off.",)


def _tilt_parameters(section: Tilt, measured: Measured, edges: Sequence[_Edge]) -> list[Parameter]:
    listed = listed_body(measured, section.pose)
    x, y, z = (0.0, 0.0, 0.15) if listed is None else listed.centre.tolist()
    weighed = _from_scales(section, measured)
    lowest = max(edge.radius for edge in edges) + _LEAST
    found = [Parameter(HEIGHT, max(z, 2.0 * lowest), 0.05, low=lowest)]
    for axis, start in ((FORWARD, x), (LEFT, y)):
        sides = [edge.side for edge in edges if edge.axis == axis]
        if sides:
            value, known = weighed.get(axis, (start, None))
            found.append(Parameter(axis, value, 0.05, given=known))
    found += [Parameter(e.pivot, e.place, 10.0 * e.known, given=e.known) for e in edges if e.known > 0.0]
    return found


def _from_scales(section: Tilt, measured: Measured) -> dict[str, tuple[float, float]]:
    """Place of the centre of gravity and its deviation from the scales, where they were read in the same pose."""
    scales = measured.readings.scales
    if scales is None or scales.pose != section.pose:
        return {}
    return {f.name: (f.value, f.half_width / PER_95) for f in fit_scales(scales, measured).fitted}


def _tilts(edge: _Edge, values: Array, places: dict[str, int]) -> Array:
    pivot = values[places[edge.pivot]] if edge.pivot in places else edge.place
    reach = edge.sign * (pivot - values[places[edge.axis]])
    height = max(float(values[places[HEIGHT]]), edge.radius + 1e-6)  # a step of the solver may leave the bound a little
    return np.full(edge.angles.size, float(balance_tilt(reach, height, edge.radius)))


def _asked_of_tilt(section: Tilt, measured: Measured, parameters: Sequence[Parameter]) -> Iterator[Asked]:
    listed = listed_body(measured, section.pose)
    implied: list[tuple[float, float] | None] = [None] * 3
    if listed is not None:
        implied = list(zip(listed.centre.tolist(), listed.centre_tolerance.tolist(), strict=True))
    both = "tilt it to the opposite side too, or weigh it on scales and write them into the same file"
    yield Asked(HEIGHT, ("weighed", "z"), "length", both, implied=implied[2])
    for axis, key, at in ((FORWARD, "x", 0), (LEFT, "y", 1)):
        if any(p.name == axis and p.given is None for p in parameters):
            yield Asked(axis, ("weighed", key), "length", both, implied=implied[at])


def _tilt_residuals(edges: Sequence[_Edge], predicted: Sequence[Array]) -> tuple[Residuals, ...]:
    labels = tuple(f"{edge.side} {i + 1}" for edge in edges for i in range(edge.angles.size))
    observed, model = np.concatenate([e.angles for e in edges]), np.concatenate(predicted)
    at = tuple(float(i + 1) for i in range(observed.size))
    both = tuple(observed.tolist()), tuple(model.tolist())
    return (Residuals("Tilt until it balances", "reading", "", at, "angle", *both, labels),)
