"""Hanging and lifting off against MuJoCo and the reference files."""

import mujoco
import numpy as np
import pytest

from fieldworthy.physics.statics.hanging import (
    Wall,
    actuator_force,
    critical_hook_x,
    drum_force,
    free_attitude,
    friction_swing,
    hang,
    lift_off,
    lift_ramp,
    lowest_point,
    rest_attitude,
    turned,
)
from reference import case, cases

G = 9.81
MASS = 5.0
WEIGHT = MASS * G
CG = np.array([0.05, 0.15])
HOOK = np.array([-0.18, 0.42])
REST = np.array([-0.16, 0.12])
PLANAR = '<joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 0 1"/><joint type="hinge" axis="0 1 0"/>'


def _box(extra=""):
    return (
        f'<geom type="box" size="0.15 0.15 0.1" mass="{MASS}" pos="{CG[0]} 0 {CG[1]}" contype="0" conaffinity="0"/>'
        + extra
    )


@pytest.mark.parametrize("c", cases("hang-attitude-"), ids=lambda c: c["id"])
def test_free_attitude_of_the_reference_file(c):
    """A pinned hook in MuJoCo; positive is nose down."""
    g = c["given"]
    attitude = free_attitude((g["hook_x_m"], g["hook_z_m"]), (g["cg_x_m"], g["cg_z_m"]))
    assert np.degrees(attitude) == pytest.approx(c["expect"]["nose_down_deg"], rel=c["rel_tol"])


@pytest.mark.parametrize(("name", "sign"), [("VEH-10", 1.0), ("VEH-11", -1.0)])
def test_free_attitude_of_the_published_simulation(name, sign):
    """MuJoCo, a damped hinge at rest; the file gives the size, its note the sign about +y."""
    c = case(name)
    hook = (c["inputs"]["hook_ahead_of_cg_mm"], c["inputs"]["hook_above_cg_mm"])
    found = c["expected"]["pitch_sim"]
    attitude = np.degrees(free_attitude(hook, (0.0, 0.0)))
    assert attitude == pytest.approx(sign * found["value"], abs=found["tol"]["abs"])


def _settled(xml, seconds=4.0):
    """Let go with the nose up, clear of any wall behind."""
    model = mujoco.MjModel.from_xml_string(xml)
    data = mujoco.MjData(model)
    data.qpos[0] = -1.0
    while data.time < seconds:
        mujoco.mj_step(model, data)
    return model, data


def _hung(hook, wall_x, friction=0.0):
    """A damped hinge at the hook and a small ball on the robot against an upright face; hook at the origin."""
    side = "wall" if wall_x is not None else ""
    face = f'<geom name="{side}" type="plane" size="2 2 1" pos="{wall_x} 0 0" zaxis="1 0 0"/>' if side else ""
    return _settled(f"""<mujoco><option timestep="0.0005" gravity="0 0 -{G}" cone="elliptic"/>
      <default><geom solref="0.004 1" solimp="0.995 0.9999 0.0001" friction="{friction} 0 0" condim="3"/></default>
      <worldbody>{face}<body pos="{-hook[0]} 0 {-hook[1]}">
        <joint type="hinge" axis="0 1 0" pos="{hook[0]} 0 {hook[1]}" damping="2"/>
        {_box(f'<geom type="sphere" size="0.001" mass="0" pos="{REST[0]} 0 {REST[1]}"/>')}
      </body></worldbody></mujoco>""")


@pytest.mark.parametrize("hook", [(-0.18, 0.42), (-0.10, 0.35), (0.0, 0.30)])
def test_a_rest_behind_holds_with_the_force_that_mujoco_finds(hook, evidence):
    """Wall 0.03 m behind the bar; 0.1 degrees and 1 % for the contact's give."""
    model, data = _hung(hook, -0.03)
    force = np.zeros(6)
    mujoco.mj_contactForce(model, data, 0, force)
    ours = hang(WEIGHT, hook, CG, REST, Wall(ahead=-0.03 + 0.001, side=1.0))
    assert data.ncon == 1
    assert np.degrees(ours.attitude) == pytest.approx(np.degrees(data.qpos[0]), abs=0.1)
    evidence(
        "climb",
        "Force with which a hanging robot leans on its rest",
        "MuJoCo, a rigid-body engine",
        "hooks 0 to 0.18 m behind the middle, 0.30 to 0.42 m up, 5 kg",
        "N",
        ours.rest_force,
        force[0],
    )
    assert ours.rest_force == pytest.approx(force[0], rel=0.01)
    assert ours.hook_force == pytest.approx(np.hypot(WEIGHT, force[0]), rel=0.01)


def test_a_hook_ahead_of_the_centre_of_gravity_swings_off_the_rest():
    hook = (0.15, 0.40)
    _, data = _hung(hook, -0.40)
    ours = hang(WEIGHT, hook, CG, REST, Wall(ahead=-0.40, side=1.0))
    assert data.ncon == 0
    assert ours.attitude == pytest.approx(data.qpos[0], abs=1e-3)
    assert ours.rest_force == 0.0


