"""Pictures of a search: what was tried as points and as lines over everything that varies, and how it went on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.decide.search.cloud import Cloud, Column, Within
from fieldworthy.decide.search.result import Amount, Design
from fieldworthy.drawing.axes import Chart, chart
from fieldworthy.drawing.frame import Axis, Frame, Line, Mark, Points, Spot
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import NORMAL, SMALL, Box, Figure, Ink, Letters, Sheet, node
from fieldworthy.match.state import Whole
from fieldworthy.units import counted, digits

_MOST_LINES = 48
_ROW, _AT, _EDGE = 58.0, 32.0, 16.0  # of the lines: height of a row, its axis below its top, margin at both sides [px]
_REACH = 18.0  # about an axis that a finger may touch to choose a stretch of it [px]


def scatter(data: Cloud, of: tuple[int, int], within: Within, style: Style) -> Figure:
    """Draw two things that candidates differ in against each other; dragging over the plot chooses a part of it."""
    x, y = (data.columns[i] for i in of)
    chosen = data.kept(within)
    others = np.setdiff1d(np.flatnonzero(data.holds), chosen)
    across, up = data.values[:, of[0]], data.values[:, of[1]]
    marks: list[Mark] = []
    if others.size:
        marks.append(Points(x=across[others], y=up[others], name="left out", tone="quiet", size=3.0))
    if chosen.size:
        marks.append(Points(x=across[chosen], y=up[chosen], name="hold what they must", tone=0, size=5.0))
        best = int(chosen[0])
        marks.append(Spot(x=float(across[best]), y=float(up[best]), name="best so far", tone="ink", shape="diamond"))
    if np.isfinite(data.now).all():
        marks.append(Spot(x=float(data.now[of[0]]), y=float(data.now[of[1]]), name="now", tone="ink", shape="ring"))
    title = f"{y.title} against {x.name}"
    alt = (
        f"{counted(int(chosen.size), 'candidate that holds', 'candidates that hold')} what they must, "
        f"{others.size} others left out."
    )

    def touched(sheet: Sheet, where: Frame) -> None:
        """Lay what is dragged over on top of the plot."""
        ends = {"data_x0": where.x.low, "data_x1": where.x.high, "data_y0": where.y.low, "data_y1": where.y.high}
        sheet.add(_touch(where.plot, "xy", f"{of[0]} {of[1]}", ends))

    what = Chart(title=title, alt=alt, x=_axis(x), y=_axis(y), marks=marks)
    return chart(what, style, touched)


def _axis(column: Column) -> Axis:
    return Axis(column.label, names=column.options)


def _touch(box: Box, brush: str, of: str, ends: dict[str, float]) -> str:
    """An area that is dragged over: which columns it is of, and which values stand at its edges."""
    said = {key: f"{value:.9g}" for key, value in ends.items()}
    size = {"x": box.x, "y": box.y, "width": box.w, "height": box.h}
    return node("rect", fill="none", pointer_events="all", data_brush=brush, data_of=of, **said, **size)


def coordinates(data: Cloud, within: Within, style: Style) -> Figure:
    """Draw each candidate as a line over what is wanted and what varies: from the least to the greatest tried.

    Axes lie below each other, so that each has room for its name; dragging along one chooses a stretch of it.
    """
    shown, chosen = data.shown(within), data.kept(within)
    sheet = Sheet(style, _ROW * len(shown) + 6.0)
    across = _EDGE + data.places()[:, shown] * (style.width - 2.0 * _EDGE)
    down = _AT + _ROW * np.arange(len(shown))
    others = np.setdiff1d(np.arange(len(data.values)), chosen)
    for at, column in zip(down.tolist(), shown, strict=True):
        sheet.line((_EDGE, at), (style.width - _EDGE, at), Ink(style.theme.edge, width=1.4))
        if column in within:
            _stretch(sheet, at, _shares(data, column, within[column]))
    for tone, width, these in _lines(others, chosen, style):
        for i in these:
            sheet.path(zip(across[i].tolist(), down.tolist(), strict=True), Ink(tone, width=width))
    for at, column in zip(down.tolist(), shown, strict=True):
        _named(sheet, at, data, column)
    best = ""
    if chosen.size:
        told = [f"{data.columns[i].name} {data.columns[i].text(float(data.values[chosen[0], i]))}" for i in shown]
        best = f" The best of them: {'; '.join(told)}."
    title = "Each candidate as a line, from the least that was tried to the greatest"
    alt = f"{counted(int(chosen.size), 'candidate is', 'candidates are')} left of {len(data.values)}.{best}"
    columns = {c.label: data.values[:, i].tolist() for i, c in enumerate(data.columns)}
    return Figure(title, alt, sheet.document(title, alt), columns)


def _lines(others: Whole, chosen: Whole, style: Style) -> list[tuple[str, float, Whole]]:
    """What is drawn over what: those left out, those left, the best of them."""
    theme = style.theme
    return [
        (theme.grid, 0.8, others[: _MOST_LINES // 2]),
        (theme.series[0], 1.0, chosen[1:_MOST_LINES]),
        (theme.ink, 2.6, chosen[:1]),
    ]


def _shares(data: Cloud, column: int, within: tuple[float, float]) -> Array:
    low, high = (float(end[column]) for end in data.ends)
    return np.clip((np.array(within) - low) / (high - low if high > low else 1.0), 0.0, 1.0)


def _stretch(sheet: Sheet, at: float, shares: Array) -> None:
    """Shade the part of an axis that candidates are to lie in."""
    low, high = (_EDGE + shares * (sheet.style.width - 2.0 * _EDGE)).tolist()
    colour = sheet.style.theme.series[0]
    sheet.rect(Box(low - 2.0, at - 8.0, high - low + 4.0, 16.0), Ink(colour, colour, 1.0, opacity=0.18), 3.0)


def _named(sheet: Sheet, at: float, data: Cloud, column: int) -> None:
    """Write an axis's name above it and its ends below it, and lay what is dragged over on top."""
    style, what = sheet.style, data.columns[column]
    low, high = (float(end[column]) for end in data.ends)
    sheet.text(_EDGE, at - 12.0, what.label, Letters(style.theme.ink, NORMAL, halo=style.theme.paper))
    quiet = Letters(style.theme.quiet, SMALL, halo=style.theme.paper)
    sheet.text(_EDGE, at + 17.0, what.text(low), quiet)
    right = Letters(style.theme.quiet, SMALL, "end", halo=style.theme.paper)
    sheet.text(style.width - _EDGE, at + 17.0, what.text(high), right)
    spare = (high - low) * _EDGE / (style.width - 2.0 * _EDGE)  # a stretch may begin in the margin
    box = Box(0.0, at - _REACH, style.width, 2.0 * _REACH)
    sheet.add(_touch(box, "x", f"{column}", {"data_x0": low - spare, "data_x1": high + spare}))


