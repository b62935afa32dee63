"""Season limits against sums and boxes worked out by hand."""

from __future__ import annotations

import math

import pytest
from scipy.stats import norm

from fieldworthy.engine.evaluate import evaluate
from fieldworthy.files import BadInput
from robots import GONE, check, fact, find, load

PSI = 6894.757293168  # Pa; NIST SP 811


def margin_at_most(value: float, limit: float) -> float:
    """Share of the limit that is left."""
    return (limit - value) / limit


def test_motors_count_power_and_number_mechanisms_included(tmp_path):
    mechanisms = {"lift": {"kind": "plain", "motors": [{"motor": "small", "count": 3}]}}
    catalogue = {"motors": {"small": {
        "free_speed": "200 rpm", "stall_torque": "1 N*m", "free_current": "0.1 A", "stall_current": "2 A",
        "rated_voltage": "12 V", "counted_power": "5.5 W", "mass": "95 g"}}}  # fmt: skip
    limits = {"motor_power": "60 W", "motors": 6}
    report = check(tmp_path, {"mechanisms": mechanisms, "catalogue": catalogue}, {"limits": limits})
    power, number = find(report, "limits.motor_power"), find(report, "limits.motors")
    assert power.value == pytest.approx(4 * 11 + 3 * 5.5, rel=1e-12)
    assert power.verdict == "short"
    assert power.margin == pytest.approx(margin_at_most(60.5, 60.0), rel=1e-9)
    assert number.value == 7
    assert number.margin == pytest.approx(-1 / 6, rel=1e-9)


@pytest.mark.parametrize(("allowed", "verdict"), [("60.5 W", "holds"), ("60.4 W", "short")])
def test_power_right_at_the_limit_holds(tmp_path, allowed, verdict):
    mechanisms = {"lift": {"kind": "plain", "motors": [{"motor": "smart motor, 5.5 W class, 200 rpm", "count": 3}]}}
    report = check(tmp_path, {"mechanisms": mechanisms}, {"limits": {"motor_power": allowed}})
    assert find(report, "limits.motor_power").verdict == verdict


@pytest.mark.parametrize(("allowed", "verdict"), [("60.5 W", "holds"), ("60.4 W", "short")])
def test_power_that_the_rules_count_for_an_own_motor_is_exact(tmp_path, allowed, verdict):
    """A rule's count has no tolerance (docs/files.md): 4 x 11 W and 3 x 5.5 W are 60.5 W, and no draw is another."""
    mechanisms = {"lift": {"kind": "plain", "motors": [{"motor": "small", "count": 3}]}}
    catalogue = {"motors": {"small": {
        "free_speed": "200 rpm", "stall_torque": "1 N*m", "free_current": "0.1 A", "stall_current": "2 A",
        "rated_voltage": "12 V", "counted_power": "5.5 W", "mass": "95 g"}}}  # fmt: skip
    own = {"mechanisms": mechanisms, "catalogue": catalogue}
    report = evaluate(load(tmp_path, own, {"limits": {"motor_power": allowed}}), samples=100)
    found = find(report, "limits.motor_power")
    assert found.verdict == verdict
    assert found.chance == (1.0 if verdict == "holds" else 0.0)


def test_a_limit_the_season_does_not_set_is_not_judged(tmp_path):
    report = check(tmp_path)
    assert [f.id for f in report.findings if f.id.startswith("limits.")] == ["limits.unsaid"]


def test_what_the_season_does_not_say_is_unknown_in_one_line(tmp_path):
    """A season without limits must not give a list that looks all clear."""
    found = find(check(tmp_path), "limits.unsaid")
    assert found.verdict == "unknown"
    wanted = ("motor_power", "mass", "stowed_size", "extended_size")
    assert found.missing == tuple(f"season.limits.{name}" for name in wanted)
    air = {"air": {"tanks": {"one": {"tank": "test tank"}}}}
    assert find(check(tmp_path, air), "limits.unsaid").missing[-2:] == (
        "season.limits.tanks", "season.limits.charge_pressure")  # fmt: skip
    size = ["0.5 m"] * 3
    limits = {"motors": 8, "mass": "9 kg", "stowed_size": size, "extended_size": size}
    report = check(tmp_path, {}, {"limits": limits})  # a number of motors stands in for their power
    assert not [f for f in report.findings if f.id == "limits.unsaid"]


