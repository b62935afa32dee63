"""The declaration of the whole robot file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from fieldworthy.robot.model.air import Air
from fieldworthy.robot.model.body import Ballast, Contact, Part, Pose, Roller
from fieldworthy.robot.model.catalogue import Catalogue
from fieldworthy.robot.model.drive import Drive
from fieldworthy.robot.model.mechanism import Mechanism
from fieldworthy.robot.model.plan import Action, Plan
from fieldworthy.schema import Of, Ref, assume, exact
from fieldworthy.schema.kinds import Real, WorkTime


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """What the team wants of the robot's balance."""

    least_tilt: Annotated[Real, Of("angle", 0.0, fixed=True)] = assume(
        "12 deg", "a shove by another robot tilts it that far; common practice, no source"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Robot:
    """A robot: its parts, drive, battery, air, mechanisms, and how a match is played with it."""

    fieldworthy: Literal["robot 1"]
    robot: str
    about: str = exact("")
    season: str = exact("", "the season file, beside this one")
    parts_list: str | None = exact(None, "a CSV file of parts, beside this one")
    parts: dict[str, Part] = exact(dict)
    contacts: dict[str, Contact] = exact(dict, "floor contacts besides the drive wheels")
    rollers: dict[str, Roller] = exact(dict, "anti-tip rollers")
    ballast: dict[str, Ballast] = exact(dict, "places where ballast could go")
    balance: Balance = exact(dict, "what the team wants of its balance")
    poses: dict[str, Pose] = exact(dict)
    drive: Drive
    battery: Annotated[str, Ref(("catalogue.batteries",))]
    air: Air = exact(dict)
    mechanisms: dict[str, Mechanism] = exact(dict)
    actions: dict[str, Action] = exact(dict)
    plan: Plan | None = exact(None)
    hours_left: WorkTime | None = exact(None, "work time until the next event")
    catalogue: Catalogue = exact(dict, "classes of the team's own, besides the generic ones")
