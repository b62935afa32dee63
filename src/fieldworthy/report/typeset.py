"""Sets a document as PDF, with fonts that the typesetter carries along."""

from __future__ import annotations

import dataclasses
import datetime
import json
import re
from importlib import resources
from typing import Any, Literal

from fieldworthy.drawing.figure import Figure
from fieldworthy.drawing.style import PRINT
from fieldworthy.report.blocks import Block, Cell, Formula, Head, Mark, Paper, Para, Picture, Points, Side, Table
from fieldworthy.report.formulas import formula_of, named

FOOTER = "Computed by fieldworthy from the team's own file. Estimates, not a licence: the event's rules come first."
_TOP = 80  # letters at the top of a page
_LONG = re.compile(r"[^\s\u200b]{17,}")  # a word that is longer than a narrow column
_PIECE = re.compile(r"[^_./-]{1,7}[_./-]?|[_./-]")  # where it may be parted: behind a mark, or after some letters


def as_pdf(paper: Paper) -> bytes:
    """Set a document.

    Notes
    -----
    It follows PDF/UA-1, so that a reader aloud finds title, order, headings and what figures show; where something
    typed stands in its way, such as a letter that no font has, it is tagged all the same.
    """
    import typst  # noqa: PLC0415  only where a document is set

    try:
        pdf: bytes = _set(paper, "pdf", aloud=True)
    except typst.TypstError:
        pdf = _set(paper, "pdf")
    return pdf


def as_pictures(paper: Paper, per_inch: float = 90.0) -> list[bytes]:
    """Set a document as pictures, one for each page."""
    made = _set(paper, "png", per_inch)
    return made if isinstance(made, list) else [made]


def pages(paper: Paper) -> int:
    """Count the pages of a document."""
    return len(as_pictures(paper, 6.0))


def _set(paper: Paper, form: Literal["pdf", "png"], per_inch: float | None = None, *, aloud: bool = False) -> Any:
    import typst  # noqa: PLC0415  only where a document is set

    data = json.dumps(as_data(paper), ensure_ascii=False)
    with resources.as_file(resources.files("fieldworthy.report").joinpath("templates")) as folder:
        return typst.compile(
            folder / "document.typ",
            root=folder,
            format=form,
            ppi=per_inch,
            ignore_system_fonts=True,
            sys_inputs={"data": data},
            timestamp=0,
            pdf_standards=["ua-1"] if aloud else [],
        )


def as_data(paper: Paper) -> dict[str, Any]:
    """Turn a document into the data that the template reads."""
    day = datetime.date.fromisoformat(paper.date) if paper.date else None
    return {
        "form": paper.form,
        "scale": paper.scale,
        "size": paper.size,
        "title": breakable(paper.title),
        "subtitle": breakable(paper.subtitle),
        "running": breakable(_running(paper)),
        "stamp": paper.date,
        "date": [day.year, day.month, day.day] if day else None,
        "about": [breakable(line) for line in paper.about],
        "footer": FOOTER,
        "words": {"contents": "Contents"},
        "theme": dataclasses.asdict(PRINT),
        "cover": [_block(b) for b in paper.cover],
        "sections": [
            {"title": breakable(s.title), "new_page": s.new_page, "blocks": [_block(b) for b in s.blocks]}
            for s in paper.sections
        ],
    }


def _running(paper: Paper) -> str:
    """What stands at the top of every page, on one line."""
    text = f"{paper.title}: {paper.subtitle}" if paper.subtitle else paper.title
    return text if len(text) <= _TOP else f"{text[:_TOP]}…"


def breakable(text: str) -> str:
    """Give a long word places where a line may end."""
    plain = "".join(c if c.isprintable() else " " for c in text)
    return _LONG.sub(lambda word: _PIECE.sub("\\g<0>\u200b", word[0]), plain)


def _cell(cell: Cell) -> Any:
    if isinstance(cell, Mark):
        return {"text": breakable(cell.text), "look": cell.look}
    return breakable(cell)


def _block(block: Block) -> dict[str, Any]:
    match block:
        case Para(text, look):
            return {"kind": "para", "text": breakable(text), "look": look}
        case Head(text):
            return {"kind": "head", "text": breakable(text)}
        case Points(items, look):
            return {"kind": "points", "items": [breakable(i) for i in items], "look": look}
        case Table():
            return {
                "kind": "table",
                "heads": [breakable(head) for head in block.heads],
                "rows": [[_cell(c) for c in row] for row in block.rows],
                "widths": list(block.widths),
                "right": list(block.right),
                "small": block.small,
            }
        case Picture(figure, height):
            return {"kind": "picture", "height": height, **_drawn(figure)}
        case Formula(key):
            return _formula(key)
        case Side(columns, widths):
            inner = [[_block(b) for b in column] for column in columns]
            return {"kind": "side", "widths": list(widths), "columns": inner}


def _drawn(figure: Figure) -> dict[str, Any]:
    return {"svg": figure.svg, "alt": figure.alt}


def _formula(key: str) -> dict[str, Any]:
    found = formula_of(key)
    where = [[symbol, meaning] for symbol, meaning in found.where]
    source = f"Source: {named(found.source)}"
    return {"kind": "formula", "typst": found.typst, "plain": found.says, "where": where, "source": source}
