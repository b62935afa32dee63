"""Names cannot lead out of the folder, and the list shows what files say of themselves."""

from __future__ import annotations

import os
import signal
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge import ROBOT, SEASON, written
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.files import BadInput
from fieldworthy.robot import load_robot
from fieldworthy.robot.starter import AnswerError
from fieldworthy.web.folder import Folder, is_season
from fieldworthy.web.judging import Source, edit, judged
from fieldworthy.web.views import opening


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "inside").mkdir()
    written(tmp_path / "inside")
    (tmp_path / "secret.yaml").write_text("fieldworthy: robot 1\nrobot: Secret\n", encoding="utf-8")
    return Folder.at(tmp_path / "inside")


def test_lists_robots_then_seasons_and_nothing_else(folder):
    (folder.root / "notes.yaml").write_text("a: b\n", encoding="utf-8")
    (folder.root / "readme.txt").write_text("fieldworthy: robot 1\n", encoding="utf-8")
    (folder.root / ".hidden.yaml").write_text(ROBOT, encoding="utf-8")
    (folder.root / "below").mkdir()
    (folder.root / "below" / "two.yaml").write_text(ROBOT.replace("robot: Small", "robot: 'Two'"), encoding="utf-8")
    found = [(e.name, e.kind, e.title) for e in folder.entries()]
    assert found == [
        ("below/two.yaml", "robot", "Two"),
        ("robot.yaml", "robot", "Small"),
        ("season.yaml", "season", "Test season"),
    ]


def test_what_a_robot_was_on_earlier_days_is_not_listed(folder):
    robot = folder.root / "robot.yaml"
    before = folder.entries()
    for name in ("robot.2026-11-25.yaml", "robot.2026-11-25-2.yaml"):
        (folder.root / name).write_bytes(robot.read_bytes())
    assert folder.entries() == before
    (folder.root / "robot.spring.yaml").write_bytes(robot.read_bytes())
    assert len(folder.entries()) == len(before) + 1


@pytest.mark.parametrize(
    "name",
    [
        "../secret.yaml",
        "..",
        ".",
        "",
        "/etc/passwd",
        "a/../../secret.yaml",
        "..\\secret.yaml",
        "C:\\x.yaml",
        "C:x.yaml",
        "\\\\server\\x.yaml",
        "robot.yaml\x00.txt",
        "robot.yaml/",
        "./robot.yaml",
        "a//b.yaml",
        ".hidden.yaml",
        "con.yaml",
        "NUL",
        "lpt1.yaml",
        "robot.yaml:stream",
        "a/b/c/d.yaml",
        "robot.yaml ",
        " robot.yaml",
        "robot.yaml.",
        "a\nb.yaml",
        "\u202egnp.yaml",
        "x" * 200 + ".yaml",
        "*.yaml",
        "%2e%2e/secret.yaml/..",
        "file:///etc/passwd"[:40],
        "~/x.yaml/../y.yaml",
    ],
)
def test_names_that_lead_out_are_refused(folder, name):
    with pytest.raises(BadInput):
        folder.read(name)


@given(st.text(max_size=60))
def test_names_at_random_stay_inside(name):
    folder = Folder(Path("/srv/team"))
    try:
        path = folder.path(name)
    except BadInput:
        return
    assert path.is_relative_to(folder.root)
    assert ".." not in path.parts
    assert folder.name(path) == name


@given(st.lists(st.sampled_from(["..", ".", "a", "", "\\", "b.yaml", "/", ":", "%2e%2e", "\x00"]), max_size=8))
def test_climbing_names_at_random_stay_inside(steps):
    test_names_at_random_stay_inside.hypothesis.inner_test("/".join(steps))


def test_links_that_lead_out_are_refused_and_not_listed(folder, tmp_path):
    (folder.root / "link.yaml").symlink_to(tmp_path / "secret.yaml")
    (folder.root / "up").symlink_to(tmp_path, target_is_directory=True)
    (folder.root / "ring.yaml").symlink_to(folder.root / "ring.yaml")
    for name in ("link.yaml", "up/secret.yaml", "ring.yaml"):
        with pytest.raises(BadInput):
            folder.read(name)
    assert "Secret" not in {e.title for e in folder.entries()}


