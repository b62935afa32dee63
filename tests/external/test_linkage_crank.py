"""Slider-crank and four-bar against published cases, SciPy's root finder and MuJoCo's equality constraints."""

import mujoco
import numpy as np
import pytest
from scipy import integrate, optimize

from fieldworthy.physics.arms import crank
from reference import case


def test_inline_slider_crank_of_a_course_handout():
    # LNK-01: printed results, to the digits printed.
    given, expect = case("LNK-01")["inputs"], case("LNK-01")["expected"]
    inch = 0.0254
    made = crank.SliderCrank(given["crank_in"] * inch, given["rod_in"] * inch)
    angle = np.radians(given["theta2_deg"])
    speed = abs(crank.slider_rate(made, angle)) * given["omega2_rad_s"] / inch
    assert speed == pytest.approx(expect["|v_slider|"]["value"], abs=1e-3)
    slope = crank.slider_rod_angle(made, angle)
    assert 180 - np.degrees(slope) == pytest.approx(expect["theta3"]["value"], abs=1e-3)
    turn = given["crank_in"] * np.cos(angle) / (given["rod_in"] * np.cos(slope))
    assert turn == pytest.approx(expect["|omega3|"]["value"], abs=1e-3)


def test_offset_slider_crank():
    # LNK-02: position and stroke also by brute force in the reference; the transmission angle is over the full turn.
    given, expect = case("LNK-02")["inputs"], case("LNK-02")["expected"]
    made = crank.SliderCrank(given["crank_mm"] * 1e-3, given["rod_mm"] * 1e-3, given["offset_mm"] * 1e-3)
    other = crank.SliderCrank(made.crank, made.rod, -made.offset)
    angle = np.radians(given["theta_deg"])
    assert crank.slider_position(made, angle) * 1e3 == pytest.approx(expect["d_at_55deg"]["value"], rel=1e-5)
    assert crank.slider_position(other, angle) * 1e3 == pytest.approx(
        expect["d_at_55deg_other_sign"]["value"], rel=1e-5
    )
    stroke, ratio = crank.slider_stroke(made)
    assert stroke * 1e3 == pytest.approx(expect["stroke_numeric"]["value"], rel=1e-6)
    assert ratio == pytest.approx(expect["time_ratio"]["value"], rel=1e-6)
    turn = np.linspace(0, 2 * np.pi, 3601)
    least = 90 - np.degrees(np.abs(crank.slider_rod_angle(made, turn)).max())
    assert least == pytest.approx(expect["transmission_angle_min"]["value"], rel=1e-6)
    positions = crank.slider_position(made, turn)
    # 3,600 steps miss a smooth extreme by at most (step^2 / 8) of the crank.
    assert np.ptp(positions) == pytest.approx(stroke, rel=1e-6)


def test_slider_rate_is_the_slope_by_scipy():
    made = crank.SliderCrank(0.063, 0.13, 0.052)
    for start in np.linspace(0, 2 * np.pi, 7):
        travelled = integrate.quad(lambda a: float(crank.slider_rate(made, a)), start, start + 0.8)[0]
        ends = crank.slider_position(made, np.array([start, start + 0.8]))
        assert travelled == pytest.approx(ends[1] - ends[0], rel=1e-9, abs=1e-12)


