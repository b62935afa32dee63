"""Long runs for the page: matches played, variants compared, inputs moved; each tells how far it is."""

from __future__ import annotations

from dataclasses import dataclass

from fieldworthy.api import Robot, compare
from fieldworthy.decide import figure as variants
from fieldworthy.decide.compare import Comparison
from fieldworthy.decide.sensitivity import Influence, sensitivity
from fieldworthy.match import Forecast, Part, Scores, match_clock
from fieldworthy.match import figure as match
from fieldworthy.match import figure as score
from fieldworthy.web.figures import Look, Named, context_of, named, styled
from fieldworthy.web.judging import Source, robot_of
from fieldworthy.web.worker import progress


@dataclass(frozen=True, slots=True)
class Played:
    """Many matches of one robot.

    Attributes
    ----------
    source : The robot's texts
    forecast : One match as planned, and the sums over all
    scores : How the points spread; None without a run
    course : The planned match with the times of its periods
    """

    source: Source
    forecast: Forecast
    scores: Scores | None
    course: match.Course


def play(source: Source, runs: int, seed: int, part: Part) -> Played:
    """Play a robot's match many times."""
    found = Robot(robot_of(source)).match(runs, seed, part, progress=lambda done: progress(done / runs))
    course = match.Course(found.timeline, match_clock(context_of(source), part))
    return Played(source, found.data, found.scores, course)


def mean_points(source: Source, runs: int) -> float | None:
    """Play a few matches for their mean points; None for a robot without a plan."""
    loaded = robot_of(source)
    return Robot(loaded).match(runs, 0).data.mean if loaded.nominal.plan is not None else None


def drawn_match(played: Played, look: Look) -> Named:
    """Draw what came of the matches."""
    style, spread = styled(played.source, look), played.scores
    return named([
        ("timeline", match.timeline(played.course, style)),
        ("points", score.distribution([spread], style) if spread is not None else None),
        ("limits", score.limits(played.forecast, style) if played.forecast.limits else None),
    ])  # fmt: skip


def moved_points(source: Source, runs: int, seed: int) -> tuple[Influence, ...]:
    """Find the inputs that move the points most."""
    return sensitivity(robot_of(source), runs, seed, progress=lambda done, total: progress(done / max(total, 1)))


def drawn_influences(influences: tuple[Influence, ...], look: Look) -> Named:
    """Draw what moves the points most."""
    return (("what moves the points", variants.sensitivity(influences, look.style)),) if influences else ()


@dataclass(frozen=True, slots=True)
class Compared:
    """Variants side by side.

    Attributes
    ----------
    sources : Their texts, the one that the others are held against first
    comparison : What was found
    """

    sources: tuple[Source, ...]
    comparison: Comparison


def held_against(sources: tuple[Source, ...], runs: int, seed: int) -> Compared:
    """Compare variants over the same matches."""
    robots = [Robot(robot_of(source)) for source in sources]
    return Compared(sources, compare(*robots, runs=runs, seed=seed, progress=lambda done: progress(done / runs)).data)


def drawn_comparison(compared: Compared, look: Look) -> Named:
    """Draw variants side by side."""
    found, style = compared.comparison, styled(compared.sources[0], look)
    flips = [(f"flip {flip.variant}", variants.flip(flip, style)) for flip in found.flip]
    whole = [("difference", variants.differences(found, style)), ("criteria", variants.criteria(found, style))]
    return named([*whole, *flips])
