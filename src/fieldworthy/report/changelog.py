"""The change log between two revisions: what changed in the file, and which findings moved, by how much."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from fieldworthy.engine.finding import Fact, Finding, Report, name_of, title_of
from fieldworthy.files import read_document
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.report.blocks import Block, Cell, Head, Para, Section, Table, chance, items_of, with_unit
from fieldworthy.report.formulas import Words
from fieldworthy.robot import Loaded
from fieldworthy.robot.partslist import beside
from fieldworthy.units import counted, digits

_MOST = 300  # rows of each table; two revisions of one robot differ in fewer
_FEW = 4  # entries of a new thing that are told in full


@dataclass(frozen=True, slots=True)
class Moved:
    """A finding or fact that says something else now.

    Attributes
    ----------
    id, subject : Which
    before, after : None where that revision has it not
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
    """List what changed in the files, parts list and season included."""
    before, after = _alike(_own(older), _own(newer))
    return [(dotted(path), _told(was), _told(now)) for path, was, now in _differences(before, after, ())]


def _own(loaded: Loaded) -> dict[str, Any]:
    """The robot file's data with its parts list, and the season's in place of its name."""
    data: dict[str, Any] = dict(loaded.document.data)
    file = beside(loaded.document.file, str(data["season"]))
    if file is not None:
        data["season"] = read_document(file, loaded.texts.get(file)).data
    return data


def _alike(before: dict[str, Any], after: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Of the catalogue only the classes that both have: which generic ones are used shows where they are named."""
    both = []
    for one, other in ((before, after), (after, before)):
        kept = {
            section: {name: it for name, it in classes.items() if name in (other["catalogue"].get(section) or {})}
            for section, classes in one["catalogue"].items()
        }
        both.append({**one, "catalogue": kept})
    return both[0], both[1]


_NOTHING = object()
"""Stands for what a file does not say."""


def _differences(before: Any, after: Any, path: KeyPath) -> Iterator[tuple[KeyPath, Any, Any]]:
    """Where two files differ: a thing that is new or gone is told once, not entry by entry."""
    if _nested(before) and _nested(after):
        old, new = _entries(before), _entries(after)
        for key in [*new, *(k for k in old if k not in new)]:
            yield from _differences(old.get(key, _NOTHING), new.get(key, _NOTHING), (*path, key))
    elif before != after:
        yield path, before, after


def _nested(data: Any) -> bool:
    """Whether entries of their own stand below; a quantity with its basis, or a list of numbers, is one entry."""
    if isinstance(data, dict):
        return "value" not in data
    return isinstance(data, list) and any(isinstance(item, (dict, list)) for item in data)


def _entries(data: Any) -> dict[str | int, Any]:
    return dict(enumerate(data)) if isinstance(data, list) else data


def _told(data: Any) -> str:
    if data is _NOTHING:
        return "–"
    if not _nested(data):
        return _said(data)
    if isinstance(data, list):
        return "one entry" if len(data) == 1 else f"{len(data)} entries"
    entries = _entries(data)
    if len(entries) <= _FEW and not any(_nested(item) for item in entries.values()):
        return "; ".join(f"{key} {_said(item)}" for key, item in entries.items())
    if all(_nested(item) for item in entries.values()):  # things by their names
        return f"with {', '.join(str(key) for key in entries)}"
    return f"described by {len(entries)} entries"


def _said(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(str(v) if k == "value" else f"{k} {v}" for k, v in value.items() if v is not None)
    if isinstance(value, (list, tuple)):
        return ", ".join(str(v) for v in value)
    return str(value).lower() if isinstance(value, bool) else str(value)


_MATTERS = 0.05  # of a chance: what moves it by less leaves the answer as it was


def matters(moved: Moved) -> bool:
    """Say whether a person wants to read of it: a verdict that changes, comes or goes short, or a chance that moves."""
    old, new = moved.before, moved.after
    if old is None or new is None:
        return any(isinstance(item, Finding) and item.verdict != "holds" for item in (old, new))
    if not isinstance(old, Finding) or not isinstance(new, Finding):
        return False
    if old.verdict != new.verdict:
        return True
    return old.chance is not None and new.chance is not None and abs(old.chance - new.chance) >= _MATTERS


def moves(older: Report, newer: Report) -> list[Moved]:
    """List the findings and facts that say something else, the one that moved furthest first."""
    before, after = ({(i.id, i.subject): i for i in items_of(report)} for report in (older, newer))
    keys = [*after, *(k for k in before if k not in after)]
    found = [Moved(k[0], k[1], before.get(k), after.get(k)) for k in keys]
    return sorted((m for m in found if m.size >= 1e-3), key=lambda m: -m.size)


def changelog(older: tuple[Loaded, Report], newer: tuple[Loaded, Report]) -> Section:
    """Lay the change log out."""
    words = Words(newer[0])
    changed, moved = edits(older[0], newer[0]), moves(older[1], newer[1])
    blocks: list[Block] = [
        Para(f"From {older[1].robot} ({older[0].document.file.name}) to {newer[1].robot} "
             f"({newer[0].document.file.name}): {len(changed)} entries changed, {len(moved)} results moved."),
        Head("What changed"),
    ]  # fmt: skip
    rows: list[list[Cell]] = [[words.key(key), was, now] for key, was, now in changed[:_MOST]]
    blocks.append(Table(("Number", "Was", "Is"), rows, (3.6, 2.6, 2.6), (), True) if rows else Para("Nothing."))
    blocks += _left(len(changed), "entries")
    blocks.append(Head("What moves a verdict"))
    turned = [m for m in moved if matters(m)]
    told: list[list[Cell]] = [_row(m) for m in turned[:_MOST]]
    heads = ("Result", "Was", "Is", "Change", "Holds in")
    table = Table(heads, told, (3.4, 2.1, 2.1, 1.2, 1.9), (3,), True)
    blocks.append(table if told else Para("No verdict moved."))
    blocks += [*_left(len(turned), "results"), *_rest(moved, turned)]
    return Section("What changed since the last revision", blocks)


def _rest(moved: list[Moved], turned: list[Moved]) -> list[Block]:
    """All that moved and moves no verdict, in one line."""
    rest = [m for m in moved if m not in turned]
    if not rest:
        return []
    findings = sum(isinstance(m.after or m.before, Finding) for m in rest)
    far = max(rest, key=lambda m: m.size if m.size < 1.0 else 0.0)
    most = f"; the most by {100.0 * far.size:.0f} % ({title_of(far.id, far.subject)})" if far.size < 1.0 else ""
    numbers = f"{counted(findings, 'finding')} and {counted(len(rest) - findings, 'computed number')}"
    return [Para(f"{numbers} moved without moving a verdict{most}.", "quiet")]


def _left(count: int, what: str) -> list[Block]:
    return [Para(f"And {count - _MOST} more {what}.", "quiet")] if count > _MOST else []


def _row(moved: Moved) -> list[Cell]:
    old, new = moved.before, moved.after
    item = new or old
    name = moved.id if item is None else name_of(item)
    return [name, _shown(old), _shown(new), _change(old, new), _held(old, new)]


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
