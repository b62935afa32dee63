"""What of a spread of points is luck, and what is not knowing the robot: variance components.

K draws of what is not known are played L matches each. Their variances are told apart as in a one-way random-effects
analysis, so that L may be small and no number of matches hides what is not known.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
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
    between_error, within_error : Standard errors of those two; more draws make them smaller
    interval : 95 % interval of the true mean over what is not known
    draws, each : How many draws of what is not known, and matches with each
    """

    mean: float
    error: float
    between: float
    within: float
    between_error: float
    within_error: float
    interval: tuple[float, float]
    draws: int
    each: int

    @property
    def ends_to(self) -> float:
        """Half-width of the 95 % interval within which so few draws know the ends of `interval`."""
        # an end lies 1.96 standard deviations from the middle, and moves with what is not known of that deviation
        return 1.96 * float(np.hypot(1.96 * self.between_error, self.error))


def grouped(points: Array, each: int = EACH) -> Array:
    """Points of runs as draws by matches, shape (draws, each); runs that fill no draw are left out."""
    draws = points.size // each
    return points[: draws * each].reshape(draws, each)


def true_means(table: Array, given: Array | None = None) -> Array:
    """Estimate what each draw's mean would be after many matches, shape (draws,).

    Notes
    -----
    The means of a few matches scatter by luck too. What a regression on what is `given` of each draw (such as the
    chances of its actions, shape (draws, p)) tells of them has next to no luck in it; the rest is drawn in towards
    nothing, so far that its variance is that between draws (Searle, Casella and McCulloch, Variance Components, 1992,
    ch. 3; from memory).
    """
    means: Array = table.mean(axis=1)
    if means.size < 2:
        return means
    told, used = _told(means, given)
    rest = means - told
    scattered = float(rest @ rest) / max(means.size - used, 1)
    between = _between(table - told[:, None], used)
    kept = (between / scattered) ** 0.5 if scattered > 0.0 else 0.0
    middle, spread = float(means.mean()), float(told.var())
    # what so many coefficients took up of the luck makes the fitted means scatter too much
    sure = max(1.0 - (used - 1) * scattered / min(means.size, _ENOUGH) / spread, 0.0) ** 0.5 if spread > 0.0 else 0.0
    return middle + sure * (told - middle) + kept * rest


_PER_TERM = 10  # draws for each coefficient of a regression; common practice, no source
_ENOUGH = 4096  # draws tell the coefficients; all the draws at once would take room


def _told(means: Array, given: Array | None) -> tuple[Array, int]:
    """What a polynomial of second degree in what is given tells of the means, and how many coefficients it has."""
    if given is None or not given.size:
        return np.full(means.size, means.mean()), 1
    some = given[:_ENOUGH]
    moving = np.flatnonzero(some.std(axis=0) > 1e-12)
    moving = moving[np.unique(some[:, moving], axis=1, return_index=True)[1]]
    x = (given[:, moving] - some[:, moving].mean(axis=0)) / some[:, moving].std(axis=0)
    straight = range(moving.size)
    terms: list[tuple[int, ...]] = [()]
    for more in ([(i,) for i in straight], [(i, i) for i in straight], [(i, j) for i in straight for j in range(i)]):
        if (len(terms) + len(more)) * _PER_TERM <= means.size:
            terms += more
    basis = np.stack([x[:_ENOUGH, term].prod(axis=1) for term in terms], axis=1)
    weights = np.linalg.lstsq(basis, means[:_ENOUGH], rcond=1e-9)[0].tolist()
    told = np.zeros(means.size)
    for weight, term in zip(weights, terms, strict=True):
        told += weight * x[:, term].prod(axis=1)
    return told, len(terms)


_LEAST = 39
"""Draws of which a place lies 2.5 % from either end: 0.025 (39 + 1) = 1."""


