"""Pressure in each tank along the match plan, and where each cylinder gets less than it needs."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from fieldworthy.checks.air import worse_way
from fieldworthy.checks.airplan import AirUse, PlanAir, PlanDraw, air_along_plan, use_of
from fieldworthy.checks.finding import WIDEST, Array
from fieldworthy.checks.showing import first
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.layout import Circuit
from fieldworthy.physics.tank import after_leak, fill_pressure

_MOST_PIECES = 12  # of the curve between two strokes; a leak bends it


@dataclass(frozen=True, slots=True)
class Stroke:
    """One stroke that draws from a tank.

    Attributes
    ----------
    time : float
        From the start of the match [s].
    number : int
        Which stroke on this tank it is, from 1.
    cylinder, action : str
        Names.
    way : int
        0 out, 1 back.
    filled : float
        Gauge pressure that it is filled with [Pa].
    need : float or None
        Gauge pressure that it needs on this way [Pa]; None where the file does not say.
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
class Level:
    """What one cylinder needs and gets, on the way on which it has least to spare.

    Attributes
    ----------
    cylinder : str
        Its name.
    way : int
        0 out, 1 back.
    need : float or None
        Gauge pressure [Pa]; None where the file does not say.
    lowest : float or None
        Gauge pressure that it gets at its lowest [Pa]; None where the plan never uses it.
    margin : float or None
        0 at the need, 1 is the need's own size above it; as the finding ``air.pressure`` has it [-].
    short : Stroke or None
        The first stroke, either way, that gets less than it needs.
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
    name : str
        Of the tank.
    time, gauge : ndarray of shape (k,)
        The pressure as a line [s, Pa gauge]; strokes are steps in it.
    drawn : ndarray of shape (k,)
        Strokes drawn so far [-].
    charge : float
        Gauge pressure at the start [Pa].
    setting : float or None
        Gauge pressure of its regulator [Pa]; None without one.
    strokes : tuple of Stroke
        In order.
    levels : tuple of Level
        Of every cylinder on it, in the file's order.
    """

    name: str
    time: Array
    gauge: Array
    drawn: Array
    charge: float
    setting: float | None
    strokes: tuple[Stroke, ...]
    levels: tuple[Level, ...]

    @property
    def cylinders(self) -> tuple[str, ...]:
        """The cylinders on it."""
        return tuple(level.cylinder for level in self.levels)

    @property
    def worst(self) -> Level | None:
        """The cylinder with least to spare, of those whose need is known and which the plan uses."""
        judged = [level for level in self.levels if level.margin is not None]
        return min(judged, key=lambda level: level.margin or 0.0) if judged else None


@dataclass(frozen=True, slots=True)
class AirCurves:
    """All tanks along the plan.

    Attributes
    ----------
    tanks : tuple of TankCurve
        In the file's order.
    autonomous, end : float
        When the autonomous period and the match end [s].
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


def air_curves(subject: Subject) -> AirCurves | None:
    """Follow the pressure in each tank along the match plan.

    Parameters
    ----------
    subject : Subject
        Robot and season, nominal [SI].

    Returns
    -------
    AirCurves or None
        None where the plan draws no air [SI].
    """
    subject = subject.nominal
    plan, periods = air_along_plan(subject), subject.season.periods
    if not plan.draws:
        return None
    autonomous = first(periods.autonomous)
    end = max(autonomous + first(periods.driven), plan.draws[-1].time)
    tanks = tuple(_tank(subject, plan, name, end) for name in subject.robot.air.tanks)
    return AirCurves(tanks, autonomous, end)


def rearranged(subject: Subject, layout: Mapping[str, str]) -> Subject:
    """Put cylinders on other tanks, everything else as it is.

    Parameters
    ----------
    subject : Subject
        Robot and season, nominal [SI].
    layout : mapping of str to str
        Tank by cylinder; a cylinder that is not named stays where it is [-].

    Returns
    -------
    Subject
        The robot so arranged, with the same plan [SI].

    Raises
    ------
    ValueError
        When the robot has no such cylinder or tank.
    """
    subject = subject.nominal
    air = subject.robot.air
    for name, tank in layout.items():
        if name not in air.cylinders or tank not in air.tanks:
            raise ValueError(f"no cylinder {name!r} or no tank {tank!r} on this robot")
    moved = {n: dataclasses.replace(c, tank=layout.get(n, c.tank)) for n, c in air.cylinders.items()}
    robot = dataclasses.replace(subject.robot, air=dataclasses.replace(air, cylinders=moved))
    changed = Subject(robot, subject.season)
    # when things happen does not depend on the tanks
    changed.remember("schedule", lambda: subject.schedule)
    return changed


def _tank(subject: Subject, plan: PlanAir, name: str, end: float) -> TankCurve:
    circuit, p_atm = subject.circuits[name], first(subject.p_atm)
    uses = [use_of(subject, n) for n, spec in subject.robot.air.cylinders.items() if spec.tank == name]
    draws = [d for d in plan.draws if subject.robot.air.cylinders[d.name].tank == name]
    after = [first(g) for g in plan.gauge.get(name, [])]
    strokes = tuple(_strokes(subject, circuit, draws, after))
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
        tuple(_level(use, plan, strokes) for use in uses),
    )


def _strokes(subject: Subject, circuit: Circuit, draws: list[PlanDraw], after: list[float]) -> Iterable[Stroke]:
    p_atm = first(subject.p_atm)
    for number, (draw, gauge) in enumerate(zip(draws, after, strict=True), 1):
        needs = use_of(subject, draw.name).needs_gauge
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


def _level(use: AirUse, plan: PlanAir, strokes: Iterable[Stroke]) -> Level:
    own = [stroke for stroke in strokes if stroke.cylinder == use.name]
    short = next((stroke for stroke in own if stroke.short), None)
    if use.needs_gauge is None:
        lowest = min((stroke.filled for stroke in own), default=None)
        return Level(use.name, 0, None, lowest, None, None)
    if not own:
        needs = [first(need) for need in use.needs_gauge]
        way = int(np.argmax(needs))
        return Level(use.name, way, needs[way], None, None, None)
    found, need, way = worse_way(use, plan)
    wanted, lowest = first(need), first(found.gauge)
    margin = float(np.clip((lowest - wanted) / max(abs(wanted), 1e-9), -WIDEST, WIDEST))
    return Level(use.name, way, wanted, lowest, margin, short)
