"""Sorting by colour: what is judged of it, and the thresholds that the robot's own program needs."""

from __future__ import annotations

import re
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from itertools import islice

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, called, first, unknown
from fieldworthy.engine.system import Constant, Constants, Found, Quantities, Stated
from fieldworthy.physics.colour import colour, sorting
from fieldworthy.physics.contact import throwing, timing
from fieldworthy.systems.intake.mechanics import Row, Running, row_of
from fieldworthy.systems.sorter.mechanics import backgrounds
from fieldworthy.systems.sorter.model import Ejector, FlyOff, HueClass, Sorter
from fieldworthy.vehicle.body import stacked
from fieldworthy.vehicle.supply import stroke_time

_FASTEST = 1e3  # m/s; what no conveyor reaches stands for what no speed does
_NEVER = 10.0  # s; a stroke that never ends counts as that
_LEAST_SPREAD = 1e-3  # rad; no sensor repeats itself better


@dataclass(frozen=True, slots=True)
class Palette:
    """The classes of a sorter as numbers.

    Attributes
    ----------
    names : In the order of the file
    means, sds : Of the hue that the sensor reports [rad]
    shares : Of all objects
    """

    names: tuple[str, ...]
    means: Array
    sds: Array
    shares: Array


def palette_of(spec: Sorter) -> Palette:
    """Take the hue classes of a sorter, from mean and spread or from readings."""
    both = [_class(c) for c in spec.classes.values()]
    even = 1.0 / len(both)
    raw = stacked([even if c.share is None else c.share for c in spec.classes.values()])
    sds = np.maximum(stacked([s for _, s in both]), _LEAST_SPREAD)
    return Palette(tuple(spec.classes), stacked([m for m, _ in both]), sds, raw / raw.sum(axis=0))


def _class(spec: HueClass) -> tuple[Real, Real]:
    if spec.samples is not None:
        readings = np.asarray(colour.wrap(stacked(list(spec.samples))))
        return colour.circmean(readings), colour.circstd(readings)
    assert spec.hue is not None, "a class has a hue or samples"
    assert spec.spread is not None, "a class has a spread or samples"
    return colour.wrap(spec.hue), spec.spread


def check(context: Context) -> Iterator[Outcome]:
    """Judge every colour sorter of the robot."""
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, Sorter):
            palette = palette_of(spec)
            yield from _sorting(context, name, spec, palette)
            told = backgrounds(name, spec, palette.means, palette.sds)
            yield from told if context.facts else islice(told, 1)


@dataclass(frozen=True, slots=True)
class Passing:
    """How objects pass the sensor.

    Attributes
    ----------
    row, stage : The intake, and its stage before the sensor [SI]
    speed : Of the objects [m/s]
    window : Way on which the sensor sees one of them alone [m]
    used, mean : Readings that are decided on, and readings of an object on average
    """

    row: Row
    stage: Running
    speed: Real
    window: Real
    used: Real
    mean: Real


def passing_of(context: Context, spec: Sorter) -> Passing | None:
    """Find how objects pass the sensor of a sorter."""
    row = row_of(context, spec.intake)
    stage = row.stages[spec.stage]
    if first(stage.speed) <= 0.0:
        return None
    speed = np.maximum(stage.speed, 1e-3)  # a sampled stage may stall
    sensor = spec.sensor
    window = np.maximum(row.length - sensor.spot, 1e-3) if sensor.window is None else sensor.window
    fewest, mean, _ = sorting.sample_count(window, speed, sensor.period)
    used = fewest if spec.readings is None else np.minimum(fewest, float(spec.readings))
    return Passing(row, stage, speed, window, used, mean)


def _sorting(context: Context, name: str, spec: Sorter, palette: Palette) -> Iterator[Outcome]:
    passing = passing_of(context, spec)
    if passing is None:
        because = f"Nothing passes the sensor of {called('sorter', name)}: stage '{spec.stage}' stands still."
        yield unknown("sort.error", name, "ratio", because, (f"mechanisms.{spec.intake}.stages.{spec.stage}",))
        return
    yield _readings(name, spec, passing)
    voted = yield from _votes(name, spec, palette, passing)
    yield from _ends(context, name, spec, palette, passing, voted)


def _readings(name: str, spec: Sorter, passing: Passing) -> Outcome:
    wanted = float(spec.readings or 1)
    numbers = {"mean": (passing.mean, "count"), "wanted": (wanted, "count"), "speed": (passing.speed, "speed"),
               "window": (passing.window, "length")}  # fmt: skip
    message = Message(
        "{sorter} reads a piece {mean} times on average, over {window} at {speed}; {wanted} or more are needed.",
        "{sorter} reads a piece only {mean} times on average, over {window} at {speed}; {wanted} or more are needed. "
        "Read more often, or run that stage slower.",
        numbers,
        {"sorter": called("sorter", name)},
    )
    return Outcome(f"sort.readings.{name}", name, passing.mean, wanted, "ratio", message, sources=("practice",))


