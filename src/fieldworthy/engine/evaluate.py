"""From a robot to findings: cases are drawn, every check runs over the batch, and outcomes become verdicts.

The draws of a quantity depend on the seed and on its key path alone, so two variants that share a key share its
draws (common random numbers), and a longer run repeats the shorter one.

One batch holds the nominal case, one case for a small move of each quantity of the file, and samples of the
tolerances. From it come verdict, chance, what a finding depends on and which measurement would sharpen it.
"""

from __future__ import annotations

import dataclasses
import hashlib
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context, Live, Memory, Place, Places, Reads, fields_of, undisturbed
from fieldworthy.engine.finding import (
    VERDICTS,
    Assumption,
    DisplayUnits,
    Fact,
    Finding,
    Outcome,
    Report,
    Verdict,
    first,
)
from fieldworthy.engine.system import System, cautions, consequences, systems
from fieldworthy.files import Quantity
from fieldworthy.files.declare import Spec
from fieldworthy.files.document import Fault, KeyPath, dotted
from fieldworthy.files.reading import instantiate, nominal
from fieldworthy.robot import Loaded, refusals
from fieldworthy.robot.model.robot import Robot, settled
from fieldworthy.robot.model.season import Season
from fieldworthy.units import show

BLOCK = 8192
"""Samples are drawn in blocks of this size, so that memory stays flat however many are asked for."""
ROOM = 10_000_000
"""Numbers that a batch may hold, all quantities over all cases: what is computed from them takes some times as much."""
_FEWEST = 100  # cases of a batch, however many quantities there are
_WIDEST = 3.0  # standard deviations; no tape or scale is off by more without someone noticing
_PER_95 = 1.959963984540054  # standard normal quantile at 97.5 %
# glibc hands a large array back to the system when it is freed and asks for the next one anew, page by page, which took
# a tenth of the time of a batch; once it has freed a block of nearly 32 MB, it keeps those up to that size
np.empty(31 * 2**20, dtype=np.uint8)


@lru_cache(maxsize=1024)
def standard_draws(seed: int, key: str, block: int, size: int) -> Array:
    """Draw standard normal numbers for one key path."""
    digest = hashlib.blake2b(f"{seed}/{block}/{key}".encode(), digest_size=16).digest()
    source = np.random.Generator(np.random.Philox(key=int.from_bytes(digest, "little")))
    drawn = np.clip(source.standard_normal(size), -_WIDEST, _WIDEST)
    drawn.flags.writeable = False
    return drawn


def sampled(quantity: Quantity, key: str, seed: int, block: int, size: int) -> Array:
    """Sample one quantity within its tolerance."""
    drawn = quantity.si + quantity.tolerance / _PER_95 * standard_draws(seed, key, block, size)
    if math.isfinite(quantity.low) or math.isfinite(quantity.high):
        # a hair inside, so that 'more than 0' stays more than 0
        inside = 1e-3 * abs(quantity.si)
        low = min(quantity.si, quantity.low + inside)
        high = max(quantity.si, quantity.high - inside if quantity.si < quantity.high else quantity.high)
        return np.clip(drawn, low, high)
    return drawn


_NUDGE = 1e-3
_SMALLEST: dict[str, float] = {
    "length": 1e-5,
    "angle": 1e-4,
    "temperature": 0.01,
    "mass": 1e-5,
    "pressure": 10.0,
}


def nudge(quantity: Quantity) -> float:
    """Choose how far to move a quantity to see what depends on it."""
    step = max(_NUDGE * max(abs(quantity.si), quantity.tolerance), _SMALLEST.get(quantity.kind, 1e-9))
    if quantity.kind == "temperature":
        step = _SMALLEST["temperature"]
    return step if quantity.si + step <= quantity.high else -step


