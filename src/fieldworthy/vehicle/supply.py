"""How long a cylinder's stroke takes, with the air that the plan leaves it."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import reduce

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.display import first
from fieldworthy.physics.gas.actuation import Cylinder, Stroke, actuation, extend_stroke, retract_stroke
from fieldworthy.physics.gas.air import Element, in_series, tube
from fieldworthy.physics.gas.tank import Circuit, Draw, after_draw, after_leak, fast_pressure, fill_pressure
from fieldworthy.robot.model.air import Cylinder as CylinderSpec
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import aligned, stacked


@dataclass(frozen=True, slots=True)
class AirUse:
    """A cylinder (or several on one valve) as its tank sees it.

    Attributes
    ----------
    name, tank : Of the cylinder and its tank
    spec : As the file gives it
    cylinder : Geometry of one cylinder with its tubing
    circuit : Its tank
    needs_gauge : Gauge pressure it needs on its way out and back [Pa]; None where the file says neither load nor
        pressure
    draws : Out and, for a double-acting cylinder, back; all cylinders on the valve together
    efficiency : Share of the force that friction leaves
    p_atm : Absolute pressure of the atmosphere [Pa]
    """

    name: str
    tank: str
    spec: CylinderSpec
    cylinder: Cylinder
    circuit: Circuit
    needs_gauge: tuple[Real, ...] | None
    draws: tuple[Draw, ...]
    efficiency: Real
    p_atm: Real

    def friction(self, p_abs: Real, area: Real) -> Real:
        """Friction of one cylinder's seals at a pressure."""
        return (1.0 - self.efficiency) * np.maximum(p_abs - self.p_atm, 0.0) * area


def use_of(context: Context, name: str) -> AirUse:
    """Look at one cylinder as its tank sees it."""
    return context.once(("air use", name), lambda: _use(context, name))


def _use(context: Context, name: str) -> AirUse:
    robot = context.robot
    spec = robot.air.cylinders[name]
    kind = robot.catalogue.cylinders[spec.cylinder]
    tubing = np.pi / 4 * robot.air.supply.tube_bore**2 * spec.tube + spec.dead_volume
    # a cylinder never has no dead volume at all; a tenth of a cubic centimetre is its end cushion
    dead = np.maximum(tubing, 1e-7)
    cylinder = Cylinder(kind.bore, kind.rod, kind.stroke, dead, dead, not kind.single_acting, (kind.spring, 0.0))
    circuit = state.circuits(context)[spec.tank]
    needs = _needs(spec, cylinder, kind.efficiency)
    ways = [(cylinder.dead_extend, cylinder.dead_extend + cylinder.swept_extend)]
    if cylinder.double_acting:
        ways.append((cylinder.dead_retract, cylinder.dead_retract + cylinder.swept_retract))
    gauge = needs or (0.0, 0.0)
    draws = tuple(
        Draw(a * spec.count, b * spec.count, circuit.p_set, state.p_atm(context) + need)
        for (a, b), need in zip(ways, gauge, strict=False)
    )
    return AirUse(name, spec.tank, spec, cylinder, circuit, needs, draws, kind.efficiency, state.p_atm(context))


def _needs(spec: CylinderSpec, cylinder: Cylinder, efficiency: Real) -> tuple[Real, ...] | None:
    """Gauge pressure that holds the load at the end of each stroke, or what the team found."""
    ways = 2 if cylinder.double_acting else 1
    if spec.needs is not None:
        return (spec.needs,) * ways
    if first(spec.push_load) == 0 and first(spec.pull_load) == 0:
        return None
    push = (spec.push_load / spec.count + cylinder.spring_force(cylinder.stroke)) / (efficiency * cylinder.piston_area)
    pull = spec.pull_load / spec.count / (efficiency * cylinder.ring_area)
    return (np.maximum(push, 0.0), np.maximum(pull, 0.0))[:ways]


@dataclass(frozen=True, slots=True)
class PlanDraw:
    """One draw of the plan.

    Attributes
    ----------
    name : The cylinder
    time : Nominal, from the start of the match [s]
    wait : Since the draw before, of any cylinder [s]
    draw : Volumes and pressures [SI]
    action : What it belongs to
    way : 0 out, 1 back
    """

    name: str
    time: float
    wait: float
    draw: Draw
    action: str
    way: int


@dataclass(frozen=True, slots=True)
class Lowest:
    """The lowest pressure that a cylinder is filled with on one of its ways.

    Attributes
    ----------
    gauge : Gauge pressure [Pa]
    when : In words
    """

    gauge: Real
    when: str


@dataclass(slots=True)
class PlanAir:
    """Pressure along the plan.

    Attributes
    ----------
    draws : In order of time
    times, gauge : By tank: nominal times [s] and gauge pressure right after each draw [Pa], shape (k,) or (k, n)
    lowest : By cylinder: where it gets least pressure, out and back
    cycles : By cylinder: strokes out and back in the plan
    end_gauge, fast_gauge : By tank: gauge pressure after the plan, warm, and as the adiabatic lower bound [Pa]
    """

    draws: list[PlanDraw]
    times: dict[str, list[float]] = field(default_factory=dict)
    gauge: dict[str, list[Array]] = field(default_factory=dict)
    lowest: dict[str, tuple[Lowest, ...]] = field(default_factory=dict)
    cycles: dict[str, int] = field(default_factory=dict)
    end_gauge: dict[str, Real] = field(default_factory=dict)
    fast_gauge: dict[str, Real] = field(default_factory=dict)


