"""Residual plots of a fit: one pair for each set of readings, and the numbers in them are those of the fit."""

from __future__ import annotations

import shutil
from xml.etree import ElementTree

import pytest

from edge import run
from fieldworthy.measure import load_measurements
from fieldworthy.measure.fit import fit
from robots import EXAMPLES


@pytest.fixture
def desk(tmp_path):
    shutil.copytree(EXAMPLES, tmp_path / "heron")
    return tmp_path / "heron"


def test_every_set_of_readings_has_its_plots(desk, tmp_path):
    robot, file, folder = desk / "mk1.yaml", desk / "mk1_measurements.yaml", tmp_path / "new" / "plots"
    ended = run("fit", robot, file, "--samples", 0, "--plots", folder)
    assert ended.code == 0
    report = fit(load_measurements(file, robot), samples=0)
    names = [data.name for procedure in report.procedures for data in procedure.residuals]
    written = sorted(folder.iterdir())
    assert len(written) == 2 * len(names) > 20
    assert f"{len(written)} plots" in ended.err
    titles = [ElementTree.parse(path).getroot()[0].text or "" for path in written]
    for name in set(names):
        assert sum(title.startswith(f"{name}:") for title in titles) == 2 * names.count(name)


def test_a_folder_that_cannot_be_is_refused_in_a_sentence(desk, tmp_path):
    (tmp_path / "taken").write_text("a file", "utf-8")
    ended = run("fit", desk / "mk1.yaml", desk / "mk1_measurements.yaml", "--samples", 0, "--plots", tmp_path / "taken")
    assert ended.code == 2
    assert "expected a folder" in ended.err
    assert (tmp_path / "taken").read_text("utf-8") == "a file"
