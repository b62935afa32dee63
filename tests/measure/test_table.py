"""Tables of readings: delimiters, decimal commas, units, and every doubtful row named by its line."""

from __future__ import annotations

import csv
import io
import string

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldworthy.files import BadInput
from fieldworthy.measure.model import Column
from fieldworthy.measure.table import Source, Wanted, read_table

WANTED = {
    "time": Wanted("time", 0.5, 600.0, rises=True),
    "position": Wanted("length", 0.05, 20.0),
    "speed": Wanted("speed", 0.05, 8.0, needed=False),
}
COLUMNS = {"time": Column(column="t", unit="ms"), "position": Column(column="pos", unit="mm")}
ROWS = [(100 * i, 7 * i * i) for i in range(20)]


def table(rows=ROWS, delimiter=",", head=("t", "pos"), point="."):
    cells = [[str(c).replace(".", point) for c in row] for row in rows]
    return "\n".join(delimiter.join(row) for row in [list(head), *cells]) + "\n"


def read(tmp_path, text, columns=COLUMNS, wanted=WANTED):
    file = tmp_path / "run.csv"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_table(Source(file, columns), wanted)


def refused(tmp_path, text, columns=COLUMNS, wanted=WANTED):
    with pytest.raises(BadInput) as found:
        read(tmp_path, text, columns, wanted)
    return found.value.problems


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|", " "])
def test_any_delimiter(tmp_path, delimiter):
    found = read(tmp_path, table(delimiter=delimiter))
    assert found.numbers["time"] == pytest.approx([0.1 * i for i in range(20)])
    assert found.numbers["position"] == pytest.approx([0.007 * i * i for i in range(20)])
    assert found.lines.tolist() == list(range(2, 22))
    assert found.remarks == ()


def test_decimal_commas_are_understood(tmp_path):
    rows = [(100 * i, f"{7.25 * i:.2f}") for i in range(20)]
    found = read(tmp_path, table(rows, ";", point=","))
    assert found.numbers["position"][3] == pytest.approx(0.02175)


def test_a_decimal_comma_between_commas_is_refused(tmp_path):
    """'0,1,2,5' cannot be told from four cells: the head has two, and no row is read as something it may not be."""
    rows = [(f"{i},5", f"{7 * i},25") for i in range(20)]
    columns = {"time": Column(column="t", unit="s"), "position": Column(column="pos", unit="mm")}
    assert "decimal comma" in str(refused(tmp_path, table(rows), columns)[0])


def test_units_in_the_head_count_unless_the_mapping_says_otherwise(tmp_path):
    columns = {"time": Column(column="T", unit=""), "position": Column(column="Pos [in]", unit="")}
    found = read(tmp_path, table(head=("t [ms]", "pos [in]"), rows=[(100 * i, i) for i in range(20)]), columns)
    assert found.numbers["position"][-1] == pytest.approx(19 * 0.0254)
    assert found.numbers["time"][-1] == pytest.approx(1.9)


def test_lines_above_the_head_and_comments_are_passed_over(tmp_path):
    found = read(tmp_path, "# log of the robot\nstarted,11:20\n\n" + table())
    assert found.lines[0] == 5
    assert found.numbers["time"].size == 20


def test_gaps_and_text_are_left_out_and_named_by_line(tmp_path):
    rows = [list(r) for r in ROWS]
    rows[4][1], rows[9][1] = "", "stuck!"
    found = read(tmp_path, table(rows))
    assert [str(r) for r in found.remarks] == [
        "line 6: no position; left out",
        "line 11: expected a number for position, found 'stuck!'; left out",
    ]
    assert found.numbers["time"].size == 18


@pytest.mark.parametrize("slip", ["1e7", "-3e5", "1e12"])
def test_a_number_that_no_sensor_gives_is_left_out_and_named_by_line(tmp_path, slip):
    """One slip of a key among 120 rows: beyond ten times the 20 m that the column may have; 190 m stays doubtful."""
    rows: list[tuple[object, object]] = [(100 * i, 7 * i) for i in range(120)]
    rows[60], rows[70] = (6000, slip), (7000, 190000)
    found = read(tmp_path, table(rows))
    assert [str(remark) for remark in found.remarks] == ["line 62: position is beyond 200 m; left out"]
    assert found.lines.tolist() == [line for line in range(2, 122) if line != 62]


def test_repeated_and_unordered_times(tmp_path):
    rows = [list(r) for r in ROWS]
    rows[6][0] = rows[5][0]
    rows[10], rows[11] = rows[11], rows[10]
    found = read(tmp_path, table(rows))
    said = [str(r) for r in found.remarks]
    assert "line 13: time runs back here; rows put in order" in said
    assert "line 8: the same time as an earlier row; left out" in said
    assert np.all(np.diff(found.numbers["time"]) > 0)
    assert found.numbers["time"].size == 19


def test_a_hole_in_time_is_named(tmp_path):
    found = read(tmp_path, table([(t if i < 12 else t + 2000, p) for i, (t, p) in enumerate(ROWS)]))
    assert [str(r) for r in found.remarks] == ["line 14: 2.1 s missing before it, 0.1 s are usual"]


