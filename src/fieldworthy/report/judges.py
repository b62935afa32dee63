"""For the judges: problem, alternatives, measured evidence, the decision and its chance, and what was learned."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from fieldworthy.decide import figure as drawn_choice
from fieldworthy.decide.remedy import FoundRemedies
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Report, name_of
from fieldworthy.files.document import dotted
from fieldworthy.match import Forecast, Scores
from fieldworthy.match import figure as score
from fieldworthy.physics.chance.chance import posterior
from fieldworthy.report.blocks import (
    Block,
    Cell,
    Head,
    Paper,
    Para,
    Picture,
    Points,
    Section,
    Size,
    Table,
    chance,
)
from fieldworthy.report.changelog import moves
from fieldworthy.report.choice import Decision, alternatives_table, recommended
from fieldworthy.report.formulas import HALF, Words, robot_figure, style_of
from fieldworthy.report.notebook import broken_by, inputs_of
from fieldworthy.report.typeset import pages
from fieldworthy.robot import Loaded
from fieldworthy.units import digits

_PAGES = 2  # a judge reads no more


@dataclass(frozen=True, slots=True)
class Room:
    """How much of each list is told, and how large figures are.

    Attributes
    ----------
    evidence, tasks, causes, moved : Rows
    figures : Share of their full height
    """

    evidence: int = 5
    tasks: int = 6
    causes: int = 3
    moved: int = 5
    figures: float = 1.0


_ROOMS = (
    Room(),
    Room(5, 5, 3, 4, 0.94),
    Room(5, 5, 3, 3, 0.88),
    Room(4, 4, 2, 3, 0.82),
    Room(4, 4, 2, 2, 0.76),
    Room(3, 4, 1, 1, 0.7),
    Room(3, 3, 1, 1, 0.6),
)


@dataclass(frozen=True, slots=True)
class Told:
    """All that the judges' pages are made of.

    Attributes
    ----------
    loaded, report : The robot and what the checks found
    date, job : What the person put on them; empty for none
    played : Matches of the robot, or of every variant where there is a decision; empty without a plan
    decision : Between variants; None where none were named
    mendings : Changes that were reckoned through where there is no decision
    older : What the checks found on an older revision; None where none was named
    size : Of the pages
    room : How much of each list is told
    """

    loaded: Loaded
    report: Report
    date: str = ""
    job: str = ""
    played: tuple[tuple[Forecast, Scores], ...] = ()
    decision: Decision | None = None
    mendings: tuple[FoundRemedies, ...] = ()
    older: Report | None = None
    size: Size = "a4"
    room: Room = _ROOMS[0]


def judges(told: Told) -> Paper:
    """Lay the judges' pages out: shorter lists and smaller figures rather than a third page."""
    for room in _ROOMS:
        paper = _laid_out(replace(told, room=room))
        if pages(paper) <= _PAGES:
            break
    return paper


def _laid_out(told: Told) -> Paper:
    report = told.report
    sections = [
        Section("The problem", list(_problem(told)), new_page=False),
        Section("The alternatives", list(_alternatives(told)), new_page=False),
        Section("What we measured", list(_evidence(told)), new_page=False),
        Section("What we decided, and how sure we are", list(_decision(told)), new_page=False),
        Section("What we learned, and what comes next", list(_learned(told)), new_page=False),
    ]
    about = [line for line in (told.job, told.loaded.nominal.about) if line]
    return Paper(f"{report.robot}: what we decided, and why", f"For the judges, season {report.season}", about,
                 told.date, sections, "sheet", told.size)  # fmt: skip


def _words(told: Told) -> Words:
    reports = () if told.decision is None else told.decision.reports
    return Words(told.loaded, told.report, *reports)