def test_crank_rocker_of_a_published_design():
    # LNK-05: printed swing, imbalance and least transmission angle for lengths that were rounded.
    given, expect = case("LNK-05")["inputs"], case("LNK-05")["expected"]
    bars = crank.FourBar(given["frame"], given["crank"], given["coupler"], given["rocker"])
    turn = np.linspace(0, 2 * np.pi, 36001)
    pose = crank.four_bar(bars, turn)
    swing = np.degrees(np.ptp(np.unwrap(pose.rocker_angle)))
    assert swing == pytest.approx(expect["swing"]["value"], abs=expect["swing"]["tol"]["abs"])
    assert swing == pytest.approx(expect["swing_exact"]["value"], rel=1e-6)
    mu = np.degrees(np.minimum(pose.transmission_angle, np.pi - pose.transmission_angle).min())
    assert mu == pytest.approx(expect["mu_min"]["value"], abs=expect["mu_min"]["tol"]["abs"])
    assert mu == pytest.approx(expect["mu_min_exact"]["value"], rel=1e-6)
    ends = turn[[np.unwrap(pose.rocker_angle).argmin(), np.unwrap(pose.rocker_angle).argmax()]]
    imbalance = abs(180 - np.degrees(abs(ends[1] - ends[0])))
    assert imbalance == pytest.approx(expect["alpha"]["value"], abs=expect["alpha"]["tol"]["abs"])


@pytest.mark.parametrize("branch", [1.0, -1.0])
@pytest.mark.parametrize("angle", [0.2, 1.3, 2.9, 4.4, 5.8])
def test_four_bar_closure_by_scipy(branch, angle):
    bars = crank.FourBar(0.12, 0.06, 0.103, 0.094)
    pose = crank.four_bar(bars, angle, branch)

    def gap(x):
        along = bars.crank * np.cos(angle) + bars.coupler * np.cos(x[0]) - bars.frame - bars.rocker * np.cos(x[1])
        return [along, bars.crank * np.sin(angle) + bars.coupler * np.sin(x[0]) - bars.rocker * np.sin(x[1])]

    found = optimize.root(gap, [branch * 1.0 + 0.2, branch * 1.8], tol=1e-13)
    assert found.success
    assert np.exp(1j * found.x[0]) == pytest.approx(np.exp(1j * pose.coupler_angle), abs=1e-9)
    assert np.exp(1j * found.x[1]) == pytest.approx(np.exp(1j * pose.rocker_angle), abs=1e-9)
    between = np.arccos(np.cos(found.x[1] - found.x[0]))
    assert pose.transmission_angle == pytest.approx(between, abs=1e-9)
    beside = crank.four_bar(bars, np.array([angle - 1e-5, angle + 1e-5]), branch).rocker_angle
    # A central difference of 2e-5 rad is good to about 1e-9 of the curvature.
    assert pose.rate == pytest.approx(np.diff(np.unwrap(beside))[0] / 2e-5, abs=1e-7)


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
    bars = crank.FourBar(0.12, 0.06, 0.103, 0.094)
    start = crank.four_bar(bars, 1.0)
    data.qpos[:] = [1.0, start.coupler_angle - 1.0, start.rocker_angle]
    mujoco.mj_forward(model, data)
    data.qvel[:] = 0.0
    seen = []
    for _ in range(4000):
        data.qfrc_applied[0] = 0.05
        mujoco.mj_step(model, data)
        seen.append(data.qpos.copy())
    seen = np.array(seen[::50])
    assert np.ptp(seen[:, 0]) > 2.0
    pose = crank.four_bar(bars, seen[:, 0])
    assert np.exp(1j * seen[:, 2]) == pytest.approx(np.exp(1j * pose.rocker_angle), abs=2e-4)
    assert np.exp(1j * (seen[:, 0] + seen[:, 1])) == pytest.approx(np.exp(1j * pose.coupler_angle), abs=2e-4)


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
    made = crank.SliderCrank(0.063, 0.13, 0.052)
    data.qpos[:] = [0.4, -crank.slider_rod_angle(made, 0.4) - 0.4, crank.slider_position(made, 0.4)]
    seen = []
    for _ in range(4000):
        data.qfrc_applied[0] = 0.1
        mujoco.mj_step(model, data)
        seen.append(data.qpos.copy())
    seen = np.array(seen[::50])
    assert np.ptp(seen[:, 0]) > 3.0
    assert seen[:, 2] == pytest.approx(crank.slider_position(made, seen[:, 0]), abs=2e-5)
