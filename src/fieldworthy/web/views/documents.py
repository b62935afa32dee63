"""What goes on paper and into the robot's program: made here, looked at, and saved."""

from __future__ import annotations

import base64
from typing import Any, get_args

from fieldworthy.files.document import BadInput
from fieldworthy.web.components import follow, heading, values_of
from fieldworthy.web.jobs import Job
from fieldworthy.web.markup import Content, Markup, sentences, tag
from fieldworthy.web.page import Page
from fieldworthy.web.runs import SHOWN, Kind, Made, Order, made

_ABOUT: dict[Kind, tuple[str, str]] = {
    "notebook": (
        "Engineering notebook",
        "For the team: every system with figures, formulas and results, the forecast, and the decision.",
    ),
    "judges": (
        "Judges' pages",
        "For the judges, two pages: problem, alternatives, measured evidence, the decision and its chance.",
    ),
    "card": ("Pit card", "For the pit: one page with pressures, checks in the order of work, spares and cautions."),
    "inspection": (
        "Inspection sheet",
        "For the inspector: the season's limits against the robot, with blanks for scale, box and gauge.",
    ),
    "constants": (
        "Constants",
        "For the robot's program: sizes, safe limits, times and gains, each with its unit and where it comes from.",
    ),
}
_FORMS = {
    "pdf": "PDF, to print", "html": "page for a browser",
    "c": "C and C++ header", "python": "Python module", "json": "JSON", "csv": "table (CSV)",
    "urdf": "robot model (URDF)",
}  # fmt: skip
_PAPER, _PROGRAM = ("pdf", "html"), ("c", "python", "json", "csv", "urdf")
_SLOW = "A notebook takes half a minute: it checks the robot, plays its matches and draws every figure."


def build(page: Page) -> None:
    """Show what can be made."""
    page.fill(
        heading("Documents", "margin", "chance", "verdict"),
        tag("p", "Each is made from the robot as it stands in this window, unsaved changes included.", class_="lead"),
        tag("div", [_card(page, kind) for kind in get_args(Kind)], class_="documents"),
        tag("div", id="match-run", role="status"),
        tag("div", id="document-made"),
    )
    page.on("make", lambda data: _make(page, values_of(data)))
    page.on("stop", lambda _: _stop(page))
    page.on("keep", lambda _: _keep(page))
    page.on("print", lambda _: _print(page))
    job = _job(page)
    if job is not None:
        follow(page, job, _show, first=_SLOW)


def _card(page: Page, kind: Kind) -> Markup:
    title, about = _ABOUT[kind]
    forms = _PROGRAM if kind == "constants" else _PAPER
    identifier = f"form-{kind}"
    choice = tag("select", [tag("option", _FORMS[form], value=form) for form in forms], id=identifier, name="form")
    more: list[Content] = []
    if kind == "notebook":
        more.append(tag("label", tag("input", type="checkbox", name="mend", value="yes"), " with remedies for what is "
                        "short", class_="choice"))  # fmt: skip
    if kind in ("notebook", "judges"):
        others = [e for e in page.workspace.folder.entries() if e.kind == "robot" and e.name != page.file]
        more += [tag("label", tag("input", type="checkbox", name=f"v{i}", value=e.name), f" decide against {e.title} ",
                     tag("span", e.name, class_="path"), class_="choice") for i, e in enumerate(others)]  # fmt: skip
    return tag(
        "form",
        tag("h2", title),
        tag("p", about),
        tag("div", tag("label", "As", for_=identifier), choice, class_="field"),
        more,
        tag("input", type="hidden", name="kind", value=kind),
        tag("button", f"Make the {title.lower()}", type="submit", class_="main"),
        data_submit="make",
        class_="panel",
    )


def _job(page: Page) -> Job | None:
    return page.queue.newest(made, page.draft.file) if page.draft else None


def _make(page: Page, values: dict[str, Any]) -> None:
    kind, form = values.get("kind"), values.get("form")
    if kind not in _ABOUT or str(form) not in (_PROGRAM if kind == "constants" else _PAPER):
        page.note("Choose what to make, and as what.", bad=True)
        return
    if page.draft is None or page.problems:
        page.note("The file has mistakes: mend them first.", bad=True)
        return
    names = {e.name for e in page.workspace.folder.entries() if e.kind == "robot"}
    chosen = [str(name) for key, name in values.items() if key.startswith("v") and name in names]
    try:
        sources = (page.draft.source, *(page.workspace.draft(page.tab, name).source for name in chosen))
    except BadInput as error:
        page.note(sentences(error.problems[:3]), bad=True)
        return
    order = Order(kind, str(form), values.get("mend") == "yes")
    follow(page, page.queue.start(_ABOUT[order.kind][0], made, sources, order), _show, first=_SLOW)


def _stop(page: Page) -> None:
    job = _job(page)
    if job is not None and not job.over:
        page.queue.stop(job)


async def _show(page: Page, job: Job) -> None:
    if page.view != "documents":
        return
    found: Made = job.result
    shown: list[Content] = [
        tag("img", src=f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}", class_="sheet",
            alt=f"Page {i} of {found.name}")
        for i, png in enumerate(found.pages, 1)
    ]  # fmt: skip
    if len(found.pages) == SHOWN:
        shown.append(tag("p", f"These are its first {SHOWN} pages.", class_="fine"))
    if found.text:
        shown.append(tag("pre", found.text, tabindex="0", role="region", aria_label=found.name))
    save = tag("button", f"Save {found.name}", type="button", class_="main", data_do="keep")
    paper = found.media in ("application/pdf", "text/html")
    look = tag("button", "Open to print", type="button", data_do="print") if paper else ""
    tools = tag("div", save, look, class_="tools")
    page.put("document-made", tag("section", tag("h2", found.name), tools, tag("div", shown, class_="sheets")))


def _print(page: Page) -> None:
    """Open it in a window of its own, whose browser prints it."""
    job = _job(page)
    if job is not None and isinstance(job.result, Made):
        page.call("openFile", base64.b64encode(job.result.content).decode("ascii"), job.result.media)


def _keep(page: Page) -> None:
    job = _job(page)
    if job is not None and isinstance(job.result, Made):
        page.client.download(job.result.content, job.result.name, job.result.media)
