"""The cylinder-driven arm against MuJoCo's tendons, the law of cosines' reference cases, and virtual work."""

import mujoco
import numpy as np
import pytest

from fieldworthy.physics.arms import linkage
from reference import case
from stroke import elastic_energy

ARMS = [
    (0.2, 0.06, 0.152, 0.05, 0.3, -0.4, 1.0),
    (0.12, 0.06, 0.09, 0.05, -1.0, 0.2, 1.0),
    (0.12, 0.06, 0.09, 0.05, 2.5, 0.7, -1.0),
    (0.08, 0.15, 0.12, 0.075, 1.4, -1.3, -1.0),
]


def _mujoco_arm(arm, band, weights):
    """An arm on a hinge (x towards z) with the cylinder and a band as spatial tendons; positions by MuJoCo."""
    b, r, _, _, base_angle, pin_angle, _ = arm
    at = lambda d, a: f"{d * np.cos(a):.17g} 0 {d * np.sin(a):.17g}"  # noqa: E731
    bodies = "".join(
        f'<geom type="sphere" size="0.001" mass="{w.force / 9.81:.17g}" pos="{at(w.radius, w.angle)}"/>'
        for w in weights
    )
    model = mujoco.MjModel.from_xml_string(f"""
<mujoco><option gravity="0 0 -9.81"/><worldbody>
  <site name="fixed" pos="{at(b, base_angle)}"/><site name="hook" pos="{at(band.fixed_radius, band.fixed_angle)}"/>
  <body><joint name="j" type="hinge" axis="0 -1 0"/>{bodies}
    <site name="pin" pos="{at(r, pin_angle)}"/><site name="eye" pos="{at(band.arm_radius, band.arm_angle)}"/></body>
</worldbody><tendon>
  <spatial name="cylinder"><site site="fixed"/><site site="pin"/></spatial>
  <spatial name="band" stiffness="{band.stiffness * band.count:.17g}" springlength="0 {band.free_length:.17g}">
    <site site="hook"/><site site="eye"/></spatial></tendon></mujoco>""")
    return model, mujoco.MjData(model)


def _at(model, data, angle):
    data.qpos[0] = angle
    mujoco.mj_forward(model, data)
    return data.ten_length.copy(), data.ten_J.reshape(-1).copy(), data.qfrc_passive[0], -data.qfrc_bias[0]


@pytest.mark.parametrize("arm", ARMS)
def test_length_lever_and_torques_agree_with_mujoco(arm):
    # MuJoCo 4: tendon length and Jacobian, its slack springs, and its gravity torque; 1e-9 is rounding of the XML.
    weights = (linkage.Weight(4.0, 0.2, 0.1), linkage.Weight(2.5, 0.3, -0.2))
    band = linkage.Elastic(0.15, 2.0, 0.1, 0.2, 0.08, 90.0, 3.0)
    model, data = _mujoco_arm(arm, band, weights)
    rocker = linkage.Rocker(*arm)
    poses = linkage.sweep(rocker, 9)
    passive = linkage.passive_torque(poses, weights, (band,))
    stretched = 0
    for k, angle in enumerate(poses.angle):
        length, jacobian, spring, gravity = _at(model, data, angle)
        assert poses.length[k] == pytest.approx(length[0], rel=1e-9)
        assert linkage.cylinder_length(rocker, angle) == pytest.approx(length[0], rel=1e-9)
        assert rocker.branch * poses.moment_arm[k] == pytest.approx(jacobian[0], rel=1e-9)
        assert passive[k] == pytest.approx(spring + gravity, rel=1e-9, abs=1e-12)
        stretched += abs(spring) > 0.0
    assert stretched > 0


