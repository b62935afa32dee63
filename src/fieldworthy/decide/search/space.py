"""What a search may vary: numbers with a range, whole numbers, classes of bought parts, tanks, latches."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.decide.change import changeable, with_value, written
from fieldworthy.decide.discrete import counted, fits, integers, known_classes, shared_motor
from fieldworthy.decide.search.without import Without
from fieldworthy.files import Quantity
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.files.reading import references
from fieldworthy.files.writing import GONE
from fieldworthy.robot import Loaded
from fieldworthy.robot.loading import known_names
from fieldworthy.robot.model.machine import GEAR_TEETH, SPROCKET_TEETH
from fieldworthy.robot.model.robot import Robot
from fieldworthy.units import digits, parse, to_unit

Sort = Literal["number", "whole", "teeth", "count", "class", "tank", "place", "latch", "thing"]
_FACTOR = 1.5
_SPANS = {"length": 0.05, "angle": math.radians(20.0)}
"""How far a number goes where no range is stated: a place or an angle by so much either way [SI], others by the
factor; common practice, no source."""
_MORE = 2  # things more than there are now
_GRID = 100  # steps in a range whose step is not stated, at least
_WORKSHOP = {"mm": 1.0, "deg": 1.0, "psi": 1.0, "bar": 0.05, "in": 0.05}
"""The finest step in which a workshop makes or sets a value, by the file's unit; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Option:
    """One of the things that a choice may be.

    Attributes
    ----------
    text : As a person reads it
    values : What stands at each path of the variable
    """

    text: str
    values: tuple[Any, ...]


@dataclass(frozen=True)
class Variable:
    """One thing that may vary, at one place of the file or at several that change together.

    Attributes
    ----------
    key : As findings write it
    sort : What it is
    paths : Places in the file; the first is the one that `key` names
    now : The present value [SI], or the place of the present option
    quantity : Of a number, as it is now
    signs : Of a number: how the value of each path follows from that of the first, mirrored ones with -1
    low, high : Of a number [SI]
    step : Of a number, in the file's unit
    levels : Of a number that has only some values [SI]
    options : Of a choice
    """

    key: str
    sort: Sort
    paths: tuple[KeyPath, ...]
    now: float
    quantity: Quantity | None = None
    signs: tuple[float, ...] = (1.0,)
    low: float = 0.0
    high: float = 0.0
    step: float = 0.0
    levels: tuple[float, ...] = ()
    options: tuple[Option, ...] = ()

    @property
    def is_number(self) -> bool:
        """Whether it is a number with a range, not one of some options."""
        return self.quantity is not None

    @property
    def ordered(self) -> bool:
        """Whether the options stand in an order in which neighbours are alike."""
        return self.sort in ("teeth", "count")

    @cached_property
    def grid(self) -> Array:
        """Every value that a number may have [SI]; the places of the options of a choice."""
        if self.quantity is None:
            return np.arange(len(self.options), dtype=float)
        if self.levels:
            return np.array(self.levels)
        kind, unit = self.quantity.kind, self.quantity.unit
        ends = sorted(to_unit(end, kind, unit) for end in (self.low, self.high))
        counts = range(math.ceil(ends[0] / self.step - 1e-9), math.floor(ends[1] / self.step + 1e-9) + 1)
        return np.sort([parse(written(count * self.step, unit), kind).si for count in counts])

    def of_share(self, share: Array) -> Array:
        """Turn shares of the range, 0 to 1, into values on the grid."""
        return np.asarray(self.grid[np.clip((share * self.grid.size).astype(int), 0, self.grid.size - 1)])

    def share_of(self, value: Array) -> Array:
        """Where on the grid values stand, 0 to 1, in the middle of their step."""
        after = np.clip(np.searchsorted(self.grid, value), 1, max(self.grid.size - 1, 1))
        if self.grid.size == 1:
            return np.full(np.shape(value), 0.5)
        before = after - 1
        gap = np.clip((value - self.grid[before]) / (self.grid[after] - self.grid[before]), 0.0, 1.0)
        return np.asarray((before + gap + 0.5) / self.grid.size)

    def text(self, value: float) -> str:
        """Write a value as a file does."""
        if self.quantity is None:
            return self.options[int(value)].text
        if value == self.quantity.si:
            return shown_value(self.quantity)
        kind, unit = self.quantity.kind, self.quantity.unit
        number = to_unit(value, kind, unit)
        if self.step and not self.levels:
            number = round(number / self.step) * self.step
        return written(number, unit)

    def edits(self, value: float) -> dict[KeyPath, object]:
        """What a file must say at each path."""
        if self.quantity is None:
            return dict(zip(self.paths, self.options[int(value)].values, strict=True))
        first = self.text(value)
        other = first[1:] if first.startswith("-") else f"-{first}"
        return {path: first if sign > 0 else other for path, sign in zip(self.paths, self.signs, strict=True)}

    def range_text(self) -> str:
        """Say in words what it may be."""
        if self.quantity is not None and not self.levels:
            return f"{self.text(float(self.grid[0]))} to {self.text(float(self.grid[-1]))}, {self.step_text()} apart"
        texts = [self.text(float(v)) for v in self.grid]
        return "; ".join(texts) if len(texts) <= 12 else f"{'; '.join(texts[:11])}; … ({len(texts)} in all)"

    def step_text(self) -> str:
        """Write how far one value is from the next."""
        assert self.quantity is not None
        return written(self.step, self.quantity.unit)