def front(designs: Sequence[Design], knee: int | None, names: Sequence[str], style: Style) -> Figure:
    """Draw designs that nothing beats by the first two things that are wanted, with the present robot."""
    x, y = designs[0].amounts[:2]
    across, up = names[:2]
    spots: list[Mark] = [
        Spot(
            x=d.amounts[0].value,
            y=d.amounts[1].value,
            name=f"{i + 1}{', the knee' if i == knee else ''}",
            tone=0,
            shape="diamond" if i == knee else "dot",
        )
        for i, d in enumerate(designs)
    ]
    if np.isfinite([x.now, y.now]).all():
        spots.append(Spot(x=x.now, y=y.now, name="now", tone="ink", shape="ring"))
    ends = [(min(d.amounts[i].value for d in designs), max(d.amounts[i].value for d in designs)) for i in (0, 1)]
    alt = (
        f"{counted(len(designs), 'design')}: {across} from {digits(ends[0][0])} to {digits(ends[0][1])} {x.unit}, "
        f"{up} from {digits(ends[1][0])} to {digits(ends[1][1])} {y.unit}."
    )
    what = Chart(
        title=f"What nothing beats: {up} against {across}",
        alt=alt.replace(" ,", ",").replace(" .", "."),
        x=Axis(_titled(across, x)),
        y=Axis(_titled(up, y)),
        marks=spots,
        columns={_titled(a.name, a): [d.amounts[i].value for d in designs] for i, a in enumerate(designs[0].amounts)},
    )
    return chart(what, style)


def _titled(name: str, amount: Amount) -> str:
    return f"{name} [{amount.unit}]" if amount.unit else name


def so_far(history: Sequence[tuple[int, float]], name: str, style: Style) -> Figure:
    """Draw how good the best was after so many candidates."""
    tried, best = zip(*history, strict=True)
    what = Chart(
        title=f"Best so far: {name}",
        alt=f"{digits(best[-1])} after {counted(tried[-1], 'candidate')}, {digits(best[0])} after the first "
        f"{tried[0]}.",
        x=Axis("Candidates", zero=True),
        y=Axis(name),
        marks=[Line(x=tried, y=best, step=True, tone=0)],
        height=180.0,
    )
    return chart(what, style)
