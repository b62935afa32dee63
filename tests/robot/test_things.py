"""Adding, copying, renaming and taking away what a robot is made of: references follow, every other byte stays."""

from __future__ import annotations

import csv
import difflib
import io
from typing import Any

import pytest
from ruamel.yaml import YAML

from fieldworthy.files import BadInput
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.things import (
    COLLECTIONS,
    Opened,
    changed,
    copied,
    mistakes,
    opened,
    references_to,
    removal,
    renamed,
)
from robots import EXAMPLES

MK1 = EXAMPLES / "mk1.yaml"
SEASON = EXAMPLES / "glasshouse.yaml"
PARTS = EXAMPLES / "mk1_parts.csv"


def files() -> Opened:
    return opened(MK1, {})


def plain(text: str) -> Any:
    """Read YAML with another reader than the program's own."""
    return YAML(typ="safe", pure=True).load(text)


def named_anew(data: Any, old: str, new: str) -> Any:
    """The same data with a word replaced wherever it stands, as key or value."""
    if isinstance(data, dict):
        return {new if k == old else k: named_anew(v, old, new) for k, v in data.items()}
    if isinstance(data, list):
        return [named_anew(v, old, new) for v in data]
    return new if data == old else data


def moved_lines(old: str, new: str) -> list[str]:
    return [line for line in difflib.ndiff(old.splitlines(True), new.splitlines(True)) if line[0] in "+-"]


def test_a_renamed_action_is_named_anew_wherever_the_plan_names_it():
    before = files()
    text = renamed(MK1, {}, ("actions", "take pods"), "collect")[MK1]
    assert plain(text) == named_anew(plain(before.texts[MK1]), "take pods", "collect")
    steps = before.texts[MK1].count("action: take pods")
    assert steps == 3
    assert len(moved_lines(before.texts[MK1], text)) == 2 * (steps + 1), "only the lines with the name are others"


def test_a_renamed_cylinder_is_followed_by_mechanisms_and_strokes_but_not_by_its_namesakes():
    before = files()
    text = renamed(MK1, {}, ("air", "cylinders", "tray"), "long one")[MK1]
    data = plain(text)
    assert list(data["air"]["cylinders"]) == ["long one", "clamp", "flap", "gate", "side arms", "hooks"]
    assert data["mechanisms"]["tray"]["cylinder"] == "long one", "the mechanism keeps its own name"
    assert data["air"]["cylinders"]["long one"]["mechanism"] == "tray"
    assert list(data["actions"]["tip pods"]["strokes"]) == ["long one", "gate"]
    assert data["poses"]["loaded"]["carries"]["pods on the tray"]["rides"] == "tray"
    assert not mistakes(MK1, {**before.texts, MK1: text})


def test_a_renamed_place_of_the_season_is_followed_in_both_files():
    texts = renamed(MK1, {}, ("season", "field", "places", "gutter"), "the trough")
    assert set(texts) == {MK1, SEASON}
    assert plain(texts[MK1]) == _steps_at(plain(MK1.read_text("utf-8")), "gutter", "the trough")
    old = plain(SEASON.read_text("utf-8"))
    places = old["field"]["places"]
    old["field"]["places"] = {"the trough" if k == "gutter" else k: v for k, v in places.items()}
    assert plain(texts[SEASON]) == old, "the structure of the same name keeps it"


def _steps_at(data: Any, old: str, new: str) -> Any:
    if isinstance(data, dict):
        return {k: new if k == "at" and v == old else _steps_at(v, old, new) for k, v in data.items()}
    return [_steps_at(v, old, new) for v in data] if isinstance(data, list) else data


@pytest.mark.parametrize("name", ["", "x" * 61, "tray: up", "clamp", "drop\ntable"])
def test_a_name_that_cannot_be_or_is_taken_is_refused(name):
    with pytest.raises(BadInput):
        renamed(MK1, {}, ("air", "cylinders", "tray"), name)


