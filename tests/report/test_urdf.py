"""The robot as URDF, loaded by MuJoCo: mass, centre of gravity and inertia agree, and poses move what they say."""

import xml.etree.ElementTree as ET

import mujoco
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge import run
from fieldworthy.physics.statics.rigidbody import combine
from fieldworthy.report.export import Joint, as_urdf, joint_of
from fieldworthy.robot.model.machine import Move
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import moved
from robots import EXAMPLES, GONE, example, load, nominal

PARTS = {
    "box": {"mass": "6 kg", "position": ["0.02 m", "0.01 m", "0.12 m"], "size": ["0.36 m", "0.34 m", "0.2 m"]},
    "arm": {"mass": "1 kg", "position": ["0.1 m", "0.02 m", "0.3 m"], "size": ["0.2 m", "0.1 m", "0.05 m"],
            "rides": "arm"},
}  # fmt: skip


def engine(loaded):
    model = mujoco.MjModel.from_xml_string(as_urdf(loaded))
    data = mujoco.MjData(model)
    mujoco.mj_forward(model, data)
    return model, data


def centre(model, data):
    """Centre of gravity of everything that has mass, by hand from the engine's bodies."""
    mujoco.mj_forward(model, data)
    return (model.body_mass[:, None] * data.xipos).sum(axis=0) / model.body_mass.sum()


def tensor(model, data):
    """Inertia of everything about its own centre, assembled from the engine's bodies (parallel axes)."""
    middle, total = centre(model, data), np.zeros((3, 3))
    for mass, at, turn, own in zip(model.body_mass, data.xipos, data.ximat, model.body_inertia, strict=True):
        axes, d = turn.reshape(3, 3), at - middle
        total += axes @ np.diag(own) @ axes.T + mass * (d @ d * np.eye(3) - np.outer(d, d))
    return total


@pytest.mark.parametrize("name", ["mk1", "mk2", "otter"])
def test_mujoco_agrees_about_mass_centre_and_inertia(name):
    loaded = example(name)
    model, data = engine(loaded)
    body = state.body(nominal(loaded), "stowed")
    assert model.body_mass.sum() == pytest.approx(float(body.mass), abs=1e-6)
    np.testing.assert_allclose(centre(model, data), body.cg, atol=1e-6)
    np.testing.assert_allclose(tensor(model, data), body.inertia, atol=1e-6)


@pytest.mark.parametrize(
    ("name", "pose"), [("mk1", "tipping"), ("mk2", "arm up"), ("mk1", "hooks up"), ("otter", "righting")]
)
def test_joints_move_what_the_poses_move(name, pose):
    loaded = example(name)
    subject, model_data = nominal(loaded), engine(loaded)
    model, data = model_data
    moves = loaded.nominal.poses[pose].moves
    for group, move in moves.items():
        at = model.joint(f"{group}_joint").qposadr[0]
        data.qpos[at] = float(move.turn) if move.pivot is not None else float(np.linalg.norm(move.shift))
    own = combine([moved(g.body, moves.get(n)) for n, g in state.groups(subject).items()])
    np.testing.assert_allclose(centre(model, data), own.cg, atol=1e-6)
    np.testing.assert_allclose(tensor(model, data), own.inertia, atol=1e-6)


def test_links_and_joints_of_the_example():
    root = ET.fromstring(as_urdf(example()))
    links = [e.get("name", "") for e in root.iter("link")]
    assert [n for n in links if not n.startswith("wheel")] == ["floor_point", "chassis", "tray", "hooks"]
    assert len([n for n in links if n.startswith("wheel")]) == len(example().nominal.drive.wheels)
    joints = {e.get("name", ""): e.get("type") for e in root.iter("joint")}
    moving = {name: kind for name, kind in joints.items() if not name.startswith("wheel")}
    assert moving == {"stands": "floating", "tray_joint": "revolute", "hooks_joint": "prismatic"}
    assert {kind for name, kind in joints.items() if name.startswith("wheel")} == {"continuous"}
    tray = next(e for e in root.iter("joint") if e.get("name") == "tray_joint")
    limit = tray.find("limit")
    assert limit is not None
    assert float(limit.get("upper", "")) == pytest.approx(np.deg2rad(55))


