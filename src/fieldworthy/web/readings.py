"""The measurements file of a robot: found beside it, begun, and written only over the text that was read."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from fieldworthy.files.changes import flow_text
from fieldworthy.files.document import read_text
from fieldworthy.files.problems import BadInput
from fieldworthy.files.writing import fingerprint, is_dated_copy, written
from fieldworthy.robot.partslist import beside
from fieldworthy.web.folder import Folder
from fieldworthy.web.judging import Units

_HEAD = 4000  # characters in which the file says what it is
_MOST = 400  # files that are looked at
_FORM = re.compile(r"^fieldworthy:[ \t]*['\"]?measurements\b", re.MULTILINE)
_ROBOT = re.compile(r"^robot:[ \t]*(.+?)[ \t]*$", re.MULTILINE)
_TABLE = re.compile(r"\bfile:[ \t]*['\"]?([^'\",}#\r\n]{1,120}\.csv)\b", re.IGNORECASE)
_STEPS = 50  # entries that can be taken back


@dataclass(frozen=True, slots=True)
class Readings:
    """A measurements file as it stands, with the tables that it names.

    Attributes
    ----------
    file : The measurements file
    text : Its text
    tables : Name and fingerprint of each table, so that results are not kept beyond a change of theirs
    """

    file: Path
    text: str
    tables: tuple[tuple[str, str], ...] = ()

    @classmethod
    def read(cls, file: Path) -> Readings:
        """Read a measurements file."""
        text = read_text(file)
        names = sorted({found.strip() for found in _TABLE.findall(text)})[:100]
        tables = ((name, path) for name in names if (path := beside(file, name)) is not None)
        return cls(file, text, tuple((name, fingerprint(path)) for name, path in tables))

    def put(self, text: str) -> None:
        """Write a new text over the one that was read, and over no other."""
        seen = fingerprint(self.file)
        known = seen if read_text(self.file) == self.text else "another text"
        written({self.file: text}, copy_dated=None, expect={self.file: known})


@dataclass(slots=True)
class Memory:
    """What one browser tab has typed and not put into the file, and what it has put there.

    Attributes
    ----------
    file : Name of the measurements file that was chosen, where there are several
    typed : Typed text by procedure and key
    more : Rows added to lists, by procedure and key
    base : What the file said when the form was opened, by procedure and key
    units : In which units that was typed, by procedure
    past : Entries made, the newest last: file, text before, text after
    """

    file: str = ""
    typed: dict[str, dict[str, str]] = field(default_factory=dict)
    more: dict[str, dict[str, int]] = field(default_factory=dict)
    base: dict[str, dict[str, str]] = field(default_factory=dict)
    units: dict[str, Units] = field(default_factory=dict)
    past: list[tuple[Path, str, str]] = field(default_factory=list)

    def forget(self, part: str) -> None:
        """Forget what was typed for one procedure."""
        for kept in (self.typed, self.more, self.base, self.units):
            kept.pop(part, None)

    def keep(self, file: Path, before: str, after: str) -> None:
        """Note an entry, so that it can be taken back."""
        self.past.append((file, before, after))
        del self.past[:-_STEPS]


def belonging(folder: Folder, robot: Path) -> tuple[str, ...]:
    """Find the measurements files that name a robot and stand beside it."""
    try:
        near = sorted(p for p in robot.parent.iterdir() if p.suffix.lower() in (".yaml", ".yml"))[:_MOST]
    except OSError:
        return ()
    plain = (p for p in near if not p.name.startswith(".") and not is_dated_copy(p))
    return tuple(folder.name(p) for p in plain if _names(folder, p) == robot.name)


def _names(folder: Folder, file: Path) -> str:
    """The robot that a measurements file names; empty for any other file."""
    try:
        with folder.path(folder.name(file)).open(encoding="utf-8-sig", errors="replace") as stream:
            head = stream.read(_HEAD)
    except (OSError, BadInput):
        return ""
    robot = _ROBOT.search(head) if _FORM.search(head) else None
    return robot[1].split(" #")[0].strip("'\" ") if robot else ""


def begin(robot: Path, called: str, day: date) -> Path:
    """Begin a measurements file beside a robot."""
    stems = [f"{robot.stem}_measurements", *(f"{robot.stem}_measurements_{i}" for i in range(2, _MOST))]
    file = next(f for stem in stems if not (f := robot.with_name(f"{stem}.yaml")).exists())
    shown = " ".join(called.split())[:80]
    text = (
        f"# What was measured on {shown}; begun on {day.isoformat()}. One section for each procedure: the page fills\n"
        f"# them in, and so does any editor. To fit it: fieldworthy fit {robot.name} {file.name}\n"
        f"fieldworthy: measurements 1\nrobot: {flow_text(robot.name)}\n"
    )
    written({file: text}, copy_dated=None, expect={file: ""})
    return file


def place(target: Path, text: str, day: date) -> tuple[str, ...]:
    """Write a table beside a measurements file; one of that name is kept as a dated copy."""
    copies = written({target: text}, copy_dated=day, expect={target: fingerprint(target)})
    return tuple(copy.name for copy in copies)
