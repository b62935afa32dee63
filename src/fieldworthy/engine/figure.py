"""All findings at a glance: how far each is from its limit, the worst first."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldworthy.drawing.axes import Row, Shape, draw_rows, rows_height
from fieldworthy.drawing.frame import Axis, Limit, Line, Mark, Span, Spot, frame
from fieldworthy.drawing.painting import paint_marks
from fieldworthy.drawing.style import Style, shortened, width
from fieldworthy.drawing.svg import SMALL, Box, Figure, Letters, Sheet
from fieldworthy.engine.finding import WIDEST, Finding, Report, Verdict, title_of
from fieldworthy.units import counted


@dataclass(frozen=True, slots=True)
class Margin:
    """One finding on the common scale.

    Attributes
    ----------
    id, subject, verdict, chance, because : As in `Finding`
    margin : 0 at the limit, positive is good [-]; None where unknown
    spread : 95 % interval of the margin over the samples, low end first [-]; None where it is not sampled or
        without bound
    """

    id: str
    subject: str
    verdict: Verdict
    margin: float | None
    spread: tuple[float, float] | None
    chance: float | None
    because: str


def margins_of(report: Report) -> tuple[Margin, ...]:
    """Bring every finding of a report onto one scale."""
    return tuple(Margin(f.id, f.subject, f.verdict, f.margin, _spread(f), f.chance, f.because) for f in report.findings)


def _spread(finding: Finding) -> tuple[float, float] | None:
    """The value's interval, measured from the limit in the size that a margin of 1 stands for."""
    value, limit, margin = finding.value, finding.limit, finding.margin
    if finding.spread is None or value is None or limit is None or margin is None:
        return None
    sign = 1.0 if finding.need == "at least" else -1.0
    gap = sign * (value - limit)
    if abs(margin) >= WIDEST:
        return None
    # at the limit the margin does not tell its scale, which then is the limit's own size
    scale = gap / margin if abs(margin) > 1e-12 and abs(gap) > 0.0 else abs(limit)
    if not math.isfinite(scale) or scale <= 0.0:
        return None
    ends = sorted(sign * (end - limit) / scale for end in finding.spread)
    return max(ends[0], -WIDEST), min(ends[1], WIDEST)


_END = 1.0  # a margin beyond is drawn at the end of the axis
_PITCH = 19.0  # [px]
_NOTE, _HEAD = 116.0, 24.0  # room for the numbers beside the rows, and for the key above them [px]
_WIDE = 600.0  # below this a finding takes two lines [px]
_KEY = "● holds  ▲ close  ◆ short  ○ not known"
_TITLE = "Margins, the worst first"
_LOOKS: dict[str, tuple[Shape, str]] = {
    "holds": ("dot", "good"),
    "close": ("triangle", "caution"),
    "short": ("diamond", "bad"),
    "unknown": ("ring", "quiet"),
}


def margins(data: Sequence[Margin], style: Style) -> Figure:
    """Draw the margin of every finding with its 95 % interval."""
    alt = _alt(data)
    axis = Axis("Margin, 0 at the limit", "count", -_END, _END)
    if not data:
        sheet = Sheet(style, 44.0)
        sheet.text(12.0, 27.0, alt, Letters(style.theme.ink))
        return Figure(_TITLE, alt, sheet.document(_TITLE, alt), {})
    sheet = _narrow(data, axis, style) if style.width < _WIDE else _wide(data, axis, style)
    return Figure(_TITLE, alt, sheet.document(_TITLE, alt), _columns(data))


