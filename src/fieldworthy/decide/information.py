"""What it would be worth to know an input, or to try an action more often, before a choice is made.

A choice is between acts: variants of a robot, or plans of one. Their points in the draws of what is not known, with the
drawn inputs beside them, are all that is needed: what knowing an input would change is found by regression.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.finding import first
from fieldworthy.files import Quantity
from fieldworthy.files.document import dotted
from fieldworthy.match.ability import mechanisms_for
from fieldworthy.match.components import true_means
from fieldworthy.match.forecast import practice_of
from fieldworthy.physics.chance.chance import Beta, normal_quantile, posterior
from fieldworthy.physics.chance.information import Worth, information_value, value_of_knowing, value_of_tries
from fieldworthy.robot import Loaded

MATCHES_A_DAY = 8
"""Matches that a team plays on a day; common practice, no source."""
TRIES = (10, 20, 40)
"""Numbers of further tries that are looked at."""
_RESET = 60.0  # seconds to set an action up again after a try; common practice, no source
_MINUTES: dict[str, float] = {
    "length": 5.0, "angle": 10.0, "mass": 10.0, "pressure": 10.0, "time": 15.0, "force": 15.0,
    "volume": 20.0, "ratio": 30.0, "temperature": 5.0,
}  # fmt: skip
_OTHERWISE = 30.0  # minutes to measure a quantity of another kind; all of them common practice, no source
_SURE = 2.0  # standard errors that a value must have to be told


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something that is not known, in the draws.

    Attributes
    ----------
    key : Key in the robot file; with the variant behind it where two variants do not share it
    kind : ``practise``: the chance of an action; ``measure``: a quantity
    drawn : In each draw, shape (draws, variants that have it)
    minutes : To measure it once, or for one try
    before, first : Minutes of work before the first try, and what work that is; 0 and empty for none
    belief : About the chance; None for a quantity
    words : What a person calls it
    builds : The robots on which nothing is left to build after that work
    """

    key: str
    kind: Literal["practise", "measure"]
    drawn: Array
    minutes: float
    belief: Beta | None = None
    words: str = ""
    before: float = 0.0
    first: str = ""
    builds: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """What knowing something would be worth to the choice.

    Attributes
    ----------
    key : Key in the robot file; for a group its name
    words : What a person calls it
    kind : ``practise``, ``measure``, or ``group`` for several at once
    tries : Further tries that are valued; None for perfect knowledge
    points, error : Points a match that the better choice would bring on average, and their standard error
    day : Points on a day of `MATCHES_A_DAY` matches
    minutes : What it takes; None for a group
    first : What must be built before; empty for nothing
    builds : The robots on which nothing is left to build after that
    """

    key: str
    words: str
    kind: Literal["practise", "measure", "group"]
    tries: int | None
    points: float
    error: float
    day: float
    minutes: float | None
    first: str = ""
    builds: tuple[str, ...] = ()

    @property
    def tells(self) -> bool:
        """Whether it is worth more than the error of its computation."""
        return self.points > max(_SURE * self.error, 0.005)


def doubts_of(loaded: Loaded, drawn: Sequence[tuple[str, Array]]) -> list[Doubt]:
    """Say of everything that was drawn what it is and how long it takes to know it better."""
    known: Mapping[str, Quantity] = {dotted(path): quantity for path, quantity in loaded.quantities}
    actions = {practice_of(name): name for name in loaded.nominal.actions}
    return [
        _chance(loaded, actions[key], values) if key in actions else _quantity(key, known[key], values)
        for key, values in drawn
        if key in actions or known[key].kind != "work time"  # how long work takes is seen when it is done
    ]


def _chance(loaded: Loaded, action: str, values: Array) -> Doubt:
    counts = loaded.nominal.actions[action].practice
    belief = posterior(float(counts.successes), float(counts.attempts)) if counts is not None else Beta(1.0, 1.0)
    minutes = (float(loaded.nominal.actions[action].time) + _RESET) / 60.0
    robot = loaded.nominal
    unbuilt = {n: m.build_time for n, m in robot.mechanisms.items() if m.build_time is not None and first(m.build_time)}
    needed = mechanisms_for(robot, loaded.nominal_season, action)
    waiting = {name: time for name, time in unbuilt.items() if name in needed}
    build = f"Build {' and '.join(repr(name) for name in waiting)}" if waiting else ""
    before = sum(first(time) for time in waiting.values()) / 60.0
    builds = (robot.robot,) if waiting and len(waiting) == len(unbuilt) else ()
    words, drawn = f"'{action}'", values[:, None]
    return Doubt(practice_of(action), "practise", drawn, minutes, belief, words, before, build, builds)


