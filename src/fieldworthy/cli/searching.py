"""Searches for the best robot and the best plan, and prints what was found."""

from __future__ import annotations

from pathlib import Path

from rich.text import Text

from fieldworthy.cli.output import plain_console
from fieldworthy.decide.search.space import what_varies
from fieldworthy.robot import load_robot


def list_varying(robot: Path, part: str = "") -> None:
    """Print what can vary on a robot, with its range where none is stated."""
    console = plain_console()
    head = ""
    for one in what_varies(load_robot(robot)):
        if part and not one.key.startswith(part):
            continue
        top = str(one.paths[0][0])
        if top != head:
            console.print(Text(f"\n{top}" if head else top, style="bold"))
            head = top
        together = f"  (with {len(one.paths) - 1} more)" if len(one.paths) > 1 else ""
        console.print(f"  {one.key}: {one.text(one.now)} now; {one.range_text()}{together}")
