"""Grabbers: the hook behind the lip, what it holds, and whether the object slides, tips or rights before the robot."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import reduce

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, Worked, called, first, unknown
from fieldworthy.engine.system import MotorLoad, RodLoad
from fieldworthy.physics.contact import clamp as clamping
from fieldworthy.physics.contact import grabber as grabbing
from fieldworthy.physics.motors.driving import force_across
from fieldworthy.physics.motors.motor import Controller, GearStage, limit_torque, train
from fieldworthy.physics.statics.support import STANDARD_GRAVITY
from fieldworthy.robot.model.season import GameObject
from fieldworthy.systems.clamp.mechanics import returning, rod_force
from fieldworthy.systems.grabber.model import CylinderArm, Grabber, MotorArm
from fieldworthy.vehicle import state
from fieldworthy.vehicle.drivetrain import DrivePerformance, motor_line
from fieldworthy.vehicle.supply import BREAKAWAY, Low, lowest_after, use_of

_EDGE = 1e-6  # m; a robot past its edge is turned over by any force
_MOST = 1e3  # a force of this many weights stands for one that nothing gives
_DOES = {"pull": "drag the {object}", "tip": "tip the {object} over", "right": "set the {object} upright"}
_OVER = "then it tips over itself"
_BY = {"arm": "its arm", "drive": "its drive", "turning": "turning on the spot"}


@dataclass(frozen=True, slots=True)
class Thing:
    """The object as the hook meets it.

    Attributes
    ----------
    ways : Turning over the edge away from the robot, and over the one towards it [SI]
    weight : Its weight [N]
    moment : That starts to turn it over the edge it has to turn over [N m]
    """

    ways: tuple[grabbing.Standing, grabbing.Standing]
    weight: Real
    moment: Array


def thing_of(spec: Grabber, thing: GameObject, friction: Real) -> Thing:
    """Look at the object from the side, as it stands, or lying with its top towards the robot."""
    weight = thing.mass * STANDARD_GRAVITY
    half = 0.5 * thing.size[0] if spec.half_base is None else spec.half_base
    cg = 0.5 * thing.size[2] if thing.cg_height is None else np.clip(thing.cg_height, _EDGE, thing.size[2] - _EDGE)
    upright = grabbing.Standing(weight, cg, half, friction)
    if spec.does != "right":
        return Thing((upright, upright), weight, grabbing.moment_to_tip(upright))
    lies = tuple(grabbing.Standing(weight, half, edge, friction) for edge in (cg, thing.size[2] - cg))
    return Thing((lies[0], lies[1]), weight, grabbing.moment_to_right(upright))


@dataclass(frozen=True, slots=True)
class Arm:
    """What turns the arm.

    Attributes
    ----------
    down, up : Force of the hook's tip across the arm, lowering and lifting, with the least air of the plan [N]
    per : Force of the tip going down for each pascal [N/Pa]; None for motors
    low : The air; None for motors
    """

    down: Real
    up: Real
    per: Real | None
    low: Low | None


def arm_of(context: Context, spec: Grabber) -> Arm:
    """Find what the arm gives at the hook's tip."""
    if isinstance(spec.arm, CylinderArm):
        use, low = use_of(context, spec.arm.cylinder), lowest_after(context, spec.arm.cylinder)
        gain = spec.arm.lever * spec.arm.efficiency / spec.length
        way = 0 if spec.arm.lowers == "out" else 1
        down, per = rod_force(use, way, low.gauge)
        up = rod_force(use, 1 - way, low.gauge)[0] if use.cylinder.double_acting else 0.0
        return Arm(down * gain, up * gain, per * gain, low)
    motor = context.robot.motor(spec.motors[0])
    kind = context.robot.catalogue.motors[motor.motor]
    torque = limit_torque(motor_line(kind), Controller(kind.current_limit, kind.power_cap)) * motor.count
    gears = [GearStage(stage.driven / stage.driver, stage.efficiency) for stage in spec.arm.gears]
    if gears:
        whole = train(gears)
        torque = torque * whole.ratio * whole.efficiency
    force = torque / spec.length
    return Arm(force, force, None, None)


