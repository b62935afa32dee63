"""A robot weighed once, changed, and weighed again in part."""

from __future__ import annotations

import pytest

from fieldworthy.measure.fit import changes, fit, laid_in
from fieldworthy.robot.editing import GONE
from fieldworthy.vehicle import state
from measuring import measured
from robots import nominal
from weights import SURE, TRUTH, loads

LEVEL = {"level": [{"readings": {n: f"{v!r} kg" for n, v in loads().items()}}]}
ARM = {"mass": "1 kg", "position": ["0.1 m", "0 m", "0.4 m"], "size": ["0.1 m", "0.1 m", "0.1 m"]}
BEFORE = {
    "mass": "7.2 kg", "x": "0.01 m", "y": "0 m", "z": {"value": "0.15 m", "tolerance": "3 mm", "basis": "measured",
                                                      "date": "2026-10-02"},
    "listed": {"mass": "7 kg", "x": "0.02 m", "y": "0.01 m", "z": "0.12 m"},
}  # fmt: skip


def after(tmp_path, sections, robot):
    bench = measured(tmp_path, sections, SURE | robot)
    return changes(bench, fit(bench, samples=0).procedures), bench


def test_a_height_not_measured_again_counts_the_part_added_since(tmp_path):
    """By hand: 7.2 kg at 0.15 m and the new arm's 1 kg at 0.4 m balance at (7.2 x 0.15 + 0.4) / 8.2 m."""
    found, bench = after(tmp_path, {"scales": LEVEL}, {"weighed": BEFORE, "parts": {"arm": ARM}})
    height = (7.2 * 0.15 + 0.4) / 8.2
    entry = found["weighed", "z"]
    assert isinstance(entry, dict)
    assert entry["date"] == "2026-10-02"
    body = state.body(nominal(laid_in(bench, found)), "driving")
    assert float(body.mass) == pytest.approx(TRUTH["mass of the whole robot"], abs=1e-3)
    assert float(body.cg[2]) == pytest.approx(height, abs=1e-4)


def test_a_pose_that_no_longer_holds_goes_with_the_places_found_in_it(tmp_path):
    poses = {"poses": {"driving": {"use": "drive"}, "up": {"moves": {}}}}
    found, bench = after(tmp_path, {"scales": LEVEL}, poses | {"weighed": BEFORE | {"pose": "up"}})
    assert found["weighed", "pose"] is GONE
    assert found["weighed", "z"] is GONE
    assert laid_in(bench, found).nominal.weighed.z is None


def test_nothing_weighed_changes_nothing_of_the_weights(tmp_path):
    found, _ = after(tmp_path, {}, {"weighed": BEFORE})
    assert found == {}


def test_the_first_weighing_needs_nothing_kept(tmp_path):
    found, _ = after(tmp_path, {"scales": LEVEL}, {})
    assert {key[1] for key in found} == {"mass", "x", "y", "listed"}
