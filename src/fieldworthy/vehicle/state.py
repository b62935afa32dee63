"""What many systems ask of the robot as a whole, each computed once in an evaluation context and kept there."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.files.declare import Spec, schema_of
from fieldworthy.physics.gas.air import atmosphere
from fieldworthy.physics.gas.tank import Circuit
from fieldworthy.physics.statics.rigidbody import RigidBody
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.machine import CHASSIS, Listed, Weighed
from fieldworthy.vehicle.body import Group, body_in, corrected, extent_in, group_of, whole
from fieldworthy.vehicle.drivetrain import Drive, DrivePerformance, drive_of, nominal_travel, performance_of
from fieldworthy.vehicle.schedule import Beat, Written, legs_of, written_out
from fieldworthy.vehicle.stance import Stance, SupportContacts, stand, support_contacts

_LN2 = float(np.log(2.0))


def groups(context: Context) -> dict[str, Group]:
    """The parts that ride together, assembled, with what scales said of the whole laid over the chassis."""

    def weighed() -> dict[str, Group]:
        listed, scales = listed_groups(context), context.robot.weighed
        if scales is None:
            return listed
        moves = context.robot.poses[scales.pose].moves if scales.pose is not None else {}
        return corrected(listed, scales, moves, listed_groups(context.nominal))

    return context.once("groups", weighed)


def listed_groups(context: Context) -> dict[str, Group]:
    """The parts that ride together, assembled from the parts list alone."""
    names = dict.fromkeys(part.rides for part in context.robot.parts.values())
    return context.once("listed", lambda: {name: _riding(context, name) for name in names})


def _riding(context: Context, name: str) -> Group:
    parts = context.robot.parts.values()
    return context.once(("riding", name), lambda: group_of(part for part in parts if part.rides == name))


def group(context: Context, name: str) -> Group:
    """The parts that ride together under one name; the others are not assembled for it."""
    return groups(context)[name] if name == CHASSIS else _riding(context, name)


def p_atm(context: Context) -> Real:
    """Absolute pressure of the atmosphere at the event [Pa]."""
    return context.once("p_atm", lambda: atmosphere(context.season.altitude))


def start_temperature(context: Context) -> Real:
    """How warm the motors are as a match begins [K]: as warm as the hall where the file does not say."""
    stated: Real | None = context.robot.drive.motor_start_temperature
    return context.season.temperature if stated is None else stated


def circuits(context: Context) -> dict[str, Circuit]:
    """Every tank as a circuit: volume, charge, regulator and leak [SI]."""

    def built() -> dict[str, Circuit]:
        air, classes = context.robot.air, context.robot.catalogue.tanks
        found = {}
        for name, tank in air.tanks.items():
            charge = air.supply.charge if tank.charge is None else tank.charge
            setting = np.inf if tank.regulator is None else tank.regulator + p_atm(context)
            volume = classes[tank.tank].volume * tank.count
            found[name] = Circuit(volume, charge + p_atm(context), setting, tank.leak_half_time / _LN2)
        return found

    return context.once("circuits", built)


def schedule(context: Context) -> tuple[Beat, ...]:
    """The match plan written out, nominal."""
    return _written(context).beats


def driven_beats(context: Context) -> tuple[Beat, ...]:
    """The same with the ways that the whistle ends, in order of time."""
    written = _written(context)
    return tuple(sorted((*written.beats, *written.late), key=lambda beat: beat.leaves))


UNDRIVABLE = ("drive.sprint", "drive.turn")
"""What tells that a plan cannot be driven."""


def undrivable(context: Context) -> str:
    """Why the nominal plan stops at a way that the drive cannot go, in words; empty where it can go all of them."""
    written = _written(context)
    if written.stuck is None:
        return ""
    what = "turn on the spot" if written.turns else "move the robot"
    return f"the drive cannot {what} on the way from '{written.stuck.came_from}' to '{written.stuck.place}'"


def _written(context: Context) -> Written:
    def built() -> Written:
        # the first of the cases is nominal, so what the batch has found need not be found again
        usual = driving_pose(context)
        known = usual is not None and ("performance", same_body(context, usual)) in context.memory
        source, base = context if known else context.nominal, context.nominal

        def nominal_performance(pose: str) -> DrivePerformance:
            return performance(source, pose)

        travel = nominal_travel(base.robot, nominal_performance, usual, legs_of(base.robot, base.season))
        return written_out(base.robot, base.season, travel)

    return context.nominal.once("schedule", built)


def driving_pose(context: Context) -> str | None:
    """The pose it drives in where the plan does not say: the first that drives with nothing carried or in tow."""

    def chosen() -> str | None:
        poses = context.robot.poses
        drives = [n for n, p in poses.items() if p.use == "drive"]
        empty = [n for n in drives if not poses[n].carries and poses[n].tow is None]
        return next(iter([*empty, *drives, *poses]), None)

    return context.once("driving pose", chosen)


def drivetrain(context: Context) -> Drive:
    """Battery to rims [SI]."""
    return context.once("drivetrain", lambda: drive_of(context.robot))


def contacts(context: Context) -> SupportContacts:
    """What the robot can stand on [m]."""
    return context.once("contacts", lambda: support_contacts(context.robot))


def same_body(context: Context, pose: str) -> str:
    """The first pose that is the same body: poses in which nothing is moved, carried or towed share one."""

    def bare() -> list[str]:
        return [n for n, p in context.robot.poses.items() if not p.moves and not p.carries and p.tow is None]

    alike = context.once("bare poses", bare)
    return alike[0] if pose in alike else pose


def body(context: Context, pose: str) -> RigidBody:
    """The robot in a pose, with what it carries: mass, centre of gravity and inertia about it [kg, m, kg m2]."""
    pose = same_body(context, pose)
    whole = context.robot.poses[pose]
    return context.once(("body", pose), lambda: body_in(context.season, groups(context), whole))


def extent(context: Context, pose: str) -> tuple[Array, Array]:
    """The lowest and the highest corner of the box around its parts in a pose [m]."""
    return extent_in(groups(context), context.robot.poses[pose])


MEASURED = 0.005  # m; to which places on a robot are measured, and soft treads give; common practice, no source


def sunk(context: Context) -> Array:
    """How far its parts reach below the floor in the pose where they are deepest, of those that stand on it [m]."""
    standing = [name for name, pose in context.robot.poses.items() if pose.use != "climb"]
    if not standing or not context.robot.parts:
        return np.zeros(1)
    lowest = np.broadcast_arrays(*(np.ravel(extent(context, name)[0][2]) for name in standing))
    return np.asarray(-np.minimum.reduce(lowest))


def stance(context: Context, pose: str) -> Stance:
    """How it stands on the floor in a pose: load, height, tipping edges and rollers [SI]."""
    pose = same_body(context, pose)
    whole = context.robot.poses[pose]
    return context.once(("stance", pose), lambda: stand(contacts(context), body(context, pose), whole))


def performance(context: Context, pose: str) -> DrivePerformance:
    """What the drive can make of it in a pose: accelerations, top speed, the speed-acceleration curve [SI]."""
    pose = same_body(context, pose)
    robot, whole = context.robot, context.robot.poses[pose]
    return context.once(
        ("performance", pose), lambda: performance_of(robot, drivetrain(context), stance(context, pose), whole)
    )


def keep_weights(weighed: Loaded, variant: Loaded) -> Loaded:
    """Tie a variant's weights to the parts list of the robot that was weighed.

    A variant that gives other weights, or says itself what its parts added up to then, stays as it is.
    """
    own, then = variant.nominal.weighed, weighed.nominal.weighed
    if own is None or then is None or own.listed is not None or own != dataclasses.replace(then, listed=None):
        return variant
    spec: Any = variant.robot
    known: Any = weighed.robot
    listed = known.weighed.listed if then.listed is not None else _listed(weighed, then)
    said = spec.weighed.model_copy(update={"listed": listed})
    return dataclasses.replace(variant, robot=spec.model_copy(update={"weighed": said}))


def _listed(weighed: Loaded, scales: Weighed) -> Spec:
    """What the parts of a robot add up to, as its file would say it."""
    moves = weighed.nominal.poses[scales.pose].moves if scales.pose is not None else {}
    body = whole(listed_groups(Context(weighed.nominal, weighed.nominal_season)), moves)
    x, y, z = (f"{float(c)!r} m" for c in body.cg)
    return schema_of(Listed).model_validate({"mass": f"{float(body.mass)!r} kg", "x": x, "y": y, "z": z})