def test_a_robot_without_moves_is_one_rigid_base(tmp_path):
    loaded = load(tmp_path)
    model, data = engine(loaded)
    assert model.body_mass.sum() == pytest.approx(7.0)
    np.testing.assert_allclose(centre(model, data), [0.02, 0.01, 0.12], atol=1e-6)
    root = ET.fromstring(as_urdf(loaded))
    assert {e.get("type") for e in root.iter("joint")} == {"floating", "continuous"}


def on_floor(loaded):
    """The robot as the engine has it, on a level floor with the wheels' grip, a free joint under it."""
    spec = mujoco.MjSpec.from_string(as_urdf(loaded))
    spec.worldbody.add_geom(type=mujoco.mjtGeom.mjGEOM_PLANE, size=[20, 20, 0.1], friction=[1.0, 0.0, 0.0])
    model = spec.compile()
    model.opt.timestep, model.opt.impratio, model.opt.cone = 5e-4, 20.0, mujoco.mjtCone.mjCONE_ELLIPTIC
    model.geom_friction[:, 0] = 1.0
    return model, mujoco.MjData(model)


def limits(loaded):
    """Effort and speed of every joint, as the file written says."""
    found = {}
    for joint in ET.fromstring(as_urdf(loaded)).iter("joint"):
        limit = joint.find("limit")
        if limit is not None:
            found[joint.get("name")] = (float(limit.get("effort", "")), float(limit.get("velocity", "")))
    return found


@pytest.mark.parametrize("name", ["mk1", "mk2", "otter"])
def test_what_motors_or_air_move_has_a_force_and_a_speed(name):
    """Also where its tank is too empty at the end of the plan: the joint is that of a robot with full tanks."""
    found = limits(example(name))
    moved = {joint: both for joint, both in found.items() if not joint.startswith("wheel")}
    assert moved
    assert all(effort > 0.0 and speed > 0.0 for effort, speed in moved.values())


@pytest.mark.parametrize("name", ["mk1", "mk2", "otter"])
def test_it_drives_in_the_engine(name):
    """A tenth of the wheels' torque: Newton's second law with the wheels' own inertia, F = (M + sum I/r^2) a."""
    loaded = example(name)
    model, data = on_floor(loaded)
    wheels = [j for j in range(model.njnt) if model.joint(j).name.startswith("wheel")]
    torques = {j: 0.1 * limits(loaded)[model.joint(j).name][0] for j in wheels}
    assert max(torques.values()) > 0.0
    radius = {n: float(loaded.nominal.catalogue.wheels[w.wheel].diameter) / 2.0
              for n, w in loaded.nominal.drive.wheels.items()}  # fmt: skip
    r = next(iter(radius.values()))
    assert set(radius.values()) == {r}
    inertia = sum(model.body_inertia[model.jnt_bodyid[j]].max() for j in wheels)
    expected = sum(torques.values()) / r / (model.body_mass.sum() + inertia / r**2)
    for j in range(model.njnt):  # mechanisms stay where they are, as if latched: nothing turns so heavy a rotor
        if j not in wheels and model.jnt_type[j] != mujoco.mjtJoint.mjJNT_FREE:
            model.dof_armature[model.jnt_dofadr[j]] = 1e5
    for _ in range(400):
        mujoco.mj_step(model, data)  # settles on its wheels
    start, time = float(data.qvel[0]), 0.3
    for _ in range(int(time / model.opt.timestep)):
        for j, torque in torques.items():
            data.qfrc_applied[model.jnt_dofadr[j]] = torque
        mujoco.mj_step(model, data)
    assert (float(data.qvel[0]) - start) / time == pytest.approx(expected, rel=0.03)


def test_it_lifts_in_the_engine():
    """The tray goes up with the torque that the file gives its joint, and not with a hundredth of it."""
    loaded = example("mk1")
    effort, speed = limits(loaded)["tray_joint"]
    assert speed > 0.5
    ends = []
    for share in (1.0, 0.01):
        model, data = on_floor(loaded)
        tray, hooks = model.joint("tray_joint"), model.joint("hooks_joint")
        for step in range(2400):
            data.qfrc_applied[tray.dofadr[0]] = share * effort if step > 400 else 0.0
            data.qpos[hooks.qposadr[0]], data.qvel[hooks.dofadr[0]] = 0.0, 0.0
            mujoco.mj_step(model, data)
        ends.append(float(data.qpos[tray.qposadr[0]]))
    assert ends[0] > np.deg2rad(50)
    assert ends[1] < np.deg2rad(5)


