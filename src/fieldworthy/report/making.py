"""From a robot to its documents: runs what each needs and lays it out; commands and page only say where it goes."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fieldworthy.decide.compare import EVEN, compare, matrix
from fieldworthy.decide.faults import fix_first
from fieldworthy.decide.remedy import remedies
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.engine.finding import DisplayUnits, Report
from fieldworthy.match import match_clock, scores, summed, tallied, timeline
from fieldworthy.measure.model import FaultLog
from fieldworthy.measure.practice import risks
from fieldworthy.report import card
from fieldworthy.report.blocks import Paper, Section, Size
from fieldworthy.report.card import Inspection, inspection
from fieldworthy.report.changelog import changelog
from fieldworthy.report.choice import Decision, choice
from fieldworthy.report.formulas import style_of
from fieldworthy.report.judges import Told, judges
from fieldworthy.report.notebook import Content, Played, notebook
from fieldworthy.robot import Loaded

SAMPLES = 1000
"""Robots within the tolerances that every document's chances are counted over."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a notebook shall hold.

    Attributes
    ----------
    date, job : What the person put on the cover; empty for none
    runs, seed : Matches of the forecast, and what fixes all draws
    mend : Whether to look for remedies, which takes some seconds
    since : An older revision of the robot
    against : Variants to decide between; one alone is held against the robot itself
    weights : Criterion and weight; empty for all the same
    """

    date: str = ""
    job: str = ""
    runs: int = 2000
    seed: int = 0
    mend: bool = False
    since: Loaded | None = None
    against: tuple[Loaded, ...] = ()
    weights: tuple[tuple[str, float], ...] = ()


def make_notebook(loaded: Loaded, wanted: Wanted) -> Paper:
    """Check a robot, play its matches and lay its notebook out."""
    report = evaluate(loaded, SAMPLES, wanted.seed)
    mendings = remedies(loaded, report) if wanted.mend else ()
    played = _played(loaded, wanted) if loaded.nominal.plan is not None else None
    more = [*_since(loaded, report, wanted), *_decided(loaded, wanted)]
    content = Content(loaded, report, wanted.job, wanted.date, played, mendings, more, size_of(loaded))
    return notebook(content)


def _played(loaded: Loaded, wanted: Wanted) -> Played:
    base = Context(loaded.nominal, loaded.nominal_season)
    tally = tallied(loaded, wanted.runs, wanted.seed)
    found = summed(loaded, tally, timeline(base), (wanted.runs, wanted.seed))
    return Played(found, scores(tally, found), match_clock(base))


def _since(loaded: Loaded, report: Report, wanted: Wanted) -> list[Section]:
    if wanted.since is None:
        return []
    return [changelog((wanted.since, evaluate(wanted.since, SAMPLES, wanted.seed)), (loaded, report))]


def make_judges(loaded: Loaded, wanted: Wanted) -> Paper:
    """Check a robot, play its matches and lay the judges' pages out."""
    report = evaluate(loaded, SAMPLES, wanted.seed)
    played = _played(loaded, wanted) if loaded.nominal.plan is not None else None
    older = None if wanted.since is None else evaluate(wanted.since, SAMPLES, wanted.seed)
    told = Told(loaded, report, wanted.date, wanted.job, decision=_decision(loaded, wanted), older=older,
                size=size_of(loaded))  # fmt: skip
    return judges(told if played is None else replace(told, forecast=played.forecast, scores=played.scores))


def _decided(loaded: Loaded, wanted: Wanted) -> list[Section]:
    found = _decision(loaded, wanted)
    return [] if found is None else choice(found, style_of(loaded))


def _decision(loaded: Loaded, wanted: Wanted) -> Decision | None:
    if not wanted.against:
        return None
    variants = wanted.against if len(wanted.against) > 1 else (loaded, *wanted.against)
    reports = tuple(evaluate(v, SAMPLES, wanted.seed) for v in variants)
    found = compare(variants, wanted.runs, wanted.seed)
    weighed = matrix(found, reports, dict(wanted.weights) or EVEN)
    return Decision(variants, reports, found, weighed)


def make_card(loaded: Loaded, date: str = "", log: FaultLog | None = None) -> Paper:
    """Check a robot and lay its pit card out on one page."""
    asked = card.Asked(date, () if log is None else _faults(loaded, log), size_of(loaded))
    return card.fitted(card.card(loaded, evaluate(loaded, SAMPLES), asked))


def _faults(loaded: Loaded, log: FaultLog) -> tuple[str, ...]:
    if loaded.nominal.plan is None:
        return tuple(card.fault(risk) for risk in risks(log) if risk.times)
    ranked = fix_first(loaded, log).fixes
    return tuple(card.fault(fix.risk, fix.points) for fix in ranked if fix.risk.times)


def make_inspection(loaded: Loaded) -> Inspection:
    """Check a robot and hold the season's limits against it."""
    return inspection(evaluate(loaded, SAMPLES), loaded.nominal, loaded.nominal_season)


def size_of(loaded: Loaded) -> Size:
    """Choose the paper that the team has: Letter where it measures in inches."""
    return "a4" if DisplayUnits.of(loaded.quantities).units["length"] in ("mm", "cm", "m") else "us-letter"
