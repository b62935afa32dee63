"""The intake over cases: its stages, their motors and chains, and the way of an object."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TypeAlias

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, Worked, called, first, unknown
from fieldworthy.physics.contact import handover, rolling
from fieldworthy.physics.contact.handover import hook_spacing
from fieldworthy.physics.contact.rolling import loaded_speed
from fieldworthy.physics.motors import chain
from fieldworthy.physics.motors.motor import Controller, GearStage, MotorLine, limit_torque, train
from fieldworthy.physics.statics.support import STANDARD_GRAVITY
from fieldworthy.robot.model.machine import MotorUse
from fieldworthy.systems.intake.model import Belt, Chain, Hooks, Intake, IntakeStage
from fieldworthy.vehicle.drivetrain import motor_line

ChainDrive: TypeAlias = Chain | Belt
_AXES = {"length": 0, "width": 1, "height": 2}


@dataclass(frozen=True, slots=True)
class Motor:
    """The motors that turn one stage or several.

    Attributes
    ----------
    line, controller : Of one motor [SI]
    count : How many turn together
    """

    line: MotorLine
    controller: Controller
    count: int

    @property
    def limit(self) -> Real:
        """Torque of all of them at standstill, within the current limit [N m]."""
        return limit_torque(self.line, self.controller) * self.count


@dataclass(frozen=True, slots=True)
class Running:
    """One stage as it runs.

    Attributes
    ----------
    name : Of the stage
    spec : As the file gives it
    surface : Ratio, radius, squeeze and forces [SI]
    motor : What turns it
    asked : Torque that all stages on this motor ask of it [N m]
    free, turning : Speed of its shaft without load and under load [rad/s]
    speed : Of an object that it carries, 0 where it stalls or slips [m/s]
    """

    name: str
    spec: IntakeStage
    surface: rolling.Stage
    motor: Motor
    asked: Real
    free: Real
    turning: Real
    speed: Real


@dataclass(frozen=True, slots=True)
class Row:
    """An intake as it runs.

    Attributes
    ----------
    name : Of the mechanism
    spec : As the file gives it
    length, height : Of an object, along the path and upright [m]
    across : Of an object, across the path [m]
    mass : Of an object [kg]
    ball : Whether it is a ball, which rolls and touches a roller at one point
    stages : In order
    """

    name: str
    spec: Intake
    length: Real
    height: Real
    across: Real
    mass: Real
    ball: bool
    stages: dict[str, Running]

    def speeds(self) -> Array:
        """Stack the speeds of objects, stages on the leading axis."""
        return np.stack(np.broadcast_arrays(*[np.asarray(s.speed, dtype=float) for s in self.stages.values()]))

    def pairs(self) -> list[tuple[Running, Running]]:
        """List the neighbours."""
        row = list(self.stages.values())
        return list(pairwise(row))

    def closest(self, stage: Running) -> Real:
        """Least distance nose to nose in a stage: pieces that touch, or one on each hook."""
        hooks = stage.spec.hooks
        if hooks is None:
            return self.length
        return np.maximum(hook_spacing(chain.SIZES[hooks.chain.size].pitch, float(hooks.links_between)), self.length)

    def lengths(self) -> Array:
        """Stack these distances, stages on the leading axis as in `speeds`."""
        like = self.speeds()
        return np.stack([np.broadcast_to(self.closest(s), like.shape[1:]) for s in self.stages.values()])

    def spacing(self, stage: Running) -> Real:
        """Distance nose to nose in a stage at the wanted throughput; as close as can be where none is wanted."""
        wanted, least = self.spec.throughput, self.closest(stage)
        return least if wanted is None else np.maximum(stage.speed / wanted, least)

    def held(self, here: Running, there: Running) -> Real:
        """Way over which two neighbours hold the same object; negative where neither does."""
        distance = here.spec.to_next
        assert distance is not None, "every stage but the last has its distance"
        return handover.overlap(0.5 * (self._held(here) + self._held(there)), distance)

    def _held(self, stage: Running) -> Real:
        if not self.ball or stage.spec.hooks is not None:
            return self.length
        return np.maximum(rolling.held_length(stage.surface.radius, stage.surface.squeeze, self.length), 1e-4)

    def coasts(self, here: Running, there: Running) -> Real:
        """How far an object coasts on from where a stage lets go of it, towards the next."""
        soft, slopes = here.spec.rollers, (here.spec.climb, there.spec.climb)
        gap = np.maximum(-self.held(here, there), 0.0)
        if not self.ball:
            friction = soft.guide_friction if soft is not None else 0.25
            return handover.coast_reach(here.speed, gap, slopes, friction)
        # one that slid begins to roll, and keeps 5/7 of its speed
        speed = here.speed * np.where(np.asarray(here.surface.share) < 0.75, 1.0, 5.0 / 7.0)
        return handover.coast_reach(speed, gap, slopes, 0.0, 0.4)


def row_of(context: Context, name: str) -> Row:
    """Run an intake."""
    return context.once(("intake", name), lambda: _row(context, name))


def _row(context: Context, name: str) -> Row:
    spec = context.robot.mechanisms[name]
    assert isinstance(spec, Intake), f"{name} is no intake"
    thing = context.season.objects[spec.object]
    axis = _AXES[spec.along]
    across = thing.size[0] if axis == 1 else thing.size[1]
    surfaces = {n: _surface(s, thing.mass, ball=thing.shape == "ball") for n, s in spec.stages.items()}
    motors = {n: _motor(context, s) for n, s in spec.stages.items() if s.motor is not None}
    drivers = {n: spec.driver(n) for n in spec.stages}
    stages = run(spec, surfaces, motors, drivers)
    height = thing.size[2 if axis != 2 else 0]
    return Row(name, spec, thing.size[axis], height, across, thing.mass, thing.shape == "ball", stages)


def run(
    spec: Intake, surfaces: dict[str, rolling.Stage], motors: dict[str, Motor], drivers: dict[str, str]
) -> dict[str, Running]:
    """Find every stage's speed under the load of all stages on its motor, an object in each."""
    found = {}
    for name, surface in surfaces.items():
        driver = drivers[name]
        motor = motors[driver]
        asked: Real = sum((rolling.load_torque(surfaces[n]) for n, d in drivers.items() if d == driver), start=0.0)
        speed = loaded_speed(motor.line, motor.controller, asked / motor.count)
        free = motor.line.free_speed / surface.ratio
        carried = rolling.object_speed(surface, speed)
        found[name] = Running(name, spec.stages[name], surface, motor, asked, free, speed / surface.ratio, carried)
    return found