def rods(context: Context) -> Iterator[RodLoad]:
    """What every arm on a cylinder asks of its rods for each thing that it does."""
    for name, mechanism in context.robot.mechanisms.items():
        if isinstance(mechanism, Grabber):
            for spec in mechanism.alone(name).values():
                yield from _rods(context, spec)


def _rods(context: Context, spec: Grabber) -> Iterator[RodLoad]:
    """Force of the rods that lifts the object, or that keeps the hook behind the lip."""
    friction = context.season.objects[spec.object].friction
    if not isinstance(spec.arm, CylinderArm) or friction is None or (spec.by != "arm" and spec.force is not None):
        return
    thing = thing_of(spec, context.season.objects[spec.object], friction)
    turns, slides = _asked(spec, thing)
    asked = slides if spec.does == "pull" else np.maximum(turns, over(spec, thing).force)
    if not np.isfinite(first(asked)):
        return
    asked = np.minimum(asked, _MOST * np.asarray(thing.weight))
    gain = spec.arm.lever * spec.arm.efficiency / spec.length
    lowers = 0 if spec.arm.lowers == "out" else 1
    if spec.by == "arm":
        yield RodLoad.held(spec.arm.cylinder, 1 - lowers, asked / gain, kept=True)
        return
    hooked = clamping.hook_gain(np.minimum(spec.face, 0.5 * np.pi), spec.friction)
    # a pressure per pascal of one newton is a force
    force = clamping.slip_pressure(asked, gain * np.cos(spec.lowest), 0.0, hooked, 0.0)
    if np.isfinite(first(force)):
        yield RodLoad.held(spec.arm.cylinder, lowers, force, kept=True)


def turned(context: Context) -> Iterator[MotorLoad]:
    """What every arm on motors asks of them for what it does itself, whichever takes most."""
    for name, mechanism in context.robot.mechanisms.items():
        if not isinstance(mechanism, Grabber) or not isinstance(mechanism.arm, MotorArm):
            continue
        motor = context.robot.motor(mechanism.motors[0])
        kind = context.robot.catalogue.motors[motor.motor]
        stall = limit_torque(motor_line(kind), Controller(kind.current_limit, kind.power_cap))
        found = [asked_and_given(context, spec) for spec in mechanism.alone(name).values() if spec.by == "arm"]
        arms = [arm_of(context, spec).up for spec in mechanism.alone(name).values() if spec.by == "arm"]
        shares = [pair[0] / up for pair, up in zip(found, arms, strict=True) if pair is not None]
        if shares:
            yield MotorLoad(name, mechanism.motors[0].motor, reduce(np.maximum, shares) * stall)


def check(context: Context) -> Iterator[Outcome]:
    """Judge every grabber of the robot, and each thing that it does by itself."""
    for name, mechanism in context.robot.mechanisms.items():
        if isinstance(mechanism, Grabber):
            for label, spec in mechanism.alone(name).items():
                yield from _judged(context, label, spec)


def _judged(context: Context, name: str, spec: Grabber) -> Iterator[Outcome]:
    """Judge one thing that a grabber does."""
    yield from _reach(context, name, spec)
    friction = context.season.objects[spec.object].friction
    if friction is None:
        because = f"How well a {spec.object} grips the floor is not known, so not whether it slides or tips."
        yield unknown(f"grabber.force.{name}", name, "force", because, (f"season.objects.{spec.object}.friction",))
        return
    yield from _forces(context, name, spec, thing_of(spec, context.season.objects[spec.object], friction))


def asked_and_given(context: Context, spec: Grabber) -> tuple[Array, grabbing.Given] | None:
    """Force at the lip that one thing takes all the way, and what the robot gives; None where friction is unknown."""
    kind = context.season.objects[spec.object]
    if kind.friction is None:
        return None
    thing = thing_of(spec, kind, kind.friction)
    turns, slides = _asked(spec, thing)
    asked = slides if spec.does == "pull" else np.maximum(turns, over(spec, thing).force)
    return asked, _given(context, spec, arm_of(context, spec))


def tip_of(spec: Grabber) -> tuple[Array, Array]:
    """Find where the hook's tip is with the arm down: ahead of the robot's origin, above the floor."""
    ahead, height = grabbing.hook_tip(spec.pivot[1], spec.length, spec.lowest)
    return spec.pivot[0] + ahead, np.maximum(height, 0.0)


