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
    need_gauge : float or ndarray or None
        Gauge pressure it needs [Pa]; None where the file says neither load nor pressure.
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
    need_gauge: Real | None
    draws: tuple[Draw, ...]
    efficiency: Real
    p_atm: Real

    def friction(self, p_abs: Real) -> Real:
        """Friction of one cylinder's seals at a pressure.

        Parameters
        ----------
        p_abs : float or ndarray
            Absolute supply pressure [Pa].

        Returns
        -------
        float or ndarray
            Friction force [N].
        """
        return (1.0 - self.efficiency) * np.maximum(p_abs - self.p_atm, 0.0) * self.cylinder.piston_area


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
    need = _need(spec, cylinder, kind.efficiency)
    p_need = subject.p_atm + (0.0 if need is None else need)
    ways = [(cylinder.dead_extend, cylinder.dead_extend + cylinder.swept_extend)]
    if cylinder.double_acting:
        ways.append((cylinder.dead_retract, cylinder.dead_retract + cylinder.swept_retract))
    draws = tuple(Draw(a * spec.count, b * spec.count, circuit.p_set, p_need) for a, b in ways)
    return AirUse(name, spec.tank, spec, cylinder, circuit, need, draws, kind.efficiency, subject.p_atm)


def _need(spec: CylinderSpec, cylinder: Cylinder, efficiency: Real) -> Real | None:
    """Gauge pressure that holds the larger load at the end of a stroke, or what the team found."""
    if spec.needs is not None:
        return spec.needs
    loaded = np.any(np.not_equal(spec.push_load, 0.0)) or np.any(np.not_equal(spec.pull_load, 0.0))
    if not loaded:
        return None
    push = (spec.push_load / spec.count + cylinder.spring_force(cylinder.stroke)) / (efficiency * cylinder.piston_area)
    if not cylinder.double_acting:
        return np.maximum(push, 0.0)
    pull = spec.pull_load / spec.count / (efficiency * cylinder.ring_area)
    return np.maximum(np.maximum(push, pull), 0.0)


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
    """

    name: str
    time: float
    wait: float
    draw: Draw
    action: str


@dataclass(slots=True)
class PlanAir:
    """Pressure along the plan.

    Attributes
    ----------
    draws : list of PlanDraw
        In order of time.
    times, gauge : dict
        By tank: nominal times [s] and gauge pressure right after each draw [Pa], shape (k,) or (k, n).
    lowest_gauge : dict
        By cylinder: lowest gauge pressure that it is filled with [Pa].
    lowest_at : dict
        By cylinder: when that is, in words.
    cycles : dict
        By cylinder: strokes out and back in the plan.
    end_gauge, fast_gauge : dict
        By tank: gauge pressure after the plan, warm, and as the adiabatic lower bound [Pa].
    """

    draws: list[PlanDraw]
    times: dict[str, list[float]] = field(default_factory=dict)
    gauge: dict[str, list[Array]] = field(default_factory=dict)
    lowest_gauge: dict[str, Real] = field(default_factory=dict)
    lowest_at: dict[str, str] = field(default_factory=dict)
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
            for draw in draws * strokes:
                found.append(PlanDraw(name, beat.ends, beat.ends - last, draw, beat.action))
                last = beat.ends
    return found


def _played(subject: Subject) -> PlanAir:
    plan = PlanAir(_draws(subject))
    p_atm = subject.p_atm
    pressure = {name: circuit.p_charge for name, circuit in subject.circuits.items()}
    reached: dict[str, list[Real]] = {}
    moments: dict[str, list[PlanDraw]] = {}
    since = dict.fromkeys(pressure, 0.0)
    for draw in plan.draws:
        tank = subject.robot.air.cylinders[draw.name].tank
        circuit = subject.circuits[tank]
        rested = after_leak(pressure[tank], draw.time - since[tank], circuit.leak, p_atm)
        after = after_draw(rested, circuit.volume, draw.draw.V_before, draw.draw.V_after, p_atm, circuit.p_set)
        pressure[tank], since[tank] = after, draw.time
        reached.setdefault(draw.name, []).append(fill_pressure(after, circuit.p_set) - p_atm)
        moments.setdefault(draw.name, []).append(draw)
        plan.times.setdefault(tank, []).append(draw.time)
        plan.gauge.setdefault(tank, []).append(np.asarray(after - p_atm))
    for name, values in reached.items():
        worst = min(range(len(values)), key=lambda i: first(values[i]))
        plan.lowest_gauge[name] = values[worst]
        plan.lowest_at[name] = f"'{moments[name][worst].action}' at {moments[name][worst].time:.0f} s"
        plan.cycles[name] = len(values) // len(use_of(subject, name).draws)
    _ends(subject, plan, pressure)
    return plan


def _ends(subject: Subject, plan: PlanAir, pressure: dict[str, Real]) -> None:
    for name, warm in pressure.items():
        if name in plan.times:
            fast = fast_pressure(warm, subject.circuits[name].p_charge)
            plan.end_gauge[name] = warm - subject.p_atm
            plan.fast_gauge[name] = np.maximum(fast - subject.p_atm, 0.0)
