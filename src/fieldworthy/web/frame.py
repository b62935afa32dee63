"""The frame around the views: header, navigation, notes, and the way from an address to a view."""

from __future__ import annotations

import asyncio
import contextlib
import dataclasses
import inspect
import logging
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from fastapi import FastAPI
from nicegui import Client, app, core, ui

from fieldworthy.drawing.style import DARK, LIGHT, Theme
from fieldworthy.files.document import BadInput
from fieldworthy.web.access import VISITOR, guard
from fieldworthy.web.folder import Folder
from fieldworthy.web.markup import Markup, address, join, plain_sentences, tag
from fieldworthy.web.page import Display, Page, read_units
from fieldworthy.web.runs import play
from fieldworthy.web.views import BY_NAME, VIEWS, opening
from fieldworthy.web.workspace import Draft, Uploads, Workspace

log = logging.getLogger("nicegui")
STATIC = Path(__file__).parent / "static"
_WAIT = 30.0  # s for the browser to connect
_QUIET = 3.0  # s that belong to the first window, and after that to the first margins


def install(api: FastAPI, folder: Folder) -> Workspace:
    """Put the page into an application."""
    workspace = Workspace(folder)
    workspace.uploads = Uploads(api)
    for view in ("", *BY_NAME):
        ui.page(f"/{view}", title="fieldworthy", response_timeout=_WAIT)(_page_of(workspace, view))
    app.config.socket_io_js_transports = ["websocket"]
    ui.add_head_html(_head(), shared=True)
    app.on_startup(lambda: _begin(workspace))
    app.on_shutdown(workspace.queue.close)
    ui.run_with(
        api,
        title="fieldworthy",
        favicon=STATIC / "mark.svg",
        dark=None,
        language="en-US",
        binding_refresh_interval=None,
        reconnect_timeout=20.0,
        tailwind=False,
        show_welcome_message=False,
        gzip_middleware_factory=None,
    )
    guard(core.sio)
    return workspace


def _begin(workspace: Workspace) -> None:
    for work in (workspace.watch(), _prepare(workspace)):
        app.on_shutdown(asyncio.ensure_future(work).cancel)


async def _prepare(workspace: Workspace) -> None:
    """Start the processes once a window stands, and have compiled what plays matches while the person still reads."""
    with contextlib.suppress(TimeoutError):
        await asyncio.wait_for(workspace.stands.wait(), _QUIET)
    await workspace.queue.warm()
    await asyncio.sleep(_QUIET)
    for entry in workspace.folder.entries():
        if entry.kind == "robot":
            with contextlib.suppress(BadInput):
                source = Draft.read(workspace.folder.path(entry.name)).source
                await workspace.queue.prepare(play, source, 10, 0, "whole")
                return


def _head() -> str:
    stamp = int(max(path.stat().st_mtime for path in STATIC.iterdir()))
    scripts = "".join(f'<script defer src="/fw/{name}.js?{stamp}"></script>' for name in ("page", "placing", "brush"))
    return (
        f"<style>{_colours(':root', LIGHT)}{_colours(':root[data-theme=dark]', DARK)}</style>"
        f'<link rel="stylesheet" href="/fw/page.css?{stamp}">{scripts}'
    )


def _colours(selector: str, theme: Theme) -> str:
    names = ("paper", "ink", "quiet", "edge", "grid", "block", "good", "caution", "bad")
    rows = [f"--{name}:{getattr(theme, name)}" for name in names]
    rows += [f"--line{i}:{colour}" for i, colour in enumerate(theme.series, 1)]
    return f"{selector}{{{';'.join(rows)};color-scheme:{theme.name}}}"


def _page_of(workspace: Workspace, view: str) -> Any:
    async def build(client: Client) -> None:
        page = Page(workspace, client.request.scope[VISITOR], client)
        page.go = lambda where: go(page, where)
        page.again = lambda: again(page)
        if client.content.parent_slot is not None:
            client.content.parent_slot.parent.tag = "div"  # the frame has a main of its own
        _frame(page)
        await client.connected(timeout=_WAIT)
        await begin(page, view)

    build.__name__ = f"page_{view or 'opening'}"
    return build


