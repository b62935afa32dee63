"""One window as the server speaks to it: puts content in place, says what changed, hears what the person does."""

from __future__ import annotations

import asyncio
import contextlib
import inspect
import json
import logging
from collections.abc import Awaitable, Callable, Coroutine, Mapping
from typing import TYPE_CHECKING, Any

from fieldworthy.files.problems import BadInput, KeyPath, Problem, dotted
from fieldworthy.web.markup import Content, Markup, join, tag

if TYPE_CHECKING:
    from nicegui import Client

Handler = Callable[[dict[str, Any]], Awaitable[None] | None]
log = logging.getLogger("nicegui")
_IN_TURN = ("set", "text", "try", "undo", "redo", "save", "conflict")
"""What changes the file is done one after the other, as the person did it."""


class Screen:
    """What is shown in one window, and what is done when the person does something there."""

    def __init__(self, client: Client) -> None:
        self.client = client
        self._handlers: dict[str, Handler] = {}
        self._frame_handlers: dict[str, Handler] = {}
        self._turn = asyncio.Lock()

    def on(self, name: str, handler: Handler) -> None:
        """Do something when a button with ``data-do``, a form with ``data-submit`` or the like is used."""
        self._handlers[name] = handler

    def fill(self, *content: Content) -> None:
        """Show the view's content."""
        self.put("fw-view", *content)

    def put(self, place: str, *content: Content) -> None:
        """Replace what stands in an element."""
        self.call("put", place, join(content))

    def call(self, name: str, *arguments: object) -> None:
        """Call a function of ``static/page.js`` in the browser."""
        if not self.client.is_deleted:
            told = ", ".join(json.dumps(argument, ensure_ascii=False) for argument in arguments)
            self.client.run_javascript(f"fw.{name}({told})")

    def say(self, text: str) -> None:
        """Tell who cannot see the page what has changed."""
        self.call("say", text)

    def note(self, text: str, *, bad: bool = False) -> None:
        """Show a sentence for some seconds; one about trouble stays until it is closed."""
        close = tag("button", "Close", type="button", class_="quiet", data_close="note")
        role = "alert" if bad else "status"
        self.call(
            "note", tag("div", tag("p", text), close, class_="note", role=role, data_stays="yes" if bad else None)
        )

    def frame_on(self, name: str, handler: Handler) -> None:
        """Do something when an element of the frame is used, whatever the view."""
        self._frame_handlers[name] = handler

    async def heard(self, data: Mapping[str, Any]) -> None:
        """Do what the browser says that the person did; trouble is shown as a sentence."""
        what = data.get("what")
        name = data.get("do") if what == "do" else what
        handler = self._handlers.get(str(name)) or self._frame_handlers.get(str(name))
        if handler is None:
            return
        try:
            async with self._turn if name in _IN_TURN else contextlib.nullcontext():
                waiting = handler(dict(data))
                if inspect.isawaitable(waiting):
                    await waiting
        except BadInput as error:
            self.note(sentences(error.problems[:3]), bad=True)
        except Exception as error:
            log.exception(error)
            self.note("That did not work; the page goes on. Your changes are kept.", bad=True)

    def later(self, work: Coroutine[Any, Any, None]) -> None:
        """Do something that takes a while, without waiting for it."""
        from nicegui import background_tasks  # noqa: PLC0415  keeps the task alive, and logs what it raises

        background_tasks.create(work)


def field_id(path: KeyPath) -> str:
    """Name the form's element that holds a key."""
    return "f-" + "".join(c if c.isalnum() else f"_{ord(c):x}_" for c in dotted(path))


def sentences(problems: tuple[Problem, ...]) -> str:
    """Say problems as sentences, without the folder's whole path."""
    told = []
    for p in problems:
        where = f"{p.file.name}, line {p.line}: " if p.line > 1 or p.column > 1 else ""
        key = f"{dotted(p.key)}: " if p.key else ""
        hint = f" Did you mean {p.suggestion!r}?" if p.suggestion else ""
        told.append(f"{where}{key}{p.expected}.{hint}")
    return " ".join(told)


def plain_sentences(problems: tuple[Problem, ...]) -> Markup:
    """Say problems as a list."""
    return tag("ul", [tag("li", sentences((p,))) for p in problems], class_="problems")
