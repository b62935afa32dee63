"""The machine-readable form of a result: versioned, documented, without infinities.

A result is a frozen dataclass that names its form as ``FORMAT``; the version in it changes only when a reader of the
old form would misread the new one.
"""

from __future__ import annotations

import dataclasses
from typing import Any, ClassVar, Protocol

from pydantic import TypeAdapter

from fieldworthy.engine.finding import Report

DIALECT = "https://json-schema.org/draft/2020-12/schema"


class Result(Protocol):
    """What can be written: a dataclass with a form."""

    FORMAT: ClassVar[str]
    __dataclass_fields__: ClassVar[dict[str, Any]]


def as_data(result: Result) -> dict[str, Any]:
    """Turn a result into plain data, its form first."""
    return {"format": result.FORMAT, **_added(result), **dataclasses.asdict(result)}


def json_schema(kind: type[Result]) -> dict[str, Any]:
    """Describe what `as_data` gives for a kind of result: JSON Schema, draft 2020-12."""
    described = TypeAdapter(kind).json_schema(mode="serialization")
    added = {"causes": _CAUSES} if kind is Report else {}
    described["properties"] = {"format": {"const": kind.FORMAT}, **added, **described["properties"]}
    described["required"] = ["format", *added, *described["required"]]
    name, version = kind.FORMAT.rsplit(" ", 1)
    address = f"urn:{name.replace(' ', ':')}:{version}"
    return {"$schema": DIALECT, "$id": address, **described, "title": kind.FORMAT}


_IDS = {"type": "array", "items": {"type": "string"}}
_CAUSES = {
    "type": "array",
    "items": {
        "type": "object",
        "description": "what to act on: the id of a short finding, its twins, and those that follow from it",
        "properties": {"lead": {"type": "string"}, "twins": _IDS, "consequences": _IDS},
        "required": ["lead", "twins", "consequences"],
    },
}


def _added(result: Result) -> dict[str, Any]:
    """What a reader wants beside the fields of a result: the causes of a report."""
    if not isinstance(result, Report):
        return {}
    causes = [
        {"lead": c.lead.id, "twins": [f.id for f in c.twins], "consequences": [f.id for f in c.consequences]}
        for c in result.causes
    ]
    return {"causes": causes}
