"""Work for a process of its own, good and bad."""

from __future__ import annotations

import os
import time
from pathlib import Path

from fieldworthy.files.document import BadInput, Problem
from fieldworthy.web.worker import progress


def double(number: int) -> int:
    return 2 * number


def whoami(_: int) -> int:
    return os.getpid()


def steps(count: int, pause: float) -> str:
    for i in range(count):
        progress(i / count)
        time.sleep(pause)
    return "done"


def bad(_: int) -> None:
    raise BadInput([Problem(Path("robot.yaml"), 3, 5, ("drive", "motors"), "expected a whole number", "4")])


def wrong(_: int) -> None:
    raise ZeroDivisionError("nobody foresaw this")


def dies(_: int) -> None:
    os._exit(3)
