"""Dead reckoning: the pose, tracking wheels and gyro that tell it, and a square driven to calibrate them.

A pose is (x, y, heading) in a fixed frame of the field; a motion (ahead, left, turn) is seen from the robot.
Axes as in ISO 8855: x forward, y left, heading counter-clockwise from above.

Every uncertainty is a standard deviation. A forward wheel that stands `offset` to the left of the turning centre
reads ahead - turn * offset; a sideways wheel that stands `offset` ahead of it reads left + turn * offset.

A robot drives a square by its own odometry, clockwise and counter-clockwise, several times each. The error of an end
point is where it stands minus where its odometry says it stands; x is along the first side, y to its left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple, TypeAlias

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require

Pose: TypeAlias = tuple[Real, Real, Real]
"""x [m], y [m] and heading [rad]."""


def chord(turn: Real) -> Array:
    """Mean direction of a motion that turns evenly, as a complex number.

    exp(i turn/2) sin(turn/2)/(turn/2), without a case of its own at zero.

    Parameters
    ----------
    turn : Angle turned from start to end of the motion [rad]

    Returns
    -------
    Integral of exp(i turn s) over s from 0 to 1 [-], complex: 1 for a straight motion.
    """
    half = 0.5 * np.asarray(turn, dtype=np.float64)
    mean: Array = np.exp(1j * half) * np.sinc(half / np.pi)
    return mean


def wrap(angle: Real) -> Array:
    """Angle brought into half a turn either way.

    Parameters
    ----------
    angle : Angle [rad]

    Returns
    -------
    The same direction, from -pi up to below pi [rad].
    """
    return np.asarray((np.asarray(angle) + np.pi) % (2.0 * np.pi) - np.pi)


@dataclass(frozen=True, slots=True)
class Path:
    """A start and a row of motions of constant curvature: straights, turns in place, arcs.

    Parameters
    ----------
    start : Pose at the start [m, m, rad]
    ahead, left, turn : What each motion does, seen from the robot [m, m, rad]; shape (motions,) or (motions, cases)
    time : How long each motion takes, rests included [s]; same shape
    marks : After which motions a waypoint is reported [-], counted from 0

    Raises
    ------
    ValueError : If shapes differ, a number is not finite, a time is negative, a motion turns more than a full turn or a
        mark is no motion
    """

    start: Pose
    ahead: Array
    left: Array
    turn: Array
    time: Array
    marks: tuple[int, ...]

    def __post_init__(self) -> None:
        shapes = {np.shape(part) for part in (self.ahead, self.left, self.turn, self.time)}
        if len(shapes) != 1 or not 1 <= len(next(iter(shapes))) <= 2:
            msg = f"ahead, left, turn and time must have one shape (motions,) or (motions, cases), got {shapes}"
            raise ValueError(msg)
        for name, part in (("start", self.start), ("ahead", self.ahead), ("left", self.left)):
            if not all(np.all(np.isfinite(p)) for p in part):
                msg = f"{name} must be finite"
                raise ValueError(msg)
        require.not_negative(time=self.time)
        if not np.all(np.abs(self.turn) <= 2.0 * np.pi + 1e-9):
            msg = "turn of one motion must be at most a full turn; split it"
            raise ValueError(msg)
        if not self.marks or any(not 0 <= mark < len(self.ahead) for mark in self.marks):
            msg = f"marks must name motions from 0 to {len(self.ahead) - 1}, got {self.marks}"
            raise ValueError(msg)
        if any(b <= a for a, b in zip(self.marks, self.marks[1:], strict=False)):
            msg = f"marks must rise, got {self.marks}"
            raise ValueError(msg)


def path_through(points: Array, heading: Real, speed: Real, turn_rate: Real) -> Path:
    """Path that turns in place toward each point and drives straight to it.

    Each turn goes the short way round. A leg of no length keeps the heading.

    Parameters
    ----------
    points : The start and the waypoints, shape (points, 2) or (points, 2, cases) [m]
    heading, speed, turn_rate : Heading at the start [rad]; mean speed on the straights [m/s]; mean rate of the turns
        [rad/s]

    Returns
    -------
    Two motions a leg, a waypoint reported at the end of each straight [-].

    Raises
    ------
    ValueError : If there are fewer than two points, or speed or turn rate is not positive
    """
    require.positive(speed=speed, turn_rate=turn_rate)
    way = np.asarray(points, dtype=np.float64)
    if way.ndim not in (2, 3) or way.shape[0] < 2 or way.shape[1] != 2:
        msg = f"points must have shape (2 or more, 2) or (2 or more, 2, cases), got {way.shape}"
        raise ValueError(msg)
    if way.ndim == 2 and max(np.ndim(heading), np.ndim(speed), np.ndim(turn_rate)):
        way = way[:, :, None]
    legs = np.diff(way, axis=0)
    length = np.hypot(legs[:, 0], legs[:, 1])
    now, turns = np.broadcast_to(np.asarray(heading, dtype=np.float64), length.shape[1:]), []
    for (dx, dy), far in zip(legs, length, strict=True):
        turns.append(np.where(far > 0.0, wrap(np.arctan2(dy, dx) - now), 0.0))
        now = now + turns[-1]
    turn = _alternate(np.array(turns), 0.0 * length)
    ahead = _alternate(0.0 * length, length)
    time = np.abs(turn) / turn_rate + ahead / speed
    ahead, turn, time = np.broadcast_arrays(ahead, turn, time)
    marks = tuple(range(1, 2 * len(length), 2))
    return Path((way[0, 0], way[0, 1], heading), ahead, np.zeros_like(ahead), turn, time, marks)


def _alternate(odd: Array, even: Array) -> Array:
    """Lay two rows of motions into one another."""
    return np.stack([odd, even], axis=1).reshape(-1, *even.shape[1:])


def joints(path: Path) -> tuple[Array, Array, Array]:
    """Poses at the start and after each motion.

    Parameters
    ----------
    path : The path

    Returns
    -------
    x [m], y [m] and heading [rad], each of shape (motions + 1,) or (motions + 1, cases).
    """
    x, y, heading = (np.asarray(part, dtype=np.float64) for part in path.start)
    shape = np.broadcast_shapes(x.shape, y.shape, heading.shape, path.turn.shape[1:])
    way = np.empty((len(path.turn) + 1, *shape), dtype=np.complex128)
    angle = np.empty(way.shape)
    way[0], angle[0] = x + 1j * y, heading
    angle[1:] = heading + np.cumsum(path.turn, axis=0)
    way[1:] = way[0] + np.cumsum(np.exp(1j * angle[:-1]) * chord(path.turn) * (path.ahead + 1j * path.left), axis=0)
    return way.real, way.imag, angle


Direction: TypeAlias = Literal["forward", "sideways"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackingWheel:
    """One wheel whose turning is counted.

    Parameters
    ----------
    direction : What it measures [-]: "forward" or "sideways"
    diameter : Nominal diameter [m]
    offset : Place across its rolling direction [m]: a forward wheel left of the turning centre, a sideways wheel ahead
        of it
    along : Place along its rolling direction [m]: a forward wheel ahead of the turning centre, a sideways wheel left of
        it; matters only with a toe error
    diameter_sd : Standard deviation of the effective diameter about the nominal one [m]
    offset_sd, toe_sd : Standard deviation of the offset [m], and of the rolling direction about the true one [rad]
    counts : Counts a turn [-]; infinite for a perfect sensor
    runout : Eccentricity of the tread about its axle [m]; the reading swings by as much either way, once a turn
    wobble : Random error that grows with the root of the travel [m/sqrt(m)]: play, scrub, uneven floor
    slip_sd : Standard deviation of the share of its travel that the wheel loses or gains all along a run [-]
    lift_rate, lift_length : How often the wheel leaves the floor or skids for want of down-force [1/m], and the travel
        that it misses each time [m]

    Raises
    ------
    ValueError : If the direction is unknown, the diameter or the counts are not positive, another quantity is negative
        or an offset is not finite
    """

    direction: Direction
    diameter: Real
    offset: Real
    along: Real = 0.0
    diameter_sd: Real = 0.0
    offset_sd: Real = 0.0
    toe_sd: Real = 0.0
    counts: Real = np.inf
    runout: Real = 0.0
    wobble: Real = 0.0
    slip_sd: Real = 0.0
    lift_rate: Real = 0.0
    lift_length: Real = 0.0

    def __post_init__(self) -> None:
        if self.direction not in ("forward", "sideways"):
            msg = f"direction must be 'forward' or 'sideways', got {self.direction!r}"
            raise ValueError(msg)
        require.positive(diameter=self.diameter)
        if not np.all(np.asarray(self.counts) > 0.0):
            msg = f"counts must be positive, got {self.counts!r}"
            raise ValueError(msg)
        for name in ("offset", "along"):
            if not np.all(np.isfinite(getattr(self, name))):
                msg = f"{name} must be finite, got {getattr(self, name)!r}"
                raise ValueError(msg)
        names = (
            "diameter_sd",
            "offset_sd",
            "toe_sd",
            "runout",
            "wobble",
            "slip_sd",
            "lift_rate",
            "lift_length",
        )
        require.not_negative(**{name: getattr(self, name) for name in names})

    @property
    def count_length(self) -> Array:
        """Travel a count [m]; 0 for a perfect sensor."""
        return np.asarray(np.pi * np.asarray(self.diameter) / self.counts)

    @property
    def scale_sd(self) -> Array:
        """Relative standard deviation of the diameter [-]."""
        return np.asarray(np.asarray(self.diameter_sd) / self.diameter)

    def travel(self, ahead: Real, left: Real, turn: Real) -> Array:
        """Travel of the wheel's own place along its rolling direction.

        Parameters
        ----------
        ahead, left, turn : Distance of the turning centre forward and to the left, seen from the robot [m]; angle
            turned [rad]

        Returns
        -------
        The travel [m].
        """
        if self.direction == "forward":
            return np.asarray(ahead - np.asarray(turn) * self.offset)
        return np.asarray(left + np.asarray(turn) * self.offset)

    def crossing(self, ahead: Real, left: Real, turn: Real) -> Array:
        """Travel of the wheel's place across its rolling direction, to the left of where it rolls.

        Parameters
        ----------
        ahead, left, turn : Distance of the turning centre forward and to the left, seen from the robot [m]; angle
            turned [rad]

        Returns
        -------
        The travel [m]; a toe angle adds as much of it to the reading, times the angle.
        """
        if self.direction == "forward":
            return np.asarray(left + np.asarray(turn) * self.along)
        return np.asarray(np.asarray(turn) * self.along - ahead)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gyro:
    """A gyro that measures the angle turned.

    Parameters
    ----------
    scale_sd : Standard deviation of the scale [-]: angle read too large or small, per angle turned
    drift_sd : Standard deviation of the bias rate that is left after calibration [rad/s]
    noise : Angle random walk: density of the white noise of the rate [rad/sqrt(s)]

    Raises
    ------
    ValueError : If a quantity is negative

    References
    ----------
    ieee952: names of the error terms.
    """

    scale_sd: Real = 0.0
    drift_sd: Real = 0.0
    noise: Real = 0.0

    def __post_init__(self) -> None:
        require.not_negative(scale_sd=self.scale_sd, drift_sd=self.drift_sd, noise=self.noise)


class Observed(NamedTuple):
    """Which motions a tracking set-up can see.

    Parameters
    ----------
    forward, sideways, heading : Whether motion ahead, motion to the side and turning are seen
    """

    forward: bool
    sideways: bool
    heading: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Tracking:
    """A tracking set-up: its wheels, its gyro, and what it cannot see.

    Two parallel wheels and a sideways one; a forward wheel, a sideways one and a gyro; or the powered wheels
    alone (two parallel wheels with slip, none sideways): the combination follows from what is listed.

    Parameters
    ----------
    wheels : The wheels that are counted
    gyro : The gyro; when there is one, heading is taken from it and from no wheel
    unseen : Sideways drift of the robot that grows with the root of the distance ahead [m/sqrt(m)]: pushes, sliding
        omni-wheels. It is an error only without a sideways wheel.

    Raises
    ------
    ValueError : If there is no wheel, or the unseen drift is negative
    """

    wheels: tuple[TrackingWheel, ...]
    gyro: Gyro | None = None
    unseen: Real = 0.0

    def __post_init__(self) -> None:
        if not self.wheels:
            msg = "wheels must name at least one wheel"
            raise ValueError(msg)
        require.not_negative(unseen=self.unseen)

    def parallel(self, direction: Direction) -> tuple[int, ...]:
        """Find the wheels that measure one direction.

        Parameters
        ----------
        direction : The direction

        Returns
        -------
        Their places in the list of wheels [-].
        """
        return tuple(i for i, wheel in enumerate(self.wheels) if wheel.direction == direction)


def _apart(setup: Tracking, which: tuple[int, ...]) -> bool:
    """Whether parallel wheels stand apart, in every case, so that they see turning."""
    offsets = [setup.wheels[i].offset for i in which]
    if len(offsets) < 2:
        return False
    spread = np.max(np.broadcast_arrays(*offsets), axis=0) - np.min(np.broadcast_arrays(*offsets), axis=0)
    return bool(np.all(spread > 1e-6))


def _heading_wheels(setup: Tracking) -> tuple[int, ...]:
    """Wheels that heading comes from: a forward row that stands apart, else a sideways row, else none."""
    rows = (setup.parallel("forward"), setup.parallel("sideways"))
    return next((row for row in rows if _apart(setup, row)), ())


def observes(setup: Tracking) -> Observed:
    """Tell which motions a tracking set-up can see at all.

    Parallel wheels never see motion across their own direction. Turning needs a gyro or two parallel wheels
    that stand at different offsets.

    Parameters
    ----------
    setup : The set-up

    Returns
    -------
    Whether it sees motion ahead, motion to the side, and turning [-].
    """
    heading = setup.gyro is not None or bool(_heading_wheels(setup))
    return Observed(bool(setup.parallel("forward")), bool(setup.parallel("sideways")), heading)


Weights: TypeAlias = tuple[tuple[Real, Real, Real], ...]
"""What one unit of each reading adds to motion ahead [-], to the left [-] and to the turn [1/m or -]."""


def weights(setup: Tracking) -> Weights:
    """Weights with which the readings add up to a motion: wheels in order, then the gyro if there is one.

    Heading is the gyro's, else the least-squares slope of the parallel wheels' travel over their offset.
    Motion ahead and to the left is the mean of that row's wheels, corrected by the turn times their mean
    offset. Motion to a side that no wheel sees counts as none.

    Parameters
    ----------
    setup : The set-up; nominal offsets are used

    Returns
    -------
    For each reading, the motion ahead and left [-] and the turn [1/m for wheels, - for the gyro] per unit.

    Raises
    ------
    ValueError : If the set-up cannot see heading or motion ahead
    """
    seen = observes(setup)
    if not seen.heading:
        msg = "heading cannot be known: it needs a gyro, or two parallel wheels at different offsets"
        raise ValueError(msg)
    if not seen.forward:
        msg = "motion ahead cannot be known: no wheel measures forward"
        raise ValueError(msg)
    readings = len(setup.wheels) + (setup.gyro is not None)
    turn: list[Real] = [0.0] * readings
    if setup.gyro is not None:
        turn[-1] = 1.0
    else:
        for i, weight in _slope(setup).items():
            turn[i] = weight
    lines = [_row(setup, direction, turn) for direction in ("forward", "sideways")]
    return tuple(zip(*lines, turn, strict=True))


def _slope(setup: Tracking) -> dict[int, Real]:
    """Least-squares weight of each parallel wheel for the turn [1/m]."""
    row = _heading_wheels(setup)
    mean = sum(np.asarray(setup.wheels[i].offset) for i in row) / len(row)
    arms = {i: np.asarray(setup.wheels[i].offset - mean) for i in row}
    square = sum(arm**2 for arm in arms.values())
    sign = -1.0 if setup.wheels[row[0]].direction == "forward" else 1.0
    return {i: sign * arm / square for i, arm in arms.items()}


def _row(setup: Tracking, direction: Direction, turn: list[Real]) -> list[Real]:
    """Weight of each reading for the motion along one direction [-]."""
    row = setup.parallel(direction)
    if not row:
        return [0.0] * len(turn)
    mean = sum(np.asarray(setup.wheels[i].offset) for i in row) / len(row)
    sign = 1.0 if direction == "forward" else -1.0
    return [(1.0 / len(row) if i in row else 0.0) + sign * mean * each for i, each in enumerate(turn)]


class Tilt(NamedTuple):
    """What the play of a wheel's axle lets it do: tilt [rad], sideways swing of its contact to either side [m]."""

    angle: Array
    swing: Array


