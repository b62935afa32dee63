"""What a command prints to: a terminal, a pipe whose reader may leave, a full disk, or nothing at all."""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from collections.abc import Iterator
from pathlib import Path

_FULL = (errno.ENOSPC, errno.EFBIG, errno.EIO, errno.EBADF, errno.EINVAL)  # a disk, and a lost pipe


@contextlib.contextmanager
def orderly() -> Iterator[None]:
    """End without a traceback where nobody reads on, or where what is printed cannot be kept."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:  # closed by whoever started the program
            nowhere = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115  it lives as long as the program
            setattr(sys, name, nowhere)
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
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
