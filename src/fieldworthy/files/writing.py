"""Changes by key path, as a tree and laid over plain data; and writing a file whole or not at all."""

from __future__ import annotations

import contextlib
import difflib
import glob
import hashlib
import json
import os
import re
import secrets
import shutil
import threading
import time
import warnings
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import Enum
from pathlib import Path
from platform import node
from typing import Any, NamedTuple, TypeAlias, TypeGuard, Union

from fieldworthy.errors import Error
from fieldworthy.files.declare import QUANTITY_KEYS
from fieldworthy.files.document import BadInput, KeyPath, Problem, dotted, led_to, opened, plain_scalar, unreadable

WIDEST = 100  # characters of a mapping or list in one line
_PLAIN = re.compile(r"[\w./+(-][\w ./+*%^°µ²³()'=;<>~|@&!?-]*")
_UNSEEN = re.compile("[\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff\ud800-\udfff]")


class Raw(str):
    """A piece of YAML that is written as it is."""

    __slots__ = ()


def _is_plain(text: str) -> bool:
    if not _PLAIN.fullmatch(text) or text.endswith(" ") or text.startswith(("---", "...", "- ")) or text == "-":
        return False
    return " #" not in text


def quoted(text: str) -> str:
    """Write a text in double quotes."""
    return _UNSEEN.sub(lambda found: f"\\u{ord(found.group()):04x}", json.dumps(text, ensure_ascii=False))


def key_text(key: str, *, in_quotes: bool = False) -> str:
    """Write the key of a mapping."""
    return key if _is_plain(key) and not in_quotes else quoted(key)


def scalar_text(value: object, style: str | None = None) -> str:
    """Write a text, number, truth value or nothing."""
    if isinstance(value, Raw):
        return str(value)
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    text = str(value)
    if style == "'" and text.isprintable():
        return "'" + text.replace("'", "''") + "'"
    if style == '"' or not _is_plain(text) or plain_scalar(text) != text:
        return quoted(text)
    return text


def flow_text(value: object, style: str | None = None) -> str:
    """Write any value in one line."""
    if isinstance(value, Mapping):
        in_quotes = style == '"'
        pairs = (f"{key_text(str(k), in_quotes=in_quotes)}: {flow_text(v, style)}" for k, v in value.items())
        return "{" + ", ".join(pairs) + "}"
    if is_list(value):
        return "[" + ", ".join(flow_text(v, style) for v in value) + "]"
    return scalar_text(value, style)


def is_list(value: object) -> TypeGuard[Sequence[Any]]:
    """Whether a value is written as a list."""
    return isinstance(value, Sequence) and not isinstance(value, str)


def _depth(value: object) -> int:
    if isinstance(value, Mapping):
        return 1 + max(map(_depth, value.values()), default=0)
    return 1 + max(map(_depth, value), default=0) if is_list(value) else 0


def in_one_line(value: object) -> bool:
    """Say whether a value is short enough for one line."""
    return _depth(value) <= 2 and len(flow_text(value)) <= WIDEST


def block_lines(value: object, step: int) -> list[str]:
    """Write a mapping or a list one entry a line, short ones below it in one line each."""
    if isinstance(value, Mapping):
        return [line for key, item in value.items() for line in entry_lines(key_text(str(key)), item, step)]
    lines: list[str] = []
    for item in value if is_list(value) else ():
        inner = [flow_text(item)] if in_one_line(item) else block_lines(item, step)
        lines += [f"- {inner[0]}", *(f"  {line}" for line in inner[1:])]
    return lines


def entry_lines(key: str, value: object, step: int) -> list[str]:
    """Write one entry of a mapping in block style."""
    if in_one_line(value):
        return [f"{key}: {flow_text(value)}"]
    return [f"{key}:", *(" " * step + line for line in block_lines(value, step))]


class Gone(Enum):
    """The type of `GONE`."""

    GONE = "gone"

    def __repr__(self) -> str:
        return "GONE"


GONE = Gone.GONE
"""As a value among changes: take the key away."""


