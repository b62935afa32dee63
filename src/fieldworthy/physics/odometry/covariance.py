"""How far the pose is off along a path, source by source, and what looking at a wall corrects.

Each measurement is linear in a small pose error: a row (position, heading) and a standard deviation. The
position part is a complex number h, read as Re(conj(h) z) for a position error z = x + i y.

How sure the tracked pose is: error propagation in closed form along a path, split by source.

The error is estimate minus truth, to first order in every imperfection. A robot that steers by its estimate
is off by as much the other way, so the spread is the same and the bias changes sign. The equations are those
of Kelly (2004), integrated exactly over each motion of constant curvature.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.odometry._errors import (
    SOURCES,
    Complex,
    Moments,
    Variances,
    add,
    carry,
    course,
    lasting,
    missed_travel,
    outer,
    readings,
    white,
)
from fieldworthy.physics.odometry.odometry import Path, Tracking


@dataclass(frozen=True, slots=True)
class Row:
    """One measured number as a function of a small pose error.

    Parameters
    ----------
    position : Change of the number per error of position [-], x plus i times y
    heading : Change of the number per error of heading [m/rad, or - for a measured angle]
    sd : Standard deviation of the measurement [m, or rad for a measured angle]

    Raises
    ------
    ValueError : If the standard deviation is not positive
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
    waypoint : Which waypoint of the path [-], counted from 0
    rows : The measurements, independent of one another
    taken : Whether the pose is set to what is measured, or the two are fused with the gain that is best
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
    waypoint : Which waypoint of the path [-], counted from 0
    normal : Direction of the wall's normal in the field [rad]
    sd : Standard deviation of the distance to the wall: bumper, wall's own place [m]
    heading_sd : Standard deviation of the heading after squaring up [rad]; None when one point alone touches
    taken : Whether the pose is set to the wall's, or fused with it

    Returns
    -------
    Fixes the coordinate along the normal and, with `heading_sd`, the heading [-].

    Raises
    ------
    ValueError : If a standard deviation is not positive
    """
    rows = [Row(np.exp(1j * np.asarray(normal, dtype=np.float64)), 0.0, sd)]
    if heading_sd is not None:
        rows.append(Row(np.zeros((), dtype=np.complex128), 1.0, heading_sd))
    return Relocation(waypoint, tuple(rows), taken)


def seen(row: Row, z: Complex, t: Array) -> Array:
    """Change of a measured number for given pose errors.

    Parameters
    ----------
    row : The measurement
    z : Position error [m]
    t : Heading error [rad]

    Returns
    -------
    The change [m or rad].
    """
    return np.asarray((np.conj(row.position) * z).real + row.heading * t)


def gain(row: Row, total: Moments) -> tuple[Complex, Array]:
    """Kalman gain of one measurement.

    Parameters
    ----------
    row : The measurement
    total : Second moments of the pose error before it [m2, m2, m rad, rad2]

    Returns
    -------
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
    row : The measurement

    Returns
    -------
    Correction of position [-] and of heading [1/m or -] per unit of what was not expected. A reading of a place moves
    the position along it; one of the heading alone turns the robot where it is.

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
    row : The measurement
    by : The gain, from the moments of all sources together [-]
    old : The source's moments before [m2, m2, m rad, rad2]

    Returns
    -------
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


__all__ = ["SOURCES", "Budget", "Ellipse", "Placement", "budget", "ellipse", "matrices"]


