"""A robot with some of its mechanisms left out, and with them all that only they need."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from typing import Any

from fieldworthy.decide.search.plans import changes_of, texts_with
from fieldworthy.files.document import KeyPath
from fieldworthy.files.writing import GONE
from fieldworthy.match.ability import mechanisms_for
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.robot.model.machine import CHASSIS
from fieldworthy.robot.model.season import Finish, Repeat, Step
from fieldworthy.robot.things import opened, removal
from fieldworthy.units import counted

_HOUR = 3600.0
_OFF = 1.0
"""Hours to take a mechanism off that is built, about; common practice, no source."""


@dataclass(frozen=True)
class Without:
    """A robot that has some mechanisms less.

    Attributes
    ----------
    robot : As its file would be read
    changes : What its file says otherwise
    sentences : Of each mechanism that is left out, one
    hours : Of work more than with them, about; below 0 where one need not be built
    """

    robot: Loaded
    changes: Mapping[KeyPath, object]
    sentences: tuple[str, ...]
    hours: float

    def lacks(self, path: KeyPath) -> bool:
        """Whether a place of the file is gone."""
        return any(path[: len(gone)] == gone for gone, value in self.changes.items() if value is GONE)


def combinations(names: Sequence[str]) -> Iterator[tuple[str, ...]]:
    """Some or all of a few mechanisms."""
    for count in range(1, len(names) + 1):
        yield from itertools.combinations(names, count)


def without(loaded: Loaded, names: Sequence[str]) -> Without:
    """Leave mechanisms out, with their cylinders, the parts that ride on them alone and the actions that need them.

    What the plan takes and can score no more goes too. Raises what is then wrong with the file.
    """
    each = {name: list(_goes_with(loaded, name)) for name in names}
    roots = [path for paths in each.values() for path in paths]
    changes = _of_plan(loaded, {str(path[1]) for path in roots if path[0] == "actions"})
    before = opened(loaded.document.file, {**loaded.texts, **texts_with(loaded, changes)})
    gone = removal(before, *roots)
    changes |= dict.fromkeys([*roots, *gone.gone, *gone.freed], GONE)
    robot = load_robot(loaded.document.file, None, {**loaded.texts, **texts_with(loaded, changes)})
    sentences = tuple(_sentence(loaded, name, paths) for name, paths in each.items())
    return Without(robot, changes, sentences, sum(_hours(loaded, name) for name in names))


def _hours(loaded: Loaded, name: str) -> float:
    build = loaded.nominal.mechanisms[name].build_time
    return -float(build) / _HOUR if build else _OFF


def _goes_with(loaded: Loaded, name: str) -> Iterator[KeyPath]:
    """A mechanism, its cylinders, what rides on it alone, and the actions that cannot be done without it."""
    robot, season = loaded.nominal, loaded.nominal_season
    yield ("mechanisms", name)
    cylinders = (
        [key for key, cylinder in robot.air.cylinders.items() if cylinder.mechanism == name] if robot.air else []
    )
    yield from (("air", "cylinders", key) for key in cylinders)
    group = getattr(robot.mechanisms[name], "rides", CHASSIS)
    others = {getattr(m, "rides", CHASSIS) for key, m in robot.mechanisms.items() if key != name}
    if group != CHASSIS and group not in others:
        yield from (("parts", key) for key, part in robot.parts.items() if part.rides == group)
        for pose, it in robot.poses.items():
            yield from (("poses", pose, "moves", group) for _ in [0] if group in it.moves)
            yield from (("poses", pose, "carries", key) for key, load in it.carries.items() if load.rides == group)
    for key, action in robot.actions.items():
        moved = name in action.motors or any(cylinder in action.strokes for cylinder in cylinders)
        if moved or mechanisms_for(robot, season, key) == (name,):
            yield ("actions", key)


def _of_plan(loaded: Loaded, gone: Set[str]) -> dict[KeyPath, object]:
    """What the plan says otherwise without some actions, and without what takes objects that it then scores nowhere."""
    plan = loaded.nominal.plan
    if plan is None:
        return {}

    def left(items: Sequence[Step | Repeat]) -> tuple[Any, ...]:
        """Items of one list, without what is done no more."""
        found: list[Step | Repeat] = []
        for item in items:
            if isinstance(item, Step):
                found += [item] if item.action not in gone else []
            elif steps := left(item.repeat):
                found.append(dataclasses.replace(item, repeat=steps))
        scored = _scored(loaded, found)
        return tuple(i for i in found if isinstance(i, Repeat) or _scores_or_serves(loaded, i, scored))

    def ending(finish: Finish | None) -> Finish | None:
        """The finish, where there is one left."""
        steps = () if finish is None else left(finish.steps)
        return dataclasses.replace(finish, steps=steps) if finish is not None and steps else None

    solo = plan.solo
    if solo is not None:
        steps, end = left(solo.steps), ending(solo.finish)
        solo = dataclasses.replace(solo, steps=steps, finish=end) if steps else None
    now = dataclasses.replace(plan, autonomous=left(plan.autonomous), driven=left(plan.driven),
                              finish=ending(plan.finish), solo=solo)  # fmt: skip
    is_empty = not (now.autonomous or now.driven or now.finish or now.solo)
    return {("plan",): GONE} if is_empty else changes_of(plan, now)


def _scored(loaded: Loaded, items: Sequence[Step | Repeat]) -> set[str]:
    """The kinds of objects that the steps of one list score."""
    tasks = loaded.nominal_season.tasks
    done = [loaded.nominal.actions[item.action].task for item in items if isinstance(item, Step)]
    return {str(tasks[task].object) for task in done if task is not None and task in tasks}


def _scores_or_serves(loaded: Loaded, step: Step, scored: set[str]) -> bool:
    action = loaded.nominal.actions[step.action]
    return not action.takes or action.task is not None or action.object is None or action.object in scored


def _sentence(loaded: Loaded, name: str, paths: Sequence[KeyPath]) -> str:
    """What is left out, and what goes with it."""
    also = [f"cylinder '{path[-1]}'" for path in paths if path[0] == "air"]
    parts = [loaded.nominal.parts[str(path[-1])] for path in paths if path[0] == "parts"]
    if parts:
        mass = sum(float(part.mass) * part.count for part in parts)
        also.append(f"{counted(len(parts), 'part')} ({mass:.2g} kg) on its group")
    also += [f"the action '{path[-1]}'" for path in paths if path[0] == "actions"]
    more = f" with {', '.join(also[:-1])}{' and ' if also[1:] else ''}{also[-1]}" if also else ""
    build = loaded.nominal.mechanisms[name].build_time
    saved = f" It spares {float(build) / _HOUR:.2g} h of building." if build else ""
    return f"Leave out '{name}'{more}.{saved}"
