"""Lifts and motor arms, from the file to the findings, against MuJoCo's tendons and against integration in time."""

from __future__ import annotations

import math

import mujoco
import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from fieldworthy.systems.lift import check as lift
from fieldworthy.vehicle import state
from fieldworthy.vehicle.supply import air_line
from robots import GRAVITY, check, fact, find, load, nominal

ARM = {"mass": "0.6 kg", "position": ["0.1 m", "0 m", "0.3 m"], "size": ["0.2 m", "0.2 m", "0.02 m"], "rides": "arm"}
PUSHED = {
    "kind": "lift", "rides": "arm", "side": "ahead", "pivot": ["0 m", "0.3 m"], "fixed_pin": ["0.07 m", "0.1513 m"],
    "arm_pin": ["0.06 m", "0.27 m"], "cylinder": "lift", "swing": "40 deg", "friction": "0.05 N*m",
    "carries": {"ball": {"object": "ball", "position": ["0.15 m", "0.33 m"]}},
}  # fmt: skip
PULLED = {**PUSHED, "fixed_pin": ["0 m", "0.46 m"], "arm_pin": ["0.058 m", "0.3 m"]}
BEHIND = {
    **PUSHED, "side": "behind", "fixed_pin": ["-0.07 m", "0.1513 m"], "arm_pin": ["-0.06 m", "0.27 m"],
    "carries": {"ball": {"object": "ball", "position": ["-0.15 m", "0.33 m"]}},
}  # fmt: skip


def robot_of(mechanism, arm=ARM, **cylinder):
    air = {
        "tanks": {"tank": {"tank": "test tank", "charge": "650 kPa", "regulator": "400 kPa"}},
        "cylinders": {"lift": {"cylinder": "test cylinder", "tank": "tank", "valve": "test valve", **cylinder}},
    }
    return {"parts": {"arm": arm}, "air": air, "mechanisms": {"lift": mechanism}}


def lifted_of(folder, robot):
    subject = nominal(load(folder, robot))
    return subject, lift.lifted(subject, "lift", subject.robot.mechanisms["lift"])


def metres(texts):
    return [float(text.split()[0]) for text in texts]


def tendon_model(mechanism, arm_x):
    """The arm as a hinge that raises with positive angle, the cylinder as a tendon between its two pins."""
    (px, pz), (fx, fz), (ax, az) = (metres(mechanism[key]) for key in ("pivot", "fixed_pin", "arm_pin"))
    bx, bz = metres(mechanism["carries"]["ball"]["position"])
    up = "0 -1 0" if mechanism["side"] == "ahead" else "0 1 0"
    return mujoco.MjModel.from_xml_string(f"""
    <mujoco><option gravity="0 0 -{GRAVITY}"/><worldbody>
      <site name="frame" pos="{fx} 0 {fz}"/>
      <body pos="{px} 0 {pz}"><joint type="hinge" axis="{up}"/>
        <geom type="box" size="0.1 0.1 0.01" pos="{arm_x - px} 0 {0.3 - pz}" mass="0.6"/>
        <geom type="sphere" size="0.0001" pos="{bx - px} 0 {bz - pz}" mass="0.4"/>
        <site name="arm" pos="{ax - px} 0 {az - pz}"/></body>
    </worldbody>
    <tendon><spatial><site site="frame"/><site site="arm"/></spatial></tendon></mujoco>""")


