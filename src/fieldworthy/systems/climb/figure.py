"""The robot on its bar: as it leaves the floor, and as it hangs, with the forces that hold it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.painting import Place, around, place
from fieldworthy.drawing.sketch import Sketch, block, disc, floor, line
from fieldworthy.drawing.sketch import Span as Length
from fieldworthy.drawing.style import Style, shortened
from fieldworthy.drawing.svg import NORMAL, SMALL, Box, Figure, Ink, Letters, Sheet
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.engine.system import Section
from fieldworthy.physics.statics.hanging import turned
from fieldworthy.robot.model.machine import Pose
from fieldworthy.systems.climb.mechanics import Hung, drawn_down, hung, lifting_force, lowest
from fieldworthy.systems.climb.model import Climber, MotorLift, Rest
from fieldworthy.vehicle.drawing import View, fitted, floor_line, gravity_mark, near, paint_blocks, reach, scale_bar
from fieldworthy.vehicle.views import Block, Wheel, blocks_in, wheels_of


@dataclass(frozen=True, slots=True)
class Push:
    """A force on the robot at one of its contacts.

    Attributes
    ----------
    name : Of the contact
    at : x from the bar, z over the floor [m]
    force : Forward and up, on the robot [N]
    """

    name: str
    at: Array
    force: Array

    @property
    def size(self) -> float:
        """How hard [N]."""
        return float(np.hypot(*self.force))


@dataclass(frozen=True, slots=True)
class Attitude:
    """The robot at one moment of the climb; x runs forward from the bar, z up from the floor.

    Attributes
    ----------
    name : Of the moment
    attitude : Positive nose down [rad]
    blocks : The parts' corners, in the order of `HangingCurves.parts` [m]
    wheels : Middles of the drive wheels [m]
    cg : Centre of gravity [m]
    pushes : Contacts in compression; the weight itself is not among them
    lowest : Height of its lowest point [m]
    """

    name: str
    attitude: float
    blocks: tuple[Array, ...]
    wheels: tuple[Array, ...]
    cg: Array
    pushes: tuple[Push, ...]
    lowest: float


@dataclass(frozen=True, slots=True)
class HangingCurves:
    """A climber's robot leaving the floor and hanging.

    Attributes
    ----------
    name, structure : Of the climber, and of the bar
    bar : Height at which the hooks take it [m]
    diameter : Of the bar [m]
    parts : What the corners in `leaving` and `hanging` belong to
    wheel : Diameter of the drive wheels [m]
    weight : Of the robot [N]
    leaving, hanging : As its last wheels leave the floor, and drawn up all the way
    wall : Where the face is that it leans on, forward from the bar [m]; None without a rest
    face : ``behind`` or ``ahead``, where the face is seen from the robot
    resting : Whether its rest is pressed on
    clearance : Wanted under its lowest point [m]
    rises : Whether it pulls hard enough to get there
    """

    name: str
    structure: str
    bar: float
    diameter: float | None
    parts: tuple[Block, ...]
    wheel: float
    weight: float
    leaving: Attitude
    hanging: Attitude
    wall: float | None
    face: str
    resting: bool
    clearance: float
    rises: bool


def hanging_curves(context: Context) -> dict[str, HangingCurves]:
    """Hang the robot on every bar that it climbs."""
    context = context.nominal
    robot = context.robot
    specs = {name: spec for name, spec in robot.mechanisms.items() if isinstance(spec, Climber) and robot.parts}
    return {name: _curves(context, hung(context, name, spec)) for name, spec in specs.items()}


def _curves(context: Context, at: Hung) -> HangingCurves:
    spec = at.spec
    structure, wheels = context.season.structures[spec.structure], wheels_of(context.robot)
    parts, resting = blocks_in(context, drawn_down(context, spec)), at.resting()
    wall = None if spec.rest is None or resting is None or not at.reaches() else first(at.wall.ahead)
    needed = first(at.ramp.force.max(axis=0))
    return HangingCurves(
        at.name, spec.structure, first(at.bar), None if structure.diameter is None else first(structure.diameter),
        parts, max(w.diameter for w in wheels), first(at.weight), _leaving(context, at), _hanging(context, at, parts),
        wall, "behind" if at.wall.side > 0.0 else "ahead",
        resting is not None and first(resting.rest_force) > 0.0, first(spec.clearance),
        first(lifting_force(context, spec).hook_force) >= needed,
    )  # fmt: skip


def _placed(points: Array, held: Array, attitude: float, bar: float) -> Array:
    """Points of the side view at an attitude, shape (k, 2), with the held point on the bar."""
    return np.asarray(turned(points.T, held, attitude).T + np.array([0.0, bar]))


def _laid_out(context: Context, pose: Pose, held: Array, tilt: tuple[float, float]) -> tuple[tuple[Array, ...], ...]:
    """Corners of the parts and middles of the wheels, the held point at a height and the robot at an attitude."""
    attitude, height = tilt
    blocks = tuple(_placed(part.side, held, attitude, height) for part in blocks_in(context, pose))
    rims = [np.array([[w.x, w.diameter / 2.0]]) for w in wheels_of(context.robot) if w.diameter > 0.0]
    return blocks, tuple(_placed(rim, held, attitude, height)[0] for rim in rims)


def _leaving(context: Context, at: Hung) -> Attitude:
    """As the last wheels leave the floor, the hooks drawn down as far as that takes."""
    spec, way = at.spec, at.way()
    attitude, left = first(way.leaving), first(at.travel - way.drawn)
    hook = np.array([first(at.hook[0]), first(at.hook[1]) + left])
    cg = np.array([[first(at.cg[0]), first(at.cg[1])]])
    pose, wheels = drawn_down(context, spec, way.drawn), wheels_of(context.robot)
    down = _stands(hook, wheels, attitude)
    blocks, rims = _laid_out(context, pose, hook, (attitude, -down))
    pushes = _pushes(at, attitude, left, -down)
    floor = min(float(block[:, 1].min()) for block in blocks)
    return Attitude("leaving the floor", attitude, blocks, rims, _placed(cg, hook, attitude, -down)[0], pushes,
                    min(floor, 0.0))  # fmt: skip


def _stands(hook: Array, wheels: tuple[Wheel, ...], attitude: float) -> float:
    """Height of the floor seen from the hook while the last wheels still touch it [m]."""
    touching = np.array([[w.x, 0.0] for w in wheels])
    return float(turned(touching.T, hook, attitude)[1].min())


def _pushes(at: Hung, attitude: float, left: float, bar: float) -> tuple[Push, ...]:
    """Hooks and rest while it hangs, some of the hooks' travel left, the bar at a height."""
    resting, rest = at.resting(left=left), at.spec.rest
    if resting is None or rest is None or first(resting.rest_force) <= 0.0:
        return (Push("hooks", np.array([0.0, bar]), np.array([0.0, first(at.weight)])),)
    level, hook = first(at.wall.side * resting.rest_force), np.array([first(at.hook[0]), first(at.hook[1]) + left])
    place = _placed(np.array([[first(c) for c in rest.position]]), hook, attitude, bar)[0]
    return (Push("hooks", np.array([0.0, bar]), np.array([-level, first(at.weight)])),
            Push("rest", place, np.array([level, 0.0])))  # fmt: skip


