"""The success chance of one action at which two variants score the same."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.decide.features import planned_actions
from fieldworthy.match import Runs, play_runs, with_chance
from fieldworthy.physics.chance.chance import posterior
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.season import Practice

_CHANCES = (0.0, 0.25, 0.5, 0.75, 1.0)  # at which the curve is told: points are all but straight in a chance
_REFINED = 2  # times that the crossing is looked at again, closer


@dataclass(frozen=True, slots=True)
class Flip:
    """Where the answer turns.

    Attributes
    ----------
    variant : Name of the robot
    action : Of the variant's actions that the first robot does otherwise or not at all, the one whose chance moves
        the points most; None where there is none
    chance : Chance of success at which both score the same on average; None where no chance from 0 to 1 does that
    practised : What practice says of the chance, its mean; None without counts
    sure : How likely, after the practice counts, the true chance lies on the side where practice has it; None
        without both
    at_never, at_always : Difference in points were the action never, or always, to succeed
    curve : Chance of success and difference in points, from never to always; empty where there is no action
    """

    variant: str
    action: str | None
    chance: float | None
    practised: float | None
    sure: float | None
    at_never: float | None
    at_always: float | None
    curve: tuple[tuple[float, float], ...] = ()


def flip_of(first: Loaded, variant: Loaded, played: tuple[Sequence[Runs], Sequence[Runs]], seed: int) -> Flip:
    """Find the chance at which a variant and the first robot score the same."""
    level = float(np.concatenate([runs.points for runs in played[0]]).mean())

    def gap(chance: float, action: str) -> float:
        """Points by which the variant leads at a chance."""
        return _mean(played[1], action, chance, seed) - level

    ends = {a: (gap(0.0, a), gap(1.0, a)) for a in _differing(first, variant)}
    name = variant.nominal.robot
    if not ends:
        return Flip(name, None, None, None, None, None, None)
    action = max(ends, key=lambda a: abs(ends[a][1] - ends[a][0]))
    low, high = ends[action]
    inner = [(c, gap(c, action)) for c in _CHANCES[1:-1]]
    curve = ((0.0, low), *inner, (1.0, high))
    chance = _crossing(curve, lambda c: gap(c, action)) if low * high <= 0 and low != high else None
    return Flip(name, action, chance, *_practice(variant.nominal.actions[action].practice, chance), low, high, curve)


def _crossing(curve: Sequence[tuple[float, float]], gap: Callable[[float], float]) -> float:
    """Where a curve crosses zero: straight between the points about it, which are brought closer."""
    after = next(i for i in range(1, len(curve)) if curve[i - 1][1] * curve[i][1] <= 0.0)
    low, high = curve[after - 1], curve[after]
    for _ in range(_REFINED):
        at = _straight(low, high)
        here = (at, gap(at))
        low, high = (here, high) if (here[1] > 0.0) == (low[1] > 0.0) else (low, here)
    return _straight(low, high)


def _straight(low: tuple[float, float], high: tuple[float, float]) -> float:
    rise = high[1] - low[1]
    return low[0] - low[1] * (high[0] - low[0]) / rise if rise else 0.5 * (low[0] + high[0])


def _mean(played: Sequence[Runs], action: str, chance: float, seed: int) -> float:
    total, begin = 0.0, 0
    for runs in played:
        size = runs.points.size
        again = play_runs(with_chance(runs.setup, action, chance), size, begin=begin, seed=seed, each=runs.each)
        total, begin = total + float(again.points.sum()), begin + size
    return total / begin


def _differing(first: Loaded, variant: Loaded) -> list[str]:
    """Actions of the variant's plan that the first robot does in another way, or not at all."""
    before = {name: first.nominal.actions[name] for name in planned_actions(first)}
    return [name for name in planned_actions(variant) if before.get(name) != variant.nominal.actions[name]]


def _practice(counts: Practice | None, chance: float | None) -> tuple[float | None, float | None]:
    if counts is None:
        return None, None
    belief = posterior(float(counts.successes), float(counts.attempts))
    mean = float(belief.mean)
    if chance is None:
        return mean, None
    below = float(belief.chance_below(chance))
    return mean, 1.0 - below if mean >= chance else below
