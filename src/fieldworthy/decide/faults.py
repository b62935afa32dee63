"""Which fault to mend first: the points that each costs in a match."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from fieldworthy.arrays import Array
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases, standard_draws
from fieldworthy.files import BadInput
from fieldworthy.match import CannotPlay, Setup, play_runs, setup
from fieldworthy.match.components import EACH, Size, believed, grouped, middle_95, sized
from fieldworthy.match.forecast import drawn_setup
from fieldworthy.measure.model import FaultLog
from fieldworthy.measure.practice import Risk, risks
from fieldworthy.physics.chance.chance import posterior
from fieldworthy.physics.chance.normal import cdf as normal_cdf
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.robot import Robot
from fieldworthy.units import counted, often

"""Changes only when a reader of the old form would misread the new one."""
_DRAWS = 800  # draws of what is not known, unless more are asked for; more matches are played with each
NOTE = (
    "A try works where practice says so and no fault of the log comes. So leave tries that such a fault spoiled out of "
    "the practice counts."
)


@dataclass(frozen=True, slots=True)
class Fix:
    """One fault and what it costs.

    Attributes
    ----------
    risk : The fault as the log tells it
    actions : Actions of the plan that fail by it
    points : Points a match that it costs; None where the log does not say how often the thing was used
    interval : 95 % interval of those points over what is not known: the chance of the fault, those of the actions, and
        the robot within its tolerances
    because : One sentence
    error : Standard error of those points, from the number of draws; more matches make it smaller
    """

    risk: Risk
    actions: tuple[str, ...]
    points: float | None
    interval: tuple[float, float] | None
    because: str
    error: float | None = None


@dataclass(frozen=True, slots=True)
class FixFirst:
    """Every fault, the one that costs most first.

    Attributes
    ----------
    robot : The robot's name
    runs, seed : Matches played for each, and what fixes them
    points : Mean points of a match with all faults that are not mended
    fixes : What costs most first, then what cannot be reckoned, then what is mended
    note : How chances are put together
    """

    FORMAT: ClassVar[str] = "fieldworthy faults 1"

    robot: str
    runs: int
    seed: int
    points: float
    fixes: tuple[Fix, ...]
    note: str = NOTE


def fix_first(loaded: Loaded, log: FaultLog, runs: int = 2000, seed: int = 0, draws: int = _DRAWS) -> FixFirst:
    """Rank faults by the points that they cost in a match, over so many draws of what is not known at most."""
    found, base = risks(log), _playable(loaded)
    users = {risk.where: _users(loaded.nominal, base, risk.where) for risk in found}
    now, cost = _costs(loaded, log, users, (runs, seed, draws))
    fixes = []
    for risk in found:
        acts, gaps = users[risk.where], cost.get(risk)
        if gaps is None:
            fixes.append(Fix(risk, acts, None, None, _told(risk, acts, None)))
            continue
        points, error = float(gaps.mean()), float(gaps.mean(axis=1).std(ddof=1)) / gaps.shape[0] ** 0.5
        fixes.append(Fix(risk, acts, points, middle_95(believed(gaps)), _told(risk, acts, points), error))
    return FixFirst(loaded.nominal.robot, runs, seed, float(now.mean()), tuple(sorted(fixes, key=_order)))


def size_of_faults(loaded: Loaded, log: FaultLog, accuracy: float, seconds: float | None = None, seed: int = 0) -> Size:
    """Choose how many matches know what every fault costs to a standard error."""
    base = _playable(loaded)
    users = {risk.where: _users(loaded.nominal, base, risk.where) for risk in risks(log)}

    def play(runs: int) -> Array:
        """The cost that is known least, or the points where no fault costs any."""
        now, cost = _costs(loaded, log, users, (runs, seed, runs))
        return max(cost.values(), key=lambda gaps: float(gaps.mean(axis=1).std()), default=now)

    return sized(play, accuracy, seconds, EACH)


def _costs(
    loaded: Loaded, log: FaultLog, users: Mapping[str, tuple[str, ...]], asked: tuple[int, int, int]
) -> tuple[Array, dict[Risk, Array]]:
    """Points with all faults, and what each costs of them, draws by matches."""
    (runs, seed, most), found = asked, risks(log)
    draws = max(min(runs // EACH, most), 2)
    bench = _Bench(drawn_setup(loaded, Cases(seed, 0, draws, [])), log, seed, draws, max(runs // draws, 1))
    now, cost = bench.points(found, users), {}
    for risk in found:
        if risk.uses is not None and risk.failed and users[risk.where]:
            without = [r if r is not risk else dataclasses.replace(r, failed=0) for r in found]
            cost[risk] = bench.points(without, users) - now
    return now, cost


@dataclass(frozen=True, slots=True)
class _Bench:
    """The match over draws of what is not known, and the log whose faults are laid over it."""

    match: Setup
    log: FaultLog
    seed: int
    draws: int
    each: int

    def points(self, found: Sequence[Risk], users: Mapping[str, tuple[str, ...]]) -> Array:
        """Points with a set of faults, draws by matches: what of an action's tries no fault takes, in each draw."""
        table = self.match.numbers.time.copy()
        for where in dict.fromkeys(risk.where for risk in found):
            uses = self.log.uses.get(where)
            if uses is None:
                continue
            failed = sum(risk.failed for risk in found if risk.where == where)
            # the same place in the belief with the fault and without it: only what the fault takes is left between them
            z = standard_draws(self.seed, f"faults.{where}", 0, self.draws)
            sound = posterior(uses - failed, uses).quantile(normal_cdf(z))
            for action in users[where]:
                table[1:, self.match.actions.index(action), 2] *= sound
        match = dataclasses.replace(self.match, numbers=self.match.numbers._replace(time=table))
        played = play_runs(match, self.draws * self.each, seed=self.seed, each=self.each)
        return grouped(played.points, self.each)


