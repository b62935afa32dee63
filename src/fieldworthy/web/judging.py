"""What the page has computed for it in a process of its own: functions of texts, with what was read kept at hand."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

from fieldworthy.api import Robot
from fieldworthy.decide.remedy import FoundRemedies, remedies
from fieldworthy.engine.evaluate import NominalFinding, NominalPreview
from fieldworthy.engine.finding import Report
from fieldworthy.engine.system import shelf
from fieldworthy.files import Quantity
from fieldworthy.files.document import BadInput, KeyPath, Problem
from fieldworthy.files.splicing import spliced
from fieldworthy.report.changelog import edits
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.robot.loading import load_season
from fieldworthy.robot.shelf import added
from fieldworthy.robot.things import Removal, changed, copied, opened, removal, renamed, variant_of
from fieldworthy.units import KINDS, UnitError, parse
from fieldworthy.web.folder import is_season
from fieldworthy.web.worker import progress

Units = Literal["file", "metric", "inch"]
Texts = tuple[tuple[Path, str], ...]
"""Pairs of a file's path and its text."""
Moves = tuple[tuple[KeyPath, str], ...]
"""New values as a file writes them, by key path."""


@dataclass(frozen=True, slots=True)
class Source:
    """A robot as it stands in one window: its file, and the texts that are not what the disk has.

    Attributes
    ----------
    file : The robot file
    texts : Pairs of path and text
    """

    file: Path
    texts: tuple[tuple[Path, str], ...]


@dataclass(frozen=True, slots=True)
class Judged:
    """A robot with everything that was found.

    Attributes
    ----------
    report : Findings, facts, assumptions
    texts : Every file that was read: pairs of path and text
    """

    report: Report
    texts: tuple[tuple[Path, str], ...]


@lru_cache(maxsize=24)
def robot_of(source: Source) -> Loaded:
    """Read a robot, or find it where it was read before."""
    texts = dict(source.texts)
    return load_robot(source.file, texts.pop(source.file, None), texts)


@lru_cache(maxsize=24)
def in_units(source: Source, units: Units) -> Loaded:
    """Give a robot whose results are shown in the person's units; its numbers are the same."""
    return shown_in(robot_of(source), units)


def shown_in(loaded: Loaded, units: Units) -> Loaded:
    """Give a robot that is read already, its results shown in the person's units."""
    if units == "file":
        return loaded
    other = dataclasses.replace(loaded)
    # a cached property: what stands here is found in place of what the file says
    other.__dict__["quantities"] = tuple((path, _in_unit(quantity, units)) for path, quantity in loaded.quantities)
    return other


def _in_unit(quantity: Quantity, units: Units) -> Quantity:
    if quantity.kind == "ratio":
        return quantity
    kind = KINDS[quantity.kind]
    return dataclasses.replace(quantity, unit=kind.inch if units == "inch" else kind.metric)


def judged(source: Source, units: Units = "file", samples: int = 1000) -> Judged:
    """Check a robot."""
    loaded = in_units(source, units)
    return Judged(Robot(loaded).check(samples).data, tuple(loaded.texts.items()))


def previewed(source: Source, moves: Moves, units: Units = "file") -> tuple[NominalFinding, ...]:
    """Say what a robot would be like with a few numbers moved, nominal, without reading its files anew."""
    preview = _preview(source, units, tuple(path for path, _ in moves))
    return _tried(source, preview, {p: _moved(source.file, p, preview.quantity(p), text) for p, text in moves})


def shifted(source: Source, moves: Mapping[KeyPath, float], units: Units = "file") -> tuple[NominalFinding, ...]:
    """Say the same of numbers that come from a drawing [SI]."""
    preview = _preview(source, units, tuple(moves))
    for path, si in moves.items():
        _within(source.file, path, preview.quantity(path), si)
    return _tried(source, preview, moves)


def _tried(source: Source, preview: NominalPreview, moves: Mapping[KeyPath, float]) -> tuple[NominalFinding, ...]:
    found = preview.findings(moves)
    wrong = [Problem(source.file, 1, 1, key, expected) for key, expected in preview.faults()]
    if wrong:
        raise BadInput(wrong)
    return found


@lru_cache(maxsize=24)
def _preview(source: Source, units: Units, paths: tuple[KeyPath, ...]) -> NominalPreview:
    """One for each set of numbers that is being moved, so that windows do not undo each other's moves."""
    del paths
    return NominalPreview(in_units(source, units), facts=False)  # what stands beside a form is findings


def _moved(file: Path, path: KeyPath, quantity: Quantity, text: str) -> float:
    """Another value, within the quantity's bounds."""
    try:
        si = parse(text, quantity.kind).si
    except UnitError as error:
        raise BadInput([Problem(file, 1, 1, path, f"expected {error.expected}", error.suggestion)]) from error
    return _within(file, path, quantity, si)


def _within(file: Path, path: KeyPath, quantity: Quantity, si: float) -> float:
    if not quantity.low <= si <= quantity.high:
        raise BadInput([Problem(file, 1, 1, path, "expected a value within its bounds")])
    return si


def mended(source: Source, units: Units = "file") -> tuple[FoundRemedies, ...]:
    """Find what mends each finding that is short."""
    loaded = in_units(source, units)
    return remedies(loaded, Robot(loaded).check(0).data, progress=progress)


def texts_of(texts: Mapping[Path, str]) -> tuple[tuple[Path, str], ...]:
    """Freeze texts, so that results can be kept by them."""
    return tuple(sorted(texts.items(), key=lambda item: str(item[0])))


def edit(source: Source, changes: tuple[tuple[KeyPath, object], ...]) -> tuple[tuple[Path, str], ...]:
    """Change values in a robot's files, or in a season."""
    own = dict(source.texts).get(source.file)
    if own is not None and is_season(own):
        inner = {path[1:] if path[0] == "season" and len(path) > 1 else path: value for path, value in changes}
        text = spliced(source.file, own, inner)
        load_season(source.file, text)
        return ((source.file, text),)
    return texts_of(changed(source.file, dict(source.texts), dict(changes)))


def put_on(source: Source, path: KeyPath, place: int | None) -> tuple[KeyPath, Texts]:
    """Put a typical thing on a robot, one of the shelf by its place there or a plain entry: its path, the texts."""
    before = opened(source.file, dict(source.texts))
    at, changes = added(before, path, None if place is None else shelf()[place])
    return at, texts_of(changed(source.file, before.texts, changes))


def copy_in(source: Source, path: KeyPath) -> tuple[KeyPath, Texts]:
    """Copy a thing of a robot: the copy's path, and the new texts."""
    before = opened(source.file, dict(source.texts))
    name, change = copied(before, path)
    return (*path[:-1], name), texts_of(changed(source.file, before.texts, change))


def rename_in(source: Source, path: KeyPath, name: str) -> Texts:
    """Rename a thing of a robot, and whatever names it."""
    return texts_of(renamed(source.file, dict(source.texts), path, name))


def taken_from(source: Source, path: KeyPath) -> Removal:
    """Find what goes with a thing of a robot."""
    return removal(opened(source.file, dict(source.texts)), path)


def variant_in(source: Source, name: str, target: Path) -> Texts:
    """Copy a robot under another name: the texts of the new files."""
    return texts_of(variant_of(opened(source.file, dict(source.texts)), name, target))


def differing(older: Source, newer: Source) -> tuple[tuple[str, str, str], ...]:
    """Say which values of two robots differ: key, as it was, as it is."""
    return tuple(edits(robot_of(older), robot_of(newer)))


def ready() -> bool:
    """Do nothing; by then the process has loaded what it needs."""
    return True
