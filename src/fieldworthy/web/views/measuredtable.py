"""A table that is brought along for a procedure: looked at row by row, written beside the measurements, named there."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from fieldworthy.files.problems import BadInput, Problem
from fieldworthy.web.components import upload
from fieldworthy.web.entering import Form, path_of
from fieldworthy.web.markup import Content, Markup, tag
from fieldworthy.web.readings import Memory, place
from fieldworthy.web.tables import Arrived, looked_at

if TYPE_CHECKING:
    from fieldworthy.web.page import Page


class Sheet(Protocol):
    """One procedure in one window, as far as a table is concerned."""

    page: Page
    memory: Memory
    file: Path
    part: str
    form: Form | None

    @property
    def typed(self) -> dict[str, str]:
        """What was typed and is not in the file yet."""

    def note(self, texts: dict[str, str]) -> None:
        """Keep what was typed."""

    async def redraw(self) -> None:
        """Draw the form anew."""


def build_table(sheet: Sheet) -> None:
    """Let the person bring a table."""
    waiting: dict[str, tuple[bytes, Arrived]] = {}

    async def take(name: str, content: bytes) -> str:
        found = await sheet.page.bench.quick.run(looked_at, str(path_of(sheet.part)[0]), name, content, _columns(sheet))
        target = _target(sheet, name)
        if target.exists() and target.read_bytes() != content:
            waiting.clear()
            waiting[name] = (content, found)
            sheet.page.put("table-asked", _asked(name, found))
            return f"{name} is there already: choose below."
        sheet.page.put("table-asked", _told(found.told))
        if not target.exists():
            place(target, content.decode("utf-8-sig"), date.today())
        await _name(sheet, name, found)
        return f"{name} is beside {sheet.file.name} and named in the form: look it over, then put it into the file."

    async def replace() -> None:
        if not sheet.page.may_change or not waiting:
            return
        name, (content, found) = waiting.popitem()
        kept = place(_target(sheet, name), content.decode("utf-8-sig"), date.today())
        old = f"; the old one is kept as {kept[0]}" if kept else ""
        sheet.page.put("table-asked", tag("p", f"{name} is the new one{old}."), _told(found.told))
        await _name(sheet, name, found)

    def leave() -> None:
        waiting.clear()
        sheet.page.put("table-asked", tag("p", "The old one stays; nothing was written."))

    sheet.page.on("table-replace", lambda _: replace())
    sheet.page.on("table-leave", lambda _: leave())
    field = upload(sheet.page, "Log or table (.csv), up to 2 MB", (".csv",), take)
    sheet.page.put("sheet-table", tag("section", tag("h2", "Bring a table"), field,
                   tag("div", id="table-asked", aria_live="polite"), class_="panel"))  # fmt: skip


def _target(sheet: Sheet, name: str) -> Path:
    folder = sheet.page.desk.folder
    target = folder.path(folder.name(sheet.file.with_name(name)))
    if target.is_dir():
        raise BadInput([Problem(Path(name), 1, 1, (), "expected another name: a folder is called so")])
    return target


def _columns(sheet: Sheet) -> tuple[tuple[str, str, str], ...]:
    """The columns as the form names them: what was typed, else what the file says."""
    if sheet.form is None:
        return ()
    texts = sheet.form.said | sheet.typed
    head = _key(sheet, "columns.")
    quantities = {key[len(head) :].partition(".")[0] for key, text in texts.items() if key.startswith(head) and text}
    named = ((q, texts.get(f"{head}{q}.column", ""), texts.get(f"{head}{q}.unit", "")) for q in sorted(quantities))
    return tuple((quantity, column, unit) for quantity, column, unit in named if column)


def _key(sheet: Sheet, rest: str) -> str:
    assert sheet.form is not None
    return f"{sheet.form.group.key}.{rest}"


def _asked(name: str, found: Arrived) -> list[Content]:
    buttons = [
        tag("button", f"Replace {name}, keep a dated copy", type="button", data_do="table-replace"),
        tag("button", "Leave the old one", type="button", data_do="table-leave", class_="main"),
    ]
    head = tag("p", f"Another {name} is there already. Nothing has been overwritten.")
    return [tag("div", head, tag("div", buttons, class_="choices"), class_="trouble"), _told(found.told)]


def _told(sentences: tuple[str, ...]) -> Markup:
    return tag("ul", [tag("li", sentence) for sentence in sentences], class_="rows-told")


async def _name(sheet: Sheet, name: str, found: Arrived) -> None:
    """Name the table in the form, with the columns that were recognised; as yet unsaved."""
    assert sheet.form is not None
    texts = {_key(sheet, f"columns.{quantity}.column"): column for quantity, column in found.columns}
    shown = sheet.form.said | sheet.typed
    if path_of(sheet.part)[0] != "drive":
        texts[_key(sheet, "file")] = name
    elif name not in [text for key, text in shown.items() if key.endswith(".file")]:
        logs, more = _key(sheet, "logs"), sheet.memory.more.setdefault(sheet.part, {})
        used = len({key for key in shown if key.startswith(f"{logs}[") and key.endswith(".file")})
        texts[f"{logs}[{used}].file"] = name
        have = sum(key.startswith(f"{logs}[") and key.endswith(".file") for key in sheet.form.said)
        more[logs] = max(more.get(logs, 0), used + 1 - have)
        await sheet.redraw()  # so that the form has the row
    sheet.note(texts)
    await sheet.redraw()
