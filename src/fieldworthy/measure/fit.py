"""Fits a measurements file, holds it against the robot file, and says which findings it touches."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from importlib import import_module
from pathlib import Path
from typing import Any, ClassVar

from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.engine.finding import Fact, Finding, Report
from fieldworthy.engine.system import cautions
from fieldworthy.files import BadInput
from fieldworthy.files.document import KeyPath
from fieldworthy.measure.files import Measured
from fieldworthy.measure.fitting import PER_95
from fieldworthy.measure.prediction import Combined, combined, comparisons, unit_of
from fieldworthy.measure.result import Comparison, Procedure, file_text, width_text
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.robot.editing import GONE, changed_texts
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import whole


def kept_weights(measured: Measured, changed: Mapping[KeyPath, object]) -> dict[KeyPath, object]:
    """Bring what was weighed earlier to the day of a new weighing.

    Notes
    -----
    A new weighing writes what the parts add up to that day. An earlier value counts from what they added up to then,
    so it has to be brought along, or parts added between the two would be lost.
    """
    before = measured.robot.nominal.weighed
    fresh = {key[1] for key in changed if key[0] == "weighed"}
    if before is None or not fresh & {"mass", "x", "y", "z"}:
        return {}
    pose = changed.get(("weighed", "pose"))
    found: dict[KeyPath, object] = {}
    if pose is None and before.pose is not None:
        found["weighed", "pose"] = GONE
    robot = measured.robot
    moves = robot.nominal.poses[before.pose].moves if before.pose is not None else {}
    body = whole(state.groups(Context(robot.nominal, robot.nominal_season)), moves)
    now = {"mass": float(body.mass)} | dict(zip("xyz", (float(c) for c in body.cg), strict=True))
    for part, value in now.items():
        key = ("weighed", part)
        if part in fresh or key not in measured.quantities:
            continue
        found[key] = GONE if part != "mass" and pose != before.pose else _entry(measured, key, value)
    return found


def _entry(measured: Measured, key: KeyPath, value: float) -> dict[str, str]:
    stated = measured.quantities[key]
    entry = {"value": file_text(value, stated.tolerance, stated.kind, stated.unit), "basis": stated.basis}
    if stated.tolerance > 0.0:
        entry["tolerance"] = width_text(value, stated.tolerance, stated.kind, stated.unit)
    return entry | ({"date": stated.date} if stated.date else {})


Fit = Callable[[Any, Measured, str], Procedure]
"""Takes a section as realised in SI, the file it stands in, and the entry's name ("" where the section is alone)."""

PROCEDURES: dict[str, str] = {
    "scales": "fieldworthy.measure.scales:fit_scales",
    "tilt": "fieldworthy.measure.scales:fit_tilt",
    "odometry": "fieldworthy.measure.odometry:fit_odometry",
    "cycles": "fieldworthy.measure.airtests:fit_cycles",
    "leaks": "fieldworthy.measure.airtests:fit_leak",
    "drive": "fieldworthy.measure.drivelog:fit_drive",
    "frames": "fieldworthy.measure.frames:fit_film",
    "samples": "fieldworthy.measure.samples:fit_samples",
    "practice": "fieldworthy.measure.practice:fit_practice",
}
"""Section of the measurements file to ``module:function``; the function is loaded where the section is used."""


def procedures(measured: Measured) -> Iterator[Procedure]:
    """Fit every section that a measurements file holds."""
    for section, where in PROCEDURES.items():
        given: Any = getattr(measured.readings, section)
        if not given:
            continue
        fit = _function(where)
        if isinstance(given, dict):
            yield from (fit(entry, measured, name) for name, entry in given.items())
        else:
            yield fit(given, measured, "")


def procedure(measured: Measured, section: str, name: str = "") -> Procedure:
    """Fit one section of a measurements file, or one entry of a section that holds several."""
    given: Any = getattr(measured.readings, section)
    return _function(PROCEDURES[section])(given[name] if name else given, measured, name)


def _function(where: str) -> Fit:
    module, name = where.split(":")
    found: Fit = getattr(import_module(module), name)
    return found


_MOVED = 1e-9  # of its value; what moves by less is not touched
_LITTLE = 0.01  # of a value; less than that is told on request


@dataclass(frozen=True, slots=True)
class Touched:
    """One finding or fact that the measured values change.

    Attributes
    ----------
    id, subject : As in a check's findings
    unit : Of the values
    before, after : Its value by the file, and by the measured values laid in
    margin_before, margin_after : None for a fact, which nothing limits
    chance_before, chance_after : That it holds, over the tolerances
    verdict_before, verdict_after : ``holds``, ``short``, ``unknown``; ``absent`` where it comes up only on one
        side; empty for a fact
    because : The sentence, with the measured values; with the file's where it does not come up any more
    """

    id: str
    subject: str
    unit: str
    before: float | None
    after: float | None
    margin_before: float | None
    margin_after: float | None
    chance_before: float | None
    chance_after: float | None
    verdict_before: str
    verdict_after: str
    because: str


def matters(item: Touched) -> bool:
    """Say whether a person wants to read of it: another verdict, a hundredth of value or margin, two of its chance."""
    if item.verdict_before != item.verdict_after or item.before is None or item.after is None:
        return True
    chances = (item.chance_before or 0.0) - (item.chance_after or 0.0)
    if abs((item.margin_before or 0.0) - (item.margin_after or 0.0)) >= _LITTLE:
        return True
    size = max(abs(item.before), abs(item.after))
    return abs(item.before - item.after) >= _LITTLE * size or abs(chances) >= 2.0 * _LITTLE


