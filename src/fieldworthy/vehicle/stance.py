"""How the robot stands in a pose: its load on the floor, its tipping edges and the rollers beyond them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.engine.finding import Array, Real
from fieldworthy.physics.statics.antitip import RollerStage, roller_stage
from fieldworthy.physics.statics.rigidbody import RigidBody, axis_inertia
from fieldworthy.physics.statics.support import DIRECTIONS, STANDARD_GRAVITY, Support, reach, support_polygon
from fieldworthy.physics.statics.tipping import Overturn
from fieldworthy.robot.model.body import Pose
from fieldworthy.robot.model.robot import Robot
from fieldworthy.vehicle.body import stacked

SIDES = ("forward", "back", "left", "right")


def flat(points: list[tuple[Real, Real]]) -> Array:
    """Stack floor points that may or may not vary over cases."""
    both = stacked([c for point in points for c in point])
    return both.reshape(len(points), 2, *both.shape[1:])


def floor_contacts(robot: Robot) -> list[tuple[Real, Real]]:
    """List where the robot touches the floor when it stands level."""
    wheels = [wheel.position for wheel in robot.drive.wheels.values()]
    return wheels + [contact.position for contact in robot.contacts.values()]


@dataclass(frozen=True, slots=True)
class Footing:
    """What the robot can stand on, the same in every pose.

    Attributes
    ----------
    contacts : Drive wheels first, then other contacts [m]
    level, tilted : Polygon of the contacts, and of contacts and anti-tip rollers together [-, m]
    clearance : Of the rollers, the largest [m]
    """

    contacts: Array
    level: Support
    tilted: Support
    clearance: Real


def footing(robot: Robot) -> Footing:
    """Find what the robot can stand on."""
    contacts = floor_contacts(robot)
    rollers = list(robot.rollers.values())
    level = support_polygon(flat(contacts))
    if not rollers:
        return Footing(flat(contacts), level, level, 0.0)
    tilted = support_polygon(flat(contacts + [r.position for r in rollers]))
    return Footing(flat(contacts), level, tilted, stacked([r.clearance for r in rollers]).max(axis=0))


@dataclass(frozen=True, slots=True)
class Stance:
    """A robot in one pose on the floor.

    Attributes
    ----------
    feet : What it stands on [m]
    body : The robot with what it carries [kg, m, kg m2]
    point : Where its weight, and what it tows, press on the floor [m]
    height : Height that inertia acts at, for the whole load on the floor [m]
    load : Whole load on the floor [N]
    edges : Distance from the point to the tipping edge, by `SIDES` [m]; negative past it
    beyond : How much farther out the anti-tip rollers' edge lies, by `SIDES` [m]
    """

    feet: Footing
    body: RigidBody
    point: Array
    height: Real
    load: Real
    edges: Array
    beyond: Array

    def over(self, side: str) -> Overturn:
        """Look at the robot across one of its edges."""
        crosswise = side in ("forward", "back")
        inertia = axis_inertia(self.body.inertia, np.array([0.0, 1.0, 0.0] if crosswise else [1.0, 0.0, 0.0]))
        return Overturn(self.load / STANDARD_GRAVITY, inertia, self.edges[SIDES.index(side)], self.height)

    def rolled(self, side: str) -> RollerStage:
        """Look at the robot across the rollers' edge on one side."""
        return roller_stage(self.over(side), self.beyond[SIDES.index(side)], self.feet.clearance)


def stand(feet: Footing, body: RigidBody, pose: Pose) -> Stance:
    """Stand a robot on its contacts in one pose."""
    weight = body.mass * STANDARD_GRAVITY
    point, height, load = body.cg[:2], body.cg[2], weight
    if pose.tow is not None:
        tow = pose.tow
        load = weight + tow.down
        x = (weight * body.cg[0] + tow.down * tow.position[0] - tow.drag * tow.position[2]) / load
        y = (weight * body.cg[1] + tow.down * tow.position[1]) / load
        point, height = stacked([x, y]), body.cg[2] * weight / load
    edges = _reach(feet.level, point)
    beyond = (
        np.maximum(_reach(feet.tilted, point) - edges, 0.0) if feet.tilted is not feet.level else np.zeros_like(edges)
    )
    return Stance(feet, body, point, height, load, edges, beyond)


def _reach(support: Support, point: Array) -> Array:
    return reach(support, point, [DIRECTIONS[side] for side in SIDES])
