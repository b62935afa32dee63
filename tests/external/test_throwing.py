"""Pieces that fly off a conveyor that stops: projectiles by hand, and a body that MuJoCo slides and throws."""

from __future__ import annotations

import math

import mujoco
import numpy as np
import pytest
from scipy.optimize import brentq

from fieldworthy.drawing.style import PRINT, Style
from fieldworthy.files import BadInput
from fieldworthy.physics.contact import throwing
from fieldworthy.systems.sorter.check import flight_of, passing_of
from fieldworthy.systems.sorter.figure import flight, flight_curves
from robots import GRAVITY, MOTOR, check, find, load, nominal

CLIMB, FRICTION = math.radians(40.0), 0.35
ROBOT = {
    "catalogue": {"motors": {"quick": MOTOR | {"free_speed": "900 rpm", "stall_current": "5.4 A"}}},
    "mechanisms": {
        "belt": {"kind": "intake", "object": "ring", "throughput": "3 Hz", "stages": {"top": {
            "motor": "quick", "climb": "40 deg",
            "rollers": {"diameter": "50 mm", "squeeze": "4 mm", "press": "3 N", "friction": 0.9}}}},
        "sorter": {"kind": "sorter", "intake": "belt", "stage": "top", "sensor": {"period": "5 ms", "latency": "5 ms"},
                   "classes": {"red": {"hue": "5 deg", "spread": "10 deg"},
                               "blue": {"hue": "230 deg", "spread": "10 deg"}},
                   "unwanted": "blue", "readings": 3,
                   "ejector": {"distance": "0.2 m", "deceleration": "40 m/s^2", "friction": FRICTION,
                               "over": ["80 mm", "30 mm"]}},
    },
}  # fmt: skip
SEASON = {"objects": {"ring": {"mass": "60 g", "size": ["100 mm", "100 mm", "40 mm"], "shape": "round"}}}


def changed(**keys):
    sorter = ROBOT["mechanisms"]["sorter"]
    other = sorter | {"ejector": sorter["ejector"] | keys}
    return ROBOT | {"mechanisms": ROBOT["mechanisms"] | {"sorter": other}}


def slid_and_thrown(speed: float, before: float) -> tuple[float, float, np.ndarray]:
    """Slide a small box up a slope that stands, from some way before its end; its speeds, and its flight.

    The slope is a plane that is taken away when the box is at its end, so that nothing but gravity acts on the flight.
    """
    up = np.array([math.cos(CLIMB), 0.0, math.sin(CLIMB)])
    model = mujoco.MjModel.from_xml_string(f"""
<mujoco><compiler angle="radian"/>
<option timestep="0.0001" cone="elliptic" impratio="50" gravity="0 0 -{GRAVITY}" integrator="implicitfast"/>
<worldbody><geom name="slope" type="plane" size="3 3 0.1" euler="0 {-CLIMB} 0" friction="{FRICTION} 0 0"
 solref="0.02 1"/><body name="ring"><freejoint/>
<geom name="ring" type="box" size="0.02 0.02 0.002" mass="0.06" friction="{FRICTION} 0 0" solref="0.02 1"/></body>
</worldbody></mujoco>""")
    data = mujoco.MjData(model)
    normal = np.array([-math.sin(CLIMB), 0.0, math.cos(CLIMB)])
    start = before + 0.4  # the contact settles on the way to where the slope is said to stop
    data.qpos[:3] = 0.002 * normal - start * up
    data.qpos[3:] = [math.cos(CLIMB / 2), 0.0, -math.sin(CLIMB / 2), 0.0]
    slowing = GRAVITY * (math.sin(CLIMB) + FRICTION * math.cos(CLIMB))
    data.qvel[:3] = math.sqrt(speed**2 + 2 * slowing * 0.4) * up
    mujoco.mj_forward(model, data)
    while data.qpos[:3] @ up < -before:
        mujoco.mj_step(model, data)
    stopped = float(data.qvel[:3] @ up)
    while data.qpos[:3] @ up < 0.0:
        mujoco.mj_step(model, data)
        assert data.qvel[:3] @ up > 0.0, "it came to rest on the slope"
    left = float(data.qvel[:3] @ up)
    model.geom_contype[:] = model.geom_conaffinity[:] = 0
    start, track = data.qpos[:3].copy(), []
    for _ in range(4000):
        mujoco.mj_step(model, data)
        track.append(data.qpos[:3] - start)
    return stopped, left, np.array(track)[:, [0, 2]]


