"""Changes by whole steps: teeth, numbers of things, other bought parts, cylinders on other tanks, a latch."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from fieldworthy.decide.change import (
    GONE,
    CandidateEvaluator,
    Change,
    Edit,
    Kind,
    Twins,
    value_change,
    with_value,
    written,
)
from fieldworthy.engine.system import Option, systems
from fieldworthy.files import Quantity, quantities, schema_of
from fieldworthy.files.declare import Spec, hints
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.files.reading import references
from fieldworthy.robot.loading import builtin
from fieldworthy.robot.model.catalogue import Catalogue
from fieldworthy.robot.model.machine import GEAR_TEETH, SPROCKET_TEETH
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.words import named, value_at
from fieldworthy.units import show, to_unit
from fieldworthy.vehicle.supply import air_along_plan, best_layout

_MOST = 4  # sizes to try in each direction
STOCK = ("diameter",)
"""Numbers that are bought in sizes: no change of theirs is a fraction of a millimetre."""
_ROLLERS = tuple(0.005 * i for i in range(4, 31))  # m; tubing and foam rollers, common practice, no source
_EFFORT: dict[str, float] = {
    "teeth": 1.5, "count": 4.0, "valves": 1.5, "tanks": 2.0, "cylinders": 3.0, "wheels": 3.0, "motors": 3.0,
    "batteries": 2.0, "sizes": 1.5, "latch": 4.0, "move": 0.7, "join": 1.5,
}  # fmt: skip
"""Hours, about; common practice, no source."""


@dataclass(frozen=True)
class Ladder:
    """Changes of one place that go farther and farther one way: the first that mends is the smallest.

    Attributes
    ----------
    about : A finding that rests on a key below one of these may be mended by it
    steps : Nearest first
    """

    about: tuple[KeyPath, ...]
    steps: tuple[Change, ...]


def ladders(evaluator: CandidateEvaluator) -> Iterator[Ladder]:
    """List every change by whole steps."""
    robot = evaluator.loaded.robot
    yield from _whole_numbers(robot)
    yield from _stock_sizes(evaluator)
    yield from _classes(robot)
    yield from _latches(robot)
    yield from _layouts(evaluator)
    for system in systems():
        for option in system.options(evaluator.base):
            yield Ladder((option.about,), (_option(robot, option),))


def _change(robot: Spec, kind: Kind, what: str, effort: float, *places: tuple[KeyPath, Any]) -> Change:
    """Lay values into the specification, and say what the file changes."""
    edits = []
    changed: Any = robot
    for path, value in places:
        before = _text(value_at(robot, path))
        changed = with_value(changed, path, value)
        edits.append(Edit(dotted(path), path, before, "" if value is GONE else _text(value)))
    return Change(kind, tuple(edits), what, effort, changed)


def _option(robot: Spec, option: Option) -> Change:
    """Lay what a file would say into the specification, read as a file is."""
    edits, changed = [], robot
    for path, value in option.sets.items():
        owner, name = value_at(changed, path[:-1]), str(path[-1])
        before = getattr(owner, name)
        laid = type(owner).__pydantic_validator__.validate_assignment(owner.model_copy(), name, value)
        changed = with_value(changed, path[:-1], laid)
        shown = show(before.si, before.kind, before.unit) if isinstance(before, Quantity) else _text(before)
        edits.append(Edit(dotted(path), path, shown, value if isinstance(value, str) else json.dumps(value)))
    return Change("option", tuple(edits), option.what, option.hours, changed)


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value) if isinstance(value, str | int) else "…"


def integers(spec: Any, path: KeyPath = ()) -> Iterator[tuple[KeyPath, int]]:
    """Every whole number of a specification."""
    if isinstance(spec, Spec):
        for name in type(spec).model_fields:
            yield from integers(getattr(spec, name), (*path, name))
    elif isinstance(spec, dict):
        for key, item in spec.items():
            yield from integers(item, (*path, key))
    elif isinstance(spec, tuple):
        for i, item in enumerate(spec):
            yield from integers(item, (*path, i))
    elif isinstance(spec, int) and not isinstance(spec, bool):
        yield path, spec


def _whole_numbers(robot: Any) -> Iterator[Ladder]:
    for path, now in integers(robot):
        last = "teeth" if "teeth" in path[-2:] else path[-1]
        if last in ("driver", "driven", "teeth"):
            sizes = GEAR_TEETH if last != "teeth" else SPROCKET_TEETH
            for chosen in _both_ways(sizes, now):
                yield _teeth(robot, path, now, chosen)
        elif counted(path) and not shared_motor(robot, path):
            pairs = 2 if path == ("drive", "motors") and now % 2 == 0 else 1  # a drive has as many on each side
            for chosen in _both_ways(range(pairs, now + 2 * pairs + 1, pairs), now):
                yield _count(robot, path, now, chosen)


def counted(path: KeyPath) -> bool:
    """Whether a whole number is one of things that a team can add or take away, or a number in its program."""
    if path[0] == "air" and path[-1] == "count":
        return True
    return path[0] in ("drive", "mechanisms", "motors") and (
        path[-1] in ("motors", "readings") or (path[-1] == "count" and ("motors" in path or "bands" in path))
    )


def _both_ways(sizes: Iterable[int], now: int) -> Iterator[list[int]]:
    listed = sorted(sizes)
    for one_way in ([s for s in listed if s > now], [s for s in reversed(listed) if s < now]):
        if one_way:
            yield one_way[:_MOST]


def _stock_sizes(evaluator: CandidateEvaluator) -> Iterator[Ladder]:
    """Wheels and rollers in the sizes that are sold."""
    robot: Any = evaluator.loaded.robot
    classes: Iterable[Any] = known_classes(robot, "wheels").values()
    wheels = sorted({round(wheel.diameter.si, 6) for wheel in classes})
    done: set[KeyPath] = set()
    for path, quantity in evaluator.loaded.quantities:
        if path[-1] not in STOCK or path[0] in ("catalogue", "season") or path in done:
            continue
        twins = [(twin.path, twin.quantity, twin.sign) for twin in evaluator.twins.get(path, ())]
        done |= {twin[0] for twin in twins}
        sizes = wheels if path[0] == "tracking" else _ROLLERS
        for way in (1.0, -1.0):
            beyond = sorted((s for s in sizes if way * (s - quantity.si) > 1e-4), key=lambda s: way * s)[:_MOST]
            steps = [_size(robot, (path, quantity), size, twins) for size in beyond]
            if steps:
                yield Ladder((path[:-1],), tuple(steps))


def _size(robot: Spec, entry: tuple[KeyPath, Quantity], size: float, twins: Twins) -> Change:
    quantity = entry[1]
    number = float(f"{to_unit(size, quantity.kind, quantity.unit):.6g}")
    hours = _EFFORT["sizes"] + abs(math.log(size / quantity.si))
    made = value_change(robot, entry, (written(number, quantity.unit), size), hours, twins)
    return dataclasses.replace(made, kind="size")


def _teeth(robot: Spec, path: KeyPath, now: int, sizes: list[int]) -> Ladder:
    steps = tuple(
        _change(
            robot, "teeth", f"Fit {size} teeth in place of {now} {_gear(robot, path)}",
            _EFFORT["teeth"] + abs(math.log(size / now)), (path, size),
        )
        for size in sizes
    )  # fmt: skip
    return Ladder((path[:-2] if path[-2] == "teeth" else path[:-1],), steps)


def _count(robot: Spec, path: KeyPath, now: int, sizes: list[int]) -> Ladder:
    hours = 0.3 if path[-1] == "readings" else _EFFORT["count"]
    steps = tuple(
        _change(
            robot,
            "count",
            _counted(robot, path, size, now),
            hours * abs(size - now),
            (path, size),
        )
        for size in sizes
    )
    motors = path[-1] == "motors" or "motors" in path
    return Ladder((path[:-1], ("catalogue", "motors", _motor(robot, path))) if motors else (path[:-1],), steps)


def _gear(robot: Spec, path: KeyPath) -> str:
    """On which gear or sprocket, in words."""
    name = named(robot, path)
    if name.axis:
        return f"on the {name.axis.removesuffix(' of')} sprocket{name.whole().partition('teeth')[2]}"
    return name.whole().removeprefix("the teeth ")


def _counted(robot: Spec, path: KeyPath, size: int, now: int) -> str:
    """How many of what to use for what."""
    name = named(robot, path)
    thing, _, inner = name.what.partition(" of ")
    owner = f"{inner} of {name.of()}" if inner else name.of()
    if path[-1] == "count":
        thing, owner = (inner.split()[-1], name.of()) if inner else (name.things[0], f"'{name.name}'")
    many = thing.removesuffix("s") + "s" * (size != 1)
    return f"Use {size} {many} in place of {now} for {owner}"


def shared_motor(robot: Any, path: KeyPath) -> bool:
    """Whether a count stands where a mechanism names a motor that it shares, which says itself how many it is."""
    return "motors" in path[1:] and _motor(robot, path) in robot.motors


def _motors(robot: Any, path: KeyPath) -> int:
    """How many motors there are of a class that is named at a place."""
    owner = value_at(robot, path[:-1])
    return int(getattr(owner, "motors", getattr(owner, "count", 1)) or 1) if path[-1] == "motor" else 1


def _motor(robot: Any, path: KeyPath) -> str:
    """The class of the motors that are counted."""
    return str(value_at(robot, (*path[:-1], "motor")) or "")


def _classes(robot: Any) -> Iterator[Ladder]:
    """Another class of a bought part, one place at a time; wheels of one class and diameter change together."""
    wheels: dict[str, list[KeyPath]] = {}
    for path, (target, *_), name in references(robot, Robot):
        section = target.removeprefix("catalogue.")
        if section == target or name not in known_classes(robot, section):  # the name of a motor that is shared
            continue
        if path[:2] == ("drive", "wheels"):
            wheels.setdefault(name, []).append(path)
        else:
            yield _other_classes(robot, [path], section, name)
    for name, paths in wheels.items():
        yield _other_classes(robot, paths, "wheels", name)


def _other_classes(robot: Any, paths: list[KeyPath], section: str, name: str) -> Ladder:
    known = known_classes(robot, section)
    now = known[name]
    others = [other for other in known if other != name and fits(section, now, known[other])]
    others.sort(key=lambda other: _apart(now, known[other]))
    catalogue = with_value(robot, ("catalogue", section), known)
    place = named(robot, paths[0])
    same = place.what == place.things[0]  # the class of a cylinder, not of its valve
    where = f"for all {len(paths)} drive wheels that have a '{name}' now"
    if len(paths) == 1:
        said = place.whole()
        if _motors(robot, paths[0]) > 1:
            said = said.replace("the motor of", "the motors of", 1)
        where = f"as {place.of()}" if same else f"for {said}"
    steps = tuple(
        _change(
            catalogue, "class", f"Use a '{other}' {where}", _EFFORT[section] + _apart(now, known[other]),
            *((path, other) for path in paths),
        )
        for other in others
    )  # fmt: skip
    return Ladder((("catalogue", section, name), *(p[:-1] for p in paths if len(p) > 2)), steps)


def known_classes(robot: Any, section: str) -> dict[str, Spec]:
    """Collect the classes that a robot may use."""
    own: dict[str, Spec] = getattr(robot.catalogue, section)
    return {**_generic(section), **own}


@cache
def _generic(section: str) -> dict[str, Spec]:
    schema = schema_of(hints(Catalogue)[section].__args__[1])
    return {name: schema.model_validate(entry) for name, entry in builtin()[section].items()}


def fits(section: str, now: Any, other: Any) -> bool:
    """Whether a class can take another's place at all."""
    if section == "cylinders":
        return bool(now.single_acting == other.single_acting)
    return section != "wheels" or bool(abs(now.diameter.si / other.diameter.si - 1.0) < 0.02)


