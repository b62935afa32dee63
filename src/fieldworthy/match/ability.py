"""Whether the mechanisms can do what the plan asks of them, in each draw of what is not known."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.evaluate import Cases, run
from fieldworthy.engine.finding import Outcome, check_named, first
from fieldworthy.engine.system import Cost, consequences, systems
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.machine import Mechanism
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season, Step
from fieldworthy.units import counted, digits


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Practice and physics disagree about an action.

    Attributes
    ----------
    robot, action, finding : Names
    successes, attempts : Of practice
    chance : Share of the robots that the tolerances allow on which the finding, and all of `others`, holds
    question : The one question that settles it
    others : Further findings that say so and follow from none that is named
    checks : All of these in words
    """

    robot: str
    action: str
    finding: str
    successes: int
    attempts: int
    chance: float
    question: str
    others: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """What disagrees, and what to ask."""
        can = "no robot" if self.chance < 0.01 else f"only {100 * self.chance:.0f} % of the robots"
        return (
            f"{self.robot}: in practice '{self.action}' worked {self.successes} of "
            f"{counted(self.attempts, 'time')}; by {' and '.join(self.checks)} {can} within the tolerances can do it "
            f"when the plan gets there. {self.question}"
        )


@dataclass(frozen=True, slots=True)
class Loss:
    """What a mechanism's failing costs an action that no practice counts, or that practice does not hold.

    Attributes
    ----------
    robot, action, finding : Names
    share : Of the tries that are lost by it, over the robots that the tolerances allow
    part : Share of the tries in which it matters; None where the file does not say, and then none is lost
    told_by : What of the file says so; empty where it matters in every try
    check : The finding in words
    """

    robot: str
    action: str
    finding: str
    share: float
    part: float | None = 1.0
    told_by: str = ""
    check: str = ""

    @property
    def sentence(self) -> str:
        """What is lost, and why that is not left to practice."""
        if self.part is None:
            return (
                f"{self.robot}: where a rival pulls, '{self.action}' loses {digits(100 * self.share, 2)} % of its "
                f"tries by {self.check}. The file does not say how often a rival pulls ({self.told_by}), so the "
                "forecast counts none."
            )
        if self.told_by:
            return (
                f"{self.robot}: a rival pulls in {digits(100 * self.part, 2)} % of the tries of '{self.action}' "
                f"({self.told_by}): {digits(100 * self.share, 2)} % of all are lost by {self.check}, on top of "
                "what practice counts."
            )
        return (
            f"{self.robot}: '{self.action}' was never practised, so the forecast takes what is computed: "
            f"{digits(100 * self.share, 2)} % of its tries are lost by {self.check}."
        )


@dataclass(frozen=True, slots=True)
class Ability:
    """What stands against an action in a batch of cases.

    Attributes
    ----------
    can : By action, the share of tries that its mechanisms do not spoil in each case: 0 where one cannot do it at all
    contradictions : Where practice says that it works and a finding that it cannot
    losses : What failing mechanisms cost actions that were never practised, and what comes on top of practice
    """

    can: dict[str, Array]
    contradictions: tuple[Contradiction, ...]
    losses: tuple[Loss, ...] = ()

    def hopeless(self, actions: Sequence[str]) -> tuple[Loss, ...]:
        """What takes nearly every try of some actions."""
        return tuple(one for one in self.losses if one.share > _HOPELESS and one.part and one.action in actions)


def mechanisms_for(robot: Robot, season: Season, action: str) -> tuple[str, ...]:
    """Name the mechanisms that do part of what an action's task needs, as the robot file names them."""
    judged = set(judged_for(robot, season, action))
    return tuple(name for name, mechanism in robot.mechanisms.items() if judged & set(mechanism.judged_as(name)))


def judged_for(robot: Robot, season: Season, action: str) -> tuple[str, ...]:
    """Name them as findings do: a tool that does two things is judged twice."""
    task = robot.actions[action].task
    if task is None or task not in season.tasks:
        return ()
    needs = set(season.tasks[task].needs)
    return tuple(
        label
        for name, mechanism in robot.mechanisms.items()
        for label, can in mechanism.judged_as(name).items()
        if set(can) & needs
    )


