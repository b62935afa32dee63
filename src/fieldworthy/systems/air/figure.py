"""Pressure in each tank along the match plan, with the level that each cylinder needs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.axes import Level, Pane, pane_height, stack
from fieldworthy.drawing.frame import Axis, Limit, Line, Mark, Spot
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import Figure, Sheet
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import WIDEST, first
from fieldworthy.engine.system import Board, Placed, Section
from fieldworthy.physics.gas.tank import Circuit, after_leak, fill_pressure
from fieldworthy.systems.air.check import worse_way
from fieldworthy.units import margin_text
from fieldworthy.vehicle import state
from fieldworthy.vehicle.supply import AirUse, PlanAir, PlanDraw, air_along_plan, use_of

_MOST_PIECES = 12  # of the curve between two strokes; a leak bends it


@dataclass(frozen=True, slots=True)
class Stroke:
    """One stroke that draws from a tank.

    Attributes
    ----------
    time : From the start of the match [s]
    number : Which stroke on this tank it is, from 1
    cylinder, action : Names
    way : 0 out, 1 back
    filled : Gauge pressure that it is filled with [Pa]
    need : Gauge pressure that it needs on this way [Pa]; None where the file does not say
    """

    time: float
    number: int
    cylinder: str
    action: str
    way: int
    filled: float
    need: float | None

    @property
    def short(self) -> bool:
        """Whether it gets less than it needs."""
        return self.need is not None and self.filled < self.need


@dataclass(frozen=True, slots=True)
class PressureNeeded:
    """What one cylinder needs and gets, on the way on which it has least to spare.

    Attributes
    ----------
    cylinder : Its name
    way : 0 out, 1 back
    need : Gauge pressure [Pa]; None where the file does not say
    lowest : Gauge pressure that it gets at its lowest [Pa]; None where the plan never uses it
    margin : 0 at the need, 1 is the need's own size above it; as the finding ``air.pressure`` has it
    short : The first stroke, either way, that gets less than it needs
    """

    cylinder: str
    way: int
    need: float | None
    lowest: float | None
    margin: float | None
    short: Stroke | None


@dataclass(frozen=True, slots=True)
class TankCurve:
    """One tank along the plan.

    Attributes
    ----------
    name : Of the tank
    time, gauge : The pressure as a line [s, Pa gauge]; strokes are steps in it
    drawn : Strokes drawn so far
    charge : Gauge pressure at the start [Pa]
    setting : Gauge pressure of its regulator [Pa]; None without one
    strokes : In order
    levels : Of every cylinder on it, in the file's order
    """

    name: str
    time: Array
    gauge: Array
    drawn: Array
    charge: float
    setting: float | None
    strokes: tuple[Stroke, ...]
    levels: tuple[PressureNeeded, ...]

    @property
    def cylinders(self) -> tuple[str, ...]:
        """The cylinders on it."""
        return tuple(level.cylinder for level in self.levels)

    @property
    def worst(self) -> PressureNeeded | None:
        """The cylinder with least to spare, of those whose need is known and which the plan uses."""
        judged = [level for level in self.levels if level.margin is not None]
        return min(judged, key=lambda level: level.margin or 0.0) if judged else None


@dataclass(frozen=True, slots=True)
class AirCurves:
    """All tanks along the plan.

    Attributes
    ----------
    tanks : In the file's order
    autonomous, end : When the autonomous period and the match end [s]
    """

    tanks: tuple[TankCurve, ...]
    autonomous: float
    end: float

    @property
    def layout(self) -> dict[str, str]:
        """Tank by cylinder."""
        return {name: tank.name for tank in self.tanks for name in tank.cylinders}

    @property
    def worst(self) -> float | None:
        """Margin of the cylinder with least to spare on any tank [-]; None where none is known."""
        margins = [t.worst.margin for t in self.tanks if t.worst is not None and t.worst.margin is not None]
        return min(margins) if margins else None


def air_curves(context: Context) -> AirCurves | None:
    """Follow the pressure in each tank along the match plan."""
    context = context.nominal
    plan, periods = air_along_plan(context), context.season.periods
    if not plan.draws:
        return None
    autonomous = first(periods.autonomous)
    end = max(autonomous + first(periods.driven), plan.draws[-1].time)
    tanks = tuple(_tank(context, plan, name, end) for name in context.robot.air.tanks)
    return AirCurves(tanks, autonomous, end)


def _tank(context: Context, plan: PlanAir, name: str, end: float) -> TankCurve:
    circuit, p_atm = state.circuits(context)[name], first(state.p_atm(context))
    uses = [use_of(context, n) for n, spec in context.robot.air.cylinders.items() if spec.tank == name]
    draws = [d for d in plan.draws if context.robot.air.cylinders[d.name].tank == name]
    after = [first(g) for g in plan.gauge.get(name, [])]
    strokes = tuple(_strokes(context, circuit, draws, after))
    time, gauge, drawn = _line(circuit, p_atm, [(s.time, g) for s, g in zip(strokes, after, strict=True)], end)
    setting = first(circuit.p_set) - p_atm
    return TankCurve(
        name,
        time,
        gauge,
        drawn,
        first(circuit.p_charge) - p_atm,
        setting if np.isfinite(setting) else None,
        strokes,
        tuple(_level(context, use, plan, strokes) for use in uses),
    )


def _strokes(context: Context, circuit: Circuit, draws: list[PlanDraw], after: list[float]) -> Iterable[Stroke]:
    p_atm = first(state.p_atm(context))
    for number, (draw, gauge) in enumerate(zip(draws, after, strict=True), 1):
        needs = use_of(context, draw.name).needs_gauge
        filled = first(fill_pressure(gauge + p_atm, circuit.p_set)) - p_atm
        need = None if needs is None else first(needs[draw.way])
        yield Stroke(draw.time, number, draw.name, draw.action, draw.way, filled, need)


def _line(circuit: Circuit, p_atm: float, steps: list[tuple[float, float]], end: float) -> tuple[Array, Array, Array]:
    """Time, gauge pressure and strokes so far: leaking between the strokes, a step at each."""
    time, gauge, drawn = [0.0], [first(circuit.p_charge) - p_atm], [0.0]
    leak = first(circuit.leak)
    for until, after in [*steps, (end, None)]:
        wait = until - time[-1]
        pieces = int(np.clip(np.ceil(10.0 * wait / leak), 1, _MOST_PIECES))
        waits = wait * np.arange(1, pieces + 1) / pieces
        leaking = np.asarray(after_leak(gauge[-1] + p_atm, waits, leak, p_atm)) - p_atm
        time += (time[-1] + waits).tolist()
        gauge += leaking.tolist()
        drawn += [drawn[-1]] * pieces
        if after is not None:
            time.append(until)
            gauge.append(after)
            drawn.append(drawn[-1] + 1.0)
    return np.array(time), np.array(gauge), np.array(drawn)


def _level(context: Context, use: AirUse, plan: PlanAir, strokes: Iterable[Stroke]) -> PressureNeeded:
    own = [stroke for stroke in strokes if stroke.cylinder == use.name]
    short = next((stroke for stroke in own if stroke.short), None)
    if use.needs_gauge is None:
        lowest = min((stroke.filled for stroke in own), default=None)
        return PressureNeeded(use.name, 0, None, lowest, None, None)
    if not own:
        needs = [first(need) for need in use.needs_gauge]
        way = int(np.argmax(needs))
        return PressureNeeded(use.name, way, needs[way], None, None, None)
    found = worse_way(context, use, plan)
    way, wanted, lowest = found.way, first(found.need), first(found.gauge)
    margin = float(np.clip((lowest - wanted) / max(abs(wanted), 1e-9), -WIDEST, WIDEST))
    return PressureNeeded(use.name, way, wanted, lowest, margin, short)


_WAYS = ("out", "back")
_TITLE = "Pressure in the tanks along the plan"
_BY_STROKE = "Pressure in the tanks, stroke by stroke"


def pressures(data: AirCurves, style: Style) -> Figure:
    """Draw the pressure in each tank over the time of the match."""
    return _drawn(data, Axis("Time in the match", "time", 0.0, data.end), style, _TITLE)


def pressures_by_stroke(data: AirCurves, style: Style) -> Figure:
    """Draw the pressure in each tank over the strokes that draw from it."""
    most = max((len(tank.strokes) for tank in data.tanks), default=0)
    axis = Axis("Strokes drawn from this tank", "count", 0.0, float(max(most, 1)))
    return _drawn(data, axis, style, _BY_STROKE)


def _drawn(data: AirCurves, axis: Axis, style: Style, title: str) -> Figure:
    panes = [_pane(data, tank, axis, style) for tank in data.tanks]
    sheet = Sheet(style, sum(pane.tall for pane in panes))
    stack(sheet, 0.0, panes, axis)
    columns: dict[str, Sequence[Any]] = {}
    for tank in data.tanks:
        columns |= _columns(tank, style)
    alt = _alt(data, style)
    return Figure(title, alt, sheet.document(title, alt), columns)


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


def _shortfall(need: PressureNeeded, timed: bool, style: Style) -> list[Mark]:
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


def figures(context: Context, style: Style) -> Iterator[Figure]:
    """What stands on the notebook's page."""
    data = air_curves(context)
    if data is not None:
        yield pressures(data, style)


