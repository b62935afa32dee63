"""What goes wrong at an event: the wrong file handed over, written over, a full disk, an impatient Ctrl+C."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from edge import changed, run, written

LOG = """fieldworthy: faults 1
uses: {score: 10}
failures: [{what: 'tube <&"#$*_@ off', where: score, date: 2026-11-07}]
"""
READINGS = "fieldworthy: measurements 1\nrobot: robot.yaml\npractice: {score: {successes: 3, attempts: 4, date: %s}}\n"
COMMAND = [sys.executable, "-m", "fieldworthy"]
ON_POSIX = pytest.mark.skipif(os.name != "posix", reason="Windows has neither pipes with names nor these signals")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    written(tmp_path)
    (tmp_path / "faults.yaml").write_text(LOG, encoding="utf-8")
    (tmp_path / "readings.yaml").write_text(READINGS % "2026-11-07", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(
    "words",
    [
        "export robot.yaml -o robot.yaml",
        "export robot.yaml -o ./season.yaml",
        "export robot.yaml -o other-name.json",
        "match robot.yaml --runs 2 --csv season.yaml",
        "parts robot.yaml --from cad.csv -o cad.csv",
    ],
)
def test_no_command_writes_over_what_it_reads(folder, words):
    (folder / "cad.csv").write_text("part,mass [g]\nframe,5000\n", encoding="utf-8")
    (folder / "other-name.json").hardlink_to(folder / "robot.yaml")
    before = {file.name: file.read_bytes() for file in folder.iterdir()}
    ended = run(*words.split())
    assert ended.code == 2
    assert "would be lost" in ended.err
    assert {file.name: file.read_bytes() for file in folder.iterdir()} == before


@ON_POSIX
@pytest.mark.parametrize("words", ["export robot.yaml -o pipe", "sheet scales -o pipe.md"])
def test_a_pipe_or_device_is_not_replaced_by_a_file(folder, words):
    pipe = folder / words.split()[-1]
    os.mkfifo(pipe)
    ended = run(*words.split())
    assert (ended.code, ended.out) == (2, "")
    assert "a device or a pipe" in ended.err
    assert pipe.is_fifo()


@pytest.mark.parametrize("day", ["2026-02-30", "20261107", "2026-W45-6", "7.11.2026", "2026-1-7", "today"])
def test_a_date_is_a_day_of_the_calendar_everywhere(folder, day):
    (folder / "readings.yaml").write_text(READINGS % f"'{day}'", encoding="utf-8")
    (folder / "faults.yaml").write_text(LOG.replace("2026-11-07", f"'{day}'"), encoding="utf-8")
    for words in ("inspect robot.yaml --date {}", "card robot.yaml --date {}", "report robot.yaml --date {}"):
        ended = run(*words.format(day).split())
        assert ended.code == 2
        assert "expected a date such as 2026-11-25" in ended.err
    for words in ("fit robot.yaml readings.yaml", "faults robot.yaml faults.yaml --runs 2"):
        ended = run(*words.split())
        assert ended.code == 2
        assert "expected a date such as" in ended.err
    assert not list(folder.glob("*.pdf"))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["fit", "r" * 300, "readings.yaml"], "cannot be read"),
        (["fit", "readings.yaml", "robot.yaml"], "expected 'robot 1' (found 'measurements 1')"),
        (["faults", "robot.yaml", "faults.yaml", "--seed", str(2**64)], "--seed"),
        (["match", "robot.yaml", "--seed", str(2**64)], "--seed"),
        (["report", "robot.yaml", "--weights", "points=1,points=2"], "'points' once"),
        (["parts", "robot.yaml", "--columns", "mass=Mass"], "--from"),
        (["parts", "robot.yaml", "--from", "part.csv"], "did you mean 'parts.csv'?"),
        (["parts", "robot.yaml", "--from", "."], "found a directory"),
    ],
)
def test_a_slip_is_named_and_nothing_is_written(folder, words, says):
    before = sorted(file.name for file in folder.iterdir())
    ended = run(*words)
    assert (ended.code, ended.out) == (2, "")
    assert says in ended.err
    assert sorted(file.name for file in folder.iterdir()) == before


def test_names_that_json_wrote_in_two_halves_are_printed_whole(folder):
    (folder / "robot.yaml").write_text(changed("robot: Small", 'robot: "a \\ud83e\\udd16"'), encoding="utf-8")
    assert run("check", "robot.yaml", "--samples", "0").out.startswith("a \U0001f916 in Test season")
    assert run("card", "robot.yaml", "-o", "card.pdf").code == 0


@pytest.mark.parametrize(
    ("what", "words"),
    [
        ("fit", "fit robot.yaml readings.yaml --json --samples 10"),
        ("faults", "faults robot.yaml faults.yaml --json --runs 10"),
        ("export", "export robot.yaml"),
    ],
)
def test_the_output_follows_its_published_schema(folder, what, words):
    schema = json.loads(run("schema", what).out)
    data = json.loads(run(*words.split()).out)
    assert list(Draft202012Validator(schema).iter_errors(data)) == []


@pytest.mark.long
@ON_POSIX
def test_a_reader_that_leaves_is_not_something_short(folder):
    """A robot that is short ends with 1; one whose reader has left has ended as its reader wanted."""
    read, write = os.pipe()
    os.close(read)
    for words in (["check", "robot.yaml", "--samples", "0", "--exit-zero"], ["schema", "robot"]):
        ended = subprocess.run([*COMMAND, *words], stdout=write, stderr=subprocess.PIPE, text=True, check=False)
        assert (ended.returncode, ended.stderr) == (0, "")
    os.close(write)


@pytest.mark.long
@pytest.mark.skipif(not Path("/dev/full").is_char_device(), reason="only Linux has a disk that is always full")
@pytest.mark.parametrize("words", [["sheet", "scales"], ["check", "robot.yaml", "--samples", "0"]])
def test_a_full_disk_is_told(folder, words):
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        ended = subprocess.run([*COMMAND, *words], stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert ended.returncode == 2
    assert ended.stderr.startswith("expected to print what was found")
    assert ended.stderr.count("\n") == 1


def test_stopped_while_it_loads_it_says_so():
    guarded = (
        "import sys\nfrom fieldworthy.cli import main\n"
        "class Stop:\n    def find_spec(self, name, path=None, target=None):\n"
        "        if name == 'fieldworthy.cli.app':\n            raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Stop())\nmain(['--version'])\n"
    )
    ended = subprocess.run([sys.executable, "-c", guarded], capture_output=True, text=True, check=False)
    assert (ended.returncode, ended.stderr) == (130, "interrupted\n")