def able(loaded: Loaded, cases: Cases, actions: Sequence[str]) -> dict[str, Array]:
    """Say in which cases actions can be done; what practice shows working is not looked at."""
    stands = against(loaded.nominal, loaded.nominal_season)
    return ability(loaded, cases).can if any(stands.get(action) for action in actions) else {}


def _worked(robot: Robot, action: str) -> bool:
    practice = robot.actions[action].practice
    return practice is not None and practice.successes > 0


def ability(loaded: Loaded, cases: Cases) -> Ability:
    """Judge every action of a robot by the findings that its mechanisms cannot do without.

    An action that practice shows working is not held back; the contradiction is named instead.
    """
    robot, season = loaded.nominal, loaded.nominal_season
    found, follows = {o.id: o for o in run(loaded, cases, families=_judging(robot))}, consequences(robot)
    can: dict[str, Array] = {}
    contradictions, losses = list[Contradiction](), list[Loss]()
    for name in robot.actions:
        costs = list(costs_of(robot, season, name))
        if _worked(robot, name):
            usual = [cost for cost in costs if not cost.told_by]
            doubted = {i: (left, found[i].subject) for i, left in left_by(usual, found, cases.size)}
            disputed = _disputed(robot, name, doubted, follows, cases)
            contradictions += [disputed] if disputed is not None else []
            costs = [cost for cost in costs if cost.told_by]
        if costs or not _worked(robot, name):
            can[name] = share_left(costs, found, cases.size)
        lost = [loss for cost in costs for loss in _lost(robot.robot, name, cost, found, cases)]
        ids = {loss.finding for loss in lost}
        losses += [loss for loss in lost if not ids & set(follows.get(loss.finding, ()))]
    return Ability(can, tuple(contradictions), tuple(losses))


def _lost(robot: str, action: str, cost: Cost, found: Mapping[str, Outcome], cases: Cases) -> Iterator[Loss]:
    """What one failing costs an action; where it is not said how often it matters, what it costs where it does."""
    every = replace(cost, part=1.0) if cost.part is None else cost
    for identifier, left in left_by([every], found, cases.size):
        lost = 1.0 - _mean(left, cases)
        if lost >= _TOLD:
            check = check_named(identifier, found[identifier].subject)
            yield Loss(robot, action, identifier, lost, cost.part, cost.told_by, check)


def spoiled_by(loaded: Loaded, cases: Cases, action: str) -> str | None:
    """Name the finding that takes most tries of an action, of what its task needs and of what its cylinders move."""
    robot, season = loaded.nominal, loaded.nominal_season
    strokes, needed = set(robot.actions[action].strokes), _required(robot)
    moved = [n for n, mechanism in robot.mechanisms.items() if strokes & set(_cylinders(mechanism))]
    labels = dict.fromkeys(label for name in moved for label in robot.mechanisms[name].judged_as(name))
    costs = dict.fromkeys([*costs_of(robot, season, action), *(c for label in labels for c in needed.get(label, ()))])
    found = {o.id: o for o in run(loaded, cases, families=_judging(robot))}
    usual = [cost for cost in costs if not cost.told_by]
    lost = {identifier: 1.0 - _mean(left, cases) for identifier, left in left_by(usual, found, cases.size)}
    follows = consequences(robot)
    roots = [
        one for one in lost if lost[one] > max((2.0 * lost.get(s, 0.0) for s in follows.get(one, ())), default=_TOLD)
    ]
    # what fails in the same cases is named by the first of its checks, which looks nearer to the cause
    return max(roots, key=lambda one: round(lost[one], 2), default=None)


def _cylinders(mechanism: Mechanism) -> Iterator[str]:
    """The cylinders that a mechanism names, itself or in a part of it."""
    for part in (mechanism, *(getattr(mechanism, f.name) for f in fields(mechanism))):
        name = getattr(part, "cylinder", None)
        if isinstance(name, str):
            yield name


def _judging(robot: Robot) -> frozenset[str]:
    """The families of the findings that can stand against an action of a robot; none leaves every check out."""
    needed = (cost for costs in _required(robot).values() for cost in costs)
    others = (cost for system in systems() for cost in system.costs(robot))
    return frozenset(cost.id.partition(".")[0] for cost in (*needed, *others)) or frozenset(("no action needs any",))


def _mean(left: Array, cases: Cases) -> float:
    return float(left[cases.sampled].mean()) if cases.samples else float(left[0])


