"""What a check says: an outcome over cases, the finding that a person reads, its units and its JSON.

A result is a frozen dataclass that names its form as ``FORMAT``; the version in it changes only when a reader of the
old form would misread the new one.
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, ClassVar, Literal, Protocol

import numpy as np
from pydantic import TypeAdapter

from fieldworthy.arrays import Real
from fieldworthy.drawing.style import LIGHT, Style, Theme
from fieldworthy.files import Quantity
from fieldworthy.files.document import KeyPath
from fieldworthy.units import KINDS, digits, percent, to_unit, told

Verdict = Literal["holds", "close", "short", "unknown"]
VERDICTS: tuple[Verdict, ...] = ("short", "close", "unknown", "holds")
"""From what to act on first to what can be left alone."""
Need = Literal["at least", "at most"]

WIDEST = 10.0
"""Margins are clipped to this size: ten times the limit away is as good, or as bad, as it gets."""


def called(kind: str, name: str) -> str:
    """Name a thing in a sentence: clamp 'jaw', or the clamp where it is called that."""
    return f"the {name}" if name.casefold() == kind.casefold() else f"{kind} '{name}'"


@dataclass(frozen=True, slots=True)
class Message:
    """A sentence with numbers in it, for the nominal case.

    Attributes
    ----------
    holds : Where the check holds; ``{name}`` stands for a number of `numbers` or a word of `words`
    short : Where it is short; the same as `holds` if empty
    numbers : Name to value over cases and kind of quantity
    words : Name to text
    """

    holds: str
    short: str = ""
    numbers: Mapping[str, tuple[Real, str]] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Worked:
    """A formula that an outcome is computed by, with what its letters stand for.

    Attributes
    ----------
    formula : Its key in the documents' list of formulas
    numbers : By letter as written there, in SI, with the kind of quantity
    """

    formula: str
    numbers: Mapping[str, tuple[Real, str]]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one check found, over all cases of a batch.

    Attributes
    ----------
    id : Dotted, for example ``balance.tip.forward``
    subject : What of the robot it is about, for example ``pose loaded``
    value, limit : In SI; `limit` is None for a fact that nothing limits
    kind : Kind of quantity of both, a key of `fieldworthy.units.KINDS`
    need : On which side of the limit the value must be
    because : The sentence
    sources : Keys of sources.toml
    scale : What a margin of 1 means, in SI; the limit's own size where None
    missing : Keys that the file does not give, without which there is no verdict
    spare : The most that a good margin says, where the value is far from its limit and yet little turns it; None where
        value and limit tell it all
    worked : Formulas with the numbers put in, the nearest to the value first
    follows : Ids of the findings that it is a consequence of in these cases, beside those that its system declares
    """

    id: str
    subject: str
    value: Real
    limit: Real | None
    kind: str
    because: Message
    need: Need = "at least"
    sources: tuple[str, ...] = ()
    scale: Real | None = None
    missing: tuple[str, ...] = ()
    spare: Real | None = None
    worked: tuple[Worked, ...] = ()
    follows: tuple[str, ...] = ()

    def margin(self) -> Real:
        """Compute how far the value is on the good side of the limit."""
        if self.limit is None or self.missing:
            return 0.0
        scale = np.abs(self.limit if self.scale is None else self.scale)
        with np.errstate(invalid="ignore", over="ignore"):
            gap = np.subtract(self.value, self.limit)
            # a finite value misses an infinite limit by as much as it gets
            gap = np.where(np.isinf(gap), gap, gap / np.maximum(scale, 1e-9))
        gap = np.where(np.isnan(gap), 0.0, gap)  # both infinite: exactly at the limit
        gap = gap if self.need == "at least" else -gap
        if self.spare is not None:
            gap = np.where(gap > 0.0, np.minimum(gap, self.spare), gap)
        return np.clip(gap, -WIDEST, WIDEST) + 0.0  # no minus zero


def unknown(
    identifier: str, subject: str, kind: str, because: str, missing: tuple[str, ...], follows: tuple[str, ...] = ()
) -> Outcome:
    """Say that something cannot be judged, and what the file would have to give or what has to be mended first."""
    return Outcome(
        identifier, subject, 0.0, 0.0, kind, Message(because), missing=missing or ("robot",), follows=follows
    )