def _reach(context: Context, name: str, spec: Grabber) -> Iterator[Outcome]:
    ahead, height = tip_of(spec)
    overlap = grabbing.hook_depth(spec.lip.height, height, spec.lip.depth)
    numbers: dict[str, tuple[Real, str]] = {
        "tip": (height, "length"), "lip": (spec.lip.height, "length"), "over": (np.abs(overlap), "length"),
        "hook": (spec.hook, "length"), "depth": (spec.lip.depth, "length"),
    }  # fmt: skip
    words = {"grabber": called("grabber", name)}
    at = ": with its arm down the hook is {tip} up and the lip's edge {lip}"
    far = "{grabber} hooks {over} behind the lip" if first(overlap) >= 0.0 else "{grabber} passes {over} over the lip"
    message = Message(
        far + at + "; {hook} is needed.",
        far + at + ", and {hook} is needed. Lower the pivot, let the arm down farther, or lengthen it.",
        numbers,
        words,
    )
    yield Outcome(f"grabber.hook.{name}", name, overlap, spec.hook, "length", message, scale=spec.lip.depth,
                  sources=("plane-geometry", "practice"))  # fmt: skip
    front = state.extent(context, spec.pose)[1][0]
    numbers = {"past": (np.abs(ahead - front), "length"), "front": (front, "length"), "ahead": (ahead, "length")}
    message = Message("{grabber} reaches {past} past the robot's foremost part, so it meets the object first.",
                      "{grabber} stays {past} behind the robot's foremost part, which meets the object first.",
                      numbers, words)  # fmt: skip
    yield Outcome(f"grabber.reach.{name}", name, ahead, front, "length", message, sources=("plane-geometry",))


def _asked(spec: Grabber, thing: Thing) -> tuple[Array, Array]:
    """Force at the hook that starts to turn the object over, and the one that starts to slide it [N]."""
    away, near = thing.ways
    height = spec.lip.height
    if spec.by == "turning":  # across the robot: the lip is level with the object's middle in that direction
        return grabbing.force_to_tip(away, height), grabbing.force_to_slide(away)
    rise = _rise(spec)
    over_far = grabbing.force_to_tip(away, height, rise, np.negative(spec.lip.near))
    over_near = grabbing.force_to_tip(near, height, np.pi - rise, spec.lip.near)
    slides = np.minimum(grabbing.force_to_slide(away, rise), grabbing.force_to_slide(near, np.pi - rise))
    # only over the edge of its base does it come upright
    return (over_far if spec.does == "right" else np.minimum(over_far, over_near)), slides


@dataclass(frozen=True, slots=True)
class Over:
    """An object on its way to its balance point.

    Attributes
    ----------
    force : Largest that it takes at the hook on the way [N]
    swing : How far the arm turns for it [rad]; half a turn where it does not reach so high
    """

    force: Array
    swing: Array


def over(spec: Grabber, thing: Thing) -> Over:
    """Follow the object over the edge that takes the smaller force, all the way."""
    ways = []
    for body, ahead, mirrored in (
        (thing.ways[0], -np.asarray(spec.lip.near), False),
        (thing.ways[1], spec.lip.near, True),
    ):
        along = 0.0 if spec.by == "turning" else ahead
        way = grabbing.way_over(body, spec.lip.height, along)
        swing = np.zeros_like(way.rise)
        if spec.by == "arm":
            up = np.sin(spec.lowest) + way.rise / spec.length
            swing = np.where(np.abs(up) <= 1.0, np.arcsin(np.clip(up, -1.0, 1.0)) - spec.lowest, np.pi)
        rise = np.zeros(()) if spec.by == "turning" else _rise(spec) + swing
        turned = np.pi - rise if mirrored and spec.by != "turning" else rise
        force = grabbing.force_over_way(body, way, np.where(swing < np.pi, turned, 0.5 * np.pi))
        ways.append(Over(force, np.max(swing, axis=0)))
    far, near = ways
    if spec.does == "right" or spec.by == "turning":
        return far
    nearer = near.force < far.force
    return Over(np.minimum(far.force, near.force), np.where(nearer, near.swing, far.swing))


def direction(spec: Grabber) -> Real | None:
    """Give the direction of the force on the object, from forward upwards [rad]; None where it acts sideways."""
    return None if spec.by == "turning" else _rise(spec)


