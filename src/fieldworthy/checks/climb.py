"""Climb: leaving the floor, lifting with the air that is left, and how the robot hangs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fieldworthy.checks.bodies import outline_in, stacked
from fieldworthy.checks.climbforce import held_later, lifting_force, travel_of
from fieldworthy.checks.finding import Array, Outcome, Real, Say, unknown
from fieldworthy.checks.showing import first
from fieldworthy.checks.stance import floor_contacts
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.hanging import Hang, Wall, critical_hook_x, free_attitude, friction_swing, hang, lowest_point
from fieldworthy.physics.liftoff import LiftRamp, lift_off, lift_ramp
from fieldworthy.physics.support import STANDARD_GRAVITY
from fieldworthy.robot.model.climber import Climber, Rest

_SOURCES = ("meriam_statics",)
_STEPS = 7  # attitudes between standing level and hanging; the force is smooth in between


@dataclass(frozen=True, slots=True)
class Hanging:
    """A climber on its bar, the hooks drawn all the way down.

    Attributes
    ----------
    name : str
        Of the mechanism.
    spec : Climber
        As the file gives it [SI].
    weight : float or ndarray
        Weight of the robot [N].
    cg : ndarray of shape (2,) or (2, n)
        Centre of gravity in the side view [m].
    hook : ndarray of shape (2,) or (2, n)
        Where the hooks touch the bar, in the robot [m].
    bar : float or ndarray
        Height of that contact over the floor [m].
    ramp : LiftRamp
        From the floor to hanging free [rad, m, N].
    radius : float or ndarray
        Of the bar [m].
    first_off : float
        Contact that lifts first, nominal: +1 front, -1 rear [-].
    """

    name: str
    spec: Climber
    weight: Real
    cg: Array
    hook: Array
    bar: Real
    ramp: LiftRamp
    radius: Real
    first_off: float


def check(subject: Subject) -> Iterator[Outcome]:
    """Judge every climber.

    Parameters
    ----------
    subject : Subject
        Robot and season over cases [SI].

    Yields
    ------
    Outcome
        Reach, lift, attitude, rest, clearance, and what holds it afterwards [-].
    """
    for name, mechanism in subject.robot.mechanisms.items():
        if not isinstance(mechanism, Climber):
            continue
        if not subject.robot.parts:
            because = f"Without parts it is not known how '{name}' hangs."
            yield unknown(f"climb.attitude.{name}", f"climber {name}", "angle", because, ("parts",))
            continue
        at = hanging(subject, name, mechanism)
        yield from _reach(at)
        yield from _lift(subject, at)
        yield from _attitude(at)
        yield from _rest(at)
        yield from _clearance(subject, at)
        yield from _held(subject, at)
        yield from _fore_and_aft(at)


def hanging(subject: Subject, name: str, spec: Climber) -> Hanging:
    """Hang the robot on its bar.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].
    name : str
        Of the climber [-].
    spec : Climber
        The climber [SI].

    Returns
    -------
    Hanging
        Weight, centre of gravity and hook with the hooks drawn down [SI].
    """
    body = subject.body(spec.pose)
    weight = body.mass * STANDARD_GRAVITY
    travel = travel_of(subject, spec)
    rides = subject.groups.get(spec.rides) if spec.rides != "chassis" else None
    share = 0.0 if rides is None else rides.body.mass / body.mass
    cg = stacked([body.cg[0], body.cg[2] - share * travel])
    hook = stacked([spec.hook[0], spec.hook[1] - travel])
    xs = [x for x, _ in floor_contacts(subject.robot)]
    front, rear = _outer(xs, 1.0), _outer(xs, -1.0)
    off = lift_off(weight, spec.hook[0], body.cg[0], front, rear)
    # the end that lifts first turns about the other one
    stands = np.where(np.asarray(off.first) > 0.0, rear, front)
    start = stacked([spec.hook[0], spec.hook[1]])
    ramp = lift_ramp(weight, start, stacked([body.cg[0], body.cg[2]]), stacked([stands, 0.0]), _STEPS)
    bar = subject.season.structures[spec.structure]
    radius = 0.0 if bar.diameter is None else bar.diameter / 2.0
    return Hanging(name, spec, weight, cg, hook, bar.height, ramp, radius, first(off.first))


def _outer(xs: list[Real], sign: float) -> Real:
    return np.asarray(sign * stacked([sign * x for x in xs]).max(axis=0))


def _wall(rest: Rest) -> Wall:
    return Wall(rest.ahead, 1.0 if rest.face == "behind" else -1.0)


def _hung(at: Hanging, hook: Array) -> Hang | None:
    """How it hangs with its rest; None without one."""
    rest = at.spec.rest
    if rest is None:
        return None
    return hang(at.weight, hook, at.cg, stacked([rest.position[0], rest.position[1]]), _wall(rest))


def attitude_of(at: Hanging) -> Array:
    """Attitude in which the robot hangs.

    Parameters
    ----------
    at : Hanging
        The climber on its bar [SI].

    Returns
    -------
    ndarray
        Rotation about +y, positive nose down [rad].
    """
    hung = _hung(at, at.hook)
    return np.asarray(free_attitude(at.hook, at.cg) if hung is None else hung.attitude)


def _reach(at: Hanging) -> Iterator[Outcome]:
    """The hooks must stand above the bar before they can be drawn down on it."""
    top = at.spec.hook[1]
    numbers = {"hook": (top, "length"), "bar": (at.bar, "length")}
    yield Outcome(
        f"climb.reach.{at.name}", f"climber {at.name}", top, at.bar, "length",
        Say("'{name}' raises its hooks to {hook}; the bar's top is at {bar}.",
            "'{name}' raises its hooks only to {hook}, and the bar's top is at {bar}.", numbers, {"name": at.name}),
        sources=_SOURCES,
    )  # fmt: skip


def _lift(subject: Subject, at: Hanging) -> Iterator[Outcome]:
    force = lifting_force(subject, at.spec)
    needed = at.ramp.force.max(axis=0)
    end = "front" if at.first_off >= 0 else "rear"
    words = {"name": at.name, "end": end, "other": "rear" if end == "front" else "front", "when": force.when}
    numbers = {
        "has": (force.hook_force, "force"),
        "needs": (needed, "force"),
        "angle": (np.abs(at.ramp.attitude[-1]), "angle"),
    }
    yield Outcome(
        f"climb.lift.{at.name}", f"climber {at.name}", force.hook_force, needed, "force",
        Say("'{name}' pulls with {has} {when}; {needs} lift the robot off the floor, its {end} end first.",
            "'{name}' pulls only with {has} {when}, and {needs} are needed to lift the robot off the floor.",
            numbers, words),
        sources=_SOURCES,
    )  # fmt: skip
    say = Say(
        "Its {end} end leaves the floor first; as the {other} end leaves it has turned by {angle}.", "", numbers, words
    )
    yield Outcome(
        f"climb.lift_off.{at.name}", f"climber {at.name}", at.ramp.attitude[-1], None, "angle", say, sources=_SOURCES
    )


def _attitude(at: Hanging) -> Iterator[Outcome]:
    attitude = attitude_of(at)
    down = at.spec.most_nose_down
    numbers = {"angle": (np.abs(attitude), "angle")}
    words = {"name": at.name, "way": "nose down" if first(attitude) >= 0 else "nose up"}
    identifier, who = f"climb.attitude.{at.name}", f"climber {at.name}"
    if down is None:
        say = Say("On '{name}' the robot hangs {angle} {way}.", "", numbers, words)
        yield Outcome(identifier, who, attitude, None, "angle", say, sources=_SOURCES)
        return
    up = down if at.spec.most_nose_up is None else at.spec.most_nose_up
    # nose up is told on the scale of nose down, so that one limit serves both
    value = np.where(attitude >= 0.0, attitude, -attitude * down / np.maximum(up, 1e-6))
    limit = down if first(attitude) >= 0 else up
    say = Say("On '{name}' the robot hangs {angle} {way}; up to {limit} are allowed.",
              "On '{name}' the robot hangs {angle} {way}, more than the {limit} allowed.",
              numbers | {"limit": (limit, "angle")}, words)  # fmt: skip
    yield Outcome(identifier, who, value, down, "angle", say, "at most", sources=_SOURCES)


def _rest(at: Hanging) -> Iterator[Outcome]:
    """Whether the rest stays pressed on, and how hard a pull lifts it off."""
    hung, rest = _hung(at, at.hook), at.spec.rest
    if hung is None or rest is None:
        return
    numbers = {"force": (hung.rest_force, "force"), "holds": (hung.holds, "share"), "least": (rest.least_pull, "share")}
    pull = "a level pull of {holds} of the weight"
    say = Say(
        f"Its rest stays pressed on with {{force}}: {pull} would lift it off; {{least}} are wanted.",
        f"Its rest does not stay pressed on and it swings: {pull} lifts it off, and {{least}} are wanted.",
        numbers,
        {"name": at.name},
    )
    yield Outcome(
        f"climb.rest.{at.name}", f"climber {at.name}", hung.holds, rest.least_pull, "ratio", say,
        sources=("meriam_statics", "practice"), scale=1.0,
    )  # fmt: skip


def _clearance(subject: Subject, at: Hanging) -> Iterator[Outcome]:
    outline = outline_in(subject.groups, subject.robot.poses[at.spec.pose])
    lowest = lowest_point(outline, at.hook, attitude_of(at), at.bar)
    numbers = {"low": (lowest, "length"), "wanted": (at.spec.clearance, "length")}
    yield Outcome(
        f"climb.clearance.{at.name}", f"climber {at.name}", lowest, at.spec.clearance, "length",
        Say("Hanging, its lowest point is {low} above the floor; {wanted} are wanted.",
            "Hanging, its lowest point would be at {low}: it does not get {wanted} clear of the floor.",
            numbers, {"name": at.name}),
        sources=_SOURCES, scale=np.maximum(travel_of(subject, at.spec), 1e-3),
    )  # fmt: skip


def _held(subject: Subject, at: Hanging) -> Iterator[Outcome]:
    """What still holds it when it has hung for a while, with no more air or battery."""
    spec = at.spec
    later = held_later(subject, spec)
    numbers = {"later": (later, "force"), "weight": (at.weight, "force"), "hold": (spec.hold, "time")}
    words = {"name": at.name}
    if spec.latch:
        text = "A latch holds the robot on '{name}', with or without air and battery."
        yield Outcome(
            f"climb.hold.{at.name}", f"climber {at.name}", np.inf, at.weight, "force", Say(text, "", {}, words)
        )
        return
    weighs = "the robot weighs {weight}"
    say = Say(
        f"After {{hold}} '{{name}}' still pulls with {{later}}; {weighs}. A latch would hold it without air.",
        f"After {{hold}} '{{name}}' pulls only with {{later}}, and {weighs}: it sinks or falls. Fit a latch.",
        numbers,
        words,
    )
    identifier = f"climb.hold.{at.name}"
    yield Outcome(identifier, f"climber {at.name}", later, at.weight, "force", say, sources=("cengel",))


def _fore_and_aft(at: Hanging) -> Iterator[Outcome]:
    """The hook where it is against its mirror image about the centre of gravity, as the trade compares them."""
    mirrored = stacked([2.0 * at.cg[0] - at.hook[0], at.hook[1]])
    own, other = _hung(at, at.hook), _hung(at, mirrored)
    where = "behind" if first(at.hook[0]) < first(at.cg[0]) else "ahead of"
    words = {"name": at.name, "where": where, "opposite": "ahead of" if where == "behind" else "behind"}
    if own is None or other is None:
        angle = free_attitude(at.hook, at.cg)
        swing = friction_swing(at.hook, at.cg, at.radius, at.spec.hook_friction)
        numbers = {"angle": (np.abs(angle), "angle"), "swing": (swing, "angle")}
        text = (
            "'{name}' has no rest: hooked {where} its centre of gravity it hangs at {angle}, and friction on the bar "
        )
        say = Say(text + "holds it within {swing} of that; it swings.", "", numbers, words)
        yield Outcome(f"climb.hook.{at.name}", f"climber {at.name}", angle, None, "angle", say, sources=_SOURCES)
        return
    firmer = first(own.rest_force) > first(other.rest_force)
    agrees = firmer and abs(first(own.attitude)) < abs(first(other.attitude))
    verdict = "as the trade says of hooks on the side away from it" if agrees else "which the trade does not expect"
    numbers = {
        "angle": (np.abs(own.attitude), "angle"), "force": (own.rest_force, "force"),
        "other": (np.abs(other.attitude), "angle"), "press": (other.rest_force, "force"),
        "x": (critical_hook_x(at.hook[1], at.cg, own.attitude), "length"),
    }  # fmt: skip
    say = Say(
        "Hooked {where} its centre of gravity it rests at {angle} with {force} on the rest, " + verdict + "; hooked as "
        "far {opposite} it, it would hang at {other} with {press}. The rest lets go when the hook is past {x} forward.",
        "", numbers, words,
    )  # fmt: skip
    yield Outcome(f"climb.hook.{at.name}", f"climber {at.name}", own.rest_force, None, "force", say,
                  sources=("meriam_statics", "practice"))  # fmt: skip
