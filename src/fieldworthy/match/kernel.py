"""The compiled inner loop: one match from event to event, and a part of many, which other threads may play beside.

Nothing is stepped in time: a way is integrated over speed (`travel`), heat by the exact step of the two lumps, air by
the mass balance of each draw. What a motor's controller leaves it is read when an event begins and held to its end;
an event lasts seconds, a winding's time constant more than a minute. Importing this module costs the start of the
compiler; the command that needs it alone pays that.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.match import state, travel
from fieldworthy.match import state as layout
from fieldworthy.match.state import (
    AFTER,
    AIR,
    BATTERY,
    BEFORE,
    BEGINS,
    CAP_CASE,
    CAP_WINDING,
    CAPACITY,
    CHARGE,
    CHARGED,
    CLOCK,
    COUNT,
    COUNTED,
    DONE,
    EARLY,
    EARNED,
    ENDS,
    FIRST_TANK,
    FULL,
    HEADING,
    HEAT,
    HOT,
    HOT_MOTOR,
    HOTTEST,
    I_FREE,
    I_LIMIT,
    KE,
    KT,
    LEAK,
    LEAVES,
    LOAD,
    LUCK,
    NEED,
    NOW,
    OBJECTS,
    P_ATM,
    P_CAP,
    PERIOD,
    PLACE,
    POINTS,
    R_BATTERY,
    REASON,
    REASONS,
    RESISTANCE,
    SETTING,
    SPENT,
    STALL,
    STEP,
    T_AIR,
    T_START,
    TIME,
    TO_AIR,
    TO_CASE,
    UNABLE,
    V_OPEN,
    VOLTAGE,
    VOLUME,
    Numbers,
    Out,
    State,
    Structure,
)
from fieldworthy.match.travel import (
    PHASES,
    bare,
    beta,
    compiled,
    fingerprint,
    kept,
    least_turn,
    lognormal,
    normal,
    phases_of,
    philox,
    terminal_voltage,
    torque_current,
    uniform,
)
from fieldworthy.physics.gas import tank
from fieldworthy.physics.motors import motion, motor, thermal
from fieldworthy.vehicle.schedule import PAUSE
from fieldworthy.vehicle.supply import ENDLESS

after_draw, after_leak, fill_pressure = bare(tank.after_draw), bare(tank.after_leak), bare(tank.fill_pressure)
two_node_step: Any = bare(thermal.two_node_step)
derating_factor = bare(thermal.derating_factor)
_COPPER, _T_COPPER = thermal.COPPER, thermal.T_COPPER
_ZERO, _DRIVE = np.uint64(0), 0
_FOR_EVER = 1e9  # a way that cannot start takes infinitely long [s]
_REASONS = len(REASONS)


@compiled
def _fresh(st: Structure, nu: Numbers, case: int, seed: np.uint64, belief: np.uint64, luck: bool) -> State:
    motors, tanks, actions = nu.motors.shape[1], nu.tanks.shape[1], st.action.shape[0]
    clock = np.zeros(CLOCK)
    clock[PLACE] = st.start
    heat, air = np.zeros((motors, 3)), np.zeros((tanks, 2))
    for m in range(motors):
        start = nu.motors[case, m, T_START]
        heat[m, 0] = heat[m, 1] = start - nu.drive[case, T_AIR]
        clock[HOT] = max(clock[HOT], start)
    for t in range(tanks):
        air[t, 0] = nu.tanks[case, t, CHARGED]
    odds = st.chance[:, 2].copy()
    for a in range(actions):
        if luck and odds[a] < 0.0:
            odds[a] = beta(st.chance[a, 0], st.chance[a, 1], seed, belief, st.key[a, 1])
    return State(
        clock,
        heat,
        air,
        st.stock.copy(),
        np.zeros(st.points.shape[0]),
        np.zeros(st.points.shape[0]),
        np.zeros(actions, np.int64),
        odds,
        np.zeros((2 * PHASES, 3)),
        np.zeros((actions, _REASONS), np.int64),
    )


@bare
def _warm(motors: Array, air: float, s: tuple[Array, Array], at: tuple[int, int], square: float, time: float) -> None:
    """Let a motor's winding and case warm for a time under a mean squared current [A2], or cool under none.

    The innermost functions take arrays one by one: taking one out of a named tuple counts a reference each time.
    """
    if time <= 0.0:
        return
    heat, clock = s
    case, m = at
    per_winding, per_case = time / motors[case, m, CAP_WINDING], time / motors[case, m, CAP_CASE]
    loss = square * motors[case, m, RESISTANCE]
    winding, body = two_node_step(
        heat[m, 0],
        heat[m, 1],
        loss * (1.0 + _COPPER * (air - _T_COPPER)) * per_winding,
        loss * _COPPER * per_winding,
        per_winding / motors[case, m, TO_CASE],
        per_case / motors[case, m, TO_CASE],
        per_case / motors[case, m, TO_AIR],
    )
    heat[m, 0], heat[m, 1] = winding, body
    heat[m, 2] += time
    clock[HOT] = max(clock[HOT], winding + air)


@bare
def _rest(nu: Numbers, case: int, s: State, m: int, until: float) -> None:
    _warm(nu.motors, nu.drive[case, T_AIR], (s.heat, s.clock), (case, m), 0.0, until - s.heat[m, 2])


@bare
def _level(nu: Numbers, case: int, s: State) -> int:
    """How far the drive's controllers are cut back: the number of steps that hold."""
    temperature, level = s.heat[_DRIVE, 0] + nu.drive[case, T_AIR], 0
    for i in range(nu.above.shape[2]):
        if temperature >= nu.above[case, _DRIVE, i]:
            level = i + 1
    return level


