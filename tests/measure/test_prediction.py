"""Readings against what the file predicts: by hand, by a textbook formula, and with simulated teams' slips of the pen.

References: the predictive distribution of a linear Gaussian model, variance of the belief plus variance of the reading
(Gelman and others, Bayesian Data Analysis, from memory), worked by hand; the mean and variance of one Gaussian variable
given the others, by partition of the covariance matrix (any text of multivariate statistics, from memory), solved here
with plain numpy; teams whose truth is drawn from what their file states, so that right and wrong readings are known.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import betabinom

from airrig import AIR, PSI, after
from fieldworthy.files import read_document
from fieldworthy.measure.airtests import fit_cycles, fit_leak
from fieldworthy.measure.drivelog import fit_drive
from fieldworthy.measure.files import measured_on
from fieldworthy.measure.fitting import Belief, Parameter
from fieldworthy.measure.model import AirCycles, DriveRuns, HueSamples, Leak, Practised
from fieldworthy.measure.practice import fit_practice
from fieldworthy.measure.prediction import Question, Readings, combinations, predictions
from fieldworthy.measure.samples import fit_samples
from fieldworthy.robot import load_robot
from measuring import PER_95, measured, section
from robots import EXAMPLES

KEY = ("air", "tanks", "left", "leak_half_time")


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    return measured(tmp_path_factory.mktemp("robot"), robot=AIR)


def held(bench, read, sd, belief=(1.0, 0.1), labels=()):
    """Readings of one number of which the file says something."""
    observed = np.array(read, dtype=float)
    group = Readings("way", "length", observed, np.full(observed.shape, sd), labels)
    stated = Belief("way", (), "length", *belief)
    return predictions(
        lambda v: (observed - v[0]) / sd, [Parameter("way", belief[0], 1.0)], [stated], [group], bench
    )[0]  # fmt: skip


def test_one_reading_by_hand(bench):
    """Belief 1.0 with 0.1, reading with 0.05: 95 of 100 lie within 1.96 sqrt(0.01 + 0.0025) = 0.2191 of 1.0."""
    found = held(bench, [1.1], 0.05)
    assert found.predicted == pytest.approx(1.0, rel=1e-6)
    assert found.half_width == pytest.approx(0.21913, rel=1e-4)
    assert found.deviations == pytest.approx(0.1 / 0.111803, rel=1e-4)
    assert found.agrees


def test_the_mean_of_four_readings_by_hand(bench):
    """Four readings of 0.05 make a mean of 0.025: 1.96 sqrt(0.01 + 0.000625) = 0.2020."""
    assert held(bench, [1.0, 1.1, 1.2, 1.1], 0.05).half_width == pytest.approx(0.20203, rel=1e-4)


def test_a_reading_beyond_belief_names_what_would_explain_it(bench):
    found = held(bench, [1.5], 0.01)
    assert not found.agrees
    assert [cause.name for cause in found.causes] == ["way"]
    assert found.causes[0].needed == pytest.approx(1.5, rel=1e-3)
    assert found.causes[0].deviations == pytest.approx(5.0, rel=1e-2)
    assert "One of the two is wrong" in found.sentence
    assert "1.5 m in place of 1 m" in found.sentence


def test_a_reading_that_the_others_do_not_predict(bench):
    """Given the others, by partition of the covariance matrix: the odd one of five is found, file or no file."""
    read, sd, belief = np.array([1.30, 1.31, 1.29, 1.30, 1.00]), 0.01, (1.0, 0.5)
    covariance = np.eye(5) * sd**2 + belief[1] ** 2
    rest = covariance[:4, :4]
    pull = np.linalg.solve(rest, covariance[:4, 4])
    mean = belief[0] + pull @ (read[:4] - belief[0])
    spread = np.sqrt(covariance[4, 4] - pull @ covariance[:4, 4])
    found = held(bench, read, sd, belief, tuple(f"push {i + 1}" for i in range(5)))
    assert not found.agrees
    assert found.name == "way, push 5"
    assert found.predicted == pytest.approx(mean, rel=1e-6)
    assert found.half_width == pytest.approx(PER_95 * spread, rel=1e-6)
    assert "the other readings predict" in found.sentence


def test_slips_of_the_pen_are_named(bench):
    assert "millimetres and written as inches" in held(bench, [25.4], 0.01, (1.0, 0.01)).sentence
    assert "digits swapped it would be 1.32 m" in held(bench, [1.230], 0.005, (1.32, 0.005)).sentence


def test_several_numbers_that_act_together_are_told_together(bench):
    """A reading of a product tells the product: 10 % more, though neither factor is told."""
    read = np.array([1.10, 1.10])
    group = Readings("time of the run", "time", read, np.full(2, 0.005))
    beliefs = [Belief(name, (), "ratio", 1.0, 0.2) for name in ("friction", "weight")]
    parameters = [Parameter(name, 1.0, 0.1, 0.0) for name in ("friction", "weight")]
    asked = [Question(name, f"vary the {name} alone") for name in ("friction", "weight")]
    (found,) = combinations(lambda v: (read - v[0] * v[1]) / 0.005, parameters, beliefs, [group], asked)
    assert set(found.members) == {"friction", "weight"}
    assert "make the time of the run 9.3 to 11 % more than the file says" in found.sentence
    assert found.reading.startswith("vary the")


ROUNDED, ERROR = 0.5, 0.25 * PSI
"""A gauge read to half a psi, so that its error has a deviation of a quarter."""
MINUTES = (0, 15, 30, 45)


def team(seed, bench):
    """Readings of a team whose tank leaks as its file believes, within the file's tolerance."""
    rng = np.random.default_rng([seed, 17])
    stated = bench.quantities[KEY]
    half = stated.si + rng.normal() * stated.tolerance / PER_95
    full = rng.uniform(90.0, 100.0)
    return [full * 2.0 ** (-60.0 * m / half) + rng.normal() * ERROR / PSI for m in MINUTES]


