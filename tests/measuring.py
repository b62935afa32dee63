"""Measurements for tests: the small robot with a file of readings beside it, and how often a fit finds the truth."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from fieldworthy.files import instantiate, schema_of
from fieldworthy.measure import Measured, load_measurements
from fieldworthy.measure.result import Procedure
from robots import load

SEEDS = 200
PER_95 = 1.959963984540054


def written(folder: Path, sections: dict[str, Any], robot: dict[str, Any] | None = None) -> Path:
    """Write the small robot and a measurements file beside it."""
    load(folder, robot)
    file = folder / "measured.yaml"
    head = {"fieldworthy": "measurements 1", "robot": "robot.yaml"}
    file.write_text(json.dumps(head | sections, indent=1), encoding="utf-8")
    return file


def measured(folder: Path, sections: dict[str, Any] | None = None, robot: dict[str, Any] | None = None, *,
             alone: bool = True) -> Measured:  # fmt: skip
    """The small robot with readings, through the file reader.

    What readings tell is asked of them alone; what the file believes counts only where a test says so.
    """
    return load_measurements(written(folder, sections or {}, robot), alone=alone)


def section(declared: type, data: dict[str, Any]) -> Any:
    """One section in SI, as the file reader makes it."""
    return instantiate(schema_of(declared).model_validate(data), declared)


def recovered(fit: Callable[[int], Procedure], truths: dict[str, float], seeds: int = SEEDS) -> dict[str, Any]:
    """For each quantity: how often the 95 % interval holds the truth, and the root mean square error."""
    hits: dict[str, list[bool]] = {name: [] for name in truths}
    errors: dict[str, list[float]] = {name: [] for name in truths}
    for seed in range(seeds):
        found = fit(seed)
        for name, truth in truths.items():
            item = found.get(name)
            hits[name].append(abs(item.value - truth) <= item.half_width)
            errors[name].append(item.value - truth)
    return {n: (float(np.mean(hits[n])), float(np.sqrt(np.mean(np.square(errors[n]))))) for n in truths}
