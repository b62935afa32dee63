"""Searches for the best robot and the best plan, and prints what was found."""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.text import Text

from fieldworthy.cli.output import plain_console, print_json, print_line, progress_bar
from fieldworthy.decide.search import Carried, Design, Found, How, Progress, search, write_variant
from fieldworthy.decide.search.space import what_varies
from fieldworthy.decide.search.wanted import from_options, read_search
from fieldworthy.engine.finding import as_data
from fieldworthy.files import BadInput, Document, Problem
from fieldworthy.files.document import KeyPath
from fieldworthy.robot import load_robot
from fieldworthy.units import counted, digits

_CLASHES = 8  # pairs that never hold together
_SHOWN = 6  # changes of a design that is not the best


@dataclass(frozen=True, slots=True)
class SearchOptions:
    """What is asked of a search on the command line.

    Attributes
    ----------
    vary, between, values, want, must : As given, several of each
    chance, keep, part : As a search file says them; None and true where not given
    how : Budget, seed, workers, state
    write : File to write the best design into
    """

    vary: Sequence[str] = ()
    between: Sequence[str] = ()
    values: Sequence[str] = ()
    want: Sequence[str] = ()
    must: Sequence[str] = ()
    chance: float | None = None
    keep: bool = True
    part: str = "whole"
    how: How = field(default_factory=How)
    write: Path | None = None


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


def run_search(robot: Path, file: Path | None, options: SearchOptions, *, as_json: bool) -> bool:
    """Search and print what was found; says whether it went to its end."""
    loaded = load_robot(robot)
    document = read_search(file) if file is not None else _document(options)
    if file is not None and (options.vary or options.between or options.values or options.want or options.must):
        raise BadInput([Problem(file, 1, 1, (), "expected either a search file or options that say what may vary")])
    if options.write is not None and options.write.exists():
        raise BadInput([Problem(options.write, 1, 1, (), "expected a file that is not there yet: it would be lost")])
    with _telling() as tell:
        found = search(loaded, document, options.how, tell)
    if options.write is not None and found.best is not None:
        write_variant(loaded, found.best, options.write)
    if as_json:
        print_json(as_data(found))
    else:
        print_found(plain_console(), found)
        if options.write is not None and found.best is not None:
            sys.stdout.write(f"\nWritten into {options.write}.\n")
    if not found.finished:
        sys.stderr.write(f"interrupted after {counted(found.candidates, 'candidate')}; this is the best so far\n")
    return found.finished


def _document(options: SearchOptions) -> Document:
    """The options as a search file would say them."""
    problems: list[Problem] = []
    vary: dict[str, dict[str, Any]] = {key.strip(): {"key": key.strip()} for key in options.vary}
    said = {key: f"--vary {key}" for key in vary}
    for name, texts in (("between", options.between), ("values", options.values)):
        for text in texts:
            key, equals, rest = text.partition("=")
            parts = [_plain(p) for p in (rest.split("..") if name == "between" else rest.split("|"))]
            if not equals or not key.strip() or (name == "between" and len(parts) != 2):
                example = "'drive.braking=0.4..1'" if name == "between" else "'drive.motors=4|6'"
                what = f"expected a key and its {'range' if name == 'between' else 'values'}, such as {example}"
                problems.append(Problem(Path(f"--{name}"), 0, 0, (), f"{what} (found {text!r})"))
                continue
            vary.setdefault(key.strip(), {"key": key.strip()})[name] = parts
            said[key.strip()] = f"--{name} {text}"
    if problems:
        raise BadInput(problems)
    data: dict[str, Any] = {"vary": list(vary.values()), "keep": options.keep, "part": options.part}
    if options.want:
        data["want"] = list(options.want)
    if options.must:
        data["must"] = list(options.must)
    if options.chance is not None:
        data["chance"] = options.chance
    places: dict[KeyPath, str] = {("vary",): "--vary", ("chance",): "--chance", ("part",): "--part"}
    places |= {("vary", i): said[key] for i, key in enumerate(vary)}
    for name, texts in (("want", options.want), ("must", options.must)):
        places |= {(name, i): f"--{name} {text}" for i, text in enumerate(texts)}
    return from_options(data, places)


