"""Turns what the checks found over a batch into the findings and facts that a person reads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.display import DisplayUnits, first
from fieldworthy.engine.finding import Fact, Finding, Outcome, Verdict
from fieldworthy.engine.sampling import nudge
from fieldworthy.files import Quantity
from fieldworthy.files.problems import KeyPath, dotted

Said = Finding | Fact
_LEAST = 1e-9  # a margin or value that moves by less does not depend on the quantity


@dataclass(frozen=True)
class Table:
    """The quantities that a batch nudges, in the order of its rows, and the units to show.

    Attributes
    ----------
    entries : Key path and quantity
    shown : Unit by kind
    """

    entries: Sequence[tuple[KeyPath, Quantity]]
    shown: DisplayUnits

    @cached_property
    def keys(self) -> list[str]:
        """Dotted keys."""
        return [dotted(path) for path, _ in self.entries]

    @cached_property
    def bases(self) -> list[str]:
        """What each rests on."""
        return [quantity.basis for _, quantity in self.entries]

    @cached_property
    def weights(self) -> Array:
        """Tolerance over nudge of each."""
        return np.array([q.tolerance / abs(nudge(q)) for _, q in self.entries])

    @cached_property
    def guessed(self) -> npt.NDArray[np.bool_]:
        """Which rest on an estimate."""
        return np.array([basis == "estimate" for basis in self.bases], dtype=np.bool_)


@dataclass(slots=True)
class Tally:
    """What the batch says of one outcome: its nominal margin, and the samples block by block.

    Attributes
    ----------
    margin : Of the nominal case
    holds, count : Samples in which it holds, of how many
    values : The samples of its value, by batch
    moved : By how much the nudge of each quantity moves it, by batch
    """

    margin: float = math.nan
    holds: int = 0
    count: int = 0
    values: list[Array] = field(default_factory=list)
    moved: list[Array] = field(default_factory=list)

    def add(self, outcome: Outcome, nudges: int, where: slice) -> None:
        """Count a batch: its first case is nominal, then come nudges, then samples."""
        margin, size = outcome.margin(), where.stop - where.start
        if math.isnan(self.margin):
            self.margin = first(margin)
        self.count += size
        if nudges:
            self.moved.append(_moved(outcome, nudges))
        if not outcome.missing and size:
            self.holds += int(np.count_nonzero(_over(margin, where) >= 0))
            self.values.append(_over(outcome.value, where))

    def chance(self) -> float | None:
        """Give the share of the samples in which it holds."""
        return self.holds / self.count if self.count and self.values else None

    def spread(self) -> tuple[float, float] | None:
        """Find the 95 % interval of the samples."""
        if not self.count or not self.values:
            return None
        if self.values[0].strides == (0,):
            return float(self.values[0][0]), float(self.values[0][0])  # a number that no case moves
        values = self.values[0] if len(self.values) == 1 else np.concatenate(self.values)
        # the least sample at or below which 2.5 %, and 97.5 %, of them lie
        ends = [max(math.ceil(values.size * share) - 1, 0) for share in (0.025, 0.975)]
        low, high = np.partition(values, ends)[ends].tolist()
        return low, high


def _over(value: Real, where: slice) -> Array:
    array = np.asarray(value, dtype=float)
    return np.broadcast_to(array, (where.stop - where.start,)) if array.size == 1 else array[where]


def _moved(outcome: Outcome, nudges: int) -> Array:
    """By how much each nudge of a batch moves an outcome, as a share of its nominal value."""
    moved = np.zeros(nudges)
    for number in (outcome.value, outcome.limit):
        array = np.asarray(0.0 if number is None else number, dtype=float)
        if array.ndim:
            nominal, nudged = float(array[0]), array[1 : 1 + nudges]
            rows = np.flatnonzero(nudged != nominal)
            scale = max(abs(nominal), 1e-12)
            # a step between a finite and an infinite value counts as a whole one
            step = np.ones(rows.size) if math.isinf(nominal) else np.abs(nudged[rows] - nominal) / scale
            moved[rows] = np.maximum(moved[rows], np.where(np.isfinite(step), step, 1.0))
    return moved


def _influences(tally: Tally, weights: Array) -> tuple[npt.NDArray[np.intp], Array]:
    """Which quantities move the outcome, by how much of its spread, most first."""
    moved = np.concatenate([*tally.moved, np.zeros(0)])[: len(weights)]
    order = np.flatnonzero(moved > _LEAST)
    shares = moved[order] * weights[order]
    most_first = np.argsort(-shares, kind="stable")
    return order[most_first], shares[most_first]


SURE = 0.95
"""Chance from which a robot that holds is said to hold; the same the other way round for one that is short."""


def verdict_of(margin: float | None, chance: float | None) -> Verdict:
    """Judge the nominal margin together with the chance over the tolerances."""
    if margin is None:
        return "unknown"
    if margin >= 0:
        return "holds" if chance is None or chance >= SURE else "close"
    return "short" if chance is None or chance <= 1.0 - SURE else "close"


def _in_unit(pair: tuple[float, float] | None, kind: str, shown: DisplayUnits) -> tuple[float, float] | None:
    if pair is None:
        return None
    low, high = shown.plain(pair[0], kind), shown.plain(pair[1], kind)
    return None if low is None or high is None else (low, high)


def _picked(words: list[str], rows: npt.NDArray[np.intp]) -> list[str]:
    return [words[row] for row in rows.tolist()]


def judged(outcome: Outcome, tally: Tally, table: Table) -> Said:
    """Turn an outcome into what a person reads."""
    return _fact(outcome, tally, table) if outcome.limit is None else _finding(outcome, tally, table)


def _finding(outcome: Outcome, tally: Tally, table: Table) -> Finding:
    shown = table.shown
    known = not outcome.missing
    verdict = verdict_of(tally.margin if known else None, tally.chance() if known else None)
    rows, shares = _influences(tally, table.weights if known else table.weights[:0])
    bases = _picked(table.bases, rows)
    guesses = rows[table.guessed[rows] & (shares > 0)]
    limit = 0.0 if outcome.limit is None else first(outcome.limit)
    return Finding(
        outcome.id,
        outcome.subject,
        shown.plain(first(outcome.value), outcome.kind) if known else None,
        shown.plain(limit, outcome.kind) if known else None,
        shown.units[outcome.kind],
        outcome.need,
        tally.margin if known else None,
        tally.chance() if known else None,
        _in_unit(tally.spread(), outcome.kind, shown) if known else None,
        verdict,
        shown.sentence(outcome, short=known and tally.margin < 0),
        tuple(_picked(table.keys, rows)),
        {basis: bases.count(basis) for basis in dict.fromkeys(bases)},
        table.keys[guesses[0]] if guesses.size else None,
        outcome.sources,
        outcome.missing,
    )


def _fact(outcome: Outcome, tally: Tally, table: Table) -> Fact:
    shown = table.shown
    rows, _ = _influences(tally, table.weights)
    return Fact(
        outcome.id,
        outcome.subject,
        shown.plain(first(outcome.value), outcome.kind),
        shown.units[outcome.kind],
        _in_unit(tally.spread(), outcome.kind, shown),
        shown.sentence(outcome),
        tuple(_picked(table.keys, rows)),
        outcome.sources,
    )