def _frame(page: Page) -> None:
    client = page.client
    client.content.classes(replace="fw-root")
    ui.html(tag("a", "Skip to the content", href="#fw-main", class_="skip"), sanitize=False)
    ui.html(_header(page), sanitize=False, tag="header").classes("fw-top")
    ui.html(tag("ul", id="fw-views"), sanitize=False, tag="nav").classes("fw-nav").props("aria-label=Views")
    with ui.element("main").classes("fw-main").props("id=fw-main tabindex=-1"):
        ui.html(tag("div", id="fw-view"), sanitize=False)
        page.slot = ui.element("div").classes("fw-slot")
    ui.html(
        join([
            tag("div", id="fw-notes"),
            tag("div", id="fw-said", role="status", class_="unseen"),
            tag("div", id="fw-lost", role="alert"),
            tag("div", id="fw-term", popover="auto", role="note"),
            tag("dialog", id="fw-conflict", aria_labelledby="fw-conflict-title"),
        ]),
        sanitize=False,
    )  # fmt: skip
    ui.on("fw", lambda event: page.heard(event.args))


def _header(page: Page) -> Markup:
    units = (("file", "as in the file"), ("metric", "metric"), ("inch", "inch, pound"))
    themes = (("auto", "as the system"), ("light", "light"), ("dark", "dark"))
    home = tag(
        "a", tag("span", "field"), "worthy", href="/", data_go=True, class_="wordmark", aria_label="fieldworthy, start"
    )
    actions = "" if not page.may_change else join([
        tag("button", "Undo", type="button", id="fw-undo", data_do="undo", aria_disabled="true",
            aria_keyshortcuts="Control+Z"),
        tag("button", "Redo", type="button", id="fw-redo", data_do="redo", aria_disabled="true",
            aria_keyshortcuts="Control+Y"),
        tag("button", "Save", type="button", id="fw-save", data_do="save", aria_disabled="true",
            aria_keyshortcuts="Control+S"),
    ])  # fmt: skip
    display = tag(
        "details",
        tag("summary", "Display"),
        tag("div", _choice("Units", "units", units), _choice("Colours", "theme", themes), class_="pane"),
        class_="liking",
    )
    return join([
        home,
        tag("div", tag("span", id="fw-file"), tag("span", id="fw-state"), class_="open-file"),
        tag("div", actions, display, class_="actions", id="fw-actions"),
    ])  # fmt: skip


def _choice(label: str, name: str, options: tuple[tuple[str, str], ...]) -> Markup:
    shown = [tag("option", text, value=value) for value, text in options]
    return tag("label", label, " ", tag("select", shown, data_change=name, id=f"fw-{name}"))


async def begin(page: Page, view: str) -> None:
    """Fill a window that has just been opened."""
    told: dict[str, Any] = await page.client.run_javascript("fw.hello()", timeout=10.0) or {}
    width = told.get("width")
    room = width if isinstance(width, int) else 1280
    page.display = Display(bool(told.get("dark")), read_units(told.get("units")), room)
    page.tab = page.workspace.tab(str(page.client.tab_id))
    taken = page.workspace.take_up(page.tab, told.get("kept")) if page.may_change else ()
    _frame_handlers(page)
    page.workspace.windows.add(page)
    page.client.on_delete(lambda: page.workspace.windows.discard(page))
    request = page.client.request
    await go(page, f"/{view}?{request.url.query}", fresh=True)
    page.workspace.stands.set()
    page.call("typeAgain")
    if taken:
        page.note(f"Taken up again: what was not saved of {' and '.join(taken)} is here, and still not saved.")


