"""Reads YAML text into plain data, bounded, with the place of every key; and what is said of a mistake there.

The parser's events are turned into data here, one by one: so the nesting and the number of values are bounded
before anything is built, and a problem is found at its own line and column.
"""

from __future__ import annotations

import dataclasses
import difflib
import itertools
import math
import os
import re
import stat
from collections import OrderedDict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, TypeAlias

from fieldworthy.errors import Error

if TYPE_CHECKING:
    from ruamel.yaml.error import MarkedYAMLError, YAMLError

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
    line, column : Counted from 1; 1 and 1 where the file as a whole is meant, 0 where it is no file but an option
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
        where = f"{self.file}:{self.line}:{self.column}: " if self.line else f"{self.file}: "
        key = f"{dotted(self.key)}: " if self.key and not where.startswith("--") else ""
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


LARGEST = 2_000_000  # bytes; a robot file is some tens of kilobytes
Mark: TypeAlias = tuple[int, int]


@dataclass(slots=True)
class Document:
    """A file's data and where each key stands.

    Attributes
    ----------
    file : The file as the person named it
    data : Dictionaries, lists, strings, numbers, truth values and None
    marks : Line and column (from 1) by key path, of the value
    files : The file by key path, for keys that came from another one, such as a parts list
    problems : What the reader itself found wrong
    """

    file: Path
    data: Any = None
    marks: dict[KeyPath, Mark] = field(default_factory=dict)
    files: dict[KeyPath, Path] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def place(self, key: KeyPath) -> Mark:
        """Find where a key stands, or the nearest key above it."""
        for end in range(len(key), -1, -1):
            if key[:end] in self.marks:
                return self.marks[key[:end]]
        return (1, 1)

    def problem(self, key: KeyPath, expected: str, suggestion: str | None = None) -> Problem:
        """Describe one thing wrong at a key."""
        line, column = self.place(key)
        file = next((self.files[key[:end]] for end in range(len(key), 0, -1) if key[:end] in self.files), self.file)
        return Problem(file, line, column, key, expected, suggestion)


_within: Path | None = None


def keep_within(folder: Path | None) -> None:
    """Let this process read and write nothing outside of one folder, whatever name or link leads out; None ends that.

    Notes
    -----
    Whoever serves the page calls it once, and so does each process that computes for the page: no caller can then
    forget it, also where a file names another one.
    """
    global _within  # noqa: PLW0603  a process serves one folder
    _within = None if folder is None else folder.resolve()


def kept_within() -> Path | None:
    """Tell which folder this process keeps to."""
    return _within


def led_to(file: Path) -> Path:
    """Find where a name and its links lead; refuse what lies outside of the folder that this process keeps to."""
    found = file.resolve()
    if _within is not None and not found.is_relative_to(_within):
        expected = "expected a file in the folder that is open, found a link that leads out of it"
        raise BadInput([Problem(file, 1, 1, (), expected)])
    return found


def opened(file: Path) -> BinaryIO:
    """Open a regular file to be read; never waits for a pipe, and follows no link out of the folder."""
    found = led_to(file)
    _refuse_irregular(file, found.stat())  # before it is opened: whoever waits at the other end of a pipe waits on
    flags = ("O_NONBLOCK", "O_NOFOLLOW", "O_BINARY")  # a link or a pipe may have come in between
    handle = os.open(found, os.O_RDONLY | sum(getattr(os, flag, 0) for flag in flags))
    try:
        _refuse_irregular(file, os.fstat(handle))
    except BadInput:
        os.close(handle)
        raise
    return os.fdopen(handle, "rb")


def _refuse_irregular(file: Path, found: os.stat_result) -> None:
    if stat.S_ISDIR(found.st_mode):
        raise BadInput([Problem(file, 1, 1, (), "expected a file, found a directory")])
    if not stat.S_ISREG(found.st_mode):
        raise BadInput([Problem(file, 1, 1, (), "expected a file, found a device or a pipe")])


def read_bytes(file: Path, most: int = LARGEST) -> bytes:
    """Read a file whole, within bounds."""
    try:
        with opened(file) as stream:
            raw = stream.read(most + 1)
    except FileNotFoundError as error:
        near = nearest(file.name, _siblings(file))
        raise BadInput([Problem(file, 1, 1, (), "no such file", near)]) from error
    except (OSError, ValueError, RuntimeError) as error:  # RuntimeError: links that lead in a ring
        raise unreadable(file, error) from error
    if len(raw) > most:
        raise BadInput([Problem(file, 1, 1, (), f"expected a file of at most {most // 1_000_000} MB")])
    return raw


def unreadable(file: Path, error: Exception) -> BadInput:
    """Say why a file cannot be read."""
    why = getattr(error, "strerror", None) or error
    return BadInput([Problem(file, 1, 1, (), f"the file cannot be read ({why})")])


