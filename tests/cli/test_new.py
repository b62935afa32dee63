"""A first file: written from answers, accepted by check, never over another one."""

import itertools
import json
import os
import re
import stat
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from edge import run
from fieldworthy.files import BadInput, instantiate
from fieldworthy.files.writing import write_atomically
from fieldworthy.robot import Robot, load_robot

INCH, POUND = 0.0254, 0.45359237  # exact, the international yard and pound agreement of 1959


def robot_of(file):
    return instantiate(load_robot(file).robot, Robot)


@pytest.mark.parametrize(
    "flags",
    [
        [],
        ["--units", "inch"],
        ["--tanks", "2"],
        ["--tanks", "1", "--units", "inch", "--gearing", "direct", "--wheels", "6"],
        ["--wheel-size", "3.5 in", "--wheels", "8", "--length", "450 mm"],
        ["--wheel-size", "100 mm", "--units", "inch", "--height", "1 m"],
        ["--motor", "4", "--motors", "2", "--gearing", "1:1"],
        ["--motor", "smart motor, 11 W class, 200 rpm", "--gearing", "60:36"],
        ["--name", 'Fi: "x" #2 \'é', "--season", "my season.yml"],
        ["--name", "true"],
        ["--name", "12"],
        ["--name", "- a"],
        ["--mass", "15 lb", "--length", "17 1/2 in", "--width", '15"', "--height", "0.4 m"],
    ],
)
def test_what_new_writes_check_accepts(tmp_path, flags):
    file = tmp_path / "robot.yaml"
    ended = run("new", file, *flags)
    assert (ended.code, ended.err) == (0, "")
    assert f"fieldworthy check {file}" in ended.out
    checked = run("check", file)
    assert checked.err == ""
    assert checked.code in (0, 1)
    if "--name" in flags:
        assert load_robot(file).robot.robot == flags[flags.index("--name") + 1]


@pytest.mark.parametrize(("units", "tanks"), list(itertools.product(["metric", "inch"], [0, 3])))
def test_the_answers_stand_in_the_file(tmp_path, units, tanks):
    file = tmp_path / "robot.yaml"
    size = [
        "--length",
        "16 in",
        "--width",
        "380 mm",
        "--height",
        "14 in",
        "--mass",
        "16 lb",
        "--wheel-size",
        "82.55 mm",
    ]
    shape = ["--motors", 6, "--wheels", 6, "--gearing", "36:60", "--tanks", tanks, "--units", units]
    assert run("new", file, *size, *shape).code == 0
    robot = robot_of(file)
    # four digits are written, and a few parts are summed
    assert sum(p.mass * p.count for p in robot.parts.values()) == pytest.approx(16 * POUND, rel=1e-3)
    for axis, (least, most) in enumerate(((-8 * INCH, 8 * INCH), (-0.19, 0.19), (0, 14 * INCH))):
        low = min(p.position[axis] - p.size[axis] / 2 for p in robot.parts.values())
        high = max(p.position[axis] + p.size[axis] / 2 for p in robot.parts.values())
        assert (low, high) == (pytest.approx(least, abs=2e-4), pytest.approx(most, abs=2e-4))
    assert robot.drive.motors == 6
    assert (robot.drive.stages[0].driver, robot.drive.stages[0].driven) == (36, 60)
    assert len(robot.drive.wheels) == 6
    names = {wheel.wheel for wheel in robot.drive.wheels.values()}
    assert [robot.catalogue.wheels[name].diameter for name in names] == [pytest.approx(3.25 * INCH)]
    # the origin is midway between the contacts, and no wheel stands out
    for axis in (0, 1):
        places = [wheel.position[axis] for wheel in robot.drive.wheels.values()]
        assert sum(places) == pytest.approx(0, abs=1e-6)
    reach = max(abs(wheel.position[0]) for wheel in robot.drive.wheels.values()) + 3.25 * INCH / 2
    assert reach <= 8 * INCH + 1e-3
    assert len(robot.air.tanks) == tanks
    written = file.read_text(encoding="utf-8")
    assert (" in," in written) == (units == "inch") or units == "metric"
    assert ("mm," in written.partition("fieldworthy:")[2].replace("16 mm bore, 50 mm", "")) == (units == "metric")


