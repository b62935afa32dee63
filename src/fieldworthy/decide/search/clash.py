"""What no candidate met: what none holds, which two never hold together, and how near the best came to each."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.units import counted, digits

_TOLD = 3  # of which the answer names each; all are listed below it


@dataclass(frozen=True, slots=True)
class Clash:
    """Two things that must hold, each of which some candidate holds, but none both.

    Attributes
    ----------
    ids : Of both findings
    names : Of both, for people
    near : How much the nearest lacks of the other, of those that hold the first and of those that hold the second
    """

    ids: tuple[str, str]
    names: tuple[str, str]
    near: tuple[float, float]

    @property
    def told(self) -> str:
        """Which two they are, and how near the best came."""
        one, other = self.names
        first, second = (_percent(lack) for lack in self.near)
        return (
            f"{one} and {other} never hold together. Where {one} holds, {other} lacks at least {first}. Where {other} "
            f"holds, {one} lacks at least {second}."
        )


@dataclass(frozen=True, slots=True)
class Nearest:
    """How near candidates came to what must hold.

    Attributes
    ----------
    least : Of each constraint, what the nearest lacks, shape (c,)
    given : Of each second constraint, what the nearest of those lacks that hold the first, shape (c, c)
    best : What that candidate lacks of each which lacks least in all, shape (c,)
    """

    least: Array
    given: Array
    best: Array

    @classmethod
    def none(cls, count: int) -> Nearest:
        """Before any candidate was tried."""
        far = np.full(count, np.inf)
        return cls(far, np.full((count, count), np.inf), far)

    def with_more(self, lacks: Array) -> Nearest:
        """Learn from more candidates, shape (n, c)."""
        if not lacks.size:
            return self
        own = lacks[lacks.sum(axis=1).argmin()]
        best = own if own.sum() < self.best.sum() else self.best
        given = self.given
        if given.any():  # once one candidate holds everything, any two hold together
            given = given.copy()
            for i, holds in enumerate((lacks <= 0.0).T):
                if holds.any() and given[i].any():
                    given[i] = np.minimum(given[i], lacks[holds].min(axis=0))
        return Nearest(np.minimum(self.least, lacks.min(axis=0)), given, best)

    @property
    def pairs(self) -> list[tuple[int, int]]:
        """Constraints that are each met, but not both by one candidate; what the nearest lacks most of first."""
        met = np.flatnonzero(self.least <= 0.0).tolist()
        apart = [(i, j) for i, j in itertools.combinations(met, 2) if self.given[i, j] > 0.0]
        return sorted(apart, key=lambda pair: -min(self.given[pair], self.given[pair[::-1]]))

    def as_data(self) -> dict[str, Any]:
        """Write it down: pairs alone that are not met together."""
        at = np.argwhere(self.given > 0.0).tolist()
        given = [[i, j, _plain(self.given[i, j])] for i, j in at]
        return {"least": [*map(_plain, self.least)], "given": given, "best": [*map(_plain, self.best)]}

    @classmethod
    def from_data(cls, said: dict[str, Any]) -> Nearest:
        """Read what was written."""
        least, best = (np.array([_read(x) for x in said[key]], dtype=float) for key in ("least", "best"))
        given = np.zeros((least.size, least.size))
        for i, j, lack in said["given"]:
            given[i, j] = _read(lack)
        return cls(least, given, best)


def _plain(lack: float) -> float | None:
    return float(lack) if np.isfinite(lack) else None


def _read(lack: float | None) -> float:
    return np.inf if lack is None else lack


def _percent(share: float) -> str:
    return f"{digits(100 * share, 2)} %"


def apart(candidates: int, clashes: Sequence[Clash], best: Sequence[tuple[str, float]]) -> str:
    """Say what clashes where each thing holds on some candidate; of the best, what it lacks."""
    head = (
        f"None of the {counted(candidates, 'candidate')} holds all that it must at once, though each thing holds on "
        "some of them."
    )
    if clashes:
        more = f" {len(clashes) - 1} more such pairs are listed below." if len(clashes) > 2 else ""
        more = " One more such pair is listed below." if len(clashes) == 2 else more
        return f"{head} {clashes[0].told}{more} {nearest_in_all(best)} Widen a range, or ask for less."
    return f"{head} Any two hold together on one, but never all. {nearest_in_all(best)} Widen a range, or ask for less."


def nearest_in_all(best: Sequence[tuple[str, float]]) -> str:
    """Say what the candidate lacks that lacks least in all."""
    told = [f"{_percent(lack)} of {name}" for name, lack in best]
    more = f" and something of {len(told) - _TOLD} more" if len(told) > _TOLD else ""
    shown = told[:_TOLD]
    listed = ", ".join(shown) if more else " and ".join(filter(None, [", ".join(shown[:-1]), shown[-1]]))
    return f"The nearest in all lacks {listed}{more}."


def as_file_lacks(candidates: int, lacking: Sequence[tuple[str, float]]) -> str:
    """Say what the best candidate lacks as a file of its own that a quick try did not see."""
    what = nearest_in_all(lacking).replace("The nearest in all", "It") if lacking else "It would be refused."
    return (
        f"None of the {counted(candidates, 'candidate')} holds all that it must as a file of its own. The best of "
        f"them seemed to, until its poses and its schedule were worked out anew. {what} Widen a range, ask for less, "
        "or try more."
    )