@dataclass(frozen=True, slots=True)
class Finding:
    """A verdict that a person reads, with what it rests on.

    Attributes
    ----------
    id, subject : As in `Outcome`
    value, limit : Nominal, in `unit`; None where unknown or without bound
    unit : The unit that the robot file uses for this kind of quantity
    need : On which side of the limit the value must be
    margin : 0 at the limit, positive is good
    chance : Share of the sampled cases in which it holds
    spread : The value's 95 % interval over the samples, in `unit`
    verdict : ``holds``; ``close``, where the nominal robot and too many of those that the tolerances allow disagree;
        ``short``; ``unknown``
    because : One sentence, of the nominal case
    inputs : Keys of the robot file that move it, the one that matters most first
    bases : How many of the inputs rest on which basis
    sharpen : The estimated input whose measurement would narrow the spread most
    sources : Keys of sources.toml
    missing : Keys that the file would have to give
    follows : Ids of the findings that it is a consequence of
    margin_low : The margin that 95 of 100 sampled cases reach, of the first thousand
    """

    id: str
    subject: str
    value: float | None
    limit: float | None
    unit: str
    need: Need
    margin: float | None
    chance: float | None
    spread: tuple[float, float] | None
    verdict: Verdict
    because: str
    inputs: tuple[str, ...]
    bases: dict[str, int]
    sharpen: str | None
    sources: tuple[str, ...]
    missing: tuple[str, ...] = ()
    follows: tuple[str, ...] = ()
    margin_low: float | None = None

    @property
    def fails(self) -> bool:
        """Whether the nominal robot is on the wrong side of the limit, however close."""
        return self.margin is not None and self.margin < 0


def name_of(item: Finding | Fact) -> str:
    """Name a finding or fact as people say it: what it is about, then what of it, "cylinder 'hooks': pressure"."""
    return title_of(item.id, item.subject)


def title_of(identifier: str, subject: str) -> str:
    """Name what an id means, beside the thing that it is about."""
    said = re.sub(r"\W+", " ", subject).split()
    words = [part.replace("_", " ") for part in identifier.split(".")[1:]]
    own = [word for word in words if word not in subject and not set(word.split()) <= set(said)]
    head = f"{subject[:1].upper()}{subject[1:]}"
    return f"{head}: {', '.join(own)}" if own else head


def check_named(identifier: str, subject: str) -> str:
    """Name a check within a sentence: "the check 'cylinder hooks: pressure'"."""
    title = title_of(identifier, subject)
    return f"the check '{title[:1].lower()}{title[1:]}'"


def in_words(text: str, items: Iterable[Finding | Fact]) -> str:
    """Put the names of checks in place of their ids."""
    names = {item.id: check_named(item.id, item.subject) for item in items if "." in item.id}
    if not names:
        return text
    ids = "|".join(re.escape(key) for key in sorted(names, key=len, reverse=True))
    return re.sub(rf"(?<![\w.'])(?:{ids})(?![\w'])", lambda found: names[found[0]], text)


