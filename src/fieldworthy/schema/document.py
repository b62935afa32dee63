"""A file's text and data, with the place of every key."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeAlias

from fieldworthy.schema.problems import BadInput, KeyPath, Problem, nearest

LARGEST = 2_000_000  # bytes; a robot file is some tens of kilobytes
Mark: TypeAlias = tuple[int, int]


@dataclass(slots=True)
class Document:
    """A file's data and where each key stands.

    Attributes
    ----------
    file : Path
        The file as the person named it.
    data : object
        Dictionaries, lists, strings, numbers, truth values and None.
    marks : dict
        Line and column (from 1) by key path, of the value.
    files : dict
        The file by key path, for keys that came from another one, such as a parts list.
    problems : list of Problem
        What the reader itself found wrong.
    """

    file: Path
    data: Any = None
    marks: dict[KeyPath, Mark] = field(default_factory=dict)
    files: dict[KeyPath, Path] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def place(self, key: KeyPath) -> Mark:
        """Find where a key stands, or the nearest key above it.

        Parameters
        ----------
        key : tuple of str or int
            The key path [-].

        Returns
        -------
        tuple of int
            Line and column, from 1 [-].
        """
        for end in range(len(key), -1, -1):
            if key[:end] in self.marks:
                return self.marks[key[:end]]
        return (1, 1)

    def problem(self, key: KeyPath, expected: str, suggestion: str | None = None) -> Problem:
        """Describe one thing wrong at a key.

        Parameters
        ----------
        key : tuple of str or int
            The key path [-].
        expected : str
            What was expected there [-].
        suggestion : str or None
            What was probably meant [-].

        Returns
        -------
        Problem
            With line and column filled in [-].
        """
        line, column = self.place(key)
        file = next((self.files[key[:end]] for end in range(len(key), 0, -1) if key[:end] in self.files), self.file)
        return Problem(file, line, column, key, expected, suggestion)


def read_bytes(file: Path) -> bytes:
    """Read a file whole, within bounds.

    Parameters
    ----------
    file : Path
        The file [-].

    Returns
    -------
    bytes
        What stands in it [-].

    Raises
    ------
    BadInput
        When it is missing, a directory, unreadable or too large.
    """

    def bad(expected: str) -> BadInput:
        return BadInput([Problem(file, 1, 1, (), expected)])

    try:
        if file.is_dir():
            raise bad("expected a file, found a directory")
        with file.open("rb") as stream:
            raw = stream.read(LARGEST + 1)
    except FileNotFoundError as error:
        near = nearest(file.name, _siblings(file))
        raise BadInput([Problem(file, 1, 1, (), "no such file", near)]) from error
    except (OSError, ValueError) as error:
        raise bad(f"the file cannot be read ({getattr(error, 'strerror', None) or error})") from error
    if len(raw) > LARGEST:
        raise bad(f"expected a file of at most {LARGEST // 1_000_000} MB")
    return raw


def read_text(file: Path) -> str:
    """Read a text file whole, within bounds.

    Parameters
    ----------
    file : Path
        The file [-].

    Returns
    -------
    str
        Its text [-].

    Raises
    ------
    BadInput
        When it is missing, a directory, unreadable, too large or not UTF-8.
    """
    raw = read_bytes(file)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInput([_not_utf8(file, raw, error.start)]) from error


def _siblings(file: Path) -> list[str]:
    try:
        return [p.name for p in file.parent.iterdir()][:500]
    except OSError:
        return []


def _not_utf8(file: Path, raw: bytes, at: int) -> Problem:
    before = raw[:at]
    line, column = before.count(b"\n") + 1, len(before.rpartition(b"\n")[2]) + 1
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return Problem(file, 1, 1, (), "expected UTF-8 text, found UTF-16: save the file as UTF-8")
    return Problem(file, line, column, (), f"expected UTF-8 text, found the byte 0x{raw[at]:02x}: save it as UTF-8")
