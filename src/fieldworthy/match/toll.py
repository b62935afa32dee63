"""What a cause takes off the forecast, without playing a match: at most, and as often as practice says."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from fieldworthy.engine.finding import Cause, Finding
from fieldworthy.engine.system import Cost
from fieldworthy.match.ability import Stopped, costs_of, earned_by, planned, stopped_by
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Step
from fieldworthy.units import counted, parse

LEAST = 0.5
"""Points a match from which they are told in whole ones."""


@dataclass(frozen=True, slots=True)
class Share:
    """A part of an action's tries that is lost, where the mechanism can do it.

    Attributes
    ----------
    action : Its name
    points : What the lost tries would earn in a match at most; if it always matters, where nobody says how often
    told_by : Key of the file that would say how often it matters; empty where it is known
    """

    action: str
    points: float
    told_by: str = ""

    @property
    def sentence(self) -> str:
        """What is lost, and what is not known about it."""
        earns = counted(f"{self.points:.0f}", "point")
        if not self.told_by:
            return f"So tries of '{self.action}' are lost, which costs up to {earns} a match."
        return (
            f"Where a rival pulls, '{self.action}' is lost, up to {earns} a match; the file does not say how often one "
            "pulls."
        )


@dataclass(frozen=True, slots=True)
class Toll:
    """What a cause costs.

    Attributes
    ----------
    stopped : Actions of the plan that cannot be done
    shares : Actions of which a part of the tries is lost
    """

    stopped: tuple[Stopped, ...] = ()
    shares: tuple[Share, ...] = ()

    @property
    def points(self) -> float:
        """Points a match that the forecast takes off for it at most."""
        stopped = sum(one.points for one in self.stopped if not one.counts)
        return stopped + sum(one.points for one in self.shares if not one.told_by)

    @property
    def sentences(self) -> list[str]:
        """What it costs, one sentence an action; nothing where that is less than a point."""
        return [one.sentence for one in self.stopped] + [one.sentence for one in self.shares if one.points >= LEAST]


def toll_of(loaded: Loaded, cause: Cause, findings: Sequence[Finding]) -> Toll:
    """Say what a cause costs: the actions that it stops, and the tries that it or what follows from it takes."""
    stopped = stopped_by(loaded, [f.id for f in cause.findings])
    done, led = {one.action for one in stopped}, {f.id for f in cause.findings}
    # a share that is within its limit costs tries all the same
    behind = [f for f in findings if f.id in led or led & set(f.follows)]
    actions = (name for name in planned(loaded.nominal) if name not in done)
    return Toll(stopped, tuple(share for name in actions for share in _shares(loaded, name, behind)))


def _shares(loaded: Loaded, action: str, findings: Sequence[Finding]) -> Iterator[Share]:
    robot, season = loaded.nominal, loaded.nominal_season
    earns = sum(earned_by(robot, season, name) for name in _scoring(robot, action))
    practised = robot.actions[action].practice is not None
    costs = [c for c in costs_of(robot, season, action) if not c.certain and (c.told_by or not practised)]
    for told_by in dict.fromkeys(cost.told_by for cost in costs):
        mine = [cost for cost in costs if cost.told_by == told_by]
        left = 1.0
        for share in (_lost(cost, finding) for cost in mine for finding in _of(cost, findings)):
            left *= 1.0 - share
        part = mine[0].part
        if left < 1.0:
            lost = earns * (1.0 - left) * (part if told_by and part is not None else 1.0)
            yield Share(action, lost, told_by if part is None else "")


def _of(cost: Cost, findings: Iterable[Finding]) -> list[Finding]:
    named = (f for f in findings if f.id == cost.id or f.id.startswith(f"{cost.id}."))
    return [f for f in named if not f.missing and f.value is not None]


def _lost(cost: Cost, finding: Finding) -> float:
    """The share of the tries that a finding takes on the robot as written."""
    if cost.share:
        one = 1.0 if finding.unit == "1" else parse(f"1 {finding.unit}", "ratio").si
        return min(max(one * (finding.value or 0.0), 0.0), 1.0)
    works = (finding.value or 0.0) > 0.0 if cost.wish else not finding.fails
    return 0.0 if works else 1.0


def _scoring(robot: Robot, action: str) -> list[str]:
    """The actions that score with what an action does: it itself, or those of the plan that come next after it."""
    if robot.actions[action].task is not None:
        return [action]
    plan, found = robot.plan, dict[str, None]()
    items = () if plan is None else (*plan.autonomous, *plan.driven, *plan.finish_steps)
    names = [step.action for item in items for step in ((item,) if isinstance(item, Step) else item.repeat)]
    for at in (i for i, name in enumerate(names) if name == action):
        scoring = (name for name in names[at:] if robot.actions[name].task is not None)
        found |= dict.fromkeys([*scoring][:1])
    return list(found)
