"""Writes measured numbers as a person reads them, and as a file holds them: to the digits that the interval allows."""

from __future__ import annotations

import math

from fieldworthy.units import KINDS, show, to_unit

_LABELS = {"1": "", "deg": "°", "degC": "°C", "inch": "in", "percent": "%"}


def _in_unit(value: float, half: float, kind: str, unit: str) -> tuple[float, float]:
    if kind == "count":
        return value, half
    middle = to_unit(value, kind, unit)
    return middle, abs(to_unit(value + half, kind, unit) - middle)


def _places(half: float) -> int:
    """Decimals at which the half width has two digits."""
    return min(max(1 - math.floor(math.log10(half)), 0), 9) if half > 0 and math.isfinite(half) else 4


def with_interval(value: float, half: float, kind: str, unit: str) -> str:
    """Write a value with its interval."""
    if kind == "count":
        return f"{value:.0f}"
    if half <= 0.0:
        return show(value, kind, unit, 4)
    middle, width = _in_unit(value, half, kind, unit)
    places = _places(width)
    label = _LABELS.get(unit, unit)
    return f"{middle:.{places}f} ± {width:.{places}f}{'' if label in ('°', '%', '') else ' '}{label}"


def file_text(value: float, half: float, kind: str, unit: str) -> str:
    """Write a value as a file holds it."""
    if kind == "count":
        return f"{value:.0f}"
    middle, width = _in_unit(value, half, kind, unit)
    places = min(_places(width if width > 0 else 1e-3 * abs(middle)) + 1, 12)
    text = f"{middle:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text if unit == "1" else f"{text} {unit}"


def width_text(value: float, half: float, kind: str, unit: str) -> str:
    """Write the half width of an interval as a file holds a tolerance."""
    _, width = _in_unit(value, half, kind, unit)
    scaled = KINDS["temperature step"].si if kind == "temperature" else unit
    text = f"{width:.{min(_places(width) + 1, 12)}f}".rstrip("0").rstrip(".")
    return text if unit == "1" else f"{text} {scaled}"
