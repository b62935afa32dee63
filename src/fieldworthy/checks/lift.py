"""Cylinder-driven lifts: swing, dead points, force along the stroke both ways, time, and the cylinder that would do."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fieldworthy.checks.airplan import AirUse, air_along_plan, use_of
from fieldworthy.checks.arms import Arm, arm_of, height_at, polar
from fieldworthy.checks.finding import Array, Outcome, Real, Say
from fieldworthy.checks.showing import first
from fieldworthy.checks.strokes import air_line
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.actuation import actuation, extend_stroke
from fieldworthy.physics.leverage import Balance, Drive, passive_torque, reflected_mass, rest_torque
from fieldworthy.physics.linkage import Pose, Rocker, arm_angle, dead_points, pose, sweep, usable_stroke
from fieldworthy.physics.sizing import Candidates, Choice, Task, next_up, smallest, try_candidates
from fieldworthy.robot.model.linkage import Lift, MotorArm

_SOURCES = ("meriam_statics",)
_POINTS = 17  # along the stroke; the worst point moves by less than a percent with twice as many
_STROKES = (0.025, 0.050, 0.075)  # m; usual small cylinders, common practice, no source
_BORES, _RODS = (0.010, 0.016, 0.020), (0.004, 0.005, 0.008)  # m; likewise


@dataclass(frozen=True, slots=True)
class Lifted:
    """A lift along its stroke.

    Attributes
    ----------
    name : str
        Of the mechanism.
    spec : Lift
        As the file gives it [SI].
    use : AirUse
        Its cylinder [SI].
    arm : Arm
        What it carries [SI].
    rocker : Rocker
        Its pins [m, rad].
    along : Pose
        Poses along the usable stroke, points leading [SI].
    balance : Balance
        Cylinder against everything else, both ways [N m].
    """

    name: str
    spec: Lift
    use: AirUse
    arm: Arm
    rocker: Rocker
    along: Pose
    balance: Balance


def check(subject: Subject) -> Iterator[Outcome]:
    """Judge every cylinder-driven lift.

    Parameters
    ----------
    subject : Subject
        Robot and season over cases [SI].

    Yields
    ------
    Outcome
        Swing, dead point, force, time, target and sizing [-].
    """
    for name, spec in subject.robot.mechanisms.items():
        if not isinstance(spec, Lift):
            continue
        at = lifted(subject, name, spec)
        yield from _swing(at)
        yield from _dead(at)
        yield from _force(at)
        yield from _time(subject, at)
        yield from target(subject, name, spec, _raised(at))
        yield from _rest(at)
        yield from _sizing(subject, name)


def lifted(subject: Subject, name: str, spec: Lift) -> Lifted:
    """Lay a lift out along its stroke.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].
    name : str
        Of the lift [-].
    spec : Lift
        The lift [SI].

    Returns
    -------
    Lifted
        Geometry and torques, at the lowest pressure that the plan leaves its cylinder [SI].
    """
    use = use_of(subject, spec.cylinder)
    kind = subject.robot.catalogue.cylinders[use.spec.cylinder]
    arm = arm_of(subject, spec, spec.arm_pin)
    base, base_angle = polar(spec, spec.fixed_pin)
    radius, _ = polar(spec, spec.arm_pin)
    # extending raises the arm where its pin is turned ahead of the fixed pin, as it lies
    branch = 1.0 if first(np.sin(arm.axis - base_angle)) >= 0.0 else -1.0
    rocker = Rocker(base, radius, kind.closed_length + spec.brackets, kind.stroke, base_angle, 0.0, branch)
    along = sweep(rocker, _POINTS)
    passive = passive_torque(along, arm.weights, arm.bands)
    return Lifted(name, spec, use, arm, rocker, along, Balance(along, _drive(subject, use, spec), passive))


def _gauges(subject: Subject, use: AirUse) -> tuple[Real, Real]:
    """Gauge pressure out and back: the lowest of the plan, or the charge where the plan does not use it."""
    lowest = air_along_plan(subject).lowest.get(use.name)
    full = np.minimum(use.circuit.p_charge, use.circuit.p_set) - subject.p_atm
    if lowest is None:
        return full, full
    return lowest[0].gauge, lowest[1].gauge if len(lowest) > 1 else 0.0


def _drive(subject: Subject, use: AirUse, spec: Lift) -> Drive:
    out, back = (np.maximum(gauge, 0.0) for gauge in _gauges(subject, use))
    count, cylinder = use.spec.count, use.cylinder
    spring = cylinder.spring_force(cylinder.stroke)
    push = count * np.maximum(out * cylinder.piston_area - spring, 0.0)
    pull = count * (back * cylinder.ring_area if cylinder.double_acting else cylinder.spring_force(0.0))
    return Drive(push, pull, use.efficiency, spec.friction)


def _raised(at: Lifted) -> Array:
    """How far the whole stroke raises the arm from where its parts are placed."""
    end = arm_angle(at.rocker, pose(at.rocker, usable_stroke(at.rocker)[1]).included)
    return np.asarray(end - at.arm.axis)


def _swing(at: Lifted) -> Iterator[Outcome]:
    start = arm_angle(at.rocker, pose(at.rocker, usable_stroke(at.rocker)[0]).included)
    swing = np.abs(_raised(at) + at.arm.axis - start)
    numbers = {"swing": (swing, "angle"), "wanted": (at.spec.swing, "angle"), "stroke": (at.rocker.stroke, "length")}
    yield Outcome(
        f"lift.swing.{at.name}", f"lift {at.name}", swing, at.spec.swing, "angle",
        Say("'{name}' swings {swing} with its {stroke} stroke; {wanted} are wanted.",
            "'{name}' swings only {swing} with its {stroke} stroke; {wanted} are wanted: take a longer stroke, or move "
            "a pin nearer to the pivot.", numbers, {"name": at.name}),
        sources=_SOURCES,
    )  # fmt: skip


def _dead(at: Lifted) -> Iterator[Outcome]:
    """A dead point inside the stroke, with its angle."""
    folded, straight = dead_points(at.rocker)
    inside = np.maximum(folded, straight)
    where = 0.0 if first(folded) >= first(straight) else np.pi
    angle = arm_angle(at.rocker, where) - at.arm.axis
    numbers = {"clear": (-inside, "length"), "inside": (inside, "length"), "angle": (angle, "angle")}
    yield Outcome(
        f"lift.dead_point.{at.name}", f"lift {at.name}", -inside, 0.0, "length",
        Say("'{name}' stays {clear} of stroke clear of its dead point.",
            "'{name}' meets a dead point {inside} inside its stroke, with the arm at {angle} from where it lies: there "
            "the cylinder has no lever at all.", numbers, {"name": at.name}),
        sources=_SOURCES, scale=at.rocker.stroke,
    )  # fmt: skip


def _force(at: Lifted) -> Iterator[Outcome]:
    """The share of the cylinder's force in use at the worst point of the stroke, both ways."""
    angles = at.along.angle
    for way, use in (("up", at.balance.use_out), ("down", at.balance.use_in)):
        worst = use.max(axis=0)
        place = int(np.argmax([first(point) for point in use]))
        turned = angles[place] - at.arm.axis
        turned = np.arctan2(np.sin(turned), np.cos(turned))
        numbers = {"use": (worst, "share"), "angle": (turned, "angle")}
        text = "'{name}' needs {use} of its cylinder's force {way} at the worst point, {angle} from where it lies"
        if first(worst) <= 0.0:
            text = "'{name}' goes {way} by itself: its load helps along the whole stroke"
        tail = " at the lowest pressure of the plan"
        yield Outcome(
            f"lift.force_{way}.{at.name}", f"lift {at.name}", np.maximum(worst, 0.0), 1.0, "ratio",
            Say(text + tail + ".", text + tail + ": it does not move there.", numbers, {"name": at.name, "way": way}),
            "at most", sources=_SOURCES,
        )  # fmt: skip


