"""Drawings of mechanisms at their edges: dead points, guides that lock, robots that hang free, names behind names."""

from __future__ import annotations

import math

import numpy as np
import pytest

from drawn import STYLES, SVG, sound
from fieldworthy.drawing import LIGHT, Style
from fieldworthy.robot import load_robot
from fieldworthy.systems.climb.figure import hanging, hanging_curves
from fieldworthy.systems.guide.figure import guide, guide_curves, run_up
from fieldworthy.systems.lift.figure import lift, lift_curves
from fieldworthy.vehicle.drawing import robot
from fieldworthy.vehicle.views import body_curves
from robots import check, example_copy, fact, find, load, nominal

ARM = {"mass": "0.6 kg", "position": ["0.1 m", "0 m", "0.3 m"], "size": ["0.2 m", "0.2 m", "0.02 m"], "rides": "arm"}
AIR = {
    "tanks": {"tank": {"tank": "test tank", "charge": "400 kPa"}},
    "cylinders": {"lift": {"cylinder": "test cylinder", "tank": "tank", "valve": "test valve", "push_load": "20 N"}},
}
LIFT = {
    "kind": "lift", "rides": "arm", "side": "ahead", "pivot": ["0 m", "0.3 m"], "cylinder": "lift", "swing": "40 deg",
    "fixed_pin": ["0.02 m", "0.2 m"], "arm_pin": ["0.055 m", "0.3 m"],
}  # fmt: skip
GUIDE = {"kind": "guide", "length": "60 mm", "load": "20 N", "load_offset": "0 mm", "drive_offset": "40 mm",
         "friction": 0.3}  # fmt: skip


def lifting(**keys):
    return {"parts": {"arm": ARM}, "air": AIR, "mechanisms": {"lift": {**LIFT, **keys}}}


def test_a_dead_point_is_marked_where_the_pins_lie_on_one_line(tmp_path):
    # the cylinder is 120 mm closed and 170 mm out; all is in line where it is base plus radius long, by plane geometry
    found = lift_curves(nominal(load(tmp_path, lifting())), 0.5)["lift"]
    (dead,) = found.dead
    base, radius = math.hypot(0.02, 0.1), 0.055
    straight = math.atan2(-0.1, 0.02) + math.pi
    assert dead.raised == pytest.approx(straight)
    assert dead.share == pytest.approx(1.0)  # the stroke ends there: the arm cannot turn farther
    assert base + radius < 0.17
    for style in STYLES:
        root = sound(lift(found, style), style)
        assert any((t.text or "").startswith("dead point at") for t in root.iter(f"{SVG}text"))


def test_a_lift_that_begins_folded_has_no_lever_there(tmp_path):
    found = lift_curves(nominal(load(tmp_path, lifting(fixed_pin=["0.18 m", "0.2 m"], arm_pin=["0.07 m", "0.3 m"]))))
    (dead,) = found["lift"].dead
    assert dead.share == pytest.approx(0.0)
    assert np.isinf(found["lift"].up[0])
    figure = lift(found["lift"], STYLES[1])
    sound(figure, STYLES[1])
    assert "inf" not in figure.csv()
    assert "no lever" in figure.svg


def test_a_rod_that_raises_on_its_way_back_begins_out(tmp_path):
    robot_ = lifting(fixed_pin=["0.03 m", "0.43 m"], arm_pin=["0.06 m", "0.29 m"])
    subject = nominal(load(tmp_path, robot_))
    down, up = (lift_curves(subject, share)["lift"] for share in (0.0, 1.0))
    assert down.cylinder is not None
    assert up.cylinder is not None
    assert down.cylinder.out > up.cylinder.out
    assert up.raised > down.raised


