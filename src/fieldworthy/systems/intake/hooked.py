"""Chains of an intake: the slack run over the chain's wear, and hooks on their way over what is carried."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.axes import Chart, chart
from fieldworthy.drawing.frame import Axis, Limit, Line
from fieldworthy.drawing.sketch import Sketch, block, disc, floor, line
from fieldworthy.drawing.sketch import Span as Length
from fieldworthy.drawing.style import Style, wrapped
from fieldworthy.drawing.svg import SMALL, Box, Figure, Ink, Letters, Sheet
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.physics.motors import chain
from fieldworthy.systems.intake.mechanics import row_of, strung_of, swept_of
from fieldworthy.systems.intake.model import Belt, Chain, Holder, Hooks, Intake, Tubing

_PHASES = 33
_BESIDE = 190.0  # for words beside a picture to scale [px]


@dataclass(frozen=True, slots=True)
class Worn:
    """A chain whose tensioner elastic tubing pulls, over its wear.

    Attributes
    ----------
    name : Of the stage
    wear, tension : Growths by wear, and the tension of the slack run at each; infinite where it has no slack [-, N]
    full, needed : Wear at which it is replaced, and the tension below which it climbs or jumps the teeth [-, N]
    does : Which of both
    """

    name: str
    wear: Array
    tension: Array
    full: float
    needed: float
    does: str


def worn_chains(context: Context) -> Iterator[Worn]:
    """Follow every chain whose tensioner elastic tubing pulls, from new to half as much again as its full wear."""
    context = context.nominal
    for name, spec in context.robot.mechanisms.items():
        for stage in row_of(context, name).stages.values() if isinstance(spec, Intake) else ():
            for hooked in (False, True) if stage.spec.hooks is not None else (False,):
                full = strung_of(stage, hooked=hooked)
                if full is None or first(full.wear) <= 0.0:
                    continue
                wear = np.linspace(0.0, 1.5 * first(full.wear), _PHASES)
                along = strung_of(stage, hooked=hooked, wear=wear)
                assert along is not None, "the same chain"
                belt = full.spec.kind.belt
                what = (
                    f"hooked chain of '{stage.name}'" if hooked else f"{'belt' if belt else 'chain'} of '{stage.name}'"
                )
                does = "may jump teeth" if belt else "climbs the teeth"
                tension = np.broadcast_to(along.tension, wear.shape)
                yield Worn(what, wear, tension, first(full.wear), first(full.needed), does)


def tightened(data: Worn, style: Style) -> Figure:
    """Draw the tension of the slack run over the chain's wear, with what keeps it on its teeth."""
    known = np.isfinite(data.tension)
    at, needed = float(np.interp(data.full, data.wear[known], data.tension[known])), style.show(data.needed, "force")
    what = Chart(
        title=f"Slack run of the {data.name}",
        alt=f"Worn by {style.show(data.full, 'share')}, its idler holds it with {style.show(at, 'force')}; below "
        f"{needed} it {data.does}.",
        x=Axis("Growth by wear", "share", low=0.0, high=float(data.wear[-1])),
        y=Axis("Tension", "force", low=0.0, high=1.15 * max(float(data.tension[known].max()), data.needed)),
        marks=[
            Line(x=data.wear[known], y=data.tension[known], name="held by the idler", tone=0),
            Limit(at=data.needed, name=f"{data.does} below {needed}"),
            Limit(at=data.full, side="x", name="replaced", tone="ink", dash="2 3"),
        ],
    )  # fmt: skip
    return chart(what, style)


@dataclass(frozen=True, slots=True)
class Passed:
    """Hooks on their way over the pieces already carried, seen from the side.

    Attributes
    ----------
    name : Of the stage
    object, holder : What the pieces are, and the object that is carried; empty where they lie on the robot's own floor
    carried : How many pieces
    shaft, radius, tip : Height of the lower shaft, pitch radius of its sprocket, and reach of a hook's tip [m]
    base, pile, gap : Of what they lie on, and of the pieces over that; kept clear above them [m]
    walls, bottom : Top of the walls between which they lie, 0 for none; and of what is carried its underside [m]
    wide : Length of what holds them, or of one piece [m]
    """

    name: str
    object: str
    holder: str
    carried: int
    shaft: float
    radius: float
    tip: float
    base: float
    pile: float
    gap: float
    walls: float
    bottom: float
    wide: float

    @property
    def spare(self) -> float:
        """Between the pieces and the tips, the gap kept clear taken off [m]; negative where they meet."""
        return self.shaft - self.tip - self.gap - self.base - self.pile


