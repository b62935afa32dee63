"""Workers: the same answer from one process, from two, from a Dask cluster of which a worker is killed."""

from __future__ import annotations

import os
import signal
import socket
import threading
import time

import numpy as np
import pytest

from fieldworthy.decide.search import Budget, How, racing, search
from fieldworthy.decide.search.racing import Processes, Task, crew_of
from fieldworthy.decide.search.trial import Effort, Trial
from fieldworthy.decide.search.wanted import asked, from_options
from fieldworthy.engine.finding import as_data
from fieldworthy.files import BadInput
from robots import load

DOCUMENT = from_options({
    "vary": [{"key": "drive.stages"}, {"key": "parts.box.position"}, {"key": "drive.wheels.left front.position"}],
    "want": ["balance.tip.back"],
})  # fmt: skip


def test_two_processes_try_what_one_does(tmp_path, monkeypatch):
    monkeypatch.setattr(racing, "_PATIENCE", 0.0)
    loaded = load(tmp_path)
    task = asked(loaded, DOCUMENT)
    alone = crew_of(Trial(loaded, task, 3), Task.of(loaded, DOCUMENT, 3), "1")
    both = crew_of(Trial(loaded, task, 3), Task.of(loaded, DOCUMENT, 3), "2")
    assert isinstance(both, Processes)
    rows = task.space.of_shares(np.random.default_rng(1).random((70, len(task.space.variables))))
    try:
        one, two = (crew.tried(rows, Effort(5, 0)) for crew in (alone, both))
    finally:
        both.close()
    assert np.array_equal(one.worth, two.worth)
    assert np.array_equal(one.lacks, two.lacks)
    height = rows[:, [v.key for v in task.space.variables].index("parts.box.position[2]")]
    # the box is 0.2 m high, and 5 mm are left for measuring: lower it would be below the floor
    assert np.isfinite(one.worth[:, 0]).tolist() == (height >= 0.095).tolist()


@pytest.mark.long
def test_a_cluster_that_does_not_answer_is_told_within_ten_seconds(tmp_path):
    loaded = load(tmp_path)
    with socket.socket() as silent:  # takes the call and says nothing
        silent.bind(("127.0.0.1", 0))
        silent.listen()
        address = f"tcp://127.0.0.1:{silent.getsockname()[1]}"
        began = time.monotonic()
        with pytest.raises(BadInput, match="none answered within 10 s"):
            search(loaded, DOCUMENT, How(Budget(10), workers=address))
        assert time.monotonic() - began < 30  # a loaded machine is slower


@pytest.mark.parametrize("workers", ["0", "two", "-1", "1.5"])
def test_workers_that_cannot_be(tmp_path, workers):
    with pytest.raises(BadInput, match="expected a number from 1 to 256"):
        search(load(tmp_path), DOCUMENT, How(Budget(10), workers=workers))


@pytest.mark.long
@pytest.mark.filterwarnings("default")
def test_a_cluster_of_which_a_worker_is_killed_gives_the_same_answer(tmp_path, monkeypatch):
    from distributed import LocalCluster

    loaded = load(tmp_path)
    alone = search(loaded, DOCUMENT, How(Budget(600), seed=2))
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        killed = []

        def kill() -> None:
            process = next(iter(cluster.workers.values())).process.process
            killed.append(process.pid)
            os.kill(process.pid, signal.SIGKILL)

        through, rounds = racing.Cluster._work, []

        def watched(crew, parts, effort):
            rounds.append(len(parts))
            if len(rounds) == 3:  # in the middle: tasks are out when it dies
                threading.Timer(0.02, kill).start()
            return through(crew, parts, effort)

        monkeypatch.setattr(racing.Cluster, "_work", watched)
        spread = search(loaded, DOCUMENT, How(Budget(600), seed=2, workers=cluster.scheduler_address))
        assert len(rounds) > 4
        again = search(loaded, DOCUMENT, How(Budget(600), seed=2, workers=cluster.scheduler_address))
    assert killed, "the search ended before a worker was killed"
    assert as_data(spread) == as_data(alone) == as_data(again)


@pytest.mark.long
@pytest.mark.filterwarnings("default")
def test_a_worker_with_another_version_is_refused_by_name(tmp_path, monkeypatch):
    from distributed import LocalCluster

    loaded = load(tmp_path)
    with LocalCluster(n_workers=1, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        monkeypatch.setattr(racing, "version", lambda _: "9.9")
        with pytest.raises(BadInput, match=r"expected workers with fieldworthy 9\.9: tcp://.* has"):
            search(loaded, DOCUMENT, How(Budget(10), workers=cluster.scheduler_address))