def _time(subject: Subject, at: Lifted) -> Iterator[Outcome]:
    """Time to raise it, with the flow of its valve, its load along the stroke and what its rod feels of its inertia."""
    count, cylinder = at.use.spec.count, at.use.cylinder
    gauge = _gauges(subject, at.use)[0]
    supply = np.minimum(subject.p_atm + np.maximum(gauge, 0.0), at.use.circuit.p_set)
    lever = np.maximum(np.abs(at.along.moment_arm), 1e-4)
    demand = at.balance.demand_out / lever / count + at.use.friction(supply, cylinder.piston_area)
    mass = np.minimum(reflected_mass(at.arm.inertia, lever), 1e3).mean(axis=0) / count
    rise = (demand[-1] - demand[0]) / cylinder.stroke
    stroke = extend_stroke(cylinder, mass, demand[0], rise)
    line = air_line(subject, at.use)
    vent = supply if cylinder.double_acting else subject.p_atm
    time = actuation(stroke, line, line, supply, vent, subject.p_atm, subject.season.temperature).time
    yield from timed("lift", at.name, at.spec, time, "at the lowest pressure of the plan")


def timed(prefix: str, name: str, spec: Lift | MotorArm, time: Real, when: str) -> Iterator[Outcome]:
    """Tell how long an arm takes to be raised.

    Parameters
    ----------
    prefix, name : str
        ``lift`` or ``arm``, and the mechanism's name [-].
    spec : Lift or MotorArm
        For its time limit [s].
    time : float or ndarray
        The time, infinite where it does not get there [s].
    when : str
        Under which circumstances [-].

    Yields
    ------
    Outcome
        A finding where there is a limit, else a fact [-].
    """
    words = {"name": name, "when": when}
    stuck = "'{name}' does not get up {when}."
    text = "'{name}' is up in {time} {when}"
    limit = spec.time_limit
    moves = np.isfinite(first(time))
    if limit is None:
        say = Say(text + "." if moves else stuck, "", {"time": (time, "time")}, words)
        yield Outcome(f"{prefix}.time.{name}", f"{prefix} {name}", time, None, "time", say, sources=("iso6358",))
        return
    numbers = {"time": (time, "time"), "limit": (limit, "time")}
    say = Say(
        text + "; {limit} are wanted.", text + ", later than the {limit} wanted." if moves else stuck, numbers, words
    )
    yield Outcome(
        f"{prefix}.time.{name}", f"{prefix} {name}", time, limit, "time", say, "at most", sources=("iso6358",)
    )


