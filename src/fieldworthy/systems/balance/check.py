"""Balance: tip limits in every direction and pose, against what the drive can really make; ballast."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import WIDEST, Message, Outcome, Worked, first, unknown
from fieldworthy.physics.statics.support import DIRECTIONS, STANDARD_GRAVITY
from fieldworthy.physics.statics.tipping import (
    RollerStage,
    best_ballast,
    push_to_tip,
    roller_impact_tip_speed,
    tip_acceleration,
    tip_angle,
)
from fieldworthy.robot.model.machine import Part, Pose
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import Worst, extent_in, group_of, stacked
from fieldworthy.vehicle.drivetrain import DrivePerformance
from fieldworthy.vehicle.stance import SIDES, Stance

_TOUCHING = 0.001  # m; what stands on the floor is not below it, and a box around wheels is no finer
_NAMED = 5  # parts below the floor that are told one by one
_FAR = {"forward": "rear", "back": "front", "left": "right", "right": "left"}


def check(context: Context) -> Iterator[Outcome]:
    """Judge whether the robot stays on its wheels."""
    if not context.robot.parts:
        yield unknown(
            "balance.tip", "robot", "acceleration", "Without parts the centre of gravity is not known.", ("parts",)
        )
        return
    floor = {n: state.stance(context, n) for n, p in context.robot.poses.items() if p.use != "climb"}
    if not floor:
        yield unknown("balance.tip", "robot", "acceleration", "No pose stands on the floor.", ("poses",))
        return
    driven = {n: s for n, s in floor.items() if context.robot.poses[n].use in ("drive", "start")}
    yield from _sunk(context, list(floor))
    yield from _centre(floor)
    yield from _all_round(floor)
    yield from _standing(context, floor)
    yield _pushed(floor)
    for side in SIDES if driven else ():
        yield from _tipping(context, driven, side)
    for side in ("forward", "back") if driven else ():
        yield _stopping(context, driven, side)
    if context.facts:
        yield from _ballast(context, driven)


def _sunk(context: Context, poses: list[str]) -> Iterator[Outcome]:
    """Parts that reach below the floor that the robot stands on, the deepest first: nothing can be there."""
    base = context.nominal
    low = {pose: first(state.extent(base, pose)[0][2]) for pose in poses}
    deepest: dict[str, tuple[float, str]] = {}
    for pose in (pose for pose in poses if low[pose] < -_TOUCHING):
        for name, part in base.robot.parts.items():
            there = (first(_bottom(part, base.robot.poses[pose])), pose)
            deepest[name] = min(deepest.get(name, there), there, key=lambda found: found[0])
    below = sorted((at, name, pose) for name, (at, pose) in deepest.items() if at < -_TOUCHING)
    for _, name, pose in below[:_NAMED]:
        bottom = _bottom(context.robot.parts[name], context.robot.poses[pose])
        text = "In pose '{pose}' part '{part}' reaches {depth} below the floor"
        message = Message(
            text + ", within what measuring its place leaves open.",
            text + ", where nothing can be: look at its position and size, and at what the pose moves.",
            {"depth": (-bottom, "length")},
            {"pose": pose, "part": name},
        )
        yield Outcome("balance.floor", f"part {name}", bottom, -state.MEASURED, "length", message,
                      scale=2.0 * state.MEASURED, sources=("plane-geometry", "practice"))  # fmt: skip


def _bottom(part: Part, pose: Pose) -> Array:
    """The lowest point of a part's box in a pose, over the floor [m]."""
    return np.asarray(extent_in({part.rides: group_of([part])}, pose)[0][2])


def _centre(floor: dict[str, Stance]) -> Iterator[Outcome]:
    for name, stance in floor.items():
        x, y, z = stance.body.cg
        numbers = {"mass": (stance.body.mass, "mass"), "x": (x, "length"), "y": (y, "length"), "z": (z, "length")}
        message = Message(
            "In pose '{pose}' the robot weighs {mass}; its centre of gravity is at x {x}, y {y}, z {z} "
            "(forward, left, up).",
            "",
            numbers,
            {"pose": name},
        )
        yield Outcome("balance.centre_height", f"pose {name}", z, None, "length", message, sources=("meriam_statics",))


def _way(angle: float) -> str:
    """Name the one of eight directions that an angle is nearest to."""
    return max(DIRECTIONS, key=lambda way: np.cos(DIRECTIONS[way] - angle))


