"""Variants of a robot side by side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from fieldworthy.api.report import block, frame_of
from fieldworthy.api.robot import Robot
from fieldworthy.decide import compare as decided
from fieldworthy.decide import figure as drawn
from fieldworthy.decide.recommend import ChangedFinding
from fieldworthy.decide.work import Work
from fieldworthy.drawing.svg import Figure
from fieldworthy.engine.finding import DisplayUnits, as_data

Progress = Callable[[int], None]


@dataclass(frozen=True)
class Comparison:
    """Two or more variants that played the same matches; `compare` makes it.

    Parameters
    ----------
    data : fieldworthy.decide.compare.Comparison
        What was compared.
    robots : tuple of Robot
        The variants, the first one being what the others are held against.

    Examples
    --------
    >>> import fieldworthy as fw
    >>> robot = fw.load("mk1.yaml")
    >>> found = fw.compare(robot, robot.changed({"drive.motors": 4}), runs=200)
    >>> len(found.difference), found.interval[0].low <= found.difference[0].difference <= found.interval[0].high
    (1, True)
    """

    data: decided.Comparison
    robots: tuple[Robot, ...]

    @property
    def recommendation(self) -> str:
        """What to choose, or why that cannot be said yet."""
        return self.data.recommendation

    @property
    def difference(self) -> tuple[decided.Difference, ...]:
        """Mean points of each variant less those of the first."""
        return self.data.difference

    @property
    def interval(self) -> tuple[decided.Interval, ...]:
        """95 % interval of each difference."""
        return self.data.interval

    @property
    def chance(self) -> tuple[decided.Chance, ...]:
        """How likely each variant is the better one."""
        return self.data.chance

    @property
    def gains(self) -> tuple[decided.Gain, ...]:
        """Where each difference comes from, task by task, the largest first."""
        return self.data.gains

    @property
    def entry(self) -> tuple[decided.Entry, ...]:
        """Whether each variant keeps the limits of the season."""
        return self.data.entry

    @property
    def work(self) -> Work | None:
        """What to build, practise or measure in the hours left, by points gained an hour."""
        return self.data.work

    @property
    def disputes(self) -> tuple[decided.Dispute, ...]:
        """What becomes of each difference if practice is right where the check says that an action cannot be done."""
        return self.data.disputes

    @property
    def findings_changed(self) -> tuple[ChangedFinding, ...]:
        """Findings that differ between the first and each variant."""
        return self.data.findings_changed

    def plot(self) -> Figure:
        """Draw the differences with their intervals.

        Returns
        -------
        Figure
            Shows itself in a notebook.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> robot = fw.load("mk1.yaml")
        >>> fw.compare(robot, robot.changed({"drive.motors": 4}), runs=200).plot().title
        'Points more than the first variant, on average'
        """
        return drawn.differences(self.data, DisplayUnits.of(self.robots[0].loaded.quantities).style())

    def to_frame(self) -> Any:
        """Put the differences into a data frame, one row a variant after the first.

        Returns
        -------
        pandas.DataFrame or polars.DataFrame
            Columns variant, points, first_points, difference, low, high and better [-].

        Raises
        ------
        ImportError
            If neither pandas nor polars is installed; the text says what to install.
        """
        names = ("variant", "points", "first_points", "difference")
        columns = {name: [getattr(gap, name) for gap in self.difference] for name in names}
        spans = {"low": [i.low for i in self.interval], "high": [i.high for i in self.interval]}
        return frame_of({**columns, **spans, "better": [chance.match for chance in self.chance]})

    def to_dict(self) -> dict[str, Any]:
        """Give everything as plain data, as the command ``compare`` writes it with ``--json``.

        Returns
        -------
        dict
            Follows the schema of that output, which ``fieldworthy schema compare`` prints.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> robot = fw.load("mk1.yaml")
        >>> "recommendation" in fw.compare(robot, robot.changed({"drive.motors": 4}), runs=200).to_dict()
        True
        """
        return as_data(self.data)

    def __str__(self) -> str:
        return self.recommendation

    def __repr__(self) -> str:
        return f"<Comparison of {', '.join(robot.name for robot in self.robots)}: {self.recommendation}>"

    def _repr_html_(self) -> str:
        return block("Comparison", [self.recommendation], self.plot().svg)


def compare(*robots: Robot, runs: int = 2000, seed: int = 0, progress: Progress | None = None) -> Comparison:
    """Compare variants: who scores more and how sure that is, what changes, and whether there is time to build it.

    Parameters
    ----------
    *robots : Robot
        Two or more in the same season; the others are held against the first.
    runs : int
        Matches that each plays.
    seed : int
        Fixes the draws, which all variants share.
    progress : callable, optional
        Told the number of matches that are played.

    Returns
    -------
    Comparison
        Differences with their intervals, and a recommendation in words.

    Raises
    ------
    ValueError
        If there are fewer than two.
    BadFile
        If their seasons differ, or one of them has no plan that can be played.

    Examples
    --------
    >>> import fieldworthy as fw
    >>> robot = fw.load("mk1.yaml")
    >>> same = fw.compare(robot, robot, runs=200)
    >>> same.difference[0].difference
    0.0
    """
    if len(robots) < 2:
        raise ValueError(f"expected two robots or more (found {len(robots)})")
    return Comparison(decided.compare([robot.loaded for robot in robots], runs, seed, progress), robots)
