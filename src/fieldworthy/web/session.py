"""One robot or season as it stands in one window: its texts, what was changed, and what the disk has meanwhile."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from fieldworthy.files.document import read_text
from fieldworthy.files.problems import BadInput
from fieldworthy.files.writing import written
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
    def can_undo(self) -> bool:
        """Whether there is something to undo."""
        return bool(self._past)

    @property
    def can_redo(self) -> bool:
        """Whether something was undone."""
        return bool(self._future)

    def know(self, texts: Texts) -> None:
        """Take in the texts of the files that this one names, as they were read for it."""
        for path, text in texts.items():
            if path not in self.texts:
                self.texts[path] = text
                self.saved[path] = text
                for state in (*self._past, *self._future):
                    state.setdefault(path, text)

    def change(self, texts: Texts, about: object = None) -> bool:
        """Put other texts in place; can be undone."""
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

    def save(self, *, over: bool = False) -> tuple[Path, ...]:
        """Write what was changed."""
        changed = self.changed
        theirs = {path: text for path, text in self.elsewhere().items() if path in changed}
        ours_already = {path for path, text in theirs.items() if text == self.texts[path]}
        if not over and set(theirs) - ours_already:
            raise Conflict(theirs)
        texts = {path: self.texts[path] for path in changed}
        written(texts, copy_dated=None)
        self.saved |= texts
        self._about = None
        return changed

    def take_theirs(self) -> None:
        """Give up what stands here for what the disk has; can be undone."""
        theirs = {path: text for path, text in self.elsewhere().items() if text is not None}
        self.change({path: theirs.get(path, text) for path, text in self.saved.items()})
        self.saved |= theirs


def _on_disk(path: Path) -> str | None:
    try:
        return read_text(path)
    except BadInput:
        return None
