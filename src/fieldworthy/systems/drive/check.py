"""The drive: what is judged of it, and its constants: gearing, wheels, way for each turn, first guesses of gains."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from fieldworthy.arrays import Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, Worked, first, unknown
from fieldworthy.engine.system import COMPUTED, Constant, Constants, Found, Quantities, stated
from fieldworthy.physics.motors.driving import turn, turn_rate
from fieldworthy.physics.motors.motion import move, move_mix_time
from fieldworthy.physics.motors.motor import Controller, GearStage, feedforward, limit_torque, train
from fieldworthy.physics.motors.thermal import cool_down_time
from fieldworthy.robot.model.machine import GEAR_TEETH
from fieldworthy.systems.drive.mechanics import DriveUse, StatedLoad, drive_use, shared_use, stated_loads
from fieldworthy.vehicle import state
from fieldworthy.vehicle.drivetrain import (
    DrivePerformance,
    drive_of,
    gear_stages,
    half_track,
    loaded,
    motor_line,
    picked,
    wheel_radius,
)

_MOTION = ("gillespie", "hughes")


def check(context: Context) -> Iterator[Outcome]:
    """Judge the drive against what the team wants of it, its heat and battery, and motors that mechanisms share."""
    for name in context.robot.motors:
        yield from _shared(context, name)
    for name, load in stated_loads(context).items():
        yield from _stated(name, load)
    pose = state.driving_pose(context)
    if pose is None or not context.robot.parts:
        missing = ("poses",) if context.robot.parts else ("parts",)
        yield unknown(
            "drive", "drive", "speed", "Without parts and a driving pose the drive cannot be judged.", missing
        )
        return
    performance, drive = state.performance(context, pose), context.robot.drive
    yield from _speed(performance, pose)
    yield from _sprint(context, performance, pose)
    yield from _turning(context, performance, pose)
    yield from _pushing(context, performance)
    if context.facts:
        yield from _ratio(context, pose)
    if state.undrivable(context):
        told = ["heat", "cool_down", *(["derating"] if context.robot.catalogue.motors[drive.motor].derating else [])]
        for word in told:
            kind = "time" if word == "cool_down" else "temperature"
            yield _hindered(context, f"drive.{word}", "drive motors", kind)
        yield _hindered(context, "drive.battery", "battery", "charge")
        return
    use = drive_use(context)
    if use is not None:
        yield from _heat(context, use)
        yield from _battery(context, use)


def _hindered(context: Context, identifier: str, subject: str, kind: str) -> Outcome:
    """What the whole plan would take is not known where the drive cannot go all of its ways."""
    why = state.undrivable(context)
    because = f"The plan cannot be driven: {why}, so what it takes out of motors and battery is not judged."
    return unknown(identifier, subject, kind, because, ("plan",), state.UNDRIVABLE)


def _speed(performance: DrivePerformance, pose: str) -> Iterator[Outcome]:
    numbers = {
        "top": (performance.top_speed, "speed"),
        "launch": (performance.launch, "acceleration"),
        "brake": (performance.braking, "acceleration"),
    }
    message = Message(
        "In pose '{pose}' the robot reaches {top}; it starts with up to {launch} and brakes with up to {brake}.",
        "",
        numbers,
        {"pose": pose},
    )
    yield Outcome("drive.top_speed", f"pose {pose}", performance.top_speed, None, "speed", message, sources=_MOTION)


def _sprint(context: Context, performance: DrivePerformance, pose: str) -> Iterator[Outcome]:
    """Time over the sprint distance, from rest to rest."""
    targets = context.robot.drive.targets
    distance = targets.sprint_distance
    if distance is None:
        return
    made = move(performance.line, performance.load, distance)
    time = made.time
    worked = Worked("sprint", {"v": (made.peak_speed, "speed"), "d": (performance.braking, "acceleration"),
                               "x": (distance, "length")})  # fmt: skip
    numbers = {"time": (time, "time"), "far": (distance, "length")}
    stuck = (
        "" if np.isfinite(first(time)) else "The robot cannot start: its motors and wheels do not overcome the drag."
    )
    if targets.sprint_time is None:
        message = Message(stuck or "A run of {far} from rest to rest takes {time}.", "", numbers)
        yield Outcome("drive.sprint", f"pose {pose}", time, None, "time", message, sources=_MOTION, worked=(worked,))
        return
    message = Message("A run of {far} from rest to rest takes {time}; {limit} is wanted.",
                      stuck or "A run of {far} from rest to rest takes {time}, longer than the {limit} wanted.",
                      numbers | {"limit": (targets.sprint_time, "time")})  # fmt: skip
    yield Outcome("drive.sprint", f"pose {pose}", time, targets.sprint_time, "time", message, "at most",
                  sources=_MOTION, worked=(worked,))  # fmt: skip


def _turning(context: Context, performance: DrivePerformance, pose: str) -> Iterator[Outcome]:
    targets = context.robot.drive.targets
    made = turn(performance.line, performance.yaw, targets.turn_angle, context.robot.drive.braking)
    rate = turn_rate(performance.line, performance.yaw)
    numbers = {"time": (made.time, "time"), "angle": (targets.turn_angle, "angle"), "rate": (rate, "angular speed")}
    stuck = "The robot cannot turn on the spot: its wheels scrub too hard."
    turns = "A turn of {angle} on the spot takes {time} at up to {rate}, scrub of the wheels included"
    if targets.turn_time is None:
        message = Message(f"{turns}." if np.isfinite(first(made.time)) else stuck, "", numbers)
        yield Outcome("drive.turn", f"pose {pose}", made.time, None, "time", message, sources=("wong_skid",))
        return
    short = f"{turns}, longer than the {{limit}} wanted." if np.isfinite(first(made.time)) else stuck
    message = Message(f"{turns}; {{limit}} is wanted.", short, numbers | {"limit": (targets.turn_time, "time")})
    yield Outcome(
        "drive.turn", f"pose {pose}", made.time, targets.turn_time, "time", message, "at most", sources=("wong_skid",)
    )


def pushing(performance: DrivePerformance) -> tuple[Real, Real, Real]:
    """Find the force against a wall: the wheels slip or the motors stall, whichever comes first."""
    motors = np.minimum(performance.line.stall_force, performance.line.force_limit) - performance.load.resistance
    return np.maximum(np.minimum(motors, performance.grip), 0.0), motors, performance.grip


def _pushing(context: Context, performance: DrivePerformance) -> Iterator[Outcome]:
    force, motors, grip = pushing(performance)
    slips = first(motors) > first(grip)
    ends = (
        "its wheels slip before the motors reach their limit"
        if slips
        else "its motors reach their limit before the wheels slip"
    )
    wanted = context.robot.drive.targets.push_force
    numbers = {"force": (force, "force"), "grip": (grip, "force"), "motors": (motors, "force")}
    text = "The drive pushes with {force}: " + ends + " (grip {grip}, motors {motors})"
    if wanted is None:
        yield Outcome("drive.push", "drive", force, None, "force", Message(text + ".", "", numbers), sources=_MOTION)
        return
    message = Message(
        text + "; {limit} is wanted.", text + ", less than the {limit} wanted.", numbers | {"limit": (wanted, "force")}
    )
    yield Outcome("drive.push", "drive", force, wanted, "force", message, sources=_MOTION)


def candidate_ratios() -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """List the ratios that one stage of usual gears can make."""
    ratios = {b / a for a in GEAR_TEETH for b in GEAR_TEETH if 0.2 <= b / a <= 5.0}
    return np.array(sorted(ratios))


def _ratio(context: Context, pose: str) -> Iterator[Outcome]:
    """The ratio that makes the team's mix of moves in the least time, on the nominal numbers."""
    mix = context.nominal.robot.drive.typical_moves
    if not mix:
        return
    robot, performance = context.nominal.robot, state.performance(context, pose)
    own = train(gear_stages(robot))
    ratios = candidate_ratios()
    distances, times = np.array([float(m.distance) for m in mix]), np.array([float(m.times) for m in mix])
    geared = drive_of(robot, GearStage(ratios, own.efficiency))
    load, _ = loaded(geared, picked(performance.ground), robot.drive)
    whole = move_mix_time(geared.line, load, distances, times)
    now = float(move_mix_time(picked(performance.line), picked(performance.load), distances, times))
    best = int(np.argmin(whole))
    numbers = {
        "best": (float(ratios[best]), "count"),
        "own": (float(own.ratio), "count"),
        "time": (float(whole[best]), "time"),
        "now": (now, "time"),
    }
    message = Message(
        "The best gearing for the planned moves is {best} motor turns a wheel turn ({time} driving in a match); "
        "the drive has {own} ({now}).",
        "",
        numbers,
    )
    yield Outcome("drive.ratio", "drive", float(ratios[best]), None, "ratio", message, sources=_MOTION)


