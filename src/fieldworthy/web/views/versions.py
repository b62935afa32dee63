"""Variants of the robot and its history: what differs, what changed since when, and the way back."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from fieldworthy.engine.finding import Report
from fieldworthy.files.document import BadInput
from fieldworthy.files.writing import Moment, written
from fieldworthy.web.components import counted, field, heading, values_of
from fieldworthy.web.folder import Entry
from fieldworthy.web.form import words_of_key
from fieldworthy.web.judging import Source, differing, variant_in
from fieldworthy.web.markup import SAID, Content, Markup, address, join, key_of, sentences, tag
from fieldworthy.web.page import Page, line_difference
from fieldworthy.web.worker import Broken
from fieldworthy.web.workspace import as_saved, as_saved_until, moments

_ROWS, _TURNED, _MOMENTS = 200, 12, 60
_UNSAVED: Moment = ("", 0)


def build(page: Page) -> None:
    """Show the variants beside the open robot, and what it was before."""
    page.fill(
        heading("Versions", "variant", "verdict"),
        tag("p", "What is tried beside this robot, and what it was before.", class_="lead"),
        _variant() if page.may_change else "",
        tag("section", tag("h2", "Other robots in this folder"), _others(page)),
        tag("section", tag("h2", "Since the last save"), tag("div", id="versions-unsaved")),
        tag("section", tag("h2", "As it was before"), tag("div", id="versions-past")),
    )
    page.on("variant", lambda data: _make_variant(page, str(values_of(data).get("variant", ""))))
    page.on("other", lambda data: _against(page, str(data.get("of"))))
    page.on("past", lambda data: _since(page, _moment_of(page, str(data.get("of")))))
    page.on("back-to", lambda data: _go_back(page, _moment_of(page, str(data.get("of")))))
    page.on_judged(lambda: page.later(_history(page)))
    page.later(_history(page))


def _variant() -> Markup:
    asked = field("Call it", "variant", "", hint="For example: mk2, with the arm.", required=True)
    told = "A copy of this robot as it stands here, in files of its own; the season stays shared. Change there what is "
    return tag(
        "form",
        tag("h2", "Make a variant of this"),
        tag("p", told + "to be tried."),
        tag("div", asked, class_="fields"),
        tag("p", id="variant-said", role="alert", class_="said"),
        tag("div", tag("button", "Make the variant", type="submit", class_="main")),
        data_submit="variant",
        class_="panel",
    )


async def _make_variant(page: Page, name: str) -> None:
    """Write a copy under a new name beside the open file, and open it."""
    name = name.strip()[:80]
    if page.draft is None or not page.editor.allowed():
        return
    if not name or page.problems:
        page.put("variant-said", "Give it a name." if not page.problems else "The file has mistakes: mend them first.")
        return
    folder = page.workspace.folder
    if any(e.title == name for e in folder.entries()):
        page.put("variant-said", f"There is a robot called {name} already.")
        return
    target = folder.path(folder.free_name(name, page.file.rpartition("/")[0]))
    try:
        texts = dict(await page.queue.quick.run(variant_in, page.draft.source, name, target))
        written(texts, copy_dated=None, expect=dict.fromkeys(texts, ""))
    except BadInput as error:
        page.put("variant-said", sentences(error.problems[:1]))
        return
    made = folder.name(target)
    page.note(f"Wrote {made}: the same robot under the name {name}. Change what is to be tried.")
    await page.go(address("build", file=made))


def _others(page: Page) -> Content:
    others = [e for e in page.workspace.folder.entries() if e.kind == "robot" and e.name != page.file]
    if not others:
        return tag("p", "There is no other yet.")
    return tag("ul", [_other(page, place, entry) for place, entry in enumerate(others)], class_="entries")


def _other(page: Page, place: int, entry: Entry) -> Markup:
    asked = address("compare", file=page.file, **{"with": entry.name})
    line = [
        tag("a", entry.title, href=address("build", file=entry.name), data_go=True, class_="file"),
        tag("span", entry.name, class_="path"),
        tag("a", "Play both", href=asked, data_go=True, aria_label=f"Play {entry.title} against this robot"),
    ]
    shown = tag("div", tag("p", "Working it out …"), id=f"other-{place}")
    differs = tag("details", tag("summary", "What differs", aria_label=f"What differs in {entry.title}",
                                 data_key=f"o {entry.name}"), shown, data_open="other", data_of=place)  # fmt: skip
    return tag("li", tag("div", line, class_="entry"), differs)


async def _against(page: Page, place: str) -> None:
    """Say in what another robot differs from the open one."""
    others = [e for e in page.workspace.folder.entries() if e.kind == "robot" and e.name != page.file]
    if page.draft is None or not place.isdecimal() or int(place) >= len(others):
        return
    entry = others[int(place)]
    try:
        other = page.workspace.draft(page.tab, entry.name).source
    except BadInput as error:
        page.put(f"other-{place}", sentences(error.problems[:1]))
        return
    shown = await _differences(page, page.draft.source, other, ("Here", f"In {entry.title}"))
    page.put(f"other-{place}", shown or tag("p", "Nothing differs."))


async def _history(page: Page) -> None:
    """Show what is not saved, and the days from which copies are kept."""
    draft = page.draft
    if draft is None or page.view != "versions":
        return
    unsaved = await _differences(page, as_saved(draft), draft.source, ("Saved", "Here")) if draft.changed else ""
    again = _back_button(page, _UNSAVED, "Go back to what is saved") if draft.changed else ""
    page.put("versions-unsaved", unsaved or tag("p", "Nothing is unsaved."), again)
    rows = [
        tag("li", tag("details", tag("summary", _said(at), data_key=f"m {_key(at)}"),
                      tag("div", tag("p", "Working it out …"), id=f"past-{_key(at)}"), data_open="past",
                      data_of=_key(at)))
        for at in moments(draft)[:_MOMENTS]
    ]  # fmt: skip
    told = "The first save of a day keeps what the files said until then, as a copy with the date in its name."
    listed = tag("ul", rows, class_="pasts") if rows else tag("p", "No copy is kept yet.")
    page.put("versions-past", tag("p", told, class_="fine"), listed)


def _key(at: Moment) -> str:
    return f"{at[0]}-{at[1]}" if at[0] else "saved"


def _said(at: Moment) -> str:
    day = f"Before {date.fromisoformat(at[0]):%d %B %Y}" if _is_day(at[0]) else f"Before {at[0]}"
    return day if at[1] == 1 else f"{day}, save {at[1]}"


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _moment_of(page: Page, key: str) -> Moment | None:
    known = moments(page.draft) if page.draft else ()
    return next((at for at in (_UNSAVED, *known) if _key(at) == key), None)


def _back_button(page: Page, at: Moment, words: str) -> Content:
    return tag("button", words, type="button", data_do="back-to", data_of=_key(at)) if page.may_change else ""


async def _since(page: Page, at: Moment | None) -> None:
    """Say what changed since a day, which verdicts turned, and offer the way back."""
    draft = page.draft
    if draft is None or at is None or at == _UNSAVED:
        return
    try:
        older = as_saved_until(draft, at)
    except BadInput as error:
        page.put(f"past-{_key(at)}", sentences(error.problems[:1]))
        return
    shown = await _differences(page, older, draft.source, ("Was", "Is here"))
    back = _back_button(page, at, "Go back to this")
    page.put(f"past-{_key(at)}", shown or tag("p", "Nothing changed since."), back if shown else "")


def _go_back(page: Page, at: Moment | None) -> None:
    """Put the texts of an earlier time in place, as a change that can be undone and is not saved yet."""
    draft = page.draft
    if draft is None or at is None or not page.editor.allowed():
        return
    page.editor.put_texts(dict((as_saved(draft) if at == _UNSAVED else as_saved_until(draft, at)).texts))
    page.note("The robot is what it was then, not saved. Undo brings back what stood here.")


async def _differences(page: Page, older: Source, newer: Source, heads: tuple[str, str]) -> Content:
    """Say which values differ and which verdicts turned; line by line where one of both has mistakes."""
    try:
        rows = await page.queue.compute(differing, older, newer)
        reports = [(await page.queue.judge(source, page.display.units)).report for source in (older, newer)]
    except (BadInput, Broken):
        texts = dict(older.texts)
        changed = [(path, text) for path, text in newer.texts if texts.get(path, text) != text]
        told = tag("p", "One of both has mistakes, so the lines are shown.") if changed else ""
        return join([told, *(line_difference(path, texts[path], text) for path, text in changed)]) or ""
    if not rows:
        return ""
    more = tag("p", f"And {len(rows) - _ROWS} more.") if len(rows) > _ROWS else ""
    return [_turned(reports[0], reports[1], heads), _table(page, rows[:_ROWS], heads), more]


def _table(page: Page, rows: Iterable[tuple[str, str, str]], heads: tuple[str, str]) -> Markup:
    listed = list(rows)
    body = [
        tag("tr", tag("th", tag("a", words_of_key(key), href=address("build", file=page.file, key=key), data_go=True),
                      scope="row"), tag("td", was), tag("td", now))
        for key, was, now in listed
    ]  # fmt: skip
    first = tag("tr", [tag("th", name, scope="col") for name in ("What", *heads)])
    caption = f"{counted(len(listed), 'value')} {'differs' if len(listed) == 1 else 'differ'}"
    inner = tag("table", tag("caption", caption), tag("thead", first), tag("tbody", body))
    return tag("div", inner, class_="table", tabindex="0", role="region", aria_label=caption)


def _turned(older: Report, newer: Report, heads: tuple[str, str]) -> Content:
    """Which verdicts are others now."""
    old: dict[str, Any] = {key_of(f): f for f in older.findings}
    turned = [f for f in newer.findings if key_of(f) in old and old[key_of(f)].verdict != f.verdict]
    counts = f"Findings that are short. {heads[0]}: {len(older.short)}. {heads[1]}: {len(newer.short)}."
    rows = [tag("li", f"{SAID[old[key_of(f)].verdict]} → {SAID[f.verdict]}: {f.because}") for f in turned[:_TURNED]]
    if len(turned) > _TURNED:
        rows.append(tag("li", f"and {counted(len(turned) - _TURNED, 'more verdict')}"))
    return [tag("p", counts), tag("ul", rows, class_="turned") if rows else tag("p", "No verdict turned.")]
