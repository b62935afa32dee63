"""A fit against what was measured, and what is left over."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.axes import Chart, Pane, pane_height, panels, stack
from fieldworthy.drawing.frame import Axis, Limit, Line, Mark, Points
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import LARGE, Figure, Letters, Sheet
from fieldworthy.measure.result import Procedure, Residuals

_STEP = {"temperature": "temperature step"}
_DENSE = 60  # readings; the dots of more would hide the model
_TITLE = 34.0  # px above the first pane
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
    return panels(what.title, what.alt, [what], style)


def plots(procedures: Iterable[Procedure], style: Style) -> dict[str, Figure]:
    """Draw what was read, a few figures a procedure, by what they show.

    One figure for all readings of a run over time, one for all readings that were taken again and again of one number,
    and two for each table of different readings: against the model, and what is left over.
    """
    found: dict[str, Figure] = {}
    for procedure in procedures:
        groups: dict[str, list[Residuals]] = {}
        for data in procedure.residuals:
            groups.setdefault(_group(data), []).append(data)
        for what, group in groups.items():
            name = procedure.title if len(groups) == 1 else f"{procedure.title}: {what}"
            found[name] = stacked(name, group, style)
            if len(group) == 1 and not _one_number(group[0]) and not group[0].axis_kind:
                found[f"{name}, against the model"] = agreement(group[0], style)
    return found


def _group(data: Residuals) -> str:
    """What a set of readings is drawn with: the run that it was logged on, or all that was read again and again."""
    if data.axis_kind and " of " in data.name:
        return data.name.split(" of ", 1)[1]
    return "read again and again" if _one_number(data) else data.name


def _one_number(data: Residuals) -> bool:
    """Whether all readings are of one number, so that the model is a level line."""
    return not data.axis_kind and not data.labels and len(set(data.predicted)) <= 1


def stacked(name: str, group: Sequence[Residuals], style: Style) -> Figure:
    """Draw sets of readings below each other under one title: readings with the model, then what is left over."""
    shown = [data for data in group if data.observed]
    if not shown:
        return _nothing(group[0], style)
    longest = max((_numbers(data)[2] for data in shown), key=len)
    along = _axis(max(shown, key=lambda data: len(data.at)), longest)
    panes = [pane for data in shown for pane in _panes(data, style)]
    panes = [replace(pane, last=pane is panes[-1]) for pane in panes]
    sheet = Sheet(style, _TITLE + sum(pane.tall for pane in panes))
    sheet.text(12.0, 22.0, name, Letters(style.theme.ink, LARGE, bold=True))
    stack(sheet, _TITLE, panes, along)
    alt = " ".join(_alt(data, style) for data in shown)
    columns: dict[str, Sequence[Any]] = {}
    for data in shown:
        columns |= {f"{data.name}: {key}" if len(shown) > 1 else key: c for key, c in _columns(data, style).items()}
    return Figure(name, alt, sheet.document(name, alt), columns)


def residuals(data: Residuals, style: Style) -> Figure:
    """Draw readings and model along their axis, and below what is left over."""
    return stacked(f"{data.name}: what is left over", [data], style)


def _panes(data: Residuals, style: Style) -> list[Pane]:
    observed, predicted, at = _numbers(data)
    order = np.argsort(at, kind="stable")
    size = 3.5 if observed.size <= _DENSE else 1.6
    measured = Points(x=at, y=observed, name="measured", tone=0, size=size)
    line = bool(data.axis_kind) or _one_number(data)
    model: Mark = Points(x=at, y=predicted, name="model", tone=1, size=6.5)
    if line:
        model = Line(x=at[order], y=predicted[order], name="model", tone=1, width=3.0, dash="")
    top: list[Mark] = [measured, model] if line else [model, measured]
    left = observed - predicted
    dots = Points(x=at, y=left, tone=0, size=size)
    bottom: list[Mark] = [Limit(at=0.0), *([] if observed.size > _DENSE else _stems(at, left)), dots]
    kind = _STEP.get(data.kind, data.kind)
    head = f"{data.name[:1].upper()}{data.name[1:]}"
    return [
        Pane(title=f"{head}: measured and model", y=Axis("Reading", data.kind), holds=[*observed, *predicted],
             marks=top, height=pane_height(style, top)),
        Pane(title=f"{head}: measured less model", y=Axis("Left over", kind), holds=[*left, 0.0], marks=bottom,
             height=pane_height(style)),
    ]  # fmt: skip


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