def geared_even(row: Row) -> Row:
    """Gear the first stage down (or up) until its free surface runs as fast as that of the second."""
    stages = list(row.stages.values())
    first, second = stages[0], stages[1]
    by = surface_ratio(first, second)
    surfaces = {s.name: s.surface for s in stages}
    surfaces[first.name] = replace(first.surface, ratio=first.surface.ratio * by)
    drivers = {n: row.spec.driver(n) for n in row.stages}
    motors = {s.name: s.motor for s in stages}
    return replace(row, stages=run(row.spec, surfaces, motors, drivers))


def surface_ratio(first: Running, second: Running) -> Real:
    """Compare the free surface speeds of two stages."""
    return rolling.surface_speed(first.surface, first.free * first.surface.ratio) / rolling.surface_speed(
        second.surface, second.free * second.surface.ratio
    )


def _motor(context: Context, stage: IntakeStage) -> Motor:
    use = context.robot.motor(MotorUse(motor=str(stage.motor), count=stage.motors))
    kind = context.robot.catalogue.motors[use.motor]
    return Motor(motor_line(kind), Controller(kind.current_limit, kind.power_cap), use.count)


def _surface(stage: IntakeStage, mass: Real, *, ball: bool) -> rolling.Stage:
    gears = [GearStage(g.driven / g.driver, g.efficiency) for g in stage.gearing]
    if (loop := stage.chain or stage.belt) is not None:
        gears.append(GearStage(loop.teeth[1] / loop.teeth[0], loop.efficiency))
    hooks, soft = stage.hooks, stage.rollers
    uphill = mass * STANDARD_GRAVITY * np.sin(stage.climb)
    if hooks is not None:
        whole = train([*gears, GearStage(1.0, hooks.chain.efficiency)])
        # a turn of the sprocket draws in a link for each tooth
        drawn = chain.SIZES[hooks.chain.size].pitch * hooks.chain.teeth[0] / (2.0 * np.pi)
        # hooks do not slip: as if they pressed with just what they carry, at a friction of one
        load = np.maximum(hooks.load + uphill, 0.0)
        return rolling.Stage(whole.ratio, whole.efficiency, drawn, 0.0, load, 1.0, load)
    assert soft is not None, "a stage has rollers or hooks"
    whole = train(gears)
    radius = soft.diameter / 2.0
    # a sample may not reach the shaft; the nominal squeeze is checked when the file is read
    squeeze = np.minimum(soft.squeeze, 0.95 * radius)
    if soft.against == "rollers":
        # both sides grip and flex, and nothing rubs
        both = rolling.drag(soft.press, 0.0, 2.0 * soft.flexing, uphill)
        return rolling.Stage(whole.ratio, whole.efficiency, radius, squeeze, soft.press, 2.0 * soft.friction, both)
    drag = rolling.drag(soft.press, soft.guide_friction, soft.flexing, uphill)
    slides = rolling.Stage(whole.ratio, whole.efficiency, radius, squeeze, soft.press, soft.friction, drag)
    return rolling.rolling(slides, soft.guide_friction, soft.flexing, uphill) if ball else slides


