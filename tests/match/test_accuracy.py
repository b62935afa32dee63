"""The loop against ordinary differential equations solved by SciPy, against closed forms, and against the findings."""

from __future__ import annotations

import importlib.util
import math
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from fieldworthy.engine.context import Context
from fieldworthy.match import play_runs, played, setup
from fieldworthy.match.travel import PHASES, phases_of
from fieldworthy.match.travel import least_turn as compiled_turn
from fieldworthy.physics.motors.driving import move_draw, turn
from fieldworthy.physics.motors.motion import DriveLine, Load, move
from fieldworthy.robot import load_robot
from fieldworthy.systems.drive.mechanics import drive_use
from fieldworthy.vehicle import state
from fieldworthy.vehicle.drivetrain import powertrain
from fieldworthy.vehicle.schedule import least_turn
from fieldworthy.vehicle.supply import air_along_plan
from robots import changed, example, example_copy, load, nominal

FILE = Path(__file__).parents[2] / "benchmarks" / "match_peer.py"
SPEC = importlib.util.spec_from_file_location("match_peer", FILE)
PEER = importlib.util.module_from_spec(SPEC)
sys.modules[SPEC.name] = PEER  # a dataclass looks its module up there
SPEC.loader.exec_module(PEER)

DERATED = [{"above": "55 degC", "factor": 0.5}, {"above": "60 degC", "factor": 0.3}]
SHUTTLE = {
    "actions": {"wait": {"time": "0.4 s"}},
    "plan": {
        "start": "a",
        "driven": [{"times": 25, "repeat": [{"action": "wait", "at": "c"}, {"action": "wait", "at": "a"}]}],
    },
}


def motors(**changes):
    return {"catalogue": {"motors": {"test motor": changes}}}


def hot(folder, start="53 degC", steps=DERATED):
    """A robot that shuttles until its controllers cut the current."""
    robot = SHUTTLE | motors(derating=steps) | {"drive": {"motor_start_temperature": start}}
    return setup(nominal(load(folder, robot, {"periods": {"driven": "200 s"}})))


def compare(match, **options):
    """Largest error of begin and end, winding's rise, charge and gauge pressure, each as a share of its own size."""
    peer = PEER.Peer(match, **options)
    found, expected = played(match).events, peer.play()
    assert len(found) == len(expected)
    assert all(e.reason in ("done", "full", "air") for e in found)
    start, worst = match.numbers.motors[0, :, 12], np.zeros(4)
    for event, (begins, ends, y) in zip(found, expected, strict=True):
        motor = match.motors.index(event.hottest_motor)
        rise = y[3 + 2 * motor] - start[motor]
        pressures = y[3 + 2 * peer.M :]
        worst = np.maximum(worst, [
            max(abs(event.begins / begins - 1), abs(event.ends / ends - 1)),
            abs((event.hottest - start[motor]) / rise - 1),
            abs(event.charge / y[2] - 1),
            max((abs(g / p - 1) for g, p in zip(event.pressure.values(), pressures, strict=True)), default=0.0),
        ])  # fmt: skip
    return worst


@pytest.mark.parametrize("name", ["mk1", "mk2", "otter"])
def test_a_whole_match_agrees_with_solve_ivp(name, evidence):
    # issue: 0.1 % over a whole match; the rise of temperature is held to it, not the absolute temperature
    worst = compare(setup(nominal(example(name))))
    evidence(
        "match",
        "Time, heat, charge and pressure after every action of a match: largest quotient, less 1 at best",
        "one system of equations for the whole match in scipy's solve_ivp",
        "the three example robots, whole matches",
        "",
        1.0 + worst,
        np.ones(4),
    )
    assert worst == pytest.approx([0, 0, 0, 0], abs=1e-3)
    assert worst[[0, 2, 3]] == pytest.approx([0, 0, 0], abs=1e-4 if name == "otter" else 5e-5)  # more short ways


