"""Saving: old or new at any moment, the old one kept, no other's change written over."""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import date
from multiprocessing.connection import Connection
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldworthy.files import BadInput, writing
from fieldworthy.files.document import keep_within, opened, read_text
from fieldworthy.files.writing import (
    Changed,
    Clash,
    as_of,
    dated_copies,
    fingerprint,
    is_dated_copy,
    merged,
    write_atomically,
    written,
)
from fieldworthy.robot import load_robot
from robots import example_copy

DAY = date(2026, 11, 25)
KILLS = 15


def test_the_old_file_is_kept_under_the_day_and_no_copy_is_written_over(tmp_path: Path) -> None:
    file = tmp_path / "mk1.yaml"
    for text in ("one\r\n", "two\n", "three\n", "four\n"):
        written({file: text}, copy_dated=DAY)
    assert file.read_bytes() == b"four\n"
    kept = {p.name: p.read_bytes() for p in tmp_path.iterdir() if p != file}
    assert kept == {
        "mk1.2026-11-25.yaml": b"one\r\n",
        "mk1.2026-11-25-2.yaml": b"two\n",
        "mk1.2026-11-25-3.yaml": b"three\n",
    }
    assert all(is_dated_copy(tmp_path / name) for name in kept)
    assert not is_dated_copy(file)
    assert written({file: "four\n"}, copy_dated=DAY) == ()
    assert written({file: "five\n"}, copy_dated=None) == ()
    assert len(list(tmp_path.iterdir())) == 4


def test_a_file_that_has_changed_since_is_not_written_over(tmp_path: Path) -> None:
    mine, other = tmp_path / "mk1.yaml", tmp_path / "season.yaml"
    mine.write_text("one\n", "utf-8")
    other.write_text("one\n", "utf-8")
    expect = {mine: fingerprint(mine), other: fingerprint(other)}
    other.write_text("of another window\n", "utf-8")
    with pytest.raises(BadInput, match="has changed since it was read"):
        written({mine: "two\n", other: "two\n"}, copy_dated=DAY, expect=expect)
    assert (mine.read_text("utf-8"), other.read_text("utf-8")) == ("one\n", "of another window\n")
    assert len(list(tmp_path.iterdir())) == 2
    written({mine: "two\n"}, copy_dated=None, expect={mine: fingerprint(mine)})
    assert mine.read_text("utf-8") == "two\n"


def test_a_new_file_is_expected_to_be_none(tmp_path: Path) -> None:
    file = tmp_path / "new.yaml"
    assert fingerprint(file) == ""
    assert written({file: "one\n"}, copy_dated=DAY, expect={file: ""}) == ()
    with pytest.raises(BadInput, match="there is a file of this name already"):
        written({file: "two\n"}, copy_dated=DAY, expect={file: ""})


def test_mode_and_byte_order_mark_stay(tmp_path: Path) -> None:
    file = tmp_path / "mk1.yaml"
    file.write_bytes(b"\xef\xbb\xbfone\n")
    file.chmod(0o640)
    written({file: "zwei ü\n"}, copy_dated=DAY)
    assert file.read_bytes() == b"\xef\xbb\xbf" + "zwei ü\n".encode()
    assert file.stat().st_mode & 0o777 in (0o640, 0o666)  # Windows knows only whether a file is read-only


def test_a_file_that_cannot_be_written_leaves_the_others_alone(tmp_path: Path) -> None:
    file = tmp_path / "mk1.yaml"
    file.write_text("one\n", "utf-8")
    for bad in (tmp_path / "none" / "season.yaml", tmp_path):
        with pytest.raises(BadInput):
            written({file: "two\n", bad: "two\n"}, copy_dated=DAY)
    assert [p.name for p in tmp_path.iterdir()] == ["mk1.yaml"]
    assert file.read_text("utf-8") == "one\n"


_SAVER = """
import sys
from pathlib import Path
from fieldworthy.files.writing import written
file = Path(sys.argv[1])
old = file.read_text("utf-8")
new = old.replace("hours_left: 14 h", "hours_left: 15 h") + "# " + "x" * 400_000 + "\\n"
print("ready", flush=True)
while True:
    written({file: new}, copy_dated=None)
    written({file: old}, copy_dated=None)
"""


