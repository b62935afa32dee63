"""The checks of input that several modules of this room share; each names the quantity it refuses."""

from __future__ import annotations

import numpy as np

from fieldworthy.physics._types import Real


def above(bound: float, *values: Real) -> bool:
    """Tell whether quantities are above a bound in every case.

    Parameters
    ----------
    bound : float
        The bound, in the quantities' own unit [-].
    *values : Real
        The quantities [-].

    Returns
    -------
    bool
        False where any is at the bound, below it, or not a number [-].
    """
    return all(value > bound if isinstance(value, float) else (np.asarray(value) > bound).all() for value in values)


def at_least(bound: float, *values: Real) -> bool:
    """Tell whether quantities are at a bound or above it in every case.

    Parameters
    ----------
    bound : float
        The bound, in the quantities' own unit [-].
    *values : Real
        The quantities [-].

    Returns
    -------
    bool
        False where any is below the bound, or not a number [-].
    """
    return all(value >= bound if isinstance(value, float) else (np.asarray(value) >= bound).all() for value in values)


def positive(**quantities: Real) -> None:
    """Refuse a quantity that is not a positive finite number.

    Parameters
    ----------
    **quantities : Real
        The quantities by name, each in its own unit [-].

    Raises
    ------
    ValueError
        If any is zero, negative, infinite or not a number; the message names it.
    """
    for name, given in quantities.items():
        value = given if isinstance(given, float) else np.asarray(given)
        # a plain number needs no array: these checks run hundreds of times for one robot
        if not (0.0 < value < np.inf if isinstance(value, float) else ((value > 0.0) & (value < np.inf)).all()):
            msg = f"{name} must be positive and finite, got {given!r}"
            raise ValueError(msg)


def not_negative(**quantities: Real) -> None:
    """Refuse a quantity that is below zero or not finite.

    Parameters
    ----------
    **quantities : Real
        The quantities by name, each in its own unit [-].

    Raises
    ------
    ValueError
        If any is negative, infinite or not a number; the message names it.
    """
    for name, given in quantities.items():
        value = given if isinstance(given, float) else np.asarray(given)
        if not (0.0 <= value < np.inf if isinstance(value, float) else ((value >= 0.0) & (value < np.inf)).all()):
            msg = f"{name} must be zero or more and finite, got {given!r}"
            raise ValueError(msg)


def fraction(**quantities: Real) -> None:
    """Refuse a quantity outside zero to one.

    Parameters
    ----------
    **quantities : Real
        The quantities by name [-].

    Raises
    ------
    ValueError
        If any lies outside zero to one; the message names it.
    """
    for name, value in quantities.items():
        x = np.asarray(value)
        if not np.all((x >= 0.0) & (x <= 1.0)):
            msg = f"{name} must lie from 0 to 1, got {value!r}"
            raise ValueError(msg)
