"""The list of sources, by key, as a document names them."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources

_WORTH = {
    "read": "checked in the source",
    "library": "computed by a library of its authors",
    "memory": "from memory",
    "practice": "common practice, no source",
}


@cache
def _entries() -> dict[str, dict[str, str]]:
    return tomllib.loads(resources.files("fieldworthy").joinpath("sources.toml").read_text(encoding="utf-8"))


def named(key: str) -> str:
    """Name a source."""
    return _entries()[key]["title"]


def worth(key: str) -> str:
    """Say what a source is worth."""
    return _WORTH[_entries()[key]["basis"]]