def _hanging(context: Context, at: Hung, parts: tuple[Block, ...]) -> Attitude:
    attitude, bar = first(at.attitude()), first(at.bar)
    hook = np.array([first(c) for c in at.hook])
    cg = _placed(np.array([[first(c) for c in at.cg]]), hook, attitude, bar)[0]
    pushes = _pushes(at, attitude, 0.0, bar)
    blocks, rims = _laid_out(context, drawn_down(context, at.spec), hook, (attitude, bar))
    assert len(blocks) == len(parts)
    return Attitude("hanging", attitude, blocks, rims, cg, pushes, first(lowest(context, at)))


_HEAD, _FOOT = 84.0, 62.0  # px: above a view and below it
_TALLEST, _ON_PAPER = 430.0, 225.0  # of a view; two beside each other on paper have letters that can be read
_ARROW = 74.0  # px: of a force as large as the weight
_MARGIN = 0.07  # m around everything


def hanging(data: HangingCurves, style: Style) -> Figure:
    """Draw a robot on its bar, leaving the floor and hanging."""
    moments = (data.leaving, data.hanging)
    low, high = reach(point for moment in moments for point in _points(data, moment))
    low, high = low - _MARGIN, high + _MARGIN
    low[1] = min(low[1] + _MARGIN, 0.0)
    across = 1 if style.width < 560.0 else 2
    wide = style.width / across - 24.0
    tallest = _ON_PAPER if across == 2 and style.width < 700.0 else _TALLEST
    scale = float(min(wide / (high[0] - low[0]), tallest / (high[1] - low[1])))
    tall = (high[1] - low[1]) * scale
    sheet = Sheet(style, (_HEAD + tall + _FOOT) * (2 / across) + 30.0)
    for i, moment in enumerate(moments):
        top = _HEAD + (i * (tall + _FOOT + _HEAD) if across == 1 else 0.0)
        left = 12.0 + (i * style.width / 2.0 if across == 2 else 0.0)
        box = Box(left, top, wide, tall)
        _moment(sheet, fitted(box, low, high, scale), box, data, moment)
    scale_bar(sheet, View(0.0, 0.0, scale), 14.0, sheet.height - 12.0)
    title = f"On the {data.structure} with '{data.name}'"
    return Figure(title, alt := _alt(data, style), sheet.document(title, alt), _columns(data, style))


