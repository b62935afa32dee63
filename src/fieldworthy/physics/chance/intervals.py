"""Intervals of a few readings: of a spread, and of a mean hue on the circle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.physics.colour import hue

_HALVINGS = 60


def spread_half_width(count: int, confidence: float = 0.95) -> float:
    """Half width of the interval about a standard deviation from a few readings, as a share of it.

    Parameters
    ----------
    count : int
        Readings, two or more [-].
    confidence : float
        Chance that ``sd (1 - h)`` to ``sd (1 + h)`` holds the true one, for normal readings [-].

    Returns
    -------
    float
        The share h [-].

    Raises
    ------
    ValueError
        If there are fewer than two readings or the confidence is not between 0 and 1.

    Notes
    -----
    ``(n - 1) sd**2 / sigma**2`` follows chi-square with n - 1 degrees of freedom; h solves ``F((n - 1) / (1 - h)**2) -
    F((n - 1) / (1 + h)**2) = confidence`` by halving. The same about both sides, so that a file can hold it.

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
    mean, mean_half_width, spread, spread_half_width : float
        Mean direction, and standard deviation of the wrapped normal, with the half width of each [rad].
    """

    mean: float
    mean_half_width: float
    spread: float
    spread_half_width: float


def hue_estimate(hues: Array, confidence: float = 0.95) -> HueEstimate:
    """Mean and spread of a hue from a few readings, with intervals.

    Parameters
    ----------
    hues : Array
        Readings of shape (n,), n of 3 or more, 0 to 2 pi [rad].
    confidence : float
        Nominal coverage [-].

    Returns
    -------
    HueEstimate
        Mean and spread with half widths [rad].

    Raises
    ------
    ValueError
        If there are fewer than three readings, all are the same, or they point every way so that no mean is left.

    Notes
    -----
    Spread: ``sqrt(-ln(rho2))`` with ``rho2 = (n R**2 - 1) / (n - 1)``, whose mean is the true squared length, so that
    few readings do not understate it. Mean: half width ``t sqrt(d / n)`` with the circular dispersion
    ``d = (1 - R2) / (2 R**2) n / (n - 1)`` (R2 of the doubled angles) and Student's t, which is exact where the
    readings lie close together.

    References
    ----------
    mardia: Directional Statistics, ch. 4 (from memory).
    """
    from scipy.special import stdtrit  # noqa: PLC0415  a slow import

    readings = np.asarray(hues, dtype=float)
    count = len(readings)
    if count < 3 or np.ptp(readings) == 0.0:
        raise ValueError("expected three readings or more that are not all the same")
    middle, length = hue.resultant(readings)
    _, doubled = hue.resultant(np.asarray(hue.wrap(2.0 * readings)))
    squared = (count * float(length) ** 2 - 1.0) / (count - 1.0)
    if squared <= 0.02:  # a spread of 2 rad and more: as good as no direction at all
        raise ValueError("expected readings that agree on a hue: they point every way")
    spread = float(np.sqrt(-np.log(min(squared, 1.0))))
    dispersion = (1.0 - float(doubled)) / (2.0 * float(length) ** 2) * count / (count - 1.0)
    half = float(stdtrit(count - 1, 0.5 * (1.0 + confidence)) * np.sqrt(dispersion / count))
    return HueEstimate(float(middle), min(half, np.pi), spread, spread * spread_half_width(count, confidence))
