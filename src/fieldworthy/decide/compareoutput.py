"""The machine-readable form of a comparison: versioned and documented."""

from __future__ import annotations

import dataclasses
from typing import Any

from pydantic import TypeAdapter

from fieldworthy.decide.compare import Comparison

FORMAT = "fieldworthy compare 1"
"""Changes only when a reader of the old form would misread the new one."""


def as_data(comparison: Comparison) -> dict[str, Any]:
    """Turn a comparison into plain data."""
    return {"format": FORMAT, **dataclasses.asdict(comparison)}


def json_schema() -> dict[str, Any]:
    """Describe the output of ``compare --json``."""
    described = TypeAdapter(Comparison).json_schema(mode="serialization")
    described["properties"] = {"format": {"const": FORMAT}, **described["properties"]}
    described["required"] = ["format", *described["required"]]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": FORMAT, **described}
