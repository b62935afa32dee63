"""Which figures stand on which page: curves of the checks, drawn for paper."""

from __future__ import annotations

import re

from fieldworthy.drawing.figure import Figure
from fieldworthy.drawing.style import PRINT, Style
from fieldworthy.engine.context import Context
from fieldworthy.engine.display import Shown
from fieldworthy.engine.system import systems
from fieldworthy.robot import Loaded
from fieldworthy.vehicle import drawing as body
from fieldworthy.vehicle.views import body_curves, first_pose

WIDTH, HALF = 640.0, 440.0
"""Width of a figure across the paper, and of one with text beside it [px]: its letters are then nearly as large as
those of the text."""


def style_of(loaded: Loaded, width: float = WIDTH) -> Style:
    """Choose how figures on paper look."""
    return Shown.of(loaded.quantities).style(PRINT, width)


def figures_for(name: str, context: Context, style: Style) -> list[Figure]:
    """Draw the figures of a system's page, those of other systems that stand on it too."""
    on = [system for system in systems() if name in (system.name, system.page_of) and system.figures is not None]
    return [figure for system in on for figure in system.figures(context, style)]  # type: ignore[misc]


def robot_figure(context: Context, style: Style) -> list[Figure]:
    """Draw the robot in the pose it starts in, or in its first."""
    pose = first_pose(context)
    data = body_curves(context, pose) if pose is not None else None
    return [] if data is None else [body.robot(data, style)]


def tall(figure: Figure) -> bool:
    """Tell a figure that needs a page of its own."""
    match = re.search(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)"', figure.svg)
    return match is not None and float(match[2]) > 1.2 * float(match[1])
