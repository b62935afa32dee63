"""Cylinder-driven lifts: every finding about each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.display import first
from fieldworthy.engine.finding import Message, Outcome
from fieldworthy.engine.system import Actuator
from fieldworthy.physics.arms.linkage import (
    Balance,
    Drive,
    Pose,
    Rocker,
    arm_angle,
    cylinder_length,
    dead_points,
    passive_torque,
    pose,
    reflected_mass,
    rest_torque,
    slack_angles,
    sweep,
)
from fieldworthy.physics.arms.sizing import (
    STANDARD_STROKES,
    Candidates,
    Choice,
    Task,
    Trial,
    next_up,
    smallest,
    try_candidates,
)
from fieldworthy.physics.gas.actuation import Stroke, actuation, extend_stroke, retract_stroke
from fieldworthy.systems.lift.mechanics import Arm, arm_of, cases_of, polar, target, timed
from fieldworthy.systems.lift.model import Lift
from fieldworthy.vehicle import state
from fieldworthy.vehicle.supply import AirUse, air_along_plan, air_line, use_of

_SOURCES = ("meriam_statics",)
_SIZE_SOURCES = ("iso8778", "practice")
_POINTS = 17  # along the stroke; the worst point moves by less than a percent with twice as many
_NO_LEVER = 1e6  # a share of the force beyond this is a dead point's
_PLACED = np.radians(3.0)  # as well as pins and parts measured with a tape agree; common practice, no source


@dataclass(frozen=True, slots=True)
class Lifted:
    """A lift along its stroke.

    Attributes
    ----------
    name : Of the mechanism
    spec : As the file gives it [SI]
    use : Its cylinder [SI]
    arm : What it carries [SI]
    rocker : Its pins [m, rad]
    along : Poses along the usable stroke, points leading, retracted first [SI]
    balance, empty : Cylinder against everything else, both ways, loaded and with nothing on the arm [N m]
    gauge : Gauge pressure with which it is raised [Pa]
    up, down : Share of the cylinder's force in use raising and lowering, points leading, loaded or empty, whichever
        takes more; infinite at a dead point, negative where the load helps
    kinks : The same where a band goes slack between those points: poses, share up, share down; None without bands
    """

    name: str
    spec: Lift
    use: AirUse
    arm: Arm
    rocker: Rocker
    along: Pose
    balance: Balance
    empty: Balance
    gauge: Real
    up: Array
    down: Array
    kinks: tuple[Pose, Array, Array] | None

    @property
    def pushes(self) -> bool:
        """Whether the rod raises the arm on its way out; else on its way back."""
        return first(self.rocker.branch) > 0.0

    @property
    def low(self) -> int:
        """Place along the stroke where the arm is down."""
        return 0 if self.pushes else -1

    @property
    def high(self) -> int:
        """Place along the stroke where the arm is up."""
        return -1 if self.pushes else 0

    def turned(self, place: int) -> Array:
        """How far the arm is raised from where its parts are placed."""
        return self.raised(self.along, place)

    def raised(self, along: Pose, place: int) -> Array:
        """How far it is raised from there in one of some poses."""
        cosine, sine = along.cos_arm[place], along.sin_arm[place]
        c, s = np.cos(self.arm.axis), np.sin(self.arm.axis)
        angle = np.arctan2(sine * c - cosine * s, cosine * c + sine * s)
        return np.where(np.abs(angle) < 1e-7, 0.0, angle)  # rounding of sines is no angle

    def worst(self, way: str) -> tuple[Array, Array, str]:
        """Largest share of force in use up or down, the nominal angle of it, and loaded or empty, in words."""
        out = (way == "up") is self.pushes
        rows = [(self.along, self.up if way == "up" else self.down)]
        if self.kinks is not None:
            slack, up, down = self.kinks
            rows.append((slack, up if way == "up" else down))
        along, use = max(rows, key=lambda row: max(first(point) for point in row[1]))
        place = int(np.argmax([first(point) for point in use]))
        most = rows[0][1].max(axis=0) if len(rows) == 1 else np.maximum(*(row[1].max(axis=0) for row in rows))
        loaded, empty = (
            first((b.use_out if out else b.use_in)[place]) for b in _balances(along, self.balance.drive, self.arm)
        )
        words = "" if not self.spec.carries else ", empty," if empty > loaded else ", loaded,"
        return np.asarray(most), self.raised(along, place), words


def lifted(context: Context, name: str, spec: Lift) -> Lifted:
    """Lay a lift out along its stroke."""
    use = use_of(context, spec.cylinder)
    kind = context.robot.catalogue.cylinders[use.spec.cylinder]
    arm = arm_of(context, spec, spec.arm_pin)
    base, base_angle = polar(spec, spec.fixed_pin)
    radius, _ = polar(spec, spec.arm_pin)
    # the rod raises the arm on its way out where the arm's pin is turned ahead of the fixed pin
    branch = 1.0 if first(np.sin(arm.axis - base_angle)) >= 0.0 else -1.0
    closed, gauges = kind.closed_length + spec.brackets, _gauges(context, use)
    drive = _drive(use, spec, gauges)
    shape = cases_of(arm, base, radius, closed, kind.stroke, drive.push, drive.pull, use.efficiency, spec.friction)
    rocker = Rocker(np.broadcast_to(base, shape), radius, closed, kind.stroke, base_angle, 0.0, branch)
    along = sweep(rocker, _POINTS)
    balance, empty = _balances(along, drive, arm)
    up, down = _shares(balance, empty)
    slack = _slack(rocker, arm, shape)
    kinks = None if slack is None else (slack, *_shares(*_balances(slack, drive, arm)))
    return Lifted(
        name, spec, use, arm, rocker, along, balance, empty, gauges[0 if branch > 0.0 else 1], up, down, kinks
    )


def _balances(along: Pose, drive: Drive, arm: Arm) -> tuple[Balance, Balance]:
    """Weigh the cylinder against everything else, loaded and empty."""
    loaded, empty = (Balance(along, drive, passive_torque(along, w, arm.bands)) for w in (arm.weights, arm.own))
    return loaded, empty


def _shares(loaded: Balance, empty: Balance) -> tuple[Array, Array]:
    """Share of the cylinder's force in use up and down, loaded or empty, whichever takes more."""
    both = np.maximum(loaded.use_out, empty.use_out), np.maximum(loaded.use_in, empty.use_in)
    out, back = (np.where(way > _NO_LEVER, np.inf, way) for way in both)
    return (out, back) if first(loaded.pose.rocker.branch) > 0.0 else (back, out)


