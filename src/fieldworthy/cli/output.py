"""How commands print: JSON and its schemas, lines that keep their shape, verdicts with their sign, how far a run is."""

from __future__ import annotations

import contextlib
import json
import re
import sys
import textwrap
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeAlias

from rich.console import Console
from rich.progress import Progress
from rich.text import Text

from fieldworthy.decide.compare import Comparison
from fieldworthy.decide.faults import FixFirst
from fieldworthy.decide.remedy import with_remedies
from fieldworthy.decide.search import Found
from fieldworthy.decide.search.wanted import SearchFile
from fieldworthy.decide.sensitivity import with_sensitivity
from fieldworthy.decide.work import with_work
from fieldworthy.engine.finding import Report, json_schema
from fieldworthy.files import BadInput, Problem, schema_of
from fieldworthy.files.document import nearest
from fieldworthy.match import Forecast
from fieldworthy.measure.fit import FitReport
from fieldworthy.measure.model import FaultLog, Measurements
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season

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


def _of_file(declared: type, name: str) -> Callable[[], dict[str, Any]]:
    def described() -> dict[str, Any]:
        """The schema under its title."""
        schema = schema_of(declared).model_json_schema()
        return {
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            **schema,
            "title": f"fieldworthy {name} file",
        }

    return described


def _export() -> dict[str, Any]:
    from fieldworthy.report.export import Export  # noqa: PLC0415

    return json_schema(Export)


SCHEMAS: dict[str, Callable[[], dict[str, Any]]] = {
    "robot": _of_file(Robot, "robot"),
    "season": _of_file(Season, "season"),
    "measurements": _of_file(Measurements, "measurements"),
    "faultlog": _of_file(FaultLog, "faults"),
    "check": lambda: with_remedies(json_schema(Report)),
    "match": lambda: with_work(with_sensitivity(json_schema(Forecast))),
    "compare": lambda: json_schema(Comparison),
    "search": lambda: json_schema(Found),
    "searchfile": _of_file(SearchFile, "search"),
    "fit": lambda: json_schema(FitReport),
    "faults": lambda: json_schema(FixFirst),
    "export": _export,
}


def print_schema(what: str) -> None:
    """Print one schema."""
    if what not in SCHEMAS:
        raise BadInput(
            [Problem(Path("schema"), 1, 1, (), f"expected one of {', '.join(SCHEMAS)}", nearest(what, SCHEMAS))]
        )
    sys.stdout.write(json.dumps(SCHEMAS[what](), indent=2, ensure_ascii=False) + "\n")
