"""Long runs for the page: matches, comparisons, documents, fits, searches. Each works on texts and tells its share."""

from __future__ import annotations

import dataclasses
import datetime
import json
import re
import time
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache, partial
from pathlib import Path
from typing import Literal

import numpy as np

from fieldworthy.api import Robot, compare
from fieldworthy.decide import figure as variants
from fieldworthy.decide import search as decided
from fieldworthy.decide.compare import Comparison
from fieldworthy.decide.faults import FixFirst, fix_first
from fieldworthy.decide.search import Budget, Design, Found, How
from fieldworthy.decide.search.cloud import Cloud, Within, cloud
from fieldworthy.decide.search.figure import coordinates, scatter, so_far
from fieldworthy.decide.search.result import changed_in
from fieldworthy.decide.search.space import Variable, what_varies
from fieldworthy.decide.search.wanted import Asked, asked, from_options
from fieldworthy.decide.sensitivity import Influence, sensitivity
from fieldworthy.decide.work import Work, work_of
from fieldworthy.files import read_document
from fieldworthy.files.document import KeyPath, dotted
from fieldworthy.files.writing import GONE
from fieldworthy.match import Forecast, Part, Scores, early, match_clock
from fieldworthy.match import figure as match
from fieldworthy.match import figure as score
from fieldworthy.measure import Comparison as Held
from fieldworthy.measure import Fitted, Measured, Procedure
from fieldworthy.measure import figure as left_over
from fieldworthy.measure.files import measured_on
from fieldworthy.measure.fit import FitReport, Ways, changes, fit, procedure
from fieldworthy.measure.practice import Risk, load_faults, risks
from fieldworthy.measure.prediction import Combined, combined, comparisons, unit_of
from fieldworthy.measure.result import with_interval
from fieldworthy.report.blocks import Paper
from fieldworthy.report.card import as_paper
from fieldworthy.report.export import WRITERS, as_urdf, export_of
from fieldworthy.report.making import Wanted, badged, make_card, make_inspection, make_judges, make_notebook, size_of
from fieldworthy.report.typeset import as_html, as_pdf, as_pictures
from fieldworthy.robot import Loaded
from fieldworthy.robot.things import SINGLES, head_of
from fieldworthy.robot.words import phrase, unstated
from fieldworthy.units import KINDS, often
from fieldworthy.web.figures import Look, Named, context_of, in_pose, named, poses, styled
from fieldworthy.web.judging import Source, Texts, Units, in_units, robot_of, shown_in, texts_of
from fieldworthy.web.procedures import path_of
from fieldworthy.web.readings import Readings
from fieldworthy.web.worker import is_enough, progress

