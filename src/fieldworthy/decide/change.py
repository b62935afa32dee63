"""Which numbers a team can change, how far and how hard; single changes in words; and changed robots evaluated.

Whose a number is, and how much harder than usual a change of it is, stands where it is declared. Everything here is
common practice of workshops, without a source: it ranks remedies, it decides no verdict.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
import re
import warnings
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal, TypeAlias, TypeVar

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import most_cases
from fieldworthy.engine.finding import WIDEST, DisplayUnits, Outcome, first
from fieldworthy.engine.system import systems
from fieldworthy.engine.trials import Trials
from fieldworthy.files import Quantity, instantiate
from fieldworthy.files.declare import Spec
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.words import named, value_at
from fieldworthy.units import parse, to_unit

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
_SWAPPED = ("force", "stiffness")
"""What springs and bands set: a far stronger one takes longer to find, and is fitted in the same hour."""

SPANS: dict[str, float] = {"length": 0.3, "angle": math.radians(60.0), "force": 50.0, "mass": 0.5, "time": 0.5}
"""How far a place, an angle or a value that is zero now may go [SI]; others from a quarter to four times."""
_FACTOR = 4.0
_FAR = {"force": 20.0}
"""How far a value may be raised that is small now [SI]: springs and bands are bought so strong."""
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
    times = abs(si - quantity.si) / max(easy, 1e-12)
    if quantity.kind in _SWAPPED and times > 1.0:
        times = 1.0 + math.log(times)
    return quantity.effort * times


def ways(quantity: Quantity) -> tuple[Array, Array]:
    """List the values to try above and below the present one, nearest first."""
    share = (np.arange(1, _STEPS + 1) / _STEPS) ** 2
    if quantity.low < 0 and quantity.kind in ("length", "angle"):
        steps = SPANS[quantity.kind] * share
        return _inside(quantity.si + steps, quantity), _inside(quantity.si - steps, quantity)
    if quantity.si == 0:
        steps = SPANS.get(quantity.kind, 1.0) * share
        return _inside(steps, quantity), _inside(-steps, quantity)
    most = max(_FACTOR, _FAR.get(quantity.kind, 0.0) / abs(quantity.si))
    factors = most**share
    one, other = _inside(quantity.si * factors, quantity), _inside(quantity.si / _FACTOR**share, quantity)
    return (one, other) if quantity.si > 0 else (other, one)


def _inside(values: Array, quantity: Quantity) -> Array:
    """Keep values a hair inside the bounds; the last one stands at the bound where there is one on the way."""
    hair = 1e-3 * abs(quantity.si)
    low = min(quantity.si, quantity.low + hair)
    high = max(quantity.si, quantity.high - hair)
    kept: Array = np.unique(np.clip(values, low, high))
    far: Array = np.abs(kept - quantity.si)
    return kept[np.argsort(far)][np.count_nonzero(far == 0) :]


Kind = Literal["value", "size", "teeth", "count", "class", "layout", "latch", "option", "pair"]
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Edit:
    """One place of the robot file that changes.

    Attributes
    ----------
    key : The key as findings write it
    path : Its keys from the top of the file; list places are numbers
    before, after : The value as a file writes it; `after` is empty where the key is taken away
    """

    key: str
    path: tuple[str | int, ...]
    before: str
    after: str


@dataclass(frozen=True)
class Change:
    """One change of a robot, ready to be tried.

    Attributes
    ----------
    kind : What sort of change it is
    edits : Where the file changes; more than one only where cylinders change tanks together
    sentence : What to do
    effort : 1 is about an hour's work
    robot : The specification that holds it
    moved : Values that differ from that specification, by key path [SI]
    """

    kind: Kind
    edits: tuple[Edit, ...]
    sentence: str
    effort: float
    robot: Spec
    moved: Mapping[KeyPath, float] = field(default_factory=dict)


def written(number: float, unit: str) -> str:
    """Write a value as a file would."""
    text = f"{number:.10g}"
    return text if unit == "1" else f"{text} {unit}"


_WORKSHOP = {"mm": 1.0, "in": 0.0625, "deg": 1.0, "psi": 1.0, "bar": 0.05, "N": 0.5, "g": 1.0, "kg": 0.01}
"""The finest step in which a workshop makes or sets a value, by the file's unit; common practice, no source."""


