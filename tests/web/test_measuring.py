"""Behind the measurements view: forms, what typing makes of the file, tables looked at row by row, values taken."""

from __future__ import annotations

import contextlib
import shutil
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldworthy.files.document import BadInput, read_text
from fieldworthy.files.writing import GONE
from fieldworthy.measure import load_measurements
from fieldworthy.measure.sheets import sheets
from fieldworthy.robot import load_robot
from fieldworthy.web.folder import Folder
from fieldworthy.web.judging import Source, edit
from fieldworthy.web.procedures import Group, Typed, blanks, changes, entered, form, rows
from fieldworthy.web.readings import Readings, begin, belonging, guessed, head_of, looked_at, place
from fieldworthy.web.runs import changed_words, fitted, taken, told
from robots import EXAMPLES

DAY = date(2026, 11, 25)
PARTS = ("scales", "tilt", "odometry", "cycles:clamp alone", "leaks:left", "drive", "frames:hooks up",
         "samples:sorter", "practice:climb")  # fmt: skip


@pytest.fixture
def team(tmp_path):
    """The example in a folder of its own."""
    folder = tmp_path / "team"
    shutil.copytree(EXAMPLES, folder)
    return folder


def source_of(folder: Path) -> Source:
    robot = folder / "mk1.yaml"
    return Source(robot, ((robot, read_text(robot)),))


def readings_of(folder: Path) -> Readings:
    return Readings.read(folder / "mk1_measurements.yaml")


def enter(folder, part, texts, base=None, more=()):
    return entered(source_of(folder), readings_of(folder), Typed(part, tuple(texts.items()), more), base)


def lines_changed(before: str, after: str) -> tuple[list[str], list[str]]:
    old, new = before.splitlines(), after.splitlines()
    return [line for line in old if line not in new], [line for line in new if line not in old]


@pytest.mark.parametrize("part", PARTS)
def test_a_form_shows_what_the_file_says_and_typing_nothing_changes_nothing(team, part):
    made = form(source_of(team), readings_of(team), Typed(part), DAY)
    assert made.group.there
    assert made.said
    assert changes(made.group, made.said) == ({}, {})
    with pytest.raises(BadInput, match="nothing is new here"):
        enter(team, part, made.said)


@pytest.mark.parametrize("part", [part for part in PARTS if part != "samples:sorter"])  # its readings are in tables
def test_each_number_of_the_file_stands_in_a_blank_and_can_be_typed_anew(team, part):
    made = form(source_of(team), readings_of(team), Typed(part), DAY)
    numbers = [b for b in blanks(made.group) if b.sort in ("quantity", "number", "whole") and b.value]
    before = readings_of(team).text
    assert numbers
    for blank in numbers[:4]:
        typed = str(float(blank.value) * 1.001) if blank.sort == "quantity" else str(int(blank.value))
        if typed == blank.value or float(blank.value) == 0.0:  # a thousandth more of nothing is no change
            continue
        after = enter(team, part, {blank.key: typed}).text
        _, new = lines_changed(before, after)
        assert len(new) == 1
        assert len(after.splitlines()) == len(before.splitlines())
        assert f"{typed} {blank.unit}".strip() in new[0]


def test_every_sheet_belongs_to_a_procedure_that_has_a_form(team):
    listed = rows(source_of(team), readings_of(team))
    assert {row.section for row in listed} == set(sheets())
    for row in listed:
        made = form(source_of(team), readings_of(team), Typed(row.part), DAY)
        assert made.group.there == row.there
        assert any(True for _ in blanks(made.group))


def test_a_sheets_blanks_are_in_the_form(team):
    """What is printed to be filled in on paper can be filled in here too."""
    assert PARTS
    for part in PARTS:
        section = part.partition(":")[0]
        made = form(source_of(team), readings_of(team), Typed(part), DAY)
        have = list(_paths(made.group))
        for table in sheets()[section].tables:
            for blank in table.columns:
                steps = blank.key.replace("[]", ".[]").split(".")
                assert any(_is_at(steps, path) for path in have), (part, blank.key)


def _paths(group):
    for item in group.items:
        yield item.path
        if isinstance(item, Group):
            yield from _paths(item)


def _is_at(steps, path):
    """Whether a sheet's key means this path; lists that are empty have no rows in the form until one is added."""
    ahead = steps[: len(path)]
    fits = all(s.startswith("<") or s == ("[]" if isinstance(k, int) else k) for s, k in zip(ahead, path, strict=False))
    return fits and (len(path) == len(steps) or (len(path) < len(steps) and steps[len(path)] == "[]"))


