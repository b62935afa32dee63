"""How figures are to look in one window."""

from __future__ import annotations

from dataclasses import dataclass

from fieldworthy.drawing.style import Style
from fieldworthy.web.judging import Units


@dataclass(frozen=True, slots=True)
class Look:
    """How figures are to look in one window.

    Attributes
    ----------
    style : Style
        Theme and width.
    units : {"file", "metric", "inch"}
        The person's choice.
    """

    style: Style
    units: Units
