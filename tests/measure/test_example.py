"""The invented readings of the example: made by its script, and the fits find what the script hides."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

from fieldworthy.measure import load_measurements
from fieldworthy.measure.fit import procedures
from fieldworthy.measure.prediction import combined

ROOT = Path(__file__).parents[2]
MADE = runpy.run_path(str(ROOT / "examples" / "make_measured.py"))
FILE = ROOT / "examples" / "heron" / "mk1_measurements.yaml"


def test_the_file_is_what_its_script_makes():
    assert FILE.read_text("utf-8") == MADE["text"](), "run: python examples/make_measured.py"


def test_the_tables_beside_it_are_what_the_script_makes():
    tables = MADE["tables"]()
    assert len(tables) == 5
    for name, rows in tables.items():
        assert FILE.with_name(name).read_text("utf-8") == rows, "run: python examples/make_measured.py"


@pytest.fixture(scope="module")
def found():
    return tuple(procedures(load_measurements(FILE)))


def test_it_says_that_it_is_invented():
    assert "invented" in load_measurements(FILE).readings.about


def test_the_hidden_values_are_found(found):
    from fieldworthy.files.document import dotted

    told = {dotted(item.key): item for item in combined(found)}
    told |= {f.name: f for p in found for f in p.fitted if not f.key}
    truth = MADE["TRUTH"]
    off = {key: abs(told[key].value - true) / told[key].half_width for key, true in truth.items()}
    assert max(off.values()) < 1.5, off
    # 95 of 100 intervals hold the truth; of a dozen, one may miss it
    assert sum(o > 1.0 for o in off.values()) <= max(1, len(off) // 10), off


def test_nothing_is_left_untold(found):
    assert [u.name for p in found for u in p.unidentified] == []


def test_scales_and_tilt_agree(found):
    height = next(item for item in combined(found) if item.key == ("weighed", "z"))
    assert height.procedures == ("scales", "tilt")
    assert not height.contradict