@pytest.mark.long
def test_a_kill_at_any_moment_leaves_the_old_file_or_the_new_one(tmp_path: Path) -> None:
    file = example_copy(tmp_path)
    old = file.read_text("utf-8")
    new = old.replace("hours_left: 14 h", "hours_left: 15 h") + "# " + "x" * 400_000 + "\n"
    draw = random.Random(5)
    seen = set()
    for _ in range(KILLS):
        file.write_text(old, "utf-8")
        saver = subprocess.Popen([sys.executable, "-c", _SAVER, str(file)], stdout=subprocess.PIPE)
        assert saver.stdout is not None
        assert saver.stdout.readline().strip() == b"ready"
        time.sleep(draw.uniform(0.0, 0.05))
        saver.kill()
        saver.wait()
        saver.stdout.close()
        found = file.read_text("utf-8")
        assert found in (old, new)
        seen.add(found)
    assert load_robot(file).nominal.hours_left in (14 * 3600, 15 * 3600)
    assert seen == {old, new}, "the kills must fall on both sides of a save"


def _race(line: Connection, own: str) -> None:
    """Save again and again at a signal that both savers get at the same instant, as two windows would."""
    looked, draw = writing._refuse_changed, random.Random(own)

    def looked_slowly(expect: object) -> None:
        looked(expect)  # type: ignore[arg-type]
        time.sleep(draw.choice([0.0, 0.002]))  # the system lets the other program run just here

    writing._refuse_changed = looked_slowly
    line.send("ready")
    for number, (files, seen, at) in enumerate(iter(line.recv, None)):
        while time.perf_counter() < at:
            pass  # a sleep would wake up at another time in each of both
        try:
            written(dict.fromkeys(files, f"{own} {number}\n"), copy_dated=None, expect=dict.fromkeys(files, seen))
            line.send(f"{own} {number}\n")
        except Changed:
            line.send("")


def _raced(folder: Path, races: int) -> None:
    context = multiprocessing.get_context("spawn")
    files = [folder / f"mk{i}.yaml" for i in range(4)]
    lines: list[Connection] = []
    savers = []
    for own in ("this one", "the other"):
        here, there = context.Pipe()
        lines.append(here)
        savers.append(context.Process(target=_race, args=(there, own), daemon=True))
        savers[-1].start()
    assert all(line.poll(60) and line.recv() == "ready" for line in lines)
    winners = []
    for number in range(races):
        for file in files:
            file.write_text("before\n", "utf-8")
        for line in lines:
            line.send((files, fingerprint("before\n"), time.perf_counter() + 0.005))
        told = [line.recv() for line in lines if line.poll(60)]
        assert len(told) == 2
        won = [text for text in told if text]
        assert len(won) == 1, f"race {number}: {len(won)} of two savers think that they have saved"
        assert [file.read_text("utf-8") for file in files] == won * len(files)
        winners.append(won[0][:4])
    for line, saver in zip(lines, savers, strict=True):
        line.send(None)
        saver.join(20)
        assert saver.exitcode == 0
    assert races < 100 or len(set(winners)) == 2, "no race when the same one is always first"
    assert {p.name for p in folder.iterdir()} <= {file.name for file in files} | {".fieldworthy.lock"}


def test_of_two_programs_that_save_at_the_same_instant_one_is_told(tmp_path: Path) -> None:
    _raced(tmp_path, 25)


@pytest.mark.long
def test_hundreds_of_races_lose_no_text(tmp_path: Path) -> None:
    _raced(tmp_path, 400)


_DYING = """
import os, signal, sys
from pathlib import Path
from fieldworthy.files.writing import written
os.fsync = lambda handle: os.kill(os.getpid(), signal.SIGKILL)
written({Path(sys.argv[1]): "new\\n"}, copy_dated=None)
"""


@pytest.mark.skipif(os.name != "posix", reason="a kill leaves a process no moment to tidy up only there")
def test_what_a_killed_save_leaves_is_removed_at_the_next_save(tmp_path: Path) -> None:
    file = tmp_path / "mk1.yaml"
    file.write_text("old\n", "utf-8")
    ended = subprocess.run([sys.executable, "-c", _DYING, str(file)], check=False)
    assert ended.returncode == -signal.SIGKILL
    (left,) = tmp_path.glob(".*.tmp")
    place = left.name.split("-")[1]
    living = tmp_path / f".mk1.yaml.fieldworthy-{place}-{os.getpid()}-0123abcd.tmp"
    elsewhere = tmp_path / ".mk1.yaml.fieldworthy-00000000-1-0123abcd.tmp"
    elsewhere_old = tmp_path / ".mk2.yaml.fieldworthy-00000000-1-0123abcd.tmp"
    foreign = tmp_path / ".mk1.yaml.0123abcd.tmp"
    for each in (living, elsewhere, elsewhere_old, foreign):
        each.write_text("x", "utf-8")
    for each in (elsewhere_old, foreign):
        os.utime(each, (time.time() - 90_000,) * 2)
    assert file.read_text("utf-8") == "old\n"
    written({tmp_path / "another.yaml": "one\n"}, copy_dated=None)
    assert set(tmp_path.iterdir()) == {file, tmp_path / "another.yaml", living, elsewhere, foreign}


