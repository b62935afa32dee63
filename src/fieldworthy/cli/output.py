"""How commands print: JSON, lines that keep their shape, verdicts with their sign, how far a long run is."""

from __future__ import annotations

import contextlib
import json
import re
import sys
import textwrap
import time
from collections.abc import Callable, Iterator
from typing import Any, TypeAlias

from rich.console import Console
from rich.progress import Progress
from rich.text import Text

Tell: TypeAlias = Callable[..., None]
"""Told how much is done, and how much there is where that is found on the way."""
PATIENCE = 1.0  # s without a sign of life
VERDICT_SIGNS = {
    "short": ("✗ short   ", "bold red"),
    "close": ("≈ close   ", "yellow"),
    "unknown": ("? unknown ", "cyan"),
    "holds": ("✓ holds   ", "green"),
}
"""How a verdict begins its line, and in which style."""


def plain_console() -> Console:
    """A console that prints texts as they are, one line each."""
    return Console(highlight=False, markup=False, soft_wrap=True)


def print_json(data: Any) -> None:
    """Print results for another program."""
    sys.stdout.write(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n")


COLUMNS = 80
"""Width of a page of text that goes into a file or a pipe."""
_AMOUNT = re.compile(r"(?<=\d) (?=[^\W\d]|[%°µΩ])")


def wrapped(text: str, width: int) -> list[str]:
    """Break a text into lines, never between a number and its unit."""
    lines = textwrap.wrap(_AMOUNT.sub("\N{NO-BREAK SPACE}", text), max(width, 30), break_on_hyphens=False) or [""]
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def print_line(console: Console, head: str, text: str, style: str = "", head_style: str = "") -> None:
    """Print a line with its continuation under its text; whole where it goes into a file or a pipe."""
    print_lines(console, head, wrapped(text, console.width - len(head) if console.is_terminal else sys.maxsize), style,
                head_style)  # fmt: skip


def print_lines(console: Console, head: str, lines: list[str], style: str = "", head_style: str = "") -> None:
    """Print lines that are broken already, each under the text of the first."""
    first, *rest = lines
    console.print(Text.assemble((head, head_style), (first, style)))
    for more in rest:
        console.print(Text(" " * len(head) + more, style=style))


@contextlib.contextmanager
def progress_bar(words: str, total: float | None = None, after: float = 0.0) -> Iterator[Tell | None]:
    """Show on a terminal how far a run is, once it has taken some seconds; nobody is told where there is none."""
    if not sys.stderr.isatty():
        yield None
        return
    began = time.monotonic()
    bar = Progress(console=Console(stderr=True), transient=True)
    task = bar.add_task(words, total=total)

    def tell(done: float, of: float | None = None, words: str | None = None) -> None:
        """Move the bar on, with other words where there are some; show it once there is something to wait for."""
        bar.update(task, completed=done, total=of, description=words)
        if time.monotonic() - began >= after:
            bar.start()

    try:
        if not after:
            bar.start()
        yield tell
    finally:
        bar.stop()
