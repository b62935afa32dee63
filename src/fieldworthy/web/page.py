"""One window: what it shows, what the person does there, and what it is told by the work behind it."""

from __future__ import annotations

import asyncio
import contextlib
import difflib
import inspect
import json
import logging
from collections.abc import Awaitable, Callable, Coroutine, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from fieldworthy.drawing.style import DARK, LIGHT, Style
from fieldworthy.drawing.style import Units as DrawUnits
from fieldworthy.engine.evaluate import NominalFinding
from fieldworthy.files.document import BadInput, KeyPath, Problem
from fieldworthy.files.writing import Clash
from fieldworthy.web.access import Visitor
from fieldworthy.web.figures import Look
from fieldworthy.web.folder import is_season
from fieldworthy.web.form import mistakes_of
from fieldworthy.web.jobs import JobQueue, Latest
from fieldworthy.web.judging import Judged, Source, Units, edit
from fieldworthy.web.markup import SAID, Content, Markup, field_id, join, said_there, sentences, tag
from fieldworthy.web.worker import Broken, Stopped
from fieldworthy.web.workspace import Conflict, Draft, Tab, Workspace, clashes, unsaved

if TYPE_CHECKING:
    from nicegui import Client, ui


Handler = Callable[[dict[str, Any]], Awaitable[None] | None]
log = logging.getLogger("nicegui")
_IN_TURN = frozenset((
    "set", "text", "try", "drop-tried", "undo", "redo", "save", "conflict", "add", "shelf", "dropped", "copy", "rename",
    "take", "taken", "placed", "gone", "fill", "paste", "meshed", "card", "step", "start", "out", "repeat", "one-more",
    "drop", "stands", "accept", "accept-all", "keep", "back-to",
))  # fmt: skip
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
        """Call a function of the scripts in ``static`` in the browser."""
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
        finally:
            if "edit" in data:  # until then the box shows what was typed, whatever is drawn meanwhile
                self.call("settled", str(data.get("id")), data["edit"])

    def later(self, work: Coroutine[Any, Any, None]) -> None:
        """Do something that takes a while, without waiting for it."""
        from nicegui import background_tasks  # noqa: PLC0415  keeps the task alive, and logs what it raises

        background_tasks.create(work)


T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Display:
    """How a person wants the page shown.

    Attributes
    ----------
    dark : Light on dark
    units : In which results are shown
    width : Of the window [px]
    """

    dark: bool = False
    units: Units = "file"
    width: int = 1280


def read_units(said: object) -> Units:
    """Read a choice of units as the browser tells it."""
    return "metric" if said == "metric" else "inch" if said == "inch" else "file"


@dataclass(frozen=True, slots=True)
class Listeners:
    """What a view wants to be told, until it is left.

    Attributes
    ----------
    judged : When `Page.judged` or `Page.problems` is new
    preview : What a number that is being moved changes
    leave : When the view is left
    """

    judged: list[Callable[[], None]] = field(default_factory=list)
    preview: list[Callable[[tuple[NominalFinding, ...]], None]] = field(default_factory=list)
    leave: list[Callable[[], None]] = field(default_factory=list)

    def clear(self) -> None:
        """Forget them all."""
        for listeners in (self.judged, self.preview, self.leave):
            listeners.clear()


