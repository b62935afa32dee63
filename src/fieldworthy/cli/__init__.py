"""The commands: they read options, call the other rooms and print."""

from __future__ import annotations

import gc
import os
import sys

__all__ = ["main"]

_INTERRUPTED = 130
_THREADS = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""What libraries of linear algebra read, when they are first loaded, for how many threads to work in."""


def main(arguments: list[str] | None = None) -> None:
    """Run the command line."""
    whole = arguments is None  # the program itself, not a part of another one
    try:
        # loaded in here, since Ctrl-C is a traceback until something listens
        from fieldworthy.cli import ending  # noqa: PLC0415

        if whole:
            ending.listen()
            # a robot's matrices are small: threads would spend several times the work in waiting for each other
            for name in _THREADS:
                os.environ.setdefault(name, "1")
            # what a command makes lives to its end: looking for rubbish in it after every 700 things costs a twentieth
            gc.set_threshold(50_000, 20, 50)
        from fieldworthy.cli.app import main as run  # noqa: PLC0415

        run(arguments)
    except KeyboardInterrupt:
        if sys.stderr is not None:
            sys.stderr.write("interrupted\n")
        raise SystemExit(_INTERRUPTED) from None
    finally:
        if whole:
            from fieldworthy.cli import ending  # noqa: PLC0415

            ending.ignore()
