"""Tilted until it balances: the truth is found, one angle alone is not enough, and the scales help."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fieldworthy.files import BadInput
from fieldworthy.measure.model import Tilt
from fieldworthy.measure.scales import FORWARD, HEIGHT, LEFT, fit_tilt
from measuring import measured, recovered, section
from weights import SURE, TRUTH, weighing

RADIUS, ERROR = 0.035, 1.5
TRUE = {
    "forward": math.degrees(math.atan2(0.14 - TRUTH[FORWARD], TRUTH[HEIGHT] - RADIUS)),
    "back": math.degrees(math.atan2(0.12 + TRUTH[FORWARD], TRUTH[HEIGHT] - RADIUS)),
    "left": math.degrees(math.atan2(0.15 - TRUTH[LEFT], TRUTH[HEIGHT])),
    "right": math.degrees(math.atan2(0.15 + TRUTH[LEFT], TRUTH[HEIGHT])),
}
"""Wheels roll under their axles, so lengthwise the height counts from the axle; sideways it tips over the treads."""


def tilted(seed: int, sides=tuple(TRUE), times: int = 3) -> dict:
    rng = np.random.default_rng(seed)
    angles = {s: [f"{TRUE[s] + rng.normal(0.0, ERROR / 1.96):.2f} deg" for _ in range(times)] for s in sides}
    return {"angles": angles, "error": f"{ERROR} deg"}


def fit(bench, data):
    return fit_tilt(section(Tilt, data), bench)


@pytest.mark.long
def test_the_truth_lies_within_the_interval_in_about_95_of_100(tmp_path):
    bench = measured(tmp_path, robot=SURE)
    truths = {n: TRUTH[n] for n in (HEIGHT, FORWARD, LEFT)}
    found = recovered(lambda seed: fit(bench, tilted(seed)), truths)
    for name, (hits, _) in found.items():
        assert 0.90 <= hits <= 0.99, name
    # the naive way: the centre taken to lie midway between the axles, one angle, one height
    one = [0.13 / math.tan(math.radians(TRUE["forward"] + np.random.default_rng(s).normal(0.0, ERROR / 1.96))) + RADIUS
           for s in range(200)]  # fmt: skip
    assert found[HEIGHT][1] < 0.5 * math.sqrt(np.mean((np.array(one) - TRUTH[HEIGHT]) ** 2))


def test_one_side_alone_tells_nothing_and_says_which_reading_would(tmp_path):
    found = fit(measured(tmp_path), tilted(0, ("forward",)))
    blind = {u.name: u for u in found.unidentified}
    assert HEIGHT in blind
    assert FORWARD in blind
    assert "opposite side" in blind[HEIGHT].reading
    assert found.fitted == ()


def test_one_side_is_enough_where_the_scales_tell_the_rest(tmp_path):
    bench = measured(tmp_path, {"scales": weighing(0)}, robot=SURE)
    found = fit(bench, tilted(0, ("forward",)))
    height = found.get(HEIGHT)
    assert abs(height.value - TRUTH[HEIGHT]) <= height.half_width
    assert height.half_width < 0.006
    # what the scales told is not told again
    assert [f.name for f in found.fitted] == [HEIGHT]


def test_on_a_board_it_tips_over_the_contact_and_not_the_axle(tmp_path):
    angle = math.degrees(math.atan2(0.14 - TRUTH[FORWARD], TRUTH[HEIGHT]))
    other = math.degrees(math.atan2(0.12 + TRUTH[FORWARD], TRUTH[HEIGHT]))
    data = {"how": "on a board", "angles": {"forward": [f"{angle!r} deg"], "back": [f"{other!r} deg"]}}
    assert fit(measured(tmp_path), data).get(HEIGHT).value == pytest.approx(TRUTH[HEIGHT], abs=1e-6)


def test_the_tread_s_edge_counts_sideways(tmp_path):
    wide = {s: math.degrees(math.atan2(0.16 + k * TRUTH[LEFT], TRUTH[HEIGHT])) for s, k in (("left", -1), ("right", 1))}
    data = {"edge": "10 mm", "angles": {s: [f"{a!r} deg"] for s, a in wide.items()}}
    found = fit(measured(tmp_path), data)
    assert found.get(HEIGHT).value == pytest.approx(TRUTH[HEIGHT], abs=1e-6)
    assert found.get(LEFT).value == pytest.approx(TRUTH[LEFT], abs=1e-6)


def test_no_angle_is_refused(tmp_path):
    with pytest.raises(BadInput, match="one angle or more"):
        fit(measured(tmp_path), {"angles": {}})


def test_another_pose_than_on_the_scales_is_refused(tmp_path):
    sections = {"scales": weighing(0), "tilt": tilted(0) | {"pose": "driving"}}
    with pytest.raises(BadInput, match="expected the pose of 'scales'"):
        measured(tmp_path, sections)


def test_anti_tip_rollers_are_in_the_way_and_it_is_said(tmp_path):
    rollers = {"rollers": {"nose": {"position": ["0.2 m", "0 m"], "clearance": "6 mm"}}}
    assert "rollers taken off" in fit(measured(tmp_path, robot=rollers), tilted(0)).notes[0]
    assert fit(measured(tmp_path), tilted(0)).notes == ()
