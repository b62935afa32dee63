"""What is no honest YAML: bounded work, exit 2, the place; never a traceback."""

import itertools
import random
import re
import time
from pathlib import Path

import pytest

from edge import ROBOT, run, written
from fieldworthy.files import BadInput, document, read_document, validate
from fieldworthy.files.document import DEEPEST, LARGEST, MOST
from fieldworthy.files.splicing import places_of
from fieldworthy.robot import load_robot
from fieldworthy.robot.model.season import Season
from robots import EXAMPLES, example_copy

_NAMES = "abcdefghijklmnopqrstuvwx"
LAUGHS = "a: &a [x, x]\n" + "".join(f"{new}: &{new} [*{old}, *{old}]\n" for old, new in itertools.pairwise(_NAMES))
TOO_DEEP = f"at most {DEEPEST} levels"
LINES_DEEP = "a:\n" + "\n".join(" " * i + "-" for i in range(900))
END = 4 + DEEPEST - 1  # where the bracket too many stands in 'a: [[[', the file's own mapping being the first level
FILES = [
    ("empty", "", 1, 1, "found an empty file"),
    ("comments only", "# nothing\n\n", 1, 1, "found an empty file"),
    ("a list", "- a\n- b\n", 1, 1, "expected a mapping of keys at the top"),
    ("a word", "robot", 1, 1, "expected a mapping of keys at the top"),
    ("prose", "about: It is called Small: it is fast.\n", 1, 26, "put a text that holds ': ' in quotes"),
    ("open bracket", "a: [1, 2\nb: 3\n", 2, 2, "expected YAML"),
    ("open quote", 'a: "1\nb: 3\n', 3, 1, "a quote is not closed"),
    ("no colon", "a: 1\nb\nc: 2\n", 3, 1, "a ':' is missing"),
    ("tab", "a:\n\tb: 1\n", 2, 1, "found a tab: indent with spaces"),
    ("indent", "a:\n  b: 1\n c: 2\n", 3, 2, "check the indentation"),
    ("two documents", "a: 1\n---\nb: 2\n", 2, 1, "a file holds one document"),
    ("a list as key", "? [a]\n: 1\n", 1, 3, "expected a plain word as key"),
    ("alias", "a: &x 1\nb: *x\n", 2, 4, "b: expected no aliases"),
    ("alias to itself", "a: &a [*a]\n", 1, 8, "a[0]: expected no aliases"),
    ("merge", "a: &a {b: 1}\nc:\n  <<: *a\n", 3, 7, "c.<<: expected no aliases"),
    ("billion laughs", LAUGHS, 2, 8, "b[0]: expected no aliases"),
    ("duplicate", "a: 1\nb: 2\na: 3\n", 3, 1, "a: expected each key only once"),
    ("bell", "a: 1\nb: x\x07y\n", 2, 5, "the control character 0x07"),
    ("escape", "a: 1\nb: \x1b[31m\n", 2, 4, "the control character 0x1b"),
    ("nul", "a: \0", 1, 4, "the control character 0x00"),
    ("not UTF-8", b"a: 1\nb: caf\xe9\n", 2, 7, "expected UTF-8 text, found the byte 0xe9"),
    ("UTF-16", "a: 1".encode("utf-16"), 1, 1, "save the file as UTF-8"),
    ("surrogate", b"a: \xed\xa0\x80", 1, 4, "expected UTF-8 text"),
    ("brackets on a line", "a: " + "[" * 100_000, 1, END, TOO_DEEP),
    ("brackets on lines", "a: " + "[\n" * 100_000, DEEPEST, 1, TOO_DEEP),
    ("braces", "{a: " * 100_000, 1, 1 + 4 * DEEPEST, TOO_DEEP),
    ("mixed", "a: " + "[{a: " * 50_000, 1, None, TOO_DEEP),
    ("dashes", "a:\n" + "- " * 100_000, 2, 2 * DEEPEST - 1, TOO_DEEP),
    ("dashes on lines", LINES_DEEP, DEEPEST + 1, DEEPEST, TOO_DEEP),
    ("questions", "a:\n  " + "? " * 100_000, 2, 5, "expected a plain word as key"),
    ("colons", ": " * 50_000, 1, None, TOO_DEEP),
    ("hidden by a comment", "# " + "]" * 200_000 + "\na: " + "[" * 100_000, 2, END, TOO_DEEP),
    ("hidden by a quote", f"a: '{']' * 200_000}'\nb: " + "[" * 100_000, 2, END, TOO_DEEP),
    ("many values", "a: [" + "1, " * (MOST + 10) + "1]", 1, None, f"at most {MOST:,} values"),
    ("many keys", "".join(f"k{i}: 1\n" for i in range(20_000)), 1, 1, "unknown key"),
    ("large", "a: '" + "x" * LARGEST + "'", 1, 1, "expected a file of at most 2 MB"),
    ("a key of a million letters", "? " + "k" * 1_000_000 + "\n: 1\n", 1, 3, "unknown key"),
    ("an escape sequence in a key", '"a\\e[31mb": 1\n', 1, 1, "b: expected text, found the control character 0x1b"),
    ("python", "robot: !!python/object/apply:os.system ['exit 1']\n", 1, 8, "robot: expected a text"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line", "column", "says"), [f[1:] for f in FILES], ids=[f[0] for f in FILES])
def test_what_is_no_robot_file(tmp_path, text, line, column, says):
    start = time.perf_counter()
    ended = run("check", written(tmp_path, text))
    # measured 0.01 to 2 s; without the bounds these files take minutes or all memory
    assert time.perf_counter() - start < 20
    assert (ended.code, ended.out) == (2, "")
    lines = [each for each in ended.err.splitlines() if not each.startswith("and ")]
    assert len(lines) <= 50
    assert all(len(each) < 1000 for each in lines)
    assert all(each.isprintable() for each in lines)
    found = [(its, at) for file, its, at, rest in ended.problems if says in rest and file == "robot.yaml"]
    assert (line, column) in found if column else line in {its for its, _ in found}


def test_a_hundred_megabytes_are_not_read(tmp_path):
    file = tmp_path / "robot.yaml"
    with file.open("wb") as stream:
        stream.truncate(100_000_000)
    ended = run("check", file)
    assert ended.code == 2
    assert ended.problems == [("robot.yaml", 1, 1, "expected a file of at most 2 MB")]


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("robto.yaml", "no such file; did you mean 'robot.yaml'?"),
        ("none/robot.yaml", "no such file"),
        (".", "expected a file, found a directory"),
        ("a" * 5000, "the file cannot be read"),
    ],
)
def test_what_is_no_file(tmp_path, name, says):
    written(tmp_path)
    ended = run("check", tmp_path / name)
    assert ended.code == 2
    ((_, line, column, rest),) = ended.problems
    assert (line, column) == (1, 1)
    assert rest.startswith(says)


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    import os

    file, opened = written(tmp_path), os.open

    def refuse(path, *arguments, **named):
        if str(path).endswith("robot.yaml"):
            raise PermissionError(13, "Permission denied")
        return opened(path, *arguments, **named)

    monkeypatch.setattr(os, "open", refuse)
    assert run("check", file).problems == [("robot.yaml", 1, 1, "the file cannot be read (Permission denied)")]


