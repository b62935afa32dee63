"""Errors of dead reckoning: how each source feeds the state of the pose's error, and how arcs carry it.

A pose error is a complex position z = x + i y and a heading t. Second moments are kept as four numbers, so
that turning and moving them takes a few products: E|z|^2, E z^2, E z t and E t^2.

Errors are kept as seen from the start: z - i p t for a robot displaced by p. So seen, an error that is only
carried along does not change, and what the motions add can be summed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics.odometry.odometry import Path, Tracking, TrackingWheel, chord, joints, weights

Complex: TypeAlias = npt.NDArray[Any]
"""An array of complex numbers; the type checker is not told so, since it cannot follow their real parts."""

_SERIES = 0.1
"""Turn [rad] below which series take over from the closed forms, which lose digits there."""
_TERMS = range(9)
_FIRST = [1.0 / (math.factorial(k) * (k + 2)) for k in _TERMS]
_CROSS = [1.0 / math.factorial(k + 2) for k in _TERMS]
_SIZE = [2.0 / math.factorial(2 * k + 3) for k in _TERMS]
_SQUARE = [
    2.0**k / math.factorial(k) - 2.0 * (2.0 ** (k + 1) - 1.0) / math.factorial(k + 1) + 2.0**k / math.factorial(k + 1)
    for k in (k + 2 for k in _TERMS)
]


class Arc(NamedTuple):
    """Integrals over a motion that turns evenly, with e(s) = exp(i turn s) and d(s) its integral from s to 1.

    Parameters
    ----------
    mean, mean_twice : Integral of e and of e^2 [-]
    rest : Integral of d [-]: the mean of what is still to be driven
    rest_rest, mean_rest : Integrals of d^2 and of e times the conjugate of d [-]
    rest_size : Integral of |d|^2 [-]
    """

    mean: Complex
    mean_twice: Complex
    rest: Complex
    rest_rest: Complex
    rest_size: Array
    mean_rest: Complex


def arc_integrals(turn: Array) -> Arc:
    """Integrate over motions that turn evenly.

    Integral of e d is half the square of the mean of e, since d' = -e.

    Parameters
    ----------
    turn : Angle turned in each motion [rad]

    Returns
    -------
    The integrals [-], to about 1e-13.
    """
    phi = np.asarray(turn, dtype=np.float64)
    small = np.abs(phi) < _SERIES
    x = 1j * np.where(small, 1.0, phi)
    mean, twice, end = chord(phi), chord(2.0 * phi), np.exp(1j * phi)
    rest = (end - mean) / x
    square = (end * end - 2.0 * end * mean + twice) / (x * x)
    cross = (1.0 - mean.conj()) / x
    size = 2.0 * (mean.real - 1.0) / (x * x).real
    if np.any(small):
        near = 1j * phi[small]
        rest[small] = np.polyval(_FIRST[::-1], near)
        square[small] = np.polyval(_SQUARE[::-1], near)
        cross[small] = np.polyval(_CROSS[::-1], -near)
        size[small] = np.polyval(_SIZE[::-1], (near * near).real)
    return Arc(mean, twice, rest, square, size, cross)


class Moments(NamedTuple):
    """Second moments of a pose error.

    Parameters
    ----------
    size : E|z|^2 [m2]
    square, cross : E z^2 [m2] and E z t [m rad]
    heading : E t^2 [rad2]
    """

    size: Complex
    square: Complex
    cross: Complex
    heading: Complex


def outer(z: Complex, t: Array, variance: Real) -> Moments:
    """Second moments of one random number times a fixed direction.

    Parameters
    ----------
    z : Position error per unit of the number [m]
    t : Heading error per unit of the number [rad]
    variance : Variance of the number [-]

    Returns
    -------
    The moments [m2, m2, m rad, rad2].
    """
    return Moments(variance * (z.real**2 + z.imag**2), variance * z * z, variance * t * z, variance * t * t)


def carry(old: Moments, step: Complex) -> Moments:
    """Second moments after the robot has moved on.

    A heading error t turns the step about its start: z becomes z + i step t.

    Parameters
    ----------
    old : Moments before [m2, m2, m rad, rad2]
    step : The motion's displacement in the field [m]

    Returns
    -------
    Moments after, with nothing new added [m2, m2, m rad, rad2].

    References
    ----------
    kelly2004: linearized error propagation.
    """
    arm = 1j * step
    return Moments(
        old.size + 2.0 * (arm.conj() * old.cross).real + (arm * arm.conj()).real * old.heading,
        old.square + 2.0 * arm * old.cross + arm * arm * old.heading,
        old.cross + arm * old.heading,
        old.heading,
    )


def walk(arc: Arc, motion: Complex, along: Complex, turn: Array) -> Moments:
    """Second moments that white noise on one reading adds during a motion, in the frame of its start.

    Parameters
    ----------
    arc : Integrals of the motion
    motion, along : Motion ahead plus i times motion left [m]; motion that one unit of the reading means [-]
    turn : Turn that one unit of the reading means [1/m]

    Returns
    -------
    Moments per unit of the noise's variance over the whole motion [-].
    """
    arm = 1j * motion * turn
    size = (along * along.conj()).real + (arm * arm.conj()).real * arc.rest_size
    return Moments(
        size + 2.0 * (along * arm.conj() * arc.mean_rest).real,
        along * along * arc.mean_twice + along * arm * arc.mean**2 + arm * arm * arc.rest_rest,
        turn * (along * arc.mean + arm * arc.rest),
        turn * turn,
    )


def turned(moments: Moments, heading: Complex, variance: Real) -> Moments:
    """Second moments seen in the field, times a variance.

    Parameters
    ----------
    moments : Moments in the robot's frame [-]
    heading : exp(i heading) of that frame [-]
    variance : What they are multiplied with [-]

    Returns
    -------
    The moments in the field's frame [m2, m2, m rad, rad2].
    """
    return Moments(
        variance * moments.size,
        variance * moments.square * heading * heading,
        variance * moments.cross * heading,
        variance * moments.heading,
    )


def add(one: Moments, other: Moments) -> Moments:
    """Add the moments of two independent errors.

    Parameters
    ----------
    one, other : The moments [m2, m2, m rad, rad2]

    Returns
    -------
    Their sum [m2, m2, m rad, rad2].
    """
    return Moments(*(a + b for a, b in zip(one, other, strict=True)))


def swing(turn: Array, motion: Complex, reading: tuple[Complex, Array], phase: tuple[Array, Array]) -> Complex:
    """Position errors of a reading that swings by a sine of the wheel's angle, for the two parts of its phase.

    The reading is sin(start + angle) - sin(start); with E and D as in `Arc`, the error is the integral of
    (along E + i motion turn D) against its change, and the integral of D exp(i k s) is that of
    (exp(i (turn + k) s) - exp(i turn s)) / (i k).

    Parameters
    ----------
    turn : Angle that the robot turns [rad]
    motion : Motion ahead plus i times motion left [m]
    reading : Motion [-] and turn [1/m] that one unit of the reading means
    phase : Angle of the wheel at the start of the motion, and by how much it rolls [rad]

    Returns
    -------
    Error per unit of amplitude in the frame of the motion's start [-], first axis: the sine starts at sin(angle), then
    at cos(angle).
    """
    along, rate = reading
    angle, roll = phase
    still = chord(turn)
    arm = rate * motion
    more, less = chord(turn + roll), chord(turn - roll)
    spin = np.exp(1j * angle)
    up = spin * (along * roll * more + arm * (more - still))
    down = spin.conj() * (-along * roll * less + arm * (less - still))
    return np.stack([0.5 * (up - down), 0.5j * (up + down)])


SOURCES = (
    "start",
    "diameter",
    "offset",
    "toe",
    "slip",
    "runout",
    "wobble",
    "lift-off",
    "resolution",
    "unseen",
    "gyro scale",
    "gyro drift",
    "gyro noise",
    "relocation",
)
"""What a pose error can come from, in the order of a budget's first axis."""