def rounded(quantity: Quantity, si: float, share: float) -> list[tuple[str, float]]:
    """Write a new value with few digits, on the far side of the exact one."""
    kind, unit = quantity.kind, quantity.unit
    new, old = to_unit(si, kind, unit), to_unit(quantity.si, kind, unit)
    step = max(_round_step(share * abs(new - old)), _WORKSHOP.get(unit, 0.0) if abs(old) >= 1 else 0.0)
    away = 1 if new > old else -1
    count = math.ceil(new / step - 1e-9) if away > 0 else math.floor(new / step + 1e-9)
    texts = [written((count + i * away) * step, unit) for i in range(2)]
    return [(text, parse(text, kind).si) for text in texts]


def _round_step(most: float) -> float:
    """The largest of 1, 2 and 5 times a power of ten that is no larger."""
    power = 10.0 ** math.floor(math.log10(most))
    return max(times * power for times in (1, 2, 5) if times * power <= most * (1 + 1e-12))


Twins = Sequence[tuple[KeyPath, Quantity, float]]
"""Numbers that change with another one: key path, quantity, and -1 where it lies on the other side."""


def value_change(
    robot: Spec, entry: tuple[KeyPath, Quantity], to: tuple[str, float], effort: float, twins: Twins = ()
) -> Change:
    """Put one number of a robot, and those of its twins, to a new value."""
    (path, quantity), (text, si) = entry, to
    before = written(to_unit(quantity.si, quantity.kind, quantity.unit), quantity.unit)
    edits, moved = [Edit(dotted(path), path, before, text)], {path: si}
    for other, its, sign in twins:
        number = to_unit(sign * si, its.kind, its.unit)
        edits.append(Edit(dotted(other), other, written(to_unit(its.si, its.kind, its.unit), its.unit),
                          written(number, its.unit)))  # fmt: skip
        moved[other] = sign * si
    sentence = f"{_told(robot, entry, si, twins)} from {shown(before)} to {shown(text)}"
    return Change("value", tuple(edits), sentence, effort, robot, moved)


def shown(text: str) -> str:
    """A value of a file as a sentence writes it."""
    return re.sub(r"(?<=\d) deg\b", "°", text).replace("*", "·").replace("^2", "²")


def both(one: Change, two: Change) -> Change | None:
    """Make two changes at once; None where they touch the same key, or one takes something away."""
    taken = {edit.path for edit in one.edits}
    if any(edit.path in taken or not edit.after for edit in two.edits) or not all(edit.after for edit in one.edits):
        return None  # what takes a thing away leaves nothing to change in it
    robot = one.robot
    for edit in two.edits:
        if edit.path not in two.moved:
            robot = with_value(robot, edit.path, value_at(two.robot, edit.path))
    here, there = (value_at(c.robot, ("catalogue",)) for c in (one, two))
    for section in type(here).model_fields:  # either may use a class that the file does not name yet
        both_know = {**getattr(here, section), **getattr(there, section)}
        robot = with_value(robot, ("catalogue", section), both_know)
    sentence = f"{one.sentence}, and {two.sentence[0].lower()}{two.sentence[1:]}"
    moved = {**one.moved, **two.moved}
    return Change("pair", (*one.edits, *two.edits), sentence, one.effort + two.effort, robot, moved)


def whole(change: Change) -> Spec:
    """Lay all of a change into the specification."""
    robot: Any = change.robot
    for path, si in change.moved.items():
        robot = with_value(robot, path, dataclasses.replace(value_at(robot, path), si=si))
    spec: Spec = robot
    return spec