def _votes(name: str, spec: Sorter, palette: Palette, passing: Passing) -> Generator[Outcome, None, Array]:
    """Thresholds of least error, one reading's error and the vote's; returns the latter by class."""
    arcs = sorting.sectors(palette.means, palette.sds, palette.shares)
    errors = sorting.misclassification(palette.means, palette.sds, arcs)
    varies = np.ndim(passing.used) or np.ndim(spec.sensor.correlation)
    if varies and errors.ndim == 1:
        errors = errors[:, None]  # classes lead, cases trail, also where only the readings vary
    voted = np.asarray(sorting.majority_error(errors, passing.used, spec.sensor.correlation))
    one, vote = _mix(errors, palette.shares), _mix(voted, palette.shares)
    numbers: dict[str, tuple[Real, str]] = {
        "one": (one, "share"), "vote": (vote, "share"), "used": (passing.used, "count")
    }  # fmt: skip
    parts = []
    for i, label in enumerate(palette.names):
        said = []
        for k, (start, width) in enumerate(arcs.of(i)):
            numbers |= {f"from{i}_{k}": (start, "angle"), f"to{i}_{k}": (colour.wrap(start + width), "angle")}
            said.append(f"from {{from{i}_{k}}} to {{to{i}_{k}}}")
        parts.append(f"{label} {' and '.join(said) or 'nowhere'}")
    text = (
        f"{{sorter}} errs least with these thresholds: {'; '.join(parts)}. One reading is wrong {{one}} of the time, "
        f"the vote of {{used}} reading{'s' * (first(passing.used) != 1.0)} {{vote}}."
    )
    message = Message(text, "", numbers, {"sorter": called("sorter", name)})
    yield Outcome(f"sort.vote.{name}", name, vote, None, "ratio", message, sources=("duda", "mardia", "condorcet"))
    return voted


def _mix(values: Array, shares: Array) -> Real:
    a, b = colour.align(values, shares)
    mixed: Real = (a * b).sum(axis=0)
    return mixed


@dataclass(frozen=True, slots=True)
class Throw:
    """When the ejector must be in place for an object, and when it can be.

    Attributes
    ----------
    decided, actuator : From the object's nose at the sensor to the command, and from there until the ejector is in
        place [s]
    spacing : Nose to nose of the objects [m]
    window : The window [s]
    """

    decided: Real
    actuator: Real
    spacing: Real
    window: timing.EjectWindow


def throw_of(context: Context, spec: Sorter, passing: Passing) -> Throw | None:
    """Time the ejector of a sorter against an object on its way."""
    ejector, row, sensor = spec.ejector, passing.row, spec.sensor
    if ejector is None:
        return None
    spot = np.minimum(sensor.spot, row.length)
    decided = timing.decision_time(spot, passing.speed, passing.used, sensor.period, sensor.latency)
    spacing = np.maximum(row.spacing(passing.stage), row.length)
    if isinstance(ejector, FlyOff):
        return Throw(decided, 0.0, spacing, _stopping(ejector, passing, spacing, decided))
    actuator = _actuator(context, ejector)
    window = timing.eject_window(ejector.distance, row.length, spacing, passing.speed, decided, actuator)
    return Throw(decided, actuator, spacing, window)


@dataclass(frozen=True, slots=True)
class Flight:
    """How a piece leaves the end of a conveyor that stops under it.

    Attributes
    ----------
    angle : How steeply upwards [rad]
    least : Speed with which it must leave, to fly over what stands there [m/s]
    slowing : Its deceleration while it slides on [m/s2]
    reach : How far before the end the conveyor may stop [m]
    """

    angle: Real
    least: Real
    slowing: Real
    reach: Real


def flight_of(passing: Passing, ejector: FlyOff) -> Flight:
    """Follow a piece off the end of a conveyor."""
    angle = passing.stage.spec.climb if ejector.leaves is None else ejector.leaves
    least = throwing.least_throw(angle, *ejector.over)
    slowing = throwing.slide_slowing(passing.stage.spec.climb, ejector.friction)
    return Flight(angle, least, slowing, throwing.run_out(passing.speed, least, slowing))


def _stopping(ejector: FlyOff, passing: Passing, spacing: Real, decided: Real) -> timing.EjectWindow:
    """When the conveyor must begin to slow: near enough to the end, and not before the last piece has left it."""
    reach, length = flight_of(passing, ejector).reach, passing.row.length
    gone = ejector.distance - spacing + length
    opens = np.maximum(ejector.distance - reach, gone) / passing.speed
    return timing.EjectWindow(opens, ejector.distance / passing.speed, decided)


