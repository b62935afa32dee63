"""Straight-line motion of a drive: speed against time, top speed, and moves from rest to rest.

A run-up from rest against speed, in closed form, under a force that is the least of three curves.

The force is ``min(F_held, P / v, F0 - k v)`` less a constant resistance. In order of speed its pieces are the
constant, the line where it lies below the hyperbola, the hyperbola, and the line again; any may be empty.

With the battery's sag solved, a drive's force at full command is the least of three curves: a constant (current
limit or grip), a hyperbola (power cap) and a straight line (the motors behind their winding and the battery's
resistance). On each piece time and distance integrate in closed form, so no step size enters.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import above, at_least, positive
from fieldworthy.physics.motors.motor import Battery, Controller, GearStage, MotorLine, limit_torque

_NEAR_TOP = 18.0
"""Where a run-up is called done: at exp(-18) = 1.5e-8 below top speed [-]."""

_ITERATIONS = 60
"""Most steps for the peak speed: Newton settles in a few, and where it is thrown out the bracket halves to rounding."""

_NEXT_IS_LAST = 1e-8
"""Newton squares an error: a step from this one, as a share of the distance, leaves about 1e-14 [-]."""


def _moments(y: Array) -> tuple[Array, Array]:
    """Return ``sum y**j/(j+2)`` and ``sum y**j/(j+3)``, for y from 0 to below 1, safe near zero."""
    small = y < 0.01
    s = np.where(small, y, 0.0)
    series2 = 1 / 2 + s * (1 / 3 + s * (1 / 4 + s * (1 / 5 + s * (1 / 6 + s / 7))))
    series3 = 1 / 3 + s * (1 / 4 + s * (1 / 5 + s * (1 / 6 + s * (1 / 7 + s / 8))))
    z = np.where(small, 0.5, y)
    two = (-np.log1p(-z) - z) / (z * z)
    return np.where(small, series2, two), np.where(small, series3, (two - 0.5) / z)


class SpeedCurve:
    """The run-up of a mass from rest, piece by piece.

    On the line ``t = T ln((w - u0) / (w - u))`` and ``x = w t - T (u - u0)`` with ``T = m / k`` and
    ``w = (F0 - Fr) / k``; on the hyperbola ``t = (m / P) u ** 2 sum (q u) ** j / (j + 2)`` between its ends,
    and ``x`` likewise with ``u ** 3`` and ``j + 3``, with ``q = Fr / P``; both sums are logarithms.

    Parameters
    ----------
    mass, stall_force, slope : Effective mass [kg]; the line's force at standstill [N]; the line's loss of force per
        speed, positive [N s/m]
    held_force : Constant bound of the force; infinite: none [N]
    power : Bound of the power; infinite: none [W]
    resistance : Constant resistance [N]

    References
    ----------
    gillespie: chapter 2, power-limited acceleration.
    """

    def __init__(
        self, mass: Real, stall_force: Real, slope: Real, held_force: Real, power: Real, resistance: Real
    ) -> None:
        F0, k, Fr = (np.asarray(v, dtype=float) for v in (stall_force, slope, resistance))
        held = np.minimum(held_force, F0)
        self.starts = (held > Fr) & np.greater(power, 0.0)
        # a case that does not start is carried along with harmless numbers and masked in the answers
        F0 = np.where(self.starts, F0, 2.0 * np.abs(Fr) + 1.0)
        self._held = np.where(self.starts, held, 2.0 * np.abs(Fr) + 1.0)
        self._power = np.where(self.starts, power, np.inf)
        self._line, self._slope, self._resistance = F0, k, Fr
        self._mass = np.asarray(mass, dtype=float)
        self._lag = self._mass / k
        self._line_top = (F0 - Fr) / k
        # without a resistance the hyperbola never ends; 1e300 keeps its end finite
        power_top = np.minimum(self._power, 1e200) / np.maximum(Fr, 1e-100)
        self._top = np.minimum(self._line_top, power_top)
        self.top_speed = np.where(self.starts, self._top, 0.0)
        self._most = self._top * -np.expm1(-_NEAR_TOP)
        self._edges()

    def _edges(self) -> None:
        F0, k, P = self._line, self._slope, self._power
        root = np.sqrt(np.maximum(F0 * F0 - 4.0 * k * P, 0.0))
        first = np.minimum((F0 - self._held) / k, P / self._held)
        self._b1 = np.minimum(np.maximum(first, 0.0), self._most)
        # 2 P / (F0 + root) is the smaller root without cancellation
        low = np.where(root > 0.0, 2.0 * np.minimum(P, 1e200) / (F0 + root), 0.5 * F0 / k)
        self._b2 = np.minimum(np.maximum(low, self._b1), self._most)
        self._b3 = np.minimum(np.maximum((F0 + root) / (2.0 * k), self._b1), self._most)
        self._capped = bool(np.any(self._b3 > self._b2))
        self._q = self._resistance / self._power
        self._flat = (self._held - self._resistance) / self._mass
        self._t2, self._x3 = self._on_hyperbola(self._b2)

    def _on_hyperbola(self, u: Array) -> tuple[Array, Array]:
        two, three = _moments(self._q * u)
        square = self._mass / self._power * u * u
        return square * two, square * u * three

    def run_up(self, speed: Array) -> tuple[Array, Array]:
        """Return time and distance from rest to a speed.

        Parameters
        ----------
        speed : Speed below top speed [m/s]

        Returns
        -------
        tuple of Array
            Time [s] and distance [m].
        """
        v = np.minimum(speed, self._most)
        w, b1, b2, b3 = self._line_top, self._b1, self._b2, self._b3
        flat = np.minimum(v, b1)
        time = flat / self._flat
        way = 0.5 * flat * time
        below = np.minimum(np.maximum(v, b1), b2)
        above = np.maximum(v, b3)
        log = np.log((w - b1) / (w - below) * ((w - b3) / (w - above)))
        way = way + self._lag * (w * log - (below - b1) - (above - b3))
        time = time + self._lag * log
        if self._capped:
            two, three = self._on_hyperbola(np.minimum(np.maximum(v, b2), b3))
            time = time + (two - self._t2)
            way = way + (three - self._x3)
        return time, way

    @property
    def corners(self) -> tuple[Array, Array, Array]:
        """Speeds at which one piece gives way to the next, in order [m/s]."""
        return self._b1, self._b2, self._b3

    def force(self, speed: Array) -> Array:
        """Return the force that drives the run-up at a speed.

        Parameters
        ----------
        speed : Speed from rest to top speed [m/s]

        Returns
        -------
        Force at the rims [N], 0 for a case that does not start.
        """
        return np.where(self.starts, self._acceleration(speed) * self._mass + self._resistance, 0.0)

    def after(self, time: Real) -> tuple[Array, Array]:
        """Return speed and distance at times after the start.

        Newton's steps in ``s = -ln(1 - v / top)``, as for the peak speed; what is left of the time once top speed is
        all but reached is cruised.

        Parameters
        ----------
        time : Time since the start; until then it stands. Several of them on a leading axis [s].

        Returns
        -------
        tuple of Array
            Speed [m/s] and distance [m]; both 0 for a case that does not start.
        """
        top, t = self._top, np.maximum(time, 0.0) + 0.0 * self._top
        longest = self.run_up(self._most)[0]
        s = np.minimum(t * self._flat / top, 1.0)
        low, high = np.zeros_like(s), np.full_like(s, _NEAR_TOP)
        done = np.zeros(np.shape(s), dtype=np.bool_)
        for _ in range(_ITERATIONS):
            v = top * -np.expm1(-s)
            error = self.run_up(v)[0] - t
            short = error < 0.0
            low, high = np.where(short, s, low), np.where(short, high, s)
            trial = np.minimum(s - error * self._acceleration(v) / (top - v), _NEAR_TOP)
            inside = (trial >= low) & (trial <= high)
            settled = (inside & (np.abs(error) <= _NEXT_IS_LAST * t)) | (short & (s >= _NEAR_TOP)) | ~self.starts
            s = np.where(done, s, np.where(inside, trial, 0.5 * (low + high)))
            # a settled case stands still, so that it does not depend on its neighbours in a batch
            done = done | settled
            if done.all():
                break
        v = top * -np.expm1(-s)
        way = self.run_up(v)[1] + np.maximum(t - longest, 0.0) * top
        moves = self.starts & (t > 0.0)
        return np.where(moves, v, 0.0), np.where(moves, way, 0.0)

    def nodes(self, low: Array, high: Array, shares: Array) -> tuple[Array, Array]:
        """Return speeds between two, and the time per unit of share there, for a quadrature over a piece.

        The shares are even in ``ln((v + c) / (top - v))``: times stay alike up to top speed, and with
        ``c = 0`` a piece that starts well below its end gets as many places at each order of magnitude.

        Parameters
        ----------
        low, high : Lower speed [m/s]; upper speed, below top speed [m/s]
        shares : Places from 0 to 1, on a leading axis of their own [-]

        Returns
        -------
        tuple of Array
            Speeds [m/s], and times [s] of which the weighted sum is the time from low to high.
        """
        top, last = self._top, np.minimum(high, self._most)
        c = np.where(low > 1e-3 * last, 0.0, top)
        start = np.log((low + c) / (top - np.minimum(low, self._most)))
        wide = np.log((last + c) / (top - last)) - start
        e = np.exp(start + shares * wide)
        v = np.maximum((top * e - c) / (1.0 + e), 0.0)
        return v, (v + c) * (top - v) / (top + c) / self._acceleration(v) * wide

    def _acceleration(self, v: Array) -> Array:
        force = np.minimum(self._held, self._line - self._slope * v)
        if self._capped:
            force = np.minimum(force, self._power / np.maximum(v, 1e-9))
        return np.asarray((force - self._resistance) / self._mass)

    def peak_speed(self, distance: Real, deceleration: Real) -> tuple[Array, Array]:
        """Return the speed at which braking must start, and how far it cruises before.

        The unknown is ``s = -ln(1 - v / top)``: distance grows like s ** 2 at first and like s in the end, so
        Newton's steps are good everywhere; a bracket catches the rest.

        Parameters
        ----------
        distance : Distance from rest to rest [m]
        deceleration : Constant deceleration of the stop; infinite where it need not stop [m/s2]

        Returns
        -------
        tuple of Array
            Speed [m/s], and the distance left over at top speed [m]; both 0 for a case that does not start.
        """
        D = np.asarray(distance, dtype=float)
        half_stop = 0.5 / np.asarray(deceleration, dtype=float)
        top = self._top
        s = self._first_guess(D, half_stop)
        low, high = np.zeros_like(s), np.full_like(s, _NEAR_TOP)
        done = np.zeros(np.shape(s), dtype=np.bool_)
        for _ in range(_ITERATIONS):
            v = top * -np.expm1(-s)
            error = self.run_up(v)[1] + half_stop * v * v - D
            # at rest the slope is zero, and so is the distance to go
            pull = self._acceleration(v)
            gains = pull > 0.0  # a hair below top speed rounding leaves nothing: then the bracket is halved
            slope = v * (1.0 / np.where(gains, pull, 1.0) + 2.0 * half_stop) * (top - v)
            step = error / np.maximum(slope, 1e-100)
            short = error < 0.0
            low, high = np.where(short, s, low), np.where(short, high, s)
            trial = np.minimum(s - step, _NEAR_TOP)
            inside = gains & (trial >= low) & (trial <= high)
            settled = inside & (np.abs(error) <= _NEXT_IS_LAST * D) | short & (s >= _NEAR_TOP) | ~self.starts
            s = np.where(done, s, np.where(inside, trial, 0.5 * (low + high)))
            # a settled case stands still, so that it does not depend on its neighbours in a batch
            done = done | settled
            if done.all():
                break
        v = np.where(self.starts & (D > 0.0), top * -np.expm1(-s), 0.0)
        # what Newton leaves over is not a cruise
        cruises = self.starts & (s >= _NEAR_TOP * (1.0 - 1e-6))
        if not cruises.any():
            return v, np.zeros_like(v)
        return v, np.where(cruises, np.maximum(D - self.run_up(v)[1] - half_stop * v * v, 0.0), 0.0)

    def _first_guess(self, D: Array, half_stop: Array) -> Array:
        # A s**2 / 2 near rest, B s in the end
        A = self._top * self._top * (1.0 / self._flat + 2.0 * half_stop)
        B = self._lag * self._top
        mean = D * A / (2.0 * B)
        s = (mean + np.sqrt(mean * mean + 2.0 * A * D)) / A
        return np.asarray(np.minimum(s, _NEAR_TOP))


NO_BRAKING = np.inf
"""Deceleration for a run that need not stop [m/s2]."""


@dataclass(frozen=True, slots=True)
class DriveLine:
    """A drive's force at the wheels' rims against speed, at full command.

    Parameters
    ----------
    stall_force, slope : Where the line meets standstill, sag included, bounds left out [N]; loss of force per speed [N
        s/m]
    force_limit, power_limit, brake_force : Bound by the current limit [N]; bound of the power at the rims [W]; force
        with which the motors can brake [N]
    """

    stall_force: Real
    slope: Real
    force_limit: Real = np.inf
    power_limit: Real = np.inf
    brake_force: Real = np.inf

    def __post_init__(self) -> None:
        positive(slope=self.slope)


@dataclass(frozen=True, slots=True)
class Load:
    """What a drive has to move, and how it may be moved.

    Parameters
    ----------
    mass, rotating_mass : Mass of the robot [kg]; inertia of wheels, gears and rotors at the rim, J / r ** 2 [kg]
    resistance, grip_acceleration : Rolling resistance and bearing friction at the rim [N]; most that grip allows [m/s2]
    deceleration : Deceleration of the stop [m/s2]; infinite where the run need not stop
    """

    mass: Real
    rotating_mass: Real = 0.0
    resistance: Real = 0.0
    grip_acceleration: Real = np.inf
    deceleration: Real = NO_BRAKING

    def __post_init__(self) -> None:
        positive(mass=self.mass)
        for name in ("rotating_mass", "resistance"):
            if not at_least(0.0, getattr(self, name)):
                raise ValueError(f"{name} must be zero or more, got {getattr(self, name)!r}")
        if not above(0.0, self.deceleration):
            raise ValueError(f"deceleration must be positive, got {self.deceleration!r}")


@dataclass(frozen=True, slots=True)
class Wheels:
    """The gearing and the wheels behind it.

    Parameters
    ----------
    train : Gearing from motor to wheel [-]
    radius : Rolling radius [m]
    """

    train: GearStage
    radius: Real

    def __post_init__(self) -> None:
        positive(radius=self.radius)


@dataclass(frozen=True, slots=True)
class Powertrain:
    """Equal motors on one battery, geared to the wheels.

    Parameters
    ----------
    line : Each motor [-]
    controller : Its bounds [-]
    battery : The shared battery [-]
    motors : Number of motors [-]
    wheels : Gearing and wheel [-]
    """

    line: MotorLine
    controller: Controller
    battery: Battery
    motors: Real
    wheels: Wheels

    def __post_init__(self) -> None:
        positive(motors=self.motors)


def drive_line(powertrain: Powertrain) -> DriveLine:
    """Return the force-speed curve of a powertrain at the wheels' rims.

    Where no bound holds, n motors see ``I = (V0 - Ke w) / (R + n Rb)``. Where one holds, the force does not
    depend on the voltage, since the controller chops down from whatever the battery gives. Braking takes at
    most the torque of driving at standstill, and the gears' losses help it.

    Parameters
    ----------
    powertrain : Battery to wheels [-]

    Returns
    -------
    The curve [-].

    References
    ----------
    hughes: ch. 3; Kirchhoff's voltage law.
    """
    line, controller, battery = powertrain.line, powertrain.controller, powertrain.battery
    motors, train = powertrain.motors, powertrain.wheels.train
    Kt, Ke = line.torque_constant, line.voltage_constant
    G, eta = train.ratio / powertrain.wheels.radius, train.efficiency
    loop = line.resistance + motors * battery.resistance
    pull = motors * eta * G
    limited = Kt * np.maximum(controller.current_limit - line.free_current, 0.0)
    return DriveLine(
        stall_force=pull * Kt * (battery.open_voltage / loop - line.free_current),
        slope=pull * G * Kt * Ke / loop,
        force_limit=pull * limited,
        power_limit=motors * eta * controller.power_cap,
        brake_force=motors * G / eta * limit_torque(line, controller),
    )


def drive_force(speed: Real, stall_force: Real, slope: Real, force_limit: Real, power_limit: Real) -> Real:
    """Return a drive's force at a speed; plain arithmetic that also compiles on scalars.

    Parameters
    ----------
    speed, stall_force, slope : Speed, not negative [m/s]; force where the line meets standstill [N]; loss of force per
        speed [N s/m]
    force_limit, power_limit : Bound by the current limit [N]; bound of the power at the rims [W]

    Returns
    -------
    Force [N]; negative above the free speed.
    """
    at_cap = power_limit / np.maximum(speed, 1e-9)
    return np.minimum(np.minimum(stall_force - slope * speed, force_limit), at_cap)


def acceleration(force: Real, resistance: Real, mass: Real, rotating_mass: Real, grip_acceleration: Real) -> Real:
    """Return the acceleration under a drive force; plain arithmetic that also compiles on scalars.

    Parameters
    ----------
    force, resistance, mass : Drive force at the rims [N]; rolling resistance and bearing friction [N]; mass of the
        robot [kg]
    rotating_mass, grip_acceleration : Inertia of what rotates, at the rim [kg]; most that grip allows [m/s2]

    Returns
    -------
    Acceleration [m/s2].

    References
    ----------
    gillespie: chapter 2, effective mass of rotating parts.
    """
    return np.minimum((force - resistance) / (mass + rotating_mass), grip_acceleration)


def brake_deceleration(drive: DriveLine, load: Load, grip_limit: Real, use: Real = 1.0) -> Array:
    """Return the deceleration of a stop with the motors, within what the floor allows.

    Parameters
    ----------
    drive : The drive [-]
    load : What it moves; its own deceleration is not read [-]
    grip_limit, use : Least of the decelerations of slip and of tipping [m/s2]; share of the braking that drivers use
        [-]

    Returns
    -------
    Deceleration [m/s2].
    """
    by_motors = (drive.brake_force + load.resistance) / (load.mass + load.rotating_mass)
    return np.asarray(use * np.minimum(by_motors, grip_limit))


def speed_curve(drive: DriveLine, load: Load) -> SpeedCurve:
    """Return the speed curve of a drive under a load, for several questions about it.

    Parameters
    ----------
    drive : The drive [-]
    load : What it moves [-]

    Returns
    -------
    Pieces of the run-up in closed form [-].
    """
    mass = load.mass + load.rotating_mass
    held = np.minimum(drive.force_limit, load.grip_acceleration * mass + load.resistance)
    return SpeedCurve(mass, drive.stall_force, drive.slope, held, drive.power_limit, load.resistance)


def top_speed(drive: DriveLine, load: Load) -> Array:
    """Return the speed at which the drive just overcomes the resistance.

    Parameters
    ----------
    drive : The drive [-]
    load : What it moves [-]

    Returns
    -------
    Speed [m/s], 0 where it does not start.
    """
    return speed_curve(drive, load).top_speed


@dataclass(frozen=True, slots=True)
class Move:
    """A straight move from rest.

    Parameters
    ----------
    time, peak_speed, run_up_time : Whole time [s]; speed at which braking starts [m/s]; time up to peak speed [s]
    run_up_distance : Distance up to peak speed [m]
    """

    time: Array
    peak_speed: Array
    run_up_time: Array
    run_up_distance: Array


def move(drive: DriveLine, load: Load, distance: Real) -> Move:
    """Return the quickest move over a distance, from rest to rest unless the load need not stop.

    Full command up to the peak speed, then constant deceleration: the quickest way when the two bounds are
    these. The peak speed solves ``x_up(v) + v ** 2 / (2 d) = distance`` (safeguarded Newton, residual
    under 1e-9 of the distance).

    Parameters
    ----------
    drive : The drive [-]
    load : What it moves, and how hard it brakes [-]
    distance : Distance; several of them on a leading axis [m]

    Returns
    -------
    Time and peak speed [-]; a robot that does not start takes infinite time, over no distance none.

    Raises
    ------
    ValueError : If a distance is negative or not finite

    References
    ----------
    gillespie: chapter 2, acceleration performance.
    """
    if not np.all((np.asarray(distance) >= 0.0) & np.isfinite(distance)):
        raise ValueError(f"distance must be zero or more and finite, got {distance!r}")
    curve = speed_curve(drive, load)
    peak, cruise = curve.peak_speed(distance, load.deceleration)
    up_time, up_distance = curve.run_up(peak)
    time = up_time + cruise / np.maximum(curve.top_speed, 1e-300) + peak / load.deceleration
    stuck = ~curve.starts & (np.asarray(distance) > 0.0)
    return Move(np.where(stuck, np.inf, time), peak, up_time + 0.0 * time, up_distance + 0.0 * time)


def move_mix_time(drive: DriveLine, load: Load, distances: Array, times: Array) -> Array:
    """Return the time of a mix of moves.

    Parameters
    ----------
    drive : The drive [-]
    load : What it moves, and how hard it brakes [-]
    distances, times : Length of each kind of move, kinds on the only axis [m]; how often each is made [-]

    Returns
    -------
    Total time [s].
    """
    parts = [getattr(spec, f.name) for spec in (drive, load) for f in fields(spec)]
    shape = (-1, *(1,) * max(np.ndim(part) for part in parts))
    each = move(drive, load, np.asarray(distances, dtype=float).reshape(shape)).time
    return np.asarray((np.asarray(times).reshape(shape) * each).sum(axis=0))
