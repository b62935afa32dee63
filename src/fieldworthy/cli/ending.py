"""How a command ends where nobody reads on, or where what it prints cannot be kept."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import sys
from collections.abc import Iterator
from pathlib import Path

_FULL = (errno.ENOSPC, errno.EFBIG, errno.EIO, errno.EBADF, errno.EINVAL)  # a disk, and a lost pipe


class _Forgiving(io.TextIOWrapper):
    """A stream for what went wrong: where it cannot be written, the exit status must still tell it."""

    def write(self, text: str) -> int:
        """Write what can be written."""
        with contextlib.suppress(OSError):
            return super().write(text)
        return len(text)

    def flush(self) -> None:
        """Write what waits, if that is possible."""
        with contextlib.suppress(OSError):
            super().flush()


def _nowhere() -> io.TextIOBase:
    return Path(os.devnull).open("w", encoding="utf-8")


def _prepare() -> None:
    """Let both streams take any letter, and never be missing."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:  # closed by whoever started the program
            setattr(sys, name, _nowhere())
        elif name == "stderr" and type(stream) is io.TextIOWrapper and stream is sys.__stderr__:
            raw = io.FileIO(stream.fileno(), "w", closefd=False)
            sys.stderr = _Forgiving(io.BufferedWriter(raw), "utf-8", "replace", line_buffering=True)
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")


@contextlib.contextmanager
def orderly() -> Iterator[None]:
    """End without a traceback where nobody reads on, or where what is printed cannot be kept."""
    _prepare()
    try:
        try:
            yield
        finally:
            sys.stdout.flush()
    except BrokenPipeError:
        _drop()
        raise SystemExit(0) from None
    except SystemExit as ended:
        if isinstance(ended.__context__, BrokenPipeError):  # the libraries make 1 of it, which means short here
            _drop()
            raise SystemExit(0) from None
        raise
    except OSError as error:
        if error.filename is not None or error.errno not in _FULL:  # not of these streams
            raise
        _drop()
        sys.stderr.write(f"expected to print what was found; it cannot be written ({error.strerror or error})\n")
        raise SystemExit(2) from None


def _drop() -> None:
    """Let what is still to be flushed at the end go nowhere."""
    with contextlib.suppress(OSError, ValueError):
        printed = sys.stdout.fileno()
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, printed)
        os.close(nowhere)
