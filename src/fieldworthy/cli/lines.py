"""Prints lines that keep their shape on a narrow terminal."""

from __future__ import annotations

import sys
import textwrap

from rich.console import Console
from rich.text import Text


def print_line(console: Console, head: str, text: str, style: str = "", head_style: str = "") -> None:
    """Print a line with its continuation under its text; whole where it goes into a file or a pipe."""
    width = console.width - len(head) if console.is_terminal else sys.maxsize
    first, *rest = textwrap.wrap(text, max(width, 30)) or [""]
    console.print(Text.assemble((head, head_style), (first, style)))
    for more in rest:
        console.print(Text(" " * len(head) + more, style=style))
