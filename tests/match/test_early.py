"""The loop before it is compiled, and where nothing compiled can be kept."""

import os
import subprocess
import sys
import tempfile
import time

import pytest

from fieldworthy.match import early, tallied, travel
from robots import EXAMPLES, example


@pytest.mark.long
def test_the_first_answer_is_that_of_the_compiled_loop_for_as_many_matches():
    words = ("fieldworthy.match.early", str(EXAMPLES / "mk1.yaml"), "whole", "3")
    done = subprocess.run([sys.executable, "-m", *words], capture_output=True, text=True, check=True,
                          env=os.environ | {"NUMBA_DISABLE_JIT": "1"})  # fmt: skip
    played = tallied(example(), early.RUNS, 3)
    assert done.stdout == f"{sum(v * n for v, n in played.points.items()) / early.RUNS:.0f}\n"


@pytest.mark.long
def test_a_first_answer_is_told_while_the_loop_is_not_ready(monkeypatch):
    told = []
    monkeypatch.setattr(early, "_ready", lambda: False)
    with early.told_early(EXAMPLES / "mk1.yaml", "whole", 0, told.append):
        until = time.monotonic() + 60.0
        while not told and time.monotonic() < until:
            time.sleep(0.05)
    assert told[0].startswith("First answer: ")


def test_no_first_answer_is_told_once_the_whole_is_there():
    told = []
    with early.told_early(EXAMPLES / "mk1.yaml", "whole", 0, told.append):
        pass
    assert told == []


def test_where_no_cache_can_be_written_a_folder_of_ones_own_is_used_and_told_once(tmp_path, monkeypatch, capsys):
    """As numba does, the loop is refused where it finds no folder to write to."""
    seen = []

    def refused(**options):
        def decorate(function):
            seen.append(options["cache"] and travel.config.CACHE_DIR)
            if options["cache"] and not travel.config.CACHE_DIR.startswith(str(tmp_path)):
                raise RuntimeError("cannot cache function: no locator available")
            return function

        return decorate

    monkeypatch.setattr(travel, "njit", refused)
    monkeypatch.setattr(travel.config, "CACHE_DIR", "")
    monkeypatch.setattr(tempfile, "gettempdir", lambda: str(tmp_path))
    assert travel.kept(len) is len
    (made,) = tmp_path.iterdir()
    assert seen == ["", str(made)]
    assert os.name != "posix" or made.stat().st_mode & 0o077 == 0
    assert str(made) in capsys.readouterr().err
    monkeypatch.setattr(travel.config, "CACHE_DIR", "")
    travel.kept(len)
    assert capsys.readouterr().err == ""
    made.rmdir()
    made.write_text("not a folder", encoding="utf-8")
    monkeypatch.setattr(travel.config, "CACHE_DIR", "")
    assert travel.kept(len) is len
    assert seen[-1] is False
