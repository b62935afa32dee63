"""A few sentences that a team can act on, or that say why it cannot choose yet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.decide.features import Hours
from fieldworthy.decide.flip import Flip
from fieldworthy.match.ability import Contradiction
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
    untried : Actions of mechanisms that are not built and were never practised
    """

    name: str
    points: Array
    time: Hours
    cannot: Sequence[str]
    breaks: Sequence[str]
    short: Sequence[str]
    untried: Sequence[str] = ()


class Disputed(Protocol):
    """What becomes of a difference if practice is right; `compare.Dispute`."""

    @property
    def variant(self) -> str:
        """The variant that is held against the first."""

    @property
    def robot(self) -> str:
        """The robot that the dispute is about."""

    @property
    def action(self) -> str:
        """Its action."""

    @property
    def difference(self) -> float:
        """Points of the variant less those of the first."""

    @property
    def interval(self) -> tuple[float, float]:
        """Its 95 % interval."""

    @property
    def chance(self) -> float:
        """That the variant is truly better then."""


@dataclass(frozen=True, slots=True)
class Advice:
    """What a team is told to do.

    Attributes
    ----------
    chosen : The variant to choose; None where none is
    text : A few sentences
    """

    chosen: str | None
    text: str


def recommend(
    sides: Sequence[Side],
    flips: Sequence[Flip],
    gains: Sequence[tuple[str, str, float, str]],
    disputes: tuple[Sequence[Contradiction], Sequence[Disputed]] = ((), ()),
) -> Advice:
    """Recommend one of several variants, or say what stands in the way.

    Notes
    -----
    A variant that breaks a season limit cannot be entered and is not recommended. A choice needs a chance of nine in
    ten that the true mean of the best is the higher one, over what is not known of the robots.
    """
    names = _names(sides)
    barred = [f"{names[i]} cannot be entered: {' '.join(s.breaks)}" for i, s in enumerate(sides) if s.breaks]
    free = [i for i, s in enumerate(sides) if not s.breaks]
    if not free:
        return Advice(None, " ".join([*barred, "Mend that first, then compare again."]))
    if len(free) == 1:
        rest = f"{names[free[0]]} is the only one of these that can be entered.{_stays(sides[free[0]])}"
        return Advice(None, " ".join([*barred, rest, *_untried(sides, free), *_asked(sides, free, disputes[0])]))
    chosen, told = _between(sides, free, (flips, gains), disputes)
    return Advice(chosen, " ".join([*barred, *told]))


def _between(
    sides: Sequence[Side],
    free: Sequence[int],
    found: tuple[Sequence[Flip], Sequence[tuple[str, str, float, str]]],
    disputes: tuple[Sequence[Contradiction], Sequence[Disputed]],
) -> tuple[str | None, list[str]]:
    """Hold the two best of those that can be entered against each other."""
    best, other = pair = sorted(free, key=lambda i: -float(sides[i].points.mean()))[:2]
    gaps, names = sides[best].points - sides[other].points, _names(sides)
    if not np.any(gaps):
        first, second = (names[i] for i in sorted(pair))
        same = f"{first} and {second} play the same plan and score the same in every match"
        return None, [f"{same}: nothing in the forecast tells them apart."]
    known = true_means(grouped(gaps))
    low, high = np.quantile(known, [0.025, 0.975]).tolist() if known.size > 1 else (-np.inf, np.inf)
    chance = float(np.mean(known > 0)) if known.size else 0.5
    lead = (
        f"{names[best]} scores {float(gaps.mean()):.1f} points a match more than {names[other]} (95 % interval "
        f"{low:.1f} to {high:.1f}, over what is not known of the robots); the chance that it is truly better is "
        f"{_percent(chance)}."
    )
    flip = next((f for i, f in enumerate(found[0], 1) if {i, 0} == {best, other}), None)
    rests = [*_untried(sides, pair), *_asked(sides, pair, disputes[0])]
    if sides[best].cannot:
        lacks = f"Its plan counts on what no mechanism of it can do: {', '.join(sides[best].cannot)}."
        return None, [lead, lacks, "Take that out of the plan, or build what it lacks, and compare again."]
    if chance < _SURE:
        return None, [lead, "That is too little to choose by.", *rests, *_next(flip)]
    late = _hours(sides[best].time)
    if late:
        return None, [lead, f"It is not recommended yet: {late}.", _until(sides, free, best), *rests]
    open_, told = _if_practice_is_right(sides, (best, other), disputes[1])
    return sides[best].name, [
        f"Choose {names[best]}{open_}.",
        lead.replace(f"{names[best]} scores", "It scores", 1),
        *_source(sides, (best, other), found[1]),
        *rests,
        *told,
        _stays(sides[best]).strip() or f"Nothing is short on {names[best]}.",
        *_turns(flip),
    ]


def _if_practice_is_right(
    sides: Sequence[Side], pair: tuple[int, int], disputes: Sequence[Disputed]
) -> tuple[str, list[str]]:
    """What becomes of the lead where practice and the check disagree: a condition on the choice, and why."""
    best, other = pair
    if 0 not in pair:
        return "", []
    variant, sign = (sides[best].name, 1.0) if other == 0 else (sides[other].name, -1.0)
    conditions, told = list[str](), list[str]()
    for one in (d for d in disputes if d.variant == variant):
        ends = sorted(sign * end for end in one.interval)
        chance = one.chance if sign > 0 else 1.0 - one.chance
        lead = (
            f"If practice is right about '{one.action}' with {one.robot}, {sides[best].name} leads by "
            f"{sign * one.difference:.1f} points only ({ends[0]:.1f} to {ends[1]:.1f})."
        )
        told.append(lead if sign * one.difference > 0 else lead.replace(" only", ""))
        if chance < _SURE:
            conditions.append(f"'{one.action}' with {one.robot}")
    return (f", unless practice is right about {' and '.join(conditions)}" if conditions else ""), told


def _asked(sides: Sequence[Side], which: Sequence[int], contradictions: Sequence[Contradiction]) -> list[str]:
    """What to ask where practice and the check disagree."""
    names = {sides[i].name for i in which}
    return list(dict.fromkeys(c.sentence for c in contradictions if c.robot in names))


def _untried(sides: Sequence[Side], which: Sequence[int]) -> list[str]:
    """What was never tried because it is not built."""
    return [
        f"With {sides[i].name} '{action}' was never practised and its mechanism is not built: any chance from 0 to "
        "100 % is taken as equally likely."
        for i in which
        for action in sides[i].untried
    ]


def _names(sides: Sequence[Side]) -> list[str]:
    names = [side.name for side in sides]
    return [n if names.count(n) == 1 else f"{n} (file {i})" for i, n in enumerate(names, 1)]


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
    holder = f": with {variant} {because}" if because else ""
    return [f"{sign * points:.1f} of the {whole:.1f} points come from '{task}'{holder}."]


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
        return f"Stay with {_names(sides)[ready[0]]} unless the hours are found."
    return "Find the hours, or shorten the work, before choosing."