def believed(table: Array, given: Array | None = None) -> Array:
    """Draws of the true mean over what is not known, shape (draws,): every interval and chance of it is told of these.

    They are the draws' true means, spread about their middle by as much more as the number of draws leaves it open.
    """
    means = true_means(table, given)
    if means.size < 2:
        return means
    middle, spread = float(means.mean()), float(means.std(ddof=1))
    error = float(table.mean(axis=1).std(ddof=1)) / means.size**0.5
    if spread > 1e-6 * error:
        stretched: Array = middle + (means - middle) * float(np.hypot(spread, error)) / spread
        return stretched
    from scipy.special import ndtri  # noqa: PLC0415  only where it is used: the command must start fast

    normal: Array = middle + error * ndtri(np.arange(1, means.size + 1) / (means.size + 1))
    return normal


def share_better(draws: Array) -> float:
    """Chance that a true difference is above nothing, by the distribution of `middle_95`; none at all counts half."""
    if draws.size < 2 or not np.any(draws):
        return 0.5
    n, below = draws.size, int(np.count_nonzero(draws < 0.0))
    upto = int(np.count_nonzero(draws <= 0.0))
    if n < _LEAST:
        from scipy.special import stdtr  # noqa: PLC0415  only where it is used: the command must start fast

        middle, wide = _of_few(draws)
        return float(stdtr(n - 1, middle / wide)) if wide > 0.0 else float(middle > 0.0)
    if upto > below:
        return 1.0 - 0.5 * (below + upto + 1) / (n + 1)
    if below in (0, n):  # beyond every draw lies one part in n + 1; how far is not known
        return 1.0 - (below + 0.5) / (n + 1)
    low, high = float(draws[draws < 0.0].max()), float(draws[draws > 0.0].min())
    return 1.0 - (below + low / (low - high)) / (n + 1)


def middle_95(draws: Array) -> tuple[float, float]:
    """Between which values another draw lies with 95 %: at the places i / (n + 1) of a sample that hold it so often.

    Of fewer than 39 draws none lies so far out: these are taken as normal, by Student's t of another draw.
    """
    if draws.size < 2:
        return -np.inf, np.inf
    if draws.size < _LEAST:
        from scipy.special import stdtrit  # noqa: PLC0415  only where it is used: the command must start fast

        middle, wide = _of_few(draws)
        reach = wide * float(stdtrit(draws.size - 1, 0.975))
        return middle - reach, middle + reach
    low, high = np.quantile(draws, [0.025, 0.975], method="weibull").tolist()
    return low, high


def _of_few(draws: Array) -> tuple[float, float]:
    """Middle of another draw, and its scale in Student's t."""
    n = draws.size
    return float(draws.mean()), float(draws.std(ddof=1)) * (1.0 + 1.0 / n) ** 0.5


def _between(table: Array, used: int = 1) -> float:
    likely = _likely_between(table, used)
    return float(likely.mean()) if likely.size else 0.0


def _likely_between(table: Array, used: int = 1) -> Array:
    """Variance of the true means: equally likely values after the matches, on a flat prior of what is not negative.

    So many coefficients are `used`, the mean among them, to take out what is told otherwise.

    The mean square between draws over its expectation is chi-square distributed (Searle, Casella and McCulloch, 1992,
    ch. 3, from memory); the chi-square by Wilson and Hilferty's cube (1931). Where luck hides it, it is not called 0.
    """
    from scipy.special import ndtri  # noqa: PLC0415  only where it is used: the command must start fast

    draws, each = table.shape
    luck = float(table.var(axis=1, ddof=1).mean()) if each > 1 else 0.0
    free = float(max(draws - used, 1))
    scattered = float(table.mean(axis=1).var()) * draws / free
    places = (np.arange(400) + 0.5) / 400
    chi_square = free * (1.0 - 2.0 / (9.0 * free) + ndtri(places) * np.sqrt(2.0 / (9.0 * free))) ** 3
    likely = scattered * free / np.maximum(chi_square, 1e-9 * free) - luck / float(each)
    return np.asarray(likely[likely > 0.0])


