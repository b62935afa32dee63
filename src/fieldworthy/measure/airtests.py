"""Gauge before and after cycles of one cylinder: its dead volume, and the air that a cycle takes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import DisplayUnits
from fieldworthy.files.document import KeyPath
from fieldworthy.measure.files import Asked, Measured, deviation, priors, scatter_note, told
from fieldworthy.measure.fitting import PER_95, Belief, Parameter, Solution, Weighed, weighed
from fieldworthy.measure.model import AirCycles, Leak
from fieldworthy.measure.prediction import Readings, predictions
from fieldworthy.measure.result import Fitted, Moved, Prediction, Procedure, Residuals, Unidentified
from fieldworthy.physics.gas.air import free_air
from fieldworthy.physics.gas.tank import after_draw
from fieldworthy.units import show
from fieldworthy.vehicle.supply import use_of

_FULL, _RATE = "gauge at the first look", "leak rate"
_TOLD = 0.95  # of what the file leaves open: readings that leave more tell less than the file
_UNSURE = 0.5  # of the rate: a rate known less well than that gives no half time with an end


def fit_leak(section: Leak, measured: Measured, name: str) -> Procedure:
    """Find the time in which the gauge pressure halves at rest.

    Notes
    -----
    ``p = p0 2^(-r t)`` of the gauge pressure, fitted for the rate r, in which the readings are nearly linear; the half
    time is 1/r.
    """
    time = np.array([float(r.time) for r in section.readings])
    gauge = np.array([float(r.pressure) for r in section.readings])
    span, error = float(np.ptp(time)), float(section.error) / PER_95

    def predicted(values: Array) -> Array:
        """Gauge at the times of the readings [Pa]."""
        return np.asarray(values[0] * np.exp2(-values[1] * (time - time.min())))

    def residual(values: Array) -> Array:
        """Readings less model, in standard deviations."""
        return (gauge - predicted(values)) / error

    start = max(float(gauge[np.argmin(time)]), error)
    parameters = [
        Parameter(_FULL, start, 0.5 * start),
        Parameter(_RATE, _guess(time, gauge), 3.0 / span, low=0.0),
    ]
    found = weighed(residual, parameters, priors(measured, _leak_belief(measured, name), section.date))
    solution = found.together
    fitted, blind, notes = _told(found, measured, name, span)
    held = _leak_held(measured, name, time, gauge, error) if time.size > 1 else ()
    both = tuple(gauge.tolist()), tuple(predicted(solution.values).tolist())
    plot = Residuals(f"Gauge of tank '{name}'", "time", "time", tuple(time.tolist()), "pressure", *both)
    unit = DisplayUnits.of(measured.robot.quantities).units["pressure"]
    notes += scatter_note(solution, float(section.error), "pressure", unit)
    return Procedure(f"leaks.{name}", f"Leak of tank '{name}'", section.date, fitted, blind, (plot,), notes,
                     ("practice",), predictions=held)  # fmt: skip


def _leak_belief(measured: Measured, name: str) -> Iterator[Belief]:
    """What the file says of the rate, where it states a half time."""
    key = ("air", "tanks", name, "leak_half_time")
    stated = measured.quantities.get(key)
    if stated is not None and stated.tolerance > 0.0:
        yield Belief(_RATE, key, "frequency", 1.0 / stated.si, stated.tolerance / PER_95 / stated.si**2)


def _leak_held(measured: Measured, name: str, time: Array, gauge: Array, error: float) -> tuple[Prediction, ...]:
    """What the file's half time predicts of the later readings, from the first one."""
    key = ("air", "tanks", name, "leak_half_time")
    stated = measured.quantities.get(key)
    if stated is None or stated.tolerance <= 0.0:
        return ()
    order = np.argsort(time, kind="stable")
    since, later = (time - time.min())[order[1:]], gauge[order[1:]]

    def residual(values: Array) -> Array:
        """Later readings less what the first one and the half time predict, in standard deviations."""
        return np.asarray((later - values[0] * np.exp2(-since / values[1])) / error)

    half = f"half time of the leak of tank '{name}'"
    parameters = [
        Parameter(_FULL, float(gauge[order[0]]), 10.0 * error, given=error),
        Parameter(half, stated.si, stated.si, low=1e-3 * stated.si),
    ]
    beliefs = [Belief(half, key, "time", stated.si, stated.tolerance / PER_95)]
    labels = tuple(f"after {show(float(t), 'time', 'min', 2)}" for t in since)
    group = Readings(f"gauge of tank '{name}'", "pressure", later, np.full(later.shape, error), labels)
    return predictions(residual, parameters, beliefs, [group], measured)


