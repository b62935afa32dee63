"""One match as planned, step by step, between the periods' beginnings and ends."""

from __future__ import annotations

import csv
import io
import itertools
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.match.setup import PERIODS, Part, Setup, setup
from fieldworthy.match.state import (
    BEGINS,
    CHARGE,
    COUNTED,
    ENDS,
    FIRST_TANK,
    HOT_MOTOR,
    HOTTEST,
    LEAVES,
    PERIOD,
    POINTS,
    REASON,
    REASONS,
    STEP,
    VOLTAGE,
    Out,
)
from fieldworthy.units import counted, to_unit, unit_label


@dataclass(frozen=True, slots=True)
class Period:
    """One period of a match.

    Attributes
    ----------
    name : ``autonomous``, ``driven`` or ``solo``
    begins, ends : In the time of the match [s]
    """

    name: str
    begins: float
    ends: float


@dataclass(frozen=True, slots=True)
class MatchClock:
    """The times that a match is played to.

    Attributes
    ----------
    periods : In order
    reserve : When the driven steps stop and the finish must begin [s]; None without a finish
    """

    periods: tuple[Period, ...]
    reserve: float | None

    @property
    def end(self) -> float:
        """When the last period ends [s]."""
        return self.periods[-1].ends


def match_clock(context: Context, part: Part = "whole") -> MatchClock:
    """Say when the periods of a part of the match begin and end."""
    times, plan = context.nominal.season.periods, context.nominal.robot.plan
    plan = plan.alone if plan is not None and part == "solo" else plan
    alone = Period("autonomous", 0.0, first(times.autonomous))
    if part == "autonomous":
        return MatchClock((alone,), None)
    begins = alone.ends if part == "whole" else 0.0
    lasts = first(times.solo or 0.0) if part == "solo" else first(times.driven)
    driven = Period("solo" if part == "solo" else "driven", begins, begins + lasts)
    reserve = None if plan is None or plan.finish is None else driven.ends - first(plan.finish.reserve)
    return MatchClock((alone, driven) if part == "whole" else (driven,), reserve)


class Ending(NamedTuple):
    """A way in which an action ends, as documents tell it: of one event, in a list of causes, and of an action."""

    event: str
    cause: str
    does: str


ENDINGS = {
    "done": Ending("", "", "works"),
    "luck": Ending("the try fails", "a try failed", "fails"),
    "time": Ending("no time left for it", "time ran out", "finds no time"),
    "air": Ending("too little air", "too little air", "lacks air"),
    "heat": Ending("its motors are cut back by heat", "motors cut back by heat", "is cut back by heat"),
    "objects": Ending(
        "nothing on board, or none left to take",
        "nothing on board, or none left to take",
        "has nothing on board or to take",
    ),
    "battery": Ending("battery empty", "battery empty", "finds the battery empty"),
    "load": Ending("its motors are too weak", "motors too weak", "is too heavy for its motors"),
    "full": Ending(
        "done, but it counts no more: the season's limit is reached",
        "the season's limit was reached",
        "is done but not counted",
    ),
    "unable": Ending("its mechanism cannot do it", "its mechanism cannot do it", "cannot be done"),
}
"""By reason."""


@dataclass(frozen=True, slots=True)
class Event:
    """One action of a match.

    Attributes
    ----------
    leaves, begins, ends : When it sets off for the place, is there, and has done [s]
    period, action, place : Names
    points : What it earns
    counted : How many objects, or how often the task, counted
    reason : A key of `ENDINGS`
    pressure : Gauge pressure by tank, afterwards [Pa]
    hottest_motor : ``drive``, or the mechanism whose motors are warmest
    hottest : Temperature of its winding [K]
    charge : Taken from the battery so far [C]
    voltage : At the battery while it acts [V]
    """

    leaves: float
    begins: float
    ends: float
    period: str
    action: str
    place: str
    points: float
    counted: float
    reason: str
    pressure: dict[str, float]
    hottest_motor: str
    hottest: float
    charge: float
    voltage: float


@dataclass(frozen=True, slots=True)
class Timeline:
    """A match from event to event.

    Attributes
    ----------
    events : In order of time
    points : All of them
    capacity : Charge that the battery holds [C]
    """

    events: tuple[Event, ...]
    points: float
    capacity: float

    @property
    def sentence(self) -> str:
        """What the plan earns, and which of its actions cannot work however well they are tried."""
        failing = {e.action: ENDINGS[e.reason] for e in self.events if e.reason in _CANNOT}
        told = ", ".join(f"'{action}' {ending.does}" for action, ending in failing.items())
        return f"{counted(self.points, 'point')} if every try works{f' that can: {told}' if told else ''}."


_CANNOT = ("air", "heat", "battery", "load", "unable")


def timeline(context: Context, part: Part = "whole") -> Timeline:
    """Play the plan once as it goes when every try works in its mean time."""
    return played(setup(context.nominal, part))


def played(match: Setup, run: int | None = None, seed: int = 0, case: int = 0) -> Timeline:
    """Play a match once, with every detail."""
    items = match.structure.item
    length = int((items[:, 2] * items[:, 3]).sum())
    out = loop(match, (run or 0, case, 0, run is not None), seed, 1, length)
    rows = out.rows[0, : out.filled[0]]
    events = tuple(_event(match, row, case) for row in rows)
    capacity = float(match.numbers.drive[case, 2])
    return Timeline(events, float(rows[:, POINTS].sum()), capacity)


class Told(NamedTuple):
    """An event that is told, how many rows end with it that go on as they did, how often, and until when [s]."""

    event: Event
    rows: int = 1
    more: int = 0
    until: float = 0.0