def test_the_file_explains_itself(tmp_path):
    file = tmp_path / "robot.yaml"
    run("new", file, "--tanks", 1)
    lines = file.read_text(encoding="utf-8").splitlines()
    assert all(len(line) <= 120 for line in lines if line.startswith("#"))
    text = "\n".join(lines)
    for more in ("", ", basis: measured", ", tolerance: 2 mm, basis: measured"):
        way = f"#   {{value: 400 mm{more}}}\n" if more else "#   400 mm\n"
        assert way in text
    for section in ("drive", "parts", "poses", "air", "mechanisms", "actions", "plan"):
        above = lines[lines.index(f"{section}:") - 1]
        assert above.startswith("# "), f"nothing explains {section}"
    assert "release all air" in text
    assert "wear eye protection" in text


@pytest.mark.parametrize("tanks", [0, 2])
def test_the_examples_in_comments_can_be_uncommented(tmp_path, tanks):
    file = tmp_path / "robot.yaml"
    run("new", file, "--tanks", tanks)
    lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
    start = next(i for i, line in enumerate(lines) if line.startswith("#  intake:")) - (tanks == 0)
    for i in range(start, len(lines)):
        if not lines[i].startswith("#"):
            break
        lines[i] = lines[i][1:]
    file.write_text("".join(lines), encoding="utf-8")
    plain = file.read_text(encoding="utf-8").replace("# targets:", "targets:")
    file.write_text(plain, encoding="utf-8")
    ended = run("check", file)
    assert (ended.code in (0, 1), ended.err) == (True, "")
    robot = robot_of(file)
    assert {"intake", "sorter", "hook"} <= set(robot.mechanisms)
    assert robot.drive.targets.sprint_time == pytest.approx(2.2)


def test_both_files_fit_the_schemas(tmp_path):
    from fieldworthy.files import read_document

    run("new", tmp_path / "robot.yaml", "--tanks", 2, "--wheel-size", "3 in")
    for kind in ("robot", "season"):
        schema = json.loads(run("schema", kind).out)
        data = read_document(tmp_path / f"{kind}.yaml").data
        assert [e.message for e in Draft202012Validator(schema).iter_errors(data)] == []


def test_the_limits_of_the_season_file_wait_to_be_filled_in(tmp_path):
    run("new", tmp_path / "robot.yaml", "--mass", "10 kg")
    season = tmp_path / "season.yaml"
    text = season.read_text(encoding="utf-8")
    season.write_text(text.replace("limits: {}", "limits:").replace("#  mass:", "  mass:"), encoding="utf-8")
    ended = run("check", "--json", tmp_path / "robot.yaml")
    assert ended.code == 1  # the file's own line says 9 kg
    assert "limits.mass" in {f["id"] for f in json.loads(ended.out)["findings"] if f["verdict"] == "short"}


def test_nothing_is_written_over_unless_told(tmp_path):
    file = tmp_path / "robot.yaml"
    file.write_text("mine", encoding="utf-8")
    ended = run("new", file)
    assert ended.code == 2
    assert "exists already; --force writes over it" in ended.err
    assert file.read_text(encoding="utf-8") == "mine"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["robot.yaml"]
    assert run("new", file, "--force").code == 0
    assert run("check", file).code in (0, 1)


def test_a_season_that_is_there_is_kept_and_used(tmp_path):
    from edge import SEASON

    season = tmp_path / "season.yaml"
    season.write_text(
        SEASON.replace("goal: [1 m", "hoop: [1 m").replace("ball", "ring").replace("shape: ring", "shape: ball"),
        encoding="utf-8",
    )
    before = season.read_bytes()
    assert run("new", tmp_path / "robot.yaml").code == 0
    assert season.read_bytes() == before
    assert run("check", tmp_path / "robot.yaml").code in (0, 1)
    robot = robot_of(tmp_path / "robot.yaml")
    assert robot.plan.driven[0].repeat[1].at == "hoop"
    assert robot.actions["score"].task == "ring in goal"


def test_a_season_without_places_objects_and_tasks_will_do(tmp_path):
    bare = "fieldworthy: season 1\nseason: bare\nlimits: {}\nfield: {size: [3 m, 3 m]}\n"
    bare += "periods: {autonomous: 1 s, driven: 2 s}\n"
    (tmp_path / "season.yaml").write_text(bare, encoding="utf-8")
    assert run("new", tmp_path / "robot.yaml", "--tanks", 1).code == 0
    assert run("check", tmp_path / "robot.yaml").code in (0, 1)


def test_a_bad_season_is_named_and_nothing_is_written(tmp_path):
    (tmp_path / "season.yaml").write_text("fieldworthy: season 7\n", encoding="utf-8")
    ended = run("new", tmp_path / "robot.yaml")
    assert ended.code == 2
    assert [(file, line, column) for file, line, column, _ in ended.problems] == [("season.yaml", 1, 14)]
    assert not (tmp_path / "robot.yaml").exists()


