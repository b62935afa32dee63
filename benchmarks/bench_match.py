"""Times the match loop, and its peers on the same equations: SciPy's solve_ivp, and the same loop in C.

The figures in README.md are made by `python benchmarks/bench_match.py`, all of them in one run.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numba
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from match_c import Loop
from match_peer import Peer, rhs

from fieldworthy.decide.work import work_of
from fieldworthy.engine.context import Context
from fieldworthy.match import forecast, play_runs, played, setup
from fieldworthy.robot import load_robot

EXAMPLE = Path(__file__).parents[1] / "examples" / "heron" / "mk1.yaml"
RUNS = 2000
SAME = 1e-5
"""Tolerance with which solve_ivp comes as near to its own tight solution as the loop does: see the test."""


@pytest.fixture(scope="module")
def robot():
    return load_robot(EXAMPLE)


@pytest.fixture(scope="module")
def match(robot):
    made = setup(Context(robot.nominal, robot.nominal_season))
    play_runs(made, 10)
    return made


@pytest.fixture(scope="module")
def compiled():
    return numba.njit(rhs)


def error(match, events) -> float:
    """Largest error of the drive winding's rise, charge and time along the match, against a tight solution."""
    exact, start = Peer(match, rtol=1e-10).play(), match.numbers.motors[0, 0, 12]
    worst = 0.0
    for (begins, y), (right, _, z) in zip(events, exact, strict=True):
        worst = max(worst, abs(begins / right - 1), abs(y[2] / z[2] - 1), abs((y[3] - start) / (z[3] - start) - 1))
    return worst


def test_the_peer_is_asked_for_no_more_than_the_loop_gives(match):
    rough = error(match, [(begins, y) for begins, _, y in Peer(match, rtol=SAME).play()])
    own = 0.0
    for event, (right, _, z) in zip(played(match).events, Peer(match, rtol=1e-10).play(), strict=True):
        own = max(own, abs(event.begins / right - 1), abs(event.charge / z[2] - 1))
    assert own < 2e-5
    assert rough == pytest.approx(1e-4, rel=10.0)


def test_the_loop_in_c_gives_the_same(match, tmp_path):
    totals, pressure, finished, ended = Loop(match, tmp_path)(500, 3)
    ours = play_runs(match, 500, seed=3)
    assert np.array_equal(ours.points, totals[:, 0])
    assert np.array_equal(ours.ended, ended)
    assert np.array_equal(ours.finished, finished)
    assert ours.charge == pytest.approx(totals[:, 3], rel=1e-9)
    assert ours.hottest == pytest.approx(totals[:, 2], rel=1e-9)
    assert ours.pressure == pytest.approx(pressure, rel=1e-9)


def test_matches_one_core(benchmark, match):
    numba.set_num_threads(1)
    runs = benchmark(play_runs, match, RUNS)
    numba.set_num_threads(numba.config.NUMBA_NUM_THREADS)
    assert runs.points.size == RUNS


def test_peer_loop_in_c_one_core(benchmark, match, tmp_path):
    loop = Loop(match, tmp_path)
    assert benchmark(loop, RUNS)[0].shape == (RUNS, 4)


def test_peer_solve_ivp_plain(benchmark, match):
    assert len(benchmark.pedantic(lambda: Peer(match, rtol=SAME).play(), rounds=3)) > 0


def test_peer_solve_ivp_compiled(benchmark, match, compiled):
    Peer(match, rtol=SAME, function=compiled).play()
    assert len(benchmark.pedantic(lambda: Peer(match, rtol=SAME, function=compiled).play(), rounds=3)) > 0


def test_ten_thousand_matches_warm(benchmark, robot):
    forecast(robot, 10)
    found = benchmark.pedantic(forecast, (robot, 10_000), rounds=3, warmup_rounds=1)
    assert found.runs == 10_000


def least(call: Callable[[], object], rounds: int) -> float:
    """Processor time of the quickest of several calls: other work on the machine does not count."""
    times = []
    for _ in range(rounds):
        begin = time.process_time()
        call()
        times.append(time.process_time() - begin)
    return min(times)


def _answer(robot) -> tuple[float, int]:
    """Processor time of a whole answer, and how many matches it plays: the forecast, and every plan next to it."""
    counted = [0]
    timeline = sys.modules[play_runs.__module__]
    loop = timeline.loop

    def counting(*arguments, **options):
        counted[0] += arguments[3]
        return loop(*arguments, **options)

    timeline.loop = counting
    forecast(robot, RUNS)
    work_of(robot, RUNS)
    timeline.loop = loop
    return least(lambda: (forecast(robot, RUNS), work_of(robot, RUNS)), 3), counted[0]


def main() -> None:
    """Print the figures of README.md."""
    robot = load_robot(EXAMPLE)
    match = setup(Context(robot.nominal, robot.nominal_season))
    play_runs(match, 10)
    numba.set_num_threads(1)
    own = least(lambda: play_runs(match, RUNS), 9) / RUNS
    with tempfile.TemporaryDirectory() as folder:
        loop = Loop(match, Path(folder))
        in_c = least(lambda: loop(RUNS), 9) / RUNS
    plain = least(lambda: Peer(match, rtol=SAME).play(), 5)
    function = numba.njit(rhs)
    Peer(match, rtol=SAME, function=function).play()
    compiled = least(lambda: Peer(match, rtol=SAME, function=function).play(), 5)
    rough = error(match, [(begins, y) for begins, _, y in Peer(match, rtol=SAME).play()])
    numba.set_num_threads(numba.config.NUMBA_NUM_THREADS)
    forecast(robot, 10_000)
    walls = []
    for _ in range(5):
        begin = time.perf_counter()
        forecast(robot, 10_000)
        walls.append(time.perf_counter() - begin)
    answer, played_by_it = _answer(robot)
    numba.set_num_threads(1)
    with tempfile.TemporaryDirectory() as folder:
        loop = Loop(match, Path(folder))
        peer = least(lambda: loop(played_by_it), 3)
    print(f"2,000 matches and what to do next, warm, processor time: {answer:.2f} s, of which the loop in C takes "
          f"{peer:.2f} s for its {played_by_it:,} matches ({answer / peer:.2f} times C's time)")  # fmt: skip
    print(f"one match, one core: {1e6 * own:.1f} us; in C {1e6 * in_c:.1f} us ({own / in_c:.2f} times C's time)")
    print(f"solve_ivp, rtol {SAME:g} (error {rough:.1e}), plain: {1e3 * plain:.0f} ms, {plain / own:.0f} times longer")
    print(f"solve_ivp, compiled right-hand side: {1e3 * compiled:.0f} ms, {compiled / own:.0f} times longer")
    print(f"10,000 matches with tolerances, {numba.config.NUMBA_NUM_THREADS} cores, wall: {min(walls):.2f} s")


if __name__ == "__main__":
    main()
