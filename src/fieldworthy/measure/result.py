"""What a measurement says: fitted values with their intervals, what cannot be told, and what is left over.

Everything here is in SI, and plain enough to become JSON as it stands.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from fieldworthy.files.document import KeyPath
from fieldworthy.units import KINDS, labelled, show, to_unit


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
    return labelled(f"{middle:.{places}f} ± {width:.{places}f}", unit)


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


Standing = Literal["agrees", "sharper", "unlikely", "unstated", "differs"]
"""How a file's value stands to a measured one: ``sharper`` where both agree and the measured one is clearly more
precise; ``unlikely`` where both intervals together do not explain the difference; ``unstated`` where the file left it
to a default, or says nothing; ``differs`` for counts, which are not right or wrong but older or newer."""


@dataclass(frozen=True, slots=True)
class Moved:
    """What the file believed of a measured number, and what the readings say without it.

    Attributes
    ----------
    believed, believed_half : Value and half width of the 95 % interval by the file [SI]
    alone, alone_half : By the readings alone [SI]; None where they do not tell it without the file
    """

    believed: float
    believed_half: float
    alone: float | None
    alone_half: float | None


@dataclass(frozen=True, slots=True)
class Fitted:
    """One quantity that a procedure has measured.

    Attributes
    ----------
    name : What it is, in the words of a sentence: ``mass of the whole robot``
    key : Where it can be written in the robot file; empty where the file has no such key
    kind : A key of `fieldworthy.units.KINDS`; ``count`` for a whole number, which a file holds as it is
    value : The value [SI]
    half_width : Half width of its 95 % interval [SI]; 0 where the key holds a rule or a standard deviation
    spread_key : The key of the robot file that holds the standard deviation of this value, written along with it:
        tracking wheels have one. Empty elsewhere
    implied : Value and tolerance that the robot file implies where it does not have the key itself, such as what
        its parts add up to [SI]
    unit : The unit to show and write it in; the one that the robot file uses where empty
    basis : What it rests on
    replaces : Keys of the robot file that cannot stand beside this one and go when it is written: the readings of a
        hue class beside its mean
    moved : What the file's belief counted for; None where the readings alone made the value
    """

    name: str
    key: KeyPath
    kind: str
    value: float
    half_width: float
    spread_key: KeyPath = ()
    implied: tuple[float, float] | None = None
    unit: str = ""
    basis: Literal["measured"] = "measured"
    replaces: tuple[KeyPath, ...] = ()
    moved: Moved | None = None

    @property
    def evidence(self) -> tuple[float, float]:
        """Value and half width that the readings give without what the file believes of this number [SI]."""
        was = self.moved
        if was is None:
            return self.value, self.half_width
        if was.alone is not None and was.alone_half is not None:
            return was.alone, was.alone_half
        left = self.half_width**-2 - was.believed_half**-2
        if left <= 1e-9 * self.half_width**-2:
            return self.value, math.inf
        return (self.value * self.half_width**-2 - was.believed * was.believed_half**-2) / left, left**-0.5


@dataclass(frozen=True, slots=True)
class Unidentified:
    """One quantity that cannot be told from what was given.

    Attributes
    ----------
    name : What it is, in the words of a sentence
    key : Where it would stand in the robot file; may be empty
    why : Why it cannot be told: one sentence without its full stop
    reading : Which reading would tell it: one sentence without its full stop
    """

    name: str
    key: KeyPath
    why: str
    reading: str


@dataclass(frozen=True, slots=True)
class Residuals:
    """What was read beside what the fitted model says, for a plot.

    Attributes
    ----------
    name : Title of the plot
    axis : What runs along it: ``time``, ``wheel``
    axis_kind : Kind of quantity of `at`; empty where the readings are only numbered
    at : Place of each reading along the axis [SI]
    kind : Kind of quantity of the readings
    observed, predicted : As read, and as the model says [SI]
    labels : A name for each reading; empty where the axis says it all
    """

    name: str
    axis: str
    axis_kind: str
    at: tuple[float, ...]
    kind: str
    observed: tuple[float, ...]
    predicted: tuple[float, ...]
    labels: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Cause:
    """One number of the robot file that alone could explain a reading.

    Attributes
    ----------
    name : In the words of a sentence
    key : Where the file has it
    kind : A key of `fieldworthy.units.KINDS`
    stated, needed : As the file has it, and as it would have to be [SI]
    deviations : How many standard deviations of the file's own belief lie between
    """

    name: str
    key: KeyPath
    kind: str
    stated: float
    needed: float
    deviations: float


@dataclass(frozen=True, slots=True)
class Prediction:
    """What was read beside what the robot file predicts of it, before anything is fitted.

    Attributes
    ----------
    name : What was read, in the words of a sentence
    kind : A key of `fieldworthy.units.KINDS`
    count : Readings behind it
    observed, predicted : As read (the mean of several readings of one number), and as the file predicts [SI]
    half_width : Half width of the interval that should hold 95 of 100 such readings [SI]
    deviations : How many standard deviations of the prediction lie between, with its sign
    agrees : Whether both can be right; of all right readings of a procedure together at most 2 % are called wrong
    causes : What alone would explain it, the least unlikely first; empty where they agree
    sentence : One or two sentences with the numbers
    """

    name: str
    kind: str
    count: int
    observed: float
    predicted: float
    half_width: float
    deviations: float
    agrees: bool
    causes: tuple[Cause, ...] = ()
    sentence: str = ""


@dataclass(frozen=True, slots=True)
class Combination:
    """Several numbers of which the readings tell only what they do together.

    Attributes
    ----------
    members : Their names, the one that matters most first
    sentence : What they do together, with its interval; without its full stop
    reading : The one reading that would tell the first of them apart; without its full stop
    """

    members: tuple[str, ...]
    sentence: str
    reading: str


@dataclass(frozen=True, slots=True)
class Procedure:
    """What one procedure of the measurements file has given.

    Attributes
    ----------
    name : The section's key, with the entry's name behind a point where there are several: ``leaks.left``
    title : For people: ``Scales under each wheel``
    date : When it was measured, as the file says: ``2026-11-20``; empty where it does not say
    fitted : What it tells
    unidentified : What it was meant to tell and cannot
    residuals : For plots
    notes : Sentences that a person should read: agreement, oddities, rows left out
    sources : Keys of sources.toml
    also : Entries of the robot file that belong to the fitted ones and are written along with them: key path and
        text
    predictions : The readings beside what the robot file predicts of them
    combinations : What can be told of several numbers only together
    """

    name: str
    title: str
    date: str = ""
    fitted: tuple[Fitted, ...] = ()
    unidentified: tuple[Unidentified, ...] = ()
    residuals: tuple[Residuals, ...] = ()
    notes: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    also: tuple[tuple[KeyPath, str], ...] = ()
    predictions: tuple[Prediction, ...] = ()
    combinations: tuple[Combination, ...] = ()

    def get(self, name: str) -> Fitted:
        """Find one fitted quantity."""
        from fieldworthy.files.document import dotted  # noqa: PLC0415

        for item in self.fitted:
            if name in (item.name, dotted(item.key)):
                return item
        raise KeyError(name)


@dataclass(frozen=True, slots=True)
class Comparison:
    """One key of the robot file, as it stands there and as measured.

    Attributes
    ----------
    key : Dotted key path of the robot file
    kind, unit : Kind of quantity, and the unit that the robot file uses for it
    value, half_width : Measured, all procedures that tell it put together by their weights [SI]
    file_value, file_tolerance : As the robot file states it, or the default that stands in for it [SI]; None where
        it says nothing
    file_basis : What the file's value rests on; ``default`` where a default stands in, ``implied`` where the rest
        of the file implies it, empty where there is none
    standing : ``unlikely`` where the file's value lies outside of what both intervals allow
    procedures : Names of the procedures that tell it
    contradict : Whether these procedures contradict each other: their values differ by more than their intervals
        allow
    sentence : One sentence with the numbers
    """

    key: str
    kind: str
    unit: str
    value: float
    half_width: float
    file_value: float | None
    file_tolerance: float | None
    file_basis: str
    standing: Standing
    procedures: tuple[str, ...]
    contradict: bool
    sentence: str
