"""Two sentences that a team can act on, or that say why it cannot yet."""

from __future__ import annotations

from collections.abc import Sequence

from fieldworthy.decide.features import Hours
from fieldworthy.decide.flip import Flip
from fieldworthy.match.layout import Array
from fieldworthy.physics.chance.chance import mean_interval

_SURE = 0.95


def recommend(
    names: Sequence[str],
    points: Sequence[Array],
    times: Sequence[Hours],
    flips: Sequence[Flip],
    cannot: Sequence[Sequence[str]],
) -> str:
    """Recommend one of several variants.

    Notes
    -----
    The evidence is too thin where the interval of the paired difference between the two best includes 0, where the
    hours of the best do not surely suffice, or where practice leaves more than 5 % for the other side of the flip.
    """
    order = sorted(range(len(names)), key=lambda i: -float(points[i].mean()))
    best, next_best = order[0], order[1]
    middle, low, high = (float(x) for x in mean_interval(points[best] - points[next_best]))
    lead = f"{_named(names, best)} scores {middle:.1f} points more than {_named(names, next_best)} on average"
    span = f"(95 % interval {low:.1f} to {high:.1f})"
    if low <= 0.0 <= high:
        return (
            f"The evidence is too thin to choose: the two best differ by {middle:.1f} points {span}. "
            "Play more runs, and practise the actions that differ, before hours go into a change."
        )
    if cannot[best]:
        return (
            f"{lead} {span}, but its plan counts on what no mechanism of it can do: {', '.join(cannot[best])}. "
            "Take that out of the plan, or build what it lacks, and compare again."
        )
    late = _hours(times[best])
    if late:
        return f"{lead} {span}, but the evidence is too thin to recommend it: {late}. {_until(names, best, times)}"
    open_ = next((f for i, f in enumerate(flips, 1) if {i, 0} == {best, next_best}), None)
    if open_ and open_.chance is not None and (open_.sure is None or open_.sure < _SURE):
        return f"{lead} {span}, but the evidence is too thin to choose by it. {_practise(open_)}"
    return f"Choose {_named(names, best)}. It scores {middle:.1f} points more than {_named(names, next_best)} {span}."


def _named(names: Sequence[str], i: int) -> str:
    return names[i] if names.count(names[i]) == 1 else f"{names[i]} (file {i + 1})"


def _hours(time: Hours) -> str:
    spread = f" ± {time.tolerance:.1f}" if time.tolerance else ""
    if time.left is None:
        return (
            f"it still needs {time.needed:.1f}{spread} h of work and 'hours_left' is not given" if time.needed else ""
        )
    if time.enough == "yes":
        return ""
    word = "may not" if time.enough == "perhaps" else "do not"
    return f"the {time.left:.1f} h left {word} suffice for the {time.needed:.1f}{spread} h it still needs"


def _until(names: Sequence[str], best: int, times: Sequence[Hours]) -> str:
    ready = [i for i in range(len(names)) if i != best and not _hours(times[i])]
    if ready:
        return f"Stay with {_named(names, ready[0])} unless the hours are found."
    return "Find the hours, or shorten the work, before choosing."


def _practise(flip: Flip) -> str:
    known = (
        "has no practice counts" if flip.practised is None else f"stands at {100 * flip.practised:.0f} % in practice"
    )
    return (
        f"Practise '{flip.action}' with {flip.variant}: the answer turns at a success chance of "
        f"{100 * (flip.chance or 0.0):.0f} %, and it {known}."
    )
