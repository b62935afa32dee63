"""A changed robot, judged with what is kept of the robot as it is: the same as a whole check that keeps nothing."""

from __future__ import annotations

import random

import numpy as np
import pytest

from fieldworthy.decide.change import CandidateEvaluator, whole, with_value
from fieldworthy.decide.discrete import ladders
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Outcome
from fieldworthy.engine.system import systems
from fieldworthy.engine.trials import Trials
from fieldworthy.files import instantiate
from fieldworthy.robot.model.robot import Robot
from robots import example, load

ALL = range(len(systems()))


def numbers(outcomes: list[Outcome]) -> list[tuple]:
    """What outcomes say, without their sentences."""
    limit = [np.nan if o.limit is None else float(np.asarray(o.limit).flat[0]) for o in outcomes]
    return [(o.id, o.subject, float(np.asarray(o.value).flat[0]), x) for o, x in zip(outcomes, limit, strict=True)]


def anew(loaded, spec) -> list[tuple]:
    """What a whole check of a specification says, with nothing kept."""
    robot = instantiate(spec, Robot)
    context = Context(robot, loaded.nominal_season, facts=False)
    with np.errstate(all="ignore"):
        return numbers([outcome for system in systems() for outcome in system.check(context)])


def agree(found, wanted, what):
    assert [f[:2] for f in found] == [w[:2] for w in wanted], what
    for one, other in zip(found, wanted, strict=True):
        assert one[2:] == pytest.approx(other[2:], rel=1e-12, abs=1e-12, nan_ok=True), (what, one[:2])


def tried(name: str, seed: int, many: int):
    """Steps of every kind, one after another on one robot, and the robot as it is in between."""
    loaded = example(name)
    trials = Trials(loaded.robot, loaded.nominal_season)
    steps = [change for ladder in ladders(CandidateEvaluator(loaded)) for change in ladder.steps]
    chosen = random.Random(seed).sample(steps, many)
    for change in chosen:
        with np.errstate(all="ignore"):
            said = trials.outcomes(change.robot, change.moved, ALL)
        if said is not None:
            agree(numbers(said), anew(loaded, whole(change)), change.sentence)
    agree(numbers(trials.outcomes(loaded.robot, {}, ALL)), anew(loaded, loaded.robot), "as it is")
    return chosen


@pytest.mark.parametrize("name", ["mk1", "mk2"])
def test_steps_of_any_kind_are_judged_as_a_whole_check_judges_them(name):
    """Held to the checks run on a robot built anew: what is kept may not be out of date."""
    assert len({change.kind for change in tried(name, 7, 10)}) >= 4


@pytest.mark.long
@pytest.mark.parametrize("name", ["mk1", "otter"])
def test_every_step_is_judged_as_a_whole_check_judges_it(name):
    assert tried(name, 0, 70)


def test_what_cannot_be_is_refused_and_leaves_no_trace(tmp_path):
    loaded = load(tmp_path)
    trials = Trials(loaded.robot, loaded.nominal_season)
    before = numbers(trials.outcomes(loaded.robot, {}, ALL))
    spec = with_value(loaded.robot, ("parts",), {})
    assert trials.outcomes(spec, {}, ALL) is not None
    heavier = trials.outcomes(loaded.robot, {("parts", "box", "mass"): 9.0}, ALL)
    assert numbers(heavier) != before
    assert numbers(trials.outcomes(loaded.robot, {}, ALL)) == before


def test_it_stops_where_enough_is_said():
    loaded = example("mk1")
    trials = Trials(loaded.robot, loaded.nominal_season)
    said = trials.outcomes(loaded.robot, {}, ALL, lambda outcome: outcome.id.startswith("balance."))
    assert [o.id.startswith("balance.") for o in said] == [False] * (len(said) - 1) + [True]
