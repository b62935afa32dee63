"""The parts as a table: sorted, looked through, changed in place, pasted from a spreadsheet, taken out as one."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldworthy.files.document import BadInput, KeyPath, Problem, dotted, plain_scalar
from fieldworthy.robot.meshes import (
    AXES,
    DENSITIES,
    LARGEST,
    MESHES,
    UNITS,
    Mesh,
    Solid,
    cells_of,
    filled,
    read_mesh,
    reading_of,
    solids,
    told_of,
    usual,
)
from fieldworthy.robot.partslist import csv_text, sheet_bytes
from fieldworthy.robot.partstables import known_name
from fieldworthy.web.components import Rows, counted, export_name, field, upload, values_of
from fieldworthy.web.form import files_of
from fieldworthy.web.judging import Source
from fieldworthy.web.markup import Content, Markup, address, field_id, tag
from fieldworthy.web.page import Page

_AXES = (("x", "position", 0), ("y", "position", 1), ("z", "position", 2),
         ("length", "size", 0), ("width", "size", 1), ("height", "size", 2))  # fmt: skip
COLUMNS = ("part", "mass", *(name for name, _, _ in _AXES), "rides", "count")
_HEADS = {"x": "forward", "y": "left", "z": "up", "rides": "moves with"}
_MOST = 300  # rows that are shown at once
_PASTED = 500  # rows that are taken at once
_MESH = "mesh"
_SAID = ("material", "density", "fill", "mass", "unit", "forward", "up")


@dataclass(frozen=True, slots=True)
class Line:
    """One part of the table.

    Attributes
    ----------
    name : Of the part
    cells : What stands in each column behind the name; empty where the file says nothing
    fixed : Whether it stands in a spreadsheet, which is changed there
    """

    name: str
    cells: tuple[str, ...]
    fixed: bool


def lines_of(source: Source) -> tuple[Line, ...]:
    """Read the parts of a robot as a table, also beside a mistake."""
    files = files_of(source)
    parts = files.data(("parts",))
    found = []
    for name, part in parts.items() if isinstance(parts, dict) else ():
        table = files.document.files.get(("parts", name))
        cells = [_text(part, key, axis) for key, axis in _places()] if isinstance(part, dict) else []
        found.append(Line(str(name), tuple(cells), table is not None and table.suffix.lower() == ".xlsx"))
    return tuple(found)


def _places() -> list[tuple[str, int | None]]:
    return [("mass", None), *((key, axis) for _, key, axis in _AXES), ("rides", None), ("count", None)]


def _text(part: dict[str, Any], key: str, axis: int | None) -> str:
    value = part.get(key)
    if axis is not None:
        value = value[axis] if isinstance(value, list) and axis < len(value) else None
    value = value.get("value") if isinstance(value, dict) else value
    return "" if value is None else str(value)


def change_of(name: str, column: str, said: str) -> dict[KeyPath, object]:
    """What to change in the file where a cell says something else."""
    place = next((p for c, p in zip(COLUMNS[1:], _places(), strict=True) if c == column), None)
    if place is None:
        return {}
    key, axis = place
    path: KeyPath = ("parts", name, key) if axis is None else ("parts", name, key, axis)
    return {path: plain_scalar(said) if column == "count" else said}


def pasted(text: str, known: tuple[str, ...]) -> dict[KeyPath, object]:
    """Turn rows from a spreadsheet into changes: a part that is known is changed, another one is new."""
    changes: dict[KeyPath, object] = {}
    for row in [line for line in text.splitlines() if line.strip()][:_PASTED]:
        cells = [cell.strip() for cell in row.split("\t")]
        if cells[0].lower() in ("part", "name", "") or len(cells) < 8:
            continue
        name = cells[0]
        if name in known:
            for column, said in zip(COLUMNS[1:], cells[1:], strict=False):
                changes |= change_of(name, column, said) if said else {}
            continue
        entry: dict[str, object] = {"mass": cells[1], "position": cells[2:5], "size": cells[5:8]}
        entry |= {"rides": cells[8]} if len(cells) > 8 and cells[8] else {}
        entry |= {"count": plain_scalar(cells[9])} if len(cells) > 9 and cells[9] else {}
        changes[("parts", name)] = entry
    return changes


def parts_body(page: Page) -> Content:
    """The places that the view fills."""
    told = "Change a number in its cell. A whole row opens as a form by its name."
    find = tag("label", "Find ", tag("input", type="search", data_watch="word", autocomplete="off"))
    out = [
        tag("button", f"Save as {kind.upper()}", type="button", class_="quiet", data_do="table", data_kind=kind)
        for kind in ("csv", "xlsx")
    ]
    head = tag("tr", [
        tag("th", tag("button", _HEADS.get(c, c), type="button", class_="link", data_do="sort", data_of=c), scope="col")
        for c in COLUMNS
    ])  # fmt: skip
    table = tag("table", tag("caption", "Parts", class_="unseen"), tag("thead", head), tag("tbody", id="parts-rows"))
    area = tag("textarea", id="in-pasted", name="pasted", rows=5, spellcheck="false")
    order = ", ".join(_HEADS.get(c, c) for c in COLUMNS)
    form = tag(
        "form",
        tag("label", f"Rows from a spreadsheet, in this order: {order}", for_="in-pasted"),
        area,
        tag("button", "Put them in", type="submit", class_="main"),
        data_submit="paste",
        class_="steps-form",
    )
    paste = tag("details", tag("summary", "Paste from a spreadsheet"), form, class_="fold") if page.may_change else ""
    mesh = _mesh_form(page) if page.may_change else ""
    return [
        tag("p", told, class_="lead"),
        tag("div", find, out, tag("span", id="parts-count", class_="fine"), class_="tools", role="search"),
        tag("p", id="parts-said", class_="said", role="alert"),
        tag("div", table, class_="table parts-table", tabindex="0", role="region", aria_label="Parts"),
        paste,
        mesh,
    ]


def _mesh_form(page: Page) -> Content:
    """Ask for a mesh, and for what it does not say itself."""
    page.tab.notes.pop(_MESH, None)

    async def take(name: str, content: bytes) -> str:
        found = await asyncio.to_thread(read_mesh, Path(name), content)
        page.tab.notes[_MESH] = found
        how = usual(found.file)
        for word, said in (("unit", found.unit or how.unit), ("forward", how.forward), ("up", how.up)):
            page.call("mark", f"in-{word}", {"value": said})
        page.put("mesh-found", "")
        return f"{name}: {counted(len(found.bodies), 'body').replace('bodys', 'bodies')}. Say below what it is made of."

    fields = [
        field("Material", "material", "", options=("", *DENSITIES)),
        field("or its density", "density", "", hint="such as 1240 kg/m³"),
        field("How full it is", "fill", "100 %", hint="of a printed part, the share that is not air"),
        field("or its mass", "mass", "", hint="weighed, of all bodies together: it stands over the material"),
        field("Unit of its lengths", "unit", "mm", options=UNITS),
        field("Forward is its", "forward", "x", options=AXES),
        field("Up is its", "up", "z", options=AXES),
    ]
    told = (
        "A surface that is closed gives mass, centre of gravity and size. Its origin is taken as that of the robot, on "
        "the floor midway between the drive wheels; change the places afterwards where it is another. A part of the "
        "same name is taken as the same part, and keeps a mass that was weighed."
    )
    form = tag("form", tag("div", fields, class_="fields"), tag("button", "Show what it gives", type="submit"),
               data_submit="mesh", class_="steps-form")  # fmt: skip
    inside = [
        tag("p", told, class_="fine"),
        upload(page, "Mesh (.stl, .3mf, .obj, .glb)", MESHES, take, LARGEST),
        form,
        tag("p", id="mesh-said", class_="said", role="alert"),
        tag("div", id="mesh-found"),
    ]
    return tag("details", tag("summary", "Take in a mesh"), inside, class_="fold")


@dataclass(slots=True)
class _State:
    rows: Rows
    lines: tuple[Line, ...] = ()
    word: str = ""
    by: str = ""
    down: bool = False
    solids: tuple[Solid, ...] = ()
    weighed: bool = False


async def build_parts(page: Page) -> None:
    """Show the table."""
    state = _State(Rows(page, "parts-rows"))
    page.on("word", lambda data: _look(page, state, word=str(data.get("value", ""))))
    page.on("sort", lambda data: _look(page, state, by=str(data.get("of"))))
    page.on("set", lambda data: _set(page, state, data))
    page.on("paste", lambda data: _paste(page, state, data))
    page.on("mesh", lambda data: _mesh(page, state, values_of(data)))
    page.on("meshed", lambda _: _meshed(page, state))
    page.on("table", lambda data: _save(page, state, str(data.get("kind"))))
    page.on_judged(lambda: page.later(_read(page, state)))
    await _read(page, state)


async def _read(page: Page, state: _State) -> None:
    if page.draft is None:
        return
    try:
        state.lines = await page.queue.form(lines_of, page.draft.source)
    except BadInput:  # the text cannot be read at all: what was read last stays
        return
    _show(page, state)


def _look(page: Page, state: _State, word: str | None = None, by: str = "") -> None:
    if word is not None:
        state.word = word
    if by in COLUMNS:
        state.down = by == state.by and not state.down
        state.by = by
    _show(page, state)


def sorted_by(lines: tuple[Line, ...], column: str, *, down: bool) -> list[Line]:
    """Sort parts by a column: numbers by size, words by the alphabet."""
    if column not in COLUMNS:
        return list(lines)
    place = COLUMNS.index(column) - 1

    def key(line: Line) -> tuple[int, float, str]:
        text = line.name if place < 0 else line.cells[place] if place < len(line.cells) else ""
        number = plain_scalar(text.split(" ")[0]) if text else None
        is_number = isinstance(number, int | float) and not isinstance(number, bool)
        return (0, float(number), "") if is_number else (1, 0.0, text.lower())  # type: ignore[arg-type]

    return sorted(lines, key=key, reverse=down)


def _show(page: Page, state: _State) -> None:
    word = state.word.lower().strip()
    found = [line for line in state.lines if word in f"{line.name} {' '.join(line.cells[7:8])}".lower()]
    shown = sorted_by(tuple(found), state.by, down=state.down)[:_MOST]
    more = f"; the first {_MOST} are shown" if len(found) > _MOST else ""
    page.put("parts-count", f"{counted(len(found), 'part')}{more}")
    state.rows.show({line.name: _row(page, line) for line in shown})


def _row(page: Page, line: Line) -> Markup:
    link = tag("a", line.name, href=address("build", file=page.file, key=dotted(("parts", line.name))), data_go=True)
    cells = [_cell(page, line, column, text) for column, text in zip(COLUMNS[1:], line.cells, strict=False)]
    return tag("tr", tag("th", link, scope="row"), cells, data_row=line.name)


def _cell(page: Page, line: Line, column: str, text: str) -> Markup:
    if column == "count" and not text:
        text = "1"
    box = tag("input", type="text", value=text, data_path=f"{column} {line.name}", autocomplete="off",
              id=f"{column}-{field_id(('parts', line.name))}", readonly=line.fixed or not page.may_change,
              aria_label=f"{_HEADS.get(column, column)} of {line.name}")  # fmt: skip
    return tag("td", box)


async def _set(page: Page, state: _State, data: dict[str, Any]) -> None:
    column, _, name = str(data.get("path")).partition(" ")
    line = next((one for one in state.lines if one.name == name and not one.fixed), None)
    changes = change_of(name, column, str(data.get("value"))[:100].strip()) if line else {}
    if not changes:
        return
    state.rows.spoil([name])
    page.put("parts-said", "")
    box = f"{column}-{field_id(('parts', name))}"
    done = await _done(page, changes, f"{name}, {_HEADS.get(column, column)}")
    page.call("mark", box, {"aria-invalid": None if done else "true"})


async def _done(page: Page, changes: dict[KeyPath, object], where: str) -> bool:
    try:
        return await page.editor.try_change(changes)
    except BadInput as error:
        page.put("parts-said", f"{where}: {_words(error.problems[0])}")
    return False


def _words(problem: Problem) -> str:
    return f"{problem.expected}."


async def _paste(page: Page, state: _State, data: dict[str, Any]) -> None:
    values = data.get("values")
    text = str(values.get("pasted", "")) if isinstance(values, dict) else ""
    changes = pasted(text[:200_000], tuple(line.name for line in state.lines))
    if not changes:
        page.put("parts-said", "Expected rows with eight cells or more, divided by tabs, as a spreadsheet copies them.")
        return
    page.put("parts-said", "")
    if await _done(page, changes, "What was pasted"):
        page.note(f"{counted(len({path[1] for path in changes}), 'part')} put in, not saved. Undo takes them out.")


def _mesh(page: Page, state: _State, values: dict[str, Any]) -> None:
    """Show what a mesh gives, before anything is changed."""
    found = page.tab.notes.get(_MESH)
    page.put("mesh-said", "")
    page.put("mesh-found", "")
    state.solids = ()
    if not isinstance(found, Mesh):
        page.put("mesh-said", "Expected a mesh first: choose its file above.")
        return
    said = {word: str(values.get(word, ""))[:60].strip() for word in _SAID}
    try:
        how = reading_of(found.file, said)
        state.solids, state.weighed = solids(found, how), how.mass > 0.0
    except BadInput as error:
        near = error.problems[0].suggestion
        page.put("mesh-said", f"{_words(error.problems[0])}{f' Did you mean {near}?' if near else ''}")
        return
    rows = [tag("li", told_of(solid, inch=_is_inch(state))) for solid in state.solids]
    put = tag("button", f"Put {counted(len(rows), 'part')} in", type="button", class_="main", data_do="meshed")
    page.put("mesh-found", [tag("p", f"Mass {filled(how)}."), tag("ul", rows), put])


def _is_inch(state: _State) -> bool:
    """Whether the parts of the robot are measured in inches."""
    return bool(state.lines) and state.lines[0].cells[1:2] != () and state.lines[0].cells[1].endswith(" in")


async def _meshed(page: Page, state: _State) -> None:
    """Put the bodies of a mesh among the parts."""
    files = await page.queue.form(files_of, page.draft.source) if page.draft else None
    parts = files.data(("parts",)) if files else None
    known = parts if isinstance(parts, dict) else {}
    changes: dict[KeyPath, object] = {}
    for solid in state.solids:
        name, cells = known_name(solid.name, known), cells_of(solid, inch=_is_inch(state))
        if name not in known:
            place, size = [cells[c] for c in ("x", "y", "z")], [cells[c] for c in ("length", "width", "height")]
            changes[("parts", name)] = {"mass": cells["mass"], "position": place, "size": size}
            continue
        mass = known[name].get("mass") if isinstance(known[name], dict) else None
        if isinstance(mass, dict) and mass.get("basis") == "measured" and not state.weighed:
            del cells["mass"]  # what was weighed is better known than what a drawing gives
        for column, text in cells.items():
            changes |= change_of(name, column, text)
    if changes and await _done(page, changes, "The mesh"):
        page.put("mesh-found", "")
        page.note(f"{counted(len(state.solids), 'part')} put in, not saved. Undo takes them out.")
        state.solids = ()


def _save(page: Page, state: _State, kind: str) -> None:
    rows = [list(COLUMNS), *([line.name, *line.cells] for line in state.lines)]
    if kind == "xlsx":
        sheet = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
        page.client.download(sheet_bytes({"parts": rows}), export_name(page, "parts", "xlsx"), sheet)
    else:
        page.client.download(csv_text(rows).encode("utf-8"), export_name(page, "parts", "csv"), "text/csv")
