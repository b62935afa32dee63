"""Runs a search: candidates race for matches, the budget is kept, and a stopped search goes on where it was.

A round of candidates is screened by the checks alone; what holds is played a few matches, the better part of it more,
and the best of those many (successive halving; Jamieson and Talwalkar, 2016, from memory), all with the same draws and
the same luck. Rounds depend on the seed alone, so the answer is the same on any number of workers.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import math
import signal
import socket
import time
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from importlib.metadata import version
from multiprocessing import get_context
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np

from fieldworthy import errors
from fieldworthy.arrays import Array
from fieldworthy.decide.search.clash import Nearest
from fieldworthy.decide.search.propose import Known, Proposer, order
from fieldworthy.decide.search.trial import Effort, Trial, Tried
from fieldworthy.decide.search.wanted import asked, bad_option
from fieldworthy.files import BadInput, Document, Problem
from fieldworthy.files.document import read_text
from fieldworthy.match.state import Whole
from fieldworthy.robot import Loaded, load_robot

STEPS = (Effort(9, 5), Effort(41, 5), Effort(161, 5))
"""How much is spent on a candidate that is still in the race: 40, 200 and 800 matches."""
FEW = Effort(1, 4)
"""On each candidate of a long list, before the race."""
_LONG = 96  # candidates of a round from which on the race begins with few matches
_THIN = 10  # one of so many goes on from a long list
_KEPT = 3  # one of so many goes on
_LEAST = 4  # go on at least
_TASK = 32  # candidates of one task that are screened alone
_TASK_MATCHES = 800  # of one task at most, of one candidate at least: so every stage of a race occupies several workers
_PATIENCE = 8.0  # s of work after which other processes are worth their start
_ANSWER = 10.0  # s in which a scheduler must answer
_TRIES = 3
_MOST_WORKERS = 256
RACED = 0.8
"""Of the time; the rest is for judging the best as its own file."""
STATE = "fieldworthy search state 3"


@dataclass(frozen=True, slots=True)
class Budget:
    """How long a search may go on.

    Attributes
    ----------
    candidates : To propose at most
    minutes : Of time at most; None for no bound
    """

    candidates: int = 2000
    minutes: float | None = None

    def validate(self) -> None:
        """Refuse a budget with which nothing can be tried."""
        if self.candidates < 1:
            raise bad_option("--candidates", f"expected at least one candidate to try (found {self.candidates})")
        if self.minutes is not None and not 0.0 < self.minutes < math.inf:
            raise bad_option("--minutes", f"expected a time above 0, such as 2 (found {self.minutes:g})")

    def after(self, spent: float) -> Budget:
        """What is left of it for the race after some seconds: a part is kept for judging the best."""
        if self.minutes is None:
            return self
        return Budget(self.candidates, max(RACED * self.minutes - spent / 60.0, 0.0))


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a search is.

    Attributes
    ----------
    candidates, matches : Tried and played so far
    share : Of the budget that is spent
    left : Time until it is spent, at this pace [s]
    worth : Of the best so far, by objective, more is better; None where nothing holds yet
    known : The better ones and the newest of those tried; None while the plan is searched
    """

    candidates: int
    matches: int
    share: float
    left: float
    worth: tuple[float, ...] | None
    known: Known | None = None


Tell = Callable[[Progress], None]


@dataclass(frozen=True, slots=True)
class Task:
    """A search as a worker needs it: texts, since what was read from them does not travel.

    Attributes
    ----------
    file : The robot file as named
    texts : Of every file that was read
    data : What the search file or the options say
    seed : Fixes draws and luck
    """

    file: str
    texts: tuple[tuple[str, str], ...]
    data: str
    seed: int

    @classmethod
    def of(cls, loaded: Loaded, document: Document, seed: int) -> Task:
        """Put a search into words."""
        texts = tuple((str(path), text) for path, text in loaded.texts.items())
        return cls(str(loaded.document.file), texts, json.dumps(document.data, sort_keys=True), seed)

    @property
    def fingerprint(self) -> str:
        """Tell this search from any other."""
        said = json.dumps([sorted(text for _, text in self.texts), self.data, self.seed])
        return hashlib.sha256(said.encode()).hexdigest()


_KNOWN: dict[str, Trial] = {}