def _quantity(key: str, quantity: Quantity, values: Array) -> Doubt:
    return Doubt(key, "measure", values[:, None], _MINUTES.get(quantity.kind, _OTHERWISE), None, key)


def merged(doubts: Sequence[Sequence[Doubt]], names: Sequence[str]) -> list[Doubt]:
    """Put the doubts about several variants together: what they share once, what differs under each one's name."""
    by_key: dict[str, list[tuple[str, Doubt]]] = {}
    for mine, name in zip(doubts, names, strict=True):
        for doubt in mine:
            by_key.setdefault(doubt.key, []).append((name, doubt))
    found = []
    for entries in by_key.values():
        first = entries[0][1]
        if all(np.array_equal(first.drawn, doubt.drawn) for _, doubt in entries):
            builds = tuple(name for _, doubt in entries for name in doubt.builds)
            found.append(replace(first, builds=builds))
            continue
        found += [replace(d, key=f"{d.key} ({name})", words=f"{d.words} with {name}") for name, d in entries]
    return found


def answers(tables: Sequence[Array], doubts: Sequence[Doubt], seed: int = 0) -> tuple[Answer, ...]:
    """Value every doubt, alone and in groups, for the choice between acts.

    Attributes
    ----------
    tables : Points of each act, draws by matches
    doubts : What was drawn with them

    Notes
    -----
    Of the quantities only those are valued whose correlation with a difference between acts is beyond what chance
    gives the largest of so many (at 5 %): the others cannot be told from nothing with so many draws.
    """
    draws = min((table.shape[0] for table in tables), default=0)
    if len(tables) < 2 or draws < 2:
        return ()
    benefits = np.stack([table[:draws].mean(axis=1) for table in tables], axis=1)
    found = []
    moving = _moving(benefits, doubts)
    for doubt in moving:
        inputs = doubt.drawn[:draws]
        if doubt.belief is None:
            found.append(_answer(doubt, None, value_of_knowing(benefits, inputs, seed)))
            continue
        for tries in (None, *reversed(TRIES)):
            found.append(_answer(doubt, tries, value_of_tries(benefits, inputs[:, 0], doubt.belief, tries, seed)))
            if not found[-1].tells:
                break  # fewer tries are never worth more than knowing
    return (*_groups(tables, benefits, moving, seed), *sorted(found, key=lambda a: (-a.points, a.key, a.tries or 0)))


def _answer(doubt: Doubt, tries: int | None, worth: Worth) -> Answer:
    minutes = doubt.minutes if doubt.belief is None else None
    minutes = doubt.before + doubt.minutes * tries if tries is not None else minutes
    day, words = MATCHES_A_DAY * worth.value, doubt.words
    return Answer(
        doubt.key, words, doubt.kind, tries, worth.value, worth.error, day, minutes, doubt.first, doubt.builds
    )


def _moving(benefits: Array, doubts: Sequence[Doubt]) -> list[Doubt]:
    draws = benefits.shape[0]
    gaps = benefits - benefits.mean(axis=1, keepdims=True)
    spread = gaps.std(axis=0)
    gaps = gaps[:, spread > 0.0] / spread[spread > 0.0]
    least = float(normal_quantile(1.0 - 0.025 / max(len(doubts), 1))) / draws**0.5
    found = []
    for doubt in doubts:
        x = doubt.drawn[:draws]
        x = x[:, x.std(axis=0) > 0.0]
        if not x.size or not gaps.size:
            continue
        correlations = np.abs((x - x.mean(axis=0)).T @ (gaps - gaps.mean(axis=0))) / (draws * x.std(axis=0)[:, None])
        if doubt.kind == "practise" or float(correlations.max()) > least:
            found.append(doubt)
    return found


def _groups(tables: Sequence[Array], benefits: Array, moving: Sequence[Doubt], seed: int) -> list[Answer]:
    """Everything that is not known; the practised chances together; the quantities together."""
    reference = int(benefits.mean(axis=0).argmax())
    draws = benefits.shape[0]
    means = np.stack([true_means(table[:draws] - tables[reference][:draws]) for table in tables], axis=1)
    whole = float(information_value(means))
    error = float(means.max(axis=1).std()) / draws**0.5
    found = [Answer("everything", "everything", "group", None, whole, error, MATCHES_A_DAY * whole, None)]
    for name, kind in (("practice", "practise"), ("measurements", "measure")):
        mine = [d.drawn[:draws] for d in moving if d.kind == kind]
        if len(mine) > 1:
            worth = value_of_knowing(benefits, np.concatenate(mine, axis=1), seed)
            found.append(
                Answer(name, f"all {name}", "group", None, worth.value, worth.error, MATCHES_A_DAY * worth.value, None)
            )
    return found