class Put(NamedTuple):
    """The new value of one key.

    Attributes
    ----------
    value : What shall stand there, or `GONE`
    """

    value: Any


Edits: TypeAlias = dict[str | int, Union[Put, "Edits"]]


class ChangeError(Error, ValueError):
    """A change that cannot be made.

    Attributes
    ----------
    key : Where
    expected : What was expected there
    """

    def __init__(self, key: KeyPath, expected: str) -> None:
        super().__init__(f"{dotted(key)}: {expected}")
        self.key, self.expected = key, expected


def edits_of(changes: Mapping[KeyPath, object]) -> Edits:
    """Sort changes into a tree by their keys."""
    tree: Edits = {}
    for path, value in changes.items():
        here = tree
        for i, key in enumerate(path[:-1]):
            below = here.setdefault(key, {})
            if isinstance(below, Put):
                raise ChangeError(path[: i + 1], "expected one change here, not another one inside it too")
            here = below
        if not path or path[-1] in here:
            raise ChangeError(path, "expected one change here, not another one inside it too")
        here[path[-1]] = Put(value)
    return tree


def is_quantity(keys: Any) -> bool:
    """Say whether a mapping is a quantity written out."""
    return "value" in keys and set(keys) <= set(QUANTITY_KEYS)


def is_plain(value: object) -> bool:
    """Say whether a value is a text, a number, a truth value or nothing."""
    return not isinstance(value, Mapping) and not is_list(value) and value is not GONE


def laid_over(data: Any, edits: Put | Edits, path: KeyPath = ()) -> Any:
    """Make changes in plain data."""
    if isinstance(edits, Put):
        if isinstance(data, dict) and is_quantity(data) and is_plain(edits.value):
            return data | {"value": edits.value}
        return _plain(edits.value)
    if isinstance(data, list):
        return _laid_over_list(data, edits, path)
    if data is not None and not isinstance(data, dict):
        if not set(edits) <= set(QUANTITY_KEYS):
            raise ChangeError(path, "expected a mapping of keys here, found a plain value")
        data = {"value": data}
    out = dict(data or {})
    for key, edit in edits.items():
        new = laid_over(out.get(str(key)), edit, (*path, key))
        if new is GONE:
            out.pop(str(key), None)
        else:
            out[str(key)] = new
    return out


def _laid_over_list(data: list[Any], edits: Edits, path: KeyPath) -> list[Any]:
    out: list[Any] = list(data)
    for key in sorted(edits, key=str if any(isinstance(k, str) for k in edits) else int):
        if not isinstance(key, int) or not 0 <= key <= len(out):
            raise ChangeError((*path, key), f"expected a place in this list, 0 to {len(data)}")
        new = laid_over(out[key] if key < len(out) else None, edits[key], (*path, key))
        out[key:] = [new, *out[key + 1 :]]
    return [item for item in out if item is not GONE]


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items() if v is not GONE}
    return [_plain(v) for v in value] if is_list(value) else value


_SAVING = threading.Lock()  # two windows of one program save one after the other
_LOCK = ".fieldworthy.lock"  # stands in the folder while a program saves there
_PATIENCE = 20.0  # s until another program must have saved
_OLD = 3600.0  # s after which a file that waits for its name waits in vain
_LEFT = re.compile(r"\..{1,40}\.fieldworthy-(?P<place>[0-9a-f]{8})-(?P<process>\d{1,10})-[0-9a-f]{8}\.tmp", re.DOTALL)
_COPY = re.compile(r"(?P<of>.+)\.(?P<day>\d{4}-\d{2}-\d{2})(-(?P<number>\d+))?", re.ASCII)
_BOM = b"\xef\xbb\xbf"


def write_atomically(file: Path, text: str | bytes) -> None:
    """Write a file so that a reader finds the old text or the new one, never a half.

    Notes
    -----
    The text goes to a file beside it, is forced to the disk and then takes the other's name in one step, so
    that a full disk or a pulled plug costs nothing but the new text.
    """
    try:
        target = _target(file)
        with _beside(target, text.encode() if isinstance(text, str) else text) as beside:
            _take_name(beside, target)
    except (OSError, ValueError, RuntimeError) as error:  # RuntimeError: links that lead in a ring
        raise _unwritable(file, error) from error


