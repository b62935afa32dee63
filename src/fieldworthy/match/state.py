"""A match as it stands inside the compiled loop, and what the loop fills."""

from __future__ import annotations

from typing import NamedTuple

from fieldworthy.match.layout import Array, Whole

# entries of State.clock
NOW, HEADING, SPENT, EARNED, EARLY, PLACE, HOT = range(7)
CLOCK = 7


class State(NamedTuple):
    """A match as it stands: clock and counters, temperatures, pressures, objects, what counted.

    Attributes
    ----------
    clock : ndarray
        Time, heading, charge spent, points, those of the autonomous period, place, highest winding temperature.
    heat : ndarray of shape (motors, 3)
        Rises of winding and case over the air, and when they held [K, K, s].
    air : ndarray of shape (tanks, 2)
        Pressure, and when it held [Pa, s].
    stock : ndarray of shape (kinds, 2)
        On board, and left to take [-].
    counted : ndarray
        How often each task counted [-].
    tried : ndarray
        Tries of each action so far [-].
    odds : ndarray
        Chance of each action in this run [-].
    ways : ndarray
        Workspace: phases of a turn and of a straight way.
    ended : ndarray of shape (actions, reasons)
        How actions ended [-].
    """

    clock: Array
    heat: Array
    air: Array
    stock: Array
    counted: Array
    tried: Whole
    odds: Array
    ways: Array
    ended: Whole


class Out(NamedTuple):
    """What the loop over runs fills, runs leading.

    Attributes
    ----------
    totals : ndarray of shape (runs, 4)
        Points, those of the autonomous period, highest winding temperature, charge spent [-, -, K, C].
    pressure : ndarray of shape (runs, tanks)
        Absolute pressure after the last draw [Pa].
    finished : ndarray of shape (runs, steps)
        How often each step was done [-].
    ended : ndarray of shape (runs, actions, reasons)
        How actions ended [-].
    rows : ndarray of shape (runs, k, FIRST_TANK + tanks)
        One row for each action; k is 0 where they are not wanted [SI].
    filled : ndarray of shape (runs,)
        How many rows were filled [-].
    """

    totals: Array
    pressure: Array
    finished: Array
    ended: Whole
    rows: Array
    filled: Whole
