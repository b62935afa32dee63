"""Colour sorting: classes on the hue circle, what the sensor should face, its place, and the moment to eject."""

from __future__ import annotations

import colorsys
import dataclasses
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.axes import Chart, Row, chart, draw_rows, rows_height
from fieldworthy.drawing.frame import Axis, Limit, Line, Mark, Spot, colour_of
from fieldworthy.drawing.painting import Place, draw_spot, place
from fieldworthy.drawing.sketch import Sketch, disc, line
from fieldworthy.drawing.sketch import Span as Length
from fieldworthy.drawing.style import Style, legible, wrapped
from fieldworthy.drawing.svg import SMALL, Figure, Ink, Letters, Point, Sheet, node, number
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Outcome, first
from fieldworthy.engine.system import Section
from fieldworthy.physics.colour import colour as hue
from fieldworthy.physics.colour import sorting
from fieldworthy.physics.contact.throwing import flight_height
from fieldworthy.systems.sorter import check
from fieldworthy.systems.sorter.check import Palette, palette_of, passing_of, throw_of
from fieldworthy.systems.sorter.mechanics import backgrounds
from fieldworthy.systems.sorter.model import Background, Ejector, FlyOff, HueSensor, Sorter

_STEPS = 181  # hues and places that are tried
_NEAREST, _FARTHEST = 0.2, 2.0  # of the ejector's distance


@dataclass(frozen=True, slots=True)
class HueClass:
    """One class of objects on the hue circle.

    Attributes
    ----------
    name : Of the class
    mean, sd : Of the hue that the sensor reports [rad]
    share : Of all objects
    arcs : Start and width of what decides for it, from a threshold on towards growing hue, the widest first [rad]
    density : Of its readings over `SorterCurves.hue` [1/rad]
    colour : In which it is drawn, as ``#rrggbb``; None where its hue does not tell
    """

    name: str
    mean: float
    sd: float
    share: float
    arcs: tuple[tuple[float, float], ...]
    density: Array
    colour: str | None


@dataclass(frozen=True, slots=True)
class Facing:
    """What the sensor faces while no object is before it.

    Attributes
    ----------
    at : Its hue [rad]
    clear, wanted : Standard deviations by which the class that stands out least does so, and how many are wanted
    best, most : The best hue [rad], and what it gives
    hue, clear_at : The same for backgrounds of any hue [rad, -]
    """

    at: float
    clear: float
    wanted: float
    best: float
    most: float
    hue: Array
    clear_at: Array


@dataclass(frozen=True, slots=True)
class Ejecting:
    """When the ejector must be in place, from the moment an object's nose meets the sensor; and the errors.

    Attributes
    ----------
    decided, ready : When the sorter has decided, and when the ejector is in place at the earliest [s]
    opens, closes : When the object before has left the ejector, and when this one reaches it [s]
    aim, margin : Moment to aim at, and time by which it may be missed; negative is too late [s]
    scatter : Standard deviation of the moment [s]
    distance : From the sensor to the ejector [m]
    error : Share of all objects that are sorted wrongly
    allowed : Share that may be
    distances, errors : The same error for other places of the sensor [m, -]
    """

    decided: float
    ready: float
    opens: float
    closes: float
    aim: float
    margin: float
    scatter: float
    distance: float
    error: float
    allowed: float | None
    distances: Array
    errors: Array


@dataclass(frozen=True, slots=True)
class SorterCurves:
    """One sorter.

    Attributes
    ----------
    name : Of the mechanism
    unwanted : The class that is thrown out
    coloured : Whether its hues are those of the hexagonal circle, red at 0
    hue : Once round the circle [rad]
    classes : In the file's order
    facing : None where the file gives no background
    ejecting : None without an ejector, or where nothing passes the sensor
    """

    name: str
    unwanted: str
    coloured: bool
    hue: Array
    classes: tuple[HueClass, ...]
    facing: Facing | None
    ejecting: Ejecting | None


