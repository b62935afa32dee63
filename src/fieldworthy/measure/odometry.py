"""Pushes along a tape, turns on the spot and squares: sizes and places of tracking wheels, and the gyro's scale."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.files import BadInput
from fieldworthy.files.declare import Real
from fieldworthy.measure.files import Asked, Measured, deviation, priors, told
from fieldworthy.measure.fitting import PER_95, Belief, Parameter, solve, stepped, weighed
from fieldworthy.measure.model import Odometry, Squares
from fieldworthy.measure.prediction import Readings, predictions
from fieldworthy.measure.result import Fitted, Procedure, Residuals
from fieldworthy.physics.odometry.odometry import (
    SquareErrors,
    SystematicErrors,
    TrackingWheel,
    systematic_errors,
    worst_offset,
)
from fieldworthy.robot.model.machine import TrackingWheel as WheelSpec
from fieldworthy.units import digits


@dataclass(frozen=True, slots=True, eq=False)
class SquareFit:
    """End points of squares, as residuals of two tracking wheels.

    Attributes
    ----------
    pair : Left and right wheel
    sizes, offsets : Diameters and offsets that the odometry reckoned with [m]
    side : Of the square [m]
    clockwise, counter : End points less what the odometry says [m]
    deviation : Standard deviation of an end point along each axis [m]
    notes : The test's figures in words
    """

    pair: tuple[str, str]
    sizes: Array
    offsets: Array
    side: float
    clockwise: Array
    counter: Array
    deviation: float
    notes: tuple[str, ...]

    def residual(self, sizes: Array, offsets: Array) -> Array:
        """Whitened residuals of the end points."""
        alpha, beta = angles_of(sizes / self.sizes, offsets[..., 0] - offsets[..., 1], self.track, self.side)
        return end_points_off(alpha, beta, self.side, self.clockwise, self.counter) / self.deviation

    @property
    def track(self) -> float:
        """Distance between the wheels that the odometry reckoned with [m]."""
        return float(self.offsets[0] - self.offsets[1])


def angles_of(ratios: Array, track: Real, reckoned: float, side: float) -> tuple[Array, Array]:
    """Error angles that wheels of another size and track make.

    Notes
    -----
    The inverse of `physics.odometry.odometry.systematic_errors`; wheels that are both too large turn too far too.
    """
    left, right = ratios[..., 0], ratios[..., 1]
    lean = (right - left) / (right + left)
    beta = 2.0 * np.arcsin(np.clip(lean * side / track, -0.99, 0.99))
    return np.asarray(0.5 * np.pi * (1.0 - 0.5 * (left + right) * reckoned / track)), np.asarray(beta)


def end_points_off(alpha: Real, beta: Real, side: float, clockwise: Array, counter: Array) -> Array:
    """End points less where the two error angles put them."""
    both, apart = (np.asarray(-2.0 * side * angle)[..., None] for angle in (alpha + beta, alpha - beta))
    ways = (clockwise[:, 0] - both, clockwise[:, 1] - both, counter[:, 0] - apart, counter[:, 1] + apart)
    return np.concatenate(ways, axis=-1)


def square_fit(section: Odometry, specs: Mapping[str, WheelSpec]) -> SquareFit | None:
    """Take squares driven by two tracking wheels."""
    squares = section.squares
    if squares is None or squares.left is None or squares.right is None:
        return None
    pair = (squares.left, squares.right)
    sizes, offsets = (np.array([float(getattr(specs[n], what)) for n in pair]) for what in ("diameter", "offset"))
    clockwise, counter = _points(squares)
    found, notes = _figures(squares, float(offsets[0] - offsets[1]))
    del found
    deviation = float(section.end_error) / PER_95
    return SquareFit(pair, sizes, offsets, float(squares.side), clockwise, counter, deviation, notes)


def square_alone(section: Odometry) -> Procedure:
    """Fit squares that were driven by the drive's own wheels."""
    squares = section.squares
    assert squares is not None
    assert squares.track is not None
    track, side = float(squares.track), float(squares.side)
    clockwise, counter = _points(squares)
    deviation = float(section.end_error) / PER_95
    solution = solve(
        lambda v: end_points_off(v[0], v[1], side, clockwise, counter) / deviation,
        [Parameter("error of each turn", 0.0, 0.2), Parameter("heading gathered on each side", 0.0, 0.2)],
    )

    def ratio(pick: str) -> tuple[float, float]:
        return solution.derived(lambda v: float(getattr(_systematic(v[0], v[1], side, track), pick)))

    _, notes = _figures(squares, track)
    (tracks, tracks_half), (wheels, wheels_half) = ratio("track_ratio"), ratio("diameter_ratio")
    return Procedure(
        "odometry", "Squares both ways", section.date,
        (Fitted("track for the robot's program", (), "length", track * tracks, track * tracks_half),
         Fitted("right wheel's diameter over the left one's", (), "ratio", wheels, wheels_half)),
        notes=(*notes, "Put both into the robot's program: no key of the robot file holds them."),
        sources=("borenstein1996",),
    )  # fmt: skip