@dataclass(slots=True, eq=False)
class Cases:
    """The cases of one batch: nominal, then a nudge of each quantity, then samples.

    Attributes
    ----------
    seed, block, samples : Which samples; `samples` may be 0
    nudged : Key paths to nudge, one case each, in this order
    begin, whole : Where in the block the samples begin, and how many the block has in all; 0 where these are all
    """

    seed: int
    block: int
    samples: int
    nudged: Sequence[KeyPath]
    begin: int = 0
    whole: int = 0
    _row: dict[KeyPath, int] = field(init=False)

    def __post_init__(self) -> None:
        self._row = {path: i + 1 for i, path in enumerate(self.nudged)}

    @property
    def size(self) -> int:
        """Cases in the batch."""
        return 1 + len(self.nudged) + self.samples

    @property
    def sampled(self) -> slice:
        """Where the samples stand."""
        return slice(1 + len(self.nudged), self.size)

    def draw(self, path: KeyPath, quantity: Quantity) -> float | Array:
        """Give the number or array of one quantity over the batch."""
        row = self._row.get(path)
        if row is None and not (self.samples > 0 and quantity.tolerance > 0):
            # another batch nudges it: an array here too, for what the checks line up with it has its cases
            return np.broadcast_to(quantity.si, (self.size,)) if self.nudged and self.whole else quantity.si
        make = _remembered if self.block == 0 and not self.whole else _drawn
        return make(dotted(path), quantity, row, self)

    def __hash__(self) -> int:
        return hash((self.seed, self.block, self.samples, len(self.nudged), self.begin, self.whole))

    def __eq__(self, other: object) -> bool:
        """Equal where the same draws stand in the same rows."""
        return isinstance(other, Cases) and hash(self) == hash(other)


def batches(seed: int, samples: int, nudged: Sequence[KeyPath], quantities: int) -> Iterator[Cases]:
    """Part nudges and samples into batches that fit into the room; what is drawn does not depend on how."""
    first = min(samples, BLOCK)
    if (1 + len(nudged) + first) * quantities <= ROOM:
        yield Cases(seed, 0, first, nudged)
        blocks = range(1, math.ceil(samples / BLOCK))
    else:
        rows = most_cases(quantities)
        for start in range(0, max(len(nudged), 1), rows):
            yield Cases(seed, 0, 0, nudged[start : start + rows], whole=first)
        blocks = range(math.ceil(samples / BLOCK))
    for block in blocks:
        size = min(BLOCK, samples - block * BLOCK)
        rows = min(size, most_cases(quantities))
        for begin in range(0, size, rows):
            yield Cases(seed, block, min(rows, size - begin), [], begin, size)


