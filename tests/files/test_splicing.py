"""Changing values in any YAML text; ruamel.yaml itself says what the new text means."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from fieldworthy.files import BadInput, read_document
from fieldworthy.files.splicing import spliced
from fieldworthy.files.writing import GONE

FILE = Path("robot.yaml")
TEXT = """\
# head
top: 5 mm   # of the thing
'single': 'it''s'
"double": "a: b"
flow: {a: 1, b: [2, 3], c: {value: 2.75 in, basis: measured}}  # flow
empty:
none: ~
block:
    inner: 1.50   # a number with a nought
    # a note
    list:
    - one
    - two: 2
      three: 3
    text: >
      folded
      text

    last: ü µ 漢
"""


def after(changes: dict[Any, Any], text: str = TEXT) -> str:
    return spliced(FILE, text, changes)


@pytest.mark.parametrize(
    ("changes", "old", "new"),
    [
        ({("top",): "6 mm"}, "5 mm ", "6 mm "),
        ({("single",): "they're"}, "'it''s'", "'they''re'"),
        ({("double",): 'say "x"'}, '"a: b"', '"say \\"x\\""'),
        ({("flow", "a"): 2.5}, "a: 1", "a: 2.5"),
        ({("flow", "b", 1): "x, y"}, "[2, 3]", '[2, "x, y"]'),
        ({("flow", "b", 2): 4}, "[2, 3]", "[2, 3, 4]"),
        ({("flow", "b", 0): GONE}, "[2, 3]", "[3]"),
        ({("flow", "c"): "3 in"}, "2.75 in", "3 in"),
        ({("flow", "c", "date"): "2026-11-25"}, "measured}", "measured, date: 2026-11-25}"),
        ({("flow", "d"): True}, "measured}}", "measured}, d: true}"),
        ({("flow", "a"): GONE}, "{a: 1, b", "{b"),
        ({("flow", "c"): GONE}, ", c: {value: 2.75 in, basis: measured}", ""),
        ({("empty",): 1}, "empty:\n", "empty: 1\n"),
        ({("none",): "true"}, "~", '"true"'),
        ({("none",): "007"}, "~", '"007"'),
        ({("block", "inner"): "1 in"}, "1.50", "1 in"),
        ({("block", "inner", "tolerance"): 0.1}, "1.50", "{value: 1.50, tolerance: 0.1}"),
        ({("block", "list", 1, "two"): GONE}, "- two: 2\n      three", "- three"),
        ({("block", "list", 0): GONE}, "    - one\n", ""),
        ({("block", "text"): "short"}, ">\n      folded\n      text\n", "short\n"),
        ({("block", "new"): "x"}, "漢\n", "漢\n    new: x\n"),
        ({("block", "last"): "é"}, "ü µ 漢", "é"),
        ({("block", "list"): []}, "    list:\n    - one\n    - two: 2\n      three: 3\n", "    list: []\n"),
        ({("new", "deep", "er"): [1, 2]}, "漢\n", "漢\n\nnew:\n    deep: {er: [1, 2]}\n"),
    ],
)
def test_only_this_changes(changes: dict[Any, Any], old: str, new: str) -> None:
    assert TEXT.count(old) == 1
    assert after(changes) == TEXT.replace(old, new)


def test_comments_between_entries_in_braces_stay() -> None:
    text = "a: {\n  b: 1,  # one\n  c: 2,  # two\n  d: 3  # three\n}\n"
    assert after({("a", "c"): GONE}, text).count("#") == 3
    assert after({("a", "d"): GONE, ("a", "b"): GONE}, text).count("#") == 3


def test_json_stays_json() -> None:

    text = '{"a": {"b": "5 mm"}, "c": []}'
    new = after({("a", "b"): "6 mm", ("a", "x"): "y", ("c", 0): "z"}, text)
    assert json.loads(new) == {"a": {"b": "6 mm", "x": "y"}, "c": ["z"]}


def test_a_file_without_a_last_line_end() -> None:
    assert after({("b",): 2}, "a: 1") == "a: 1\nb: 2"
    assert after({("b",): GONE}, "a: 1\nb: 2") == "a: 1"
    assert after({("a",): GONE, ("b",): GONE}, "x: 0\na: 1\nb: 2").strip() == "x: 0"


def test_a_path_that_leads_nowhere_says_where_it_ends() -> None:
    with pytest.raises(BadInput) as caught:
        after({("block", "text", "x"): 1})
    problem = caught.value.problems[0]
    assert (problem.line, problem.expected) == (15, "expected a mapping of keys here, found a plain value")


scalars = st.one_of(
    st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=30),
    st.sampled_from(
        ["yes", "0x1F", "1e3", "null", "- a", "a: b", "a #b", "#", "'", '"', "{", "]", ",", "&a", "*a", "!x", "%"]
    ),
    st.integers(-(10**14), 10**14),
    st.floats(allow_nan=False, allow_infinity=False, width=32),
    st.booleans(),
    st.none(),
)
values = st.recursive(
    scalars,
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text("ab :#-", min_size=1, max_size=6), inner, max_size=3)
    ),
    max_leaves=6,
)


def _paths(data: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    return [p for key, inner in items for p in [(*path, key), *_paths(inner, (*path, key))]]


@settings(max_examples=150, deadline=None)
@given(data=st.data(), value=values, line_end=st.sampled_from(["\n", "\r\n"]))
def test_any_value_at_any_place_reads_back(data: st.DataObject, value: Any, line_end: str) -> None:
    text = TEXT.replace("\n", line_end)
    plain = read_document(FILE, text).data
    path = data.draw(st.sampled_from([*_paths(plain), ("new",), ("block", "new"), ("flow", "new"), ("empty", "new")]))
    if path[:2] == ("flow", "c") and len(path) == 2 and not isinstance(value, dict | list):
        return  # a plain value there changes the quantity's number alone
    new = after({path: value}, text)
    wanted = copy.deepcopy(plain)
    here = wanted
    for key in path[:-1]:
        if here[key] is None:
            here[key] = {}
        here = here[key]
    here[path[-1]] = value
    assert read_document(FILE, new).data == wanted
    if path != ("block",):  # what stands inside a section that is replaced goes with it
        assert _comments(new) == _comments(text)


def _comments(text: str) -> int:
    return sum(note in text for note in ("# head", "# of the thing", "# flow", "# a number with a nought", "# a note"))


@settings(max_examples=100, deadline=None)
@given(value=scalars)
def test_another_reader_reads_the_same(value: Any) -> None:
    """ruamel.yaml's own constructor, YAML 1.2; it reads more as numbers than our files do, so texts alone."""
    if not isinstance(value, str):
        return
    new = after({("top",): value, ("double",): value, ("single",): value})
    read = YAML(typ="safe", pure=True).load(new)
    assert read["double"] == value
    assert read["single"] == value
