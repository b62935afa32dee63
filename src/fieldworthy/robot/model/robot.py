"""The declaration of the whole robot file."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from fieldworthy.files import Of, Ref, assume, exact, need
from fieldworthy.files.declare import Quantity, Real, WorkTime
from fieldworthy.files.document import Fault, KeyPath
from fieldworthy.robot.model.catalogue import Catalogue
from fieldworthy.robot.model.machine import (
    CHASSIS,
    Air,
    Ballast,
    Contact,
    Drive,
    Mechanism,
    MotorUse,
    Part,
    Pose,
    Roller,
    SharedMotor,
    Tracking,
    Weighed,
)
from fieldworthy.robot.model.season import Action, Plan

MOST_PARTS = 3000  # a check then takes half a minute and less than 1 GB; a team's parts list has some hundreds
_REACH = 4.0  # m; a robot that starts within half a metre does not reach farther; common practice, no source
_GEARED = 1e4  # turns of one end for one of the other; common practice, no source
_SAME_SIZE = 0.01  # share by which worn or measured wheels of one drive may differ; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """What the team wants of the robot's balance."""

    least_tilt: Annotated[Real, Of("angle", 0.0, fixed=True)] = assume(
        "12 deg", "a shove by another robot tilts it that far; common practice, no source", role="wish"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Team:
    """Whose robot it is, as documents name it."""

    name: str = need("the team's name")
    number: str = exact("", "the team's number; in quotes where it begins with 0, such as '012'")
    logo: str | None = exact(None, "a picture beside this file, PNG or SVG, of at most 200 kB")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        for word, most in (("name", 80), ("number", 20)):
            if len(getattr(self, word)) > most:
                yield (word,), f"expected at most {most} letters"
        if not self.name.strip():
            yield ("name",), "expected a name"
        if self.logo is not None and not self.logo.lower().endswith((".png", ".svg")):
            yield ("logo",), "expected a file that ends in .png or .svg"


@dataclass(frozen=True, slots=True, kw_only=True)
class Robot:
    """A robot: its parts, drive, battery, air, mechanisms, and how a match is played with it."""

    fieldworthy: Literal["robot 1"] = need("what kind of file this is, and which version of its form: robot 1")
    robot: str = need("the robot's name", label="name")
    about: str = exact("", "a sentence or two for people")
    team: Team | None = exact(None, "whose robot it is, as documents name it: name, number and logo")
    season: str = exact("", "the season file, beside this one; needed")
    parts_list: str | None = exact(None, "a table of parts, CSV or spreadsheet (.xlsx), beside this one")
    parts: dict[str, Part] = exact(dict, "what has mass, by name: how heavy, where, how large; 3,000 at most")
    weighed: Weighed | None = exact(None, "what scales say of the whole robot")
    contacts: dict[str, Contact] = exact(dict, "floor contacts besides the drive wheels")
    rollers: dict[str, Roller] = exact(dict, "anti-tip rollers")
    ballast: dict[str, Ballast] = exact(dict, "places where ballast could go")
    balance: Balance = exact(dict, "what the team wants of its balance")
    poses: dict[str, Pose] = exact(dict, "the ways the robot stands, by name: groups moved, objects carried")
    drive: Drive = need("motors, gearing and wheels")
    battery: Annotated[str, Ref(("catalogue.batteries",))] = need("battery class, from the catalogue")
    motors: dict[str, SharedMotor] = exact(dict, "motors that several mechanisms share, by name; each counts once")
    air: Air = exact(dict, "compressed air: tanks and cylinders")
    mechanisms: dict[str, Mechanism] = exact(dict, "what is on the robot besides the drive, by name")
    tracking: Tracking | None = exact(None, "tracking wheels and gyro, with which the robot knows where it is")
    actions: dict[str, Action] = exact(dict, "what the robot does in a match, by name")
    plan: Plan | None = exact(None, "the match as the team means to play it")
    hours_left: WorkTime | None = exact(None, "work time until the next event", label="work time left")
    catalogue: Catalogue = exact(dict, "classes of the team's own, besides the generic ones")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        for name in list(self.parts)[MOST_PARTS : MOST_PARTS + 1]:
            yield (
                ("parts", name),
                f"expected at most {MOST_PARTS:,} parts (found {len(self.parts):,}): put alike ones together",
            )
        ridden = {part.rides: None for part in self.parts.values()}
        listed = "; ".join(list(ridden)[:10]) or "none are declared"
        for name, pose in self.poses.items():
            unknown: list[KeyPath] = [("moves", group) for group in pose.moves if group not in ridden]
            unknown += [
                ("carries", load, "rides") for load, it in pose.carries.items() if it.rides not in {*ridden, CHASSIS}
            ]
            for key in unknown:
                yield ("poses", name, *key), f"expected a group that a part rides: {listed}"
        yield from self._far_faults()
        yield from self._gearing_faults()
        yield from self._wheel_faults()
        yield from self._weighed_faults()
        yield from self._motor_faults()
        for name, mechanism in self.mechanisms.items():
            found = mechanism.validate_in_robot(self)
            yield from ((("mechanisms", name, *key), expected) for key, expected in found)

    def motor(self, use: MotorUse) -> MotorUse:
        """Look up whose class and number the motors of a mechanism have; shared ones say so themselves."""
        shared = self.motors.get(use.motor)
        return use if shared is None else MotorUse(motor=shared.motor, count=shared.count)

    def motor_groups(self, mechanism: str) -> dict[tuple[str, str], int]:
        """Groups of motors that turn a mechanism: whose they are and of which class, and how many of them."""
        found: dict[tuple[str, str], int] = {}
        for use in self.mechanisms[mechanism].motors:
            own, shared = self.motor(use), use.motor in self.motors
            key = (use.motor if shared else mechanism, own.motor)
            found[key] = own.count if shared else found.get(key, 0) + own.count
        return found

    def all_motors(self) -> dict[tuple[str, str], int]:
        """Every group of motors besides those of the drive; a shared one once."""
        return {key: count for name in self.mechanisms for key, count in self.motor_groups(name).items()}

    def sharing(self, motor: str) -> tuple[str, ...]:
        """Mechanisms that a shared motor turns."""
        return tuple(n for n, it in self.mechanisms.items() if any(use.motor == motor for use in it.motors))

    def _motor_faults(self) -> Iterator[Fault]:
        """A shared motor's name must mean it alone, and it says itself how many there are."""
        for name in self.motors:
            if name in self.mechanisms or name in self.catalogue.motors:
                other = "mechanism" if name in self.mechanisms else "motor class"
                yield ("motors", name), f"expected another name: a {other} is called '{name}' too"
        for name, it in self.mechanisms.items():
            for i, use in enumerate(it.motors):
                if use.motor in self.motors and use.count != 1:
                    where = ("mechanisms", name, "motors", i, "count")
                    yield where, f"expected no 'count' here: '{use.motor}' says itself how many there are"

    def _far_faults(self) -> Iterator[Fault]:
        """Whatever is on the robot is near its origin."""
        placed: dict[KeyPath, tuple[Real, ...]] = {}
        for section in ("parts", "contacts", "rollers", "ballast"):
            placed |= {(section, name, "position"): thing.position for name, thing in getattr(self, section).items()}
        placed |= {("parts", name, "size"): part.size for name, part in self.parts.items()}
        placed |= {("drive", "wheels", name, "position"): wheel.position for name, wheel in self.drive.wheels.items()}
        for key, numbers in placed.items():
            for i, number in enumerate(numbers):
                if abs(float(number)) > _REACH:
                    found = f"found {float(number):.4g} m"
                    said = f"expected at most {_REACH:g} m from the robot's origin ({found}): is the unit right?"
                    yield (*key, i), said

    def _gearing_faults(self) -> Iterator[Fault]:
        """A row of stages that each make sense can still be one that turns once in a year."""
        geared: dict[KeyPath, Any] = {("drive", "stages"): self.drive.stages}
        geared |= {("mechanisms", n, "stages"): getattr(m, "stages", ()) for n, m in self.mechanisms.items()}
        for key, stages in geared.items():
            ratio = math.prod(s.driven / s.driver for s in stages) if isinstance(stages, tuple) else 1.0
            if not 1.0 / _GEARED <= ratio <= _GEARED:
                yield key, f"expected at most {_GEARED:g} turns for one over all stages together"

    def _wheel_faults(self) -> Iterator[Fault]:
        """One gearing turns all driven wheels alike, so those of another size would scrub."""
        classes = self.catalogue.wheels
        driven = {name: wheel for name, wheel in self.drive.wheels.items() if wheel.driven and wheel.wheel in classes}
        sizes = {name: float(classes[wheel.wheel].diameter) for name, wheel in driven.items()}
        for name, size in sizes.items():
            first = next(iter(sizes))
            if abs(size / sizes[first] - 1.0) > _SAME_SIZE:
                here, other = (f"{1e3 * s:.3g} mm" for s in (size, sizes[first]))
                said = f"expected a wheel as large as '{first}', {other}, since one gearing turns both (found {here})"
                yield ("drive", "wheels", name, "wheel"), f"{said}; 'driven: false' for one that only rolls along"

    def _weighed_faults(self) -> Iterator[Fault]:
        """What scales say must be possible for the parts that are listed."""
        weighed = self.weighed
        if weighed is None:
            return
        if not self.parts:
            yield ("weighed",), "expected 'parts' too: what was weighed is laid over what is listed"
            return
        moved = self.poses[weighed.pose].moves if weighed.pose in self.poses else {}
        still = sum(float(part.mass) * part.count for part in self.parts.values() if part.rides == CHASSIS)
        if still == 0 or CHASSIS in moved:
            yield ("weighed",), "expected parts that ride the chassis, and a pose that does not move it"
        listed = sum(float(part.mass) * part.count for part in self.parts.values())
        before = listed if weighed.listed is None else float(weighed.listed.mass)
        if weighed.mass is not None and still + float(weighed.mass) - before <= 0:
            yield ("weighed", "mass"), "expected more than the parts that do not ride the chassis weigh"


def settled(robot: Robot, path: KeyPath, quantity: Quantity) -> Quantity:
    """Take the tolerance off what a weighing of the whole robot has settled."""
    weighed = robot.weighed
    if weighed is None or path[0] != "parts" or len(path) < 3:
        return quantity
    axis = path[3] if path[2] == "position" and len(path) > 3 else None
    known = {0: weighed.x, 1: weighed.y, 2: weighed.z}.get(axis) if isinstance(axis, int) else None
    if known is not None or (path[2] == "mass" and weighed.mass is not None):
        return dataclasses.replace(quantity, tolerance=0.0)
    return quantity
