"""Which numbers of a robot file a team can change, how far, and how hard that is.

Everything here is common practice of workshops, without a source: it ranks remedies, it decides no verdict.
"""

from __future__ import annotations

import math
from fnmatch import fnmatchcase
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from fieldworthy.files import Quantity
from fieldworthy.files.problems import KeyPath

Array = npt.NDArray[np.float64]

_GIVEN = (
    "season/*", "catalogue/*",  # rules, and what a bought part is: another class is a change, its numbers are not
    "*/targets/*", "*/time_limit", "*/wanted", "*/allowed_error", "*/throughput", "*/least_tilt", "*/least_pull",
    "*/most_*", "*/clear", "*/swing", "*/yaw_error", "*/side_error", "*/typical_moves/*",  # wishes
    "drive/motor_hot", "drive/motor_start_temperature", "drive/between_matches", "ballast/*",
    "mechanisms/*/hold", "mechanisms/*/clearance", "mechanisms/*/hook", "mechanisms/*/lift",
    "mechanisms/*/hooks/clearance", "mechanisms/*/hooks/carried",
    "*/rival/*", "*/lip/*", "*/half_base", "*/loose/*", "*/classes/*", "*/tow/drag", "*/tow/down", "*/entry_time",
    "*/first_try", "*/nested",  # the world around it
    "*/efficiency", "*/friction_torque", "*/fitting_critical_ratio", "*/flexing",
    "*/wear", "*/noise", "*/correlation", "*/gyro/*", "*/unseen_drift", "*/needs", "*/build_time", "hours_left",
    "*/spread", "*/scatter",  # found out, not chosen
)  # fmt: skip
"""Key paths, joined by ``/``, that say how things are or what is wanted: no remedy changes them."""
_BOUGHT = ("*/mass", "*/size/*", "*/diameter", "*/width")
"""What a bought part has and nobody changes: kept where the file says ``basis: datasheet``."""

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
_HARDER = (
    ("drive/braking", 0.5), ("*/deceleration", 0.7), ("*/readings", 0.5),  # a number in the program
    ("*/background/*", 0.5), ("*/down_force", 0.7), ("*/tube", 0.7), ("*/leak_half_time", 0.7), ("*/start_*error", 0.7),
    ("*/period", 2.0), ("*/latency", 2.0),
    ("parts/*/mass", 2.0), ("parts/*/size/*", 3.0), ("*/moved", 2.0), ("*/sprung_mass", 2.0),
    ("*/push_load", 2.0), ("*/pull_load", 2.0), ("*/dead_volume", 3.0), ("*/tube_bore", 2.0), ("*/fitting", 2.0),
    ("*friction*", 3.0), ("*/extra_inertia", 3.0), ("drive/wheels/*", 2.0), ("*/diameter", 2.0), ("*/squeeze", 3.0),
    ("*/wobble", 3.0), ("*/slip", 3.0), ("*/runout", 3.0),
)  # fmt: skip
"""How many times harder than `_EASY` a change of such a key is; the first that fits counts."""

SPANS: dict[str, float] = {"length": 0.3, "angle": math.radians(60.0), "force": 50.0, "mass": 0.5, "time": 0.5}
"""How far a place, an angle or a value that is zero now may go [SI]; others from a quarter to four times."""
_FACTOR = 4.0
_STEPS = 12


@lru_cache(maxsize=8192)
def changeable(path: KeyPath, quantity: Quantity) -> bool:
    """Tell whether a team can change a number at all."""
    joined = "/".join(map(str, path))
    bought = quantity.basis == "datasheet" and any(fnmatchcase(joined, p) for p in _BOUGHT)
    return not bought and not any(fnmatchcase(joined, p) for p in _GIVEN)


def effort_of(path: KeyPath, quantity: Quantity, si: float) -> float:
    """Reckon how hard it is to change a number."""
    spread = str(path[-1]).endswith("_error")  # how far things are off: halving it is as hard for any size
    relative, absolute = _OTHERWISE if spread else _EASY.get(quantity.kind, _OTHERWISE)
    easy = relative * abs(quantity.si) + absolute
    joined = "/".join(map(str, path))
    harder = next((times for pattern, times in _HARDER if fnmatchcase(joined, pattern)), 1.0)
    return harder * abs(si - quantity.si) / max(easy, 1e-12)


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
