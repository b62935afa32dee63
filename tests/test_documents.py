"""Documents hold: tables come from the schema, every command that is shown runs, every link leads somewhere."""

from __future__ import annotations

import re
import runpy
import shlex
import shutil
import tomllib
from pathlib import Path

import pytest
from ruamel.yaml import YAML

from fieldworthy.cli.app import main
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.files import schema_of
from fieldworthy.files.kinds import Mass, Of
from fieldworthy.robot import load_robot
from fieldworthy.robot.model.season import Season
from robots import example
from web.browser import serving

ROOT = Path(__file__).parents[1]
DOCUMENTS = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
SHOWN = [d if d.name == "README.md" else pytest.param(d, marks=pytest.mark.long) for d in DOCUMENTS]
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
    return 1 if evaluate(load_robot(Path(file)), samples=0).short else 0


@pytest.mark.parametrize("document", SHOWN, ids=lambda p: p.name)
def test_commands_shown_run_and_end_as_promised(document, desk, capsys):
    robot = desk / "examples" / "heron" / "mk1.yaml"
    for shown in commands(document):
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


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda p: p.name)
def test_fenced_yaml_reads_and_its_quantities_too(document):
    for language, lines in blocks(document.read_text("utf-8")):
        if language != "yaml":
            continue
        text = "\n".join(lines)
        if text.startswith("mass:"):  # three ways to write one quantity
            for line in lines:
                given = YAML(typ="safe").load(line)["mass"]
                mark = next(m for m in Mass.__metadata__ if isinstance(m, Of))
                assert mark.read(given).si == pytest.approx(2.4)
        else:
            assert isinstance(YAML(typ="safe").load(text), dict)


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda p: p.name)
def test_links_lead_somewhere(document):
    text = document.read_text("utf-8")
    heads = {re.sub(r"[^\w -]", "", h.lower()).replace(" ", "-") for h in re.findall(r"^#+ (.+)$", text, re.MULTILINE)}
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        if target.startswith("#"):
            assert target[1:] in heads, f"{document.name}: {target}"
        elif "://" not in target:
            assert (document.parent / target.partition("#")[0]).exists(), f"{document.name}: {target}"


def test_the_file_reference_is_up_to_date():
    made = runpy.run_path(str(ROOT / "docs" / "make_files.py"))["text"]()
    kept = (ROOT / "docs" / "files.md").read_text("utf-8")
    assert kept == made, "run: python docs/make_files.py"


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


def test_every_finding_of_the_examples_is_explained():
    """Its id, or its id without the name of a mechanism, side or tank at the end, stands in docs/findings.md."""
    text = (ROOT / "docs" / "findings.md").read_text("utf-8")
    named = {n for chunk in re.findall(r"`([\w., *]+)`", text) for n in re.split(r",\s*", chunk)}
    stems = {name.removesuffix(".*") for name in named}
    for name in ("mk1", "mk2"):
        report = evaluate(example(name), samples=0)
        for item in (*report.findings, *report.facts):
            family = item.id.split(".")[0]
            if family in ("drive", "balance", "air", "limits"):
                parts = item.id.split(".")
                prefixes = {".".join(parts[:n]) for n in range(2, len(parts) + 1)}
                assert prefixes & stems, f"docs/findings.md does not explain {item.id}"