def sorter_curves(context: Context) -> dict[str, SorterCurves]:
    """Show every colour sorter of a robot."""
    context = context.nominal
    found = {name: spec for name, spec in context.robot.mechanisms.items() if isinstance(spec, Sorter)}
    return {name: _curves(context, name, spec) for name, spec in found.items()}


def _curves(context: Context, name: str, spec: Sorter) -> SorterCurves:
    palette, around = palette_of(spec), np.linspace(0.0, hue.TURN, _STEPS)
    facing = None if spec.background is None else _facing(name, spec, spec.background, palette)
    ejecting = None if spec.ejector is None else _ejecting(context, name, spec, spec.ejector)
    return SorterCurves(
        name, spec.unwanted, spec.circle == "hexagonal", around, _classes(spec, palette, around), facing, ejecting
    )


def _classes(spec: Sorter, palette: Palette, around: Array) -> tuple[HueClass, ...]:
    arcs = sorting.sectors(palette.means, palette.sds, palette.shares)
    return tuple(
        HueClass(
            name,
            float(palette.means[i]),
            float(palette.sds[i]),
            float(palette.shares[i]),
            tuple(arcs.of(i)),
            np.asarray(hue.wrapped_normal(around, palette.means[i], palette.sds[i])),
            spec.classes[name].colour or (_hued(float(palette.means[i])) if spec.circle == "hexagonal" else None),
        )
        for i, name in enumerate(palette.names)
    )


def _one(outcomes: Iterable[Outcome], identifier: str) -> Outcome:
    return next(outcome for outcome in outcomes if outcome.id == identifier)


def _cases(value: object, size: int) -> Array:
    return np.broadcast_to(np.asarray(value, dtype=float), (size,))


def _facing(name: str, spec: Sorter, behind: Background, palette: Palette) -> Facing:
    tried = np.concatenate([[float(behind.hue)], np.linspace(0.0, hue.TURN, _STEPS)])
    candidates = dataclasses.replace(spec, background=dataclasses.replace(behind, hue=tried))
    said = list(backgrounds(name, candidates, palette.means[:, None], palette.sds[:, None]))
    own = list(backgrounds(name, spec, palette.means, palette.sds))
    clear, best = _one(own, f"sort.background.{name}"), _one(own, f"sort.best_background.{name}")
    swept = _cases(_one(said, f"sort.background.{name}").value, tried.size)
    return Facing(
        first(hue.wrap(behind.hue)),
        first(clear.value),
        float(behind.clear),
        first(best.value),
        first(clear.because.numbers["most"][0]),
        tried[1:],
        swept[1:],
    )


def _ejecting(context: Context, name: str, spec: Sorter, ejector: Ejector | FlyOff) -> Ejecting | None:
    passing = passing_of(context, spec)
    throw = None if passing is None else throw_of(context, spec, passing)
    if throw is None:
        return None
    far, window = first(ejector.distance), throw.window
    tried = np.concatenate([[far], far * np.linspace(_NEAREST, _FARTHEST, _STEPS)])
    errors = _cases(_one(_moved(context, name, spec, ejector, tried), f"sort.error.{name}").value, tried.size)
    return Ejecting(
        first(throw.decided),
        first(window.ready),
        max(first(window.opens), 0.0),
        first(window.closes),
        first(window.aim),
        first(window.spare),
        first(ejector.scatter),
        far,
        float(errors[0]),
        None if spec.allowed_error is None else first(spec.allowed_error),
        tried[1:],
        errors[1:],
    )


def _moved(context: Context, name: str, spec: Sorter, ejector: Ejector | FlyOff, distance: Array) -> Iterable[Outcome]:
    """What the check says of sensors at other distances from the ejector, all in one batch."""
    moved = dataclasses.replace(spec, ejector=dataclasses.replace(ejector, distance=distance))
    robot = dataclasses.replace(context.robot, mechanisms={**context.robot.mechanisms, name: moved})
    return check.check(Context(robot, context.season, context))