@dataclass(frozen=True, slots=True)
class Cause:
    """What a team acts on: a finding that follows from no other, and what follows from it.

    Attributes
    ----------
    lead : The finding that the others come from
    twins : The same finding of a thing like it, for example of the other wheel
    consequences : Findings that follow from it
    """

    lead: Finding
    twins: tuple[Finding, ...] = ()
    consequences: tuple[Finding, ...] = ()

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All of them, the lead first."""
        return (self.lead, *self.twins, *self.consequences)


@dataclass(frozen=True, slots=True)
class Fact:
    """A computed number that nothing limits.

    Attributes
    ----------
    id, subject, because, inputs, sources : As in `Finding`
    value : Nominal, in `unit`; None where without bound
    unit : The unit that the robot file uses for this kind of quantity
    spread : The value's 95 % interval over the samples, in `unit`
    """

    id: str
    subject: str
    value: float | None
    unit: str
    spread: tuple[float, float] | None
    because: str
    inputs: tuple[str, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Assumption:
    """A default that stands in for something the file does not say.

    Attributes
    ----------
    key : Key path
    value : The default, with its unit
    why : Where it comes from
    """

    key: str
    value: str
    why: str


@dataclass(frozen=True, slots=True)
class Report:
    """Everything that a check of one robot found.

    Attributes
    ----------
    robot, season : Their names
    findings : Short ones first, then unknown, then those that hold; the worst margin first
    facts : Numbers that nothing limits
    assumptions : Defaults in use
    samples, seed : How the chances were sampled
    cautions : What can hurt on this robot
    """

    FORMAT: ClassVar[str] = "fieldworthy check 2"

    robot: str
    season: str
    findings: tuple[Finding, ...]
    facts: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]
    samples: int
    seed: int
    cautions: tuple[str, ...]

    @property
    def short(self) -> tuple[Finding, ...]:
        """The findings that are short."""
        return self.of("short")

    @property
    def failing(self) -> tuple[Finding, ...]:
        """The findings on the wrong side of their limit, those that are close too: what remedies are looked for."""
        return tuple(f for f in self.findings if f.fails)

    def of(self, verdict: Verdict) -> tuple[Finding, ...]:
        """The findings of one verdict, the worst margin first."""
        return tuple(f for f in self.findings if f.verdict == verdict)

    @property
    def causes(self) -> tuple[Cause, ...]:
        """What is short, by what it comes from; the cause that costs most checks first, then the worst margin."""
        return causes_of(self.short)


def causes_of(findings: Sequence[Finding]) -> tuple[Cause, ...]:
    """Tie findings to those among them that they follow from; twins have the same limit and the same margin."""
    ids = {f.id for f in findings}
    roots = [f for f in findings if not ids & set(f.follows) - {f.id}]
    leads: dict[tuple[str, float | None, float | None], list[Finding]] = {}
    for finding in roots or list(findings):
        stem = finding.id.rpartition(".")[0]
        margin = None if finding.margin is None else round(finding.margin, 4)
        leads.setdefault((stem, margin, finding.limit), []).append(finding)
    found = []
    for lead, *twins in leads.values():
        behind = _behind({lead.id, *(t.id for t in twins)}, findings)
        found.append(Cause(lead, tuple(twins), tuple(f for f in findings if f.id in behind)))
    return tuple(sorted(found, key=lambda c: (-len(c.findings), c.lead.margin or 0.0, c.lead.id)))


def _behind(ids: set[str], findings: Sequence[Finding]) -> set[str]:
    """Ids of all findings that follow from some, however far."""
    reached = set(ids)
    while True:
        more = {f.id for f in findings if set(f.follows) & reached} - reached
        if not more:
            return reached - ids
        reached |= more


def first(value: Real) -> float:
    """Take the nominal case of a batch."""
    array = np.asarray(value)
    return float(array) if array.ndim == 0 else float(array[0])


_MANY = 1e6
_INCH = ("in", "inch", '"', "ft")


@dataclass(frozen=True, slots=True)
class DisplayUnits:
    """Which unit each kind of quantity is shown in.

    Attributes
    ----------
    units : Unit by kind
    """

    units: dict[str, str]

    @classmethod
    def of(cls, entries: Iterable[tuple[KeyPath, Quantity]]) -> DisplayUnits:
        """Choose the units that a robot's file uses most."""
        counts: dict[str, Counter[str]] = {}
        for path, quantity in entries:
            if path[0] not in ("catalogue", "season") and not quantity.assumed and quantity.unit != "1":
                counts.setdefault(quantity.kind, Counter())[quantity.unit] += 1
        chosen = {kind: c.most_common(1)[0][0] for kind, c in counts.items() if kind != "ratio"}
        inch = chosen.get("length", "mm") in _INCH
        rest = {name: (kind.inch if inch else kind.metric) for name, kind in KINDS.items()}
        return cls(rest | chosen)

    def style(self, theme: Theme = LIGHT, width: float = 640.0) -> Style:
        """Choose how figures look, in these units."""
        inch = self.units["length"] in _INCH
        return Style(theme, "inch" if inch else "metric", width, tuple(self.units.items()))

    def number(self, si: Real, kind: str, significant: int = 3) -> str:
        """Write the nominal case of a number."""
        value = first(si)
        if kind == "share":
            return percent(value)
        if kind == "count":
            return digits(value, significant) if abs(value) < _MANY or math.isinf(value) else f"over {_MANY:.0f}"
        return told(value, kind, self.units[kind], significant)

    def plain(self, si: float, kind: str) -> float | None:
        """Convert a number for a table or a file."""
        return to_unit(si, kind, self.units[kind]) if math.isfinite(si) else None

    def sentence(self, outcome: Outcome, *, short: bool = False) -> str:
        """Fill a sentence with the nominal numbers."""
        message: Message = outcome.because
        text = message.short if short and message.short else message.holds
        shown = {name: self.number(*number) for name, number in message.numbers.items()}
        said = text.format_map({**message.words, **shown, **self._told_apart(outcome, shown)})
        return said[:1].upper() + said[1:]

    def _told_apart(self, outcome: Outcome, shown: dict[str, str]) -> dict[str, str]:
        """The value and its limit with more digits, where three of them hide which is the greater."""
        if outcome.limit is None or first(outcome.value) == first(outcome.limit):
            return {}
        numbers, ends = outcome.because.numbers, (first(outcome.value), first(outcome.limit))
        names = [[n for n in shown if n in numbers and first(numbers[n][0]) == end] for end in ends]
        if not all(names):
            return {}
        (one, *_), (two, *_) = names
        for significant in range(3, 7):
            texts = {n: self.number(*numbers[n], significant) for n in (*names[0], *names[1])}
            if texts[one] != texts[two]:
                return texts
        return {}


