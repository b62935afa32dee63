"""A climber on its bar: the side view of the robot with its hooks drawn down, and how it hangs there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.engine.system import Actuator, MotorLoad, RodLoad
from fieldworthy.physics.gas.tank import after_leak
from fieldworthy.physics.motors.motor import Controller, GearStage, operating_point, train
from fieldworthy.physics.statics.hanging import (
    Hang,
    LiftRamp,
    Wall,
    critical_hook_x,
    drum_force,
    free_attitude,
    hang,
    lift_off,
    lift_ramp,
    lowest_point,
    rest_attitude,
    standing_attitude,
    turned,
)
from fieldworthy.physics.statics.support import STANDARD_GRAVITY
from fieldworthy.robot.model.machine import CHASSIS, Move, Pose
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.climb.model import Climber, CylinderLift, MotorLift
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import Group, aligned, outline_in, stacked
from fieldworthy.vehicle.drivetrain import motor_line, robot_battery
from fieldworthy.vehicle.stance import floor_contacts
from fieldworthy.vehicle.supply import AirUse, air_along_plan, stroke_time, unused, use_of


@dataclass(frozen=True, slots=True)
class Pull:
    """What a climber pulls with.

    Attributes
    ----------
    hook_force : At the hooks, losses taken off [N]
    when : With which air or battery, in words; ``{gauge}`` stands for the pressure
    gauge : Gauge pressure that it pulls with [Pa]; None for motors
    drum : Of motors: how many, torque of each [N m], turns of one for a turn of the drum, efficiency, radius [m]
    """

    hook_force: Real
    when: str
    gauge: Real | None = None
    drum: tuple[Real, Real, Real, Real, Real] | None = None


def travel_of(context: Context, spec: Climber) -> Real:
    """How far the hooks are drawn down."""
    if isinstance(spec.lift, MotorLift):
        return spec.lift.travel
    kind = context.robot.catalogue.cylinders[context.robot.air.cylinders[spec.lift.cylinder].cylinder]
    return kind.stroke * spec.lift.ratio


def lifting_force(context: Context, spec: Climber) -> Pull:
    """Find the force at the hooks, with the air that the plan leaves or at motor stall with the battery's sag."""
    if isinstance(spec.lift, MotorLift):
        return _motors(context, spec, spec.lift)
    use, gauge, when = _air(context, spec.lift)
    return Pull(_by_cylinder(use, spec.lift, gauge), when, gauge)


def _air(context: Context, lift: CylinderLift) -> tuple[AirUse, Real, str]:
    """The lifting cylinder and the lowest pressure that the plan leaves its working stroke."""
    use, plan = use_of(context, lift.cylinder), air_along_plan(context)
    way = 0 if lift.working == "out" else 1
    if lift.cylinder in plan.lowest:
        return use, plan.lowest[lift.cylinder][way].gauge, "on the {gauge} that is left"
    full = np.minimum(use.circuit.p_charge, use.circuit.p_set) - state.p_atm(context)
    return use, full, f"on {{gauge}}, a full tank, for the plan {unused(context, lift.cylinder)}"


def _by_cylinder(use: AirUse, lift: CylinderLift, gauge: Real) -> Real:
    area = use.cylinder.piston_area if lift.working == "out" else use.cylinder.ring_area
    rods = use.spec.count * (use.efficiency * gauge * area - _spring(use, lift))
    return np.maximum(rods, 0.0) * lift.efficiency / lift.ratio


def _spring(use: AirUse, lift: CylinderLift) -> Real:
    return use.cylinder.spring_force(use.cylinder.stroke) if lift.working == "out" else 0.0


def _motors(context: Context, spec: Climber, lift: MotorLift) -> Pull:
    robot, use = context.robot, context.robot.motor(spec.motors[0])
    kind = robot.catalogue.motors[use.motor]
    gears = train([GearStage(s.driven / s.driver, s.efficiency) for s in lift.stages])
    bounds = Controller(kind.current_limit, kind.power_cap)
    stalled = operating_point(motor_line(kind), bounds, robot_battery(robot), float(use.count), 0.0)
    drum = (use.count, stalled.torque, gears.ratio, gears.efficiency * lift.efficiency, lift.drum_radius)
    return Pull(drum_force(*drum), "at stall, the battery's sag counted", drum=drum)


