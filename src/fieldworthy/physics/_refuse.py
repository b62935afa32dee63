"""Refusal of an impossible scalar; in a batch the same condition is a mask and the case stays finite."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from fieldworthy.physics._types import Array, Real

TINY = 1e-300
"""Smallest divisor: keeps a division by zero finite without touching any real quantity."""

SMALL = 1e-100
"""A divisor whose quotient may still be squared."""


def refuse(valid: npt.NDArray[np.bool_] | np.bool_ | bool, message: str | Callable[[], str]) -> None:
    """Refuse an impossible scalar case.

    Parameters
    ----------
    valid : ndarray of bool
        Whether each case is possible [-].
    message : str or callable
        What is wrong, naming the quantity; a callable is asked only when it is needed [-].

    Raises
    ------
    ValueError
        If ``valid`` is a scalar and false; a batch is left to the caller's mask.
    """
    if np.ndim(valid) == 0 and not valid:
        raise ValueError(message if isinstance(message, str) else message())


def refuse_unsized(**quantities: Real) -> None:
    """Refuse scalar quantities that are not positive and finite.

    Parameters
    ----------
    **quantities : Real
        The quantities by name, each in its own unit [-].

    Raises
    ------
    ValueError
        If one is a scalar and zero, negative or not finite; the message names it.
    """
    for name, value in quantities.items():
        # a batch is not refused, and printing its numbers would take longer than the physics
        if np.ndim(value) == 0:
            refuse(0.0 < value < np.inf, f"{name} must be positive, got {value!r}")


def ratio(numerator: Real, denominator: Real) -> Array:
    """Return a quotient of which a non-positive denominator gives infinity.

    Parameters
    ----------
    numerator : Real
        What there is [-].
    denominator : Real
        What is asked for [-]; nothing asked for is met infinitely often.

    Returns
    -------
    Array
        The quotient [-], infinite where the denominator is not positive.
    """
    top, bottom = np.broadcast_arrays(np.asarray(numerator, dtype=float), np.asarray(denominator, dtype=float))
    quotient: Array = np.divide(top, bottom, out=np.full(top.shape, np.inf), where=bottom > 0.0)
    return quotient
