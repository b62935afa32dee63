"""Searches the order of actions: rounds put one behind the other (beam search), then changed here and there.

A round is what a team does in one go, such as taking objects and scoring them. Rounds come from the plan in the file:
its repeated lists, its steps up to each that scores, and each of them at the other places where the same thing is done.
All plans play the same matches: only their order of steps differs from one to the next, everything else is set up once.
"""

from __future__ import annotations

import dataclasses
import itertools
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from fieldworthy import errors
from fieldworthy.decide.change import with_value
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases
from fieldworthy.files import schema_of
from fieldworthy.files.document import KeyPath
from fieldworthy.files.writing import GONE
from fieldworthy.match import Part, Setup
from fieldworthy.match.components import EACH
from fieldworthy.match.forecast import drawn_setup
from fieldworthy.match.setup import with_plan
from fieldworthy.match.timeline import loop
from fieldworthy.robot import Loaded
from fieldworthy.robot.editing import edited
from fieldworthy.robot.loading import load_robot
from fieldworthy.robot.model.season import Finish, Plan, Repeat, Step
from fieldworthy.units import often

_DRAWS = (16, 48, 160, 640)
"""Draws of what is not known, with five matches each, that a plan is played in: all, the better third, the best, and
those few among which the last choice is."""
_LEVEL = 2  # from which on a plan is said to be better
_LAST = 6  # plans among which the last choice is
_WIDTH = 10  # plans that go on in each step of the beam
_MOST_ROUNDS = 40  # one behind the other
_VARIANTS = 8  # of one round at other places
_FINISHED = 4  # of the best, begun to finish at each time
_SIMPLE = 150  # plans of two things at most
_STALE = 4  # batches without a better plan
_BATCH = 36
_JUDGED = 12  # plans that are looked at until one holds what it must
_RESERVES = np.arange(-10.0, 10.1, 2.0)  # s, about the present one
_EVEN = 0.02  # points a match

Round = tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Order:
    """The order of actions: rounds of both periods, and what is kept for the end.

    Attributes
    ----------
    autonomous, driven : Rounds by their place in the list of all
    reserve : Time before the end at which the finish begins [s]; None without it
    """

    autonomous: tuple[int, ...]
    driven: tuple[int, ...]
    reserve: float | None


def _with(order: Order, period: str, rounds: tuple[int, ...]) -> Order:
    if period == "driven":
        return dataclasses.replace(order, driven=rounds)
    return dataclasses.replace(order, autonomous=rounds)


