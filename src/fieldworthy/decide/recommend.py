"""What variants can do, where their choice flips, and a few sentences that a team can act on."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.finding import Fact, Finding, Report, name_of
from fieldworthy.engine.system import drains, is_rule
from fieldworthy.match import Runs, play_runs, with_chance
from fieldworthy.match.ability import Contradiction
from fieldworthy.match.components import believed, grouped, middle_95, share_better
from fieldworthy.physics.chance.chance import posterior
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.season import Practice, Step
from fieldworthy.units import chance_text

_ORDER = {"short": 0, "close": 1, "unknown": 2, "holds": 3}
_HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class Ability:
    """Whether a variant can do a task of the season.

    Attributes
    ----------
    variant, task : Names
    can : Whether its mechanisms together can do all that the task needs
    by : Mechanisms that do part of it
    lacks : What no mechanism can do
    planned : Whether an action of its plan is meant to earn the task's points
    """

    variant: str
    task: str
    can: bool
    by: tuple[str, ...]
    lacks: tuple[str, ...]
    planned: bool


def abilities(loaded: Loaded) -> tuple[Ability, ...]:
    """Hold the tasks of the season against the mechanisms of a robot."""
    robot = loaded.nominal
    planned = {robot.actions[name].task for name in planned_actions(loaded)}
    found = []
    for name, task in loaded.nominal_season.tasks.items():
        by = tuple(m for m, mechanism in robot.mechanisms.items() if set(mechanism.can) & set(task.needs))
        able = {what for m in by for what in robot.mechanisms[m].can}
        lacks = tuple(need for need in task.needs if need not in able)
        found.append(Ability(robot.robot, name, not lacks, by, lacks, name in planned))
    return tuple(found)


def planned_actions(loaded: Loaded) -> tuple[str, ...]:
    """List the actions of a robot's plan."""
    plan = loaded.nominal.plan
    if plan is None:
        return ()
    items = [*plan.autonomous, *plan.driven, *plan.finish_steps]
    steps = [s for item in items for s in ((item,) if isinstance(item, Step) else item.repeat)]
    return tuple(dict.fromkeys(step.action for step in steps))


@dataclass(frozen=True, slots=True)
class ChangedFinding:
    """A finding that is judged otherwise, or that only one of two robots has.

    Attributes
    ----------
    variant, id : The robot that is compared with the first, and the finding
    first, then : Worst verdict under this id, of the first robot and of the variant; None where it has no such
        finding
    because : The variant's sentence, or the first's where the variant has none
    check : What it is about, in words
    """

    variant: str
    id: str
    first: str | None
    then: str | None
    because: str
    check: str = ""


def changes(first: Report, variant: Report) -> tuple[ChangedFinding, ...]:
    """List the findings that differ between two robots."""
    before, after = _worst(first), _worst(variant)
    found = []
    for identifier in sorted({*before, *after}):
        old, new = before.get(identifier), after.get(identifier)
        shown = new or old
        was, now = old.verdict if old else None, new.verdict if new else None
        if shown is not None and was != now:
            name = name_of(shown)
            named = f"{name[:1].lower()}{name[1:]}"
            found.append(ChangedFinding(variant.robot, identifier, was, now, shown.because, named))
    return tuple(found)


def _worst(report: Report) -> dict[str, Finding]:
    ranked = sorted(report.findings, key=lambda f: _ORDER[f.verdict], reverse=True)
    return {finding.id: finding for finding in ranked}


@dataclass(frozen=True, slots=True)
class UsedLimit:
    """How much of what the season allows a robot uses.

    Attributes
    ----------
    variant, id, subject : Robot, and the finding that says it
    used, allowed : In `unit`; None where the file does not say enough
    unit : Unit of both
    share : Used of allowed
    """

    variant: str
    id: str
    subject: str
    used: float | None
    allowed: float | None
    unit: str
    share: float | None


def by_rule(used: Sequence[UsedLimit]) -> dict[str, list[UsedLimit]]:
    """What is used of each rule, by the rule in words; by its subject too where a robot has several of one."""
    count = Counter((one.variant, one.id) for one in used)
    several = {identifier for (_, identifier), n in count.items() if n > 1}
    found: dict[str, list[UsedLimit]] = {}
    for one in used:
        found.setdefault(_called(one, one.id in several), []).append(one)
    return found


