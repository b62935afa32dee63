"""Learns from tried candidates what others will be worth, and proposes those that promise most.

A Gaussian process with one length for each thing that varies (Rasmussen and Williams, 2006, chapters 2 and 5, from
memory) tells worth and margins of what must hold; candidates come from boxes about the best that grow with success and
shrink without it (Eriksson and others, 2019, and with limits Eriksson and Poloczek, 2021; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Set
from dataclasses import dataclass, field

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.decide.search.space import Space
from fieldworthy.match.state import Whole

LEARNED = 256
"""Candidates that a model learns from at most: its work goes with the third power of them."""
_LOOKED = 4  # one of so many is looked for far from the best
_OPTIONS = 24  # of a choice that are looked at one by one, at most
_FAR = 3  # places that an ordered choice goes at once, at most
_STEPS = 12  # towards likelier lengths, each time
_DRAWN = 384  # candidates from which one is proposed
_FINE = 0.25  # share of moves of a number that go a step or two
_SOME = 20.0  # of the numbers are moved in one candidate, about
_BOX = (2.0**-7, 0.4, 0.8)  # half of a box's side: least, first, greatest
_LIMITS = 12  # margins that are modelled, those that broke most often
_ROOT5 = math.sqrt(5.0)


@dataclass
class Process:
    """A Gaussian process with a Matern 5/2 kernel; all outputs have one kernel.

    Attributes
    ----------
    groups : For each coordinate, which length it has
    """

    groups: Whole
    lengths: Array = field(init=False)

    def __post_init__(self) -> None:
        count = int(self.groups.max(initial=-1)) + 1
        self._usual = math.log(0.5 * math.sqrt(max(count, 1)))
        self._logs = np.append(np.full(count, self._usual), math.log(1e-3))  # the last is the noise
        self._paces = np.full(count + 1, 0.3)
        self._signs = np.zeros(count + 1)
        self.lengths = np.exp(self._logs[:-1])

    def learn(self, points: Array, values: Array) -> None:
        """Take in what points of the unit cube are worth, shapes (n, coordinates) and (n, outputs)."""
        self._middle, self._scale = values.mean(axis=0), np.maximum(values.std(axis=0), 1e-12)
        told = (values - self._middle) / self._scale
        apart = np.stack([self._squares(points[:, self.groups == g]) for g in range(self.lengths.size)])
        for _ in range(_STEPS):
            self._step(apart, told)
        self.lengths = np.exp(self._logs[:-1])
        self._points = points
        self._factor = np.linalg.cholesky(self._kernel(apart)[0])
        self._weights = self._solved(told)

    @staticmethod
    def _squares(points: Array) -> Array:
        gaps = points[:, None, :] - points[None, :, :]
        return np.asarray((gaps * gaps).sum(axis=2))

    def _kernel(self, apart: Array) -> tuple[Array, Array]:
        """The covariance of the points, and what its change with the log of a length has in common."""
        r = np.sqrt(np.tensordot(np.exp(-2.0 * self._logs[:-1]), apart, 1))
        fall = np.exp(-_ROOT5 * r)
        kernel = (1.0 + _ROOT5 * r + 5.0 / 3.0 * r * r) * fall
        kernel[np.diag_indices(len(kernel))] += math.exp(self._logs[-1]) + 1e-8
        return kernel, 5.0 / 3.0 * fall * (1.0 + _ROOT5 * r)

    def _step(self, apart: Array, told: Array) -> None:
        """One step of Rprop (Riedmiller and Braun, 1993, from memory) up the likelihood times a wide prior."""
        kernel, common = self._kernel(apart)
        inverse = np.linalg.inv(kernel)
        weights = inverse @ told
        inner = (weights @ weights.T) / told.shape[1] - inverse
        slope = 0.5 * np.tensordot(apart, inner * common, 2) * np.exp(-2.0 * self._logs[:-1])
        slope -= (self._logs[:-1] - self._usual) / 1.5**2
        noise = 0.5 * np.trace(inner) * math.exp(self._logs[-1]) - (self._logs[-1] - math.log(1e-3)) / 3.0**2
        signs = np.sign(np.append(slope, noise))
        same = signs * self._signs
        self._paces = np.clip(self._paces * np.where(same > 0, 1.2, np.where(same < 0, 0.5, 1.0)), 0.01, 0.5)
        self._signs = signs
        self._logs[:-1] = np.clip(self._logs[:-1] + signs[:-1] * self._paces[:-1], math.log(0.02), math.log(20.0))
        self._logs[-1] = np.clip(self._logs[-1] + signs[-1] * self._paces[-1], math.log(1e-6), math.log(0.3))

    def _solved(self, right: Array) -> Array:
        from scipy.linalg import cho_solve  # noqa: PLC0415  only where it is used: the command must start fast

        return np.asarray(cho_solve((self._factor, True), right))

    def tell(self, points: Array) -> tuple[Array, Array]:
        """Expect values at points, shape (n, outputs), each with its standard deviation."""
        from scipy.linalg import solve_triangular  # noqa: PLC0415

        stretch = 1.0 / self.lengths[self.groups]
        one, other = points * stretch, self._points * stretch
        squares = (one * one).sum(axis=1)[:, None] + (other * other).sum(axis=1)[None, :] - 2.0 * one @ other.T
        r = np.sqrt(np.maximum(squares, 0.0))
        cross = (1.0 + _ROOT5 * r + 5.0 / 3.0 * r * r) * np.exp(-_ROOT5 * r)
        inside = solve_triangular(self._factor, cross.T, lower=True)
        spread = np.sqrt(np.maximum(1.0 - (inside * inside).sum(axis=0), 1e-12))
        return cross @ self._weights * self._scale + self._middle, spread[:, None] * self._scale


@dataclass
class Surrogate:
    """Proposes candidates of a space from models of those that were tried.

    Attributes
    ----------
    space : What varies
    random : Draws
    """

    space: Space
    random: np.random.Generator

    def __post_init__(self) -> None:
        self._box = _BOX[1]
        groups: list[int] = []
        for i, variable in enumerate(self.space.variables):
            groups += [i] * (variable.grid.size if self._is_named(i) else 1)
        self._groups = np.array(groups)
        self._worth, self._rooms = Process(self._groups), Process(self._groups)
        self._failed = 0

    def _is_named(self, column: int) -> bool:
        """Whether no option of a variable is nearer to one than to another."""
        variable = self.space.variables[column]
        return not variable.is_number and not variable.ordered and variable.grid.size > 2

    def _coordinates(self, rows: Array) -> Array:
        """Candidates as points: numbers and ordered choices by their share, others with a coordinate an option."""
        columns = []
        for i, variable in enumerate(self.space.variables):
            if self._is_named(i):
                columns.append((rows[:, i, None] == np.arange(variable.grid.size)) / math.sqrt(2.0))
            elif variable.is_number:
                columns.append(variable.share_of(rows[:, i])[:, None])
            else:
                columns.append(rows[:, i, None] / max(variable.grid.size - 1, 1))
        return np.hstack(columns)

    def noted(self, *, better: bool) -> None:
        """Let the box grow with a better candidate, and shrink after some rounds without one."""
        self._failed = 0 if better else self._failed + 1
        if better:
            self._box = min(1.5 * self._box, _BOX[2])
        elif self._failed >= max(2, len(self.space.variables) // 6):
            self._box, self._failed = self._box / 2.0, 0
        if self._box < _BOX[0]:
            self._box = _BOX[1]

    def learn(self, rows: Array, worth: Array, rooms: Array) -> bool:
        """Take in tried candidates, the best first; says whether that tells anything of worth yet."""
        points = self._coordinates(rows)
        played = np.isfinite(worth).all(axis=1)
        broke = (rooms < 0).sum(axis=0)
        near = np.argsort(-broke, kind="stable")[:_LIMITS]
        self._limits = near[(broke[near] > 0) | (np.abs(rooms[:, near]).min(axis=0, initial=1.0) < 0.02)]
        if self._limits.size:
            self._rooms.learn(points, np.clip(rooms[:, self._limits], -1.0, 1.0))
        self._tried, self._known, self._has = rows, worth, played
        if int(played.sum()) < 2:
            return False
        told = worth[played]
        half, top = np.median(told, axis=0), told.max(axis=0)
        floor = half - 2.0 * np.maximum(top - half, 1e-12)  # how bad the worst are tells nothing of the best
        self._low, self._span = half, np.maximum(top - half, 1e-12)
        self._worth.learn(points[played], np.maximum(told, floor))
        return True

    def propose(self, count: int, seen: Set[bytes] = frozenset()) -> Array:
        """Candidates that promise most and were not seen, each for another weight of objectives and another trust."""
        found: list[Array] = []
        taken, choices = set(seen), list(self.space.choices)
        for place in range(count):
            drawn, promise = self._drawn(place)
            first, others = drawn[promise[0]], promise[:1]
            if first.tobytes() in taken and place % _LOOKED == 0:  # better ones may stand beside, with another choice
                others = promise[(drawn[promise][:, choices] != first[choices]).any(axis=1)]
            one = next((drawn[k] for k in others if drawn[k].tobytes() not in taken), None)
            if one is not None:
                found.append(one)
                taken.add(one.tobytes())
        return np.stack(found) if found else self._tried[:0]

    def _drawn(self, place: int) -> tuple[Array, Whole]:
        """Candidates about the best, and their places, those that promise most first."""
        weights = self.random.dirichlet(np.ones(self._known.shape[1]))
        about = self._tried[self._centre(weights)]
        drawn = np.vstack([self._near(about, self._box if place % _LOOKED else _BOX[2]), self._beside(about)])
        drawn = self.space.settled(drawn)
        points = self._coordinates(drawn)
        trust, cautious = np.abs(self.random.standard_normal()), 0.5 * self.random.standard_normal()
        mean, spread = self._worth.tell(points)
        merit = self._scaled(mean + trust * spread, weights)
        lack = np.zeros(len(drawn))
        if self._limits.size:
            room, doubt = self._rooms.tell(points)
            lack = np.maximum(-(room + cautious * doubt), 0.0).sum(axis=1)
        return drawn, np.lexsort((-merit, np.where(lack < 1e-6, 0.0, lack))).astype(np.int64)

    def _centre(self, weights: Array) -> int:
        """The best of those tried under some weights; they come ordered where there is one objective."""
        if self._known.shape[1] == 1:
            return 0
        merit = np.where(self._has, self._scaled(self._known, weights), -np.inf)
        return int(merit.argmax())

    def _scaled(self, worth: Array, weights: Array) -> Array:
        """Several objectives as one (augmented Chebyshev, as Knowles, 2006, from memory)."""
        if worth.shape[1] == 1:
            return np.asarray(worth[:, 0])
        scaled = weights * (worth - self._low - self._span) / self._span
        return np.asarray(scaled.min(axis=1) + 0.05 * scaled.sum(axis=1))

    def _near(self, about: Array, box: float) -> Array:
        """Candidates in a box about one: longer where worth changes slowly; some of the numbers and choices move."""
        drawn = np.repeat(about[None, :], _DRAWN, axis=0)
        moves = self.random.random(drawn.shape) < min(1.0, max(_SOME / len(about), 0.3))
        moves[np.arange(_DRAWN), self.random.integers(len(about), size=_DRAWN)] = True
        lengths = self._worth.lengths / np.exp(np.log(self._worth.lengths).mean())
        share = self.space.shares_of(about[None, :])[0]
        for i, variable in enumerate(self.space.variables):
            at = np.flatnonzero(moves[:, i])
            if variable.is_number:
                reach = min(box * float(lengths[i]), 1.0)
                low, high = max(share[i] - reach, 0.0), min(share[i] + reach, 1.0 - 1e-9)
                drawn[at, i] = variable.of_share(self.random.uniform(low, high, at.size))
                fine = at[self.random.random(at.size) < _FINE]
                steps = self.random.choice((-2, -1, 1, 2), fine.size) / variable.grid.size
                drawn[fine, i] = variable.of_share(np.clip(share[i] + steps, 0.0, 1.0 - 1e-9))
            else:
                at = at[self.random.random(at.size) < 0.4]
                drawn[at, i] = self._others(i, int(about[i]), at.size)
        return drawn

    def _beside(self, about: Array) -> Array:
        """Every candidate that differs from one in a choice, or in a number by a step or two: draws may miss some."""
        found = []
        share = self.space.shares_of(about[None, :])[0]
        for i in self.space.numbers:
            variable = self.space.variables[i]
            moved = np.clip(share[i] + np.array([-2.0, -1.0, 1.0, 2.0]) / variable.grid.size, 0.0, 1.0 - 1e-9)
            for value in variable.of_share(moved):
                one = about.copy()
                one[i] = value
                found.append(one)
        for i in self.space.choices:
            variable = self.space.variables[i]
            others = np.arange(variable.grid.size)
            if variable.ordered:
                others = others[np.abs(others - int(about[i])) <= _FAR]
            for value in others[:_OPTIONS]:
                if value != about[i]:
                    one = about.copy()
                    one[i] = value
                    found.append(one)
        return np.array(found).reshape(-1, len(about))

    def _others(self, column: int, now: int, count: int) -> Array:
        variable = self.space.variables[column]
        size = variable.grid.size
        if variable.ordered:
            step = self.random.choice([k for k in range(-_FAR, _FAR + 1) if k], count)
            return np.asarray(np.clip(now + step, 0, size - 1), dtype=float)
        return np.asarray((now + 1 + self.random.integers(max(size - 1, 1), size=count)) % size, dtype=float)
