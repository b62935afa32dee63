"""Finds the smallest change of one number that mends a finding: brackets over all numbers in one batch a round."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.decide.candidates import CandidateEvaluator, Key, holds
from fieldworthy.decide.change import Change, rounded, value_change
from fieldworthy.decide.variables import effort_of, ways
from fieldworthy.files import Quantity
from fieldworthy.files.document import KeyPath

Entry = tuple[KeyPath, Quantity]
_ROUNDS = 3
_PARTS = 8  # a round cuts every bracket into as many
_CLOSE = 0.01  # share of the change by which a settled value may be too far
_OUTWARD = (0.01, 0.03, 0.1, 0.25, 0.6, 1.2)  # how much farther to look where the worst case has become another
_INWARD = (0.97, 0.9, 0.75, 0.5, 0.2)


@dataclass(frozen=True, slots=True)
class Bracket:
    """Between which values of one number a finding turns.

    Attributes
    ----------
    key : The finding
    entry : Key path and quantity as it is now
    bad, good : It is short at the one and holds at the other [SI]
    last : The farthest value to look at in this direction [SI]
    """

    key: Key
    entry: Entry
    bad: float
    good: float
    last: float

    @property
    def effort(self) -> float:
        """How hard the change is."""
        return effort_of(self.entry[1], self.good)


def brackets(evaluator: CandidateEvaluator, keys: Sequence[Key], entries: Sequence[Entry]) -> list[Bracket]:
    """Look where along each number each finding first holds, nearest first."""
    rays = [(entry, values) for entry in entries for values in ways(entry[1]) if values.size]
    moves = [(entry[0], float(si)) for entry, values in rays for si in values]
    margins = evaluator.batch(moves, keys)
    found: list[Bracket] = []
    at = 0
    for entry, values in rays:
        here = margins[:, at : at + values.size]
        found += [b for key, row in zip(keys, here, strict=True) if (b := _first(key, entry, values, row))]
        at += values.size
    return found


def _first(key: Key, entry: Entry, values: Array, margins: Array) -> Bracket | None:
    """The first step of a ray after which a finding holds."""
    good = np.flatnonzero(margins >= 0)
    if not good.size:
        return None
    i = int(good[0])
    before = float(values[i - 1]) if i else entry[1].si
    return Bracket(key, entry, before, float(values[i]), float(values[-1]))


def narrowed(evaluator: CandidateEvaluator, found: Sequence[Bracket]) -> list[Bracket]:
    """Cut every bracket into parts, all in one batch, and keep the first part in which the finding turns."""
    shares = np.arange(1, _PARTS) / _PARTS
    for _ in range(_ROUNDS):
        keys = list(dict.fromkeys(b.key for b in found))
        inner = [b.bad + (b.good - b.bad) * shares for b in found]
        moves = [(b.entry[0], float(si)) for b, values in zip(found, inner, strict=True) for si in values]
        margins = evaluator.batch(moves, keys)
        found = [
            _tighter(b, values, margins[keys.index(b.key), i * values.size : (i + 1) * values.size])
            for i, (b, values) in enumerate(zip(found, inner, strict=True))
        ]
    return list(found)


def _tighter(bracket: Bracket, values: Array, margins: Array) -> Bracket:
    edges = np.concatenate([[bracket.bad], values, [bracket.good]])
    i = int(np.flatnonzero(np.concatenate([margins >= 0, [True]]))[0])
    return replace(bracket, bad=float(edges[i]), good=float(edges[i + 1]))


def settled(evaluator: CandidateEvaluator, bracket: Bracket) -> Change | None:
    """Find the value to write into the file, each trial judged exactly as the file would be.

    Notes
    -----
    A batch keeps the worst pose and the travel times of the robot as it is; here they are those of the changed one.
    """
    path, quantity = bracket.entry
    start, checks = quantity.si, evaluator.checks_for([bracket.key])

    def mends(si: float) -> bool:
        """Whether the finding holds at a value."""
        said = evaluator.single(evaluator.loaded.robot, {path: si}, checks)
        return holds(said.get(bracket.key))

    ends = _ends(mends, start, bracket)
    if ends is None:
        return None
    good = _bisected(mends, *ends, start)
    for text, si in rounded(quantity, good, _CLOSE / 2):
        if quantity.low <= si <= quantity.high and mends(si):
            return value_change(evaluator.loaded.robot, bracket.entry, text, si, effort_of(quantity, si))
    return None


def _ends(mends: Callable[[float], bool], start: float, bracket: Bracket) -> tuple[float, float] | None:
    """A value that does not mend it and the nearest looked at that does."""
    change = bracket.good - start
    if mends(bracket.good):
        inward = (start + change * share for share in (1 - _CLOSE, *_INWARD))
        return _turn(mends, bracket.good, inward, start)
    bad = bracket.good
    for farther in _OUTWARD:
        good = start + change * (1 + farther)
        if abs(good - start) > abs(bracket.last - start):
            return None
        if mends(good):
            return bad, good
        bad = good
    return None


def _turn(mends: Callable[[float], bool], good: float, inward: Iterable[float], start: float) -> tuple[float, float]:
    for si in inward:
        if not mends(si):
            return si, good
        good = si
    return start, good


def _bisected(mends: Callable[[float], bool], bad: float, good: float, start: float) -> float:
    while abs(good - bad) > _CLOSE * abs(good - start) * (1 + 1e-6):
        middle = 0.5 * (bad + good)
        bad, good = (bad, middle) if mends(middle) else (middle, good)
    return good
