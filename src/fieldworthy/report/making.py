"""From a robot to its documents: runs what each needs and lays it out; commands and page only say where it goes."""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass, replace
from typing import Literal
from xml.etree import ElementTree

from fieldworthy.decide.compare import compare
from fieldworthy.decide.faults import fix_first
from fieldworthy.decide.matrix import matrix
from fieldworthy.decide.remedy import remedies
from fieldworthy.decide.search import Found
from fieldworthy.engine.context import Context
from fieldworthy.engine.evaluate import Cases, evaluate
from fieldworthy.engine.finding import DisplayUnits, Report
from fieldworthy.files import BadInput
from fieldworthy.files.document import read_bytes
from fieldworthy.match import all_played, match_clock, scores, summed, tallied, timeline
from fieldworthy.match.ability import ability
from fieldworthy.measure.model import FaultLog
from fieldworthy.measure.practice import risks
from fieldworthy.report import card
from fieldworthy.report.blocks import Badge, Paper, Section, Size
from fieldworthy.report.card import Inspection, inspection
from fieldworthy.report.changelog import changelog
from fieldworthy.report.choice import Decision, choice
from fieldworthy.report.formulas import Words, style_of
from fieldworthy.report.judges import Told, judges
from fieldworthy.report.notebook import Content, Played, notebook
from fieldworthy.report.searched import searched
from fieldworthy.robot import Loaded
from fieldworthy.robot.partslist import beside, lacking_beside

SAMPLES = 1000
"""Robots within the tolerances that every document's chances are counted over."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a notebook shall hold.

    Attributes
    ----------
    date, job : What the person put on the cover; empty for none
    runs, seed : Matches of the forecast, and what fixes all draws
    mend : Whether to look for remedies, which takes some seconds
    since : An older revision of the robot
    against : Variants to decide between; one alone is held against the robot itself
    weights : Criterion and weight; empty for all the same
    search : What a search of the robot found
    """

    date: str = ""
    job: str = ""
    runs: int = 2000
    seed: int = 0
    mend: bool = False
    since: Loaded | None = None
    against: tuple[Loaded, ...] = ()
    weights: tuple[tuple[str, float], ...] = ()
    search: Found | None = None


_LARGEST, _WIDEST = 200_000, 4000  # bytes and pixels of a logo
_PNG = b"\x89PNG\r\n\x1a\n"
_UNSAFE = re.compile(rb"<!DOCTYPE|<!ENTITY|<\s*(?:\w+:)?(?:script|foreignObject|image|iframe|style|a)\b|\bon\w+\s*=|"
                     rb"href\s*=\s*[\"'](?!#)|url\(\s*[\"']?(?!#)|<\?(?!xml\s)", re.IGNORECASE)  # fmt: skip


def badged(paper: Paper, loaded: Loaded) -> Paper:
    """Put the team's name, number and logo on a document."""
    team = loaded.nominal.team
    if team is None:
        return paper
    text = f"Team {team.number}: {team.name}" if team.number else f"Team {team.name}"
    if team.logo is None:
        return replace(paper, badge=Badge(text))
    form: Literal["png", "svg"] = "svg" if team.logo.lower().endswith(".svg") else "png"
    return replace(paper, badge=Badge(text, _logo(loaded, team.logo, form), form))


def _logo(loaded: Loaded, name: str, form: Literal["png", "svg"]) -> bytes:
    """The picture beside the robot file, and in its folder: small, whole, and nothing in it that acts or fetches."""
    key, document = ("team", "logo"), loaded.document
    file = beside(document.file, name)
    if file is None:
        raise BadInput([lacking_beside(document, key, name, "picture", document.file.parent.glob(f"*.{form}"))])
    raw = read_bytes(file)
    if len(raw) > _LARGEST:
        raise BadInput([document.problem(key, f"expected a picture of at most {_LARGEST // 1000} kB")])
    wrong = _svg_fault(raw) if form == "svg" else _png_fault(raw)
    if wrong:
        raise BadInput([document.problem(key, wrong)])
    return raw


def _png_fault(raw: bytes) -> str:
    """What is wrong with a PNG: each of its chunks carries its length and a checksum (ISO/IEC 15948)."""
    place, last, names = len(_PNG), b"", []
    while raw.startswith(_PNG) and place + 12 <= len(raw):
        size = int.from_bytes(raw[place : place + 4])
        body, check = raw[place + 4 : place + 8 + size], raw[place + 8 + size : place + 12 + size]
        if len(check) < 4 or zlib.crc32(body) != int.from_bytes(check):
            break
        last, place = body[:4], place + 12 + size
        names.append(last)
    if last != b"IEND" or names[0] != b"IHDR" or b"IDAT" not in names:
        return "expected a PNG picture: it is another file, or a part of it is missing"
    wide, high = (int.from_bytes(raw[at : at + 4]) for at in (16, 20))
    if not (0 < wide <= _WIDEST and 0 < high <= _WIDEST):
        return f"expected a picture of at most {_WIDEST} pixels either way"
    return ""


