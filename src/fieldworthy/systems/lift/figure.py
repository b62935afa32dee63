"""A lift or motor arm at a place of its stroke, beside the force that it needs along the whole of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.axes import Chart, paint
from fieldworthy.drawing.frame import Axis, Limit, Line, Mark, Spot
from fieldworthy.drawing.painting import Place, around, place
from fieldworthy.drawing.sketch import Sketch, block, disc, floor, line
from fieldworthy.drawing.sketch import Span as Length
from fieldworthy.drawing.style import Style, shortened
from fieldworthy.drawing.svg import NORMAL, SMALL, Box, Figure, Ink, Letters, Sheet
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.engine.system import Section, Slider
from fieldworthy.physics.arms.linkage import (
    Balance,
    Drive,
    arm_angle,
    cylinder_length,
    dead_points,
    passive_torque,
    pose,
)
from fieldworthy.physics.arms.linkage import Pose as Linkage
from fieldworthy.robot.model.machine import Move, Pose
from fieldworthy.systems.lift.check import Lifted, lifted
from fieldworthy.systems.lift.mechanics import height_at, polar
from fieldworthy.systems.lift.model import ArmLoad, Band, Lift, SidePoint, Swung, Target
from fieldworthy.vehicle import state
from fieldworthy.vehicle.drawing import View, block_ink, fitted, floor_line, near, paint_blocks, reach, scale_bar
from fieldworthy.vehicle.views import Block, blocks_in


@dataclass(frozen=True, slots=True)
class Carried:
    """Something on the arm, and where it goes.

    Attributes
    ----------
    name : What it is
    at : Where its middle is now: x forward, z up [m]
    path : Of its middle, from down to up [m]
    size : Length and height [m]
    round : Whether it is a ball
    """

    name: str
    at: Array
    path: Array
    size: tuple[float, float]
    round: bool


@dataclass(frozen=True, slots=True)
class Cylinder:
    """The cylinder of a lift at a place of its stroke.

    Attributes
    ----------
    fixed, arm : Its pins: x forward, z up [m]
    closed, stroke, out : Pin to pin when closed, its stroke, and how far it is out [m]
    lever : Of its force about the pivot [m]
    """

    fixed: Array
    arm: Array
    closed: float
    stroke: float
    out: float
    lever: float


@dataclass(frozen=True, slots=True)
class DeadPoint:
    """Where the cylinder has no lever at all.

    Attributes
    ----------
    share : Of the way up
    raised : Angle from where the arm's parts are placed [rad]
    """

    share: float
    raised: float


@dataclass(frozen=True, slots=True)
class LiftCurves:
    """An arm that a cylinder or motors swing up.

    Attributes
    ----------
    name : Of the mechanism
    drive : ``cylinder`` or ``motors``
    share : How far up it is, 0 down, 1 up
    raised : Angle from where its parts are placed [rad]
    ahead : Whether the arm lies ahead of its pivot
    pivot : x forward, z up [m]
    cylinder : None where motors swing it
    frame, arm : Parts that stay, and parts that swing, as they are now
    loads : What it carries
    target : The point that must come over a structure
    structure, height : That structure's name and height [m]; empty and 0 without a target
    along : Places on the way, 0 down to 1 up
    angles : How far it is raised there [rad]
    up, down : Share of its drive's force in use there; infinite at a dead point, negative where the load helps
    now : The same at `share`: up, down
    dead : Within the stroke
    """

    name: str
    drive: str
    share: float
    raised: float
    ahead: bool
    pivot: Array
    cylinder: Cylinder | None
    frame: tuple[Block, ...]
    arm: tuple[Block, ...]
    loads: tuple[Carried, ...]
    target: Carried | None
    structure: str
    height: float
    along: Array
    angles: Array
    up: Array
    down: Array
    now: tuple[float, float]
    dead: tuple[DeadPoint, ...]


def lift_curves(context: Context, share: float = 0.0) -> dict[str, LiftCurves]:
    """Lay out every arm of a robot."""
    if not 0.0 <= share <= 1.0:
        raise ValueError(f"the share of the stroke must be from 0 to 1, got {share}")
    context = context.nominal
    found = {}
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, Lift) and spec.rides in state.groups(context):
            found[name] = _by_cylinder(context, lifted(context, name, spec), share)
    return found


@dataclass(frozen=True, slots=True)
class Swing:
    """What the drive makes of the arm: as `LiftCurves` has it."""

    drive: str
    share: float
    raised: float
    cylinder: Cylinder | None
    along: Array
    angles: Array
    up: Array
    down: Array
    now: tuple[float, float]
    dead: tuple[DeadPoint, ...] = ()


def _by_cylinder(context: Context, at: Lifted, share: float) -> LiftCurves:
    order = slice(None) if at.pushes else slice(None, None, -1)
    ends = [first(at.along.extension[place]) for place in (at.low, at.high)]
    out = ends[0] + share * (ends[1] - ends[0])
    here = pose(at.rocker, out)
    raised = _wrapped(first(here.angle) - first(at.arm.axis))
    cylinder = Cylinder(
        _point(at.spec.fixed_pin), _swung(at.spec, at.spec.arm_pin, raised), first(at.rocker.closed),
        first(at.rocker.stroke), out, first(here.moment_arm),
    )  # fmt: skip
    angles = np.unwrap([first(at.turned(place)) for place in range(len(at.up))])[order]
    up, down = (np.array([first(point) for point in use])[order] for use in (at.up, at.down))
    swing = Swing("cylinder", share, raised, cylinder, np.linspace(0.0, 1.0, len(up)), angles, up, down,
                   _now(at, here, out), _dead(at, (ends[0], ends[1])))  # fmt: skip
    return laid_out(context, at.name, at.spec, swing)


def _drive_at(at: Lifted, out: float) -> Drive:
    """What the cylinder gives at one place of its stroke: the pressure falls along it."""
    drive, along = at.balance.drive, [first(point) for point in at.along.extension]

    def here(force: Array) -> float:
        """The force there, between the places at which it is known."""
        return float(np.interp(out, along, np.broadcast_to([first(f) for f in np.atleast_1d(force)], len(along))))

    return replace(drive, push=here(np.asarray(drive.push)), pull=here(np.asarray(drive.pull)))


def _now(at: Lifted, here: Linkage, out: float) -> tuple[float, float]:
    """Share of the cylinder's force in use, up and down, in one pose."""
    loads, drive = (at.arm.weights, at.arm.own), _drive_at(at, out)
    both = [Balance(here, drive, passive_torque(here, weights, at.arm.bands)) for weights in loads]
    ahead, back = max(first(b.use_out) for b in both), max(first(b.use_in) for b in both)
    return (ahead, back) if at.pushes else (back, ahead)


