"""Changes by key path: as a tree, and laid over plain data."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from enum import Enum
from typing import Any, NamedTuple, TypeAlias, TypeGuard, Union

from fieldworthy.errors import Error
from fieldworthy.files.document import plain_scalar
from fieldworthy.files.kinds import QUANTITY_KEYS
from fieldworthy.files.problems import KeyPath, dotted

WIDEST = 100  # characters of a mapping or list in one line
_PLAIN = re.compile(r"[\w./+(-][\w ./+*%^°µ²³()'=;<>~|@&!?-]*")
_UNSEEN = re.compile("[\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff\ud800-\udfff]")


class Raw(str):
    """A piece of YAML that is written as it is."""

    __slots__ = ()


def _is_plain(text: str) -> bool:
    if not _PLAIN.fullmatch(text) or text.endswith(" ") or text.startswith(("---", "...", "- ")) or text == "-":
        return False
    return " #" not in text


def quoted(text: str) -> str:
    """Write a text in double quotes."""
    return _UNSEEN.sub(lambda found: f"\\u{ord(found.group()):04x}", json.dumps(text, ensure_ascii=False))


def key_text(key: str, *, in_quotes: bool = False) -> str:
    """Write the key of a mapping."""
    return key if _is_plain(key) and not in_quotes else quoted(key)


def scalar_text(value: object, style: str | None = None) -> str:
    """Write a text, number, truth value or nothing."""
    if isinstance(value, Raw):
        return str(value)
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    text = str(value)
    if style == "'" and text.isprintable():
        return "'" + text.replace("'", "''") + "'"
    if style == '"' or not _is_plain(text) or plain_scalar(text) != text:
        return quoted(text)
    return text


def flow_text(value: object, style: str | None = None) -> str:
    """Write any value in one line."""
    if isinstance(value, Mapping):
        in_quotes = style == '"'
        pairs = (f"{key_text(str(k), in_quotes=in_quotes)}: {flow_text(v, style)}" for k, v in value.items())
        return "{" + ", ".join(pairs) + "}"
    if is_list(value):
        return "[" + ", ".join(flow_text(v, style) for v in value) + "]"
    return scalar_text(value, style)


def is_list(value: object) -> TypeGuard[Sequence[Any]]:
    """Whether a value is written as a list."""
    return isinstance(value, Sequence) and not isinstance(value, str)


def _depth(value: object) -> int:
    if isinstance(value, Mapping):
        return 1 + max(map(_depth, value.values()), default=0)
    return 1 + max(map(_depth, value), default=0) if is_list(value) else 0


def in_one_line(value: object) -> bool:
    """Say whether a value is short enough for one line."""
    return _depth(value) <= 2 and len(flow_text(value)) <= WIDEST


def block_lines(value: object, step: int) -> list[str]:
    """Write a mapping or a list one entry a line, short ones below it in one line each."""
    if isinstance(value, Mapping):
        return [line for key, item in value.items() for line in entry_lines(key_text(str(key)), item, step)]
    lines: list[str] = []
    for item in value if is_list(value) else ():
        inner = [flow_text(item)] if in_one_line(item) else block_lines(item, step)
        lines += [f"- {inner[0]}", *(f"  {line}" for line in inner[1:])]
    return lines


def entry_lines(key: str, value: object, step: int) -> list[str]:
    """Write one entry of a mapping in block style."""
    if in_one_line(value):
        return [f"{key}: {flow_text(value)}"]
    return [f"{key}:", *(" " * step + line for line in block_lines(value, step))]


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
    value : What shall stand there, or `GONE`
    """

    value: Any


Edits: TypeAlias = dict[str | int, Union[Put, "Edits"]]


class ChangeError(Error, ValueError):
    """A change that cannot be made.

    Attributes
    ----------
    key : Where
    expected : What was expected there
    """

    def __init__(self, key: KeyPath, expected: str) -> None:
        super().__init__(f"{dotted(key)}: {expected}")
        self.key, self.expected = key, expected


def edits_of(changes: Mapping[KeyPath, object]) -> Edits:
    """Sort changes into a tree by their keys."""
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
    """Say whether a mapping is a quantity written out."""
    return "value" in keys and set(keys) <= set(QUANTITY_KEYS)


def is_plain(value: object) -> bool:
    """Say whether a value is a text, a number, a truth value or nothing."""
    return not isinstance(value, Mapping) and not is_list(value) and value is not GONE


def laid_over(data: Any, edits: Put | Edits, path: KeyPath = ()) -> Any:
    """Make changes in plain data."""
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
