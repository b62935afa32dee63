"""The smallest usual cylinder that swings a lift as wanted, and what the next one up buys."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from fieldworthy.checks.finding import Outcome, Real, Say
from fieldworthy.checks.lift import Lifted
from fieldworthy.checks.showing import first
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.sizing import (
    STANDARD_STROKES,
    Candidates,
    Choice,
    Task,
    Trial,
    next_up,
    smallest,
    try_candidates,
)

_BORES, _RODS = (0.010, 0.016, 0.020), (0.004, 0.005, 0.008)  # m; usual small cylinders, common practice, no source
_SOURCES = ("iso8778", "practice")


def size(subject: Subject, at: Lifted) -> Outcome:
    """Choose the usual cylinder that does with the least air, on the nominal numbers.

    Parameters
    ----------
    subject : Subject
        Robot and season, nominal numbers alone [SI].
    at : Lifted
        The lift on those numbers, at the lowest pressure that the plan leaves it [SI].

    Returns
    -------
    Outcome
        A fact: the least force margin of the one that does, or of the best that does not [-].
    """
    trial = try_all(subject, at)
    best = smallest(trial)
    name, count = at.name, at.use.spec.count
    far = [s for s, swing in zip(STANDARD_STROKES, trial.swing, strict=True) if first(swing) < first(at.spec.swing)]
    words = {"name": name, "far": _listed(far)}
    if _place(best.stroke) < 0:
        say = Say(_none_does(len(far)), "", {"margin": (_best_margin(trial, at), "count")}, words)
        return Outcome(f"lift.size.{name}", f"lift {name}", -1.0, None, "ratio", say, sources=_SOURCES)
    reach = f"{{far}} mm stroke{'s' * (len(far) > 1)} cannot reach; " if far else ""
    text = f"For '{{name}}' {reach}{{stroke}} stroke with {{bore}} bore does, margin {{margin}}, "
    text += "{air} of free air a cycle"
    numbers = _chosen(best, count, "")
    for choice, what in zip(next_up(trial, best), ("stroke", "bore"), strict=True):
        if _place(choice.stroke) >= 0:
            text += f"; the next {what} up has margin {{{what}_margin}} for {{{what}_air}}"
            numbers |= _chosen(choice, count, f"{what}_")
    say = Say(text + ".", "", numbers, words)
    return Outcome(f"lift.size.{name}", f"lift {name}", first(best.margin), None, "ratio", say, sources=_SOURCES)


def try_all(subject: Subject, at: Lifted) -> Trial:
    """Try every usual stroke and bore at the lift's own pins.

    Parameters
    ----------
    subject : Subject
        Robot and season, nominal numbers alone [SI].
    at : Lifted
        The lift on those numbers [SI].

    Returns
    -------
    Trial
        Swing, margin and air of each; the load is shared among the cylinders on the valve [SI].

    Notes
    -----
    A cylinder is longer by its stroke alone, as usual ones of one kind are. A longer one than the lift's own cannot be
    made shorter: its swing then begins farther on.
    """
    count = at.use.spec.count
    gauge = max(first(at.gauge), 1.0)
    task = Task(at.spec.swing, gauge, first(subject.p_atm), at.use.efficiency, first(at.spec.friction) / count)
    weights = tuple(replace(w, force=first(w.force) / count) for w in at.arm.weights)
    bands = tuple(replace(b, count=b.count / count) for b in at.arm.bands)
    trials = [try_candidates(at.rocker, _candidates(at, stroke), task, weights, bands) for stroke in STANDARD_STROKES]
    swing, margin, air, fits = (
        np.concatenate([getattr(trial, name) for trial in trials]) for name in ("swing", "margin", "air", "fits")
    )
    return Trial(swing, margin, air, fits)


def _candidates(at: Lifted, stroke: float) -> Candidates:
    """All bores at one stroke: a shorter cylinder gets a longer bracket, so that the arm still lies where it does."""
    closed, own = first(at.rocker.closed), first(at.rocker.stroke)
    kept = closed - stroke if at.pushes else closed + own - 2.0 * stroke
    return Candidates(np.array([stroke]), np.array(_BORES), np.array(_RODS), max(kept, closed - own))


def _none_does(too_short: int) -> str:
    """Say whether it is reach or force that every usual cylinder lacks."""
    tried = "usual cylinders (25, 50 and 75 mm stroke; 10, 16 and 20 mm bore)"
    if too_short == len(STANDARD_STROKES):
        return (
            f"None of the {tried} swings '{{name}}' as far as wanted with its pins where they are: move a pin nearer."
        )
    return (
        f"None of the {tried} swings '{{name}}' as wanted: those that reach are too weak, or have no lever somewhere "
        "on the way (best margin {margin})."
    )


def _best_margin(trial: Trial, at: Lifted) -> float:
    """The best margin among those that reach, or -1."""
    reaching = np.ravel(trial.swing) >= first(at.spec.swing)
    margins = trial.margin.reshape(len(STANDARD_STROKES), len(_BORES))[reaching]
    return float(margins.max()) if margins.size else -1.0


def _listed(strokes: Sequence[float]) -> str:
    texts = [f"{1e3 * s:.0f}" for s in strokes]
    return " and ".join([", ".join(texts[:-1]), texts[-1]] if len(texts) > 1 else texts)


def _place(chosen: npt.NDArray[np.int_]) -> int:
    return int(np.ravel(chosen)[0])


def _chosen(choice: Choice, count: int, prefix: str) -> dict[str, tuple[Real, str]]:
    return {
        f"{prefix}stroke": (STANDARD_STROKES[_place(choice.stroke)], "length"),
        f"{prefix}bore": (_BORES[_place(choice.bore)], "length"),
        f"{prefix}margin": (first(choice.margin), "count"),
        f"{prefix}air": (first(choice.air) * count, "volume"),
    }
