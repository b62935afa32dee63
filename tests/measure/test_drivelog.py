"""The drive's runs: fits held to a textbook drive that the program does not see."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drivesim import Truth
from fieldworthy.files import BadInput
from fieldworthy.measure.drivelog import fit_drive
from fitted import HOLDS, LEAST, MOST, SEEDS, covers, measurements, only, rms, told, untold, write_csv
from robots import MOTOR

TRUTH = Truth()
# a motor known exactly, so that the intervals are those of the readings alone
EXACT = {key: {"value": value, "tolerance": f"0 {value.split()[1]}"} for key, value in MOTOR.items() if key != "mass"}
EXACT |= {"winding_to_case": "3 K/W", "mass": MOTOR["mass"]}
ROBOT = {
    "catalogue": {
        "motors": {"test motor": EXACT},
        "wheels": {"test wheel": {"diameter": {"value": "70 mm", "tolerance": "0 mm"}}},
    }
}
COLUMNS = {
    "time": {"column": "t", "unit": "ms"}, "position": {"column": "x", "unit": "mm"},
    "speed": {"column": "v", "unit": "mm/s"}, "current": {"column": "I", "unit": "A"},
    "voltage": {"column": "U", "unit": "V"},
}  # fmt: skip
LOGS = [
    {"file": "full.csv", "command": "full"},
    {"file": "coast.csv", "command": "coast"},
    {"file": "heavy.csv", "command": "coast", "added": "3 kg"},
]
TIMES = np.arange(0.0, 2.0, 0.025)
START, LET_GO = 0.21, 1.5
FULL = TRUTH.full(TIMES, START)
NOISE = {"x": 2e-3, "v": 0.015, "I": 0.03, "U": 0.02}
NAMES = {
    "friction of the bearings": TRUTH.friction,
    "rolling resistance of the wheels": TRUTH.rolling,
    "efficiency of the gearing": TRUTH.efficiency,
    "voltage of the battery without load": TRUTH.voltage,
    "resistance of the battery": TRUTH.resistance,
    "grip of 'test wheel'": TRUTH.grip,
}


def write(file, times, seed, x, v, current, voltage):
    rng = np.random.default_rng([seed, *file.name.encode()])
    noisy = [
        values + rng.normal(0.0, NOISE[n], times.size)
        for n, values in zip("xvIU", (x, v, current, voltage), strict=True)
    ]
    scaled = (1e3 * times, 1e3 * noisy[0], 1e3 * noisy[1], noisy[2], noisy[3])
    write_csv(file, ("t", "x", "v", "I", "U"), *([f"{v:.5f}" for v in column] for column in scaled))


def write_runs(folder, seed):
    write(folder / "full.csv", TIMES, seed, *FULL)
    for name, added in (("coast.csv", 0.0), ("heavy.csv", 3.0)):
        x, v = TRUTH.coast(TIMES, LET_GO, added)
        write(folder / name, TIMES, seed, x, v, 0.0 * x, 0.0 * x + TRUTH.voltage)


def pushed(seed):
    """A robot whose wheels slip pushes with its grip."""
    rng = np.random.default_rng([seed, 7])
    force = TRUTH.grip * TRUTH.mass * 9.80665 + rng.normal(0.0, 1.5, 5)
    return [{"readings": [f"{f:.4f} N" for f in force], "ends": "slips"}]


def runs(folder, robot=ROBOT, **section):
    return measurements(folder, {"drive": {"columns": COLUMNS} | section}, robot)


@pytest.fixture(scope="module")
def many(tmp_path_factory):
    folder = tmp_path_factory.mktemp("drive")
    write_runs(folder, 0)
    measured = runs(folder, logs=LOGS, pushes=pushed(0))
    given = measured.readings.drive

    def fit(seed):
        write_runs(folder, seed)
        push = replace(given.pushes[0], readings=tuple(float(r.split()[0]) for r in pushed(seed)[0]["readings"]))
        return fit_drive(replace(given, pushes=(push,)), measured, "")

    return covers(fit, NAMES)


@pytest.mark.long
@pytest.mark.parametrize("name", NAMES)
def test_the_interval_holds_the_truth_as_often_as_it_says(many, name, evidence):
    evidence(*HOLDS, many[name][0], 0.95)
    assert LEAST <= many[name][0] <= MOST


@pytest.mark.long
def test_a_fit_beats_a_reading_off_the_log(many):
    """Naive: the deceleration from the first and the last row of a coast, and the resistance from one row."""
    total = (
        many["friction of the bearings"][1] / TRUTH.radius + many["rolling resistance of the wheels"][1] * 7.0 * 9.80665
    )
    naive_drag, naive_sag = [], []
    for seed in SEEDS:
        rng = np.random.default_rng(seed)
        v = TRUTH.coast(TIMES[[0, 12]], LET_GO)[1] + rng.normal(0.0, NOISE["v"], 2)
        error = (v[0] - v[1]) / (TIMES[12] - TIMES[0]) - TRUTH.slowing()
        naive_drag.append(error * (TRUTH.mass + TRUTH.rotating()))
        row = int(np.argmax(TIMES > START + 0.1))
        drawn = TRUTH.motor(FULL[1][row])[1]
        naive_sag.append(rng.normal(0.0, NOISE["U"]) / drawn)
    assert rms(total) < 0.5 * rms(naive_drag)
    assert rms(many["resistance of the battery"][1]) < 0.5 * rms(naive_sag)


def test_top_speed_by_the_stopwatch_alone_tells_nothing_apart(tmp_path):
    found = only(runs(tmp_path, sprints=[{"distance": "1 m", "start": "flying", "times": ["0.6 s", "0.62 s"]}]))
    assert untold(found) == set(NAMES)
    whys = {item.name: item.why for item in found.unidentified}
    assert "combination" in whys["efficiency of the gearing"] or "wider" in whys["efficiency of the gearing"]
    assert all(item.reading for item in found.unidentified)


def test_coasts_with_one_weight_tell_the_drag_but_not_what_it_is_made_of(tmp_path):
    write_runs(tmp_path, 1)
    found = only(runs(tmp_path, logs=[LOGS[0], LOGS[1]]))
    assert {"friction of the bearings", "rolling resistance of the wheels"} <= untold(found)
    assert {"efficiency of the gearing", "resistance of the battery"} <= set(told(found))
    why = next(i for i in found.unidentified if i.name == "friction of the bearings")
    assert "rolling resistance of the wheels" in why.why
    assert "2 kg" in why.reading


def test_a_push_that_slips_tells_grip_and_one_that_holds_does_not(tmp_path):
    slips = only(runs(tmp_path, pushes=pushed(3)))
    assert set(told(slips)) == {"grip of 'test wheel'"}
    assert told(slips)["grip of 'test wheel'"] == pytest.approx(TRUTH.grip, abs=0.04)
    holds = only(runs(tmp_path, pushes=[{"readings": ["30 N", "31 N"], "ends": "holds"}]))
    assert "grip of 'test wheel'" in untold(holds)


def test_two_classes_of_wheel_need_a_drag_each(tmp_path):
    other = {"diameter": "70 mm", "mass": "60 g", "grip": 0.5, "side_grip": 0.1, "rolling_resistance": 0.02}
    wheels = {"left rear": {"wheel": "other"}, "right rear": {"wheel": "other"}}
    robot = {"drive": {"wheels": wheels}, "catalogue": {"wheels": {"other": other}}}
    names = {"grip of 'test wheel'", "grip of 'other'"}
    pushes = [{"readings": ["45 N", "46 N", "44 N"], "ends": "slips"}]
    whole = only(runs(tmp_path, robot, pushes=pushes))
    assert names <= untold(whole)
    drags = [{"wheel": "other", "load": "3 kg", "readings": ["17.6 N", "17.9 N", "17.5 N", "17.8 N"]}]
    both = only(runs(tmp_path, robot, pushes=pushes, drags=drags))
    assert names <= set(told(both))
    assert told(both)["grip of 'other'"] == pytest.approx(17.7 / (3 * 9.80665), abs=0.02)


def test_a_coast_by_tape_and_stopwatch_gives_the_textbook_deceleration(tmp_path):
    # x = a t^2 / 2, whatever the speed at the start: 1.2 m in 1.55 s are 1.0 m/s2
    plain, heavy = {"distance": "1.2 m", "time": "1.55 s"}, {"distance": "1.2 m", "time": "1.8 s", "added": "4 kg"}
    coasts = [plain] * 4 + [heavy] * 4
    found = only(runs(tmp_path, coasts=coasts))
    predicted = [r.predicted[0] for r in found.residuals]
    assert predicted[0] == pytest.approx(1.55, abs=0.03)
    assert predicted[-1] == pytest.approx(1.8, abs=0.03)


def test_what_the_motor_is_off_by_widens_the_efficiency(tmp_path):
    # without a power cap nothing but the file tells the torque of an ampere
    free = Truth(cap=1e3)
    write(tmp_path / "full.csv", TIMES, 2, *free.full(TIMES, START))
    halves = []
    for tolerance in (0.0, 0.03):
        torque = {"value": "0.7 N*m", "tolerance": f"{tolerance} N*m"}
        motor = EXACT | {"power_cap": {"value": "1000 W", "tolerance": "0 W"}, "stall_torque": torque}
        robot = {"catalogue": ROBOT["catalogue"] | {"motors": {"test motor": motor}}}
        halves.append(only(runs(tmp_path, robot, logs=LOGS[:1])).get("efficiency of the gearing").half_width)
    # 0.03 of 0.7 N m is 4.3 % of the torque, and so of the efficiency
    assert halves[1] == pytest.approx(np.hypot(halves[0], 0.03 / 0.7 * TRUTH.efficiency), rel=0.25)
    assert halves[1] > 1.3 * halves[0]


def test_a_run_backwards_is_the_same_run(tmp_path):
    write_runs(tmp_path, 4)
    ahead = told(only(runs(tmp_path, logs=LOGS)))
    for file in ("full.csv", "coast.csv", "heavy.csv"):
        rows = [row.split(",") for row in (tmp_path / file).read_text(encoding="utf-8").splitlines()]
        turned = [rows[0], *([t, str(-float(x)), str(-float(v)), i, u] for t, x, v, i, u in rows[1:])]
        (tmp_path / file).write_text("\n".join(",".join(row) for row in turned), encoding="utf-8")
    assert told(only(runs(tmp_path, logs=LOGS))) == pytest.approx(ahead, rel=1e-6)


def test_odd_rows_are_named_and_left_out(tmp_path):
    write_runs(tmp_path, 5)
    clean = told(only(runs(tmp_path, logs=LOGS)))
    lines = (tmp_path / "full.csv").read_text(encoding="utf-8").splitlines()
    lines[20] = lines[20].rpartition(",")[0] + ","  # no voltage
    lines.insert(31, lines[30])  # the same time twice
    (tmp_path / "full.csv").write_text("\n".join(lines), encoding="utf-8")
    found = only(runs(tmp_path, logs=LOGS))
    assert [n for n in found.notes if n.startswith("full.csv, line 21") and "voltage" in n]
    assert [n for n in found.notes if n.startswith("full.csv, line 32") and "time" in n]
    for name, value in told(found).items():
        assert abs(value - clean[name]) < found.get(name).half_width


def test_a_long_log_is_thinned_and_said(tmp_path):
    write_runs(tmp_path, 10)
    often = np.arange(0.0, 2.0, 0.0005)
    x, v = TRUTH.coast(often, LET_GO)
    write(tmp_path / "coast.csv", often, 10, x, v, 0.0 * x, 0.0 * x + TRUTH.voltage)
    found = only(runs(tmp_path, logs=LOGS))
    assert [n for n in found.notes if n.startswith("coast.csv is long: one row in 3 ")]
    assert {len(r.observed) for r in found.residuals if "coast.csv" in r.name} == {1334}
    item = found.get("voltage of the battery without load")
    assert abs(item.value - TRUTH.voltage) <= 1.5 * item.half_width


def test_a_stuck_column_is_left_out_and_named(tmp_path):
    write_runs(tmp_path, 6)
    rows = [row.split(",") for row in (tmp_path / "full.csv").read_text(encoding="utf-8").splitlines()]
    stuck = [rows[0], *([t, x, v, "1.25", u] for t, x, v, _, u in rows[1:])]
    (tmp_path / "full.csv").write_text("\n".join(",".join(row) for row in stuck), encoding="utf-8")
    found = only(runs(tmp_path, logs=LOGS))
    assert [n for n in found.notes if n.startswith("full.csv: current") and "stuck" in n]


def test_braking_that_was_taken_for_coasting_is_said(tmp_path):
    write_runs(tmp_path, 7)
    brake = np.maximum(1.5 - 6.0 * TIMES**2, 0.0)  # harder and harder, as no coast does
    write(tmp_path / "coast.csv", TIMES, 7, np.cumsum(brake) * 0.025, brake, 0.0 * TIMES, 0.0 * TIMES + TRUTH.voltage)
    found = only(runs(tmp_path, logs=LOGS))
    assert [n for n in found.notes if "braked" in n]


@pytest.mark.parametrize(
    ("change", "where", "word"),
    [
        ({}, ("drive",), "one of the keys"),
        ({"logs": [{"file": "none.csv", "command": "full"}]}, ("drive", "logs", 0, "file"), "CSV"),
        ({"logs": [{"file": "full.csv", "command": "fast"}]}, ("drive", "logs", 0, "command"), "full"),
        ({"logs": LOGS, "columns": {"time": COLUMNS["time"]}}, ("drive", "columns"), "besides"),
        ({"logs": LOGS, "columns": COLUMNS | {"volts": {"column": "U"}}}, ("drive", "columns", "volts"), "one of"),
        ({"logs": [LOGS[0] | {"begin": "1.95 s"}]}, ("drive", "logs", 0), "5 rows"),
        ({"pushes": [{"readings": [], "ends": "slips"}]}, ("drive", "pushes", 0, "readings"), "one reading"),
        ({"drags": [{"wheel": "tset wheel", "load": "1 kg", "readings": ["5 N"]}]}, ("drive", "drags", 0, "wheel"),
         "test wheel"),
    ],
)  # fmt: skip
def test_mistakes_are_named_at_their_place(tmp_path, change, where, word):
    write_runs(tmp_path, 8)
    with pytest.raises(BadInput) as caught:
        only(runs(tmp_path, **change))
    assert [p.key for p in caught.value.problems] == [where]
    assert word in str(caught.value)


def test_a_wrong_unit_is_named(tmp_path):
    write_runs(tmp_path, 9)
    wrong = COLUMNS | {"speed": {"column": "v", "unit": "m/s"}}
    with pytest.raises(BadInput, match="thousand"):
        only(runs(tmp_path, logs=LOGS, columns=wrong))


def test_a_robot_without_parts_is_refused(tmp_path):
    from robots import GONE

    with pytest.raises(BadInput, match="parts"):
        only(runs(tmp_path, {"parts": GONE}, pushes=pushed(1)))
