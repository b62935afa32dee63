"""Search: the best robot, and the best plan, within stated ranges and the season's limits."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from fieldworthy.decide.search.propose import Proposer
from fieldworthy.decide.search.racing import Budget, Crew, Journal, Progress, Race, Task, Tell, run
from fieldworthy.decide.search.result import RUNS, Design, Found, Judge, as_plain, found, write_variant
from fieldworthy.decide.search.trial import Trial
from fieldworthy.decide.search.wanted import asked
from fieldworthy.files import Document
from fieldworthy.robot import Loaded

__all__ = ["Budget", "Design", "Found", "How", "Progress", "as_plain", "search", "write_variant"]


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
    """

    budget: Budget = field(default_factory=Budget)
    seed: int = 0
    runs: int = RUNS
    state: Path | None = None


def search(loaded: Loaded, document: Document, how: How | None = None, tell: Tell | None = None) -> Found:
    """Search for the best robot that a document asks for."""
    how = how or How()
    wanted = asked(loaded, document)
    crew = Crew(Trial(loaded, wanted, how.seed))
    try:
        proposer = Proposer(wanted.space, how.seed, len(wanted.objectives), pool=_POOL if wanted.constraints else 1)
        race = Race(proposer, crew, crew.trial.plays)
        finished = run(race, how.budget, Journal(how.state, Task.of(loaded, document, how.seed)), tell)
        return found(Judge(loaded, wanted, how.seed, how.runs), race, finished=finished)
    finally:
        crew.close()
