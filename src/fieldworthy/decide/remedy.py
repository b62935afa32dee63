"""For each finding that is short: which smallest changes mend it, how hard they are, what they break and earn."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from heapq import heapify, heappop, heappush
from itertools import count
from typing import Any

import numpy as np
from pydantic import TypeAdapter

from fieldworthy.arrays import Array
from fieldworthy.decide.change import (
    CandidateEvaluator,
    Change,
    Edit,
    Key,
    Kind,
    both,
    changeable,
    effort_of,
    holds,
    margins_of,
    rounded,
    value_change,
    ways,
)
from fieldworthy.decide.discrete import STOCK, Ladder, ladders
from fieldworthy.decide.payoff import Payoff
from fieldworthy.engine.finding import WIDEST, Fact, Finding, Outcome, Report, first
from fieldworthy.engine.system import dangerous, is_rule
from fieldworthy.files import Quantity
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.robot import Loaded
from fieldworthy.units import digits

Entry = tuple[KeyPath, Quantity]
_ROUNDS = 2
_PARTS = 23  # a round cuts every bracket into as many; few rounds of many cases cost less than many of few
_CLOSE = 0.01  # share of the change by which a settled value may be too far
_MOST_PARTS = 150  # of more parts the heaviest are looked at
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


Groups = Mapping[Key, tuple[Key, ...]]
"""What must hold together, by the finding that leads it."""


@dataclass(frozen=True, slots=True)
class Ray:
    """A number along one direction.

    Attributes
    ----------
    entry : Key path and quantity as it is now
    values : To look at, nearest first [SI]
    margins : Of each group at each value, groups leading
    """

    entry: Entry
    values: Array
    margins: Array


def rays(evaluator: CandidateEvaluator, groups: Groups, entries: Sequence[Entry]) -> list[Ray]:
    """Look at each group along each number, all in one batch."""
    ahead = [(entry, values) for entry in entries for values in ways(entry[1]) if values.size]
    moves = [evaluator.together(entry[0], float(si)) for entry, values in ahead for si in values]
    margins, found, at = evaluator.least(moves, groups), [], 0
    for entry, values in ahead:
        found.append(Ray(entry, values, margins[:, at : at + values.size]))
        at += values.size
    return found


def brackets(groups: Groups, looked: Sequence[Ray]) -> list[Bracket]:
    """Find where along each number each group first holds, nearest first."""
    return [
        b
        for ray in looked
        for key, row in zip(groups, ray.margins, strict=True)
        if (b := _first(key, ray.entry, ray.values, row))
    ]


def _first(key: Key, entry: Entry, values: Array, margins: Array) -> Bracket | None:
    """The first step of a ray after which a finding holds."""
    good = np.flatnonzero(margins >= 0)
    if not good.size:
        return None
    i = int(good[0])
    before = float(values[i - 1]) if i else entry[1].si
    return Bracket(key, entry, before, float(values[i]), float(values[-1]))


def narrowed(evaluator: CandidateEvaluator, groups: Groups, found: Sequence[Bracket]) -> list[Bracket]:
    """Cut every bracket into parts, all in one batch, and keep the first part in which the finding turns."""
    shares = np.arange(1, _PARTS) / _PARTS
    for _ in range(_ROUNDS):
        keys = list(dict.fromkeys(b.key for b in found))
        inner = [b.bad + (b.good - b.bad) * shares for b in found]
        moves = [evaluator.together(b.entry[0], float(v)) for b, vs in zip(found, inner, strict=True) for v in vs]
        margins = evaluator.least(moves, {key: groups[key] for key in keys})
        found = [
            _tighter(b, values, margins[keys.index(b.key), i * values.size : (i + 1) * values.size])
            for i, (b, values) in enumerate(zip(found, inner, strict=True))
        ]
    return list(found)


def _tighter(bracket: Bracket, values: Array, margins: Array) -> Bracket:
    edges = np.concatenate([[bracket.bad], values, [bracket.good]])
    i = int(np.flatnonzero(np.concatenate([margins >= 0, [True]]))[0])
    return replace(bracket, bad=float(edges[i]), good=float(edges[i + 1]))


def settled(evaluator: CandidateEvaluator, bracket: Bracket, group: Sequence[Key]) -> Change | None:
    """Find the value to write into the file, each trial judged exactly as the file would be.

    Notes
    -----
    A batch keeps the worst pose and the travel times of the robot as it is; here they are those of the changed one.
    """
    path, quantity = bracket.entry
    start = quantity.si

    def mends(si: float) -> bool:
        """Whether the findings hold at a value."""
        said = evaluator.of_group(evaluator.loaded.robot, evaluator.together(path, si), group)
        return all(holds(said.get(key)) for key in group)

    ends = _ends(mends, start, bracket)
    if ends is None:
        return None
    good = _bisected(mends, *ends, start)
    for text, si in rounded(quantity, good, _CLOSE / 2):
        if quantity.low <= si <= quantity.high and mends(si):
            return _valued(evaluator, bracket.entry, (text, si))
    return None


def _valued(evaluator: CandidateEvaluator, entry: Entry, to: tuple[str, float]) -> Change:
    """Put a number, and those that change with it, to a new value."""
    path, quantity = entry
    twins = [(twin.path, twin.quantity, twin.sign) for twin in evaluator.twins.get(path, ())]
    return value_change(evaluator.loaded.robot, entry, to, effort_of(quantity, to[1]), twins)


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


@dataclass(frozen=True, slots=True)
class _Climb:
    """How far a ladder has been climbed.

    Attributes
    ----------
    ladder, at : The ladder, and the step to try next
    """

    ladder: Ladder
    at: int

    @property
    def change(self) -> Change:
        """The step to try next."""
        return self.ladder.steps[self.at]

    @property
    def effort(self) -> float:
        """How hard that is."""
        return self.change.effort


Progress = Callable[[float], None]
_STEADY = ("teeth", "count", "size")
"""Kinds of steps that lead farther and farther one way."""
_STEEPER = 4.0  # times what the first step gains, that a later one may gain
_PER_BREAK = 3.0  # what it breaks must be mended in turn
_HARD = 8.0  # a day's work and more: then pairs are looked at too
_FARTHER = (0.15, 0.35, 0.7, 1.2)  # of the change that just mends it: where it may no longer be close
_HELPERS = 6  # changes that help alone, of which pairs are made
_PAIRS = 60  # the easiest are tried
_TOGETHER = 0.5  # share of what is lacking that two changes have to gain, each alone, to be tried together
_LEAST = 1e-9  # a margin that gains less has not moved
_ENOUGH = 2
_HELPFUL = ("count", "layout", "latch", "class", "option")


@dataclass(frozen=True, slots=True)
class Breakage:
    """A finding that holds now and would be short after the change.

    Attributes
    ----------
    id, subject : As in the report
    because : Its sentence after the change
    """

    id: str
    subject: str
    because: str


@dataclass(frozen=True, slots=True)
class Remedy:
    """A change that mends a finding, and with it what follows from that.

    Attributes
    ----------
    kind : ``value``: a number; ``size``: a stock size; ``teeth``; ``count``: how many of a thing; ``class``: another
        bought part; ``layout``: cylinders on tanks; ``latch``; ``option``: another way to do a thing; ``pair``: two of
        these, where one alone does not do
    edits : What to change in the file
    sentence : What to do
    effort : 1 is about an hour's work; it ranks the remedies, what they break counted in
    breaks : What would be short instead
    hours : Of the change itself, about
    points : What the forecast gains by it in a match; None where the file has no plan that can be played
    sure : Whether it then holds in 95 of 100 cases, if what is not known spreads it as it does now; else it is close
    """

    kind: Kind
    edits: tuple[Edit, ...]
    sentence: str
    effort: float
    breaks: tuple[Breakage, ...]
    hours: float = 0.0
    points: float | None = None
    sure: bool = True

    @property
    def cost(self) -> str:
        """Hours of work and points gained, in words, and whether it is then close."""
        worth = self.points is not None and abs(self.points) >= 0.5
        unit = "point" if worth and abs(round(self.points or 0.0)) == 1 else "points"
        even = "" if self.points is None else ", as many points a match"
        earned = f", {self.points:+.0f} {unit} a match" if worth else even
        return f"about {digits(max(self.hours, 0.5), 2)} h{earned}{'' if self.sure else '; then it is close'}"


@dataclass(frozen=True, slots=True)
class FoundRemedies:
    """The remedies of one finding that is short.

    Attributes
    ----------
    id, subject : As in the report
    remedies : The easiest first
    tried : How many keys and steps were looked at
    answer : One sentence: how many remedies are told, or that no single change mends it
    """

    id: str
    subject: str
    remedies: tuple[Remedy, ...]
    tried: int
    answer: str


def remedies(
    loaded: Loaded,
    report: Report,
    most: int = 4,
    progress: Progress | None = None,
    wanted: Sequence[Finding] | None = None,
    *,
    points: bool = True,
) -> tuple[FoundRemedies, ...]:
    """Find what mends each finding that is short, or each of those wanted; on wish without the points that it earns."""
    return looked_for(loaded, report, most, progress, wanted, points=points).found


@dataclass(frozen=True, slots=True)
class LookedFor:
    """Remedies, and what it takes to try several of them together.

    Attributes
    ----------
    found : Of each finding
    evaluator : The robot as it is
    changes : What each remedy does, by its edits
    pay : What changes earn; None where it is not asked
    """

    found: tuple[FoundRemedies, ...]
    evaluator: CandidateEvaluator
    changes: Mapping[tuple[Edit, ...], Change]
    pay: Payoff | None


def looked_for(
    loaded: Loaded,
    report: Report,
    most: int = 4,
    progress: Progress | None = None,
    wanted: Sequence[Finding] | None = None,
    *,
    points: bool = True,
) -> LookedFor:
    """Find remedies as `remedies` does, and keep what tells how they do together.

    Notes
    -----
    Values are bracketed over their whole range and narrowed, every number of every finding in the same batches. The
    easiest are then judged exactly as the changed file would be. Parts that can burst stay within their rating. What
    leads a cause is mended only together with all that follows from it. Where no single change does, or only one that
    breaks more than it mends, pairs are tried.
    """
    evaluator = CandidateEvaluator(loaded)
    by_key = {key_of(evaluator, finding): finding for finding in (report.failing if wanted is None else wanted)}
    behind = {key_of(evaluator, cause.lead): cause.findings for cause in report.causes}
    groups = {key: tuple(key_of(evaluator, f) for f in behind.get(key, (f0,))) for key, f0 in by_key.items()}
    inputs = {
        key: frozenset[str]().union(*(_inputs(report, f, loaded.robot) for f in behind.get(key, (finding,))))
        for key, finding in by_key.items()
    }
    pay = Payoff(loaded) if points else None
    search = _Search(evaluator, groups, most, progress or (lambda _: None), pay)
    search.sure |= {key: _spread(finding) for key, finding in by_key.items()}
    found = search.run(_entries(evaluator, frozenset[str]().union(*inputs.values())), inputs)
    mending = (_mending(finding, found[key], search.tried[key], search.nearest(key)) for key, finding in by_key.items())
    return LookedFor(tuple(mending), evaluator, search.changes, pay)


def _spread(finding: Finding) -> float:
    """How far its margin falls in the worst twentieth of the cases."""
    if finding.margin is None or finding.margin_low is None:
        return 0.0
    return max(finding.margin - finding.margin_low, 0.0)


def key_of(evaluator: CandidateEvaluator, finding: Finding) -> Key:
    """The name by which a finding is found again on a changed robot."""
    return (finding.id, finding.subject) if (finding.id, finding.subject) in evaluator.now else (finding.id, "")


def _mending(finding: Finding, found: Sequence[Remedy], tried: int, nearest: str) -> FoundRemedies:
    if not found:
        answer = f"No one or two changes mend it{nearest}. Change more, or want less."
    elif len(found) == 1:
        answer = "One pair of changes mends it." if found[0].kind == "pair" else "One single change mends it."
    else:
        answer = f"Each of these {len(found)} changes mends it."
    return FoundRemedies(finding.id, finding.subject, tuple(found), tried, answer)


def _inputs(report: Report, finding: Finding, robot: Any) -> frozenset[str]:
    """Keys that it rests on, those of the other findings and facts about the same thing, and its mechanism's own."""
    kin: list[Finding | Fact] = [finding]
    if finding.value is None and finding.subject != "robot":  # without bound: nothing small moves it
        kin += [f for f in report.findings if f.subject == finding.subject]
        kin += [f for f in report.facts if f.subject == finding.subject]
    own = (f"mechanisms.{name}" for name in robot.mechanisms if f" {finding.subject}".endswith(f" {name}"))
    return frozenset(key for item in kin for key in item.inputs).union(own)