def _problem(told: Told) -> Iterator[Block]:
    season = told.loaded.nominal_season
    if season.about:
        yield Para(season.about)
    rows: list[list[Cell]] = [
        [name, f"{float(task.points):g}"] for name, task in sorted(season.tasks.items(), key=_worth)[: told.room.tasks]
    ]
    figures = robot_figure(Context(told.loaded.nominal, season), style_of(told.loaded), above=False)
    if rows:
        yield Para(f"A match lasts {_seconds(told)}, and these tasks earn points. The most valuable come first.")
        yield Table(("Task", "Points each"), rows, (4.0, 1.0), (1,), small=True)
    yield from (Picture(figure, 0.3 * told.room.figures) for figure in figures[:1])


def _worth(entry: tuple[str, object]) -> float:
    return -float(getattr(entry[1], "points", 0.0))


def _seconds(told: Told) -> str:
    periods = told.loaded.nominal_season.periods
    return f"{digits(float(periods.autonomous) + float(periods.driven))} s"


def _alternatives(told: Told) -> Iterator[Block]:
    if told.decision is not None:
        yield Para("Every alternative was checked against the same season, by the same formulas, and played the same "
                   "matches.")  # fmt: skip
        yield alternatives_table(told.decision)
        return
    rows = list(_changes(told))
    if not rows:
        yield Para("No other robot was compared with this one, and no check is short that a change could mend.")
        return
    yield Para("No other robot was compared with this one. For what is short, changes were reckoned through; the "
               "easiest of each stands here.")  # fmt: skip
    yield Table(("What is short", "The easiest change", "What it breaks"), rows, (2.2, 3.6, 2.2), (), True)


def _changes(told: Told) -> Iterator[list[Cell]]:
    """What is short at the root, with the easiest change and what that would break."""
    found = {(m.id, m.subject): m for m in told.mendings}
    words = _words(told)
    for cause in told.report.causes:
        mending = found.get((cause.lead.id, cause.lead.subject))
        if mending is None:
            continue
        if not mending.remedies:
            yield [name_of(cause.lead), words.text(mending.answer), "–"]
            continue
        easiest = mending.remedies[0]
        broken = broken_by(easiest) if easiest.breaks else "nothing else"
        yield [name_of(cause.lead), f"{words.text(easiest.sentence)} ({easiest.cost})", broken]


def _evidence(told: Told) -> Iterator[Block]:
    every = {dotted(path): q for path, q in told.loaded.quantities}
    taken = {key: q for key, q in every.items() if q.basis == "measured" and not q.assumed}
    asked = {key: q for key, q in every.items() if q.tolerance > 0.0}
    yield Para(f"{len(taken)} of the {len(asked)} uncertain numbers behind these results were measured on the robot; "
               "the rest are data sheets and estimates, each with its tolerance.")  # fmt: skip
    rows: list[list[Cell]] = []
    words = _words(told)
    for key in inputs_of(told.report.findings, taken, told.room.evidence):
        q = taken[key]
        rows.append([words.key(key), *words.value(key, q), q.date or ""])
    if rows:
        yield Head("Measured numbers that the results rest on most")
        heads, widths = ("Number", "Value", "Tolerance", "Day"), (4.6, 1.3, 1.3, 1.2)
        columns = 4 if any(row[3] for row in rows) else 3  # a team that wrote no days down gets no empty column
        yield Table(heads[:columns], [row[:columns] for row in rows], widths[:columns], (1, 2), small=True)
    counts = list(_practice(told))
    if counts:
        yield Head("Practice")
        yield Table(("Action", "Worked", "True rate, 95 % interval"), counts, (3.2, 1.6, 2.2), (1,), small=True)


def _practice(told: Told) -> Iterator[list[Cell]]:
    for name, action in told.loaded.nominal.actions.items():
        if action.practice is None:
            continue
        done, tried = action.practice.successes, action.practice.attempts
        low, high = (float(end) for end in posterior(done, tried).interval())
        yield [name, f"{done} of {tried}", f"{100 * low:.0f} to {100 * high:.0f} %"]


