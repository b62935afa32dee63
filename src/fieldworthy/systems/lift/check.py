"""Cylinder-driven lifts: every finding about each."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, Worked, first
from fieldworthy.engine.system import Actuator, RodLoad, Swing
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
from fieldworthy.robot.model.catalogue import CylinderClass
from fieldworthy.systems.lift.mechanics import Arm, arm_of, cases_of, polar, target, timed
from fieldworthy.systems.lift.model import Lift
from fieldworthy.vehicle import state
from fieldworthy.vehicle.supply import AirUse, air_line, before_stroke, pressed, source_of, use_of

_SOURCES = ("meriam_statics",)
_SIZE_SOURCES = ("iso8778", "practice")
_LYING = 2e-3  # rad; less is not told
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
        # whatever moves it, the larger demand decides
        loaded, empty = (
            first((b.demand_out if out else b.demand_in)[place]) for b in _balances(along, self.balance.drive, self.arm)
        )
        words = "" if not self.spec.carries else ", empty," if empty > loaded else ", loaded,"
        return np.asarray(most), self.raised(along, place), words


def lifted(context: Context, name: str, spec: Lift) -> Lifted:
    """Lay a lift out along its stroke."""
    use = use_of(context, spec.cylinder)
    kind = context.robot.catalogue.cylinders[use.spec.cylinder]
    arm = arm_of(context, spec, spec.arm_pin)
    air = (use.efficiency, use.p_atm, use.circuit.volume, use.circuit.p_set, use.cylinder.bore, use.cylinder.rod)
    tanks = tuple(before_stroke(use, context, way) for way in range(len(use.draws)))
    filled = tuple(draw.V_before for draw in use.draws)
    rocker = _rocker(spec, kind, arm, (*air, *tanks, *filled, use.cylinder.spring[0], spec.friction))
    along = sweep(rocker, _POINTS)
    balance, empty = _balances(along, _drive(context, use, spec, along), arm)
    up, down = _shares(balance, empty)
    slack = _slack(rocker, arm)
    kinks = None if slack is None else (slack, *_shares(*_balances(slack, _drive(context, use, spec, slack), arm)))
    return Lifted(name, spec, use, arm, rocker, along, balance, empty, up, down, kinks)


def _rocker(spec: Lift, kind: CylinderClass, arm: Arm, others: tuple[Real, ...]) -> Rocker:
    """Lay out an arm's pins over the cases of everything that goes with them."""
    base, base_angle = polar(spec, spec.fixed_pin)
    radius, _ = polar(spec, spec.arm_pin)
    # the rod raises the arm on its way out where the arm's pin is turned ahead of the fixed pin
    branch = 1.0 if first(np.sin(arm.axis - base_angle)) >= 0.0 else -1.0
    closed = kind.closed_length + spec.brackets
    shape = cases_of(arm, base, radius, closed, kind.stroke, *others)
    return Rocker(np.broadcast_to(base, shape), radius, closed, kind.stroke, base_angle, 0.0, branch)


def rods(context: Context) -> Iterator[RodLoad]:
    """What every lift asks of its rods along both ways, loaded or empty, whichever takes more."""
    for spec in context.robot.mechanisms.values():
        if not isinstance(spec, Lift):
            continue
        kind = context.robot.catalogue.cylinders[context.robot.air.cylinders[spec.cylinder].cylinder]
        arm = arm_of(context, spec, spec.arm_pin)
        rocker = _rocker(spec, kind, arm, (spec.friction,))
        poses = [sweep(rocker, _POINTS), *([] if (slack := _slack(rocker, arm)) is None else [slack])]
        balances = [_balances(at, Drive(1.0, 1.0, 1.0, spec.friction), arm) for at in poses]
        for way in (0, 1):
            asked = [np.maximum(*(b.use_out if way == 0 else b.use_in for b in both)) for both in balances]
            out = np.concatenate([at.extension for at in poses]) / kind.stroke
            start, end = (0, -1) if way == 0 else (-1, 0)
            force = np.where(np.concatenate(asked) > _NO_LEVER, np.inf, np.concatenate(asked))
            yield RodLoad(spec.cylinder, way, force, out if way == 0 else 1.0 - out, _slope(asked[0], start, end))


