"""A strand of readings: what was read, how good it is, and what a trial of the drive says it should be."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.files.kinds import Real
from fieldworthy.measure.drivebench import Trial
from fieldworthy.measure.fitting import Array, Parameter
from fieldworthy.measure.result import Residuals


@dataclass(frozen=True, slots=True, eq=False)
class Strand:
    """Readings of one kind from one run.

    Attributes
    ----------
    name : Title of its plot
    kind : A key of `fieldworthy.units.KINDS`
    observed : As read [SI]
    sd : Standard deviation of one reading [SI]
    predict : Takes a trial of the drive, gives the readings that it would lead to: shape (m,), or (m, k) where the
        trial holds k sets of numbers [SI]
    at : Time of each reading; its number where it has none [s]
    timed : Whether `at` is a time
    """

    name: str
    kind: str
    observed: Array
    sd: float | Array
    predict: Callable[[Trial], Array]
    at: Array
    timed: bool = True

    def whitened(self, trial: Trial) -> Array:
        """Give the residuals over their standard deviation."""
        return np.asarray((self.predict(trial).T - self.observed) / -np.asarray(self.sd)).T

    def residuals(self, trial: Trial) -> Residuals:
        """Put what was read beside what the fitted drive says."""
        axis, kind = ("time", "time") if self.timed else ("reading", "")
        both = (tuple(np.asarray(v, dtype=float).tolist()) for v in (self.observed, self.predict(trial)))
        return Residuals(self.name, axis, kind, tuple(self.at.tolist()), self.kind, *both)


@dataclass(frozen=True, slots=True)
class Run:
    """What one run contributes: strands of readings, the unknowns of this run alone, and what was odd in it.

    Attributes
    ----------
    strands : Its readings
    unknowns : Such as when it started
    notes : Sentences for people
    """

    strands: Sequence[Strand]
    unknowns: Sequence[Parameter] = ()
    notes: Sequence[str] = ()


def by_hand(name: str, kind: str, readings: Sequence[float], sd: float, predict: Callable[[Trial], Real]) -> Strand:
    """Make a strand of readings of one number, read again and again by hand."""
    observed = np.array([float(r) for r in readings])

    def all_alike(trial: Trial) -> Array:
        one = np.asarray(predict(trial), dtype=float)
        return np.broadcast_to(one, (observed.size, *one.shape))

    return Strand(name, kind, observed, sd, all_alike, np.arange(1.0, observed.size + 1.0), False)


def noise(values: Array) -> float:
    """Standard deviation of the noise of a logged column."""
    if values.size < 3:
        return 0.0
    bent = float(np.median(np.abs(np.diff(values, 2)))) * 1.482602218505602 / np.sqrt(6.0)
    steps = np.abs(np.diff(values))
    finest = float(np.min(steps[steps > 0.0], initial=np.inf))
    return max(bent, finest / np.sqrt(12.0)) if np.isfinite(finest) else 0.0
