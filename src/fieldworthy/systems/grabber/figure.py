"""Grabbers: the hook behind the lip, the force it takes there, and what the robot gives before it slips or tips."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.axes import Chart, paint
from fieldworthy.drawing.frame import Axis, Bars, Limit, Line, Mark
from fieldworthy.drawing.painting import Place, around, place
from fieldworthy.drawing.sketch import Sketch, block, disc, floor, line
from fieldworthy.drawing.sketch import Span as Length
from fieldworthy.drawing.style import Style, shortened
from fieldworthy.drawing.svg import NORMAL, SMALL, Box, Figure, Ink, Letters, Sheet
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.physics.contact.grabber import Given
from fieldworthy.physics.statics.support import STANDARD_GRAVITY
from fieldworthy.robot.model.season import GameObject
from fieldworthy.systems.grabber.check import asked_and_given, direction, force_at, tip_of
from fieldworthy.systems.grabber.model import CylinderArm, Grabber, Lip
from fieldworthy.vehicle.drawing import View, fitted, floor_line, gravity_mark, paint_blocks, reach, scale_bar
from fieldworthy.vehicle.supply import lowest_after, use_of
from fieldworthy.vehicle.views import Block, Wheel, blocks_in, wheels_of

_MOST = 6.0  # times what is asked; a longer bar would hide the shorter ones
_POINTS = 60
_VERB = {"pull": "drags", "tip": "tips", "right": "sets upright"}
_SOURCE = {"arm": "its arm gives", "drive": "its motors push", "turning": "its turning gives"}


@dataclass(frozen=True, slots=True)
class Pressed:
    """What air makes of the hook, from an empty tank to a full one.

    Attributes
    ----------
    lifts : Whether the air lifts the object; else it presses the hook down, and the drive pulls
    gauge, force : Gauge pressures, and the force at the lip that each gives or holds [Pa, N]
    left : Lowest gauge pressure that the plan leaves it [Pa]
    """

    lifts: bool
    gauge: Array
    force: Array
    left: float


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing that a grabber does, from the side; x runs forward from the robot's origin, z up from the floor.

    Attributes
    ----------
    name : The grabber, and what it does where it does several things
    does : ``pull``, ``tip`` or ``right``
    by : Where the force comes from: ``arm``, ``drive`` or ``turning``
    object : What it takes hold of
    asked : Force at the lip that it takes; infinite where none does it [N]
    given, by_drive, by_grip, by_tipping : The least of what arm or drive gives, and of the forces at which the wheels
        slip and the robot itself tips; then each of them [N]
    blocks, wheels : The robot
    pivot, tip : The arm's pivot, and the hook's tip with the arm down [m]
    lip : Upper edge of what it reaches behind [m]
    depth : Free depth behind it [m]
    outline : Opposite corners of the object as it stands or lies, shape (2, 2) [m]
    cg, weight : Its centre of gravity [m], and its weight [N]
    along : Direction in which the force acts on the object; 0, 0 where it acts across the view [-]
    air : None for motors, or where the file gives a measured force
    """

    name: str
    does: str
    by: str
    object: str
    asked: float
    given: float
    by_drive: float
    by_grip: float
    by_tipping: float
    blocks: tuple[Block, ...]
    wheels: tuple[Wheel, ...]
    pivot: Array
    tip: Array
    lip: Array
    depth: float
    outline: Array
    cg: Array
    weight: float
    along: Array
    air: Pressed | None


def deeds(context: Context) -> list[Deed]:
    """Look at everything that the grabbers of a robot do."""
    context = context.nominal
    found = []
    for name, mechanism in context.robot.mechanisms.items():
        for label, spec in mechanism.alone(name).items() if isinstance(mechanism, Grabber) else ():
            forces = asked_and_given(context, spec)
            if forces is not None:
                found.append(_deed(context, label, spec, forces))
    return found


