"""Candidates that a search tried, as people read them, and which of them are left within stated ranges."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.decide.search.propose import Known
from fieldworthy.decide.search.space import Variable
from fieldworthy.decide.search.wanted import Asked
from fieldworthy.match.state import Whole
from fieldworthy.units import digits, to_unit

_MOST_AXES = 8

Within: TypeAlias = Mapping[int, tuple[float, float]]
"""Between which two values candidates are to lie, by column."""


@dataclass(frozen=True, slots=True)
class Column:
    """One thing that candidates differ in.

    Attributes
    ----------
    name, unit : As people know it
    wanted : Whether it is an objective, not a thing that varies
    options : Of a choice, what each place stands for
    """

    name: str
    unit: str
    wanted: bool
    options: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """The name as a heading."""
        return f"{self.name[:1].upper()}{self.name[1:]}"

    @property
    def label(self) -> str:
        """The name as a heading, with the unit."""
        return f"{self.title} [{self.unit}]" if self.unit else self.title

    def text(self, value: float) -> str:
        """Write a value as people do."""
        if self.options:
            return self.options[min(max(round(value), 0), len(self.options) - 1)]
        return f"{digits(value)} {self.unit}".rstrip()

    def bare(self, value: float) -> str:
        """Write a value under a heading that says the unit."""
        return self.text(value).removesuffix(f" {self.unit}")


@dataclass(frozen=True, slots=True, eq=False)
class Cloud:
    """Candidates that were tried, as people read them.

    Attributes
    ----------
    columns : What they differ in: what is wanted first, then what varies
    values : In the units of the columns, the best candidate first, shape (n, columns)
    holds : Which hold what they must
    now : The present robot; not a number where it was not tried
    rows : As the search proposed them, shape (n, variables)
    """

    columns: tuple[Column, ...]
    values: Array
    holds: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
    now: Array
    rows: Array

    @property
    def ends(self) -> tuple[Array, Array]:
        """The least and the greatest of each column."""
        return np.nanmin(self.values, axis=0), np.nanmax(self.values, axis=0)

    def places(self) -> Array:
        """Where each stands between the ends of its columns, 0 to 1; in the middle where they have one value."""
        low, high = self.ends
        return np.where(high > low, (self.values - low) / np.where(high > low, high - low, 1.0), 0.5)

    def kept(self, within: Within) -> Whole:
        """Candidates that hold what they must and lie within ranges, the best first."""
        good = self.holds.copy()
        for column, (low, high) in within.items():
            if column < len(self.columns):
                near = 1e-9 * max(float(np.ptp(self.values[:, column])), 1e-9)
                good &= (self.values[:, column] >= low - near) & (self.values[:, column] <= high + near)
        return np.flatnonzero(good)

    def shown(self, within: Within) -> list[int]:
        """Columns of what is wanted, of what a range is stated for, and of what varies most with what is wanted."""
        wanted = [i for i, column in enumerate(self.columns) if column.wanted]
        varied = [i for i, column in enumerate(self.columns) if not column.wanted]
        good = self.values[: max(len(self.values) // 5, 2)]
        spread = np.maximum(np.ptp(self.values, axis=0), 1e-12)
        drawn = np.ptp(good, axis=0) / spread  # the best agree in what matters
        varied.sort(key=lambda i: (i not in within, float(drawn[i])))
        return [*wanted, *sorted(varied[: max(_MOST_AXES - len(wanted), sum(i in within for i in varied))])]

    def nearest(self, of: tuple[int, int], at: tuple[float, float], within: Within) -> int | None:
        """The candidate that is drawn nearest to a point of two columns, among those that are left."""
        chosen, (low, high) = self.kept(within), self.ends
        if not chosen.size:
            return None
        span = np.where(high > low, high - low, 1.0)
        gaps = [(self.values[chosen, i] - x) / span[i] for i, x in zip(of, at, strict=True)]
        return int(chosen[np.hypot(*gaps).argmin()])


def cloud(asked: Asked, known: Known, names: Sequence[str]) -> Cloud:
    """Read tried candidates as people do; what varies is named as given."""
    played = np.isfinite(known.worth).all(axis=1)
    rows, worth = known.rows[played], known.worth[played]
    holds = np.asarray((known.rooms[played] >= 0).all(axis=1))
    better = np.array([o.better for o in asked.objectives])
    values = np.hstack([worth * better, *(_shown(v, rows[:, i])[:, None] for i, v in enumerate(asked.space.variables))])
    columns = [Column(o.name if o.key is None else o.about, o.unit, True) for o in asked.objectives]
    for variable, name in zip(asked.space.variables, names, strict=True):
        unit = "" if variable.quantity is None else variable.quantity.unit.replace("1", "")
        columns.append(Column(name, unit, False, tuple(option.text for option in variable.options)))
    same = (rows == asked.space.now).all(axis=1)
    now = values[same][0] if same.any() else np.full(values.shape[1], np.nan)
    return Cloud(tuple(columns), values, holds, now, rows)


def _shown(variable: Variable, values: Array) -> Array:
    if variable.quantity is None:
        return values
    kind, unit = variable.quantity.kind, variable.quantity.unit
    return np.array([to_unit(float(value), kind, unit) for value in values])
