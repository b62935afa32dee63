"""What becomes of a robot when several remedies are made at once: whether they go together, and what they then do."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from pydantic import TypeAdapter

from fieldworthy.decide.change import GONE, Change, Edit, Key, holds, whole, with_value
from fieldworthy.decide.recommend import Hours, hours
from fieldworthy.decide.remedy import (
    Breakage,
    FoundRemedies,
    LookedFor,
    Remedy,
    broken,
    key_of,
    remedies_data,
    remedies_schema,
)
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.engine.finding import VERDICTS, Cause, Outcome, Report, check_named, first, name_of
from fieldworthy.engine.system import is_rule
from fieldworthy.files.declare import Spec
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.words import value_at
from fieldworthy.units import counted, digits

LEAST_HOURS = 0.5
"""No remedy is reckoned with less."""
Why = Literal["hours", "clash", "none"]


@dataclass(frozen=True, slots=True)
class Made:
    """A remedy that is made.

    Attributes
    ----------
    cause : Which cause it is for, counted from 1
    remedy : What is done
    """

    cause: int
    remedy: Remedy

    @property
    def hours(self) -> float:
        """What it takes, about."""
        return max(self.remedy.hours, LEAST_HOURS)


@dataclass(frozen=True, slots=True)
class Together:
    """Remedies that fit into the hours, made at once.

    Attributes
    ----------
    made : In the order in which they were taken: what costs most points first
    hours, room : What they take, and what is left for them; None where the file does not say
    spared : Causes that the remedies of others mend
    out : Causes that are left out, and why: no hours left for it, it cannot be made with the others, or none was found
    unmended : Causes that stay short though their remedy is made
    breaks : What holds now and would be short then
    rules : How what the event limits changes, a sentence each
    points : What a match gains; None where no match can be played, or it was not asked
    counts : How many checks have which verdict then; empty where that was not asked
    """

    made: tuple[Made, ...]
    hours: float
    room: float | None
    spared: tuple[int, ...] = ()
    out: tuple[tuple[int, Why], ...] = ()
    unmended: tuple[int, ...] = ()
    breaks: tuple[Breakage, ...] = ()
    rules: tuple[str, ...] = ()
    points: float | None = None
    counts: Mapping[str, int] = field(default_factory=dict)

    @property
    def effect(self) -> str:
        """Whether they do together what each should do alone."""
        one = len(self.made) == 1
        said = "Made together they" if not one else "It"
        if self.unmended:
            what = f"do not mend {causes_named(self.unmended)}" if not one else "does not mend it"
        else:
            what = "mend all that they should" if not one else "mends what it should"
        if not self.breaks:
            return f"{said} {what}{' and' if not self.unmended else ', but'} break{'s' * one} nothing else."
        names = dict.fromkeys(check_named(b.id, b.subject) for b in self.breaks)
        return f"{said} {what}, but break{'s' * one} {', '.join(names)}."

    def sentences(self, causes: Sequence[Cause]) -> list[tuple[str, str]]:
        """What to do and what comes of it, each with how its line begins."""
        names = [f"'{name[:1].lower()}{name[1:]}'" for name in (name_of(cause.lead) for cause in causes)]
        each: dict[tuple[Edit, ...], list[Made]] = {}
        for one in self.made:
            each.setdefault(one.remedy.edits, []).append(one)
        said = []
        for place, same in enumerate(each.values(), 1):
            mends = " and ".join(names[one.cause - 1] for one in same)
            said.append(
                (f"{place:2}. ", f"{same[0].remedy.sentence} (mends {mends}; about {digits(same[0].hours, 2)} h).")
            )
        room = (
            "; the file does not say how many are left"
            if self.room is None
            else f" of the {digits(self.room, 2)} h left"
        )
        said.append(("", f"That takes about {digits(self.hours, 2)} h{room}. {self.effect}{self._afterwards}"))
        if self.spared:
            spared = ", ".join(names[i - 1] for i in self.spared)
            said.append(("", f"No remedy of their own is needed for {spared}: those above mend them."))
        for i, why in self.out:
            said.append(("", f"Left out: {names[i - 1]}, {_WHY[why]}."))
        said += [("", f"{b.because}") for b in self.breaks]
        weigh = "New parts are not in the parts list of the file yet: weigh and measure them."
        rules = "; ".join(self.rules)
        held = (
            f"{rules[:1].upper()}{rules[1:]}."
            if rules
            else "What the event limits, such as mass and size, stays as the file has it."
        )
        said.append(("", f"{held} {weigh}"))
        return said

    @property
    def _afterwards(self) -> str:
        """How many checks are short then, and what a match gains."""
        said = ""
        if self.counts:
            short = self.counts["short"]
            many = f"{counted(short, 'check')} {'is' if short == 1 else 'are'}" if short else "no check is"
            said = f" Then {many} short, {self.counts['close']} close, and {self.counts['holds']} hold."
        if self.points is not None:
            gain = f"{abs(self.points):.0f}"
            more = "more" if self.points > 0 else "fewer"
            even = abs(self.points) < LEAST_POINTS
            said += (
                " A match brings as many points as now."
                if even
                else f" A match brings {counted(gain, 'point')} {more}."
            )
        return said


_WHY = {
    "hours": "for which no hours are left",
    "clash": "since its remedies change the same things in another way",
    "none": "for which no remedy was found",
}
LEAST_POINTS = 0.5
"""Points a match from which they are told in whole ones."""


def hours_for(looked: LookedFor) -> Hours:
    """Say how many hours are left, and how many of them the building takes."""
    return hours(looked.evaluator.loaded)


def causes_named(found: Sequence[int]) -> str:
    """Causes by their numbers."""
    if len(found) == 1:
        return f"cause {found[0]}"
    if len(found) > 2 and found[-1] - found[0] == len(found) - 1:  # in a row
        return f"causes {found[0]} to {found[-1]}"
    return f"causes {', '.join(map(str, found[:-1]))} and {found[-1]}"


def combined(base: Spec, changes: Sequence[Change]) -> Change | None:
    """Make several changes at once; None where two of them want different things of the same place."""
    robot: Any = base
    taken: dict[KeyPath, str] = {}
    moved: dict[KeyPath, float] = {}
    for change in changes:
        for edit in change.edits:
            if any(_clash((edit.path, edit.after), other) for other in taken.items()):
                return None
            taken[edit.path] = edit.after
            if edit.path not in change.moved:
                value = value_at(change.robot, edit.path) if edit.after else GONE
                robot = with_value(robot, edit.path, value)
        for section in type(robot.catalogue).model_fields:  # a change may use a class that the file does not name yet
            known = {**getattr(robot.catalogue, section), **getattr(value_at(change.robot, ("catalogue",)), section)}
            robot = with_value(robot, ("catalogue", section), known)
        moved |= change.moved
    edits = tuple(dict.fromkeys(edit for change in changes for edit in change.edits))
    return Change("pair", edits, "", sum(change.effort for change in changes), robot, moved)


def _clash(one: tuple[KeyPath, str], other: tuple[KeyPath, str]) -> bool:
    """Whether two edits want different things of one place, or one of them of a place within the other's."""
    (path, after), (taken, before) = one, other
    inside = path[: len(taken)] == taken or taken[: len(path)] == path
    return inside and (path != taken or after != before)


