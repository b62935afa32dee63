"""Goes over a table's columns for what cannot be true: times that repeat or run back, wrong units, stuck sensors."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
import numpy.typing as npt

from fieldworthy.engine.finding import Array
from fieldworthy.files import BadInput, Problem
from fieldworthy.units import KINDS, digits

Places = npt.NDArray[np.int64]
_GAP = 5.0  # times the usual step between two rows
_STUCK = 15  # rows with exactly the same value
_BACKWARDS = 0.1  # of all steps; more, and the rows are no run in time
_ANGLES, _LENGTHS, _TIMES = ("angle", "angular speed"), ("length", "speed"), ("time", "frequency", "angular speed")
_MISTAKES: tuple[tuple[float, str, tuple[str, ...]], ...] = (
    (57.29577951308232, "degrees read as radians (57.3 times too large)", _ANGLES),
    (1.0 / 57.29577951308232, "radians read as degrees (57.3 times too small)", _ANGLES),
    (25.4, "millimetres read as inches (25.4 times too large)", _LENGTHS),
    (1.0 / 25.4, "inches read as millimetres (25.4 times too small)", _LENGTHS),
    (1.0 / 0.0254, "inches read as metres (39.4 times too large)", _LENGTHS),
    (0.0254, "metres read as inches (39.4 times too small)", _LENGTHS),
    (60.0, "turns a minute read as turns a second, or seconds read as minutes (60 times too large)", _TIMES),
    (1.0 / 60.0, "turns a second read as turns a minute, or minutes read as seconds (60 times too small)", _TIMES),
    (6894.757, "pascal read as psi (6895 times too large)", ("pressure",)),
    (1.0 / 6894.757, "psi read as pascal (6895 times too small)", ("pressure",)),
    (100.0, "hundredths read as whole ones (100 times too large)", ("length", "speed", "ratio")),
    (0.01, "whole ones read as hundredths (100 times too small)", ("length", "speed", "ratio")),
    (1000.0, "thousandths read as whole ones (1000 times too large)", ()),
    (1e-3, "whole ones read as thousandths (1000 times too small)", ()),
    (1e6, "millionths read as whole ones", ()),
    (1e-6, "whole ones read as millionths", ()),
)
"""Factors by which a column is off when its unit is wrong, what was done, and for which kinds; () for every kind."""


class Expected(Protocol):
    """What is known of a column beforehand: the part of ``table.Wanted`` that is looked at here."""

    @property
    def kind(self) -> str:
        """Kind of quantity."""

    @property
    def low(self) -> float:
        """Its largest size is at least this [SI]."""

    @property
    def high(self) -> float:
        """Its largest size is at most this [SI]."""

    @property
    def rises(self) -> bool:
        """Whether it is a time."""

    @property
    def moves(self) -> bool:
        """Whether it cannot stand still while others move."""


@dataclass(frozen=True, slots=True)
class Remark:
    """Something odd in a table, and what was done about it.

    Attributes
    ----------
    line : Line of the file, from 1
    text : One sentence without its full stop
    """

    line: int
    text: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.text}"


def gone_over(
    file: Path, numbers: Mapping[str, Array], lines: Places, wanted: Mapping[str, Expected]
) -> tuple[Places, list[Remark]]:
    """Find the rows of a table that can be used."""
    problems = [
        Problem(file, int(lines[0]), 1, (name,), said)
        for name, want in wanted.items()
        if name in numbers and (said := _size(numbers[name], want))
    ]
    if problems:
        raise BadInput(problems)
    keep = np.arange(lines.size, dtype=np.int64)
    remarks: list[Remark] = []
    for name in (n for n, want in wanted.items() if want.rises and n in numbers):
        keep, odd = _in_order(file, name, numbers[name], lines)
        remarks += odd
    moving = {name: values[keep] for name, values in numbers.items() if not wanted[name].rises}
    stuck = np.zeros(keep.size, dtype=bool)
    for name, values in moving.items():
        if wanted[name].moves:
            for begin, end in _stuck(name, moving):
                if end - begin > 0.9 * values.size:
                    shown = f"expected readings that move; {name} stands still over {end - begin} rows"
                    raise BadInput([Problem(file, int(lines[keep[begin]]), 1, (name,), f"{shown}: a loose plug?")])
                stuck[begin:end] = True
                last = int(lines[keep[end - 1]])
                remarks.append(
                    Remark(int(lines[keep[begin]]), f"{name} does not move down to line {last}, others do; left out")
                )
    return keep[~stuck], remarks


def _size(values: Array, want: Expected) -> str:
    """What is wrong with a column's largest size, and which slip of units would explain it."""
    largest = float(np.quantile(np.abs(values), 0.98)) if values.size else 0.0
    if want.low <= largest <= want.high or (largest == 0.0 and want.low == 0.0):
        return ""
    unit = KINDS[want.kind].si
    told = (
        f"expected a largest size of {digits(want.low)} to {digits(want.high)} {unit}, found {digits(largest)} {unit}"
    )
    slips = [
        slip
        for factor, slip, kinds in _MISTAKES
        if want.low <= largest / factor <= want.high and (not kinds or want.kind in kinds)
    ]
    if slips:
        return f"{told}: {', or '.join(slips[:3])}? Mend the column's 'unit'"
    return told


def _in_order(file: Path, name: str, times: Array, lines: Places) -> tuple[Places, list[Remark]]:
    """Rows in the order of time, each time once, with remarks on what was put right and on gaps."""
    back = np.flatnonzero(np.diff(times) < 0) + 1
    if back.size > max(1, _BACKWARDS * times.size):
        said = f"expected {name} to rise from row to row; it falls {back.size} times: several runs in one file?"
        raise BadInput([Problem(file, int(lines[back[0]]), 1, (name,), said)])
    remarks = [Remark(int(lines[i]), f"{name} runs back here; rows put in order") for i in back]
    order = np.argsort(times, kind="stable").astype(np.int64)
    step = np.diff(times[order])
    twice = np.flatnonzero(step <= 0) + 1
    remarks += [Remark(int(lines[order[i]]), f"the same {name} as an earlier row; left out") for i in twice]
    keep = np.delete(order, twice)
    remarks += _gaps(times[keep], lines[keep])
    return keep, remarks


def _gaps(times: Array, lines: Places) -> Iterator[Remark]:
    step = np.diff(times)
    usual = float(np.median(step)) if step.size else 0.0
    for i in np.flatnonzero(step > _GAP * usual) + 1 if step.size >= 4 else ():
        yield Remark(int(lines[i]), f"{digits(float(step[i - 1]))} s missing before it, {digits(usual)} s are usual")


def _stuck(name: str, columns: Mapping[str, Array]) -> Iterator[tuple[int, int]]:
    """Runs of rows over which one column keeps exactly its value while another moves by a good part of its range."""
    values = columns[name]
    if values.size < _STUCK or len(columns) < 2:
        return
    ends = np.flatnonzero(np.diff(values) != 0) + 1
    begins, ends = np.concatenate(([0], ends)), np.concatenate((ends, [values.size]))
    for begin, end in zip(begins.tolist(), ends.tolist(), strict=True):
        if end - begin >= _STUCK and any(
            np.ptp(other[begin:end]) > 0.2 * np.ptp(other) > 0 for n, other in columns.items() if n != name
        ):
            yield begin, end
