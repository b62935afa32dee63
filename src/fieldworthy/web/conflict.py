"""The question that a person is asked when a file was saved elsewhere while it was being changed here."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from fieldworthy.web.markup import Markup, join, tag
from fieldworthy.web.session import Draft

_LINES = 200  # of a comparison


def shown_conflict(draft: Draft, theirs: Mapping[Path, str | None]) -> Markup:
    """Show what differs, and what can be done."""
    names = " and ".join(path.name for path in theirs)
    return join([
        tag("h2", f"{names} was saved elsewhere meanwhile", id="fw-conflict-title"),
        tag("p", "Nothing has been overwritten. Lines with − stand in the file now; lines with + stand only here."),
        [_difference(path, text, draft.texts.get(path, "")) for path, text in theirs.items()],
        tag(
            "div",
            tag("button", "Keep mine: write over the file", type="button", data_do="conflict", data_choice="mine"),
            tag("button", "Take the file's, give up mine", type="button", data_do="conflict", data_choice="theirs"),
            tag("button", "Decide later", type="button", data_do="conflict", data_choice="later", class_="main"),
            class_="choices",
        ),
    ])  # fmt: skip


def _difference(path: Path, theirs: str | None, mine: str) -> Markup:
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
