"""Ballast: the least mass that brings the balance to its target, and the best place for it.

Everything is said in slacks: the distance from a load point to a tipping edge (`support.edge_slack`), for the
robot and for the ballast alone, along a leading axis of demands (edges, accelerations, poses).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real


def least_ballast(mass: Real, slack: Array, ballast_slack: Array, target: Real = 0.0) -> Array:
    """Least ballast at one place that brings every demand to its target.

    Parameters
    ----------
    mass : Real
        Mass of the robot without ballast [kg], shape ``cases``.
    slack : Array
        Slack of the robot for each demand [m], shape ``(e, *cases)``.
    ballast_slack : Array
        Slack of the ballast alone for each demand [m], shape ``(e, *cases)``.
    target : Real
        Slack wanted [m], shape ``cases`` or ``(e, *cases)``.

    Returns
    -------
    Array
        Mass [kg], shape ``cases``; 0 where nothing is needed, infinite where no mass at this place does it.

    Notes
    -----
    From (M s + m s_b) / (M + m) >= t: a demand that is short asks m >= M (t - s) / (s_b - t) if the ballast
    stands better than the target, else it cannot be met; a demand that is met allows m <= M (s - t) / (t -
    s_b) if the ballast stands worse than the target. Infinite where the most that is asked exceeds the least
    that is allowed. Infinite slacks (pairs that are no edge) ask nothing.

    References
    ----------
    meriam_statics: centre of mass of composite bodies.
    """
    edge = np.isfinite(slack)
    short = np.where(edge, target - np.where(edge, slack, 0.0), -1.0)
    gain = np.where(edge, np.where(edge, ballast_slack, 0.0) - target, 1.0)
    turning = np.where(gain != 0.0, short / np.where(gain != 0.0, gain, 1.0), np.inf)
    asks = np.where(short <= 0.0, 0.0, np.where(gain > 0.0, turning, np.inf)).max(axis=0)
    allows = np.where((short <= 0.0) & (gain < 0.0), turning, np.inf).min(axis=0)
    possible = (asks <= allows) & np.isfinite(asks)
    return np.where(possible, mass * np.where(possible, asks, 0.0), np.inf)


@dataclass(frozen=True, slots=True)
class BallastChoice:
    """Where the ballast goes and how much of it.

    Parameters
    ----------
    place : ndarray of int
        Index of the best candidate [-], shape ``cases``; 0 where none does it.
    mass : Array
        Ballast there [kg], shape ``cases``; infinite where no candidate does it within the limit.
    each : Array
        Least ballast at every candidate [kg], shape ``(q, *cases)``.
    pace_lost : Array
        Share of the acceleration that the added mass costs at the same drive force [-], shape ``cases``.

    References
    ----------
    meriam_statics: centre of mass of composite bodies.
    """

    place: npt.NDArray[np.int_]
    mass: Array
    each: Array
    pace_lost: Array


def best_ballast(
    mass: Real, slack: Array, ballast_slack: Array, target: Real = 0.0, limit: Real = np.inf
) -> BallastChoice:
    """Choose the place that needs the least ballast.

    Parameters
    ----------
    mass : Real
        Mass of the robot without ballast [kg], shape ``cases``.
    slack : Array
        Slack of the robot for each demand [m], shape ``(e, *cases)``.
    ballast_slack : Array
        Slack of a ballast at each candidate place for each demand [m], shape ``(q, e, *cases)``.
    target : Real
        Slack wanted [m], shape ``cases`` or ``(e, *cases)``.
    limit : Real
        Most ballast that the size or weight limit still allows [kg].

    Returns
    -------
    BallastChoice
        The best place, its mass and what it costs [-, kg].

    Raises
    ------
    ValueError
        No candidate place.

    Notes
    -----
    More mass slows the robot, m / (M + m) of its acceleration, so the place that needs least is best; the
    first of equals wins.

    References
    ----------
    meriam_statics: centre of mass of composite bodies.
    """
    if len(ballast_slack) == 0:
        raise ValueError("there is no candidate place for ballast")
    each = np.stack([least_ballast(mass, slack, place, target) for place in ballast_slack])
    each = np.where(each <= limit, each, np.inf)
    least = each.min(axis=0)
    known = np.isfinite(least)
    finite = np.where(known, least, 0.0)
    lost = np.where(known, finite / (mass + finite), 1.0)
    return BallastChoice(np.asarray(each.argmin(axis=0)), least, each, lost)
