"""What a search found: the best design, those that cannot be told from it, what carries the gain, how sure that is.

The best of many is partly the luckiest: what is told of a design comes from its own file, played again with luck that
had no part in choosing it.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import ClassVar

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.decide.change import Edit, Key
from fieldworthy.decide.search.clash import Clash, apart, as_file_lacks, nearest_in_all
from fieldworthy.decide.search.plans import as_file, changes_of, sentences, texts_with, written_plan
from fieldworthy.decide.search.racing import STEPS, Race
from fieldworthy.decide.search.simpler import distinct, simplified
from fieldworthy.decide.search.space import Space
from fieldworthy.decide.search.trial import Effort, Trial, built, hours_of, with_seed
from fieldworthy.decide.search.wanted import HOURS, PLAYED, Asked, Constraint
from fieldworthy.decide.search.words import needed_for, range_of, sentence
from fieldworthy.engine.evaluate import evaluate
from fieldworthy.engine.finding import Finding, Report, check_named
from fieldworthy.engine.system import dangerous
from fieldworthy.files import BadInput, Problem
from fieldworthy.files.document import KeyPath, dotted, read_text
from fieldworthy.files.writing import GONE, write_atomically
from fieldworthy.match import blocks
from fieldworthy.match.components import believed, grouped, middle_95, share_better
from fieldworthy.robot import Loaded
from fieldworthy.robot.words import phrase
from fieldworthy.units import counted, digits

RUNS = 4000
"""Matches that a design is played again, with fresh luck."""
FRESH = 0x5EED
"""Added to the seed for what is told: luck that chose nothing."""
_SAMPLES = 400
_FINALS = 6  # candidates that are tried as their files would be
_ALIKE = 5  # told at most that cannot be told from the best
_FRONT = 8  # designs of several objectives that are told
_EVEN = 0.05  # points a match; less is no difference


@dataclass(frozen=True, slots=True)
class Amount:
    """How much of one thing a design has.

    Attributes
    ----------
    name, unit : As asked for
    value : Of the design
    now : Of the present robot
    words : Of what it is, where that is not how it was asked for
    """

    name: str
    unit: str
    value: float
    now: float
    words: str = ""

    @property
    def about(self) -> str:
        """What it is, for people."""
        return self.words or self.name


@dataclass(frozen=True, slots=True)
class Gain:
    """How many points a design scores more than the present robot, played again with fresh luck.

    Attributes
    ----------
    points, now : Mean points of both
    more : Difference
    low, high : 95 % interval of the difference of the true means, over what is not known
    chance : That the design is truly better
    runs : Matches that each played
    """

    points: float
    now: float
    more: float
    low: float
    high: float
    chance: float
    runs: int


@dataclass(frozen=True, slots=True)
class Carried:
    """What one change is worth: the design against the same with this one left as it is.

    Attributes
    ----------
    key : Of the change
    sentence : What it is
    more : Points that the design scores more with it; None where what is wanted is something else
    low, high : 95 % interval over what is not known
    needed : What would not hold without it, in words; empty where everything would
    """

    key: str
    sentence: str
    more: float | None
    low: float | None
    high: float | None
    needed: tuple[str, ...]

    @property
    def told(self) -> str:
        """What it is needed for, or the points that it brings."""
        if self.needed:
            return needed_for(self.needed)
        if self.more is None or self.low is None or self.high is None:
            return "what is wanted is less without it"
        idle = ": nothing is lost without it" if self.more <= 0.0 else ""
        return f"{self.more:+.1f} points ({self.low:+.1f} to {self.high:+.1f}){idle}"


@dataclass(frozen=True, slots=True)
class Design:
    """One robot that was found.

    Attributes
    ----------
    edits : What its file says otherwise
    sentences : What changes, one sentence each
    amounts : Of what is wanted
    gain : In points; None where no matches are played
    breaks : Sentences of what holds now and would be short
    mends : Names of what is short now and would hold
    hours : Of work, about: build times and changes
    plan : The order of actions where it changes, in words
    """

    edits: tuple[Edit, ...]
    sentences: tuple[str, ...]
    amounts: tuple[Amount, ...]
    gain: Gain | None
    breaks: tuple[str, ...]
    mends: tuple[str, ...]
    hours: float
    plan: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Short:
    """How near the best candidate came to something that must hold and that none met.

    Attributes
    ----------
    id : Of the finding
    why : Why it must hold
    near : By how much of the limit, or of the chance, the nearest lacks it
    now : Where the present robot lacks it too: what is said of that, and what to change; empty where it holds now
    name : Of the finding, for people
    best : By how much the candidate lacks it that lacks least in all
    """

    id: str
    why: str
    near: float
    now: str = ""
    name: str = ""
    best: float = 0.0


@dataclass(frozen=True, slots=True)
class Found:
    """What a search found.

    Attributes
    ----------
    robot, season, part, seed : Names, and what fixes the search
    varied : How many things vary
    possible : How many candidates there are; None where too many to count
    candidates, screened, matches : Proposed, found to break what must hold, played
    finished : False where it was stopped before its budget was spent
    answer : What was found, in a few sentences
    best : The best design; None where none holds what it must, or none is better
    alike : Designs that cannot be told from it
    carried : What each change of the best is worth
    front : Where several things are wanted: designs that nothing beats
    knee : Which of the front gives most of both; None where there is no front
    short : Where nothing holds what it must: what none holds, and how near the best came
    clashes : And what never holds together, though each holds on some candidate
    ranges : What may vary, within what, and how it is now
    stamp : Of the robot's files as they were searched
    """

    FORMAT: ClassVar[str] = "fieldworthy search 1"

    robot: str
    season: str
    part: str
    seed: int
    varied: int
    possible: float | None
    candidates: int
    screened: int
    matches: int
    finished: bool
    answer: str
    best: Design | None = None
    alike: tuple[Design, ...] = ()
    carried: tuple[Carried, ...] = ()
    front: tuple[Design, ...] = ()
    knee: int | None = None
    short: tuple[Short, ...] = ()
    clashes: tuple[Clash, ...] = ()
    ranges: tuple[str, ...] = ()
    stamp: str = ""


def stamp_of(loaded: Loaded) -> str:
    """Tell a robot's files from any others."""
    return hashlib.sha256(json.dumps(sorted(loaded.texts.values())).encode()).hexdigest()[:16]


