"""What a subsystem says of itself in one declaration, which engine, documents, page and commands go through."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import import_module, resources
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import DisplayUnits, Outcome, Report, Verdict
from fieldworthy.files import Quantity
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.physics.gas.actuation import Stroke
from fieldworthy.robot.model.machine import Mechanism, declared
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.shelf import PLAIN, Typical
from fieldworthy.robot.starter import Begun

if TYPE_CHECKING:  # what draws is loaded when something is drawn
    from fieldworthy.drawing.sketch import Sketch
    from fieldworthy.drawing.style import Style
    from fieldworthy.drawing.svg import Figure

EXACT = 8
"""Digits of what is stated, or follows from counts and sizes alone."""
COMPUTED = 4
"""Digits of what the model gives: at most a twentieth of a per cent is lost."""


@dataclass(frozen=True, slots=True)
class Constant:
    """One number for the robot's program.

    Attributes
    ----------
    words : What it is called, from the general to the particular; some are the person's own
    value : In SI
    kind : Kind of quantity; ``count`` for a bare number; or a unit of SI of its own, such as ``V*s/m``
    about : What it is, in a few words
    origin : Key of the file, or id of the finding or fact, that it comes from
    basis : What it rests on
    tolerance : Half width of its 95 % interval in SI; None for what is computed or exact
    figures : Significant digits that mean something
    """

    words: tuple[str, ...]
    value: float
    kind: str
    about: str
    origin: str
    basis: str = "computed"
    tolerance: float | None = None
    figures: int = EXACT


@dataclass(frozen=True, slots=True)
class Stated:
    """A number that goes out as the file states it.

    Attributes
    ----------
    key : Its key path, with ``*`` for a name of the person's own
    words, about : What it is called, with ``/`` between the words, and what it is; ``{0}``, ``{1}`` are those names
    """

    key: str
    words: str
    about: str


@dataclass(frozen=True, slots=True)
class Found:
    """A number that a finding or fact tells.

    Attributes
    ----------
    id : Of the outcome; ends in ``*`` for the name of a mechanism
    number : Which number of its sentence, or ``value``
    words, about : As of `Stated`
    at_most : Ids of outcomes whose value it may not exceed either, as what is safe is less than what can be done
    counted : Whether it is a whole number
    """

    id: str
    number: str
    words: str
    about: str
    at_most: tuple[str, ...] = ()
    counted: bool = False


Quantities = Mapping[KeyPath, Quantity]
Computed = Callable[[Context, Quantities], Iterable[Constant]]


def _nothing(_context: Context, _quantities: Quantities) -> Iterable[Constant]:
    return ()


@dataclass(frozen=True, slots=True)
class Constants:
    """The constants of one system.

    Attributes
    ----------
    computed : Those of the nominal robot that no file and no finding states
    """

    stated: tuple[Stated, ...] = ()
    found: tuple[Found, ...] = ()
    computed: Computed = _nothing


def stated(path: KeyPath, quantity: Quantity, words: tuple[str, ...], about: str) -> Constant:
    """Make a constant of a number of the file."""
    exact = quantity.tolerance == 0.0
    basis = "exact" if exact else quantity.basis
    tolerance = None if exact else quantity.tolerance
    return Constant(words, quantity.si, quantity.kind, about, dotted(path), basis, tolerance)


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
    kept : Whether the end of the way has to be held from then on, whatever else draws from the tank
    """

    cylinder: str
    way: int
    force: Array
    share: Array
    moving: tuple[Real, Real] | None = None
    kept: bool = False

    @classmethod
    def held(cls, cylinder: str, way: int, force: Real, *, kept: bool = False) -> RodLoad:
        """Hold one force at the end of the way, there alone or from then on."""
        return cls(cylinder, way, np.asarray(force)[None], np.ones(1), kept=kept)

    @classmethod
    def moved(cls, cylinder: str, way: int, force: Real) -> RodLoad:
        """Move against one force along the whole way."""
        return cls(cylinder, way, np.asarray(force)[None], np.ones(1), (force, 0.0))


@dataclass(frozen=True, slots=True)
class MotorLoad:
    """What a mechanism asks of each of its motors at the worst point of what it does.

    Attributes
    ----------
    mechanism : Name of the mechanism
    motor : Name of the motors, as the mechanism names them
    torque : Of one motor, behind it [N m]; infinite where no torque moves it
    """

    mechanism: str
    motor: str
    torque: Real


@dataclass(frozen=True, slots=True)
class Swing:
    """An arm that a cylinder swings, for whoever films it.

    Attributes
    ----------
    cylinder : Its name, all on its valve together
    pushes : Whether the rod raises the arm on its way out; else on its way back
    reach : From the pivot to the cylinder's pin on the arm [m]
    raised : Shares of the stroke, and how far the arm is raised there [-, rad]
    stroke : The way up as one cylinder on the valve sees it, from an absolute pressure [Pa]
    """

    cylinder: str
    pushes: bool
    reach: float
    raised: tuple[Array, Array]
    stroke: Callable[[Real], Stroke]


