"""What figures show, computed from a nominal robot: one module a subsystem.

What belongs here calls the functions that the checks call and keeps whole curves where a check keeps one number.
Nothing here draws.
"""

from __future__ import annotations

from fieldworthy.checks.subject import Subject
from fieldworthy.robot.model import Intake, Sorter
from fieldworthy.robot.model.climber import Climber
from fieldworthy.robot.model.linkage import Lift, MotorArm, Slide


def available(subject: Subject) -> tuple[str, ...]:
    """List the figures that a robot has.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].

    Returns
    -------
    tuple of str
        ``robot``, ``balance``, ``drive.run``, ``drive.push``, ``drive.heat``, ``air``, ``path``, and with a
        mechanism's name after the point ``lift.``, ``guide.``, ``hanging.``, ``intake.`` and ``sorter.`` [-].
    """
    robot = subject.nominal.robot
    moves = bool(robot.parts) and subject.nominal.driving_pose is not None
    plain = {
        "robot": bool(robot.parts and robot.poses),
        "balance": bool(robot.parts) and any(pose.use != "climb" for pose in robot.poses.values()),
        "drive.run": moves,
        "drive.push": moves,
        "drive.heat": moves and robot.plan is not None,
        "air": robot.plan is not None and bool(robot.air.tanks and robot.air.cylinders),
        "path": robot.plan is not None,
    }
    own = [f"{kind}.{name}" for name, spec in robot.mechanisms.items() if (kind := _kind(subject, spec))]
    return (*(name for name, there in plain.items() if there), *own)


def _kind(subject: Subject, spec: object) -> str:
    if isinstance(spec, Lift | MotorArm):
        return "lift" if spec.rides in subject.nominal.groups else ""
    if isinstance(spec, Climber):
        return "hanging" if subject.nominal.robot.parts else ""
    named = ((Intake, "intake"), (Sorter, "sorter"), (Slide, "guide"))
    return next((name for kind, name in named if isinstance(spec, kind)), "")
