"""Gearing from motor to wheel: ratio, efficiency, and inertia as the wheel feels it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import not_negative, positive


@dataclass(frozen=True, slots=True)
class GearStage:
    """One stage of gears or chain.

    Parameters
    ----------
    ratio : Real
        Turns of the motor's side per turn of the wheel's side [-].
    efficiency : Real
        Share of the torque that it lets through [-].

    Raises
    ------
    ValueError
        If the ratio is not positive or the efficiency not above 0 and at most 1.
    """

    ratio: Real
    efficiency: Real = 1.0

    def __post_init__(self) -> None:
        positive(ratio=self.ratio, efficiency=self.efficiency)
        if not np.all(np.less_equal(self.efficiency, 1.0)):
            raise ValueError(f"efficiency must be at most 1, got {self.efficiency!r}")


def train(stages: Sequence[GearStage]) -> GearStage:
    """Return the one stage that a train of stages amounts to.

    Parameters
    ----------
    stages : sequence of GearStage
        Stages from motor to wheel [-]; none means a direct drive.

    Returns
    -------
    GearStage
        Products of the ratios and of the efficiencies [-].
    """
    ratio: Real = 1.0
    efficiency: Real = 1.0
    for stage in stages:
        ratio = ratio * stage.ratio
        efficiency = efficiency * stage.efficiency
    return GearStage(ratio, efficiency)


def reflected_inertia(stages: Sequence[GearStage], shafts: Sequence[Real]) -> Array:
    """Return the moment of inertia of a train as its last shaft feels it.

    Parameters
    ----------
    stages : sequence of GearStage
        Stages from motor to wheel [-].
    shafts : sequence of Real
        Moment of inertia on each shaft, the motor's first and the wheel's last, one more than stages [kg m2].

    Returns
    -------
    Array
        Moment of inertia referred to the last shaft [kg m2].

    Raises
    ------
    ValueError
        If the number of shafts does not fit, or an inertia is negative.

    Notes
    -----
    ``J = sum J_k i_k ** 2`` with the ratio ``i_k`` from shaft k to the last; the losses of the gears on this
    share are left out.

    References
    ----------
    meriam_dynamics: kinetic energy of connected shafts.
    """
    if len(shafts) != len(stages) + 1:
        raise ValueError(f"{len(stages)} stages join {len(stages) + 1} shafts, got {len(shafts)}")
    total = np.asarray(shafts[0], dtype=float)
    for stage, inertia in zip(stages, shafts[1:], strict=True):
        not_negative(inertia=inertia)
        total = total * np.square(stage.ratio) + inertia
    not_negative(inertia=shafts[0])
    return np.asarray(total)