def passed(context: Context) -> Iterator[Passed]:
    """Look at every hooked chain whose lower shaft's height is known."""
    context = context.nominal
    for name, spec in context.robot.mechanisms.items():
        row = row_of(context, name) if isinstance(spec, Intake) else None
        for stage in row.stages.values() if row is not None else ():
            carrier = stage.spec.hooks
            swept = None if carrier is None or row is None else swept_of(context, row, carrier)
            if carrier is None or row is None or swept is None:
                continue
            held, inside = swept.held, carrier.held_in
            thing = None if inside is None else context.season.objects[inside.object]
            top = 0.0 if inside is None or thing is None else first(inside.lift + thing.size[2])
            deep = top > first(held.base) + 1e-6
            wide = held.floor[0] if held.floor is not None else row.length if thing is None else thing.size[0]
            yield Passed(
                stage.name, row.spec.object, "" if inside is None else inside.object, carrier.carried,
                first(swept.shaft), first(chain.pitch_radius(chain.SIZES[carrier.chain.size].pitch,
                                                             carrier.chain.teeth[1])),
                first(swept.tip), first(held.base), first(swept.pile), first(carrier.clearance),
                top if deep else 0.0, 0.0 if inside is None else first(inside.lift), first(wide),
            )  # fmt: skip


def over(data: Passed, style: Style) -> Figure:
    """Draw the hooks over the pieces already carried, to scale and from the side."""
    theme = style.theme
    high = max(data.shaft + data.tip, data.base + data.pile, data.walls)
    scale = min((style.width - _BESIDE) / max(data.wide, 2.0 * data.tip), 0.5 * style.width / high)
    sheet = Sheet(style, scale * high + 40.0)
    floor_at, middle = sheet.height - 16.0, 12.0 + 0.5 * scale * max(data.wide, 2.0 * data.tip)

    def box(wide: float, low: float, top: float) -> Box:
        return Box(middle - 0.5 * scale * wide, floor_at - scale * top, scale * wide, scale * (top - low))

    sheet.line((4.0, floor_at), (style.width - 4.0, floor_at), Ink(theme.ink, width=1.6))
    if data.holder:
        sheet.rect(box(data.wide, data.bottom, max(data.walls, data.base)), Ink(theme.edge, theme.block, 1.4))
    tone = theme.bad if data.spare < 0.0 else theme.good
    sheet.rect(box(0.96 * data.wide, data.base, data.base + data.pile), Ink(tone, theme.paper, 1.8, "5 3"))
    shaft = (middle, floor_at - scale * data.shaft)
    sheet.circle(shaft, scale * data.radius, Ink(theme.edge, theme.block, 1.4))
    sheet.circle(shaft, scale * data.tip, Ink(theme.edge, width=1.2, dash="4 2"))
    hook = ((shaft[0], shaft[1] + scale * data.radius), (shaft[0], shaft[1] + scale * data.tip))
    sheet.line(*hook, Ink(theme.edge, width=3.0))
    clear, pieces, under = _said(data, style)
    right = middle + 0.5 * scale * max(data.wide, 2.0 * data.tip) + 10.0
    low = floor_at - 0.5 * scale * data.base if scale * data.base > 2.0 * SMALL else floor_at - 8.0
    for text, y in ((clear, shaft[1] + 4.0), (pieces, floor_at - scale * (data.base + 0.5 * data.pile)), (under, low)):
        for i, part in enumerate(wrapped(text, SMALL, style.width - right - 4.0) if text else ()):
            sheet.text(right, y + i * 1.2 * SMALL, part, Letters(theme.ink, SMALL, halo=theme.paper))
    texts = [text for text in (clear, pieces, under) if text]
    title = f"Hooks of '{data.name}' over what is carried"
    alt = "; ".join(texts) + "."
    return Figure(title, alt, sheet.document(title, alt))


