"""Documents hold: tables come from the schema, every command that is shown runs, every link leads somewhere."""

from __future__ import annotations

import ast
import doctest
import re
import runpy
import shlex
import shutil
import tomllib
from fnmatch import fnmatchcase
from pathlib import Path

import pytest
from ruamel.yaml import YAML

from fieldworthy.cli.app import main
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.engine.system import systems
from fieldworthy.files import schema_of
from fieldworthy.files.declare import Mass, Of
from fieldworthy.robot import load_robot
from fieldworthy.robot.model.season import Season
from robots import GONE, check, example
from web.browser import serving

ROOT = Path(__file__).parents[1]
GUIDE = sorted((ROOT / "docs" / "guide").glob("*.md"))
STORIES = sorted((ROOT / "examples").glob("*/README.md"))
DOCUMENTS = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md")), *GUIDE, *STORIES]
PROGRAMS = ("make", "py", "python", "python3", "fieldworthy", "git", "cd")


def blocks(text: str) -> list[tuple[str, list[str]]]:
    """Language and lines of every fenced block, and of every indented one, whose language is empty."""
    found: list[tuple[str, list[str]]] = []
    fence: str | None = None
    lines: list[str] = []
    before = ""
    for line in [*text.splitlines(), ""]:
        opened = re.match(r"```(\w*)", line)
        if fence is not None:
            if opened:
                found.append((fence, lines))
                fence, lines = None, []
            else:
                lines.append(line)
        elif opened:
            fence = opened[1] or "text"
        elif line.startswith("    ") and (lines or not before.strip()):
            lines.append(line[4:])
        elif lines:
            found.append(("", lines))
            lines = []
        before = line
    assert fence is None, "a fence is not closed"
    return found


def commands(document: Path) -> list[str]:
    """Every shell line that a document shows, in order, as on Linux; inline ones too."""
    text = document.read_text("utf-8")
    shown = []
    for language, lines in blocks(text):
        for line in lines:
            plain = line.replace(".venv\\Scripts\\", "").replace(".venv/bin/", "").strip()
            first = plain.split(" ")[0]
            if language in ("sh", "shell", "console", "bash") or (language == "" and first in PROGRAMS):
                shown.append(plain.replace("\\", "/"))
    shown += [line.replace("\n", " ") for line in re.findall(r"(?<!`)`(fieldworthy [^`<>*…]+)`(?!`)", text)]
    return shown


def named(documents, long=lambda _: False):
    """A test for each of these documents, and that there are some."""
    found = [pytest.param(d, marks=pytest.mark.long) if long(d) else d for d in documents]
    assert len(found) > 1
    return pytest.mark.parametrize("document", found, ids=lambda p: "-".join(p.relative_to(ROOT).parts))


def links(document: Path) -> list[str]:
    return re.findall(r"\]\(([^)\s]+)\)", document.read_text("utf-8"))


def yaml_blocks(document: Path) -> list[list[str]]:
    return [lines for language, lines in blocks(document.read_text("utf-8")) if language == "yaml"]


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """A folder as a reader has it: a copy of the examples, to stand in."""
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def words_of(line: str) -> list[str]:
    return shlex.split(line, comments=True)


