"""Straight driving against scipy's integration of the same equations, closed forms and worked problems."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from fieldworthy.physics.motors import driving, motion, motor
from reference import case, cases

RPM = 2.0 * np.pi / 60.0
MOTOR = motor.MotorLine(62.8, 0.66, 0.13, 3.6, 12.0)

# current limit, power cap, battery resistance, ratio, wheel radius, mass, rotating mass, resistance, grip
ROBOTS = [
    (np.inf, np.inf, 0.0, 1.25, 0.035, 6.0, 0.0, 0.0, np.inf),
    (2.5, 11.0, 0.1, 1.25, 0.035, 6.5, 0.3, 3.0, 7.0),
    (2.5, 7.0, 0.2, 2.0, 0.041, 7.5, 0.5, 2.0, 5.0),
    (np.inf, 6.0, 0.1, 1.0, 0.035, 5.0, 0.2, 1.5, np.inf),
    (3.3, 8.0, 0.1, 1.5, 0.051, 8.0, 0.2, 0.0, 2.0),
    (np.inf, 1.0, 0.1, 0.5, 0.035, 5.0, 0.2, 6.0, np.inf),
]


def build(robot):
    limit, cap, Rb, ratio, radius, mass, rotating, resistance, grip = robot
    wheels = motion.Wheels(motor.GearStage(ratio, 0.92), radius)
    train = motion.Powertrain(MOTOR, motor.Controller(limit, cap), motor.Battery(12.5, Rb), 6, wheels)
    return train, motion.Load(mass, rotating, resistance, grip, 4.0)


def acceleration(robot, v):
    """Newton and Kirchhoff once more, the battery's voltage found by bracketing, no closed form."""
    limit, cap, Rb, ratio, radius, mass, rotating, resistance, grip = robot
    K, Ke, R, I0 = MOTOR.torque_constant, MOTOR.voltage_constant, MOTOR.resistance, MOTOR.free_current
    w = v * ratio / radius
    most = min(limit, (cap / w / K if w > 0 else np.inf) + I0)

    def current(V):
        return min((V - Ke * w) / R, most)

    def short(V):
        drawn = 6 * current(V) * (current(V) * R + Ke * w) / V
        return 12.5 - Rb * drawn - V

    V = brentq(short, 6.5, 14.0, xtol=1e-13) if Rb else 12.5
    force = 6 * K * (current(V) - I0) * ratio / radius * 0.92
    return min((force - resistance) / (mass + rotating), grip)