def _heat(context: Context, use: DriveUse) -> Iterator[Outcome]:
    """Winding temperature over the match, derating, and the wait before the next match."""
    drive = context.robot.drive
    numbers = {"hot": (use.hottest, "temperature"), "limit": (drive.motor_hot, "temperature")}
    message = Message(
        "The drive motors' windings reach {hot} in the plan; {limit} is allowed.",
        "The drive motors' windings reach {hot} in the plan, more than the {limit} allowed.",
        numbers,
    )
    start = state.start_temperature(context)
    yield Outcome("drive.heat", "drive motors", use.hottest, drive.motor_hot, "temperature", message, "at most",
                  sources=("incropera",), scale=drive.motor_hot - start)  # fmt: skip
    steps = context.robot.catalogue.motors[drive.motor].derating
    if steps:
        threshold: Real = steps[0].above
        message = Message(
            "The drive motors reach {hot} in the plan; their controllers would cut the current from {limit}.",
            "The drive motors reach {hot} in the plan, and from {limit} their controllers cut the current: the "
            "robot gets "
            "slower.",
            {"hot": (use.hottest, "temperature"), "limit": (threshold, "temperature")},
        )
        yield Outcome("drive.derating", "drive motors", use.hottest, threshold, "temperature", message, "at most",
                      sources=("incropera",), scale=threshold - start)  # fmt: skip
    wait = cool_down_time(
        use.path, use.end, context.season.temperature, np.maximum(start, context.season.temperature + 5.0)
    )
    wait = np.where(use.stuck, np.inf, wait)
    need = "{wait}" if first(wait) > 0.0 else "no time"
    message = Message(f"The drive motors need {need} to cool down; there are {{limit}} between matches.",
                      "The drive motors need {wait} to cool down, longer than the {limit} between matches.",
                      {"wait": (wait, "time"), "limit": (drive.between_matches, "time")})  # fmt: skip
    yield Outcome(
        "drive.cool_down",
        "drive motors",
        wait,
        drive.between_matches,
        "time",
        message,
        "at most",
        sources=("incropera",),
    )


