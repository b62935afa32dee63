"""What every check looks at: one robot in one season, with the intermediate results that checks share."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np

from fieldworthy.checks.bodies import Group, body_in, extent_in, group_of
from fieldworthy.checks.driving import Drive, Pace, drive_of, nominal_travel, pace_of
from fieldworthy.checks.finding import Array, Real
from fieldworthy.checks.reading import Memory
from fieldworthy.checks.schedule import Beat, legs_of, written_out
from fieldworthy.checks.stance import Footing, Stance, footing, stand
from fieldworthy.checks.weighed import corrected
from fieldworthy.physics.gas import atmosphere
from fieldworthy.physics.layout import Circuit
from fieldworthy.physics.rigidbody import RigidBody
from fieldworthy.robot.model import Robot
from fieldworthy.robot.model.body import CHASSIS
from fieldworthy.season.model import Season

T = TypeVar("T")
_LN2 = float(np.log(2.0))


@dataclass(frozen=True)
class Subject:
    """A robot in a season, over the cases of a batch.

    Attributes
    ----------
    robot : Robot
        Numbers or arrays over cases, in SI.
    season : Season
        Numbers or arrays over cases, in SI.
    base : Subject or None
        The same with nominal numbers alone; None where this is it.
    memory : Memory
        What was computed once for all checks.
    """

    robot: Robot
    season: Season
    base: Subject | None = None
    memory: Memory = field(default_factory=Memory, repr=False)

    def remember(self, key: Hashable, compute: Callable[[], T]) -> T:
        """Compute something once for all checks of this batch.

        Parameters
        ----------
        key : hashable
            What it is [-].
        compute : callable
            Called the first time [-].

        Returns
        -------
        object
            What it gave [SI].
        """
        return self.memory.once(key, compute)

    @property
    def nominal(self) -> Subject:
        """The same robot with nominal numbers alone, for questions with an axis of candidates of their own."""
        return self.base or self

    @property
    def groups(self) -> dict[str, Group]:
        """The parts that ride together, assembled, with what scales said of the whole laid over the chassis."""
        return self.remember("groups", self._groups)

    def _groups(self) -> dict[str, Group]:
        weighed = self.robot.weighed
        if weighed is None:
            return self.listed
        moves = self.robot.poses[weighed.pose].moves if weighed.pose is not None else {}
        return corrected(self.listed, weighed, moves, self.nominal.listed)

    @property
    def listed(self) -> dict[str, Group]:
        """The parts that ride together, assembled from the parts list alone."""
        names = dict.fromkeys(part.rides for part in self.robot.parts.values())
        return self.remember("listed", lambda: {name: self._riding(name) for name in names})

    def _riding(self, name: str) -> Group:
        parts = self.robot.parts.values()
        return self.remember(("riding", name), lambda: group_of(part for part in parts if part.rides == name))

    def group(self, name: str) -> Group:
        """Assemble the parts that ride together, and no others.

        Parameters
        ----------
        name : str
            What they ride [-].

        Returns
        -------
        Group
            The same as in `groups` [SI].
        """
        return self.groups[name] if name == CHASSIS else self._riding(name)

    @property
    def p_atm(self) -> Real:
        """Absolute pressure of the atmosphere at the event [Pa]."""
        return self.remember("p_atm", lambda: atmosphere(self.season.altitude))

    @property
    def circuits(self) -> dict[str, Circuit]:
        """Every tank as a circuit: volume, charge, regulator and leak [SI]."""
        return self.remember("circuits", self._circuits)

    def _circuits(self) -> dict[str, Circuit]:
        air, classes = self.robot.air, self.robot.catalogue.tanks
        found = {}
        for name, tank in air.tanks.items():
            charge = air.supply.charge if tank.charge is None else tank.charge
            setting = np.inf if tank.regulator is None else tank.regulator + self.p_atm
            volume = classes[tank.tank].volume * tank.count
            found[name] = Circuit(volume, charge + self.p_atm, setting, tank.leak_half_time / _LN2)
        return found

    @property
    def schedule(self) -> tuple[Beat, ...]:
        """The match plan written out, nominal."""
        return self.nominal.remember("schedule", self._written_out)

    def _written_out(self) -> tuple[Beat, ...]:
        # the first of the cases is nominal, so what the batch has found need not be found again
        usual = self.driving_pose
        known = self if usual is not None and ("pace", self.alike(usual)) in self.memory else self.nominal
        robot, season = self.nominal.robot, self.nominal.season
        travel = nominal_travel(robot, known.pace, usual, legs_of(robot, season))
        return written_out(robot, season, travel)

    @property
    def driving_pose(self) -> str | None:
        """The pose it drives in where the plan does not say: the first that drives with nothing carried or in tow."""
        return self.remember("driving pose", self._driving_pose)

    def _driving_pose(self) -> str | None:
        drives = [n for n, p in self.robot.poses.items() if p.use == "drive"]
        empty = [n for n in drives if not self.robot.poses[n].carries and self.robot.poses[n].tow is None]
        return next(iter([*empty, *drives, *self.robot.poses]), None)

    @property
    def drive(self) -> Drive:
        """Battery to rims [SI]."""
        return self.remember("drive", lambda: drive_of(self.robot))

    @property
    def feet(self) -> Footing:
        """What the robot can stand on [m]."""
        return self.remember("feet", lambda: footing(self.robot))

    def alike(self, pose: str) -> str:
        """Find the first pose that is the same body: poses in which nothing is moved, carried or towed share one.

        Parameters
        ----------
        pose : str
            The pose's name [-].

        Returns
        -------
        str
            That pose's name [-].
        """
        bare = self.remember("bare poses", self._bare)
        return bare[0] if pose in bare else pose

    def _bare(self) -> list[str]:
        return [n for n, p in self.robot.poses.items() if not p.moves and not p.carries and p.tow is None]

    def body(self, pose: str) -> RigidBody:
        """Assemble the robot in a pose, with what it carries.

        Parameters
        ----------
        pose : str
            The pose's name [-].

        Returns
        -------
        RigidBody
            Mass, centre of gravity and inertia about it [kg, m, kg m2].
        """
        pose = self.alike(pose)
        return self.remember(("body", pose), lambda: body_in(self.season, self.groups, self.robot.poses[pose]))

    def extent(self, pose: str) -> tuple[Array, Array]:
        """Find the box around the robot's parts in a pose.

        Parameters
        ----------
        pose : str
            The pose's name [-].

        Returns
        -------
        tuple of ndarray of shape (3,) or (3, n)
            Lowest and highest corner [m].
        """
        return extent_in(self.groups, self.robot.poses[pose])

    def stance(self, pose: str) -> Stance:
        """Stand the robot on the floor in a pose.

        Parameters
        ----------
        pose : str
            The pose's name [-].

        Returns
        -------
        Stance
            Load, height, tipping edges and rollers [SI].
        """
        pose = self.alike(pose)
        return self.remember(("stance", pose), lambda: stand(self.feet, self.body(pose), self.robot.poses[pose]))

    def pace(self, pose: str) -> Pace:
        """Find what the drive can make of the robot in a pose.

        Parameters
        ----------
        pose : str
            The pose's name [-].

        Returns
        -------
        Pace
            Accelerations, top speed and the speed-acceleration curve [SI].
        """
        pose = self.alike(pose)
        robot, whole = self.robot, self.robot.poses[pose]
        return self.remember(("pace", pose), lambda: pace_of(robot, self.drive, self.stance(pose), whole))