def _points(data: HangingCurves, moment: Attitude) -> Iterable[Array]:
    yield from moment.blocks
    yield np.array([[0.0, moment.pushes[0].at[1] + 0.5 * (data.diameter or 0.03)], [0.0, 0.0], moment.cg])
    if data.wall is not None and moment is data.hanging:
        yield np.array([[data.wall, 0.0]])


_LEVEL = 0.05  # degrees that one decimal does not show


def _way(attitude: float, style: Style) -> str:
    turned = float(style.value(abs(attitude), "angle"))
    if turned < _LEVEL:
        return "level"
    return f"{turned:.{0 if turned >= 9.95 else 1}f}° nose {'down' if attitude >= 0.0 else 'up'}"


def _moment(sheet: Sheet, view: View, box: Box, data: HangingCurves, moment: Attitude) -> None:
    theme, style = sheet.style.theme, sheet.style
    last = moment is data.hanging
    heading = "Hanging" if last else "As it leaves the floor"
    sheet.text(box.x, box.y - 64.0, f"{heading}: {_way(moment.attitude, style)}",
               Letters(theme.ink, NORMAL, bold=True))  # fmt: skip
    floor_line(sheet, box.x, box.right, view.y)
    if data.wall is not None and last:
        _wall(sheet, view, data)
    _bar(sheet, view, data, moment)
    blocks = [(replace(p, tank=False), corners) for p, corners in zip(data.parts, moment.blocks, strict=True)]
    paint_blocks(sheet, view, blocks)
    for rim in moment.wheels:
        sheet.circle(view.one(*rim), 0.5 * data.wheel * view.scale, Ink(theme.edge, theme.paper, 2.0, opacity=0.6))
    _forces(sheet, view, box, data, moment)
    if last:
        _lowest(sheet, view, box, data)
    for i, (text, tone) in enumerate(_words(data, moment, style)):
        short = shortened(text, SMALL, box.w)
        sheet.text(box.x, box.bottom + 24.0 + 15.0 * i, short, Letters(getattr(theme, tone), SMALL))


def _bar(sheet: Sheet, view: View, data: HangingCurves, moment: Attitude) -> None:
    """The bar, its top where the hooks take it."""
    theme, radius = sheet.style.theme, 0.5 * (data.diameter or 0.03)
    at = view.one(0.0, float(moment.pushes[0].at[1]) - radius)
    sheet.circle(at, radius * view.scale, Ink(theme.ink, theme.caution, 1.6, opacity=0.35))


