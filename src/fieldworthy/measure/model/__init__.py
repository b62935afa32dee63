"""The declaration of a measurements file: one optional section for each procedure."""

from fieldworthy.measure.model.air import AirCycles, CycleRun, Leak, LeakReading
from fieldworthy.measure.model.columns import Column
from fieldworthy.measure.model.logs import (
    Coast,
    DragTest,
    DriveLog,
    DriveRuns,
    Film,
    HueSamples,
    Practised,
    PushTest,
    Readings,
    Sprint,
)
from fieldworthy.measure.model.measurements import Measurements
from fieldworthy.measure.model.odometry import Odometry, PushRun, SquareEnd, Squares, TurnRun
from fieldworthy.measure.model.weight import Angles, Raised, Scales, Tilt, Weighing

__all__ = [
    "AirCycles",
    "Angles",
    "Coast",
    "Column",
    "CycleRun",
    "DragTest",
    "DriveLog",
    "DriveRuns",
    "Film",
    "HueSamples",
    "Leak",
    "LeakReading",
    "Measurements",
    "Odometry",
    "Practised",
    "PushRun",
    "PushTest",
    "Raised",
    "Readings",
    "Scales",
    "Sprint",
    "SquareEnd",
    "Squares",
    "Tilt",
    "TurnRun",
    "Weighing",
]
