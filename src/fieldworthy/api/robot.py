"""A robot, read from its file: check it, play its matches, change it, search for a better one."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldworthy.api.report import Report, block
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.engine.finding import DisplayUnits, as_data
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.robot.editing import edited, key_paths
from fieldworthy.units import show
from fieldworthy.vehicle.state import keep_weights

if TYPE_CHECKING:
    from fieldworthy.api.forecast import Forecast
    from fieldworthy.decide.search import Design, Found
    from fieldworthy.decide.search import Progress as SearchProgress
    from fieldworthy.drawing.svg import Figure
    from fieldworthy.files import Document
    from fieldworthy.match import Part

Progress = Callable[[int], None]


@dataclass(frozen=True)
class Robot:
    """A robot with its season, as its files describe them; `load` reads one.

    A robot does not change: `changed` gives another one, and no file is written.

    Parameters
    ----------
    loaded : fieldworthy.robot.Loaded
        The files as they were read.

    Examples
    --------
    >>> import fieldworthy as fw
    >>> robot = fw.load("mk1.yaml")
    >>> robot
    <Robot Heron mk1, season Glasshouse, from mk1.yaml>
    >>> robot["parts.tray floor.mass"]
    '330 g'
    """

    loaded: Loaded

    @property
    def name(self) -> str:
        """What the robot is called."""
        return self.loaded.nominal.robot

    @property
    def season(self) -> str:
        """Name of the season."""
        return self.loaded.nominal_season.season

    @property
    def file(self) -> Path:
        """The robot file."""
        return self.loaded.document.file

    def check(self, samples: int = 1000, seed: int = 0, progress: Progress | None = None) -> Report:
        """Say what will not work, by how much, and how sure that is.

        Parameters
        ----------
        samples : int
            Robots within the tolerances over which chances are counted; 0 for none.
        seed : int
            Fixes the draws: the same seed gives the same report.
        progress : callable, optional
            Told the number of samples that are done.

        Returns
        -------
        Report
            Findings by id, the worst first.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> report = fw.load("mk1.yaml").check(samples=100)
        >>> report["drive.sprint"].need
        'at most'
        """
        return Report(evaluate(self.loaded, samples, seed, progress), self.loaded)

    def match(
        self, runs: int = 2000, seed: int = 0, part: Part = "whole", progress: Progress | None = None
    ) -> Forecast:
        """Forecast a match: play it many times, each with its own luck and tolerances.

        The first call on a machine compiles the inner loop, which takes about 15 s.

        Parameters
        ----------
        runs : int
            Matches to play.
        seed : int
            Fixes the draws: the same seed gives the same forecast on any number of cores.
        part : str
            ``whole``, ``autonomous``, ``driven`` or ``solo``.
        progress : callable, optional
            Told the number of matches that are played.

        Returns
        -------
        Forecast
            Points and their spread, what limits them, and one match as planned.

        Raises
        ------
        BadFile
            If the robot file has no plan, or one that cannot be played.
        ValueError
            If there is no such part.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> fw.load("mk1.yaml").match(runs=200).runs
        200
        """
        from fieldworthy.api.forecast import PARTS, played  # noqa: PLC0415  a check needs none of it

        if part not in PARTS:
            raise ValueError(f"expected one of {', '.join(PARTS)} (found {part!r})")
        return played(self.loaded, (runs, seed), part, progress)

    def search(
        self,
        wanted: str | Path | Sequence[str] | Mapping[str, Any],
        candidates: int = 2000,
        minutes: float | None = None,
        seed: int = 0,
        progress: Callable[[SearchProgress], None] | None = None,
    ) -> Search:
        """Search for the best robot within stated ranges and the limits of the season.

        Parameters
        ----------
        wanted : str, Path, list of str or mapping
            A search file (YAML), the keys that may vary with their usual ranges, or what a search file would say:
            ``{"vary": [{"key": "drive.stages"}], "want": ["points"], "must": ["balance"]}``.
        candidates : int
            Candidates to try at most.
        minutes : float, optional
            Time to search at most.
        seed : int
            Fixes every proposal, draw and match: the same seed gives the same answer.
        progress : callable, optional
            Told how many candidates are tried, and how good the best is.

        Returns
        -------
        Search
            The best design, those that cannot be told from it, and how sure that is.

        Raises
        ------
        BadFile
            If what is wanted cannot be searched; ``problems`` holds what was expected.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> robot = fw.load("mk1.yaml")
        >>> robot.search(["drive.motor"], candidates=1).data.candidates
        1
        """
        from fieldworthy.decide.search import Budget, How, search  # noqa: PLC0415  a check needs none of it

        how = How(Budget(candidates, minutes), seed)
        return Search(search(self.loaded, _document_of(wanted), how, progress), self)

    def changed(self, changes: Mapping[str, Any]) -> Robot:
        """Give this robot with some values changed; no file is written.

        Parameters
        ----------
        changes : mapping of str to str, float, bool or mapping
            Key as findings write it, and the new value as the file would say it: ``{"drive.motors": 4,
            "parts.tray floor.mass": "200 g"}``. An item of a list is counted from 0: ``drive.stages[0].driven``.
            Keys of the season begin with ``season``. A mapping replaces the value with its tolerance and basis.

        Returns
        -------
        Robot
            The changed robot.

        Raises
        ------
        BadFile
            If a key is not there, with the one that was probably meant, or a value is not allowed.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> robot = fw.load("mk1.yaml")
        >>> robot.changed({"parts.tray floor.mass": "200 g"})["parts.tray floor.mass"]
        '200 g'
        >>> try:
        ...     robot.changed({"parts.tray flor.mass": "200 g"})
        ... except fw.BadFile as error:
        ...     print(error.problems[0].suggestion)
        tray floor
        """
        paths = key_paths(self.loaded, changes)
        texts = edited(self.loaded, {paths[key]: value for key, value in changes.items()})
        changed = load_robot(self.file, None, {**self.loaded.texts, **texts})
        return Robot(keep_weights(self.loaded, changed))

    def __getitem__(self, key: str) -> Any:
        """Give a value: a quantity as text with the unit of the file, anything else as it stands there."""
        path = key_paths(self.loaded, [key])[key]
        for known, quantity in self.loaded.quantities:
            if known == path:
                return show(quantity.si, quantity.kind, quantity.unit)
        here = self.loaded.document.data
        for step in path:
            try:
                here = here[step]
            except (KeyError, IndexError, TypeError):
                return None
        return here

    def plot(self, pose: str | None = None) -> Figure | None:
        """Draw the robot to scale, from the side and from above.

        Parameters
        ----------
        pose : str, optional
            The pose it stands in; where it starts, if not given.

        Returns
        -------
        Figure or None
            Shows itself in a notebook; None where the file lists no parts or no poses.

        Raises
        ------
        ValueError
            If the robot has no such pose.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> figure = fw.load("mk1.yaml").plot("loaded")
        >>> figure.svg.startswith("<svg")
        True
        """
        from fieldworthy.vehicle import drawing  # noqa: PLC0415  a check draws nothing
        from fieldworthy.vehicle.views import body_curves, first_pose  # noqa: PLC0415

        context = Context(self.loaded.nominal, self.loaded.nominal_season)
        poses = context.robot.poses
        if pose is not None and pose not in poses:
            raise ValueError(f"expected one of the poses {', '.join(poses)} (found {pose!r})")
        pose = pose or first_pose(context)
        data = None if pose is None else body_curves(context, pose)
        return None if data is None else drawing.robot(data, DisplayUnits.of(self.loaded.quantities).style())

    def __repr__(self) -> str:
        return f"<Robot {self.name}, season {self.season}, from {self.file.name}>"

    def _repr_html_(self) -> str:
        figure = self.plot()
        told = [f"Season {self.season}, from {self.file.name}.", self.loaded.nominal.about]
        return block(self.name, [text for text in told if text], figure.svg if figure else "")


@dataclass(frozen=True)
class Search:
    """What a search found; `Robot.search` makes it.

    Parameters
    ----------
    data : fieldworthy.decide.search.Found
        What was found.
    robot : Robot
        The robot that was searched from.

    Examples
    --------
    >>> import fieldworthy as fw
    >>> robot = fw.load("mk1.yaml")
    >>> wanted = {"vary": [{"key": "parts.battery.position[0]"}], "want": ["balance.tip.forward"]}
    >>> found = robot.search(wanted, candidates=60)
    >>> [edit.key for edit in found.best.edits]
    ['parts.battery.position[0]']
    """

    data: Found
    robot: Robot

    @property
    def answer(self) -> str:
        """What was found, in a few sentences."""
        return self.data.answer

    @property
    def best(self) -> Design | None:
        """The best design; None where nothing holds what it must, or nothing is better."""
        return self.data.best

    @property
    def alike(self) -> tuple[Design, ...]:
        """Designs that cannot be told from the best."""
        return self.data.alike

    @property
    def front(self) -> tuple[Design, ...]:
        """Where several things are wanted: designs that nothing found beats."""
        return self.data.front

    def variant(self, design: Design | None = None) -> Robot:
        """Give a design as a robot; no file is written.

        Parameters
        ----------
        design : Design, optional
            One of those found; the best, if not given.

        Returns
        -------
        Robot
            The present robot with the design's changes.

        Raises
        ------
        ValueError
            If there is no best design.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> robot = fw.load("mk1.yaml")
        >>> wanted = {"vary": [{"key": "parts.battery.position[0]"}], "want": ["balance.tip.forward"]}
        >>> robot.search(wanted, candidates=60).variant().name
        'Heron mk1'
        """
        chosen = design or self.best
        if chosen is None:
            raise ValueError("expected a design: this search found none that is better")
        from fieldworthy.decide.search import changes_in, texts_with  # noqa: PLC0415  a check needs none of it

        loaded = self.robot.loaded
        texts = texts_with(loaded, changes_in(chosen))
        changed = load_robot(self.robot.file, None, {**loaded.texts, **texts})
        return dataclasses.replace(self.robot, loaded=keep_weights(loaded, changed))

    def to_dict(self) -> dict[str, Any]:
        """Give everything as plain data, as the command ``search`` writes it with ``--json``.

        Returns
        -------
        dict
            Follows the schema of that output, which ``fieldworthy schema search`` prints.

        Examples
        --------
        >>> import fieldworthy as fw
        >>> found = fw.load("mk1.yaml").search(["parts.battery.position[0]"], candidates=1)
        >>> found.to_dict()["format"]
        'fieldworthy search 1'
        """
        return as_data(self.data)

    def __str__(self) -> str:
        return self.answer

    def __repr__(self) -> str:
        return f"<Search from {self.robot.name}: {self.answer}>"

    def _repr_html_(self) -> str:
        changes = [] if self.best is None else list(self.best.sentences)
        return block("Search", [self.answer, *changes], "")


def _document_of(wanted: str | Path | Sequence[str] | Mapping[str, Any]) -> Document:
    """Read what is wanted: a search file, keys that may vary, or what a search file would say."""
    from fieldworthy.decide.search.wanted import from_options, read_search  # noqa: PLC0415  a check needs none of it

    if isinstance(wanted, str | Path):
        return read_search(Path(wanted))
    if isinstance(wanted, Mapping):
        return from_options(wanted)
    return from_options({"vary": [{"key": key} for key in wanted]})


def load(file: str | Path) -> Robot:
    """Read a robot file with everything that it names: season, parts list, catalogue.

    Parameters
    ----------
    file : str or Path
        The robot file (YAML).

    Returns
    -------
    Robot
        What the file describes.

    Raises
    ------
    BadFile
        If a file cannot be used; ``problems`` holds every problem with file, line, column, key and what was expected.

    Examples
    --------
    >>> import fieldworthy as fw
    >>> fw.load("mk1.yaml").name
    'Heron mk1'
    >>> try:
    ...     fw.load("mk3.yaml")
    ... except fw.BadFile as error:
    ...     print(error.problems[0].expected)
    no such file
    """
    return Robot(load_robot(file))
