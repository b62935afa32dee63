"""Straight guides: when a load beside the guide makes it bind, as a drawer pulled at one corner does.

A carriage slides along x on two bearing pads a guide length apart. It is driven with a force at one offset against a
load at another; the moment between them is carried as a pair of contact forces, and those forces rub.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import TINY, refuse, refuse_unsized

_ROUNDING = 1e-9  # of a force: bounds that differ by less are the same one


@dataclass(frozen=True, slots=True)
class Guide:
    """Two bearing pads on a straight guide.

    For one long bush the pressure centres at its two ends, so its whole length counts; a worn or soft bush
    carries further in, and counts less.

    Parameters
    ----------
    length, width : Distance between the centres of pressure of the two pads along the guide, and width of the rod
        inside the pads, across in the plane of the offsets [m]
    friction : Coefficient of friction between pad and guide [-]

    Raises
    ------
    ValueError : If a scalar length is not positive, or friction or width is negative
    """

    length: Real
    friction: Real
    width: Real = 0.0

    def __post_init__(self) -> None:
        refuse_unsized(length=self.length)
        refuse(np.asarray(self.friction) >= 0.0, lambda: f"friction must not be negative, got {self.friction!r}")
        refuse(np.asarray(self.width) >= 0.0, lambda: f"width must not be negative, got {self.width!r}")


@dataclass(frozen=True, slots=True)
class SideLoad:
    """A force across the guide: towards +y [N], and where along it, ahead of the middle between the pads [m]."""

    force: Real = 0.0
    position: Real = 0.0


def binding_ratio(length: Real, offset: Real, friction: Real) -> Array:
    """Return how near a guide is to locking itself under a force beside its axis.

    The couple F e is carried as N = F e / L at each pad; both rub with mu N, together 2 mu F e / L. It must
    stay below F, so L / e > 2 mu.

    Parameters
    ----------
    length, offset : Between the pads, and of the driving force from the guide's axis [m]
    friction : Coefficient of friction [-]

    Returns
    -------
    2 mu e / L [-]: at 1 and above more force only presses harder than it pushes, so what moves the carriage at all
    moves it between two forces (`moving_forces`).

    References
    ----------
    meriam_statics: dry friction.
    """
    reach = 2.0 * np.asarray(friction) * np.abs(offset)
    return np.asarray(reach / np.maximum(length, TINY))


def shortest_guide(offset: Real, friction: Real) -> Array:
    """Return the guide length at which a drive at that offset just locks.

    Parameters
    ----------
    offset, friction : Distance of the driving force from the guide's axis [m]; coefficient of friction [-]

    Returns
    -------
    Length 2 mu e [m]; a guide has to be longer.

    References
    ----------
    practice: a guide at least 1.5 to 2 times as long as its offset (common practice, no source), which is a
        friction of 0.75 to 1 and so more than dry plastics or metals need by statics alone.
    """
    return np.asarray(2.0 * np.asarray(friction) * np.abs(offset))


def moving_forces(
    guide: Guide, load: Real, load_offset: Real, drive_offset: Real = 0.0, side: SideLoad | None = None
) -> tuple[Array, Array]:
    """Return the least and the greatest driving force that moves a load along the guide.

    It slides where P >= W + mu (abs(N1) + abs(N2)), N = -S/2 +- M/L, M = e_d P - e_w W - x S + mu w S / 2.
    The right side is the greatest of straight lines in P, so each line bounds P from below where it is flatter
    than P itself, and from above where it is steeper. Static friction taken equal to sliding friction.

    Parameters
    ----------
    guide : Pads [m] and friction [-]
    load : Force against the motion, zero or more [N]
    load_offset, drive_offset : Of the load and of the driving force from the guide's axis, towards +y [m]
    side : A force across the guide [N, m]

    Returns
    -------
    tuple of Array
        Least and greatest driving force [N]; the greatest is infinite while `binding_ratio` of the drive is
        below 1, the least where no force moves the carriage. Both are equal where the drive pulls in the
        load's own line and the guide would lock: it then slides at that force and at no other.

    References
    ----------
    meriam_statics: dry friction.
    """
    s = SideLoad() if side is None else side
    mu, w = np.asarray(guide.friction), np.asarray(load)
    length = np.maximum(guide.length, TINY)
    across = np.asarray(s.force) * (0.5 * mu * guide.width - s.position)
    per_drive, moment = 2.0 * mu * drive_offset / length, 2.0 * (across - w * load_offset) * mu / length
    least, greatest = np.maximum(w + np.abs(mu * np.asarray(s.force)), 0.0), np.asarray(np.inf)
    for sign in (1.0, -1.0):
        slope, need = 1.0 - sign * per_drive, w + sign * moment
        bound = need / np.where(slope == 0.0, 1.0, slope)
        least = np.where(slope > 0.0, np.maximum(least, bound), least)
        greatest = np.where(slope < 0.0, np.minimum(greatest, bound), greatest)
        greatest = np.where((slope == 0.0) & (need > 0.0), 0.0, greatest)
    moves = least <= greatest + _ROUNDING * np.abs(least)
    return np.where(moves, least, np.inf), np.where(moves, np.maximum(greatest, least), 0.0)


def force_to_move(
    guide: Guide, load: Real, load_offset: Real, drive_offset: Real = 0.0, side: SideLoad | None = None
) -> Array:
    """Return the driving force that just moves a load along the guide: the least of `moving_forces`.

    Parameters
    ----------
    guide : Pads [m] and friction [-]
    load : Force against the motion, zero or more [N]
    load_offset, drive_offset : Of the load and of the driving force from the guide's axis, towards +y [m]
    side : A force across the guide [N, m]

    Returns
    -------
    Driving force [N], infinite where none moves it.
    """
    return moving_forces(guide, load, load_offset, drive_offset, side)[0]