Variances: TypeAlias = dict[str, Complex]
"""Variance of one random number, by the source that it belongs to (real numbers)."""


@dataclass(frozen=True, slots=True)
class Course:
    """A path laid out for error propagation: motions on the first axis, cases on the last.

    Parameters
    ----------
    path : The path up to its last waypoint
    motion : Motion ahead plus i times motion left [m]
    way, facing : Displacement from the start [m] and exp(i heading) [-] at the start and after each motion
    arc : Integrals of each motion
    """

    path: Path
    motion: Complex
    way: Complex
    facing: Complex
    arc: Arc

    @property
    def stops(self) -> list[int]:
        """Places of the waypoints among the joints [-]."""
        return [mark + 1 for mark in self.path.marks]

    def between(self, each: Complex) -> Complex:
        """Sum what the motions add, from each waypoint to the next.

        Parameters
        ----------
        each : What each motion adds, motions on the first axis [any]

        Returns
        -------
        The sums, waypoints on the first axis [any].
        """
        return np.asarray(np.add.reduceat(each, [0, *self.stops[:-1]], axis=0))


def course(path: Path) -> Course:
    """Lay out a path for error propagation.

    Parameters
    ----------
    path : The path

    Returns
    -------
    The same path with an axis of cases, of length one where there was none [-].
    """
    count = path.marks[-1] + 1
    parts = (path.ahead, path.left, path.turn, path.time)
    ahead, left, turn, time = (part[:count].reshape(count, -1) for part in parts)
    wide = Path(path.start, ahead, left, turn, time, path.marks)
    x, y, heading = joints(wide)
    way = (x - x[0]) + 1j * (y - y[0])
    return Course(wide, ahead + 1j * left, way, np.exp(1j * heading), arc_integrals(turn))