def trial_of(task: Task) -> Trial:
    """Read a search again; each worker does so once."""
    if task.fingerprint not in _KNOWN:
        _KNOWN.clear()
        file = Path(task.file)
        loaded = load_robot(file, None, {Path(path): text for path, text in task.texts})
        _KNOWN[task.fingerprint] = Trial(loaded, asked(loaded, Document(file, json.loads(task.data))), task.seed)
    return _KNOWN[task.fingerprint]


@dataclass
class Crew:
    """Tries candidates in this process."""

    trial: Trial

    def tried(self, rows: Array, effort: Effort) -> Tried:
        """Try candidates, in tasks that do not depend on how many workers there are."""
        parts = list(self._parts(rows, effort))
        found = self._work([rows[part] for part in parts], effort)
        worth = np.empty((len(rows), len(self.trial.asked.objectives)))
        rooms = np.empty((len(rows), len(self.trial.asked.constraints)))
        for part, (good, room) in zip(parts, found, strict=True):
            worth[part], rooms[part] = good, room
        return Tried(worth, rooms)

    def _parts(self, rows: Array, effort: Effort) -> Iterator[Whole]:
        """Tasks of candidates that differ little, so that they fit into few batches."""
        choices = [rows[:, i] for i in self.trial.asked.space.choices]
        places = np.lexsort(choices) if choices else np.arange(len(rows))
        size = max(_TASK_MATCHES / effort.matches, 1.0) if effort.each else _TASK
        yield from np.array_split(places, max(math.ceil(len(rows) / size), 1))

    def _work(self, parts: list[Array], effort: Effort) -> list[tuple[Array, Array]]:
        found = [self.trial.tried(part, effort) for part in parts]
        return [(t.worth, t.rooms) for t in found]

    def close(self) -> None:
        """Let the workers go."""


def own_version() -> str:
    """The version of the program that runs here."""
    return version("fieldworthy")


def work(task: Task, expected: str, rows: Array, effort: Effort) -> tuple[Array, Array]:
    """Try candidates in a process of its own, on this machine or another."""
    own = own_version()
    if own != expected:
        raise WrongVersion(own, expected)
    found = trial_of(task).tried(rows, effort)
    return found.worth, found.rooms


def far_work(task: Task, expected: str, rows: Array, effort: Effort) -> tuple[Array, Array]:
    """Try candidates on a worker of a cluster, in as many threads as it has: others may share its machine."""
    import numba  # noqa: PLC0415  only in a worker, which plays matches
    from distributed import get_worker  # noqa: PLC0415

    numba.set_num_threads(min(int(get_worker().state.nthreads), int(vars(numba.config)["NUMBA_NUM_THREADS"])))
    return work(task, expected, rows, effort)


class WrongVersion(RuntimeError):
    """A worker that runs another version of the program: its answers would not be the same."""

    def __init__(self, own: str, expected: str) -> None:
        super().__init__(own, expected)
        self.own, self.expected = own, expected


def _alone() -> None:
    """A worker process leaves Ctrl-C to the one that asked, and other cores to the other workers."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    import numba  # noqa: PLC0415  only in a worker, which plays matches

    numba.set_num_threads(1)


@dataclass
class Processes(Crew):
    """Tries candidates in several processes of this machine, once a search has shown that it takes its time.

    Attributes
    ----------
    task : The search, for them to read
    count : How many
    """

    task: Task
    count: int
    _spent: float = 0.0
    _pool: ProcessPoolExecutor | None = None

    def _work(self, parts: list[Array], effort: Effort) -> list[tuple[Array, Array]]:
        if len(parts) < 2 or self._spent < _PATIENCE:
            began = time.monotonic()
            found = super()._work(parts, effort)
            self._spent += time.monotonic() - began
            return found
        if self._pool is None:
            self._pool = ProcessPoolExecutor(self.count, get_context("spawn"), _alone)
        try:
            own = own_version()
            futures = [self._pool.submit(work, self.task, own, part, effort) for part in parts]
            return [future.result() for future in futures]
        except BrokenProcessPool:  # one was killed, for want of memory perhaps: what it had is done here
            self.close()
            return super()._work(parts, effort)

    def close(self) -> None:
        """Let the processes go."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None


