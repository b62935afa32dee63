"""A search for the best robot within stated ranges."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldworthy.api.report import block
from fieldworthy.decide import search as decided
from fieldworthy.decide.search.wanted import from_options, read_search
from fieldworthy.engine.finding import as_data
from fieldworthy.files import Document
from fieldworthy.robot import load_robot
from fieldworthy.vehicle.state import keep_weights

if TYPE_CHECKING:
    from fieldworthy.api.robot import Robot

Progress = Callable[[decided.Progress], None]


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

    data: decided.Found
    robot: Robot

    @property
    def answer(self) -> str:
        """What was found, in a few sentences."""
        return self.data.answer

    @property
    def best(self) -> decided.Design | None:
        """The best design; None where nothing holds what it must, or nothing is better."""
        return self.data.best

    @property
    def alike(self) -> tuple[decided.Design, ...]:
        """Designs that cannot be told from the best."""
        return self.data.alike

    @property
    def front(self) -> tuple[decided.Design, ...]:
        """Where several things are wanted: designs that nothing found beats."""
        return self.data.front

    def variant(self, design: decided.Design | None = None) -> Robot:
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
        loaded = self.robot.loaded
        texts = decided.texts_with(loaded, decided.changes_in(chosen))
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


def document_of(wanted: str | Path | Sequence[str] | Mapping[str, Any]) -> Document:
    """Read what is wanted: a search file, keys that may vary, or what a search file would say."""
    if isinstance(wanted, str | Path):
        return read_search(Path(wanted))
    if isinstance(wanted, Mapping):
        return from_options(wanted)
    return from_options({"vary": [{"key": key} for key in wanted]})
