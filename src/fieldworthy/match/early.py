"""A first answer from few matches while the compiler works: the same loop, interpreted in a process of its own."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldworthy.robot import Loaded

RUNS = 100
"""Matches of the first answer; interpreted they take a second."""
_LOADS = 0.7  # what was compiled before is loaded by then [s]


@contextmanager
def told_early(file: Path, part: str, seed: int, tell: Callable[[str], None]) -> Iterator[None]:
    """Tell a first answer while matches are played, where the loop has yet to be compiled."""
    done = threading.Event()

    def ask() -> None:
        """Ask the other process, and end it where the whole answer is there first."""
        if done.wait(_LOADS) or _ready():
            return
        command = [sys.executable, "-m", "fieldworthy.match.early", str(file), part, str(seed)]
        with subprocess.Popen(
            command,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            encoding="utf-8",
            env=os.environ | {"NUMBA_DISABLE_JIT": "1"},
        ) as process:
            while process.poll() is None and not done.wait(0.05):
                pass
            if process.poll() is None:
                process.kill()
                return
            said = "" if process.stdout is None else process.stdout.read().strip()
            if process.returncode == 0 and said:
                tell(f"First answer: {said} points by {RUNS} matches; compiling for the rest")

    asking = threading.Thread(target=ask, daemon=True)
    asking.start()
    try:
        yield
    finally:
        done.set()
        asking.join()


def _ready() -> bool:
    """Whether the loop was compiled or loaded in this process."""
    kernel = sys.modules.get("fieldworthy.match.kernel")
    return bool(getattr(getattr(kernel, "play_part", None), "signatures", ()))


def main(file: str, part: str, seed: str) -> None:
    """Print the mean points of a few matches."""
    from fieldworthy.robot import load_robot  # noqa: PLC0415  the process that asks needs none of it

    sys.stdout.write(f"{first_mean(load_robot(Path(file)), int(seed), part):.0f}\n")


def first_mean(loaded: Loaded, seed: int, part: str) -> float:
    """The mean points of a few matches."""
    import numpy as np  # noqa: PLC0415

    from fieldworthy.match.forecast import all_played, tallied  # noqa: PLC0415  the process that asks needs none of it
    from fieldworthy.match.setup import PARTS  # noqa: PLC0415

    with np.errstate(over="ignore"):  # the drawn numbers wrap around, of which only the interpreter warns
        tally = all_played(tallied(loaded, RUNS, seed, next(one for one in PARTS if one == part)), RUNS)
    return sum(value * count for value, count in tally.points.items()) / tally.runs


if __name__ == "__main__":
    main(*sys.argv[1:])
