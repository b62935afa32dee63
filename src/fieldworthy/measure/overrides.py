"""The same robot with some of its numbers laid over by others: trial values of a fit, or what was measured."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any, TypeVar

from fieldworthy.files.kinds import Real
from fieldworthy.files.problems import KeyPath

T = TypeVar("T")


def laid_over(thing: T, values: Mapping[KeyPath, Real]) -> T:
    """Lay numbers over a realised declaration."""
    for path, value in values.items():
        thing = _with(thing, path, value)
    return thing


def _with(thing: Any, path: KeyPath, value: Any) -> Any:
    if not path:
        return value
    key, rest = path[0], path[1:]
    if isinstance(thing, dict):
        return thing | {key: _with(thing[key], rest, value)}
    if isinstance(thing, tuple):
        place = int(key)
        return (*thing[:place], _with(thing[place], rest, value), *thing[place + 1 :])
    if not dataclasses.is_dataclass(thing) or isinstance(thing, type) or not hasattr(thing, str(key)):
        raise KeyError(path)
    spec: Any = thing
    return dataclasses.replace(spec, **{str(key): _with(getattr(thing, str(key)), rest, value)})


def number_at(thing: Any, path: KeyPath) -> float:
    """Take one number of a realised declaration."""
    here: Any = thing
    for key in path:
        here = getattr(here, str(key)) if dataclasses.is_dataclass(here) else here[key]
    return float(here)
