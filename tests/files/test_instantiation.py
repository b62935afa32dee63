"""A batch of a robot's numbers is the same as its cases one by one."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from edge import written
from fieldworthy.engine.evaluate import Cases
from fieldworthy.files import instantiate, quantities
from fieldworthy.files.document import dotted
from fieldworthy.robot import Robot, load_robot

EXAMPLE = Path(__file__).parents[2] / "examples" / "heron" / "mk1.yaml"


def leaves(thing, path=()):
    """Every number, text and None of a realised declaration, by its path."""
    if dataclasses.is_dataclass(thing):
        for f in dataclasses.fields(thing):
            yield from leaves(getattr(thing, f.name), (*path, f.name))
    elif isinstance(thing, dict):
        for key, item in thing.items():
            yield from leaves(item, (*path, key))
    elif isinstance(thing, tuple):
        for i, item in enumerate(thing):
            yield from leaves(item, (*path, i))
    else:
        yield path, thing


@pytest.fixture(scope="module")
def loaded():
    return load_robot(EXAMPLE)


def test_a_batch_equals_its_cases_one_by_one(loaded):
    paths = [path for path, _ in quantities(loaded.robot)]
    cases = Cases(5, 0, 7, paths)
    batch = dict(leaves(instantiate(loaded.robot, Robot, cases.draw)))
    for row in (0, 1, len(paths) // 2, len(paths), len(paths) + 1, cases.size - 1):

        def one(path, quantity, row=row):
            drawn = cases.draw(path, quantity)
            return drawn if isinstance(drawn, float) else float(drawn[row])

        single = dict(leaves(instantiate(loaded.robot, Robot, one)))
        assert list(single) == list(batch)
        for path, value in single.items():
            whole = batch[path]
            assert (whole[row] if isinstance(whole, np.ndarray) else whole) == value, dotted(path)


def test_every_quantity_is_drawn_once_under_its_own_path(loaded):
    drawn = []

    def note(path, quantity):
        drawn.append(path)
        return quantity.si

    instantiate(loaded.robot, Robot, note)
    listed = [path for path, _ in quantities(loaded.robot)]
    assert sorted(drawn, key=dotted) == sorted(listed, key=dotted)
    assert len(set(listed)) == len(listed)


def test_numbers_arrive_in_si_at_the_place_where_they_are_written(tmp_path):
    robot = instantiate(load_robot(written(tmp_path)).robot, Robot)
    assert robot.parts["frame"].mass == pytest.approx(5.0)
    assert robot.parts["lift"].position == pytest.approx((0.0, 0.0, 0.2))
    assert robot.poses["raised"].moves["lift"].turn == pytest.approx(np.pi / 18)
    assert robot.drive.stages[0].driven == 60
    assert robot.drive.targets.push_force == pytest.approx(30.0)
    assert robot.drive.targets.sprint_time is None
    assert robot.drive.wheels["left rear"].position == pytest.approx((-0.15, 0.15))
    assert robot.plan.driven[0].repeat[0].at == "goal"
    assert robot.actions["score"].practice.attempts == 10
    wheel = robot.catalogue.wheels["rubber wheel, 2.75 in"]
    assert wheel.diameter == pytest.approx(2.75 * 0.0254)


def test_a_stated_tolerance_and_basis_are_kept_and_a_default_is_marked(tmp_path):
    found = dict(quantities(load_robot(written(tmp_path)).robot))
    stated = found["parts", "frame", "mass"]
    assert (stated.tolerance, stated.basis, stated.assumed) == (pytest.approx(0.05), "measured", False)
    # a bare mass: 10 % and 2 g, the table of default tolerances
    assert found["parts", "lift", "mass"].tolerance == pytest.approx(0.10 * 1.0 + 0.002)
    assert found["drive", "friction_torque"].assumed
    assert found["drive", "targets", "push_force"].tolerance == 0  # what the team wants has no tolerance
