"""Turns a robot, its season and its plan into the flat arrays that the compiled loop reads."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.errors import Error
from fieldworthy.match.state import MOST_ROUNDS, NONE, Numbers, Structure, Whole
from fieldworthy.physics.chance.chance import posterior
from fieldworthy.physics.motors.driving import as_straight
from fieldworthy.physics.motors.motion import Load, brake_deceleration, drive_line
from fieldworthy.physics.statics.support import STANDARD_GRAVITY
from fieldworthy.robot.model.catalogue import MotorClass
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Action, Plan, Repeat, Season, Step
from fieldworthy.vehicle import state
from fieldworthy.vehicle.drivetrain import motor_line, motor_loads, powertrain, robot_battery
from fieldworthy.vehicle.schedule import carried_at_start, objects_taken, squaring_times, way_between
from fieldworthy.vehicle.supply import use_of

Part = Literal["whole", "autonomous", "driven", "solo"]
PARTS: tuple[Part, ...] = get_args(Part)
PERIODS = ("autonomous", "driven", "finish")
_UNLIMITED = 1e9


class CannotPlay(Error):
    """A robot that a match cannot be forecast for: which key lacks, and what was expected there."""

    def __init__(self, key: tuple[str, ...], expected: str, *, season: bool = False) -> None:
        self.key, self.expected, self.season = key, expected, season
        super().__init__(expected)


@dataclass(frozen=True, slots=True)
class Setup:
    """A match as arrays, with the names that their rows stand for.

    Attributes
    ----------
    structure : The same in every case
    numbers : Over cases
    part : Which part of the match is played
    actions, places, tanks, motors, tasks, kinds : Names by index
    unpractised : Actions of the plan without practice counts; they are taken to work every time
    finish : Steps of the finish
    """

    structure: Structure
    numbers: Numbers
    part: Part
    actions: tuple[str, ...]
    places: tuple[str, ...]
    tanks: tuple[str, ...]
    motors: tuple[str, ...]
    tasks: tuple[str, ...]
    kinds: tuple[str, ...]
    unpractised: tuple[str, ...]
    finish: tuple[int, ...]

    @property
    def cases(self) -> int:
        """How many cases the numbers hold."""
        return int(self.numbers.drive.shape[0])


def setup(context: Context, part: Part = "whole", cases: int = 1) -> Setup:
    """Turn a robot in a season into the arrays of a match."""
    plan = _playable(context, part)
    robot, season = context.robot, context.season
    usual = str(state.driving_pose(context))
    items = _items(plan, part)
    steps = [step for _, item in items for step in _steps(item)]
    actions = tuple(dict.fromkeys(step.action for step in steps))
    places = tuple(dict.fromkeys([plan.start, *(step.at for step in steps)]))
    poses = tuple(dict.fromkeys(robot.actions[a].pose or usual for a in actions))
    workers = _workers(robot, actions)
    motors = tuple(dict.fromkeys(motor for _, motor, _ in workers))
    ways = [(name, i) for name in robot.air.cylinders for i in range(len(use_of(context, name).draws))]
    used = [robot.actions[a] for a in actions]
    tasks = tuple(dict.fromkeys(a.task for a in used if a.task is not None))
    kinds = _kinds(robot, season, items)
    entries = [[w for w in workers if w[0] == a] for a in actions]
    table, until, period = _program(items, season, part, plan)
    draw, draws = _spans([[ways.index(w) for w in _draws(a, ways)] for a in used])
    work, worker = _spans([[1 + motors.index(m) for _, m, _ in mine] for mine in entries])
    squaring = squaring_times(robot)
    structure = Structure(
        step=_whole([(actions.index(s.action), places.index(s.at)) for s in steps], 2),
        item=table,
        until=until,
        period=period,
        start=0,
        distance=np.array([[way_between(season, a, b)[0] for b in places] for a in places]),
        direction=np.array([[way_between(season, a, b)[1] for b in places] for a in places]),
        squaring=np.array([squaring.get(a, 0.0) for a in places]),
        action=_whole([_action(robot.actions[a], season, (poses, usual, tasks), kinds, a) for a in actions], 6),
        chance=np.array([_chance(robot, season, a) for a in used]).reshape(-1, 3),
        key=np.array([_streams(a, robot.actions[a]) for a in actions], dtype=np.uint64).reshape(-1, 2),
        draw=draw,
        draws=draws,
        work=work,
        worker=worker,
        way_tank=_whole([list(robot.air.tanks).index(robot.air.cylinders[n].tank) for n, _ in ways]),
        points=np.array([_task(season, t) for t in tasks]).reshape(-1, 3),
        stock=np.array([_stock(robot, season, k) for k in kinds.names]).reshape(-1, 2),
    )
    load = [w[2] for mine in entries for w in mine]
    names = (actions, places, tuple(robot.air.tanks), ("drive", *(m for m, _ in motors)), tasks, kinds.names)
    return Setup(
        structure, _numbers(context, cases, poses, (used, motors, ways, load)), part, *names,
        tuple(n for n, a in zip(actions, used, strict=True) if a.practice is None),
        tuple(range(len(steps) - len(plan.finish_steps), len(steps)))
        if part != "autonomous" else (),
    )  # fmt: skip


def unbuilt(robot: Robot, season: Season, action: Action) -> bool:
    """Whether a mechanism that does part of the action's task has work left to be done on it."""
    if action.task is None:
        return False
    needs = set(season.tasks[action.task].needs)
    return any(
        mechanism.build_time is not None and first(mechanism.build_time) > 0.0 and set(mechanism.can) & needs
        for mechanism in robot.mechanisms.values()
    )


