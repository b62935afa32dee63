"""Variants side by side: who scores more and how sure that is, what changes, and whether there is time to build it.

All variants play the same matches: a draw depends on the seed, the number of the run and the name of what is drawn, so
what two variants share goes the same way in both, and only what differs between them is left in the difference.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.decide.features import Ability, ChangedFinding, Hours, UsedLimit, abilities, changes, hours, limits
from fieldworthy.decide.flip import Flip, flip_of
from fieldworthy.decide.recommend import recommend
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.files import BadInput
from fieldworthy.match import Runs, blocks
from fieldworthy.match.layout import Array
from fieldworthy.physics.chance.chance import mean_interval, wilson_interval
from fieldworthy.robot import Loaded

Progress = Callable[[int], None]
_KEPT = 8  # blocks of runs whose set-up is kept for the flip: about 30,000 matches, some 100 MB


@dataclass(frozen=True, slots=True)
class Difference:
    """Mean points of a variant less those of the first file.

    Attributes
    ----------
    variant, first : Names of the robots
    points, first_points : Their mean points
    difference : The first's taken from the variant's
    runs, seed : How many matches each played, and what fixes them
    """

    variant: str
    first: str
    points: float
    first_points: float
    difference: float
    runs: int
    seed: int


@dataclass(frozen=True, slots=True)
class Interval:
    """Where the difference of the means lies, by Student's 95 % interval of the paired differences.

    Attributes
    ----------
    variant : Name of the robot
    low, high : Ends, in points
    """

    variant: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Chance:
    """How likely a variant is the better one.

    Attributes
    ----------
    variant : Name of the robot
    match, match_interval : Share of the matches in which it scores more than the first, and Wilson's 95 % interval
        of it
    equal : Share of the matches in which both score the same
    mean : Chance that its mean is higher, as far as the number of runs knows it; 0.5 where nothing differs
    """

    variant: str
    match: float
    match_interval: tuple[float, float]
    equal: float
    mean: float


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two or more variants side by side; every list but the last follows the order of the files.

    Attributes
    ----------
    difference, interval, chance : Of each variant after the first
    can_do : Every task of the season, variant by variant
    findings_changed : Between the first and each variant
    limits_used : Of every variant, the first too
    hours : Of every variant, the first too
    flip : Of each variant after the first
    recommendation : Two sentences
    """

    difference: tuple[Difference, ...]
    interval: tuple[Interval, ...]
    chance: tuple[Chance, ...]
    can_do: tuple[Ability, ...]
    findings_changed: tuple[ChangedFinding, ...]
    limits_used: tuple[UsedLimit, ...]
    hours: tuple[Hours, ...]
    flip: tuple[Flip, ...]
    recommendation: str


def compare(
    variants: Sequence[Loaded], runs: int = 2000, seed: int = 0, progress: Progress | None = None
) -> Comparison:
    """Compare variants of a robot."""
    _same_season(variants)
    points, kept = _played(variants, runs, seed, progress)
    names = [v.nominal.robot for v in variants]
    reports = [evaluate(v, samples=0, seed=seed) for v in variants]
    flips = tuple(flip_of(variants[0], v, (kept[0], k), seed) for v, k in zip(variants[1:], kept[1:], strict=True))
    times, able = tuple(hours(v) for v in variants), [abilities(v) for v in variants]
    cannot = [[a.task for a in tasks if a.planned and not a.can] for tasks in able]
    return Comparison(
        tuple(_difference((names[0], n), points[0], p, seed) for n, p in zip(names[1:], points[1:], strict=True)),
        tuple(Interval(n, *paired(p - points[0])) for n, p in zip(names[1:], points[1:], strict=True)),
        tuple(_chance(n, p - points[0]) for n, p in zip(names[1:], points[1:], strict=True)),
        tuple(a for tasks in able for a in tasks),
        tuple(c for r in reports[1:] for c in changes(reports[0], r)),
        tuple(u for r in reports for u in limits(r)),
        times,
        flips,
        recommend(names, points, times, flips, cannot),
    )


def _same_season(variants: Sequence[Loaded]) -> None:
    season = variants[0].nominal_season
    bad = [
        v.document.problem(
            ("season",), f"expected the season of the first file, {season.season!r}, with the same rules"
        )
        for v in variants[1:]
        if v.nominal_season != season
    ]
    if bad:
        raise BadInput(bad)


def _played(
    variants: Sequence[Loaded], runs: int, seed: int, progress: Progress | None
) -> tuple[list[Array], list[list[Runs]]]:
    """Points of every run of every variant, and the first blocks whole."""
    points: list[list[Array]] = [[] for _ in variants]
    kept: list[list[Runs]] = [[] for _ in variants]
    done = 0
    try:
        for row in zip(*(blocks(v, runs, seed) for v in variants), strict=True):
            for block, scored, keep in zip(row, points, kept, strict=True):
                scored.append(block.points)
                if len(keep) < _KEPT:
                    keep.append(block)
            done += row[0].points.size
            if progress:
                progress(done)
    except KeyboardInterrupt:
        if done < 2:
            raise  # nothing to compare yet
    whole = min(len(scored) for scored in points)
    return [np.concatenate(scored[:whole]) for scored in points], [k[:whole] for k in kept]


def _difference(names: tuple[str, str], first: Array, points: Array, seed: int) -> Difference:
    gap = float((points - first).mean())
    return Difference(names[1], names[0], float(points.mean()), float(first.mean()), gap, points.size, seed)


def paired(gaps: Array) -> tuple[float, float]:
    """Give Student's 95 % interval of the mean of paired differences."""
    _, low, high = mean_interval(gaps)
    return float(low), float(high)


def _chance(name: str, gaps: Array) -> Chance:
    from scipy.special import stdtr  # noqa: PLC0415  only where it is used: the command must start fast

    n, better = gaps.size, int(np.count_nonzero(gaps > 0))
    low, high = wilson_interval(float(better), float(n))
    error, mean = float(gaps.std(ddof=1)) / n**0.5, float(gaps.mean())
    surely = float(stdtr(n - 1, mean / error)) if error > 0 else 0.5 + 0.5 * float(np.sign(mean))
    equal = int(np.count_nonzero(gaps == 0)) / n
    return Chance(name, better / n, (float(low), float(high)), equal, surely)
