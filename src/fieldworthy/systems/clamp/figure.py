"""Clamps: the pull that each holds, over the pressure in its tank or over the force that it is locked with."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.drawing.axes import Chart, chart
from fieldworthy.drawing.frame import Axis, Limit, Line, Mark
from fieldworthy.drawing.sketch import Sketch, block, disc, floor, line
from fieldworthy.drawing.sketch import Span as Length
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import Figure
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.physics.contact import clamp as clamping
from fieldworthy.systems.clamp.mechanics import (
    best_place,
    each_prong,
    grip_of,
    outline_of,
    places,
    pull_of,
    reached,
    way_to,
)
from fieldworthy.systems.clamp.model import Clamp, Toggle, Under
from fieldworthy.vehicle.supply import lowest_after, use_of

_POINTS = 60


@dataclass(frozen=True, slots=True)
class Holding:
    """One clamp over the pressure in its tank.

    Attributes
    ----------
    name : Of the clamp
    gauge, held : Gauge pressures from empty to full, and the pull that it holds at each [Pa, N]
    aside, up : What a hook from below holds sideways and upwards at each of them [N]; None without one, or with cheeks
    goes : How far its jaw goes at each of them [m]; None where bands and hook do not make that a question
    way : To where the jaw stands on the rim [m]
    pull : What a rival pulls with [N]
    left : Lowest gauge pressure that the plan leaves it [Pa]
    """

    name: str
    gauge: Array
    held: Array
    aside: Array | None
    up: Array | None
    goes: Array | None
    way: float
    pull: float
    left: float


def holdings(context: Context) -> list[Holding]:
    """Follow every clamp that air presses down, and that a rival pulls at, from an empty tank to a full one."""
    context = context.nominal
    found = []
    for name, spec in context.robot.mechanisms.items():
        if not isinstance(spec, Clamp) or spec.toggle is not None:
            continue
        pull, use = pull_of(spec), use_of(context, spec.cylinder)
        full = first(use.circuit.p_charge) - first(use.p_atm)
        gauge = np.linspace(0.0, full, _POINTS)
        grip, under = grip_of(context, spec), spec.under
        held, down = _over(gauge, grip.held(gauge)), _over(gauge, clamping.jaw_force(gauge, grip.per, grip.spring))
        aside = down * grip.aside if under is not None and under.cheeks is None else None
        followed = under is not None or spec.spring_rate is not None
        goes = _over(gauge, reached(context, spec, gauge)) if followed else None
        way = first(way_to(spec, context.season.objects[spec.object]))
        if pull is not None and (np.all(np.isfinite(held)) or under is not None):
            found.append(
                Holding(name, gauge, held, aside, None if under is None else down, goes, way, first(pull),
                        first(lowest_after(context, spec.cylinder).gauge))
            )  # fmt: skip
    return found


def _over(gauge: Array, values: Real) -> Array:
    return np.broadcast_to(np.asarray(values, dtype=float), gauge.shape)


def holding(data: Holding, style: Style) -> Figure:
    """Draw what one clamp holds over pressure, with the rival's pull and what the plan leaves."""
    left, pull = style.show(data.left, "pressure"), style.show(data.pull, "force")
    straight = f"'{data.name}' holds" if data.up is None else "pulled off"
    ways = [(straight, data.held), ("pulled sideways", data.aside), ("lifted out", data.up)]
    lines = [(name, held) for name, held in ways if held is not None and np.all(np.isfinite(held))]
    told = [f"{style.show(float(np.interp(data.left, data.gauge, held)), 'force')} ({name})" for name, held in lines]
    held = told[0].split(" (")[0] if data.up is None else ", ".join(told)
    marks: list[Mark] = [
        *(Line(x=data.gauge, y=held, name=name, tone=i) for i, (name, held) in enumerate(lines)),
        Limit(at=data.pull, name=f"a rival pulls with {pull}"),
        Limit(at=data.left, side="x", name=f"{left} left", tone="ink", dash="2 3"),
    ]
    what = Chart(
        title=f"Pull that '{data.name}' holds",
        alt=f"'{data.name}' holds {held} at the {left} that the plan leaves; a rival pulls with "
        f"{pull}.",
        x=Axis("Gauge pressure", "pressure", low=0.0, high=float(data.gauge[-1])),
        y=Axis("Pull", "force", low=0.0, high=1.15 * max(data.pull, *(float(held.max()) for _, held in lines))),
        marks=marks,
    )  # fmt: skip
    return chart(what, style)


