"""One match over time, how the points of many matches spread, and what moves them; runs go on without a window."""

from __future__ import annotations

import contextlib
from typing import Any

from fieldworthy.engine.finding import Report, in_words
from fieldworthy.files.document import BadInput
from fieldworthy.match import PARTS, Forecast, Part, early
from fieldworthy.units import counted
from fieldworthy.web.components import field, follow, heading, pictures_of
from fieldworthy.web.jobs import Job
from fieldworthy.web.judging import Source
from fieldworthy.web.markup import Content, Markup, chance_text, plain_sentences, tag
from fieldworthy.web.page import Page
from fieldworthy.web.runs import Played, drawn_influences, drawn_match, first_mean, moved_points, play
from fieldworthy.web.worker import Broken, Stopped

RUNS, MOST = 2000, 200_000
_WORDS = {
    "whole": "whole match",
    "autonomous": "autonomous only",
    "driven": "driven only",
    "solo": "alone on the field",
}


async def build(page: Page) -> None:
    """Show the match."""
    page.fill(
        heading("Match", "luck", "ignorance", "practice counts"),
        tag("p", "The plan is played again and again, each time with its own luck and tolerances.", class_="lead"),
        tag("div", id="match-problems"),
        tag("div", id="match-told"),
        tag(
            "div",
            tag("div", id="match-sum"),
            _asked(),
            tag("div", id="match-run", role="status"),
            tag("div", id="match-drawn", class_="figures"),
            id="match-figures",
            class_="figures",
        ),
        tag("div", id="match-more"),
        tag("div", id="match-inputs", class_="figures"),
    )
    page.on("play", lambda data: _play(page, data.get("values") or {}))
    page.on("inputs", lambda _: _inputs(page))
    page.on("stop", lambda _: _stop(page))
    page.on_judged(lambda: _judged(page))
    _stale(page)
    for job, show in ((_job(page, play), _show), (_job(page, moved_points), _show_inputs)):
        if job is not None:  # it went on while nobody looked
            follow(page, job, show)
    if _job(page, play) is None and page.judged is not None:
        _first(page)


def _judged(page: Page) -> None:
    _stale(page)
    if _job(page, play) is None:
        _first(page)


def _first(page: Page) -> None:
    """Play as many matches as the command does, without being asked: the page must not say other numbers."""
    if page.judged is not None and not page.problems and page.draft is not None:
        _begin(page, page.draft.source, RUNS, "whole")


def _begin(page: Page, source: Source, runs: int, part: Part) -> None:
    """Play matches; where they wait for the compiler, a few that do not are told meanwhile."""
    job = page.queue.start(f"{runs:,} matches", play, source, runs, 0, part)
    follow(page, job, _show)
    if not job.over:
        page.later(_tell_first(page, job, source, part))


async def _tell_first(page: Page, job: Job, source: Source, part: Part) -> None:
    with contextlib.suppress(BadInput, Broken, Stopped):  # the whole run tells what is wrong
        mean = await page.queue.first(job, first_mean, source, part)
        if mean is not None and page.view == "match" and _job(page, play) is job:
            told = f" points on average over the first {early.RUNS} matches; the others follow once it is compiled"
            page.put("match-sum", tag("p", tag("b", f"{mean:.0f}"), told, class_="big"))
            page.say(f"First answer: {mean:.0f}{told}.")


def _job(page: Page, function: Any) -> Job | None:
    return page.queue.newest(function, page.draft.file) if page.draft else None


def _asked() -> Markup:
    parts = tag(
        "select", [tag("option", words, value=part) for part, words in _WORDS.items()], id="in-part", name="part"
    )
    runs = field("Matches", "runs", str(RUNS), hint=f"From 10 to {MOST:,}.")
    part = tag("div", tag("label", "Which part", for_="in-part"), parts, class_="field")
    button = tag("button", "Play", type="submit", class_="main")
    return tag("form", tag("div", runs, part, class_="fields"), button, data_submit="play")


