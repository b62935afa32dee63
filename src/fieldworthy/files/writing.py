"""Writes a file whole or not at all."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import secrets
import shutil
import threading
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from pathlib import Path

from fieldworthy.files.problems import BadInput, Problem

_SAVING = threading.Lock()  # two windows of one program save one after the other
_COPY = re.compile(r".+\.\d{4}-\d{2}-\d{2}(-\d+)?", re.ASCII)
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


def fingerprint(file: Path) -> str:
    """Tell a file's content from any other."""
    try:
        return hashlib.sha256(file.read_bytes()).hexdigest()
    except FileNotFoundError:
        return ""
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise BadInput([Problem(file, 1, 1, (), f"the file cannot be read ({why})")]) from error


def is_dated_copy(file: Path) -> bool:
    """Say whether a file's name is that of a copy that `written` kept."""
    return _COPY.fullmatch(file.stem) is not None


def written(
    texts: Mapping[Path, str], *, copy_dated: date | None, expect: Mapping[Path, str] | None = None
) -> tuple[Path, ...]:
    """Save the files of a robot so that at any moment each is the old one or the new one, never a half.

    Notes
    -----
    All new texts are on the disk before the first takes its file's name, in the order given; between two names
    a pulled plug leaves the first file new and the second old.
    """
    with _SAVING, contextlib.ExitStack() as stack:
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
        _refuse_changed(expect or {})
        for beside, target in staged:
            try:
                _take_name(beside, target)
            except OSError as error:
                raise _unwritable(target, error) from error
        return copies


def _refuse_changed(expect: Mapping[Path, str]) -> None:
    what = "the file has changed since it was read: read it again, then make the change anew (nothing was written)"
    changed = [Problem(file, 1, 1, (), what) for file, known in expect.items() if fingerprint(file) != known]
    if changed:
        raise BadInput(changed)


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
    target = file.resolve()
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
    beside = target.with_name(f".{target.name[:40]}.{secrets.token_hex(4)}.tmp")
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