def _dead(at: Lifted, ends: tuple[float, float]) -> tuple[DeadPoint, ...]:
    """The dead points that the stroke reaches; beyond one of them the arm would have to turn back."""
    found = []
    for inside, included in zip(dead_points(at.rocker), (0.0, np.pi), strict=True):
        if first(inside) >= 0.0:
            angle = arm_angle(at.rocker, included)
            out = first(cylinder_length(at.rocker, angle)) - first(at.rocker.closed)
            share = (out - ends[0]) / (ends[1] - ends[0])
            found.append(DeadPoint(float(np.clip(share, 0.0, 1.0)), _wrapped(first(angle) - first(at.arm.axis))))
    return tuple(found)


def _wrapped(angle: float) -> float:
    return float(np.arctan2(np.sin(angle), np.cos(angle)))


def _point(point: SidePoint) -> Array:
    return np.array([first(c) for c in point])


def _swung(spec: Swung, point: SidePoint, raised: float | Array) -> Array:
    """Where a point of the arm is, raised so far: shape (2,) or (k, 2)."""
    radius, angle = (first(part) for part in polar(spec, point))
    outward = 1.0 if spec.side == "ahead" else -1.0
    x = first(spec.pivot[0]) + outward * radius * np.cos(angle + raised)
    return np.stack([x, height_at(spec, point, raised)], axis=-1)


