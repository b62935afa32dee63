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
    style : Theme and width
    units : The person's choice
    """

    style: Style
    units: Units
