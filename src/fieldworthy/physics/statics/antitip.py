"""A dead stop over anti-tip rollers: a second tipping edge that counts once the tilt has closed the clearance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics.statics.support import STANDARD_GRAVITY
from fieldworthy.physics.statics.tipping import Overturn


@dataclass(frozen=True, slots=True)
class RollerStage:
    """The robot at the moment its anti-tip roller meets the floor.

    Parameters
    ----------
    first : Overturn
        The robot across the wheels' edge, level [kg, kg m2, m].
    second : Overturn
        The robot across the roller's edge, tilted [kg, kg m2, m].
    angle : Array
        Tilt at which the roller meets the floor [rad].
    speed_kept : Array
        Share of the angular velocity that is left after the roller's blow [-].

    References
    ----------
    housner1963: change of the rocking edge.
    """

    first: Overturn
    second: Overturn
    angle: Array
    speed_kept: Array


def roller_stage(body: Overturn, overhang: Real, clearance: Real) -> RollerStage:
    """Find where the tipping edge goes when an anti-tip roller comes down.

    Parameters
    ----------
    body : Overturn
        The robot across the wheels' edge [kg, kg m2, m].
    overhang : Real
        Level distance from the wheels' edge out to the roller [m]; at 0 or less the roller never helps.
    clearance : Real
        Height of the roller above the floor when the robot stands level [m], not negative.

    Returns
    -------
    RollerStage
        Both stages [kg, kg m2, m, rad, -].

    Notes
    -----
    The roller meets the floor at tan(theta) = c / L, sqrt(L^2 + c^2) from the wheels' contact; the centre of
    gravity has then moved to -d cos + h sin, h cos + d sin from that contact. Contacts are points, so the
    roll of locked wheels is left out. Angular momentum about the roller is kept in its blow, without rebound:
    omega_2 / omega_1 = (I + m r_1 . r_2) / (I + m r_2^2).

    References
    ----------
    housner1963: change of the rocking edge.
    """
    out = np.maximum(overhang, 0.0)
    angle = np.arctan2(clearance, np.maximum(out, 1e-300))
    angle = np.where(out > 0.0, angle, 0.0)
    c, s = np.cos(angle), np.sin(angle)
    behind, height = body.reach * c - body.height * s, body.height * c + body.reach * s
    gap = np.where(out > 0.0, np.hypot(out, clearance), 0.0)
    second = Overturn(body.mass, body.inertia, behind + gap, height)
    between = body.mass * (second.reach * behind + height * height)
    return RollerStage(body, second, angle, (body.inertia + between) / second.edge_inertia)


def roller_impact_tip_speed(stage: RollerStage, g: Real = STANDARD_GRAVITY) -> Array:
    """Speed at which a robot that stops dead goes over its rollers.

    Parameters
    ----------
    stage : RollerStage
        Both stages [kg, kg m2, m, rad, -].
    g : Real
        Gravity [m/s2].

    Returns
    -------
    Array
        Least speed that carries it over [m/s]; infinite without height.

    Notes
    -----
    Backwards through the motion: the energy needed from the roller's edge, divided by what its blow leaves,
    plus the rise up to the blow; at least the wheels' own energy where balance comes before the blow.

    References
    ----------
    housner1963: overturning by an impulse; change of the rocking edge.
    messuri1985: energy stability margin.
    """
    one, two = stage.first, stage.second
    weight2 = 2.0 * one.mass * g
    after = weight2 * two.rise / two.edge_inertia
    raised = weight2 * (two.height - one.height) / one.edge_inertia
    kept = np.maximum(stage.speed_kept, 1e-12)
    through = np.where(two.rise > 0.0, after / kept**2, 0.0) + raised
    spin2 = np.maximum(through, weight2 * one.rise / one.edge_inertia)
    momentum = one.mass * np.maximum(one.height, 0.0)
    moving = momentum > 0.0
    return np.where(moving, np.sqrt(spin2) * one.edge_inertia / np.where(moving, momentum, 1.0), np.inf)