def spare(out: Path, read: Iterable[Path]) -> None:
    """Refuse to write over a file that was just read: it would be lost."""
    for file in read:
        with contextlib.suppress(OSError, ValueError):  # what is not there cannot be lost
            if out.samefile(file):
                what = f"expected another file to write: this command reads {file.name}, which would be lost"
                raise BadInput([Problem(out, 1, 1, (), what)])


def fingerprint(content: Path | str | bytes) -> str:
    """Tell the content of a file, or what it would be, from any other; empty where there is no such file.

    Notes
    -----
    A byte order mark does not count, so that a text that was read is known again on the disk.
    """
    if isinstance(content, str | bytes):
        raw = content.encode() if isinstance(content, str) else content
        return hashlib.sha256(raw.removeprefix(_BOM)).hexdigest()
    try:
        with opened(content) as stream:
            return fingerprint(stream.read())
    except FileNotFoundError:
        return ""
    except (OSError, ValueError, RuntimeError) as error:
        raise unreadable(content, error) from error


@dataclass(frozen=True, slots=True)
class Clash:
    """Lines that two people changed in different ways.

    Attributes
    ----------
    line : Of the older text, where it begins, from 1
    mine, theirs : What each made of them
    """

    line: int
    mine: tuple[str, ...]
    theirs: tuple[str, ...]


Hunk: TypeAlias = tuple[int, int, tuple[str, ...]]
"""Lines of the older text from one up to another, and what took their place."""


def merged(base: str, mine: str, theirs: str, *, prefer_mine: bool = True) -> tuple[str, tuple[Clash, ...]]:
    """Bring two changes of one text together, line by line.

    Notes
    -----
    Changes clash where they are of the same line, or put different lines at the same place (the three-way merge of
    GNU diff3, but with neighbouring lines told apart).
    """
    old = base.splitlines(keepends=True)
    ours, others = (_hunks(old, text.splitlines(keepends=True)) for text in (mine, theirs))
    found: list[Hunk] = []
    clashes: list[Clash] = []
    while ours or others:
        if not others or (ours and _before(ours[0], others[0])):
            found.append(ours.pop(0))
        elif not ours or _before(others[0], ours[0]):
            found.append(others.pop(0))
        else:
            one, other = _same_reach(old, ours, others)
            if one != other:
                clashes.append(Clash(one[0] + 1, one[2], other[2]))
            found.append(one if prefer_mine else other)
    for start, end, lines in reversed(found):
        old[start:end] = lines
    return "".join(old), tuple(clashes)


def _hunks(old: list[str], new: list[str]) -> list[Hunk]:
    """What was changed; of as many lines as before, each by itself."""
    found: list[Hunk] = []
    for kind, i, k, m, n in difflib.SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if kind == "replace" and k - i == n - m:
            found += [(i + at, i + at + 1, (new[m + at],)) for at in range(k - i)]
        elif kind != "equal":
            found.append((i, k, tuple(new[m:n])))
    return found


def _before(one: Hunk, other: Hunk) -> bool:
    """Whether a change ends before another begins; two that only put lines in at one place do not."""
    return one[1] <= other[0] and not one[0] == one[1] == other[0] == other[1]


def _same_reach(old: list[str], ours: list[Hunk], others: list[Hunk]) -> tuple[Hunk, Hunk]:
    """Take from both the changes that touch each other, widened to the same lines."""
    mine, theirs = [ours.pop(0)], [others.pop(0)]
    while True:
        end = max(mine[-1][1], theirs[-1][1])
        if ours and ours[0][0] < end:
            mine.append(ours.pop(0))
        elif others and others[0][0] < end:
            theirs.append(others.pop(0))
        else:
            break
    start = min(mine[0][0], theirs[0][0])
    return _widened(old, mine, start, end), _widened(old, theirs, start, end)


