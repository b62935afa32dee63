"""A process of its own for heavy work: one piece at a time, with progress, and with an end to it on request.

The page's own process must answer within milliseconds, and compiled batches must not be entered twice at once. So
whatever takes longer is a function of a module, called over there.
"""

from __future__ import annotations

import asyncio
import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

from fieldworthy.files.document import BadInput, Problem, keep_within, kept_within

T = TypeVar("T")
P = ParamSpec("P")
Progress = Callable[[float, Any], None]
_tell: Progress | None = None
_here: Connection | None = None
_LEAVE, _ENOUGH = "leave", "enough"
_NICE = 10  # steps behind others, for what may take a while: a number that is moved does not wait for matches


class Stopped(Exception):
    """The work was ended before it was done."""


class Broken(Exception):
    """The work failed in a way that nobody foresaw; says so in a sentence."""


def progress(share: float, told: Any = None) -> None:
    """Tell, from within the worker, how far the work is, and perhaps what was found so far."""
    if _tell is not None:
        _tell(share, told)


def is_enough() -> bool:
    """Whether the work shall end with what it has, asked from within the worker."""
    return _here is not None and _here.poll()


class Worker:
    """One process; it starts with the first work and again after it was stopped."""

    def __init__(self, name: str, *, compiles: bool = True, gives_way: bool = False) -> None:
        self._name, self._compiles, self._gives_way = name, compiles, gives_way
        self._threads = ThreadPoolExecutor(1, f"{name} waits")
        self._order = asyncio.Lock()
        self._process: SpawnProcess | None = None
        self._line: Connection | None = None
        self._stopping = False
        self.waiting = 0

    async def run(self, function: Callable[..., T], *arguments: Any, tell: Progress | None = None) -> T:
        """Run a function over there, after what was asked before."""
        loop = asyncio.get_running_loop()

        def heard(share: float, told: Any) -> None:
            if tell is not None:
                loop.call_soon_threadsafe(tell, share, told)

        self.waiting += 1
        try:
            async with self._order:
                self._stopping = False
                found: T = await loop.run_in_executor(self._threads, self._ask, function, arguments, heard)
                return found
        finally:
            self.waiting -= 1

    def stop(self) -> None:
        """End the work that is being done, with its process."""
        self._stopping = True
        if self._process is not None:
            self._process.kill()

    def enough(self) -> None:
        """Ask the work that is being done to end with what it has; only some work hears that."""
        if self._line is not None:
            with contextlib.suppress(OSError):
                self._line.send(_ENOUGH)

    def close(self) -> None:
        """End the process for good; one that has nothing to do may leave by itself."""
        self._stopping = True
        if self._line is not None and self._process is not None and not self._order.locked():
            with contextlib.suppress(OSError):
                self._line.send(_LEAVE)
            self._process.join(timeout=3)
        self.stop()
        self._threads.shutdown(wait=False, cancel_futures=True)

    def _ask(self, function: Callable[..., T], arguments: tuple[Any, ...], heard: Progress) -> T:
        line = self._started()
        try:
            line.send((function, arguments))
            while True:
                kind, content = line.recv()
                if kind != "share":
                    break
                heard(*content)
        except (EOFError, OSError) as error:
            self._gone()
            if self._stopping:
                raise Stopped from error
            raise Broken("The computation ended by itself. Try again; if it does so again, tell us.") from error
        if kind == "bad":
            raise BadInput(content)
        if kind == "broken":
            raise Broken(content)
        done: T = content
        return done

    def _started(self) -> Connection:
        if self._line is not None and self._process is not None and self._process.is_alive():
            return self._line
        self._gone()
        context = multiprocessing.get_context("spawn")
        here, there = context.Pipe()
        asked = (there, kept_within(), self._compiles, self._gives_way)
        self._process = context.Process(target=_serve, args=asked, name=self._name, daemon=True)
        self._process.start()
        there.close()
        self._line = here
        return here

    def _gone(self) -> None:
        if self._line is not None:
            self._line.close()
        if self._process is not None:
            self._process.join(timeout=1)
        self._line = self._process = None


def _serve(line: Connection, within: Path | None, compiles: bool, gives_way: bool) -> None:
    """What the process does: one piece of work after another, within the same folder as the page."""
    global _tell, _here  # noqa: PLW0603  one line a process, known to `progress` and `is_enough`
    if not compiles:  # read where the compiler is first imported, which the work does
        os.environ["NUMBA_DISABLE_JIT"] = "1"
    if gives_way and hasattr(os, "nice"):
        os.nice(_NICE)
    with contextlib.suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C ends the page, which ends this
    threading.Thread(target=_leave_with_parent, daemon=True).start()
    keep_within(within)
    _tell = lambda share, told: line.send(("share", (share, told)))  # noqa: E731
    _here = line
    while True:
        try:
            asked = line.recv()
        except (EOFError, OSError):
            return
        if asked == _LEAVE:
            return
        if asked == _ENOUGH:  # what was to end is over
            continue
        function, arguments = asked
        line.send(_done(function, arguments))


def _done(function: Callable[..., Any], arguments: tuple[Any, ...]) -> tuple[str, Any]:
    try:
        return "done", function(*arguments)
    except BadInput as error:
        problems: tuple[Problem, ...] = error.problems
        return "bad", problems
    except Exception as error:
        return "broken", f"The computation could not be done ({type(error).__name__}: {error}."[:300].rstrip(".") + ")."


def _leave_with_parent() -> None:
    """End with the page's process, however that ends."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(0)
