"""Prints which fault to mend first, for a person or as JSON."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from rich.console import Console
from rich.text import Text

from fieldworthy.decide.faults import FixFirst, fix_first
from fieldworthy.engine.output import as_data
from fieldworthy.measure.faultlog import load_faults
from fieldworthy.robot import load_robot


def run_faults(robot: Path, log: Path, runs: int, seed: int, *, as_json: bool) -> None:
    """Rank the faults of a log and print them."""
    loaded = load_robot(robot)
    found = fix_first(loaded, load_faults(log, loaded), runs, seed)
    if as_json:
        sys.stdout.write(json.dumps(as_data(found), indent=2, ensure_ascii=False, allow_nan=False) + "\n")
    else:
        print_fixes(Console(highlight=False, markup=False, soft_wrap=True), found)


def print_fixes(console: Console, found: FixFirst) -> None:
    """Print a ranking for a person."""
    console.print(Text(f"{found.robot}: fix first", style="bold"))
    console.print(f"{found.points:.1f} points a match with these faults, over {found.runs} matches\n")
    if not found.fixes:
        console.print("The log holds no fault.")
        return
    for place, fix in enumerate(found.fixes, 1):
        console.print(f"{place:2}. {fix.because}")
        risk = fix.risk
        if fix.points is not None and risk.interval is not None and fix.interval is not None:
            low, high = (100 * end for end in risk.interval)
            console.print(
                Text(
                    f"    fails {low:.0f} to {high:.0f} % of uses (95 %); "
                    f"{fix.interval[0]:.1f} to {fix.interval[1]:.1f} points at that chance",
                    style="dim",
                )
            )
    console.print(f"\n{found.note}")