_RING, _SWATCHES = 11.0, 72  # thickness of the ring of colours [px], and how many there are
_LINE = 17.0
_TURN = 2.0 * math.pi


def hue_circle(data: SorterCurves, style: Style) -> Figure:
    """Draw the hue circle with classes, thresholds and background."""
    notes = [line for text in _notes(data, style) for line in wrapped(text, SMALL, style.width - 24.0)]
    outer = min(0.5 * style.width - 66.0, 150.0)
    centre = (0.5 * style.width, outer + 30.0)
    sheet = Sheet(style, 2.0 * outer + 62.0 + _LINE * len(notes))
    wheel = _Wheel(sheet, centre, 0.62 * outer, outer)
    wheel.ring(data.coloured)
    most = max(float(cls.density.max()) for cls in data.classes)
    for i, cls in enumerate(data.classes):
        wheel.hill(data.hue, cls, most, i)
    for cls in data.classes:
        for start, _ in cls.arcs:
            wheel.threshold(start)
    wheel.names(data, style)
    for i, note in enumerate(notes):
        sheet.text(12.0, 2.0 * outer + 66.0 + _LINE * i, note, Letters(style.theme.ink, SMALL))
    title, alt = f"Hues that '{data.name}' tells apart", _alt(data, style)
    return Figure(title, alt, sheet.document(title, alt), _columns(data, style))


def _colour_of(cls: HueClass, turn: int, style: Style) -> str:
    """What a class looks like, dark or light enough to be read; one of the series where nobody can tell."""
    return colour_of(turn, 0, style)[0] if cls.colour is None else legible(cls.colour, style.theme.paper)


def _hued(hue: float) -> str:
    """The colour of a hue of the hexagonal circle [rad]."""
    return "#{:02x}{:02x}{:02x}".format(*(round(255 * c) for c in colorsys.hsv_to_rgb(hue / _TURN % 1.0, 0.85, 0.92)))


