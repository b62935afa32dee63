"""Pushes, turns and squares: wheel sizes, offsets and the gyro's scale are found, each way parted from the other."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fieldworthy.files import BadInput
from fieldworthy.measure.model import Odometry
from fieldworthy.measure.odometry import DRIFT, GYRO, fit_odometry
from measuring import PER_95, measured, recovered, section
from rolling import SIZE, TRACK, TRACKING, TRUE, TRUTHS, readings, squares


def fit(bench, data):
    return fit_odometry(section(Odometry, data), bench)


@pytest.mark.long
def test_the_truth_lies_within_the_interval_in_about_95_of_100(tmp_path):
    bench = measured(tmp_path, robot=TRACKING)
    found = recovered(lambda seed: fit(bench, readings(seed)), TRUTHS)
    for name, (hits, _) in found.items():
        assert 0.90 <= hits <= 0.99, name
    # the naive way: one push over the tape, the size from its counts alone
    one = 0.0508 / 2.4 * math.hypot(0.003 / PER_95, math.hypot(0.4e-3 * math.sqrt(2.4), 0.0004 * 2.4))
    assert found["diameter of wheel 'left'"][1] < 0.85 * one


def test_the_keys_are_those_of_the_robot_file(tmp_path):
    found = fit(measured(tmp_path, robot=TRACKING), readings(0))
    left = found.get("tracking.wheels.left.diameter")
    assert left.spread_key == ("tracking", "wheels", "left", "diameter_error")
    assert found.get("tracking.wheels.across.offset").value == pytest.approx(-0.0588, abs=3e-4)
    assert found.unidentified == ()
    assert any("Multiply the gyro's reading by 1.00" in note for note in found.notes)
    assert {r.name for r in found.residuals} == {"Wheel 'left'", "Wheel 'right'", "Wheel 'across'"}


def test_turns_alone_do_not_part_size_and_offset(tmp_path):
    found = fit(measured(tmp_path, robot=TRACKING), {"turns": readings(0)["turns"]})
    blind = {u.name: u for u in found.unidentified}
    assert "only a combination of diameter of wheel 'left' and offset" in blind["diameter of wheel 'left'"].why
    assert "push the robot ahead" in blind["diameter of wheel 'left'"].reading
    assert [f.name for f in found.fitted] == [GYRO]


def test_turning_one_way_only_leaves_the_drift_in_the_gyro_s_scale(tmp_path):
    bench = measured(tmp_path, robot=TRACKING)
    both = {"turns": readings(0)["turns"]}
    one_way = {"turns": [t for t in both["turns"] if t["turns"] > 0]}
    assert fit(bench, both).get(GYRO).half_width < 0.8 * fit(bench, one_way).get(GYRO).half_width


def test_squares_add_to_pushes_and_turns(tmp_path):
    """End points and marks tell the same track; together they tell it no worse, and the truth still lies inside."""
    bench = measured(tmp_path, robot=TRACKING)
    plain, more = fit(bench, readings(1)), fit(bench, readings(1, square=True))
    for name in ("offset of wheel 'left'", "offset of wheel 'right'", "diameter of wheel 'left'"):
        item = more.get(name)
        assert abs(item.value - TRUTHS[name]) <= 1.3 * item.half_width
        assert item.half_width <= 1.05 * plain.get(name).half_width
    assert "Squares end" in more.notes[0]


def test_squares_alone_give_track_and_ratio_for_the_program(tmp_path):
    rng = np.random.default_rng(2)
    data = squares(rng, 0.004)
    del data["left"], data["right"]
    found = fit(measured(tmp_path), {"end_error": "4 mm", "squares": data | {"track": f"{TRACK} m"}})
    track = found.get("track for the robot's program")
    ratio = found.get("right wheel's diameter over the left one's")
    assert ratio.value == pytest.approx(TRUE["right"][0] / TRUE["left"][0], abs=3e-4)
    mean = 0.5 * (TRUE["left"][0] + TRUE["right"][0]) / SIZE
    assert track.value == pytest.approx((TRUE["left"][1] - TRUE["right"][1]) / mean, rel=2e-3)
    assert track.key == ()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({}, "expected one of the keys"),
        ({"turns": [{"turns": 10, "gyro": "3600 deg"}]}, "the robot file has no gyro"),
        ({"turns": [{"turns": 10}]}, "'counts', 'gyro' or both"),
        ({"pushes": [{"distance": "0 m", "counts": {"left": 3}}]}, "10 mm or more"),
        ({"pushes": [{"distance": "1 m", "counts": {"middle": 3}}]}, "expected a name from"),
        (
            {"squares": {"side": "1 m", "clockwise": [{"x": 0, "y": 0}], "counter_clockwise": []}},
            "both ways are needed",
        ),
        ({"squares": {"side": "1 m", "clockwise": [{"x": "0.8 m", "y": 0}], "counter_clockwise": []}}, "half a side"),
    ],
)
def test_what_makes_no_sense_is_refused(tmp_path, data, said):
    robot = {"tracking": {k: v for k, v in TRACKING["tracking"].items() if k != "gyro"}}
    with pytest.raises(BadInput, match=said):
        fit(measured(tmp_path, {"odometry": data}, robot=robot), data)


def test_the_drift_is_not_told_as_a_result(tmp_path):
    assert DRIFT not in [f.name for f in fit(measured(tmp_path, robot=TRACKING), readings(0)).fitted]