def _flies(name: str, spec: Sorter, ejector: FlyOff, passing: Passing) -> Iterator[Outcome]:
    """Whether a piece leaves a conveyor that stops, and whether it is fast enough to fly over what stands there."""
    flight, words = flight_of(passing, ejector), {"sorter": called("sorter", name), "stage": spec.stage}
    numbers: dict[str, tuple[Real, str]] = {
        "belt": (ejector.deceleration, "acceleration"), "piece": (flight.slowing, "acceleration"),
        "speed": (passing.speed, "speed"), "least": (flight.least, "speed"), "angle": (flight.angle, "angle"),
        "ahead": (ejector.over[0], "length"), "up": (ejector.over[1], "length"), "reach": (flight.reach, "length"),
    }  # fmt: skip
    text = "Stopped under a piece, stage '{stage}' of {sorter} slows by {belt}, and friction and slope slow the piece "
    message = Message(text + "by {piece}: it slides on and leaves.",
                      text + "by {piece} too: it stays on the conveyor. Stop harder, or reverse.",
                      numbers, words)  # fmt: skip
    yield Outcome(f"sort.parts.{name}", name, ejector.deceleration, flight.slowing, "acceleration", message,
                  sources=("meriam_statics",))  # fmt: skip
    over = "the point {ahead} ahead of its end and {up} up"
    holds = (
        f"A piece leaves {{sorter}} with {{speed}}, {{angle}} up; {{least}} takes it over {over}. The conveyor may "
        "stop up to {reach} before the piece is at the end."
    )
    short = (
        f"A piece leaves {{sorter}} with only {{speed}}, {{angle}} up; {{least}} takes it over {over}. Run it faster."
    )
    if not np.isfinite(first(flight.least)):
        short = f"At {{angle}} up no speed takes a piece from {{sorter}} over {over}: let it leave more steeply."
    yield Outcome(f"sort.flies.{name}", name, passing.speed, np.minimum(flight.least, _FASTEST), "speed",
                  Message(holds, short, numbers, words), sources=("meriam_dynamics",))  # fmt: skip


def _actuator(context: Context, ejector: Ejector) -> Real:
    """Time until the ejector is in place: stated, or its cylinder's stroke at the lowest pressure of the plan."""
    if ejector.cylinder is None:
        assert ejector.time is not None, "an ejector has a cylinder or a time"
        return ejector.time
    return np.minimum(stroke_time(context, ejector.cylinder, 0), _NEVER)


def _ends(
    context: Context, name: str, spec: Sorter, palette: Palette, passing: Passing, voted: Array
) -> Iterator[Outcome]:
    """The eject window, and what becomes of all objects."""
    throw = throw_of(context, spec, passing)
    if spec.ejector is None or throw is None:
        because = f"What {called('sorter', name)} throws the unwanted out with is not known, so neither is its error."
        yield unknown("sort.error", name, "ratio", because, (f"mechanisms.{name}.ejector",))
        return
    leaves: Real = 1.0
    if isinstance(spec.ejector, FlyOff):
        yield from _flies(name, spec, spec.ejector, passing)
        flight = flight_of(passing, spec.ejector)
        parts, flies = np.asarray(spec.ejector.deceleration) >= flight.slowing, passing.speed >= flight.least
        leaves = (parts & flies).astype(float)
    scatter, in_time = spec.ejector.scatter, timing.eject_chance(throw.window, spec.ejector.scatter)
    yield _in_time(name, throw, scatter, in_time, flies=isinstance(spec.ejector, FlyOff))
    yield _error(name, spec, palette, voted, in_time * leaves)


def _in_time(name: str, throw: Throw, scatter: Real, in_time: Real, *, flies: bool = False) -> Outcome:
    """Whether the window leaves room for the scatter of the moment, by the model that `sort.error` counts with."""
    window = throw.window
    needed = timing.needed_spare(window, scatter)
    numbers: dict[str, tuple[Real, str]] = {
        "decided": (throw.decided, "time"), "actuator": (throw.actuator, "time"), "closes": (window.closes, "time"),
        "opens": (np.maximum(window.opens, 0.0), "time"), "spare": (np.maximum(window.spare, 0.0), "time"),
        "late": (-np.minimum(window.spare, 0.0), "time"), "aim": (window.aim, "time"), "needed": (needed, "time"),
        "scatter": (scatter, "time"), "in_time": (in_time, "share"), "most": (timing.IN_TIME, "share"),
    }  # fmt: skip
    start = (
        ". It decides {decided} after a piece reaches the sensor, and its ejector takes {actuator}. The piece is at "
        "the ejector after {closes}, the one before gone after {opens}. "
    )
    if flies:
        start = (
            ". It decides {decided} after a piece reaches the sensor, and its conveyor must begin to slow between "
            "{opens} and {closes}. "
        )
    asked = "a scatter of {scatter} takes {needed} for {most} in time"
    left = "That leaves {spare} about the aim at {aim}; "
    short = "{sorter} is in time for only {in_time} of the pieces" + start + left + asked + ". "
    if first(window.spare) < 0.0:
        short = "{sorter} throws {late} too late, in time for {in_time} of the pieces" + start
    mend = "Move the sensor back, decide on fewer readings, or feed slower."
    if not flies:
        mend = "Move the ejector on, decide on fewer readings, or feed slower."
    holds = f"{{sorter}} is in time for {{in_time}} of the pieces{start}{left}{asked}."
    message = Message(holds, short + mend, numbers, {"sorter": called("sorter", name)})
    return Outcome(f"sort.eject.{name}", name, window.spare, needed, "time", message, scale=window.closes,
                   sources=("practice",))  # fmt: skip


