"""A whole measurements file: held against the robot file, laid in, told and written."""

from __future__ import annotations

import json
import math
from datetime import date

import jsonschema
import pytest

from edge import run
from fieldworthy.engine.finding import as_data, json_schema
from fieldworthy.measure.fit import FitReport, changes, fit, laid_in
from fieldworthy.measure.prediction import combined, comparisons
from fieldworthy.measure.result import Fitted, Procedure, file_text, width_text, with_interval
from fieldworthy.robot import load_robot
from fieldworthy.units import parse
from measuring import measured, written
from rolling import TRACKING, readings
from weights import SURE, TRUTH, weighing

SCALES = {"scales": weighing(0) | {"date": "2026-11-20"}}
MASS_KEY = ("weighed", "mass")


def said(value: float, half: float, name: str = "a", key=MASS_KEY, kind: str = "mass") -> Procedure:
    return Procedure(name, name, fitted=(Fitted("mass of the whole robot", key, kind, value, half, unit="kg"),))


def test_two_that_agree_are_weighed_by_their_intervals():
    """Textbook weighted mean: 7.40 ± 0.02 and 7.43 ± 0.04 give (4 x 7.40 + 1 x 7.43) / 5 ± 0.04 / sqrt(5)."""
    (found,) = combined([said(7.40, 0.02), said(7.43, 0.04, "b")])
    assert found.value == pytest.approx((4.0 * 7.40 + 7.43) / 5.0)
    assert found.half_width == pytest.approx(0.04 / 5**0.5)
    assert not found.contradict


def test_two_that_contradict_are_said_to_and_widened(tmp_path):
    (found,) = combined([said(7.40, 0.02), said(7.60, 0.02, "b")])
    assert found.contradict
    assert found.half_width > 0.1
    sentence = comparisons(measured(tmp_path), [found])[0].sentence
    assert "contradict each other (a 7.400 ± 0.020 kg, b 7.600 ± 0.020 kg)" in sentence


@pytest.mark.parametrize(
    ("value", "half", "standing", "words"),
    [
        (69.9e-3, 1.5e-3, "agrees", "which agrees"),
        (69.0e-3, 0.2e-3, "sharper", "the measured value is more precise"),
        (66.0e-3, 0.2e-3, "unlikely", "unlikely even with its own tolerance"),
    ],
)
def test_the_file_is_unlikely_outside_both_intervals(tmp_path, value, half, standing, words):
    """70 mm as an estimate: 1 % and 1 mm of tolerance."""
    key = ("catalogue", "wheels", "test wheel", "diameter")
    (found,) = comparisons(measured(tmp_path), combined([said(value, half, key=key, kind="length")]))
    assert found.standing == standing
    assert words in found.sentence
    assert found.file_value == pytest.approx(0.07)
    assert found.file_tolerance == pytest.approx(1.7e-3)


def test_a_default_is_no_statement_of_the_file(tmp_path):
    key = ("drive", "braking")
    (found,) = comparisons(measured(tmp_path), combined([said(0.7, 0.05, key=key, kind="ratio")]))
    assert found.standing == "unstated"
    assert found.file_basis == "default"
    assert "lies outside the measured interval" in found.sentence


def test_what_the_parts_add_up_to_is_held_against_the_scales(tmp_path):
    report = fit(measured(tmp_path, SCALES, SURE), samples=0)
    mass = next(c for c in report.comparisons if c.key == "weighed.mass")
    assert mass.file_basis == "implied"
    assert mass.standing == "sharper"  # the list is an estimate, 10 % either way, and the scales lie within that
    assert "the parts add up to 7.00 ± 0.70 kg" in mass.sentence


