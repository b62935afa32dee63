"""Objects on their way through an intake: where each is at any time, and where a staged hold brings them to rest.

Places are measured along the path from the grip of the first stage. An object's place is that of its nose; it runs at
the speed of a stage from that stage's grip on, or, where the stage behind grips harder, once that has let go.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fieldworthy.checks.finding import Array, Real
from fieldworthy.checks.intake import grip_of, hold_stops, slowing_of
from fieldworthy.checks.showing import first
from fieldworthy.checks.stages import Row, Running, row_of
from fieldworthy.checks.subject import Subject
from fieldworthy.physics import handover, staging
from fieldworthy.robot.model import Intake

_OBJECTS = 3
_PIECES = 12  # of a bent stretch of a line
_PHASES = 33


@dataclass(frozen=True, slots=True)
class StageView:
    """One stage as it stands on the path.

    Attributes
    ----------
    name : str
        Of the stage.
    grip : float
        Where it grips, along the path [m].
    speed : float
        Of an object that it carries [m/s].
    turning : float
        Of its shaft under load [rad/s].
    climb : float
        Slope of the path from here on [rad].
    radius, squeeze : float
        Of its rollers, and how deep an object presses them in [m].
    hooked : bool
        Whether a hooked chain takes the place of rollers.
    """

    name: str
    grip: float
    speed: float
    turning: float
    climb: float
    radius: float
    squeeze: float
    hooked: bool


@dataclass(frozen=True, slots=True)
class Meeting:
    """What happens where two stages meet.

    Attributes
    ----------
    here, there : str
        The stages.
    start, end : float
        Stretch of the path on which both hold an object, or neither; from its nose [m].
    held : float
        Its length; negative where neither holds [m].
    pull, rub : float
        Force in the object, positive a pull [N], and way on which the weaker roller rubs [m].
    ratio : float
        Speed there over speed here [-].
    closest : float
        Distance nose to nose here below which they pile up there [m].
    """

    here: str
    there: str
    start: float
    end: float
    held: float
    pull: float
    rub: float
    ratio: float
    closest: float


@dataclass(frozen=True, slots=True)
class Trace:
    """One object's nose over time.

    Attributes
    ----------
    time, place : ndarray of shape (k,)
        Corners of the line, in order of time [s, m].
    """

    time: Array
    place: Array

    def at(self, time: float) -> float | None:
        """Find the nose at one moment.

        Parameters
        ----------
        time : float
            Moment [s].

        Returns
        -------
        float or None
            Place [m]; None before it comes and once it has left.
        """
        if not self.time[0] <= time <= self.time[-1]:
            return None
        return float(np.interp(time, self.time, self.place))


@dataclass(frozen=True, slots=True)
class Pile:
    """Where an object catches up with the one before it.

    Attributes
    ----------
    time, place : float
        Of its nose [s, m].
    """

    time: float
    place: float


@dataclass(frozen=True, slots=True)
class HoldView:
    """A staged hold of two objects.

    Attributes
    ----------
    stage : str
        In which the first stops.
    sensor, lower : float
        Places of the upper and the lower sensor [m].
    takeover : float
        Where the upper stage takes over [m].
    room : float
        How far the first may run past its sensor [m].
    first, second : Trace
        With the sensor read half a period late; time from the first nose at the upper sensor.
    first_rest, second_rest : tuple of float
        Nearest and farthest place of rest, by when the sensors are read [m].
    gap : tuple of float
        Smallest and largest space between them [m]; negative is the depth of a push.
    held : float
        Share of the moments of a reading at which both are held [-].
    speed, limit : float
        Of the upper stage, and up to which it holds at every moment of a reading [m/s].
    """

    stage: str
    sensor: float
    lower: float
    takeover: float
    room: float
    first: Trace
    second: Trace
    first_rest: tuple[float, float]
    second_rest: tuple[float, float]
    gap: tuple[float, float]
    held: float
    speed: float
    limit: float


@dataclass(frozen=True, slots=True)
class IntakeCurves:
    """One intake at work.

    Attributes
    ----------
    name : str
        Of the mechanism.
    object : str
        What it takes in.
    length, height : float
        Of an object along the path, and upright [m].
    ball : bool
        Whether it is a ball.
    stages : tuple of StageView
        In order.
    meetings : tuple of Meeting
        Of each stage with the next.
    traces : tuple of Trace
        Objects one after the other at the wanted throughput, touching where none is wanted.
    piles : tuple of Pile
        Where one catches up with another.
    rest : float or None
        Where an object comes to rest between two stages [m]; None where none does.
    hold : HoldView or None
        None where the intake holds nothing, or a sensor misses an object.
    """

    name: str
    object: str
    length: float
    height: float
    ball: bool
    stages: tuple[StageView, ...]
    meetings: tuple[Meeting, ...]
    traces: tuple[Trace, ...]
    piles: tuple[Pile, ...]
    rest: float | None
    hold: HoldView | None

    @property
    def gaps(self) -> tuple[float, ...]:
        """Free space between two objects in each stage [m]; negative where they would run into each other."""
        wait = float(self.traces[1].time[0] - self.traces[0].time[0])
        return tuple(stage.speed * wait - self.length for stage in self.stages)

    @property
    def duration(self) -> float:
        """When the last object has left [s]."""
        return float(max(trace.time[-1] for trace in self.traces))


def intake_curves(subject: Subject) -> dict[str, IntakeCurves]:
    """Follow objects through every intake of a robot.

    Parameters
    ----------
    subject : Subject
        Robot and season, nominal [SI].

    Returns
    -------
    dict of str to IntakeCurves
        By mechanism; an intake whose first stage stands still is left out [SI].
    """
    subject = subject.nominal
    names = [name for name, spec in subject.robot.mechanisms.items() if isinstance(spec, Intake)]
    rows = {name: row_of(subject, name) for name in names}
    return {name: _curves(subject, row) for name, row in rows.items() if all(row.speeds() > 0.0)}


def _curves(subject: Subject, row: Row) -> IntakeCurves:
    grips, length = _grips(row), first(row.length)
    stages = tuple(_view(stage, grip) for stage, grip in zip(row.stages.values(), grips, strict=True))
    one, rest = _one(row, grips)
    wait = first(row.spacing(next(iter(row.stages.values())))) / stages[0].speed
    traces = tuple(Trace(one.time + i * wait, one.place) for i in range(_OBJECTS))
    thing = subject.season.objects[row.spec.object]
    return IntakeCurves(
        row.name,
        row.spec.object,
        length,
        first(row.height),
        thing.shape == "ball",
        stages,
        tuple(_meeting(row, pair, at) for pair, at in zip(row.pairs(), grips[1:], strict=True)),
        traces,
        tuple(_piles(traces, length)),
        rest,
        _hold(row, grips),
    )


def _grips(row: Row) -> list[float]:
    steps = [first(stage.spec.to_next) for stage in row.stages.values() if stage.spec.to_next is not None]
    return [0.0, *np.cumsum(steps[: len(row.stages) - 1]).tolist()]


def _view(stage: Running, grip: float) -> StageView:
    return StageView(
        stage.name,
        grip,
        first(stage.speed),
        first(stage.turning),
        first(stage.spec.climb),
        first(stage.surface.radius),
        first(stage.surface.squeeze),
        stage.spec.hooks is not None,
    )


def _meeting(row: Row, pair: tuple[Running, Running], at: float) -> Meeting:
    here, there = pair
    distance, speeds = first(here.spec.to_next or 0.0), (first(here.speed), first(there.speed))
    held = first(handover.overlap(row.length, distance))
    pull, rub = handover.rubbing(held, speeds, (grip_of(here), grip_of(there)))
    closest = handover.feed_spacing(np.array(speeds), first(row.length))
    start, end = sorted((at, at + held))
    return Meeting(
        here.name, there.name, start, end, held, first(pull), first(rub), speeds[1] / speeds[0], first(closest)
    )


def _one(row: Row, grips: Sequence[float]) -> tuple[Trace, float | None]:
    """The line of one object, and where it comes to rest if it does not get through."""
    length, stages = first(row.length), list(row.stages.values())
    time, place = [0.0], [grips[0]]
    for (here, there), at in zip(row.pairs(), grips[1:], strict=True):
        speed, left = first(here.speed), at + first(handover.overlap(row.length, first(here.spec.to_next or 0.0)))
        # the stronger grip decides how fast an object runs that both hold
        until = left if left < at or first(grip_of(here)) >= first(grip_of(there)) else at
        time.append(time[-1] + max(until - place[-1], 0.0) / speed)
        place.append(max(until, place[-1]))
        if left < at and not _coast(time, place, at, (speed, first(slowing_of(here)))):
            return Trace(np.array(time), np.array(place)), place[-1]
    last = first(stages[-1].speed)
    out = grips[-1] + length
    time.append(time[-1] + max(out - place[-1], 0.0) / last)
    place.append(max(out, place[-1]))
    return Trace(np.array(time), np.array(place)), None


def _coast(time: list[float], place: list[float], until: float, motion: tuple[float, float]) -> bool:
    """Add a stretch on which nothing holds the object; whether it gets across."""
    speed, slowing = motion
    reach = speed**2 / (2.0 * slowing)
    way = until - place[-1]
    arrives = way <= reach
    lasts = (speed - math.sqrt(max(speed**2 - 2.0 * slowing * way, 0.0))) / slowing if arrives else speed / slowing
    steps = lasts * np.arange(1, _PIECES + 1) / _PIECES
    begin, start = time[-1], place[-1]
    time += (begin + steps).tolist()
    place += (start + speed * steps - 0.5 * slowing * steps**2).tolist()
    return arrives


def _piles(traces: Sequence[Trace], length: float) -> list[Pile]:
    """First moment at which each object's nose comes to the tail of the one before."""
    found = []
    for before, after in pairwise(traces):
        moments = np.unique(np.concatenate([before.time, after.time]))
        moments = moments[(moments >= after.time[0]) & (moments <= before.time[-1])]
        if moments.size == 0:
            continue
        nose, tail = (np.interp(moments, t.time, t.place) for t in (after, before))
        gap = tail - length - nose
        hit = np.flatnonzero(gap < -1e-9)
        if hit.size:
            found.append(_meets(moments, gap, nose, int(hit[0])))
    return found


