"""A colour sorter: a hue sensor beside the intake's path, what it decides on, and what throws an object out.

An ejector moves fast and by itself: a pinch point while the robot is enabled.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from fieldworthy.files import Of, Ref, Within, all_are, assume, exact, need
from fieldworthy.files.declare import Angle, Count, Duration, Fraction, Gap, Length, Ratio, Real, Size, Span
from fieldworthy.files.document import Fault
from fieldworthy.robot.model.machine import MotorMechanism, MotorUse
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.intake.model import Intake

Deceleration = Annotated[Real, Of("acceleration", 0.0, above=True)]
Spread = Annotated[Real, Of("angle", 0.0, above=True)]
Reading = Annotated[Real, Of("angle", fixed=True)]
_TURN = 2 * math.pi
_COLOUR = re.compile("#[0-9a-fA-F]{6}", re.ASCII)
_ON_CIRCLE = "expected a hue on the circle, 0 deg to 360 deg"


def _off_circle(hue: Real) -> bool:
    return not -1e-9 <= float(hue) <= _TURN + 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class HueSensor:
    """A sensor that reports the hue of what passes before it."""

    period: Span = need("time between two readings", effort=2.0, label="time between readings")
    latency: Duration = need(
        "from a reading to a command: bus, filter, program", effort=2.0, label="delay to the command"
    )
    spot: Gap = assume("8 mm", "width of what it sees, along the path; from memory")
    window: Size | None = exact(None, "over which it sees one object alone; its length less the spot where absent")
    noise: Fraction = assume(
        "2 %", "standard deviation of each colour channel, of full scale; common practice, no source", role="fact"
    )
    correlation: Fraction = assume(
        "0.2",
        "of the readings of one object: its place, its own colour, the light; common practice, no source",
        role="fact",
    )


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class HueClass:
    """One kind of object by the hue that the sensor reports for it: mean and spread, or readings."""

    hue: Angle | None = exact(None, "mean of the readings")
    spread: Spread | None = exact(None, "standard deviation of the readings")
    samples: tuple[Reading, ...] | None = exact(None, "readings of several such objects, in place of mean and spread")
    share: Annotated[Real, Of("ratio", 0.0, 1.0, above=True)] | None = exact(
        None, "of all objects that come in; all alike where absent"
    )
    saturation: Annotated[Real, Of("ratio", 0.0, 1.0, above=True)] = assume("0.7", "a coloured plastic; from memory")
    brightness: Annotated[Real, Of("ratio", 0.0, 1.0, above=True)] = assume("0.5", "of full scale; from memory")

    colour: str | None = exact(None, "in which it is drawn, such as '#b06a3c'; that of its hue where absent")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if self.colour is not None and not _COLOUR.fullmatch(self.colour):
            yield ("colour",), "expected a colour in quotes, '#' and six digits from 0 to f: '#b06a3c' is copper"
        if self.samples is None:
            if self.hue is None or self.spread is None:
                yield ((), "expected 'hue' and 'spread', or 'samples'")
            elif _off_circle(self.hue):
                yield ("hue",), _ON_CIRCLE
            return
        if self.hue is not None or self.spread is not None:
            yield ("samples",), "expected either 'samples' or 'hue' and 'spread'"
        for i in (i for i, reading in enumerate(self.samples) if _off_circle(reading)):
            yield ("samples", i), _ON_CIRCLE
        if len(self.samples) < 3 or len({float(s) for s in self.samples}) < 2:
            yield ("samples",), "expected three readings or more that are not all the same"


@dataclass(frozen=True, slots=True, kw_only=True)
class Background:
    """What the sensor faces while no object is before it."""

    hue: Angle = need("that the sensor reports for it", effort=0.5)
    saturation: Annotated[Real, Of("ratio", 0.0, 1.0, above=True)] = assume(
        "0.8", "a strong colour; from memory", effort=0.5
    )
    brightness: Annotated[Real, Of("ratio", 0.0, 1.0, above=True)] = assume(
        "0.6", "of full scale; from memory", effort=0.5
    )
    spread: Spread | None = exact(
        None, "standard deviation of its readings; from the channels' noise where absent", role="fact"
    )
    clear: Ratio = assume(
        "4",
        "steps of hue in standard deviations by which objects must stand out; common practice, no source",
        role="wish",
        label="wanted difference",
    )

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if _off_circle(self.hue):
            yield ("hue",), _ON_CIRCLE


@dataclass(frozen=True, slots=True, kw_only=True)
class Ejector:
    """What throws an unwanted object out, behind the sensor."""

    cylinder: Annotated[str, Ref(("air.cylinders",))] | None = exact(None, "the cylinder of this file that does it")
    time: Duration | None = exact(None, "from the command until it is in place, where no cylinder does it")
    distance: Size = need("along the path, from the sensor to where it throws out")
    scatter: Span = assume(
        "6 ms", "standard deviation of the moment: speed, program, actuator; common practice, no source", role="fact"
    )

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if (self.cylinder is None) == (self.time is None):
            yield ((), "expected either 'cylinder' or 'time': how fast it is in place")


@dataclass(frozen=True, slots=True, kw_only=True)
class FlyOff:
    """In place of an ejector: the conveyor stops or reverses, and an unwanted object flies off its end."""

    distance: Size = need("along the path, from the sensor to the conveyor's end")
    deceleration: Deceleration = need("with which the conveyor slows when it is stopped or reversed", effort=0.7)
    friction: Ratio = need("friction coefficient of object on conveyor while it slides on", effort=3.0)
    leaves: Angle | None = exact(None, "how steeply upwards it leaves; as the stage climbs where absent")
    over: tuple[Size, Length] = need(
        "what it must fly over: level distance from the end, height over the end", label="edge to clear"
    )
    scatter: Span = assume(
        "6 ms", "standard deviation of the moment: speed, program, motor; common practice, no source", role="fact"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sorter(MotorMechanism):
    """A colour sensor and an ejector on the path of an intake."""

    kind: Literal["sorter"] = need("sorter: a colour sensor and an ejector")
    motors: tuple[MotorUse, ...] = exact((), "motors of its own")
    intake: Annotated[str, Ref(("mechanisms",))] = need("the intake of this file on whose path it sits")
    stage: Annotated[str, Within("stages", through="intake")] = need(
        "the stage of that intake in which objects pass the sensor"
    )
    sensor: HueSensor = need("the sensor")
    circle: Literal["hexagonal", "cielab"] = exact("hexagonal", "how the sensor reckons hue from its channels")
    classes: dict[str, HueClass] = need("what it must tell apart, by name: two or more", one="class")
    unwanted: Annotated[str, Within("classes")] = need("the class that is thrown out")
    readings: Count | None = exact(None, "readings of one object that it decides on; all that fit where absent")
    background: Background | None = exact(None, "what the sensor faces while no object is before it")
    ejector: Ejector | FlyOff | None = exact(
        None, "what throws the unwanted out: an ejector, or the conveyor that stops under it"
    )
    allowed_error: Annotated[Real, Of("ratio", 0.0, 1.0, above=True, fixed=True)] | None = exact(
        None, "share of objects that may be sorted wrongly, end to end", role="wish"
    )

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if len(self.classes) < 2:
            yield ("classes",), "expected two classes or more"
        if self.unwanted not in self.classes:
            listed = "; ".join(self.classes) or "none are declared"
            yield ("unwanted",), f"expected one of its classes: {listed} (found '{self.unwanted[:40]}')"
        shares = [c.share for c in self.classes.values()]
        if any(s is not None for s in shares):
            if any(s is None for s in shares):
                yield ("classes",), "expected 'share' for every class or for none"
            elif abs(sum(float(s) for s in shares if s is not None) - 1.0) > 0.01:
                yield ("classes",), "expected shares that add up to 1"
        if self.circle == "cielab" and self.background is not None and self.background.spread is None:
            yield ("background",), "expected the key 'spread' too: on this circle it must be measured"

    def validate_in_robot(self, robot: Robot) -> Iterator[Fault]:
        """Say what does not fit the rest of the robot."""
        found = robot.mechanisms.get(self.intake)
        if found is not None and not isinstance(found, Intake):
            yield ("intake",), "expected a mechanism with 'kind: intake'"
        elif found is not None and self.stage not in found.stages:
            listed = "; ".join(found.stages) or "none are declared"
            yield ("stage",), f"expected a stage of '{self.intake}': {listed} (found '{self.stage[:40]}')"
