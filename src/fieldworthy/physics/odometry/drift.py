"""Odometry itself, simulated run by run: the full nonlinear counterpart of the closed-form error propagation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.physics import _require as require
from fieldworthy.physics._types import Array
from fieldworthy.physics.odometry.covariance import Placement
from fieldworthy.physics.odometry.odometry import Gyro, Tracking, TrackingWheel, weights
from fieldworthy.physics.odometry.pose import Path, Pose, chord, finer


@dataclass(frozen=True, slots=True)
class Drift:
    """Errors of the tracked pose at the waypoints, estimate minus truth, run by run.

    Parameters
    ----------
    x, y : Array
        Position errors [m], shape (waypoints, runs).
    heading : Array
        Heading errors [rad], same shape.
    """

    x: Array
    y: Array
    heading: Array

    def stacked(self) -> Array:
        """Lay the three errors on the first axis.

        Returns
        -------
        Array
            Shape (3, waypoints, runs) [m, m, rad].
        """
        return np.stack([self.x, self.y, self.heading])


def simulate(
    setup: Tracking, path: Path, runs: int, seed: int, steps: int = 40, placement: Placement | None = None
) -> Drift:
    """Simulate the odometry of many runs along one path.

    Parameters
    ----------
    setup : Tracking
        The tracking set-up, every number a scalar [-].
    path : Path
        The path, without an axis of cases [-].
    runs : int
        How many runs [-].
    seed : int
        Seed of the random numbers [-].
    steps : int
        Odometry steps a motion [-].
    placement : Placement or None
        How exactly the robot starts [-].

    Returns
    -------
    Drift
        Errors at each waypoint [m, m, rad].

    Raises
    ------
    ValueError
        If the path or the set-up holds arrays over cases, or runs or steps is below one.

    Notes
    -----
    Each wheel has its own diameter, offset, direction, eccentricity phase and place between two counts in each run;
    it rolls through the true motion, misses what it misses, and is counted in whole counts. Pose then follows from
    nominal numbers, step by step on arcs of constant curvature.
    """
    require.positive(runs=runs, steps=steps)
    if path.turn.ndim != 1 or any(np.ndim(part) for part in path.start):
        msg = f"path must have no axis of cases, got shape {path.turn.shape}"
        raise ValueError(msg)
    rng = np.random.default_rng(seed)
    fine = finer(path, steps)
    motions = _true_motions(setup, fine, runs, rng)
    read = [_read(wheel, motions, runs, rng) for wheel in setup.wheels]
    if setup.gyro is not None:
        read.append(_turned(setup.gyro, fine, runs, rng))
    ahead, left, turn = (
        np.asarray(sum(weight * each for weight, each in zip(row, read, strict=True)))
        for row in zip(*weights(setup), strict=True)
    )
    marks = np.asarray(fine.marks)
    truth = _poses(path.start, *motions)
    believed = _poses(_placed(path.start, placement or Placement(), runs, rng), ahead, left, turn)
    x, y, heading = (one[marks] - other[marks] for one, other in zip(believed, truth, strict=True))
    return Drift(x, y, heading)


def _true_motions(setup: Tracking, path: Path, runs: int, rng: np.random.Generator) -> tuple[Array, Array, Array]:
    """What the robot does in each step, sideways drift included, shape (steps, runs)."""
    ahead, left, turn = (np.repeat(part[:, None], runs, axis=1) for part in (path.ahead, path.left, path.turn))
    if np.any(setup.unseen):
        left = left + setup.unseen * np.sqrt(np.abs(ahead)) * rng.standard_normal(left.shape)
    return ahead, left, turn


def _read(wheel: TrackingWheel, motions: tuple[Array, Array, Array], runs: int, rng: np.random.Generator) -> Array:
    """Travel that a wheel's counts mean in each step, shape (steps, runs)."""
    ahead, left, turn = motions
    toe = wheel.toe_sd * rng.standard_normal(runs)
    shift = turn * wheel.offset_sd * rng.standard_normal(runs)
    travel = wheel.travel(ahead, left, turn) + (-shift if wheel.direction == "forward" else shift)
    travel = travel * np.cos(toe) + wheel.crossing(ahead, left, turn) * np.sin(toe)
    walked = wheel.wobble * np.sqrt(np.abs(travel)) * rng.standard_normal(travel.shape)
    missed = wheel.lift_length * rng.poisson(wheel.lift_rate * np.abs(travel)) * np.sign(travel)
    slip = 1.0 + wheel.slip_sd * rng.standard_normal(runs)
    scale = 1.0 + wheel.scale_sd * rng.standard_normal(runs)
    rolled = np.cumsum(travel * slip + walked - missed, axis=0)
    phase = 2.0 * np.pi * rng.random(runs)
    swung = rolled + wheel.runout * (np.sin(phase + rolled / (0.5 * wheel.diameter)) - np.sin(phase))
    return _counted(swung / scale, wheel, runs, rng)


def _counted(rolled: Array, wheel: TrackingWheel, runs: int, rng: np.random.Generator) -> Array:
    """Differences of a travel read in whole counts, from a random place between two counts."""
    if np.any(wheel.count_length):
        place = rng.random(runs)
        rolled = np.floor(rolled / wheel.count_length + place) * wheel.count_length
    return np.diff(rolled, axis=0, prepend=0.0)


def _turned(gyro: Gyro, path: Path, runs: int, rng: np.random.Generator) -> Array:
    """Angle that a gyro reads in each step, shape (steps, runs)."""
    scale = 1.0 + gyro.scale_sd * rng.standard_normal(runs)
    drift = gyro.drift_sd * rng.standard_normal(runs)
    time, turn = path.time[:, None], path.turn[:, None]
    noise = gyro.noise * np.sqrt(time) * rng.standard_normal((len(time), runs))
    return np.asarray(turn * scale + drift * time + noise)


def _placed(start: Pose, placement: Placement, runs: int, rng: np.random.Generator) -> Pose:
    """Believed poses at the start, off by the placement."""
    off = rng.standard_normal((3, runs))
    sds = (placement.x_sd, placement.y_sd, placement.heading_sd)
    x, y, heading = (part + sd * each for part, sd, each in zip(start, sds, off, strict=True))
    return x, y, heading


def _poses(start: Pose, ahead: Array, left: Array, turn: Array) -> tuple[Array, Array, Array]:
    """Poses after each step of constant curvature, shape (steps, runs)."""
    heading = start[2] + np.cumsum(turn, axis=0)
    step = np.exp(1j * (heading - turn)) * chord(turn) * (ahead + 1j * left)
    way = np.cumsum(step, axis=0)
    return start[0] + way.real, start[1] + way.imag, heading
