"""Two kinds of not knowing in a forecast: what is not known of the robot, and the luck of a match.

K draws of what is not known are played L matches each. Their variances are told apart as in a one-way random-effects
analysis, so that L may be small and no number of matches hides what is not known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array

EACH = 5
"""Matches played with each draw of what is not known: few, since draws tell more about the mean than matches do."""


@dataclass(frozen=True, slots=True)
class Components:
    """What a forecast rests on, in points.

    Attributes
    ----------
    mean : Over all draws and matches
    error : Standard error of that mean, from the number of draws; more runs make it smaller
    between : Standard deviation of the true mean over what is not known; more runs know it better, and do not shrink it
    within : Standard deviation of single matches with one robot, luck alone
    interval : 95 % interval of the true mean over what is not known
    draws, each : How many draws of what is not known, and matches with each
    """

    mean: float
    error: float
    between: float
    within: float
    interval: tuple[float, float]
    draws: int
    each: int


def grouped(points: Array, each: int = EACH) -> Array:
    """Points of runs as draws by matches, shape (draws, each); runs that fill no draw are left out."""
    draws = points.size // each
    return points[: draws * each].reshape(draws, each)


def true_means(table: Array) -> Array:
    """Estimate what each draw's mean would be after many matches, shape (draws,).

    The means of a few matches scatter by luck too; they are drawn in towards the mean of all, so far that their
    variance is that between draws (Searle, Casella and McCulloch, Variance Components, 1992, ch. 3; from memory).
    """
    means: Array = table.mean(axis=1)
    middle = float(means.mean())
    if means.size < 2:
        return means
    scattered, between = float(means.var(ddof=1)), _between(table)
    kept = (between / scattered) ** 0.5 if scattered > 0.0 else 0.0
    return middle + kept * (means - middle)


def _between(table: Array) -> float:
    """Variance of the true means: its expectation after the matches, on a flat prior of what is not negative.

    The mean square between draws over its expectation is chi-square distributed (Searle, Casella and McCulloch, 1992,
    ch. 3, from memory); the chi-square by Wilson and Hilferty's cube (1931). Where luck hides it, it is not called 0.
    """
    from scipy.special import ndtri  # noqa: PLC0415  only where it is used: the command must start fast

    draws, each = table.shape
    luck = float(table.var(axis=1, ddof=1).mean()) if each > 1 else 0.0
    scattered, free = float(table.mean(axis=1).var(ddof=1)), draws - 1.0
    places = (np.arange(400) + 0.5) / 400
    chi_square = free * (1.0 - 2.0 / (9.0 * free) + ndtri(places) * np.sqrt(2.0 / (9.0 * free))) ** 3
    likely = scattered * free / np.maximum(chi_square, 1e-9 * free) - luck / float(each)
    kept = likely[likely > 0.0]
    return float(kept.mean()) if kept.size else 0.0


def components(table: Array) -> Components | None:
    """Take a table of points, draws by matches, apart; None for fewer than two draws."""
    draws, each = table.shape
    if draws < 2:
        return None
    means = true_means(table)
    luck = float(table.var(axis=1, ddof=1).mean()) if each > 1 else 0.0
    low, high = np.quantile(means, [0.025, 0.975]).tolist()
    error = float(table.mean(axis=1).std(ddof=1)) / draws**0.5
    return Components(float(table.mean()), error, _between(table) ** 0.5, luck**0.5, (low, high), draws, each)


@dataclass(frozen=True, slots=True)
class Share:
    """How much of the doubt about the mean comes from one thing that is not known.

    Attributes
    ----------
    key : Key path of the number or of the practice counts
    share : Of the variance between draws, by its own correlation
    slope : Points for one standard deviation of it
    """

    key: str
    share: float
    slope: float


def shares(table: Array, inputs: Sequence[tuple[str, Array]], most: int = 3) -> tuple[Share, ...]:
    """Find what the doubt about the mean comes from: squared correlation of each input with the draws' means.

    An input counts where its correlation is beyond what chance gives the largest of so many (at 5 %).
    """
    from scipy.special import ndtri  # noqa: PLC0415  only where it is used: the command must start fast

    means = table.mean(axis=1)
    draws, between, spread = means.size, _between(table), float(means.std())
    if draws < 10 or between <= 0.0 or not inputs:
        return ()
    least = float(ndtri(1.0 - 0.025 / len(inputs))) / draws**0.5
    found = []
    for key, values in inputs:
        drawn = values[:draws]
        if drawn.size == draws and float(drawn.std()) > 0.0:
            correlation = float(np.corrcoef(drawn, means)[0, 1])
            if abs(correlation) > least:
                part = min(correlation**2 * spread**2 / between, 1.0)
                found.append(Share(key, part, correlation * spread))
    return tuple(sorted(found, key=lambda s: -s.share)[:most])
