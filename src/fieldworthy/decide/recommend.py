"""A few sentences that a team can act on, or that say why it cannot choose yet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.decide.features import Hours
from fieldworthy.decide.flip import Flip
from fieldworthy.match.uncertainty import grouped, true_means
from fieldworthy.units import chance_text

_SURE = 0.9
"""Chance of being truly better from which a choice is recommended; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Side:
    """What of a variant bears on the choice.

    Attributes
    ----------
    name : Of the robot
    points : Of every match
    time : Hours of work
    cannot : Tasks that its plan counts on and no mechanism can do
    breaks : Season limits that it breaks, a sentence each
    short : Ids of what else is short on it, by cause
    """

    name: str
    points: Array
    time: Hours
    cannot: Sequence[str]
    breaks: Sequence[str]
    short: Sequence[str]


def recommend(sides: Sequence[Side], flips: Sequence[Flip], gains: Sequence[tuple[str, str, float, str]]) -> str:
    """Recommend one of several variants, or say what stands in the way.

    Notes
    -----
    A variant that breaks a season limit cannot be entered and is not recommended. A choice needs a chance of nine in
    ten that the true mean of the best is the higher one, over what is not known of the robots.
    """
    barred = [f"{_named(sides, i)} cannot be entered: {' '.join(s.breaks)}" for i, s in enumerate(sides) if s.breaks]
    free = [i for i, s in enumerate(sides) if not s.breaks]
    if not free:
        return " ".join([*barred, "Mend that first, then compare again."])
    if len(free) == 1:
        rest = f"{_named(sides, free[0])} is the only one of these that can be entered.{_stays(sides[free[0]])}"
        return " ".join([*barred, rest])
    return " ".join([*barred, *_between(sides, free, flips, gains)])


def _between(
    sides: Sequence[Side], free: Sequence[int], flips: Sequence[Flip], gains: Sequence[tuple[str, str, float, str]]
) -> list[str]:
    """Hold the two best of those that can be entered against each other."""
    best, other = sorted(free, key=lambda i: -float(sides[i].points.mean()))[:2]
    gaps = sides[best].points - sides[other].points
    a, b = _named(sides, best), _named(sides, other)
    if not np.any(gaps):
        return [(f"{a} and {b} play the same plan and score the same in every match: nothing in the forecast tells "
                "them apart.")]  # fmt: skip
    known = true_means(grouped(gaps))
    low, high = np.quantile(known, [0.025, 0.975]).tolist() if known.size > 1 else (-np.inf, np.inf)
    chance = float(np.mean(known > 0)) if known.size else 0.5
    lead = (
        f"{a} scores {float(gaps.mean()):.1f} points a match more than {b} (95 % interval {low:.1f} to {high:.1f}, "
        f"over what is not known of the robots); the chance that it is truly better is {_percent(chance)}."
    )
    flip = next((f for i, f in enumerate(flips, 1) if {i, 0} == {best, other}), None)
    why = _source(sides, (best, other), gains)
    if sides[best].cannot:
        return [lead, (f"Its plan counts on what no mechanism of it can do: {', '.join(sides[best].cannot)}. Take that "
                "out of the plan, or build what it lacks, and compare again.")]  # fmt: skip
    if chance < _SURE:
        return [lead, "That is too little to choose by.", *_next(flip)]
    late = _hours(sides[best].time)
    if late:
        return [lead, f"It is not recommended yet: {late}.", _until(sides, free, best)]
    return [
        f"Choose {a}.",
        lead.replace(f"{a} scores", "It scores", 1),
        *why,
        _stays(sides[best]).strip() or f"Nothing is short on {a}.",
        *_turns(flip),
    ]


def _source(sides: Sequence[Side], pair: tuple[int, int], gains: Sequence[tuple[str, str, float, str]]) -> list[str]:
    """Where the difference comes from, where the pair is the first file and a variant."""
    best, other = pair
    if 0 not in pair:
        return []
    variant, sign = (sides[best].name, 1.0) if other == 0 else (sides[other].name, -1.0)
    mine = [g for g in gains if g[0] == variant]
    if not mine:
        return []
    _, task, points, because = mine[0]
    whole = float((sides[best].points - sides[other].points).mean())
    return [f"{sign * points:.1f} of the {whole:.1f} points come from '{task}'{f': {because}' if because else ''}."]


def _stays(side: Side) -> str:
    """What is still short on a variant that can be entered."""
    if not side.short:
        return ""
    return f" Still short on it: {', '.join(side.short)}; 'fieldworthy check' says what to do."


def _turns(flip: Flip | None) -> list[str]:
    if flip is None or flip.action is None or flip.chance is None:
        return []
    at = f"{100 * flip.chance:.0f} % of the tries{_practice(flip)}"
    return [f"The answer would turn if '{flip.action}' with {flip.variant} succeeded in {at}."]


def _practice(flip: Flip) -> str:
    if flip.practised is None:
        return "; it was never practised"
    return f"; practice says {100 * flip.practised:.0f} %"


def _next(flip: Flip | None) -> list[str]:
    """What would settle a choice that is open."""
    if flip is None or flip.action is None:
        return ["Practise and measure what differs between them: more matches on the computer cannot tell."]
    if flip.chance is None:
        return [f"Practise '{flip.action}' with {flip.variant}{_practice(flip)}."]
    return [(f"Practise '{flip.action}' with {flip.variant}: the answer turns at a success chance of "
            f"{100 * flip.chance:.0f} %{_practice(flip)}.")]  # fmt: skip


def _percent(chance: float) -> str:
    return chance_text(chance)


def _named(sides: Sequence[Side], i: int) -> str:
    names = [side.name for side in sides]
    return names[i] if names.count(names[i]) == 1 else f"{names[i]} (file {i + 1})"


def _hours(time: Hours) -> str:
    spread = f" ± {time.tolerance:.1f}" if time.tolerance else ""
    if time.left is None:
        return f"it still needs {time.needed:.1f}{spread} h of work, and the file does not say how many are left" \
            if time.needed else ""  # fmt: skip
    if time.enough == "yes":
        return ""
    word = "may not" if time.enough == "perhaps" else "do not"
    return f"the {time.left:.1f} h left {word} suffice for the {time.needed:.1f}{spread} h it still needs"


def _until(sides: Sequence[Side], free: Sequence[int], best: int) -> str:
    ready = [i for i in free if i != best and not _hours(sides[i].time)]
    if ready:
        return f"Stay with {_named(sides, ready[0])} unless the hours are found."
    return "Find the hours, or shorten the work, before choosing."
