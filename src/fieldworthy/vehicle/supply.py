"""What the plan leaves each cylinder of the air, how long its stroke takes with that, and which tank suits it best."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import reduce

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.engine.system import RodLoad, systems
from fieldworthy.physics.gas.actuation import Cylinder, Source, Stroke, actuation, extend_stroke, retract_stroke
from fieldworthy.physics.gas.air import Element, in_series, tube
from fieldworthy.physics.gas.tank import (
    Circuit,
    Demand,
    Draw,
    after_draw,
    after_leak,
    all_layouts,
    fast_pressure,
    fill_pressure,
    worst_margins,
)
from fieldworthy.robot.model.machine import Cylinder as CylinderSpec
from fieldworthy.robot.model.season import Repeat
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
    needs_gauge : Gauge pressure that it needs at the end of its way out and back, below which it fails [Pa]; None
        where neither load nor pressure is known
    keeps_gauge : Those of them that have to be kept up after the stroke, by way [Pa]
    asked : What its mechanisms ask of its rods, whatever the file states
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
    keeps_gauge: dict[int, Real]
    asked: tuple[RodLoad, ...]
    draws: tuple[Draw, ...]
    efficiency: Real
    p_atm: Real

    def friction(self, p_abs: Real, area: Real) -> Real:
        """Friction of one cylinder's seals at a pressure."""
        return (1.0 - self.efficiency) * np.maximum(p_abs - self.p_atm, 0.0) * area

    def area(self, way: int) -> Real:
        """Area of one piston that the air pushes on."""
        return self.cylinder.piston_area if way == 0 else self.cylinder.ring_area

    @property
    def spring_back(self) -> Real:
        """Force with which the return springs draw the rods back, friction of the seals taken off."""
        return self.spec.count * self.efficiency * self.cylinder.spring_force(0.0)

    def load(self, way: int) -> tuple[Real, Real] | None:
        """Load of all rods on a way at its start and its rise along it: the file's own, else its mechanism's."""
        stated = self.spec.push_load if way == 0 else self.spec.pull_load
        if np.any(np.asarray(stated) != 0.0):
            return stated, 0.0
        return next((load.moving for load in self.asked if load.way == way and load.moving is not None), None)

    def fed(self, way: int, share: Real, before_abs: Real) -> Real:
        """Gauge pressure behind the piston with a share of a way done, from a tank that stood at a pressure before."""
        draw, circuit = self.draws[way], self.circuit
        filled = draw.V_before + np.asarray(share) * (draw.V_after - draw.V_before)
        left = after_draw(before_abs, circuit.volume, draw.V_before, filled, self.p_atm, circuit.p_set)
        return fill_pressure(left, circuit.p_set) - self.p_atm


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
    asked = tuple(load for load in rod_loads(context) if load.cylinder == name)
    ways = [(cylinder.dead_extend, cylinder.dead_extend + cylinder.swept_extend)]
    if cylinder.double_acting:
        ways.append((cylinder.dead_retract, cylinder.dead_retract + cylinder.swept_retract))
    draws = tuple(Draw(a * spec.count, b * spec.count, circuit.p_set) for a, b in ways)
    p_atm = state.p_atm(context)
    bare = AirUse(name, spec.tank, spec, cylinder, circuit, None, {}, asked, draws, kind.efficiency, p_atm)
    needs = _needs(bare)
    if needs is None:
        return bare
    each = zip(draws, needs, strict=True)
    draws = tuple(replace(d, p_need=p_atm + n) for d, n in each)
    return replace(bare, needs_gauge=needs, keeps_gauge=_keeps(bare), draws=draws)


def rod_loads(context: Context) -> tuple[RodLoad, ...]:
    """What the mechanisms of all systems ask of the rods of their cylinders."""
    return context.once("rod loads", lambda: tuple(load for system in systems() for load in system.rods(context)))