def _slack(rocker: Rocker, arm: Arm, shape: tuple[int, ...]) -> Pose | None:
    """Poses in which a band just goes slack, held within the stroke."""
    angles = [angle for band in arm.bands for angle in slack_angles(band)]
    if not angles:
        return None
    out = [np.broadcast_to(cylinder_length(rocker, angle) - rocker.closed, shape) for angle in angles]
    return pose(rocker, np.stack(out))


def _gauges(context: Context, use: AirUse) -> tuple[Real, Real]:
    """Gauge pressure out and back: the lowest of the plan, or the charge where the plan does not use it."""
    lowest = air_along_plan(context).lowest.get(use.name)
    full = np.minimum(use.circuit.p_charge, use.circuit.p_set) - state.p_atm(context)
    both = (full, full) if lowest is None else tuple(way.gauge for way in lowest)
    back = both[1] if use.cylinder.double_acting else 0.0
    return np.maximum(both[0], 0.0), np.maximum(back, 0.0)


def _drive(use: AirUse, spec: Lift, gauges: tuple[Real, Real]) -> Drive:
    count, cylinder = use.spec.count, use.cylinder
    push = count * np.maximum(gauges[0] * cylinder.piston_area - cylinder.spring_force(cylinder.stroke), 0.0)
    pull = count * (gauges[1] * cylinder.ring_area if cylinder.double_acting else cylinder.spring_force(0.0))
    return Drive(push, np.maximum(pull, 0.0), use.efficiency, spec.friction)


def judged(at: Lifted) -> Iterator[Outcome]:
    """Judge a lift's geometry and forces."""
    for judge in (_placed, _swing, _dead_point, _lever, _force, _rest):
        yield from judge(at)


def _placed(at: Lifted) -> Iterator[Outcome]:
    """Tell whether pins and parts agree on where the arm lies when it is down."""
    off = np.abs(at.turned(at.low))
    apart = cylinder_length(at.rocker, at.arm.axis)
    numbers = {"off": (off, "angle"), "limit": (_PLACED, "angle"), "apart": (apart, "length"),
               "long": (at.along.length[at.low], "length")}  # fmt: skip
    words = {"name": at.name, "rod": "in" if at.pushes else "out"}
    text = "With its rod {rod}, lift '{name}' lies {off} from where its parts are placed"
    yield Outcome(
        f"lift.placed.{at.name}",
        f"lift {at.name}",
        off,
        _PLACED,
        "angle",
        Message(
            text + ": pins and parts agree.",
            text + ": its pins are {apart} apart there, but can only come to {long}. Correct the pins, 'brackets' or "
            "the parts; all its other findings rest on the pins.",
            numbers,
            words,
        ),
        "at most",
        sources=("practice",),
    )


