"""How a command ends: on Ctrl-C at any moment, where nobody reads on, or where what it prints cannot be kept."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import signal
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from types import FrameType

from fieldworthy import errors

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


INTERRUPTED = 130
_LINE = b"interrupted\n"
_SHOW_CURSOR = b"\x1b[?25h"
_DEAF = ("<frozen importlib", f"{os.sep}numba{os.sep}", f"{os.sep}llvmlite{os.sep}")
"""Where an exception that comes out of nowhere is lost or wrapped: loading a module, and compiling."""
_PATIENCE = 2.0  # s in which an exception must have come out of the work that is stopped in order


def listen() -> None:
    """Take Ctrl-C over from the interpreter."""
    with contextlib.suppress(ValueError):  # not the main thread
        signal.signal(signal.SIGINT, _Listener().hear)


def ignore() -> None:
    """Let Ctrl-C do nothing any more: everything is done and the interpreter only tidies up."""
    with contextlib.suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)


class _Listener:
    """Ends at once; raises KeyboardInterrupt only where work is stopped in order, and is not there to be lost."""

    def __init__(self) -> None:
        self._heard = False

    def hear(self, _number: int, frame: FrameType | None) -> None:
        """Take the signal."""
        if self._heard or not errors.is_in_order() or _is_deaf(frame):
            _end()
        self._heard = True
        watch = threading.Timer(_PATIENCE, _end_where_lost)
        watch.daemon = True
        watch.start()
        raise KeyboardInterrupt


def _is_deaf(frame: FrameType | None) -> bool:
    while frame is not None:
        if any(part in frame.f_code.co_filename for part in _DEAF):
            return True
        frame = frame.f_back
    return False


def _end_where_lost() -> None:
    if errors.is_in_order():
        _end()


def _end() -> None:
    """Say it and end, without what runs at the end of a program: it could raise once more."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.write(2, (_SHOW_CURSOR if sys.stderr.isatty() else b"") + _LINE)
    os._exit(INTERRUPTED)