@dataclass(frozen=True, slots=True)
class Budget:
    """Spread of the tracked pose at each waypoint, source by source.

    Parameters
    ----------
    sources : Sources that have a part, out of `SOURCES`
    parts : Variances and covariances xx, xy, yy [m2], xt, yt [m rad], tt [rad2] of x, y and heading t, of shape
        (sources, waypoints, 6) or (sources, waypoints, 6, cases)
    mean : Expected error, from travel that is missed while wheels are off the floor: x, y [m] and heading [rad], of
        shape (waypoints, 3) or (waypoints, 3, cases)
    """

    sources: tuple[str, ...]
    parts: Array
    mean: Array

    @property
    def total(self) -> Array:
        """Sum over the sources, shape (waypoints, 6) or (waypoints, 6, cases) [m2, m rad, rad2]."""
        return np.asarray(self.parts.sum(axis=0))

    def matrix(self) -> Array:
        """Covariance matrices of x, y and heading.

        Returns
        -------
        Shape (waypoints, 3, 3) or (waypoints, 3, 3, cases) [m2, m rad, rad2].
        """
        return matrices(self.total)

    def position_variance(self) -> Array:
        """Variance of the position, both directions together, by source.

        Returns
        -------
        Shape (sources, waypoints) or (sources, waypoints, cases) [m2].
        """
        return np.asarray(self.parts[:, :, 0] + self.parts[:, :, 2])

    def dominating(self, what: str = "position") -> Array:
        """Which source has the largest part.

        Parameters
        ----------
        what : "position" or "heading"

        Returns
        -------
        Place in `sources`, shape (waypoints,) or (waypoints, cases) [-].

        Raises
        ------
        ValueError : If `what` is neither, or nothing is uncertain
        """
        if what not in ("position", "heading"):
            msg = f"what must be 'position' or 'heading', got {what!r}"
            raise ValueError(msg)
        if not self.sources:
            msg = "sources must hold one at least: nothing in this set-up is uncertain"
            raise ValueError(msg)
        parts = self.position_variance() if what == "position" else self.parts[:, :, 5]
        return np.asarray(parts.argmax(axis=0))


@dataclass(frozen=True, slots=True)
class Placement:
    """How exactly the robot is put down at the start.

    Parameters
    ----------
    x_sd, y_sd, heading_sd : Standard deviations of place [m, m] and heading [rad], independent of one another

    Raises
    ------
    ValueError : If one is negative
    """

    x_sd: Real = 0.0
    y_sd: Real = 0.0
    heading_sd: Real = 0.0

    def __post_init__(self) -> None:
        require.not_negative(x_sd=self.x_sd, y_sd=self.y_sd, heading_sd=self.heading_sd)


def budget(setup: Tracking, path: Path, placement: Placement | None = None, fixes: Iterable[Relocation] = ()) -> Budget:
    """Spread of the tracked pose at the waypoints of a path, split by source.

    Parameters
    ----------
    setup : The tracking set-up
    path : The path as planned
    placement : How exactly the robot starts; None for exactly
    fixes : Relocations at waypoints. The budget at that waypoint is the one after it.

    Returns
    -------
    Covariance by source and expected error at each waypoint [m, rad].

    Raises
    ------
    ValueError : If the set-up cannot see heading or motion ahead, or the path goes sideways and no wheel sees it, or a
        relocation names no waypoint of the path

    Notes
    -----
    Diameters, offsets, toe, slip, gyro scale and drift, and the phase of a runout, are drawn once and stay for the
    run: their errors add up in amplitude. Wobble, lift-off, unseen drift and gyro noise are white: their variances
    add up. Lift-off is a Poisson process. A counter that is zeroed between two counts errs by a fixed q/sqrt(12) from
    then on, and by another at each reading; readings are taken as independent, true where travel varies by more than
    a count from run to run, and pose is updated at every count or two. A relocation that is taken sets the pose to
    what is measured; one that is fused uses the gain that is best for the pose, as a Kalman filter does that knows
    these parts. Either way the wheels' own errors are not learnt, and go on acting after it.

    First order: spreads agree with simulated odometry to 1 percent while heading errors stay below 0.1 rad and to
    3 percent up to 0.25 rad; after a relocation, which leaves only small differences, from a tenth of that.

    References
    ----------
    kelly2004: linear error dynamics of odometry and their solution.
    widrow: rounding as a uniform error.
    """
    if not setup.parallel("sideways") and np.any(path.left):
        msg = "left must be zero along the path: no wheel of this set-up sees sideways motion"
        raise ValueError(msg)
    fixed = _by_waypoint(fixes, len(path.marks))
    state = _State(setup, path, placement or Placement())
    reports = [state.report(waypoint, fixed.get(waypoint, [])) for waypoint in range(len(path.marks))]
    found = _collect(reports)
    return found if _has_cases(setup, path, placement, fixed) else _first_case(found)


