"""What a subsystem of a robot says of itself, in one declaration that everything else reads."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from importlib import resources
from types import MappingProxyType

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.drawing.figure import Figure
from fieldworthy.drawing.style import Style
from fieldworthy.engine.constants import Constants
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Outcome
from fieldworthy.robot.kinds import declared
from fieldworthy.robot.model.mechanism import Mechanism
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.shelf import PLAIN, Typical

_ALWAYS = (
    "The event's own rules and the makers' ratings come first; these results are estimates, not a licence.",
    "Lithium batteries: charge them attended, never use one that is swollen or damaged.",
)
_STORED = "Raised arms and stretched bands store energy, and moving mechanisms pinch: support them before you reach in."
Check = Callable[[Context], Iterable[Outcome]]


@dataclass(frozen=True, slots=True)
class RodLoad:
    """What a mechanism asks of the rods of its cylinder on one way.

    Attributes
    ----------
    cylinder : Name of the cylinder, all on its valve together
    way : 0 out, 1 back
    force : Against the rods, places along the way leading; negative where it helps [N]
    share : Of the way that is done at those places [-]
    moving : Force at the start of the way, and its rise along it; None where it only has to be held [N]
    """

    cylinder: str
    way: int
    force: Array
    share: Array
    moving: tuple[Real, Real] | None = None

    @classmethod
    def held(cls, cylinder: str, way: int, force: Real) -> RodLoad:
        """Hold one force at the end of the way."""
        return cls(cylinder, way, np.asarray(force)[None], np.ones(1))

    @classmethod
    def moved(cls, cylinder: str, way: int, force: Real) -> RodLoad:
        """Move against one force along the whole way."""
        return cls(cylinder, way, np.asarray(force)[None], np.ones(1), (force, 0.0))


Follows = Mapping[str, tuple[str, ...]]
"""By the id of a finding, the ids of those that it is a consequence of."""


def _follows_nothing(_robot: Robot) -> Follows:
    return {}


@dataclass(frozen=True, slots=True)
class Actuator:
    """What moves a group of parts, for an engine that simulates it.

    Attributes
    ----------
    effort : The most it gives at the joint [N m or N]
    speed : The most it moves at [rad/s or m/s]
    """

    effort: float
    speed: float


def _no_actuators(_context: Context) -> Mapping[str, Actuator]:
    return {}


def _moves_no_rods(_context: Context) -> tuple[RodLoad, ...]:
    return ()


def _no_cautions(_robot: Robot) -> tuple[str, ...]:
    return ()


@dataclass(frozen=True, slots=True)
class Page:
    """A system's page in the notebook.

    Attributes
    ----------
    formulas : Keys of formulas, each with the kind of mechanism that it needs; empty for always
    caution : What can hurt here; empty for nothing of its own
    telling : How the ids of those facts begin that say most
    wide : Width of its figure across the page [px]; 0 for one with text beside it
    """

    title: str
    question: str
    formulas: tuple[tuple[str, str], ...] = ()
    caution: str = ""
    telling: tuple[str, ...] = ()
    wide: float = 0.0


@dataclass(frozen=True, slots=True)
class System:
    """One subsystem of a robot.

    Attributes
    ----------
    families : First words of the ids of its findings, and what each says
    page, page_of : Its page in the notebook, or the system on whose page it stands
    figures : What stands on that page; the local page shows it too, in its view of the robot
    drawn_apart : Whether the local page has drawings of its own of this system instead
    card : By kind of mechanism, the step of the pit card; ``{name}`` stands for the mechanism
    warns : By the id of a finding without the mechanism's name, what the card says instead while it is short
    spares : What lies ready in the box for it
    cautions : Sentences for a robot that calls for them
    follows : Which of its findings are consequences of which others, on a robot
    required : Findings without which one of its mechanisms cannot do its action at all, by their id before its name
    constants : What the robot's own program may want to know of it
    shelf : Typical things that a person can put on a robot to begin with
    actuators : What moves the groups of parts that ride its mechanisms, by group
    rods : What its mechanisms ask of the rods of their cylinders, whatever the air
    """

    name: str
    package: str
    check: Check
    families: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    kinds: tuple[type[Mechanism], ...] = ()
    page: Page | None = None
    page_of: str = ""
    figures: Callable[[Context, Style], Iterable[Figure]] | None = None
    drawn_apart: bool = False
    card: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    warns: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    spares: tuple[str, ...] = ()
    cautions: Callable[[Robot], tuple[str, ...]] = _no_cautions
    follows: Callable[[Robot], Follows] = _follows_nothing
    required: tuple[str, ...] = ()
    constants: Constants = field(default_factory=Constants)
    shelf: tuple[Typical, ...] = ()
    actuators: Callable[[Context], Mapping[str, Actuator]] = _no_actuators
    rods: Callable[[Context], Iterable[RodLoad]] = _moves_no_rods

    def findings_text(self) -> str:
        """The chapter about its findings, in Markdown."""
        return resources.files(self.package).joinpath("findings.md").read_text(encoding="utf-8")


def systems() -> tuple[System, ...]:
    """Every installed system, in the order in which its check runs and its page stands."""
    return declared()


def shelf() -> tuple[Typical, ...]:
    """Every typical thing that a robot can begin with."""
    return (*(typical for system in systems() for typical in system.shelf), PLAIN)


def cautions(robot: Robot) -> tuple[str, ...]:
    """The cautions that a robot calls for, one sentence each, none twice."""
    moves = bool(robot.mechanisms) or any(pose.moves for pose in robot.poses.values())
    of_systems = (said for system in systems() for said in system.cautions(robot))
    return tuple(dict.fromkeys((*_ALWAYS, *([_STORED] if moves else []), *of_systems)))


def consequences(robot: Robot) -> dict[str, tuple[str, ...]]:
    """What every finding of a robot is a consequence of, where it is one."""
    found: dict[str, tuple[str, ...]] = {}
    for system in systems():
        for identifier, sources in system.follows(robot).items():
            found[identifier] = (*found.get(identifier, ()), *sources)
    return found
