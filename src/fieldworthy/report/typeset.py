"""Sets a document as PDF, with fonts that come along, or as one HTML page that needs nothing else."""

from __future__ import annotations

import base64
import dataclasses
import datetime
import json
import re
from collections.abc import Sequence
from html import escape
from importlib import resources
from typing import Any, Literal

from fieldworthy.drawing.style import PRINT
from fieldworthy.drawing.svg import Figure
from fieldworthy.report.blocks import Block, Cell, Formula, Head, Mark, Paper, Para, Picture, Points, Side, Table, slug
from fieldworthy.report.formulas import formula_of, mathml, meaning, named

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
        "badge": _badge(paper),
        "words": {"contents": "Contents"},
        "theme": dataclasses.asdict(PRINT),
        "cover": [_block(b) for b in paper.cover],
        "sections": [
            {"title": breakable(s.title), "new_page": s.new_page, "blocks": [_block(b) for b in s.blocks]}
            for s in paper.sections
        ],
    }


def _badge(paper: Paper) -> dict[str, Any] | None:
    badge = paper.badge
    if badge is None:
        return None
    return {"text": breakable(badge.text), "logo": list(badge.logo), "form": badge.form}


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
        return {"text": breakable(cell.words), "look": cell.look}
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
        case Formula():
            return _formula(block)
        case Side(columns, widths):
            inner = [[_block(b) for b in column] for column in columns]
            return {"kind": "side", "widths": list(widths), "columns": inner}


def _drawn(figure: Figure) -> dict[str, Any]:
    return {"svg": figure.svg, "alt": figure.alt, "title": figure.title}


def _formula(block: Formula) -> dict[str, Any]:
    found = formula_of(block.key)
    where = [[symbol, meaning(symbol, what, dict(block.numbers))] for symbol, what in found.where]
    source = _source(block)
    return {"kind": "formula", "typst": found.typst, "plain": found.says, "where": where, "source": source}


def _source(block: Formula) -> str:
    whose = f"Numbers: {block.of}. " if block.of else ""
    return f"{whose}Source: {named(formula_of(block.key).source)}"


def _html_badge(paper: Paper) -> str:
    """The team's picture and name; as a picture of its own nothing in it can act."""
    badge = paper.badge
    if badge is None:
        return ""
    kind = "svg+xml" if badge.form == "svg" else "png"
    data = base64.b64encode(badge.logo).decode("ascii")
    logo = f'<img src="data:image/{kind};base64,{data}" alt="">' if badge.logo else ""
    return f'<p class="badge">{logo}{_text(badge.text)}</p>'


_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
_SIGNS = {"short": "✗ ", "close": "≈ ", "unknown": "? ", "holds": "✓ "}


def as_html(paper: Paper) -> str:
    """Write a document as HTML."""
    css = resources.files("fieldworthy.report").joinpath("templates", "document.css").read_text(encoding="utf-8")
    date = f"<p>{_text(paper.date)}</p>" if paper.date and paper.form != "notebook" else ""
    head = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{_text(paper.title)}</title>",
        f"<style>\n{_colours()}\n{css}</style>",
        "</head>",
        "<body>",
        "<main>",
        _html_badge(paper),
        f"<h1>{_text(paper.title)}</h1>",
        f'<p class="subtitle">{_text(paper.subtitle)}</p>',
        '<hr class="rule">',
        *(f"<p>{_text(line)}</p>" for line in paper.about),
        date,
    ]
    body = [*map(_html_block, paper.cover), _contents(paper)]
    named: set[str] = set()
    for number, section in enumerate(paper.sections, 1):
        name = _anchor(section.title)
        place = "" if name in named else f' id="{name}"'  # of two alike the first is gone to
        named.add(name)
        body += [
            f'<section id="s{number}">',
            f"<h2{place}>{_text(section.title)}</h2>",
            *map(_html_block, section.blocks),
        ]
        body.append("</section>")
    foot = [f"<footer>{_text(FOOTER)}</footer>", "</main>", "</body>", "</html>", ""]
    return "\n".join(line for line in [*head, *_own_names(body), *foot] if line) + "\n"


def _own_names(body: Sequence[str]) -> list[str]:
    """Names inside each figure get a number of its own, so that none stands twice on the page."""
    found, number = [], 0
    for part in body:
        pieces = re.split(r"(<svg.*?</svg>)", part, flags=re.DOTALL)
        for i in range(1, len(pieces), 2):
            number += 1
            names = re.findall(r'\bid="([^"]+)"', pieces[i])
            for name in sorted(names, key=len, reverse=True):
                for before, after in (('id="', '"'), ("url(#", ")"), ('href="#', '"')):
                    pieces[i] = pieces[i].replace(f"{before}{name}{after}", f"{before}f{number}-{name}{after}")
            pieces[i] = _labelled(pieces[i], number)
        found.append("".join(pieces))
    return found