def read_found(file: Path) -> Found:
    """Read what a search printed for programs."""
    from pydantic import TypeAdapter, ValidationError  # noqa: PLC0415  only where a search is read back

    try:
        said = json.loads(read_text(file))
        if not isinstance(said, dict) or said.pop("format", None) != Found.FORMAT:
            raise ValueError(said)
        result: Found = TypeAdapter(Found).validate_python(said)
    except ValidationError as error:
        first = error.errors()[0]
        what = f"expected what 'search --json' prints; {dotted(first['loc'])}: {first['msg']}"
        raise BadInput([Problem(file, 1, 1, (), what)]) from error
    except ValueError as error:
        what = f"expected what 'search --json' prints ({Found.FORMAT})"
        raise BadInput([Problem(file, 1, 1, (), what)]) from error
    return result


@dataclass
class Judge:
    """Tries designs as their files would be, with luck that had no part in choosing them.

    Attributes
    ----------
    loaded : The robot that designs are changes of: the present one, or that with the plan that was found
    first : The present robot
    asked : What is varied and wanted
    seed : Of the search
    runs : Matches of each
    is_late : Whether the time is up: then the best is told, and what may be left out is left out
    """

    loaded: Loaded
    first: Loaded
    asked: Asked
    seed: int
    runs: int = RUNS
    is_late: Callable[[], bool] = lambda: False
    _worth: Array | None = None

    @cached_property
    def now(self) -> Report:
        """What is said of the present robot."""
        return evaluate(self.first, samples=_SAMPLES, seed=self.seed)

    @cached_property
    def points_now(self) -> Array:
        """The present robot's points."""
        return self.points(self.first)

    @cached_property
    def plays(self) -> bool:
        """Whether points can be told at all."""
        return self.loaded.nominal.plan is not None and any(o.name in PLAYED for o in self.asked.objectives)

    def worth_now(self, trial: Trial, effort: Effort) -> Array:
        """What the present robot is worth, by objective."""
        if self._worth is None:
            own = trial if trial.loaded is self.first else Trial(self.first, self.asked, self.seed)
            self._worth = own.tried(self.asked.space.now[None, :], effort).worth[0]
        return self._worth

    def points(self, loaded: Loaded) -> Array:
        """Play a robot's matches with fresh luck."""
        played = blocks(loaded, self.runs, self.seed + FRESH, self.asked.part)
        return np.concatenate([block.points for block in played])

    def lacks(self, report: Report, *, less: bool = False) -> tuple[str, ...]:
        """Ids of what must hold and does not, on a report of the candidate's own, which may lack a mechanism."""
        lacking = tuple(c.key[0] for c in self.asked.constraints if not _holds(c, report, less=less))
        before = {(f.id, f.subject): f.margin for f in self.now.findings if f.margin is not None}
        told = [(f.id, f.margin, before.get((f.id, f.subject), 0.0)) for f in report.findings if f.margin is not None]
        return (*lacking, *(one for one, then, was in told if one in dangerous() and then < min(was, 0.0) - 1e-9))

    def named(self, key: Key) -> str:
        """Name what must hold, for people: "'clamp: hold'"."""
        if key == HOURS:
            return HOURS[0]
        subject = next((f.subject for f in self.now.findings if f.id == key[0] and key[1] in ("", f.subject)), key[1])
        return check_named(key[0], subject or "robot").removeprefix("the check ")

    def gain(self, loaded: Loaded) -> Gain | None:
        """How many points more a design scores."""
        if not self.plays:
            return None
        return gain_of(self.points_now, self.points(loaded))