def test_mass_counts_every_part_but_not_what_is_carried(tmp_path):
    parts = {"weights": {"mass": "0.3 kg", "position": ["0 m"] * 3, "size": ["0.1 m"] * 3, "count": 4}}
    poses = {"loaded": {"carries": {"b": {"object": "ball", "position": ["0 m", "0 m", "0.3 m"]}}}}
    report = check(tmp_path, {"parts": parts, "poses": poses}, {"limits": {"mass": "9 kg"}})
    found = find(report, "limits.mass")
    assert found.value * (1 if found.unit == "kg" else 0) == pytest.approx(7 + 4 * 0.3, rel=1e-12)
    assert found.margin == pytest.approx(margin_at_most(8.2, 9.0), rel=1e-9)


def test_chance_of_the_mass_limit_equals_the_closed_form(tmp_path):
    """A sum of independent normal masses is normal: the chance is its distribution function at the limit."""
    parts = {
        "box": {"mass": {"value": "7 kg", "tolerance": "0.4 kg"}},
        "top": {"mass": {"value": "1 kg", "tolerance": "0.3 kg"}, "position": ["0 m"] * 3, "size": ["0.1 m"] * 3},
    }
    loaded = load(tmp_path, {"parts": parts}, {"limits": {"mass": "8.2 kg"}})
    report = evaluate(loaded, samples=40_000)
    spread = math.hypot(0.4, 0.3) / norm.ppf(0.975)  # a tolerance is the half width of a 95 % interval
    expected = norm.cdf((8.2 - 8.0) / spread)
    # binomial standard error 0.002 at 40,000 samples: three of them, and both tails cut at three sigma
    assert find(report, "limits.mass").chance == pytest.approx(expected, abs=0.006)
    low, high = find(report, "limits.mass").spread
    assert (low, high) == pytest.approx((8 - 0.5, 8 + 0.5), abs=0.012)  # hypot(0.4, 0.3) = 0.5


def test_size_is_the_box_around_all_parts_and_height_counts_from_the_floor(tmp_path):
    parts = {"mast": {"mass": "0.2 kg", "position": ["-0.1 m", "0 m", "0.4 m"], "size": ["0.05 m", "0.05 m", "0.3 m"],
                      "rides": "mast"}}  # fmt: skip
    poses = {
        "start": {"use": "start"},
        "up": {"use": "stand", "moves": {"mast": {"shift": ["0 m", "-0.2 m", "0.25 m"]}}},
        "down": {"use": "stand", "moves": {"mast": {"turn": "90 deg", "pivot": ["-0.1 m", "0 m", "0.25 m"]}}},
    }
    limits = {"stowed_size": ["0.45 m"] * 3, "extended_size": ["0.5 m", "0.5 m", "0.7 m"]}
    report = check(tmp_path, {"parts": parts, "poses": poses}, {"limits": limits})
    # box: x from -0.16 to 0.20, y from -0.16 to 0.18, z from 0.02 to 0.22 m; mast to 0.55 m
    stowed = {side: find(report, f"limits.stowed_size.{side}") for side in ("length", "width", "height")}
    assert [stowed[s].value for s in stowed] == pytest.approx([0.36, 0.34, 0.55], rel=1e-9)
    assert stowed["height"].verdict == "short"
    wide = {side: find(report, f"limits.extended_size.{side}") for side in ("length", "width", "height")}
    # up: the mast's middle at y -0.2, so from -0.225 to 0.18; top at 0.80. Down: nose down by a quarter turn, so
    # what stood 0 to 0.3 m above the pivot lies 0 to 0.3 m before it: to x = 0.2
    assert wide["width"].value == pytest.approx(0.18 + 0.225, rel=1e-9)
    assert wide["height"].value == pytest.approx(0.80, rel=1e-9)
    assert wide["height"].subject == "pose up"
    assert wide["length"].value == pytest.approx(0.36, rel=1e-9)


