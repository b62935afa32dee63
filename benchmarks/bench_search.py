"""Search beside scipy's differential evolution, Optuna's default sampler and pymoo's NSGA-II; and what screening costs.

``python benchmarks/bench_search.py [screen|single|front]``: figures with the machine go into README.md.
"""

from __future__ import annotations

import statistics
import sys
import time
from pathlib import Path

import numpy as np

from fieldworthy.decide.search.propose import Proposer
from fieldworthy.decide.search.trial import Effort, Trial
from fieldworthy.decide.search.wanted import asked, from_options
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.robot import load_robot

MK1 = Path(__file__).parents[1] / "examples" / "heron" / "mk1.yaml"
CALLS = 240
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
    """Shares of the unit cube to a margin, less what must hold and does not; counted as one call each."""
    loaded = load_robot(MK1)
    wanted = asked(loaded, from_options({"vary": [{"key": k} for k in keys], "want": want}))
    trial = Trial(loaded, wanted)

    def value(rows):
        tried = trial.tried(rows)
        worth = np.where(np.isfinite(tried.worth), tried.worth, -1e3)
        return worth - 10.0 * tried.lack[:, None]

    return wanted.space, value


def ours(space, value, seed, calls):
    proposer = Proposer(space, seed, size=8)
    best, done = -np.inf, 0
    while done < calls:
        rows = proposer.ask()[: calls - done]
        if not len(rows):
            break
        worth = value(rows)
        done += len(rows)
        best = max(best, float(worth.max()))
        proposer.tell(rows, worth, np.zeros(len(rows)))
    return best


def scipys(space, value, seed, calls):
    from scipy.optimize import differential_evolution

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


def optunas(space, value, seed, calls):
    import optuna

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
        space, value = problem(keys, [want])
        told = []
        for make in (ours, scipys, optunas):
            began = time.process_time()
            found = [make(space, value, seed, calls) for seed in range(seeds)]
            told.append(f"{make.__name__} {statistics.median(found):.4f} ({time.process_time() - began:.0f} s)")
        print(
            f"{name}: {len(space.variables)} variables, {calls} calls, median of {seeds}: {'; '.join(told)}", flush=True
        )


def front(seeds=5, calls=600):
    import moocore
    from pymoo.algorithms.moo.nsga2 import NSGA2
    from pymoo.core.problem import Problem
    from pymoo.optimize import minimize

    keys = ["parts.battery.position", "parts.left tank.position", "parts.control unit.position", "rollers"]
    space, value = problem(keys, ["balance.tip.forward", "balance.tip.back"])
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
        proposer, seen, done = Proposer(space, seed, 2), [], 0
        while done < calls:
            rows = proposer.ask()[: calls - done]
            seen.append(value(rows))
            done += len(rows)
            proposer.tell(rows, seen[-1], np.zeros(len(rows)))
        mine.append(volume(np.vstack(seen)))
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


def timed(what, do):
    began, spent = time.perf_counter(), time.process_time()
    do()
    wall, processor = time.perf_counter() - began, time.process_time() - spent
    print(f"{what}: {wall:.2f} s, processor {processor:.2f} s")


if __name__ == "__main__":
    for what in sys.argv[1:] or ("screen", "single", "front"):
        {"screen": screen, "single": single, "front": front}[what]()