def gain_of(first: Array, then: Array) -> Gain:
    """Hold the points of two robots that played the same matches against each other."""
    gaps = believed(grouped(then - first))
    low, high = middle_95(gaps)
    more = float((then - first).mean())
    low, high = min(low, more), max(high, more)  # where a rare draw makes the difference
    return Gain(float(then.mean()), float(first.mean()), more, low, high, share_better(gaps), int(then.size))


def _holds(constraint: Constraint, report: Report, *, less: bool) -> bool:
    if constraint.key == HOURS:
        return True  # a batch tells it as exactly
    identifier, subject = constraint.key
    found = [f for f in report.findings if f.id == identifier and subject in ("", f.subject)]
    if not found and less and constraint.why != "must":
        return True  # of a mechanism that is left out
    return bool(found) and all(_one_holds(f, constraint.chance) for f in found)


def _one_holds(finding: Finding, chance: float) -> bool:
    if finding.margin is None or finding.margin < 0:
        return False
    return chance <= 0 or finding.chance is None or finding.chance >= chance


def found(judge: Judge, race: Race, *, finished: bool) -> Found:
    """Judge what a search's race came to."""
    ranges = ["The order of actions: what is done where, how often, and when to leave for the finish."]
    ranges = [*ranges[: judge.asked.plans], *(range_of(judge.first, v) for v in judge.asked.space.variables)]
    return dataclasses.replace(
        _judged(judge, race, finished=finished), ranges=tuple(ranges), stamp=stamp_of(judge.first)
    )


def _judged(judge: Judge, race: Race, *, finished: bool) -> Found:
    asked, space = judge.asked, judge.asked.space
    possible = space.count if space.count < 1e15 and not asked.plans else None
    counts = (race.candidates, race.screened, race.matches)
    robot, season = judge.loaded.nominal.robot, judge.loaded.nominal_season.season
    head = (robot, season, asked.part, judge.seed, len(space.variables), possible, *counts, finished)
    finals = _finals(judge, race)
    if not finals:
        short, clashes = _nearest(judge, race), _clashes(judge, race)
        return Found(*head, _none(judge, race, short, clashes), short=short, clashes=clashes)
    if len(asked.objectives) > 1:
        front = tuple(_design(judge, race.crew.trial, row, loaded, report) for row, loaded, report in finals)
        front, knee = _thinned(front, asked)
        return Found(*head, _front_words(front, knee), front=front, knee=knee)
    row, loaded, report = finals[0]
    best = _design(judge, race.crew.trial, row, loaded, report)
    if not best.edits:
        return Found(*head, _no_better(judge, race))
    if not space.variables:
        return Found(*head, _words(judge, best, race), best)
    if judge.is_late():
        return Found(*head, f"{_words(judge, best, race)} {_CUT}", best)
    alike = _alike(judge, race.crew.trial, finals, best)
    return Found(*head, _words(judge, best, race), best, alike, _carried(judge, race.crew.trial, row))


