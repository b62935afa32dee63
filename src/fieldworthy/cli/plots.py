"""Writes the residual plots of a fit as SVG files."""

from __future__ import annotations

import re
from pathlib import Path

from fieldworthy.drawing import Figure
from fieldworthy.engine.display import Shown
from fieldworthy.files import BadInput, Problem
from fieldworthy.files.writing import write_atomically
from fieldworthy.measure.figure import agreement, residuals
from fieldworthy.measure.fit import FitReport
from fieldworthy.robot import Loaded


def write_plots(folder: Path, loaded: Loaded, report: FitReport) -> tuple[Path, ...]:
    """Write two plots for each set of readings: against the model, and what is left over."""
    style = Shown.of(loaded.quantities).style()
    figures: dict[str, Figure] = {}
    for data in (data for procedure in report.procedures for data in procedure.residuals):
        stem = _free(re.sub(r"[^a-z0-9]+", "_", data.name.lower()).strip("_") or "readings", figures)
        figures[f"{stem}_model"] = agreement(data, style)
        figures[f"{stem}_residuals"] = residuals(data, style)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        expected = f"expected a folder to write plots into ({error.strerror or error})"
        raise BadInput([Problem(folder, 1, 1, (), expected)]) from error
    for name, figure in figures.items():
        write_atomically(folder / f"{name}.svg", figure.svg)
    return tuple(folder / f"{name}.svg" for name in figures)


def _free(stem: str, taken: dict[str, Figure]) -> str:
    """A name that no other plot bears."""
    names = [stem, *(f"{stem}_{i}" for i in range(2, len(taken) + 3))]
    return next(name for name in names if f"{name}_model" not in taken)