def _deed(context: Context, name: str, spec: Grabber, forces: tuple[Array, Given]) -> Deed:
    asked, given = forces
    kind = context.season.objects[spec.object]
    tip = np.array([first(each) for each in tip_of(spec)])
    lip = np.array([tip[0], first(spec.lip.height)])
    outline, height = _outline(spec, kind)
    middle = np.array([lip[0] + first(spec.lip.near), 0.0])
    rise = direction(spec)
    along = np.zeros(2) if rise is None else np.array([np.cos(first(rise)), np.sin(first(rise))])
    blocks = blocks_in(context, context.robot.poses[spec.pose])
    return Deed(
        name, str(spec.does), spec.by, spec.object, first(asked), first(given.force), first(given.by_drive),
        first(given.by_grip), first(given.by_tipping), blocks, wheels_of(context.robot),
        np.array([first(each) for each in spec.pivot]), tip, lip, first(spec.lip.depth), outline + middle,
        middle + np.array([0.0, height]), first(kind.mass) * STANDARD_GRAVITY, along, _pressed(context, spec),
    )  # fmt: skip


def _outline(spec: Grabber, kind: GameObject) -> tuple[Array, float]:
    """Corners of the object about the point below its centre of gravity, and the height of that centre."""
    length, tall = first(kind.size[0]), first(kind.size[2])
    up = 0.5 * tall if kind.cg_height is None else first(kind.cg_height)
    if spec.does == "right":  # it lies with its top towards the robot
        half = 0.5 * length if spec.half_base is None else first(spec.half_base)
        return np.array([[up - tall, 0.0], [up, length]]), half
    return np.array([[-0.5 * length, 0.0], [0.5 * length, tall]]), up


def _pressed(context: Context, spec: Grabber) -> Pressed | None:
    """Follow the hook's force from an empty tank to a full one."""
    if not isinstance(spec.arm, CylinderArm) or (spec.by != "arm" and spec.force is not None):
        return None
    use = use_of(context, spec.arm.cylinder)
    gauge = np.linspace(0.0, first(use.circuit.p_charge) - first(use.p_atm), _POINTS)
    force = np.broadcast_to(np.asarray(force_at(context, spec, gauge), dtype=float), gauge.shape)
    left = first(lowest_after(context, spec.arm.cylinder).gauge)
    return Pressed(spec.by == "arm", gauge, force, left) if np.all(np.isfinite(force)) else None


_HEAD, _FOOT = 34.0, 38.0  # px: above the drawing and below it
_TALL, _LOW = 250.0, 190.0  # px: of the drawing, above the bars and beside them
_BARS, _BELOW = 190.0, 215.0  # px: of the bars, of the chart over pressure
_ARROW = 62.0  # px
_PIN = 4.5  # px
_MARGIN = 0.04  # m around everything


def grabbed(data: Deed, style: Style) -> Figure:
    """Draw the hook behind the lip, and what it takes beside what the robot gives."""
    beside = style.width >= 600.0
    wide = (0.5 if beside else 1.0) * style.width
    drawing = Box(8.0, _HEAD, wide - 16.0, _LOW if beside else _TALL)
    low = drawing.bottom + _FOOT
    bars = Box(wide, 26.0, style.width - wide, low - 26.0) if beside else Box(0.0, low + 26.0, style.width, _BARS)
    below = max(low, bars.bottom) + 26.0
    sheet = Sheet(style, below + _BELOW if data.air is not None else max(low, bars.bottom))
    _drawing(sheet, drawing, data)
    charts = [(bars, _forces(data, style))]
    if data.air is not None:
        charts.append((Box(0.0, below, style.width, _BELOW), _over_pressure(data, data.air, style)))
    for box, what in charts:
        letters = Letters(style.theme.ink, NORMAL, bold=True)
        sheet.text(box.x + 10.0, box.y - 6.0, shortened(what.title, NORMAL, box.w - 12.0, bold=True), letters)
        paint(sheet, box, what)
    title = f"'{data.name}' {_VERB[data.does]} the {data.object}"
    return Figure(title, alt := _alt(data, style), sheet.document(title, alt), _columns(data, style))