def _swing(at: Lifted) -> Iterator[Outcome]:
    """Judge how far the stroke raises the arm from where its parts are placed, or from as low as it comes."""
    value = at.turned(at.high) - np.maximum(at.turned(at.low), 0.0)
    numbers = {"swing": (value, "angle"), "wanted": (at.spec.swing, "angle"), "stroke": (at.rocker.stroke, "length")}
    yield Outcome(
        f"lift.swing.{at.name}",
        f"lift {at.name}",
        value,
        at.spec.swing,
        "angle",
        Message(
            "Lift '{name}' rises by {swing} with its {stroke} stroke; {wanted} is wanted.",
            "Lift '{name}' rises only by {swing} with its {stroke} stroke, and {wanted} is wanted: take a "
            "longer stroke, "
            "or move a pin nearer to the pivot.",
            numbers,
            {"name": at.name},
        ),
        sources=_SOURCES,
    )


def _dead_point(at: Lifted) -> Iterator[Outcome]:
    """Report a dead point inside the stroke, with its angle."""
    folded, straight = dead_points(at.rocker)
    inside = np.maximum(folded, straight)
    where = 0.0 if first(folded) >= first(straight) else np.pi
    angle = arm_angle(at.rocker, where) - at.arm.axis
    angle = np.arctan2(np.sin(angle), np.cos(angle))
    numbers = {"clear": (-inside, "length"), "inside": (inside, "length"), "angle": (angle, "angle")}
    yield Outcome(
        f"lift.dead_point.{at.name}",
        f"lift {at.name}",
        -inside,
        0.0,
        "length",
        Message(
            "Lift '{name}' keeps {clear} of stroke away from its dead point.",
            "Lift '{name}' meets a dead point {inside} inside its stroke, with the arm at {angle} from where it "
            "lies: there "
            "the cylinder has no lever at all.",
            numbers,
            {"name": at.name},
        ),
        sources=_SOURCES,
        scale=at.rocker.stroke,
    )


def _lever(at: Lifted) -> Iterator[Outcome]:
    """Tell the cylinder's least lever about the pivot, and where."""
    arms = at.along.moment_arm
    place = int(np.argmin([first(row) for row in arms]))
    numbers = {"least": (arms[place], "length"), "most": (arms.max(axis=0), "length"),
               "angle": (at.turned(place), "angle")}  # fmt: skip
    words = {"name": at.name, "does": "pushes" if at.pushes else "pulls"}
    text = (
        "The cylinder of lift '{name}' {does} at a lever of {least} to {most}; it is least {angle} from where it lies."
    )
    message = Message(text, "", numbers, words)
    yield Outcome(
        f"lift.lever.{at.name}", f"lift {at.name}", arms.min(axis=0), None, "length", message, sources=_SOURCES
    )


def _force(at: Lifted) -> Iterator[Outcome]:
    """Judge the share of the cylinder's force in use at the worst point of the stroke, both ways."""
    for way in ("up", "down"):
        most, angle, load = at.worst(way)
        worst = np.maximum(most, 0.0)
        numbers = {"use": (worst, "share"), "angle": (angle, "angle")}
        where = "at the worst point, {angle} from where it lies, at the lowest pressure of the plan"
        text = f"Lift '{{name}}'{load} needs {{use}} of its cylinder's force to go {{way}}, {where}"
        if first(worst) == 0.0:
            text = "Lift '{name}' goes {way} by itself: its load helps along the whole stroke"
        elif not np.isfinite(first(worst)):
            text = "Going {way}, lift '{name}' has no force at all at {angle} from where it lies"
        yield Outcome(
            f"lift.force_{way}.{at.name}", f"lift {at.name}", worst, 1.0, "ratio",
            Message(text + ".", text + ": it stops there.", numbers, {"name": at.name, "way": way}),
            "at most", sources=_SOURCES,
        )  # fmt: skip


