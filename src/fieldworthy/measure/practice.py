"""Practice: counts to a chance of success, times to a mean and a spread."""

from __future__ import annotations

import numpy as np

from fieldworthy.files.document import KeyPath
from fieldworthy.measure.files import Measured
from fieldworthy.measure.model import Practised
from fieldworthy.measure.result import Fitted, Procedure, Residuals, Unidentified
from fieldworthy.physics.chance.chance import mean_interval, posterior, spread_half_width
from fieldworthy.units import digits

_FAR = 5.0  # middle deviations from the middle; beyond 3.4 standard deviations of a normal


def fit_practice(given: Practised, measured: Measured, name: str) -> Procedure:
    """Tell the chance, the time and its spread of one action."""
    del measured
    key: KeyPath = ("actions", name)
    fitted, notes = _chance(given, name, key)
    timed, unidentified, said = _times(given, name, key)
    times = np.array([float(t) for t in given.times])
    residuals: tuple[Residuals, ...] = ()
    if times.size:
        count = tuple(float(i + 1) for i in range(times.size))
        middle = (float(times.mean()),) * times.size
        residuals = (Residuals(f"times of {name!r}", "try", "", count, "time", tuple(times.tolist()), middle),)
    return Procedure(
        f"practice.{name}", f"Practice of '{name}'", given.date, (*fitted, *timed), unidentified, residuals,
        (*notes, *said), ("bda",),
    )  # fmt: skip


def _chance(given: Practised, name: str, key: KeyPath) -> tuple[tuple[Fitted, ...], tuple[str, ...]]:
    """Counts as they go into the robot file, and the chance that they make likely."""
    if given.successes is None or given.attempts is None:
        return (), ()
    belief = posterior(given.successes, given.attempts)
    low, high = (float(end) for end in belief.interval())
    mean = float(belief.mean)
    counts = tuple(
        Fitted(f"{what} of {name!r}", (*key, "practice", what), "count", float(getattr(given, what)), 0.0)
        for what in ("successes", "attempts")
    )
    said = (
        f"'{name}' worked {given.successes} times in {given.attempts}: the next try works with a chance of "
        f"{100 * mean:.0f} %, and the true rate lies between {100 * low:.0f} % and {100 * high:.0f} % (95 of 100)."
    )
    chance = Fitted(f"chance of {name!r}", (), "ratio", mean, max(high - mean, mean - low))
    return (*counts, chance), (said,)


def _times(
    given: Practised, name: str, key: KeyPath
) -> tuple[tuple[Fitted, ...], tuple[Unidentified, ...], tuple[str, ...]]:
    """Mean and spread of the times, where there are enough of them."""
    times = np.array([float(t) for t in given.times])
    if not times.size:
        return (), (), ()
    mean_name, spread_name = f"time of {name!r}", f"spread of the time of {name!r}"
    if times.size == 1 or np.ptp(times) == 0.0:
        why = "one time says nothing about how much tries differ"
        if times.size > 1:
            why = "all its times are the same, so they were rounded too coarsely or read once"
        reading = "time eight tries or more, to a tenth of a second"
        names = ((mean_name, (*key, "time")), (spread_name, (*key, "spread")))
        return (), tuple(Unidentified(n, k, why, reading) for n, k in names), ()
    middle, _, high = (float(x) for x in mean_interval(times))
    fitted, unidentified = [], []
    if high - middle < middle:
        fitted.append(Fitted(mean_name, (*key, "time"), "time", middle, high - middle))
    else:
        why = f"its {times.size} times differ so much that the mean could be anything up to {digits(high)} s"
        unidentified.append(Unidentified(mean_name, (*key, "time"), why, "time eight tries or more"))
    spread, share = float(times.std(ddof=1)), spread_half_width(times.size)
    if share < 1.0:
        fitted.append(Fitted(spread_name, (*key, "spread"), "time", spread, share * spread))
    else:
        why = f"{times.size} times tell a spread no better than to a factor of two"
        unidentified.append(Unidentified(spread_name, (*key, "spread"), why, "time eight tries or more"))
    return tuple(fitted), tuple(unidentified), _outliers(times, name)


def _outliers(times: np.ndarray[tuple[int], np.dtype[np.float64]], name: str) -> tuple[str, ...]:
    """Times that stand far apart from the others: kept, but said."""
    off = np.abs(times - np.median(times))
    middle = float(np.median(off))
    far = np.flatnonzero(off > _FAR * middle) if middle > 0.0 else np.array([], dtype=int)
    usual = digits(float(np.median(times)))
    return tuple(
        f"Try {i + 1} of '{name}' took {digits(float(times[i]))} s, far from the {usual} s of the others: is it "
        "written right? It counts like the others."
        for i in far
    )
