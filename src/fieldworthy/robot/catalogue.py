"""The catalogue of generic classes that comes with the tool."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from fieldworthy.files import read_document


@cache
def builtin() -> dict[str, dict[str, Any]]:
    """Read the generic classes."""
    text = files("fieldworthy.robot").joinpath("catalogue.yaml").read_text(encoding="utf-8")
    data: dict[str, dict[str, Any]] = read_document(Path("catalogue.yaml"), text).data
    return data


def builtin_names(section: str) -> list[str]:
    """List the generic classes of one section."""
    return list(builtin().get(section, {}))


def with_builtin(data: dict[str, Any]) -> dict[str, Any]:
    """Add the generic classes that a robot file names to its own."""
    own = data.get("catalogue") or {}
    if not isinstance(own, dict):
        return data
    named = names_in(data)
    merged = dict(own)
    for section, classes in builtin().items():
        mine = own.get(section) or {}
        if isinstance(mine, dict):
            merged[section] = {name: entry for name, entry in classes.items() if name in named} | mine
    return data | {"catalogue": merged}


def names_in(data: dict[str, Any]) -> set[str]:
    """List every text that stands anywhere in a file's data."""
    found: set[str] = set()
    stack: list[Any] = [data]
    while stack:
        item = stack.pop()
        if isinstance(item, str):
            found.add(item)
        elif isinstance(item, dict):
            stack.extend(item.values())
        elif isinstance(item, list):
            stack.extend(item)
    return found