_CUT = "The time was up before it could be told what each change is worth and what is as good."
_Final = tuple[Array, Loaded, Report]


def _finals(judge: Judge, race: Race) -> list[_Final]:
    """The best candidates that hold what they must as their files would be, the best first."""
    if not judge.asked.space.variables or (judge.asked.plans and not len(race.proposer.rows)):
        return [(judge.asked.space.now, judge.loaded, evaluate(judge.loaded, samples=_SAMPLES, seed=judge.seed))]
    kept = race.proposer
    rows = kept.rows[(kept.lack <= 0) & np.isfinite(kept.worth).all(axis=1)]
    several = len(judge.asked.objectives) > 1
    rows = distinct(judge.asked.space, rows, 4 * _FRONT if several else _FINALS)
    found: list[_Final] = []
    seen: set[bytes] = set()
    for row in rows if several else simplified(race, rows, judge.is_late):
        if found and judge.is_late():
            break
        if row.tobytes() in seen:
            continue
        seen.add(row.tobytes())
        loaded = built(judge.loaded, judge.asked.space, row)
        if loaded is None:
            continue
        report = evaluate(loaded, samples=_SAMPLES, seed=judge.seed)
        if not judge.lacks(report, less=judge.asked.space.less_of(row) is not None):
            found.append((row, loaded, report))
    return found


def _design(judge: Judge, trial: Trial, row: Array, loaded: Loaded, report: Report) -> Design:
    space = judge.asked.space
    edits, said = changed_in(judge.first, space, row)
    before_plan, plan = judge.first.nominal.plan, loaded.nominal.plan
    new_plan: dict[KeyPath, object] = {}
    if before_plan is not None and plan is None:
        edits += (Edit("plan", ("plan",), "there", ""),)
    if before_plan is not None and plan is not None and before_plan != plan:
        old = as_file(before_plan)
        new_plan = changes_of(before_plan, plan)
        edits += tuple(
            Edit(dotted(p), p, written_plan(old.get(str(p[1]), "")), "" if v is GONE else written_plan(v))
            for p, v in new_plan.items()
        )
    said_plan = sentences(before_plan, plan) if new_plan and before_plan is not None and plan is not None else ()
    gain = judge.gain(loaded)
    effort = STEPS[-1] if trial.plays else Effort()
    worth = trial.tried(row[None, :], effort).worth[0]
    was = judge.worth_now(trial, effort)
    amounts = []
    for i, one in enumerate(judge.asked.objectives):
        value, now = one.better * worth[i], one.better * was[i]
        if one.name == "points" and gain is not None:
            value, now = gain.points, gain.now
        words = "" if one.key is None else f"margin of {judge.named(one.key)}"
        amounts.append(Amount(one.name, one.unit, float(value), float(now), words))
    before = {(f.id, f.subject): f for f in judge.now.findings}
    held = {key for key, f in before.items() if f.verdict == "holds"}
    short = {key for key, f in before.items() if f.verdict == "short"}
    breaks = tuple(f.because for f in report.short if (f.id, f.subject) in held)
    mended = [f for f in report.findings if f.verdict == "holds" and (f.id, f.subject) in short]
    mends = tuple(check_named(f.id, f.subject).removeprefix("the check ") for f in mended)
    hours = float(hours_of(trial.loaded, trial.asked.space, row[None, :])[0])
    return Design(edits, said, tuple(amounts), gain, breaks, mends, hours, said_plan)


