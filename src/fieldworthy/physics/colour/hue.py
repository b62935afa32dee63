"""Hue as an angle: statistics and distributions on the circle.

Angles are in radians from 0 to 2 pi. Samples and classes lie on the leading axis, cases on the trailing ones.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.chance import normal

TURN = 2.0 * np.pi
_WIDE = 0.75 * np.pi  # past this the wrapped normal is flat within 13 %


def windings(sd: Real) -> range:
    """Turns of the circle that a wrapped normal reaches: what is left out is past nine deviations.

    Parameters
    ----------
    sd : Real
        Standard deviation, at most 0.75 pi [rad].

    Returns
    -------
    range
        Whole turns [-].
    """
    return range(-1, 2) if np.max(sd) < 0.7 else range(-3, 4)


def check(**hues: Real) -> None:
    """Refuse a hue that does not lie on the circle.

    Parameters
    ----------
    **hues : Real
        Hues by name, 0 to 2 pi [rad].

    Raises
    ------
    ValueError
        If a hue lies outside 0 to 2 pi; the message names it.
    """
    for name, value in hues.items():
        h = np.asarray(value)
        if not np.all((h >= 0.0) & (h <= TURN)):
            msg = f"{name} must be a hue on the circle, 0 to 2 pi rad, got {value!r}"
            raise ValueError(msg)


def wrap(angle: Real) -> Real:
    """Bring any angle onto the circle.

    Parameters
    ----------
    angle : Real
        Angle [rad].

    Returns
    -------
    Real
        The same direction, 0 or more and less than 2 pi [rad].

    References
    ----------
    mardia: Directional Statistics, ch. 2 (from memory).
    """
    turned = np.mod(angle, TURN)
    return np.where(turned < TURN, turned, 0.0)[()]  # a tiny negative angle rounds up to a whole turn


def difference(hue: Real, origin: Real) -> Real:
    """Signed shortest way from one hue to another.

    Parameters
    ----------
    hue, origin : Real
        Where to, and from where [rad].

    Returns
    -------
    Real
        Angle, -pi or more and less than pi, positive towards growing hue [rad].

    References
    ----------
    mardia: Directional Statistics, ch. 2 (from memory).
    """
    return np.mod(np.asarray(hue) - origin + np.pi, TURN) - np.pi


def distance(hue: Real, other: Real) -> Real:
    """Shortest angle between two hues.

    Parameters
    ----------
    hue, other : Real
        The two hues [rad].

    Returns
    -------
    Real
        Angle, 0 to pi [rad].

    References
    ----------
    mardia: Directional Statistics, ch. 2 (from memory).
    """
    return np.abs(difference(hue, other))


def align(*leading: Real) -> tuple[Array, ...]:
    """Give arrays that share a leading axis as many trailing axes as the deepest of them has.

    Parameters
    ----------
    *leading : Real
        Arrays with classes (or channels) on the leading axis; a scalar stays one [-].

    Returns
    -------
    tuple of Array
        The same values, ready to broadcast over cases [-].
    """
    arrays = [np.asarray(x, dtype=float) for x in leading]
    deep = max(x.ndim for x in arrays)
    return tuple(x.reshape(x.shape + (1,) * (deep - x.ndim)) if x.ndim else x for x in arrays)


def resultant(hues: Array) -> tuple[Array, Array]:
    """Direction and length of the mean of samples on the circle.

    Parameters
    ----------
    hues : Array
        Samples on the leading axis [rad].

    Returns
    -------
    tuple[Array, Array]
        Mean hue [rad]; length of the mean vector, 1 for equal samples and 0 for evenly scattered ones [-].

    Raises
    ------
    ValueError
        If there are no samples or a hue lies outside the circle.

    References
    ----------
    mardia: Directional Statistics, ch. 2 (from memory).
    """
    if np.ndim(hues) < 1 or len(hues) < 1:
        msg = "hues: a class needs at least one sample"
        raise ValueError(msg)
    check(hues=hues)
    vector = np.mean(np.exp(1j * np.asarray(hues)), axis=0)
    return np.asarray(wrap(np.angle(vector))), np.minimum(np.abs(vector), 1.0)


def circmean(hues: Array) -> Real:
    """Circular mean of samples.

    Parameters
    ----------
    hues : Array
        Samples on the leading axis [rad].

    Returns
    -------
    Real
        Mean hue; without meaning where the samples cancel [rad].

    Raises
    ------
    ValueError
        If there are no samples or a hue lies outside the circle.

    References
    ----------
    mardia: Directional Statistics, ch. 2 (from memory).
    """
    return resultant(hues)[0][()]


def circstd(hues: Array) -> Real:
    """Circular standard deviation of samples.

    Parameters
    ----------
    hues : Array
        Samples on the leading axis [rad].

    Returns
    -------
    Real
        sqrt(-2 ln R), infinite where the samples cancel [rad].

    Raises
    ------
    ValueError
        If there are no samples or a hue lies outside the circle.

    Notes
    -----
    That of the wrapped normal with the same mean length R; it has no correction for few samples.

    References
    ----------
    mardia: Directional Statistics, ch. 2 (from memory).
    """
    length = resultant(hues)[1]
    logarithm = np.log(length, out=np.full(np.shape(length), -np.inf), where=length > 0.0)
    return np.sqrt(-2.0 * np.minimum(logarithm, 0.0))[()]


def wrapped_normal(hue: Real, mean: Real, sd: Real) -> Real:
    """Density of the normal distribution wrapped round the circle.

    Parameters
    ----------
    hue, mean, sd : Real
        Where, and the mean; standard deviation [rad].

    Returns
    -------
    Real
        Density [1/rad].

    Raises
    ------
    ValueError
        If the standard deviation is not positive.

    Notes
    -----
    Sum of the windings that reach the place; past 0.75 pi of standard deviation the first two harmonics
    instead.

    References
    ----------
    mardia: Directional Statistics, ch. 3 (from memory).
    """
    require.positive(sd=sd)
    d, narrow = np.asarray(difference(hue, mean)), np.minimum(sd, _WIDE)
    total = np.zeros(())
    for k in windings(narrow):
        total = total + np.exp(-0.5 * ((d + TURN * k) / narrow) ** 2)
    rho = np.exp(-0.5 * np.asarray(sd) ** 2)
    flat = (1.0 + 2.0 * rho * np.cos(d) + 2.0 * rho**4 * np.cos(2.0 * d)) / TURN
    density: Array = np.where(np.asarray(sd) < _WIDE, total / (narrow * np.sqrt(TURN)), flat)
    return density[()]


def arc_probability(start: Real, width: Real, mean: Real, sd: Real) -> Real:
    """Probability that a wrapped normal hue falls on an arc.

    Parameters
    ----------
    start, width, mean : Real
        Hue at which the arc begins; extent of the arc towards growing hue, 0 to 2 pi; mean hue [rad].
    sd : Real
        Standard deviation, at most 0.75 pi; a larger one counts as that [rad].

    Returns
    -------
    Real
        Probability, exact far into the tails [-].

    Raises
    ------
    ValueError
        If the width lies outside 0 to 2 pi or the standard deviation is not positive.

    References
    ----------
    mardia: Directional Statistics, ch. 3 (from memory).
    """
    require.positive(sd=sd)
    check(width=width)
    spread = np.minimum(sd, _WIDE)
    a = np.asarray(difference(start, mean)) / spread
    step, span = TURN / spread, width / spread
    total = np.zeros(())
    for k in windings(spread):
        low = a + k * step
        high = low + span
        flip = low + high > 0.0  # work in the tail that is nearer, so that small probabilities keep their digits
        total = total + normal.cdf(np.where(flip, -low, high)) - normal.cdf(np.where(flip, -high, low))
    return np.clip(total, 0.0, 1.0)
