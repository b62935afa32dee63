"""Motor arms: what is judged of each, and the constants that the robot's own program may want to know."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, first
from fieldworthy.engine.system import COMPUTED, Actuator, Constant, Constants, Found, MotorLoad, Quantities
from fieldworthy.physics.arms.linkage import elastic_torque, slack_angles, weight_torque
from fieldworthy.physics.arms.motorarm import (
    MotorDrive,
    SaggingMotor,
    greatest_along,
    holding_share,
    motor_share,
    motor_torque,
    run_up_time,
    sagged_speed,
)
from fieldworthy.physics.motors.motor import Controller, GearStage, train
from fieldworthy.physics.motors.thermal import Winding, steady
from fieldworthy.robot.model.catalogue import MotorClass
from fieldworthy.systems.arm.mechanics import judge_way
from fieldworthy.systems.arm.model import MotorArm
from fieldworthy.systems.drive.mechanics import heat_path
from fieldworthy.systems.lift.mechanics import Arm, arm_of, cases_of, polar, target, timed
from fieldworthy.vehicle.drivetrain import motor_line, robot_battery

_LEVEL = 1e-3  # rad; less is not told
_POINTS = 17  # along half a turn; twice as many move no number by a percent
_SOURCES = ("meriam_statics", "hughes")


@dataclass(frozen=True, slots=True)
class Driven:
    """A motor-driven arm along its swing, points leading.

    Attributes
    ----------
    name : Of the mechanism
    spec : As the file gives it [SI]
    kind : Its motors [SI]
    motor : The same on the robot's battery [SI]
    drive : All its motors together, through their gears [SI]
    arm : What it carries [SI]
    angles : From where its parts are placed [rad]
    passive, empty : Torque of weights and bands, loaded and with nothing on the arm, positive raising [N m]
    falling, rising : Most that weights and bands pull it down and up anywhere on its swing, loaded or empty [N m], and
        the angle where they do [rad]
    """

    name: str
    spec: MotorArm
    kind: MotorClass
    motor: SaggingMotor
    drive: MotorDrive
    arm: Arm
    angles: Array
    passive: Array
    empty: Array
    falling: tuple[Array, Array]
    rising: tuple[Array, Array]

    def needed(self, sense: float) -> Array:
        """Torque asked of the motors at the arm, loaded or empty, whichever is more."""
        return motor_torque(np.minimum(sense * self.passive, sense * self.empty), 1.0, self.spec.friction)

    def most_needed(self, sense: float) -> tuple[Array, float]:
        """The most torque that the motors are asked for on a way, and the nominal angle where they are."""
        torque, angle = self.falling if sense > 0.0 else self.rising
        return motor_torque(-torque, 1.0, self.spec.friction), first(angle)


def check(context: Context) -> Iterator[Outcome]:
    """Judge every motor-driven arm."""
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, MotorArm):
            at = driven(context, name, spec)
            yield from _torque(at)
            yield from _pace(at)
            yield from _holding(at)
            yield from _heat(context, at)
            yield from target(context, name, spec, best_raise(spec))
            yield from judge_way(context, name, spec)


def best_raise(spec: MotorArm) -> Real:
    """How far up an arm brings its point highest: motors can stop it there on a way that goes on beyond."""
    if spec.target is None:
        return spec.swing
    top = np.mod(0.5 * np.pi - polar(spec, spec.target.point)[1], 2.0 * np.pi)
    return np.where(top <= spec.swing, top, spec.swing)


def driven(context: Context, name: str, spec: MotorArm) -> Driven:
    """Lay a motor-driven arm out along its swing."""
    use = context.robot.motor(spec.motors[0])
    kind = context.robot.catalogue.motors[use.motor]
    battery = robot_battery(context.robot)
    motor = SaggingMotor(motor_line(kind), Controller(kind.current_limit, kind.power_cap), battery, float(use.count))
    gears = train([GearStage(s.driven / s.driver, s.efficiency) for s in spec.stages])
    free = kind.free_speed * battery.open_voltage / kind.rated_voltage
    drive = MotorDrive(use.count * motor.stall_torque, free, gears.ratio, gears.efficiency)
    arm = arm_of(context, spec)
    points = _POINTS if first(spec.swing) <= np.pi else 2 * _POINTS
    angles = first(spec.swing) * np.linspace(0.0, 1.0, points) ** 1.5  # denser where it speeds up
    shape = cases_of(arm, drive.stall_torque, free, drive.efficiency, spec.friction, kind.rotor_inertia)
    most = (_most(arm, spec.swing, shape, sign) for sign in (-1.0, 1.0))
    return Driven(name, spec, kind, motor, drive, arm, angles, *_passives(arm, angles, shape), *most)


def actuators(context: Context) -> dict[str, Actuator]:
    """What the motors give at the arms: torque at stall behind their gears, and speed without load."""
    found = {}
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, MotorArm):
            drive = driven(context, name, spec).drive
            torque = first(drive.stall_torque * drive.reduction * drive.efficiency)
            found[spec.rides] = Actuator(torque, first(drive.free_speed / drive.reduction))
    return found


def turned(context: Context) -> Iterator[MotorLoad]:
    """What every arm asks of its motors at the worst point of the worse way."""
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, MotorArm):
            at = driven(context, name, spec)
            needed = np.maximum(at.most_needed(1.0)[0], at.most_needed(-1.0)[0])
            share = np.maximum(motor_share(at.drive, needed), 0.0)
            yield MotorLoad(name, spec.motors[0].motor, share * at.motor.stall_torque)


def _passives(arm: Arm, angles: Array, shape: tuple[int, ...]) -> tuple[Array, Array]:
    """Torque of weights and bands along the swing, loaded and empty, positive raising."""
    loaded, empty = _torques(arm, angles.reshape((-1,) + (1,) * len(shape)))
    return np.broadcast_to(loaded, (len(angles), *shape)), np.broadcast_to(empty, (len(angles), *shape))


def _torques(arm: Arm, along: Array) -> tuple[Array, Array]:
    """Torque of weights and bands at angles of the swing, loaded and empty, positive raising."""
    turn, c, s = arm.axis, np.cos(along), np.sin(along)
    cosine, sine = c * np.cos(turn) - s * np.sin(turn), s * np.cos(turn) + c * np.sin(turn)
    pull: Real = elastic_torque(arm.bands, cosine, sine) if arm.bands else 0.0
    loaded, empty = (weight_torque(weights, cosine, sine) + pull for weights in (arm.weights, arm.own))
    return np.asarray(loaded), np.asarray(empty)


def _most(arm: Arm, swing: Real, shape: tuple[int, ...], sign: float) -> tuple[Array, Array]:
    """The most that weights and bands turn it one way on its swing, loaded or empty, and where; kinks counted."""
    wide = np.broadcast_shapes(shape, np.shape(swing), (1,))

    def curve(along: Array) -> Array:
        """Torque one way."""
        most = np.maximum(*(sign * torque for torque in _torques(arm, along)))
        return np.broadcast_to(most, (len(along), *wide))

    kinks = [at - arm.axis for band in arm.bands for at in slack_angles(band)]
    torque, angle = greatest_along(curve, swing, kinks)
    single = not np.broadcast_shapes(shape, np.shape(swing))
    return (torque[0], angle[0]) if single else (torque, angle)


def _up(angle: Real) -> str:
    return "where it is level" if abs(first(angle)) < _LEVEL else "{angle} up" if first(angle) > 0.0 else "{angle} down"


def _torque(at: Driven) -> Iterator[Outcome]:
    """Torque at the worst point of the worse way, against what the motors have at stall."""
    ways = {word: at.most_needed(sense) for word, sense in (("Raising", 1.0), ("Lowering", -1.0))}
    word = max(ways, key=lambda w: first(ways[w][0]))
    needed, angle = ways[word]
    worst: Real = np.maximum(motor_share(at.drive, needed), 0.0)
    numbers = {"use": (worst, "share"), "torque": (needed, "torque"), "angle": (np.abs(angle), "angle")}
    text = (
        "{way} arm '{name}' takes {torque} at the worst point, "
        + _up(angle)
        + ": {use} of what its motors give at stall"
    )
    message = Message(text + ".", text + ", so they stall.", numbers, {"name": at.name, "way": word})
    yield Outcome(f"arm.torque.{at.name}", f"motor arm {at.name}", worst, 1.0, "ratio", message, "at most",
                  sources=_SOURCES)  # fmt: skip


def raising(at: Driven) -> Array:
    """Find how long an arm takes to be raised."""
    rotors = at.kind.rotor_inertia * at.motor.count * np.square(at.drive.reduction)
    return run_up_time(at.motor, at.drive, at.arm.inertia + rotors, at.angles, at.needed(1.0))


def _pace(at: Driven) -> Iterator[Outcome]:
    needed, angle = at.most_needed(1.0)
    slowest: Real = sagged_speed(at.motor, motor_share(at.drive, needed) * at.motor.stall_torque) / at.drive.reduction
    free = at.motor.battery.open_voltage / at.motor.line.voltage_constant / at.drive.reduction
    numbers = {"slowest": (slowest, "angular speed"), "angle": (np.abs(angle), "angle"),
               "share": (slowest / free, "share")}  # fmt: skip
    message = Message(
        "On its way up, arm '{name}' is slowest " + _up(angle) + ": {slowest}, {share} of its speed without load.",
        "",
        numbers,
        {"name": at.name},
    )
    yield Outcome(f"arm.speed.{at.name}", f"motor arm {at.name}", slowest, None, "angular speed", message,
                  sources=_SOURCES)  # fmt: skip
    yield from timed("arm", at.name, at.spec, raising(at), "with the battery's sag")


def _hold(at: Driven) -> Array:
    """Share of the torque at standstill that holding takes at the worst point, loaded or empty."""
    return np.asarray(holding_share(at.drive, _held(at)))


def _held(at: Driven) -> Array:
    """Most torque that something must hold anywhere, loaded or empty, whichever is more [N m]."""
    return np.maximum(at.falling[0], at.rising[0])


def _holding(at: Driven) -> Iterator[Outcome]:
    """What holding it still takes, at the worst point, and whether it stays up without power."""
    hold, most = _hold(at), at.spec.most_holding
    stays = "it moves by itself: support it before you work on it"
    if first(_held(at)) <= first(at.spec.friction):
        stays = "only friction keeps it where it is: support it before you work on it"
    numbers = {"hold": (hold, "share"), "limit": (most, "share")}
    text = "Holding arm '{name}' still takes {hold} of its motors' torque at standstill"
    message = Message(
        text + "; {limit} is allowed. Without power {stays}.",
        text + ", more than the {limit} allowed: its motors heat up. Without power {stays}. Add bands or reduction.",
        numbers,
        {"name": at.name, "stays": stays},
    )
    yield Outcome(f"arm.holding.{at.name}", f"motor arm {at.name}", hold, most, "ratio", message, "at most",
                  sources=("hughes", "practice"))  # fmt: skip


def _heat(context: Context, at: Driven) -> Iterator[Outcome]:
    """Where the windings' temperature ends when the arm is held at its worst point for good."""
    current = _hold(at) * at.motor.stall_torque / at.motor.line.torque_constant
    air = context.season.temperature
    hot = steady(heat_path(at.kind), Winding(at.motor.line.resistance), air, current).winding
    numbers: dict[str, tuple[Real, str]] = {"current": (current, "current"), "hot": (hot, "temperature")}
    text = "Held for good at its worst point, arm '{name}' draws {current} in each motor, and the winding ends at {hot}"
    if not np.isfinite(first(hot)):
        text = "Held for good at its worst point, arm '{name}' draws {current} in each motor, and the winding burns out"
    words = {"name": at.name}
    steps = at.kind.derating
    if not steps:
        message = Message(text + ".", "", numbers, words)
        yield Outcome(f"arm.heat.{at.name}", f"motor arm {at.name}", hot, None, "temperature", message,
                      sources=("incropera",))  # fmt: skip
        return
    limit = steps[0].above
    numbers["limit"] = (limit, "temperature")
    message = Message(text + "; its controller would cut the current from {limit}.",
                      text + "; from {limit} on its controller cuts the current: let it rest on a stop, or add bands.",
                      numbers, words)  # fmt: skip
    yield Outcome(f"arm.heat.{at.name}", f"motor arm {at.name}", hot, limit, "temperature", message, "at most",
                  sources=("incropera",), scale=np.maximum(limit - air, 1.0))  # fmt: skip


def computed(context: Context, _quantities: Quantities) -> Iterator[Constant]:
    """Gearing and voltages of motor-driven arms."""
    for name, spec in context.robot.mechanisms.items():
        if not isinstance(spec, MotorArm):
            continue
        at = driven(context, name, spec)
        ratio, line, key = first(at.drive.reduction), at.motor.line, f"mechanisms.{name}"
        about = f"motor turns for one turn of '{name}'"
        yield Constant((name, "ratio"), ratio, "ratio", about, f"{key}.stages", "exact")
        gain = first(line.rated_voltage / line.free_speed) * ratio
        about = f"voltage for the speed of '{name}'; tune it"
        yield Constant((name, "speed gain"), gain, "V*s/rad", about, key, figures=COMPUTED)


CONSTANTS = Constants(
    (),
    (
        Found("arm.time.*", "value", "{0}/time up", "time until '{0}' is up"),
        Found(
            "arm.holding.*", "value", "{0}/holding share", "share of the torque at standstill that holds '{0}' still"
        ),
    ),
    computed,
)
