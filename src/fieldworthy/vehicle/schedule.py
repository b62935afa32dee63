"""The match plan written out: which action happens where and when, if everything goes as planned."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from fieldworthy.engine.finding import first
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Repeat, Season, Step

PAUSE = 5.0
"""A driver whose robot cannot move tries it for this long, its motors stalled, before the next action; who would take
longer for a way drives on until the whistle [s]; common practice, no source."""
_LONGEST = 400  # beats; a plan of two minutes has far fewer
Travel = Callable[[str | None, float, float], float]


@dataclass(frozen=True, slots=True)
class Beat:
    """One action of the plan at its time.

    Attributes
    ----------
    action, place : Their names
    came_from : Place before
    pose : How the robot travels there; None for the usual way
    distance, turn : Straight way from there, and the turn before it, nominal [m, rad]
    leaves : When it sets off, from the start of the match, nominal [s]
    begins, ends : From the start of the match, nominal [s]
    period : ``autonomous``, ``driven`` or ``finish``
    driven : Share of the way for which the whistle leaves time [-]; its action is done only where that is all of it
    """

    action: str
    place: str
    came_from: str
    pose: str | None
    distance: float
    turn: float
    leaves: float
    begins: float
    ends: float
    period: str
    driven: float = 1.0

    @property
    def arrives(self) -> float:
        """When its way is over, or the whistle ends it [s]."""
        return self.leaves + self.driven * (self.begins - self.leaves) if self.driven < 1.0 else self.begins


@dataclass(frozen=True, slots=True)
class Written:
    """The plan written out, as far as it can be driven.

    Attributes
    ----------
    beats : What is done, in order
    stuck : The first way that the drive cannot go, though there was time for it; None where it can go all of them
    turns : Whether the robot cannot turn there; else it cannot drive straight
    late : Ways so slow that the whistle ends them, whatever a driver hoped
    """

    beats: tuple[Beat, ...]
    stuck: Beat | None = None
    turns: bool = False
    late: tuple[Beat, ...] = ()


def objects_taken(robot: Robot, season: Season, items: Iterable[Step | Repeat]) -> dict[str, str]:
    """Find what each action picks up: what the file says, else what the next scoring action of the plan needs."""
    taken: dict[str, str] = {}
    lists = [(item,) if isinstance(item, Step) else item.repeat for item in items]
    steps = [step for each in lists for step in (*each, *each)]
    for i, step in enumerate(steps):
        action = robot.actions[step.action]
        if action.takes and step.action not in taken:
            kind = action.object or _next_scored(robot, season, steps[i + 1 :])
            if kind is not None:
                taken[step.action] = kind
    return taken


def _next_scored(robot: Robot, season: Season, rest: Sequence[Step]) -> str | None:
    tasks = (robot.actions[step.action].task for step in rest)
    return next((season.tasks[t].object for t in tasks if t is not None and season.tasks[t].object is not None), None)


def carried_at_start(robot: Robot, kind: str) -> float:
    """How many objects of a kind are on board when the match starts."""
    starts = [pose for pose in robot.poses.values() if pose.use == "start"]
    return float(sum(load.count for pose in starts[:1] for load in pose.carries.values() if load.object == kind))


@dataclass(slots=True)
class _Objects:
    """What is on board and what there is left to take while every try works, by kind."""

    robot: Robot
    season: Season
    taken: dict[str, str]
    aboard: dict[str, float]
    left: dict[str, float]

    @classmethod
    def at_start(cls, robot: Robot, season: Season) -> _Objects:
        """What the match starts with."""
        plan = robot.plan
        items = (*plan.autonomous, *plan.driven, *plan.finish_steps) if plan else ()
        taken = objects_taken(robot, season, items)
        supply = {kind: season.objects[kind].supply for kind in taken.values()}
        left = {kind: math.inf if some is None else float(some) for kind, some in supply.items()}
        return cls(robot, season, taken, {kind: carried_at_start(robot, kind) for kind in left}, left)

    def scored(self, name: str) -> str | None:
        """The kind that an action scores, if the plan takes any of it."""
        task = self.robot.actions[name].task
        kind = None if task is None else self.season.tasks[task].object
        return kind if kind in self.left else None

    def nothing_for(self, name: str) -> bool:
        """Whether a driver sees that there is nothing to score or to take."""
        scored, taken = self.scored(name), self.taken.get(name)
        return (scored is not None and self.aboard[scored] <= 0.0) or (taken is not None and self.left[taken] <= 0.0)

    def handle(self, name: str) -> None:
        """Let go of what an action scores and take what it takes."""
        action, scored, taken = self.robot.actions[name], self.scored(name), self.taken.get(name)
        if scored is not None and action.task is not None:
            number = action.objects if self.season.tasks[action.task].per == "each" else 1
            self.aboard[scored] -= min(float(number), self.aboard[scored])
        if taken is not None:
            got = min(float(action.takes), self.left[taken])
            self.aboard[taken] += got
            self.left[taken] -= got


def way_between(season: Season, a: str, b: str) -> tuple[float, float]:
    """Measure the straight way between two places of the field."""
    (xa, ya), (xb, yb) = season.field.places[a], season.field.places[b]
    dx, dy = first(xb) - first(xa), first(yb) - first(ya)
    return math.hypot(dx, dy), math.atan2(dy, dx)


def least_turn(before: float, after: float) -> float:
    """Find the turn between two ways when a robot may also drive the second one backwards."""
    angle = abs(math.remainder(after - before, 2.0 * math.pi))
    return min(angle, math.pi - angle)


def squaring_times(robot: Robot) -> dict[str, float]:
    """Time at each place in the autonomous period in which the robot drives up to a wall to find its place anew."""
    found = dict[str, float]()
    for fix in robot.tracking.relocations if robot.tracking else ():
        found[fix.at] = found.get(fix.at, 0.0) + (0.0 if fix.time is None else first(fix.time))
    return found


def legs_of(robot: Robot, season: Season) -> list[tuple[str | None, float, float]]:
    """List the legs that a plan can ask for: pose, distance and turn, whatever the times turn out to be."""
    clock = _Clock(robot, season, lambda _pose, _distance, _turn: 0.0, robot.plan.start if robot.plan else "")
    steps: list[Step] = []
    for item in (*robot.plan.autonomous, *robot.plan.driven) if robot.plan else ():
        # twice through a repeated list covers the way back to its beginning
        steps += [item] if isinstance(item, Step) else [*item.repeat, *item.repeat]
    steps += robot.plan.finish.steps if robot.plan and robot.plan.finish else ()
    beats = [clock.beat(step, "") for step in steps]
    return [(beat.pose, beat.distance, beat.turn) for beat in beats if beat.distance > 0.0]


@dataclass(slots=True)
class _Clock:
    """Where the robot is, and when."""

    robot: Robot
    season: Season
    travel: Travel
    place: str
    now: float = 0.0
    heading: float = 0.0
    stuck: Beat | None = None
    objects: _Objects | None = None
    late: list[Beat] = field(default_factory=list)

    def state(self) -> tuple[str, float, float]:
        """Place, time and heading: what the next repeat begins with."""
        return self.place, self.now, self.heading

    def beat(self, step: Step, period: str) -> Beat:
        """Drive to a step's place and do its action."""
        action = self.robot.actions[step.action]
        way, direction = way_between(self.season, self.place, step.at)
        turn = least_turn(self.heading, direction) if way > 0 else 0.0
        leaves = self.now
        begins = leaves + (self.travel(action.pose, way, turn) if way > 0 else 0.0)
        if period == "autonomous" and way > 0:
            begins += squaring_times(self.robot).get(step.at, 0.0)
        ends = begins + first(action.time)
        made = Beat(step.action, step.at, self.place, action.pose, way, turn, leaves, begins, ends, period)
        self.place, self.now = step.at, ends
        self.heading = direction if way > 0 else self.heading
        return made