@dataclass
class Cluster(Crew):
    """Tries candidates on the workers of a Dask cluster; a worker that dies costs its tasks, which go to others.

    Attributes
    ----------
    task : The search, sent out once
    address : Of the scheduler
    """

    task: Task
    address: str
    _client: Any = None
    _sent: Any = None

    def __post_init__(self) -> None:
        try:
            from distributed import Client  # noqa: PLC0415  an extra of its own
        except ImportError as error:
            what = "expected the libraries for a cluster: pip install 'fieldworthy[cluster]'"
            raise bad_option("--workers", what) from error
        try:
            self._client = Client(  # type: ignore[no-untyped-call]
                self.address, timeout=_ANSWER, set_as_default=False
            )
            self._client.wait_for_workers(1, timeout=_ANSWER)
            self._refuse_others()
        except (OSError, TimeoutError, ValueError) as error:
            self.close()
            raise _no_answer(self.address) from error
        except BadInput:
            self.close()
            raise

    def _refuse_others(self) -> None:
        own = own_version()
        others = {name: found for name, found in self._client.run(own_version).items() if found != own}
        if others:
            listed = ", ".join(f"{name} has {found}" for name, found in others.items())
            what = f"expected workers with fieldworthy {own}: {listed}"
            raise bad_option("--workers", what)

    def _work(self, parts: list[Array], effort: Effort) -> list[tuple[Array, Array]]:
        from distributed.client import FutureCancelledError  # noqa: PLC0415
        from distributed.scheduler import KilledWorker  # noqa: PLC0415

        own = own_version()
        for _ in range(_TRIES):
            try:
                if self._sent is None:
                    self._sent = self._client.scatter(self.task, broadcast=True)
                futures = [
                    self._client.submit(far_work, self._sent, own, part, effort, pure=False, retries=_TRIES)
                    for part in parts
                ]
                found: list[tuple[Array, Array]] = self._client.gather(futures)
                return found
            except (FutureCancelledError, KilledWorker, CancelledError):
                self._sent = None  # those that held it are gone
            except WrongVersion as wrong:
                what = f"expected workers with fieldworthy {wrong.expected}: one that joined has {wrong.own}"
                raise bad_option("--workers", what) from wrong
        return super()._work(parts, effort)

    def close(self) -> None:
        """Let the cluster go."""
        if self._client is not None:
            self._client.close()
            self._client = None


def _probe(address: str) -> None:
    """See whether a scheduler speaks: it greets whoever calls, and a library would wait for that for ever."""
    parts = urlsplit(address)
    if parts.hostname is None or parts.port is None:
        raise ValueError(address)
    if parts.scheme == "tcp":
        with socket.create_connection((parts.hostname, parts.port), timeout=_ANSWER) as call:
            if not call.recv(1):
                raise ConnectionError(address)


def look_for(workers: str) -> None:
    """Refuse workers that cannot be, and a scheduler that does not answer, before anything else is done."""
    is_count = workers.isdigit() and 0 < int(workers) <= _MOST_WORKERS
    if not is_count and not workers.startswith(("tcp://", "tls://")):
        what = (
            f"expected a number from 1 to {_MOST_WORKERS}, or the address of a Dask scheduler such as tcp://host:8786"
        )
        raise bad_option("--workers", f"{what} (found {workers!r})")
    if not is_count:
        try:
            _probe(workers)
        except (OSError, ValueError) as error:
            raise _no_answer(workers) from error


def _no_answer(address: str) -> BadInput:
    what = f"expected a scheduler with workers at {address}: none answered within {_ANSWER:.0f} s"
    return bad_option("--workers", what)


def crew_of(trial: Trial, task: Task, workers: str) -> Crew:
    """Find who tries candidates: this process, several of this machine, or a cluster by its address."""
    if "://" in workers:
        return Cluster(trial, task, workers)
    return Crew(trial) if int(workers) == 1 else Processes(trial, task, int(workers))


