"""Tries candidates: many robots with other numbers in one batch, their margins, and the same matches for each.

A candidate is tried in a number of cases: its nominal numbers, then draws of what is not known, the same draws for
every candidate. Numbers, teeth and classes of bought parts vary within a batch; what makes another robot of it (a tank,
a count, a latch) begins another one. A batch keeps the worst pose and the schedule of the robot as it is, so the best
candidates are tried once more as their files would be.
"""

from __future__ import annotations

import contextlib
import dataclasses
import warnings
from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.decide.change import CandidateEvaluator, Key, effort_of, keyed, margins_of, with_value
from fieldworthy.decide.search.batch import Batches, tolerance_of
from fieldworthy.decide.search.space import Space, fixed_part
from fieldworthy.decide.search.wanted import HOURS, PLAYED, Asked, Objective
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import most_cases
from fieldworthy.engine.finding import WIDEST, Outcome
from fieldworthy.engine.system import Cost, systems
from fieldworthy.match import CannotPlay, Setup, setup
from fieldworthy.match.ability import against, share_left
from fieldworthy.match.setup import with_ability
from fieldworthy.match.timeline import loop
from fieldworthy.robot import Loaded, refusals
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import whole
from fieldworthy.vehicle.state import keep_weights

CASES = 8192
"""Cases of one batch at most, so that memory stays flat."""
_AT_ONCE = 20_000
"""Matches that are played in one go at most, so that memory stays flat."""
_OUTSIDE = (ValueError, ArithmeticError, IndexError, CannotPlay)
"""What physics raises for a robot that cannot be."""
_CAREFUL = 0.1  # of the matches fall below what a careful team counts on
_HOUR = 3600.0
_EFFORT = {"thing": 0.0, "teeth": 1.5, "count": 4.0, "class": 3.0, "tank": 0.7, "latch": 4.0, "place": 0.0}
"""Hours of one change, about; common practice, no source."""
_BAR = 1e5


@dataclass(frozen=True, slots=True)
class Effort:
    """How much is spent on each candidate of a batch.

    Attributes
    ----------
    cases : The nominal one and the draws of what is not known; 1 for the nominal one alone
    each : Matches in each case
    begin : Number of the first match: other matches have other luck
    """

    cases: int = 1
    each: int = 0
    begin: int = 0

    @property
    def matches(self) -> int:
        """Matches of one candidate: in its draws, or in its nominal case where that is all."""
        return max(self.cases - 1, 1) * self.each


@dataclass(frozen=True, slots=True)
class Tried:
    """What candidates gave, candidates leading.

    Attributes
    ----------
    worth : Of each objective, more is better, shape (n, objectives)
    rooms : How much more each constraint needs to break, below 0 where it does, shape (n, constraints)
    """

    worth: Array
    rooms: Array

    @property
    def lacks(self) -> Array:
        """How far each constraint is from holding, 0 where it holds."""
        return np.maximum(-self.rooms, 0.0)

    @property
    def lack(self) -> Array:
        """How far a candidate is from holding what it must, in all."""
        return np.asarray(self.lacks.sum(axis=1))