def most_cases(quantities: int) -> int:
    """Tell how many cases a batch may have, so that a robot of thousands of parts does not fill the memory."""
    return max(ROOM // max(quantities, 1), _FEWEST)


def _drawn(key: str, quantity: Quantity, row: int | None, cases: Cases) -> Array:
    drawn = np.full(cases.size, quantity.si)
    if row is not None:
        drawn[row] += nudge(quantity)
    if cases.samples > 0 and quantity.tolerance > 0:
        some = slice(cases.begin, cases.begin + cases.samples)
        drawn[cases.sampled] = sampled(quantity, key, cases.seed, cases.block, cases.whole or cases.samples)[some]
    drawn.flags.writeable = False
    return drawn


_remembered = lru_cache(maxsize=8192)(_drawn)
"""The first block's draws are kept: a page that edits one number redraws that number alone."""


Said = Finding | Fact
_LEAST = 1e-9  # a margin or value that moves by less does not depend on the quantity


@dataclass(frozen=True)
class Table:
    """The quantities that a batch nudges, in the order of its rows, and the units to show.

    Attributes
    ----------
    entries : Key path and quantity
    shown : Unit by kind
    """

    entries: Sequence[tuple[KeyPath, Quantity]]
    shown: DisplayUnits

    @cached_property
    def keys(self) -> list[str]:
        """Dotted keys."""
        return [dotted(path) for path, _ in self.entries]

    @cached_property
    def bases(self) -> list[str]:
        """What each rests on."""
        return [quantity.basis for _, quantity in self.entries]

    @cached_property
    def weights(self) -> Array:
        """Tolerance over nudge of each."""
        return np.array([q.tolerance / abs(nudge(q)) for _, q in self.entries])

    @cached_property
    def guessed(self) -> npt.NDArray[np.bool_]:
        """Which rest on an estimate."""
        return np.array([basis == "estimate" for basis in self.bases], dtype=np.bool_)


_MARGINS = 1000  # samples tell well enough what the worst twentieth is


@dataclass(slots=True)
class Tally:
    """What the batch says of one outcome: its nominal margin, and the samples block by block.

    Attributes
    ----------
    margin : Of the nominal case
    holds, count : Samples in which it holds, of how many
    values : The samples of its value, by batch
    margins : The first thousand of its margin
    moved : By how much the nudge of each quantity moves it, by batch
    """

    margin: float = math.nan
    holds: int = 0
    count: int = 0
    values: list[Array] = field(default_factory=list)
    margins: list[Array] = field(default_factory=list)
    moved: list[Array] = field(default_factory=list)

    def add(self, outcome: Outcome, nudges: int, where: slice) -> None:
        """Count a batch: its first case is nominal, then come nudges, then samples."""
        margin, size = outcome.margin(), where.stop - where.start
        if math.isnan(self.margin):
            self.margin = first(margin)
        self.count += size
        if nudges:
            self.moved.append(_moved(outcome, nudges))
        if not outcome.missing and size:
            margins = _over(margin, where)
            self.margins.append(margins[: max(_MARGINS + size - self.count, 0)])
            self.holds += int(np.count_nonzero(margins >= 0))
            self.values.append(_over(outcome.value, where))

    def low(self) -> float | None:
        """Find the margin that 95 of 100 samples reach; None where one of those is without bound."""
        if not self.margins:
            return None
        margins = np.concatenate(self.margins)
        low = float(np.partition(margins, margins.size // 20)[margins.size // 20])
        return low if math.isfinite(low) else None

    def chance(self) -> float | None:
        """Give the share of the samples in which it holds."""
        return self.holds / self.count if self.count and self.values else None

    def spread(self) -> tuple[float, float] | None:
        """Find the 95 % interval of the samples."""
        if not self.count or not self.values:
            return None
        if self.values[0].strides == (0,):
            return float(self.values[0][0]), float(self.values[0][0])  # a number that no case moves
        values = self.values[0] if len(self.values) == 1 else np.concatenate(self.values)
        # the least sample at or below which 2.5 %, and 97.5 %, of them lie
        ends = [max(math.ceil(values.size * share) - 1, 0) for share in (0.025, 0.975)]
        low, high = np.partition(values, ends)[ends].tolist()
        return low, high


def _over(value: Real, where: slice) -> Array:
    array = np.asarray(value, dtype=float)
    return np.broadcast_to(array, (where.stop - where.start,)) if array.size == 1 else array[where]


def _moved(outcome: Outcome, nudges: int) -> Array:
    """By how much each nudge of a batch moves an outcome, as a share of its nominal value."""
    moved = np.zeros(nudges)
    for number in (outcome.value, outcome.limit):
        array = np.asarray(0.0 if number is None else number, dtype=float)
        if array.ndim:
            nominal, nudged = float(array[0]), array[1 : 1 + nudges]
            rows = np.flatnonzero(nudged != nominal)
            scale = max(abs(nominal), 1e-12)
            # a step between a finite and an infinite value counts as a whole one
            step = np.ones(rows.size) if math.isinf(nominal) else np.abs(nudged[rows] - nominal) / scale
            moved[rows] = np.maximum(moved[rows], np.where(np.isfinite(step), step, 1.0))
    return moved


def _influences(tally: Tally, weights: Array) -> tuple[npt.NDArray[np.intp], Array]:
    """Which quantities move the outcome, by how much of its spread, most first."""
    moved = np.concatenate([*tally.moved, np.zeros(0)])[: len(weights)]
    order = np.flatnonzero(moved > _LEAST)
    shares = moved[order] * weights[order]
    most_first = np.argsort(-shares, kind="stable")
    return order[most_first], shares[most_first]


SURE = 0.95
"""Chance from which a robot that holds is said to hold; the same the other way round for one that is short."""


def verdict_of(margin: float | None, chance: float | None) -> Verdict:
    """Judge the nominal margin together with the chance over the tolerances."""
    if margin is None:
        return "unknown"
    if margin >= 0:
        return "holds" if chance is None or chance >= SURE else "close"
    return "short" if chance is None or chance <= 1.0 - SURE else "close"


def _in_unit(pair: tuple[float, float] | None, kind: str, shown: DisplayUnits) -> tuple[float, float] | None:
    if pair is None:
        return None
    low, high = shown.plain(pair[0], kind), shown.plain(pair[1], kind)
    return None if low is None or high is None else (low, high)


def _picked(words: list[str], rows: npt.NDArray[np.intp]) -> list[str]:
    return [words[row] for row in rows.tolist()]


def judged(outcome: Outcome, tally: Tally, table: Table) -> Said:
    """Turn an outcome into what a person reads."""
    return _fact(outcome, tally, table) if outcome.limit is None else _finding(outcome, tally, table)


def _finding(outcome: Outcome, tally: Tally, table: Table) -> Finding:
    shown = table.shown
    known = not outcome.missing
    verdict = verdict_of(tally.margin if known else None, tally.chance() if known else None)
    rows, shares = _influences(tally, table.weights if known else table.weights[:0])
    bases = _picked(table.bases, rows)
    guesses = rows[table.guessed[rows] & (shares > 0)]
    limit = 0.0 if outcome.limit is None else first(outcome.limit)
    return Finding(
        outcome.id,
        outcome.subject,
        shown.plain(first(outcome.value), outcome.kind) if known else None,
        shown.plain(limit, outcome.kind) if known else None,
        shown.units[outcome.kind],
        outcome.need,
        tally.margin if known else None,
        tally.chance() if known else None,
        _in_unit(tally.spread(), outcome.kind, shown) if known else None,
        verdict,
        shown.sentence(outcome, short=known and tally.margin < 0),
        tuple(_picked(table.keys, rows)),
        {basis: bases.count(basis) for basis in dict.fromkeys(bases)},
        table.keys[guesses[0]] if guesses.size else None,
        outcome.sources,
        () if outcome.follows else outcome.missing,  # what another finding hinders is not mended by a key
        outcome.follows,
        margin_low=tally.low() if known else None,
    )


def _fact(outcome: Outcome, tally: Tally, table: Table) -> Fact:
    shown = table.shown
    rows, _ = _influences(tally, table.weights)
    return Fact(
        outcome.id,
        outcome.subject,
        shown.plain(first(outcome.value), outcome.kind),
        shown.units[outcome.kind],
        _in_unit(tally.spread(), outcome.kind, shown),
        shown.sentence(outcome),
        tuple(_picked(table.keys, rows)),
        outcome.sources,
    )


Progress = Callable[[int], None]


def evaluate(loaded: Loaded, samples: int = 1000, seed: int = 0, progress: Progress | None = None) -> Report:
    """Check one robot."""
    table = Table(entries_of(loaded.nominal, loaded.quantities), DisplayUnits.of(loaded.quantities))
    base = Context(loaded.nominal, loaded.nominal_season)
    outcomes: list[Outcome] = []
    tallies: list[Tally] = []
    done = 0
    for cases in batches(seed, samples, [path for path, _ in table.entries], len(loaded.quantities)):
        found = run(loaded, cases, base)
        outcomes = outcomes or found  # those of the first batch speak: each batch has the nominal case
        tallies = tallies or [Tally() for _ in found]
        for tally, outcome in zip(tallies, found, strict=True):
            tally.add(outcome, len(cases.nudged), cases.sampled)
        done += cases.samples
        if progress and outcomes is not found:
            progress(done)
    said = [judged(o, t, table) for o, t in zip(outcomes, tallies, strict=True)]
    return report_of(loaded, loaded.nominal, said, samples, seed)


def entries_of(robot: Robot, quantities: Iterable[tuple[KeyPath, Quantity]]) -> list[tuple[KeyPath, Quantity]]:
    """List the quantities of which a batch holds a nudge: all but the season's numbers that are what they are."""
    return [(path, settled(robot, path, q)) for path, q in quantities if q.tolerance > 0 or path[0] != "season"]


def report_of(loaded: Loaded, described: Robot, said: Sequence[Said], samples: int, seed: int) -> Report:
    """Put together what a person reads."""
    robot: Any = loaded.robot
    season: Any = loaded.season
    return Report(
        robot.robot,
        season.season,
        tuple(sorted(_tied(described, (one for one in said if isinstance(one, Finding))), key=_worst_first)),
        tuple(one for one in said if isinstance(one, Fact)),
        assumptions(loaded),
        samples,
        seed,
        cautions(described),
    )


def shares(loaded: Loaded, item: Said) -> dict[str, float]:
    """What share of the variance of a value, over the tolerances, each input gives; to first order.

    Notes
    -----
    The law of propagation of uncertainty: the variance is the sum of the squares of each input's tolerance times how
    much the value moves with it (JCGM 100:2008, 5.1.2; from memory).
    """
    entries = [(p, q) for p, q in entries_of(loaded.nominal, loaded.quantities) if dotted(p) in item.inputs]
    outcomes = run(loaded, Cases(0, 0, 0, [path for path, _ in entries]), families={item.id.partition(".")[0]})
    outcome = next((o for o in outcomes if o.id == item.id and o.subject == item.subject), None)
    if outcome is None or not entries:
        return {}
    table = Table(entries, DisplayUnits({}))
    squares = np.square(_moved(outcome, len(entries)) * table.weights)
    whole = float(squares.sum())
    return dict(zip(table.keys, (squares / whole).tolist(), strict=True)) if whole > 0.0 else {}


def run(loaded: Loaded, cases: Cases, base: Context | None = None, families: Set[str] = frozenset()) -> list[Outcome]:
    """Run every check over the cases of a batch; those of some families alone where they are named."""

    def of_season(path: KeyPath, quantity: Quantity) -> Real:
        """Draw a quantity of the season."""
        return cases.draw(("season", *path), quantity)

    def of_robot(path: KeyPath, quantity: Quantity) -> Real:
        """Draw a quantity of the robot; what the scales have settled does not vary."""
        return cases.draw(path, settled(loaded.nominal, path, quantity))

    robot = instantiate(loaded.robot, Robot, of_robot)
    season = instantiate(loaded.season, Season, of_season)
    context = Context(robot, season, base or Context(loaded.nominal, loaded.nominal_season))
    asked = [system for system in systems() if not families or families & _tells(system)]
    return [outcome for system in asked for outcome in system.check(context)]


def _tells(system: System) -> frozenset[str]:
    """The families of which a system's findings are: a motor arm says of its target what a lift says."""
    return frozenset((*system.families, *(stem.partition(".")[0] for stem in (*system.required, *system.wished))))


def assumptions(loaded: Loaded) -> tuple[Assumption, ...]:
    """List the defaults that stand in for what the files do not say."""
    found = []
    for path, quantity in loaded.quantities:
        if quantity.assumed:
            spec, inside = (loaded.season, path[1:]) if path[0] == "season" else (loaded.robot, path)
            value = show(quantity.si, quantity.kind, quantity.unit)
            found.append(Assumption(dotted(path), value, _reason(spec, inside)))
    return (*found, *_usual(loaded), *_weights(loaded))


def _weights(loaded: Loaded) -> Iterable[Assumption]:
    """To which parts list the weights belong, where the file does not say."""
    scales = loaded.nominal.weighed
    if scales is not None and scales.listed is None:
        why = "the parts list that belongs to the weights; until it is given, a part changed since then does not count"
        yield Assumption("weighed.listed", "the parts as they are now", why)


def _usual(loaded: Loaded) -> Iterable[Assumption]:
    """Usual tolerances that stand in where the parts of the file state none: guessed places and masses."""
    guessed = [(path, q) for path, q in loaded.quantities if path[0] == "parts" and q.usual and q.basis == "estimate"]
    for word, what, value in (("position", "place", "at least 10 mm"), ("mass", "mass", "10 %")):
        first_of = next((path for path, _ in guessed if word in path[2:]), None)
        count = sum(word in path[2:] for path, _ in guessed)
        if first_of is not None:
            more = f" and {count - 1} more like it" if count > 1 else ""
            why = f"tolerance of this guessed {what}{more}; common practice, no source"
            yield Assumption(dotted(first_of), value, why)


def _reason(spec: Any, path: KeyPath) -> str:
    """The documented reason of a default, from the schema."""
    for key in path[:-1]:
        spec = getattr(spec, str(key)) if isinstance(spec, Spec) else spec[key]
    return str(type(spec).model_fields[str(path[-1])].description or "").partition(" (assumed")[0]


def _tied(robot: Robot, findings: Iterable[Finding]) -> Iterator[Finding]:
    """Say of each finding what it follows from, as the systems declare it."""
    follows = consequences(robot)
    for finding in findings:
        tied = (*follows.get(finding.id, ()), *finding.follows)
        yield dataclasses.replace(finding, follows=tied) if tied else finding


def _worst_first(finding: Finding) -> tuple[int, float, str, str]:
    margin = 0.0 if finding.margin is None else finding.margin
    return VERDICTS.index(finding.verdict), margin, finding.id, finding.subject


_FAULTS = -1  # what the robot says is wrong with itself is kept like a check


@dataclass(frozen=True, slots=True)
class NominalFinding:
    """One finding or fact, nominal.

    Attributes
    ----------
    id, subject : As in the report
    verdict : None for a fact
    margin : As in the report
    because : The sentence
    """

    id: str
    subject: str
    verdict: Verdict | None
    margin: float | None
    because: str


class NominalPreview:
    """A robot, nominal, whose numbers can be moved; what rests on none of those that moved is kept.

    Notes
    -----
    Verdicts, margins and sentences are those that `evaluate` gives for the moved robot. Not for several threads.
    Without facts, numbers that nothing limits are left out, which are a third of the work.
    """

    def __init__(self, loaded: Loaded, *, facts: bool = True) -> None:
        stated = stated_by(loaded)
        self._shown = DisplayUnits.of(loaded.quantities)
        self._fields: dict[Place, tuple[KeyPath, Any]] = {
            place: (path, value) for place, path, value in fields_of(stated)
        }
        self._places: dict[KeyPath, Place] = {path: place for place, (path, _) in self._fields.items()}
        self._reads = Reads()
        self._live = Live(stated, nominal, self._reads)
        robot, season = self._live.things
        self._subject = Context(robot, season, memory=Memory(self._reads), facts=facts)
        self._kept: dict[int, tuple[Any, Places]] = {}
        self._moved: dict[Place, Any] = {}

    def findings(self, moves: Mapping[KeyPath, float]) -> tuple[NominalFinding, ...]:
        """Move numbers from where the file has them."""
        try:
            self._put(moves)
            found = [self._once(i, lambda i=i: self._findings(i)) for i in range(len(systems()))]
        except BaseException:
            self._forget(None)
            raise
        return tuple(finding for part in found for finding in part)

    def faults(self) -> tuple[Fault, ...]:
        """Tell what is wrong with the robot as it was last moved."""
        robot, season = self._subject.robot, self._subject.season
        found: tuple[Fault, ...] = self._once(_FAULTS, lambda: tuple(refusals(robot, season)))
        return found

    def quantity(self, path: KeyPath) -> Quantity:
        """Find a number as the file has it."""
        place = self._place(path)
        own, value = self._fields[place]
        for key in path[len(own) :]:
            value = value[key]
        if not isinstance(value, Quantity):
            raise KeyError(path)
        return value

    def _place(self, path: KeyPath) -> Place:
        for end in range(len(path), 0, -1):
            if path[:end] in self._places:
                return self._places[path[:end]]
        raise KeyError(path)

    def _put(self, moves: Mapping[KeyPath, float]) -> None:
        """Fill in what moved, take back what no longer does, and forget what read any of it."""
        now: dict[Place, Any] = {}
        for path, si in moves.items():
            place = self._place(path)
            own, value = self._fields[place]
            moved = dataclasses.replace(self.quantity(path), si=si)
            now[place] = _with(now.get(place, value), path[len(own) :], moved)
        back = {place: self._fields[place][1] for place in self._moved if place not in now}
        changed = {place: value for place, value in (back | now).items() if self._moved.get(place) != value}
        self._live.change(changed, nominal)
        self._moved = now
        self._forget(frozenset(changed))

    def _forget(self, changed: Places | None) -> None:
        self._subject.memory.forget(changed)
        self._kept = undisturbed(self._kept, changed)

    def _once(self, key: int, compute: Any) -> Any:
        if key not in self._kept:
            self._kept[key] = self._reads.of(compute)
        return self._kept[key][0]

    def _findings(self, check: int) -> list[NominalFinding]:
        return [self._finding(outcome) for outcome in systems()[check].check(self._subject)]

    def _finding(self, outcome: Outcome) -> NominalFinding:
        if outcome.limit is None:
            return NominalFinding(outcome.id, outcome.subject, None, None, self._shown.sentence(outcome))
        margin = None if outcome.missing else first(outcome.margin())
        verdict: Verdict = "unknown" if margin is None else "holds" if margin >= 0 else "short"
        return NominalFinding(
            outcome.id, outcome.subject, verdict, margin, self._shown.sentence(outcome, short=verdict == "short")
        )


def _with(value: Any, path: KeyPath, new: Quantity) -> Any:
    """Lay a quantity into what a field holds."""
    if not path:
        return new
    key, rest = path[0], path[1:]
    if isinstance(value, dict):
        return {**value, key: _with(value[key], rest, new)}
    return tuple(_with(item, rest, new) if i == key else item for i, item in enumerate(value))


def stated_by(loaded: Loaded) -> tuple[tuple[KeyPath, Any], ...]:
    """Robot and season as their files state them, with quantities in place of numbers."""

    def keep(_path: KeyPath, quantity: Quantity) -> Any:
        """Leave a quantity as the file states it."""
        return quantity

    return ((), instantiate(loaded.robot, Robot, keep)), (("season",), instantiate(loaded.season, Season, keep))
