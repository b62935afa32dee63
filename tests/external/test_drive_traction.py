"""Grip, axle loads and pushing against worked problems; slip of a driven cart in MuJoCo."""

import mujoco
import numpy as np
import pytest
from scipy.optimize import brentq

from fieldworthy.physics.motors import motion, traction
from reference import case


def even(c, length, driven="all"):
    half = c[length] / 2.0
    return traction.Chassis(c["m_kg"], half, half, c["h_m"], c["mu"], driven, c["g"])


@pytest.mark.parametrize(("name", "length"), [("VEH-01", "wheelbase_m"), ("VEH-02", "l_m")], ids=["course", "book"])
def test_traction_limited_acceleration(name, length):
    # strength C: data and formulas of a course and a book, arithmetic of others
    c, e = case(name)["inputs"], case(name)["expected"]
    for key, driven in (("a_FWD", "front"), ("a_RWD", "rear"), ("a_4WD", "all")):
        found = traction.grip_acceleration(even(c, length, driven))
        assert found == pytest.approx(e[key]["value"], rel=e[key]["tol"]["rel"])
    if "dFz_at_a_RWD" in e:
        loads = traction.axle_loads(even(c, length), e["a_RWD"]["value"])
        still = traction.axle_loads(even(c, length))
        assert loads.rear - still.rear == pytest.approx(e["dFz_at_a_RWD"]["value"], rel=1e-4)
        assert still.front - loads.front == pytest.approx(e["dFz_at_a_RWD"]["value"], rel=1e-4)


def test_veh_04_traction_without_load_transfer():
    # strength A: a worked answer that was read, to three digits; a centre of gravity on the floor moves no load
    c, e = case("VEH-04")["inputs"], case("VEH-04")["expected"]
    share = c["rear_weight_fraction"]
    car = traction.Chassis(1000.0, share, 1.0 - share, 0.0, c["mu"], "rear", c["g"])
    a = traction.grip_acceleration(car)
    assert a == pytest.approx(e["a"]["value"], rel=e["a"]["tol"]["rel"])
    assert c["v_kmh"] / 3.6 / a == pytest.approx(e["t"]["value"], rel=e["t"]["tol"]["rel"])


def test_veh_05_a_pushed_block_tips_before_it_slips():
    # strength C: data and conclusion of a university exercise. The block stands for a robot whose wheels hold
    # and that is pushed back at a height; units of the problem, for every force is in its own
    c, e = case("VEH-05")["inputs"], case("VEH-05")["expected"]
    half = c["width_in"] / 2.0
    block = traction.Chassis(c["W_lb"], half, half, c["height_in"] / 2.0, c["mu_s"], "all", 1.0)
    high = traction.push(block, 1e6, c["push_height_in"])
    low = traction.push(block, 1e6, 0.0)
    assert high.force == pytest.approx(e["P_tip"]["value"], rel=1e-4)
    assert low.force == pytest.approx(e["P_slip"]["value"], rel=1e-6)


def test_veh_13_axle_loads_of_a_locked_stop():
    # strength C, but the book's own two digits agree; a solution in print loads the axles the wrong way round
    c, e = case("VEH-13")["inputs"], case("VEH-13")["expected"]
    front = c["cg_behind_front_axle_m"]
    car = traction.Chassis(c["W_N"] / c["g"], front, c["L_m"] - front, c["h_m"], c["mu_k"], "all", c["g"])
    a = traction.grip_deceleration(car, all_braked=True)
    loads = traction.axle_loads(car, -a)
    assert a == pytest.approx(e["a"]["value"], rel=1e-6)
    assert loads.front / 2 == pytest.approx(e["N_front_each"]["value"], rel=1e-6)
    assert loads.rear / 2 == pytest.approx(e["N_rear_each"]["value"], rel=1e-6)
    assert loads.front > traction.axle_loads(car).front > loads.rear


@pytest.mark.parametrize("driven", ["front", "rear", "all"])
@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_grip_limit_is_where_force_meets_its_own_axle_load(driven, sense):
    # root of m a = mu N(a), with the loads from moments about the contacts written out here
    m, front, rear, h, mu, g = 6.0, 0.12, 0.18, 0.14, 0.8, 9.81
    car = traction.Chassis(m, front, rear, h, mu, driven, g)

    def surplus(a):
        n_rear = m * (g * front + sense * a * h) / (front + rear)
        load = {"front": m * g - n_rear, "rear": n_rear, "all": m * g}[driven]
        return mu * load - sense * 2.5 - m * a

    # 2.5 N of rolling resistance holds the robot back either way
    limit = traction.grip_acceleration(car, 2.5) if sense > 0 else traction.grip_deceleration(car, 2.5)
    tip = g * (rear if sense > 0 else front) / h
    assert limit == pytest.approx(min(brentq(surplus, 0.0, 100.0), tip), rel=1e-9)


