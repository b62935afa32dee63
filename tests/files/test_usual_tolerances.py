"""Tolerances that stand in where a file states none: a centre of gravity made of guesses is as uncertain as those."""

from __future__ import annotations

import math

import pytest

from fieldworthy.engine.evaluate import evaluate
from fieldworthy.files.declare import default_tolerance
from robots import fact, load


@pytest.mark.parametrize(
    ("basis", "expected"),
    [("estimate", 0.010), ("datasheet", 0.5 * (0.01 * 0.12 + 0.001)), ("measured", 0.25 * (0.01 * 0.12 + 0.001))],
)
def test_a_guessed_place_is_off_by_a_centimetre_a_measured_one_by_what_a_tape_is(basis, expected):
    """Common practice, no source."""
    assert default_tolerance(0.12, "length", basis, place=True) == pytest.approx(expected)
    assert default_tolerance(2.0, "length", "estimate", place=True) == pytest.approx(0.021)  # 1 % and 1 mm are more


def test_a_guessed_mass_is_off_by_a_tenth():
    assert default_tolerance(2.0, "mass", "estimate") == pytest.approx(0.202)


def test_a_centre_of_gravity_of_one_guess_spreads_as_that_guess(tmp_path):
    """One box: 95 % of the centres within 10 mm of 120 mm; of four equal ones within half of that."""
    one = fact(evaluate(load(tmp_path), samples=4000), "balance.centre_height")
    assert one.spread == pytest.approx((0.110, 0.130), abs=0.0009)  # of 4000 draws
    quarter = {"mass": {"value": "1.75 kg", "tolerance": 0}, "position": ["0.02 m", "0.01 m", "0.12 m"],
               "size": ["0.36 m", "0.34 m", "0.2 m"]}  # fmt: skip
    four = load(tmp_path, {"parts": {"box": quarter} | {f"box {i}": quarter for i in range(3)}})
    low, high = fact(evaluate(four, samples=4000), "balance.centre_height").spread
    assert high - low == pytest.approx(0.020 / math.sqrt(4), rel=0.05)


def test_the_assumptions_say_so(tmp_path):
    said = {a.key: a for a in evaluate(load(tmp_path), samples=0).assumptions}
    assert said["parts.box.position[0]"].value == "at least 10 mm"
    assert said["parts.box.mass"].value == "10 %"
    measured = {"parts": {"box": {"mass": {"value": "7 kg", "basis": "measured"}}}}
    assert "parts.box.mass" not in {a.key for a in evaluate(load(tmp_path, measured), samples=0).assumptions}
