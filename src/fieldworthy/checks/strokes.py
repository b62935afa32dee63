"""How long a cylinder's stroke takes, with the air that the plan leaves it."""

from __future__ import annotations

from functools import reduce

import numpy as np

from fieldworthy.checks.airplan import AirUse, air_along_plan, use_of
from fieldworthy.checks.bodies import aligned, stacked
from fieldworthy.checks.finding import Real
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.actuation import Stroke, actuation, extend_stroke, retract_stroke
from fieldworthy.physics.flow import Element, in_series, tube


def air_line(subject: Subject, use: AirUse) -> Element:
    """Put valve, fittings and tube of a cylinder in a row.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].
    use : AirUse
        The cylinder [SI].

    Returns
    -------
    Element
        What one of the cylinders on the valve gets of it [m3/(s Pa)].
    """
    supply, classes = subject.robot.air.supply, subject.robot.catalogue
    valve = classes.valves[use.spec.valve]
    parts = [
        Element(valve.conductance, valve.critical_ratio),
        Element(supply.fitting, supply.fitting_critical_ratio),
        tube(supply.tube_bore, np.maximum(use.spec.tube, 1e-3)),
    ]
    whole = reduce(in_series, parts)
    return Element(whole.C / use.spec.count, whole.b)


def stroke_time(subject: Subject, name: str, way: int) -> Real:
    """Time a stroke at the lowest pressure that the plan leaves it.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].
    name : str
        The cylinder's name [-].
    way : int
        0 out, 1 back by air [-].

    Returns
    -------
    float or ndarray
        Time [s]; infinite where it cannot move its load.

    Notes
    -----
    The other side still holds the air of the stroke before; where a spring returns it, it is open to the atmosphere.
    The full charge counts for a cylinder that the plan does not use.
    """
    return subject.remember("stroke times", lambda: _times(subject))[name, way]


def _times(subject: Subject) -> dict[tuple[str, int], Real]:
    """All strokes of all cylinders, solved together."""
    uses = [use_of(subject, name) for name in subject.robot.air.cylinders]
    asked = [(use, way) for use in uses for way in range(len(use.draws))]
    p_atm, plan = subject.p_atm, air_along_plan(subject)
    lines = {use.name: air_line(subject, use) for use in uses}
    supplies, strokes = [], []
    for use, way in asked:
        gauge = plan.lowest[use.name][way].gauge if use.name in plan.lowest else use.circuit.p_charge - p_atm
        supplies.append(np.minimum(p_atm + gauge, use.circuit.p_set))
        strokes.append(stroke_at(use, supplies[-1], way))
    vented = [at if use.cylinder.double_acting else p_atm for at, (use, _) in zip(supplies, asked, strict=True)]
    numbers = [
        (s.drive_area, s.vent_area, s.drive_dead, s.vent_dead, s.length, s.mass, *s.load, line.C, line.b, supply, vent)
        for s, supply, vent, line in zip(strokes, supplies, vented, (lines[use.name] for use, _ in asked), strict=True)
    ]
    columns = aligned([stacked(column) for column in zip(*numbers, strict=True)])
    (area1, area2, dead1, dead2, length, mass), (load, rise, C, b, supply, vent) = columns[:6], columns[6:]
    line, stroke = Element(C, b), Stroke(area1, area2, dead1, dead2, length, mass, (load, rise))
    times = actuation(stroke, line, line, supply, vent, p_atm, subject.season.temperature).time
    return {(use.name, way): time for (use, way), time in zip(asked, times, strict=True)}


def stroke_at(use: AirUse, supply: Real, way: int) -> Stroke:
    """Describe a stroke of one of the cylinders on a valve, with its share of load and mass and its own friction.

    Parameters
    ----------
    use : AirUse
        The cylinder [SI].
    supply : float or ndarray
        Absolute supply pressure, for the friction of the seals [Pa].
    way : int
        0 out, 1 back by air [-].

    Returns
    -------
    Stroke
        Areas, volumes, mass and load [SI].
    """
    count, cylinder = use.spec.count, use.cylinder
    if way == 0:
        load = use.spec.push_load / count + use.friction(supply, cylinder.piston_area)
        return extend_stroke(cylinder, use.spec.moved / count, load)
    load = use.spec.pull_load / count + use.friction(supply, cylinder.ring_area)
    return retract_stroke(cylinder, use.spec.moved / count, load)