def _slope(load: Array, start: int, end: int) -> tuple[Array, Array]:
    """The straight line along a stroke that starts as a load does and takes as much work: start, and rise over it."""
    held = np.clip(load, -_NO_LEVER, _NO_LEVER)
    mean = (held.sum(axis=0) - 0.5 * (held[start] + held[end])) / (_POINTS - 1)
    begin = held[start]
    return begin, np.clip(2.0 * (mean - begin), held.min(axis=0) - begin, held.max(axis=0) - begin)


def _balances(along: Pose, drive: Drive, arm: Arm) -> tuple[Balance, Balance]:
    """Weigh the cylinder against everything else, loaded and empty."""
    loaded, empty = (Balance(along, drive, passive_torque(along, w, arm.bands)) for w in (arm.weights, arm.own))
    return loaded, empty


def _shares(loaded: Balance, empty: Balance) -> tuple[Array, Array]:
    """Share of the cylinder's force in use up and down, loaded or empty, whichever takes more."""
    both = np.maximum(loaded.use_out, empty.use_out), np.maximum(loaded.use_in, empty.use_in)
    out, back = (np.where(way > _NO_LEVER, np.inf, way) for way in both)
    return (out, back) if first(loaded.pose.rocker.branch) > 0.0 else (back, out)


def _slack(rocker: Rocker, arm: Arm) -> Pose | None:
    """Poses in which a band just goes slack, held within the stroke."""
    angles = [angle for band in arm.bands for angle in slack_angles(band)]
    if not angles:
        return None
    out = [np.broadcast_to(cylinder_length(rocker, angle) - rocker.closed, np.shape(rocker.base)) for angle in angles]
    return pose(rocker, np.stack(out))


def _drive(context: Context, use: AirUse, spec: Lift, along: Pose) -> Drive:
    """What the cylinder gives at places along its stroke, with the pressure that falls while it moves.

    The stroke that gets least in the plan counts, or one from the charge where the plan does not use it.
    """
    count, cylinder = use.spec.count, use.cylinder
    out = along.extension / cylinder.stroke
    gauge = np.maximum(use.fed(0, out, before_stroke(use, context, 0)), 0.0)
    # the seals take their share of the air's force, not of the spring's
    spring = cylinder.spring_force(cylinder.stroke) / use.efficiency
    push = count * np.maximum(gauge * cylinder.piston_area - spring, 0.0)
    if not cylinder.double_acting:
        return Drive(push, count * cylinder.spring_force(0.0), use.efficiency, spec.friction)
    gauge = np.maximum(use.fed(1, 1.0 - out, before_stroke(use, context, 1)), 0.0)
    return Drive(push, count * gauge * cylinder.ring_area, use.efficiency, spec.friction)


def judged(at: Lifted, pressure: str) -> Iterator[Outcome]:
    """Judge a lift's geometry and forces."""
    for judge in (_placed, _swing, _dead_point, _lever):
        yield from judge(at)
    yield from _force(at, pressure)
    yield from _rest(at)


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


def _along_way(angle: Real) -> str:
    """Where on its way a lift is, in words with a blank."""
    if abs(first(angle)) < _LYING:
        return "where it lies"
    return f"{{angle}} {'above' if first(angle) > 0.0 else 'below'} where it lies"


def _lever(at: Lifted) -> Iterator[Outcome]:
    """Tell the cylinder's least lever about the pivot, and where."""
    arms = at.along.moment_arm
    place = int(np.argmin([first(row) for row in arms]))
    numbers = {"least": (arms[place], "length"), "most": (arms.max(axis=0), "length"),
               "angle": (np.abs(at.turned(place)), "angle")}  # fmt: skip
    words = {"name": at.name, "does": "pushes" if at.pushes else "pulls"}
    text = "The cylinder of lift '{name}' {does} at a lever of {least} to {most}; it is least "
    text += f"{_along_way(at.turned(place))}."
    message = Message(text, "", numbers, words)
    worked = Worked("lever", {"l": (arms[place], "length"), "b": (at.rocker.base, "length"),
                              "r": (at.rocker.radius, "length"), "L": (at.along.length[place], "length")})  # fmt: skip
    yield Outcome(f"lift.lever.{at.name}", f"lift {at.name}", arms.min(axis=0), None, "length", message,
                  sources=_SOURCES, worked=(worked,))  # fmt: skip