def with_ability(match: Setup, able: Mapping[str, Real]) -> Setup:
    """Say in which cases the mechanism of an action can do it at all: 1 where it can, else 0."""
    table = match.numbers.time.copy()
    for action, can in able.items():
        if action in match.actions:
            table[:, match.actions.index(action), 2] = can
    return dataclasses.replace(match, numbers=match.numbers._replace(time=table))


def with_plan(match: Setup, plan: Plan, season: Season) -> Setup:
    """Play another order of the actions and places that a match was set up for."""
    items = _items(plan, match.part)
    table, until, period = _program(items, season, match.part, plan)
    steps = [step for _, item in items for step in _steps(item)]
    rows = [(match.actions.index(s.action), match.places.index(s.at)) for s in steps]
    structure = match.structure._replace(
        step=_whole(rows, 2), item=table, until=until, period=period, start=match.places.index(plan.start)
    )
    last = len(plan.finish_steps) if match.part != "autonomous" else 0
    return dataclasses.replace(match, structure=structure, finish=tuple(range(len(steps) - last, len(steps))))


def with_chance(match: Setup, action: str, chance: float) -> Setup:
    """Give one action a chance of success that is known."""
    table = match.structure.chance.copy()
    table[match.actions.index(action), 2] = chance
    return dataclasses.replace(match, structure=match.structure._replace(chance=table))


def _playable(context: Context, part: Part) -> Plan:
    robot, periods = context.robot, context.season.periods
    if robot.plan is None:
        raise CannotPlay(("plan",), "this key is missing: a match as the team means to play it")
    if not robot.parts or state.driving_pose(context) is None:
        lacks = "poses" if robot.parts else "parts"
        raise CannotPlay((lacks,), "this key is missing: without parts and a pose no travel times are known")
    if part == "solo" and periods.solo is None:
        raise CannotPlay(
            ("periods", "solo"), "this key is missing: how long a run alone on the field lasts", season=True
        )
    plan = robot.plan.alone if part == "solo" else robot.plan
    if not _items(plan, part):
        key = ("plan", "autonomous") if part == "autonomous" else ("plan",)
        raise CannotPlay(key, f"expected steps for the part that is asked for: {part}")
    return plan


def _items(plan: Plan, part: Part) -> list[tuple[int, Step | Repeat]]:
    lists: tuple[Sequence[Step | Repeat], ...] = (
        plan.autonomous if part in ("whole", "autonomous") else (),
        plan.driven if part != "autonomous" else (),
        plan.finish_steps if part != "autonomous" else (),
    )
    return [(period, item) for period, items in enumerate(lists) for item in items]


def _steps(item: Step | Repeat) -> tuple[Step, ...]:
    return (item,) if isinstance(item, Step) else item.repeat


def _program(
    items: list[tuple[int, Step | Repeat]], season: Season, part: Part, plan: Plan
) -> tuple[Whole, Array, Array]:
    """Items with their rounds and ends, and the periods as the part has them."""
    autonomous, driven = first(season.periods.autonomous), first(season.periods.driven)
    begin = autonomous if part == "whole" else 0.0
    end = first(season.periods.solo or 0.0) if part == "solo" else begin + driven
    turn = end - first(plan.finish.reserve) if plan.finish else end
    period = np.array([[0.0, autonomous, 0.0], [begin, turn, 1.0 if plan.finish else 0.0], [begin, end, 0.0]])
    rows, until, at = [], [], 0
    for when, item in items:
        repeated = isinstance(item, Repeat)
        rounds = min(item.times or MOST_ROUNDS, MOST_ROUNDS) if isinstance(item, Repeat) else 1
        rows.append((when, at, len(_steps(item)), rounds))
        stop = item.until if isinstance(item, Repeat) else None
        until.append(np.inf if not repeated or stop is None else period[when, 0] + first(stop))
        at += len(_steps(item))
    return _whole(rows, 4), np.array(until, dtype=float), period