def _shared(context: Context, name: str) -> Iterator[Outcome]:
    """A motor that several mechanisms share: counted once, asked for all of them together, warmed by all of them."""
    robot = context.robot
    turned = robot.sharing(name)
    listed = " and ".join((", ".join(f"'{n}'" for n in turned[:-1]), f"'{turned[-1]}'")) if turned[1:] else ""
    text = f"Motor '{{name}}' turns {listed} and counts once." if listed else "Motor '{name}' turns one mechanism only."
    if not turned:
        text = "Motor '{name}' turns nothing: no mechanism names it."
    words = {"name": name}
    yield Outcome(
        f"motor.shared.{name}", f"motor {name}", float(len(turned)), None, "ratio", Message(text, "", {}, words)
    )
    asked = any(done.motors.keys() & set(turned) for done in robot.actions.values())
    if robot.parts and asked and state.undrivable(context):
        yield _hindered(context, f"motor.load.{name}", f"motor {name}", "ratio")
        yield _hindered(context, f"motor.heat.{name}", f"motor {name}", "temperature")
        return
    use = shared_use(context, name) if robot.parts else None
    if use is None:
        return
    words["action"] = use.action
    kind = robot.catalogue.motors[robot.motors[name].motor]
    line = motor_line(kind)
    gives = limit_torque(line, Controller(kind.current_limit, kind.power_cap)) / line.stall_torque
    text = "In '{action}' motor '{name}' is asked for {load} of its torque at stall by all that it turns then; its "
    text += "controller lets it give {gives}"
    yield Outcome(
        f"motor.load.{name}", f"motor {name}", use.load, gives, "ratio",
        Message(text + ".", text + ", so it stalls.", {"load": (use.load, "share"), "gives": (gives, "share")}, words),
        "at most", sources=("hughes",),
    )  # fmt: skip
    steps = robot.catalogue.motors[robot.motors[name].motor].derating
    limit: Real = steps[0].above if steps else robot.drive.motor_hot
    cuts = "its controller cuts the current from {limit} on" if steps else "{limit} must not be passed"
    text = "Over the plan, with all that it turns, the winding of motor '{name}' warms to {hot}"
    message = Message(f"{text}; {cuts}.", f"{text}, and {cuts}: all that it turns gets slower.",
                      {"hot": (use.hottest, "temperature"), "limit": (limit, "temperature")}, words)  # fmt: skip
    yield Outcome(f"motor.heat.{name}", f"motor {name}", use.hottest, limit, "temperature", message, "at most",
                  sources=("incropera",), scale=limit - state.start_temperature(context))  # fmt: skip


_BELIEVED = 0.5
"""A load stated for a whole action is a mean, down to this share of the worst point; common practice, no source."""
_FAR = 2.0  # times the worst point; a load stated higher than that is named


