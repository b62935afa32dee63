"""Whatever stands in a file: it is read, or it is refused in words."""

import math
import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from edge import PARTS, ROBOT, SEASON, changed
from fieldworthy.files import BadInput, quantities
from fieldworthy.robot import load_robot

EXAMPLES = Path(__file__).parents[2] / "examples" / "heron"
MK1 = (EXAMPLES / "mk1.yaml").read_text(encoding="utf-8").splitlines(keepends=True)
LISTED = changed("robot: Small", "robot: Small\nparts_list: parts.csv")
_WORDS = "0 -1 1e308 nan .inf null true [] {} [[]] *a ' \" | > # % @ ` é \ud7ff"
_TEXTS = "- a;a: b;? a;&a 1;!!int x;5 mm;5 kg;-5 mm;1e300 m;1e300 Ym;0 mm;100 %;300 degC;{value: 1 mm, tolerance: 9 km}"
ODD = st.sampled_from([*_WORDS.split(), *_TEXTS.split(";"), "", "\t", "\x00", "\u2028", "x" * 200, "9" * 400])
# deadline off: the first read imports the parser; the number of examples keeps the whole file under 20 s
FUZZ = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)


@pytest.fixture(scope="module")
def folder():
    with tempfile.TemporaryDirectory() as name:
        shutil.copytree(EXAMPLES, name, dirs_exist_ok=True)
        (Path(name) / "season.yaml").write_text(SEASON, encoding="utf-8")
        yield Path(name)


def outcome(file: Path) -> str:
    """Read a file; whatever is not refused in words must hold finite numbers only."""
    try:
        loaded = load_robot(file)
    except BadInput as error:
        problems = error.problems
    else:
        assert all(math.isfinite(q.si) and math.isfinite(q.tolerance) for _, q in quantities(loaded.robot))
        return "read"
    assert problems
    for problem in problems:
        assert min(problem.line, problem.column) >= 1
        assert problem.expected
        assert str(problem).isprintable()
    return "refused"


@FUZZ
@given(st.binary(max_size=300))
def test_random_bytes(folder, raw):
    file = folder / "fuzz.yaml"
    file.write_bytes(raw)
    assert outcome(file) == "refused"


@FUZZ
@given(st.text(st.sampled_from("ab:-?[]{},&*!|>'\"%@`# \n\t\r~.0019é\u2028"), max_size=200))
def test_random_marks(folder, text):
    file = folder / "fuzz.yaml"
    file.write_bytes(text.encode())
    assert outcome(file) == "refused"


@st.composite
def mutated(draw):
    """The example with some lines deleted, doubled, moved, cut short, indented or given another value."""
    lines = list(MK1)
    for _ in range(draw(st.integers(1, 4))):
        i = draw(st.integers(0, len(lines) - 1))
        how = draw(st.sampled_from(["delete", "double", "value", "value", "swap", "cut", "indent", "word"]))
        line = lines[i].rstrip("\n")
        if how == "delete":
            del lines[i]
        elif how == "double":
            lines.insert(i, lines[i])
        elif how == "value":
            lines[i] = f"{line.partition(':')[0]}: {draw(ODD)}\n"
        elif how == "swap":
            j = draw(st.integers(0, len(lines) - 1))
            lines[i], lines[j] = lines[j], lines[i]
        elif how == "cut":
            lines[i] = line[: draw(st.integers(0, len(line)))] + "\n"
        elif how == "indent":
            lines[i] = " " * draw(st.integers(0, 12)) + lines[i].lstrip(" ")
        else:
            words = line.split(" ")
            words[draw(st.integers(0, len(words) - 1))] = draw(ODD)
            lines[i] = " ".join(words) + "\n"
    return "".join(lines)


@pytest.mark.long
@settings(FUZZ, max_examples=150)
@given(mutated())
def test_mutations_of_the_example(folder, text):
    file = folder / "fuzz.yaml"
    file.write_bytes(text.encode(errors="surrogatepass"))
    assert outcome(file) in ("read", "refused")


@FUZZ
@given(st.data())
def test_any_value_at_any_key_of_a_small_robot(folder, data):
    lines = ROBOT.splitlines()
    i = data.draw(st.integers(0, len(lines) - 1))
    key, _, _ = lines[i].partition(":")
    lines[i] = f"{key}: {data.draw(ODD | st.text(max_size=20))}"
    file = folder / "fuzz.yaml"
    file.write_bytes("\n".join(lines).encode(errors="surrogatepass"))
    assert outcome(file) in ("read", "refused")


@FUZZ
@given(st.data())
def test_mutations_of_a_parts_list(folder, data):
    table = PARTS
    for _ in range(data.draw(st.integers(1, 3))):
        i = data.draw(st.integers(0, len(table) - 1))
        table = table[:i] + data.draw(ODD | st.sampled_from([",", ";", "\n", "\r", '"'])) + table[i + 1 :]
    (folder / "parts.csv").write_bytes(table.encode(errors="surrogatepass"))
    file = folder / "fuzz.yaml"
    file.write_text(LISTED, encoding="utf-8")
    assert outcome(file) in ("read", "refused")


def test_the_unmutated_files_are_read(folder):
    (folder / "parts.csv").write_text(PARTS, encoding="utf-8")
    (folder / "small.yaml").write_text(LISTED, encoding="utf-8")
    assert outcome(folder / "small.yaml") == "read"
    assert outcome(folder / "mk1.yaml") == "read"
