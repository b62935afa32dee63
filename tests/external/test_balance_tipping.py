"""Tip limits against MuJoCo, SciPy's integrator and textbook cases.

The simulated robots are set up from the same reach, height, mass and box size; none of the project's
formulas enters the simulations.
"""

import mujoco
import numpy as np
import pytest

from fieldworthy.physics.statics.tipping import (
    Overturn,
    impact_tip_speed,
    push_to_tip,
    roller_impact_tip_speed,
    roller_stage,
    tip_acceleration,
    tip_angle,
)
from reference import case, cases

G = 9.81
MASS, HALF = 6.0, (0.2, 0.2, 0.15)
REACH, HEIGHT = 0.12, 0.20
BOX = f'type="box" size="{HALF[0]} {HALF[1]} {HALF[2]}" mass="{MASS}" contype="0" conaffinity="0"'
PLANAR = '<joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 0 1"/><joint type="hinge" axis="0 1 0"/>'
BODY = Overturn(MASS, MASS / 3.0 * (HALF[0] ** 2 + HALF[2] ** 2), REACH, HEIGHT)


def _bisect(goes_over, low, high, rounds):
    assert not goes_over(low), "the bracket must begin at a case that falls back"
    assert goes_over(high), "the bracket must end at a case that goes over"
    for _ in range(rounds):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if goes_over(middle) else (middle, high)
    return 0.5 * (low + high)


@pytest.mark.parametrize("c", cases("tip-brake-"), ids=lambda c: c["id"])
def test_held_braking_from_the_reference_file(c):
    """Quasi-static tip found by bisection in MuJoCo."""
    limit = tip_acceleration(c["given"]["cg_to_front_edge_m"], c["given"]["cg_height_m"])
    assert limit == pytest.approx(c["expect"]["deceleration_m_s2"], rel=c["rel_tol"])


def test_held_braking_and_slope_of_the_published_simulation():
    """VEH-07 and VEH-08: MuJoCo 4.0.0, ramped braking force and tilted gravity."""
    c = case("VEH-07")
    reach, height = c["inputs"]["x_front_mm"] / 1e3, c["inputs"]["h_mm"] / 1e3
    limit = tip_acceleration(reach, height, c["inputs"]["g"])
    assert limit == pytest.approx(c["expected"]["a_tip_sim"]["value"], rel=c["expected"]["a_tip_sim"]["tol"]["rel"])
    c = case("VEH-08")
    angle = np.degrees(tip_angle(c["inputs"]["x_front_mm"], c["inputs"]["h_mm"]))
    assert angle == pytest.approx(c["expected"]["angle_sim"]["value"], abs=c["expected"]["angle_sim"]["tol"]["abs"])


def _braking_robot(reach, height):
    """A box on four rolling wheels, brakes on the front pair; the whole has its CG at the given place."""
    wheel, radius, rear = 0.05, 0.05, -0.13
    box = MASS - 4 * wheel
    places = [(reach, 0.15), (reach, -0.15), (rear, 0.15), (rear, -0.15)]
    wheels = "".join(
        f'<body pos="{x} {y} {radius}"><joint name="j{i}" type="hinge" axis="0 1 0"/>'
        f'<geom name="w{i}" type="sphere" size="{radius}" mass="{wheel}"/></body>'
        for i, (x, y) in enumerate(places)
    )
    x, z = -2 * wheel * (reach + rear) / box, (MASS * height - 4 * wheel * radius) / box
    return mujoco.MjModel.from_xml_string(f"""<mujoco>
      <option timestep="0.0005" cone="elliptic" gravity="0 0 -{G}" integrator="implicitfast"/>
      <default><geom solref="0.004 1" solimp="0.99 0.999 0.0001" friction="1.2 0 0" condim="3"/></default>
      <worldbody><geom type="plane" size="50 50 1"/>
        <body><freejoint/>
          <geom type="box" size="0.1 0.1 0.05" pos="{x} 0 {z}" mass="{box}" contype="0" conaffinity="0"/>{wheels}
        </body></worldbody>
      <actuator><motor joint="j0"/><motor joint="j1"/></actuator></mujoco>""")


@pytest.mark.parametrize(("reach", "height"), [(0.12, 0.25), (0.10, 0.14), (0.08, 0.30)])
def test_braking_rolling_wheels_in_mujoco_lifts_the_rear_at_the_limit(reach, height):
    """Rolling wheels braked by a torque that grows 20 N/s at the rim; the rear wheels leave the floor.

    2.5 %: the wheels' own spin (1 %), the ramp and the contacts' give.
    """
    model = _braking_robot(reach, height)
    data, force, empty = mujoco.MjData(model), np.zeros(6), 0
    data.qvel[0], data.qvel[6:10] = 5.0, 5.0 / 0.05
    for _ in range(200):
        mujoco.mj_step(model, data)
    start = data.time
    while empty < 10 and data.time < start + 4.0:
        data.ctrl[:] = -20.0 * (data.time - start) * 0.05 / 2
        mujoco.mj_step(model, data)
        rear = 0.0
        for k in range(data.ncon):
            mujoco.mj_contactForce(model, data, k, force)
            rear += force[0] if model.geom(max(data.contact[k].geom)).name in ("w2", "w3") else 0.0
        empty = empty + 1 if rear < 0.05 else 0
    assert 20.0 * (data.time - start) / MASS == pytest.approx(tip_acceleration(reach, height, G), rel=0.025)


