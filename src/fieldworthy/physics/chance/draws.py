"""Draws of a time or another quantity, made from uniform numbers handed in.

Two variants that are handed the same numbers have the same luck, so their difference is seen sooner.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.physics import _require as require
from fieldworthy.physics._types import Array, Real
from fieldworthy.physics.chance.chance import normal_quantile


def truncated_normal(u: Real, mean: Real, sd: Real, low: Real = 0.0, high: Real = np.inf) -> Array:
    """Draw from a normal distribution cut off at both ends, by inverting its distribution function.

    Parameters
    ----------
    u : Real
        Uniform random number [-], 0 to 1.
    mean, sd : Real
        Mean and standard deviation before the cut [any], sd not negative.
    low, high : Real
        Ends [any]; a time is cut off at 0.

    Returns
    -------
    Array
        The draw [any].

    Raises
    ------
    ValueError
        If u lies outside 0 to 1, sd is negative or low is not below high.

    Notes
    -----
    The cut moves the mean upward, for a time whose sd is a third of its mean by 0.15 percent. With sd 0 the
    draw is the mean, brought within the ends. Both tails are inverted on the side where they are small.
    """
    from scipy.special import ndtr, ndtri  # noqa: PLC0415

    require.fraction(u=u)
    require.not_negative(sd=sd)
    if not np.all(np.asarray(low) < high):
        msg = f"low must be below high, got {low!r} and {high!r}"
        raise ValueError(msg)
    mid, u = np.asarray(mean, dtype=np.float64), np.asarray(u, dtype=np.float64)
    width = np.where(np.asarray(sd) > 0.0, sd, 1.0)
    with np.errstate(over="ignore"):  # an sd near the smallest number puts the ends at infinity, as it should
        a, b = (low - mid) / width, (high - mid) / width
    flip = a > 0.0
    a, b, v = np.where(flip, -b, a), np.where(flip, -a, b), np.where(flip, 1.0 - u, u)
    p = ndtr(a) + v * (ndtr(b) - ndtr(a))
    z = ndtri(np.clip(p, 1e-300, 1.0 - 1e-16))
    z = np.where(flip, -z, z)
    return np.asarray(np.clip(np.where(np.asarray(sd) > 0.0, mid + width * z, mid), low, high))


def lognormal(u: Real, mean: Real, sd: Real) -> Array:
    """Draw from the lognormal distribution with a given mean and standard deviation.

    Parameters
    ----------
    u : Real
        Uniform random number [-], between 0 and 1.
    mean, sd : Real
        Mean and standard deviation of the draw itself, not of its logarithm [any].

    Returns
    -------
    Array
        The draw [any], above zero.

    Raises
    ------
    ValueError
        If u is not between 0 and 1, the mean is not positive or sd is negative.
    """
    require.positive(mean=mean)
    require.not_negative(sd=sd)
    variance = np.log1p((np.asarray(sd, dtype=np.float64) / mean) ** 2)
    return np.asarray(mean * np.exp(np.sqrt(variance) * normal_quantile(u) - 0.5 * variance))