@dataclass
class Planner:
    """Searches the plan of one robot.

    Attributes
    ----------
    loaded : The robot
    part : Which part of the match counts
    seed : Fixes draws, luck and moves
    holds : Whether a robot with another plan holds what it must
    is_late : Whether the time is up
    matches, tried : Played and looked at so far
    stopped : Whether Ctrl-C ended it
    best : Points of the best so far
    """

    loaded: Loaded
    part: Part
    seed: int
    holds: Callable[[Loaded], bool]
    is_late: Callable[[Planner], bool] = lambda _: False
    matches: int = 0
    tried: int = 0
    stopped: bool = False
    best: float | None = None
    _points: dict[tuple[Order, int], float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        plan = self.loaded.nominal.plan
        assert plan is not None
        self._file = plan
        self._plan = plan.alone if self.part == "solo" else plan
        self._random = np.random.default_rng([self.seed, 61])
        self._rounds = rounds_of(self.loaded, self._plan)
        every = [step for one in self._rounds for step in one]
        plan = self._plan
        whole = dataclasses.replace(plan, driven=(*plan.driven, *every), autonomous=(*plan.autonomous, *every))
        robot: Any = self.loaded.robot
        spec = with_value(robot, ("plan",), _spec_of(whole))
        base = Context(self.loaded.nominal, self.loaded.nominal_season)
        cases = Cases(self.seed, 0, _DRAWS[-1], [])
        self._match: Setup = drawn_setup(dataclasses.replace(self.loaded, robot=spec), cases, base, self.part)

    @property
    def now(self) -> Order:
        """The present plan as rounds."""
        plan = self._plan
        reserve = None if plan.finish is None else float(plan.finish.reserve)
        return Order(
            _as_rounds(plan.autonomous, self._rounds, self.loaded),
            _as_rounds(plan.driven, self._rounds, self.loaded),
            reserve,
        )

    def plan(self, order: Order) -> Plan:
        """Write an order as a plan: the same round several times as one that is repeated."""
        finish = None
        if self._plan.finish is not None and order.reserve is not None:
            finish = Finish(steps=self._plan.finish.steps, reserve=order.reserve)
        return dataclasses.replace(
            self._plan,
            autonomous=_items(order.autonomous, self._rounds),
            driven=_items(order.driven, self._rounds),
            finish=finish,
        )

    def points(self, order: Order, level: int) -> float:
        """Mean points of an order over the draws of a level."""
        key = order, level
        if key not in self._points:
            plan = self.plan(order)
            if self.part == "autonomous" and not plan.autonomous:
                return 0.0
            if self.part in ("driven", "solo") and not (plan.driven or plan.finish_steps):
                return 0.0
            runs = _DRAWS[level] * EACH
            self.matches += runs
            self.tried += level == 0
            match = with_plan(self._match, plan, self.loaded.nominal_season)
            self._points[key] = float(loop(match, (0, 1, EACH, True), self.seed, runs, 0).totals[:, 0].mean())
        return self._points[key]

    def _raced(self, orders: Sequence[Order]) -> list[Order]:
        """The best first: all are played a little, the better third more, the best of those much.

        Of those that score the very same, such as one with a round more that never begins, the shortest goes on.
        """
        found: dict[float, Order] = {}
        for order in sorted(dict.fromkeys(orders), key=lambda o: len(o.autonomous) + len(o.driven)):
            found.setdefault(self.points(order, 0), order)
        best = [found[points] for points in sorted(found, reverse=True)]
        for level in (1, 2):
            kept = best[: max(len(best) // 3, 3)]
            best = [*sorted(kept, key=lambda o: -self.points(o, level)), *best[len(kept) :]]
        return best

    def search(self) -> Plan:
        """Find the best plan that holds what it must; Ctrl-C or the end of the time ends it with the best so far."""
        self._best = self.now
        present = with_plan(self._match, self._plan, self.loaded.nominal_season)
        floor = float(loop(present, (0, 1, EACH, True), self.seed, _DRAWS[_LEVEL] * EACH, 0).totals[:, 0].mean())
        try:
            with errors.in_order():
                for period in ("autonomous", "driven"):
                    if self.part == "whole" or (period == "autonomous") == (self.part == "autonomous"):
                        self._best = self._first_that_holds(self._beam(self._best, period), self._best)
                self._moved()
                self._best = self._without_idle(self._chosen_last())
        except KeyboardInterrupt:
            self.stopped = True  # in the middle of a beam, too, the best so far counts
            known = sorted((o for o, level in self._points if not level), key=lambda o: -self.points(o, 0))[:_LAST]
            self._best = self._first_that_holds(sorted(known, key=lambda o: -self.points(o, _LEVEL)), self._best)
        better = self.points(self._best, _LEVEL) > floor + _EVEN
        return self._in_file(self.plan(self._best)) if better else self._file

    def _in_file(self, plan: Plan) -> Plan:
        """A plan as the whole plan of the file: that of a run alone takes the place of the one that it has."""
        solo = self._file.solo
        if self.part != "solo" or solo is None:
            return plan
        return dataclasses.replace(self._file, solo=dataclasses.replace(solo, steps=plan.driven, finish=plan.finish))

    def _beam(self, start: Order, period: str) -> list[Order]:
        """Put rounds of one period one behind the other, the best of each length going on.

        With the latest of the finishes, so that there is time for all that may be worth its time: then with each.
        """
        finishes = (
            []
            if start.reserve is None or period != "driven"
            else [*_reserves(self.loaded, self.part, start.reserve), start.reserve]
        )
        first = dataclasses.replace(start, reserve=min(finishes)) if finishes else start
        beam, every = [_with(first, period, ())], [start]
        best, stale = -np.inf, 0
        for _ in range(_MOST_ROUNDS):
            longer = [
                _with(o, period, (*getattr(o, period), k))
                for o in beam for k in range(len(self._rounds))
            ]  # fmt: skip
            beam = sorted(longer, key=lambda o: -self.points(o, 0))[:_WIDTH]
            every += beam
            top = self.points(beam[0], 0)
            self.best = max(top, self.best or top)
            stale = 0 if top > best + _EVEN else stale + 1
            best = max(best, top)
            if stale == 2 or self.is_late(self):  # what is added finds no time any more
                break
        every += _simple(first, period, len(getattr(beam[0], period)), len(self._rounds))
        longest = sorted(every[1:], key=lambda o: -self.points(o, 0))[:_FINISHED]
        every += [dataclasses.replace(o, reserve=r) for o in longest for r in finishes]
        return self._raced(every)

    def _first_that_holds(self, orders: Sequence[Order], otherwise: Order) -> Order:
        floor = self.points(otherwise, 2)
        for order in orders[:_JUDGED]:
            if self.points(order, 2) <= floor + _EVEN:
                break
            if self.holds(self.built(order)):
                return order
        return otherwise

    def _moved(self) -> None:
        """Insert, drop, change and swap rounds, and begin the finish earlier or later, while it gets better."""
        stale, refused = 0, set[Order]()
        while stale < _STALE and not self.is_late(self):
            near = [o for o in self._neighbours(self._best) if o not in refused]
            found = self._raced(near)[:3] if near else []
            good = [o for o in found if self.points(o, 2) > self.points(self._best, 2) + _EVEN]
            good.sort(key=lambda o: -self.points(o, 2))
            chosen = next((o for o in good if self._holds(o, refused)), None)
            stale = 0 if chosen is not None else stale + 1
            self._best = chosen or self._best
            self.best = self.points(self._best, 2)

    def _chosen_last(self) -> Order:
        """The best of those that 800 matches do not tell apart: the best of many is partly the luckiest."""
        close: dict[float, Order] = {}
        for (order, level), points in sorted(self._points.items(), key=lambda known: -known[1]):
            if level == _LEVEL:
                close.setdefault(points, order)
        last = [self._best, *list(close.values())[:_LAST]]
        found = sorted(dict.fromkeys(last), key=lambda o: -self.points(o, _LEVEL + 1))
        return next(o for o in found if o == self._best or self.holds(self.built(o)))

    def _holds(self, order: Order, refused: set[Order]) -> bool:
        if self.holds(self.built(order)):
            return True
        refused.add(order)
        return False

    def _neighbours(self, order: Order) -> list[Order]:
        """Plans with one change that have not been played, as many as there are; then such with two or three."""
        periods = {"whole": ["autonomous", "driven"], "autonomous": ["autonomous"]}.get(self.part, ["driven"])
        found = [
            _with(order, p, rounds) for p in periods for rounds in _changed_once(getattr(order, p), len(self._rounds))
        ]
        if order.reserve is not None and self.part != "autonomous":
            found += [dataclasses.replace(order, reserve=r) for r in _reserves(self.loaded, self.part, order.reserve)]
        found = [o for o in found if (o, 0) not in self._points]
        found = [found[i] for i in self._random.permutation(len(found))[:_BATCH]]
        for _ in range(_BATCH - len(found)):
            period = str(self._random.choice(periods))
            rounds = list(getattr(order, period))
            for _ in range(2 + int(self._random.integers(2))):
                rounds = _changed(rounds, len(self._rounds), self._random)
            found.append(_with(order, period, tuple(rounds[:_MOST_ROUNDS])))
        return list(dict.fromkeys(found))

    def _without_idle(self, best: Order) -> Order:
        """Drop rounds without which the plan scores as much, the last ones first."""
        for period in ("driven", "autonomous"):
            for at in range(len(getattr(best, period)) - 1, -1, -1):
                rounds = getattr(best, period)
                less = _with(best, period, (*rounds[:at], *rounds[at + 1 :]))
                if self.points(less, 2) >= self.points(best, 2) - 1e-9 and self.holds(self.built(less)):
                    best = less
        return best

    def built(self, order: Order) -> Loaded:
        """The robot with an order as its plan."""
        spec = with_value(self.loaded.robot, ("plan",), _spec_of(self._in_file(self.plan(order))))
        return dataclasses.replace(self.loaded, robot=spec)


def _simple(start: Order, period: str, length: int, count: int) -> list[Order]:
    """Plans of one thing once or twice, then another for the rest: what is best at first may lead astray."""
    kinds = range(count)
    firsts = [(), *((k,) * n for k in kinds for n in (1, 2))]
    plans = [(*one, *(k,) * max(length - len(one), 1)) for k in kinds for one in firsts if k not in one]
    return [_with(start, period, plan) for plan in plans[:_SIMPLE]]


def _as_rounds(items: Sequence[Step | Repeat], rounds: Sequence[Round], loaded: Loaded) -> tuple[int, ...]:
    """Steps of a plan as rounds, each by its place among those that there are."""
    found: list[int] = []
    for steps, times in _in_rounds(items, loaded):
        found += [rounds.index(steps)] * times
    return tuple(found[:_MOST_ROUNDS])


def _items(chosen: Sequence[int], rounds: Sequence[Round]) -> tuple[Step | Repeat, ...]:
    """Rounds as steps of a plan, one that comes several times in a row as one that is repeated."""
    items: list[Step | Repeat] = []
    for which, run in itertools.groupby(chosen):
        times, steps = len(list(run)), rounds[which]
        items += [Repeat(repeat=steps, times=times, until=None)] if times > 1 else list(steps)
    return tuple(items)


def _changed_once(rounds: tuple[int, ...], kinds: int) -> Iterator[tuple[int, ...]]:
    """Every plan with one round more, one less, another one, or two that have changed places."""
    for at in range(len(rounds) + 1):
        before, after = rounds[:at], rounds[at:]
        for new in range(kinds):
            if len(rounds) < _MOST_ROUNDS:
                yield (*before, new, *after)
            if after and after[0] != new:
                yield (*before, new, *after[1:])
        if after:
            yield (*before, *after[1:])
        for k, other in enumerate(after):
            if k and other != after[0]:
                yield (*before, other, *after[1:k], after[0], *after[k + 1 :])


def _reserves(loaded: Loaded, part: Part, now: float) -> Iterator[float]:
    """Earlier and later moments to begin the finish at."""
    periods = loaded.nominal_season.periods
    most = float(periods.driven if part != "solo" or periods.solo is None else periods.solo)
    return (float(now + step) for step in _RESERVES if step and 0 < now + step < most)


def _changed(rounds: list[int], kinds: int, random: np.random.Generator) -> list[int]:
    """Insert, drop, change or swap a round."""
    count = len(rounds)
    what = int(random.integers(4))
    at = int(random.integers(count + (what == 0))) if count else 0
    new = int(random.integers(kinds))
    if what == 0 or not count:
        return [*rounds[:at], new, *rounds[at:]]
    if what == 1:
        return [*rounds[:at], *rounds[at + 1 :]]
    if what == 2:
        return [*rounds[:at], new, *rounds[at + 1 :]]
    other = int(random.integers(count))
    rounds[at], rounds[other] = rounds[other], rounds[at]
    return rounds


def rounds_of(loaded: Loaded, plan: Plan) -> list[Round]:
    """List the rounds of a plan, and each at the other places where the same is done."""
    own = [steps for items in (plan.driven, plan.autonomous) for steps, _ in _in_rounds(items, loaded)]
    used = [step for one in own for step in one]
    found = dict.fromkeys(own)
    for one in own:
        places = [list(dict.fromkeys([s.at, *_places_for(s.action, used, loaded)])) for s in one]
        for chosen in itertools.islice(itertools.product(*places), _VARIANTS):
            found.setdefault(tuple(Step(action=s.action, at=at) for s, at in zip(one, chosen, strict=True)))
    return list(found)


def _in_rounds(items: Sequence[Step | Repeat], loaded: Loaded) -> Iterator[tuple[Round, int]]:
    """Repeated lists with their times, and single steps up to each that scores."""
    waiting: list[Step] = []
    for item in items:
        if isinstance(item, Repeat):
            if waiting:
                yield tuple(waiting), 1
                waiting = []
            yield item.repeat, item.times or _MOST_ROUNDS
        else:
            waiting.append(item)
            if loaded.nominal.actions[item.action].task is not None:
                yield tuple(waiting), 1
                waiting = []
    if waiting:
        yield tuple(waiting), 1


def _places_for(action: str, used: Sequence[Step], loaded: Loaded) -> Iterator[str]:
    """Places at which the plan does the same: takes the same object, or scores the same task."""
    actions = loaded.nominal.actions
    for step in used:
        one, other = actions[action], actions[step.action]
        same = one.task == other.task if one.task is not None else bool(one.takes) and one.object == other.object
        if step.action == action or same:
            yield step.at


def as_file(plan: Plan) -> dict[str, Any]:
    """A plan as its file says it."""
    data: dict[str, Any] = {"start": plan.start}
    for name, items in (("autonomous", plan.autonomous), ("driven", plan.driven)):
        if items:
            data[name] = [_item_data(item) for item in items]
    if plan.finish is not None:
        data["finish"] = _finish_data(plan.finish)
    if plan.solo is not None:
        begins = {} if plan.solo.start is None else {"start": plan.solo.start}
        ends = {} if plan.solo.finish is None else {"finish": _finish_data(plan.solo.finish)}
        data["solo"] = begins | {"steps": [_item_data(item) for item in plan.solo.steps]} | ends
    return data


def _finish_data(finish: Finish) -> dict[str, Any]:
    return {"steps": [_step_data(s) for s in finish.steps], "reserve": f"{float(finish.reserve):g} s"}


def _item_data(item: Step | Repeat) -> dict[str, Any]:
    if isinstance(item, Step):
        return _step_data(item)
    data: dict[str, Any] = {"times": item.times} if item.times is not None else {}
    if item.until is not None:
        data["until"] = f"{float(item.until):g} s"
    return {**data, "repeat": [_step_data(s) for s in item.repeat]}


def _step_data(step: Step) -> dict[str, str]:
    return {"action": step.action, "at": step.at}


def _spec_of(plan: Plan) -> Any:
    return schema_of(Plan).model_validate(as_file(plan))


def changes_of(before: Plan, after: Plan) -> dict[KeyPath, object]:
    """What the file says otherwise."""
    was, now = as_file(before), as_file(after)
    found: dict[KeyPath, object] = {("plan", key): now[key] for key in now if now[key] != was.get(key)}
    return found | {("plan", key): GONE for key in was if key not in now}


def written_plan(value: object) -> str:
    """A part of a plan as one line of text, which YAML reads too."""
    return json.dumps(value, ensure_ascii=False)


def sentences(before: Plan, after: Plan) -> tuple[str, ...]:
    """Say an order of actions in words."""
    told = []
    for name, was, now in (
        ("Autonomous", before.autonomous, after.autonomous),
        ("Driven", before.driven, after.driven),
        ("Alone", before.solo.steps if before.solo else (), after.solo.steps if after.solo else ()),
    ):
        if was != now:
            told.append(f"{name}: {'; '.join(_in_words(item) for item in now) or 'nothing'}.")
    ends = [(before.finish, after.finish)]
    if before.solo is not None and after.solo is not None:
        ends.append((before.solo.finish, after.solo.finish))
    told += [
        f"Leave for the finish {float(now.reserve):g} s before the end, not {float(was.reserve):g} s."
        for was, now in ends
        if was is not None and now is not None and was.reserve != now.reserve
    ]
    return tuple(told)


def _in_words(item: Step | Repeat) -> str:
    if isinstance(item, Step):
        return f"{item.action} at {item.at}"
    return f"{often(item.times or 0)} ({', then '.join(_in_words(s) for s in item.repeat)})"


def texts_with(loaded: Loaded, changes: Mapping[KeyPath, object]) -> dict[Path, str]:
    """The texts of a robot's files with some changes; a list of the plan is taken out and written anew."""
    lists = [path for path in changes if path[0] == "plan" and isinstance(changes[path], list)]
    if not lists:
        return edited(loaded, changes)
    assert loaded.nominal.plan is not None
    stood = [path for path in lists if getattr(loaded.nominal.plan, str(path[1]))]
    without = edited(loaded, dict.fromkeys(stood, GONE)) if stood else {}
    bare = load_robot(loaded.document.file, None, {**loaded.texts, **without})
    return {**without, **edited(bare, changes)}


def with_plan_written(loaded: Loaded, plan: Plan) -> Loaded:
    """The robot with a plan, as its file with that plan is read."""
    assert loaded.nominal.plan is not None
    changes = changes_of(loaded.nominal.plan, plan)
    if not changes:
        return loaded
    return load_robot(loaded.document.file, None, {**loaded.texts, **texts_with(loaded, changes)})