class Page(Screen):
    """One window.

    Attributes
    ----------
    draft : The open file
    judged : What was last found for it; of an earlier text while `problems` says what is wrong with the present one
    problems : What is wrong with the files
    query : What the address asks besides view and file
    slot : Where a view puts elements of the framework
    builds : How often a view was built; the document says it too, so that others can wait for it
    work : Has functions run in the processes behind the page
    editor, checker, previewer : Change the open file, have it judged, show what a moved number does
    """

    def __init__(self, workspace: Workspace, visitor: Visitor, client: Client) -> None:
        super().__init__(client)
        self.workspace, self.visitor = workspace, visitor
        self.display = Display()
        self.tab = Tab()
        self.draft: Draft | None = None
        self.judged: Judged | None = None
        self.problems: tuple[Problem, ...] = ()
        self.view = ""
        self.query: dict[str, str] = {}
        self.slot: ui.element
        self.builds = 0
        self.go: Callable[[str], Awaitable[None]]
        self.again: Callable[[], Awaitable[None]]
        self.listeners = Listeners()
        self.work, self.editor = Work(self), Editor(self)
        self.checker, self.previewer = Checker(self), Previewer(self)

    @property
    def queue(self) -> JobQueue:
        """The work behind the page."""
        return self.workspace.queue

    @property
    def may_change(self) -> bool:
        """Whether this person may change files."""
        return self.visitor.may_change

    @property
    def season_open(self) -> bool:
        """Whether the open file is a season."""
        return self.draft is not None and is_season(self.draft.text)

    @property
    def file(self) -> str:
        """The open file's name; empty where none is open."""
        return self.workspace.folder.name(self.draft.file) if self.draft else ""

    def style(self, width: float | None = None) -> Style:
        """Say how figures are to look in this window."""
        inch = self.display.units == "inch" or (self.display.units == "file" and self._file_is_inch())
        units: DrawUnits = "inch" if inch else "metric"
        room = min(900.0, max(320.0, self.display.width - (40.0 if self.display.width < 900 else 320.0)))
        return Style(DARK if self.display.dark else LIGHT, units, room if width is None else min(width, room))

    def look(self, width: float | None = None) -> Look:
        """Say how figures are to look, for functions of `fieldworthy.web.figures`."""
        return Look(self.style(width), self.display.units)

    def _file_is_inch(self) -> bool:
        report = self.judged.report if self.judged else None
        return any(item.unit in ("in", "inch", '"', "ft") for item in (report.findings if report else ()))

    def on_judged(self, handler: Callable[[], None]) -> None:
        """Be told when `judged` or `problems` is new, until the view is left."""
        self.listeners.judged.append(handler)

    def on_preview(self, handler: Callable[[tuple[NominalFinding, ...]], None]) -> None:
        """Be told what a number that is being moved changes, until the view is left."""
        self.listeners.preview.append(handler)

    def on_leave(self, handler: Callable[[], None]) -> None:
        """Be told when the view is left."""
        self.listeners.leave.append(handler)

    def leave(self) -> None:
        """Forget the view's handlers."""
        for handler in self.listeners.leave:
            handler()
        self.listeners.clear()
        self._handlers.clear()
        self.previewer.forget()

    async def disk_moved(self) -> None:
        """Show what the disk has now."""
        await self.editor.disk_moved()


class Work:
    """Has functions of modules run in the processes behind the page; trouble is shown as a sentence."""

    def __init__(self, page: Page) -> None:
        self._page = page

    async def compute(self, function: Callable[..., T], *arguments: Any) -> T | None:
        """Run a function that takes a while."""
        return await self._told(self._page.queue.compute(function, *arguments))

    async def aside(self, function: Callable[..., T], *arguments: Any) -> T | None:
        """Run a function that plays matches."""
        with contextlib.suppress(Stopped):
            return await self._told(self._page.queue.aside(function, *arguments))
        return None

    async def sketch(self, function: Callable[..., T], *arguments: Any) -> T | None:
        """Run a function that takes some milliseconds, such as a drawing that follows a slider."""
        return await self._told(self._page.queue.sketch(function, *arguments))

    async def draw(self, function: Callable[..., T], *arguments: Any) -> T | None:
        """Run a function that draws results of its own, which are not looked up again."""
        return await self._told(self._page.queue.quick.run(function, *arguments))

    async def _told(self, work: Awaitable[T]) -> T | None:
        """Wait for work, and show as a sentence why it could not be done."""
        try:
            return await work
        except BadInput as error:
            self._page.note(sentences(error.problems[:3]), bad=True)
        except Broken as error:
            self._page.note(str(error), bad=True)
        return None


