"""Search beside scipy's differential evolution, Optuna's default sampler and pymoo's NSGA-II; and what screening costs.

``python benchmarks/bench_search.py [screen|single|front|whole]``: figures with the machine go into README.md. ``whole``
is a team's search: numbers, choices and the plan of mk1 together, in two minutes.
"""

from __future__ import annotations

import statistics
import sys
import time
from pathlib import Path

import numpy as np

from fieldworthy.decide.search import Budget, How, search
from fieldworthy.decide.search.propose import Proposer
from fieldworthy.decide.search.trial import Effort, Trial
from fieldworthy.decide.search.wanted import asked, from_options
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.robot import load_robot

MK1 = Path(__file__).parents[1] / "examples" / "heron" / "mk1.yaml"
TEAM = ["parts.battery.position", "parts.left tank.position", "parts.control unit.position", "rollers",
        "mechanisms.tray.fixed_pin", "mechanisms.tray.arm_pin", "drive.stages", "drive.motor", "drive.wheels",
        "air.tanks.left.tank", "air.supply.charge", "mechanisms.clamp.jaw_reach",
        "mechanisms.hooks", "plan"]  # fmt: skip
CALLS = 120
SEEDS = 10
PROBLEMS = {
    "load so that it tips late": (
        ["parts.battery.position", "parts.left tank.position", "parts.control unit.position", "rollers"],
        "balance.tip.forward",
    ),
    "pins of the tray": (["mechanisms.tray.fixed_pin", "mechanisms.tray.arm_pin"], "lift.force_up.tray"),
    "hooks and gears": (["mechanisms.hooks", "air.layout", "drive.stages"], "climb.attitude.hooks"),
}  # fmt: skip


def problem(keys, want):
    """What a candidate is worth, of whatever holds what it must; others by how much they lack, far below.

    The search is told that lack apart, and the room to each limit, as in any search; the others get the one number.
    """
    loaded = load_robot(MK1)
    wanted = asked(loaded, from_options({"vary": [{"key": k} for k in keys], "want": want}))
    trial = Trial(loaded, wanted)

    def value(rows):
        tried = trial.tried(rows)
        good = np.isfinite(tried.worth) & (tried.lack <= 0)[:, None]
        return np.where(good, tried.worth, -1e3 - tried.lack[:, None])

    return wanted.space, value, trial.tried


def proposed(space, tried, seed, calls, objectives=1):
    """Worth of every candidate that the search proposes and that holds what it must."""
    proposer, seen, done = Proposer(space, seed, objectives, size=8), [], 0
    while done < calls:
        rows = proposer.ask()[: calls - done]
        if not len(rows):
            break
        found = tried(rows)
        done += len(rows)
        seen.append(found.worth[(found.lack <= 0) & np.isfinite(found.worth).all(axis=1)])
        proposer.tell(rows, found.worth, found.rooms)
    return np.vstack(seen)


def ours(problem, seed, calls):
    space, _, tried = problem
    return float(proposed(space, tried, seed, calls).max(initial=-1e3))


