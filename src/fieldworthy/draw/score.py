"""Points over many matches: how they spread, for one robot or several, and what keeps them from being more."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldworthy.draw.axesframe import Frame, colour_of
from fieldworthy.draw.axesmarks import Band, Line, Mark
from fieldworthy.draw.axespaint import draw_spot
from fieldworthy.draw.axesscale import Axis, tick_step
from fieldworthy.draw.figure import Figure
from fieldworthy.draw.lettering import shortened, width
from fieldworthy.draw.rows import Row, draw_rows, rows_height
from fieldworthy.draw.stack import Pane, stack
from fieldworthy.draw.style import Array, Style
from fieldworthy.draw.svg import SMALL, Ink, Letters, Sheet
from fieldworthy.match import Forecast, Scores

_SHAPES = ("dot", "diamond", "square", "ring")
_ROW = 30.0  # of a robot's mean and band below the histogram [px]
_BINS = 24
_SAID = {
    "luck": "a try failed",
    "time": "time ran out",
    "air": "too little air",
    "heat": "motors cut back by heat",
    "objects": "nothing to take or to score",
    "battery": "battery empty",
    "load": "motors too weak",
    "full": "the season counts no more",
}
"""What a reason is called beside its bar."""


@dataclass(frozen=True, slots=True)
class _Histogram:
    """Shares of the matches in bins of points, the same bins for all robots."""

    edges: Array
    shares: tuple[Array, ...]


def distribution(data: Sequence[Scores], style: Style) -> Figure:
    """Draw how the points of many matches spread.

    Parameters
    ----------
    data : sequence of Scores
        One robot, or several to be laid over each other [-].
    style : Style
        How it is to look [-].

    Returns
    -------
    Figure
        A histogram, below it the mean of each robot and the band that 90 % of its matches fall into [-].

    Raises
    ------
    ValueError
        When there is no robot.
    """
    if not data:
        raise ValueError("expected the scores of one robot at least")
    binned = _binned(data)
    names = _names(data)
    marks = [_outline(binned.edges, shares, i) for i, shares in enumerate(binned.shares)]
    most = float(max(shares.max() for shares in binned.shares))
    filled = _filled(binned.edges, binned.shares[0]) if len(data) == 1 else []
    pane = Pane(
        title="",
        y=Axis("Share of matches", "share", 0.0, 1.12 * most),
        marks=[*filled, *marks],
        height=float(np.clip(0.42 * style.width, 220.0, 320.0)),
    )
    sheet = Sheet(style, pane.height + _ROW * len(data) + 8.0)
    axis = Axis("Points", "count", float(binned.edges[0]), float(binned.edges[-1]))
    where = stack(sheet, 0.0, [pane], axis)[0]
    for i, (one, name) in enumerate(zip(data, names, strict=True)):
        _band(sheet, where, pane.height + _ROW * (i + 0.5), (one, name), i)
    title, alt = "How the points spread", _alt(data, names)
    return Figure(title, alt, sheet.document(title, alt), _columns(data, names, binned))


def _names(data: Sequence[Scores]) -> list[str]:
    """A name of its own for each robot, also where two are called the same."""
    names = [one.name for one in data]
    return [n if names.count(n) == 1 else f"{n} ({i + 1})" for i, n in enumerate(names)]


def _binned(data: Sequence[Scores]) -> _Histogram:
    low, high = min(float(one.points.min()) for one in data), max(float(one.points.max()) for one in data)
    grain = _grain(np.concatenate([one.points for one in data]))
    # whole grains, else every other bin would hold one number of points more than its neighbours
    step = math.ceil(tick_step(max(high - low, 1.0), _BINS) / grain - 1e-9) * grain
    first = math.floor(low / step) - 1
    edges = step * np.arange(first, math.floor(high / step) + 3, dtype=np.float64)
    shares = [np.histogram(one.points, edges, weights=one.runs)[0] / one.runs.sum() for one in data]
    return _Histogram(edges, tuple(shares))


def _grain(points: Array) -> float:
    """The largest number of points that all of them are multiples of; 1 where they are not whole."""
    whole = np.round(points).astype(int)
    return float(max(np.gcd.reduce(whole), 1)) if np.allclose(points, whole, atol=1e-6) else 1.0


def _outline(edges: Array, shares: Array, turn: int) -> Line:
    """From the first bin that holds something to the last."""
    held = np.flatnonzero(shares > 0.0)
    first, last = int(held[0]), int(held[-1])
    steps = np.repeat(shares[first : last + 1], 2)
    return Line(x=np.repeat(edges[first : last + 2], 2), y=[0.0, *steps, 0.0], tone=turn, width=2.2)


def _filled(edges: Array, shares: Array) -> list[Mark]:
    x, high = np.repeat(edges, 2), np.concatenate([[0.0], np.repeat(shares, 2), [0.0]])
    return [Band(x=x, low=np.zeros(x.size), high=high, tone=0)]


def _band(sheet: Sheet, where: Frame, y: float, robot: tuple[Scores, str], turn: int) -> None:
    """Mean with its mark, and the 5 to 95 % band with its ends, in words too."""
    (one, name), style = robot, sheet.style
    colour, dash = colour_of(turn, 0, style)
    low, middle, high = (float(where.x(at)) for at in (one.band[0], one.mean, one.band[1]))
    sheet.line((low, y), (high, y), Ink(colour, width=2.2, dash=dash))
    for at in (low, high):
        sheet.line((at, y - 5.0), (at, y + 5.0), Ink(colour, width=2.0))
    draw_spot(sheet, (middle, y), _SHAPES[turn % len(_SHAPES)], colour)
    says = f": mean {one.mean:.1f}, 90 % from {one.band[0]:g} to {one.band[1]:g}"
    text = shortened(name, SMALL, style.width - 16.0 - width(says, SMALL)) + says
    half = width(text, SMALL) / 2.0
    x = min(max((low + high) / 2.0, half + 6.0), style.width - half - 6.0)
    sheet.text(x, y + 17.0, text, Letters(style.theme.ink, SMALL, "middle"))


def _alt(data: Sequence[Scores], names: Sequence[str]) -> str:
    parts = [
        f"{name} scores {one.mean:.1f} points on average, 90 % of matches from {one.band[0]:g} to {one.band[1]:g}"
        for one, name in zip(data, names, strict=True)
    ]
    return "; ".join(parts) + "."


def _columns(data: Sequence[Scores], names: Sequence[str], binned: _Histogram) -> dict[str, Sequence[Any]]:
    found: dict[str, Sequence[Any]] = {
        "points from": binned.edges[:-1].tolist(),
        "points below": binned.edges[1:].tolist(),
    }
    for name, shares in zip(names, binned.shares, strict=True):
        found[f"{name}: share of matches [%]"] = (100.0 * shares).tolist()
    for name, one in zip(names, data, strict=True):
        found[f"{name}: mean points"] = [one.mean]
        found[f"{name}: 5 % do not exceed"] = [one.band[0]]
        found[f"{name}: 95 % do not exceed"] = [one.band[1]]
    return found


def limits(data: Forecast, style: Style) -> Figure:
    """Draw what keeps the points from being more.

    Parameters
    ----------
    data : Forecast
        Of many matches [-].
    style : Style
        How it is to look [-].

    Returns
    -------
    Figure
        A bar for each reason: the share of the matches in which an action ended so [-].
    """
    title = "What limits the points"
    if not data.limits:
        return _unlimited(data, title, style)
    rows = [
        Row(
            label=f"{_said(limit.reason)}, most often '{limit.worst}'",
            note=style.show(limit.share, "share", 2),
            bar=(0.0, limit.share),
        )
        for limit in data.limits
    ]
    axis = Axis("Share of matches in which it happens", "share", 0.0, 1.0)
    sheet = Sheet(style, rows_height(rows, axis, style.width))
    draw_rows(sheet, 0.0, rows, axis)
    worst = data.limits[0]
    alt = f"In {100 * worst.share:.0f} % of {data.runs} matches: {_said(worst.reason)}, most often '{worst.worst}'."
    columns: dict[str, Sequence[Any]] = {
        "what": [_said(limit.reason) for limit in data.limits],
        "most often": [limit.worst for limit in data.limits],
        "share of matches [%]": [100.0 * limit.share for limit in data.limits],
        "actions in a match": [limit.mean for limit in data.limits],
    }
    return Figure(title, alt, sheet.document(title, alt), columns)


def _said(reason: str) -> str:
    return _SAID.get(reason, reason)


def _unlimited(data: Forecast, title: str, style: Style) -> Figure:
    sheet = Sheet(style, 44.0)
    text = f"Nothing: every action of {data.runs} matches succeeds." if data.runs else "No match was played."
    sheet.text(12.0, 27.0, text, Letters(style.theme.ink))
    return Figure(title, text, sheet.document(title, text), {})