def tilt_in_play(play: Real, span: Real, wheel: tuple[Real, Real], depth: Real) -> Tilt:
    """Return how far a wheel tilts in its bearings' play, and how far its contact with a soft floor swings.

    The axle lies at one side in one bearing and at the other in the other: tan a = play / span. The tread's middle
    moves aside by r sin a, and the pressure of a floor of independent springs moves back, towards the lower edge,
    by b^2 a / (12 d), at most b / 2. The rolling radius of a cylindrical tread stays what it is.

    Parameters
    ----------
    play, span : How far the axle moves from side to side in each bearing; distance between the bearings, above zero [m]
    wheel : Radius, and width of its tread [m]
    depth : How deep the upright wheel stands in the floor, above zero [m]

    Returns
    -------
    Tilt [rad] and swing [m].

    References
    ----------
    johnson1985: section 4.3, elastic foundation.
    plane-geometry: a line across two holes.
    """
    require.positive(span=span, depth=depth)
    radius, width = wheel
    angle = np.arctan2(play, span)
    back = np.minimum(np.square(width) * angle / (12.0 * np.asarray(depth)), 0.5 * np.asarray(width))
    return Tilt(np.asarray(angle), np.abs(radius * np.sin(angle) - back))


class SquareErrors(NamedTuple):
    """Mean end-point errors of the squares driven both ways.

    Parameters
    ----------
    x_cw, y_cw, x_ccw, y_ccw : Errors of the clockwise squares, and of the counter-clockwise squares [m]
    """

    x_cw: Real
    y_cw: Real
    x_ccw: Real
    y_ccw: Real