@dataclass(frozen=True, slots=True)
class _Kinds:
    """Objects that the plan takes, and which of them each action takes."""

    names: tuple[str, ...]
    taken: dict[str, str]


def _kinds(robot: Robot, season: Season, items: Iterable[tuple[int, Step | Repeat]]) -> _Kinds:
    """Find the kinds of objects that the plan takes."""
    taken = objects_taken(robot, season, [item for _, item in items])
    return _Kinds(tuple(dict.fromkeys(taken.values())), taken)


def _action(action: Action, season: Season, index: tuple[tuple[str, ...], str, tuple[str, ...]], kinds: _Kinds,
            name: str) -> tuple[int, ...]:  # fmt: skip
    poses, usual, tasks = index
    task = NONE if action.task is None else tasks.index(action.task)
    scored = None if action.task is None else season.tasks[action.task].object
    taken = kinds.taken.get(name)
    return (
        poses.index(action.pose or usual),
        task,
        action.objects if action.task is not None and season.tasks[action.task].per == "each" else 1,
        kinds.names.index(scored) if scored in kinds.names else NONE,
        action.takes if taken else 0,
        kinds.names.index(taken) if taken else NONE,
    )


def _chance(robot: Robot, season: Season, action: Action) -> tuple[float, float, float]:
    if action.practice is None:
        # of a mechanism that is not built yet nothing is known: any chance is as likely as any other
        return 1.0, 1.0, -1.0 if unbuilt(robot, season, action) else 1.0
    belief = posterior(float(action.practice.successes), float(action.practice.attempts))
    return float(belief.a), float(belief.b), -1.0


def _streams(name: str, action: Action) -> tuple[int, int]:
    """The numbers of an action's two random streams, of single tries and of its true chance.

    Variants that share an action share the luck of its tries. They share its true chance only where the same tries
    tell of it: what two mechanisms showed in practice of their own is no more alike than the tries were.
    """
    practice = action.practice
    told = name if practice is None else f"{name} {practice.successes:g} {practice.attempts:g}"
    tries, chance = (
        int.from_bytes(hashlib.blake2b(text.encode(), digest_size=8).digest(), "little") for text in (name, told)
    )
    return tries, chance


def _draws(action: Action, ways: list[tuple[str, int]]) -> list[tuple[str, int]]:
    """Out and back of each cylinder as often as it strokes."""
    return [way for name, strokes in action.strokes.items() for way in [w for w in ways if w[0] == name] * strokes]


def _task(season: Season, name: str) -> tuple[float, float, float]:
    task = season.tasks[name]
    held = None if task.structure is None else season.structures[task.structure].holds
    most = min((float(some) for some in (task.most, held) if some is not None), default=_UNLIMITED)
    return task.points, task.autonomous_bonus, min(most, 1.0) if task.per == "once" else most


def _stock(robot: Robot, season: Season, kind: str) -> tuple[float, float]:
    supply = season.objects[kind].supply
    return carried_at_start(robot, kind), _UNLIMITED if supply is None else float(supply)


_Worker = tuple[str, tuple[str, str], Real]


def _workers(robot: Robot, actions: Sequence[str]) -> list[_Worker]:
    """Action, motors with whose they are and their class, and load of every group of motors that an action uses."""
    return [(name, group, share) for name in actions for group, share in motor_loads(robot, name).items()]


def _whole(rows: Sequence[object], width: int = 0) -> Whole:
    table = np.array(rows, dtype=np.int64)
    return table.reshape(-1, width) if width else table.reshape(-1)


def _spans(lists: Sequence[Sequence[int]]) -> tuple[Whole, Whole]:
    """First and number of each of several lists, and all of them in one."""
    ends = np.cumsum([0, *(len(entry) for entry in lists)])
    table = np.stack([ends[:-1], np.diff(ends)], axis=1).astype(np.int64)
    return table, _whole([v for entry in lists for v in entry])


_Used = tuple[list[Action], tuple[tuple[str, str], ...], list[tuple[str, int]], list[Real]]


