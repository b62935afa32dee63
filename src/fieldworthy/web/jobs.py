"""The work that all windows share: done once for the same texts, the newest question first, long runs with progress."""

from __future__ import annotations

import asyncio
import contextlib
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Hashable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Generic, Literal, TypeVar

from fieldworthy.engine.evaluate import NominalFinding
from fieldworthy.files.document import BadInput
from fieldworthy.web.judging import Judged, Moves, Source, Units, judged, previewed, ready
from fieldworthy.web.markup import sentences
from fieldworthy.web.worker import Broken, Stopped, Worker

T = TypeVar("T")
_KEPT = 64  # results that are remembered
_JOBS = 40  # long runs that are remembered
_MOMENT = 1.5  # s; what is compiled already has begun by then
State = Literal["waits", "runs", "done", "failed", "stopped"]


class Shared:
    """Results by question, so that windows with the same question share one answer, finished or on its way."""

    def __init__(self, most: int = _KEPT) -> None:
        self._most = most
        self._tasks: OrderedDict[Hashable, asyncio.Task[Any]] = OrderedDict()

    async def get(self, question: Hashable, ask: Callable[[], Awaitable[T]]) -> T:
        """Answer a question."""
        task = self._tasks.get(question)
        if task is None or (task.done() and (task.cancelled() or task.exception() is not None)):
            task = asyncio.ensure_future(_awaited(ask))
            self._tasks[question] = task
        self._tasks.move_to_end(question)
        while len(self._tasks) > self._most:
            self._tasks.popitem(last=False)
        found: T = await asyncio.shield(task)  # whoever closes a window does not take the answer from the others
        return found


async def _awaited(ask: Callable[[], Awaitable[T]]) -> T:
    return await ask()


class Latest(Generic[T]):
    """Does the newest of what is asked, and leaves out what was asked before it and not begun."""

    def __init__(self, do: Callable[[T], Awaitable[None]]) -> None:
        self._do = do
        self._next: list[T] = []
        self._task: asyncio.Task[None] | None = None

    def ask(self, what: T) -> None:
        """Ask for something, in place of what waits."""
        self._next = [what]
        if self._task is None or self._task.done():
            self._task = asyncio.ensure_future(self._run())

    def drop(self) -> None:
        """Forget what waits."""
        self._next = []

    async def _run(self) -> None:
        while self._next:
            await self._do(self._next.pop())


@dataclass(eq=False, slots=True)
class Job:
    """A long run that goes on whether or not a window looks at it.

    Attributes
    ----------
    title : What it is, for people
    state : Where it stands
    share : Of the work that is done, from 0 to 1
    told : What it found so far, where it tells that
    result : What it found, once done
    trouble : Why it failed
    """

    title: str
    state: State = "waits"
    share: float = 0.0
    told: Any = None
    result: Any = None
    trouble: str = ""
    _listeners: list[Callable[[Job], None]] = field(default_factory=list)

    @property
    def over(self) -> bool:
        """Whether it has come to an end, good or bad."""
        return self.state in ("done", "failed", "stopped")

    def listen(self, listener: Callable[[Job], None]) -> Callable[[], None]:
        """Be told whenever something changes."""
        self._listeners.append(listener)
        return lambda: self._listeners.remove(listener) if listener in self._listeners else None

    def hear(self, share: float, told: Any) -> None:
        """Take note of how far it is, and of what it found so far."""
        self.told = self.told if told is None else told
        self.put("runs", share)

    def put(self, state: State, share: float) -> None:
        """Say where it stands."""
        self.state, self.share = state, share
        for listener in tuple(self._listeners):
            listener(self)


