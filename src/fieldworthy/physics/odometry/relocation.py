"""Relocation: what a contact with a wall, or a distance sensor, tells about the pose.

Each measurement is linear in a small pose error: a row (position, heading) and a standard deviation. The
position part is a complex number h, read as Re(conj(h) z) for a position error z = x + i y.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.odometry._errorstate import Complex, Moments


@dataclass(frozen=True, slots=True)
class Row:
    """One measured number as a function of a small pose error.

    Parameters
    ----------
    position : Complex
        Change of the number per error of position [-], x plus i times y.
    heading : Real
        Change of the number per error of heading [m/rad, or - for a measured angle].
    sd : Real
        Standard deviation of the measurement [m, or rad for a measured angle].

    Raises
    ------
    ValueError
        If the standard deviation is not positive.
    """

    position: Complex
    heading: Real
    sd: Real

    def __post_init__(self) -> None:
        require.positive(sd=self.sd)


@dataclass(frozen=True, slots=True)
class Relocation:
    """Measurements taken at one waypoint, with which the tracked pose is corrected.

    Parameters
    ----------
    waypoint : int
        Which waypoint of the path [-], counted from 0.
    rows : tuple[Row, ...]
        The measurements, independent of one another.
    taken : bool
        Whether the pose is set to what is measured, or the two are fused with the gain that is best.
    """

    waypoint: int
    rows: tuple[Row, ...]
    taken: bool = False


def wall_contact(
    waypoint: int, normal: Real, sd: Real, heading_sd: Real | None = None, *, taken: bool = False
) -> Relocation:
    """Relocate by driving squarely against a wall.

    Parameters
    ----------
    waypoint : int
        Which waypoint of the path [-], counted from 0.
    normal : Real
        Direction of the wall's normal in the field [rad].
    sd : Real
        Standard deviation of the distance to the wall: bumper, wall's own place [m].
    heading_sd : Real or None
        Standard deviation of the heading after squaring up [rad]; None when one point alone touches.
    taken : bool
        Whether the pose is set to the wall's, or fused with it.

    Returns
    -------
    Relocation
        Fixes the coordinate along the normal and, with `heading_sd`, the heading [-].

    Raises
    ------
    ValueError
        If a standard deviation is not positive.
    """
    rows = [Row(np.exp(1j * np.asarray(normal, dtype=np.float64)), 0.0, sd)]
    if heading_sd is not None:
        rows.append(Row(np.zeros((), dtype=np.complex128), 1.0, heading_sd))
    return Relocation(waypoint, tuple(rows), taken)


def seen(row: Row, z: Complex, t: Array) -> Array:
    """Change of a measured number for given pose errors.

    Parameters
    ----------
    row : Row
        The measurement.
    z : Complex
        Position error [m].
    t : Array
        Heading error [rad].

    Returns
    -------
    Array
        The change [m or rad].
    """
    return np.asarray((np.conj(row.position) * z).real + row.heading * t)


def gain(row: Row, total: Moments) -> tuple[Complex, Array]:
    """Kalman gain of one measurement.

    Parameters
    ----------
    row : Row
        The measurement.
    total : Moments
        Second moments of the pose error before it [m2, m2, m rad, rad2].

    Returns
    -------
    tuple[Complex, Array]
        Correction of position [-] and of heading [1/m or -] per unit of what was not expected.

    References
    ----------
    thrun2005: chapter 3.
    """
    place, angle, spread = _against(row, total)
    rest = spread + np.asarray(row.sd) ** 2
    return place / rest, angle / rest


def whole_gain(row: Row) -> tuple[Complex, Array]:
    """Gain of a measurement that replaces what was tracked: the pose moves until it agrees with the reading.

    Parameters
    ----------
    row : Row
        The measurement.

    Returns
    -------
    tuple[Complex, Array]
        Correction of position [-] and of heading [1/m or -] per unit of what was not expected. A reading of a
        place moves the position along it; one of the heading alone turns the robot where it is.

    References
    ----------
    practice: a program that sets its pose at a wall; the gain h / |h|^2 gives h k = 1.
    """
    h, turn = np.atleast_1d(row.position), np.atleast_1d(np.asarray(row.heading, dtype=np.float64))
    size = (h * h.conj()).real
    placed = size > 0.0
    place = np.divide(h, size, out=np.zeros(np.shape(h), dtype=np.complex128), where=placed)
    return place, np.where(placed, 0.0, 1.0 / np.where(placed | (turn == 0.0), 1.0, turn))


def _against(row: Row, moments: Moments) -> tuple[Complex, Array, Array]:
    """Covariance of position and of heading with the measured number, and the number's variance."""
    h = row.position
    place = 0.5 * (np.conj(h) * moments.square + h * moments.size) + row.heading * moments.cross
    angle = (np.conj(h) * moments.cross).real + row.heading * moments.heading
    return place, angle, (np.conj(h) * place).real + row.heading * angle


def corrected(row: Row, by: tuple[Complex, Array], old: Moments) -> Moments:
    """Second moments of one source after the pose was corrected.

    Parameters
    ----------
    row : Row
        The measurement.
    by : tuple[Complex, Array]
        The gain, from the moments of all sources together [-].
    old : Moments
        The source's moments before [m2, m2, m rad, rad2].

    Returns
    -------
    Moments
        (I - K h) P (I - K h)^T [m2, m2, m rad, rad2]; the sensor's own noise is a source by itself.
    """
    place, angle, spread = _against(row, old)
    k, g = by
    return Moments(
        old.size - 2.0 * (np.conj(k) * place).real + (k * np.conj(k)).real * spread,
        old.square - 2.0 * k * place + k * k * spread,
        old.cross - k * angle - g * place + k * g * spread,
        old.heading - 2.0 * g * angle + g * g * spread,
    )
