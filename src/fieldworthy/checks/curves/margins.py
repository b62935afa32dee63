"""How far every finding is from its limit, with its interval, on one scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fieldworthy.checks.finding import WIDEST, Finding, Report, Verdict


@dataclass(frozen=True, slots=True)
class Margin:
    """One finding on the common scale.

    Attributes
    ----------
    id, subject, verdict, chance, because : str, str, str, float or None, str
        As in `Finding`.
    margin : float or None
        0 at the limit, positive is good [-]; None where unknown.
    spread : tuple of float or None
        95 % interval of the margin over the samples, low end first [-]; None where it is not sampled or without bound.
    """

    id: str
    subject: str
    verdict: Verdict
    margin: float | None
    spread: tuple[float, float] | None
    chance: float | None
    because: str


def margins_of(report: Report) -> tuple[Margin, ...]:
    """Bring every finding of a report onto one scale.

    Parameters
    ----------
    report : Report
        What the checks found [-].

    Returns
    -------
    tuple of Margin
        In the order of the report: the worst first [-].
    """
    return tuple(Margin(f.id, f.subject, f.verdict, f.margin, _spread(f), f.chance, f.because) for f in report.findings)


def _spread(finding: Finding) -> tuple[float, float] | None:
    """The value's interval, measured from the limit in the size that a margin of 1 stands for."""
    value, limit, margin = finding.value, finding.limit, finding.margin
    if finding.spread is None or value is None or limit is None or margin is None:
        return None
    sign = 1.0 if finding.need == "at least" else -1.0
    gap = sign * (value - limit)
    if abs(margin) >= WIDEST:
        return None
    # at the limit the margin does not tell its scale, which then is the limit's own size
    scale = gap / margin if abs(margin) > 1e-12 and abs(gap) > 0.0 else abs(limit)
    if not math.isfinite(scale) or scale <= 0.0:
        return None
    ends = sorted(sign * (end - limit) / scale for end in finding.spread)
    return max(ends[0], -WIDEST), min(ends[1], WIDEST)