def _guess(time: Array, gauge: Array) -> float:
    first, last = int(np.argmin(time)), int(np.argmax(time))
    fall = max(float(gauge[first]), 1.0) / max(float(gauge[last]), 1.0)
    return max(math.log2(max(fall, 1.0)), 1e-3) / float(np.ptp(time))


def _told(
    found: Weighed, measured: Measured, name: str, span: float
) -> tuple[tuple[Fitted, ...], tuple[Unidentified, ...], tuple[str, ...]]:
    label, key = f"half time of the leak of tank '{name}'", ("air", "tanks", name, "leak_half_time")
    solution, belief = found.together, found.used.get(_RATE)
    rate, half = solution.value(_RATE), solution.half_width(_RATE)
    tells = belief is None or half < _TOLD * PER_95 * belief.deviation
    if half <= _UNSURE * rate and tells:
        value, width = _half_time(solution)
        was = None
        if belief is not None:
            by_file = 1.0 / belief.value, PER_95 * belief.deviation / belief.value**2
            known = found.alone.half_width(_RATE) <= _UNSURE * found.alone.value(_RATE)
            was = Moved(*by_file, *(_half_time(found.alone) if known else (None, None)))
        return (Fitted(label, key, "time", value, width, moved=was),), (), ()
    unit = measured.quantities[key].unit if key in measured.quantities else "min"
    rate, half = found.alone.value(_RATE), found.alone.half_width(_RATE)
    least = 1.0 / max(rate + half, 1e-12)
    again = max(4.0 * span, 0.2 * least)
    reading = f"wait longer, {show(again, 'time', 'min', 2)} or more between the first look and the last"
    why = "the gauge has fallen by no more than its own reading error explains"
    if half <= _UNSURE * rate:
        why = "the file knows it better than these readings tell it"
    note = f"Tank '{name}' is tight as far as these readings tell: its pressure halves in no less than "
    return (), (Unidentified(label, key, why, reading),), (f"{note}{show(least, 'time', unit)}.",)


def _half_time(solution: Solution) -> tuple[float, float]:
    """Time in which the gauge halves, with the half width of its interval [s]."""
    return solution.derived(lambda v: 1.0 / max(float(v[1]), 1e-12))


TANK, SWEPT = "volume of the tank", "swept volume as a share of what bore and stroke give"
_WIDE = 0.3  # of the swept volume: a dead volume that is not known nearer than that tells nothing


@dataclass(frozen=True, slots=True)
class _Now:
    """What a fit tries: dead volume of one side of one cylinder [m3], tank [m3], swept volume over the nominal [-]."""

    dead: float
    tank: float
    swept: float


@dataclass(frozen=True, slots=True)
class _Rig:
    """A cylinder on its tank, as a cycle draws from it: all cylinders on the valve together.

    Attributes
    ----------
    count : Cylinders on the valve
    tubing : Volume of tube on each side of one cylinder [m3]
    swept : Volume that each stroke of a cycle sweeps in one cylinder [m3]
    tank : Volume of the tank [m3]
    p_atm, p_set : Absolute pressure of the atmosphere and of the regulator [Pa]
    """

    count: int
    tubing: float
    swept: tuple[float, ...]
    tank: float
    p_atm: float
    p_set: float

    def after(self, p_abs: Array, cycles: Array, now: _Now) -> Array:
        """Pressure after some cycles, warm again."""
        idle = self.count * max(self.tubing + now.dead, 1e-9)
        for done in range(int(cycles.max())):
            for swept in self.swept:
                full = idle + self.count * swept * now.swept
                next_ = after_draw(p_abs, now.tank, idle, full, self.p_atm, self.p_set)
                p_abs = np.where(done < cycles, next_, p_abs)
        return p_abs