def shown(context: Context, style: Style) -> Iterator[Section]:
    """Which cylinder draws from which tank, what each needs and gets, and the pressure along the plan."""
    air = context.robot.air
    if not air.cylinders:
        return
    data = air_curves(context) if air.tanks and context.robot.plan else None
    levels = {level.cylinder: level for tank in data.tanks for level in tank.levels} if data else {}
    placed = tuple(_placed(name, spec.tank, levels.get(name), style) for name, spec in air.cylinders.items())
    told, before = _worst(data)
    board = Board(
        "tank",
        tuple(air.tanks),
        placed,
        "Drag a cylinder to another tank, or choose the tank in its list.",
        "No cylinder draws from it.",
        "{0} draws from tank {1} now.",
        told,
        before,
    )
    drawn = () if data is None else (
        ("pressure", pressures(data, style)),
        ("pressure by stroke", pressures_by_stroke(data, style)),
    )  # fmt: skip
    yield Section(board=board, figures=drawn)


def _worst(data: AirCurves | None) -> tuple[str, str]:
    """The tightest cylinder, and what is said of it once it is another."""
    if data is None:
        return "The match plan draws no air: write it under 'plan', and the pressure is followed along it.", ""
    tight = [tank.worst for tank in data.tanks if tank.worst is not None]
    if not tight:
        return "No cylinder says what it must push or pull: give it a load, and what it needs is known.", ""
    level = min(tight, key=lambda found: found.margin or 0.0)
    margin = margin_text(level.margin)
    told = f"Tightest is '{level.cylinder}' with a margin of {margin}."
    return told, f"Before, the tightest margin was {margin}."


def _placed(name: str, tank: str, level: PressureNeeded | None, style: Style) -> Placed:
    """A cylinder on its tank, with what it needs and gets there in words and signs."""
    key = ("air", "cylinders", name, "tank")
    if level is None or level.lowest is None:
        return Placed(name, tank, key, "not used by the plan")
    lowest = style.show(level.lowest, "pressure", 3)
    if level.need is None or level.margin is None:
        return Placed(name, tank, key, f"gets at least {lowest}; its load is not in the file")
    good = level.margin >= 0
    told = f"needs {style.show(level.need, 'pressure', 3)}, gets {lowest} at its lowest"
    return Placed(name, tank, key, f"{'✓' if good else '✗'} {told}; margin {margin_text(level.margin)}", good)
