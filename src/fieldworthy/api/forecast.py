"""A match as it will go: the spread of points over many, what limits them, and one as planned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from fieldworthy.api.report import block, frame_of, table
from fieldworthy.decide.work import Work, work_of
from fieldworthy.drawing.svg import Figure
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import DisplayUnits, as_data
from fieldworthy.match import PARTS, Part, Scores, Timeline, match_clock, scores, summed, tallied, timeline
from fieldworthy.match import figure as drawn
from fieldworthy.match.ability import Contradiction
from fieldworthy.match.components import EACH, Share
from fieldworthy.match.forecast import Finishing, Limit, Progress, Success
from fieldworthy.match.forecast import Forecast as Found
from fieldworthy.robot import Loaded
from fieldworthy.units import counted

__all__ = ["PARTS", "Forecast", "Points", "played"]
Wanted = Literal["points", "timeline", "limits"]
_EVENT = ("leaves", "begins", "ends", "period", "action", "place", "points", "counted", "reason", "hottest_motor")


@dataclass(frozen=True, slots=True)
class Points:
    """Points of a robot over many matches.

    Attributes
    ----------
    mean : Mean points of a match
    interval : 95 % interval of the mean over what is not known of the robot; None for too few matches
    deviation : Standard deviation of the points of a match; None for fewer than two
    quantiles : Points that a share of the matches does not exceed: ``quantiles["5 %"]``
    planned : Points of the match in which every try works in its mean time
    """

    mean: float
    interval: tuple[float, float] | None
    deviation: float | None
    quantiles: dict[str, float]
    planned: float


@dataclass(frozen=True)
class _Played:
    """What was played, part by part."""

    data: Found
    loaded: Loaded
    scores: Scores | None

    @property
    def robot(self) -> str:
        """Name of the robot."""
        return self.data.robot

    @property
    def runs(self) -> int:
        """How many matches were played."""
        return self.data.runs

    @property
    def points(self) -> Points:
        """The spread of the points."""
        data = self.data
        mean = float("nan") if data.mean is None else data.mean
        return Points(mean, data.interval, data.deviation, dict(data.quantiles), data.timeline.points)

    @property
    def timeline(self) -> Timeline:
        """The match in which every try works in its mean time."""
        return self.data.timeline

    @property
    def finish(self) -> tuple[Finishing, ...]:
        """Chances of the steps of the finish."""
        return self.data.finish

    @property
    def limits(self) -> tuple[Limit, ...]:
        """What keeps matches from more points, most often first."""
        return self.data.limits

    @property
    def because(self) -> tuple[Share, ...]:
        """What the doubt about the mean comes from, most first."""
        return self.data.because

    @property
    def contradictions(self) -> tuple[Contradiction, ...]:
        """Actions that work in practice and cannot by the check."""
        return self.data.contradictions

    @property
    def actions(self) -> tuple[Success, ...]:
        """How the tries of each action ended."""
        return self.data.actions


@dataclass(frozen=True)
class Forecast(_Played):
    """What many matches of one robot gave; `Robot.match` makes it.

    Parameters
    ----------
    data : fieldworthy.match.Forecast
        What was played.
    loaded : fieldworthy.robot.Loaded
        The robot that played.
    scores : fieldworthy.match.Scores, optional
        How often each number of points came up; None where no match was played.

    Examples
    --------
    >>> import fieldworthy as fw
    >>> forecast = fw.load("mk1.yaml").match(runs=200)
    >>> low, high = forecast.points.interval
    >>> low < forecast.points.mean < high
    True
    >>> forecast.points.quantiles["5 %"] <= forecast.points.quantiles["95 %"]
    True
    """

    def work(self) -> Work:
        """List what to do in the hours left, by points gained an hour.

        Returns
        -------
        Work
            Jobs in order, the worth of knowing each thing, what stops actions, and the time that the plan leaves.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> work = fw.load("mk1.yaml").match(runs=200).work()
        >>> work.jobs[0].kind, work.blocked[0].action
        ('plan', 'climb')
        """
        return work_of(self.loaded, self.data.asked, self.data.seed, self.data.part)

    def plot(self, what: Wanted = "points") -> Figure:
        """Draw the forecast.

        Parameters
        ----------
        what : str
            ``points`` for their spread, ``timeline`` for the match as planned, ``limits`` for what limits the points.

        Returns
        -------
        Figure
            Shows itself in a notebook.

        Raises
        ------
        ValueError
            If there is no such figure.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> fw.load("mk1.yaml").match(runs=200).plot().title
        'How the points spread'
        """
        style = DisplayUnits.of(self.loaded.quantities).style()
        if what == "timeline" or (what == "points" and self.scores is None):
            context = Context(self.loaded.nominal, self.loaded.nominal_season)
            return drawn.timeline(drawn.Course(self.timeline, match_clock(context, self.data.part)), style)
        if what == "points" and self.scores is not None:
            return drawn.distribution([self.scores], style)
        if what == "limits":
            return drawn.limits(self.data, style)
        raise ValueError(f"expected points, timeline or limits (found {what!r})")

    def to_frame(self) -> Any:
        """Put the match as planned into a data frame, one row an action.

        Returns
        -------
        pandas.DataFrame or polars.DataFrame
            Times leaves, begins and ends [s], period, action, place, points, counted, reason, hottest_motor.

        Raises
        ------
        ImportError
            If neither pandas nor polars is installed; the text says what to install.
        """
        return frame_of({name: [getattr(event, name) for event in self.timeline.events] for name in _EVENT})

    def to_dict(self) -> dict[str, Any]:
        """Give everything as plain data, as the command ``match`` writes it with ``--json``.

        Returns
        -------
        dict
            Follows the schema of that output, which ``fieldworthy schema match`` prints.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> fw.load("mk1.yaml").match(runs=200).to_dict()["format"].rpartition(" ")[0]
        'fieldworthy match'
        """
        return as_data(self.data)

    def __str__(self) -> str:
        points = self.points
        text = f"{self.robot}: {points.mean:.1f} points on average over {counted(self.runs, 'match')}"
        return text if points.interval is None else f"{text} ({points.interval[0]:.1f} to {points.interval[1]:.1f})"

    def __repr__(self) -> str:
        return f"<Forecast of {self}>"

    def _repr_html_(self) -> str:
        rows = [(f"{100.0 * limit.share:.0f} %", limit.reason, limit.worst) for limit in self.limits]
        limits = table(("Of the matches", "What limited them", "Most often"), rows) if rows else ""
        return block(str(self), [], self.plot().svg, limits)


def played(
    loaded: Loaded, asked: tuple[int, int], part: Part, progress: Progress | None = None, each: int = EACH
) -> Forecast:
    """Play a robot's match many times."""
    tally = tallied(loaded, *asked, part, progress=progress, each=each)
    planned = timeline(Context(loaded.nominal, loaded.nominal_season), part)
    found = summed(loaded, tally, planned, asked)
    return Forecast(found, loaded, scores(tally, found))
