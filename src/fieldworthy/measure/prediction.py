"""Holds readings against what the robot file predicts of them, before and after anything is fitted.

What the file believes of each parameter, with its tolerance, gives every reading a predictive interval: first order in
the parameters, as a linear Gaussian model has it. A reading outside it contradicts the file, whatever a fit would make
of it; a reading that the others do not predict is the one to look at first.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TypeAlias

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.finding import DisplayUnits
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.measure.files import Measured, number_at
from fieldworthy.measure.fitting import PER_95, Belief, Parameter, Residual, Slopes
from fieldworthy.measure.result import (
    Cause,
    Combination,
    Comparison,
    Fitted,
    Prediction,
    Procedure,
    Standing,
    with_interval,
)
from fieldworthy.units import digits, show, to_unit

_FALSE = 0.02  # share of right readings, all of a procedure together, that may be called wrong
_STEP = 0.05  # of a deviation: of the slopes
_TRIES = 12  # steps of the secant that looks for what would explain a reading
_CAUSES = 3
_LIKELY = 8.0  # deviations of the file's own belief: beyond that a number is no explanation
_REACH = 60.0  # deviations within which an explanation is looked for at all
_HAND = 60  # readings of one group that are held one by one; a log is held as a whole
_MENDS = 0.4  # of the difference: what a swap of digits may leave of it
_SWAPS = 4.0  # deviations within which a slip of the pen has to put a reading to be named


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """Readings of one thing, in the order in which the residuals have them.

    Attributes
    ----------
    name : What was read, in the words of a sentence
    kind : A key of `fieldworthy.units.KINDS`
    observed, deviation : As read, and the standard deviation of one reading, shape (m,) [SI]
    labels : Name of each reading where they differ; without them they are readings of one number, held as their mean
    sums : Which readings are added to what is held, one row for each label, shape (labels, m): a robot on four scales
        may rock, and only sums of them say anything. None where each reading stands for itself
    """

    name: str
    kind: str
    observed: Array
    deviation: Array
    labels: tuple[str, ...] = ()
    sums: Array | None = None

    def weights(self, start: int, size: int) -> Array:
        """What is held, as combinations of all whitened residuals, shape (labels or 1, size)."""
        rows = np.arange(start, start + self.observed.size)
        held = np.zeros((len(self.labels) or 1, size))
        parts = np.full((1, rows.size), 1.0 / rows.size) if not self.labels else np.eye(rows.size)
        held[:, rows] = (parts if self.sums is None else self.sums) * self.deviation
        return held

    def read(self) -> Array:
        """What is held, as it was read [SI]."""
        if self.sums is not None:
            return np.asarray(self.sums @ self.observed)
        return self.observed if self.labels else self.observed.mean(keepdims=True)


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """Residuals near what the file believes: values, deviations, residuals (n,) and their slopes (n, p)."""

    residual: Residual
    parameters: tuple[Parameter, ...]
    values: Array
    deviations: Array
    off: Array
    slopes: Array


def believed(
    residual: Residual, parameters: Sequence[Parameter], beliefs: Sequence[Belief], slopes: Slopes | None = None
) -> Linear:
    """Lay what the file believes over a fit's parameters; what it does not know stays as the fit begins with it."""
    of = {belief.parameter: belief for belief in beliefs}
    values = np.array([of[p.name].value if p.name in of else p.start for p in parameters])
    deviations = np.array([of[p.name].deviation if p.name in of else p.given or p.span for p in parameters])
    low, high = (np.array([getattr(p, end) for p in parameters]) for end in ("low", "high"))
    values = np.clip(values, low, high)
    off = np.asarray(residual(values))
    if slopes is not None:
        return Linear(residual, tuple(parameters), values, deviations, off, np.asarray(slopes(values)))
    steps = []
    for i, deviation in enumerate(deviations):
        up, down = values.copy(), values.copy()
        up[i], down[i] = min(values[i] + _STEP * deviation, high[i]), max(values[i] - _STEP * deviation, low[i])
        width = up[i] - down[i]
        steps.append((residual(up) - residual(down)) / width if width > 0.0 else np.zeros_like(off))
    return Linear(residual, tuple(parameters), values, deviations, off, np.array(steps).T)


