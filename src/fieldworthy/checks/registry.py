"""Every check, in the order in which they run, and the cautions that go with a robot."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from fieldworthy.checks import (
    air,
    balance,
    clamp,
    climb,
    drive,
    grabber,
    intake,
    lifts,
    limits,
    motorarm,
    plain,
    slide,
    sorter,
    tracking,
)
from fieldworthy.checks.finding import Outcome
from fieldworthy.checks.subject import Subject
from fieldworthy.robot.model import Robot

Check = Callable[[Subject], Iterable[Outcome]]

CHECKS: tuple[Check, ...] = (
    drive.check,
    balance.check,
    air.check,
    intake.check,
    sorter.check,
    clamp.check,
    grabber.check,
    climb.check,
    lifts.check,
    motorarm.check,
    slide.check,
    tracking.check,
    tracking.seams,
    plain.check,
    limits.check,
)
"""One check a subsystem; tracking has two."""

OF_THE_BODY = tuple(
    map(CHECKS.index, (drive.check, balance.check, grabber.check, climb.check, tracking.seams, limits.check))
)
"""Places of the checks that share the robot's body, its stances and its pace: about half of the time of all."""

_ALWAYS = (
    "The event's own rules and the makers' ratings come first; these results are estimates, not a licence.",
    "Lithium batteries: charge them attended, never use one that is swollen or damaged.",
)
_AIR = (
    "Compressed air: never charge above the rated pressure of the weakest part; wear eye protection.",
    "Release all air before you work on the robot.",
)
_STORED = (
    "Raised arms and stretched bands store energy, and moving mechanisms pinch: support them before you reach in.",
)
_CLIMB = ("A robot that hangs can fall: nobody stands or reaches beneath it.",)


def cautions(robot: Robot) -> tuple[str, ...]:
    """Choose the cautions that a robot calls for.

    Parameters
    ----------
    robot : Robot
        The robot [-].

    Returns
    -------
    tuple of str
        One sentence each [-].
    """
    climbs = any(pose.use == "climb" for pose in robot.poses.values())
    moves = bool(robot.mechanisms) or any(pose.moves for pose in robot.poses.values())
    return _ALWAYS + (_AIR if robot.air.tanks else ()) + (_STORED if moves else ()) + (_CLIMB if climbs else ())