def _no_swings(_context: Context) -> Mapping[str, Swing]:
    return {}


Hues: TypeAlias = tuple[Array, Array, Array]
"""Mean hue of every class, its standard deviation, and how often it comes [rad, rad, -]."""


def _no_hues(_spec: Mechanism) -> Hues | None:
    return None


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


def _turns_nothing(_context: Context) -> tuple[MotorLoad, ...]:
    return ()


def _moves_no_rods(_context: Context) -> tuple[RodLoad, ...]:
    return ()


def _starts_nothing(_begun: Begun) -> str:
    return ""


def _no_cautions(_robot: Robot) -> tuple[str, ...]:
    return ()


@dataclass(frozen=True, slots=True)
class Kit:
    """What is looked at, moved and packed for a robot before a match, list by list.

    Attributes
    ----------
    off : How the robot is made safe, where cutting the power is not all
    by_hand, switched_on, moved : What is looked at with the power off, with it on, and while it moves
    charged, closing : What is done before the mechanisms in `waiting` can move, and after everything
    waiting : Mechanisms that move only once that is done
    spares : What lies ready in the box
    inspected : What an inspector looks at on the robot itself
    """

    off: str = ""
    by_hand: tuple[str, ...] = ()
    switched_on: tuple[str, ...] = ()
    moved: tuple[str, ...] = ()
    charged: tuple[str, ...] = ()
    closing: tuple[str, ...] = ()
    waiting: frozenset[str] = frozenset()
    spares: tuple[str, ...] = ()
    inspected: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Option:
    """Another way to do a thing, which a team may choose without making the thing anew.

    Attributes
    ----------
    about : A finding that rests on a key below it may be mended by it
    what : What to do
    hours : Of work, about
    sets : What the file says then, by key path
    """

    about: KeyPath
    what: str
    hours: float
    sets: Mapping[KeyPath, Any]


@dataclass(frozen=True, slots=True)
class Cost:
    """What a mechanism's failing costs in a match, where no practice counts it.

    Attributes
    ----------
    id : Of the outcome, or how the ids of several begin
    share : The outcome's value is the share of tries that are lost; else a try is lost wherever the finding is short
    wish : The finding's limit is a wish: a try is lost only where nothing is left above nought
    takes : The object of which the tries to take one are lost; empty for none
    mechanism : The mechanism, as findings name it, without which a task's tries are lost; empty for none
    certain : Whether it is one of those that a mechanism cannot do its action without at all
    part : Share of the tries in which it matters; None where the file does not say, and then it costs none
    told_by : Key of the file that says that share; what practice counts does not hold it. Empty for every try
    """

    id: str
    share: bool = False
    wish: bool = False
    takes: str = ""
    mechanism: str = ""
    certain: bool = False
    part: float | None = 1.0
    told_by: str = ""


def _costs_nothing(_robot: Robot) -> tuple[Cost, ...]:
    return ()


def _no_options(_context: Context) -> tuple[Option, ...]:
    return ()


def _empty_kit(_robot: Robot) -> Kit:
    return Kit()


@dataclass(frozen=True, slots=True)
class Rows:
    """A small table.

    Attributes
    ----------
    heads, widths : Of the columns; the first two are what is looked up
    rows : Cells in words
    verdicts : Of each row, in a column of their own; empty for none
    """

    title: str
    heads: tuple[str, ...]
    widths: tuple[float, ...]
    rows: tuple[tuple[str, ...], ...]
    verdicts: tuple[Verdict, ...] = ()


@dataclass(frozen=True, slots=True)
class Numbers:
    """What the pit card says of a robot with numbers.

    Attributes
    ----------
    tables : Beside the checks
    between : What is done between two matches
    tensions : What is tightened or stretched, and to what
    """

    tables: tuple[Rows, ...] = ()
    between: tuple[str, ...] = ()
    tensions: tuple[str, ...] = ()


def _no_numbers(_robot: Robot, _report: Report, _shown: DisplayUnits) -> Numbers:
    return Numbers()


@dataclass(frozen=True, slots=True)
class Page:
    """A system's page in the notebook.

    Attributes
    ----------
    formulas : Keys of formulas, each with the kind of mechanism that it needs, or with a key that one gives, such as
        ``clamp.under``; empty for always
    caution : What can hurt here; empty for nothing of its own
    telling : How the ids of those facts begin that say most
    wide : Width of its figure across the page [px]; 0 for one with text beside it
    whole : Ids of facts that stand on the page of the robot as a whole instead
    """

    title: str
    question: str
    formulas: tuple[tuple[str, str], ...] = ()
    caution: str = ""
    telling: tuple[str, ...] = ()
    wide: float = 0.0
    whole: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Score:
    """What a team may judge robots by that it compares.

    Attributes
    ----------
    name, about : Of its row, and what a score from 0 to 1 means there
    of : The number by a robot's report, None where it is not known, and its unit
    least : Whether the robot with the least is the best
    """

    name: str
    about: str
    of: Callable[[Report], tuple[float | None, str]]
    least: bool = False


