"""Variants side by side over the same matches, what differs, the recommendation, and where it flips."""

from __future__ import annotations

from typing import Any

from fieldworthy.decide.compare import Comparison
from fieldworthy.files.document import BadInput
from fieldworthy.units import counted
from fieldworthy.web.components import field, follow, heading, pictures_of, table
from fieldworthy.web.jobs import Job
from fieldworthy.web.judging import Source
from fieldworthy.web.markup import SAID, Content, Markup, address, sentences, tag
from fieldworthy.web.page import Page
from fieldworthy.web.runs import Compared, drawn_comparison, held_against
from fieldworthy.web.views.match import runs_of

RUNS, MOST = 2000, 50_000


def build(page: Page) -> None:
    """Show variants side by side."""
    others = [e for e in page.workspace.folder.entries() if e.kind == "robot" and e.name != page.file]
    chosen = [e.name for e in others if e.name in page.query.get("with", "").split("|")]
    boxes = [tag("label", tag("input", type="checkbox", name=f"v{i}", value=e.name,
                              checked=e.name in chosen if chosen else i == 0), f" {e.title} ",
                 tag("span", e.name, class_="path"), class_="choice") for i, e in enumerate(others)]  # fmt: skip
    none = tag("p", "There is no other robot in this folder: make a variant, change what is to be tried, and hold both "
               "against each other here.")  # fmt: skip
    choose = tag("fieldset", tag("legend", f"Hold {page.file} against"), boxes)
    form = tag("form", choose, tag("div", field("Matches each", "runs", str(RUNS)), class_="fields"),
               tag("button", "Compare", type="submit", class_="main"), data_submit="compare")  # fmt: skip
    page.fill(
        heading("Compare", "variant", "chance", "common random numbers"),
        tag("p", "All variants play the same matches with the same luck, so that only what differs between them "
            "tells.", class_="lead"),
        form if others else none,
        tag(
            "p", tag("a", "Make a variant, or see what differs", href=address("versions", file=page.file), data_go=True)
        ),
        tag("div", id="match-run", role="status"),
        tag("div", id="compare-found"),
    )  # fmt: skip
    page.on("compare", lambda data: _compare(page, data.get("values") or {}))
    page.on("stop", lambda _: _stop(page))
    job = _job(page)
    if chosen and not page.problems:
        _compare(page, {"runs": str(RUNS)} | {f"v{i}": name for i, name in enumerate(chosen)})
    elif job is not None and (page.problems or not others or _fits(page, job)):
        follow(page, job, _show)
    elif others and not page.problems:  # an answer before anything is asked, for the robot as it is now
        names = [page.workspace.folder.name(s.file) for s in job.result.sources[1:]] if job else [others[0].name]
        _compare(page, {"runs": str(RUNS)} | {f"v{i}": name for i, name in enumerate(names)})


def _fits(page: Page, job: Job) -> bool:
    """Tell whether a comparison is one of the robot as it stands, in the person's units."""
    found = job.result
    if not isinstance(found, Compared) or page.draft is None:
        return True
    return found.units == page.display.units and found.sources[0] == page.draft.source


def _job(page: Page) -> Job | None:
    return page.queue.newest(held_against, page.draft.file) if page.draft else None


def _compare(page: Page, values: dict[str, Any]) -> None:
    names = {e.name for e in page.workspace.folder.entries() if e.kind == "robot"}
    chosen = [str(name) for key, name in values.items() if key.startswith("v") and name in names]
    runs = runs_of(values.get("runs"), MOST)
    if runs is None or not chosen or page.draft is None:
        page.note(f"Choose a variant, and a number of matches from 10 to {MOST:,}.", bad=True)
        return
    try:
        sources = (page.draft.source, *(_source(page, name) for name in chosen))
    except BadInput as error:
        page.note(sentences(error.problems[:3]), bad=True)
        return
    title, units = f"{counted(runs, 'match')} of each", page.display.units
    follow(page, page.queue.start(title, held_against, sources, runs, 0, units), _show)


def _source(page: Page, name: str) -> Source:
    """Another robot as it stands in this window, unsaved changes included."""
    return page.workspace.draft(page.tab, name).source


def _stop(page: Page) -> None:
    job = _job(page)
    if job is not None and not job.over:
        page.queue.stop(job)


async def _show(page: Page, job: Job) -> None:
    compared: Compared = job.result
    figures = await page.work.draw(drawn_comparison, compared, page.look())
    if figures is None or page.view != "compare":
        return
    found = compared.comparison
    warned = [
        tag("p", one.sentence, class_="caution")
        for one in found.contradictions
        if one.sentence not in found.recommendation
    ]
    choice, *grounds = found.thoughts
    reasons = tag("ul", [tag("li", ground) for ground in grounds])
    said = tag("section", tag("h2", "Recommendation"), tag("p", tag("b", choice)), reasons, warned, class_="panel")
    pictures = tag("div", pictures_of(page, figures), class_="figures")
    page.put("compare-found", said, _gains(found), pictures, _work(found), _tables(found))


def _work(found: Comparison) -> Content:
    """What to do in the hours left, by points gained an hour."""
    if found.work is None:
        return ""
    jobs = tag("ol", [tag("li", job.sentence) for job in found.work.jobs]) if found.work.jobs else ""
    heading_ = tag("h2", "What to do, by points gained an hour")
    return tag("section", heading_, jobs, tag("p", found.work.told), class_="panel")


def _gains(found: Comparison) -> list[Markup]:
    """Where the points of each variant come from, the most first."""
    shown = []
    for variant in dict.fromkeys(gain.variant for gain in found.gains):
        gains = sorted((g for g in found.gains if g.variant == variant), key=lambda g: -abs(g.points))
        rows = [[g.task, f"{g.points:+.1f}", g.because] for g in gains]
        caption = f"Where the points of {variant} come from, against {found.difference[0].first}"
        shown.append(table(("Task", "Points a match", "Because"), rows, caption))
    return shown


def _tables(found: Comparison) -> list[Markup]:
    """What differs, marked, beside what is the same."""
    variants = list(dict.fromkeys(a.variant for a in found.can_do))
    can = {(a.task, a.variant): _can(a.can, a.lacks) for a in found.can_do}
    tasks = list(dict.fromkeys(a.task for a in found.can_do))
    rows = [_row(task, [can.get((task, v), "–") for v in variants]) for task in tasks]
    tables = [table(("Task", *variants, ""), rows, "What each can do")]
    if found.findings_changed:
        changed = [[c.because, c.variant, f"{_said(c.first)} → {_said(c.then)}"]
                   for c in found.findings_changed]  # fmt: skip
        tables.append(table(("Finding", "Variant", "Verdict"), changed, "Findings that differ"))
    hours = [[h.variant, f"{h.needed:.1f} h", "not said" if h.left is None else f"{h.left:.1f} h", h.enough or "–"]
             for h in found.hours]  # fmt: skip
    tables.append(table(("Variant", "Work to do", "Hours left", "Enough?"), hours, "Hours of work"))
    return tables


def _said(verdict: str | None) -> str:
    return SAID[verdict] if verdict else "absent"


def _can(can: bool, lacks: tuple[str, ...]) -> str:
    return "✓ yes" if can else f"✗ no: lacks {', '.join(lacks)}"


def _row(name: str, cells: list[str]) -> list[Any]:
    mark: Content = "differs" if len(set(cells)) > 1 else ""
    return [name, *cells, mark]
