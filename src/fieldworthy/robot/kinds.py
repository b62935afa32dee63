"""The systems that are installed, as far as a file needs them: which kinds of mechanism it may hold."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib.metadata import entry_points
from typing import Any, Protocol

GROUP = "fieldworthy.systems"
"""The entry points that name systems: one system each, or a sequence of them."""
_OWN = "fieldworthy"


class Declares(Protocol):
    """What a system says of itself to the file."""

    @property
    def kinds(self) -> tuple[type, ...]:
        """The kinds of mechanism that it adds to a robot file."""


@cache
def declared() -> tuple[Any, ...]:
    """Every system: our own in their order, then those of other packages by the names of their entry points."""
    found: list[Any] = []
    for point in sorted(entry_points(group=GROUP), key=lambda p: (p.name != _OWN, p.name)):
        given = point.load()
        found += given if isinstance(given, Sequence) else [given]
    return tuple(found)


def mechanism_kinds() -> tuple[type, ...]:
    """The kinds of mechanism that the installed systems declare, each once."""
    systems: tuple[Declares, ...] = declared()
    return tuple(dict.fromkeys(kind for system in systems for kind in system.kinds))