class JobQueue:
    """What computes for the page: two processes for what must be quick, one for judging, one for long runs."""

    def __init__(self) -> None:
        self.quick = Worker("fieldworthy quick")
        self._previewing = (self.quick, Worker("fieldworthy quick too"))
        self.thorough = Worker("fieldworthy thorough")
        self.long = Worker("fieldworthy long", gives_way=True)
        self._first = Worker("fieldworthy first", compiles=False)
        self.jobs: OrderedDict[tuple[Any, ...], Job] = OrderedDict()
        self._judged = Shared()
        self._previews = Shared(512)
        self._other = Shared()
        self._sketches = Shared(256)
        self._brief = Worker("fieldworthy brief", gives_way=True)
        self._running: dict[Worker, Job] = {}

    async def warm(self) -> None:
        """Start the processes that a person waits for, before one does."""
        with contextlib.suppress(Broken, Stopped):
            for worker in (self.thorough, *self._previewing):  # verdicts are what a person waits for first
                await worker.run(ready)

    async def prepare(self, function: Callable[..., Any], *arguments: Any) -> None:
        """Do a long run that nobody has asked for, so that what it compiles is ready for one that somebody does."""
        with contextlib.suppress(BadInput, Broken, Stopped):
            await self.long.run(function, *arguments)

    async def judge(self, source: Source, units: Units) -> Judged:
        """Check a robot, or find what was found for the same texts."""
        return await self._judged.get((source, units), lambda: self.thorough.run(judged, source, units))

    async def previewed(self, source: Source, moves: Moves, units: Units) -> tuple[NominalFinding, ...]:
        """Say what a robot would be like with a few numbers moved."""
        # the same numbers go to the same process, which keeps what does not rest on them
        worker = self._previewing[hash(tuple(path for path, _ in moves)) % len(self._previewing)]
        return await self._previews.get((source, moves, units), lambda: worker.run(previewed, source, moves, units))

    async def compute(self, function: Callable[..., T], *arguments: Any) -> T:
        """Run any function of a module over there, or find what it gave for the same arguments."""
        question = (function, *arguments)
        return await self._other.get(question, lambda: self.thorough.run(function, *arguments))

    async def sketch(self, function: Callable[..., T], *arguments: Any) -> T:
        """Run a function that takes some milliseconds, ahead of what takes longer."""
        question = (function, *arguments)
        return await self._sketches.get(question, lambda: self.quick.run(function, *arguments))

    async def aside(self, function: Callable[..., T], *arguments: Any) -> T:
        """Run a function that plays matches, where nothing waits behind it that a form or a verdict needs."""
        question = (function, *arguments)
        return await self._other.get(question, lambda: self.long.run(function, *arguments))

    async def first(self, job: Job, function: Callable[..., T], *arguments: Any) -> T | None:
        """Run a function without the compiler, where a long run still waits for it after a moment; else nothing."""
        await asyncio.sleep(_MOMENT)
        if job.over or job.share:
            return None
        question = (function, *arguments)
        found = await self._other.get(question, lambda: self._first.run(function, *arguments))
        if not self._first.waiting:
            self._first.stop()  # it is rarely asked, and starts again then
        return None if job.over else found

    async def form(self, function: Callable[..., T], *arguments: Any) -> T:
        """Run a function that a form is made of, beside the drawings and never behind what judges or plays."""
        question = (function, *arguments)
        return await self._sketches.get(question, lambda: self._previewing[1].run(function, *arguments))

    def start(self, title: str, function: Callable[..., Any], *arguments: Any, brief: bool = False) -> Job:
        """Begin a long run, or find the one that was begun with the same arguments; a brief one waits for no other."""
        key = (function, *arguments)
        job = self.jobs.get(key)
        if job is None or job.state in ("failed", "stopped"):
            job = self.jobs[key] = Job(title)
            _hold(asyncio.ensure_future(self._do(job, function, arguments, self._brief if brief else self.long)))
        self.jobs.move_to_end(key)
        for old in [k for k, j in self.jobs.items() if j.over][: max(0, len(self.jobs) - _JOBS)]:
            del self.jobs[old]
        return job

    def newest(self, function: Callable[..., Any], file: Path) -> Job | None:
        """Find the run that was last asked for a file, by whichever window."""
        for (asked, first, *_), job in reversed(self.jobs.items()):
            source = first[0] if isinstance(first, tuple) else first
            if asked is function and isinstance(source, Source) and source.file == file:
                return job
        return None

    def stop(self, job: Job, *, keep: bool = False) -> None:
        """End a long run; one that hears it may first tell what it has."""
        worker = next((worker for worker, running in self._running.items() if running is job), None)
        if worker is None:
            if not job.over:
                job.put("stopped", job.share)
        elif keep:
            worker.enough()
        else:
            worker.stop()

    async def _do(self, job: Job, function: Callable[..., Any], arguments: tuple[Any, ...], worker: Worker) -> None:
        while (running := self._running.get(worker)) is not None and not running.over:
            await asyncio.sleep(0.05)
        if job.over:
            return
        self._running[worker] = job
        job.put("runs", 0.0)
        try:
            job.result = await worker.run(function, *arguments, tell=job.hear)
        except Stopped:
            job.put("stopped", job.share)
        except (BadInput, Broken) as error:
            job.trouble = sentences(error.problems[:5]) if isinstance(error, BadInput) else str(error)
            job.put("failed", job.share)
        else:
            job.put("done", 1.0)
        if worker is self._brief and not worker.waiting:
            worker.stop()  # it is rarely asked, and starts again then

    def close(self) -> None:
        """End every process."""
        for worker in (*self._previewing, self.thorough, self.long, self._first, self._brief):
            worker.close()


_tasks: set[asyncio.Future[Any]] = set()


def _hold(task: asyncio.Future[Any]) -> None:
    """Keep a task from being swept away while it runs."""
    _tasks.add(task)
    task.add_done_callback(_tasks.discard)
