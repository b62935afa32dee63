"""Writes HTML in which every text is escaped, so that nothing in a file can become part of the page."""

from __future__ import annotations

import html
import re
from collections.abc import Iterable
from typing import TypeAlias
from urllib.parse import urlencode

from fieldworthy.files.document import KeyPath, Problem, dotted

_NAME = re.compile(r"[a-z][a-z0-9-]*")
_VOID = {"br", "hr", "img", "input", "meta"}


class Markup(str):
    """HTML that is safe as it stands."""

    __slots__ = ()


Content: TypeAlias = str | float | Iterable["Content"] | None
"""What may stand in an element: a text, a number, nothing, or several of them."""
Attribute: TypeAlias = str | float | bool | None


def tag(name: str, /, *content: Content, **attributes: Attribute) -> Markup:
    """Write one element."""
    if not _NAME.fullmatch(name):
        raise ValueError(f"{name!r} is no element")
    head = "".join(_attribute(key, value) for key, value in attributes.items())
    inner = "" if name in _VOID else f"{join(content)}</{name}>"
    return Markup(f"<{name}{head}>{inner}")


def _attribute(key: str, value: Attribute) -> str:
    name = key.rstrip("_").replace("_", "-")
    if not _NAME.fullmatch(name) or name.startswith("on"):
        raise ValueError(f"{name!r} is no attribute")
    if value is None or value is False:
        return ""
    return f" {name}" if value is True else f' {name}="{html.escape(str(value), quote=True)}"'


def join(content: Iterable[Content]) -> Markup:
    """Put contents one behind the other."""
    return Markup("".join(_safe(item) for item in content))


def _safe(item: Content) -> str:
    if item is None:
        return ""
    if isinstance(item, Markup):
        return item
    if isinstance(item, str | float | int):
        return html.escape(str(item), quote=False)
    return join(item)


def address(view: str, /, **query: str) -> str:
    """Write the address of a view."""
    told = {key: value for key, value in query.items() if value}
    return f"/{view}" + (f"?{urlencode(told)}" if told else "")


def field_id(path: KeyPath) -> str:
    """Name the form's element that holds a key."""
    return "f-" + "".join(c if c.isalnum() else f"_{ord(c):x}_" for c in dotted(path))


def sentences(problems: tuple[Problem, ...]) -> str:
    """Say problems as sentences, without the folder's whole path."""
    told = []
    for p in problems:
        where = f"{p.file.name}, line {p.line}: " if p.line > 1 or p.column > 1 else ""
        key = f"{dotted(p.key)}: " if p.key else ""
        hint = f" Did you mean {p.suggestion!r}?" if p.suggestion else ""
        told.append(f"{where}{key}{p.expected}.{hint}")
    return " ".join(told)


def plain_sentences(problems: tuple[Problem, ...]) -> Markup:
    """Say problems as a list."""
    return tag("ul", [tag("li", sentences((p,))) for p in problems], class_="problems")
