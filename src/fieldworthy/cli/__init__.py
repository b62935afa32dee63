"""The commands: they read options, call the other rooms and print."""

from __future__ import annotations

import sys

from fieldworthy.cli import ending

__all__ = ["main"]


def main(arguments: list[str] | None = None) -> None:
    """Run the command line."""
    whole = arguments is None  # the program itself, not a part of another one
    try:
        if whole:
            ending.listen()
        from fieldworthy.cli.app import main as run  # noqa: PLC0415

        run(arguments)
    except KeyboardInterrupt:
        if sys.stderr is not None:
            sys.stderr.write("interrupted\n")
        raise SystemExit(ending.INTERRUPTED) from None
    finally:
        if whole:
            ending.ignore()