class _Wheel:
    """A circle on the sheet: 0° at the right, growing against the clock."""

    def __init__(self, sheet: Sheet, centre: Point, inner: float, outer: float) -> None:
        self.sheet, self.centre, self.inner, self.outer = sheet, centre, inner, outer
        self.curves: list[Array] = []

    def at(self, angle: float, radius: float) -> Point:
        """A point on the sheet [px]."""
        return (self.centre[0] + radius * math.cos(angle), self.centre[1] - radius * math.sin(angle))

    def ring(self, coloured: bool) -> None:
        """The ring of colours, or a plain one where hue is reckoned otherwise."""
        theme, step = self.sheet.style.theme, _TURN / _SWATCHES
        for i in range(_SWATCHES if coloured else 0):
            self._swatch(i * step, (i + 1.08) * step, _hued((i + 0.5) * step))
        for radius in (self.inner, self.inner - _RING):
            self.sheet.circle(self.centre, radius, Ink(theme.edge))
        for quarter in range(4):
            x, y = self.at(quarter * math.pi / 2.0, self.inner - _RING - 15.0)
            text = self.sheet.style.show(quarter * math.pi / 2.0, "angle")
            self.sheet.text(x, y + 4.0, text, Letters(theme.quiet, SMALL, "middle"))

    def _swatch(self, start: float, end: float, colour: str) -> None:
        (a, b), (c, d) = ([self.at(angle, r) for angle in (start, end)] for r in (self.inner, self.inner - _RING))
        big, small = number(self.inner), number(self.inner - _RING)
        path = (
            f"M{number(a[0])} {number(a[1])}A{big} {big} 0 0 0 {number(b[0])} {number(b[1])}"
            f"L{number(d[0])} {number(d[1])}A{small} {small} 0 0 1 {number(c[0])} {number(c[1])}Z"
        )
        self.sheet.add(node("path", d=path, fill=colour))

    def hill(self, hue: Array, cls: HueClass, most: float, turn: int) -> None:
        """The density of a class, outwards from the ring."""
        colour, dash = _colour_of(cls, turn, self.sheet.style), colour_of(turn, 0, self.sheet.style)[1]
        radius = self.inner + (self.outer - self.inner) * cls.density / most
        points = [self.at(float(h), float(r)) for h, r in zip(hue, radius, strict=True)]
        around = [self.at(float(h), self.inner) for h in hue[::-1]]
        self.sheet.path([*points, *around], Ink(fill=colour, opacity=0.22), closed=True)
        self.sheet.path(points, Ink(colour, width=2.2, dash=dash))
        self.curves.append(np.array(points))

    def threshold(self, angle: float) -> None:
        """Where one class gives way to the next."""
        ends = [self.at(angle, 0.3 * self.inner), self.at(angle, self.outer)]
        self.sheet.path(ends, Ink(self.sheet.style.theme.ink, width=1.5, dash="6 3"))
        self.curves.append(np.array(ends))

    def names(self, data: SorterCurves, style: Style) -> None:
        """Names of the classes at their hills, of thresholds and of backgrounds."""
        theme = style.theme
        marks = [(cls.mean, cls.name, _colour_of(cls, i, style), self.outer) for i, cls in enumerate(data.classes)]
        starts = [start for cls in data.classes for start, _ in cls.arcs]
        marks += [(start, style.show(start, "angle"), theme.ink, self.outer) for start in starts]
        if data.facing is not None:
            for angle, shape in ((data.facing.best, "ring"), (data.facing.at, "diamond")):
                draw_spot(self.sheet, self.at(angle, self.inner - _RING / 2.0), shape, theme.ink)
            own = data.facing.at
            marks.append((own, f"background {style.show(own, 'angle')}", theme.ink, self.inner))
            marks.append((data.facing.best, f"best {style.show(data.facing.best, 'angle')}", theme.ink, self.inner))
        for angle, text, colour, radius in marks:
            letters = Letters(colour, SMALL, bold=radius == self.outer and colour != theme.ink, halo=theme.paper)
            place(self.sheet, text, letters, self._places(angle, radius), self.curves)

    def _places(self, angle: float, radius: float) -> list[Place]:
        """Places for a text outside the circle near an angle."""
        found: list[Place] = []
        for far in (12.0, 20.0, 30.0):
            for turn in (0.0, 0.1, -0.1, 0.22, -0.22, 0.35, -0.35):
                x, y = self.at(angle + turn, radius + far)
                side = math.cos(angle + turn)
                found.append((x, y + 4.0, "start" if side > 0.35 else "end" if side < -0.35 else "middle"))
        return found


def _notes(data: SorterCurves, style: Style) -> list[str]:
    found = []
    for cls in data.classes:
        role = ", thrown out" if cls.name == data.unwanted else ""
        said = " and ".join(
            f"from {style.show(start, 'angle')} to {style.show((start + width) % _TURN, 'angle')}"
            for start, width in cls.arcs
        )
        found.append(
            f"{cls.name}{role}: reads {style.show(cls.mean, 'angle')}, give or take {style.show(cls.sd, 'angle')}; "
            f"taken for it {said or 'nowhere'}"
        )
    if data.facing is not None:
        found.append(
            f"Diamond: the background now, {data.facing.clear:.1f} standard deviations clear; "
            f"ring: the best one, {data.facing.most:.1f}"
        )
    return found


def _alt(data: SorterCurves, style: Style) -> str:
    parts = [f"{cls.name} at {style.show(cls.mean, 'angle')}" for cls in data.classes]
    behind = "" if data.facing is None else f"; the background is at {style.show(data.facing.at, 'angle')}"
    limits = ", ".join(style.show(start, "angle") for cls in data.classes for start, _ in cls.arcs)
    return f"On the hue circle {', '.join(parts)}; thresholds at {limits}{behind}."