def test_energy_of_a_band_agrees_with_mujoco():
    band = linkage.Elastic(0.15, 2.0, 0.1, 0.2, 0.11, 90.0, 3.0)
    model, data = _mujoco_arm(ARMS[0], band, (linkage.Weight(1.0, 0.1),))
    model.opt.enableflags |= mujoco.mjtEnableBit.mjENBL_ENERGY
    model.opt.gravity[:] = 0.0
    for angle in np.linspace(-2.0, 2.0, 7):
        _at(model, data, angle)
        ours = elastic_energy((band,), np.cos(angle), np.sin(angle))
        assert ours == pytest.approx(data.energy[0], rel=1e-9, abs=1e-12)


def test_reference_rocker():
    given, expect = case("rocker-0")["given"], case("rocker-0")["expect"]
    rocker = linkage.Rocker(
        given["pivot_to_cylinder_pin_m"], given["arm_pin_radius_m"], given["closed_length_m"], given["stroke_m"]
    )
    assert np.degrees(linkage.swing(rocker)) == pytest.approx(expect["sweep_deg"], rel=1e-9)
    middle = linkage.pose(rocker, 0.5 * given["stroke_m"])
    assert middle.moment_arm == pytest.approx(expect["moment_arm_mid_stroke_m"], rel=1e-9)


@pytest.mark.parametrize("degrees", [40, 60, 90, 120])
def test_reference_rocker_of_mujoco(degrees):
    # LNK-04: MuJoCo tendon; the reference prints to 1e-6.
    given, expect = case("LNK-04")["inputs"], case("LNK-04")["expected"]
    b, r = given["pivot_to_cyl_base_mm"] * 1e-3, given["pivot_to_rod_pin_mm"] * 1e-3
    rocker = linkage.Rocker(b, r, 0.0805, 0.080)
    length = linkage.cylinder_length(rocker, np.radians(degrees))
    assert length * 1e3 == pytest.approx(expect[f"L_{degrees}"]["value"], rel=1e-6)
    pose = linkage.pose(rocker, length - 0.0805)
    assert pose.moment_arm * 1e3 == pytest.approx(expect[f"arm_{degrees}"]["value"], rel=1e-6)
    torque = linkage.Balance(pose, linkage.Drive(given["F_N"]), np.zeros(())).available_out
    assert torque == pytest.approx(expect[f"torque_{degrees}_at_54.15N"]["value"], rel=1e-5)
    # The reference gives the acute angle between the lines.


def test_reference_swing_and_work():
    given, expect = case("LNK-04")["inputs"], case("LNK-04")["expected"]
    rocker = linkage.Rocker(0.120, 0.060, 0.090, 0.050)
    swing = np.degrees(linkage.swing(rocker))
    assert swing == pytest.approx(expect["swing_for_stroke_50mm_from_L=90mm"]["value"], rel=1e-6)
    poses = linkage.sweep(rocker, 2001)
    torque = given["F_N"] * poses.moment_arm
    work = np.trapezoid(torque, poses.angle)
    # The trapezoid's own error at 2,000 steps is some 1e-8.
    assert work == pytest.approx(expect["work_check_F*stroke"]["value"], rel=1e-6)


def test_balance_against_newton_in_mujoco():
    """With the cylinder's force at the tendon, the arm's acceleration changes sign where our margin does."""
    weights, band = (linkage.Weight(4.0, 0.2, 0.1),), linkage.Elastic(0.15, 2.0, 0.1, 0.2, 0.11, 90.0, 1.0)
    model, data = _mujoco_arm(ARMS[0], band, weights)
    rocker = linkage.Rocker(*ARMS[0])
    poses = linkage.sweep(rocker)
    passive = linkage.passive_torque(poses, weights, (band,))
    use = linkage.Balance(poses, linkage.Drive(1.0, 1.0), passive).use_out
    needed, hardest = use.max(), poses.extension[use.argmax()]
    for share, sign in ((0.9999, -1.0), (1.0001, 1.0)):
        at = linkage.pose(rocker, hardest)
        _at(model, data, at.angle)
        data.qfrc_applied[0] = share * needed * data.ten_J.reshape(-1)[0]
        mujoco.mj_forward(model, data)
        assert np.sign(data.qacc[0]) == sign