def _apart(now: Spec, other: Spec) -> float:
    """How different two classes are: the largest ratio among their numbers, as a logarithm."""
    there = dict(quantities(other))
    pairs = [(abs(q.si), abs(there[path].si)) for path, q in quantities(now) if path in there]
    return max((abs(math.log(a / b)) for a, b in pairs if a > 0 and b > 0), default=0.0)


def _latches(robot: Any) -> Iterator[Ladder]:
    for name, mechanism in robot.mechanisms.items():
        if getattr(mechanism, "latch", True) is False:
            path: KeyPath = ("mechanisms", name, "latch")
            what = f"Fit a latch that holds '{name}' without air or battery"
            yield Ladder((path[:-1], ("air",)), (_change(robot, "latch", what, _EFFORT["latch"], (path, True)),))


def _layouts(evaluator: CandidateEvaluator) -> Iterator[Ladder]:
    """A cylinder on another tank, the best layout of all, and joined tanks."""
    robot: Any = evaluator.loaded.robot
    cylinders, tanks = robot.air.cylinders, robot.air.tanks
    if len(tanks) < 2 or not cylinders:
        return
    for user, cylinder in cylinders.items():
        for tank in (t for t in tanks if t != cylinder.tank):
            yield Ladder((("air",),), (_moved(robot, {user: tank}),))
    best = best_layout(evaluator.base, air_along_plan(evaluator.base))
    others = {} if best is None else {u: t for u, t in best.tanks.items() if t != cylinders[u].tank and t in tanks}
    if len(others) > 1:
        yield Ladder((("air",),), (_moved(robot, others),))
    joined = _joined(robot)
    if joined is not None:
        yield Ladder((("air",),), (joined,))


