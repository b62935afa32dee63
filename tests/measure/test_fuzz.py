"""Whatever a measurements file holds, it is read and fitted, or refused in words; nothing else."""

from __future__ import annotations

import copy
import json
import random
import warnings

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from airrig import AIR, cycled, leaking
from fieldworthy.files import BadInput
from fieldworthy.measure import load_measurements
from fieldworthy.measure.fit import fit, procedures
from measuring import written
from rolling import TRACKING, readings
from weights import weighing

WHOLE = {
    "scales": weighing(0), "tilt": {"angles": {"forward": ["41 deg"], "back": ["50 deg"], "left": ["45 deg"]}},
    "odometry": readings(0, square=True), "cycles": {"clamp": cycled(0)}, "leaks": {"left": leaking(0)},
}  # fmt: skip
ROBOT = TRACKING | AIR
ODD = ["0 kg", "900 t", "-1 kg", "0 mm", "1e6 km", "-3 m", "1e9 psi", "89.99 deg", "-720 deg", "1e12 s", 0, -1, 1,
       10**9, 1e300, "", None, [], {}, True, "nan kg", "left front", "nowhere", "2,5 kg"]  # fmt: skip
FACTORS = [0.0, -1.0, 1e-6, 0.01, 0.5, 1.5, 3.0, 100.0, 1e5]


def scaled(given, factor):
    """A reading so many times as large; what is no reading stays."""
    if isinstance(given, str) and given.split(" ")[0].lstrip("-").replace(".", "").isdigit():
        number, _, unit = given.partition(" ")
        return f"{float(number) * factor:.9f} {unit}"
    return given * factor if isinstance(given, float) else given


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("fuzz")
    written(made, {}, ROBOT)
    return made


def places(data, path=()):
    """Every place of the nested data."""
    yield path
    inner = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, item in inner:
        yield from places(item, (*path, key))


def put(data, path, odd, factor):
    for key in path[:-1]:
        data = data[key]
    data[path[-1]] = copy.deepcopy(odd) if odd != "scaled" else scaled(data[path[-1]], factor)


PLACES = [p for p in places(WHOLE) if p]


@pytest.mark.long
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    changes=st.lists(
        st.tuples(
            st.sampled_from(PLACES), st.one_of(st.just("scaled"), st.sampled_from(ODD)), st.sampled_from(FACTORS)
        ),
        min_size=1,
        max_size=3,
    )
)
def test_odd_values_anywhere_are_fitted_or_refused(folder, changes):
    data = copy.deepcopy(WHOLE)
    for path, odd, factor in changes:
        try:
            put(data, path, odd, factor)
        except (KeyError, IndexError, TypeError):
            continue  # an earlier change has taken the place away
    file = folder / "measured.yaml"
    file.write_text(json.dumps({"fieldworthy": "measurements 1", "robot": "robot.yaml"} | data), "utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            found = tuple(procedures(load_measurements(file)))
        except BadInput:
            found = ()
    fitted = [item for procedure in found for item in procedure.fitted]
    assert all(abs(item.value) < float("inf") and 0.0 <= item.half_width < float("inf") for item in fitted)


def test_half_a_file_is_fitted_or_refused(folder):
    """A file cut off anywhere, as by a full disk."""
    text = json.dumps({"fieldworthy": "measurements 1", "robot": "robot.yaml"} | WHOLE, indent=1)
    file = folder / "measured.yaml"
    ends = random.Random(0).sample(range(len(text)), 40)
    assert len(ends) == 40
    for end in ends:
        file.write_text(text[:end], "utf-8")
        with pytest.raises(BadInput):
            load_measurements(file)


def test_the_whole_file_is_fitted_and_laid_in(folder):
    file = folder / "measured.yaml"
    file.write_text(json.dumps({"fieldworthy": "measurements 1", "robot": "robot.yaml"} | WHOLE), "utf-8")
    report = fit(load_measurements(file), samples=0)
    assert report.refused == ()
    assert {p.name for p in report.procedures} == {"scales", "tilt", "odometry", "cycles.clamp", "leaks.left"}