def force_at(context: Context, spec: Grabber, gauge: Real) -> Real:
    """Find what an arm on a cylinder lifts with at the lip, or what its hook holds before it slips off [N]."""
    assert isinstance(spec.arm, CylinderArm), "motors have no pressure"
    use, lowers = use_of(context, spec.arm.cylinder), 0 if spec.arm.lowers == "out" else 1
    gain = spec.arm.lever * spec.arm.efficiency / spec.length
    if spec.by == "arm":
        return rod_force(use, 1 - lowers, gauge)[0] * gain if use.cylinder.double_acting else np.zeros_like(gauge)
    hooked = clamping.hook_gain(np.minimum(spec.face, 0.5 * np.pi), spec.friction)
    return clamping.holding_force(rod_force(use, lowers, gauge)[0] * gain * np.cos(spec.lowest), hooked, 0.0)


def _rise(spec: Grabber) -> Real:
    """Direction of the force on the object, from forward upwards: across the lowered arm, or straight back."""
    return np.asarray(spec.lowest + 0.5 * np.pi if spec.by == "arm" else np.pi)


def _given(context: Context, spec: Grabber, arm: Arm) -> grabbing.Given:
    """The largest force of the robot at its hook: arm or drive, grip of its wheels, and its own tipping."""
    stance, performance = state.stance(context, spec.pose), state.performance(context, spec.pose)
    forward, back, left, right = np.maximum(stance.edges, _EDGE)
    height = np.maximum(stance.height, _EDGE)
    ahead, lip = tip_of(spec)[0], spec.lip.height
    if spec.by == "turning":
        aside = performance.side / STANDARD_GRAVITY
        robot = grabbing.Standing(stance.load, height, np.minimum(left, right), aside)
        # one patch of each wheel grips along and across: see `force_across`
        push = np.minimum(performance.line.force_limit, performance.line.stall_force)
        by_drive, by_grip = force_across(
            push, performance.yaw, performance.side * stance.load / STANDARD_GRAVITY, ahead
        )
        tips = grabbing.force_to_tip(robot, lip)
        return grabbing.Given(np.minimum(np.minimum(by_drive, by_grip), tips), by_drive, by_grip, tips)
    drive = arm.up if spec.by == "arm" else _straight(performance)
    grip = performance.grip / stance.load
    rise, out = _rise(spec) + np.pi, ahead - stance.point[0]
    ways = (
        grabbing.available_force(grabbing.Standing(stance.load, height, forward, grip), drive, lip, rise, out),
        grabbing.available_force(grabbing.Standing(stance.load, height, back, grip), drive, lip, np.pi - rise, -out),
    )
    least = [
        np.minimum(getattr(ways[0], k), getattr(ways[1], k)) for k in ("force", "by_drive", "by_grip", "by_tipping")
    ]
    return grabbing.Given(*least)


def _straight(performance: DrivePerformance) -> Real:
    """What the motors push with at standstill, less what the robot itself takes to roll."""
    return np.maximum(
        np.minimum(performance.line.force_limit, performance.line.stall_force) - performance.load.resistance, 0.0
    )


def _forces(context: Context, name: str, spec: Grabber, thing: Thing) -> Iterator[Outcome]:
    arm = arm_of(context, spec)
    turns, slides = _asked(spec, thing)
    given = _given(context, spec, arm)
    asked, other = (slides, turns) if spec.does == "pull" else (turns, slides)
    yield _mode(name, spec, thing, asked, other)
    if spec.does != "pull":
        whole = over(spec, thing)
        asked = np.maximum(asked, whole.force)
        yield from _travel(context, name, spec, whole)
    yield _enough(name, spec, thing, (asked, given), arm)
    if spec.by != "arm":
        yield from _keeps(context, name, spec, (thing, asked), arm)