def test_a_part_of_the_table_is_copied_renamed_and_taken_away_there():
    before = files()
    name, change = copied(before, ("parts", "left outer rail"))
    assert name == "left outer rail 2"
    texts = changed(MK1, {}, change)
    assert set(texts) == {PARTS}
    assert texts[PARTS].startswith(before.texts[PARTS]), "what was there is there still"
    rows = list(csv.DictReader(io.StringIO(texts[PARTS])))
    first = rows[0]
    assert {**rows[-1], "part": first["part"]} == first
    again = renamed(MK1, texts, ("parts", name), "upper rail")
    assert list(csv.DictReader(io.StringIO(again[PARTS])))[-1]["part"] == "upper rail"
    back = removal(opened(MK1, again), ("parts", "upper rail")).texts
    assert back[PARTS] == before.texts[PARTS]


def test_taking_a_tank_away_says_what_cannot_be_without_it_and_what_only_names_it():
    before = files()
    found = removal(before, ("air", "tanks", "left"))
    gone = {".".join(map(str, path)) for path in found.gone}
    # by hand from the file: two cylinders draw from it, a mechanism is swung by each, and one step climbs
    assert {"air.cylinders.tray", "air.cylinders.hooks", "mechanisms.tray", "mechanisms.hooks"} <= gone
    assert ("actions", "tip pods", "strokes", "tray") in found.freed
    data = plain(found.texts[MK1])
    assert list(data["air"]["tanks"]) == ["right"]
    assert list(data["air"]["cylinders"]) == ["clamp", "flap", "gate", "side arms"]
    assert "strokes" not in data["actions"]["climb"] or data["actions"]["climb"]["strokes"] == {}


def _all() -> list[Any]:
    """Every thing of the robot; the first of each kind is looked at in the quick suite."""
    before = files()
    found = [[(*c.path, name) for name in before.names(c)] for c in COLLECTIONS]
    return [
        pytest.param(path, id=" ".join(map(str, path)), marks=[pytest.mark.long] if i else [])
        for paths in found
        for i, path in enumerate(paths)
    ]


@pytest.mark.parametrize("path", _all())
def test_anything_can_be_taken_away_and_nothing_is_left_that_names_it(path: KeyPath):
    before = files()
    found = removal(before, path)
    texts = {**before.texts, **found.texts}
    after = opened(MK1, texts)
    assert after.data(path) is None
    assert not references_to(after, path)
    assert set(mistakes(MK1, texts)) == set(found.leaves), "what is left to mend has been told"
    assert not any("expected a name from" in p.expected for p in found.leaves)


def test_a_thing_is_added_beside_a_mistake_elsewhere_and_a_new_mistake_is_refused():
    broken = files().texts[MK1].replace("push_load: 18 N", "push_load: 18 bar")
    assert mistakes(MK1, {MK1: broken})
    tank = {("air", "tanks", "third"): {"tank": "tank, 200 mL"}}
    text = changed(MK1, {MK1: broken}, tank)[MK1]
    assert plain(text)["air"]["tanks"]["third"] == {"tank": "tank, 200 mL"}
    assert text.replace('    third: {tank: "tank, 200 mL"}\n', "") == broken
    with pytest.raises(BadInput) as refused:
        changed(MK1, {MK1: broken}, {("air", "tanks", "left", "leak_half_time"): "5 bar"})
    assert [p.key for p in refused.value.problems] == [("air", "tanks", "left", "leak_half_time")]


def test_every_reference_that_the_declarations_know_leads_to_a_kind_of_thing():
    """The names of kinds of things are those that references are declared with, so that none is left behind."""
    from fieldworthy.files.reading import references
    from fieldworthy.robot.model.robot import Robot
    from fieldworthy.robot.model.season import Season

    targets = {target for _, to, _ in references(files().document.data, Robot) for target in to}
    assert files().season is not None
    targets |= {f"season.{t}" for _, to, _ in references(files().season.data, Season) for t in to}
    assert len(targets) > 10
    assert targets <= {c.target for c in COLLECTIONS}
