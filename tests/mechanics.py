"""The drawings of a robot's body and mechanisms, for tests: which there are of the examples, and with other names."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

from fieldworthy.checks.curves.balance import balance_curves
from fieldworthy.checks.curves.body import BodyCurves, body_curves
from fieldworthy.checks.curves.drive import heat_curves, push_curves, run_curves
from fieldworthy.checks.curves.hanging import hanging_curves
from fieldworthy.checks.curves.lift import lift_curves
from fieldworthy.checks.finding import Report
from fieldworthy.checks.sampling import Cases
from fieldworthy.checks.subject import Subject
from fieldworthy.draw import Figure, Style
from fieldworthy.draw.balance import balance
from fieldworthy.draw.drive import heat, push, run
from fieldworthy.draw.hanging import hanging
from fieldworthy.draw.lift import lift
from fieldworthy.draw.robot import robot
from fieldworthy.robot import Loaded
from fieldworthy.robot.model import Robot
from fieldworthy.schema import realise
from fieldworthy.season import Season
from robots import example, nominal

Draw = Callable[[Any, Style], Figure]
Item = tuple[str, Draw, Any]
SHARES = (0.0, 0.37, 1.0)


def samples(loaded: Loaded, size: int) -> Subject:
    """The robot over samples of its tolerances."""
    cases = Cases(0, 0, size, [])
    made = realise(loaded.robot, Robot, cases.draw)
    season = realise(loaded.season, Season, lambda path, quantity: cases.draw(("season", *path), quantity))
    return Subject(made, season, nominal(loaded))


def mechanics(loaded: Loaded) -> Iterator[Item]:
    """What is drawn of a robot's body and mechanisms: label, function and data."""
    subject, drawn = nominal(loaded), samples(loaded, 50)
    for pose in subject.robot.poses:
        yield f"robot {pose}", robot, body_curves(subject, pose)
    for pose in list(subject.robot.poses)[:1]:
        yield f"robot {pose}, sampled", robot, body_curves(subject, pose, drawn)
    yield "balance", balance, balance_curves(subject)
    yield "run", run, run_curves(subject)
    yield "push", push, push_curves(subject)
    yield "heat", heat, heat_curves(subject)
    for name, found in hanging_curves(subject).items():
        yield f"hanging {name}", hanging, found
    for share in SHARES:
        for name, at in lift_curves(subject, share).items():
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
