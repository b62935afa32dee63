"""LinearGuide, tip or right: a textbook block, and boxes that MuJoCo pushes."""

import mujoco
import numpy as np
import pytest

from fieldworthy.physics.contact import grabber
from reference import case

POUND, INCH = 4.4482216152605, 0.0254


def test_pushed_block_of_a_statics_laboratory():
    # VEH-05: inputs and the conclusion "tips" were read; the numbers are arithmetic.
    given, expect = case("VEH-05")["inputs"], case("VEH-05")["expected"]
    block = grabber.Standing(
        given["W_lb"] * POUND, given["height_in"] * INCH / 2, given["width_in"] * INCH / 2, given["mu_s"]
    )
    height = given["push_height_in"] * INCH
    assert grabber.force_to_tip(block, height) / POUND == pytest.approx(expect["P_tip"]["value"], rel=1e-4)
    assert grabber.force_to_slide(block) / POUND == pytest.approx(expect["P_slip"]["value"], rel=1e-6)


def _push_in_mujoco(friction, height, elevation, ahead):
    """Ramp a force on a box at 0.2 N/s; return it as the box first slides at 5 mm/s or turns at 0.05 rad/s."""
    model = mujoco.MjModel.from_xml_string(f"""
<mujoco><option timestep="0.0005" cone="elliptic" impratio="30" gravity="0 0 -9.81" integrator="implicitfast"/>
<worldbody><geom type="plane" size="2 2 0.1" friction="{friction} 0 0" solref="0.004 1"/>
<body pos="0 0 0.1"><freejoint/><geom type="box" size="0.06 0.08 0.1" mass="1.5" friction="{friction} 0 0"
 solref="0.004 1"/></body></worldbody></mujoco>""")
    data = mujoco.MjData(model)
    for _ in range(400):
        mujoco.mj_step(model, data)
    force = 0.0
    while force < 20.0:
        force += 0.0001
        push = force * np.array([np.cos(elevation), 0.0, np.sin(elevation)])
        data.qfrc_applied[:] = 0.0
        at = data.xpos[1] + np.array([ahead, 0.0, height - 0.1])
        mujoco.mj_applyFT(model, data, push, np.zeros(3), at, 1, data.qfrc_applied)
        mujoco.mj_step(model, data)
        if abs(data.qvel[4]) > 0.05:
            return force, "tips"
        if abs(data.qvel[0] - 0.1 * data.qvel[4]) > 0.005:
            return force, "slides"
    return force, "stays"


@pytest.mark.long
@pytest.mark.parametrize(
    ("friction", "height", "elevation", "ahead"),
    [(0.9, 0.16, 0.0, 0.0), (0.3, 0.05, 0.0, 0.0), (0.8, 0.12, 0.4, -0.02), (0.4, 0.06, -0.3, 0.0)],
)
def test_box_tips_or_slides_in_mujoco(friction, height, elevation, ahead):
    # Contacts are soft and the ramp goes on until the motion shows, so the simulated force is about 1 % over.
    box = grabber.Standing(1.5 * 9.81, 0.1, 0.06, friction)
    force, _ = _push_in_mujoco(friction, height, elevation, ahead)
    tip, slide = grabber.force_to_tip(box, height, elevation, ahead), grabber.force_to_slide(box, elevation)
    assert force == pytest.approx(min(tip, slide), rel=0.015)


def test_energy_and_moments_by_quadrature():
    # Turning the body slowly about its edge takes W (b cos a - h sin a) at the tilt a; work is its integral.
    body = grabber.Standing(20.0, 0.15, 0.05, 0.5)
    moment = lambda a: 20.0 * (0.05 * np.cos(a) - 0.15 * np.sin(a))  # noqa: E731
    assert grabber.moment_to_tip(body) == pytest.approx(moment(0.0), rel=1e-12)
    assert grabber.moment_to_right(body) == pytest.approx(-moment(np.pi / 2), rel=1e-12)


def test_reach_by_geometry():
    # A 3-4-5 triangle: from 0.4 m up, 0.5 m long, the tip at 0.1 m is 0.3 m below and 0.4 m ahead.
    assert grabber.hook_depth(0.12, np.array([0.10, 0.05, 0.14]), 0.03) == pytest.approx([0.02, 0.03, -0.02])


def test_what_limits_the_robot():
    # By hand: grip 0.8 x 60 = 48 N; tipping about an edge 0.12 m ahead by a pull at 0.2 m: 60 x 0.12 / 0.2 = 36 N.
    robot = grabber.Standing(60.0, 0.1, 0.12, 0.8)
    drive = np.array([20.0, 40.0, 100.0])
    given = grabber.available_force(robot, drive, 0.2)
    assert given.by_tipping == pytest.approx(36.0, rel=1e-12)
    assert given.by_grip == pytest.approx(48.0, rel=1e-12)
    assert given.force == pytest.approx([20.0, 36.0, 36.0], rel=1e-12)
    assert grabber.available_force(robot, 100.0, 0.05).force == pytest.approx(48.0, rel=1e-12)
    # 6 N m about the upright axis at 0.3 m.
    # Lifting at 0.2 m beyond the edge, straight: the load on the hook tips the robot at 60 x 0.12 / 0.2.
    lift = grabber.available_force(robot, 100.0, 0.2, -np.pi / 2, 0.32)
    assert lift.by_tipping == pytest.approx(36.0, rel=1e-12)
    assert np.isinf(lift.by_grip)
