"""A search for the page: what may vary, the search itself with what it found so far, designs drawn and as files."""

from __future__ import annotations

import json
import time
from dataclasses import dataclass
from pathlib import Path

from fieldworthy.decide import search as decided
from fieldworthy.decide.search import Budget, Design, Found, How
from fieldworthy.decide.search.figure import Cloud, cloud, coordinates, scatter, so_far
from fieldworthy.decide.search.space import what_varies
from fieldworthy.decide.search.wanted import Asked, asked, from_options
from fieldworthy.files.document import KeyPath
from fieldworthy.web.figures import Look, Named, in_pose, poses, styled
from fieldworthy.web.judging import Source, Texts, robot_of, texts_of
from fieldworthy.web.runs import drawn_plan
from fieldworthy.web.worker import is_enough, progress

_TICKS = 20
"""Places of a slider."""
_PACE = 0.7  # s between two pictures of a running search


@dataclass(frozen=True, slots=True)
class Varying:
    """One thing that a search may vary.

    Attributes
    ----------
    key : As findings write it
    path : The first place in the file
    now : Its value, as the file says it
    ticks : Of a number: what stands at each place of a slider
    options : Of a choice
    more : How many other things change with it
    """

    key: str
    path: KeyPath
    now: str
    ticks: tuple[str, ...]
    options: tuple[str, ...]
    more: int


def varying(source: Source) -> tuple[Varying, ...]:
    """List what a search of a robot may vary."""
    found = []
    for v in what_varies(robot_of(source)):
        ticks: tuple[str, ...] = ()
        if v.is_number:
            last = v.grid.size - 1
            ticks = tuple(v.text(float(v.grid[round(last * i / _TICKS)])) for i in range(_TICKS + 1))
        options = () if v.is_number else tuple(o.text for o in v.options)
        found.append(Varying(v.key, v.paths[0], v.text(v.now), ticks, options, len(v.paths) - 1))
    return tuple(found)


@dataclass(frozen=True, slots=True, eq=False)
class SoFar:
    """What a search found so far.

    Attributes
    ----------
    source : The robot's texts
    candidates, matches : Tried and played
    left : Time until its budget is spent [s]
    best : Of the first thing that is wanted; None where nothing holds yet
    cloud : Candidates that were tried; None while a plan is searched
    history : How good the best was after so many candidates
    """

    source: Source
    candidates: int
    matches: int
    left: float
    best: float | None
    cloud: Cloud | None
    history: tuple[tuple[int, float], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Searched:
    """What a search found in the end.

    Attributes
    ----------
    source : The robot's texts
    found : The best designs
    last : What was tried
    """

    source: Source
    found: Found
    last: SoFar | None


def searched(source: Source, wanted: str, minutes: float, seed: int) -> Searched:
    """Search the best robot; tells what it found so far, and ends with that when it is asked to."""
    loaded = robot_of(source)
    document = from_options(json.loads(wanted))
    teller = _Teller(source, asked(loaded, document))
    found = decided.search(loaded, document, How(Budget(1_000_000, minutes), seed), teller.tell)
    return Searched(source, found, teller.last)


class _Teller:
    """Tells the page how far a search is, not too often."""

    def __init__(self, source: Source, wanted: Asked) -> None:
        self._source, self._asked = source, wanted
        self._history: list[tuple[int, float]] = []
        self._told = 0.0
        self.last: SoFar | None = None

    def tell(self, now: decided.Progress) -> None:
        """Take in one round."""
        better = self._asked.objectives[0].better
        best = None if now.worth is None else better * now.worth[0]
        if best is not None:
            self._history.append((now.candidates, best))
        shown = None if now.known is None else cloud(self._asked, now.known)
        self.last = SoFar(self._source, now.candidates, now.matches, now.left, best, shown, tuple(self._history[-400:]))
        if time.monotonic() - self._told > _PACE:
            progress(now.share, self.last)
            self._told = time.monotonic()
        if is_enough():
            raise KeyboardInterrupt


def drawn_search(
    source: Source, told: tuple[Cloud, tuple[tuple[int, float], ...]], of: tuple[int, int],
    least: tuple[float, ...], look: Look,
) -> Named:  # fmt: skip
    """Draw what was tried."""
    shown, history = told
    style = styled(source, look)
    found = []
    if history:
        found.append(("best so far", so_far(history, shown.columns[0].label, style)))
    if len(shown.values):
        found += [("candidates", scatter(shown, of, least, style)), ("lines", coordinates(shown, least, style))]
    return tuple(found)


def with_design(source: Source, design: Design) -> Source:
    """A robot with a design's changes."""
    texts = decided.texts_with(robot_of(source), decided.changes_in(design))
    return Source(source.file, texts_of({**dict(source.texts), **texts}))


def drawn_design(source: Source, design: Design, pose: str, look: Look) -> Named:
    """Draw a design beside the present robot, and its plan where that is another."""
    other = with_design(source, design)
    names = poses(source)
    chosen = pose if pose in names else names[0] if names else ""
    drawn = [(f"now {chosen}", in_pose(source, look, chosen)), (f"then {chosen}", in_pose(other, look, chosen))]
    found: Named = tuple((name, figure) for name, figures in drawn for _, figure in figures)
    if design.plan:
        found += tuple(("plan then", figure) for _, figure in drawn_plan(other, look))
    return found


def variant_of(source: Source, design: Design, name: str, file: Path) -> Texts:
    """The texts of a design as a robot file of its own, which comes first."""
    changes = {**decided.changes_in(design), ("robot",): name}
    return tuple(decided.variant_texts(robot_of(source), changes, file).items())


def changes_of(design: Design) -> tuple[tuple[KeyPath, object], ...]:
    """What a design changes in the file."""
    return tuple(decided.changes_in(design).items())
