"""Climb: leaving the floor, lifting with the air that is left, and how the robot hangs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fieldworthy.arrays import Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, Worked, called, first, unknown
from fieldworthy.physics.statics.hanging import Hang, free_attitude, friction_swing
from fieldworthy.systems.climb.mechanics import (
    Hung,
    Over,
    Pull,
    held_later,
    hung,
    least_over,
    lifting_force,
    lowest,
    travel_of,
)
from fieldworthy.systems.climb.model import Climber, MotorLift

_SOURCES = ("meriam_statics",)
_TRADE = ("meriam_statics", "practice")


def check(context: Context) -> Iterator[Outcome]:
    """Judge every climber."""
    for name, mechanism in context.robot.mechanisms.items():
        if not isinstance(mechanism, Climber):
            continue
        if not context.robot.parts:
            because = f"Without parts it is not known how the robot hangs on {called('climber', name)}."
            yield unknown(f"climb.attitude.{name}", f"climber {name}", "angle", because, ("parts",))
            continue
        at = hung(context, name, mechanism)
        yield from _reach(at)
        yield from _lift(context, at)
        least = least_over(context, at)
        yield _tip(at, least)
        yield from _lift_off(at, falls=first(least.inside) <= 0.0)
        yield from _attitude(at)
        yield from _rest(at)
        yield from _clearance(context, at)
        yield from _held(context, at)
        yield _hook_with_rest(at) if at.spec.rest is not None else _hook_alone(context, at)


def _reach(at: Hung) -> Iterator[Outcome]:
    """The hooks must stand above the bar before they can be drawn down on it."""
    top = at.spec.hook[1]
    numbers = {"hook": (top, "length"), "bar": (at.bar, "length")}
    yield Outcome(
        f"climb.reach.{at.name}", f"climber {at.name}", top, at.bar, "length",
        Message("{climber} raises its hooks to {hook}; the bar's top is at {bar}.",
                "{climber} raises its hooks only to {hook}, and the bar's top is at {bar}.", numbers, _words(at)),
        sources=_SOURCES,
    )  # fmt: skip


def _lift(context: Context, at: Hung) -> Iterator[Outcome]:
    """Force at the hooks against the most that is needed on the way up."""
    pull = lifting_force(context, at.spec)
    needed, start = at.ramp.force.max(axis=0), at.ramp.force[0]
    numbers = {"has": (pull.hook_force, "force"), "needs": (needed, "force"), "start": (start, "force")}
    if pull.gauge is not None:
        numbers["gauge"] = (pull.gauge, "pressure")
    stuck = "Not even one end comes up, which takes {start}"
    if first(pull.hook_force) >= first(start):
        stuck = "One end comes up, and there it stops"
    yield Outcome(
        f"climb.lift.{at.name}", f"climber {at.name}", pull.hook_force, needed, "force",
        Message(f"{{climber}} lifts the robot: it pulls with {{has}} {pull.when}; {{needs}} is needed.",
                f"{{climber}} cannot lift the robot: it pulls with {{has}} {pull.when}, and {{needs}} is "
                f"needed. {stuck}.",
                numbers, _words(at)),
        sources=_SOURCES, worked=_drawn_by(pull),
    )  # fmt: skip


def _drawn_by(pull: Pull) -> tuple[Worked, ...]:
    """How motors on a drum come to their force."""
    if pull.drum is None:
        return ()
    kinds = (("n", "count"), ("T", "torque"), ("i", "ratio"), ("eta", "ratio"), ("r", "length"))
    letters = {letter: (value, kind) for (letter, kind), value in zip(kinds, pull.drum, strict=True)}
    return (Worked("winch", {"F": (pull.hook_force, "force")} | letters),)


def _words(at: Hung) -> dict[str, str]:
    return {"climber": called("climber", at.name)}


_LEVEL = 1e-3  # rad; less is not told


def _way(attitude: Real) -> str:
    return "nose down" if first(attitude) >= 0.0 else "nose up"


def _tip(at: Hung, least: Over) -> Outcome:
    """Whether it stays this side of the contact on which it still stands while the hooks draw the other end up."""
    front, other = (True, "rear") if at.first_off > 0.0 else (False, "front")
    numbers = {
        "inside": (least.inside, "length"),
        "past": (-least.inside, "length"),
        "angle": (np.abs(least.attitude), "angle"),
    }
    words = _words(at) | {"other": other, "side": "ahead of" if front else "behind", "way": _way(least.attitude)}
    holds = "On {climber} both ends of the robot leave the floor together: it tips over neither."
    if at.first_off != 0.0:
        holds = "While {climber} lifts the robot, its centre of gravity stays {inside} {side} its {other} wheels, and "
        holds += "it does not tip over them."
    short = "{climber} tips the robot over its {other} end: before it hangs, at {angle} {way}, its centre of gravity "
    short += "is {past} past the {other} wheels. Hook nearer to that centre, or bring it lower."
    return Outcome(
        f"climb.tip.{at.name}", f"climber {at.name}", least.inside, 0.0, "length",
        Message(holds, short, numbers, words), sources=_SOURCES, scale=np.maximum(least.level, 1e-3),
    )  # fmt: skip


def _lift_off(at: Hung, *, falls: bool) -> Iterator[Outcome]:
    """Which end leaves the floor first, and how it has turned when the other one leaves."""
    way = at.way()
    turned = way.leaving
    words = _words(at) | {"end": "front" if at.first_off > 0.0 else "rear", "way": _way(turned)}
    words["other"] = "rear" if words["end"] == "front" else "front"
    end = at.attitude()
    numbers = {
        "start": (at.ramp.force[0], "force"),
        "angle": (np.abs(turned), "angle"),
        "drawn": (way.drawn, "length"),
        "most": (np.abs(way.steepest), "angle"),
        "hangs": (np.abs(end), "angle"),
    }
    words |= {"most_way": _way(way.steepest), "end_way": _way(end)}
    text = "On {climber} the robot's {end} end leaves the floor first, at {start}"
    if at.first_off == 0.0:
        numbers = {"full": (at.weight, "force")}
        text = "On {climber} both ends of the robot leave the floor together, at {full}."
    elif falls:
        text += ", and it falls over its {other} end before it hangs."
    else:
        has = "is still level" if abs(first(turned)) < _LEVEL else "has turned {angle} {way}"
        hangs = "level" if abs(first(end)) < _LEVEL else "{hangs} {end_way}"
        text += f". When the {{other}} end leaves, at {{drawn}} of travel, it {has}. "
        turns = abs(first(way.steepest)) >= _LEVEL
        text += (
            f"On the way it turns up to {{most}} {{most_way}}; drawn up, it hangs {hangs}."
            if turns
            else "It hangs level."
        )
    message = Message(text, "", numbers, words)
    yield Outcome(f"climb.lift_off.{at.name}", f"climber {at.name}", turned, None, "angle", message, sources=_SOURCES)


def _attitude(at: Hung) -> Iterator[Outcome]:
    attitude, down = at.attitude(), at.spec.most_nose_down
    numbers = {"angle": (np.abs(attitude), "angle")}
    words = _words(at) | {"way": _way(attitude)}
    identifier, who = f"climb.attitude.{at.name}", f"climber {at.name}"
    if down is None:
        how = "level" if abs(first(attitude)) < _LEVEL else "{angle} {way}"
        message = Message(f"On {{climber}} the robot hangs {how}.", "", numbers, words)
        yield Outcome(identifier, who, attitude, None, "angle", message, sources=_SOURCES)
        return
    limit = np.where(attitude >= 0.0, down, down if at.spec.most_nose_up is None else at.spec.most_nose_up)
    message = Message("On {climber} the robot hangs {angle} {way}; up to {limit} is allowed.",
                      "On {climber} the robot hangs {angle} {way}, more than the {limit} allowed.",
                      numbers | {"limit": (limit, "angle")}, words)  # fmt: skip
    yield Outcome(identifier, who, np.abs(attitude), limit, "angle", message, "at most", sources=_SOURCES)


def _rest(at: Hung) -> Iterator[Outcome]:
    """Whether the rest stays pressed on, and how hard a pull lifts it off."""
    resting, rest = at.resting(), at.spec.rest
    if resting is None or rest is None:
        return
    numbers = {
        "force": (resting.rest_force, "force"),
        "holds": (resting.holds, "share"),
        "least": (rest.least_pull, "share"),
        "miss": (np.abs(at.lets_go() - at.hook[0]), "length"),
    }
    pressed = "with {force}, up to a level pull of {holds} of the weight; {least} is wanted."
    short = f"The rest of {{climber}} stays on only {pressed}"
    if not at.reaches():
        short = "The rest of {climber} does not reach the face that it should lean on: the robot hangs free and swings."
    elif first(resting.rest_force) == 0.0:
        short = (
            "The rest of {climber} is not pressed on, and the robot swings: the hook is {miss} past the place "
            "where the "
            "rest lets go."
        )
    yield Outcome(
        f"climb.rest.{at.name}", f"climber {at.name}", resting.holds, rest.least_pull, "ratio",
        Message(f"The rest of {{climber}} stays on {pressed}", short, numbers, _words(at)),
        sources=_TRADE, scale=1.0,
        worked=(Worked("hang", {"N": (resting.rest_force, "force"), "W": (at.weight, "force")}),),
    )  # fmt: skip


def _clearance(context: Context, at: Hung) -> Iterator[Outcome]:
    height = lowest(context, at)
    numbers = {
        "low": (height, "length"),
        "wanted": (at.spec.clearance, "length"),
        "lacks": (at.spec.clearance - height, "length"),
    }
    short = "On {climber} the robot hangs only {low} above the floor at its lowest point; {wanted} is wanted."
    if first(height) <= 0.0:
        short = "The robot does not get off the floor: fully drawn down, {climber} lacks {lacks} of what is wanted."
    yield Outcome(
        f"climb.clearance.{at.name}", f"climber {at.name}", height, at.spec.clearance, "length",
        Message("On {climber} the robot hangs {low} above the floor; {wanted} is wanted.", short,
                numbers, _words(at)),
        sources=_SOURCES, scale=np.maximum(travel_of(context, at.spec), 1e-3),
    )  # fmt: skip


def _held(context: Context, at: Hung) -> Iterator[Outcome]:
    """What still holds it when it has hung for a while, with no more air or battery."""
    identifier, who = f"climb.hold.{at.name}", f"climber {at.name}"
    words = _words(at)
    if at.spec.latch:
        text = "A latch holds the robot on {climber}, with or without air and battery."
        yield Outcome(identifier, who, np.inf, at.weight, "force", Message(text, "", {}, words))
        return
    later = held_later(context, at.spec)
    numbers = {"later": (later, "force"), "weight": (at.weight, "force"), "hold": (at.spec.hold, "time")}
    weighs = "the robot weighs {weight}"
    short = f"After {{hold}} {{climber}} pulls with {{later}}, and {weighs}: it falls. Fit a latch."
    if isinstance(at.spec.lift, MotorLift):
        short = "Without battery the motors of {climber} hold nothing: the robot falls. Fit a latch."
    message = Message(
        f"After {{hold}} {{climber}} still pulls with {{later}}; {weighs}. A latch would hold it without air.",
        short,
        numbers,
        words,
    )
    yield Outcome(identifier, who, later, at.weight, "force", message, sources=("cengel", "practice"))


def _places(at: Hung) -> tuple[Real, dict[str, str]]:
    """How far the hook is from the centre of gravity, and on which side of it."""
    ahead = first(at.hook[0]) > first(at.cg[0])
    where = {"where": "ahead of" if ahead else "behind", "opposite": "behind" if ahead else "ahead of"}
    return np.abs(at.hook[0] - at.cg[0]), _words(at) | where


def _hook_alone(context: Context, at: Hung) -> Outcome:
    """Without a rest either side only tilts the robot."""
    gap, words = _places(at)
    own = free_attitude(at.hook, at.cg)
    words |= {"way": _way(own), "other": _way(-own)}
    numbers = {"gap": (gap, "length"), "angle": (np.abs(own), "angle")}
    text = (
        "{climber} has no rest: hooked {gap} {where} its centre of gravity the robot hangs {angle} {way}, as far "
        "{opposite} it {angle} {other}. Either side only tilts it; the trade's rule, that hooks on the side "
        "away from it hold the "
        "attitude, needs a rest"
    )
    diameter = context.season.structures[at.spec.structure].diameter
    if diameter is not None:
        swing = friction_swing(at.hook, at.cg, diameter / 2.0, at.spec.hook_friction)
        numbers["swing"] = (swing, "angle")
        text += ". Friction on the bar can stop it within {swing} of that; it swings"
    message = Message(text + ".", "", numbers, words)
    return Outcome(f"climb.hook.{at.name}", f"climber {at.name}", own, None, "angle", message, sources=_TRADE)


def _hook_with_rest(at: Hung) -> Outcome:
    """The hook where it is against its mirror image about the centre of gravity, rest and all.

    The rest is moved along with the hook, so that the face under the bar stays in reach and the side of the
    centre of gravity alone decides.
    """
    gap, words = _places(at)
    other_side = 2.0 * (at.cg[0] - at.hook[0])
    own, other, x = at.resting(), at.resting(other_side), at.lets_go()
    assert own is not None
    assert other is not None
    # by how far the hook, and its mirror image, stand on the side of the place where the rest lets go that holds
    spare = [np.abs(at.wall.side * (x - place)) for place in (at.hook[0], at.hook[0] + other_side)]
    away = first(at.wall.side * (at.cg[0] - at.hook[0])) > 0.0
    numbers = {"gap": (gap, "length"), "x": (x, "length"), "fails": (spare[0 if away else 1], "length"),
               "too": (spare[1 if away else 0], "length")}  # fmt: skip
    for key, found in (("own", own), ("other", other)):
        numbers |= {f"{key}_angle": (np.abs(found.attitude), "angle"), f"{key}_force": (found.rest_force, "force")}
    words |= {"lets": "ahead of" if at.wall.side > 0.0 else "behind", "verdict": ""}
    message = Message(
        f"Hooked {{gap}} {{where}} its centre of gravity, the robot on {{climber}} {_hangs('own', own)}. As far "
        f"{{opposite}} it, rest and all, it "
        f"{_hangs('other', other)}. {_as_the_trade_says(at, own if away else other, other if away else own)} "
        "The rest lets go where the hook is {lets} x = {x}.", "", numbers, words,
    )  # fmt: skip
    return Outcome(
        f"climb.hook.{at.name}", f"climber {at.name}", own.rest_force, None, "force", message, sources=_TRADE
    )


def _hangs(key: str, found: Hang) -> str:
    level = abs(first(found.attitude)) < _LEVEL
    angle = "level" if level else f"at {{{key}_angle}} {_way(found.attitude)}"
    if first(found.rest_force) > 0.0:
        return f"{'hangs' if level else 'leans'} {angle} with {{{key}_force}} on its rest"
    return f"swings free {angle} with nothing on its rest"


def _as_the_trade_says(at: Hung, away: Hang, near: Hang) -> str:
    """Hold the trade's rule against what was computed, and say by how much it fails."""
    if not at.reaches():
        return "The trade's rule, that the side away from it holds, fails here, for the rest does not reach its face."
    if first(away.rest_force) <= 0.0:
        return (
            "The trade's rule, that the side away from it holds, fails here: the hook is {fails} past where it would."
        )
    if first(near.rest_force) > 0.0:
        return "The side away from it holds, as the trade says, but here the other one does too, with {too} to spare."
    return "The side away from it holds, as the trade says."