@bare
def _plan_way(st: Structure, nu: Numbers, case: int, s: State, action: int, place: int) -> float:
    """Fill the phases of turn and way to a place, and give their time."""
    here = int(s.clock[PLACE])
    distance = st.distance[here, place]
    if distance <= 0.0:
        return 0.0
    _rest(nu, case, s, _DRIVE, s.clock[NOW])
    return _way_at(st, nu, case, s, (_level(nu, case, s), action, place))


@bare
def _way_at(st: Structure, nu: Numbers, case: int, s: State, at: tuple[int, int, int]) -> float:
    """Fill the phases at a level of derating for an action at a place other than where it is."""
    level, action, place = at
    here, pose = int(s.clock[PLACE]), st.action[action, 0]
    distance = st.distance[here, place]
    line, loads, drive, row = nu.lines[case, level], nu.loads[case, level, pose], nu.drive[case], nu.motors[case, 0]
    rims = least_turn(s.clock[HEADING], st.direction[here, place]) * nu.lever[case, pose]
    time = phases_of(line, loads[1], rims, drive, row, s.ways[:PHASES])
    return time + phases_of(line, loads[0], distance, drive, row, s.ways[PHASES:])


@bare
def _go(st: Structure, nu: Numbers, case: int, s: State, place: int) -> None:
    """Drive the way that was planned."""
    here = int(s.clock[PLACE])
    if st.distance[here, place] <= 0.0:
        return
    clock, heat, ways, motors = s.clock, s.heat, s.ways, nu.motors
    air = nu.drive[case, T_AIR]
    clock[HEADING] = st.direction[here, place]
    clock[PLACE] = place
    for k in range(2 * PHASES):
        time = ways[k, 0]
        if time > 0.0:
            _warm(motors, air, (heat, clock), (case, _DRIVE), ways[k, 1] / time, time)
            clock[SPENT] += ways[k, 2]
            clock[NOW] += time


@bare
def _creep(nu: Numbers, case: int, s: State, at: tuple[float, float]) -> None:
    """Drive on until the whistle, without getting there, on a way so slow that one that is stuck is tried as long."""
    way, until = at
    for k in range(2 * PHASES if way > PAUSE else 0):
        time, square, charge = s.ways[k, 0], s.ways[k, 1], s.ways[k, 2]
        spent = min(time, until - s.clock[NOW])
        if spent > 0.0:
            _warm(nu.motors, nu.drive[case, T_AIR], (s.heat, s.clock), (case, _DRIVE), square / time, spent)
            s.clock[SPENT] += charge * spent / time
            s.clock[NOW] += spent


