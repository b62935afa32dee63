"""Tracking: the wheels and the gyro with which the robot knows where it is in the autonomous period."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from fieldworthy.files import Of, Ref, all_are, assume, exact, need
from fieldworthy.files.kinds import Angle, Length, Load, Mass, Real, Size
from fieldworthy.files.problems import Fault

# a standard deviation is a measure of uncertainty and has no tolerance of its own
Off: TypeAlias = Annotated[Real, Of("length", 0.0, fixed=True, spread=True)]
Askew: TypeAlias = Annotated[Real, Of("angle", 0.0, fixed=True, spread=True)]
Share: TypeAlias = Annotated[Real, Of("ratio", 0.0, 1.0, fixed=True)]
TravelNoise: TypeAlias = Annotated[Real, Of("travel noise", 0.0, fixed=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackingWheel:
    """An unpowered wheel whose turning is counted."""

    direction: Literal["forward", "sideways"] = need("which motion it measures")
    diameter: Size = need("of the wheel", role="made", effort=2.0)
    offset: Length = need(
        "across its rolling direction: a forward wheel left of the turning centre, a sideways wheel ahead of it"
    )
    along: Length = assume("0 mm", "along its rolling direction: at the turning centre")
    width: Size = assume("12 mm", "of the tread; common practice, no source", role="made")
    counts: Annotated[int, Field(strict=True, ge=1, le=1_000_000)] = need("counts of its sensor in one turn")
    diameter_error: Off = assume(
        "0.15 mm", "standard deviation of the effective diameter; from memory, unmeasured wheel"
    )
    offset_error: Off = assume("1 mm", "standard deviation of the offset; from memory, measured with a tape")
    toe_error: Askew = assume("0.3 deg", "standard deviation of its direction; from memory")
    runout: Off = assume("0.1 mm", "eccentricity of the tread about its axle; from memory", effort=3.0)
    wobble: TravelNoise = assume(
        "1 mm/m^0.5", "play and scrub, growing with the root of the way; from memory", effort=3.0
    )
    slip: Share = assume("0.002", "standard deviation of the share of its way that it loses; from memory", effort=3.0)
    down_force: Load = need("with which its spring or band presses it down, its weight included", effort=0.7)
    sprung_mass: Mass = assume("120 g", "that moves up and down with it; common practice, no source", effort=2.0)


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Gyro:
    """A gyro that measures the angle turned."""

    scale_error: Share = assume("0.005", "standard deviation of its scale; from memory")
    drift: Annotated[Real, Of("angular drift", 0.0, fixed=True)] = assume(
        "1 deg/min", "left after calibration; from memory"
    )
    noise: Annotated[Real, Of("angular noise", 0.0, fixed=True)] = assume(
        "2 deg/h^0.5", "angle random walk; from memory"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Relocation:
    """A place of the plan where the robot drives against a wall and takes its position from it."""

    at: Annotated[str, Ref(("season.places",))] = need("the place")
    wall: Angle = need("direction of the wall's outward normal, from x towards y: 0 deg is the wall ahead")
    error: Annotated[Real, Of("length", 0.0, above=True, fixed=True, spread=True)] = assume(
        "4 mm", "of the position found so; from memory"
    )
    heading_error: Annotated[Real, Of("angle", 0.0, above=True, fixed=True, spread=True)] | None = exact(
        None, "of the heading after squaring up; absent where one point alone touches"
    )
    use: Literal["taken", "fused"] = exact(
        "taken", "the reading replaces what was tracked, or is fused with it, each weighed by how exact it is"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Tracking:
    """Tracking wheels, gyro, and how exactly the robot must know its place."""

    wheels: dict[str, TrackingWheel] = need("tracking wheels by name")
    gyro: Gyro | None = exact(None, "absent where heading comes from two parallel wheels")
    wanted: Annotated[Real, Of("length", 0.0, above=True, fixed=True)] = need(
        "the robot must be this near to each place of the autonomous plan, in 95 % of runs", role="wish"
    )
    start_error: Off = assume(
        "5 mm", "standard deviation of where the robot is put down; common practice, no source", effort=0.7
    )
    start_heading_error: Askew = assume(
        "0.5 deg", "standard deviation of how it is put down; common practice, no source", effort=0.7
    )
    unseen_drift: TravelNoise = assume(
        "4 mm/m^0.5", "sideways drift that no wheel sees, growing with the root of the way; from memory", role="fact"
    )
    relocations: tuple[Relocation, ...] = exact((), "where it finds its place anew")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        forward = [wheel for wheel in self.wheels.values() if wheel.direction == "forward"]
        if not forward:
            yield ("wheels",), "expected a wheel with direction: forward; these cannot see the robot drive ahead"
        offsets = {float(wheel.offset) for wheel in forward}
        if self.gyro is None and len(offsets) < 2:
            yield ("wheels",), "expected a gyro, or two forward wheels at different offsets; these cannot see it turn"