def scipys(problem, seed, calls):
    from scipy.optimize import differential_evolution

    space, value, _ = problem
    best, done, d = -np.inf, 0, len(space.variables)
    population = max(5, min(calls // 6, 5 * d) // d)

    def costs(shares):
        nonlocal best, done
        worth = value(space.of_shares(np.clip(shares.T, 0, 1 - 1e-9)))[:, 0]
        best, done = max(best, float(worth[: max(calls - done, 0)].max(initial=-np.inf))), done + len(worth)
        return -worth

    rounds = max(calls // (population * d) - 1, 1)
    differential_evolution(costs, [(0, 1)] * d, rng=seed, popsize=population, maxiter=rounds, polish=False, tol=0,
                           updating="deferred", vectorized=True, x0=space.shares_of(space.now[None, :])[0])  # fmt: skip
    return best


def optunas(problem, seed, calls):
    import optuna

    space, value, _ = problem

    optuna.logging.set_verbosity(optuna.logging.ERROR)
    study = optuna.create_study(direction="maximize", sampler=optuna.samplers.TPESampler(seed=seed))
    now = {str(i): float(s) for i, s in enumerate(space.shares_of(space.now[None, :])[0])}
    study.enqueue_trial({k: v if space.variables[int(k)].is_number else int(space.now[int(k)]) for k, v in now.items()})

    def one(trial):
        row = [
            v.of_share(np.array([trial.suggest_float(str(i), 0, 1 - 1e-9)]))[0]
            if v.is_number else trial.suggest_categorical(str(i), list(range(v.grid.size)))
            for i, v in enumerate(space.variables)
        ]  # fmt: skip
        return float(value(np.array([row], dtype=float))[0, 0])

    study.optimize(one, n_trials=calls)
    return study.best_value


def single(seeds=SEEDS, calls=CALLS):
    for name, (keys, want) in PROBLEMS.items():
        made = problem(keys, [want])
        space = made[0]
        told = []
        for make in (ours, scipys, optunas):
            began = time.process_time()
            found = [make(made, seed, calls) for seed in range(seeds)]
            told.append(f"{make.__name__} {statistics.median(found):.4f} ({time.process_time() - began:.0f} s)")
        print(
            f"{name}: {len(space.variables)} variables, {calls} calls, median of {seeds}: {'; '.join(told)}", flush=True
        )


def front(seeds=SEEDS, calls=600):
    import moocore
    from pymoo.algorithms.moo.nsga2 import NSGA2
    from pymoo.core.problem import Problem
    from pymoo.optimize import minimize

    keys = ["parts.battery.position", "parts.left tank.position", "parts.control unit.position", "rollers"]
    space, value, tried = problem(keys, ["balance.tip.forward", "balance.tip.back"])
    low = value(space.now[None, :])[0] - 1.0

    def volume(worth):
        return moocore.hypervolume(-worth, ref=-low)

    class Robot(Problem):
        def __init__(self):
            d = len(space.variables)
            super().__init__(n_var=d, n_obj=2, xl=np.zeros(d), xu=np.ones(d) - 1e-9)
            self.seen = []

        def _evaluate(self, x, out, *_args, **_more):
            worth = value(space.of_shares(x))
            self.seen.append(worth)
            out["F"] = -worth

    mine, theirs = [], []
    for seed in range(seeds):
        mine.append(volume(proposed(space, tried, seed, calls, 2)))
        robot = Robot()
        minimize(robot, NSGA2(pop_size=40), ("n_eval", calls), seed=seed)
        theirs.append(volume(np.vstack(robot.seen)))
    print(f"hypervolume, {calls} calls, median of {seeds}: ours {statistics.median(mine):.4f}, "
          f"NSGA-II {statistics.median(theirs):.4f}")  # fmt: skip


def screen():
    loaded = load_robot(MK1)
    keys = ["mechanisms.tray.fixed_pin", "mechanisms.tray.arm_pin", "mechanisms.clamp.jaw_reach"]
    six = ["lift.force_up.tray", "lift.swing.tray", "lift.dead_point.tray", "lift.placed.tray", "clamp.hold.clamp",
           "clamp.bite.clamp"]  # fmt: skip
    document = {"vary": [{"key": k} for k in keys], "want": six, "keep": False}
    trial = Trial(loaded, asked(loaded, from_options(document)))
    rows = trial.asked.space.of_shares(np.random.default_rng(0).random((100_000, len(trial.asked.space.variables))))
    trial.tried(rows[:8192])
    timed("100,000 candidates on six findings", lambda: trial.tried(rows, Effort()))
    evaluate(loaded, 1000)
    timed("check with 100,000 samples", lambda: evaluate(loaded, 100_000))


def whole(minutes=2.0):
    """Design and plan of mk1 together, as a team would ask for them."""
    import resource

    began, spent = time.perf_counter(), time.process_time()
    found = search(load_robot(MK1), from_options({"vary": [{"key": k} for k in TEAM], "keep": False}),
                   How(Budget(100_000, minutes), workers="2"))  # fmt: skip
    wall, processor = time.perf_counter() - began, time.process_time() - spent
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    space = asked(load_robot(MK1), from_options({"vary": [{"key": k} for k in TEAM]})).space
    print(f"{len(space.numbers)} numbers, {len(space.choices)} choices and the plan, {minutes:g} minutes, seed 0: "
          f"{found.answer} {found.candidates:,} candidates, {found.matches:,} matches; {wall:.0f} s by the clock, "
          f"{processor:.0f} s of processor here, {peak:.0f} MB at most")  # fmt: skip


def timed(what, do):
    began, spent = time.perf_counter(), time.process_time()
    do()
    wall, processor = time.perf_counter() - began, time.process_time() - spent
    print(f"{what}: {wall:.2f} s, processor {processor:.2f} s")


if __name__ == "__main__":
    for what in sys.argv[1:] or ("screen", "single", "front"):
        {"screen": screen, "single": single, "front": front, "whole": whole}[what]()
