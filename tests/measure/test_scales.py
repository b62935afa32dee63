"""Scales under the wheels: the truth is found, a single reading is beaten, and what cannot be told is said."""

from __future__ import annotations

import math
from pathlib import Path
from shutil import copytree

import numpy as np
import pytest

from fieldworthy.files import BadInput
from fieldworthy.measure import load_measurements
from fieldworthy.measure.fit import procedure
from fieldworthy.measure.model import Scales
from fieldworthy.measure.scales import FORWARD, HEIGHT, LEFT, MASS, fit_scales
from measuring import PER_95, measured, recovered, section
from weights import ERROR, LIFT, SURE, TRUTH, WHEELS, loads, weighing


def fit(bench, data):
    return fit_scales(section(Scales, data), bench)


@pytest.mark.long
def test_the_truth_lies_within_the_interval_in_about_95_of_100(tmp_path):
    bench = measured(tmp_path, robot=SURE)
    found = recovered(lambda seed: fit(bench, weighing(seed)), TRUTH)
    for name, (hits, error) in found.items():
        assert 0.90 <= hits <= 0.99, name
        assert error > 0.0
    # the naive way: one weighing, its mass the sum of four readings, each off by the error of one
    naive = ERROR / PER_95 * math.sqrt(4.0)
    assert found[MASS][1] < 0.8 * naive
    # and one raised reading by the textbook formula
    tilt = math.asin(LIFT / 0.26)
    one = math.sqrt(2.0) * 2.0 * ERROR / PER_95 * 0.26 / TRUTH[MASS] / math.tan(tilt) / math.sqrt(2.0)
    assert found[HEIGHT][1] < one


def test_exact_readings_give_the_truth(tmp_path):
    rear = {n: f"{v!r} kg" for n, v in loads(LIFT).items() if "rear" in n}
    data = {"level": [{"readings": {n: f"{v!r} kg" for n, v in loads(twist=0.05).items()}}],
            "raised": [{"end": "front", "lift": f"{LIFT} m", "readings": rear}]}  # fmt: skip
    found = fit(measured(tmp_path), data)
    for name, truth in TRUTH.items():
        assert found.get(name).value == pytest.approx(truth, abs=1e-7)
    assert found.get(MASS).key == ("weighed", "mass")
    assert found.unidentified == ()


def test_the_parts_list_is_held_against_the_scales(tmp_path):
    data = {"level": [{"readings": {n: f"{v!r} kg" for n, v in loads().items()}}]}
    found = fit(measured(tmp_path), data)
    assert (
        found.notes[0]
        == "The parts list adds up to 7 kg, the scales say 7.412 kg: 0.412 kg (5.6 %) are missing from the list."
    )
    light = fit(measured(tmp_path, robot={"parts": {"box": {"mass": "7.41 kg"}}}), data)
    assert light.notes[0].endswith("they agree.")
    assert found.get(MASS).implied == pytest.approx((7.0, 0.702))  # 10 % and 2 g, the tolerance of an estimate


def test_level_scales_alone_do_not_tell_the_height(tmp_path):
    found = fit(measured(tmp_path), {"level": weighing(0)["level"]})
    assert [u.name for u in found.unidentified] == [HEIGHT]
    assert "raise one end" in found.unidentified[0].reading


def test_a_hardly_raised_end_tells_no_height(tmp_path):
    data = weighing(0)
    for raised in data["raised"]:
        raised["lift"] = "2 mm"
    found = fit(measured(tmp_path), data)
    assert HEIGHT in [u.name for u in found.unidentified]


def test_one_scale_moved_from_wheel_to_wheel(tmp_path):
    """The other three stand on blocks as high: the four readings together are one weighing."""
    true = loads(twist=0.06)
    level = [{"readings": {n: f"{v!r} kg"}, "blocks": [m for m in true if m != n]} for n, v in true.items()]
    found = fit(measured(tmp_path), {"level": level})
    assert found.get(MASS).value == pytest.approx(TRUTH[MASS], abs=1e-6)
    assert found.get(LEFT).value == pytest.approx(TRUTH[LEFT], abs=1e-6)


def test_two_scales_under_one_end_alone_tell_no_mass(tmp_path):
    true = loads()
    level = [
        {"readings": {n: f"{v!r} kg" for n, v in true.items() if "rear" in n}, "blocks": ["left front", "right front"]}
    ]
    found = fit(measured(tmp_path), {"level": level})
    blind = {u.name: u for u in found.unidentified}
    assert MASS in blind
    assert FORWARD in blind
    assert "only a combination" in blind[MASS].why


