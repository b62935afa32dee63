"""A tracking set-up: unpowered (or powered) wheels and a gyro, what they see, and how pose follows from them.

Every uncertainty is a standard deviation. A forward wheel that stands `offset` to the left of the turning
centre reads ahead - turn * offset; a sideways wheel that stands `offset` ahead of it reads left + turn *
offset.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple, TypeAlias

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require

Direction: TypeAlias = Literal["forward", "sideways"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackingWheel:
    """One wheel whose turning is counted.

    Parameters
    ----------
    direction : Direction
        What it measures [-]: "forward" or "sideways".
    diameter : Real
        Nominal diameter [m].
    offset : Real
        Place across its rolling direction [m]: a forward wheel left of the turning centre, a sideways wheel
        ahead of it.
    along : Real
        Place along its rolling direction [m]: a forward wheel ahead of the turning centre, a sideways wheel
        left of it; matters only with a toe error.
    diameter_sd : Real
        Standard deviation of the effective diameter about the nominal one [m].
    offset_sd, toe_sd : Real
        Standard deviation of the offset [m], and of the rolling direction about the true one [rad].
    counts : Real
        Counts a turn [-]; infinite for a perfect sensor.
    runout : Real
        Eccentricity of the tread about its axle [m]; the reading swings by as much either way, once a turn.
    wobble : Real
        Random error that grows with the root of the travel [m/sqrt(m)]: play, scrub, uneven floor.
    slip_sd : Real
        Standard deviation of the share of its travel that the wheel loses or gains all along a run [-].
    lift_rate, lift_length : Real
        How often the wheel leaves the floor or skids for want of down-force [1/m], and the travel that it
        misses each time [m].

    Raises
    ------
    ValueError
        If the direction is unknown, the diameter or the counts are not positive, another quantity is
        negative or an offset is not finite.
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
        ahead, left, turn : Real
            Distance of the turning centre forward and to the left, seen from the robot [m]; angle turned [rad].

        Returns
        -------
        Array
            The travel [m].
        """
        if self.direction == "forward":
            return np.asarray(ahead - np.asarray(turn) * self.offset)
        return np.asarray(left + np.asarray(turn) * self.offset)

    def crossing(self, ahead: Real, left: Real, turn: Real) -> Array:
        """Travel of the wheel's place across its rolling direction, to the left of where it rolls.

        Parameters
        ----------
        ahead, left, turn : Real
            Distance of the turning centre forward and to the left, seen from the robot [m]; angle turned [rad].

        Returns
        -------
        Array
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
    scale_sd : Real
        Standard deviation of the scale [-]: angle read too large or small, per angle turned.
    drift_sd : Real
        Standard deviation of the bias rate that is left after calibration [rad/s].
    noise : Real
        Angle random walk: density of the white noise of the rate [rad/sqrt(s)].

    Raises
    ------
    ValueError
        If a quantity is negative.

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
    forward, sideways, heading : bool
        Whether motion ahead, motion to the side and turning are seen.
    """

    forward: bool
    sideways: bool
    heading: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Tracking:
    """A tracking set-up: its wheels, its gyro, and what it cannot see.

    Parameters
    ----------
    wheels : tuple[TrackingWheel, ...]
        The wheels that are counted.
    gyro : Gyro or None
        The gyro; when there is one, heading is taken from it and from no wheel.
    unseen : Real
        Sideways drift of the robot that grows with the root of the distance ahead [m/sqrt(m)]: pushes,
        sliding omni-wheels. It is an error only without a sideways wheel.

    Raises
    ------
    ValueError
        If there is no wheel, or the unseen drift is negative.

    Notes
    -----
    Two parallel wheels and a sideways one; a forward wheel, a sideways one and a gyro; or the powered wheels
    alone (two parallel wheels with slip, none sideways): the combination follows from what is listed.
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
        direction : Direction
            The direction.

        Returns
        -------
        tuple[int, ...]
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

    Parameters
    ----------
    setup : Tracking
        The set-up.

    Returns
    -------
    Observed
        Whether it sees motion ahead, motion to the side, and turning [-].

    Notes
    -----
    Parallel wheels never see motion across their own direction. Turning needs a gyro or two parallel wheels
    that stand at different offsets.
    """
    heading = setup.gyro is not None or bool(_heading_wheels(setup))
    return Observed(bool(setup.parallel("forward")), bool(setup.parallel("sideways")), heading)


Weights: TypeAlias = tuple[tuple[Real, Real, Real], ...]
"""What one unit of each reading adds to motion ahead [-], to the left [-] and to the turn [1/m or -]."""


def weights(setup: Tracking) -> Weights:
    """Weights with which the readings add up to a motion: wheels in order, then the gyro if there is one.

    Parameters
    ----------
    setup : Tracking
        The set-up; nominal offsets are used.

    Returns
    -------
    Weights
        For each reading, the motion ahead and left [-] and the turn [1/m for wheels, - for the gyro] per
        unit.

    Raises
    ------
    ValueError
        If the set-up cannot see heading or motion ahead.

    Notes
    -----
    Heading is the gyro's, else the least-squares slope of the parallel wheels' travel over their offset.
    Motion ahead and to the left is the mean of that row's wheels, corrected by the turn times their mean
    offset. Motion to a side that no wheel sees counts as none.
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
