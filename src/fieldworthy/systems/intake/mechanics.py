"""The stages of an intake as they run: speed of each under the load of all that share its motor."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.system import Context
from fieldworthy.physics.contact import handover, rolling
from fieldworthy.physics.contact.handover import hook_spacing
from fieldworthy.physics.contact.rolling import loaded_speed
from fieldworthy.physics.motors import chain
from fieldworthy.physics.motors.motor import Controller, GearStage, MotorLine, limit_torque, train
from fieldworthy.physics.statics.support import STANDARD_GRAVITY
from fieldworthy.robot.model.machine import MotorUse
from fieldworthy.systems.intake.model import Intake, IntakeStage
from fieldworthy.vehicle.drivetrain import motor_line

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
    if stage.chain is not None:
        gears.append(GearStage(stage.chain.teeth[1] / stage.chain.teeth[0], stage.chain.efficiency))
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