@bare
def _stall(nu: Numbers, case: int, s: State, time: float) -> float:
    """Hold the drive's motors still at full command for a time; gives the battery's voltage then.

    The current is what battery and windings let through, or what the controller leaves.
    """
    drive, row = nu.drive[case], nu.motors[case, _DRIVE]
    source = drive[R_BATTERY] * row[COUNT]
    left = derating_factor(s.heat[_DRIVE, 0] + drive[T_AIR], nu.above[case, _DRIVE], nu.factor[case, _DRIVE])
    current = min(drive[V_OPEN] / (row[RESISTANCE] + source), row[I_LIMIT] * left)
    voltage = terminal_voltage(0.0, drive[V_OPEN], source, row[KE], row[RESISTANCE], current)
    drawn = row[COUNT] * current * current * row[RESISTANCE] / max(voltage, 1e-9)
    s.clock[SPENT] += drawn * time
    _warm(nu.motors, drive[T_AIR], (s.heat, s.clock), (case, _DRIVE), current * current, time)
    return float(drive[V_OPEN] - drive[R_BATTERY] * drawn)


@bare
def _work(st: Structure, nu: Numbers, case: int, s: State, span: tuple[int, float, float]) -> tuple[int, float]:
    """Let the mechanisms' motors work for a time; says whether they could, and gives the battery's voltage then."""
    action, time, short = span
    drive, reason, current_sum = nu.drive[case], DONE, 0.0
    for k in range(st.work[action, 0], st.work[action, 0] + st.work[action, 1]):
        m = st.worker[k]
        _rest(nu, case, s, m, s.clock[NOW])
        row = nu.motors[case, m]
        wanted = torque_current(nu.share[case, k] * row[STALL], row[KT], row[I_FREE])
        left = derating_factor(s.heat[m, 0] + drive[T_AIR], nu.above[case, m], nu.factor[case, m])
        current = min(wanted, row[I_LIMIT] * left)
        if current < wanted:
            reason = HEAT if wanted <= row[I_LIMIT] else LOAD
        source = drive[R_BATTERY] * row[COUNT]
        speed = max((drive[V_OPEN] - current * (row[RESISTANCE] + source)) / row[KE], 0.0)
        speed = min(speed, row[P_CAP] / max(row[KT] * (current - row[I_FREE]), 1e-12))
        if reason != DONE and current < wanted:
            speed = 0.0
        voltage = terminal_voltage(speed, drive[V_OPEN], source, row[KE], row[RESISTANCE], current)
        drawn = row[COUNT] * current * (current * row[RESISTANCE] + row[KE] * speed) / max(voltage, 1e-9)
        current_sum += drawn
        s.clock[SPENT] += drawn * min(time, short)
        _warm(nu.motors, drive[T_AIR], (s.heat, s.clock), (case, m), current * current, min(time, short))
    return reason, drive[V_OPEN] - drive[R_BATTERY] * current_sum


@bare
def _breathe(st: Structure, nu: Numbers, case: int, s: State, action: int) -> int:
    """Draw the air of an action at its end; says whether every stroke had the pressure that it needs."""
    p_atm, reason = nu.drive[case, P_ATM], DONE
    for k in range(st.draw[action, 0], st.draw[action, 0] + st.draw[action, 1]):
        w = st.draws[k]
        t = st.way_tank[w]
        _settle(nu, case, s, t)
        vessel, way = nu.tanks[case, t], nu.ways[case, w]
        s.air[t, 0] = after_draw(s.air[t, 0], vessel[VOLUME], way[BEFORE], way[AFTER], p_atm, vessel[SETTING])
        if way[NEED] >= ENDLESS:  # no air helps a mechanism that no pressure moves
            reason = UNABLE
        elif fill_pressure(s.air[t, 0], vessel[SETTING]) < way[NEED] and reason == DONE:
            reason = AIR
    return reason


@bare
def _settle(nu: Numbers, case: int, s: State, t: int) -> None:
    waited = s.clock[NOW] - s.air[t, 1]
    s.air[t, 0] = after_leak(s.air[t, 0], waited, nu.tanks[case, t, LEAK], nu.drive[case, P_ATM])
    s.air[t, 1] = s.clock[NOW]


@bare
def _idle(st: Structure, s: State, action: int, period: int) -> bool:
    """Whether a driver sees that there is nothing to score or to take; a program does not look."""
    _, task, _, scored, takes, taken = st.action[action]
    empty = task >= 0 and scored >= 0 and s.stock[scored, 0] <= 0.0
    return period > 0 and (empty or (takes > 0 and s.stock[taken, 1] <= 0.0))


