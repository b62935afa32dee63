"""Straight guides: binding from an offset load."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, Worked, first
from fieldworthy.engine.system import Actuator, MotorLoad, RodLoad
from fieldworthy.physics.arms.motorarm import MotorDrive, SaggingMotor, motor_share, run_up_time, sagged_speed
from fieldworthy.physics.motors.motor import Controller, GearStage, train
from fieldworthy.physics.statics.guide import Guide, binding_ratio, moving_forces, shortest_guide
from fieldworthy.systems.guide.model import LinearGuide
from fieldworthy.vehicle import state
from fieldworthy.vehicle.drivetrain import motor_line, robot_battery
from fieldworthy.vehicle.supply import air_along_plan, stroke_time, use_of

_SOURCES = ("meriam_statics",)


def check(context: Context) -> Iterator[Outcome]:
    """Judge every straight guide."""
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, LinearGuide):
            yield from _binding(name, spec)
            yield from _return(name, spec)
            yield from _force(context, name, spec)
            if spec.drive is not None:
                yield from _pace(context, name, spec)


def _binding(name: str, spec: LinearGuide) -> Iterator[Outcome]:
    ratio = binding_ratio(spec.length, np.abs(spec.drive_offset), spec.friction)
    shortest = shortest_guide(np.abs(spec.drive_offset), spec.friction)
    least, most = moving(spec)
    numbers = {"ratio": (ratio, "share"), "length": (spec.length, "length"), "shortest": (shortest, "length"),
               "most": (most, "force")}  # fmt: skip
    pads = "its pads are {length} apart, and {shortest} is the least"
    hard = "when it is pushed with more than {most}" if np.isfinite(first(least)) else "however hard it is pushed"
    message = Message(
        f"Guide '{{name}}' is {{ratio}} of the way to locking itself: {pads}.",
        f"Guide '{{name}}' locks {hard}: {pads}. Drive it nearer to its axis, or lengthen it.",
        numbers,
        {"name": name},
    )
    worked = Worked("guide", {"L": (spec.length, "length"), "e": (np.abs(spec.drive_offset), "length"),
                              "mu": (spec.friction, "ratio")})  # fmt: skip
    yield Outcome(f"guide.binding.{name}", f"guide {name}", ratio, 1.0, "ratio", message, "at most", sources=_SOURCES,
                  worked=(worked,))  # fmt: skip


def _return(name: str, spec: LinearGuide) -> Iterator[Outcome]:
    """Whether the load alone brings the carriage back, as a drawer pushed at one corner may not come."""
    ratio = binding_ratio(spec.length, spec.load_offset, spec.friction)
    text = "Guide '{name}' comes back by its load alone: the load's offset is {ratio} of what would lock it."
    if first(spec.load) == 0.0:
        text = "Guide '{name}' has no load that would bring it back by itself."
    elif first(ratio) >= 1.0:
        text = (
            "Guide '{name}' does not come back by its load alone: the load is so far beside its axis that "
            "the pads lock."
        )
    message = Message(text, "", {"ratio": (ratio, "share")}, {"name": name})
    yield Outcome(f"guide.return.{name}", f"guide {name}", ratio, None, "ratio", message, sources=_SOURCES)


def moving(spec: LinearGuide) -> tuple[Array, Array]:
    """Find the least and the greatest force that moves a load along its guide; infinite and none where it locks."""
    guide = Guide(spec.length, spec.friction, spec.width)
    return moving_forces(guide, spec.load, spec.load_offset, spec.drive_offset)


def rods(context: Context) -> Iterator[RodLoad]:
    """What every guide asks of its rods, friction of its pads included."""
    for spec in context.robot.mechanisms.values():
        if isinstance(spec, LinearGuide) and spec.cylinder is not None:
            needed, _ = moving(spec)
            if np.isfinite(first(needed)):
                yield RodLoad.moved(spec.cylinder, 0 if spec.working == "out" else 1, needed)


@dataclass(frozen=True, slots=True)
class Motored:
    """The motors of a guide, through its gears, on the shaft that moves the carriage.

    Attributes
    ----------
    motor : Each on the robot's battery [SI]
    drive : All together, with all losses up to the carriage [SI]
    rotors : Inertia of their rotors at that shaft [kg m2]
    """

    motor: SaggingMotor
    drive: MotorDrive
    rotors: Real


def motored(context: Context, spec: LinearGuide) -> Motored:
    """Lay out what the motors of a guide give."""
    assert spec.drive is not None, "asked for with motors only"
    use = context.robot.motor(spec.motors[0])
    kind, battery = context.robot.catalogue.motors[use.motor], robot_battery(context.robot)
    motor = SaggingMotor(motor_line(kind), Controller(kind.current_limit, kind.power_cap), battery, float(use.count))
    gears = train([GearStage(s.driven / s.driver, s.efficiency) for s in spec.drive.stages])
    free = kind.free_speed * battery.open_voltage / kind.rated_voltage
    whole = gears.efficiency * spec.drive.efficiency
    drive = MotorDrive(use.count * motor.stall_torque, free, gears.ratio, whole)
    return Motored(motor, drive, kind.rotor_inertia * use.count * np.square(gears.ratio))


def forces(context: Context, spec: LinearGuide) -> tuple[Real, Real | None]:
    """Find the force that moves a load along its guide, and what its cylinder gives late in the plan or its motors.

    Where the cylinder presses the pads harder than it pushes, no force of its own moves the load.
    """
    needed, most = moving(spec)
    if spec.drive is not None:
        at = motored(context, spec)
        pull = at.drive.stall_torque * at.drive.reduction * at.drive.efficiency / spec.drive.radius
        return np.where(pull > most, np.inf, needed), pull
    if spec.cylinder is None:
        return needed, None
    use = use_of(context, spec.cylinder)
    lowest = air_along_plan(context).lowest.get(spec.cylinder)
    way = 0 if spec.working == "out" or lowest is None or len(lowest) < 2 else 1
    full = np.minimum(use.circuit.p_charge, use.circuit.p_set) - state.p_atm(context)
    gauge = full if lowest is None else lowest[way].gauge
    area = use.cylinder.piston_area if spec.working == "out" else use.cylinder.ring_area
    force = use.spec.count * use.efficiency * np.maximum(gauge, 0.0) * area
    return np.where(force > most, np.inf, needed), force


def turned(context: Context) -> Iterator[MotorLoad]:
    """What the load of every guide asks of its motors."""
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, LinearGuide) and spec.drive is not None:
            at, needed = motored(context, spec), forces(context, spec)[0]
            share = motor_share(at.drive, np.asarray(needed) * spec.drive.radius)
            yield MotorLoad(name, spec.motors[0].motor, np.maximum(share, 0.0) * at.motor.stall_torque)


def actuators(context: Context) -> dict[str, Actuator]:
    """What moves the carriages, for groups that bear their guide's name: motors at stall and free, or a full tank."""
    found = {}
    fresh = Context(replace(context.robot, plan=None), context.season)
    for name, spec in context.robot.mechanisms.items():
        if not isinstance(spec, LinearGuide):
            continue
        force = forces(fresh, spec)[1]
        if spec.drive is not None:
            drive = motored(context, spec).drive
            speed = drive.free_speed / drive.reduction * spec.drive.radius
        elif spec.cylinder is not None:
            stroke = use_of(context, spec.cylinder).cylinder.stroke
            speed = 2.0 * stroke / stroke_time(fresh, spec.cylinder, 0 if spec.working == "out" else 1)
        else:
            continue
        assert force is not None, "something drives it"
        found[name] = Actuator(first(force), first(speed))
    return found


