"""Writes values as YAML: plain where that reads back the same, in quotes where not, short mappings in one line."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any, TypeGuard

from fieldworthy.schema.tree import plain_scalar

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
    """Write a text in double quotes.

    Parameters
    ----------
    text : str
        The text [-].

    Returns
    -------
    str
        In one line; what no editor shows is written as its code [-].
    """
    return _UNSEEN.sub(lambda found: f"\\u{ord(found.group()):04x}", json.dumps(text, ensure_ascii=False))


def key_text(key: str, *, in_quotes: bool = False) -> str:
    """Write the key of a mapping.

    Parameters
    ----------
    key : str
        The key [-].
    in_quotes : bool
        Quotes even where none are needed, as the keys beside it have them [-].

    Returns
    -------
    str
        Plain, or in double quotes [-].
    """
    return key if _is_plain(key) and not in_quotes else quoted(key)


def scalar_text(value: object, style: str | None = None) -> str:
    """Write a text, number, truth value or nothing.

    Parameters
    ----------
    value : object
        What shall be read back [-].
    style : str or None
        The quotes around the text that stood there before; they are kept [-].

    Returns
    -------
    str
        One line of YAML, good inside brackets too [-].
    """
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
    """Write any value in one line.

    Parameters
    ----------
    value : object
        Mappings, sequences and what `scalar_text` takes [-].
    style : str or None
        The quotes that texts and keys get [-].

    Returns
    -------
    str
        With braces and brackets [-].
    """
    if isinstance(value, Mapping):
        in_quotes = style == '"'
        pairs = (f"{key_text(str(k), in_quotes=in_quotes)}: {flow_text(v, style)}" for k, v in value.items())
        return "{" + ", ".join(pairs) + "}"
    if is_list(value):
        return "[" + ", ".join(flow_text(v, style) for v in value) + "]"
    return scalar_text(value, style)


def is_list(value: object) -> TypeGuard[Sequence[Any]]:
    """Whether a value is written as a list.

    Parameters
    ----------
    value : object
        Any value [-].

    Returns
    -------
    bool
        True for lists and tuples, false for texts [-].
    """
    return isinstance(value, Sequence) and not isinstance(value, str)


def _depth(value: object) -> int:
    if isinstance(value, Mapping):
        return 1 + max(map(_depth, value.values()), default=0)
    return 1 + max(map(_depth, value), default=0) if is_list(value) else 0


def in_one_line(value: object) -> bool:
    """Say whether a value is short enough for one line.

    Parameters
    ----------
    value : object
        Any value [-].

    Returns
    -------
    bool
        True for texts and numbers, and for small mappings and lists [-].
    """
    return _depth(value) <= 2 and len(flow_text(value)) <= WIDEST


def block_lines(value: object, step: int) -> list[str]:
    """Write a mapping or a list one entry a line, short ones below it in one line each.

    Parameters
    ----------
    value : mapping or sequence
        What shall be read back [-].
    step : int
        Spaces by which an inner mapping stands further in [-].

    Returns
    -------
    list of str
        Lines without their ends, the outermost without indentation [-].
    """
    if isinstance(value, Mapping):
        return [line for key, item in value.items() for line in entry_lines(key_text(str(key)), item, step)]
    lines: list[str] = []
    for item in value if is_list(value) else ():
        inner = [flow_text(item)] if in_one_line(item) else block_lines(item, step)
        lines += [f"- {inner[0]}", *(f"  {line}" for line in inner[1:])]
    return lines


def entry_lines(key: str, value: object, step: int) -> list[str]:
    """Write one entry of a mapping in block style.

    Parameters
    ----------
    key : str
        The key as it shall stand [-].
    value : object
        What shall be read back [-].
    step : int
        Spaces by which an inner mapping stands further in [-].

    Returns
    -------
    list of str
        Lines without their ends [-].
    """
    if in_one_line(value):
        return [f"{key}: {flow_text(value)}"]
    return [f"{key}:", *(" " * step + line for line in block_lines(value, step))]
