"""Straight guides: when a load beside the guide makes it bind, as a drawer pulled at one corner does.

A carriage slides along x on two bearing pads a guide length apart. It is driven with a force at one offset
against a load at another; the moment between them is carried as a pair of contact forces, and those forces
rub.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import TINY, refuse, refuse_unsized


@dataclass(frozen=True, slots=True)
class Guide:
    """Two bearing pads on a straight guide.

    Parameters
    ----------
    length : Real
        Distance between the centres of pressure of the two pads along the guide [m].
    friction : Real
        Coefficient of friction between pad and guide [-].
    width : Real
        Width of the rod inside the pads, across in the plane of the offsets [m].

    Raises
    ------
    ValueError
        If a scalar length is not positive, or friction or width is negative.

    Notes
    -----
    For one long bush the pressure centres at its two ends, so its whole length counts; a worn or soft bush
    carries further in, and counts less.
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
    """A force across the guide.

    Parameters
    ----------
    force : Real
        Force towards +y [N].
    position : Real
        Where it acts along the guide, from the middle between the pads, ahead positive [m].
    """

    force: Real = 0.0
    position: Real = 0.0


def binding_ratio(length: Real, offset: Real, friction: Real) -> Array:
    """Return how near a guide is to locking itself.

    Parameters
    ----------
    length : Real
        Distance between the pads [m].
    offset : Real
        Distance of the driving force from the guide's axis [m].
    friction : Real
        Coefficient of friction [-].

    Returns
    -------
    Array
        2 mu e / L [-]: at 1 and above no force, however large, moves the carriage.

    Notes
    -----
    The couple F e is carried as N = F e / L at each pad; both rub with mu N, together 2 mu F e / L. It must
    stay below F, so L / e > 2 mu.

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
    offset : Real
        Distance of the driving force from the guide's axis [m].
    friction : Real
        Coefficient of friction [-].

    Returns
    -------
    Array
        Length 2 mu e [m]; a guide has to be longer.

    References
    ----------
    practice: a guide at least 1.5 to 2 times as long as its offset (common practice, no source), which is a
        friction of 0.75 to 1 and so more than dry plastics or metals need by statics alone.
    """
    return np.asarray(2.0 * np.asarray(friction) * np.abs(offset))


def force_to_move(
    guide: Guide, load: Real, load_offset: Real, drive_offset: Real = 0.0, side: SideLoad | None = None
) -> Array:
    """Return the driving force that just moves a load along the guide.

    Parameters
    ----------
    guide : Guide
        Pads and friction [-].
    load : Real
        Force against the motion, zero or more [N].
    load_offset : Real
        Its offset from the guide's axis, towards +y [m].
    drive_offset : Real
        Offset of the driving force [m].
    side : SideLoad or None
        A force across the guide [-].

    Returns
    -------
    Array
        Driving force [N], infinite where the guide locks (`locks`).

    Notes
    -----
    Equilibrium: P = W + mu (abs(N1) + abs(N2)), N = -S/2 +- M/L,
    M = e_d P - e_w W - x S + mu w S / 2. The right side is the greatest of four straight lines in P, one for
    each pair of signs, so P is the greatest of their four solutions. Static friction taken equal to sliding
    friction.

    References
    ----------
    meriam_statics: dry friction.
    """
    s = SideLoad() if side is None else side
    mu, w = np.asarray(guide.friction), np.asarray(load)
    across = np.asarray(s.force) * (0.5 * mu * guide.width - s.position)
    per_drive = mu * drive_offset / np.maximum(guide.length, TINY)
    moment = (across - w * load_offset) * mu / np.maximum(guide.length, TINY)
    span = 2.0 * np.abs(per_drive) < 1.0
    gain = np.where(span, per_drive, 0.0)
    paired = np.abs(mu * np.asarray(s.force))
    one = (w + 2.0 * moment) / (1.0 - 2.0 * gain)
    other = (w - 2.0 * moment) / (1.0 + 2.0 * gain)
    force = np.maximum(np.maximum(one, other), w + paired)
    return np.where(span, np.maximum(force, 0.0), np.inf)
