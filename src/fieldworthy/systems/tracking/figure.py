"""The field with the route, how well the robot knows its place on it, and why not better."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.axes import Row, draw_rows, rows_height
from fieldworthy.drawing.frame import Axis, Scale, tick_step, tick_texts, ticks
from fieldworthy.drawing.painting import around, draw_spot, place
from fieldworthy.drawing.style import Style, shortened, wrapped
from fieldworthy.drawing.svg import LARGE, SMALL, Box, Figure, Ink, Letters, Point, Sheet, node
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.engine.system import Rows, Section
from fieldworthy.physics.odometry.covariance import ellipse
from fieldworthy.systems.tracking.check import SAID, Route, reach_95, route, tracked
from fieldworthy.vehicle import state

Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Oval:
    """A region in which the robot is in 95 % of runs.

    Attributes
    ----------
    major, minor : Half axes [m]
    angle : Direction of the longer one, from x towards y [rad]
    reach : Distance within which it is at the worst side, expected error included [m]
    """

    major: float
    minor: float
    angle: float
    reach: float


@dataclass(frozen=True, slots=True)
class Waypoint:
    """One place of the autonomous path.

    Attributes
    ----------
    number : From 1, in the order of the path
    place : Its name
    at : x and y [m]
    oval : Where the robot really is, about where it thinks it is
    alone : The same without finding its place anew; None where the robot does not relocate
    turned : 95 % of runs have a heading within this [rad]
    shares : Part of each source in the variance of the position, the largest first; they add up to 1
    relocates : Whether it finds its place anew here
    """

    number: int
    place: str
    at: Place
    oval: Oval
    alone: Oval | None
    turned: float
    shares: dict[str, float]
    relocates: bool

    @property
    def dominating(self) -> str | None:
        """The source with the largest part, in words; None where nothing is uncertain."""
        return next(iter(self.shares), None)


@dataclass(frozen=True, slots=True)
class Leg:
    """A straight way that the plan drives.

    Attributes
    ----------
    start, end : Places
    times : How often it is driven this way round
    period : ``autonomous``, ``driven`` or ``finish``
    """

    start: str
    end: str
    times: int
    period: str


@dataclass(frozen=True, slots=True)
class PathCurves:
    """The field with what is driven on it.

    Attributes
    ----------
    size : Length along x and width along y [m]; the middle is at 0, 0
    places : x and y of every place [m]
    start : Where the robot starts
    legs : In the order in which they are first driven
    waypoints : Of the autonomous path; empty without tracking, or where it drives nowhere by itself
    wanted : Distance within which it must know its place [m]
    """

    size: Place
    places: dict[str, Place]
    start: str
    legs: tuple[Leg, ...]
    waypoints: tuple[Waypoint, ...]
    wanted: float | None

    @property
    def worst(self) -> Waypoint | None:
        """The waypoint where it knows its place least."""
        return max(self.waypoints, key=lambda w: w.oval.reach, default=None)


def path_curves(context: Context) -> PathCurves | None:
    """Lay the plan out on the field, with the error at every place of the autonomous path."""
    context = context.nominal
    plan, field = context.robot.plan, context.season.field
    if plan is None:
        return None
    places = {name: (first(x), first(y)) for name, (x, y) in field.places.items()}
    tracking = context.robot.tracking
    way = route(context) if tracking is not None else None
    found = () if way is None else tuple(_waypoints(context, way, places))
    size = (first(field.size[0]), first(field.size[1]))
    wanted = None if tracking is None else first(tracking.wanted)
    return PathCurves(size, places, plan.start, _legs(context), found, wanted)


def _legs(context: Context) -> tuple[Leg, ...]:
    driven = Counter((b.came_from, b.place, b.period) for b in state.schedule(context) if b.distance > 0.0)
    return tuple(Leg(a, b, times, period) for (a, b, period), times in driven.items())


def _waypoints(context: Context, way: Route, places: dict[str, Place]) -> list[Waypoint]:
    spec = context.robot.tracking
    assert spec is not None, "asked for with tracking only"
    found = tracked(context, way)
    fixed = {item.at for item in spec.relocations}
    alone = tracked(context, way, relocate=False) if fixed & set(way.names) else None
    heading = np.sqrt(np.maximum(found.total[:, 5], 0.0))
    ovals = _ovals(found.total, reach_95(found)[0])
    without = [None] * len(ovals) if alone is None else _ovals(alone.total, reach_95(alone)[0])
    parts = np.maximum(found.position_variance(), 0.0)
    return [
        Waypoint(
            i + 1,
            name,
            places[name],
            ovals[i],
            without[i],
            float(1.96 * heading[i]),
            _shares(found.sources, parts[:, i]),
            name in fixed,
        )
        for i, name in enumerate(way.names)
    ]


def _ovals(total: Array, reach: Array) -> list[Oval]:
    shape = ellipse(total)
    return [
        Oval(float(a), float(b), float(angle), float(r))
        for a, b, angle, r in zip(shape.major, shape.minor, shape.angle, reach, strict=True)
    ]


def _shares(sources: tuple[str, ...], variances: Array) -> dict[str, float]:
    whole = float(variances.sum())
    order = np.argsort(-variances, kind="stable")
    return {SAID[sources[i]]: float(variances[i]) / whole for i in order if variances[i] > 0.0}


_MOST_WAYPOINTS = 12
_MOST_SOURCES = 5
_NEAR = 8  # of the places around a point, those beside it
_LINES = 2  # below an enlarged ellipse, of what makes it large
_CELL = 150.0  # width that an enlarged ellipse wants [px]
_PAPER, _SHARE = (600.0, 700.0), 0.6  # widths of figures across paper [px], and the plan's part of it
_BESIDE = 6  # enlarged ellipses that find room beside the plan


def route_plan(data: PathCurves, style: Style) -> Figure:
    """Draw the field plan with the autonomous route, and the driven ways behind it."""
    cells = _cells(data)
    # on paper the enlarged ellipses stand beside the plan: below it they would make it small
    beside = _PAPER[0] <= style.width < _PAPER[1] and 0 < len(cells) <= _BESIDE
    plan = _Plan(data, replace(style, width=_SHARE * style.width) if beside else style)
    left, room = (plan.box.right + 18.0, style.width - plan.box.right - 26.0) if beside else (8.0, style.width - 16.0)
    columns = 2 if beside else max(int(room // _CELL), 2)
    rows = math.ceil(len(cells) / columns)
    wide = room / columns
    high = wide + 66.0
    head, top = 46.0 if cells else 0.0, 0.0 if beside else plan.bottom
    sheet = Sheet(style, max(plan.bottom, top + head + rows * high) + 6.0)
    plan.draw(sheet)
    if cells:
        _cells_head(sheet, (left + 4.0, top), data)
        reach = 1.12 * max(max(w.oval.reach, w.alone.reach if w.alone else 0.0) for w in cells)
        scale = (wide - 24.0) / 2.0 / max(reach, data.wanted or 0.0, 1e-6)
        for i, waypoint in enumerate(cells):
            corner = (left + wide * (i % columns), top + head + high * (i // columns))
            _cell(sheet, Box(*corner, wide, high), waypoint, (scale, data.wanted))
    title = "The route, and how well the robot knows its place on it"
    alt = _alt(data, style)
    return Figure(title, alt, sheet.document(title, alt), _columns(data, style))


def _cells(data: PathCurves) -> list[Waypoint]:
    """The waypoints that are enlarged: all, or those where it knows its place least."""
    worst = sorted(data.waypoints, key=lambda w: -w.oval.reach)[:_MOST_WAYPOINTS]
    return sorted(worst, key=lambda w: w.number)


class _Plan:
    """The field from above: x to the right, y upwards."""

    def __init__(self, data: PathCurves, style: Style) -> None:
        self.data, self.style = data, style
        length, across = data.size
        reach = [abs(c) for at in data.places.values() for c in at]
        half = (max(length / 2.0, 1e-3), max(across / 2.0, 1e-3))
        left, right = 46.0, style.width - 14.0
        wide = right - left
        high = min(wide * half[1] / half[0], 1.1 * style.width)
        if high < wide * half[1] / half[0]:
            wide = high * half[0] / half[1]
            left, right = left + 0.5 * (right - left - wide), right - 0.5 * (right - left - wide)
        self.box = Box(left, 22.0, wide, high)
        shown = [float(style.value(h, "length")) for h in half]
        self.x = Scale(style, "length", -shown[0], shown[0], left, right)
        self.y = Scale(style, "length", -shown[1], shown[1], self.box.bottom, self.box.y)
        self.scale = wide / length
        self.bottom = self.box.bottom + 36.0
        self.outside = max(reach, default=0.0) > max(half)

    def at(self, point: Sequence[float]) -> Point:
        """A place on the sheet, kept on it where the file puts one off the field [px]."""
        x, y = float(self.x(point[0])), float(self.y(point[1]))
        return (float(np.clip(x, 6.0, self.style.width - 6.0)), float(np.clip(y, 6.0, self.bottom - 6.0)))

    def draw(self, sheet: Sheet) -> None:
        """Field, ways, places and waypoints."""
        self._field(sheet)
        trails = [self._leg(sheet, leg) for leg in self.data.legs if leg.period != "autonomous"]
        trails += [self._leg(sheet, leg) for leg in self.data.legs if leg.period == "autonomous"]
        for waypoint in self.data.waypoints:
            self._oval(sheet, waypoint)
        self._places(sheet, trails)
        if {leg.period for leg in self.data.legs} - {"autonomous"}:
            text = "solid: by itself; dashed: driven"
            sheet.text(self.box.x, self.box.bottom + 31.0, text, Letters(self.style.theme.quiet, SMALL))

    def _field(self, sheet: Sheet) -> None:
        theme, box = self.style.theme, self.box
        sheet.rect(box, Ink(theme.edge, theme.block, 1.6, opacity=0.5))
        for scale, upright in ((self.x, True), (self.y, False)):
            step = tick_step(scale.high - scale.low, max(int(box.w / 62.0), 3))
            values = ticks(scale.low, scale.high, step)
            for text, at in zip(tick_texts(values, step), scale.shown(values).tolist(), strict=True):
                ends = ((at, box.y), (at, box.bottom)) if upright else ((box.x, at), (box.right, at))
                sheet.path(ends, Ink(theme.grid))
                if upright:
                    sheet.text(at, box.bottom + 15.0, text, Letters(theme.quiet, SMALL, "middle"))
                else:
                    sheet.text(box.x - 6.0, at + 4.0, text, Letters(theme.quiet, SMALL, "end"))
        sheet.text(box.x, 15.0, self.style.header("y", "length"), Letters(theme.quiet, SMALL))
        sheet.text(box.right, box.bottom + 30.0, self.style.header("x", "length"), Letters(theme.quiet, SMALL, "end"))

    def _leg(self, sheet: Sheet, leg: Leg) -> Array:
        """An arrow; thin and dashed for what is driven by hand, with how often."""
        theme = self.style.theme
        a, b = (np.array(self.at(self.data.places[name])) for name in (leg.start, leg.end))
        far = float(np.hypot(*(b - a)))
        if far < 14.0:
            return np.array([a, b])
        along = (b - a) / far
        aside = np.array([-along[1], along[0]]) * 3.5  # so that there and back lie beside each other
        start, end = a + along * 7.0 + aside, b - along * 8.0 + aside
        own = leg.period == "autonomous"
        ink = Ink(theme.series[0] if own else theme.quiet, width=2.6 if own else 1.2, dash=None if own else "5 3")
        sheet.arrow(start.tolist(), end.tolist(), ink, 11.0 if own else 8.0)
        return np.array([start, end])

    def _oval(self, sheet: Sheet, waypoint: Waypoint) -> None:
        colour = _verdict_colour(self.style, waypoint, self.data.wanted)
        _ellipse(sheet, self.at(waypoint.at), waypoint.oval, self.scale, Ink(colour, colour, 1.4, opacity=0.25))

    def _places(self, sheet: Sheet, trails: Sequence[Array]) -> None:
        """Names of the places; those of the autonomous path first, with their numbers."""
        theme = self.style.theme
        numbers: dict[str, list[int]] = {}
        for waypoint in self.data.waypoints:
            numbers.setdefault(waypoint.place, []).append(waypoint.number)
        used = {name for leg in self.data.legs for name in (leg.start, leg.end)}
        order = sorted(self.data.places, key=lambda n: (n not in numbers, n != self.data.start, n not in used))
        for name in order:
            shape = "square" if name == self.data.start else "ring"
            colour = theme.ink if name in used else theme.quiet
            draw_spot(sheet, self.at(self.data.places[name]), shape, colour)
        for name in order:
            at = self.at(self.data.places[name])
            label = f"{', '.join(map(str, numbers[name]))} {name}" if name in numbers else name
            label = f"start: {label}" if name == self.data.start else label
            colour = theme.ink if name in used else theme.quiet
            letters = Letters(colour, SMALL, bold=name in numbers, halo=theme.paper)
            text = shortened(label, SMALL, 0.5 * self.style.width)
            spots = [spot for spot in around(at) if 4.0 < spot[1] < self.bottom]
            # better over a way than far from its place
            if not place(sheet, text, letters, spots[:_NEAR], trails):
                place(sheet, text, letters, spots[_NEAR:], trails)


def _verdict_colour(style: Style, waypoint: Waypoint, wanted: float | None) -> str:
    """The colour of what is short, of what holds, or of what nothing is asked of."""
    theme = style.theme
    if wanted is None:
        return theme.quiet
    return theme.bad if waypoint.oval.reach > wanted else theme.good


def _ellipse(sheet: Sheet, at: Point, oval: Oval, scale: float, ink: Ink) -> None:
    """An ellipse; y upwards on the field is downwards on the sheet."""
    turn = f"rotate({-math.degrees(oval.angle):.2f} {at[0]:.2f} {at[1]:.2f})"
    size = {"cx": at[0], "cy": at[1], "rx": max(scale * oval.major, 0.5), "ry": max(scale * oval.minor, 0.5)}
    sheet.add(node("ellipse", transform=turn, **size, **ink.attributes()))


def _cells_head(sheet: Sheet, at: Point, data: PathCurves) -> None:
    theme, (left, top) = sheet.style.theme, at
    sheet.text(left, top + 16.0, "Where it is, in 95 % of runs", Letters(theme.ink, LARGE, bold=True))
    says = ["dashed: wanted"] if data.wanted is not None else []
    if any(waypoint.alone is not None for waypoint in data.waypoints):
        says.append("dotted: without relocation")
    if says:
        sheet.text(left, top + 34.0, "; ".join(says), Letters(theme.quiet, SMALL))


def _cell(sheet: Sheet, box: Box, waypoint: Waypoint, scaled: tuple[float, float | None]) -> None:
    """One waypoint's ellipse enlarged, with its reach and the source that dominates."""
    theme, (scale, wanted) = sheet.style.theme, scaled
    centre = (box.x + box.w / 2.0, box.y + 8.0 + box.w / 2.0)
    for dx, dy in ((1.0, 0.0), (0.0, 1.0)):
        reach = box.w / 2.0 - 8.0
        ends = ((centre[0] - reach * dx, centre[1] - reach * dy), (centre[0] + reach * dx, centre[1] + reach * dy))
        sheet.line(*ends, Ink(theme.grid))
    short = wanted is not None and waypoint.oval.reach > wanted
    colour = _verdict_colour(sheet.style, waypoint, wanted)
    _ellipse(sheet, centre, waypoint.oval, scale, Ink(colour, colour, 1.8, opacity=0.22))
    if waypoint.alone is not None:
        _ellipse(sheet, centre, waypoint.alone, scale, Ink(theme.ink, width=1.3, dash="1.5 3"))
    if wanted is not None:
        sheet.circle(centre, scale * wanted, Ink(theme.ink, width=1.3, dash="6 3"))
    reach_text = sheet.style.show(waypoint.oval.reach, "length")
    said = f"{reach_text}, too far off" if short else f"{reach_text}"
    source = waypoint.dominating or "nothing is uncertain"
    share = f", {sheet.style.show(waypoint.shares[source], 'share', 2)}" if waypoint.dominating else ""
    lines = [(f"{waypoint.number} {waypoint.place}", True), (said, False)]
    told = wrapped(f"{source}{share}", SMALL, box.w - 6.0)
    if len(told) > _LINES:  # rather no share than half of it
        told = wrapped(source, SMALL, box.w - 6.0)
    lines += [(line, False) for line in told[:_LINES]]
    for i, (line, bold) in enumerate(lines):
        text = shortened(line, SMALL, box.w - 4.0, bold)
        letters = Letters(colour if i == 1 else theme.ink, SMALL, "middle", bold=bold)
        sheet.text(centre[0], box.y + box.w + 12.0 + 14.5 * i, text, letters)


