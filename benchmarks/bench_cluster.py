"""How a search would scale: processor time of what workers can do and of what one process must, task by task.

``python benchmarks/bench_cluster.py [candidates]`` searches mk1 in this process and reckons from the processor time of
each task what the same search would take on more workers: each stage of a race ends with its last task.
``python benchmarks/bench_cluster.py wall [candidates]`` runs the same on a Dask cluster of one and of two workers with
one core each, by the clock, and tells what one task costs beside its work. It needs the extra `cluster`.
"""

from __future__ import annotations

import heapq
import sys
import time
from pathlib import Path

from fieldworthy.decide.search import Budget, How, racing, search
from fieldworthy.decide.search.wanted import from_options
from fieldworthy.robot import load_robot

MK1 = Path(__file__).parents[1] / "examples" / "heron" / "mk1.yaml"
KEYS = ["drive.stages", "drive.wheels", "drive.motor", "rollers", "air.layout", "air.tanks",
        "mechanisms.tray.fixed_pin"]  # fmt: skip
WORKERS = (1, 2, 4, 8, 16, 100)
_OVERHEAD = 0.002  # s a task, as `wall` told it
_EMPTY = 400


def asked(count, workers="1"):
    document = from_options({"vary": [{"key": key} for key in KEYS], "keep": False})
    return search(load_robot(MK1), document, How(Budget(count), workers=workers))


def reckoned(count):
    """The same search on more workers, from the processor time of each of its tasks."""
    stages = []

    class Timed(racing.Crew):
        def _work(self, parts, effort):
            found, spent = [], []
            for part in parts:
                began = time.process_time()
                found += super()._work([part], effort)
                spent.append(time.process_time() - began)
            stages.append(spent)
            return found

    asked(60)  # compiled code and what is imported are there
    racing.Crew, kept = Timed, racing.Crew
    try:
        began = time.process_time()
        asked(count)
        whole = time.process_time() - began
    finally:
        racing.Crew = kept
    tasks = sum(map(sum, stages))
    serial = whole - tasks
    count_of = sum(map(len, stages))
    print(f"{count} candidates: {whole:.1f} s of processor, of which {tasks:.1f} s in {count_of} tasks "
          f"({1000 * tasks / count_of:.0f} ms each) in {len(stages)} stages, {serial:.1f} s serial")  # fmt: skip
    alone = None
    for workers in WORKERS:
        took = serial + sum(makespan(spent, workers) for spent in stages) + _OVERHEAD * count_of
        alone = alone or took
        amdahl = (serial + tasks) / (serial + tasks / workers)
        print(f"{workers} workers: {took:.1f} s, {alone / took:.2f} times as fast; by Amdahl {amdahl:.2f}")


def makespan(spent, workers):
    """How long workers take for tasks that each takes up as it becomes free."""
    free = [0.0] * workers
    for one in spent:
        heapq.heappush(free, heapq.heappop(free) + one)
    return max(free)


def wall(count):
    """The same search on one and on two workers, by the clock, and empty tasks."""
    from distributed import Client, LocalCluster

    took = {}
    for workers in (1, 2):
        with LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None) as cluster:
            asked(120, cluster.scheduler_address)  # each worker reads the robot and its compiled code once
            with Client(cluster) as client:
                before = sum(client.run(time.process_time).values())
                began, own = time.monotonic(), time.process_time()
                asked(count, cluster.scheduler_address)
                took[workers] = time.monotonic() - began
                own = time.process_time() - own
                spent = sum(client.run(time.process_time).values()) - before
                began = time.monotonic()
                client.gather([client.submit(abs, -i, pure=False) for i in range(_EMPTY)])
                each = 1000 * (time.monotonic() - began) / _EMPTY
        print(f"{workers} workers: {took[workers]:.1f} s by the clock; processor: {own:.1f} s here with the scheduler, "
              f"{spent:.1f} s on workers; an empty task {each:.1f} ms", flush=True)  # fmt: skip
    print(f"two workers are {took[1] / took[2]:.2f} times as fast as one by the clock")


if __name__ == "__main__":
    said = sys.argv[1:]
    number = int(next((s for s in said if s.isdigit()), 3000))
    (wall if "wall" in said else reckoned)(number)
