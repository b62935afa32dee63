"""What a declared thing says is wrong with itself, where the schema alone is too weak."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import Any, TypeAlias

from fieldworthy.schema.problems import KeyPath

Fault: TypeAlias = tuple[KeyPath, str]
"""Where, below the thing itself, and what was expected there."""


def faults_of(thing: Any, path: KeyPath = ()) -> Iterator[Fault]:
    """Collect the faults that declared things report of themselves.

    Parameters
    ----------
    thing : object
        A realised declaration with plain numbers, or a collection of them; a declaration may define
        ``faults()``, which yields a `Fault` for each thing wrong [-].
    path : tuple of str or int
        Where it stands [-].

    Yields
    ------
    tuple
        Key path and what was expected there [-].
    """
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        report: Any = getattr(thing, "faults", None)
        if report is not None:
            yield from (((*path, *key), expected) for key, expected in report())
        for f in dataclasses.fields(thing):
            yield from faults_of(getattr(thing, f.name), (*path, f.name))
    elif isinstance(thing, dict):
        for key, item in thing.items():
            yield from faults_of(item, (*path, key))
    elif isinstance(thing, tuple):
        for i, item in enumerate(thing):
            yield from faults_of(item, (*path, i))
