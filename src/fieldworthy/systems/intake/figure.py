"""Objects on their way through an intake: over time, at one moment from the side, and where a staged hold ends."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.drawing.axes import Chart, paint
from fieldworthy.drawing.frame import Axis, Band, Limit, Line, Mark, Points, Span, Spot, legend_rows
from fieldworthy.drawing.sketch import Sketch, disc, line
from fieldworthy.drawing.sketch import Span as Length
from fieldworthy.drawing.style import Style, wrapped
from fieldworthy.drawing.svg import SMALL, Box, Figure, Letters, Sheet
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.physics.contact import handover, timing
from fieldworthy.systems.intake.check import grip_of, hold_stops, one_motor
from fieldworthy.systems.intake.hooked import CHAINED, chained
from fieldworthy.systems.intake.mechanics import Row, Running, row_of
from fieldworthy.systems.intake.model import Hold, Intake, IntakeStage, Rollers

_OBJECTS = 3
_PIECES = 12  # of a bent stretch of a line
_PHASES = 33


@dataclass(frozen=True, slots=True)
class StageView:
    """One stage as it stands on the path.

    Attributes
    ----------
    name : Of the stage
    grip : Where it grips, along the path [m]
    speed : Of an object that it carries [m/s]
    turning : Of its shaft under load [rad/s]
    climb : Slope of the path from here on [rad]
    radius, squeeze : Of its rollers, and how deep an object presses them in [m]
    hooked : Whether a hooked chain takes the place of rollers
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
    here, there : The stages
    start, end : Stretch of the path on which both hold an object, or neither; from its nose [m]
    held : Its length; negative where neither holds [m]
    pull, rub : Force in the object, positive a pull [N], and way on which the weaker roller rubs [m]
    ratio : Speed there over speed here
    closest : Distance nose to nose here below which they pile up there [m]
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
    time, place : Corners of the line, in order of time [s, m]
    """

    time: Array
    place: Array

    def at(self, time: float) -> float | None:
        """Find the nose at one moment."""
        if not self.time[0] <= time <= self.time[-1]:
            return None
        return float(np.interp(time, self.time, self.place))


@dataclass(frozen=True, slots=True)
class Pile:
    """Where an object catches up with the one before it.

    Attributes
    ----------
    time, place : Of its nose [s, m]
    """

    time: float
    place: float


@dataclass(frozen=True, slots=True)
class HoldView:
    """A staged hold of two objects.

    Attributes
    ----------
    stage : In which the first stops
    sensor, lower : Places of the upper and the lower sensor, None where there is one only [m]
    takeover : Where the upper stage takes over [m]
    room : How far the first may run past its sensor [m]
    first, second : With the sensor read half a period late; time from the first nose at the upper sensor
    first_rest, second_rest : Nearest and farthest place of rest, by when the sensors are read [m]
    gap : Smallest and largest space between them [m]; negative is the depth of a push
    held : Share of the moments of a reading at which both are held
    speed, limit : Of the upper stage, and up to which it holds at every moment of a reading [m/s]
    """

    stage: str
    sensor: float
    lower: float | None
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
    name : Of the mechanism
    object : What it takes in
    length, height : Of an object along the path, and upright [m]
    ball : Whether it is a ball
    stages : In order
    meetings : Of each stage with the next
    traces : Objects one after the other at the wanted throughput, touching where none is wanted
    piles : Where one catches up with another
    rest : Where an object comes to rest between two stages [m]; None where none does
    hold : None where the intake holds nothing, or a sensor misses an object
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


def intake_curves(context: Context) -> dict[str, IntakeCurves]:
    """Follow objects through every intake of a robot."""
    context = context.nominal
    names = [name for name, spec in context.robot.mechanisms.items() if isinstance(spec, Intake)]
    rows = {name: row_of(context, name) for name in names}
    return {name: _curves(context, row) for name, row in rows.items() if all(row.speeds() > 0.0)}


def _curves(context: Context, row: Row) -> IntakeCurves:
    grips, length = _grips(row), first(row.length)
    stages = tuple(_view(stage, grip) for stage, grip in zip(row.stages.values(), grips, strict=True))
    one, rest = _one(row, grips)
    wait = first(row.spacing(next(iter(row.stages.values())))) / stages[0].speed
    traces = tuple(Trace(one.time + i * wait, one.place) for i in range(_OBJECTS))
    thing = context.season.objects[row.spec.object]
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
    speeds = first(here.speed), first(there.speed)
    held = first(row.held(here, there))
    pull, rub = handover.rubbing(held, speeds, (grip_of(here), grip_of(there)))
    rub = rub / first(np.asarray(here.surface.share))
    closest = handover.feed_spacing(*handover.alongside(*speeds, first(row.closest(here)), first(row.closest(there))))
    start, end = sorted((at, at + held))
    return Meeting(
        here.name, there.name, start, end, held, first(pull), first(rub), speeds[1] / speeds[0], first(closest)
    )


def _one(row: Row, grips: Sequence[float]) -> tuple[Trace, float | None]:
    """The line of one object, and where it comes to rest if it does not get through."""
    length, stages = first(row.length), list(row.stages.values())
    time, place = [0.0], [grips[0]]
    for (here, there), at in zip(row.pairs(), grips[1:], strict=True):
        speed, left = first(here.speed), at + first(row.held(here, there))
        # the stronger grip decides how fast an object runs that both hold
        until = left if left < at or first(grip_of(here)) >= first(grip_of(there)) else at
        time.append(time[-1] + max(until - place[-1], 0.0) / speed)
        place.append(max(until, place[-1]))
        if left < at and not _coast(time, place, at, (speed, speed**2 / (2.0 * first(row.coasts(here, there))))):
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
    if hold is None or one_motor(row, hold):
        return None
    upper, lower, path = hold_stops(row, hold)
    rest = timing.simulate(upper, lower, path, np.linspace(0.0, 1.0, _PHASES))
    middle = timing.simulate(upper, lower, path, 0.5)
    if not (np.all(np.isfinite(rest.second)) and np.isfinite(first(middle.second))):
        return None
    # the path's places count from the upper sensor
    takeover = grips[list(row.stages).index(hold.stage)]
    sensor = takeover + first(path.handover)
    return HoldView(
        hold.stage,
        sensor,
        None if hold.below is None else sensor - first(path.below),
        takeover,
        first(path.room),
        _first_in(sensor, (upper, lower), path, first(middle.first)),
        _second_in(sensor, (upper, lower), path, first(middle.second)),
        _ends(sensor + rest.first),
        _ends(sensor + rest.second),
        _ends(rest.gap),
        first(timing.hold_chance(upper, lower, path)),
        first(upper.speed),
        first(timing.hold_limit_speed(upper, lower, path)),
    )


def _ends(values: Real) -> tuple[float, float]:
    return float(np.min(values)), float(np.max(values))


_Stops = tuple[timing.Stop, timing.Stop]


def _in_sight(sensor: float, length: float, path: timing.Path) -> float:
    """Where a line begins: half an object before the lower sensor and the first grip, from the upper sensor."""
    return min(-sensor, -first(path.below)) - 0.5 * length


def _first_in(sensor: float, stops: _Stops, path: timing.Path, rest: float) -> Trace:
    """The first object: at the lower stage's speed up to the hand-over, then at the upper one's, then braked."""
    upper, lower = stops
    v, w, back = first(upper.speed), first(lower.speed), first(path.handover)
    lead = -_in_sight(sensor, first(path.length), path) - back
    corners = [(-back / v - lead / w, -back - lead), (-back / v, -back)]
    return _braked(corners, (v, first(upper.deceleration)), sensor, (0.0, 0.0), rest)


def _second_in(sensor: float, stops: _Stops, path: timing.Path, rest: float) -> Trace:
    """The second object: at the lower stage's speed all the way, then braked."""
    upper, lower = stops
    w = first(lower.speed)
    now = first(timing.head_start(first(upper.speed), w, path)) - first(path.below)  # while the first is at its sensor
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


