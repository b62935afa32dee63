"""The drive along a run, against a wall, and as its motors warm over a match."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.checks.drive import pushing
from fieldworthy.checks.driveplan import drive_use
from fieldworthy.checks.driving import picked
from fieldworthy.checks.finding import Array
from fieldworthy.checks.showing import first
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.motion import move, speed_curve

_POINTS = 60  # of each piece of a run
_USUAL = 2.0  # m; the run that is shown where the team names none


@dataclass(frozen=True, slots=True)
class RunCurves:
    """A straight run from rest to rest.

    Attributes
    ----------
    pose : str
        In which it drives.
    time, distance, speed, acceleration : ndarray of shape (k,)
        Along the run; where it starts to brake stands twice, with either acceleration [s, m, m/s, m/s2].
    wanted : float or None
        Time within which the team wants it [s].
    top_speed : float
        That it could reach with room enough [m/s].
    """

    pose: str
    time: Array
    distance: Array
    speed: Array
    acceleration: Array
    wanted: float | None
    top_speed: float


@dataclass(frozen=True, slots=True)
class PushCurves:
    """The robot against a wall.

    Attributes
    ----------
    force : float
        What it pushes with [N].
    motors, grip : float
        What the motors would give, and what the wheels hold on the floor [N].
    wanted : float or None
        What the team wants [N].
    """

    force: float
    motors: float
    grip: float
    wanted: float | None


@dataclass(frozen=True, slots=True)
class HeatCurves:
    """Winding temperature of a drive motor over the match.

    Attributes
    ----------
    time, winding : ndarray of shape (k,)
        From the start of the match [s], and then [K].
    limit : float
        Not to be passed [K].
    derating : tuple of float
        From which the controller cuts the current, step by step [K].
    autonomous : float
        When the driven period begins [s].
    """

    time: Array
    winding: Array
    limit: float
    derating: tuple[float, ...]
    autonomous: float


def run_curves(subject: Subject, distance: float | None = None) -> RunCurves | None:
    """Follow a straight run from rest to rest.

    Parameters
    ----------
    subject : Subject
        Robot and season, nominal [SI].
    distance : float or None
        How far; the team's sprint distance, or 2 m, where None [m].

    Returns
    -------
    RunCurves or None
        None without parts or pose, or where the robot does not start [SI].
    """
    subject = subject.nominal
    pose, targets = subject.driving_pose, subject.robot.drive.targets
    if pose is None or not subject.robot.parts:
        return None
    pace = subject.pace(pose)
    line, load = picked(pace.line), picked(pace.load)
    own = None if targets.sprint_distance is None else first(targets.sprint_distance)
    far = distance or own or _USUAL
    made, curve = move(line, load, far), speed_curve(line, load)
    if not np.isfinite(first(made.time)):
        return None
    peak, whole, brake = first(made.peak_speed), first(made.time), first(load.deceleration)
    rising = peak * (1.0 - np.linspace(1.0, 0.0, _POINTS) ** 2)  # denser towards the peak
    time, way = curve.run_up(rising)
    up = (np.asarray(curve.force(rising)) - first(load.resistance)) / (first(load.mass) + first(load.rotating_mass))
    slowing = peak * np.linspace(1.0, 0.0, _POINTS)
    to_go = slowing / brake
    wanted = targets.sprint_time if own is not None and far == own else None
    return RunCurves(
        pose, np.concatenate([time, whole - to_go]), np.concatenate([way, far - 0.5 * slowing * to_go]),
        np.concatenate([rising, slowing]), np.concatenate([up, np.full(_POINTS, -brake)]),
        None if wanted is None else first(wanted), first(pace.top_speed),
    )  # fmt: skip


def push_curves(subject: Subject) -> PushCurves | None:
    """Weigh the motors' push against the wheels' grip.

    Parameters
    ----------
    subject : Subject
        Robot and season, nominal [SI].

    Returns
    -------
    PushCurves or None
        None without parts or pose [N].
    """
    subject = subject.nominal
    pose = subject.driving_pose
    if pose is None or not subject.robot.parts:
        return None
    force, motors, grip = (first(part) for part in pushing(subject.pace(pose)))
    wanted = subject.robot.drive.targets.push_force
    return PushCurves(force, motors, grip, None if wanted is None else first(wanted))


def heat_curves(subject: Subject) -> HeatCurves | None:
    """Follow the winding temperature of the drive motors along the plan.

    Parameters
    ----------
    subject : Subject
        Robot and season, nominal [SI].

    Returns
    -------
    HeatCurves or None
        None without parts, pose or plan [s, K].
    """
    subject = subject.nominal
    use = drive_use(subject) if subject.robot.parts and subject.driving_pose is not None else None
    if use is None:
        return None
    drive = subject.robot.drive
    start = first(drive.motor_start_temperature)
    winding = np.concatenate([[start], [first(w) for w in use.winding]])
    steps = tuple(first(step.above) for step in subject.robot.catalogue.motors[drive.motor].derating)
    clock = np.concatenate([[0.0], use.clock])
    return HeatCurves(clock, winding, first(drive.motor_hot), steps, first(subject.season.periods.autonomous))