def test_a_match_with_derating_agrees_with_solve_ivp(tmp_path):
    match = hot(tmp_path)
    levels = np.array([e.hottest >= 328.15 for e in played(match).events])
    assert levels.any()
    assert not levels.all()
    assert compare(match) == pytest.approx([0, 0, 0, 0], abs=1e-3)


def test_derating_read_when_an_event_begins_costs_little(tmp_path):
    # the controller reads it at every instant; a way lasts 2 s, a winding's time constant 75 s. Bound, from that
    # ratio and the halved current of a step: 1 % of the time and 4 % of the rise
    worst = compare(hot(tmp_path), continuous=True, rtol=1e-7)
    assert worst[0] == pytest.approx(0, abs=0.01)
    assert worst[1:3] == pytest.approx([0, 0], abs=0.04)


def test_ways_and_turns_are_those_of_the_physics():
    context = nominal(example())
    match = setup(context)
    nu = match.numbers
    performance, train = state.performance(context, "driving empty"), powertrain(context.robot)
    phases = np.zeros((PHASES, 3))
    for distance in (1e-3, 0.02, 0.1, 0.5, 1.7, 3.0, 40.0):
        time = phases_of(nu.lines[0, 0], nu.loads[0, 0, 0, 0], distance, nu.drive[0], nu.motors[0, 0], phases)
        drawn = move_draw(train, performance.load, move(performance.line, performance.load, distance))
        assert time == pytest.approx(float(move(performance.line, performance.load, distance).time), rel=5e-5)
        assert phases[:, 1].sum() == pytest.approx(float(drawn.square), rel=1e-4)
        assert phases[:, 2].sum() == pytest.approx(float(drawn.charge), rel=1e-4)
    for angle in (0.02, 0.5, 1.5):
        rims = angle * nu.lever[0, 0]
        time = phases_of(nu.lines[0, 0], nu.loads[0, 0, 0, 1], rims, nu.drive[0], nu.motors[0, 0], phases)
        assert time == pytest.approx(
            float(turn(performance.line, performance.yaw, angle, context.robot.drive.braking).time), rel=1e-5
        )
    assert train.motors == nu.motors[0, 0, 11]


def test_a_motor_and_a_mass_move_as_the_closed_form_says():
    # F = F0 - k v on a mass: v = w (1 - exp(-t / T)), x = w t - T v with T = m / k, w = F0 / k; a stop so hard
    # that it takes no room. Six places of Gauss's rule over the whole run-up, which ends a millionth below top speed
    # in the last case, are good to 2e-4
    mass, stall, slope = 6.0, 60.0, 25.0
    w, lag = stall / slope, mass / slope
    line = np.array([stall, slope, np.inf, np.inf])
    row, drive = np.ones(13), np.array([12.0, 0.0, 1e9, 30.0, 1.0, 293.15, 101325.0])
    for t in (0.05, 0.3, 1.0, 3.0):
        speed = w * -math.expm1(-t / lag)
        way = w * t - lag * speed
        phases = np.zeros((PHASES, 3))
        load_row = np.array([mass, 0.0, 0.0, np.inf, 1e12])
        assert phases_of(line, load_row, way, drive, row, phases) == pytest.approx(t, rel=2e-4)
        # impulse of the braking: speed over deceleration
        assert phases[-1, 0] * 1e12 == pytest.approx(speed, rel=2e-4)


@pytest.mark.long
def test_a_way_that_cannot_start_takes_for_ever_and_none_takes_no_time():
    row, drive, phases = np.ones(13), np.array([12.0, 0.0, 1e9, 30.0, 1.0, 293.15, 101325.0]), np.zeros((PHASES, 3))
    stuck = np.array([5.0, 0.0, 70.0, np.inf, 3.0])
    line = np.array([60.0, 25.0, np.inf, np.inf])
    assert phases_of(line, stuck, 1.0, drive, row, phases) == math.inf
    assert phases_of(line, stuck, 0.0, drive, row, phases) == 0.0
    assert move(DriveLine(60.0, 25.0), Load(5.0, 0.0, 70.0, np.inf, 3.0), 1.0).time == math.inf


