"""A series of readings: what was read, how good it is, and what a trial of the drive says it should be."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.context import Context
from fieldworthy.files.declare import Real
from fieldworthy.files.document import KeyPath
from fieldworthy.measure.files import Measured, laid_over, listed_body, number_at
from fieldworthy.measure.fitting import PER_95, Belief, Parameter
from fieldworthy.measure.result import Residuals
from fieldworthy.measure.scales import fit_scales
from fieldworthy.robot.model.machine import Listed, Part, Pose, Weighed
from fieldworthy.robot.model.robot import Robot
from fieldworthy.vehicle import state
from fieldworthy.vehicle.drivetrain import Drive, DrivePerformance, performance_of
from fieldworthy.vehicle.stance import Stance

_SMALL = 1e-3
_LOOSE = 4.0  # spans: how far from the file's value anything is searched for


@dataclass(frozen=True, slots=True)
class Knob:
    """One number of the robot file, or several that only act together, to be found or known within a tolerance.

    Attributes
    ----------
    name : In the words of a sentence
    kind : A key of `fieldworthy.units.KINDS`
    keys : The keys of the robot file that it stands for
    nominal : As the file has it; the mean or the product of several [SI]
    parameter : How it is searched for
    shares : Whether the keys multiply to the number (stages of gearing) instead of having it as their mean
    told_by : Which reading would tell it; empty for what is known within a tolerance and not asked for
    of_the_day : True for what holds on that day alone and does not go into the robot file: a battery's charge
    """

    name: str
    kind: str
    keys: tuple[KeyPath, ...]
    nominal: float
    parameter: Parameter
    shares: bool = False
    told_by: str = ""
    of_the_day: bool = False

    def values(self, robot: Robot, value: Real) -> dict[KeyPath, Real]:
        """Give each key its part."""
        if len(self.keys) == 1 or self.nominal == 0.0:
            return dict.fromkeys(self.keys, value)
        power = 1.0 / len(self.keys) if self.shares else 1.0
        factor = np.maximum(value / self.nominal, 0.0) ** power
        return {key: number_at(robot, key) * factor for key in self.keys}


@dataclass(frozen=True, slots=True)
class Trial:
    """The drive with one set of trial numbers.

    Attributes
    ----------
    subject : The robot with the trial numbers laid over, as the checks see it; it remembers what is computed once
        for all readings [SI]
    unknowns : Every parameter of the fit by name, those of single runs too [SI]
    """

    subject: Context
    unknowns: Mapping[str, Real]
    _stances: Mapping[float, Stance]
    _pose: Pose

    @property
    def robot(self) -> Robot:
        """The robot with the trial numbers laid over [SI]."""
        return self.subject.robot

    @property
    def drive(self) -> Drive:
        """Battery to rims [SI]."""
        return state.drivetrain(self.subject)

    def performance(self, added: float) -> DrivePerformance:
        """Find what the drive makes of the robot with more mass on board."""
        stance = self._stances[added]
        return self.subject.once(("trial", added), lambda: performance_of(self.robot, self.drive, stance, self._pose))


class DriveModel:
    """A robot whose drive is tried with other numbers."""

    def __init__(self, measured: Measured, pose: str | None, added: Iterable[float]) -> None:
        self.robot = _as_weighed(measured)
        self.season, self.quantities = measured.robot.nominal_season, measured.quantities
        context = Context(self.robot, self.season)
        name = pose or state.driving_pose(context)
        if name is None or not self.robot.parts:
            raise ValueError("parts and a pose are needed")
        self.pose = self.robot.poses[name]
        middle = state.body(context, name).cg
        self.stances = {mass: self._loaded(context, name, mass, middle) for mass in {0.0, *added}}

    @staticmethod
    def _loaded(context: Context, pose: str, mass: float, middle: Array) -> Stance:
        if mass == 0.0:
            return state.stance(context, pose)
        place = (float(middle[0]), float(middle[1]), float(middle[2]))
        box = Part(mass=mass, position=place, size=(_SMALL, _SMALL, _SMALL), rides="chassis", count=1)
        parts = context.robot.parts | {"put on board for a run": box}
        return state.stance(Context(dataclasses.replace(context.robot, parts=parts), context.season), pose)

    @property
    def weighed_mass(self) -> float | None:
        """What the scales say of the whole robot; None where it is as heavy as its parts list [kg]."""
        weighed = self.robot.weighed
        return None if weighed is None or weighed.mass is None else float(weighed.mass)

    def trial(self, knobs: Iterable[Knob], unknowns: Mapping[str, Real]) -> Trial:
        """Try the drive with other numbers."""
        values: dict[KeyPath, Any] = {}
        for knob in knobs:
            values |= knob.values(self.robot, unknowns[knob.name])
        return Trial(Context(laid_over(self.robot, values), self.season), unknowns, self.stances, self.pose)

    def knobs(self) -> list[Knob]:
        """List what is asked for, then what is only known within its tolerance and acts on the readings."""
        return [*self._asked(), *self._known()]

    def beliefs(self, knobs: Iterable[Knob]) -> Iterator[Belief]:
        """What the robot file says of each number, with its tolerance; of several keys, of their mean or product."""
        for knob in knobs:
            parts = [(number_at(self.robot, key), self.quantities[key].tolerance / PER_95) for key in knob.keys]
            if knob.shares:
                off = knob.nominal * float(np.linalg.norm([sd / max(value, 1e-9) for value, sd in parts]))
            else:
                off = float(np.linalg.norm([sd for _, sd in parts])) / len(parts)
            yield Belief(knob.name, knob.keys[0], knob.kind, knob.nominal, off)

    def _asked(self) -> list[Knob]:
        battery: KeyPath = ("catalogue", "batteries", self.robot.battery)
        friction = number_at(self.robot, ("drive", "friction_torque"))
        voltage = number_at(self.robot, (*battery, "open_circuit"))
        name, rubbing = "voltage of the battery without load", "friction of the bearings"
        charge = _search(name, voltage, 1.0, 0.1 * voltage)
        return [
            Knob(rubbing, "torque", (("drive", "friction_torque"),), friction, _search(rubbing, friction, 0.02),
                 told_by=_ROLLING),
            self._rolling(),
            *self._gearing(),
            Knob(name, "voltage", ((*battery, "open_circuit"),), voltage, charge, told_by=_VOLTAGE, of_the_day=True),
            self._one("resistance of the battery", "resistance", (*battery, "resistance"), 0.1, _SAG),
            *self._grips(),
        ]  # fmt: skip

    def _one(self, name: str, kind: str, key: KeyPath, span: float, told_by: str) -> Knob:
        start = number_at(self.robot, key)
        return Knob(name, kind, (key,), start, _search(name, start, span), told_by=told_by)

    def _rolling(self) -> Knob:
        """Rolling resistance of all wheels: the drive feels their mean, so one factor moves every class."""
        classes = [w.wheel for w in self.robot.drive.wheels.values()]
        keys = tuple(("catalogue", "wheels", c, "rolling_resistance") for c in dict.fromkeys(classes))
        wheels = self.robot.catalogue.wheels
        mean = float(np.mean([float(wheels[c].rolling_resistance) for c in classes]))
        name = "rolling resistance of the wheels"
        return Knob(name, "ratio", keys, mean, _search(name, mean, max(mean, 0.01)), told_by=_ROLLING)

    def _gearing(self) -> Iterator[Knob]:
        """Efficiency of all stages together: the drive feels their product."""
        stages = self.robot.drive.stages
        if stages:
            keys = tuple(("drive", "stages", i, "efficiency") for i in range(len(stages)))
            product = float(np.prod([float(stage.efficiency) for stage in stages]))
            name = "efficiency of the gearing"
            parameter = Parameter(name, min(product, 0.999), 0.1, 0.2, 1.0, _LOOSE * 0.1)
            yield Knob(name, "ratio", keys, product, parameter, True, _CURRENT)

    def _grips(self) -> Iterator[Knob]:
        driven = list(dict.fromkeys(w.wheel for w in self.robot.drive.wheels.values() if w.driven))
        told = _SLIP if len(driven) == 1 else _SLIP + _DRAG
        for name in driven:
            yield self._one(f"grip of '{name}'", "ratio", ("catalogue", "wheels", name, "grip"), 0.2, told)

    def _known(self) -> list[Knob]:
        """Numbers of the motor and the wheels, known within the file's tolerances."""
        drive = self.robot.drive
        first = next(w for w in drive.wheels.values() if w.driven)
        motor: KeyPath = ("catalogue", "motors", drive.motor)
        named = [(f"motor's {word.replace('_', ' ')}", (*motor, word)) for word in _MOTOR]
        named.append(("wheel diameter", ("catalogue", "wheels", first.wheel, "diameter")))
        found = []
        for name, key in named:
            quantity = self.quantities[key]
            if quantity.tolerance > 0.0:
                given = quantity.tolerance / PER_95
                parameter = Parameter(name, quantity.si, _LOOSE * given, 0.2 * quantity.si, np.inf, given)
                found.append(Knob(name, quantity.kind, (key,), quantity.si, parameter))
        return found