def _error(name: str, spec: Sorter, palette: Palette, voted: Array, in_time: Real) -> Outcome:
    bad = palette.names.index(spec.unwanted)
    wanted = [i for i in range(len(palette.names)) if i != bad]
    # with more than two classes any mistake about a wanted one counts as a false alarm: the safe side
    kept = palette.shares[wanted]
    false_alarm = np.clip(_mix(voted[wanted], kept / kept.sum(axis=0)), 0.0, 1.0)
    share = np.clip(palette.shares[bad], 0.0, 1.0)
    ends = timing.outcome(share, np.clip(voted[bad], 0.0, 1.0), false_alarm, np.clip(in_time, 0.0, 1.0))
    error = ends.kept_wrong + ends.thrown_wrong
    numbers: dict[str, tuple[Real, str]] = {
        "error": (error, "share"), "kept": (ends.kept_wrong, "share"), "thrown": (ends.thrown_wrong, "share"),
        "in_time": (in_time, "share"),
    }  # fmt: skip
    words, limit = {"unwanted": spec.unwanted, "sorter": called("sorter", name)}, spec.allowed_error
    text = ". Of all, {kept} are '{unwanted}' and stay, {thrown} are good and go. Its ejector is in time for {in_time}."
    wrong = "{sorter} sorts {error} of all pieces wrongly"
    if limit is None:
        return Outcome(f"sort.error.{name}", name, error, None, "ratio", Message(wrong + text, "", numbers, words),
                       sources=("practice",))  # fmt: skip
    numbers["limit"] = (limit, "share")
    message = Message(
        wrong + "; {limit} is allowed" + text, wrong + ", and only {limit} is allowed" + text, numbers, words
    )
    return Outcome(f"sort.error.{name}", name, error, limit, "ratio", message, "at most", sources=("practice", "duda"))


_SECTOR = re.compile(r"(from|to)(\d+)_(\d+)")


def computed(context: Context, _quantities: Quantities) -> Iterator[Constant]:
    """Hues between which a reading counts as one class."""
    sorters = {n: spec for n, spec in context.robot.mechanisms.items() if isinstance(spec, Sorter)}
    outcomes = {o.id: o for o in check(context)} if sorters else {}
    for name, spec in sorters.items():
        labels, vote = list(spec.classes), outcomes.get(f"sort.vote.{name}")
        for number, (value, kind) in vote.because.numbers.items() if vote is not None else ():
            match = _SECTOR.fullmatch(number)
            if match:
                label, again = labels[int(match[2])], int(match[3])  # a class may speak for several arcs
                end = f"hue {match[1]}" if again == 0 else f"hue {match[1]} {again + 1}"
                about = f"hue {match[1]} which a reading counts as '{label}', going up and round the circle"
                yield Constant((name, label, end), first(value), kind, about, f"sort.vote.{name}")


CONSTANTS = Constants(
    (
        Stated("mechanisms.*.sensor.period", "{0}/sensor period", "time between two readings of the sensor of '{0}'"),
        Stated("mechanisms.*.sensor.latency", "{0}/sensor latency",
               "age of a reading of '{0}' when the program gets it"),
    ),
    (
        Found("sort.vote.*", "used", "{0}/readings", "readings of one piece that it decides on", counted=True),
        Found("sort.eject.*", "decided", "{0}/decision time", "after a piece reaches the sensor it has decided"),
        Found("sort.eject.*", "actuator", "{0}/ejector time", "what the ejector takes"),
        Found("sort.eject.*", "aim", "{0}/eject aim", "after the sensor, when the ejector should be in place"),
        Found("sort.best_background.*", "value", "{0}/background hue best", "hue of the background that reads best"),
    ),
    computed,
)  # fmt: skip
