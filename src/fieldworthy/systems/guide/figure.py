"""A straight guide: the force that moves its load against the length between its pads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.axes import Chart, chart
from fieldworthy.drawing.frame import Axis, Limit, Line, Mark, Span, Spot
from fieldworthy.drawing.sketch import Sketch, block, disc, line
from fieldworthy.drawing.sketch import Span as Length
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import Figure
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.physics.statics.guide import Guide, force_to_move, shortest_guide
from fieldworthy.systems.guide.check import followed, forces, pace
from fieldworthy.systems.guide.model import GuideMotor, LinearGuide
from fieldworthy.vehicle.drawing import near

_POINTS = 81


@dataclass(frozen=True, slots=True)
class GuideCurves:
    """A carriage on a straight guide.

    Attributes
    ----------
    name : Of the mechanism
    load : Force against the motion, without friction [N]
    length : Between the pads, as it is [m]
    least : Below which it can lock [m]
    needed : Force that moves it; infinite where it locks [N]
    has : What its cylinder gives late in the plan, or its motors at stall [N]; None without either
    motors : Whether motors drive it
    speed, time : At which they move it, and for its whole way from rest [m/s, s]; 0 without motors
    times, places : Of the carriage on its way from rest; empty without motors, or where they do not move it [s, m]
    wanted : Time in which it must be there [s]; None where nothing is wanted
    lengths, forces : Other lengths between the pads, and the force needed with each; infinite where it locks [m, N]
    """

    name: str
    load: float
    length: float
    least: float
    needed: float
    has: float | None
    lengths: Array
    forces: Array
    motors: bool = False
    speed: float = 0.0
    time: float = 0.0
    times: Array = field(default_factory=lambda: np.zeros(0))
    places: Array = field(default_factory=lambda: np.zeros(0))
    wanted: float | None = None


def guide_curves(context: Context) -> dict[str, GuideCurves]:
    """Show every straight guide of a robot."""
    context = context.nominal
    found = {name: spec for name, spec in context.robot.mechanisms.items() if isinstance(spec, LinearGuide)}
    return {name: _curves(context, name, spec) for name, spec in found.items()}


def _curves(context: Context, name: str, spec: LinearGuide) -> GuideCurves:
    needed, has = forces(context, spec)
    length, least = first(spec.length), first(shortest_guide(np.abs(spec.drive_offset), spec.friction))
    lengths = np.linspace(0.3 * min(length, least) if least > 0.0 else 0.3 * length, 2.0 * max(length, least), _POINTS)
    guide = Guide(lengths, first(spec.friction), first(spec.width))
    other = force_to_move(guide, first(spec.load), first(spec.load_offset), first(spec.drive_offset))
    motors = spec.drive is not None
    speed, time = (first(each) for each in pace(context, spec)) if motors else (0.0, 0.0)
    return GuideCurves(
        name, first(spec.load), length, least, first(needed), None if has is None else first(has), lengths,
        np.broadcast_to(np.asarray(other, dtype=float), lengths.shape), motors, speed, time,
        *(followed(context, spec) if motors and np.isfinite(time) else (np.zeros(0), np.zeros(0))),
        None if spec.drive is None or spec.drive.time_limit is None else first(spec.drive.time_limit),
    )  # fmt: skip


_LOOK: dict[bool, dict[str, Any]] = {False: {"tone": 0}, True: {"tone": "bad", "shape": "cross"}}
_HIGHEST = 4.0  # times the load; more than that nobody would build


def guide(data: GuideCurves, style: Style) -> Figure:
    """Draw the force that a carriage needs against the length of its guide."""
    top = max(_HIGHEST * data.load, 1.1 * (data.has or 0.0), 1.0)
    here = data.needed if np.isfinite(data.needed) else top
    locks = not np.isfinite(data.needed)
    words = "locks" if locks else f"needs {style.show(data.needed, 'force')}"
    marks: list[Mark] = [
        Line(x=data.lengths, y=np.where(data.forces <= top, data.forces, np.nan), tone=0),
        Limit(at=data.length, side="x", name=f"as it is, {near(data.length, style)}", tone="ink", dash="2 3"),
        Spot(
            x=data.length, y=min(here, top), name=words, tone="bad" if locks else 0, shape="cross" if locks else "dot"
        ),
    ]
    if data.least > 0.0:
        low = float(data.lengths[0])
        marks.insert(0, Span(low=min(low, data.least), high=data.least, name="can lock", tone="bad"))
    if data.has is not None:
        marks.append(Limit(at=data.has, name=_drives(data, style), tone="good"))
    has = "" if data.has is None else f"; {_drives(data, style)}"
    if data.motors and np.isfinite(data.time):
        has += f", and take it along its way in {style.show(data.time, 'time')}"
    what = Chart(
        title=f"Guide '{data.name}'",
        alt=f"With {near(data.length, style)} between its pads guide '{data.name}' {words}; it can lock below "
        f"{near(data.least, style)}{has}.",
        x=Axis("Length between the pads", "length", low=float(data.lengths[0]), high=float(data.lengths[-1])),
        y=Axis("Force to move it", "force", low=0.0, high=top),
        marks=marks,
        columns={
            style.header("Length between the pads", "length"): style.value(data.lengths, "length").tolist(),
            style.header("Force to move it", "force"): style.value(data.forces, "force").tolist(),
        },
    )
    return chart(what, style)


def run_up(data: GuideCurves, style: Style) -> Figure:
    """Draw where motors have a carriage over time, from rest to the end of its way."""
    there, speed = style.show(data.time, "time"), style.show(data.speed, "speed")
    end = max(data.time, data.wanted or 0.0)
    marks: list[Mark] = [
        Line(x=data.times, y=data.places, name=f"on its way, up to {speed}", tone=0),
        Spot(x=float(data.times[-1]), y=float(data.places[-1]), name=f"there after {there}", tone=0),
    ]
    if data.wanted is not None:
        marks.append(Limit(at=data.wanted, side="x", name=f"{style.show(data.wanted, 'time')} wanted"))
    what = Chart(
        title=f"Guide '{data.name}' from rest",
        alt=f"Guide '{data.name}' is at the end of its way {there} after it starts from rest; its motors move it at up "
        f"to {speed}.",
        x=Axis("Time", "time", low=0.0, high=1.15 * end),
        y=Axis("Way", "length", low=0.0, high=1.15 * float(data.places[-1])),
        marks=marks,
    )
    return chart(what, style)


def _drives(data: GuideCurves, style: Style) -> str:
    """What drives it, in words."""
    force = style.show(data.has or 0.0, "force")
    return f"its motors pull with {force} at stall" if data.motors else f"its cylinder pushes with {force}"


def figures(context: Context, style: Style) -> Iterator[Figure]:
    """What stands on the notebook's page."""
    for data in guide_curves(context).values():
        yield guide(data, style)
        if data.times.size:
            yield run_up(data, style)