def going(data: Holding, style: Style) -> Figure:
    """Draw how far the jaw of one clamp goes over pressure, with the way to the rim and what the plan leaves."""
    assert data.goes is not None, "asked for where the jaw's way is a question"
    left, way = style.show(data.left, "pressure"), style.show(data.way, "length")
    goes = float(np.interp(data.left, data.gauge, data.goes))
    what = Chart(
        title=f"How far the jaw of '{data.name}' goes",
        alt=f"The jaw of '{data.name}' goes {style.show(goes, 'length')} at the {left} that the plan leaves; it stands "
        f"on the rim after {way}.",
        x=Axis("Gauge pressure", "pressure", low=0.0, high=float(data.gauge[-1])),
        y=Axis("Way", "length", low=0.0, high=1.15 * max(float(data.goes.max()), data.way)),
        marks=[
            Line(x=data.gauge, y=data.goes, name="the jaw goes", tone=0),
            Limit(at=data.way, name=f"on the rim after {way}"),
            Limit(at=data.left, side="x", name=f"{left} left", tone="ink", dash="2 3"),
        ],
    )  # fmt: skip
    return chart(what, style)


def pronged(context: Context, name: str, spec: Clamp, style: Style) -> Figure:
    """Draw how deep the rim lies under each prong while the object is turned either way, off to its worse side."""
    thing = context.season.objects[spec.object]
    outline, best = outline_of(thing), context.once(("clamp seat", name), lambda: best_place(context, name))
    place = next(p for p in places(outline, outline) if p.label == best.label)
    assert thing.rim is not None, "an object that a clamp grips has a rim"
    turn = np.linspace(-first(spec.yaw_error), first(spec.yaw_error), _POINTS)
    sides = [each_prong(spec, outline, place.yaw + turn, off * first(spec.side_error)) for off in (-1.0, 0.0, 1.0)]
    depths = np.minimum(np.minimum.reduce(sides), first(thing.rim.overhang))
    wanted, places_of = first(spec.hook), [style.show(first(prong), "length") for prong in spec.prongs]
    told = ", ".join(f"{style.show(float(depth.min()), 'length')} over the prong at {at}"
                     for depth, at in zip(depths, places_of, strict=True))  # fmt: skip
    what = Chart(
        title=f"Rim behind each prong of '{name}'",
        alt=f"At the worst turn and place of the {spec.object} its rim lies this deep in '{name}': {told}; "
        f"{style.show(wanted, 'length')} is needed.",
        x=Axis(f"Turn of the {spec.object}", "angle", low=float(turn[0]), high=float(turn[-1])),
        y=Axis("Depth", "length", low=min(0.0, float(depths.min())),
               high=1.25 * max(float(depths.max()), wanted)),
        marks=[
            *(Line(x=turn, y=depth, name=f"prong at {at}", tone=i)
              for i, (depth, at) in enumerate(zip(depths, places_of, strict=True))),
            Limit(at=wanted, name=f"{style.show(wanted, 'length')} needed"),
        ],
    )  # fmt: skip
    return chart(what, style)


def locked(context: Context, name: str, spec: Clamp, style: Style) -> Figure:
    """Draw what a clamp that locks over centre holds, the more the harder its jaw is set, with the rival's pull."""
    toggle, pull = spec.toggle, pull_of(spec)
    assert toggle is not None, "asked for where links lock it"
    assert pull is not None, "asked for where a rival pulls"
    grip, preload, pulls = grip_of(context, spec), first(toggle.preload), first(pull)
    press = np.linspace(0.0, 1.5 * preload, _POINTS)
    held = _over(press, clamping.holding_force(press, grip.gain, grip.seat))
    holds = style.show(float(np.interp(preload, press, held)), "force")
    least = first(pull / clamping.holding_force(1.0, grip.gain, grip.seat))
    slips, set_to = style.show(least, "force"), style.show(preload, "force")
    what = Chart(
        title=f"Pull that '{name}' holds, locked without air",
        alt=f"Set to {set_to}, '{name}' holds {holds} whatever the air; a rival pulls with "
        f"{style.show(pulls, 'force')}, and below {slips} it slips.",
        x=Axis("Force of the locked jaw", "force", low=0.0, high=float(press[-1])),
        y=Axis("Pull", "force", low=0.0, high=1.15 * max(pulls, float(held.max()))),
        marks=[
            Line(x=press, y=held, name=f"'{name}' holds", tone=0),
            Limit(at=pulls, name=f"a rival pulls with {style.show(pulls, 'force')}"),
            Limit(at=preload, side="x", name=f"set to {set_to}", tone="ink", dash="2 3"),
        ],
    )  # fmt: skip
    return chart(what, style)


