"""Which function fits which section of a measurements file."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from importlib import import_module
from typing import Any

from fieldworthy.measure.files import Measured
from fieldworthy.measure.result import Procedure

Fit = Callable[[Any, Measured, str], Procedure]
"""Takes a section as realised in SI, the file it stands in, and the entry's name ("" where the section is alone)."""

PROCEDURES: dict[str, str] = {
    "scales": "fieldworthy.measure.scales:fit_scales",
    "tilt": "fieldworthy.measure.scales:fit_tilt",
    "odometry": "fieldworthy.measure.odometry:fit_odometry",
    "cycles": "fieldworthy.measure.airtests:fit_cycles",
    "leaks": "fieldworthy.measure.airtests:fit_leak",
    "drive": "fieldworthy.measure.drivelog:fit_drive",
    "frames": "fieldworthy.measure.frames:fit_film",
    "samples": "fieldworthy.measure.samples:fit_samples",
    "practice": "fieldworthy.measure.practice:fit_practice",
}
"""Section of the measurements file to ``module:function``; the function is loaded where the section is used."""


def procedures(measured: Measured) -> Iterator[Procedure]:
    """Fit every section that a measurements file holds."""
    for section, where in PROCEDURES.items():
        given: Any = getattr(measured.readings, section)
        if not given:
            continue
        fit = _function(where)
        if isinstance(given, dict):
            yield from (fit(entry, measured, name) for name, entry in given.items())
        else:
            yield fit(given, measured, "")


def procedure(measured: Measured, section: str, name: str = "") -> Procedure:
    """Fit one section of a measurements file, or one entry of a section that holds several."""
    given: Any = getattr(measured.readings, section)
    return _function(PROCEDURES[section])(given[name] if name else given, measured, name)


def _function(where: str) -> Fit:
    module, name = where.split(":")
    found: Fit = getattr(import_module(module), name)
    return found
