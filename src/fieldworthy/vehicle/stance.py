"""How the robot stands in a pose: its load on the floor, its tipping edges and the rollers beyond them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.finding import first
from fieldworthy.physics.statics.rigidbody import RigidBody, axis_inertia
from fieldworthy.physics.statics.support import (
    DIRECTIONS,
    STANDARD_GRAVITY,
    Support,
    edge_slack,
    reach,
    support_polygon,
)
from fieldworthy.physics.statics.tipping import (
    Brakes,
    Overturn,
    RollerStage,
    over_need,
    over_speed,
    roller_stage,
    swing,
)
from fieldworthy.robot.model.machine import Pose, Roller
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
class SupportContacts:
    """What the robot can stand on, the same in every pose.

    Attributes
    ----------
    contacts : Drive wheels first, then other contacts [m]
    level, tilted : Polygon of the contacts, and of contacts and anti-tip rollers together [-, m]
    clearances : Of the rollers that stand out on each side, the largest, by `SIDES` [m]
    radii : Of the wheels that stand farthest out on each side, by `SIDES` [m]; 0 for a contact that does not turn
    """

    contacts: Array
    level: Support
    tilted: Support
    clearances: tuple[Real, ...]
    radii: tuple[Real, ...]


def support_contacts(robot: Robot) -> SupportContacts:
    """Find what the robot can stand on."""
    contacts = floor_contacts(robot)
    rollers = list(robot.rollers.values())
    level = support_polygon(flat(contacts))
    round_ones = [robot.catalogue.wheels[wheel.wheel].diameter / 2.0 for wheel in robot.drive.wheels.values()]
    radii = tuple(_outermost(contacts, side, round_ones) for side in SIDES)
    if not rollers:
        return SupportContacts(flat(contacts), level, level, (0.0,) * len(SIDES), radii)
    tilted = support_polygon(flat(contacts + [r.position for r in rollers]))
    clearances = tuple(_clearance(rollers, contacts, side) for side in SIDES)
    return SupportContacts(flat(contacts), level, tilted, clearances, radii)


def _out(point: tuple[Real, Real], side: str) -> float:
    """How far out a floor point stands on a side, nominal."""
    x, y = (first(c) for c in point)
    return {"forward": x, "back": -x, "left": y, "right": -y}[side]


def _outermost(contacts: list[tuple[Real, Real]], side: str, radii: list[Real]) -> Real:
    """Radius of the wheel that stands farthest out on a side."""
    i = max(range(len(contacts)), key=lambda k: _out(contacts[k], side))
    return radii[i] if i < len(radii) else 0.0


def _clearance(rollers: list[Roller], contacts: list[tuple[Real, Real]], side: str) -> Real:
    """The largest clearance of the rollers that stand beyond the contacts on a side."""
    edge = max(_out(contact, side) for contact in contacts)
    beyond = [r.clearance for r in rollers if _out(r.position, side) > edge]
    return stacked(beyond).max(axis=0) if beyond else 0.0


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

    feet: SupportContacts
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
        at = SIDES.index(side)
        return roller_stage(self.over(side), self.beyond[at], self.feet.clearances[at])

    def braked(self, side: str, grip: Real, force: Real, rotating_mass: Real) -> Array:
        """Speed from which braking that throws it to one side carries it over, rollers counted [m/s]."""
        at, body = SIDES.index(side), self.over(side)
        radius = self.feet.radii[at]
        need = over_need(body, radius, self.beyond[at], self.feet.clearances[at])
        return over_speed(swing(body, Brakes(grip, force, rotating_mass, radius), need))

    def nearest(self) -> tuple[Array, float]:
        """Distance to the nearest edge of the support polygon, and which way it lies, nominal [m, rad]."""
        slack = edge_slack(self.feet.level, self.point)
        x, y = (first(c) for c in self.feet.level.normal[int(np.argmin(slack.reshape(len(slack), -1)[:, 0]))])
        return slack.min(axis=0), float(np.arctan2(y, x))


def stand(feet: SupportContacts, body: RigidBody, pose: Pose) -> Stance:
    """Stand a robot on its contacts in one pose."""
    weight = body.mass * STANDARD_GRAVITY
    point, height, load = body.cg[:2], body.cg[2], weight
    if pose.tow is not None:
        tow = pose.tow
        load = weight + tow.down
        x = (weight * body.cg[0] + tow.down * tow.position[0] - tow.drag * tow.position[2]) / load
        y = (weight * body.cg[1] + tow.down * tow.position[1]) / load
        point, height = stacked([x, y]), body.cg[2] * weight / load
    edges, farther = _reach(feet.level, point), _reach(feet.tilted, point)
    if edges.ndim != farther.ndim:  # one of them alone differs from case to case
        edges, farther = np.broadcast_arrays(*(e[:, None] if e.ndim == 1 else e for e in (edges, farther)))
    beyond = np.maximum(farther - edges, 0.0) if feet.tilted is not feet.level else np.zeros_like(edges)
    return Stance(feet, body, point, height, load, edges, beyond)


def _reach(support: Support, point: Array) -> Array:
    return reach(support, point, [DIRECTIONS[side] for side in SIDES])
