"""Puts together what several procedures say of one key, and holds it against what the robot file says."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from fieldworthy.engine.finding import DisplayUnits
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.measure.files import Measured, number_at
from fieldworthy.measure.result import Comparison, Fitted, Procedure, Standing, with_interval

_SURE = 1.3142  # 99 % over 95 %: two honest values differ by more than that in one of a hundred pairs


@dataclass(frozen=True, slots=True)
class Combined:
    """What all procedures together say of one key.

    Attributes
    ----------
    key : Of the robot file
    items : What each procedure says
    procedures : Their names
    value, half_width : Together, by their weights [SI]
    contradict : Whether they differ by more than their intervals allow; the half width is widened then
    """

    key: KeyPath
    items: tuple[Fitted, ...]
    procedures: tuple[str, ...]
    value: float
    half_width: float
    contradict: bool


_SHARPER = 0.7  # of the file's tolerance: a measured interval narrower than that is worth taking


def combined(procedures: Iterable[Procedure]) -> tuple[Combined, ...]:
    """Put together what procedures say of each key of the robot file.

    Notes
    -----
    Weighted mean by the squares of the half widths. Where two differ by more than 99 % of honest pairs would, they
    contradict each other: the half width grows by the scatter (Birge's ratio), and the person is told.
    """
    found: dict[KeyPath, list[tuple[str, Fitted]]] = {}
    for procedure in procedures:
        for item in procedure.fitted:
            if item.key:
                found.setdefault(item.key, []).append((procedure.name, item))
    return tuple(_together(key, said) for key, said in found.items())


def _together(key: KeyPath, said: Sequence[tuple[str, Fitted]]) -> Combined:
    items, names = tuple(item for _, item in said), tuple(name for name, _ in said)
    if len(items) == 1 or any(item.half_width <= 0.0 for item in items):
        last = items[-1]  # counts do not average: the last one in the file's order holds
        return Combined(key, items, names, last.value, last.half_width, False)
    weights = [item.half_width**-2 for item in items]
    value = sum(w * item.value for w, item in zip(weights, items, strict=True)) / sum(weights)
    half = sum(weights) ** -0.5
    apart = any(
        abs(a.value - b.value) > _SURE * math.hypot(a.half_width, b.half_width)
        for i, a in enumerate(items)
        for b in items[i + 1 :]
    )
    if apart:
        chi = sum(w * (item.value - value) ** 2 for w, item in zip(weights, items, strict=True))
        half *= max(1.0, 1.96 * math.sqrt(chi / (len(items) - 1)))
    return Combined(key, items, names, value, half, apart)


def unit_of(measured: Measured, item: Combined) -> str:
    """Choose the unit in which a key is shown and written."""
    first = item.items[0]
    found = measured.quantities.get(item.key)
    if found is not None:
        return found.unit
    return first.unit or (
        "1" if first.kind == "count" else DisplayUnits.of(measured.robot.quantities).units[first.kind]
    )


def comparisons(measured: Measured, together: Iterable[Combined]) -> tuple[Comparison, ...]:
    """Hold what was measured against what the robot file says; what disagrees most stands first."""
    found = [_compared(measured, item) for item in together]
    return tuple(sorted(found, key=lambda item: (not item.contradict, _ORDER.index(item.standing), -_apart(item))))


_ORDER: tuple[Standing, ...] = ("unlikely", "differs", "unstated", "sharper", "agrees")


def _apart(item: Comparison) -> float:
    """How far the file's value is off, over what both intervals allow together."""
    if item.file_value is None:
        return 0.0
    return abs(item.value - item.file_value) / max(math.hypot(item.half_width, item.file_tolerance or 0.0), 1e-300)


@dataclass(frozen=True, slots=True)
class _Stated:
    value: float | None
    tolerance: float | None
    basis: str


def _stated(measured: Measured, item: Combined) -> _Stated:
    """What the robot file says of a key, or what stands in for it."""
    first = item.items[0]
    found = measured.quantities.get(item.key)
    if found is not None:
        return _Stated(found.si, found.tolerance, "default" if found.assumed else found.basis)
    if first.implied is not None:
        return _Stated(*first.implied, "implied")
    try:
        return _Stated(number_at(measured.robot.nominal, item.key), 0.0, "estimate")
    except (KeyError, AttributeError, TypeError, IndexError, ValueError):
        return _Stated(None, None, "")


def _on_this_turn(stated: _Stated, item: Combined) -> _Stated:
    """A hue of the file on the turn of the circle that is nearest to the measured one: 359 deg is 2 deg from 1 deg."""
    if stated.value is None or item.key[-1] != "hue":
        return stated
    turns = round((item.value - stated.value) / math.tau)
    return replace(stated, value=stated.value + math.tau * turns)


def _compared(measured: Measured, item: Combined) -> Comparison:
    first, unit, stated = item.items[0], unit_of(measured, item), _stated(measured, item)
    standing, said = _standing(item, _on_this_turn(stated, item), first.kind)
    numbers = with_interval(item.value, item.half_width, first.kind, unit)
    sentence = f"{first.name[:1].upper()}{first.name[1:]}: {numbers}"
    if stated.value is not None:
        held = with_interval(stated.value, stated.tolerance or 0.0, first.kind, unit)
        sentence += f"; {_WHOSE.get(stated.basis, 'the file says')} {held}"
    sentence += f"{said}."
    if item.contradict:
        each = ", ".join(
            f"{name} {with_interval(f.value, f.half_width, f.kind, unit)}"
            for name, f in zip(item.procedures, item.items, strict=True)
        )
        sentence += f" The procedures contradict each other ({each}): find out which of them went wrong."
    elif len(item.items) > 1 and first.kind != "count":
        sentence += f" The procedures agree with each other ({', '.join(item.procedures)})."
    return Comparison(
        dotted(item.key), first.kind, unit, item.value, item.half_width, stated.value, stated.tolerance, stated.basis,
        standing, item.procedures, item.contradict, sentence,
    )  # fmt: skip


_WHOSE = {"default": "the file leaves it to the default,", "implied": "the parts add up to"}


def _standing(item: Combined, stated: _Stated, kind: str) -> tuple[Standing, str]:
    if stated.value is None:
        return "unstated", "; the file says nothing of it"
    off = abs(item.value - stated.value)
    if kind == "count":
        return ("agrees", "") if off == 0.0 else ("differs", "")
    inside = off <= item.half_width
    if stated.basis == "default":
        return "unstated", ", which agrees" if inside else ", which lies outside the measured interval"
    tolerance = stated.tolerance or 0.0
    if off > math.hypot(item.half_width, tolerance):
        return "unlikely", ", which is unlikely even with its own tolerance"
    if item.half_width < _SHARPER * tolerance:
        return "sharper", ", which agrees within its tolerance; the measured value is more precise"
    return "agrees", ", which agrees"