def _called(used: UsedLimit, several: bool) -> str:
    drained = next((d.words.format(used.subject) for d in drains() if used.id.startswith(d.left)), None)
    rule = used.id.partition(".")[2].replace("_", " ").replace(".", ", ")
    return drained or (f"{rule}, {used.subject}" if several else rule)


def limits(report: Report) -> tuple[UsedLimit, ...]:
    """List what a robot uses of the season's limits."""
    found = sorted((f for f in report.findings if is_rule(f.id)), key=lambda f: (f.id, f.subject))
    rules = [_used(report.robot, f, (f.value, f.limit)) for f in found]
    taken = [
        _used(report.robot, fact, (given.value - fact.value, given.value))
        for drain in drains()
        for fact in report.facts
        for given in found
        if fact.id.startswith(drain.left) and (given.id, given.subject) == (drain.given, fact.subject)
        if given.value is not None and fact.value is not None
    ]
    return (*rules, *taken)


def _used(robot: str, said: Finding | Fact, amounts: tuple[float | None, float | None]) -> UsedLimit:
    used, allowed = amounts
    share = used / allowed if used is not None and allowed else None
    return UsedLimit(robot, said.id, said.subject, used, allowed, said.unit, share)


@dataclass(frozen=True, slots=True)
class Hours:
    """Work still to do on a robot, against the time there is.

    Attributes
    ----------
    variant : Name of the robot
    needed, tolerance : Sum over its mechanisms and the sum's tolerance, taking theirs as independent [h]
    left : Until the next event [h]; None where the file does not say
    enough : Whether the hours suffice; ``perhaps`` where only the tolerance decides it; None where unknown
    unstated : Mechanisms without a build time, taken as finished
    """

    variant: str
    needed: float
    tolerance: float
    left: float | None
    enough: Literal["yes", "perhaps", "no"] | None
    unstated: tuple[str, ...]


def hours(loaded: Loaded) -> Hours:
    """Add up the build hours of a robot."""
    robot = loaded.nominal
    stated = {name: m.build_time for name, m in robot.mechanisms.items() if m.build_time is not None}
    spread = [q.tolerance for path, q in loaded.quantities if path[0] == "mechanisms" and path[-1] == "build_time"]
    needed = sum((float(t) for t in stated.values()), 0.0) / _HOUR
    tolerance = math.hypot(*spread) / _HOUR
    left = None if robot.hours_left is None else float(robot.hours_left) / _HOUR
    unstated = tuple(name for name in robot.mechanisms if name not in stated)
    return Hours(robot.robot, needed, tolerance, left, _enough(needed, tolerance, left), unstated)


def _enough(needed: float, tolerance: float, left: float | None) -> Literal["yes", "perhaps", "no"] | None:
    if left is None:
        return None
    slack = left - needed + 1e-9  # of rounding from one unit to another
    return "no" if slack < -tolerance else "yes" if slack >= tolerance else "perhaps"


_CHANCES = (0.0, 0.25, 0.5, 0.75, 1.0)  # at which the curve is told: points are all but straight in a chance
_REFINED = 2  # times that the crossing is looked at again, closer


@dataclass(frozen=True, slots=True)
class Flip:
    """Where the answer turns.

    Attributes
    ----------
    variant : Name of the robot
    action : Of the variant's actions that the first robot does otherwise or not at all, the one whose chance moves
        the points most; None where there is none
    chance : Chance of success at which both score the same on average; None where no chance from 0 to 1 does that
    practised : What practice says of the chance, its mean; None without counts
    sure : How likely, after the practice counts, the true chance lies on the side where practice has it; None
        without both
    at_never, at_always : Difference in points were the action never, or always, to succeed
    curve : Chance of success and difference in points, from never to always; empty where there is no action
    """

    variant: str
    action: str | None
    chance: float | None
    practised: float | None
    sure: float | None
    at_never: float | None
    at_always: float | None
    curve: tuple[tuple[float, float], ...] = ()

    @property
    def sentence(self) -> str:
        """At which chance of success the answer turns, and how likely it is on which side."""
        if self.action is None:
            return (
                f"{self.variant} does every action of its plan as the first does: no success chance tells them apart."
            )
        if self.chance is None:
            return f"Whatever the success chance of '{self.action}' with {self.variant}, the answer stays the same."
        known = "" if self.practised is None else f" Practice says {100 * self.practised:.0f} %."
        sure = "" if self.sure is None else f" That it lies on this side is {chance_text(self.sure)} likely."
        return (
            f"The answer turns where '{self.action}' with {self.variant} succeeds in {100 * self.chance:.0f} % of the "
            f"tries: there both score the same.{known}{sure}"
        )


