"""A robot in a season as checks see it: shared state is computed once, and what a result rests on is found, not typed.

The robot notes which of its fields are read. Its numbers can be changed in place, so whoever holds on to a part of it
sees the new ones.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from typing import Any, TypeAlias, TypeVar

from fieldworthy.files import Quantity
from fieldworthy.files.document import KeyPath
from fieldworthy.files.reading import Draw
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season

T = TypeVar("T")
K = TypeVar("K", bound=Hashable)
Place: TypeAlias = tuple[int, str]
"""A field of a description: which of its things, counted from the top, and the field's name."""
Places: TypeAlias = frozenset[Place]


class Reads:
    """Collects which fields are read.

    Attributes
    ----------
    seen : Those read so far in what is being computed now
    """

    __slots__ = ("seen",)

    def __init__(self) -> None:
        self.seen: set[Place] = set()

    def of(self, compute: Callable[[], T]) -> tuple[T, Places]:
        """Compute something and tell what it read."""
        around, self.seen = self.seen, set()
        try:
            made = compute()
            return made, frozenset(self.seen)
        finally:
            around |= self.seen
            self.seen = around


class Memory:
    """What was computed once, and what it read."""

    __slots__ = ("_kept", "_reads")

    def __init__(self, reads: Reads | None = None) -> None:
        self._reads = reads
        self._kept: dict[Hashable, tuple[Any, Places]] = {}

    def once(self, key: Hashable, compute: Callable[[], T]) -> T:
        """Compute something the first time it is asked for."""
        kept = self._kept.get(key)
        if kept is None:
            made = (compute(), frozenset()) if self._reads is None else self._reads.of(compute)
            kept = self._kept[key] = made
        elif self._reads is not None:
            self._reads.seen |= kept[1]
        found: T = kept[0]
        return found

    def __contains__(self, key: Hashable) -> bool:
        """Tell whether something was computed already."""
        return key in self._kept

    def forget(self, changed: Places | None) -> None:
        """Drop what read a field that has changed."""
        self._kept = undisturbed(self._kept, changed)

    def without(self, changed: Places) -> Memory:
        """Give a memory of its own for a change, which begins with what read none of the fields that it touches."""
        other = Memory(self._reads)
        other._kept = undisturbed(self._kept, changed)
        return other


def undisturbed(kept: dict[K, tuple[T, Places]], changed: Places | None) -> dict[K, tuple[T, Places]]:
    """Choose what still holds after a change."""
    if changed is None:
        return {}
    return {key: one for key, one in kept.items() if changed.isdisjoint(one[1])}


class Live:
    """Descriptions filled with numbers, which can be changed in place and note which fields are read.

    Attributes
    ----------
    things : The declared things with numbers [SI]
    """

    def __init__(self, stated: Iterable[tuple[KeyPath, Any]], draw: Draw, reads: Reads, aside: bool = False) -> None:
        self._draw, self._reads, self._aside = draw, reads, aside
        self._nodes: list[tuple[KeyPath, Any]] = []
        self.things = tuple(self._filled(thing, path) for path, thing in stated)

    def _filled(self, value: Any, path: KeyPath) -> Any:
        if isinstance(value, Quantity):
            return self._draw(path, value)
        if isinstance(value, dict):
            return {key: self._filled(item, (*path, key)) for key, item in value.items()}
        if isinstance(value, tuple):
            return tuple(self._filled(item, (*path, i)) for i, item in enumerate(value))
        return self._node(value, path) if dataclasses.is_dataclass(value) else value

    def _node(self, stated: Any, path: KeyPath) -> Any:
        declared: Any = type(stated)
        node = object.__new__(_noting(declared))
        object.__setattr__(node, "_at", ~len(self._nodes) if self._aside else len(self._nodes))
        object.__setattr__(node, "_seen_by", self._reads)
        self._nodes.append((path, node))
        for name, put in _slots(declared).items():
            put(node, self._filled(getattr(stated, name), (*path, name)))
        return node

    def change(self, fields: Mapping[Place, Any], draw: Draw) -> None:
        """Put other numbers into some fields."""
        self._draw = draw
        for (at, name), value in fields.items():
            path, node = self._nodes[at]
            declared: Any = type(node).__base__
            _slots(declared)[name](node, self._filled(value, (*path, name)))

    @contextmanager
    def otherwise(self, fields: Mapping[Place, Any]) -> Iterator[None]:
        """Put other things into some fields for a while."""
        count = len(self._nodes)
        before = {(at, name): self.held(self._nodes[at][1], name) for at, name in fields}
        try:
            self.change(fields, self._draw)
            yield
        finally:
            for (at, name), held in before.items():
                node = self._nodes[at][1]
                _slots(type(node).__base__)[name](node, held)
            del self._nodes[count:]

    def nodes(self) -> list[Any]:
        """Every described thing, by its place."""
        return [node for _, node in self._nodes]

    @staticmethod
    def held(node: Any, name: str) -> Any:
        """What a field holds, without noting that it was read."""
        return getattr(type(node).__base__, name).__get__(node)

    @staticmethod
    def place(node: Any, name: str) -> Place:
        """Where a field stands."""
        return node._at, name


