"""The commands: they read options, call the other rooms and print."""

from __future__ import annotations

import sys

__all__ = ["main"]


def main(arguments: list[str] | None = None) -> None:
    """Run the command line.

    Parameters
    ----------
    arguments : list of str or None
        The words after the program's name; those of the process where None [-].

    Raises
    ------
    SystemExit
        0: done and nothing short; 1: something is short; 2: the input is bad, or the output cannot be written;
        130: interrupted.
    """
    try:
        from fieldworthy.cli.app import main as run

        run(arguments)
    except KeyboardInterrupt:
        sys.stderr.write("interrupted\n")
        raise SystemExit(130) from None
