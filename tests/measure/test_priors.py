"""What a file believes, weighed with what was read: by the formulas of a textbook, and with simulated teams.

References: posterior of a normal mean with a normal prior, precisions add (Gelman and others, Bayesian Data Analysis,
ch. 2.5, from memory), worked by hand; the mean of one Gaussian variable given a sum of two, by partition of the
covariance matrix (any text of multivariate statistics, from memory), worked by hand. A simulated team's truth is drawn
from what its file states: only then do intervals that use the file have to hold it in 95 of 100.
"""

from __future__ import annotations

import numpy as np
import pytest

import weights
from airrig import AIR, PSI
from fieldworthy.measure.airtests import fit_leak
from fieldworthy.measure.drivelog import fit_drive
from fieldworthy.measure.fit import changes
from fieldworthy.measure.fitting import Belief, Parameter, weighed
from fieldworthy.measure.model import DriveRuns, Leak, Scales
from fieldworthy.measure.prediction import combined, comparisons
from fieldworthy.measure.result import Fitted, Moved, Procedure
from fieldworthy.measure.scales import FORWARD, HEIGHT, LEFT, MASS, fit_scales
from fitted import HOLDS, LEAST, MANY, MOST, SEEDS
from measuring import PER_95, measured, section

HALF = ("air", "tanks", "left", "leak_half_time")


def way(read, sd, value=1.0, deviation=0.1):
    """Readings of one number that the file believes to be something."""
    observed = np.array(read)
    stated = Belief("way", (), "length", value, deviation)
    return weighed(lambda v: (observed - v[0]) / sd, [Parameter("way", value, 1.0)], [stated])


def test_precisions_add():
    """1.0 with 0.1 and one reading, 1.1 with 0.05: (100 x 1.0 + 400 x 1.1) / 500 = 1.08, and sqrt(1 / 500)."""
    found = way([1.1], 0.05).together
    assert found.value("way") == pytest.approx(1.08, abs=1e-3)  # far readings count a little less
    assert found.deviation("way") == pytest.approx(500.0**-0.5, rel=0.02)


def test_a_belief_that_the_readings_contradict_does_not_count():
    found = way([1.50, 1.51, 1.49], 0.01)
    assert not found.used
    assert found.together.value("way") == pytest.approx(1.5, abs=1e-4)


def test_readings_that_tell_less_than_the_file_tell_nothing():
    why = way([1.05], 0.3, deviation=0.05).why_not("way")
    assert why == "the file knows it better than these readings tell it"


def test_a_sum_moves_the_number_that_is_known_less():
    """a, 1 with 0.2, and b, 1 with 0.05, read as a sum of 2.3: a = 1 + 0.3 x 0.04 / 0.0426, b alike."""
    beliefs = [Belief("a", (), "ratio", 1.0, 0.2), Belief("b", (), "ratio", 1.0, 0.05)]
    parameters = [Parameter(name, 1.0, 0.1) for name in "ab"]
    found = weighed(lambda v: (np.array([2.3]) - v.sum()) / 0.01, parameters, beliefs)
    whole = 0.2**2 + 0.05**2 + 0.01**2
    assert found.together.value("a") == pytest.approx(1.0 + 0.3 * 0.2**2 / whole, rel=1e-4)
    assert found.together.value("b") == pytest.approx(1.0 + 0.3 * 0.05**2 / whole, rel=1e-4)
    assert found.alone.why_not("a") is not None
    assert found.why_not("a") is None
    assert found.why_not("b") is not None


def said(name, value, half):
    moved = Moved(1.0, 0.1, value, half)
    weight = half**-2 + 0.1**-2
    together = (value * half**-2 + 1.0 * 0.1**-2) / weight
    return Procedure(name, name, fitted=(Fitted("x", ("x",), "ratio", together, weight**-0.5, moved=moved),))


def test_what_the_file_believes_counts_once_however_many_procedures_use_it():
    """1.0 with 0.1, 1.06 with 0.05, 1.02 with 0.05: weights 100, 400 and 400."""
    (found,) = combined([said("one", 1.06, 0.05), said("two", 1.02, 0.05)])
    assert found.value == pytest.approx((100.0 + 400.0 * 1.06 + 400.0 * 1.02) / 900.0, rel=1e-9)
    assert found.half_width == pytest.approx(900.0**-0.5, rel=1e-9)
    assert found.evidence == pytest.approx((1.04, 800.0**-0.5))


MINUTES = (0, 20, 40)


def leaky(folder, *, alone, **more):
    """A robot whose file says how its tank leaks."""
    tank = AIR["air"]["tanks"]["left"] | {"leak_half_time": {"value": "45 min", "tolerance": "4 min"} | more}
    air = AIR["air"] | {"tanks": AIR["air"]["tanks"] | {"left": tank}}
    return measured(folder, robot=AIR | {"air": air}, alone=alone)