def _travel(context: Context, name: str, spec: Grabber, whole: Over) -> Iterator[Outcome]:
    """Whether the arm's stroke takes the object to its balance point."""
    if spec.by != "arm" or not isinstance(spec.arm, CylinderArm):
        return
    kind = context.robot.catalogue.cylinders[context.robot.air.cylinders[spec.arm.cylinder].cylinder]
    swing = kind.stroke / spec.arm.lever
    numbers: dict[str, tuple[Real, str]] = {
        "swing": (swing, "angle"), "needed": (whole.swing, "angle"), "stroke": (kind.stroke, "length")
    }  # fmt: skip
    start = "{grabber} turns its arm by {swing} with {stroke} of stroke"
    short = start + ", and the {object} is balanced only after {needed}: it falls back. A longer stroke helps."
    if first(whole.swing) >= np.pi:
        short = "{grabber} does not reach as high as the lip is when the {object} is balanced. Lengthen its arm."
    balanced = start + "; the {object} is balanced after {needed}."
    message = Message(balanced, short, numbers, {"object": spec.object, "grabber": called("grabber", name)})
    scale = np.maximum(whole.swing, 0.1)
    yield Outcome(f"grabber.travel.{name}", name, swing, whole.swing, "angle", message, scale=scale,
                  sources=("plane-geometry",))  # fmt: skip


def _limited(spec: Grabber, given: grabbing.Given) -> str:
    drive, grip, tips = first(given.by_drive), first(given.by_grip), first(given.by_tipping)
    if tips <= min(drive, grip):
        return _OVER
    if grip <= drive:
        return "then its wheels slip"
    return {"arm": "all its arm has", "drive": "all its motors push", "turning": "all its turning gives"}[spec.by]


def _enough(name: str, spec: Grabber, thing: Thing, forces: tuple[Array, grabbing.Given], arm: Arm) -> Outcome:
    asked, given = forces
    words = {"object": spec.object, "by": _BY[spec.by][0].upper() + _BY[spec.by][1:], "then": _limited(spec, given),
             "when": arm.low.when if arm.low else "", "grabber": called("grabber", name)}  # fmt: skip
    numbers: dict[str, tuple[Real, str]] = {
        "asked": (asked, "force"), "given": (given.force, "force"), "tips": (given.by_tipping, "force"),
        "low": (arm.low.gauge if arm.low else 0.0, "pressure"), "moment": (thing.moment, "torque"),
    }  # fmt: skip
    air = " with the {low} that is left {when}" if arm.low is not None and spec.by == "arm" else ""
    tips = np.isfinite(first(given.by_tipping)) and words["then"] != _OVER
    itself = " The robot itself tips at {tips}." if tips else ""
    need = "{asked} at its lip" if np.isfinite(first(asked)) else "more than any force in this direction"
    if spec.does == "pull":
        end = f"{_DOES[str(spec.does)]}: it takes {need}. {{by}} gives {{given}}{air} ({{then}}).{itself}"
        message = Message(f"{{grabber}} can {end}", f"{{grabber}} cannot {end}", numbers, words)
        scale = np.where(np.isfinite(asked), np.maximum(asked, 1e-9), thing.weight)
        return Outcome(f"grabber.force.{name}", name, given.force, asked, "force", message, scale=scale,
                       sources=("meriam_statics",))  # fmt: skip
    lever = np.where(np.isfinite(asked), thing.moment / np.maximum(asked, 1e-9), 0.0)
    most = given.force * lever
    numbers["most"] = (most, "torque")
    end = f"{_DOES[str(spec.does)]}: it takes {{moment}}, which is {need}. {{by}} gives {{most}} ({{given}}){air}"
    message = Message(
        f"{{grabber}} can {end}: {{then}}.{itself}",
        f"{{grabber}} cannot {end}: {{then}}.{itself} A lip farther from the edge it turns over, or more force, helps.",
        numbers,
        words,
    )
    half = thing.ways[1 if spec.does == "right" else 0].half_base
    worked = Worked("tipover", {"F": (asked, "force"), "h": (spec.lip.height, "length"), "b": (half, "length"),
                                "W": (thing.weight, "force")})  # fmt: skip
    return Outcome(f"grabber.force.{name}", name, most, thing.moment, "torque", message, sources=("meriam_statics",),
                   worked=(worked,))  # fmt: skip