def laid_out(context: Context, name: str, spec: Swung, swing: Swing) -> LiftCurves:
    """Everything of an arm in one place of its way, with what its drive makes of it."""
    nose_down = -swing.raised if spec.side == "ahead" else swing.raised
    pivot = (first(spec.pivot[0]), 0.0, first(spec.pivot[1]))
    whole = Pose(moves={spec.rides: Move(turn=nose_down, pivot=pivot, shift=None)}, carries={}, tow=None, use="stand")
    blocks = blocks_in(context, whole)
    target = None
    if spec.target is not None:
        target = _carried(spec, spec.target.structure, spec.target.point, swing, ((0.0, 0.0), False))
    structure = None if spec.target is None else context.season.structures[spec.target.structure]
    return LiftCurves(
        name, swing.drive, swing.share, swing.raised, spec.side == "ahead", _point(spec.pivot), swing.cylinder,
        tuple(b for b in blocks if b.rides != spec.rides), tuple(b for b in blocks if b.rides == spec.rides),
        tuple(_load(context, spec, load, load_name, swing) for load_name, load in spec.carries.items()), target,
        "" if spec.target is None else spec.target.structure, 0.0 if structure is None else first(structure.height),
        swing.along, swing.angles, swing.up, swing.down, swing.now, swing.dead,
    )  # fmt: skip


def _load(context: Context, spec: Swung, load: ArmLoad, name: str, swing: Swing) -> Carried:
    thing = context.season.objects[load.object]
    size = (first(thing.size[0]), first(thing.size[2]))
    label = name if load.count == 1 else f"{name} ({load.count} × {load.object})"
    return _carried(spec, label, load.position, swing, (size, thing.shape == "ball"))


def _carried(
    spec: Swung, name: str, point: SidePoint, swing: Swing, shape: tuple[tuple[float, float], bool]
) -> Carried:
    here = _swung(spec, point, swing.raised)
    return Carried(name, here, _swung(spec, point, swing.angles), shape[0], shape[1])


_HEAD, _FOOT = 40.0, 40.0  # px: above and below the drawing
_HIGHEST = 1.5  # of the drive's force; a curve beyond it is cut
_PIN = 4.5  # px
_LOWEST, _NO_LEVER = -1.0, 10.0


def lift(data: LiftCurves, style: Style) -> Figure:
    """Draw a linkage at a place of its stroke, and the share of force that it needs both ways."""
    beside = style.width >= 700.0
    wide = 0.5 * style.width if beside else style.width
    tall = float(np.clip(0.86 * wide, 260.0, 400.0))
    chart_box = Box(wide, 0.0, style.width - wide, _HEAD + tall + _FOOT) if beside else None
    below = Box(0.0, _HEAD + tall + _FOOT + 8.0, style.width, 300.0)
    sheet = Sheet(style, chart_box.bottom if chart_box else below.bottom)
    _drawing(sheet, Box(12.0, _HEAD, wide - 24.0, tall), data)
    what = _chart(data, style)
    box = chart_box or below
    sheet.text(box.x + 10.0, box.y + 20.0, what.title, Letters(style.theme.ink, NORMAL, bold=True))
    paint(sheet, Box(box.x, box.y + 26.0, box.w, box.h - 26.0), what)
    title = f"'{data.name}' {round(100.0 * data.share)} % up"
    return Figure(title, alt := _alt(data, style), sheet.document(title, alt), _columns(data, style))


def _points(data: LiftCurves) -> Iterable[Array]:
    """All that the drawing must hold at any place of the stroke, so that it stands still while the arm moves."""
    yield from (block.side for block in data.frame)
    yield data.pivot[None]
    if data.cylinder is not None:
        yield data.cylinder.fixed[None]
    yield np.array([[data.pivot[0], 0.0]])
    far = max((float(np.hypot(*(block.side - data.pivot).T).max()) for block in data.arm), default=0.0)
    lowest = min((float(block.side[:, 1].min()) for block in data.frame), default=0.0)
    outward = 1.0 if data.ahead else -1.0
    turned = np.linspace(0.0, max(float(data.angles[-1]), 0.5 * np.pi), 25)  # from level, as far as it swings
    swept = data.pivot + far * np.stack([outward * np.cos(turned), np.sin(turned)], axis=-1)
    yield np.maximum(swept, [-np.inf, lowest])
    for load in data.loads:
        yield load.path - np.array(load.size) / 2.0
        yield load.path + np.array(load.size) / 2.0
    if data.target is not None:
        yield data.target.path