def test_the_push_that_lifts_the_rest_agrees_with_mujoco():
    """`holds` as a share of the weight: a level pull away from the wall, added as tilted gravity; 1 %."""
    ours = hang(WEIGHT, HOOK, CG, REST, Wall(ahead=-0.029, side=1.0))
    model, _ = _hung(HOOK, -0.03)

    def pressed(share):
        model.opt.gravity[:] = (share * G, 0.0, -G)
        data = mujoco.MjData(model)
        data.qpos[0] = ours.attitude
        for _ in range(300):
            mujoco.mj_step(model, data)
        return data.ncon > 0

    low, high = 0.0, 3.0
    assert pressed(low)
    assert not pressed(high)
    for _ in range(9):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if pressed(middle) else (low, middle)
    assert ours.holds == pytest.approx(0.5 * (low + high), rel=0.01)


def test_the_rest_force_changes_sign_at_the_critical_hook():
    """The hook is swept through the critical place while the wall keeps the attitude; MuJoCo tells contact or none."""
    attitude, hook_z = np.radians(5.0), 0.42
    critical = float(critical_hook_x(hook_z, CG, attitude))
    for offset, rests in ((-0.01, True), (0.01, False)):
        hook = (critical + offset, hook_z)
        wall = float(turned(REST, hook, attitude)[0])
        _, data = _hung(hook, wall - 0.001)
        ours = hang(WEIGHT, hook, CG, REST, Wall(ahead=wall, side=1.0))
        assert (data.ncon > 0) is rests
        assert bool(ours.rest_force > 0.0) is rests
        assert rest_attitude(hook, REST, Wall(ahead=wall)) == pytest.approx(attitude, abs=1e-9)


def test_the_trade_s_rule_for_hooks():
    """Common practice, no source: hooks on the side away from the centre of gravity hold the attitude."""
    hook_x = np.array([-0.20, -0.10, 0.0, 0.04, 0.06, 0.15])
    hooks = np.stack((hook_x, np.full(6, 0.42)))
    rests = np.stack((hook_x, np.full(6, 0.10)))  # a rest straight below each hook, the wall below the bar: level
    found = hang(WEIGHT, hooks, CG[:, None], rests, Wall())
    np.testing.assert_allclose(found.rest_force, WEIGHT * np.maximum(CG[0] - hook_x, 0.0) / 0.32, atol=1e-9)
    np.testing.assert_allclose(found.attitude[:4], 0.0, atol=1e-12)
    np.testing.assert_allclose(found.attitude[4:], np.arctan2(CG[0] - hook_x[4:], 0.27), rtol=1e-12)
    np.testing.assert_allclose(found.holds, (CG[0] - hook_x) / 0.27, rtol=1e-9)
    mirrored = hang(WEIGHT, hooks * [[-1], [1]], (CG * [-1, 1])[:, None], rests * [[-1], [1]], Wall(side=-1.0))
    np.testing.assert_allclose(mirrored.rest_force, found.rest_force, atol=1e-9)
    np.testing.assert_allclose(mirrored.attitude, -found.attitude, atol=1e-9)


@pytest.mark.parametrize("hook", [(0.12, 0.40), (-0.02, 0.40)])
def test_the_ramp_from_the_floor_agrees_with_mujoco(hook, evidence):
    """A bar is wound up at 4 mm/s against a robot on a slippery floor; force against attitude, 2 %."""
    front, rear, s = 0.15, -0.15, 0.001
    balls = "".join(f'<geom type="sphere" size="{s}" mass="0" pos="{x} 0 {s}"/>' for x in (front, rear))
    model = mujoco.MjModel.from_xml_string(f"""<mujoco><option timestep="0.001" gravity="0 0 -{G}"/>
      <default><geom solref="0.004 1" solimp="0.995 0.9999 0.0001" friction="0 0 0" condim="1"/></default>
      <worldbody><geom type="plane" size="5 5 1"/>
        <body><joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 0 1"/>
          <joint type="hinge" axis="0 1 0" damping="0.05"/>
          {_box(balls)}<site name="hook" pos="{hook[0]} 0 {hook[1]}"/></body>
        <body pos="{hook[0]} 0 {hook[1]}" gravcomp="1"><joint name="bar" type="slide" axis="0 0 1" damping="400"/>
          <geom type="sphere" size="0.01" mass="0.05" contype="0" conaffinity="0"/><site name="bar"/></body>
      </worldbody>
      <equality><connect site1="hook" site2="bar" solref="0.004 1"/></equality>
      <actuator><position joint="bar" kp="40000"/></actuator></mujoco>""")
    data = mujoco.MjData(model)
    log = []
    while data.time < 0.1 / 0.004:
        data.ctrl[0] = 0.004 * data.time
        mujoco.mj_step(model, data)
        if data.time > 0.3:
            log.append((data.qpos[2], data.actuator_force[0] - 400 * data.qvel[3], data.qpos[1]))
    attitude, force, height = np.array(log[::200]).T
    lifts = lift_off(WEIGHT, hook[0], CG[0], front, rear)
    ahead = hook[0] > CG[0]
    assert lifts.first == (1.0 if ahead else -1.0)
    ramp = lift_ramp(WEIGHT, hook, CG, (rear if ahead else front, 0.0), steps=65)
    assert ramp.force[0] == pytest.approx(min(lifts.front_force, lifts.rear_force), rel=1e-9)
    turn = 1.0 if ramp.attitude[-1] > 0.0 else -1.0
    moving = (turn * attitude > 0.03) & (turn * attitude < abs(ramp.attitude[-1]) - 0.05)
    expected = np.interp(turn * attitude, turn * ramp.attitude, ramp.force)
    assert 3 < moving.sum() < len(moving)
    evidence(
        "climb",
        "Force on the hooks while the robot leaves the floor, against its attitude",
        "MuJoCo: a bar wound up at 4 mm/s",
        "from the first wheel off the floor until it hangs, 5 kg",
        "N",
        expected[moving],
        force[moving],
    )
    np.testing.assert_allclose(force[moving], expected[moving], rtol=0.02)
    assert attitude[-1] == pytest.approx(ramp.attitude[-1], abs=0.01)
    assert force[-1] == pytest.approx(WEIGHT, rel=0.01)
    assert height[-1] > 0.0


