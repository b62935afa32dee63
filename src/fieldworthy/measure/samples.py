"""Sensor readings by class: mean hue and spread on the circle, and the thresholds that follow."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.system import hues_of
from fieldworthy.files import BadInput
from fieldworthy.files.document import KeyPath, nearest
from fieldworthy.measure.files import Measured, deviation
from fieldworthy.measure.fitting import PER_95, Belief, Parameter
from fieldworthy.measure.model import HueSamples
from fieldworthy.measure.prediction import Readings, predictions
from fieldworthy.measure.result import Fitted, Prediction, Procedure, Residuals, Unidentified
from fieldworthy.measure.table import Source, Wanted, read_table
from fieldworthy.physics.chance.chance import HueEstimate, hue_estimate, mean_interval
from fieldworthy.physics.colour import colour, sorting
from fieldworthy.units import digits, percent

BACKGROUND = "background"
"""The word in the class column for readings without an object."""
_LEAST = 3
_DRAWS, _SEED = 2000, 1
_LEAST_SPREAD = 1e-3  # rad
WANTED = {
    "class": Wanted(""),
    "hue": Wanted("angle", 0.0, 7.0, moves=False),
    "saturation": Wanted("ratio", 0.0, 1.0, moves=False, needed=False),
    "brightness": Wanted("ratio", 0.0, 1.0, moves=False, needed=False),
}
"""What is known beforehand of the columns of a table of sensor readings."""
Columns = dict[str, Array]


def fit_samples(given: HueSamples, measured: Measured, name: str) -> Procedure:
    """Find mean hue and spread of every class of a sorter, and the thresholds between them."""
    spec: Any = measured.robot.nominal.mechanisms[name]
    if hues_of(spec) is None:
        expected = "expected the name of a mechanism with 'kind: sorter'"
        raise BadInput([measured.document.problem(("samples", name, ""), expected)])
    readings, notes = _readings(given, measured, name, spec)
    estimates = {label: _estimate(columns["hue"]) for label, columns in readings.items()}
    found = {label: e for label, e in estimates.items() if isinstance(e, HueEstimate)}
    key: KeyPath = ("mechanisms", name)
    fitted = [f for label, e in found.items() for f in _class(spec, key, label, e, readings[label])]
    untold = [u for label, e in estimates.items() if isinstance(e, str) for u in _untold(key, label, e)]
    for label in (label for label, e in found.items() if not _spread_told(e)):
        why = f"{readings[label]['hue'].size} readings tell a spread no better than to a factor of two"
        untold += _untold(key, label, why, ("spread",))
    missing = [c for c in spec.classes if c not in readings]
    untold += [u for label in missing for u in _untold(key, label, "it was not read")]
    classes = {label: e for label, e in found.items() if label != BACKGROUND}
    if set(classes) == set(spec.classes):
        thresholds, said = _thresholds(spec, classes)
        fitted += thresholds
        notes.append(said)
    residuals = tuple(_shown(label, readings[label]["hue"], e) for label, e in found.items())
    return Procedure(
        f"samples.{name}", f"Readings of the sensor of '{name}'", given.date, tuple(fitted), tuple(untold), residuals,
        tuple(notes), ("mardia", "duda"), predictions=tuple(_held(measured, key, spec, readings)),
    )  # fmt: skip


def _held(measured: Measured, key: KeyPath, spec: Any, readings: Mapping[str, Columns]) -> Iterator[Prediction]:
    """What the file predicts of the mean reading of each class, before anything is fitted."""
    told = hues_of(spec)
    if told is None:
        return
    means, sds, _ = told
    labels = list(spec.classes)
    for label, columns in readings.items():
        where, hues = (*_where(key, label), "hue"), columns["hue"]
        if label in labels:
            place = labels.index(label)
            mean, spread = (float(np.asarray(of)[place].ravel()[0]) for of in (means, sds))
            lists = spec.classes[label].samples
            known = spread / math.sqrt(len(lists)) if lists is not None else deviation(measured, where)
        elif spec.background is not None and spec.background.spread is not None:
            mean, spread = float(spec.background.hue), float(spec.background.spread)
            known = deviation(measured, where)
        else:
            continue
        belief = Belief(f"hue of '{label}'", where, "angle", mean, known)
        yield from _one_held(belief, spread, hues, measured)


def _one_held(belief: Belief, spread: float, hues: Array, measured: Measured) -> tuple[Prediction, ...]:
    """Hold readings of one class, on the turn of the circle that is nearest, against the file's mean and spread."""
    near = belief.value + np.asarray(colour.difference(hues, belief.value))

    def residual(values: Array) -> Array:
        return np.asarray((near - values[0]) / spread)

    group = Readings(belief.parameter, "angle", near, np.full(near.shape, spread))
    return predictions(residual, [Parameter(belief.parameter, belief.value, np.pi)], [belief], [group], measured)