def test_the_findings_that_it_touches_are_those_of_the_robot_so_weighed(tmp_path):
    bench = measured(tmp_path, SCALES, SURE)
    report = fit(bench, samples=0)
    touched = {t.id: t for t in report.touched}
    assert {"balance.tilt", "balance.tip.forward", "drive.push"} <= set(touched)
    # statics by hand: the nearest edge over the height
    least = min(math.atan2(r, TRUTH["height of the centre of gravity"]) for r in (
        0.14 - 0.011, 0.12 + 0.011, 0.15 + 0.006, 0.15 - 0.006))  # fmt: skip
    assert touched["balance.tilt"].after == pytest.approx(math.degrees(least), abs=1.0)
    assert "air.rating" not in touched
    verdicts = [t.verdict_before == t.verdict_after for t in report.touched]
    assert verdicts == sorted(verdicts)


def test_nothing_measured_touches_nothing(tmp_path):
    report = fit(measured(tmp_path), samples=0)
    assert (report.procedures, report.comparisons, report.touched, report.refused) == ((), (), (), ())


def test_laid_in_it_is_as_if_the_file_said_so(tmp_path):
    bench = measured(tmp_path, SCALES, SURE)
    found = fit(bench, samples=0).procedures
    after = laid_in(bench, changes(bench, found)).nominal
    assert after.weighed is not None
    assert float(after.weighed.mass or 0.0) == pytest.approx(found[0].get("weighed.mass").value, abs=2e-4)
    assert float(after.weighed.listed.mass) == pytest.approx(7.0)
    # nothing was written
    assert load_robot(tmp_path / "robot.yaml").nominal.weighed is None


def test_values_that_cannot_stand_are_said_and_not_laid_in(tmp_path):
    """A robot of which nearly everything rides a lift, weighed lighter than the lift alone."""
    robot = SURE | {"parts": {"box": {"mass": "0.5 kg"}, "lift": {
        "mass": "9 kg", "position": ["0 m", "0 m", "0.1 m"], "size": ["0.1 m"] * 3, "rides": "lift"}}}  # fmt: skip
    report = fit(measured(tmp_path, SCALES, robot), samples=0)
    assert report.touched == ()
    assert "more than the parts that do not ride the chassis weigh" in report.refused[0]
    file = tmp_path / "measured.yaml"
    before = (tmp_path / "robot.yaml").read_text("utf-8")
    ended = run("fit", tmp_path / "robot.yaml", file, "--write", "--samples", 0)
    assert ended.code == 2
    assert "nothing was written" in ended.err
    assert (tmp_path / "robot.yaml").read_text("utf-8") == before


def test_entries_carry_value_tolerance_basis_and_date(tmp_path):
    bench = measured(tmp_path, SCALES, SURE)
    found = changes(bench, fit(bench, samples=0).procedures, date(2026, 12, 1))
    entry = found[MASS_KEY]
    assert isinstance(entry, dict)
    assert entry["basis"] == "measured"
    assert entry["date"] == "2026-11-20"  # that of the section goes before the day of writing
    assert parse(entry["value"], "mass").si == pytest.approx(7.41, abs=0.02)
    assert 0.003 < parse(entry["tolerance"], "mass").si < 0.02
    assert found[("weighed", "listed", "mass")] == "7 kg"


def test_a_spread_is_written_as_the_standard_deviation(tmp_path):
    bench = measured(tmp_path, {"odometry": readings(0)}, TRACKING)
    procedures = fit(bench, samples=0).procedures
    left = ("tracking", "wheels", "left")
    found = changes(bench, procedures, date(2026, 12, 1))
    deviation = found[(*left, "diameter_error")]
    assert isinstance(deviation, dict)
    half = procedures[0].get("tracking.wheels.left.diameter").half_width
    assert parse(deviation["value"], "length").si == pytest.approx(half / 1.96, rel=0.05)
    assert "tolerance" not in deviation
    laid_in(bench, found)


