"""A moving mechanism from the frames of a video: how long it takes, its load or friction, its valve's conductance.

Caution: a cylinder moves without warning once it is fed. Film from a distance, keep hands out of its way, wear eye
protection, and release the air before any work on it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.context import Context
from fieldworthy.engine.system import Swing, swings
from fieldworthy.files import BadInput, Problem
from fieldworthy.files.declare import Real
from fieldworthy.files.document import KeyPath
from fieldworthy.measure.files import Measured, deviation, laid_over, number_at, priors
from fieldworthy.measure.fitting import PER_95, Belief, Parameter, Weighed, weighed
from fieldworthy.measure.model import Film
from fieldworthy.measure.prediction import Readings, predictions
from fieldworthy.measure.result import Fitted, Moved, Prediction, Procedure, Residuals, Unidentified
from fieldworthy.measure.table import Source, Table, Wanted, read_table
from fieldworthy.physics.gas.actuation import Stroke, actuation, part_way, pull_force, push_force
from fieldworthy.physics.gas.tank import after_draw, fill_pressure
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.units import digits
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
    lift : The mechanism that it swings, where the arm's angle was read; the load is then the pivot's friction
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
        return swings(context)[self.lift].stroke(supply)

    @property
    def swing(self) -> Swing:
        """The arm whose angle was read."""
        assert self.lift is not None, "asked for with an arm only"
        return swings(Context(self.robot, self.season))[self.lift]

    def arm(self) -> tuple[Array, Array]:
        """How far the arm is raised along the stroke."""
        return self.swing.raised


class StrokeGrid:
    """Times along a stroke as a smooth function of conductance and load."""

    def __init__(self, filmed: Filmed, loads: tuple[float, float]) -> None:
        nominal = number_at(filmed.robot, filmed.conductance_key)
        candidates = np.linspace(*loads, _CANDIDATES)
        moves = np.isfinite(filmed.times(np.full(_CANDIDATES, nominal), candidates, np.array([1.0]))[1][0])
        if moves.sum() < 3:
            raise ValueError("it cannot move its load at this pressure")
        most = float(candidates[np.flatnonzero(moves)[-1]])
        self.loads = (loads[0], loads[0] + _NEAR_STALL * (most - loads[0]))
        self.nominal, self.stall = nominal, most
        self._factors, self._loads = np.linspace(-WIDEST, WIDEST, _CONDUCTANCES), np.linspace(*self.loads, _LOADS)
        C, F = (axis.ravel() for axis in np.meshgrid(nominal * np.exp(self._factors), self._loads, indexing="ij"))
        lag, times = filmed.times(C, F, PLACES)
        table = np.log(np.concatenate((np.maximum(lag, 1e-5)[None], times)))
        self._table = table.reshape(-1, _CONDUCTANCES, _LOADS)

    def times(self, factor: float, load: float) -> Array:
        """Time the piston's start and its way along `PLACES`."""
        times = np.exp(self._table @ spline_weights(self._loads, load) @ spline_weights(self._factors, factor))
        return np.asarray(np.maximum.accumulate(times) + 1e-9 * np.arange(times.size))

    def place(self, since: Array, factor: float, load: float) -> Array:
        """Where the piston is at times since the switching."""
        times = self.times(factor, load)
        return rising(times, np.concatenate(([0.0], PLACES)), np.clip(since, times[0], times[-1]))


def spline_weights(knots: Array, at: float) -> Array:
    """Weigh values at even knots so that their sum is the cubic spline through them, without a corner at either end.

    The library's splines come with a fifth of a second of imports; held to them in tests/measure.
    """
    count, step = knots.size, float(knots[1] - knots[0])
    moments = _bending(count)
    place = min(max(at, float(knots[0])), float(knots[-1]))
    i = min(int((place - float(knots[0])) / step), count - 2)
    right = (place - float(knots[i])) / step
    left, found = 1.0 - right, np.zeros(count)
    found[i], found[i + 1] = left, right
    return np.asarray(found + (left**3 - left) / 6.0 * moments[i] + (right**3 - right) / 6.0 * moments[i + 1])


