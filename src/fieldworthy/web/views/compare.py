"""Variants side by side over the same matches, what differs, the recommendation, and where it flips."""

from __future__ import annotations

from typing import Any

from fieldworthy.decide.compare import Comparison
from fieldworthy.files.problems import BadInput
from fieldworthy.web.components import field, follow, heading, pictures_of, table
from fieldworthy.web.jobs import Job
from fieldworthy.web.judging import Source
from fieldworthy.web.markup import Content, Markup, sentences, tag
from fieldworthy.web.matches import Compared, drawn_comparison, held_against
from fieldworthy.web.page import Page
from fieldworthy.web.views.match import runs_of

RUNS, MOST = 2000, 50_000


def build(page: Page) -> None:
    """Show variants side by side."""
    others = [e for e in page.workspace.folder.entries() if e.kind == "robot" and e.name != page.file]
    boxes = [tag("label", tag("input", type="checkbox", name=f"v{i}", value=e.name, checked=i == 0), f" {e.title} ",
                 tag("span", e.name, class_="path"), class_="choice") for i, e in enumerate(others)]  # fmt: skip
    none = tag("p", "There is no other robot in this folder: copy the file under another name, change what is to be "
               "tried, and hold both against each other here.")  # fmt: skip
    choose = tag("fieldset", tag("legend", f"Hold {page.file} against"), boxes)
    form = tag("form", choose, tag("div", field("Matches each", "runs", str(RUNS)), class_="fields"),
               tag("button", "Compare", type="submit", class_="main"), data_submit="compare")  # fmt: skip
    page.fill(
        heading("Compare"),
        tag("p", "All variants play the same matches with the same luck, so that only what differs between them "
            "tells.", class_="lead"),
        form if others else none,
        tag("div", id="match-run", role="status"),
        tag("div", id="compare-found"),
    )  # fmt: skip
    page.on("compare", lambda data: _compare(page, data.get("values") or {}))
    page.on("stop", lambda _: _stop(page))
    job = _job(page)
    if job is not None:
        follow(page, job, _show)


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
    follow(page, page.queue.start(f"{runs:,} matches of each", held_against, sources, runs, 0), _show)


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
    said = tag("section", tag("h2", "Recommendation"), tag("p", found.recommendation), class_="panel")
    page.put("compare-found", said, tag("div", pictures_of(page, figures), class_="figures"), _tables(found))


def _tables(found: Comparison) -> list[Markup]:
    """What differs, marked, beside what is the same."""
    variants = list(dict.fromkeys(a.variant for a in found.can_do))
    can = {(a.task, a.variant): _can(a.can, a.lacks) for a in found.can_do}
    tasks = list(dict.fromkeys(a.task for a in found.can_do))
    rows = [_row(task, [can.get((task, v), "–") for v in variants]) for task in tasks]
    tables = [table(("Task", *variants, ""), rows, "What each can do")]
    if found.findings_changed:
        changed = [[c.id, c.variant, f"{c.first or 'absent'} → {c.then or 'absent'}", c.because]
                   for c in found.findings_changed]  # fmt: skip
        tables.append(table(("Finding", "Variant", "Verdict", "Because"), changed, "Findings that differ"))
    hours = [[h.variant, f"{h.needed:.1f} h", "not said" if h.left is None else f"{h.left:.1f} h", h.enough or "–"]
             for h in found.hours]  # fmt: skip
    tables.append(table(("Variant", "Work to do", "Hours left", "Enough?"), hours, "Hours of work"))
    return tables


def _can(can: bool, lacks: tuple[str, ...]) -> str:
    return "✓ yes" if can else f"✗ no: lacks {', '.join(lacks)}"


def _row(name: str, cells: list[str]) -> list[Any]:
    mark: Content = "differs" if len(set(cells)) > 1 else ""
    return [name, *cells, mark]