def _told(robot: Spec, entry: tuple[KeyPath, Quantity], si: float, twins: Twins) -> str:
    """What is done to a number and to those that change alike, without the values."""
    path, quantity = entry
    name = named(robot, path)
    others = [named(robot, other) for other, _, _ in twins]
    if name.axis in _WAYS:
        mirrored = name.axis == "left" and any(sign < 0 for _, _, sign in twins)
        outward = abs(si) > abs(quantity.si)
        way = ("outwards" if outward else "inwards") if mirrored else _WAYS[name.axis][int(si < quantity.si)]
        return f"Move {name.whole(others)} {way},"
    if quantity.low < 0 or quantity.kind == "angle":
        return f"Change {name.whole(others)}"
    return f"{'Raise' if abs(si) > abs(quantity.si) else 'Lower'} {name.whole(others)}"


_WAYS = {"forward": ("forward", "back"), "left": ("to the left", "to the right"), "up": ("up", "down")}


def with_value(spec: Any, path: KeyPath, value: Any) -> Any:
    """Lay one value into a specification."""
    if not path:
        return value
    key, rest = path[0], path[1:]
    if isinstance(spec, Spec):
        return spec.model_copy(update={str(key): with_value(getattr(spec, str(key)), rest, value)})
    if isinstance(spec, tuple):
        return tuple(with_value(item, rest, value) if i == key else item for i, item in enumerate(spec))
    if value is GONE and not rest:
        return {k: item for k, item in spec.items() if k != key}
    return {**spec, key: with_value(spec.get(key), rest, value)}


GONE: Any = object()
"""As a value: the key is taken away."""


Key: TypeAlias = tuple[str, str]
"""Id and subject of a finding; the subject is empty where the id stands alone, since the worst pose may change."""
Moved: TypeAlias = Mapping[KeyPath, float]

_OUTSIDE = (ValueError, ArithmeticError, IndexError)
"""What physics raises for a robot that cannot be."""


def keyed(outcomes: Iterable[Outcome]) -> dict[Key, Outcome]:
    """Name the judged outcomes so that they are found again on a changed robot."""
    judged = [o for o in outcomes if o.limit is not None]
    ids = [o.id for o in judged]
    return {(o.id, o.subject if ids.count(o.id) > 1 else ""): o for o in judged}


def margins_of(outcome: Outcome) -> Array:
    """Compute the margins of an outcome, with nothing to spare for what is not known."""
    if outcome.missing:
        return np.asarray(-WIDEST)
    known = ~(np.isnan(outcome.value) | np.isnan(0.0 if outcome.limit is None else outcome.limit))
    return np.where(known, outcome.margin(), -WIDEST)


def holds(outcome: Outcome | None) -> bool:
    """Tell whether an outcome holds nominally."""
    return outcome is not None and first(margins_of(outcome)) >= 0


@dataclass(frozen=True, slots=True)
class Twin:
    """A number that is changed together with another one.

    Attributes
    ----------
    path : Its key path
    sign : -1 where it lies on the other side of the robot's middle plane, else 1
    quantity : As the file gives it
    """

    path: KeyPath
    sign: float
    quantity: Quantity


_ALIKE = 1e-6  # m; places that mirror each other agree at least so well in a file
_ACROSS: KeyPath = ("position", 1)
_MIRRORED = (("drive", "wheels"), ("rollers",), ("parts",))
_SAME = (("tracking", "wheels"),)


def twins_of(numbers: Mapping[KeyPath, Quantity]) -> dict[KeyPath, tuple[Twin, ...]]:
    """Find things that mirror each other, or stand for the same, and pair their numbers."""
    found: dict[KeyPath, tuple[Twin, ...]] = {}
    for head in (*_MIRRORED, *_SAME):
        things: dict[str, dict[KeyPath, Quantity]] = {}
        for path, quantity in numbers.items():
            if path[: len(head)] == head and len(path) > len(head) + 1:
                things.setdefault(str(path[len(head)]), {})[path[len(head) + 1 :]] = quantity
        for one, other in itertools.permutations(things, 2) if head in _SAME else _near(things):
            found |= _paired(head, (one, things[one]), (other, things[other]))
    return found