def shown_value(quantity: Quantity) -> str:
    """Write the present value of a quantity."""
    return written(float(digits(to_unit(quantity.si, quantity.kind, quantity.unit), 7)), quantity.unit)


@dataclass(frozen=True)
class Space:
    """Everything that a search varies; a candidate is one row with a column for each variable.

    Attributes
    ----------
    variables : In the order of the columns
    less : Robots that have some mechanisms less, by the names of those
    """

    variables: tuple[Variable, ...]
    less: Mapping[tuple[str, ...], Without] = field(default_factory=dict)

    @cached_property
    def now(self) -> Array:
        """The present robot as a row."""
        return np.array([v.now for v in self.variables])

    @cached_property
    def numbers(self) -> tuple[int, ...]:
        """Columns of the numbers."""
        return tuple(i for i, v in enumerate(self.variables) if v.is_number)

    @cached_property
    def choices(self) -> tuple[int, ...]:
        """Columns of the choices."""
        return tuple(i for i, v in enumerate(self.variables) if not v.is_number)

    @cached_property
    def things(self) -> tuple[int, ...]:
        """Columns of the mechanisms that may be left out."""
        return tuple(i for i, v in enumerate(self.variables) if v.sort == "thing")

    def less_of(self, row: Array) -> Without | None:
        """What a candidate leaves out; None where it has every mechanism."""
        return self.less[names] if (names := self._left_out(row)) else None

    def _left_out(self, row: Array) -> tuple[str, ...]:
        return tuple(str(self.variables[i].paths[0][-1]) for i in self.things if row[i])

    def robot(self, loaded: Loaded, row: Array) -> Loaded:
        """The robot that a candidate is a change of: the one that is searched, or what is left of it."""
        less = self.less_of(row)
        return loaded if less is None else less.robot

    def settled(self, rows: Array) -> Array:
        """Candidates in which whatever belongs to a mechanism that is left out stands as it is now: they are alike."""
        if not self.things or not len(rows):
            return rows
        rows = rows.copy()
        for names in {self._left_out(row) for row in rows} - {()}:
            moot = [i for i, v in enumerate(self.variables) if v.sort != "thing" and self.less[names].lacks(v.paths[0])]
            alike = [k for k, row in enumerate(rows) if self._left_out(row) == names]
            rows[np.ix_(alike, moot)] = self.now[moot]
        return rows

    @property
    def count(self) -> float:
        """How many candidates there are."""
        return math.prod(float(v.grid.size) for v in self.variables)

    def of_shares(self, shares: Array) -> Array:
        """Turn points of the unit cube into candidates, shape (n, variables)."""
        return np.stack([v.of_share(shares[:, i]) for i, v in enumerate(self.variables)], axis=1)

    def shares_of(self, rows: Array) -> Array:
        """Where candidates stand in the unit cube."""
        return np.stack([v.share_of(rows[:, i]) for i, v in enumerate(self.variables)], axis=1)

    def every(self) -> Array:
        """All candidates of a space that can be listed."""
        axes = np.meshgrid(*(v.grid for v in self.variables), indexing="ij")
        return np.stack([a.ravel() for a in axes], axis=1)

    def edits(self, row: Array) -> dict[KeyPath, object]:
        """What the files of a candidate say otherwise than the present ones."""
        found: dict[KeyPath, object] = {}
        less = self.less_of(row)
        for v, value in zip(self.variables, row.tolist(), strict=True):
            if value != v.now and v.sort != "thing":
                found |= v.edits(value)
        return found | dict({} if less is None else less.changes)


def fixed_part(loaded: Loaded, space: Space, row: Array) -> Any:
    """Lay the choices of a candidate into the robot's specification; its numbers stay as they are."""
    less = space.less_of(row)
    spec = with_classes(space.robot(loaded, row), space)
    for i in space.choices:
        variable = space.variables[i]
        if variable.sort == "thing" or (less is not None and less.lacks(variable.paths[0])):
            continue
        for path, value in zip(variable.paths, variable.options[int(row[i])].values, strict=True):
            spec = with_value(spec, path, value)
    return spec