@pytest.mark.parametrize(
    "text",
    ["\ufeff" + ROBOT, ROBOT.replace("\n", "\r\n"), ROBOT.replace("\n", "\r"), "---\n" + ROBOT, ROBOT + "...\n"],
    ids=["bom", "crlf", "cr", "start mark", "end mark"],
)  # fmt: skip
def test_what_editors_write_is_read_alike(tmp_path, text):
    plain = run("check", "--json", "--exit-zero", written(tmp_path))
    assert plain.code == 0
    assert run("check", "--json", "--exit-zero", written(tmp_path, text)).out == plain.out


def test_scalars_are_those_of_json_and_everything_else_is_text(tmp_path):
    file = tmp_path / "a.yaml"
    text = "a: [1, -2, 1.5, .5, 1e3, true, False, null, ~, '1', yes, 0x10, 1_0, 2020-01-01, .nan, 12:30, 1e999, 007]\n"
    expected = [1, -2, 1.5, 0.5, 1000.0, True, False, None, None, "1"]
    texts = ["yes", "0x10", "1_0", "2020-01-01", ".nan", "12:30", "1e999"]
    data = read_document(file, text).data["a"]
    assert data == [*expected, *texts, 7]
    assert [type(value) for value in data[:5]] == [int, int, float, float, float]