def _force(at: Lifted, pressure: str) -> Iterator[Outcome]:
    """Judge the share of the cylinder's force in use at the worst point of the stroke, both ways."""
    for way in ("up", "down"):
        most, angle, load = at.worst(way)
        worst = np.maximum(most, 0.0)
        numbers = {"use": (worst, "share"), "angle": (np.abs(angle), "angle")}
        where = f"at the worst point, {_along_way(angle)}, {pressure}"
        text = f"Lift '{{name}}'{load} needs {{use}} of its cylinder's force to go {{way}}, {where}"
        if first(worst) == 0.0:
            text = "Lift '{name}' goes {way} by itself: its load helps along the whole stroke"
        elif not np.isfinite(first(worst)):
            text = f"Going {{way}}, lift '{{name}}' has no force at all {_along_way(angle)}"
        yield Outcome(
            f"lift.force_{way}.{at.name}", f"lift {at.name}", worst, 1.0, "ratio",
            Message(text + ".", text + ": it stops there.", numbers, {"name": at.name, "way": way}),
            "at most", sources=_SOURCES,
        )  # fmt: skip


def raising_time(context: Context, at: Lifted) -> Array:
    """Time the way up, with the flow of its valve, its load along the stroke and what its rod feels of its inertia.

    The pressure falls while it moves, from what the tank has before that stroke of the plan which gets least.

    Notes
    -----
    The load on the rod is taken as a straight line that starts as the real one and takes as much work; the mass that
    the rod feels as its mean along the stroke.
    """
    use, way = at.use, 0 if at.pushes else 1
    line, source = air_line(context, use), source_of(use, context, way)
    fed = np.minimum(source.p_tank_abs, source.p_set)
    left = fed if way >= len(use.draws) else use.fed(way, 1.0, source.p_tank_abs) + use.p_atm
    stroke = raising_stroke(at, 0.5 * (fed + left))
    # with the rod out or in, the other side still holds the air of the stroke before, or breathes
    vent = left if use.cylinder.double_acting else use.p_atm
    if way >= len(use.draws):
        vent = use.fed(0, 1.0, before_stroke(use, context, 0)) + use.p_atm
    time = actuation(stroke, line, line, source, vent, use.p_atm, context.season.temperature).time
    return np.where(at.worst("up")[0] < 1.0, time, np.inf)


def swings(context: Context) -> dict[str, Swing]:
    """What a film of a lift's cylinder shows."""
    lifts = {name: spec for name, spec in context.robot.mechanisms.items() if isinstance(spec, Lift)}
    return {name: _filmed(lifted(context, name, spec)) for name, spec in lifts.items()}


def _filmed(at: Lifted) -> Swing:
    reach = math.hypot(*(first(end) - first(start) for start, end in zip(at.spec.pivot, at.spec.arm_pin, strict=True)))
    return Swing(at.spec.cylinder, at.pushes, reach, _raised(at), lambda supply: raising_stroke(at, supply))


def _raised(at: Lifted) -> tuple[Array, Array]:
    """How far the arm is raised along the stroke, from where it lies."""
    places = range(at.along.length.shape[0])
    order = places if at.pushes else reversed(places)
    turned = np.array([float(np.asarray(at.turned(i)).ravel()[0]) for i in order])
    out = np.asarray(at.along.extension).reshape(len(places), -1)[:, 0]
    share = (out if at.pushes else out[-1] - out[::-1]) / float(np.asarray(at.rocker.stroke).ravel()[0])
    return share, np.abs(turned - turned[0])


def raising_stroke(at: Lifted, supply: Real) -> Stroke:
    """Describe the way up as one cylinder on the valve sees it."""
    count, cylinder = at.use.spec.count, at.use.cylinder
    arms = np.maximum(at.along.moment_arm, 1e-4)
    load = (at.balance.demand_out if at.pushes else at.balance.demand_in) / arms / count
    mass = np.clip(reflected_mass(at.arm.inertia, arms).mean(axis=0) / count, 1e-3, 1e3)
    begin, rise = _slope(load, at.low, at.high)
    area, stroke = (cylinder.piston_area, extend_stroke) if at.pushes else (cylinder.ring_area, retract_stroke)
    return stroke(cylinder, mass, begin + at.use.friction(supply, area), rise / cylinder.stroke)


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
            force = max(first(place) for place in np.atleast_1d(drive.push if at.pushes else drive.pull))
            turned, time = abs(first(at.turned(at.high)) - first(at.turned(at.low))), first(raising_time(context, at))
            found[spec.rides] = Actuator(force * lever, 2.0 * turned / time)
    return found


