"""A system comes from one declaration: one in a package of its own is found everywhere by its entry point alone.

The package `cable` beside this file is installed as any other would be: a folder with its metadata on the path.
"""

from __future__ import annotations

import json
import os
import runpy
import subprocess
import sys
from pathlib import Path

import pytest

from robots import EXAMPLES, ROBOT, SEASON, changed

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
LENGTH = 0.5
# the plug on the arm sits 0.3 m above the pivot and 0.4 m from the other plug: 3, 4, 5; the arm turns it a quarter
# of a circle forward, to 0.3 m before the pivot
MAIN = {
    "parts": {"arm": {"mass": "0.2 kg", "position": ["0 m", "0 m", "0.5 m"], "size": ["20 mm", "20 mm", "0.3 m"],
                      "rides": "arm"}},
    "poses": {"driving": {"use": "drive"},
              "reaching": {"use": "stand", "moves": {"arm": {"turn": "90 deg", "pivot": ["0 m", "0 m", "0.2 m"]}}}},
    "mechanisms": {"to the arm": {"kind": "cable", "length": f"{LENGTH} m", "slack": "0 mm", "end_rides": "arm",
                                  "start": ["-0.4 m", "0 m", "0.2 m"], "end": ["0 m", "0 m", "0.5 m"]}},
}  # fmt: skip


def robot_in(folder, mechanisms=None):
    """The robot with its cable."""
    (folder / "season.yaml").write_text(json.dumps(SEASON), encoding="utf-8")
    file = folder / "robot.yaml"
    laid = changed(MAIN, {"mechanisms": mechanisms or {}})
    file.write_text(json.dumps(changed(ROBOT, laid), indent=1), encoding="utf-8")
    return file


def surroundings(folder, *, installed=True):
    """The environment of a process in which the package is installed, or not."""
    paths = [str(ROOT / "src")]
    if installed:
        metadata = folder / "site" / "fieldworthy_cable-1.0.dist-info"
        metadata.mkdir(parents=True, exist_ok=True)
        (metadata / "METADATA").write_text("Metadata-Version: 2.1\nName: fieldworthy-cable\nVersion: 1.0\n", "utf-8")
        (metadata / "entry_points.txt").write_text("[fieldworthy.systems]\ncable = cable:SYSTEM\n", "utf-8")
        paths += [str(HERE), str(metadata.parent)]
    return os.environ | {"PYTHONPATH": os.pathsep.join(paths), "PYTHONIOENCODING": "utf-8"}


def run(words, around):
    """Run a program to its end."""
    return subprocess.run([sys.executable, *words], env=around, capture_output=True, encoding="utf-8", check=False)


@pytest.fixture(scope="module")
def seen(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plugin")
    file = robot_in(folder)
    done = run([str(HERE / "look.py"), str(file), str(ROOT), "to the arm"], surroundings(folder))
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1])


def test_it_stands_behind_our_own(seen):
    assert seen["systems"][-1] == "cable"
    assert len(seen["systems"]) == len(set(seen["systems"])) > 10


def test_check_judges_every_pose(seen):
    """By hand: sqrt(0.3^2 + 0.4^2) = 0.5 m as it drives, 0.4 + 0.3 = 0.7 m with the arm turned forward."""
    found = {f["subject"]: f for f in seen["check"]["findings"] if f["id"] == "cable.reach.to the arm"}
    assert set(found) == {"pose driving", "pose reaching"}
    assert found["pose driving"]["limit"] == pytest.approx(0.5)
    assert found["pose reaching"]["limit"] == pytest.approx(0.7)
    assert found["pose reaching"]["verdict"] == "short"
    assert found["pose driving"]["margin"] == pytest.approx(0.0, abs=1e-9)
    assert found["pose reaching"]["margin"] == pytest.approx((LENGTH - 0.7) / 0.7)
    assert 0.2 < found["pose driving"]["chance"] < 0.8, "exactly at the limit about half of the robots reach"
    assert "mechanisms.to the arm.length" in found["pose reaching"]["inputs"]
    assert "Cable 'to the arm' does not reach in pose 'reaching'" in seen["text"]
    assert seen["api"].startswith("Cable 'to the arm' does not reach")
    assert seen["longer"] == "holds"
    assert "Switch the robot off before you unplug a cable." in seen["check"]["cautions"]


