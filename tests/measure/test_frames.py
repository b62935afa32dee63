"""Films of a stroke: conductance, load and friction, held to truths that only the test knows.

The intervals hold what reading the frames is worth; how near the stroke's model is to the full equations is held in
tests/external/test_measure_frames.py.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldworthy.files import BadInput
from fieldworthy.measure.frames import MODEL, PLACES, Filmed, StrokeGrid, _loads, fit_film, rising, spline_weights
from fitted import LEAST, MOST, covers, measurements, only, rms, told, untold, write_csv

VALVE = "conductance of 'test valve'"
LOAD = "load on 'ram' going out"
TIME = "actuation time of 'ram'"
AIR = {
    "air": {
        "supply": {"charge": "700 kPa"},
        "tanks": {"tank": {"tank": "test tank"}},
        "cylinders": {
            "ram": {"cylinder": "test cylinder", "tank": "tank", "valve": "test valve", "push_load": "20 N",
                    "moved": "2 kg"},
            "spring": {"cylinder": "spring cylinder", "tank": "tank", "valve": "test valve", "push_load": "2 N"},
        },
    }
}  # fmt: skip
COLUMNS = {"time": {"column": "t", "unit": "s"}, "position": {"column": "x", "unit": "mm"}}
FILM = {
    "cylinder": "ram", "pressure": "600 kPa", "file": "film.csv", "columns": COLUMNS, "rate": "240 Hz",
    "switched": "0.05 s", "position_error": "0.5 mm",
}  # fmt: skip
C, FORCE, STROKE, RATE = 1.3e-9, 45.0, 0.05, 240.0
FINE = np.linspace(0.0, 1.0, 201)[1:] ** 1.5


def film(folder, **changes):
    section = {k: v for k, v in (FILM | changes).items() if v is not ...}
    return measurements(folder, {"frames": {"one": section}}, AIR)


def course(filmed, conductance, load):
    """Times and places of the true stroke."""
    lag, times = filmed.times(conductance, load, FINE)
    return np.maximum.accumulate(np.concatenate((np.ravel(lag), times.ravel()))), np.concatenate(([0.0], FINE))


def frames(times, places, rng, opened, rate=RATE, error=0.5e-3 / 1.96):
    at = np.arange(0.0, 0.35, 1.0 / rate) + rng.uniform(0.0, 1.0 / rate)
    since = at - opened
    x = STROKE * np.where(since < times[0], 0.0, np.interp(since, times, places))
    return at, x + rng.normal(0.0, error, at.size)


def write(folder, at, x):
    write_csv(folder / "film.csv", ("t", "x"), [f"{t:.6f}" for t in at], [f"{1e3 * v:.4f}" for v in x])


@pytest.fixture(scope="module")
def many(tmp_path_factory):
    folder = tmp_path_factory.mktemp("film")
    write(folder, *frames(np.array([0.05, 0.2]), np.array([0.0, 1.0]), np.random.default_rng(0), 0.06))
    measured = film(folder)
    given = measured.readings.frames["one"]
    robot, season = measured.robot.nominal, measured.robot.nominal_season
    filmed = Filmed(robot, season, "ram", None, 0, 600e3)
    true, stall = course(filmed, C, FORCE), StrokeGrid(filmed, _loads(filmed)).stall

    def fit(seed):
        """The fit with what the model itself is worth taken off its intervals: the readings' share is left."""
        rng = np.random.default_rng(seed)
        # the lamp is at 50 ms, and the valve opens 10 ms later, known to 5 ms
        write(folder, *frames(*true, rng, 0.05 + max(rng.normal(0.01, 0.005), 0.0)))
        found = fit_film(given, measured, "one")
        worth = {VALVE: MODEL["conductance"], LOAD: MODEL["load"], TIME: MODEL["time"]}
        parts = []
        for item in found.fitted:
            own = worth[item.name] * (stall if item.name == LOAD else item.value)
            assert item.half_width > own
            parts.append(replace(item, half_width=float(np.sqrt(item.half_width**2 - own**2))))
        return replace(found, fitted=tuple(parts))

    return covers(fit, {VALVE: C, LOAD: FORCE, TIME: float(true[0][-1])}), true


@pytest.mark.long
@pytest.mark.parametrize("name", [VALVE, LOAD, TIME])
def test_the_interval_holds_the_truth_as_often_as_it_says(many, name):
    assert LEAST <= many[0][name][0] <= MOST