@pytest.mark.parametrize(
    ("mechanism", "arm_x", "pushes"), [(PUSHED, 0.1, True), (PULLED, 0.1, False), (BEHIND, -0.1, True)]
)
def test_length_lever_and_force_along_the_stroke_against_a_tendon(tmp_path, mechanism, arm_x, pushes, evidence):
    """Length, moment arm and torque at each point; then the findings' worst shares both ways, from MuJoCo's numbers."""
    robot = robot_of(mechanism, {**ARM, "position": [f"{arm_x} m", "0 m", "0.3 m"]})
    _, at = lifted_of(tmp_path, robot)
    assert at.pushes is pushes
    model = tendon_model(mechanism, arm_x)
    data = mujoco.MjData(model)
    up, down = [], []
    # test cylinder: 16 mm bore, 6 mm rod, a tenth lost in its seals, 400 kPa
    push, pull = (0.9 * 400e3 * math.pi / 4 * area for area in (0.016**2, 0.016**2 - 0.006**2))
    raise_force, lower_force = (push, pull) if pushes else (pull, push)
    for place in range(len(at.along.length)):
        data.qpos[0], data.qvel[0], data.qacc[0] = float(at.turned(place)), 0.0, 0.0
        mujoco.mj_inverse(model, data)
        lever = float(np.ravel(data.ten_J)[0])  # dL/dangle, rising angle raises
        weight = data.qfrc_inverse[0]  # torque that holds it
        assert float(at.along.length[place]) == pytest.approx(data.ten_length[0], rel=1e-9)
        assert float(at.along.moment_arm[place]) == pytest.approx(lever if pushes else -lever, rel=1e-9)
        up.append((weight + 0.05) / (raise_force * abs(lever)))
        down.append((0.05 - weight) / (lower_force * abs(lever)))
    report = check(tmp_path, robot)
    evidence(
        "lift",
        "Largest share of the cylinder's force that the arm asks for",
        "MuJoCo's tendon and inverse dynamics",
        "cylinders that push and that pull, arm ahead of and behind its pivot, along the whole stroke",
        "",
        find(report, "lift.force_up.lift").value,
        max(up),
    )
    # the same seventeen poses: rounding alone
    assert find(report, "lift.force_up.lift").value == pytest.approx(max(up), rel=1e-8)
    assert find(report, "lift.force_down.lift").value == pytest.approx(max(*down, 0.0), rel=1e-8, abs=1e-12)
    ends = [float(at.turned(at.high)), float(at.turned(at.low))]
    swing = find(report, "lift.swing.lift")
    assert math.radians(swing.value) == pytest.approx(ends[0] - max(ends[1], 0.0), rel=1e-9)
    # the pins were placed for the arm to lie where its parts do
    assert find(report, "lift.placed.lift").verdict == "holds"


def iso_flow(line, p_up, p_down, T):
    """Mass flow of ISO 6358-1 [kg/s]."""
    over = max(p_down / p_up - line.b, 0.0) / (1.0 - line.b)
    return line.C * 1.185 * p_up * math.sqrt(293.15 / T) * math.sqrt(max(1.0 - over**2, 0.0))


def time_by_integration(subject, at):
    """Two isothermal chambers, the real lever and load at every angle, held at its stop until it can move."""
    c, count, T = at.use.cylinder, at.use.spec.count, float(subject.season.temperature)
    atm = float(state.p_atm(subject))
    line, supply = air_line(subject, at.use), atm + 400e3
    areas = (c.piston_area, c.ring_area) if at.pushes else (c.ring_area, c.piston_area)
    dead = (c.dead_extend, c.dead_retract) if at.pushes else (c.dead_retract, c.dead_extend)
    rod = atm * (areas[0] - areas[1])
    seals = (1.0 - at.use.efficiency) * (supply - atm) * areas[0]
    base, radius, sense = float(at.rocker.base), float(at.rocker.radius), 1.0 if at.pushes else -1.0
    angles = np.array([float(at.turned(i)) for i in range(len(at.along.length))])
    passive = np.ravel(at.balance.passive)
    order = np.argsort(angles)
    inc0 = float(at.along.included[at.low])
    inertia = float(at.arm.inertia)

    def geometry(raised):
        inc = inc0 + sense * raised
        length = math.sqrt(base**2 + radius**2 - 2 * base * radius * math.cos(inc))
        return length, base * radius * math.sin(inc) / length

    start = geometry(0.0)[0]

    def rates(_, y):
        p1, p2, raised, speed = y
        length, lever = geometry(raised)
        out = sense * (length - start)
        v = speed * lever
        v1, v2 = dead[0] + areas[0] * out, dead[1] + areas[1] * (c.stroke - out)
        torque = np.interp(angles[order[0]] + raised, angles[order], passive[order])
        net = count * lever * (p1 * areas[0] - p2 * areas[1] - rod - seals) + torque - 0.05
        if raised <= 0.0 and net <= 0.0:
            speed, v, net = 0.0, 0.0, 0.0
        d1 = (287.05 * T * iso_flow(line, supply, min(p1, supply), T) - p1 * areas[0] * v) / v1
        d2 = (-287.05 * T * iso_flow(line, max(p2, atm), atm, T) + p2 * areas[1] * v) / v2
        return [d1, d2, speed, net / inertia]

    def there(_, y):
        return sense * (geometry(y[2])[0] - start) - c.stroke

    there.terminal = True
    run = solve_ivp(rates, (0, 5), [atm, supply, 0.0, 0.0], events=there, rtol=1e-7, atol=[1, 1, 1e-9, 1e-9],
                    max_step=1e-3)  # fmt: skip
    return run.t_events[0][0]


