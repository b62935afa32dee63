"""The public face: load a robot, check it, play its matches, change it, compare, fit what was measured.

Everything that the commands and the page compute is reached from here; what they print is theirs.
"""

from typing import TYPE_CHECKING, Any

from fieldworthy.lazy import fetched

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
    "api.comparison": ("Comparison", "compare"),
    "api.fitting": ("Fit", "fit"),
    "api.forecast": ("Forecast", "Points"),
    "api.report": ("Report", "UnknownFinding"),
    "api.robot": ("Robot", "Search", "load"),
    "engine.finding": ("Fact", "Finding"),
    "errors": ("Error",),
    "files.document": ("BadFile", "Problem"),
}


def __getattr__(name: str) -> Any:
    """Fetch what is asked for: who only checks a robot does not wait for what plays matches."""
    return fetched("fieldworthy", _HOMES, name)