def _near(things: Mapping[str, Mapping[KeyPath, Quantity]]) -> Iterator[tuple[str, str]]:
    """Pairs that may mirror each other: one sum over their numbers agrees, which spares comparing each with each."""
    alike: dict[frozenset[KeyPath], list[str]] = {}
    for name, numbers in things.items():
        if _ACROSS in numbers:
            alike.setdefault(frozenset(numbers), []).append(name)
    for keys, names in alike.items():
        order = sorted(keys, key=str)
        weights = np.sqrt(np.arange(1.0, len(order) + 1.0))
        values = np.array([[things[name][key].si for key in order] for name in names])
        mirrored = values * np.where([key == _ACROSS for key in order], -1.0, 1.0)
        own, image = values @ weights, mirrored @ weights
        rank = np.argsort(image, kind="stable")
        slack = _ALIKE * weights.sum() + 1e-9 * np.abs(own)  # rounding of the sum besides
        first, last = (np.searchsorted(image[rank], own + side * slack) for side in (-1.0, 1.0))
        for i, name in enumerate(names):
            yield from ((name, names[j]) for j in sorted(rank[first[i] : last[i]]) if j != i)


def _paired(
    head: KeyPath, one: tuple[str, dict[KeyPath, Quantity]], other: tuple[str, dict[KeyPath, Quantity]]
) -> dict[KeyPath, tuple[Twin, ...]]:
    (name, mine), (there, theirs) = one, other
    if head in _SAME:
        pairs = {k: 1.0 for k, q in mine.items() if k in theirs and "position" not in k and _equal(q, theirs[k], 1.0)}
    else:
        pairs = {k: -1.0 if k == _ACROSS else 1.0 for k in mine}
        mirrored = mine.keys() == theirs.keys() and all(_equal(q, theirs[k], pairs[k]) for k, q in mine.items())
        if not mirrored or _ACROSS not in mine or abs(mine[_ACROSS].si) <= _ALIKE:
            return {}
    return {(*head, name, *k): (Twin((*head, there, *k), sign, theirs[k]),) for k, sign in pairs.items()}


def _equal(one: Quantity, other: Quantity, sign: float) -> bool:
    return one.kind == other.kind and abs(one.si - sign * other.si) <= _ALIKE


@contextmanager
def _far() -> Iterator[None]:
    """Far values may leave a formula's range."""
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        yield