def _columns(data: SorterCurves, style: Style) -> dict[str, Sequence[Any]]:
    def angles(name: str, values: Sequence[float]) -> tuple[str, list[float]]:
        """A column of angles with its heading."""
        return style.header(name, "angle"), [style.value(v, "angle") for v in values]

    found: dict[str, Sequence[Any]] = {"class": [cls.name for cls in data.classes]}
    rows = (("mean", "mean"), ("standard deviation", "sd"))
    found |= dict(angles(label, [getattr(cls, name) for cls in data.classes]) for label, name in rows)
    found["share"] = [cls.share for cls in data.classes]
    arcs = [(cls.name, *arc) for cls in data.classes for arc in cls.arcs]
    found["arc of class"] = [name for name, _, _ in arcs]
    found |= dict([angles("threshold", [start for _, start, _ in arcs]), angles("arc", [wide for *_, wide in arcs])])
    found |= dict([angles("hue", data.hue.tolist())])
    for cls in data.classes:
        found[f"{cls.name}: density [1/rad]"] = cls.density.tolist()
    return found


def background(data: SorterCurves, style: Style) -> Figure | None:
    """Draw how clearly the classes stand out before backgrounds of any hue."""
    facing = data.facing
    if facing is None:
        return None
    marks: list[Mark] = [
        Line(x=facing.hue, y=facing.clear_at, tone=0),
        Limit(at=facing.wanted, name="wanted"),
        *(Limit(at=cls.mean, side="x", name=cls.name, tone="quiet", dash="2 3") for cls in data.classes),
        Spot(x=facing.at, y=facing.clear, name=f"now, {facing.clear:.1f}", shape="diamond", tone=_tone(facing)),
        Spot(x=facing.best, y=facing.most, name=f"best, {style.show(facing.best, 'angle')}", shape="ring"),
    ]
    alt = (
        f"The background at {style.show(facing.at, 'angle')} stands {facing.clear:.1f} standard deviations clear of "
        f"every class, {facing.wanted:g} are wanted; {facing.most:.1f} is the most, at "
        f"{style.show(facing.best, 'angle')}."
    )
    high = 1.12 * max(facing.most, facing.wanted, facing.clear)
    what = Chart(
        title="What the colour sensor should face",
        alt=alt,
        x=Axis("Hue of the background", "angle", 0.0, _TURN),
        y=Axis("Standard deviations clear", "count", 0.0, high),
        marks=marks,
        columns={
            style.header("hue of the background", "angle"): style.value(facing.hue, "angle").tolist(),
            "standard deviations clear": facing.clear_at.tolist(),
            style.header("now: hue", "angle"): [style.value(facing.at, "angle")],
            "now: standard deviations": [facing.clear],
            style.header("best: hue", "angle"): [style.value(facing.best, "angle")],
            "best: standard deviations": [facing.most],
            "wanted": [facing.wanted],
        },
    )
    return chart(what, style)


def _tone(facing: Facing) -> str:
    return "bad" if facing.clear < facing.wanted else "good"


def sensor_place(data: SorterCurves, style: Style) -> Figure | None:
    """Draw the error end to end for other distances from the sensor to the ejector."""
    found = data.ejecting
    if found is None:
        return None
    late = found.allowed is not None and found.error > found.allowed
    now = f"now, {style.show(found.error, 'share', 2)}"
    marks: list[Mark] = [Line(x=found.distances, y=found.errors, tone=0)]
    if found.allowed is not None:
        marks.append(Limit(at=found.allowed, name=f"{style.show(found.allowed, 'share')} allowed"))
    marks.append(Spot(x=found.distance, y=found.error, name=now, shape="diamond", tone="bad" if late else "good"))
    alt = (
        f"With the sensor {style.show(found.distance, 'length')} before the ejector "
        f"{style.show(found.error, 'share', 2)} of the pieces are sorted wrongly."
    )
    top = 1.08 * max(float(found.errors.max()), found.allowed or 0.0, 1e-4)
    what = Chart(
        title="Where the colour sensor should sit",
        alt=alt,
        x=Axis("From the sensor to the ejector", "length"),
        y=Axis("Sorted wrongly", "share", 0.0, top),
        marks=marks,
        columns={
            style.header("from the sensor to the ejector", "length"): style.value(found.distances, "length").tolist(),
            style.header("sorted wrongly", "share"): style.value(found.errors, "share").tolist(),
            style.header("now: distance", "length"): [style.value(found.distance, "length")],
            style.header("now: sorted wrongly", "share"): [style.value(found.error, "share")],
        },
    )
    return chart(what, style)