def _svg_fault(raw: bytes) -> str:
    """What is wrong with an SVG: it must be well-formed, draw only, and point to nothing outside itself."""
    try:
        raw.decode("utf-8")
        if _UNSAFE.search(raw):
            return "expected an SVG that only draws: without scripts, styles, links, pictures or files from elsewhere"
        root = ElementTree.fromstring(raw)
    except (UnicodeDecodeError, ElementTree.ParseError):
        return "expected an SVG picture: it is another file, or a part of it is missing"
    return "" if root.tag.rpartition("}")[2] == "svg" else "expected an SVG picture"


def make_notebook(loaded: Loaded, wanted: Wanted) -> Paper:
    """Check a robot, play its matches and lay its notebook out."""
    report = evaluate(loaded, SAMPLES, wanted.seed)
    mendings = remedies(loaded, report) if wanted.mend else ()
    played = _played(loaded, wanted) if loaded.nominal.plan is not None else None
    more = [*_since(loaded, report, wanted), *_decided(loaded, wanted)]
    if wanted.search is not None:
        more += searched(wanted.search, loaded, Words(loaded, report), style_of(loaded))
    content = Content(loaded, report, wanted.job, wanted.date, played, mendings, more, size_of(loaded))
    return badged(notebook(content), loaded)


def _played(loaded: Loaded, wanted: Wanted) -> Played:
    base = Context(loaded.nominal, loaded.nominal_season)
    tally = all_played(tallied(loaded, wanted.runs, wanted.seed), wanted.runs)
    found = summed(loaded, tally, timeline(base), (wanted.runs, wanted.seed))
    return Played(found, scores(tally, found), match_clock(base))


def _since(loaded: Loaded, report: Report, wanted: Wanted) -> list[Section]:
    if wanted.since is None:
        return []
    return [changelog((wanted.since, evaluate(wanted.since, SAMPLES, wanted.seed)), (loaded, report))]


def make_judges(loaded: Loaded, wanted: Wanted) -> Paper:
    """Check a robot, play its matches and lay the judges' pages out."""
    report = evaluate(loaded, SAMPLES, wanted.seed)
    decision = _decision(loaded, wanted)
    robots = (loaded,) if decision is None else decision.variants
    runs = [_played(one, wanted) for one in robots if one.nominal.plan is not None]
    older = None if wanted.since is None else evaluate(wanted.since, SAMPLES, wanted.seed)
    mendings = remedies(loaded, report) if decision is None else ()
    told = Told(
        loaded, report, wanted.date, wanted.job, tuple((one.forecast, one.scores) for one in runs if one.scores),
        decision, mendings, older, size_of(loaded),
    )  # fmt: skip
    return badged(judges(told), loaded)


def _decided(loaded: Loaded, wanted: Wanted) -> list[Section]:
    found = _decision(loaded, wanted)
    return [] if found is None else choice(found, style_of(loaded), follows=wanted.since is not None)


def _decision(loaded: Loaded, wanted: Wanted) -> Decision | None:
    if not wanted.against:
        return None
    variants = wanted.against if len(wanted.against) > 1 else (loaded, *wanted.against)
    reports = tuple(evaluate(v, SAMPLES, wanted.seed) for v in variants)
    found = compare(variants, wanted.runs, wanted.seed)
    if found.difference[0].runs < wanted.runs:  # Ctrl-C: no document of fewer matches than it says
        raise KeyboardInterrupt
    weighed = matrix(found, reports, dict(wanted.weights))
    return Decision(variants, reports, found, weighed)


def make_card(loaded: Loaded, date: str = "", log: FaultLog | None = None) -> Paper:
    """Check a robot and lay its pit card out on one page."""
    planned = loaded.nominal.plan is not None
    against = ability(loaded, Cases(0, 0, SAMPLES, [])).contradictions if planned else ()
    report, cut = evaluate(loaded, SAMPLES), len(f"{loaded.nominal.robot}: ")
    words = Words(loaded, report)
    said = tuple(words.text(f"{one.sentence[cut : cut + 1].upper()}{one.sentence[cut + 1 :]}") for one in against)
    asked = card.Asked(date, () if log is None else _faults(loaded, log), size_of(loaded), said)
    return card.fitted(badged(card.card(loaded, report, asked), loaded))


def _faults(loaded: Loaded, log: FaultLog) -> tuple[str, ...]:
    if loaded.nominal.plan is None:
        return tuple(card.fault(risk) for risk in risks(log) if risk.times)
    ranked = fix_first(loaded, log).fixes
    return tuple(card.fault(fix.risk, fix.points) for fix in ranked if fix.risk.times)


def make_inspection(loaded: Loaded) -> Inspection:
    """Check a robot and hold the season's limits against it."""
    return inspection(evaluate(loaded, SAMPLES), loaded.nominal, loaded.nominal_season)


def size_of(loaded: Loaded) -> Size:
    """Choose the paper that the team has: Letter where it measures in inches."""
    return "a4" if DisplayUnits.of(loaded.quantities).units["length"] in ("mm", "cm", "m") else "us-letter"
