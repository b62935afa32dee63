"""Odometry itself, simulated run by run: the full nonlinear counterpart of the closed-form error propagation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics.odometry.covariance import Placement, Relocation, Row
from fieldworthy.physics.odometry.odometry import Gyro, Path, Pose, Tracking, TrackingWheel, chord, joints, weights


@dataclass(frozen=True, slots=True)
class Drift:
    """Errors of the tracked pose at the waypoints, estimate minus truth, run by run."""

    x: Array
    y: Array
    heading: Array

    def stacked(self) -> Array:
        """Lay the three errors on the first axis."""
        return np.stack([self.x, self.y, self.heading])


def simulate(
    setup: Tracking, path: Path, runs: int, seed: int, steps: int = 40, placement: Placement | None = None
) -> Drift:
    """Simulate the odometry of many runs along one path."""
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


def move(start: Pose, ahead: Real, left: Real, turn: Real) -> Pose:
    """Pose after a motion of constant curvature."""
    x, y, heading = start
    step = np.exp(1j * np.asarray(heading)) * chord(turn) * (np.asarray(ahead) + 1j * np.asarray(left))
    return np.asarray(x + step.real), np.asarray(y + step.imag), np.asarray(heading) + turn


def wheel_and_gyro(forward: Real, sideways: Real, turn: Real, offsets: tuple[Real, Real]) -> tuple[Array, Array]:
    """Motion of the centre from one forward wheel, one sideways wheel and the gyro's angle."""
    return np.asarray(forward + turn * offsets[0]), np.asarray(sideways - turn * offsets[1])


def sample(path: Path, count: int) -> tuple[Array, Array, Array]:
    """Poses along the path, evenly within each motion."""
    return joints(finer(path, count))


def finer(path: Path, count: int) -> Path:
    """Cut each motion of a path into equal parts."""
    if count < 1:
        msg = f"count must be one or more, got {count}"
        raise ValueError(msg)
    ahead, left, turn, time = (
        np.repeat(np.asarray(part) / count, count, axis=0) for part in (path.ahead, path.left, path.turn, path.time)
    )
    return Path(path.start, ahead, left, turn, time, tuple(count * (mark + 1) - 1 for mark in path.marks))


def distance_sensor(waypoint, pose, mount, wall, sd):
    """A beam that meets a wall: distance (c - n s) / (n u), by its slopes along position and heading."""
    x, y, heading = pose
    normal, facing = np.exp(1j * wall[0]), np.exp(1j * heading)
    arm, beam = facing * (mount[0] + 1j * mount[1]), facing * np.exp(1j * mount[2])
    toward = (normal.conjugate() * beam).real
    distance = (wall[1] - (normal.conjugate() * (x + 1j * y + arm)).real) / toward
    slope = -(normal.conjugate() * 1j * (arm + distance * beam)).real / toward
    return Relocation(waypoint, (Row(-normal / toward, slope, sd),))
