"""Prints the JSON Schemas of the files and of the machine-readable output."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fieldworthy.decide.compare import Comparison
from fieldworthy.decide.faults import FixFirst
from fieldworthy.decide.remedy import with_remedies
from fieldworthy.decide.search import Found
from fieldworthy.decide.search.wanted import SearchFile
from fieldworthy.decide.sensitivity import with_sensitivity
from fieldworthy.decide.work import with_work
from fieldworthy.engine.finding import Report
from fieldworthy.engine.output import json_schema
from fieldworthy.files import BadInput, Problem, schema_of
from fieldworthy.files.problems import nearest
from fieldworthy.match import Forecast
from fieldworthy.measure.fit import FitReport
from fieldworthy.measure.model import FaultLog, Measurements
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season


def _of_file(declared: type, name: str) -> Callable[[], dict[str, Any]]:
    def described() -> dict[str, Any]:
        """The schema under its title."""
        schema = schema_of(declared).model_json_schema()
        return {
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            **schema,
            "title": f"fieldworthy {name} file",
        }

    return described


def _export() -> dict[str, Any]:
    from fieldworthy.report.export import Export  # noqa: PLC0415

    return json_schema(Export)


SCHEMAS: dict[str, Callable[[], dict[str, Any]]] = {
    "robot": _of_file(Robot, "robot"),
    "season": _of_file(Season, "season"),
    "measurements": _of_file(Measurements, "measurements"),
    "faultlog": _of_file(FaultLog, "faults"),
    "check": lambda: with_remedies(json_schema(Report)),
    "match": lambda: with_work(with_sensitivity(json_schema(Forecast))),
    "compare": lambda: json_schema(Comparison),
    "search": lambda: json_schema(Found),
    "searchfile": _of_file(SearchFile, "search"),
    "fit": lambda: json_schema(FitReport),
    "faults": lambda: json_schema(FixFirst),
    "export": _export,
}


def print_schema(what: str) -> None:
    """Print one schema."""
    if what not in SCHEMAS:
        raise BadInput(
            [Problem(Path("schema"), 1, 1, (), f"expected one of {', '.join(SCHEMAS)}", nearest(what, SCHEMAS))]
        )
    sys.stdout.write(json.dumps(SCHEMAS[what](), indent=2, ensure_ascii=False) + "\n")