def _stated(name: str, load: StatedLoad) -> Iterator[Outcome]:
    """The load of motors that actions state against the one that is computed: heat and battery go by the stated one."""
    if not np.isfinite(first(load.computed)):
        return  # nothing moves it, which its own finding says
    computed = np.minimum(load.computed, 10.0)
    numbers = {"stated": (load.stated, "share"), "most": (computed, "share")}
    words = {"name": name, "action": load.action}
    said = "Action '{action}' states that '{name}' asks {stated} of its motors' torque at stall; "
    high = first(load.stated) > _FAR * first(computed)
    holds = "at its worst point it is computed to ask {most}. "
    holds += "The stated load is the higher by far, so heat and battery are on the safe side." if high else (
        "The two agree well enough for heat and battery.")  # fmt: skip
    short = "at its worst point it is computed to ask {most}. Heat and battery go by the stated load and come out too "
    short += "low: state more, or measure the current."
    yield Outcome(f"motor.stated.{name}", f"motors of {name}", load.stated, _BELIEVED * computed, "ratio",
                  Message(said + holds, said + short, numbers, words), scale=np.maximum(computed, 0.01),
                  sources=("hughes", "practice"))  # fmt: skip


def _battery(context: Context, use: DriveUse) -> Iterator[Outcome]:
    kind = context.robot.catalogue.batteries[context.robot.battery]
    numbers = {"used": (use.charge, "charge"), "has": (kind.capacity, "charge"), "low": (use.lowest_voltage, "voltage")}
    message = Message("Driving the plan takes {used} of the battery's {has}; at full push its voltage sags to {low}.",
                      "Driving the plan takes {used}, more than the {has} of the battery.", numbers)  # fmt: skip
    yield Outcome(
        "drive.battery", "battery", use.charge, kind.capacity, "charge", message, "at most", sources=("hughes",)
    )


def computed(context: Context, quantities: Quantities) -> Iterator[Constant]:
    """The drive's gearing, wheels and way for each turn."""
    robot = context.robot
    radius, drive = first(wheel_radius(robot)), state.drivetrain(context)
    ratio = first(drive.train.wheels.train.ratio)
    name = next((w.wheel for w in robot.drive.wheels.values() if w.driven), "")
    wheel = ("catalogue", "wheels", name, "diameter")
    yield stated(wheel, quantities[wheel], ("drive", "wheel diameter"), "diameter of the driven wheels")
    yield Constant(("drive", "ratio"), ratio, "ratio", "motor turns for one turn of a wheel", "drive.stages", "exact")
    way = 2.0 * math.pi * radius / ratio
    yield Constant(("drive", "travel per motor turn"), way, "length", "way on one turn of a motor", "drive.stages")
    track = 2.0 * first(half_track(robot))
    yield Constant(("drive", "track"), track, "length", "between the wheels of the two sides", "drive.wheels")
    yield from _gains(context, radius / ratio)


def _gains(context: Context, radius: float) -> Iterator[Constant]:
    robot, pose = context.robot, state.driving_pose(context)
    if pose is None or not robot.parts:
        return
    load, geared = state.performance(context, pose).load, state.drivetrain(context).train.wheels
    moved = (first(load.mass) + first(load.rotating_mass), first(load.resistance))
    line = motor_line(robot.catalogue.motors[robot.drive.motor])
    made = feedforward(line, float(robot.drive.motors), radius, first(geared.train.efficiency), moved)
    note = "part of the voltage that drives it: start + speed + acceleration; a first guess, tune it on the floor"
    gains = (
        ("start voltage", made.start, "voltage", "friction", "drive"),
        ("speed gain", made.per_speed, "V*s/m", "speed", "drive.top_speed"),
        ("acceleration gain", made.per_acceleration, "V*s^2/m", "acceleration", "drive.top_speed"),
    )
    for word, value, kind, what, origin in gains:
        yield Constant(("drive", word), first(value), kind, f"{what}'s {note}", origin, figures=COMPUTED)


CONSTANTS = Constants(
    found=(
        Found("drive.top_speed", "top", "drive/top speed", "top speed"),
        Found("drive.top_speed", "launch", "drive/acceleration most",
              "hardest start: the least of what grip, motors and tipping allow, in the worst pose",
              ("balance.tip.back",)),
        Found("drive.top_speed", "brake", "drive/deceleration most",
              "hardest stop: the least of what grip, motors and tipping allow, in the worst pose",
              ("balance.tip.forward",)),
        Found("drive.cool_down", "value", "drive/cool down", "rest that the motors need after a match"),
    ),
    computed=computed,
)  # fmt: skip
