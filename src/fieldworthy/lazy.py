"""What a package offers without loading it (PEP 562): a command waits for nothing that it does not use."""

from collections.abc import Mapping
from importlib import import_module
from typing import Any


def fetched(package: str, homes: Mapping[str, tuple[str, ...]], name: str) -> Any:
    """Find a name in the module of a package that holds it, where it may have another: ``offered:own``."""
    for home, offered in homes.items():
        for one in offered:
            ours, _, theirs = one.partition(":")
            if ours == name:
                return getattr(import_module(f"{package}.{home}"), theirs or name)
    raise AttributeError(f"module {package!r} has no attribute {name!r}")