def _moved(robot: Spec, tanks: dict[str, str]) -> Change:
    listed = " and ".join(f"cylinder '{user}' on tank '{tank}'" for user, tank in tanks.items())
    what = f"Put {listed}" + (", the layout with most to spare" if len(tanks) > 1 else "")
    places = (((("air", "cylinders", user, "tank")), tank) for user, tank in tanks.items())
    return _change(robot, "layout", what, _EFFORT["move"] * len(tanks), *places)


def _joined(robot: Any) -> Change | None:
    """All tanks as one circuit, where they are alike."""
    tanks = robot.air.tanks
    keep, *gone = tanks
    first = tanks[keep]
    if any(t.model_copy(update={"count": first.count}) != first for t in tanks.values()):
        return None
    places: list[tuple[KeyPath, Any]] = [(("air", "tanks", keep, "count"), sum(t.count for t in tanks.values()))]
    for user, cylinder in robot.air.cylinders.items():
        if cylinder.tank != keep:
            places.append((("air", "cylinders", user, "tank"), keep))
    places += [(("air", "tanks", name), GONE) for name in gone]
    names = [f"'{name}'" for name in tanks]
    what = f"Join tanks {', '.join(names[:-1])} and {names[-1]} into one circuit"
    return _change(robot, "layout", what, _EFFORT["join"], *places)
