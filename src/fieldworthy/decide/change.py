"""What a single change is, and its numbers and words in the file's own units."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, TypeVar

from fieldworthy.files import Quantity
from fieldworthy.files.declare import Spec
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.units import parse, to_unit

Kind = Literal["value", "teeth", "count", "class", "layout", "latch"]
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Edit:
    """One place of the robot file that changes.

    Attributes
    ----------
    key : The key as findings write it
    path : Its keys from the top of the file; list places are numbers
    before, after : The value as a file writes it; `after` is empty where the key is taken away
    """

    key: str
    path: tuple[str | int, ...]
    before: str
    after: str


@dataclass(frozen=True)
class Change:
    """One change of a robot, ready to be tried.

    Attributes
    ----------
    kind : What sort of change it is
    edits : Where the file changes; more than one only where cylinders change tanks together
    sentence : What to do
    effort : 1 is about an hour's work
    robot : The specification that holds it
    moved : Values that differ from that specification, by key path [SI]
    """

    kind: Kind
    edits: tuple[Edit, ...]
    sentence: str
    effort: float
    robot: Spec
    moved: Mapping[KeyPath, float] = field(default_factory=dict)


def written(number: float, unit: str) -> str:
    """Write a value as a file would."""
    text = f"{number:.10g}"
    return text if unit == "1" else f"{text} {unit}"


_WORKSHOP = {"mm": 1.0, "deg": 1.0, "psi": 1.0, "bar": 0.05}
"""The finest step in which a workshop makes or sets a value, by the file's unit; common practice, no source."""


def rounded(quantity: Quantity, si: float, share: float) -> list[tuple[str, float]]:
    """Write a new value with few digits, on the far side of the exact one."""
    kind, unit = quantity.kind, quantity.unit
    new, old = to_unit(si, kind, unit), to_unit(quantity.si, kind, unit)
    step = max(_round_step(share * abs(new - old)), _WORKSHOP.get(unit, 0.0) if abs(old) >= 1 else 0.0)
    away = 1 if new > old else -1
    count = math.ceil(new / step - 1e-9) if away > 0 else math.floor(new / step + 1e-9)
    texts = [written((count + i * away) * step, unit) for i in range(2)]
    return [(text, parse(text, kind).si) for text in texts]


def _round_step(most: float) -> float:
    """The largest of 1, 2 and 5 times a power of ten that is no larger."""
    power = 10.0 ** math.floor(math.log10(most))
    return max(times * power for times in (1, 2, 5) if times * power <= most * (1 + 1e-12))


def value_change(robot: Spec, entry: tuple[KeyPath, Quantity], text: str, si: float, effort: float) -> Change:
    """Put one number of a robot to a new value."""
    path, quantity = entry
    before = written(to_unit(quantity.si, quantity.kind, quantity.unit), quantity.unit)
    assumed = " (assumed now)" if quantity.assumed else ""
    sentence = f"{_verb(path, quantity, si)} {dotted(path)} from {before}{assumed} to {text}"
    return Change("value", (Edit(dotted(path), path, before, text),), sentence, effort, robot, {path: si})


def _verb(path: KeyPath, quantity: Quantity, si: float) -> str:
    if quantity.kind == "length" and quantity.low < 0 and path[-1] != 2:
        return "Move"
    if quantity.kind == "angle":
        return "Change"
    return "Raise" if abs(si) > abs(quantity.si) else "Lower"


def with_value(spec: Any, path: KeyPath, value: Any) -> Any:
    """Lay one value into a specification."""
    if not path:
        return value
    key, rest = path[0], path[1:]
    if isinstance(spec, Spec):
        return spec.model_copy(update={str(key): with_value(getattr(spec, str(key)), rest, value)})
    if isinstance(spec, tuple):
        return tuple(with_value(item, rest, value) if i == key else item for i, item in enumerate(spec))
    if value is GONE and not rest:
        return {k: item for k, item in spec.items() if k != key}
    return {**spec, key: with_value(spec.get(key), rest, value)}


GONE: Any = object()
"""As a value: the key is taken away."""


def value_at(spec: Any, path: KeyPath) -> Any:
    """Read what stands at a key path of a specification."""
    for key in path:
        spec = getattr(spec, str(key)) if isinstance(spec, Spec) else spec[key]
    return spec