def written_out(robot: Robot, season: Season, travel: Travel) -> Written:
    """Write the plan out as it would go if nothing failed.

    As in the forecast a driver skips what finds nothing on board to score or nothing left to take; a program does not.
    """
    plan = robot.plan
    if plan is None:
        return Written(())
    clock = _Clock(robot, season, travel, plan.start)
    clock.objects = _Objects.at_start(robot, season)
    autonomous = first(season.periods.autonomous)
    end = autonomous + first(season.periods.driven)
    reserve = end - (first(plan.finish.reserve) if plan.finish else 0.0)
    beats = list(_period(clock, plan.autonomous, "autonomous", 0.0, autonomous))
    clock.now = max(clock.now, autonomous)
    beats += _period(clock, plan.driven, "driven", autonomous, reserve)
    if plan.finish:
        beats += _period(clock, plan.finish.steps, "finish", autonomous, end)
    stuck = clock.stuck
    turns = stuck is not None and math.isfinite(travel(stuck.pose, stuck.distance, 0.0))
    return Written(tuple(beats), stuck, turns, tuple(clock.late))


def _period(clock: _Clock, steps: tuple[Step | Repeat, ...], period: str, begins: float, end: float) -> Iterator[Beat]:
    objects = clock.objects
    for step in _unrolled(clock, steps, begins):
        if objects is not None and period != "autonomous" and objects.nothing_for(step.action):
            continue
        before = clock.state()
        beat = clock.beat(step, period)
        if beat.ends > end:
            clock.place, clock.now, clock.heading = before
            if clock.stuck is None and math.isinf(beat.begins):
                clock.stuck = beat
            way = beat.begins - beat.leaves
            if PAUSE < way < math.inf and beat.leaves < end:
                clock.late.append(replace(beat, driven=min((end - beat.leaves) / way, 1.0 - 1e-9)))
                clock.now = end
            return
        if objects is not None:
            objects.handle(step.action)
        yield beat


def _unrolled(clock: _Clock, steps: tuple[Step | Repeat, ...], begins: float) -> Iterator[Step]:
    for item in steps:
        if isinstance(item, Step):
            yield item
            continue
        rounds = 0
        until = math.inf if item.until is None else begins + first(item.until)
        while clock.now < until and rounds < (item.times or _LONGEST):
            rounds += 1
            yield from item.repeat