def _alt(data: PathCurves, style: Style) -> str:
    worst = data.worst
    legs = sum(leg.times for leg in data.legs)
    if worst is None:
        return f"The plan drives {legs} legs over the field from {data.start}."
    source = f", mostly from {worst.dominating}" if worst.dominating else ""
    wanted = "" if data.wanted is None else f" where {style.show(data.wanted, 'length')} are wanted"
    return (
        f"The plan drives {legs} legs over the field from {data.start}; it knows its place least at {worst.place}, "
        f"within {style.show(worst.oval.reach, 'length')}{wanted}{source}."
    )


def _columns(data: PathCurves, style: Style) -> dict[str, Sequence[Any]]:
    def lengths(name: str, values: Sequence[float | None]) -> tuple[str, list[float | str]]:
        """A column of lengths with its heading; empty where there is none."""
        shown = ["" if v is None else float(style.value(v, "length")) for v in values]
        return style.header(name, "length"), shown

    points = data.waypoints
    found: dict[str, Sequence[Any]] = {"waypoint": [w.place for w in points]}
    rows: list[tuple[str, list[float | None]]] = [
        ("x", [w.at[0] for w in points]),
        ("y", [w.at[1] for w in points]),
        ("longer half axis", [w.oval.major for w in points]),
        ("shorter half axis", [w.oval.minor for w in points]),
        ("within, 95 % of runs", [w.oval.reach for w in points]),
        ("without relocation, within", [None if w.alone is None else w.alone.reach for w in points]),
    ]
    found |= dict(lengths(*row) for row in rows)
    found[style.header("direction of the longer axis", "angle")] = [style.value(w.oval.angle, "angle") for w in points]
    found[style.header("heading within", "angle")] = [style.value(w.turned, "angle") for w in points]
    found["dominating source"] = [w.dominating or "" for w in points]
    for name, values in (("start", "start"), ("end", "end"), ("times", "times"), ("period", "period")):
        found[f"leg: {name}"] = [getattr(leg, values) for leg in data.legs]
    return found


