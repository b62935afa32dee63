"""Checks a robot again and again while its numbers change, as a page does."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeAlias

from fieldworthy.checks.evaluate import BLOCK, report_of
from fieldworthy.checks.finding import Report
from fieldworthy.checks.judging import Said
from fieldworthy.checks.part import Asked, Broken, Field, Part, Stated, tabled
from fieldworthy.checks.reading import Place, fields_of
from fieldworthy.checks.registry import CHECKS, OF_THE_BODY
from fieldworthy.checks.showing import Shown
from fieldworthy.robot import Loaded
from fieldworthy.robot.model import Robot
from fieldworthy.schema import Quantity, realise
from fieldworthy.schema.problems import KeyPath
from fieldworthy.season.model import Season

if TYPE_CHECKING:
    from fieldworthy.checks.helper import Helper

Changed: TypeAlias = dict[Place, Field]
_ALL = tuple(range(len(CHECKS)))
_REST = tuple(i for i in _ALL if i not in OF_THE_BODY)


class Checker:
    """Checks one robot after another, most of them like the one before but for a few numbers.

    Parameters
    ----------
    samples : int
        How many samples of the tolerances give the chances; one block (8,192) at most.
    seed : int
        Fixes the samples.
    helper : bool
        Whether a second process shares the work, on a core of its own. It takes about a second to start, during which
        all is computed here; where it cannot be started or fails, all is computed here too.

    Raises
    ------
    ValueError
        If there are more samples than a block holds.

    Notes
    -----
    ``check(loaded)`` gives the same report as ``evaluate(loaded, samples, seed)``. What rests on none of the numbers
    that have changed since the last call is kept, so that a changed number costs a part of the time of a whole check.
    Memory is that of one robot's batch. Not for several threads at once. Close it, or use it in a ``with`` statement;
    the second process ends with this one in any case.
    """

    def __init__(self, samples: int = 1000, seed: int = 0, *, helper: bool = False) -> None:
        if not 0 <= samples <= BLOCK:
            raise ValueError(f"samples must lie from 0 to {BLOCK}, got {samples}")
        self._samples, self._seed = samples, seed
        self._before: _Task | None = None
        self._all = Part(Asked(_ALL, samples, seed))
        self._own = Part(Asked(_REST, samples, seed))
        self._shared = False
        self._helper: Helper | None = None
        if helper:
            from fieldworthy.checks.helper import Helper  # noqa: PLC0415  a command starts none

            with contextlib.suppress(OSError):
                self._helper = Helper(Asked(OF_THE_BODY, samples, seed))

    def __enter__(self) -> Checker:
        """Use it in a ``with`` statement."""
        return self

    def __exit__(self, *_: object) -> None:
        """End the second process."""
        self.close()

    def close(self) -> None:
        """End the second process; later checks are computed here."""
        if self._helper is not None:
            self._helper.close()
        self._helper, self._before = None, None

    def ready(self, wait: float = 0.0) -> bool:
        """Tell whether a second process shares the work by now.

        Parameters
        ----------
        wait : float
            How long to wait for it at most [s].

        Returns
        -------
        bool
            False where there is none [-].
        """
        return self._helper is not None and self._helper.ready(wait)

    def check(self, loaded: Loaded, *, anew: bool = False) -> Report:
        """Check a robot.

        Parameters
        ----------
        loaded : Loaded
            The robot with its season [-].
        anew : bool
            Whether to compute everything, though the robot before was much the same [-].

        Returns
        -------
        Report
            The same as `evaluate` gives [-].
        """
        task = self._before if self._before is not None and self._before.loaded is loaded else _Task.of(loaded)
        changed = task.since(self._before)
        self._before = None  # nothing can be kept unless all goes well
        said = self._said(task, changed, anew)
        self._before = task
        in_order = [one for check in _ALL for one in said[check]]
        return report_of(loaded, task.stated[0][1], in_order, self._samples, self._seed)

    def _said(self, task: _Task, changed: Changed | None, anew: bool) -> dict[int, list[Said]]:
        shared = self.ready()
        if shared != self._shared:
            changed = None  # the work is split anew
        self._shared = shared
        if self._helper is None or not shared:
            task.give(self._all, changed, anew)
            return self._all.said()
        task.give(self._helper, changed, anew)
        task.give(self._own, changed, anew)
        own = self._own.said()
        try:
            return own | self._helper.said()
        except Broken:
            if self._helper.ended:
                self.close()
            self._shared = False
            task.give(self._all, None, anew)
            return self._all.said()


@dataclass(frozen=True)
class _Task:
    """What a robot states, and how that differs from what another one states."""

    loaded: Loaded
    stated: Stated
    shown: Shown
    fields: dict[Place, Field]
    form: object

    @classmethod
    def of(cls, loaded: Loaded) -> _Task:
        """Read a robot's numbers, and the places where they stand."""
        stated, shown = stated_by(loaded), Shown.of(loaded.quantities)
        fields = {place: (path, value) for place, path, value in fields_of(stated)}
        entries = tabled(stated[0][1], fields, shown).entries
        form = [(place, _form(value)) for place, (_, value) in fields.items()], [path for path, _ in entries]
        return cls(loaded, stated, shown, fields, form)

    def since(self, before: _Task | None) -> Changed | None:
        """The fields that differ by their numbers; None where more than numbers differs."""
        if before is self:
            return {}
        if before is None or self.shown != before.shown or self.form != before.form:
            return None
        return {place: field for place, field in self.fields.items() if field[1] != before.fields[place][1]}

    def give(self, part: Part | Helper, changed: Changed | None, anew: bool) -> None:
        """Hand a part of the checks what it works on, or only what has changed."""
        if changed is None:
            part.begin(self.stated, self.shown)
        else:
            part.change(changed, anew)


def stated_by(loaded: Loaded) -> Stated:
    """Take what the files of a robot and its season state.

    Parameters
    ----------
    loaded : Loaded
        The robot with its season [-].

    Returns
    -------
    tuple
        Robot and season with quantities in place of their numbers [-].
    """

    def keep(_path: KeyPath, quantity: Quantity) -> Any:
        """Leave a quantity as the file states it."""
        return quantity

    return ((), realise(loaded.robot, Robot, keep)), (("season",), realise(loaded.season, Season, keep))


def _form(value: Any) -> Any:
    """A field without its numbers: what has the same form differs by numbers alone."""
    if isinstance(value, Quantity):
        return Quantity
    if isinstance(value, tuple):
        return tuple(_form(item) for item in value)
    if isinstance(value, dict):
        return {key: _form(item) for key, item in value.items()}
    return value