def _numbers(context: Context, cases: int, poses: tuple[str, ...], used: _Used) -> Numbers:
    actions, workers, ways, load = used
    robot = context.robot
    kinds = [robot.catalogue.motors[m] for m in (robot.drive.motor, *(motor for _, motor in workers))]
    groups = robot.all_motors()
    counts = [robot.drive.motors, *(groups[worker] for worker in workers)]
    above, factor = _derating(cases, kinds)
    lines, loads = _drive(context, cases, poses, np.minimum.accumulate(factor[:, 0], axis=-1))
    battery, train = robot_battery(robot), powertrain(robot).wheels
    capacity = robot.catalogue.batteries[robot.battery].capacity
    gearing = train.train.ratio / train.radius
    circuits = [state.circuits(context)[name] for name in robot.air.tanks]
    needs = [use_of(context, name).draws[way] for name, way in ways]
    start = state.start_temperature(context)
    return Numbers(
        _row(cases, [battery.open_voltage, battery.resistance, capacity, gearing, train.train.efficiency,
                       context.season.temperature, state.p_atm(context)]),
        lines,
        loads,
        _row(cases, [state.performance(context, pose).yaw.rim_lever for pose in poses]),
        _rows(cases, [_motor(kind, count, start) for kind, count in zip(kinds, counts, strict=True)], 13),
        above,
        factor,
        _rows(cases, [[c.volume, c.p_charge, c.p_set, c.leak] for c in circuits], 4),
        _rows(cases, [[d.V_before, d.V_after, d.p_need] for d in needs], 3),
        _rows(cases, [[a.time, a.spread, 1.0] for a in actions], 3),
        _row(cases, load),
    )  # fmt: skip


def _row(cases: int, values: Sequence[Real]) -> Array:
    """Numbers or arrays over cases as one array of shape (cases, k)."""
    flat = [np.broadcast_to(np.asarray(value, dtype=float), (cases,)) for value in values]
    return np.ascontiguousarray(np.stack(flat, axis=1)) if flat else np.zeros((cases, 0))


def _rows(cases: int, rows: Sequence[Sequence[Real]], width: int) -> Array:
    return _row(cases, [value for row in rows for value in row]).reshape(cases, len(rows), width)


def _motor(kind: MotorClass, count: int, start: Real) -> list[Real]:
    line = motor_line(kind)
    return [
        kind.winding_heat_capacity, kind.case_heat_capacity, kind.winding_to_case, kind.case_to_air, line.resistance,
        line.torque_constant, line.voltage_constant, line.free_current, kind.current_limit, kind.power_cap,
        line.stall_torque, float(count), start,
    ]  # fmt: skip


def _derating(cases: int, kinds: Sequence[MotorClass]) -> tuple[Array, Array]:
    """Thresholds and factors of every motor; thresholds that a sample puts out of order are brought into it."""
    deep = max(len(kind.derating) for kind in kinds)
    above, factor = np.full((cases, len(kinds), deep), np.inf), np.ones((cases, len(kinds), deep))
    for i, kind in enumerate(kinds):
        for j, step in enumerate(kind.derating):
            above[:, i, j], factor[:, i, j] = step.above, step.factor
    return np.maximum.accumulate(above, axis=-1), factor


def _drive(context: Context, cases: int, poses: Sequence[str], left: Array) -> tuple[Array, Array]:
    """Force lines and loads at each level of derating; level 0 is the one that the findings stand on."""
    robot = context.robot
    shares: list[Real] = [1.0, *left.T]
    lines, loads = [], []
    train = powertrain(robot)
    for share in shares:
        held = dataclasses.replace(train.controller, current_limit=train.controller.current_limit * share)
        line = drive_line(dataclasses.replace(train, controller=held))
        lines.append(_row(cases, [line.stall_force, line.slope, line.force_limit, line.power_limit]))
        for pose in poses:
            performance = state.performance(context, pose)
            by_motors = brake_deceleration(line, performance.load, np.inf, robot.drive.braking)
            # grip and tipping bound the stop as before; motors that are cut back may bound it further
            stop = np.maximum(np.minimum(by_motors, performance.load.deceleration), 0.01 * STANDARD_GRAVITY)
            straight = dataclasses.replace(performance.load, deceleration=stop)
            for load in (straight, as_straight(line, performance.yaw, robot.drive.braking)):
                loads.append(_row(cases, _moved(load)))
    shape = (cases, len(shares), len(poses), 2, 5)
    return np.ascontiguousarray(np.stack(lines, axis=1)), np.ascontiguousarray(np.stack(loads, axis=1)).reshape(shape)


def _moved(load: Load) -> list[Real]:
    return [load.mass, load.rotating_mass, load.resistance, load.grip_acceleration, load.deceleration]
