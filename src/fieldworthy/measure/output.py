"""The machine-readable form of a fit: versioned, documented."""

from __future__ import annotations

import dataclasses
from typing import Any

from pydantic import TypeAdapter

from fieldworthy.measure.fit import FitReport

FORMAT = "fieldworthy fit 1"
"""Changes only when a reader of the old form would misread the new one."""


def as_data(report: FitReport) -> dict[str, Any]:
    """Turn a fit into plain data."""
    return {"format": FORMAT, **dataclasses.asdict(report)}


def json_schema() -> dict[str, Any]:
    """Describe the output of ``fit --json``."""
    described = TypeAdapter(FitReport).json_schema(mode="serialization")
    described["properties"] = {"format": {"const": FORMAT}, **described["properties"]}
    described["required"] = ["format", *described["required"]]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": FORMAT, **described}
