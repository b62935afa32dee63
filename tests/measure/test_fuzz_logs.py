"""Whatever logs, frames, readings and counts hold, they are fitted or refused in words; nothing else."""

from __future__ import annotations

import copy
import json
import warnings

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from drivesim import Truth
from fieldworthy.files import BadInput
from fieldworthy.measure import load_measurements
from fieldworthy.measure.fit import procedures
from fitted import measurements, write_csv

AIR = {
    "air": {
        "tanks": {"tank": {"tank": "test tank"}},
        "cylinders": {"ram": {"cylinder": "test cylinder", "tank": "tank", "valve": "test valve", "push_load": "20 N"}},
    },
    "actions": {"score": {"time": "2 s"}},
}  # fmt: skip
TIMES = np.arange(0.0, 1.2, 0.03)
WHOLE = {
    "drive": {
        "columns": {"time": {"column": "t", "unit": "s"}, "speed": {"column": "v", "unit": "m/s"},
                    "voltage": {"column": "u", "unit": "V"}},
        "logs": [{"file": "full.csv", "command": "full"}, {"file": "coast.csv", "command": "coast", "added": "1 kg"}],
        "sprints": [{"distance": "1 m", "start": "standing", "times": ["1 s", "1.1 s"]}],
        "coasts": [{"distance": "1.2 m", "time": "1.6 s"}],
        "pushes": [{"readings": ["50 N", "52 N"], "ends": "slips"}],
        "drags": [{"wheel": "test wheel", "load": "2 kg", "readings": ["15 N"]}],
    },
    "frames": {"one": {
        "cylinder": "ram", "pressure": "600 kPa", "file": "film.csv", "rate": "240 Hz", "switched": "0.05 s",
        "columns": {"time": {"column": "t", "unit": "s"}, "position": {"column": "x", "unit": "mm"}},
    }},
    "practice": {"score": {"successes": 5, "attempts": 9, "times": ["2 s", "2.2 s", "2.5 s"]}},
}  # fmt: skip
ODD = ["0 kg", "900 t", "-1 kg", "0 mm", "1e6 km", "-3 m", "1e9 psi", "0 s", "1e12 s", "1e9 N", "1e-9 Hz", 0, -1, 1,
       10**9, 1e300, "", None, [], {}, True, "nan s", "full.csv", "film.csv", "nowhere", "coast", "holds"]  # fmt: skip


def tables(folder):
    _, v, _, volts = Truth().full(TIMES, 0.1)
    write_csv(folder / "full.csv", ("t", "v", "u"), TIMES, v, volts)
    write_csv(
        folder / "coast.csv", ("t", "v", "u"), TIMES, Truth().coast(TIMES, 1.4, 1.0)[1], 0.0 * TIMES + 12.5 + v / 50
    )
    frames = np.arange(0.0, 0.3, 1.0 / 240.0)
    write_csv(folder / "film.csv", ("t", "x"), frames, 50.0 * np.clip((frames - 0.1) / 0.1, 0.0, 1.0))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("fuzz")
    tables(made)
    measurements(made, {}, AIR)
    return made


def places(data, path=()):
    """Every place of the nested data."""
    yield path
    inner = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, item in inner:
        yield from places(item, (*path, key))


PLACES = [path for path in places(WHOLE) if path]


def orderly(folder, sections):
    """Fit, or be refused in words; numpy may not warn on the way."""
    file = folder / "measurements.yaml"
    head = {"fieldworthy": "measurements 1", "robot": "robot.yaml"}
    file.write_text(json.dumps(head | sections), encoding="utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            found = tuple(procedures(load_measurements(file)))
        except BadInput:
            return
    items = [item for procedure in found for item in procedure.fitted]
    assert np.isfinite([(item.value, item.half_width) for item in items]).all()


SLOW = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.mark.long
@SLOW
@given(st.lists(st.tuples(st.sampled_from(PLACES), st.sampled_from(ODD)), min_size=1, max_size=2))
def test_odd_values_anywhere_are_fitted_or_refused(folder, changes):
    sections = copy.deepcopy(WHOLE)
    for path, odd in changes:
        here = sections
        try:
            for key in path[:-1]:
                here = here[key]
            here[path[-1]] = copy.deepcopy(odd)
        except (KeyError, IndexError, TypeError):
            continue  # the change before has taken this place away
    orderly(folder, sections)


@pytest.mark.long
@SLOW
@given(st.sampled_from(["full.csv", "coast.csv", "film.csv"]), st.integers(1, 30), st.integers(0, 2),
       st.sampled_from(["", "x", "1e9", "-5", "0", "nan", "1e-300", '"', "7;8", "12,5", "\x00"]))  # fmt: skip
@example(name="full.csv", row=1, column=0, cell="12,5")
def test_odd_cells_are_fitted_or_refused(tmp_path_factory, name, row, column, cell):
    made = tmp_path_factory.mktemp("cells")
    tables(made)
    measurements(made, {}, AIR)
    lines = (made / name).read_text(encoding="utf-8").splitlines()
    cells = lines[row].split(",")
    cells[min(column, len(cells) - 1)] = cell
    lines[row] = ",".join(cells)
    (made / name).write_text("\n".join(lines), encoding="utf-8")
    orderly(made, {k: WHOLE[k] for k in ("drive", "frames")})


@pytest.mark.long
@SLOW
@given(st.integers(0, 10**6), st.sampled_from([1e-6, 1e-2, 0.3, 3.0, 1e2, 1e6]))
def test_noise_and_wrong_scales_are_fitted_or_refused(tmp_path_factory, seed, scale):
    made = tmp_path_factory.mktemp("noise")
    measurements(made, {}, AIR)
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 60))
    time = np.sort(rng.uniform(0.0, 2.0, count))
    for name, head in (("full.csv", "tvu"), ("coast.csv", "tvu"), ("film.csv", "tx")):
        columns = [time, *(scale * rng.normal(1.0, 1.0, count) for _ in head[1:])]
        write_csv(made / name, tuple(head), *columns)
    orderly(made, {k: WHOLE[k] for k in ("drive", "frames")})
    orderly(made, {"frames": WHOLE["frames"]})