def raising_time(context: Context, at: Lifted) -> Array:
    """Time the way up, with the flow of its valve, its load along the stroke and what its rod feels of its inertia.

    Notes
    -----
    The load on the rod is taken as a straight line that starts as the real one and takes as much work; the mass that
    the rod feels as its mean along the stroke.
    """
    supply = np.minimum(state.p_atm(context) + at.gauge, at.use.circuit.p_set)
    line, double = air_line(context, at.use), at.use.cylinder.double_acting
    stroke = raising_stroke(at, supply)
    # with the rod out or in, the other side still holds the air of the stroke before, or breathes
    vent = supply if double or not at.pushes else state.p_atm(context)
    time = actuation(stroke, line, line, supply, vent, state.p_atm(context), context.season.temperature).time
    return np.where(at.worst("up")[0] < 1.0, time, np.inf)


def raising_stroke(at: Lifted, supply: Real) -> Stroke:
    """Describe the way up as one cylinder on the valve sees it."""
    count, cylinder = at.use.spec.count, at.use.cylinder
    arms = np.maximum(at.along.moment_arm, 1e-4)
    load = (at.balance.demand_out if at.pushes else at.balance.demand_in) / arms / count
    mass = np.clip(reflected_mass(at.arm.inertia, arms).mean(axis=0) / count, 1e-3, 1e3)
    mean = (load.sum(axis=0) - 0.5 * (load[0] + load[-1])) / (_POINTS - 1)
    begin = load[at.low]
    rise = np.clip(2.0 * (mean - begin), load.min(axis=0) - begin, load.max(axis=0) - begin) / cylinder.stroke
    area, stroke = (cylinder.piston_area, extend_stroke) if at.pushes else (cylinder.ring_area, retract_stroke)
    return stroke(cylinder, mass, begin + at.use.friction(supply, area), rise)


def actuators(context: Context) -> dict[str, Actuator]:
    """What the cylinders give at the arms: force times longest lever; twice the mean speed of the way up.

    Notes
    -----
    A body that starts from rest and gains speed evenly ends at twice its mean speed.
    """
    found = {}
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, Lift):
            at = lifted(context, name, spec)
            drive, lever = at.balance.drive, float(np.max(np.abs(at.along.moment_arm)))
            force = first(drive.push if at.pushes else drive.pull)
            turned, time = abs(first(at.turned(at.high)) - first(at.turned(at.low))), first(raising_time(context, at))
            found[spec.rides] = Actuator(force * lever, 2.0 * turned / time)
    return found


def _rest(at: Lifted) -> Iterator[Outcome]:
    """Tell how it rests when the air is let out, loaded and empty; friction is not counted on."""
    told, downs = [], []
    for load, balance in (("loaded", at.balance), ("empty", at.empty)):
        retracted, extended = rest_torque(at.rocker, balance.passive, 0.0)
        down, up = (retracted, extended) if at.pushes else (extended, retracted)
        downs.append(down)
        lower = f"rests on its lower stop with {{{load}}}"
        if first(down) <= 0:
            lower = f"is lifted off its lower stop with {{{load}}}"
        told.append((lower, "stays up" if first(up) > 0 else "comes down"))
    numbers = {load: (np.abs(down), "torque") for load, down in zip(("loaded", "empty"), downs, strict=True)}
    if at.spec.carries:
        lower = f"{told[0][0]} loaded and {told[1][0]} empty"
        raised = told[0][1] if told[0][1] == told[1][1] else f"{told[0][1]} loaded and {told[1][1]} empty"
    else:
        lower, raised = told[0]
    text = f"With its air let out, lift '{{name}}' {lower}; raised, it {raised}: support it before you work on it."
    message = Message(text, "", numbers, {"name": at.name})
    worst = np.minimum(*downs)
    yield Outcome(f"lift.rest.{at.name}", f"lift {at.name}", worst, None, "torque", message, sources=_SOURCES)


_BORES, _RODS = (0.010, 0.016, 0.020), (0.004, 0.005, 0.008)  # m; usual small cylinders, common practice, no source


def size(context: Context, at: Lifted) -> Outcome:
    """Choose the usual cylinder that does with the least air, on the nominal numbers."""
    trial = try_all(context, at)
    best = smallest(trial)
    name, count = at.name, at.use.spec.count
    far = [s for s, swing in zip(STANDARD_STROKES, trial.swing, strict=True) if first(swing) < first(at.spec.swing)]
    words = {"name": name, "far": _listed(far)}
    if _place(best.stroke) < 0:
        message = Message(_none_does(len(far)), "", {"margin": (_best_margin(trial, at), "count")}, words)
        return Outcome(f"lift.size.{name}", f"lift {name}", -1.0, None, "ratio", message, sources=_SIZE_SOURCES)
    reach = f"{{far}} mm stroke{'s' * (len(far) > 1)} cannot reach; " if far else ""
    text = f"For lift '{{name}}' {reach}{{stroke}} stroke with {{bore}} bore does, margin {{margin}}, "
    text += "{air} of free air a cycle"
    numbers = _chosen(best, count, "")
    for choice, what in zip(next_up(trial, best), ("stroke", "bore"), strict=True):
        if _place(choice.stroke) >= 0:
            text += f"; the next {what} up has margin {{{what}_margin}} for {{{what}_air}}"
            numbers |= _chosen(choice, count, f"{what}_")
    message = Message(text + ".", "", numbers, words)
    return Outcome(
        f"lift.size.{name}", f"lift {name}", first(best.margin), None, "ratio", message, sources=_SIZE_SOURCES
    )


