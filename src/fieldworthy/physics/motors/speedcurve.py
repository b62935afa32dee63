"""A run-up from rest against speed, in closed form, under a force that is the least of three curves.

The force is ``min(F_held, P / v, F0 - k v)`` less a constant resistance. In order of speed its pieces are the
constant, the line where it lies below the hyperbola, the hyperbola, and the line again; any may be empty.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.arrays import Array, Real

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

    Parameters
    ----------
    mass : Real
        Effective mass [kg].
    stall_force : Real
        The line's force at standstill [N].
    slope : Real
        The line's loss of force per speed, positive [N s/m].
    held_force : Real
        Constant bound of the force; infinite: none [N].
    power : Real
        Bound of the power; infinite: none [W].
    resistance : Real
        Constant resistance [N].

    Notes
    -----
    On the line ``t = T ln((w - u0) / (w - u))`` and ``x = w t - T (u - u0)`` with ``T = m / k`` and
    ``w = (F0 - Fr) / k``; on the hyperbola ``t = (m / P) u ** 2 sum (q u) ** j / (j + 2)`` between its ends,
    and ``x`` likewise with ``u ** 3`` and ``j + 3``, with ``q = Fr / P``; both sums are logarithms.

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
        F0 = np.where(self.starts, F0, Fr + 1.0)
        self._held = np.where(self.starts, held, Fr + 1.0)
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
        speed : Array
            Speed below top speed [m/s].

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
        speed : Array
            Speed from rest to top speed [m/s].

        Returns
        -------
        Array
            Force at the rims [N], 0 for a case that does not start.
        """
        return np.where(self.starts, self._acceleration(speed) * self._mass + self._resistance, 0.0)

    def after(self, time: Real) -> tuple[Array, Array]:
        """Return speed and distance at times after the start.

        Parameters
        ----------
        time : Real
            Time since the start; until then it stands. Several of them on a leading axis [s].

        Returns
        -------
        tuple of Array
            Speed [m/s] and distance [m]; both 0 for a case that does not start.

        Notes
        -----
        Newton's steps in ``s = -ln(1 - v / top)``, as for the peak speed; what is left of the time once top speed is
        all but reached is cruised.
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

        Parameters
        ----------
        low : Array
            Lower speed [m/s].
        high : Array
            Upper speed, below top speed [m/s].
        shares : Array
            Places from 0 to 1, on a leading axis of their own [-].

        Returns
        -------
        tuple of Array
            Speeds [m/s], and times [s] of which the weighted sum is the time from low to high.

        Notes
        -----
        The shares are even in ``ln((v + c) / (top - v))``: times stay alike up to top speed, and with
        ``c = 0`` a piece that starts well below its end gets as many places at each order of magnitude.
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

        Parameters
        ----------
        distance : Real
            Distance from rest to rest [m].
        deceleration : Real
            Constant deceleration of the stop; infinite where it need not stop [m/s2].

        Returns
        -------
        tuple of Array
            Speed [m/s], and the distance left over at top speed [m]; both 0 for a case that does not start.

        Notes
        -----
        The unknown is ``s = -ln(1 - v / top)``: distance grows like s ** 2 at first and like s in the end, so
        Newton's steps are good everywhere; a bracket catches the rest.
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
            slope = v * (1.0 / self._acceleration(v) + 2.0 * half_stop) * (top - v)
            step = error / np.maximum(slope, 1e-100)
            short = error < 0.0
            low, high = np.where(short, s, low), np.where(short, high, s)
            trial = np.minimum(s - step, _NEAR_TOP)
            inside = (trial >= low) & (trial <= high)
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
