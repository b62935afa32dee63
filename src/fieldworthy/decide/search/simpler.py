"""Makes designs simpler: of several alike one is kept, and what a gain does not rest on is put back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.decide.search.propose import order
from fieldworthy.decide.search.racing import STEPS, Race
from fieldworthy.decide.search.space import Space
from fieldworthy.decide.search.trial import Effort, Tried
from fieldworthy.match.state import Whole

_APART = 0.05  # share of a range by which two designs differ visibly
_NO_GAIN = 0.02  # share of the gain below which a change is left out


def distinct(space: Space, rows: Array, most: int) -> Array:
    """Candidates that differ visibly from the better ones before them."""
    shares = space.shares_of(rows) if len(rows) else rows
    kept: list[int] = []
    for i in range(len(rows)):
        if all(_differs(space, shares[i], shares[k]) for k in kept):
            kept.append(i)
        if len(kept) == most:
            break
    return np.asarray(rows[kept])


def _differs(space: Space, one: Array, other: Array) -> bool:
    gap = np.abs(one - other)
    return bool(any(gap[i] > _APART for i in space.numbers) or any(gap[i] > 1e-9 for i in space.choices))


def simplified(race: Race, rows: Array, is_late: Callable[[], bool] = lambda: False) -> Array:
    """Put back every change that the gain of a candidate does not rest on, the least first; of several at once."""
    if not len(rows):
        return rows
    space, trial = race.crew.trial.asked.space, race.crew.trial
    tried = _Remembered(race, STEPS[1] if trial.plays else Effort(STEPS[1].cases, 0))
    first = tried.of(np.vstack([space.now[None, :], rows]))
    gains = first.worth[1:, 0] - first.worth[0, 0]
    allowed = np.where(np.isfinite(gains) & (first.lack[0] <= 0), _NO_GAIN * np.abs(gains), 0.0)
    floors = first.worth[1:, 0] - allowed
    rows, left = rows.copy(), list(range(len(rows)))
    while left and not is_late():
        backs = {i: _one_back(space, rows[i]) for i in left}
        tried.of(np.vstack([*backs.values()]))
        better = {i: good for i in left if (good := tried.good(backs[i], floors[i])).size}
        wholes = {i: np.where((backs[i][good] == space.now).any(axis=0) & (rows[i] != space.now), space.now, rows[i])
                  for i, good in better.items()}  # fmt: skip
        if wholes:
            tried.of(np.stack([*wholes.values()]))
        for i, good in better.items():
            whole = wholes[i]
            if tried.good(whole[None, :], floors[i]).size:
                rows[i] = whole
            else:
                found = tried.of(backs[i][good])
                rows[i] = backs[i][good[order(found.worth, found.lack)[0]]]
        left = list(better)
    return rows


def _one_back(space: Space, row: Array) -> Array:
    """A candidate with each of its changes taken back alone."""
    changed = np.flatnonzero(row != space.now)
    back = np.repeat(row[None, :], changed.size, axis=0)
    back[np.arange(changed.size), changed] = space.now[changed]
    return back


@dataclass
class _Remembered:
    """Tries candidates once each."""

    race: Race
    effort: Effort
    _known: dict[bytes, tuple[Array, Array]] = field(default_factory=dict)

    def of(self, rows: Array) -> Tried:
        """What candidates gave, all that are new at once."""
        new = {row.tobytes(): row for row in rows if row.tobytes() not in self._known}
        if new:
            found = self.race.crew.tried(np.stack([*new.values()]), self.effort)
            self._known |= dict(zip(new, zip(found.worth, found.rooms, strict=True), strict=True))
        known = [self._known[row.tobytes()] for row in rows]
        crew = self.race.crew.trial.asked
        worth = np.array([one for one, _ in known]).reshape(len(rows), len(crew.objectives))
        return Tried(worth, np.array([room for _, room in known]).reshape(len(rows), len(crew.constraints)))

    def good(self, rows: Array, floor: float) -> Whole:
        """Which of some candidates hold what they must and are worth so much."""
        if not len(rows):
            return np.zeros(0, dtype=np.int64)
        found = self.of(rows)
        return np.flatnonzero((found.lack <= 0) & (found.worth[:, 0] >= floor)).astype(np.int64)
