"""The drive from its runs: logs at full command and of coasts, times by hand, pushes against a scale, fitted together.

Caution: a robot at full speed hurts whom it hits. Clear the floor, and keep a hand on the switch.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.files import BadInput, Problem
from fieldworthy.files.declare import Real
from fieldworthy.measure.drivemodel import DriveModel, Knob, Run, Series, Trial, by_hand, noise
from fieldworthy.measure.files import Measured, moved, number_at, priors
from fieldworthy.measure.fitting import PER_95, Parameter, Weighed, weighed
from fieldworthy.measure.model import Coast, DragTest, DriveLog, DriveRuns, PushTest, Sprint
from fieldworthy.measure.prediction import Question, Readings, combinations, predictions
from fieldworthy.measure.result import Fitted, Moved, Procedure, Unidentified
from fieldworthy.measure.table import Source, Wanted, read_table
from fieldworthy.physics.motors.driving import Course, Pulled, coast, coast_deceleration, pulled
from fieldworthy.physics.motors.motion import NO_BRAKING, move, speed_curve
from fieldworthy.physics.motors.motion import top_speed as physics_top_speed
from fieldworthy.physics.statics.support import STANDARD_GRAVITY
from fieldworthy.units import digits

_SLOWEST = 1e-3  # m/s2: a trial that would never stop
_FIRST = 5  # rows from which the speed at the beginning is guessed


def deceleration(trial: Trial, added: float) -> Real:
    """Find how fast the coasting drive slows down."""
    return np.maximum(coast_deceleration(trial.drive.train, trial.performance(added).load), _SLOWEST)


def hand_coast(given: Coast, name: str, time_sd: float) -> Run:
    """Take a coast by tape and stopwatch."""
    distance, added = float(given.distance), float(given.added)
    return Run(
        [
            by_hand(
                f"time of {name}", "time", [float(given.time)], time_sd,
                lambda trial: np.sqrt(2.0 * distance / deceleration(trial, added)),
            )
        ]
    )  # fmt: skip


def logged_coast(columns: dict[str, Array], sds: dict[str, float], added: float, name: str) -> Run:
    """Take a coast by the robot's log."""
    time = columns["time"] - columns["time"][0]
    first, place = f"speed at the beginning of {name}", f"position at the beginning of {name}"
    unknowns = [Parameter(first, _first_speed(time, columns), 0.2, 0.0)]

    def course(trial: Trial) -> Course:
        """Speed and way of the coast, computed once for all columns."""
        slowing = deceleration(trial, added)
        at = time if np.ndim(slowing) == 0 else time[:, None]
        return trial.subject.once(("coast", name), lambda: coast(trial.unknowns[first], slowing, at))

    def speed(trial: Trial) -> Array:
        """Speed at the log's times [m/s]."""
        return course(trial).speed

    def position(trial: Trial) -> Array:
        """Position at the log's times [m]."""
        return course(trial).distance + trial.unknowns[place]

    def voltage(trial: Trial) -> Array:
        """Battery at rest [V]."""
        idle = np.asarray(trial.drive.train.battery.open_voltage, dtype=float)
        return np.broadcast_to(idle, (time.size, *idle.shape))

    series = []
    for column, kind, predict in (("speed", "speed", speed), ("position", "length", position),
                                  ("voltage", "voltage", voltage)):  # fmt: skip
        if column in columns:
            series.append(Series(f"{column} of {name}", kind, columns[column], sds[column], predict, columns["time"]))
    if "position" in columns:
        unknowns.append(Parameter(place, float(columns["position"][0]), 1.0))
    return Run(series, unknowns)


def _first_speed(time: Array, columns: dict[str, Array]) -> float:
    if "speed" in columns:
        return max(float(np.median(columns["speed"][:_FIRST])), 1e-3)
    if "position" in columns and time.size >= _FIRST:
        way = columns["position"][_FIRST - 1] - columns["position"][0]
        return max(float(way / time[_FIRST - 1]), 1e-3)
    return 1.0


def push_test(given: PushTest, name: str, force_sd: float) -> Run:
    """Take a push of the robot against a scale."""
    added, slips = float(given.added), given.ends == "slips"

    def force(trial: Trial) -> Real:
        """Force on the scale [N]."""
        performance = trial.performance(added)
        if slips:
            return performance.grip
        return np.minimum(performance.line.stall_force, performance.line.force_limit) - performance.load.resistance

    return Run([by_hand(f"force of {name}", "force", [float(r) for r in given.readings], force_sd, force)])