def _wall(sheet: Sheet, view: View, data: HangingCurves) -> None:
    """The upright face that the rest leans on, hatched on the far side."""
    theme, wall = sheet.style.theme, data.wall or 0.0
    x, _ = view.one(wall, 0.0)
    top, side = view.one(0.0, data.bar)[1], -1.0 if data.face == "behind" else 1.0
    for y in np.arange(top + 8.0, view.y, 12.0).tolist():
        sheet.line((x, y), (x + 6.0 * side, y - 5.0), Ink(theme.edge, width=0.8))
    sheet.line((x, top), (x, view.y), Ink(theme.edge, width=2.0))


def _forces(sheet: Sheet, view: View, box: Box, data: HangingCurves, moment: Attitude) -> None:
    theme, style = sheet.style.theme, sheet.style
    cg = view.one(*moment.cg)
    weight = style.show(data.weight, "force")
    down = (cg[0], cg[1] + _ARROW)
    named: list[tuple[tuple[float, float], str, str]] = [(down, f"weight {weight}", theme.ink)]
    trails = [np.array([cg, down])]
    sheet.arrow(cg, down, Ink(theme.ink, width=2.4), 10.0)
    for push in moment.pushes:
        start, end = _arrow(view, data.weight, push)
        sheet.arrow(start, end, Ink(theme.good, width=2.6), 10.0)
        trails.append(np.array([start, end]))
        tail = end if push.name == "hooks" else start
        named.append((tail, f"{push.name} {style.show(push.size, 'force')}", theme.good))
    gravity_mark(sheet, cg)
    outer = Box(box.x, box.y - 54.0, box.w, box.h + 54.0)
    for at, text, colour in named:
        letters = Letters(colour, SMALL, bold=True, halo=theme.paper)
        place(sheet, text, letters, _held(letters, around(at), text, outer), trails)


def _arrow(view: View, weight: float, push: Push) -> tuple[tuple[float, float], tuple[float, float]]:
    """Start and end of a force's arrow: it pulls away from the hooks, and presses on the rest."""
    along = np.array([push.force[0], -push.force[1]]) / weight * _ARROW
    at = np.array(view.one(*push.at))
    start, end = (at, at + along) if push.name == "hooks" else (at - along, at)
    return (float(start[0]), float(start[1])), (float(end[0]), float(end[1]))


def _held(letters: Letters, places: Sequence[Place], text: str, outer: Box) -> list[Place]:
    return [p for p in places if replace(letters, anchor=p[2]).box(p[0], p[1], text).within(outer)]


def _lowest(sheet: Sheet, view: View, box: Box, data: HangingCurves) -> None:
    """A level line at the lowest point, measured from the floor, and the clearance that is wanted."""
    theme, height = sheet.style.theme, data.hanging.lowest
    good = height >= data.clearance
    colour = theme.good if good else theme.bad
    y = view.one(0.0, max(height, 0.0))[1]
    x = box.right - 10.0
    sheet.line((box.x, y), (box.right, y), Ink(colour, width=1.4, dash="6 3"))
    if view.y - y > 16.0:
        for a, b in ((view.y - 1.0, y), (y, view.y - 1.0)):
            sheet.arrow((x, (a + b) / 2.0), (x, b), Ink(colour, width=1.4), 6.0)
    if data.clearance > 0.0:
        level = view.one(0.0, data.clearance)[1]
        sheet.line((box.x, level), (box.right, level), Ink(theme.caution, width=1.2, dash="2 3"))
    text = f"{near(height, sheet.style)} clear"
    letters = Letters(colour, SMALL, "end", bold=True, halo=theme.paper)
    tries: list[Place] = [(x - 6.0, y - 5.0, "end"), (box.x + 2.0, y - 5.0, "start"), (x - 6.0, y + 14.0, "end")]
    place(sheet, text, letters, tries, [])


def _words(data: HangingCurves, moment: Attitude, style: Style) -> list[tuple[str, str]]:
    """What a reader should see in the view, in lines that fit half a page, and their colours."""
    if moment is data.leaving:
        able = (
            ("its lift pulls hard enough", "good") if data.rises else ("its lift pulls too little to get here", "bad")
        )
        pressed = any(push.name == "rest" for push in moment.pushes)
        then = (
            "its rest is on the face already" if pressed else "it swings until its centre of gravity is below the bar"
        )
        return [able, (then, "quiet")]
    wanted = (f"{near(data.clearance, style)} clear are wanted below it", "quiet")
    if data.wall is None:
        return [("it hangs free and swings", "caution"), wanted]
    if data.resting:
        return [("its rest stays pressed on the face", "good"), wanted]
    return [("its rest lifts off the face and it swings", "bad"), wanted]


