"""Points over many matches: how they spread, for one robot or several, and what keeps them from being more."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.drawing.axes import HEAD, Pane, Row, draw_rows, rows_height, stack
from fieldworthy.drawing.frame import Axis, Band, Frame, Limit, Line, Mark, colour_of, tick_step
from fieldworthy.drawing.painting import draw_spot
from fieldworthy.drawing.style import Style, shortened, width, wrapped
from fieldworthy.drawing.svg import LARGE, SMALL, Box, Figure, Ink, Letters, Sheet
from fieldworthy.match.forecast import Forecast, Scores
from fieldworthy.match.timeline import ENDINGS, Event, MatchClock, Timeline
from fieldworthy.units import counted

_LANE, _BAR = 31.0, 11.0  # from lane to lane, and the bars in them [px]
_PANE = 128.0  # [px]
_MOST_NOTES = 6
_TITLE = "The match as planned, over time"
_WELL = ("done", "full")


@dataclass(frozen=True, slots=True)
class Course:
    """One match and the times that it is played to.

    Attributes
    ----------
    timeline : What happens [SI]
    clock : When its periods begin and end [s]
    """

    timeline: Timeline
    clock: MatchClock


def timeline(data: Course, style: Style) -> Figure:
    """Draw one match: a lane for each action at a place, and tanks, motors and battery below."""
    events, end = data.timeline.events, _end(data)
    lanes = list(dict.fromkeys((event.action, event.place) for event in events))
    notes = _notes(data, style)
    panes = _panes(data, style) if events else []
    # without a pane below, an empty one gives the axis
    panes = panes or [Pane(title="", y=Axis("", "count", 0.0, 1.0), marks=_whistles(data), height=60.0)]
    above = HEAD + 22.0 + _LANE * len(lanes) + 16.0 * len(notes) + (8.0 if notes else 0.0)
    sheet = Sheet(style, above + sum(pane.tall for pane in panes))
    frames = stack(sheet, above, panes, Axis("Time in the match", "time", 0.0, end))
    sheet.text(12.0, 18.0, "What it does", Letters(style.theme.ink, LARGE, bold=True))
    _periods(sheet, frames[0], data, [_named(lane) for lane in lanes])
    for i, lane in enumerate(lanes):
        mine = [event for event in events if (event.action, event.place) == lane]
        _lane(sheet, frames[0], HEAD + 22.0 + _LANE * i, lane, mine)
    for i, note in enumerate(notes):
        y = HEAD + 22.0 + _LANE * len(lanes) + 16.0 * (i + 1)
        sheet.text(12.0, y, note, Letters(style.theme.ink, SMALL))
    alt = _timeline_alt(data)
    return Figure(_TITLE, alt, sheet.document(_TITLE, alt), _timeline_columns(data.timeline, style))


def _end(data: Course) -> float:
    return max([data.clock.end, *(event.ends for event in data.timeline.events)])


def _named(lane: tuple[str, str]) -> str:
    return f"{lane[0]}, {lane[1]}"


def _periods(sheet: Sheet, where: Frame, data: Course, names: Sequence[str]) -> None:
    """Names of the periods above the lanes, and lines where they meet."""
    theme = sheet.style.theme
    for period in data.clock.periods:
        a, b = float(where.x(period.begins)), float(where.x(period.ends))
        middle = Letters(theme.quiet, SMALL, "middle")
        if width(period.name, SMALL) < b - a:
            sheet.text((a + b) / 2.0, HEAD + 14.0, period.name, middle)
        elif sheet.free(Letters(theme.quiet, SMALL).box(a + 3.0, HEAD + 14.0, period.name)):
            sheet.text(a + 3.0, HEAD + 14.0, period.name, Letters(theme.quiet, SMALL))
        for at in (a, b):
            _upright(sheet, at, names, Ink(theme.edge))
    if data.clock.reserve is not None:
        _upright(sheet, float(where.x(data.clock.reserve)), names, Ink(theme.edge, dash="4 3"))


def _upright(sheet: Sheet, x: float, names: Sequence[str], ink: Ink) -> None:
    """A line down all lanes that leaves out the names it would cross."""
    begun = HEAD + 20.0
    for i, name in enumerate(names):
        top = HEAD + 22.0 + _LANE * i
        if x < 12.0 + width(name, SMALL) + 3.0:
            if top > begun:
                sheet.line((x, begun), (x, top), ink)
            begun = top + 15.0
    sheet.line((x, begun), (x, HEAD + 22.0 + _LANE * len(names)), ink)


def _lane(sheet: Sheet, where: Frame, top: float, lane: tuple[str, str], events: Sequence[Event]) -> None:
    theme, middle = sheet.style.theme, top + 16.0 + _BAR / 2.0
    sheet.line((where.plot.x, middle), (where.plot.right, middle), Ink(theme.grid))
    sheet.text(12.0, top + 11.0, _named(lane), Letters(theme.ink, SMALL, halo=theme.paper))
    for event in events:
        leaves, begins, ends = (float(where.x(t)) for t in (event.leaves, event.begins, event.ends))
        if begins > leaves:
            sheet.line((leaves, middle), (begins, middle), Ink(theme.quiet, width=1.4))
        box = Box(begins, middle - _BAR / 2.0, max(ends - begins, 2.0), _BAR)
        _bar(sheet, box, event)
    _earned(sheet, where, middle, events)


def _bar(sheet: Sheet, box: Box, event: Event) -> None:
    theme = sheet.style.theme
    if event.reason == "done":
        sheet.rect(box, Ink(theme.series[0], theme.series[0]), 1.5)
    elif event.reason == "full":
        sheet.rect(box, Ink(theme.series[0], theme.paper, 1.4), 1.5)
    else:
        sheet.rect(box, Ink(theme.bad, theme.paper, 1.4, "3 2"), 1.5)
        draw_spot(sheet, (box.x + box.w / 2.0, box.y + box.h / 2.0), "cross", theme.bad)


def _earned(sheet: Sheet, where: Frame, middle: float, events: Sequence[Event]) -> None:
    """Points of the lane in the margin, where there is one; else after its label."""
    points = sum(event.points for event in events)
    if points:
        text, letters = counted(points, "point"), Letters(sheet.style.theme.ink, SMALL, "end", bold=True)
        box = letters.box(sheet.style.width - 8.0, middle + 4.0, text)
        y = middle + 4.0 if box.x > where.plot.right + 4.0 else middle - _BAR / 2.0 - 5.0
        if sheet.free(letters.box(sheet.style.width - 8.0, y, text), 2.0):
            sheet.text(sheet.style.width - 8.0, y, text, letters)


def _notes(data: Course, style: Style) -> list[str]:
    """What failed and why, and what marks mean, in lines that fit."""
    events, reserve = data.timeline.events, data.clock.reserve
    found = [
        f"× {e.action} at {style.show(e.begins, 'time')}: {ENDINGS[e.reason].event}"
        for e in events
        if e.reason not in _WELL
    ]
    if len(found) > _MOST_NOTES:
        found = [*found[: _MOST_NOTES - 1], f"and {len(found) - _MOST_NOTES + 1} more that fail"]
    if any(e.reason == "full" for e in events):
        found.append(f"An empty bar without a cross: {ENDINGS['full'].event}")
    if reserve is not None:
        found.append(f"Dashed line: the finish begins by {style.show(reserve, 'time')}")
    return [line for text in found for line in wrapped(text, SMALL, style.width - 24.0)]


def _whistles(data: Course) -> list[Mark]:
    marks: list[Mark] = [Limit(at=p.begins, side="x", tone="edge", dash=None) for p in data.clock.periods[1:]]
    if data.clock.reserve is not None:
        marks.append(Limit(at=data.clock.reserve, side="x", tone="edge", dash="4 3"))
    return marks


def _panes(data: Course, style: Style) -> list[Pane]:
    events = data.timeline.events
    time = [event.ends for event in events]
    found = []
    tanks = list(events[0].pressure)
    if tanks:
        lines = [
            Line(x=time, y=[e.pressure[name] for e in events], name=f"tank {name}", tone=i, step=True)
            for i, name in enumerate(tanks)
        ]
        top = 1.08 * max(*(float(np.max(line.y)) for line in lines), 1e4)
        found.append(_pane(data, "Air left in the tanks", Axis("Gauge pressure", "pressure", 0.0, top), lines))
    found.append(_heat(data, style))
    left = [max(1.0 - event.charge / data.timeline.capacity, 0.0) for event in events]
    line = Line(x=time, y=left, name=f"{style.show(left[-1], 'share')} left", tone=0, step=True)
    found.append(_pane(data, "Battery", Axis("Charge", "share", 0.0, 1.05), [line], last=True))
    return found


def _heat(data: Course, style: Style) -> Pane:
    events = data.timeline.events
    hottest = np.array([event.hottest for event in events])
    hot = events[int(hottest.argmax())].hottest_motor
    line = Line(x=[e.ends for e in events], y=hottest, name=f"{hot} {style.show(hottest.max(), 'temperature')}", tone=0)
    spare = max(0.25 * float(np.ptp(hottest)), 2.0)
    axis = Axis("Temperature", "temperature", float(hottest.min()) - spare, float(hottest.max()) + spare)
    return _pane(data, "Hottest motor winding", axis, [line])


def _pane(data: Course, title: str, axis: Axis, lines: Sequence[Line], last: bool = False) -> Pane:
    return Pane(
        title=title, y=axis, marks=_whistles(data), named=lines, height=_PANE + (18.0 if last else 0.0), last=last
    )


def _timeline_alt(data: Course) -> str:
    events = data.timeline.events
    failed = [event for event in events if event.reason not in _WELL]
    text = (
        f"{counted(len(events), 'action')} in {_end(data):.0f} s earn{'s' * (len(events) == 1)} "
        f"{counted(data.timeline.points, 'point')}"
    )
    if not failed:
        return f"{text}; none fails."
    one = failed[0]
    fail = f"{len(failed)} fail{'s' * (len(failed) == 1)}, the first"
    return f"{text}; {fail} '{one.action}' at {one.begins:.0f} s: {ENDINGS[one.reason].event}."


def _timeline_columns(match: Timeline, style: Style) -> dict[str, Sequence[Any]]:
    events = match.events
    times = {"leaves": "leaves", "begins": "begins", "ends": "ends"}
    found: dict[str, Sequence[Any]] = {
        style.header(label, "time"): [float(getattr(e, name)) for e in events] for label, name in times.items()
    }
    for name in ("period", "action", "place", "points", "counted"):
        found[name] = [getattr(e, name) for e in events]
    found["how it ends"] = [ENDINGS[e.reason].event or e.reason for e in events]
    for tank in events[0].pressure if events else ():
        found[style.header(f"tank {tank}", "pressure")] = [style.value(e.pressure[tank], "pressure") for e in events]
    found["hottest motor"] = [e.hottest_motor for e in events]
    found[style.header("winding", "temperature")] = [style.value(e.hottest, "temperature") for e in events]
    left = [max(1.0 - e.charge / match.capacity, 0.0) for e in events]
    found[style.header("battery left", "share")] = [style.value(share, "share") for share in left]
    return found


_SHAPES = ("dot", "diamond", "square", "ring")
_ROW = 30.0  # of a robot's mean and band below the histogram [px]
_BINS = 24


@dataclass(frozen=True, slots=True)
class _Histogram:
    """Shares of the matches in bins of points, the same bins for all robots."""

    edges: Array
    shares: tuple[Array, ...]


def distribution(data: Sequence[Scores], style: Style) -> Figure:
    """Draw how the points of many matches spread."""
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
    """Draw what keeps the points from being more."""
    title = "What limits the points"
    if not data.limits:
        return _unlimited(data, title, style)
    rows = [
        Row(
            label=f"{ENDINGS[limit.reason].cause}, most often '{limit.worst}'",
            note=style.show(limit.share, "share", 2),
            bar=(0.0, limit.share),
        )
        for limit in data.limits
    ]
    axis = Axis("Share of matches in which it happens", "share", 0.0, 1.0)
    sheet = Sheet(style, rows_height(rows, axis, style.width))
    draw_rows(sheet, 0.0, rows, axis)
    worst = data.limits[0]
    share = f"{100 * worst.share:.0f} % of {counted(data.runs, 'match')}"
    alt = f"In {share}: {ENDINGS[worst.reason].cause}, most often '{worst.worst}'."
    columns: dict[str, Sequence[Any]] = {
        "what": [ENDINGS[limit.reason].cause for limit in data.limits],
        "most often": [limit.worst for limit in data.limits],
        "share of matches [%]": [100.0 * limit.share for limit in data.limits],
        "actions in a match": [limit.mean for limit in data.limits],
    }
    return Figure(title, alt, sheet.document(title, alt), columns)


def _unlimited(data: Forecast, title: str, style: Style) -> Figure:
    sheet = Sheet(style, 44.0)
    text = f"Nothing: every action of {counted(data.runs, 'match')} succeeds." if data.runs else "No match was played."
    sheet.text(12.0, 27.0, text, Letters(style.theme.ink))
    return Figure(title, text, sheet.document(title, text), {})