class Editor:
    """Changes the open file, and writes it over no text but the one that was read."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._asked: dict[Path, str | None] = {}

    def allowed(self) -> bool:
        """Tell whether this person may change files; who may not is told so."""
        if not self._page.may_change:
            self._page.note("You are a visitor here: you can look at everything, and change nothing.", bad=True)
        return self._page.may_change

    async def change(self, changes: Mapping[KeyPath, object], about: object = None) -> bool:
        """Change values in the open robot's files, as yet unsaved."""
        page = self._page
        if page.draft is None or not self.allowed():
            return False
        page.previewer.drop()
        texts = await page.work.draw(edit, page.draft.source, tuple(changes.items()))
        if texts is None:
            return False
        self.put_texts(dict(texts), about)
        return True

    async def try_change(self, changes: Mapping[KeyPath, object], about: object = None) -> bool:
        """Change values likewise, but raise what is wrong with them, for whoever says so where they were typed."""
        page = self._page
        if page.draft is None or not self.allowed():
            return False
        page.previewer.drop()
        texts = await page.queue.quick.run(edit, page.draft.source, tuple(changes.items()))
        self.put_texts(dict(texts), about)
        return True

    def put_texts(self, texts: Mapping[Path, str], about: object = None) -> None:
        """Put other texts in place of the open file's, as yet unsaved, and have them judged."""
        page = self._page
        if page.draft is not None and self.allowed() and page.draft.change(texts, about):
            self.refresh_state()
            page.checker.judge()

    def refresh_state(self) -> None:
        """Show anew whether there is something to save, to undo, to redo."""
        page, draft = self._page, self._page.draft
        not_saved = bool(draft and draft.changed)
        kept = unsaved(draft, page.workspace.folder) if draft and page.may_change else {}
        page.call("keeps", not_saved, page.file, kept)
        steps = draft.steps if draft else (0, 0)
        state = {"unsaved": not_saved, "undo": steps[0] > 0, "redo": steps[1] > 0}
        words = "" if draft is None else "unsaved changes" if not_saved else "saved"
        page.put("fw-state", words if page.may_change else "visitor: read-only" if draft else "")
        page.call("mark", "fw-state", {"data-unsaved": "yes" if not_saved else "no"})
        for button, on in (("fw-save", state["unsaved"]), ("fw-undo", state["undo"]), ("fw-redo", state["redo"])):
            page.call("mark", button, {"aria-disabled": None if on and page.may_change else "true"})

    async def disk_moved(self) -> None:
        """Show what the disk has now; ask, where this window has changes of its own."""
        page, draft = self._page, self._page.draft
        if draft is None or not draft.elsewhere():
            return
        if draft.changed:
            theirs = draft.elsewhere()
            if self._together(draft, theirs):
                page.checker.judge()
            elif theirs != self._asked:  # who has put the answer off is not asked the same again until they save
                self.ask_which(draft, theirs)
            return
        draft.take_theirs()
        draft.forget_steps()
        self.refresh_state()
        page.note(f"{draft.file.name} was saved elsewhere; this window shows it as it is now.")
        page.checker.judge()

    def _together(self, draft: Draft, theirs: Mapping[Path, str | None]) -> bool:
        """Bring changes of different lines together; say whether that could be done."""
        if None in theirs.values() or clashes(draft, theirs):
            return False
        draft.bring_together(theirs)
        self.refresh_state()
        names = " and ".join(path.name for path in theirs)
        self._page.note(f"{names} was saved elsewhere, in other lines than yours: both changes stand here now.")
        return True

    def decide(self, *, mine: bool) -> None:
        """Take one side where both changed the same lines; everything else of both stays."""
        draft = self._page.draft
        if draft is not None:
            draft.bring_together(draft.elsewhere(), prefer_mine=mine)
            self._asked = {}
            self.refresh_state()
            self._page.checker.judge()

    def ask_which(self, draft: Draft, theirs: Mapping[Path, str | None]) -> None:
        """Show both texts and let the person choose."""
        self._asked = dict(theirs)
        self._page.put("fw-conflict", shown_conflict(draft, theirs))
        self._page.call("dialog", "fw-conflict", True)

    async def save(self, *, over: bool = False) -> bool:
        """Write what was changed; ask, where the disk has another text meanwhile."""
        draft = self._page.draft
        if draft is None or not self.allowed():
            return False
        try:
            written = draft.save(over=over, keep=date.today())
        except Conflict as conflict:
            if self._together(draft, conflict.theirs):
                self._page.checker.judge()
                return await self.save()
            self.ask_which(draft, conflict.theirs)
            return False
        self.refresh_state()
        if written:
            names = " and ".join(path.name for path in written)
            self._page.note(f"Saved {names}.")
            await self._page.workspace.tell_moved(set(written), but=self._page)
        return True