def _mode(name: str, spec: Grabber, thing: Thing, asked: Array, other: Array) -> Outcome:
    """Whether the object does what it is meant to do before it does the other thing."""
    # infinite on both sides: it does neither, and that is said above
    most = _MOST * np.asarray(thing.weight)
    asked, other = np.minimum(asked, most), np.minimum(other, most)
    wanted, instead, rather = (
        ("slides", "tips over", "tip") if spec.does == "pull" else ("turns over", "slides", "slide")
    )
    numbers: dict[str, tuple[Real, str]] = {"asked": (asked, "force"), "other": (other, "force")}
    words = {"object": spec.object, "wanted": wanted, "instead": instead, "grabber": called("grabber", name)}
    rest = f"it would {rather} only at {{other}}" if first(other) < first(most) else (
        f"in this direction it never {instead}"
    )  # fmt: skip
    message = Message(
        f"Moved by {{grabber}}, the {{object}} {{wanted}} at {{asked}}; {rest}.",
        "Moved by {grabber}, the {object} {instead} at {other}, before it {wanted} at {asked}. Take hold at another "
        "height, or steady it.",
        numbers,
        words,
    )
    return Outcome(f"grabber.mode.{name}", name, other, asked, "force", message, sources=("meriam_statics",))


def _keeps(context: Context, name: str, spec: Grabber, moved: tuple[Thing, Array], arm: Arm) -> Iterator[Outcome]:
    """Whether the hook stays down behind the lip under that pull."""
    thing, asked = moved
    gain = clamping.hook_gain(np.minimum(spec.face, 0.5 * np.pi), spec.friction)
    press = arm.down * np.cos(spec.lowest) if spec.force is None else spec.force
    held = clamping.holding_force(press, gain, 0.0)
    numbers: dict[str, tuple[Real, str]] = {
        "press": (press, "force"),
        "held": (held, "force"),
        "asked": (asked, "force"),
    }
    much = "and its face holds whatever pulls" if not np.isfinite(first(held)) else "and holds {held}"
    pulls = "{asked} pulls at it" if np.isfinite(first(asked)) else "no pull moves the object"
    message = Message(
        f"{{grabber}} presses its hook down with {{press}} {much}; {pulls}.",
        f"{{grabber}} slips off the lip: it presses its hook down with {{press}} {much}, and {pulls}. Undercut the "
        "hook's face or press harder.",
        numbers,
        {"grabber": called("grabber", name)},
    )
    scale = np.where(np.isfinite(asked), np.maximum(asked, 1e-9), thing.weight)
    yield Outcome(f"grabber.hold.{name}", name, held, asked, "force", message, scale=scale, sources=("meriam_statics",))
    if not isinstance(spec.arm, CylinderArm) or spec.force is not None or not np.isfinite(first(asked)):
        return
    assert arm.per is not None, "an arm on a cylinder has it"
    assert arm.low is not None, "an arm on a cylinder has it"
    # a sampled object may be past moving
    asked = np.minimum(asked, _MOST * np.asarray(thing.weight))
    use, way = use_of(context, spec.arm.cylinder), 0 if spec.arm.lowers == "out" else 1
    spring = -returning(use, way) * spec.arm.lever * spec.arm.efficiency / spec.length * np.cos(spec.lowest)
    slips = clamping.slip_pressure(asked, arm.per * np.cos(spec.lowest), spring, gain, 0.0)
    fails = use.needs_gauge[way] if use.needs_gauge and np.isfinite(first(slips)) else slips
    numbers = {"slips": (slips, "pressure"), "low": (arm.low.gauge, "pressure"), "fails": (fails, "pressure")}
    text = "{grabber} slips off the lip below {slips}; its lowest pressure is {low}, {when}."
    if first(slips) <= 0.0:
        text = "{grabber} stays behind the lip while it is pressed down at all; its lowest pressure is {low}, {when}."
    elif not np.isfinite(first(slips)):
        text = "{grabber} stays behind the lip at no pressure; its lowest is {low}, {when}."
    if np.isfinite(first(slips)) and abs(first(fails) - first(slips)) > 1e-6 * max(first(fails), 1.0):
        starts = first(slips) < first(fails) <= BREAKAWAY
        why = "where its cylinder no longer moves" if starts else "by what the file says of its cylinder"
        text = text.replace("; its", f"; it fails below {{fails}}, {why}. Its")
    yield Outcome(f"grabber.slip.{name}", name, fails, None, "pressure",
                  Message(text, "", numbers, {"when": arm.low.when, "grabber": called("grabber", name)}),
                  sources=("meriam_statics",))  # fmt: skip
