"""A motor-driven arm against MuJoCo's inverse dynamics and SciPy's quadrature."""

import mujoco
import numpy as np
import pytest

from fieldworthy.physics.arms import linkage, motorarm

WEIGHTS = (linkage.Weight(5.0, 0.25, 0.1), linkage.Weight(2.0, 0.4, 0.0))


def _arm():
    bodies = "".join(
        f'<geom type="sphere" size="0.0001" mass="{w.force / 9.81:.17g}"'
        f' pos="{w.radius * np.cos(w.angle):.17g} 0 {w.radius * np.sin(w.angle):.17g}"/>'
        for w in WEIGHTS
    )
    model = mujoco.MjModel.from_xml_string(
        '<mujoco><option gravity="0 0 -9.81"/><worldbody><body>'
        f'<joint type="hinge" axis="0 -1 0"/>{bodies}</body></worldbody></mujoco>'
    )
    return model, mujoco.MjData(model)


@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_torque_to_accelerate_by_inverse_dynamics(sense):
    model, data = _arm()
    inertia = sum(w.force / 9.81 * w.radius**2 for w in WEIGHTS)
    for angle in np.linspace(-1.5, 1.5, 7):
        data.qpos[0], data.qvel[0], data.qacc[0] = angle, 0.7 * sense, 4.0 * sense
        mujoco.mj_inverse(model, data)
        passive = linkage.weight_torque(WEIGHTS, np.cos(angle), np.sin(angle))
        ours = motorarm.motor_torque(passive, sense, 0.0, inertia * 4.0)
        # The spheres' own inertia, 0.4 m (0.1 mm)^2 each, is not in ours: 1.1e-8 N m at 4 rad/s2.
        assert sense * ours == pytest.approx(data.qfrc_inverse[0], rel=1e-9, abs=1.3e-8)


def test_a_stalled_motor_gives_its_torque_through_the_losses():
    # 2.1 N m at the motor, 7 to 1, 80 %: 11.76 N m at the arm
    drive = motorarm.MotorDrive(2.1, 20.0, 7.0, 0.8)
    assert motorarm.motor_share(drive, 2.1 * 7.0 * 0.8) == pytest.approx(1.0, rel=1e-12)


def test_holding_by_hand():
    # 3 N m on the arm through 7 to 1, no friction counted on: 3 / 7 = 0.4286 N m of 2.1.
    drive = motorarm.MotorDrive(2.1, 20.0, 7.0, 0.8)
    assert motorarm.holding_share(drive, -3.0) == pytest.approx(3.0 / 7 / 2.1, rel=1e-12)
    with pytest.raises(ValueError, match="reduction"):
        motorarm.MotorDrive(2.1, 20.0, 0.0)