def sources(data: PathCurves, style: Style) -> Figure | None:
    """Draw what the error at each waypoint comes from."""
    points = [waypoint for waypoint in _cells(data) if waypoint.shares]
    if not points:
        return None
    rows = []
    for waypoint in points:
        reach = style.show(waypoint.oval.reach, "length")
        rows.append(Row(label=f"{waypoint.number} {waypoint.place}", note=f"within {reach}", heading=True))
        shown = list(waypoint.shares.items())[:_MOST_SOURCES]
        rows += [Row(label=name, note=style.show(s, "share", 2), bar=(0.0, s)) for name, s in shown]
    axis = Axis("Share of the position's variance", "share", 0.0, 1.0)
    sheet = Sheet(style, rows_height(rows, axis, style.width))
    draw_rows(sheet, 0.0, rows, axis)
    title = "Why the robot does not know its place better"
    first = max(points, key=lambda w: w.oval.reach)
    share = style.show(first.shares[first.dominating or ""], "share", 2)
    alt = f"At {first.place}, {first.dominating} makes {share} of the error's variance, the most of all sources."
    names = list(dict.fromkeys(name for waypoint in points for name in waypoint.shares))
    columns: dict[str, Sequence[Any]] = {"source": names}
    for waypoint in points:
        key = f"{waypoint.number} {waypoint.place}: share of variance [%]"
        columns[key] = [100.0 * waypoint.shares.get(name, 0.0) for name in names]
    return Figure(title, alt, sheet.document(title, alt), columns)


def figures(context: Context, style: Style) -> Iterator[Figure]:
    """What stands on the notebook's page."""
    data = path_curves(context)
    if data is not None:
        yield route_plan(data, style)


_UNTRACKED = "The robot does not say how it tracks its place, or drives nowhere by itself: no ellipses."


def shown(context: Context, style: Style) -> Iterator[Section]:
    """The route with the error at every place of the autonomous path, and where that comes from."""
    data = path_curves(context)
    if data is None:
        return
    heads = ("Place", f"Error, 95 % [{style.unit('length')}]", "Most of it from")
    rows = tuple(
        (f"{w.number} {w.place}", f"{float(style.value(w.oval.reach, 'length')):.3g}", _most(w)) for w in data.waypoints
    )
    yield Section(
        figures=(("route", route_plan(data, style)), ("sources of error", sources(data, style))),
        table=Rows("Where the robot knows its place least", heads, (), rows) if rows else None,
        note="" if rows else _UNTRACKED,
    )


def _most(waypoint: Waypoint) -> str:
    name = waypoint.dominating
    return "–" if name is None else f"{name} ({100 * waypoint.shares[name]:.0f} % of it)"