Weights: TypeAlias = Array
"""Which combination of the whitened residuals is held: shape (n,), in the unit of the reading."""


def predictions(
    residual: Residual, parameters: Sequence[Parameter], beliefs: Sequence[Belief], groups: Sequence[Readings],
    measured: Measured, slopes: Slopes | None = None,
) -> tuple[Prediction, ...]:  # fmt: skip
    """Hold every group of readings against the file and against each other; the worst reading of each group is told."""
    from scipy.special import ndtri  # noqa: PLC0415  scipy is loaded only where something is fitted

    near = believed(residual, parameters, beliefs, slopes)
    starts = np.cumsum([0, *(group.observed.size for group in groups)])
    held = [group.weights(int(at), near.off.size) for group, at in zip(groups, starts, strict=False)]
    ways = _Ways(
        -float(ndtri(0.25 * _FALSE / max(sum(len(each) for each in held), 1))),
        dict(DisplayUnits.of(measured.robot.quantities).units),
        {path: quantity.unit for path, quantity in measured.quantities.items()},
    )
    others = _by_the_others(near, groups, held)
    found = []
    for group, each, other in zip(groups, held, others, strict=True):
        one = _held(near, beliefs, group, each, ways)
        if other is not None and (one is None or one.agrees):
            one = _odd(group, other, ways) or one
        found += [one] if one is not None else []
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Ways:
    """When a reading is called wrong, and in which units it is told."""

    limit: float
    units: dict[str, str]
    stated: dict[KeyPath, str]

    def text(self, value: float, kind: str, key: KeyPath = ()) -> str:
        return show(value, kind, self.stated.get(key) or self.units.get(kind, "1"))


def _held(near: Linear, beliefs: Sequence[Belief], group: Readings, each: Array, ways: _Ways) -> Prediction | None:
    """The mean of readings of one number, or the reading farthest from its prediction; None where none is predicted."""
    off = each @ near.off
    width = np.sqrt(np.sum(((each @ near.slopes) * near.deviations) ** 2, axis=1) + np.sum(each**2, axis=1))
    read = group.read()
    told = PER_95 * width < np.abs(read - off)  # an interval from nothing to twice the value says nothing
    if not told.any():
        return None
    worst = int(np.argmax(np.where(told, np.abs(off) / width, -1.0)))
    found = _prediction(group, worst, float(off[worst]), float(width[worst]), ways)
    if found.agrees:
        return replace(found, sentence=f"{_measured(found, ways, 'the file predicts')}. They agree.")
    causes = tuple(_causes(near, beliefs, each[worst]))
    said = f"{_measured(found, ways, 'the file predicts')}. One of the two is wrong."
    slip = _slip(found, ways, float(width[worst]))
    said += f" {slip}" if slip else ""
    likely = [cause for cause in causes if cause.deviations <= _LIKELY]
    if likely:
        said += f" The file would agree with {' or with '.join(_would(cause, ways) for cause in likely)}."
    elif causes and not slip:
        nearest = " or ".join(_would(cause, ways) for cause in causes[:2])
        said += " No number of the file explains it: even the nearest would have to be far beyond its tolerance "
        said += f"({nearest}). Look at the reading first."
    return replace(found, causes=causes, sentence=said)


def _by_the_others(near: Linear, groups: Sequence[Readings], held: Sequence[Array]) -> list[tuple[Array, Array] | None]:
    """What stands off from what all other readings of a procedure and the file predict of it, with its deviation."""
    short = [bool(group.labels) and len(group.labels) <= _HAND for group in groups]
    if sum(len(each) for each, one in zip(held, short, strict=True) if one) < 3:
        return [None] * len(groups)
    each = np.concatenate([rows for rows, one in zip(held, short, strict=True) if one])
    scale = np.linalg.norm(each, axis=1)
    each = each / scale[:, None]
    seen = (each @ near.slopes) * near.deviations
    inverse = np.linalg.pinv(each @ each.T + seen @ seen.T, rcond=1e-13, hermitian=True)
    own = np.maximum(np.diag(inverse), 1e-300)
    off, width = (inverse @ (each @ near.off)) / own * scale, scale / np.sqrt(own)
    found: list[tuple[Array, Array] | None] = []
    start = 0
    for rows, one in zip(held, short, strict=True):
        stop = start + (len(rows) if one else 0)
        found.append((off[start:stop], width[start:stop]) if one else None)
        start = stop
    return found