@cache
def _bending(count: int) -> Array:
    """Second slopes of a spline through values at even knots, in steps, as shares of each value."""
    inside = np.arange(1, count - 1)
    bend, values = np.zeros((count, count)), np.zeros((count, count))
    for offset, moment, value in ((-1, 1.0, 6.0), (0, 4.0, -12.0), (1, 1.0, 6.0)):
        bend[inside, inside + offset], values[inside, inside + offset] = moment, value
    # the third slope is one on both sides of the knots next to the ends ("not a knot")
    bend[0, :3], bend[-1, -3:] = (1.0, -2.0, 1.0), (1.0, -2.0, 1.0)
    return np.asarray(np.linalg.solve(bend, values))


def rising(knots: Array, values: Array, at: Array) -> Array:
    """Follow values that rise by a smooth curve that rises with them and does not overshoot.

    Cubic pieces with harmonic means as slopes (Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5, 1984, from memory).
    """
    width, rise = np.diff(knots), np.diff(values)
    steep = rise / width
    before, after = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    middle = (before + after) / (before / steep[:-1] + after / steep[1:])
    ends = [
        min(max(((2.0 * a + b) * m - a * n) / (a + b), 0.0), 3.0 * m)
        for a, b, m, n in ((width[0], width[1], steep[0], steep[1]), (width[-1], width[-2], steep[-1], steep[-2]))
    ]
    slope = np.concatenate((ends[:1], middle, ends[1:]))
    i = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, width.size - 1)
    t = (at - knots[i]) / width[i]
    bent = slope[i] * (1.0 - t) ** 2 * t - slope[i + 1] * t**2 * (1.0 - t)
    return np.asarray(values[i] + rise[i] * t**2 * (3.0 - 2.0 * t) + width[i] * bent)


_CONDUCTANCE, _LOAD, _SWITCHED = "conductance of the valve", "load", "switching of the valve"
WANTED = {
    "time": Wanted("time", 0.005, 600.0, rises=True),
    "position": Wanted("length", 0.002, 3.0, moves=False, needed=False),
    "angle": Wanted("angle", 0.02, 6.3, moves=False, needed=False),
}
"""What is known beforehand of the columns of a table of frames."""
_BLUR = 0.25  # of a frame: an edge in motion is read as well as that
_SPAN = 0.4  # natural logarithm: half as much again is what anyone would guess
_LOAD_SPAN, _FRICTION_SPAN = 0.25, 0.1  # of what stalls it
_LATE = 0.5  # of the valve's delay: how well it is known
MODEL = {"conductance": 0.06, "load": 0.038, "time": 0.006}
"""Half widths of what the stroke's model itself is worth: share of the conductance, of the force at a standstill and of
the time. Found on 158 random strokes of the full equations with loads of up to 60 % of the force; some of them are run
again in tests/external."""
_MOST_LOAD = 0.6  # of the force; beyond it the model is too coarse to tell a conductance or a load
_SEEN, _PART = (0.1, 0.9), "nine tenths"  # of the stroke: where frames tell a time best, away from both ends
_MOVING = 3  # frames between start and end