@pytest.mark.long
def test_the_fit_beats_one_frame(many):
    """Naive: the time to the first frame at the end of the stroke, a frame's length and the valve's delay off."""
    found, true = many
    rng = np.random.default_rng(1)
    late = rng.uniform(0.0, 1.0 / RATE, 200) + np.maximum(rng.normal(0.01, 0.005, 200), 0.0)
    assert rms(found[TIME][1]) < 0.5 * rms(late)
    # and that time turned into a conductance with the load of the file: 20 N instead of 45 N make it a fifth too small
    assert rms(found[VALVE][1]) / C < 0.1
    assert true[0][-1] > 0.1


def test_an_unknown_moment_of_switching_is_found_or_said(tmp_path):
    rng = np.random.default_rng(3)
    write(tmp_path, *frames(np.array([0.05, 0.2]), np.array([0.0, 1.0]), rng, 0.06))
    measured = film(tmp_path, switched=...)
    true = course(Filmed(measured.robot.nominal, measured.robot.nominal_season, "ram", None, 0, 600e3), C, FORCE)
    write(tmp_path, *frames(*true, rng, 0.083))
    found = only(film(tmp_path, switched=...))
    for name, value in ((VALVE, C), (LOAD, FORCE)):
        if name in told(found):
            assert abs(found.get(name).value - value) <= 1.6 * found.get(name).half_width
    assert all("lamp" in item.reading for item in found.unidentified)


def test_too_few_frames_are_refused_and_few_tell_nothing(tmp_path):
    at = np.array([0.0, 0.03, 0.06, 0.09, 0.25, 0.28])
    write(tmp_path, at, STROKE * np.array([0.0, 0.0, 0.0, 0.5, 1.0, 1.0]))
    with pytest.raises(BadInput, match="more frames in a second"):
        only(film(tmp_path))
    at = np.array([0.0, 0.03, 0.06, 0.12, 0.15, 0.18, 0.25, 0.28])
    rough = STROKE * np.array([0.0, 0.0, 0.0, 0.3, 0.5, 0.7, 1.0, 1.0])
    write(tmp_path, at, rough)
    few = only(film(tmp_path, switched=..., rate="30 Hz", position_error="20 mm"))
    assert VALVE in untold(few)
    assert all(item.why and item.reading for item in few.unidentified)
    assert LOAD in untold(few) or few.get(LOAD).half_width > 20.0  # the cylinder pushes with 120 N


def test_a_lift_tells_its_time_and_the_conductance_but_hardly_its_friction(tmp_path):
    lift = {
        "kind": "lift", "rides": "arm", "side": "ahead", "pivot": ["0 mm", "200 mm"], "fixed_pin": ["60 mm", "60 mm"],
        "arm_pin": ["60 mm", "200 mm"], "cylinder": "ram", "swing": "20 deg", "friction": "0.1 N*m",
    }  # fmt: skip
    part = {
        "mass": "0.8 kg",
        "position": ["0.12 m", "0 m", "0.2 m"],
        "size": ["0.2 m", "0.1 m", "0.02 m"],
        "rides": "arm",
    }
    robot = AIR | {"mechanisms": {"arm": lift}, "parts": {"arm": part}}
    columns = {"time": COLUMNS["time"], "angle": {"column": "a", "unit": "deg"}}
    section = {k: v for k, v in FILM.items() if k != "position_error"} | {"columns": columns, "angle_error": "1 deg"}

    def both():
        measured = measurements(tmp_path, {"frames": {"one": section}}, robot)
        return measured, Filmed(measured.robot.nominal, measured.robot.nominal_season, "ram", "arm", 0, 600e3)

    rows = [0.0, 0.01, 0.02], [0.0, 10.0, 20.0]
    write_csv(tmp_path / "film.csv", ("t", "a"), *rows)
    filmed = both()[1]
    times, places = course(filmed, C, 0.1)
    share, angle = filmed.arm()
    assert angle[0] == 0.0
    assert np.all(np.diff(angle) > 0.0)
    rng = np.random.default_rng(2)
    at = np.arange(0.0, 0.35, 1.0 / RATE)
    x = np.where(at - 0.06 < times[0], 0.0, np.interp(at - 0.06, times, places))
    read = np.degrees(np.interp(x, share, angle)) + rng.normal(0.0, 0.5, at.size)
    write_csv(tmp_path / "film.csv", ("t", "a"), at, read)
    found = only(both()[0])
    item = found.get(VALVE)
    assert abs(item.value - C) <= 1.5 * item.half_width
    assert item.half_width < 0.3 * C
    time = found.get("actuation time of 'ram'")
    assert abs(time.value - times[-1]) <= 1.5 * time.half_width
    names = {i.name for i in found.fitted} | untold(found)
    assert "friction of the pivot of 'arm'" in names


