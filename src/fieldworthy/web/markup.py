"""Writes HTML in which every text is escaped, and findings as rows with gauge, chance and sentence."""

from __future__ import annotations

import html
import re
from collections.abc import Iterable, Mapping
from functools import cache
from importlib import resources
from typing import TypeAlias
from urllib.parse import urlencode

from fieldworthy import units
from fieldworthy.decide.remedy import FoundRemedies, Remedy
from fieldworthy.engine.evaluate import NominalFinding
from fieldworthy.engine.finding import WIDEST, Fact, Finding
from fieldworthy.files.document import KeyPath, Problem, dotted
from fieldworthy.units import digits, labelled, margin_text
from fieldworthy.web.form import words_of, words_of_key

_NAME = re.compile(r"[a-z][a-zA-Z0-9-]*")
_VOID = {"br", "hr", "img", "input", "meta"}


class Markup(str):
    """HTML that is safe as it stands."""

    __slots__ = ()


Content: TypeAlias = str | float | Iterable["Content"] | None
"""What may stand in an element: a text, a number, nothing, or several of them."""
Attribute: TypeAlias = str | float | bool | None


def tag(name: str, /, *content: Content, **attributes: Attribute) -> Markup:
    """Write one element."""
    if not _NAME.fullmatch(name):
        raise ValueError(f"{name!r} is no element")
    head = "".join(_attribute(key, value) for key, value in attributes.items())
    inner = "" if name in _VOID else f"{join(content)}</{name}>"
    return Markup(f"<{name}{head}>{inner}")


def _attribute(key: str, value: Attribute) -> str:
    name = key.rstrip("_").replace("_", "-")
    if not _NAME.fullmatch(name) or name.startswith("on"):
        raise ValueError(f"{name!r} is no attribute")
    if value is None or value is False:
        return ""
    return f" {name}" if value is True else f' {name}="{html.escape(str(value), quote=True)}"'


def join(content: Iterable[Content]) -> Markup:
    """Put contents one behind the other."""
    return Markup("".join(_safe(item) for item in content))


def _safe(item: Content) -> str:
    if item is None:
        return ""
    if isinstance(item, Markup):
        return item
    if isinstance(item, str | float | int):
        return html.escape(str(item), quote=False)
    return join(item)


def address(view: str, /, **query: str) -> str:
    """Write the address of a view."""
    told = {key: value for key, value in query.items() if value}
    return f"/{view}" + (f"?{urlencode(told)}" if told else "")


def field_id(path: KeyPath) -> str:
    """Name the form's element that holds a key."""
    return "f-" + "".join(c if c.isalnum() else f"_{ord(c):x}_" for c in dotted(path))


def sentences(problems: tuple[Problem, ...]) -> str:
    """Say problems as sentences, without the folder's whole path."""
    told = []
    for p in problems:
        where = f"{p.file.name}, line {p.line}: " if p.line > 1 or p.column > 1 else ""
        key = f"{words_of(p.key)}: " if p.key else ""
        hint = f" Did you mean {p.suggestion!r}?" if p.suggestion else ""
        told.append(f"{where}{key}{p.expected}.{hint}")
    return " ".join(told)


def said_there(problems: tuple[Problem, ...]) -> str:
    """Say what is wrong where it was typed: the place needs no name."""
    first = problems[0]
    hint = f" Did you mean {first.suggestion!r}?" if first.suggestion else ""
    return f"{first.expected[:1].upper()}{first.expected[1:]}.{hint}"


def plain_sentences(problems: tuple[Problem, ...]) -> Markup:
    """Say problems as a list."""
    return tag("ul", [tag("li", sentences((p,))) for p in problems], class_="problems")


Bits: TypeAlias = dict[str, str]
_WORDS = {"short": "✗ short", "close": "≈ close", "unknown": "? not judged", "holds": "✓ holds"}
SAID = {verdict: words[2:] for verdict, words in _WORDS.items()}
"""Verdicts as a sentence says them."""
_SHOWN = 12  # inputs that are listed before 'and n more'


