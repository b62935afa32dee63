"""Ends a command on Ctrl-C at any moment: one line and status 130, whatever a library makes of the signal."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from types import FrameType

from fieldworthy import stopping

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
        if self._heard or not stopping.is_in_order() or _is_deaf(frame):
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
    if stopping.is_in_order():
        _end()


def _end() -> None:
    """Say it and end, without what runs at the end of a program: it could raise once more."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.write(2, (_SHOW_CURSOR if sys.stderr.isatty() else b"") + _LINE)
    os._exit(INTERRUPTED)