def _meets(moments: Array, gap: Array, nose: Array, i: int) -> Pile:
    if i == 0 or gap[i - 1] <= 0.0:
        i0 = max(i - 1, 0)
        return Pile(float(moments[i0]), float(nose[i0]))
    share = gap[i - 1] / (gap[i - 1] - gap[i])
    return Pile(
        float(moments[i - 1] + share * (moments[i] - moments[i - 1])),
        float(nose[i - 1] + share * (nose[i] - nose[i - 1])),
    )


def _hold(row: Row, grips: Sequence[float]) -> HoldView | None:
    hold = row.spec.hold
    if hold is None:
        return None
    upper, lower, path = hold_stops(row, hold)
    rest = staging.simulate(upper, lower, path, np.linspace(0.0, 1.0, _PHASES))
    middle = staging.simulate(upper, lower, path, 0.5)
    if not (np.all(np.isfinite(rest.second)) and np.isfinite(first(middle.second))):
        return None
    # the path's places count from the upper sensor
    takeover = grips[list(row.stages).index(hold.stage)]
    sensor = takeover + first(path.handover)
    return HoldView(
        hold.stage,
        sensor,
        sensor - first(path.below),
        takeover,
        first(path.room),
        _first_in(sensor, (upper, lower), path, first(middle.first)),
        _second_in(sensor, (upper, lower), path, first(middle.second)),
        _ends(sensor + rest.first),
        _ends(sensor + rest.second),
        _ends(rest.gap),
        first(staging.hold_chance(upper, lower, path)),
        first(upper.speed),
        first(staging.hold_limit_speed(upper, lower, path)),
    )


