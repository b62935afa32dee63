"""What every check looks at: one robot in one season, with the intermediate results that checks share."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from fieldworthy.checks.bodies import Group, body_in, extent_in, groups
from fieldworthy.checks.finding import Array
from fieldworthy.physics.rigidbody import RigidBody
from fieldworthy.robot.model import Robot
from fieldworthy.season.model import Season


@dataclass(frozen=True)
class Subject:
    """A robot in a season, over the cases of a batch.

    Attributes
    ----------
    robot : Robot
        Numbers or arrays over cases, in SI.
    season : Season
        Numbers or arrays over cases, in SI.
    """

    robot: Robot
    season: Season
    _bodies: dict[str, RigidBody] = field(default_factory=dict, repr=False)

    @cached_property
    def groups(self) -> dict[str, Group]:
        """The parts that ride together, assembled."""
        return groups(self.robot.parts.values())

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
        if pose not in self._bodies:
            self._bodies[pose] = body_in(self.season, self.groups, self.robot.poses[pose])
        return self._bodies[pose]

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