def _drawing(sheet: Sheet, box: Box, data: Deed) -> None:
    theme = sheet.style.theme
    ends = np.array([[data.outline[0, 0], 0.0], data.outline[1], data.pivot, data.tip])
    low, high = reach([ends, *(block.side for block in data.blocks)])
    low, high = low - _MARGIN, high + _MARGIN
    low[1] = 0.0
    view = fitted(box, low, high)
    heading = f"{data.name}: its hook behind the lip"
    sheet.text(box.x + 2.0, 20.0, shortened(heading, NORMAL, box.w, bold=True), Letters(theme.ink, NORMAL, bold=True))
    floor_line(sheet, box.x, box.right, view.y)
    paint_blocks(sheet, view, [(block, block.side) for block in data.blocks], faint=True)
    for wheel in data.wheels:
        at = view.one(wheel.x, 0.5 * wheel.diameter)
        sheet.circle(at, 0.5 * wheel.diameter * view.scale, Ink(theme.grid, width=1.2))
    corners = view(data.outline)
    wide, tall = np.abs(corners[1] - corners[0]).tolist()
    colour = theme.series[1]
    sheet.rect(
        Box(float(corners[:, 0].min()), float(corners[:, 1].min()), wide, tall), Ink(colour, colour, 1.6, opacity=0.22)
    )
    named = [*_hook(sheet, view, data), *_arrows(sheet, view, data)]
    gravity_mark(sheet, view.one(*data.cg), 6.0)
    trails = [view(np.stack([data.pivot, data.tip])), *_shafts(view, data)]
    for at, text, tone in named:
        letters = Letters(tone, SMALL, bold=True, halo=theme.paper)
        place(sheet, text, letters, _held(letters, around(at), text, box), trails)
    name = Letters(colour, SMALL, "middle", halo=theme.paper)
    top = (float(corners[:, 0].mean()), float(corners[:, 1].min()) - 6.0)
    words = f"{data.object}, {sheet.style.show(data.weight, 'force')}"
    place(sheet, words, name, _held(name, [(*top, "middle"), *around(top)], words, box), trails)
    scale_bar(sheet, view, box.x + 2.0, box.bottom + 26.0)
    if data.by == "turning":
        note = "it turns on the spot: across this view"
        sheet.text(box.right, box.bottom + 26.0, note, Letters(theme.quiet, SMALL, "end"))


Named = tuple[tuple[float, float], str, str]


def _hook(sheet: Sheet, view: View, data: Deed) -> list[Named]:
    """The lip, and the arm from its pivot to the hook's tip."""
    theme = sheet.style.theme
    lip, behind = view.one(*data.lip), view.one(data.lip[0], data.lip[1] - data.depth)
    sheet.line(lip, behind, Ink(theme.caution, width=4.0))
    pivot, tip = np.array(view.one(*data.pivot)), np.array(view.one(*data.tip))
    knee = np.array([tip[0] + 5.0, min(lip[1] - 6.0, tip[1])])  # over the lip, then down behind it
    sheet.path([pivot.tolist(), knee.tolist(), (tip[0] + 5.0, tip[1])], Ink(theme.series[0], width=4.5))
    sheet.circle(pivot.tolist(), _PIN, Ink(theme.ink, theme.paper, 2.0))
    return [((float(pivot[0]), float(pivot[1])), "pivot", theme.ink)]


def _shafts(view: View, data: Deed) -> tuple[Array, Array]:
    """Both ends of the arrows of the object's weight and of the force that it takes [px]."""
    cg, lip = np.array(view.one(*data.cg)), np.array(view.one(*data.lip))
    along = np.array([data.along[0], -data.along[1]])
    return np.stack([cg, cg + np.array([0.0, 0.7 * _ARROW])]), np.stack([lip, lip + _ARROW * along])


