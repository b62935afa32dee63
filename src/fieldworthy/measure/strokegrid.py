"""Where a piston is at which time, for many conductances and loads at once, as a smooth function of both.

The checks' own stroke times are tabulated in one batch over a grid, and interpolated: a film's fit asks thousands of
times, and their single precision is too coarse for slopes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldworthy.engine.context import Context
from fieldworthy.files.kinds import Real
from fieldworthy.files.problems import KeyPath
from fieldworthy.measure.fitting import Array
from fieldworthy.measure.overrides import laid_over, number_at
from fieldworthy.physics.gas.actuation import Stroke, actuation, part_way
from fieldworthy.physics.gas.tank import after_draw, fill_pressure
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.systems.lift.check import lifted, raising_stroke
from fieldworthy.systems.lift.model import Lift
from fieldworthy.vehicle import state
from fieldworthy.vehicle.supply import AirUse, air_line, stroke_at, use_of

PLACES = np.linspace(0.0, 1.0, 33)[1:] ** 1.5
"""Places along the stroke whose times are tabulated, denser where the piston gathers speed [-]."""
WIDEST = np.log(6.0)
"""The conductance is tabulated up to this far from the file's, either way, in natural logarithms [-]."""
_CONDUCTANCES, _LOADS = 13, 21
_CANDIDATES = 81
_NEAR_STALL = 0.97


@dataclass(frozen=True, slots=True)
class Filmed:
    """Which stroke was filmed, and which two numbers of the robot file it tells.

    Attributes
    ----------
    robot : As its file states it [SI]
    season : For the air [SI]
    cylinder : Whose stroke it is
    lift : The lift that it swings, where the arm's angle was read; the load is then the pivot's friction
    way : 0 out, 1 back
    gauge : Tank's gauge before the stroke [Pa]
    """

    robot: Robot
    season: Season
    cylinder: str
    lift: str | None
    way: int
    gauge: float

    @property
    def conductance_key(self) -> KeyPath:
        """Where the valve's sonic conductance stands."""
        return ("catalogue", "valves", self.robot.air.cylinders[self.cylinder].valve, "conductance")

    @property
    def load_key(self) -> KeyPath:
        """Where the load that is looked for stands."""
        if self.lift is not None:
            return ("mechanisms", self.lift, "friction")
        return ("air", "cylinders", self.cylinder, ("push_load", "pull_load")[self.way])

    def subject(self, conductance: Real, load: Real) -> Context:
        """Lay a conductance and a load over the robot."""
        laid = laid_over(self.robot, {self.conductance_key: conductance, self.load_key: load})
        return Context(laid, self.season)

    def times(self, conductance: Real, load: Real, shares: Array) -> tuple[Array, Array]:
        """Time the piston to places along its stroke."""
        subject = self.subject(conductance, load)
        use = use_of(subject, self.cylinder)
        supply = self.supply(use, subject)
        stroke = self._stroke(subject, use, supply)
        line = air_line(subject, use)
        vent = supply if use.cylinder.double_acting else state.p_atm(subject)
        part = part_way(stroke, np.multiply.outer(shares, np.asarray(stroke.length)).reshape(shares.size, -1))
        took = actuation(part, line, line, supply, vent, state.p_atm(subject), subject.season.temperature)
        return took.lag[0], took.time

    def supply(self, use: AirUse, context: Context) -> Real:
        """Absolute pressure that the stroke is fed with, once its air is drawn."""
        circuit, draw, p_atm = use.circuit, use.draws[self.way], state.p_atm(context)
        after = after_draw(p_atm + self.gauge, circuit.volume, draw.V_before, draw.V_after, p_atm, circuit.p_set)
        return fill_pressure(after, circuit.p_set)

    def _stroke(self, context: Context, use: AirUse, supply: Real) -> Stroke:
        if self.lift is None:
            return stroke_at(use, supply, self.way)
        spec: Any = context.robot.mechanisms[self.lift]
        return raising_stroke(lifted(context, self.lift, spec), supply)

    def arm(self) -> tuple[Array, Array]:
        """How far a lift's arm is raised along the stroke."""
        assert self.lift is not None, "asked for with a lift only"
        spec: Any = self.robot.mechanisms[self.lift]
        at = lifted(Context(self.robot, self.season), self.lift, spec)
        places = range(at.along.length.shape[0])
        order = places if at.pushes else reversed(places)
        turned = np.array([float(np.asarray(at.turned(i)).ravel()[0]) for i in order])
        out = np.asarray(at.along.extension).reshape(len(places), -1)[:, 0]
        share = (out if at.pushes else out[-1] - out[::-1]) / float(np.asarray(at.rocker.stroke).ravel()[0])
        return share, np.abs(turned - turned[0])

    def raises(self, spec: Lift) -> bool:
        """Tell whether the filmed way is the one on which a lift's arm is raised."""
        assert self.lift is not None, "asked for with a lift only"
        at = lifted(Context(self.robot, self.season), self.lift, spec)
        return at.pushes == (self.way == 0)


class StrokeGrid:
    """Times along a stroke as a smooth function of conductance and load."""

    def __init__(self, filmed: Filmed, loads: tuple[float, float]) -> None:
        from scipy.interpolate import RectBivariateSpline  # noqa: PLC0415  scipy is loaded only for a fit

        nominal = number_at(filmed.robot, filmed.conductance_key)
        candidates = np.linspace(*loads, _CANDIDATES)
        moves = np.isfinite(filmed.times(np.full(_CANDIDATES, nominal), candidates, np.array([1.0]))[1][0])
        if moves.sum() < 3:
            raise ValueError("it cannot move its load at this pressure")
        most = float(candidates[np.flatnonzero(moves)[-1]])
        self.loads = (loads[0], loads[0] + _NEAR_STALL * (most - loads[0]))
        self.nominal, self.stall = nominal, most
        factors, loads_at = np.linspace(-WIDEST, WIDEST, _CONDUCTANCES), np.linspace(*self.loads, _LOADS)
        C, F = (axis.ravel() for axis in np.meshgrid(nominal * np.exp(factors), loads_at, indexing="ij"))
        lag, times = filmed.times(C, F, PLACES)
        table = np.log(np.concatenate((np.maximum(lag, 1e-5)[None], times)))
        shape = (-1, _CONDUCTANCES, _LOADS)
        self._splines = [RectBivariateSpline(factors, loads_at, layer) for layer in table.reshape(shape)]

    def times(self, factor: float, load: float) -> Array:
        """Time the piston's start and its way along `PLACES`."""
        at = np.array([factor]), np.array([load])
        times = np.exp([float(spline.ev(*at)[0]) for spline in self._splines])
        return np.asarray(np.maximum.accumulate(times) + 1e-9 * np.arange(times.size))

    def place(self, since: Array, factor: float, load: float) -> Array:
        """Where the piston is at times since the switching."""
        from scipy.interpolate import PchipInterpolator  # noqa: PLC0415  see above

        times = self.times(factor, load)
        along = PchipInterpolator(times, np.concatenate(([0.0], PLACES)))
        return np.asarray(along(np.clip(since, times[0], times[-1])))