@dataclass(frozen=True, slots=True)
class Drain:
    """Of what the rules give every thing, how much a plan takes; a fact says what is left.

    Attributes
    ----------
    left : How the ids of those facts begin
    given : Id of the findings that say what there is, of the same subjects
    words : What is taken, from ``{0}``
    """

    left: str
    given: str
    words: str


@dataclass(frozen=True, slots=True)
class Slider:
    """What moves in a drawing of the local page.

    Attributes
    ----------
    name : Of the drawing
    label, run : Beside the slider, and beside the button that runs it
    seconds : That a run takes on the screen: slow enough to follow with the eye
    """

    name: str
    label: str
    run: str
    seconds: int


@dataclass(frozen=True, slots=True)
class Placed:
    """A thing that stands on one of several others.

    Attributes
    ----------
    name, on : The thing, and what it stands on
    key : Where the file says so
    told, good : What follows from it, and whether that is enough; None where nothing is judged
    """

    name: str
    on: str
    key: KeyPath
    told: str
    good: bool | None = None


@dataclass(frozen=True, slots=True)
class Board:
    """Things that stand on one of several others, which a person may move from one to another.

    Attributes
    ----------
    what, others : What they stand on, in one word, and the names of all of those
    placed : Every thing
    how, empty, moved : How they are moved, what is said where nothing stands, and once ``{0}`` stands on ``{1}``
    told, before : What follows for all of them, and what is said of that once it has changed
    """

    what: str
    others: tuple[str, ...]
    placed: tuple[Placed, ...]
    how: str
    empty: str
    moved: str
    told: str
    before: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a view of the local page.

    Attributes
    ----------
    title : Empty for none
    sliders : What moves, with its drawing at a share of the way
    figures : With a name each, for files; None where there is nothing to draw
    """

    title: str = ""
    board: Board | None = None
    sliders: tuple[tuple[Slider, Callable[[float], Figure]], ...] = ()
    figures: tuple[tuple[str, Figure | None], ...] = ()
    table: Rows | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class View:
    """A view of the local page.

    Attributes
    ----------
    name, label, purpose : In the address, in the bar, and in one sentence there
    lead, caution : What it says first; empty for nothing
    empty : What it says of a robot of which it has nothing to show
    words : Words of the glossary that a person meets there
    """

    name: str
    label: str
    purpose: str
    lead: str = ""
    caution: str = ""
    empty: str = ""
    words: tuple[str, ...] = ()


def later(function: str) -> Callable[..., Any]:
    """A function, said as ``module:name``, whose module is loaded when something is to be drawn."""
    module, _, name = function.partition(":")

    def call(*arguments: Any) -> Any:
        return getattr(import_module(module), name)(*arguments)

    return call


@dataclass(frozen=True, slots=True)
class System:
    """One subsystem of a robot.

    Attributes
    ----------
    families : First words of the ids of its findings, and what each says
    page, page_of : Its page in the notebook, or the system on whose page it stands
    figures : What stands on that page
    sketches : Pictures of what lengths mean, by what the file declares
    view, view_of : Its view of the local page, or the system in whose view it is shown; without either it is shown
        with the robot
    shown : What it shows there; None for its figures
    card : By kind of mechanism, the step of the pit card; ``{name}`` stands for the mechanism
    warns : By the id of a finding without the mechanism's name, what the card says instead while it is short
    spares : What lies ready in the box where the robot has one of its mechanisms
    kit, numbers : What else it puts on the sheets that are carried to an event
    inspected : What an inspector looks at, by the id of the finding that says it
    cautions : Sentences for a robot that calls for them
    follows : Which of its findings are consequences of which others, on a robot
    required : Findings without which one of its mechanisms cannot do its action at all, by their id before its name
    wished : The same of findings whose limit is a wish: it cannot where nothing is left above nought
    asks : By an id before its name, the question that settles a finding of `required` which practice contradicts
    pressed : How the ids of those begin that turn on the pressure left in a tank
    dangerous : Ids of findings that no change may break or make worse: something could burst, or lie where nothing can
    rules : How the ids of those begin that are the event's rules: a robot that is short of one may not take part
    constants : What the robot's own program may want to know of it
    starter : Its part of a first robot file, for a team to uncomment; empty for none
    shelf : Typical things that a person can put on a robot to begin with
    actuators : What moves the groups of parts that ride its mechanisms, by group
    rods : What its mechanisms ask of the rods of their cylinders, whatever the air
    turned : What its mechanisms ask of their motors
    swings : Its arms that a cylinder swings, by mechanism
    hues : What one of its mechanisms tells apart by hue; None where it tells nothing so
    options : Other ways to do a thing, that may mend one of its findings
    scores : What robots may be judged by in a comparison
    drains : What a plan takes of what the rules give
    costs : What its mechanisms' failing costs in a match, where no practice counts it
    """

    name: str
    package: str
    check: Check
    families: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    kinds: tuple[type[Mechanism], ...] = ()
    page: Page | None = None
    page_of: str = ""
    figures: Callable[[Context, Style], Iterable[Figure]] | None = None
    sketches: Callable[[], Mapping[type, Sketch]] = dict
    view: View | None = None
    view_of: str = ""
    shown: Callable[[Context, Style], Iterable[Section]] | None = None
    card: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    warns: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    spares: tuple[str, ...] = ()
    kit: Callable[[Robot], Kit] = _empty_kit
    options: Callable[[Context], Iterable[Option]] = _no_options
    costs: Callable[[Robot], Iterable[Cost]] = _costs_nothing
    numbers: Callable[[Robot, Report, DisplayUnits], Numbers] = _no_numbers
    scores: tuple[Score, ...] = ()
    drains: tuple[Drain, ...] = ()
    inspected: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    cautions: Callable[[Robot], tuple[str, ...]] = _no_cautions
    follows: Callable[[Robot], Follows] = _follows_nothing
    required: tuple[str, ...] = ()
    wished: tuple[str, ...] = ()
    asks: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    pressed: tuple[str, ...] = ()
    dangerous: tuple[str, ...] = ()
    rules: tuple[str, ...] = ()
    constants: Constants = field(default_factory=Constants)
    starter: Callable[[Begun], str] = _starts_nothing
    shelf: tuple[Typical, ...] = ()
    actuators: Callable[[Context], Mapping[str, Actuator]] = _no_actuators
    rods: Callable[[Context], Iterable[RodLoad]] = _moves_no_rods
    turned: Callable[[Context], Iterable[MotorLoad]] = _turns_nothing
    swings: Callable[[Context], Mapping[str, Swing]] = _no_swings
    hues: Callable[[Mechanism], Hues | None] = _no_hues

    def findings_text(self) -> str:
        """The chapter about its findings, in Markdown."""
        return resources.files(self.package).joinpath("findings.md").read_text(encoding="utf-8")


def systems() -> tuple[System, ...]:
    """Every installed system, in the order in which its check runs and its page stands."""
    return declared()


def sections(context: Context, style: Style, view: str = "") -> Iterator[Section]:
    """What the local page shows of a robot in the view of this name, or, without one, with the robot itself."""
    views = {system.name: system.view.name for system in systems() if system.view is not None}
    for system in systems():
        if view != views.get(system.view_of or system.name, ""):
            continue
        if system.shown is not None:
            yield from system.shown(context, style)
        elif system.figures is not None:
            drawn = system.figures(context, style)
            yield Section(figures=tuple((figure.title.replace("'", "").lower(), figure) for figure in drawn))


def swings(context: Context) -> dict[str, Swing]:
    """Every arm that a cylinder swings, by mechanism."""
    return {name: swing for system in systems() for name, swing in system.swings(context).items()}


def hues_of(spec: Mechanism) -> Hues | None:
    """What a mechanism tells apart by hue; None where it tells nothing so."""
    found = (system.hues(spec) for system in systems())
    return next((hues for hues in found if hues is not None), None)


def shelf() -> tuple[Typical, ...]:
    """Every typical thing that a robot can begin with."""
    return (*(typical for system in systems() for typical in system.shelf), PLAIN)


@cache
def sketches() -> Mapping[type, Sketch]:
    """Pictures of what lengths mean, by what a file declares."""
    from fieldworthy.robot.sketches import GENERAL  # noqa: PLC0415  see `later`

    return MappingProxyType(dict(GENERAL) | {kind: of for s in systems() for kind, of in s.sketches().items()})


@cache
def dangerous() -> frozenset[str]:
    """The ids of findings of any system that no change may break or make worse."""
    return frozenset(identifier for system in systems() for identifier in system.dangerous)


@cache
def _rules() -> tuple[str, ...]:
    return tuple(start for system in systems() for start in system.rules)


def is_rule(identifier: str) -> bool:
    """Tell whether a finding is one of the event's rules: a robot that is short of it may not take part."""
    return identifier.startswith(_rules())


def drains() -> tuple[Drain, ...]:
    """What a plan may take of what the rules give, by every system."""
    return tuple(drain for system in systems() for drain in system.drains)


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