_SOURCES = ("iso606", "shigley")


def chains(context: Context, row: Row, stage: Running) -> Iterator[Outcome]:
    """Judge the chains of one stage."""
    subject, ending = f"{row.name}, stage {stage.name}", f"{row.name}.{stage.name}"
    whose = f"stage '{stage.name}'"
    loop = stage.spec.chain or stage.spec.belt
    if loop is not None:
        word = f"drive {'belt' if loop.kind.belt else 'chain'} of {whose}"
        yield from _chain(loop, word, subject, ending)
        yield from _tubing(strung_of(stage, hooked=False), word, subject, ending)
    carrier = stage.spec.hooks
    if carrier is not None:
        yield from _chain(carrier.chain, f"hooked chain of {whose}", subject, f"{ending}.hooks")
        yield from _tubing(strung_of(stage, hooked=True), f"hooked chain of {whose}", subject, f"{ending}.hooks")
        yield from _pickup(row, stage, carrier, subject)
        yield from _clearance(row, carrier, swept_of(context, row, carrier), (subject, ending))


def links_of(spec: ChainDrive) -> float:
    """Links or teeth that a chain or belt has, or that a team would build it with."""
    if spec.count is not None:
        return float(spec.count)
    return max(first(spec.whole_links(spec.centre)), float(spec.fewest))  # a variant may set the shafts too close


