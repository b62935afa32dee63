"""Parts from tables that other programs wrote: heads, units, delimiters and decimal commas of their own."""

import io
import tempfile
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from edge import ROBOT, run, written
from fieldworthy.files import BadInput
from fieldworthy.robot import load_robot
from fieldworthy.robot.partstables import flow_in

FULL = """\
Item Name,Qty,Mass (g),Center of Mass X (mm),Center of Mass Y (mm),Center of Mass Z (mm),dx [mm],dy [mm],dz [mm]
frame,1,5100,,,,,,
bracket,2,120.5,10,-20,30,40,50,60
"""


def taken(folder, text: str | bytes, columns=None, name="bom.csv", robot: str = ROBOT):
    file = written(folder, robot)
    table = folder / name
    table.write_bytes(text if isinstance(text, bytes) else text.encode())
    return flow_in(load_robot(file), table, columns or {})


def bracket(inflow):
    part = inflow.parts["bracket"]
    places = [round(q.si, 9) for q in (*part.position, *part.size)]
    return round(part.mass.si, 9), places, part.count


WANTED = (0.1205, [0.01, -0.02, 0.03, 0.04, 0.05, 0.06], 2)


@pytest.mark.parametrize(
    "table",
    [
        FULL.replace("Item Name", "Part"),
        FULL.replace("Item Name", "Component").replace(",", ";").replace("120.5", "120,5"),
        FULL.replace("Item Name", "Name").replace(",", "\t").replace("120.5", "120,5 g"),
        "Project,Glasshouse\n\nexported by hand\n" + FULL.replace("Item Name", "Part Name"),
        FULL.replace("Item Name", "PART_NAME").replace("Mass (g)", "Mass").replace("120.5", "0.1205 kg")
        .replace("5100", "5.1 kg"),
        FULL.replace("Item Name", "part").replace("Mass (g)", "Weight (lb)").replace("5100", "11.2436")
        .replace("120.5", "0.2656570259"),
        FULL.replace("Item Name", "part").encode("utf-16"),
        FULL.replace("Item Name", "part").replace("dz [mm]", "dz [mm],Größe").encode("cp1252"),
        FULL.replace("Item Name", "part").replace(",10,-20,", ",1.0E+01,\u221220,"),
        FULL.replace("Item Name", "part").replace("bracket", "BRACKET") .replace("BRACKET", "bracket"),
    ],
    ids=["comma", "semicolon", "tab", "title rows", "unit in cells", "pounds", "utf-16", "cp1252", "minus", "plain"],
)  # fmt: skip
def test_what_other_programs_write_flows_in(tmp_path, table):
    inflow = taken(tmp_path, table)
    assert bracket(inflow) == WANTED
    frame = inflow.parts["frame"]
    assert frame.mass.si == pytest.approx(5.1, rel=1e-4)
    assert [q.si for q in frame.position] == pytest.approx([0, 0, 0.08])  # kept: the table does not say
    assert inflow.parts["lift"].mass.si == pytest.approx(1.0)  # not in the table: stays
    assert any(line.startswith("frame: mass 5 kg (measured) -> ") for line in inflow.changes)
    assert any(line.startswith("bracket: new, 2 of ") for line in inflow.changes)


def test_thousands_and_decimal_comma(tmp_path):
    head = "Part;Qty;Mass (g);x (mm);y (mm);z (mm);length (mm);width (mm);height (mm)\n"
    for mass in ("1.120,50", "1120,50", "1 120,50", "1'120,5"):
        assert taken(tmp_path, head + f"bracket;1;{mass};1,5;2;3;4;5;6\n").parts["bracket"].mass.si == pytest.approx(
            1.1205
        )
    point = head.replace(";", "\t") + 'bracket\t1\t"1,120.5"\t1.5\t2\t3\t4\t5\t6\n'
    assert taken(tmp_path, point).parts["bracket"].mass.si == pytest.approx(1.1205)


def test_a_comma_that_may_be_either_is_refused_at_its_cell(tmp_path):
    with pytest.raises(BadInput) as caught:
        taken(tmp_path, "Part;Mass (g)\nframe;5,100\n")
    (problem,) = caught.value.problems
    assert (problem.line, problem.column) == (2, 2)
    assert "may be thousands or a decimal comma" in str(problem)


def test_columns_are_told_and_axes_turned(tmp_path):
    table = "No,What,M [g],Fwd [mm],Right [mm],Up [mm],L [mm],W [mm],H [mm]\n1,bracket,120.5,10,20,30,40,50,60\n"
    columns = {
        "part": "What", "mass": "M [g]", "x": "fwd [mm]", "y": "-Right [mm]", "z": "Up [mm]", "length": "L [mm]",
        "width": "W [mm]", "height": "H [mm]",
    }  # fmt: skip
    mass, places, count = bracket(taken(tmp_path, table, columns))
    assert (mass, places, count) == (0.1205, WANTED[1], 1)


def test_a_spreadsheet_from_elsewhere(tmp_path):
    book = openpyxl.Workbook()
    for line in ("title\n" + FULL.replace("Item Name", "part")).splitlines():
        book.active.append([float(c) if c.replace(".", "").replace("-", "").isdigit() else c for c in line.split(",")])
    out = io.BytesIO()
    book.save(out)
    assert bracket(taken(tmp_path, out.getvalue(), name="bom.xlsx")) == WANTED


