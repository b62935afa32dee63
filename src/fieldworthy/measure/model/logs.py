"""What logs, frames, sensor readings and practice tell: the drive, a moving mechanism, hue classes, actions.

Caution: a robot at full speed hurts whom it hits, and a cylinder moves without warning. Clear the floor, keep hands and
faces out of the way, wear eye protection near compressed air, and release the air before any work.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal, TypeAlias

from fieldworthy.measure.model.columns import Column
from fieldworthy.schema import Of, Ref, assume, exact, need
from fieldworthy.schema.faults import Fault
from fieldworthy.schema.kinds import Count, Real, Whole

Stopwatch: TypeAlias = Annotated[Real, Of("time", 0.0, above=True, fixed=True)]
Moment: TypeAlias = Annotated[Real, Of("time", fixed=True)]
Way: TypeAlias = Annotated[Real, Of("length", 0.0, above=True, fixed=True)]
Weight: TypeAlias = Annotated[Real, Of("mass", 0.0, fixed=True)]
Pull: TypeAlias = Annotated[Real, Of("force", 0.0, above=True, fixed=True)]
Hue: TypeAlias = Annotated[Real, Of("angle", fixed=True)]
Share: TypeAlias = Annotated[Real, Of("ratio", 0.0, 1.0, fixed=True)]
TimeError: TypeAlias = Annotated[Real, Of("time", 0.0, above=True, fixed=True)]

LOG_KINDS: dict[str, str] = {
    "time": "time",
    "position": "length",
    "speed": "speed",
    "current": "current",
    "voltage": "voltage",
}
"""Columns of a drive log and what each measures."""
FRAME_KINDS: dict[str, str] = {"time": "time", "position": "length", "angle": "angle"}
"""Columns of a table of frames and what each measures."""
HUE_KINDS: dict[str, str] = {"hue": "angle", "saturation": "ratio", "brightness": "ratio"}
"""Columns of a table of sensor readings, besides the class, and what each measures."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveLog:
    """One run straight ahead, as the robot logged it."""

    file: str = need("the CSV file, beside this one")
    command: Literal["full", "coast"] = need(
        "full: at rest, then full command; coast: the motors let go (not braked) at full speed"
    )
    added: Weight = exact(0.0, "mass put on board for this run, over the middle of the robot")
    begin: Moment | None = exact(None, "time in the log from which it counts; the first row where absent")
    end: Moment | None = exact(None, "time in the log up to which it counts; the last row where absent")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sprint:
    """A distance at full command by the stopwatch, straight ahead, not braked at the end."""

    distance: Way = need("between the two lines on the floor")
    start: Literal["standing", "flying"] = exact("standing", "from rest, or at top speed over the first line")
    times: tuple[Stopwatch, ...] = need("what the stopwatch read, run by run")
    added: Weight = exact(0.0, "mass put on board")


@dataclass(frozen=True, slots=True, kw_only=True)
class Coast:
    """A coast by tape and stopwatch: the motors let go, not braked, until it stands."""

    distance: Way = need("from where the motors were let go to where it stands")
    time: Stopwatch = need("from letting go until it stands")
    added: Weight = exact(0.0, "mass put on board")


@dataclass(frozen=True, slots=True, kw_only=True)
class PushTest:
    """The robot pushes against a scale at full command, for a second at most."""

    readings: tuple[Pull, ...] = need("what the scale read, try by try")
    ends: Literal["slips", "holds"] = need("slips: the wheels spin; holds: the wheels grip and the motors stall")
    added: Weight = exact(0.0, "mass put on board")