def fields_of(stated: Iterable[tuple[KeyPath, Any]]) -> Iterator[tuple[Place, KeyPath, Any]]:
    """List every field of some descriptions, except those that hold further described things."""
    count = iter(range(1_000_000_000))
    for path, thing in stated:
        yield from _fields(thing, path, count)


def _fields(thing: Any, path: KeyPath, count: Iterator[int]) -> Iterator[tuple[Place, KeyPath, Any]]:
    at = next(count)
    declared: Any = type(thing)
    for name in _slots(declared):
        value = getattr(thing, name)
        inner = list(_described(value, (*path, name)))
        if not inner:
            yield (at, name), (*path, name), value
        for where, item in inner:
            yield from _fields(item, where, count)


def _described(value: Any, path: KeyPath) -> Iterator[tuple[KeyPath, Any]]:
    """The described things that a field holds."""
    if isinstance(value, dict | tuple):
        for key, item in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _described(item, (*path, key))
    elif dataclasses.is_dataclass(value) and not isinstance(value, Quantity):
        yield path, value


@cache
def _slots(declared: Any) -> dict[str, Callable[[Any, Any], None]]:
    """What sets each field of a declaration, past its being frozen."""
    return {field.name: getattr(declared, field.name).__set__ for field in dataclasses.fields(declared)}


@cache
def _noting(declared: Any) -> Any:
    """The same declaration, with fields that note when they are read; a copy of it is a plain one."""
    members: dict[str, Any] = {name: _noted(name, getattr(declared, name)) for name in _slots(declared)}
    own = {
        "__slots__": ("_at", "_seen_by"),
        "__module__": declared.__module__,
        "__doc__": declared.__doc__,
        "__new__": lambda _cls, **numbers: declared(**numbers),
    }
    return type(declared.__name__, (declared,), own | members)


def _noted(name: str, slot: Any) -> property:
    get = slot.__get__

    def read(node: Any) -> Any:
        """Note that the field was read, and give it."""
        node._seen_by.seen.add((node._at, name))
        return get(node)

    return property(read)


@dataclass(frozen=True)
class Context:
    """A robot in a season, over the cases of a batch: the evaluation context of checks, figures and forecasts.

    Attributes
    ----------
    facts : Whether numbers that nothing limits are wanted too; a search over candidates reads verdicts alone
    """

    robot: Robot
    season: Season
    base: Context | None = None
    memory: Memory = field(default_factory=Memory, repr=False)
    facts: bool = True

    def once(self, key: Hashable, compute: Callable[[], T]) -> T:
        """Compute something once for this batch."""
        return self.memory.once(key, compute)

    @property
    def nominal(self) -> Context:
        """The same robot with nominal numbers alone, for questions with an axis of candidates of their own."""
        return self.base or self