class Reading(NamedTuple):
    """One reading: what a unit of it is taken to mean, and its effect when spread evenly over each motion.

    Parameters
    ----------
    along : Motion ahead plus i times motion left [-]
    turn : Turn [1/m, or - for the gyro]
    effect : Position error at the motion's end in the frame of its start [-]
    """

    along: Complex
    turn: Array
    effect: Complex


def readings(setup: Tracking, on: Course) -> list[Reading]:
    """Effect of each reading of a set-up along a course.

    Parameters
    ----------
    setup : The set-up
    on : The course

    Returns
    -------
    Wheels in order, then the gyro if there is one [-].

    Raises
    ------
    ValueError : If the set-up cannot see heading or motion ahead
    """
    found = []
    for ahead, left, turn in weights(setup):
        along, rate = np.asarray(ahead) + 1j * np.asarray(left), np.asarray(turn, dtype=np.float64)
        found.append(Reading(along, rate, along * on.arc.mean + 1j * on.motion * rate * on.arc.rest))
    return found


class Lasting(NamedTuple):
    """Errors that stay for the run.

    Parameters
    ----------
    variances : Variance of each random number, by source [any]
    z, t : What each adds per unit up to each waypoint from the one before, seen from the start: shape (errors,
        waypoints, cases) [m and rad per unit]
    """

    variances: list[Variances]
    z: Complex
    t: Array


_Effect: TypeAlias = tuple[Complex, Array]
"""Position error in the frame of each motion's start [m], and heading error [rad], per unit."""


def lasting(setup: Tracking, on: Course, read: list[Reading], placed: tuple[Real, Real, Real]) -> Lasting:
    """Collect the errors that stay for the run.

    Parameters
    ----------
    setup : The set-up
    on : The course
    read : Its readings
    placed : Standard deviations of the start [m, m, rad]

    Returns
    -------
    The errors whose variance is not zero throughout [-].
    """
    variances, zs, ts = [], [], []
    for variance, (effect, turned_by) in _effects(setup, on, read):
        if any(np.any(v) for v in variance.values()):
            variances.append(variance)
            zs.append(on.between(on.facing[:-1] * effect - 1j * on.way[1:] * turned_by))
            ts.append(on.between(turned_by + np.zeros_like(on.path.turn)))
    for variance, z, t in _at_start(setup, on, read, placed):
        if any(np.any(v) for v in variance.values()):
            first = np.arange(len(on.stops))[:, None] == 0
            variances.append(variance)
            zs.append(np.where(first, z, 0.0))
            ts.append(np.where(first, t, 0.0))
    shape = np.broadcast_shapes((len(on.stops), 1), *(np.shape(part) for part in (*zs, *ts)))
    z, t = np.empty((len(zs), *shape), dtype=np.complex128), np.empty((len(ts), *shape))
    for i, (one, other) in enumerate(zip(zs, ts, strict=True)):
        z[i], t[i] = one, other
    return Lasting(variances, z, t)


def _effects(setup: Tracking, on: Course, read: list[Reading]) -> Iterator[tuple[Variances, _Effect]]:
    """Each lasting error of wheels and gyro, with what it does over each motion."""
    path, motions = on.path, (on.path.ahead, on.path.left, on.path.turn)
    for wheel, one in zip(setup.wheels, read, strict=False):
        travel = wheel.travel(*motions)
        for variance, error in (
            ({"diameter": wheel.scale_sd**2, "slip": np.square(wheel.slip_sd)}, travel),
            ({"offset": np.square(wheel.offset_sd)}, path.turn),
            ({"toe": np.square(wheel.toe_sd)}, wheel.crossing(*motions)),
        ):
            yield variance, (one.effect * error, one.turn * error)
        if np.any(wheel.runout):
            for effect in _swings(wheel, on, one, travel):
                yield {"runout": 0.5 * np.square(wheel.runout)}, effect
    if setup.gyro is not None:
        gyro, one = setup.gyro, read[-1]
        yield {"gyro scale": np.square(gyro.scale_sd)}, (one.effect * path.turn, one.turn * path.turn)
        yield {"gyro drift": np.square(gyro.drift_sd)}, (one.effect * path.time, one.turn * path.time)


