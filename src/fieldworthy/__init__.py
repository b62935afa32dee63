"""fieldworthy: what a competition robot will do at its next event, computed and explained.

>>> import fieldworthy as fw
>>> robot = fw.load("mk1.yaml")
>>> fw.compare(robot, robot.changed({"drive.motors": 4}), runs=200).robots[0].name
'Heron mk1'
"""

TYPE_CHECKING = False  # the name is enough for a checker; loading `typing` takes as long as all else before a command
if TYPE_CHECKING:
    from typing import Any

    from fieldworthy.api.comparison import Comparison, compare
    from fieldworthy.api.fitting import Fit, fit
    from fieldworthy.api.forecast import Forecast, Points
    from fieldworthy.api.report import Report, UnknownFinding
    from fieldworthy.api.robot import Robot, Search, load
    from fieldworthy.engine.finding import Fact, Finding
    from fieldworthy.errors import Error
    from fieldworthy.files.document import BadFile, Problem

__version__ = "0.2.0"
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


def __getattr__(name: str) -> "Any":
    """Fetch what is asked for; importing the package alone stays fast (PEP 562)."""
    if name in __all__:
        from fieldworthy import api  # noqa: PLC0415

        return getattr(api, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
