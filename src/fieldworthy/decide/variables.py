"""Which numbers of a robot file a team can change, how far, and how hard that is.

Whose a number is, and how much harder than usual a change of it is, stands where it is declared. Everything here is
common practice of workshops, without a source: it ranks remedies, it decides no verdict.
"""

from __future__ import annotations

import math

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.files import Quantity
from fieldworthy.files.document import KeyPath

_EASY: dict[str, tuple[float, float]] = {
    "length": (0.02, 0.010),
    "mass": (0.05, 0.010),
    "angle": (0.0, math.radians(5.0)),
    "time": (0.10, 0.005),
    "pressure": (0.05, 0.0),
    "volume": (0.20, 0.0),
    "ratio": (0.10, 0.02),
    "force": (0.15, 0.5),
}
"""A change that is done in an hour, by kind: share of the value plus a part in SI."""
_OTHERWISE = (0.15, 0.0)

SPANS: dict[str, float] = {"length": 0.3, "angle": math.radians(60.0), "force": 50.0, "mass": 0.5, "time": 0.5}
"""How far a place, an angle or a value that is zero now may go [SI]; others from a quarter to four times."""
_FACTOR = 4.0
_STEPS = 12


def changeable(path: KeyPath, quantity: Quantity) -> bool:
    """Tell whether a number is the team's to choose: what a default stands in for is to be measured, not changed.

    A mass follows from what a part is made of; only that of ballast is chosen by itself.
    """
    if quantity.assumed or (quantity.kind == "mass" and not any("ballast" in str(key).lower() for key in path)):
        return False
    return quantity.role == "choice" or (quantity.role == "made" and quantity.basis != "datasheet")


def effort_of(quantity: Quantity, si: float) -> float:
    """Reckon how hard it is to change a number."""
    relative, absolute = _OTHERWISE if quantity.spread else _EASY.get(quantity.kind, _OTHERWISE)
    easy = relative * abs(quantity.si) + absolute
    return quantity.effort * abs(si - quantity.si) / max(easy, 1e-12)


def ways(quantity: Quantity) -> tuple[Array, Array]:
    """List the values to try above and below the present one, nearest first."""
    share = (np.arange(1, _STEPS + 1) / _STEPS) ** 2
    if quantity.low < 0 and quantity.kind in ("length", "angle"):
        steps = SPANS[quantity.kind] * share
        return _inside(quantity.si + steps, quantity), _inside(quantity.si - steps, quantity)
    if quantity.si == 0:
        steps = SPANS.get(quantity.kind, 1.0) * share
        return _inside(steps, quantity), _inside(-steps, quantity)
    factors = _FACTOR**share
    one, other = _inside(quantity.si * factors, quantity), _inside(quantity.si / factors, quantity)
    return (one, other) if quantity.si > 0 else (other, one)


def _inside(values: Array, quantity: Quantity) -> Array:
    """Keep values a hair inside the bounds; the last one stands at the bound where there is one on the way."""
    hair = 1e-3 * abs(quantity.si)
    low = min(quantity.si, quantity.low + hair)
    high = max(quantity.si, quantity.high - hair)
    kept: Array = np.unique(np.clip(values, low, high))
    far: Array = np.abs(kept - quantity.si)
    return kept[np.argsort(far)][np.count_nonzero(far == 0) :]
