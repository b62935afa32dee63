"""Pieces that several views are made of: headings, fields, figures to save, files to bring, lists of rows."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, TypeAlias

from fieldworthy.drawing.svg import Figure
from fieldworthy.web.figures import Named
from fieldworthy.web.jobs import Job
from fieldworthy.web.markup import Content, Markup, join, tag
from fieldworthy.web.page import Page
from fieldworthy.web.workspace import Take, Ticket

_PIXELS = 144  # per inch, of a figure saved as PNG: sharp on a screen of twice the usual density


def heading(text: str, *words: str) -> Markup:
    """Head a view; the focus goes there when the view is shown. Words that it uses are explained at a touch."""
    title = tag("h1", text, id="fw-title", tabindex="-1")
    listed = [[", " if at else "", term(word)] for at, word in enumerate(words)]
    return join([title, tag("p", "In words: ", listed, class_="words") if words else ""])


@cache
def _glossary() -> dict[str, str]:
    """Words and what they mean, as the glossary of the guide has them."""
    packaged = resources.files("fieldworthy").joinpath("docs")
    library = packaged if packaged.is_dir() else Path(__file__).parents[3] / "docs"
    found: dict[str, str] = {}
    for line in library.joinpath("glossary.md").read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if line.startswith("|") and len(cells) == 2 and set(cells[1]) - set("- "):
            found |= dict.fromkeys((word.strip() for word in cells[0].split(",")), cells[1])
    return found


def term(word: str, shown: str = "") -> Markup:
    """Write a word of the trade that says what it means when it is touched."""
    told = _glossary().get(word)
    if told is None:
        return join([shown or word])
    return tag("button", shown or word, type="button", class_="term", data_term=word, data_told=told,
               aria_haspopup="dialog")  # fmt: skip


def counted(count: int, word: str) -> str:
    """Count things."""
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def field(
    label: str, name: str, value: str, *, hint: str = "", options: Sequence[str] = (), required: bool = False
) -> Markup:
    """Ask for one text in a form."""
    identifier, told = f"in-{name}", f"in-{name}-hint" if hint else None
    shared: dict[str, Any] = {"id": identifier, "name": name, "aria_describedby": told, "required": required}
    if options:
        rows = [tag("option", o, value=o, selected=o == value) for o in options]
        box = tag("select", rows, **shared)
    else:
        box = tag("input", type="text", value=value, autocomplete="off", maxlength=200, **shared)
    return tag(
        "div", tag("label", label, for_=identifier), box, tag("small", hint, id=told) if hint else "", class_="field"
    )


def upload(page: Page, label: str, suffixes: tuple[str, ...], take: Take, most: int = 2_000_000) -> Markup:
    """Ask for a file."""
    ticket = page.workspace.uploads.ticket(Ticket(suffixes, take, most))
    identifier = f"up-{ticket}"
    chosen = tag(
        "input", type="file", id=identifier, accept=",".join(suffixes), data_upload=ticket, data_most=most,
        data_answer=f"{identifier}-said",
    )  # fmt: skip
    said = tag("p", id=f"{identifier}-said", role="status", class_="said")
    return tag("div", tag("label", label, for_=identifier), chosen, said, class_="field")


def figure(page: Page, shown: Figure, name: str) -> Markup:
    """Show a figure, with buttons that save it and its numbers."""
    stem = re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_") or "figure"
    page.on(f"save-{stem}", lambda data: save_figure(page, shown, stem, str(data.get("kind"))))
    buttons = [
        tag("button", kind.upper(), type="button", class_="quiet", data_do=f"save-{stem}", data_kind=kind,
            aria_label=f"Save {shown.title} as {kind.upper()}")
        for kind in ("svg", "png", "csv")
    ]  # fmt: skip
    drawing = Markup(shown.svg[shown.svg.index("<svg") :])  # written by draw/, which escapes its texts
    caption = tag("figcaption", tag("span", shown.title), tag("span", "Save: ", buttons, class_="saves"))
    return tag("figure", tag("div", drawing, class_="drawing"), caption, class_="drawn", id=f"fig-{stem}")


def save_figure(page: Page, shown: Figure, stem: str, kind: str) -> None:
    """Send a figure to the browser as a file."""
    if kind == "png":
        content, media = png(shown.svg), "image/png"
    elif kind == "csv":
        content, media = shown.csv().encode("utf-8"), "text/csv"
    else:
        kind, content, media = "svg", shown.svg.encode("utf-8"), "image/svg+xml"
    page.client.download(content, export_name(page, stem, kind), media)


def export_name(page: Page, what: str, ending: str) -> str:
    """Name a file that is saved after the robot, the view, what it is, and the day."""
    title = next((e.title for e in page.workspace.folder.entries() if e.name == page.file), page.file)
    words = re.sub(r"[^a-z0-9]+", "_", f"{title} {page.view} {what} {date.today()}".lower()).strip("_")
    return f"{words}.{ending}"


def png(svg: str) -> bytes:
    """Turn a drawing into pixels."""
    import typst  # noqa: PLC0415  only where a figure is saved

    setting = '#set page(width: auto, height: auto, margin: 0pt)\n#image(bytes(sys.inputs.svg), format: "svg")'
    found: Any = typst.compile(
        setting.encode("utf-8"), format="png", ppi=_PIXELS, sys_inputs={"svg": svg}, ignore_system_fonts=True
    )
    return bytes(found[0] if isinstance(found, list) else found)


def meter(label: str, share: float, identifier: str) -> Markup:
    """Show how far a long run is; as long as nobody knows, only that it is on its way."""
    percent = f"{100 * share:.0f} %" if share else ""
    bar = tag("progress", percent, value=f"{share:.3f}" if share else None, max="1", aria_label=label)
    return tag("div", tag("span", label), bar, tag("span", percent), class_="meter", id=identifier)


class Rows:
    """One list of a window."""

    def __init__(self, page: Page, place: str) -> None:
        self._page = page
        self._place = place
        self._sent: dict[str, Markup] = {}

    def show(self, rows: Mapping[str, Markup]) -> tuple[str, ...]:
        """Show rows in this order, and no others."""
        fresh = [(key, row) for key, row in rows.items() if self._sent.get(key) != row]
        if fresh or list(rows) != list(self._sent):
            self._page.call("rows", self._place, list(rows), fresh)
        self._sent = dict(rows)
        return tuple(key for key, _ in fresh)

    def spoil(self, keys: Iterable[str]) -> None:
        """Take note that single texts of rows were changed, so that these are sent whole the next time."""
        for key in keys:
            if key in self._sent:
                self._sent[key] = Markup("")


DisplayUnits: TypeAlias = dict[str, Any]
"""What a view of figures remembers of itself while it is shown."""


def is_new(page: Page, state: DisplayUnits) -> bool:
    """Tell whether the robot, or how it is to look, differs from what was drawn last; takes note of it."""
    if page.draft is None or page.problems:
        return False
    now = (page.draft.source, page.look())
    before, state["drawn"] = state.get("drawn"), now
    if before is None or before[1] != now[1] or before[0].file != now[0].file:
        return True
    # a file that was read meanwhile is new among the texts, and changes nothing
    return not set(before[0].texts) <= set(now[0].texts)


def pictures_of(page: Page, figures: Named) -> list[Markup]:
    """Show figures, each with its buttons."""
    return [figure(page, shown, name) for name, shown in figures]


def share_of(said: object) -> float:
    """Read how far a slider is, as the browser tells it."""
    try:
        share = float(str(said)) / 100.0
    except ValueError:
        return 0.0
    return min(max(share, 0.0), 1.0) if share == share else 0.0  # noqa: PLR0124  not a number is not itself


def table(head: tuple[str, ...], rows: list[list[str]], caption: str) -> Markup:
    """Write a table."""
    first = tag("tr", [tag("th", name, scope="col") for name in head])
    body = [tag("tr", tag("th", row[0], scope="row"), [tag("td", cell) for cell in row[1:]]) for row in rows]
    inner = tag("table", tag("caption", caption), tag("thead", first), tag("tbody", body))
    return tag("div", inner, class_="table", tabindex="0", role="region", aria_label=caption)


_FIRST = "The first time here it is compiled, which takes about 15 s."


def follow(page: Page, job: Job, show: Any, place: str = "match-run", first: str = _FIRST) -> None:
    """Show how far a run is, and what it found once it is done."""

    def heard(now: Job) -> None:
        page.put(place, _progress(now, first))
        if now.state == "done":
            page.later(show(page, now))

    page.on_leave(job.listen(heard))
    heard(job)


def end_newest(page: Page, function: Any) -> None:
    """End the run of a function that was last asked for the open file."""
    job = page.queue.newest(function, page.draft.file) if page.draft else None
    if job is not None and not job.over:
        page.queue.stop(job)


def _progress(job: Job, first: str) -> Content:
    if job.state in ("waits", "runs"):
        cancel = tag("button", "Cancel", type="button", data_do="stop")
        begun = "" if job.share else tag("p", first, class_="fine")
        return [meter(job.title, job.share, "run-meter"), cancel, begun]
    if job.state == "failed":
        return tag("p", job.trouble, class_="trouble")
    return tag("p", "Cancelled.") if job.state == "stopped" else tag("p", f"{job.title}: done.", class_="fine")


def values_of(data: dict[str, Any]) -> dict[str, Any]:
    """Take what a form sends, whatever that is."""
    values = data.get("values")
    return {str(name): value for name, value in values.items()} if isinstance(values, dict) else {}
