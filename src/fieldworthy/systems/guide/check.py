"""Straight guides: binding from an offset load."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.finding import Message, Outcome, first
from fieldworthy.engine.system import Context, RodLoad
from fieldworthy.physics.statics.guide import Guide, binding_ratio, moving_forces, shortest_guide
from fieldworthy.systems.guide.model import LinearGuide
from fieldworthy.vehicle import state
from fieldworthy.vehicle.supply import air_along_plan, use_of

_SOURCES = ("meriam_statics",)


def check(context: Context) -> Iterator[Outcome]:
    """Judge every straight guide."""
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, LinearGuide):
            yield from _binding(name, spec)
            yield from _return(name, spec)
            yield from _force(context, name, spec)


def _binding(name: str, spec: LinearGuide) -> Iterator[Outcome]:
    ratio = binding_ratio(spec.length, np.abs(spec.drive_offset), spec.friction)
    shortest = shortest_guide(np.abs(spec.drive_offset), spec.friction)
    least, most = moving(spec)
    numbers = {"ratio": (ratio, "share"), "length": (spec.length, "length"), "shortest": (shortest, "length"),
               "most": (most, "force")}  # fmt: skip
    pads = "its pads are {length} apart, and {shortest} is the least"
    hard = "when it is pushed with more than {most}" if np.isfinite(first(least)) else "however hard it is pushed"
    message = Message(
        f"Guide '{{name}}' is {{ratio}} of the way to locking itself: {pads}.",
        f"Guide '{{name}}' locks {hard}: {pads}. Drive it nearer to its axis, or lengthen it.",
        numbers,
        {"name": name},
    )
    yield Outcome(f"guide.binding.{name}", f"guide {name}", ratio, 1.0, "ratio", message, "at most", sources=_SOURCES)


def _return(name: str, spec: LinearGuide) -> Iterator[Outcome]:
    """Whether the load alone brings the carriage back, as a drawer pushed at one corner may not come."""
    ratio = binding_ratio(spec.length, spec.load_offset, spec.friction)
    text = "Guide '{name}' comes back by its load alone: the load's offset is {ratio} of what would lock it."
    if first(spec.load) == 0.0:
        text = "Guide '{name}' has no load that would bring it back by itself."
    elif first(ratio) >= 1.0:
        text = (
            "Guide '{name}' does not come back by its load alone: the load is so far beside its axis that "
            "the pads lock."
        )
    message = Message(text, "", {"ratio": (ratio, "share")}, {"name": name})
    yield Outcome(f"guide.return.{name}", f"guide {name}", ratio, None, "ratio", message, sources=_SOURCES)


def moving(spec: LinearGuide) -> tuple[Array, Array]:
    """Find the least and the greatest force that moves a load along its guide; infinite and none where it locks."""
    guide = Guide(spec.length, spec.friction, spec.width)
    return moving_forces(guide, spec.load, spec.load_offset, spec.drive_offset)


def rods(context: Context) -> Iterator[RodLoad]:
    """What every guide asks of its rods, friction of its pads included."""
    for spec in context.robot.mechanisms.values():
        if isinstance(spec, LinearGuide) and spec.cylinder is not None:
            needed, _ = moving(spec)
            if np.isfinite(first(needed)):
                yield RodLoad.moved(spec.cylinder, 0 if spec.working == "out" else 1, needed)


def forces(context: Context, spec: LinearGuide) -> tuple[Real, Real | None]:
    """Find the force that moves a load along its guide, and what its cylinder gives late in the plan.

    Where the cylinder presses the pads harder than it pushes, no force of its own moves the load.
    """
    needed, most = moving(spec)
    if spec.cylinder is None:
        return needed, None
    use = use_of(context, spec.cylinder)
    lowest = air_along_plan(context).lowest.get(spec.cylinder)
    way = 0 if spec.working == "out" or lowest is None or len(lowest) < 2 else 1
    full = np.minimum(use.circuit.p_charge, use.circuit.p_set) - state.p_atm(context)
    gauge = full if lowest is None else lowest[way].gauge
    area = use.cylinder.piston_area if spec.working == "out" else use.cylinder.ring_area
    force = use.spec.count * use.efficiency * np.maximum(gauge, 0.0) * area
    return np.where(force > most, np.inf, needed), force


def _force(context: Context, name: str, spec: LinearGuide) -> Iterator[Outcome]:
    """Force that moves the load, against what the cylinder gives."""
    needed, force = forces(context, spec)
    least, most = moving(spec)
    numbers: dict[str, tuple[Real, str]] = {
        "needs": (least, "force"), "load": (spec.load, "force"), "most": (most, "force")
    }  # fmt: skip
    text = "Guide '{name}' needs {needs} to move its load of {load}"
    between = text + ", and locks when it is pushed with more than {most}"
    words, locks = {"name": name}, "No force moves guide '{name}' with its load of {load}: it locks"
    if force is None:
        only = text if np.isinf(first(most)) else between
        message = Message((only if np.isfinite(first(least)) else locks) + ".", "", numbers, words)
        yield Outcome(f"guide.force.{name}", f"guide {name}", needed, None, "force", message)
        return
    numbers["has"] = (force, "force")
    short = text + ", and its cylinder pushes only with {has}."
    if not np.isfinite(first(least)):
        short = locks + ", though its cylinder pushes with {has}."
    elif first(force) > first(most):
        short = between + "; its cylinder pushes with {has}."
    message = Message(text + "; its cylinder pushes with {has}.", short, numbers, words)
    yield Outcome(f"guide.force.{name}", f"guide {name}", force, needed, "force", message, sources=_SOURCES)
