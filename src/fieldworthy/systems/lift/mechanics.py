"""What an arm on a pivot carries and is pulled by, seen from its pivot; lifts and motor arms share it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, first
from fieldworthy.physics.arms.linkage import Elastic, Weight
from fieldworthy.physics.statics.support import STANDARD_GRAVITY
from fieldworthy.systems.lift.model import Band, SidePoint, Swung
from fieldworthy.vehicle import state


@dataclass(frozen=True, slots=True)
class Arm:
    """An arm as its pivot feels it; angles run from outward towards up, on the side where the arm lies.

    Attributes
    ----------
    weights : The arm itself first, then what rides on it [SI]
    bands : Elastic assist [SI]
    inertia : About the pivot, loads included [kg m2]
    axis : Direction of the arm's own axis as its parts are placed [rad]
    """

    weights: tuple[Weight, ...]
    bands: tuple[Elastic, ...]
    inertia: Real
    axis: Real

    @property
    def own(self) -> tuple[Weight, ...]:
        """The arm itself, with nothing on it."""
        return self.weights[:1]


def polar(spec: Swung, point: SidePoint) -> tuple[Array, Array]:
    """Measure a point from an arm's pivot."""
    outward = (point[0] - spec.pivot[0]) * (1.0 if spec.side == "ahead" else -1.0)
    upward = point[1] - spec.pivot[1]
    return np.hypot(outward, upward), np.arctan2(upward, outward)


def arm_of(context: Context, spec: Swung, axis_point: SidePoint | None = None) -> Arm:
    """Gather what an arm carries and what pulls at it."""
    group = state.group(context, spec.rides)
    own = (group.body.cg[0], group.body.cg[2])
    axis = polar(spec, axis_point or own)[1]
    radius, angle = polar(spec, own)
    weights = [Weight(group.body.mass * STANDARD_GRAVITY, radius, angle - axis)]
    inertia: Real = group.body.inertia[1, 1] + group.body.mass * radius**2
    for load in spec.carries.values():
        thing = context.season.objects[load.object]
        distance, direction = polar(spec, load.position)
        mass = thing.mass * load.count
        weights.append(Weight(mass * STANDARD_GRAVITY, distance, direction - axis))
        inertia = inertia + mass * distance**2
    bands = tuple(_band(spec, band, axis) for band in spec.bands.values())
    return Arm(tuple(weights), bands, inertia, axis)


def _band(spec: Swung, band: Band, axis: Real) -> Elastic:
    fixed_radius, fixed_angle = polar(spec, band.fixed)
    arm_radius, arm_angle = polar(spec, band.arm)
    return Elastic(
        fixed_radius, fixed_angle, arm_radius, arm_angle - axis, band.free_length, band.stiffness, float(band.count)
    )


def cases_of(arm: Arm, *others: Real) -> tuple[int, ...]:
    """Find over how many cases an arm and what goes with it vary."""
    things: tuple[Weight | Elastic, ...] = (*arm.weights, *arm.bands)
    own = [getattr(thing, key.name) for thing in things for key in fields(thing)]
    return np.broadcast_shapes(*(np.shape(x) for x in (*own, arm.axis, arm.inertia, *others)))


def height_at(spec: Swung, point: SidePoint, turned: Real) -> Array:
    """Find how high a point of the arm is once the arm has been raised."""
    radius, angle = polar(spec, point)
    return np.asarray(spec.pivot[1] + radius * np.sin(angle + turned))


def timed(prefix: str, name: str, spec: Swung, time: Real, when: str) -> Iterator[Outcome]:
    """Tell how long an arm takes to be raised."""
    words = {"name": name, "when": when}
    stuck = f"{prefix.capitalize()} '{{name}}' does not get up {{when}}."
    text = f"{prefix.capitalize()} '{{name}}' is up in {{time}} {{when}}"
    limit = spec.time_limit
    moves = np.isfinite(first(time))
    if limit is None:
        message = Message(text + "." if moves else stuck, "", {"time": (time, "time")}, words)
        yield Outcome(f"{prefix}.time.{name}", f"{prefix} {name}", time, None, "time", message, sources=("iso6358",))
        return
    numbers = {"time": (time, "time"), "limit": (limit, "time")}
    message = Message(
        text + "; {limit} is wanted.", text + ", later than the {limit} wanted." if moves else stuck, numbers, words
    )
    yield Outcome(
        f"{prefix}.time.{name}", f"{prefix} {name}", time, limit, "time", message, "at most", sources=("iso6358",)
    )


def target(context: Context, name: str, spec: Swung, raised: Real) -> Iterator[Outcome]:
    """Tell whether an arm reaches over its structure when raised."""
    if spec.target is None:
        return
    height = height_at(spec, spec.target.point, raised)
    limit = context.season.structures[spec.target.structure].height
    numbers = {"height": (height, "length"), "limit": (limit, "length")}
    message = Message("Raised, mechanism '{name}' brings its point to {height}; the {structure} is {limit} high.",
                      "Raised, mechanism '{name}' brings its point only to {height}; the {structure} is {limit} high.",
                      numbers, {"name": name, "structure": spec.target.structure})  # fmt: skip
    yield Outcome(
        f"lift.target.{name}", f"mechanism {name}", height, limit, "length", message, sources=("plane-geometry",)
    )