def with_classes(loaded: Loaded, space: Space) -> Any:
    """The robot's specification with every class that a choice may name in its catalogue."""
    spec: Any = loaded.robot
    for section in {section_of(v.paths[0]) for v in space.variables if v.sort == "class"}:
        spec = with_value(spec, ("catalogue", section), known_classes(spec, section))
    return spec


def section_of(path: KeyPath) -> str:
    """The section of the catalogue that holds the class which a path names."""
    last = str(path[-1])
    plural = {"motor": "motors", "wheel": "wheels", "tank": "tanks", "cylinder": "cylinders", "valve": "valves"}
    return plural.get(last, "batteries")


def what_varies(loaded: Loaded) -> tuple[Variable, ...]:
    """List everything that a search of this robot can vary, with its default range, in the order of the file."""
    found = [*_numbers(loaded), *_whole(loaded.robot), *_named(loaded), *_latches(loaded.robot), *_things(loaded.robot)]
    found = [v for v in found if v.grid.size > 1]
    order = list(type(loaded.robot).model_fields)
    return tuple(sorted(found, key=lambda v: (order.index(str(v.paths[0][0])), v.key)))


def number(
    key: str, paths: Sequence[KeyPath], entries: Mapping[KeyPath, Quantity], ends: tuple[float, float] | None = None
) -> Variable:
    """Let a number vary, between stated ends or the usual ones."""
    first = entries[paths[0]]
    low, high = ends or _usual(first)
    signs = tuple(1.0 if entries[p].si * first.si >= 0 else -1.0 for p in paths)
    step = _step(first, low, high)
    return Variable(key, "number", tuple(paths), first.si, first, signs, low, high, step)


def in_whole(loaded: Loaded, variable: Variable) -> Variable:
    """Let a number be only what makes whole parts, where what it belongs to says so, such as a chain of whole links."""
    path = variable.paths[0]
    owner: Any = loaded.nominal
    for key in path[:-1]:
        owner = owner[key] if hasattr(owner, "__getitem__") else getattr(owner, str(key))
    whole_values = getattr(owner, "whole", None)
    levels = whole_values(str(path[-1]), variable.low, variable.high) if callable(whole_values) else ()
    return dataclasses.replace(variable, levels=tuple(levels), sort="whole") if len(levels) > 1 else variable


def _step(quantity: Quantity, low: float, high: float) -> float:
    """A round step in the file's unit: what a workshop can make, or a hundredth of the range."""
    span = abs(to_unit(high, quantity.kind, quantity.unit) - to_unit(low, quantity.kind, quantity.unit))
    fine = 10.0 ** math.floor(math.log10(max(span / _GRID, 1e-12)))
    step = max(times * fine for times in (1, 2, 5) if times * fine <= max(span / _GRID, 1e-12) * (1 + 1e-9))
    workshop = _WORKSHOP.get(quantity.unit, step)
    return workshop if step <= workshop <= span else step


def _usual(quantity: Quantity) -> tuple[float, float]:
    """The range of a number for which none is stated, a hair inside its bounds."""
    si = quantity.si
    if (quantity.low < 0 and quantity.kind in _SPANS) or si == 0:
        span = _SPANS.get(quantity.kind, 1.0)
        low, high = si - span, si + span
    else:
        low, high = sorted((si / _FACTOR, si * _FACTOR))
    hair = 1e-3 * abs(si)
    return max(low, min(si, quantity.low + hair)), min(high, max(si, quantity.high - hair))


def _numbers(loaded: Loaded) -> Iterator[Variable]:
    """Every number that is the team's to choose; those of a left and a right thing that mirror each other together."""
    entries = dict(loaded.quantities)
    chosen = [p for p, q in entries.items() if p[0] not in ("season", "catalogue", "weighed") and changeable(p, q)]
    taken: set[KeyPath] = set()
    for path in chosen:
        if path in taken:
            continue
        other = mirrored(path)
        together = [path]
        if other in entries and other != path and abs(abs(entries[other].si) - abs(entries[path].si)) < 1e-9:
            together.append(other)
        taken.update(together)
        yield in_whole(loaded, number(dotted(path), together, entries))


def mirrored(path: KeyPath) -> KeyPath:
    """The path of the thing on the other side: left and right change places."""
    swap = {"left": "right", "right": "left"}
    return tuple(
        " ".join(swap.get(word, word) for word in key.split(" ")) if isinstance(key, str) else key for key in path
    )


