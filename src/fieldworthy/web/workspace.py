"""What the windows of a server share: the folder, its files as drafts in tabs, what the browser uploads."""

from __future__ import annotations

import asyncio
import contextlib
import inspect
import re
import secrets
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path, PurePath
from typing import Protocol

from fastapi import FastAPI, Request
from fastapi.responses import PlainTextResponse

from fieldworthy.files.document import LARGEST, BadInput, read_text
from fieldworthy.files.writing import Changed, Clash, Moment, as_of, dated_copies, fingerprint, merged, written
from fieldworthy.web.folder import Folder
from fieldworthy.web.jobs import JobQueue
from fieldworthy.web.judging import Source, texts_of

_STEPS = 300  # changes that can be undone
Texts = Mapping[Path, str]


class Conflict(Exception):
    """The disk has another text than the one that was opened; nothing was written.

    Attributes
    ----------
    theirs : What the disk has, by file; None where the file is gone
    """

    def __init__(self, theirs: dict[Path, str | None]) -> None:
        super().__init__(f"{', '.join(path.name for path in theirs)} changed meanwhile")
        self.theirs = theirs


@dataclass(slots=True)
class Draft:
    """The texts of one file and of those that it names, in one window.

    Attributes
    ----------
    file : The robot or season file
    saved : The texts as they were read from the disk, or last written to it
    texts : The texts now
    """

    file: Path
    saved: dict[Path, str]
    texts: dict[Path, str]
    _past: list[dict[Path, str]] = field(default_factory=list)
    _future: list[dict[Path, str]] = field(default_factory=list)
    _about: object = None

    @classmethod
    def read(cls, file: Path) -> Draft:
        """Open a file."""
        texts = {file: read_text(file)}
        return cls(file, dict(texts), dict(texts))

    @property
    def text(self) -> str:
        """The text of the file itself."""
        return self.texts[self.file]

    @property
    def source(self) -> Source:
        """The texts, frozen."""
        return Source(self.file, texts_of(self.texts))

    @property
    def changed(self) -> tuple[Path, ...]:
        """The files whose text is not saved."""
        return tuple(path for path, text in self.texts.items() if self.saved.get(path) != text)

    @property
    def steps(self) -> tuple[int, int]:
        """How many changes can be undone, and how many made again."""
        return len(self._past), len(self._future)

    def know(self, texts: Texts) -> None:
        """Take in the texts of the files that this one names, as they were read for it."""
        for path, text in texts.items():
            if path not in self.texts:
                self.texts[path] = text
                self.saved[path] = text
                for state in (*self._past, *self._future):
                    state.setdefault(path, text)

    def change(self, texts: Texts, about: object = None) -> bool:
        """Put other texts in place; can be undone. A file that is new here is taken in as the disk has it."""
        self.know({path: read_text(path) for path in texts if path not in self.texts and path.exists()})
        after = self.texts | dict(texts)
        if after == self.texts:
            return False
        if about is None or about != self._about or not self._past:
            self._past.append(self.texts)
            del self._past[:-_STEPS]
        self._about = about
        self._future.clear()
        self.texts = after
        return True

    def undo(self) -> bool:
        """Go back one change."""
        return self._step(self._past, self._future)

    def redo(self) -> bool:
        """Make a change again that was undone."""
        return self._step(self._future, self._past)

    def _step(self, here: list[dict[Path, str]], there: list[dict[Path, str]]) -> bool:
        if not here:
            return False
        there.append(self.texts)
        self.texts = here.pop()
        self._about = None
        return True

    def forget_steps(self) -> None:
        """Leave nothing to undo, as after a change that was not made here."""
        self._past.clear()
        self._future.clear()
        self._about = None

    def elsewhere(self) -> dict[Path, str | None]:
        """Find what the disk has that was not there when this was opened or saved."""
        found: dict[Path, str | None] = {}
        for path, text in self.saved.items():
            now = _on_disk(path)
            if now != text:
                found[path] = now
        return found

    def save(self, *, over: bool = False, keep: date | None = None) -> tuple[Path, ...]:
        """Write what was changed; the first save of the day ``keep`` keeps what stood there as a dated copy."""
        changed = self.changed
        theirs = {path: text for path, text in self.elsewhere().items() if path in changed}
        ours_already = {path for path, text in theirs.items() if text == self.texts[path]}
        if not over and set(theirs) - ours_already:
            raise Conflict(theirs)
        texts = {path: self.texts[path] for path in changed}
        seen = {} if over else {p: fingerprint(texts[p] if p in ours_already else self.saved[p]) for p in changed}
        try:
            kept = keep is not None and any(day == keep.isoformat() for p in changed for day, _ in dated_copies(p))
            written(texts, copy_dated=None if kept else keep, expect=seen)
        except Changed as error:  # another program saved since the look at the disk
            raise Conflict(self.elsewhere()) from error
        self.saved |= texts
        self._about = None
        return changed

    def bring_together(self, theirs: Mapping[Path, str | None], *, prefer_mine: bool = True) -> None:
        """Put what the disk has and what was changed here into one text, as yet unsaved; the steps of undo as well.

        Theirs where both changed the same lines is a step of its own, which can be undone.
        """
        there = {path: text for path, text in theirs.items() if text is not None}
        base, here = dict(self.saved), dict(self.texts)

        def both(state: dict[Path, str]) -> dict[Path, str]:
            return state | {path: merged(base[path], state[path], text)[0] for path, text in there.items()}

        self.texts = both(self.texts)
        self._past[:] = [both(state) for state in self._past]
        self._future[:] = [both(state) for state in self._future]
        self.saved |= there
        self._about = None
        if not prefer_mine:
            self.change({path: merged(base[path], here[path], text, prefer_mine=False)[0]
                         for path, text in there.items()})  # fmt: skip

    def take_theirs(self) -> None:
        """Give up what stands here for what the disk has; can be undone."""
        theirs = {path: text for path, text in self.elsewhere().items() if text is not None}
        self.change({path: theirs.get(path, text) for path, text in self.saved.items()})
        self.saved |= theirs