def _stale(page: Page) -> None:
    """Say whether what is shown belongs to another state of the file."""
    page.put("match-problems", plain_sentences(page.problems) if page.problems else "")
    job = _job(page, play)
    if page.draft and job is not None and isinstance(job.result, Played):
        old = job.result.source != page.draft.source
        page.put("match-told", tag("p", "The robot has changed since: play again.", class_="caution") if old else "")


def runs_of(said: object, most: int = MOST) -> int | None:
    """Read how many matches are asked for."""
    text = str(said).replace(",", "").replace(" ", "")
    return int(text) if text.isdecimal() and len(text) < 9 and 10 <= int(text) <= most else None


def _play(page: Page, values: dict[str, Any]) -> None:
    runs, part = runs_of(values.get("runs")), values.get("part")
    if runs is None or part not in PARTS:
        page.note(f"Matches: expected a number from 10 to {MOST:,}.", bad=True)
        return
    if page.draft is None or page.problems:
        page.note("The file has mistakes: mend them first.", bad=True)
        return
    chosen: Part = part
    _begin(page, page.draft.source, runs, chosen)


def _inputs(page: Page) -> None:
    if page.draft is None or page.problems:
        return
    source = page.draft.source
    follow(page, page.queue.start("Moving each input", moved_points, source, 500, 0), _show_inputs)


def _stop(page: Page) -> None:
    for job in (_job(page, play), _job(page, moved_points)):
        if job is not None and not job.over:
            page.queue.stop(job)


async def _show(page: Page, job: Job) -> None:
    played: Played = job.result
    figures = await page.work.draw(drawn_match, played, page.look())
    if page.view != "match" or figures is None:
        return
    page.put("match-sum", _told(played.forecast, page.judged.report if page.judged is not None else None))
    page.put("match-drawn", pictures_of(page, figures))
    ask = tag("button", "What moves the points most?", type="button", data_do="inputs")
    page.put("match-more", ask)
    _stale(page)


def _told(found: Forecast, report: Report | None) -> Markup:
    """The distribution in sentences."""
    rows: list[Content] = []
    if found.mean is not None:
        exact = "" if found.known is None else f", computed to ± {1.96 * found.known.error:.1f}"
        over = f" points on average over {counted(found.runs, 'match')}{exact}"
        rows.append(tag("p", tag("b", f"{found.mean:.1f}"), over, class_="big"))
    if found.interval is not None and found.known is not None:
        low, high = found.interval
        rows.append(tag("p", f"The robot's true mean lies between {round(low)} and {round(high)} (95 %); no number of "
                        "matches narrows that."))  # fmt: skip
        rows.append(tag("p", f"Luck alone spreads single matches by {found.known.within:.0f} points (standard "
                        "deviation)."))  # fmt: skip
    rows.append(tag("p", found.timeline.sentence))
    told = [*(one.sentence for one in found.contradictions), *(loss.sentence for loss in found.losses)]
    rows += [tag("p", in_words(text, [] if report is None else report.findings), class_="caution") for text in told]
    for step in found.finish:
        done = f"done in {chance_text(step.chance)} of the matches"
        rows.append(tag("p", f"The finish, '{step.action}' at '{step.place}': {done}."))
    bare = [a.action for a in found.actions if not a.practised]
    if bare:
        rows.append(
            tag("p", f"Without practice counts, taken to work every time: {', '.join(bare)}.", class_="caution")
        )
    return tag("div", rows)


async def _show_inputs(page: Page, job: Job) -> None:
    figures = await page.work.draw(drawn_influences, job.result, page.look())
    if page.view != "match" or figures is None:
        return
    advice = [tag("li", f"{i.what}: {i.advice}") for i in job.result]
    none = tag("p", "No input moves the points within what is believed of it.")
    page.put("match-inputs", tag("h2", "What moves the points most"), pictures_of(page, figures) or none,
             tag("ul", advice))  # fmt: skip