def _fallen(pose: str, stance: Stance) -> Message | None:
    """What to say of a robot whose weight comes down outside what it stands on: it needs no tilt and no push."""
    near, angle = stance.nearest()
    if first(near) >= 0.0:
        return None
    text = (
        "In pose '{pose}' the robot does not stand by itself: its weight comes down {out} outside its wheels and "
        "contacts, so it tips {way}."
    )
    return Message(text, "", {"out": (-near, "length")}, {"pose": pose, "way": _way(angle)})


def _edge(stance: Stance, side: str) -> Array:
    """Distance to the edge on a side; where the robot falls over another one at rest, how far past that it is [m]."""
    edge, (near, _) = stance.edges[SIDES.index(side)], stance.nearest()
    return np.asarray(np.where(near < 0.0, np.minimum(edge, near), edge))


def _all_round(floor: dict[str, Stance]) -> Iterator[Outcome]:
    """Tip limits of every pose: the one over the nearest edge is the value, the four sides are in the sentence."""
    for name, stance in floor.items():
        near, angle = stance.nearest()
        least = tip_acceleration(near, stance.height)
        limits = {side: tip_acceleration(edge, stance.height) for side, edge in zip(SIDES, stance.edges, strict=True)}
        numbers = {side: (limits[side], "acceleration") for side in SIDES} | {
            "least": (least, "acceleration"),
            "tilt": (tip_angle(near, stance.height), "angle"),
        }
        text = "In pose '{pose}' the robot tips from {forward} forward, {back} back, {left} left and {right} right. "
        message = Message(
            text + "Its weakest way is {way}, at {least} or a tilt of {tilt}.",
            "",
            numbers,
            {"pose": name, "way": _way(angle)},
        )
        yield Outcome(
            "balance.limit", f"pose {name}", least, None, "acceleration", _fallen(name, stance) or message,
            sources=("vukobratovic2004",), worked=(_tip(least, near, stance.height),),
        )  # fmt: skip


def _tip(limit: Real, edge: Real, height: Real) -> Worked:
    """The limit over an edge, with the numbers put in."""
    gravity = (STANDARD_GRAVITY, "acceleration")
    return Worked("tip", {"a": (limit, "acceleration"), "g": gravity, "d": (edge, "length"), "h": (height, "length")})


def _standing(context: Context, floor: dict[str, Stance]) -> Iterator[Outcome]:
    """The tilt at which it goes over its nearest edge, standing still, in the worst pose."""
    names, near = list(floor), [stance.nearest() for stance in floor.values()]
    tilts = [tip_angle(reach, stance.height) for (reach, _), stance in zip(near, floor.values(), strict=True)]
    worst = Worst.of(tilts)
    name, way, tilt = names[worst.nominal], _way(near[worst.nominal][1]), worst.take(tilts)
    least = context.robot.balance.least_tilt
    yield Outcome(
        "balance.tilt",
        f"pose {name}",
        tilt,
        least,
        "angle",
        _fallen(name, floor[name])
        or Message(
            "Standing still in pose '{pose}', the robot tips {side} at a tilt of {tilt}; {least} is wanted.",
            "Standing still in pose '{pose}', the robot tips {side} at a tilt of {tilt}, less than the {least} wanted.",
            {"tilt": (tilt, "angle"), "least": (least, "angle")},
            {"pose": name, "side": way},
        ),
        sources=("meriam_statics", "practice"),
    )


def _pushed(floor: dict[str, Stance]) -> Outcome:
    """The level push that carries it over its nearest edge, standing still, in the worst pose."""
    names, near = list(floor), [stance.nearest() for stance in floor.values()]
    pushes = [push_to_tip(s.load, reach, s.height) for (reach, _), s in zip(near, floor.values(), strict=True)]
    worst = Worst.of(pushes)
    name, way, push = names[worst.nominal], _way(near[worst.nominal][1]), worst.take(pushes)
    height = worst.take([stance.height for stance in floor.values()])
    text = (
        "A level push of {push} at the height of its centre of gravity ({height}) tips the robot {side} in pose "
        "'{pose}'. At half that height it takes twice as much."
    )
    message = Message(text, "", {"push": (push, "force"), "height": (height, "length")}, {"pose": name, "side": way})
    message = _fallen(name, floor[name]) or message
    return Outcome(
        "balance.push", f"pose {name}", np.maximum(push, 0.0), None, "force", message, sources=("meriam_statics",)
    )


def asked_of(performance: DrivePerformance, side: str) -> Real:
    """Find the hardest acceleration that throws the load towards a side."""
    if side in ("left", "right"):
        return performance.side
    return (performance.forward if side == "forward" else performance.back).asked