@pytest.mark.parametrize(
    ("flags", "option", "says"),
    [
        (["--units", "imperial"], "--units", "expected metric or inch"),
        (["--motor", "smart motor"], "--motor", "expected one of: smart motor, 11 W class, 100 rpm"),
        (["--motor", "9"], "--motor", "expected one of"),
        (["--motors", "0"], "--motors", "a whole number from 1 to 20"),
        (["--wheels", "5"], "--wheels", "an even number"),
        (["--wheels", "2"], "--wheels", "a whole number from 4 to 12"),
        (["--wheel-size", "3,25 in"], "--wheel-size", "did you mean '3.25 in'?"),
        (["--wheel-size", "3"], "--wheel-size", "a length with a unit"),
        (["--wheel-size", "3 kg"], "--wheel-size", "a length with a unit"),
        (["--wheel-size", "1 km"], "--wheel-size", "expected a length from 10 mm to 500 mm"),
        (["--gearing", "48"], "--gearing", "such as 48:60"),
        (["--gearing", "0:60"], "--gearing", "such as 48:60"),
        (["--mass", "-1 kg"], "--mass", "more than 0 kg"),
        (["--mass", "1 kg"], "--mass", "motors, wheels and battery alone"),
        (["--length", "100 mm"], "--length", "do not fit"),
        (["--height", "60 mm"], "--height", "taller than its wheels"),
        (["--tanks", "-1"], "--tanks", "a whole number from 0 to 20"),
        (["--name", ""], "--name", "a name of 1 to 60 letters"),
        (["--name", "a\nb"], "--name", "a name of 1 to 60 letters"),
        (["--season", "../season.yaml"], "--season", "a file in the same folder"),
        (["--season", "season"], "--season", "ends in .yaml"),
        (["--season", "robot.yaml"], "--season", "a file of its own"),
    ],
)
def test_a_bad_flag_is_named_and_nothing_is_written(tmp_path, flags, option, says):
    ended = run("new", tmp_path / "robot.yaml", *flags)
    assert (ended.code, ended.out) == (2, "")
    assert option in ended.err
    assert says in ended.err
    assert list(tmp_path.iterdir()) == []


def test_a_bad_folder(tmp_path):
    ended = run("new", tmp_path / "none" / "robot.yaml")
    assert ended.code == 2
    ((file, line, column, rest),) = ended.problems
    assert (file, line, column) == ("robot.yaml", 1, 1)
    assert rest.startswith("expected an existing folder")


def test_on_a_terminal_it_asks_and_asks_again(tmp_path, monkeypatch):
    answers = iter(
        ["Asked", "inch", "season.yaml", "2", "six", "6", "4", "2,75 in", "4 in", "direct", "18 in", "16 in"]
    )
    rest = iter(["15 in", "20 lb", "1", "5 in", "clmp", "4, two-stage intake", "25 lb", ""])
    asked = []

    def prompt(text, hide_input=False, **_):
        asked.append(text)
        return next(answers, None) or next(rest)

    monkeypatch.setattr("typer._click.termui.visible_prompt_func", prompt)
    monkeypatch.setattr("fieldworthy.cli.reporting._person", lambda: True)
    assert run("new", tmp_path / "robot.yaml").code == 0
    robot = robot_of(tmp_path / "robot.yaml")
    assert len(asked) == 20  # seventeen questions, three of them twice
    assert robot.robot == "Asked"
    assert (robot.drive.motor, robot.drive.motors) == ("smart motor, 11 W class, 200 rpm", 6)
    assert robot.catalogue.wheels["rubber wheel, 4 in"].diameter == pytest.approx(4 * INCH)
    assert sum(p.mass for p in robot.parts.values()) >= 20 * POUND * 0.999  # and what was chosen weighs something
    assert robot.weighed.z == pytest.approx(5 * INCH)
    assert {"clamp", "intake"} <= {type(m).__name__.lower() for m in robot.mechanisms.values()}