ENDLESS = 1e8
"""Gauge pressure that stands for one that nothing gives [Pa]."""
BREAKAWAY = 1e4
"""Gauge pressure at which a free piston leaves its rest, as its seals stick; common practice, no source [Pa]."""


def _needs(use: AirUse) -> tuple[Real, ...] | None:
    """Gauge pressure that each way needs at its end: what the team found, else the most that a load asks for."""
    spec, ways = use.spec, range(len(use.draws))
    if spec.needs is not None:
        return tuple(spec.needs for _ in ways)
    stated = (spec.push_load, spec.pull_load)
    asked = {way: [_at_end(use, load) for load in use.asked if load.way == way] for way in ways}
    if first(spec.push_load) == 0 and first(spec.pull_load) == 0 and not any(asked.values()):
        return None
    # a load that is not stated is none of its own beside what a mechanism asks for
    own = [first(stated[way]) != 0.0 or not asked[way] for way in ways]
    known = [[*([_gauge(use, way, stated[way])] if own[way] else []), *asked[way]] for way in ways]
    return tuple(_started(reduce(np.maximum, each)) for each in known)


def _started(gauge: Real) -> Real:
    """Gauge pressure that moves a load at all: never less than what starts the piston, unless the load does that."""
    return np.clip(np.maximum(gauge, np.minimum(gauge + BREAKAWAY, BREAKAWAY)), 0.0, ENDLESS)


def _keeps(use: AirUse) -> dict[int, Real]:
    """Gauge pressure that what it holds after a stroke needs, by way: what the team found, else the load's."""
    found: dict[int, Real] = {}
    for load in use.asked:
        if load.kept and load.way < len(use.draws):
            asked = _at_end(use, load) if use.spec.needs is None else use.spec.needs
            found[load.way] = np.maximum(_started(asked), found.get(load.way, 0.0))
    return found


def _gauge(use: AirUse, way: int, force: Real) -> Real:
    """Gauge pressure with which the rods just hold a force."""
    spring = use.cylinder.spring_force(use.cylinder.stroke) if way == 0 else 0.0
    return (force / use.spec.count + spring) / (use.efficiency * use.area(way))


def _at_end(use: AirUse, load: RodLoad) -> Real:
    """Gauge pressure at the end of a way that a load along it asks for.

    Notes
    -----
    On the way tank and chamber share the same air, so that ``p (V + V_s)`` stays: the pressure at a place is higher
    than at the end. What a regulator does not give anywhere is not given at the end either.
    """
    draw, circuit = use.draws[load.way], use.circuit
    force, share = (x if np.ndim(x) > 1 else np.asarray(x)[:, None] for x in (load.force, load.share))
    there = _gauge(use, load.way, force) + use.p_atm
    filled = draw.V_before + share * (draw.V_after - draw.V_before)
    at_end = there * (circuit.volume + filled) / (circuit.volume + draw.V_after)
    most = np.asarray(np.where(there > circuit.p_set, there, at_end).max(axis=0)) - use.p_atm
    return most[0] if most.shape == (1,) else most


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
    """The pressure that a cylinder is filled with on one of its ways, where it is least (or most).

    Attributes
    ----------
    gauge : Gauge pressure once its air is drawn [Pa]
    when : In words
    before : Absolute pressure in the tank before [Pa]
    """

    gauge: Real
    when: str
    before: Real


@dataclass(slots=True)
class PlanAir:
    """Pressure along the plan.

    Attributes
    ----------
    draws : In order of time
    times, gauge : By tank: nominal times [s] and gauge pressure right after each draw [Pa], shape (k,) or (k, n)
    lowest : By cylinder: where it gets least pressure, out and back
    fullest : By cylinder: where it gets most on its way out
    cycles : By cylinder: strokes out and back in the plan
    end_gauge, fast_gauge : By tank: gauge pressure after the plan, warm, and as the adiabatic lower bound [Pa]
    kept : What is held to the end, as a draw of no air: cylinder, way, and the pressure that it needs
    """

    draws: list[PlanDraw]
    times: dict[str, list[float]] = field(default_factory=dict)
    gauge: dict[str, list[Array]] = field(default_factory=dict)
    lowest: dict[str, tuple[Lowest, ...]] = field(default_factory=dict)
    fullest: dict[str, Lowest] = field(default_factory=dict)
    cycles: dict[str, int] = field(default_factory=dict)
    end_gauge: dict[str, Real] = field(default_factory=dict)
    fast_gauge: dict[str, Real] = field(default_factory=dict)
    kept: list[PlanDraw] = field(default_factory=list)


