"""What all windows have in common: the folder, the work behind the page, and the drafts of every window."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from fieldworthy.web.bench import Bench
from fieldworthy.web.folder import Folder
from fieldworthy.web.session import Draft
from fieldworthy.web.uploads import Uploads

_TABS = 200  # windows whose drafts are remembered
_LOOK = 1.5  # s between two looks at the disk


class Window(Protocol):
    """What the desk needs to know of a window."""

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


class Desk:
    """The folder, its windows and the work behind them."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self.bench = Bench()
        self.uploads: Uploads
        self.windows: set[Window] = set()
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

    async def watch(self) -> None:
        """Look at the disk again and again, and tell the windows whose files have another text."""
        seen: dict[Path, tuple[int, int]] = {}
        while True:
            await asyncio.sleep(_LOOK)
            files = {path for window in self.windows if window.draft for path in window.draft.saved}
            now = {path: _stamp(path) for path in files}
            moved = {path for path in files if path in seen and seen[path] != now[path]}
            seen = now
            if moved:
                await self.tell_moved(moved)

    async def tell_moved(self, files: set[Path], but: Window | None = None) -> None:
        """Tell windows that files have another text on the disk."""
        for window in tuple(self.windows):
            if window is not but and window.draft is not None and files & set(window.draft.saved):
                await window.disk_moved()


def _stamp(path: Path) -> tuple[int, int]:
    try:
        found = path.stat()
    except OSError:
        return 0, 0
    return found.st_mtime_ns, found.st_size
