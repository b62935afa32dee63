"""What was measured on the robot: entry sheets, what the readings tell, and what is taken into the robot."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from fieldworthy.files.document import BadInput
from fieldworthy.measure.sheets import sheets
from fieldworthy.web.components import heading
from fieldworthy.web.markup import Content, Markup, address, plain_sentences, tag
from fieldworthy.web.page import Page
from fieldworthy.web.procedures import Row, rows
from fieldworthy.web.readings import Memory, Readings, begin, belonging
from fieldworthy.web.views.fit import build_fit
from fieldworthy.web.views.sheet import build_sheet, watch

_CAUTION = (
    "Measuring can hurt: read a sheet's cautions before you begin. The event's rules, the makers' ratings and a "
    "responsible adult come first."
)


async def build(page: Page) -> None:
    """Show what was measured, or the sheet of one procedure."""
    if page.draft is None or page.season_open:
        page.fill(
            heading("Measurements"),
            tag("p", "Measurements belong to a robot: open one from the start page."),
        )
        return
    memory = memory_of(page)
    names = belonging(page.workspace.folder, page.draft.file)
    name = memory.file if memory.file in names else names[0] if names else ""
    memory.file = name
    part = page.query.get("part", "")
    if name and part:
        file = page.workspace.folder.path(name)
        await build_sheet(page, memory, file, part)
        return
    page.fill(
        heading("Measurements", "basis", "tolerance", "interval"),
        tag("p", "A model nobody has held against the robot is a guess. Measure, and put what the robot says beside "
            "what its file says.", class_="lead"),
        tag("p", _CAUTION, class_="caution"),
        tag("div", _file(page, names, name), id="measured-file"),
        tag("div", id="measured-problems"),
        tag("section", id="measured-rows", aria_labelledby="measured-title"),
        tag("section", id="measured-fit"),
    )  # fmt: skip
    page.on("begin", lambda _: _begin(page))
    page.on("readings", lambda data: _choose(page, memory, names, str(data.get("value"))))
    page.on("back", lambda _: _take_back(page, memory))
    if name:
        file = page.workspace.folder.path(name)
        await _show(page, memory, file)
        watch(page, file, lambda: page.later(_show(page, memory, file)))


def memory_of(page: Page) -> Memory:
    """Find what this browser tab has typed for the open robot."""
    found = page.tab.notes.setdefault(f"measured|{page.file}", Memory())
    assert isinstance(found, Memory)
    return found


def _file(page: Page, names: tuple[str, ...], chosen: str) -> Content:
    """Which measurements file belongs to the robot."""
    assert page.draft is not None
    robot = page.draft.file.name
    if not names:
        say = f"No file of measurements names {robot} yet: one stands beside it, and holds every reading."
        button = tag("button", "Start a measurements file", type="button", data_do="begin", class_="main")
        return [tag("p", say), button if page.may_change else ""]
    if len(names) == 1:
        return tag("p", "Readings of ", tag("b", robot), " stand in ", tag("b", Path(chosen).name), ".")
    options = [tag("option", Path(name).name, value=name, selected=name == chosen) for name in names]
    choice = tag("label", "Measurements file ", tag("select", options, data_change="readings", id="measured-name"))
    return tag("div", choice, tag("span", f"{len(names)} files name {robot}."), class_="tools")


async def _begin(page: Page) -> None:
    if page.draft is None or not page.may_change:
        return
    called = next((e.title for e in page.workspace.folder.entries() if e.name == page.file), page.draft.file.stem)
    file = begin(page.draft.file, called, date.today())
    await page.again()
    page.note(f"Wrote {file.name}. Choose what you want to measure.")


async def _choose(page: Page, memory: Memory, names: tuple[str, ...], name: str) -> None:
    if name in names:
        memory.file = name
        await page.again()


async def _show(page: Page, memory: Memory, file: Path) -> None:
    """List the procedures and what the readings tell, as the disk has them now."""
    assert page.draft is not None
    try:
        readings = Readings.read(file)
        found = await page.queue.sketch(rows, page.draft.source, readings)
    except BadInput as error:
        page.put("measured-problems", tag("div", tag("p", "This cannot be read as it stands; mend it in its text."),
                 plain_sentences(error.problems), class_="trouble"))  # fmt: skip
        return
    if page.view != "measurements" or page.query.get("part"):
        return
    page.put("measured-problems", "")
    page.put("measured-rows", _rows(page, memory, found))
    build_fit(page, readings, any(row.there for row in found))


def _rows(page: Page, memory: Memory, found: tuple[Row, ...]) -> Content:
    done = sum(row.there for row in found)
    sections: list[Content] = []
    for section, sheet in sheets().items():
        own = [row for row in found if row.section == section]
        listed = tag("ul", [_row(page, row, sheet.title, memory) for row in own]) if own else ""
        none = "" if own else tag("p", "Nothing on this robot to do it with.", class_="fine")
        sections.append(
            tag("li", tag("h3", sheet.title), tag("p", f"Tells {sheet.gives}.", class_="fine"), listed, none)
        )
    undo = ""
    if memory.past and page.may_change:
        undo = tag("button", "Take the last entry back", type="button", data_do="back")
    title = tag("h2", "What to measure", id="measured-title")
    return [tag("div", title, tag("span", f"{done} of {len(found)} measured", class_="fine"), undo, class_="headline"),
            tag("ul", sections, class_="procedures")]  # fmt: skip


def _row(page: Page, row: Row, title: str, memory: Memory) -> Markup:
    words = row.entry or "Open the sheet"
    link = tag("a", words, href=address("measurements", file=page.file, part=row.part), data_go=True,
               aria_label=f"{words}, {title}")  # fmt: skip
    state = "not yet"
    if row.there:
        state = f"✓ measured {row.date}" if row.date else "✓ measured, day not said"
    typed = tag("span", "typed, not in the file yet", class_="unsaved") if memory.typed.get(row.part) else ""
    return tag("li", link, tag("span", state, class_="state", data_there="yes" if row.there else "no"), typed)


async def _take_back(page: Page, memory: Memory) -> None:
    """Undo the last entry that this tab has put into the file, where nobody has written it since."""
    if not page.may_change or not memory.past:
        return
    file, before, after = memory.past[-1]
    readings = Readings.read(file)
    if readings.text != after:
        page.note(f"{file.name} has been changed since that entry: take it out by hand. Nothing was written.", bad=True)
        return
    readings.put(before)
    memory.past.pop()
    page.note(f"The last entry is out of {file.name} again.")
    await _show(page, memory, file)
