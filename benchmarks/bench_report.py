"""Times the notebook of the example, and its peer: Chromium's print to PDF of the same notebook as HTML."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.match import match_clock, scores, summed, tallied, timeline
from fieldworthy.report.notebook import Content, Played, notebook
from fieldworthy.report.typeset import as_html, as_pdf
from fieldworthy.robot import load_robot

EXAMPLE = Path(__file__).parents[1] / "examples" / "heron" / "mk1.yaml"
RUNS = 2000


@pytest.fixture(scope="module")
def content():
    loaded = load_robot(EXAMPLE)
    base = Context(loaded.nominal, loaded.nominal_season)
    tally = tallied(loaded, RUNS, 0)
    found = summed(loaded, tally, timeline(base), (RUNS, 0))
    return Content(loaded, evaluate(loaded), "", "2026-11-25", Played(found, scores(tally, found), match_clock(base)))


@pytest.fixture(scope="module")
def paper(content):
    return notebook(content)


def test_cold_command(benchmark, tmp_path):
    """What a team waits for: a new process reads, checks, plays 2,000 matches, draws and sets 18 pages."""
    words = [sys.executable, "-m", "fieldworthy", "report", str(EXAMPLE), "-o", str(tmp_path / "n.pdf")]
    benchmark.pedantic(lambda: subprocess.run(words, check=True, capture_output=True), rounds=3, warmup_rounds=1)


def test_draw_and_lay_out(benchmark, content):
    benchmark.pedantic(lambda: notebook(content), rounds=3)


def test_set_as_pdf(benchmark, paper):
    benchmark.pedantic(lambda: as_pdf(paper), rounds=3, warmup_rounds=1)


def test_write_as_html(benchmark, paper):
    benchmark.pedantic(lambda: as_html(paper), rounds=3, warmup_rounds=1)


def test_peer_chromium_prints_the_same(benchmark, paper, tmp_path):
    """The browser's own typesetter, start included, as a command of its own would need it."""
    browser = shutil.which("chromium") or shutil.which("google-chrome")
    if browser is None:
        pytest.fail("the peer needs Chromium: 'make browser' installs it")
    page = tmp_path / "n.html"
    page.write_text(as_html(paper), encoding="utf-8")
    words = [browser, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path}/profile",
             f"--print-to-pdf={tmp_path}/n.pdf", page.as_uri()]  # fmt: skip
    benchmark.pedantic(lambda: subprocess.run(words, check=True, capture_output=True), rounds=3, warmup_rounds=1)
    assert (tmp_path / "n.pdf").stat().st_size > 10_000
