"""The machine-readable forms of a forecast: versioned JSON, and the timeline as CSV."""

from __future__ import annotations

import csv
import dataclasses
import io
from typing import Any

from pydantic import TypeAdapter

from fieldworthy.match.forecast import Forecast
from fieldworthy.match.timeline import Timeline

FORMAT = "fieldworthy match 1"
"""Changes only when a reader of the old form would misread the new one."""


def as_data(forecast: Forecast) -> dict[str, Any]:
    """Turn a forecast into plain data."""
    return {"format": FORMAT, **dataclasses.asdict(forecast)}


def json_schema() -> dict[str, Any]:
    """Describe the output of ``match --json``."""
    described = TypeAdapter(Forecast).json_schema(mode="serialization")
    described["properties"] = {"format": {"const": FORMAT}, **described["properties"]}
    described["required"] = ["format", *described["required"]]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": FORMAT, **described}


def as_csv(timeline: Timeline) -> str:
    """Write a timeline as a table for a spreadsheet."""
    tanks = list(timeline.events[0].pressure) if timeline.events else []
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(
        ["leaves [s]", "begins [s]", "ends [s]", "period", "action", "place", "points", "counted", "reason",
         *(f"{name} [kPa]" for name in tanks), "hottest motor", "winding [degC]", "charge [A*h]", "voltage [V]"]
    )  # fmt: skip
    for e in timeline.events:
        numbers = [f"{e.pressure[name] / 1e3:.2f}" for name in tanks]
        table.writerow(
            [f"{e.leaves:.3f}", f"{e.begins:.3f}", f"{e.ends:.3f}", e.period, e.action, e.place, f"{e.points:g}",
             f"{e.counted:g}", e.reason, *numbers, e.hottest_motor, f"{e.hottest - 273.15:.2f}",
             f"{e.charge / 3600.0:.5f}", f"{e.voltage:.3f}"]
        )  # fmt: skip
    return text.getvalue()
