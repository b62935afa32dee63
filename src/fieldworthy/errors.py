"""What the program refuses with, and where work is stopped in order."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator


class Error(Exception):
    """Something that fieldworthy cannot work with; its text says what was expected."""


_depth = 0


@contextlib.contextmanager
def in_order() -> Iterator[None]:
    """Mark work that takes a KeyboardInterrupt itself; elsewhere Ctrl-C ends a command at once."""
    global _depth  # noqa: PLW0603  a program has one Ctrl-C
    _depth += 1
    try:
        yield
    finally:
        _depth -= 1


def is_in_order() -> bool:
    """Tell whether such work is being done."""
    return _depth > 0
