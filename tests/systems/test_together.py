"""What is solved for several cylinders at once is what the same physics gives for each alone.

The physics itself is held to the outside by the tests of its own room and of `systems.test_air`.
"""

from __future__ import annotations

import numpy as np
import pytest

from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases
from fieldworthy.files import instantiate
from fieldworthy.physics._require import above, at_least
from fieldworthy.physics.gas.actuation import Source, actuation
from fieldworthy.physics.gas.tank import draws_before_short
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.air.check import _cycles
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import aligned, stacked
from fieldworthy.vehicle.supply import air_along_plan, air_line, stroke_at, stroke_time, use_of
from robots import example, load, nominal

LOADED = example()
CASES = Cases(2, 0, 30, [("air", "supply", "charge")])
BATCH = Context(instantiate(LOADED.robot, Robot, CASES.draw), LOADED.nominal_season, nominal(LOADED))
MIXED = Context(  # one cylinder's load varies, and nothing else
    instantiate(
        LOADED.robot, Robot, lambda path, q: CASES.draw(path, q) if path[:3] == ("air", "cylinders", "tray") else q.si
    ),
    LOADED.nominal_season,
    nominal(LOADED),
)
SUBJECTS = [nominal(LOADED), BATCH, MIXED]
NAMES = ["nominal", "batch", "mixed"]


@pytest.mark.parametrize("context", SUBJECTS, ids=NAMES)
def test_strokes_timed_together_are_those_timed_alone(context):
    p_atm = state.p_atm(context)
    assert context.robot.air.cylinders
    for name in context.robot.air.cylinders:
        use = use_of(context, name)
        line = air_line(context, use)
        plan = air_along_plan(context).lowest[name]
        for way in range(len(use.draws)):
            source = Source(plan[way].before, use.circuit.volume / use.spec.count, use.circuit.p_set)
            supply = np.minimum(plan[way].before, use.circuit.p_set)
            left = plan[way].gauge + p_atm
            vented = left if use.cylinder.double_acting else p_atm
            stroke = stroke_at(use, supply, way, left)
            alone = actuation(stroke, line, line, source, vented, p_atm, context.season.temperature).time
            together = stroke_time(context, name, way)
            # single precision inside: vector and scalar code may differ by a few 1e-7
            assert together == pytest.approx(np.broadcast_to(alone, np.shape(together)), rel=1e-5)
            # what nothing moves must not move in its last digits either, or it would count as depending on something
            assert np.ndim(alone) or np.all(together == np.ravel(together)[0])


@pytest.mark.parametrize("context", SUBJECTS, ids=NAMES)
def test_cycles_counted_together_are_those_counted_alone(context):
    found = _cycles(context)
    assert context.robot.air.cylinders
    for name in context.robot.air.cylinders:
        use = use_of(context, name)
        draws = draws_before_short(use.circuit.p_charge, use.circuit.volume, use.draws, state.p_atm(context))
        assert np.all(found[name] == np.floor(draws / len(use.draws))), name


def test_a_robot_without_air_has_nothing_to_count(tmp_path):
    assert _cycles(nominal(load(tmp_path))) == {}


def test_parts_that_ride_together_are_the_same_alone_and_among_all():
    for name, group in state.groups(BATCH).items():
        alone = state.group(BATCH, name)
        assert np.array_equal(alone.corners, group.corners)
        assert np.array_equal(alone.body.inertia, group.body.inertia)
    riders = [part for part in BATCH.robot.parts.values() if part.rides == "tray"]
    assert state.group(BATCH, "tray").body.mass == pytest.approx(
        sum(part.mass * part.count for part in riders), rel=1e-12
    )


def test_stacks_are_lined_up_with_the_widest():
    many, few = stacked([1.0, np.arange(3.0)]), stacked([4.0, 5.0])
    assert many.tolist() == [[1.0, 1.0, 1.0], [0.0, 1.0, 2.0]]
    wide, narrow = aligned([many, few])
    assert (wide.shape, narrow.shape) == ((2, 3), (2, 1))
    assert (wide + narrow).tolist() == [[5.0, 5.0, 5.0], [5.0, 6.0, 7.0]]
    assert [a.shape for a in aligned([few, few])] == [(2,), (2,)]


@pytest.mark.parametrize("kind", [float, np.float64, np.asarray, lambda x: np.array([x, 2.0])])
def test_bounds_hold_in_every_case_and_never_for_what_is_no_number(kind):
    assert [above(0.0, kind(x)) for x in (-1.0, 0.0, 1e-300, np.inf, np.nan)] == [False, False, True, True, False]
    assert [at_least(0.0, kind(x)) for x in (-1.0, 0.0, 1.0, np.inf, np.nan)] == [False, True, True, True, False]
    assert above(0.0, kind(1.0), 3)
    assert not at_least(0.0, kind(1.0), -3)
