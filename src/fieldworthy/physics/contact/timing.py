"""From a sensor to an act: a staged hold that stops an object, and an ejector that throws one out in time.

Places are measured along the path from the upper sensor, positive onwards; an object's place is that of its nose. The
controller reads its sensors every sample period, acts after a latency, and the stage then slows evenly.

An ejector moves fast and by itself: a pinch point while the robot is enabled.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.chance import normal

_WHOLE = 1e-9  # a tick this close after an event, in sample periods, is the tick of that event


@dataclass(frozen=True, slots=True)
class Stop:
    """How a stage comes to rest once its sensor is covered.

    Attributes
    ----------
    speed, sample_period : Speed of the object in the stage [m/s]; time between two readings of the sensor [s]
    latency, deceleration : Time from the reading to the moment the stage begins to slow [s]; even deceleration from
        then on [m/s^2]

    Raises
    ------
    ValueError : If a number is not positive (the latency may be zero); the message names it
    """

    speed: Real
    sample_period: Real
    latency: Real
    deceleration: Real

    def __post_init__(self) -> None:
        require.positive(speed=self.speed, sample_period=self.sample_period, deceleration=self.deceleration)
        require.not_negative(latency=self.latency)


@dataclass(frozen=True, slots=True)
class Path:
    """Where things lie along the path of a staged hold.

    The lower sensor counts only once the upper one has seen the first object, which by then has cleared it.

    Attributes
    ----------
    length, spacing : Length of an object along the path; distance nose to nose of the two objects on the lower stage
        [m]
    below : Distance from the upper sensor back to the lower one, an object's length or more [m]
    handover : Distance from the upper sensor back to where the upper stage takes over, at most `below` [m]
    room : Distance that the first object may run past the upper sensor [m]
    run_on : With the upper sensor alone: time that the lower stage runs on from the reading that sees the first object,
        before its own latency [s]. None where a lower sensor stops it; `below` then says nothing.

    Raises
    ------
    ValueError : If a number is out of its range; the message names it
    """

    length: Real
    spacing: Real
    below: Real
    handover: Real
    room: Real
    run_on: Real | None = None

    def __post_init__(self) -> None:
        if self.run_on is not None:
            require.not_negative(run_on=self.run_on)
        require.positive(length=self.length, spacing=self.spacing, below=self.below, room=self.room)
        require.not_negative(handover=self.handover)
        for name, short, limit in (
            ("spacing", self.spacing, self.length),
            ("below", self.below, self.length),
            ("below", self.below, self.handover),
        ):
            if not np.all(np.asarray(short) >= limit):
                msg = f"{name} must not be smaller than {limit!r}, got {short!r}"
                raise ValueError(msg)


@dataclass(frozen=True, slots=True)
class Rest:
    """Where two objects come to rest.

    Attributes
    ----------
    first, second : Place of each nose from the upper sensor; infinite for an object that was not seen [m]
    gap : Free space between them; negative is the depth by which the second pushes the first [m]
    held : Whether both were seen, the first kept to its room, the second short of the hand-over, and none pushed [-]
    """

    first: Real
    second: Real
    gap: Real
    held: npt.NDArray[np.bool_]


def stop_distance(stop: Stop, phase: Real) -> Real:
    """Distance from the sensor to where an object comes to rest.

    d = v (phase T_s + t_latency) + v^2 / (2 a).

    Parameters
    ----------
    stop : How the stage stops
    phase : Share of a sample period that passes until the next reading, 0 to 1 [-]

    Returns
    -------
    Distance of the nose past the sensor [m].

    Raises
    ------
    ValueError : If the phase lies outside 0 to 1

    References
    ----------
    stopping-sight: reaction and braking distance of road design, the same closed form.
    """
    require.fraction(phase=phase)
    v = stop.speed
    return v * (phase * stop.sample_period + stop.latency) + v**2 / (2.0 * stop.deceleration)


def stop_moments(stop: Stop) -> tuple[Real, Real]:
    """Mean and standard deviation of the stopping distance over a random sampling phase.

    The phase is uniform: the distance is uniform over v T_s, sd v T_s / sqrt(12).

    Parameters
    ----------
    stop : How the stage stops

    Returns
    -------
    Mean distance past the sensor [m]; standard deviation [m].

    References
    ----------
    stopping-sight: reaction and braking distance of road design, the same closed form.
    """
    return stop_distance(stop, 0.5), stop.speed * stop.sample_period / np.sqrt(12.0)


def limit_speed(sample_period: Real, latency: Real, deceleration: Real, room: Real) -> Real:
    """Largest speed at which an object always comes to rest within its room.

    v (T_s + t) + v^2 / (2 a) = room, solved for v; short of that room the worst phase still holds.

    Parameters
    ----------
    sample_period, latency : Time between two readings of the sensor; time from the reading to the moment the stage
        begins to slow [s]
    deceleration : Even deceleration from then on [m/s^2]
    room : Distance that the object may run past its sensor; none is left at zero or less [m]

    Returns
    -------
    Speed [m/s].

    Raises
    ------
    ValueError : If the sample period or deceleration is not positive, or the latency is negative

    References
    ----------
    stopping-sight: reaction and braking distance of road design, solved for the speed.
    """
    require.positive(sample_period=sample_period, deceleration=deceleration)
    require.not_negative(latency=latency)
    wait = np.asarray(sample_period) + latency
    left = np.maximum(room, 0.0)
    return 2.0 * left / (wait + np.sqrt(wait**2 + 2.0 * left / deceleration))


def head_start(upper_speed: Real, lower_speed: Real, path: Path) -> Real:
    """Place of the second nose past the lower sensor while the first is at the upper one.

    Parameters
    ----------
    upper_speed, lower_speed : Of an object in each stage [m/s]
    path : Where things lie

    Returns
    -------
    Distance; negative while it has not come to the lower sensor [m].

    References
    ----------
    practice: kinematics at constant speed.
    """
    return path.below - path.handover - path.spacing + path.handover * lower_speed / upper_speed


def simulate(upper: Stop, lower: Stop, path: Path, phase: Real) -> Rest:
    """Follow a staged hold event by event: readings, commands, and where both objects come to rest.

    Events in their order: nose at the upper sensor (time 0), the reading that sees it, the upper stage
    slows and rests; nose at the lower sensor, the first later reading that sees it, the lower stage slows
    and rests. A reading after the tail has gone by sees nothing, and the object runs on. With one sensor the lower
    stage slows a set time t_on after the reading that sees the first, wherever the second then is: come to the place
    of a lower sensor at t_2, it rests v (phase T_s + t_on - t_2 + t_latency) + v^2 / (2 a) past it.

    Parameters
    ----------
    upper, lower : How each stage stops; both are read by one clock, that of the upper
    path : Where things lie
    phase : Share of a sample period from the first nose's arrival to the next reading, 0 to 1; give it a leading axis
        of its own to run every case at every phase [-]

    Returns
    -------
    Places of rest [m].

    Raises
    ------
    ValueError : If the phase lies outside 0 to 1

    References
    ----------
    practice: sampled control of a conveyor, kinematics.
    """
    require.fraction(phase=phase)
    period = upper.sample_period
    first_seen = phase * np.asarray(period)
    saw_first = first_seen * upper.speed <= path.length
    first = stop_distance(upper, phase)

    ahead = head_start(upper.speed, lower.speed, path)
    arrival = -ahead / np.asarray(lower.speed)
    if path.run_on is None:
        ticks = np.ceil((np.maximum(arrival, first_seen) - first_seen) / period - _WHOLE)
        second_seen = first_seen + ticks * period
        beyond = (second_seen - arrival) * lower.speed
        saw_second = beyond <= path.length
    else:  # nothing sees it: it is where the clock lets it come
        beyond = (first_seen + path.run_on - arrival) * lower.speed
        saw_second = np.ones_like(saw_first)
    second = beyond - path.below + lower.speed * lower.latency + lower.speed**2 / (2.0 * lower.deceleration)

    gap = first - path.length - second
    seen = saw_first & saw_second
    held: npt.NDArray[np.bool_] = seen & (first <= path.room) & (second <= -path.handover) & (gap >= 0.0)
    return Rest(
        np.where(saw_first, first, np.inf)[()],
        np.where(seen, second, np.inf)[()],
        np.where(seen, gap, -np.inf)[()],
        held,
    )


def hold_chance(upper: Stop, lower: Stop, path: Path, phases: int = 16) -> Real:
    """Chance that a staged hold works, over a random sampling phase.

    Parameters
    ----------
    upper, lower : How each stage stops
    path : Where things lie
    phases : Number of phases tried, evenly spread [-]

    Returns
    -------
    Share of phases at which both objects are held, exact to one over their number [-].

    Raises
    ------
    ValueError : If the number of phases is below one

    References
    ----------
    practice: sampled control of a conveyor, kinematics.
    """
    require.positive(phases=float(phases))
    held = simulate(upper, lower, path, _column((np.arange(phases) + 0.5) / phases, upper, lower, path)).held
    chance: Array = np.mean(held, axis=0)
    return chance


def _column(phase: Array, *parts: Stop | Path) -> Array:
    """Phases on a leading axis before the axes of the cases."""
    deepest = max(np.ndim(getattr(part, name)) for part in parts for name in part.__slots__)
    return phase.reshape(phase.shape + (1,) * deepest)


def hold_limit_speed(upper: Stop, lower: Stop, path: Path) -> Real:
    """Upper stage's speed at which a staged hold stops being reliable, both speeds scaled together.

    Parameters
    ----------
    upper, lower : How each stage stops; of the speeds only their ratio counts
    path : Where things lie

    Returns
    -------
    Largest speed of the upper stage up to which every sampling phase holds, 0 where none does [m/s].

    Notes
    -----
    No more than: the first within its room, each seen at least once, the second short of the hand-over. And no push:
    with k the ratio of the speeds, T the sample period and f the share of a period by which the second nose comes
    after a reading, the least clearance over all phases is E(v) + v T f min(k, 1), where the quadratic
    E(v) = c0 - c1 v - c2 v^2 takes the first at its shortest and the second at its longest stop. A second nose that
    is there already has f = 1. Else f falls from 1 to 0 while v grows from one moment's reading to the next, and the
    clearance is a quadratic there: the first speed that fails lies where E first turns negative or before the next
    jump of f, past which E is negative at f = 0 unless it is positive for good. With one sensor both are quadratics
    without jumps, worst at one end of the phase.

    References
    ----------
    stopping-sight: reaction and braking distance of road design, solved for the speed.
    """
    if path.run_on is not None:
        return _timed_limit(upper, lower, path, path.run_on)
    k = np.asarray(lower.speed) / upper.speed
    ahead = head_start(upper.speed, lower.speed, path)
    early, period = np.maximum(ahead, 0.0), np.asarray(upper.sample_period)
    first = limit_speed(period, upper.latency, upper.deceleration, path.room)
    second = limit_speed(period, lower.latency, lower.deceleration, path.below - path.handover - early) / k
    seen = np.minimum(path.length, np.maximum(path.length - early, 0.0) / k) / period
    most = np.minimum(np.minimum(first, second), seen)
    c0 = path.below - path.length - early
    c0 = np.where(np.abs(c0) < 1e-9 * np.asarray(path.length), 0.0, c0)  # a rounding error is no room
    c1 = k * (period + lower.latency) - upper.latency
    c2 = 0.5 * (k**2 / lower.deceleration - 1.0 / np.asarray(upper.deceleration))
    low = _first_root(c0, c1, c2)
    # speed at which the second nose comes one sample period after the first, and in how many it comes at `low`
    late = np.maximum(-np.asarray(ahead), 0.0) / (k * period)
    some = (low > 0.0) & np.isfinite(low)
    # just above a speed that ends on a reading the next one counts
    whole = np.where(late > 0.0, np.ceil(late / np.where(some, low, 1.0) - _WHOLE) - 1.0, -1.0)
    more = period * np.minimum(k, 1.0)
    root = _first_root(c0 + more * late, c1 + more * whole, c2)
    jump = np.where(whole > 0.0, late / np.maximum(whole, 1.0), np.inf)
    push = np.where(some, np.where(root <= jump, np.maximum(root, low), np.inf), low)
    limit: Real = np.minimum(most, push)[()]
    return limit


def _timed_limit(upper: Stop, lower: Stop, path: Path, run_on: Real) -> Real:
    """The same with the upper sensor alone, the lower stage stopped by the clock."""
    k, period = np.asarray(lower.speed) / upper.speed, np.asarray(upper.sample_period)
    behind = path.spacing + path.handover * (1.0 - k)  # of the second nose, while the first is at the sensor
    waits = lower.latency + np.asarray(run_on)
    first = limit_speed(period, upper.latency, upper.deceleration, path.room)
    second = limit_speed(period, waits, lower.deceleration, behind - path.handover) / k
    c1 = k * waits - upper.latency + np.maximum(k - 1.0, 0.0) * period
    c2 = 0.5 * (k**2 / lower.deceleration - 1.0 / np.asarray(upper.deceleration))
    push = _first_root(behind - path.length, c1, c2)
    limit: Real = np.minimum(np.minimum(first, second), np.minimum(push, path.length / period))[()]
    return limit


def _first_root(c0: Real, c1: Real, c2: Real) -> Array:
    """Smallest v >= 0 with c0 - c1 v - c2 v^2 below zero from there on, infinite if there is none."""
    c0, c1, c2 = np.broadcast_arrays(np.asarray(c0, dtype=float), c1, c2)
    inside = c1**2 + 4.0 * c2 * c0
    root = np.sqrt(np.maximum(inside, 0.0))
    # Two ways to write one root; each is used where it does not take a small difference of large numbers
    late = (c1 < 0.0) & (c2 > 0.0)
    found = np.divide(2.0 * c0, c1 + root, out=np.full(c0.shape, np.inf), where=(inside >= 0.0) & (c1 > -root))
    np.divide(root - c1, 2.0 * c2, out=found, where=late)
    return np.where(c0 < 0.0, 0.0, found)


@dataclass(frozen=True, slots=True)
class EjectWindow:
    """When the ejector must be in place, counted from the moment the object's nose meets the sensor.

    Attributes
    ----------
    opens : Moment at which the object before has left the release point [s]
    closes : Moment at which this object's nose reaches the release point [s]
    ready : Earliest moment at which the ejector can be in place [s]
    """

    opens: Real
    closes: Real
    ready: Real

    @property
    def margin(self) -> Real:
        """Time to spare after the earliest possible moment; negative is too late.

        Returns
        -------
        Smaller of the time left until the window closes and the window's own length [s].

        References
        ----------
        practice: kinematics at constant speed.
        """
        return self.closes - np.maximum(self.ready, self.opens)

    @property
    def aim(self) -> Real:
        """Moment to aim at: the middle of the window, or the earliest possible one where that is later.

        Returns
        -------
        Moment [s].

        References
        ----------
        practice: kinematics at constant speed.
        """
        return np.maximum(self.ready, 0.5 * (np.asarray(self.opens) + self.closes))

    @property
    def spare(self) -> Real:
        """Time by which the moment aimed at may be missed, either way; negative is too late.

        Returns
        -------
        From the aim to the nearer end of the window, never later than it closes [s].

        References
        ----------
        practice: kinematics at constant speed.
        """
        return np.minimum(self.closes - self.aim, self.aim - self.opens)


def eject_window(
    distance: Real, length: Real, spacing: Real, speed: Real, decision: Real, actuator: Real
) -> EjectWindow:
    """Find when an ejector behind a colour sensor must be in place.

    opens (D + L - s) / v, closes D / v, ready when decided and moved.

    Parameters
    ----------
    distance, length : Distance from the sensor to the release point; length of an object [m]
    spacing, speed : Distance nose to nose to the object before [m]; speed of the objects [m/s]
    decision : Time from the nose's arrival to the decision: readings, filter and software latency [s]
    actuator : Time from the command to the ejector in place [s]

    Returns
    -------
    The window [s].

    Raises
    ------
    ValueError : If a length or the speed is not positive, or a time is negative

    References
    ----------
    practice: kinematics at constant speed.
    """
    require.positive(distance=distance, length=length, spacing=spacing, speed=speed)
    require.not_negative(decision=decision, actuator=actuator)
    return EjectWindow((distance + length - spacing) / speed, distance / speed, decision + actuator)


IN_TIME = 0.95
"""Share of objects that an ejector should be in time for [-]; common practice, no source."""


def needed_spare(window: EjectWindow, scatter: Real) -> Real:
    """Time to the nearer end of the window with which the ejector is in time for `IN_TIME` of the objects.

    1.96 sd where both ends are equally near, falling to 1.64 sd where the other is far: with it `eject_chance` is
    `IN_TIME`, so that a spare below it and a chance below `IN_TIME` are one verdict.

    Parameters
    ----------
    window : The window; how far away its other end is counts
    scatter : Standard deviation of the moment against the object's place, as in `eject_chance` [s]

    Returns
    -------
    Time for the `EjectWindow.spare` [s].

    Raises
    ------
    ValueError : If the scatter is not positive

    References
    ----------
    practice: normal distribution of independent small errors.
    """
    require.positive(scatter=scatter)
    early = normal.cdf((np.asarray(window.opens) - window.aim) / scatter)
    # where the other end is nearer than both may be, the nearer one is too
    away: Real = normal.ppf(IN_TIME + np.minimum(early, 0.5 * (1.0 - IN_TIME))) * np.asarray(scatter)
    return away


def eject_chance(window: EjectWindow, scatter: Real) -> Real:
    """Chance that the ejector is in place within its window when it aims as `EjectWindow.aim` says.

    Normal scatter round the aim: Phi((closes - aim) / sd) - Phi((opens - aim) / sd).

    Parameters
    ----------
    window : The window
    scatter : Standard deviation of the moment against the object's place: speed, latency and actuator together [s]

    Returns
    -------
    Chance; 0 where the window is empty [-].

    Raises
    ------
    ValueError : If the scatter is not positive

    References
    ----------
    practice: normal distribution of independent small errors.
    """
    require.positive(scatter=scatter)
    late = (np.asarray(window.closes) - window.aim) / scatter
    early = (np.asarray(window.opens) - window.aim) / scatter
    chance: Real = np.maximum(normal.cdf(late) - normal.cdf(early), 0.0)
    return chance


@dataclass(frozen=True, slots=True)
class Outcome:
    """What becomes of the objects that pass a sorter, as shares of all of them.

    Attributes
    ----------
    kept_right, kept_wrong : Kept as it should be, and kept though it should go [-]
    thrown_right, thrown_wrong : Thrown out as it should be, and thrown out though it should stay [-]
    """

    kept_right: Real
    kept_wrong: Real
    thrown_right: Real
    thrown_wrong: Real


def outcome(unwanted: Real, missed: Real, false_alarm: Real, ejected: Real) -> Outcome:
    """Rates of right and wrong sorting end to end.

    Deciding and ejecting fail independently.

    Parameters
    ----------
    unwanted : Share of objects that should go [-]
    missed : Probability that such an object is taken for a wanted one, after the vote [-]
    false_alarm : Probability that a wanted object is taken for one that should go [-]
    ejected : Chance that an object so taken is thrown out in time [-]

    Returns
    -------
    The four shares; they add up to one [-].

    Raises
    ------
    ValueError : If a probability lies outside 0 to 1

    References
    ----------
    practice: product rule of independent events.
    """
    require.fraction(unwanted=unwanted, missed=missed, false_alarm=false_alarm, ejected=ejected)
    wanted = 1.0 - np.asarray(unwanted)
    thrown_right = unwanted * (1.0 - np.asarray(missed)) * ejected
    thrown_wrong = wanted * false_alarm * ejected
    return Outcome(wanted - thrown_wrong, unwanted - thrown_right, thrown_right, thrown_wrong)


def decision_time(spot: Real, speed: Real, readings: Real, sample_period: Real, latency: Real) -> Real:
    """Longest time from an object's nose at the sensor to the command.

    w / v + n T_s + t: the spot must be covered, and the first reading comes up to one period later.

    Parameters
    ----------
    spot, speed : Width of what the sensor sees, along the path [m]; speed of the objects [m/s]
    readings, sample_period, latency : Readings that are decided on [-]; time between two readings; from the last
        reading to the command [s]

    Returns
    -------
    Time [s].

    Raises
    ------
    ValueError : If the speed or sample period is not positive, or another quantity is negative

    References
    ----------
    practice: kinematics at constant speed.
    """
    require.positive(speed=speed, sample_period=sample_period)
    require.not_negative(spot=spot, readings=readings, latency=latency)
    return spot / speed + readings * np.asarray(sample_period) + latency