_Parts = dict[str, Array]
"""Six real moments by source, shape (6, cases)."""


_Fix = tuple[Row, bool]
"""A measurement, and whether the pose is set to it."""


def _by_waypoint(fixes: Iterable[Relocation], waypoints: int) -> dict[int, list[_Fix]]:
    """Sort measurements by the waypoint at which they are made."""
    at: dict[int, list[_Fix]] = {}
    for fix in fixes:
        if not 0 <= fix.waypoint < waypoints:
            msg = f"waypoint of a relocation must be 0 to {waypoints - 1}, got {fix.waypoint}"
            raise ValueError(msg)
        at.setdefault(fix.waypoint, []).extend((row, fix.taken) for row in fix.rows)
    return at


def _has_cases(setup: Tracking, path: Path, placement: Placement | None, fixed: dict[int, list[_Fix]]) -> bool:
    """Whether any number of the problem is an array over cases."""
    rows = [row for rows in fixed.values() for row, _ in rows]
    parts = [*setup.wheels, *rows, *(part for part in (setup.gyro, placement) if part is not None)]
    numbers = [getattr(part, field.name) for part in parts for field in fields(part)]
    return path.turn.ndim > 1 or any(np.ndim(number) for number in (*numbers, *path.start, setup.unseen))


def _collect(reports: list[tuple[_Parts, Array]]) -> Budget:
    """Lay the reports of all waypoints into arrays."""
    used = [name for name in SOURCES if any(name in parts for parts, _ in reports)]
    shapes = [part.shape[1:] for parts, _ in reports for part in parts.values()]
    cases = np.broadcast_shapes((1,), *shapes, *(mean.shape[1:] for _, mean in reports))
    out, means = np.zeros((len(used), len(reports), 6, *cases)), np.empty((len(reports), 3, *cases))
    for waypoint, (parts, mean) in enumerate(reports):
        means[waypoint] = mean
        for row, name in enumerate(used):
            if name in parts:
                out[row, waypoint] = parts[name]
    return Budget(tuple(used), out, means)


def _first_case(found: Budget) -> Budget:
    """Drop the axis of cases where there is only one."""
    return Budget(found.sources, found.parts[..., 0], found.mean[..., 0])


def _reals(moments: Moments) -> Array:
    """Second moments as xx, xy, yy, xt, yt, tt, on a new first axis."""
    xx, yy = 0.5 * (moments.size + moments.square.real), 0.5 * (moments.size - moments.square.real)
    xt, yt = moments.cross.real, moments.cross.imag
    return np.stack(np.broadcast_arrays(xx, 0.5 * moments.square.imag, yy, xt, yt, moments.heading))


def _moments(six: Array) -> Moments:
    """Second moments from xx, xy, yy, xt, yt, tt."""
    return Moments(six[0] + six[2], six[0] - six[2] + 2j * six[1], six[3] + 1j * six[4], six[5])


class _Errors(NamedTuple):
    """Lasting errors at one waypoint, in the field: directions per unit, and variances by source."""

    variances: list[Variances]
    z: Complex
    t: Array


