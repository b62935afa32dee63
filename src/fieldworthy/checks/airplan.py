"""The air that the plan draws: each cylinder as its tank sees it, and the pressure along the plan."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from fieldworthy.checks.finding import Array, Real
from fieldworthy.checks.showing import first
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.cylinder import Cylinder
from fieldworthy.physics.layout import Circuit
from fieldworthy.physics.tank import Draw, after_draw, after_leak, fast_pressure, fill_pressure
from fieldworthy.robot.model import Cylinder as CylinderSpec


@dataclass(frozen=True, slots=True)
class AirUse:
    """A cylinder (or several on one valve) as its tank sees it.

    Attributes
    ----------
    name, tank : str
        Of the cylinder and its tank.
    spec : robot.model.Cylinder
        As the file gives it.
    cylinder : physics.cylinder.Cylinder
        Geometry of one cylinder with its tubing.
    circuit : Circuit
        Its tank.
    needs_gauge : tuple of float or ndarray, or None
        Gauge pressure it needs on its way out and back [Pa]; None where the file says neither load nor pressure.
    draws : tuple of Draw
        Out and, for a double-acting cylinder, back; all cylinders on the valve together.
    efficiency : float or ndarray
        Share of the force that friction leaves [-].
    p_atm : float or ndarray
        Absolute pressure of the atmosphere [Pa].
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
        """Friction of one cylinder's seals at a pressure.

        Parameters
        ----------
        p_abs : float or ndarray
            Absolute supply pressure [Pa].
        area : float or ndarray
            Piston area that it acts on [m2].

        Returns
        -------
        float or ndarray
            Friction force [N].
        """
        return (1.0 - self.efficiency) * np.maximum(p_abs - self.p_atm, 0.0) * area


def use_of(subject: Subject, name: str) -> AirUse:
    """Look at one cylinder as its tank sees it.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].
    name : str
        The cylinder's name [-].

    Returns
    -------
    AirUse
        Geometry, circuit, need and draws [SI].
    """
    return subject.remember(("air use", name), lambda: _use(subject, name))


def _use(subject: Subject, name: str) -> AirUse:
    robot = subject.robot
    spec = robot.air.cylinders[name]
    kind = robot.catalogue.cylinders[spec.cylinder]
    tubing = np.pi / 4 * robot.air.supply.tube_bore**2 * spec.tube + spec.dead_volume
    # a cylinder never has no dead volume at all; a tenth of a cubic centimetre is its end cushion
    dead = np.maximum(tubing, 1e-7)
    cylinder = Cylinder(kind.bore, kind.rod, kind.stroke, dead, dead, not kind.single_acting, (kind.spring, 0.0))
    circuit = subject.circuits[spec.tank]
    needs = _needs(spec, cylinder, kind.efficiency)
    ways = [(cylinder.dead_extend, cylinder.dead_extend + cylinder.swept_extend)]
    if cylinder.double_acting:
        ways.append((cylinder.dead_retract, cylinder.dead_retract + cylinder.swept_retract))
    gauge = needs or (0.0, 0.0)
    draws = tuple(
        Draw(a * spec.count, b * spec.count, circuit.p_set, subject.p_atm + need)
        for (a, b), need in zip(ways, gauge, strict=False)
    )
    return AirUse(name, spec.tank, spec, cylinder, circuit, needs, draws, kind.efficiency, subject.p_atm)


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
    name : str
        The cylinder.
    time : float
        Nominal, from the start of the match [s].
    wait : float
        Since the draw before, of any cylinder [s].
    draw : Draw
        Volumes and pressures [SI].
    action : str
        What it belongs to.
    way : int
        0 out, 1 back.
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
    gauge : float or ndarray
        Gauge pressure [Pa].
    when : str
        In words.
    """

    gauge: Real
    when: str


@dataclass(slots=True)
class PlanAir:
    """Pressure along the plan.

    Attributes
    ----------
    draws : list of PlanDraw
        In order of time.
    times, gauge : dict
        By tank: nominal times [s] and gauge pressure right after each draw [Pa], shape (k,) or (k, n).
    lowest : dict
        By cylinder: where it gets least pressure, out and back.
    cycles : dict
        By cylinder: strokes out and back in the plan.
    end_gauge, fast_gauge : dict
        By tank: gauge pressure after the plan, warm, and as the adiabatic lower bound [Pa].
    """

    draws: list[PlanDraw]
    times: dict[str, list[float]] = field(default_factory=dict)
    gauge: dict[str, list[Array]] = field(default_factory=dict)
    lowest: dict[str, tuple[Lowest, ...]] = field(default_factory=dict)
    cycles: dict[str, int] = field(default_factory=dict)
    end_gauge: dict[str, Real] = field(default_factory=dict)
    fast_gauge: dict[str, Real] = field(default_factory=dict)


def air_along_plan(subject: Subject) -> PlanAir:
    """Play the plan's draws through the tanks, with leaks between them.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].

    Returns
    -------
    PlanAir
        Pressures by tank and cylinder [SI].
    """
    return subject.remember(("air plan",), lambda: _played(subject))


def _draws(subject: Subject) -> list[PlanDraw]:
    found: list[PlanDraw] = []
    last = 0.0
    for beat in subject.schedule:
        for name, strokes in subject.robot.actions[beat.action].strokes.items():
            draws = use_of(subject, name).draws
            for way, draw in list(enumerate(draws)) * strokes:
                found.append(PlanDraw(name, beat.ends, beat.ends - last, draw, beat.action, way))
                last = beat.ends
    return found


def _played(subject: Subject) -> PlanAir:
    plan = PlanAir(_draws(subject))
    p_atm = subject.p_atm
    pressure = {name: circuit.p_charge for name, circuit in subject.circuits.items()}
    reached: dict[str, list[tuple[int, Lowest]]] = {}
    since = dict.fromkeys(pressure, 0.0)
    for draw in plan.draws:
        tank = subject.robot.air.cylinders[draw.name].tank
        circuit = subject.circuits[tank]
        rested = after_leak(pressure[tank], draw.time - since[tank], circuit.leak, p_atm)
        after = after_draw(rested, circuit.volume, draw.draw.V_before, draw.draw.V_after, p_atm, circuit.p_set)
        pressure[tank], since[tank] = after, draw.time
        filled = Lowest(fill_pressure(after, circuit.p_set) - p_atm, f"'{draw.action}' at {draw.time:.0f} s")
        reached.setdefault(draw.name, []).append((draw.way, filled))
        plan.times.setdefault(tank, []).append(draw.time)
        plan.gauge.setdefault(tank, []).append(np.asarray(after - p_atm))
    for name, values in reached.items():
        ways = range(len(use_of(subject, name).draws))
        plan.lowest[name] = tuple(min((filled for w, filled in values if w == way), key=_pressure) for way in ways)
        plan.cycles[name] = len(values) // len(ways)
    _ends(subject, plan, pressure)
    return plan


def _pressure(lowest: Lowest) -> float:
    return first(lowest.gauge)


def _ends(subject: Subject, plan: PlanAir, pressure: dict[str, Real]) -> None:
    for name, warm in pressure.items():
        if name in plan.times:
            fast = fast_pressure(warm, subject.circuits[name].p_charge)
            plan.end_gauge[name] = warm - subject.p_atm
            plan.fast_gauge[name] = np.maximum(fast - subject.p_atm, 0.0)
