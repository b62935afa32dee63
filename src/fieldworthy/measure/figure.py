"""A fit against what was measured, and what is left over."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.axes import Chart, Pane, chart, pane_height, stack
from fieldworthy.drawing.frame import Axis, Limit, Line, Mark, Points
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import Figure, Letters, Sheet
from fieldworthy.measure.result import Residuals

_STEP = {"temperature": "temperature step"}
_DENSE = 60  # readings; the dots of more would hide the model
_MOST_NAMES = 14  # beyond, readings are numbered


def agreement(data: Residuals, style: Style) -> Figure:
    """Draw what was read against what the fitted model says."""
    observed, predicted, _ = _numbers(data)
    if observed.size == 0:
        return _nothing(data, style)
    both = np.concatenate([observed, predicted])
    low, high = _ends(both)
    marks: list[Mark] = [
        Line(x=[low, high], y=[low, high], tone="quiet", dash="6 3", width=1.6),
        Points(x=predicted, y=observed, tone=0),
    ]
    what = Chart(
        title=f"{data.name}: measured against model",
        alt=_alt(data, style),
        x=Axis("Model", data.kind, low, high),
        y=Axis("Measured", data.kind, low, high),
        marks=marks,
        columns=_columns(data, style),
        height=min(0.8 * style.width, 460.0),
    )
    return chart(what, style)


def residuals(data: Residuals, style: Style) -> Figure:
    """Draw readings and model along their axis, and below what is left over."""
    observed, predicted, at = _numbers(data)
    if observed.size == 0:
        return _nothing(data, style)
    order = np.argsort(at, kind="stable")
    along = _axis(data, at)
    size = 3.5 if observed.size <= _DENSE else 1.6
    measured = Points(x=at, y=observed, name="measured", tone=0, size=size)
    top: list[Mark] = [Points(x=at, y=predicted, name="model", tone=1, size=6.5), measured]
    if data.axis_kind:
        top = [measured, Line(x=at[order], y=predicted[order], name="model", tone=1, width=3.0, dash="")]
    left = observed - predicted
    dots = Points(x=at, y=left, tone=0, size=size)
    bottom: list[Mark] = [Limit(at=0.0, tone="ink", dash=None), *_stems(at, left), dots]
    kind = _STEP.get(data.kind, data.kind)
    panes = [
        Pane(title="Measured and model", y=Axis("Reading", data.kind), holds=[*observed, *predicted], marks=top,
             height=pane_height(style, top), last=False),
        Pane(title="Measured less model", y=Axis("Left over", kind), holds=[*left, 0.0], marks=bottom,
             height=pane_height(style)),
    ]  # fmt: skip
    sheet = Sheet(style, sum(pane.tall for pane in panes))
    stack(sheet, 0.0, panes, along)
    title, alt = f"{data.name}: what is left over", _alt(data, style)
    return Figure(title, alt, sheet.document(title, alt), _columns(data, style))


def _numbers(data: Residuals) -> tuple[Array, Array, Array]:
    """Readings, model and place of each, in SI; the place is its number where the axis has no kind."""
    observed, predicted = np.array(data.observed, dtype=float), np.array(data.predicted, dtype=float)
    at = np.array(data.at, dtype=float) if data.axis_kind else np.arange(observed.size, dtype=float)
    return observed, predicted, at


def _ends(values: Array) -> tuple[float, float]:
    """Ends of an axis with some room around what is shown."""
    low, high = float(values.min()), float(values.max())
    spare = 0.06 * (high - low) or 0.1 * abs(high) or 1.0
    return low - spare, high + spare


def _axis(data: Residuals, at: Array) -> Axis:
    label = f"{data.axis[:1].upper()}{data.axis[1:]}"
    if data.axis_kind:
        return Axis(label, data.axis_kind, *_ends(at))
    if data.labels and len(data.labels) <= _MOST_NAMES:
        return Axis(label, names=tuple(data.labels))
    return Axis(label, names=tuple(str(i + 1) for i in range(at.size)))


def _stems(at: Array, left: Array) -> list[Mark]:
    """From 0 to each: one line with gaps."""
    x, y = np.repeat(at, 3), np.repeat(left, 3)
    y[0::3], y[2::3] = 0.0, np.nan
    return [Line(x=x, y=y, tone=0, width=1.2)]


def _alt(data: Residuals, style: Style) -> str:
    observed, predicted, _ = _numbers(data)
    left = observed - predicted
    kind = _STEP.get(data.kind, data.kind)
    most = style.show(float(np.abs(left).max()), kind)
    typical = style.show(float(np.sqrt(np.mean(np.square(left)))), kind)
    return f"{observed.size} readings lie within {most} of the model, {typical} on average (root mean square)."


def _columns(data: Residuals, style: Style) -> dict[str, Sequence[Any]]:
    observed, predicted, at = _numbers(data)
    kind = _STEP.get(data.kind, data.kind)
    found: dict[str, Sequence[Any]] = {}
    if data.labels:
        found["name"] = list(data.labels)
    if data.axis_kind:
        found[style.header(data.axis, data.axis_kind)] = style.value(at, data.axis_kind).tolist()
    found[style.header("measured", data.kind)] = style.value(observed, data.kind).tolist()
    found[style.header("model", data.kind)] = style.value(predicted, data.kind).tolist()
    found[style.header("left over", kind)] = style.value(observed - predicted, kind).tolist()
    return found


def _nothing(data: Residuals, style: Style) -> Figure:
    sheet, text = Sheet(style, 44.0), "There is no reading."
    sheet.text(12.0, 27.0, text, Letters(style.theme.ink))
    return Figure(data.name, text, sheet.document(data.name, text), {})
