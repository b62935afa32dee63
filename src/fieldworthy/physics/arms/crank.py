"""The slider-crank with offset and the four-bar: positions, rates, transmission angles, in closed form.

An impossible scalar raises ValueError; in a batch ``four_bar_closes`` is the mask and an impossible case
keeps the nearest pose that exists. Keep fingers out: every linkage is a pinch point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fieldworthy.physics._refuse import SMALL, TINY, refuse, refuse_unsized
from fieldworthy.physics._types import Array, Real


@dataclass(frozen=True, slots=True)
class SliderCrank:
    """A crank that pushes a slider through a rod.

    Parameters
    ----------
    crank : Real
        Crank radius [m].
    rod : Real
        Rod length between pins [m].
    offset : Real
        Distance of the slider's line from the crank's centre, positive to the side where the crank is at pi/2
        [m].

    Raises
    ------
    ValueError
        If a scalar length is not positive, or the rod is too short for the crank to turn right round.

    Notes
    -----
    The slider is at positive x, the crank's angle is measured from x. In a batch, cases whose crank cannot
    turn round have ``crank + abs(offset) > rod``; their slider stays where the rod stands across.
    """

    crank: Real
    rod: Real
    offset: Real = 0.0

    def __post_init__(self) -> None:
        refuse_unsized(crank=self.crank, rod=self.rod)
        refuse(
            np.asarray(np.add(self.crank, np.abs(self.offset)) <= self.rod),
            f"rod {self.rod!r} m is too short for crank {self.crank!r} m and offset {self.offset!r} m",
        )


def slider_position(mechanism: SliderCrank, angle: Real) -> Array:
    """Return where the slider is.

    Parameters
    ----------
    mechanism : SliderCrank
        Crank, rod and offset [-].
    angle : Real
        Crank angle from the slider's direction [rad].

    Returns
    -------
    Array
        Distance of the slider's pin from the crank's centre along its line [m].

    Notes
    -----
    x = r cos(a) + sqrt(l^2 - (r sin(a) - e)^2).

    References
    ----------
    kmoddl: offset slider-crank, position.
    """
    rise = np.asarray(mechanism.crank) * np.sin(angle) - mechanism.offset
    return np.asarray(mechanism.crank * np.cos(angle) + _run(mechanism, rise))


def _run(mechanism: SliderCrank, rise: Array) -> Array:
    """Return how far the rod reaches along the slider's line."""
    return np.sqrt(np.maximum(np.square(mechanism.rod) - rise * rise, 0.0))


def slider_rate(mechanism: SliderCrank, angle: Real) -> Array:
    """Return the slider's travel per angle of the crank, which is also crank torque per slider force.

    Parameters
    ----------
    mechanism : SliderCrank
        Crank, rod and offset [-].
    angle : Real
        Crank angle from the slider's direction [rad].

    Returns
    -------
    Array
        dx/dangle [m/rad]; zero at the dead points.

    Notes
    -----
    By virtual work, torque = force dx/dangle.
    """
    sine, cosine = np.sin(angle), np.cos(angle)
    rise = np.asarray(mechanism.crank) * sine - mechanism.offset
    slope = rise / np.maximum(_run(mechanism, rise), SMALL)
    return np.asarray(-mechanism.crank * (sine + cosine * slope))


def slider_rod_angle(mechanism: SliderCrank, angle: Real) -> Array:
    """Return the slope of the rod against the slider's line, the complement of its transmission angle.

    Parameters
    ----------
    mechanism : SliderCrank
        Crank, rod and offset [-].
    angle : Real
        Crank angle from the slider's direction [rad].

    Returns
    -------
    Array
        Angle by which the rod falls from the crank's pin to the slider [rad].
    """
    rise = np.asarray(mechanism.crank) * np.sin(angle) - mechanism.offset
    return np.arctan2(rise, _run(mechanism, rise))


def slider_stroke(mechanism: SliderCrank) -> tuple[Array, Array]:
    """Return the slider's stroke and the ratio of its two half-turns.

    Parameters
    ----------
    mechanism : SliderCrank
        Crank, rod and offset [-].

    Returns
    -------
    tuple of Array
        Stroke [m], and time out over time back at constant speed, at least 1 [-].

    Notes
    -----
    Dead points where crank and rod line up: x = sqrt((l +- r)^2 - e^2), with directions asin(e / (l +- r)).

    References
    ----------
    uicker: offset slider-crank, stroke and quick return.
    """
    long, short = np.add(mechanism.rod, mechanism.crank), np.subtract(mechanism.rod, mechanism.crank)
    e = np.abs(mechanism.offset)
    stroke = np.sqrt(np.maximum(long**2 - e**2, 0.0)) - np.sqrt(np.maximum(short**2 - e**2, 0.0))
    folded, straight = (np.arcsin(np.clip(e / np.maximum(side, TINY), 0.0, 1.0)) for side in (short, long))
    lead = folded - straight
    return np.asarray(stroke), np.asarray((np.pi + lead) / (np.pi - lead))