def fit_film(given: Film, measured: Measured, name: str) -> Procedure:
    """Find the valve's conductance, the load and the actuation time from the frames of one stroke."""
    filmed = _filmed(given, measured, name)
    try:
        grid = StrokeGrid(filmed, _loads(filmed))
    except ValueError as error:
        expected = f"expected a pressure at which '{given.cylinder}' moves its load: the model says that it sticks"
        raise BadInput([measured.document.problem(("frames", name, "pressure"), expected)]) from error
    source = Source(measured.table(given.file, ("frames", name, "file")), given.columns, measured.document,
                    ("frames", name, "columns"))  # fmt: skip
    table = read_table(source, WANTED)
    shares, sd = _along(given, filmed, table, source)
    time = table.numbers["time"]
    parameters = _parameters(given, filmed, grid, _moved(time, shares))

    def residual(values: Array) -> Array:
        """Places read off the film less the model's, in standard deviations."""
        return (shares - grid.place(time - values[2], values[0], values[1])) / sd

    beliefs = list(_beliefs(filmed, grid, measured))
    both = weighed(residual, parameters, priors(measured, beliefs, given.date))
    found = both.together
    predicted = grid.place(time - found.values[2], found.values[0], found.values[1])
    return Procedure(
        f"frames.{name}", f"Film of '{given.cylinder}'", given.date, tuple(_told(filmed, grid, both)),
        tuple(_untold(given, filmed, grid, both)), (_shown(given, filmed, table, predicted),),
        tuple(_notes(given, filmed, grid, both, table)), ("iso6358", "beater"),
        predictions=_held(given, filmed, grid, (time, shares, sd), measured),
    )  # fmt: skip


def _filmed(given: Film, measured: Measured, name: str) -> Filmed:
    robot = measured.robot.nominal
    season, lift = measured.robot.nominal_season, None
    nominal = Context(robot, season)
    key = ("frames", name)
    if "angle" in given.columns:
        lift = next((n for n, s in swings(nominal).items() if s.cylinder == given.cylinder), None)
        if lift is None:
            expected = f"expected 'position': no lift of the robot is swung by '{given.cylinder}'"
            raise BadInput([measured.document.problem((*key, "columns", "angle"), expected)])
    way = 0 if given.way == "out" else 1
    kind = robot.catalogue.cylinders[robot.air.cylinders[given.cylinder].cylinder]
    if way == 1 and kind.single_acting:
        expected = "expected 'out': a spring brings this cylinder back, not air"
        raise BadInput([measured.document.problem((*key, "way"), expected)])
    filmed = Filmed(robot, season, given.cylinder, lift, way, float(given.pressure))
    if lift is not None and filmed.swing.pushes != (way == 0):
        expected = "expected the way on which the arm is raised; film that one"
        raise BadInput([measured.document.problem((*key, "way"), expected)])
    return filmed


def _along(given: Film, filmed: Filmed, table: Table, source: Source) -> tuple[Array, Array]:
    """The frames as shares of the stroke, and the standard deviation of each."""
    robot = filmed.robot
    stroke = float(robot.catalogue.cylinders[robot.air.cylinders[filmed.cylinder].cylinder].stroke)
    if filmed.lift is None:
        read = table.numbers["position"]
        shares, error = read / stroke, float(given.position_error) / PER_95 / stroke
        full = f"{1e3 * stroke:.0f} mm of stroke"
    else:
        read = table.numbers["angle"]
        share, angle = filmed.arm()
        # past the last angle the arm stands at its stop; a slope goes on so that noise about it averages out
        shares = _extended(read, angle, share)
        error = float(given.angle_error) / PER_95 * float(np.max(np.gradient(share, angle)))
        full = f"{np.degrees(angle[-1]):.0f} deg that the arm can be raised"
    far = np.abs(shares - np.clip(shares, 0.0, 1.0)) > max(0.1, 4.0 * error)
    if far.mean() > 0.05:
        line, at = int(table.lines[np.argmax(far)]), float(shares[np.argmax(far)])
        said = f"expected places within the {full}, found one at {100 * at:.0f} % of it: counted from its start?"
        raise BadInput([Problem(source.file, line, 1, (), said)])
    moving = int(((shares > 0.1) & (shares < 0.9)).sum())
    if moving < _MOVING:
        said = f"expected {_MOVING} frames or more while it moves, found {moving}: film with more frames in a second"
        raise BadInput([Problem(source.file, int(table.lines[0]), 1, (), said)])
    speed = np.abs(np.gradient(np.clip(shares, 0.0, 1.0), table.numbers["time"]))
    return shares, np.hypot(error, _BLUR * speed / float(given.rate))