def _arrows(sheet: Sheet, view: View, data: Deed) -> list[Named]:
    """The force that it takes at the lip, and the object's weight."""
    theme, style = sheet.style.theme, sheet.style
    enough = data.given >= data.asked
    colour = theme.good if enough else theme.bad
    (cg, down), (lip, end) = (each.tolist() for each in _shafts(view, data))
    takes = f"takes {style.show(data.asked, 'force')}" if np.isfinite(data.asked) else "no force does it"
    sheet.arrow(cg, down, Ink(theme.ink, width=2.2), 9.0)
    if data.along.any():
        sheet.arrow(lip, end, Ink(colour, width=2.8), 10.0)
    else:  # towards the reader
        sheet.circle(lip, 7.0, Ink(colour, theme.paper, 2.0))
        sheet.circle(lip, 2.0, Ink(fill=colour))
    return [((end[0], end[1]), takes, colour)]


def _held(letters: Letters, places: Sequence[Place], text: str, outer: Box) -> list[Place]:
    room = Box(outer.x, outer.y - 10.0, outer.w, outer.h + 10.0)
    return [p for p in places if replace(letters, anchor=p[2]).box(p[0], p[1], text).within(room)]


def _rows(data: Deed) -> list[tuple[str, float]]:
    """What it takes, then what there is of it, each with its words."""
    own = "it tips over itself"
    return [("it takes", data.asked), (_SOURCE[data.by], data.by_drive), ("its wheels slip", data.by_grip),
            (own, data.by_tipping)]  # fmt: skip


def _forces(data: Deed, style: Style) -> Chart:
    """What it takes at the lip beside what the robot gives before it slips or tips."""
    rows = _rows(data)
    finite = [force for _, force in rows if np.isfinite(force)]
    least = min(data.given, data.asked)
    most = max(min(max(finite, default=1.0), _MOST * least), 1e-3) if np.isfinite(least) else max(finite, default=1.0)
    labels = []
    for _, force in rows:
        text = style.show(force, "force") if np.isfinite(force) else "never"
        labels.append(text + (" (cut)" if np.isfinite(force) and force > most * (1.0 + 1e-9) else ""))
    enough = [force >= data.asked for _, force in rows[1:]]
    marks: list[Mark] = [
        Bars(at=list(range(len(rows))), value=[min(force, most) for _, force in rows], lying=True, labels=labels,
             tone=["edge", *("good" if able else "bad" for able in enough)]),
    ]  # fmt: skip
    if np.isfinite(data.asked):
        marks.append(Limit(at=min(data.asked, most), side="x", tone="ink", dash="2 3"))
    return Chart(
        title="Force at the lip", alt="", marks=marks,
        x=Axis("Force at the lip", "force", low=0.0, high=1.3 * most),
        y=Axis("", names=tuple(name for name, _ in rows)),
    )  # fmt: skip


def _over_pressure(data: Deed, air: Pressed, style: Style) -> Chart:
    """What the hook's air gives or holds, over the pressure in its tank."""
    asked, left = style.show(data.asked, "force"), style.show(air.left, "pressure")
    marks: list[Mark] = [
        Line(x=air.gauge, y=air.force, tone=0),
        Limit(at=air.left, side="x", name=f"{left} left", tone="ink", dash="2 3"),
    ]
    top = float(air.force.max())
    if np.isfinite(data.asked):
        top = max(top, data.asked)
        marks.insert(1, Limit(at=data.asked, name=f"it takes {asked}"))
    return Chart(
        title=_air_title(air), alt="", marks=marks,
        x=Axis("Gauge pressure", "pressure", low=0.0, high=float(air.gauge[-1])),
        y=Axis("Force at the lip", "force", low=0.0, high=1.2 * max(top, 1e-3)),
    )  # fmt: skip


