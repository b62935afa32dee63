"""Balance: tip limits in every direction and pose, against what the drive can really make; ballast."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fieldworthy.engine.context import Context
from fieldworthy.engine.display import first
from fieldworthy.engine.finding import Outcome, Real, Say, unknown
from fieldworthy.physics.statics.antitip import (
    RollerStage,
    roller_energy_margin,
    roller_impact_tip_speed,
    roller_tip_acceleration,
)
from fieldworthy.physics.statics.ballast import best_ballast
from fieldworthy.physics.statics.support import DIRECTIONS, STANDARD_GRAVITY, reach
from fieldworthy.physics.statics.tipping import braking_tip_speed, tip_acceleration, tip_angle
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import stacked
from fieldworthy.vehicle.drivetrain import Pace
from fieldworthy.vehicle.stance import SIDES, Stance

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
    yield from _centre(floor)
    yield from _all_round(floor)
    yield from _standing(context, floor)
    for side in SIDES if driven else ():
        yield from _tipping(context, driven, side)
    for side in ("forward", "back") if driven else ():
        yield from _stopping(context, driven, side)
    yield from _ballast(context, driven)


def _centre(floor: dict[str, Stance]) -> Iterator[Outcome]:
    for name, stance in floor.items():
        x, y, z = stance.body.cg
        numbers = {"mass": (stance.body.mass, "mass"), "x": (x, "length"), "y": (y, "length"), "z": (z, "length")}
        say = Say(
            "In pose '{pose}' it weighs {mass}; centre of gravity {x} forward, {y} left, {z} up.",
            "",
            numbers,
            {"pose": name},
        )
        yield Outcome("balance.centre_height", f"pose {name}", z, None, "length", say, sources=("meriam_statics",))


_ROUND = ("forward", "forward-left", "left", "back-left", "back", "back-right", "right", "forward-right")


def _all_round(floor: dict[str, Stance]) -> Iterator[Outcome]:
    """Tip limits of every pose in eight directions: the weakest is the value, the four sides are in the sentence."""
    between = [way for way in _ROUND if way not in SIDES]
    for name, stance in floor.items():
        diagonal = reach(stance.feet.level, stance.point, [DIRECTIONS[way] for way in between])
        edges = dict(zip((*SIDES, *between), (*stance.edges, *diagonal), strict=True))
        limits = {way: tip_acceleration(edges[way], stance.height) for way in _ROUND}
        weakest = min(limits, key=lambda way: first(limits[way]))
        numbers = {side: (limits[side], "acceleration") for side in SIDES} | {
            "least": (limits[weakest], "acceleration"),
            "tilt": (tip_angle(edges[weakest], stance.height), "angle"),
        }
        text = "In pose '{pose}' wheels lift at {forward} forward, {back} back, {left} left, {right} right; weakest is "
        say = Say(text + "{way}: {least}, or a tilt of {tilt}.", "", numbers, {"pose": name, "way": weakest})
        yield Outcome(
            "balance.limit", f"pose {name}", limits[weakest], None, "acceleration", say, sources=("vukobratovic2004",)
        )


def _standing(context: Context, floor: dict[str, Stance]) -> Iterator[Outcome]:
    """The tilt at which it goes over, standing still, in the worst direction and pose."""
    tilts = {
        (name, side): tip_angle(stance.edges[i], stance.height)
        for name, stance in floor.items()
        for i, side in enumerate(SIDES)
    }
    name, side = min(tilts, key=lambda key: first(tilts[key]))
    least = context.robot.balance.least_tilt
    yield Outcome(
        "balance.tilt", f"pose {name}", tilts[name, side], least, "angle",
        Say("Standing still it can be tilted {tilt} before it goes over (pose '{pose}', {side}); {least} are wanted.",
            "Standing still it goes over when tilted {tilt} {side} in pose '{pose}'; {least} are wanted.",
            {"tilt": (tilts[name, side], "angle"), "least": (least, "angle")}, {"pose": name, "side": side}),
        sources=("meriam_statics", "practice"),
    )  # fmt: skip


def asked_of(pace: Pace, side: str) -> Real:
    """Find the hardest acceleration that throws the load towards a side."""
    return pace.side if side in ("left", "right") else np.maximum(pace.braking, pace.launch)


def _tipping(context: Context, driven: dict[str, Stance], side: str) -> Iterator[Outcome]:
    """Whether wheels lift, and whether it goes over, in the pose that is worst for this side."""
    limits = {name: tip_acceleration(s.edges[SIDES.index(side)], s.height) for name, s in driven.items()}
    asked = {name: asked_of(state.performance(context, name), side) for name in driven}
    name = min(driven, key=lambda n: first(limits[n]) / max(first(asked[n]), 1e-9))
    turning = side in ("left", "right")
    cause = "turns as hard as its wheels grip" if turning else "brakes or starts as hard as it can"
    numbers = {"limit": (asked[name], "acceleration"), "value": (limits[name], "acceleration")}
    words = {"pose": name, "far": _FAR[side], "cause": cause}
    yield Outcome(
        f"balance.tip.{side}", f"pose {name}", limits[name], asked[name], "acceleration",
        Say("In pose '{pose}' its {far} wheels stay down up to {value}; it {cause} at {limit}.",
            "In pose '{pose}' its {far} wheels lift from {value} on, and it {cause} at {limit}.", numbers, words),
        sources=("vukobratovic2004", "mcghee1968"),
    )  # fmt: skip
    yield from _going_over(context, driven, side)


def _rolled(context: Context, pose: str, side: str) -> RollerStage:
    pose = state.same_body(context, pose)
    return context.once(("rolled", pose, side), lambda: state.stance(context, pose).rolled(side))


def _over_speed(context: Context, pose: str, side: str) -> Real:
    """Speed from which the hardest braking carries it over, rollers counted."""
    pose = state.same_body(context, pose)
    return context.once(("over speed", pose, side), lambda: _carried_over(context, pose, side))


def _carried_over(context: Context, pose: str, side: str) -> Real:
    stage, asked = _rolled(context, pose, side), asked_of(state.performance(context, pose), side)
    caught = (asked <= roller_tip_acceleration(stage)) & (roller_energy_margin(stage, asked) > 0.0)
    return np.where(caught, np.inf, braking_tip_speed(stage.first, asked))


def _going_over(context: Context, driven: dict[str, Stance], side: str) -> Iterator[Outcome]:
    if side in ("left", "right"):
        return
    speeds = {name: _over_speed(context, name, side) for name in driven}
    top = {name: state.performance(context, name).top_speed for name in driven}
    name = min(driven, key=lambda n: first(speeds[n]) / max(first(top[n]), 1e-9))
    numbers = {"value": (speeds[name], "speed"), "top": (top[name], "speed")}
    never = not np.isfinite(first(speeds[name]))
    held = "No braking from any speed carries it over {side} (worst pose '{pose}')."
    yield Outcome(
        f"balance.over.{side}", f"pose {name}", speeds[name], top[name], "speed",
        Say(held if never else "Braking hard carries it over {side} from {value} in pose '{pose}'; it reaches {top}.",
            "Braking hard from {value} or more carries it over {side} in pose '{pose}'; it reaches {top}.",
            numbers, {"pose": name, "side": side}),
        sources=("housner1963", "messuri1985"),
    )  # fmt: skip


def _stopping(context: Context, driven: dict[str, Stance], side: str) -> Iterator[Outcome]:
    """Stopped dead at floor level, for example by a seam or an object under the wheels."""
    stages = {name: _rolled(context, name, side) for name in driven}
    speeds = {name: roller_impact_tip_speed(stage) for name, stage in stages.items()}
    top = {name: state.performance(context, name).top_speed for name in driven}
    name = min(driven, key=lambda n: first(speeds[n]) / max(first(top[n]), 1e-9))
    yield Outcome(
        f"balance.stop.{side}", f"pose {name}", speeds[name], top[name], "speed",
        Say("Stopped dead at floor level it stays up below {value} in pose '{pose}'; it reaches {top}.",
            "Stopped dead at floor level it goes over {side} from {value} on in pose '{pose}'; it reaches {top}.",
            {"value": (speeds[name], "speed"), "top": (top[name], "speed")}, {"pose": name, "side": side}),
        sources=("housner1963", "messuri1985"),
    )  # fmt: skip


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
        "It needs no ballast to keep all wheels down."
        if needed == 0
        else "{mass} of ballast at '{place}' would keep all wheels down."
    )
    if not np.isfinite(needed):
        text = "No ballast at the places given would keep all wheels down."
    say = Say(text, "", {"mass": (choice.mass, "mass")}, {"place": name})
    yield Outcome("balance.ballast", "robot", choice.mass, None, "mass", say, sources=("meriam_statics",))


def _place_slack(stance: Stance, side: int, asked: Real, place: tuple[Real, Real, Real]) -> Real:
    """A ballast's own distance to the edge, under the same acceleration."""
    axis, sign = side // 2, 1.0 if side in (0, 2) else -1.0
    out = sign * (place[axis] - stance.point[axis])
    own: Real = stance.edges[side] - out - asked * place[2] / STANDARD_GRAVITY
    return own
