"""Throwing out what a sorter has decided on: the moment to act, and the errors end to end.

An ejector moves fast and by itself: a pinch point while the robot is enabled.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Real
from fieldworthy.physics import _require as require
from fieldworthy.physics.chance import normal


@dataclass(frozen=True, slots=True)
class EjectWindow:
    """When the ejector must be in place, counted from the moment the object's nose meets the sensor.

    Attributes
    ----------
    opens : Real
        Moment at which the object before has left the release point [s].
    closes : Real
        Moment at which this object's nose reaches the release point [s].
    ready : Real
        Earliest moment at which the ejector can be in place [s].
    """

    opens: Real
    closes: Real
    ready: Real

    @property
    def margin(self) -> Real:
        """Time to spare after the earliest possible moment; negative is too late.

        Returns
        -------
        Real
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
        Real
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
        Real
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

    Parameters
    ----------
    distance, length : Real
        Distance from the sensor to the release point; length of an object [m].
    spacing, speed : Real
        Distance nose to nose to the object before [m]; speed of the objects [m/s].
    decision : Real
        Time from the nose's arrival to the decision: readings, filter and software latency [s].
    actuator : Real
        Time from the command to the ejector in place [s].

    Returns
    -------
    EjectWindow
        The window [s].

    Raises
    ------
    ValueError
        If a length or the speed is not positive, or a time is negative.

    Notes
    -----
    opens (D + L - s) / v, closes D / v, ready when decided and moved.

    References
    ----------
    practice: kinematics at constant speed.
    """
    require.positive(distance=distance, length=length, spacing=spacing, speed=speed)
    require.not_negative(decision=decision, actuator=actuator)
    return EjectWindow((distance + length - spacing) / speed, distance / speed, decision + actuator)


IN_TIME = 0.95
"""Share of objects that an ejector should be in time for [-]; common practice, no source."""


def needed_spare(scatter: Real) -> Real:
    """Time to either end of the window with which the ejector is in time for `IN_TIME` of the objects.

    Parameters
    ----------
    scatter : Real
        Standard deviation of the moment against the object's place, as in `eject_chance` [s].

    Returns
    -------
    Real
        Time for the `EjectWindow.spare` [s].

    Raises
    ------
    ValueError
        If the scatter is not positive.

    Notes
    -----
    1.96 sd, both ends counted. With it `eject_chance` is `IN_TIME` where the ends are equally near, and up to
    half of the rest more where one is far.

    References
    ----------
    practice: normal distribution of independent small errors.
    """
    require.positive(scatter=scatter)
    away: Real = normal.ppf(0.5 + 0.5 * IN_TIME) * np.asarray(scatter)
    return away


def eject_chance(window: EjectWindow, scatter: Real) -> Real:
    """Chance that the ejector is in place within its window when it aims as `EjectWindow.aim` says.

    Parameters
    ----------
    window : EjectWindow
        The window.
    scatter : Real
        Standard deviation of the moment against the object's place: speed, latency and actuator together [s].

    Returns
    -------
    Real
        Chance; 0 where the window is empty [-].

    Raises
    ------
    ValueError
        If the scatter is not positive.

    Notes
    -----
    Normal scatter round the aim: Phi((closes - aim) / sd) - Phi((opens - aim) / sd).

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
    kept_right, kept_wrong : Real
        Kept as it should be, and kept though it should go [-].
    thrown_right, thrown_wrong : Real
        Thrown out as it should be, and thrown out though it should stay [-].
    """

    kept_right: Real
    kept_wrong: Real
    thrown_right: Real
    thrown_wrong: Real


def outcome(unwanted: Real, missed: Real, false_alarm: Real, ejected: Real) -> Outcome:
    """Rates of right and wrong sorting end to end.

    Parameters
    ----------
    unwanted : Real
        Share of objects that should go [-].
    missed : Real
        Probability that such an object is taken for a wanted one, after the vote [-].
    false_alarm : Real
        Probability that a wanted object is taken for one that should go [-].
    ejected : Real
        Chance that an object so taken is thrown out in time [-].

    Returns
    -------
    Outcome
        The four shares; they add up to one [-].

    Raises
    ------
    ValueError
        If a probability lies outside 0 to 1.

    Notes
    -----
    Deciding and ejecting fail independently.

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

    Parameters
    ----------
    spot, speed : Real
        Width of what the sensor sees, along the path [m]; speed of the objects [m/s].
    readings, sample_period, latency : Real
        Readings that are decided on [-]; time between two readings; from the last reading to the command [s].

    Returns
    -------
    Real
        Time [s].

    Raises
    ------
    ValueError
        If the speed or sample period is not positive, or another quantity is negative.

    Notes
    -----
    w / v + n T_s + t: the spot must be covered, and the first reading comes up to one period later.

    References
    ----------
    practice: kinematics at constant speed.
    """
    require.positive(speed=speed, sample_period=sample_period)
    require.not_negative(spot=spot, readings=readings, latency=latency)
    return spot / speed + readings * np.asarray(sample_period) + latency
