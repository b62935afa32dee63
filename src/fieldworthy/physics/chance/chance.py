"""Chances from counts, and intervals of what was measured or drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.colour import colour

UNIFORM_PRIOR = (1.0, 1.0)
"""Beta(1, 1): before any attempt, every success rate is held equally likely."""


def _counts(successes: Real, attempts: Real) -> tuple[Array, Array]:
    """Read counts as arrays, refused when there are more successes than attempts."""
    require.not_negative(successes=successes, attempts=attempts)
    k, n = np.asarray(successes, dtype=np.float64), np.asarray(attempts, dtype=np.float64)
    if np.any(k > n):
        msg = f"successes must not exceed attempts, got {successes!r} of {attempts!r}"
        raise ValueError(msg)
    return k, n


def _inside(**quantities: Real) -> None:
    """Refuse a probability that is not strictly between 0 and 1."""
    for name, value in quantities.items():
        x = np.asarray(value)
        if not np.all((x > 0.0) & (x < 1.0)):
            msg = f"{name} must lie between 0 and 1, got {value!r}"
            raise ValueError(msg)


@dataclass(frozen=True, slots=True)
class Beta:
    """Belief about a success rate: a Beta distribution.

    Parameters
    ----------
    a, b : Shape parameters [-]; after k successes in n attempts on the uniform prior, k + 1 and n - k + 1

    Raises
    ------
    ValueError : If a shape parameter is not positive

    References
    ----------
    bda: section 2.4.
    """

    a: Real
    b: Real

    def __post_init__(self) -> None:
        require.positive(a=self.a, b=self.b)

    @property
    def mean(self) -> Array:
        """Mean success rate [-]; it is also the chance that the next attempt succeeds."""
        return np.asarray(self.a / (np.asarray(self.a) + self.b))

    @property
    def sd(self) -> Array:
        """Standard deviation of the success rate [-]."""
        total = np.asarray(self.a) + self.b
        return np.asarray(np.sqrt(self.a * self.b / (total + 1.0)) / total)

    def quantile(self, p: Real) -> Array:
        """Success rate below which it lies with a given chance.

        Parameters
        ----------
        p : The chance [-], 0 to 1

        Returns
        -------
        The success rate [-].

        Raises
        ------
        ValueError : If the chance lies outside 0 to 1
        """
        from scipy.special import betaincinv  # noqa: PLC0415

        require.fraction(p=p)
        return np.asarray(betaincinv(self.a, self.b, p))

    def interval(self, confidence: Real = 0.95) -> tuple[Array, Array]:
        """Interval with equal chance left out at both ends.

        Parameters
        ----------
        confidence : Chance that the success rate lies inside [-]

        Returns
        -------
        Lower and upper end [-].

        Raises
        ------
        ValueError : If the confidence is not between 0 and 1
        """
        _inside(confidence=confidence)
        out = 0.5 * (1.0 - np.asarray(confidence))
        return self.quantile(out), self.quantile(1.0 - out)

    def chance_below(self, rate: Real) -> Array:
        """Chance that the success rate lies below a given one.

        Parameters
        ----------
        rate : The rate to compare with [-], 0 to 1

        Returns
        -------
        The chance [-].

        Raises
        ------
        ValueError : If the rate lies outside 0 to 1
        """
        from scipy.special import betainc  # noqa: PLC0415

        require.fraction(rate=rate)
        return np.asarray(betainc(self.a, self.b, rate))

    def predict(self, successes: Real, attempts: Real) -> Array:
        """Chance of a number of successes in coming attempts (beta-binomial).

        Parameters
        ----------
        successes, attempts : Number of successes; number of coming attempts [-]

        Returns
        -------
        The chance of exactly that many [-].

        Raises
        ------
        ValueError : If a count is negative or successes exceed attempts
        """
        from scipy.special import betaln  # noqa: PLC0415

        k, n = _counts(successes, attempts)
        ways = -betaln(n - k + 1.0, k + 1.0) - np.log1p(n)
        return np.asarray(np.exp(ways + betaln(k + self.a, n - k + self.b) - betaln(self.a, self.b)))


def posterior(successes: Real, attempts: Real, prior: tuple[Real, Real] = UNIFORM_PRIOR) -> Beta:
    """Belief about a success rate after counted practice.

    Attempts count as independent with one success rate: practice by another driver, or with a flat battery,
    is another rate. With a uniform prior the mean is (s + 1) / (n + 2).

    Parameters
    ----------
    successes, attempts : Successes counted; attempts counted [-]
    prior : Shape parameters of the Beta prior [-]; uniform unless given

    Returns
    -------
    The posterior [-].

    Raises
    ------
    ValueError : If a count is negative or successes exceed attempts, or a prior parameter is not positive

    References
    ----------
    bda: section 2.4.
    """
    k, n = _counts(successes, attempts)
    require.positive(prior_a=prior[0], prior_b=prior[1])
    return Beta(np.asarray(k + prior[0]), np.asarray(n - k + prior[1]))


def wilson_interval(successes: Real, attempts: Real, confidence: Real = 0.95) -> tuple[Array, Array]:
    """Wilson's score interval of a success rate, which needs no prior.

    Parameters
    ----------
    successes, attempts, confidence : Successes counted; attempts counted; nominal coverage [-]

    Returns
    -------
    Lower and upper end [-]; 0 and 1 without any attempt.

    Raises
    ------
    ValueError : If a count is negative, successes exceed attempts or the confidence is not between 0 and 1

    References
    ----------
    wilson1927: without continuity correction.
    """
    k, n = _counts(successes, attempts)
    _inside(confidence=confidence)
    z2 = normal_quantile(0.5 * (1.0 + np.asarray(confidence))) ** 2
    middle = (k + 0.5 * z2) / (n + z2)
    share = np.divide(k * (n - k), n, out=np.zeros(np.broadcast_shapes(k.shape, n.shape)), where=n > 0.0)
    half = np.sqrt(z2 * (share + 0.25 * z2)) / (n + z2)
    low = np.where(k == 0.0, 0.0, np.maximum(middle - half, 0.0))
    return np.asarray(low), np.asarray(np.where(k == n, 1.0, np.minimum(middle + half, 1.0)))


def normal_quantile(p: Real) -> Array:
    """Quantile of the standard normal distribution.

    Parameters
    ----------
    p : Chance of lying below [-], between 0 and 1

    Returns
    -------
    The quantile [-].

    Raises
    ------
    ValueError : If the chance is not between 0 and 1
    """
    from scipy.special import ndtri  # noqa: PLC0415

    _inside(p=p)
    return np.asarray(ndtri(np.asarray(p, dtype=np.float64)))


def mean_interval(samples: Array, confidence: Real = 0.95) -> tuple[Array, Array, Array]:
    """Mean of samples along the last axis, with Student's interval.

    Parameters
    ----------
    samples : Samples [any], two or more along the last axis
    confidence : Nominal coverage [-]

    Returns
    -------
    Mean, lower end and upper end [any].

    Raises
    ------
    ValueError : If there are fewer than two samples, one is not finite or the confidence is not between 0 and 1
    """
    from scipy.special import stdtrit  # noqa: PLC0415

    x = _samples(samples, 2)
    _inside(confidence=confidence)
    count = x.shape[-1]
    middle = x.mean(axis=-1)
    half = stdtrit(count - 1, 0.5 * (1.0 + np.asarray(confidence))) * x.std(axis=-1, ddof=1) / np.sqrt(count)
    return np.asarray(middle), np.asarray(middle - half), np.asarray(middle + half)


def _samples(samples: Array, least: int) -> Array:
    """Read samples as an array, refused when too few or not finite."""
    x = np.asarray(samples, dtype=np.float64)
    if x.ndim == 0 or x.shape[-1] < least or not np.all(np.isfinite(x)):
        msg = f"samples must be {least} or more finite numbers along the last axis, got shape {x.shape}"
        raise ValueError(msg)
    return x


_HALVINGS = 60


def spread_half_width(count: int, confidence: float = 0.95) -> float:
    """Half width of the interval about a standard deviation from a few readings, as a share of it.

    ``(n - 1) sd**2 / sigma**2`` follows chi-square with n - 1 degrees of freedom; h solves ``F((n - 1) / (1 - h)**2) -
    F((n - 1) / (1 + h)**2) = confidence`` by halving. The same about both sides, so that a file can hold it.

    Parameters
    ----------
    count : Readings, two or more [-]
    confidence : Chance that ``sd (1 - h)`` to ``sd (1 + h)`` holds the true one, for normal readings [-]

    Returns
    -------
    The share h [-].

    Raises
    ------
    ValueError : If there are fewer than two readings or the confidence is not between 0 and 1

    References
    ----------
    bda: section 3.2, variance of a normal sample.
    """
    from scipy.special import chdtr  # noqa: PLC0415  a slow import

    if count < 2 or not 0.0 < confidence < 1.0:
        raise ValueError(f"expected two readings or more and a confidence between 0 and 1, got {count}, {confidence}")
    free = count - 1.0
    low, high = 0.0, 1e6
    for _ in range(_HALVINGS):
        h = 0.5 * (low + high)
        far = 1.0 if h >= 1.0 else chdtr(free, free / (1.0 - h) ** 2)
        inside = far - chdtr(free, free / (1.0 + h) ** 2)
        low, high = (h, high) if inside < confidence else (low, h)
    return 0.5 * (low + high)


@dataclass(frozen=True, slots=True)
class HueEstimate:
    """What readings of a hue say, with the half widths of their intervals.

    Attributes
    ----------
    mean, mean_half_width, spread, spread_half_width : Mean direction, and standard deviation of the wrapped normal,
        with the half width of each [rad]
    """

    mean: float
    mean_half_width: float
    spread: float
    spread_half_width: float


def hue_estimate(hues: Array, confidence: float = 0.95) -> HueEstimate:
    """Mean and spread of a hue from a few readings, with intervals.

    Spread: ``sqrt(-ln(rho2))`` with ``rho2 = (n R**2 - 1) / (n - 1)``, whose mean is the true squared length, so that
    few readings do not understate it. Mean: half width ``t sqrt(d / n)`` with the circular dispersion
    ``d = (1 - R2) / (2 R**2) n / (n - 1)`` (R2 of the doubled angles) and Student's t, which is exact where the
    readings lie close together.

    Parameters
    ----------
    hues : Readings of shape (n,), n of 3 or more, 0 to 2 pi [rad]
    confidence : Nominal coverage [-]

    Returns
    -------
    Mean and spread with half widths [rad].

    Raises
    ------
    ValueError : If there are fewer than three readings, all are the same, or they point every way so that no mean is
        left

    References
    ----------
    mardia: Directional Statistics, ch. 4 (from memory).
    """
    from scipy.special import stdtrit  # noqa: PLC0415  a slow import

    readings = np.asarray(hues, dtype=float)
    count = len(readings)
    if count < 3 or np.ptp(readings) == 0.0:
        raise ValueError("expected three readings or more that are not all the same")
    middle, length = colour.resultant(readings)
    _, doubled = colour.resultant(np.asarray(colour.wrap(2.0 * readings)))
    squared = (count * float(length) ** 2 - 1.0) / (count - 1.0)
    if squared <= 0.02:  # a spread of 2 rad and more: as good as no direction at all
        raise ValueError("expected readings that agree on a hue: they point every way")
    spread = float(np.sqrt(-np.log(min(squared, 1.0))))
    dispersion = (1.0 - float(doubled)) / (2.0 * float(length) ** 2) * count / (count - 1.0)
    half = float(stdtrit(count - 1, 0.5 * (1.0 + confidence)) * np.sqrt(dispersion / count))
    return HueEstimate(float(middle), min(half, np.pi), spread, spread * spread_half_width(count, confidence))
