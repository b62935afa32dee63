"""Grip, axle loads and pushing against worked problems; slip of a driven cart in MuJoCo."""

import mujoco
import numpy as np
import pytest

from fieldworthy.physics.motors import motion

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
