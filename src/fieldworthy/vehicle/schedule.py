"""The match plan written out: which action happens where and when, if everything goes as planned."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from fieldworthy.engine.finding import first
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Repeat, Season, Step

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


@dataclass(frozen=True, slots=True)
class Written:
    """The plan written out, as far as it can be driven.

    Attributes
    ----------
    beats : What is done, in order
    stuck : The first way that the drive cannot go, though there was time for it; None where it can go all of them
    turns : Whether the robot cannot turn there; else it cannot drive straight
    """

    beats: tuple[Beat, ...]
    stuck: Beat | None = None
    turns: bool = False


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
    """Write the plan out as it would go if nothing failed."""
    plan = robot.plan
    if plan is None:
        return Written(())
    clock = _Clock(robot, season, travel, plan.start)
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
    return Written(tuple(beats), stuck, turns)


def _period(clock: _Clock, steps: tuple[Step | Repeat, ...], period: str, begins: float, end: float) -> Iterator[Beat]:
    for step in _unrolled(clock, steps, begins):
        before = clock.state()
        beat = clock.beat(step, period)
        if beat.ends > end:
            clock.place, clock.now, clock.heading = before
            if clock.stuck is None and math.isinf(beat.begins):
                clock.stuck = beat
            return
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