class _Trial:
    """The robot with some remedies made."""

    def __init__(self, looked: LookedFor, causes: Sequence[Cause]) -> None:
        self._looked, bench = looked, looked.evaluator
        self._groups = [[key_of(bench, finding) for finding in cause.findings] for cause in causes]

    def change(self, made: Sequence[Made]) -> Change | None:
        """All of them as one change; None where they clash."""
        changes = [self._looked.changes[one.remedy.edits] for one in made]
        return combined(self._looked.evaluator.loaded.robot, changes)

    def said(self, change: Change) -> dict[Key, Outcome]:
        """What the checks say of the changed robot."""
        return self._looked.evaluator.single(change.robot, change.moved)

    def mended(self, said: Mapping[Key, Outcome]) -> set[int]:
        """The causes that are gone."""
        return {i for i, group in enumerate(self._groups, 1) if all(holds(said.get(key)) for key in group)}

    def breaks(self, said: Mapping[Key, Outcome]) -> tuple[Breakage, ...]:
        """What holds now, and not then."""
        return tuple(broken(self._looked.evaluator, said))

    def rules(self, said: Mapping[Key, Outcome]) -> tuple[str, ...]:
        """How what the event limits changes."""
        bench, found = self._looked.evaluator, []
        for key, outcome in said.items():
            before = bench.now.get(key)
            if not is_rule(outcome.id) or before is None or outcome.missing or outcome.limit is None:
                continue
            was, now, allowed = (
                bench.shown.number(si, outcome.kind) for si in (before.value, outcome.value, outcome.limit)
            )
            if was != now and abs(first(outcome.value) - first(before.value)) > 1e-3 * abs(first(outcome.limit)):
                name = check_named(outcome.id, outcome.subject).removeprefix("the check ")
                found.append(f"{name} goes from {was} to {now}; {allowed} is allowed")
        return tuple(found)


