"""What scales say of the whole robot, laid over what its parts list adds up to."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

import numpy as np

from fieldworthy.checks.bodies import Group, moved, stacked
from fieldworthy.checks.finding import Array, Real
from fieldworthy.physics.rigidbody import RigidBody, combine, lift
from fieldworthy.robot.model import Move, Robot, Weighed
from fieldworthy.robot.model.body import CHASSIS
from fieldworthy.schema import Quantity
from fieldworthy.schema.problems import KeyPath


def whole(assembled: Mapping[str, Group], moves: Mapping[str, Move]) -> RigidBody:
    """Assemble the robot with nothing on board.

    Parameters
    ----------
    assembled : Mapping of str to Group
        The parts by what they ride [SI].
    moves : Mapping of str to Move
        How the pose moves the groups [rad, m].

    Returns
    -------
    RigidBody
        Mass, centre of gravity and inertia about it [kg, m, kg m2].
    """
    return combine([moved(group.body, moves.get(name)) for name, group in assembled.items()])


def corrected(
    assembled: dict[str, Group], weighed: Weighed, moves: Mapping[str, Move], nominal: Mapping[str, Group]
) -> dict[str, Group]:
    """Lay what scales said over the parts list.

    Parameters
    ----------
    assembled : dict of str to Group
        The parts by what they ride [SI].
    weighed : Weighed
        Mass and centre of gravity of the whole [kg, m].
    moves : Mapping of str to Move
        How the pose it was weighed in moves the groups [rad, m].
    nominal : Mapping of str to Group
        The parts with nominal numbers: what they added up to where the file does not say [SI].

    Returns
    -------
    dict of str to Group
        The same with another chassis: it takes all the mass and the first moment that the list lacks, or has too
        much [SI].

    Notes
    -----
    Weighed less listed is added to mass and first moment; the chassis's own inertia grows with its mass, as if what is
    missing were spread like the rest of it. Parts that change after the weighing change the robot by as much.
    """
    mass, centre = _listed(weighed, moves, nominal)
    true_mass = mass if weighed.mass is None else weighed.mass
    true = [c if w is None else w for c, w in zip(centre, (weighed.x, weighed.y, weighed.z), strict=True)]
    extra = true_mass - mass
    moment = stacked([true_mass * t - mass * c for t, c in zip(true, centre, strict=True)])
    chassis = assembled[CHASSIS]
    return assembled | {CHASSIS: dataclasses.replace(chassis, body=_with(chassis.body, extra, moment))}


def _listed(weighed: Weighed, moves: Mapping[str, Move], nominal: Mapping[str, Group]) -> tuple[Real, tuple[Real, ...]]:
    """Mass and centre of gravity that the parts added up to when the robot was weighed."""
    then = weighed.listed
    if then is not None:
        return then.mass, (then.x, then.y, then.z)
    body = whole(nominal, moves)
    return float(body.mass), tuple(float(c) for c in body.cg)


def _with(body: RigidBody, extra: Real, moment: Array) -> RigidBody:
    """A body with mass and first moment added to it; its inertia grows as its mass does."""
    trailing = max(np.ndim(body.mass), body.cg.ndim - 1, body.inertia.ndim - 2, np.ndim(extra), moment.ndim - 1)
    mass = np.asarray(body.mass + extra, dtype=np.float64)
    cg = (body.mass * lift(body.cg, 1, trailing) + lift(moment, 1, trailing)) / mass
    return RigidBody(mass, cg, lift(body.inertia, 2, trailing) * (mass / body.mass))


def settled(robot: Robot, path: KeyPath, quantity: Quantity) -> Quantity:
    """Take the tolerance off what a weighing of the whole robot has settled.

    Parameters
    ----------
    robot : Robot
        The robot with nominal numbers [SI].
    path : tuple of str or int
        Where the quantity stands in its file [-].
    quantity : Quantity
        A quantity of the robot's file [SI].

    Returns
    -------
    Quantity
        Without tolerance where it is a part's mass and the whole was weighed, or a part's place and the centre of
        gravity was found; else the same [SI].
    """
    weighed = robot.weighed
    if weighed is None or path[0] != "parts" or len(path) < 3:
        return quantity
    axis = path[3] if path[2] == "position" and len(path) > 3 else None
    known = {0: weighed.x, 1: weighed.y, 2: weighed.z}.get(axis) if isinstance(axis, int) else None
    if known is not None or (path[2] == "mass" and weighed.mass is not None):
        return dataclasses.replace(quantity, tolerance=0.0)
    return quantity