def test_a_text_that_was_read_is_known_again(tmp_path: Path) -> None:
    file = tmp_path / "mk1.yaml"
    for raw in ("één\r\n".encode(), b"\xef\xbb\xbfone\n"):
        file.write_bytes(raw)
        assert fingerprint(read_text(file)) == fingerprint(file) == fingerprint(raw)
    assert fingerprint("one\n") != fingerprint("two\n")


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Path]:
    """A folder that this process keeps to, with a file outside of it."""
    folder = tmp_path / "team"
    folder.mkdir()
    (tmp_path / "outside.yaml").write_text("secret\n", "utf-8")
    keep_within(folder)
    yield folder
    keep_within(None)


@pytest.mark.skipif(os.name != "posix", reason="links need a right there that few accounts have")
def test_no_link_leads_out_of_the_folder_to_read_or_to_write(kept: Path) -> None:
    outside = kept.parent / "outside.yaml"
    (kept / "link.yaml").symlink_to(outside)
    (kept / "below").symlink_to(kept.parent)
    (kept / "own.yaml").write_text("own\n", "utf-8")
    (kept / "inside.yaml").symlink_to(kept / "own.yaml")
    for bad in (kept / "link.yaml", kept / "below" / "outside.yaml", outside, kept / ".." / "outside.yaml"):
        for tried in (
            lambda: read_text(bad),  # noqa: B023  called at once
            lambda: fingerprint(bad),  # noqa: B023
            lambda: write_atomically(bad, "over\n"),  # noqa: B023
            lambda: written({bad: "over\n"}, copy_dated=DAY),  # noqa: B023
            lambda: load_robot(bad),  # noqa: B023
        ):
            with pytest.raises(BadInput, match="leads out"):
                tried()
    assert outside.read_text("utf-8") == "secret\n"
    written({kept / "inside.yaml": "new\n"}, copy_dated=None)
    assert (kept / "own.yaml").read_text("utf-8") == read_text(kept / "inside.yaml") == "new\n"
    assert (kept / "inside.yaml").is_symlink()


@pytest.mark.skipif(os.name != "posix", reason="links need a right there that few accounts have")
@pytest.mark.parametrize("name", ["glasshouse.yaml", "mk1_parts.csv"])
def test_a_link_that_a_robot_file_names_leads_out_neither(kept: Path, name: str) -> None:
    robot = example_copy(kept)
    named = kept / name
    load_robot(robot)
    named.rename(kept.parent / "moved")
    named.symlink_to(kept.parent / "moved")
    with pytest.raises(BadInput, match="found a link that leads out of its folder called") as told:
        load_robot(robot)
    assert any(p.file == robot and p.line > 1 for p in told.value.problems)
    keep_within(None)  # who types a command names the robot alone: what its file names may be another team's
    with pytest.raises(BadInput, match="found a link that leads out of its folder called"):
        load_robot(robot)
    (kept / "inner").mkdir()
    (kept.parent / "moved").rename(kept / "inner" / "moved")
    named.unlink()
    named.symlink_to(kept / "inner" / "moved")
    assert load_robot(robot)
    (kept.parent / "link.yaml").symlink_to(robot)
    with pytest.raises(BadInput, match="beside this one"):
        load_robot(kept.parent / "link.yaml")


@pytest.mark.skipif(os.name != "posix", reason="only there are pipes files")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    robot = example_copy(tmp_path)
    os.mkfifo(tmp_path / "pipe.yaml")
    signal.alarm(30)  # ends the run where one of these waits
    for tried in (read_text, load_robot, fingerprint, opened):
        with pytest.raises(BadInput, match="found a device or a pipe"):
            tried(tmp_path / "pipe.yaml")
    text = robot.read_text("utf-8")
    season = next(line for line in text.splitlines() if line.startswith("season:"))
    robot.write_text(text.replace(season, "season: pipe.yaml"), "utf-8")
    with pytest.raises(BadInput, match=r"season: .*found a device or a pipe called 'pipe\.yaml'"):
        load_robot(robot)
    signal.alarm(0)