def _force(context: Context, name: str, spec: LinearGuide) -> Iterator[Outcome]:
    """Force that moves the load, against what the cylinder gives."""
    needed, force = forces(context, spec)
    least, most = moving(spec)
    numbers: dict[str, tuple[Real, str]] = {
        "needs": (least, "force"), "load": (spec.load, "force"), "most": (most, "force")
    }  # fmt: skip
    text = "Guide '{name}' needs {needs} to move its load of {load}"
    between = text + ", and locks when it is pushed with more than {most}"
    words, locks = {"name": name}, "No force moves guide '{name}' with its load of {load}: it locks"
    if force is None:
        only = text if np.isinf(first(most)) else between
        message = Message((only if np.isfinite(first(least)) else locks) + ".", "", numbers, words)
        yield Outcome(f"guide.force.{name}", f"guide {name}", needed, None, "force", message)
        return
    numbers["has"] = (force, "force")
    has, only = "its cylinder pushes with {has}.", "its cylinder pushes only with {has}."
    if spec.drive is not None:
        has, only = "its motors pull with {has} at stall.", "its motors stall at {has}."
    short = f"{text}, and {only}"
    if not np.isfinite(first(least)):
        short = f"{locks}, though {has}"
    elif first(force) > first(most):
        short = f"{between}; {has}"
    message = Message(f"{text}; {has}", short, numbers, words)
    yield Outcome(f"guide.force.{name}", f"guide {name}", force, needed, "force", message, sources=_SOURCES)


