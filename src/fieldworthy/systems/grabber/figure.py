"""Grabbers: the force at the lip that each thing they do takes, beside what the robot gives there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fieldworthy.drawing.axes import Chart, chart
from fieldworthy.drawing.frame import Axis, Bars, Mark
from fieldworthy.drawing.sketch import Sketch, block, disc, floor, line
from fieldworthy.drawing.sketch import Span as Length
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import Figure
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.systems.grabber.check import asked_and_given
from fieldworthy.systems.grabber.model import CylinderArm, Grabber, Lip

_MOST = 20.0  # times what is asked; a longer bar would hide the shorter ones


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing that a grabber does.

    Attributes
    ----------
    name : The grabber, and what it does
    asked : Force at the lip that it takes; infinite where none does it [N]
    given : What arm, drive or turning gives there before wheels slip or the robot tips [N]
    """

    name: str
    asked: float
    given: float


def deeds(context: Context) -> list[Deed]:
    """Weigh what every grabber of a robot does."""
    context = context.nominal
    found = []
    for name, mechanism in context.robot.mechanisms.items():
        for label, spec in mechanism.alone(name).items() if isinstance(mechanism, Grabber) else ():
            forces = asked_and_given(context, spec)
            if forces is not None:
                asked, given = forces
                found.append(Deed(label, first(asked), first(given.force)))
    return found


def grabbed(data: list[Deed], style: Style) -> Figure:
    """Draw what each thing takes beside what the robot gives."""
    finite = [deed.asked for deed in data if np.isfinite(deed.asked)]
    most = _MOST * max(finite, default=0.0) or max(deed.given for deed in data)
    names, values, tones, labels, told = [], [], [], [], []
    for deed in data:
        asked = style.show(deed.asked, "force") if np.isfinite(deed.asked) else "no force does it"
        given = style.show(deed.given, "force")
        names += [f"{deed.name}: takes", f"{deed.name}: is given"]
        values += [min(deed.asked, most), min(deed.given, most)]
        tones += ["edge", "good" if deed.given >= deed.asked else "bad"]
        cut = (" (bar cut short)" if np.isfinite(f) and f > most else "" for f in (deed.asked, deed.given))
        labels += [text + note for text, note in zip((asked, given), cut, strict=True)]
        told.append(f"{deed.name} takes {asked} and is given {given}")
    marks: list[Mark] = [Bars(at=list(range(len(values))), value=values, lying=True, tone=tones, labels=labels)]
    what = Chart(
        title="Force at the lip",
        alt="; ".join(told) + ".",
        x=Axis("Force at the lip", "force", low=0.0, high=1.25 * max(*values, 1e-9)),
        y=Axis("", names=tuple(names)),
        marks=marks,
        columns={"What": names, style.header("Force", "force"): [
            style.value(v, "force") for deed in data for v in (deed.asked, deed.given)]},
    )  # fmt: skip
    return chart(what, style)


def figures(context: Context, style: Style) -> Iterator[Figure]:
    """What stands on the notebook's page."""
    data = deeds(context) if context.robot.parts else []
    if data:
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
SKETCHES = {Grabber: _GRABBER, Lip: _LIP, CylinderArm: _LEVER}
"""What the lengths of a grabber mean, by what the file declares."""
