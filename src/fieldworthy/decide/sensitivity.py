"""Which inputs move the points most, so that a team knows what to measure or to practise next.

Each input is moved to both ends of what is believed of it, one at a time, and the same matches are played again with
the same luck; what the points change by is that input's part.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from pydantic import TypeAdapter

from fieldworthy.arrays import Array
from fieldworthy.decide.recommend import planned_actions
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases
from fieldworthy.engine.finding import DisplayUnits
from fieldworthy.files import Quantity, instantiate
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.match import Part, Setup, play_runs, setup, with_chance
from fieldworthy.match.components import EACH, believed, grouped, middle_95, sized
from fieldworthy.match.forecast import drawn_setup
from fieldworthy.physics.chance.chance import posterior
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season
from fieldworthy.robot.words import phrase
from fieldworthy.units import percent, show

Progress = Callable[[int, int], None]
_SCREEN = 48  # matches in which an input that matters must show itself
_KEPT = 24  # inputs that are played at length
_MOST = 5  # inputs that are named
_DRAWS = 800  # draws of all else at most, where no accuracy is asked for
_TAILS = (0.025, 0.975)


@dataclass(frozen=True, slots=True)
class Influence:
    """How far one input moves the points.

    Attributes
    ----------
    key : Key path in the robot file; ``season.`` in front for one of the season
    basis : What it rests on: ``measured``, ``datasheet``, ``estimate`` or ``practice``
    low, high : Both ends of what is believed of it, 95 % of it between them, with unit
    points : Points at the high end less those at the low end, the mean over all else that is not known
    interval : 95 % interval of that difference over all else that is not known
    advice : What would narrow it
    error : Standard error of `points`, from the number of draws; more matches make it smaller
    what : The input in words
    """

    key: str
    basis: str
    low: str
    high: str
    points: float
    interval: tuple[float, float]
    advice: str
    error: float = 0.0
    what: str = ""


@dataclass(frozen=True, slots=True)
class _Input:
    """An input and how to play both of its ends: points of each match, low and high.

    `play` has all else as the file states it, `over` plays draws of it, `EACH` matches with each.
    """

    key: str
    what: str
    basis: str
    ends: tuple[str, str]
    advice: str
    play: Callable[[int], tuple[Array, Array]]
    over: Callable[[int], tuple[Array, Array]]


def sensitivity(
    loaded: Loaded,
    runs: int = 2000,
    seed: int = 0,
    part: Part = "whole",
    progress: Progress | None = None,
    accuracy: float | None = None,
    seconds: float | None = None,
) -> tuple[Influence, ...]:
    """Find the five inputs that move the points most.

    With `accuracy` each is played over as many draws as know its points to that standard error, in `seconds` for all.

    Notes
    -----
    One at a time, from both ends of the 95 % interval of its tolerance or of the Beta posterior of its practice
    counts, with common random numbers; what two inputs do together is not seen.
    """
    inputs = [*_practised(loaded, seed, part), *_uncertain(loaded, seed, part)]
    screened: list[tuple[float, _Input]] = []
    for done, item in enumerate(inputs, 1):
        low, high = item.play(min(_SCREEN, runs))
        screened.append((float(np.abs(high - low).mean()), item))
        if progress:
            progress(done, len(inputs))
    moving = [item for moved, item in sorted(screened, key=lambda pair: -pair[0]) if moved > 0.0][:_KEPT]
    ranked = sorted(((_moved(item, runs), item) for item in moving), key=lambda pair: (-abs(pair[0]), pair[1].key))
    shown = [item for points, item in ranked[:_MOST] if points != 0.0]
    share = None if seconds is None else seconds / max(len(shown), 1)
    found = [
        _influence(item, draws_of(runs) if accuracy is None else _draws_for(item, accuracy, share)) for item in shown
    ]
    return tuple(sorted(found, key=lambda one: (-abs(one.points), one.key)))


def _moved(item: _Input, runs: int) -> float:
    low, high = item.play(runs)
    return float((high - low).mean())


def _gaps(item: _Input, draws: int) -> Array:
    """Points of each match at the high end less those at the low end, draws by matches."""
    low, high = item.over(draws)
    return grouped(high - low)


def _influence(item: _Input, draws: int) -> Influence:
    gaps = _gaps(item, draws)
    means = gaps.mean(axis=1)
    error = float(means.std(ddof=1)) / means.size**0.5
    interval = middle_95(believed(gaps))
    points = float(means.mean())
    return Influence(item.key, item.basis, *item.ends, points, interval, item.advice, error, item.what)


def _draws_for(item: _Input, accuracy: float, seconds: float | None) -> int:
    return sized(lambda runs: _gaps(item, max(runs // EACH, 2)), accuracy, seconds, EACH).draws


def draws_of(runs: int) -> int:
    """How many draws of all else so many matches are played over."""
    return max(min(runs // EACH, _DRAWS), 2)


def _practised(loaded: Loaded, seed: int, part: Part) -> list[_Input]:
    """The success chance of each action of the plan that has practice counts."""
    nominal = setup(Context(loaded.nominal, loaded.nominal_season), part)

    @cache
    def drawn(draws: int) -> Setup:
        """The match over draws of all that is not known."""
        return drawn_setup(loaded, Cases(seed, 0, draws, []), part=part)

    found = []
    for name in planned_actions(loaded):
        counts = loaded.nominal.actions[name].practice
        if counts is None or name not in nominal.actions:
            continue
        belief = posterior(float(counts.successes), float(counts.attempts))
        ends = tuple(float(belief.quantile(tail)) for tail in _TAILS)
        found.append(
            _Input(
                f"actions.{name}.practice",
                f"how often '{name}' works",
                "practice",
                (percent(ends[0]), percent(ends[1])),
                f"practise it more: {counts.successes} of {counts.attempts} so far",
                _of_chance(lambda runs: (nominal, runs), name, (ends[0], ends[1]), seed),
                _of_chance(lambda draws: (drawn(draws), draws * EACH), name, (ends[0], ends[1]), seed),
            )
        )
    return found


def _of_chance(
    made: Callable[[int], tuple[Setup, int]], action: str, ends: tuple[float, float], seed: int
) -> Callable[[int], tuple[Array, Array]]:
    def play(many: int) -> tuple[Array, Array]:
        """Points of each match at the low and the high end."""
        match, size = made(many)
        low, high = (play_runs(with_chance(match, action, end), size, seed=seed, each=EACH).points for end in ends)
        return low, high

    return play


def _uncertain(loaded: Loaded, seed: int, part: Part) -> list[_Input]:
    """Every quantity with a tolerance, its two ends as two cases of one set-up."""
    entries = [(path, q) for path, q in loaded.quantities if q.tolerance > 0.0]
    match = _ends_of(loaded, entries, part)
    shown = DisplayUnits.of(loaded.quantities)
    found = []
    for i, (path, quantity) in enumerate(entries):
        unit = shown.units.get(quantity.kind, quantity.unit) if quantity.kind != "ratio" else quantity.unit
        low, high = (show(end, quantity.kind, unit) for end in _ends(quantity))
        advice = "measure it" if quantity.basis == "estimate" else "measure it more closely"
        play = _of_case(match, (2 * i, 2 * i + 1), seed)
        over = _of_end(loaded, path, _ends(quantity), (seed, part))
        what = phrase(loaded.robot, loaded.season, path)
        found.append(_Input(dotted(path), what, quantity.basis, (low, high), advice, play, over))
    return found


def _of_end(
    loaded: Loaded, path: KeyPath, ends: tuple[float, float], how: tuple[int, Part]
) -> Callable[[int], tuple[Array, Array]]:
    seed, part = how

    def play(draws: int) -> tuple[Array, Array]:
        """Points of each match at the low and the high end, over draws of all else."""
        low, high = (
            play_runs(
                drawn_setup(loaded, _FixedCases(seed, 0, draws, [], path=path, value=end), part=part),
                draws * EACH, seed=seed, each=EACH,
            ).points
            for end in ends
        )  # fmt: skip
        return low, high

    return play


@dataclass(slots=True, eq=False)
class _FixedCases(Cases):
    """Samples of everything but one quantity, which has the same value in all."""

    path: KeyPath = ()
    value: float = 0.0

    def draw(self, path: KeyPath, quantity: Quantity) -> float | Array:
        """Give the number or array of one quantity over the batch."""
        return self.value if path == self.path else Cases.draw(self, path, quantity)


def _of_case(match: Setup, cases: tuple[int, int], seed: int) -> Callable[[int], tuple[Array, Array]]:
    def play(runs: int) -> tuple[Array, Array]:
        """Points of each match at the low and the high end."""
        low, high = (play_runs(match, runs, seed=seed, case=case, each=EACH).points for case in cases)
        return low, high

    return play


def _ends(quantity: Quantity) -> tuple[float, float]:
    low, high = quantity.si - quantity.tolerance, quantity.si + quantity.tolerance
    # a hair inside its bounds, as samples are kept
    inside = 1e-3 * abs(quantity.si)
    return max(low, min(quantity.si, quantity.low + inside)), min(high, max(quantity.si, quantity.high - inside))


def _ends_of(loaded: Loaded, entries: list[tuple[KeyPath, Quantity]], part: Part) -> Setup:
    """One set-up whose cases 2 i and 2 i + 1 hold the ends of quantity i, all others nominal."""
    place = {path: i for i, (path, _) in enumerate(entries)}
    size = max(2 * len(entries), 1)

    def draw(path: KeyPath, quantity: Quantity) -> float | Array:
        """Both ends of a quantity, in two cases of their own."""
        i = place.get(path)
        if i is None:
            return quantity.si
        drawn = np.full(size, quantity.si)
        drawn[2 * i : 2 * i + 2] = _ends(quantity)
        return drawn

    base = Context(loaded.nominal, loaded.nominal_season)
    robot = instantiate(loaded.robot, Robot, draw)
    season = instantiate(loaded.season, Season, lambda path, quantity: draw(("season", *path), quantity))
    return setup(Context(robot, season, base), part, size)


def with_sensitivity(schema: dict[str, Any]) -> dict[str, Any]:
    """Add the key ``sensitivity`` to the schema of a forecast."""
    added = TypeAdapter(tuple[Influence, ...]).json_schema(mode="serialization", ref_template="#/$defs/{model}")
    definitions = added.pop("$defs")
    added["description"] = "only with --sensitivity: the inputs that move the points most, the most first"
    properties = {**schema["properties"], "sensitivity": added}
    return {**schema, "properties": properties, "$defs": {**schema.get("$defs", {}), **definitions}}
