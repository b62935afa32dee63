"""What to do in the hours that are left: change the plan, mend, build, practise, measure, by points gained an hour.

The plans that a team could play instead are its own with a list of steps played more often, less often or not at all.
They are held against the plan as written over the same draws and the same luck; so is a match in which one thing that
stops an action is lifted.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from pydantic import TypeAdapter

from fieldworthy.arrays import Array
from fieldworthy.decide.information import MATCHES_A_DAY, Answer, Doubt, answers, doubts_of, merged
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import BLOCK, Cases
from fieldworthy.engine.finding import first, in_plain_words
from fieldworthy.match import ENDINGS, Part, Runs, Setup, match_clock, play_runs, setup, with_chance
from fieldworthy.match.ability import mechanisms_for, spoiled_by
from fieldworthy.match.components import EACH, believed, grouped, middle_95, share_better
from fieldworthy.match.forecast import doubts, drawn_setup
from fieldworthy.match.setup import with_ability
from fieldworthy.match.state import MOST_ROUNDS, NEED, REASONS
from fieldworthy.match.timeline import played
from fieldworthy.robot import Loaded
from fieldworthy.units import often
from fieldworthy.vehicle.supply import ENDLESS

REMEDIES = "'fieldworthy check --remedies'"
Kind = Literal["plan", "mend", "build", "practise", "measure"]
_DRIVEN, _FINISH = 1, 2
_FEWER = 3  # rounds less than planned that are looked at
_SURE = 0.9  # chance of being truly better from which another plan is told; as for variants
_LEAST = 0.05  # points a match; less is not told
_OFTEN = 0.05  # of an action's tries that must end so before it is told
_SPARE = 3.0  # seconds at the end that are nobody's loss
_HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class Gain:
    """Points a match that something would bring.

    Attributes
    ----------
    points : On average
    interval : 95 % interval over what is not known
    chance : That it brings any at all
    """

    points: float
    interval: tuple[float, float]
    chance: float


def gain_of(base: Array, other: Array, chances: Array | None = None) -> Gain:
    """Hold points of the same matches against each other, draws by matches; chances of their actions, by draw."""
    gaps = other - base
    known = believed(gaps, chances)
    return Gain(float(gaps.mean()) if gaps.size else 0.0, middle_95(known), share_better(known))


@dataclass(frozen=True, slots=True)
class Blocked:
    """Something that stops an action, and what the action would bring without it.

    Attributes
    ----------
    action, reason : The action, and one of `layout.REASONS`
    share : Of its tries that end so
    gain : Points a match with that lifted and all else as it is
    change : What would have to change
    """

    action: str
    reason: str
    share: float
    gain: Gain
    change: str

    @property
    def sentence(self) -> str:
        """What stops the action, what that costs, and that nothing within the tolerances turns it."""
        low, high = self.gain.interval
        turned = "; nothing that the file leaves open turns that" if self.share > _NEVER else ""
        return (
            f"'{self.action}' {ENDINGS[self.reason].does} in {_percent(self.share)} of its tries{turned}. Without that "
            f"a match brings {self.gain.points:.1f} points more ({low:.1f} to {high:.1f}). {self.change}."
        )


@dataclass(frozen=True, slots=True)
class Spare:
    """Time that the plan leaves at its end, and what fits in.

    Attributes
    ----------
    ends, of : When the last action ends, and when the match does, if every try works in its mean time [s]
    fits : Steps that could be repeated; empty where none brings points
    gain : Points a match with them; None where nothing fits
    """

    ends: float
    of: float
    fits: tuple[str, ...]
    gain: Gain | None

    @property
    def sentence(self) -> str:
        """How much time is left and what would fit in."""
        said = f"The plan ends at {self.ends:.0f} s of {self.of:.0f} s and leaves {self.of - self.ends:.0f} s unused"
        if self.gain is None or not self.fits:
            return f"{said}; none of its steps, repeated in that time, brings more points."
        low, high = self.gain.interval
        verb = "repeated in that time, brings" if len(self.fits) == 1 else "repeated in that time, bring"
        return (
            f"{said}; {_listed(self.fits)}, {verb} {self.gain.points:.1f} points a match more "
            f"({low:.1f} to {high:.1f})."
        )


@dataclass(frozen=True, slots=True)
class Job:
    """One thing to do, and what it brings.

    Attributes
    ----------
    kind : ``plan``, ``mend``, ``build``, ``practise`` or ``measure``
    what : What to do, as an order
    points : Points a match that it gains on average
    error : Standard error of the points; 0 where only draws that both sides share limit it
    day : Points on a day of eight matches
    hours : What it takes; None where nobody has said
    rate : Points a match for an hour of work; None where the hours are not known or none are needed
    fits : Whether it fits into the hours left, after what stands before it; None where either is not known
    builds : The robots on which nothing is left to build after it
    """

    kind: Kind
    what: str
    points: float
    error: float
    day: float
    hours: float | None
    rate: float | None
    fits: bool | None
    builds: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """What to do, what it brings and takes, and whether it fits in."""
        words = f"{self.what}: {self.points:.1f} points a match, {self.day:.0f} on a day of {MATCHES_A_DAY} matches"
        if self.hours is None:
            return f"{words}. {REMEDIES} says how, and how much work that is."
        if self.hours <= 0.0:
            return f"{words}, without work."
        time = f"{self.hours:.1f} h" if self.hours >= 1.0 else f"{60.0 * self.hours:.0f} min"
        fits = {True: "", False: "; it does not fit into the hours left", None: ""}[self.fits]
        return f"{words}, for {time} of work ({self.rate:.1f} points an hour){fits}."


@dataclass(frozen=True, slots=True)
class Skill:
    """What getting better at an action would bring; how long that takes nobody can compute.

    Attributes
    ----------
    action : Its name
    points, error : Points a match for every 10 % more tries that succeed, and their standard error
    now : Share of its tries that succeed now, on average over what practice leaves open
    """

    action: str
    points: float
    error: float
    now: float

    @property
    def sentence(self) -> str:
        """What getting better would bring."""
        then = min(self.now + 0.1, 1.0)
        return (
            f"If '{self.action}' works in {100 * then:.0f} % of its tries instead of {100 * self.now:.0f} %, a match "
            f"brings {self.more:.1f} points more."
        )

    @property
    def more(self) -> float:
        """Points a match for 10 % more tries that succeed, or as many as are left to win."""
        return self.points * min(0.1, 1.0 - self.now) / 0.1


@dataclass(frozen=True, slots=True)
class Work:
    """What to do with the hours left.

    Attributes
    ----------
    left : Hours until the next event; None where the file does not say
    choice : What there is to choose between: what information is valued for
    jobs : In the order of points gained an hour; first what takes no hours
    answers : What knowing each thing would be worth to the choice
    told : One sentence on what practice and measurements can change
    blocked : What stops actions; only for a single robot
    skills : What getting better at an action would bring, most first; only for a single robot
    spare : Time that the plan leaves; None where it leaves none
    """

    left: float | None
    choice: str
    jobs: tuple[Job, ...]
    answers: tuple[Answer, ...]
    told: str
    blocked: tuple[Blocked, ...] = ()
    skills: tuple[Skill, ...] = ()
    spare: Spare | None = None


@dataclass(frozen=True, slots=True)
class _Other:
    """Another plan: what to do, its rows, and the steps that are repeated at its end."""

    what: str
    setup: Setup
    again: tuple[str, ...] = ()


def others(match: Setup) -> Iterator[_Other]:
    """List the plans next to one: lists of steps fewer times, not at all, or once more until the finish."""
    table = match.structure.item
    for i, (period, _, _, rounds) in enumerate(table.tolist()):
        if period not in (_DRIVEN, _FINISH):
            continue
        steps = _steps(match, i)
        bounded = rounds < MOST_ROUNDS
        for fewer in range(max(rounds - _FEWER, 1), rounds) if bounded else ():
            yield _Other(f"Play {_listed(steps)} {often(fewer)} instead of {rounds}", _with_rounds(match, i, fewer))
        if len(table) > 1:
            yield _Other(f"Leave out {_listed(steps)}", _with_rounds(match, i, 0))
        if period == _DRIVEN:
            yield _Other(f"Repeat {_listed(steps)} until the finish", _with_more(match, i), steps)


def _steps(match: Setup, item: int) -> tuple[str, ...]:
    _, head, length, _ = match.structure.item[item].tolist()
    return tuple(match.actions[a] for a in match.structure.step[head : head + length, 0])


def _listed(steps: Sequence[str]) -> str:
    named = [f"'{s}'" for s in dict.fromkeys(steps)]
    return named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"


def _with_rounds(match: Setup, item: int, rounds: int) -> Setup:
    table = match.structure.item.copy()
    table[item, 3] = rounds
    return dataclasses.replace(match, structure=match.structure._replace(item=table))


def _with_more(match: Setup, item: int) -> Setup:
    """The same list again behind the last one of the driven period, as often as it fits in."""
    table, until = match.structure.item, match.structure.until
    end = int(np.count_nonzero(table[:, 0] <= _DRIVEN))
    row = table[item].copy()
    row[3] = MOST_ROUNDS
    structure = match.structure._replace(item=np.insert(table, end, row, axis=0), until=np.insert(until, end, np.inf))
    return dataclasses.replace(match, structure=structure)


@dataclass(frozen=True, slots=True)
class _Bench:
    """One robot's match over draws of what is not known, and the points of its plan as written."""

    loaded: Loaded
    match: Setup
    runs: Runs
    seed: int

    @property
    def table(self) -> Array:
        """Points, draws by matches."""
        return grouped(self.runs.points, self.runs.each)

    def against(self, other: Setup) -> Array:
        """Points of the same matches otherwise, draws by matches."""
        again = play_runs(other, self.runs.points.size, seed=self.seed, each=self.runs.each)
        return grouped(again.points, again.each)


