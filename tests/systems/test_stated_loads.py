"""Loads of motors that actions state, against those worked by hand: virtual work and levers (Meriam, statics)."""

from __future__ import annotations

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