class _State:
    """The error of pose at one waypoint after the other.

    `z` and `t` are the directions of the lasting errors, `mean` that of the expected one, `fresh` the
    moments of the white ones per unit variance since the last relocation, `mixed` what was white before it,
    by source. All are seen from the start (see `_errorsources`).
    """

    def __init__(self, setup: Tracking, path: Path, placement: Placement) -> None:
        on = course(path)
        read = readings(setup, on)
        self.place, self.facing = on.way[on.stops], on.facing[on.stops]
        self.lasting = lasting(setup, on, read, (placement.x_sd, placement.y_sd, placement.heading_sd))
        self.white = white(setup, on, read)
        self.missed = missed_travel(setup, on, read)
        counts = [(wheel.count_length, one) for wheel, one in zip(setup.wheels, read, strict=False)]
        self.counts = [(length**2 / 12.0, one) for length, one in counts if np.any(length)]
        self.z, self.t = np.zeros(self.lasting.z[:, 0].shape, dtype=np.complex128), np.zeros(())
        self.mean: tuple[Complex, Array] = (np.zeros(1, dtype=np.complex128), np.zeros(1))
        self.fresh: list[Moments] = []
        self.mixed: dict[str, Moments] = {}

    def report(self, waypoint: int, rows: list[_Fix]) -> tuple[_Parts, Array]:
        """Move on to a waypoint, correct the pose there, and tell the moments by source and the mean."""
        self.z, self.t = self.z + self.lasting.z[:, waypoint], self.t + self.lasting.t[:, waypoint]
        self.mean = (self.mean[0] + self.missed[0][waypoint], self.mean[1] + self.missed[1][waypoint])
        steps = [Moments(*(part[waypoint] for part in each)) for each in self.white.steps]
        self.fresh = [add(a, b) for a, b in zip(self.fresh, steps, strict=True)] if self.fresh else steps
        p = self.place[waypoint]
        held = _Errors(self.lasting.variances, self.z + 1j * p * self.t, self.t)
        counted = self._counted(waypoint)
        mean = (self.mean[0] + 1j * p * self.mean[1], self.mean[1])
        loose = self._loose(p)
        if rows:
            held, counted, mean, loose = _relocate(rows, (held, counted), mean, loose)
            self._keep(p, held, mean, loose, self._left(waypoint, counted))
        parts = _by_source((held, counted), loose)
        return parts, np.stack(np.broadcast_arrays(mean[0].real, mean[0].imag, mean[1]))

    def _counted(self, waypoint: int) -> _Errors:
        """Errors of the reading taken at this waypoint: each counter's place between two counts."""
        facing = self.facing[waypoint]
        z = [facing * one.along for _, one in self.counts]
        t = [np.asarray(one.turn + 0.0 * facing.real) for _, one in self.counts]
        return _Errors([{"resolution": variance} for variance, _ in self.counts], _stack(z), _stack(t).real)

    def _loose(self, p: Complex) -> dict[str, Moments]:
        """Moments of the white errors by source, in the field."""
        found = {name: carry(moments, p) for name, moments in self.mixed.items()}
        for variances, unit in zip(self.white.variances, self.fresh, strict=True):
            here = carry(unit, p)
            for name, variance in variances.items():
                if np.any(variance):
                    more = Moments(*(variance * part for part in here))
                    found[name] = add(found[name], more) if name in found else more
        return found

    def _left(self, waypoint: int, counted: _Errors) -> dict[str, Moments]:
        """What a relocation leaves behind of the counters' reading errors, which is not read again."""
        was = self._counted(waypoint)
        left: dict[str, Moments] = {}
        for i, variances in enumerate(counted.variances):
            more = outer(counted.z[i] - was.z[i], counted.t[i] - was.t[i], variances["resolution"])
            left["resolution"] = add(left["resolution"], more) if left else more
        return left

    def _keep(
        self,
        p: Complex,
        held: _Errors,
        mean: tuple[Complex, Array],
        loose: dict[str, Moments],
        left: dict[str, Moments],
    ) -> None:
        """Take the corrected errors as those to carry on."""
        self.z, self.t = held.z - 1j * p * held.t, held.t
        self.mean = (mean[0] - 1j * p * mean[1], mean[1])
        for name, moments in left.items():
            loose = {**loose, name: add(loose[name], moments) if name in loose else moments}
        self.mixed = {name: carry(moments, -p) for name, moments in loose.items()}
        self.fresh = [Moments(*(0.0 * part for part in unit)) for unit in self.fresh]


def _stack(rows: list[Array]) -> Complex:
    """Rows of one shape on a new first axis, also where there is none."""
    if not rows:
        return np.zeros((0, 1), dtype=np.complex128)
    return np.stack(np.broadcast_arrays(*rows)).astype(np.complex128)