def test_a_new_procedure_is_written_in_the_order_of_its_declaration(team):
    texts = {
        "cycles.tray.date": "2026-11-25", "cycles.tray.cylinder": "tray", "cycles.tray.runs[2].cycles": "5",
        "cycles.tray.runs[2].before": "6.9", "cycles.tray.runs[2].after": "4.9",
    }  # fmt: skip
    before, after = readings_of(team).text, enter(team, "cycles:+tray", texts).text
    assert lines_changed(before, after)[0] == []
    (team / "mk1_measurements.yaml").write_text(after, "utf-8")
    run = load_measurements(team / "mk1_measurements.yaml").readings.cycles["tray"].runs[0]
    assert (run.cycles, float(run.before)) == (5, pytest.approx(6.9e5, rel=1e-6))


def test_a_mistake_in_a_row_below_an_empty_one_is_said_in_the_forms_row(team):
    texts = {"cycles.tray.cylinder": "tray", "cycles.tray.runs[2].before": "full", "cycles.tray.runs[2].after": "71",
             "cycles.tray.runs[2].cycles": "5"}  # fmt: skip
    with pytest.raises(BadInput) as error:
        enter(team, "cycles:+tray", texts)
    assert [p.key for p in error.value.problems] == [("cycles", "tray", "runs", 2, "before")]


def test_an_emptied_row_goes_and_the_others_stay(team):
    gone = {"leaks.left.readings[1].time": "", "leaks.left.readings[1].pressure": ""}
    before = readings_of(team).text
    old, new = lines_changed(before, enter(team, "leaks:left", gone).text)
    assert (len(old), new) == (1, [])
    made = form(source_of(team), readings_of(team), Typed("leaks:left"), DAY)
    assert changes(made.group, gone)[0] == {("leaks", "left", "readings", 1): GONE}


def test_readings_that_others_have_changed_meanwhile_are_shown_and_not_written(team):
    key = "tilt.angles.forward[0]"
    said = form(source_of(team), readings_of(team), Typed("tilt"), DAY).said
    base = tuple((said | {key: "40"}).items())
    found = enter(team, "tilt", {key: "43"}, base)
    assert found.text == ""
    assert found.clash == ((key, "40", said[key]),)
    assert enter(team, "tilt", {key: "43"}, tuple(said.items())).text != ""


def test_a_file_that_was_wrong_elsewhere_takes_readings_still(team):
    file = team / "mk1_measurements.yaml"
    file.write_text(read_text(file).replace("cylinder: clamp", "cylinder: clamps", 1), "utf-8")
    assert "43 deg" in enter(team, "tilt", {"tilt.angles.forward[0]": "43"}).text


def test_nothing_is_written_over_another_text_than_the_one_that_was_read(team):
    readings = readings_of(team)
    readings.file.write_text(readings.text + "# another's\n", "utf-8")
    with pytest.raises(BadInput, match="has changed since it was read"):
        readings.put("fieldworthy: measurements 1\nrobot: mk1.yaml\n")
    assert read_text(readings.file).endswith("# another's\n")


def test_only_files_that_name_the_robot_belong_to_it(team):
    folder = Folder.at(team)
    other = team / "mk2_notes.yaml"
    other.write_text("fieldworthy: measurements 1\nrobot: mk2.yaml\n", "utf-8")
    (team / "mk1_measurements.2026-11-20.yaml").write_bytes((team / "mk1_measurements.yaml").read_bytes())
    assert belonging(folder, team / "mk1.yaml") == ("mk1_measurements.yaml",)
    assert belonging(folder, team / "mk2.yaml") == ("mk2_notes.yaml",)
    other.unlink()
    made = begin(team / "mk2.yaml", "Heron\nmk2: #2", DAY)
    assert belonging(folder, team / "mk2.yaml") == (made.name,)
    assert load_measurements(made).readings.scales is None
    assert "begun on 2026-11-25" in read_text(made)
    assert begin(team / "mk2.yaml", "Heron", DAY).name == "mk2_measurements_2.yaml"