def _systematic(alpha: float, beta: float, side: float, track: float) -> SystematicErrors:
    both, apart = -2.0 * side * (alpha + beta), -2.0 * side * (alpha - beta)
    return systematic_errors(SquareErrors(both, both, apart, -apart), side, track)


def _points(squares: Squares) -> tuple[Array, Array]:
    ways = (squares.clockwise, squares.counter_clockwise)
    clockwise, counter = (np.array([[float(e.x), float(e.y)] for e in way]) for way in ways)
    return clockwise, counter


def _figures(squares: Squares, track: float) -> tuple[SystematicErrors, tuple[str, ...]]:
    """The test's figures: how far off the squares end, and which of the two causes did how much."""
    clockwise, counter = (points.mean(axis=0) for points in _points(squares))
    errors = SquareErrors(*clockwise.tolist(), *counter.tolist())
    found = systematic_errors(errors, float(squares.side), abs(track))
    far = digits(1000.0 * float(worst_offset(errors)))
    turn, curve = (digits(float(np.degrees(a)), 2) for a in (found.alpha, found.beta))
    said = (
        f"Squares end {far} mm off in the mean, the worse way; each turn is {turn}° short of 90°, from the track, and "
    )
    return found, (f"{said}each side bends by {curve}°, from unlike wheels.",)


Part = Callable[[Array], Array]
GYRO, DRIFT = "true turn over the gyro's reading", "drift of the gyro"
_STEADY = 1.7e-3  # rad: a gyro's reading at rest is no better than a tenth of a degree; common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class _Runs:
    """Every push and turn as a motion that the marks and the tape tell, and as what was counted on it.

    Attributes
    ----------
    ahead, left, turn : Motion by tape and marks [m, rad]
    error : Standard deviation of that motion: of the distance, or of the turn [m or rad]
    counts : Counts of each run by wheel; a wheel that rolls across a push is not among them
    labels : Name of each run
    """

    ahead: Array
    left: Array
    turn: Array
    error: Array
    counts: tuple[dict[str, float], ...]
    labels: tuple[str, ...]


def fit_odometry(section: Odometry, measured: Measured, name: str = "") -> Procedure:
    """Find what the odometry must reckon with from pushes, turns and squares.

    Notes
    -----
    A wheel's way is ``counts / counts a turn * pi * diameter``; on a push it is the tape's, on a turn its offset times
    the angle. What tape and marks say of a run is known as well as they are, for all wheels at once. Each wheel's way
    scatters by its wobble, runout, slip and resolution as the robot file has them. Both ways of turning part the gyro's
    scale from its drift; squares both ways part a wrong track from unlike wheels.
    """
    del name
    if not (section.pushes or section.turns or section.squares):
        said = "expected one of the keys 'pushes', 'turns', 'squares'"
        raise BadInput([measured.document.problem(("odometry",), said)])
    model = _TrackingModel(section, measured)
    if not (section.pushes or section.turns) and section.squares is not None and section.squares.left is None:
        return square_alone(section)
    beliefs, slopes = list(model.beliefs()), stepped(model.residual, model.parameters)
    found = weighed(model.residual, model.parameters, priors(measured, beliefs, section.date), slopes)
    fitted, blind = told(found, list(model.asked()))
    notes = [*model.square_notes(), *_gyro_note(fitted)]
    held = predictions(model.residual, model.parameters, beliefs, list(model.readings()), measured, slopes)
    return Procedure("odometry", "Pushes, turns and squares", section.date, fitted, blind,
                     model.residuals(found.together.values), tuple(notes), ("borenstein1996", "practice"),
                     predictions=held)  # fmt: skip


