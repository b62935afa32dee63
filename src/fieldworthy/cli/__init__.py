"""The commands: they read options, call the other rooms and print."""

from __future__ import annotations

import sys

__all__ = ["main"]


def main(arguments: list[str] | None = None) -> None:
    """Run the command line."""
    try:
        from fieldworthy.cli.app import main as run  # noqa: PLC0415

        run(arguments)
    except KeyboardInterrupt:
        sys.stderr.write("interrupted\n")
        raise SystemExit(130) from None