def _wide(data: Sequence[Margin], axis: Axis, style: Style) -> Sheet:
    """A line each: name, mark on the axis, number and chance."""
    names = [shortened(_name(margin), SMALL, 0.44 * style.width) for margin in data]
    aside = max(width(name, SMALL) for name in names)
    marks: list[Mark] = [Span(low=-_END, high=0.0, tone="bad"), Limit(at=0.0, side="x", tone="ink", dash=None)]
    for i, margin in enumerate(data):
        marks += _marks(margin, i)
    sheet = Sheet(style, _PITCH * len(data) + 54.0 + _HEAD)
    box = Box(aside, _HEAD - 10.0, style.width - _NOTE - aside, sheet.height - _HEAD + 10.0)
    where = frame(sheet, box, (axis, Axis("", names=("",) * len(data))), (np.array([-_END, _END]), np.zeros(1)), ())
    paint_marks(sheet, where, marks)
    sheet.text(12.0, _HEAD - 7.0, _KEY, Letters(style.theme.quiet, SMALL))
    for i, (margin, name) in enumerate(zip(data, names, strict=True)):
        y = float(where.y(float(i))) + 0.35 * SMALL
        sheet.text(where.plot.x - 7.0, y, name, Letters(style.theme.ink, SMALL, "end"))
        bold = Letters(style.theme.ink, SMALL, "end", bold=True)
        sheet.text(where.plot.right + 0.5 * _NOTE, y, _said(margin), bold)
        chance = "" if margin.chance is None else style.show(margin.chance, "share", 2)
        sheet.text(style.width - 10.0, y, chance, Letters(style.theme.quiet, SMALL, "end"))
    for x, head in ((where.plot.right + 0.5 * _NOTE, "margin"), (style.width - 10.0, "chance")):
        sheet.text(x, _HEAD - 7.0, head, Letters(style.theme.quiet, SMALL, "end"))
    return sheet


def _said(margin: Margin) -> str:
    """The margin as a number; at its clipped end as a bound."""
    if margin.margin is None:
        return "?"
    bound = "" if abs(margin.margin) < WIDEST else ("≤" if margin.margin < 0.0 else "≥")
    return f"{bound}{margin.margin:+.{0 if bound else 2}f}".replace("-", "−")


def _name(margin: Margin) -> str:
    return title_of(margin.id, margin.subject)


def _marks(margin: Margin, row: int) -> list[Mark]:
    shape, tone = _LOOKS[margin.verdict]
    if margin.margin is None:
        return [Spot(x=0.0, y=row, shape=shape, tone=tone)]
    found: list[Mark] = []
    if margin.spread is not None:
        found.append(Line(x=margin.spread, y=[row, row], tone=tone, width=1.6, dash=""))
    found.append(Spot(x=min(max(margin.margin, -_END), _END), y=row, shape=shape, tone=tone))
    return found


def _narrow(data: Sequence[Margin], axis: Axis, style: Style) -> Sheet:
    """Two lines each: name and number, and below them the mark on the axis."""
    rows = []
    for margin in data:
        shape, tone = _LOOKS[margin.verdict]
        chance = "" if margin.chance is None else f" ({style.show(margin.chance, 'share', 2)})"
        at = 0.0 if margin.margin is None else margin.margin
        note = f"{_said(margin)}{chance}"
        rows.append(Row(label=_name(margin), note=note, interval=margin.spread, at=at, shape=shape, tone=tone))
    sheet = Sheet(style, rows_height(rows, axis, style.width) + _HEAD)
    sheet.text(12.0, 17.0, f"{_KEY}  margin (chance)", Letters(style.theme.quiet, SMALL))
    marks = (Span(low=-_END, high=0.0, tone="bad"), Limit(at=0.0, side="x", tone="ink", dash=None))
    draw_rows(sheet, _HEAD, rows, axis, marks)
    return sheet


def _alt(data: Sequence[Margin]) -> str:
    if not data:
        return "There is no finding."
    counts = {verdict: sum(m.verdict == verdict for m in data) for verdict in _LOOKS}
    worst = data[0]
    text = (
        f"{counts['short']} of {counted(len(data), 'finding')} {'is' if len(data) == 1 else 'are'} "
        f"short, {counts['unknown']} are not known"
    )
    return f"{text}; the first is {title_of(worst.id, worst.subject)}."


def _columns(data: Sequence[Margin]) -> dict[str, Sequence[Any]]:
    ends = [m.spread or ("", "") for m in data]
    return {
        "finding": [m.id for m in data],
        "subject": [m.subject for m in data],
        "verdict": [m.verdict for m in data],
        "margin": ["" if m.margin is None else m.margin for m in data],
        "margin, low": [low for low, _ in ends],
        "margin, high": [high for _, high in ends],
        "chance": ["" if m.chance is None else m.chance for m in data],
    }
