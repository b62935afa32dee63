"""What the shelf puts on a robot: complete, an estimate in every number, and listed until it is changed."""

from __future__ import annotations

from typing import Any

import pytest
from ruamel.yaml import YAML

from fieldworthy.engine.system import shelf
from fieldworthy.robot.shelf import Typical, added, can_be_added, still_typical
from fieldworthy.robot.starter import Answers, Meets, starter_robot, starter_season
from fieldworthy.robot.things import COLLECTIONS, changed, mistakes, opened
from robots import EXAMPLES

NAMED = {"two-stage intake", "hook chain", "clamp", "swinging tray", "motor arm", "guide lift", "tank pair", "hooks"}
"""What the page promises to have on its shelf."""
ENTRIES = [c.path for c in COLLECTIONS if can_be_added(c.path)]


@pytest.fixture(params=["metric", "inch", "mk1"])
def robot(request, tmp_path):
    """A robot that has next to nothing, in both kinds of units; and one that has nearly everything."""
    if request.param == "mk1":
        return EXAMPLES / "mk1.yaml"
    inch = request.param == "inch"
    motor = "smart motor, 11 W class, 600 rpm"
    answers = Answers("Bare", "season.yaml", inch, motor, 4, 4, 0, (48, 60), 0.06985, 6.5, (0.4, 0.38, 0.35))
    (tmp_path / "bare.yaml").write_text(starter_robot(answers, Meets()), "utf-8")
    (tmp_path / "season.yaml").write_text(starter_season(inch), "utf-8")
    return tmp_path / "bare.yaml"


def quantities(value: Any) -> list[Any]:
    if isinstance(value, dict):
        return [value] if "value" in value else [q for inner in value.values() for q in quantities(inner)]
    return [q for inner in value for q in quantities(inner)] if isinstance(value, list) else []


def test_the_shelf_has_what_a_team_begins_with():
    assert {typical.name for typical in shelf()} >= NAMED


@pytest.mark.parametrize("typical", shelf(), ids=lambda typical: typical.name)
def test_a_typical_thing_makes_a_robot_without_a_mistake_and_is_an_estimate_throughout(robot, typical: Typical):
    path, changes = added(opened(robot, {}), typical.into, typical)
    texts = changed(robot, {}, changes)
    after = opened(robot, texts)
    assert path[:-1] == typical.into
    assert not mistakes(robot, after.texts)
    thing = YAML(typ="safe", pure=True).load(texts[robot])
    for key in path:
        thing = thing[key]
    numbers = quantities(thing)
    assert all(n["basis"] == "estimate" for n in numbers)
    assert len(list(still_typical(after.data(path)))) == len(numbers)
    for number in numbers:  # a quarter either way, but for the rounding of what is written
        value, step = (float(str(number[key]).split(" ")[0]) for key in ("value", "tolerance"))
        assert step == pytest.approx(0.25 * abs(value), rel=0.01)


@pytest.mark.parametrize("path", ENTRIES, ids=".".join)
def test_one_more_of_any_kind_is_added_and_reads(robot, path):
    where, changes = added(opened(robot, {}), path)
    texts = changed(robot, {}, changes)
    after = opened(robot, texts)
    assert where[:-1] == path
    assert after.data(where) is not None
    assert not mistakes(robot, after.texts)


def test_a_number_that_is_changed_is_typical_no_more():
    thing = {"press": {"value": "6 N", "tolerance": "1.5 N", "basis": "estimate"}, "count": 2, "rides": "tray"}
    assert list(still_typical(thing)) == [("press",)]
    for other in ("7 N", {"value": "7 N", "tolerance": "1.5 N", "basis": "estimate"},
                  {"value": "6 N", "tolerance": "0.2 N", "basis": "estimate"},
                  {"value": "6 N", "tolerance": "1.5 N", "basis": "measured"}):  # fmt: skip
        assert not list(still_typical(thing | {"press": other})), other
