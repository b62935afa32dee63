"""The force with which a climber draws its hooks down, with the air or the battery that is left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.checks.airplan import AirUse, air_along_plan, use_of
from fieldworthy.checks.driving import motor_line, robot_battery
from fieldworthy.checks.finding import Real
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.battery import operating_point
from fieldworthy.physics.gearing import GearStage, train
from fieldworthy.physics.motor import Controller
from fieldworthy.physics.tank import after_leak
from fieldworthy.robot.model.climber import Climber, CylinderLift, MotorLift


@dataclass(frozen=True, slots=True)
class Pull:
    """What a climber pulls with.

    Attributes
    ----------
    hook_force : float or ndarray
        At the hooks, losses taken off [N].
    when : str
        With which air or battery, in words; ``{gauge}`` stands for the pressure.
    gauge : float or ndarray or None
        Gauge pressure that it pulls with [Pa]; None for motors.
    """

    hook_force: Real
    when: str
    gauge: Real | None = None


def travel_of(subject: Subject, spec: Climber) -> Real:
    """How far the hooks are drawn down.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].
    spec : Climber
        The climber [SI].

    Returns
    -------
    float or ndarray
        Travel [m].
    """
    if isinstance(spec.lift, MotorLift):
        return spec.lift.travel
    kind = subject.robot.catalogue.cylinders[subject.robot.air.cylinders[spec.lift.cylinder].cylinder]
    return kind.stroke * spec.lift.ratio


def lifting_force(subject: Subject, spec: Climber) -> Pull:
    """Find the force at the hooks, with the air that the plan leaves or at motor stall with the battery's sag.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].
    spec : Climber
        The climber [SI].

    Returns
    -------
    Pull
        Force at the hooks [N].
    """
    if isinstance(spec.lift, MotorLift):
        return _motors(subject, spec, spec.lift)
    use, gauge, when = _air(subject, spec.lift)
    return Pull(_by_cylinder(use, spec.lift, gauge), when, gauge)


def _air(subject: Subject, lift: CylinderLift) -> tuple[AirUse, Real, str]:
    """The lifting cylinder and the lowest pressure that the plan leaves its working stroke."""
    use, plan = use_of(subject, lift.cylinder), air_along_plan(subject)
    way = 0 if lift.working == "out" else 1
    if lift.cylinder in plan.lowest:
        return use, plan.lowest[lift.cylinder][way].gauge, "on the {gauge} that the plan leaves it"
    full = np.minimum(use.circuit.p_charge, use.circuit.p_set) - subject.p_atm
    return use, full, "on {gauge}, a full tank, for the plan never uses it"


def _by_cylinder(use: AirUse, lift: CylinderLift, gauge: Real) -> Real:
    area = use.cylinder.piston_area if lift.working == "out" else use.cylinder.ring_area
    rods = use.spec.count * (use.efficiency * gauge * area - _spring(use, lift))
    return np.maximum(rods, 0.0) * lift.efficiency / lift.ratio


def _spring(use: AirUse, lift: CylinderLift) -> Real:
    return use.cylinder.spring_force(use.cylinder.stroke) if lift.working == "out" else 0.0


def _motors(subject: Subject, spec: Climber, lift: MotorLift) -> Pull:
    robot, use = subject.robot, spec.motors[0]
    kind = robot.catalogue.motors[use.motor]
    gears = train([GearStage(s.driven / s.driver, s.efficiency) for s in lift.stages])
    bounds = Controller(kind.current_limit, kind.power_cap)
    stalled = operating_point(motor_line(kind), bounds, robot_battery(robot), float(use.count), 0.0)
    force = use.count * stalled.torque * gears.ratio * gears.efficiency * lift.efficiency / lift.drum_radius
    return Pull(force, "at stall, the battery's sag counted")


def held_later(subject: Subject, spec: Climber) -> Real:
    """Find the force that is left after it has hung for a while without power.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].
    spec : Climber
        The climber [SI].

    Returns
    -------
    float or ndarray
        At the hooks [N]; motors without power hold nothing.
    """
    if isinstance(spec.lift, MotorLift):
        return 0.0
    use, gauge, _ = _air(subject, spec.lift)
    left = after_leak(subject.p_atm + gauge, spec.hold, use.circuit.leak, subject.p_atm) - subject.p_atm
    return _by_cylinder(use, spec.lift, left)
