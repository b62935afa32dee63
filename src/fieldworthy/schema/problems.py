"""What is wrong with a file: where, what was found, what was expected."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

KeyPath = tuple[str | int, ...]


def dotted(path: KeyPath) -> str:
    """Write a key path as a person reads it.

    Parameters
    ----------
    path : tuple of str or int
        Keys from the top of the file; list places are numbers [-].

    Returns
    -------
    str
        For example ``parts.battery.position[0]``; a key with a point or comma stands in quotes [-].
    """
    text = ""
    for key in path:
        if isinstance(key, int):
            text += f"[{key}]"
            continue
        word = f'"{key}"' if "." in key or "," in key else key
        text += f".{word}" if text else word
    return text


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Find the known word that is written most like an unknown one.

    Parameters
    ----------
    word : str
        The word as typed [-].
    known : iterable of str
        What would have been accepted [-].

    Returns
    -------
    str or None
        The near miss, if there is one [-].
    """
    lower = {k.lower(): k for k in known}
    found = difflib.get_close_matches(word.lower(), lower, 1, 0.6)
    return lower[found[0]] if found else None


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with a file.

    Attributes
    ----------
    file : Path
        The file as the person named it.
    line, column : int
        Counted from 1; 1 and 1 where the file as a whole is meant.
    key : tuple of str or int
        The key path.
    expected : str
        What was expected there, as a sentence without its full stop.
    suggestion : str or None
        What was probably meant.
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
        return f"{where}{key}{self.expected}{hint}"


class BadInput(Exception):
    """A file or an option that cannot be used; carries every problem found.

    Attributes
    ----------
    problems : tuple of Problem
        In the order of the file.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(problems, key=lambda p: (str(p.file), p.line, p.column)))
        super().__init__("\n".join(str(p) for p in self.problems))
