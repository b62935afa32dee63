"""Keyed rows of a list: only those that are new or different are sent to the browser."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from fieldworthy.web.markup import Markup

if TYPE_CHECKING:
    from fieldworthy.web.page import Page


class Rows:
    """One list of a window."""

    def __init__(self, page: Page, place: str) -> None:
        self._page = page
        self._place = place
        self._sent: dict[str, Markup] = {}

    def show(self, rows: Mapping[str, Markup]) -> tuple[str, ...]:
        """Show rows in this order, and no others."""
        fresh = [(key, row) for key, row in rows.items() if self._sent.get(key) != row]
        if fresh or list(rows) != list(self._sent):
            self._page.call("rows", self._place, list(rows), fresh)
        self._sent = dict(rows)
        return tuple(key for key, _ in fresh)

    def spoil(self, keys: Iterable[str]) -> None:
        """Take note that single texts of rows were changed, so that these are sent whole the next time."""
        for key in keys:
            if key in self._sent:
                self._sent[key] = Markup("")
