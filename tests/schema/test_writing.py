"""Saving: old or new at any moment, the old one kept, no other's change written over."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from datetime import date
from pathlib import Path

import pytest

from fieldworthy.files import BadInput
from fieldworthy.files.writing import fingerprint, is_dated_copy, written
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
    with pytest.raises(BadInput, match="has changed since"):
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