def head_of_file(file: Path, characters: int) -> str:
    """Read the beginning of a text file; empty where that cannot be done."""
    try:
        with opened(file) as stream:
            return stream.read(4 * characters).decode("utf-8-sig", "replace")[:characters]
    except (OSError, ValueError, RuntimeError, BadInput):
        return ""


def read_text(file: Path) -> str:
    """Read a text file whole, within bounds."""
    return text_of(file, read_bytes(file))


def text_of(file: Path, raw: bytes) -> str:
    """Read bytes as text."""
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


DEEPEST = 24  # levels of nesting; a robot file has six
MOST = 50_000  # values; a robot file has some hundreds
_INTEGER = re.compile(r"[+-]?\d{1,15}")
_FLOAT = re.compile(r"[+-]?(\d+\.\d*|\.\d+|\d+)([eE][+-]?\d{1,3})?")
_TRUTH = {"true": True, "false": False}
_NOTHING = ("", "~", "null")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff\ufffe\uffff]")
_HALF = re.compile("[\ud800-\udfff]")
_WORDS = {  # what the parser says, and what a person can do about it
    "found character '\\t' that cannot start any token": "found a tab: indent with spaces",
    "mapping values are not allowed here": "found ': ' where no key can stand: "
    "check the indentation, and put a text that holds ': ' in quotes",
    "could not find expected ':'": "expected 'key: value': a ':' is missing here or on the line above",
    "but found '<block mapping start>'": "check the indentation: the keys of one group stand one below the other",
    "expected <block end>": "check the indentation: the keys of one group stand one below the other",
    "but got '<stream end>'": "found the end of the file: a bracket is not closed",
    "found unexpected end of stream": "found the end of the file: a quote is not closed",
}


_PARSED: OrderedDict[str, tuple[Any, ...]] = OrderedDict()
_REMEMBERED = 16  # texts; a change of a robot reads each of its files three times or more
_LONG = 300_000  # characters; longer texts are parsed anew


def events_of(text: str) -> Iterator[Any]:
    """Give a YAML text as its parser's events, one by one; the events of the last texts are at hand."""
    known = _PARSED.get(text)
    return _parsed(text) if known is None else iter(known)


def _parsed(text: str) -> Iterator[Any]:
    seen = []
    for event in _plain_text(text) if _ODD.search(text) is None else _any_text(text):
        seen.append(event)
        yield event
    if len(text) <= _LONG:
        _PARSED[text] = tuple(seen)
        while len(_PARSED) > _REMEMBERED:
            _PARSED.popitem(last=False)


def _any_text(text: str) -> Iterator[Any]:
    from ruamel.yaml import YAML  # noqa: PLC0415  only when a file is read

    yield from YAML(typ="safe", pure=True).parse(text)


def _plain_text(text: str) -> Iterator[Any]:
    """Parse with the compiled parser where there is one: ten times as quick, and the same events for such a text."""
    import yaml  # noqa: PLC0415  only when a file is read

    count = 0
    if yaml.__with_libyaml__:
        try:
            for event in yaml.parse(text, Loader=yaml.CLoader):
                yield event
                count += 1
        except yaml.YAMLError:
            pass  # the other says what is wrong, and where
        else:
            return
    yield from itertools.islice(_any_text(text), count, None)


# what the two parsers of a text count or refuse otherwise: tabs, other line breaks, marks of order, tags and names
_ODD = re.compile(r"[\t\x85\u2028\u2029\ufeff]|\r(?!\n)|(?:^|[\s\[{,:?-])[&*!]|^%", re.MULTILINE)


def read_document(file: Path, text: str | None = None) -> Document:
    """Read a YAML file into plain data with the place of every key."""
    text = read_text(file) if text is None else text
    _refuse_control(file, text)
    try:
        return _Builder(file, events_of(text)).document()
    except _marked() as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        raise BadInput([Problem(file, line, column, (), _in_words(str(error.problem or error.context)))]) from error
    except (_plain(), ValueError) as error:
        raise BadInput([Problem(file, 1, 1, (), f"expected YAML: {str(error).splitlines()[0]}")]) from error


def _marked() -> type[MarkedYAMLError]:
    """A parser's refusal with its place; asked for only when there is one, so that a whole file waits for no import."""
    from ruamel.yaml.error import MarkedYAMLError  # noqa: PLC0415

    return MarkedYAMLError


def _plain() -> type[YAMLError]:
    from ruamel.yaml.error import YAMLError  # noqa: PLC0415

    return YAMLError


def _refuse_control(file: Path, text: str) -> None:
    found = _CONTROL.search(text)
    if found is not None:
        before = text[: found.start()]
        line, column = before.count("\n") + 1, len(before.rpartition("\n")[2]) + 1
        what = f"expected text, found the control character 0x{ord(found.group()):02x}"
        raise BadInput([Problem(file, line, column, (), what)])


def _in_words(said: str) -> str:
    return "expected YAML: " + next((words for part, words in _WORDS.items() if part in said), said)