def _ends(values: Real) -> tuple[float, float]:
    return float(np.min(values)), float(np.max(values))


_Stops = tuple[staging.Stop, staging.Stop]


def _in_sight(sensor: float, length: float, path: staging.Path) -> float:
    """Where a line begins: half an object before the lower sensor and the first grip, from the upper sensor."""
    return min(-sensor, -first(path.below)) - 0.5 * length


def _first_in(sensor: float, stops: _Stops, path: staging.Path, rest: float) -> Trace:
    """The first object: at the lower stage's speed up to the hand-over, then at the upper one's, then braked."""
    upper, lower = stops
    v, w, back = first(upper.speed), first(lower.speed), first(path.handover)
    lead = -_in_sight(sensor, first(path.length), path) - back
    corners = [(-back / v - lead / w, -back - lead), (-back / v, -back)]
    return _braked(corners, (v, first(upper.deceleration)), sensor, (0.0, 0.0), rest)


def _second_in(sensor: float, stops: _Stops, path: staging.Path, rest: float) -> Trace:
    """The second object: at the lower stage's speed all the way, then braked."""
    upper, lower = stops
    w = first(lower.speed)
    now = first(staging.head_start(first(upper.speed), w, path)) - first(path.below)  # while the first is at its sensor
    start = _in_sight(sensor, first(path.length), path)
    return _braked([((start - now) / w, start)], (w, first(lower.deceleration)), sensor, (0.0, now), rest)


def _braked(
    corners: list[tuple[float, float]],
    motion: tuple[float, float],
    sensor: float,
    known: tuple[float, float],
    rest: float,
) -> Trace:
    """Run on at an even speed through a known moment and place, then slow evenly to rest."""
    speed, slowing = motion
    lasts = speed / slowing
    braking = rest - speed**2 / (2.0 * slowing)
    begins = known[0] + (braking - known[1]) / speed
    steps = lasts * np.arange(_PIECES + 1) / _PIECES
    time = [t for t, _ in corners] + (begins + steps).tolist()
    place = [p for _, p in corners] + (braking + speed * steps - 0.5 * slowing * steps**2).tolist()
    return Trace(np.array(time), sensor + np.array(place))