CART = """
<mujoco><option timestep="0.0002" cone="elliptic" integrator="implicitfast" gravity="0 0 -9.81" impratio="100"/>
<default><geom friction="{mu} 0 0" condim="3" solref="0.004 1"/></default>
<worldbody><geom type="plane" size="20 5 1"/>
<body pos="0 0 0.04"><joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 0 1"/>
<joint type="hinge" axis="0 1 0"/>
<geom type="box" size="0.1 0.08 0.03" pos="0 0 0.1" mass="5.2" contype="0" conaffinity="0"/>
{wheels}</body></worldbody><actuator>{motors}</actuator></mujoco>"""

WHEEL = """<body pos="{x} {y} 0"><joint name="{name}" type="hinge" axis="0 1 0"/>
<geom type="cylinder" size="0.04 0.012" euler="90 0 0" mass="0.2"/></body>"""

SPOTS = {"fl": (0.12, 0.1), "fr": (0.12, -0.1), "rl": (-0.12, 0.1), "rr": (-0.12, -0.1)}
RADIUS, MASS, WHEEL_INERTIA = 0.04, 6.0, 0.5 * 0.2 * 0.04**2


def cart(mu):
    wheels = "".join(WHEEL.format(x=x, y=y, name=n) for n, (x, y) in SPOTS.items())
    motors = "".join(f'<motor joint="{n}" gear="1"/>' for n in SPOTS)
    return mujoco.MjModel.from_xml_string(CART.format(mu=mu, wheels=wheels, motors=motors))


def drive_cart(model, torques):
    """Settle, ramp the torques up in 0.1 s; acceleration over the last 0.2 of 0.4 s, and slip at their end."""
    data = mujoco.MjData(model)
    for _ in range(500):
        mujoco.mj_step(model, data)
    data.qvel[:] = 0.0
    halfway = 0.0
    for step in range(2000):
        data.ctrl[:] = np.asarray(torques) * min(step / 500, 1.0)
        if step == 1000:
            halfway = data.qvel[0]
        mujoco.mj_step(model, data)
    driven = [model.joint(n).dofadr[0] for n, torque in zip(SPOTS, torques, strict=True) if torque]
    return (data.qvel[0] - halfway) / 0.2, data.qvel[driven].mean() * RADIUS - data.qvel[0]


def test_rolling_wheels_speed_up_a_cart_with_their_inertia():
    # MuJoCo: four wheels of 0.2 kg at 0.06 N m; a = F / (m + 4 J / r2). 0.2 %: its soft contacts creep
    a, _ = drive_cart(cart(0.9), [0.06] * 4)
    rotating = 4 * WHEEL_INERTIA / RADIUS**2
    expected = motion.acceleration(4 * 0.06 / RADIUS, 0.0, MASS, rotating, 9.0)
    assert a == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize("mu", [0.35, 0.6])
@pytest.mark.parametrize(("driven", "pair"), [("rear", (0, 0, 1, 1)), ("front", (1, 1, 0, 0))])
def test_wheels_just_before_they_spin_speed_up_a_cart_at_the_grip_limit(driven, pair, mu):
    # MuJoCo: the torque is halved in on the one at which the driven pair starts to spin, for wheels that
    # slide are wrong there. 1.5 %: creep of soft contacts near the limit. The wheels' own inertia, which the grip
    # limit leaves out, is in the simulation: it raises the load transfer and pulls at the driven pair, by hand here
    model, low, high = cart(mu), 0.05, 1.0
    for _ in range(10):
        torque = 0.5 * (low + high)
        _, slip = drive_cart(model, np.array(pair) * torque)
        low, high = (low, torque) if slip > 0.1 else (torque, high)
    a, _ = drive_cart(model, np.array(pair) * low)
    height = (5.2 * 0.14 + 0.8 * 0.04) / MASS + 4 * WHEEL_INERTIA / RADIUS / MASS
    car = traction.Chassis(MASS, 0.12, 0.12, height, mu, driven, 9.81)
    pulled_along = 2 * WHEEL_INERTIA / RADIUS**2 * a
    assert a == pytest.approx(float(traction.grip_acceleration(car, pulled_along)), rel=0.015)


@pytest.mark.parametrize("resistance", [0.0, 5.4, 5.6, 8.0, 8.3, 8.5, 12.0])
def test_rear_drive_that_gains_load_faster_than_it_uses_it_starts_once_grip_beats_resistance(resistance):
    """Grip times height above the wheelbase. Integrated from rest: the load follows the acceleration by 10 ms.

    Rear wheels carry 0.04 / 0.18 of 53.9 N: 8.39 N of grip before it starts. Then up to the lift of the front wheels at
    9.80665 * 0.14 / 0.39 = 3.52 m/s2; below, it does not start, and rolling it loses its grip.
    """
    m, front, rear, h, mu, g = 5.5, 0.04, 0.14, 0.39, 0.7, 9.80665
    a = 0.0
    for _ in range(20_000):
        load = min(max(m * (g * front + a * h) / (front + rear), 0.0), m * g)
        a += ((mu * load - resistance) / m - a) * 1e-3 / 10e-3
        a = min(a, g * rear / h)
    car = traction.Chassis(m, front, rear, h, mu, "rear")
    assert traction.grip_acceleration(car, resistance) == pytest.approx(a, rel=1e-6)
    assert (a > 0.0) == (resistance < mu * m * g * front / (front + rear))