@pytest.mark.parametrize("name", ["mk1", "mk2", "otter"])
def test_the_timeline_is_the_schedule_that_the_findings_stand_on(name):
    context = nominal(example(name))
    events = played(setup(context)).events
    beats = state.schedule(context)
    assert [(e.action, e.place, e.period) for e in events] == [(b.action, b.place, b.period) for b in beats]
    for event, beat in zip(events, state.schedule(context), strict=True):
        assert (event.leaves, event.begins, event.ends) == pytest.approx(
            (beat.leaves, beat.begins, beat.ends), abs=1e-3
        )


@pytest.mark.parametrize("name", ["mk1", "mk2", "otter"])
def test_air_is_that_of_the_findings(name):
    context = nominal(example(name))
    events = played(setup(context)).events
    air = air_along_plan(context)
    for tank, gauge in air.gauge.items():
        # the pressure right after the last draw of the plan, and an event ends with its draws
        last = [e for e in events if e.ends == pytest.approx(air.times[tank][-1], abs=1e-3)][-1]
        assert last.pressure[tank] == pytest.approx(float(gauge[-1]), rel=1e-5)
    short = {e.action for e in events if e.reason == "air"}
    needs = {
        d.action
        for d, p in ((d, p) for t in air.gauge for d, p in zip(
            [d for d in air.draws if context.robot.air.cylinders[d.name].tank == t], air.gauge[t], strict=True))
        if float(p) + state.p_atm(context) < d.draw.p_need
    }  # fmt: skip
    assert short == needs


@pytest.mark.parametrize("name", ["mk1", "mk2"])  # the drive's motors are their hottest; the fork's are the otter's
def test_heat_and_charge_of_the_drive_are_those_of_the_findings(name):
    context = nominal(example(name))
    match = setup(context)
    use = drive_use(context)
    hottest = float(play_runs(match, 1, luck=False).hottest[0])
    start = match.numbers.motors[0, 0, 12]
    # the findings take one effective current for each way, which their own note says is within 2 % of the rise
    assert hottest - start == pytest.approx(float(use.hottest) - start, rel=0.02)
    without = setup(Context(_idle(context.robot), context.season))
    assert played(without).events[-1].charge == pytest.approx(float(use.charge), rel=1e-4)


STUCK = {"catalogue": {"wheels": {"test wheel": {"rolling_resistance": 0.9}}}}


def shuttled(folder, *changes):
    robot = SHUTTLE | {"plan": {"start": "a", "driven": [{"times": 20, "repeat": [{"action": "wait", "at": "c"}]}]}}
    for change in (STUCK, *changes):
        robot = changed(robot, change)
    return played(setup(nominal(load(folder, robot)))).events


@pytest.mark.parametrize("limit", [2.5, 9.0])
def test_a_drive_that_cannot_start_heats_like_stalled_motors(tmp_path, limit):
    """By scipy's solve_ivp: stalls of 5 s follow one another for the 100 s driven, from motors as warm as the hall.

    A motor that stands takes the limit, or what 12.8 V send through 3.333 ohm and its share of the battery, and the
    battery gives what the windings turn to heat and what it loses itself.
    """
    events = shuttled(tmp_path, motors(current_limit=f"{limit} A"))
    resistance, source, hall = 12 / 3.6, 4 * 0.12, 293.15
    current = min(limit, 12.8 / (resistance + source))

    def rates(time, y):
        loss = current**2 * resistance * (1 + 0.00393 * (y[0] - 293.15)) if time > 20.0 else 0.0
        flow = (y[0] - y[1]) / 3
        return [(loss - flow) / 25, (flow - (y[1] - hall) / 7) / 90, 0.0]

    found = solve_ivp(rates, (0, 120), [hall, hall, 0.0], rtol=1e-9, max_step=0.5)
    assert {e.reason for e in events} == {"load"}
    assert len(events) == 20
    assert events[-1].ends == 120.0
    assert events[-1].hottest == pytest.approx(found.y[0, -1], abs=0.05)
    drawn = brentq(lambda amperes: amperes * (12.8 - 0.12 * amperes) - 4 * current**2 * resistance, 0.0, 20.0)
    assert events[-1].charge == pytest.approx(100 * drawn, rel=1e-6)


