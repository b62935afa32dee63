"""Pressure in each tank along the match plan, with the level that each cylinder needs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fieldworthy.checks.curves.air import AirCurves, TankCurve
from fieldworthy.checks.curves.air import Level as Need
from fieldworthy.draw.axesmarks import Limit, Line, Mark, Spot
from fieldworthy.draw.axesscale import Axis
from fieldworthy.draw.figure import Figure
from fieldworthy.draw.stack import Level, Pane, pane_height, stack
from fieldworthy.draw.style import Style
from fieldworthy.draw.svg import Sheet

_WAYS = ("out", "back")
_TITLE = "Pressure in the tanks along the plan"


def pressures(data: AirCurves, style: Style) -> Figure:
    """Draw the pressure in each tank over the time of the match.

    Parameters
    ----------
    data : AirCurves
        All tanks along the plan [SI].
    style : Style
        How it is to look [-].

    Returns
    -------
    Figure
        One chart a tank, the level each of its cylinders needs, and a cross where one first gets less [-].
    """
    return _drawn(data, Axis("Time in the match", "time", 0.0, data.end), style)


def pressures_by_stroke(data: AirCurves, style: Style) -> Figure:
    """Draw the pressure in each tank over the strokes that draw from it.

    Parameters
    ----------
    data : AirCurves
        All tanks along the plan [SI].
    style : Style
        How it is to look [-].

    Returns
    -------
    Figure
        One chart a tank, the level each of its cylinders needs, and a cross where one first gets less [-].
    """
    most = max((len(tank.strokes) for tank in data.tanks), default=0)
    axis = Axis("Strokes drawn from this tank", "count", 0.0, float(max(most, 1)))
    return _drawn(data, axis, style)


def _drawn(data: AirCurves, axis: Axis, style: Style) -> Figure:
    panes = [_pane(data, tank, axis, style) for tank in data.tanks]
    sheet = Sheet(style, sum(pane.tall for pane in panes))
    stack(sheet, 0.0, panes, axis)
    columns: dict[str, Sequence[Any]] = {}
    for tank in data.tanks:
        columns |= _columns(tank, style)
    alt = _alt(data, style)
    return Figure(_TITLE, alt, sheet.document(_TITLE, alt), columns)


def _pane(data: AirCurves, tank: TankCurve, axis: Axis, style: Style) -> Pane:
    timed = axis.kind == "time"
    marks: list[Mark] = [Line(x=tank.time if timed else tank.drawn, y=tank.gauge, tone=0, width=2.4)]
    if timed and 0.0 < data.autonomous < data.end:
        marks.append(Limit(at=data.autonomous, side="x", name="driver takes over", tone="quiet", dash="2 3"))
    for need in tank.levels:
        marks += _shortfall(need, timed, style)
    return Pane(
        title=f"Tank {tank.name}",
        y=Axis("Gauge pressure", "pressure", 0.0, _highest(data)),
        marks=marks,
        levels=_levels(tank, style),
        height=max(pane_height(style), 16.0 * len(tank.levels) + 84.0),  # room for all their names
        aside="needed at least",
        last=tank is data.tanks[-1],
    )


def _highest(data: AirCurves) -> float:
    """Upper end of all axes, so that tanks can be compared at a glance [Pa]."""
    needs = [need.need for tank in data.tanks for need in tank.levels if need.need is not None]
    return 1.05 * max(*(tank.charge for tank in data.tanks), *needs, 1e4)


def _levels(tank: TankCurve, style: Style) -> list[Level]:
    found = []
    if tank.setting is not None:
        found.append(Level(at=tank.setting, name=f"set to {style.show(tank.setting, 'pressure')}", dash="2 3"))
    for need in tank.levels:
        if need.need is not None:
            name = f"{need.cylinder} {style.show(need.need, 'pressure')}"
            found.append(Level(at=need.need, name=name, tone="bad" if need.short else "ink"))
    return found


def _shortfall(need: Need, timed: bool, style: Style) -> list[Mark]:
    stroke = need.short
    if stroke is None:
        return []
    at = stroke.time if timed else float(stroke.number)
    when = style.show(stroke.time, "time") if timed else f"stroke {stroke.number}"
    who = "" if style.narrow else f"{need.cylinder} gets "
    text = f"{who}{style.show(stroke.filled, 'pressure')} at {when}"
    return [Spot(x=at, y=stroke.filled, name=text, tone="bad", shape="cross")]


def _columns(tank: TankCurve, style: Style) -> dict[str, Sequence[Any]]:
    pressure = "pressure"
    return {
        style.header(f"{tank.name}: time", "time"): tank.time.tolist(),
        f"{tank.name}: strokes": tank.drawn.tolist(),
        style.header(f"{tank.name}: gauge pressure", pressure): style.value(tank.gauge, pressure).tolist(),
        f"{tank.name}: cylinder": list(tank.cylinders),
        style.header(f"{tank.name}: needs", pressure): [_number(lv.need, style) for lv in tank.levels],
        style.header(f"{tank.name}: lowest", pressure): [_number(lv.lowest, style) for lv in tank.levels],
        f"{tank.name}: margin": ["" if lv.margin is None else lv.margin for lv in tank.levels],
    }


def _number(si: float | None, style: Style) -> float | str:
    return "" if si is None else style.value(si, "pressure")


def _alt(data: AirCurves, style: Style) -> str:
    parts = []
    for tank in data.tanks:
        end = style.show(float(tank.gauge[-1]), "pressure")
        parts.append(f"tank {tank.name} falls from {style.show(tank.charge, 'pressure')} to {end}")
    short = [lv.cylinder for tank in data.tanks for lv in tank.levels if lv.short is not None]
    last = f"{', '.join(short)} gets less than it needs" if short else "every cylinder gets what it needs"
    text = "; ".join([*parts, last])
    return f"{text[:1].upper()}{text[1:]}."
