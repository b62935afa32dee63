"""The drawings of a robot's body and mechanisms, for tests: which there are of the examples, and with other names."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

from fieldworthy.drawing import Figure, Style
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases
from fieldworthy.engine.finding import Report
from fieldworthy.files import instantiate
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.systems.arm.figure import arm_curves
from fieldworthy.systems.balance.figure import balance, balance_curves
from fieldworthy.systems.climb.figure import hanging, hanging_curves
from fieldworthy.systems.drive.figure import heat, heat_curves, push, push_curves, run, run_curves
from fieldworthy.systems.lift.figure import lift, lift_curves
from fieldworthy.vehicle.drawing import robot
from fieldworthy.vehicle.views import BodyCurves, body_curves
from robots import example, nominal

Draw = Callable[[Any, Style], Figure]
Item = tuple[str, Draw, Any]
SHARES = (0.0, 0.37, 1.0)


def samples(loaded: Loaded, size: int) -> Context:
    """The robot over samples of its tolerances."""
    cases = Cases(0, 0, size, [])
    made = instantiate(loaded.robot, Robot, cases.draw)
    season = instantiate(loaded.season, Season, lambda path, quantity: cases.draw(("season", *path), quantity))
    return Context(made, season, nominal(loaded))


def mechanics(loaded: Loaded) -> Iterator[Item]:
    """What is drawn of a robot's body and mechanisms: label, function and data."""
    context, drawn = nominal(loaded), samples(loaded, 50)
    for pose in context.robot.poses:
        yield f"robot {pose}", robot, body_curves(context, pose)
    for pose in list(context.robot.poses)[:1]:
        yield f"robot {pose}, sampled", robot, body_curves(context, pose, drawn)
    yield "balance", balance, balance_curves(context)
    yield "run", run, run_curves(context)
    yield "push", push, push_curves(context)
    yield "heat", heat, heat_curves(context)
    for name, found in hanging_curves(context).items():
        yield f"hanging {name}", hanging, found
    for share in SHARES:
        for name, at in (lift_curves(context, share) | arm_curves(context, share)).items():
            yield f"lift {name} at {share}", lift, at


@cache
def both() -> tuple[Item, ...]:
    """What is drawn of both example robots."""
    return tuple((f"{n}: {label}", draw, data) for n in ("mk1", "mk2") for label, draw, data in mechanics(example(n)))


_CODES = {"side", "rides", "drive", "face"}


def named(data: Any, text: str) -> Any:
    """The same curves with every name that comes from a file replaced."""
    if dataclasses.is_dataclass(data) and not isinstance(data, type):
        kept = _CODES | ({"name"} if type(data).__name__ == "Push" else set())
        fields = {f.name: getattr(data, f.name) for f in dataclasses.fields(data)}
        return type(data)(**{key: value if key in kept else named(value, text) for key, value in fields.items()})
    if isinstance(data, str):
        return text
    return tuple(named(item, text) for item in data) if isinstance(data, tuple) else data


def within(report: Report, identifier: str) -> dict[str, Any]:
    """Findings and facts with this id, by subject."""
    return {f.subject: f for f in (*report.findings, *report.facts) if f.id == identifier}


def body(name: str, pose: str) -> BodyCurves:
    """An example's body in a pose."""
    found = body_curves(nominal(example(name)), pose)
    assert found is not None
    return found
