"""Tilted until it balances: the height of the centre of gravity from angles, one side or more."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.files import BadInput
from fieldworthy.files.document import KeyPath
from fieldworthy.measure.files import (
    Asked,
    ListedBody,
    Measured,
    deviation,
    listed_body,
    priors,
    robot_units,
    scatter_note,
    told,
    weighing_entries,
)
from fieldworthy.measure.fitting import PER_95, Belief, Parameter, Solution, Weighed, stepped, weighed
from fieldworthy.measure.model import Raised, Scales, Tilt, Weighing
from fieldworthy.measure.prediction import Readings, predictions
from fieldworthy.measure.result import Fitted, Procedure, Residuals, Unidentified
from fieldworthy.physics.statics.rigidbody import balance_tilt, pitch_of_lift, plumb_place, wheel_loads
from fieldworthy.units import digits, show

MASS, FORWARD, LEFT, HEIGHT = (
    "mass of the whole robot",
    "centre of gravity, forward",
    "centre of gravity, to the left",
    "height of the centre of gravity",
)
_SHARED = 1e-3  # m: contacts as near as that to the foremost or rearmost one stand at that end
_STEEPEST = 0.95  # of the distance between the axles: lifted higher than that is not searched


@dataclass(frozen=True, slots=True)
class _Wheel:
    """A contact of the robot with the floor: where, how large, and where its place stands in the robot file."""

    name: str
    x: float
    y: float
    radius: float
    key: KeyPath


@dataclass(frozen=True, slots=True)
class _Stand:
    """One weighing: which wheels stand on something, what the scales under the first of them read, what is raised."""

    wheels: tuple[_Wheel, ...]
    readings: Array
    preloads: Array
    lift: str
    preload: str
    label: str


def fit_scales(section: Scales, measured: Measured, name: str = "") -> Procedure:
    """Find mass and centre of gravity from scales.

    Notes
    -----
    Each weighing balances weight and moments on the wheels that stand on something; a preload that only the frame's
    stiffness decides is free. Wheels' places and the lift are known as well as their tolerances say. Raised, wheels
    stand under their axles: the exact geometry, not that of small angles.
    """
    del name
    stands = [*_level(section, measured), *_raised(section, measured)]
    parameters = _parameters(section, measured, stands)
    predicted = _loads_of(stands, {p.name: i for i, p in enumerate(parameters)})
    observed = np.concatenate([stand.readings for stand in stands])

    def residual(values: Array) -> Array:
        """Readings less model, in standard deviations."""
        return np.asarray((observed - predicted(values)) / (float(section.error) / PER_95))

    slopes = stepped(residual, parameters, _moves(stands, parameters))
    beliefs = _listed_beliefs(measured, section.pose)
    found = weighed(residual, parameters, priors(measured, beliefs, section.date), slopes)
    error = np.full(observed.shape, float(section.error) / PER_95)
    group = Readings("scales", "mass", observed, error, *_sums(stands))
    held = predictions(residual, parameters, beliefs, [group], measured, slopes)
    return replace(_procedure(section, measured, stands, found), predictions=held)


def _moves(stands: Sequence[_Stand], parameters: Sequence[Parameter]) -> Array:
    """Which reading each parameter can move: what belongs to one weighing moves the readings of that one alone."""
    of = np.repeat(np.arange(len(stands)), [len(s.readings) for s in stands])
    own: dict[str, list[int]] = {}
    for i, stand in enumerate(stands):
        names = [f"{w.name}, {axis}" for w in stand.wheels for axis in "xy"]
        for name in (stand.lift, *(f"{stand.preload}, {j}" for j in range(len(stand.preloads))), *names):
            own.setdefault(name, []).append(i)
    everywhere = list(range(len(stands)))
    return np.array([np.isin(of, own.get(p.name, everywhere)) for p in parameters]).T


def _labels(stands: Sequence[_Stand]) -> tuple[str, ...]:
    return tuple(f"{w.name}, {s.label}" for s in stands for w, _ in zip(s.wheels, s.readings, strict=False))


def _sums(stands: Sequence[_Stand]) -> tuple[tuple[str, ...], Array]:
    """What a robot that rocks on its scales still says: the sum of each weighing, of its front and of its left."""
    labels, rows = [], []
    size, start = sum(len(s.readings) for s in stands), 0
    for stand in stands:
        on = stand.wheels[: len(stand.readings)]
        places = {"": np.ones(len(on))}
        if len(on) == len(stand.wheels) and not stand.lift:
            for name, at in (("front", [w.x for w in on]), ("left", [w.y for w in on])):
                high, low = np.array(at) > max(at) - _SHARED, np.array(at) < min(at) + _SHARED
                if np.all(high | low) and high.sum() == low.sum() == 2:
                    places[f", {name} wheels"] = high.astype(float)
        for name, part in places.items():
            row = np.zeros(size)
            row[start : start + len(on)] = part
            rows.append(row)
            labels.append(f"sum of {stand.label}{name}")
        start += len(on)
    return tuple(labels), np.array(rows)


def _listed_beliefs(measured: Measured, pose: str | None) -> list[Belief]:
    """What the parts list adds up to, as what is believed before anything is weighed."""
    listed = listed_body(measured, pose)
    if listed is None:
        return []
    off = (listed.centre_tolerance / PER_95).tolist()
    centre = zip((FORWARD, LEFT, HEIGHT), "xyz", listed.centre.tolist(), off, strict=True)
    mass = Belief(MASS, ("weighed", "mass"), "mass", listed.mass, listed.mass_tolerance / PER_95)
    return [mass, *(Belief(name, ("weighed", axis), "length", at, sd) for name, axis, at, sd in centre)]


def contacts(measured: Measured) -> dict[str, _Wheel]:
    """List what the robot touches the floor with when level."""
    robot = measured.robot.nominal
    found = {}
    for name, wheel in robot.drive.wheels.items():
        radius = float(robot.catalogue.wheels[wheel.wheel].diameter) / 2.0
        x, y = (float(c) for c in wheel.position)
        found[name] = _Wheel(name, x, y, radius, ("drive", "wheels", name, "position"))
    for name, contact in robot.contacts.items():
        x, y = (float(c) for c in contact.position)
        found[name] = _Wheel(name, x, y, 0.0, ("contacts", name, "position"))
    return found


def _level(section: Scales, measured: Measured) -> Iterator[_Stand]:
    known = contacts(measured)
    for i, weighing in enumerate(section.level):
        on = [*weighing.readings, *(b for b in weighing.blocks if b not in weighing.readings)]
        preload = f"preload of level weighing {i + 1}" if not weighing.blocks else f"preload on {', '.join(sorted(on))}"
        yield _stand(measured, ("level", i), [known[n] for n in on], weighing, _How("", preload, f"level {i + 1}"))


def _raised(section: Scales, measured: Measured) -> Iterator[_Stand]:
    known = contacts(measured)
    front, back = max(w.x for w in known.values()), min(w.x for w in known.values())
    ends = [n for n, w in known.items() if w.x > front - _SHARED or w.x < back + _SHARED]
    for i, weighing in enumerate(section.raised):
        if not float(weighing.lift) < 0.9 * (front - back):
            said = "expected less than nine tenths of the distance between the axles"
            raise BadInput([measured.document.problem(("scales", "raised", i, "lift"), said)])
        between = [n for n in weighing.readings if n not in ends]
        if between:
            said = "expected wheels of the two ends alone: those between hang free when one end is raised"
            raise BadInput([measured.document.problem(("scales", "raised", i, "readings", n), said) for n in between])
        on = [*weighing.readings, *(n for n in ends if n not in weighing.readings)]
        how = _How(f"lift of weighing {i + 1}", f"preload of raised weighing {i + 1}", f"{weighing.end} raised {i + 1}")
        yield _stand(measured, ("raised", i), [known[n] for n in on], weighing, how)


@dataclass(frozen=True, slots=True)
class _How:
    lift: str
    preload: str
    label: str


def _stand(
    measured: Measured, key: KeyPath, wheels: Sequence[_Wheel], weighing: Weighing | Raised, how: _How
) -> _Stand:
    rows = np.array([[1.0, w.x, w.y] for w in wheels])
    if len(wheels) < 3 or np.linalg.matrix_rank(rows / np.abs(rows).max(axis=0).clip(1e-9), tol=1e-6) < 3:
        said = "expected three wheels or more that do not stand in one line, on scales or on blocks ('blocks')"
        raise BadInput([measured.document.problem(("scales", *key), said)])
    readings = np.array([float(r) for r in weighing.readings.values()])
    # directions in which loads can change without changing their sum or moments, the same whoever is named first
    order = sorted(range(len(wheels)), key=lambda i: wheels[i].name)
    preloads = np.empty((len(wheels) - 3, len(wheels)))
    preloads[:, order] = np.linalg.svd(rows[order].T)[2][3:]
    return _Stand(tuple(wheels), readings, preloads, how.lift, how.preload, how.label)


def _parameters(section: Scales, measured: Measured, stands: Sequence[_Stand]) -> list[Parameter]:
    mass = max(float(s.readings.sum()) for s in stands)
    listed = listed_body(measured, section.pose)
    x, y, z = (0.0, 0.0, 0.1) if listed is None else listed.centre.tolist()
    found = [
        Parameter(MASS, mass, 0.5 * mass),
        Parameter(FORWARD, x, 0.05),
        Parameter(LEFT, y, 0.05),
    ]
    if section.raised:
        found.append(Parameter(HEIGHT, max(z, 0.02), 0.05))
    for i, weighing in enumerate(section.raised):
        sign = 1.0 if weighing.end == "front" else -1.0
        error = float(section.lift_error) / PER_95
        found.append(Parameter(f"lift of weighing {i + 1}", sign * float(weighing.lift), 0.05, given=error))
    seen: dict[str, None] = {}
    for stand in stands:
        for j in range(len(stand.preloads)):
            label = f"{stand.preload}, {j}"
            if label not in seen:
                seen[label] = None
                found.append(Parameter(label, 0.0, mass))
    wheels = {w.name: w for s in stands for w in s.wheels}
    return found + [p for w in wheels.values() for p in _places(measured, w)]


def _places(measured: Measured, wheel: _Wheel) -> Iterator[Parameter]:
    for axis, place in enumerate((wheel.x, wheel.y)):
        known = deviation(measured, (*wheel.key, axis))
        if known > 0.0:
            yield Parameter(f"{wheel.name}, {'xy'[axis]}", place, 10.0 * known, given=known)


def _loads_of(stands: Sequence[_Stand], places: dict[str, int]) -> Callable[[Array], Array]:
    """What the scales of all weighings read, as a function of the parameters."""
    counts = list(dict.fromkeys(len(s.wheels) for s in stands))
    like = [[i for i, s in enumerate(stands) if len(s.wheels) == count] for count in counts]
    groups = [_Alike([stands[i] for i in members], places) for members in like]
    ends = np.cumsum([len(s.readings) for s in stands])
    starts = ends - [len(s.readings) for s in stands]
    rows = [np.concatenate([np.arange(starts[i], ends[i]) for i in members]) for members in like]
    read = [np.arange(len(stands[m[0]].wheels)) < (ends - starts)[m][:, None] for m in like]

    def loads(values: Array) -> Array:
        found = np.empty((*values.shape[:-1], int(ends[-1])))
        for group, place, on_scales in zip(groups, rows, read, strict=True):
            found[..., place] = group.loads(values)[..., on_scales]
        return found

    return loads


class _Alike:
    """Weighings on as many wheels each, reckoned together."""

    def __init__(self, stands: Sequence[_Stand], places: dict[str, int]) -> None:
        self.at = np.array([[[w.x for w in s.wheels], [w.y for w in s.wheels]] for s in stands])
        self.radius = np.array([[w.radius for w in s.wheels] for s in stands])
        moved = [(i, j, axis, places[name]) for i, s in enumerate(stands) for j, w in enumerate(s.wheels)
                 for axis in (0, 1) if (name := f"{w.name}, {'xy'[axis]}") in places]  # fmt: skip
        self.moved = np.array(moved, dtype=np.intp).reshape(-1, 4).T
        self.cg = [places.get(name, -1) for name in (MASS, FORWARD, LEFT, HEIGHT)]
        self.raised = [i for i, s in enumerate(stands) if s.lift]
        self.lifts = [places[stands[i].lift] for i in self.raised]
        self.preloads = np.stack([s.preloads for s in stands])
        self.preload = np.array([[places[f"{s.preload}, {j}"] for j in range(len(s.preloads))] for s in stands], int)
        x = self.at[self.raised, 0]
        ahead = x > 0.5 * (x.max(axis=1, initial=-1e9) + x.min(axis=1, initial=1e9))[:, None]
        # mean over the front wheels less mean over the rear ones
        self.span = ahead / ahead.sum(axis=1, keepdims=True) - ~ahead / (~ahead).sum(axis=1, keepdims=True)
        self.rise = (self.radius[self.raised] * self.span).sum(axis=1)

    def loads(self, values: Array) -> Array:
        """What each wheel carries, shape (*sets, weighings, k), for parameters of shape (*sets, p)."""
        at = np.broadcast_to(self.at, (*values.shape[:-1], *self.at.shape)).copy()  # (*sets, weighings, axis, k)
        i, j, axis, place = self.moved
        at[..., i, axis, j] = values[..., place]
        mass, x, y, z = (values[..., i, None] for i in self.cg)
        across, along = at[..., 1, :], at[..., 0, :]
        centre = np.repeat(x, len(self.at), axis=-1)
        if self.raised:
            axles = along[..., self.raised, :]
            base = np.maximum((axles * self.span).sum(axis=-1), _SHARED)
            high = _STEEPEST * base  # nonsense on a scale must not send the search where no robot can stand
            pitch = pitch_of_lift(base, np.clip(values[..., self.lifts], -high, high), self.rise)
            centre[..., self.raised] = plumb_place(x, z, pitch)
            along[..., self.raised, :] = plumb_place(axles, self.radius[self.raised], pitch[..., None])
        preload = np.einsum("...sj,sjk->...sk", values[..., self.preload], self.preloads)
        return wheel_loads(np.stack((along, across), axis=-1), mass, centre, y, preload)


def _procedure(section: Scales, measured: Measured, stands: Sequence[_Stand], found: Weighed) -> Procedure:
    solution = found.together
    listed = listed_body(measured, section.pose)
    unit = robot_units(measured)
    asked = _asked(listed, unit["mass"], raised=bool(section.raised))
    fitted, blind = told(found, asked)
    if not section.raised:
        why = "level scales do not feel how high the mass lies"
        blind = (*blind, Unidentified(HEIGHT, ("weighed", "z"), why, _RAISE))
    notes = [
        *_rollers_down(section, measured),
        *_missing(fitted, listed, unit),
        *scatter_note(solution, float(section.error), "mass", unit["mass"]),
    ]
    residuals = _residuals(stands, solution, float(section.error))
    return Procedure(
        "scales", "Scales under the wheels", section.date, fitted, blind, residuals,
        tuple(notes), ("meriam_statics",), weighing_entries(section.pose, listed, unit),
    )  # fmt: skip


_RAISE = "raise one end by a quarter of the distance between the axles or more, and read the scales at the other"


def _asked(listed: ListedBody | None, unit: str, *, raised: bool) -> list[Asked]:
    mass = None if listed is None else (listed.mass, listed.mass_tolerance)
    centre: list[tuple[float, float] | None] = [None] * 3
    if listed is not None:
        centre = list(zip(listed.centre.tolist(), listed.centre_tolerance.tolist(), strict=True))
    every = "weigh every wheel that carries something, or stand it on a block and name it under 'blocks'"
    asked = [
        Asked(MASS, ("weighed", "mass"), "mass", every, implied=mass, unit=unit),
        Asked(FORWARD, ("weighed", "x"), "length", every, implied=centre[0]),
        Asked(LEFT, ("weighed", "y"), "length", every, implied=centre[1]),
    ]
    return [*asked, Asked(HEIGHT, ("weighed", "z"), "length", _RAISE, implied=centre[2])] if raised else asked


def _missing(fitted: Sequence[Fitted], listed: ListedBody | None, unit: dict[str, str]) -> Iterator[str]:
    """Say what the parts list lacks, as a person would."""
    mass = next((f for f in fitted if f.name == MASS), None)
    if mass is None or listed is None:
        return
    weight, half = mass.evidence
    off = weight - listed.mass
    both = f"The parts list adds up to {_show(listed.mass, unit)}, the scales say {_show(weight, unit)}"
    if abs(off) <= half:
        yield f"{both}: they agree."
        return
    share = digits(100.0 * abs(off) / weight, 2)
    what = "are missing from the list" if off > 0 else "are listed too much"
    yield f"{both}: {_show(abs(off), unit)} ({share} %) {what}."


def _show(mass: float, unit: dict[str, str]) -> str:
    return show(mass, "mass", unit["mass"], 4)


def _rollers_down(section: Scales, measured: Measured) -> Iterator[str]:
    """Anti-tip rollers beyond the lower wheels that would carry a part of the raised robot."""
    wheels = contacts(measured).values()
    front, back = max(w.x for w in wheels), min(w.x for w in wheels)
    for end in dict.fromkeys(raised.end for raised in section.raised):
        pitch = max(float(pitch_of_lift(front - back, float(r.lift))) for r in section.raised if r.end == end)
        for name, roller in measured.robot.nominal.rollers.items():
            x = float(roller.position[0])
            beyond = back - x if end == "front" else x - front
            if beyond * np.tan(pitch) > float(roller.clearance):
                carries = f"anti-tip roller '{name}' reaches the floor and carries: take it off first."
                yield f"With the {end} raised, {carries}"


def _residuals(stands: Sequence[_Stand], solution: Solution, error: float) -> tuple[Residuals, ...]:
    observed = np.concatenate([s.readings for s in stands])
    predicted = observed - solution.residuals * error / PER_95
    labels = _labels(stands)
    at = tuple(float(i + 1) for i in range(observed.size))
    return (
        Residuals("Scales", "reading", "", at, "mass", tuple(observed.tolist()), tuple(predicted.tolist()), labels),
    )


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

    def residual(values: Array) -> Array:
        """Angles less model, in standard deviations."""
        return np.concatenate([(e.angles - p) / error for e, p in zip(edges, predicted(values), strict=True)])

    beliefs = _tilt_beliefs(measured, section, parameters)
    found = weighed(residual, parameters, priors(measured, beliefs, section.date))
    solution = found.together
    groups = [Readings(f"tilt {e.side}", "angle", e.angles, np.full(e.angles.shape, error)) for e in edges]
    held = predictions(residual, parameters, beliefs, groups, measured)
    fitted, blind = told(found, list(_asked_of_tilt(section, measured, parameters)))
    return Procedure(
        "tilt", "Tilt until it balances", section.date, fitted, blind,
        _tilt_residuals(edges, predicted(solution.values)),
        (*_rollers(measured), *scatter_note(solution, float(section.error), "angle", "deg")), ("meriam_statics",),
        weighing_entries(section.pose, listed_body(measured, section.pose), robot_units(measured)), held,
    )  # fmt: skip


def _tilt_beliefs(measured: Measured, section: Tilt, parameters: Sequence[Parameter]) -> list[Belief]:
    """What the parts list says where the scales do not say it better."""
    known = {p.name for p in parameters if p.given is not None}
    return [belief for belief in _listed_beliefs(measured, section.pose) if belief.parameter not in known]


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
