"""The declaration of a measurements file: one optional section for each procedure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from fieldworthy.files import Of, Ref, assume, exact, need
from fieldworthy.files.declare import Count, Real, Whole, is_day
from fieldworthy.files.document import Fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a table."""

    column: str = need("the name in the table's first row")
    unit: str = exact("", "unit of its numbers; the one in the column's name, such as 't [ms]', or SI where absent")


Gauge: TypeAlias = Annotated[Real, Of("pressure", 0.0, 1e8, fixed=True)]
GaugeError: TypeAlias = Annotated[Real, Of("pressure", 0.0, 1e7, above=True, fixed=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleRun:
    """One run: the gauge, some cycles out and back, the gauge again once the air has warmed."""

    before: Gauge = need("gauge pressure before")
    after: Gauge = need("gauge pressure after, a minute later")
    cycles: Annotated[int, Field(strict=True, ge=1, le=200)] = need("how often the cylinder went out and back")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if float(self.after) >= float(self.before):
            yield ("after",), "expected less than before: cycles take air"


@dataclass(frozen=True, slots=True, kw_only=True)
class AirCycles:
    """Gauge before and after cycles of one cylinder, no other cylinder moving."""

    date: str = exact("", "day of the measurement, such as 2026-11-20")
    cylinder: Annotated[str, Ref(("air.cylinders",))] = need("the cylinder of the robot file")
    error: GaugeError = assume("0.07 bar", "one reading is as near as that in 95 of 100; common practice, no source")
    runs: tuple[CycleRun, ...] = need("one run or more")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if not self.runs:
            yield ("runs",), "expected one run or more"


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakReading:
    """One look at the gauge."""

    time: Annotated[Real, Of("time", 0.0, 1e7, fixed=True)] = need("since the first look, a few minutes after filling")
    pressure: Gauge = need("gauge pressure")


@dataclass(frozen=True, slots=True, kw_only=True)
class Leak:
    """Gauge over time at rest, nothing moving."""

    date: str = exact("", "day of the measurement, such as 2026-11-20")
    error: GaugeError = assume("0.07 bar", "one reading is as near as that in 95 of 100; common practice, no source")
    readings: tuple[LeakReading, ...] = need("two looks or more; an hour between the first and the last tells most")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if len({float(reading.time) for reading in self.readings}) < 2:
            yield ("readings",), "expected two readings or more at different times"


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """One thing that failed, once."""

    what: str = need("what failed, in the same few words each time, such as 'gate tube came off'")
    where: Annotated[str, Ref(("actions", "mechanisms"))] = need("the action or mechanism of the robot file")
    date: str = exact("", "the day, such as 2026-11-21")
    event: str = exact("", "the event, or practice")
    match: str | int = exact("", "which match: its number, or as the schedule calls it")
    lost: Annotated[Real, Of("time", 0.0, fixed=True)] | None = exact(None, "time that it cost, if known")
    failed: bool = exact(True, "whether the action failed by it; false where it only cost time")
    mended: bool = exact(False, "true once it cannot come again")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if not self.what.strip():
            yield ("what",), "expected a few words"
        if self.date and not is_day(self.date):
            yield ("date",), "expected a date such as 2026-11-21: year, month, day"


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultLog:
    """A log of what failed, and of how often each thing was used while it was kept."""

    fieldworthy: Literal["faults 1"] = need("what kind of file this is, and which version of its form: faults 1")
    about: str = exact("", "a sentence or two for people")
    uses: dict[Annotated[str, Ref(("actions", "mechanisms"))], Count] = exact(
        dict, "how often each action or mechanism was used while the log was kept, the uses that failed too"
    )
    failures: tuple[Failure, ...] = exact((), "what failed, each time")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        for name, uses in self.uses.items():
            failed = sum(failure.where == name and failure.failed for failure in self.failures)
            if failed > uses:
                yield ("uses", name), f"expected at least the {failed} uses that failed (found {uses})"


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

    def validate(self) -> Iterator[Fault]:
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

    def validate(self) -> Iterator[Fault]:
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

    def validate(self) -> Iterator[Fault]:
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

    def validate(self) -> Iterator[Fault]:
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

    def validate(self) -> Iterator[Fault]:
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


Counted: TypeAlias = Annotated[str, Ref(("tracking.wheels",))]
Tape: TypeAlias = Annotated[Real, Of("length", -1000.0, 1000.0, fixed=True)]
Turned: TypeAlias = Annotated[Real, Of("angle", -1e5, 1e5, fixed=True)]
Near: TypeAlias = Annotated[Real, Of("length", 0.0, 10.0, above=True, fixed=True)]
Counts: TypeAlias = Annotated[float, Field(allow_inf_nan=False, ge=-1e9, le=1e9)]
Turns: TypeAlias = Annotated[float, Field(allow_inf_nan=False, ge=-1000.0, le=1000.0)]


@dataclass(frozen=True, slots=True, kw_only=True)
class PushRun:
    """One push along a tape, without turning."""

    direction: Literal["forward", "sideways"] = exact("forward", "which way it was pushed: ahead, or to its left")
    distance: Tape = need("by the tape; negative backwards or to the right")
    counts: dict[Counted, Counts] = need("what each tracking wheel's sensor counted, with its sign")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if abs(float(self.distance)) < 0.01:
            yield ("distance",), "expected a way of 10 mm or more; a metre or two tells most"


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnRun:
    """One run of whole turns on the spot, from a mark back to the mark."""

    turns: Turns = need("whole turns by the marks on the floor; positive to the left")
    counts: dict[Counted, Counts] = exact(dict, "what each tracking wheel's sensor counted, with its sign")
    gyro: Turned | None = exact(None, "what the gyro read over all the turns, with its sign")
    time: Annotated[Real, Of("time", 0.0, 1e5, above=True, fixed=True)] | None = exact(None, "how long the turns took")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if abs(float(self.turns)) < 0.2:
            yield ("turns",), "expected whole turns, such as 10 or -10"
        if not self.counts and self.gyro is None:
            yield (), "expected 'counts', 'gyro' or both"


@dataclass(frozen=True, slots=True, kw_only=True)
class SquareEnd:
    """Where the robot stands at the end of a square, less where its odometry says it stands."""

    x: Tape = need("along the first side")
    y: Tape = need("to the left of the first side")


@dataclass(frozen=True, slots=True, kw_only=True)
class Squares:
    """Squares driven by odometry, both ways; needs two parallel wheels that are counted."""

    side: Annotated[Real, Of("length", 0.0, 100.0, above=True, fixed=True)] = need("of the square")
    left: Counted | None = exact(None, "the left one of the two tracking wheels")
    right: Counted | None = exact(None, "the right one of the two tracking wheels")
    track: Annotated[Real, Of("length", 0.0, 10.0, above=True, fixed=True)] | None = exact(
        None, "track that the program reckons with, where the wheels are those of the drive"
    )
    clockwise: tuple[SquareEnd, ...] = need("end points of the squares with right turns")
    counter_clockwise: tuple[SquareEnd, ...] = need("end points of the squares with left turns")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        pair = self.left is not None and self.right is not None and self.left != self.right
        if not pair and self.track is None:
            yield (), "expected 'left' and 'right', two tracking wheels of this robot, or 'track'"
        for name in ("clockwise", "counter_clockwise"):
            if not getattr(self, name):
                yield (name,), "expected one end point or more; both ways are needed"
            for i, end in enumerate(getattr(self, name)):
                if max(abs(float(end.x)), abs(float(end.y))) > 0.5 * float(self.side):
                    yield (name, i), "expected an end point nearer than half a side to where the odometry says it is"


@dataclass(frozen=True, slots=True, kw_only=True)
class Odometry:
    """Pushes, turns and squares that size the tracking wheels and the gyro."""

    date: str = exact("", "day of the measurement, such as 2026-11-20")
    tape_error: Near = assume("3 mm", "a pushed distance is as near as that in 95 of 100; common practice, no source")
    mark_error: Annotated[Real, Of("angle", 0.0, 1.0, above=True, fixed=True)] = assume(
        "1.5 deg", "lining up with the mark, start and end together, 95 of 100; common practice, no source"
    )
    end_error: Near = assume(
        "20 mm", "end points of one square scatter as far as that, 95 of 100; common practice, no source"
    )
    pushes: tuple[PushRun, ...] = exact((), "pushes along a tape; both ways")
    turns: tuple[TurnRun, ...] = exact((), "whole turns on the spot; both ways")
    squares: Squares | None = exact(None, "squares driven by odometry, both ways")


Contact: TypeAlias = Annotated[str, Ref(("drive.wheels", "contacts"))]
ScaleReading: TypeAlias = Annotated[Real, Of("mass", 0.0, 1000.0, fixed=True)]
TiltReading: TypeAlias = Annotated[Real, Of("angle", 0.0, 1.5707, above=True, below=True, fixed=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """One weighing on level ground: what each scale reads."""

    readings: dict[Contact, ScaleReading] = need("what the scale under each wheel reads")
    blocks: tuple[Contact, ...] = exact((), "wheels that stand on a block as high as the scales; the rest hang free")


@dataclass(frozen=True, slots=True, kw_only=True)
class Raised:
    """One weighing with the wheels of one end raised, the others on the ground; wheels between hang free."""

    end: Literal["front", "back"] = need("which end is raised")
    lift: Annotated[Real, Of("length", 0.0, 5.0, above=True, fixed=True)] = need(
        "how much higher the raised wheels stand than the lower ones"
    )
    readings: dict[Contact, ScaleReading] = need("what the scales read; a wheel of an end not named stands on a block")


@dataclass(frozen=True, slots=True, kw_only=True)
class Scales:
    """Scales under the wheels, level and with one end raised."""

    date: str = exact("", "day of the measurement, such as 2026-11-20")
    pose: Annotated[str, Ref(("poses",))] | None = exact(
        None, "the pose it was weighed in, with nothing on board; as the parts list places them where absent"
    )
    error: Annotated[Real, Of("mass", 0.0, 100.0, above=True, fixed=True)] = assume(
        "10 g", "a scale's reading is as near as that in 95 of 100; common practice, no source"
    )
    lift_error: Annotated[Real, Of("length", 0.0, 1.0, above=True, fixed=True)] = assume(
        "2 mm", "the lift is as near as that in 95 of 100; common practice, no source"
    )
    level: tuple[Weighing, ...] = need("weighings on level ground; turn the robot round between two")
    raised: tuple[Raised, ...] = exact((), "weighings with one end raised; they give the height")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if not self.level:
            yield ("level",), "expected one weighing or more"
        given = [("level", i, w.readings) for i, w in enumerate(self.level)]
        given += [("raised", i, w.readings) for i, w in enumerate(self.raised)]
        for where, i, readings in given:
            if not readings:
                yield (where, i, "readings"), "expected one reading or more"


@dataclass(frozen=True, slots=True, kw_only=True)
class Angles:
    """Tilts at which it balances on the wheels of one side, by side; several readings each."""

    forward: tuple[TiltReading, ...] = exact((), "nose down, balanced on the front wheels")
    back: tuple[TiltReading, ...] = exact((), "nose up, balanced on the rear wheels")
    left: tuple[TiltReading, ...] = exact((), "balanced on the left wheels")
    right: tuple[TiltReading, ...] = exact((), "balanced on the right wheels")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tilt:
    """Tilted until it balances, one angle or more per side."""

    date: str = exact("", "day of the measurement, such as 2026-11-20")
    pose: Annotated[str, Ref(("poses",))] | None = exact(
        None, "the pose it was tilted in, with nothing on board; as the parts list places them where absent"
    )
    how: Literal["by hand", "on a board"] = exact(
        "by hand", "held over its wheels by hand, or standing with braked wheels on a board that is tilted"
    )
    angles: Angles = need("the tilt of the robot's floor from level when it balances, by side")
    error: Annotated[Real, Of("angle", 0.0, 1.0, above=True, fixed=True)] = assume(
        "1.5 deg", "one reading is as near as that in 95 of 100; common practice, no source"
    )
    edge: Annotated[Real, Of("length", 0.0, 1.0, fixed=True)] = assume(
        "0 mm", "how far outside the middle of their treads it pivots sideways: in the middle"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurements:
    """What a team has measured on its robot, one section a procedure; a section that was not measured is absent."""

    fieldworthy: Literal["measurements 1"] = need(
        "what kind of file this is, and which version of its form: measurements 1"
    )
    robot: str = need("the robot file, beside this one")
    about: str = exact("", "a sentence or two for people: who measured, where, with what")
    scales: Scales | None = exact(None, "scales under the wheels, level and with one end raised")
    tilt: Tilt | None = exact(None, "tilted until it balances")
    odometry: Odometry | None = exact(None, "pushed a known distance, turned on the spot, driven round a square")
    cycles: dict[str, AirCycles] = exact(dict, "gauge before and after cycles of one cylinder, by a name of your own")
    leaks: dict[Annotated[str, Ref(("air.tanks",))], Leak] = exact(dict, "gauge over time at rest, by tank")
    drive: DriveRuns | None = exact(None, "full-speed runs, coast-downs and pushes against a scale, fitted together")
    frames: dict[str, Film] = exact(dict, "frames of one stroke of a cylinder or lift, by a name of your own")
    samples: dict[Annotated[str, Ref(("mechanisms",))], HueSamples] = exact(
        dict, "sensor readings of every class, by sorter"
    )
    practice: dict[Annotated[str, Ref(("actions",))], Practised] = exact(
        dict, "how often an action worked in practice, and how long it took, by action"
    )

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if self.scales is not None and self.tilt is not None and self.scales.pose != self.tilt.pose:
            yield ("tilt", "pose"), "expected the pose of 'scales': one centre of gravity is written, that of one pose"
