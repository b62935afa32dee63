"""When the periods of a match begin and end, and when the finish must begin at the latest."""

from __future__ import annotations

from dataclasses import dataclass

from fieldworthy.engine.finding import first
from fieldworthy.engine.system import Context
from fieldworthy.match.setup import Part


@dataclass(frozen=True, slots=True)
class Period:
    """One period of a match.

    Attributes
    ----------
    name : ``autonomous``, ``driven`` or ``solo``
    begins, ends : In the time of the match [s]
    """

    name: str
    begins: float
    ends: float


@dataclass(frozen=True, slots=True)
class MatchClock:
    """The times that a match is played to.

    Attributes
    ----------
    periods : In order
    reserve : When the driven steps stop and the finish must begin [s]; None without a finish
    """

    periods: tuple[Period, ...]
    reserve: float | None

    @property
    def end(self) -> float:
        """When the last period ends [s]."""
        return self.periods[-1].ends


def match_clock(context: Context, part: Part = "whole") -> MatchClock:
    """Say when the periods of a part of the match begin and end."""
    times, plan = context.nominal.season.periods, context.nominal.robot.plan
    alone = Period("autonomous", 0.0, first(times.autonomous))
    if part == "autonomous":
        return MatchClock((alone,), None)
    begins = alone.ends if part == "whole" else 0.0
    lasts = first(times.solo or 0.0) if part == "solo" else first(times.driven)
    driven = Period("solo" if part == "solo" else "driven", begins, begins + lasts)
    reserve = None if plan is None or plan.finish is None else driven.ends - first(plan.finish.reserve)
    return MatchClock((alone, driven) if part == "whole" else (driven,), reserve)
