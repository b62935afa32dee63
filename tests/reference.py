"""Reads the reference cases kept in tests/cases, each with its source beside it."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

CASES = Path(__file__).parent / "cases"


@cache
def _all() -> dict[str, dict]:
    found = {}
    for name in ("external_cases.json", "published_cases.json"):
        for case in json.loads((CASES / name).read_text(encoding="utf-8")):
            found[case["id"]] = case
    return found


def case(identifier: str) -> dict:
    """One reference case by its id."""
    return _all()[identifier]


def cases(prefix: str) -> list[dict]:
    """Every reference case whose id starts with a prefix."""
    found = [c for key, c in _all().items() if key.startswith(prefix)]
    assert found, f"no reference case starts with {prefix!r}"
    return found