class Checker:
    """Has the open file judged, the newest text first, and tells the view what came of it."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._newest = Latest(self._judge)

    def judge(self) -> None:
        """Have the open robot judged again."""
        if self._page.draft is not None:
            self._newest.ask(self._page.draft.source)

    async def _judge(self, source: Source) -> None:
        page, draft = self._page, self._page.draft
        try:
            if page.season_open:
                self._tell(draft, None, await page.queue.compute(mistakes_of, source))
                return
            found = await page.queue.judge(source, page.display.units)
        except BadInput as error:
            self._tell(draft, page.judged, error.problems)
        except Broken as error:
            self._tell(draft, page.judged, (Problem(source.file, 1, 1, (), str(error)),))
        else:
            if draft is not None:
                draft.know(dict(found.texts))
            self._tell(draft, found, ())

    def _tell(self, draft: Draft | None, judged: Judged | None, problems: tuple[Problem, ...]) -> None:
        page = self._page
        if draft is not page.draft or page.client.is_deleted:
            return
        before, page.judged, page.problems = page.judged, judged, problems
        page.previewer.shown.clear()
        with page.client.content:
            for handler in tuple(page.listeners.judged):
                handler()
        self._say_changes(before)

    def _say_changes(self, before: Judged | None) -> None:
        """Tell a screen reader which verdicts are others now."""
        page = self._page
        if page.problems:
            page.say(f"Mistakes in the file: {len(page.problems)}.")
            return
        if before is None or page.judged is None:
            return
        old = {(f.id, f.subject): f.verdict for f in before.report.findings}
        new = {(f.id, f.subject): f for f in page.judged.report.findings}
        turned = [f for key, f in new.items() if old.get(key, f.verdict) != f.verdict]
        if turned:
            page.say(" ".join(f"Now {SAID[f.verdict]}: {f.because}" for f in turned[:3]))


class Previewer:
    """Shows at once what a number does that is being moved.

    Attributes
    ----------
    shown : What rows show since a number moves, by key
    """

    def __init__(self, page: Page) -> None:
        self._page = page
        self._newest = Latest(self._preview)
        self._moves: dict[KeyPath, str] = {}
        self.shown: dict[str, dict[str, str]] = {}

    def move(self, path: KeyPath, value: str) -> None:
        """Move one number, to see at once what that does; `Editor.change` makes it stay."""
        page = self._page
        if page.draft is not None and page.editor.allowed():
            self._moves[path] = value
            self._newest.ask((page.draft.source, tuple(self._moves.items())))

    async def shown_with(self, waiting: Awaitable[tuple[NominalFinding, ...]]) -> None:
        """Show what something does that is being dragged, and come back when that is shown."""
        try:
            self._say(await waiting)
        except BadInput:  # it cannot be there: what was said last stays, and the reason is told when it is let go
            pass
        except Broken as error:
            self._page.note(str(error), bad=True)
        self._page.call("drifted")

    def forget(self) -> None:
        """Put the numbers back to where the file has them."""
        self._moves.clear()

    def drop(self) -> None:
        """Forget what moved, and what was asked of it and not begun."""
        self.forget()
        self._newest.drop()

    def warm(self, path: KeyPath, value: str) -> None:
        """Get ready for a number that is likely to be moved next."""
        page = self._page
        if page.draft is not None and page.may_change:
            page.later(self._warmed(page.draft.source, path, value))

    async def _warmed(self, source: Source, path: KeyPath, value: str) -> None:
        with contextlib.suppress(BadInput, Broken):
            await self._page.queue.previewed(source, ((path, value),), self._page.display.units)

    async def _preview(self, what: tuple[Source, tuple[tuple[KeyPath, str], ...]]) -> None:
        page = self._page
        try:
            found = await page.queue.previewed(*what, page.display.units)
        except BadInput as error:
            key = what[1][-1][0]
            page.call("mark", field_id(key), {"aria-invalid": "true"})
            page.put(f"{field_id(key)}-said", said_there(error.problems))
        except Broken as error:
            page.note(str(error), bad=True)
        else:
            for key, _ in what[1]:
                page.call("mark", field_id(key), {"aria-invalid": None})
            self._say(found)
        page.call("moved")

    def _say(self, found: tuple[NominalFinding, ...]) -> None:
        for handler in tuple(self._page.listeners.preview):
            handler(found)


_LINES = 200  # of a comparison


def shown_conflict(draft: Draft, theirs: Mapping[Path, str | None]) -> Markup:
    """Show the lines that both changed side by side, and what can be done."""
    names = " and ".join(path.name for path in theirs)
    gone = [path.name for path, text in theirs.items() if text is None]
    both = clashes(draft, theirs)
    told = "Nothing has been overwritten. Both of you changed these lines; every other change of both is kept."
    choices = [
        tag("button", "Keep mine in these lines", type="button", data_do="conflict", data_choice="mine"),
        tag("button", "Take the file's lines, give up mine", type="button", data_do="conflict", data_choice="theirs"),
        tag("button", "Decide later", type="button", data_do="conflict", data_choice="later", class_="main"),
    ]
    return join([
        tag("h2", f"{names} was saved elsewhere meanwhile", id="fw-conflict-title"),
        tag("p", told) if both else "",
        [tag("p", f"{name} is gone from the disk.") for name in gone],
        [_side_by_side(path, found) for path, found in both.items()],
        tag("div", choices, class_="choices"),
    ])  # fmt: skip


def _side_by_side(path: Path, clashes: tuple[Clash, ...]) -> Markup:
    """Put the lines of both beside each other."""
    rows = [
        tag("tr", tag("th", clash.line, scope="row"), tag("td", tag("pre", "".join(clash.theirs)), class_="theirs"),
            tag("td", tag("pre", "".join(clash.mine)), class_="mine"))
        for clash in clashes[:_LINES]
    ]  # fmt: skip
    head = tag("tr", [tag("th", name, scope="col") for name in ("Line", "In the file now", "Here")])
    label = f"Lines of {path.name} that both changed"
    inner = tag("table", tag("caption", path.name), tag("thead", head), tag("tbody", rows))
    more = tag("p", f"… and {len(clashes) - _LINES} more places") if len(clashes) > _LINES else ""
    return join([
        tag("div", inner, class_="difference beside-each", tabindex="0", role="region", aria_label=label), more
    ])  # fmt: skip


def line_difference(path: Path, theirs: str | None, mine: str) -> Markup:
    """Show where two texts of a file differ, line by line."""
    if theirs is None:
        return tag("p", f"{path.name} is gone from the disk.")
    rows = list(_rows(theirs, mine))
    more = tag("p", f"… and {len(rows) - _LINES} more lines") if len(rows) > _LINES else ""
    body = tag(
        "pre", rows[:_LINES], class_="difference", tabindex="0", role="region", aria_label=f"Differences in {path.name}"
    )
    return join([body, more])


def _rows(theirs: str, mine: str) -> Iterator[Markup]:
    found = difflib.unified_diff(theirs.splitlines(), mine.splitlines(), n=1, lineterm="")
    for line in list(found)[2:]:
        kind = {"-": "theirs", "+": "mine", "@": "place"}.get(line[:1], "same")
        yield tag("span", _SHOWN.get(kind, str)(line), "\n", class_=kind)


def _place(line: str) -> str:
    """Say where a difference stands: ``@@ -10,3 +10,3 @@`` is about line 10 of the text here."""
    return f"line {line.split('+')[1].split(' ', maxsplit=1)[0].split(',', maxsplit=1)[0]}"


_SHOWN: dict[str, Callable[[str], str]] = {"theirs": lambda line: f"−{line[1:]}", "place": _place}
