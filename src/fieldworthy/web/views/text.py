"""The text of the open file, with its lines counted and its mistakes marked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fieldworthy.files.document import LARGEST, Problem, dotted
from fieldworthy.web.components import counted
from fieldworthy.web.markup import Markup, join, tag
from fieldworthy.web.page import Page

_LISTED = 30  # mistakes that are listed


def _open_file(page: Page) -> Path:
    """Which of the draft's files is shown."""
    assert page.draft is not None
    wanted = page.query.get("which", "")
    texts = [path for path in page.draft.texts if path.suffix.lower() != ".xlsx"]
    return next((path for path in texts if path.name == wanted), page.draft.file)


def build_text(page: Page) -> Markup:
    """Show the text of a file, with its mistakes marked."""
    assert page.draft is not None
    page.on("text", lambda data: _typed(page, data))
    page.on("line", lambda data: _to_line(page, data))
    page.on("which", lambda data: _which(page, data))
    shown = _open_file(page)
    label = tag("label", "Text of the file", for_="text-area", class_="unseen")
    area = tag(
        "textarea", page.draft.texts[shown], id="text-area", data_lines="text-lines", data_watch="text",
        spellcheck="false", wrap="off", autocapitalize="off", autocomplete="off", readonly=not page.may_change,
        aria_describedby="text-problems",
    )  # fmt: skip
    return join([
        tag("div", id="text-which", class_="tools"),
        tag("div", label, tag("div", id="text-lines", aria_hidden="true"), area, class_="editor"),
        tag("div", id="text-problems", role="status"),
    ])  # fmt: skip


def _typed(page: Page, data: dict[str, Any]) -> None:
    text = str(data.get("value", ""))
    if len(text.encode("utf-8", "replace")) > LARGEST:
        page.note(f"A file may have at most {LARGEST // 1_000_000} MB.", bad=True)
        return
    page.editor.put_texts({_open_file(page): text}, "text")


def _to_line(page: Page, data: dict[str, Any]) -> None:
    line, column = str(data.get("line")), str(data.get("column"))
    if line.isdecimal() and column.isdecimal():
        page.call("toLine", "text-area", int(line), int(column))


async def _which(page: Page, data: dict[str, Any]) -> None:
    page.query["which"] = str(data.get("value"))
    await page.again()


def show_text(page: Page) -> None:
    """Mark the lines that are wrong, and put the text in place where it was changed elsewhere."""
    if page.draft is None:
        return
    shown = _open_file(page)
    page.call("mark", "text-area", {"value": page.draft.texts[shown]})
    here = [p for p in page.problems if p.file.name == shown.name]
    page.call("badLines", "text-area", sorted({p.line for p in here}))
    page.put("text-problems", _listed(page.problems, shown))
    names = [path.name for path in page.draft.texts if path.suffix.lower() != ".xlsx"]
    options = [tag("option", name, value=name, selected=name == shown.name) for name in names]
    page.put("text-which", tag("label", "File ", tag("select", options, data_change="which")))


def _listed(problems: tuple[Problem, ...], shown: Path) -> Markup:
    if not problems:
        return tag("p", "The text reads without a mistake.", class_="fine")
    rows = []
    for p in problems[:_LISTED]:
        hint = f" Did you mean {p.suggestion!r}?" if p.suggestion else ""
        told = f"{dotted(p.key)}: {p.expected}.{hint}" if p.key else f"{p.expected}.{hint}"
        place = f"line {p.line}, column {p.column}"
        if p.file.name == shown.name:
            where = tag(
                "button", place, type="button", class_="link", data_do="line", data_line=p.line, data_column=p.column
            )
        else:
            where = tag("span", f"{p.file.name}, {place}")
        rows.append(tag("li", where, " ", told))
    return tag(
        "div", tag("h2", counted(len(problems), "mistake")), tag("ul", rows, class_="problems"), class_="trouble"
    )