def _tipping(context: Context, driven: dict[str, Stance], side: str) -> Iterator[Outcome]:
    """Whether wheels lift, and whether it goes over, in the pose that is worst for this side."""
    edges = [_edge(s, side) for s in driven.values()]
    limits = [tip_acceleration(edge, s.height) for edge, s in zip(edges, driven.values(), strict=True)]
    asked = [asked_of(state.performance(context, name), side) for name in driven]
    worst = Worst.of([limit / np.maximum(most, 1e-9) for limit, most in zip(limits, asked, strict=True)])
    name, limit, most = list(driven)[worst.nominal], worst.take(limits), worst.take(asked)
    turning = side in ("left", "right")
    cause = f"{_thrown(context, name, side)} with" if not turning else "takes a corner with up to"
    numbers = {"limit": (most, "acceleration"), "value": (limit, "acceleration")}
    words = {"pose": name, "far": _FAR[side], "cause": cause}
    yield Outcome(
        f"balance.tip.{side}", f"pose {name}", limit, most, "acceleration",
        _fallen(name, driven[name]) or
        Message("In pose '{pose}' the {far} wheels stay down up to {value}; the robot {cause} {limit}.",
                "In pose '{pose}' the {far} wheels lift off at more than {value}, and the robot {cause} {limit}.",
                numbers, words),
        sources=("vukobratovic2004", "mcghee1968"),
        worked=(_tip(limit, worst.take(edges),
                     worst.take([s.height for s in driven.values()])),),
    )  # fmt: skip
    if not turning:
        yield _going_over(context, driven, side, (limits, asked))


def _thrown(context: Context, pose: str, side: str) -> str:
    """Name what throws the robot hardest towards a side: braking towards it, or starting away from it."""
    performance = state.performance(context, pose)
    throw = performance.forward if side == "forward" else performance.back
    if first(throw.starts):
        return "starts backward" if side == "forward" else "starts forward"
    return "brakes" if side == "forward" else "brakes while backing"


def _over_speed(context: Context, pose: str, side: str) -> Real:
    """Speed from which the hardest braking carries it over, rollers counted."""
    pose = state.same_body(context, pose)

    def found() -> Real:
        performance = state.performance(context, pose)
        throw = performance.forward if side == "forward" else performance.back
        return state.stance(context, pose).braked(side, throw.grip, throw.force, performance.load.rotating_mass)

    return context.once(("over speed", pose, side), found)


def _going_over(
    context: Context, driven: dict[str, Stance], side: str, lifting: tuple[list[Array], list[Real]]
) -> Outcome:
    speeds = [np.where(s.nearest()[0] < 0.0, 0.0, _over_speed(context, name, side)) for name, s in driven.items()]
    top = [state.performance(context, name).top_speed for name in driven]
    # where no braking lifts it, the pose that comes nearest to lifting
    nearest = [1e6 * (1.0 + limit / np.maximum(most, 1e-9)) for limit, most in zip(*lifting, strict=True)]
    ratio = [np.where(np.isfinite(v), v / np.maximum(t, 1e-9), n) for v, t, n in zip(speeds, top, nearest, strict=True)]
    worst = Worst.of(ratio)
    name, speed, most = list(driven)[worst.nominal], worst.take(speeds), worst.take(top)
    numbers: dict[str, tuple[Real, str]] = {"value": (speed, "speed"), "top": (most, "speed")}
    held = "Braking hard tips the robot over {side} only from {value} in pose '{pose}'; it reaches {top}."
    if not np.isfinite(first(speed)):
        held = ("By the numbers given no braking tips the robot over {side}. In pose '{pose}' the {far} wheels "
                "lift off at more than {lift}, and the robot {cause} {asked}.")  # fmt: skip
        limits, asked = lifting
        numbers |= {"lift": (limits[worst.nominal], "acceleration"), "asked": (asked[worst.nominal], "acceleration")}
    words = {"pose": name, "side": side, "far": _FAR[side], "cause": f"{_thrown(context, name, side)} with"}
    return Outcome(
        f"balance.over.{side}", f"pose {name}", speed, most, "speed",
        _fallen(name, driven[name]) or
        Message(held, "Braking hard from {value} or more tips the robot over {side} in pose '{pose}'; it "
                      "reaches {top}.",
                numbers, words),
        sources=("meriam_dynamics", "housner1963", "messuri1985"), spare=_harder(context.nominal, name, side),
    )  # fmt: skip


