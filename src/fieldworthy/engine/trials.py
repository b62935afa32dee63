"""Changed robots, judged one after another: what rests on nothing that a change touches is taken from the robot itself.

A change may be of any kind: other numbers, another class, a cylinder on another tank, a tank taken away. What was
changed is found by comparing the specifications, and what rests on it by what the checks were seen to read.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import cached_property
from typing import Any, TypeVar

from fieldworthy.engine.context import Context, Live, Memory, Place, Places, Reads
from fieldworthy.engine.finding import Outcome
from fieldworthy.engine.system import systems
from fieldworthy.files import Quantity, instantiate
from fieldworthy.files.declare import Spec
from fieldworthy.files.document import Fault, KeyPath, faults_of
from fieldworthy.files.reading import Draw, filled, nominal
from fieldworthy.robot.loading import misfits
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season

T = TypeVar("T")
Moved = Mapping[KeyPath, float]
Report = Callable[[], Iterable[Fault]]
_MISFITS = -1  # what does not fit the season is kept like a check


def _kept(_path: KeyPath, quantity: Quantity) -> Any:
    return quantity


def _never(_outcome: Outcome) -> bool:
    return False


class Trials:
    """A robot, nominal, and changes that are tried on it one at a time.

    Notes
    -----
    What is said of a changed robot is what a whole check of its file says. Not for several threads.
    """

    def __init__(self, robot: Spec, season: Season) -> None:
        self._spec, self._season = robot, season
        self._reads = Reads()
        stated = instantiate(robot, Robot, _kept)
        self._live = Live([((), stated)], nominal, self._reads)
        self._own: dict[Hashable, tuple[Any, Places]] = {}
        self._memory = Memory(self._reads)

    @property
    def _robot(self) -> Robot:
        robot: Robot = self._live.things[0]
        return robot

    def own(self, check: int) -> list[Outcome]:
        """What one of the checks says of the robot as it is."""
        asked = self._check(check, self._memory)
        return self._of_own(check, lambda: list(asked()))

    def outcomes(
        self, robot: Spec, moved: Moved, checks: Iterable[int], enough: Callable[[Outcome], bool] = _never
    ) -> list[Outcome] | None:
        """What some checks, by their place among all, say of a changed robot, up to the first outcome that is enough.

        Numbers in `moved` differ from the specification besides [SI]; None where there can be no such robot.
        """
        checks = list(checks)
        for check in checks:  # before anything is changed
            self.own(check)
        self._of_own(_MISFITS, self._misfits)
        _ = self._faults
        with self._changed(robot, moved) as (changed, laid):
            if self._faulty(changed, laid):
                return None
            memory = self._memory.without(changed)
            said: list[Outcome] = []
            for check in checks:
                for outcome in self._said(check, changed, self._check(check, memory)):
                    said.append(outcome)
                    if enough(outcome):
                        return said
            return said

    def _check(self, check: int, memory: Memory) -> Callable[[], Iterable[Outcome]]:
        context = Context(self._robot, self._season, memory=memory, facts=False)
        return lambda: systems()[check].check(context)

    def _misfits(self) -> bool:
        return any(True for _ in misfits(self._robot, self._season))

    @cached_property
    def _faults(self) -> list[tuple[Report, Places]]:
        """What each described thing says is wrong with itself, and what it was seen to read for that."""
        reports = [node.validate for node in self._live.nodes() if hasattr(node, "validate")]
        return [(report, self._reads.of(lambda: list(report()))[1]) for report in reports]  # noqa: B023  called at once

    def _faulty(self, changed: Places, laid: tuple[Any, ...]) -> bool:
        """Whether a changed robot could not be, on its own or in its season."""
        asked = (report for report, read in self._faults if not changed.isdisjoint(read))
        alone = any(True for report in asked for _ in report()) or any(True for _ in faults_of(laid))
        return alone or bool(self._said(_MISFITS, changed, self._misfits))

    def _of_own(self, key: int, compute: Callable[[], T]) -> T:
        if key not in self._own:
            self._own[key] = self._reads.of(compute)
        found: T = self._own[key][0]
        return found

    def _said(self, key: int, changed: Places, compute: Callable[[], T]) -> T:
        found, read = self._own[key]
        kept: T = found
        return kept if changed.isdisjoint(read) else compute()

    @contextmanager
    def _changed(self, robot: Spec, moved: Moved) -> Iterator[tuple[Places, tuple[Any, ...]]]:
        """Put a change into the live robot, and take it out again."""

        def draw(path: KeyPath, quantity: Quantity) -> float:
            """Give a number where it is moved to."""
            return moved.get(path, quantity.si)

        heads = frozenset(path[:end] for path in moved for end in range(len(path) + 1))
        edits = list(_edits(self._robot, (self._spec, robot), (), heads))
        places = frozenset(place for edit in edits for place in edit.touched)
        with self._live.otherwise({edit.place: edit.stated(draw) for edit in edits}):
            yield places, tuple(Live.held(self._live.nodes()[edit.place[0]], edit.place[1]) for edit in edits)


@dataclasses.dataclass(frozen=True, slots=True)
class _Edit:
    """A field of the live robot that a change touches.

    Attributes
    ----------
    place : Of the field
    path : Of the field, in the file
    touched : This place, and those below what the field holds now
    new : What the specification says
    declared : The declaration whose field it is
    """

    place: Place
    path: KeyPath
    touched: frozenset[Place]
    new: Any
    declared: Any

    def stated(self, draw: Draw) -> Any:
        """What goes into the field."""
        return filled(self.declared, self.path, self.new, draw)


def _edits(node: Any, specs: tuple[Spec, Spec], path: KeyPath, heads: frozenset[KeyPath]) -> Iterator[_Edit]:
    """Find the fields in which two specifications differ, or in which a number is moved."""
    old, new = specs
    declared: Any = type(node).__base__
    for field in dataclasses.fields(declared):
        here = (*path, field.name)
        pair = getattr(old, field.name), getattr(new, field.name)
        if pair[0] is pair[1] and here not in heads:
            continue
        held = Live.held(node, field.name)
        inner = _inside(held, pair, here)
        if inner is not None:
            for below, both, where in inner:
                if both[0] is not both[1] or where in heads:
                    yield from _edits(below, both, where, heads)
        elif here in heads or pair[0] != pair[1]:
            place = Live.place(node, field.name)
            yield _Edit(place, here, frozenset((place, *_below(held))), pair[1], declared)


def _inside(held: Any, pair: tuple[Any, Any], path: KeyPath) -> list[tuple[Any, tuple[Spec, Spec], KeyPath]] | None:
    """The things in a field that can be compared one by one; None where the field has to be compared as a whole."""
    old, new = pair
    if isinstance(old, Spec):
        return [(held, (old, new), path)] if type(old) is type(new) else None
    if isinstance(old, dict) and isinstance(new, dict) and list(old) == list(new):
        keys: Iterable[Any] = old
    elif isinstance(old, tuple) and isinstance(new, tuple) and len(old) == len(new):
        keys = range(len(old))
    else:
        return None
    each = [_inside(held[key], (old[key], new[key]), (*path, key)) for key in keys]
    found = [one for one in each if one is not None]
    return [item for one in found for item in one] if each and len(found) == len(each) else None


def _below(held: Any) -> Iterator[Place]:
    """Every field below what a field holds."""
    if isinstance(held, dict):
        for item in held.values():
            yield from _below(item)
    elif isinstance(held, tuple):
        for item in held:
            yield from _below(item)
    elif dataclasses.is_dataclass(held):
        declared: Any = type(held).__base__
        for field in dataclasses.fields(declared):
            yield Live.place(held, field.name)
            yield from _below(Live.held(held, field.name))