def test_more_mass_or_fewer_motors_never_keep_a_stuck_drive_cooler(tmp_path):
    heavy = [{"parts": {"box": {"mass": f"{mass} kg"}}} for mass in (7, 14, 60)]
    found = [shuttled(tmp_path, one)[-1] for one in heavy]
    assert np.all(np.diff([e.hottest for e in found]) >= 0)
    assert np.all(np.diff([e.charge for e in found]) >= 0)
    few = [shuttled(tmp_path, {"drive": {"motors": count}}, motors(current_limit="9 A"))[-1] for count in (6, 4, 2)]
    assert np.all(np.diff([e.hottest for e in few]) > 0)  # fewer share the battery's sag
    moves = changed(SHUTTLE, motors(current_limit="9 A"))
    assert played(setup(nominal(load(tmp_path, moves)))).events[-1].hottest < few[1].hottest


def test_a_drive_too_weak_even_when_cold_is_not_said_to_be_cut_back_by_heat(tmp_path):
    events = shuttled(tmp_path, motors(derating=DERATED))
    assert max(e.hottest for e in events) > 328.15
    assert {e.reason for e in events} == {"load"}


def _idle(robot):
    import dataclasses

    actions = {name: dataclasses.replace(action, motors={}) for name, action in robot.actions.items()}
    return dataclasses.replace(robot, actions=actions)


def test_the_battery_gives_what_motion_and_heat_take(tmp_path):
    # energy from the ideal source = loss in its resistance and in the windings + friction of motors and gears +
    # drag and kinetic energy, which is summed here from the run-ups' own forces
    match = setup(nominal(load(tmp_path, SHUTTLE, {})))
    nu = match.numbers
    row, drive = nu.motors[0, 0], nu.drive[0]
    line, straight = nu.lines[0, 0], nu.loads[0, 0, 0, 0]
    phases = np.zeros((PHASES, 3))
    phases_of(line, straight, 2.5, drive, row, phases)
    charge = phases[:, 2].sum()
    mass, drag, stop = straight[0] + straight[1], straight[2], straight[4]
    peak = phases[-1, 0] * stop
    run_up = 2.5 - peak**2 / (2 * stop)
    at_rims = 0.5 * mass * peak**2 + drag * run_up
    n, R, Kt, Ke, I0 = row[11], row[4], row[5], row[6], row[7]
    G, eta, V0, Rb = drive[3], drive[4], drive[0], drive[1]
    squares = phases[:-1, 1].sum()
    # every motor: Ke w I dt = (Ke / Kt) (torque + Kt I0) w dt, and torque is what the rims get over gears and number
    turned = run_up * G
    mechanical = Ke / Kt * (at_rims / eta + n * Kt * I0 * turned)
    sag = _squared_battery_current(line, straight, drive, row, peak, run_up) * Rb
    assert V0 * charge == pytest.approx(n * R * squares + mechanical + sag, rel=1e-3)


def _squared_battery_current(line, straight, drive, row, peak, run_up):
    """Integral of the squared battery current over the run-up and the cruise, by SciPy's quadrature over speed."""
    from scipy.integrate import quad

    mass, drag = straight[0] + straight[1], straight[2]

    def a(v):
        return min((min(line[0] - line[1] * v, line[2], line[3] / max(v, 1e-9)) - drag) / mass, straight[3])

    def squared(v):
        current = (a(v) * mass + drag) / (row[11] * drive[3] * drive[4]) / row[5] + row[7]
        power = row[11] * current * (current * row[4] + row[6] * drive[3] * v)
        return ((drive[0] - math.sqrt(drive[0] ** 2 - 4 * drive[1] * power)) / (2 * drive[1])) ** 2

    whole = quad(lambda v: squared(v) / a(v), 0.0, peak, limit=200, epsrel=1e-7)[0]
    way = quad(lambda v: v / a(v), 0.0, peak, limit=200, epsrel=1e-7)[0]
    return whole + squared(peak) * (run_up - way) / peak


