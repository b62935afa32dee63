"""Clamps: the pull that each holds, over the pressure in its tank."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.axes import Chart, chart
from fieldworthy.drawing.frame import Axis, Limit, Line, Mark
from fieldworthy.drawing.sketch import Sketch, block, disc, floor, line
from fieldworthy.drawing.sketch import Span as Length
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import Figure
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.systems.clamp.mechanics import grip_of, pull_of
from fieldworthy.systems.clamp.model import Clamp, Toggle
from fieldworthy.vehicle.supply import lowest_after, use_of

_POINTS = 60


@dataclass(frozen=True, slots=True)
class Holding:
    """One clamp over the pressure in its tank.

    Attributes
    ----------
    name : Of the clamp
    gauge, held : Gauge pressures from empty to full, and the pull that it holds at each [Pa, N]
    pull : What a rival pulls with [N]
    left : Lowest gauge pressure that the plan leaves it [Pa]
    """

    name: str
    gauge: Array
    held: Array
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
        held = np.broadcast_to(np.asarray(grip_of(context, spec).held(gauge), dtype=float), gauge.shape)
        if pull is not None and np.all(np.isfinite(held)):
            found.append(Holding(name, gauge, held, first(pull), first(lowest_after(context, spec.cylinder).gauge)))
    return found


def holding(data: Holding, style: Style) -> Figure:
    """Draw what one clamp holds over pressure, with the rival's pull and what the plan leaves."""
    left, pull = style.show(data.left, "pressure"), style.show(data.pull, "force")
    held = float(np.interp(data.left, data.gauge, data.held))
    marks: list[Mark] = [
        Line(x=data.gauge, y=data.held, name=f"'{data.name}' holds", tone=0),
        Limit(at=data.pull, name=f"a rival pulls with {pull}"),
        Limit(at=data.left, side="x", name=f"{left} left", tone="ink", dash="2 3"),
    ]
    what = Chart(
        title=f"Pull that '{data.name}' holds",
        alt=f"'{data.name}' holds {style.show(held, 'force')} at the {left} that the plan leaves; a rival pulls with "
        f"{pull}.",
        x=Axis("Gauge pressure", "pressure", low=0.0, high=float(data.gauge[-1])),
        y=Axis("Pull", "force", low=0.0, high=1.15 * max(float(data.held.max()), data.pull)),
        marks=marks,
    )  # fmt: skip
    return chart(what, style)


def figures(context: Context, style: Style) -> Iterator[Figure]:
    """What stands on the notebook's page."""
    yield from (holding(data, style) for data in holdings(context))


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
SKETCHES = {Clamp: _CLAMP, Toggle: _TOGGLE}
"""What the lengths of a clamp mean, by what the file declares."""
