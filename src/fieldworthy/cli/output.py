"""How commands print: JSON and its schemas, lines that keep their shape, verdicts with their sign, how far a run is."""

from __future__ import annotations

import contextlib
import json
import re
import sys
import textwrap
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any, TypeAlias

from rich.console import Console
from rich.text import Text

from fieldworthy.files.document import BadInput, Problem, nearest

Tell: TypeAlias = Callable[..., None]
"""Told how much is done, and how much there is where that is found on the way."""
PATIENCE = 1.0  # s without a sign of life
VERDICT_SIGNS = {
    "short": ("✗ short   ", "bold red"),
    "close": ("≈ close   ", "yellow"),
    "unknown": ("? not judged ", "cyan"),
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
    from rich.progress import Progress  # noqa: PLC0415  only a terminal has a bar

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


def _of_file(declared: type, name: str) -> dict[str, Any]:
    """The schema of a file under its title."""
    from fieldworthy.files import schema_of  # noqa: PLC0415

    schema = schema_of(declared).model_json_schema()
    kind = schema["properties"]["fieldworthy"]
    form = str(kind.get("const") or kind["enum"][0]).replace(" ", ":")
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": f"urn:fieldworthy:file:{form}"}
    return {**head, **schema, "title": f"fieldworthy {name} file"}


# a command that prints something else does not wait for what these describe


def _files(what: str) -> dict[str, Any]:
    """The schema of one of the files that a team writes."""
    from fieldworthy.decide.search.wanted import SearchFile  # noqa: PLC0415
    from fieldworthy.measure.model import FaultLog, Measurements  # noqa: PLC0415
    from fieldworthy.robot.model.robot import Robot  # noqa: PLC0415
    from fieldworthy.robot.model.season import Season  # noqa: PLC0415

    named = {"robot": Robot, "season": Season, "measurements": Measurements, "faults": FaultLog, "search": SearchFile}
    return _of_file(named[what], what)


def _check() -> dict[str, Any]:
    from fieldworthy.decide.together import with_remedies  # noqa: PLC0415
    from fieldworthy.engine.finding import Report, in_plain_words, json_schema  # noqa: PLC0415

    return in_plain_words(with_remedies(json_schema(Report)))


def _match() -> dict[str, Any]:
    from fieldworthy.decide.sensitivity import with_sensitivity  # noqa: PLC0415
    from fieldworthy.decide.work import with_work  # noqa: PLC0415
    from fieldworthy.engine.finding import in_plain_words, json_schema  # noqa: PLC0415
    from fieldworthy.match import Forecast  # noqa: PLC0415

    return in_plain_words(with_work(with_sensitivity(json_schema(Forecast))))


def _result(what: str) -> dict[str, Any]:
    """The schema of what another command finds."""
    from fieldworthy.decide.compare import Comparison  # noqa: PLC0415
    from fieldworthy.decide.faults import FixFirst  # noqa: PLC0415
    from fieldworthy.decide.search import Found  # noqa: PLC0415
    from fieldworthy.engine.finding import json_schema  # noqa: PLC0415
    from fieldworthy.measure.fit import FitReport  # noqa: PLC0415
    from fieldworthy.report.export import Export  # noqa: PLC0415

    named = {"compare": Comparison, "search": Found, "fit": FitReport, "faults": FixFirst, "export": Export}
    return json_schema(named[what])


SCHEMAS: dict[str, Callable[[], dict[str, Any]]] = {
    "robot": partial(_files, "robot"),
    "season": partial(_files, "season"),
    "measurements": partial(_files, "measurements"),
    "faultlog": partial(_files, "faults"),
    "check": _check,
    "match": _match,
    "compare": partial(_result, "compare"),
    "search": partial(_result, "search"),
    "searchfile": partial(_files, "search"),
    "fit": partial(_result, "fit"),
    "faults": partial(_result, "faults"),
    "export": partial(_result, "export"),
}


def print_schema(what: str) -> None:
    """Print one schema."""
    if what not in SCHEMAS:
        raise BadInput(
            [Problem(Path("schema"), 1, 1, (), f"expected one of {', '.join(SCHEMAS)}", nearest(what, SCHEMAS))]
        )
    sys.stdout.write(json.dumps(SCHEMAS[what](), indent=2, ensure_ascii=False) + "\n")