def _drawing(sheet: Sheet, box: Box, data: LiftCurves) -> None:
    theme, style = sheet.style.theme, sheet.style
    low, high = reach(_points(data))
    low[1] = min(low[1], 0.0)
    view = fitted(box, low, high)
    heading = f"{data.name}: {round(100.0 * data.share)} % of its way, raised {_degrees(data.raised, style)}"
    sheet.text(box.x, 20.0, shortened(heading, NORMAL, box.w, bold=True), Letters(theme.ink, NORMAL, bold=True))
    floor_line(sheet, box.x, box.right, view.y)
    paint_blocks(sheet, view, [(block, block.side) for block in data.frame], faint=True)
    named = _structure(sheet, view, box, data)
    for part in data.arm:
        sheet.path(view(part.side).tolist(), block_ink(part, 0, style), closed=True)
    for load in data.loads:
        named.append(_draw_load(sheet, view, load))
    if data.cylinder is not None:
        named += _cylinder(sheet, view, data.cylinder)
    pivot = view.one(*data.pivot)
    sheet.circle(pivot, _PIN + 2.0, Ink(theme.ink, theme.paper, 2.4))
    sheet.circle(pivot, 1.6, Ink(fill=theme.ink))
    named.append((pivot, "pivot", theme.ink))
    marks = [_ring(at) for at, _, _ in named]
    if data.cylinder is not None:
        marks.append(view(np.stack([data.cylinder.fixed, data.cylinder.arm])))
    for at, text, colour in named:
        letters = Letters(colour, SMALL, halo=theme.paper)
        place(sheet, text, letters, _held(letters, around(at), text, box), marks)
    scale_bar(sheet, view, box.x, box.bottom + 34.0)


def _degrees(angle: float, style: Style) -> str:
    return f"{round(float(style.value(angle, 'angle')))}{style.unit('angle')}".replace("-", "−")


def _ring(at: tuple[float, float]) -> Array:
    """Points around a mark, which no name may cover."""
    turn = np.linspace(0.0, 2.0 * np.pi, 13)
    return np.stack([at[0] + 7.0 * np.cos(turn), at[1] + 7.0 * np.sin(turn)], axis=1)


def _held(letters: Letters, places: Sequence[Place], text: str, box: Box) -> list[Place]:
    return [p for p in places if replace(letters, anchor=p[2]).box(p[0], p[1], text).within(box)]


Named = tuple[tuple[float, float], str, str]


def _structure(sheet: Sheet, view: View, box: Box, data: LiftCurves) -> list[Named]:
    """The height that the arm's point must come over, and the way of that point."""
    if data.target is None:
        return []
    theme = sheet.style.theme
    level = view.one(0.0, data.height)[1]
    over = data.target.at[1] >= data.height
    colour = theme.good if over else theme.bad
    sheet.line((box.x, level), (box.right, level), Ink(theme.caution, width=1.6, dash="6 3"))
    text = f"{data.structure}, {near(data.height, sheet.style)} up"
    letters = Letters(theme.caution, SMALL, halo=theme.paper)
    tries: list[Place] = [(box.x + 2.0, level - 5.0, "start"), (box.right - 2.0, level - 5.0, "end")]
    place(sheet, text, letters, tries, [view(block.side) for block in data.arm])
    sheet.path(view(data.target.path).tolist(), Ink(theme.caution, width=1.2, dash="2 3"))
    at = view.one(*data.target.at)
    sheet.path([(at[0] - 6.0, at[1]), (at[0], at[1] - 6.0), (at[0] + 6.0, at[1]), (at[0], at[1] + 6.0)],
               Ink(theme.paper, colour, 1.2), closed=True)  # fmt: skip
    return [(at, f"{near(float(data.target.at[1]), sheet.style)} up", colour)]


def _draw_load(sheet: Sheet, view: View, load: Carried) -> Named:
    theme = sheet.style.theme
    colour = theme.series[1]
    sheet.path(view(load.path).tolist(), Ink(colour, width=1.4, dash="2 3"))
    at = view.one(*load.at)
    ink = Ink(colour, colour, 1.6, opacity=0.3)
    if load.round:
        sheet.circle(at, 0.5 * load.size[0] * view.scale, ink)
    else:
        wide, tall = (view.scale * size for size in load.size)
        sheet.rect(Box(at[0] - wide / 2.0, at[1] - tall / 2.0, wide, tall), ink)
    return at, load.name, colour