def clashes(draft: Draft, theirs: Mapping[Path, str | None]) -> dict[Path, tuple[Clash, ...]]:
    """Find the lines that were changed here and on the disk; none for a file that is gone as a whole."""
    found: dict[Path, tuple[Clash, ...]] = {}
    for path, text in theirs.items():
        here, base = draft.texts[path], draft.saved[path]
        if text is None or here in (base, text):
            continue
        found |= {path: both} if (both := merged(base, here, text)[1]) else {}
    return found


def unsaved(draft: Draft, folder: Folder) -> dict[str, tuple[str, str]]:
    """What is not saved, by the file's name: the text that it changes, and the new one."""
    return {folder.name(p): (draft.saved[p], draft.texts[p]) for p in draft.changed if p in draft.saved}


def as_saved(draft: Draft) -> Source:
    """The texts as they were saved last, frozen."""
    return Source(draft.file, texts_of(draft.saved))


def as_saved_until(draft: Draft, moment: Moment) -> Source:
    """The texts that the files had until a save whose dated copies are kept, frozen."""
    found = as_of(draft.saved, moment)
    return Source(draft.file, texts_of({file: read_text(path) for file, path in found.items()}))


def moments(draft: Draft) -> tuple[Moment, ...]:
    """The saves whose dated copies are kept, the latest first."""
    return tuple(sorted({at for file in draft.saved for at in dated_copies(file)}, reverse=True))


def _on_disk(path: Path) -> str | None:
    try:
        return read_text(path)
    except BadInput:
        return None


Take = Callable[[str, bytes], "str | Awaitable[str]"]
"""Given name and content; answers with a sentence, or raises BadInput."""
_TICKETS = 500


@dataclass(frozen=True, slots=True)
class Ticket:
    """What one upload field may bring.

    Attributes
    ----------
    suffixes : Ends of file names, with the dot
    take : Takes the file
    most : Bytes
    """

    suffixes: tuple[str, ...]
    take: Take
    most: int = LARGEST


class Uploads:
    """Takes files for the windows."""

    def __init__(self, api: FastAPI) -> None:
        self._tickets: OrderedDict[str, Ticket] = OrderedDict()
        api.add_api_route("/upload/{ticket}", self._take, methods=["POST"], include_in_schema=False)

    def ticket(self, ticket: Ticket) -> str:
        """Give a field what it needs to send a file."""
        name = secrets.token_urlsafe(18)
        self._tickets[name] = ticket
        while len(self._tickets) > _TICKETS:
            self._tickets.popitem(last=False)
        return name

    async def _take(self, ticket: str, request: Request) -> PlainTextResponse:
        known = self._tickets.get(ticket)
        if known is None:
            return PlainTextResponse("This field is not open any more. Reload the page.", 404)
        name = request.query_params.get("name", "")
        if not is_plain_name(name, known.suffixes):
            return PlainTextResponse(f"Expected a file that ends in {' or '.join(known.suffixes)}.", 415)
        content = await request.body()
        if len(content) > known.most:
            return PlainTextResponse(f"Expected a file of at most {known.most / 1e6:g} MB.", 413)
        try:
            told = known.take(name, content)
            return PlainTextResponse(await told if inspect.isawaitable(told) else told)
        except BadInput as error:
            lines = [f"line {p.line}: {p.expected}" if p.line > 1 else p.expected for p in error.problems[:5]]
            return PlainTextResponse("; ".join(lines)[:1500] + ".", 422)