def _order(fix: Fix) -> tuple[bool, bool, float]:
    return fix.risk.times == 0, fix.points is None, -(fix.points or 0.0)


def _playable(loaded: Loaded) -> Setup:
    try:
        return setup(Context(loaded.nominal, loaded.nominal_season))
    except CannotPlay as error:
        key = ("season", *error.key) if error.season else error.key
        raise BadInput([loaded.document.problem(key, error.expected)]) from error


def _users(robot: Robot, match: Setup, where: str) -> tuple[str, ...]:
    """Actions of the plan that a fault at an action or mechanism makes fail."""
    if where in match.actions:
        return (where,)
    moved = {name for name, cylinder in robot.air.cylinders.items() if cylinder.mechanism == where}
    acts = ((name, robot.actions[name]) for name in match.actions)
    return tuple(name for name, act in acts if where in act.motors or moved & set(act.strokes))


def _names(users: tuple[str, ...]) -> str:
    return " and ".join(f"'{user}'" for user in users)


def _told(risk: Risk, users: tuple[str, ...], points: float | None) -> str:
    head = f"{risk.what} ({risk.where})"
    if not risk.times:
        return f"{head}: mended after it came {often(risk.mended)}"
    cost = f", {risk.lost:.0f} s each" if risk.lost is not None else ""
    came = f"came {often(risk.times)}"
    if risk.uses is None:
        return f"{head}: {came}{cost}; write under 'uses' how often '{risk.where}' was used, to know what that costs"
    if not risk.failed:
        return f"{head}: {came}{cost}, and nothing failed by it"
    rate = f"{came} in {counted(risk.uses, 'use')}{cost}"
    if points is None:
        return f"{head}: {rate}, but no action of the plan uses '{risk.where}'"
    if abs(points) < 0.05:
        return (
            f"{head}: {rate}, but it costs no points: in the forecast {_names(users)} earns nothing, with it or without"
        )
    return f"{head}: {rate}; without it a match brings {points:.1f} points more ({', '.join(users)})"
