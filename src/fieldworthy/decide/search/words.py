"""What a search changes, in the words of a person: one sentence each."""

from __future__ import annotations

from collections.abc import Sequence

from fieldworthy.decide.change import value_change
from fieldworthy.decide.search.space import Variable
from fieldworthy.decide.search.wanted import HOURS
from fieldworthy.files.document import KeyPath
from fieldworthy.robot import Loaded
from fieldworthy.robot.words import named
from fieldworthy.units import often

_TOLD = 3  # findings that are named
_OPTIONS = 6  # of a choice that are named


def sentence(now: Loaded, variable: Variable, value: float) -> str:
    """What one change of a candidate is."""
    before, after = variable.text(variable.now), variable.text(value)
    path = variable.paths[0]
    if path[0] == "plan":
        return _of_plan(path, variable, before, after)
    if variable.quantity is not None:
        entries = dict(now.quantities)
        twins = [(p, entries[p], s) for p, s in zip(variable.paths[1:], variable.signs[1:], strict=True)]
        return f"{value_change(now.robot, (path, variable.quantity), (after, value), 0.0, twins).sentence}."
    if variable.key == "drive.wheels":
        return _of_wheels(variable, value)
    name = named(now.robot, path)
    if variable.sort == "thing":
        return f"Leave out {name.of()}."
    if variable.sort == "tank":
        return f"Put cylinder '{path[-2]}' on tank '{after}', not on '{before}'."
    if variable.sort == "latch":
        return f"Give {name.of()} a latch." if after == "true" else f"Take the latch of {name.of()} away."
    if variable.sort == "class":
        what = name.of() if path[-1] in ("cylinder", "tank") else name.whole()
        return f"Use '{after}' as {what}, in place of '{before}'."
    if path[-1] == "count":
        return f"Fit {name.of()} {often(int(after))}, not {often(int(before))}."
    if path[-2] == "teeth":
        which = ("first", "second")[int(path[-1])]
        return f"Use {after} teeth on the {which} sprocket of {named(now.robot, path[:-2]).whole()}, not {before}."
    return f"Use {after} {name.whole().removeprefix('the ')}, not {before}."


def range_of(now: Loaded, variable: Variable) -> str:
    """What may vary, within what, and how it is now."""
    path = variable.paths[0]
    name = named(now.robot, path) if path[0] != "plan" else None
    if name is None:
        what = variable.key
    elif variable.sort == "thing":
        what = f"with or without {name.of()}"
    elif variable.key == "drive.wheels":
        what = "the class of the drive wheels"
    elif variable.is_number:
        what = name.along([named(now.robot, other) for other in variable.paths[1:]])
    else:
        what = name.whole()
    many = len(variable.options)
    within = variable.range_text() if many <= _OPTIONS or variable.ordered else f"one of {many} choices"
    return f"{what[0].upper()}{what[1:]}: {within}; now {variable.text(variable.now)}."


def _of_wheels(variable: Variable, value: float) -> str:
    """Which classes of drive wheels take the place of which."""
    was, then = (variable.options[int(at)].values for at in (variable.now, value))
    pairs = dict.fromkeys(pair for pair in zip(was, then, strict=True) if pair[0] != pair[1])
    told = [f"'{after}' in place of '{before}'" for before, after in pairs]
    return f"Fit drive wheels {' and '.join(told)}."


def _of_plan(path: KeyPath, variable: Variable, before: str, after: str) -> str:
    """A change of the plan: how often a list is gone through, where a step is done, when the finish begins."""
    places = [int(key) + 1 for key in path if isinstance(key, int)]
    where = f"of the {path[1]} plan"
    if path[-1] == "reserve":
        return f"Leave for the finish {after} before the end, not {before}."
    if path[-1] == "start":
        return f"Start at '{after}', not at '{before}'."
    if variable.sort == "count":
        return f"Go through list {places[0] if places else 1} {where} {often(int(after))}, not {often(int(before))}."
    step = "step " + ".".join(str(place) for place in places)
    return f"Do {step} {where} at '{after}', not at '{before}'."


def needed_for(names: Sequence[str]) -> str:
    """What would not hold without a change."""
    told = list(dict.fromkeys(names))
    if told == [HOURS[0]]:
        return "needed so that the work fits into the hours left"
    more = f" and {len(told) - _TOLD} more" if len(told) > _TOLD else ""
    listed = ", ".join(told[:_TOLD]) if more else " and ".join(filter(None, [", ".join(told[:-1]), told[-1]]))
    several = len(told) > 1
    return f"needed so that the {'checks' if several else 'check'} {listed}{more} {'hold' if several else 'holds'}"
