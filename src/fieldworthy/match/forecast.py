"""Many matches: played with draws of what is not known, and summed up into a forecast."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from fieldworthy import errors
from fieldworthy.arrays import Array
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import BLOCK, Cases, standard_draws
from fieldworthy.files import BadInput, Quantity, instantiate
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.match.ability import Contradiction, Loss, ability, able
from fieldworthy.match.components import EACH, Components, Share, Size, components, grouped, shares, sized
from fieldworthy.match.setup import CannotPlay, Part, Setup, setup, unbuilt, with_ability
from fieldworthy.match.state import DONE, FULL, REASONS, Whole
from fieldworthy.match.timeline import Timeline, loop, timeline
from fieldworthy.physics.chance.chance import wilson_interval
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season

Progress = Callable[[int], None]
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)


@dataclass(frozen=True, slots=True)
class Runs:
    """What a block of runs gave, runs leading.

    Attributes
    ----------
    setup : The match they played
    points, autonomous : All points, and those of the autonomous period
    hottest, charge : Highest winding temperature and charge taken [K, C]
    pressure : Absolute, after the last draw [Pa]
    finished : How often each step was done
    ended : How actions ended, by `layout.REASONS`
    earned : Points of each task
    odds : Chance of each action
    each : Matches in a row with the same draw of what is not known
    """

    setup: Setup
    points: Array
    autonomous: Array
    hottest: Array
    charge: Array
    pressure: Array
    finished: Array
    ended: Whole
    earned: Array
    odds: Array
    each: int = 1

    @property
    def chances(self) -> Array:
        """Chance of each action in each whole draw, shape (draws, actions)."""
        return self.odds[:: self.each][: self.points.size // self.each]


def play_runs(
    match: Setup, runs: int, *, begin: int = 0, seed: int = 0, luck: bool = True, case: int | None = None, each: int = 1
) -> Runs:
    """Play a number of matches, `each` with every belief and case; or all of them in one case."""
    fixed = 0 if match.cases == 1 else case
    out = loop(match, (begin, 1, each, luck) if fixed is None else (begin, fixed, -each, luck), seed, runs, 0)
    points, early, hottest, charge = out.totals.T
    return Runs(
        match, points, early, hottest, charge, out.pressure, out.finished, out.ended, out.earned, out.odds, each
    )


def blocks(
    loaded: Loaded, runs: int, seed: int = 0, part: Part = "whole", *, tolerances: bool = True, each: int = EACH
) -> Iterator[Runs]:
    """Play a number of matches block by block, `each` with every draw of what is not known."""
    base = Context(loaded.nominal, loaded.nominal_season)
    nominal = None if tolerances else _setup(loaded, base, part, 1)
    whole = BLOCK - BLOCK % each
    for block, begin in enumerate(range(0, runs, whole)):
        size = min(whole, runs - begin)
        match = nominal or drawn_setup(loaded, Cases(seed, block, -(-size // each), []), base, part)
        yield play_runs(match, size, begin=begin, seed=seed, each=each)


def drawn_setup(loaded: Loaded, cases: Cases, base: Context | None = None, part: Part = "whole") -> Setup:
    """Set a match up over draws of what is not known, with what the mechanisms can do in each."""
    base = base or Context(loaded.nominal, loaded.nominal_season)
    match = _setup(loaded, _drawn(loaded, cases, base), part, cases.size)
    return with_ability(match, able(loaded, cases, match.actions))


def _drawn(loaded: Loaded, cases: Cases, base: Context) -> Context:
    def of_season(path: KeyPath, quantity: Quantity) -> float | Array:
        """Draw a quantity of the season."""
        return cases.draw(("season", *path), quantity)

    return Context(instantiate(loaded.robot, Robot, cases.draw), instantiate(loaded.season, Season, of_season), base)


def _setup(loaded: Loaded, context: Context, part: Part, cases: int) -> Setup:
    try:
        return setup(context, part, cases)
    except CannotPlay as error:
        raise BadInput([loaded.document.problem(_place(error), error.expected)]) from error


def refuse_unplayable(loaded: Loaded, part: Part) -> None:
    """Tell at its key what a robot lacks for a part of the match."""
    _setup(loaded, Context(loaded.nominal, loaded.nominal_season), part, 1)


def _place(error: CannotPlay) -> KeyPath:
    return ("season", *error.key) if error.season else error.key


@dataclass(frozen=True, slots=True)
class Limit:
    """What keeps runs from more points.

    Attributes
    ----------
    reason : One of `layout.REASONS`
    share : Share of the runs in which at least one action ended so
    mean : Actions of a run that ended so, on average
    worst : The action that ended so most often
    """

    reason: str
    share: float
    mean: float
    worst: str


@dataclass(frozen=True, slots=True)
class Finishing:
    """The chance of one step of the finish.

    Attributes
    ----------
    action, place : Names
    chance : Share of the runs in which it was done
    interval : Wilson's 95 % interval
    """

    action: str
    place: str
    chance: float
    interval: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Success:
    """How the tries of one action ended.

    Attributes
    ----------
    action : Its name
    tries : Of a run, on average; those left out for lack of time are counted too
    done : Share of the tries that succeeded
    practised : Whether its chance comes from practice counts; otherwise it is taken to work every time
    """

    action: str
    tries: float
    done: float
    practised: bool


@dataclass(frozen=True, slots=True)
class Forecast:
    """What a number of matches gave, after one that goes to plan.

    Attributes
    ----------
    robot, season, part : Names
    asked, runs, seed : Runs asked for, those played, and what fixes them
    known : How well the mean is known, and how far matches spread by luck; None for fewer than two draws
    because : What the doubt about the mean comes from, most first
    contradictions : Actions that work in practice and cannot by the check
    unbuilt : Actions of mechanisms that are not built yet and were never practised: any chance is taken as likely
    losses : What failing mechanisms cost actions that no practice counts
    timeline : The match in which every try works in its mean time
    mean, autonomous : Mean points, and those of the autonomous period; None without runs
    interval : 95 % interval of the mean over what is not known; None for fewer than two draws
    deviation : Standard deviation of the points
    quantiles : Points that a share of the runs does not exceed
    finish : Steps of the finish
    limits : What limited runs, most often first
    actions : How tries ended
    """

    FORMAT: ClassVar[str] = "fieldworthy match 2"

    robot: str
    season: str
    part: Part
    asked: int
    runs: int
    seed: int
    timeline: Timeline
    mean: float | None
    autonomous: float | None
    interval: tuple[float, float] | None
    deviation: float | None
    quantiles: dict[str, float]
    finish: tuple[Finishing, ...]
    limits: tuple[Limit, ...]
    actions: tuple[Success, ...]
    known: Components | None = None
    because: tuple[Share, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()
    unbuilt: tuple[str, ...] = ()
    losses: tuple[Loss, ...] = ()

    @property
    def interrupted(self) -> bool:
        """Whether fewer runs were played than asked for."""
        return self.runs < self.asked


@dataclass(slots=True)
class Tally:
    """Sums over runs, the same size however many there are.

    Attributes
    ----------
    setup : The match
    runs : How many runs it holds
    seed : What fixes them
    each : Matches with each draw of what is not known
    draws : Points by draw of what is not known and match, block by block
    odds : Chance of each action in each draw
    points : How often each number of points came up
    autonomous : Sum of the points of the autonomous period
    finished : Runs in which each step was done
    ended, touched : How actions ended, and runs in which a reason came up
    """

    setup: Setup
    runs: int = 0
    seed: int = 0
    each: int = EACH
    draws: list[npt.NDArray[np.float32]] = field(default_factory=list)
    odds: list[Array] = field(default_factory=list)
    points: Counter[float] = field(default_factory=Counter)
    autonomous: float = 0.0
    finished: Array = field(default_factory=lambda: np.zeros(0))
    ended: Array = field(default_factory=lambda: np.zeros((0, 0)))
    touched: Array = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        self.finished = np.zeros(self.setup.structure.step.shape[0])
        self.ended = np.zeros((len(self.setup.actions), len(REASONS)))
        self.touched = np.zeros(len(REASONS))

    def add(self, block: Runs) -> None:
        """Add a block of runs."""
        self.runs += block.points.size
        self.draws.append(grouped(block.points, block.each).astype(np.float32))
        self.odds.append(block.chances)
        values, counts = np.unique(np.round(block.points, 9), return_counts=True)
        self.points.update(dict(zip(values.tolist(), counts.tolist(), strict=True)))
        self.autonomous += float(block.autonomous.sum())
        self.finished += (block.finished > 0).sum(axis=0)
        self.ended += block.ended.sum(axis=0)
        self.touched += (block.ended.sum(axis=1) > 0).sum(axis=0)


def forecast(
    loaded: Loaded,
    runs: int = 2000,
    seed: int = 0,
    part: Part = "whole",
    *,
    tolerances: bool = True,
    progress: Progress | None = None,
) -> Forecast:
    """Forecast a match."""
    tally = tallied(loaded, runs, seed, part, tolerances=tolerances, progress=progress)
    return summed(loaded, tally, timeline(Context(loaded.nominal, loaded.nominal_season), part), (runs, seed))


def size_for(
    loaded: Loaded, accuracy: float, seconds: float | None = None, seed: int = 0, part: Part = "whole"
) -> Size:
    """Choose how many matches know the mean to a standard error, in no more than a time if one is given."""

    def play(runs: int) -> Array:
        """Points of a number of matches."""
        return np.concatenate(all_played(tallied(loaded, runs, seed, part), runs).draws).astype(float)

    return sized(play, accuracy, seconds)


def tallied(
    loaded: Loaded,
    runs: int,
    seed: int = 0,
    part: Part = "whole",
    *,
    tolerances: bool = True,
    progress: Progress | None = None,
    each: int = EACH,
) -> Tally:
    """Play a number of matches and keep the sums, the distribution of points among them."""
    tally = Tally(_setup(loaded, Context(loaded.nominal, loaded.nominal_season), part, 1), seed=seed, each=each)
    try:
        with errors.in_order():
            for block in blocks(loaded, runs, seed, part, tolerances=tolerances, each=each):
                tally.add(block)
                if progress:
                    progress(tally.runs)
    except KeyboardInterrupt:
        pass  # what is done is worth having; the caller sees from `runs` that it is not all
    return tally


def all_played(tally: Tally, runs: int) -> Tally:
    """Stop where Ctrl-C came before all matches were played: for what makes nothing of fewer."""
    if tally.runs < runs:
        raise KeyboardInterrupt
    return tally


def summed(loaded: Loaded, tally: Tally, planned: Timeline, asked: tuple[int, int]) -> Forecast:
    """Turn sums over runs into a forecast."""
    robot = loaded.nominal
    mean, deviation = _moments(tally.points)
    table = np.concatenate(tally.draws).astype(float) if tally.draws else np.zeros((0, tally.each))
    odds = np.concatenate(tally.odds) if tally.odds else np.zeros((0, 0))
    known = components(table, odds)
    belief = ability(loaded, Cases(asked[1], 0, 200, []))
    return Forecast(
        loaded.nominal.robot,
        loaded.nominal_season.season,
        tally.setup.part,
        asked[0],
        tally.runs,
        asked[1],
        planned,
        mean,
        tally.autonomous / tally.runs if tally.runs else None,
        known.interval if known is not None else None,
        deviation,
        _quantiles(tally.points),
        tuple(_finishing(tally, step) for step in tally.setup.finish) if tally.runs else (),
        _limits(tally),
        tuple(_success(tally, i) for i in range(len(tally.setup.actions))) if tally.runs else (),
        known,
        shares(table[: tally.odds[0].shape[0]], doubts(loaded, tally.setup, tally.odds[0], tally.seed))
        if known is not None
        else (),
        tuple(c for c in belief.contradictions if c.action in tally.setup.actions),
        tuple(a for a in tally.setup.unpractised if unbuilt(loaded.nominal, loaded.nominal_season, robot.actions[a])),
        tuple(loss for loss in belief.losses if loss.action in tally.setup.actions),
    )


def doubts(loaded: Loaded, match: Setup, odds: Array, seed: int) -> list[tuple[str, Array]]:
    """List every number that was drawn, with its draws of the first block: chances of actions, then quantities."""
    draws, drawn = odds.shape[0], match.structure.chance[:, 2] < 0.0
    found = [(practice_of(a), odds[:, i]) for i, a in enumerate(match.actions) if drawn[i]]
    for path, quantity in loaded.quantities:
        if quantity.tolerance > 0:
            key = dotted(path)
            found.append((key, standard_draws(seed, key, 0, draws)))
    return found


def practice_of(action: str) -> str:
    """Name the key under which the practice counts of an action stand."""
    return f"actions.{action}.practice"


def _moments(points: Counter[float]) -> tuple[float | None, float | None]:
    """Mean and standard deviation of the points of single matches."""
    count = points.total()
    if not count:
        return None, None
    values, weights = np.array(list(points), dtype=float), np.array(list(points.values()), dtype=float)
    mean = float(values @ weights) / count
    return mean, float(np.sqrt(weights @ (values - mean) ** 2 / (count - 1))) if count > 1 else None


def _quantiles(points: Counter[float]) -> dict[str, float]:
    """The least number of points that at least a share of the runs does not exceed."""
    if not points:
        return {}
    values = sorted(points)
    reached = np.cumsum([points[v] for v in values])
    places = np.searchsorted(reached, np.array(QUANTILES) * reached[-1] * (1.0 - 1e-12))
    return {f"{100 * q:g} %": values[int(i)] for q, i in zip(QUANTILES, places, strict=True)}


def _finishing(tally: Tally, step: int) -> Finishing:
    action, place = tally.setup.structure.step[step]
    done = float(tally.finished[step])
    low, high = wilson_interval(done, float(tally.runs))
    names = (tally.setup.actions[action], tally.setup.places[place])
    return Finishing(*names, done / tally.runs, (float(low), float(high)))


def _limits(tally: Tally) -> tuple[Limit, ...]:
    found = [
        Limit(
            reason,
            float(tally.touched[i]) / tally.runs,
            float(tally.ended[:, i].sum()) / tally.runs,
            tally.setup.actions[int(tally.ended[:, i].argmax())],
        )
        for i, reason in enumerate(REASONS)
        if i != DONE and tally.touched[i]
    ]
    return tuple(sorted(found, key=lambda limit: (-limit.share, limit.reason)))


def _success(tally: Tally, action: int) -> Success:
    tries = float(tally.ended[action].sum())
    done = float(tally.ended[action, DONE] + tally.ended[action, FULL])
    name = tally.setup.actions[action]
    return Success(name, tries / tally.runs, done / tries if tries else 0.0, name not in tally.setup.unpractised)


@dataclass(frozen=True, slots=True)
class Scores:
    """How often each number of points came up.

    Attributes
    ----------
    name : Of the robot
    points : Every number of points that came up, rising
    runs : Matches that ended with it
    mean : Mean points
    interval : 95 % interval of the mean, from the number of matches
    band : Points that 5 % and 95 % of the matches do not exceed
    """

    name: str
    points: Array
    runs: Array
    mean: float
    interval: tuple[float, float] | None
    band: tuple[float, float]


def scores(tally: Tally, forecast: Forecast) -> Scores | None:
    """Take the distribution of points from the sums over runs."""
    if forecast.mean is None:
        return None
    values = sorted(tally.points)
    counts = np.array([tally.points[value] for value in values], dtype=float)
    band = (forecast.quantiles["5 %"], forecast.quantiles["95 %"])
    return Scores(forecast.robot, np.array(values, dtype=float), counts, forecast.mean, forecast.interval, band)
