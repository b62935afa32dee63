"""The machine-readable form of a report: versioned, documented, without infinities."""

from __future__ import annotations

import dataclasses
from typing import Any

from pydantic import TypeAdapter

from fieldworthy.engine.finding import Report

FORMAT = "fieldworthy check 2"
"""Changes only when a reader of the old form would misread the new one."""


def as_data(report: Report) -> dict[str, Any]:
    """Turn a report into plain data."""
    causes = [
        {"lead": c.lead.id, "twins": [f.id for f in c.twins], "consequences": [f.id for f in c.consequences]}
        for c in report.causes
    ]
    return {"format": FORMAT, "causes": causes, **dataclasses.asdict(report)}


def json_schema() -> dict[str, Any]:
    """Describe the output of ``check --json``."""
    described = TypeAdapter(Report).json_schema(mode="serialization")
    ids = {"type": "array", "items": {"type": "string"}}
    cause = {
        "type": "object",
        "description": "what to act on: the id of a short finding, its twins, and those that follow from it",
        "properties": {"lead": {"type": "string"}, "twins": ids, "consequences": ids},
        "required": ["lead", "twins", "consequences"],
    }
    described["properties"] = {
        "format": {"const": FORMAT},
        "causes": {"type": "array", "items": cause},
        **described["properties"],
    }
    described["required"] = ["format", "causes", *described["required"]]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": FORMAT, **described}
