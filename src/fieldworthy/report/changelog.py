"""The change log between two revisions: what changed in the file, and which findings moved, by how much."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from fieldworthy.checks.finding import Fact, Finding, Report
from fieldworthy.report.blocks import Block, Cell, Head, Mark, Para, Section, Table
from fieldworthy.report.numbers import chance, items_of, with_unit
from fieldworthy.robot import Loaded
from fieldworthy.schema.problems import KeyPath, dotted
from fieldworthy.units import digits

_MOST = 22  # rows of each table


@dataclass(frozen=True, slots=True)
class Moved:
    """A finding or fact that says something else now.

    Attributes
    ----------
    id, subject : str
        Which.
    before, after : Finding or Fact or None
        None where that revision has it not.
    """

    id: str
    subject: str
    before: Finding | Fact | None
    after: Finding | Fact | None

    @property
    def size(self) -> float:
        """How far it moved, as a share of what it was; a verdict that changes counts most [-]."""
        old, new = self.before, self.after
        if old is None or new is None:
            return 1e7 if "short" in (_verdict(old), _verdict(new)) else 1.0
        if _verdict(old) != _verdict(new):
            return 1e9
        if old.value is None or new.value is None:
            return 1e6 if old.value is not new.value else 0.0
        return abs(new.value - old.value) / max(abs(old.value), 1e-12)


def _verdict(item: Finding | Fact | None) -> str:
    return item.verdict if isinstance(item, Finding) else ""


def edits(older: Loaded, newer: Loaded) -> list[tuple[str, str, str]]:
    """List what changed in the files: parts list and season included, the catalogue's generic classes not.

    Parameters
    ----------
    older, newer : Loaded
        Two revisions of a robot [-].

    Returns
    -------
    list of tuple of str
        Key, what stood there, and what stands there now; a dash for nothing [-].
    """
    before, after = (dict(_leaves(_own(loaded), ())) for loaded in (older, newer))
    season = [dict(_leaves(loaded.season.model_dump(), ("season",))) for loaded in (older, newer)]
    before |= {key: _said(value) for key, value in season[0].items() if season[1].get(key) != value}
    after |= {key: _said(value) for key, value in season[1].items() if season[0].get(key) != value}
    keys = [*after, *(key for key in before if key not in after)]
    changed = [key for key in keys if before.get(key) != after.get(key)]
    return [(dotted(k), _said(before.get(k, "–")), _said(after.get(k, "–"))) for k in changed if k != ("season",)]


def _own(loaded: Loaded) -> dict[str, Any]:
    """The file's data without the catalogue, which holds generic classes too."""
    return {key: value for key, value in loaded.document.data.items() if key != "catalogue"}


def _leaves(data: Any, path: KeyPath) -> Iterator[tuple[KeyPath, Any]]:
    if isinstance(data, dict) and data and "value" not in data:
        for key, item in data.items():
            yield from _leaves(item, (*path, str(key)))
    elif isinstance(data, (list, tuple)) and any(isinstance(item, (dict, list)) for item in data):
        for i, item in enumerate(data):
            yield from _leaves(item, (*path, i))
    else:
        yield path, data


def _said(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(str(v) if k == "value" else f"{k} {v}" for k, v in value.items() if v is not None)
    if isinstance(value, (list, tuple)):
        return ", ".join(str(v) for v in value)
    return str(value)


def moves(older: Report, newer: Report) -> list[Moved]:
    """List the findings and facts that say something else, the one that moved furthest first.

    Parameters
    ----------
    older, newer : Report
        Of two revisions [-].

    Returns
    -------
    list of Moved
        Those that moved by a thousandth or more, came or went [-].
    """
    before, after = ({(i.id, i.subject): i for i in items_of(report)} for report in (older, newer))
    keys = [*after, *(k for k in before if k not in after)]
    found = [Moved(k[0], k[1], before.get(k), after.get(k)) for k in keys]
    return sorted((m for m in found if m.size >= 1e-3), key=lambda m: -m.size)


def changelog(older: tuple[Loaded, Report], newer: tuple[Loaded, Report]) -> Section:
    """Lay the change log out.

    Parameters
    ----------
    older, newer : tuple of Loaded and Report
        Two revisions, and what the checks found on each [-].

    Returns
    -------
    Section
        What changed, then which findings moved [-].
    """
    changed, moved = edits(older[0], newer[0]), moves(older[1], newer[1])
    blocks: list[Block] = [
        Para(f"From {older[1].robot} ({older[0].document.file.name}) to {newer[1].robot} "
             f"({newer[0].document.file.name}): {len(changed)} entries changed, {len(moved)} results moved."),
        Head("What changed"),
    ]  # fmt: skip
    rows: list[list[Cell]] = [[Mark(key, "key"), was, now] for key, was, now in changed[:_MOST]]
    blocks.append(Table(("Key", "Was", "Is"), rows, (3.6, 2.6, 2.6), (), True) if rows else Para("Nothing."))
    blocks += _left(len(changed), "entries")
    blocks.append(Head("What moved"))
    told: list[list[Cell]] = [_row(m) for m in moved[:_MOST]]
    heads = ("Result", "About", "Was", "Is", "Change", "Holds in")
    table = Table(heads, told, (2.6, 1.7, 1.9, 1.9, 1.2, 1.9), (4,), True)
    blocks.append(table if told else Para("No finding and no computed number moved."))
    blocks += _left(len(moved), "results")
    return Section("What changed since the last revision", blocks)


def _left(count: int, what: str) -> list[Block]:
    return [Para(f"And {count - _MOST} more {what}.", "quiet")] if count > _MOST else []


def _row(moved: Moved) -> list[Cell]:
    old, new = moved.before, moved.after
    return [Mark(moved.id, "key"), moved.subject, _shown(old), _shown(new), _change(old, new), _held(old, new)]


def _shown(item: Finding | Fact | None) -> Cell:
    if item is None:
        return "absent"
    number = with_unit(item.value, item.unit)
    return f"{number} ({item.verdict})" if isinstance(item, Finding) else number


def _change(old: Finding | Fact | None, new: Finding | Fact | None) -> str:
    if old is None or new is None or old.value is None or new.value is None or old.unit != new.unit:
        return "–"
    step = new.value - old.value
    return f"{'+' if step >= 0 else '-'}{digits(abs(step))}"


def _held(old: Finding | Fact | None, new: Finding | Fact | None) -> str:
    was = chance(old.chance) if isinstance(old, Finding) else ""
    now = chance(new.chance) if isinstance(new, Finding) else ""
    return f"{was} → {now}" if was and now and was != now else now or was