def fit_cycles(section: AirCycles, measured: Measured, name: str) -> Procedure:
    """Find a cylinder's dead volume from the gauge before and after cycles.

    Notes
    -----
    Every stroke fills its side to what tank and side have in common, or to the regulator's setting: the mass balance of
    `physics.gas.tank.after_draw`, isothermal, for readings taken once the tank is warm again. The tube is taken
    from the robot file; tank, bore and stroke are known as well as their tolerances say.
    """
    rig = _rig(section, measured)
    parameters = _parameters(section, measured, rig)
    after, cycles = np.array([float(r.after) for r in section.runs]), np.array([r.cycles for r in section.runs])
    error = float(section.error) / PER_95
    tried = _trier(parameters, rig)

    def predicted(values: Array) -> Array:
        """Gauge after each run of cycles [Pa]."""
        return rig.after(values[-len(cycles) :] + rig.p_atm, cycles, tried(values)) - rig.p_atm

    def residual(values: Array) -> Array:
        """Readings less model, in standard deviations."""
        return np.asarray((after - predicted(values)) / error)

    ask = Asked(
        parameters[0].name, ("air", "cylinders", section.cylinder, "dead_volume"), "volume",
        "more cycles between the two readings, until the gauge has fallen by a third",
    )  # fmt: skip
    stated = Belief(
        parameters[0].name, ask.key, "volume",
        float(measured.robot.nominal.air.cylinders[section.cylinder].dead_volume), deviation(measured, ask.key),
    )  # fmt: skip
    found = weighed(residual, parameters, priors(measured, [stated], section.date))
    solution = found.together
    fitted, blind = told(found, [ask])
    notes = scatter_note(solution, float(section.error), "pressure", _unit(measured))
    if solution.unexplained:
        notes = (_both_ways(rig, section, predicted(solution.values)),)
    else:
        fitted = (*fitted, *_use(rig, solution, measured, section.cylinder))
    at = tuple(float(c) for c in cycles)
    labels = tuple(f"run {i + 1}" for i in range(len(cycles)))
    name_read = f"gauge after cycles of '{section.cylinder}'"
    group = Readings(name_read, "pressure", after, np.full(after.shape, error), labels)
    held = predictions(residual, parameters, [stated, *_known(measured, section, parameters)], [group], measured)
    both = tuple(after.tolist()), tuple(predicted(solution.values).tolist())
    plot = Residuals("Gauge after the cycles", "cycles", "ratio", at, "pressure", *both, labels)
    return Procedure(
        f"cycles.{name}", f"Cycles of '{section.cylinder}'", section.date,
        fitted, blind, (plot,), notes, ("cengel",), predictions=held,
    )  # fmt: skip


def _both_ways(rig: _Rig, section: AirCycles, gauges: Array) -> str:
    """What a cycle took by the gauge, beside the nearest that the cylinder can take."""
    fell = np.array([[float(r.before) - float(r.after), float(r.before) - g]
                     for r, g in zip(section.runs, gauges.tolist(), strict=True)])  # fmt: skip
    taken = np.asarray(free_air(fell, rig.tank)) / np.array([[float(r.cycles)] for r in section.runs])
    read, can = (show(float(v), "volume", "mL") for v in taken.mean(axis=0))
    return (
        f"By the gauge a cycle of '{section.cylinder}' took {read} of free air in the mean; bore, stroke and tank of "
        f"the file ask for {can} at the nearest. The readings and the file contradict each other."
    )