@pytest.mark.parametrize(
    ("section", "head", "found"),
    [
        ("drive", ("t [ms]", "Pos [mm]", "velocity"), {"time": "t [ms]", "position": "Pos [mm]", "speed": "velocity"}),
        ("frames", ("Time", "arm angle [deg]"), {"time": "Time", "angle": "arm angle [deg]"}),
        ("samples", ("object", "Hue", "value"), {"class": "object", "hue": "Hue", "brightness": "value"}),
        ("drive", ("a", "b"), {}),
    ],
)
def test_columns_are_recognised_by_what_programs_call_them(section, head, found):
    assert guessed(section, head) == found


def test_a_tables_names_are_found_under_any_delimiter():
    for mark in (",", ";", "\t", "|"):
        assert head_of(f"# a log\n\nt [s]{mark}pos [m]\n0{mark}1\n") == ("t [s]", "pos [m]")
    assert head_of("1,2\n3,4\n") == ()


def test_every_odd_row_of_a_table_is_told():
    times = [0.02 * i for i in range(60) if not 40 < i < 46]
    text = "\n".join(["t [s],pos [m]", *(f"{t:.2f},{t**2:.4f}" for t in times), "x,1", ""])
    found = looked_at("frames", "run.csv", text.encode(), ())
    assert found.rows == len(times)
    assert "55 rows can be used over 1.18 s: time from 't [s]', position from 'pos [m]'." in found.told[0]
    assert "Line 43: 0.12 s missing before it, 0.02 s are usual." in found.told
    assert "Line 57: expected a number for time, found 'x'; left out." in found.told


@given(st.binary(max_size=300) | st.text('tpos,;0123456789.\n" []', max_size=300).map(str.encode))
@settings(max_examples=300, deadline=None)
def test_any_bytes_are_a_table_or_are_refused(content):
    for section in ("drive", "frames", "samples"):
        with contextlib.suppress(BadInput):
            assert looked_at(section, "any.csv", content, ()).rows > 1


def test_an_old_table_is_kept_under_its_date(tmp_path):
    target = tmp_path / "run.csv"
    assert place(target, "t,x\n", DAY) == ()
    assert place(target, "t,y\n", DAY) == ("run.2026-11-25.csv",)
    assert (tmp_path / "run.2026-11-25.csv").read_text("utf-8") == "t,x\n"


def test_one_procedure_tells_what_a_person_adds_up_by_hand(team):
    # 2.522 + 2.631 + 1.897 + 1.666 = 8.716, and likewise 8.717 and 8.720: 8.7177 kg in the mean of the three
    card = told(source_of(team), readings_of(team), "scales", "file")
    assert card.told[0].startswith("Mass of the whole robot: 8.7177 ± 0.009")  # what the file believes adds a little
    assert told(source_of(team), readings_of(team), "scales", "inch").told[0].endswith(" lb")


def test_only_what_was_chosen_is_taken_into_the_robot(team):
    source, readings = source_of(team), readings_of(team)
    shown = fitted(source, readings, "file")
    found = taken(source, readings, shown.report.procedures, ("weighed.mass", "tracking.wheels.ahead.diameter"), DAY)
    keys = {path for path, _ in found}
    assert keys >= {("weighed", "mass"), ("tracking", "wheels", "ahead", "diameter")}
    assert not keys & {("weighed", "x"), ("weighed", "z"), ("tracking", "wheels", "ahead", "offset")}
    words = changed_words(source, found)
    assert words[0].startswith("weighed.mass: 8.71")
    assert "(measured, 2026-11-20), was not in the file" in words[0]
    texts = dict(edit(source, found))
    (team / "mk1.yaml").write_text(texts[team / "mk1.yaml"], "utf-8")
    mass = dict(load_robot(team / "mk1.yaml").quantities)["weighed", "mass"]
    assert (mass.basis, mass.date, round(mass.si, 2)) == ("measured", "2026-11-20", 8.72)


def test_all_that_was_measured_can_be_taken_at_once(team):
    source, readings = source_of(team), readings_of(team)
    shown = fitted(source, readings, "file")
    found = taken(source, readings, shown.report.procedures, tuple(item.key for item in shown.held), DAY)
    assert dict(edit(source, found))


def test_findings_are_told_in_the_persons_units(team):
    shown = fitted(source_of(team), readings_of(team), "inch")
    mass = next(item for item in shown.report.touched if item.id == "limits.mass")
    assert mass.unit == "lb"
    # 8.7177 kg are 19.219 lb, at 0.45359237 kg a pound
    assert mass.after == pytest.approx(8.7177 / 0.45359237, abs=0.02)
    assert next(item for item in shown.held if item.key == "weighed.mass").unit == "lb"
