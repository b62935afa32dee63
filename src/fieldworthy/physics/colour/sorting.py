"""Sorting objects by hue: thresholds of least error, readings of a passing object, and votes over them.

Hue classes are normals wrapped round the circle. Classes lie on the leading axis, cases on the trailing ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.chance import normal
from fieldworthy.physics.colour import hue

_ROUNDING = 1e-9
_COUNT_SLACK = 1e-9  # three readings less rounding are three
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(16)  # over noise that all readings of an object share
_LEGENDRE = np.polynomial.legendre.leggauss(24)  # over the median of noise that each reading has for itself


@dataclass(frozen=True, slots=True)
class Sectors:
    """The arc of the circle that decides for each class.

    Attributes
    ----------
    start : Array
        Hue at which each class's arc begins, in the order of the classes [rad].
    width : Array
        Extent of each arc towards growing hue; together they make a whole turn [rad].
    """

    start: Array
    width: Array

    def decide(self, measured: Real) -> Array:
        """Index of the class that a measured hue is taken for.

        Parameters
        ----------
        measured : Real
            Hue [rad].

        Returns
        -------
        Array
            Index of the class from 0 [-].

        Raises
        ------
        ValueError
            If the hue lies outside the circle.

        References
        ----------
        duda: Pattern Classification, ch. 2 (from memory).
        """
        hue.check(measured=measured)
        deeper = (1,) * max(np.ndim(measured) - self.start.ndim + 1, 0)
        start, width = (x.reshape(x.shape + deeper) for x in (self.start, self.width))
        ahead = measured - start
        inside = np.where(ahead < 0.0, ahead + hue.TURN, ahead) < width
        index: Array = np.argmax(inside, axis=0)
        return index


def _crossing(arc: Array, sds: tuple[Array, Array], priors: tuple[Array, Array]) -> Array:
    """Distance from the lower mean at which two weighted normals are equal, past a mean where that is so."""
    first = sds[0] <= sds[1]
    own, other = (tuple(np.where(first, x[i], x[1 - i]) for x in (sds, priors)) for i in (0, 1))
    # seen from the narrow class the broad one lies ahead, and once more behind it
    reach = np.minimum(_reach(arc, own, other), _reach(arc - hue.TURN, own, other))
    return np.where(first, reach, arc - reach)


def _reach(far: Array, own: tuple[Array, ...], other: tuple[Array, ...]) -> Array:
    """How far ahead of its mean a narrow class beats a broad one whose mean lies so far ahead; 0 if it never does."""
    weight, broad = 1.0 / own[0] ** 2, 1.0 / other[0] ** 2
    odds = np.log(own[1] * other[0] / (other[1] * own[0]))
    a, b, c = broad - weight, far * broad, far**2 * broad + 2.0 * odds
    inside = b**2 - a * c
    below = b + np.sqrt(np.maximum(inside, 0.0))
    crossing: Array = np.divide(c, below, out=np.full(np.shape(below), np.inf), where=below > 0.0)
    return np.where(inside >= 0.0, np.clip(crossing, -hue.TURN, hue.TURN), 0.0)


def sectors(means: Array, sds: Array, priors: Array | None = None) -> Sectors:
    """Arcs with thresholds of least error between neighbouring classes.

    Parameters
    ----------
    means : Array
        Mean hue of each class, classes on the leading axis [rad].
    sds : Array
        Standard deviation of each class [rad].
    priors : Array, optional
        Share of each class among the objects, equal if not given [-].

    Returns
    -------
    Sectors
        The arcs, in the order of the classes [rad].

    Raises
    ------
    ValueError
        If there are fewer than two classes, a mean lies outside the circle, or a deviation or prior is not
        positive.

    Notes
    -----
    The threshold is where the weighted densities of the two neighbours are equal: a quadratic, whose crossing may
    lie past a mean where spreads differ, so that a narrow class cuts its arc out of a broad one. With three classes
    or more such an arc may run into a third; where it does, or errs more, the thresholds stay between the means. A
    class so rare that no hue speaks for it gets nothing. Windings of the tails are left out here (deviations up to
    about pi / 4), not in the errors.

    References
    ----------
    duda: Pattern Classification, ch. 2 (from memory).
    """
    if np.ndim(means) < 1 or len(means) < 2:
        msg = "means must hold at least two classes on the leading axis"
        raise ValueError(msg)
    hue.check(means=means)
    share = np.ones(len(means)) if priors is None else priors
    require.positive(sds=sds, priors=share)
    mean, sd, share = np.broadcast_arrays(*hue.align(means, sds, share))
    order = np.argsort(mean, axis=0, kind="stable")
    mean, sd, share = (np.take_along_axis(x, order, axis=0) for x in (mean, sd, share))
    arc = np.roll(mean, -1, axis=0) - mean
    arc[-1] += hue.TURN
    free = _crossing(arc, (sd, np.roll(sd, -1, axis=0)), (share, np.roll(share, -1, axis=0)))
    safe, past = _between(mean, arc, np.clip(free, 0.0, arc)), _between(mean, arc, free)
    wide = past.width
    whole = np.all((wide >= 0.0) & (wide <= hue.TURN), axis=0) & (np.abs(wide.sum(axis=0) - hue.TURN) < _ROUNDING)
    if np.any(whole):
        tried = Sectors(past.start, np.clip(wide, 0.0, hue.TURN))
        missed = [(share * misclassification(mean, sd, found)).sum(axis=0) for found in (safe, tried)]
        better = whole & (missed[1] < missed[0])
        safe = Sectors(np.where(better, tried.start, safe.start), np.where(better, tried.width, safe.width))
    back = np.argsort(order, axis=0, kind="stable")
    return Sectors(np.take_along_axis(safe.start, back, 0), np.take_along_axis(safe.width, back, 0))


def _between(mean: Array, arc: Array, ahead: Array) -> Sectors:
    """Arcs of classes in the order of their means, each with its threshold so far ahead."""
    behind = np.roll(arc - ahead, 1, axis=0)
    return Sectors(np.asarray(hue.wrap(mean - behind)), np.minimum(behind + ahead, hue.TURN))


def equal_error_threshold(mean_1: Real, sd_1: Real, mean_2: Real, sd_2: Real) -> tuple[Real, Real]:
    """Threshold on the shorter arc between two classes at which both are mistaken equally often.

    Parameters
    ----------
    mean_1, mean_2 : Real
        Mean hues [rad].
    sd_1, sd_2 : Real
        Standard deviations [rad].

    Returns
    -------
    tuple[Real, Real]
        Threshold [rad]; its distance from either mean in standard deviations [-].

    Raises
    ------
    ValueError
        If a mean lies outside the circle or a deviation is not positive.

    Notes
    -----
    z = arc / (sd_1 + sd_2).

    References
    ----------
    duda: Pattern Classification, ch. 2 (from memory).
    """
    hue.check(mean_1=mean_1, mean_2=mean_2)
    require.positive(sd_1=sd_1, sd_2=sd_2)
    way = hue.difference(mean_2, mean_1)
    z = np.abs(way) / (sd_1 + sd_2)
    return hue.wrap(mean_1 + np.sign(way) * z * sd_1), z


def misclassification(means: Array, sds: Array, arcs: Sectors) -> Array:
    """Probability that one reading of each class falls outside that class's arc.

    Parameters
    ----------
    means : Array
        Mean hue of each class, classes on the leading axis [rad].
    sds : Array
        Standard deviation of each class [rad].
    arcs : Sectors
        The arcs that decide [-].

    Returns
    -------
    Array
        Probability for each class [-].

    Raises
    ------
    ValueError
        If a deviation is not positive.

    References
    ----------
    duda: Pattern Classification, ch. 2 (from memory).
    """
    mean, sd, start, width = hue.align(means, sds, arcs.start, arcs.width)
    return np.asarray(hue.arc_probability(hue.wrap(start + width), hue.TURN - width, mean, sd))


def sample_count(length: Real, speed: Real, sample_period: Real) -> tuple[Real, Real, Real]:
    """Count the readings that a passing object gets.

    Parameters
    ----------
    length : Real
        Length over which the sensor sees the object alone: the object's less the spot's [m].
    speed : Real
        Speed of the object under load [m/s].
    sample_period : Real
        Time between two readings [s].

    Returns
    -------
    tuple[Real, Real, Real]
        Fewest, mean and most readings [-].

    Raises
    ------
    ValueError
        If a quantity is not positive.

    Notes
    -----
    L / (v T_s), rounded down and up: the phase of the readings is random.

    References
    ----------
    practice: counting.
    """
    require.positive(length=length, speed=speed, sample_period=sample_period)
    count = length / (speed * np.asarray(sample_period))
    return np.floor(count + _COUNT_SLACK), count, np.ceil(count - _COUNT_SLACK)


def majority_error(error: Real, count: Real, correlation: Real = 0.0) -> Real:
    """Probability that the majority of several readings is wrong.

    Parameters
    ----------
    error : Real
        Probability that one reading is wrong, between two classes [-].
    count : Real
        Readings; a tie is settled at random, and without a reading so is everything [-].
    correlation : Real, optional
        Correlation of the noise between readings of one object (its place, its own colour, the light) [-].

    Returns
    -------
    Real
        Probability [-].

    Raises
    ------
    ValueError
        If the error or correlation lies outside 0 to 1, or the count is negative.

    Notes
    -----
    Upper tail of the binomial distribution as an incomplete beta function, I_p((k + 1) / 2, (k + 1) / 2)
    for odd k; an even count does no better than the odd one below it. With correlation the readings share
    part of normal noise. A little of it is integrated out around independent votes; much of it around the
    median of the rest (24 nodes, absolute error below 1e-5).

    References
    ----------
    condorcet: majority vote of independent decisions (from memory).
    """
    require.fraction(error=error, correlation=correlation)
    require.not_negative(count=count)
    half = np.ceil(0.5 * np.floor(count))
    safe = np.maximum(half, 1.0)
    voted = _independent(error, safe)
    if np.any(correlation):
        shared = np.asarray(correlation, dtype=float)
        own_median = np.pi / (4.0 * safe - 4.0 + np.pi)  # about the variance of the median of 2 h - 1 normals
        little = shared <= own_median * (1.0 - shared)
        if np.any(little):
            voted = np.where(little, _little_shared(error, safe, shared), voted)
        if not np.all(little):
            voted = np.where(little, voted, _much_shared(error, safe, shared))
    return np.where(half > 0.0, voted, 0.5)[()]


_MOST_TERMS = 48.0
"""Up to this half of the readings a vote is summed; beyond, the incomplete beta function is quicker."""


def _independent(error: Real, half: Real) -> Array:
    """Majority error of 2 half - 1 independent readings: ``p**h`` times the sum of ``(1-p)**j (h-1+j over j)``."""
    most, least = float(np.max(half)), float(np.min(half))
    if most > _MOST_TERMS:
        from scipy.special import betainc  # noqa: PLC0415  (a slow import, for long votes only)

        return np.asarray(betainc(half, half, error))
    right = 1.0 - np.asarray(error)
    term = total = np.ones_like(right * half)
    for j in range(1, int(most)):
        term = term * right * ((half - 1.0 + j) / j)
        total = total + (term if j < least else np.where(j < half, term, 0.0))
    return np.asarray(np.power(error, half) * total)


def _little_shared(error: Real, half: Real, shared: Array) -> Array:
    """Majority error by integration over the shared noise, votes being independent at each value of it."""
    z, own = normal.ppf(error), np.sqrt(np.maximum(1.0 - shared, 1e-12))
    voted = np.zeros(())
    for node, weight in zip(_NODES, _WEIGHTS / _WEIGHTS.sum(), strict=True):
        voted = voted + weight * _independent(normal.cdf((z + np.sqrt(shared) * node) / own), half)
    return voted


def _much_shared(error: Real, half: Real, shared: Array) -> Array:
    """Majority error by integration over the median of the readings' own noise, the shared noise in closed form."""
    z, root = normal.ppf(error), np.sqrt(np.maximum(shared, 1e-12))
    reach = 5.0 * np.sqrt(np.pi / (4.0 * half - 4.0 + np.pi))
    voted, total = np.zeros(()), np.zeros(())
    for node, weight in zip(*_LEGENDRE, strict=True):
        median = reach * node
        density = weight * np.exp(-0.5 * median**2) * (4.0 * normal.cdf(median) * normal.cdf(-median)) ** (half - 1.0)
        voted = voted + density * normal.cdf((z + np.sqrt(1.0 - shared) * median) / root)
        total = total + density
    return voted / total