def _chain(spec: ChainDrive, word: str, subject: str, ending: str) -> Iterator[Outcome]:
    size, (a, b) = spec.kind, spec.teeth
    pitch, belt = size.pitch, size.belt
    touching = chain.pitch_radius(pitch, a, belt=belt) + chain.pitch_radius(pitch, b, belt=belt)
    words = {"word": word, "size": spec.size, "small": str(min(a, b)), "unit": "teeth" if belt else "links",
             "wheels": "pulleys" if belt else "sprockets"}  # fmt: skip
    sources = ("iso5296", "practice") if belt else _SOURCES
    numbers: dict[str, tuple[Real, str]] = {"centre": (spec.centre, "length"), "touching": (touching, "length")}
    message = Message("The shafts of the {word} are {centre} apart; its {wheels} clear each other from {touching}.",
                      "The shafts of the {word} are {centre} apart: its {wheels} touch below {touching}.",
                      numbers, words)  # fmt: skip
    yield Outcome(
        f"intake.chain_centre.{ending}", subject, spec.centre, touching, "length", message, sources=sources[:1]
    )
    taut, links = chain.length(pitch, a, b, spec.centre, belt=belt), links_of(spec)
    built = chain.centre_distance(pitch, a, b, links, belt=belt)
    lies = chain.wrapped_teeth(pitch, min(a, b), max(a, b), spec.centre, belt=belt)
    numbers = {"taut": (taut, "count"), "links": (links, "count"), "built": (built, "length"),
               "uneven": (chain.speed_variation(float(min(a, b))), "share"), "pitch": (pitch, "length"),
               "lies": (np.floor(lies + 1e-9), "count")}  # fmt: skip
    if spec.count is None:
        text = "The {word} ({size}) goes {taut} {unit} round: build it with {links}, just taut at {built}"
    else:
        text = "The {word} ({size}) has {links} {unit} and goes {taut} round; it would be just taut at {built}"
    small = "Of the {small} teeth of its smaller pulley {lies} lie in the belt" if belt else (
        "On {small} teeth its speed swings by {uneven}"
    )  # fmt: skip
    yield Outcome(f"intake.chain_built.{ending}", subject, built, None, "length",
                  Message(f"{text}. {small}.", "", numbers, words),
                  sources=sources[:1] if belt else (*sources, "jiang"))  # fmt: skip
    if spec.count is not None:
        short = "The {word} ({size}) has {links} {unit} but goes {taut} round: too short; it would fit at {built}."
        message = Message("The {word} ({size}) has {links} {unit} and goes {taut} round.", short, numbers, words)
        yield Outcome(
            f"intake.chain_links.{ending}", subject, links, taut, "ratio", message, scale=2.0, sources=sources
        )
    yield _tensioner(spec, word, subject, ending)


def _slackened(spec: ChainDrive, wear: Real) -> tuple[Real, Real]:
    """Straight run, and what the chain or belt has to spare once it has grown by so much."""
    size, (a, b) = spec.kind, spec.teeth
    taut = chain.length(size.pitch, a, b, spec.centre, belt=size.belt)
    loose = chain.slack(size.pitch, taut, links_of(spec), wear)
    return np.maximum(chain.span(size.pitch, a, b, spec.centre, belt=size.belt), 1e-3), loose


def _tensioner(spec: ChainDrive, word: str, subject: str, ending: str) -> Outcome:
    run, loose = _slackened(spec, spec.wear)
    travel = chain.tensioner_travel(run, loose)
    has = spec.tensioner_travel
    numbers: dict[str, tuple[Real, str]] = {"travel": (travel, "length"), "has": (has, "length"),
               "loose": (np.maximum(loose, 0.0), "length"), "wear": (spec.wear, "share")}  # fmt: skip
    message = Message(
        "Worn by {wear}, the {word} is {loose} too long; its tensioner takes that up with {travel} of its {has}.",
        "Worn by {wear}, the {word} is {loose} too long; to take that up its tensioner needs {travel} and has {has}. "
        "Set the shafts farther apart, or give it more travel.",
        numbers,
        {"word": word},
    )
    return Outcome(f"intake.chain_tension.{ending}", subject, travel, has, "length", message, "at most",
                   scale=np.maximum(has, spec.kind.pitch), sources=("plane-geometry", "practice"))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Strung:
    """A chain or belt whose tensioner elastic tubing pulls, from new to worn.

    Attributes
    ----------
    spec : The chain or belt
    wear : Growth of the chain [-]
    travel : Of the idler [m]
    force : Of the idler across the run [N]
    tension : Of the run that it holds [N]
    run, loose : Straight run, and the slack in it that the idler takes up [m]
    ends : Travel at which the tubing is slack [m]
    pull : Most that the motor gives, over the sprocket that drives [N]
    needed : Tension of the slack run below which the chain climbs the teeth, or the belt jumps [N]
    """

    spec: ChainDrive
    wear: Real
    travel: Real
    force: Real
    tension: Real
    run: Real
    loose: Real
    ends: Real
    pull: Real
    needed: Real


