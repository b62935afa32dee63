"""The drive: motors, gearing, wheels, and what the team wants of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from fieldworthy.files import Of, Ref, all_are, assume, exact, need
from fieldworthy.files.kinds import Count, Efficiency, Inertia, Length, Ratio, Real, Span, Temperature
from fieldworthy.files.problems import Fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One stage of gearing or chain: teeth on the motor's side and on the wheel's side."""

    driver: Count = need("teeth on the motor's side")
    driven: Count = need("teeth on the wheel's side")
    efficiency: Efficiency = assume("0.95", "one stage of open gears or chain; from memory")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wheel:
    """One drive wheel: where it touches the floor and which class it is."""

    position: tuple[Length, Length] = need("where it touches the floor: x forward, y left", effort=2.0)
    wheel: Annotated[str, Ref(("catalogue.wheels",))] = need("wheel class, from the catalogue")
    driven: bool = exact(True, "false for a wheel that only rolls along")


@all_are("wish")
@dataclass(frozen=True, slots=True, kw_only=True)
class Targets:
    """What the team wants of the drive; an absent target is not judged."""

    sprint_distance: Annotated[Real, Of("length", 0.0, above=True, fixed=True)] | None = exact(
        None, "how far a sprint goes"
    )
    sprint_time: Annotated[Real, Of("time", 0.0, above=True, fixed=True)] | None = exact(None, "from rest to rest")
    turn_angle: Annotated[Real, Of("angle", 0.0, above=True, fixed=True)] = assume("90 deg", "a quarter turn")
    turn_time: Annotated[Real, Of("time", 0.0, above=True, fixed=True)] | None = exact(
        None, "for that turn on the spot, from rest to rest"
    )
    push_force: Annotated[Real, Of("force", 0.0, above=True, fixed=True)] | None = exact(
        None, "what it must push with, standing against a rival"
    )

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if self.sprint_time is not None and self.sprint_distance is None:
            yield ("sprint_time",), "expected the key 'sprint_distance' too: how far in that time"


@all_are("wish")
@dataclass(frozen=True, slots=True, kw_only=True)
class TypicalMove:
    """A move that the team makes often; the best gear ratio is found for their mix."""

    distance: Annotated[Real, Of("length", 0.0, above=True, fixed=True)] = need("from rest to rest")
    times: Count = exact(1, "how often in a match")


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """Motors and gearing from battery to wheels, and how it is driven."""

    motor: Annotated[str, Ref(("catalogue.motors",))] = need("motor class, from the catalogue")
    motors: Count = need("how many motors drive the robot, both sides together")
    stages: tuple[Stage, ...] = exact((), "none means that the motors turn the wheels directly")
    wheels: dict[str, Wheel] = need("drive wheels by name")
    friction_torque: Annotated[Real, Of("torque", 0.0)] = assume(
        "0.02 N*m", "bearings of the whole drive, at the wheels; from memory", role="fact"
    )
    extra_inertia: Inertia = assume("0 kg*cm^2", "gears and shafts, referred to the wheels", effort=3.0)
    braking: Ratio = assume(
        "1", "share of the braking that grip and motors allow which drivers use; common practice, no source", effort=0.5
    )
    motor_start_temperature: Temperature = assume("25 degC", "motors as warm as the hall")
    motor_hot: Temperature = assume(
        "105 degC", "winding temperature not to pass; from memory, class A insulation of IEC 60085"
    )
    between_matches: Span = assume("8 min", "from one match to the next; common practice, no source", role="fact")
    targets: Targets = exact(dict, "what the team wants of the drive")
    typical_moves: tuple[TypicalMove, ...] = exact((), "moves made often; the best gearing is found for their mix")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if not any(wheel.driven for wheel in self.wheels.values()):
            yield ("wheels",), "expected at least one driven wheel"
