"""The decision matrix of variants: what each criterion is worth, weighted totals, and how they go with the choice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from fieldworthy.decide.compare import Comparison
from fieldworthy.decide.recommend import Hours
from fieldworthy.engine.finding import Report
from fieldworthy.engine.system import Score, systems


@cache
def criteria() -> dict[str, str]:
    """What alternatives are judged by, and what each score from 0 to 1 means."""
    return {
        "points": "mean points, as a share of the best alternative's",
        "reliability": "share of all checks that hold",
        "hours": "share of the hours left that is still free after the work on it",
        **{score.name: score.about for system in systems() for score in system.scores},
    }


@dataclass(frozen=True, slots=True)
class Criterion:
    """One row of the matrix.

    Attributes
    ----------
    name : A key of `criteria`
    weight : As the team sets it; 0 takes the row out
    values : What the model computed, by alternative
    unit : Of the values
    scores : From 0 to 1, by alternative; None where it is not known for all, and then the row does not count
    """

    name: str
    weight: float
    values: tuple[float | None, ...]
    unit: str
    scores: tuple[float | None, ...]

    @property
    def counts(self) -> bool:
        """Whether it is known for every alternative and has a weight."""
        return self.weight > 0 and None not in self.scores


@dataclass(frozen=True, slots=True)
class Matrix:
    """Criteria by alternatives.

    Attributes
    ----------
    names : Of the alternatives
    criteria : The rows
    totals : Weighted mean of the scores that count, from 0 to 1, by alternative
    barred : Alternatives that cannot be entered: they are shown and do not lead
    """

    names: tuple[str, ...]
    criteria: tuple[Criterion, ...]
    totals: tuple[float, ...]
    barred: tuple[str, ...] = ()


def matrix(found: Comparison, reports: Sequence[Report], weights: Mapping[str, float] | None = None) -> Matrix:
    """Put a comparison into a matrix; every criterion counts the same until the team says otherwise."""
    weights = weights or dict.fromkeys(criteria(), 1.0)
    points = [found.difference[0].first_points, *(d.points for d in found.difference)]
    holds = [sum(f.verdict == "holds" for f in r.findings) / max(len(r.findings), 1) for r in reports]
    rows: dict[str, Row] = {
        "points": (points, "points", _of_most(points)),
        "reliability": ([100 * h for h in holds], "%", list(holds)),
        "hours": ([h.needed for h in found.hours], "h", [_free(h) for h in found.hours]),
        **{score.name: _scored(score, reports) for system in systems() for score in system.scores},
    }
    judged = tuple(
        Criterion(name, float(weights.get(name, 0.0)), tuple(values), unit, tuple(scores))
        for name, (values, unit, scores) in rows.items()
    )
    counting = [c for c in judged if c.counts]
    whole = sum(c.weight for c in counting)
    totals = tuple(
        sum(c.weight * (c.scores[i] or 0.0) for c in counting) / whole if whole else 0.0 for i in range(len(reports))
    )
    names = [found.difference[0].first, *(d.variant for d in found.difference)]
    return Matrix(tuple(names), judged, totals, tuple(e.variant for e in found.entry if e.breaks))


_CLOSE = 0.02  # totals nearer than this do not tell alternatives apart; common practice, no source


def leading(matrix: Matrix) -> str:
    """Say which alternative the matrix puts first; one that cannot be entered does not stand in the row."""
    order = _order(matrix)
    out = f" {' and '.join(matrix.barred)} cannot be entered and does not count." if matrix.barred else ""
    if len(order) < 2:
        return f"The matrix has nothing to decide.{out}"
    best, following = order[0], order[1]
    gap = matrix.totals[best] - matrix.totals[following]
    if gap < _CLOSE:
        return (
            f"By these weights {matrix.names[best]} and {matrix.names[following]} are as good as level "
            f"({matrix.totals[best]:.2f} and {matrix.totals[following]:.2f}): the matrix does not decide it.{out}"
        )
    return (
        f"By these weights {matrix.names[best]} leads with {matrix.totals[best]:.2f}, before {matrix.names[following]} "
        f"with {matrix.totals[following]:.2f}.{out}"
    )


def _order(matrix: Matrix) -> list[int]:
    free = [i for i, name in enumerate(matrix.names) if name not in matrix.barred]
    return sorted(free, key=lambda i: -matrix.totals[i])


def argument(matrix: Matrix, found: Comparison) -> str:
    """Say in one sentence how matrix and recommendation go together, and why where they differ."""
    order = _order(matrix)
    if found.chosen is None or len(order) < 2 or found.chosen not in matrix.names:
        return "The recommendation on the next page names none of them to choose, and says what is missing."
    own, other = order[0], matrix.names.index(found.chosen)
    level = matrix.totals[own] - matrix.totals[other] < _CLOSE
    if own == other:
        level = matrix.totals[own] - matrix.totals[order[1]] < _CLOSE
        return f"The recommendation chooses {found.chosen} too{', by its points' if level else ''}."
    if level:
        return f"The recommendation chooses {found.chosen}, by its points."
    ahead = {
        row.name: row.weight * ((row.scores[own] or 0.0) - (row.scores[other] or 0.0))
        for row in matrix.criteria
        if row.counts
    }
    better = [name for name in sorted(ahead, key=lambda name: -ahead[name]) if ahead[name] > 0.0]
    return (
        f"The recommendation chooses {found.chosen} all the same, since it looks at points and at whether the hours "
        f"suffice; the matrix puts {matrix.names[own]} first because of {' and '.join(better[:2])}, by the weights "
        "that the team gave."
    )


Row = tuple[Sequence[float | None], str, Sequence[float | None]]


def _of_most(values: Sequence[float | None]) -> list[float | None]:
    known = [v for v in values if v is not None]
    most = max(known, default=0.0)
    return [None if v is None else (max(v, 0.0) / most if most > 0 else 1.0) for v in values]


def _scored(score: Score, reports: Sequence[Report]) -> Row:
    found = [score.of(report) for report in reports]
    values = [value for value, _ in found]
    unit = next((unit for _, unit in found if unit), "")
    if not score.least:
        return values, unit, _of_most(values)
    least = min((v for v in values if v), default=0.0)
    return values, unit, [least / v if v else None for v in values]


def _free(hours: Hours) -> float | None:
    if hours.left is None:
        return None
    return min(max(1.0 - hours.needed / hours.left, 0.0), 1.0) if hours.left > 0 else 0.0
