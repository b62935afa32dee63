"""Evaluates changed robots: many values in one batch, or one changed robot exactly as its file would give it."""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.evaluate import most_cases
from fieldworthy.engine.finding import WIDEST, DisplayUnits, Outcome, first
from fieldworthy.engine.system import Context, systems
from fieldworthy.files import Quantity, instantiate
from fieldworthy.files.declare import Spec
from fieldworthy.files.document import KeyPath
from fieldworthy.robot import Loaded, refusals
from fieldworthy.robot.model.robot import Robot

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
        return [list(system.check(self.base)) for system in systems()]

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

    def batch(self, moves: Sequence[tuple[KeyPath, float]], keys: Sequence[Key]) -> Array:
        """Try many values, each alone, in one batch.

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

    def _margins(self, moves: Sequence[tuple[KeyPath, float]], keys: Sequence[Key]) -> Array:
        rows: dict[KeyPath, list[int]] = {}
        for row, (path, _) in enumerate(moves, 1):  # row 0 is the robot as it is
            rows.setdefault(path, []).append(row)
        values = np.array([0.0, *(si for _, si in moves)])

        def draw(path: KeyPath, quantity: Quantity) -> Array:
            """Give each candidate its own value in its own row."""
            if path not in rows:  # an array nevertheless: what the checks line up with it has its cases too
                return np.broadcast_to(quantity.si, values.shape)
            drawn = np.full(values.shape, quantity.si)
            drawn[rows[path]] = values[rows[path]]
            return drawn

        robot = instantiate(self.loaded.robot, Robot, draw)
        said = self._said(Context(robot, self.loaded.nominal_season, self.base), self.checks_for(keys))
        least = np.asarray(-WIDEST)
        margins = [margins_of(said[key]) if key in said else least for key in keys]
        return np.array([np.broadcast_to(m, values.shape)[1:] for m in margins])

    def _said(self, context: Context, checks: Iterable[int]) -> dict[Key, Outcome]:
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # far values may leave a formula's range
            return keyed(o for i in checks for o in systems()[i].check(context))

    def single(self, robot: Spec, moved: Moved, checks: Iterable[int] | None = None) -> dict[Key, Outcome]:
        """Evaluate one changed robot as its file would give it."""
        try:
            changed = instantiate(robot, Robot, lambda path, quantity: moved.get(path, quantity.si))
            if any(True for _ in refusals(changed, self.loaded.nominal_season)):
                return {}
            context = Context(changed, self.loaded.nominal_season)
            return self._said(context, range(len(systems())) if checks is None else checks)
        except _OUTSIDE:
            return {}