def air_along_plan(context: Context) -> PlanAir:
    """Play the plan's draws through the tanks, with leaks between them."""
    return context.once(("air plan",), lambda: _played(context))


def planned(context: Context) -> set[str]:
    """The cylinders that the plan names, whether it gets to them or not."""
    plan, actions = context.robot.plan, context.robot.actions
    steps = [*plan.autonomous, *plan.driven, *(plan.finish.steps if plan.finish else ())] if plan is not None else []
    named = [one.action for step in steps for one in (step.repeat if isinstance(step, Repeat) else [step])]
    return {cylinder for action in named for cylinder in actions[action].strokes}


def unused(context: Context, name: str) -> str:
    """Why the plan has no stroke of a cylinder: it names none, or the drive cannot go there."""
    return "does not get to it" if name in planned(context) and state.undrivable(context) else "does not use it"


def pressed(context: Context, name: str) -> str:
    """At which pressure a cylinder's stroke is judged, in words."""
    if name in air_along_plan(context).lowest:
        return "at the lowest pressure of the plan"
    return f"at the full charge, as the plan {unused(context, name)}"


def _draws(context: Context) -> list[PlanDraw]:
    found: list[PlanDraw] = []
    each: dict[str, tuple[Draw, ...]] = {}  # a plan asks for the same cylinder again and again
    last = 0.0
    for beat in state.schedule(context):
        for name, strokes in context.robot.actions[beat.action].strokes.items():
            if name not in each:
                each[name] = use_of(context, name).draws
            for way, draw in list(enumerate(each[name])) * strokes:
                found.append(PlanDraw(name, beat.ends, beat.ends - last, draw, beat.action, way))
                last = beat.ends
    return found


_NEXT_TO_NOTHING = 1e-12
"""Volume of a draw that only asks for a pressure [m3]."""


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
        filled = Lowest(fill_pressure(after, circuit.p_set) - p_atm, f"'{draw.action}' at {draw.time:.0f} s", rested)
        reached.setdefault(draw.name, []).append((draw.way, filled))
        plan.times.setdefault(tank, []).append(draw.time)
        plan.gauge.setdefault(tank, []).append(np.asarray(after - p_atm))
    for name, values in reached.items():
        ways = range(len(use_of(context, name).draws))
        plan.lowest[name] = tuple(min((filled for w, filled in values if w == way), key=_pressure) for way in ways)
        plan.fullest[name] = max((filled for w, filled in values if w == 0), key=_pressure)
        plan.cycles[name] = len(values) // len(ways)
    _ends(context, plan, pressure)
    last = plan.draws[-1].time if plan.draws else 0.0
    for name in reached:
        use = use_of(context, name)
        for way, need in use.keeps_gauge.items():
            nothing = Draw(0.0, _NEXT_TO_NOTHING, use.circuit.p_set, p_atm + need)
            plan.kept.append(PlanDraw(name, last, 0.0, nothing, "", way))
    return plan


def _pressure(lowest: Lowest) -> float:
    return first(lowest.gauge)


def _ends(context: Context, plan: PlanAir, pressure: dict[str, Real]) -> None:
    for name, warm in pressure.items():
        if name in plan.times:
            fast = fast_pressure(warm, state.circuits(context)[name].p_charge)
            plan.end_gauge[name] = warm - state.p_atm(context)
            plan.fast_gauge[name] = np.maximum(fast - state.p_atm(context), 0.0)