_GUIDE = Sketch(
    "along the guide; the load pulls back to the left",
    240.0,
    (
        line((20.0, 60.0), (320.0, 60.0)), line((20.0, 84.0), (320.0, 84.0)), block(110, 46, 24, 52),
        block(226, 46, 24, 52), block(110, 98, 140, 16), line((170.0, 190.0), (90.0, 190.0), look="move"),
        line((170.0, 114.0), (170.0, 190.0)), line((196.0, 150.0), (280.0, 150.0), look="move"),
        line((196.0, 114.0), (196.0, 150.0)), line((20.0, 72.0), (320.0, 72.0), look="dashed"),
    ),
    (
        Length("length", (122.0, 34.0), (238.0, 34.0), "above"),
        Length("width", (40.0, 60.0), (40.0, 84.0), "below"),
        Length("load_offset", (80.0, 72.0), (80.0, 190.0), "left"),
        Length("drive_offset", (290.0, 72.0), (290.0, 150.0), "below"),
        Length("load", (120.0, 198.0), (120.0, 198.0), "below"),
    ),
)  # fmt: skip
_GUIDE_MOTOR = Sketch(
    "seen from the side",
    180.0,
    (
        disc(70.0, 120.0, 26.0), disc(70.0, 120.0, 4.0, "line"), line((70.0, 94.0), (320.0, 94.0)),
        block(110, 62, 60, 32),
        line((230.0, 62.0), (290.0, 62.0), (290.0, 94.0), look="dashed"), line((230.0, 94.0), (230.0, 62.0),
        look="dashed"),
    ),
    (
        Length("radius", (70.0, 120.0), (89.0, 139.0), "right"),
        Length("travel", (110.0, 50.0), (230.0, 50.0), "above"),
        Length("moved", (140.0, 78.0), (140.0, 78.0), "below"),
    ),
)  # fmt: skip


def sketches() -> Mapping[type, Sketch]:
    """What the lengths of a guide mean, by what the file declares."""
    return {LinearGuide: _GUIDE, GuideMotor: _GUIDE_MOTOR}
