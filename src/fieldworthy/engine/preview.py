"""Says at once what a robot would be like with a few numbers moved: nominal alone, and only what read them anew."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldworthy.engine.context import Context
from fieldworthy.engine.display import DisplayUnits, first
from fieldworthy.engine.finding import Outcome, Verdict
from fieldworthy.engine.system import systems
from fieldworthy.engine.tracing import Live, Memory, Place, Places, Reads, fields_of, undisturbed
from fieldworthy.files import Quantity
from fieldworthy.files.instantiation import instantiate, nominal
from fieldworthy.files.problems import Fault, KeyPath
from fieldworthy.robot import Loaded, refusals
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season

_FAULTS = -1  # what the robot says is wrong with itself is kept like a check


@dataclass(frozen=True, slots=True)
class NominalFinding:
    """One finding or fact, nominal.

    Attributes
    ----------
    id, subject : As in the report
    verdict : None for a fact
    margin : As in the report
    because : The sentence
    """

    id: str
    subject: str
    verdict: Verdict | None
    margin: float | None
    because: str


class NominalPreview:
    """A robot, nominal, whose numbers can be moved; what rests on none of those that moved is kept.

    Notes
    -----
    Verdicts, margins and sentences are those that `evaluate` gives for the moved robot. Not for several threads.
    """

    def __init__(self, loaded: Loaded) -> None:
        stated = stated_by(loaded)
        self._shown = DisplayUnits.of(loaded.quantities)
        self._fields: dict[Place, tuple[KeyPath, Any]] = {
            place: (path, value) for place, path, value in fields_of(stated)
        }
        self._places: dict[KeyPath, Place] = {path: place for place, (path, _) in self._fields.items()}
        self._reads = Reads()
        self._live = Live(stated, nominal, self._reads)
        robot, season = self._live.things
        self._subject = Context(robot, season, memory=Memory(self._reads))
        self._kept: dict[int, tuple[Any, Places]] = {}
        self._moved: dict[Place, Any] = {}

    def findings(self, moves: Mapping[KeyPath, float]) -> tuple[NominalFinding, ...]:
        """Move numbers from where the file has them."""
        try:
            self._put(moves)
            found = [self._once(i, lambda i=i: self._findings(i)) for i in range(len(systems()))]
        except BaseException:
            self._forget(None)
            raise
        return tuple(finding for part in found for finding in part)

    def faults(self) -> tuple[Fault, ...]:
        """Tell what is wrong with the robot as it was last moved."""
        robot, season = self._subject.robot, self._subject.season
        found: tuple[Fault, ...] = self._once(_FAULTS, lambda: tuple(refusals(robot, season)))
        return found

    def quantity(self, path: KeyPath) -> Quantity:
        """Find a number as the file has it."""
        place = self._place(path)
        own, value = self._fields[place]
        for key in path[len(own) :]:
            value = value[key]
        if not isinstance(value, Quantity):
            raise KeyError(path)
        return value

    def _place(self, path: KeyPath) -> Place:
        for end in range(len(path), 0, -1):
            if path[:end] in self._places:
                return self._places[path[:end]]
        raise KeyError(path)

    def _put(self, moves: Mapping[KeyPath, float]) -> None:
        """Fill in what moved, take back what no longer does, and forget what read any of it."""
        now: dict[Place, Any] = {}
        for path, si in moves.items():
            place = self._place(path)
            own, value = self._fields[place]
            moved = dataclasses.replace(self.quantity(path), si=si)
            now[place] = _with(now.get(place, value), path[len(own) :], moved)
        back = {place: self._fields[place][1] for place in self._moved if place not in now}
        changed = {place: value for place, value in (back | now).items() if self._moved.get(place) != value}
        self._live.change(changed, nominal)
        self._moved = now
        self._forget(frozenset(changed))

    def _forget(self, changed: Places | None) -> None:
        self._subject.memory.forget(changed)
        self._kept = undisturbed(self._kept, changed)

    def _once(self, key: int, compute: Any) -> Any:
        if key not in self._kept:
            self._kept[key] = self._reads.of(compute)
        return self._kept[key][0]

    def _findings(self, check: int) -> list[NominalFinding]:
        return [self._finding(outcome) for outcome in systems()[check].check(self._subject)]

    def _finding(self, outcome: Outcome) -> NominalFinding:
        if outcome.limit is None:
            return NominalFinding(outcome.id, outcome.subject, None, None, self._shown.sentence(outcome))
        margin = None if outcome.missing else first(outcome.margin())
        verdict: Verdict = "unknown" if margin is None else "holds" if margin >= 0 else "short"
        return NominalFinding(
            outcome.id, outcome.subject, verdict, margin, self._shown.sentence(outcome, short=verdict == "short")
        )


def _with(value: Any, path: KeyPath, new: Quantity) -> Any:
    """Lay a quantity into what a field holds."""
    if not path:
        return new
    key, rest = path[0], path[1:]
    if isinstance(value, dict):
        return {**value, key: _with(value[key], rest, new)}
    return tuple(_with(item, rest, new) if i == key else item for i, item in enumerate(value))


def stated_by(loaded: Loaded) -> tuple[tuple[KeyPath, Any], ...]:
    """Robot and season as their files state them, with quantities in place of numbers."""

    def keep(_path: KeyPath, quantity: Quantity) -> Any:
        """Leave a quantity as the file states it."""
        return quantity

    return ((), instantiate(loaded.robot, Robot, keep)), (("season",), instantiate(loaded.season, Season, keep))