def actuators(context: Context) -> dict[str, Actuator]:
    """What draws the hooks down: force on a full tank or at stall; twice the mean speed, or the free one of motors."""
    found = {}
    for spec in context.robot.mechanisms.values():
        if not isinstance(spec, Climber) or spec.rides == CHASSIS:
            continue
        if isinstance(spec.lift, MotorLift):
            use = context.robot.motor(spec.motors[0])
            ratio = train([GearStage(s.driven / s.driver, s.efficiency) for s in spec.lift.stages]).ratio
            speed = context.robot.catalogue.motors[use.motor].free_speed / ratio * spec.lift.drum_radius
            found[spec.rides] = Actuator(first(_motors(context, spec, spec.lift).hook_force), first(speed))
        else:
            air = use_of(context, spec.lift.cylinder)
            full = np.minimum(air.circuit.p_charge, air.circuit.p_set) - state.p_atm(context)
            # late in the plan it may not move at all
            fresh = Context(replace(context.robot, plan=None), context.season)
            time = stroke_time(fresh, spec.lift.cylinder, 0 if spec.lift.working == "out" else 1)
            speed = 2.0 * travel_of(context, spec) / time
            found[spec.rides] = Actuator(first(_by_cylinder(air, spec.lift, full)), first(speed))
    return found


def turned_motors(context: Context) -> Iterator[MotorLoad]:
    """What every climber on motors asks of them: the most that lifts the robot off the floor, till it hangs."""
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, Climber) and isinstance(spec.lift, MotorLift) and context.robot.parts:
            use = context.robot.motor(spec.motors[0])
            gears = train([GearStage(s.driven / s.driver, s.efficiency) for s in spec.lift.stages])
            gain = use.count * gears.ratio * gears.efficiency * spec.lift.efficiency / spec.lift.drum_radius
            yield MotorLoad(name, spec.motors[0].motor, _ramp(context, spec)[0].force.max(axis=0) / gain)


def held_later(context: Context, spec: Climber) -> Real:
    """Find the force that is left after it has hung for a while without power."""
    if isinstance(spec.lift, MotorLift):
        return 0.0
    use, gauge, _ = _air(context, spec.lift)
    left = after_leak(state.p_atm(context) + gauge, spec.hold, use.circuit.leak, state.p_atm(context)) - state.p_atm(
        context
    )
    return _by_cylinder(use, spec.lift, left)


def rods(context: Context) -> Iterator[RodLoad]:
    """What every climber on cylinders asks of its rods: the most that lifts the robot off the floor, till it hangs."""
    for spec in context.robot.mechanisms.values():
        if isinstance(spec, Climber) and isinstance(spec.lift, CylinderLift) and context.robot.parts:
            force = _ramp(context, spec)[0].force.max(axis=0) * spec.lift.ratio / spec.lift.efficiency
            yield RodLoad.moved(spec.lift.cylinder, 0 if spec.lift.working == "out" else 1, force)


_WAY = 5  # stations of the hooks from leaving the floor to the end of their travel
_HALVINGS = 12  # of the travel, to find where the last wheels leave
_STATIONS = 9  # the same, for the centre of gravity over the contact: least at one of the two ends, but for rounding
_STEPS = 7  # attitudes between standing level and hanging; the force is smooth in between
_DIRECTIONS = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
_NEAR = 0.02  # m; a part this far inside the robot's outline is never its lowest, whatever the tolerances


@dataclass(frozen=True, slots=True)
class Way:
    """How it turns while the hooks are drawn down, always at rest.

    Attributes
    ----------
    drawn : How far the hooks are drawn down when the last wheels leave the floor [m]; all the way where they never do
    leaving : Attitude then [rad]
    steepest : The largest attitude on the way, with its sign [rad]
    """

    drawn: Array
    leaving: Array
    steepest: Array