def flip_of(first: Loaded, variant: Loaded, played: tuple[Sequence[Runs], Sequence[Runs]], seed: int) -> Flip:
    """Find the chance at which a variant and the first robot score the same."""
    level = float(np.concatenate([runs.points for runs in played[0]]).mean())

    def gap(chance: float, action: str) -> float:
        """Points by which the variant leads at a chance."""
        return _mean(played[1], action, chance, seed) - level

    ends = {a: (gap(0.0, a), gap(1.0, a)) for a in _differing(first, variant)}
    name = variant.nominal.robot
    if not ends:
        return Flip(name, None, None, None, None, None, None)
    action = max(ends, key=lambda a: abs(ends[a][1] - ends[a][0]))
    low, high = ends[action]
    inner = [(c, gap(c, action)) for c in _CHANCES[1:-1]]
    curve = ((0.0, low), *inner, (1.0, high))
    chance = _crossing(curve, lambda c: gap(c, action)) if low * high <= 0 and low != high else None
    return Flip(name, action, chance, *_standing(variant.nominal.actions[action].practice, chance), low, high, curve)


def _crossing(curve: Sequence[tuple[float, float]], gap: Callable[[float], float]) -> float:
    """Where a curve crosses zero: straight between the points about it, which are brought closer."""
    after = next(i for i in range(1, len(curve)) if curve[i - 1][1] * curve[i][1] <= 0.0)
    low, high = curve[after - 1], curve[after]
    for _ in range(_REFINED):
        at = _straight(low, high)
        here = (at, gap(at))
        low, high = (here, high) if (here[1] > 0.0) == (low[1] > 0.0) else (low, here)
    return _straight(low, high)


def _straight(low: tuple[float, float], high: tuple[float, float]) -> float:
    rise = high[1] - low[1]
    return low[0] - low[1] * (high[0] - low[0]) / rise if rise else 0.5 * (low[0] + high[0])


def _mean(played: Sequence[Runs], action: str, chance: float, seed: int) -> float:
    total, begin = 0.0, 0
    for runs in played:
        size = runs.points.size
        again = play_runs(with_chance(runs.setup, action, chance), size, begin=begin, seed=seed, each=runs.each)
        total, begin = total + float(again.points.sum()), begin + size
    return total / begin


def _differing(first: Loaded, variant: Loaded) -> list[str]:
    """Actions of the variant's plan that the first robot does in another way, or not at all."""
    before = {name: first.nominal.actions[name] for name in planned_actions(first)}
    return [name for name in planned_actions(variant) if before.get(name) != variant.nominal.actions[name]]


def _standing(counts: Practice | None, chance: float | None) -> tuple[float | None, float | None]:
    if counts is None:
        return None, None
    belief = posterior(float(counts.successes), float(counts.attempts))
    mean = float(belief.mean)
    if chance is None:
        return mean, None
    below = float(belief.chance_below(chance))
    return mean, 1.0 - below if mean >= chance else below