@dataclass
class Trial:
    """Tries candidates of one robot.

    Attributes
    ----------
    loaded : The robot with its season
    asked : What is varied and wanted
    seed : Fixes the draws and the luck
    """

    loaded: Loaded
    asked: Asked
    seed: int = 0

    _moots: dict[tuple[str, ...], Set[Key]] = field(default_factory=dict)

    @cached_property
    def batches(self) -> Batches:
        """What lays candidates into batches."""
        return Batches(self.loaded, self.asked.space, self.seed)

    @cached_property
    def evaluator(self) -> CandidateEvaluator:
        """The robot as it is, judged."""
        return CandidateEvaluator(self.loaded)

    @cached_property
    def plays(self) -> bool:
        """Whether what is wanted asks for matches."""
        return any(o.name in PLAYED for o in self.asked.objectives)

    @cached_property
    def _against(self) -> dict[str, tuple[Cost, ...]]:
        """What can stand against each action."""
        return against(self.loaded.nominal, self.loaded.nominal_season)

    @cached_property
    def _wanted(self) -> list[Key]:
        """The findings whose margins are asked for, without those that nothing which varies moves."""
        moved = self._moved
        keys = [c.key for c in self.asked.constraints if c.key in moved]
        return keys + [o.key for o in self.asked.objectives if o.key is not None]

    @cached_property
    def _moved(self) -> set[Key]:
        """Findings that must hold and whose margin some candidate changes, or that do not hold as it is."""
        now, space = self.evaluator.now, self.asked.space
        keys = [c.key for c in self.asked.constraints if c.key != HOURS]
        held = {key: float(np.ravel(margins_of(now[key]))[0]) for key in keys}
        left = [key for key in keys if held[key] >= 0]
        found = set(keys) - set(left)
        spread = _spread(space)
        for rows in (spread[part] for part in self.batches.alike(spread)):
            if not left:
                break
            try:
                with np.errstate(all="ignore"), warnings.catch_warnings():
                    warnings.simplefilter("ignore", RuntimeWarning)
                    context = self.batches.context(rows, 1)
                    said = keyed(o for i in self.evaluator.checks_for(left) for o in systems()[i].check(context))
            except _OUTSIDE:
                return set(keys)
            moved = [k for k in left if k not in said or np.any(np.abs(margins_of(said[k]) - held[k]) > 1e-9)]
            found |= set(moved)
            left = [k for k in left if k not in found]
        return found

    @cached_property
    def _checks(self) -> tuple[int, ...]:
        """The checks that something wanted asks for, and no others."""
        stems = tuple(f"{c.id}." for costs in self._against.values() for c in costs) if self.plays else ()
        also = [key for key in self.evaluator.now if f"{key[0]}.".startswith(stems)]
        # what costs tries need not be judged: a sorter's errors, where the file does not say how many are allowed
        told = [
            i for i, system in enumerate(systems()) if {stem.split(".")[0] for stem in stems} & set(system.families)
        ]
        return tuple(sorted({*self.evaluator.checks_for([*self._wanted, *also]), *told}))

    def tried(self, rows: Array, effort: Effort = Effort()) -> Tried:
        """Try candidates, shape (n, variables)."""
        worth = np.full((len(rows), len(self.asked.objectives)), -np.inf)
        rooms = np.full((len(rows), len(self.asked.constraints)), -WIDEST)
        for chosen in self.batches.alike(rows):
            size = max(min(CASES, most_cases(len(self.loaded.quantities))) // effort.cases, 1)
            for start in range(0, len(chosen), size):
                part = chosen[start : start + size]
                worth[part], rooms[part] = self._batch(rows[part], effort)
        return Tried(worth, rooms)

    def _batch(self, rows: Array, effort: Effort) -> tuple[Array, Array]:
        """Try some candidates; where one of them cannot be a robot, the halves are tried."""
        try:
            with np.errstate(all="ignore"), warnings.catch_warnings():
                warnings.simplefilter("ignore", RuntimeWarning)  # far values may leave a formula's range
                return self._judged(self.batches.led(rows), effort, led=True)
        except _OUTSIDE:
            if len(rows) == 1:
                with contextlib.suppress(*_OUTSIDE), np.errstate(all="ignore"), warnings.catch_warnings():
                    warnings.simplefilter("ignore", RuntimeWarning)
                    return self._judged(rows, effort, led=False)
                worth = np.full((1, len(self.asked.objectives)), -np.inf)
                return worth, np.full((1, len(self.asked.constraints)), -WIDEST)
        half = len(rows) // 2
        one, other = self._batch(rows[:half], effort), self._batch(rows[half:], effort)
        return np.concatenate([one[0], other[0]]), np.concatenate([one[1], other[1]])

    def _judged(self, rows: Array, effort: Effort, *, led: bool) -> tuple[Array, Array]:
        own = slice(1 if led else 0, None)
        context = self.batches.context(rows, effort.cases)
        outcomes = [o for i in self._checks for o in systems()[i].check(context)]
        said = keyed(outcomes)
        shape = (len(rows), effort.cases)

        def over(real: Real) -> Array:
            """A number over all cases as candidates by cases, without the one that leads them."""
            return np.broadcast_to(np.asarray(real, dtype=float), (shape[0] * shape[1],)).reshape(shape)[own]

        found = {key: _of(said, key) for key in self._wanted}
        margins = {key: over(-WIDEST if one is None else margins_of(one)) for key, one in found.items()}
        held = over(0.0)
        moot = self._moot(rows[0])
        if any(c.key == HOURS for c in self.asked.constraints):
            left = float(self.loaded.nominal.hours_left or 0.0) / _HOUR
            work = hours_of(self.loaded, self.asked.space, rows[own])
            margins[HOURS] = (1.0 - work / max(left, 1e-9))[:, None]
        rooms = [_room(held if c.key in moot else margins.get(c.key, held), c.chance) for c in self.asked.constraints]
        played = self._played(context, outcomes, (shape, own.start), effort) if self.plays and effort.each else None
        worth = [self._worth(o, (context, margins, played), rows[own], over) for o in self.asked.objectives]
        # what the file says to be below the floor as it is, is a mistake of the file and not the candidate's
        allowed = max(float(np.max(state.sunk(context.nominal))), state.MEASURED) + 1e-9
        can_be = over(state.sunk(context))[:, :1] <= allowed
        room = np.stack(rooms, axis=1) if rooms else np.zeros((len(rows[own]), 0))
        return np.where(can_be, np.stack(worth, axis=1), -np.inf), np.where(can_be, room, -WIDEST)

    def _moot(self, row: Array) -> Set[Key]:
        """What must hold and is of a mechanism that a candidate leaves out, unless it was asked for by name."""
        less = self.asked.space.less_of(row)
        if less is None:
            return frozenset()
        names = tuple(sorted(less.sentences))
        if names not in self._moots:
            said = {key: o for key, o in CandidateEvaluator(less.robot).now.items() if not o.missing}
            asked = [c.key for c in self.asked.constraints if c.why != "must"]
            self._moots[names] = {key for key in asked if _of(said, key) is None}
        return self._moots[names]

    def points(self, rows: Array, effort: Effort) -> Array:
        """Points of every match of some candidates, shape (n, matches); they must be robots that can be."""
        found = []
        size = max(CASES // effort.cases, 1)
        for chosen in self.batches.alike(rows):
            for start in range(0, len(chosen), size):
                part = chosen[start : start + size]
                with np.errstate(all="ignore"), warnings.catch_warnings():
                    warnings.simplefilter("ignore", RuntimeWarning)
                    context = self.batches.context(self.batches.led(rows[part]), effort.cases)
                    said = [o for i in self._checks for o in systems()[i].check(context)]
                    shape = (len(part) + 1, effort.cases)
                    found.append((part, self._played(context, said, (shape, 1), effort)[0]))
        points = np.empty((len(rows), effort.matches))
        for part, one in found:
            points[part] = one
        return points

    def _worth(
        self, objective: Objective, found: tuple[Context, dict[Key, Array], tuple[Array, Array] | None],
        rows: Array, over: Callable[[Real], Array],
    ) -> Array:  # fmt: skip
        context, margins, played = found
        if objective.key is not None:
            return np.asarray(margins[objective.key][:, 0])
        if objective.name == "mass":
            return -over(whole(state.groups(context), {}).mass)[:, 0]
        if objective.name == "hours":
            return -hours_of(self.loaded, self.asked.space, rows)
        if played is None:
            return np.zeros(len(rows))
        points, air = played
        if objective.name == "air left":
            return np.asarray(air.mean(axis=1)) / _BAR
        if objective.name == "careful points":
            return np.asarray(np.quantile(points, _CAREFUL, axis=1))
        return np.asarray(points.mean(axis=1))

    def _played(
        self, context: Context, said: Sequence[Outcome], over: tuple[tuple[int, int], int], effort: Effort
    ) -> tuple[Array, Array]:
        """Points of every match, and the lowest gauge pressure left [Pa], candidates leading, from the one named on."""
        shape, begin = over
        cases = shape[0] * shape[1]
        match = with_ability(setup(context, self.asked.part, cases), self._able(said, cases))
        points, air = [], []
        p_atm = match.numbers.drive[:, -1]
        together = max(_AT_ONCE // max(effort.matches, 1), 1)
        for first in range(begin, shape[0], together):
            count = min(together, shape[0] - first)
            totals, pressure = _matches(match, (first, count, effort.cases), effort, self.seed)
            points.append(totals)
            air.append(pressure - p_atm[first * shape[1] :: shape[1]][:count, None])
        return np.concatenate(points), np.concatenate(air)

    def _able(self, said: Sequence[Outcome], cases: int) -> dict[str, Real]:
        by_id = {outcome.id: outcome for outcome in said}
        return {action: share_left(costs, by_id, cases) for action, costs in self._against.items()}


def with_seed(trial: Trial, seed: int) -> Trial:
    """Try the same with other draws and luck; what does not rest on them is not found out again."""
    other = Trial(trial.loaded, trial.asked, seed, trial._moots)
    known = ("evaluator", "_moved", "_wanted", "_checks")
    vars(other).update({key: vars(trial)[key] for key in known if key in vars(trial)})
    return other


def _matches(match: Setup, robots: tuple[int, int, int], effort: Effort, seed: int) -> tuple[Array, Array]:
    """Play matches of some candidates, the first and how many and their cases: the same luck for every candidate."""
    first, count, cases = robots
    # nominal numbers alone: one case for all its matches, the chances of each drawn anew
    drawn = cases > 1
    which = (effort.begin, first * cases + drawn, effort.each if drawn else -1, True)
    runs = count * effort.matches
    out = loop(match, which, seed, runs, 0, (count, cases))
    lowest = out.pressure.min(axis=1) if out.pressure.shape[1] else np.zeros(runs)
    return out.totals[:, 0].reshape(count, -1).copy(), lowest.reshape(count, -1)


def built(loaded: Loaded, space: Space, row: Array) -> Loaded | None:
    """A candidate as its file would be read; None where it would be refused."""
    spec, base = fixed_part(loaded, space, row), space.robot(loaded, row)
    entries = dict(base.quantities)
    for i in space.numbers:
        variable = space.variables[i]
        if variable.paths[0] not in entries:
            continue
        for path, sign in zip(variable.paths, variable.signs, strict=True):
            si = sign * float(row[i])
            new = dataclasses.replace(entries[path], si=si, tolerance=tolerance_of(entries[path], si))
            spec = with_value(spec, path, new)
    made = dataclasses.replace(base, robot=spec)
    try:
        if any(True for _ in refusals(made.nominal, made.nominal_season)):
            return None
    except _OUTSIDE:
        return None
    return keep_weights(loaded, made)


def hours_of(loaded: Loaded, space: Space, rows: Array) -> Array:
    """Hours of work of each candidate, about: build times of the mechanisms, and the changes."""
    mechanisms = loaded.nominal.mechanisms.values()
    build = sum(float(m.build_time) for m in mechanisms if m.build_time is not None) / _HOUR
    less = [space.less_of(row) for row in rows]
    total = np.array([build + (0.0 if one is None else one.hours) for one in less])
    for i, variable in enumerate(space.variables):
        moved = rows[:, i] != variable.now
        if variable.paths[0][0] == "plan":
            continue  # another plan is no work on the robot
        if variable.quantity is not None:
            quantity = variable.quantity
            total += np.array([effort_of(quantity, float(si)) for si in rows[:, i]])
        elif variable.sort == "count":
            sizes = np.array([float(o.values[0]) for o in variable.options])
            total += _EFFORT["count"] * np.abs(sizes[rows[:, i].astype(int)] - sizes[int(variable.now)])
        else:
            total += np.where(moved, _EFFORT[variable.sort], 0.0)
    return total


def _of(said: Mapping[Key, Outcome], key: Key) -> Outcome | None:
    """The outcome of a key; where one of several things is left out, the one that is left may stand alone."""
    alone = said.get((key[0], ""))
    return said.get(key) or (alone if alone is not None and alone.subject == key[1] else None)


def _spread(space: Space) -> Array:
    """Rows that show what each variable moves: a few of its values alone, then all of them at once."""
    rows = [space.now]
    for i, variable in enumerate(space.variables):
        values = variable.grid[np.unique(np.linspace(0, variable.grid.size - 1, 5).astype(int))]
        for value in values.tolist() if variable.is_number else variable.grid.tolist()[:12]:
            row = space.now.copy()
            row[i] = value
            rows.append(row)
    return np.stack(rows)


def _room(margins: Array, chance: float) -> Array:
    """How much more margins over cases need to break, with a chance where one is asked for; below 0 where they do."""
    nominal = margins[:, 0]
    if margins.shape[1] == 1 or chance <= 0.0:
        return np.asarray(nominal)
    lack = np.maximum(-nominal, 0.0) + np.maximum(chance - (margins[:, 1:] >= 0).mean(axis=1), 0.0)
    return np.where(lack > 0.0, -lack, np.maximum(nominal, 0.0))
