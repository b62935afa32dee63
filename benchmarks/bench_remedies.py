"""Times the search for remedies on the example with ten short findings, against one check of the same robot."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldworthy.decide.remedy import remedies
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.robot import load_robot

EXAMPLE = Path(__file__).parents[1] / "examples" / "heron" / "mk1.yaml"


@pytest.fixture(scope="module")
def robot():
    loaded = load_robot(EXAMPLE)
    return loaded, evaluate(loaded, 0)


def test_all_remedies(benchmark, robot):
    found = benchmark.pedantic(remedies, robot, rounds=3, warmup_rounds=1)
    assert len(found) == len(robot[1].short)


def test_peer_one_check(benchmark, robot):
    assert benchmark(evaluate, robot[0], 0).short
