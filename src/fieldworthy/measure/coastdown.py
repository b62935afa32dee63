"""Coast-downs: by the robot's log, or by tape and stopwatch.

Caution: a coasting robot cannot be stopped by its driver. Leave it room, and keep people out of its way.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.files.kinds import Real
from fieldworthy.measure.drivebench import Trial
from fieldworthy.measure.fitting import Array, Parameter
from fieldworthy.measure.model import Coast
from fieldworthy.measure.strand import Run, Strand, by_hand
from fieldworthy.physics.motors.coastdown import Course, coast, coast_deceleration

_SLOWEST = 1e-3  # m/s2: a trial that would never stop
_FIRST = 5  # rows from which the speed at the beginning is guessed


def deceleration(trial: Trial, added: float) -> Real:
    """Find how fast the coasting drive slows down."""
    return np.maximum(coast_deceleration(trial.drive.train, trial.pace(added).load), _SLOWEST)


def hand_coast(given: Coast, name: str, time_sd: float) -> Run:
    """Take a coast by tape and stopwatch."""
    distance, added = float(given.distance), float(given.added)
    return Run(
        [
            by_hand(
                f"time of {name}", "time", [float(given.time)], time_sd,
                lambda trial: np.sqrt(2.0 * distance / deceleration(trial, added)),
            )
        ]
    )  # fmt: skip


def logged_coast(columns: dict[str, Array], sds: dict[str, float], added: float, name: str) -> Run:
    """Take a coast by the robot's log."""
    time = columns["time"] - columns["time"][0]
    first, place = f"speed at the beginning of {name}", f"position at the beginning of {name}"
    unknowns = [Parameter(first, _first_speed(time, columns), 0.2, 0.0)]

    def course(trial: Trial) -> Course:
        """Speed and way of the coast, computed once for all columns."""
        slowing = deceleration(trial, added)
        at = time if np.ndim(slowing) == 0 else time[:, None]
        return trial.subject.once(("coast", name), lambda: coast(trial.unknowns[first], slowing, at))

    def speed(trial: Trial) -> Array:
        """Speed at the log's times [m/s]."""
        return course(trial).speed

    def position(trial: Trial) -> Array:
        """Position at the log's times [m]."""
        return course(trial).distance + trial.unknowns[place]

    def voltage(trial: Trial) -> Array:
        """Battery at rest [V]."""
        idle = np.asarray(trial.drive.train.battery.open_voltage, dtype=float)
        return np.broadcast_to(idle, (time.size, *idle.shape))

    strands = []
    for column, kind, predict in (("speed", "speed", speed), ("position", "length", position),
                                  ("voltage", "voltage", voltage)):  # fmt: skip
        if column in columns:
            strands.append(Strand(f"{column} of {name}", kind, columns[column], sds[column], predict, columns["time"]))
    if "position" in columns:
        unknowns.append(Parameter(place, float(columns["position"][0]), 1.0))
    return Run(strands, unknowns)


def _first_speed(time: Array, columns: dict[str, Array]) -> float:
    if "speed" in columns:
        return max(float(np.median(columns["speed"][:_FIRST])), 1e-3)
    if "position" in columns and time.size >= _FIRST:
        way = columns["position"][_FIRST - 1] - columns["position"][0]
        return max(float(way / time[_FIRST - 1]), 1e-3)
    return 1.0
