"""Tip limits of every pose that stands on the floor, beside what the drive can really make."""

from __future__ import annotations

from dataclasses import dataclass

from fieldworthy.checks.balance import asked_of
from fieldworthy.checks.curves.body import TipLimit, tip_limits
from fieldworthy.checks.showing import first
from fieldworthy.checks.stance import SIDES
from fieldworthy.checks.subject import Subject


@dataclass(frozen=True, slots=True)
class PoseLimits:
    """One pose's tip limits.

    Attributes
    ----------
    pose : str
        Its name.
    limits : tuple of TipLimit
        Forward, back, left, right.
    asked : tuple of float or None
        Hardest acceleration that the drive can make of it, in the same order [m/s2]; None where it only stands.
    """

    pose: str
    limits: tuple[TipLimit, ...]
    asked: tuple[float, ...] | None


@dataclass(frozen=True, slots=True)
class BalanceCurves:
    """A robot's tip limits.

    Attributes
    ----------
    robot : str
        Its name.
    poses : tuple of PoseLimits
        Those that stand on the floor.
    least_tilt : float
        Tilt that it must stand, as the team wants it [rad].
    """

    robot: str
    poses: tuple[PoseLimits, ...]
    least_tilt: float


def balance_curves(subject: Subject) -> BalanceCurves | None:
    """Gather a robot's tip limits.

    Parameters
    ----------
    subject : Subject
        Robot and season, nominal [SI].

    Returns
    -------
    BalanceCurves or None
        None without parts, or where no pose stands on the floor [SI].
    """
    subject = subject.nominal
    robot = subject.robot
    floor = [name for name, pose in robot.poses.items() if pose.use != "climb"]
    if not robot.parts or not floor:
        return None
    poses = tuple(PoseLimits(name, tuple(tip_limits(subject, name)), _asked(subject, name)) for name in floor)
    return BalanceCurves(robot.robot, poses, first(robot.balance.least_tilt))


def _asked(subject: Subject, pose: str) -> tuple[float, ...] | None:
    if subject.robot.poses[pose].use not in ("drive", "start"):
        return None
    pace = subject.pace(pose)
    return tuple(first(asked_of(pace, side)) for side in SIDES)