def _alt(data: HangingCurves, style: Style) -> str:
    rest = [push for push in data.hanging.pushes if push.name == "rest"]
    leans = f", its rest pressed on with {style.show(rest[0].size, 'force')}" if rest else ", swinging free"
    able = "" if data.rises else "; its lift does not pull hard enough to get there"
    return (
        f"The robot on the {data.structure}: it leaves the floor {_way(data.leaving.attitude, style)} and hangs "
        f"{_way(data.hanging.attitude, style)}{leans}, its lowest point {near(data.hanging.lowest, style)} above the "
        f"floor{able}. Nobody stands or reaches beneath it."
    )


def _columns(data: HangingCurves, style: Style) -> dict[str, Sequence[Any]]:
    moments = (data.leaving, data.hanging)
    rows = [(moment, push) for moment in moments for push in moment.pushes]
    return {
        "Moment": [moment.name for moment in moments],
        style.header("Nose down", "angle"): [style.value(moment.attitude, "angle") for moment in moments],
        style.header("Lowest point", "length"): [style.value(moment.lowest, "length") for moment in moments],
        "Force at": [f"{push.name}, {moment.name}" for moment, push in rows],
        style.header("Forward", "force"): [style.value(float(push.force[0]), "force") for _, push in rows],
        style.header("Up", "force"): [style.value(float(push.force[1]), "force") for _, push in rows],
    }


def figures(context: Context, style: Style) -> Iterator[Figure]:
    """What stands on the notebook's page."""
    for data in hanging_curves(context).values():
        yield hanging(data, style)


_CLIMBER = Sketch(
    "seen from the left, forward to the right",
    200.0,
    (
        floor(180.0), block(80, 90, 150, 70), disc(104.0, 168.0, 12.0), disc(206.0, 168.0, 12.0),
        line((140.0, 90.0), (140.0, 30.0), (156.0, 24.0), (168.0, 40.0)), disc(156.0, 42.0, 9.0, "thing"),
        line((260.0, 150.0), (260.0, 100.0), look="move"),
    ),
    (
        Length("hook", (156.0, 32.0), (156.0, 32.0), "right"),
        Length("clearance", (280.0, 180.0), (280.0, 160.0), "above"),
    ),
)  # fmt: skip
_DRUM = Sketch(
    "seen from the side",
    190.0,
    (
        disc(120.0, 140.0, 26.0), disc(120.0, 140.0, 4.0, "line"),
        line((146.0, 140.0), (146.0, 30.0), (162.0, 24.0), (172.0, 38.0)),
        line((190.0, 40.0), (190.0, 110.0), look="move"),
    ),
    (
        Length("drum_radius", (120.0, 140.0), (101.0, 159.0), "left"),
        Length("travel", (210.0, 30.0), (210.0, 112.0), "right"),
    ),
)  # fmt: skip
_REST = Sketch(
    "hanging, seen from the left, forward to the right",
    200.0,
    (
        disc(220.0, 30.0, 9.0, "thing"), line((120.0, 14.0), (120.0, 190.0)), block(134, 90, 120, 80),
        line((220.0, 90.0), (220.0, 40.0)), line((134.0, 130.0), (120.0, 130.0)),
    ),
    (
        Length("position", (134.0, 130.0), (134.0, 130.0), "right"),
        Length("ahead", (220.0, 60.0), (120.0, 60.0), "above"),
    ),
)  # fmt: skip


def sketches() -> Mapping[type, Sketch]:
    """What the lengths of a climber mean, by what the file declares."""
    return {Climber: _CLIMBER, MotorLift: _DRUM, Rest: _REST}


def shown(context: Context, style: Style) -> Iterator[Section]:
    """The robot on every bar that it climbs."""
    drawn = tuple((f"hanging {name}", hanging(data, style)) for name, data in hanging_curves(context).items())
    if drawn:
        yield Section("On the bar", figures=drawn)
