"""Lays many candidates into one batch: a robot whose numbers are arrays over candidates and their cases.

Numbers, the teeth of gears and classes of bought parts vary within a batch; what makes another robot of it (a tank, a
count, a latch) begins another one.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.decide.search.space import Space, Variable, fixed_part, section_of, with_classes
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import sampled
from fieldworthy.files import Quantity, instantiate
from fieldworthy.files.declare import default_tolerance
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.match.state import Whole
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.robot import Robot, settled
from fieldworthy.robot.model.season import Season


@dataclass
class Batches:
    """Makes batches of candidates of one robot.

    Attributes
    ----------
    loaded : The robot with its season
    space : What varies
    seed : Fixes the draws
    """

    loaded: Loaded
    space: Space
    seed: int
    _bases: dict[tuple[int, ...], tuple[Any, Context]] = field(default_factory=dict)

    def alike(self, rows: Array) -> list[Whole]:
        """Find candidates that differ in nothing but what varies within a batch."""
        columns = [rows[:, i] for i in self.space.choices if not _in_batch(self.space.variables[i])]
        columns += [rows[:, i] for i in self._apart]
        columns += [makes[rows[:, i].astype(int)] for i, makes in self._makes.items()]
        if not columns:
            return [np.arange(len(rows))]
        _, which = np.unique(np.stack(columns, axis=1), axis=0, return_inverse=True)
        return [np.flatnonzero(which == k) for k in range(int(which.max()) + 1)] if len(rows) else []

    def led(self, rows: Array) -> Array:
        """Put the present robot before some candidates: where a check decides for a whole batch, by its first case."""
        first = self.space.now.copy()
        for i in self.space.choices:
            makes = self._makes.get(i)
            other = makes is not None and makes[int(first[i])] != makes[int(rows[0, i])]
            if other or not _in_batch(self.space.variables[i]):
                first[i] = rows[0, i]
        first[self._apart] = rows[0, self._apart]
        return np.vstack([first[None, :], rows])

    @cached_property
    def _apart(self) -> list[int]:
        """Columns of numbers that make other parts: a chain with its shafts farther apart has more links."""
        return [i for i, v in enumerate(self.space.variables) if v.sort == "whole"]

    @cached_property
    def _makes(self) -> dict[int, Array]:
        """Which options of a class are of one make, by column: one with a limit that another lacks is of another."""
        columns = [i for i in self.space.choices if self.space.variables[i].sort == "class"]
        catalogue = instantiate(with_classes(self.loaded, self.space), Robot).catalogue if columns else None
        found: dict[int, Array] = {}
        for i in columns:
            variable = self.space.variables[i]
            classes = getattr(catalogue, section_of(variable.paths[0]))
            makes = [tuple(_make_of(classes[name]) for name in option.values) for option in variable.options]
            found[i] = np.array([makes.index(make) for make in makes])
        return found

    def context(self, rows: Array, cases: int) -> Context:
        """The candidates as one batch: each with its cases, the nominal one first."""
        spec, base = self._base(rows[0])
        columns = {p: (i, s) for i, v in enumerate(self.space.variables) if v.is_number
                   for p, s in zip(v.paths, v.signs, strict=True)}  # fmt: skip
        nominal = self.space.robot(self.loaded, rows[0]).nominal

        def draw(path: KeyPath, quantity: Quantity) -> Real:
            """Give a number over candidates and cases."""
            known = settled(nominal, path, quantity)
            if path in columns:
                column, sign = columns[path]
                return self._varied(known, sign * rows[:, column], path, cases)
            return self._drawn(known, path, len(rows), cases)

        def of_season(path: KeyPath, quantity: Quantity) -> Real:
            """Give a number of the season."""
            return self._drawn(quantity, ("season", *path), len(rows), cases)

        robot = self._with_choices(instantiate(spec, Robot, draw), rows, cases)
        return Context(robot, instantiate(self.loaded.season, Season, of_season), base)

    def _base(self, row: Array) -> tuple[Any, Context]:
        """The robot that a batch is about, with present numbers."""
        space = self.space
        key = tuple(int(row[i]) for i in space.choices if not _in_batch(space.variables[i]))
        if key not in self._bases:
            if len(self._bases) > 64:
                self._bases.clear()
            present = space.now.copy()
            for i in space.choices:
                present[i] = row[i] if not _in_batch(space.variables[i]) else present[i]
            spec = fixed_part(self.loaded, space, present)
            self._bases[key] = (spec, Context(instantiate(spec, Robot), self.loaded.nominal_season))
        return self._bases[key]

    def _drawn(self, quantity: Quantity, path: KeyPath, count: int, cases: int) -> Real:
        """A number that does not vary: the same cases for each candidate."""
        if cases == 1 or quantity.tolerance <= 0:
            return quantity.si
        one = np.full(cases, quantity.si)
        one[1:] = sampled(quantity, dotted(path), self.seed, 0, cases - 1)
        return np.tile(one, count)

    def _varied(self, quantity: Quantity, values: Array, path: KeyPath, cases: int) -> Array:
        """A number that varies, with the tolerance that a file would give it."""
        if cases == 1:
            return values
        columns = []
        for si in values.tolist():
            one = np.full(cases, si)
            new = dataclasses.replace(quantity, si=si, tolerance=tolerance_of(quantity, si))
            if new.tolerance > 0:
                one[1:] = sampled(new, dotted(path), self.seed, 0, cases - 1)
            columns.append(one)
        return np.concatenate(columns)

    def _with_choices(self, robot: Robot, rows: Array, cases: int) -> Robot:
        """Lay teeth and classes that vary within the batch into the robot, as arrays over its cases."""
        for i in self.space.choices:
            variable = self.space.variables[i]
            if not _in_batch(variable) or (rows[:, i] == variable.now).all():
                continue
            which = np.repeat(rows[:, i].astype(int), cases)
            for at, path in enumerate(variable.paths):
                values = [option.values[at] for option in variable.options]
                if variable.sort == "class":
                    robot = _with_class(robot, path, values, which)
                else:
                    robot = _put(robot, path, np.array(values, dtype=float)[which])
        return robot


def tolerance_of(quantity: Quantity, si: float) -> float:
    """The tolerance that a changed number has: the stated one, or the usual one of its new size."""
    if quantity.tolerance <= 0 or not quantity.usual:
        return quantity.tolerance
    usual = default_tolerance(si, quantity.kind, quantity.basis)
    before = default_tolerance(quantity.si, quantity.kind, quantity.basis)
    return max(usual, quantity.tolerance if quantity.tolerance > before * (1 + 1e-9) else 0.0)


def _in_batch(variable: Variable) -> bool:
    """Whether a choice varies within a batch: teeth of gears are numbers, and so is all that a class of a part says.

    Teeth of a chain do not: with them the chain has other links.
    """
    return variable.sort == "class" or (variable.sort == "teeth" and variable.paths[0][-1] in ("driver", "driven"))


def _with_class(robot: Robot, path: KeyPath, names: Sequence[str], which: Whole) -> Robot:
    """Give one place of a robot a class of its own whose numbers are those of each case's choice."""
    section = section_of(path)
    classes = getattr(robot.catalogue, section)
    used = np.unique(which)
    merged = _chosen([classes[names[i]] for i in used], np.searchsorted(used, which).astype(np.int64))
    own = f"{names[int(used[0])]} at {dotted(path)}"
    robot = _put(robot, ("catalogue", section), {**classes, own: merged})
    changed: Robot = _put(robot, path, own)
    return changed