class SystematicErrors(NamedTuple):
    """What is wrong with the odometry of two parallel wheels.

    Parameters
    ----------
    alpha, beta : Error of each turn through a right angle, and of heading gathered on each straight side [rad]
    track_ratio, diameter_ratio : True track over nominal track; right wheel's true diameter over the left one's [-]
    """

    alpha: Array
    beta: Array
    track_ratio: Array
    diameter_ratio: Array


def systematic_errors(errors: SquareErrors, side: Real, track: Real) -> SystematicErrors:
    """Wheel and track errors from the end points of squares.

    alpha = -(x_cw + x_ccw)/(4 L) and the same from (y_cw - y_ccw); beta = -(x_cw - x_ccw)/(4 L) and the same from
    (y_cw + y_ccw): each is found twice, and the mean is taken. The curve's radius is (L/2)/sin(beta/2), so that
    D_R/D_L = (R + b/2)/(R - b/2), and b_true/b = 90/(90 - alpha) in degrees. To first order in the error angles;
    at 2 degrees good to a few percent of them. Written from memory, checked against a simulated drive.

    Parameters
    ----------
    errors : Mean end-point errors [m]
    side, track : Side of the square; nominal track [m]

    Returns
    -------
    Error angles [rad], ratio of tracks and ratio of wheel diameters [-].

    Raises
    ------
    ValueError : If side or track is not positive, an error is not finite, or the curve found is tighter than half the
        track

    References
    ----------
    borenstein1996: type A and type B errors, horizontal and vertical superposition.
    """
    require.positive(side=side, track=track)
    if not all(np.all(np.isfinite(each)) for each in errors):
        msg = f"errors must be finite, got {errors}"
        raise ValueError(msg)
    x_cw, y_cw, x_ccw, y_ccw = (np.asarray(each, dtype=np.float64) for each in errors)
    around = -4.0 * np.asarray(side)
    alpha = 0.5 * ((x_cw + x_ccw) + (y_cw - y_ccw)) / around
    beta = 0.5 * ((x_cw - x_ccw) + (y_cw + y_ccw)) / around
    lean = np.asarray(track) * np.sin(0.5 * beta) / side
    if not np.all(np.abs(lean) < 1.0):
        msg = f"errors must mean a curve wider than the track, got beta = {beta!r} rad"
        raise ValueError(msg)
    return SystematicErrors(alpha, beta, 0.5 * np.pi / (0.5 * np.pi - alpha), (1.0 + lean) / (1.0 - lean))


def worst_offset(errors: SquareErrors) -> Array:
    """Larger of the two mean end-point errors, the test's one figure for systematic error.

    Parameters
    ----------
    errors : Mean end-point errors [m]

    Returns
    -------
    The distance [m].

    References
    ----------
    borenstein1996: E_max,syst.
    """
    return np.asarray(np.maximum(np.hypot(errors.x_cw, errors.y_cw), np.hypot(errors.x_ccw, errors.y_ccw)))
