"""Air: the gauge before and after cycles of one cylinder, and over time at rest.

Caution: compressed air. Stay below the rated pressure of the weakest part, wear eye protection, keep hands out of the
cylinder's way, and release the air before any work. The makers' ratings come first.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, TypeAlias

from pydantic import Field

from fieldworthy.schema import Of, Ref, assume, exact, need
from fieldworthy.schema.faults import Fault
from fieldworthy.schema.kinds import Real

Gauge: TypeAlias = Annotated[Real, Of("pressure", 0.0, 1e8, fixed=True)]
GaugeError: TypeAlias = Annotated[Real, Of("pressure", 0.0, 1e7, above=True, fixed=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleRun:
    """One run: the gauge, some cycles out and back, the gauge again once the air has warmed."""

    before: Gauge = need("gauge pressure before")
    after: Gauge = need("gauge pressure after, a minute later")
    cycles: Annotated[int, Field(strict=True, ge=1, le=200)] = need("how often the cylinder went out and back")

    def faults(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if float(self.after) >= float(self.before):
            yield ("after",), "expected less than before: cycles take air"


@dataclass(frozen=True, slots=True, kw_only=True)
class AirCycles:
    """Gauge before and after cycles of one cylinder, no other cylinder moving."""

    date: str = exact("", "day of the measurement, such as 2026-11-20")
    cylinder: Annotated[str, Ref(("air.cylinders",))] = need("the cylinder of the robot file")
    error: GaugeError = assume("1 psi", "one reading is as near as that in 95 of 100; common practice, no source")
    runs: tuple[CycleRun, ...] = need("one run or more")

    def faults(self) -> Iterator[Fault]:
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
    error: GaugeError = assume("1 psi", "one reading is as near as that in 95 of 100; common practice, no source")
    readings: tuple[LeakReading, ...] = need("two looks or more; an hour between the first and the last tells most")

    def faults(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if len({float(reading.time) for reading in self.readings}) < 2:
            yield ("readings",), "expected two readings or more at different times"