def _chosen(things: Sequence[Any], which: Whole) -> Any:
    """Things of one kind as one, whose numbers are those of each case's choice."""
    first: Any = things[0]
    if len(things) == 1:
        return first
    if dataclasses.is_dataclass(first):
        names = [f.name for f in dataclasses.fields(first)]
        made: Any = type(first)
        return made(**{n: _chosen([getattr(t, n) for t in things], which) for n in names})
    if isinstance(first, tuple):
        if len({len(t) for t in things}) > 1:
            raise ValueError("classes of another make")  # the halves of the batch are tried, to single ones
        return tuple(_chosen(items, which) for items in zip(*things, strict=True))
    if isinstance(first, bool | str) or first is None:
        if any(t != first for t in things):
            raise ValueError("classes of another make")
        return first
    if all(np.ndim(t) == 0 and t == first for t in things):
        return first
    table = [np.broadcast_to(np.asarray(t, dtype=float), which.shape) for t in things]
    return np.stack(table)[which, np.arange(which.size)]


def _make_of(thing: Any) -> Any:
    """What things must have alike to stand in one batch: all but their numbers."""
    if dataclasses.is_dataclass(thing):
        return tuple(_make_of(getattr(thing, f.name)) for f in dataclasses.fields(thing))
    if isinstance(thing, tuple):
        return tuple(_make_of(item) for item in thing)
    return thing if isinstance(thing, bool | str) or thing is None else "number"


def _put(model: Any, path: Sequence[str | int], value: Any) -> Any:
    """Lay a value into a computing model."""
    if not path:
        return value
    key, rest = path[0], path[1:]
    if isinstance(model, dict):
        return {**model, key: _put(model[key], rest, value)}
    if isinstance(model, tuple):
        return tuple(_put(item, rest, value) if i == key else item for i, item in enumerate(model))
    return dataclasses.replace(model, **{str(key): _put(getattr(model, str(key)), rest, value)})
