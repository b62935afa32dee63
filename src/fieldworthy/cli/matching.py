"""Prints what a match is forecast to be, for a person or as JSON."""

from __future__ import annotations

import dataclasses
import json
import sys
from dataclasses import dataclass
from pathlib import Path

import typer
from rich.console import Console
from rich.progress import Progress
from rich.table import Table
from rich.text import Text

from fieldworthy.api import Robot, load
from fieldworthy.cli.lines import print_line as _line
from fieldworthy.decide.sensitivity import Influence, sensitivity
from fieldworthy.engine.display import Shown
from fieldworthy.engine.output import as_data
from fieldworthy.files.problems import nearest
from fieldworthy.files.writing import spare, write_atomically
from fieldworthy.match import PARTS, WHY, Event, Forecast, Part, Timeline
from fieldworthy.match.timeline import as_csv
from fieldworthy.match.uncertainty import EACH
from fieldworthy.robot import Loaded
from fieldworthy.units import digits

_LIMITS = {
    "luck": "a try failed",
    "time": "time ran out",
    "air": "too little air",
    "heat": "motors cut back by heat",
    "objects": "nothing on board, or none left to take",
    "battery": "battery empty",
    "load": "motors too weak",
    "full": "the season counted no more of a task",
    "unable": "its mechanism cannot do it",
}


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of a forecast.

    Attributes
    ----------
    runs, seed : How many matches are played, and what fixes them
    part : Which part of the match
    sensitivity : Whether to find the inputs that move the points most
    """

    runs: int
    seed: int
    part: str
    sensitivity: bool = False


def run_match(file: Path, asked: Asked, *, as_json: bool, table: Path | None) -> bool:
    """Forecast one robot's match and print it."""
    chosen = _part(asked.part)
    robot = load(file)
    loaded = robot.loaded
    if table is not None:
        spare(table, loaded.texts)
    found = _played(robot, asked.runs, asked.seed, chosen)
    influences = _influences(loaded, asked, chosen) if asked.sensitivity and not found.interrupted else None
    if table is not None:
        write_atomically(table, as_csv(found.timeline))
    if as_json:
        more = {} if influences is None else {"sensitivity": [dataclasses.asdict(i) for i in influences]}
        sys.stdout.write(json.dumps(as_data(found) | more, indent=2, ensure_ascii=False, allow_nan=False) + "\n")
    else:
        console = Console(highlight=False, markup=False, soft_wrap=True)
        print_forecast(console, found, Shown.of(loaded.quantities))
        if influences is not None:
            _print_influences(console, influences)
    if found.interrupted:
        sys.stderr.write(f"interrupted after {found.runs} of {found.asked} runs\n")
    return not found.interrupted


def _influences(loaded: Loaded, asked: Asked, part: Part) -> tuple[Influence, ...]:
    if not sys.stderr.isatty():
        return sensitivity(loaded, asked.runs, asked.seed, part)
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Moving each input", total=None)

        def tell(done: int, total: int) -> None:
            """Move the bar on."""
            bar.update(task, completed=done, total=total)

        return sensitivity(loaded, asked.runs, asked.seed, part, progress=tell)


def _print_influences(console: Console, influences: tuple[Influence, ...]) -> None:
    console.print(Text("\nWhat moves the points most, one at a time", style="bold"))
    if not influences:
        console.print("No input moves them within what is believed of it.")
    for i in influences:
        low, high = (digits(end) for end in i.interval)
        console.print(
            f"{i.points:+.1f} points ({low} to {high}) from {i.low} to {i.high}: {i.key} ({i.basis}); {i.advice}"
        )


def _part(name: str) -> Part:
    for part in PARTS:
        if part == name:
            return part
    near = nearest(name, PARTS)
    hint = f"; did you mean {near!r}?" if near else ""
    raise typer.BadParameter(f"expected one of {', '.join(PARTS)}{hint}", param_hint="'--part'")


def _played(robot: Robot, runs: int, seed: int, part: Part) -> Forecast:
    if not sys.stderr.isatty():
        return robot.match(runs, seed, part).data
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Playing matches (the first time here it compiles for half a minute)", total=runs)
        return robot.match(runs, seed, part, lambda done: bar.update(task, completed=done)).data


