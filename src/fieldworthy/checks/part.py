"""Some of the checks on one robot, kept up to date while its numbers change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

from fieldworthy.checks.evaluate import entries_of
from fieldworthy.checks.finding import Real
from fieldworthy.checks.judging import Said, Table, Tally, judged
from fieldworthy.checks.reading import (
    Live,
    Memory,
    Place,
    Places,
    Reads,
    aside_too,
    fields_of,
    quantities_in,
    undisturbed,
)
from fieldworthy.checks.registry import CHECKS
from fieldworthy.checks.sampling import Cases
from fieldworthy.checks.showing import Shown
from fieldworthy.checks.subject import Subject
from fieldworthy.checks.weighed import settled
from fieldworthy.schema import Quantity
from fieldworthy.schema.problems import KeyPath
from fieldworthy.schema.realise import nominal

Stated: TypeAlias = tuple[tuple[KeyPath, Any], ...]
"""Robot and season with `Quantity` in place of their numbers, each with its key path."""
Field: TypeAlias = tuple[KeyPath, Any]
"""Key path of a field and what it states."""


class Broken(Exception):
    """Another process cannot judge its part; the work has to be done here."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a part of the work is.

    Attributes
    ----------
    checks : tuple of int
        Which checks, by their place in the list of all.
    samples, seed : int
        How chances are sampled; one block at most.
    """

    checks: tuple[int, ...]
    samples: int
    seed: int


def tabled(robot: Any, fields: Mapping[Place, Field], shown: Shown) -> Table:
    """List the quantities that a batch nudges.

    Parameters
    ----------
    robot : Robot
        The robot, whatever stands for its numbers [-].
    fields : mapping
        All fields of robot and season [-].
    shown : Shown
        Units to show [-].

    Returns
    -------
    Table
        In the order of the files [-].
    """
    quantities = (found for path, value in fields.values() for found in quantities_in(value, path))
    return Table(entries_of(robot, quantities), shown)


class Part:
    """Some of the checks; `begin` comes first, then `change` and `said` as often as wanted.

    Parameters
    ----------
    asked : Asked
        Which checks, and how chances are sampled.
    """

    def __init__(self, asked: Asked) -> None:
        self._asked = asked
        self._reads = Reads()

    def begin(self, stated: Stated, shown: Shown) -> None:
        """Take in a robot; nothing is kept of the one before.

        Parameters
        ----------
        stated : tuple
            Robot and season [-].
        shown : Shown
            Units to show [-].
        """
        self._shown = shown
        self._fields: dict[Place, Field] = {place: (path, value) for place, path, value in fields_of(stated)}
        self._nominal = Live(stated, nominal, self._reads, aside=True)
        self._batch = Live(stated, nominal, self._reads)
        memories = Memory(self._reads), Memory(self._reads)
        (robot, season), (wide_robot, wide_season) = self._nominal.things, self._batch.things
        self._subject = Subject(wide_robot, wide_season, Subject(robot, season, memory=memories[0]), memories[1])
        self._kept: dict[int, tuple[list[Said], Places]] = {}
        self._wanted = self._read(self._asked.checks)
        self._redraw()

    def _read(self, checks: tuple[int, ...]) -> set[Place]:
        """Which fields checks read from the batch, here on nominal numbers alone."""
        _, read = self._reads.of(lambda: [list(CHECKS[check](self._subject)) for check in checks])
        return {(at, name) for at, name in read if at >= 0}

    def _redraw(self) -> None:
        """Draw the whole batch; it holds nudges of what is read from it, as far as that is known."""
        self._forget(None)
        self._tabulate()
        self._batch.change({place: value for place, (_, value) in self._fields.items()}, self._draw)

    def _forget(self, changed: Places | None) -> None:
        for memory in (self._subject.memory, self._subject.nominal.memory):
            memory.forget(changed)
        self._kept = undisturbed(self._kept, changed)

    def _tabulate(self) -> None:
        read = {place: field for place, field in self._fields.items() if place in self._wanted}
        self._table = tabled(self._subject.nominal.robot, read, self._shown)
        paths = [path for path, _ in self._table.entries]
        self._cases = Cases(self._asked.seed, 0, self._asked.samples, paths)

    def _draw(self, path: KeyPath, quantity: Quantity) -> Real:
        return self._cases.draw(path, settled(self._subject.nominal.robot, path, quantity))

    def change(self, fields: Mapping[Place, Field], anew: bool = False) -> None:
        """Put other numbers into some fields; the rest of the robot stays as it is.

        Parameters
        ----------
        fields : mapping
            What is stated now, quantities of the same shape as before [-].
        anew : bool
            Whether everything is to be judged again, not only what read one of these fields [-].
        """
        self._forget(None if anew else aside_too(fields))
        if not fields:
            return
        self._fields |= fields
        values = {place: value for place, (_, value) in fields.items()}
        self._nominal.change(values, nominal)
        self._tabulate()
        self._batch.change(values, self._draw)

    def said(self) -> dict[int, list[Said]]:
        """Judge what is not known already.

        Returns
        -------
        dict
            Findings and facts of each check, in its order, by the check's place in the list of all [-].
        """
        for check in self._asked.checks:
            if check not in self._kept:
                self._kept[check] = self._reads.of(lambda check=check: self._judged(check))  # type: ignore[misc]
        read = {(at, name) for _, places in self._kept.values() for at, name in places if at >= 0}
        if not read <= self._wanted:  # with these numbers a check looks at more: that has to be nudged too
            self._wanted |= read
            self._redraw()
            return self.said()
        return {check: kept[0] for check, kept in self._kept.items()}

    def _judged(self, check: int) -> list[Said]:
        outcomes = list(CHECKS[check](self._subject))
        return [judged(o, Tally.of(o, self._cases.sampled), self._table) for o in outcomes]
