"""What a declared thing says is wrong with itself, where the schema alone is too weak."""

from __future__ import annotations

import dataclasses
import difflib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeAlias

from fieldworthy.errors import Error

KeyPath = tuple[str | int, ...]
_SHOWN = 50  # problems; whoever has more mends these first
_FOUND = 40  # characters of a value that are shown
_LONGEST = 100  # characters of a key that are shown, or compared with known ones


@lru_cache(maxsize=20_000)
def dotted(path: KeyPath) -> str:
    """Write a key path as a person reads it."""
    text = ""
    for key in path:
        if isinstance(key, int):
            text += f"[{key}]"
            continue
        word = key if len(key) <= _LONGEST else f"{key[:_LONGEST]}…"
        word = f'"{word}"' if "." in word or "," in word else word
        text += f".{word}" if text else word
    return text


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Find the known word that is written most like an unknown one."""
    if len(word) > _LONGEST:
        return None
    lower = {k.lower(): k for k in known}
    found = difflib.get_close_matches(word.lower(), lower, 1, 0.6)
    return lower[found[0]] if found else None


def shorten(given: object) -> str:
    """Show what stands in a file, at most a few words of it."""
    if given is None:
        return "nothing"
    if isinstance(given, bool):
        return str(given).lower()
    text = str(given)
    shown = text if len(text) <= _FOUND else f"{text[:_FOUND]}…"
    return repr(shown) if isinstance(given, str) else shown


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with a file.

    Attributes
    ----------
    file : The file as the person named it
    line, column : Counted from 1; 1 and 1 where the file as a whole is meant
    key : The key path
    expected : What was expected there, as a sentence without its full stop
    suggestion : What was probably meant
    """

    file: Path
    line: int
    column: int
    key: KeyPath
    expected: str
    suggestion: str | None = None

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}:{self.column}: "
        key = f"{dotted(self.key)}: " if self.key else ""
        hint = f"; did you mean {self.suggestion!r}?" if self.suggestion else ""
        return _printable(f"{where}{key}{self.expected}{hint}")


def _printable(text: str) -> str:
    """Show what a terminal would act on, such as an escape sequence in a key, as its code."""
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


class BadFile(Error):
    """A file or an option that cannot be used; carries every problem found.

    Attributes
    ----------
    problems : In the order of the file
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(problems, key=lambda p: (str(p.file), p.line, p.column)))
        shown = [str(p) for p in self.problems[:_SHOWN]]
        more = len(self.problems) - _SHOWN
        super().__init__("\n".join(shown + [f"and {more} more problems"] * (more > 0)))


BadInput = BadFile
"""As the rooms inside call it, which raise it for options of a command too."""


Fault: TypeAlias = tuple[KeyPath, str]
"""Where, below the thing itself, and what was expected there."""


def faults_of(thing: Any, path: KeyPath = ()) -> Iterator[Fault]:
    """Collect the faults that declared things report of themselves."""
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        report: Any = getattr(thing, "validate", None)
        if report is not None:
            yield from (((*path, *key), expected) for key, expected in report())
        for f in dataclasses.fields(thing):
            yield from faults_of(getattr(thing, f.name), (*path, f.name))
    elif isinstance(thing, dict):
        for key, item in thing.items():
            yield from faults_of(item, (*path, key))
    elif isinstance(thing, tuple):
        for i, item in enumerate(thing):
            yield from faults_of(item, (*path, i))