def _decision(told: Told) -> Iterator[Block]:
    style, half = style_of(told.loaded), style_of(told.loaded, HALF)
    if told.decision is not None:
        found = told.decision.found
        yield from recommended(found, _words(told))
        several = len(found.difference) > 1  # of two the recommendation has said so
        for gap, sure in zip(found.difference, found.chance, strict=True) if several else ():
            more = "more" if gap.difference >= 0.0 else "less"
            yield Para(f"{gap.variant} scores {abs(gap.difference):.1f} points a match {more} than {gap.first}. The "
                       f"chance that it is truly the better one is {chance(sure.mean)}.")  # fmt: skip
        yield Picture(drawn_choice.differences(found, style), 0.2 * told.room.figures)
    for forecast, scores in told.played:
        if forecast.mean is not None:
            low, high = forecast.interval or (forecast.mean, forecast.mean)
            yield Para(f"{scores.name} is expected to score {forecast.mean:.0f} points a match. That mean is between "
                       f"{round(low)} and {round(high)} (95 %), by what was practised and measured.")  # fmt: skip
    if told.played:
        yield Picture(score.distribution([scores for _, scores in told.played], half), 0.26 * told.room.figures)
    if told.played and told.decision is None:
        yield Head("What limits the score")
        yield Picture(score.limits(told.played[0][0], style), 0.2 * told.room.figures)


def _chosen(told: Told) -> Report:
    """What the checks found on the robot that is chosen; on the one that the pages are about where none is."""
    decision = told.decision
    if decision is None or decision.found.chosen not in decision.matrix.names:
        return told.report
    return decision.reports[decision.matrix.names.index(decision.found.chosen)]


def _learned(told: Told) -> Iterator[Block]:
    lines, words = list(_moved(told)), _words(told)
    if lines:
        yield Head("Since the last revision")
        yield Points(lines)
    said = "" if told.decision is None else told.decision.found.recommendation
    contradictions = [words.text(one.sentence) for forecast, _ in told.played for one in forecast.contradictions
                      if one.sentence not in said]  # fmt: skip
    if contradictions:
        yield Head("Where practice and computing disagree")
        yield Points(contradictions)
    chosen = _chosen(told)
    causes = chosen.causes[: told.room.causes]
    if causes:
        yield Head(f"What still limits {chosen.robot}")
        yield Points([cause.lead.because for cause in causes])
    else:
        nothing = f"Nothing is surely short on {chosen.robot}."
        if f"short on {chosen.robot}." not in said:
            yield Para(nothing)
        yield Head("What has least to spare, and in how many of the robots that the tolerances allow it holds")
        judged = sorted(chosen.of("holds"), key=lambda f: f.margin or 0.0)  # what is close stands below
        yield Points([f"{f.because} ({chance(f.chance)})" for f in judged[: told.room.moved]])
    doubtful = list(chosen.of("close"))
    if doubtful and len(causes) < told.room.causes:
        yield Head("What is close: the tolerances decide")
        least = sorted(doubtful, key=lambda f: f.chance if f.chance is not None else 1.0)
        yield Points([f"{f.because} It holds in {chance(f.chance)} of the robots." for f in least[: told.room.causes]])
    sharpen = list(dict.fromkeys(f.sharpen for f in doubtful if f.sharpen))[:3]
    if sharpen:
        yield Para(f"What to measure next, since verdicts hang on it: {'; '.join(words.key(key) for key in sharpen)}.")


def _moved(told: Told) -> Sequence[str]:
    """Verdicts that are others than on the older revision."""
    if told.older is None:
        return []
    before = {(f.id, f.subject): f for f in told.older.findings}
    found = []
    for move in moves(told.older, told.report)[: 4 * told.room.moved]:
        old, new = before.get((move.id, move.subject)), move.after
        verdict = getattr(new, "verdict", "")
        if old is not None and new is not None and verdict not in ("", old.verdict):
            found.append(f"'{name_of(old)}' {_WAS[old.verdict]} and {_IS[verdict]}. {new.because}")
    return found[: told.room.moved if told.decision is None else told.room.causes]


_WAS = {"short": "was short", "close": "was close", "holds": "held", "unknown": "could not be judged"}
_IS = {"short": "is short now", "close": "is close now", "holds": "holds now", "unknown": "cannot be judged now"}