def strung_of(stage: Running, *, hooked: bool, wear: Real | None = None) -> Strung | None:
    """Follow the tubing on a stage's drive chain, or on its hooked one, at its full wear or another."""
    hooks = stage.spec.hooks
    spec = hooks.chain if hooked and hooks is not None else stage.spec.chain or stage.spec.belt
    if spec is None or spec.tubing is None:
        return None
    tubing, wear = spec.tubing, spec.wear if wear is None else wear
    pitch, (a, b) = spec.kind.pitch, spec.teeth
    run, loose = _slackened(spec, wear)
    travel = chain.tensioner_travel(run, loose)
    left = np.maximum(tubing.stretch - travel * tubing.lever, 0.0)
    force = tubing.stiffness * tubing.strands * left * tubing.lever
    pull = _driving_torque(stage, hooked=hooked) / chain.pitch_radius(pitch, a, belt=spec.kind.belt)
    needed = chain.BELT_SHARE * pull
    if not spec.kind.belt:
        on = ((z, chain.wrapped_teeth(pitch, z, other, spec.centre)) for z, other in ((a, b), (b, a)))
        at_a, at_b = (chain.slack_needed(pull, z, wrapped) for z, wrapped in on)
        needed = np.maximum(at_a, at_b)
    tension = chain.run_tension(force, run, loose)
    return Strung(spec, wear, travel, force, tension, run, loose, tubing.stretch / tubing.lever, pull, needed)


def _driving_torque(stage: Running, *, hooked: bool) -> Real:
    """Most that the motor gives at the sprocket that drives a stage's chain."""
    gears = [GearStage(g.driven / g.driver, g.efficiency) for g in stage.spec.gearing]
    drive = stage.spec.chain or stage.spec.belt
    if hooked and drive is not None:
        gears.append(GearStage(drive.teeth[1] / drive.teeth[0], drive.efficiency))
    whole = train(gears) if gears else None
    return stage.motor.limit * (1.0 if whole is None else whole.ratio * whole.efficiency)


def _held(worn: Strung) -> Worked:
    """The tension of the slack run, with its numbers."""
    numbers: dict[str, tuple[Real, str]] = {
        "F": (worn.force, "force"), "T": (worn.tension, "force"), "h": (worn.travel, "length"),
        "S": (worn.run, "length"), "e": (worn.loose, "length"),
    }  # fmt: skip
    return Worked("idler", numbers)


def _tubing(worn: Strung | None, word: str, subject: str, ending: str) -> Iterator[Outcome]:
    """Whether tubing takes up the wear, and holds the slack run when the motor gives all that it has."""
    if worn is None:
        return
    numbers: dict[str, tuple[Real, str]] = {
        "ends": (worn.ends, "length"), "travel": (worn.travel, "length"), "wear": (worn.wear, "share"),
        "force": (worn.force, "force"), "tension": (worn.tension, "force"), "needed": (worn.needed, "force"),
        "pull": (worn.pull, "force"),
    }  # fmt: skip
    belt = worn.spec.kind.belt
    words = {"word": word, "what": "belt" if belt else "chain"}
    text = "The tubing of the {word} goes slack after {ends} of the idler's travel. Worn by {wear}, the {what} takes "
    text += "it {travel} in"
    yield Outcome(f"intake.chain_tubing.{ending}", subject, worn.ends, worn.travel, "length",
                  Message(text + ", where it still pulls with {force}.", text + ". Stretch it more.", numbers, words),
                  scale=np.maximum(worn.travel, 1e-3), sources=("plane-geometry",))  # fmt: skip
    held = "Worn by {wear}, the idler holds the slack run of the {word} with {tension}"
    if not np.isfinite(first(worn.tension)):
        held = "Even worn by {wear}, the {word} has no slack that its idler could take up"
    climbs = ". When the motor gives all it has, {pull} on the {what}, "
    climbs += "the belt may jump teeth below {needed}, a seventh of that (common practice, no source)" if belt else (
        "the chain climbs the teeth below {needed}"
    )  # fmt: skip
    yield Outcome(f"intake.chain_jump.{ending}", subject, worn.tension, worn.needed, "force",
                  Message(held + climbs + ".",
                          held + climbs + f". More tubing, more of its stretch, or "
                          f"{'larger pulleys help' if belt else 'more teeth helps'}.", numbers, words),
                  scale=np.maximum(worn.needed, 0.1),
                  sources=("practice" if belt else "chain_handbook", "meriam_statics"),
                  worked=() if not np.isfinite(first(worn.tension)) else (_held(worn),))  # fmt: skip
    gives = np.minimum(worn.tension, worn.pull)
    numbers = {"gives": (gives, "force"), "pull": (worn.pull, "force")}
    text = "Braked or turned the other way, the {word} pulls on its idler. From {gives} on it pushes the idler out and "
    text += "hangs slack on the other side"
    if first(gives) >= first(worn.pull):
        text = "Braked or turned the other way, the {word} does not push its idler out: all that the motor gives is "
        text += "{pull} on the {what}"
    yield Outcome(f"intake.chain_braked.{ending}", subject, gives, None, "force",
                  Message(text + ".", "", numbers, words), sources=("meriam_statics",))  # fmt: skip