@bare
def _score(st: Structure, s: State, action: int, period: int, won: bool) -> tuple[int, float, float]:
    """Settle objects and points of an action that was carried out: reason, points, how many counted."""
    _, task, objects, scored, takes, taken = st.action[action]
    number, lacks = float(objects), False
    if task >= 0 and scored >= 0:
        # what is let go is gone, whether it lands or not
        number = min(number, s.stock[scored, 0])
        s.stock[scored, 0] -= number
        lacks = number <= 0.0
    if takes > 0:
        got = min(float(takes), s.stock[taken, 1])
        lacks = lacks or got <= 0.0
        if won:
            s.stock[taken, 0] += got
            s.stock[taken, 1] -= got
    if lacks or not won:
        return (OBJECTS if lacks else LUCK), 0.0, 0.0
    if task < 0:
        return DONE, 0.0, 0.0
    counts = min(number, st.points[task, 2] - s.counted[task])
    s.counted[task] += counts
    earned = counts * (st.points[task, 0] + (st.points[task, 1] if period == 0 else 0.0))
    s.clock[EARNED] += earned
    s.earned[task] += earned
    if period == 0:
        s.clock[EARLY] += earned
    return (DONE if counts > 0.0 else FULL), earned, counts


@bare
def _act(
    st: Structure,
    nu: Numbers,
    case: int,
    s: State,
    draw: tuple[np.uint64, np.uint64, bool],
    at: tuple[int, int],
    row: Array,
) -> bool:
    """Play one step of the plan in its period; says whether that is over."""
    step, period = at
    action, place = st.step[step]
    seed, run, luck = draw
    count, mean, sd = s.tried[action], nu.time[case, action, 0], nu.time[case, action, 1]
    s.tried[action] += 1
    one, two, three, _ = philox((run, st.key[action, 0], np.uint64(count), _ZERO), seed)
    time = lognormal(mean, sd, normal(one, two)) if luck else mean
    sound = nu.time[case, action, 2]
    won = not luck or uniform(three) < s.odds[action] * sound
    end = st.period[period, 1]
    leaves, earned, counts = s.clock[NOW], 0.0, 0.0
    voltage, over = nu.drive[case, V_OPEN], False
    begins = leaves
    if s.clock[SPENT] >= nu.drive[case, CAPACITY]:
        reason, over = BATTERY, True
    elif leaves >= end:
        reason, over = TIME, True
    elif _idle(st, s, action, period):
        reason = OBJECTS
    else:
        way = _plan_way(st, nu, case, s, action, place)
        squares = st.squaring[place] if period == 0 and way > 0.0 else 0.0
        ahead = mean if st.period[period, 2] > 0.0 else 0.0
        if way > _FOR_EVER:
            # a drive that is too weak cold is not cut back by heat, however warm it has stalled
            reason = HEAT if _way_at(st, nu, case, s, (0, action, place)) <= _FOR_EVER else LOAD
            s.clock[NOW] = min(leaves + PAUSE, end)
            voltage = _stall(nu, case, s, s.clock[NOW] - leaves)
        elif leaves + way + squares + ahead > end:
            # a driver looks ahead to the finish; to the whistle anything is tried that the way there leaves time for
            reason, over = TIME, True
            _creep(nu, case, s, (way, end))
        else:
            _go(st, nu, case, s, place)
            s.clock[NOW] += squares
            begins = s.clock[NOW]
            limit = end if st.period[period, 2] <= 0.0 else st.period[2, 1]
            late = begins + time > limit
            reason, voltage = _work(st, nu, case, s, (action, time, limit - begins))
            s.clock[NOW] = min(begins + time, limit)
            if late:
                reason, over = TIME, True
            else:
                short = _breathe(st, nu, case, s, action)
                reason = short if reason == DONE else reason
                reason = UNABLE if reason == DONE and luck and sound <= 0.0 else reason
                if reason == DONE:
                    reason, earned, counts = _score(st, s, action, period, won)
    s.ended[action, reason] += 1
    if row.size > 0:
        _write(nu, case, s, (leaves, begins, float(step), float(period), float(reason)), (earned, counts, voltage), row)
    return over


