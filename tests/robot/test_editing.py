"""Changing values in the files of a robot: the right file, the right characters, and nothing else."""

from __future__ import annotations

import csv
import io
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from fieldworthy.files import BadInput, Quantity
from fieldworthy.files.document import KeyPath
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.robot.editing import GONE, edited
from fieldworthy.robot.loading import load_season
from fieldworthy.units import digits, to_unit
from robots import EXAMPLES, example, example_copy

MK1 = EXAMPLES / "mk1.yaml"
SEASON = EXAMPLES / "glasshouse.yaml"
PARTS = EXAMPLES / "mk1_parts.csv"
TODAY = "2026-11-25"


@cache
def loaded() -> Loaded:
    return example()


def _at(data: Any, path: KeyPath) -> Any:
    for key in path:
        data = data.get(key) if isinstance(data, dict) else data[key] if isinstance(data, list) else None
    return data


def _offset(text: str, mark: tuple[int, int]) -> int:
    """Where a line and column, both from 1, stand in a text."""
    return sum(len(line) for line in text.splitlines(keepends=True)[: mark[0] - 1]) + mark[1] - 1


def _written(path: KeyPath, quantity: Quantity, factor: float) -> str:
    value = digits(to_unit(quantity.si * factor, quantity.kind, quantity.unit), 5)
    return value if quantity.unit == "1" else f"{value} {quantity.unit}"


def _in_files() -> list[tuple[Path, KeyPath, KeyPath, Quantity]]:
    """Every quantity that stands in a file: the file, its key path in the robot, that of its number there."""
    found = []
    marks = {MK1: loaded().document, SEASON: load_season(SEASON)[0]}
    for path, quantity in loaded().quantities:
        file = SEASON if path[0] == "season" else MK1
        inner = path[1:] if file == SEASON else path
        if path[0] == "catalogue" or path[:2] in loaded().document.files or quantity.assumed:
            continue
        data = _at(marks[file].data, inner)
        found.append((file, path, (*inner, "value") if isinstance(data, dict) else inner, quantity))
    return found


@pytest.mark.long
@settings(max_examples=15, deadline=None, phases=(Phase.reuse, Phase.generate))  # smaller cases say no more
@given(data=st.data(), factor=st.floats(0.985, 1.015))
def test_only_the_characters_of_the_number_change(data: st.DataObject, factor: float) -> None:
    file, path, inner, quantity = data.draw(st.sampled_from(_in_files()))
    if inner[:2] == ("field", "size"):
        factor = max(factor, 2 - factor)  # places lie at its edge
    new = _written(path, quantity, factor)
    old = loaded().texts[file]
    document = loaded().document if file == MK1 else load_season(file)[0]
    stood = str(_at(document.data, inner))
    at = _offset(old, document.marks[inner])
    assert old[at : at + len(stood)] == stood
    texts = edited(loaded(), {path: new})
    assert texts.get(file, old) == old[:at] + new + old[at + len(stood) :]
    again = dict(load_robot(MK1, None, {**loaded().texts, **texts}).quantities)[path]
    assert again.si == pytest.approx(quantity.si * factor, rel=1e-4, abs=1e-12)


@settings(max_examples=15, deadline=None)
@given(data=st.data(), grams=st.integers(1, 2000))
def test_only_one_cell_of_a_parts_list_changes(data: st.DataObject, grams: int) -> None:
    part = data.draw(st.sampled_from(sorted(str(path[1]) for path in loaded().document.files)))
    old = loaded().texts[PARTS]
    new = edited(loaded(), {("parts", part, "mass"): f"{grams} g"}).get(PARTS, old)
    before, after = (list(csv.reader(io.StringIO(text))) for text in (old, new))
    changed = [(i, j) for i, row in enumerate(before) for j, cell in enumerate(row) if after[i][j] != cell]
    assert changed in ([], [(next(i for i, row in enumerate(before) if row[0] == part), 1)])
    assert [len(row) for row in before] == [len(row) for row in after]
    again = load_robot(MK1, None, {**loaded().texts, PARTS: new})
    assert again.nominal.parts[part].mass == pytest.approx(grams / 1000)


