"""Variants side by side: who scores more, what each uses of the rules, where the answer turns; and what to change."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fieldworthy.decide.compare import Comparison
from fieldworthy.decide.recommend import Flip, Hours, UsedLimit, by_rule
from fieldworthy.decide.sensitivity import Influence
from fieldworthy.drawing.axes import Chart, Row, chart, draw_rows, rows_height
from fieldworthy.drawing.frame import Axis, Limit, Line, Mark, Span, Spot
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import Figure, Sheet
from fieldworthy.units import COMMON, digits, labelled

_TASK = 24.0  # height of a task's line [px]
_SAME = 1e-3  # shares nearer than this are called the same


def differences(data: Comparison, style: Style) -> Figure:
    """Draw how many points each variant makes more than the first, with its interval."""
    rows, ends = [], [0.0]
    for gap, interval, chance in zip(data.difference, data.interval, data.chance, strict=True):
        label = (
            f"{gap.variant} ({gap.points:.1f} points) against {gap.first} ({gap.first_points:.1f}); "
            f"better in {style.show(chance.match, 'share', 2)} of the matches"
        )
        ends += [interval.low, interval.high]
        both = (interval.low, interval.high)
        rows.append(Row(label=label, note=_signed(gap.difference), at=gap.difference, interval=both))
    title = "Points more than the first variant, on average"
    axis = Axis("Points more", "count", *_around(ends))
    first = data.difference[0]
    alt = "; ".join(
        f"{g.variant} scores {_signed(g.difference)} than {g.first}, 95 % interval {i.low:.1f} to {i.high:.1f}"
        for g, i in zip(data.difference, data.interval, strict=True)
    )
    columns: dict[str, Sequence[Any]] = {
        "variant": [g.variant for g in data.difference],
        "against": [g.first for g in data.difference],
        "points": [g.points for g in data.difference],
        "points of the first": [g.first_points for g in data.difference],
        "difference": [g.difference for g in data.difference],
        "difference, low": [i.low for i in data.interval],
        "difference, high": [i.high for i in data.interval],
        "better in [%]": [100.0 * c.match for c in data.chance],
        "matches": [first.runs for _ in data.difference],
    }
    zero = Limit(at=0.0, side="x", tone="ink", dash=None)
    return _figure(title, f"{alt}.", (rows, axis, [zero]), columns, style)


def _signed(points: float) -> str:
    word = "more" if points >= 0.0 else "fewer"
    return f"{abs(points):.1f} points {word}"


def _around(ends: Sequence[float]) -> tuple[float, float]:
    """Ends of an axis that hold numbers with some room."""
    low, high = min(ends), max(ends)
    spare = 0.08 * (high - low) or 1.0
    return low - spare if low < 0.0 else 0.0, high + spare if high > 0.0 else 0.0


def _figure(
    title: str,
    alt: str,
    what: tuple[Sequence[Row], Axis, Sequence[Limit | Span]],
    columns: dict[str, Sequence[Any]],
    style: Style,
) -> Figure:
    """Rows over an axis."""
    rows, axis, marks = what
    sheet = Sheet(style, rows_height(rows, axis, style.width))
    draw_rows(sheet, 0.0, rows, axis, marks)
    return Figure(title, alt, sheet.document(title, alt), columns)


def criteria(data: Comparison, style: Style) -> Figure:
    """Draw what each variant uses of what the rules and the calendar allow."""
    rows: list[Row] = []
    groups = by_rule(data.limits_used)
    for name, used in groups.items():
        rows += _criterion(name, used, style)
    rows += _work(data.hours)
    shares = [row.bar[1] for row in rows if row.bar is not None]
    title = "What each variant uses of what there is"
    axis = Axis("Used of what is allowed", "share", 0.0, max([1.08, *(1.05 * s for s in shares)]))
    marks = [Limit(at=1.0, side="x", name="all", tone="bad", dash="6 3")]
    over = [used for used in data.limits_used if used.share is not None and used.share > 1.0 + 1e-9]
    alt = (
        f"{len(over)} of {len(data.limits_used)} are more than allowed, the first {over[0].id} of {over[0].variant}."
        if over
        else f"None of {len(data.limits_used)} is more than allowed."
    )
    columns: dict[str, Sequence[Any]] = {
        "variant": [u.variant for u in data.limits_used],
        "criterion": [u.id for u in data.limits_used],
        "of": [u.subject for u in data.limits_used],
        "used": ["" if u.used is None else u.used for u in data.limits_used],
        "allowed": ["" if u.allowed is None else u.allowed for u in data.limits_used],
        "unit": [u.unit for u in data.limits_used],
        "hours: variant": [h.variant for h in data.hours],
        "hours: needed [h]": [h.needed for h in data.hours],
        "hours: tolerance [h]": [h.tolerance for h in data.hours],
        "hours: left [h]": ["" if h.left is None else h.left for h in data.hours],
    }
    return _figure(title, alt, (rows, axis, marks), columns, style)


def _criterion(name: str, used: Sequence[UsedLimit], style: Style) -> list[Row]:
    known = [u for u in used if u.share is not None]
    if not known:
        return [Row(label=name, note="not known")]
    alike = max(u.share or 0.0 for u in known) - min(u.share or 0.0 for u in known) < _SAME
    if alike and len(known) == len(used):
        return [_used(f"{name}: all variants" if len(used) > 1 else f"{name}: {used[0].variant}", known[0], 5, style)]
    return [_used(f"{name}: {u.variant}", u, i, style) for i, u in enumerate(used)]


def _used(label: str, used: UsedLimit, turn: int, style: Style) -> Row:
    if used.share is None:
        return Row(label=label, note="not known")
    note = f"{_restated(used.used or 0.0, used.unit, style)} of {_restated(used.allowed or 0.0, used.unit, style)}"
    tone = "bad" if used.share > 1.0 + 1e-9 else turn
    return Row(label=label, note=note, bar=(0.0, used.share), tone=tone, hollow=turn == 1)


def _restated(number: float, unit: str, style: Style) -> str:
    """A number of the file's unit in the person's, where its kind is plain from the unit."""
    kind = next((k for k, known in COMMON.items() if ("inch" if unit == "in" else unit) in known), None)
    if kind is None:
        return labelled(digits(number), unit)
    return style.show(number * COMMON[kind]["inch" if unit == "in" else unit], kind)


def _work(hours: Sequence[Hours]) -> list[Row]:
    found = []
    for i, one in enumerate(hours):
        label = f"hours of work: {one.variant}"
        if one.left is None:
            found.append(Row(label=label, note=f"{one.needed:.1f} h, hours left not known"))
            continue
        note = f"{one.needed:.1f} h of {one.left:.1f} h"
        left = max(one.left, 1e-9)
        spread = ((one.needed - one.tolerance) / left, (one.needed + one.tolerance) / left) if one.tolerance else None
        late = one.enough == "no"
        share = min(one.needed / left, 10.0)
        found.append(
            Row(label=label, note=note, bar=(0.0, share), interval=spread, tone="bad" if late else i, hollow=i == 1)
        )
    return found


def flip(data: Flip, style: Style) -> Figure | None:
    """Draw the difference in points against the success chance of the action that decides."""
    if data.action is None or not data.curve:
        return None
    chances, gaps = zip(*data.curve, strict=True)
    marks: list[Mark] = [Line(x=chances, y=gaps, tone=0), Limit(at=0.0, name="both score the same", tone="ink")]
    if data.practised is not None:
        text = f"practice {style.show(data.practised, 'share', 2)}"
        marks.append(Limit(at=data.practised, side="x", name=text, tone="quiet", dash="2 3"))
    if data.chance is not None:
        text = f"turns at {style.show(data.chance, 'share', 2)}"
        marks.append(Spot(x=data.chance, y=0.0, name=text, tone="bad", shape="diamond"))
        turn = f"the answer turns at {style.show(data.chance, 'share', 2)}"
    else:
        turn = "no chance makes both score the same"
    alt = (
        f"{data.variant} scores {_signed(gaps[0])} than the first if '{data.action}' never succeeds and "
        f"{_signed(gaps[-1])} if it always does; {turn}."
    )
    what = Chart(
        title=f"{data.variant}: what the chance of '{data.action}' decides",
        alt=alt,
        x=Axis(f"Success chance of '{data.action}'", "share", 0.0, 1.0),
        y=Axis("Points more than the first", "count", zero=True),
        marks=marks,
        columns={
            "success chance": list(chances),
            "points more than the first": list(gaps),
            "turns at": [] if data.chance is None else [data.chance],
            "practice": [] if data.practised is None else [data.practised],
        },
    )
    return chart(what, style)


def sensitivity(data: Sequence[Influence], style: Style) -> Figure:
    """Draw which inputs move the points most."""
    title = "What moves the points most, each input from its low end to its high end"
    rows = [
        Row(
            label=f"{i.what}, {i.low} to {i.high} ({i.basis})",
            note=f"{i.points:+.1f}".replace("-", "−"),
            bar=(0.0, i.points),
            interval=i.interval,
            tone=0 if i.points >= 0.0 else 1,
            hollow=i.points < 0.0,
        )
        for i in data
    ] or [Row(label="No input moves them within what is believed of it.")]
    ends = [0.0, *(end for i in data for end in (i.points, *i.interval))]
    alt = "No input moves the points within what is believed of it."
    if data:
        most = data[0]
        alt = f"{most.what[:1].upper()}{most.what[1:]} moves the points most: {most.points:+.1f} from {most.low} to "
        alt += f"{most.high}."
    columns: dict[str, Sequence[Any]] = {
        "input": [i.what for i in data],
        "basis": [i.basis for i in data],
        "low end": [i.low for i in data],
        "high end": [i.high for i in data],
        "points": [i.points for i in data],
        "points, low": [i.interval[0] for i in data],
        "points, high": [i.interval[1] for i in data],
    }
    zero = Limit(at=0.0, side="x", tone="ink", dash=None)
    return _figure(title, alt, (rows, Axis("Change of the points", "count", *_around(ends)), [zero]), columns, style)