def _is(event: Any, name: str) -> bool:
    """Whether an event is of a sort; both parsers call theirs the same."""
    return type(event).__name__ == name


def _start(event: Any) -> Mark:
    return event.start_mark.line + 1, event.start_mark.column + 1


class _Builder:
    """Builds plain data from the events of a YAML parser."""

    def __init__(self, file: Path, events: Iterator[Any]) -> None:
        self._document = Document(file)
        self._events = events
        self._left = MOST

    def document(self) -> Document:
        """Read one document, which must be a mapping."""
        self._next()  # the stream's start
        if _is(self._next(), "StreamEndEvent"):
            raise self._refused((1, 1), "expected a mapping of keys, found an empty file")
        root = self._next()
        if not _is(root, "MappingStartEvent"):
            raise self._refused(_start(root), "expected a mapping of keys at the top of the file")
        self._document.data = self._value(root, ())
        self._next()  # the document's end
        after = self._next()
        if not _is(after, "StreamEndEvent"):
            self._complain(_start(after), (), "found a second '---': a file holds one document")
        next(self._events, None)  # there is none, and so the text is known to be whole
        return self._document

    def _next(self) -> Any:
        self._left -= 1
        event = next(self._events)
        if self._left < 0:
            raise self._refused(_start(event), f"expected at most {MOST:,} values in a file")
        return event

    def _refused(self, at: Mark, expected: str) -> BadInput:
        return BadInput([*self._document.problems, Problem(self._document.file, *at, (), expected)])

    def _complain(self, at: Mark, path: KeyPath, expected: str) -> None:
        self._document.problems.append(Problem(self._document.file, *at, path, expected))

    def _refuse_escaped(self, at: Mark, path: KeyPath, value: Any) -> None:
        """Refuse control characters that are written as escapes, such as a backslash and an e."""
        found = _CONTROL.search(value) if isinstance(value, str) else None
        if found is not None:
            expected = f"expected text, found the control character 0x{ord(found.group()):02x}"
            raise BadInput([*self._document.problems, Problem(self._document.file, *at, path, expected)])

    def _value(self, event: Any, path: KeyPath) -> Any:
        at = _start(event)
        self._document.marks.setdefault(path, at)
        kind = type(event).__name__
        if kind == "AliasEvent":
            self._complain(at, path, "expected no aliases (*name): write the value out")
            return None
        if kind == "ScalarEvent":
            value = scalar_of(event)
            self._refuse_escaped(at, path, value)
            return value
        if len(path) >= DEEPEST:
            raise self._refused(at, f"expected at most {DEEPEST} levels of nesting")
        return self._sequence(path) if kind == "SequenceStartEvent" else self._mapping(path)

    def _sequence(self, path: KeyPath) -> list[Any]:
        found: list[Any] = []
        while type(event := self._next()).__name__ != "SequenceEndEvent":
            found.append(self._value(event, (*path, len(found))))
        return found

    def _mapping(self, path: KeyPath) -> dict[str, Any]:
        found: dict[str, Any] = {}
        while type(event := self._next()).__name__ != "MappingEndEvent":
            at = _start(event)
            if type(event).__name__ != "ScalarEvent":
                self._complain(at, path, "expected a plain word as key")
                self._skip(event)
                self._skip(self._next())
                continue
            key = _paired(str(event.value))
            self._refuse_escaped(at, (*path, key), key)
            if key in found:
                self._complain(at, (*path, key), "expected each key only once")
                self._skip(self._next())
                continue
            value = self._next()
            empty = getattr(value, "value", None) == "" and not value.style
            self._document.marks[(*path, key)] = at if empty else _start(value)  # nothing stands at its key
            self._document.marks[(*path, key, "")] = at  # where the key itself stands
            found[key] = self._value(value, (*path, key))
        return found

    def _skip(self, event: Any) -> None:
        """Pass over one value, however deep."""
        depth = 0
        while True:
            name = type(event).__name__
            depth += name.endswith("StartEvent")
            depth -= name.endswith("EndEvent")
            if depth == 0:
                return
            event = self._next()


def scalar_of(event: Any) -> Any:
    """Read a scalar of the parser."""
    text = _paired(str(event.value))
    return text if event.style in ("'", '"', "|", ">") else plain_scalar(text)


def _paired(text: str) -> str:
    r"""Join what JSON writes as two halves, such as "\ud83e\udd16" for a face."""
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "surrogatepass") if _HALF.search(text) else text


def plain_scalar(text: str) -> Any:
    """Read a text that stands in a file without quotes."""
    if text.lower() in _NOTHING:
        return None
    if text.lower() in _TRUTH:
        return _TRUTH[text.lower()]
    if _INTEGER.fullmatch(text):
        return int(text)
    number = float(text) if _FLOAT.fullmatch(text) else math.inf
    return number if math.isfinite(number) else text
