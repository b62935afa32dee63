"""What driving the plan takes out of motors and battery: effective current, heat and charge."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.engine.system import systems
from fieldworthy.physics.motors.driving import Draw, as_straight, move_draw
from fieldworthy.physics.motors.motion import Load, move, speed_curve
from fieldworthy.physics.motors.motor import Controller, operating_point, torque_current
from fieldworthy.physics.motors.thermal import Derating, HeatPath, Temperatures, Winding, over_phases
from fieldworthy.robot.model.catalogue import MotorClass
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import stacked
from fieldworthy.vehicle.drivetrain import Drive, motor_line, motor_loads, picked, robot_battery, together
from fieldworthy.vehicle.schedule import Beat

_SUB_STEPS = 8  # of each phase, in which the controller's cutting back stands still


@dataclass(frozen=True, slots=True)
class DriveUse:
    """What driving the plan takes.

    Attributes
    ----------
    hottest : Highest winding temperature; infinite in cases in which the drive cannot go a way of the plan [K]
    end : After the last phase [K]
    path : Of one motor [SI]
    charge : Out of the battery, for the drive; infinite in the same cases [C]
    lowest_voltage : At its terminals with every drive motor at its bound [V]
    clock : When each phase of the plan ends, from the start of the match [s]
    winding : Winding temperature then [K]
    stuck : In which cases that is so
    """

    hottest: Array
    end: Temperatures
    path: HeatPath
    charge: Array
    lowest_voltage: Array
    clock: Array
    winding: Array
    stuck: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class _Ways:
    """Ways of the plan that are driven, or turned, in one pose: which beats, how far [m or rad], what part in time."""

    load: Load
    lever: Real
    beats: tuple[int, ...]
    amounts: tuple[float, ...]
    parts: tuple[float, ...]

    @property
    def mean(self) -> float:
        """Mean of the ways."""
        return sum(self.amounts) / len(self.amounts)


def _ways(context: Context, beats: Sequence[Beat], usual: str) -> list[_Ways]:
    """Sort the beats by pose and kind; a turn on the spot is a straight move of the rims, scrub included."""
    found = []
    for pose in dict.fromkeys(beat.pose or usual for beat in beats):
        performance = state.performance(context, pose)
        rims = as_straight(performance.line, performance.yaw, context.robot.drive.braking)
        mine = [(i, beat) for i, beat in enumerate(beats) if (beat.pose or usual) == pose]
        straight = [(i, beat.distance, beat.driven) for i, beat in mine if beat.distance > 0]
        turned = [(i, beat.turn, beat.driven) for i, beat in mine if beat.turn > 0]
        for load, lever, some in ((performance.load, 1.0, straight), (rims, performance.yaw.rim_lever, turned)):
            if some:
                found.append(_Ways(load, lever, *zip(*some, strict=True)))
    return found


def _drawn(drive: Drive, loads: Sequence[Load], distances: Sequence[Real]) -> Draw:
    """Charge and squared current of several moves, moves leading; braking feeds nothing back into the battery."""
    load, far = together(loads), stacked(distances)
    lined = far[:, None] if far.ndim < np.ndim(load.mass) else far
    return move_draw(drive.train, load, move(drive.line, load, lined))


def _costs(context: Context, ways: Sequence[_Ways]) -> Iterator[tuple[_Ways, list[Real], Real]]:
    """What each of the ways costs: squared current of each, and charge of all together.

    Over the cases the mean move is costed, and the others in the proportion that they have nominally.
    """
    drawn = _drawn(state.drivetrain(context), [way.load for way in ways], [way.mean * way.lever for way in ways])
    plain = [(picked(way.load), first(way.lever), (way.mean, *way.amounts)) for way in ways]
    each = [(load, lever * far) for load, lever, amounts in plain for far in amounts]
    alone = _drawn(state.drivetrain(context.nominal), *zip(*each, strict=True))
    squares, charges = np.maximum(alone.square, 1e-9), np.maximum(alone.charge, 1e-9)
    start = 0
    for way, square, charge in zip(ways, drawn.square, drawn.charge, strict=True):
        mean, mine = start, slice(start + 1, start + 1 + len(way.amounts))
        parts = np.array(way.parts)
        shares = (squares[mine] * parts / squares[mean]).tolist()
        whole = float((charges[mine] * parts).sum() / charges[mean])
        yield way, [square * share for share in shares], charge * whole
        start = mine.stop


def drive_use(context: Context) -> DriveUse | None:
    """Follow heat and charge of the drive along the plan.

    Notes
    -----
    Each beat is two phases: the way there, with the effective (root mean square) current of its turn and its move,
    and the action, in which the drive rests. Times are nominal. Within 2 % of the rise that the equations of motion
    and of the two lumps of heat give when they are integrated together.
    """
    beats = state.driven_beats(context)
    usual = state.driving_pose(context)
    if not beats or usual is None:
        return None
    heat: list[Real] = [0.0 for _ in beats]
    charge: Real = 0.0
    ways = _ways(context, beats, usual)
    for way, squares, drawn in _costs(context, ways) if ways else ():
        charge = charge + drawn
        for i, square in zip(way.beats, squares, strict=True):
            heat[i] = heat[i] + square
    use = _warmed(context, _phases(context, beats, heat), np.asarray(charge))
    stuck = np.asarray(False)
    for way in ways:
        stuck = stuck | ~speed_curve(state.drivetrain(context).line, way.load).starts
    if not np.any(stuck):
        return use
    # what little such a robot does of the plan is no measure of what it would take
    return replace(use, hottest=np.where(stuck, np.inf, use.hottest), charge=np.where(stuck, np.inf, use.charge),
                   stuck=stuck)  # fmt: skip


def _phases(
    context: Context, beats: Sequence[Beat], heat: Sequence[Real], working: Sequence[Real] | None = None
) -> list[tuple[float, Real]]:
    """Durations and effective currents of ways and actions; what is left of the match after the last beat is rest."""
    found: list[tuple[float, Real]] = []
    now = 0.0
    for beat, square, current in zip(beats, heat, working or [0.0] * len(beats), strict=True):
        way = beat.arrives - beat.leaves
        rest = beat.leaves - now
        if rest > 0:
            found.append((rest, 0.0))
        if way > 0:
            found.append((way, np.sqrt(square / way)))
        if beat.driven == 1.0 and beat.ends > beat.begins:
            found.append((beat.ends - beat.begins, current))
        now = beat.ends if beat.driven == 1.0 else beat.arrives
    periods = context.nominal.season.periods
    left = first(periods.autonomous) + first(periods.driven) - now
    return [*found, (left, 0.0)] if left > 0 else found


def heat_path(kind: MotorClass) -> HeatPath:
    """Take a motor's heat capacities and resistances from its class."""
    return HeatPath(kind.winding_heat_capacity, kind.case_heat_capacity, kind.winding_to_case, kind.case_to_air)


