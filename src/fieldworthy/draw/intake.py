"""Objects on their way through an intake: over time, at one moment from the side, and where a staged hold ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fieldworthy.checks.curves.intake import HoldView, IntakeCurves, Meeting, StageView, Trace
from fieldworthy.draw.axes import Chart, paint
from fieldworthy.draw.axesframe import legend_rows
from fieldworthy.draw.axeslabels import Place, around, place
from fieldworthy.draw.axesmarks import Band, Limit, Line, Mark, Points, Span, Spot
from fieldworthy.draw.axesscale import Axis
from fieldworthy.draw.figure import Figure
from fieldworthy.draw.lettering import wrapped
from fieldworthy.draw.style import Array, Style
from fieldworthy.draw.svg import SMALL, Box, Ink, Letters, Sheet

_NOTE = 16.0  # from line to line [px]


def through(data: IntakeCurves, style: Style) -> Figure:
    """Draw objects on their way through the stages over time.

    Parameters
    ----------
    data : IntakeCurves
        One intake [SI].
    style : Style
        How it is to look [-].

    Returns
    -------
    Figure
        Each object from nose to tail, the stretch of each stage, and what happens where stages meet [-].
    """
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
        title=f"{data.object} after {data.object} through '{data.name}'",
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
    for i, line in enumerate(lines):
        sheet.text(12.0, high + 14.0 + _NOTE * i, line, Letters(style.theme.ink, SMALL))
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
    """Draw the two objects of a staged hold over time, to where they come to rest.

    Parameters
    ----------
    data : IntakeCurves
        One intake [SI].
    style : Style
        How it is to look [-].

    Returns
    -------
    Figure or None
        None where the intake holds nothing [-].
    """
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
        Limit(at=view.sensor, name="upper sensor", tone="ink", dash=None),
        Limit(at=view.lower, name="lower sensor", tone="ink", dash=None),
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


@dataclass(frozen=True, slots=True)
class Moment:
    """One moment of an intake at work.

    Attributes
    ----------
    intake : IntakeCurves
        The intake [SI].
    time : float
        Since the first object touched the first stage; in a hold, since it reached the upper sensor [s].
    holding : bool
        Whether the staged hold is shown instead of objects passing through.
    """

    intake: IntakeCurves
    time: float
    holding: bool = False

    @property
    def span(self) -> tuple[float, float]:
        """First and last moment that there is something to see [s]."""
        view = self.intake.hold
        if self.holding and view is not None:
            return float(view.first.time[0]), max(float(view.first.time[-1]), float(view.second.time[-1]))
        return 0.0, self.intake.duration

    @property
    def noses(self) -> list[float | None]:
        """Nose of each object along the path [m]; None for one that is not there."""
        view = self.intake.hold
        if self.holding and view is not None:
            return [_at_rest(trace, self.time) for trace in (view.first, view.second)]
        return [trace.at(self.time) for trace in self.intake.traces]


def _at_rest(trace: Trace, time: float) -> float | None:
    """The nose, which stays where it has come to rest."""
    return float(trace.place[-1]) if time > trace.time[-1] else trace.at(time)


def frame(data: Moment, style: Style) -> Figure:
    """Draw an intake at one moment from the side: path, rollers and objects.

    Parameters
    ----------
    data : Moment
        The moment [SI].
    style : Style
        How it is to look [-].

    Returns
    -------
    Figure
        Objects come in from the left; all moments of an intake are drawn to the same scale [-].
    """
    side = _Side(data.intake, style)
    side.path()
    view = data.intake.hold
    if data.holding and view is not None:
        side.sensor(view.sensor, "upper sensor")
        side.sensor(view.lower, "lower sensor")
    for i, nose in enumerate(data.noses):
        if nose is not None:
            side.thing(nose, i)
    for stage in data.intake.stages:
        side.stage(stage, data.time)
    side.names()
    moment = style.show(data.time, "time")
    side.sheet.text(12.0, 18.0, moment, Letters(style.theme.ink, bold=True))
    title = f"'{data.intake.name}' at {moment}"
    seen = [i for i, nose in enumerate(data.noses) if nose is not None]
    alt = f"{title}: {len(seen)} of {len(data.noses)} objects are on their way."
    columns: dict[str, Sequence[Any]] = {
        "object": [i + 1 for i in seen],
        style.header("nose", "length"): [style.value(data.noses[i] or 0.0, "length") for i in seen],
    }
    return Figure(title, alt, side.sheet.document(title, alt), columns)


class _Side:
    """The path seen from the side, to scale.

    Places count along the middle of the objects; where the slope changes the path bends over an object's length.
    """

    def __init__(self, intake: IntakeCurves, style: Style) -> None:
        self.intake, self.style = intake, style
        start, end = -1.6 * intake.length, intake.stages[-1].grip + 1.25 * intake.length
        if intake.hold is not None:
            start = min(start, intake.hold.lower - 1.2 * intake.length)
            end = max(end, intake.hold.sensor + intake.hold.room + 0.1 * intake.length)
        self.places = np.linspace(start, end, 241)
        self.slopes = self._slopes()
        steps = np.diff(self.places, prepend=self.places[0])
        self.middle = np.cumsum(steps * np.exp(1j * self.slopes))
        self.half = intake.height / 2.0
        reach = self.half + max(2.0 * stage.radius for stage in intake.stages)
        edges = np.concatenate([self._beside(-self.half), self._beside(reach)])
        left, low = float(edges.real.min()), float(edges.imag.min())
        wide, high = float(np.ptp(edges.real)), float(np.ptp(edges.imag))
        self.scale = min((style.width - 24.0) / wide, 0.7 * style.width / high)
        self.sheet = Sheet(style, self.scale * high + 60.0)
        self.origin = (
            0.5 * (style.width - self.scale * wide) - self.scale * left,
            self.sheet.height - 24.0 + self.scale * low,
        )

    def _slopes(self) -> Array:
        """Slope along the path: level before the first grip."""
        slope, before = np.zeros(self.places.size), 0.0
        for stage in self.intake.stages:
            share = np.clip((self.places - stage.grip) / self.intake.length + 0.5, 0.0, 1.0)
            slope += (stage.climb - before) * share
            before = stage.climb
        return slope

    def _beside(self, above: float) -> npt.NDArray[np.complex128]:
        return np.asarray(self.middle + above * 1j * np.exp(1j * self.slopes))

    def slope(self, place: float) -> float:
        """Slope of the path at a place along it [rad]."""
        return float(np.interp(place, self.places, self.slopes))

    def on(self, place: float, above: float = 0.0) -> tuple[float, float]:
        """Point on the sheet, so far above the middle of an object [px]."""
        x, z = (float(np.interp(place, self.places, part)) for part in (self.middle.real, self.middle.imag))
        slope = self.slope(place)
        return self._shown(x - above * math.sin(slope), z + above * math.cos(slope))

    def _shown(self, x: float, z: float) -> tuple[float, float]:
        return (self.origin[0] + self.scale * x, self.origin[1] - self.scale * z)

    def path(self) -> None:
        """The guide along which objects run."""
        points = [self._shown(float(p.real), float(p.imag)) for p in self._beside(-self.half)]
        self.sheet.path(points, Ink(self.style.theme.ink, width=2.4))

    def stage(self, stage: StageView, time: float) -> None:
        """A roller with spokes that turn, or a sprocket below the path."""
        theme, radius = self.style.theme, stage.radius
        high = -self.half - radius if stage.hooked else self.half - stage.squeeze + radius
        centre, shown = self.on(stage.grip, high), self.scale * radius
        self.sheet.circle(centre, shown, Ink(theme.edge, theme.block, 1.6, "4 2" if stage.hooked else None))
        # the side that touches the object moves onwards
        angle = stage.turning * time * (-1.0 if stage.hooked else 1.0)
        for spoke in (angle, angle + math.pi / 2.0):
            dx, dy = 0.8 * shown * math.cos(spoke), -0.8 * shown * math.sin(spoke)
            ends = ((centre[0] - dx, centre[1] - dy), (centre[0] + dx, centre[1] + dy))
            self.sheet.line(*ends, Ink(theme.edge, width=1.4))

    def names(self) -> None:
        """Stages beside their rollers."""
        for stage in self.intake.stages:
            text = f"{stage.name}, {self.style.show(stage.speed, 'speed')}"
            x, y = self.on(stage.grip, self.half + 2.0 * stage.radius)
            self._name(text, self.style.theme.ink, [(x, y - 5.0, "middle"), *around((x, y - 4.0))])

    def sensor(self, at: float, name: str) -> None:
        """A beam across the path, and its name below."""
        colour = self.style.theme.bad
        low, high = self.on(at, -1.12 * self.half), self.on(at, 1.2 * self.half)
        self.sheet.line(low, high, Ink(colour, width=1.6, dash="3 2"))
        # outside the path, where no object comes: the name stays where it is from moment to moment
        x, y = low
        right = self.style.width - 4.0
        self._name(
            name, colour, [(x + 6.0, y + 13.0, "start"), (x + 8.0, y + 27.0, "middle"), (right, y + 27.0, "end")]
        )

    def _name(self, text: str, colour: str, places: Sequence[Place]) -> None:
        place(self.sheet, text, Letters(colour, SMALL, halo=self.style.theme.paper), places, [])

    def thing(self, nose: float, turn: int) -> None:
        """One object with its number."""
        theme, intake = self.style.theme, self.intake
        colour = theme.series[turn % len(theme.series)]
        middle = nose - intake.length / 2.0
        centre, ink = self.on(middle), Ink(colour, theme.paper, 2.2)
        if intake.ball:
            self.sheet.circle(centre, self.scale * self.half, ink)
        else:
            along, up = 0.5 * self.scale * intake.length, self.scale * self.half
            c, s = math.cos(self.slope(middle)), math.sin(self.slope(middle))
            corners = [(a * along, b * up) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
            points = [(centre[0] + a * c - b * s, centre[1] - a * s - b * c) for a, b in corners]
            self.sheet.path(points, ink, closed=True)
        self.sheet.text(centre[0], centre[1] + 4.0, str(turn + 1), Letters(colour, anchor="middle", bold=True))