def leak(bench, gauges, unit="psi"):
    readings = [{"time": f"{m} min", "pressure": f"{g:.2f} {unit}"} for m, g in zip(MINUTES, gauges, strict=True)]
    data = {"readings": readings, "error": f"{PER_95 * ERROR!r} Pa"}
    return fit_leak(section(Leak, data), bench, "left").predictions


def slip(seed, gauges):
    """One of three slips in one of the later readings: digits swapped, psi for bar, a decimal point lost."""
    rng = np.random.default_rng([seed, 18])
    place = int(rng.integers(1, len(gauges)))
    wrong = list(gauges)
    tens, ones = divmod(int(gauges[place]), 10)
    swapped = 10 * ones + tens + gauges[place] % 1.0
    kinds = [gauges[place] / 14.5038, gauges[place] / 10.0]
    if abs(tens - ones) >= 2:  # a swap of 4 and 5 is 9 psi, one of 4 and 4 is none
        kinds.append(swapped)
    wrong[place] = kinds[int(rng.integers(len(kinds)))]
    return wrong


@pytest.mark.parametrize("seeds", [80, pytest.param(200, marks=pytest.mark.long)])
def test_right_readings_are_seldom_called_wrong_and_slips_nearly_always(bench, seeds):
    right = [all(one.agrees for one in leak(bench, team(seed, bench))) for seed in range(seeds)]
    wrong = [all(one.agrees for one in leak(bench, slip(seed, team(seed, bench)))) for seed in range(seeds)]
    assert len(right) == seeds
    assert 1.0 - np.mean(right) < 0.05
    assert 1.0 - np.mean(wrong) >= 0.95


def test_cycles_that_no_cylinder_can_have_taken_give_no_value(bench):
    """Sixty psi after eight cycles from a hundred: by Boyle's law alone far less air than the stroke sweeps."""
    start, count = 100.0 * PSI, 8
    honest = after(start, count)
    assert honest < 50.0 * PSI
    data = {"cylinder": "clamp", "runs": [{"before": "100 psi", "after": "60 psi", "cycles": count}]}
    found = fit_cycles(section(AirCycles, data), bench, "clamp")
    assert not found.fitted
    assert "contradict" in found.unidentified[0].why
    assert not found.predictions[0].agrees
    assert "By the gauge a cycle" in found.notes[0]
    data["runs"][0]["after"] = f"{honest!r} Pa"
    assert fit_cycles(section(AirCycles, data), bench, "clamp").fitted


def test_a_sprint_is_predicted_before_it_is_fitted(tmp_path):
    bench = measured(tmp_path)
    data = {"sprints": [{"distance": "2 m", "times": ["9 s"]}]}
    found = fit_drive(section(DriveRuns, data), bench, "").predictions[0]
    assert not found.agrees
    assert found.observed == 9.0
    assert "you measured 9 s; the file predicts" in found.sentence


def practised(tmp_path, **given):
    robot = {"actions": {"climb": {"time": {"value": "5 s", "tolerance": "0.5 s"}, "spread": "1 s",
                                   "practice": {"successes": 11, "attempts": 16}}}}  # fmt: skip
    bench = measured(tmp_path, robot=robot)
    return fit_practice(section(Practised, given), bench, "climb").predictions


def test_tries_are_predicted_by_those_that_the_file_counts(tmp_path):
    """Beta-binomial of scipy.stats, one success and one failure before any try: 2 of 16 after 11 of 16 is no luck."""
    (right,) = practised(tmp_path, successes=13, attempts=16)
    told = betabinom(16, 12, 6)
    assert right.predicted == pytest.approx(told.mean())
    assert right.predicted + right.half_width >= told.ppf(0.975)
    assert right.agrees
    (wrong,) = practised(tmp_path, successes=2, attempts=16)
    assert told.cdf(2) < 0.005
    assert not wrong.agrees
    assert "did the driver, the place or the mechanism change?" in wrong.sentence


def test_times_of_tries_are_predicted(tmp_path):
    """Mean of four: 1.96 sqrt((0.5 / 1.96)^2 + 1 / 4) = 1.100 s around 5 s."""
    (found,) = practised(tmp_path, times=["8 s", "7.5 s", "8.5 s", "8 s"])
    assert found.half_width == pytest.approx(np.sqrt(0.25 + PER_95**2 / 4.0), rel=1e-3)
    assert not found.agrees
    assert "you measured 8 s in the mean; the file predicts 5 s" in found.sentence


def test_readings_of_a_colour_are_predicted(tmp_path):
    """The file's 22 deg with 2 deg and a spread of 16 deg: a mean of four lies within 15.8 deg, on the nearest turn."""
    robot = load_robot(EXAMPLES / "mk1.yaml")
    given = {"classes": {"copper": {"hue": ["352 deg", "355 deg", "350 deg", "353 deg"]}}}
    document = read_document(tmp_path / "m.yaml", 'fieldworthy: "measurements 1"\nrobot: mk1.yaml\n')
    found = fit_samples(section(HueSamples, given), measured_on(document, robot), "sorter").predictions
    assert [one.name for one in found] == ["hue of 'copper'"]
    assert found[0].observed == pytest.approx(np.radians(-7.5), abs=1e-9)
    assert found[0].half_width == pytest.approx(np.radians(np.hypot(2.0, PER_95 * 16.0 / 2.0)), rel=1e-3)
    assert not found[0].agrees
