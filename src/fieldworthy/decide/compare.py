"""Variants side by side: who scores more and how sure that is, and a matrix with the team's own weights.

All variants play the same matches: a draw depends on the seed, the number of the run and the name of what is drawn, so
what two variants share goes the same way in both, and only what differs between them is left in the difference.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np

from fieldworthy import errors
from fieldworthy.arrays import Array
from fieldworthy.decide.information import doubts_of
from fieldworthy.decide.recommend import (
    SURE,
    Ability,
    ChangedFinding,
    Flip,
    Hours,
    Side,
    UsedLimit,
    abilities,
    changes,
    flip_of,
    hours,
    limits,
    recommend,
)
from fieldworthy.decide.work import SETTLED, Entrant, Work, gain_of, lifted, work_between
from fieldworthy.engine.evaluate import Cases, evaluate
from fieldworthy.engine.finding import Report, check_named
from fieldworthy.engine.system import is_rule
from fieldworthy.files import BadInput
from fieldworthy.match import ENDINGS, Runs, blocks, play_runs
from fieldworthy.match.ability import Contradiction, Loss, ability
from fieldworthy.match.components import EACH, Size, believed, components, grouped, share_better, sized
from fieldworthy.match.forecast import doubts
from fieldworthy.match.setup import unbuilt, with_chance
from fieldworthy.match.state import AIR, DONE, REASONS
from fieldworthy.physics.chance.chance import wilson_interval
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.robot import Robot
from fieldworthy.units import often
from fieldworthy.vehicle.state import keep_weights

Progress = Callable[[int], None]
_SAMPLES = 400
_LEAST = 0.05  # points a match; less is not told
_LEAST_ENDS = 0.05  # ends a match that differ by less are not told
_LEAST_TOLD = 0.005  # times a match; fewer are told as never
_KEPT = 8  # blocks of runs whose set-up is kept for the flip: about 30,000 matches, some 100 MB


@dataclass(frozen=True, slots=True)
class Difference:
    """Mean points of a variant less those of the first file.

    Attributes
    ----------
    variant, first : Names of the robots
    points, first_points : Their mean points
    difference : The first's taken from the variant's
    runs, seed : How many matches each played, and what fixes them
    """

    variant: str
    first: str
    points: float
    first_points: float
    difference: float
    runs: int
    seed: int


@dataclass(frozen=True, slots=True)
class Interval:
    """Where the difference of the true means lies, over what is not known of the robots; more matches do not shrink it.

    Attributes
    ----------
    variant : Name of the robot
    low, high : Ends of the 95 % interval, in points
    error : Standard error of the difference told, from the number of draws; more matches make it smaller
    between, between_error : Standard deviation of the true difference over what is not known, and its standard error
    within, within_error : Standard deviation of the difference of single matches, luck alone, and its standard error
    """

    variant: str
    low: float
    high: float
    error: float
    between: float | None = None
    between_error: float | None = None
    within: float | None = None
    within_error: float | None = None


@dataclass(frozen=True, slots=True)
class Chance:
    """How likely a variant is the better one.

    Attributes
    ----------
    variant : Name of the robot
    match, match_interval : Share of the matches in which it scores more than the first, and Wilson's 95 % interval
        of it
    equal : Share of the matches in which both score the same
    mean : Chance that its true mean is the higher one, over what is not known; 0.5 where nothing differs
    """

    variant: str
    match: float
    match_interval: tuple[float, float]
    equal: float
    mean: float


@dataclass(frozen=True, slots=True)
class Gain:
    """Points of the difference that one task of the season makes.

    Attributes
    ----------
    variant, task : Names
    points : The first's taken from the variant's
    because : What ends otherwise, in one sentence; empty where nothing stands out
    """

    variant: str
    task: str
    points: float
    because: str


@dataclass(frozen=True, slots=True)
class Entry:
    """Whether a variant may be entered at all.

    Attributes
    ----------
    variant : Name of the robot
    breaks : Sentences of the season limits that it breaks
    short : Ids of what else is short on it
    doubtful : Ids of what is close on it and likelier to fail than to work, with the chance that it works
    """

    variant: str
    breaks: tuple[str, ...]
    short: tuple[str, ...]
    doubtful: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two or more variants side by side; every list but the last follows the order of the files.

    Attributes
    ----------
    difference, interval, chance : Of each variant after the first
    can_do : Every task of the season, variant by variant
    findings_changed : Between the first and each variant
    limits_used : Of every variant, the first too
    hours : Of every variant, the first too
    flip : Of each variant after the first
    recommendation : What to do, in a few sentences
    chosen : The variant that it names; None where it names none
    gains : Where the difference comes from, the largest first, for each variant after the first
    entry : Of every variant, the first too
    contradictions : Where practice and the check disagree, for every variant
    disputes : What becomes of each difference if practice is right there, or the check where practice is counted
    work : What to do with the hours left while this is open
    """

    FORMAT: ClassVar[str] = "fieldworthy compare 2"

    difference: tuple[Difference, ...]
    interval: tuple[Interval, ...]
    chance: tuple[Chance, ...]
    can_do: tuple[Ability, ...]
    findings_changed: tuple[ChangedFinding, ...]
    limits_used: tuple[UsedLimit, ...]
    hours: tuple[Hours, ...]
    flip: tuple[Flip, ...]
    recommendation: str
    gains: tuple[Gain, ...] = ()
    entry: tuple[Entry, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()
    disputes: tuple[Dispute, ...] = ()
    work: Work | None = None
    chosen: str | None = None

    @property
    def thoughts(self) -> list[str]:
        """The recommendation, one thought each: the choice, what it rests on, what would turn it."""
        found: list[str] = []
        for sentence in re.split(r"(?<=[.?]) (?=[A-Z0-9])", self.recommendation):
            if found and (sentence.endswith("?") or found[-1].endswith("?")):
                found[-1] += f" {sentence}"  # a question stands with what it asks about, and why it is asked
            else:
                found.append(sentence)
        return found


def compare(
    variants: Sequence[Loaded], runs: int = 2000, seed: int = 0, progress: Progress | None = None
) -> Comparison:
    """Compare variants of a robot."""
    _same_season(variants)
    variants = told_apart([variants[0], *(keep_weights(variants[0], v) for v in variants[1:])])
    played = _played(variants, runs, seed, progress)
    points, kept = [p.points for p in played], [p.kept for p in played]
    names = [v.nominal.robot for v in variants]
    reports = [evaluate(v, samples=_SAMPLES, seed=seed) for v in variants]
    flips = tuple(flip_of(variants[0], v, (kept[0], k), seed) for v, k in zip(variants[1:], kept[1:], strict=True))
    times, able = tuple(hours(v) for v in variants), [abilities(v) for v in variants]
    cannot = [[a.task for a in tasks if a.planned and not a.can] for tasks in able]
    later = list(zip(names[1:], played[1:], strict=True))
    gains = tuple(g for n, p in later for g in gains_of(n, played[0], p))
    entry = tuple(entry_of(n, r) for n, r in zip(names, reports, strict=True))
    beliefs = [ability(v, Cases(seed, 0, _SAMPLES, [])) for v in variants]
    disputed = tuple(
        c for b, p in zip(beliefs, played, strict=True) for c in b.contradictions if c.action in p.kept[0].setup.actions
    )
    lost = [b.hopeless(p.kept[0].setup.actions) for b, p in zip(beliefs, played, strict=True)]
    disputes = tuple(d for n, p in later for d in disputes_of((played[0], p), (names[0], n), disputed, seed))
    sides = [
        Side(v.nominal.robot, p.points, p.chances, t, c, e.breaks, *_in_words(e, r), *_untried(v, p.kept[0], h))
        for v, p, t, c, e, r, h in zip(variants, played, times, cannot, entry, reports, lost, strict=True)
    ]
    advice = recommend(sides, flips, [(g.variant, g.task, g.points, g.because) for g in gains], (disputed, disputes))
    return Comparison(
        tuple(_difference((names[0], n), points[0], p.points, seed) for n, p in later),
        tuple(_interval(n, played[0], p) for n, p in later),
        tuple(_chance(n, played[0], p) for n, p in later),
        tuple(a for tasks in able for a in tasks),
        tuple(c for r in reports[1:] for c in changes(reports[0], r)),
        tuple(u for r in reports for u in limits(r)),
        times,
        flips,
        advice.text,
        gains,
        entry,
        disputed,
        disputes,
        _asking(work_between(_entrants(variants, played, (times, entry), seed), seed), disputes),
        advice.chosen,
    )


def _asking(work: Work, disputes: Sequence[Dispute]) -> Work:
    """Put the question that no practice count and no tolerance holds behind what finding out is worth."""
    open_ = [f"'{d.action}' with {d.robot}" for d in disputes if 1.0 - SURE < d.chance < SURE and d.difference]
    if not open_:
        return work
    told = f"{work.told} Ask first whether practice is right about {open_[0]}."
    if work.told.startswith(SETTLED):
        told = "No further tries and no measurement would change the choice; the answer to one question can: "
        told += f"is practice right about {open_[0]}?"
    return dataclasses.replace(work, told=told)


def told_apart(variants: Sequence[Loaded]) -> list[Loaded]:
    """Add the name of its file to a robot whose name another one bears too."""
    names = [v.nominal.robot for v in variants]
    found = []
    for i, (variant, name) in enumerate(zip(variants, names, strict=True)):
        stem = variant.document.file.stem
        same = [j for j, other in enumerate(names) if other == name]
        alike = [j for j in same if variants[j].document.file.stem == stem]
        added = stem if len(alike) == 1 else f"file {i + 1}"
        spec = variant.robot.model_copy(update={"robot": f"{name} ({added})"})
        found.append(variant if len(same) == 1 else dataclasses.replace(variant, robot=spec))
    return found


def _entrants(
    variants: Sequence[Loaded], played: Sequence[Played], judged: tuple[Sequence[Hours], Sequence[Entry]], seed: int
) -> list[Entrant]:
    """Variants that may be entered; the draws of the first block alone, whose inputs are at hand."""
    found = []
    for variant, one, time, entry in zip(variants, played, *judged, strict=True):
        first = one.kept[0]
        table, odds = grouped(first.points, first.each), first.odds[:: first.each]
        known = doubts_of(variant, doubts(variant, first.setup, odds, seed))
        if not entry.breaks:
            found.append(Entrant(variant.nominal.robot, table, known, time.needed, time.left))
    return found


def _untried(variant: Loaded, runs: Runs, lost: Sequence[Loss]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Actions of mechanisms not built yet and never practised; what is said of those that cannot be done at all."""
    robot, season, never = variant.nominal, variant.nominal_season, {one.action for one in lost}
    open_ = (a for a in runs.setup.unpractised if unbuilt(robot, season, robot.actions[a]) and a not in never)
    return tuple(open_), tuple(one.sentence for one in lost)


def entry_of(name: str, report: Report) -> Entry:
    """Say which season limits a robot breaks, and what else is short on it."""
    over = [f for f in report.short if is_rule(f.id)]
    rest = [c.lead.id for c in report.causes if c.lead not in over]
    likely = [(f.id, f.chance) for f in report.of("close") if f.chance is not None and f.chance < 0.5]
    return Entry(name, tuple(f.because for f in over), tuple(rest), tuple(likely))


def _in_words(entry: Entry, report: Report) -> tuple[list[str], list[tuple[str, float]]]:
    """What is short on a variant, and what is likelier to fail than to work, by the names of the checks."""
    names = {f.id: check_named(f.id, f.subject).removeprefix("the check ") for f in report.findings}
    return [names[i] for i in entry.short], [(names[i], chance) for i, chance in entry.doubtful]


@dataclass(frozen=True, slots=True)
class Played:
    """What a variant's matches gave.

    Attributes
    ----------
    points : Of every match
    chances : Of its actions in each draw of what is not known, shape (draws, actions)
    kept : The first blocks whole
    earned : Mean points of a match by task
    ended : How often in a match each action ended so, by action and reason
    tasks : Task of each action that has one
    robot : The robot, nominal
    """

    points: Array
    chances: Array
    kept: list[Runs]
    earned: dict[str, float]
    ended: dict[str, Array]
    tasks: dict[str, str]
    robot: Robot


def gains_of(name: str, first: Played, then: Played) -> list[Gain]:
    """Take the difference apart by task, with what ends otherwise in the actions of that task."""
    found = []
    for task in dict.fromkeys([*first.earned, *then.earned]):
        gap = then.earned.get(task, 0.0) - first.earned.get(task, 0.0)
        if abs(gap) >= _LEAST:
            found.append(Gain(name, task, gap, _otherwise(task, first, then)))
    return sorted(found, key=lambda g: -abs(g.points))


@dataclass(frozen=True, slots=True)
class Dispute:
    """What becomes of a difference where practice and check disagree, if that is right which is not counted.

    Attributes
    ----------
    variant, robot, action : The variant that is held against the first, the robot or robots that the dispute is about,
        and their action
    difference : Mean points of the variant less those of the first, if that is right
    interval : Its 95 % interval over what is not known
    chance : That the variant is truly better then
    right : What is right then: practice, or the check, by which the action never works
    """

    variant: str
    robot: str
    action: str
    difference: float
    interval: tuple[float, float]
    chance: float
    right: Literal["practice", "check"]


def disputes_of(
    pair: tuple[Played, Played], names: tuple[str, str], disputed: Sequence[Contradiction], seed: int
) -> list[Dispute]:
    """Play the first matches again as practice has it or, where the forecast counts that, as the check has it."""
    sides = tuple(zip(names, (one.kept[0] for one in pair), strict=True))
    now = {name: grouped(runs.points, runs.each) for name, runs in sides}
    found = []
    for action in dict.fromkeys(c.action for c in disputed if c.robot in names):
        robots = [name for name in names if any((c.robot, c.action) == (name, action) for c in disputed)]
        practised, failing = (
            {name: now[name] if name not in robots else _again(runs, action, works, seed) for name, runs in sides}
            for works in (True, False)
        )
        counted = all(np.array_equal(practised[name], now[name]) for name in names)
        first, then = ((failing if counted else practised)[name] for name in names)
        gain = gain_of(first, then, np.concatenate([runs.chances for _, runs in sides], axis=1))
        found.append(
            Dispute(
                names[1],
                " and ".join(robots),
                action,
                gain.points,
                gain.interval,
                gain.chance,
                "check" if counted else "practice",
            )
        )
    return found


def _again(runs: Runs, action: str, works: bool, seed: int) -> Array:
    """Matches with an action that works as practised, whatever stands against it, or that never works."""
    match = runs.setup
    if action in match.actions and not works:
        match = with_chance(match, action, 0.0)
    for reason in ("air", "load", "unable"):
        match = lifted(match, match.actions.index(action), reason) if action in match.actions and works else match
    again = play_runs(match, runs.points.size, seed=seed, each=runs.each)
    return grouped(again.points, again.each)


def _otherwise(task: str, first: Played, then: Played) -> str:
    """The way of ending that differs most between two variants in the actions of a task."""
    best, said = _LEAST_ENDS, ""
    for action in [a for a, t in {**first.tasks, **then.tasks}.items() if t == task]:
        none = np.zeros(len(REASONS))
        was, now = first.ended.get(action, none), then.ended.get(action, none)
        for reason, (a, b) in enumerate(zip(was, now, strict=True)):
            if reason != DONE and abs(b - a) > best:
                best = abs(b - a)
                why = _air_cause(first, then, action) if reason == AIR else ""
                said = f"'{action}' {_ends(ENDINGS[REASONS[reason]].does, a, b)}{why}"
    return said


def _ends(does: str, before: float, now: float) -> str:
    """Say how often something ends so, and that it no longer does where that rounds to nothing."""
    was, is_ = f"{before:.2g}", f"{now:.2g}"
    if now < _LEAST_TOLD:
        return f"no longer {does} ({often(was)} a match before)"
    if before < _LEAST_TOLD:
        return f"{does} ({often(is_)} a match, never before)"
    return f"{does} {often(is_)} a match instead of {was}"


def _air_cause(first: Played, then: Played, action: str) -> str:
    """Which cylinders no longer share the action's tank, or do now."""
    if action not in first.robot.actions or action not in then.robot.actions:
        return ""
    was, now = (_sharing(played, action) for played in (first, then))
    gone, come = [c for c in was if c not in now], [c for c in now if c not in was]
    ended = [float(played.ended[action][AIR]) for played in (first, then)]
    changed, verb = (gone, "no longer uses") if ended[1] < ended[0] else (come, "now uses")
    if not changed:
        return ""
    tanks = (was if changed is gone else now)[changed[0]]
    return f", because '{changed[0]}' {verb} tank '{tanks}'"


def _sharing(played: Played, action: str) -> dict[str, str]:
    """Cylinders of other actions of the plan that draw on the tanks of an action, with the tank."""
    robot, cylinders = played.robot, played.robot.air.cylinders
    tanks = {cylinders[name].tank for name in robot.actions[action].strokes}
    used = [name for a in played.ended for name in robot.actions[a].strokes if a != action]
    return {name: cylinders[name].tank for name in used if cylinders[name].tank in tanks}


def _same_season(variants: Sequence[Loaded]) -> None:
    season = variants[0].nominal_season
    bad = [
        v.document.problem(
            ("season",), f"expected the season of the first file, {season.season!r}, with the same rules"
        )
        for v in variants[1:]
        if v.nominal_season != season
    ]
    if bad:
        raise BadInput(bad)


def _played(variants: Sequence[Loaded], runs: int, seed: int, progress: Progress | None) -> list[Played]:
    """Play every variant's matches, block by block in step."""
    found: list[list[Runs]] = [[] for _ in variants]
    points: list[list[Array]] = [[] for _ in variants]
    chances: list[list[Array]] = [[] for _ in variants]
    earned: list[list[Array]] = [[] for _ in variants]
    ended: list[list[Array]] = [[] for _ in variants]
    done = 0
    try:
        with errors.in_order():
            for row in zip(*(blocks(v, runs, seed) for v in variants), strict=True):
                for i, block in enumerate(row):
                    points[i].append(block.points)
                    chances[i].append(block.chances)
                    earned[i].append(block.earned.sum(axis=0))
                    ended[i].append(block.ended.sum(axis=0).astype(float))
                    if len(found[i]) < _KEPT:
                        found[i].append(block)
                done += row[0].points.size
                if progress:
                    progress(done)
    except KeyboardInterrupt:
        if done < 2:
            raise  # nothing to compare yet
    whole = min(len(scored) for scored in points)
    sums = zip(variants, points, chances, found, earned, ended, strict=True)
    return [
        _summed(v, (np.concatenate(p[:whole]), np.concatenate(c[:whole])), k[:whole], (sum(e[:whole]), sum(n[:whole])))
        for v, p, c, k, e, n in sums
    ]


def _summed(
    variant: Loaded, drawn: tuple[Array, Array], kept: list[Runs], sums: tuple[Array | int, Array | int]
) -> Played:
    match, robot = kept[0].setup, variant.nominal
    earned, ended = (np.asarray(s, dtype=float) / drawn[0].size for s in sums)
    tasks = {a: task for a in match.actions if (task := robot.actions[a].task) is not None}
    by_task = dict(zip(match.tasks, earned.tolist(), strict=True))
    return Played(*drawn, kept, by_task, dict(zip(match.actions, ended, strict=True)), tasks, robot)


def _difference(names: tuple[str, str], first: Array, points: Array, seed: int) -> Difference:
    gap = float((points - first).mean())
    return Difference(names[1], names[0], float(points.mean()), float(first.mean()), gap, points.size, seed)


def _drawn(first: Played, then: Played) -> tuple[Array, Array]:
    """Differences, draws by matches, and the chances of both robots' actions in each draw."""
    return grouped(then.points - first.points), np.concatenate([first.chances, then.chances], axis=1)


def _interval(name: str, first: Played, then: Played) -> Interval:
    known = components(*_drawn(first, then))
    if known is None:
        return Interval(name, -np.inf, np.inf, np.inf)
    apart = known.between, known.between_error, known.within, known.within_error
    return Interval(name, *known.interval, known.error, *apart)


def size_to_compare(variants: Sequence[Loaded], accuracy: float, seconds: float | None = None, seed: int = 0) -> Size:
    """Choose how many matches know every variant's difference to the first to a standard error."""
    variants = [variants[0], *(keep_weights(variants[0], v) for v in variants[1:])]

    def play(runs: int) -> Array:
        """The difference that is known least."""
        first, *others = (p.points for p in _played(variants, runs, seed, None))
        return max((grouped(one - first) for one in others), key=lambda table: float(table.mean(axis=1).std()))

    return sized(play, accuracy, seconds, EACH)


def _chance(name: str, first: Played, then: Played) -> Chance:
    gaps = then.points - first.points
    n, better = gaps.size, int(np.count_nonzero(gaps > 0))
    low, high = wilson_interval(float(better), float(n))
    equal = int(np.count_nonzero(gaps == 0)) / n
    return Chance(name, better / n, (float(low), float(high)), equal, share_better(believed(*_drawn(first, then))))