def _harder(base: Context, pose: str, side: str) -> float:
    """By what share braking from top speed might be harder before it carries the robot over, nominal.

    A robot whose wheels just stay down would need any speed to go over, and a little more grip changes that.
    """
    pose = state.same_body(base, pose)

    def found() -> float:
        performance, stance = state.performance(base, pose), state.stance(base, pose)
        throw, top = performance.forward if side == "forward" else performance.back, first(performance.top_speed)
        low, high = 1.0, 1.0 + WIDEST
        for _ in range(3):  # each look is 20 times as close
            shares = np.linspace(low, high, 21)
            speeds = stance.braked(side, throw.grip * shares, throw.force * shares, performance.load.rotating_mass)
            over = np.flatnonzero(np.broadcast_to(speeds, shares.shape) <= top)
            if not over.size:
                return WIDEST
            high = float(shares[over[0]])
            low = float(shares[max(over[0] - 1, 0)])
        return high - 1.0

    return base.once(("harder braking", pose, side), found)


_GOING = {"forward": "forward", "back": "backward"}


def _stopping(context: Context, driven: dict[str, Stance], side: str) -> Outcome:
    """Stopped dead at floor level, for example by a seam or an object under the wheels."""
    speeds = [
        np.where(s.nearest()[0] < 0.0, 0.0, roller_impact_tip_speed(_rolled(context, name, side)))
        for name, s in driven.items()
    ]
    top = [state.performance(context, name).top_speed for name in driven]
    worst = Worst.of([speed / np.maximum(most, 1e-9) for speed, most in zip(speeds, top, strict=True)])
    name, speed, most = list(driven)[worst.nominal], worst.take(speeds), worst.take(top)
    return Outcome(
        f"balance.stop.{side}", f"pose {name}", speed, most, "speed",
        _fallen(name, driven[name]) or
        Message("Stopped dead at floor level while going {going}, the robot stays up below {value} in pose '{pose}'; "
                "it reaches {top}.",
                "Stopped dead at floor level while going {going}, the robot tips over from {value} in pose '{pose}'; "
                "it reaches {top}.",
                {"value": (speed, "speed"), "top": (most, "speed")}, {"pose": name, "going": _GOING[side]}),
        sources=("housner1963", "messuri1985"),
    )  # fmt: skip


def _rolled(context: Context, pose: str, side: str) -> RollerStage:
    pose = state.same_body(context, pose)
    return context.once(("rolled", pose, side), lambda: state.stance(context, pose).rolled(side))


def _ballast(context: Context, driven: dict[str, Stance]) -> Iterator[Outcome]:
    """Where ballast would keep all wheels down in every driving pose, and how little of it.

    What the drive asks for is taken as it is without ballast: more mass never raises it, so this errs to the safe side.
    """
    places = context.robot.ballast
    if not places or not driven:
        return
    demands = [
        (s, i, asked_of(state.performance(context, n), side)) for n, s in driven.items() for i, side in enumerate(SIDES)
    ]
    # poses differ in mass, so each demand is put as mass times slack, for a robot of 1 kg
    slack = stacked([s.load / STANDARD_GRAVITY * (s.edges[i] - a * s.height / STANDARD_GRAVITY) for s, i, a in demands])
    there = [stacked([_place_slack(s, i, a, place.position) for s, i, a in demands]) for place in places.values()]
    limit = stacked([place.most for place in places.values()])
    shape = np.broadcast_shapes(slack.shape, *(t.shape for t in there))
    wide = [np.broadcast_to(t.reshape(t.shape + (1,) * (len(shape) - t.ndim)), shape) for t in there]
    slack = np.broadcast_to(slack.reshape(slack.shape + (1,) * (len(shape) - slack.ndim)), shape)
    limit = limit.reshape(limit.shape + (1,) * (len(shape) - limit.ndim))
    choice = best_ballast(1.0, slack, np.stack(wide), 0.0, limit)
    needed = first(choice.mass)
    name = list(places)[int(np.ravel(choice.place)[0])]
    text = (
        "The robot needs no ballast to keep all wheels down."
        if needed == 0
        else "{mass} of ballast at '{place}' would keep all wheels down."
    )
    if not np.isfinite(needed):
        text = "No ballast at the places given would keep all wheels down."
    message = Message(text, "", {"mass": (choice.mass, "mass")}, {"place": name})
    yield Outcome("balance.ballast", "robot", choice.mass, None, "mass", message, sources=("meriam_statics",))


def _place_slack(stance: Stance, side: int, asked: Real, place: tuple[Real, Real, Real]) -> Real:
    """A ballast's own distance to the edge, under the same acceleration."""
    axis, sign = side // 2, 1.0 if side in (0, 2) else -1.0
    out = sign * (place[axis] - stance.point[axis])
    own: Real = stance.edges[side] - out - asked * place[2] / STANDARD_GRAVITY
    return own