def _disputed(
    robot: Robot, action: str, left: Mapping[str, tuple[Array, str]], follows: Mapping[str, Sequence[str]], cases: Cases
) -> Contradiction | None:
    """What practice and physics disagree about, once for an action: by findings that follow from no other of these."""
    practice = robot.actions[action].practice
    assert practice is not None, "an action that worked was practised"
    counts = int(practice.successes), int(practice.attempts)
    least = _DOUBTFUL * counts[0] / max(counts[1], 1)
    doubted = {identifier for identifier, (shares, _) in left.items() if _mean(shares, cases) < least}
    roots = sorted(
        (i for i in doubted if not doubted & set(follows.get(i, ()))), key=lambda i: _mean(left[i][0], cases)
    )
    if not roots:
        return None
    chance = _mean(np.prod([left[i][0] for i in roots], axis=0), cases)
    checks = tuple(check_named(i, left[i][1]) for i in roots)
    asked = _question(roots[0])
    return Contradiction(robot.robot, action, roots[0], *counts, chance, asked, tuple(roots[1:]), checks)


def against(robot: Robot, season: Season) -> dict[str, tuple[Cost, ...]]:
    """What can stand against each action, beside what practice counts; those without any are left out."""
    found = {}
    for name in robot.actions:
        costs = [cost for cost in costs_of(robot, season, name) if cost.part is not None]
        found[name] = tuple(cost for cost in costs if cost.told_by or not _worked(robot, name))
    return {name: costs for name, costs in found.items() if costs}


def costs_of(robot: Robot, season: Season, action: str) -> Iterator[Cost]:
    """Which failings cost tries of an action: those that it cannot do without, and those that cost some."""
    done, judged = robot.actions[action], judged_for(robot, season, action)
    needed = _required(robot)
    for label in judged:
        yield from needed.get(label, ())
    for system in systems():
        for cost in system.costs(robot):
            taken = bool(cost.takes) and bool(done.takes) and done.object == cost.takes
            if taken or cost.mechanism in judged:
                yield cost


def share_left(costs: Sequence[Cost], found: Mapping[str, Outcome], size: int) -> Array:
    """The share of tries that failings leave together, in each of a number of cases."""
    whole = np.ones(size)
    for told_by in dict.fromkeys(cost.told_by for cost in costs if cost.part is not None):
        # what one key tells of, a rival's pull, comes once, however many ways it can end badly
        mine = [cost for cost in costs if cost.told_by == told_by and cost.part is not None]
        part = (mine[0].part or 0.0) if told_by else 1.0
        every = [replace(cost, part=1.0) for cost in mine] if told_by else mine
        left = np.prod([np.ones(size), *(one for _, one in left_by(every, found, size))], axis=0)
        whole = whole * (1.0 - part * (1.0 - left))
    return whole


def left_by(costs: Sequence[Cost], found: Mapping[str, Outcome], size: int) -> Iterator[tuple[str, Array]]:
    """The share of tries that each failing leaves, in each of a number of cases."""
    for cost in (cost for cost in costs if cost.part is not None):
        for identifier, outcome in found.items():
            if identifier != cost.id and not identifier.startswith(f"{cost.id}."):
                continue
            if outcome.missing or (outcome.limit is None and not cost.share):
                continue
            works = np.asarray(outcome.margin()) >= 0.0 if not cost.wish else np.asarray(outcome.value) > 0.0
            left = 1.0 - np.clip(outcome.value, 0.0, 1.0) if cost.share else works.astype(float)
            yield identifier, np.broadcast_to(1.0 - (cost.part or 0.0) * (1.0 - left), (size,))


@dataclass(frozen=True, slots=True)
class Stopped:
    """An action of the plan that a failing check stops.

    Attributes
    ----------
    action : Its name
    points : What its tries earn in a match at most, as often as practice says that they work
    successes, attempts : Of practice; both 0 without
    counts : Whether the forecast counts practice all the same
    """

    action: str
    points: float
    successes: int
    attempts: int
    counts: bool

    @property
    def sentence(self) -> str:
        """What is lost, and what practice says against it."""
        works = f"in practice it worked {self.successes} of {counted(self.attempts, 'time')}"
        if self.counts:
            lost = f", up to {counted(f'{self.points:.0f}', 'point')} a match" if self.points >= 0.5 else ""
            return f"'{self.action}' cannot be done so{lost}, but {works}: the forecast counts practice."
        said = f"So '{self.action}' fails"
        if self.points >= 0.5:
            said += f", which costs up to {counted(f'{self.points:.0f}', 'point')} a match"
        return f"{said}; {works}." if self.attempts else f"{said}."


