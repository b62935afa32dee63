"""Search: the best robot, and the best plan, within stated ranges and the season's limits."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from pathlib import Path

from fieldworthy.decide.search.plans import Planner, texts_with, with_plan_written
from fieldworthy.decide.search.propose import Proposer
from fieldworthy.decide.search.racing import Budget, Journal, Progress, Race, Task, Tell, crew_of, look_for, run
from fieldworthy.decide.search.result import RUNS, Design, Found, Judge, changes_in, found, write_variant
from fieldworthy.decide.search.trial import Trial
from fieldworthy.decide.search.wanted import Asked, asked, bad_option
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.files import Document
from fieldworthy.robot import Loaded

__all__ = ["Budget", "Design", "Found", "How", "Progress", "changes_in", "search", "texts_with", "write_variant"]


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
        planner = _planner(loaded, wanted, how, began)
        searched = with_plan_written(loaded, planner.search())
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
        return found(Judge(searched, loaded, wanted, how.seed, how.runs), race, finished=finished)
    finally:
        crew.close()


def _planner(loaded: Loaded, wanted: Asked, how: How, began: float) -> Planner:
    """A search for the plan; half of the time is left for the numbers where there are some."""
    judge = Judge(loaded, loaded, wanted, how.seed, how.runs)
    share = 0.5 if wanted.space.variables else 1.0

    def is_late() -> bool:
        """Whether the plan's part of the time is up."""
        minutes = how.budget.minutes
        return minutes is not None and time.monotonic() - began > 60.0 * minutes * share

    def holds(variant: Loaded) -> bool:
        """Whether a robot with another plan holds what it must."""
        chances = any(c.chance > 0 for c in wanted.constraints)
        return not judge.lacks(evaluate(variant, samples=200 if chances else 0, seed=how.seed))

    return Planner(loaded, wanted.part, how.seed, holds, is_late)