def _entries(evaluator: CandidateEvaluator, wanted: frozenset[str]) -> list[Entry]:
    """The numbers to look at; of those that change together the first alone, and none that has stock sizes."""
    found: dict[KeyPath, Entry] = {}
    parts = evaluator.loaded.nominal.parts
    heavy = set(sorted(parts, key=lambda name: -float(parts[name].mass * parts[name].count))[:_MOST_PARTS])
    for path, q in evaluator.loaded.quantities:
        if path[0] == "parts" and path[1] not in heavy:  # where a light one of so many sits turns nothing
            continue
        twins = evaluator.twins.get(path, ())
        rests = dotted(path) in wanted or any(dotted(twin.path) in wanted for twin in twins)
        if rests and changeable(path, q) and path[-1] not in STOCK and not any(t.path in found for t in twins):
            found[path] = (path, q)
    return list(found.values())


class _Search:
    """One search over all short findings; counts what it looks at."""

    def __init__(
        self, evaluator: CandidateEvaluator, groups: Groups, most: int, progress: Progress, pay: Payoff | None
    ) -> None:
        self._bench = evaluator
        self._groups = groups
        self._keys = tuple(groups)
        self._most = most
        self._progress = progress
        self._said: dict[tuple[Edit, ...], dict[Key, Outcome]] = {}
        self._some: dict[tuple[Key, tuple[Edit, ...]], dict[Key, Outcome]] = {}
        self.changes: dict[tuple[Edit, ...], Change] = {}
        self._looked: list[Ray] = []
        self._nearest: dict[Key, tuple[float, Outcome, bool]] = {}
        self._ladders: list[Ladder] = []
        self._pay = pay
        self.tried = dict.fromkeys(groups, 0)
        self.sure = dict.fromkeys(groups, 0.0)

    def run(self, entries: Sequence[Entry], inputs: dict[Key, frozenset[str]]) -> dict[Key, list[Remedy]]:
        """Look along the numbers, all at once; then judge the easiest changes exactly, finding by finding."""
        if not self._keys:
            return {}
        self._ladders = list(ladders(self._bench))
        found = self._values(entries, inputs)
        self._progress(0.3)
        chosen = {}
        for i, key in enumerate(self._keys, 1):
            best = self._best(key, inputs[key], found[key])
            if not best or best[0].effort > _HARD:
                best = _useful([*best, *self._pairs(key, inputs[key])])[: self._most]
            surer = sorted((self._surer(key, remedy, found[key]) for remedy in best), key=lambda r: r.effort)
            chosen[key] = [remedy if self._pay is None else self._paid(remedy) for remedy in surer]
            self._progress(0.3 + 0.7 * i / len(self._keys))
        return chosen

    def _surer(self, key: Key, remedy: Remedy, found: Sequence[Bracket]) -> Remedy:
        """Go on with a number to where the finding is no longer close, if that breaks no more."""
        bracket = next((b for b in found if b.entry[0] == remedy.edits[0].path), None)
        if remedy.sure or remedy.kind != "value" or bracket is None:
            return remedy
        quantity = bracket.entry[1]
        for more in _FARTHER:
            si = bracket.good + more * (bracket.good - quantity.si)
            if abs(si - quantity.si) > abs(bracket.last - quantity.si):
                return remedy
            text, si = rounded(quantity, si, 0.05)[0]
            if not quantity.low <= si <= quantity.high:
                return remedy
            change = _valued(self._bench, bracket.entry, (text, si))
            said = self._bench.of_group(change.robot, change.moved, self._groups[key])
            if self._mends(key, said) and _margin(key, said) >= self.sure[key]:
                farther = self._judged(key, change)
                worth_it = farther is not None and len(farther.breaks) <= len(remedy.breaks)
                return farther if farther is not None and worth_it else remedy
        return remedy

    def _paid(self, remedy: Remedy) -> Remedy:
        """Tell with a remedy what it earns."""
        return replace(remedy, points=None if self._pay is None else self._pay.gained(self.changes[remedy.edits]))

    def _values(self, entries: Sequence[Entry], inputs: dict[Key, frozenset[str]]) -> dict[Key, list[Bracket]]:
        for key in self._keys:
            self.tried[key] += sum(dotted(path) in inputs[key] for path, _ in entries)
        self._looked = rays(self._bench, self._groups, entries)
        fine = narrowed(self._bench, self._groups, brackets(self._groups, self._looked))
        return {key: sorted((b for b in fine if b.key == key), key=lambda b: b.effort) for key in self._keys}

    def _mends(self, key: Key, said: Mapping[Key, Outcome]) -> bool:
        """Whether a finding holds, and all that follows from it."""
        return all(holds(said.get(k)) for k in self._groups[key])

    def _best(self, key: Key, inputs: frozenset[str], found: Iterable[Bracket]) -> list[Remedy]:
        """The easiest, each judged as its file would be, until those that are left cannot be among them."""
        ranked: list[Remedy] = []
        settled_paths: set[KeyPath] = set()
        listed = [ladder for ladder in self._ladders if ladder.steps and _touches(ladder, inputs)]
        climbs = [_Climb(ladder, 0) for ladder in listed]
        order = count()
        items: list[Bracket | _Climb] = [*climbs, *found]
        queue = [(item.effort, next(order), item) for item in items]
        heapify(queue)
        while queue:
            effort, _, item = heappop(queue)
            if len(ranked) >= self._most and effort >= ranked[self._most - 1].effort:
                break
            if isinstance(item, Bracket):
                taken = item.entry[0] in settled_paths
                change = None if taken else settled(self._bench, item, self._groups[key])
            else:
                change, farther = self._climbed(key, item)
                if farther is not None:
                    heappush(queue, (farther.effort, next(order), farther))
            remedy = None if change is None else self._judged(key, change)
            if remedy is not None:
                settled_paths.update(edit.path for edit in remedy.edits)
                ranked = sorted([*ranked, remedy], key=lambda r: r.effort)
        return ranked[: self._most]

    def _climbed(self, key: Key, climb: _Climb) -> tuple[Change | None, _Climb | None]:
        """Try a step of a ladder: the step where it mends a finding, else the next one where that is worth trying."""
        steps, change = climb.ladder.steps, climb.change
        self.tried[key] += 1
        said = self._told(key, change)
        if self._mends(key, said):
            return change, None
        lacks, gains = -self._now(key), _margin(key, said) - self._now(key)
        hopeless = change.kind in _STEADY and gains < lacks / (_STEEPER * len(steps))
        last = climb.at + 1 == len(steps)
        return None, None if last or hopeless else replace(climb, at=climb.at + 1)

    def _now(self, key: Key) -> float:
        return first(margins_of(self._bench.now[key]))

    def _judged(self, key: Key, change: Change) -> Remedy | None:
        """Judge everything on the changed robot; None where it mends nothing, passes a limit or is a danger."""
        said = self._said.get(change.edits) or self._bench.single(change.robot, change.moved)
        self._said[change.edits] = said  # a step often mends several findings
        breaks = tuple(broken(self._bench, said))
        if not self._mends(key, said) or endangers(self._bench.now, said) or any(is_rule(b.id) for b in breaks):
            return None
        effort = change.effort + _PER_BREAK * len(breaks)
        self.changes[change.edits] = change
        told = (change.kind, change.edits, change.sentence, round(effort, 2), breaks)
        return Remedy(*told, hours=round(change.effort, 1), sure=_margin(key, said) >= self.sure[key])

    def _pairs(self, key: Key, inputs: frozenset[str]) -> list[Remedy]:
        """Two changes at once: of those that help most alone, and steps that may help another one."""
        now, steps = self._now(key), list(self._single_steps(inputs))
        gains = {change.edits: _margin(key, self._told(key, change)) - now for change in steps}
        ranked = sorted(steps, key=lambda change: (-gains[change.edits], change.effort))
        alone = [c for c in ranked if self._mends(key, self._told(key, c))]  # but it breaks other things
        helping = [c for c in ranked if gains[c.edits] > _LEAST and c not in alone][:_HELPERS]
        # what leaves this one as it is may mend what the other change breaks
        others = [c for c in ranked if abs(gains[c.edits]) <= _LEAST and c.kind in _HELPFUL]
        values = self._single_values(key)
        gains |= {change.edits: gain for gain, change in values}
        numbers = [change for _, change in values]
        for change in numbers[:1]:
            self._told(key, change)  # how near it comes alone
        pairs = [(a, b) for i, a in enumerate(helping) for b in (*helping[i + 1 :], *numbers)]
        pairs += [(a, b) for i, a in enumerate(numbers) for b in numbers[i + 1 :]]
        pairs = [(a, b) for a, b in pairs if gains[a.edits] + gains[b.edits] > -_TOGETHER * now]
        pairs += [(a, b) for a in alone[:_ENOUGH] for b in (*helping, *others)]
        found: list[Remedy] = []
        for pair in sorted((p for a, b in pairs if (p := both(a, b))), key=lambda p: p.effort)[:_PAIRS]:
            self.tried[key] += 1
            remedy = self._judged(key, pair) if self._mends(key, self._told(key, pair)) else None
            if remedy is not None:
                found.append(remedy)
            if remedy is not None and not remedy.breaks:
                break  # none that is easier is left
        return sorted(found, key=lambda remedy: remedy.effort)[:_ENOUGH]

    def _told(self, key: Key, change: Change) -> dict[Key, Outcome]:
        """What a changed robot makes of a cause, once each; of what follows from it only where the cause is gone."""
        if change.edits in self._said:
            return self._said[change.edits]
        at = (key, change.edits)
        if at not in self._some:
            said = self._some[at] = self._bench.of_group(change.robot, change.moved, self._groups[key])
            if _margin(key, said) > self._nearest.get(key, (self._now(key) + _LEAST,))[0]:
                self._nearest[key] = (_margin(key, said), said[key], change.kind == "pair")
        return self._some[at]

    def nearest(self, key: Key) -> str:
        """How near the best of all that was tried came, as the end of a sentence."""
        if key not in self._nearest:
            return ", and none that was tried helps"
        margin, outcome, two = self._nearest[key]
        if margin >= 0:  # what follows from it stays short, or something else would be
            return " without making something else worse"
        limit = 0.0 if outcome.limit is None else first(outcome.limit)
        reached, wanted = (self._bench.shown.number(si, outcome.kind) for si in (first(outcome.value), limit))
        return f"; the best {'two reach' if two else 'one reaches'} {reached}, and {outcome.need} {wanted} is wanted"

    def _single_steps(self, inputs: frozenset[str]) -> Iterator[Change]:
        """The first steps of every ladder that touches what a finding rests on."""
        for ladder in self._ladders:
            if _touches(ladder, inputs):
                yield from ladder.steps[:2]

    def _single_values(self, key: Key) -> list[tuple[float, Change]]:
        """The numbers that help most, and by how much, each at the best value that is not hard to reach."""
        row, bench = self._keys.index(key), self._bench
        now = min(first(margins_of(bench.now[k])) for k in self._groups[key])
        found: list[tuple[float, Change]] = []
        for ray in self._looked:
            quantity = ray.entry[1]
            easy = [i for i, si in enumerate(ray.values) if effort_of(quantity, float(si)) <= _HARD]
            best = max(easy, key=lambda i: float(ray.margins[row][i]), default=None)
            if best is None or ray.margins[row][best] <= now + 1e-3:
                continue
            text, si = rounded(quantity, float(ray.values[best]), 0.1)[0]
            if quantity.low <= si <= quantity.high:
                found.append((float(ray.margins[row][best]) - now, _valued(bench, ray.entry, (text, si))))
        return sorted(found, key=lambda pair: -pair[0])[:_HELPERS]


