"""The open file as a form or as text, with what moves beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fieldworthy.files.document import LARGEST
from fieldworthy.files.kinds import BASES
from fieldworthy.files.problems import BadInput, KeyPath, Problem, dotted
from fieldworthy.robot.editing import GONE
from fieldworthy.web.components import Rows, counted, heading
from fieldworthy.web.findings import finding_row, key_of
from fieldworthy.web.form import Field, example, form_of, season_form
from fieldworthy.web.markup import Content, Markup, address, field_id, join, tag
from fieldworthy.web.page import Page
from fieldworthy.web.views.margins import counts_of, problems_of, show_preview

_BESIDE = 14  # findings that stand beside the form
_MOST = 150  # values that a search shows


@dataclass(slots=True)
class _State:
    """What this view of one window shows.

    Attributes
    ----------
    rows, beside : The form's values, and the findings beside them
    fields : Every value of the file by its key
    section : The section that is shown
    word : What is looked for
    at : The key that has the focus, or had it last
    """

    rows: Rows
    beside: Rows
    fields: dict[str, Field] = field(default_factory=dict)
    section: str = ""
    word: str = ""
    at: str = ""


async def build(page: Page) -> None:
    """Show the open file."""
    text = page.query.get("part") == "text"
    file = page.file
    links = [
        tag(
            "a",
            label,
            href=address("describe", file=file, part=part),
            data_go=True,
            aria_current="true" if on else None,
        )
        for label, part, on in (("Form", "", not text), ("Text of the file", "text", text))
    ]
    top = tag(
        "div", heading("Describe"), tag("nav", links, class_="parts", aria_label="Form or text"), class_="headline"
    )
    if text:
        page.fill(top, build_text(page), _beside(page))
        state = _State(Rows(page, "describe-rows"), Rows(page, "beside-rows"))

        def judged() -> None:
            show_text(page)
            _show_beside(page, state)

        page.on_judged(judged)
        show_text(page)
        _show_beside(page, state)
        return
    state = _State(Rows(page, "describe-rows"), Rows(page, "beside-rows"))
    state.at = page.query.get("key", "")
    page.fill(top, tag("div", id="describe-problems"), _tools(), _body(page))
    _listen(page, state)
    await _read(page, state)
    if state.at in state.fields:
        page.call("focus", field_id(state.fields[state.at].path))


def _tools() -> Markup:
    search = tag("input", type="search", data_watch="word", id="describe-word", autocomplete="off")
    sections = tag("label", "Section ", tag("select", data_change="section", id="describe-section"))
    return tag("div", sections, tag("label", "Find ", search), class_="tools", role="search")


def _body(page: Page) -> Content:
    form = tag("ul", id="describe-rows", class_="fields-list")
    return tag(
        "div", tag("div", form, tag("p", id="describe-more", class_="fine"), class_="form"), _beside(page), class_="two"
    )


def _beside(page: Page) -> Content:
    if page.season_open:
        return ""
    return tag(
        "section",
        tag("h2", tag("span", "What moves", id="beside-title"), " ", tag("span", id="beside-counts", class_="counts")),
        tag("p", id="beside-about", class_="fine"),
        tag("ul", id="beside-rows", class_="findings"),
        class_="beside",
        tabindex="0",
        aria_labelledby="beside-title",
    )


def _listen(page: Page, state: _State) -> None:
    async def judged() -> None:
        await _read(page, state)

    page.on("word", lambda data: _show(page, state, word=str(data.get("value", ""))))
    page.on("section", lambda data: _show(page, state, section=str(data.get("value", ""))))
    page.on("move", lambda data: _move(page, state, data))
    page.on("set", lambda data: _set(page, state, data))
    page.on("at", lambda data: _focused(page, state, str(data.get("path"))))
    page.on_judged(lambda: page.later(judged()))
    page.on_preview(lambda findings: show_preview(page, findings, state.beside))


async def _read(page: Page, state: _State) -> None:
    """Read the form anew, and show what is different."""
    draft = page.draft
    if draft is None:
        return
    page.put("describe-problems", problems_of(page))
    if not page.problems:
        try:
            found = await page.queue.compute(season_form if page.season_open else form_of, draft.source)
        except BadInput:
            found = ()  # its problems are told when it is judged
        if found:
            state.fields = {f.key: f for f in found}
    _show(page, state)
    _show_beside(page, state)


def _sections(state: _State) -> list[str]:
    return list(dict.fromkeys(f.section for f in state.fields.values()))


def _show(page: Page, state: _State, word: str | None = None, section: str | None = None) -> None:
    if not state.fields:
        return
    sections = _sections(state)
    if word is not None:
        state.word = word
    if section in sections:
        state.section, state.word = section or "", ""
        page.call("mark", "describe-word", {"value": ""})
    if not state.section and state.at in state.fields:
        state.section = state.fields[state.at].section
    state.section = state.section if state.section in sections else sections[0]
    page.put("describe-section", [tag("option", s, value=s, selected=s == state.section) for s in sections])
    shown = _chosen(state)
    more = len(shown) - _MOST
    page.put("describe-more", f"… and {more} more: look for something narrower" if more > 0 else "")
    rows: dict[str, Markup] = {}
    head = ""
    for f in shown[:_MOST]:
        group = f"{f.section} {f.group}".strip() if state.word else f.group
        if group != head:
            head = group
            rows[f"h {f.section} {group}"] = tag(
                "li", tag("h3", group or f.section), class_="group", data_row=f"h {f.section} {group}"
            )
        rows[f.key] = field_row(f, axis_label(f, state.fields), may_change=page.may_change)
    state.rows.show(rows)


def _chosen(state: _State) -> list[Field]:
    word = state.word.lower().strip()
    if word:
        return [f for f in state.fields.values() if word in f"{f.key} {f.about} {f.value}".lower()]
    return [f for f in state.fields.values() if f.section == state.section]


def _known(page: Page, state: _State, data: dict[str, Any]) -> Field:
    """The value that an element of the form stands for; nothing else can be changed from there."""
    found = state.fields.get(str(data.get("path")))
    if found is None or found.fixed or page.draft is None:
        expected = "expected a value of this form: reload the page"
        raise BadInput([Problem(page.workspace.folder.root, 1, 1, (), expected)])
    return found


def _move(page: Page, state: _State, data: dict[str, Any]) -> None:
    found = _known(page, state, data)
    if found.sort == "quantity" and not page.season_open:
        page.previewer.move(found.path, str(data.get("value"))[:100])
    else:
        page.call("moved")


async def _set(page: Page, state: _State, data: dict[str, Any]) -> None:
    found = _known(page, state, data)
    part = str(data.get("part") or "value")
    if part not in ("value", *NUMBER_PARTS):
        return
    text = str(data.get("value"))[:500].strip()
    path, value = read_part(found, part, text)
    state.rows.spoil([found.key])  # the browser shows what was typed
    said = f"{field_id(found.path)}-said"
    page.put(said, "")
    try:
        done = await page.editor.change({path: value}, ("set", path))
    except BadInput as error:
        page.put(said, error.problems[0].expected)
        return
    page.call("mark", field_id(found.path), {"aria-invalid": None if done else "true"})


def _focused(page: Page, state: _State, key: str) -> None:
    found = state.fields.get(key)
    if found is None:
        return
    if found.sort == "quantity" and found.value and not page.season_open:
        page.previewer.warm(found.path, found.value)
    if key != state.at:
        state.at = key
        _show_beside(page, state)


def _show_beside(page: Page, state: _State) -> None:
    if page.season_open or page.judged is None:
        return
    report = page.judged.report
    found = [f for f in report.findings if state.at in f.inputs] if state.at else []
    about = "The worst findings; move a number and watch."
    if found:
        about = f"{counted(len(found), 'finding')} that {'rest' if len(found) > 1 else 'rests'} on {state.at}."
    elif state.at:
        about = f"No finding rests on {state.at} as it stands; the worst are shown."
    page.put("beside-about", about)
    page.put("beside-counts", Markup(counts_of(report)))
    rows = {key_of(f): finding_row(f, small=True) for f in (found or list(report.findings))[:_BESIDE]}
    state.beside.show(rows)


NUMBER_PARTS = ("tolerance", "basis")
_AXES = {"size": ("length", "width", "height")}


def axis_label(found: Field, fields: Mapping[str, Field]) -> str:
    """Name a value of a list of three by its axis."""
    place = found.path[-1]
    if not isinstance(place, int) or len(found.path) < 2 or not isinstance(found.path[-2], str):
        return found.label
    stem = found.key[: found.key.rindex("[")]
    if f"{stem}[2]" not in fields or f"{stem}[3]" in fields:
        return found.label
    axis = _AXES.get(found.path[-2], ("x", "y", "z"))[place]
    return f"{found.label[: found.label.rindex('[')]} {axis}"


def field_row(found: Field, label: str, *, may_change: bool) -> Markup:
    """Write the row of a value."""
    identifier = field_id(found.path)
    fixed = found.fixed or not may_change
    notes = [found.about] if found.about else []
    if not found.stated and found.value and not found.generic:
        notes.append("assumed: the file does not say")
    if found.generic:
        notes.append("of the generic catalogue; a change makes it a class of your own, in your file")
    if found.file.endswith((".csv", ".xlsx")):
        notes.append(f"stands in {found.file}")
    boxes = _number(found, identifier, label, fixed) if found.sort == "quantity" else _other(found, identifier, fixed)
    return tag(
        "li",
        tag("label", label, for_=identifier, class_="name"),
        tag("div", boxes, class_="boxes"),
        tag("p", "; ".join(notes), class_="about", id=f"{identifier}-about") if notes else "",
        tag("p", id=f"{identifier}-said", class_="said", role="alert"),
        class_="value assumed" if not found.stated else "value",
        data_row=found.key,
    )


def _number(found: Field, identifier: str, label: str, fixed: bool) -> Content:
    told = f"{identifier}-about {identifier}-said"
    box = tag(
        "input", type="text", id=identifier, value=found.value, data_path=found.key, data_move="yes", readonly=fixed,
        placeholder=example(found.kind), autocomplete="off", inputmode="text", aria_describedby=told, class_="number",
    )  # fmt: skip
    if fixed:
        rest = " · ".join(p for p in (f"± {found.tolerance}" if found.tolerance else "", found.basis) if p)
        return [box, tag("span", rest, class_="rests")]
    steps = [
        tag("button", sign, type="button", class_="step", data_step=by, data_for=identifier, tabindex="-1",
            aria_label=f"{word} {label}")
        for sign, by, word in (("−", "-1", "Less"), ("+", "1", "More"))
    ]  # fmt: skip
    tolerance = tag(
        "label", "± ",
        tag("input", type="text", value=found.tolerance if found.own_tolerance else "", placeholder=found.tolerance,
            data_path=found.key, data_part="tolerance", autocomplete="off", class_="tolerance",
            aria_label=f"Tolerance of {label}"),
    )  # fmt: skip
    options = [tag("option", basis, value=basis, selected=basis == found.basis) for basis in BASES]
    basis = tag("select", options, data_path=found.key, data_part="basis", aria_label=f"What {label} rests on")
    return [box, steps, tolerance, basis] if found.value else [box]


def _other(found: Field, identifier: str, fixed: bool) -> Content:
    told = f"{identifier}-about {identifier}-said"
    if found.choices and not fixed:
        words = found.choices if found.value in found.choices else (found.value, *found.choices)
        options = [tag("option", word, value=word, selected=word == found.value) for word in words]
        return tag("select", options, id=identifier, data_path=found.key, aria_describedby=told)
    mode = "numeric" if found.sort == "whole number" else "text"
    return tag(
        "input", type="text", id=identifier, value=found.value, data_path=found.key, readonly=fixed, inputmode=mode,
        autocomplete="off", aria_describedby=told, class_="number" if found.sort == "whole number" else None,
    )  # fmt: skip


def read_part(found: Field, part: str, text: str) -> tuple[KeyPath, object]:
    """Turn what was typed into a change of the file."""
    if part in NUMBER_PARTS:
        return (*found.path, part), text or GONE
    if found.sort == "whole number":
        if not text.lstrip("+-").isdecimal() or len(text) > 12:
            raise BadInput([Problem(Path(found.file), 1, 1, found.path, "expected a whole number")])
        return found.path, int(text)
    if found.sort == "truth":
        return found.path, text == "yes"
    if not text and found.sort == "quantity":
        return found.path, GONE
    if found.kind == "ratio":
        return found.path, _ratio(text)
    return found.path, text


def _ratio(text: str) -> object:
    """A bare number is written without quotes."""
    try:
        number = float(text)
    except ValueError:
        return text
    return int(text) if text.lstrip("+-").isdecimal() else number


_LISTED = 30  # mistakes that are listed


def _open_file(page: Page) -> Path:
    """Which of the draft's files is shown."""
    assert page.draft is not None
    wanted = page.query.get("which", "")
    texts = [path for path in page.draft.texts if path.suffix.lower() != ".xlsx"]
    return next((path for path in texts if path.name == wanted), page.draft.file)


def build_text(page: Page) -> Markup:
    """Show the text of a file."""
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