def folded(events: Sequence[Event]) -> list[Told]:
    """Leave out the rounds that repeat one which earns nothing, something to take being gone."""
    told: list[Told] = []
    at = 0
    while at < len(events):
        size, more = next(((s, m) for s in range(1, _LONGEST_ROUND) if (m := _again(events, at, s)) > 1), (1, 0))
        told += [Told(event) for event in events[at : at + size - 1]]
        last = at + size - 1
        at += size * (1 + more)
        told.append(Told(events[last], size, more, events[at - 1].ends))
    return told


def _again(events: Sequence[Event], at: int, size: int) -> int:
    """How often a round of so many events that earns nothing, for want of objects, follows upon itself."""
    once = events[at : at + size]
    if any(e.points for e in once) or not any(e.reason == "objects" for e in once):
        return 0
    more = 0
    while at + (more + 2) * size <= len(events):
        then = events[at + (more + 1) * size : at + (more + 2) * size]
        if not all(_alike(one, other) for one, other in zip(once, then, strict=True)):
            break
        once, more = then, more + 1
    return more


def _alike(one: Event, other: Event) -> bool:
    """Whether two events are one step that ends alike; a tank that only leaks meanwhile is no difference."""
    same = all(getattr(one, key) == getattr(other, key) for key in ("period", "action", "place", "points", "reason"))
    return same and all(abs(other.pressure[name] - was) <= _LEAKED * abs(was) for name, was in one.pressure.items())


_LONGEST_ROUND = 40  # steps
_LEAKED = 0.01  # of the gauge pressure, less than any stroke takes; common practice, no source

_FEW = 128  # matches
_PARTS = 4  # of each thread, so that none waits long for another


def loop(
    match: Setup, which: tuple[int, int, int, bool], seed: int, runs: int, rows: int, robots: tuple[int, int] = (1, 0)
) -> Out:
    """Run the compiled loop; over several robots with the same luck, so many cases apart, as many runs of each."""
    import numba  # noqa: PLC0415  only where matches are played: the command must start fast

    from fieldworthy.match.kernel import play_part  # noqa: PLC0415

    tanks = len(match.tanks)
    out = Out(
        np.zeros((runs, 4)),
        np.zeros((runs, tanks)),
        np.zeros((runs, match.structure.step.shape[0])),
        np.zeros((runs, len(match.actions), len(REASONS)), dtype=np.int64),
        np.zeros((runs, len(match.tasks))),
        np.zeros((runs, len(match.actions))),
        np.zeros((runs, rows, FIRST_TANK + tanks)),
        np.zeros(runs, dtype=np.int64),
    )
    asked = (*which, max(runs // robots[0], 1), robots[1])

    def play(part: tuple[int, int]) -> None:
        """Play a part of the matches; threads do so at once, for the compiled loop lets others run."""
        play_part(match.structure, match.numbers, asked, np.uint64(seed), out, part)

    # to wake another core and wait for it takes longer than a few matches
    threads = 1 if runs <= _FEW else numba.get_num_threads()
    if threads == 1:
        play((0, runs))
        return out
    edges = np.linspace(0, runs, threads * _PARTS + 1).astype(int).tolist()
    with ThreadPoolExecutor(threads) as pool:
        for _ in pool.map(play, itertools.pairwise(edges)):
            pass
    return out


def _event(match: Setup, row: Array, case: int) -> Event:
    action, place = match.structure.step[int(row[STEP])]
    p_atm = float(match.numbers.drive[case, -1])
    return Event(
        float(row[LEAVES]),
        float(row[BEGINS]),
        float(row[ENDS]),
        PERIODS[int(row[PERIOD])],
        match.actions[action],
        match.places[place],
        float(row[POINTS]),
        float(row[COUNTED]),
        REASONS[int(row[REASON])],
        {name: float(row[FIRST_TANK + i]) - p_atm for i, name in enumerate(match.tanks)},
        match.motors[int(row[HOT_MOTOR])],
        float(row[HOTTEST]),
        float(row[CHARGE]),
        float(row[VOLTAGE]),
    )


def as_csv(timeline: Timeline, units: Mapping[str, str]) -> str:
    """Write a timeline as a table for a spreadsheet, in the units of the robot file, one heading for each column."""
    tanks = list(timeline.events[0].pressure) if timeline.events else []
    shown = {kind: units[kind] for kind in ("pressure", "temperature", "charge")}
    gauge, warm, drawn = (unit_label(unit) for unit in shown.values())
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(
        ["leaves [s]", "begins [s]", "ends [s]", "period", "action", "place", "points", "objects counted", "ended with",
         *(f"gauge of tank {name} afterwards [{gauge}]" for name in tanks), "hottest motor",
         f"its winding [{warm}]", f"charge drawn so far [{drawn}]", "battery voltage [V]"]
    )  # fmt: skip

    def told(value: float, kind: str, decimals: int) -> str:
        """A number in its unit; fixed decimals, so that a column can be read down."""
        return f"{to_unit(value, kind, shown[kind]):.{decimals}f}"

    for e in timeline.events:
        numbers = [told(e.pressure[name], "pressure", _DECIMALS.get(shown["pressure"], 2)) for name in tanks]
        table.writerow(
            [f"{e.leaves:.1f}", f"{e.begins:.1f}", f"{e.ends:.1f}", e.period, e.action, e.place, f"{e.points:g}",
             f"{e.counted:g}", e.reason, *numbers, e.hottest_motor, told(e.hottest, "temperature", 0),
             told(e.charge, "charge", 3), f"{e.voltage:.2f}"]
        )  # fmt: skip
    return text.getvalue()


_DECIMALS = {"psi": 1, "kPa": 0, "Pa": 0}  # of a gauge pressure: about what a gauge shows