def test_what_the_first_verdicts_need_is_asked_for_and_what_is_missing_is_listed(tmp_path):
    file = tmp_path / "robot.yaml"
    known = ["--cg-height", "140 mm", "--has", "clamp, swinging tray", "--most-mass", "9 kg"]
    ended = run("new", file, *known, "--most-size", "480 mm, 460 mm, 450 mm")
    assert (ended.code, ended.err) == (0, "")
    told = re.findall(r"^  - ([\w.]+)", ended.out, re.MULTILINE)
    assert told[:3] == ["mechanisms.clamp", "mechanisms.tray", "parts"]
    assert "season.limits.motor_power" in told
    assert not {"weighed.z", "season.limits.mass", "season.limits.stowed_size"} & set(told)
    found = {f["id"]: f for f in json.loads(run("check", "--json", "--exit-zero", file).out)["findings"]}
    assert found["limits.mass"]["limit"] == pytest.approx(9.0)
    assert {"clamp.entry.clamp", "lift.swing.tray"} <= set(found)
    centre = next(f for f in json.loads(run("check", "--json", "--exit-zero", file).out)["facts"]
                  if f["id"] == "balance.centre_height")  # fmt: skip
    assert "z 140 mm" in centre["because"]


@pytest.mark.parametrize(
    ("flags", "says"),
    [
        (["--has", "clmp"], "did you mean 'clamp'"),
        (["--cg-height", "1 m"], "within the robot"),
        (["--most-size", "480 mm"], "three lengths"),
    ],
)
def test_a_further_answer_that_cannot_be_is_named_and_nothing_is_written(tmp_path, flags, says):
    ended = run("new", tmp_path / "robot.yaml", *flags)
    assert ended.code == 2
    assert says in " ".join(ended.err.split())
    assert list(tmp_path.iterdir()) == []


def test_writing_replaces_whole_and_keeps_the_mode(tmp_path):
    file = tmp_path / "a.yaml"
    write_atomically(file, "one\r\ntwo é\n")
    assert file.read_bytes() == "one\r\ntwo é\n".encode()
    file.chmod(0o640)
    write_atomically(file, "three\n")
    assert file.read_bytes() == b"three\n"
    if os.name == "posix":
        assert stat.S_IMODE(file.stat().st_mode) == 0o640
    link = tmp_path / "link.yaml"
    link.symlink_to(file)
    write_atomically(link, "four\n")
    assert link.is_symlink()
    assert file.read_bytes() == b"four\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.yaml", "link.yaml"]


@pytest.mark.parametrize("step", ["os.fsync", "pathlib.Path.replace"])
def test_a_failure_while_writing_leaves_the_old_text_and_no_litter(tmp_path, monkeypatch, step):
    file = tmp_path / "a.yaml"
    write_atomically(file, "old\n")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(step, full)
    with pytest.raises(BadInput, match=r"cannot be written.*No space left"):
        write_atomically(file, "new\n")
    monkeypatch.undo()
    assert file.read_bytes() == b"old\n"
    assert [p.name for p in tmp_path.iterdir()] == ["a.yaml"]


@pytest.mark.parametrize("name", ["none/a.yaml", ".", "a\0b", "x" * 5000])
def test_where_nothing_can_be_written(tmp_path, name):
    with pytest.raises(BadInput):
        write_atomically(Path(f"{tmp_path}/{name}"), "text")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("inch", ["metric", "inch"])
def test_lift_guide_and_tracking_can_be_uncommented(tmp_path, inch):
    file = tmp_path / "robot.yaml"
    run("new", file, "--tanks", 1, "--units", inch)
    text = file.read_text(encoding="utf-8")
    for first_key in ("#  lift:", "#tracking:"):
        begin = text.index(first_key)
        end = text.index("\n\n", begin)
        block = "\n".join(line.removeprefix("#") for line in text[begin:end].splitlines())
        text = text[:begin] + block + text[end:]
    file.write_text(text, encoding="utf-8")
    ended = run("check", file, "--all")
    assert (ended.code in (0, 1), ended.err) == (True, "")
    assert {"lift", "slide"} <= set(robot_of(file).mechanisms)
    assert robot_of(file).tracking is not None
    assert "lift.swing.lift" in ended.out
    assert "guide.binding.slide" in ended.out
    assert "tracking" in ended.out


def test_a_new_robot_has_nothing_green_that_was_not_judged(tmp_path):
    """The first files set no limit and do not say how the clamp works: nothing about either may hold."""
    file = tmp_path / "robot.yaml"
    assert run("new", file, "--tanks", "2").code == 0
    found = json.loads(run("check", "--json", "--exit-zero", file).out)["findings"]
    verdicts = {f["id"]: f["verdict"] for f in found if f["id"].startswith(("limits.", "clamp.", "mechanism."))}
    assert verdicts == {"limits.unsaid": "unknown", "mechanism.clamp": "unknown"}
    assert "not known" in next(f["because"] for f in found if f["id"] == "air.pressure")
