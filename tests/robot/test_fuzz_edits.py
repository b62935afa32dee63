"""Whatever is typed into a form or stands in another program's table: it is taken, or refused in words."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from edge import written
from fieldworthy.files import BadInput, read_document
from fieldworthy.robot import Loaded, load_robot
from fieldworthy.robot.editing import GONE, edited
from fieldworthy.robot.partstables import flow_in
from robots import example

# deadline off: the first read imports the parser; the number of examples keeps the whole file under 20 s
FUZZ = settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
HOSTILE = [
    "",
    " ",
    "nan",
    "-1 mm",
    "1e308 m",
    "a: b",
    "# x",
    "'",
    '"',
    "\n",
    "a\nb: 1",
    "\t",
    "\u2028",
    "\u202e",
    "🤖",
    "=1+1",
    "a,b;c",
    '"a',
    "*a",
    "&a",
    "!!int 1",
    "- a",
    "{a: 1}",
    "[",
    "null",
    "true",
    "0x1",
    "9" * 400,
    "x" * 300,
    "\x00",
    "\x1b[31m",
    "\ud83e",
    "2.4 kg",
    "10 mm",
    None,
    True,
    0,
    -1,
    1e300,
    float("nan"),
    [],
    {},
    ["1 mm"],
    {"value": "1 mm", "basis": "guess"},
    {"value": "1 kg", "date": "2026-02-30"},
    GONE,
]
KEYS = ["value", "tolerance", "basis", "date", "nowhere", "", "a.b", "\n", 0, -1, 99, "mass", "position"]


def said(error: BadInput) -> None:
    assert error.problems
    assert all(str(problem).isprintable() for problem in error.problems)


@cache
def robot() -> Loaded:
    return example()


def paths(data: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """Every key path of plain data."""
    inner = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    return [path] * bool(path) + [p for key, value in inner for p in paths(value, (*path, key))]


@cache
def places() -> list[tuple[str | int, ...]]:
    season = next(text for file, text in robot().texts.items() if file.name == "glasshouse.yaml")
    return paths(robot().document.data) + paths(read_document(Path("s.yaml"), season).data, ("season",))


@pytest.mark.long
@FUZZ
@given(
    changes=st.dictionaries(
        st.tuples(st.deferred(lambda: st.sampled_from(places())), st.lists(st.sampled_from(KEYS), max_size=2)).map(
            lambda both: (*both[0], *both[1])
        ),
        st.one_of(st.sampled_from(HOSTILE), st.text(max_size=12)),
        min_size=1,
        max_size=3,
    )
)
def test_any_edit_anywhere_is_made_or_refused(changes):
    texts = {}
    try:
        texts = edited(robot(), changes)
        load_robot(robot().document.file, None, dict(robot().texts) | texts)
    except BadInput as error:
        said(error)
    assert "".join(texts.values()).encode() or not texts


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return load_robot(written(tmp_path_factory.mktemp("foreign")))


CELLS = [
    "part",
    "name",
    "mass",
    "mass [g]",
    "Mass (g)",
    "mass [m]",
    "x [mm]",
    "count",
    "frame",
    "lift",
    "bolt",
    "",
    "-",
    "2",
    "2,5",
    "1.234,5",
    "1,234",
    "-0",
    "1e9",
    "9" * 400,
    "nan",
    "=1",
    "2 kg",
    "'",
    '"',
    "\u202e",
    "\x00",
    "a" * 99,
]


@FUZZ
@given(
    rows=st.lists(st.lists(st.sampled_from(CELLS), max_size=5), max_size=6),
    delimiter=st.sampled_from(";\t,|"),
    headed=st.booleans(),
)
def test_any_table_of_another_program_is_taken_or_refused(small, rows, delimiter, headed):
    head = [["part", "mass [g]", "x [mm]", "count"]] * headed
    text = "\n".join(delimiter.join(row) for row in [*head, *rows])
    taken_or_refused(small, text.encode())


@FUZZ
@given(raw=st.binary(max_size=200))
def test_any_bytes_as_a_table_are_refused(small, raw):
    taken_or_refused(small, raw)


@FUZZ
@given(raw=st.binary(max_size=200), zipped=st.booleans())
def test_any_bytes_as_a_spreadsheet_are_refused(small, raw, zipped):
    taken_or_refused(small, b"PK\x03\x04" * zipped + raw, "odd.xlsx")


def taken_or_refused(loaded, raw, name="odd.csv"):
    file = loaded.document.file.with_name(name)
    file.write_bytes(raw)
    try:
        inflow = flow_in(loaded, file, {})
    except BadInput as error:
        said(error)
    else:
        assert all(part.mass.si >= 0.0 for part in inflow.parts.values())