@dataclass
class Race:
    """The rounds of one search.

    Attributes
    ----------
    proposer : What proposes, and keeps the best
    crew : Who tries
    plays : Whether matches are played
    candidates, screened, matches : Proposed, found to break what must hold, played
    nearest : How near the best came to what must hold
    is_late : Whether the time is up: then nothing more is played
    """

    proposer: Proposer
    crew: Crew
    plays: bool
    candidates: int = 0
    screened: int = 0
    matches: int = 0
    nearest: Nearest | None = None
    is_late: Callable[[], bool] = lambda: False
    _now: dict[Effort, Array] = field(default_factory=dict)

    def run(self, rows: Array) -> tuple[Array, Tried]:
        """Screen a round of candidates and play those that hold what they must; says of which it has learned."""
        self.candidates += len(rows)
        found = self.crew.tried(rows, Effort(1, 0))
        alive = np.flatnonzero(found.lack <= 0)
        self._note(found.lacks[found.lack > 0])
        self.screened += len(rows) - alive.size
        listed = self.proposer.is_listed or not len(self.proposer.rows)
        if not listed:  # of many that hold what they must a round plays some, of the others it learns from the nearest
            alive = alive[: self.proposer.size]
            broken = np.flatnonzero(found.lack > 0)
            broken = broken[np.argsort(found.lack[broken], kind="stable")[: self.proposer.size]]
            told = np.sort(np.concatenate([alive, broken]))
            alive = np.flatnonzero(np.isin(told, alive))
            rows, found = rows[told], Tried(found.worth[told], found.rooms[told])
        if self.plays:
            found.worth[:] = -np.inf
        played = alive
        if self.plays and alive.size > _LONG:
            alive = self._raced(rows, found, alive, FEW, max(alive.size // _THIN, _LEAST))
        counts = self.plays or any(c.chance > 0.0 for c in self.crew.trial.asked.constraints)
        for effort in STEPS if counts else ():  # nothing that was asked rests on what is not known
            if alive.size and not (effort != STEPS[0] and self.is_late()):
                alive = self._raced(rows, found, alive, effort, max(math.ceil(alive.size / _KEPT), _LEAST))
        self._note(found.lacks[played])  # with a chance, what holds nominally may be too rare
        return rows, found

    def _raced(self, rows: Array, found: Tried, alive: Whole, effort: Effort, many: int) -> Whole:
        """Spend so much on each that is still in the race, and say which go on."""
        tried = self._played(rows[alive], effort)
        # a few matches are luckier or less lucky than many for all alike: told as they differ from the present robot
        offset = self._present(STEPS[-1]) - self._present(effort) if self.plays else 0.0
        worth = tried.worth + offset
        found.worth[alive], found.rooms[alive] = worth, tried.rooms
        return np.asarray(alive[order(worth, tried.lack)[:many]])

    def _present(self, effort: Effort) -> Array:
        """What the present robot is worth on the same matches."""
        if effort not in self._now:
            now = self.crew.tried(self.proposer.space.now[None, :], effort).worth[0]
            self._now[effort] = np.where(np.isfinite(now), now, 0.0)
        return self._now[effort]

    def _played(self, rows: Array, effort: Effort) -> Tried:
        spent = effort if self.plays else Effort(effort.cases, 0)
        self.matches += len(rows) * (spent.matches if self.plays else 0)
        return self.crew.tried(rows, spent)

    def _note(self, lacks: Array) -> None:
        """Keep how near the best came to what must hold."""
        if lacks.size:
            self.nearest = (self.nearest or Nearest.none(lacks.shape[1])).with_more(lacks)


@dataclass
class Journal:
    """The state file of a search: what each round gave, so that a stopped search goes on.

    Attributes
    ----------
    file : It is kept in; None for nowhere
    task : The search that it belongs to
    """

    file: Path | None
    task: Task
    _rounds: list[dict[str, Any]] = field(default_factory=list)
    _at: int = 0

    def __post_init__(self) -> None:
        if self.file is None:
            return
        if self.file.exists():
            self._read(self.file)
        else:
            with _writing(self.file), self.file.open("w", encoding="utf-8") as stream:
                stream.write(json.dumps(self._head()) + "\n")

    def _head(self) -> dict[str, str]:
        return {"format": STATE, "version": own_version(), "search": self.task.fingerprint}

    def _read(self, file: Path) -> None:
        lines = read_text(file).splitlines()
        said = _json(lines[0]) if lines else None
        if not isinstance(said, dict) or said.get("format") != STATE:
            raise BadInput([Problem(file, 1, 1, (), f"expected a state file of a search ({STATE}), or no file yet")])
        if said != self._head():
            what = "another version of the program" if said.get("search") == self.task.fingerprint else "another search"
            expected = (
                f"expected the state of this search; this one belongs to {what}: the robot, what may vary, what is "
                "wanted and the seed must be as they were. Name another file to begin anew"
            )
            raise BadInput([Problem(file, 1, 1, (), expected)])
        found = [one for line in lines[1:] if isinstance(one := _json(line), dict)]  # the last may be cut off
        self._rounds = found

    def known(self, rows: Array) -> dict[str, Any] | None:
        """What a round of candidates gave when it was run before."""
        if self._at >= len(self._rounds):
            return None
        one = self._rounds[self._at]
        if one.get("rows") != _digest(rows):
            self._rounds = self._rounds[: self._at]
            return None
        self._at += 1
        return one

    def keep(self, rows: Array, learned: tuple[Array, Tried], race: Race) -> None:
        """Write down what a round gave."""
        self._at += 1
        if self.file is None:
            return
        places = {row.tobytes(): i for i, row in enumerate(rows)}
        told, found = [places[row.tobytes()] for row in learned[0]], learned[1]
        counts = [race.candidates, race.screened, race.matches]
        nearest = None if race.nearest is None else race.nearest.as_data()
        one = {"rows": _digest(rows), "told": told, "worth": _listed(found.worth), "rooms": found.rooms.tolist(),
               "counts": counts, "nearest": nearest}  # fmt: skip
        with _writing(self.file), self.file.open("a", encoding="utf-8") as stream:
            stream.write(json.dumps(one) + "\n")


def _json(line: str) -> Any:
    try:
        return json.loads(line)
    except ValueError:
        return None


@contextlib.contextmanager
def _writing(file: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise BadInput([Problem(file, 1, 1, (), f"the file cannot be written ({error.strerror or error})")]) from error


def _digest(rows: Array) -> str:
    return hashlib.sha256(np.ascontiguousarray(rows).tobytes()).hexdigest()[:16]


def _listed(worth: Array) -> list[list[float | None]]:
    return [[w if math.isfinite(w) else None for w in row] for row in worth.tolist()]


def _from_list(worth: list[list[float | None]]) -> Array:
    return np.array([[-np.inf if w is None else w for w in row] for row in worth], dtype=float)


_TOGETHER = 512
"""Candidates that are raced at once: more would leave whoever waits without a word for a minute."""


def run(race: Race, budget: Budget, journal: Journal, tell: Tell | None = None) -> bool:
    """Run rounds until the budget is spent, and say whether it was; Ctrl-C ends it with what there is."""
    began = time.monotonic()
    race.is_late = lambda: _is_late(began, budget)
    try:
        with errors.in_order():
            while race.candidates < budget.candidates and not _is_late(began, budget):
                rows = race.proposer.ask()[: budget.candidates - race.candidates]
                if not len(rows):
                    break
                for start in range(0, len(rows), _TOGETHER):
                    _round(race, journal, rows[start : start + _TOGETHER])
                    if tell is not None:
                        tell(_progress(race, budget, time.monotonic() - began))
                    if _is_late(began, budget):
                        break
    except KeyboardInterrupt:
        return False
    return True


def _is_late(began: float, budget: Budget) -> bool:
    return budget.minutes is not None and time.monotonic() - began >= 60.0 * budget.minutes


def _round(race: Race, journal: Journal, rows: Array) -> None:
    known = journal.known(rows)
    if known is not None:
        told = rows[known["told"]]
        found = Tried(_from_list(known["worth"]), np.array(known["rooms"], dtype=float).reshape(len(told), -1))
        race.candidates, race.screened, race.matches = known["counts"]
        race.nearest = None if known["nearest"] is None else Nearest.from_data(known["nearest"])
    else:
        told, found = race.run(rows)
        journal.keep(rows, (told, found), race)
    race.proposer.tell(told, found.worth, found.rooms)


def _progress(race: Race, budget: Budget, spent: float) -> Progress:
    shares = [race.candidates / max(budget.candidates, 1)]
    if budget.minutes:
        shares.append(spent / (60.0 * budget.minutes))
    best = race.proposer
    holds = len(best.rows) > 0 and best.lack[0] <= 0 and np.isfinite(best.worth[0]).all()
    worth = tuple(best.worth[0].tolist()) if holds else None
    share = min(max(shares), 1.0)
    return Progress(race.candidates, race.matches, share, spent * (1.0 - share) / max(share, 1e-9), worth, best.known)