@pytest.mark.parametrize(
    ("change", "where", "word"),
    [
        ({"columns": {"time": COLUMNS["time"]}}, ("frames", "one", "columns"), "besides"),
        ({"columns": COLUMNS | {"angle": {"column": "x"}}}, ("frames", "one", "columns"), "either"),
        ({"columns": {"time": COLUMNS["time"], "angle": {"column": "x", "unit": "deg"}}},
         ("frames", "one", "columns", "angle"), "no lift"),
        ({"cylinder": "spring", "way": "back"}, ("frames", "one", "way"), "spring"),
        ({"cylinder": "spring", "pressure": "20 kPa"}, ("frames", "one", "pressure"), "sticks"),
        ({"file": "flim.csv"}, ("frames", "one", "file"), "film.csv"),
        ({"cylinder": "rom"}, ("frames", "one", "cylinder"), "ram"),
    ],
)  # fmt: skip
def test_mistakes_are_named_at_their_place(tmp_path, change, where, word):
    write(tmp_path, *frames(np.array([0.05, 0.2]), np.array([0.0, 1.0]), np.random.default_rng(4), 0.06))
    with pytest.raises(BadInput) as caught:
        only(film(tmp_path, **change))
    assert [p.key for p in caught.value.problems] == [where]
    assert word in str(caught.value)


def test_places_beyond_the_stroke_are_named_by_row(tmp_path):
    at, x = frames(np.array([0.05, 0.2]), np.array([0.0, 1.0]), np.random.default_rng(5), 0.06)
    write(tmp_path, at, x + 0.02)  # counted from somewhere else
    with pytest.raises(BadInput) as caught:
        only(film(tmp_path))
    assert [(p.file.name, p.line) for p in caught.value.problems] == [
        ("film.csv", 2 + int(np.argmax(x + 0.02 > 0.055)))
    ]


def test_curves_between_tabulated_times_are_those_of_scipy():
    """`RectBivariateSpline` (not a knot at its ends) and `PchipInterpolator`, on random values."""
    from scipy.interpolate import PchipInterpolator, RectBivariateSpline

    rng = np.random.default_rng(8)
    x, y, table = np.linspace(-1.8, 1.8, 13), np.linspace(-50.0, 120.0, 21), rng.normal(size=(13, 21))
    at = rng.uniform((-1.8, -50.0), (1.8, 120.0), (50, 2))
    ours = [table @ spline_weights(y, b) @ spline_weights(x, a) for a, b in at]
    assert ours == pytest.approx(RectBivariateSpline(x, y, table).ev(*at.T), abs=1e-12)
    knots, values = np.cumsum(rng.exponential(size=(2, 33)), axis=1)
    since = np.concatenate((knots[[0, -1]], rng.uniform(knots[0], knots[-1], 200)))
    assert rising(knots, values, since) == pytest.approx(PchipInterpolator(knots, values)(since), abs=1e-12)


def test_the_table_of_times_is_the_checks_own_within_a_percent(tmp_path):
    write(tmp_path, [0.0, 0.1], [0.0, 0.05])
    measured = film(tmp_path)
    filmed = Filmed(measured.robot.nominal, measured.robot.nominal_season, "ram", None, 0, 600e3)
    grid = StrokeGrid(filmed, (-50.0, 120.0))
    rng = np.random.default_rng(6)
    for _ in range(20):
        factor, load = rng.uniform(-1.5, 1.5), rng.uniform(*grid.loads)
        lag, times = filmed.times(grid.nominal * np.exp(factor), load, PLACES)
        assert grid.times(factor, load)[1:] == pytest.approx(times.ravel(), rel=0.015)
        assert grid.times(factor, load)[0] == pytest.approx(float(np.ravel(lag)[0]), rel=0.015)