@dataclass(frozen=True, slots=True)
class FourBar:
    """Four bars in a loop.

    Parameters
    ----------
    frame : Real
        Distance between the fixed pivots, along x [m].
    crank : Real
        Driving bar on the first pivot, at the origin [m].
    coupler : Real
        Bar between the two moving pins [m].
    rocker : Real
        Driven bar on the second pivot [m].

    Raises
    ------
    ValueError
        If a scalar length is not positive, or the longest bar is longer than the other three together.
    """

    frame: Real
    crank: Real
    coupler: Real
    rocker: Real

    def __post_init__(self) -> None:
        refuse_unsized(frame=self.frame, crank=self.crank, coupler=self.coupler, rocker=self.rocker)
        bars = (self.frame, self.crank, self.coupler, self.rocker)
        longest = np.maximum(np.maximum(bars[0], bars[1]), np.maximum(bars[2], bars[3]))
        whole = np.add(np.add(bars[0], bars[1]), np.add(bars[2], bars[3]))
        refuse(
            np.asarray(2.0 * longest <= whole), lambda: f"frame, crank, coupler, rocker {bars!r} m never close a loop"
        )


@dataclass(frozen=True, slots=True)
class FourBarPose:
    """Pose of a four-bar.

    Parameters
    ----------
    coupler_angle : Array
        Direction of the coupler from the crank's pin [rad].
    rocker_angle : Array
        Direction of the rocker from its pivot [rad].
    transmission_angle : Array
        Angle between coupler and rocker, 0 to pi, best at pi/2 [rad].
    rate : Array
        Rocker's angle per crank's angle [-]; by virtual work crank torque over rocker torque.
    """

    coupler_angle: Array
    rocker_angle: Array
    transmission_angle: Array
    rate: Array


def four_bar_closes(bars: FourBar, crank_angle: Real) -> npt.NDArray[np.bool_]:
    """Tell where the loop closes at a crank angle.

    Parameters
    ----------
    bars : FourBar
        The four lengths [-].
    crank_angle : Real
        Crank direction from the frame [rad].

    Returns
    -------
    ndarray of bool
        True where coupler and rocker can meet [-].
    """
    span = np.hypot(*_diagonal(bars, crank_angle))
    short = np.abs(np.subtract(bars.coupler, bars.rocker))
    return np.asarray((span <= np.add(bars.coupler, bars.rocker)) & (span >= short))


def _diagonal(bars: FourBar, crank_angle: Real) -> tuple[Array, Array]:
    """Return the vector from the crank's pin to the rocker's pivot."""
    return (
        np.asarray(bars.frame - bars.crank * np.cos(crank_angle)),
        np.asarray(-bars.crank * np.sin(crank_angle)),
    )


def four_bar(bars: FourBar, crank_angle: Real, branch: Real = 1.0) -> FourBarPose:
    """Return the pose of a four-bar in closed form.

    Parameters
    ----------
    bars : FourBar
        The four lengths [-].
    crank_angle : Real
        Crank direction from the frame [rad].
    branch : Real
        +1 with the coupler's pin to the left of the line from crank pin to rocker pivot (open), -1 to the
        right (crossed) [-].

    Returns
    -------
    FourBarPose
        Directions, transmission angle [rad] and rate [-]; where `four_bar_closes` is false, the nearest pose.

    Raises
    ------
    ValueError
        If a scalar loop does not close at that crank angle.

    Notes
    -----
    The diagonal from the crank's pin to the rocker's pivot splits the loop in two triangles; the law of
    cosines gives the rest. Rate = r2 sin(t2 - t3) / (r4 sin(t4 - t3)), held finite at a dead point.

    References
    ----------
    uicker: four-bar position, velocity ratio and transmission angle.
    """
    refuse(
        four_bar_closes(bars, crank_angle), lambda: f"the four-bar does not close at crank angle {crank_angle!r} rad"
    )
    dx, dy = _diagonal(bars, crank_angle)
    square = dx * dx + dy * dy
    span = np.sqrt(np.maximum(square, TINY))
    c2, r2 = np.square(bars.coupler), np.square(bars.rocker)
    bend = np.clip((c2 + square - r2) / np.maximum(2.0 * span * bars.coupler, TINY), -1.0, 1.0)
    coupler = np.arctan2(dy, dx) + branch * np.arccos(bend)
    x, y = bars.coupler * np.cos(coupler) - dx, bars.coupler * np.sin(coupler) - dy
    rocker = np.arctan2(y, x)
    meet = np.clip((c2 + r2 - square) / np.maximum(2.0 * np.multiply(bars.coupler, bars.rocker), TINY), -1.0, 1.0)
    side = np.sin(rocker - coupler)
    side = np.copysign(np.maximum(np.abs(side), 1e-12), side)
    rate = bars.crank * np.sin(crank_angle - coupler) / np.maximum(bars.rocker, TINY) / side
    return FourBarPose(coupler, rocker, np.arccos(meet), np.asarray(rate))