def _rest(at: Lifted) -> Iterator[Outcome]:
    """Tell how it rests when the air is let out, loaded and empty, from anywhere; friction is not counted on."""
    told, downs = [], []
    numbers: dict[str, tuple[Real, str]] = {}
    for load, balance in (("loaded", at.balance), ("empty", at.empty)):
        retracted, extended = rest_torque(at.rocker, balance.passive, 0.0)
        down, up = (retracted, extended) if at.pushes else (extended, retracted)
        downs.append(down)
        lower = f"rests on its lower stop with {{{load}}}"
        if first(down) <= 0:
            lower = f"is lifted off its lower stop with {{{load}}}"
        stop = _hangs_at(at, balance)
        raised = "stays up" if first(up) > 0 else "comes down"
        if first(up) <= 0 and stop is not None:
            raised = f"comes down to {{{load} stop}} from where it lies and stays there"
            numbers[f"{load} stop"] = (stop, "angle")
        told.append((lower, raised))
        numbers[load] = (np.abs(down), "torque")
    if at.spec.carries:
        alike = told[0][0].replace("loaded", "empty") == told[1][0]
        lower = f"{told[0][0]} loaded and {'{empty}' if alike else told[1][0]} empty"
        raised = told[0][1] if told[0][1] == told[1][1] else f"{told[0][1]} loaded and {told[1][1]} empty"
    else:
        lower, raised = told[0]
    text = f"With its air let out, lift '{{name}}' {lower}. Raised, it {raised}: support it before you work on it."
    message = Message(text, "", numbers, {"name": at.name})
    worst = np.minimum(*downs)
    yield Outcome(f"lift.rest.{at.name}", f"lift {at.name}", worst, None, "torque", message, sources=_SOURCES)


def _hangs_at(at: Lifted, balance: Balance) -> float | None:
    """Angle at which bands hold an arm that comes down from the top, nominal; None where nothing does on the way."""
    up = slice(None) if at.pushes else slice(None, None, -1)
    torque = [first(place) for place in balance.passive][up]
    angles = [first(at.turned(place)) for place in range(_POINTS)][up]
    held = [i for i in range(_POINTS - 1) if torque[i] > 0.0 >= torque[i + 1]]
    if not held:
        return None
    i = held[-1]
    share = torque[i] / (torque[i] - torque[i + 1])
    return angles[i] + share * (angles[i + 1] - angles[i])


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
    reach = f" For it {{far}} mm stroke{'s' * (len(far) > 1)} cannot reach." if far else ""
    text = "A {stroke} stroke with {bore} bore does for lift '{name}', with margin {margin} and {air} of free air a "
    text += "cycle"
    numbers = _chosen(best, count, "")
    for choice, what in zip(next_up(trial, best), ("stroke", "bore"), strict=True):
        if _place(choice.stroke) >= 0:
            text += f"; the next {what} up has margin {{{what}_margin}} for {{{what}_air}}"
            numbers |= _chosen(choice, count, f"{what}_")
    message = Message(f"{text}.{reach}", "", numbers, words)
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
    way = 0 if at.pushes else 1
    used = way < len(at.use.draws)
    gauge = max(first(at.use.fed(way, 1.0, before_stroke(at.use, context, way))) if used else 0.0, 1.0)
    task = Task(at.spec.swing, gauge, first(state.p_atm(context)), at.use.efficiency, first(at.spec.friction) / count)
    weights = tuple(replace(w, force=first(w.force) / count) for w in at.arm.weights)
    bands = tuple(replace(b, count=b.count / count) for b in at.arm.bands)
    loaded, empty = (
        [try_candidates(at.rocker, _candidates(at, stroke), task, load, bands) for stroke in STANDARD_STROKES]
        for load in (weights, weights[:1])  # with nothing on the arm its bands hold it up against the way down
    )
    swing, margin, air, fits = (
        [np.concatenate([getattr(trial, name) for trial in each]) for each in (loaded, empty)]
        for name in ("swing", "margin", "air", "fits")
    )
    return Trial(swing[0], np.minimum(*margin), air[0], fits[0] & fits[1])


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
            pressure = pressed(context, spec.cylinder)
            yield from judged(at, pressure)
            yield from timed("lift", name, spec, raising_time(context, at), pressure)
            yield from target(context, name, spec, at.turned(at.high))
            if context.facts:
                yield _sized(context.nominal, name)


def _sized(base: Context, name: str) -> Outcome:
    """The cylinder that would do, found once for all batches."""
    spec = base.robot.mechanisms[name]
    if not isinstance(spec, Lift):
        raise TypeError(f"{name} is no lift")
    return base.once(("lift size", name), lambda: size(base, lifted(base, name, spec)))
