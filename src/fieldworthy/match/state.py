"""A match as it stands inside the compiled loop, and what the loop fills."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array

Whole = npt.NDArray[np.int64]

REASONS = ("done", "luck", "time", "air", "heat", "objects", "battery", "load", "full", "unable")
"""How an action can end: done; the try failed; no time left; too little air; a motor cut back by heat; nothing on
board or left to take; battery empty; motors too weak from the start; done, but the season counts no more of it;
its mechanism cannot do it with these dimensions."""
DONE, LUCK, TIME, AIR, HEAT, OBJECTS, BATTERY, LOAD, FULL, UNABLE = range(len(REASONS))

MOST_ROUNDS = 400
"""Rounds of a repeated list; a match of two minutes has far fewer."""
NONE = -1

# columns of a row that the loop writes for each action
LEAVES, BEGINS, ENDS, STEP, PERIOD, REASON, POINTS, COUNTED, HOTTEST, HOT_MOTOR, CHARGE, VOLTAGE, FIRST_TANK = range(13)

# columns of Numbers.motors
(
    CAP_WINDING, CAP_CASE, TO_CASE, TO_AIR, RESISTANCE, KT, KE, I_FREE, I_LIMIT, P_CAP, STALL, COUNT, T_START,
) = range(13)  # fmt: skip
# columns of Numbers.drive
V_OPEN, R_BATTERY, CAPACITY, GEARING, EFFICIENCY, T_AIR, P_ATM = range(7)
# columns of Numbers.lines and Numbers.loads
F_STALL, SLOPE, F_LIMIT, P_LIMIT = range(4)
MASS, ROTATING, RESISTING, GRIP, BRAKING = range(5)
# columns of Numbers.tanks and Numbers.ways
VOLUME, CHARGED, SETTING, LEAK = range(4)
BEFORE, AFTER, NEED = range(3)


class Structure(NamedTuple):
    """What is the same in every case: the plan as a list of steps, and what refers to what.

    Attributes
    ----------
    step : Action and place
    item : Period (0 autonomous, 1 driven, 2 finish), first step, number of steps, rounds
    until : Time of the match from which no new round begins [s]
    period : Begin, end, and 1 where the next period follows without a whistle, so that the driver looks ahead [s,
        s, -]
    start : Place where the robot starts
    distance, direction : Of the straight way [m, rad]
    squaring : Time at each place to drive up to a wall, having come there in the autonomous period [s]
    action : Pose, task, objects scored, kind they are of (where the plan takes such), objects taken, their kind;
        -1: none
    chance : Beta parameters of the chance, and a fixed chance instead of them where that is not negative
    key : Numbers of the action's random streams, of its tries and of its true chance
    draw : First and number of its entries in `draws`
    draws : Ways of cylinders, in order of use
    work : First and number of its entries in `worker`
    worker : Motors that an action uses
    way_tank : Tank of each way
    points : Points, bonus in the autonomous period, and how often it counts
    stock : Objects on board at the start, and how many there are to take
    """

    step: Whole
    item: Whole
    until: Array
    period: Array
    start: int
    distance: Array
    direction: Array
    squaring: Array
    action: Whole
    chance: Array
    key: npt.NDArray[np.uint64]
    draw: Whole
    draws: Whole
    work: Whole
    worker: Whole
    way_tank: Whole
    points: Array
    stock: Array


class Numbers(NamedTuple):
    """The numbers that may vary over cases, cases leading.

    Attributes
    ----------
    drive : Battery's voltage, resistance and capacity, motor turns per way, efficiency, air temperature and
        pressure [V, ohm, C, 1/m, -, K, Pa]
    lines : The drive's force line at each level of derating [N, N s/m, N, W]
    loads : What it moves, straight and turning, at each level [kg, kg, N, m/s2, m/s2]
    lever : Way of the rims per angle turned [m]
    motors : The drive's motor first, then those of mechanisms [SI]
    above, factor : Steps of derating; infinite where a motor has fewer [K, -]
    tanks : Volume, charge, regulator's setting, time constant of the leak [m3, Pa, Pa, s]
    ways : Chamber volume before and after, absolute pressure needed [m3, m3, Pa]
    time : Mean, standard deviation, and the share of tries that its mechanism lets succeed, 0 where none [s, s, -]
    share : Load of each entry of `Structure.worker`, as a share of stall torque
    """

    drive: Array
    lines: Array
    loads: Array
    lever: Array
    motors: Array
    above: Array
    factor: Array
    tanks: Array
    ways: Array
    time: Array
    share: Array


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
    odds : Chance of each action
    rows : One row for each action; k is 0 where they are not wanted [SI]
    filled : How many rows were filled
    """

    totals: Array
    pressure: Array
    finished: Array
    ended: Whole
    earned: Array
    odds: Array
    rows: Array
    filled: Whole