def _pickup(row: Row, stage: Running, carrier: Hooks, subject: str) -> Iterator[Outcome]:
    """The window between two hooks, and the rate at which they pass."""
    pitch, ending = chain.SIZES[carrier.chain.size].pitch, f"{row.name}.{stage.name}"
    spacing = handover.hook_spacing(pitch, float(carrier.links_between))
    opening = handover.window(spacing, carrier.thickness, row.length, stage.speed * carrier.entry_time)
    chance = handover.random_chance(opening, spacing)
    count = handover.hook_count(links_of(carrier.chain), float(carrier.links_between))
    numbers: dict[str, tuple[Real, str]] = {
        "opening": (opening, "length"), "spacing": (spacing, "length"), "chance": (chance, "share"),
        "wanted": (carrier.first_try, "share"), "count": (count, "count"), "speed": (stage.speed, "speed"),
    }  # fmt: skip
    words = {"stage": f"stage '{stage.name}' of {called('intake', row.name)}"}
    message = Message(
        "{stage} takes a piece in at the first try {chance} of the time; {wanted} is wanted. Its {count} hooks pass "
        "{spacing} apart at {speed} and leave a window of {opening}.",
        "{stage} takes a piece in at the first try only {chance} of the time; {wanted} is wanted. Its {count} hooks "
        "pass {spacing} apart at {speed} and leave a window of {opening}. Space the hooks wider or run slower.",
        numbers,
        words,
    )
    yield Outcome(
        f"intake.hooks_window.{ending}", subject, chance, carrier.first_try, "ratio", message, sources=("practice",)
    )
    rate = handover.passing_frequency(stage.speed, row.closest(stage))
    wanted = row.spec.throughput
    if wanted is not None:
        numbers = {"rate": (rate, "count"), "wanted": (wanted, "count")}
        each = "hooks a second, with one piece on each"
        if first(spacing) < first(row.length):
            each = "pieces a second, which are longer than its hooks are apart"
        message = Message(f"{{stage}} brings {{rate}} {each}; {{wanted}} pieces a second are wanted.",
                          f"{{stage}} brings only {{rate}} {each}; {{wanted}} pieces a second are wanted.",
                          numbers, words)  # fmt: skip
        yield Outcome(
            f"intake.hooks_rate.{ending}", subject, rate, wanted, "frequency", message, sources=("continuity",)
        )


@dataclass(frozen=True, slots=True)
class Held:
    """Where the pieces lie that hooks pass over.

    Attributes
    ----------
    base : Height of what they lie on [m]
    floor : Length and width between its walls; None without walls [m]
    """

    base: Real
    floor: tuple[Real, Real] | None