def key_of(item: Finding | Fact | NominalFinding) -> str:
    """Name the row of a finding or fact."""
    return f"{item.id}|{item.subject}"


def gauge_of(margin: float | None) -> str:
    """Place a margin on the gauge."""
    return "0" if margin is None else f"{margin / (abs(margin) + 0.5):.3f}"


def chance_text(chance: float | None) -> str:
    """Write a chance so that it never claims a certainty that it lacks."""
    if chance is None:
        return "–"
    return units.chance_text(chance)


def bits_of(item: NominalFinding) -> Bits:
    """Give what changes in a row while a number is moved."""
    if item.verdict is None:
        return {"because": item.because}
    return {
        "because": item.because,
        "verdict": item.verdict,
        "word": _WORDS[item.verdict],
        "margin": margin_text(item.margin),
        "gauge": gauge_of(item.margin),
    }


def nominal_of(finding: Finding) -> NominalFinding:
    """Take from a finding what moves at once when a number moves."""
    return NominalFinding(finding.id, finding.subject, finding.verdict, finding.margin, finding.because)


def finding_row(finding: Finding, *, small: bool = False, follows: bool = False) -> Markup:
    """Write the row of a finding; one that follows from the one above it stands further in."""
    key = key_of(finding)
    line: list[Content] = [
        tag("span", _WORDS[finding.verdict], class_="verdict", data_bit="word"),
        tag("span", finding.because, class_="because", data_bit="because"),
        _gauge(finding.margin),
        tag("span", margin_text(finding.margin), class_="margin", data_bit="margin"),
    ]
    if small:
        return tag("li", line, class_="finding small", data_row=key, data_verdict=finding.verdict)
    line.append(tag("span", chance_text(finding.chance), class_="chance", data_bit="chance"))
    body = tag("div", tag("p", "…"), data_body=True, id=body_id(key))
    details = tag("details", tag("summary", line, data_key=key), body, data_open="more", data_of=key)
    kind = "finding follows" if follows else "finding"
    return tag("li", details, class_=kind, data_row=key, data_verdict=finding.verdict)


def _gauge(margin: float | None) -> Markup:
    return tag("span", tag("i"), class_="gauge", data_bit="gauge", style=f"--m:{gauge_of(margin)}", aria_hidden="true")


def body_id(key: str) -> str:
    """Name the place of what stands in an opened row."""
    return "b-" + "".join(c if c.isalnum() else f"_{ord(c):x}_" for c in key)


def fact_row(fact: Fact) -> Markup:
    """Write the row of a fact."""
    span = ""
    if fact.spread is not None and digits(fact.spread[0]) != digits(fact.spread[1]):
        span = f"95 % of cases: {digits(fact.spread[0])} to {digits(fact.spread[1])}"
    return tag(
        "li", tag("span", fact.because, data_bit="because"), tag("small", span), class_="fact", data_row=key_of(fact)
    )


def finding_body(finding: Finding, file: str) -> Markup:
    """Write what an opened row shows."""
    rows: list[tuple[str, Content]] = []
    if finding.value is not None and finding.limit is not None:
        word = f"{finding.need} {labelled(digits(finding.limit), finding.unit)}"
        rows.append(("Value", f"{labelled(digits(finding.value), finding.unit)}, wanted {word}"))
        rows.append(("Margin", _margin_worked(finding)))
    if finding.spread is not None:
        low, high = finding.spread
        rows.append(("95 % of cases", labelled(f"{digits(low)} to {digits(high)}", finding.unit)))
    if finding.missing:
        rows.append(("Missing", _links(finding.missing, file)))
    if finding.verdict == "short" and finding.chance == 0.0:
        rows.append(("Measure first", "No measurement turns it: something has to change."))
    elif finding.sharpen:
        there = address("build", file=file, key=finding.sharpen)
        rows.append(("Measure first", tag("a", words_of_key(finding.sharpen), href=there, data_go=True)))
    if finding.inputs:
        keys = tag("details", tag("summary", "as the file names them"), _links(finding.inputs, file))
        rows.append(("Rests on", [f"{len(finding.inputs)} values ", keys]))
        told = ", ".join(f"{count} {basis}" for basis, count in sorted(finding.bases.items()))
        rows.append(("Of these", told))
    if finding.sources:
        rows.append(("Sources", tag("ul", [tag("li", source_title(key)) for key in finding.sources])))
    rows.append(("In commands", tag("code", finding.id)))
    listed = tag("dl", [[tag("dt", name), tag("dd", what)] for name, what in rows])
    ask = ""
    if finding.verdict == "short":
        ask = mend_button(key_of(finding))
    place = f"{body_id(key_of(finding))}-mend"
    detail = tag("div", id=f"{body_id(key_of(finding))}-detail", class_="detail")
    return join([listed, detail, tag("div", ask, id=place, class_="mend")])


