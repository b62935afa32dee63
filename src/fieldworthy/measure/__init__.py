"""Measured data in, fitted values with uncertainty out.

What belongs here turns readings (a scale, a gauge, a tape, a log) into quantities of the robot file with an interval,
and says what the readings cannot tell. The physics that it inverts belongs into ``physics``.
"""

from fieldworthy.measure.files import Measured, load_measurements
from fieldworthy.measure.result import Comparison, Fitted, Procedure, Residuals, Unidentified

__all__ = [
    "Comparison",
    "Fitted",
    "Measured",
    "Procedure",
    "Residuals",
    "Unidentified",
    "load_measurements",
]