def air_along_plan(context: Context) -> PlanAir:
    """Play the plan's draws through the tanks, with leaks between them."""
    return context.once(("air plan",), lambda: _played(context))


def _draws(context: Context) -> list[PlanDraw]:
    found: list[PlanDraw] = []
    last = 0.0
    for beat in state.schedule(context):
        for name, strokes in context.robot.actions[beat.action].strokes.items():
            draws = use_of(context, name).draws
            for way, draw in list(enumerate(draws)) * strokes:
                found.append(PlanDraw(name, beat.ends, beat.ends - last, draw, beat.action, way))
                last = beat.ends
    return found


def _played(context: Context) -> PlanAir:
    plan = PlanAir(_draws(context))
    p_atm = state.p_atm(context)
    pressure = {name: circuit.p_charge for name, circuit in state.circuits(context).items()}
    reached: dict[str, list[tuple[int, Lowest]]] = {}
    since = dict.fromkeys(pressure, 0.0)
    for draw in plan.draws:
        tank = context.robot.air.cylinders[draw.name].tank
        circuit = state.circuits(context)[tank]
        rested = after_leak(pressure[tank], draw.time - since[tank], circuit.leak, p_atm)
        after = after_draw(rested, circuit.volume, draw.draw.V_before, draw.draw.V_after, p_atm, circuit.p_set)
        pressure[tank], since[tank] = after, draw.time
        filled = Lowest(fill_pressure(after, circuit.p_set) - p_atm, f"'{draw.action}' at {draw.time:.0f} s")
        reached.setdefault(draw.name, []).append((draw.way, filled))
        plan.times.setdefault(tank, []).append(draw.time)
        plan.gauge.setdefault(tank, []).append(np.asarray(after - p_atm))
    for name, values in reached.items():
        ways = range(len(use_of(context, name).draws))
        plan.lowest[name] = tuple(min((filled for w, filled in values if w == way), key=_pressure) for way in ways)
        plan.cycles[name] = len(values) // len(ways)
    _ends(context, plan, pressure)
    return plan


def _pressure(lowest: Lowest) -> float:
    return first(lowest.gauge)


def _ends(context: Context, plan: PlanAir, pressure: dict[str, Real]) -> None:
    for name, warm in pressure.items():
        if name in plan.times:
            fast = fast_pressure(warm, state.circuits(context)[name].p_charge)
            plan.end_gauge[name] = warm - state.p_atm(context)
            plan.fast_gauge[name] = np.maximum(fast - state.p_atm(context), 0.0)


def air_line(context: Context, use: AirUse) -> Element:
    """Put valve, fittings and tube of a cylinder in a row."""
    supply, classes = context.robot.air.supply, context.robot.catalogue
    valve = classes.valves[use.spec.valve]
    parts = [
        Element(valve.conductance, valve.critical_ratio),
        Element(supply.fitting, supply.fitting_critical_ratio),
        tube(supply.tube_bore, np.maximum(use.spec.tube, 1e-3)),
    ]
    whole = reduce(in_series, parts)
    return Element(whole.C / use.spec.count, whole.b)


def stroke_time(context: Context, name: str, way: int) -> Real:
    """Time a stroke at the lowest pressure that the plan leaves it.

    Notes
    -----
    The other side still holds the air of the stroke before; where a spring returns it, it is open to the atmosphere.
    The full charge counts for a cylinder that the plan does not use.
    """
    return context.once("stroke times", lambda: _times(context))[name, way]


def _times(context: Context) -> dict[tuple[str, int], Real]:
    """All strokes of all cylinders, solved together."""
    uses = [use_of(context, name) for name in context.robot.air.cylinders]
    asked = [(use, way) for use in uses for way in range(len(use.draws))]
    p_atm, plan = state.p_atm(context), air_along_plan(context)
    lines = {use.name: air_line(context, use) for use in uses}
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
    times = actuation(stroke, line, line, supply, vent, p_atm, context.season.temperature).time
    return {(use.name, way): time for (use, way), time in zip(asked, times, strict=True)}


def stroke_at(use: AirUse, supply: Real, way: int) -> Stroke:
    """Describe a stroke of one of the cylinders on a valve, with its share of load and mass and its own friction."""
    count, cylinder = use.spec.count, use.cylinder
    if way == 0:
        load = use.spec.push_load / count + use.friction(supply, cylinder.piston_area)
        return extend_stroke(cylinder, use.spec.moved / count, load)
    load = use.spec.pull_load / count + use.friction(supply, cylinder.ring_area)
    return retract_stroke(cylinder, use.spec.moved / count, load)