@dataclass(frozen=True, slots=True)
class Low:
    """The least air that a cylinder has from its first stroke in the plan on.

    Attributes
    ----------
    gauge : Gauge pressure [Pa]
    when : In words
    """

    gauge: Real
    when: str


def lowest_after(context: Context, name: str) -> Low:
    """Find the lowest pressure behind a cylinder from its first stroke to the end of the plan."""
    use, plan = use_of(context, name), air_along_plan(context)
    begins = next((d.time for d in plan.draws if d.name == name), None)
    if begins is None:
        full = fill_pressure(use.circuit.p_charge, use.circuit.p_set) - state.p_atm(context)
        return Low(full, pressed(context, name))
    times = plan.times[use.tank]
    later = [i for i, time in enumerate(times) if time >= begins]
    worst = min(later, key=lambda i: first(plan.gauge[use.tank][i]))
    gauge = plan.gauge[use.tank][worst] + state.p_atm(context)
    return Low(fill_pressure(gauge, use.circuit.p_set) - state.p_atm(context), f"at {times[worst]:.0f} s of the plan")


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


def before_stroke(use: AirUse, context: Context, way: int) -> Real:
    """Absolute pressure in the tank before the stroke that gets least; the full charge where the plan has none."""
    lowest = air_along_plan(context).lowest.get(use.name)
    return use.circuit.p_charge if lowest is None else lowest[way].before


def stroke_time(context: Context, name: str, way: int) -> Real:
    """Time the slowest stroke of the plan on a way; the pressure falls further while it moves.

    Notes
    -----
    Air is slowest at the lowest pressure that the plan leaves it. A spring is slowest after the way out that got most:
    the same spring then has more air to push out. The other side still holds the air of the stroke before; where a
    spring returns it, it is open to the atmosphere. The full charge counts for a cylinder that the plan does not use.
    """
    return context.once("stroke times", lambda: _times(context))[name, way]


def _times(context: Context) -> dict[tuple[str, int], Real]:
    """All strokes of all cylinders, solved together."""
    uses = [use_of(context, name) for name in context.robot.air.cylinders]
    asked = [(use, way) for use in uses for way in (0, 1)]
    p_atm = state.p_atm(context)
    numbers = [_numbers(context, use, way) for use, way in asked]
    columns = aligned([stacked(column) for column in zip(*numbers, strict=True)])
    (area1, area2, dead1, dead2, length, mass, load, rise), (C, b, tank, volume, p_set, vent) = columns[:8], columns[8:]
    line, stroke = Element(C, b), Stroke(area1, area2, dead1, dead2, length, mass, (load, rise))
    source = Source(tank, volume, p_set)
    times = actuation(stroke, line, line, source, vent, p_atm, context.season.temperature).time
    return {(use.name, way): time for (use, way), time in zip(asked, times, strict=True)}


def _numbers(context: Context, use: AirUse, way: int) -> tuple[Real, ...]:
    """One stroke in numbers: what moves, its line, its source and what the other side holds."""
    line, source, vent = air_line(context, use), source_of(use, context, way), use.p_atm
    fed = np.minimum(source.p_tank_abs, source.p_set)
    left = fed if way >= len(use.draws) else use.fed(way, 1.0, source.p_tank_abs) + use.p_atm
    if use.cylinder.double_acting:
        vent = left
    elif way == 1:  # the spring pushes out what the way out was filled with
        fullest = air_along_plan(context).fullest.get(use.name)
        vent = use.fed(0, 1.0, use.circuit.p_charge if fullest is None else fullest.before) + use.p_atm
    s = stroke_at(use, fed, way, left)
    moved = (s.drive_area, s.vent_area, s.drive_dead, s.vent_dead, s.length, s.mass, *s.load)
    return (*moved, line.C, line.b, source.p_tank_abs, source.volume, source.p_set, vent)