def _readings(given: HueSamples, measured: Measured, name: str, spec: Any) -> tuple[dict[str, Columns], list[str]]:
    """Readings by class, from the table or written by hand."""
    known = [*spec.classes, BACKGROUND]
    key: KeyPath = ("samples", name)
    if given.file is None:
        strangers = [c for c in given.classes if c not in known]
        if strangers:
            raise BadInput([measured.document.problem((*key, "classes", c, ""), _listed(known), nearest(c, known))
                            for c in strangers])  # fmt: skip
        hand = {label: {"hue": np.array([float(h) for h in r.hue])} | {
            word: np.array([float(x) for x in getattr(r, word)]) for word in ("saturation", "brightness")
            if getattr(r, word)
        } for label, r in given.classes.items()}  # fmt: skip
        return hand, []
    source = Source(measured.table(given.file, (*key, "file")), given.columns, measured.document, (*key, "columns"))
    table = read_table(source, WANTED)
    words = np.array([word.strip() for word in table.words["class"]], dtype=object)
    wrong = [(int(line), word) for line, word in zip(table.lines, words, strict=True) if word not in known]
    turned = table.numbers["hue"]
    off = [int(line) for line in table.lines[(turned < -1e-9) | (turned > colour.TURN + 1e-6)]]
    if wrong or off:
        raise BadInput([
            *(source.bad(line, f"{_listed(known)} (found {word!r})", nearest(word, known)) for line, word in wrong),
            *(source.bad(line, "expected a hue on the circle, 0 deg to 360 deg") for line in off),
        ])  # fmt: skip
    columns = table.numbers | {"hue": np.asarray(colour.wrap(turned))}
    by_class = {
        label: {column: values[words == label] for column, values in columns.items()}
        for label in known if (words == label).any()
    }  # fmt: skip
    return by_class, [f"{given.file}, {remark}." for remark in table.remarks]


def _listed(known: list[str]) -> str:
    return f"expected a class of the sorter: {'; '.join(known)}"


def _estimate(readings: Array) -> HueEstimate | str:
    """Mean and spread, or why they cannot be told."""
    if readings.size < _LEAST:
        return f"{readings.size} readings say nothing about how much objects differ"
    if np.ptp(readings) == 0.0:
        return "all its readings are the same: is the sensor stuck, or was one object read once and copied?"
    try:
        return hue_estimate(readings)
    except ValueError:
        return "its readings point every way: a grey object, or too little light"


def _where(key: KeyPath, label: str) -> KeyPath:
    return (*key, BACKGROUND) if label == BACKGROUND else (*key, "classes", label)


def _class(spec: Any, key: KeyPath, label: str, found: HueEstimate, columns: Columns) -> Iterator[Fitted]:
    where = _where(key, label)
    own = spec.classes.get(label)
    # a class of the file that lists its readings cannot hold a mean beside them: both are written, or neither
    lists, told = own is not None and own.samples is not None, _spread_told(found)
    gone = ((*where, "samples"),) if lists else ()
    hue_key = (*where, "hue") if told or not lists else ()
    yield Fitted(f"hue of '{label}'", hue_key, "angle", found.mean, found.mean_half_width, replaces=gone)
    if told:
        yield Fitted(f"spread of '{label}'", (*where, "spread"), "angle", found.spread, found.spread_half_width,
                     replaces=gone)  # fmt: skip
    for word in ("saturation", "brightness"):
        values = columns.get(word)
        if values is not None and values.size >= 2 and np.ptp(values) > 0.0:
            middle, _, high = (float(x) for x in mean_interval(values))
            yield Fitted(f"{word} of '{label}'", (*where, word), "ratio", middle, high - middle)


