"""Parts lists as spreadsheets: read as CSV is, bounded, never reckoned; written so that they read back the same."""

import io
import json
import math
import tempfile
import zipfile
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from edge import PARTS, ROBOT, changed, run, written
from fieldworthy.files import BadInput
from fieldworthy.robot.partslist import COLUMNS, csv_text, sheet_bytes, sheet_lines
from robots import EXAMPLES, example_copy

LISTED = changed("robot: Small", "robot: Small\nparts_list: parts.xlsx")
HEAD, *ROWS = [line.split(",") for line in PARTS.splitlines()]


def sheet(rows, *extra) -> bytes:
    """A workbook as a person's spreadsheet program writes it: numbers are numbers."""
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append([number(cell) for cell in row])
    for change in extra:
        change(book)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def number(cell):
    try:
        return float(cell) if "." in cell else int(cell)
    except (ValueError, TypeError):
        return cell


def put(folder, raw: bytes, robot: str = LISTED):
    file = written(folder, robot)
    (folder / "parts.xlsx").write_bytes(raw)
    return file


def test_a_spreadsheet_is_read_as_the_same_csv(tmp_path):
    listed_csv = changed("robot: Small", "robot: Small\nparts_list: parts.csv")
    plain = run("check", "--json", "--exit-zero", written(tmp_path, listed_csv)).out
    assert run("check", "--json", "--exit-zero", put(tmp_path, sheet([HEAD, *ROWS]))).out == plain
    (mass,) = [f for f in json.loads(plain)["findings"] if f["id"] == "limits.mass"]
    assert mass["value"] * {"g": 0.001, "kg": 1.0}[mass["unit"]] == pytest.approx(5 + 1 + 2 * 0.31 + 0.11)


def row(at: int, column: int, value) -> list[list]:
    rows = [list(HEAD), *([*r] for r in ROWS)]
    rows[at - 1][column - 1] = value
    return rows


BAD = [
    (2, 2, -310, "expected more than 0 g (found -310 g)"),
    (3, 2, None, "parts.brace.mass.value: expected a number with a unit"),
    (3, 4, "sixty", "expected a number with a unit (found 'sixty')"),
    (3, 10, 1.5, "expected a whole number"),
    (3, 11, "gues", "expected one of measured, datasheet, estimate"),
    (3, 1, "rail", "'rail' stands twice"),
    (3, 2, True, "expected a number with a unit"),
    (1, 7, "widht [mm]", "did you mean 'width'?"),
    (3, 1, "=1+1", "expected a name"),
]


@pytest.mark.parametrize(("at", "column", "value", "says"), BAD)
def test_bad_cells_are_named_by_row_and_column(tmp_path, at, column, value, says):
    done = run("check", put(tmp_path, sheet(row(at, column, value))))
    assert done.code == 2
    if value == "=1+1":  # a formula that no program has reckoned yet is an empty cell
        says = "expected the part's name"
    assert ("parts.xlsx", at, column) in [(f, li, c) for f, li, c, rest in done.problems if says in rest]


def test_formulas_are_not_reckoned_and_stored_results_are_taken(tmp_path):
    """The mass is a formula: the result that its program stored counts, whatever the formula says."""
    raw = sheet(row(2, 2, "=HYPERLINK(1)"))
    unstored = run("check", put(tmp_path, raw))
    assert unstored.code == 2
    assert [(li, c) for _, li, c, _ in unstored.problems] == [(2, 2)]
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            text = old.read(name)
            if name.endswith("sheet1.xml"):
                assert b"<f>HYPERLINK(1)</f><v></v>" in text or b"<f>HYPERLINK(1)</f><v/>" in text or b"<v />" in text
                for empty in (b"<v></v>", b"<v />", b"<v/>"):
                    text = text.replace(b"<f>HYPERLINK(1)</f>" + empty, b"<f>HYPERLINK(1)</f><v>310</v>")
            new.writestr(name, text)
    assert run("check", put(tmp_path, out.getvalue())).code in (0, 1)


def bomb(size: int) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(sheet([HEAD, *ROWS]))) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name), zipfile.ZIP_DEFLATED)
        new.writestr("xl/media/image1.png", b"\0" * size, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def entities() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(sheet([HEAD, *ROWS]))) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            text = old.read(name)
            if name.endswith("sheet1.xml"):
                start = text.index(b"<worksheet")
                text = text[:start] + b'<!DOCTYPE w [<!ENTITY a "aaaaaaaaaa">]>' + text[start:]
            new.writestr(name, text)
    return out.getvalue()


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"", "expected a spreadsheet"),
        (b"part,mass\n", "expected a spreadsheet"),
        (b"PK\x03\x04" + b"\0" * 200, "expected a spreadsheet"),
        (bomb(40_000_000), "unpacks to far more"),
        (entities(), "expected a spreadsheet"),
        (sheet([HEAD, *ROWS, *([[f"p{i}", 1] for i in range(5100)])]), "expected at most 5000 rows"),
        (sheet([[*HEAD, *([None] * 100), "far"], *ROWS]), "expected at most 100 columns"),
        (sheet([]), "expected a first row"),
        (b"\0" * 3_000_000, "expected a file of at most"),
    ],
    ids=["empty", "csv", "broken", "bomb", "entities", "long", "wide", "no rows", "large"],
)  # fmt: skip
def test_what_is_no_parts_list_is_refused(tmp_path, raw, says):
    done = run("check", put(tmp_path, raw))
    assert done.code == 2
    assert any(says in rest for *_, rest in done.problems), done.err


