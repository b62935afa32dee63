"""Plots of a fit: every set of readings is in one, a few to a procedure, each under a title that can be read."""

from __future__ import annotations

import shutil
from xml.etree import ElementTree

import pytest

from edge import run
from fieldworthy.drawing.style import Style
from fieldworthy.measure import load_measurements
from fieldworthy.measure.figure import plots
from fieldworthy.measure.fit import fit
from fieldworthy.measure.result import Procedure, Residuals
from robots import EXAMPLES


@pytest.fixture
def desk(tmp_path):
    shutil.copytree(EXAMPLES, tmp_path / "heron")
    return tmp_path / "heron"


@pytest.mark.long
def test_every_set_of_readings_has_its_plots(desk, tmp_path):
    robot, file, folder = desk / "mk1.yaml", desk / "mk1_measurements.yaml", tmp_path / "new" / "plots"
    ended = run("fit", robot, file, "--samples", 0, "--plots", folder)
    assert ended.code == 0
    report = fit(load_measurements(file, robot), samples=0)
    names = [data.name for procedure in report.procedures for data in procedure.residuals]
    written = sorted(folder.iterdir())
    assert 2 * len(report.procedures) > len(written) > 10
    assert len(names) > 20
    assert f"{len(written)} plots" in ended.err
    shown = []
    for path in written:
        root = ElementTree.parse(path).getroot()
        words = [text.text or "" for text in root.iter("{http://www.w3.org/2000/svg}text")]
        assert root[0].text in words
        shown.append(" ".join(words).casefold())
    for name in names:
        assert any(name.casefold() in words for words in shown), name


def test_many_weighings_make_no_more_plots_than_three(desk, tmp_path):
    """As many files as there are kinds of readings, not as there are readings; a model that is one number is a line."""
    again = Residuals("force of push 1", "reading", "", (1.0, 2.0, 3.0), "force", (79.0, 81.0, 80.0), (80.0,) * 3)
    many = Residuals("Scales", "reading", "", tuple(range(300)), "mass", tuple(range(300)), tuple(range(1, 301)))
    found = plots(
        [Procedure("scales", "Scales", residuals=(many,)), Procedure("drive", "Drive", residuals=(again,))], Style()
    )
    assert set(found) == {"Scales", "Scales, against the model", "Drive"}


@pytest.mark.long
def test_a_folder_that_cannot_be_is_refused_in_a_sentence(desk, tmp_path):
    (tmp_path / "taken").write_text("a file", "utf-8")
    ended = run("fit", desk / "mk1.yaml", desk / "mk1_measurements.yaml", "--samples", 0, "--plots", tmp_path / "taken")
    assert ended.code == 2
    assert "expected a folder" in ended.err
    assert (tmp_path / "taken").read_text("utf-8") == "a file"
