"""Which fault to mend first: the points that each costs in a match."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from fieldworthy.decide.compare import paired
from fieldworthy.engine.system import Context
from fieldworthy.files import BadInput
from fieldworthy.match import CannotPlay, Setup, play_runs, setup, with_chance
from fieldworthy.measure.model import FaultLog
from fieldworthy.measure.practice import Risk, risks
from fieldworthy.physics.chance.chance import posterior
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.robot import Robot

"""Changes only when a reader of the old form would misread the new one."""
_BLOCK = 20_000  # matches between two looks at whether the person wants to stop
NOTE = (
    "A use works when nothing that the log holds fails and the practised action succeeds: both chances are multiplied, "
    "so leave out of the practice counts what the log holds."
)


@dataclass(frozen=True, slots=True)
class Fix:
    """One fault and what it costs.

    Attributes
    ----------
    risk : The fault as the log tells it
    actions : Actions of the plan that fail by it
    points : Points a match that it costs; None where the log does not say how often the thing was used
    interval : Student's 95 % interval of that mean over the matches played: it says how far the play of luck is
        averaged out, not how sure the chance is
    because : One sentence
    """

    risk: Risk
    actions: tuple[str, ...]
    points: float | None
    interval: tuple[float, float] | None
    because: str


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


def fix_first(loaded: Loaded, log: FaultLog, runs: int = 2000, seed: int = 0) -> FixFirst:
    """Rank faults by the points that they cost in a match."""
    match = _playable(loaded)
    found = risks(log)
    users = {risk.where: _users(loaded.nominal, match, risk.where) for risk in found}
    base = _points(match, _chances(loaded.nominal, log, found, users), (runs, seed))
    fixes = []
    for risk in found:
        if risk.uses is None or not risk.failed or not users[risk.where]:
            fixes.append(Fix(risk, users[risk.where], None, None, _told(risk, users[risk.where], None)))
            continue
        without = [r if r is not risk else dataclasses.replace(r, failed=0) for r in found]
        gaps = _points(match, _chances(loaded.nominal, log, without, users), (runs, seed)) - base
        points = float(gaps.mean())
        fixes.append(Fix(risk, users[risk.where], points, paired(gaps), _told(risk, users[risk.where], points)))
    return FixFirst(loaded.nominal.robot, runs, seed, float(base.mean()), tuple(sorted(fixes, key=_order)))


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


def _chances(
    robot: Robot, log: FaultLog, found: list[Risk] | tuple[Risk, ...], users: Mapping[str, tuple[str, ...]]
) -> dict[str, float]:
    """Chance of each action that a fault touches: what practice says of it, times that nothing at its places fails."""
    chances: dict[str, float] = {}
    for where in dict.fromkeys(risk.where for risk in found):
        uses = log.uses.get(where)
        failed = sum(risk.failed for risk in found if risk.where == where)
        sound = float(posterior(uses - failed, uses).mean) if uses is not None else 1.0
        for action in users[where]:
            chances[action] = chances.get(action, _practised(robot, action)) * sound
    return chances


def _practised(robot: Robot, action: str) -> float:
    counts = robot.actions[action].practice
    return 1.0 if counts is None else float(posterior(float(counts.successes), float(counts.attempts)).mean)


def _points(match: Setup, chances: Mapping[str, float], asked: tuple[int, int]) -> npt.NDArray[np.float64]:
    for action, chance in chances.items():
        match = with_chance(match, action, chance)
    runs, seed = asked
    starts = range(0, runs, _BLOCK)
    return np.concatenate([play_runs(match, min(_BLOCK, runs - i), begin=i, seed=seed).points for i in starts])


def _told(risk: Risk, users: tuple[str, ...], points: float | None) -> str:
    head = f"{risk.what} ({risk.where})"
    if not risk.times:
        return f"{head}: mended after {risk.mended}"
    cost = f", {risk.lost:.0f} s each" if risk.lost is not None else ""
    came = f"came {risk.times} {'time' if risk.times == 1 else 'times'}{cost}"
    if risk.uses is None:
        return f"{head}: {came}; write under 'uses' how often '{risk.where}' was used, to know what that costs"
    if not risk.failed:
        return f"{head}: {came}, and nothing failed by it"
    rate = f"{came} in {risk.uses} uses"
    if points is None:
        return f"{head}: {rate}, but no action of the plan uses '{risk.where}'"
    if abs(points) < 0.05:
        return f"{head}: {rate}, but no points hang on it: the plan does not come to it, or it fails otherwise too"
    return f"{head}: {rate}; without it a match brings {points:.1f} points more ({', '.join(users)})"