@pytest.mark.parametrize(
    ("mechanism", "keys"),
    [
        (PUSHED, {}),
        (PULLED, {}),
        (PUSHED, {"count": 2}),
        ({**PUSHED, "carries": {"ball": {"object": "ball", "count": 5, "position": ["0.15 m", "0.33 m"]}}}, {}),
    ],
)
def test_time_up_against_integration(tmp_path, mechanism, keys, evidence):
    """Ten percent either way: the stroke's closed form claims 7, the straight load line and mean mass take the rest."""
    subject, at = lifted_of(tmp_path, robot_of(mechanism, **keys))
    found = float(np.ravel(lift.raising_time(subject, at))[0])
    exact = time_by_integration(subject, at)
    evidence(
        "lift",
        "Time until the arm is up",
        "both chambers, lever and load in scipy's solve_ivp",
        "one and two cylinders, pushing and pulling, 0.4 to 2 kg on the arm",
        "s",
        found,
        exact,
    )
    assert found == pytest.approx(exact, rel=0.10)


MOTOR_ARM = {
    "kind": "motor arm", "motors": [{"motor": "test motor"}], "rides": "arm", "side": "ahead",
    "pivot": ["0 m", "0.3 m"], "friction": "0.05 N*m",
    "stages": [{"driver": 12, "driven": 84, "efficiency": 0.9}], "swing": "90 deg",
    "carries": {"ball": {"object": "ball", "position": ["0.15 m", "0.3 m"]}}, "time_limit": "2 s",
}  # fmt: skip
RESISTANCE, KT = 12 / 3.6, 0.7 / (3.6 - 0.13)  # ohm, N m/A; straight line through the class's two points
KE = (12 - RESISTANCE * 0.13) / (600 * math.pi / 30)


def motor_torque(speed):
    """One test motor on the test battery: Kirchhoff's voltage law, 2.5 A and 11 W at most."""
    current = min((12.8 - KE * speed) / (RESISTANCE + 0.12), 2.5)
    torque = KT * (current - 0.13)
    return min(torque, 11 / speed) if speed > 0 else torque


def motor_arm(tmp_path, **keys):
    return check(tmp_path, {"parts": {"arm": ARM}, "mechanisms": {"arm": {**MOTOR_ARM, **keys}}})


def needed(angle):
    return GRAVITY * (0.6 * 0.1 + 0.4 * 0.15) * math.cos(angle) + 0.05


def test_speed_along_the_swing_against_a_root_finder(tmp_path):
    """The slowest steady speed is where the arm is level: the motor's curve meets the load."""
    load_each = needed(0) / (7 * 0.9)
    speed = brentq(lambda w: motor_torque(w) - load_each, 0.1, 80) / 7
    found = fact(motor_arm(tmp_path), "arm.speed.arm")
    assert found.value * math.pi / 30 == pytest.approx(speed, rel=1e-6)


@pytest.mark.parametrize(("driven", "wanted"), [(84, "2 s"), (60, "2 s"), (240, "4 s")])
def test_time_of_a_motor_arm_against_integration(tmp_path, driven, wanted, evidence):
    """Equation of motion with rotor and the motor's whole curve, from rest; 2 %: sixteen steps."""
    ratio = driven / 12
    inertia = 0.6 * ((0.2**2 + 0.02**2) / 12 + 0.1**2) + 0.4 * 0.15**2 + 1.2e-4 * ratio**2

    def rates(_, y):
        drive = motor_torque(max(y[1], 0.0) * ratio) * ratio * 0.9
        return [y[1], (drive - needed(y[0])) / inertia]

    def up(_, y):
        return y[0] - math.pi / 2

    up.terminal = True
    run = solve_ivp(rates, (0, 10), [0.0, 0.0], events=up, rtol=1e-8, atol=1e-9, max_step=0.005)
    stages = [{"driver": 12, "driven": driven, "efficiency": 0.9}]
    found = find(motor_arm(tmp_path, stages=stages, time_limit=wanted), "arm.time.arm").value
    evidence(
        "arm",
        "Time until a motor arm is up",
        "the motor's whole curve and the arm's inertia in scipy's solve_ivp",
        "gearing 5 to 20, 90 degrees, 0.6 kg arm with 0.4 kg on it",
        "s",
        found,
        run.t_events[0][0],
    )
    assert found == pytest.approx(run.t_events[0][0], rel=0.02)
    steady = quad(
        lambda a: ratio / brentq(lambda w: motor_torque(w) - needed(a) / (ratio * 0.9), 0.01, 80), 0, math.pi / 2
    )
    assert found > steady[0]  # speeding up takes time


def test_winding_heat_of_a_held_arm_against_a_root_finder(tmp_path):
    """Loss I2 R with copper's 0.393 % a kelvin over 3 + 7 K/W in the hall at 20 degC."""
    hold = (needed(0) - 0.05) / 7  # neither the pivot's friction nor the gears' may be counted on to hold
    current = hold / KT
    hot = brentq(lambda t: t - 10 * current**2 * RESISTANCE * (1 + 0.00393 * t), 0, 500) + 20
    assert fact(motor_arm(tmp_path), "arm.heat.arm").value == pytest.approx(hot, rel=1e-3)