def print_forecast(console: Console, found: Forecast, shown: Shown) -> None:
    """Print a forecast for a person."""
    part = "" if found.part == "whole" else f", {found.part} only"
    console.print(Text(f"{found.robot} in {found.season}{part}", style="bold"))
    console.print("\nOne match in which every try works in its mean time:\n")
    _print_timeline(console, found.timeline, shown)
    console.print(f"\n{found.timeline.points:g} points if everything goes to plan.")
    if found.runs:
        _print_spread(console, found)
    bare = [a.action for a in found.actions if not a.practised and a.action not in found.unbuilt]
    if bare:
        console.print(f"\nWithout practice counts, taken to work every time: {', '.join(bare)}")


def _print_timeline(console: Console, timeline: Timeline, shown: Shown) -> None:
    tanks = list(timeline.events[0].pressure) if timeline.events else []
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for head in ("from", "to"):
        table.add_column(head, justify="right")
    for head in ("action", "place"):
        table.add_column(head)
    table.add_column("points", justify="right")
    for head in [*(f"{t} [{shown.units['pressure']}]" for t in tanks), "hottest motor", "battery"]:
        table.add_column(head, justify="right")
    table.add_column("why not")
    for event in timeline.events:
        table.add_row(*_cells(event, tanks, timeline.capacity, shown))
    if console.is_terminal:
        console.print(table)
        return
    # in a file or a pipe a row stays one line, however long
    wide = Console(file=console.file, width=400, highlight=False, markup=False)
    with wide.capture() as caught:
        wide.print(table)
    console.file.write("\n".join(line.rstrip() for line in caught.get().splitlines()) + "\n")


def _cells(event: Event, tanks: list[str], capacity: float, shown: Shown) -> list[str]:
    left = max(1.0 - event.charge / capacity, 0.0)
    return [
        f"{event.begins:.1f} s",
        f"{event.ends:.1f} s",
        event.action,
        event.place,
        f"{event.points:g}" if event.points else "",
        *(digits(shown.plain(event.pressure[t], "pressure") or 0.0) for t in tanks),
        f"{event.hottest_motor} {shown.number(event.hottest, 'temperature')}",
        f"{100 * left:.0f} %",
        WHY[event.reason],
    ]


def _because(found: Forecast) -> str:
    """What the doubt about the mean comes from."""
    if not found.because:
        return ""
    listed = ", ".join(f"{_source(s.key)} ({100 * s.share:.0f} %)" for s in found.because)
    return f"; the doubt comes mostly from {listed}"


def _source(key: str) -> str:
    """A key in words: practice counts by their action."""
    action = key.removeprefix("actions.").removesuffix(".practice")
    return f"how often '{action}' works" if key.endswith(".practice") else key


def _print_spread(console: Console, found: Forecast) -> None:
    console.print(
        Text(
            f"\n{found.runs} matches, each robot within the tolerances {EACH} of them (seed {found.seed})", style="bold"
        )
    )
    if found.mean is not None:
        early = f", {found.autonomous:.1f} of them in the autonomous period" if found.part == "whole" else ""
        console.print(f"{found.mean:.1f} points are to be expected{early}.")
    if found.known is not None:
        low, high = found.known.interval
        _line(console, "", f"That mean is known to {low:.0f} to {high:.0f} (95 %), however many matches are played"
              f"{_because(found)}.")  # fmt: skip
        console.print(f"Luck alone spreads single matches by {found.known.within:.0f} points (standard deviation).")
    listed = ", ".join(f"{share} at most {points:g}" for share, points in found.quantiles.items())
    console.print(f"Of the matches: {listed}")
    for one in found.contradictions:
        _line(console, "? ", one.sentence)
    if found.unbuilt:
        _line(
            console,
            "? ",
            f"Not built and never practised, so any chance is taken as likely: {', '.join(found.unbuilt)}.",
        )
    for step in found.finish:
        low, high = step.interval
        console.print(
            f"Finish, {step.action} at {step.place}: done in {100 * step.chance:.1f} % "
            f"({100 * low:.1f} to {100 * high:.1f} %)"
        )
    if found.limits:
        console.print(Text("\nWhat limited them, and in how many", style="bold"))
    for limit in found.limits:
        console.print(
            f"{100 * limit.share:5.1f} %  {_LIMITS[limit.reason]} "
            f"({limit.mean:.2f} actions in a match, most often '{limit.worst}')"
        )