def test_a_remedy_is_found_for_it(seen):
    (sentences,) = (said for found, said in seen["mend"].items() if found.startswith("cable"))
    assert any("length of the cable of 'to the arm'" in sentence for sentence in sentences), sentences


def test_the_schema_knows_its_kind(seen):
    described = seen["schema"]["$defs"]["Cable"]
    assert described["properties"]["kind"]["const"] == "cable"
    assert {"length", "start", "end", "slack"} <= set(described["properties"])
    assert "$defs/Cable" in json.dumps(seen["schema"]["$defs"] | seen["schema"]["properties"])


def test_the_notebook_has_its_page_and_figure(seen):
    assert "Does every cable reach from end to end in every pose of the robot?" in seen["notebook"]
    assert "Keep cables clear of gears and chains." in seen["notebook"]
    assert "Cable &#x27;to the arm&#x27;" in seen["notebook"] or "Cable 'to the arm'" in seen["notebook"]
    assert "0.7 m are needed" in seen["notebook"]
    assert "is 0.5 m long." in seen["notebook"], "the figure in words"


def test_the_card_has_its_step_and_spare(seen):
    assert "both plugs click" in seen["card"]
    assert "one cable of each length" in seen["card"]


def test_the_card_and_the_inspection_sheet_have_its_lines(seen):
    assert "Cables: none hangs loose." in seen["card"]
    assert "0.5 m long" in seen["card"]
    assert "Every cable is fastened at both ends." in seen["sheet"]
    assert "Length of the cable" in seen["sheet"]


def test_a_first_file_has_its_lines_to_uncomment(seen):
    assert "#    kind: cable\n#    length: 500 mm\n" in seen["starter"]


def test_the_form_has_its_fields(seen):
    fields = {key: rest for key, *rest in seen["form"]}
    sort, value, kind, about, label = fields["mechanisms.to the arm.length"]
    assert label == "length of the cable"
    assert (sort, value, kind) == ("quantity", f"{LENGTH} m", "length")
    assert about.startswith("from plug to plug, laid out straight")
    assert fields["mechanisms.to the arm.start[0]"][1] == "-0.4 m"


def test_the_page_shows_its_figure(seen):
    pictures = dict(seen["pictures"])
    assert "reaching" in pictures["cable to the arm"]


@pytest.mark.long
def test_the_documents_tell_of_it(seen):
    assert "### Cable\n" in seen["files"]
    assert "from plug to plug, laid out straight" in seen["files"]
    assert "cable.reach.NAME" in seen["findings"]


def test_its_own_checks_of_the_file_are_heard(tmp_path):
    file = robot_in(tmp_path, {"to the arm": {"end_rides": "nothing"}})
    done = run(["-m", "fieldworthy", "check", str(file)], surroundings(tmp_path))
    assert done.returncode == 2
    assert "mechanisms.to the arm.end_rides: expected a group that a part rides: arm; chassis" in done.stderr


def test_without_the_package_its_kind_is_unknown(tmp_path):
    done = run(["-m", "fieldworthy", "check", str(robot_in(tmp_path))], surroundings(tmp_path, installed=False))
    assert done.returncode == 2
    assert "mechanisms.to the arm" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.long
def test_the_examples_say_the_same_with_it_installed(tmp_path):
    words = ["-m", "fieldworthy", "check", str(EXAMPLES / "mk1.yaml"), "--samples", "0", "--json"]
    with_it, without = (run(words, surroundings(tmp_path, installed=on)) for on in (True, False))
    assert with_it.stdout == without.stdout != ""


def test_the_documents_here_do_not_tell_of_it():
    for maker in ("make_files.py", "make_findings.py"):
        assert "cable.reach" not in (made := runpy.run_path(str(ROOT / "docs" / maker))["text"]())
        assert "#### Cable\n" not in made