def holder_of(context: Context, carrier: Hooks) -> Held:
    """Find where the pieces lie: on the hopper's floor, or on or in an object that is carried."""
    if carrier.held_in is None:
        return Held(0.0, carrier.hopper)
    thing = context.season.objects[carrier.held_in.object]
    base = carrier.held_in.lift + np.maximum(thing.size[2] - carrier.held_in.depth, 0.0)
    inside = (thing.size[0], thing.size[1]) if first(carrier.held_in.depth) > 0.0 else None
    return Held(base, carrier.hopper or (inside if carrier.nested is None else None))


@dataclass(frozen=True, slots=True)
class Swept:
    """Hooks on their way over the pieces already carried.

    Attributes
    ----------
    held : Where the pieces lie
    shaft, tip : Height of the lower shaft; reach of a hook's tip round it [m]
    room, pile : Between what they lie on and the hooks, the gap kept clear taken off; height of the pieces [m]
    nested : What each further piece of a stack adds [m]
    """

    held: Held
    shaft: Real
    tip: Real
    room: Real
    pile: Real
    nested: Real


def swept_of(context: Context, row: Row, carrier: Hooks) -> Swept | None:
    """Follow the hooks' tips over the pieces already carried; None without the height of the lower shaft."""
    if carrier.shaft_height is None:
        return None
    held = holder_of(context, carrier)
    tip = handover.tip_radius(chain.SIZES[carrier.chain.size].pitch, carrier.chain.teeth[1], carrier.height)
    nested = row.height if carrier.nested is None else carrier.nested
    pile = handover.stack_height(float(carrier.carried), row.height, nested)
    if held.floor is not None:
        size = row.length, row.across, row.height
        pile = handover.heap_height(float(carrier.carried), size, held.floor, ball=row.ball)
    room = carrier.shaft_height - tip - carrier.clearance - held.base
    return Swept(held, carrier.shaft_height, tip, room, pile, nested)


def _clearance(row: Row, carrier: Hooks, swept: Swept | None, where: tuple[str, str]) -> Iterator[Outcome]:
    """Hook tips over the pieces already carried."""
    subject, ending = where
    if swept is None:
        because = (
            f"Whether the hooks of {called('intake', row.name)} clear the pieces already carried is not known "
            f"without the "
            "height of the lower shaft."
        )
        key = f"mechanisms.{row.name}.stages.{ending.removeprefix(row.name + '.')}.hooks.shaft_height"
        yield unknown("intake.hooks_clearance", subject, "length", because, (key,))
        return
    held, room, pile = swept.held, swept.room, swept.pile
    cleared = handover.pieces_cleared(np.maximum(room, 0.0), row.height, swept.nested)
    numbers: dict[str, tuple[Real, str]] = {
        "room": (room, "length"), "pile": (pile, "length"), "cleared": (cleared, "count"),
        "gap": (carrier.clearance, "length"), "tip": (swept.tip, "length"), "base": (held.base, "length"),
    }  # fmt: skip
    how = "in a heap" if held.floor is not None else "in a stack, enough for {cleared}"
    if carrier.held_in is not None:
        how += f" {'in' if first(carrier.held_in.depth) > 0.0 else 'on'} the {carrier.held_in.object}, {{base}} up"
    message = Message(
        f"The hooks of {{intake}} sweep {{tip}} round the lower shaft and leave {{room}} below them ({{gap}} kept "
        f"clear). There {{pieces}} pieces lie {how}, {{pile}} high. Five or six must fit: common practice, no source.",
        "The hooks of {intake} hit the pieces already carried: they sweep {tip} round the lower shaft and leave {room} "
        "below them ({gap} kept clear), and {pieces} pieces are {pile} high. Five or six must fit (common practice, no "
        "source). Raise the shaft or shorten the hooks.",
        numbers,
        {"pieces": str(carrier.carried), "intake": called("intake", row.name)},
    )
    yield Outcome(f"intake.hooks_clearance.{ending}", subject, room, pile, "length", message, scale=row.height,
                  sources=("iso606", "packing", "practice"))  # fmt: skip
