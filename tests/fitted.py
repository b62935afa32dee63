"""Small measurements files for tests of fits, and how often an interval must hold what it should hold."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fieldworthy.measure.files import Measured, load_measurements
from fieldworthy.measure.fit import procedures
from fieldworthy.measure.result import Procedure
from robots import ROBOT, SEASON, changed

SEEDS = range(200)
MANY = range(600)  # 0.93 to 0.97 of them are 95 % give or take 2.2 standard deviations of a count; of 200 only 1.3
# of the six numbers of a drive's log 94.2 to 95.8 % hold in 600, which takes a minute, as they do in 200 within chance;
# 190 of 200 are expected; a binomial count leaves 183 to 196 in 2 cases of 1,000, to either side (scipy.stats.binom)
LEAST, MOST = 0.91, 0.985
HOLDS = (
    "measure", "Share of the 95 % intervals that hold the truth", "simulated teams whose truth is known",
    "the drive by logs and pushes, leaks by the gauge; some hundred teams each", "share",
)  # fmt: skip


def measurements(folder: Path, sections: dict[str, Any], robot: dict[str, Any] | None = None, *,
                 alone: bool = True) -> Measured:  # fmt: skip
    """Write the small robot with changes and a measurements file of these sections, and read both back.

    What readings tell is asked of them alone; what the file believes counts only where a test says so.
    """
    # JSON is YAML too
    (folder / "season.yaml").write_text(json.dumps(SEASON), encoding="utf-8")
    (folder / "robot.yaml").write_text(json.dumps(changed(ROBOT, robot or {}), indent=1), encoding="utf-8")
    file = folder / "measurements.yaml"
    head = {"fieldworthy": "measurements 1", "robot": "robot.yaml"}
    file.write_text(json.dumps(head | sections, indent=1), encoding="utf-8")
    return load_measurements(file, alone=alone)


def only(measured: Measured) -> Procedure:
    """The one procedure that a file holds."""
    found = list(procedures(measured))
    assert len(found) == 1, [p.name for p in found]
    return found[0]


def told(procedure: Procedure) -> dict[str, float]:
    """Values by name."""
    return {item.name: item.value for item in procedure.fitted}


def untold(procedure: Procedure) -> set[str]:
    """Names of what cannot be told; nothing may be both told and not."""
    names = {item.name for item in procedure.unidentified}
    assert not names & set(told(procedure))
    return names


def write_csv(file: Path, head: Sequence[str], *columns: Any, delimiter: str = ",") -> None:
    """Write columns under their names."""
    rows = [delimiter.join(str(cell) for cell in row) for row in zip(*columns, strict=True)]
    file.write_text("\n".join([delimiter.join(head), *rows]) + "\n", encoding="utf-8")


def covers(fit: Callable[[int], Procedure], truths: dict[str, float], seeds: Sequence[int] = SEEDS) -> dict[str, Any]:
    """Fit many seeds; by quantity, how often its interval holds the truth, and the errors."""
    errors: dict[str, list[float]] = {name: [] for name in truths}
    inside: dict[str, list[bool]] = {name: [] for name in truths}
    for seed in seeds:
        found = fit(seed)
        for name, truth in truths.items():
            item = found.get(name)
            error = item.value - truth
            if item.kind == "angle":  # 359 deg is 2 deg from 1 deg
                error = (error + np.pi) % (2.0 * np.pi) - np.pi
            errors[name].append(error)
            inside[name].append(abs(error) <= item.half_width)
    return {name: (float(np.mean(inside[name])), np.array(errors[name])) for name in truths}


def rms(errors: Any) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(errors))))