def is_plain_name(name: str, suffixes: tuple[str, ...]) -> bool:
    """Tell whether a file's name is one, and ends as it must."""
    plain = re.fullmatch(r"[^\\/:*?\"<>|\x00-\x1f\x7f]{1,100}", name) is not None and not name.startswith(".")
    return plain and PurePath(name).suffix.lower() in suffixes


_TABS = 200  # windows whose drafts are remembered
_LOOK = 1.5  # s between two looks at the disk


class Window(Protocol):
    """What the workspace needs to know of a window."""

    draft: Draft | None

    async def disk_moved(self) -> None:
        """Take note that a file has another text on the disk."""


@dataclass(slots=True)
class Tab:
    """What one browser tab has open; it outlives a reload.

    Attributes
    ----------
    drafts : Draft by name of the file
    notes : What views remember of themselves, by a key of their own
    """

    drafts: dict[str, Draft] = field(default_factory=dict)
    notes: dict[str, object] = field(default_factory=dict)


class Workspace:
    """The folder, its windows and the work behind them."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self.queue = JobQueue()
        self.uploads: Uploads
        self.windows: set[Window] = set()
        self.stands = asyncio.Event()  # set once a first window has been shown
        self._tabs: OrderedDict[str, Tab] = OrderedDict()

    def tab(self, key: str) -> Tab:
        """Find what a browser tab has open."""
        tab = self._tabs.setdefault(key, Tab())
        self._tabs.move_to_end(key)
        while len(self._tabs) > _TABS:
            self._tabs.popitem(last=False)
        return tab

    def draft(self, tab: Tab, name: str) -> Draft:
        """Find a file as it stands in a tab, or open it."""
        path = self.folder.path(name)
        if name not in tab.drafts:
            tab.drafts[name] = Draft.read(path)
        return tab.drafts[name]

    def take_up(self, tab: Tab, kept: object) -> tuple[str, ...]:
        """Open again what a window had open and not saved when its server was lost, as its browser kept it."""
        taken = []
        for name, files in kept.items() if isinstance(kept, dict) else ():
            if name in tab.drafts or not isinstance(files, dict):
                continue
            with contextlib.suppress(BadInput, ValueError, TypeError):
                draft = Draft.read(self.folder.path(str(name)))
                texts: dict[Path, str] = {}
                for inner, (base, text) in files.items():
                    path = self.folder.path(str(inner))
                    if path.suffix.lower() not in _KEPT or not _is_text(base) or not _is_text(text):
                        raise ValueError(inner)
                    draft.saved[path] = draft.texts[path] = base
                    texts[path] = text
                if draft.change(texts):
                    tab.drafts[str(name)] = draft
                    taken.append(str(name))
        return tuple(taken)

    async def watch(self) -> None:
        """Look at the disk again and again, and tell the windows whose files have another text."""
        seen: dict[Path, tuple[int, int]] = {}
        while True:
            await asyncio.sleep(_LOOK)
            drafts = [window.draft for window in self.windows if window.draft]
            now = {path: _stamp(path) for draft in drafts for path in draft.saved}
            moved = {path for path in now if path in seen and seen[path] != now[path]}
            # at the first look at a file its text is compared: it may have changed since it was opened
            moved |= {path for draft in drafts if draft.saved.keys() - seen for path in draft.elsewhere().keys() - seen}
            seen = now
            if moved:
                await self.tell_moved(moved)

    async def tell_moved(self, files: set[Path], but: Window | None = None) -> None:
        """Tell windows that files have another text on the disk."""
        for window in tuple(self.windows):
            if window is not but and window.draft is not None and files & set(window.draft.saved):
                await window.disk_moved()


_KEPT = (".yaml", ".yml", ".csv")


def _is_text(said: object) -> bool:
    return isinstance(said, str) and len(said) <= LARGEST


def _stamp(path: Path) -> tuple[int, int]:
    try:
        found = path.stat()
    except OSError:
        return 0, 0
    return found.st_mtime_ns, found.st_size