@dataclass(frozen=True, slots=True)
class Hung:
    """A climber on its bar, the hooks drawn all the way down.

    Attributes
    ----------
    name : Of the mechanism
    spec : As the file gives it [SI]
    weight : Weight of the robot [N]
    cg : Centre of gravity in the side view [m]
    hook : Where the hooks touch the bar, in the robot [m]
    bar : Height of that contact over the floor [m]
    ramp : From the floor to hanging free, the hooks not drawn down yet [rad, m, N]
    first_off : Contact that lifts first, nominal: +1 front, -1 rear, 0 both
    stands : Forward position of the contact that lifts last [m]
    travel : How far the hooks are drawn down [m]
    """

    name: str
    spec: Climber
    weight: Real
    cg: Array
    hook: Array
    bar: Real
    ramp: LiftRamp
    first_off: float
    stands: Real
    travel: Real

    @property
    def wall(self) -> Wall:
        """The face that the rest leans on [m, -]; that of the bar itself where there is no rest."""
        rest = self.spec.rest
        return Wall() if rest is None else Wall(rest.ahead, 1.0 if rest.face == "behind" else -1.0)

    def resting(self, shift: Real = 0.0, left: Real = 0.0) -> Hang | None:
        """Find how it hangs with its rest, with some of the hooks' travel left."""
        rest = self.spec.rest
        if rest is None:
            return None
        hook = stacked([self.hook[0] + shift, self.hook[1] + left])
        return hang(self.weight, hook, self.cg, stacked([rest.position[0] + shift, rest.position[1]]), self.wall)

    def attitude(self, left: Real = 0.0) -> Array:
        """Find the attitude in which it hangs, with some of the hooks' travel left."""
        resting = self.resting(left=left)
        free = stacked([self.hook[0], self.hook[1] + left])
        return free_attitude(free, self.cg) if resting is None else resting.attitude

    def way(self) -> Way:
        """Follow it from the floor to the end of the hooks' travel."""
        most = self.travel - np.clip(self.spec.hook[1] - self.bar, 0.0, self.travel)
        turns = np.sign(self.stands - self.hook[0])
        never = turns * (self.attitude() - self._stands_at(0.0)) > 0.0
        low, high = 0.0 * most, most + 0.0 * never  # travel left: hanging at the one, standing at the other
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            stands = turns * (self.attitude(middle) - self._stands_at(middle)) > 0.0
            low, high = np.where(stands, low, middle), np.where(stands, middle, high)
        left = np.where(never, 0.0, high)
        leaving = np.where(never, self._stands_at(0.0), self.attitude(left))
        later = [self.attitude(left * share) for share in np.linspace(0.0, 1.0, _WAY)]
        path = np.where(never, leaving, stacked(later))
        steepest = np.take_along_axis(path, np.argmax(np.abs(path), axis=0)[None], axis=0)[0]
        return Way(np.asarray(self.travel - left), np.asarray(leaving), steepest)

    def _stands_at(self, left: Real) -> Array:
        hook = stacked([self.hook[0] + 0.0 * left, self.hook[1] + left])
        return standing_attitude(hook, stacked([self.stands + 0.0 * left, 0.0 * left]), self.bar)

    def reaches(self) -> bool:
        """Say whether the rest reaches its face at all, nominal."""
        resting = self.resting()
        return resting is not None and first(resting.holds) != 0.0

    def lets_go(self) -> Array:
        """Find the place of the hook at which the rest lets go, at the attitude in which it touches its face."""
        rest = self.spec.rest
        at = 0.0 if rest is None else rest_attitude(self.hook, stacked(rest.position), self.wall)
        return critical_hook_x(self.hook[1], self.cg, at)


@dataclass(frozen=True, slots=True)
class Over:
    """Where its centre of gravity comes nearest to being over the contact on which it still stands.

    Attributes
    ----------
    inside : Level distance from that contact, towards the end that has left the floor [m]; negative where it falls
    level : The same while it stands level [m]
    attitude : Attitude then [rad]
    """

    inside: Array
    level: Array
    attitude: Array


def least_over(context: Context, at: Hung) -> Over:
    """Follow the centre of gravity from standing level to where the contact that lifts last leaves the floor."""
    body = state.body(context, at.spec.pose)  # hooks not drawn down yet: as high as its centre of gravity gets
    leaving = np.clip(at.way().leaving, -0.5 * np.pi, 0.5 * np.pi)
    side = np.where(np.asarray(at.spec.hook[0]) > body.cg[0], 1.0, -1.0)
    cg, contact = stacked([body.cg[0], body.cg[2]]), stacked([at.stands + 0.0 * body.cg[0], 0.0])
    stations = [side * turned(cg, contact, leaving * share)[0] for share in np.linspace(0.0, 1.0, _STATIONS)]
    path = stacked(stations)
    least = np.argmin(path, axis=0)[None]
    inside = np.take_along_axis(path, least, axis=0)[0]
    return Over(inside, path[0], np.asarray(leaving * least[0] / (_STATIONS - 1)))


