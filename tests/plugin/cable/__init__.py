"""Cables between two places of the robot: a system in a package of its own, found by its entry point."""

from __future__ import annotations

from cable.check import check
from cable.figure import figures
from cable.model import Cable
from fieldworthy.engine.system import Kit, Numbers, Page, System


def cautions(robot):
    """What to heed where there is a cable."""
    runs = any(isinstance(spec, Cable) for spec in robot.mechanisms.values())
    return ("Switch the robot off before you unplug a cable.",) if runs else ()


def kit(robot):
    """What is looked at on the cables."""
    return Kit(by_hand=("Cables: none hangs loose.",), inspected=("Every cable is fastened at both ends.",))


def numbers(robot, report, shown):
    """How long each is."""
    cables = ((name, spec) for name, spec in robot.mechanisms.items() if isinstance(spec, Cable))
    return Numbers(tensions=tuple(f"{name}: {shown.number(spec.length, 'length')} long" for name, spec in cables))


def starter(begun):
    """A cable for a team to uncomment."""
    return f"# A cable.\n#  lead:\n#    kind: cable\n#    length: {begun.write.of('length', 0.5)}\n"


SYSTEM = System(
    name="cable",
    package=__name__,
    check=check,
    families={"cable": "whether every cable reaches in every pose"},
    kinds=(Cable,),
    page=Page(
        title="Cables",
        question="Does every cable reach from end to end in every pose of the robot?",
        caution="Keep cables clear of gears and chains.",
    ),
    figures=figures,
    card={"cable": "Cable '{name}': both plugs click, nothing pulls while the arm is up."},
    spares=("one cable of each length",),
    cautions=cautions,
    required=("cable.reach",),
    kit=kit,
    numbers=numbers,
    inspected={"cable.reach.to the arm": "Length of the cable"},
    starter=starter,
)