@pytest.mark.parametrize("robot", ROBOTS)
def test_drive_force_and_acceleration_against_root_finding(robot):
    train, load = build(robot)
    drive = motion.drive_line(train)
    top = float(motion.top_speed(drive, load))
    for share in np.linspace(0.0, 0.97, 12):
        v = share * top
        force = motion.drive_force(v, drive.stall_force, drive.slope, drive.force_limit, drive.power_limit)
        a = motion.acceleration(force, load.resistance, load.mass, load.rotating_mass, load.grip_acceleration)
        assert a == pytest.approx(acceleration(robot, v), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("robot", ROBOTS)
@pytest.mark.parametrize("distance", [0.1, 0.6, 1.8, 3.6])
def test_move_against_integration_in_time(robot, distance, evidence):
    # scipy's integrator steps time through run-up and braking; the start of braking is searched so that the stop
    # comes at the distance. 1e-7: its tolerances, crossed corners of the force curve included
    train, load = build(robot)

    def stop(t, y):
        return y[0] + y[1] ** 2 / (2.0 * load.deceleration) - distance

    stop.terminal = True
    run = solve_ivp(
        lambda t, y: (y[1], acceleration(robot, y[1])),
        (0.0, 30.0),
        (0.0, 0.0),
        events=stop,
        rtol=1e-9,
        atol=1e-11,
        max_step=0.02,
    )
    t, (_, v) = run.t_events[0][0], run.y_events[0][0]
    found = motion.move(motion.drive_line(train), load, distance)
    evidence(
        "drive",
        "Time of a move from rest to rest",
        "scipy's solve_ivp of Newton's and Kirchhoff's laws",
        "0.1 to 3.6 m, six drives: with and without current limit, power cap, battery sag, limit of grip",
        "s",
        found.time,
        t + v / load.deceleration,
    )
    assert found.time == pytest.approx(t + v / load.deceleration, rel=1e-7)
    assert found.peak_speed == pytest.approx(v, rel=1e-7)


@pytest.mark.parametrize("c", cases("motor-mass"), ids=lambda c: c["id"])
def test_motor_and_mass_closed_form(c):
    # closed form of m dv/dt = F0 (1 - v / vmax), found there with scipy's brentq
    g = c["given"]
    radius = g["wheel_mm"] / 2000.0
    top = g["free_rpm_at_wheel"] * RPM * radius
    force = g["motors"] * g["stall_Nm_at_wheel_per_motor"] / radius
    found = motion.move(motion.DriveLine(force, force / top), motion.Load(g["mass_kg"]), g["distance_m"])
    assert top == pytest.approx(c["expect"]["top_m_s"], rel=c["rel_tol"])
    assert found.time == pytest.approx(c["expect"]["time_s"], rel=c["rel_tol"])
    assert found.peak_speed == pytest.approx(c["expect"]["speed_m_s"], rel=c["rel_tol"])


def test_pro_04_constant_friction():
    # strength B: scipy's solve_ivp; the time of the given speed and the way by then
    c, e = case("PRO-04")["inputs"], case("PRO-04")["expected"]
    drive = motion.DriveLine(c["F_stall_N"], c["F_stall_N"] / c["v_free_m_s"])
    load = motion.Load(c["m_kg"], resistance=c["F_friction_N"])
    assert motion.top_speed(drive, load) == pytest.approx(e["v_ss"]["value"], rel=1e-9)
    found = motion.move(drive, load, e["x(1)"]["value"])
    assert found.time == pytest.approx(1.0, rel=1e-7)
    assert found.peak_speed == pytest.approx(e["v(1)"]["value"], rel=1e-7)


def test_pro_02_trapezoid_and_triangle_as_a_steep_line():
    # strength B: kinematics. A line so steep that the force falls from full to none within 1e-6 of top speed is a
    # trapezoid to about that share
    c, e = case("PRO-02")["inputs"], case("PRO-02")["expected"]
    top, steep = c["v_max"], 1e7
    drive = motion.DriveLine(steep * top, steep, force_limit=c["acc"])
    lengths = np.array(c["L_m"])
    found = motion.move(drive, motion.Load(1.0, deceleration=c["dec"]), lengths)
    assert lengths.size
    for length, time, peak in zip(lengths, found.time, found.peak_speed, strict=True):
        assert time == pytest.approx(e[f"T_L{length}"]["value"], rel=2e-6)
        assert peak == pytest.approx(e[f"vpeak_L{length}"]["value"], rel=2e-6)


def test_pro_01_trapezoid_from_the_acceleration_that_was_asked_for():
    # strength C: L = v (t_acc + t_cruise), T = 2 t_acc + t_cruise, another's arithmetic
    c, e = case("PRO-01")["inputs"], case("PRO-01")["expected"]
    a, top = e["a"]["value"], c["v_max"]
    drive = motion.DriveLine(1e7 * top, 1e7, force_limit=a)
    found = motion.move(drive, motion.Load(1.0, deceleration=a), np.sqrt(14.0))
    assert found.time == pytest.approx(c["T_s"], rel=2e-6)
    assert found.time - 2.0 * found.peak_speed / a == pytest.approx(e["t_cruise"]["value"], rel=5e-6)


@pytest.mark.parametrize("robot", ROBOTS)
def test_corners_of_the_force_curve_close_the_energy_balance(robot):
    # work of the drive force = kinetic energy + work of the resistance; the work by scipy's quad piece by piece.
    # 1e-9: its tolerance and that of the bracketed accelerations
    train, load = build(robot)
    curve = motion.speed_curve(motion.drive_line(train), load)
    peak = 0.95 * float(curve.top_speed)
    edges = [0.0, *(min(float(c), peak) for c in curve.corners), peak]
    work = 0.0
    for low, high in pairwise(edges):
        part, _ = quad(lambda v: curve.force(v) * v / acceleration(robot, v), low, high, epsabs=0, epsrel=1e-11)
        work += part
    mass = load.mass + load.rotating_mass
    stored = 0.5 * mass * peak**2 + load.resistance * float(curve.run_up(peak)[1])
    assert stored == pytest.approx(work, rel=1e-9)


@pytest.mark.parametrize("robot", ROBOTS)
def test_draw_against_integration_in_time(robot):
    # battery charge, energy and squared winding current along scipy's run. 1e-4: six nodes a piece
    train, load = build(robot)
    drive = motion.drive_line(train)
    moved = motion.move(drive, load, 1.2)
    draw = driving.move_draw(train, load, moved)
    _, _, Rb, ratio, radius, mass, rotating, resistance, _ = robot
    K, Ke, R, I0 = MOTOR.torque_constant, MOTOR.voltage_constant, MOTOR.resistance, MOTOR.free_current

    def rates(t, y):
        a = acceleration(robot, y[0])
        current = (a * (mass + rotating) + resistance) * radius / (6 * ratio * 0.92 * K) + I0
        power = 6 * current * (current * R + Ke * y[0] * ratio / radius)
        V = brentq(lambda V: V * (12.5 - V) - Rb * power, 6.3, 12.6) if Rb else 12.5
        return a, power / V, power, current**2

    run = solve_ivp(rates, (0.0, float(moved.run_up_time)), (0, 0, 0, 0), rtol=1e-9, atol=1e-10, max_step=0.01)
    _, charge, energy, square = run.y[:, -1]
    stop_force = max(load.deceleration * (mass + rotating) - resistance, 0.0)
    stop_current = max(stop_force * radius * 0.92 / (6 * ratio * K) - I0, 0.0)
    square += stop_current**2 * float(moved.peak_speed) / load.deceleration
    assert draw.charge == pytest.approx(charge, rel=1e-4)
    assert draw.energy == pytest.approx(energy, rel=1e-4)
    assert draw.square == pytest.approx(square, rel=1e-4)


def test_no_drive_takes_more_than_its_battery_gives():
    # maximum power transfer: an ideal source behind a resistance gives V0^2 / (4 R) at most (circuit theory, from
    # memory); 12 V and 0.1 ohm: 360 W, at 6 V and 60 A
    wheels = motion.Wheels(motor.GearStage(1.25, 0.92), 0.035)
    train = motion.Powertrain(MOTOR, motor.Controller(), motor.Battery(12.0, 0.1), 6, wheels)
    asked = driving.pulled(train, np.array([400.0, 20.0]), np.array([5.0, 1.0]))
    assert np.isinf(asked.battery_current).tolist() == [True, False]
    assert np.isinf(asked.power).tolist() == [True, False]
    # what is given closes the loop: V = V0 - R i and P = V i
    i, P = asked.battery_current[1], asked.power[1]
    assert (12.0 - 0.1 * i) * i == pytest.approx(P, rel=1e-12)
    # up to the most that the battery gives, found by bracketing, the current is 60 A at most
    edge = brentq(lambda F: float(driving.pulled(train, F, 1.5).power > 1e300) - 0.5, 1.0, 1000.0, xtol=1e-9)
    below = driving.pulled(train, edge - 1e-6, 1.5)
    assert below.power == pytest.approx(360.0, rel=1e-6)
    assert below.battery_current == pytest.approx(60.0, rel=1e-3)


def test_newton_leaves_a_residual_below_a_billionth():
    # a thousand unlike drives; what is left of the distance, by the curve's own closed form
    rng = np.random.default_rng(20)
    n = 1000
    drive = motion.DriveLine(
        rng.uniform(10, 90, n), rng.uniform(8, 80, n), rng.uniform(5, 60, n), rng.uniform(3, 70, n)
    )
    load = motion.Load(rng.uniform(3, 9, n), 0.3, rng.uniform(0, 4, n), rng.uniform(2, 9, n), rng.uniform(0.5, 9, n))
    curve = motion.speed_curve(drive, load)
    distance = np.array([0.01, 0.2, 1.0, 3.0])[:, None]
    peak, cruise = curve.peak_speed(distance, load.deceleration)
    way = curve.run_up(peak)[1] + peak**2 / (2.0 * load.deceleration) + cruise
    assert way / distance == pytest.approx(np.ones_like(way), abs=2e-9)
    assert motion.SpeedCurve(1.0, 1.0, 1.0, 0.5, 9.0, 0.7).top_speed == 0.0