def try_all(context: Context, at: Lifted) -> Trial:
    """Try every usual stroke and bore at the lift's own pins.

    Notes
    -----
    A cylinder is longer by its stroke alone, as usual ones of one kind are. A longer one than the lift's own cannot be
    made shorter: its swing then begins farther on.
    """
    count = at.use.spec.count
    gauge = max(first(at.gauge), 1.0)
    task = Task(at.spec.swing, gauge, first(state.p_atm(context)), at.use.efficiency, first(at.spec.friction) / count)
    weights = tuple(replace(w, force=first(w.force) / count) for w in at.arm.weights)
    bands = tuple(replace(b, count=b.count / count) for b in at.arm.bands)
    trials = [try_candidates(at.rocker, _candidates(at, stroke), task, weights, bands) for stroke in STANDARD_STROKES]
    swing, margin, air, fits = (
        np.concatenate([getattr(trial, name) for trial in trials]) for name in ("swing", "margin", "air", "fits")
    )
    return Trial(swing, margin, air, fits)


def _candidates(at: Lifted, stroke: float) -> Candidates:
    """All bores at one stroke: a shorter cylinder gets a longer bracket, so that the arm still lies where it does."""
    closed, own = first(at.rocker.closed), first(at.rocker.stroke)
    kept = closed - stroke if at.pushes else closed + own - 2.0 * stroke
    return Candidates(np.array([stroke]), np.array(_BORES), np.array(_RODS), max(kept, closed - own))


def _none_does(too_short: int) -> str:
    """Say whether it is reach or force that every usual cylinder lacks."""
    tried = "usual cylinders (25, 50 and 75 mm stroke; 10, 16 and 20 mm bore)"
    if too_short == len(STANDARD_STROKES):
        return (
            f"None of the {tried} raises lift '{{name}}' as far as wanted with its pins where they are: move "
            f"a pin nearer."
        )
    return (
        f"None of the {tried} raises lift '{{name}}' as wanted: those that reach are too weak, or have no lever "
        f"somewhere "
        "on the way (best margin {margin})."
    )


def _best_margin(trial: Trial, at: Lifted) -> float:
    """The best margin among those that reach, or -1."""
    reaching = np.ravel(trial.swing) >= first(at.spec.swing)
    margins = trial.margin.reshape(len(STANDARD_STROKES), len(_BORES))[reaching]
    return float(margins.max()) if margins.size else -1.0


def _listed(strokes: Sequence[float]) -> str:
    texts = [f"{1e3 * s:.0f}" for s in strokes]
    return " and ".join([", ".join(texts[:-1]), texts[-1]] if len(texts) > 1 else texts)


def _place(chosen: npt.NDArray[np.int_]) -> int:
    return int(np.ravel(chosen)[0])


def _chosen(choice: Choice, count: int, prefix: str) -> dict[str, tuple[Real, str]]:
    return {
        f"{prefix}stroke": (STANDARD_STROKES[_place(choice.stroke)], "length"),
        f"{prefix}bore": (_BORES[_place(choice.bore)], "length"),
        f"{prefix}margin": (first(choice.margin), "count"),
        f"{prefix}air": (first(choice.air) * count, "volume"),
    }


def check(context: Context) -> Iterator[Outcome]:
    """Judge every cylinder-driven lift."""
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, Lift):
            at = lifted(context, name, spec)
            yield from judged(at)
            yield from timed("lift", name, spec, raising_time(context, at), "at the lowest pressure of the plan")
            yield from target(context, name, spec, at.turned(at.high))
            yield _sized(context.nominal, name)


def _sized(base: Context, name: str) -> Outcome:
    """The cylinder that would do, found once for all batches."""
    spec = base.robot.mechanisms[name]
    if not isinstance(spec, Lift):
        raise TypeError(f"{name} is no lift")
    return base.once(("lift size", name), lambda: size(base, lifted(base, name, spec)))