def _margin_worked(finding: Finding) -> str:
    """The margin with its numbers put in: how far on the good side, as a share of what counts as far."""
    value, limit, margin = finding.value, finding.limit, finding.margin
    if limit is None or margin is None:
        return margin_text(margin)
    if value is None:
        return f"{margin_text(margin)}: the value has no end, and no margin is told beyond that"
    gap = value - limit if finding.need == "at least" else limit - value
    first, then = (value, limit) if finding.need == "at least" else (limit, value)
    worked = f"{digits(first)} − {digits(then)}"
    if abs(margin) >= WIDEST and gap:
        return f"{worked} = {digits(gap)}, more than {WIDEST:.0f} times what counts: {margin_text(margin)}"
    if not gap or not margin:
        return f"{worked} = 0" if not gap else margin_text(margin)
    scale = gap / margin
    far = (
        ""
        if abs(scale - abs(limit)) <= 0.01 * abs(limit)
        else (f"; {labelled(digits(scale), finding.unit)} on the good side count as a margin of 1")
    )
    return f"({worked}) / {digits(scale)} = {margin_text(margin)}{far}"


def _links(keys: Iterable[str], file: str) -> Markup:
    listed = [tag("li", tag("a", key, href=address("build", file=file, key=key), data_go=True)) for key in keys]
    more = listed[_SHOWN:]
    rest = tag("details", tag("summary", f"and {len(more)} more"), tag("ul", more, class_="keys")) if more else ""
    return join([tag("ul", listed[:_SHOWN], class_="keys"), rest])


@cache
def _sources() -> Mapping[str, Mapping[str, str]]:
    import tomllib  # noqa: PLC0415  once, where the first source is shown

    text = resources.files("fieldworthy").joinpath("sources.toml").read_text(encoding="utf-8")
    found: Mapping[str, Mapping[str, str]] = tomllib.loads(text)
    return found


def source_title(key: str) -> str:
    """Name a source."""
    return _sources().get(key, {}).get("title", key)


def mend_button(key: str) -> Markup:
    """Ask what would mend a finding."""
    return tag("button", "What would mend it?", type="button", data_do="mend", data_of=key)


def mending_body(mending: FoundRemedies, file: str, *, may_change: bool) -> Markup:
    """Write the remedies of a finding."""
    del file
    rows = [_remedy(remedy, i, mending, may_change=may_change) for i, remedy in enumerate(mending.remedies)]
    return join([tag("p", mending.answer), tag("ul", rows, class_="remedies")])


def _remedy(remedy: Remedy, place: int, mending: FoundRemedies, *, may_change: bool) -> Markup:
    breaks = [tag("li", f"then short: {b.because}") for b in remedy.breaks]
    button = ""
    if may_change:
        key = f"{mending.id}|{mending.subject}"
        button = tag(
            "button",
            "Try it",
            type="button",
            data_do="try",
            data_of=key,
            data_place=place,
            aria_label=f"Try: {remedy.sentence}",
        )
    return tag(
        "li", tag("span", f"{remedy.sentence} ({remedy.cost})."), " ", button, tag("ul", breaks) if breaks else ""
    )