def _odd(group: Readings, other: tuple[Array, Array], ways: _Ways) -> Prediction | None:
    """The reading that the others do not predict, where there is one."""
    off, width = other
    worst = int(np.argmax(np.abs(off) / width))
    found = _prediction(group, worst, float(off[worst]), float(width[worst]), ways)
    if found.agrees:
        return None
    slip = _slip(found, ways, float(width[worst]))
    said = f"{_measured(found, ways, 'the other readings predict')}. Look at this reading again."
    return replace(found, sentence=said + (f" {slip}" if slip else ""))


def _prediction(group: Readings, place: int, off: float, width: float, ways: _Ways) -> Prediction:
    name = f"{group.name}, {group.labels[place]}" if group.labels else group.name
    observed = float(group.read()[place])
    agrees = abs(off) <= ways.limit * width
    return Prediction(
        name, group.kind, 1 if group.labels else group.observed.size, observed, observed - off, PER_95 * width,
        off / width, agrees,
    )  # fmt: skip


def _measured(found: Prediction, ways: _Ways, says: str) -> str:
    low, high = (ways.text(found.predicted + side * found.half_width, found.kind) for side in (-1.0, 1.0))
    mean = " in the mean" if found.count > 1 else ""
    return (
        f"{found.name[:1].upper()}{found.name[1:]}: you measured {ways.text(found.observed, found.kind)}{mean}; "
        f"{says} {ways.text(found.predicted, found.kind)} ({_without_unit(low)} to {high})"
    )


def _without_unit(text: str) -> str:
    return text.split(" ", 1)[0].rstrip("°%")


def _would(cause: Cause, ways: _Ways) -> str:
    stated, needed = (ways.text(value, cause.kind, cause.key) for value in (cause.stated, cause.needed))
    return f"{needed} in place of {stated} as {cause.name}"


def _causes(near: Linear, beliefs: Sequence[Belief], weights: Weights) -> Iterator[Cause]:
    """What each believed number alone would have to be, the least unlikely first."""
    found = []
    for belief in beliefs:
        places = [i for i, p in enumerate(near.parameters) if p.name == belief.parameter]
        if not places or belief.deviation <= 0.0:
            continue
        needed = _needed(near, places[0], weights)
        if needed is not None and needed != belief.value:
            moves = abs(needed - belief.value) / belief.deviation
            found.append(Cause(belief.parameter, belief.key, belief.kind, belief.value, needed, moves))
    yield from sorted(found, key=lambda cause: cause.deviations)[:_CAUSES]


def _needed(near: Linear, place: int, weights: Weights) -> float | None:
    """The value of one parameter at which a reading is as predicted; None where none within its bounds does."""
    parameter, start = near.parameters[place], float(near.values[place])

    def off(value: float) -> float:
        tried = near.values.copy()
        tried[place] = value
        try:
            with np.errstate(all="ignore"):
                return float(weights @ near.residual(tried))
        except ValueError:  # such as a free current above the stall current: no robot has that
            return float("nan")

    first = float(weights @ near.off)
    slope = float(weights @ near.slopes[:, place])
    if abs(slope) * near.deviations[place] < 1e-6 * abs(first):
        return None
    reach = _REACH * float(near.deviations[place])
    low, high = max(parameter.low, start - reach), min(parameter.high, start + reach)
    before, at, off_before = start, float(np.clip(start - first / slope, low, high)), first
    for _ in range(_TRIES):
        now = off(at)
        if not np.isfinite(now):
            return None
        if abs(now) < 0.02 * abs(first):
            return at
        if now == off_before or at == before:
            return None
        step = now * (at - before) / (now - off_before)
        before, off_before, at = at, now, float(np.clip(at - step, low, high))
    return None


@dataclass(frozen=True, slots=True)
class Question:
    """One number that was asked for and that the readings alone do not tell: its name, and the reading that would."""

    parameter: str
    reading: str


_INFORMS = 1.0  # standard deviations of the belief over those of the readings, from which a combination is told
_FEELS = 0.02  # the same: below it the readings do not feel the combination at all
_MOST = 4  # members that one line names
_MEMBER = 0.35  # of the largest share of a combination