def _air_title(air: Pressed) -> str:
    return "What its arm lifts with" if air.lifts else "Pull at which its hook slips off the lip"


def _alt(data: Deed, style: Style) -> str:
    asked = style.show(data.asked, "force") if np.isfinite(data.asked) else "more than any force"
    first_row = f"'{data.name}' {_VERB[data.does]} the {data.object}: it takes {asked} at the lip and is given "
    said = first_row + f"{style.show(data.given, 'force')}"
    limits = [f"{name} at {style.show(force, 'force')}" for name, force in _rows(data)[2:] if np.isfinite(force)]
    said += f" ({', '.join(limits)})" if limits else ""
    if data.air is not None:
        now = float(np.interp(data.air.left, data.air.gauge, data.air.force))
        does = "lifts with" if data.air.lifts else "holds up to"
        said += f". With the {style.show(data.air.left, 'pressure')} that is left it {does} {style.show(now, 'force')}"
    return said + "."


def _columns(data: Deed, style: Style) -> dict[str, Sequence[Any]]:
    found: dict[str, Sequence[Any]] = {
        "What": [name for name, _ in _rows(data)],
        style.header("Force at the lip", "force"): [float(style.value(force, "force")) for _, force in _rows(data)],
    }
    if data.air is not None:
        found[style.header("Gauge pressure", "pressure")] = style.value(data.air.gauge, "pressure").tolist()
        found[style.header(_air_title(data.air), "force")] = style.value(data.air.force, "force").tolist()
    return found


def figures(context: Context, style: Style) -> Iterator[Figure]:
    """What stands on the notebook's page."""
    for data in deeds(context) if context.robot.parts else ():
        yield grabbed(data, style)


_GRABBER = Sketch(
    "seen from the left, forward to the right",
    210.0,
    (
        floor(190.0), block(30, 90, 70, 80), disc(48.0, 178.0, 12.0), disc(86.0, 178.0, 12.0), disc(84.0, 70.0, 5.0),
        line((84.0, 70.0), (206.0, 112.0), (206.0, 130.0)), line((84.0, 70.0), (214.0, 70.0), look="dashed"),
        block(216, 118, 80, 72, "thing"), block(190, 122, 10, 68, "thing"),
    ),
    (
        Length("pivot", (84.0, 70.0), (84.0, 70.0), "left"),
        Length("length", (90.0, 58.0), (220.0, 100.0), "above"),
        Length("lowest", (150.0, 80.0), (150.0, 80.0), "below"),
        Length("hook", (208.0, 122.0), (208.0, 130.0), "right"),
    ),
)  # fmt: skip
_LIP = Sketch(
    "seen from the side, the robot to the left",
    200.0,
    (
        floor(180.0), block(150, 60, 150, 120, "thing"), block(90, 70, 14, 110, "thing"),
        disc(225.0, 120.0, 4.0, "line"),
    ),
    (
        Length("height", (76.0, 70.0), (76.0, 180.0), "left"),
        Length("depth", (104.0, 62.0), (150.0, 62.0), "above"),
        Length("near", (104.0, 140.0), (225.0, 140.0), "below"),
    ),
)  # fmt: skip
_LEVER = Sketch(
    "seen from the left, forward to the right",
    200.0,
    (
        disc(90.0, 70.0, 5.0),
        line((90.0, 70.0), (280.0, 120.0), (280.0, 140.0)),
        disc(60.0, 170.0, 5.0),
        disc(200.0, 99.0, 5.0),
        line((60.0, 170.0), (200.0, 99.0)),
    ),
    (Length("lever", (90.0, 70.0), (122.0, 138.0), "left"),),
)


def sketches() -> Mapping[type, Sketch]:
    """What the lengths of a grabber mean, by what the file declares."""
    return {Grabber: _GRABBER, Lip: _LIP, CylinderArm: _LEVER}