def target(subject: Subject, name: str, spec: Lift | MotorArm, raised: Real) -> Iterator[Outcome]:
    """Tell whether an arm reaches over its structure when raised.

    Parameters
    ----------
    subject : Subject
        For the season's structures [SI].
    name : str
        Of the mechanism [-].
    spec : Lift or MotorArm
        For its target [SI].
    raised : float or ndarray
        How far it is raised [rad].

    Yields
    ------
    Outcome
        One where the arm has a target [-].
    """
    if spec.target is None:
        return
    height = height_at(spec, spec.target.point, raised)
    limit = subject.season.structures[spec.target.structure].height
    numbers = {"height": (height, "length"), "limit": (limit, "length")}
    say = Say("Raised, '{name}' brings its point to {height}; the {structure} is {limit} up.",
              "Raised, '{name}' brings its point only to {height}; the {structure} is {limit} up.",
              numbers, {"name": name, "structure": spec.target.structure})  # fmt: skip
    yield Outcome(f"lift.target.{name}", f"mechanism {name}", height, limit, "length", say, sources=("plane-geometry",))


def _rest(at: Lifted) -> Iterator[Outcome]:
    """How it rests when the air is let out."""
    down, up = rest_torque(at.rocker, at.balance.passive, 0.0)
    numbers = {"down": (down, "torque"), "up": (up, "torque")}
    word = "stays up" if first(up) > 0 else "comes down"
    text = (
        "With its air let out, '{name}' rests on its lower stop with {down}; raised, it {word}: support it before work."
    )
    say = Say(text, "", numbers, {"name": at.name, "word": word})
    yield Outcome(f"lift.rest.{at.name}", f"lift {at.name}", down, None, "torque", say, sources=_SOURCES)


def _sizing(subject: Subject, name: str) -> Iterator[Outcome]:
    """The smallest usual cylinder that does it, nominal numbers alone, and what the next one buys."""
    base = subject.nominal
    spec = base.robot.mechanisms[name]
    assert isinstance(spec, Lift)
    at = lifted(base, name, spec)
    candidates = Candidates(np.array(_STROKES), np.array(_BORES), np.array(_RODS), at.rocker.closed - at.rocker.stroke)
    gauge = first(_gauges(base, at.use)[0])
    count = at.use.spec.count
    task = Task(spec.swing, max(gauge, 1.0), first(base.p_atm), at.use.efficiency, first(spec.friction) / count)
    weights = tuple(replace(w, force=first(w.force) / count) for w in at.arm.weights)
    bands = tuple(replace(b, count=b.count / count) for b in at.arm.bands)
    trial = try_candidates(at.rocker, candidates, task, weights, bands)
    best = smallest(trial)
    longer, thicker = next_up(trial, best)
    far = [s for i, s in enumerate(_STROKES) if first(trial.swing[i]) < first(spec.swing)]
    reach = "{far} mm strokes cannot reach; " if far else ""
    found = _place(best.stroke) >= 0
    text = "None of the usual cylinders (25, 50 and 75 mm stroke; 10, 16 and 20 mm bore) swings '{name}' as wanted."
    numbers: dict[str, tuple[Real, str]] = {}
    if found:
        text = (
            "For '{name}' "
            + reach
            + "{stroke} stroke with {bore} bore does, margin {margin}, {air} of free air a cycle"
        )
        numbers = _chosen(best, count, "")
        for choice, what in ((longer, "stroke"), (thicker, "bore")):
            if _place(choice.stroke) >= 0:
                text += f"; the next {what} up has margin {{{what}_margin}} for {{{what}_air}}"
                numbers |= _chosen(choice, count, f"{what}_")
        text += "."
    words = {"name": name, "far": " and ".join(f"{1e3 * s:.0f}" for s in far)}
    margin = first(best.margin) if found else first(trial.margin.max())
    say = Say(text, "", numbers, words)
    yield Outcome(f"lift.size.{name}", f"lift {name}", margin, None, "ratio", say, sources=("iso8778", "practice"))


def _place(chosen: npt.NDArray[np.int_]) -> int:
    return int(np.ravel(chosen)[0])


def _chosen(choice: Choice, count: int, prefix: str) -> dict[str, tuple[Real, str]]:
    return {
        f"{prefix}stroke": (_STROKES[_place(choice.stroke)], "length"),
        f"{prefix}bore": (_BORES[_place(choice.bore)], "length"),
        f"{prefix}margin": (first(choice.margin), "count"),
        f"{prefix}air": (first(choice.air) * count, "volume"),
    }