@pytest.mark.parametrize(
    ("value", "half", "kind", "unit", "shown", "kept", "width"),
    [
        (7.4123, 0.0091, "mass", "kg", "7.4123 ± 0.0091 kg", "7.4123 kg", "0.0091 kg"),
        (0.0508, 0.0001, "length", "in", "2.0000 ± 0.0039 in", "2 in", "0.00394 in"),
        (0.5236, 0.02, "angle", "deg", "30.0 ± 1.1°", "30 deg", "1.15 deg"),
        (0.85, 0.03, "ratio", "1", "0.850 ± 0.030", "0.85", "0.03"),
        (300.0, 2.0, "temperature", "degC", "26.9 ± 2.0 °C", "26.85 degC", "2 K"),
        (2370.0, 80.0, "time", "min", "39.5 ± 1.3 min", "39.5 min", "1.33 min"),
        (12.0, 0.0, "count", "1", "12", "12", ""),
    ],
)
def test_numbers_are_written_to_the_digits_that_mean_something(value, half, kind, unit, shown, kept, width):
    assert with_interval(value, half, kind, unit) == shown
    assert file_text(value, half, kind, unit) == kept
    if width:
        assert width_text(value, half, kind, unit) == width
        step = "temperature step" if kind == "temperature" else kind
        assert parse(width, step).si == pytest.approx(half, rel=0.02)
        assert parse(kept, kind).si == pytest.approx(value, abs=0.1 * half)


def test_the_json_follows_its_schema(tmp_path):
    bench = measured(tmp_path, SCALES, SURE)
    data = json.loads(json.dumps(as_data(fit(bench, samples=50)), allow_nan=False))
    schema = json_schema(FitReport)
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(data, schema)
    assert data["format"] == "fieldworthy fit 2"


def test_the_command_prints_writes_and_keeps_a_dated_copy(tmp_path):
    file = written(tmp_path, SCALES, SURE)
    robot = tmp_path / "robot.yaml"
    before = robot.read_text("utf-8")
    plain = run("fit", robot, file, "--samples", 20)
    assert plain.code == 0
    assert "are missing from the list" in plain.out
    assert "Nothing was written; --write puts these values into robot.yaml." in plain.out
    assert robot.read_text("utf-8") == before
    assert [p.name for p in tmp_path.glob("robot*.yaml")] == ["robot.yaml"]
    kept = run("fit", robot, file, "--samples", 20, "--write")
    assert kept.code == 0
    assert "written: robot.yaml; the old text is kept as robot." in kept.err
    copies = [p for p in tmp_path.glob("robot*.yaml") if p != robot]
    assert [p.read_text("utf-8") for p in copies] == [before]
    weighed = load_robot(robot).robot.weighed.mass
    assert weighed.basis == "measured"
    assert weighed.date == "2026-11-20"
    again = run("fit", robot, file, "--samples", 20)
    assert "No check changes" in again.out


def test_the_command_s_json_is_the_report(tmp_path):
    file = written(tmp_path, SCALES, SURE)
    ended = run("fit", tmp_path / "robot.yaml", file, "--json", "--samples", 0)
    assert json.loads(ended.out)["robot"] == "Test"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"robot": "robto.yaml"}, "did you mean 'robot.yaml'"),
        ({"fieldworthy": "measurements 2"}, "expected 'measurements 1'"),
        ({"scale": {}}, "did you mean 'scales'"),
        ({"scales": SCALES["scales"] | {"date": "20.11.2026"}}, "expected a date such as 2026-11-25"),
        ({"scales": SCALES["scales"] | {"pose": "flying"}}, "expected a name from the robot's poses"),
        ({"cycles": {"x": {"cylinder": "clamp", "runs": []}}}, "none are declared"),
    ],
)
def test_bad_files_are_refused_in_words(tmp_path, change, said):
    ended = run("fit", tmp_path / "robot.yaml", written(tmp_path, change, SURE))
    assert ended.code == 2
    assert said in ended.err
    assert ended.problems


def test_readings_of_another_robot_are_refused(tmp_path):
    file = written(tmp_path, SCALES, SURE)
    (tmp_path / "other.yaml").write_text((tmp_path / "robot.yaml").read_text("utf-8"), "utf-8")
    ended = run("fit", tmp_path / "other.yaml", file)
    assert ended.code == 2
    assert "taken on robot.yaml, not on other.yaml" in ended.err