def test_a_missing_sheet_is_said_with_the_nearest_name(tmp_path):
    put(tmp_path, sheet([HEAD, *ROWS]))
    file = written(tmp_path, changed("robot: Small", "robot: Small\nparts_list: part.xlsx"))
    assert "did you mean 'parts.xlsx'?" in run("check", file).err


CELLS = st.one_of(
    st.none(), st.booleans(), st.integers(-(10**12), 10**12), st.floats(-1e300, 1e300),
    st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=20),
    st.sampled_from(["=1+1", "+1", "#REF!", "@x"]),
)  # fmt: skip


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.lists(CELLS, min_size=1, max_size=8), min_size=1, max_size=6))
def test_whatever_stands_in_cells_is_written_as_it_is_and_read_back(rows):
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "t.xlsx"
        file.write_bytes(sheet_bytes({"parts": rows}))
        book = openpyxl.load_workbook(file)  # a program that does reckon: nothing in it may be a formula
        assert not [c for r in book["parts"].iter_rows() for c in r if c.data_type == "f"]
        read = [cells for _, cells in sheet_lines(file)]
    for given_row, found in zip(rows, read, strict=False):
        for cell, text in zip(given_row, found, strict=False):
            if isinstance(cell, str):
                assert text == cell or not cell.strip()
            elif isinstance(cell, bool):
                assert text == str(cell).lower()
            elif cell is not None:
                assert math.isclose(float(text), cell, rel_tol=1e-9, abs_tol=1e-300)


SOUND = sheet([HEAD, *ROWS])


def read_or_refused(file: Path) -> list[str]:
    """Every cell, or what is said instead."""
    try:
        return [cell for _, cells in sheet_lines(file) for cell in cells]
    except BadInput as error:
        return [str(p) for p in error.problems]


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_a_broken_spreadsheet_is_read_or_refused_in_words(data):
    raw = bytearray(SOUND)
    for _ in range(data.draw(st.integers(1, 8))):
        raw[data.draw(st.integers(0, len(raw) - 1))] = data.draw(st.integers(0, 255))
    raw = raw[: data.draw(st.integers(len(raw) // 2, len(raw)))]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "t.xlsx"
        file.write_bytes(bytes(raw))
        assert all(isinstance(text, str) for text in read_or_refused(file))


@pytest.mark.parametrize("name", ["list.csv", "list.xlsx"])
def test_round_trip_of_the_example(tmp_path, name):
    robot = example_copy(tmp_path)
    before = run("check", "--json", "--exit-zero", robot).out
    done = run("parts", robot, "-o", tmp_path / name)
    assert (done.code, done.out.splitlines()[0]) == (0, f"wrote 37 parts to {tmp_path / name}")
    robot.write_text(robot.read_text("utf-8").replace("mk1_parts.csv", name), "utf-8")
    assert run("check", "--json", "--exit-zero", robot).out == before
    again = tmp_path / f"again{name[-4:]}" if name.endswith(".csv") else tmp_path / "again.xlsx"
    assert run("parts", robot, "-o", again).code == 0
    first, second = (csv_text(lines_of(f)) for f in (tmp_path / name, again))
    assert first == second


def lines_of(file: Path) -> list[list[str]]:
    if file.suffix == ".xlsx":
        return [cells for _, cells in sheet_lines(file)]
    return [line.split(",") for line in file.read_text("utf-8").splitlines()]


def test_own_tolerances_and_parts_of_the_robot_file_survive(tmp_path):
    robot = written(tmp_path, ROBOT)
    before = run("check", "--json", "--exit-zero", robot).out
    assert run("parts", robot, "-o", tmp_path / "p.csv").code == 0
    text = (tmp_path / "p.csv").read_text("utf-8")
    assert "frame,5,0,0,80,400,380,100,chassis,1,measured,0.05" in text
    start, end = ROBOT.index("parts:\n"), ROBOT.index("poses:\n")
    moved = ROBOT[:start] + "parts_list: p.csv\n" + ROBOT[end:]
    after = json.loads(run("check", "--json", "--exit-zero", written(tmp_path, moved)).out)
    assert after["findings"] == json.loads(before)["findings"]


def test_totals_by_hand(tmp_path):
    """Two boxes: 5 kg at 80 mm and 1 kg at 200 mm height: 6 kg at (5 * 80 + 200) / 6 = 100 mm."""
    robot = written(tmp_path, ROBOT)
    printed = run("parts", robot).out.splitlines()
    assert printed[-4:] == [
        "# mass of all parts,6,kg", '"# centre of gravity, x",0,mm', '"# centre of gravity, y",0,mm',
        '"# centre of gravity, z",100,mm',
    ]  # fmt: skip
    assert run("parts", robot, "-o", tmp_path / "p.xlsx").code == 0
    totals = openpyxl.load_workbook(tmp_path / "p.xlsx")["totals"]
    assert [[c.value for c in r] for r in totals.iter_rows(min_row=2, max_row=2)] == [["mass of all parts", 6, "kg"]]


def test_a_file_of_another_kind_is_refused(tmp_path):
    assert run("parts", EXAMPLES / "mk1.yaml", "-o", tmp_path / "p.pdf").code == 2
    assert not (tmp_path / "p.pdf").exists()


def test_every_column_is_known():
    assert set(COLUMNS) >= {h.partition(" [")[0] for h in HEAD}