SURE = 0.9
"""Chance of being truly better from which a choice is recommended; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Side:
    """What of a variant bears on the choice.

    Attributes
    ----------
    name : Of the robot
    points : Of every match
    chances : Of its actions in each draw of what is not known
    time : Hours of work
    cannot : Tasks that its plan counts on and no mechanism can do
    breaks : Season limits that it breaks, a sentence each
    short : Names of the checks that are else short on it, by cause
    doubtful : Names of those likelier to fail than to work, with the chance that it works
    untried : Actions of mechanisms that are not built and were never practised
    lost : Sentences about actions that were never practised and that the checks say cannot be done
    """

    name: str
    points: Array
    chances: Array
    time: Hours
    cannot: Sequence[str]
    breaks: Sequence[str]
    short: Sequence[str]
    doubtful: Sequence[tuple[str, float]] = ()
    untried: Sequence[str] = ()
    lost: Sequence[str] = ()


class Disputed(Protocol):
    """What becomes of a difference if practice is right, or the check; `compare.Dispute`."""

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

    @property
    def right(self) -> Literal["practice", "check"]:
        """What is right then."""


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
        doubts = [*_doubted(sides[free[0]], names[free[0]]), *_untried(sides, free), *_asked(sides, free, disputes[0])]
        return Advice(None, " ".join([*barred, rest, *doubts]))
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
    known = believed(grouped(gaps), np.concatenate([sides[i].chances for i in pair], axis=1))
    low, high = middle_95(known)
    chance = share_better(known)
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
    if chance < SURE:
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
        _stays(sides[best]).strip() or f"Nothing is {'surely ' * bool(sides[best].doubtful)}short on {names[best]}.",
        *_as_it_is(sides[best], sides[other]),
        *_doubted(sides[best], names[best]),
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
        right = f"'{one.action}' {_RIGHT[one.right].format(one.robot)}"
        thing = f"'{one.action}' with {one.robot}"
        counted = f"For {thing} this comparison counts what practice says. " if one.right == "check" else ""
        lead = sign * one.difference
        leader, ends = (sides[best].name, ends) if lead >= 0.0 else (sides[other].name, [-ends[1], -ends[0]])
        told.append(
            f"{counted}If {right}, {leader} leads by {abs(lead):.1f} points"
            f"{' only' if lead >= 0.0 and chance < SURE else ''} ({ends[0]:.1f} to {ends[1]:.1f})."
        )
        if chance < SURE:
            conditions.append(right)
    return (f", unless {' or '.join(conditions)}" if conditions else ""), told


_RIGHT = {"practice": "works with {} as practice says", "check": "fails with {} as the check says"}


def _asked(sides: Sequence[Side], which: Sequence[int], contradictions: Sequence[Contradiction]) -> list[str]:
    """What to ask where practice and the check disagree."""
    names = {sides[i].name for i in which}
    return list(dict.fromkeys(c.sentence for c in contradictions if c.robot in names))


def _untried(sides: Sequence[Side], which: Sequence[int]) -> list[str]:
    """What was never tried because it is not built, and what cannot be done as it is described."""
    told = [sentence for i in which for sentence in sides[i].lost]
    return told + [
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
    back = min(mine, key=lambda gain: sign * gain[2])
    if sign * points <= whole + 0.05 or sign * back[2] >= 0.0:
        share, all_ = f"{sign * points:.1f}", f"{whole:.1f}"
        head = f"All {all_} points" if share == all_ else f"{share} of the {all_} points"
        return [f"{head} come from '{task}'{holder}."]
    takes = f"; '{back[1]}' takes {-sign * back[2]:.1f} of them back"
    return [f"The task '{task}' alone makes {sign * points:.1f} points{holder}{takes}."]


def _stays(side: Side) -> str:
    """What is still short on a variant that can be entered."""
    if not side.short:
        return ""
    return f" Still short on it: {', '.join(side.short)}; 'fieldworthy check' says what to do."


def _as_it_is(best: Side, other: Side) -> list[str]:
    """What less work on the other one might do, where the choice costs work and the other one can be mended."""
    more = best.time.needed - other.time.needed
    if more <= 0.0 or not other.short:
        return []
    checks = "the check that is" if len(other.short) == 1 else "the checks that are"
    mended = (
        f"If {checks} short on it can be mended in less than {more:.2g} h, mend a copy of its file and compare that too"
    )
    return [f"{other.name} is compared as it is. {mended}; 'fieldworthy check' says how."]


def _doubted(side: Side, name: str) -> list[str]:
    """What of a variant is close and likelier to fail than to work."""
    if not side.doubtful:
        return []
    listed = ", ".join(f"{check} ({_percent(chance)} that it works)" for check, chance in side.doubtful)
    many = len(side.doubtful)
    head = f"One check of {name} is" if many == 1 else f"{many} checks of {name} are"
    return [f"{head} likelier to fail than to work: {listed}."]


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
