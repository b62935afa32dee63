"""A number that is moved: the same verdicts, margins and sentences as a whole check of the robot with that number."""

from __future__ import annotations

import dataclasses
import random

import pytest

from fieldworthy.decide.change import with_value
from fieldworthy.engine.evaluate import NominalPreview, evaluate
from fieldworthy.robot.words import value_at
from robots import example, load


def whole(loaded, path, si):
    """What a whole check says of the robot with one number moved."""
    robot, season = loaded.robot, loaded.season
    if path[0] == "season":
        season = with_value(season, path[1:], dataclasses.replace(value_at(season, path[1:]), si=si))
    else:
        robot = with_value(robot, path, dataclasses.replace(value_at(robot, path), si=si))
    report = evaluate(dataclasses.replace(loaded, robot=robot, season=season), samples=0)
    found = {(f.id, f.subject): (f.verdict, f.margin) for f in report.findings}
    return found | {(f.id, f.subject): (None, None) for f in report.facts}


@pytest.mark.long
@pytest.mark.parametrize("seed", range(6))
def test_one_number_after_another_is_told_as_a_whole_check_tells_it(seed):
    """Held to `evaluate`, which keeps nothing: what is kept between two moves must not be out of date."""
    loaded = example("mk1" if seed % 2 else "mk2")
    chance, preview = random.Random(seed), NominalPreview(loaded)
    paths = [path for path, q in loaded.quantities if q.si and q.tolerance > 0]
    for _ in range(5):
        path = chance.choice(paths)
        si = preview.quantity(path).si * chance.choice((0.95, 1.05))
        wanted = whole(loaded, path, si)
        found = {(b.id, b.subject): (b.verdict, b.margin) for b in preview.findings({path: si})}
        assert found.keys() == wanted.keys(), path
        for key, (verdict, margin) in found.items():
            assert verdict == wanted[key][0], (path, key)
            if margin is None:
                assert wanted[key][1] is None
            else:
                assert margin == pytest.approx(wanted[key][1], rel=1e-9, abs=1e-9), (path, key)


def test_a_number_that_is_put_back_leaves_no_trace():
    loaded = example()
    preview = NominalPreview(loaded)
    before = preview.findings({})
    moved = preview.findings({("air", "supply", "charge"): 3e5})
    assert moved != before
    assert preview.findings({}) == before


def test_sentences_are_those_of_the_report():
    loaded = example()
    report = evaluate(loaded, samples=0)
    said = {(b.id, b.subject): b.because for b in NominalPreview(loaded).findings({})}
    assert said == {(f.id, f.subject): f.because for f in (*report.findings, *report.facts)}


def test_several_numbers_at_once_and_places_in_lists(tmp_path):
    loaded = load(tmp_path)
    preview = NominalPreview(loaded)
    path = ("parts", "box", "position", 0)
    assert preview.quantity(path).si == 0.02
    found = preview.findings({path: 0.05, ("parts", "box", "mass"): 8.0, ("season", "temperature"): 300.0})
    height = next(b.because for b in found if b.id == "balance.centre_height")
    assert "8 kg" in height  # the one part and nothing else: 8 kg at 50 mm
    assert "x 0.05 m" in height


def test_what_cannot_be_is_told_and_forgotten(tmp_path):
    loaded = load(tmp_path, {"drive": {"friction_torque": "0.02 N*m"}})
    preview = NominalPreview(loaded)
    for path in (("nothing",), ("parts", "box"), ("robot",)):
        with pytest.raises(KeyError):
            preview.findings({path: 1.0})
    assert preview.faults() == ()
    assert preview.findings({}) == NominalPreview(loaded).findings({})