def test_a_guides_numbers_are_those_of_the_findings(tmp_path):
    # two pads: F / (1 - 2 mu e / L), and it locks where L is 2 mu e; as tests/systems/test_lift.py has it by hand
    plain = {"mechanisms": {"slide": GUIDE}}
    subject = nominal(load(tmp_path, plain))
    found = guide_curves(subject)["slide"]
    assert found.needed == pytest.approx(fact(check(tmp_path, plain), "guide.force.slide").value)
    assert found.needed == pytest.approx(20.0 / (1.0 - 2 * 0.3 * 0.04 / 0.06))
    assert found.least == pytest.approx(2 * 0.3 * 0.04)
    free = found.lengths > found.least
    assert found.forces[free] == pytest.approx(20.0 / (1.0 - found.least / found.lengths[free]))
    assert np.isinf(found.forces[~free]).all()
    driven = {"air": AIR, "mechanisms": {"slide": {**GUIDE, "cylinder": "lift"}}}
    assert guide_curves(nominal(load(tmp_path, driven)))["slide"].has == pytest.approx(
        find(check(tmp_path, driven), "guide.force.slide").value
    )


def test_a_carriage_on_its_way_ends_where_and_when_the_finding_says(tmp_path):
    drive = {"radius": "15 mm", "travel": "300 mm", "moved": "1 kg", "time_limit": "2 s",
             "stages": [{"driver": 12, "driven": 36}]}  # fmt: skip
    robot_ = {"mechanisms": {"slide": {**GUIDE, "motors": [{"motor": "test motor"}], "drive": drive}}}
    data = guide_curves(nominal(load(tmp_path, robot_)))["slide"]
    time = find(check(tmp_path, robot_), "guide.time.slide")
    assert (data.times[-1], data.places[-1]) == pytest.approx((time.value, 0.3), rel=1e-9)
    assert (data.times[0], data.places[0]) == (0.0, 0.0)
    # from rest it only speeds up, to what motors and battery give steadily
    assert np.all(np.diff(np.diff(data.places) / np.diff(data.times)) > -1e-9)
    last = (data.places[-1] - data.places[-2]) / (data.times[-1] - data.times[-2])
    assert last == pytest.approx(data.speed, rel=0.01)
    assert "2 s wanted" in run_up(data, Style(LIGHT)).svg


@pytest.mark.parametrize(
    "keys",
    [{}, {"drive_offset": "110 mm"}, {"drive_offset": "0 mm"}, {"cylinder": "lift"}, {"load": "0 N"}, {"friction": 0}],
)
def test_guides_are_drawn_whether_they_lock_or_not(tmp_path, keys):
    found = guide_curves(nominal(load(tmp_path, {"air": AIR, "mechanisms": {"slide": {**GUIDE, **keys}}})))["slide"]
    for style in STYLES:
        figure = guide(found, style)
        sound(figure, style)
        assert ("locks" in figure.alt.split(";")[0]) == (keys.get("drive_offset") == "110 mm")


def test_a_robot_without_a_rest_hangs_free(tmp_path):
    rest = "    rest: {position: [-190 mm, 60 mm], ahead: -75 mm, face: behind}\n"
    (found,) = hanging_curves(nominal(load_robot(example_copy(tmp_path, (rest, ""))))).values()
    assert found.wall is None
    assert [push.name for push in found.hanging.pushes] == ["hooks"]
    assert found.hanging.cg[0] == pytest.approx(0.0, abs=1e-9)  # plumb under the bar: a two-force body
    for style in STYLES:
        assert "hangs free" in hanging(found, style).svg
        sound(hanging(found, style), style)


def test_parts_behind_each_other_are_named_once(tmp_path):
    part = {"mass": "1 kg", "size": ["0.3 m", "0.02 m", "0.02 m"]}
    parts = {
        f"{side} rail": {**part, "position": ["0 m", f"{y} m", "0.06 m"]}
        for side, y in (("left", 0.15), ("right", -0.15))
    }
    found = body_curves(nominal(load(tmp_path, {"parts": parts})), "driving")
    assert found is not None
    style = Style(LIGHT, "metric", 800.0)
    words = [t.text for t in sound(robot(found, style), style).iter(f"{SVG}text")]
    assert words.count("rail (2)") == 1


def test_a_contact_that_is_no_wheel_is_drawn(tmp_path):
    changes = {
        "contacts": {"caster": {"position": ["0.2 m", "0 m"]}},
        "rollers": {"front": {"position": ["0.25 m", "0 m"], "clearance": "5 mm"}},
    }
    found = body_curves(nominal(load(tmp_path, changes)), "driving")
    assert found is not None
    assert [0.2, 0.0] in found.polygon.tolist()
    for style in STYLES:
        sound(robot(found, style), style)
