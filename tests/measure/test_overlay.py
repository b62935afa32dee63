"""Numbers laid over a robot, and the noise that a column of a log shows."""

from __future__ import annotations

import numpy as np
import pytest

from fieldworthy.measure.drivemodel import noise
from fieldworthy.measure.files import laid_over, number_at
from robots import load

KEYS = [
    ("drive", "friction_torque"),
    ("drive", "stages", 0, "efficiency"),
    ("drive", "wheels", "left front", "position", 1),
    ("catalogue", "wheels", "test wheel", "grip"),
]


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_one_number_is_changed_and_nothing_else(tmp_path, key):
    robot = load(tmp_path).nominal
    laid = laid_over(robot, {key: 0.123})
    assert number_at(laid, key) == 0.123
    assert number_at(robot, key) != 0.123
    assert laid_over(laid, {key: number_at(robot, key)}) == robot


def test_an_array_over_cases_is_laid_as_it_is(tmp_path):
    grips = np.array([0.5, 0.6])
    laid = laid_over(load(tmp_path).nominal, {KEYS[3]: grips})
    assert laid.catalogue.wheels["test wheel"].grip is grips


@pytest.mark.parametrize(
    "key", [("drive", "frction"), ("catalogue", "wheels", "none", "grip"), ("drive", "friction_torque", "value")]
)
def test_a_key_that_does_not_exist_is_refused(tmp_path, key):
    with pytest.raises(KeyError):
        laid_over(load(tmp_path).nominal, {key: 1.0})


@pytest.mark.parametrize("sd", [0.001, 0.02, 0.3])
def test_noise_is_found_on_a_smooth_course(sd):
    time = np.linspace(0.0, 2.0, 400)
    found = [
        noise(1.8 * (1.0 - np.exp(-time / 0.3)) + np.random.default_rng(s).normal(0.0, sd, 400)) for s in range(20)
    ]
    assert np.mean(found) == pytest.approx(sd, rel=0.06)


def test_noise_is_never_finer_than_the_last_digit_nor_blown_up_by_jumps():
    time = np.linspace(0.0, 2.0, 400)
    steps = np.round(time, 1)  # a tenth is uniform over 1 / sqrt(12) of it
    assert noise(steps) == pytest.approx(0.1 / np.sqrt(12.0))
    jumps = np.random.default_rng(1).normal(0.0, 0.02, 400)
    jumps[50::100] += 5.0
    assert noise(jumps) == pytest.approx(0.02, rel=0.2)


@pytest.mark.parametrize("values", [[1.0, 1.0, 1.0, 1.0], [1.0, 2.0]])
def test_a_column_that_stands_still_or_is_too_short_has_none(values):
    assert noise(np.array(values)) == 0.0
