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
    clock : Time, heading, charge spent, points, those of the autonomous period, place, highest winding temperature
    heat : Rises of winding and case over the air, and when they held [K, K, s]
    air : Pressure, and when it held [Pa, s]
    stock : On board, and left to take
    counted : How often each task counted
    earned : Points of each task
    tried : Tries of each action so far
    odds : Chance of each action in this run
    ways : Workspace: phases of a turn and of a straight way
    ended : How actions ended
    """

    clock: Array
    heat: Array
    air: Array
    stock: Array
    counted: Array
    earned: Array
    tried: Whole
    odds: Array
    ways: Array
    ended: Whole


class Out(NamedTuple):
    """What the loop over runs fills, runs leading.

    Attributes
    ----------
    totals : Points, those of the autonomous period, highest winding temperature, charge spent [-, -, K, C]
    pressure : Absolute pressure after the last draw [Pa]
    finished : How often each step was done
    ended : How actions ended
    earned : Points of each task
    rows : One row for each action; k is 0 where they are not wanted [SI]
    filled : How many rows were filled
    """

    totals: Array
    pressure: Array
    finished: Array
    ended: Whole
    earned: Array
    rows: Array
    filled: Whole
