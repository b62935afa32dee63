"""One moment of an intake at work, seen from the side and to scale: path, rollers and objects."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array
from fieldworthy.drawing.painting import Place, place
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import SMALL, Figure, Ink, Letters, Sheet
from fieldworthy.engine.context import Context
from fieldworthy.engine.system import Section, Slider
from fieldworthy.systems.intake.figure import IntakeCurves, StageView, Trace, hold, intake_curves, through

_SECONDS = 6  # that a run takes on the screen


@dataclass(frozen=True, slots=True)
class Moment:
    """One moment of an intake at work.

    Attributes
    ----------
    intake : The intake [SI]
    time : Since the first object touched the first stage; in a hold, since it reached the upper sensor [s]
    holding : Whether the staged hold is shown instead of objects passing through
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
    """Draw an intake at one moment from the side: path, rollers and objects."""
    side = _Side(data.intake, style)
    side.path()
    view = data.intake.hold
    if data.holding and view is not None:
        side.sensor(view.sensor, "sensor" if view.lower is None else "upper sensor")
        if view.lower is not None:
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
            lowest = intake.hold.sensor if intake.hold.lower is None else intake.hold.lower
            start = min(start, lowest - 1.2 * intake.length)
            end = max(end, intake.hold.sensor + intake.hold.room + 0.1 * intake.length)
        self.rollers: list[tuple[float, float, float]] = []  # middle and radius of each that is drawn [px]
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
        self.rollers.append((*centre, shown))
        self.sheet.circle(centre, shown, Ink(theme.edge, theme.block, 1.6, "4 2" if stage.hooked else None))
        # the side that touches the object moves onwards
        angle = stage.turning * time * (-1.0 if stage.hooked else 1.0)
        for spoke in (angle, angle + math.pi / 2.0):
            dx, dy = 0.8 * shown * math.cos(spoke), -0.8 * shown * math.sin(spoke)
            ends = ((centre[0] - dx, centre[1] - dy), (centre[0] + dx, centre[1] + dy))
            self.sheet.line(*ends, Ink(theme.edge, width=1.4))

    def names(self) -> None:
        """Stages beside their rollers, on none of them."""
        discs = [_disc(*roller) for roller in self.rollers]
        for stage, (x, y, radius) in zip(self.intake.stages, self.rollers, strict=True):
            far, near = radius + 6.0, 0.7 * radius + 6.0
            places: list[Place] = [(x, y - far, "middle"), (x - near, y - near, "end"), (x + near, y - near, "start")]
            places += [(x - far, y + 4.0, "end"), (x + far, y + 4.0, "start")]
            places += [(x + aside, y - far - up, "middle") for up in (14.0, 28.0) for aside in (0.0, -radius, radius)]
            text = f"{stage.name}, {self.style.show(stage.speed, 'speed')}"
            self._name(text, self.style.theme.ink, places, discs)

    def sensor(self, at: float, name: str) -> None:
        """A beam across the path, and its name below."""
        colour = self.style.theme.quiet
        low, high = self.on(at, -1.12 * self.half), self.on(at, 1.2 * self.half)
        self.sheet.line(low, high, Ink(colour, width=1.6, dash="3 2"))
        # outside the path, where no object comes: the name stays where it is from moment to moment
        x, y = low
        right = self.style.width - 4.0
        places: list[Place] = [(x + 6.0, y + 13.0, "start"), (x + 8.0, y + 27.0, "middle"), (right, y + 27.0, "end")]
        places += [(right, y + down, "end") for down in (41.0, 55.0, 69.0, 83.0)]
        taken = [self._beside(share * self.half) for share in np.linspace(-1.0, 1.0, 9)]
        lines = [np.array([self._shown(float(p.real), float(p.imag)) for p in row]) for row in taken]
        self._name(name, colour, places, lines)

    def _name(self, text: str, colour: str, places: Sequence[Place], clear_of: Sequence[Array]) -> None:
        place(self.sheet, text, Letters(colour, SMALL, halo=self.style.theme.paper), places, clear_of)

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


def _disc(x: float, y: float, radius: float) -> Array:
    """A line all over a disc, of which names keep clear."""
    turn = np.linspace(0.0, 12.0 * math.pi, 145)
    far = np.minimum(radius * turn / (10.0 * math.pi), radius)
    return np.stack([x + far * np.cos(turn), y + far * np.sin(turn)], axis=-1)


def shown(context: Context, style: Style) -> Iterator[Section]:
    """Objects on their way through every intake: at one moment, and over time."""
    for name, data in intake_curves(context).items():
        staged = hold(data, style)
        moving = Slider(f"{name} moving", "Time: objects passing through", "Run objects passing through", _SECONDS)
        held = Slider(f"{name} held", "Time: the staged hold", "Run the staged hold", _SECONDS)
        yield Section(
            f"Intake '{name}'",
            sliders=((moving, _at(data, False, style)), *(() if staged is None else ((held, _at(data, True, style)),))),
            figures=((f"{name} through", through(data, style)), (f"{name} hold", staged)),
        )


def _at(data: IntakeCurves, holding: bool, style: Style) -> Callable[[float], Figure]:
    """The intake at a share of the time in which there is something to see."""
    begin, end = Moment(data, 0.0, holding).span
    return lambda share: frame(Moment(data, begin + share * (end - begin), holding), style)