def changed_in(first: Loaded, space: Space, row: Array) -> tuple[tuple[Edit, ...], tuple[str, ...]]:
    """What a candidate's file says otherwise but for its plan, and each change as a sentence."""
    changed = [(v, x) for v, x in zip(space.variables, row.tolist(), strict=True) if x != v.now and v.sort != "thing"]
    edits = tuple(
        Edit(dotted(path), path, _written(v.edits(v.now)[path]), _written(text))
        for v, value in changed
        for path, text in v.edits(value).items()
    )
    less = space.less_of(row)
    said = tuple(sentence(first, v, value) for v, value in changed)
    if less is None:
        return edits, said
    gone = tuple(Edit(dotted(p), p, "there", "") for p in less.changes if p[0] != "plan")
    return (*edits, *gone), (*less.sentences, *said)


def _written(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _alike(judge: Judge, trial: Trial, finals: Sequence[_Final], best: Design) -> tuple[Design, ...]:
    """Designs whose difference from the best fresh luck does not tell."""
    if not judge.plays:
        top = best.amounts[0].value
        close = [_design(judge, trial, *one) for one in finals[1 : 1 + _ALIKE]]
        return tuple(d for d in close if math.isclose(d.amounts[0].value, top, rel_tol=1e-3, abs_tol=1e-9))
    first = judge.points(finals[0][1])
    told = []
    for row, loaded, report in finals[1:]:
        points = judge.points(loaded)
        table = grouped(points - first).mean(axis=1)
        error = float(table.std(ddof=1)) / math.sqrt(table.size) if table.size > 1 else math.inf
        if abs(float((points - first).mean())) <= max(1.96 * error, _EVEN):
            told.append(_design(judge, trial, row, loaded, report))
        if len(told) == _ALIKE or judge.is_late():
            break
    return tuple(told)


def _carried(judge: Judge, trial: Trial, row: Array) -> tuple[Carried, ...]:
    """Leave one change back at a time, and see what is lost with fresh luck or does not hold."""
    space = judge.asked.space
    changed = np.flatnonzero(row != space.now)
    fresh = with_seed(trial, judge.seed + FRESH)
    back = np.repeat(row[None, :], changed.size + 1, axis=0)
    back[np.arange(1, changed.size + 1), changed] = space.now[changed]
    lacks = fresh.tried(back, Effort(STEPS[-1].cases, 0)).lacks
    points = fresh.points(back, STEPS[-1]) if judge.plays else None
    found = []
    for k, column in enumerate(changed.tolist(), 1):
        gain = None if points is None else gain_of(points[k], points[0])
        short = [c.key for c, lack in zip(judge.asked.constraints, lacks[k], strict=True) if lack > 0]
        if not short and gain is not None and gain.more <= _EVEN:  # a batch may not see what its own file would say
            short = _lacking_by_file(judge, back[k])
        needed = tuple(dict.fromkeys(judge.named(key) for key in short))
        variable = space.variables[column]
        said = sentence(judge.loaded, variable, float(row[column]))
        more, low, high = (None, None, None) if gain is None else (gain.more, gain.low, gain.high)
        found.append(Carried(variable.key, said, more, low, high, needed))
    return tuple(sorted(found, key=lambda c: (not c.needed, -(c.more or 0.0))))


def _lacking_by_file(judge: Judge, row: Array) -> list[Key]:
    """What must hold and does not on a candidate as its file would be read."""
    loaded = built(judge.loaded, judge.asked.space, row)
    if loaded is None:
        return []
    report = evaluate(loaded, samples=_SAMPLES, seed=judge.seed)
    return [(one, "") for one in judge.lacks(report, less=judge.asked.space.less_of(row) is not None)]


def _nearest(judge: Judge, race: Race) -> tuple[Short, ...]:
    """What no candidate met, the farthest first."""
    if race.nearest is None:
        return ()
    each = zip(judge.asked.constraints, race.nearest.least.tolist(), race.nearest.best.tolist(), strict=True)
    return tuple(
        Short(c.key[0], c.why, lack, _lacking(judge, c, lack), judge.named(c.key), best)
        for c, lack, best in sorted(each, key=lambda one: -one[1])
        if lack > 0
    )


def _clashes(judge: Judge, race: Race) -> tuple[Clash, ...]:
    """What never holds together, though each holds on some candidate."""
    keys, near = [c.key for c in judge.asked.constraints], race.nearest
    return tuple(
        Clash((keys[i][0], keys[j][0]), (judge.named(keys[i]), judge.named(keys[j])),
              (float(near.given[i, j]), float(near.given[j, i])))
        for i, j in near.pairs
    ) if near is not None else ()  # fmt: skip


def _lacking(judge: Judge, constraint: Constraint, lack: float) -> str:
    """What the present robot itself lacks of what must hold, and whether anything that varies reaches it."""
    identifier, subject = constraint.key
    found = next((f for f in judge.now.failing if f.id == identifier and subject in ("", f.subject)), None)
    if found is None or found.margin is None or found.margin >= 0.0:
        return ""
    told = f"{judge.first.nominal.robot} lacks it as it is: {found.because}"
    if constraint.chance > 0.0 or lack < -found.margin - 1e-6:
        return told
    robot, season = judge.first.robot, judge.first.season
    paths = {dotted(path): path for path, _ in judge.first.quantities}
    things = "; ".join(phrase(robot, season, paths[key]) for key in found.inputs[:2] if key in paths)
    other = f", or let one of these vary too: {things}" if things else ""
    return f"{told} Nothing that varies changes that: mend it in the file first{other}."


def _none(judge: Judge, race: Race, short: tuple[Short, ...], clashes: tuple[Clash, ...]) -> str:
    if not race.candidates or race.nearest is None:
        return "No candidate was tried before the search was stopped."
    named = zip(judge.asked.constraints, race.nearest.best.tolist(), strict=True)
    best = sorted(((judge.named(c.key), lack) for c, lack in named if lack > 0), key=lambda one: -one[1])
    if not best:
        return as_file_lacks(race.candidates, _lacks_as_file(judge, race))
    if not short:
        return apart(race.candidates, clashes, best)
    worst = short[0]
    in_all = f" {nearest_in_all(best)}" if len(best) > 1 else ""
    return (
        f"Nothing within these ranges holds what it must. The check {worst.name} is the farthest: the nearest of "
        f"{counted(race.candidates, 'candidate')} is {digits(100 * worst.near, 2)} % of its limit short.{in_all} "
        f"{worst.now or 'Widen a range, or ask for less.'}"
    )


def _lacks_as_file(judge: Judge, race: Race) -> list[tuple[str, float]]:
    """What the best candidate lacks as its file would be read, the most first."""
    row = race.proposer.rows[0]
    loaded = built(judge.loaded, judge.asked.space, row)
    if loaded is None:
        return []
    report = evaluate(loaded, samples=_SAMPLES, seed=judge.seed)
    ids = judge.lacks(report, less=judge.asked.space.less_of(row) is not None)
    chances = {c.key[0]: c.chance for c in judge.asked.constraints}
    found = []
    for one in report.findings:
        if one.id in ids and one.margin is not None and not _one_holds(one, chances.get(one.id, 0.0)):
            rare = max(chances.get(one.id, 0.0) - (1.0 if one.chance is None else one.chance), 0.0)
            found.append((check_named(one.id, one.subject).removeprefix("the check "), max(-one.margin, 0.0) + rare))
    return sorted(found, key=lambda one: -one[1])


def _no_better(judge: Judge, race: Race) -> str:
    name = judge.loaded.nominal.robot
    kept = any(c.why == "keep" for c in judge.asked.constraints)
    more = " and keeps all that holds now; --free (in a file, 'keep: false') lets some of it go" if kept else ""
    if race.candidates == 1:
        return f"The one candidate that was tried is not better than {name} as it is: try more."
    return f"None of the {counted(race.candidates, 'candidate')} that were tried is better than {name} as it is{more}."


def _words(judge: Judge, best: Design, race: Race) -> str:
    name = judge.loaded.nominal.robot
    if best.gain is not None:
        g = best.gain
        sure = f"{100 * g.chance:.0f} %" if g.chance < 0.995 else "over 99 %"
        return (
            f"The best of {counted(race.candidates, 'candidate')} scores {g.points:.1f} points a match where "
            f"{name} scores {g.now:.1f}: {g.more:+.1f}, 95 % interval {g.low:+.1f} to {g.high:+.1f} over what is "
            f"not known, played again with fresh luck. Chance that it is truly better: {sure}."
        )
    a = best.amounts[0]
    value = f"{a.value:.3g} {a.unit}".rstrip()
    return f"The best of {counted(race.candidates, 'candidate')} has {a.about} {value} where {name} has {a.now:.3g}."


def _thinned(front: Sequence[Design], asked: Asked) -> tuple[tuple[Design, ...], int]:
    """Designs that nothing beats, as many as a person can look at, and which of them is the knee."""
    import moocore  # noqa: PLC0415  only where there are several objectives

    worth = np.array([[o.better * a.value for o, a in zip(asked.objectives, d.amounts, strict=True)] for d in front])
    kept = np.flatnonzero(moocore.is_nondominated(-worth, keep_weakly=False))
    low, high = worth[kept].min(axis=0), worth[kept].max(axis=0)
    lost = (high - worth[kept]) / np.maximum(high - low, 1e-12)
    while len(kept) > _FRONT:
        share = np.asarray(moocore.hv_contributions(lost, ref=np.full(worth.shape[1], 1.1)))
        ends = lost.min(axis=0) == lost
        gone = int(np.where(ends.any(axis=1), np.inf, share).argmin())
        kept, lost = np.delete(kept, gone), np.delete(lost, gone, axis=0)
    along = np.argsort(-worth[kept][:, 0], kind="stable")
    kept, lost = kept[along], lost[along]
    return tuple(front[int(i)] for i in kept), int(lost.sum(axis=1).argmin())


def _front_words(front: Sequence[Design], knee: int) -> str:
    ends = "; ".join(f"{a.about} {min(d.amounts[i].value for d in front):.3g} to "
                     f"{max(d.amounts[i].value for d in front):.3g} {a.unit}".rstrip()
                     for i, a in enumerate(front[0].amounts))  # fmt: skip
    at = ", ".join(f"{a.about} {a.value:.3g} {a.unit}".rstrip() for a in front[knee].amounts)
    if len(front) == 1 and not front[0].edits:
        return f"Nothing that was found beats the robot as it is: {at}."
    if len(front) == 1:
        return f"One design beats all others that were found in everything that is wanted: {at}."
    return f"{len(front)} designs that nothing found beats: {ends}. The knee, where each gives up least: {at}."


def write_variant(loaded: Loaded, design: Design, file: Path) -> tuple[Path, ...]:
    """Write a design into a file of its own, comments kept; a changed parts list beside it."""
    if file.resolve().parent != loaded.document.file.resolve().parent:
        raise BadInput([Problem(file, 1, 1, (), "expected a file beside the robot's, which names its season there")])
    texts = variant_texts(loaded, changes_in(design), file)
    for beside in list(texts)[1:]:
        if beside.exists():
            raise BadInput([Problem(beside, 1, 1, (), "expected a file that is not there yet: it would be lost")])
    for path, text in reversed(texts.items()):
        write_atomically(path, text)
    return tuple(texts)


def variant_texts(loaded: Loaded, changes: Mapping[KeyPath, object], file: Path) -> dict[Path, str]:
    """The text of a variant that is to be a file of its own, first, and of changed files that it names beside it."""
    texts = texts_with(loaded, changes)
    main = loaded.document.file
    text = texts.pop(main, loaded.texts[main])
    besides = {}
    for other, changed in texts.items():
        beside = file.with_name(f"{file.stem}_{other.name}")
        text = text.replace(other.name, beside.name)
        besides[beside] = changed
    return {file: text, **besides}


def changes_in(design: Design) -> dict[KeyPath, object]:
    """What a design's file says otherwise, as data."""
    return {edit.path: _as_plain(edit) for edit in design.edits}


def _as_plain(edit: Edit) -> object:
    if not edit.after:
        return GONE
    if edit.path[0] == "plan" and len(edit.path) == 2:
        return json.loads(edit.after)
    return int(edit.after) if edit.after.isdigit() else {"true": True, "false": False}.get(edit.after, edit.after)