@dataclass(frozen=True)
class CandidateEvaluator:
    """A robot on which changes are tried.

    Attributes
    ----------
    loaded : The robot with its season
    """

    loaded: Loaded

    @cached_property
    def _parts(self) -> list[list[Outcome]]:
        """What each check says of the robot as it is."""
        return [self._trials.own(i) for i in range(len(systems()))]

    @cached_property
    def _trials(self) -> Trials:
        return Trials(self.loaded.robot, self.loaded.nominal_season)

    @cached_property
    def now(self) -> dict[Key, Outcome]:
        """What the checks say of the robot as it is."""
        return keyed(o for part in self._parts for o in part)

    @cached_property
    def owners(self) -> dict[Key, int]:
        """Which check says what, by its place in the list of all."""
        index = {id(o): i for i, part in enumerate(self._parts) for o in part}
        return {key: index[id(outcome)] for key, outcome in self.now.items()}

    @cached_property
    def base(self) -> Context:
        """The robot as it is."""
        return Context(self.loaded.nominal, self.loaded.nominal_season)

    @cached_property
    def shown(self) -> DisplayUnits:
        """The units that the file uses."""
        return DisplayUnits.of(self.loaded.quantities)

    def checks_for(self, keys: Iterable[Key]) -> tuple[int, ...]:
        """Find the checks that say something of some findings."""
        return tuple(sorted({self.owners[key] for key in keys}))

    @cached_property
    def twins(self) -> dict[KeyPath, tuple[Twin, ...]]:
        """What moves with a number: the same one of the thing's mirror image, or of those alike beside it."""
        return twins_of(dict(self.loaded.quantities))

    def together(self, path: KeyPath, si: float) -> dict[KeyPath, float]:
        """Move a number, and with it those of the things that are built alike."""
        return {path: si} | {twin.path: twin.sign * si for twin in self.twins.get(path, ())}

    def least(self, moves: Sequence[Moved], groups: Mapping[Key, Sequence[Key]]) -> Array:
        """Margin of each group's worst finding in each case of a batch."""
        keys = list(dict.fromkeys(key for group in groups.values() for key in group))
        margins = self.batch(moves, keys)
        rows = [np.min(margins[[keys.index(key) for key in group]], axis=0) for group in groups.values()]
        return np.array(rows).reshape(len(groups), len(moves))

    def batch(self, moves: Sequence[Moved], keys: Sequence[Key]) -> Array:
        """Try many changes, each alone, in one batch.

        Notes
        -----
        Which pose is worst and when the plan does what is that of the robot as it is, in every case.
        """
        if not moves:
            return np.empty((len(keys), 0))
        most = most_cases(len(self.loaded.quantities))
        if len(moves) > most:
            parts = [self.batch(moves[at : at + most], keys) for at in range(0, len(moves), most)]
            return np.concatenate(parts, axis=1)
        try:
            return self._margins(moves, keys)
        except _OUTSIDE:
            if len(moves) == 1:
                return np.full((len(keys), 1), -WIDEST)
        half = len(moves) // 2
        return np.concatenate([self.batch(moves[:half], keys), self.batch(moves[half:], keys)], axis=1)

    def _margins(self, moves: Sequence[Moved], keys: Sequence[Key]) -> Array:
        placed: dict[KeyPath, tuple[list[int], list[float]]] = {}
        for row, moved in enumerate(moves, 1):  # row 0 is the robot as it is
            for path, si in moved.items():
                rows, values = placed.setdefault(path, ([], []))
                rows.append(row)
                values.append(si)
        shape = (len(moves) + 1,)

        def draw(path: KeyPath, quantity: Quantity) -> Array:
            """Give each candidate its own value in its own row."""
            if path not in placed:  # an array nevertheless: what the checks line up with it has its cases too
                return np.broadcast_to(quantity.si, shape)
            drawn = np.full(shape, quantity.si)
            drawn[placed[path][0]] = placed[path][1]
            return drawn

        robot = instantiate(self.loaded.robot, Robot, draw)
        said = _said(Context(robot, self.loaded.nominal_season, self.base, facts=False), self.checks_for(keys))
        least = np.asarray(-WIDEST)
        margins = [margins_of(said[key]) if key in said else least for key in keys]
        return np.array([np.broadcast_to(m, shape)[1:] for m in margins])

    def single(self, robot: Spec, moved: Moved, checks: Iterable[int] | None = None) -> dict[Key, Outcome]:
        """Evaluate one changed robot as its file would give it."""
        try:
            with _far():
                said = self._trials.outcomes(robot, moved, range(len(systems())) if checks is None else checks)
            return {} if said is None else keyed(said)
        except _OUTSIDE:
            return {}

    def of_group(self, robot: Spec, moved: Moved, group: Sequence[Key]) -> dict[Key, Outcome]:
        """What one changed robot makes of some findings, the first of them first: the others only where that holds."""
        lead = group[0]

        def hopeless(outcome: Outcome) -> bool:
            """Whether the first is short, so that it does not matter what becomes of the others."""
            return self._named(outcome) == lead and not holds(outcome)

        owner = self.owners[lead]
        checks = [owner, *(check for check in self.checks_for(group) if check != owner)]
        try:
            with _far():
                said = self._trials.outcomes(robot, moved, checks, hopeless) or []
        except _OUTSIDE:
            return {}
        return {self._named(outcome): outcome for outcome in said if outcome.limit is not None}

    def _named(self, outcome: Outcome) -> Key:
        """The name of an outcome, as of the robot as it is."""
        key = (outcome.id, outcome.subject)
        return key if key in self.now else (outcome.id, "")


def _said(context: Context, checks: Iterable[int]) -> dict[Key, Outcome]:
    with _far():
        return keyed(o for i in checks for o in systems()[i].check(context))