@dataclass(frozen=True, slots=True, kw_only=True)
class DragTest:
    """A wheel that cannot turn, pressed down by a known load and dragged over the tiles with a scale."""

    wheel: Annotated[str, Ref(("catalogue.wheels",))] = need("wheel class")
    load: Annotated[Real, Of("mass", 0.0, above=True, fixed=True)] = need("what presses it down, itself included")
    readings: tuple[Pull, ...] = need("what the scale read while it slid steadily, try by try")


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveRuns:
    """Full-speed runs, coast-downs and pushes against a scale: all that sizes the drive, fitted together."""

    date: str = exact("", "day of the measurement, such as 2026-11-20")
    pose: Annotated[str, Ref(("poses",))] | None = exact(None, "the pose it drove in; driving empty where absent")
    columns: dict[str, Column] = exact(dict, "which column of the logs holds which quantity, by the quantity's name")
    logs: tuple[DriveLog, ...] = exact((), "logged runs; a run at full command and a coast tell most")
    sprints: tuple[Sprint, ...] = exact((), "runs by the stopwatch")
    coasts: tuple[Coast, ...] = exact((), "coasts by tape and stopwatch")
    pushes: tuple[PushTest, ...] = exact((), "pushes against a scale")
    drags: tuple[DragTest, ...] = exact((), "wheels dragged with a scale, by class")
    time_error: TimeError = assume(
        "0.2 s", "a time by hand is as near as that in 95 of 100; common practice, no source"
    )
    force_error: Annotated[Real, Of("force", 0.0, above=True, fixed=True)] = assume(
        "3 N", "a force read off a moving scale is as near as that in 95 of 100; common practice, no source"
    )

    def faults(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        yield from _columns(self.columns, LOG_KINDS, bool(self.logs))
        if not (self.logs or self.sprints or self.coasts or self.pushes or self.drags):
            yield (), "expected one of the keys 'logs', 'sprints', 'coasts', 'pushes', 'drags'"
        for name in ("sprints", "pushes", "drags"):
            for i, test in enumerate(getattr(self, name)):
                key = "times" if name == "sprints" else "readings"
                if not getattr(test, key):
                    yield (name, i, key), "expected one reading or more"


@dataclass(frozen=True, slots=True, kw_only=True)
class Film:
    """Frames of one stroke of a cylinder or of the lift that it swings, read off a video."""

    date: str = exact("", "day of the measurement, such as 2026-11-20")
    cylinder: Annotated[str, Ref(("air.cylinders",))] = need("the cylinder of the robot file; a lift's for its arm")
    way: Literal["out", "back"] = exact("out", "which way the rod moved")
    pressure: Annotated[Real, Of("pressure", 0.0, above=True, fixed=True)] = need("tank's gauge before the stroke")
    file: str = need("the CSV file, beside this one")
    columns: dict[str, Column] = need("'time' and 'position' of the rod from its start, or 'angle' of the lift's arm")
    rate: Annotated[Real, Of("frequency", 0.0, above=True, fixed=True)] = need("frames in a second of the real motion")
    switched: Moment | None = exact(
        None, "time at which the valve was switched: a lamp in the picture; unknown where absent"
    )
    valve_delay: Annotated[Real, Of("time", 0.0, fixed=True)] = assume(
        "10 ms",
        "from the switching until the valve is open, known to half of itself; from memory, a small valve",
    )
    position_error: Annotated[Real, Of("length", 0.0, above=True, fixed=True)] = assume(
        "2 mm", "a place in a frame is as near as that in 95 of 100; common practice, no source"
    )
    angle_error: Annotated[Real, Of("angle", 0.0, above=True, fixed=True)] = assume(
        "1.5 deg", "an angle in a frame is as near as that in 95 of 100; common practice, no source"
    )

    def faults(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        yield from _columns(self.columns, FRAME_KINDS, True)
        if {"position", "angle"} <= set(self.columns):
            yield ("columns",), "expected either 'position' or 'angle' besides 'time', not both"


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Readings of one hue class, written by hand: one for each of several objects."""

    hue: tuple[Hue, ...] = need("what the sensor read, object by object; three or more")
    saturation: tuple[Share, ...] = exact((), "of the same objects")
    brightness: tuple[Share, ...] = exact((), "of the same objects")

    def faults(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        for i in (i for i, hue in enumerate(self.hue) if not -1e-9 <= float(hue) <= 6.2831853072 + 1e-9):
            yield ("hue", i), "expected a hue on the circle, 0 deg to 360 deg"


@dataclass(frozen=True, slots=True, kw_only=True)
class HueSamples:
    """Sensor readings of every class of a sorter, and of the background where it was read too."""

    date: str = exact("", "day of the measurement, such as 2026-11-20")
    file: str | None = exact(None, "a CSV file beside this one; or write the readings under 'classes'")
    columns: dict[str, Column] = exact(dict, "'class', 'hue' and, where read, 'saturation' and 'brightness'")
    classes: dict[str, Readings] = exact(dict, "readings by class; 'background' for what it faces without an object")

    def faults(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if (self.file is None) == (not self.classes):
            yield (), "expected either 'file' or 'classes'"
        if self.file is not None:
            known = {"class": "", **HUE_KINDS}
            yield from _unknown(self.columns, known)
            for name in ("class", "hue"):
                if name not in self.columns:
                    yield ("columns",), f"expected the key {name!r} too"


@dataclass(frozen=True, slots=True, kw_only=True)
class Practised:
    """Practice of one action: how often it worked, and how long it took."""

    date: str = exact("", "day of the practice, such as 2026-11-20")
    successes: Whole | None = exact(None, "tries that worked")
    attempts: Count | None = exact(None, "all tries, those that failed too")
    times: tuple[Stopwatch, ...] = exact((), "how long each try that worked took, at its place, without the way there")

    def faults(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if (self.successes is None) != (self.attempts is None):
            yield (), "expected both 'successes' and 'attempts': a count says nothing without the other"
        elif self.successes is not None and self.attempts is not None and self.successes > self.attempts:
            yield ("successes",), f"expected at most the number of attempts, {self.attempts} (found {self.successes})"
        elif self.attempts is None and not self.times:
            yield (), "expected 'successes' and 'attempts', or 'times'"


def _columns(columns: dict[str, Column], known: dict[str, str], used: bool) -> Iterator[Fault]:
    yield from _unknown(columns, known)
    if used and "time" not in columns:
        yield ("columns",), "expected the key 'time' too"
    elif used and len(columns) < 2:
        yield ("columns",), f"expected one of {', '.join(k for k in known if k != 'time')} besides 'time'"


def _unknown(columns: dict[str, Column], known: dict[str, str]) -> Iterator[Fault]:
    for name in columns:
        if name not in known:
            yield ("columns", name), f"expected one of {', '.join(known)}"