def _frame_handlers(page: Page) -> None:
    async def step(redo: bool) -> None:
        draft = page.draft
        if draft is not None and page.may_change and (draft.redo() if redo else draft.undo()):
            page.editor.refresh_state()
            page.say("Done again." if redo else "Undone.")
            page.checker.judge()

    async def dark(data: dict[str, Any]) -> None:
        page.display = dataclasses.replace(page.display, dark=bool(data.get("dark")))
        if page.view and BY_NAME[page.view].drawn:
            await again(page)

    async def theme(data: dict[str, Any]) -> None:
        choice = data["value"] if data["value"] in ("auto", "light", "dark") else "auto"
        await dark({"dark": await page.client.run_javascript(f"fw.theme('{choice}')", timeout=5.0)})

    async def units(data: dict[str, Any]) -> None:
        choice = read_units(data.get("value"))
        page.display = dataclasses.replace(page.display, units=choice)
        page.call("units", choice)
        page.checker.judge()
        await again(page)

    async def conflict(data: dict[str, Any]) -> None:
        page.call("dialog", "fw-conflict", False)
        if page.draft is not None and data.get("choice") == "mine":
            page.editor.decide(mine=True)
            await page.editor.save(over=True)
        elif page.draft is not None and data.get("choice") == "theirs":
            page.editor.decide(mine=False)
            await again(page)

    page.frame_on("go", lambda data: go(page, str(data.get("address")), back=bool(data.get("back"))))
    page.frame_on("save", lambda _: _discard(page.editor.save()))
    page.frame_on("undo", lambda _: step(False))
    page.frame_on("redo", lambda _: step(True))
    page.frame_on("dark", dark)
    page.frame_on("theme", theme)
    page.frame_on("units", units)
    page.frame_on("conflict", conflict)


async def _discard(waiting: Any) -> None:
    await waiting


async def again(page: Page) -> None:
    """Build the present view anew."""
    await _build(page)


async def go(page: Page, where: str, *, fresh: bool = False, back: bool = False) -> None:
    """Show the view that an address names."""
    parts = urlsplit(where)
    view = parts.path.strip("/")
    query = dict(parse_qsl(parts.query))
    page.query = query
    name = query.get("file", "")
    if view in BY_NAME and name:
        try:
            page_draft = page.workspace.draft(page.tab, name)
        except BadInput as error:
            view, name = "", ""
            page.draft = None
            page.note("That file cannot be opened: " + str(error.problems[0].expected) + ".", bad=True)
        else:
            if page_draft is not page.draft:
                page.draft, page.judged, page.problems = page_draft, None, ()
                page.checker.judge()
    else:
        view, name, page.draft = view if view in BY_NAME and BY_NAME[view].alone else "", "", None
    page.view = view
    title = (
        " · ".join([BY_NAME[view].label, *([Path(name).name] if name else []), "fieldworthy"])
        if view
        else "fieldworthy"
    )
    told = {key: value for key, value in query.items() if key in ("file", "key", "part", "with")} if view else {}
    page.call("at", address(view, **told), title, fresh or back)
    _show_frame(page, name)
    await _build(page)
    if not fresh and "key" not in query:  # a view that is asked for a key puts the focus there
        page.call("focus", "fw-title")


def _show_frame(page: Page, name: str) -> None:
    links = []
    for view in VIEWS:
        if (not name and not view.alone) or (page.season_open and not view.for_season):
            continue
        here = "page" if view.name == page.view else None
        link = tag(
            "a", view.label, href=address(view.name, file=name), data_go=True, aria_current=here, title=view.purpose
        )
        links.append(tag("li", link))
    page.put("fw-views", links)
    page.call("mark", "fw-actions", {"data-open": "yes" if name else "no"})
    page.put("fw-file", Path(name).name if name else "")
    page.call("mark", "fw-units", {"value": page.display.units})
    page.editor.refresh_state()


async def _build(page: Page) -> None:
    page.leave()
    page.slot.clear()
    build = BY_NAME[page.view].build() if page.view else opening.build
    try:
        with page.client.content:
            waiting = build(page)
            if inspect.isawaitable(waiting):
                await waiting
    except BadInput as error:
        page.fill(tag("h1", "This cannot be shown", id="fw-title", tabindex="-1"), plain_sentences(error.problems))
    except Exception as error:
        log.exception(error)
        with contextlib.suppress(RuntimeError):
            page.fill(
                tag("h1", "This cannot be shown", id="fw-title", tabindex="-1"),
                tag("p", "Something went wrong here; your changes are kept, and the other views go on."),
            )
    page.builds += 1
    page.call("mark", "fw-main", {"data-built": page.builds})