@dataclass(frozen=True, slots=True)
class FitReport:
    """Everything that a measurements file says of a robot.

    Attributes
    ----------
    robot : Its name
    procedures : What each procedure gave [SI]
    comparisons : Every key of the robot file that was measured, beside what the file says [SI]
    touched : Findings and facts that the measured values change; those whose verdict changes first
    refused : Why the measured values cannot be laid into the robot file; empty where they can
    samples, seed : How the chances were sampled
    cautions : What can hurt on this robot
    """

    FORMAT: ClassVar[str] = "fieldworthy fit 2"

    robot: str
    procedures: tuple[Procedure, ...]
    comparisons: tuple[Comparison, ...]
    touched: tuple[Touched, ...]
    refused: tuple[str, ...]
    samples: int
    seed: int
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Ways:
    """How a fit is to be told.

    Attributes
    ----------
    progress : Told the share of the work that is done
    shown : Gives a robot whose findings are told in other units
    """

    progress: Callable[[float], None] | None = None
    shown: Callable[[Loaded], Loaded] | None = None


def fit(measured: Measured, samples: int = 1000, seed: int = 0, ways: Ways | None = None) -> FitReport:
    """Fit every procedure of a measurements file."""
    ways = ways or Ways()
    found = tuple(_one_by_one(measured, ways.progress))
    together = combined(found)
    refused: tuple[str, ...] = ()
    touched: tuple[Touched, ...] = ()
    if together:
        try:
            robots = [measured.robot, laid_in(measured, changes(measured, found))]
            robots = [ways.shown(robot) for robot in robots] if ways.shown else robots
            touched = _touched(*(evaluate(robot, samples, seed) for robot in robots))
        except BadInput as error:
            refused = tuple(str(problem) for problem in error.problems)
    robot = measured.robot.nominal
    return FitReport(
        robot.robot, found, comparisons(measured, together), touched, refused, samples, seed, cautions(robot)
    )


def _one_by_one(measured: Measured, progress: Callable[[float], None] | None) -> Iterator[Procedure]:
    sections = (getattr(measured.readings, name) for name in PROCEDURES)
    whole = sum(len(given) if isinstance(given, dict) else bool(given) for given in sections) + 1  # then the findings
    for done, procedure in enumerate(procedures(measured), 1):
        yield procedure
        if progress is not None:
            progress(done / whole)


def changes(measured: Measured, found: tuple[Procedure, ...], day: date | None = None) -> dict[KeyPath, object]:
    """Say what measured values change in the robot file."""
    dates = {p.name: p.date for p in found if p.date}
    result: dict[KeyPath, object] = {}
    for item in combined(found):
        days = [dates[name] for name in item.procedures if name in dates]
        last = max(days, default=day.isoformat() if day else "")
        result |= _entries(item, unit_of(measured, item), last)
    result |= {key: text for p in found for key, text in p.also if p.fitted}
    return result | kept_weights(measured, result)


def _entries(item: Combined, unit: str, day: str) -> dict[KeyPath, object]:
    first = item.items[0]
    if first.kind == "count":
        return {item.key: round(item.value)}
    rest = {"basis": "measured"} | ({"date": day} if day else {})
    entry = {"value": file_text(item.value, item.half_width, first.kind, unit)}
    if item.half_width > 0.0:
        entry["tolerance"] = width_text(item.value, item.half_width, first.kind, unit)
    found: dict[KeyPath, object] = {item.key: entry | rest}
    if first.spread_key and item.half_width > 0.0:
        deviation = item.half_width / PER_95
        found[first.spread_key] = {"value": file_text(deviation, deviation, first.kind, unit)} | rest
    return found | {key: GONE for one in item.items for key in one.replaces}


def laid_in(measured: Measured, changed: Mapping[KeyPath, object]) -> Loaded:
    """Lay measured values into the robot, without writing anything."""
    robot = measured.robot
    texts: dict[Path, str] = {**robot.texts, **changed_texts(robot, changed)}
    return load_robot(robot.document.file, None, texts)


Item = Finding | Fact


def _touched(before: Report, after: Report) -> tuple[Touched, ...]:
    """What the two reports say differently: changed verdicts first, then findings, then facts."""
    sides = [_by_name(report) for report in (before, after)]
    found = []
    for key in dict.fromkeys((*sides[1], *sides[0])):
        old, new = sides[0].get(key), sides[1].get(key)
        if old is None or new is None or _differ(old, new):
            found.append(_pair(old, new))
    return tuple(sorted(found, key=lambda t: (t.verdict_before == t.verdict_after, not t.verdict_after)))


def _by_name(report: Report) -> dict[tuple[str, str], Item]:
    items: list[Item] = [*report.findings, *report.facts]
    return {(item.id, item.subject): item for item in items}


def _differ(old: Item, new: Item) -> bool:
    if isinstance(old, Finding) and isinstance(new, Finding) and old.verdict != new.verdict:
        return True
    a, b = old.value, new.value
    if a is None or b is None:
        return a is not b
    limits = getattr(old, "limit", None), getattr(new, "limit", None)
    return abs(a - b) > _MOVED * max(abs(a), abs(b)) or limits[0] != limits[1]


def _pair(old: Item | None, new: Item | None) -> Touched:
    shown = new if new is not None else old
    assert shown is not None
    sides = [
        (None, None, "absent" if isinstance(shown, Finding) else "") if item is None
        else (item.margin, item.chance, item.verdict) if isinstance(item, Finding) else (None, None, "")
        for item in (old, new)
    ]  # fmt: skip
    (margin, chance, verdict), (margin_after, chance_after, verdict_after) = sides
    return Touched(
        shown.id, shown.subject, shown.unit, None if old is None else old.value, None if new is None else new.value,
        margin, margin_after, chance, chance_after, verdict, verdict_after, shown.because,
    )  # fmt: skip