def test_lifting_off_by_the_textbook():
    """Beam on two supports (Meriam, Kraige, Statics, from memory): 60 N on 0.3 m, CG 0.1 m ahead of the rear."""
    found = lift_off(60.0, np.array([0.15, 0.0, -0.05, 0.25]), -0.05, 0.15, -0.15)
    np.testing.assert_allclose(found.front_force, [20.0, 40.0, 60.0, 15.0], rtol=1e-12)
    np.testing.assert_allclose(found.rear_force, [np.inf, 80.0, 60.0, np.inf], rtol=1e-12)
    np.testing.assert_array_equal(found.first, [1.0, 1.0, 0.0, 1.0])


def test_a_drum_s_force_by_the_work_of_one_turn():
    """Two motors of 0.5 N m turn twelve times for one of a drum of 10 mm: work of a turn over the cord drawn in."""
    work = 2 * 0.5 * 12 * 2 * np.pi * 0.8
    assert drum_force(2.0, 0.5, 12.0, 0.8, 0.01) == pytest.approx(work / (2 * np.pi * 0.01), rel=1e-12)
    with pytest.raises(ValueError, match="radius must be positive"):
        drum_force(2.0, 0.5, 12.0, 0.8, 0.0)


def test_actuator_force_by_virtual_work():
    """Two cylinders, 3 : 1 against them, 80 % efficient: 60 N * 3 / (2 * 0.8)."""
    assert actuator_force(60.0, 3.0, 2.0, 0.8) == pytest.approx(112.5, rel=1e-12)


def test_friction_circle_of_a_hook():
    """Meriam, Kraige, Statics, journal bearing, from memory: r sin(atan mu) = 10 mm * 0.6 at mu = 0.75."""
    found = friction_swing((0.0, 0.3), (0.0, 0.0), 0.010, 0.75)
    assert found == pytest.approx(np.arcsin(0.006 / 0.3), rel=1e-12)
    assert friction_swing((0.0, 0.001), (0.0, 0.0), 0.010, 0.75) == np.pi


def test_the_lowest_point_is_that_of_the_turned_box():
    """Corners as MuJoCo's own rotation puts them."""
    corners = np.array([[0.2, 0.0], [0.2, 0.3], [-0.2, 0.0], [-0.2, 0.3]])
    attitude = float(free_attitude(HOOK, CG))
    quaternion, turn = np.zeros(4), np.zeros(9)
    mujoco.mju_axisAngle2Quat(quaternion, np.array([0.0, 1.0, 0.0]), attitude)
    mujoco.mju_quat2Mat(turn, quaternion)
    level = np.stack((corners[:, 0] - HOOK[0], np.zeros(4), corners[:, 1] - HOOK[1]))
    expected = 1.0 + (turn.reshape(3, 3) @ level)[2].min()
    assert lowest_point(corners, HOOK, attitude, 1.0) == pytest.approx(expected, abs=1e-12)


def test_impossible_climbs_are_refused():
    with pytest.raises(ValueError, match="shape"):
        free_attitude((0.0, 0.0, 0.0), CG)
    with pytest.raises(ValueError, match="ahead of the rear"):
        lift_off(60.0, 0.0, 0.0, -0.1, 0.1)
    with pytest.raises(ValueError, match="two steps"):
        lift_ramp(60.0, HOOK, CG, (0.0, 0.0), steps=1)
    with pytest.raises(ValueError, match="positive"):
        actuator_force(60.0, 1.0, 0.0)
