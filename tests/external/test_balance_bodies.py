"""Mass properties against MuJoCo, which assembles the same boxes by its own code."""

import mujoco
import numpy as np
import pytest

from fieldworthy.physics.statics.rigidbody import (
    RigidBody,
    assemble,
    axis_inertia,
    combine,
    inertia_about,
    rotate_y,
    translate,
)
from standing import principal_moments

RNG = np.random.default_rng(7)
MASS = RNG.uniform(0.05, 1.5, 9)
POSITION = RNG.uniform(-0.2, 0.3, (9, 3))
SIZE = RNG.uniform(0.01, 0.25, (9, 3))


def _text(vector):
    return " ".join(repr(float(v)) for v in vector)


def _geoms(rows):
    return "".join(
        f'<geom type="box" mass="{float(MASS[i])!r}" pos="{_text(POSITION[i])}" size="{_text(SIZE[i] / 2)}"/>'
        for i in rows
    )


def _mujoco_body(inner):
    """Mass, CG and inertia tensor about the CG in the world's axes of one MuJoCo body."""
    model = mujoco.MjModel.from_xml_string(
        f'<mujoco><compiler angle="radian"/><worldbody><body name="b">{inner}</body></worldbody></mujoco>'
    )
    data = mujoco.MjData(model)
    mujoco.mj_forward(model, data)
    axes = data.ximat[1].reshape(3, 3)
    return model.body_mass[1], data.xipos[1], axes @ np.diag(model.body_inertia[1]) @ axes.T


def test_assembled_boxes_agree_with_mujoco():
    body = assemble(MASS, POSITION, SIZE)
    mass, cg, inertia = _mujoco_body(_geoms(range(9)))
    # the compiler stores in double precision; the principal axes go through a Jacobi iteration to about 1e-9
    assert body.mass == pytest.approx(mass, rel=1e-9)
    np.testing.assert_allclose(body.cg, cg, rtol=0, atol=1e-9)
    np.testing.assert_allclose(body.inertia, inertia, rtol=0, atol=1e-8)
    np.testing.assert_allclose(principal_moments(body.inertia), np.sort(np.linalg.eigvals(inertia)), rtol=1e-7)


def test_an_arm_turned_on_its_pivot_and_lifted_agrees_with_mujoco():
    """The arm is a child frame in MuJoCo: turned about +y by 0.7 rad at the pivot, then lifted 0.1 m."""
    pivot, angle = np.array([0.05, 0.0, 0.2]), 0.7
    chassis, arm = (assemble(MASS[s], POSITION[s], SIZE[s]) for s in (slice(0, 5), slice(5, 9)))
    whole = combine([chassis, translate(rotate_y(arm, angle, pivot), [0.0, 0.0, 0.1])])
    back = f"{-pivot[0]} {-pivot[1]} {-pivot[2]}"
    frame = (
        f'<frame pos="{pivot[0]} {pivot[1]} {pivot[2] + 0.1}" euler="0 {angle} 0"><frame pos="{back}">'
        f"{_geoms(range(5, 9))}</frame></frame>"
    )
    mass, cg, inertia = _mujoco_body(_geoms(range(5)) + frame)
    assert whole.mass == pytest.approx(mass, rel=1e-9)
    np.testing.assert_allclose(whole.cg, cg, rtol=0, atol=1e-9)
    np.testing.assert_allclose(whole.inertia, inertia, rtol=0, atol=1e-8)


def test_inertia_about_a_hinge_agrees_with_mujoco():
    """The joint-space inertia of a body on one slanted hinge is the moment about that axis."""
    axis, point = np.array([0.6, 0.0, 0.8]), np.array([-0.1, 0.15, 0.05])
    xml = f"""<mujoco><worldbody><body>
      <joint type="hinge" axis="0.6 0 0.8" pos="-0.1 0.15 0.05"/>{_geoms(range(9))}
    </body></worldbody></mujoco>"""
    model = mujoco.MjModel.from_xml_string(xml)
    data = mujoco.MjData(model)
    mujoco.mj_forward(model, data)
    full = np.zeros((1, 1))
    mujoco.mj_fullM(model, data, full)
    ours = axis_inertia(inertia_about(assemble(MASS, POSITION, SIZE), point), axis)
    assert ours == pytest.approx(full[0, 0], rel=1e-9)


def test_a_cuboid_by_the_textbook():
    """Meriam, Kraige, table of solids, from memory: m (b^2 + c^2) / 12."""
    body = assemble([12.0], [[0.0, 0.0, 0.0]], [[0.3, 0.2, 0.1]])
    np.testing.assert_allclose(np.diag(body.inertia), [0.04 + 0.01, 0.09 + 0.01, 0.09 + 0.04], rtol=1e-12)


@pytest.mark.parametrize(
    ("mass", "position", "size"),
    [
        ([-1.0], [[0.0, 0.0, 0.0]], [[0.1, 0.1, 0.1]]),
        ([0.0], [[0.0, 0.0, 0.0]], [[0.1, 0.1, 0.1]]),
        ([1.0], [[0.0, 0.0, 0.0]], [[0.1, -0.1, 0.1]]),
        ([1.0], [[0.0, 0.0]], [[0.1, 0.1]]),
        ([1.0], [0.0, 0.0, 0.0], [[0.1, 0.1, 0.1]]),
    ],
)
def test_impossible_parts_are_refused(mass, position, size):
    with pytest.raises(ValueError, match=r"negative|no mass|shape|axes"):
        assemble(mass, position, size)


def test_nothing_cannot_be_combined():
    with pytest.raises(ValueError, match="no body"):
        combine([])
    assert isinstance(combine([assemble([1.0], [[0, 0, 0]], [[1, 1, 1]])]), RigidBody)
