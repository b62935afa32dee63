"""For each finding that is short: which smallest changes mend it, how hard they are, and what else they break."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
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
    changeable,
    effort_of,
    holds,
    margins_of,
    rounded,
    value_change,
    ways,
)
from fieldworthy.decide.discrete import Ladder, ladders
from fieldworthy.engine.finding import Fact, Finding, Outcome, Report, first
from fieldworthy.files import Quantity
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.robot import Loaded

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


Progress = Callable[[float], None]
_NEVER = ("air.rating", "limits.charge_pressure")
"""No remedy may break these or make them worse: a tank or a cylinder could burst."""
_LIMITS = "limits."
"""What the season allows: a change that goes beyond it is no remedy."""
_PER_BREAK = 3.0  # what it breaks must be mended in turn


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
    """A single change that mends a finding.

    Attributes
    ----------
    kind : ``value``: a number; ``teeth``; ``count``: how many of a thing; ``class``: another bought part;
        ``layout``: cylinders on tanks; ``latch``
    edits : What to change in the file; several only where one change touches several keys
    sentence : What to do
    effort : 1 is about an hour's work; it ranks the remedies
    breaks : What would be short instead
    """

    kind: Kind
    edits: tuple[Edit, ...]
    sentence: str
    effort: float
    breaks: tuple[Breakage, ...]


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
    loaded: Loaded, report: Report, most: int = 4, progress: Progress | None = None
) -> tuple[FoundRemedies, ...]:
    """Find what mends each finding that is short.

    Notes
    -----
    Values are bracketed over their whole range and narrowed, every number of every finding in the same batches. The
    easiest are then judged exactly as the changed file would be. Parts that can burst stay within their rating.
    """
    evaluator = CandidateEvaluator(loaded)
    by_key = {_key(evaluator, finding): finding for finding in report.failing}
    entries = _entries(loaded, report)
    search = _Search(evaluator, tuple(by_key), most, progress or (lambda _: None))
    found = search.run(entries, {key: _inputs(report, finding) for key, finding in by_key.items()})
    return tuple(_mending(finding, found[key], search.tried[key]) for key, finding in by_key.items())


def _key(evaluator: CandidateEvaluator, finding: Finding) -> Key:
    return (finding.id, finding.subject) if (finding.id, finding.subject) in evaluator.now else (finding.id, "")


def _mending(finding: Finding, found: Sequence[Remedy], tried: int) -> FoundRemedies:
    if not found:
        answer = "No single change mends it: change several things, or want less."
    else:
        answer = "One single change mends it." if len(found) == 1 else f"Each of these {len(found)} changes mends it."
    return FoundRemedies(finding.id, finding.subject, tuple(found), tried, answer)


def _inputs(report: Report, finding: Finding) -> frozenset[str]:
    """Keys that it rests on, and those of the other findings and facts about the same thing."""
    kin: list[Finding | Fact] = [finding]
    if finding.value is None and finding.subject != "robot":  # without bound: nothing small moves it
        kin += [f for f in report.findings if f.subject == finding.subject]
        kin += [f for f in report.facts if f.subject == finding.subject]
    return frozenset(key for item in kin for key in item.inputs)


def _entries(loaded: Loaded, report: Report) -> list[Entry]:
    wanted = frozenset(key for finding in report.failing for key in _inputs(report, finding))
    return [(path, q) for path, q in loaded.quantities if dotted(path) in wanted and changeable(path, q)]


class _Search:
    """One search over all short findings; counts what it looks at."""

    def __init__(self, evaluator: CandidateEvaluator, keys: tuple[Key, ...], most: int, progress: Progress) -> None:
        self._bench = evaluator
        self._keys = keys
        self._most = most
        self._progress = progress
        self._said: dict[tuple[Edit, ...], dict[Key, Outcome]] = {}
        self.tried = dict.fromkeys(keys, 0)

    def run(self, entries: Sequence[Entry], inputs: dict[Key, frozenset[str]]) -> dict[Key, list[Remedy]]:
        """Search numbers, then steps; judge the easiest exactly."""
        if not self._keys:
            return {}
        steps = self._steps(inputs)
        self._progress(0.4)
        found = self._values(entries, inputs)
        self._progress(0.5)
        chosen = {}
        for i, key in enumerate(self._keys, 1):
            chosen[key] = self._best(key, steps[key], found[key])
            self._progress(0.5 + 0.5 * i / len(self._keys))
        return chosen

    def _values(self, entries: Sequence[Entry], inputs: dict[Key, frozenset[str]]) -> dict[Key, list[Bracket]]:
        for key in self._keys:
            self.tried[key] += sum(dotted(path) in inputs[key] for path, _ in entries)
        fine = narrowed(self._bench, brackets(self._bench, self._keys, entries))
        return {key: sorted((b for b in fine if b.key == key), key=lambda b: b.effort) for key in self._keys}

    def _steps(self, inputs: dict[Key, frozenset[str]]) -> dict[Key, list[Change]]:
        """The smallest step of each ladder that mends each finding."""
        found: dict[Key, list[Change]] = {key: [] for key in self._keys}
        listed = list(ladders(self._bench))
        for i, ladder in enumerate(listed):
            self._progress(0.4 * i / len(listed))
            wanting = [key for key in self._keys if _touches(ladder, inputs[key])]
            for key in wanting:
                self.tried[key] += len(ladder.steps)
            for change in ladder.steps:
                if not wanting:
                    break
                said = self._bench.single(change.robot, change.moved, self._bench.checks_for(wanting))
                mended = [key for key in wanting if holds(said.get(key))]
                for key in mended:
                    found[key].append(change)
                wanting = [key for key in wanting if key not in mended]
        return found

    def _best(self, key: Key, steps: Iterable[Change], found: Iterable[Bracket]) -> list[Remedy]:
        """The easiest, each judged as its file would be, until those that are left cannot be among them."""
        ranked: list[Remedy] = []
        settled_paths: set[KeyPath] = set()
        queue: list[tuple[float, Change | Bracket]] = [(c.effort, c) for c in steps]
        queue += [(b.effort, b) for b in found]
        for effort, item in sorted(queue, key=lambda pair: pair[0]):
            if len(ranked) >= self._most and effort >= ranked[self._most - 1].effort:
                break
            if isinstance(item, Bracket) and item.entry[0] in settled_paths:
                continue
            change = settled(self._bench, item) if isinstance(item, Bracket) else item
            remedy = None if change is None else self._judged(key, change)
            if remedy is not None:
                settled_paths.update(edit.path for edit in remedy.edits)
                ranked = sorted([*ranked, remedy], key=lambda r: r.effort)
        return ranked[: self._most]

    def _judged(self, key: Key, change: Change) -> Remedy | None:
        """Judge everything on the changed robot; None where it mends nothing, passes a limit or is a danger."""
        said = self._said.get(change.edits) or self._bench.single(change.robot, change.moved)
        self._said[change.edits] = said  # a step often mends several findings
        broken = list(self._broken(said))
        if not holds(said.get(key)) or self._endangers(said) or any(b.id.startswith(_LIMITS) for b in broken):
            return None
        effort = change.effort + _PER_BREAK * len(broken)
        return Remedy(change.kind, change.edits, change.sentence, round(effort, 2), tuple(broken))

    def _endangers(self, said: dict[Key, Outcome]) -> bool:
        """Whether a part comes farther beyond what it is rated for, or the charge beyond what is allowed."""
        for key, outcome in said.items():
            if outcome.id in _NEVER and not holds(outcome):
                before = self._bench.now.get(key)
                if before is None or first(margins_of(outcome)) < first(margins_of(before)):
                    return True
        return False

    def _broken(self, said: dict[Key, Outcome]) -> Iterator[Breakage]:
        for key, outcome in said.items():
            before = self._bench.now.get(key)
            if holds(before) and not outcome.missing and not holds(outcome):
                yield Breakage(outcome.id, outcome.subject, self._bench.shown.sentence(outcome, short=True))


def _touches(ladder: Ladder, inputs: frozenset[str]) -> bool:
    heads = [dotted(path) for path in ladder.about]
    return any(key == head or key.startswith((f"{head}.", f"{head}[")) for head in heads for key in inputs)


REMEDIES = "fieldworthy remedies 1"
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
        "properties": {"format": {"const": REMEDIES}, "findings": described},
    }


def with_remedies(schema: dict[str, Any]) -> dict[str, Any]:
    """Add the key ``remedies`` to the schema of a report."""
    added = remedies_schema()
    definitions = added["properties"]["findings"].pop("$defs")
    properties = {**schema["properties"], "remedies": added}
    return {**schema, "properties": properties, "$defs": {**schema.get("$defs", {}), **definitions}}
