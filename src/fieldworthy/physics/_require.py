"""What the formulas ask of their input, and what they do with a case that cannot be.

`positive`, `not_negative` and `fraction` refuse a number or a whole batch; `refuse` and `refuse_unsized` refuse a
single number only, since in a batch the same condition is a mask and the case stays finite (`TINY`, `SMALL`, `ratio`).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real

TINY = 1e-300
"""Smallest divisor: keeps a division by zero finite without touching any real quantity."""

SMALL = 1e-100
"""A divisor whose quotient may still be squared."""


def above(bound: float, *values: Real) -> bool:
    """Tell whether quantities are above a bound in every case; not a number is not."""
    return all(value > bound if isinstance(value, float) else (np.asarray(value) > bound).all() for value in values)


def at_least(bound: float, *values: Real) -> bool:
    """Tell whether quantities are at a bound or above it in every case; not a number is not."""
    return all(value >= bound if isinstance(value, float) else (np.asarray(value) >= bound).all() for value in values)


def positive(**quantities: Real) -> None:
    """Refuse with a ValueError a quantity, by name, that is not a positive finite number in every case."""
    for name, given in quantities.items():
        value = given if isinstance(given, float) else np.asarray(given)
        # a plain number needs no array: these checks run hundreds of times for one robot
        if not (0.0 < value < np.inf if isinstance(value, float) else ((value > 0.0) & (value < np.inf)).all()):
            msg = f"{name} must be positive and finite, got {given!r}"
            raise ValueError(msg)


def not_negative(**quantities: Real) -> None:
    """Refuse with a ValueError a quantity, by name, that is below zero or not finite in any case."""
    for name, given in quantities.items():
        value = given if isinstance(given, float) else np.asarray(given)
        if not (0.0 <= value < np.inf if isinstance(value, float) else ((value >= 0.0) & (value < np.inf)).all()):
            msg = f"{name} must be zero or more and finite, got {given!r}"
            raise ValueError(msg)


def fraction(**quantities: Real) -> None:
    """Refuse with a ValueError a quantity, by name, that lies outside zero to one in any case."""
    for name, value in quantities.items():
        x = np.asarray(value)
        if not np.all((x >= 0.0) & (x <= 1.0)):
            msg = f"{name} must lie from 0 to 1, got {value!r}"
            raise ValueError(msg)


def refuse(valid: npt.NDArray[np.bool_] | np.bool_ | bool, message: str | Callable[[], str]) -> None:
    """Refuse an impossible single case with a ValueError; a batch is left to the caller's mask.

    The message names the quantity; a callable is asked only when it is needed.
    """
    if np.ndim(valid) == 0 and not valid:
        raise ValueError(message if isinstance(message, str) else message())


def refuse_unsized(**quantities: Real) -> None:
    """Refuse with a ValueError single quantities, by name, that are not positive and finite."""
    for name, value in quantities.items():
        # a batch is not refused, and printing its numbers would take longer than the physics
        if np.ndim(value) == 0:
            refuse(0.0 < value < np.inf, f"{name} must be positive, got {value!r}")


def ratio(numerator: Real, denominator: Real) -> Array:
    """Return a quotient that is infinite where the denominator is not positive: nothing asked for is always met."""
    top, bottom = np.broadcast_arrays(np.asarray(numerator, dtype=float), np.asarray(denominator, dtype=float))
    quotient: Array = np.divide(top, bottom, out=np.full(top.shape, np.inf), where=bottom > 0.0)
    return quotient