def eject_window(data: SorterCurves, style: Style) -> Figure | None:
    """Draw when the ejector must be in place, and when it can be."""
    found = data.ejecting
    if found is None:
        return None
    rows = _steps(found, style)
    axis = Axis("Time from a piece at the sensor", "time", 0.0, 1.15 * max(found.closes, found.ready))
    sheet = Sheet(style, rows_height(rows, axis, style.width))
    draw_rows(sheet, 0.0, rows, axis, [Limit(at=found.closes, side="x", tone="ink", dash="6 3")])
    title = f"When '{data.name}' must eject"
    spare = "to spare about the aim" if found.margin >= 0.0 else "too late"
    alt = (
        f"The ejector is in place after {style.show(found.ready, 'time')}, the piece is there after "
        f"{style.show(found.closes, 'time')}: {style.show(abs(found.margin), 'time')} {spare}."
    )
    names = ("decided", "ready", "opens", "closes", "aim", "margin", "scatter")
    columns: dict[str, Sequence[Any]] = {
        "what": list(names),
        style.header("time", "time"): [style.value(getattr(found, name), "time") for name in names],
    }
    return Figure(title, alt, sheet.document(title, alt), columns)


def _steps(found: Ejecting, style: Style) -> list[Row]:
    def shown(si: float) -> str:
        """A time with its unit."""
        return style.show(si, "time")

    rows = [
        Row(label="Read and decide", note=shown(found.decided), bar=(0.0, found.decided), tone=0),
        Row(
            label="The ejector moves", note=shown(found.ready - found.decided), bar=(found.decided, found.ready), tone=1
        ),
    ]
    if found.opens > 0.0:
        label = "The piece before is still at the ejector"
        rows.append(Row(label=label, note=shown(found.opens), bar=(0.0, found.opens), tone="edge", hollow=True))
    if found.margin >= 0.0:
        span, text = (found.aim - found.margin, found.aim + found.margin), "To spare about the aim, to the nearer end"
        rows.append(Row(label=text, note=shown(found.margin), bar=span, tone="good", hollow=True))
        scatter = (found.aim - 1.96 * found.scatter, found.aim + 1.96 * found.scatter)
        rows.append(
            Row(label="Aim here; 95 % of tries lie within", note=shown(found.aim), at=found.aim, interval=scatter)
        )
    else:
        text = "Too late: the piece is there first (dashed line)"
        span = (found.closes, found.closes - found.margin)
        rows.append(Row(label=text, note=shown(-found.margin), bar=span, tone="bad", hollow=True))
    return rows


@dataclass(frozen=True, slots=True)
class FlightCurve:
    """The way of a piece that leaves at full speed, and what it must fly over, from the conveyor's end [m]."""

    name: str
    ahead: Array
    up: Array
    over: tuple[float, float]
    clears: bool


def flight_curves(context: Context) -> dict[str, FlightCurve]:
    """Follow the pieces that fly off the conveyors of a robot."""
    context, found = context.nominal, {}
    for name, spec in context.robot.mechanisms.items():
        passing = passing_of(context, spec) if isinstance(spec, Sorter) and isinstance(spec.ejector, FlyOff) else None
        if passing is None or not isinstance(spec, Sorter) or not isinstance(spec.ejector, FlyOff):
            continue
        at = check.flight_of(passing, spec.ejector)
        over = first(spec.ejector.over[0]), first(spec.ejector.over[1])
        x = np.linspace(0.0, 1.6 * over[0], 61)
        z = flight_height(first(passing.speed), first(at.angle), x)
        found[name] = FlightCurve(name, x, z, over, first(passing.speed) >= first(at.least))
    return found