def _widened(old: list[str], hunks: list[Hunk], start: int, end: int) -> Hunk:
    lines: list[str] = []
    at = start
    for first, last, new in hunks:
        lines += [*old[at:first], *new]
        at = last
    return start, end, (*lines, *old[at:end])


class Changed(BadInput):
    """A file has another text than the one that was read; nothing was written."""


def is_dated_copy(file: Path) -> bool:
    """Say whether a file's name is that of a copy that `written` kept."""
    return _COPY.fullmatch(file.stem) is not None


Moment: TypeAlias = tuple[str, int]
"""A day as ISO 8601 writes it, and which save of that day, from 1."""


def dated_copies(file: Path) -> dict[Moment, Path]:
    """Find the copies that `written` kept of a file, the latest first."""
    found: dict[Moment, Path] = {}
    with contextlib.suppress(OSError):
        for path in file.parent.glob(f"{glob.escape(file.stem)}.*{glob.escape(file.suffix)}"):
            name = _COPY.fullmatch(path.stem)
            if name is not None and name["of"] == file.stem:
                found[name["day"], int(name["number"] or 1)] = path
    return dict(sorted(found.items(), reverse=True))


def as_of(files: Iterable[Path], moment: Moment) -> dict[Path, Path]:
    """Find where the text of each file stands that it had until a save: in the first copy since, or in itself."""
    since = {file: [path for at, path in dated_copies(file).items() if at >= moment] for file in files}
    return {file: copies[-1] if copies else file for file, copies in since.items()}


def written(
    texts: Mapping[Path, str], *, copy_dated: date | None, expect: Mapping[Path, str] | None = None
) -> tuple[Path, ...]:
    """Save the files of a robot so that at any moment each is the old one or the new one, never a half.

    Notes
    -----
    All new texts are on the disk before the first takes its file's name, in the order given; between two names
    a pulled plug leaves the first file new and the second old. From the comparison with what is expected to the last
    name nobody else saves in these folders, in this program or in another one.
    """
    with _SAVING, contextlib.ExitStack() as stack:
        for folder in sorted({_parent(file) for file in texts}):
            stack.enter_context(_alone(folder))
            _clear(folder)
        _refuse_changed(expect or {})
        staged: list[tuple[Path, Path]] = []
        for file, text in texts.items():
            try:
                target = _target(file)
                old = target.read_bytes() if target.exists() else b""
                new = (_BOM if old.startswith(_BOM) else b"") + text.encode()
                if new != old or not target.exists():
                    staged.append((stack.enter_context(_beside(target, new)), target))
            except (OSError, ValueError, RuntimeError) as error:
                raise _unwritable(file, error) from error
        copies = tuple(_kept(target, copy_dated) for _, target in staged if copy_dated and target.exists())
        _refuse_changed(expect or {})  # an editor knows no lock
        for beside, target in staged:
            try:
                _take_name(beside, target)
            except OSError as error:
                raise _unwritable(target, error) from error
        return copies


def _refuse_changed(expect: Mapping[Path, str]) -> None:
    there = "expected a new name: there is a file of this name already (nothing was written)"
    what = "the file has changed since it was read: read it again, then make the change anew (nothing was written)"
    changed = [
        Problem(file, 1, 1, (), what if known else there)
        for file, known in expect.items()
        if fingerprint(file) != known
    ]
    if changed:
        raise Changed(changed)


