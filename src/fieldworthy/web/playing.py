"""Long runs for the page: matches played, variants compared, inputs moved; each tells how far it is."""

from __future__ import annotations

from dataclasses import dataclass

from fieldworthy.decide import figure as variants
from fieldworthy.decide.compare import Comparison, compare
from fieldworthy.decide.sensitivity import Influence, sensitivity
from fieldworthy.match import Forecast, Part, Scores, scores, summed, tallied, timeline, whistles
from fieldworthy.match import figure as match
from fieldworthy.match import figure as score
from fieldworthy.web.judging import Source, robot_of
from fieldworthy.web.look import Look
from fieldworthy.web.pictures import Named, context_of, named, styled
from fieldworthy.web.worker import progress


@dataclass(frozen=True, slots=True)
class Played:
    """Many matches of one robot.

    Attributes
    ----------
    source : Source
        The robot's texts.
    forecast : Forecast
        One match as planned, and the sums over all.
    scores : Scores or None
        How the points spread; None without a run.
    course : Course
        The planned match with the times of its periods.
    """

    source: Source
    forecast: Forecast
    scores: Scores | None
    course: match.Course


def play(source: Source, runs: int, seed: int, part: Part) -> Played:
    """Play a robot's match many times.

    Parameters
    ----------
    source : Source
        Its texts [-].
    runs, seed : int
        How many, and what fixes them [-].
    part : str
        Of the match [-].

    Returns
    -------
    Played
        Everything that the page shows of them [SI].

    Raises
    ------
    BadInput
        When the files do not say enough for it.
    """
    loaded, context = robot_of(source), context_of(source)
    tally = tallied(loaded, runs, seed, part, progress=lambda done: progress(done / runs))
    planned = timeline(context, part)
    found = summed(loaded, tally, planned, (runs, seed))
    return Played(source, found, scores(tally, found), match.Course(planned, whistles(context, part)))


def drawn_match(played: Played, look: Look) -> Named:
    """Draw what came of the matches.

    Parameters
    ----------
    played : Played
        The matches [SI].
    look : Look
        How figures are to look [-].

    Returns
    -------
    tuple
        Timeline, distribution and limits [-].
    """
    style, spread = styled(played.source, look), played.scores
    return named([
        ("timeline", match.timeline(played.course, style)),
        ("points", score.distribution([spread], style) if spread is not None else None),
        ("limits", score.limits(played.forecast, style) if played.forecast.limits else None),
    ])  # fmt: skip


def moved_points(source: Source, runs: int, seed: int) -> tuple[Influence, ...]:
    """Find the inputs that move the points most.

    Parameters
    ----------
    source : Source
        The robot's texts [-].
    runs, seed : int
        Matches for each end of an input, and what fixes them [-].

    Returns
    -------
    tuple of Influence
        The one that moves most first [points].
    """
    return sensitivity(robot_of(source), runs, seed, progress=lambda done, total: progress(done / max(total, 1)))


def drawn_influences(influences: tuple[Influence, ...], look: Look) -> Named:
    """Draw what moves the points most.

    Parameters
    ----------
    influences : tuple of Influence
        What was found [points].
    look : Look
        How figures are to look [-].

    Returns
    -------
    tuple
        One figure; none where nothing moves them [-].
    """
    return (("what moves the points", variants.sensitivity(influences, look.style)),) if influences else ()


@dataclass(frozen=True, slots=True)
class Compared:
    """Variants side by side.

    Attributes
    ----------
    sources : tuple of Source
        Their texts, the one that the others are held against first.
    comparison : Comparison
        What was found.
    """

    sources: tuple[Source, ...]
    comparison: Comparison


def held_against(sources: tuple[Source, ...], runs: int, seed: int) -> Compared:
    """Compare variants over the same matches.

    Parameters
    ----------
    sources : tuple of Source
        Their texts, two at least [-].
    runs, seed : int
        Matches that each plays, and what fixes them [-].

    Returns
    -------
    Compared
        What was found [-].

    Raises
    ------
    BadInput
        When a file does not say enough, or they belong to different seasons.
    """
    loaded = [robot_of(source) for source in sources]
    return Compared(sources, compare(loaded, runs, seed, progress=lambda done: progress(done / runs)))


def drawn_comparison(compared: Compared, look: Look) -> Named:
    """Draw variants side by side.

    Parameters
    ----------
    compared : Compared
        What was found [-].
    look : Look
        How figures are to look [-].

    Returns
    -------
    tuple
        Differences, criteria, and for each variant where the answer flips [-].
    """
    found, style = compared.comparison, styled(compared.sources[0], look)
    flips = [(f"flip {flip.variant}", variants.flip(flip, style)) for flip in found.flip]
    whole = [("difference", variants.differences(found, style)), ("criteria", variants.criteria(found, style))]
    return named([*whole, *flips])
