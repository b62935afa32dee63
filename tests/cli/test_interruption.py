"""Ctrl-C at any moment: one line and status 130; and what went wrong is told by the status where no line can be."""

import importlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from edge import ROBOT, run, written
from fieldworthy.match import blocks
from robots import EXAMPLES

COMMAND = [sys.executable, "-m", "fieldworthy"]
ON_POSIX = pytest.mark.skipif(os.name != "posix", reason="sends a signal as a terminal does")

# a library that loses what is raised while it works, as callbacks of compiled ones do
DEAF = """
import importlib, os, signal, sys, time
module = importlib.import_module("{module}")
def lost(*_, **__):
    try:
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.05)
    except BaseException:
        pass
    return {value}
module.{name} = lost
from fieldworthy.cli import main
sys.argv = ["fieldworthy", {words}]
main()
"""
LOADING = """
import importlib, os, signal, sys, time
class Stop:
    def find_spec(self, name, path=None, target=None):
        if name == "{module}":
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(0.05)
sys.meta_path.insert(0, Stop())
from fieldworthy.cli import main
sys.argv = ["fieldworthy", {words}]
main()
"""


def ended(code, folder):
    done = subprocess.run([sys.executable, "-c", code], cwd=folder, capture_output=True, text=True, check=False)
    return done.returncode, done.stderr


@ON_POSIX
@pytest.mark.parametrize("module", ["fieldworthy.cli.app", "fieldworthy.cli.checking", "numpy", "pydantic_core"])
def test_stopped_while_a_module_loads(tmp_path, module):
    words = f'"check", {str(written(tmp_path))!r}'
    assert ended(LOADING.format(module=module, words=words), tmp_path) == (130, "interrupted\n")


@ON_POSIX
def test_stopped_where_a_library_loses_it(tmp_path):
    words = f'"check", {str(written(tmp_path))!r}'
    code = DEAF.format(module="fieldworthy.cli.checking", name="run_check", value="False", words=words)
    assert ended(code, tmp_path) == (130, "interrupted\n")


@pytest.mark.parametrize("compared", [[], ["--compare", str(EXAMPLES / "mk2.yaml")]])
def test_no_document_is_made_of_fewer_matches_than_it_says(tmp_path, monkeypatch, compared):

    def stopped(*words, **more):
        yield next(blocks(*words, **more))
        raise KeyboardInterrupt

    for module in ("match.forecast", "decide.compare"):
        monkeypatch.setattr(importlib.import_module(f"fieldworthy.{module}"), "blocks", stopped)
    file = tmp_path / "book.html"
    ended = run("report", EXAMPLES / "mk1.yaml", "-o", file, "--runs", "20000", *compared)
    assert (ended.code, file.exists()) == (130, False)


@ON_POSIX
def test_a_library_that_loses_it_while_matches_are_played(tmp_path):
    """What is done would be printed, but nothing comes out of a library that takes it all: the command ends itself."""
    words = f'"match", {str(written(tmp_path))!r}'
    code = DEAF.format(module="fieldworthy.match.forecast", name="blocks", value="iter(lambda: time.sleep(300), 0)",
                       words=words)  # fmt: skip
    began = time.monotonic()
    assert ended(code, tmp_path) == (130, "interrupted\n")
    assert time.monotonic() - began < 150.0  # half of what the library would have taken


@ON_POSIX
@pytest.mark.long
@pytest.mark.parametrize(
    "words",
    [
        ["check", "mk1.yaml"],
        ["report", "mk1.yaml", "-o", "{folder}/book.html", "--runs", "200"],
        ["compare", "mk1.yaml", "mk2.yaml", "--runs", "3000"],
        ["fit", "mk1.yaml", "mk1_measurements.yaml"],
    ],
)
def test_stopped_at_any_moment(words, tmp_path):
    """From when the interpreter has started until the end, in steps of a fifth of a second."""
    stopped = 0
    for wait in (0.3 + 0.2 * i for i in range(60)):
        run = subprocess.Popen(
            [*COMMAND, *(word.format(folder=tmp_path) for word in words)],
            cwd=EXAMPLES,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        try:
            _, err = run.communicate(timeout=wait)
            assert (run.returncode in (0, 1), err) == (True, ""), wait
            break  # it was done before
        except subprocess.TimeoutExpired:
            run.send_signal(signal.SIGINT)
        _, err = run.communicate(timeout=10)
        if run.returncode in (0, 1) and err == "":
            break  # it was all but done
        assert (run.returncode, len(err.splitlines()), err[:11]) == (130, 1, "interrupted"), wait
        stopped += 1
    assert stopped >= 2


@pytest.mark.skipif(not Path("/dev/full").is_char_device(), reason="only Linux has a disk that is always full")
@pytest.mark.parametrize("words", [["check", "none.yaml"], ["check", "robot.yaml", "--no-such"], ["new", "robot.yaml"]])
def test_where_the_error_cannot_be_written_the_status_still_tells_it(tmp_path, words):
    written(tmp_path, ROBOT)
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        done = subprocess.run([*COMMAND, *words], cwd=tmp_path, stdout=subprocess.PIPE, stderr=full, check=False)
    assert (done.returncode, done.stdout) == (2, b"")


@pytest.mark.long
@ON_POSIX
@pytest.mark.parametrize("closed", [0, 1, 2])
def test_a_stream_that_is_closed(tmp_path, closed):
    written(tmp_path, ROBOT)
    for words, code in ((["check", "none.yaml"], 2), (["new", "made.yaml"], 0)):
        shell = f'exec "$@" {closed}>&-'
        done = subprocess.run(["sh", "-c", shell, "sh", *COMMAND, *words], cwd=tmp_path, capture_output=True,
                              text=True, check=False)  # fmt: skip
        assert done.returncode == code
        assert "Traceback" not in done.stderr