def _parent(file: Path) -> Path:
    try:
        return _target(file).parent
    except (OSError, ValueError, RuntimeError) as error:
        raise _unwritable(file, error) from error


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Save in a folder while no other program does."""
    from filelock import FileLock, Timeout  # noqa: PLC0415  only where a file is saved

    lock = FileLock(folder / _LOCK, timeout=_PATIENCE, poll_interval=0.01)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a disk that knows no locks gets one of another make
            lock.acquire()
    except Timeout as error:
        what = f"expected to save within {_PATIENCE:.0f} s, but another program is saving in this folder: try again"
        raise BadInput([Problem(folder, 1, 1, (), what)]) from error
    except OSError as error:
        raise _unwritable(folder, error) from error
    try:
        yield
    finally:
        if os.name == "posix":  # whoever waits sees that the file lost its name, and makes a new one
            (folder / _LOCK).unlink(missing_ok=True)
        lock.release(force=True)


def _clear(folder: Path) -> None:
    """Remove what a save left behind that was killed; never what a program still writes."""
    with contextlib.suppress(OSError):
        for path in folder.glob(".*.tmp"):
            found = _LEFT.fullmatch(path.name)
            if found and path.is_file() and not path.is_symlink() and (_is_gone(found) or _is_old(path)):
                with contextlib.suppress(OSError):
                    path.unlink()


def _is_gone(left: re.Match[str]) -> bool:
    """Tell whether the program that wrote a file has ended, where it ran here and the system can say so."""
    if left["place"] != _place() or os.name != "posix":
        return False
    try:
        os.kill(int(left["process"]), 0)  # signal 0 only asks
    except ProcessLookupError:
        return True
    except (OSError, OverflowError):
        return False
    return False


def _is_old(path: Path) -> bool:
    return time.time() - path.stat().st_mtime > _OLD


def _place() -> str:
    """Name the machine in a few letters: numbers of processes mean nothing on another one."""
    return f"{zlib.crc32(node().encode()):08x}"


def _kept(target: Path, day: date) -> Path:
    """Keep a file under a name with a date that nothing has yet."""
    raw = target.read_bytes()
    with _beside(target, raw) as beside:
        for number in range(1, 10_000):
            after = f"-{number}" if number > 1 else ""
            copy = target.with_name(f"{target.stem}.{day.isoformat()}{after}{target.suffix}")
            if copy.exists() and copy.read_bytes() == raw:
                return copy  # it was kept already, before a save that did not end
            with contextlib.suppress(FileExistsError):
                _take_free_name(beside, copy)
                return copy
    raise BadInput([Problem(target, 1, 1, (), f"expected fewer copies of {day.isoformat()}: move some elsewhere")])


def _take_free_name(beside: Path, copy: Path) -> None:
    """Name a file, unless that name is taken already."""
    try:
        os.link(beside, copy)
    except FileExistsError:
        raise
    except OSError:  # a disk without links, such as a memory stick
        if copy.exists():
            raise FileExistsError(copy) from None
        beside.replace(copy)
    _keep_name(copy.parent)


def _unwritable(file: Path, error: Exception) -> BadInput:
    why = getattr(error, "strerror", None) or error
    return BadInput([Problem(file, 1, 1, (), f"the file cannot be written ({why})")])


def _target(file: Path) -> Path:
    """What a name leads to, which must be a file or could become one."""
    target = led_to(file)
    if not target.parent.is_dir():
        raise BadInput([Problem(file, 1, 1, (), f"expected an existing folder, found none at {file.parent}")])
    if target.is_dir():
        raise BadInput([Problem(file, 1, 1, (), "expected a file, found a directory")])
    if target.exists() and not target.is_file():  # a file that takes its name would take its place
        raise BadInput([Problem(file, 1, 1, (), "expected a file, found a device or a pipe")])
    return target


@contextlib.contextmanager
def _beside(target: Path, raw: bytes) -> Iterator[Path]:
    """A file beside another one, forced to the disk; gone afterwards unless it has taken a name."""
    own = f"fieldworthy-{_place()}-{os.getpid()}-{secrets.token_hex(4)}"
    beside = target.with_name(f".{target.name[:40]}.{own}.tmp")
    try:
        with beside.open("xb") as stream:
            stream.write(raw)
            stream.flush()
            os.fsync(stream.fileno())
        if target.exists():
            shutil.copymode(target, beside)
        yield beside
    finally:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)


def _take_name(beside: Path, target: Path) -> None:
    beside.replace(target)
    _keep_name(target.parent)


def _keep_name(folder: Path) -> None:
    """Force the new name to the disk too, where the system can do that for a folder."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
