"""The open file as a form or as text, with what moves beside it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from fieldworthy.files.problems import BadInput, Problem
from fieldworthy.web.components import counted, heading
from fieldworthy.web.fields import NUMBER_PARTS, axis_label, field_row, read_part
from fieldworthy.web.findings import finding_row, key_of
from fieldworthy.web.form import Field, form_of, season_form
from fieldworthy.web.markup import Content, Markup, address, tag
from fieldworthy.web.rows import Rows
from fieldworthy.web.screen import field_id
from fieldworthy.web.views.margins import counts_of, problems_of, show_preview
from fieldworthy.web.views.text import build_text, show_text

if TYPE_CHECKING:
    from fieldworthy.web.page import Page

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
            found = await page.bench.compute(season_form if page.season_open else form_of, draft.source)
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
        raise BadInput([Problem(page.desk.folder.root, 1, 1, (), expected)])
    return found


def _move(page: Page, state: _State, data: dict[str, Any]) -> None:
    found = _known(page, state, data)
    if found.sort == "quantity" and not page.season_open:
        page.move(found.path, str(data.get("value"))[:100])
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
        done = await page.change({path: value}, ("set", path))
    except BadInput as error:
        page.put(said, error.problems[0].expected)
        return
    page.call("mark", field_id(found.path), {"aria-invalid": None if done else "true"})


def _focused(page: Page, state: _State, key: str) -> None:
    found = state.fields.get(key)
    if found is None:
        return
    if found.sort == "quantity" and found.value and not page.season_open:
        page.warm(found.path, found.value)
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