def _extended(read: Array, angle: Array, share: Array) -> Array:
    """Shares of the stroke at angles, the first and last slope going on beyond the ends."""
    inside = np.interp(read, angle, share)
    before = np.minimum(read - angle[0], 0.0) * (share[1] - share[0]) / (angle[1] - angle[0])
    beyond = np.maximum(read - angle[-1], 0.0) * (share[-1] - share[-2]) / (angle[-1] - angle[-2])
    return np.asarray(inside + before + beyond)


def _moved(time: Array, shares: Array) -> float:
    """When it surely moves: the first frame past a tenth of the stroke."""
    return float(time[np.argmax(shares > 0.1)])


def _force(filmed: Filmed) -> float:
    """Most that all cylinders on the valve push or pull with at the gauge of the film [N]."""
    use = use_of(Context(filmed.robot, filmed.season), filmed.cylinder)
    p_atm = float(np.asarray(use.p_atm))
    of = push_force if filmed.way == 0 else pull_force
    one = of(use.cylinder, p_atm + filmed.gauge, p_atm, p_atm=p_atm)
    return float(np.asarray(one)) * float(use.spec.count)


def _loads(filmed: Filmed) -> tuple[float, float]:
    """Between which loads to look: some help, none or all that the cylinder has; friction of a pivot never helps."""
    force = _force(filmed)
    if filmed.lift is None:
        return -0.5 * force, force
    return 0.0, force * filmed.swing.reach


def _parameters(given: Film, filmed: Filmed, grid: StrokeGrid, moved: float) -> list[Parameter]:
    low, high = grid.loads
    start = float(
        np.clip(number_at(filmed.robot, filmed.load_key), low + 1e-3 * (high - low), high - 1e-3 * (high - low))
    )
    span = 0.25 * (high - low)
    begun = moved - float(grid.times(0.0, start)[8])
    if given.switched is None:
        switched = Parameter(_SWITCHED, begun, 0.05)
    else:
        delay = float(given.valve_delay)
        switched = Parameter(_SWITCHED, float(given.switched) + delay, 0.05, given=max(_LATE * delay, 1e-4))
    return [
        Parameter(_CONDUCTANCE, 0.0, _SPAN, -WIDEST, WIDEST, 3.0 * _SPAN),
        Parameter(_LOAD, start, span, low, high, 3.0 * span),
        switched,
    ]


def _load_name(filmed: Filmed) -> tuple[str, str]:
    if filmed.lift is not None:
        return f"friction of the pivot of '{filmed.lift}'", "torque"
    return f"load on '{filmed.cylinder}' going {'out' if filmed.way == 0 else 'back'}", "force"


def _held(
    given: Film, filmed: Filmed, grid: StrokeGrid, read: tuple[Array, Array, Array], measured: Measured
) -> tuple[Prediction, ...]:
    """What the file predicts of the time that the stroke took, before anything is fitted."""
    ends = _SEEN if given.switched is None else (0.0, _SEEN[1])
    opened = 0.0 if given.switched is None else float(given.switched) + float(given.valve_delay)
    at, off = zip(*(_crossed(read, share, float(given.rate)) for share in _SEEN), strict=True)
    took = at[1] - (at[0] if given.switched is None else opened)
    late = 0.0 if given.switched is None else _LATE * float(given.valve_delay)
    sd = math.hypot(off[1], off[0] if given.switched is None else late)
    valve, (load, kind) = f"conductance of '{filmed.conductance_key[2]}'", _load_name(filmed)
    stated, force = grid.nominal, number_at(filmed.robot, filmed.load_key)
    lowest, highest = grid.loads
    parameters = [
        Parameter(valve, stated, stated, stated * math.exp(-WIDEST), stated * math.exp(WIDEST)),
        Parameter(load, min(max(force, lowest), highest), 0.25 * (highest - lowest), lowest, highest),
    ]

    def residual(values: Array) -> Array:
        """The time less the model's, in standard deviations."""
        along = grid.times(math.log(float(values[0]) / stated), float(values[1]))
        first, last = (float(np.interp(share, (0.0, *PLACES), along)) for share in ends)
        return np.array([(took - last + (first if given.switched is None else 0.0)) / sd])

    wide = (MODEL["conductance"] * stated / PER_95, MODEL["load"] * grid.stall / PER_95)
    beliefs = [
        Belief(name, key, of, value, math.hypot(deviation(measured, key), model))
        for name, key, of, value, model in (
            (valve, filmed.conductance_key, "sonic conductance", stated, wide[0]),
            (load, filmed.load_key, kind, force, wide[1]),
        )
    ]
    part = f"from {'a tenth' if given.switched is None else 'the opening of the valve'} to {_PART} of the stroke"
    group = Readings(f"time of '{given.cylinder}' {part}", "time", np.array([took]), np.array([sd]))
    return predictions(residual, parameters, beliefs, [group], measured)