def test_a_measured_value_brings_tolerance_basis_and_date_into_each_kind_of_file() -> None:
    found = {"tolerance": "1 g", "basis": "measured", "date": TODAY}
    grip = ("catalogue", "wheels", "rubber wheel, 2.75 in", "grip")
    texts = edited(
        loaded(),
        {
            ("drive", "friction_torque"): {"value": "0.05 N*m", "tolerance": "0.01 N*m", **_rest(found)},
            ("parts", "left tank", "mass"): {"value": "112 g", **found},
            ("season", "field", "seam_step"): {"value": "1.8 mm", **_rest(found)},
            grip: {"value": 0.93, "tolerance": 0.04, **_rest(found)},
        },
    )
    again = load_robot(MK1, None, {**loaded().texts, **texts})
    values = dict(again.quantities)
    for path, si, tolerance in (
        (("drive", "friction_torque"), 0.05, 0.01),
        (("parts", "left tank", "mass"), 0.112, 0.001),
        (grip, 0.93, 0.04),
    ):
        assert (values[path].si, values[path].tolerance) == pytest.approx((si, tolerance))
        assert (values[path].basis, values[path].date, values[path].assumed) == ("measured", TODAY, False)
    assert values["season", "field", "seam_step"].date == TODAY
    lines = texts[PARTS].splitlines()
    assert lines[0].endswith("rides,count,basis,tolerance,date")
    assert f"left tank,112,-40,100,130,190,45,45,chassis,1,measured,1 g,{TODAY}" in lines
    assert [line for line in lines[1:] if "left tank" not in line] == [
        line for line in loaded().texts[PARTS].splitlines()[1:] if "left tank" not in line
    ]


def _rest(found: dict[str, str]) -> dict[str, str]:
    return {key: value for key, value in found.items() if key != "tolerance"}


def test_a_number_of_a_generic_class_becomes_the_teams_own_entry() -> None:
    name = "rubber wheel, 2.75 in"
    text = edited(loaded(), {("catalogue", "wheels", name, "grip"): 0.9})[MK1]
    assert text.startswith(loaded().texts[MK1])
    own = load_robot(MK1, text).nominal.catalogue.wheels[name]
    generic = loaded().nominal.catalogue.wheels[name]
    assert own.grip == 0.9 != generic.grip
    assert (own.diameter, own.mass, own.side_grip) == (generic.diameter, generic.mass, generic.side_grip)
    once_more = edited(load_robot(MK1, text), {("catalogue", "wheels", name, "grip"): 0.8})[MK1]
    assert once_more == text.replace("grip: {value: 0.9,", "grip: {value: 0.8,")


def test_a_value_that_the_file_does_not_give_is_added_where_it_belongs() -> None:
    old = loaded().texts[MK1]
    text = edited(loaded(), {("drive", "braking"): 0.9, ("balance", "least_tilt"): "10 deg"})[MK1]
    assert text == old.replace("  targets:\n", "  braking: 0.9\n  targets:\n", 1).replace(
        "\nposes:", "\nbalance: {least_tilt: 10 deg}\n\nposes:", 1
    )


