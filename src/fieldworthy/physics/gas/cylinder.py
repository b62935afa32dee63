"""Pneumatic cylinders: areas, volumes, force out and in, and the air that one stroke takes.

The extend side is the full piston face, the retract side the ring around the rod. Dead volume is what must be
filled before the piston moves and is lost with every exhaust: end clearance, ports, fittings and the tubing
from the valve.

Caution: a cylinder moves without warning as soon as it is fed. Keep hands out of the pinch points, and
empty the tank before working on the mechanism.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Real
from fieldworthy.physics._require import above, at_least
from fieldworthy.physics.gas.air import P_ATM


@dataclass(frozen=True, slots=True, eq=False)
class Cylinder:
    """Geometry of a cylinder.

    Parameters
    ----------
    bore : Real
        Bore diameter [m].
    rod : Real
        Rod diameter, less than the bore [m].
    stroke : Real
        Stroke [m].
    dead_extend : Real
        Dead volume of the extend side with its tubing [m3].
    dead_retract : Real
        Dead volume of the retract side with its tubing [m3].
    double_acting : bool
        Air drives both ways; otherwise a spring brings the rod back and its side is open to the atmosphere.
    spring : tuple of Real
        Spring force that pulls the rod in: at the retracted end [N] and its rise with extension [N/m].

    Raises
    ------
    ValueError
        If a size is not positive, the rod is not thinner than the bore, or a volume or spring is negative.

    References
    ----------
    beater: cylinders, geometry.
    """

    bore: Real
    rod: Real
    stroke: Real
    dead_extend: Real = 0.0
    dead_retract: Real = 0.0
    double_acting: bool = True
    spring: tuple[Real, Real] = (0.0, 0.0)

    def __post_init__(self) -> None:
        for name in ("bore", "stroke"):
            if not above(0.0, getattr(self, name)):
                raise ValueError(f"{name} must be above zero, got {getattr(self, name)}")
        if not (at_least(0.0, self.rod) and above(0.0, self.bore - self.rod)):
            raise ValueError(f"rod must be from 0 to below the bore {self.bore}, got {self.rod}")
        for name, value in (("dead_extend", self.dead_extend), ("dead_retract", self.dead_retract)):
            if not at_least(0.0, value):
                raise ValueError(f"{name} must not be negative, got {value}")
        if not at_least(0.0, *self.spring):
            raise ValueError(f"spring force and rate must not be negative, got {self.spring}")

    @property
    def piston_area(self) -> Real:
        """Area of the extend side [m2]."""
        return 0.25 * np.pi * np.square(self.bore)

    @property
    def ring_area(self) -> Real:
        """Area of the retract side, the piston less the rod [m2]."""
        return 0.25 * np.pi * (np.square(self.bore) - np.square(self.rod))

    @property
    def swept_extend(self) -> Real:
        """Volume swept on the extend side [m3]."""
        return self.piston_area * self.stroke

    @property
    def swept_retract(self) -> Real:
        """Volume swept on the retract side [m3]."""
        return self.ring_area * self.stroke

    def spring_force(self, extension: Real) -> Real:
        """Force of the spring that pulls the rod in.

        Parameters
        ----------
        extension : Real
            Travel from the retracted end [m].

        Returns
        -------
        Real
            Force [N].

        References
        ----------
        practice: linear spring.
        """
        return self.spring[0] + self.spring[1] * extension


def push_force(
    cylinder: Cylinder,
    p_abs: Real,
    p_back_abs: Real = P_ATM,
    friction: Real = 0.0,
    extension: Real = 0.0,
    p_atm: Real = P_ATM,
) -> Real:
    """Force with which the rod pushes out.

    Parameters
    ----------
    cylinder : Cylinder
        The cylinder.
    p_abs : Real
        Absolute pressure on the extend side [Pa].
    p_back_abs : Real
        Absolute pressure left on the rod's side [Pa].
    friction : Real
        Seal friction, which takes from the force; common practice, no source: 5 % to 15 % of it [N].
    extension : Real
        Travel from the retracted end, for the spring [m].
    p_atm : Real
        Pressure of the atmosphere on the rod's cross-section [Pa].

    Returns
    -------
    Real
        Force, negative where it does not push at all [N].

    Notes
    -----
    ``F = p A1 - p_back A2 - p_atm (A1 - A2) - spring - friction``.

    References
    ----------
    beater: cylinder force, free body of the piston.
    """
    A1, A2 = cylinder.piston_area, cylinder.ring_area
    gas = (p_abs - p_atm) * A1 - (p_back_abs - p_atm) * A2
    return gas - cylinder.spring_force(extension) - friction


def pull_force(
    cylinder: Cylinder,
    p_abs: Real,
    p_back_abs: Real = P_ATM,
    friction: Real = 0.0,
    extension: Real = 0.0,
    p_atm: Real = P_ATM,
) -> Real:
    """Force with which the rod pulls in.

    Parameters
    ----------
    cylinder : Cylinder
        The cylinder.
    p_abs : Real
        Absolute pressure on the rod's side [Pa].
    p_back_abs : Real
        Absolute pressure left on the extend side [Pa].
    friction : Real
        Seal friction, which takes from the force [N].
    extension : Real
        Travel from the retracted end, for the spring [m].
    p_atm : Real
        Pressure of the atmosphere on the rod's cross-section [Pa].

    Returns
    -------
    Real
        Force, negative where it does not pull at all [N].

    Notes
    -----
    ``F = p A2 - p_back A1 + p_atm (A1 - A2) + spring - friction``.

    References
    ----------
    beater: cylinder force, free body of the piston.
    """
    A1, A2 = cylinder.piston_area, cylinder.ring_area
    gas = (p_abs - p_atm) * A2 - (p_back_abs - p_atm) * A1
    return gas + cylinder.spring_force(extension) - friction