def _crossed(read: tuple[Array, Array, Array], share: float, rate: float) -> tuple[float, float]:
    """When the piston passes a share of its stroke, by the frames, with its standard deviation."""
    time, shares, sd = read
    place = int(np.argmax(shares >= share))
    before = max(place - 1, 0)
    rise = max(float(shares[place] - shares[before]), 1e-6)
    at = time[before] + (time[place] - time[before]) * min(max((share - float(shares[before])) / rise, 0.0), 1.0)
    return float(at), math.hypot(float(sd[place]) * float(time[place] - time[before]) / rise, _BLUR / rate)


def _beliefs(filmed: Filmed, grid: StrokeGrid, measured: Measured) -> Iterator[Belief]:
    """What the file says of valve and load, as wide as the stroke's model leaves what a film tells of them."""
    at, key = deviation(measured, filmed.conductance_key), filmed.conductance_key
    if at > 0.0:
        yield Belief(_CONDUCTANCE, key, "ratio", 0.0, math.hypot(at / grid.nominal, MODEL["conductance"] / PER_95))
    name, kind = _LOAD, _load_name(filmed)[1]
    at = deviation(measured, filmed.load_key)
    if at > 0.0:
        stated = number_at(filmed.robot, filmed.load_key)
        yield Belief(name, filmed.load_key, kind, stated, math.hypot(at, MODEL["load"] * grid.stall / PER_95))


@dataclass(frozen=True, slots=True)
class _Number:
    """One parameter with the half width that the stroke's model adds, and what the file's belief counted for."""

    value: float
    half: float
    moved: Moved | None = None


def _number(found: Weighed, parameter: str, model: float) -> _Number:
    """What the film tells, widened by the model, then weighed with what the file believes."""
    value, half = found.together.value(parameter), found.together.half_width(parameter)
    belief = found.used.get(parameter)
    if belief is None:
        return _Number(value, math.hypot(half, model))
    wide = PER_95 * belief.deviation
    left = max(half**-2 - wide**-2, 1e-12 * half**-2)
    film = (value * half**-2 - belief.value * wide**-2) / left
    off, stated = math.hypot(left**-0.5, model), math.sqrt(max(wide**2 - model**2, 1e-12 * wide**2))
    weight = off**-2 + stated**-2
    known = found.alone.why_not(parameter) is None
    was = Moved(belief.value, stated, film if known else None, off if known else None)
    return _Number((film * off**-2 + belief.value * stated**-2) / weight, weight**-0.5, was)