@pytest.mark.parametrize(("speed", "before"), [(1.4, 0.02), (1.8, 0.06), (2.4, 0.1)])
def test_slide_and_flight_are_those_of_a_body_in_mujoco(speed, before):
    stopped, left, track = slid_and_thrown(speed, before)
    slowing = float(throwing.slide_slowing(CLIMB, FRICTION))
    # stopped `before` the end, it leaves with what is left: the same as being able to stop so far before the end
    assert float(throwing.run_out(stopped, left, slowing)) == pytest.approx(before, rel=0.02)
    inside = track[(track[:, 0] > 0.02) & (track[:, 0] < 0.3)]
    assert len(inside) > 100
    assert throwing.flight_height(left, CLIMB, inside[:, 0]) == pytest.approx(inside[:, 1], abs=2e-3)


def test_least_speed_by_root_finding():
    """The speed at which the parabola passes through the point; and, at 45 degrees over level ground, sqrt(g x)."""
    assert float(throwing.least_throw(math.pi / 4, 0.5, 0.0)) == pytest.approx(math.sqrt(GRAVITY * 0.5))
    for angle, ahead, up in ((0.6, 0.2, 0.05), (1.2, 0.1, 0.2), (0.2, 0.3, -0.1)):

        def miss(v, angle=angle, ahead=ahead, up=up):
            time = ahead / (v * math.cos(angle))
            return v * math.sin(angle) * time - GRAVITY * time**2 / 2 - up

        assert float(throwing.least_throw(angle, ahead, up)) == pytest.approx(brentq(miss, 0.3, 30.0), rel=1e-9)
    assert math.isinf(float(throwing.least_throw(0.3, 0.2, 0.2)))  # above the line along which it leaves


def test_a_sorter_that_stops_its_conveyor(tmp_path):
    """By hand from the speed of the pieces: what it takes over the point, how far ahead, and when to slow."""
    report = check(tmp_path, ROBOT, SEASON)
    flies, parts, eject = (find(report, f"sort.{what}.sorter") for what in ("flies", "parts", "eject"))
    least = math.sqrt(GRAVITY * 0.08**2 / (2 * math.cos(CLIMB) ** 2 * (0.08 * math.tan(CLIMB) - 0.03)))
    slowing = GRAVITY * (math.sin(CLIMB) + FRICTION * math.cos(CLIMB))
    assert flies.limit == pytest.approx(least)
    assert (parts.value, parts.limit) == (pytest.approx(40.0), pytest.approx(slowing))
    speed = flies.value
    reach = (speed**2 - least**2) / (2 * slowing)
    context = nominal(load(tmp_path, ROBOT, SEASON))
    sorter = context.robot.mechanisms["sorter"]
    passing = passing_of(context, sorter)
    assert float(flight_of(passing, sorter.ejector).reach) == pytest.approx(reach)
    # the window is as long as the way on which the conveyor may stop, or as the gap behind the piece before
    spacing = max(float(passing.row.spacing(passing.stage)), 0.1)
    opens, closes = max(0.2 - reach, 0.3 - spacing) / speed, 0.2 / speed
    # nose and spot to the command: 8 mm of spot, three readings 5 ms apart, 5 ms of latency
    assert eject.value / 1e3 == pytest.approx(min((closes - opens) / 2, closes - opens), rel=0.05)
    assert flies.verdict == parts.verdict == "holds"
    drawn = flight_curves(context)["sorter"]
    assert drawn.clears
    assert "passes over" in flight(drawn, Style(PRINT, "metric", 640.0)).alt


@pytest.mark.parametrize(
    ("keys", "short"),
    [
        ({"deceleration": "6 m/s^2"}, "sort.parts.sorter"),  # less than the 8.9 m/s2 with which the piece slows
        ({"over": ["80 mm", "70 mm"]}, "sort.flies.sorter"),  # 80 mm tan 40 deg is 67 mm: above its line
        ({"over": ["600 mm", "100 mm"]}, "sort.flies.sorter"),
    ],
)
def test_what_cannot_fly_off_is_short(tmp_path, keys, short):
    assert find(check(tmp_path, changed(**keys), SEASON), short).verdict == "short"


def test_a_mixture_of_both_is_refused(tmp_path):
    with pytest.raises(BadInput, match=r"ejector"):
        load(tmp_path, changed(cylinder="tray"), SEASON)