def _cylinder(sheet: Sheet, view: View, cylinder: Cylinder) -> list[Named]:
    """Barrel and rod between the two pins, in their true proportion."""
    theme = sheet.style.theme
    fixed, arm = np.array(view.one(*cylinder.fixed)), np.array(view.one(*cylinder.arm))
    length = max(cylinder.closed + cylinder.out, 1e-6)
    barrel = fixed + (arm - fixed) * min(max(cylinder.closed - 0.02, 0.0) / length, 1.0)
    sheet.line(fixed.tolist(), arm.tolist(), Ink(theme.ink, width=2.6))
    sheet.line(fixed.tolist(), barrel.tolist(), Ink(theme.ink, width=11.0))
    sheet.line(fixed.tolist(), barrel.tolist(), Ink(theme.series[2], width=8.0))
    for pin in (fixed, arm):
        sheet.circle(pin.tolist(), _PIN, Ink(theme.ink, theme.paper, 1.8))
    out = f"{near(cylinder.out, sheet.style)} of {near(cylinder.stroke, sheet.style)} out"
    middle = (fixed + barrel) / 2.0
    return [((float(middle[0]), float(middle[1])), out, theme.series[2])]


def _cut(share: Array) -> Array:
    """A share of force, cut where it grows beyond all bounds; none where a load helps at a dead point."""
    bounded = np.clip(np.where(np.isposinf(share), _HIGHEST, share), None, _HIGHEST)
    return np.where(bounded < -_NO_LEVER, np.nan, np.maximum(bounded, _LOWEST))


def _chart(data: LiftCurves, style: Style) -> Chart:
    up, down = _cut(data.up), _cut(data.down)
    now = _cut(np.array(data.now))
    motors = data.drive == "motors"
    whose, can = ("its motors'", "all they can") if motors else ("its cylinder's", "all it can")
    least = float(np.nanmin([*up, *down, 0.0]))
    most = float(np.nanmax([*up, *down, 1.0]))
    marks: list[Mark] = [
        Limit(at=1.0, name=can),
        Line(x=data.along, y=up, name="going up", tone=0),
        Line(x=data.along, y=down, name="going down", tone=1),
        Limit(at=data.share, side="x", name=f"here {_share(data.now[0])} up, {_share(data.now[1])} down",
              tone="ink", dash="2 3"),
        Spot(x=data.share, y=float(now[0]), tone=0),
        Spot(x=data.share, y=float(now[1]), tone=1, shape="square"),
    ]  # fmt: skip
    if least < -0.02:
        marks.append(Limit(at=0.0, name="below 0 its load helps", tone="quiet", dash=None))
    marks += [
        Limit(at=point.share, side="x", name=f"dead point at {style.show(point.raised, 'angle', 2)}")
        for point in data.dead
    ]
    return Chart(
        title=f"Share of {whose} force that it needs",
        alt="",
        x=Axis("Way up", "share", low=0.0, high=1.0),
        y=Axis("Force needed", "share", low=None if least < 0.0 else 0.0, high=max(1.1, 1.02 * most)),
        marks=marks,
    )


def _share(value: float) -> str:
    if not np.isfinite(value) or abs(value) > _NO_LEVER:
        return "no lever"
    return f"{round(100.0 * value)} %".replace("-", "−")


def _alt(data: LiftCurves, style: Style) -> str:
    worst = [float(way.max()) for way in (data.up, data.down)]
    told = " and ".join(
        f"{_share(max(value, 0.0))} of its {data.drive}'s force {way}"
        for value, way in zip(worst, ("up", "down"), strict=True)
    )
    dead = "".join(f" It meets a dead point {style.show(p.raised, 'angle', 2)} up." for p in data.dead)
    return (
        f"'{data.name}' {round(100.0 * data.share)} % up, raised {_degrees(data.raised, style)}; "
        f"at the worst point of its way it needs {told}.{dead}"
    )