def figures(context: Context, style: Style) -> Iterator[Figure]:
    """What stands on the notebook's page."""
    for data in holdings(context):
        yield holding(data, style)
        if data.goes is not None:
            yield going(data, style)
    for name, spec in context.robot.mechanisms.items():
        if not isinstance(spec, Clamp):
            continue
        if spec.toggle is not None and spec.rival is not None and np.isfinite(first(grip_of(context, spec).gain)):
            yield locked(context.nominal, name, spec, style)
        if spec.prongs and first(spec.yaw_error) > 0.0:
            yield pronged(context.nominal, name, spec, style)


_CLAMP = Sketch(
    "from the side with the jaw open, and from above",
    400.0,
    (
        floor(196.0), line((150.0, 30.0), (150.0, 190.0)), block(150, 108, 30, 84),
        block(180, 96, 130, 20, "thing"), block(230, 116, 80, 80, "thing"),
        block(150, 50, 76, 10), block(212, 50, 14, 24), line((212.0, 90.0), (226.0, 90.0), look="dashed"),
        block(20, 250, 130, 110), disc(154.0, 268.0, 5.0), disc(154.0, 342.0, 5.0), block(150, 290, 60, 30),
        line((159.0, 236.0), (159.0, 374.0), look="dashed"), block(159, 250, 150, 110, "dashed"),
    ),
    (
        Length("opening", (244.0, 74.0), (244.0, 108.0), "right"),
        Length("closed_gap", (196.0, 90.0), (196.0, 108.0), "below"),
        Length("seat_height", (128.0, 108.0), (128.0, 196.0), "left"),
        Length("jaw_reach", (158.0, 38.0), (212.0, 38.0), "above"),
        Length("stop_gap", (140.0, 268.0), (140.0, 342.0), "left"),
        Length("jaw_width", (220.0, 290.0), (220.0, 320.0), "right"),
        Length("throat", (110.0, 380.0), (154.0, 380.0), "right"),
    ),
)  # fmt: skip
_TOGGLE = Sketch(
    "locked, seen from the side",
    180.0,
    (
        disc(40.0, 120.0, 5.0), disc(150.0, 70.0, 5.0), disc(270.0, 120.0, 5.0), line((40.0, 120.0), (150.0, 70.0)),
        line((150.0, 70.0), (270.0, 120.0)), line((40.0, 120.0), (270.0, 120.0), look="dashed"),
        block(136, 52, 28, 10),
    ),
    (
        Length("link", (36.0, 106.0), (144.0, 56.0), "above"),
        Length("other", (158.0, 56.0), (274.0, 106.0), "above"),
        Length("past", (150.0, 120.0), (150.0, 76.0), "below"),
    ),
)  # fmt: skip
_UNDER = Sketch(
    "from the side before the hook comes up, and from above",
    366.0,
    (
        floor(196.0), line((110.0, 30.0), (110.0, 190.0)), block(110, 40, 70, 10), block(168, 40, 14, 30),
        block(180, 86, 130, 18, "thing"), block(180, 104, 8, 18, "thing"), block(240, 104, 70, 92, "thing"),
        block(110, 150, 106, 10), block(206, 132, 10, 18), line((150.0, 122.0), (188.0, 122.0), look="dashed"),
        block(180, 266, 130, 74, "dashed"), block(110, 286, 106, 34), line((110.0, 258.0), (250.0, 258.0)),
        line((110.0, 348.0), (250.0, 348.0)),
    ),
    (
        Length("reach", (118.0, 176.0), (206.0, 176.0), "below"),
        Length("tip", (228.0, 132.0), (228.0, 150.0), "right"),
        Length("rises", (150.0, 122.0), (150.0, 150.0), "left"),
        Length("width", (226.0, 286.0), (226.0, 320.0), "right"),
        Length("cheeks", (196.0, 258.0), (196.0, 266.0), "above"),
    ),
)  # fmt: skip


def sketches() -> Mapping[type, Sketch]:
    """What the lengths of a clamp mean, by what the file declares."""
    return {Clamp: _CLAMP, Toggle: _TOGGLE, Under: _UNDER}