def _whole(robot: Any) -> Iterator[Variable]:
    for path, now in integers(robot):
        last = "teeth" if "teeth" in path[-2:] else path[-1]
        if last in ("driver", "driven", "teeth"):
            yield whole(path, "teeth", now, GEAR_TEETH if last != "teeth" else SPROCKET_TEETH)
        elif counted(path) and not shared_motor(robot, path):
            pairs = 2 if path == ("drive", "motors") and now % 2 == 0 else 1  # a drive has as many on each side
            yield whole(path, "count", now, range(pairs, now + _MORE * pairs + 1, pairs))
        elif path[0] == "plan" and path[-1] == "times":
            yield whole(path, "count", now, range(1, 2 * now + _MORE + 1))


def whole(path: KeyPath, sort: Sort, now: int, sizes: Sequence[int]) -> Variable:
    """Let a whole number vary over some sizes, the present one among them."""
    listed = sorted({now, *sizes})
    options = tuple(Option(str(size), (size,)) for size in listed)
    return Variable(dotted(path), sort, (path,), float(listed.index(now)), options=options)


def _named(loaded: Loaded) -> Iterator[Variable]:
    """Classes of bought parts, the tank of each cylinder, the place of each step."""
    robot: Any = loaded.robot
    yield _wheels(robot)
    for path, (target, *_), name in references(robot, Robot):
        section = target.removeprefix("catalogue.")
        if path[:2] == ("drive", "wheels"):
            continue
        if section != target:
            now = known_classes(robot, section)
            if name not in now:  # the name of a motor that is shared: its own class varies, under 'motors'
                continue
            others = [other for other in now if fits(section, now[name], now[other])]
            yield named(path, "class", name, others)
        elif target == "air.tanks":
            yield named(path, "tank", name, list(robot.air.tanks))
        elif target == "season.places" and path[0] == "plan":
            yield named(path, "place", name, known_names(loaded.document.data, loaded.nominal_season, target))


def named(path: KeyPath, sort: Sort, now: str, names: Sequence[str]) -> Variable:
    """Let a name vary among some."""
    listed = list(dict.fromkeys([now, *names]))
    options = tuple(Option(name, (name,)) for name in listed)
    return Variable(dotted(path), sort, (path,), 0.0, options=options)


def _wheels(robot: Any) -> Variable:
    """All drive wheels together: of another size or rim, those of one class now of one class then."""
    classes: dict[str, Any] = known_classes(robot, "wheels")
    at = {("drive", "wheels", name, "wheel"): wheel.wheel for name, wheel in robot.drive.wheels.items()}
    now = list(dict.fromkeys(at.values()))
    sets: list[dict[str, str]] = [{}]
    for name in now:
        sets = [{**s, name: other} for s in sets for other in classes]
    whole_sets = [s for s in sets if len({round(classes[o].diameter.si, 4) for o in s.values()}) == 1]
    whole_sets.sort(key=lambda s: any(was != then for was, then in s.items()))  # the present ones first
    options = tuple(
        Option(" and ".join(dict.fromkeys(s.values())) if len(s) == 1 else _each(s), tuple(s[c] for c in at.values()))
        for s in whole_sets
    )
    return Variable("drive.wheels", "class", tuple(at), 0.0, options=options)


def _each(chosen: Mapping[str, str]) -> str:
    return "; ".join(then if was == then else f"{then} for {was}" for was, then in chosen.items())


def _latches(robot: Any) -> Iterator[Variable]:
    for name, mechanism in robot.mechanisms.items():
        if isinstance(getattr(mechanism, "latch", None), bool):
            options = (Option("false", (False,)), Option("true", (True,)))
            path: KeyPath = ("mechanisms", name, "latch")
            yield Variable(dotted(path), "latch", (path,), float(mechanism.latch), options=options)


def _things(robot: Any) -> Iterator[Variable]:
    """Each mechanism, with it or without."""
    options = (Option("kept", ("",)), Option("left out", (GONE,)))
    for name in robot.mechanisms:
        path: KeyPath = ("mechanisms", name)
        yield Variable(f"without {dotted(path)}", "thing", (path,), 0.0, options=options)


def narrowed(variable: Variable, options: Sequence[Option]) -> Variable:
    """Let a choice be one of some options only, the present one among them."""
    present = variable.options[int(variable.now)]
    kept = [o for o in variable.options if o.values == present.values or any(o.values == p.values for p in options)]
    more = [p for p in options if all(p.values != o.values for o in kept)]
    listed = [*kept, *more]
    if variable.ordered:
        listed.sort(key=lambda o: o.values)
    at = next(i for i, o in enumerate(listed) if o.values == present.values)
    return dataclasses.replace(variable, options=tuple(listed), now=float(at))