DIALECT = "https://json-schema.org/draft/2020-12/schema"


class Result(Protocol):
    """What can be written: a dataclass with a form."""

    FORMAT: ClassVar[str]
    __dataclass_fields__: ClassVar[dict[str, Any]]


def as_data(result: Result) -> dict[str, Any]:
    """Turn a result into plain data, its form first."""
    return {"format": result.FORMAT, **_added(result), **dataclasses.asdict(result)}


def json_schema(kind: type[Result]) -> dict[str, Any]:
    """Describe what `as_data` gives for a kind of result: JSON Schema, draft 2020-12."""
    described = TypeAdapter(kind).json_schema(mode="serialization")
    in_plain_words(described)
    added = {"causes": _CAUSES} if kind is Report else {}
    form = {"const": kind.FORMAT, "description": "what kind of output this is, and which version of its form"}
    described["properties"] = {"format": form, **added, **described["properties"]}
    described["required"] = ["format", *added, *described["required"]]
    name, version = kind.FORMAT.rsplit(" ", 1)
    address = f"urn:{name.replace(' ', ':')}:{version}"
    return {"$schema": DIALECT, "$id": address, **described, "title": kind.FORMAT}


_SECTION = re.compile(r"\n\s*(Attributes|Notes|Parameters|Examples)\n\s*-+\n")
_ATTRIBUTE = re.compile(r"^(\w+(?:, \w+)*) : (.*(?:\n {4,}.*)*)", re.MULTILINE)


def in_plain_words(schema: dict[str, Any]) -> dict[str, Any]:
    """Say in sentences what a schema and all its definitions describe."""
    for one in (schema, *schema.get("$defs", {}).values()):
        _worded(one)
    return schema


def _worded(described: dict[str, Any]) -> None:
    """Turn a docstring into what a reader of JSON needs: the sentence on the whole, and one on each entry."""
    text = str(described.get("description", ""))
    parts = _SECTION.split(text)
    if text:
        described["description"] = " ".join(parts[0].replace("``", "").split())
    for head, body in zip(parts[1::2], parts[2::2], strict=True):
        if head not in ("Attributes", "Parameters"):
            continue
        for names, said in _ATTRIBUTE.findall(body):
            words = " ".join(said.replace("``", "").replace("`", "").split())
            for name in names.split(", "):
                entry = described.get("properties", {}).get(name)
                if entry is not None and "description" not in entry:
                    # a reader of JSON knows null, and no brackets of a docstring
                    entry["description"] = re.sub(r"\bNone\b", "null", words.replace("[SI]", "in SI units"))


_IDS = {"type": "array", "items": {"type": "string"}}
_CAUSES = {
    "type": "array",
    "description": "what is short, put together by what it comes from",
    "items": {
        "type": "object",
        "description": "what to act on: the id of a short finding, its twins, and those that follow from it",
        "properties": {
            "lead": {"type": "string", "description": "id of the finding that the others come from"},
            "twins": _IDS | {"description": "ids of findings that say the same"},
            "consequences": _IDS | {"description": "ids of findings that follow from it"},
        },
        "required": ["lead", "twins", "consequences"],
    },
}


def _added(result: Result) -> dict[str, Any]:
    """What a reader wants beside the fields of a result: the causes of a report."""
    if not isinstance(result, Report):
        return {}
    causes = [
        {"lead": c.lead.id, "twins": [f.id for f in c.twins], "consequences": [f.id for f in c.consequences]}
        for c in result.causes
    ]
    return {"causes": causes}
