"""Search: the best robot, and the best plan, within stated ranges and the season's limits."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, field
from pathlib import Path

from fieldworthy.decide.search.plans import Planner, texts_with, with_plan_written
from fieldworthy.decide.search.propose import Proposer
from fieldworthy.decide.search.racing import RACED, Budget, Journal, Progress, Race, Task, Tell, crew_of, look_for, run
from fieldworthy.decide.search.result import (
    RUNS,
    Amount,
    Carried,
    Design,
    Found,
    Judge,
    changes_in,
    found,
    variant_texts,
    write_variant,
)
from fieldworthy.decide.search.trial import Trial
from fieldworthy.decide.search.wanted import Asked, asked, bad_option
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.files import Document
from fieldworthy.robot import Loaded

__all__ = [
    "Amount",
    "Budget",
    "Carried",
    "Design",
    "Found",
    "How",
    "Progress",
    "changes_in",
    "search",
    "texts_with",
    "variant_texts",
    "write_variant",
]


_POOL = 8


@dataclass(frozen=True, slots=True)
class How:
    """How a search is done.

    Attributes
    ----------
    budget : How long it may go on
    seed : Fixes every proposal, draw and match
    runs : Matches that the best is played again
    state : File that keeps what was found, so that a stopped search goes on
    workers : How many processes, or the address of a Dask scheduler
    """

    budget: Budget = field(default_factory=Budget)
    seed: int = 0
    runs: int = RUNS
    state: Path | None = None
    workers: str = "1"


def search(loaded: Loaded, document: Document, how: How | None = None, tell: Tell | None = None) -> Found:
    """Search for the best robot that a document asks for."""
    how = how or How()
    how.budget.validate()
    began = time.monotonic()
    look_for(how.workers)
    wanted = asked(loaded, document)
    searched, tried, played, finished = loaded, 0, 0, True
    if wanted.plans:
        planner = _planner(loaded, wanted, how, (began, tell))
        searched = with_plan_written(loaded, planner.search())
        if wanted.space.things:
            wanted = asked(searched, document)  # what is left out is left out of the plan that was found
        tried, played, finished = planner.tried, planner.matches, not planner.stopped
    crew = crew_of(Trial(searched, wanted, how.seed), Task.of(searched, document, how.seed), how.workers)
    try:
        proposer = Proposer(wanted.space, how.seed, len(wanted.objectives), pool=_POOL if wanted.constraints else 1)
        race = Race(proposer, crew, crew.trial.plays)
        if wanted.space.variables and finished:
            journal = Journal(how.state, Task.of(searched, document, how.seed))
            finished = run(race, how.budget.after(time.monotonic() - began), journal, tell)
        race.candidates += tried
        race.matches += played
        if finished and not race.candidates:
            what = f"expected more time: {how.budget.minutes:g} minutes were up before the first candidate was tried"
            raise bad_option("--minutes", what)
        whole = math.inf if how.budget.minutes is None else 60.0 * how.budget.minutes
        judge = Judge(searched, loaded, wanted, how.seed, how.runs, lambda: time.monotonic() - began > whole)
        return found(judge, race, finished=finished)
    finally:
        crew.close()


def _planner(loaded: Loaded, wanted: Asked, how: How, told: tuple[float, Tell | None]) -> Planner:
    """A search for the plan; half of the time is left for the numbers where there are some."""
    began, tell = told
    judge = Judge(loaded, loaded, wanted, how.seed, how.runs)
    share = 0.5 if wanted.space.variables else RACED

    def is_late(planner: Planner) -> bool:
        """Tell how far it is, and whether the plan's part of the time is up."""
        spent = time.monotonic() - began
        whole = math.inf if how.budget.minutes is None else 60.0 * how.budget.minutes
        if tell is not None:
            best = None if planner.best is None else (planner.best,)
            left = whole - spent if math.isfinite(whole) else 0.0
            tell(Progress(planner.tried, planner.matches, min(spent / whole, 1.0), left, best))
        return spent > whole * share

    def holds(variant: Loaded) -> bool:
        """Whether a robot with another plan holds what it must."""
        chances = any(c.chance > 0 for c in wanted.constraints)
        return not judge.lacks(evaluate(variant, samples=200 if chances else 0, seed=how.seed))

    return Planner(loaded, wanted.part, how.seed, holds, is_late)
