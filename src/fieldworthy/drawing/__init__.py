"""Results in, figures out; computes nothing and never sees a robot file.

What belongs here takes the results of checks, match, measure and decide and gives a `Figure`: a plain SVG, a sentence
for who cannot see it, and the numbers behind it. Charts are described by `Chart` and its marks; drawings to scale are
put on a `Sheet` of their own. Every figure is drawn by ``name(data, style)``.
"""

from typing import TYPE_CHECKING, Any

from fieldworthy.lazy import fetched

if TYPE_CHECKING:
    from fieldworthy.drawing.axes import Chart, chart, paint, panels
    from fieldworthy.drawing.frame import Axis, Band, Bars, Limit, Line, Mark, Points, Span, Spot
    from fieldworthy.drawing.style import DARK, LIGHT, PRINT, THEMES, Style, Theme
    from fieldworthy.drawing.svg import Box, Figure, Ink, Letters, Sheet, node

__all__ = [
    "DARK", "LIGHT", "PRINT", "THEMES", "Axis", "Band", "Bars", "Box", "Chart", "Figure", "Ink", "Letters", "Limit",
    "Line", "Mark", "Points", "Sheet", "Span", "Spot", "Style", "Theme", "chart", "node", "paint", "panels",
]  # fmt: skip

_HOMES = {
    "axes": ("Chart", "chart", "paint", "panels"),
    "frame": ("Axis", "Band", "Bars", "Limit", "Line", "Mark", "Points", "Span", "Spot"),
    "style": ("DARK", "LIGHT", "PRINT", "THEMES", "Style", "Theme"),
    "svg": ("Box", "Figure", "Ink", "Letters", "Sheet", "node"),
}


def __getattr__(name: str) -> Any:
    """Fetch what is asked for: a colour must not wait for the axes."""
    return fetched(__name__, _HOMES, name)
