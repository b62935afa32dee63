"""The public face: paths, changes, errors, several subjects, frames and what a notebook shows."""

from __future__ import annotations

import importlib
import json
import math
import types
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

import pytest

import fieldworthy as fw
from fieldworthy.engine.finding import VERDICTS
from fieldworthy.engine.finding import Report as Found
from fieldworthy.files.document import dotted
from fieldworthy.measure import load_measurements
from fieldworthy.robot import load_robot
from fieldworthy.robot.editing import key_path
from robots import EXAMPLES, ROBOT, SEASON, changed

MK1 = EXAMPLES / "mk1.yaml"
VOID = {"br", "hr", "img", "input", "link", "meta"}


@pytest.fixture(scope="module")
def robot():
    return fw.load(MK1)


@pytest.fixture(scope="module")
def report(robot):
    return robot.check(samples=50)


def written_robot(folder, changes):
    """The small robot and its season as files, not read yet."""
    (folder / "season.yaml").write_text(json.dumps(SEASON), encoding="utf-8")
    file = folder / "robot.yaml"
    file.write_text(json.dumps(changed(ROBOT, changes), indent=1), encoding="utf-8")
    return file


class Balanced(HTMLParser):
    """Holds that every element of a piece of HTML is closed where it must be."""

    def __init__(self, text):
        super().__init__()
        self.open, self.seen, self.words = [], [], []
        self.feed(text)
        self.close()
        assert not self.open

    def handle_starttag(self, tag, attrs):
        self.seen.append(tag)
        assert not [name for name, _ in attrs if name.startswith("on")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.seen.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


def test_text_and_path_are_the_same_file(robot):
    assert fw.load(str(MK1)).name == robot.name
    assert load_robot(str(MK1)).nominal == robot.loaded.nominal
    assert load_measurements(str(EXAMPLES / "mk1_measurements.yaml")).robot.nominal == robot.loaded.nominal


def test_every_problem_of_a_file_is_told(tmp_path):
    file = written_robot(tmp_path, {"battery": "no such", "drive": {"motors": "many"}})
    with pytest.raises(fw.BadFile) as caught:
        fw.load(file)
    assert {dotted(p.key) for p in caught.value.problems} == {"battery", "drive.motors"}
    assert all(p.file == file and p.line > 0 and p.column > 0 and p.expected for p in caught.value.problems)
    assert isinstance(caught.value, fw.Error)


def test_every_quantity_is_found_by_the_key_that_findings_write(robot):
    assert len(robot.loaded.quantities) > 100
    for path, _ in robot.loaded.quantities:
        assert key_path(robot.loaded, dotted(path)) == path


def test_a_name_with_a_point_needs_no_quotes(robot):
    bare = "catalogue.wheels.rubber wheel, 2.75 in.grip"
    assert robot[bare] == robot['catalogue.wheels."rubber wheel, 2.75 in".grip']
    assert robot["drive.motors"] == 6


@pytest.mark.parametrize(
    ("key", "near"),
    [
        ("parts.tray flor.mass", "tray floor"),
        ("parts.tray floor.mas", "mass"),
        ("drve.motors", "drive"),
        ("drive.stages[0].drivn", "driven"),
        ("season.fild.size", "field"),
        ("catalogue.wheels.ruber wheel, 2.grip", None),
        ("drive.stages[7].driven", None),
    ],
)
def test_a_key_that_is_not_there_names_the_one_that_was_meant(robot, key, near):
    with pytest.raises(fw.BadFile) as caught:
        robot.changed({key: "1"})
    (problem,) = caught.value.problems
    assert problem.expected.startswith("expected")
    if near:
        assert problem.suggestion == near
        assert f"did you mean {near!r}?" in str(caught.value)


def test_all_wrong_keys_are_told_at_once(robot):
    with pytest.raises(fw.BadFile) as caught:
        robot.changed({"drve.motors": 4, "parts.tray flor.mass": "1 g"})
    assert len(caught.value.problems) == 2


def test_a_value_in_a_wrong_unit_is_refused_where_it_stands(robot):
    with pytest.raises(fw.BadFile, match="mass") as caught:
        robot.changed({"parts.tray floor.mass": "200 mm"})
    assert caught.value.problems[0].file.name == "mk1_parts.csv"


def test_a_change_moves_the_robot_and_no_file(robot):
    before = {p: p.read_bytes() for p in EXAMPLES.iterdir()}
    lighter = robot.changed({"parts.tray floor.mass": "200 g", "drive.motors": 4, "season.temperature": "25 degC"})
    assert {p: p.read_bytes() for p in EXAMPLES.iterdir()} == before
    was, now = robot.loaded.nominal, lighter.loaded.nominal
    assert float(was.parts["tray floor"].mass) - float(now.parts["tray floor"].mass) == pytest.approx(0.330 - 0.200)
    assert now.drive.motors == 4
    assert robot["drive.motors"] == 6
    assert float(lighter.loaded.nominal_season.temperature) == pytest.approx(298.15)
    again = lighter.changed({"parts.tray floor.mass": {"value": "330 g", "tolerance": "1 g", "basis": "measured"}})
    assert again["parts.tray floor.mass"] == "330 g"


def test_one_id_gives_the_worst_of_its_subjects(report):
    assert report["air.rating"] == report.every("air.rating")[0]
    assert report["air.rating"].margin == min(f.margin for f in report.every("air.rating"))
    for subject in ("tank left", "tank right"):
        assert report["air.rating", subject].subject == subject
    heights = report.every("balance.centre_height")
    assert len(heights) == 5
    assert report["balance.centre_height"] == heights[0]


def test_an_unknown_id_names_the_near_one(report):
    with pytest.raises(KeyError) as caught:
        report["balance.tip.foward"]
    assert str(caught.value) == "no finding 'balance.tip.foward'; did you mean 'balance.tip.forward'?"
    with pytest.raises(fw.UnknownFinding, match="about 'tank lef'; did you mean 'tank left'"):
        report["air.rating", "tank lef"]
    with pytest.raises(fw.Error, match="it has '"):
        report["xyzzy"]
    assert "air.rating" in report
    assert "xyzzy" not in report


def test_a_report_is_a_collection_of_findings(report):
    assert list(report) == list(report.findings)
    assert len(report) == sum(len(report.data.of(v)) for v in VERDICTS)
    assert [f for cause in report.causes for f in cause.findings if f not in report.short] == []
    assert {f.verdict for f in report.close} | {f.verdict for f in report.unknown} <= {"close", "unknown"}
    assert json.loads(json.dumps(report.to_dict()))["robot"] == report.robot
    assert isinstance(report.data, Found)
    assert str(report).count("✗") == len(report.short)


def no_frames(monkeypatch, present=()):
    """Hide the libraries of frames, whether they are installed or not; `present` gets a plain one."""
    real = importlib.import_module

    def imported(name, *rest):
        if name in present:
            module = types.ModuleType(name)
            module.DataFrame = dict
            return module
        if name in ("pandas", "polars"):
            raise ModuleNotFoundError(name)
        return real(name, *rest)

    monkeypatch.setattr(importlib, "import_module", imported)


def test_frames_say_what_to_install(report, monkeypatch):
    no_frames(monkeypatch)
    with pytest.raises(ImportError, match=r"pip install pandas.*pip install polars"):
        report.to_frame()


@pytest.mark.parametrize("library", ["pandas", "polars"])
def test_frames_come_from_what_is_installed(report, monkeypatch, library):
    no_frames(monkeypatch, (library,))
    frame = report.to_frame()
    assert frame["id"] == [f.id for f in report.findings]
    assert {len(column) for column in frame.values()} == {len(report)}


def test_a_notebook_shows_robot_and_report(robot, report):
    shown = Balanced(report._repr_html_())
    assert shown.seen.count("tr") == len(report) + 1
    assert all(any(f.because == word for word in shown.words) for f in report.findings[:5])
    assert "svg" in Balanced(robot._repr_html_()).seen
    assert ET.fromstring(robot.plot()._repr_svg_()).tag.endswith("svg")
    assert ET.fromstring(report.plot(most=3).svg).tag.endswith("svg")
    with pytest.raises(ValueError, match="one of the poses"):
        robot.plot("upside down")


def test_names_of_a_file_cannot_become_markup(tmp_path):
    robot = fw.load(written_robot(tmp_path, {"robot": "<script>alert(1)</script>"}))
    assert "<script" not in robot._repr_html_()
    assert "<script" not in robot.check(samples=0)._repr_html_()


def test_forecast_and_comparison_agree_on_the_points(robot):
    """Both play the same matches: what one says of a robot's points the other says too."""
    forecast = robot.match(runs=100)
    heavier = robot.changed({"parts.tray floor.mass": "2 kg"})
    found = fw.compare(robot, heavier, runs=100)
    assert found.difference[0].first_points == pytest.approx(forecast.points.mean)
    assert found.difference[0].points == pytest.approx(heavier.match(runs=100).points.mean)
    assert forecast.points.planned == forecast.timeline.points
    for what in ("points", "timeline", "limits"):
        assert ET.fromstring(forecast.plot(what).svg).tag.endswith("svg")
    with pytest.raises(ValueError, match="points, timeline or limits"):
        forecast.plot("colour")
    for result in (forecast, found):
        assert "svg" in Balanced(result._repr_html_()).seen
    with pytest.raises(ValueError, match="two robots"):
        fw.compare(robot)
    with pytest.raises(ValueError, match="whole"):
        robot.match(runs=10, part="half")


def test_a_match_without_runs_knows_only_the_plan(robot):
    forecast = robot.match(runs=0)
    assert math.isnan(forecast.points.mean)
    assert forecast.plot() == forecast.plot("timeline")


def test_a_robot_without_a_plan_says_so(tmp_path):
    with pytest.raises(fw.BadFile, match="plan"):
        fw.load(written_robot(tmp_path, {})).match(runs=10)


@pytest.mark.long
def test_measured_values_are_laid_into_a_robot_that_is_not_saved(robot):
    found = fw.fit(robot, EXAMPLES / "mk1_measurements.yaml", samples=0)
    laid = found.robot.loaded.nominal
    mass = next(c for c in found.comparisons if c.key == "weighed.mass")
    assert float(laid.weighed.mass) == pytest.approx(mass.value, rel=1e-3)
    assert Balanced(found._repr_html_()).seen.count("tr") == len(found.comparisons) + 1
    changed = fw.fit(robot.changed({"drive.motors": 4}), EXAMPLES / "mk1_measurements.yaml", samples=0)
    assert changed.robot["drive.motors"] == 4
    with pytest.raises(fw.BadFile, match="mk2"):
        fw.fit(fw.load(EXAMPLES / "mk2.yaml"), EXAMPLES / "mk1_measurements.yaml")


def test_a_robot_at_hand_is_not_read_again(robot):
    assert load_measurements(EXAMPLES / "mk1_measurements.yaml", robot.loaded).robot is robot.loaded