def combinations(
    residual: Residual, parameters: Sequence[Parameter], beliefs: Sequence[Belief], groups: Sequence[Readings],
    asked: Sequence[Question], slopes: Slopes | None = None,
) -> tuple[Combination, ...]:  # fmt: skip
    """Say what the readings tell of several numbers together, where they tell none of them alone.

    Notes
    -----
    The directions of the believed numbers, counted in their own deviations, in which the readings know more than the
    file did: singular values of the whitened slopes above one, what belongs to single runs projected out. Where they
    know no more in any, the one direction that they feel most.
    """
    names = [p.name for p in parameters]
    of = {belief.parameter for belief in beliefs if belief.deviation > 0.0}
    open_ = {question.parameter: question.reading for question in asked if question.parameter in of}
    places = [names.index(name) for name in open_]
    if len(places) < 2:
        return ()
    near = believed(residual, parameters, beliefs, slopes)
    felt = near.slopes * near.deviations
    own = [i for i, name in enumerate(names) if name not in of]
    base, _ = np.linalg.qr(felt[:, own]) if own else (np.zeros((len(felt), 0)), None)
    clear = felt[:, places] - base @ (base.T @ felt[:, places])
    left, sizes, right = np.linalg.svd(clear, full_matrices=False)
    starts = np.cumsum([0, *(group.observed.size for group in groups)])
    found: list[Combination] = []
    for row, size in enumerate(sizes):
        members = _members(open_, np.abs(right[row]))
        if (size <= _INFORMS and found) or size < _FEELS or len(members) < 2:
            continue
        loads = [float(np.linalg.norm(left[a:b, row])) for a, b in pairwise(starts)]
        place = int(np.argmax(loads))
        found.append(_combination(near, groups[place], int(starts[place]), members, open_[members[0]]))
    return tuple(found)


def _members(names: Iterable[str], share: Array) -> list[str]:
    """Those that make up most of a combination, the largest share first."""
    ordered = sorted(zip(names, share.tolist(), strict=True), key=lambda one: -one[1])
    return [name for name, part in ordered if part > _MEMBER * float(share.max())][:_MOST]


def _combination(near: Linear, group: Readings, start: int, members: Sequence[str], reading: str) -> Combination:
    each = group.weights(start, near.off.size)
    off, width = each @ near.off, PER_95 * np.linalg.norm(each, axis=1)
    best = int(np.argmax(np.abs(group.read())))
    predicted = float(group.read()[best] - off[best])
    low, high = sorted(100.0 * (off[best] + side * width[best]) / predicted for side in (-1.0, 1.0))
    listed = f"{', '.join(members[:-1])} and {members[-1]}"
    what = f"{group.name}, {group.labels[best]}" if group.labels else group.name
    if low > 0.0:
        effect = f"make the {what} {digits(low, 2)} to {digits(high, 2)} % more than the file says"
    elif high < 0.0:
        effect = f"make the {what} {digits(-high, 2)} to {digits(-low, 2)} % less than the file says"
    else:
        ends = f"between {digits(-low, 2)} % less and {digits(high, 2)} % more"
        effect = f"leave the {what} as the file says, {ends}"
    said = f"{listed[:1].upper()}{listed[1:]} can be told only together: they {effect}"
    return Combination(tuple(members), said, reading)


_FACTORS = (
    (25.4, "It is 25.4 times what is predicted: was it read in millimetres and written as inches, or the reverse?"),
    (14.5038, "It is 14.5 times what is predicted: was the gauge read in psi and written as bar, or the reverse?"),
    (2.20462, "It is 2.2 times what is predicted: were kilograms and pounds mixed up?"),
    (4.44822, "It is 4.4 times what is predicted: were newtons and pounds of force mixed up?"),
    (60.0, "It is 60 times what is predicted: were minutes and seconds mixed up?"),
    (10.0, "It is 10 times what is predicted: is the decimal point in its place?"),
)
_KINDS = {25.4: ("length",), 14.5038: ("pressure",), 2.20462: ("mass",), 4.44822: ("force",), 60.0: ("time",)}


