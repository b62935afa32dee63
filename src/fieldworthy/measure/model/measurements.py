"""The declaration of the whole measurements file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from fieldworthy.measure.model.air import AirCycles, Leak
from fieldworthy.measure.model.logs import DriveRuns, Film, HueSamples, Practised
from fieldworthy.measure.model.odometry import Odometry
from fieldworthy.measure.model.weight import Scales, Tilt
from fieldworthy.schema import Ref, exact, need
from fieldworthy.schema.faults import Fault


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

    def faults(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if self.scales is not None and self.tilt is not None and self.scales.pose != self.tilt.pose:
            yield ("tilt", "pose"), "expected the pose of 'scales': one centre of gravity is written, that of one pose"
