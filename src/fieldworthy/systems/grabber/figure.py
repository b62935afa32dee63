"""Grabbers: the force at the lip that each thing they do takes, beside what the robot gives there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fieldworthy.drawing.axes import Chart, chart
from fieldworthy.drawing.frame import Axis, Bars, Mark
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import Figure
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.systems.grabber.check import asked_and_given
from fieldworthy.systems.grabber.model import Grabber

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