_NOTE = 16.0  # from line to line [px]


def through(data: IntakeCurves, style: Style) -> Figure:
    """Draw objects on their way through the stages over time."""
    end = data.stages[-1].grip + data.length
    marks: list[Mark] = [*_stages(data)]
    for i, trace in enumerate(data.traces):
        marks.append(Band(x=trace.time, low=trace.place - data.length, high=trace.place, tone=i))
        marks.append(Line(x=trace.time, y=trace.place, tone=i))
        marks.append(Spot(x=float(trace.time[0]), y=float(trace.place[0]), name=f"{data.object} {i + 1}", tone=i))
    marks += [Spot(x=pile.time, y=pile.place, name="pile up", tone="bad", shape="cross") for pile in data.piles]
    if data.rest is not None:
        last = data.traces[0]
        marks.append(Spot(x=float(last.time[-1]), y=data.rest, name="rests here", tone="bad", shape="cross"))
    what = Chart(
        title=f"{data.object.capitalize()} after {data.object} through '{data.name}'",
        alt=_alt(data, style),
        x=Axis("Time", "time"),
        y=Axis("Place along the path", "length", -data.length, end),
        marks=marks,
        columns=_columns(data.traces, [f"{data.object} {i + 1}" for i in range(len(data.traces))], style),
    )
    return _noted(what, [_gaps(data, style), *(_met(meeting, style) for meeting in data.meetings)], style)


