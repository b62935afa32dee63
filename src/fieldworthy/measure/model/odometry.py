"""Odometry: pushed a known distance, turned on the spot, and driven round a square, both ways each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from fieldworthy.schema import Of, Ref, assume, exact, need
from fieldworthy.schema.faults import Fault
from fieldworthy.schema.kinds import Real

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

    def faults(self) -> Iterator[Fault]:
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

    def faults(self) -> Iterator[Fault]:
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

    def faults(self) -> Iterator[Fault]:
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