class _TrackingModel:
    """Readings, parameters and residuals of one fit."""

    def __init__(self, section: Odometry, measured: Measured) -> None:
        self.section = section
        tracking = measured.robot.nominal.tracking
        specs = {} if tracking is None else tracking.wheels
        self.measured, self.runs = measured, _runs(section, specs)
        self.square: SquareFit | None = square_fit(section, specs)
        used = {n for counts in self.runs.counts for n in counts} | set(self.square.pair if self.square else ())
        self.specs: dict[str, WheelSpec] = {n: spec for n, spec in specs.items() if n in used}
        self.gyro = None if tracking is None else tracking.gyro
        self.turned = [(i, t) for i, t in enumerate(section.turns) if t.gyro is not None]
        if self.turned and self.gyro is None:
            key = ("odometry", "turns", self.turned[0][0], "gyro")
            raise BadInput([measured.document.problem(key, "expected no gyro reading: the robot file has no gyro")])
        self.parameters = [*self._wheels(), *self._gyro(), *self._motions()]
        self.places = {p.name: i for i, p in enumerate(self.parameters)}
        self.parts: list[Part] = [self._wheel_part(n) for n in self.specs]
        if self.turned:
            self.parts.append(self._gyro_part())
        if self.square is not None:
            self.parts.append(self._square_part(self.square))

    def residual(self, values: Array) -> Array:
        """Residuals of every reading, shape (*sets, n), for parameters of shape (*sets, p)."""
        return np.concatenate([part(values) for part in self.parts], axis=-1)

    def _wheels(self) -> Iterator[Parameter]:
        for name, spec in self.specs.items():
            size, offset = float(spec.diameter), float(spec.offset)
            yield Parameter(_size(name), size, 0.01 * size, low=0.2 * size, high=5.0 * size)
            if any(name in counts and turn for counts, turn in zip(self.runs.counts, self.runs.turn, strict=True)):
                yield Parameter(_offset(name), offset, 5e-3)
        if self.square is not None:
            for name in self.square.pair:  # a wheel that no turn has counted, but a square has
                if name not in {n for c, t in zip(self.runs.counts, self.runs.turn, strict=True) if t for n in c}:
                    yield Parameter(_offset(name), float(self.specs[name].offset), 5e-3)

    def _gyro(self) -> Iterator[Parameter]:
        if self.turned:
            assert self.gyro is not None
            yield Parameter(GYRO, 1.0, 0.02, 0.5, 2.0)
            if any(turn.time is not None for _, turn in self.turned):
                yield Parameter(DRIFT, 0.0, 0.1, given=max(float(self.gyro.drift), 1e-6))

    def _motions(self) -> Iterator[Parameter]:
        runs = self.runs
        for label, ahead, left, turn, error in zip(
            runs.labels, runs.ahead, runs.left, runs.turn, runs.error, strict=True
        ):
            yield Parameter(label, float(turn or ahead or left), 1.0, given=float(error))

    def _motion(self, values: Array) -> tuple[Array, Array, Array]:
        """Ahead, left and turn of every run, for what the parameters say of it."""
        now, runs = values[..., [self.places[label] for label in self.runs.labels]], self.runs
        ahead, left, turn = (np.where(part != 0.0, now, 0.0) for part in (runs.ahead, runs.left, runs.turn))
        return ahead, left, turn

    def _wheel_part(self, name: str) -> Part:
        spec = self.specs[name]
        rows = [i for i, counts in enumerate(self.runs.counts) if name in counts]
        counted = np.array([self.runs.counts[i][name] for i in rows]) / spec.counts
        size, offset = self.places[_size(name)], self.places.get(_offset(name))
        turned_once = np.pi * float(spec.diameter)
        scatter = _scatter(spec, np.abs(counted) * turned_once) / turned_once

        def part(values: Array) -> Array:
            wheel = TrackingWheel(
                direction=spec.direction, diameter=values[..., size, None],
                offset=values[..., offset, None] if offset is not None else float(spec.offset),
            )  # fmt: skip
            ahead, left, turn = (m[..., rows] for m in self._motion(values))
            # held in turns of the wheel, which is what was read: a way shrinks with the wheel that is tried
            return np.asarray((counted - wheel.travel(ahead, left, turn) / (np.pi * wheel.diameter)) / scatter)

        return part

    def _gyro_scatter(self) -> Array:
        """Standard deviation of the gyro's readings at the ends of the turns."""
        assert self.gyro is not None
        time = np.array([float(turn.time or 0.0) for _, turn in self.turned])
        return np.hypot(float(self.gyro.noise) * np.sqrt(np.where(time > 0.0, time, 10.0)), _STEADY)

    def _gyro_part(self) -> Part:
        assert self.gyro is not None
        read = np.array([float(turn.gyro or 0.0) for _, turn in self.turned])
        time = np.array([float(turn.time or 0.0) for _, turn in self.turned])
        scatter = self._gyro_scatter()
        rows = [len(self.section.pushes) + i for i, _ in self.turned]

        def part(values: Array) -> Array:
            turn = self._motion(values)[2][..., rows]
            drift = values[..., self.places[DRIFT], None] if DRIFT in self.places else 0.0
            return np.asarray((read - (turn + drift * time) / values[..., self.places[GYRO], None]) / scatter)

        return part

    def _square_part(self, square: SquareFit) -> Part:
        sizes = [self.places[_size(n)] for n in square.pair]
        offsets = [self.places[_offset(n)] for n in square.pair]
        return lambda values: square.residual(values[..., sizes], values[..., offsets])

    def asked(self) -> Iterator[Asked]:
        """What is wanted of the readings, and where it goes."""
        for name in self.specs:
            key = ("tracking", "wheels", name)
            push = f"push the robot {'ahead' if self.specs[name].direction == 'forward' else 'sideways'} along a tape"
            yield Asked(_size(name), (*key, "diameter"), "length", push, (*key, "diameter_error"))
            if _offset(name) in self.places:
                turn = "turn on the spot by ten turns each way, and push along a tape"
                yield Asked(_offset(name), (*key, "offset"), "length", turn, (*key, "offset_error"))
        if self.turned:
            yield Asked(GYRO, (), "ratio", "turn on the spot by ten turns, both ways")

    def beliefs(self) -> Iterator[Belief]:
        """What the robot file says of the wheels and the gyro."""
        for name, spec in self.specs.items():
            for parameter, part in ((_size(name), "diameter"), (_offset(name), "offset")):
                key = ("tracking", "wheels", name, part)
                if parameter in self.places and (known := deviation(self.measured, key)) > 0.0:
                    yield Belief(parameter, key, "length", float(getattr(spec, part)), known)
        if self.turned and self.gyro is not None:
            yield Belief(
                GYRO, ("tracking", "gyro", "scale_error"), "ratio", 1.0, max(float(self.gyro.scale_error), 1e-6)
            )

    def readings(self) -> Iterator[Readings]:
        """The readings in the order of the residuals: ways of the wheels, turns of the gyro, ends of squares."""
        for name, spec in self.specs.items():
            rows = [i for i, counts in enumerate(self.runs.counts) if name in counts]
            way = np.array([self.runs.counts[i][name] for i in rows]) / spec.counts * np.pi * float(spec.diameter)
            labels = tuple(self.runs.labels[i] for i in rows)
            yield Readings(f"way of wheel '{name}'", "length", way, _scatter(spec, np.abs(way)), labels)
        if self.turned:
            read = np.array([float(turn.gyro or 0.0) for _, turn in self.turned])
            yield Readings("gyro", "angle", read, self._gyro_scatter(), tuple(f"turn {i + 1}" for i, _ in self.turned))
        if self.square is not None:
            ways = (("clockwise", self.square.clockwise), ("counter-clockwise", self.square.counter))
            for way_name, points in ways:
                for axis in (0, 1):
                    labels = tuple(f"square {i + 1} {way_name}" for i in range(len(points)))
                    off = np.full(len(points), self.square.deviation)
                    yield Readings(f"end of a square, {'xy'[axis]}", "length", points[:, axis], off, labels)

    def square_notes(self) -> tuple[str, ...]:
        """What the squares say besides."""
        return () if self.square is None else self.square.notes

    def residuals(self, values: Array) -> tuple[Residuals, ...]:
        """What each wheel counted as a way, beside the way that its place has made."""
        found = []
        for name, spec in self.specs.items():
            rows = [i for i, counts in enumerate(self.runs.counts) if name in counts]
            if not rows:
                continue
            counted = np.array([self.runs.counts[i][name] for i in rows]) / spec.counts
            size = values[self.places[_size(name)]]
            way = counted * np.pi * size
            once = np.pi * float(spec.diameter)
            off = self._wheel_part(name)(values) * _scatter(spec, np.abs(counted) * once) * size / float(spec.diameter)
            at = tuple(float(i + 1) for i in range(len(rows)))
            labels = tuple(self.runs.labels[i] for i in rows)
            both = tuple(way.tolist()), tuple((way - off).tolist())
            found.append(Residuals(f"Wheel '{name}'", "run", "", at, "length", *both, labels))
        return tuple(found)


