"""What a team can change, how far it is tried, and that more change is more effort."""

import numpy as np
import pytest

from fieldworthy.decide.variables import changeable, effort_of, ways
from fieldworthy.files import Quantity


@pytest.mark.parametrize(
    ("path", "can"),
    [
        (("parts", "box", "mass"), True),
        (("air", "supply", "charge"), True),
        (("mechanisms", "lift", "pivot", 0), True),
        (("rollers", "front", "clearance"), True),
        (("season", "limits", "mass"), False),
        (("catalogue", "motors", "test motor", "free_speed"), False),
        (("catalogue", "motors", "test motor", "counted_power"), False),
        (("drive", "targets", "sprint_time"), False),
        (("air", "cylinders", "main", "time_limit"), False),
        (("drive", "stages", 0, "efficiency"), False),
        (("mechanisms", "clamp", "rival", "mass"), False),
    ],
)
def test_what_a_team_cannot_change_is_left_alone(path, can):
    assert changeable(path, Quantity(1.0, "ratio", "1", 0.1)) is can


def test_a_bought_part_keeps_its_mass_but_may_move():
    bought = Quantity(0.3, "mass", "g", 0.01, "datasheet", low=0.0)
    assert not changeable(("parts", "motors", "mass"), bought)
    assert changeable(("parts", "frame", "mass"), Quantity(0.3, "mass", "g", 0.01, "measured", low=0.0))
    assert changeable(("parts", "motors", "position", 2), Quantity(0.1, "length", "mm", 0.001, "datasheet"))


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
    efforts = [effort_of(("parts", "box", "mass"), quantity, float(si)) for si in ways(quantity)[0]]
    assert efforts == sorted(efforts)