def stopped_by(loaded: Loaded, short: Collection[str]) -> tuple[Stopped, ...]:
    """Which actions of the plan cannot be done with these checks short, the dearest first."""
    robot, season, found = loaded.nominal, loaded.nominal_season, list[Stopped]()
    pressed = tuple(stem for system in systems() for stem in system.pressed)
    for name in planned(robot):
        needed = {c.id for c in costs_of(robot, season, name) if c.certain}
        mine = [one for one in short if one in needed or one.startswith(tuple(f"{n}." for n in needed))]
        if not mine:
            continue
        practice = robot.actions[name].practice
        counts = (0, 0) if practice is None else (int(practice.successes), int(practice.attempts))
        # air that is lacking in the plan is lacking in the forecast too, whatever practice says
        kept = counts[0] > 0 and not any(one.startswith(pressed) for one in mine)
        found.append(Stopped(name, earned_by(robot, season, name), *counts, kept))
    return tuple(sorted(found, key=lambda one: (one.counts, -one.points)))


def earned_by(robot: Robot, season: Season, action: str) -> float:
    """Points a match that the tries of an action of the plan earn at most, working as often as practice says."""
    practice, task = robot.actions[action].practice, robot.actions[action].task
    if task not in season.tasks:
        return 0.0
    scored = season.tasks[task]
    # mean of the uniform prior's belief
    chance = 1.0 if practice is None else (float(practice.successes) + 1.0) / (float(practice.attempts) + 2.0)

    def counting(rounds: float) -> float:
        """How often that many tries count on average at most: the mean of the least is no more than the least mean."""
        works = rounds * chance
        done = works * robot.actions[action].objects if scored.per == "each" else min(works, 1.0)
        return done if scored.most is None else min(done, scored.most)

    alone = planned(robot, alone=True).get(action, 0.0)
    whole = counting(planned(robot).get(action, 0.0))
    return float(whole * scored.points + counting(alone) * scored.autonomous_bonus)


def planned(robot: Robot, *, alone: bool = False) -> dict[str, float]:
    """How often the plan does each action at most, or the robot alone; until a time, as if nothing drove."""
    plan, often = robot.plan, dict[str, float]()
    driven = () if plan is None or alone else (*plan.driven, *plan.finish_steps)
    for item in () if plan is None else (*plan.autonomous, *driven):
        steps, times = ((item,), 1.0) if isinstance(item, Step) else (item.repeat, float(item.times or math.inf))
        if not isinstance(item, Step) and item.until is not None:
            lasts = sum(first(robot.actions[step.action].time) for step in steps)
            times = min(times, math.ceil(first(item.until) / max(lasts, _QUICK)))
        for step in steps:
            often[step.action] = often.get(step.action, 0.0) + times
    return often


_QUICK = 1.0  # s; no round of a plan is shorter
_HOPELESS = 0.9  # share of tries lost from which an action is said not to work at all
_TOLD = 0.005  # share of tries lost of which a forecast speaks
_DOUBTFUL = 0.1
"""Practice and physics are said to disagree where the chance is below this share of what practice shows."""


def _required(robot: Robot) -> dict[str, tuple[Cost, ...]]:
    """What each mechanism cannot do its action without, by the name that findings use."""
    return {
        label: tuple(
            Cost(f"{stem}.{label}", wish=stem in system.wished, mechanism=label, certain=True)
            for stem in (*system.required, *system.wished)
        )
        for system in systems()
        for name, mechanism in robot.mechanisms.items()
        if isinstance(mechanism, system.kinds)
        for label in mechanism.judged_as(name)
    }


def _question(identifier: str) -> str:
    for system in systems():
        asked = next((said for stem, said in system.asks.items() if identifier.startswith(f"{stem}.")), "")
        if asked:
            return asked
    if any(identifier.startswith(system.pressed) for system in systems()):
        return "At what tank pressure was it practised? In the plan the tank is no longer full by then."
    return "Which of the file's dimensions differs from the robot that was practised with? Measure it again."
