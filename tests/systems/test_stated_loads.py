"""Loads of motors that actions state, against those worked by hand: virtual work and levers (Meriam, statics)."""

from __future__ import annotations

import math

import pytest

from robots import GRAVITY, check, find

MASS, STALL = 7.0, 0.7  # kg of the small robot; N m of its motor at standstill
USE = [{"motor": "test motor", "count": 2}]
WINCH = {
    "kind": "climber", "pose": "up", "structure": "bar", "hook": ["-0.10 m", "0.6 m"], "motors": USE,
    "lift": {"drum_radius": "15 mm", "travel": "0.1 m", "stages": [{"driver": 12, "driven": 60, "efficiency": 0.9}],
             "efficiency": 0.8},
}  # fmt: skip
SEASON = {"structures": {"bar": {"height": "0.59 m", "diameter": "40 mm"}}}


def stating(tmp_path, share):
    """A climber on motors whose action states how much of them it uses."""
    robot = {
        "poses": {"up": {"use": "climb"}},
        "mechanisms": {"winch": WINCH},
        "actions": {"climb": {"time": "5 s", "motors": {"winch": share}}},
    }
    return find(check(tmp_path, robot, SEASON), "motor.stated.winch")


@pytest.mark.parametrize(("share", "verdict", "said"), [
    ("20 %", "holds", "The two agree well enough"),
    ("60 %", "holds", "The stated load is the higher by far"),
    ("5 %", "short", "come out too low: state more, or measure the current"),
])  # fmt: skip
def test_a_stated_load_is_held_against_the_weight_on_the_drum(tmp_path, share, verdict, said):
    """Once it hangs the hooks carry the whole weight; two motors, five turns for one, 0.9 and 0.8 of it left."""
    found = stating(tmp_path, share)
    computed = MASS * GRAVITY * 0.015 / (2 * 5 * 0.9 * 0.8) / STALL
    assert found.limit == pytest.approx(0.5 * computed, rel=1e-6)
    assert found.value == pytest.approx(float(share[:-2]) / 100)
    assert found.verdict == verdict
    assert said in found.because
    assert f"states that 'winch' asks {share}" in found.because
    assert f"computed to ask {100 * computed:.0f} %" in found.because


def test_a_shared_motor_gives_what_its_controller_lets_through(tmp_path):
    """1.5 A of 3.6 A at standstill, 0.13 A of them for its own friction: (1.5 - 0.13) / (3.6 - 0.13) = 39.5 %."""
    plain = {"kind": "plain", "motors": [{"motor": "elbow"}]}
    robot = {
        "catalogue": {"motors": {"test motor": {"current_limit": "1.5 A", "power_cap": "1000 W"}}},
        "motors": {"elbow": {"motor": "test motor"}},
        "mechanisms": {"arm": plain, "righter": plain},
        "actions": {"right": {"time": "6 s", "motors": {"arm": "25 %", "righter": "20 %"}}},
        "plan": {"start": "a", "driven": [{"action": "right", "at": "b"}]},
    }
    found = find(check(tmp_path, robot), "motor.load.elbow")
    assert (found.value, found.limit) == (pytest.approx(0.45), pytest.approx(1.37 / 3.47, rel=1e-6))
    assert found.verdict in ("short", "close")
    assert "so it stalls" in found.because


def agrees(found, torque):
    """Half of what the most that one motor must give takes of its torque at stall is the least that is believed."""
    assert found.limit == pytest.approx(0.5 * torque / STALL, rel=1e-3)
    assert found.verdict == "holds"


def stated_of(tmp_path, kind, share="20 %", **more):
    """The finding on the load that an action states for a mechanism called 'it'."""
    robot = {"mechanisms": {"it": kind}, "actions": {"use it": {"time": "3 s", "motors": {"it": share}}}, **more}
    return find(check(tmp_path, robot, {"objects": {"post": POST}}), "motor.stated.it")


POST = {"mass": "1.5 kg", "size": ["0.12 m", "0.16 m", "0.2 m"], "friction": 0.9}
STATED_ARM = {
    "kind": "motor arm", "motors": [{"motor": "test motor", "count": 2}], "rides": "arm", "side": "ahead",
    "pivot": ["0 m", "0.3 m"], "stages": [{"driver": 12, "driven": 84, "efficiency": 0.9}], "swing": "90 deg",
    "carries": {"ball": {"object": "ball", "position": ["0.15 m", "0.3 m"]}}, "time_limit": "2 s",
}  # fmt: skip


def test_an_arms_load_is_that_of_its_weights_when_level(tmp_path):
    part = {
        "arm": {
            "mass": "0.6 kg",
            "position": ["0.1 m", "0 m", "0.3 m"],
            "size": ["0.2 m", "0.02 m", "0.02 m"],
            "rides": "arm",
        }
    }
    found = stated_of(tmp_path, STATED_ARM, parts=part)
    level = GRAVITY * (0.6 * 0.1 + 0.4 * 0.15)
    agrees(found, (level + 0.05) / (2 * 7 * 0.9))  # 0.05 N m of friction at the pivot, the default


def test_a_guides_load_is_that_of_the_load_with_the_friction_of_its_pads(tmp_path):
    guide = {
        "kind": "guide",
        "length": "60 mm",
        "load": "20 N",
        "load_offset": "0 mm",
        "drive_offset": "40 mm",
        "friction": 0.3,
        "motors": [{"motor": "test motor"}],
        "drive": {
            "radius": "10 mm",
            "travel": "0.3 m",
            "moved": "2 kg",
            "efficiency": 0.95,
            "stages": [{"driver": 12, "driven": 36, "efficiency": 0.9}],
        },
    }
    found = stated_of(tmp_path, guide)
    agrees(found, 20 / (1 - 2 * 0.3 * 0.04 / 0.06) * 0.01 / (3 * 0.9 * 0.95))


def test_a_grabbers_load_is_that_of_the_post_that_it_tips(tmp_path):
    grab = {
        "kind": "grabber",
        "object": "post",
        "does": "tip",
        "by": "arm",
        "pose": "driving",
        "pivot": ["0.1 m", "0.2 m"],
        "length": "0.16 m",
        "lowest": "-20 deg",
        "lip": {"height": "0.16 m", "depth": "30 mm", "near": "0.06 m"},
        "arm": {"gears": [{"driver": 12, "driven": 60, "efficiency": 0.9}]},
        "motors": [{"motor": "test motor", "count": 2}],
    }
    found = stated_of(tmp_path, grab)
    rise = math.radians(70)
    lever = 0.16 * math.cos(rise) + 0.12 * math.sin(rise)
    agrees(found, 1.5 * GRAVITY * 0.06 / lever * 0.16 / (2 * 5 * 0.9))


def test_an_intakes_load_is_the_drag_of_a_piece_at_its_rollers(tmp_path):
    rollers = {
        "diameter": "60 mm",
        "squeeze": "6 mm",
        "press": "8 N",
        "friction": 0.7,
        "guide_friction": 0.2,
        "flexing": 0.1,
    }
    intake = {
        "kind": "intake",
        "object": "ball",
        "throughput": "5 Hz",
        "stages": {
            "front": {
                "motor": "test motor",
                "gearing": [{"driver": 40, "driven": 20, "efficiency": 0.9}],
                "rollers": rollers,
            }
        },
    }
    found = stated_of(tmp_path, intake)
    arc = math.acos(1 - 6 / 30)
    agrees(found, 0.3 * 8 * 0.03 * math.sin(arc) / arc / (0.5 * 0.9))