@bare
def _write(nu: Numbers, case: int, s: State, when: tuple[float, float, float, float, float],
           what: tuple[float, float, float], row: Array) -> None:  # fmt: skip
    row[LEAVES], row[BEGINS], row[STEP], row[PERIOD], row[REASON] = when
    row[POINTS], row[COUNTED], row[VOLTAGE] = what
    row[ENDS], row[CHARGE] = s.clock[NOW], s.clock[SPENT]
    hottest = 0
    for m in range(s.heat.shape[0]):
        _rest(nu, case, s, m, s.clock[NOW])
        if s.heat[m, 0] > s.heat[hottest, 0]:
            hottest = m
    row[HOT_MOTOR], row[HOTTEST] = hottest, s.heat[hottest, 0] + nu.drive[case, T_AIR]
    for t in range(s.air.shape[0]):
        _settle(nu, case, s, t)
        row[FIRST_TANK + t] = s.air[t, 0]


@bare
def _reached(s: State) -> tuple[float, float, float, int]:
    """What a round can change: time, points, objects, tries without luck; an action may take no time and yet do much.

    An object on the field counts twice, for it can be taken and let go, so that each of these changes the sum.
    """
    objects = s.stock[:, 0].sum() + 2.0 * s.stock[:, 1].sum()
    return s.clock[NOW], s.clock[EARNED], objects, s.ended[:, LUCK].sum()


@compiled
def play(st: Structure, nu: Numbers, at: tuple[int, np.uint64], draw: tuple[np.uint64, np.uint64, bool], rows: Array,
         finished: Array) -> tuple[State, int]:  # fmt: skip
    """Play one match: in a case, with the chances of a belief, and with the luck of a run."""
    case = at[0]
    s = _fresh(st, nu, case, draw[0], at[1], draw[2])
    nothing = np.empty(0)
    current, over, filled = -1, False, 0
    for i in range(st.item.shape[0]):
        period, head, length, rounds = st.item[i]
        if period != current:
            current, over = period, False
            s.clock[NOW] = max(s.clock[NOW], st.period[period, 0])
        for _ in range(rounds):
            if over or s.clock[NOW] >= st.until[i]:
                break
            before = _reached(s)
            for step in range(head, head + length):
                row = rows[filled] if filled < rows.shape[0] else nothing
                done = s.ended[st.step[step, 0], DONE]
                over = _act(st, nu, case, s, draw, (step, period), row)
                finished[step] += s.ended[st.step[step, 0], DONE] - done
                filled += 1
                if over:
                    break
            if _reached(s) == before:
                break  # a round in which nothing could be done would repeat for ever
    return s, filled


Runs = tuple[int, int, int, bool, int, int]
"""As `play_part` takes them."""


@compiled
def _one(st: Structure, nu: Numbers, runs: Runs, seed: np.uint64, out: Out, i: int) -> None:
    """Play one run and keep what counts."""
    begin, first, each, luck, many, cases = runs
    robot, at = i // many, i % many  # every robot has the same luck
    first += robot * cases
    draw = (seed, np.uint64(begin + at), luck)
    # a belief holds for as many matches in a row as there are of each, and so does a case, unless there is one for all
    case = first + at // each if each > 0 else first
    belief = (begin + at) // abs(each)
    s, out.filled[i] = play(st, nu, (case, np.uint64(belief)), draw, out.rows[i], out.finished[i])
    out.totals[i, 0], out.totals[i, 1] = s.clock[EARNED], s.clock[EARLY]
    out.totals[i, 2], out.totals[i, 3] = s.clock[HOT], s.clock[SPENT]
    out.ended[i] = s.ended
    out.earned[i] = s.earned
    out.odds[i] = s.odds
    out.pressure[i] = s.air[:, 0]


def _compiled(sources: int) -> Callable[..., Any]:
    """Compile the loop over runs; the cache holds it by the sources, which it closes over."""

    @kept
    def play_part(st: Structure, nu: Numbers, runs: Runs, seed: np.uint64, out: Out, part: tuple[int, int]) -> int:
        """Play the matches of a batch from one to another."""
        for i in range(part[0], part[1]):
            _one(st, nu, runs, seed, out, i)
        return sources

    return play_part


play_part = _compiled(fingerprint((motor, motion, tank, thermal, layout, state, travel)))
"""``play_part(structure, numbers, (first run, first case, matches of each case, luck, matches of each robot, cases from
one robot's first to the next one's), seed, arrays to fill, (first match to play, the one after the last))``; a negative
number of matches of each case has one case for all, and a belief for so many each."""
