"""A file as it stands in one window: undo, saving, conflicts, and kills in the middle of a save."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge import ROBOT, SEASON, changed, written
from fieldworthy.files import BadInput
from fieldworthy.robot import load_robot
from fieldworthy.web.workspace import Conflict, Draft


@pytest.fixture
def draft(tmp_path):
    return Draft.read(written(tmp_path))


def test_a_draft_is_what_the_disk_has(draft):
    assert draft.text == ROBOT
    assert draft.changed == ()
    assert draft.steps[0] == 0
    assert draft.source.texts == ((draft.file, ROBOT),)


def test_what_is_changed_is_saved_and_nothing_else_is_written(draft):
    season = draft.file.parent / "season.yaml"
    draft.know({season: SEASON})
    before = season.stat().st_mtime_ns
    assert draft.change({draft.file: changed("motors: 4", "motors: 6")})
    assert draft.changed == (draft.file,)
    assert draft.save() == (draft.file,)
    assert "motors: 6" in draft.file.read_text("utf-8")
    assert season.stat().st_mtime_ns == before
    assert draft.changed == ()
    assert draft.save() == ()


def test_the_same_text_is_no_change(draft):
    assert not draft.change({draft.file: ROBOT})
    assert draft.steps[0] == 0


def test_steps_about_the_same_are_undone_as_one(draft):
    for value in ("5", "6", "7"):
        draft.change({draft.file: changed("motors: 4", f"motors: {value}")}, about="motors")
    draft.change({draft.file: changed("times: 4", "times: 5", draft.text)}, about="times")
    assert draft.undo()
    assert "motors: 7" in draft.text
    assert "times: 4" in draft.text
    assert draft.undo()
    assert draft.text == ROBOT
    assert not draft.undo()
    assert draft.redo()
    assert draft.redo()
    assert "times: 5" in draft.text
    assert not draft.redo()


def test_a_change_after_undo_forgets_what_was_undone(draft):
    draft.change({draft.file: changed("motors: 4", "motors: 5")})
    draft.undo()
    draft.change({draft.file: changed("motors: 4", "motors: 6")})
    assert draft.steps[1] == 0


@given(st.lists(st.sampled_from(["change", "undo", "redo", "save"]), max_size=30), st.randoms(use_true_random=False))
def test_undo_and_redo_at_random_follow_a_plain_model(tmp_path_factory, steps, chance):
    """Held to the plain model of undo: a list of texts and a place in it."""
    file = tmp_path_factory.getbasetemp() / "model.yaml"
    file.write_text("0", "utf-8")
    draft, texts, place = Draft.read(file), ["0"], 0
    assert (draft.text, bool(draft.changed)) == ("0", False)
    for step in steps:
        if step == "change":
            text = str(chance.randrange(1000)) + "x"
            if draft.change({file: text}):
                texts, place = [*texts[: place + 1], text], place + 1
        elif step == "undo":
            assert draft.undo() == (place > 0)
            place = max(0, place - 1)
        elif step == "redo":
            assert draft.redo() == (place < len(texts) - 1)
            place = min(len(texts) - 1, place + 1)
        else:
            draft.save()
            assert file.read_text("utf-8") == texts[place]
        assert draft.text == texts[place]
        assert bool(draft.changed) == (file.read_text("utf-8") != texts[place])


def test_another_text_on_the_disk_is_never_overwritten_silently(draft):
    draft.change({draft.file: changed("motors: 4", "motors: 6")})
    theirs = changed("motors: 4", "motors: 8")
    draft.file.write_text(theirs, "utf-8")
    with pytest.raises(Conflict) as found:
        draft.save()
    assert found.value.theirs == {draft.file: theirs}
    assert draft.file.read_text("utf-8") == theirs
    draft.save(over=True)
    assert "motors: 6" in draft.file.read_text("utf-8")


def test_the_same_change_made_elsewhere_is_no_conflict(draft):
    text = changed("motors: 4", "motors: 6")
    draft.change({draft.file: text})
    draft.file.write_text(text, "utf-8")
    assert draft.save() == (draft.file,)


def test_a_file_that_is_gone_is_a_conflict(draft):
    draft.change({draft.file: changed("motors: 4", "motors: 6")})
    draft.file.unlink()
    with pytest.raises(Conflict) as found:
        draft.save()
    assert found.value.theirs == {draft.file: None}
    draft.save(over=True)
    assert draft.file.exists()


def test_what_the_disk_has_can_be_taken_and_that_undone(draft):
    mine, theirs = changed("motors: 4", "motors: 6"), changed("motors: 4", "motors: 8")
    draft.change({draft.file: mine})
    draft.file.write_text(theirs, "utf-8")
    draft.take_theirs()
    assert draft.text == theirs
    assert draft.changed == ()
    draft.undo()
    assert draft.text == mine


def test_a_file_that_cannot_be_read_is_no_draft(tmp_path):
    with pytest.raises(BadInput):
        Draft.read(tmp_path / "none.yaml")


_NURSERY = """
import os, sys
from pathlib import Path
from fieldworthy.web.workspace import Draft
file = Path(sys.argv[1])
texts = [Path(name).read_text("utf-8") for name in sys.argv[2:4]]
for _ in sys.stdin:
    child = os.fork()
    if child == 0:
        draft, turn = Draft.read(file), 0
        while True:
            draft.change({file: texts[turn % 2]})
            draft.save(over=True)
            turn += 1
    print(child, flush=True)
    os.waitpid(child, 0)
"""


@pytest.mark.long
@pytest.mark.skipif(os.name == "nt", reason="a process is killed by its number on systems with signals")
def test_a_kill_at_any_moment_leaves_the_old_file_or_the_new_one(tmp_path):
    """Two hundred kills, each in the middle of saves one after the other."""
    file = written(tmp_path)
    texts = [ROBOT, changed("motors: 4", "motors: 6") + "# longer\n" * 400]
    names = [tmp_path / "text0.txt", tmp_path / "text1.txt"]
    for name, text in zip(names, texts, strict=True):
        name.write_text(text, "utf-8")
    chance, seen = random.Random(7), set()
    command = [sys.executable, "-c", _NURSERY, str(file), *map(str, names)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as nursery:
        assert nursery.stdin is not None
        assert nursery.stdout is not None
        for _ in range(200):
            nursery.stdin.write("one more\n")
            nursery.stdin.flush()
            child = int(nursery.stdout.readline())
            time.sleep(chance.uniform(0.0, 0.02) * (10.0 if len(seen) < 2 else 1.0))  # until both texts were met
            os.kill(child, signal.SIGKILL)
            text = file.read_text("utf-8")
            assert text in texts, f"{len(text)} characters that are neither the old file nor the new one"
            seen.add(texts.index(text))
            load_robot(file)
        nursery.stdin.close()
    assert seen == {0, 1}, "the kills met both texts"
