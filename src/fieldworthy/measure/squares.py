"""Squares driven by odometry, both ways: a wrong track and unlike wheels parted from each other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fieldworthy.engine.finding import Array
from fieldworthy.files.kinds import Real
from fieldworthy.measure.fitting import PER_95, Parameter, solve
from fieldworthy.measure.model import Odometry, Squares
from fieldworthy.measure.result import Fitted, Procedure
from fieldworthy.physics.odometry.umbmark import SquareErrors, SystematicErrors, systematic_errors, worst_offset
from fieldworthy.robot.model.tracking import TrackingWheel
from fieldworthy.units import digits


@dataclass(frozen=True, slots=True, eq=False)
class SquareFit:
    """End points of squares, as residuals of two tracking wheels.

    Attributes
    ----------
    pair : Left and right wheel
    sizes, offsets : Diameters and offsets that the odometry reckoned with [m]
    side : Of the square [m]
    clockwise, counter : End points less what the odometry says [m]
    deviation : Standard deviation of an end point along each axis [m]
    notes : The test's figures in words
    """

    pair: tuple[str, str]
    sizes: Array
    offsets: Array
    side: float
    clockwise: Array
    counter: Array
    deviation: float
    notes: tuple[str, ...]

    def residual(self, sizes: Array, offsets: Array) -> Array:
        """Whitened residuals of the end points."""
        alpha, beta = angles_of(sizes / self.sizes, offsets[..., 0] - offsets[..., 1], self.track, self.side)
        return end_points_off(alpha, beta, self.side, self.clockwise, self.counter) / self.deviation

    @property
    def track(self) -> float:
        """Distance between the wheels that the odometry reckoned with [m]."""
        return float(self.offsets[0] - self.offsets[1])


def angles_of(ratios: Array, track: Real, reckoned: float, side: float) -> tuple[Array, Array]:
    """Error angles that wheels of another size and track make.

    Notes
    -----
    The inverse of `fieldworthy.physics.umbmark.systematic_errors`; wheels that are both too large turn too far too.
    """
    left, right = ratios[..., 0], ratios[..., 1]
    lean = (right - left) / (right + left)
    beta = 2.0 * np.arcsin(np.clip(lean * side / track, -0.99, 0.99))
    return np.asarray(0.5 * np.pi * (1.0 - 0.5 * (left + right) * reckoned / track)), np.asarray(beta)


def end_points_off(alpha: Real, beta: Real, side: float, clockwise: Array, counter: Array) -> Array:
    """End points less where the two error angles put them."""
    both, apart = (np.asarray(-2.0 * side * angle)[..., None] for angle in (alpha + beta, alpha - beta))
    ways = (clockwise[:, 0] - both, clockwise[:, 1] - both, counter[:, 0] - apart, counter[:, 1] + apart)
    return np.concatenate(ways, axis=-1)


def square_fit(section: Odometry, specs: Mapping[str, TrackingWheel]) -> SquareFit | None:
    """Take squares driven by two tracking wheels."""
    squares = section.squares
    if squares is None or squares.left is None or squares.right is None:
        return None
    pair = (squares.left, squares.right)
    sizes, offsets = (np.array([float(getattr(specs[n], what)) for n in pair]) for what in ("diameter", "offset"))
    clockwise, counter = _points(squares)
    found, notes = _figures(squares, float(offsets[0] - offsets[1]))
    del found
    deviation = float(section.end_error) / PER_95
    return SquareFit(pair, sizes, offsets, float(squares.side), clockwise, counter, deviation, notes)


def square_alone(section: Odometry) -> Procedure:
    """Fit squares that were driven by the drive's own wheels."""
    squares = section.squares
    assert squares is not None
    assert squares.track is not None
    track, side = float(squares.track), float(squares.side)
    clockwise, counter = _points(squares)
    deviation = float(section.end_error) / PER_95
    solution = solve(
        lambda v: end_points_off(v[0], v[1], side, clockwise, counter) / deviation,
        [Parameter("error of each turn", 0.0, 0.2), Parameter("heading gathered on each side", 0.0, 0.2)],
    )

    def ratio(pick: str) -> tuple[float, float]:
        return solution.derived(lambda v: float(getattr(_systematic(v[0], v[1], side, track), pick)))

    _, notes = _figures(squares, track)
    (tracks, tracks_half), (wheels, wheels_half) = ratio("track_ratio"), ratio("diameter_ratio")
    return Procedure(
        "odometry", "Squares both ways", section.date,
        (Fitted("track for the robot's program", (), "length", track * tracks, track * tracks_half),
         Fitted("right wheel's diameter over the left one's", (), "ratio", wheels, wheels_half)),
        notes=(*notes, "Put both into the robot's program: no key of the robot file holds them."),
        sources=("borenstein1996",),
    )  # fmt: skip


def _systematic(alpha: float, beta: float, side: float, track: float) -> SystematicErrors:
    both, apart = -2.0 * side * (alpha + beta), -2.0 * side * (alpha - beta)
    return systematic_errors(SquareErrors(both, both, apart, -apart), side, track)


def _points(squares: Squares) -> tuple[Array, Array]:
    ways = (squares.clockwise, squares.counter_clockwise)
    clockwise, counter = (np.array([[float(e.x), float(e.y)] for e in way]) for way in ways)
    return clockwise, counter


def _figures(squares: Squares, track: float) -> tuple[SystematicErrors, tuple[str, ...]]:
    """The test's figures: how far off the squares end, and which of the two causes did how much."""
    clockwise, counter = (points.mean(axis=0) for points in _points(squares))
    errors = SquareErrors(*clockwise.tolist(), *counter.tolist())
    found = systematic_errors(errors, float(squares.side), abs(track))
    far = digits(1000.0 * float(worst_offset(errors)))
    turn, curve = (digits(float(np.degrees(a)), 2) for a in (found.alpha, found.beta))
    said = (
        f"Squares end {far} mm off in the mean, the worse way; each turn is {turn}° short of 90°, from the track, and "
    )
    return found, (f"{said}each side bends by {curve}°, from unlike wheels.",)
