"""What a document is made of, before anything is set: sections of paragraphs, tables, figures, formulas and lists.

A document holds data only. What a person typed stays a text from here to the page: `typeset` hands it to the
typesetter as data, `page` escapes it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from fieldworthy.drawing.figure import Figure

Size = Literal["a4", "us-letter"]
Look = Literal["plain", "bold", "quiet", "key", "number", "short", "close", "unknown", "holds", "blank"]
"""``key`` is a key of a file, ``short`` to ``holds`` a verdict, ``blank`` a line to write on by hand."""


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
    """

    key: str


@dataclass(frozen=True, slots=True)
class Points:
    """A list.

    Attributes
    ----------
    items : What is listed
    look : ``caution`` stands in a frame, ``boxes`` have a square to tick
    """

    items: Sequence[str]
    look: Literal["plain", "caution", "boxes", "numbers"] = "plain"


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
