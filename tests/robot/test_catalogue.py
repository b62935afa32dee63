"""The catalogue of generic classes holds together: motors obey their own physics, every entry names its basis."""

from __future__ import annotations

import pytest

from fieldworthy.files import instantiate, quantities, schema_of
from fieldworthy.physics.motors.motor import MotorLine
from fieldworthy.robot.loading import builtin
from fieldworthy.robot.model.catalogue import Catalogue

CATALOGUE = schema_of(Catalogue).model_validate(builtin())


@pytest.mark.parametrize("name", builtin()["motors"])
def test_torque_and_voltage_constant_agree(name):
    """Energy: a motor's torque constant cannot exceed its voltage constant (Hughes and Drury, ch. 3).

    Both are at the output shaft, so gears inside take a few percent of the torque.
    """
    kind = instantiate(CATALOGUE, Catalogue).motors[name]
    line = MotorLine(kind.free_speed, kind.stall_torque, kind.free_current, kind.stall_current, kind.rated_voltage)
    assert 0.85 < line.torque_constant / line.voltage_constant < 1.005


def test_every_number_names_its_basis():
    assert all(q.basis in ("estimate", "datasheet") for _, q in quantities(CATALOGUE))
    assert not any(q.basis == "measured" for _, q in quantities(CATALOGUE))


def test_no_class_is_assumed_where_the_file_could_say_it():
    assumed = {path[-1] for path, q in quantities(CATALOGUE) if q.assumed}
    assert assumed <= {"rated_pressure", "spring", "efficiency"}
