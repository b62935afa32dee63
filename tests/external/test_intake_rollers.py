"""Roller stages against a bent skin, a solved operating point and an object pushed step by step."""

import numpy as np
import pytest
from scipy.optimize import brentq

from fieldworthy.physics.contact import rolling

STAGE = {
    "ratio": 2.0,
    "efficiency": 0.9,
    "radius": 0.0254,
    "squeeze": 0.004,
    "normal_force": 20.0,
    "friction": 0.8,
    "drag": 5.0,
}


@pytest.mark.parametrize("squeeze", [0.0, 0.001, 0.004, 0.008])
def test_rolling_radius_from_a_skin_of_fixed_length(squeeze):
    # Points of the skin, one each 2 pi / 1e6 of a turn, flow through the flat: their number times their
    # spacing is the arc, the flat is as wide as the chord, found here by scanning where the circle meets
    # the plate
    radius = 0.025
    angle = np.linspace(-np.pi, np.pi, 1_000_001)
    pressed = radius * np.cos(angle) > radius - squeeze
    if not pressed.any():
        assert rolling.rolling_radius(radius, squeeze) == pytest.approx(radius, rel=1e-12)
        return
    x = radius * np.sin(angle[pressed])
    turn = angle[pressed].max() - angle[pressed].min()
    # 1e-4: the flat's edges fall between two points of the scan
    assert rolling.rolling_radius(radius, squeeze) == pytest.approx((x.max() - x.min()) / turn, rel=1e-4)


def test_rolling_radius_is_about_a_third_of_the_squeeze_below_the_free_one():
    # Tyre textbooks (from memory): R_e = R - d / 3 for small d; at d = R / 10 it holds within 0.1 % of R
    assert rolling.rolling_radius(0.03, 0.003) == pytest.approx(0.03 - 0.001, abs=0.001 * 0.03)


def test_operating_point_where_motor_line_meets_the_load():
    # scipy's root of motor torque less load, for two stages of unlike ratio on one motor
    free, stall = 62.83, 0.70
    one, two = rolling.Stage(**STAGE), rolling.Stage(**{**STAGE, "ratio": 1.0, "drag": 3.0})
    loads = [rolling.load_torque(one), rolling.load_torque(two)]

    def surplus(speed):
        power = 0.0
        for stage, force in ((one, 5.0), (two, 3.0)):
            power += force * rolling.surface_speed(stage, speed) / 0.9
        return stall * (1 - speed / free) * speed - power

    root = brentq(surplus, 1.0, free)
    assert rolling.motor_speed(free, stall, loads) == pytest.approx(root, rel=1e-9)


@pytest.mark.parametrize(("drag", "moves"), [(5.0, True), (15.9, True), (16.1, False), (40.0, False)])
def test_slip_against_an_object_pushed_step_by_step(drag, moves):
    # Time-stepped Coulomb friction between surface, object and guide, from rest, 0.1 ms steps over 2 s
    stage = rolling.Stage(**{**STAGE, "drag": drag})
    surface, mass, speed = rolling.surface_speed(stage, 60.0), 0.1, 0.0
    for _ in range(20_000):
        push = 16.0 if speed < surface else 0.0
        speed = min(max(speed + (push - drag) / mass * 1e-4, 0.0), surface) if push > drag or speed > 0 else 0.0
    # 0.05 m/s: the stepped object chatters about the surface's speed by one step of deceleration
    assert rolling.object_speed(stage, 60.0) == pytest.approx(speed, abs=0.05)


def test_drag_on_a_slope():
    # Textbook statics by hand: 20 N on friction 0.25 with 3 % flexing loss, 1 N of weight along the path:
    # 6.6 N
    assert rolling.drag(20.0, 0.25, 0.03, 1.0) == pytest.approx(6.6, rel=1e-12)
    assert rolling.drag(20.0, 0.25, 0.03, -9.0) == pytest.approx(0.0, abs=1e-12)


def test_a_stage_without_grip():
    stuck = rolling.Stage(**{**STAGE, "normal_force": 0.0})
    assert rolling.load_torque(stuck) == 0.0


def test_held_torque_against_virtual_work():
    # Work of a slipping roller over one turn: grip times the skin that passes, through the losses
    stage = rolling.Stage(**STAGE)
    skin = 2.0 * np.pi * rolling.rolling_radius(0.0254, 0.004)
    assert rolling.held_torque(stage) * 2.0 * np.pi * 2.0 * 0.9 == pytest.approx(16.0 * skin, rel=1e-12)


def test_batch_equals_case_by_case():
    drag = np.array([1.0, 5.0, 30.0])
    radius = np.array([0.02, 0.0254, 0.03])
    batch = rolling.Stage(**{**STAGE, "drag": drag, "radius": radius})
    speed = rolling.motor_speed(62.8, 0.7, [rolling.load_torque(batch)])
    found = np.array([rolling.object_speed(batch, speed), rolling.held_torque(batch)])
    for i in range(3):
        one = rolling.Stage(**{**STAGE, "drag": float(drag[i]), "radius": float(radius[i])})
        w = rolling.motor_speed(62.8, 0.7, [rolling.load_torque(one)])
        alone = [rolling.object_speed(one, w), rolling.held_torque(one)]
        assert found[:, i] == pytest.approx(alone, rel=1e-14)


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"ratio": 0.0}, "ratio"),
        ({"efficiency": 1.2}, "efficiency"),
        ({"squeeze": 0.03}, "squeeze"),
        ({"drag": -1.0}, "drag"),
        ({"friction": float("nan")}, "friction"),
    ],
)
def test_a_bad_stage_is_named(change, named):
    with pytest.raises(ValueError, match=named):
        rolling.Stage(**{**STAGE, **change})


def test_bad_motor_and_drag_are_named():
    with pytest.raises(ValueError, match="stall_torque"):
        rolling.motor_speed(60.0, 0.0, [0.1])
    with pytest.raises(ValueError, match="guide_friction"):
        rolling.drag(10.0, -0.1)
    with pytest.raises(ValueError, match="radius"):
        rolling.rolling_radius(0.0, 0.0)
