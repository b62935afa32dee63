"""The whole distribution of points, for a histogram."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.match.forecast import Forecast, Tally
from fieldworthy.match.layout import Array


@dataclass(frozen=True, slots=True)
class Scores:
    """How often each number of points came up.

    Attributes
    ----------
    name : Of the robot
    points : Every number of points that came up, rising
    runs : Matches that ended with it
    mean : Mean points
    interval : 95 % interval of the mean, from the number of matches
    band : Points that 5 % and 95 % of the matches do not exceed
    """

    name: str
    points: Array
    runs: Array
    mean: float
    interval: tuple[float, float] | None
    band: tuple[float, float]


def scores(tally: Tally, forecast: Forecast) -> Scores | None:
    """Take the distribution of points from the sums over runs."""
    if forecast.mean is None:
        return None
    values = sorted(tally.points)
    counts = np.array([tally.points[value] for value in values], dtype=float)
    band = (forecast.quantiles["5 %"], forecast.quantiles["95 %"])
    return Scores(forecast.robot, np.array(values, dtype=float), counts, forecast.mean, forecast.interval, band)
