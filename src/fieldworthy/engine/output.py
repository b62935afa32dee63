"""The machine-readable form of a report: versioned, documented, without infinities."""

from __future__ import annotations

import dataclasses
from typing import Any

from pydantic import TypeAdapter

from fieldworthy.engine.finding import Report

FORMAT = "fieldworthy check 1"
"""Changes only when a reader of the old form would misread the new one."""


def as_data(report: Report) -> dict[str, Any]:
    """Turn a report into plain data."""
    return {"format": FORMAT, **dataclasses.asdict(report)}


def json_schema() -> dict[str, Any]:
    """Describe the output of ``check --json``."""
    described = TypeAdapter(Report).json_schema(mode="serialization")
    described["properties"] = {"format": {"const": FORMAT}, **described["properties"]}
    described["required"] = ["format", *described["required"]]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": FORMAT, **described}