def work_of(loaded: Loaded, runs: int = 2000, seed: int = 0, part: Part = "whole") -> Work:
    """List what to do with the hours left on one robot.

    Notes
    -----
    Another plan keeps what each mechanism can do in a draw as the plan as written left it.
    """
    draws = max(min(runs, BLOCK) // EACH, 2)
    match = drawn_setup(loaded, Cases(seed, 0, draws, []), part=part)
    bench = _Bench(loaded, match, play_runs(match, draws * EACH, seed=seed, each=EACH), seed)
    plans = [(other, bench.against(other.setup)) for other in others(match)]
    stops = blocked(bench)
    known = doubts_of(loaded, doubts(loaded, match, bench.runs.odds[::EACH], seed))
    found = answers([bench.table, *(table for _, table in plans)], known, seed)
    left = None if loaded.nominal.hours_left is None else first(loaded.nominal.hours_left) / _HOUR
    jobs = [*_better_plans(bench, plans), *_mending(stops), *_building(bench), *learning(found)]
    spare = _spare(bench, plans, part)
    answer = told(found, "which plan is best, as written or slightly changed")
    choice = "the plans next to the one as written"
    return Work(left, choice, in_order(jobs, left), found, answer, stops, _skills(bench), spare)


def _better_plans(bench: _Bench, plans: Sequence[tuple[_Other, Array]]) -> Iterator[Job]:
    """The plan that gains most, where it is surely better."""
    gains = [(gain_of(bench.table, table), other) for other, table in plans]
    sure = [(g, o) for g, o in gains if g.points >= _LEAST and g.chance >= _SURE]
    for gain, other in sorted(sure, key=lambda pair: -pair[0].points)[:1]:
        yield job("plan", other.what, gain.points, 0.0)


def _mending(stops: Sequence[Blocked]) -> Iterator[Job]:
    for stop in stops:
        yield job("mend", stop.change, stop.gain.points, None)


def _building(bench: _Bench) -> Iterator[Job]:
    """Mechanisms with work left: what the actions that need them bring."""
    robot, season = bench.loaded.nominal, bench.loaded.nominal_season
    for name, mechanism in robot.mechanisms.items():
        hours = 0.0 if mechanism.build_time is None else first(mechanism.build_time) / _HOUR
        actions = [a for a in bench.match.actions if name in mechanisms_for(robot, season, a)]
        if hours <= 0.0 or not actions:
            continue
        without = bench.match
        for action in actions:
            without = with_chance(without, action, 0.0)
        gain = gain_of(bench.against(without), bench.table)
        yield job("build", f"Build '{name}', compared with playing without it", gain.points, hours)


def learning(found: Sequence[Answer]) -> Iterator[Job]:
    """Practice and measurements that can change the choice: of several numbers of tries the one that pays best."""
    best: dict[str, Job] = {}
    for answer in found:
        if answer.kind == "group" or answer.minutes is None or not answer.tells:
            continue
        what = f"Try {answer.words} {often(answer.tries)} more" if answer.tries else f"Measure {answer.words}"
        what = f"{answer.first}, then {what[:1].lower()}{what[1:]}" if answer.first else what
        what += ", then choose"
        kind: Kind = "practise" if answer.tries else "measure"
        one = job(kind, what, answer.points, answer.minutes / 60.0)
        one = dataclasses.replace(one, error=answer.error, builds=answer.builds)
        if answer.key not in best or (one.rate or 0.0) > (best[answer.key].rate or 0.0):
            best[answer.key] = one
    yield from best.values()


@dataclass(frozen=True, slots=True)
class Entrant:
    """A variant that may be entered, with what its matches gave.

    Attributes
    ----------
    name : Of the robot
    table : Points, draws by matches
    doubts : What was drawn with them
    needed, left : Hours of work on it, and until the next event; None where the file does not say
    """

    name: str
    table: Array
    doubts: Sequence[Doubt]
    needed: float
    left: float | None


def work_between(entrants: Sequence[Entrant], seed: int = 0) -> Work:
    """List what to do with the hours left while variants are to choose between."""
    known = merged([e.doubts for e in entrants], [e.name for e in entrants]) if entrants else []
    found = answers([e.table for e in entrants], known, seed)
    lefts = [e.left for e in entrants if e.left is not None]
    left = min(lefts) if lefts else None
    ready = [e for e in entrants if e.needed <= 0.0]
    jobs = list(learning(found))
    if ready:
        base = max(ready, key=lambda e: float(e.table.mean()))
        gains = [(e, gain_of(base.table, e.table)) for e in entrants if e.needed > 0.0]
        built = [_built(entrant, gain) for entrant, gain in gains]
        jobs += [one for one in built if not any(_holds(learnt, one) for learnt in jobs)]
    names = " or ".join(e.name for e in entrants)
    same = all(np.array_equal(e.table, entrants[0].table) for e in entrants)
    return Work(left, names, in_order(jobs, left), found, told(found, f"whether {names} is better", same=same))


def _built(entrant: Entrant, gain: Gain) -> Job:
    """To build a robot, for what it then brings against the best that is ready."""
    one = job("build", f"Build {entrant.name}{_unsure(gain)}", gain.points, entrant.needed)
    return dataclasses.replace(one, builds=(entrant.name,))


def _holds(learnt: Job, build: Job) -> bool:
    """Whether a better job holds the building of a robot already, before its tries."""
    return set(build.builds) <= set(learnt.builds) and (learnt.rate or 0.0) > (build.rate or 0.0)


def _unsure(gain: Gain) -> str:
    """Say that something may bring nothing, where it is not nearly sure to bring points."""
    return "" if gain.chance >= _SURE else ", which may not be better"


def job(kind: Kind, what: str, points: float, hours: float | None) -> Job:
    """Say what something brings and takes; whether it fits is found when all are in order."""
    rate = points / hours if hours else None
    return Job(kind, what, points, 0.0, MATCHES_A_DAY * points, hours, rate, None)


def in_order(jobs: Sequence[Job], left: float | None) -> tuple[Job, ...]:
    """Put what takes no hours first, then by points gained an hour, and say what fits into the hours left."""
    worth = [j for j in jobs if j.points >= _LEAST or j.kind in ("practise", "measure")]
    ranked = sorted(worth, key=lambda j: (j.hours is None, j.hours != 0.0, -(j.rate or 0.0), -j.points))
    spent, found = 0.0, []
    for one in ranked:
        if one.hours is None or left is None:
            found.append(one)
            continue
        fits = spent + one.hours <= left + 1e-9
        spent += one.hours if fits else 0.0
        found.append(dataclasses.replace(one, fits=fits))
    return tuple(found)


SETTLED = "No practice and no measurement"
"""So begins what is said where nothing that can be found out changes the choice."""


def told(found: Sequence[Answer], question: str, *, same: bool = False) -> str:
    """Say what practice and measurements could change at most."""
    whole = next((a for a in found if a.key == "everything"), None)
    if whole is None:
        return "There is nothing to choose between, so nothing to find out first."
    if same:
        return "They score the same whatever is found out, so there is nothing to find out first."
    if not whole.tells:
        return f"{SETTLED} would change {question}: what is known settles it."
    said = f"Knowing all that is open would bring {whole.points:.1f} points a match, since it would tell {question}"
    parts = [a for a in found if a.key != "everything" and a.tries is None and a.tells and a.kind != "group"]
    if not parts or parts[0].points < _LEAST:
        return f"{said}; what each number alone would bring is too little to tell."
    most = parts[0]
    source = f"how often {most.words} works" if most.kind == "practise" else most.words
    # both are estimates, and a part of it is not worth more than all of it
    return f"{said}. Most of that hangs on {source} ({min(most.points, whole.points):.1f})."


def _spare(bench: _Bench, plans: Sequence[tuple[_Other, Array]], part: Part) -> Spare | None:
    """How early the plan ends, and which of its lists fits in again."""
    context = Context(bench.loaded.nominal, bench.loaded.nominal_season)
    planned, events = match_clock(context, part), played(setup(context, part)).events
    ends = max((e.ends for e in events), default=0.0)
    if part == "autonomous" or planned.end - ends < _SPARE:
        return None
    best: tuple[_Other, Gain] | None = None
    for other, table in plans:
        gain = gain_of(bench.table, table)
        if other.again and gain.points >= _LEAST and gain.chance >= _SURE:
            best = (other, gain) if best is None or gain.points > best[1].points else best
    if best is None:
        return Spare(ends, planned.end, (), None)
    return Spare(ends, planned.end, best[0].again, best[1])


def _skills(bench: _Bench) -> tuple[Skill, ...]:
    """Slope of the points with each practised chance, all at once, over the draws."""
    names = [a for i, a in enumerate(bench.match.actions) if bench.match.structure.chance[i, 2] < 0.0]
    columns = [bench.match.actions.index(a) for a in names]
    means = bench.table.mean(axis=1)
    chances = bench.runs.odds[:: bench.runs.each][: means.size, columns]
    free = means.size - len(names) - 1
    if not names or free < 10:
        return ()
    table = np.column_stack([np.ones(means.size), chances])
    slopes, *_ = np.linalg.lstsq(table, means, rcond=None)
    variance = float(np.sum((means - table @ slopes) ** 2)) / free
    errors = np.sqrt(np.diag(np.linalg.pinv(table.T @ table)) * variance)
    rows = zip(
        names, (0.1 * slopes[1:]).tolist(), (0.1 * errors[1:]).tolist(), chances.mean(axis=0).tolist(), strict=True
    )
    found = [Skill(*row) for row in rows]
    return tuple(sorted((s for s in found if s.points > 2.0 * s.error), key=lambda s: -s.more))


_NEVER = 0.99  # share of the tries from which no draw of what is not known lets it work


def _percent(share: float) -> str:
    return "over 99 %" if share > 0.99 else f"{100 * share:.0f} %"


_ASKED = 200  # cases that say what stops an action
_LIFTED = ("air", "heat", "load", "unable")
_CHANGES = {
    "air": "Give {action} the air that it lacks (by then {tanks} below what {cylinders})",
    "heat": "Keep the motors of {action} cool enough (they are cut back when the plan gets there)",
    "load": "Give {action} stronger motors or more gearing (its load is beyond them)",
    "unable": "Mend what {action} needs ({because}its mechanism cannot do it as described)",
}


def blocked(bench: _Bench) -> tuple[Blocked, ...]:
    """Say which actions a lack of air, power or ability stops, and what each would bring without that."""
    match, ended = bench.match, bench.runs.ended.sum(axis=0).astype(float)
    found = []
    for i, action in enumerate(match.actions):
        tries = float(ended[i].sum())
        for reason in _LIFTED:
            share = float(ended[i, REASONS.index(reason)]) / tries if tries else 0.0
            if share > _OFTEN:
                gain = gain_of(bench.table, bench.against(lifted(match, i, reason)))
                if gain.points >= _LEAST:
                    found.append(Blocked(action, reason, share, gain, _change(bench, action, reason)))
    return tuple(sorted(found, key=lambda b: -b.gain.points))


def lifted(match: Setup, action: int, reason: str) -> Setup:
    """The same match without one thing that stops an action, and that for this action alone."""
    structure, numbers = match.structure, match.numbers
    if reason == "unable":
        return with_ability(_supplied(match, action, endless=True), {match.actions[action]: 1.0})
    if reason == "air":
        return _supplied(match, action, endless=False)
    share = numbers.share.copy()
    begin, count = structure.work[action]
    share[:, begin : begin + count] = 0.0
    return dataclasses.replace(match, numbers=numbers._replace(share=share))


def _supplied(match: Setup, action: int, *, endless: bool) -> Setup:
    """The same match with strokes of one action that need no pressure: those that air could serve, or the others."""
    structure, numbers = match.structure, match.numbers
    begin, count = structure.draw[action]
    mine = structure.draws[begin : begin + count]
    # other actions that move the same cylinder go on needing what they need
    own = numbers.ways[:, mine].copy()
    own[..., NEED] = np.where((own[..., NEED] >= ENDLESS) == endless, 0.0, own[..., NEED])
    draws = structure.draws.copy()
    draws[begin : begin + count] = numbers.ways.shape[1] + np.arange(count)
    tanks = np.concatenate([structure.way_tank, structure.way_tank[mine]])
    ways = np.ascontiguousarray(np.concatenate([numbers.ways, own], axis=1))
    return dataclasses.replace(
        match, structure=structure._replace(draws=draws, way_tank=tanks), numbers=numbers._replace(ways=ways)
    )


def _change(bench: _Bench, action: str, reason: str) -> str:
    if reason == "unable":
        spoilt = spoiled_by(bench.loaded, Cases(bench.seed, 0, _ASKED, []), action)
        because = f"by {spoilt} " if spoilt else ""
        return _CHANGES[reason].format(action=f"'{action}'", because=because)
    strokes = bench.loaded.nominal.actions[action].strokes
    if not strokes:  # nothing of it moves by air
        return _CHANGES[reason].format(action=f"'{action}'", tanks="no tank is", cylinders="it needs")
    tanks = dict.fromkeys(bench.loaded.nominal.air.cylinders[name].tank for name in strokes)
    return _CHANGES[reason].format(
        action=f"'{action}'",
        tanks=f"tank {_listed(tuple(tanks))} is" if len(tanks) == 1 else f"tanks {_listed(tuple(tanks))} are",
        cylinders=f"{_listed(tuple(strokes))} {'need' if len(strokes) > 1 else 'needs'}",
    )


def work_data(work: Work) -> dict[str, Any]:
    """Turn a list of work into plain data."""
    return dataclasses.asdict(work)


def with_work(schema: dict[str, Any]) -> dict[str, Any]:
    """Add the key ``work`` to the schema of a forecast."""
    added = TypeAdapter(Work).json_schema(mode="serialization", ref_template="#/$defs/{model}")
    definitions = in_plain_words(added).pop("$defs")
    added["description"] = "what to do with the hours left; absent where the run was interrupted"
    properties = {**schema["properties"], "work": added}
    return {**schema, "properties": properties, "$defs": {**schema.get("$defs", {}), **definitions}}
