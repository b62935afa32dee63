"""The public face: load a robot, check it, play its matches, change it, compare, fit what was measured.

Everything that the commands and the page compute is reached from here; what they print is theirs.
"""

from fieldworthy.api.comparison import Comparison, compare
from fieldworthy.api.fitting import Fit, fit
from fieldworthy.api.forecast import Forecast, Points
from fieldworthy.api.report import Report, UnknownFinding
from fieldworthy.api.robot import Robot, load
from fieldworthy.engine.finding import Fact, Finding
from fieldworthy.errors import Error
from fieldworthy.files.problems import BadFile, Problem

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
    "UnknownFinding",
    "compare",
    "fit",
    "load",
]