@dataclass(frozen=True, slots=True)
class SharedUse:
    """What the plan asks of a motor that several mechanisms share.

    Attributes
    ----------
    action : The action that asks most of it
    load : What its mechanisms ask of it together then, as a share of stall torque
    hottest : Highest winding temperature [K]
    clock, winding : When each phase ends, from the start of the match [s], and the winding's temperature then [K]
    """

    action: str
    load: Real
    hottest: Array
    clock: Array
    winding: Array


def shared_use(context: Context, name: str) -> SharedUse | None:
    """Follow the heat of a shared motor along the plan: what each of its mechanisms asks of it adds up."""
    robot, beats = context.robot, state.schedule(context)
    group = (name, robot.motors[name].motor)
    loads = {action: motor_loads(robot, action).get(group, 0.0) for action in dict.fromkeys(b.action for b in beats)}
    hardest = max(loads, key=lambda action: first(loads[action]), default=None)
    if hardest is None or first(loads[hardest]) <= 0.0:
        return None
    kind = robot.catalogue.motors[group[1]]
    line = motor_line(kind)
    currents = {
        action: np.where(np.asarray(load) > 0.0, torque_current(
            load * line.stall_torque, line.torque_constant, line.free_current), 0.0)
        for action, load in loads.items()
    }  # fmt: skip
    phases = _phases(context, beats, [0.0] * len(beats), [currents[beat.action] for beat in beats])
    warm = state.start_temperature(context)
    run = over_phases(
        heat_path(kind), Winding(line.resistance), Temperatures(warm, warm), context.season.temperature, phases,
        _guard(kind), _SUB_STEPS,
    )  # fmt: skip
    clock = np.cumsum([float(first(duration)) for duration, _ in phases])
    return SharedUse(hardest, loads[hardest], run.hottest, clock, run.winding)


@dataclass(frozen=True, slots=True)
class StatedLoad:
    """What actions say that a mechanism asks of its motors, and what its checks compute.

    Attributes
    ----------
    action : The action that states most
    stated : That share of the torque at stall [-]
    computed : The most that is computed, at the worst point, as a share of the same [-]
    """

    action: str
    stated: Real
    computed: Real


def stated_loads(context: Context) -> dict[str, StatedLoad]:
    """By mechanism, the load of its motors that heat, battery and match go by, beside the computed one."""
    robot = context.robot
    stated = {
        name: max(acts, key=lambda act: first(act[1]))
        for name in robot.mechanisms
        if (acts := [(act, done.motors[name]) for act, done in robot.actions.items() if name in done.motors])
    }
    found: dict[str, StatedLoad] = {}
    for load in (load for system in systems() for load in system.turned(context)):
        if load.mechanism in stated:
            shared = robot.motors.get(load.motor)
            kind = robot.catalogue.motors[load.motor if shared is None else shared.motor]
            computed = load.torque / kind.stall_torque
            if (other := found.get(load.mechanism)) is not None:
                computed = np.maximum(computed, other.computed)
            found[load.mechanism] = StatedLoad(*stated[load.mechanism], computed)
    return found


def _guard(kind: MotorClass) -> Derating:
    """What the controller of a class of motor allows as it gets hot."""
    return Derating(kind.current_limit, tuple(s.above for s in kind.derating), tuple(s.factor for s in kind.derating))


def _warmed(context: Context, phases: Sequence[tuple[Real, Real]], charge: Array) -> DriveUse:
    robot = context.robot
    kind = robot.catalogue.motors[robot.drive.motor]
    line, path = motor_line(kind), heat_path(kind)
    warm = state.start_temperature(context)
    start = Temperatures(warm, warm)
    run = over_phases(path, Winding(line.resistance), start, context.season.temperature, phases, _guard(kind), 1)
    stalled = operating_point(
        line, Controller(kind.current_limit, kind.power_cap), robot_battery(robot), float(robot.drive.motors), 0.0
    )
    clock = np.cumsum([float(first(duration)) for duration, _ in phases])
    voltage = np.asarray(stalled.voltage)
    return DriveUse(run.hottest, run.end, path, charge, voltage, clock, run.winding, np.asarray(False))
