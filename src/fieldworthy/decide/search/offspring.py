"""Makes candidates of the best ones: crossed, stepped away from one, and drawn by CMA-ES for the numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.decide.search.space import Space
from fieldworthy.match.state import Whole

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

    def one_of_the_best(self) -> Array:
        """Choose one of the best, those in front more often."""
        place = int(len(self.parents) * self.random.random() ** 2.5)
        return np.asarray(self.parents[place].copy())

    def children(self, count: int) -> Array:
        """Make children of two of the best each, with a neighbour's choice and a number moved here and there."""
        return np.stack([self._child() for _ in range(count)]) if count else self.parents[:0]

    def _child(self) -> Array:
        one, other = self.one_of_the_best(), self.one_of_the_best()
        crossed = self.random.random() < _CROSSED
        numbers, choices = list(self.space.numbers), list(self.space.choices)
        if numbers:
            shares = self.space.shares_of(np.stack([one, other]))[:, numbers]
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
