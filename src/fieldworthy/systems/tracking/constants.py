"""Constants of tracking wheels and gyro: sizes, counts and the way on each."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fieldworthy.engine.finding import first
from fieldworthy.engine.system import Constant, Constants, Context, Found, Quantities, Stated


def computed(context: Context, _quantities: Quantities) -> Iterator[Constant]:
    """Counts of each tracking wheel, and the way on one."""
    tracking = context.robot.tracking
    for name, wheel in tracking.wheels.items() if tracking is not None else ():
        key, counts = f"tracking.wheels.{name}", float(wheel.counts)
        about = f"counts on one turn of tracking wheel '{name}'"
        yield Constant(("tracking", name, "counts"), counts, "count", about, f"{key}.counts", "exact")
        way = math.pi * first(wheel.diameter) / counts
        yield Constant(("tracking", name, "travel per count"), way, "length", f"way of '{name}' on one count", key)


CONSTANTS = Constants(
    (
        Stated("tracking.wheels.*.diameter", "tracking/{0}/wheel diameter", "diameter of tracking wheel '{0}'"),
        Stated("tracking.wheels.*.offset", "tracking/{0}/offset",
               "how far tracking wheel '{0}' is from the turning centre"),
        Stated("tracking.gyro.drift", "tracking/gyro drift", "drift of the gyro at rest"),
    ),
    (Found("tracking.seam.*", "stays", "tracking/{0}/seam speed", "above it wheel '{0}' jumps at a seam"),),
    computed,
)  # fmt: skip