def _slip(found: Prediction, ways: _Ways, width: float) -> str:
    """A slip of the pen that would put the reading where it is predicted."""
    for factor, said in _FACTORS:
        if found.kind not in _KINDS.get(factor, (found.kind,)):
            continue
        if abs(found.observed / factor - found.predicted) <= _SWAPS * width:
            return said
        if abs(found.observed * factor - found.predicted) <= _SWAPS * width:
            return said.replace("times what is predicted", "times less than predicted")
    unit = ways.units.get(found.kind, "1")
    scale = abs(to_unit(1.0, found.kind, unit) - to_unit(0.0, found.kind, unit))
    typed = abs(found.observed) * scale
    text = f"{typed:.4g}"
    if found.count > 1 or abs(float(text) - typed) > 1e-9 * typed:
        return ""  # a mean, a sum, or written in another unit: its digits are not those of the note
    for i in range(len(text) - 1):
        pair = text[i : i + 2]
        swapped = text[:i] + pair[::-1] + text[i + 2 :]
        left = abs(float(swapped) / scale - abs(found.predicted)) if pair.isdigit() else np.inf
        if left <= min(_SWAPS * width, _MENDS * abs(found.observed - found.predicted)):
            return f"With two digits swapped it would be {swapped} {unit}, as predicted: look at the note."
    return ""


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

    @property
    def evidence(self) -> tuple[float, float]:
        """Value and half width that the readings of all procedures give without the file's belief [SI]."""
        if self.contradict or all(item.moved is None for item in self.items):
            return self.value, self.half_width
        weights = [(value, half**-2) for value, half in (item.evidence for item in self.items)]
        whole = sum(weight for _, weight in weights)
        if whole <= 0.0:
            return self.value, math.inf
        return sum(value * weight for value, weight in weights) / whole, whole**-0.5


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
    read = [item.evidence for item in items]
    apart = any(
        abs(a - b) > _SURE * math.hypot(of_a, of_b) for i, (a, of_a) in enumerate(read) for b, of_b in read[i + 1 :]
    )
    # what the file believes counts once, however many procedures have used it; where they quarrel it does not count
    was = None if apart else next((item.moved for item in items if item.moved is not None), None)
    counts = [*read, (was.believed, was.believed_half)] if was is not None else read
    weights = [half**-2 for _, half in counts]
    value = sum(w * one for w, (one, _) in zip(weights, counts, strict=True)) / sum(weights)
    half = sum(weights) ** -0.5
    if apart:
        chi = sum(w * (one - value) ** 2 for w, (one, _) in zip(weights, counts, strict=True))
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
    sentence += _moved(item, stated, first.kind, unit)
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


def _moved(item: Combined, stated: _Stated, kind: str, unit: str) -> str:
    """How far the readings have moved what the file believed, where it counted."""
    if item.contradict or stated.value is None or not stated.tolerance or all(i.moved is None for i in item.items):
        return ""
    off = 100.0 * abs(item.value - stated.value) / stated.tolerance
    narrow = digits(100.0 * item.half_width / stated.tolerance, 2)
    said = (
        f" The readings move the file's value by {digits(off, 2)} % of its tolerance and leave {narrow} % of that open"
    )
    if any(i.moved is not None and i.moved.alone is None for i in item.items):
        return f"{said}; alone they would not tell it."
    alone = with_interval(*item.evidence, kind, unit)
    same = alone == with_interval(item.value, item.half_width, kind, unit)
    return f"{said}." if same else f"{said}; alone they say {alone}."


_WHOSE = {"default": "the file leaves it to the default,", "implied": "the parts add up to"}


def _standing(item: Combined, stated: _Stated, kind: str) -> tuple[Standing, str]:
    if stated.value is None:
        return "unstated", "; the file says nothing of it"
    read, half = item.evidence
    off = abs((item.value if kind == "count" else read) - stated.value)
    if kind == "count":
        return ("agrees", "") if off == 0.0 else ("differs", "")
    inside = off <= half
    if stated.basis == "default":
        return "unstated", ", which agrees" if inside else ", which lies outside the measured interval"
    tolerance = stated.tolerance or 0.0
    if off > math.hypot(half, tolerance):
        return "unlikely", ", which is unlikely even with its own tolerance"
    if item.half_width < _SHARPER * tolerance:
        return "sharper", ", which agrees within its tolerance; the measured value is more precise"
    return "agrees", ", which agrees"