def run(line: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(words_of(line)[1:])
    return int(ended.value.code or 0)


def expected(line: str) -> int:
    """What the README promises: 0 nothing short, 1 something short, 0 anyhow with --exit-zero."""
    words = words_of(line)
    if words[1] != "check" or "--exit-zero" in words:
        return 0
    file = next(word for word in words[2:] if not word.startswith("-"))
    return 1 if evaluate(load_robot(Path(file))).short else 0  # as drawn within the tolerances: 'close' is not short


@named(filter(commands, DOCUMENTS), long=lambda d: d != ROOT / "README.md")
def test_commands_shown_run_and_end_as_promised(document, desk, capsys):
    robot = desk / "examples" / "heron" / "mk1.yaml"
    lines = commands(document)
    assert lines
    for shown in lines:
        # where the command is only named, it is tried on the example
        line = f"{shown} {robot}" if shown == "fieldworthy check" else shown
        words = words_of(line)
        if words[:2] == ["fieldworthy", "open"]:
            check_open(words[2:], desk)
        elif words[0] == "fieldworthy":
            code = run(line)
            out = capsys.readouterr()
            assert code == expected(line), f"{document.name}: {line} ended with {code}: {out.err}"
            assert out.out.strip(), f"{document.name}: {line} printed nothing"
        elif words[0] == "make":
            assert re.search(rf"^{words[1]}:", (ROOT / "Makefile").read_text("utf-8"), re.MULTILINE), line
        elif words[:3] in (["py", "-m", "venv"], ["python3", "-m", "venv"], ["python", "-m", "pytest"]):
            continue  # what the tests are being run with
        elif words[:4] == ["python", "-m", "pip", "install"]:
            check_install(words)
        elif words[0] == "python":
            assert (ROOT / words[1]).is_file(), line
        else:
            pytest.fail(f"{document.name} shows a command that no test knows how to run: {line}")


def check_open(arguments: list[str], desk: Path) -> None:
    """The page starts with these words, says its address, and ends when it is told to."""
    folder = next((desk / word for word in arguments if not word.startswith("-") and not word.isdecimal()), desk)
    flags = [word for word in arguments if word.startswith("-") and word not in ("--no-browser", "--port")]
    with serving(folder, *flags) as server:
        assert server.opening.startswith("http://127.0.0.1:")


def check_install(words: list[str]) -> None:
    """The files and extras that a line of pip names exist."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert (ROOT / words[words.index("-c") + 1]).is_file()
    target = words[words.index("-e") + 1]
    extras = re.fullmatch(r"\.(?:\[(.+)\])?", target)
    assert extras, target
    assert set((extras[1] or "dev").split(",")) <= set(project["optional-dependencies"])


def test_the_readers_of_shell_lines_find_them():
    found = commands(ROOT / "README.md")
    assert {"make demo", "make test"} <= {" ".join(words_of(line)) for line in found}
    assert "fieldworthy check examples/heron/mk1.yaml --exit-zero" in found
    assert any(line.startswith("fieldworthy new my_robot.yaml") for line in found)
    assert len(commands(ROOT / "docs" / "files.md")) >= 5


def test_every_target_of_the_makefile_named_at_its_top_exists():
    text = (ROOT / "Makefile").read_text("utf-8")
    named = re.findall(r"^# make ([\w-]+):", text, re.MULTILINE)
    assert {"demo", "test", "test-long", "lint"} <= set(named)
    for target in named:
        assert re.search(rf"^{target}:", text, re.MULTILINE), target


@named(filter(yaml_blocks, DOCUMENTS))
def test_fenced_yaml_reads_and_its_quantities_too(document):
    found = yaml_blocks(document)
    assert found
    for lines in found:
        text = "\n".join(lines)
        if text.startswith("mass:"):  # three ways to write one quantity
            for line in lines:
                given = YAML(typ="safe").load(line)["mass"]
                mark = next(m for m in Mass.__metadata__ if isinstance(m, Of))
                assert mark.read(given).si == pytest.approx(2.4)
        else:
            assert isinstance(YAML(typ="safe").load(text), dict)


def python_of(document: Path) -> str:
    """Every line of Python that a document shows with what it prints."""
    found = (lines for language, lines in blocks(document.read_text("utf-8")) if language == "python")
    return "\n".join("\n".join(lines) for lines in found)


def test_python_shown_in_the_guide_runs_and_prints_what_is_shown(desk, monkeypatch):
    """In the order of the page, in the folder that the page names; those of docs/api.md run where they are written."""
    monkeypatch.chdir(desk / "examples" / "heron")
    shown = {document.name: python_of(document) for document in GUIDE}
    written = {name: text for name, text in shown.items() if text}
    assert "programmers.md" in written
    for name, text in written.items():
        test = doctest.DocTestParser().get_doctest(text, {}, name, name, 0)
        assert test.examples
        assert doctest.DocTestRunner().run(test).failed == 0


def test_the_guide_begins_with_a_list_of_its_chapters():
    listed = set(links(ROOT / "docs" / "guide" / "README.md"))
    assert {path.name for path in GUIDE} - {"README.md"} <= listed


def test_the_page_about_validation_is_what_the_tests_kept():
    made = runpy.run_path(str(ROOT / "docs" / "make_validation.py"))["made"]()
    assert (ROOT / "docs" / "validation.md").read_text("utf-8") == made, "run: python docs/make_validation.py"
    for system in ("balance", "drive", "air", "lift", "climb", "intake", "sorter", "tracking", "match", "compare",
                   "measure", "search", "chances", "whole files"):  # fmt: skip
        assert f"## {system[0].upper()}{system[1:]}\n" in made


def test_each_example_goes_from_describing_to_deciding_in_a_story_of_ten_lines():
    assert len(STORIES) >= 3
    for story in STORIES:
        text = story.read_text("utf-8")
        assert re.findall(r"^(\d+)\. ", text, re.MULTILINE) == [str(i) for i in range(1, 11)]
        assert "invented" in text
        folder = f"examples/{story.parent.name}"
        assert f"fieldworthy compare {folder}/mk1.yaml {folder}/mk2.yaml" in commands(story)
        robots = [load_robot(story.parent / f"{name}.yaml").robot for name in ("mk1", "mk2")]
        assert robots[0].robot != robots[1].robot


def test_the_nomenclature_is_what_declarations_and_docstrings_say():
    made = runpy.run_path(str(ROOT / "docs" / "make_nomenclature.py"))["text"]()
    kept = (ROOT / "docs" / "nomenclature.md").read_text("utf-8")
    assert kept == made, "run: python docs/make_nomenclature.py"


@named(filter(links, DOCUMENTS))
def test_links_lead_somewhere(document):
    text = document.read_text("utf-8")
    heads = {re.sub(r"[^\w -]", "", h.lower()).replace(" ", "-") for h in re.findall(r"^#+ (.+)$", text, re.MULTILINE)}
    targets = links(document)
    assert targets
    for target in targets:
        if target.startswith("#"):
            assert target[1:] in heads, f"{document.name}: {target}"
        elif "://" not in target:
            assert (document.parent / target.partition("#")[0]).exists(), f"{document.name}: {target}"


def test_the_file_reference_is_up_to_date():
    made = runpy.run_path(str(ROOT / "docs" / "make_files.py"))["text"]()
    kept = (ROOT / "docs" / "files.md").read_text("utf-8")
    assert kept == made, "run: python docs/make_files.py"


def test_the_chapters_about_findings_are_those_of_the_systems():
    made = runpy.run_path(str(ROOT / "docs" / "make_findings.py"))["text"]()
    kept = (ROOT / "docs" / "findings.md").read_text("utf-8")
    assert kept == made, "run: python docs/make_findings.py"


def test_the_file_reference_names_every_key_of_the_examples():
    text = (ROOT / "docs" / "files.md").read_text("utf-8")
    named = set(re.findall(r"^\| `(\w+)` \|", text, re.MULTILINE))
    missing = set()

    def look(spec) -> None:
        if isinstance(spec, dict):
            for item in spec.values():
                look(item)
        elif isinstance(spec, tuple):
            for item in spec:
                look(item)
        elif hasattr(type(spec), "model_fields"):
            missing.update(set(type(spec).model_fields) - named)
            for name in type(spec).model_fields:
                look(getattr(spec, name))

    for name in ("mk1", "mk2"):
        look(example(name).robot)
        look(example(name).season)
    assert missing == set()
    assert set(schema_of(Season).model_fields) <= named


def explained() -> set[str]:
    """What the systems' chapters explain: ids, with a star for a mechanism's or a tank's name, or a place's number."""
    chapters = "\n".join(system.findings_text() for system in systems())
    listed = (re.split(r",\s*", chunk) for chunk in re.findall(r"`([a-z][\w., *]*)`", chapters))
    return {re.sub(r"\.(NAME|N)$", ".*", word) for words in listed for word in words}


def is_explained(identifier: str, patterns: set[str]) -> bool:
    """Whether a pattern of two words or more fits it or its beginning, or it stands there itself."""
    beginnings = {pattern + ".*" for pattern in patterns if "." in pattern}
    return any(fnmatchcase(identifier, pattern) for pattern in patterns | beginnings)


def small_robots(folder: Path):
    """The small robot, and what it is without parts, with air, with a plan, and with the mechanisms of other tests."""
    from engine import test_evaluate
    from systems import test_balance, test_clamp, test_climb, test_grabber, test_lift, test_tracking

    yield {}, {}
    yield {"parts": GONE}, {}
    for changes in (test_balance.TIPPY, test_balance.NOSE_HEAVY, test_evaluate.STILL, test_lift.ROBOT):
        yield changes, {}
    yield {"mechanisms": {"slide": test_lift.GUIDE, "secret": {"kind": "plain"}}}, {}
    yield test_tracking.ROBOT, {}
    yield test_climb.ROBOT, test_climb.SEASON
    yield test_clamp.world()
    yield test_grabber.world()


def test_every_finding_of_examples_and_test_robots_is_explained(tmp_path):
    """Its id, or its id without the name of a mechanism, side or tank at the end, stands in a system's chapter."""
    patterns = explained()
    reports = [evaluate(example(name), samples=0) for name in ("mk1", "mk2", "otter")]
    reports += [check(tmp_path, robot, season) for robot, season in small_robots(tmp_path)]
    told = {item.id for report in reports for item in (*report.findings, *report.facts)}
    families = {family for system in systems() for family in system.families}
    assert {identifier.split(".")[0] for identifier in told} == families
    assert sorted(identifier for identifier in told if not is_explained(identifier, patterns)) == []


def identifier_of(call: ast.Call) -> str:
    """The written-out beginning of the id of an outcome that a call makes, or nothing."""
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    first = call.args[0] if name in ("Outcome", "unknown") and call.args else None
    while isinstance(first, ast.BinOp):
        first = first.left
    if isinstance(first, ast.JoinedStr):
        first = first.values[0]
    return first.value if isinstance(first, ast.Constant) and isinstance(first.value, str) else ""


def test_every_finding_that_the_code_can_make_is_explained():
    """Ids, and their beginnings before a name, as they are written out in the systems' modules."""
    patterns, made = explained(), set()
    for file in sorted((ROOT / "src" / "fieldworthy" / "systems").rglob("*.py")):
        made |= {identifier_of(n) for n in ast.walk(ast.parse(file.read_text("utf-8"))) if isinstance(n, ast.Call)}
    made -= {""}
    assert len(made) > 50
    known = {begin for begin in made if is_explained(begin, patterns) or any(p.startswith(begin) for p in patterns)}
    assert sorted(made - known) == []
