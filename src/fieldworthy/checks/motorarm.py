"""Motor-driven arms: torque along the swing, time, holding, and what happens without power."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fieldworthy.checks.arms import arm_of
from fieldworthy.checks.driving import motor_line, robot_battery
from fieldworthy.checks.finding import Array, Outcome, Real, Say
from fieldworthy.checks.lift import target, timed
from fieldworthy.checks.showing import first
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.battery import operating_point
from fieldworthy.physics.gearing import GearStage, train
from fieldworthy.physics.leverage import elastic_torque, weight_torque
from fieldworthy.physics.motor import Controller
from fieldworthy.physics.motorarm import MotorDrive, holding_share, motor_share, motor_speed, motor_torque, swing_time
from fieldworthy.robot.model.linkage import MotorArm

_POINTS = 17  # along the swing
_SOURCES = ("meriam_statics", "hughes")


def check(subject: Subject) -> Iterator[Outcome]:
    """Judge every motor-driven arm.

    Parameters
    ----------
    subject : Subject
        Robot and season over cases [SI].

    Yields
    ------
    Outcome
        Torque, time, holding and target [-].
    """
    for name, spec in subject.robot.mechanisms.items():
        if not isinstance(spec, MotorArm):
            continue
        drive, angles = motor_drive(subject, spec), _angles(spec)
        passive = arm_torque(subject, spec, angles)
        angles = np.broadcast_to(angles[:, None] if angles.ndim < passive.ndim else angles, passive.shape)
        needed = motor_torque(passive, 1.0, spec.friction)
        yield from _torque(name, drive, needed, angles)
        yield from timed("arm", name, spec, swing_time(angles, motor_speed(drive, needed)), "with the battery's sag")
        yield from _holding(name, spec, drive, passive)
        yield from target(subject, name, spec, spec.swing)


def _angles(spec: MotorArm) -> Array:
    """Angles of the swing, points leading, from where the arm's parts are placed."""
    share = np.linspace(0.0, 1.0, _POINTS)
    swing = np.asarray(spec.swing, dtype=float)
    return np.asarray(share.reshape((-1,) + (1,) * swing.ndim) * swing)


def motor_drive(subject: Subject, spec: MotorArm) -> MotorDrive:
    """Find the motors and gears that swing an arm, the battery's sag and the current limit counted.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].
    spec : MotorArm
        The arm [SI].

    Returns
    -------
    MotorDrive
        All its motors together [SI].
    """
    use = spec.motors[0]
    kind = subject.robot.catalogue.motors[use.motor]
    line, battery = motor_line(kind), robot_battery(subject.robot)
    stalled = operating_point(line, Controller(kind.current_limit, kind.power_cap), battery, float(use.count), 0.0)
    gears = train([GearStage(s.driven / s.driver, s.efficiency) for s in spec.stages])
    free = kind.free_speed * battery.open_voltage / kind.rated_voltage
    return MotorDrive(use.count * stalled.torque, free, gears.ratio, gears.efficiency)


def arm_torque(subject: Subject, spec: MotorArm, angles: Array) -> Array:
    """Torque of weights and bands on an arm along its swing.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].
    spec : MotorArm
        The arm [SI].
    angles : ndarray
        From where its parts are placed, points leading [rad].

    Returns
    -------
    ndarray
        Positive raising [N m].
    """
    arm = arm_of(subject, spec)
    at = angles if np.ndim(arm.axis) == 0 or angles.ndim > 1 else angles[:, None]
    cos, sin = np.cos(at + arm.axis), np.sin(at + arm.axis)
    return np.asarray(weight_torque(arm.weights, cos, sin) + elastic_torque(arm.bands, cos, sin))


def _torque(name: str, drive: MotorDrive, needed: Array, angles: Array) -> Iterator[Outcome]:
    share = motor_share(drive, needed)
    place = int(np.argmax([first(point) for point in share]))
    worst: Real = share.max(axis=0)
    numbers = {"use": (worst, "share"), "torque": (needed[place], "torque"), "angle": (angles[place], "angle")}
    text = "Raising '{name}' takes {torque} at the worst point, {angle} up: {use} of what its motor gives"
    say = Say(text + " at stall.", text + ", so it stalls.", numbers, {"name": name})
    yield Outcome(f"arm.torque.{name}", f"motor arm {name}", worst, 1.0, "ratio", say, "at most", sources=_SOURCES)


def _holding(name: str, spec: MotorArm, drive: MotorDrive, passive: Array) -> Iterator[Outcome]:
    """What holding it still takes, at the worst point, and whether it stays up without power."""
    hold = holding_share(drive, passive, spec.friction).max(axis=0)
    stays = "it stays where it is" if first(hold) == 0.0 else "it sinks: support it before you work on it"
    numbers = {"hold": (hold, "share"), "limit": (spec.most_holding, "share")}
    text = "Holding '{name}' still takes {hold} of stall torque"
    say = Say(
        text + " ({limit} are allowed); without power {stays}.",
        text + ", more than the {limit} allowed: it heats, and without power {stays}. Add bands or reduction.",
        numbers,
        {"name": name, "stays": stays},
    )
    yield Outcome(f"arm.holding.{name}", f"motor arm {name}", hold, spec.most_holding, "ratio", say, "at most",
                  sources=("hughes", "practice"))  # fmt: skip
