"""Straight guides: binding from an offset load."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fieldworthy.arrays import Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.display import first
from fieldworthy.engine.finding import Message, Outcome
from fieldworthy.physics.statics.guide import Guide, binding_ratio, force_to_move, shortest_guide
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
    numbers = {"ratio": (ratio, "share"), "length": (spec.length, "length"), "least": (shortest, "length")}
    pads = "{length} between its pads, {least} is the least"
    message = Message(
        f"Guide '{{name}}' is {{ratio}} of the way to locking itself: {pads}.",
        f"Guide '{{name}}' locks however hard it is pushed: {pads}. Drive it nearer its axis, or lengthen it.",
        numbers,
        {"name": name},
    )
    yield Outcome(f"guide.binding.{name}", f"guide {name}", ratio, 1.0, "ratio", message, "at most", sources=_SOURCES)


def _return(name: str, spec: LinearGuide) -> Iterator[Outcome]:
    """Whether the load alone brings the carriage back, as a drawer pushed at one corner may not come."""
    ratio = binding_ratio(spec.length, spec.load_offset, spec.friction)
    text = "Left to its load, guide '{name}' comes back: its offset is {ratio} of what would lock it."
    if first(ratio) >= 1.0:
        text = (
            "Left to its load, guide '{name}' stays where it is: the load is so far beside its axis that the pads lock."
        )
    message = Message(text, "", {"ratio": (ratio, "share")}, {"name": name})
    yield Outcome(f"guide.return.{name}", f"guide {name}", ratio, None, "ratio", message, sources=_SOURCES)


def forces(context: Context, spec: LinearGuide) -> tuple[Real, Real | None]:
    """Find the force that moves a load along its guide, and what its cylinder gives late in the plan."""
    guide = Guide(spec.length, spec.friction, spec.width)
    needed = force_to_move(guide, spec.load, spec.load_offset, spec.drive_offset)
    if spec.cylinder is None:
        return needed, None
    use = use_of(context, spec.cylinder)
    lowest = air_along_plan(context).lowest.get(spec.cylinder)
    way = 0 if spec.working == "out" or lowest is None or len(lowest) < 2 else 1
    full = np.minimum(use.circuit.p_charge, use.circuit.p_set) - state.p_atm(context)
    gauge = full if lowest is None else lowest[way].gauge
    area = use.cylinder.piston_area if spec.working == "out" else use.cylinder.ring_area
    return needed, use.spec.count * use.efficiency * np.maximum(gauge, 0.0) * area


def _force(context: Context, name: str, spec: LinearGuide) -> Iterator[Outcome]:
    """Force that moves the load, against what the cylinder gives."""
    needed, force = forces(context, spec)
    words = {"name": name}
    numbers: dict[str, tuple[Real, str]] = {"needs": (needed, "force"), "load": (spec.load, "force")}
    if force is None:
        text = "Guide '{name}' needs {needs} to move its load of {load}."
        if not np.isfinite(first(needed)):
            text = "No force moves guide '{name}': it locks."
        yield Outcome(f"guide.force.{name}", f"guide {name}", needed, None, "force", Message(text, "", numbers, words))
        return
    numbers["has"] = (force, "force")
    message = Message(
        "Guide '{name}' needs {needs} to move its load of {load}; its cylinder pushes with {has}.",
        "Guide '{name}' needs {needs} to move its load of {load}, and its cylinder pushes only with {has}.",
        numbers,
        words,
    )
    yield Outcome(f"guide.force.{name}", f"guide {name}", force, needed, "force", message, sources=_SOURCES)
