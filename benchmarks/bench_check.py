"""Times `check` on the example: warm, after a changed number, 100,000 samples, and the cold command."""

from __future__ import annotations

import dataclasses
import random
import subprocess
import sys
from pathlib import Path

import pytest

from fieldworthy.decide.change import with_value
from fieldworthy.engine.evaluate import Cases, evaluate, run
from fieldworthy.robot import load_robot

EXAMPLE = Path(__file__).parents[1] / "examples" / "heron" / "mk1.yaml"


@pytest.fixture(scope="module")
def robot():
    loaded = load_robot(EXAMPLE)
    evaluate(loaded)
    return loaded


def test_peer_nominal_alone(benchmark, robot):
    """The peer: one nominal case through the same functions; the batch's cost is told as a ratio to it."""
    assert benchmark(run, robot, Cases(0, 1, 0, []))


def test_thousand_samples_warm(benchmark, robot):
    report = benchmark(evaluate, robot, 1000)
    assert report.samples == 1000


def edits(robot):
    """The robot with one number changed by 1 %, each number of its file in turn, in an order drawn once."""
    moves = [(path, q) for path, q in robot.quantities if q.si != 0.0 and path[0] not in ("catalogue", "season")]
    random.Random(0).shuffle(moves)
    while True:
        for path, quantity in moves:
            other = dataclasses.replace(quantity, si=min(quantity.si * 1.01, quantity.high))
            yield dataclasses.replace(robot, robot=with_value(robot.robot, path, other))


def test_one_number_changed(benchmark, robot):
    """As on a page: the robot before differs by two numbers, the one that goes back and the one that moves."""
    changed = edits(robot)
    report = benchmark.pedantic(evaluate, setup=lambda: ((next(changed),), {}), rounds=300)
    assert report.samples == 1000


def test_hundred_thousand_samples_warm(benchmark, robot):
    report = benchmark.pedantic(evaluate, (robot, 100_000), rounds=3, warmup_rounds=1)
    assert report.samples == 100_000


def test_reading_the_file(benchmark):
    assert benchmark(load_robot, EXAMPLE).robot is not None


def test_cold_command(benchmark):
    command = [sys.executable, "-m", "fieldworthy", "check", str(EXAMPLE), "--exit-zero"]
    done = benchmark.pedantic(
        subprocess.run, (command,), {"check": True, "capture_output": True}, rounds=5, warmup_rounds=1
    )
    assert done.returncode == 0
