"""Does every cable reach in every pose?"""

from __future__ import annotations

from cable.mechanics import apart
from cable.model import Cable
from fieldworthy.engine.finding import Message, Outcome


def check(context):
    """Judge every cable in every pose."""
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, Cable):
            for pose, whole in context.robot.poses.items():
                yield _reach(name, spec, pose, apart(spec, whole) + spec.slack)


def _reach(name, spec, pose, needed):
    say = Message(
        "Cable '{name}' reaches in pose '{pose}': it is {length} long and {needed} are needed.",
        "Cable '{name}' does not reach in pose '{pose}': it is {length} long and {needed} are needed.",
        {"length": (spec.length, "length"), "needed": (needed, "length")},
        {"name": name, "pose": pose},
    )
    return Outcome(f"cable.reach.{name}", f"pose {pose}", spec.length, needed, "length", say)