Kind = Literal["notebook", "judges", "card", "inspection", "constants"]
SHOWN = 8
"""Pages that are shown before a document is saved."""
_COARSE = 60.0  # pixels an inch: enough to see what stands where
_ENDINGS = {"json": "json", "c": "h", "python": "py", "csv": "csv", "urdf": "urdf"}
_MEDIA = {
    "pdf": "application/pdf", "html": "text/html", "json": "application/json", "csv": "text/csv", "urdf": "text/xml",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Order:
    """What is asked for.

    Attributes
    ----------
    kind : Which document
    form : ``pdf`` or ``html``; of constants, what program reads them
    mend : Whether the notebook looks for remedies
    """

    kind: Kind
    form: str = "pdf"
    mend: bool = False


@dataclass(frozen=True, slots=True)
class Made:
    """A document.

    Attributes
    ----------
    name, media : Of its file
    content : Of its file
    pages : Its first pages as PNG
    text : What stands in it, where it is plain text
    """

    name: str
    media: str
    content: bytes
    pages: tuple[bytes, ...] = ()
    text: str = ""


def made(sources: tuple[Source, ...], order: Order) -> Made:
    """Make a document of a robot; further robots are variants that its notebook or its judges' pages decide between."""
    loaded = robot_of(sources[0])
    day = datetime.date.today().isoformat()
    stem = re.sub(r"[^a-z0-9]+", "_", f"{loaded.nominal.robot} {order.kind} {day}".lower()).strip("_")
    if order.kind == "constants":
        text = as_urdf(loaded) if order.form == "urdf" else WRITERS[order.form](export_of(loaded, day))
        ending = _ENDINGS[order.form]
        return Made(f"{stem}.{ending}", _MEDIA.get(ending, "text/plain"), text.encode("utf-8"), text=text)
    progress(0.05)
    if order.kind in ("notebook", "judges"):
        variants = tuple(robot_of(source) for source in sources[1:])
        make = make_notebook if order.kind == "notebook" else make_judges
        paper = make(loaded, Wanted(day, mend=order.mend, against=variants))
    elif order.kind == "card":
        paper = make_card(loaded, day)
    else:
        paper = badged(as_paper(make_inspection(loaded), day, size_of(loaded)), loaded)
    progress(0.8)
    return _set(paper, stem, order.form)


def _set(paper: Paper, stem: str, form: str) -> Made:
    content = as_html(paper).encode("utf-8") if form == "html" else as_pdf(paper)
    progress(0.95)
    return Made(f"{stem}.{form}", _MEDIA[form], content, tuple(as_pictures(paper, _COARSE)[:SHOWN]))


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


def first_mean(source: Source, part: Part) -> float:
    """Play a few matches for their mean points, in a process that does not compile."""
    return early.first_mean(robot_of(source), 0, part)


def working_names(source: Source) -> tuple[str, ...]:
    """Where a fault can come: the actions and mechanisms of a robot."""
    nominal = robot_of(source).nominal
    return tuple(dict.fromkeys([*nominal.actions, *nominal.mechanisms]))


def faults_told(source: Source, file: Path, text: str) -> tuple[tuple[str, str, str, int], ...]:
    """List the faults of a log, the one that came most often first: what, where, a sentence, how often."""
    found = sorted(risks(load_faults(file, robot_of(source), text)), key=lambda risk: -risk.times)
    return tuple((risk.what, risk.where, _counted(risk), risk.times) for risk in found)


def _counted(risk: Risk) -> str:
    if not risk.times:
        return f"{risk.what} ({risk.where}): mended after {risk.mended}"
    return f"{risk.what} ({risk.where}): came {often(risk.times)}"


def faults_ranked(source: Source, file: Path, text: str, runs: int) -> FixFirst:
    """Rank the faults of a log by the points that they cost."""
    loaded = robot_of(source)
    return fix_first(loaded, load_faults(file, loaded, text), runs)


def work_left(source: Source, runs: int) -> Work:
    """List what to do in the hours that are left."""
    return work_of(robot_of(source), runs)


def drawn_plan(source: Source, look: Look) -> Named:
    """Draw one match that goes to plan."""
    found = Robot(robot_of(source)).match(0)
    course = match.Course(found.timeline, match_clock(context_of(source), "whole"))
    return (("timeline", match.timeline(course, styled(source, look))),)


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
    comparison, units : What was found, and in whose units its sentences are
    """

    sources: tuple[Source, ...]
    comparison: Comparison
    units: Units = "file"


def held_against(sources: tuple[Source, ...], runs: int, seed: int, units: Units = "file") -> Compared:
    """Compare variants over the same matches."""
    robots = [Robot(in_units(source, units)) for source in sources]
    found = compare(*robots, runs=runs, seed=seed, progress=lambda done: progress(done / runs))
    return Compared(sources, found.data, units)


def drawn_comparison(compared: Compared, look: Look) -> Named:
    """Draw variants side by side."""
    found, style = compared.comparison, styled(compared.sources[0], look)
    flips = [(f"flip {flip.variant}", variants.flip(flip, style)) for flip in found.flip]
    whole = [("difference", variants.differences(found, style)), ("criteria", variants.criteria(found, style))]
    return named([*whole, *flips])


_MOST = 60  # figures that one procedure shows


@dataclass(frozen=True, slots=True)
class Card:
    """What one procedure tells, in sentences.

    Attributes
    ----------
    name, title, date : As in the procedure
    told : Each fitted value with its interval
    untold : What cannot be told and why, and which reading would tell it
    notes : Agreement, oddities, rows left out
    held : Each value beside the robot file's
    procedure : As it was fitted [SI]
    """

    name: str
    title: str
    date: str
    told: tuple[str, ...]
    untold: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    held: tuple[Held, ...]
    procedure: Procedure


@dataclass(frozen=True, slots=True)
class FitShown:
    """Everything that a measurements file tells.

    Attributes
    ----------
    source : The robot that it was held against
    readings : The measurements
    report : As it was fitted [SI]
    cards : Each procedure in sentences
    held : All procedures together beside the robot file
    units : In which all of it is told
    """

    source: Source
    readings: Readings
    report: FitReport
    cards: tuple[Card, ...]
    held: tuple[Held, ...]
    units: Units


@lru_cache(maxsize=8)
def measured_of(source: Source, readings: Readings, units: Units = "file") -> Measured:
    """Read measurements with the robot as it stands in a window."""
    return measured_on(read_document(readings.file, readings.text), in_units(source, units))


def told(source: Source, readings: Readings, part: str, units: Units) -> Card:
    """Fit one procedure alone."""
    path = path_of(part)
    found = procedure(measured_of(source, readings), *map(str, path))
    return _card(measured_of(source, readings, units), _freed(found, units))


def fitted(source: Source, readings: Readings, units: Units) -> FitShown:
    """Fit a whole measurements file."""
    ways = Ways(progress, partial(shown_in, units=units))
    report = fit(measured_of(source, readings), ways=ways)
    shown = measured_of(source, readings, units)
    told_in = [_freed(p, units) for p in report.procedures]
    held = comparisons(shown, combined(told_in))
    return FitShown(source, readings, report, tuple(_card(shown, p) for p in told_in), held, units)


def _freed(found: Procedure, units: Units) -> Procedure:
    """Leave the choice of units to the person, where those that a procedure asks for are of one system."""
    if units == "file":
        return found
    systems = {name for name, kind in KINDS.items() if kind.metric != kind.inch}
    items = (dataclasses.replace(item, unit="") if item.kind in systems else item for item in found.fitted)
    return dataclasses.replace(found, fitted=tuple(items))


def _card(measured: Measured, found: Procedure) -> Card:
    return Card(
        found.name, found.title, found.date,
        tuple(f"{_upper(item.name)}: {_number(measured, item)}" for item in found.fitted),
        tuple((f"{_upper(u.name)} cannot be told: {u.why}.", f"{_upper(u.reading)}.") for u in found.unidentified),
        found.notes, comparisons(measured, combined([found])), found,
    )  # fmt: skip


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _number(measured: Measured, item: Fitted) -> str:
    unit = unit_of(measured, Combined(item.key, (item,), ("",), item.value, item.half_width, False))
    return with_interval(item.value, item.half_width, item.kind, unit)


def drawn_readings(source: Source, found: Procedure, look: Look) -> Named:
    """Draw readings against what the fitted model says of them."""
    style = styled(source, look)
    shown = []
    for number, data in enumerate(found.residuals[: _MOST // 2], 1):
        name = f"{found.name} {number}"
        shown.append((f"{name} left over", left_over.residuals(data, style)))
        shown.append((f"{name} agreement", left_over.agreement(data, style)))
    return tuple(shown)


def taken(
    source: Source, readings: Readings, found: tuple[Procedure, ...], chosen: tuple[str, ...], day: date
) -> tuple[tuple[KeyPath, object], ...]:
    """Say what changes in the robot when measured values are taken into it."""
    wanted = set(chosen)
    few = tuple(
        dataclasses.replace(p, fitted=tuple(item for item in p.fitted if item.key and dotted(item.key) in wanted))
        for p in found
    )
    return tuple(changes(measured_of(source, readings), few, day).items())


def changed_words(source: Source, changed: tuple[tuple[KeyPath, object], ...]) -> tuple[str, ...]:
    """Say in words what a change of the robot is."""
    data = robot_of(source).document.data
    return tuple(_changed(data, path, value) for path, value in changed)


def _changed(data: object, path: KeyPath, value: object) -> str:
    for key in path:
        if isinstance(data, dict):
            data = data.get(str(key))
        elif isinstance(data, list) and isinstance(key, int) and key < len(data):
            data = data[key]
        else:
            data = None
    before = f"was {_plain(data)}" if data is not None else "was not in the file"
    if value is GONE:
        return f"{dotted(path)}: taken out, {before}."
    return f"{dotted(path)}: {_plain(value)}, {before}."


def _plain(value: object) -> str:
    """A value of a file in words: with its tolerance and what it rests on."""
    if not isinstance(value, dict) or "value" not in value:
        return str(value)[:120]
    tolerance = f" ± {value['tolerance']}" if value.get("tolerance") is not None else ""
    rest = ", ".join(str(value[key]) for key in ("basis", "date") if value.get(key))
    return f"{value['value']}{tolerance}{f' ({rest})' if rest else ''}"


_TICKS = 20
"""Places of a slider."""
_PACE = 0.7  # s between two pictures of a running search


@dataclass(frozen=True, slots=True)
class Varying:
    """One thing that a search may vary.

    Attributes
    ----------
    key : As findings write it
    words, group : What people call it, and the thing that it stands with
    path : The first place in the file
    now : Its value, as the file says it
    ticks : Of a number: what stands at each place of a slider
    options : Of a choice
    more : How many other things change with it
    """

    key: str
    words: str
    group: str
    path: KeyPath
    now: str
    ticks: tuple[str, ...]
    options: tuple[str, ...]
    more: int


def varying(source: Source) -> tuple[Varying, ...]:
    """List what a search of a robot may vary."""
    loaded, found = robot_of(source), []
    for v in what_varies(loaded):
        ticks: tuple[str, ...] = ()
        if v.is_number:
            last = v.grid.size - 1
            ticks = tuple(v.text(float(v.grid[round(last * i / _TICKS)])) for i in range(_TICKS + 1))
        options = () if v.is_number else tuple(o.text for o in v.options)
        path, more = v.paths[0], len(v.paths) - 1
        found.append(Varying(v.key, _words_for(loaded, v), _group_of(path), path, v.text(v.now), ticks, options, more))
    return tuple(found)


def _words_for(loaded: Loaded, varied: Variable) -> str:
    """What people call a thing that varies."""
    path = varied.paths[0]
    return f"with or without '{path[-1]}'" if varied.sort == "thing" else _words_of(loaded, varied.key, path)


def _words_of(loaded: Loaded, key: str, path: KeyPath) -> str:
    """What people call a number or a choice; where it is one of all things of a kind, that kind."""
    if key != dotted(path):
        return f"{unstated(key)}, all of them"
    what, of, thing = phrase(loaded.robot, loaded.season, path).partition(" of ")
    return (f"class of {thing}" if thing.startswith(f"{what} '") else f"{what}{of}{thing}").replace("  ", " ")


def _group_of(path: KeyPath) -> str:
    """The thing that a number stands with, or the kind of such things, as the list of what a robot is made of says."""
    head = head_of(path)
    if head is None:
        return next((one.label for one in SINGLES if path[: len(one.path)] == one.path), str(path[0]))
    return f"{head.one.capitalize()} '{path[1]}'" if len(head.path) == 1 else head.many


@dataclass(frozen=True, slots=True, eq=False)
class SoFar:
    """What a search found so far.

    Attributes
    ----------
    source : The robot's texts
    wanted : What was asked, as the page put it
    candidates, matches : Tried and played
    left : Time until its budget is spent [s]
    best : Of the first thing that is wanted; None where nothing holds yet
    cloud : Candidates that were tried; None while a plan is searched
    history : How good the best was after so many candidates
    """

    source: Source
    wanted: str
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
    wanted_of = asked(loaded, document)
    names = tuple(_words_for(loaded, v) for v in wanted_of.space.variables)
    teller = _Teller((source, wanted), wanted_of, names)
    found = decided.search(loaded, document, How(Budget(1_000_000, minutes), seed), teller.tell)
    return Searched(source, found, teller.last)


class _Teller:
    """Tells the page how far a search is, not too often."""

    def __init__(self, of: tuple[Source, str], asked: Asked, names: tuple[str, ...]) -> None:
        self._of, self._asked, self._names = of, asked, names
        self._history: list[tuple[int, float]] = []
        self._told = 0.0
        self.last: SoFar | None = None

    def tell(self, now: decided.Progress) -> None:
        """Take in one round."""
        better = self._asked.objectives[0].better
        best = None if now.worth is None else better * now.worth[0]
        if best is not None:
            self._history.append((now.candidates, best))
        shown = None if now.known is None else cloud(self._asked, now.known, self._names)
        self.last = SoFar(*self._of, now.candidates, now.matches, now.left, best, shown, tuple(self._history[-400:]))
        if time.monotonic() - self._told > _PACE:
            progress(now.share, self.last)
            self._told = time.monotonic()
        if is_enough():
            raise KeyboardInterrupt


def drawn_search(
    source: Source, told: tuple[Cloud, tuple[tuple[int, float], ...]], of: tuple[int, int],
    within: Within, look: Look,
) -> Named:  # fmt: skip
    """Draw what was tried, and which of it lies within ranges."""
    shown, history = told
    style = styled(source, look)
    found = []
    if history:
        found.append(("best so far", so_far(history, shown.columns[0].label, style)))
    if len(shown.values):
        found += [("candidates", scatter(shown, of, within, style)), ("lines", coordinates(shown, within, style))]
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Candidate:
    """One robot that a search tried: what changes in the files, and each change as a sentence."""

    changes: tuple[tuple[KeyPath, object], ...]
    sentences: tuple[str, ...]


def candidate(source: Source, wanted: str, row: tuple[float, ...]) -> Candidate:
    """Say what a candidate of a search is; a plan that was found is no part of it."""
    loaded = robot_of(source)
    space = asked(loaded, from_options(json.loads(wanted))).space
    _, said = changed_in(loaded, space, np.array(row))
    return Candidate(tuple(space.edits(np.array(row)).items()), said)


def drawn_candidate(source: Source, found: Candidate, look: Look) -> Named:
    """Draw a candidate beside the present robot."""
    return _beside(source, with_changes(source, dict(found.changes)), "", look)


def with_changes(source: Source, changes: Mapping[KeyPath, object]) -> Source:
    """A robot with some changes of its files."""
    texts = decided.texts_with(robot_of(source), changes)
    return Source(source.file, texts_of({**dict(source.texts), **texts}))


def _beside(source: Source, other: Source, pose: str, look: Look) -> Named:
    names = poses(source)
    chosen = pose if pose in names else names[0] if names else ""
    drawn = [(f"now {chosen}", in_pose(source, look, chosen)), (f"then {chosen}", in_pose(other, look, chosen))]
    return tuple((name, figure) for name, figures in drawn for _, figure in figures)


def drawn_design(source: Source, design: Design, pose: str, look: Look) -> Named:
    """Draw a design beside the present robot, and its plan where that is another."""
    other = with_changes(source, decided.changes_in(design))
    found = _beside(source, other, pose, look)
    if design.plan:
        found += tuple(("plan then", figure) for _, figure in drawn_plan(other, look))
    return found


def variant_of(source: Source, changes: tuple[tuple[KeyPath, object], ...], name: str, file: Path) -> Texts:
    """The texts of a changed robot as a robot file of its own, which comes first."""
    return tuple(decided.variant_texts(robot_of(source), {**dict(changes), ("robot",): name}, file).items())


def changes_of(design: Design) -> tuple[tuple[KeyPath, object], ...]:
    """What a design changes in the file."""
    return tuple(decided.changes_in(design).items())
