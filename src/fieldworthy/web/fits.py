"""Fits for the page: what measurements tell of the open robot, their figures, and what is taken into the robot."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import date
from functools import lru_cache, partial

from fieldworthy.files import read_document
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.files.writing import GONE
from fieldworthy.measure import Comparison, Fitted, Measured, Procedure
from fieldworthy.measure import figure as left_over
from fieldworthy.measure.files import measured_on
from fieldworthy.measure.fit import FitReport, Ways, changes, fit, procedure
from fieldworthy.measure.prediction import Combined, combined, comparisons, unit_of
from fieldworthy.measure.result import with_interval
from fieldworthy.units import KINDS
from fieldworthy.web.figures import Look, Named, styled
from fieldworthy.web.judging import Source, Units, in_units, robot_of, shown_in
from fieldworthy.web.procedures import path_of
from fieldworthy.web.readings import Readings
from fieldworthy.web.worker import progress

_MOST = 60  # figures that one procedure shows


@dataclass(frozen=True, slots=True)
class Card:
    """What one procedure tells, in sentences.

    Attributes
    ----------
    name, title, date : As in the procedure
    told : Each fitted value with its interval
    untold : What cannot be told and why, and which reading would tell it
    notes : Agreement, oddities, rows left out
    held : Each value beside the robot file's
    procedure : As it was fitted [SI]
    """

    name: str
    title: str
    date: str
    told: tuple[str, ...]
    untold: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    held: tuple[Comparison, ...]
    procedure: Procedure


@dataclass(frozen=True, slots=True)
class FitShown:
    """Everything that a measurements file tells.

    Attributes
    ----------
    source : The robot that it was held against
    readings : The measurements
    report : As it was fitted [SI]
    cards : Each procedure in sentences
    held : All procedures together beside the robot file
    units : In which all of it is told
    """

    source: Source
    readings: Readings
    report: FitReport
    cards: tuple[Card, ...]
    held: tuple[Comparison, ...]
    units: Units


@lru_cache(maxsize=8)
def measured_of(source: Source, readings: Readings, units: Units = "file") -> Measured:
    """Read measurements with the robot as it stands in a window."""
    return measured_on(read_document(readings.file, readings.text), in_units(source, units))


def told(source: Source, readings: Readings, part: str, units: Units) -> Card:
    """Fit one procedure alone."""
    path = path_of(part)
    found = procedure(measured_of(source, readings), *map(str, path))
    return _card(measured_of(source, readings, units), _freed(found, units))


def fitted(source: Source, readings: Readings, units: Units) -> FitShown:
    """Fit a whole measurements file."""
    ways = Ways(progress, partial(shown_in, units=units))
    report = fit(measured_of(source, readings), ways=ways)
    shown = measured_of(source, readings, units)
    told_in = [_freed(p, units) for p in report.procedures]
    held = comparisons(shown, combined(told_in))
    return FitShown(source, readings, report, tuple(_card(shown, p) for p in told_in), held, units)


def _freed(found: Procedure, units: Units) -> Procedure:
    """Leave the choice of units to the person, where those that a procedure asks for are of one system."""
    if units == "file":
        return found
    systems = {name for name, kind in KINDS.items() if kind.metric != kind.inch}
    items = (dataclasses.replace(item, unit="") if item.kind in systems else item for item in found.fitted)
    return dataclasses.replace(found, fitted=tuple(items))


def _card(measured: Measured, found: Procedure) -> Card:
    return Card(
        found.name, found.title, found.date,
        tuple(f"{_upper(item.name)}: {_number(measured, item)}" for item in found.fitted),
        tuple((f"{_upper(u.name)} cannot be told: {u.why}.", f"{_upper(u.reading)}.") for u in found.unidentified),
        found.notes, comparisons(measured, combined([found])), found,
    )  # fmt: skip


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _number(measured: Measured, item: Fitted) -> str:
    unit = unit_of(measured, Combined(item.key, (item,), ("",), item.value, item.half_width, False))
    return with_interval(item.value, item.half_width, item.kind, unit)


def drawn_readings(source: Source, found: Procedure, look: Look) -> Named:
    """Draw readings against what the fitted model says of them."""
    style = styled(source, look)
    shown = []
    for number, data in enumerate(found.residuals[: _MOST // 2], 1):
        name = f"{found.name} {number}"
        shown.append((f"{name} left over", left_over.residuals(data, style)))
        shown.append((f"{name} agreement", left_over.agreement(data, style)))
    return tuple(shown)


def taken(
    source: Source, readings: Readings, found: tuple[Procedure, ...], chosen: tuple[str, ...], day: date
) -> tuple[tuple[KeyPath, object], ...]:
    """Say what changes in the robot when measured values are taken into it."""
    wanted = set(chosen)
    few = tuple(
        dataclasses.replace(p, fitted=tuple(item for item in p.fitted if item.key and dotted(item.key) in wanted))
        for p in found
    )
    return tuple(changes(measured_of(source, readings), few, day).items())


def changed_words(source: Source, changed: tuple[tuple[KeyPath, object], ...]) -> tuple[str, ...]:
    """Say in words what a change of the robot is."""
    data = robot_of(source).document.data
    return tuple(_changed(data, path, value) for path, value in changed)


def _changed(data: object, path: KeyPath, value: object) -> str:
    for key in path:
        if isinstance(data, dict):
            data = data.get(str(key))
        elif isinstance(data, list) and isinstance(key, int) and key < len(data):
            data = data[key]
        else:
            data = None
    before = f"was {_plain(data)}" if data is not None else "was not in the file"
    if value is GONE:
        return f"{dotted(path)}: taken out, {before}."
    return f"{dotted(path)}: {_plain(value)}, {before}."


def _plain(value: object) -> str:
    """A value of a file in words: with its tolerance and what it rests on."""
    if not isinstance(value, dict) or "value" not in value:
        return str(value)[:120]
    tolerance = f" ± {value['tolerance']}" if value.get("tolerance") is not None else ""
    rest = ", ".join(str(value[key]) for key in ("basis", "date") if value.get(key))
    return f"{value['value']}{tolerance}{f' ({rest})' if rest else ''}"