def _size(name: str) -> str:
    return f"diameter of wheel '{name}'"


def _offset(name: str) -> str:
    return f"offset of wheel '{name}'"


def _scatter(spec: WheelSpec, ways: Array) -> Array:
    """Standard deviation of a wheel's way: wobble, runout, slip and the two ends' resolution."""
    step = np.pi * float(spec.diameter) / spec.counts
    return np.sqrt(
        float(spec.wobble) ** 2 * ways + float(spec.runout) ** 2 + (float(spec.slip) * ways) ** 2 + step**2 / 6.0
    )


def _runs(section: Odometry, specs: dict[str, WheelSpec]) -> _Runs:
    tape, mark = float(section.tape_error) / PER_95, float(section.mark_error) / PER_95
    rows: list[tuple[float, float, float, float]] = []
    counts, labels = [], []
    for i, push in enumerate(section.pushes):
        way = float(push.distance)
        rows.append((way, 0.0, 0.0, tape) if push.direction == "forward" else (0.0, way, 0.0, tape))
        counts.append({n: float(c) for n, c in push.counts.items() if specs[n].direction == push.direction})
        labels.append(f"push {i + 1}")
    for i, turn in enumerate(section.turns):
        rows.append((0.0, 0.0, 2.0 * np.pi * float(turn.turns), mark))
        counts.append({n: float(c) for n, c in turn.counts.items()})
        labels.append(f"turn {i + 1}")
    ahead, left, turned, error = np.array(rows).reshape(-1, 4).T
    return _Runs(ahead, left, turned, error, tuple(counts), tuple(labels))


def _gyro_note(fitted: Sequence[Fitted]) -> Iterator[str]:
    for item in fitted:
        if item.name == GYRO:
            factor, left = digits(item.value, 5), digits(item.half_width / PER_95, 2)
            yield f"Multiply the gyro's reading by {factor} in the robot's program, then write 'scale_error: {left}'."
