"""What a team can change, how far it is tried, and that more change is more effort."""

import dataclasses
import math
from typing import get_args

import numpy as np
import pytest

from fieldworthy.decide.change import changeable, effort_of, ways
from fieldworthy.files import Of, Quantity, schema_of
from fieldworthy.files.declare import Role, hints, mark_of
from fieldworthy.robot import Robot
from fieldworthy.robot.model import Part
from fieldworthy.robot.model.season import Season
from fieldworthy.units import KINDS, PLAUSIBLE, to_unit


def quantities_of(declared, path=()):
    """Every quantity that a declaration can hold, with its keys; names of the file's own are left out."""
    for name, note in hints(declared).items():
        for mark, inner in _marks(note, (*path, name)):
            if isinstance(mark, Of):
                yield inner, mark
            else:
                yield from quantities_of(mark, inner)


def _marks(note, path):
    mark = mark_of(note)
    if isinstance(mark, Of) or dataclasses.is_dataclass(note):
        yield mark or note, path
    elif mark is None:
        for part in get_args(note):
            yield from _marks(part, path)


ROBOT, SEASON = dict(quantities_of(Robot)), dict(quantities_of(Season))


def test_every_quantity_says_whose_it_is_and_how_hard_to_change():
    assert len(ROBOT) > 200
    assert len(SEASON) > 20
    for path, mark in [*ROBOT.items(), *SEASON.items()]:
        assert mark.role in get_args(Role), path
        assert 0.1 <= mark.effort <= 10, path
        drawn = schema_quantity(mark)
        assert (drawn.role, drawn.effort, drawn.spread) == (mark.role, mark.effort, mark.spread), path


def schema_quantity(mark):
    """A value of a kind as a file would give it, inside its bounds and of a size that a robot can have."""
    middle = mark.low if math.isfinite(mark.low) else 0.0
    least, most = PLAUSIBLE[mark.kind]
    usual = math.sqrt(max(least, 1e-9) * min(most, mark.most or most))
    high = mark.high if math.isfinite(mark.high) else middle + 2.0 * usual
    unit = KINDS[mark.kind].metric
    return mark.read(f"{to_unit(0.5 * (middle + high), mark.kind, unit)} {'' if unit == '1' else unit}".strip())


def test_rules_and_bought_classes_are_facts():
    assert {mark.role for mark in SEASON.values()} == {"fact"}
    assert {mark.role for path, mark in ROBOT.items() if path[0] == "catalogue"} == {"fact"}


@pytest.mark.parametrize(
    ("path", "role"),
    [
        ("parts mass", "made"),
        ("parts position", "choice"),
        ("air supply charge", "choice"),
        ("mechanisms pivot", "choice"),
        ("rollers clearance", "choice"),
        ("drive targets sprint_time", "wish"),
        ("air cylinders time_limit", "wish"),
        ("tracking wanted", "wish"),
        ("mechanisms swing", "wish"),
        ("drive stages efficiency", "fact"),
        ("mechanisms rival mass", "fact"),
        ("mechanisms build_time", "fact"),
        ("weighed mass", "fact"),
        ("hours_left", "fact"),
    ],
)
def test_whose_a_number_is_stands_where_it_is_declared(path, role):
    assert ROBOT[tuple(path.split())].role == role


@pytest.mark.parametrize(("role", "can"), [("choice", True), ("made", True), ("fact", False), ("wish", False)])
def test_what_a_team_cannot_change_is_left_alone(role, can):
    assert changeable((), Quantity(1.0, "ratio", "1", 0.1, role=role)) is can


def test_a_bought_part_keeps_its_mass_but_may_move():
    bought = {"basis": "datasheet"}
    part = schema_of(Part).model_validate(
        {"mass": {"value": "300 g"} | bought, "position": [{"value": "10 mm"} | bought, 0, 0], "size": ["1 in"] * 3}
    )
    assert not changeable((), part.mass)
    assert changeable((), part.position[0])
    assert changeable((), part.size[0])


def test_a_change_that_is_declared_harder_takes_more():
    easy, hard = (Quantity(0.3, "length", "mm", 0.0, effort=effort) for effort in (1.0, 3.0))
    assert effort_of(hard, 0.4) == pytest.approx(3 * effort_of(easy, 0.4))


@pytest.mark.parametrize(
    "quantity",
    [
        Quantity(0.37, "length", "mm", 0.001),
        Quantity(0.02, "length", "mm", 0.001, low=0.0),
        Quantity(0.0, "length", "mm", 0.001, low=0.0),
        Quantity(0.0, "force", "N", 0.0),
        Quantity(-20.0, "force", "N", 1.0),
        Quantity(0.9, "ratio", "1", 0.05, low=0.0, high=1.0),
        Quantity(1.0, "ratio", "1", 0.05, low=0.0, high=1.0),
        Quantity(0.5, "angle", "deg", 0.01, low=-1.5708, high=1.5708),
    ],
)
def test_values_to_try_go_both_ways_nearest_first_and_stay_inside(quantity):
    for one_way in ways(quantity):
        assert np.all((one_way >= quantity.low) & (one_way <= quantity.high))
        assert np.all(np.diff(np.abs(one_way - quantity.si)) > 0)
        assert np.all(one_way != quantity.si)
        assert len(set(np.sign(one_way - quantity.si))) <= 1
    both = np.concatenate(ways(quantity))
    assert both.size >= 8
    efforts = [effort_of(quantity, float(si)) for si in ways(quantity)[0]]
    assert efforts == sorted(efforts)


def test_a_far_stronger_spring_is_fitted_in_the_same_hour():
    """From no spring to one of 20 N: an hour to fit it and a few to find it, not the 40 that 0.5 N an hour come to."""
    none = Quantity(0.0, "force", "N", 0.0)
    assert effort_of(none, 0.5) == pytest.approx(1.0)
    assert 1.0 < effort_of(none, 2.0) < effort_of(none, 20.0) < 6.0
