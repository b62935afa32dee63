"""One window: what it shows, what the person does there, and what it is told by the work behind it."""

from __future__ import annotations

import contextlib
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from fieldworthy.drawing.style import DARK, LIGHT, Style
from fieldworthy.drawing.style import Units as DrawUnits
from fieldworthy.engine.preview import NominalFinding
from fieldworthy.files.problems import BadInput, KeyPath, Problem
from fieldworthy.web.bench import Bench, Latest
from fieldworthy.web.desk import Desk, Tab
from fieldworthy.web.folder import is_season
from fieldworthy.web.form import season_form
from fieldworthy.web.judging import Judged, Source, Units, edit
from fieldworthy.web.look import Look
from fieldworthy.web.screen import Screen, field_id, sentences
from fieldworthy.web.session import Conflict, Draft
from fieldworthy.web.worker import Broken

if TYPE_CHECKING:
    from nicegui import Client, ui

    from fieldworthy.web.keys import Visitor

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Liking:
    """How a person likes the page.

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


class Page(Screen):
    """One window.

    Attributes
    ----------
    draft : The open file
    judged : What was last found for it; of an earlier text while `problems` says what is wrong with the present one
    problems : What is wrong with the files
    query : What the address asks besides view and file
    previewed : What rows show since a number moves, by key
    slot : Where a view puts elements of the framework
    """

    def __init__(self, desk: Desk, visitor: Visitor, client: Client) -> None:
        super().__init__(client)
        self.desk, self.visitor = desk, visitor
        self.liking = Liking()
        self.tab = Tab()
        self.draft: Draft | None = None
        self.judged: Judged | None = None
        self.problems: tuple[Problem, ...] = ()
        self.view = ""
        self.query: dict[str, str] = {}
        self.slot: ui.element
        self.go: Callable[[str], Awaitable[None]]
        self.again: Callable[[], Awaitable[None]]
        self._on_judged: list[Callable[[], None]] = []
        self._on_preview: list[Callable[[tuple[NominalFinding, ...]], None]] = []
        self._on_leave: list[Callable[[], None]] = []
        self._judging = Latest(self._judge)
        self._previewing = Latest(self._preview)
        self._moves: dict[KeyPath, str] = {}
        self._asked: dict[Path, str | None] = {}
        self.previewed: dict[str, dict[str, str]] = {}

    # ---- what views use ----

    @property
    def bench(self) -> Bench:
        """The work behind the page."""
        return self.desk.bench

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
        return self.desk.folder.name(self.draft.file) if self.draft else ""

    def style(self, width: float | None = None) -> Style:
        """Say how figures are to look in this window."""
        inch = self.liking.units == "inch" or (self.liking.units == "file" and self._file_is_inch())
        units: DrawUnits = "inch" if inch else "metric"
        room = min(900.0, max(320.0, self.liking.width - (40.0 if self.liking.width < 900 else 320.0)))
        return Style(DARK if self.liking.dark else LIGHT, units, room if width is None else min(width, room))

    def look(self, width: float | None = None) -> Look:
        """Say how figures are to look, for functions of `fieldworthy.web.pictures`."""
        return Look(self.style(width), self.liking.units)

    def _file_is_inch(self) -> bool:
        report = self.judged.report if self.judged else None
        return any(item.unit in ("in", "inch", '"', "ft") for item in (report.findings if report else ()))

    def on_judged(self, handler: Callable[[], None]) -> None:
        """Be told when `judged` or `problems` is new, until the view is left."""
        self._on_judged.append(handler)

    def on_preview(self, handler: Callable[[tuple[NominalFinding, ...]], None]) -> None:
        """Be told what a number that is being moved changes, until the view is left."""
        self._on_preview.append(handler)

    def on_leave(self, handler: Callable[[], None]) -> None:
        """Be told when the view is left."""
        self._on_leave.append(handler)

    async def compute(self, function: Callable[..., T], *arguments: Any) -> T | None:
        """Run a function of a module in the process behind the page; trouble is shown as a sentence."""
        return await self._told(self.bench.compute(function, *arguments))

    async def sketch(self, function: Callable[..., T], *arguments: Any) -> T | None:
        """Run a function that takes some milliseconds, such as a drawing that follows a slider."""
        return await self._told(self.bench.sketch(function, *arguments))

    async def drawn(self, function: Callable[..., T], *arguments: Any) -> T | None:
        """Run a function that draws results of its own, which are not looked up again."""
        return await self._told(self.bench.quick.run(function, *arguments))

    async def _told(self, work: Awaitable[T]) -> T | None:
        """Wait for work, and show as a sentence why it could not be done."""
        try:
            return await work
        except BadInput as error:
            self.note(sentences(error.problems[:3]), bad=True)
        except Broken as error:
            self.note(str(error), bad=True)
        return None

    async def change(self, changes: Mapping[KeyPath, object], about: object = None) -> bool:
        """Change values in the open robot's files, as yet unsaved."""
        if self.draft is None or not self._allowed():
            return False
        self._moves.clear()
        self._previewing.drop()
        try:
            texts = await self.bench.quick.run(edit, self.draft.source, tuple(changes.items()))
        except BadInput as error:
            self.note(sentences(error.problems[:3]), bad=True)
            return False
        except Broken as error:
            self.note(str(error), bad=True)
            return False
        self.put_texts(dict(texts), about)
        return True

    def put_texts(self, texts: Mapping[Path, str], about: object = None) -> None:
        """Put other texts in place of the open file's, as yet unsaved, and have them judged."""
        if self.draft is not None and self._allowed() and self.draft.change(texts, about):
            self.refresh_state()
            self.judge()

    def move(self, path: KeyPath, value: str) -> None:
        """Move one number, to see at once what that does; `change` makes it stay."""
        if self.draft is not None and self._allowed():
            self._moves[path] = value
            self._previewing.ask((self.draft.source, tuple(self._moves.items())))

    def warm(self, path: KeyPath, value: str) -> None:
        """Get ready for a number that is likely to be moved next."""
        if self.draft is not None and self.may_change:
            self.later(self._warmed(self.draft.source, path, value))

    async def _warmed(self, source: Source, path: KeyPath, value: str) -> None:
        with contextlib.suppress(BadInput, Broken):
            await self.bench.previewed(source, ((path, value),), self.liking.units)

    def judge(self) -> None:
        """Have the open robot judged again."""
        if self.draft is not None:
            self._judging.ask(self.draft.source)

    def _allowed(self) -> bool:
        if not self.may_change:
            self.note("You are a visitor here: you can look at everything, and change nothing.", bad=True)
        return self.may_change

    def leave(self) -> None:
        """Forget the view's handlers."""
        for handler in self._on_leave:
            handler()
        for listeners in (self._on_judged, self._on_preview, self._on_leave):
            listeners.clear()
        self._handlers.clear()
        self._moves.clear()

    def refresh_state(self) -> None:
        """Show anew whether there is something to save, to undo, to redo."""
        draft = self.draft
        unsaved = bool(draft and draft.changed)
        self.call("keeps", unsaved)
        state = {"unsaved": unsaved, "undo": bool(draft and draft.can_undo), "redo": bool(draft and draft.can_redo)}
        words = "" if draft is None else "unsaved changes" if unsaved else "saved"
        self.put("fw-state", words if self.may_change else "visitor: read-only" if draft else "")
        self.call("mark", "fw-state", {"data-unsaved": "yes" if unsaved else "no"})
        for button, on in (("fw-save", state["unsaved"]), ("fw-undo", state["undo"]), ("fw-redo", state["redo"])):
            self.call("mark", button, {"aria-disabled": None if on and self.may_change else "true"})

    async def disk_moved(self) -> None:
        """Show what the disk has now; ask, where this window has changes of its own."""
        if self.draft is None or not self.draft.elsewhere():
            return
        if self.draft.changed:
            theirs = self.draft.elsewhere()
            if theirs != self._asked:  # who has put the answer off is not asked the same again until they save
                self.ask_which(theirs)
            return
        self.draft.take_theirs()
        self.draft.forget_steps()
        self.refresh_state()
        self.note(f"{self.draft.file.name} was saved elsewhere; this window shows it as it is now.")
        self.judge()

    def ask_which(self, theirs: Mapping[Path, str | None]) -> None:
        """Show both texts and let the person choose."""
        from fieldworthy.web.conflict import shown_conflict  # noqa: PLC0415

        assert self.draft is not None
        self._asked = dict(theirs)
        self.put("fw-conflict", shown_conflict(self.draft, theirs))
        self.call("dialog", "fw-conflict", True)

    async def save(self, *, over: bool = False) -> bool:
        """Write what was changed; ask, where the disk has another text meanwhile."""
        if self.draft is None or not self._allowed():
            return False
        try:
            written = self.draft.save(over=over)
        except Conflict as conflict:
            self.ask_which(conflict.theirs)
            return False
        self.refresh_state()
        if written:
            names = " and ".join(path.name for path in written)
            self.note(f"Saved {names}.")
            await self.desk.tell_moved(set(written), but=self)
        return True

    async def _judge(self, source: Source) -> None:
        draft = self.draft
        try:
            if self.season_open:
                await self.bench.compute(season_form, source)
                self._tell_judged(draft, None, ())
                return
            found = await self.bench.judge(source, self.liking.units)
        except BadInput as error:
            self._tell_judged(draft, self.judged, error.problems)
        except Broken as error:
            self._tell_judged(draft, self.judged, (Problem(source.file, 1, 1, (), str(error)),))
        else:
            if draft is not None:
                draft.know(dict(found.texts))
            self._tell_judged(draft, found, ())

    def _tell_judged(self, draft: Draft | None, judged: Judged | None, problems: tuple[Problem, ...]) -> None:
        if draft is not self.draft or self.client.is_deleted:
            return
        before, self.judged, self.problems = self.judged, judged, problems
        self.previewed.clear()
        with self.client.content:
            for handler in tuple(self._on_judged):
                handler()
        self._say_changes(before)

    def _say_changes(self, before: Judged | None) -> None:
        """Tell a screen reader which verdicts are others now."""
        if self.problems:
            self.say(f"Mistakes in the file: {len(self.problems)}.")
            return
        if before is None or self.judged is None:
            return
        old = {(f.id, f.subject): f.verdict for f in before.report.findings}
        new = {(f.id, f.subject): f for f in self.judged.report.findings}
        turned = [f for key, f in new.items() if old.get(key, f.verdict) != f.verdict]
        if turned:
            self.say(" ".join(f"Now {f.verdict}: {f.because}" for f in turned[:3]))

    async def _preview(self, what: tuple[Source, tuple[tuple[KeyPath, str], ...]]) -> None:
        try:
            found = await self.bench.previewed(*what, self.liking.units)
        except BadInput as error:
            key = what[1][-1][0]
            self.call("mark", field_id(key), {"aria-invalid": "true"})
            self.put(f"{field_id(key)}-said", sentences(error.problems[:1]))
        except Broken as error:
            self.note(str(error), bad=True)
        else:
            for key, _ in what[1]:
                self.call("mark", field_id(key), {"aria-invalid": None})
            for handler in tuple(self._on_preview):
                handler(found)
        self.call("moved")