def _as_weighed(measured: Measured) -> Robot:
    """The robot with what the scales of the same file say, and with what the parts list added up to kept as it is."""
    robot, scales, weighed = measured.robot.nominal, measured.readings.scales, measured.robot.nominal.weighed
    if scales is not None and robot.parts:
        found = [item for item in fit_scales(scales, measured).fitted if item.key[:1] == ("weighed",)]
        told = {str(item.key[1]): item.value for item in found}
        of = {axis: told.get(axis) for axis in ("mass", "x", "y", "z")}
        weighed = Weighed(**of, pose=scales.pose, listed=None)
    if weighed is None or not robot.parts:
        return robot
    if weighed.listed is None:
        then = listed_body(measured, weighed.pose)
        assert then is not None, "a robot with parts has a body"
        x, y, z = (float(c) for c in then.centre)
        weighed = dataclasses.replace(weighed, listed=Listed(mass=then.mass, x=x, y=y, z=z))
    return dataclasses.replace(robot, weighed=weighed)


def _search(name: str, start: float, span: float, low: float = 0.0) -> Parameter:
    """A number that is asked for: the search begins at the file's value, which counts next to nothing."""
    return Parameter(name, max(start, low + 1e-3 * span), span, low, np.inf, _LOOSE * span)


_MOTOR = ("free_speed", "stall_torque", "free_current", "stall_current", "power_cap", "current_limit", "rotor_inertia")
_ROLLING = (
    "coast with the robot's own weight and again with 2 kg or more on board: rolling grows with the weight, friction "
    "of the bearings does not"
)
_CURRENT = "log the motors' current on a run at full command, or push against a scale while the wheels hold"
_VOLTAGE = "log the voltage of a run at full command, and of a coast"
_SAG = "log the voltage of a run at full command: it sags while the motors pull"
_SLIP = "push against a scale until the wheels slip"
_DRAG = ", and drag a locked wheel of each class over the tiles with a scale"


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Readings of one kind from one run.

    Attributes
    ----------
    name : Title of its plot
    kind : A key of `fieldworthy.units.KINDS`
    observed : As read [SI]
    sd : Standard deviation of one reading [SI]
    predict : Takes a trial of the drive, gives the readings that it would lead to: shape (m,), or (m, k) where the
        trial holds k sets of numbers [SI]
    at : Time of each reading; its number where it has none [s]
    timed : Whether `at` is a time
    """

    name: str
    kind: str
    observed: Array
    sd: float | Array
    predict: Callable[[Trial], Array]
    at: Array
    timed: bool = True

    def whitened(self, trial: Trial) -> Array:
        """Give the residuals over their standard deviation."""
        return np.asarray((self.predict(trial).T - self.observed) / -np.asarray(self.sd)).T

    def residuals(self, trial: Trial) -> Residuals:
        """Put what was read beside what the fitted drive says."""
        axis, kind = ("time", "time") if self.timed else ("reading", "")
        both = (tuple(np.asarray(v, dtype=float).tolist()) for v in (self.observed, self.predict(trial)))
        return Residuals(self.name, axis, kind, tuple(self.at.tolist()), self.kind, *both)


@dataclass(frozen=True, slots=True)
class Run:
    """What one run contributes: series of readings, the unknowns of this run alone, and what was odd in it.

    Attributes
    ----------
    series : Its readings
    unknowns : Such as when it started
    notes : Sentences for people
    """

    series: Sequence[Series]
    unknowns: Sequence[Parameter] = ()
    notes: Sequence[str] = ()


def by_hand(name: str, kind: str, readings: Sequence[float], sd: float, predict: Callable[[Trial], Real]) -> Series:
    """Make a series of readings of one number, read again and again by hand."""
    observed = np.array([float(r) for r in readings])

    def all_alike(trial: Trial) -> Array:
        one = np.asarray(predict(trial), dtype=float)
        return np.broadcast_to(one, (observed.size, *one.shape))

    return Series(name, kind, observed, sd, all_alike, np.arange(1.0, observed.size + 1.0), False)


def noise(values: Array) -> float:
    """Standard deviation of the noise of a logged column."""
    if values.size < 3:
        return 0.0
    bent = float(np.median(np.abs(np.diff(values, 2)))) * 1.482602218505602 / np.sqrt(6.0)
    steps = np.abs(np.diff(values))
    finest = float(np.min(steps[steps > 0.0], initial=np.inf))
    return max(bent, finest / np.sqrt(12.0)) if np.isfinite(finest) else 0.0