def drag_test(given: DragTest, force_sd: float) -> Run:
    """Take a locked wheel that is dragged over the tiles."""
    weight, wheel = float(given.load) * STANDARD_GRAVITY, given.wheel

    def force(trial: Trial) -> Real:
        """Force on the scale [N]."""
        return trial.robot.catalogue.wheels[wheel].grip * weight

    return Run([by_hand(f"drag of '{wheel}'", "force", [float(r) for r in given.readings], force_sd, force)])


WANTED = {
    "time": Wanted("time", 0.05, 3600.0, rises=True),
    "position": Wanted("length", 0.05, 100.0, needed=False),
    "speed": Wanted("speed", 0.05, 12.0, moves=False, needed=False),
    "current": Wanted("current", 0.0, 200.0, moves=False, needed=False),
    "voltage": Wanted("voltage", 3.0, 60.0, moves=False, needed=False),
}
"""What is known beforehand of the columns of a drive log."""
_LEAST = 5  # rows
_MOST = 1500  # rows that a fit reads; more tell hardly more, and take long
_STARTED = 0.15  # of the top speed: past this it has surely started
_SETTLING = 0.04  # s after the guessed start in which current and voltage jump: they do not count
_STEP = 1e-5  # spans: of the slopes
_NEVER = 1e3  # s: longer than any run
_MISSES = 2.0  # times the readings' own scatter