def together(looked: LookedFor, report: Report, worth: Sequence[float], *, thorough: bool = True) -> Together | None:
    """Make at once the remedies that fit into the hours, dearest cause first; None where there is none.

    Attributes
    ----------
    worth : What each cause costs in points
    thorough : Whether to try another remedy of a cause where the first does not go with the others, to spare those of
        causes that are mended already, and to sample and play what comes out
    """
    time = hours_for(looked)
    room = None if time.left is None else max(time.left - time.needed, 0.0)
    trial, taken = _Trial(looked, report.causes), list[Made]()
    spared, out, spent = list[int](), list[tuple[int, Why]](), 0.0
    said: dict[Key, Outcome] = {}
    for i in sorted(range(1, len(report.causes) + 1), key=lambda i: -worth[i - 1]):
        if thorough and taken and i in trial.mended(said):
            spared.append(i)
            continue
        lead = report.causes[i - 1].lead
        listed = next((m.remedies for m in looked.found if (m.id, m.subject) == (lead.id, lead.subject)), ())
        added, why = _added(trial, (taken, said), [Made(i, one) for one in listed], room, thorough=thorough)
        if added is None:
            out.append((i, why))
            continue
        one, said = added
        if all(one.remedy.edits != other.remedy.edits for other in taken):
            spent += one.hours
        taken.append(one)
    if not taken:
        return None
    change = trial.change(taken)
    assert change is not None, "what clashes was not taken"
    said = said or trial.said(change)
    mended = trial.mended(said)
    unmended = tuple(sorted(one.cause for one in taken if one.cause not in mended))
    found = Together(
        tuple(taken), spent, room, tuple(sorted(i for i in spared if i in mended)), tuple(sorted(out)), unmended,
        trial.breaks(said), trial.rules(said),
    )  # fmt: skip
    return _weighed(looked, found, change) if thorough else found


def _added(
    trial: _Trial, so_far: tuple[Sequence[Made], Mapping[Key, Outcome]], choices: Sequence[Made], room: float | None,
    *, thorough: bool,
) -> tuple[tuple[Made, dict[Key, Outcome]] | None, Why]:  # fmt: skip
    """The first of a cause's remedies that goes with those taken; of several the one that breaks least."""
    taken, before = so_far
    why: Why = "none"
    best: tuple[Made, dict[Key, Outcome]] | None = None
    least = 0
    for one in choices:
        done = any(one.remedy.edits == other.remedy.edits for other in taken)
        spent = sum({other.remedy.edits: other.hours for other in taken}.values())
        if not done and room is not None and spent + one.hours > room + 1e-9:
            why = "hours"
            continue
        change = trial.change([*taken, one])
        if change is None:
            why = "clash" if why == "none" else why
            continue
        if not thorough:
            return (one, {}), why
        said = trial.said(change)
        wanted = {other.cause for other in (*taken, one)}
        bad = len(wanted - trial.mended(said)) + len(trial.breaks(said))
        if best is None or bad < least:
            best, least = (one, said), bad
        if bad <= len({o.cause for o in taken} - trial.mended(before)) + len(trial.breaks(before)) * bool(taken):
            break
    return best, why


def _weighed(looked: LookedFor, found: Together, change: Change) -> Together:
    """Sample the changed robot, and play it."""
    loaded = dataclasses.replace(looked.evaluator.loaded, robot=whole(change))
    report = evaluate(loaded)
    points = None if looked.pay is None else looked.pay.gained(change)
    return dataclasses.replace(found, points=points, counts={v: len(report.of(v)) for v in VERDICTS})


def all_remedies_data(mendings: Sequence[FoundRemedies], found: Together | None) -> dict[str, Any]:
    """Turn remedies, and what they do together, into plain data."""
    return remedies_data(mendings) | {"together": None if found is None else dataclasses.asdict(found)}


def with_remedies(schema: dict[str, Any]) -> dict[str, Any]:
    """Add the key ``remedies`` to the schema of a report."""
    added = remedies_schema()
    both = TypeAdapter(Together | None).json_schema(mode="serialization", ref_template="#/$defs/{model}")
    definitions = {**added["properties"]["findings"].pop("$defs"), **both.pop("$defs")}
    told = "what the remedies do that fit into the hours, made at once; null where there is none"
    added["properties"]["together"] = both | {"description": told}
    properties = {**schema["properties"], "remedies": added}
    return {**schema, "properties": properties, "$defs": {**schema.get("$defs", {}), **definitions}}