def components(table: Array, given: Array | None = None) -> Components | None:
    """Take a table of points, draws by matches, apart; None for fewer than two draws. For `given`: `true_means`."""
    draws, each = table.shape
    if draws < 2:
        return None
    means = true_means(table, given)
    luck = float(table.var(axis=1, ddof=1).mean()) if each > 1 else 0.0
    low, high = middle_95(believed(table, given))
    error = float(table.mean(axis=1).std(ddof=1)) / draws**0.5
    likely = _likely_between(table)  # what is given makes it no worse
    doubt, between = float(np.sqrt(likely).std()) if likely.size else 0.0, float(means.std(ddof=1))
    # delta method on the mean of the draws' own variances, however matches are distributed
    loose = float(table.var(axis=1, ddof=1).std(ddof=1)) / draws**0.5 / (2.0 * luck**0.5) if luck > 0.0 else 0.0
    return Components(float(table.mean()), error, between, luck**0.5, doubt, loose, (low, high), draws, each)


_DRAW_COST = 1.0
"""Time to set one draw of what is not known up, in matches played: measured on the example, 40 against 35 us."""
_EACH_MOST = 20


def sizes(known: Components, accuracy: float, each: int | None = None) -> tuple[int, int]:
    """Choose how many draws, and matches with each unless that is given, know the mean to a standard error soonest.

    Notes
    -----
    With K draws and L matches each the variance of the mean is ``(between^2 + within^2 / L) / K``, the time goes as
    ``K (c + L)``; it is least at ``L = sqrt(c) within / between`` (two-stage sampling:
    Cochran, Sampling Techniques, ch. 10, from memory).
    """
    ratio = known.within / max(known.between, 1e-9)
    each = each or int(np.clip(round(_DRAW_COST**0.5 * ratio), 2, _EACH_MOST))
    variance = known.between**2 + known.within**2 / each
    return max(int(np.ceil(variance / accuracy**2)), 2), each


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
    whole = [(key, values[:draws]) for key, values in inputs if values.size >= draws]
    drawn = np.array([values for _, values in whole]).reshape(len(whole), draws)
    drawn = drawn - drawn.mean(axis=1, keepdims=True)
    widths = drawn.std(axis=1)
    correlations = drawn @ (means - means.mean()) / np.maximum(draws * spread * widths, 1e-300)
    found = [
        Share(key, min(r**2 * spread**2 / between, 1.0), r * spread)
        for (key, _), r, width in zip(whole, correlations.tolist(), widths.tolist(), strict=True)
        if width > 0.0 and abs(r) > least
    ]
    return tuple(sorted(found, key=lambda s: -s.share)[:most])


_PILOT = 1000
"""Matches from which it is seen how many are needed."""


@dataclass(frozen=True, slots=True)
class Size:
    """How many matches reach an accuracy.

    Attributes
    ----------
    draws, each : Draws of what is not known, and matches with each
    reached : Standard error of the mean that they reach
    """

    draws: int
    each: int
    reached: float


def sized(play: Callable[[int], Array], accuracy: float, seconds: float | None = None, each: int | None = None) -> Size:
    """Choose how many matches know a mean of points, or of their difference, to a standard error.

    `play` plays a number of matches and gives what is to be known, draws by matches; what it does once is not timed.
    """
    play(2 * EACH)
    begun = time.perf_counter()
    pilot = components(play(_PILOT))
    took = time.perf_counter() - begun
    assert pilot is not None
    draws, each = sizes(pilot, accuracy, each)
    if seconds is not None:
        per = took / (_PILOT / EACH + _PILOT)  # a draw takes about as long as a match
        draws = max(min(draws, int((seconds - took) / (per * (1 + each)))), 2)
    reached = ((pilot.between**2 + pilot.within**2 / each) / draws) ** 0.5
    return Size(draws, each, reached)
