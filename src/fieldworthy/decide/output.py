"""The machine-readable form of remedies: versioned and documented."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any

from pydantic import TypeAdapter

from fieldworthy.decide.remedy import Mending

FORMAT = "fieldworthy remedies 1"
"""Changes only when a reader of the old form would misread the new one."""


def as_data(mendings: Iterable[Mending]) -> dict[str, Any]:
    """Turn remedies into plain data."""
    return {"format": FORMAT, "findings": [dataclasses.asdict(m) for m in mendings]}


def json_schema(definitions: str = "#/$defs/{model}") -> dict[str, Any]:
    """Describe the key ``remedies`` of the output of ``check --remedies --json``."""
    described = TypeAdapter(tuple[Mending, ...]).json_schema(mode="serialization", ref_template=definitions)
    return {
        "type": "object",
        "description": "only with --remedies: what single changes mend each finding that is short",
        "required": ["format", "findings"],
        "properties": {"format": {"const": FORMAT}, "findings": described},
    }


def with_remedies(schema: dict[str, Any]) -> dict[str, Any]:
    """Add the key ``remedies`` to the schema of a report."""
    added = json_schema()
    definitions = added["properties"]["findings"].pop("$defs")
    properties = {**schema["properties"], "remedies": added}
    return {**schema, "properties": properties, "$defs": {**schema.get("$defs", {}), **definitions}}