def test_no_limit_is_a_placeholder():
    """A motor arm's limits by hand: stall torque and free speed behind its gears; a wheel's by the drive's own line."""
    loaded = example("mk2")
    found = limits(loaded)
    arm = loaded.nominal.mechanisms["arm"]
    use = loaded.nominal.motor(arm.motors[0])
    kind = loaded.nominal.catalogue.motors[use.motor]
    ratio = np.prod([float(s.driven) / float(s.driver) for s in arm.stages])
    volts = float(loaded.nominal.catalogue.batteries[loaded.nominal.battery].open_circuit) / float(kind.rated_voltage)
    effort, speed = found[f"{arm.rides}_joint"]
    assert speed == pytest.approx(float(kind.free_speed) * volts / ratio, rel=1e-6)
    most = float(kind.stall_torque) * volts * use.count * ratio
    assert 0.1 * most < effort < most
    assert all(value >= 0.0 for pair in found.values() for value in pair)


def test_parts_that_ride_something_other_than_the_chassis(tmp_path):
    loaded = load(tmp_path, {"parts": {"box": {"rides": "deck"}}})
    model, _ = engine(loaded)
    assert model.body_mass.sum() == pytest.approx(7.0)


def test_without_parts_it_is_refused_in_words(tmp_path):
    load(tmp_path)
    text = (tmp_path / "robot.yaml").read_text("utf-8")
    start = text.index('"parts"')
    (tmp_path / "robot.yaml").write_text(text[:start] + text[text.index('"poses"') :], "utf-8")
    done = run("export", tmp_path / "robot.yaml", "--to", "urdf")
    assert done.code == 2
    assert "expected parts" in done.err


def move(**changes) -> Move:
    return Move(**({"turn": 0.0, "pivot": None, "shift": None} | changes))


def test_which_joint_makes_which_moves():
    pivot, other = (0.1, 0.0, 0.2), (0.2, 0.0, 0.2)
    assert joint_of([]).kind == "fixed"
    turned = joint_of([move(turn=0.5, pivot=pivot), move(turn=-0.2, pivot=pivot), move()])
    assert turned == Joint("revolute", pivot, (0.0, 1.0, 0.0), -0.2, 0.5)
    assert joint_of([move(turn=0.5, pivot=pivot), move(turn=0.2, pivot=other)]).kind == "fixed"
    shifted = joint_of([move(shift=(0.0, 0.0, 0.2)), move(shift=(0.0, 0.0, -0.1))])
    assert (shifted.kind, shifted.axis) == ("prismatic", (0.0, 0.0, 1.0))
    assert (shifted.low, shifted.high) == pytest.approx((-0.1, 0.2))
    assert joint_of([move(shift=(0.1, 0.0, 0.0)), move(shift=(0.0, 0.0, 0.1))]).kind == "fixed"
    assert joint_of([move(turn=0.5, pivot=pivot, shift=(0.0, 0.0, 0.1))]).kind == "fixed"


@settings(deadline=None, max_examples=25)
@given(
    robot=st.text(min_size=1, max_size=40),
    part=st.from_regex(r"\A[A-Za-z0-9][A-Za-z0-9 .,_+'/()-]{0,30}\Z"),
    group=st.from_regex(r"\A[A-Za-z0-9][A-Za-z0-9 .,_+'/()-]{0,30}\Z"),
)
def test_whatever_things_are_called_the_engine_reads_it(robot, part, group, tmp_path_factory):
    folder = tmp_path_factory.mktemp("urdf")
    name = "".join(c for c in robot if c.isprintable() and c not in "\ufeff") or "x"
    parts = {"box": GONE, part: PARTS["box"], f"{part[:50]}2": PARTS["arm"] | {"rides": group}}
    model, _ = engine(load(folder, {"robot": name, "parts": parts}))
    assert model.body_mass.sum() == pytest.approx(7.0)


def test_the_command_prints_what_the_engine_reads():
    done = run("export", EXAMPLES / "mk1.yaml", "--to", "urdf")
    assert done.code == 0
    assert mujoco.MjModel.from_xml_string(done.out).nbody == 4 + len(example("mk1").nominal.drive.wheels)