def _labelled(svg: str, number: int) -> str:
    """The figure's own references to its title and description follow their new names."""

    def renamed(match: re.Match[str]) -> str:
        return f'{match[1]}="{" ".join(f"f{number}-{name}" for name in match[2].split())}"'

    return re.sub(r'\b(aria-labelledby|aria-describedby)="([^"]+)"', renamed, svg)


def _colours() -> str:
    theme = PRINT
    named_ = {"paper": theme.paper, "ink": theme.ink, "quiet": theme.quiet, "edge": theme.edge, "grid": theme.grid,
              "block": theme.block, "good": theme.good, "caution": theme.caution, "bad": theme.bad,
              "accent": theme.series[0]}  # fmt: skip
    return ":root { " + " ".join(f"--{name}: {value};" for name, value in named_.items()) + " }"


def _text(text: str) -> str:
    """A text that is nothing but text; what cannot be printed becomes a space."""
    return escape("".join(c if c.isprintable() else " " for c in text), quote=True)


def _contents(paper: Paper) -> str:
    if paper.form != "notebook" or len(paper.sections) < 4:
        return ""
    lines = [f'<li><a href="#s{i}">{_text(s.title)}</a></li>' for i, s in enumerate(paper.sections, 1)]
    return "\n".join(
        ['<nav aria-label="Contents">', '<h2 class="contents">Contents</h2>', "<ol>", *lines, "</ol>", "</nav>"]
    )


def _anchor(title: str) -> str:
    return f"page-{slug(title)}"


def _html_cell(cell: Cell) -> str:
    if not isinstance(cell, Mark):
        return _text(cell)
    if cell.look in ("plain", "number"):
        return _text(cell.text)
    if cell.look == "page":
        return f'<a href="#{_anchor(cell.text)}">{_text(cell.text)}</a>'
    return f'<span class="{cell.look}">{_SIGNS.get(cell.look, "")}{_text(cell.words)}</span>'


def _table(block: Table) -> str:
    def row(cells: Sequence[Cell], tag: str) -> str:
        rights = [' class="right"' if i in block.right else "" for i in range(len(cells))]
        scope = ' scope="col"' if tag == "th" else ""
        return (
            "<tr>"
            + "".join(f"<{tag}{scope}{r}>{_html_cell(c)}</{tag}>" for c, r in zip(cells, rights, strict=True))
            + ("</tr>")
        )

    total = sum(block.widths)
    columns = "".join(f'<col style="width: {100 * w / total:.1f}%">' for w in block.widths)
    head = f"<thead>{row(block.heads, 'th')}</thead>" if block.heads else ""
    lines = "\n".join(row(r, "td") for r in block.rows)
    small = ' class="small"' if block.small else ""
    table = f"<table{small}><colgroup>{columns}</colgroup>{head}<tbody>\n{lines}\n</tbody></table>"
    return f'<div class="scroll" tabindex="0" role="group" aria-label="Table">{table}</div>'


def _html_formula(block: Formula) -> str:
    found, written = formula_of(block.key), mathml()
    letters = "".join(
        f"<dt>{written[s]}</dt><dd>{_text(meaning(s, what, dict(block.numbers)))}</dd>" for s, what in found.where
    )
    source = f"<p>{_text(_source(block))}</p>"
    written_ = f'<div tabindex="0" role="group" aria-label="Formula">{written[found.typst]}</div>'
    return f'<div class="formula">{written_}<dl>{letters}</dl>{source}</div>'


def _points(block: Points) -> str:
    tag = "ol" if block.look == "numbers" else "ul"
    css = "" if block.look in ("plain", "numbers") else f' class="{block.look}"'
    return f"<{tag}{css}>" + "".join(f"<li>{_text(item)}</li>" for item in block.items) + f"</{tag}>"


def _html_block(block: Block) -> str:
    match block:
        case Para(text, look):
            css = "" if look == "plain" else f' class="{look}"'
            return f"<p{css}>{_text(text)}</p>"
        case Head(text):
            return f"<h3>{_text(text)}</h3>"
        case Points():
            return _points(block)
        case Table():
            return _table(block)
        case Picture(figure):
            return f"<figure>{_inner(figure.svg)}<figcaption>{_text(figure.title)}</figcaption></figure>"
        case Formula():
            return _html_formula(block)
        case Side(columns, widths):
            shares = " ".join(f"{w:g}fr" for w in widths)
            inner = "".join(f"<div>{''.join(map(_html_block, column))}</div>" for column in columns)
            return f'<div class="side" style="grid-template-columns: {shares}">{inner}</div>'


def _inner(svg: str) -> str:
    """A drawing as a part of the page: without the declaration that only a file of its own has."""
    return re.sub(r"^\s*<\?xml.*?\?>\s*", "", svg, flags=re.DOTALL)