def fit_drive(given: DriveRuns, measured: Measured, name: str) -> Procedure:
    """Find friction, rolling resistance, efficiency, grip and the battery's resistance from a robot's runs.

    Notes
    -----
    One least-squares fit over all runs. What the file knows of the motors and the wheels' diameter counts within its
    tolerances, and widens the intervals of what hangs on it.
    """
    del name
    model = _drive_model(given, measured)
    runs = list(_runs(given, measured))
    knobs = model.knobs()
    own = [parameter for run in runs for parameter in run.unknowns]
    parameters = [*(knob.parameter for knob in knobs), *own]
    fit = _Fit(model, knobs, parameters, [one for run in runs for one in run.series])
    beliefs = list(model.beliefs(knobs))
    found = weighed(fit.residual, parameters, priors(measured, beliefs, given.date), fit.slopes)
    best = fit.trial(found.together.values)
    series = fit.series
    groups = [Readings(one.name, one.kind, one.observed, np.broadcast_to(one.sd, one.observed.shape)) for one in series]
    untold = tuple(_untold(knobs, found))
    held = predictions(fit.residual, parameters, beliefs, groups, measured, fit.slopes)
    asked = [Question(one.name, one.reading) for one in untold]
    return Procedure(
        "drive", "Runs of the drive", given.date, tuple(_told(model, knobs, found)), untold,
        tuple(one.residuals(best) for one in series), tuple(_notes(runs, knobs, found, model.weighed_mass)),
        ("hughes", "gillespie", "saej1263", "meriam_statics"), predictions=held,
        combinations=combinations(fit.residual, parameters, beliefs, groups, asked, fit.slopes),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Fit:
    """The readings of all runs as residuals of one fit."""

    model: DriveModel
    knobs: Sequence[Knob]
    parameters: Sequence[Parameter]
    series: Sequence[Series]

    def trial(self, values: Array) -> Trial:
        """The drive with parameters of shape (p,), or with k sets of them, shape (p, k)."""
        names = [p.name for p in self.parameters]
        return self.model.trial(self.knobs, dict(zip(names, values, strict=True)))

    def residual(self, values: Array) -> Array:
        """Readings less model of every one, in standard deviations."""
        tried = self.trial(values)
        return np.concatenate([one.whitened(tried) for one in self.series])

    def slopes(self, values: Array) -> Array:
        """Slopes by every parameter from one batch: each a little up and a little down, within its bounds."""
        low, high = (np.array([getattr(p, end) for p in self.parameters]) for end in ("low", "high"))
        step = np.diag([_STEP * p.span for p in self.parameters])
        up, down = (np.clip(values[:, None] + d, low[:, None], high[:, None]) for d in (step, -step))
        both = self.residual(np.concatenate((up, down), axis=1))
        count = values.size
        return np.asarray((both[:, :count] - both[:, count:]) / np.diag(up - down))


def _drive_model(given: DriveRuns, measured: Measured) -> DriveModel:
    added = [float(log.added) for log in given.logs] + [float(sprint.added) for sprint in given.sprints]
    added += [float(coasting.added) for coasting in given.coasts] + [float(test.added) for test in given.pushes]
    try:
        return DriveModel(measured, given.pose, added)
    except ValueError as error:
        key = "parts" if not measured.robot.nominal.parts else "poses"
        expected = f"expected {key} in the robot file: how heavy it is decides how fast it drives"
        raise BadInput([measured.document.problem(("drive",), expected)]) from error


def _runs(given: DriveRuns, measured: Measured) -> Iterator[Run]:
    time_sd, force_sd = float(given.time_error) / PER_95, float(given.force_error) / PER_95
    for i, log in enumerate(given.logs):
        yield _logged(given, log, i, measured)
    for i, sprint in enumerate(given.sprints):
        yield _sprint(sprint, f"sprint {i + 1}", time_sd)
    for i, coasting in enumerate(given.coasts):
        yield hand_coast(coasting, f"coast {i + 1}", time_sd)
    for i, test in enumerate(given.pushes):
        yield push_test(test, f"push {i + 1}", force_sd)
    for drag in given.drags:
        yield drag_test(drag, force_sd)


def _sprint(given: Sprint, name: str, time_sd: float) -> Run:
    """A distance by the stopwatch: from rest without braking, or at top speed."""
    distance, added, standing = float(given.distance), float(given.added), given.start == "standing"

    def time(trial: Trial) -> Real:
        """Time over the distance [s]."""
        performance = trial.performance(added)
        free = dataclasses.replace(performance.load, deceleration=NO_BRAKING)
        if standing:
            return np.minimum(move(performance.line, free, distance).time, _NEVER)
        return distance / np.maximum(physics_top_speed(performance.line, free), distance / _NEVER)

    return Run([by_hand(f"time of {name}", "time", [float(t) for t in given.times], time_sd, time)])


def _logged(given: DriveRuns, log: DriveLog, place: int, measured: Measured) -> Run:
    key = ("drive", "logs", place)
    file = measured.table(log.file, (*key, "file"))
    source = Source(file, given.columns, measured.document, ("drive", "columns"))
    table = read_table(source, WANTED)
    columns = _forward(_between(table.numbers, log))
    if columns["time"].size < _LEAST:
        expected = f"expected {_LEAST} rows or more between 'begin' and 'end', found {columns['time'].size}"
        raise BadInput([measured.document.problem(key, expected)])
    sds = {name: noise(values) for name, values in columns.items() if name != "time"}
    still = [name for name, sd in sds.items() if sd == 0.0]
    notes = [f"{log.file}, {remark}." for remark in table.remarks]
    notes += [f"{log.file}: {name} never changes, so it was left out; is the sensor stuck?" for name in still]
    every = -(-columns["time"].size // _MOST)
    columns = {name: values[::every] for name, values in columns.items() if name not in still}
    if every > 1:
        notes.append(f"{log.file} is long: one row in {every} counts, and the intervals are those of these rows.")
    if not {"position", "speed"} & set(columns):
        raise BadInput([Problem(file, int(table.lines[0]), 1, (), "expected a speed or a position that changes")])
    take = _full if log.command == "full" else logged_coast
    run = take(columns, sds, float(log.added), log.file)
    return Run(run.series, run.unknowns, notes)


def _between(columns: Mapping[str, Array], log: DriveLog) -> dict[str, Array]:
    """The rows between the times that the person named."""
    time = columns["time"]
    first, last = (-np.inf if log.begin is None else log.begin), (np.inf if log.end is None else log.end)
    inside = (time >= first) & (time <= last)
    return {name: values[inside] for name, values in columns.items()}


def _forward(columns: dict[str, Array]) -> dict[str, Array]:
    """The run as one ahead, where it was driven backwards or the sensor counts the other way."""
    signs = {name: -1.0 if name in columns and columns[name].sum() < 0.0 else 1.0 for name in ("speed", "current")}
    if "position" in columns:
        signs["position"] = -1.0 if columns["position"][-1] < columns["position"][0] else 1.0
    return {name: signs.get(name, 1.0) * values for name, values in columns.items()}


def _full(columns: dict[str, Array], sds: dict[str, float], added: float, name: str) -> Run:
    """A run from rest at full command, by the log."""
    time = columns["time"]
    start, place = f"start of {name}", f"position before {name}"
    begun = _start(columns)

    def course(trial: Trial) -> tuple[Array, Array, Pulled]:
        """Speed, way and current of the run, computed once for all columns."""
        return trial.subject.once(
            ("run", name), lambda: _run_up(trial, added, np.subtract.outer(time, trial.unknowns[start]))
        )

    def speed(trial: Trial) -> Array:
        """Speed at the log's times [m/s]."""
        return course(trial)[0]

    def position(trial: Trial) -> Array:
        """Position at the log's times [m]."""
        return course(trial)[1] + trial.unknowns[place]

    # current and voltage jump as it starts: the rows around that say nothing that a fit could follow
    sure = time > begun + _SETTLING

    def current(trial: Trial) -> Array:
        """Root mean square of a motor's current [A]."""
        return np.sqrt(course(trial)[2].square[sure])

    def voltage(trial: Trial) -> Array:
        """Voltage at the battery's terminals [V]."""
        battery = trial.drive.train.battery
        return np.asarray(battery.open_voltage - battery.resistance * course(trial)[2].battery_current[sure])

    unknowns = [Parameter(start, begun, 0.1)]
    series = []
    for column, kind, predict, rows in (
        ("speed", "speed", speed, slice(None)), ("position", "length", position, slice(None)),
        ("current", "current", current, sure), ("voltage", "voltage", voltage, sure),
    ):  # fmt: skip
        if column in columns:
            title = f"{column} of {name}"
            series.append(Series(title, kind, columns[column][rows], sds[column], predict, time[rows]))
    if "position" in columns:
        unknowns.append(Parameter(place, float(columns["position"][0]), 0.1))
    return Run(series, unknowns)


def _run_up(trial: Trial, added: float, since: Array) -> tuple[Array, Array, Pulled]:
    """Speed, position and what the drive takes, at times since the start."""
    performance = trial.performance(added)
    curve = speed_curve(performance.line, performance.load)
    speed, distance = curve.after(since)
    return speed, distance, pulled(trial.drive.train, curve.force(speed), speed)


def _start(columns: dict[str, Array]) -> float:
    """Guess when it started: the line through the first part of the run-up, back to rest."""
    time = columns["time"]
    speed = columns["speed"] if "speed" in columns else np.gradient(columns["position"], time)
    top = float(np.quantile(speed, 0.95))
    low, high = (int(np.argmax(speed > share * top)) for share in (_STARTED, 0.5))
    if high <= low or top <= 0.0:
        return float(time[0])
    slope = (speed[high] - speed[low]) / (time[high] - time[low])
    return float(time[low] - speed[low] / slope) if slope > 0.0 else float(time[0])


def _told(model: DriveModel, knobs: list[Knob], found: Weighed) -> Iterator[Fitted]:
    for knob in knobs:
        if not knob.told_by or found.why_not(knob.name) is not None:
            continue
        value, half = found.together.value(knob.name), found.together.half_width(knob.name)
        parts = {key: float(part) for key, part in knob.values(model.robot, value).items()}
        was = moved(found, knob.name)
        if len(parts) > 1 or knob.of_the_day:
            yield Fitted(knob.name, (), knob.kind, value, half, moved=was)
        if knob.of_the_day:
            continue
        for key, part in parts.items():
            power = 1.0 / len(parts) if knob.shares else 1.0
            name = knob.name if len(parts) == 1 else f"{knob.name}: {key[-2]}"
            scale = 1.0 if len(parts) == 1 else power * part / value
            yield Fitted(
                name, key, knob.kind, part, half * scale, moved=_part_moved(was, number_at(model.robot, key), scale)
            )


def _part_moved(was: Moved | None, stated: float, scale: float) -> Moved | None:
    """What counted for one of several keys that act together, each by its part."""
    if was is None:
        return None
    alone = None if was.alone is None else stated + scale * (was.alone - was.believed)
    half = None if was.alone_half is None else scale * was.alone_half
    return Moved(stated, scale * was.believed_half, alone, half)


def _untold(knobs: list[Knob], found: Weighed) -> Iterator[Unidentified]:
    for knob in knobs:
        why = found.why_not(knob.name) if knob.told_by else None
        if why is not None:
            yield Unidentified(knob.name, knob.keys[0] if len(knob.keys) == 1 else (), why, knob.told_by)


def _notes(runs: list[Run], knobs: list[Knob], found: Weighed, weighed: float | None) -> Iterator[str]:
    yield from (note for run in runs for note in run.notes)
    known: Mapping[str, Knob] = {knob.name: knob for knob in knobs if found.why_not(knob.name) is None}
    rolling = known.get("rolling resistance of the wheels")
    if rolling is not None and len(rolling.keys) > 1:
        yield "Rolling resistance acts as the mean of all wheels: its classes keep the ratio that the file gives them."
    if "efficiency of the gearing" in known:
        gearing = known["efficiency of the gearing"]
        if len(gearing.keys) > 1:
            yield "Only the product of the stages' efficiencies can be told: each stage takes an equal part of it."
        yield (
            "Efficiency and the motors' torque act together: what the readings leave open of the torque's tolerance is "
            "in the interval of the efficiency."
        )
    if any(knob.of_the_day for knob in known.values()):
        yield (
            "The battery's voltage without load holds for the charge that it had: it is not for the robot file, whose "
            "tolerance stands for every charge."
        )
    if weighed is not None:
        yield f"The robot is reckoned with the {digits(weighed, 4)} kg that the scales say, not with its parts list."
    if found.together.scatter > _MISSES:
        yield (
            f"The drive's model misses the readings by {found.together.missed} their own scatter: did wheels slip, "
            "was it braked, or does the floor slope? Look at the residuals."
        )