def _gaps(data: IntakeCurves, style: Style) -> str:
    parts = [
        f"{style.show(gap, 'length')} in {stage.name}" if gap >= 0.0 else f"none in {stage.name}"
        for gap, stage in zip(data.gaps, data.stages, strict=True)
    ]
    return f"Each {data.object} is drawn from nose to tail. Space between two: {', '.join(parts)}."


def _stages(data: IntakeCurves) -> list[Mark]:
    """A level line where each stage grips, with its name."""
    ends = [*(stage.grip for stage in data.stages[1:]), data.stages[-1].grip + data.length]
    found: list[Mark] = []
    for i, (stage, end) in enumerate(zip(data.stages, ends, strict=True)):
        if i % 2 == 0:
            found.append(Span(low=stage.grip, high=end, side="y"))
        found.append(Limit(at=stage.grip, name=f"{stage.name} grips", tone="ink", dash="2 3"))
    return found


def _met(meeting: Meeting, style: Style) -> str:
    """One sentence on two stages that meet."""
    held = style.show(abs(meeting.held), "length")
    both = f"both hold a piece for {held}" if meeting.held >= 0.0 else f"neither holds a piece for {held}"
    text = f"{meeting.here} to {meeting.there}: {both}; it then runs {meeting.ratio:.2f} times as fast"
    if meeting.pull:
        way = "pulled" if meeting.pull > 0.0 else "squeezed"
        text += f", {way} with {style.show(abs(meeting.pull), 'force')} on the way"
    if meeting.ratio < 1.0 and math.isfinite(meeting.closest):
        text += f". Pieces must come {style.show(meeting.closest, 'length')} apart, nose to nose"
    return f"{text}."


def _noted(what: Chart, notes: Sequence[str], style: Style) -> Figure:
    """A chart with sentences below it."""
    lines = [line for note in notes for line in wrapped(note, SMALL, style.width - 24.0)]
    high = float(np.clip(0.54 * style.width, 250.0, 400.0)) + 20.0 * legend_rows(what.marks, style)
    sheet = Sheet(style, high + _NOTE * len(lines) + (10.0 if lines else 0.0))
    paint(sheet, Box(0.0, 0.0, style.width, high), what)
    for i, told in enumerate(lines):
        sheet.text(12.0, high + 14.0 + _NOTE * i, told, Letters(style.theme.ink, SMALL))
    return Figure(what.title, what.alt, sheet.document(what.title, what.alt), what.columns)


def _alt(data: IntakeCurves, style: Style) -> str:
    speeds = ", ".join(f"{stage.name} {style.show(stage.speed, 'speed')}" for stage in data.stages)
    if data.rest is not None:
        return f"Stages run at {speeds}; a piece comes to rest between two of them."
    if data.piles:
        return f"Stages run at {speeds}; the second piece catches up with the first."
    return f"Stages run at {speeds}; a piece is through in {style.show(float(np.ptp(data.traces[0].time)), 'time')}."


def _columns(traces: Sequence[Trace], names: Sequence[str], style: Style) -> dict[str, Sequence[Any]]:
    found: dict[str, Sequence[Any]] = {}
    for trace, name in zip(traces, names, strict=True):
        found[style.header(f"{name}: time", "time")] = style.value(trace.time, "time").tolist()
        found[style.header(f"{name}: nose", "length")] = style.value(trace.place, "length").tolist()
    return found


def hold(data: IntakeCurves, style: Style) -> Figure | None:
    """Draw the two objects of a staged hold over time, to where they come to rest."""
    view = data.hold
    if view is None:
        return None
    marks: list[Mark] = []
    for i, (trace, name) in enumerate(((view.first, "first"), (view.second, "second"))):
        marks.append(Band(x=trace.time, low=trace.place - data.length, high=trace.place, tone=i))
        marks.append(Line(x=trace.time, y=trace.place, tone=i))
        marks.append(Spot(x=float(trace.time[-1]), y=float(trace.place[-1]), name=name, tone=i))
    end = max(float(view.first.time[-1]), float(view.second.time[-1]))
    marks += _rests(view, 1.06 * end)
    marks += [
        Limit(at=view.sensor, name="sensor" if view.lower is None else "upper sensor", tone="ink", dash=None),
        *([] if view.lower is None else [Limit(at=view.lower, name="lower sensor", tone="ink", dash=None)]),
        Limit(at=view.takeover, name=f"{view.stage} takes over", tone="ink", dash="2 3"),
        Limit(at=view.sensor + view.room, name="end of its room", tone="bad"),
    ]
    title = f"Holding two in '{data.name}'"
    what = Chart(
        title=title,
        alt=_held(view, style),
        x=Axis("Time after the first reaches the upper sensor", "time", None, 1.12 * end),
        y=Axis("Place along the path", "length"),
        marks=marks,
        columns=_columns((view.first, view.second), ("first", "second"), style)
        | {
            style.header("first: rests from, to", "length"): [style.value(v, "length") for v in view.first_rest],
            style.header("second: rests from, to", "length"): [style.value(v, "length") for v in view.second_rest],
            style.header("gap from, to", "length"): [style.value(v, "length") for v in view.gap],
        },
    )
    return _noted(what, _hold_notes(view, style), style)