def test_several_runs_in_one_file_are_refused(tmp_path):
    rows = [(1000 * (i % 4), 7 * i) for i in range(20)]
    assert "several runs" in str(refused(tmp_path, table(rows))[0])


@pytest.mark.parametrize(
    ("unit", "said"),
    [("m", "thousandths read as whole ones"), ("in", "millimetres read as inches (25.4 times too large)")],
)
def test_wrong_units_are_named(tmp_path, unit, said):
    """2.5 m of way in millimetres, read as metres or as inches."""
    columns = COLUMNS | {"position": Column(column="pos", unit=unit)}
    wanted = WANTED | {"position": Wanted("length", 0.5, 10.0)}
    assert said in str(refused(tmp_path, table(), columns, wanted)[0])


def test_degrees_read_as_radians_are_named(tmp_path):
    columns = {"time": COLUMNS["time"], "angle": Column(column="pos", unit="rad")}
    wanted = {"time": WANTED["time"], "angle": Wanted("angle", 0.3, 3.0)}
    rows = [(100 * i, 4 * i) for i in range(20)]
    assert "degrees read as radians" in str(refused(tmp_path, table(rows), columns, wanted)[0])


def test_a_sensor_that_sticks_for_a_while_is_left_out(tmp_path):
    rows = [(100 * i, 10 * i, 5 if 30 <= i < 60 else i) for i in range(100)]
    columns = COLUMNS | {"speed": Column(column="v", unit="mm/s")}
    wanted = WANTED | {"speed": Wanted("speed", 0.01, 8.0)}
    found = read(tmp_path, table(rows, head=("t", "pos", "v")), columns, wanted)
    assert found.remarks[0].line == 32
    assert "speed does not move down to line 61" in found.remarks[0].text
    assert found.numbers["time"].size == 70


def test_a_sensor_that_never_moved_is_refused(tmp_path):
    rows = [(100 * i, 10 * i, 500) for i in range(100)]
    columns = COLUMNS | {"speed": Column(column="v", unit="mm/s")}
    assert "a loose plug?" in str(refused(tmp_path, table(rows, head=("t", "pos", "v")), columns)[0])


def test_columns_that_are_not_there_say_what_is_near(tmp_path):
    problem = refused(
        tmp_path, table(head=("t", "position")), COLUMNS | {"position": Column(column="positoin", unit="")}
    )[0]
    assert problem.suggestion == "position"
    assert "nothing names it" in str(refused(tmp_path, table(), {"time": COLUMNS["time"]})[0])
    assert "no column" in str(refused(tmp_path, table(), COLUMNS | {"speed": Column(column="v", unit="")})[0])
    assert "2 columns" in str(refused(tmp_path, table(head=("t", "pos", "pos"), rows=[(1, 2, 3)] * 3))[0])


def test_units_that_are_none_say_so(tmp_path):
    problem = refused(tmp_path, table(), COLUMNS | {"time": Column(column="t", unit="mm")})[0]
    assert "a time with a unit" in str(problem)


@pytest.mark.parametrize(
    "text", ["", "t,pos\n", "t,pos\n1,2\n", "nothing here\n1,2\n", "t,pos\na,b\nc,d\n", b"\xff\xfe"]
)
def test_what_is_no_table_is_refused(tmp_path, text):
    assert refused(tmp_path, text)


def test_words_are_kept_as_they_are(tmp_path):
    wanted = {"class": Wanted(""), "hue": Wanted("angle", 0.01, 6.3)}
    columns = {"class": Column(column="what", unit=""), "hue": Column(column="h", unit="deg")}
    found = read(tmp_path, 'what,h\n"copper, dark",20\nindigo,240\nindigo,238\n', columns, wanted)
    assert found.words["class"] == ("copper, dark", "indigo", "indigo")
    assert found.numbers["hue"][1] == pytest.approx(np.radians(240.0))


ODD = st.text(st.characters(codec="utf-8", exclude_categories=("Cs",)), max_size=60)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.one_of(ODD, st.lists(st.text(string.printable, max_size=20), max_size=12).map("\n".join)))
def test_anything_is_read_or_refused_in_words(tmp_path, text):
    for body in (text, "t,pos\n" + text, table() + text):
        try:
            found = read(tmp_path, body)
        except BadInput:
            continue
        assert np.all(np.isfinite(found.numbers["time"]))
        assert np.all(np.diff(found.numbers["time"]) > 0)
        assert found.lines.size == found.numbers["position"].size


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    values=st.lists(st.floats(-9e3, 9e3).map(lambda v: round(v, 3)), min_size=4, max_size=40),
    delimiter=st.sampled_from(",;\t|"),
)
def test_what_the_csv_module_writes_is_read_back(tmp_path, values, delimiter):
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter)
    writer.writerow(["t", "pos"])
    writer.writerows((10 * i, v) for i, v in enumerate(values))
    wanted = {"time": Wanted("time", rises=True), "position": Wanted("length", moves=False)}
    found = read(tmp_path, text.getvalue(), COLUMNS, wanted)
    assert found.numbers["position"] == pytest.approx([v / 1000 for v in values])
