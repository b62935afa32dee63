"""The folder that is open: its robots and seasons, and names that cannot lead out of it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Literal

from fieldworthy.files.document import BadInput, Problem, head_of_file, read_text
from fieldworthy.files.writing import is_dated_copy

Kind = Literal["robot", "season"]
MOST = 400
"""Files that are listed; a folder with more is not a team's."""
_DEEPEST = 2  # folders below the one that is open
_HEAD = 4000  # characters in which the file says what it is
_FORM = re.compile(r"^fieldworthy:[ \t]*['\"]?(robot|season)\b", re.MULTILINE)
_NAMED = {
    "robot": re.compile(r"^robot:[ \t]*(.+?)[ \t]*$", re.MULTILINE),
    "season": re.compile(r"^season:[ \t]*(.+?)[ \t]*$", re.MULTILINE),
}
_STEP = re.compile(
    r"[^\s.\\/:*?\"<>|\x00-\x1f\x7f](?:[^\\/:*?\"<>|\x00-\x1f\x7f]{0,98}[^\s.\\/:*?\"<>|\x00-\x1f\x7f])?"
)
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)  # names that Windows keeps for itself


@dataclass(frozen=True, slots=True)
class Entry:
    """A file of the folder.

    Attributes
    ----------
    name : Relative to the folder, with forward slashes
    kind : What the file says that it is
    title : What it calls itself
    """

    name: str
    kind: Kind
    title: str


@dataclass(frozen=True, slots=True)
class Folder:
    """A folder, beyond which nothing is read or written.

    Attributes
    ----------
    root : Absolute, with its links resolved
    """

    root: Path

    @classmethod
    def at(cls, path: Path) -> Folder:
        """Open a folder."""
        if not path.is_dir():
            what = "expected a folder, found a file" if path.exists() else "expected an existing folder"
            raise BadInput([Problem(path, 1, 1, (), what)])
        return cls(path.resolve())

    def path(self, name: str) -> Path:
        """Find a file by its name."""
        steps = name.split("/")
        if len(steps) > _DEEPEST + 1 or not all(map(_is_plain, steps)):
            raise BadInput(
                [Problem(Path("name"), 1, 1, (), f"expected the name of a file in this folder: {name!r:.80}")]
            )
        path = self.root.joinpath(*steps)
        try:
            inside = path.resolve().is_relative_to(self.root)
        except (OSError, RuntimeError):  # links that lead in a ring
            inside = False
        if not inside:
            raise BadInput(
                [Problem(Path(name), 1, 1, (), "expected a file in this folder, found a link that leads out")]
            )
        return path

    def name(self, path: Path) -> str:
        """Name a file of the folder."""
        return PurePosixPath(path.relative_to(self.root)).as_posix()

    def read(self, name: str) -> str:
        """Read a file."""
        return read_text(self.path(name))

    def entries(self) -> tuple[Entry, ...]:
        """List the robots and seasons, without the dated copies of what they were before."""
        found = [entry for path in self._files() if (entry := self._entry(path)) is not None]
        return tuple(sorted(found, key=lambda e: (e.kind != "robot", e.name.lower())))

    def free_name(self, wish: str, beside: str = "") -> str:
        """Find a name that no file bears yet, in the folder itself or in one below it."""
        stem = re.sub(r"[^a-z0-9]+", "_", wish.lower()).strip("_")[:40] or "robot"
        stem = f"{stem}_robot" if _RESERVED.fullmatch(stem) else stem
        stem = f"{beside}/{stem}" if beside else stem
        names = [f"{stem}.yaml", *(f"{stem}_{i}.yaml" for i in range(2, MOST))]
        return next((name for name in names if not self.path(name).exists()), names[-1])

    def _files(self) -> Iterator[Path]:
        """The YAML files, the nearest first, none of them hidden or a copy of an earlier day."""
        level, left = [self.root], MOST
        for _ in range(_DEEPEST + 1):
            below: list[Path] = []
            for folder in level:
                for path in _inside(folder):
                    if path.is_dir():
                        below.append(path)
                    elif path.suffix.lower() in (".yaml", ".yml") and not is_dated_copy(path) and left > 0:
                        left -= 1
                        yield path
            level = below[:MOST]

    def _entry(self, path: Path) -> Entry | None:
        name = self.name(path)
        try:
            head = head_of_file(self.path(name), _HEAD)
        except BadInput:
            return None
        form = _FORM.search(head)
        if form is None:
            return None
        kind: Kind = "robot" if form[1] == "robot" else "season"
        title = _NAMED[kind].search(head)
        return Entry(name, kind, (title[1].split(" #")[0].strip("'\" ") if title else "")[:80] or name)


def _inside(folder: Path) -> list[Path]:
    try:
        return sorted(p for p in folder.iterdir() if not p.name.startswith("."))[: 4 * MOST]
    except OSError:
        return []


def _is_plain(step: str) -> bool:
    return _STEP.fullmatch(step) is not None and _RESERVED.fullmatch(step) is None and step.isprintable()


def is_season(text: str) -> bool:
    """Tell whether a text says that it is a season."""
    form = _FORM.search(text[:_HEAD])
    return form is not None and form[1] == "season"
