"""Runs every check over one batch and turns outcomes into findings.

One batch holds the nominal case, one case for a small move of each quantity of the file, and samples of the
tolerances. From it come verdict, chance, what a finding depends on and which measurement would sharpen it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fieldworthy.checks.finding import Assumption, Fact, Finding, Outcome, Real, Report, Verdict
from fieldworthy.checks.registry import CHECKS, cautions
from fieldworthy.checks.sampling import Cases, nudge
from fieldworthy.checks.showing import Shown, first
from fieldworthy.checks.subject import Subject
from fieldworthy.checks.weighed import settled
from fieldworthy.robot import Loaded
from fieldworthy.robot.model import Robot
from fieldworthy.schema import Quantity, realise
from fieldworthy.schema.declare import Spec
from fieldworthy.schema.problems import KeyPath, dotted
from fieldworthy.season.model import Season
from fieldworthy.units import show

Array = npt.NDArray[np.float64]
Progress = Callable[[int], None]
BLOCK = 8192
"""Samples are checked in blocks of this size, so that memory stays flat; the time hardly depends on it."""
_MOVED = 1e-9  # a margin or value that moves by less does not depend on the quantity


Entry = tuple[str, Quantity]
"""Dotted key and quantity."""


def evaluate(loaded: Loaded, samples: int = 1000, seed: int = 0, progress: Progress | None = None) -> Report:
    """Check one robot.

    Parameters
    ----------
    loaded : Loaded
        The robot with its season [-].
    samples : int
        How many samples of the tolerances give the chances [-].
    seed : int
        Fixes the samples [-].
    progress : callable or None
        Told the samples done so far [-].

    Returns
    -------
    Report
        Findings, facts and assumptions [-].
    """
    entries = [
        (path, settled(loaded.nominal, path, q))
        for path, q in loaded.quantities
        if q.tolerance > 0 or path[0] != "season"
    ]
    shown = Shown.of(loaded.quantities)
    head = min(samples, BLOCK)
    cases = Cases(seed, 0, head, [path for path, _ in entries])
    keyed = [(dotted(path), q) for path, q in entries]
    table = _Table(keyed, np.array([q.tolerance / abs(nudge(q)) for _, q in entries]), shown)
    base = Subject(loaded.nominal, loaded.nominal_season)
    outcomes = run(loaded, cases, base)
    tallies = [_Tally.of(o, cases.sampled) for o in outcomes]
    for block, start in enumerate(range(head, samples, BLOCK), 1):
        more = Cases(seed, block, min(BLOCK, samples - start), [])
        for tally, outcome in zip(tallies, run(loaded, more, base), strict=True):
            tally.add(outcome, more.sampled)
        if progress:
            progress(start + more.samples)
    findings = [_finding(o, t, table) for o, t in zip(outcomes, tallies, strict=True) if o.limit is not None]
    facts = [_fact(o, t, table) for o, t in zip(outcomes, tallies, strict=True) if o.limit is None]
    robot: Any = loaded.robot
    season: Any = loaded.season
    return Report(
        robot.robot,
        season.season,
        tuple(sorted(findings, key=_worst_first)),
        tuple(facts),
        assumptions(loaded),
        samples,
        seed,
        cautions(loaded.nominal),
    )


def run(loaded: Loaded, cases: Cases, base: Subject | None = None) -> list[Outcome]:
    """Run every check over the cases of a batch.

    Parameters
    ----------
    loaded : Loaded
        The robot with its season [-].
    cases : Cases
        Which cases [-].
    base : Subject or None
        The robot with nominal numbers alone, where it is at hand from another batch [SI].

    Returns
    -------
    list of Outcome
        In a fixed order for a given robot [-].
    """

    def of_season(path: KeyPath, quantity: Quantity) -> Real:
        return cases.draw(("season", *path), quantity)

    def of_robot(path: KeyPath, quantity: Quantity) -> Real:
        return cases.draw(path, settled(loaded.nominal, path, quantity))

    robot = realise(loaded.robot, Robot, of_robot)
    season = realise(loaded.season, Season, of_season)
    subject = Subject(robot, season, base or Subject(loaded.nominal, loaded.nominal_season))
    return [outcome for check in CHECKS for outcome in check(subject)]


def assumptions(loaded: Loaded) -> tuple[Assumption, ...]:
    """List the defaults that stand in for what the files do not say.

    Parameters
    ----------
    loaded : Loaded
        The robot with its season [-].

    Returns
    -------
    tuple of Assumption
        Those of the robot first [-].
    """
    found = []
    for path, quantity in loaded.quantities:
        if quantity.assumed:
            spec, inside = (loaded.season, path[1:]) if path[0] == "season" else (loaded.robot, path)
            value = show(quantity.si, quantity.kind, quantity.unit)
            found.append(Assumption(dotted(path), value, _reason(spec, inside)))
    return tuple(found)


def _reason(spec: Any, path: KeyPath) -> str:
    """The documented reason of a default, from the schema."""
    for key in path[:-1]:
        spec = getattr(spec, str(key)) if isinstance(spec, Spec) else spec[key]
    return str(type(spec).model_fields[str(path[-1])].description or "").partition(" (assumed")[0]


@dataclass(frozen=True, slots=True)
class _Table:
    """What turns outcomes into findings: the quantities, tolerance over nudge of each, and the units to show."""

    entries: Sequence[Entry]
    weights: Array
    shown: Shown


@dataclass(slots=True)
class _Tally:
    """What the batch says of one outcome: its nominal margin, and the samples block by block."""

    margin: float
    holds: int
    count: int
    values: list[Array]

    @classmethod
    def of(cls, outcome: Outcome, where: slice) -> _Tally:
        tally = cls(0.0, 0, 0, [])
        tally.margin = first(tally.add(outcome, where))
        return tally

    def add(self, outcome: Outcome, where: slice) -> Real:
        margin, size = outcome.margin(), where.stop - where.start
        self.count += size
        if not outcome.missing:
            self.holds += int(np.count_nonzero(_over(margin, where) >= 0))
            self.values.append(_over(outcome.value, where))
        return margin

    def chance(self) -> float | None:
        return self.holds / self.count if self.count and self.values else None

    def spread(self) -> tuple[float, float] | None:
        if not self.count or not self.values:
            return None
        if self.values[0].strides == (0,):
            return float(self.values[0][0]), float(self.values[0][0])  # a number that no case moves
        values = np.concatenate(self.values)
        # the least sample at or below which 2.5 %, and 97.5 %, of them lie
        ends = [max(math.ceil(values.size * share) - 1, 0) for share in (0.025, 0.975)]
        low, high = np.partition(values, ends)[ends].tolist()
        return low, high


def _over(value: Real, where: slice) -> Array:
    array = np.asarray(value, dtype=float)
    return np.broadcast_to(array, (where.stop - where.start,)) if array.ndim == 0 else array[where]


def _influences(outcome: Outcome, entries: Sequence[Entry], weights: Array) -> list[tuple[float, Entry]]:
    """Which quantities move the outcome, by how much of its spread, most first."""
    moved = np.zeros(len(entries))
    for number in (outcome.value, outcome.limit):
        array = np.asarray(0.0 if number is None else number, dtype=float)
        if array.ndim:
            nominal, nudged = float(array[0]), array[1 : 1 + len(entries)]
            rows = np.flatnonzero(nudged != nominal)
            scale = max(abs(nominal), 1e-12)
            # a step between a finite and an infinite value counts as a whole one
            step = np.ones(rows.size) if math.isinf(nominal) else np.abs(nudged[rows] - nominal) / scale
            moved[rows] = np.maximum(moved[rows], np.where(np.isfinite(step), step, 1.0))
    shares = moved * weights
    order = np.flatnonzero(moved > _MOVED)
    return [(float(shares[i]), entries[i]) for i in order[np.argsort(-shares[order], kind="stable")].tolist()]


def _verdict(outcome: Outcome, margin: float) -> Verdict:
    if outcome.missing:
        return "unknown"
    return "holds" if margin >= 0 else "short"


def _inputs(influences: Iterable[tuple[float, Entry]]) -> tuple[str, ...]:
    return tuple(key for _, (key, _quantity) in influences)


def _in_unit(pair: tuple[float, float] | None, kind: str, shown: Shown) -> tuple[float, float] | None:
    if pair is None:
        return None
    low, high = shown.plain(pair[0], kind), shown.plain(pair[1], kind)
    return None if low is None or high is None else (low, high)


def _finding(outcome: Outcome, tally: _Tally, table: _Table) -> Finding:
    entries, weights, shown = table.entries, table.weights, table.shown
    verdict = _verdict(outcome, tally.margin)
    known = verdict != "unknown"
    influences = _influences(outcome, entries, weights) if known else []
    bases: dict[str, int] = {}
    for _, (_key, quantity) in influences:
        bases[quantity.basis] = bases.get(quantity.basis, 0) + 1
    guess = next((key for share, (key, q) in influences if q.basis == "estimate" and share > 0), None)
    limit = 0.0 if outcome.limit is None else first(outcome.limit)
    return Finding(
        outcome.id,
        outcome.subject,
        shown.plain(first(outcome.value), outcome.kind) if known else None,
        shown.plain(limit, outcome.kind) if known else None,
        shown.units[outcome.kind],
        outcome.need,
        tally.margin if known else None,
        tally.chance() if known else None,
        _in_unit(tally.spread(), outcome.kind, shown) if known else None,
        verdict,
        shown.sentence(outcome, verdict),
        _inputs(influences),
        bases,
        guess,
        outcome.sources,
        outcome.missing,
    )


def _fact(outcome: Outcome, tally: _Tally, table: _Table) -> Fact:
    entries, weights, shown = table.entries, table.weights, table.shown
    return Fact(
        outcome.id,
        outcome.subject,
        shown.plain(first(outcome.value), outcome.kind),
        shown.units[outcome.kind],
        _in_unit(tally.spread(), outcome.kind, shown),
        shown.sentence(outcome, None),
        _inputs(_influences(outcome, entries, weights)),
        outcome.sources,
    )


def _worst_first(finding: Finding) -> tuple[int, float, str, str]:
    order = {"short": 0, "unknown": 1, "holds": 2}[finding.verdict]
    return order, finding.margin if finding.margin is not None else 0.0, finding.id, finding.subject