def test_a_season_that_is_a_folder_is_called_one(tmp_path: Path) -> None:
    robot = example_copy(tmp_path)
    (tmp_path / "d.yaml").mkdir()
    text = robot.read_text("utf-8")
    season = next(line for line in text.splitlines() if line.startswith("season:"))
    robot.write_text(text.replace(season, "season: d.yaml"), "utf-8")
    with pytest.raises(BadInput, match=r"season: .*found a directory called 'd\.yaml'\)$"):
        load_robot(robot)


BASE = "".join(f"line {i}\n" for i in range(12))


@st.composite
def changed_lines(draw, who):
    """The lines of the base with some replaced, taken out or put in; new lines are unlike any other."""
    lines = []
    for i in range(12):
        what = draw(st.sampled_from(("same",) * 6 + ("new", "out", "more")))
        lines += {"same": [f"line {i}"], "new": [f"{who} {i}"], "out": [], "more": [f"{who} above {i}", f"line {i}"]}[
            what
        ]
    return "".join(f"{line}\n" for line in lines)


@given(changed_lines("mine"), changed_lines("theirs"))
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_two_changes_of_a_text_come_together_as_git_merges_them(tmp_path, mine, theirs):
    """Where `git merge-file` sees no conflict, as an independent three-way merge, the text is the same."""
    files = {name: tmp_path / name for name in ("mine", "base", "theirs")}
    for name, text in (("mine", mine), ("base", BASE), ("theirs", theirs)):
        files[name].write_bytes(text.encode())
    ran = subprocess.run(["git", "merge-file", "-p", *map(str, files.values())], capture_output=True, check=False)
    text, clashes = merged(BASE, mine, theirs)
    if ran.returncode == 0:
        assert not clashes
        assert text.encode() == ran.stdout
    assert merged(BASE, mine, mine) == (mine, ())
    assert merged(BASE, BASE, theirs) == (theirs, ())


def test_lines_beside_each_other_do_not_clash_and_the_same_line_does():
    """Worked by hand."""
    base = "a: 1\nb: 2\nc: 3\n"
    assert merged(base, "a: 9\nb: 2\nc: 3\n", "a: 1\nb: 8\nc: 3\n") == ("a: 9\nb: 8\nc: 3\n", ())
    mine, theirs = "a: 1\nb: 7\nc: 3\n", "a: 1\nb: 8\nc: 4\n"
    assert merged(base, mine, theirs) == ("a: 1\nb: 7\nc: 4\n", (Clash(2, ("b: 7\n",), ("b: 8\n",)),))
    assert merged(base, mine, theirs, prefer_mine=False)[0] == theirs
    assert merged(base, base + "d: 1\n", base + "d: 2\n")[1] == (Clash(4, ("d: 1\n",), ("d: 2\n",)),)


def test_what_files_said_until_a_day_is_found_among_their_copies(tmp_path: Path) -> None:
    robot, parts, other = (tmp_path / name for name in ("mk1.yaml", "mk1_parts.csv", "mk1.2.yaml"))
    for file in (robot, parts, other):
        file.write_text("now", "utf-8")
    for name in (
        "mk1.2026-11-25.yaml",
        "mk1.2026-11-25-2.yaml",
        "mk1.2026-11-27.yaml",
        "mk1_parts.2026-11-26.csv",
        "mk1.2.2026-11-01.yaml",
    ):
        (tmp_path / name).write_text(name, "utf-8")  # fmt: skip
    assert list(dated_copies(robot)) == [("2026-11-27", 1), ("2026-11-25", 2), ("2026-11-25", 1)]

    def names(day: str, number: int = 1) -> list[str]:
        return [path.name for path in as_of((robot, parts), (day, number)).values()]

    assert names("2026-11-25") == ["mk1.2026-11-25.yaml", "mk1_parts.2026-11-26.csv"]
    assert names("2026-11-25", 2) == ["mk1.2026-11-25-2.yaml", "mk1_parts.2026-11-26.csv"]
    assert names("2026-11-27") == ["mk1.2026-11-27.yaml", "mk1_parts.csv"]
    assert names("2026-11-28") == ["mk1.yaml", "mk1_parts.csv"]
