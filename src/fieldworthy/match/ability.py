"""Whether the mechanisms can do what the plan asks of them, in each draw of what is not known."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.evaluate import Cases, run
from fieldworthy.engine.finding import Outcome
from fieldworthy.engine.system import Cost, systems
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.units import digits


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Practice and physics disagree about an action.

    Attributes
    ----------
    robot, action, finding : Names
    successes, attempts : Of practice
    chance : Share of the robots that the tolerances allow on which the finding holds
    question : The one question that settles it
    """

    robot: str
    action: str
    finding: str
    successes: int
    attempts: int
    chance: float
    question: str

    @property
    def sentence(self) -> str:
        """What disagrees, and what to ask."""
        by_check = "none of the robots" if self.chance < 0.01 else f"{100 * self.chance:.0f} % of the robots"
        return (
            f"{self.robot}: in practice '{self.action}' worked {self.successes} times of {self.attempts}, but by "
            f"{self.finding} {by_check} that the tolerances allow can do it when the plan gets there. {self.question}"
        )


@dataclass(frozen=True, slots=True)
class Loss:
    """What a mechanism's failing costs an action that no practice counts.

    Attributes
    ----------
    robot, action, finding : Names
    share : Of the tries that are lost by it, over the robots that the tolerances allow
    """

    robot: str
    action: str
    finding: str
    share: float

    @property
    def sentence(self) -> str:
        """What is lost, and why that is not left to practice."""
        return (
            f"{self.robot}: '{self.action}' was never practised, so the forecast takes what is computed: "
            f"{digits(100 * self.share, 2)} % of its tries are lost by {self.finding}."
        )


@dataclass(frozen=True, slots=True)
class Ability:
    """What stands against an action in a batch of cases.

    Attributes
    ----------
    can : By action, the share of tries that its mechanisms do not spoil in each case: 0 where one cannot do it at all
    contradictions : Where practice says that it works and a finding that it cannot
    losses : What failing mechanisms cost actions that were never practised
    """

    can: dict[str, Array]
    contradictions: tuple[Contradiction, ...]
    losses: tuple[Loss, ...] = ()


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
    robot, season, wanted = loaded.nominal, loaded.nominal_season, _required(loaded.nominal)

    def free(action: str) -> bool:
        """Whether nothing that is judged stands against an action."""
        needed = judged_for(robot, season, action)
        return not any(m in wanted for m in needed) and not list(_costs(robot, season, action))

    if all(_worked(robot, action) or free(action) for action in actions):
        return {}
    return ability(loaded, cases).can


def _worked(robot: Robot, action: str) -> bool:
    practice = robot.actions[action].practice
    return practice is not None and practice.successes > 0


def ability(loaded: Loaded, cases: Cases) -> Ability:
    """Judge every action of a robot by the findings that its mechanisms cannot do without.

    An action that practice shows working is not held back; the contradiction is named instead.
    """
    robot, season = loaded.nominal, loaded.nominal_season
    wanted = _required(robot)
    found = {o.id: o for o in run(loaded, cases)}
    can: dict[str, Array] = {}
    contradictions, losses = [], []
    for name, action in robot.actions.items():
        ids = [i for m in judged_for(robot, season, name) for i in wanted.get(m, ()) if i in found]
        held = {i: _holds(found[i], cases) for i in ids}
        if not _worked(robot, name):
            kept = dict(_kept(found, list(_costs(robot, season, name)), cases))
            can[name] = np.prod([np.ones(cases.size), *held.values(), *kept.values()], axis=0)
            for identifier, left in kept.items():
                lost = 1.0 - float(left[cases.sampled].mean() if cases.samples else left[0])
                losses += [Loss(robot.robot, name, identifier, lost)] if lost >= _TOLD else []
            continue
        assert action.practice is not None
        counts = int(action.practice.successes), int(action.practice.attempts)
        for identifier, holds in held.items():
            chance = float(holds[cases.sampled].mean()) if cases.samples else float(holds[0])
            if chance < _DOUBTFUL * counts[0] / max(counts[1], 1):
                contradictions.append(
                    Contradiction(robot.robot, name, identifier, *counts, chance, _question(identifier))
                )
    return Ability(can, tuple(contradictions), tuple(losses))


def _costs(robot: Robot, season: Season, action: str) -> Iterator[Cost]:
    """Which failings cost tries of an action."""
    done, judged = robot.actions[action], judged_for(robot, season, action)
    for system in systems():
        for cost in system.costs(robot):
            taken = bool(cost.takes) and bool(done.takes) and done.object == cost.takes
            if taken or cost.mechanism in judged:
                yield cost


def _kept(found: Mapping[str, Outcome], costs: Sequence[Cost], cases: Cases) -> Iterator[tuple[str, Array]]:
    """The share of tries that each failing leaves, in each case."""
    for cost in costs:
        for identifier, outcome in found.items():
            if identifier != cost.id and not identifier.startswith(f"{cost.id}."):
                continue
            if cost.share and not outcome.missing:
                yield identifier, np.broadcast_to(1.0 - np.clip(outcome.value, 0.0, 1.0), (cases.size,))
            elif outcome.limit is not None:
                yield identifier, _holds(outcome, cases)


def held_back(robot: Robot, season: Season) -> dict[str, tuple[str, ...]]:
    """Ids of the findings without which each action cannot be done; none for what practice shows working."""
    wanted = _required(robot)
    return {
        name: tuple(i for m in judged_for(robot, season, name) for i in wanted.get(m, ()))
        for name, action in robot.actions.items()
        if action.practice is None or action.practice.successes == 0
    }


_TOLD = 0.005  # share of tries lost of which a forecast speaks
_DOUBTFUL = 0.1
"""Practice and physics are said to disagree where the chance is below this share of what practice shows."""


def _required(robot: Robot) -> dict[str, tuple[str, ...]]:
    """Ids of the findings that each mechanism cannot do without, by the name that they use."""
    return {
        label: tuple(f"{stem}.{label}" for stem in system.required)
        for system in systems()
        for name, mechanism in robot.mechanisms.items()
        if isinstance(mechanism, system.kinds)
        for label in mechanism.judged_as(name)
    }


def _holds(outcome: Outcome, cases: Cases) -> Array:
    if outcome.missing:
        return np.ones(cases.size)
    return np.broadcast_to(np.asarray(outcome.margin()) >= 0.0, (cases.size,)).astype(float)


def _question(identifier: str) -> str:
    if any(identifier.startswith(system.pressed) for system in systems()):
        return "At what tank pressure was it practised? The plan leaves less by then than a full tank holds."
    return "Which of the file's dimensions differs from the robot that was practised with? Measure it again."