def _columns(data: LiftCurves, style: Style) -> dict[str, Sequence[Any]]:
    columns: dict[str, Sequence[Any]] = {
        "Way up [%]": (100.0 * data.along).tolist(),
        style.header("Raised", "angle"): style.value(data.angles, "angle").tolist(),
        "Force needed up [%]": (100.0 * data.up).tolist(),
        "Force needed down [%]": (100.0 * data.down).tolist(),
    }
    for load in (*data.loads, *([] if data.target is None else [data.target])):
        columns[style.header(f"{load.name} forward", "length")] = style.value(load.path[:, 0], "length").tolist()
        columns[style.header(f"{load.name} up", "length")] = style.value(load.path[:, 1], "length").tolist()
    return columns


def figures(context: Context, style: Style) -> Iterator[Figure]:
    """What stands on the notebook's page."""
    for data in lift_curves(context, 1.0).values():
        yield lift(data, style)


_BASE = (floor(180.0), line((60.0, 180.0), (60.0, 60.0)), disc(60.0, 60.0, 5.0), block(64, 55, 190, 10))
_UP = line((60.0, 60.0), (180.0, 16.0), look="dashed")
ARM_SKETCH = Sketch(
    "seen from the left, forward to the right",
    180.0,
    (*_BASE, _UP, line((230.0, 46.0), (190.0, 22.0), look="move")),
    (
        Length("pivot", (60.0, 60.0), (60.0, 60.0), "below"),
        Length("swing", (226.0, 34.0), (226.0, 34.0), "right"),
    ),
)
"""Of an arm on a pivot, whatever swings it."""
_LIFT = Sketch(
    "seen from the left, forward to the right",
    190.0,
    (
        *_BASE, _UP, line((230.0, 46.0), (190.0, 22.0), look="move"), disc(84.0, 158.0, 5.0), disc(190.0, 66.0, 5.0),
        line((84.0, 158.0), (190.0, 66.0)),
    ),
    (
        Length("pivot", (60.0, 60.0), (60.0, 60.0), "above"),
        Length("fixed_pin", (84.0, 158.0), (84.0, 158.0), "right"),
        Length("arm_pin", (190.0, 66.0), (190.0, 66.0), "below"),
        Length("swing", (226.0, 34.0), (226.0, 34.0), "right"),
    ),
)  # fmt: skip
BAND_SKETCH = Sketch(
    "seen from the left, forward to the right",
    180.0,
    (*_BASE, line((110.0, 160.0), (200.0, 66.0), look="dashed")),
    (
        Length("fixed", (110.0, 160.0), (110.0, 160.0), "left"),
        Length("arm", (200.0, 66.0), (200.0, 66.0), "above"),
        Length("free_length", (122.0, 164.0), (212.0, 70.0), "right"),
    ),
)
LOAD_SKETCH = Sketch(
    "seen from the left, forward to the right",
    180.0,
    (*_BASE, disc(210.0, 34.0, 20.0, "thing")),
    (Length("position", (210.0, 34.0), (210.0, 34.0), "left"),),
)
TARGET_SKETCH = Sketch(
    "seen from the left, forward to the right",
    180.0,
    (*_BASE, _UP, block(270, 40, 30, 140, "thing")),
    (Length("point", (254.0, 60.0), (254.0, 60.0), "below"),),
)


def sketches() -> Mapping[type, Sketch]:
    """What the lengths of a lift mean, by what the file declares."""
    return {Lift: _LIFT, Band: BAND_SKETCH, ArmLoad: LOAD_SKETCH, Target: TARGET_SKETCH}


Curves = Callable[[Context, float], Mapping[str, LiftCurves]]


def moving(context: Context, style: Style, curves: Curves) -> Iterator[Section]:
    """Arms that a slider raises."""

    def at(name: str) -> Callable[[float], Figure]:
        return lambda share: lift(curves(context, share)[name], style)

    sliders = tuple(
        (Slider(f"lift {name}", f"'{name}', from down to up", f"Run '{name}' up", 3), at(name))
        for name in curves(context, 0.0)
    )
    if sliders:
        yield Section("Its arms", sliders=sliders)


def shown(context: Context, style: Style) -> Iterator[Section]:
    """Every lift at a place of its stroke."""
    return moving(context, style, lift_curves)
