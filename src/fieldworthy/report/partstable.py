"""The parts of a robot as a table, with the totals that follow from it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from fieldworthy.engine.context import Context
from fieldworthy.engine.display import DisplayUnits
from fieldworthy.files import Quantity
from fieldworthy.files.kinds import default_tolerance
from fieldworthy.physics.statics.rigidbody import combine
from fieldworthy.robot import Loaded
from fieldworthy.robot.partslist import NOTE, Cell, csv_text, sheet_bytes
from fieldworthy.units import to_unit
from fieldworthy.vehicle import state

_PLACES = ("x", "y", "z", "length", "width", "height")


def heads(shown: DisplayUnits) -> list[Cell]:
    """Name the columns of a parts list, with their units."""
    mass, length = shown.units["mass"], shown.units["length"]
    places = [f"{name} [{length}]" for name in _PLACES]
    return ["part", f"mass [{mass}]", *places, "rides", "count", "basis", f"tolerance [{mass}]"]


def rows(parts: Mapping[str, Any], shown: DisplayUnits) -> Iterable[list[Cell]]:
    """List parts as rows."""
    for name, part in parts.items():
        mass: Quantity = part.mass
        usual = default_tolerance(mass.si, "mass", mass.basis)
        own = abs(mass.tolerance - usual) > 1e-12
        places = [_number(q, shown) for q in (*part.position, *part.size)]
        off = _in(mass.tolerance, shown) if own else None
        yield [name, _number(mass, shown), *places, part.rides, part.count, mass.basis, off]


def _number(quantity: Quantity, shown: DisplayUnits) -> float:
    return float(f"{to_unit(quantity.si, quantity.kind, shown.units[quantity.kind]):.12g}")


def _in(mass: float, shown: DisplayUnits) -> float:
    return float(f"{to_unit(mass, 'mass', shown.units['mass']):.12g}")


def totals(loaded: Loaded, shown: DisplayUnits) -> list[list[Cell]]:
    """Sum up the parts of a robot, as they are placed."""
    groups = state.listed_groups(Context(loaded.nominal, loaded.nominal_season))
    if not groups:
        return []
    whole = combine([group.body for group in groups.values()])
    mass, length = shown.units["mass"], shown.units["length"]
    at = [float(f"{to_unit(float(c), 'length', length):.6g}") for c in np.asarray(whole.cg)]
    found: list[list[Cell]] = [["mass of all parts", float(f"{to_unit(float(whole.mass), 'mass', mass):.8g}"), mass]]
    found += [[f"centre of gravity, {axis}", c, length] for axis, c in zip(("x", "y", "z"), at, strict=True)]
    return found


def as_table(loaded: Loaded, parts: Mapping[str, Any]) -> str:
    """Write parts as CSV, with the totals as notes below."""
    shown = DisplayUnits.of(loaded.quantities)
    notes = [[f"{NOTE}{name}", number, unit] for name, number, unit in totals(loaded, shown)]
    return csv_text([heads(shown), *rows(parts, shown), *notes])


def as_sheet(loaded: Loaded, parts: Mapping[str, Any]) -> bytes:
    """Write parts as a spreadsheet, with the totals on a sheet of their own."""
    shown = DisplayUnits.of(loaded.quantities)
    above: list[list[Cell]] = [["total", "number", "unit"]]
    return sheet_bytes({"parts": [heads(shown), *rows(parts, shown)], "totals": above + totals(loaded, shown)})