def _said(data: Passed, style: Style) -> tuple[str, str, str]:
    """What the picture shows, from above to below; nothing of what the pieces lie on where that is no object."""
    spare = style.show(abs(data.spare), "length")
    pieces = f"{data.carried} of {data.object}, {style.show(data.pile, 'length')} high"
    clear = f"tips clear them by {spare}" if data.spare >= 0.0 else f"tips hit them by {spare}"
    under = f"on the {data.holder}, {style.show(data.base, 'length')} up" if data.holder else ""
    if data.holder and data.walls > 0.0:
        under = f"in the {data.holder}, {style.show(data.base, 'length')} up"
    return clear, pieces, under


def chained(context: Context, style: Style) -> Iterator[Figure]:
    """Chains as they stand on the notebook's page."""
    yield from (tightened(data, style) for data in worn_chains(context))
    yield from (over(data, style) for data in passed(context))


_CHAIN = Sketch(
    "seen from the side",
    170.0,
    (
        disc(80.0, 80.0, 40.0), disc(250.0, 80.0, 24.0), line((80.0, 40.0), (250.0, 56.0)),
        line((80.0, 120.0), (250.0, 104.0)), disc(80.0, 80.0, 3.0, "line"), disc(250.0, 80.0, 3.0, "line"),
        line((160.0, 124.0), (160.0, 106.0), look="move"),
    ),
    (
        Length("centre", (80.0, 80.0), (250.0, 80.0), "above"),
        Length("teeth", (80.0, 44.0), (80.0, 44.0), "above"),
        Length("tensioner_travel", (160.0, 132.0), (160.0, 112.0), "below"),
    ),
)  # fmt: skip
_TUBING = Sketch(
    "seen from the side, with the idler pressed into the run",
    130.0,
    (
        disc(60.0, 60.0, 34.0), disc(280.0, 60.0, 34.0), line((60.0, 26.0), (280.0, 26.0)),
        line((60.0, 94.0), (170.0, 76.0), (280.0, 94.0)), line((60.0, 94.0), (280.0, 94.0), look="dashed"),
        disc(170.0, 86.0, 9.0), line((170.0, 86.0), (170.0, 40.0), look="dashed"), disc(170.0, 40.0, 4.0),
        disc(170.0, 104.0, 9.0, "thing"),
    ),
    (
        Length("stretch", (170.0, 58.0), (170.0, 58.0), "right"),
    ),
)  # fmt: skip
_HOOKS = Sketch(
    "seen from the side, the carried pieces below",
    260.0,
    (
        disc(70.0, 110.0, 24.0), line((70.0, 86.0), (330.0, 86.0)), line((70.0, 134.0), (330.0, 134.0)),
        block(150, 134, 12, 30), block(270, 134, 12, 30), block(120, 186, 60, 24, "thing"),
        block(120, 210, 60, 24, "thing"),
        floor(234.0), disc(70.0, 110.0, 3.0, "line"),
    ),
    (
        Length("links_between", (162.0, 120.0), (282.0, 120.0), "above"),
        Length("height", (300.0, 134.0), (300.0, 164.0), "below"),
        Length("thickness", (150.0, 64.0), (162.0, 64.0), "above"),
        Length("shaft_height", (70.0, 234.0), (70.0, 116.0), "right"),
        Length("nested", (190.0, 186.0), (190.0, 210.0), "right"),
    ),
)  # fmt: skip
_HOLDER = Sketch(
    "cut through the object that is carried",
    190.0,
    (
        floor(170.0), line((90.0, 60.0), (90.0, 150.0), (250.0, 150.0), (250.0, 60.0), look="dashed"),
        block(130, 100, 60, 50, "thing"),
    ),
    (
        Length("depth", (210.0, 60.0), (210.0, 100.0), "right"),
        Length("lift", (270.0, 150.0), (270.0, 170.0), "right"),
    ),
)  # fmt: skip
CHAINED = {Chain: _CHAIN, Belt: _CHAIN, Tubing: _TUBING, Hooks: _HOOKS, Holder: _HOLDER}
"""What the lengths of a chain mean, by what the file declares."""