def _by_source(errors: tuple[_Errors, ...], loose: dict[str, Moments]) -> _Parts:
    """Six real moments by source, out of lasting and white errors."""
    parts: _Parts = {name: _reals(moments) for name, moments in loose.items()}
    for each in errors:
        six = _reals(outer(each.z, each.t, 1.0))
        for i, variances in enumerate(each.variances):
            for name, variance in variances.items():
                if np.any(variance):
                    more = variance * six[:, i]
                    parts[name] = parts[name] + more if name in parts else more
    return parts


def _relocate(
    rows: list[_Fix], errors: tuple[_Errors, _Errors], mean: tuple[Complex, Array], loose: dict[str, Moments]
) -> tuple[_Errors, _Errors, tuple[Complex, Array], dict[str, Moments]]:
    """Correct the pose by each measurement in turn, and all its errors with it."""
    for row, taken in rows:
        total = _moments(np.asarray(sum(_by_source(errors, loose).values()) + np.zeros((6, 1))))
        by = whole_gain(row) if taken else gain(row, total)
        held, counted = (_corrected(row, by, each) for each in errors)
        errors = (held, counted)
        off = seen(row, mean[0], mean[1])
        mean = (mean[0] - by[0] * off, mean[1] - by[1] * off)
        loose = {name: corrected(row, by, moments) for name, moments in loose.items()}
        noise = outer(by[0], by[1], np.square(row.sd))
        loose["relocation"] = add(loose["relocation"], noise) if "relocation" in loose else noise
    return (*errors, mean, loose)


def _corrected(row: Row, by: tuple[Complex, Array], old: _Errors) -> _Errors:
    """Directions of lasting errors after a correction."""
    off = seen(row, old.z, old.t)
    return _Errors(old.variances, old.z - by[0] * off, old.t - by[1] * off)


def matrices(six: Array) -> Array:
    """Covariance matrices from their six different numbers.

    Parameters
    ----------
    six : xx, xy, yy [m2], xt, yt [m rad], tt [rad2], on the second axis; waypoints on the first

    Returns
    -------
    Shape (waypoints, 3, 3) or (waypoints, 3, 3, cases) [m2, m rad, rad2].
    """
    places = np.array([[0, 1, 3], [1, 2, 4], [3, 4, 5]])
    return np.asarray(six[:, places])


class Ellipse(NamedTuple):
    """Region in which the position lies with a given chance.

    Parameters
    ----------
    major, minor : Semi-axes [m]
    angle : Direction of the major axis from x [rad], -pi/2 to pi/2
    """

    major: Array
    minor: Array
    angle: Array


def ellipse(six: Array, confidence: Real = 0.95) -> Ellipse:
    """Error ellipse of the position.

    For a normal distribution in the plane the squared radius is chi-square with 2 degrees of freedom, whose
    quantile is -2 ln(1 - confidence): 5.991 at 95 percent.

    Parameters
    ----------
    six : xx, xy, yy and what follows [m2], on the second axis; waypoints on the first
    confidence : Chance that the position lies inside [-]

    Returns
    -------
    Semi-axes [m] and angle [rad], shape (waypoints,) or (waypoints, cases).

    Raises
    ------
    ValueError : If the confidence is not between 0 and 1
    """
    inside = np.asarray(confidence, dtype=np.float64)
    if not np.all((inside > 0.0) & (inside < 1.0)):
        msg = f"confidence must lie between 0 and 1, got {confidence!r}"
        raise ValueError(msg)
    xx, xy, yy = six[:, 0], six[:, 1], six[:, 2]
    half, lean = 0.5 * (xx + yy), np.hypot(0.5 * (xx - yy), xy)
    scale = -2.0 * np.log1p(-inside)
    minor = np.maximum(half - lean, 0.0)
    return Ellipse(
        np.sqrt(scale * (half + lean)), np.sqrt(scale * minor), np.asarray(0.5 * np.arctan2(2.0 * xy, xx - yy))
    )
