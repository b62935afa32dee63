"""The views that are the systems' own: boards to move things on, drawings that sliders move, figures and tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fieldworthy.engine.system import Board, Placed, Slider, View
from fieldworthy.web.components import DisplayUnits, heading, is_new, pictures_of, share_of, table
from fieldworthy.web.figures import Shown, moved, shown
from fieldworthy.web.markup import Content, Markup, plain_sentences, tag
from fieldworthy.web.page import Page

_KEPT = "shown"  # under which a window remembers how far its sliders are
_HALF = 0.5
_BESIDES = "How it moves"  # of what stands with the robot under no title of its own


async def build(page: Page, view: View) -> None:
    """Show a view of a system."""
    page.fill(
        heading(view.label, *view.words),
        tag("p", view.caution, class_="caution") if view.caution else "",
        tag("p", view.lead, class_="lead") if view.lead else "",
        tag("div", id="shown-problems"),
        tag("p", id="shown-told", role="status"),
        tag("div", id="shown-all"),
    )
    state: DisplayUnits = {}
    listen(page, view.name)
    page.on_judged(lambda: page.later(_show(page, view, state)))
    await _show(page, view, state)


def listen(page: Page, view: str = "") -> None:
    """Do what a person asks of boards and sliders."""
    page.on("slide", lambda data: _slide(page, view, data))
    for word in ("drop", "stands"):
        page.on(word, lambda data: _move(page, view, str(data.get("of")), str(data.get("value"))))


async def _show(page: Page, view: View, state: DisplayUnits) -> None:
    page.put("shown-problems", plain_sentences(page.problems) if page.problems else "")
    if page.draft is None or not is_new(page, state):
        return
    found = await page.work.sketch(shown, page.draft.source, page.look(), view.name)
    if found is None or page.view != view.name:
        return
    page.put("shown-told", _told(found, state))
    page.put("shown-all", await sections_of(page, found, view.name) if found else tag("p", view.empty))


def _told(found: Sequence[Shown], state: DisplayUnits) -> str:
    """What follows from a board, and what did before the last change."""
    board = next((part.section.board for part in found if part.section.board is not None), None)
    if board is None:
        return ""
    was, state["before"] = state.get("before", ""), board.before
    return f"{board.told} {was}" if was not in ("", board.before) else board.told


async def sections_of(page: Page, found: Sequence[Shown], view: str = "") -> list[Content]:
    """Show the sections of a view; with the robot those of one title stand together, those without any last."""
    titles = dict.fromkeys(part.section.title for part in found)
    rows: list[Content] = []
    for title in sorted(titles, key=lambda title: not title):
        within = [await _section(page, part, view) for part in found if part.section.title == title]
        head = title or ("" if view else _BESIDES)
        rows.append(tag("section", tag("h2", head) if head else "", within, class_="shown", data_title=head))
    return rows


async def _section(page: Page, part: Shown, view: str) -> list[Content]:
    section = part.section
    level = "h3" if section.title or not view else "h2"
    rows: list[Content] = [] if section.board is None else [_board(page, section.board, level)]
    for slider in part.sliders:
        share = float(_kept(page).get(slider.name, _HALF))
        drawn = await page.work.sketch(moved, page.draft.source, page.look(), view, slider.name, share)  # type: ignore[union-attr]
        place = tag("div", pictures_of(page, drawn or ()), id=_place(slider.name))
        rows.append(tag("div", _slider(slider, share), place, class_="slid"))
    if part.figures:
        rows.append(tag("div", pictures_of(page, part.figures), class_="figures"))
    if section.table is not None:
        rows.append(table(section.table.heads, [list(row) for row in section.table.rows], section.table.title))
    return [*rows, tag("p", section.note) if section.note else ""]


def _place(name: str) -> str:
    """Where what a slider moves is drawn."""
    return f"slid-{name.encode().hex()}"


def _kept(page: Page) -> dict[str, Any]:
    kept: Any = page.tab.notes.setdefault(f"{_KEPT}|{page.file}", {})
    found: dict[str, Any] = kept
    return found


def _slider(slider: Slider, share: float) -> Markup:
    identifier = f"{_place(slider.name)}-at"
    box = tag("input", type="range", id=identifier, min="0", max="100", step="any", value=f"{100 * share:g}",
              data_slide="slide", data_name=slider.name)  # fmt: skip
    run = tag("button", "Run", type="button", data_play=identifier, data_seconds=slider.seconds, aria_pressed="false",
              aria_label=slider.run)  # fmt: skip
    return tag("div", tag("label", slider.label, for_=identifier), box, run, class_="slider")


async def _slide(page: Page, view: str, data: dict[str, Any]) -> None:
    name, share = str(data.get("name")), round(share_of(data.get("value")), 3)
    if page.draft is None:
        return
    drawn = await page.work.sketch(moved, page.draft.source, page.look(), view, name, share)
    if drawn:
        _kept(page)[name] = share
        page.put(_place(name), pictures_of(page, drawn))
    page.call("slid", "slide")


def _board(page: Page, board: Board, level: str) -> Markup:
    how = tag("p", board.how, class_="fine") if page.may_change else ""
    return tag("div", how, tag("div", [_holder(page, board, name, level) for name in board.others], class_="boards"))


def _holder(page: Page, board: Board, name: str, level: str) -> Markup:
    rows = [_thing(page, board, thing) for thing in board.placed if thing.on == name]
    what = board.what.capitalize()
    return tag(
        "section", tag(level, f"{what} '{name}'"), tag("ul", rows or tag("li", board.empty, class_="fine")),
        class_="holder", data_drop=name, aria_label=f"{what} {name}",
    )  # fmt: skip


def _thing(page: Page, board: Board, thing: Placed) -> Markup:
    choice: Content = ""
    if page.may_change and len(board.others) > 1:
        options = [tag("option", f"{board.what} {to}", value=to, selected=to == thing.on) for to in board.others]
        label = f"{board.what.capitalize()} of {thing.name}"
        choice = tag("select", options, data_change="stands", data_of=thing.name, aria_label=label)
    grip = tag("span", "⠿ ", aria_hidden="true", class_="grip") if page.may_change else ""
    return tag(
        "li", tag("span", grip, thing.name, class_="name"), tag("span", thing.told, class_="told"), choice,
        class_="placed", draggable="true" if page.may_change else None, data_drag=thing.name,
        data_verdict=None if thing.good is None else "holds" if thing.good else "short",
    )  # fmt: skip


async def _move(page: Page, view: str, name: str, to: str) -> None:
    """Have a thing stand on another."""
    found = await page.work.sketch(shown, page.draft.source, page.look(), view) if page.draft else None
    for board in (part.section.board for part in found or () if part.section.board is not None):
        thing = next((thing for thing in board.placed if thing.name == name), None)
        if thing is not None and to in board.others and to != thing.on and await page.editor.change({thing.key: to}):
            page.say(board.moved.format(name, to))