def test_a_misread_scale_hardly_matters_and_is_said(tmp_path):
    found = fit(measured(tmp_path, robot=SURE), weighing(3, wild=True))
    assert found.get(MASS).value == pytest.approx(TRUTH[MASS], abs=0.03)
    assert any("look for one that is written wrong" in note for note in found.notes)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"level": [{"readings": {"left front": "1 kg", "right front": "1 kg"}}]}, "do not stand in one line"),
        (
            {"level": [{"readings": {"left front": "1 kg", "left rear": "1 kg", "nose": "1 kg"}}]},
            "expected a name from",
        ),
        ({"level": []}, "one weighing or more"),
        ({"level": [{"readings": {}}]}, "one reading or more"),
    ],
)
def test_what_cannot_stand_is_refused(tmp_path, data, said):
    with pytest.raises(BadInput, match=said):
        fit(measured(tmp_path, {"scales": data}), data)


def test_a_lift_longer_than_the_robot_is_refused(tmp_path):
    data = weighing(0)
    data["raised"][0]["lift"] = "400 mm"
    with pytest.raises(BadInput, match="distance between the axles"):
        fit(measured(tmp_path), data)


def test_wheels_that_are_not_where_the_file_says_widen_the_interval(tmp_path):
    """Both front wheels 2 mm off, by a tolerance of 2 mm: the centre moves by a millimetre, within its interval."""
    data = {"level": [{"readings": {n: f"{v!r} kg" for n, v in loads().items()}}]}
    places = {n: (x + 0.002 if "front" in n else x, y) for n, (x, y) in WHEELS.items()}
    wheels = {n: {"position": [{"value": f"{x} m", "tolerance": "2 mm"}, f"{y} m"]} for n, (x, y) in places.items()}
    found = fit(measured(tmp_path, robot={"drive": {"wheels": wheels}}), data).get(FORWARD)
    assert found.value - TRUTH[FORWARD] == pytest.approx(0.001, abs=2e-4)
    assert 0.9e-3 < found.half_width < 2.5e-3


def test_a_roller_that_would_carry_the_lower_end_is_named(tmp_path):
    """100 mm behind the rear axle, at a pitch of 20 degrees, it comes 36 mm down; it has 6 mm."""
    rollers = {"tail": {"position": ["-0.22 m", "0 m"], "clearance": "6 mm"},
               "nose": {"position": ["0.2 m", "0 m"], "clearance": "6 mm"}}  # fmt: skip
    found = fit(measured(tmp_path, robot=SURE | {"rollers": rollers}), weighing(0))
    assert found.notes[0] == (
        "With the front raised, anti-tip roller 'tail' reaches the floor and carries: take it off first."
    )
    assert not any("nose" in note for note in found.notes)


@pytest.mark.long
def test_300_raised_weighings_of_nonsense_are_answered(tmp_path):
    """Wheels read anything from 1 to 3 kg; the command answers without a traceback, and calls the readings wrong.

    The search once left for a lift longer than the robot, and ended in a traceback.
    """
    rng = np.random.default_rng(17)
    heron = Path(__file__).parents[2] / "examples" / "heron"
    copytree(heron, tmp_path / "heron")
    level = "{left front: 2.522 kg, right front: 2.631 kg, left rear: 1.897 kg, right rear: 1.666 kg}"
    raised = "".join(
        f"    - {{end: {'back' if i % 2 else 'front'}, lift: 90 mm, readings: {{left rear: {a:.3f} kg, "
        f"right rear: {b:.3f} kg, left front: {c:.3f} kg, right front: {d:.3f} kg}}}}\n"
        for i, (a, b, c, d) in enumerate(rng.uniform(1.0, 3.0, (300, 4)))
    )
    text = (
        f"fieldworthy: measurements 1\nrobot: mk1.yaml\nscales:\n  level:\n    - readings: {level}\n  raised:\n{raised}"
    )
    (tmp_path / "heron" / "nonsense.yaml").write_text(text, "utf-8")
    found = procedure(load_measurements(tmp_path / "heron" / "nonsense.yaml"), "scales")
    assert any(not one.agrees for one in found.predictions)