def _rests(view: HoldView, at: float) -> list[Mark]:
    """Where each comes to rest, by when the sensors happen to be read."""
    found: list[Mark] = []
    for i, (low, high) in enumerate((view.first_rest, view.second_rest)):
        middle, half = (low + high) / 2.0, (high - low) / 2.0
        found.append(Points(x=[at], y=[middle], y_error=[half], tone=i))
    return found


def _held(view: HoldView, style: Style) -> str:
    share = style.show(view.held, "share", 2)
    return (
        f"At {style.show(view.speed, 'speed')} both are held at {share} of the moments at which a sensor may be read; "
        f"up to {style.show(view.limit, 'speed')} they always are."
    )


def _hold_notes(view: HoldView, style: Style) -> list[str]:
    def shown(ends: tuple[float, float]) -> str:
        """Two lengths with their unit."""
        return " to ".join(style.show(end, "length") for end in ends)

    past = (view.first_rest[0] - view.sensor, view.first_rest[1] - view.sensor)
    gap = view.gap
    if gap[0] >= 0.0:
        between = f"{shown(gap)} stay between them"
    else:
        between = f"the second pushes in by up to {style.show(-gap[0], 'length')}"
    rests = f"The first rests {shown(past)} past its sensor, by when it is read; {between}."
    return [rests, _held(view, style)]


def figures(context: Context, style: Style) -> Iterator[Figure]:
    """What stands on the notebook's page."""
    for data in intake_curves(context).values():
        if len(data.stages) > 1 or not data.stages[0].hooked:  # a single hooked chain has its own picture
            yield through(data, style)
        staged = hold(data, style)
        if staged is not None:
            yield staged
    yield from chained(context, style)


_STAGE = Sketch(
    "along the path, seen from the side",
    190.0,
    (
        line((20.0, 150.0), (320.0, 150.0)), disc(90.0, 74.0, 34.0), disc(240.0, 74.0, 34.0),
        disc(90.0, 126.0, 24.0, "thing"), line((120.0, 126.0), (160.0, 126.0), look="move"),
    ),
    (Length("to_next", (90.0, 24.0), (240.0, 24.0), "above"), Length("climb", (280.0, 150.0), (280.0, 150.0), "below")),
)  # fmt: skip
_ROLLERS = Sketch(
    "along the path, seen from the side; dashed: pressed in",
    200.0,
    (
        line((20.0, 180.0), (320.0, 180.0)), disc(140.0, 74.0, 50.0), disc(140.0, 146.0, 34.0, "thing"),
        line((90.0, 112.0), (190.0, 112.0), look="dashed"),
    ),
    (
        Length("diameter", (206.0, 24.0), (206.0, 124.0), "right"),
        Length("squeeze", (80.0, 112.0), (80.0, 124.0), "left"),
        Length("press", (140.0, 112.0), (140.0, 112.0), "above"),
    ),
)  # fmt: skip
_HOLD = Sketch(
    "along the path, objects come from the left",
    190.0,
    (
        line((16.0, 130.0), (330.0, 130.0)), disc(220.0, 106.0, 24.0, "thing"), disc(110.0, 106.0, 24.0, "thing"),
        line((244.0, 60.0), (244.0, 130.0), look="dashed"), line((100.0, 60.0), (100.0, 130.0), look="dashed"),
        line((320.0, 40.0), (320.0, 130.0)),
    ),
    (
        Length("room", (244.0, 54.0), (320.0, 54.0), "above"),
        Length("below", (100.0, 54.0), (244.0, 54.0), "above"),
        Length("handover", (190.0, 146.0), (244.0, 146.0), "below"),
        Length("spacing", (134.0, 92.0), (244.0, 92.0), "above"),
    ),
)  # fmt: skip


def sketches() -> Mapping[type, Sketch]:
    """What the lengths of an intake mean, by what the file declares."""
    return {IntakeStage: _STAGE, Rollers: _ROLLERS, Hold: _HOLD, **CHAINED}
