"""Writes a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
from pathlib import Path

from fieldworthy.schema.problems import BadInput, Problem


def write_atomically(file: Path, text: str | bytes) -> None:
    """Write a file so that a reader finds the old text or the new one, never a half.

    Parameters
    ----------
    file : Path
        The file; where it is a link, what it points to is written [-].
    text : str or bytes
        Its text, whose line ends stay as they are, or the bytes of a file that is none [-].

    Raises
    ------
    BadInput
        When the folder does not exist or the file cannot be written.

    Notes
    -----
    The text goes to a file beside it, is forced to the disk and then takes the other's name in one step, so
    that a full disk or a pulled plug costs nothing but the new text.
    """
    try:
        target = file.resolve()
        if not target.parent.is_dir():
            raise BadInput([Problem(file, 1, 1, (), f"expected an existing folder, found none at {file.parent}")])
        if target.is_dir():
            raise BadInput([Problem(file, 1, 1, (), "expected a file, found a directory")])
        _replace(target, text)
    except (OSError, ValueError, RuntimeError) as error:  # RuntimeError: links that lead in a ring
        why = getattr(error, "strerror", None) or error
        raise BadInput([Problem(file, 1, 1, (), f"the file cannot be written ({why})")]) from error


def _replace(target: Path, text: str | bytes) -> None:
    beside = target.with_name(f".{target.name[:40]}.{secrets.token_hex(4)}.tmp")
    try:
        _write_through(beside, text)
        if target.exists():
            shutil.copymode(target, beside)
        beside.replace(target)
        _keep_name(target.parent)
    finally:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)


def _write_through(file: Path, text: str | bytes) -> None:
    with file.open("xb") as stream:
        stream.write(text.encode("utf-8") if isinstance(text, str) else text)
        stream.flush()
        os.fsync(stream.fileno())


def _keep_name(folder: Path) -> None:
    """Force the new name to the disk too, where the system can do that for a folder."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