def test_what_is_taken_away_is_gone_and_nothing_else() -> None:
    old = loaded().texts[MK1]
    texts = edited(
        loaded(),
        {
            ("drive", "targets", "push_force"): GONE,
            ("air", "tanks", "left", "leak_half_time"): GONE,
            ("plan", "driven", 1, "repeat", 1): GONE,
            ("parts", "radio"): GONE,
        },
    )
    wanted = old.replace("    push_force: 35 N\n", "")
    wanted = wanted.replace('left: {tank: "tank, 200 mL", leak_half_time: 45 min}', 'left: {tank: "tank, 200 mL"}')
    assert texts[MK1] == wanted.replace(
        "- {action: grip planter, at: mid planter}\n        - {action: take pods, at: near pods}\n",
        "- {action: grip planter, at: mid planter}\n",
    )
    assert texts[PARTS] == loaded().texts[PARTS].replace("radio,25,-150,0,190,40,30,15,chassis,1,estimate\n", "")


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (("drive", "motr"), "x", "did you mean 'motor'?"),
        (("air", "tanks", "lft", "leak_half_time"), "40 min", "did you mean 'left'?"),
        (("catalogue", "wheels", "ruber wheel, 2.75 in", "grip"), 0.9, "did you mean 'rubber wheel, 2.75 in'?"),
        (("drive", "targets", "sprint_distance"), "2.5 kg", "expected a length"),
        (("drive", "targets", "sprint_distance", "date"), "25.11.2026", "expected a date such as 2026-11-25"),
        (("rollers", "front left", "clearance", "date"), "2026-02-30", "expected a day that exists"),
        (("drive", "motor", "x"), 3, "expected a mapping of keys here"),
        (("plan", "driven", 9), {"action": "climb", "at": "rafter"}, "expected a place in this list"),
        (("parts", "radio", "colour"), "red", "a parts list has no column for this"),
        (("parts", "radio", "mass"), "heavy", "(found 'heavy')"),
        (("season", "periods", "drivn"), "3 s", "did you mean 'driven'?"),
        (("season", "field", "places", "rafter", 0), "9 m", "expected a place inside the field"),
        (("battery",), "lithium pack, 12.8 V clas, 1.1 Ah", "did you mean 'lithium pack, 12.8 V class, 1.1 Ah'?"),
    ],
)
def test_a_bad_change_is_refused_at_its_place(path: KeyPath, value: Any, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        edited(loaded(), {path: value})
    problem = next(p for p in caught.value.problems if said in str(p))
    assert problem.file in (MK1, SEASON, PARTS)


def test_one_change_inside_another_is_refused() -> None:
    with pytest.raises(BadInput, match="expected one change here"):
        edited(loaded(), {("rollers", "front left"): GONE, ("rollers", "front left", "clearance"): "5 mm"})


def test_what_is_typed_as_a_number_is_one_and_a_name_of_digits_stays_a_name() -> None:
    text = edited(loaded(), {("drive", "braking"): "0.9", ("robot",): "254", ("drive", "motors"): "6"})[MK1]
    assert "braking: 0.9\n" in text
    assert 'robot: "254"\n' in text
    assert load_robot(MK1, text).nominal.drive.motors == 6


def test_nothing_changes_where_the_value_stands_there_already() -> None:
    assert (
        edited(loaded(), {("drive", "targets", "sprint_distance"): "2.4 m", ("parts", "radio", "mass"): "25 g"}) == {}
    )


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_line_ends_stay_as_they_are(tmp_path: Path, line_end: str) -> None:
    file = example_copy(tmp_path)
    for each in tmp_path.iterdir():
        each.write_bytes(each.read_text("utf-8").replace("\n", line_end).encode())
    here = load_robot(file)
    texts = edited(
        here,
        {
            ("drive", "braking"): 0.9,
            ("hours_left",): "12 h",
            ("season", "about"): "Short.",
            ("parts", "radio", "mass", "tolerance"): "2 g",
            ("catalogue", "wheels", "rubber wheel, 2.75 in", "grip"): 0.9,
        },
    )
    assert {path.name for path in texts} == {"mk1.yaml", "glasshouse.yaml", "mk1_parts.csv"}
    for text in texts.values():
        assert text.count("\n") == text.count(line_end)
        assert text.count("\r") == text.count("\r\n")


def test_a_spreadsheet_is_left_to_its_own_program(tmp_path: Path) -> None:
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    for row in csv.reader(io.StringIO(PARTS.read_text("utf-8"))):
        book.active.append(row)
    file = example_copy(tmp_path, ("parts_list: mk1_parts.csv", "parts_list: mk1_parts.xlsx"))
    book.save(tmp_path / "mk1_parts.xlsx")
    with pytest.raises(BadInput, match="this part comes from a spreadsheet"):
        edited(load_robot(file), {("parts", "radio", "mass"): "26 g"})


def test_cells_keep_their_quotes_and_spaces(tmp_path: Path) -> None:
    table = PARTS.read_text("utf-8").replace("radio,25,", '"radio, small", 25 ,')
    file = example_copy(tmp_path)
    (tmp_path / "mk1_parts.csv").write_text(table, "utf-8")
    changes = {
        ("parts", "radio, small", "mass"): "0.026 kg",
        ("parts", "radio, small", "position"): ["1 in", "0", "190 mm"],
    }
    new = edited(load_robot(file), changes)[tmp_path / "mk1_parts.csv"]
    assert new == table.replace('"radio, small", 25 ,-150,0,190', '"radio, small", 0.026 kg ,1 in,0,190')
