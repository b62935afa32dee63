"""Changes by key path: as a tree, and laid over plain data."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import Any, NamedTuple, TypeAlias, Union

from fieldworthy.schema.kinds import QUANTITY_KEYS
from fieldworthy.schema.problems import KeyPath, dotted
from fieldworthy.schema.rendering import is_list


class Gone(Enum):
    """The type of `GONE`."""

    GONE = "gone"

    def __repr__(self) -> str:
        return "GONE"


GONE = Gone.GONE
"""As a value among changes: take the key away."""


class Put(NamedTuple):
    """The new value of one key.

    Attributes
    ----------
    value : object
        What shall stand there, or `GONE`.
    """

    value: Any


Edits: TypeAlias = dict[str | int, Union[Put, "Edits"]]


class ChangeError(ValueError):
    """A change that cannot be made.

    Attributes
    ----------
    key : tuple of str or int
        Where.
    expected : str
        What was expected there.
    """

    def __init__(self, key: KeyPath, expected: str) -> None:
        super().__init__(f"{dotted(key)}: {expected}")
        self.key, self.expected = key, expected


def edits_of(changes: Mapping[KeyPath, object]) -> Edits:
    """Sort changes into a tree by their keys.

    Parameters
    ----------
    changes : mapping of tuple to object
        New value by key path [-].

    Returns
    -------
    dict
        Nested by key; `Put` where a value is given [-].

    Raises
    ------
    ChangeError
        For a path without keys, and where one change stands inside another.
    """
    tree: Edits = {}
    for path, value in changes.items():
        here = tree
        for i, key in enumerate(path[:-1]):
            below = here.setdefault(key, {})
            if isinstance(below, Put):
                raise ChangeError(path[: i + 1], "expected one change here, not another one inside it too")
            here = below
        if not path or path[-1] in here:
            raise ChangeError(path, "expected one change here, not another one inside it too")
        here[path[-1]] = Put(value)
    return tree


def is_quantity(keys: Any) -> bool:
    """Say whether a mapping is a quantity written out.

    Parameters
    ----------
    keys : collection of str
        Its keys [-].

    Returns
    -------
    bool
        True for ``value`` with nothing but tolerance, basis and date beside it [-].
    """
    return "value" in keys and set(keys) <= set(QUANTITY_KEYS)


def is_plain(value: object) -> bool:
    """Say whether a value is a text, a number, a truth value or nothing.

    Parameters
    ----------
    value : object
        Any value [-].

    Returns
    -------
    bool
        False for mappings, lists and `GONE` [-].
    """
    return not isinstance(value, Mapping) and not is_list(value) and value is not GONE


def laid_over(data: Any, edits: Put | Edits, path: KeyPath = ()) -> Any:
    """Make changes in plain data.

    Parameters
    ----------
    data : object
        As `read_document` gives it; None where nothing stands [-].
    edits : Put or dict
        As `edits_of` gives them [-].
    path : tuple of str or int
        Where the data stand [-].

    Returns
    -------
    object
        New data, or `GONE` [-].

    Raises
    ------
    ChangeError
        Where a change leads through a plain value, or behind the end of a list.
    """
    if isinstance(edits, Put):
        if isinstance(data, dict) and is_quantity(data) and is_plain(edits.value):
            return data | {"value": edits.value}
        return _plain(edits.value)
    if isinstance(data, list):
        return _laid_over_list(data, edits, path)
    if data is not None and not isinstance(data, dict):
        if not set(edits) <= set(QUANTITY_KEYS):
            raise ChangeError(path, "expected a mapping of keys here, found a plain value")
        data = {"value": data}
    out = dict(data or {})
    for key, edit in edits.items():
        new = laid_over(out.get(str(key)), edit, (*path, key))
        if new is GONE:
            out.pop(str(key), None)
        else:
            out[str(key)] = new
    return out


def _laid_over_list(data: list[Any], edits: Edits, path: KeyPath) -> list[Any]:
    out: list[Any] = list(data)
    for key in sorted(edits, key=str if any(isinstance(k, str) for k in edits) else int):
        if not isinstance(key, int) or not 0 <= key <= len(out):
            raise ChangeError((*path, key), f"expected a place in this list, 0 to {len(data)}")
        new = laid_over(out[key] if key < len(out) else None, edits[key], (*path, key))
        out[key:] = [new, *out[key + 1 :]]
    return [item for item in out if item is not GONE]


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items() if v is not GONE}
    return [_plain(v) for v in value] if is_list(value) else value