def _swings(wheel: TrackingWheel, on: Course, one: Reading, travel: Array) -> Iterator[_Effect]:
    """Two parts of a runout whose phase at the start is unknown."""
    roll = travel / (0.5 * np.asarray(wheel.diameter))
    after = np.cumsum(roll, axis=0)
    before = after - roll
    z = swing(on.path.turn, on.motion, (one.along, one.turn), (before, roll))
    yield z[0], one.turn * (np.sin(after) - np.sin(before))
    yield z[1], one.turn * (np.cos(after) - np.cos(before))


def _at_start(
    setup: Tracking, on: Course, read: list[Reading], placed: tuple[Real, Real, Real]
) -> Iterator[tuple[Variances, Complex, Array]]:
    """Errors that are there from the start: the placement, and the counters' place between two counts."""
    zero, one = np.zeros((), dtype=np.complex128), np.ones(())
    for sd, z, t in zip(placed, (one + zero, 1j * one, zero), (0.0 * one, 0.0 * one, one), strict=True):
        yield {"start": np.square(sd)}, z, t
    for wheel, each in zip(setup.wheels, read, strict=False):
        yield {"resolution": wheel.count_length**2 / 12.0}, on.facing[0] * each.along, each.turn


class White(NamedTuple):
    """Errors that are new at every step.

    Parameters
    ----------
    variances : Variance per metre (or per second), by source [any]
    steps : What each adds per unit variance up to each waypoint from the one before, seen from the start; waypoints on
        the first axis [m2, m2, m rad, rad2 per unit]
    """

    variances: list[Variances]
    steps: list[Moments]


def white(setup: Tracking, on: Course, read: list[Reading]) -> White:
    """Collect the errors that are new at every step.

    Parameters
    ----------
    setup : The set-up
    on : The course
    read : Its readings

    Returns
    -------
    The errors whose variance is not zero throughout [-].
    """
    variances, steps = [], []
    for variance, one, amount in _noises(setup, on, read):
        if any(np.any(v) for v in variance.values()):
            inside = walk(on.arc, on.motion, one.along, one.turn)
            added = carry(turned(inside, on.facing[:-1], amount), -on.way[1:])
            variances.append(variance)
            steps.append(Moments(*(on.between(part + 0.0 * on.path.turn) for part in added)))
    return White(variances, steps)


def _noises(setup: Tracking, on: Course, read: list[Reading]) -> Iterator[tuple[Variances, Reading, Array]]:
    """Each white error, the reading it sits on, and the metres or seconds it runs for in each motion."""
    path = on.path
    for wheel, one in zip(setup.wheels, read, strict=False):
        missed = np.asarray(wheel.lift_rate * np.square(wheel.lift_length))
        yield (
            {"wobble": np.square(wheel.wobble), "lift-off": missed},
            one,
            np.abs(wheel.travel(path.ahead, path.left, path.turn)),
        )
    if setup.gyro is not None:
        yield {"gyro noise": np.square(setup.gyro.noise)}, read[-1], path.time
    if not setup.parallel("sideways"):
        blind = Reading(np.array(1j), np.zeros(()), 1j * on.arc.mean)
        yield {"unseen": np.square(setup.unseen)}, blind, np.abs(path.ahead)


def missed_travel(setup: Tracking, on: Course, read: list[Reading]) -> tuple[Complex, Array]:
    """Expected error from wheels that leave the floor, at each waypoint, without relocation.

    Parameters
    ----------
    setup : The set-up
    on : The course
    read : Its readings

    Returns
    -------
    Added up to each waypoint from the one before, seen from the start: position [m] and heading [rad].
    """
    z, t = np.zeros((len(on.stops), 1), dtype=np.complex128), np.zeros((len(on.stops), 1))
    for wheel, one in zip(setup.wheels, read, strict=False):
        if np.any(wheel.lift_rate):
            lost = -np.asarray(wheel.lift_rate) * wheel.lift_length
            error = lost * wheel.travel(on.path.ahead, on.path.left, on.path.turn)
            turn = one.turn * error
            z = z + on.between(on.facing[:-1] * one.effect * error - 1j * on.way[1:] * turn)
            t = t + on.between(turn)
    return z, t