def _spread_told(found: HueEstimate) -> bool:
    return found.spread_half_width < found.spread


def _untold(key: KeyPath, label: str, why: str, words: tuple[str, ...] = ("hue", "spread")) -> Iterator[Unidentified]:
    reading = f"read ten or more objects of '{label}', each once, at the place where they pass the sensor"
    if label == BACKGROUND:
        reading = "read the sensor ten times or more with nothing before it"
    for word in words:
        yield Unidentified(f"{word} of '{label}'", (*_where(key, label), word), why, reading)


def _thresholds(spec: Any, found: Mapping[str, HueEstimate]) -> tuple[list[Fitted], str]:
    """Where each class begins, with intervals from draws of all means and spreads, and how often one reading errs."""
    labels = list(spec.classes)
    means, mean_sd = _columns(found, labels, "mean")
    spreads, spread_sd = _columns(found, labels, "spread")
    rng = np.random.default_rng(_SEED)
    shape = (len(labels), _DRAWS)
    drawn = (
        colour.wrap(means[:, None] + mean_sd[:, None] * rng.standard_normal(shape)),
        np.maximum(spreads[:, None] + spread_sd[:, None] * rng.standard_normal(shape), 0.2 * spreads[:, None]),
    )
    begins = _arcs(spec, labels, means, spreads)
    many = _arcs(spec, labels, *(np.asarray(d) for d in drawn))
    thresholds = [
        Fitted(f"hue from which it is '{label}'", (), "angle", start, _half(many, i, start))
        for i, label in enumerate(labels)
        for start, _ in begins.of(i)
    ]
    errors = sorting.misclassification(means, spreads, begins)
    said = ", ".join(f"{percent(float(e))} of '{label}'" for label, e in zip(labels, errors, strict=True))
    arcs = "; ".join(f"{label} {_told(begins.of(i))}" for i, label in enumerate(labels))
    return thresholds, f"Thresholds of least error: {arcs}. One reading is wrong for {said}."


def _half(many: sorting.Sectors, own: int, start: float) -> float:
    """Half width of a threshold: 95 % of the draws have one of the class nearer than this [rad]."""
    off = np.where((many.owner == own) & (many.width > 0.0), np.abs(colour.difference(many.start, start)), np.pi)
    return float(np.quantile(off.min(axis=0), 0.95))


def _told(arcs: list[tuple[float, float]]) -> str:
    """Arcs of a class in words."""
    ends = ((np.degrees(a), np.degrees(colour.wrap(a + w))) for a, w in arcs)
    return " and ".join(f"from {digits(float(a))}° to {digits(float(b))}°" for a, b in ends) or "nowhere"


def _columns(found: Mapping[str, HueEstimate], labels: list[str], word: str) -> tuple[Array, Array]:
    values = np.array([getattr(found[label], word) for label in labels])
    halves = np.array([getattr(found[label], f"{word}_half_width") for label in labels])
    return values, halves / PER_95


def _arcs(spec: Any, labels: list[str], means: Array, spreads: Array) -> sorting.Sectors:
    """Thresholds as the check of the sorter finds them."""
    classes = {
        label: dataclasses.replace(spec.classes[label], hue=mean, spread=spread, samples=None)
        for label, mean, spread in zip(labels, _each(means), _each(spreads), strict=True)
    }
    told = hues_of(dataclasses.replace(spec, classes=classes))
    assert told is not None, "asked before"
    return sorting.sectors(*told)


def _each(values: Array) -> list[Any]:
    return [float(v) for v in values] if values.ndim == 1 else list(values)


def _shown(label: str, readings: Array, found: HueEstimate) -> Residuals:
    """Readings in order beside their mean, on the turn of the circle that is nearest to it."""
    near = found.mean + np.asarray(colour.difference(readings, found.mean))
    count = tuple(float(i + 1) for i in range(readings.size))
    return Residuals(f"hue of '{label}'", "reading", "", count, "angle", tuple(near.tolist()),
                     (found.mean,) * readings.size)  # fmt: skip
