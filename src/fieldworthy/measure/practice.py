"""Practice and faults: counts to a chance of success, times to a mean and a spread."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.files import BadInput, Document, Problem, instantiate, read_document
from fieldworthy.files.document import KeyPath, faults_of, nearest, shorten
from fieldworthy.files.reading import checked, references
from fieldworthy.files.splicing import spliced
from fieldworthy.measure.files import Measured, deviation
from fieldworthy.measure.fitting import Belief, Parameter
from fieldworthy.measure.model import Failure, FaultLog, Practised
from fieldworthy.measure.prediction import Readings, predictions
from fieldworthy.measure.result import Fitted, Prediction, Procedure, Residuals, Unidentified
from fieldworthy.physics.chance.chance import mean_interval, normal_quantile, posterior, spread_half_width
from fieldworthy.robot import Loaded
from fieldworthy.units import counted as times_of
from fieldworthy.units import digits

_FALSE = 0.02  # share of right counts that may be called wrong
_FAR = 5.0  # middle deviations from the middle; beyond 3.4 standard deviations of a normal


def fit_practice(given: Practised, measured: Measured, name: str) -> Procedure:
    """Tell the chance, the time and its spread of one action."""
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
        predictions=(*_tries_held(given, measured, name), *_times_held(times, measured, name)),
    )  # fmt: skip


def _tries_held(given: Practised, measured: Measured, name: str) -> Iterator[Prediction]:
    """How often it should have worked by the counts of the file, before they are replaced."""
    counted = measured.robot.nominal.actions[name].practice
    if counted is None or given.successes is None or given.attempts is None:
        return
    if (counted.successes, counted.attempts) == (given.successes, given.attempts):
        return  # the file has these very tries
    belief = posterior(counted.successes, counted.attempts)
    chances = np.cumsum(belief.predict(np.arange(given.attempts + 1.0), float(given.attempts)))
    low, high = (int(np.searchsorted(chances, share)) for share in (0.025, 0.975))
    below = float(chances[given.successes - 1]) if given.successes else 0.0
    tail = min(float(chances[given.successes]), 1.0 - below)
    agrees, expected = tail >= 0.25 * _FALSE, float(belief.mean) * given.attempts
    said = (
        f"'{name}' worked {given.successes} of {times_of(given.attempts, 'time')}; the file's "
        f"{counted.successes} of {counted.attempts} predict {expected:.0f} ({low} to {high})."
    )
    said += (
        " They agree."
        if agrees
        else (" One rate cannot have made both: did the driver, the place or the mechanism change?")
    )
    deviations = float(normal_quantile(max(min(tail, 0.5), 1e-12))) * (1.0 if given.successes < expected else -1.0)
    half = max(high - expected, expected - low)
    yield Prediction(
        f"tries of '{name}' that worked", "count", given.attempts, float(given.successes), expected, half, deviations,
        agrees, (), said,
    )  # fmt: skip


def _times_held(times: Array, measured: Measured, name: str) -> Iterator[Prediction]:
    """What the file predicts of the mean time: its own time within its tolerance, and the scatter that it states."""
    action, key = measured.robot.nominal.actions[name], ("actions", name, "time")
    spread, stated = float(action.spread), float(action.time)
    if not times.size or not spread > 0.0:
        return
    what = f"time of '{name}'"
    yield from predictions(
        lambda v: (times - v[0]) / spread, [Parameter(what, stated, max(stated, 1e-3))],
        [Belief(what, key, "time", stated, deviation(measured, key))],
        [Readings(what, "time", times, np.full(times.shape, spread))], measured,
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
        f"'{name}' worked {given.successes} of {times_of(given.attempts, 'time')}: the next try works with a chance "
        f"of {100 * mean:.0f} %, and the true rate lies between {100 * low:.0f} % and {100 * high:.0f} % (95 of 100)."
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


@dataclass(frozen=True, slots=True)
class Risk:
    """One fault, as often as it came.

    Attributes
    ----------
    what : What failed
    where : The action or mechanism
    times : How often it came and is not mended
    failed : How often the action failed by it
    uses : How often the thing was used meanwhile; None where the log does not say
    chance : That it makes the next use fail, the mean of what the counts leave likely
    interval : Where that chance lies in 95 of 100
    lost : Mean time that it cost where that is known [s]
    mended : How often it came before it was mended
    """

    what: str
    where: str
    times: int
    failed: int
    uses: int | None
    chance: float | None
    interval: tuple[float, float] | None
    lost: float | None
    mended: int


def log_of(robot: Path) -> Path:
    """Where the fault log of a robot stands that nobody has named otherwise."""
    return robot.with_name(f"{robot.stem}_faults.yaml")


Entry: TypeAlias = tuple[tuple[str, object], ...]
"""Keys of an entry and what they say."""


def with_fault(file: Path, text: str, entry: Entry) -> str:
    """Write one more fault into the text of a log, or into that of a new one."""
    text = text or (
        "# What failed and how often each thing was used; once something cannot come again it is marked as mended.\n"
        "fieldworthy: faults 1\nuses: {}\nfailures: []\n"
    )
    return spliced(file, text, {("failures", len(_failures(file, text))): dict(entry)})


def with_mended(file: Path, text: str, entry: Entry) -> str:
    """Mark a fault as one that cannot come again, each time that it came."""
    wanted = _kind(dict(entry))
    same = [i for i, failure in enumerate(_failures(file, text)) if _kind(failure) == wanted]
    return spliced(file, text, {("failures", i, "mended"): True for i in same})


def with_uses(file: Path, text: str, entry: Entry) -> str:
    """Write how often something was used."""
    return spliced(file, text, {("uses", where): times for where, times in entry})


def _failures(file: Path, text: str) -> list[dict[str, Any]]:
    found = read_document(file, text).data.get("failures") or []
    return [failure for failure in found if isinstance(failure, dict)] if isinstance(found, list) else []


def _kind(failure: dict[str, Any]) -> tuple[str, str]:
    return str(failure.get("where")), _words(str(failure.get("what")))


def _words(text: str) -> str:
    return " ".join(text.split()).casefold()


def load_faults(file: Path, robot: Loaded, text: str | None = None) -> FaultLog:
    """Read a fault log."""
    document = read_document(file, text)
    spec, problems = checked(document, FaultLog)
    problems += _unknown_names(document, robot)
    if spec is not None:
        log = instantiate(spec, FaultLog)
        problems += [document.problem(key, expected) for key, expected in faults_of(log)]
    if spec is None or problems:
        raise BadInput(problems)
    return log


def _unknown_names(document: Document, robot: Loaded) -> Iterator[Problem]:
    """Names that are neither an action nor a mechanism of the robot."""
    known = [*robot.nominal.actions, *robot.nominal.mechanisms]
    for path, _, name in references(document.data, FaultLog):
        if name not in known:
            listed = "; ".join(known[:12]) + ("; …" if len(known) > 12 else "") or "none are declared"
            expected = f"expected an action or mechanism of the robot: {listed} (found {shorten(name)})"
            yield document.problem(path, expected, nearest(name, known))


def risks(log: FaultLog) -> tuple[Risk, ...]:
    """Count each fault and tell how often it makes a use fail."""
    groups: dict[tuple[str, str], list[Failure]] = {}
    for failure in log.failures:
        groups.setdefault((failure.where, _words(failure.what)), []).append(failure)
    return tuple(_risk(group, log.uses.get(group[0].where)) for group in groups.values())


def _risk(group: list[Failure], uses: int | None) -> Risk:
    live = [failure for failure in group if not failure.mended]
    failed = sum(failure.failed for failure in live)
    belief = posterior(failed, uses) if uses is not None else None
    lost = [float(failure.lost) for failure in live if failure.lost is not None]
    ends = belief.interval() if belief is not None else None
    return Risk(
        group[0].what,
        group[0].where,
        len(live),
        failed,
        uses,
        float(belief.mean) if belief is not None else None,
        (float(ends[0]), float(ends[1])) if ends is not None else None,
        sum(lost) / len(lost) if lost else None,
        len(group) - len(live),
    )