def _told(filmed: Filmed, grid: StrokeGrid, found: Weighed) -> Iterator[Fitted]:
    valve = filmed.conductance_key[2]
    if _why_not(_CONDUCTANCE, grid, found) is None:
        one = _number(found, _CONDUCTANCE, MODEL["conductance"])
        value = grid.nominal * float(np.exp(one.value))
        yield Fitted(
            f"conductance of '{valve}'", filmed.conductance_key, "sonic conductance", value, value * one.half,
            moved=_unlogged(one.moved, grid.nominal),
        )  # fmt: skip
    name, kind = _load_name(filmed)
    if _why_not(_LOAD, grid, found) is None:
        one = _number(found, _LOAD, MODEL["load"] * grid.stall)
        yield Fitted(name, filmed.load_key, kind, one.value, one.half, moved=one.moved)
    time, half = found.together.derived(lambda v: float(grid.times(v[0], v[1])[-1]))
    if half < 0.5 * time:
        half = math.hypot(half, MODEL["time"] * time)
        yield Fitted(f"actuation time of '{filmed.cylinder}'", (), "time", time, half)


def _unlogged(was: Moved | None, nominal: float) -> Moved | None:
    """The same of a number that was searched for as a logarithm over the file's."""
    if was is None:
        return None
    alone = None if was.alone is None else nominal * math.exp(was.alone)
    half = None if alone is None or was.alone_half is None else alone * was.alone_half
    return Moved(nominal, nominal * was.believed_half, alone, half)


def _why_not(parameter: str, grid: StrokeGrid, found: Weighed) -> str | None:
    """Why a parameter cannot be told: the readings, or a load so near standstill that the model is too coarse."""
    why = found.why_not(parameter)
    load = found.together.value(_LOAD)
    if why is None and load > _MOST_LOAD * grid.stall:
        share = f"{100 * load / grid.stall:.0f} %"
        return (
            f"the load takes about {share} of the force that stalls it, and so near standstill the model is too coarse"
        )
    return why


def _untold(given: Film, filmed: Filmed, grid: StrokeGrid, found: Weighed) -> Iterator[Unidentified]:
    lamp = "" if given.switched is not None else "a lamp in the picture that shows when the valve is switched, and "
    reading = f"film it again with {lamp}more frames in a second, at two pressures"
    for parameter, name, key in (
        (_CONDUCTANCE, f"conductance of '{filmed.conductance_key[2]}'", filmed.conductance_key),
        (_LOAD, _load_name(filmed)[0], filmed.load_key),
    ):
        why = _why_not(parameter, grid, found)
        if why is not None:
            yield Unidentified(name, key, why, reading)


def _shown(given: Film, filmed: Filmed, table: Table, predicted: Array) -> Residuals:
    """The frames beside the fitted stroke, in the units in which they were read."""
    time = tuple(table.numbers["time"].tolist())
    if filmed.lift is None:
        robot = filmed.robot
        stroke = float(robot.catalogue.cylinders[robot.air.cylinders[filmed.cylinder].cylinder].stroke)
        read, said, kind = table.numbers["position"], predicted * stroke, "length"
    else:
        share, angle = filmed.arm()
        read, said, kind = table.numbers["angle"], np.interp(predicted, share, angle), "angle"
    title = f"'{given.cylinder}' going {given.way}"
    return Residuals(title, "time", "time", time, kind, tuple(read.tolist()), tuple(np.asarray(said).tolist()))


def _notes(given: Film, filmed: Filmed, grid: StrokeGrid, found: Weighed, table: Table) -> Iterator[str]:
    yield from (f"{given.file}, {remark}." for remark in table.remarks)
    if all(_why_not(p, grid, found) is None for p in (_CONDUCTANCE, _LOAD)):
        time, _ = found.together.derived(lambda v: float(grid.times(v[0], v[1])[-1]))
        yield f"The stroke takes {digits(time)} s from the opening of the valve until it stands."
    if filmed.lift is None:
        yield (
            "Load and the friction of the cylinder's seals act together: the friction is taken from the file's "
            "efficiency, and what it is off by is in the load."
        )
    if found.together.scatter > 2.0:
        yield (
            f"The model misses the frames by {found.together.missed} their reading error: does it bounce, bind, or "
            "start late? Look at the residuals."
        )
