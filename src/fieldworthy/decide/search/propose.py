"""Proposes candidates: points spread evenly at first, then what a model of those tried promises, CMA-ES and children.

Which are better is told by ranks alone: a candidate that breaks what must hold stands behind every one that does not,
nearer ones first (Deb, 2000, from memory); among the others the better stands first. With several objectives the rank
is that of non-dominated sorting, and within a front the share of the dominated volume (Beume, Naujoks and Emmerich,
2007, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.decide.search.space import Space
from fieldworthy.decide.search.surrogate import LEARNED, Surrogate
from fieldworthy.match.state import Whole

LISTED = 1024
"""A space with no more candidates than this is listed whole."""
_FIRST = (16, 128)  # points spread evenly before anything is learned, at least and at most
_KEPT = 40  # candidates that others are made from
_SIGMA = 0.12
_PROMISED = 0.75  # share of a round that a model of those tried promises
_STALE = 12  # rounds without a better one after which CMA-ES begins anew, wider


def order(worth: Array, lack: Array) -> Whole:
    """The places of candidates, the best first."""
    return np.lexsort((-_merit(worth), lack)).astype(np.int64)


def _merit(worth: Array) -> Array:
    """One number for each candidate, more is better."""
    if worth.shape[1] == 1:
        return np.asarray(worth[:, 0])
    import moocore  # noqa: PLC0415  only where there are several objectives

    finite = np.where(np.isfinite(worth), worth, -1e12)
    rank = np.asarray(moocore.pareto_rank(-finite), dtype=float)
    within = np.zeros(len(worth))
    for front in range(int(rank.max(initial=-1)) + 1):
        members = np.flatnonzero(rank == front)
        within[members] = _apart(finite[members])
    return -rank + within


def _apart(worth: Array) -> Array:
    """What each member of a front adds to the volume that it dominates, as a place from 0 to below 1."""
    import moocore  # noqa: PLC0415

    low, high = worth.min(axis=0), worth.max(axis=0)
    scaled = (high - worth) / np.maximum(high - low, 1e-12)
    share = np.asarray(moocore.hv_contributions(scaled, ref=np.full(worth.shape[1], 1.1)), dtype=float)
    return np.argsort(np.argsort(share, kind="stable"), kind="stable") / (len(worth) + 1.0)


@dataclass
class Proposer:
    """Asks for candidates and is told what they are worth.

    Attributes
    ----------
    space : What varies
    seed : Fixes every proposal
    objectives : How many there are
    size : Candidates of a round
    pool : How many times as many are proposed where most break something that must hold
    rows, worth, lack : The best so far, the best first
    known : Those that a model learns from
    """

    space: Space
    seed: int = 0
    objectives: int = 1
    size: int = 24
    pool: int = 1
    rows: Array = field(init=False)
    worth: Array = field(init=False)
    lack: Array = field(init=False)
    known: Known | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        self._random = np.random.default_rng([self.seed, 16])
        self._round = 0
        self._seen: set[bytes] = set()
        self.rows = np.zeros((0, len(self.space.variables)))
        self.worth, self.lack = np.zeros((0, self.objectives)), np.zeros(0)
        self._cma: Numbers | None = None
        self._stale, self._widths = 0, 0
        self._own: set[bytes] = set()
        self._surrogate = (
            Surrogate(self.space, np.random.default_rng([self.seed, 17])) if self.space.variables else None
        )

    @property
    def is_listed(self) -> bool:
        """Whether the space is small enough to be listed whole."""
        return self.space.count <= LISTED

    def ask(self) -> Array:
        """Propose candidates that have not been proposed before; none where there are no more."""
        if self._round == 0:
            found = self._first()
        elif self.is_listed:
            found = self.rows[:0]
        else:
            found = self._next()
        self._round += 1
        return found

    def _first(self) -> Array:
        if self.is_listed:
            found = self.space.every()
        else:
            from scipy.stats import qmc  # noqa: PLC0415  only where it is used: the command must start fast

            wanted = min(max(2 * len(self.space.variables), _FIRST[0]), _FIRST[1])
            sobol = qmc.Sobol(len(self.space.variables), scramble=True, rng=np.random.default_rng([self.seed, 1]))
            found = self.space.of_shares(sobol.random_base2(math.ceil(math.log2(wanted))))
        return self._new(np.vstack([self.space.now[None, :], found]))

    def _new(self, rows: Array) -> Array:
        kept = []
        for row in self.space.settled(rows):
            key = row.tobytes()
            if key not in self._seen:
                self._seen.add(key)
                kept.append(row)
        return np.array(kept).reshape(-1, rows.shape[1])

    def _next(self) -> Array:
        """What the model promises, then numbers from CMA-ES where one thing is wanted, then children of the best."""
        family = Family(self.space, self._random, self.rows)
        promised = self._promised(round(_PROMISED * self.size))
        for _ in range(8):
            left = self.size - len(promised)
            drawn = left // 2 if self.space.numbers and self.objectives == 1 else 0
            own = self.space.settled(self._from_cma(drawn, family))
            self._own = {row.tobytes() for row in own}
            children = family.children(self.size * self.pool - len(promised) - len(own))
            found = self._new(np.vstack([promised, own, children]))
            if len(found):
                return found
        return self._new(self.space.of_shares(self._random.random((self.size, len(self.space.variables)))))

    def _promised(self, count: int) -> Array:
        """What a model of the candidates tried so far promises."""
        known = self.known
        if known is None or self._surrogate is None or not self._surrogate.learn(known.rows, known.worth, known.rooms):
            return self.rows[:0]
        return self._surrogate.propose(count, self._seen)

    def _from_cma(self, count: int, family: Family) -> Array:
        """Numbers from CMA-ES about the best, with the choices of one of the best."""
        numbers = list(self.space.numbers)
        if not count:
            return self.rows[:0]
        if self._cma is None or self._stale >= _STALE or self._cma.is_done:
            self._widths += self._cma is not None
            self._stale = 0
            best = self.space.shares_of(self.rows[:1])[0, numbers]
            if self._widths % 2:  # every other time from anywhere among the best
                best = self.space.shares_of(family.one_of_the_best()[None, :])[0, numbers]
            self._cma = Numbers(best, self.seed + 97 * self._widths, _SIGMA)
        rows = np.stack([family.one_of_the_best() for _ in range(count)])
        drawn = self._cma.ask(count)
        for column, share in zip(numbers, drawn.T, strict=True):
            rows[:, column] = self.space.variables[column].of_share(share)
        return rows

    def tell(self, rows: Array, worth: Array, rooms: Array) -> None:
        """Learn what candidates are worth, and how much room they have to each limit; the best of all are kept."""
        before = self.rows[:1].tobytes()
        lack = np.maximum(-rooms, 0.0).sum(axis=1)
        own = np.array([row.tobytes() in self._own for row in rows], dtype=bool)
        if self._cma is not None and own.any():
            mine = self.space.shares_of(rows[own])[:, list(self.space.numbers)]
            self._cma.tell(mine, order(worth[own], lack[own]))
        new = Known(rows, worth, rooms)
        self.known = new if self.known is None else self.known.with_more(new)
        rows, worth = np.vstack([self.rows, rows]), np.vstack([self.worth, worth])
        lack = np.concatenate([self.lack, lack])
        kept = order(worth, lack)[: _KEPT if self.objectives == 1 else 2 * _KEPT]
        self.rows, self.worth, self.lack = rows[kept], worth[kept], lack[kept]
        better = self.rows[:1].tobytes() != before
        self._stale = 0 if better else self._stale + 1
        if self._surrogate is not None:
            self._surrogate.noted(better=better)


@dataclass(frozen=True, slots=True)
class Known:
    """Candidates that a model learns from, the best first: most of them the best, the others the newest.

    Attributes
    ----------
    rows, worth, rooms : Of each, as it was proposed and tried
    """

    rows: Array
    worth: Array
    rooms: Array

    def with_more(self, new: Known) -> Known:
        """Add candidates, and let those go that are neither good nor new."""
        rows, worth = np.vstack([self.rows, new.rows]), np.vstack([self.worth, new.worth])
        rooms = np.vstack([self.rooms, new.rooms])
        best = order(worth, np.maximum(-rooms, 0.0).sum(axis=1))
        if len(best) > LEARNED:
            newest = len(rows) - min(len(new.rows), LEARNED // 3)
            kept = best[: LEARNED - (len(rows) - newest)]
            best = best[np.isin(best, kept) | (best >= newest)]
        return Known(rows[best], worth[best], rooms[best])


_CROSSED = 0.5  # share of children of two parents; the others step away from one
_STEPS = (0.005, 0.3)  # shares of a range that they step, at least and at most
_SPREAD = 15.0  # of the crossover and the mutation of numbers: how near children stay (Deb and Agrawal, 1995)


@dataclass
class Family:
    """Makes children of parents that are listed with the best first.

    Attributes
    ----------
    space : What varies
    random : Draws
    parents : Candidates
    """

    space: Space
    random: np.random.Generator
    parents: Array

    def __post_init__(self) -> None:
        self._shares = self.space.shares_of(self.parents)[:, list(self.space.numbers)]

    def one_of_the_best(self) -> Array:
        """Choose one of the best, those in front more often."""
        return np.asarray(self.parents[self._place()].copy())

    def _place(self) -> int:
        return int(len(self.parents) * self.random.random() ** 2.5)

    def children(self, count: int) -> Array:
        """Make children of two of the best each, with a neighbour's choice and a number moved here and there."""
        return np.stack([self._child() for _ in range(count)]) if count else self.parents[:0]

    def _child(self) -> Array:
        places = self._place(), self._place()
        one, other = np.asarray(self.parents[places[0]].copy()), self.parents[places[1]]
        crossed = self.random.random() < _CROSSED
        numbers, choices = list(self.space.numbers), list(self.space.choices)
        if numbers:
            shares = self._shares[list(places)]
            mixed = self._between(shares[0], shares[1]) if crossed else shares[0]
            moved = self._moved(mixed) if crossed else self._stepped(mixed)
            for column, share, before in zip(numbers, moved, shares[0], strict=True):
                if share != before:  # what is not touched stays off the grid where it was
                    one[column] = self.space.variables[column].of_share(np.array([share]))[0]
        for column in choices:
            if crossed and self.random.random() < 0.5:
                one[column] = other[column]
        for column in self._some(choices):
            one[column] = self._neighbour(column, int(one[column]))
        return one

    def _some(self, choices: list[int]) -> list[int]:
        """One choice, sometimes two or three, that change to a neighbour; now and then none beside numbers."""
        if not choices:
            return []
        many = int(self.random.choice(4, p=(0.2, 0.5, 0.2, 0.1))) if self.space.numbers else 1
        return [int(c) for c in self.random.permutation(choices)[: max(many, 0)]]

    def _neighbour(self, column: int, now: int) -> int:
        variable = self.space.variables[column]
        count = variable.grid.size
        if variable.ordered:
            step = int(self.random.choice((-2, -1, 1, 2), p=(0.15, 0.35, 0.35, 0.15)))
            return min(max(now + step, 0), count - 1)
        return (now + 1 + int(self.random.integers(count - 1))) % count

    def _between(self, one: Array, other: Array) -> Array:
        """Simulated binary crossover, each number with even chance (Deb and Agrawal, 1995, from memory)."""
        u = self.random.random(one.size)
        spread = np.where(u < 0.5, 2 * u, 1 / np.maximum(2 * (1 - u), 1e-12)) ** (1 / (_SPREAD + 1))
        side = np.where(self.random.random(one.size) < 0.5, 1.0, -1.0)
        child = 0.5 * (one + other) + 0.5 * side * spread * (one - other)
        return np.where(self.random.random(one.size) < 0.5, np.clip(child, 0.0, 1.0 - 1e-12), one)

    def _moved(self, shares: Array) -> Array:
        """Polynomial mutation of one number or so (Deb and Goyal, 1996, from memory)."""
        u = self.random.random(shares.size)
        step = np.where(
            u < 0.5, (2 * u) ** (1 / (_SPREAD + 1)) - 1, 1 - (2 * np.maximum(1 - u, 1e-12)) ** (1 / (_SPREAD + 1))
        )
        chosen = self.random.random(shares.size) < 1.0 / shares.size
        return np.where(chosen, np.clip(shares + step, 0.0, 1.0 - 1e-12), shares)

    def _stepped(self, shares: Array) -> Array:
        """A few numbers a step away, near as often as far."""
        few = self.random.permutation(shares.size)[: 1 + int(self.random.integers(min(3, shares.size)))]
        size = _STEPS[0] * (_STEPS[1] / _STEPS[0]) ** self.random.random(few.size)
        moved = shares.copy()
        moved[few] = np.clip(moved[few] + size * self.random.standard_normal(few.size), 0.0, 1.0 - 1e-12)
        return moved


