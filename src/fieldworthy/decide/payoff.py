"""What a change earns in a match, against the robot as it is: the same luck for both."""

from __future__ import annotations

import dataclasses
from functools import cached_property

from fieldworthy.decide.change import Change, whole
from fieldworthy.engine.evaluate import Cases
from fieldworthy.files import BadInput
from fieldworthy.robot import Loaded

_MATCHES = 400


class Payoff:
    """Plays the nominal robot with a change and without."""

    def __init__(self, loaded: Loaded) -> None:
        self._loaded = loaded

    def gained(self, change: Change) -> float | None:
        """Points a match that a change gains; None where no match can be played."""
        if self.now is None:
            return None
        then = _points(dataclasses.replace(self._loaded, robot=whole(change)))
        return None if then is None else round(then - self.now, 1)

    @cached_property
    def now(self) -> float | None:
        """Mean points of the robot as it is."""
        return _points(self._loaded)


def _points(loaded: Loaded) -> float | None:
    """Mean points of the nominal robot; None where no match can be played."""
    from fieldworthy.match.forecast import drawn_setup, play_runs  # noqa: PLC0415  most remedies are told without

    try:
        match = drawn_setup(loaded, Cases(0, 0, 0, []))
    except (BadInput, ValueError, ArithmeticError):
        return None
    return float(play_runs(match, _MATCHES).points.mean())