def _known(measured: Measured, section: AirCycles, parameters: Sequence[Parameter]) -> Iterator[Belief]:
    """What the robot file says of tank and cylinder, where a fit may move them."""
    spec = measured.robot.nominal.air.cylinders[section.cylinder]
    keys: dict[str, tuple[KeyPath, str]] = {
        TANK: (("catalogue", "tanks", measured.robot.nominal.air.tanks[spec.tank].tank, "volume"), "volume"),
        SWEPT: ((), "ratio"),  # bore and stroke together: no key holds it
    }
    for parameter in parameters:
        if parameter.name in keys and parameter.given is not None:
            yield Belief(parameter.name, *keys[parameter.name], parameter.start, parameter.given)


def _unit(measured: Measured) -> str:
    return DisplayUnits.of(measured.robot.quantities).units["pressure"]


def _rig(section: AirCycles, measured: Measured) -> _Rig:
    context = Context(measured.robot.nominal, measured.robot.nominal_season)
    use, robot = use_of(context, section.cylinder), measured.robot.nominal
    tubing = float(np.pi / 4.0 * robot.air.supply.tube_bore**2 * use.spec.tube)
    swept = [float(use.cylinder.swept_extend)]
    if use.cylinder.double_acting:
        swept.append(float(use.cylinder.swept_retract))
    circuit = use.circuit
    return _Rig(use.spec.count, tubing, tuple(swept), float(circuit.volume), float(use.p_atm), float(circuit.p_set))


def _parameters(section: AirCycles, measured: Measured, rig: _Rig) -> list[Parameter]:
    spec = measured.robot.nominal.air.cylinders[section.cylinder]
    tank = measured.robot.nominal.air.tanks[spec.tank]
    stated = float(spec.dead_volume)
    found = [
        Parameter(f"dead volume of cylinder '{section.cylinder}'", max(stated, 1e-8), _WIDE * max(rig.swept), low=0.0)
    ]
    off = deviation(measured, ("catalogue", "tanks", tank.tank, "volume")) * tank.count
    if off > 0.0:
        found.append(Parameter(TANK, rig.tank, 10.0 * off, low=0.1 * rig.tank, given=off))
    kind = measured.robot.nominal.catalogue.cylinders[spec.cylinder]
    at = ("catalogue", "cylinders", spec.cylinder)
    bore, stroke = deviation(measured, (*at, "bore")), deviation(measured, (*at, "stroke"))
    share = float(np.hypot(2.0 * bore / float(kind.bore), stroke / float(kind.stroke)))
    if share > 0.0:
        found.append(Parameter(SWEPT, 1.0, 10.0 * share, low=0.05, given=share))
    error = float(section.error) / PER_95
    befores: Sequence[float] = [float(run.before) for run in section.runs]
    return found + [Parameter(f"gauge before run {i + 1}", p, 10.0 * error, given=error) for i, p in enumerate(befores)]


def _trier(parameters: Sequence[Parameter], rig: _Rig) -> Callable[[Array], _Now]:
    """Takes what a fit tries from its parameters; what the robot file knows exactly is no parameter."""
    places = {p.name: i for i, p in enumerate(parameters)}

    def now(values: Array) -> _Now:
        """What is tried: dead volume, tank and swept volume."""
        tank = float(values[places[TANK]]) if TANK in places else rig.tank
        return _Now(float(values[0]), tank, float(values[places[SWEPT]]) if SWEPT in places else 1.0)

    return now


def _use(rig: _Rig, solution: Solution, measured: Measured, cylinder: str) -> tuple[Fitted, ...]:
    """Free air that one cycle takes from the full tank."""
    context = Context(measured.robot.nominal, measured.robot.nominal_season)
    full = np.array([float(use_of(context, cylinder).circuit.p_charge)])

    tried = _trier(solution.parameters, rig)

    def taken(values: Array) -> float:
        """Free air of one cycle from full tanks [m3]."""
        now = tried(values)
        return float(free_air(full[0] - rig.after(full, np.array([1]), now)[0], now.tank))

    value, half = solution.derived(taken)
    return (Fitted(f"free air that a cycle of '{cylinder}' takes from full tanks", (), "volume", value, half),)