def test_a_turned_mast_reaches_where_a_rotation_matrix_puts_its_corners(tmp_path):
    angle, pivot = math.radians(35), (0.1, 0.3)
    parts = {"mast": {"mass": "0.2 kg", "position": ["0.2 m", "0 m", "0.5 m"], "size": ["0.1 m", "0.05 m", "0.4 m"],
                      "rides": "mast"}}  # fmt: skip
    move = {"turn": "35 deg", "pivot": ["0.1 m", "0 m", "0.3 m"]}
    poses = {"tipped": {"use": "stand", "moves": {"mast": move}}, "start": {"use": "start"}, "driving": GONE}
    report = check(tmp_path, {"parts": parts, "poses": poses}, {"limits": {"extended_size": ["1 m"] * 3}})
    # nose down is a right-handed turn about y: x' = x cos + z sin, z' = z cos - x sin
    corners = [(0.2 + a * 0.05 - pivot[0], 0.5 + b * 0.2 - pivot[1]) for a in (-1, 1) for b in (-1, 1)]
    x = [pivot[0] + cx * math.cos(angle) + cz * math.sin(angle) for cx, cz in corners]
    z = [pivot[1] + cz * math.cos(angle) - cx * math.sin(angle) for cx, cz in corners]
    length = find(report, "limits.extended_size.length").value
    assert length == pytest.approx(max(*x, 0.20) - min(*x, -0.16), rel=1e-9)
    assert find(report, "limits.extended_size.height").value == pytest.approx(max(*z, 0.22), rel=1e-9)


def test_without_a_start_pose_the_starting_size_is_unknown(tmp_path):
    report = check(tmp_path, {}, {"limits": {"stowed_size": ["0.45 m"] * 3}})
    found = find(report, "limits.stowed_size")
    assert (found.verdict, found.missing, found.value, found.margin) == ("unknown", ("poses",), None, None)


def test_without_parts_the_mass_is_unknown(tmp_path):
    report = check(tmp_path, {"parts": GONE}, {"limits": {"mass": "9 kg"}})
    found = find(report, "limits.mass")
    assert (found.verdict, found.missing) == ("unknown", ("parts",))


def test_tanks_and_charge_pressure(tmp_path):
    air = {
        "supply": {"charge": "100 psi"},
        "tanks": {"one": {"tank": "test tank", "count": 2}, "two": {"tank": "test tank", "charge": "650 kPa"}},
    }
    report = check(tmp_path, {"air": air}, {"limits": {"tanks": 2, "charge_pressure": "100 psi"}})
    tanks = find(report, "limits.tanks")
    assert (tanks.value, tanks.margin, tanks.verdict) == (3, -1, "short")
    one, two = (find(report, "limits.charge_pressure", f"tank {n}") for n in ("one", "two"))
    assert one.margin == pytest.approx(0, abs=1e-12)
    assert one.verdict == "holds"
    assert two.margin == pytest.approx(margin_at_most(650e3, 100 * PSI), rel=1e-6)


def test_a_season_without_any_limit_and_a_robot_without_air_names_none(tmp_path):
    report = check(tmp_path)
    assert fact(report, "drive.top_speed").value > 0.5  # the drive itself is computed all the same
    assert [f.id for f in report.findings if f.id.startswith(("limits.", "air."))] == ["limits.unsaid"]


def test_a_wrong_limit_is_refused_with_its_line_and_key(tmp_path):
    with pytest.raises(BadInput) as caught:
        load(tmp_path, {}, {"limits": {"mass": "9 m"}})
    (problem,) = caught.value.problems
    assert problem.key == ("limits", "mass")
    line = (tmp_path / "season.yaml").read_text("utf-8").splitlines()[problem.line - 1]
    assert '"mass": "9 m"' in line
