"""Forms made from declarations: everything that a file can say has its place, and what is typed is what was shown."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any, get_args, get_origin

import pytest

from fieldworthy.files.declare import hints
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.robot.things import COLLECTIONS, SINGLES, copied, opened, references_to, removal, renamed
from fieldworthy.web.fieldrows import read_value
from fieldworthy.web.form import Field, Head, blanks_of, files_of, kinds_of, made_of, rows_of
from fieldworthy.web.judging import Source
from robots import EXAMPLES

ROOT = EXAMPLES.parent
ROBOTS = ["heron/mk1.yaml", "heron/mk2.yaml", "otter/mk1.yaml", "marten/mk1.yaml"]


def source_of(name):
    file = ROOT / name
    return Source(file, ((file, file.read_text(encoding="utf-8")),))


def all_rows(source):
    found = {}
    for kind in made_of(source):
        for path in [(*kind.path, name) for name in kind.names] if kind.one else [kind.path]:
            found |= {row.path: row for row in rows_of(source, path)}
    return found


def leaves(data: Any, path: tuple = ()):
    """What a file says, value by value; a number with its tolerance is one."""
    if isinstance(data, dict) and not ("value" in data and set(data) <= {"value", "tolerance", "basis", "date"}):
        for key, value in data.items():
            yield from leaves(value, (*path, key))
    elif isinstance(data, list) and any(isinstance(item, dict | list) for item in data):
        for place, value in enumerate(data):
            yield from leaves(value, (*path, place))
    else:
        yield path


@pytest.mark.long
@pytest.mark.parametrize("name", ROBOTS)
def test_all_that_a_file_says_stands_in_a_form(name):
    source = source_of(name)
    fields = {path for path, row in all_rows(source).items() if isinstance(row, Field)}
    said = [path for path in leaves(files_of(source).document.data) if path != ("fieldworthy",)]
    assert len(said) > 200
    lost = [p for p in said if p not in fields and not any(f[: len(p)] == p or p[: len(f)] == f for f in fields)]
    assert not lost


def test_every_key_of_robot_and_season_has_its_place_in_the_list():
    for declared, start in ((Robot, ()), (Season, ("season",))):
        places = {s.path[len(start)] for s in SINGLES if s.path[: len(start)] == start and len(s.path) > len(start)}
        places |= {c.path[len(start)] for c in COLLECTIONS if c.path[: len(start)] == start}
        whole = {row.path[len(start)] for row in rows_of(source_of(ROBOTS[0]), start or ("robot",))} if start else {
            row.path[0] for row in rows_of(source_of(ROBOTS[0]), ("robot",))
        }  # fmt: skip
        keys = {f.name for f in dataclasses.fields(declared)} - {"fieldworthy"}
        assert keys <= places | whole, keys - places - whole


@pytest.mark.parametrize("name", ROBOTS[:1])
def test_what_a_box_shows_means_what_the_file_says_when_it_is_typed(name):
    source = source_of(name)
    files = files_of(source)
    fields = [r for r in rows_of(source, ("mechanisms", "intake")) + rows_of(source, ("actions", "climb"))
              if isinstance(r, Field) and r.stated]  # fmt: skip
    assert len(fields) > 20
    wrong = []
    for row in fields:
        said = files.data(row.path)
        said = said["value"] if isinstance(said, dict) else said
        if read_value(row, row.value) != said and row.sort != "truth":
            wrong.append((row.key, row.value, said))
    assert not wrong


def test_corners_of_an_outline_are_typed_pair_by_pair():
    row = Field(("corners",), "corners", "corners", "list", "", kind="length")
    assert read_value(row, "0 mm, 0 mm; 10 mm, 0 mm; 0 mm, 5 mm") == [["0 mm"] * 2, ["10 mm", "0 mm"], ["0 mm", "5 mm"]]
    assert read_value(row, "0 mm, 5 mm") == ["0 mm", "5 mm"]


def _unions(note: Any, found: list, seen: set):
    """Every place of a declaration where one of several kinds of section may stand, mechanisms apart."""
    if dataclasses.is_dataclass(note) and isinstance(note, type):
        if note in seen:
            return found
        seen.add(note)
        for name, inner in hints(note).items():
            if kinds_of(inner) and get_origin(inner) is not dict:
                found.append((note, name))
            _unions(inner, found, seen)
    for inner in get_args(note):
        _unions(inner, found, seen)
    return found


def test_where_one_of_several_kinds_may_stand_each_can_be_chosen():
    source = source_of("heron/mk1.yaml")
    assert {name for _, name in _unions(Robot, [], set())} >= {"arm", "lift", "ejector"}
    heads = {row.key: row for row in rows_of(source, ("mechanisms", "side arms")) if isinstance(row, Head)}
    assert heads["mechanisms.side arms.arm"].others == ("motor arm",)  # it is on a cylinder
    asked = blanks_of(source, ("mechanisms", "side arms", "arm"), "motor arm")
    assert {row.path[-1] for row in asked} <= {"gears"}
    asked = {row.path[-1] for row in blanks_of(source, ("mechanisms", "hooks", "lift"), "motor lift")}
    assert asked == {"drum_radius", "travel"}
    asked = {row.path[-1] for row in blanks_of(source, ("mechanisms", "hooks", "lift"), "cylinder lift")}
    assert asked == {"cylinder", "working"}


def after(texts) -> Any:
    return opened(Path(ROOT / "heron/mk1.yaml"), texts)


def test_a_stage_is_renamed_and_what_names_it_follows():
    file = ROOT / "heron/mk1.yaml"
    before = opened(file, {})
    stages = ("mechanisms", "intake", "stages")
    old = before.data(("mechanisms", "intake", "hold", "stage"))
    named = [path for path, _ in references_to(before, (*stages, old))]
    assert ("mechanisms", "intake", "hold", "stage") in named
    now = after(renamed(file, {}, (*stages, old), "upper flight"))
    assert "upper flight" in now.data(stages)
    assert old not in now.data(stages)
    assert list(now.data(stages)).index("upper flight") == list(before.data(stages)).index(old)
    assert [now.data(path) for path in named] == ["upper flight"] * len(named)


def test_a_class_of_a_sorter_and_the_stage_of_its_intake_follow_their_names():
    file = ROOT / "heron/mk1.yaml"
    before = opened(file, {})
    sorter = next(name for name, m in before.data(("mechanisms",)).items() if m["kind"] == "sorter")
    unwanted, stage = (before.data(("mechanisms", sorter, key)) for key in ("unwanted", "stage"))
    intake = before.data(("mechanisms", sorter, "intake"))
    now = after(renamed(file, {}, ("mechanisms", sorter, "classes", unwanted), "the other one"))
    assert now.data(("mechanisms", sorter, "unwanted")) == "the other one"
    now = after(renamed(file, {}, ("mechanisms", intake, "stages", stage), "high up"))
    assert now.data(("mechanisms", sorter, "stage")) == "high up"


def test_a_load_is_copied_and_taken_away_inside_its_pose():
    before = opened(ROOT / "heron/mk1.yaml", {})
    pose, load = next((n, next(iter(p["carries"]))) for n, p in before.data(("poses",)).items() if p.get("carries"))
    name, changes = copied(before, ("poses", pose, "carries", load))
    assert name == f"{load} 2"
    assert list(changes) == [("poses", pose, "carries", name)]
    assert load not in (after(removal(before, ("poses", pose, "carries", load)).texts).data(("poses", pose)) or {}).get(
        "carries", {}
    )