def hung(context: Context, name: str, spec: Climber) -> Hung:
    """Hang the robot on its bar."""
    body = state.body(context, spec.pose)
    weight = body.mass * STANDARD_GRAVITY
    travel = travel_of(context, spec)
    rides = state.groups(context).get(spec.rides) if spec.rides != CHASSIS else None
    share = 0.0 if rides is None else rides.body.mass / body.mass
    cg = stacked([body.cg[0], body.cg[2] - share * travel])
    hook = stacked([spec.hook[0], spec.hook[1] - travel])
    ramp, off, stands = _ramp(context, spec)
    bar = context.season.structures[spec.structure].height
    return Hung(name, spec, weight, cg, hook, bar, ramp, first(off), stands, travel)


def _ramp(context: Context, spec: Climber) -> tuple[LiftRamp, Array, Real]:
    """From the floor to hanging free, hooks not drawn down yet; which end lifts first, and where the other stands."""
    body = state.body(context, spec.pose)
    weight = body.mass * STANDARD_GRAVITY
    off, stands = _first_off(context, weight, spec.hook[0], body.cg[0])
    hook, cg, contact = aligned([stacked(spec.hook), stacked([body.cg[0], body.cg[2]]), stacked([stands, 0.0])])
    ramp = lift_ramp(weight, hook, cg, contact, _STEPS)
    return ramp, off, stands


def _first_off(context: Context, weight: Real, hook: Real, cg: Real) -> tuple[Array, Real]:
    """Which end lifts first, and where the other one stands."""
    xs = stacked([x for x, _ in floor_contacts(context.robot)])
    rear = xs.min(axis=0)
    front = np.maximum(xs.max(axis=0), rear + 1e-6)  # contacts in one line across stand on a point of the side view
    off = lift_off(weight, hook, cg, front, rear).first
    return off, np.where(off > 0.0, rear, front)


def lowest(context: Context, at: Hung) -> Array:
    """Find how high the lowest point of all hangs: corners of parts, rims of wheels, other contacts and rollers."""
    attitude = at.attitude()
    turning, still = np.sin(attitude), np.cos(attitude)
    found = _lowest_corner(context, at)
    for x, middle, radius in _rims(context.robot):
        height = at.bar + (middle - at.hook[1]) * still - (x - at.hook[0]) * turning - radius
        found = np.minimum(found, height)
    return found


def _rims(robot: Robot) -> Iterator[tuple[Real, Real, Real]]:
    """What touches the floor and need not be a part: place, height of the middle and radius [m]."""
    for wheel in robot.drive.wheels.values():
        radius = robot.catalogue.wheels[wheel.wheel].diameter / 2.0
        yield wheel.position[0], radius, radius
    for contact in robot.contacts.values():
        yield contact.position[0], 0.0, 0.0
    for roller in robot.rollers.values():
        yield roller.position[0], roller.clearance, 0.0


def _lowest_corner(context: Context, at: Hung) -> Array:
    """Find how high the lowest corner of all parts hangs."""
    kept = context.nominal.once(("outer parts", at.name), lambda: _outer_parts(context.nominal, at.name))
    groups = {name: Group(group.body, group.corners[kept[name]]) for name, group in state.groups(context).items()}
    return lowest_point(outline_in(groups, drawn_down(context, at.spec)), at.hook, at.attitude(), at.bar)


def _outer_parts(context: Context, name: str) -> dict[str, npt.NDArray[np.bool_]]:
    """The parts that can be the lowest one at some attitude: those near the outline of the side view."""
    spec = context.robot.mechanisms[name]
    assert isinstance(spec, Climber)
    points = outline_in(state.groups(context), drawn_down(context, spec))
    along = np.outer(points[:, 0], np.cos(_DIRECTIONS)) + np.outer(points[:, 1], np.sin(_DIRECTIONS))
    near = (along > along.max(axis=0) - _NEAR).any(axis=1)
    kept, start = {}, 0
    for group, members in state.groups(context).items():
        count = len(members.corners)
        corners = near[start : start + 4 * count].reshape(4, count).any(axis=0)
        kept[group] = corners if corners.any() else np.arange(count) == 0
        start += 4 * count
    return kept


def drawn_down(context: Context, spec: Climber, by: Real | None = None) -> Pose:
    """Move the hooks' group of the climbing pose down, all the lift's travel or less."""
    travel = travel_of(context, spec) if by is None else by
    pose = context.robot.poses[spec.pose]
    if spec.rides == CHASSIS:
        return pose
    move = pose.moves.get(spec.rides, Move(turn=0.0, pivot=None, shift=None))
    x, y, z = move.shift or (0.0, 0.0, 0.0)
    return replace(pose, moves={**pose.moves, spec.rides: replace(move, shift=(x, y, z - travel))})