def test_the_turn_between_two_ways_is_the_schedules():
    angles = np.linspace(-2 * math.pi, 2 * math.pi, 41)
    for before in angles:
        for after in angles:
            assert compiled_turn(before, after) == pytest.approx(least_turn(before, after), abs=1e-12)


@pytest.mark.long
def test_a_level_of_derating_is_the_factor_of_the_physics(tmp_path):
    from fieldworthy.match.kernel import _fresh, _level
    from fieldworthy.physics.motors.thermal import derating_factor

    match = hot(tmp_path)
    state = _fresh(match.structure, match.numbers, 0, np.uint64(0), np.uint64(0), False)
    for temperature in (300.0, 328.14, 328.16, 333.14, 333.16, 400.0):
        state.heat[0, 0] = temperature - match.numbers.drive[0, 5]
        level = _level(match.numbers, 0, state)
        share = float(derating_factor(temperature, (328.15, 333.15), (0.5, 0.3)))
        assert [1.0, 0.5, 0.3][level] == pytest.approx(share)
        held = match.numbers.lines[0, level, 2] / match.numbers.lines[0, 0, 2]
        # Kt (I - I0) of 2.5 A with 0.13 A to turn the motor itself
        assert held == pytest.approx((2.5 * share - 0.13) / (2.5 - 0.13), rel=1e-9)


def test_batch_is_cases_one_by_one(tmp_path):
    from fieldworthy.engine.evaluate import Cases
    from fieldworthy.match.forecast import _drawn

    loaded = example()
    base = nominal(loaded)
    cases = Cases(3, 0, 5, [])
    drawn = _drawn(loaded, cases, base)
    match = setup(drawn, "whole", cases.size)
    together = play_runs(match, 5, luck=False)
    for i in range(5):
        one = played(match, case=i + 1)
        assert together.points[i] == one.points
        assert together.charge[i] == pytest.approx(one.events[-1].charge, rel=1e-12)
    assert len(set(together.charge)) == 5


@pytest.mark.long
def test_a_drive_heats_the_more_the_nearer_it_is_to_standing_still(tmp_path):
    """The heat of a winding grows with the torque asked of it (I^2 R, Hughes): friction of a drive until it is stuck.

    A twentieth of the rise is left to the plan: with slower ways other actions fit into the match, and who is stuck
    tries each for 5 s only.
    """
    rises = []
    for friction in (0.5, 1.5, 2.0, 2.2, 2.3, 2.36, 2.38, 2.39, 2.394, 2.396, 2.397, 2.3975, 2.398, 2.5, 3.0, 5.0):
        robot = example_copy(tmp_path)
        text = robot.read_text("utf-8")
        more = f"drive:\n  friction_torque: {{value: {friction} N*m, tolerance: 0 N*m}}\n"
        robot.write_text(text.replace("drive:\n", more, 1), "utf-8")
        context = nominal(load_robot(robot))
        run = play_runs(setup(context), 1, luck=False)
        rises.append((friction, float(run.hottest[0]) - state.start_temperature(context)))
        use = drive_use(context)
        if use is not None and not state.undrivable(context):
            assert float(use.hottest) - state.start_temperature(context) == pytest.approx(rises[-1][1], rel=0.1)
    assert rises[0][1] < 0.2 * rises[-1][1]
    for i, (friction, rise) in enumerate(rises):
        assert rise > 0.94 * max(cooler for _, cooler in rises[: i + 1]), friction
