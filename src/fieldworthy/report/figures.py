"""Which figures stand on which page: curves of the checks, drawn for paper."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from fieldworthy.checks.curves.air import air_curves
from fieldworthy.checks.curves.intake import intake_curves
from fieldworthy.checks.curves.path import path_curves
from fieldworthy.checks.curves.sorter import sorter_curves
from fieldworthy.checks.showing import Shown
from fieldworthy.checks.subject import Subject
from fieldworthy.draw import air, hues, intake, path
from fieldworthy.draw.figure import Figure
from fieldworthy.draw.style import PRINT, Style
from fieldworthy.robot import Loaded

WIDTH, HALF = 640.0, 440.0
"""Width of a figure across the paper, and of one with text beside it [px]: its letters are then nearly as large as
those of the text."""
Drawer = Callable[[Subject, Style], Iterable[Figure | None]]


def style_of(loaded: Loaded, width: float = WIDTH) -> Style:
    """Choose how figures on paper look.

    Parameters
    ----------
    loaded : Loaded
        For the units of its file [-].
    width : float
        Of the figure [px].

    Returns
    -------
    Style
        Colours of print, units of the file [-].
    """
    units = Shown.of(loaded.quantities).units
    inch = units["length"] in ("in", "inch", '"', "ft")
    return Style(PRINT, "inch" if inch else "metric", width, tuple(units.items()))


def _air(subject: Subject, style: Style) -> Iterable[Figure | None]:
    data = air_curves(subject)
    if data is not None:
        yield air.pressures(data, style)


def _intake(subject: Subject, style: Style) -> Iterable[Figure | None]:
    for data in intake_curves(subject).values():
        yield intake.through(data, style)


def _sorter(subject: Subject, style: Style) -> Iterable[Figure | None]:
    for data in sorter_curves(subject).values():
        yield hues.hue_circle(data, style)


def _tracking(subject: Subject, style: Style) -> Iterable[Figure | None]:
    data = path_curves(subject)
    if data is not None:
        yield path.route(data, style)


DRAWERS: dict[str, Drawer] = {"air": _air, "intake": _intake, "sorter": _sorter, "tracking": _tracking}
"""Figures by the page's key."""


def figures_for(key: str, subject: Subject, style: Style) -> list[Figure]:
    """Draw the figures of a page.

    Parameters
    ----------
    key : str
        Of the page [-].
    subject : Subject
        Robot and season, nominal [SI].
    style : Style
        How they look [-].

    Returns
    -------
    list of Figure
        None where there is nothing to show [-].
    """
    drawer = DRAWERS.get(key)
    return [figure for figure in drawer(subject, style) if figure is not None] if drawer is not None else []