def _margin(key: Key, said: Mapping[Key, Outcome]) -> float:
    """The margin of a cause on a changed robot: one that is out of reach would hide what helps the others."""
    return first(margins_of(said[key])) if key in said else -WIDEST


def endangers(now: Mapping[Key, Outcome], said: Mapping[Key, Outcome]) -> bool:
    """Whether a part comes farther beyond what it is rated for, or the charge beyond what is allowed."""
    for key, outcome in said.items():
        if outcome.id in dangerous() and not holds(outcome):
            before = now.get(key)
            if before is None or first(margins_of(outcome)) < first(margins_of(before)):
                return True
    return False


def broken(bench: CandidateEvaluator, said: Mapping[Key, Outcome]) -> Iterator[Breakage]:
    """What holds on the robot as it is, and not on the changed one."""
    for key, outcome in said.items():
        before = bench.now.get(key)
        if holds(before) and not outcome.missing and not holds(outcome):
            yield Breakage(outcome.id, outcome.subject, bench.shown.sentence(outcome, short=True))


def _useful(found: Iterable[Remedy]) -> list[Remedy]:
    """The easiest first, without those of which a part does as well alone."""
    ranked: list[Remedy] = []
    for remedy in sorted(found, key=lambda r: r.effort):
        if not any(set(r.edits) < set(remedy.edits) and len(r.breaks) <= len(remedy.breaks) for r in ranked):
            ranked.append(remedy)
    return ranked


def _touches(ladder: Ladder, inputs: frozenset[str]) -> bool:
    heads = [dotted(path) for path in ladder.about]
    return any(key == head or key.startswith((f"{head}.", f"{head}[")) for head in heads for key in inputs)


REMEDIES = "fieldworthy remedies 2"
"""Changes only when a reader of the old form would misread the new one."""


def remedies_data(mendings: Iterable[FoundRemedies]) -> dict[str, Any]:
    """Turn remedies into plain data."""
    return {"format": REMEDIES, "findings": [dataclasses.asdict(m) for m in mendings]}


def remedies_schema(definitions: str = "#/$defs/{model}") -> dict[str, Any]:
    """Describe the key ``remedies`` of the output of ``check --remedies --json``."""
    described = TypeAdapter(tuple[FoundRemedies, ...]).json_schema(mode="serialization", ref_template=definitions)
    return {
        "type": "object",
        "description": "only with --remedies: what single changes mend each finding that is short",
        "required": ["format", "findings"],
        "properties": {
            "format": {"const": REMEDIES, "description": "what kind of output this is, and which version of its form"},
            "findings": described | {"description": "each finding that is short, with what mends it"},
        },
    }
