"""Times `check` on the example: warm with 1,000 and with 100,000 samples, and the cold command."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from fieldworthy.checks import evaluate
from fieldworthy.robot import load_robot

EXAMPLE = Path(__file__).parents[1] / "examples" / "heron" / "mk1.yaml"


@pytest.fixture(scope="module")
def robot():
    loaded = load_robot(EXAMPLE)
    evaluate(loaded)
    return loaded


def test_thousand_samples_warm(benchmark, robot):
    report = benchmark(evaluate, robot, 1000)
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


def test_peer_nominal_alone(benchmark, robot):
    """The peer: one nominal case through the same functions; the batch's cost is told as a ratio to it."""
    from fieldworthy.checks.evaluate import run
    from fieldworthy.checks.sampling import Cases

    assert benchmark(run, robot, Cases(0, 1, 0, []))