def test_slip_or_tip_of_a_pushed_block():
    """VEH-05: inputs and the conclusion (it tips) read at a university's virtual lab."""
    c = case("VEH-05")
    i, e = c["inputs"], c["expected"]
    push = push_to_tip(i["W_lb"], i["width_in"] / 2, i["push_height_in"])
    assert push == pytest.approx(e["P_tip"]["value"], rel=e["P_tip"]["tol"]["rel"])
    assert e["mode"]["value"] == ("tip" if push < i["mu_s"] * i["W_lb"] else "slip")


@pytest.mark.parametrize("step", [0.0, 0.03])
def test_a_dead_stop_in_mujoco_goes_over_at_the_same_speed(step):
    """A sliding box whose edge is caught by a stiff constraint: MuJoCo finds the blow and the swing, 0.5 %."""
    model = mujoco.MjModel.from_xml_string(f"""<mujoco><option timestep="0.0001" gravity="0 0 -{G}"/>
      <worldbody><site name="step" pos="0 0 {step}"/><body pos="{-REACH} 0 {HEIGHT}">{PLANAR}<geom {BOX}/>
        <site name="edge" pos="{REACH} 0 {step - HEIGHT}"/></body></worldbody>
      <equality><connect site1="edge" site2="step" solref="0.0004 1" solimp="0.9999 0.9999 0.001"/></equality>
    </mujoco>""")

    def goes_over(speed):
        data = mujoco.MjData(model)
        data.qvel[0] = speed
        while True:
            mujoco.mj_step(model, data)
            if data.qpos[2] > np.arctan2(REACH, HEIGHT - step):
                return True
            if data.time > 0.005 and data.qvel[2] < 0.0:
                return False

    assert impact_tip_speed(BODY, step, G) == pytest.approx(_bisect(goes_over, 0.5, 2.0, 10), rel=0.005)


ROLLERS = [(0.06, 0.01), (0.10, 0.02)]


def _roller_robot(overhang, clearance):
    """Wheel edge and roller as small spheres of high friction on a floor."""
    s = 0.002
    return mujoco.MjModel.from_xml_string(f"""<mujoco>
      <option timestep="0.0002" gravity="0 0 -{G}" cone="elliptic" impratio="20"/>
      <default><geom solref="0.0008 1" solimp="0.999 0.9999 0.0001" friction="5 0 0" condim="3"/></default>
      <worldbody><geom type="plane" size="5 5 1"/><body pos="{-REACH} 0 {HEIGHT}">{PLANAR}<geom {BOX}/>
        <geom type="sphere" size="{s}" mass="0" pos="{REACH} 0 {s - HEIGHT}"/>
        <geom type="sphere" size="{s}" mass="0" pos="{REACH + overhang} 0 {s - HEIGHT + clearance}"/>
      </body></worldbody></mujoco>""")


def _swings_over(model, spin, braking):
    """Past the roller's vertical in the tilted gravity, or back."""
    data = mujoco.MjData(model)
    model.opt.gravity[0] = braking
    data.qvel[:] = spin * HEIGHT, spin * REACH, spin
    while data.time < 3.0:
        mujoco.mj_step(model, data)
        if data.qpos[2] > 1.2:
            return True
        if data.time > 0.01 and data.qvel[2] < -0.02:
            return False
    return False


@pytest.mark.parametrize(("overhang", "clearance"), ROLLERS)
def test_a_dead_stop_over_rollers_agrees_with_mujoco(overhang, clearance):
    """Wheel edge, blow of the roller, roller edge: MuJoCo's contacts find each; 2 % for their give."""
    model = _roller_robot(overhang, clearance)
    spin = _bisect(lambda w: _swings_over(model, w, 0.0), 2.5, 7.0, 8)
    speed = spin * float(BODY.edge_inertia) / (MASS * HEIGHT)
    stage = roller_stage(BODY, overhang, clearance)
    assert roller_impact_tip_speed(stage, G) == pytest.approx(speed, rel=0.02)
    assert speed > 1.2 * impact_tip_speed(BODY, g=G)


def test_rollers_steady_a_front_heavy_robot():
    """Common practice, no source: rollers low on the overhanging side steady it, the lower the better."""
    speed = roller_impact_tip_speed(roller_stage(Overturn(6.0, 0.1, 0.04, 0.25), 0.08, np.array([0.002, 0.006, 0.012])))
    np.testing.assert_array_equal(np.sign(np.diff(speed)), -1.0)
    assert np.all(speed > impact_tip_speed(Overturn(6.0, 0.1, 0.04, 0.25)))


def test_rollers_inside_the_wheels_never_help():
    stage = roller_stage(BODY, -0.05, 0.01)
    assert roller_impact_tip_speed(stage, G) == pytest.approx(impact_tip_speed(BODY, g=G), rel=1e-12)


def test_edges_of_the_range_give_physical_values():
    past = Overturn(6.0, 0.1, -0.02, 0.2)
    assert tip_acceleration(0.1, 0.0) == np.inf
    assert tip_acceleration(-0.02, 0.2) == pytest.approx(-0.980665, rel=1e-12)
    assert impact_tip_speed(past) == 0.0
    assert push_to_tip(60.0, 0.1, 0.0) == np.inf
    assert impact_tip_speed(BODY, step=0.3) == np.inf


def test_a_height_of_nothing_is_the_limit_of_small_ones():
    """A robot past its edge falls over at rest, however low it is; on the spot nothing throws it outwards."""
    for low in (1e-9, 0.0):
        assert tip_acceleration(-0.05, low) < -1e8
        assert push_to_tip(50.0, -0.05, low) < -1e8
    assert tip_acceleration(0.0, 0.0) == 0.0
    assert impact_tip_speed(Overturn(6.0, 0.1, -0.05, 0.0)) == 0.0