def _plain(text: str) -> str | int:
    text = text.strip()
    return int(text) if text.isdigit() else text


@contextmanager
def _telling() -> Iterator[Any]:
    """Show on a terminal how far it is and how good the best is."""
    with progress_bar("Trying candidates (the first time here it compiles for about 15 s)", 1.0) as bar:
        yield None if bar is None else lambda progress: _told(bar, progress)


def _told(bar: Any, progress: Progress) -> None:
    best = "" if progress.worth is None else ", best so far " + ", ".join(digits(abs(w)) for w in progress.worth)
    left = f"about {digits(max(progress.left, 1.0), 2)} s left"
    bar(progress.share, words=f"{progress.candidates} candidates, {progress.matches} matches{best}, {left}")


def print_found(console: Console, found: Found) -> None:
    """Print what a search found for a person."""
    print_line(console, "", found.answer)
    if found.best is not None:
        _head(console, "What changes")
        _print_design(console, found.best)
    for carried in found.carried:
        if carried is found.carried[0] and len(found.carried) > 1:
            _head(console, "What each change is worth: the best design with this one left as it is")
        if len(found.carried) > 1:
            print_line(console, *_carried(carried))
    if found.alike:
        _head(console, "As good, as far as these matches tell")
    for design in found.alike:
        _print_short(console, design)
    for i, design in enumerate(found.front):
        _head(console, f"Design {i + 1}{', the knee' if i == found.knee else ''}")
        console.print("; ".join(f"{a.about} {digits(a.value)} {a.unit}".rstrip() for a in design.amounts))
        _print_design(console, design)
    for short in found.short:
        best = f", the nearest in all {digits(100 * short.best, 2)} %" if len(found.short) > 1 else ""
        lacks = f"the nearest candidate lacks {digits(100 * short.near, 2)} % of it{best} ({_WHY[short.why]})"
        print_line(console, "✗ ", f"{short.name}: {lacks}")
        if short.now and short is not found.short[0]:  # of the first the answer has said it
            console.print(f"  {short.now}")
    for clash in found.clashes[:_CLASHES]:
        print_line(console, "✗ ", clash.told)
    if len(found.clashes) > _CLASHES:
        console.print(f"  {len(found.clashes) - _CLASHES} more pairs never hold together.")
    many = f"{found.screened:,} of them break something"
    broken = many if found.screened > 1 else ("none breaks anything", "one breaks something")[found.screened]
    of = "" if found.possible is None else f" of {_counted(found.possible)} that there are"
    console.print(
        Text(
            f"\n{counted(found.candidates, 'candidate')}{of}, {broken}; "
            f"{counted(found.matches, 'match')}; "
            f"seed {found.seed}",
            style="dim",
        )
    )


def _counted(number: float) -> str:
    """A count as people write it; astronomic ones as a power of ten."""
    return f"{number:,.0f}" if number < 1e9 else f"about 10^{math.log10(number):.0f}"


_WHY = {"limit": "the season's limit", "must": "asked for", "keep": "it holds now", "safe": "no change may break it"}


def _head(console: Console, text: str) -> None:
    console.print(Text(f"\n{text}", style="bold"))


def _print_design(console: Console, design: Design) -> None:
    for sentence in design.sentences:
        print_line(console, "  ", sentence)
    for line in design.plan:
        print_line(console, "  ", line)
    for because in design.breaks:
        print_line(console, "✗ breaks  ", because, head_style="bold red")
    if design.mends:
        print_line(console, "✓ mends   ", ", ".join(design.mends), head_style="green")
    console.print(f"  About {digits(design.hours)} h of work, build times included.")


def _print_short(console: Console, design: Design) -> None:
    gain = "" if design.gain is None else f"{design.gain.points:.1f} points: "
    shown = " ".join(design.sentences[:_SHOWN])
    more = f" and {len(design.sentences) - _SHOWN} more changes" if len(design.sentences) > _SHOWN else ""
    print_line(console, "  ", f"{gain}{shown}{more}")


def _carried(carried: Carried) -> tuple[str, str]:
    """What a change is worth, or what it is needed for, and the change."""
    return "  ", f"{carried.sentence.removesuffix('.')}: {carried.told}."