def flight(data: FlightCurve, style: Style) -> Figure:
    """Draw the way of a piece off its conveyor over what stands there."""
    tone = "good" if data.clears else "bad"
    passes = "passes over" if data.clears else "does not pass over"
    lowest = min(0.0, data.over[1]) - 0.5 * data.over[0]
    seen = data.up >= lowest
    marks: list[Mark] = [
        Line(x=data.ahead[seen], y=data.up[seen], tone=0, name="the piece's nose"),
        Spot(x=data.over[0], y=data.over[1], name="must fly over", tone=tone),
    ]
    what = Chart(
        title=f"How a piece flies off '{data.name}'",
        alt=f"A piece that flies off '{data.name}' {passes} the point {style.show(data.over[0], 'length')} ahead and "
        f"{style.show(data.over[1], 'length')} up.",
        x=Axis("Ahead of the conveyor's end", "length", low=0.0, high=float(data.ahead[-1])),
        y=Axis("Over its end", "length"),
        marks=marks,
        columns={style.header("ahead", "length"): style.value(data.ahead[seen], "length").tolist(),
                 style.header("over its end", "length"): style.value(data.up[seen], "length").tolist()},
    )  # fmt: skip
    return chart(what, style)


def figures(context: Context, style: Style) -> Iterator[Figure]:
    """What stands on the notebook's page."""
    for data in sorter_curves(context).values():
        yield hue_circle(data, style)
    for thrown in flight_curves(context).values():
        yield flight(thrown, style)


_EJECTOR = Sketch(
    "along the path, objects come from the left",
    170.0,
    (
        line((16.0, 120.0), (330.0, 120.0)), disc(90.0, 96.0, 24.0, "thing"), line((90.0, 40.0), (90.0, 66.0),
        look="move"),
        line((250.0, 160.0), (250.0, 126.0), look="move"), line((130.0, 96.0), (180.0, 96.0), look="move"),
    ),
    (Length("distance", (90.0, 30.0), (250.0, 30.0), "above"),),
)  # fmt: skip
_SENSOR = Sketch(
    "along the path, seen from the side",
    190.0,
    (
        line((16.0, 150.0), (330.0, 150.0)), disc(160.0, 110.0, 40.0, "thing"), disc(160.0, 30.0, 8.0),
        line((156.0, 38.0), (150.0, 70.0)), line((164.0, 38.0), (170.0, 70.0)),
    ),
    (
        Length("spot", (148.0, 74.0), (172.0, 74.0), "right"),
        Length("window", (130.0, 166.0), (190.0, 166.0), "below"),
    ),
)  # fmt: skip
_FLY_OFF = Sketch(
    "seen from the side, objects come from the left",
    190.0,
    (
        line((16.0, 90.0), (180.0, 90.0)), disc(60.0, 70.0, 20.0, "thing"), line((60.0, 18.0), (60.0, 44.0),
        look="move"),
        line((180.0, 70.0), (230.0, 44.0), look="move"), line((300.0, 76.0), (300.0, 180.0)),
    ),
    (
        Length("distance", (60.0, 106.0), (180.0, 106.0), "below"),
        Length("over[0]", (180.0, 150.0), (300.0, 150.0), "below", "over, level"),
        Length("over[1]", (284.0, 90.0), (284.0, 76.0), "above", "over, up"),
    ),
)  # fmt: skip


def sketches() -> Mapping[type, Sketch]:
    """What the lengths of a sorter mean, by what the file declares."""
    return {Ejector: _EJECTOR, HueSensor: _SENSOR, FlyOff: _FLY_OFF}


def shown(context: Context, style: Style) -> Iterator[Section]:
    """How every sorter tells its classes apart."""
    makers = (("hues", hue_circle), ("background", background), ("sensor", sensor_place), ("eject", eject_window))
    for name, data in sorter_curves(context).items():
        drawn = tuple((f"{name} {what}", make(data, style)) for what, make in makers)
        yield Section(f"Sorter '{name}'", figures=drawn)