def source_of(use: AirUse, context: Context, way: int) -> Source:
    """What feeds one of the cylinders on a valve: its share of the tank; the open air where a spring draws it back."""
    if way >= len(use.draws):
        return Source(use.p_atm)
    return Source(before_stroke(use, context, way), use.circuit.volume / use.spec.count, use.circuit.p_set)


def stroke_at(use: AirUse, supply: Real, way: int, left: Real | None = None) -> Stroke:
    """Describe a stroke of one of the cylinders on a valve, with its share of load and mass and its own friction.

    The seals rub with the pressure, which falls to what is left on the way.
    """
    count, cylinder = use.spec.count, use.cylinder
    begin, rise = use.load(way) or (0.0, 0.0)
    begin, rise = begin / count, rise / count / cylinder.stroke
    if way >= len(use.draws):
        rubs = less = (1.0 - use.efficiency) * cylinder.spring_force(0.0)
    else:
        rubs = use.friction(supply, use.area(way))
        less = rubs if left is None else use.friction(left, use.area(way))
    made = extend_stroke if way == 0 else retract_stroke
    # a guessed mass may be drawn at nothing or less
    mass = np.maximum(use.spec.moved / count, 1e-3)
    return made(cylinder, mass, begin + rubs, rise + (less - rubs) / cylinder.stroke)


_MOST_LAYOUTS = 60_000


@dataclass(frozen=True, slots=True)
class BestLayout:
    """The layout of cylinders on tanks whose worst mechanism has most to spare.

    Attributes
    ----------
    tanks : Tank by cylinder; every tank is called ``joined`` where joining them is best
    margin, now : Worst margin of that layout, and of the file's own
    """

    tanks: dict[str, str]
    margin: float
    now: float


def best_layout(context: Context, plan: PlanAir) -> BestLayout | None:
    """Try every layout of cylinders on tanks, joined tanks included, on the nominal numbers.

    Notes
    -----
    A cylinder whose need is not known draws its air like the others, but is never the worst one.
    """
    users = [n for n in context.robot.air.cylinders if n in plan.lowest]
    tanks = list(context.robot.air.tanks)
    known = any(use_of(context, n).needs_gauge is not None for n in users)
    if not known or not tanks or len(tanks) ** len(users) > _MOST_LAYOUTS:
        return None
    demands = [
        Demand(users.index(d.name), d.wait, first(d.draw.V_before), first(d.draw.V_after), first(d.draw.p_need))
        for d in (*plan.draws, *plan.kept)
    ]
    circuits = [_nominal_circuit(state.circuits(context)[name]) for name in tanks]
    p_atm = first(state.p_atm(context))
    layouts = all_layouts(len(users), len(tanks))
    margins = worst_margins(layouts, demands, circuits, p_atm)
    best = int(margins.argmax())
    own = [tanks.index(context.robot.air.cylinders[n].tank) for n in users]
    now = float(margins[(layouts == own).all(axis=1).argmax()])
    choice = {name: tanks[i] for name, i in zip(users, layouts[best], strict=True)}
    joined = worst_margins(np.zeros((1, len(users)), dtype=np.int64), demands, [_joined(circuits)], p_atm)
    if len(tanks) > 1 and joined[0] > margins[best]:
        return BestLayout(dict.fromkeys(users, "joined"), float(joined[0]), now)
    return BestLayout(choice, float(margins[best]), now)


def _nominal_circuit(circuit: Circuit) -> Circuit:
    return Circuit(first(circuit.volume), first(circuit.p_charge), first(circuit.p_set), first(circuit.leak))


def _joined(circuits: list[Circuit]) -> Circuit:
    volume = sum(first(c.volume) for c in circuits)
    charge = sum(first(c.volume) * first(c.p_charge) for c in circuits) / volume
    leaking = sum(first(c.volume) / first(c.leak) for c in circuits) / volume
    return Circuit(volume, charge, min(first(c.p_set) for c in circuits), 1.0 / leaking)