class Numbers:
    """CMA-ES on the unit cube, told by ranks in the sizes that it wants (Hansen, 2016; the library `cmaes`)."""

    def __init__(self, mean: Array, seed: int, sigma: float) -> None:
        from cmaes import CMA  # noqa: PLC0415  only where numbers vary

        bounds = np.tile([0.0, 1.0 - 1e-9], (mean.size, 1))
        size = max(4 + int(3 * math.log(mean.size + 1)), 6)
        inside = np.clip(mean, 0.02, 0.98)
        self._one = mean.size == 1  # the library wants two numbers or more
        start = np.repeat(inside, 2) if self._one else inside
        limits = np.repeat(bounds, 2, axis=0) if self._one else bounds
        self._cma = CMA(start, sigma, bounds=limits, seed=seed % 2**31, population_size=size)

    @property
    def is_done(self) -> bool:
        """Whether it has drawn together."""
        return bool(self._cma.should_stop())

    def ask(self, count: int) -> Array:
        """Draw points of the unit cube."""
        drawn = [self._cma.ask() for _ in range(count)]
        return np.stack([d[:1] if self._one else d for d in drawn])

    def tell(self, shares: Array, places: Whole) -> None:
        """Learn from every candidate of a round, in the groups that the strategy wants."""
        rank = np.empty(places.size)
        rank[places] = np.arange(places.size)
        whole = [np.repeat(s, 2) if self._one else s for s in shares]
        size = self._cma.population_size
        for start in range(0, len(whole) - size + 1, size):
            self._cma.tell([(whole[i], float(rank[i])) for i in range(start, start + size)])