def leak(bench, half, rng, date="2026-11-20"):
    """Three looks at a gauge that is read to half a psi."""
    sd = 0.25 * PSI
    gauges = [95.0 * PSI * 2.0 ** (-60.0 * m / half) + rng.normal() * sd for m in MINUTES]
    rows = [{"time": f"{m} min", "pressure": f"{g!r} Pa"} for m, g in zip(MINUTES, gauges, strict=True)]
    return fit_leak(section(Leak, {"date": date, "readings": rows, "error": f"{PER_95 * sd!r} Pa"}), bench, "left")


def test_what_was_written_from_these_readings_does_not_count_twice(tmp_path):
    bench = leaky(tmp_path, alone=False, basis="measured", date="2026-11-20")
    rng = np.random.default_rng(1)
    same, other = (leak(bench, 45.0 * 60.0, rng, day).fitted[0].moved for day in ("2026-11-20", "2026-12-01"))
    assert same is None
    assert other is not None
    assert other.believed == pytest.approx(45.0 * 60.0)


def test_a_reading_moves_the_file_and_the_text_says_how_far(tmp_path):
    bench = leaky(tmp_path, alone=False)
    found = leak(bench, bench.quantities[HALF].si, np.random.default_rng(2))
    assert found.fitted[0].moved.believed_half == pytest.approx(240.0)
    sentence = comparisons(bench, combined([found]))[0].sentence
    assert "The readings move the file's value by " in sentence
    assert " % of its tolerance and leave " in sentence
    assert changes(bench, (found,))[HALF]["basis"] == "measured"


@pytest.fixture(scope="module", params=["with the file", "readings alone"])
def alone(request):
    return request.param == "readings alone"


def covered(inside):
    """How often each interval held its truth, and all together."""
    assert len(inside) == len(SEEDS)
    each = np.mean(inside, axis=0)
    assert np.all(each >= LEAST)
    assert np.all(each <= MOST)
    return float(np.mean(each))


@pytest.mark.long
def test_leaks_hold_the_truth_in_95_of_100(tmp_path, alone, evidence):
    bench = leaky(tmp_path, alone=alone)
    stated, inside = bench.quantities[HALF], []
    for seed in MANY:
        rng = np.random.default_rng([seed, 31])
        half = stated.si + rng.normal() * stated.tolerance / PER_95
        found = leak(bench, half, rng).fitted[0]
        inside.append([abs(found.value - half) <= found.half_width])
    share = float(np.mean(inside))
    evidence(*HOLDS, share, 0.95)
    assert 0.93 <= share <= 0.97


@pytest.mark.long
def test_scales_hold_the_truth_in_95_of_100(tmp_path, monkeypatch, alone):
    bench = measured(tmp_path, robot=weights.SURE, alone=alone)
    stated = {MASS: (7.0, 0.702), FORWARD: (0.02, 0.01), LEFT: (0.01, 0.01), HEIGHT: (0.12, 0.01)}
    inside = []
    for seed in SEEDS:
        rng = np.random.default_rng([seed, 32])
        truth = {name: value + rng.normal() * half / PER_95 for name, (value, half) in stated.items()}
        for name, value in truth.items():
            monkeypatch.setitem(weights.TRUTH, name, value)
        found = fit_scales(section(Scales, weights.weighing(seed)), bench)
        inside.append([abs(found.get(n).value - value) <= found.get(n).half_width for n, value in truth.items()])
    assert 0.93 <= covered(inside) <= 0.97


@pytest.mark.long
def test_a_dragged_wheel_holds_the_truth_in_95_of_100(tmp_path, alone):
    """Grip from one wheel dragged once, with a scale that is as coarse as the file's belief: both count alike."""
    bench = measured(tmp_path, alone=alone)
    key = ("catalogue", "wheels", "test wheel", "grip")
    stated, inside = bench.quantities[key], []
    load = 3.0 * 9.80665
    sd = load * stated.tolerance / PER_95
    for seed in SEEDS:
        rng = np.random.default_rng([seed, 33])
        grip = stated.si + rng.normal() * stated.tolerance / PER_95
        read = f"{load * grip + rng.normal() * sd!r} N"
        data = {
            "drags": [{"wheel": "test wheel", "load": "3 kg", "readings": [read]}],
            "force_error": f"{PER_95 * sd!r} N",
        }
        found = fit_drive(section(DriveRuns, data), bench, "").get("grip of 'test wheel'")
        inside.append([abs(found.value - grip) <= found.half_width])
    covered(inside)
