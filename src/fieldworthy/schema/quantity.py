"""A value and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Basis = Literal["measured", "datasheet", "estimate"]
BASES: tuple[Basis, ...] = ("measured", "datasheet", "estimate")

# Half widths of a 95 % interval for a bare value of each kind: the relative part, then the absolute part in SI.
# Common practice, no source: what a team's tape, scale and datasheets usually turn out to be worth.
_ESTIMATE: dict[str, tuple[float, float]] = {
    "length": (0.01, 0.001),
    "mass": (0.05, 0.002),
    "angle": (0.0, 0.0175),
    "time": (0.10, 0.0),
    "temperature": (0.0, 3.0),
    "voltage": (0.02, 0.0),
    "charge": (0.10, 0.0),
    "pressure": (0.03, 0.0),
    "volume": (0.05, 0.0),
    "ratio": (0.05, 0.0),
    "resistance": (0.15, 0.0),
    "thermal resistance": (0.25, 0.0),
    "heat capacity": (0.25, 0.0),
    "sonic conductance": (0.20, 0.0),
    "inertia": (0.20, 0.0),
    "work time": (0.25, 0.0),
}
_OTHER = (0.10, 0.0)
_SHARE: dict[Basis, float] = {"estimate": 1.0, "datasheet": 0.5, "measured": 0.25}


@dataclass(frozen=True, slots=True)
class Quantity:
    """One number of a file, with its unit, its tolerance and what it rests on.

    Attributes
    ----------
    si : float
        The value in SI.
    kind : str
        A key of `fieldworthy.units.KINDS`.
    unit : str
        The unit as written.
    tolerance : float
        Half width of the 95 % interval, in SI.
    basis : {"measured", "datasheet", "estimate"}
        What the value rests on.
    assumed : bool
        True where the file says nothing and a documented default stands in.
    low, high : float
        Bounds that no sample may leave, in SI.
    date : str or None
        The day on which it was found, as ISO 8601 writes it.
    """

    si: float
    kind: str
    unit: str
    tolerance: float
    basis: Basis = "estimate"
    assumed: bool = False
    low: float = float("-inf")
    high: float = float("inf")
    date: str | None = None


def default_tolerance(si: float, kind: str, basis: Basis) -> float:
    """Give the tolerance of a value whose file states none.

    Parameters
    ----------
    si : float
        The value in SI [-].
    kind : str
        A key of `fieldworthy.units.KINDS` [-].
    basis : {"measured", "datasheet", "estimate"}
        A datasheet value gets half the tolerance of an estimate, a measured one a quarter [-].

    Returns
    -------
    float
        Half width of the 95 % interval, in SI [-].

    Notes
    -----
    Common practice, no source; the table is printed in docs/files.md.
    """
    relative, absolute = _ESTIMATE.get(kind, _OTHER)
    return (relative * abs(si) + absolute) * _SHARE[basis]


def tolerance_table() -> list[tuple[str, float, float]]:
    """List the default tolerances of bare values.

    Returns
    -------
    list of tuple
        Kind, relative part [-] and absolute part [SI].
    """
    return [(kind, *parts) for kind, parts in _ESTIMATE.items()] + [("everything else", *_OTHER)]
