"""What a document is made of before it is set: sections, tables, figures, formulas, numbers as people write them.

A document holds data only. What a person typed stays a text from here to the page: `typeset` hands it to the
typesetter as data, `page` escapes it.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from fieldworthy.drawing.svg import Figure
from fieldworthy.engine.finding import Fact, Finding, Report
from fieldworthy.units import chance_text, digits, labelled

LONGEST = 60
"""Characters of a name: C tells apart only the first 63 (C11, 5.2.4.1)."""
_ODD = re.compile(r"[^a-z0-9]+")


def slug(text: str) -> str:
    """Write a text with small letters, digits and underscores."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    return _ODD.sub("_", plain.lower()).strip("_")


def unit_words(unit: str) -> str:
    """Write a unit as part of a name."""
    text = unit.replace('"', "in").replace("%", "percent").replace("°", "deg").replace("^0.5", "_root")
    return "" if unit == "1" else slug(text.replace("^", "").replace("/", "_per_"))


def names_of(wanted: Iterable[tuple[Sequence[str], str]]) -> list[str]:
    """Make names of words and a unit, each only once."""
    taken: set[str] = set()
    found = []
    for words, unit in wanted:
        end = unit_words(unit)
        stem = "_".join(s for s in map(slug, words) if s)
        stem = stem if stem[:1].isalpha() else f"n_{stem}".rstrip("_")
        name = _free(stem, f"_{end}" if end else "", taken)
        taken.add(name)
        found.append(name)
    return found


def _free(stem: str, end: str, taken: set[str]) -> str:
    name, number = stem[: LONGEST - len(end)].rstrip("_") + end, 1
    while name in taken:
        number += 1
        tail = f"_{number}{end}"
        name = stem[: LONGEST - len(tail)].rstrip("_") + tail
    return name


def items_of(report: Report) -> list[Finding | Fact]:
    """List findings and facts together."""
    return [*report.findings, *report.facts]


def with_unit(value: float | None, unit: str) -> str:
    """Write a number with its unit."""
    if value is None:
        return "–"
    return labelled(digits(value), unit)


def span(item: Finding | Fact) -> str:
    """Write where 95 % of the cases lie."""
    if item.spread is None or digits(item.spread[0]) == digits(item.spread[1]):
        return ""
    return f"{digits(item.spread[0])} to {digits(item.spread[1])}"


def chance(share: float | None) -> str:
    """Write a chance that never claims certainty it lacks."""
    if share is None:
        return "–"
    return chance_text(share)


Size = Literal["a4", "us-letter"]
Look = Literal["plain", "bold", "quiet", "key", "number", "short", "close", "unknown", "holds", "blank", "page"]
"""``key`` is a key of a file, ``short`` to ``holds`` a verdict, ``blank`` a line to write on by hand, ``page`` the
title of a section with the page on which it stands."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A text with a look of its own.

    Attributes
    ----------
    text : What is written
    look : How
    """

    text: str
    look: Look = "plain"

    @property
    def words(self) -> str:
        """The text as it is written: a verdict by the name that people read."""
        return "not judged" if self.text == self.look == "unknown" else self.text


Cell: TypeAlias = str | Mark


@dataclass(frozen=True, slots=True)
class Para:
    """A paragraph.

    Attributes
    ----------
    text : What is written
    look : How; ``lead`` is larger, ``quiet`` smaller
    """

    text: str
    look: Literal["plain", "lead", "quiet", "bold"] = "plain"


@dataclass(frozen=True, slots=True)
class Table:
    """A table.

    Attributes
    ----------
    heads : Of the columns; none where empty
    rows : As many cells each as there are widths
    widths : Shares of the width
    right : Columns that are set to the right, from 0
    small : Set in smaller letters
    """

    heads: Sequence[str]
    rows: Sequence[Sequence[Cell]]
    widths: Sequence[float]
    right: Sequence[int] = ()
    small: bool = False


@dataclass(frozen=True, slots=True)
class Picture:
    """A figure.

    Attributes
    ----------
    figure : With its drawing and the sentence for who cannot see it
    height : The most it may take of a page's height, as a share of it
    """

    figure: Figure
    height: float = 0.36


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula with the meaning of its letters.

    Attributes
    ----------
    key : In formulas.toml
    numbers : What letters stand for, in the person's units
    of : Whose numbers these are; empty for none
    """

    key: str
    numbers: tuple[tuple[str, str], ...] = ()
    of: str = ""


@dataclass(frozen=True, slots=True)
class Points:
    """A list.

    Attributes
    ----------
    items : What is listed
    look : ``caution`` stands in a frame, ``boxes`` have a square to tick, ``run`` goes on in one paragraph
    """

    items: Sequence[str]
    look: Literal["plain", "caution", "boxes", "numbers", "run"] = "plain"


@dataclass(frozen=True, slots=True)
class Side:
    """Blocks side by side.

    Attributes
    ----------
    columns : Blocks of each column
    widths : Shares of the width
    """

    columns: Sequence[Sequence[Block]]
    widths: Sequence[float]


@dataclass(frozen=True, slots=True)
class Head:
    """A heading within a section.

    Attributes
    ----------
    text : What it says
    """

    text: str


Block: TypeAlias = Para | Table | Picture | Formula | Points | Side | Head


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a document under a heading of its own.

    Attributes
    ----------
    title : Its heading
    blocks : What it holds
    new_page : Whether it begins a page
    """

    title: str
    blocks: Sequence[Block]
    new_page: bool = True


@dataclass(frozen=True, slots=True)
class Badge:
    """Whose document it is.

    Attributes
    ----------
    text : The team's number and name
    logo : Its picture; empty for none
    form : Of the picture
    """

    text: str
    logo: bytes = b""
    form: Literal["png", "svg"] = "png"


@dataclass(frozen=True, slots=True)
class Paper:
    """A finished document, not set yet.

    Attributes
    ----------
    title, subtitle : What it is
    about : Lines below the title
    date : Year, month and day, ``2026-11-25``; empty where the person gave none
    sections : In order
    form : A notebook has a cover and contents; a sheet begins at once; a card is one page in large letters
    size : Of its pages
    cover : What else stands on the cover
    scale : Of the letters; less than 1 where a card must fit its page
    badge : Whose it is; None where the file does not say
    """

    title: str
    subtitle: str
    about: Sequence[str]
    date: str
    sections: Sequence[Section]
    form: Literal["notebook", "sheet", "card"] = "sheet"
    size: Size = "a4"
    cover: Sequence[Block] = ()
    scale: float = 1.0
    badge: Badge | None = None
