"""The public face: load a robot, check it, play its matches, change it, compare, fit what was measured.

Everything that the commands and the page compute is reached from here; what they print is theirs.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldworthy.api.comparison import Comparison, compare
    from fieldworthy.api.fitting import Fit, fit
    from fieldworthy.api.forecast import Forecast, Points
    from fieldworthy.api.report import Report, UnknownFinding
    from fieldworthy.api.robot import Robot, Search, load
    from fieldworthy.engine.finding import Fact, Finding
    from fieldworthy.errors import Error
    from fieldworthy.files.document import BadFile, Problem

__all__ = [
    "BadFile",
    "Comparison",
    "Error",
    "Fact",
    "Finding",
    "Fit",
    "Forecast",
    "Points",
    "Problem",
    "Report",
    "Robot",
    "Search",
    "UnknownFinding",
    "compare",
    "fit",
    "load",
]

_HOMES = {
    "fieldworthy.api.comparison": ("Comparison", "compare"),
    "fieldworthy.api.fitting": ("Fit", "fit"),
    "fieldworthy.api.forecast": ("Forecast", "Points"),
    "fieldworthy.api.report": ("Report", "UnknownFinding"),
    "fieldworthy.api.robot": ("Robot", "Search", "load"),
    "fieldworthy.engine.finding": ("Fact", "Finding"),
    "fieldworthy.errors": ("Error",),
    "fieldworthy.files.document": ("BadFile", "Problem"),
}
_HOME = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> Any:
    """Fetch what is asked for: who only checks a robot does not wait for what plays matches (PEP 562)."""
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