_PLACES = 25  # along the way; the force is the same at all of them


def pace(context: Context, spec: LinearGuide) -> tuple[Real, Array]:
    """Find the speed at which motors move the load steadily, and the time for the whole way from rest."""
    assert spec.drive is not None, "asked for with motors only"
    at, drive = motored(context, spec), spec.drive
    needed, pull = forces(context, spec)
    moves = np.asarray(needed) <= np.asarray(pull)
    torque = np.where(np.isfinite(needed), needed, 0.0) * drive.radius
    each = motor_share(at.drive, torque) * at.motor.stall_torque
    speed = np.where(moves, sagged_speed(at.motor, each) / at.drive.reduction * drive.radius, 0.0)
    inertia = np.asarray(drive.moved * np.square(drive.radius) + at.rotors)
    varied = (torque, inertia, drive.travel, at.drive.stall_torque, at.drive.free_speed, at.drive.efficiency)
    shape = np.broadcast_shapes(*(np.shape(each) for each in varied))
    angles = np.broadcast_to(_shares(shape) * (drive.travel / drive.radius), (_PLACES, *shape))
    asked = np.broadcast_to(torque, (_PLACES, *shape))
    return speed, np.where(moves, run_up_time(at.motor, at.drive, inertia, angles, asked), np.inf)


def _shares(shape: tuple[int, ...]) -> Array:
    """Places along the way, denser where it speeds up."""
    share: Array = (np.linspace(0.0, 1.0, _PLACES) ** 1.5).reshape((-1,) + (1,) * len(shape))
    return share


def followed(context: Context, spec: LinearGuide) -> tuple[Array, Array]:
    """Follow one carriage that its motors move, from rest to the end of its way: times and places [s, m]."""
    assert spec.drive is not None, "asked for with motors only"
    at, drive = motored(context, spec), spec.drive
    torque, share = first(forces(context, spec)[0]) * first(drive.radius), _shares(())
    inertia = first(drive.moved * np.square(drive.radius) + at.rotors)
    angles, asked = share * first(drive.travel / drive.radius), np.full(_PLACES, torque)
    times = [first(run_up_time(at.motor, at.drive, inertia, angles[:k], asked[:k])) for k in range(2, _PLACES + 1)]
    return np.array([0.0, *times]), share * first(drive.travel)


def _pace(context: Context, name: str, spec: LinearGuide) -> Iterator[Outcome]:
    """How fast its motors move it, and when it is at its end."""
    assert spec.drive is not None, "asked for with motors only"
    speed, time = pace(context, spec)
    limit, travel = spec.drive.time_limit, spec.drive.travel
    words, goes = {"name": name}, np.isfinite(first(time))
    numbers: dict[str, tuple[Real, str]] = {"speed": (speed, "speed"), "travel": (travel, "length"),
                                            "time": (time, "time")}  # fmt: skip
    steady = "The motors of guide '{name}' move its load at {speed}, the battery's sag counted."
    if not goes:
        steady = "The motors of guide '{name}' do not move its load."
    yield Outcome(f"guide.speed.{name}", f"guide {name}", speed, None, "speed", Message(steady, "", numbers, words),
                  sources=("hughes",))  # fmt: skip
    text = "Guide '{name}' goes its {travel} in {time} from rest"
    stuck = "The motors of guide '{name}' do not take it along its {travel}."
    sources = ("hughes", "meriam_dynamics")
    if limit is None:
        message = Message(f"{text}." if goes else stuck, "", numbers, words)
        yield Outcome(f"guide.time.{name}", f"guide {name}", time, None, "time", message, sources=sources)
        return
    numbers["limit"] = (limit, "time")
    message = Message(f"{text}; {{limit}} is wanted.", f"{text}, later than the {{limit}} wanted." if goes else stuck,
                      numbers, words)  # fmt: skip
    yield Outcome(f"guide.time.{name}", f"guide {name}", time, limit, "time", message, "at most", sources=sources)