def test_every_key_knows_its_place(tmp_path):
    document = read_document(tmp_path / "a.yaml", "a: 1\nb:\n  - c: x\n    d: y\n  - [p,  q]\ne:\n")
    assert document.place(("a",)) == (1, 4)
    assert document.place(("b", 0, "d")) == (4, 8)
    assert document.place(("b", 1, 1)) == (5, 10)
    assert document.place(("b", 0, "d", "")) == (4, 5)
    assert document.place(("e",)) == (6, 1)
    assert document.place(("b", 1, 7)) == (5, 5)  # the list, where the item is missing
    assert document.place(("zzz",)) == (1, 1)


def test_problems_of_reader_and_schema_come_together(tmp_path):
    document = read_document(tmp_path / "s.yaml", "fieldworthy: season 1\nseason: a\nseason: b\nlimits: {mass: *m}\n")
    with pytest.raises(BadInput) as caught:
        validate(document, Season)
    assert [(p.line, p.expected) for p in caught.value.problems] == [
        (1, "this key is missing"),
        (1, "this key is missing"),
        (3, "expected each key only once"),
        (4, "expected no aliases (*name): write the value out"),
    ]


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ("clearance: {value: 6 mm, tolerance: 1 mm", "clearance: {value: 600 mm, tolerance: 1 mm", "clearance"),
        ("charge: {value: 6.9 bar, tolerance: 0.14 bar", "charge: {value: 6.9 bar, tolerance: 7e29 bar", "tolerance"),
        ("push_load: 18 N", "push_load: 18 MN", "push_load"),
        ("charge: {value: 6.9 bar", "charge: {value: 690 bar", "charge"),
        ("press: 6 N", "press: 60 kN", "press"),
        ("length: 150 mm", "length: 150 m", "length"),
    ],
)
def test_a_slip_of_the_unit_is_told(tmp_path, old, new, key):
    """A clearance that is wider than any wheel, tonnes of load, a thousand times the pressure of any tank."""
    file = example_copy(tmp_path)
    text = file.read_text("utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(BadInput, match=rf"{key}.*is the unit right") as told:
        load_robot(file)
    assert len(told.value.problems) == 1


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("press: 6 N", "press: 6e12 mN", "at most 20000 N "),
        ("press: 6 N", "press: 60 kN", "at most 20 kN "),
        ("period: 10 ms, latency: 12 ms", "period: 7e29 ms, latency: 12 ms", "at most 100000 s "),
    ],
)
def test_a_bound_is_told_without_a_row_of_noughts(tmp_path, old, new, told):
    file = example_copy(tmp_path)
    file.write_text(file.read_text("utf-8").replace(old, new, 1), "utf-8")
    with pytest.raises(BadInput, match=told):
        load_robot(file)


TYPED = [
    *":-{}[]\"'#&*!|>%@`,?\n \t~=<\x85\u2028é",
    "\n---\n",
    "? ",
    "<<: *a",
    "\r\n",
    "!!str ",
    "- ",
    '"\\ud83e\\udd16"',
]


def mistyped(count):
    """Parts of the examples' files with a slip of the keyboard or two in each."""
    draw = random.Random(7)
    texts = [file.read_text(encoding="utf-8").splitlines(True) for file in sorted(EXAMPLES.rglob("*.yaml"))]
    for _ in range(count):
        lines = draw.choice(texts)
        end = draw.randrange(len(lines))
        text = "".join(lines[max(0, end - 25) : end])
        for _ in range(draw.randrange(3)):
            at = draw.randrange(len(text) + 1)
            text = text[:at] + draw.choice(TYPED) + text[at + draw.randrange(2) :]
        yield text


def told(text):
    """What is read of a text and where it stands, or what is wrong with it and where."""
    document._PARSED.clear()
    try:
        found = read_document(Path("typed.yaml"), text)
    except BadInput as error:
        return [str(problem) for problem in error.problems]
    places = "" if found.problems else repr(places_of(text))
    return found.data, found.marks, [str(problem) for problem in found.problems], places


def test_the_compiled_parser_and_the_other_read_the_same(monkeypatch):
    """libyaml against ruamel.yaml, two parsers of YAML by other hands, with every place and every refusal."""
    texts = list(mistyped(120))
    quick = [told(text) for text in texts]
    monkeypatch.setattr(document, "_ODD", re.compile(""))
    assert quick == [told(text) for text in texts]
    assert 20 < sum(isinstance(one, tuple) for one in quick) < 100