BAD = [
    ("Part,Mass (g)\nframe,heavy\n", 2, 2, "expected a number with a unit (found 'heavy')"),
    ("Part,Mass (g)\nframe,-5\n", 2, 2, "expected more than 0 g"),
    ("Part,Mass\nframe,5\n", 2, 2, "expected a mass with a unit"),
    ("Part,Mass (furlong)\nframe,5\n", 2, 2, "expected a mass"),
    ("Part,Mass (g)\nframe,5\nFrame,6\n", 3, 1, "'frame' stands in row 2 too"),
    ("Part,Mass (g)\nbolt,5\n", 2, 1, "parts.bolt.position[0]"),
    ("Part,Mass (g)\n???,5\n", 2, 1, "expected a name"),
    ("Part,Qty,Mass (g)\nframe,1.5,5\n", 2, 2, "expected a whole number"),
    ("a,b\n1,2\n", 1, 1, "say which is which with --columns"),
    ("", 1, 1, "say which is which with --columns"),
    ('Part,Mass (g)\n"frame,5\n', 2, 1, "a quote is not closed"),
]


@pytest.mark.parametrize(("table", "line", "column", "says"), BAD, ids=[b[0][-14:] for b in BAD])
def test_bad_rows_are_named_and_nothing_is_taken_in(tmp_path, table, line, column, says):
    robot = written(tmp_path, ROBOT)
    (tmp_path / "bom.csv").write_text(table, "utf-8")
    out = tmp_path / "new.csv"
    done = run("parts", robot, "--from", tmp_path / "bom.csv", "-o", out)
    assert done.code == 2
    assert ("bom.csv", line, column) in [(f, li, c) for f, li, c, rest in done.problems if says in rest], done.err
    assert not out.exists()


def test_one_bad_row_among_good_ones_stops_everything(tmp_path):
    robot = written(tmp_path, ROBOT)
    (tmp_path / "bom.csv").write_text("Part,Mass (g)\nframe,5100\nlift,oops\n", "utf-8")
    own = (tmp_path / "parts.csv").read_bytes()
    assert run("parts", robot, "--from", tmp_path / "bom.csv", "-o", tmp_path / "parts.csv").code == 2
    assert (tmp_path / "parts.csv").read_bytes() == own


@pytest.mark.parametrize("given_", ["mass", "=x", "mass="])
def test_a_mapping_is_written_as_ours_and_theirs(tmp_path, given_):
    (tmp_path / "bom.csv").write_text(FULL, "utf-8")
    robot = written(tmp_path, ROBOT)
    done = run("parts", robot, "--from", tmp_path / "bom.csv", "--columns", given_)
    assert done.code == 2
    assert "Traceback" not in done.err


def test_a_mapping_that_fits_nothing_names_the_nearest(tmp_path):
    with pytest.raises(BadInput, match=r"did you mean 'Mass \(g\)'\?"):
        taken(tmp_path, FULL.replace("Item Name", "part"), {"mass": "Mass g"})
    with pytest.raises(BadInput, match="did you mean 'mass'"):
        taken(tmp_path, FULL.replace("Item Name", "part"), {"mas": "Mass (g)"})


def test_the_command_takes_in_and_writes(tmp_path):
    robot = written(tmp_path, ROBOT)
    (tmp_path / "bom.csv").write_text(FULL, "utf-8")
    done = run("parts", robot, "--from", tmp_path / "bom.csv", "--columns", "part=Item Name", "-o", tmp_path / "p.csv")
    assert done.code == 0
    assert "frame: mass 5 kg (measured) -> 5100 g (estimate)\n" in done.out
    text = (tmp_path / "p.csv").read_text("utf-8")
    assert "bracket,120.5,10,-20,30,40,50,60,chassis,2,estimate," in text
    printed = run("parts", robot, "--from", tmp_path / "bom.csv", "--columns", "part=Item Name")
    assert printed.out == text  # what is told goes to stderr, so that the table can be piped
    assert "bracket: new" in printed.err


def test_writing_over_the_robots_own_list(tmp_path):
    listed = ROBOT.replace("robot: Small", "robot: Small\nparts_list: parts.csv")
    robot = written(tmp_path, listed)
    (tmp_path / "bom.csv").write_text("Part,Mass (g)\nrail,300\nframe,4900\n", "utf-8")
    done = run("parts", robot, "--from", tmp_path / "bom.csv", "-o", tmp_path / "parts.csv")
    assert done.code == 0
    assert "change it there: frame" in done.out  # what the robot file itself describes is not written twice
    parts = load_robot(robot).robot.parts
    assert parts["rail"].mass.si == pytest.approx(0.3)
    assert parts["frame"].mass.si == pytest.approx(5.0)


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(
    st.one_of(
        st.binary(max_size=200),
        st.text(max_size=200).map(lambda t: t.encode("utf-8", "replace")),
        st.lists(
            st.lists(st.sampled_from(["frame", "lift", "x", "5", "1,5", "1.5 kg", "", '"', "=1", "-", "9" * 70, "1e999",
                                      "nan", "−3"]), min_size=1, max_size=5),
            max_size=6,
        ).map(lambda rows: ("Part;Mass (g);x (mm);Qty\n" + "\n".join(";".join(r) for r in rows)).encode()),
    )
)  # fmt: skip
def test_whatever_stands_in_a_table_is_taken_or_refused_in_words(raw):
    with tempfile.TemporaryDirectory() as folder:
        loaded = load_robot(written(Path(folder), ROBOT))
        table = Path(folder) / "bom.csv"
        table.write_bytes(raw)
        names, problems = taken_or_refused(loaded, table)
    assert problems or names >= set(loaded.robot.parts)
    assert all(p.line >= 1 and p.column >= 1 and str(p).isprintable() for p in problems)


def taken_or_refused(loaded, table):
    try:
        return set(flow_in(loaded, table, {}).parts), ()
    except BadInput as error:
        return set(), error.problems