def test_links_within_the_folder_are_followed(folder):
    (folder.root / "same.yaml").symlink_to(folder.root / "robot.yaml")
    assert folder.read("same.yaml") == ROBOT


def test_a_folder_must_be_one(tmp_path, folder):
    for path in (tmp_path / "none", folder.root / "robot.yaml"):
        with pytest.raises(BadInput):
            Folder.at(path)


@given(st.text(max_size=80))
def test_a_free_name_is_a_name(wish):
    folder = Folder(Path("/srv/none"))
    name = folder.free_name(wish)
    assert folder.path(name).parent == folder.root
    assert name.endswith(".yaml")


def test_a_free_name_is_free(folder):
    assert folder.free_name("Robot!") == "robot_2.yaml"
    assert folder.free_name("Heron mk 3") == "heron_mk_3.yaml"
    assert folder.free_name("con") == "con_robot.yaml"


def test_a_season_says_that_it_is_one():
    assert is_season(SEASON)
    assert not is_season(ROBOT)
    assert not is_season("# fieldworthy: season 1\n")


@pytest.mark.skipif(os.name != "posix", reason="only there are pipes files")
def test_a_pipe_in_the_folder_is_not_listed_and_never_opened(folder):
    before = folder.entries()
    os.mkfifo(folder.root / "pipe.yaml")
    signal.alarm(30)  # ends the run where it is waited for
    assert folder.entries() == before
    with pytest.raises(BadInput, match="a device or a pipe"):
        folder.read("pipe.yaml")
    signal.alarm(0)


def test_forty_answers_make_a_robot_of_four_mechanisms_on_which_every_verdict_is_given(tmp_path):
    """The seven questions first: what they leave open is listed, and nothing holds that was not judged."""
    page = SimpleNamespace(workspace=SimpleNamespace(folder=Folder(tmp_path)))
    wanted = ("two-stage intake", "swinging tray", "motor arm", "hooks")
    ticks = {f"shelf-{at}": True for at, typical in opening._offered() if typical.name in wanted}
    answers = {
        "name": "First try", "mass": "6.5 kg", "length": "400 mm", "width": "380 mm", "height": "350 mm", "motors": "4",
        "limit-mass": "9 kg", "limit-stowed_size": "18 in, 18 in, 18 in", "limit-extended_size": "2 ft, 2 ft, 3 ft",
        "limit-motors": "10", "limit-motor_power": "120 W", "limit-tanks": "2", "limit-charge_pressure": "100 psi",
        "hours": "20 h",
    }  # fmt: skip
    file = tmp_path / opening.write_new(page, answers | ticks)
    first = evaluate(load_robot(file))
    missing = {key for finding in first.of("unknown") for key in finding.missing}
    assert missing == {"mechanisms.intake.throughput", "actions", "plan"}
    assert not [f.id for f in first.findings if f.missing and f.verdict != "unknown"], "judged without what is missing"
    more = {
        ("mechanisms", "intake", "throughput"): "2 Hz",
        ("actions", "score", "strokes"): {"tray": 1},
        ("actions", "climb"): {"time": "4 s", "strokes": {"hooks": 1}},
        ("plan", "finish"): {"steps": [{"action": "climb", "at": "goal"}], "reserve": "8 s"},
    }
    asked = len(answers) + len(ticks) + 1 + 2 + 4 + 3
    texts = edit(Source(file, ()), tuple(more.items()))
    whole = judged(Source(file, texts)).report
    assert not whole.of("unknown")
    assert len(whole.findings) >= 45
    assert asked <= 40


def test_limits_that_a_season_has_already_are_not_taken_and_left_out(tmp_path):
    page = SimpleNamespace(workspace=SimpleNamespace(folder=Folder(tmp_path)))
    opening.write_new(page, {"name": "First", "limit-mass": "9 kg"})
    with pytest.raises(AnswerError, match="is there already") as raised:
        opening.write_new(page, {"name": "Second", "limit-motors": "8"})
    assert raised.value.question == "limit-motors"
    opening.write_new(page, {"name": "Second"})
    assert load_robot(tmp_path / "second.yaml").season.limits.mass.si == 9.0
